// Measured samples: dropped Touchstone files, their quality in words, and their
// traces over the limits and the prediction.
import { useRef, useState } from "preact/hooks";
import { call, get, Refused, type EnquiryRow, type Fault, type Full } from "./api";
import { Faults, Verdict, Wait } from "./bits";
import { Plot, type Band, type Mask } from "./plot";
import { address, go, useLoad, withQuery } from "./state";
import { db, ghz, trim, type Num } from "./units";

interface Finding { finding: string; verdict: string; figure: Num; unit: string; of: string; at_hz: Num; means: string; do: string; judged: string }
interface Judged { quantity: string; of: string; points: [number, number][]; above: boolean; wish: boolean; verdict: string; why: string; worst: Num; limit_value: Num; margin: Num; at_hz: Num; trace: string }
interface MeasuredFile {
  file: string; errors: Fault[]; inspection: { ports: number; points: number; from_hz: Num; to_hz: Num; verdict: string; findings: Finding[]; left_out: string[] } | null;
  sample: { trace: { frequency_hz: [number, number][]; points: number; traces: { name: string; to: number; from: number; min_db: Num[]; max_db: Num[] }[]; left_out: string }; limits: Judged[] } | null;
}
interface Doc { files: MeasuredFile[]; curves: Full["curves"] | null }
const words: Record<string, string> = { good: "can be trusted", care: "can be used with care", bad: "is not to be trusted" };

export function Measured() {
  const q = address.value.query, enquiry = q.get("enquiry") ?? "", rank = q.get("rank") ?? "";
  const list = useLoad("enquiries", (s) => get<{ enquiries: EnquiryRow[] }>("/enquiries", s));
  const [doc, setDoc] = useState<Doc | null>(null), [err, setErr] = useState<Fault[]>([]), [busy, setBusy] = useState(false), [over, setOver] = useState(false);
  const last = useRef<File[]>([]), input = useRef<HTMLInputElement>(null);
  const send = async (files: File[], e = enquiry, r = rank) => {
    if (!files.length) return;
    last.current = files;
    setBusy(true);
    setErr([]);
    const form = new FormData();
    if (e) form.append("enquiry", e);
    if (e && r) form.append("rank", r);
    files.forEach((f) => form.append("file", f));
    try { setDoc(await call<Doc>("POST", "/measured", form)); } catch (x) { setDoc(null); setErr(x instanceof Refused ? x.faults : [{ file: "", line: 0, column: 0, found: "", problem: String(x), help: "" }]); }
    setBusy(false);
  };
  const row = list.data?.enquiries.find((x) => x.id === enquiry);
  return <><header class="head"><div><h1>Measured</h1><p>Drop Touchstone files of built samples: are they sound, do they keep the limits, do they agree with the prediction?</p></div>
    <div class="tools"><label>Against <select value={enquiry} onChange={(e) => { const v = e.currentTarget.value; go(withQuery((u) => { v ? u.set("enquiry", v) : u.delete("enquiry"); u.delete("rank"); })); void send(last.current, v, ""); }}><option value="">no limits</option>{list.data?.enquiries.map((x) => <option value={x.id}>{x.title}</option>)}</select></label>
      {row && row.proposals > 0 && <label>Chain <select value={rank} onChange={(e) => { const v = e.currentTarget.value; go(withQuery((u) => (v ? u.set("rank", v) : u.delete("rank")))); void send(last.current, enquiry, v); }}><option value="">limits only</option>{Array.from({ length: row.proposals }, (_, i) => <option value={String(i + 1)}>rank {i + 1}</option>)}</select></label>}</div></header>
    <div class={"drop" + (over ? " over" : "")} onDragOver={(e) => { e.preventDefault(); setOver(true); }} onDragLeave={() => setOver(false)} onDrop={(e) => { e.preventDefault(); setOver(false); void send([...(e.dataTransfer?.files ?? [])]); }}>
      <p><b>Drop files here</b>, or <button type="button" onClick={() => input.current?.click()}>choose files</button></p><p><small>.s1p to .s99p, .ts; up to 64 MB each. They are read on this machine and are not kept.</small></p>
      <input ref={input} type="file" multiple class="hidden" aria-label="Touchstone files" tabIndex={-1} onChange={(e) => { void send([...(e.currentTarget.files ?? [])]); e.currentTarget.value = ""; }} /></div>
    {busy && <Wait what="Reading the files …" />}
    <Faults faults={err} title="The files could not be taken" />
    {doc?.files.map((f) => <One f={f} curves={doc.curves} />)}
    {!doc && !busy && !err.length && <p class="none">No file yet.</p>}</>;
}

function One(p: { f: MeasuredFile; curves: Full["curves"] | null }) {
  const { inspection: n, sample: s } = p.f;
  if (p.f.errors.length) return <section class="file"><h2 class="mono">{p.f.file}</h2><Faults faults={p.f.errors} title="This file cannot be read" /></section>;
  const tr = s?.trace, x = tr?.frequency_hz.map(([a, b]) => (a + b) / 2) ?? [];
  const group = (same: boolean) => tr?.traces.filter((t) => (t.to === t.from) === same) ?? [];
  const neg = (v: Num) => (v == null ? null : -v);
  const onto = (f: number[], y: Num[] | null | undefined): Num[] => x.map((v) => { if (!y || !f.length || v < f[0] || v > f[f.length - 1]) return null; let i = f.findIndex((g) => g >= v); if (i <= 0) return y[0]; const a = y[i - 1], b = y[i]; return a == null || b == null ? null : a + ((b - a) * (v - f[i - 1])) / (f[i] - f[i - 1]); });
  const masks = (quantity: string): Mask[] => (s?.limits ?? []).filter((l) => l.quantity === quantity).map((l) => ({ name: l.quantity, points: l.points, above: l.above, wish: l.wish }));
  const c = p.curves, hot = c?.loss_db[c.loss_db.length - 1], bandOf = (t: { min_db: Num[]; max_db: Num[] }, i: number): Band => ({ name: "spread in a bin", low: t.max_db.map(neg), high: t.min_db.map(neg), look: "b" + (i + 2) });
  const dense = !!tr && tr.points > x.length;
  const bad = n?.findings.filter((g) => g.verdict !== "good") ?? [], good = n?.findings.filter((g) => g.verdict === "good") ?? [];
  return <section class="file"><h2><span class="mono">{p.f.file}</span> <span class={"verdict " + ({ good: "meets", care: "at-risk", bad: "fails" }[n?.verdict ?? ""] ?? "")}>{n ? words[n.verdict] ?? n.verdict : ""}</span></h2>
    {n && <p>{n.ports} ports, {n.points} points, {ghz(n.from_hz)} to {ghz(n.to_hz)}.</p>}
    <div class="cols2"><div><h3>{bad.length ? "What stands against it" : "Nothing stands against it"}</h3><dl class="questions">{bad.map((g) => <><dt>{g.finding} <span class={"verdict " + (g.verdict === "bad" ? "fails" : "at-risk")}>{g.verdict}</span>{g.figure != null && <small> {g.of} {g.unit === "Hz" ? ghz(g.figure) : `${trim(g.figure, 5)} ${g.unit}`}{g.at_hz ? ` at ${ghz(g.at_hz)}` : ""}</small>}</dt><dd>{g.means}{g.do && <>; <em>{g.do}</em></>}</dd></>)}</dl></div>
      <div><h3>What speaks for it</h3><ul>{good.map((g) => <li><b>{g.finding}</b>: {g.means}</li>)}</ul></div></div>
    {!!s?.limits.length && <table><caption>Against the limits</caption><thead><tr><th scope="col">Limit</th><th scope="col">Verdict</th><th scope="col" class="n">Worst</th><th scope="col" class="n">Asked</th><th scope="col" class="n">Margin</th><th scope="col">At</th></tr></thead><tbody>{s.limits.map((l) => <tr><th scope="row">{l.quantity.replace(/_/g, " ")} of {l.of}</th><td><Verdict is={l.verdict} /> <small>{l.why}</small></td><td class="n">{db(l.worst)}</td><td class="n">{db(l.limit_value)}</td><td class="n">{db(l.margin)}</td><td>{l.at_hz ? `${ghz(l.at_hz)}, ${l.trace}` : ""}</td></tr>)}</tbody></table>}
    {tr && <div class="plots">
      {!!group(false).length && <Plot title="Insertion loss" down shared x={x} xUnit="GHz" xScale={1e9} yUnit="dB" file={p.f.file + "-loss"} masks={masks("insertion_loss")} bands={dense ? group(false).slice(0, 2).map(bandOf) : []} traces={[...group(false).slice(0, 3).map((t, i) => ({ name: t.name, y: t.min_db.map(neg), look: "t" + (i + 1) })), ...(hot ? [{ name: "predicted", y: onto(c!.frequency_hz, hot.values), look: "t4" }] : [])]} />}
      <Plot title="Return loss" shared x={x} xUnit="GHz" xScale={1e9} yUnit="dB" file={p.f.file + "-return-loss"} masks={masks("return_loss")} bands={dense ? group(true).slice(0, 2).map(bandOf) : []} traces={[...group(true).slice(0, 3).map((t, i) => ({ name: t.name, y: t.max_db.map(neg), look: "t" + (i + 1) })), ...(c ? [{ name: "predicted worst", y: onto(c.frequency_hz, c.return_loss_db.worst), look: "t4" }] : [])]} />
      {tr.left_out && <p class="note">Not shown: {tr.left_out}</p>}</div>}
  </section>;
}
