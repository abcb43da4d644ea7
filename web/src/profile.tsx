// The impedance along a chain, under the drawing and in its places: what the
// pieces state, what an edge would see where phases are known, and the range of
// a single step where a datasheet only bounds a reflection.
import { useRef } from "preact/hooks";
import type { Full } from "./api";
import { csv, save, saveSVG } from "./bits";
import { db, ghz, ticks, time, trim } from "./units";

export function Profile(p: { full: Full; boxes: { x: number; w: number }[]; width: number; file: string }) {
  const pf = p.full.curves.profile, ref = useRef<SVGSVGElement>(null), names = p.full.prediction.elements.map((e) => e.name);
  const known = [...pf.impedance_ohm.filter((v): v is number => v != null), ...pf.traced.flatMap((t) => t.impedance_ohm), ...pf.bounds.flatMap((b) => [b.low_ohm, b.high_ohm])];
  if (!known.length) return <p class="profilewords"><b>Impedance along the chain.</b> Nothing to draw: {pf.says}.</p>;
  const lo = Math.min(pf.reference_ohm - 4, ...known), hi = Math.max(pf.reference_ohm + 4, ...known), pad = (hi - lo) * 0.08;
  const H = 170, T = 8, B = 24, Y = (z: number) => T + ((hi + pad - z) / (hi - lo + 2 * pad)) * (H - T - B);
  // A piece's own time, from its beginning to its end, over its place in the drawing.
  const span = new Map<number, [number, number]>();
  pf.element.forEach((e, i) => { const s = span.get(e), t = pf.position_s[i]; span.set(e, s ? [Math.min(s[0], t), Math.max(s[1], t)] : [t, t]); });
  const part = (e: number, t: number) => { const [a, z] = span.get(e)!; return z > a ? (t - a) / (z - a) : 0.5; }; // of a piece's time
  const X = (e: number, t: number) => p.boxes[e].x + part(e, t) * p.boxes[e].w;
  const line = (points: [number, number][]) => points.map(([x, y], i) => (i ? "L" : "M") + x.toFixed(1) + " " + y.toFixed(1)).join("");
  const stated = p.boxes.map((_, e) => pf.element.map((k, i) => (k === e && pf.impedance_ohm[i] != null ? [X(e, pf.position_s[i]), Y(pf.impedance_ohm[i]!)] as [number, number] : null)).filter((q): q is [number, number] => !!q));
  const table = () => csv(["what", "piece", "position (ps, one way)", "impedance (ohm)", "up to (ohm)"], [
    ...pf.position_s.map((t, i) => ["stated", names[pf.element[i]], t * 1e12, pf.impedance_ohm[i], null]), ...pf.traced.flatMap((t) => t.position_s.map((s, i) => ["traced", names[t.element[i]], s * 1e12, t.impedance_ohm[i], null])),
    ...pf.bounds.map((b) => ["bound", names[b.element], null, b.low_ohm, b.high_ohm])]);
  const words = [...pf.traced.map((t) => `${names[t.from]}${t.to > t.from ? " to " + names[t.to] : ""} traced, ${trim(Math.min(...t.impedance_ohm), 4)} to ${trim(Math.max(...t.impedance_ohm), 4)} ohm`), ...pf.bounds.map((b) => `${names[b.element]} between ${trim(b.low_ohm, 3)} and ${trim(b.high_ohm, 3)} ohm`)];
  return <figure class="plot"><figcaption><span class="name">Impedance along the chain</span><span class="saves"><button type="button" aria-label="Save the profile as SVG" onClick={() => saveSVG(ref.current!, p.file)}>SVG</button><button type="button" aria-label="Save the profile as CSV" onClick={() => save(p.file + ".csv", "text/csv", table())}>CSV</button></span></figcaption>
    <svg ref={ref} width={p.width} height={H} viewBox={`0 0 ${p.width} ${H}`} role="img" aria-label={`Impedance along the chain. ${pf.says}. ${words.join("; ")}`}>
      {ticks(lo, hi, 4).map((z) => <g class="grid"><line x1={128} x2={p.width} y1={Y(z)} y2={Y(z)} /><text x={122} y={Y(z) + 4} text-anchor="end">{z} Ω</text></g>)}
      <line class="frame" x1={128} x2={p.width} y1={Y(pf.reference_ohm)} y2={Y(pf.reference_ohm)} />
      {p.boxes.map((b) => <line class="leader" x1={b.x} x2={b.x} y1={T} y2={H - B} />)}
      {pf.bounds.map((b) => { const box = p.boxes[b.element]; return <g><rect class="area b1" x={box.x + 1} y={Y(b.high_ohm)} width={Math.max(2, box.w - 2)} height={Math.max(1, Y(b.low_ohm) - Y(b.high_ohm))} /><path class="bracket" d={`M${box.x + 1} ${Y(b.high_ohm)}h${Math.max(2, box.w - 2)}M${box.x + 1} ${Y(b.low_ohm)}h${Math.max(2, box.w - 2)}`} />
        <title>{`${names[b.element]}: a return loss of ${db(b.return_loss_db, 1)} at ${ghz(b.at_hz)}; as one step ${trim(b.low_ohm, 4)} or ${trim(b.high_ohm, 4)} ohm`}</title></g>; })}
      {stated.map((q) => q.length > 0 && <path class="trace t3" d={line(q)} />)}
      {pf.traced.map((t) => <path class="trace t1" d={line(t.position_s.map((s, i) => [t.element[i], s, t.impedance_ohm[i]]).filter(([e, s]) => part(e, s) > -0.1 && part(e, s) < 1.1).map(([e, s, z]) => [X(e, s), Y(z)]))}><title>{`seen by an edge of ${time(t.rise_s)}`}</title></path>)}
      {p.boxes.map((b, e) => !pf.bounds.some((q) => q.element === e) && !pf.traced.some((t) => t.from <= e && e <= t.to) && !stated[e].length && b.w > 16 && <text x={b.x + b.w / 2} y={Y(pf.reference_ohm) - 5} text-anchor="middle">?</text>)}
    </svg>
    <ul class="legend">
      {!!pf.traced.length && <li><svg width="26" height="8" aria-hidden="true"><line class="trace t1" x1="0" x2="26" y1="4" y2="4" /></svg>seen by an edge of {time(Math.max(...pf.traced.map((t) => t.rise_s)))}, from a sweep to {ghz(pf.traced[0].top_hz)}</li>}
      {stated.some((q) => q.length) && <li><svg width="26" height="8" aria-hidden="true"><line class="trace t3" x1="0" x2="26" y1="4" y2="4" /></svg>stated</li>}
      {!!pf.bounds.length && <li><svg width="26" height="10" aria-hidden="true"><rect class="area b1" width="26" height="10" /></svg>where a single step would lie that makes the piece's whole reflection</li>}
      <li>{pf.says}</li></ul></figure>;
}
