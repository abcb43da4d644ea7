// One uniform line: its section to scale, its figures, and how size and the
// mode-free limit go together. What is typed is the address.
import { useRef, useState } from "preact/hooks";
import { call, get } from "./api";
import { Faults, Link, Wait, saveSVG } from "./bits";
import { Plot, useWidth } from "./plot";
import { isSolver, SolvePage, SolverKinds } from "./solve";
import { address, go, useLoad, withQuery } from "./state";
import { db, ghz, mm, trim, type Num } from "./units";

interface LineField { name: string; kind: string; unit_example: string; required: boolean; solvable: boolean; means: string }
interface Point { frequency_hz: number; impedance_ohm: { re: Num; im: Num }; effective_permittivity: Num; delay_s_per_m: Num; attenuation_db_per_m: Num; conductor_db_per_m: Num; dielectric_db_per_m: Num; roughness_factor: Num }
interface LineAnswer {
  line: string; model: string; metal: string; static_impedance_ohm: Num; static_effective_permittivity: Num; mode_free_limit_hz: Num; modes: { mode: string; cutoff_hz: Num }[]; solved: Record<string, number>; warnings: { text: string }[]; at: Point[];
  fields: Record<string, string>; drawing: Section; chart: { scale: number[]; size_m: number[]; size_of: string; mode_free_limit_hz: Num[]; attenuation_db_per_m: Num[]; attenuation_at_hz: number };
}
interface Section { pieces: { what: string; disc: boolean; x0_m: number; y0_m: number; x1_m: number; y1_m: number }[]; x0_m: number; y0_m: number; x1_m: number; y1_m: number; half_space: boolean; drawn_thickness_m: number }

const start: Record<string, Record<string, string>> = {
  coax: { inner_diameter: "1.27 mm", outer_diameter: "2.92 mm" },
  microstrip: { width: "0.55 mm", height: "0.254 mm", thickness: "35 um", permittivity: "3.66", loss_tangent: "0.0037" },
  stripline: { width: "0.25 mm", spacing: "0.508 mm", thickness: "17 um", permittivity: "3.0", loss_tangent: "0.001" },
  coplanar: { width: "0.4 mm", gap: "0.2 mm", height: "0.254 mm", thickness: "35 um", permittivity: "3.0", loss_tangent: "0.001" },
};

/** LinePage is one uniform line, or a solver's page. */
export function LinePage() {
  return isSolver(address.value.query.get("what")) ? <SolvePage key={address.value.query.get("what")!} /> : <UniformLine />;
}

function UniformLine() {
  const q = address.value.query, kind = q.get("kind") ?? "coax", at = q.get("at") ?? "1GHz:60GHz:60", solve = q.get("solve") ?? "", target = q.get("target") ?? "50 ohm";
  const forms = useLoad("forms", (s) => get<{ kinds: Record<string, LineField[]> }>("/line", s));
  const given: Record<string, string> = { ...(start[kind] ?? {}) };
  for (const [k, v] of q) if (k.startsWith("f.")) given[k.slice(2)] = v;
  for (const k of Object.keys(given)) if (!given[k] || k === solve) delete given[k];
  const ask = { kind, fields: given, at, ...(solve ? { solve_for: `${solve}=${target.replace(/\s/g, "")}` } : {}) };
  const s = useLoad(JSON.stringify(ask), (sig) => call<LineAnswer>("POST", "/line", ask, sig));
  const [more, setMore] = useState(false);
  const fields = forms.data?.kinds[kind] ?? [], shown = fields.filter((f) => more || f.required || given[f.name] || f.name === solve);
  const put = (k: string, v: string) => go(withQuery((u) => u.set(k, v)));
  const a = s.data, f = a?.at.map((p) => p.frequency_hz) ?? [], mid = a?.at[Math.floor(a.at.length / 2)];
  return <>
    <header class="head"><div><h1>Line</h1><p>Any uniform line, solved in its cross-section.</p></div>
      <div class="tools" role="group" aria-label="Kind of line">{Object.keys(forms.data?.kinds ?? start).map((k) => <button type="button" aria-pressed={k === kind} onClick={() => go("/line?kind=" + k)}>{k}</button>)}<SolverKinds /></div></header>
    <div class="two">
      <section class="sheet" aria-label="Dimensions"><h2>Dimensions</h2>
        <div class="fields"><fieldset><legend>{kind}</legend>{shown.map((x) => <LineEntry key={kind + x.name} f={x} value={x.name === solve ? a?.fields?.[x.name] ?? "" : given[x.name] ?? ""} solved={x.name === solve} set={(v) => put("f." + x.name, v)} />)}</fieldset>
          <fieldset><legend>Asked</legend><label><span>frequencies</span><input value={at} onChange={(e) => put("at", e.currentTarget.value)} /></label>
            <label><span>solve for</span><select value={solve} onChange={(e) => put("solve", e.currentTarget.value)}><option value="">nothing: all is given</option>{fields.filter((x) => x.solvable).map((x) => <option value={x.name}>{x.name.replace(/_/g, " ")}</option>)}</select></label>
            {solve && <label><span>so that it has</span><input value={target} onChange={(e) => put("target", e.currentTarget.value)} /></label>}</fieldset>
          <button type="button" onClick={() => setMore(!more)}>{more ? "Only what is stated" : "All that can be stated"}</button></div>
        {s.error && <Faults faults={s.error.faults} title="This line cannot be solved" />}
      </section>
      <section class={s.loading && a ? "stale" : ""} aria-busy={s.loading}>{!a ? !s.error && <Wait what="Solving the cross-section …" /> : <>
        <Cut d={a.drawing} file={"line-" + kind} fields={a.fields} />
        <p class="note"><Link to={"/line?" + withField(kind, given, solve, target)}>Solve this section by its field</Link></p>
        <dl class="facts">
          <div><dt>Impedance, static</dt><dd>{a.static_impedance_ohm == null ? "–" : trim(a.static_impedance_ohm, 5)} Ω</dd></div>
          <div><dt>Mode-free limit</dt><dd>{ghz(a.mode_free_limit_hz)}<small>{a.modes[0]?.mode}</small></dd></div>
          {mid && <><div><dt>Loss at {ghz(mid.frequency_hz)}</dt><dd>{db(mid.attenuation_db_per_m)}/m<small>conductor {db(mid.conductor_db_per_m)}, dielectric {db(mid.dielectric_db_per_m)}, roughness × {mid.roughness_factor == null ? "–" : trim(mid.roughness_factor, 4)}</small></dd></div>
            <div><dt>Delay</dt><dd>{mid.delay_s_per_m == null ? "–" : trim(mid.delay_s_per_m * 1e9, 5)} ns/m<small>effective permittivity {mid.effective_permittivity == null ? "–" : trim(mid.effective_permittivity, 4)}</small></dd></div></>}
          {Object.entries(a.solved).map(([k, v]) => <div class="solved"><dt>Solved: {k.replace(/_m$/, "").replace(/_/g, " ")}</dt><dd>{k.endsWith("_m") ? mm(v) : trim(v, 5)}</dd></div>)}
        </dl>
        {a.warnings.map((w) => <p class="note">Outside its range: {w.text}</p>)}
        <p class="note">{a.model}; {a.metal}.</p>
        <div class="plots">
          <Plot title="Loss, and where it is lost" shared x={f} xUnit="GHz" xScale={1e9} yUnit="dB/m" file={`line-${kind}-loss`} traces={[{ name: "all", y: a.at.map((p) => p.attenuation_db_per_m), look: "t1" }, { name: "conductor", y: a.at.map((p) => p.conductor_db_per_m), look: "t2" }, { name: "dielectric", y: a.at.map((p) => p.dielectric_db_per_m), look: "t3" }]} />
          <Plot title="Impedance" shared x={f} xUnit="GHz" xScale={1e9} yUnit="Ω" file={`line-${kind}-impedance`} traces={[{ name: "real part", y: a.at.map((p) => p.impedance_ohm.re), look: "t1" }]} />
          <Plot title={`Mode-free limit against size: why higher means smaller`} log x={a.chart.size_m} xUnit={`mm, ${a.chart.size_of.replace(/_/g, " ")}; all else in proportion`} xScale={1e-3} yUnit="GHz" digits={1} file={`line-${kind}-size`} traces={[{ name: "mode-free limit", y: a.chart.mode_free_limit_hz.map((v) => (v == null ? null : v / 1e9)), look: "t1" }]} />
          <Plot title={`Loss against size, at ${ghz(a.chart.attenuation_at_hz)}: the price of small`} log x={a.chart.size_m} xUnit={`mm, ${a.chart.size_of.replace(/_/g, " ")}`} xScale={1e-3} yUnit="dB/m" file={`line-${kind}-size-loss`} traces={[{ name: "loss", y: a.chart.attenuation_db_per_m, look: "t2" }]} />
        </div>
        <details><summary>Higher modes</summary><table><tbody>{a.modes.map((m) => <tr><th scope="row">{m.mode}</th><td class="n">from {ghz(m.cutoff_hz)}</td></tr>)}</tbody></table></details></>}
      </section></div></>;
}

/** withField is the query by which the page of cross-sections takes the line of this form. */
function withField(kind: string, given: Record<string, string>, solve: string, target: string): string {
  const u = new URLSearchParams({ what: "section", kind });
  for (const [k, v] of Object.entries(given)) u.set("f." + k, v);
  if (solve) { u.set("solve", solve); u.set("target", target); }
  return u.toString();
}

function LineEntry(p: { f: LineField; value: string; solved: boolean; set: (v: string) => void }) {
  return <label class={p.solved ? "changed" : ""} title={p.f.means}><span>{p.f.name.replace(/_/g, " ")}{p.solved && <b> solved</b>}</span><input value={p.value} readOnly={p.solved} placeholder={"such as " + p.f.unit_example} onChange={(e) => p.set(e.currentTarget.value)} /></label>;
}

/** Cut draws the section to scale with its dimensions. */
function Cut(p: { d: Section; file: string; fields: Record<string, string> }) {
  const [ref, W] = useWidth<HTMLElement>(), svg = useRef<SVGSVGElement>(null), d = p.d, H = 250, pad = 40;
  const k = Math.min((W - 2 * pad) / (d.x1_m - d.x0_m), (H - 2 * pad) / (d.y1_m - d.y0_m));
  const X = (x: number) => W / 2 + (x - (d.x0_m + d.x1_m) / 2) * k, Y = (y: number) => H / 2 - (y - (d.y0_m + d.y1_m) / 2) * k;
  const look: Record<string, string> = { dielectric: "board", conductor: "copper", ground: "hatched", void: "void" };
  const strip = d.pieces.find((s) => s.what === "conductor" && !s.disc), discs = d.pieces.filter((s) => s.disc);
  const base = d.pieces.find((s) => s.what === "dielectric");
  return <figure class="plot" ref={ref as any}><figcaption><span class="name">Section, to scale{d.drawn_thickness_m ? <small> (metal without thickness is drawn {mm(d.drawn_thickness_m)} thick)</small> : ""}</span><span class="saves"><button type="button" aria-label="Save the section as SVG" onClick={() => saveSVG(svg.current!, p.file)}>SVG</button></span></figcaption>
    <svg ref={svg} width={W} height={H} class="hardware" role="img" aria-label={"Section of the line: " + Object.entries(p.fields).map(([a, b]) => a.replace(/_/g, " ") + " " + b).join(", ")}>
      <defs><pattern id="cut" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><line class="hatch" x1="0" x2="0" y1="0" y2="6" /></pattern></defs>
      {d.pieces.map((s) => s.disc ? <ellipse class={look[s.what] ?? "body"} cx={X((s.x0_m + s.x1_m) / 2)} cy={Y((s.y0_m + s.y1_m) / 2)} rx={((s.x1_m - s.x0_m) / 2) * k} ry={((s.y1_m - s.y0_m) / 2) * k} />
        : <rect class={look[s.what] ?? "body"} x={X(s.x0_m)} y={Y(s.y1_m)} width={Math.max(0.5, (s.x1_m - s.x0_m) * k)} height={Math.max(1, (s.y1_m - s.y0_m) * k)} />)}
      {strip && <Measure x0={X(strip.x0_m)} x1={X(strip.x1_m)} y={Y(strip.y1_m) - 14} text={mm(strip.x1_m - strip.x0_m)} />}
      {base && strip && <Upright x={X(d.x0_m) - 14} y0={Y(base.y0_m)} y1={Y(base.y1_m)} text={mm(base.y1_m - base.y0_m)} />}
      {discs.filter((s) => s.what !== "ground").map((s, i) => <Measure x0={X(s.x0_m)} x1={X(s.x1_m)} y={i === 0 && discs.length > 1 ? H - 18 : 24} text={"⌀ " + mm(s.x1_m - s.x0_m)} />)}
    </svg></figure>;
}

function Measure(p: { x0: number; x1: number; y: number; text: string }) {
  return <g class="dimension"><path d={`M${p.x0} ${p.y - 5}v10M${p.x1} ${p.y - 5}v10M${p.x0} ${p.y}H${p.x1}M${p.x0 - 3} ${p.y + 3}l6 -6M${p.x1 - 3} ${p.y + 3}l6 -6`} /><text class="dim" x={(p.x0 + p.x1) / 2} y={p.y - 6} text-anchor="middle">{p.text}</text></g>;
}
function Upright(p: { x: number; y0: number; y1: number; text: string }) {
  return <g class="dimension"><path d={`M${p.x - 5} ${p.y0}h10M${p.x - 5} ${p.y1}h10M${p.x} ${p.y0}V${p.y1}`} /><text class="dim" x={p.x + 4} y={Math.min(p.y0, p.y1) - 6} text-anchor="middle">{p.text}</text></g>;
}
