// The solvers: a cross-section with its field, a body of revolution, a structure
// in three dimensions. What is solved is a file of the workspace, or a text that
// stands in the address.
import { useEffect, useRef, useState } from "preact/hooks";
import { call, get, type Job } from "./api";
import { Faults, Link, Wait, save, saveSVG } from "./bits";
import { Plot, useWidth } from "./plot";
import { address, go, jobs, useLoad, withQuery } from "./state";
import { db, fixed, ghz, mm, ticks, trim, type Num } from "./units";

interface Piece { what: string; name: string; x_m: number[]; y_m: number[] }
interface Drawing { x0_m: number; x1_m: number; y0_m: number; y1_m: number; pieces: Piece[]; potential_m?: number[] }
interface Cut extends Drawing { axis: string; at_m: number; across: [string, string]; planes: { name: string; upright: boolean; at_m: number }[] }
interface Complex { re: Num; im: Num }
interface SPoint { frequency_hz: number; s: Complex[][] }
interface Section {
  section: string; model: string; conductors: string[]; impedance_ohm: Num; effective_permittivity: Num; capacitance_f_per_m: Num[][]; inductance_h_per_m: Num[][]; estimated_error: Num; unknowns: number;
  modes: { name: string; impedance_ohm: Num; effective_permittivity: Num }[]; pair: { odd_ohm: Num; even_ohm: Num; differential_ohm: Num; common_ohm: Num } | null; warnings: { text: string }[];
  at: { frequency_hz: number; modes: { name: string; attenuation_db_per_m: Num; conductor_db_per_m: Num; dielectric_db_per_m: Num; delay_s_per_m: Num }[] }[];
}
interface Body {
  body: string; model: string; ports: { end: number; mode: string; impedance_ohm: Num; mode_free_limit_hz: Num }[]; planes: { shunt_capacitance_static_f: Num }[]; modes_used: number; estimated_error: Num; warnings: { text: string; section: number; mode: string; cutoff_hz: Num; in_the_solution: boolean }[]; at: SPoint[];
}
interface Field {
  field: string; model: string; cells: number; steps: number; seconds: Num; energy_left: Num; estimated_error: Num; warnings: string[]; at: SPoint[];
  plan: { cells_along_axes: number[]; memory_bytes: Num; free_memory_bytes: Num; runs: number; steps_of_a_run_at_least: number; steps_of_a_run_at_most: number; seconds_at_least: Num; seconds_at_most: Num; smallest_cell_m: Num; why: string };
  ports: { name: string; side: string; mode: string; plane_m: Num; impedance_ohm: Num; effective_permittivity: Num }[];
}
interface Picture {
  axis: string; at_m: number; frequency_hz: number; fed: string; columns: number; rows: number; x0_m: number; x1_m: number; y0_m: number; y1_m: number; largest_v_per_m: Num; re2: Num[]; im2: Num[]; cross: Num[]; cut: Cut;
}
export interface FieldResult { text: string; solved: Field; cuts: Cut[]; pictures: Picture[]; touchstone: string }
interface Live { step: number[]; energy_db: number[]; target_db: number }

const kinds: Record<string, { name: string; lead: string }> = {
  section: { name: "Cross-section", lead: "Any conductors in any dielectrics: capacitance, impedance, loss, by a solve of the static field." },
  body: { name: "Body of revolution", lead: "Steps, beads and undercuts of a coaxial line, by mode matching." },
  field: { name: "Structure", lead: "Vias, launches and guides in three dimensions, by a field solve." },
};

/** Kinds leads from one kind of line to the others. */
export function SolverKinds() {
  const what = address.value.query.get("what") ?? "";
  return <>{Object.entries(kinds).map(([k, v]) => <button type="button" aria-pressed={k === what} onClick={() => go("/line?what=" + k)}>{v.name}</button>)}</>;
}

export const isSolver = (what: string | null) => what != null && what in kinds;

export function SolvePage() {
  const q = address.value.query, what = q.get("what")!, at = q.get("at") ?? "";
  const files = useLoad("solve", (s) => get<{ files: { file: string; kind: string; name: string }[] }>("/solve", s));
  const own = files.data?.files.filter((f) => f.kind === what) ?? [];
  const line = what === "section" && q.get("kind") ? { kind: q.get("kind")!, fields: Object.fromEntries([...q].filter(([k, v]) => k.startsWith("f.") && v).map(([k, v]) => [k.slice(2), v])), ...(q.get("solve") ? { solve_for: `${q.get("solve")}=${(q.get("target") ?? "50 ohm").replace(/\s/g, "")}` } : {}) } : null;
  const text = q.get("text"), file = q.get("file") ?? (text == null && !line ? own[0]?.file : undefined);
  const source = text != null ? { text } : line ? { line } : file ? { file } : null;
  const ask = source && { ...source, ...(at && what !== "field" ? { at } : !at && what === "section" ? { at: "1GHz:40GHz:40" } : {}) };
  const path = what === "field" ? "/solve/field/plan" : "/solve/" + what;
  const s = useLoad(what + JSON.stringify(ask), async (sig) => ask ? call<any>("POST", path, ask, sig) : null);
  const shown = s.data && s.data.of === undefined ? s.data : null;
  return <>
    <header class="head"><div><p class="crumb"><Link to="/line">Line</Link></p><h1>{kinds[what].name}</h1><p>{kinds[what].lead}</p></div><div class="tools" role="group" aria-label="Kind of solve"><SolverKinds /></div></header>
    <div class="two">
      <section class="sheet" aria-label="What is solved"><h2>What is solved</h2>
        <div class="fields"><label><span>file of the workspace</span><select value={text != null || line ? "" : file ?? ""} onChange={(e) => go(`/line?what=${what}` + (e.currentTarget.value ? "&file=" + encodeURIComponent(e.currentTarget.value) : ""))}>
          {(text != null || line || !own.length) && <option value="">{text != null ? "none: the text below" : line ? `none: the ${line.kind} line of the form` : "there is none"}</option>}
          {own.map((f) => <option value={f.file}>{f.file}: {f.name}</option>)}</select></label>
          {what !== "field" && <label><span>frequencies</span><input value={at} placeholder={what === "section" ? "1GHz:40GHz:40" : "up to the mode-free limit"} onChange={(e) => go(withQuery((u) => e.currentTarget.value ? u.set("at", e.currentTarget.value) : u.delete("at")))} /></label>}</div>
        <Editor key={what + (file ?? "") + (line ? JSON.stringify(line) : "")} text={text ?? shown?.text ?? ""} edited={text != null} what={what} />
        {s.error && <Faults faults={s.error.faults} title="This cannot be solved" />}
      </section>
      <section class={s.loading && shown ? "stale" : ""} aria-busy={s.loading}>{!shown ? (!s.error && (files.data && !source ? <p class="none">Put files into the workspace's folder {({ section: "sections", body: "bodies", field: "fields" } as any)[what]}, or write one at the left.</p> : <Wait what="Solving …" />))
        : what === "section" && shown.solved?.capacitance_f_per_m ? <SectionView r={shown.solved} d={shown.drawing} /> : what === "body" && shown.solved?.planes ? <BodyView r={shown.solved} d={shown.drawing} /> : what === "field" && shown.plan ? <FieldView plan={shown.plan} cuts={shown.cuts} fits={shown.fits} source={source as any} /> : <Wait what="Solving …" />}
      </section></div></>;
}

/** Editor holds the file's text; what is written there is solved when it is left or on Ctrl Enter. */
function Editor(p: { text: string; edited: boolean; what: string }) {
  const [draft, set] = useState<string | null>(null), value = draft ?? p.text;
  useEffect(() => set(null), [p.text]);
  const take = (now: string) => { if (now !== p.text) go(`/line?what=${p.what}&text=${encodeURIComponent(now)}`, p.edited); };
  return <div class="editor"><label for="solve-text">text of the file</label>
    <textarea id="solve-text" class="mono" spellcheck={false} rows={Math.min(34, Math.max(12, value.split("\n").length + 1))} value={value} onInput={(e) => set(e.currentTarget.value)} onBlur={(e) => take(e.currentTarget.value)}
      onKeyDown={(e) => { if (e.key === "Enter" && (e.ctrlKey || e.metaKey)) { e.preventDefault(); take(e.currentTarget.value); } }} />
    <p class="note">Solved when you leave the text, or with Ctrl Enter. The file itself stays as it is. <button type="button" onClick={() => save(p.what + ".yaml", "application/yaml", value)}>Save the text</button></p></div>;
}

const looks: Record<string, string> = { metal: "copper", reference: "hatched", dielectric: "board", air: "void" };

/** Scaled draws outlines to scale. */
function Scaled(p: { d: Drawing; title: string; file: string; label: string; height?: number; planes?: Cut["planes"]; under?: preact.ComponentChildren; outlines?: boolean }) {
  const [ref, W] = useWidth<HTMLElement>(), svg = useRef<SVGSVGElement>(null), d = p.d, pad = 10, H0 = p.height ?? 300;
  const k = Math.min((W - 2 * pad) / (d.x1_m - d.x0_m), H0 / (d.y1_m - d.y0_m)), w = k * (d.x1_m - d.x0_m), h = k * (d.y1_m - d.y0_m), H = h + 34;
  const ox = (W - w) / 2, X = (x: number) => ox + (x - d.x0_m) * k, Y = (y: number) => 4 + (d.y1_m - y) * k;
  const bar = ticks(0, (d.x1_m - d.x0_m) * 1e3, 5)[1] ?? 1, id = "frame-" + p.file.replace(/\W/g, "-");
  let lines = "";
  const v = d.potential_m ?? [];
  for (let i = 0; i + 3 < v.length; i += 4) lines += `M${X(v[i]).toFixed(1)} ${Y(v[i + 1]).toFixed(1)}L${X(v[i + 2]).toFixed(1)} ${Y(v[i + 3]).toFixed(1)}`;
  return <figure class="plot" ref={ref as any}><figcaption><span class="name">{p.title}</span><span class="saves"><button type="button" aria-label={`Save ${p.title} as SVG`} onClick={() => saveSVG(svg.current!, p.file)}>SVG</button></span></figcaption>
    <div class="layers">{p.under && <div class="under" style={{ left: `${ox}px`, top: "4px", width: `${w}px`, height: `${h}px` }}>{p.under}</div>}
      <svg ref={svg} width={W} height={H} class={"hardware" + (p.outlines ? " bare" : "")} role="img" aria-label={p.label}>
        <defs><pattern id="cut" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><line class="hatch" x1="0" x2="0" y1="0" y2="6" /></pattern><clipPath id={id}><rect x={ox} y={4} width={w} height={h} /></clipPath></defs>
        <g clip-path={`url(#${id})`}>{d.pieces.map((s) => s.x_m.length === 2 ? <line class="sheetmetal" x1={X(s.x_m[0])} y1={Y(s.y_m[0])} x2={X(s.x_m[1])} y2={Y(s.y_m[1])}><title>{s.name}</title></line>
          : <polygon class={looks[s.what] ?? "body"} points={s.x_m.map((x, i) => `${X(x).toFixed(2)},${Y(s.y_m[i]).toFixed(2)}`).join(" ")}><title>{s.name}</title></polygon>)}
          {lines && <path class="trace potential" d={lines} />}
          {p.planes?.map((g, i) => <g class="dimension">{g.upright ? <path class="refplane" d={`M${X(g.at_m)} 4v${h}`} /> : <path class="refplane" d={`M${ox} ${Y(g.at_m)}h${w}`} />}<text class="dim" x={g.upright ? X(g.at_m) + 4 : ox + 6} y={g.upright ? 18 : Y(g.at_m) - 5}>{g.name || `port ${i + 1}`}</text></g>)}</g>
        <rect class="frame" x={ox} y={4} width={w} height={h} />
        <g class="scalebar"><path d={`M${ox} ${h + 18}h${bar * 1e-3 * k}M${ox} ${h + 14}v8M${ox + bar * 1e-3 * k} ${h + 14}v8`} /><text x={ox + bar * 1e-3 * k + 8} y={h + 22}>{bar} mm</text></g>
      </svg></div></figure>;
}

function Fact(p: { name: string; value: string; more?: string }) {
  return <div><dt>{p.name}</dt><dd>{p.value}{p.more && <small>{p.more}</small>}</dd></div>;
}

const ohm = (x: Num, digits = 5) => x == null ? "–" : trim(x, digits) + " Ω";

function SectionView(p: { r: Section; d: Drawing }) {
  const r = p.r, f = r.at.map((x) => x.frequency_hz), mid = r.at[Math.floor(r.at.length / 2)]?.modes[0];
  const first = (k: "attenuation_db_per_m" | "conductor_db_per_m" | "dielectric_db_per_m") => r.at.map((x) => x.modes[0]?.[k]);
  return <><Scaled d={p.d} title="Section, to scale, with lines of equal potential" file="section" label={`Section of ${r.section} with lines of equal potential about ${r.conductors[0]}`} />
    <dl class="facts">
      {r.impedance_ohm != null ? <><Fact name="Impedance" value={ohm(r.impedance_ohm, 6)} /><Fact name="Effective permittivity" value={trim(r.effective_permittivity!, 6)} /></> : r.modes.map((m) => <Fact name={m.name} value={ohm(m.impedance_ohm)} more={m.effective_permittivity == null ? "" : "effective permittivity " + trim(m.effective_permittivity, 5)} />)}
      {r.pair && <><Fact name="Differential" value={ohm(r.pair.differential_ohm)} more={`odd ${ohm(r.pair.odd_ohm)}`} /><Fact name="Common" value={ohm(r.pair.common_ohm)} more={`even ${ohm(r.pair.even_ohm)}`} /></>}
      {mid && <Fact name={`Loss at ${ghz(f[Math.floor(f.length / 2)])}`} value={mid.attenuation_db_per_m == null ? "no finite figure" : db(mid.attenuation_db_per_m) + "/m"} more={mid.attenuation_db_per_m == null ? "metal without thickness" : `conductor ${db(mid.conductor_db_per_m)}, dielectric ${db(mid.dielectric_db_per_m)}`} />}
      <Fact name="Estimated error" value={r.estimated_error == null ? "–" : trim(r.estimated_error, 1)} more={`of the capacitances, ${r.unknowns} unknowns`} />
    </dl>
    {r.warnings.map((w) => <p class="note">Outside its range: {w.text}</p>)}
    <p class="note">{r.model}. {r.conductors[0]} at 1 V, everything else at 0 V; lines at 0.1 V to 0.9 V.</p>
    <div class="plots">{f.length > 1 && <Plot title="Loss, and where it is lost" shared x={f} xUnit="GHz" xScale={1e9} yUnit="dB/m" file="section-loss" traces={[{ name: "all", y: first("attenuation_db_per_m"), look: "t1" }, { name: "conductor", y: first("conductor_db_per_m"), look: "t2" }, { name: "dielectric", y: first("dielectric_db_per_m"), look: "t3" }]} />}
      {f.length > 1 && <Plot title="Delay" shared x={f} xUnit="GHz" xScale={1e9} yUnit="ns/m" digits={4} file="section-delay" traces={[{ name: r.modes[0]?.name ?? "line", y: r.at.map((x) => x.modes[0]?.delay_s_per_m == null ? null : x.modes[0].delay_s_per_m! * 1e9), look: "t1" }]} />}</div>
    <details><summary>Matrices</summary><div class="scroll"><table><caption>Capacitance, pF/m (Maxwell's matrix), and inductance, nH/m</caption><thead><tr><th scope="col" />{r.conductors.map((c) => <th scope="col" class="n">C to {c}</th>)}{r.conductors.map((c) => <th scope="col" class="n">L to {c}</th>)}</tr></thead>
      <tbody>{r.conductors.map((c, i) => <tr><th scope="row">{c}</th>{r.capacitance_f_per_m[i].map((x) => <td class="n">{fixed(x == null ? null : x * 1e12, 4)}</td>)}{r.inductance_h_per_m[i].map((x) => <td class="n">{fixed(x == null ? null : x * 1e9, 4)}</td>)}</tr>)}</tbody></table></div></details></>;
}

const size = (z: Complex | undefined): Num => z?.re == null || z.im == null ? null : Math.max(-120, 20 * Math.log10(Math.hypot(z.re, z.im)));

/** Curves draws S-parameters: what each port reflects, and what passes from the first. */
function Curves(p: { at: SPoint[]; file: string }) {
  const f = p.at.map((x) => x.frequency_hz), n = p.at[0]?.s.length ?? 0, look = (i: number) => "t" + (1 + (i % 4));
  if (f.length < 2) return null;
  const ports = Array.from({ length: n }, (_, i) => i);
  return <div class="plots"><Plot title="Reflection" shared x={f} xUnit="GHz" xScale={1e9} yUnit="dB" file={p.file + "-reflection"} traces={ports.map((i) => ({ name: `|S${i + 1}${i + 1}|`, y: p.at.map((x) => size(x.s[i][i])), look: look(i) }))} />
    {n > 1 && <Plot title="Transmission from port 1" shared x={f} xUnit="GHz" xScale={1e9} yUnit="dB" digits={3} file={p.file + "-transmission"} traces={ports.slice(1).map((i) => ({ name: `|S${i + 1}1|`, y: p.at.map((x) => size(x.s[i][0])), look: look(i - 1) }))} />}</div>;
}

function BodyView(p: { r: Body; d: Drawing }) {
  const r = p.r, worst = Math.max(...r.at.map((x) => size(x.s[0][0]) ?? -120));
  return <><Scaled d={p.d} title="Profile, to scale" file="body" height={240} label={`Profile of ${r.body}, ${r.planes.length + 1} sections`} />
    <dl class="facts">{r.ports.filter((x) => x.mode === "TEM").map((x) => <Fact name={`Line at end ${x.end}`} value={ohm(x.impedance_ohm)} more={"mode-free to " + ghz(x.mode_free_limit_hz)} />)}
      <Fact name="Largest reflection shown" value={db(worst)} /><Fact name="Estimated error" value={r.estimated_error == null ? "–" : trim(r.estimated_error, 1)} more={`of any S-parameter, ${r.modes_used} modes`} /></dl>
    <Curves at={r.at} file="body" />
    {r.warnings.map((w) => <p class="note">Section {w.section} carries {w.mode} from {ghz(w.cutoff_hz)}: {w.in_the_solution ? "in the solution, resonances included" : "not excited while the body is round and centred, and not in the solution"}.</p>)}
    <p class="note">{r.model}.</p>
    <details><summary>Changes of section</summary><table><thead><tr><th scope="col">between</th><th scope="col" class="n">static shunt capacitance</th></tr></thead><tbody>{r.planes.map((x, i) => <tr><th scope="row">{i + 1} and {i + 2}</th><td class="n">{x.shunt_capacitance_static_f == null ? "–" : trim(x.shunt_capacitance_static_f * 1e15, 4) + " fF"}</td></tr>)}</tbody></table></details></>;
}

const span = (s: Num) => s == null ? "–" : s < 90 ? `${Math.max(1, Math.round(s))} s` : s < 5400 ? `${Math.round(s / 60)} min` : `${(s / 3600).toFixed(1)} h`;
const bytes = (b: Num) => b == null ? "–" : b < 1e9 ? `${Math.ceil(b / 1e6)} MB` : `${(b / 1e9).toFixed(1)} GB`;

function FieldView(p: { plan: Field; cuts: Cut[]; fits: boolean; source: { file?: string; text?: string } }) {
  const id = address.value.query.get("job"), [refused, setRefused] = useState<any>(null), n = p.plan.plan;
  const begin = () => call<Job>("POST", "/jobs", { kind: "field", ...p.source }).then((j) => { setRefused(null); jobs.value = [j, ...jobs.value.filter((x) => x.id !== j.id)]; go(withQuery((u) => u.set("job", j.id))); }, setRefused);
  return <>{!id && <Cuts cuts={p.cuts} />}
    <dl class="facts"><Fact name="Cells" value={(p.plan.cells / 1e6).toPrecision(3) + " million"} more={n.cells_along_axes.join(" × ") + ", the smallest " + mm(n.smallest_cell_m)} /><Fact name="Memory" value={bytes(n.memory_bytes)} more={n.free_memory_bytes == null ? "" : bytes(n.free_memory_bytes) + " are free"} />
      <Fact name="Time" value={n.seconds_at_least ? "at least " + span(n.seconds_at_least) : "not estimated"} more={`${n.runs} runs of ${n.steps_of_a_run_at_least} to ${n.steps_of_a_run_at_most} steps` + (n.seconds_at_most ? `, at most ${span(n.seconds_at_most)}` : "")} /></dl>
    {p.plan.warnings.map((w) => <p class="note">{w}</p>)}
    {!id && <p><button type="button" class="primary" disabled={!p.fits} onClick={begin}>Solve the field</button></p>}
    {refused && <Faults faults={refused.faults ?? []} title="It was not begun" />}
    {id && <FieldJob id={id} cuts={p.cuts} again={begin} />}</>;
}

function Cuts(p: { cuts: Cut[] }) {
  return <div class="plots">{p.cuts.map((c, i) => <Scaled d={c} planes={c.planes} file={"cut-" + i} height={260} title={`Cut at ${c.axis} = ${mm(c.at_m)}, to scale; ${c.across[0]} to the right, ${c.across[1]} up`} label={`Cut of the structure at ${c.axis} = ${mm(c.at_m)}`} />)}</div>;
}

/** FieldJob shows a field solve while it runs and when it is done. */
function FieldJob(p: { id: string; cuts: Cut[]; again: () => void }) {
  const live = jobs.value.find((j) => j.id === p.id), s = useLoad(p.id + (live?.state ?? ""), (sig) => get<Job>("/jobs/" + p.id, sig));
  const j = s.data && { ...s.data, ...(live && live.state !== "done" ? { state: live.state, stage: live.stage, fraction: live.fraction } : {}) };
  if (!j) return s.error ? <><Faults faults={s.error.faults} title="This solve is not kept any more" /><Cuts cuts={p.cuts} /><p><button type="button" class="primary" onClick={p.again}>Solve the field again</button></p></> : <Wait what="Reading the job …" />;
  const open = j.state === "running" || j.state === "waiting", fall = ((live as any)?.live ?? (j as any).live) as Live | undefined;
  return <>
    {open && <div class="sheet"><progress max={1} value={j.fraction} aria-label={j.title}>{Math.round(j.fraction * 100)} %</progress><p role="status">{j.stage || (j.state === "waiting" ? "Another job runs; this one comes next." : "Setting the grid up …")}</p><button type="button" onClick={() => call("DELETE", "/jobs/" + j.id)}>Cancel</button></div>}
    {open && <Falling fall={fall} />}
    {!open && j.state !== "done" && <>{j.state === "cancelled" && <p class="none">It was cancelled before its end; there is no result.</p>}{j.error && <Faults faults={[j.error]} title={j.state === "interrupted" ? "It was interrupted" : "It failed"} />}</>}
    {!open && <p><button type="button" onClick={p.again}>Solve it again</button></p>}
    {j.state === "done" && (j.result ? <FieldDone r={j.result as FieldResult} /> : <Wait what="Reading the result …" />)}
    {j.state !== "done" && <Cuts cuts={p.cuts} />}</>;
}

function Falling(p: { fall?: Live }) {
  const f = p.fall;
  if (!f || f.step.length < 2) return <Wait what="The first steps …" />;
  return <Plot title="Energy in the structure, below its peak" x={f.step} xUnit="steps, run after run" xScale={1} yUnit="dB" digits={1} file="field-energy" traces={[{ name: "energy", y: f.energy_db, look: "t1" }, { name: "it ends here", y: f.step.map(() => f.target_db), look: "t3" }]} />;
}

/** FieldDone is the result of a field solve. */
export function FieldDone(p: { r: FieldResult }) {
  const r = p.r.solved, name = r.field.replace(/\W+/g, "-").toLowerCase();
  return <><h2>{r.field}</h2><Curves at={r.at} file="field" />
    <dl class="facts">{r.ports.map((x) => <Fact name={`Port ${x.name}`} value={x.impedance_ohm == null ? x.mode : ohm(x.impedance_ohm)} more={`${x.mode}, plane at ${mm(x.plane_m)}`} />)}
      <Fact name="Solved" value={span(r.seconds)} more={`${r.cells} cells, ${r.steps} steps`} /><Fact name="Estimated error" value={r.estimated_error == null ? "not known" : trim(r.estimated_error, 1)} more={r.estimated_error == null ? "one grid; write accuracy: 0.01 for more" : "of any S-parameter"} /></dl>
    {r.warnings.map((w) => <p class="note">{w}</p>)}
    {p.r.pictures.map((x, i) => <Moving p={x} file={`${name}-field-${i + 1}`} />)}
    <p class="note">{r.model}. <button type="button" onClick={() => save(`${name}.s${r.ports.length}p`, "text/plain", p.r.touchstone)}>Save the Touchstone file</button> It says of itself that it is a field solve, so a chain that names it does too.</p>
    <Cuts cuts={p.r.cuts} /></>;
}

// From little to much in even steps of lightness, as the command line paints it.
const colours = [[12, 16, 43], [36, 60, 134], [32, 125, 143], [108, 184, 96], [253, 231, 110]], range = 40;
function colour(x: number): [number, number, number] {
  const t = Math.min(1, Math.max(0, 1 + (20 * Math.log10(Math.max(x, 1e-9))) / range)) * (colours.length - 1), i = Math.min(Math.floor(t), colours.length - 2), u = t - i;
  return [0, 1, 2].map((k) => Math.round(colours[i][k] + u * (colours[i + 1][k] - colours[i][k]))) as [number, number, number];
}

/** Moving shows the electric field on a plane, at one phase after the other. */
function Moving(p: { p: Picture; file: string }) {
  const x = p.p, canvas = useRef<HTMLCanvasElement>(null), [moving, setMoving] = useState(() => !matchMedia("(prefers-reduced-motion: reduce)").matches), [phase, setPhase] = useState(0);
  useEffect(() => {
    if (!moving) return;
    const t = setInterval(() => setPhase((v) => (v + 15) % 360), 90);
    return () => clearInterval(t);
  }, [moving]);
  useEffect(() => {
    const c = canvas.current?.getContext("2d");
    if (!c) return;
    const img = c.createImageData(x.columns, x.rows), co = Math.cos((phase * Math.PI) / 180), si = Math.sin((phase * Math.PI) / 180);
    for (let i = 0; i < x.re2.length; i++) {
      const re = x.re2[i];
      const rgb = re == null ? [150, 150, 150] : colour(Math.sqrt(Math.max(0, re * co * co + x.im2[i]! * si * si - 2 * x.cross[i]! * si * co)));
      img.data.set([rgb[0], rgb[1], rgb[2], 255], 4 * i);
    }
    c.putImageData(img, 0, 0);
  }, [phase, x]);
  const words = `Electric field at ${ghz(x.frequency_hz)}, port ${x.fed} fed with 1 W`;
  return <><Scaled d={{ ...x.cut, x0_m: x.x0_m, x1_m: x.x1_m, y0_m: x.y0_m, y1_m: x.y1_m }} planes={x.cut.planes} outlines file={p.file} height={340} title={words} label={`${words}, in the plane ${x.axis} = ${mm(x.at_m)}; the largest is ${x.largest_v_per_m == null ? "not known" : trim(x.largest_v_per_m / 1e3, 3) + " kV/m"}`}
    under={<canvas ref={canvas} width={x.columns} height={x.rows} aria-hidden="true" />} />
    <p class="colourkey"><button type="button" onClick={() => setMoving(!moving)}>{moving ? "Hold the wave" : "Let the wave run"}</button>
      <label>phase <input type="range" min={0} max={345} step={15} value={phase} aria-valuetext={phase + " degrees"} onInput={(e) => { setMoving(false); setPhase(+e.currentTarget.value); }} /> {phase}°</label>
      <span>−{range} dB <i aria-hidden="true" style={{ background: `linear-gradient(90deg, ${colours.map((c) => `rgb(${c})`).join(", ")})` }} /> {x.largest_v_per_m == null ? "" : trim(x.largest_v_per_m / 1e3, 3) + " kV/m"}; metal is grey</span></p></>;
}
