// One chain: drawn to scale, its ledger under the pieces, its plots under the
// ledger, and for each piece what could stand there instead. It comes from an
// answer, or from a file of the workspace.
import { useMemo, useRef, useState } from "preact/hooks";
import { call, get, Refused, type ChainFile, type Edit, type EnquiryRow, type Full, type Spec } from "./api";
import { editsOf } from "./answers";
import { Faults, Figure, Link, Verdict, Wait, saveSVG, savePNG } from "./bits";
import { Drawing, place } from "./drawing";
import { Instead } from "./instead";
import { Keep } from "./keep";
import { Ledger } from "./ledger";
import { ofDelay, ofLoss, ofMargin, ofReturn } from "./origins";
import { Plot, useWidth, type Mask } from "./plot";
import { Profile } from "./profile";
import { address, changed, go, said, useLoad, withQuery } from "./state";
import { celsius, ghz, trim } from "./units";

/** Chain is a chain of the answer to an enquiry: p1 its first proposal, m1 its nearest miss; with edits that are not saved its pieces travel in the address. */
export function Chain(p: { id: string; chain: string }) {
  const q = address.value.query, edits = editsOf(q), given = q.get("spec"), n = changed.value;
  const miss = p.chain.startsWith("m"), rank = p.chain.slice(1);
  const base = useLoad(p.id + p.chain + (given ?? n), async (s) => given ? null : get<Full>(`/enquiries/${p.id}/${miss ? "misses" : "proposals"}/${rank}`, s));
  const from = useMemo<Spec | undefined>(() => (given ? JSON.parse(given) : base.data?.spec), [given, base.data]);
  return <Predicted id={p.id} from={from} edits={edits} whole={base.data ?? undefined} error={base.error} loading={base.loading} always={!!given} />;
}

/** ChainOfFile is a chain of the workspace's folder. */
export function ChainOfFile(p: { name: string }) {
  const q = address.value.query, n = changed.value;
  const file = useLoad(p.name + n, (s) => get<ChainFile>("/chains/" + p.name, s));
  const id = q.get("enquiry") ?? file.data?.enquiry ?? "";
  const base = useLoad(p.name + id + (file.data?.etag ?? ""), async (s) => (file.data && id ? call<Full>("POST", "/predict", { chain: p.name, enquiry: id }, s) : null));
  const spec = useMemo<Spec | undefined>(() => file.data?.spec, [file.data]);
  if (!file.data) return <><Back to="/chains" words="Chains" /><h1>{p.name}</h1>{file.error ? <Faults faults={file.error.faults} title="The chain could not be read" /> : <Wait what="Reading the chain …" />}</>;
  if (!id) return <><Back to="/chains" words="Chains" /><h1>{file.data.name || p.name}</h1><Against /></>;
  return <Predicted id={id} from={spec} edits={[]} whole={base.data ?? undefined} error={base.error} loading={base.loading} file={file.data} />;
}

function Back(p: { to: string; words: string }) {
  return <p class="crumb"><Link to={p.to}>{p.words}</Link></p>;
}

/** Against asks for the enquiry whose band and limits a chain is held against. */
function Against() {
  const list = useLoad("e", (s) => get<{ enquiries: EnquiryRow[] }>("/enquiries", s));
  return <p class="tools"><label>This chain names no enquiry. Hold it against <select onChange={(e) => go(withQuery((u) => u.set("enquiry", e.currentTarget.value)))}><option value="">choose one</option>{list.data?.enquiries.filter((x) => x.id).map((x) => <option value={x.id}>{x.title}</option>)}</select></label></p>;
}

/** exchanged is a chain with the swaps of the address: part:piece:id or length:piece:text. */
function exchanged(from: Spec, swaps: string[]): Spec {
  const out: Spec = JSON.parse(JSON.stringify(from));
  for (const s of swaps) {
    const [what, k, ...rest] = s.split(":"), piece = out.pieces[+k];
    if (piece) piece[what === "length" ? "length" : "part"] = rest.join(":");
  }
  if (swaps.length) out.name = out.pieces.map((x) => x.part).filter(Boolean).join(" + ");
  return out;
}

interface Source { id: string; from?: Spec; edits: Edit[]; whole?: Full; error?: Refused; loading: boolean; always?: boolean; file?: ChainFile }

/** Predicted shows a chain as it comes, or with swaps: these are predicted anew. */
function Predicted(p: Source) {
  const swaps = address.value.query.getAll("s"), own = !!p.always || swaps.length > 0;
  const spec = useMemo(() => p.from && exchanged(p.from, swaps), [p.from, swaps.join("|")]);
  const anew = useLoad(own ? JSON.stringify([spec, p.edits]) : "", async (s) => (own && spec ? call<Full>("POST", "/predict", { spec, enquiry: p.id, edits: p.edits }, s) : null));
  const full = own ? anew.data ?? p.whole : p.whole, error = own ? anew.error ?? p.error : p.error;
  if (!full) return <><Back to={"/enquiry/" + p.id} words="Back to the answers" /><h1>{spec?.name || "Chain"}</h1>{error ? <Faults faults={error.faults} title="The chain could not be predicted" /> : <Wait what="Predicting the chain …" />}</>;
  return <View id={p.id} full={full} spec={spec ?? full.spec} edits={p.edits} busy={p.loading || (own && anew.loading)} error={own ? anew.error : undefined} swaps={swaps} file={p.file} />;
}

export function View(p: { id: string; full: Full; spec: Spec; edits: Edit[]; busy: boolean; error?: Refused; swaps: string[]; file?: ChainFile }) {
  const { prediction: pr, curves: c, drawing } = p.full, [ref, width] = useWidth<HTMLDivElement>(1100);
  const svg = useRef<SVGSVGElement>(null), lay = place(drawing.elements, width), q = address.value.query;
  const piece = q.get("piece") == null ? -1 : +q.get("piece")!;
  const setPiece = (k: number) => go(withQuery((u) => (k < 0 || k === piece ? u.delete("piece") : u.set("piece", String(k)))), true);
  const file = p.id + "-" + pr.chain.replace(/[^\w]+/g, "-"), f = c.frequency_hz;
  const masks = (quantity: string): Mask[] => c.limits.filter((l) => l.quantity === quantity && l.of !== "launch" && l.of !== "joint").map((l) => ({ name: `${l.quantity.replace("_", " ")} of ${l.of}`, points: l.points, above: l.above, wish: l.wish }));
  const hot = c.loss_db[c.loss_db.length - 1], enquiry = "/enquiry/" + p.id + (p.edits.length ? "?" + new URLSearchParams(p.edits.map((e) => ["e", e.path + "~" + (e.value ?? "")])) : "");
  return <div aria-busy={p.busy}>
    <header class="head"><div><p class="crumb">{p.file ? <><Link to="/chains">Chains</Link> / {p.file.file}, against <Link to={enquiry}>{p.id}</Link></> : <><Link to="/">Enquiries</Link> / <Link to={enquiry}>{p.id}</Link></>}</p><h1 class="mono">{pr.chain}</h1>
      <p>{pr.left_plane} to {pr.right_plane}; figures at {ghz(pr.at_hz)} and {celsius(pr.temperature_c)}. <Verdict is={pr.verdict} />{pr.binding_limit && <> tightest: {pr.binding_limit}</>}{p.file?.note && <><br />{p.file.note}</>}</p></div>
      <div class="tools">{p.swaps.length > 0 && <><button type="button" onClick={() => history.back()}>Undo</button><button type="button" onClick={() => go(withQuery((u) => u.delete("s")))}>{p.file ? "As in the file" : "As ranked"}</button></>}
        <Keep id={p.id} spec={p.spec} swaps={p.swaps} file={p.file} /><StartYield id={p.id} spec={p.spec} edits={p.edits} /><button type="button" onClick={() => print()}>Print</button></div></header>
    {p.error && <Faults faults={p.error.faults} title="This change cannot be predicted" />}
    <div ref={ref} class={"desk" + (p.busy ? " stale" : "")}>
      <figure class="plot drawing"><figcaption><span class="name">The chain, to scale <small>{[drawing.elements.some((e) => e.guessed || e.height_m == null) && "dashed: size not stated", drawing.elements.some((e) => e.broken) && "a broken piece is drawn shorter"].filter(Boolean).join("; ")}</small></span><span class="saves">
        <button type="button" aria-label="Save the drawing as SVG" onClick={() => saveSVG(svg.current!, file)}>SVG</button><button type="button" aria-label="Save the drawing as PNG" onClick={() => savePNG(svg.current!, file)}>PNG</button></span></figcaption>
        <Drawing svg={svg} shapes={drawing.elements} lay={lay} width={width} piece={piece} pick={setPiece} pr={pr.elements} />
      </figure>
      <Ledger full={p.full} cols={lay.cols} width={width} file={file} pick={setPiece} piece={piece} />
      {piece >= 0 && piece < p.spec.pieces.length && <Instead key={piece + JSON.stringify(p.spec)} id={p.id} spec={p.spec} piece={piece} edits={p.edits} close={() => setPiece(-1)} />}
      <Profile full={p.full} boxes={lay.boxes} width={width} file={file + "-profile"} />
      <div class="plots">
        <Plot title="Insertion loss" shared down x={f} xUnit="GHz" xScale={1e9} yUnit="dB" file={file + "-loss"} masks={masks("insertion_loss")} from={(t, k) => ofLoss(p.full, t, c.loss_db.find((l) => celsius(l.temperature_c) === t)?.values[k], k)}
          traces={c.loss_db.map((l, i) => ({ name: celsius(l.temperature_c), y: l.values, look: "t" + ((c.loss_db.length - 1 - i) % 4 + 1) }))}
          bands={hot ? [{ name: "mismatch may add", low: hot.values.map((v, i) => (c.mismatch_db[i] == null ? null : v)), high: hot.values.map((v, i) => (v == null || c.mismatch_db[i] == null ? null : v + c.mismatch_db[i]!)), look: "b1" }] : []} />
        <Reflection title="Return loss, near end" of={c.return_loss_db} full={p.full} file={file + "-return-loss"} masks={masks("return_loss")} all />
        <Reflection title="Return loss, far end" of={c.return_loss_far_end_db} full={p.full} file={file + "-return-loss-far"} masks={masks("return_loss")} />
        <Plot title="Group delay" shared x={f} xUnit="GHz" xScale={1e9} yUnit="ns" digits={4} file={file + "-delay"} empty={"Nothing to draw: " + (c.group_delay_is || "a piece states no delay").replace(/^not known: /, "") + "."} from={(_, k) => ofDelay(p.full, c.group_delay_s?.[k] == null ? null : c.group_delay_s[k]! * 1e9, k)}
          traces={[{ name: c.group_delay_is || "group delay", y: (c.group_delay_s ?? []).map((v) => (v == null ? null : v * 1e9)), look: "t1" }]} />
      </div>
      <section class="cols2"><div class="margins"><h2>Margins</h2><table><caption class="hidden">Margins</caption><thead><tr><th scope="col">Limit</th><th scope="col" class="n">Asked</th><th scope="col" class="n">Worst</th><th scope="col" class="n">Likely</th><th scope="col" class="n">Margin</th><th scope="col">Verdict</th><th scope="col">Decided by</th></tr></thead>
        <tbody>{pr.margins.map((m) => <tr class={m.verdict.replace(" ", "-")}><th scope="row">{m.limit}</th><td class="n">{m.limit_value == null ? "–" : trim(m.limit_value, 4)}</td><td class="n"><Figure text={m.worst == null ? "not stated" : trim(m.worst, 4)} from={ofMargin(m)} /></td><td class="n">{m.likely == null ? "–" : trim(m.likely, 4)}</td>
          <td class="n">{m.margin == null ? "–" : <Figure text={trim(m.margin, 3)} from={ofMargin(m)} label={"Margin to " + m.limit} />} <small>{m.unit}</small></td><td><Verdict is={m.verdict} /></td><td>{m.element}</td></tr>)}</tbody></table></div>
        <div><h2>Breaks first</h2><dl class="firsts">{Object.entries(pr.breaks_first).map(([k, v]) => <><dt>{k}</dt><dd>{v.element}: {v.says}</dd></>)}</dl>
          {!!pr.notes.length && <details><summary>{pr.notes.length} {pr.notes.length === 1 ? "note" : "notes"} to these figures</summary><ul>{pr.notes.map((x) => <li>{x}</li>)}</ul></details>}
          {!!pr.cautions.length && <div class="caution"><h3>Cautions</h3><ul>{pr.cautions.map((x) => <li>{x}</li>)}</ul></div>}</div></section>
    </div>
  </div>;
}

/** Reflection is the return loss at one end as a band from worst to best. */
function Reflection(p: { title: string; of: Full["curves"]["return_loss_db"]; full: Full; file: string; masks: Mask[]; all?: boolean }) {
  const r = p.of, traces = [{ name: "worst, every reflection in step", y: r.worst, look: "t1" }];
  if (r.likely) traces.push({ name: "likely, 95 % of random phases", y: r.likely, look: "t2" });
  if (r.nominal) traces.push({ name: "nominal, all phases known", y: r.nominal, look: "t4" });
  if (p.all) traces.push({ name: "root of squares, no bound", y: r.rss, look: "t3" });
  return <Plot title={p.title} shared x={p.full.curves.frequency_hz} xUnit="GHz" xScale={1e9} yUnit="dB" file={p.file} masks={p.masks} traces={traces}
    from={(t, k) => ofReturn(p.full, t, traces.find((x) => x.name === t)?.y[k], k)}
    bands={[{ name: "worst to best: wholly cancelled where it has no upper end", low: r.worst, high: r.best ?? r.worst, look: "b1" }]} />;
}

function StartYield(p: { id: string; spec: Spec; edits: Edit[] }) {
  const [state, set] = useState<{ id?: string; text: string } | null>(null);
  const start = async () => {
    try {
      const j = await call<{ id: string; title: string }>("POST", "/jobs", { kind: "yield", enquiry: p.id, spec: p.spec, edits: p.edits });
      set({ id: j.id, text: "started" });
      said.value = j.title + " started";
    } catch (e) { set({ text: e instanceof Refused ? e.message : String(e) }); }
  };
  return <><button type="button" onClick={start}>Yield of built copies</button>{state && <small role="status">{state.id ? <Link to={"/jobs/" + state.id}>{state.text}: see the job</Link> : state.text}</small>}</>;
}
