// The ledger: what each piece of a chain loses, reflects, delays and costs, under
// the piece itself, the worst of each row marked.
import type { Element, Full } from "./api";
import { Figure, csv, save } from "./bits";
import { chainFigures, ofElement, ofLoss, ofReturn } from "./origins";
import { cursor, type Origin } from "./state";
import { celsius, db, ghz, grams, money, time, trim, type Num } from "./units";

interface LedgerRow {
  name: string;
  text: (e: Element, i: number) => string;
  rank: (e: Element, i: number) => Num; // by which the worst is found
  high: boolean; // the highest is the worst
  total?: { text: string; from: () => Origin };
}

/** nearest is the index of the frequency next to the cursor; −1: there is no cursor. */
export function nearest(f: number[], at: number | null): number {
  return at == null || !f.length ? -1 : f.reduce((b, v, i) => (Math.abs(v - at) < Math.abs(f[b] - at) ? i : b), 0);
}

export function Ledger(p: { full: Full; cols: { x: number; w: number }[]; width: number; file: string; pick: (k: number) => void; piece: number }) {
  const { prediction: pr, curves: c } = p.full, f = c.frequency_hz, k = nearest(f, cursor.value), at = k < 0 ? pr.at_hz : f[k];
  const loss = (e: Element, i: number) => (k < 0 ? e.insertion_loss_db : c.per_element?.[i]?.loss_db?.[k]);
  const reflection = (e: Element, i: number) => (k < 0 ? e.return_loss_worst_db : c.per_element?.[i]?.return_loss_db?.[k]);
  const gigahertz = (x: Num) => (x == null ? "not stated" : trim(x / 1e9, 4) + " GHz");
  const hot = c.loss_db[c.loss_db.length - 1], whole = (name: string) => ({ text: chainFigures[name].text(pr), from: () => chainFigures[name].from(pr) });
  const rows: LedgerRow[] = [
    { name: "Loss", text: (e, i) => db(loss(e, i)), rank: loss, high: true, total: k < 0 ? whole("loss") : { text: db(hot?.values[k]), from: () => ofLoss(p.full, celsius(hot?.temperature_c), hot?.values[k], k) } },
    { name: "Return loss", text: (e, i) => db(reflection(e, i), 1), rank: reflection, high: false, total: k < 0 ? whole("worst") : { text: db(c.return_loss_db.worst[k], 1), from: () => ofReturn(p.full, "worst", c.return_loss_db.worst[k], k) } },
    { name: "Delay", text: (e) => time(e.delay_s), rank: (e) => e.delay_s, high: true, total: { ...whole("delay"), text: time(pr.delay_s) + (pr.delay_unknown.length ? " +" : "") } },
    { name: "Mode-free limit", text: (e) => gigahertz(e.mode_free_limit_hz), rank: (e) => e.mode_free_limit_hz, high: false, total: { ...whole("mode"), text: gigahertz(pr.mode_free_limit_hz) } },
    { name: "Rated to", text: (e) => gigahertz(e.rated_hz), rank: (e) => e.rated_hz, high: false },
    { name: "Temperature", text: (e) => celsius(e.temperature_c), rank: () => null, high: true },
    { name: "Mass", text: (e) => grams(e.mass_kg), rank: (e) => e.mass_kg, high: true, total: whole("mass") },
    { name: "Price", text: (e) => money(e.price), rank: (e) => e.price?.amount, high: true, total: whole("price") },
  ];
  const table = () => csv(["row", ...pr.elements.map((e) => e.name), "chain"], rows.map((r) => [r.name, ...pr.elements.map((e, i) => r.text(e, i)), r.total?.text]));
  return <div class="ledgerwrap" tabIndex={0} role="region" aria-label="Ledger"><table class="ledger" style={{ width: p.width + "px" }}>
    <caption><span>Ledger at {ghz(at)}</span> <span class="saves"><button type="button" aria-label="Save the ledger as CSV" onClick={() => save(p.file + "-ledger.csv", "text/csv", table())}>CSV</button></span></caption>
    <colgroup><col style={{ width: Math.max(60, p.cols[0].x) + "px" }} />{p.cols.map((col, i) => <col style={{ width: (i + 1 < p.cols.length ? p.cols[i + 1].x : p.width) - col.x + "px" }} />)}</colgroup>
    <thead><tr><th scope="col"><span class="chainword">Chain</span></th>{pr.elements.map((e, i) => <th scope="col" class={p.piece === i ? "on" : ""}><button type="button" class="piecename" onClick={() => p.pick(i)} aria-pressed={p.piece === i}>{e.name}<b>{e.part || e.kind}</b></button></th>)}</tr></thead>
    <tbody>{rows.map((r) => {
      const v = pr.elements.map((e, i) => r.rank(e, i)), got = v.filter((x): x is number => x != null);
      const worst = got.length > 1 && got.some((x) => x !== got[0]) ? (r.high ? Math.max(...got) : Math.min(...got)) : NaN;
      return <tr><th scope="row">{r.name}{r.total && <b><Figure text={r.total.text} from={r.total.from} label={`${r.name} of the chain`} /></b>}</th>
        {pr.elements.map((e, i) => { const t = r.text(e, i); return <td><Figure text={t} worst={v[i] === worst} from={ofElement(e, r.name, t, at)} /></td>; })}</tr>;
    })}</tbody></table></div>;
}
