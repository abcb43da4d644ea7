// A plot over one axis, drawn as SVG: it prints, scales and is saved as it
// stands. Drag or + zooms, a double click or Escape shows all again, arrow keys
// move the cursor. What is shown stands in the address.
import { useLayoutEffect, useRef, useState } from "preact/hooks";
import { Figure, csv, save, savePNG, saveSVG } from "./bits";
import { cursor, setCursor, setZoom, zoomOf, type Origin } from "./state";
import { ticks, trim, type Num } from "./units";

export interface Trace { name: string; y: Num[]; look: string } // look: a class: t1 solid .. t4, each with its own dashes
/** Band lies between two curves; where high is null it has no upper end. */
export interface Band { name: string; low: Num[]; high: Num[]; look: string }
export interface Mask { name: string; points: [number, number][]; above: boolean; wish?: boolean }

export function useWidth<T extends HTMLElement>(start = 600): [{ current: T | null }, number] {
  const ref = useRef<T>(null);
  const [w, set] = useState(start);
  useLayoutEffect(() => {
    const e = ref.current;
    if (!e) return;
    const measure = () => set(Math.max(240, Math.floor(e.clientWidth)));
    measure();
    const o = new ResizeObserver(measure);
    o.observe(e);
    return () => o.disconnect();
  }, []);
  return [ref as { current: T | null }, w];
}

export function Plot(p: {
  title: string; x: number[]; xUnit: string; xScale: number; yUnit: string; traces: Trace[]; bands?: Band[]; masks?: Mask[]; height?: number; file: string;
  down?: boolean; shared?: boolean; digits?: number; empty?: string; log?: boolean;
  from?: (trace: string, i: number) => Origin; // where the value of a trace at point i comes from
}) {
  const [ref, width] = useWidth<HTMLElement>();
  const svg = useRef<SVGSVGElement>(null);
  const key = p.shared ? "zoom" : "zoom." + p.file.replace(/\W/g, "-"), inAddress = zoomOf(key);
  const zoom = inAddress && ([inAddress[0] * p.xScale, inAddress[1] * p.xScale] as [number, number]);
  const showAll = () => zoom && setZoom(key, null);
  const [drag, setDrag] = useState<[number, number] | null>(null);
  const [own, setOwn] = useState<number | null>(null);
  const H = p.height ?? 230, L = 54, R = 12, T = 10, B = 36;
  const at = p.shared ? cursor.value : own;
  const setAt = (v: number | null) => (p.shared ? setCursor(v) : setOwn(v));

  const map = (v: number) => (p.log ? Math.log10(v) : v);
  const full: [number, number] = [p.x[0] ?? 0, p.x[p.x.length - 1] ?? 1];
  const within = zoom && zoom[0] < full[1] && zoom[1] > full[0] ? zoom : full; // an address may be of another band
  const [x0, x1] = [Math.max(within[0], full[0]), Math.min(within[1], full[1])];
  const inside = (i: number) => p.x[i] >= x0 && p.x[i] <= x1;
  let lo = Infinity, hi = -Infinity;
  const see = (v: Num) => { if (v != null && isFinite(v)) { if (v < lo) lo = v; if (v > hi) hi = v; } };
  p.traces.forEach((t) => t.y.forEach((v, i) => inside(i) && see(v)));
  p.bands?.forEach((b) => { b.low.forEach((v, i) => inside(i) && see(v)); b.high.forEach((v, i) => inside(i) && v != null && v < 60 && see(v)); });
  p.masks?.forEach((m) => m.points.forEach(([f, v]) => f >= x0 && f <= x1 && see(v)));
  const some = isFinite(lo);
  if (!some) [lo, hi] = [0, 1];
  const pad = (hi - lo) * 0.08 || Math.abs(hi) * 0.05 || 1;
  lo -= pad; hi += pad;
  if (lo < 0 && lo + pad >= 0) lo = 0;
  const X = (v: number) => L + ((map(v) - map(x0)) / (map(x1) - map(x0) || 1)) * (width - L - R);
  const Y = (v: number) => { const u = (v - lo) / (hi - lo); return p.down ? T + u * (H - T - B) : H - B - u * (H - T - B); };
  const un = (px: number) => { const u = map(x0) + ((px - L) / (width - L - R)) * (map(x1) - map(x0)); return Math.min(x1, Math.max(x0, p.log ? 10 ** u : u)); };
  const path = (y: Num[]) => {
    let d = "", pen = false;
    for (let i = 0; i < p.x.length; i++) {
      const v = y[i];
      if (v == null || !isFinite(v)) { pen = false; continue; }
      d += (pen ? "L" : "M") + X(p.x[i]).toFixed(1) + " " + Math.max(-9999, Math.min(9999, Y(v))).toFixed(1);
      pen = true;
    }
    return d;
  };
  const area = (b: Band) => {
    const up = p.x.map((f, i) => (b.low[i] == null ? "" : `${X(f).toFixed(1)} ${b.high[i] == null ? (p.down ? H - B : T) : Math.max(-9999, Y(b.high[i]!)).toFixed(1)}`)).filter(Boolean);
    const dn = p.x.map((f, i) => (b.low[i] == null ? "" : `${X(f).toFixed(1)} ${Y(b.low[i]!).toFixed(1)}`)).filter(Boolean).reverse();
    return up.length ? "M" + up.concat(dn).join("L") + "Z" : "";
  };
  const near = at == null ? -1 : p.x.reduce((best, f, i) => (Math.abs(f - at) < Math.abs(p.x[best] - at) ? i : best), 0);
  const clip = "clip-" + p.file.replace(/\W/g, "-");
  const xs = p.log ? logTicks(x0, x1) : ticks(x0 / p.xScale, x1 / p.xScale, Math.floor(width / 90)).map((t) => t * p.xScale);
  const where = (e: { clientX: number }) => e.clientX - svg.current!.getBoundingClientRect().left;
  const d = p.digits ?? 2;
  const rows = [...p.traces.map((t) => ({ name: t.name, look: t.look, v: near < 0 ? null : t.y[near] }))];
  return <figure class="plot" ref={ref as any}>
    <figcaption>
      <span class="name">{p.title}</span>
      <span class="saves">
        {zoom && <button type="button" onClick={showAll}>show all</button>}
        <button type="button" aria-label={`Save ${p.title} as SVG`} onClick={() => saveSVG(svg.current!, p.file)}>SVG</button>
        <button type="button" aria-label={`Save ${p.title} as PNG`} onClick={() => savePNG(svg.current!, p.file)}>PNG</button>
        <button type="button" aria-label={`Save ${p.title} as CSV`} onClick={() => save(p.file + ".csv", "text/csv", csv([`x (${p.xUnit})`, ...p.traces.map((t) => `${t.name} (${p.yUnit})`)], p.x.map((f, i) => [f / p.xScale, ...p.traces.map((t) => t.y[i])])))}>CSV</button>
      </span>
    </figcaption>
    {!some ? <p class="none">{p.empty ?? "Nothing is known to draw here."}</p> : <>
      <svg ref={svg} width={width} height={H} viewBox={`0 0 ${width} ${H}`} role="slider" tabindex={0} aria-label={`${p.title}: cursor; arrow keys move it, plus and minus zoom`}
        aria-valuemin={x0 / p.xScale} aria-valuemax={x1 / p.xScale} aria-valuenow={(near < 0 ? x0 : p.x[near]) / p.xScale}
        aria-valuetext={near < 0 ? "no cursor" : `${trim(p.x[near] / p.xScale, 5)} ${p.xUnit}: ` + rows.map((r) => `${r.name} ${r.v == null ? "unknown" : r.v.toFixed(d)} ${p.yUnit}`).join(", ")}
        onPointerMove={(e) => { const px = where(e); setAt(un(px)); if (drag) setDrag([drag[0], px]); }}
        onPointerDown={(e) => { (e.currentTarget as Element).setPointerCapture(e.pointerId); setDrag([where(e), where(e)]); }}
        onPointerUp={() => { if (drag && Math.abs(drag[1] - drag[0]) > 8) { setZoom(key, [un(Math.min(...drag)) / p.xScale, un(Math.max(...drag)) / p.xScale]); } setDrag(null); }}
        onDblClick={showAll}
        onKeyDown={(e) => {
          const n = p.x.length, i = near < 0 ? Math.floor(n / 2) : near, step = e.shiftKey ? 10 : 1;
          const k = { ArrowRight: i + step, ArrowLeft: i - step, Home: 0, End: n - 1, PageUp: i + 20, PageDown: i - 20 }[e.key];
          if (e.key === "Escape") { showAll(); setAt(null); return; }
          if (e.key === "-") { showAll(); return; }
          if (e.key === "+") { const c = p.x[i], half = (x1 - x0) / 4; setZoom(key, [Math.max(full[0], c - half) / p.xScale, Math.min(full[1], c + half) / p.xScale]); return; }
          if (k == null) return;
          e.preventDefault();
          setAt(p.x[Math.max(0, Math.min(n - 1, k))]);
        }}>
        <defs><clipPath id={clip}><rect x={L} y={T} width={Math.max(1, width - L - R)} height={H - T - B} /></clipPath></defs>
        {xs.map((t) => <g class="grid"><line x1={X(t)} x2={X(t)} y1={T} y2={H - B} /><text x={X(t)} y={H - B + 15} text-anchor="middle">{trim(t / p.xScale, 4)}</text></g>)}
        {ticks(lo, hi, Math.floor(H / 45)).map((t) => <g class="grid"><line x1={L} x2={width - R} y1={Y(t)} y2={Y(t)} /><text x={L - 6} y={Y(t) + 4} text-anchor="end">{trim(t, 5)}</text></g>)}
        <text class="unit" x={width - R} y={H - 4} text-anchor="end">{p.xUnit}</text>
        <text class="unit" x={4} y={H - 4}>{p.yUnit}</text>
        <g clip-path={`url(#${clip})`}>
          {p.bands?.map((b) => <path class={"area " + b.look} d={area(b)} />)}
          {p.masks?.map((m) => <Forbidden m={m} X={X} Y={Y} edge={(m.above !== !!p.down) ? T : H - B} />)}
          {p.traces.map((t) => <path class={"trace " + t.look} d={path(t.y)} />)}
          {near >= 0 && <g class="live"><line class="cursor" x1={X(p.x[near])} x2={X(p.x[near])} y1={T} y2={H - B} />
            {rows.map((r) => r.v != null && <circle class={"dot " + r.look} cx={X(p.x[near])} cy={Y(r.v)} r={3} />)}</g>}
          {drag && Math.abs(drag[1] - drag[0]) > 3 && <rect class="live lasso" x={Math.min(...drag)} width={Math.abs(drag[1] - drag[0])} y={T} height={H - T - B} />}
        </g>
        <rect class="frame" x={L} y={T} width={Math.max(1, width - L - R)} height={H - T - B} />
      </svg>
      <ul class="legend">
        {near >= 0 && <li class="at">{trim(p.x[near] / p.xScale, 5)} {p.xUnit}</li>}
        {rows.map((r) => <li><svg width="26" height="8" aria-hidden="true"><line class={"trace " + r.look} x1="0" x2="26" y1="4" y2="4" /></svg>{r.name}{r.v != null && (p.from ? <> <Figure text={`${r.v.toFixed(d).replace("-", "−")} ${p.yUnit}`} from={() => p.from!(r.name, near)} label={`${r.name} at ${trim(p.x[near] / p.xScale, 5)} ${p.xUnit}`} /></> : <b> {r.v.toFixed(d)}</b>)}</li>)}
        {p.bands?.map((b) => <li><svg width="26" height="10" aria-hidden="true"><rect class={"area " + b.look} width="26" height="10" /></svg>{b.name}</li>)}
        {!!p.masks?.length && <li><svg width="26" height="10" aria-hidden="true"><rect class="forbid" width="26" height="8" /><line class="limit" x1="0" x2="26" y1="8" y2="8" /></svg>limit</li>}
      </ul></>}
  </figure>;
}

function Forbidden(p: { m: Mask; X: (v: number) => number; Y: (v: number) => number; edge: number }) {
  const pts = p.m.points.map(([f, v]) => `${p.X(f).toFixed(1)} ${p.Y(v).toFixed(1)}`);
  if (!pts.length) return null;
  const a = p.X(p.m.points[0][0]), b = p.X(p.m.points[p.m.points.length - 1][0]);
  if (b - a < 3) return <path class="limit" d={`M${a - 7} ${p.Y(p.m.points[0][1])}h14`}><title>{p.m.name}</title></path>;
  return <g><path class="forbid" d={`M${pts.join("L")}L${b.toFixed(1)} ${p.edge}L${a.toFixed(1)} ${p.edge}Z`} /><path class={"limit" + (p.m.wish ? " wish" : "")} d={"M" + pts.join("L")}><title>{p.m.name}</title></path></g>;
}

function logTicks(a: number, b: number): number[] {
  const out: number[] = [];
  for (let e = Math.floor(Math.log10(a)); e <= Math.log10(b); e++) for (const m of [1, 2, 5]) { const v = m * 10 ** e; if (v >= a * 0.999 && v <= b * 1.001) out.push(v); }
  return out;
}
