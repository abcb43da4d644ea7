// One enquiry: its requirement sheet on the left, editable; on the right the
// ranked chains as a picture, a table, and side by side.
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { call, get, Refused, type Answer, type Edit, type EnquiryDoc, type Proposal, type Spec } from "./api";
import { Faults, Figure, Link, Verdict, Wait, csv, save, savePNG, saveSVG } from "./bits";
import { Fields, Questions } from "./fields";
import { chainFigures, ofMargin } from "./origins";
import { useWidth } from "./plot";
import { address, changed, go, said, useLoad, withQuery } from "./state";
import { celsius, ghz, ticks, trim } from "./units";

/** edits that the address holds: e=path~value; an empty value takes the key out. */
export function editsOf(q: URLSearchParams): Edit[] {
  return q.getAll("e").map((s) => { const i = s.indexOf("~"); return { path: s.slice(0, i), value: s.slice(i + 1) || null }; });
}

export const keyOf = (p: { rank: number }, miss: boolean) => (miss ? "m" : "p") + p.rank;

export function Answers(p: { id: string }) {
  const q = address.value.query, edits = editsOf(q), ek = JSON.stringify(edits), n = changed.value;
  const doc = useLoad(p.id + n, (s) => get<EnquiryDoc>("/enquiries/" + p.id, s));
  const ans = useLoad(p.id + ek + (edits.length ? "" : n), (s) => edits.length ? call<Answer>("POST", "/answer", { enquiry: p.id, edits, most: 20 }, s) : get<Answer>(`/enquiries/${p.id}/answer`, s));
  const [future, setFuture] = useState<string[]>([]);
  const [conflict, setConflict] = useState<{ text: string; etag: string } | null>(null);
  const [saveFault, setSaveFault] = useState<Refused | null>(null);
  const base = useRef("");
  // The version of the file that the edits were made on: the first that was seen since there are edits.
  useEffect(() => { if (doc.data && (!edits.length || !base.current)) base.current = doc.data.etag; }, [doc.data?.etag, ek]);
  const set = (path: string, value: string | null, stated: string | null) => {
    setFuture([]);
    go(withQuery((u) => {
      const kept = u.getAll("e").filter((s) => !s.startsWith(path + "~"));
      u.delete("e");
      kept.forEach((s) => u.append("e", s));
      if ((value ?? "") !== (stated ?? "")) u.append("e", path + "~" + (value ?? ""));
    }));
  };
  const undo = () => { const e = q.getAll("e"); if (!e.length) return; setFuture([e[e.length - 1], ...future]); go(withQuery((u) => { u.delete("e"); e.slice(0, -1).forEach((s) => u.append("e", s)); })); };
  const redo = () => { if (!future.length) return; go(withQuery((u) => u.append("e", future[0]))); setFuture(future.slice(1)); };
  useEffect(() => {
    const k = (e: KeyboardEvent) => {
      if (!(e.ctrlKey || e.metaKey) || e.key.toLowerCase() !== "z" && e.key.toLowerCase() !== "y") return;
      e.preventDefault();
      e.shiftKey || e.key.toLowerCase() === "y" ? redo() : undo();
    };
    addEventListener("keydown", k);
    return () => removeEventListener("keydown", k);
  });
  const store = async (etag: string) => {
    setSaveFault(null);
    try {
      const d = await call<EnquiryDoc>("PUT", "/enquiries/" + p.id, { etag, edits });
      base.current = d.etag;
      setConflict(null);
      said.value = "saved";
      go(withQuery((u) => u.delete("e")), true);
      changed.value++;
    } catch (x) {
      if (!(x instanceof Refused)) return;
      if (x.status === 409 && x.etag) setConflict({ text: x.text ?? "", etag: x.etag });
      else setSaveFault(x);
    }
  };
  const a = ans.data;
  const list = useMemo<Item[]>(() => (a ? [...a.proposals.map((x, i) => ({ p: x, miss: false, key: keyOf(x, false), spec: a.specs?.[i] })), ...a.nearest_misses.map((x, i) => ({ p: x, miss: true, key: keyOf(x, true), spec: a.miss_specs?.[i] }))] : []), [a]);
  const picked = q.getAll("pick"), chosen = list.find((x) => x.key === picked[0]) ?? list[0];
  const pick = (key: string, also: boolean) => go(withQuery((u) => {
    const now = u.getAll("pick");
    u.delete("pick");
    const next = also ? (now.includes(key) ? now.filter((k) => k !== key) : [...(now.length ? now : chosen ? [chosen.key] : []), key]) : [key];
    [...new Set(next)].slice(0, 5).forEach((k) => u.append("pick", k));
  }), true);
  if (!doc.data) return <><p class="crumb"><Link to="/">Enquiries</Link></p><h1>{p.id}</h1>{doc.error ? <Faults faults={doc.error.faults} title="The enquiry could not be read" /> : <Wait what="Reading the enquiry …" />}</>;
  return <>
    <header class="head"><div><p class="crumb"><Link to="/">Enquiries</Link></p><h1>{doc.data.title || p.id}</h1><p>{doc.data.customer}</p></div></header>
    <div class="two">
      <section class="sheet" aria-label="Requirement sheet">
        <h2>Requirement sheet</h2>
        <div class="tools tight">
          <button type="button" onClick={undo} disabled={!edits.length}>Undo</button><button type="button" onClick={redo} disabled={!future.length}>Redo</button>
          <button type="button" class="main" disabled={!edits.length} onClick={() => store(base.current)}>Save to file</button>
          <small>{edits.length ? `${edits.length} ${edits.length === 1 ? "change" : "changes"} not saved` : <code>{doc.data.file}</code>}</small>
        </div>
        {conflict && <div class="fault" role="alert"><strong>The file was changed meanwhile</strong><p>Nothing was written. This is what stands in it now:</p><pre tabIndex={0}>{conflict.text}</pre>
          <p class="tools"><button type="button" onClick={() => store(conflict.etag)}>Lay my changes over it and save</button><button type="button" onClick={() => { setConflict(null); base.current = conflict.etag; go(withQuery((u) => u.delete("e"))); changed.value++; }}>Drop my changes</button></p></div>}
        {saveFault && <Faults faults={saveFault.faults} title="Not saved" />}
        {ans.error && !!edits.length && <Faults faults={ans.error.faults} title="These changes cannot be answered" />}
        <Faults faults={doc.data.errors} title="The file has faults" />
        {chosen && <Margins p={chosen.p} miss={chosen.miss} />}
        <Fields fields={doc.data.fields} edits={edits} set={set} />
        <Questions questions={a?.questions ?? doc.data.questions} fields={doc.data.fields} edits={edits} set={set} />
        {!!doc.data.contradictions?.length && <div class="fault"><strong>Statements that cannot both hold</strong><ul>{doc.data.contradictions.map((c) => <li>{c.text}; <em>{c.help}</em></li>)}</ul></div>}
      </section>
      <section class={"answers" + (ans.loading && a ? " stale" : "")} aria-label="Ranked chains" aria-busy={ans.loading}>
        {!a ? ans.error ? <Faults faults={ans.error.faults} title="There is no answer" /> : <Wait what="Searching the catalogue …" /> : <>
          <h2>{a.proposals.length ? `${a.proposals.length} ${a.proposals.length === 1 ? "chain answers" : "chains answer"} it` : "No chain answers it"} <small>{a.outcome}</small></h2>
          <p>{a.why && a.why[0].toUpperCase() + a.why.slice(1) + ". "}{a.considered} combinations considered{a.exact ? ", the search is exact" : ""}; compared at {ghz(a.compared_at_hz)} and {celsius(a.compared_at_c)}.
            {a.preliminary && <span class="note"> First figures, saved enquiries get the full ones: {a.preliminary.figures.join("; ")}.</span>}</p>
          <Picture list={list} chosen={picked.length ? picked : chosen ? [chosen.key] : []} pick={pick} file={p.id} />
          <Ranking list={list} id={p.id} q={q} chosen={picked.length ? picked : chosen ? [chosen.key] : []} pick={pick} />
          {picked.length > 1 && <Beside list={list.filter((x) => picked.includes(x.key))} />}
          <Rest a={a} chosen={chosen?.p} />
        </>}
      </section>
    </div>
  </>;
}

function Margins(p: { p: Proposal; miss: boolean }) {
  return <div class="margins"><h3>Margins of <span class="mono">{p.p.chain}</span></h3>
    <table><caption class="hidden">Margin to every limit</caption><thead><tr><th scope="col">Limit</th><th scope="col" class="n">Asked</th><th scope="col" class="n">Worst</th><th scope="col" class="n">Margin</th><th scope="col">Verdict</th></tr></thead>
      <tbody>{p.p.margins.map((m) => <tr class={m.verdict.replace(" ", "-")}><th scope="row">{m.limit}{m.wish ? " (wish)" : ""}</th><td class="n">{m.limit_value == null ? "–" : trim(m.limit_value, 4)}</td>
        <td class="n"><Figure text={m.worst == null ? "not stated" : trim(m.worst, 4)} from={ofMargin(m)} /></td><td class="n">{m.margin == null ? "–" : <Figure text={trim(m.margin, 3)} from={ofMargin(m)} label={"Margin to " + m.limit} />} <small>{m.unit}</small></td><td><Verdict is={m.verdict} /></td></tr>)}</tbody></table></div>;
}

type Item = { p: Proposal; miss: boolean; key: string; spec?: Spec };

/** Picture sets loss against price and draws the edge that no chain beats. */
function Picture(p: { list: Item[]; chosen: string[]; pick: (k: string, also: boolean) => void; file: string }) {
  const [ref, W] = useWidth<HTMLElement>(), svg = useRef<SVGSVGElement>(null);
  const pts = p.list.filter((x) => x.p.insertion_loss_db != null && x.p.price).map((x) => ({ ...x, l: x.p.insertion_loss_db!, c: x.p.price!.amount }));
  if (pts.length < 2) return null;
  const H = 210, L = 56, R = 20, T = 14, B = 40;
  const span = (v: number[]): [number, number] => { const a = Math.min(...v), b = Math.max(...v), d = (b - a) * 0.15 || b * 0.1 || 1; return [Math.max(0, a - d), b + d]; };
  const [x0, x1] = span(pts.map((q) => q.c)), [y0, y1] = span(pts.map((q) => q.l));
  const X = (c: number) => L + ((c - x0) / (x1 - x0)) * (W - L - R), Y = (l: number) => H - B - ((l - y0) / (y1 - y0)) * (H - T - B);
  const edge = pts.filter((a) => !pts.some((b) => b !== a && b.c <= a.c && b.l <= a.l && (b.c < a.c || b.l < a.l))).sort((a, b) => a.c - b.c);
  let d = `M${X(edge[0].c)} ${T}V${Y(edge[0].l)}`;
  edge.slice(1).forEach((e, i) => (d += `H${X(e.c)}V${Y(e.l)}`));
  d += `H${W - R}`;
  const cur = pts[0].p.price!.currency;
  return <figure class="plot" ref={ref as any}><figcaption><span class="name">Loss against price</span><span class="saves">
    <button type="button" aria-label="Save loss against price as SVG" onClick={() => saveSVG(svg.current!, p.file)}>SVG</button><button type="button" aria-label="Save loss against price as PNG" onClick={() => savePNG(svg.current!, p.file)}>PNG</button>
    <button type="button" aria-label="Save loss against price as CSV" onClick={() => save(p.file + ".csv", "text/csv", csv(["chain", "price " + cur, "loss (dB)", "verdict"], pts.map((x) => [x.p.chain, x.c, x.l, x.p.verdict])))}>CSV</button></span></figcaption>
    <svg ref={svg} width={W} height={H} viewBox={`0 0 ${W} ${H}`} role="img" aria-label={`Loss against price of ${pts.length} chains; ${edge.length} of them no other beats in both. The table below holds the same figures.`}>
      {ticks(x0, x1, W / 110).map((t) => <g class="grid"><line x1={X(t)} x2={X(t)} y1={T} y2={H - B} /><text x={X(t)} y={H - B + 15} text-anchor="middle">{t}</text></g>)}
      {ticks(y0, y1, 4).map((t) => <g class="grid"><line x1={L} x2={W - R} y1={Y(t)} y2={Y(t)} /><text x={L - 6} y={Y(t) + 4} text-anchor="end">{trim(t, 4)}</text></g>)}
      <text class="unit" x={W - R} y={H - 6} text-anchor="end">price, {cur}</text><text class="unit" x={4} y={H - 6}>loss, dB</text>
      <path class="edge" d={d} />
      {pts.map((q) => { const x = X(q.c), y = Y(q.l), on = p.chosen.includes(q.key); return <g class={"point " + q.p.verdict.replace(" ", "-") + (on ? " on" : "")} onClick={(e) => p.pick(q.key, e.ctrlKey || e.metaKey || e.shiftKey)}><title>{q.p.chain}</title>
        {on && <circle class="ring" cx={x} cy={y} r={11} />}
        {q.p.verdict === "meets" ? <circle cx={x} cy={y} r={5} /> : q.p.verdict === "fails" ? <path d={`M${x - 5} ${y - 5}l10 10m0 -10l-10 10`} /> : q.p.verdict === "at risk" ? <path d={`M${x - 5} ${y + 4}h10l-5 -10z`} /> : <rect x={x - 4.5} y={y - 4.5} width={9} height={9} />}
        <text x={x + 9} y={y - 7}>{(q.miss ? "m" : "") + q.p.rank}</text></g>; })}
    </svg>
    <ul class="legend"><li><svg width="26" height="10" aria-hidden="true"><path class="edge" d="M0 2h13v6h13" /></svg>no chain is better in both</li><li>● meets</li><li>▲ at risk</li><li>■ not assessed</li><li>✕ fails (m: nearest misses)</li></ul></figure>;
}

/** chainLink leads to a chain; with unsaved edits its pieces travel in the address. */
function chainLink(id: string, x: Item, q: URLSearchParams): string {
  const e = q.getAll("e");
  if (!e.length) return `/enquiry/${id}/chain/${x.key}`;
  if (!x.spec) return ""; // the answer to these edits is still on its way
  const u = new URLSearchParams();
  e.forEach((s) => u.append("e", s));
  u.set("spec", JSON.stringify(x.spec));
  return `/enquiry/${id}/chain/edited?${u}`;
}

/** Chains' figures in a table, in this order. */
const shown: [string, string][] = [["loss", "Loss"], ["worst", "Return loss, worst"], ["likely", "likely"], ["price", "Price"], ["mass", "Mass"]];

function Ranking(p: { list: Item[]; id: string; q: URLSearchParams; chosen: string[]; pick: (k: string, also: boolean) => void }) {
  if (!p.list.length) return <p class="none">The catalogue holds nothing near. What it lacks is listed below.</p>;
  return <div class="scroll" tabIndex={0} role="region" aria-label="Table of ranked chains"><table class="ranking"><caption class="hidden">Ranked chains</caption><thead><tr><th scope="col">Lay beside</th><th scope="col" class="n">Rank</th><th scope="col">Chain</th><th scope="col">Verdict</th>{shown.map(([, name]) => <th scope="col" class="n">{name}</th>)}</tr></thead>
    <tbody>{p.list.map((x) => { const to = chainLink(p.id, x, p.q), on = p.chosen.includes(x.key) ? "on" : ""; return <><tr class={on + (x.p.breaks?.length ? " broken" : "")} onClick={(e) => { if (!(e.target as Element).closest("a,input,button")) p.pick(x.key, false); }}>
      <td><input type="checkbox" aria-label={"Lay beside: " + x.p.chain} checked={p.chosen.includes(x.key)} onChange={() => p.pick(x.key, true)} /></td>
      <td class="n">{x.miss ? "miss " : ""}{x.p.rank}</td><th scope="row" class="mono">{to ? <Link to={to} class="open">{x.p.chain}</Link> : x.p.chain}</th><td><Verdict is={x.p.verdict} /></td>
      {shown.map(([k, name]) => <td class="n"><Figure text={chainFigures[k].text(x.p)} from={() => chainFigures[k].from(x.p)} label={`${name} of ${x.p.chain}`} /></td>)}</tr>
      {!!x.p.breaks?.length && <tr class={"breaks " + on}><td colSpan={2} /><td colSpan={shown.length + 2}>breaks {x.p.breaks.join("; ")}</td></tr>}</>; })}</tbody></table></div>;
}

/** Beside lays chains next to each other and marks the best of each row. */
function Beside(p: { list: Item[] }) {
  const rows: [string, string, (x: Proposal) => number | null | undefined, number][] = [
    ["Insertion loss", "loss", (x) => x.insertion_loss_db, 1], ["Return loss, worst", "worst", (x) => x.return_loss_db.worst, -1], ["Return loss, likely", "likely", (x) => x.return_loss_db.likely, -1],
    ["Ripple, peak to peak", "ripple", (x) => x.ripple_pp_db, 1], ["Delay", "delay", (x) => x.delay_s, 0], ["Mode-free limit", "mode", (x) => x.mode_free_limit_hz, -1], ["Price", "price", (x) => x.price?.amount, 1], ["Mass", "mass", (x) => x.mass_kg, 1],
  ];
  /** best is the text of the best figure of a row, when they differ at all. */
  const best = (v: (x: Proposal) => number | null | undefined, text: (x: Proposal) => string, sign: number) => {
    const all = p.list.map((x) => v(x.p)).filter((y): y is number => y != null);
    if (!sign || all.length < 2) return null;
    const top = sign > 0 ? Math.min(...all) : Math.max(...all), first = p.list.find((x) => v(x.p) === top)!;
    return p.list.some((x) => text(x.p) !== text(first.p)) ? text(first.p) : null;
  };
  const limits = [...new Set(p.list.flatMap((x) => x.p.margins.map((m) => m.limit)))];
  return <section class="beside"><h3>Side by side</h3><div class="scroll" tabIndex={0} role="region" aria-label="Side by side"><table><thead><tr><th scope="col">Figure</th>{p.list.map((x) => <th scope="col" class="mono">{x.p.chain}</th>)}</tr></thead>
    <tbody>{rows.map(([name, k, v, sign]) => { const f = chainFigures[k], top = best(v, f.text, sign); return <tr><th scope="row">{name}</th>{p.list.map((x) => { const text = f.text(x.p); return <td class={"n" + (text === top ? " best" : "")}><Figure text={text} from={() => f.from(x.p)} label={`${name} of ${x.p.chain}`} />{text === top ? " ◂" : ""}</td>; })}</tr>; })}
      <tr class="sub"><th scope="rowgroup" colSpan={p.list.length + 1}>Margins</th></tr>
      {limits.map((l) => <tr><th scope="row">{l}</th>{p.list.map((x) => { const m = x.p.margins.find((y) => y.limit === l); return <td class="n">{m ? <><Figure text={m.margin == null ? "not stated" : `${trim(m.margin, 3)} ${m.unit}`} from={ofMargin(m)} /> <Verdict is={m.verdict} /></> : "–"}</td>; })}</tr>)}</tbody></table></div></section>;
}

function Rest(p: { a: Answer; chosen?: Proposal }) {
  const gaps = p.a.gaps.length ? p.a.gaps : p.chosen?.gaps ?? [];
  return <>
    {!!gaps.length && <section><h3>What the catalogue lacks</h3><table><thead><tr><th scope="col">Axis</th><th scope="col">Asked</th><th scope="col">Best there is</th><th scope="col">Cause</th><th scope="col">What would close it</th></tr></thead><tbody>{gaps.map((g) => <tr><th scope="row">{g.axis}</th><td>{g.asked}</td><td>{g.best}</td><td>{g.cause}</td><td>{g.needs}</td></tr>)}</tbody></table></section>}
    {!!p.chosen?.ways.length && <section><h3>Ways out</h3><dl class="questions">{p.chosen.ways.map((w) => <><dt>{w.title}</dt><dd>{w.effect}</dd></>)}</dl></section>}
    {!!p.a.refused.length && <details><summary>Parts left out, and why</summary><table><tbody>{p.a.refused.map((r) => <tr><th scope="row">{r.slot}</th><td>{r.reason}</td><td class="mono">{r.parts.slice(0, 30).join(", ")}{r.parts.length > 30 ? ` and ${r.parts.length - 30} more` : ""}</td></tr>)}</tbody></table></details>}
    {!!p.a.cautions.length && <section class="caution"><h3>Cautions</h3><ul>{p.a.cautions.map((c) => <li>{c}</li>)}</ul></section>}
  </>;
}
