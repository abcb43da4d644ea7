// One chain: drawn to scale, its ledger under the pieces, its plots under the
// ledger, and for each piece what could stand there instead.
import { useMemo, useRef, useState } from "preact/hooks";
import { call, get, Refused, type Alternatives, type Edit, type Element, type Full, type Shape, type Spec } from "./api";
import { Faults, Figure, Link, Verdict, Wait, csv, save, savePNG, saveSVG } from "./bits";
import { Plot, useWidth, type Mask } from "./plot";
import { editsOf, originOf } from "./answers";
import { address, changed, cursor, go, said, useLoad, withQuery, type Origin } from "./state";
import { celsius, db, ghz, grams, mm, money, signed, ticks, time, trim, type Num } from "./units";

export function Chain(p: { id: string; chain: string }) {
  const q = address.value.query, edits = editsOf(q), specText = q.get("spec"), swaps = q.getAll("s"), n = changed.value;
  const miss = p.chain.startsWith("m"), rank = p.chain.slice(1);
  const base = useLoad(p.id + p.chain + (specText ?? n), async (s) => specText ? null : get<Full>(`/enquiries/${p.id}/${miss ? "misses" : "proposals"}/${rank}`, s));
  const spec = useMemo(() => {
    const from: Spec | undefined = specText ? JSON.parse(specText) : base.data?.spec;
    if (!from) return;
    const out: Spec = JSON.parse(JSON.stringify(from));
    for (const s of swaps) { // part:piece:id or length:piece:text
      const [what, k, ...rest] = s.split(":"), piece = out.pieces[+k];
      if (piece) piece[what === "length" ? "length" : "part"] = rest.join(":");
    }
    if (swaps.length) out.name = out.pieces.map((x) => x.part).filter(Boolean).join(" + ");
    return out;
  }, [specText, base.data, swaps.join("|")]);
  const own = !!(specText || swaps.length);
  const changedFull = useLoad(own ? JSON.stringify([spec, edits]) : "", async (s) => (own && spec ? call<Full>("POST", "/predict", { spec, enquiry: p.id, edits }, s) : null));
  const full = own ? changedFull.data ?? base.data : base.data;
  const err = own ? changedFull.error : base.error;
  if (!full) return err ? <><p class="crumb"><Link to={"/enquiry/" + p.id}>Back to the answers</Link></p><Faults faults={err.faults} title="The chain could not be predicted" /></> : <Wait what="Predicting the chain …" />;
  return <View id={p.id} full={full} spec={spec ?? full.spec} edits={edits} busy={base.loading || (own && changedFull.loading)} error={own ? changedFull.error : undefined} swaps={swaps} />;
}

/** place gives each piece its place in the drawing, in pixels, and its column in the ledger. Rigid pieces are to scale; a broken one takes what is left. */
function place(shapes: Shape[], width: number) {
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

function View(p: { id: string; full: Full; spec: Spec; edits: Edit[]; busy: boolean; error?: Refused; swaps: string[] }) {
  const { prediction: pr, curves: c, drawing } = p.full, [ref, width] = useWidth<HTMLDivElement>(1100);
  const svg = useRef<SVGSVGElement>(null), lay = place(drawing.elements, width), q = address.value.query;
  const piece = q.get("piece") == null ? -1 : +q.get("piece")!;
  const setPiece = (k: number) => go(withQuery((u) => (k < 0 || k === piece ? u.delete("piece") : u.set("piece", String(k)))), true);
  const file = p.id + "-" + pr.chain.replace(/[^\w]+/g, "-");
  const f = c.frequency_hz;
  const masks = (quantity: string): Mask[] => c.limits.filter((l) => l.quantity === quantity && l.of !== "launch" && l.of !== "joint").map((l) => ({ name: `${l.quantity.replace("_", " ")} of ${l.of}`, points: l.points, above: l.above, wish: l.wish }));
  const [job, setJob] = useState("");
  const startYield = async () => { try { const j = await call<{ id: string; title: string }>("POST", "/jobs", { kind: "yield", enquiry: p.id, spec: p.spec, edits: p.edits }); setJob("started: see Jobs"); said.value = j.title + " started"; } catch (e) { setJob(e instanceof Refused ? e.message : String(e)); } };
  const hot = c.loss_db[c.loss_db.length - 1];
  return <div aria-busy={p.busy}>
    <header class="head"><div><p class="crumb"><Link to="/">Enquiries</Link> / <Link to={"/enquiry/" + p.id + (p.edits.length ? "?" + new URLSearchParams(p.edits.map((e) => ["e", e.path + "~" + (e.value ?? "")])) : "")}>{p.id}</Link></p><h1 class="mono">{pr.chain}</h1>
      <p>{pr.left_plane} to {pr.right_plane}; figures at {ghz(pr.at_hz)} and {celsius(pr.temperature_c)}. <Verdict is={pr.verdict} />{pr.binding_limit && <> tightest: {pr.binding_limit}</>}</p></div>
      <div class="tools">{p.swaps.length > 0 && <><button type="button" onClick={() => history.back()}>Undo</button><button type="button" onClick={() => go(withQuery((u) => u.delete("s")))}>As ranked</button></>}
        <button type="button" onClick={startYield}>Yield of built copies</button>{job && <small role="status">{job}</small>}<button type="button" onClick={() => print()}>Print</button></div></header>
    {p.error && <Faults faults={p.error.faults} title="This change cannot be predicted" />}
    <div ref={ref} class={"desk" + (p.busy ? " stale" : "")}>
      <figure class="plot drawing"><figcaption><span class="name">The chain, to scale <small>{drawing.elements.some((e) => e.guessed || e.height_m == null) ? "dashed: size not stated; " : ""}{drawing.elements.some((e) => e.broken) ? "a broken piece is drawn shorter" : ""}</small></span><span class="saves">
        <button type="button" aria-label="Save the drawing as SVG" onClick={() => saveSVG(svg.current!, file)}>SVG</button><button type="button" aria-label="Save the drawing as PNG" onClick={() => savePNG(svg.current!, file)}>PNG</button></span></figcaption>
        <Drawing svg={svg} shapes={drawing.elements} lay={lay} width={width} piece={piece} pick={setPiece} pr={pr.elements} />
      </figure>
      <Ledger full={p.full} cols={lay.cols} width={width} file={file} pick={setPiece} piece={piece} />
      {piece >= 0 && piece < p.spec.pieces.length && <Instead key={piece + JSON.stringify(p.spec)} id={p.id} spec={p.spec} piece={piece} edits={p.edits} close={() => setPiece(-1)} />}
      <Profile full={p.full} boxes={lay.boxes} width={width} file={file + "-profile"} />
      <div class="plots">
        <Plot title="Insertion loss" shared down x={f} xUnit="GHz" xScale={1e9} yUnit="dB" file={file + "-loss"} masks={masks("insertion_loss")}
          traces={c.loss_db.map((l, i) => ({ name: celsius(l.temperature_c), y: l.values, look: "t" + ((c.loss_db.length - 1 - i) % 4 + 1) }))}
          bands={hot ? [{ name: "mismatch may add", low: hot.values.map((v, i) => (c.mismatch_db[i] == null ? null : v)), high: hot.values.map((v, i) => (v == null || c.mismatch_db[i] == null ? null : v + c.mismatch_db[i]!)), look: "b1" }] : []} />
        <Plot title="Return loss, near end" shared x={f} xUnit="GHz" xScale={1e9} yUnit="dB" file={file + "-return-loss"} masks={masks("return_loss")}
          bands={[{ name: "worst to best: wholly cancelled where it has no upper end", low: c.return_loss_db.worst, high: c.return_loss_db.best ?? c.return_loss_db.worst, look: "b1" }]}
          traces={[{ name: "worst, every reflection in step", y: c.return_loss_db.worst, look: "t1" }, ...(c.return_loss_db.likely ? [{ name: "likely, 95 % of random phases", y: c.return_loss_db.likely, look: "t2" }] : []), ...(c.return_loss_db.nominal ? [{ name: "nominal", y: c.return_loss_db.nominal, look: "t4" }] : []), { name: "root of squares, no bound", y: c.return_loss_db.rss, look: "t3" }]} />
        <Plot title="Return loss, far end" shared x={f} xUnit="GHz" xScale={1e9} yUnit="dB" file={file + "-return-loss-far"} masks={masks("return_loss")}
          bands={[{ name: "worst to best", low: c.return_loss_far_end_db.worst, high: c.return_loss_far_end_db.best ?? c.return_loss_far_end_db.worst, look: "b1" }]}
          traces={[{ name: "worst", y: c.return_loss_far_end_db.worst, look: "t1" }, ...(c.return_loss_far_end_db.likely ? [{ name: "likely", y: c.return_loss_far_end_db.likely, look: "t2" }] : [])]} />
        <Plot title="Group delay" shared x={f} xUnit="GHz" xScale={1e9} yUnit="ns" digits={4} file={file + "-delay"} empty={"Nothing to draw: " + (c.group_delay_is || "a piece states no delay") + "."} traces={[{ name: c.group_delay_is || "group delay", y: (c.group_delay_s ?? []).map((v) => (v == null ? null : v * 1e9)), look: "t1" }]} />
      </div>
      <section class="cols2"><div class="margins"><h2>Margins</h2><table><caption class="hidden">Margins</caption><thead><tr><th scope="col">Limit</th><th scope="col" class="n">Asked</th><th scope="col" class="n">Worst</th><th scope="col" class="n">Likely</th><th scope="col" class="n">Margin</th><th scope="col">Verdict</th><th scope="col">Decided by</th></tr></thead><tbody>{pr.margins.map((m) => <tr class={m.verdict.replace(" ", "-")}><th scope="row">{m.limit}</th><td class="n">{m.limit_value == null ? "–" : trim(m.limit_value, 4)}</td><td class="n"><Figure text={m.worst == null ? "not stated" : trim(m.worst, 4)} from={originOf(m)} /></td><td class="n">{m.likely == null ? "–" : trim(m.likely, 4)}</td><td class="n">{m.margin == null ? "–" : trim(m.margin, 3)} <small>{m.unit}</small></td><td><Verdict is={m.verdict} /></td><td>{m.element}</td></tr>)}</tbody></table></div>
        <div><h2>Breaks first</h2><dl class="firsts">{Object.entries(pr.breaks_first).map(([k, v]) => <><dt>{k}</dt><dd>{v.element}: {v.says}</dd></>)}</dl>
          {!!pr.notes.length && <details><summary>{pr.notes.length} notes to these figures</summary><ul>{pr.notes.map((x) => <li>{x}</li>)}</ul></details>}
          {!!pr.cautions.length && <div class="caution"><h3>Cautions</h3><ul>{pr.cautions.map((x) => <li>{x}</li>)}</ul></div>}</div></section>
    </div>
  </div>;
}

function Drawing(p: { svg: { current: SVGSVGElement | null }; shapes: Shape[]; lay: ReturnType<typeof place>; width: number; piece: number; pick: (k: number) => void; pr: Element[] }) {
  const H = 190, axis = 76, mmpx = p.lay.scale, known = p.shapes.map((s) => s.height_m).filter((x): x is number => x != null);
  const usual = known.length ? Math.max(...known) * 1.35 : 0.005;
  const hot = p.shapes.map((s) => Math.min(60, Math.max(9, ((s.kind === "launch" || s.kind.includes("board line") ? 0.0012 : s.height_m ?? usual) * mmpx) / 2)));
  return <svg ref={p.svg} width={p.width} height={H} class="hardware" role="group" aria-label="The chain drawn to scale">
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
        {on && <rect class="ring" x={x + 1} y={8} width={w - 2} height={axis * 2 - 18} />}
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

interface LedgerRow { name: string; text: (e: Element, i: number) => string; rank: (e: Element, i: number) => Num; high: boolean; total: string; unit: string }

function Ledger(p: { full: Full; cols: { x: number; w: number }[]; width: number; file: string; pick: (k: number) => void; piece: number }) {
  const { prediction: pr, curves: c } = p.full, at = cursor.value, f = c.frequency_hz;
  const k = at == null || !f.length ? -1 : f.reduce((b, v, i) => (Math.abs(v - at) < Math.abs(f[b] - at) ? i : b), 0);
  const loss = (e: Element, i: number) => (k < 0 ? e.insertion_loss_db : c.per_element?.[i]?.loss_db?.[k]), rl = (e: Element, i: number) => (k < 0 ? e.return_loss_worst_db : c.per_element?.[i]?.return_loss_db?.[k]);
  const hot = c.loss_db[c.loss_db.length - 1];
  const rows: LedgerRow[] = [
    { name: "Loss", unit: "dB", text: (e, i) => db(loss(e, i)), rank: loss, high: true, total: db(k < 0 ? pr.insertion_loss_db : hot?.values[k]) },
    { name: "Return loss", unit: "dB", text: (e, i) => db(rl(e, i), 1), rank: rl, high: false, total: db(k < 0 ? pr.return_loss_db.worst : c.return_loss_db.worst[k], 1) },
    { name: "Delay", unit: "ns", text: (e) => time(e.delay_s), rank: (e) => e.delay_s, high: true, total: time(pr.delay_s) + (pr.delay_unknown.length ? " +" : "") },
    { name: "Mode-free limit", unit: "GHz", text: (e) => e.mode_free_limit_hz == null ? "not stated" : trim(e.mode_free_limit_hz / 1e9, 4) + " GHz", rank: (e) => e.mode_free_limit_hz, high: false, total: pr.mode_free_limit_hz == null ? "not stated" : trim(pr.mode_free_limit_hz / 1e9, 4) + " GHz" },
    { name: "Rated to", unit: "GHz", text: (e) => e.rated_hz == null ? "not stated" : trim(e.rated_hz / 1e9, 4) + " GHz", rank: (e) => e.rated_hz, high: false, total: "" },
    { name: "Temperature", unit: "°C", text: (e) => celsius(e.temperature_c), rank: () => null, high: true, total: celsius(pr.temperature_c) },
    { name: "Mass", unit: "g", text: (e) => grams(e.mass_kg), rank: (e) => e.mass_kg, high: true, total: grams(pr.mass_kg) },
    { name: "Price", unit: "", text: (e) => money(e.price), rank: (e) => e.price?.amount, high: true, total: money(pr.price) },
  ];
  const from = (e: Element, row: string, v: string): Origin => ({ title: `${row} of ${e.name}`, value: v, rows: [["Part", e.part ? `${e.part}, ${e.description}` : e.description], ["Known as", e.model], ["Comes from", e.source], ["At", `${ghz(k < 0 ? pr.at_hz : f[k])}, ${celsius(e.temperature_c)}`]], notes: e.notes });
  return <div class="ledgerwrap"><table class="ledger" style={{ width: p.width + "px" }}>
    <caption><span>Ledger at {ghz(k < 0 ? pr.at_hz : f[k])}</span> <span class="saves"><button type="button" aria-label="Save the ledger as CSV" onClick={() => save(p.file + "-ledger.csv", "text/csv", csv(["row", ...pr.elements.map((e) => e.name), "chain"], rows.map((r) => [r.name, ...pr.elements.map((e, i) => r.text(e, i)), r.total])))}>CSV</button></span></caption>
    <colgroup><col style={{ width: Math.max(60, p.cols[0].x) + "px" }} />{p.cols.map((col, i) => <col style={{ width: (i + 1 < p.cols.length ? p.cols[i + 1].x : p.width) - col.x + "px" }} />)}</colgroup>
    <thead><tr><th scope="col"><span class="chainword">Chain</span></th>{pr.elements.map((e, i) => <th scope="col" class={p.piece === i ? "on" : ""}><button type="button" class="piecename" onClick={() => p.pick(i)} aria-pressed={p.piece === i}>{e.name}<b>{e.part || e.kind}</b></button></th>)}</tr></thead>
    <tbody>{rows.map((r) => {
      const v = pr.elements.map((e, i) => r.rank(e, i)), got = v.filter((x): x is number => x != null);
      const worst = got.length > 1 && got.some((x) => x !== got[0]) ? (r.high ? Math.max(...got) : Math.min(...got)) : NaN;
      return <tr><th scope="row">{r.name}<b>{r.total === "not stated" ? "–" : r.total}</b></th>{pr.elements.map((e, i) => { const t = r.text(e, i); return <td><Figure text={t} worst={v[i] === worst} from={from(e, r.name, t)} /></td>; })}</tr>;
    })}</tbody></table></div>;
}

function Profile(p: { full: Full; boxes: { x: number; w: number }[]; width: number; file: string }) {
  const pf = p.full.curves.profile, ref = useRef<SVGSVGElement>(null);
  const known = pf.impedance_ohm.filter((v): v is number => v != null);
  if (!known.length) return <p class="profilewords">Impedance along the chain: no piece states its line impedance or its S-parameters, so there is nothing to draw.</p>;
  const lo = Math.min(45, ...known) - 2, hi = Math.max(55, ...known) + 2, H = 120, Y = (z: number) => 10 + ((hi - z) / (hi - lo)) * (H - 24);
  const span = new Map<number, [number, number]>();
  pf.element.forEach((e, i) => { const s = span.get(e), t = pf.position_s[i]; span.set(e, s ? [Math.min(s[0], t), Math.max(s[1], t)] : [t, t]); });
  const X = (e: number, t: number) => { const b = p.boxes[e], [a, z] = span.get(e)!; return b.x + (z > a ? (t - a) / (z - a) : 0.5) * b.w; };
  let d = "", pen = false;
  pf.impedance_ohm.forEach((z, i) => { if (z == null) { pen = false; return; } d += (pen ? "L" : "M") + X(pf.element[i], pf.position_s[i]).toFixed(1) + " " + Y(z).toFixed(1); pen = true; });
  return <figure class="plot"><figcaption><span class="name">Impedance along the chain</span><span class="saves"><button type="button" aria-label="Save the profile as SVG" onClick={() => saveSVG(ref.current!, p.file)}>SVG</button><button type="button" aria-label="Save the profile as CSV" onClick={() => save(p.file + ".csv", "text/csv", csv(["position (ps, one way)", "impedance (ohm)", "piece"], pf.position_s.map((t, i) => [t * 1e12, pf.impedance_ohm[i], p.full.prediction.elements[pf.element[i]]?.name])))}>CSV</button></span></figcaption>
    <svg ref={ref} width={p.width} height={H} role="img" aria-label={`Impedance along the chain, from ${Math.min(...known).toFixed(1)} to ${Math.max(...known).toFixed(1)} ohm`}>
      {p.boxes.map((b, i) => <g><line class="leader" x1={b.x} x2={b.x} y1={4} y2={H - 8} />{!pf.element.some((e, j) => e === i && pf.impedance_ohm[j] != null) && <rect class="hatched" x={b.x} y={Y(55)} width={b.w} height={Y(45) - Y(55)}><title>not stated</title></rect>}</g>)}
      {ticks(lo, hi, 4).map((z) => <g class="grid"><line x1={128} x2={p.width} y1={Y(z)} y2={Y(z)} /><text x={122} y={Y(z) + 4} text-anchor="end">{z} Ω</text></g>)}
      <path class="trace t1" d={d} /></svg></figure>;
}

function Instead(p: { id: string; spec: Spec; piece: number; edits: Edit[]; close: () => void }) {
  const s = useLoad("x", (sig) => call<Alternatives>("POST", "/alternatives", { spec: p.spec, enquiry: p.id, edits: p.edits, piece: p.piece }, sig));
  const here = p.spec.pieces[p.piece], [len, setLen] = useState(here.length ?? "");
  const put = (what: string, v: string) => go(withQuery((u) => {
    const rest = u.getAll("s").filter((x) => !x.startsWith(`${what}:${p.piece}:`));
    u.delete("s");
    rest.forEach((x) => u.append("s", x));
    u.append("s", `${what}:${p.piece}:${v}`);
  }));
  const ok = s.data?.options.filter((o) => !o.refused?.length) ?? [], no = s.data?.options.filter((o) => o.refused?.length) ?? [];
  return <section class="instead" aria-label={`Instead of ${here.name}`}><h2>{here.name}: what could stand here <button type="button" onClick={p.close}>Close</button></h2>
    {here.length != null && <form class="tools" onSubmit={(e) => { e.preventDefault(); put("length", len); }}><label>Length <input value={len} onInput={(e) => setLen(e.currentTarget.value)} /></label><button type="submit">Predict this length</button></form>}
    {!s.data ? s.error ? <Faults faults={s.error.faults} /> : <Wait what="Trying the catalogue's other parts …" /> : !ok.length && !no.length ? <p class="none">No other part of the catalogue fits here.</p> :
      <><div class="scroll" tabIndex={0} role="region" aria-label="Alternatives"><table><thead><tr><th scope="col">Part</th><th scope="col">Verdict</th><th scope="col" class="n">Loss</th><th scope="col" class="n">Return loss, worst</th><th scope="col" class="n">Delay</th><th scope="col" class="n">Mode-free limit</th><th scope="col" class="n">Mass</th><th scope="col" class="n">Price</th></tr></thead>
        <tbody>{ok.slice(0, 40).map((o) => { const c = o.changes; return <tr class={o.part === here.part ? "on" : ""}><th scope="row"><button type="button" class="swap" onClick={() => put("part", o.part)} disabled={o.part === here.part}>{o.part}</button> <small>{o.description}</small></th><td><Verdict is={o.verdict} /></td>
          <td class="n">{signed(db(c?.insertion_loss_db))}</td><td class="n">{signed(db(c?.return_loss_worst_db))}</td><td class="n">{signed(time(c?.delay_s))}</td><td class="n">{signed(ghz(c?.mode_free_limit_hz))}</td><td class="n">{signed(grams(c?.mass_kg))}</td><td class="n">{signed(money(c?.price))}</td></tr>; })}</tbody></table></div>
        {!!no.length && <details><summary>{no.length} parts that do not fit, and why</summary><ul>{no.slice(0, 100).map((o) => <li><b class="mono">{o.part}</b> {o.refused!.join("; ")}</li>)}</ul></details>}</>}
  </section>;
}
