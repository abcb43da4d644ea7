// The first page: every enquiry, its band on one common axis, and how the
// catalogue answers it.
import { useState } from "preact/hooks";
import { get, type EnquiryRow } from "./api";
import { Faults, Link, Verdict, Wait } from "./bits";
import { NewEnquiry } from "./newenquiry";
import { address, changed, go, useLoad, withQuery } from "./state";
import { ghz, ticks } from "./units";

export function Enquiries() {
  const s = useLoad("e" + changed.value, (sig) => get<{ enquiries: EnquiryRow[] }>("/enquiries", sig));
  const fresh = address.value.query.has("new");
  const [find, setFind] = useState("");
  if (!s.data) return <><h1>Enquiries</h1>{s.error ? <Faults faults={s.error.faults} title="The enquiries could not be read" /> : <Wait what="Reading the enquiries …" />}</>;
  const all = s.data.enquiries;
  const rows = find ? all.filter((r) => (r.title + r.customer + r.id).toLowerCase().includes(find.toLowerCase())) : all;
  const top = Math.max(1e9, ...all.flatMap((r) => r.bands.map((b) => b.to_hz)));
  const end = Math.ceil(top / 5e9) * 5e9;
  const offers = all.filter((r) => r.proposals > 0).length, working = all.filter((r) => r.state === "working").length;
  return <>
    <header class="head"><div><h1>Enquiries</h1>
      <p>{all.length} in this workspace; the catalogue offers a chain for {offers}{working ? `; ${working} still being worked out` : ""}.</p></div>
      <div class="tools"><label>Find <input type="search" value={find} onInput={(e) => setFind(e.currentTarget.value)} /></label>
        <button type="button" class="main" onClick={() => go(withQuery((u) => u.set("new", "1")))}>New enquiry</button></div></header>
    {fresh && <NewEnquiry taken={all.map((r) => r.id)} close={() => go(withQuery((u) => u.delete("new")))} />}
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
    <span role="cell">{r.id ? <Link to={"/enquiry/" + r.id} class="title">{r.title || r.id}</Link> : <b class="title">{r.title}</b>}<small>{r.customer}</small></span>
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
