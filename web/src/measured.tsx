// Measured samples: dropped Touchstone files, their quality in words, their
// verdict under the rule that was chosen, their traces over the limits and the
// prediction, where along the chain they differ, and what many say together.
import { useRef, useState } from "preact/hooks";
import { call, get, Refused, type ChainRow, type Element, type EnquiryRow, type Fault, type Full, type Margin, type Shape } from "./api";
import { Faults, Verdict, Wait, csv, save, saveSVG } from "./bits";
import { Drawing, place } from "./drawing";
import { Plot, useWidth, type Band, type Mask } from "./plot";
import { address, go, useLoad, withQuery } from "./state";
import { db, fixed, ghz, mm, ticks, time, trim, type Num } from "./units";

interface Finding { finding: string; verdict: string; figure: Num; unit: string; of: string; at_hz: Num; means: string; do: string; judged: string }
interface Judged { quantity: string; of: string; points: [number, number][]; above: boolean; wish: boolean; verdict: string; why: string; worst: Num; limit_value: Num; margin: Num; at_hz: Num; trace: string }
interface MeasuredFile {
  file: string; errors: Fault[]; inspection: { ports: number; points: number; from_hz: Num; to_hz: Num; verdict: string; findings: Finding[]; left_out: string[] } | null;
  sample: { trace: { frequency_hz: [number, number][]; points: number; traces: { name: string; to: number; from: number; min_db: Num[]; max_db: Num[] }[]; left_out: string }; limits: Judged[] } | null;
}
interface LimitMargin extends Margin { trace: string; expanded_uncertainty: Num; guard_band: Num; probability_inside: Num; segments: { from_hz: number; to_hz: number; margin: Num; at_hz: Num }[] }
interface Place { piece: string; not_told_from: string[]; position_m: number; within_m: number; return_loss_db: Num; may_return_loss_db: Num; kind: string; says: string }
interface Echoes { position_m: number[]; reflection: Num[]; may_be: Num[] }
interface Along { pieces: { name: string; from_m: number; to_m: number; return_loss_db: Num; may_return_loss_db: Num; exceeds: boolean }[]; length_m: number; resolution_m: number; delay_shared_by: string[]; from_left: Echoes | null; from_right: Echoes | null }
interface Verified {
  file: string; serial: string; quality: string; quality_by: string; planes: { port_1: string; port_2: string; from: string; turned: boolean } | null; verdict: string; why: string; margins: LimitMargin[];
  against_prediction: { trace: string; agrees: boolean; judged: boolean; why: string }[]; electrical_length: { delay_s: Num; why: string; judged: boolean; agrees: boolean } | null;
  ripple_pp_db: Num; ripple_between_hz: Num[]; difference: Place | null; largest_reflection: Place | null; looks_turned: boolean; along: Along | null; no_time_domain_because: string; errors: Fault[];
}
interface Width { deg: number; s: number; m: number }
interface Quantity {
  name: string; unit: string; n: number; mean: Num; standard_deviation: Num; least: Num; least_of: string; capability: { cpk: Num; cpk_at_least: Num; confidence: number; outside: number; share_outside: { low: number; high: number } } | null;
  normality: { rejected: boolean; says: string }; outliers: { file: string; value: number; statistic: number }[]; drift: { over_the_lot: number; p: number; detected: boolean } | null;
}
interface Verification {
  chain: string; enquiry: string; decision: { rule: string; default: boolean; says: string; source: string }; verdict: string; counts: Record<string, number>; files: Verified[];
  set: { size: number; at_hz: Num; width: Width; shortest: string; longest: string; widest_over_band: Width; widest_own_delay_removed: Width; match: LimitMargin | null } | null;
  lot: { units: number; by_serial_number: boolean; false_alarm_level: number; look_exchanged: string[]; quantities: Quantity[] } | null; questions: { field: string; question: string; changes: string }[]; notes: string[];
}
interface PredictedBand { frequency_hz: number[]; loss_least_db: Num[]; loss_most_db: Num[]; return_loss_near_least_db: Num[]; return_loss_far_least_db: Num[]; share: number; copies: number }
export interface MeasuredDoc { files: MeasuredFile[]; curves: Full["curves"] | null; prediction: { elements: Element[] } | null; drawing: { elements: Shape[] } | null; band: PredictedBand | null; verification: Verification | null }

const words: Record<string, string> = { good: "can be trusted", care: "can be used with care", bad: "is not to be trusted" };

/** The fields that say how the samples were measured, as the server names them; they stand in the address. */
const fields: { name: string; label: string; example: string; more?: boolean }[] = [
  { name: "temperature", label: "Temperature of the samples", example: "23 °C" }, { name: "uncertainty", label: "Uncertainty of the transmission (k = 2)", example: "0.1 dB" }, { name: "uncertainty_reflection", label: "Uncertainty of a reflection (k = 2)", example: "0.01" },
  { name: "left_plane", label: "Plane of port 1", example: "as the file says", more: true }, { name: "right_plane", label: "Plane of port 2", example: "as the file says", more: true }, { name: "guard", label: "Guard band, in uncertainties", example: "1", more: true },
  { name: "directivity", label: "Residual directivity", example: "42 dB", more: true }, { name: "source_match", label: "Residual source match", example: "38 dB", more: true }, { name: "load_match", label: "Residual load match", example: "as the directivity", more: true },
  { name: "reflection_tracking", label: "Tracking of the reflection", example: "0.05 dB", more: true }, { name: "transmission_tracking", label: "Tracking of the transmission", example: "0.05 dB", more: true }, { name: "repeatability", label: "Repeatability of a connection", example: "60 dB", more: true },
  { name: "stored_delay", label: "Stored delay to match", example: "4821.3 ps", more: true }, { name: "cpk", label: "Capability wanted", example: "1.33", more: true },
];
const asked = ["enquiry", "rank", "chain", "rule", "chain_planes", ...fields.map((f) => f.name)];

export function Measured() {
  const q = address.value.query, enquiry = q.get("enquiry") ?? "", chain = q.get("chain") ?? "", rank = q.get("rank") ?? "", against = chain || rank;
  const list = useLoad("enquiries", (s) => get<{ enquiries: EnquiryRow[] }>("/enquiries", s));
  const files = useLoad("chains", (s) => get<{ chains: ChainRow[] }>("/chains", s));
  const [doc, setDoc] = useState<MeasuredDoc | null>(null), [err, setErr] = useState<Fault[]>([]), [busy, setBusy] = useState(0), [over, setOver] = useState(false);
  const last = useRef<File[]>([]), input = useRef<HTMLInputElement>(null), stop = useRef<AbortController | null>(null);
  const send = async (chosen: File[]) => {
    if (!chosen.length) return;
    last.current = chosen;
    stop.current?.abort();
    const mine = (stop.current = new AbortController());
    setBusy(chosen.length);
    setErr([]);
    const form = new FormData(), now = new URLSearchParams(location.search);
    for (const name of asked) if (now.get(name)) form.append(name, now.get(name)!);
    chosen.forEach((f) => form.append("file", f));
    try {
      setDoc(await call<MeasuredDoc>("POST", "/measured", form, mine.signal));
    } catch (x) {
      if (mine.signal.aborted) return;
      setDoc(null);
      setErr(x instanceof Refused ? x.faults : [{ file: "", line: 0, column: 0, found: "", problem: String(x), help: "" }]);
    }
    setBusy(0);
  };
  const set = (...pairs: [string, string][]) => { go(withQuery((u) => pairs.forEach(([k, v]) => (v ? u.set(k, v) : u.delete(k)))), true); void send(last.current); };
  const row = list.data?.enquiries.find((x) => x.id === enquiry), own = files.data?.chains.filter((c) => !c.errors.length && (!enquiry || c.enquiry === enquiry)) ?? [];
  const v = doc?.verification, shown = v ? (v.files.find((f) => f.file === q.get("file")) ?? v.files[0]) : null, at = v && shown ? v.files.indexOf(shown) : -1;
  const field = (f: (typeof fields)[number]) => <label>{f.label} <input key={f.name + (q.get(f.name) ?? "")} defaultValue={q.get(f.name) ?? ""} placeholder={f.example} onChange={(e) => set([f.name, e.currentTarget.value.trim()])} /></label>;
  return <><header class="head"><div><h1>Measured</h1><p>Drop Touchstone files of built samples: are they sound, do they keep the limits, do they agree with the prediction, and if not, where along the chain?</p></div>
    <div class="tools"><label>Against <select value={enquiry} onChange={(e) => set(["enquiry", e.currentTarget.value], ["rank", ""], ["chain", ""])}><option value="">no limits</option>{list.data?.enquiries.map((x) => <option value={x.id}>{x.title}</option>)}</select></label>
      {(own.length > 0 || (row?.proposals ?? 0) > 0) && <label>Chain <select value={chain ? "chain:" + chain : rank} onChange={(e) => { const x = e.currentTarget.value; x.startsWith("chain:") ? set(["chain", x.slice(6)], ["rank", ""]) : set(["rank", x], ["chain", ""]); }}><option value="">{enquiry ? "limits only" : "none"}</option>
        {own.map((c) => <option value={"chain:" + c.id}>{c.name}</option>)}{Array.from({ length: row?.proposals ?? 0 }, (_, i) => <option value={String(i + 1)}>rank {i + 1}</option>)}</select></label>}</div></header>
    {against && <form class="how" aria-label="How they were measured" onSubmit={(e) => e.preventDefault()}><div class="grid2">
      <label>Decision rule <select value={q.get("rule") ?? ""} onChange={(e) => set(["rule", e.currentTarget.value])}><option value="">three-way where an uncertainty is stated, else simple</option><option value="simple">simple: up to the limit</option><option value="guarded">guarded: inside by the guard band, else fails</option><option value="three-way">three-way: at risk within the guard band</option></select></label>
      {fields.filter((f) => !f.more).map(field)}</div>
      <label class="tick"><input type="checkbox" checked={q.get("chain_planes") === "true"} onChange={(e) => set(["chain_planes", e.currentTarget.checked ? "true" : ""])} /> Files that name no planes were measured between the chain's own</label>
      <details open={fields.some((f) => f.more && q.get(f.name))}><summary>Planes, calibration residuals, match and capability</summary><div class="grid2">{fields.filter((f) => f.more).map(field)}</div></details></form>}
    <div class={"drop" + (over ? " over" : "")} onDragOver={(e) => { e.preventDefault(); setOver(true); }} onDragLeave={() => setOver(false)} onDrop={(e) => { e.preventDefault(); setOver(false); void send([...(e.dataTransfer?.files ?? [])]); }}>
      <p><b>Drop files here</b>, or <button type="button" onClick={() => input.current?.click()}>choose files</button></p><p><small>.s1p to .s99p, .ts; up to 64 MB each, up to 2000 at once. They are read on this machine and are not kept.</small></p>
      <input ref={input} type="file" multiple class="hidden" aria-label="Touchstone files" tabIndex={-1} onChange={(e) => { void send([...(e.currentTarget.files ?? [])]); e.currentTarget.value = ""; }} /></div>
    {busy > 0 && <p class="wait" role="status">Reading {busy === 1 ? "the file" : busy + " files"} … <button type="button" onClick={() => { stop.current?.abort(); setBusy(0); }}>Stop</button></p>}
    <Faults faults={err} title="The files could not be taken" />
    {v && <Together v={v} shown={shown} pick={(name) => go(withQuery((u) => u.set("file", name)), true)} />}
    {doc && v && shown && <One f={doc.files[at]} v={shown} doc={doc} />}
    {doc && !v && doc.files.map((f) => <One f={f} v={null} doc={doc} />)}
    {!doc && !busy && !err.length && <p class="none">No file yet.</p>}</>;
}

const unit = (x: Num, u: string) => (x == null ? "–" : u === "dB" ? db(x) : trim(x, 3) + (u ? " " + u : ""));
const closest = (f: Verified) => f.margins.filter((m) => m.margin != null && !m.wish).sort((a, b) => a.margin! / Math.max(Math.abs(a.limit_value ?? 1), 1e-9) - b.margin! / Math.max(Math.abs(b.limit_value ?? 1), 1e-9))[0];
const badFirst = ["fails", "not assessed", "at risk", "meets"];

/** Together is what all files say: verdict in words, the files, the set, the lot. */
function Together(p: { v: Verification; shown: Verified | null; pick: (name: string) => void }) {
  const { v } = p, [all, setAll] = useState(false), sorted = v.files.map((f, i) => [f, i] as const).sort((a, b) => badFirst.indexOf(a[0].verdict) - badFirst.indexOf(b[0].verdict) || a[1] - b[1]).map(([f]) => f);
  const rows = all ? sorted : sorted.slice(0, 25), counts = ["meets", "at risk", "fails", "not assessed", "unreadable"].filter((k) => v.counts[k]).map((k) => `${v.counts[k]} ${k}`).join(", ");
  return <section class="together" aria-label="Verdict"><h2>{v.files.length === 1 ? "The sample" : `${v.files.length} samples`} <Verdict is={v.verdict} /></h2>
    <p>{v.files.length > 1 && <>{counts}. </>}Held against {v.chain}. <b>Rule: {v.decision.rule}</b>{v.decision.default && " (the default: none was chosen)"}. <span>{v.decision.says} ({v.decision.source}).</span></p>
    {v.questions.length > 0 && <dl class="questions">{v.questions.map((x) => <><dt>{x.question}</dt><dd>{x.changes}</dd></>)}</dl>}
    {v.files.length > 1 && <div class="scroll" tabIndex={0} role="region" aria-label="Samples"><table><caption>Samples, those that need a look first</caption><thead><tr><th scope="col">File</th><th scope="col">Verdict</th><th scope="col">Closest limit</th><th scope="col" class="n">Margin</th><th scope="col">At</th><th scope="col">Differs at</th></tr></thead>
      <tbody>{rows.map((f) => { const m = closest(f); return <tr class={f.verdict.replace(" ", "-")}><th scope="row"><button type="button" class="figure" aria-pressed={f === p.shown} onClick={() => p.pick(f.file)}>{f.file}</button></th><td>{f.errors.length ? "cannot be judged" : <Verdict is={f.verdict} />}</td>
        <td>{f.errors.length ? f.errors[0].problem : f.verdict === "not assessed" || !m ? f.why : m.limit}</td><td class="n">{m ? unit(m.margin, m.unit) : "–"}</td><td>{m?.at_hz ? ghz(m.at_hz) : ""}</td><td>{f.difference ? `${f.difference.piece}, ${mm(f.difference.position_m)}` : ""}{f.looks_turned ? " (ports exchanged?)" : ""}</td></tr>; })}</tbody></table></div>}
    {sorted.length > rows.length && <p><button type="button" onClick={() => setAll(true)}>Show all {sorted.length}</button></p>}
    {v.set && v.set.size > 1 && <><h3>Phase of the set {v.set.match && <Verdict is={v.set.match.verdict} />}</h3><dl class="facts"><Fact name={`Width at ${ghz(v.set.at_hz)}`} w={v.set.width} /><Fact name="Widest over the band" w={v.set.widest_over_band} /><Fact name="The same, each one's own delay taken off" w={v.set.widest_own_delay_removed} /></dl>
      <p>{v.set.match ? v.set.match.why : `${v.set.size} samples, from ${v.set.shortest} to ${v.set.longest}.`}</p></>}
    {v.lot && <Lot v={v} pick={p.pick} />}
    {v.notes.map((n) => <p class="note">{n}</p>)}</section>;
}

function Fact(p: { name: string; w: Width }) {
  return <div><dt>{p.name}</dt><dd>{trim(p.w.deg, 3)}° <small>{time(p.w.s)}, {mm(p.w.m)}</small></dd></div>;
}

/** Lot is the statistics, and one limit's margin sample by sample. */
function Lot(p: { v: Verification; pick: (name: string) => void }) {
  const l = p.v.lot!, judged = l.quantities.filter((x) => x.capability), names = [...new Set(p.v.files.flatMap((f) => f.margins.filter((m) => m.margin != null).map((m) => m.limit)))];
  const [limit, setLimit] = useState(""), name = names.includes(limit) ? limit : names[0];
  const remarks = l.quantities.flatMap((x) => [...(x.drift?.detected ? [`${x.name} drifts by ${unit(x.drift.over_the_lot, x.unit)} over the lot (p = ${trim(x.drift.p, 2)})`] : []), ...x.outliers.map((o) => `${o.file} does not belong with the others: ${x.name} ${unit(o.value, x.unit)}, ${trim(o.statistic, 3)} standard deviations off`)]).concat(l.look_exchanged.map((x) => `${x} is like the others with its ports exchanged: it may have been measured the other way round`));
  const table = () => csv(["quantity", "unit", "n", "mean", "standard deviation", "worst", "of", "Cpk", "Cpk at least", "outside", "not normal", "drift over the lot"], l.quantities.map((x) => [x.name, x.unit, x.n, x.mean, x.standard_deviation, x.least, x.least_of, x.capability?.cpk, x.capability?.cpk_at_least, x.capability?.outside, x.normality.rejected ? "yes" : "", x.drift?.over_the_lot]));
  return <><h3>The lot of {l.units}</h3>
    <div class="scroll" tabIndex={0} role="region" aria-label="Lot statistics"><table><caption>Margins to each limit, positive inside <span class="saves"><button type="button" aria-label="Save the lot as CSV" onClick={() => save("lot.csv", "text/csv", table())}>CSV</button></span></caption>
      <thead><tr><th scope="col">Limit</th><th scope="col" class="n">Mean</th><th scope="col" class="n">s</th><th scope="col" class="n">Worst</th><th scope="col">Of</th><th scope="col" class="n">Cpk</th><th scope="col" class="n">At least, {judged[0] ? Math.round(100 * judged[0].capability!.confidence) : 95} %</th><th scope="col" class="n">Outside</th><th scope="col">Distribution</th></tr></thead>
      <tbody>{l.quantities.map((x) => <tr><th scope="row">{x.name}</th><td class="n">{unit(x.mean, x.unit)}</td><td class="n">{unit(x.standard_deviation, x.unit)}</td><td class="n">{unit(x.least, x.unit)}</td><td>{x.least_of}</td><td class="n">{x.capability ? fixed(x.capability.cpk, 2) : ""}</td><td class="n">{x.capability ? fixed(x.capability.cpk_at_least, 2) : ""}</td>
        <td class="n">{x.capability ? `${x.capability.outside} of ${x.n}` : ""}</td><td>{x.normality.says}</td></tr>)}</tbody></table></div>
    {remarks.length > 0 && <ul>{remarks.slice(0, 40).map((r) => <li>{r}</li>)}</ul>}
    {name && <><label>Sample by sample <select value={name} onChange={(e) => setLimit(e.currentTarget.value)}>{names.map((x) => <option>{x}</option>)}</select></label><Strip v={p.v} limit={name} pick={p.pick} /></>}
    <p>Tests for outliers and drift raise a false alarm of one kind in {Math.round(100 * l.false_alarm_level)} % of sound lots. {l.by_serial_number ? "Drift is along the serial numbers, the last number in each name." : "Drift is along the order of the files: not every name holds a number."}</p></>;
}

function Strip(p: { v: Verification; limit: string; pick: (name: string) => void }) {
  const [ref, width] = useWidth<HTMLElement>(), H = 150, L = 54, T = 8, B = 22;
  const points = p.v.files.map((f) => { const m = f.margins.find((x) => x.limit === p.limit); return m?.margin == null ? null : { f, m, y: m.margin }; }).filter((x): x is { f: Verified; m: LimitMargin; y: number } => !!x);
  if (!points.length) return null;
  const lo = Math.min(0, ...points.map((x) => x.y)), hi = Math.max(0, ...points.map((x) => x.y)), pad = (hi - lo || 1) * 0.08, Y = (y: number) => T + ((hi + pad - y) / (hi - lo + 2 * pad)) * (H - T - B), X = (i: number) => L + ((i + 0.5) / points.length) * (width - L - 8);
  return <figure class="plot" ref={ref}><svg width={width} height={H} role="img" aria-label={`Margins to ${p.limit} of ${points.length} samples, from ${trim(lo, 3)} to ${trim(hi, 3)} ${points[0].m.unit}; ${points.filter((x) => x.y < 0).length} outside`}>
    {ticks(lo, hi, 4).map((t) => <g class="grid"><line x1={L} x2={width} y1={Y(t)} y2={Y(t)} /><text x={L - 6} y={Y(t) + 4} text-anchor="end">{trim(t, 3)}</text></g>)}
    <line class="limit" x1={L} x2={width} y1={Y(0)} y2={Y(0)} /><text x={width - 8} y={Y(0) - 4} text-anchor="end">the limit</text>
    {points.map((x, i) => <circle class={"sample " + x.m.verdict.replace(" ", "-")} cx={X(i)} cy={Y(x.y)} r={points.length > 300 ? 2 : 4} onClick={() => p.pick(x.f.file)}><title>{`${x.f.file}: ${unit(x.y, x.m.unit)}, ${x.m.verdict}`}</title></circle>)}
    <text x={L} y={H - 6}>{points[0].f.file}</text><text x={width - 8} y={H - 6} text-anchor="end">{points[points.length - 1].f.file}</text></svg></figure>;
}

/** One is a file: quality, verdict, traces over limits and prediction, and its place along the chain. */
function One(p: { f: MeasuredFile; v: Verified | null; doc: MeasuredDoc }) {
  const { inspection: n, sample: s } = p.f, v = p.v, c = p.doc.curves, bandOf = p.doc.band;
  if (v?.errors.length || p.f.errors.length) return <section class="file"><h2 class="mono">{p.f.file}</h2><Faults faults={v?.errors.length ? v.errors : p.f.errors} title={n ? "This file cannot be held against the chain" : "This file cannot be read"} />{n && <Quality n={n} />}</section>;
  const tr = s?.trace, x = tr?.frequency_hz.map(([a, b]) => (a + b) / 2) ?? [];
  const group = (same: boolean) => tr?.traces.filter((t) => (t.to === t.from) === same) ?? [];
  const neg = (y: Num) => (y == null ? null : -y);
  const onto = (f: number[], y: Num[] | null | undefined): Num[] => x.map((u) => { if (!y || !f.length || u < f[0] || u > f[f.length - 1]) return null; let i = f.findIndex((g) => g >= u); if (i <= 0) return y[0]; const a = y[i - 1], b = y[i]; return a == null || b == null ? null : a + ((b - a) * (u - f[i - 1])) / (f[i] - f[i - 1]); });
  const masks = (quantity: string): Mask[] => (s?.limits ?? []).filter((l) => l.quantity === quantity).map((l) => ({ name: l.quantity, points: l.points, above: l.above, wish: l.wish }));
  const hot = c?.loss_db[c.loss_db.length - 1], spread = (t: { min_db: Num[]; max_db: Num[] }, i: number): Band => ({ name: "spread in a bin", low: t.max_db.map(neg), high: t.min_db.map(neg), look: "b" + (i + 2) });
  const dense = !!tr && tr.points > x.length, share = bandOf ? `predicted, ${Math.round(100 * bandOf.share)} % of copies` : "";
  return <section class="file"><h2><span class="mono">{p.f.file}</span> {v ? <Verdict is={v.verdict} /> : <span class={"verdict " + ({ good: "meets", care: "at-risk", bad: "fails" }[n?.verdict ?? ""] ?? "")}>{n ? words[n.verdict] ?? n.verdict : ""}</span>}</h2>
    {v?.why && <p><b>{v.why}</b></p>}
    {n && <p>{n.ports} ports, {n.points} points, {ghz(n.from_hz)} to {ghz(n.to_hz)}. {v?.planes && <>Port 1 at the {v.planes.port_1}, port 2 at the {v.planes.port_2} ({({ file: "as the file says", caller: "as you say", vouched: "vouched for" } as Record<string, string>)[v.planes.from]}{v.planes.turned ? "; turned round to the chain's left and right" : ""}).</>}</p>}
    {v && <table><caption>Against the limits</caption><thead><tr><th scope="col">Limit</th><th scope="col">Verdict</th><th scope="col" class="n">Reads</th><th scope="col" class="n">Limit</th><th scope="col" class="n">Margin</th><th scope="col" class="n">Guard band</th><th scope="col" class="n">Chance inside</th><th scope="col">At</th></tr></thead>
      <tbody>{v.margins.map((m) => <tr class={m.verdict.replace(" ", "-")}><th scope="row">{m.limit}{m.wish ? " (wish)" : ""}</th><td><Verdict is={m.verdict} /> <small>{m.verdict !== "meets" && m.why}</small></td><td class="n">{unit(m.worst, m.unit)}</td><td class="n">{unit(m.limit_value, m.unit)}</td><td class="n">{unit(m.margin, m.unit)}</td><td class="n">{unit(m.guard_band, m.unit)}</td><td class="n">{m.expanded_uncertainty == null || m.probability_inside == null ? "–" : fixed(100 * m.probability_inside, 1) + " %"}</td><td>{m.at_hz ? `${ghz(m.at_hz)}, ${m.trace}` : ""}</td></tr>)}</tbody></table>}
    {!v && !!s?.limits.length && <table><caption>Against the limits</caption><thead><tr><th scope="col">Limit</th><th scope="col">Verdict</th><th scope="col" class="n">Worst</th><th scope="col" class="n">Asked</th><th scope="col" class="n">Margin</th><th scope="col">At</th></tr></thead><tbody>{s.limits.map((l) => <tr><th scope="row">{l.quantity.replace(/_/g, " ")} of {l.of}</th><td><Verdict is={l.verdict} /> <small>{l.why}</small></td><td class="n">{db(l.worst)}</td><td class="n">{db(l.limit_value)}</td><td class="n">{db(l.margin)}</td><td>{l.at_hz ? `${ghz(l.at_hz)}, ${l.trace}` : ""}</td></tr>)}</tbody></table>}
    {v && <><h3>Against the prediction</h3><ul>{v.against_prediction.map((a) => <li><b>{a.trace}</b>: {a.why}</li>)}{v.electrical_length && <li><b>electrical length</b>: {v.electrical_length.delay_s != null && time(v.electrical_length.delay_s) + "; "}{v.electrical_length.why}</li>}{v.ripple_pp_db != null && <li><b>ripple</b>: {fixed(v.ripple_pp_db, 3)} dB peak to peak about the fitted smooth loss, between {ghz(v.ripple_between_hz[0])} and {ghz(v.ripple_between_hz[1])}</li>}</ul></>}
    {tr ? <div class="plots">
      {!!group(false).length && <Plot title="Insertion loss" down shared x={x} xUnit="GHz" xScale={1e9} yUnit="dB" file={p.f.file + "-loss"} masks={masks("insertion_loss")} bands={[...(dense ? group(false).slice(0, 2).map(spread) : []), ...(bandOf ? [{ name: share, low: onto(bandOf.frequency_hz, bandOf.loss_least_db), high: onto(bandOf.frequency_hz, bandOf.loss_most_db), look: "b1" }] : [])]} traces={[...group(false).slice(0, 3).map((t, i) => ({ name: t.name, y: t.min_db.map(neg), look: "t" + (i + 1) })), ...(hot && !bandOf ? [{ name: "predicted", y: onto(c!.frequency_hz, hot.values), look: "t4" }] : [])]} />}
      <Plot title="Return loss" shared x={x} xUnit="GHz" xScale={1e9} yUnit="dB" file={p.f.file + "-return-loss"} masks={masks("return_loss")} bands={dense ? group(true).slice(0, 2).map(spread) : []} traces={[...group(true).slice(0, 3).map((t, i) => ({ name: t.name, y: t.max_db.map(neg), look: "t" + (i + 1) })), ...(bandOf ? [{ name: share + ", least", y: onto(bandOf.frequency_hz, bandOf.return_loss_near_least_db), look: "t4" }] : c ? [{ name: "predicted worst", y: onto(c.frequency_hz, c.return_loss_db.worst), look: "t4" }] : [])]} />
      {tr.left_out && <p class="note">Not shown: {tr.left_out}</p>}</div> : v && <p class="note">Its traces are not sent: pictures are those of the first 16 files. Drop it by itself to see them.</p>}
    {v && <Where v={v} doc={p.doc} />}
    {n && <Quality n={n} />}
  </section>;
}

function Quality(p: { n: NonNullable<MeasuredFile["inspection"]> }) {
  const bad = p.n.findings.filter((g) => g.verdict !== "good"), good = p.n.findings.filter((g) => g.verdict === "good");
  return <div class="cols2"><div><h3>{bad.length ? "What stands against the data" : "Nothing stands against the data"}</h3><dl class="questions">{bad.map((g) => <><dt>{g.finding} <span class={"verdict " + (g.verdict === "bad" ? "fails" : "at-risk")}>{g.verdict}</span>{g.figure != null && <small> {g.of} {g.unit === "Hz" ? ghz(g.figure) : `${trim(g.figure, 5)} ${g.unit}`}{g.at_hz ? ` at ${ghz(g.at_hz)}` : ""}</small>}</dt><dd>{g.means}{g.do && <>; <em>{g.do}</em></>}</dd></>)}</dl></div>
    <div><h3>What speaks for it</h3><ul>{good.map((g) => <li><b>{g.finding}</b>: {g.means}</li>)}</ul></div></div>;
}

/** Where lays the sample's reflections along the chain, under its drawing and in its places. */
function Where(p: { v: Verified; doc: MeasuredDoc }) {
  const a = p.v.along, shapes = p.doc.drawing?.elements ?? [], [ref, width] = useWidth<HTMLDivElement>(900), svg = useRef<SVGSVGElement>(null), d = p.v.difference;
  if (!a) return <><h3>Along the chain</h3><p class="note">{p.v.no_time_domain_because}</p></>;
  const lay = place(shapes, width), none: Element[] = p.doc.prediction?.elements ?? [];
  const box = (k: number) => lay.boxes[shapes.findIndex((s) => s.element === k)];
  return <div class="along" ref={ref}><h3>Along the chain {d && <span class="verdict fails"><span aria-hidden="true">✕</span> differs</span>}</h3>
    <p>{d ? <b>{d.says}.</b> : <>No place reflects more than the pieces there may. {p.v.largest_reflection && <>The greatest reflection: {p.v.largest_reflection.says}.</>}</>} Reflections nearer together than {mm(a.resolution_m)} show as one.{p.v.looks_turned && <b> It fits the chain when its ports are exchanged: it may have been measured the other way round.</b>}{a.delay_shared_by.length > 0 && <> The electrical length of {a.delay_shared_by.join(", ")} is not stated: what the measured delay leaves over is shared among them.</>}</p>
    {shapes.length > 0 && <div {...{ inert: true }}><Drawing svg={svg} shapes={shapes} lay={lay} width={width} piece={d ? a.pieces.findIndex((x) => x.name === d.piece) : -1} pick={() => {}} pr={none} /></div>}
    {shapes.length > 0 && ([["from_left", "Reflections seen from the left"], ["from_right", "Reflections seen from the right"]] as const).map(([side, title]) => a[side] && <Echo e={a[side]!} a={a} d={d} box={box} width={width} title={title} file={p.v.file + "-" + side} />)}
    <table><caption>Piece by piece</caption><thead><tr><th scope="col">Piece</th><th scope="col" class="n">From</th><th scope="col" class="n">To</th><th scope="col" class="n">Reflects</th><th scope="col" class="n">May</th><th scope="col">Verdict</th></tr></thead>
      <tbody>{a.pieces.map((x) => <tr class={x.exceeds ? "fails" : ""}><th scope="row">{x.name}</th><td class="n">{mm(x.from_m)}</td><td class="n">{mm(x.to_m)}</td><td class="n">{db(x.return_loss_db, 1)}</td><td class="n">{db(x.may_return_loss_db, 1)}</td><td>{x.exceeds ? "more than it may" : x.may_return_loss_db == null ? "no bound stated" : "within its bound"}</td></tr>)}</tbody></table></div>;
}

function Echo(p: { e: Echoes; a: Along; d: Place | null; box: (k: number) => { x: number; w: number } | undefined; width: number; title: string; file: string }) {
  const ref = useRef<SVGSVGElement>(null), H = 150, T = 8, B = 14, level = (r: Num) => (r == null || !(r > 0) ? null : Math.max(-70, 20 * Math.log10(r)));
  const X = (m: number) => { const k = p.a.pieces.findIndex((q) => m >= q.from_m && m <= q.to_m && q.to_m > q.from_m), b = k < 0 ? undefined : p.box(k); return b ? b.x + ((m - p.a.pieces[k].from_m) / (p.a.pieces[k].to_m - p.a.pieces[k].from_m)) * b.w : null; };
  const seen = p.e.reflection.map(level), may = p.e.may_be.map(level), top = Math.max(-10, ...seen.map((v) => v ?? -70), ...may.map((v) => v ?? -70)), Y = (v: number) => T + ((top + 3 - v) / (top + 3 + 70)) * (H - T - B);
  const path = (ys: Num[]) => { let s = "", pen = false; ys.forEach((y, i) => { const x = X(p.e.position_m[i]); if (x == null || y == null) { pen = false; return; } s += (pen ? "L" : "M") + x.toFixed(1) + " " + Y(y).toFixed(1); pen = true; }); return s; };
  const at = p.d ? X(p.d.position_m) : null;
  return <figure class="plot"><figcaption><span class="name">{p.title}</span><span class="saves"><button type="button" aria-label={`Save ${p.title.toLowerCase()} as SVG`} onClick={() => saveSVG(ref.current!, p.file)}>SVG</button><button type="button" aria-label={`Save ${p.title.toLowerCase()} as CSV`} onClick={() => save(p.file + ".csv", "text/csv", csv(["position (m)", "reflection", "may be"], p.e.position_m.map((m, i) => [m, p.e.reflection[i], p.e.may_be[i]])))}>CSV</button></span></figcaption>
    <svg ref={ref} width={p.width} height={H} role="img" aria-label={`${p.title}, under the drawing and in its places${p.d ? ". " + p.d.says : ""}`}>
      {ticks(-60, Math.ceil(top), 4).map((v) => <g class="grid"><line x1={128} x2={p.width} y1={Y(v)} y2={Y(v)} /><text x={122} y={Y(v) + 4} text-anchor="end">{trim(v, 3)} dB</text></g>)}
      {p.a.pieces.map((_, k) => { const b = p.box(k); return b && <line class="leader" x1={b.x} x2={b.x} y1={T} y2={H - B} />; })}
      <path class="trace t3" d={path(may)} /><path class="trace t1" d={path(seen)} />
      {at != null && <g><line class="limit" x1={at} x2={at} y1={T} y2={H - B} /><text x={at + 6} y={T + 12}>{mm(p.d!.position_m)}</text></g>}
    </svg>
    <ul class="legend"><li><svg width="26" height="8" aria-hidden="true"><line class="trace t1" x1="0" x2="26" y1="4" y2="4" /></svg>measured</li><li><svg width="26" height="8" aria-hidden="true"><line class="trace t3" x1="0" x2="26" y1="4" y2="4" /></svg>the most that the pieces may show there</li></ul></figure>;
}
