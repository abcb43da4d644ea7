// A chain's hardware to scale, from left to right, and where each piece stands:
// the ledger and the profile below keep to the same places.
import type { Element, Shape } from "./api";
import { mm, trim } from "./units";

/** Layout is where the pieces of a chain stand, in pixels. */
export type Layout = ReturnType<typeof place>;

/** place gives each piece its place in the drawing, in pixels, and its column in the ledger. Rigid pieces are to scale; a broken one takes what is left. */
export function place(shapes: Shape[], width: number) {
  const W = width - 128; // the ledger's row names stand left
  const len = (s: Shape) => Math.max(1e-4, s.x1_m - s.x0_m);
  const rigid = shapes.filter((s) => !s.broken).reduce((a, s) => a + len(s), 0), broken = shapes.filter((s) => s.broken).length;
  const tall = Math.max(0.002, ...shapes.map((s) => s.height_m ?? s.bore_m ?? 0));
  const scale = Math.min((W * (broken ? 0.72 : 0.98)) / Math.max(rigid, 1e-4), 96 / tall); // px per metre
  const rest = W - rigid * scale;
  const wide = shapes.map((s) => (s.broken ? rest / broken : len(s) * scale));
  let x = 128 + (W - wide.reduce((a, b) => a + b, 0)) / 2;
  const boxes = wide.map((w) => { const b = { x, w }; x += w; return b; });
  // Columns: at least 84 px, as near to their pieces as that allows.
  const need = Math.min(84, W / shapes.length), cols = boxes.map((b) => { const w = Math.max(need, b.w); return { x: b.x + b.w / 2 - w / 2, w }; });
  for (let i = 1; i < cols.length; i++) cols[i].x = Math.max(cols[i].x, cols[i - 1].x + cols[i - 1].w);
  let end = width;
  for (let i = cols.length - 1; i >= 0; i--) { if (cols[i].x + cols[i].w > end) { cols[i].w = Math.max(need, Math.min(cols[i].w, end - (i ? cols[i - 1].x + need : 128))); cols[i].x = Math.min(cols[i].x, end - cols[i].w); } end = cols[i].x; }
  if (cols[0] && cols[0].x < 128) { const w = W / cols.length; cols.forEach((c, i) => { c.x = 128 + i * w; c.w = w; }); }
  return { scale, boxes, cols };
}

export function Drawing(p: { svg: { current: SVGSVGElement | null }; shapes: Shape[]; lay: Layout; width: number; piece: number; pick: (k: number) => void; pr: Element[] }) {
  const H = 190, axis = 76, mmpx = p.lay.scale, known = p.shapes.map((s) => s.height_m).filter((x): x is number => x != null);
  const usual = known.length ? Math.max(...known) * 1.35 : 0.005;
  const hot = p.shapes.map((s) => Math.min(60, Math.max(9, ((s.kind === "launch" || s.kind.includes("board line") ? 0.0012 : s.height_m ?? usual) * mmpx) / 2)));
  return <svg ref={p.svg} width={p.width} height={H} viewBox={`0 0 ${p.width} ${H}`} class="hardware" role="group" aria-label="The chain drawn to scale">
    <defs>
      <pattern id="cut" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><line class="hatch" x1="0" x2="0" y1="0" y2="6" /></pattern>
      <pattern id="fill" width="4" height="4" patternUnits="userSpaceOnUse"><circle class="stipple" cx="1" cy="1" r="0.6" /></pattern>
    </defs>
    {p.shapes.map((s, i) => {
      const { x, w } = p.lay.boxes[i], h = hot[i], dash = s.guessed || s.height_m == null ? " guessed" : "", on = p.piece === i;
      const pin = Math.min(h * 0.5, Math.max(1.2, ((s.pin_m ?? (s.bore_m ?? 0) * 0.33) * mmpx) / 2)), bore = Math.min(h - 2, Math.max(pin + 2, ((s.bore_m ?? 0) * mmpx) / 2 || h * 0.5));
      const words = `${s.name}${s.part ? ", " + s.part : ""}: ${s.length_m != null ? mm(s.length_m) + " long" : "length not stated"}, ${s.height_m != null ? mm(s.height_m) + (s.kind.includes("board") ? " thick" : " across") : "width not stated"}${s.bore_m != null ? ", bore " + mm(s.bore_m) : ""}${s.permittivity != null ? ", permittivity " + trim(s.permittivity, 3) : ""}${s.note ? "; " + s.note : ""}`;
      const cx = x + w / 2, col = p.lay.cols[i], colx = col.x + col.w / 2;
      return <g class={"piece" + dash + (on ? " on" : "")} role="button" tabindex={0} aria-pressed={on} aria-label={words + ". Show what could stand here instead"} onClick={() => p.pick(i)} onKeyDown={(e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); p.pick(i); } }}>
        <title>{words}</title>
        <rect class="touch" x={x} y={6} width={w} height={axis * 2 - 12} />
        {s.kind === "launch" || s.kind.includes("line") ? <g>
          <rect class="board" x={x} y={axis + 3} width={w} height={h} /><rect class="copper" x={x} y={axis} width={w} height={3} /><rect class="copper" x={x} y={axis + 3 + h} width={w} height={3} />
          {w > 30 && s.kind === "launch" && <rect class="copper" x={i < p.shapes.length / 2 ? x + w - 8 : x + 4} y={axis + 3} width={4} height={h} />}</g>
          : s.kind === "cable" ? <g>
            <rect class="body" x={x} y={axis - h} width={w} height={2 * h} />
            <rect class="metal" x={x} y={axis - Math.min(h - 2, bore + 4)} width={w} height={2 * Math.min(h - 2, bore + 4)} />
            <rect class="core" x={x} y={axis - bore} width={w} height={2 * bore} /><rect class="core dots" x={x} y={axis - bore} width={w} height={2 * bore} /><rect class="pin" x={x} y={axis - pin} width={w} height={2 * pin} />
            {s.broken && <g><path class="gap" d={`M${cx - 7} ${axis - h - 5}q10 ${h * 0.6} 0 ${h + 5}t0 ${h + 5}h14q10 ${-h * 0.6} 0 ${-h - 5}t0 ${-h - 5}z`} /><path class="line" d={`M${cx - 7} ${axis - h - 5}q10 ${h * 0.6} 0 ${h + 5}t0 ${h + 5}M${cx + 7} ${axis - h - 5}q10 ${h * 0.6} 0 ${h + 5}t0 ${h + 5}`} /></g>}</g>
            : <g>
              <Body x={x} w={w} h={h} axis={axis} kind={s.kind} near={i < p.shapes.length / 2} />
              <rect class="core" x={x} y={axis - bore} width={w} height={2 * bore} /><rect class="pin" x={x} y={axis - pin} width={w} height={2 * pin} /></g>}
        {on && <rect class="ring" x={x + 1} y={8} width={w - 2} height={axis * 2 - 34} />}
        <path class="leader" d={`M${cx} ${152}V${164}L${colx} ${178}V${H}`} />
        <text class="dim" x={cx} y={147} text-anchor="middle">{s.length_m != null ? (w > 34 ? mm(s.length_m) : trim(s.length_m * 1e3, 3)) : "?"}</text>
        <g class="dimension"><path d={`M${x + 1} 128V140M${x + w - 1} 128V140M${x + 1} 134H${x + w - 1}`} /><path d={`M${x - 2} 137l6 -6M${x + w - 4} 137l6 -6`} /></g>
      </g>;
    })}
    <line class="axisline" x1={p.lay.boxes[0].x - 14} x2={p.lay.boxes[p.lay.boxes.length - 1].x + p.lay.boxes[p.lay.boxes.length - 1].w + 14} y1={axis} y2={axis} />
    <g class="scalebar">{scaleBar(mmpx)}</g>
  </svg>;
}

function scaleBar(pxPerM: number) {
  const w = [1, 2, 5, 10, 20, 50].find((m) => m * 1e-3 * pxPerM >= 40) ?? 100;
  const px = w * 1e-3 * pxPerM;
  return <><path d={`M8 30v-8M8 26h${px}M${8 + px} 30v-8`} /><text x={8} y={44}>{w} mm</text></>;
}

/** Body is a connector's outline in section: flange or coupling nut, neck. */
function Body(p: { x: number; w: number; h: number; axis: number; kind: string; near: boolean }) {
  const { x, w, h, axis } = p, board = p.kind.startsWith("board"), a = board ? 0.35 : 0.55, n = h * 0.78;
  const wide = (board ? !p.near : p.near) ? [x, a * w] : [x + w - a * w, a * w]; // the coupling looks towards the mate
  if (p.kind.includes("gap")) return <path class="line" stroke-dasharray="2 2" d={`M${x} ${axis - h}V${axis + h}M${x + w} ${axis - h}V${axis + h}`} />;
  if (!p.kind.includes("connector")) return <g><rect class="metal" x={x} y={axis - n} width={w} height={2 * n} /><rect class="hatched" x={x} y={axis - n} width={w} height={2 * n} /></g>;
  const flip = board ? (p.near ? [x, a * w] : [x + w - a * w, a * w]) : wide;
  return <g><rect class="metal" x={x} y={axis - n} width={w} height={2 * n} /><rect class="hatched" x={x} y={axis - n} width={w} height={2 * n} />
    <rect class="metal" x={flip[0]} y={axis - h} width={flip[1]} height={2 * h} /><rect class="hatched" x={flip[0]} y={axis - h} width={flip[1]} height={2 * h} /></g>;
}

