// The result of a study of tolerances: how many built copies keep every limit,
// how their margins spread, what drives the spread, and the worst corner.
import { useRef } from "preact/hooks";
import { Figure, csv, save, savePNG, saveSVG } from "./bits";
import { useWidth } from "./plot";
import type { Origin } from "./state";
import { ghz, ticks, trim, type Num } from "./units";

interface Share { meets: number; of: number; share: number; interval: { low: number; high: number }; interval_is: string }
interface Driver { input: string; total_share: number; total_share_error: number; first_share: number; first_share_error: number; rank_correlation: Num; chance: boolean }
interface Output {
  name: string; unit: string; limit_value: Num; wish: boolean; yield: Share | null; mean: Num; standard_deviation: Num; low_95_percent: Num; high_95_percent: Num; least: number; least_sample: number;
  least_inputs: { input: string; value: number; unit: string }[]; worst_corner: Num; worst_corner_at_hz: Num; missing: string[]; drivers: Driver[]; histogram: { edges: number[]; counts: number[] };
}
interface Input { name: string; piece: string; quantity: string; unit: string; distribution: string; mean: Num; standard_deviation: Num; low: Num; high: Num; standing: string; source: string; assumed: boolean }
export interface Yield {
  chain: string; enquiry: string; method: string; seed: number; samples: number; frequencies: number; confidence: number; at_least: number; enough: boolean; yield: Share; limits: Output[]; observed: Output[]; inputs: Input[];
  sorting: { kind: string; half_width_s: number; at_hz: number; set_size: number; standard_deviation_s: number; unsorted_share: number; build_5_of_10: number; build_9_of_10: number; beyond_sorting: boolean } | null;
  drivers_are: string; missing: string[]; not_tried: string[]; taken_at_three_sigma: string[]; notes: string[];
}

/** percent writes a share to the digit that its interval can bear. */
function percent(x: number, i?: { low: number; high: number }): string {
  const digits = i ? Math.max(0, Math.min(3, Math.ceil(-Math.log10(Math.max(1e-6, (i.high - i.low) * 100))) + 1)) : 2;
  return (x * 100).toFixed(digits) + " %";
}

const span = (s: Share) => `${percent(s.interval.low, s.interval)} to ${percent(s.interval.high, s.interval)}`;

export function YieldResult(p: { r: Yield }) {
  const r = p.r, most = [...r.limits].filter((l) => l.yield).sort((a, b) => a.yield!.share - b.yield!.share);
  const from = (title: string, s: Share): Origin => ({
    title, value: percent(s.share, s.interval), formula: "copies that keep the limit, over copies drawn", notes: r.notes,
    rows: [["Copies", `${s.meets} of ${s.of}`], [`${trim(r.confidence * 100, 4)} % interval`, `${span(s)}; ${s.interval_is}`], ["Method", r.method], ["Frequencies", String(r.frequencies)], ["Seed", String(r.seed)]],
  });
  return <div class="yield">
    <section class="sheet"><h2>Yield against every limit</h2>
      <p class="big"><Figure text={percent(r.yield.share, r.yield.interval)} from={from("Yield", r.yield)} /> <small>{span(r.yield)} with {trim(r.confidence * 100, 4)} % confidence</small></p>
      <Interval s={r.yield} asked={r.at_least} />
      <p>{r.yield.meets} of {r.yield.of} copies drawn keep every limit. {trim(r.at_least * 100, 5)} % is asked: <b>{r.enough ? "kept, even at the lower end of the interval" : r.yield.interval.high < r.at_least ? "missed, even at the upper end of the interval" : "not proved: the interval reaches below it; draw more copies, or widen a margin"}</b>.</p>
      {!!r.missing.length && <p class="note">Not counted, for a figure is missing: {r.missing.join("; ")}.</p>}</section>
    {most.map((l) => <Limit key={l.name} l={l} r={r} from={from} />)}
    {r.observed.map((l) => <Limit key={l.name} l={l} r={r} from={from} />)}
    {r.sorting && <Sorting s={r.sorting} />}
    <h2>What differs from copy to copy</h2>
    <div class="scroll" tabIndex={0} role="region" aria-label="Inputs"><table><thead><tr><th scope="col">Input</th><th scope="col">Distribution</th><th scope="col" class="n">Mean</th><th scope="col" class="n">Standard deviation</th><th scope="col">Known as</th><th scope="col">Comes from</th></tr></thead>
      <tbody>{r.inputs.map((i) => <tr><th scope="row">{i.name}</th><td>{i.distribution}</td><td class="n">{scaled(i.mean, i.unit)}</td><td class="n">{scaled(i.standard_deviation, i.unit)}</td><td>{i.assumed ? <b>assumed</b> : i.standing}</td><td>{i.source}</td></tr>)}</tbody></table></div>
    {[["Not tried", r.not_tried], ["Taken as three sigma", r.taken_at_three_sigma], ["Notes", r.notes]].map(([name, list]) => list.length > 0 && <details><summary>{name}</summary><ul>{(list as string[]).map((x) => <li>{x}</li>)}</ul></details>)}
  </div>;
}

/** scaled writes a value that comes in SI or as a ratio. */
function scaled(x: Num, unit: string): string {
  if (x == null) return "–";
  if (unit === "1" || unit === "relative") return trim(x, 4);
  for (const [e, prefix] of [[1e9, "G"], [1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "µ"], [1e-9, "n"], [1e-12, "p"]] as [number, string][]) if (Math.abs(x) >= e * 0.9995 && /^(m|s|Hz|W|F|H)$/.test(unit)) return `${trim(x / e, 4)} ${prefix}${unit}`;
  return `${trim(x, 4)} ${unit}`;
}

/** Interval shows a share, its interval and what is asked, on an axis that ends at one. */
function Interval(p: { s: Share; asked: number }) {
  const [ref, W] = useWidth<HTMLDivElement>(420), lo = Math.max(0, Math.min(p.s.interval.low, p.asked) * 1.0 - Math.max(0.004, (1 - Math.min(p.s.interval.low, p.asked)) * 0.25));
  const w = Math.min(W, 720), X = (v: number) => 12 + ((v - lo) / (1 - lo)) * (w - 24);
  return <div ref={ref}><svg width={w} height={52} role="img" aria-label={`Yield ${percent(p.s.share, p.s.interval)}, between ${span(p.s)}; asked ${trim(p.asked * 100, 5)} %`}>
    {ticks(lo * 100, 100, w / 120).map((t) => <g class="grid"><line x1={X(t / 100)} x2={X(t / 100)} y1={8} y2={34} /><text x={X(t / 100)} y={48} text-anchor={t >= 99.99 ? "end" : "middle"}>{trim(t, 5)} %</text></g>)}
    <line class="limit" x1={X(p.asked)} x2={X(p.asked)} y1={4} y2={36} /><rect class="area b1" x={X(p.s.interval.low)} width={Math.max(2, X(p.s.interval.high) - X(p.s.interval.low))} y={14} height={14} /><path class="bracket" d={`M${X(p.s.interval.low)} 14v14M${X(p.s.interval.high)} 14v14`} /><circle class="dot t1" cx={X(p.s.share)} cy={21} r={5} /></svg></div>;
}

function Limit(p: { l: Output; r: Yield; from: (title: string, s: Share) => Origin }) {
  const l = p.l, spread = (title: string, x: Num, how: string): Origin => ({ title: `${l.name}: ${title}`, value: x == null ? "not stated" : `${trim(x, 4)} ${l.unit}`, formula: how, rows: [["Copies", String(p.r.samples)], ["Method", p.r.method], ["Seed", String(p.r.seed)]], notes: [] });
  const what = l.yield ? "margin" : "value";
  return <section class="sheet limit-result"><h2>{l.name}{l.wish ? " (wish)" : ""} {l.limit_value != null && <small>limit {trim(l.limit_value, 4)} {l.unit}</small>}</h2>
    <div class="halves"><Histogram l={l} what={what} />
      <div><dl class="facts">
        {l.yield && <div><dt>Yield</dt><dd><Figure text={percent(l.yield.share, l.yield.interval)} from={p.from("Yield of " + l.name, l.yield)} /><small>{span(l.yield)}</small></dd></div>}
        <div><dt>Mean {what}</dt><dd><Figure text={l.mean == null ? "not stated" : `${trim(l.mean, 3)} ${l.unit}`} from={spread("mean " + what, l.mean, "mean over the copies")} /><small>standard deviation {l.standard_deviation == null ? "–" : trim(l.standard_deviation, 3)}</small></dd></div>
        <div><dt>95 of 100 lie</dt><dd class="range">{l.low_95_percent == null ? "–" : `${trim(l.low_95_percent, 3)} to ${trim(l.high_95_percent!, 3)} ${l.unit}`}</dd></div>
        <div><dt>Least of all copies</dt><dd><Figure text={`${trim(l.least, 3)} ${l.unit}`} from={{ ...spread("least " + what, l.least, `copy ${l.least_sample} of ${p.r.samples}`), parts: { head: ["Input", "Its value in that copy"], rows: l.least_inputs.map((i) => [i.input, scaled(i.value, i.unit)]) } }} /></dd></div>
        {l.worst_corner != null && <div><dt>Worst corner</dt><dd><Figure text={`${trim(l.worst_corner, 3)} ${l.unit}`} from={spread("worst corner", l.worst_corner, "every input at its worse end at once; no built copy need be there")} /><small>{l.worst_corner_at_hz ? `at ${ghz(l.worst_corner_at_hz)}; ` : ""}{l.yield ? (l.worst_corner >= 0 ? "inside" : "outside") : ""}</small></dd></div>}
      </dl>{!!l.missing.length && <p class="note">Missing: {l.missing.join("; ")}.</p>}</div></div>
    <Drivers l={l} are={p.r.drivers_are} /></section>;
}

/** Histogram of a limit's margins; what lies below zero fails. */
function Histogram(p: { l: Output; what: string }) {
  const [ref, W] = useWidth<HTMLElement>(460), svg = useRef<SVGSVGElement>(null), { edges, counts } = p.l.histogram, H = 190, L = 40, R = 12, T = 12, B = 36;
  const judged = !!p.l.yield, name = `${p.l.name}: ${p.what} over all copies`, file = "yield-" + p.l.name.replace(/\W+/g, "-");
  if (!counts.length) return <figure class="plot" ref={ref as any}><p class="none">All copies have the same {p.what}.</p></figure>;
  const lo = judged ? Math.min(0, edges[0]) : edges[0], hi = judged ? Math.max(0, edges[edges.length - 1]) : edges[edges.length - 1], top = Math.max(...counts);
  const X = (v: number) => L + ((v - lo) / (hi - lo || 1)) * (W - L - R), Y = (n: number) => H - B - (n / top) * (H - T - B);
  return <figure class="plot" ref={ref as any}><figcaption><span class="name">{p.what[0].toUpperCase() + p.what.slice(1)} over all copies</span><span class="saves"><button type="button" aria-label={`Save ${name} as SVG`} onClick={() => saveSVG(svg.current!, file)}>SVG</button><button type="button" aria-label={`Save ${name} as PNG`} onClick={() => savePNG(svg.current!, file)}>PNG</button>
    <button type="button" aria-label={`Save ${name} as CSV`} onClick={() => save(file + ".csv", "text/csv", csv([`from (${p.l.unit})`, "to", "copies"], counts.map((n, i) => [edges[i], edges[i + 1], n])))}>CSV</button></span></figcaption>
    <svg ref={svg} width={W} height={H} viewBox={`0 0 ${W} ${H}`} role="img" aria-label={`${name}: from ${trim(edges[0], 3)} to ${trim(edges[edges.length - 1], 3)} ${p.l.unit}, most copies near ${trim(edges[counts.indexOf(top)], 3)}`}>
      {ticks(lo, hi, W / 90).map((t) => <g class="grid"><line x1={X(t)} x2={X(t)} y1={T} y2={H - B} /><text x={X(t)} y={H - B + 15} text-anchor="middle">{trim(t, 4)}</text></g>)}
      {counts.map((n, i) => n > 0 && <rect class={"column" + (judged && edges[i + 1] <= 0 ? " out" : judged && edges[i] < 0 ? " part" : "")} x={X(edges[i]) + 0.5} width={Math.max(1, X(edges[i + 1]) - X(edges[i]) - 1)} y={Y(n)} height={H - B - Y(n)}><title>{`${trim(edges[i], 3)} to ${trim(edges[i + 1], 3)} ${p.l.unit}: ${n} copies`}</title></rect>)}
      {judged && <><line class="limit" x1={X(0)} x2={X(0)} y1={T - 6} y2={H - B} /><text x={X(0) + 4} y={T + 2}>limit</text></>}
      <text class="unit" x={W - R} y={H - 4} text-anchor="end">{p.what}, {p.l.unit}</text><text class="unit" x={4} y={H - 4}>copies, {top} in the highest</text></svg></figure>;
}

/** Drivers are the inputs behind the spread of a limit, the largest first. */
function Drivers(p: { l: Output; are: string }) {
  const list = [...p.l.drivers].sort((a, b) => b.total_share - a.total_share), shown = list.filter((d) => d.total_share > 0.005).slice(0, 8);
  if (!shown.length) return <p class="note">No input moves it.</p>;
  return <table class="drivers"><caption>What drives its spread <small>{p.are}</small></caption><thead><tr><th scope="col">Input</th><th scope="col">Share of the variance, with interactions; by itself to the mark</th><th scope="col" class="n">Share</th><th scope="col" class="n">By itself</th><th scope="col" class="n">Rank correlation</th></tr></thead>
    <tbody>{shown.map((d) => <tr><th scope="row">{d.input}{d.chance && <small>chance, not a tolerance</small>}</th><td><span class="share" aria-hidden="true"><i style={{ width: Math.min(100, d.total_share * 100) + "%" }} /><u style={{ left: Math.max(0, Math.min(100, d.first_share * 100)) + "%" }} /><s style={{ left: Math.max(0, (d.total_share - d.total_share_error) * 100) + "%", width: Math.min(100, 2 * d.total_share_error * 100) + "%" }} /></span></td>
      <td class="n">{percent1(d.total_share)} ± {percent1(d.total_share_error)}</td><td class="n">{percent1(d.first_share)}</td><td class="n">{d.rank_correlation == null ? "–" : trim(d.rank_correlation, 2)}</td></tr>)}</tbody></table>;
}

const percent1 = (x: number) => (x * 100).toFixed(1).replace("-", "−") + " %";

function Sorting(p: { s: NonNullable<Yield["sorting"]> }) {
  const s = p.s;
  return <section class="sheet"><h2>Sorting for the match</h2><dl class="facts"><div><dt>{s.kind} match</dt><dd>± {scaled(s.half_width_s, "s")}<small>in sets of {s.set_size}, at {ghz(s.at_hz)}</small></dd></div><div><dt>Standard deviation of the copies</dt><dd>{scaled(s.standard_deviation_s, "s")}</dd></div>
    <div><dt>Sets that match unsorted</dt><dd>{trim(s.unsorted_share * 100, 3)} %</dd></div><div><dt>To build for one set</dt><dd>{s.beyond_sorting ? "beyond sorting" : `${s.build_9_of_10}`}<small>{s.beyond_sorting ? "cut or trim each line" : `9 times in 10; ${s.build_5_of_10} in 5 of 10`}</small></dd></div></dl></section>;
}
