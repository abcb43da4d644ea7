// Where the numbers of a chain come from: what the popover says of each.
import type { Element, Full, Margin, Option, Prediction } from "./api";
import type { Origin } from "./state";
import { celsius, db, ghz, grams, money, time, trim, type Num } from "./units";

/** ladder names the steps of fidelity, from below. */
export const ladder = ["datasheet bound", "closed formula", "cross-section solve", "field solve", "measured"];

export function ofMargin(m: Margin): Origin {
  const u = m.unit ? " " + m.unit : "", text = (x: Num, digits: number) => (x == null ? "" : trim(x, digits) + u);
  return {
    title: m.limit, value: m.worst == null ? "not stated" : text(m.worst, 5),
    rows: [["Verdict", m.verdict], ["Limit", text(m.limit_value, 5)], ["Likely", text(m.likely, 5)], ["Margin", text(m.margin, 4)], ["At", m.at_hz ? ghz(m.at_hz) : ""],
      ["Decided by", m.element], ["Comes from", m.source], ...Object.entries(m.conditions)], notes: [m.why],
  };
}

/** ofElement is one cell of the ledger. */
export function ofElement(e: Element, row: string, value: string, atHz: Num): Origin {
  return {
    title: `${row} of ${e.name}`, value, step: e.model,
    rows: [["Part", e.part ? `${e.part}, ${e.description}` : e.description], ["Comes from", e.source], ["At", atHz == null ? "" : `${ghz(atHz)}, ${celsius(e.temperature_c)}`]], notes: e.notes,
  };
}

type Cell = (e: Element, i: number) => string;

/** ofSum is a figure of the whole chain, with the share of each piece. */
function ofSum(pr: Prediction, title: string, value: string, formula: string, cell: Cell, notes: string[] = [], at: Num = pr.at_hz): Origin {
  const steps = [...new Set(pr.elements.map((e) => e.model).filter(Boolean))].sort((a, b) => ladder.indexOf(a) - ladder.indexOf(b));
  return {
    title, value, step: steps[0], formula, rows: [["At", at == null ? "" : `${ghz(at)}, ${celsius(pr.temperature_c)}`], ...(steps.length > 1 ? [["Steps", steps.join(", ") + "; the lowest decides"] as [string, string]] : [])],
    notes, parts: { head: ["Piece", "Figure", "Known as", "Comes from"], rows: pr.elements.map((e, i) => [e.part ? `${e.name}, ${e.part}` : e.name, cell(e, i), e.model, e.source]) },
  };
}

const worst = "ρ = |S11| + A·ρ′ from the far end: each reflection weakened by the two-way loss before it, all in step";

/** chainFigures are a prediction's own figures; each says where it comes from. */
export const chainFigures: Record<string, { text: (p: Prediction) => string; from: (p: Prediction) => Origin }> = {
  loss: {
    text: (p) => db(p.insertion_loss_db),
    from: (p) => ofSum(p, "Insertion loss", db(p.insertion_loss_db), "sum of the pieces' losses in dB, without what mismatch adds", (e) => db(e.insertion_loss_db), p.mismatch_adds_at_most_db == null ? [] : [`Reflections can add ${db(p.mismatch_adds_at_most_db)} at most.`]),
  },
  worst: { text: (p) => db(p.return_loss_db.worst, 1), from: (p) => ofSum(p, "Return loss, worst", db(p.return_loss_db.worst), worst, (e) => db(e.return_loss_worst_db, 1)) },
  likely: {
    text: (p) => db(p.return_loss_db.likely, 1),
    from: (p) => ofSum(p, "Return loss, likely", db(p.return_loss_db.likely), "random phases drawn between the pieces' reflections", (e) => db(e.return_loss_worst_db, 1), [p.return_loss_db.likely_is]),
  },
  ripple: { text: (p) => db(p.ripple_pp_db), from: (p) => ofSum(p, "Ripple, peak to peak", db(p.ripple_pp_db), "the two reflections that beat most, at the top of the band", (e) => db(e.return_loss_worst_db, 1)) },
  delay: {
    text: (p) => time(p.delay_s),
    from: (p) => ofSum(p, "Delay", time(p.delay_s), "sum of the pieces' delays, one way", (e) => time(e.delay_s), p.delay_unknown.length ? [`Left out, for nothing states it: ${p.delay_unknown.join(", ")}.`] : []),
  },
  mode: {
    text: (p) => ghz(p.mode_free_limit_hz),
    from: (p) => ofSum(p, "Mode-free limit", ghz(p.mode_free_limit_hz), "the lowest cutoff of a second mode in any cross-section", (e) => (e.mode_free_limit_hz == null ? "not stated" : ghz(e.mode_free_limit_hz)), [], null),
  },
  price: { text: (p) => money(p.price), from: (p) => ofSum(p, "Price", money(p.price), "sum of the parts that state one", (e) => money(e.price), [], null) },
  mass: { text: (p) => grams(p.mass_kg), from: (p) => ofSum(p, "Mass", grams(p.mass_kg), "sum of the parts that state one", (e) => grams(e.mass_kg), [], null) },
};

/** ofLoss is a point of the loss curve. */
export function ofLoss(f: Full, curve: string, value: Num, k: number): Origin {
  const o = ofSum(f.prediction, `Insertion loss, ${curve}`, db(value), "sum of the pieces' losses in dB", (_, i) => db(f.curves.per_element?.[i]?.loss_db?.[k]), [], f.curves.frequency_hz[k]);
  o.rows.push(["Reflections add at most", db(f.curves.mismatch_db[k])], ["Shares", `of ${celsius(f.prediction.temperature_c)}`]);
  return o;
}

/** ofReturn is a point of one of the curves of return loss. */
export function ofReturn(f: Full, curve: string, value: Num, k: number): Origin {
  const how = curve.startsWith("worst") ? worst : curve.startsWith("likely") ? "random phases drawn at each frequency; 95 of 100 draws are better" : curve.startsWith("nominal") ? "the network of the whole chain, all phases known" : "root of the sum of squares: a usual figure, no bound";
  return ofSum(f.prediction, `Return loss, ${curve}`, db(value), how, (_, i) => db(f.curves.per_element?.[i]?.return_loss_db?.[k], 1), [], f.curves.frequency_hz[k]);
}

export function ofDelay(f: Full, value: Num, k: number): Origin {
  return ofSum(f.prediction, "Group delay", time(value == null ? null : value * 1e-9), f.curves.group_delay_is, (e) => time(e.delay_s), [], f.curves.frequency_hz[k]);
}

/** ofChange is what another part in a piece's place would change. */
export function ofChange(o: Option, what: string, change: string, now: string, then: string): Origin {
  return { title: `${what} with ${o.part}`, value: change, formula: "the chain with this part less the chain as it stands, both predicted at few frequencies", rows: [["Now", now], ["With it", then], ["Part", `${o.part}, ${o.description}`], ["Its figures", o.source]], notes: [] };
}
