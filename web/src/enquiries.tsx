// The first page: every enquiry, its band on one common axis, and how the
// catalogue answers it.
import { useEffect, useRef, useState } from "preact/hooks";
import { call, get, Refused, type EnquiryDoc, type EnquiryRow, type Fault } from "./api";
import { Faults, Link, Verdict, Wait } from "./bits";
import { changed, go, useLoad } from "./state";
import { ghz, ticks } from "./units";

export function Enquiries() {
  const s = useLoad("e" + changed.value, (sig) => get<{ enquiries: EnquiryRow[] }>("/enquiries", sig));
  const [fresh, setFresh] = useState(false);
  const [find, setFind] = useState("");
  if (!s.data) return s.error ? <Faults faults={s.error.faults} title="The enquiries could not be read" /> : <Wait what="Reading the enquiries …" />;
  const all = s.data.enquiries;
  const rows = find ? all.filter((r) => (r.title + r.customer + r.id).toLowerCase().includes(find.toLowerCase())) : all;
  const top = Math.max(1e9, ...all.flatMap((r) => r.bands.map((b) => b.to_hz)));
  const end = Math.ceil(top / 5e9) * 5e9;
  const offers = all.filter((r) => r.proposals > 0).length, working = all.filter((r) => r.state === "working").length;
  return <>
    <header class="head"><div><h1>Enquiries</h1>
      <p>{all.length} in this workspace; the catalogue offers a chain for {offers}{working ? `; ${working} still being worked out` : ""}.</p></div>
      <div class="tools"><label>Find <input type="search" value={find} onInput={(e) => setFind(e.currentTarget.value)} /></label>
        <button type="button" class="main" onClick={() => setFresh(true)}>New enquiry</button></div></header>
    {fresh && <NewEnquiry close={() => setFresh(false)} />}
    {!all.length && <p class="none">No enquiry stands in this workspace yet. Begin with <b>New enquiry</b>, or put a file into its folder <code>enquiries</code>.</p>}
    {!!all.length && <div class="enquiries" role="table" aria-label="Enquiries">
      <div role="row" class="row headrow"><span role="columnheader">Enquiry</span><span role="columnheader" class="axis"><span class="hidden">Band</span><Axis end={end} /></span><span role="columnheader">Limits</span><span role="columnheader">Answer</span></div>
      {rows.map((r) => <Row r={r} end={end} />)}
      {!rows.length && <p class="none">No enquiry holds “{find}”.</p>}
    </div>}
  </>;
}

function Axis(p: { end: number }) {
  return <span class="scale" aria-hidden="true">{ticks(0, p.end / 1e9, 5).map((t) => <i style={{ left: (t / (p.end / 1e9)) * 100 + "%" }}>{t}</i>)}<em>GHz</em></span>;
}

function Row(p: { r: EnquiryRow; end: number }) {
  const r = p.r;
  return <div role="row" class="row">
    <span role="cell"><Link to={"/enquiry/" + r.id} class="title">{r.title || r.id}</Link><small>{r.customer}</small></span>
    <span role="cell" class="axis"><span class="hidden">{r.bands.map((b) => `${ghz(b.from_hz)} to ${ghz(b.to_hz)}`).join(" and ")}</span>
      <span class="lane" aria-hidden="true">{ticks(0, p.end / 1e9, 5).map((t) => <u style={{ left: (t / (p.end / 1e9)) * 100 + "%" }} />)}
        {r.bands.map((b) => <i class="bar" style={{ left: (b.from_hz / p.end) * 100 + "%", width: ((b.to_hz - b.from_hz) / p.end) * 100 + "%" }} />)}
        {r.bands.length > 0 && <b style={r.bands[0].from_hz / p.end > 0.55 ? { right: (1 - r.bands[0].from_hz / p.end) * 100 + "%" } : { left: (r.bands[r.bands.length - 1].to_hz / p.end) * 100 + "%" }}>{r.bands.map((b) => `${+(b.from_hz / 1e9).toPrecision(4)}–${+(b.to_hz / 1e9).toPrecision(4)}`).join(", ")}</b>}</span></span>
    <span role="cell"><ul class="limits">{r.limits.slice(0, 5).map((l) => <li class={l.wish ? "wish" : ""}><span>{l.name}</span> {l.text}{l.wish ? " (wish)" : ""}</li>)}</ul></span>
    <span role="cell" class="outcome">{r.state === "faulty" ? <Faults faults={r.errors} title="The file has faults" />
      : r.state === "working" ? <span class="wait">being worked out …</span>
        : <>{r.best ? <><b>{r.proposals} {r.proposals === 1 ? "chain" : "chains"}</b> <Verdict is={r.best.verdict} /><small class="mono">{r.best.chain}</small>{r.best.verdict !== "meets" && r.best.binding_limit && <small>tightest: {r.best.binding_limit}</small>}</>
          : r.nearest ? <><Verdict is="fails" /> <b>none</b>; nearest <small class="mono">{r.nearest.chain}</small><small>misses by {r.nearest.breaks.slice(0, 2).join("; ")}{r.nearest.breaks.length > 2 ? `; and ${r.nearest.breaks.length - 2} more` : ""}</small></> : <><b>no chain</b><small>{r.why}</small></>}
          {r.questions > 0 && <small>{r.questions} open {r.questions === 1 ? "question" : "questions"}</small>}</>}</span>
  </div>;
}

const shape: { path: string; label: string; example: string; must?: boolean; options?: string[] }[] = [
  { path: "title", label: "What it is", example: "Jumper between two boards", must: true },
  { path: "customer", label: "Customer", example: "" },
  { path: "band[0].from", label: "Lowest frequency", example: "24 GHz", must: true },
  { path: "band[0].to", label: "Highest frequency", example: "40 GHz", must: true },
  { path: "from.kind", label: "Near end", example: "board", must: true, options: ["port", "board"] },
  { path: "to.kind", label: "Far end", example: "board", must: true, options: ["port", "board"] },
  { path: "path.length", label: "Length of the cable", example: "600 mm" },
  { path: "limits.insertion_loss[0].at_most", label: "Insertion loss at most", example: "3.2 dB" },
  { path: "limits.return_loss[0].at_least", label: "Return loss at least", example: "14 dB" },
  { path: "environment.max_temperature", label: "Highest temperature", example: "85 °C" },
  { path: "commercial.quantity", label: "Quantity", example: "64" },
];

/** compose writes a file from the form. */
function compose(v: Record<string, string>): string {
  const q = (s: string) => JSON.stringify(s);
  const out = [`title: ${q(v.title ?? "")}`];
  if (v.customer) out.push(`customer: ${q(v.customer)}`);
  out.push(`band: [{from: ${v["band[0].from"] || '""'}, to: ${v["band[0].to"] || '""'}}]`);
  out.push(`from: {kind: ${v["from.kind"]}}`, `to: {kind: ${v["to.kind"]}}`);
  out.push(`path: {through: cable${v["path.length"] ? ", length: " + v["path.length"] : ""}}`);
  const il = v["limits.insertion_loss[0].at_most"], rl = v["limits.return_loss[0].at_least"];
  if (il || rl) out.push("limits:");
  if (il) out.push(`  insertion_loss: {at_most: ${il}}`);
  if (rl) out.push(`  return_loss: {at_least: ${rl}}`);
  if (v["environment.max_temperature"]) out.push(`environment: {max_temperature: ${v["environment.max_temperature"]}}`);
  if (v["commercial.quantity"]) out.push(`commercial: {quantity: ${v["commercial.quantity"]}}`);
  return out.join("\n") + "\n";
}

const unit: Record<string, RegExp> = {
  GHz: /^\d+(\.\d+)?\s*[kMGT]?Hz$/, mm: /^\d+(\.\d+)?\s*(mm|cm|m|um|µm|mil|in)$/, dB: /^\d+(\.\d+)?\s*dB$/, "°C": /^[-−+]?\d+(\.\d+)?\s*(°C|degC|K)$/, number: /^\d+$/,
};

/** complaint is what is wrong with a value as typed, or nothing. */
function complaint(f: (typeof shape)[number], v: string): string {
  if (!v) return f.must ? "is needed" : "";
  const key = f.path === "commercial.quantity" ? "number" : Object.keys(unit).find((u) => f.example.endsWith(" " + u));
  return key && !unit[key].test(v.trim()) ? `write it as ${f.example}` : "";
}

function NewEnquiry(p: { close: () => void }) {
  const [v, set] = useState<Record<string, string>>({ "from.kind": "port", "to.kind": "port" });
  const [tried, setTried] = useState(false);
  const [faults, setFaults] = useState<Fault[]>([]);
  const first = useRef<HTMLInputElement>(null);
  useEffect(() => first.current?.focus(), []);
  const bad = shape.filter((f) => complaint(f, v[f.path] ?? ""));
  const id = (v.title ?? "").toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "").slice(0, 60);
  const submit = async (e: Event) => {
    e.preventDefault();
    setTried(true);
    if (bad.length) return;
    try {
      const d = await call<EnquiryDoc>("POST", "/enquiries", { id, text: compose(v) });
      go("/enquiry/" + d.id);
    } catch (x) {
      setFaults(x instanceof Refused ? x.faults.length ? x.faults : [{ file: "", line: 0, column: 0, found: id, problem: "an enquiry of this name exists", help: "choose another title" }] : []);
    }
  };
  return <form class="sheet new" onSubmit={submit} aria-label="New enquiry">
    <h2>New enquiry</h2><p>Write quantities with their units. More can be stated later; what is missing comes back as questions.</p>
    <div class="grid2">{shape.map((f, i) => {
      const w = complaint(f, v[f.path] ?? ""), show = w && (tried || !!v[f.path]);
      return <label class={show ? "wrong" : ""}><span>{f.label}{f.must ? " *" : ""}</span>
        {f.options ? <select value={v[f.path]} onChange={(e) => set({ ...v, [f.path]: e.currentTarget.value })}>{f.options.map((o) => <option>{o}</option>)}</select>
          : <input ref={i === 0 ? first : undefined} value={v[f.path] ?? ""} placeholder={f.example} aria-invalid={!!show} aria-required={!!f.must} onInput={(e) => set({ ...v, [f.path]: e.currentTarget.value })} />}
        <small role={show ? "alert" : undefined}>{show ? w : ""}</small></label>;
    })}</div>
    <Faults faults={faults} />
    <p class="tools"><button type="submit" class="main">Save and answer</button><button type="button" onClick={p.close}>Cancel</button>{id && <small>is saved as <code>enquiries/{id}.yaml</code></small>}</p>
  </form>;
}
