// Fixed data for the page of states. All of it is invented; no figure here is a
// prediction of anything.
import type { Alternatives, Answer, ChainRow, Element, EnquiryDoc, EnquiryRow, Fault, Field, FormGroup, Full, Job, Margin, Option, Prediction, Proposal } from "../api";
import type { Yield } from "../yield";

export const fault: Fault = { file: "enquiries/harbour-link.yaml", line: 7, column: 12, found: "3 bananas", problem: "not a level", help: "write it as 3.2 dB" };
export const refusal: Fault = { file: "", line: 0, column: 0, found: "", problem: "the catalogue has two parts of one id", help: "give one of them another id" };

function element(name: string, kind: string, part: string, loss: number | null, rl: number | null, delay: number | null, model: string): Element {
  return {
    name, kind, part, description: part ? `an invented ${kind}` : kind, insertion_loss_db: loss, return_loss_worst_db: rl, delay_s: delay, length_m: kind === "cable" ? 0.6 : null, mode_free_limit_hz: kind === "launch" ? null : kind === "cable" ? 62e9 : 46.5e9,
    rated_hz: kind === "launch" ? null : 40e9, temperature_c: 85, mass_kg: kind === "launch" ? 0 : kind === "cable" ? 0.021 : 0.006, price: kind === "launch" ? { amount: 0, currency: "" } : { amount: kind === "cable" ? 84 : 31.5, currency: "EUR" },
    model, source: part ? `invented datasheet of ${part}` : "the enquiry", notes: kind === "cable" ? ["Its dielectric loss is taken as constant with temperature."] : [],
  };
}

const elements: Element[] = [
  element("near launch", "launch", "", null, 15, null, "closed formula"), element("near board connector", "board connector", "QB29", 0.12, 21, 38e-12, "datasheet bound"), element("near connector", "cable connector", "QK29", 0.1, 22, 41e-12, "datasheet bound"),
  element("cable", "cable", "QC3", 2.31, 24, 2.46e-9, "datasheet bound"), element("far connector", "cable connector", "QK29", 0.1, 22, 41e-12, "datasheet bound"), element("far board connector", "board connector", "QB29", 0.12, 21, 38e-12, "measured"), element("far launch", "launch", "", null, 15, null, "closed formula"),
];

function margin(limit: string, verdict: string, worst: number | null, value: number, unit: string): Margin {
  const margin = worst == null ? null : unit === "dB" && limit.startsWith("return") ? worst - value : value - worst;
  return { limit, verdict, worst, likely: worst == null ? null : worst * 0.98, limit_value: value, margin, unit, at_hz: 40e9, element: "cable", conditions: { temperature: "85 °C" }, source: "sum of datasheet bounds", why: verdict === "not assessed" ? "a piece states no figure" : "the worst case decides", wish: limit === "mass" };
}

export function prediction(verdict = "at risk"): Prediction {
  return {
    chain: "QB29 + QK29 + QC3 + QK29 + QB29", left_plane: "board line at the near launch", right_plane: "board line at the far launch", at_hz: 40e9, temperature_c: 85, elements, insertion_loss_db: 2.75, mismatch_adds_at_most_db: 0.62,
    return_loss_db: { nominal: null, likely: 12.1, worst: 8.7, rss: 13.0, worst_of_band: 8.2, worst_of_band_at_hz: 39e9, likely_is: "95 of 100 draws of random phases, at one frequency" }, ripple_pp_db: 0.42, ripple_period_hz: 1.9e8, delay_s: 2.618e-9, delay_unknown: ["near launch", "far launch"],
    mode_free_limit_hz: 46.5e9, mass_kg: 0.045, price: { amount: 210, currency: "EUR" }, breaks_first: { mode: { element: "near connector", says: "over-moded from 46.5 GHz" }, loss: { element: "cable", says: "2.31 dB of 2.75 dB" } }, verdict, binding_limit: "return loss of the chain",
    margins: [margin("insertion loss", "meets", 2.75, 3.2, "dB"), margin("return loss of the chain", verdict, 8.7, 10, "dB"), margin("highest temperature", "fails", 90, 85, "°C"), margin("isolation", "not assessed", null, 60, "dB"), margin("mass", "meets", 45, 60, "g")],
    questions: [{ field: "path.bend_radius", question: "How tight is the route?", changes: "excludes cables by their bend radius" }, { field: "from.stackup", question: "What is the board's stackup?", changes: "without it the launch can be neither estimated nor designed" }],
    gaps: [{ axis: "pitch", asked: "4 mm", best: "5.3 mm", cause: "not yet built", needs: "a face of at most 3.9 mm" }], ways: [{ title: "shorten the cable to 520 mm", effect: "0.31 dB less loss" }], cautions: ["Power into an open line reflects wholly: follow the limits of exposure that hold where it is used."], notes: ["The launches are known by a bound that the enquiry states."],
  };
}

/** bare is a prediction of parts that state nothing. */
function bare(): Prediction {
  const nothing = elements.map((e) => ({ ...e, insertion_loss_db: null, return_loss_worst_db: null, delay_s: null, mode_free_limit_hz: null, rated_hz: null, mass_kg: null, price: null, notes: [], source: "" }));
  return { ...prediction("not assessed"), elements: nothing, insertion_loss_db: null, mismatch_adds_at_most_db: null, return_loss_db: { nominal: null, likely: null, worst: null, rss: null, worst_of_band: null, worst_of_band_at_hz: null, likely_is: "" }, ripple_pp_db: null, delay_s: null, mode_free_limit_hz: null, mass_kg: null, price: null, breaks_first: {}, margins: [margin("insertion loss", "not assessed", null, 3.2, "dB")], notes: [], cautions: [], gaps: [], ways: [] };
}

const f = Array.from({ length: 41 }, (_, i) => 24e9 + i * 0.4e9);

export function full(stated = true): Full {
  const p = stated ? prediction() : bare(), n = f.map(() => null), loss = (k: number) => f.map((x) => k * 2.75 * Math.sqrt(x / 40e9));
  const wave = (level: number, depth: number) => f.map((x) => level + depth * Math.cos(x / 7e8) - (x - 24e9) / 8e9);
  const ends = { best: f.map((x, i) => (i % 9 < 6 ? 34 - (x - 24e9) / 2e9 : null)), likely: wave(14, 0.6), worst: wave(10.5, 0.3), rss: wave(14.8, 0.3), nominal: null }, none = { best: n, likely: null, worst: n, rss: n, nominal: null };
  const place = [0, 0, 38e-12, 79e-12, 2539e-12, 2580e-12, 2618e-12, 2618e-12]; // one way, where each piece begins
  const traced = Array.from({ length: 60 }, (_, i) => -10e-12 + i * 1e-12);
  return {
    prediction: p, breaks: null, preliminary: null,
    spec: { name: p.chain, enquiry: "harbour-link", pieces: elements.map((e) => (e.part ? { name: e.name, part: e.part, ...(e.kind === "cable" ? { length: "600 mm" } : {}) } : { name: e.name, launch: { source: "the enquiry" } })) },
    curves: {
      frequency_hz: f, loss_db: stated ? [{ temperature_c: -40, values: loss(0.86) }, { temperature_c: 25, values: loss(0.94) }, { temperature_c: 85, values: loss(1) }] : [], mismatch_db: stated ? f.map(() => 0.6) : n, return_loss_db: stated ? ends : none, return_loss_far_end_db: stated ? ends : none,
      limits: stated ? [{ quantity: "insertion_loss", of: "chain", points: [[24e9, 2.6], [32e9, 3.2], [40e9, 3.2]], above: true, wish: false }, { quantity: "return_loss", of: "chain", points: [[24e9, 10], [40e9, 10]], above: false, wish: false }] : [],
      group_delay_s: stated ? f.map(() => 2.618e-9) : null, group_delay_is: stated ? "sum of the elements' delays" : "not known: an element states no delay",
      profile: {
        position_s: stated ? elements.flatMap((_, i) => [place[i], place[i + 1]]) : elements.flatMap(() => [0, 0]), impedance_ohm: elements.flatMap((e) => (stated && e.kind === "cable" ? [50, 50] : [null, null])), element: elements.flatMap((_, i) => [i, i]), delay_unknown: stated ? [0, 6] : elements.map((_, i) => i), reference_ohm: 50,
        traced: stated ? [{ from: 1, to: 1, position_s: traced, impedance_ohm: traced.map((t) => 50 - 4 * Math.exp(-(((t - 14e-12) / 6e-12) ** 2)) + 2 * Math.exp(-(((t - 28e-12) / 5e-12) ** 2))), element: traced.map(() => 1), rise_s: 6e-12, top_hz: 40e9 }] : [],
        bounds: stated ? [[0, 15], [2, 22], [3, 24], [4, 22], [5, 21], [6, 15]].map(([e, rl]) => { const r = 10 ** (-rl / 20); return { element: e, low_ohm: (50 * (1 - r)) / (1 + r), high_ohm: (50 * (1 + r)) / (1 - r), return_loss_db: rl, at_hz: 40e9 }; }) : [],
        says: stated ? "1 of 7 pieces has a known phase and is traced as an edge sees it; the others are shown by the impedance of a single step that would make their whole reflection" : "no piece states its phase or a reflection",
      },
      per_element: elements.map((e) => ({ name: e.name, loss_db: f.map((x) => (stated && e.insertion_loss_db != null ? e.insertion_loss_db * Math.sqrt(x / 40e9) : null)), return_loss_db: f.map(() => (stated ? e.return_loss_worst_db : null)) })),
    },
    drawing: { width_m: 0.09, elements: elements.map((e, i) => ({ element: i, name: e.name, kind: e.kind, part: e.part, length_m: e.kind === "cable" ? 0.6 : stated && e.part ? 0.011 : null, height_m: stated && e.kind !== "launch" ? 0.0048 : null, bore_m: stated && e.part ? 0.00292 : null, pin_m: stated && e.part ? 0.00127 : null, permittivity: e.kind === "cable" ? 1.42 : null, x0_m: [0, 6, 17, 28, 68, 79, 90][i] * 1e-3, x1_m: [6, 17, 28, 68, 79, 90, 96][i] * 1e-3, broken: e.kind === "cable", guessed: e.kind === "launch" || !stated, note: "" })) },
  };
}

function proposal(rank: number, verdict: string, loss: number, price: number): Proposal {
  const p = prediction(verdict);
  return { ...p, rank, parts: ["QB29", "QK29", "QC" + rank], chain: `QB29 + QK29 + QC${rank} + QK29 + QB29`, insertion_loss_db: loss, price: { amount: price, currency: "EUR" } };
}

export function answer(kind: "full" | "misses" | "none"): Answer {
  const p = kind === "full" ? [proposal(1, "meets", 2.6, 240), proposal(2, "at risk", 2.75, 210), proposal(3, "not assessed", 2.4, 310)] : [];
  const m = kind === "none" ? [] : [{ ...proposal(kind === "full" ? 4 : 1, "fails", 3.4, 150), rank: 1, breaks: ["insertion loss 3.4 dB, at most 3.2 dB asked"] }, { ...proposal(5, "fails", 2.9, 180), rank: 2, breaks: ["pitch 5.3 mm, at most 4 mm asked"] }];
  return {
    enquiry: "harbour-link", title: "Harbour link (invented)", customer: "Dunmere Quays (invented)", outcome: kind === "full" ? "serve" : kind === "misses" ? "partial offer" : "decline", why: kind === "full" ? "the first proposal meets every limit in the worst case" : kind === "misses" ? "no chain meets all limits" : "no chain joins the ends",
    questions: prediction().questions, contradictions: [], considered: kind === "none" ? "0" : "12450", exact: true, front_size: p.length, compared_at_hz: 40e9, compared_at_c: 85, proposals: p, nearest_misses: m, gaps: kind === "full" ? [] : prediction().gaps, cautions: prediction().cautions,
    refused: [{ slot: "cable", reason: "rated below 40 GHz", parts: ["QC7", "QC8", "QC9"] }], preliminary: null,
  };
}

const row: EnquiryRow = { id: "harbour-link", file: "enquiries/harbour-link.yaml", title: "Harbour link (invented)", customer: "Dunmere Quays (invented)", bands: [{ from_hz: 24e9, to_hz: 40e9 }], limits: [{ name: "insertion loss", text: "at most 3.2 dB", wish: false }, { name: "mass", text: "at most 60 g a line", wish: true }], state: "answered", outcome: "serve", why: "", proposals: 3, verdicts: ["meets"], questions: 2, best: { chain: "QB29 + QK29 + QC1", verdict: "meets", binding_limit: "" }, nearest: null, errors: [] };
export const rows: EnquiryRow[] = [
  row, { ...row, id: "b", title: "At risk (invented)", bands: [{ from_hz: 1e9, to_hz: 6e9 }, { from_hz: 8e9, to_hz: 12e9 }], best: { chain: "QB35 + QK35 + QC2", verdict: "at risk", binding_limit: "return loss of the chain" } },
  { ...row, id: "c", title: "Missed (invented)", proposals: 0, best: null, nearest: { chain: "QB35 + QK35 + QC2", breaks: ["insertion loss by 0.2 dB", "pitch by 1.3 mm", "price by 12 EUR"] } }, { ...row, id: "d", title: "Out of reach (invented)", proposals: 0, best: null, nearest: null, outcome: "decline", why: "no chain joins the ends", bands: [{ from_hz: 60e9, to_hz: 110e9 }] },
  { ...row, id: "e", title: "Being worked out (invented)", state: "working", outcome: null, best: null }, { ...row, id: "f", title: "With faults (invented)", state: "faulty", outcome: null, best: null, bands: [], limits: [], errors: [fault] },
  { ...row, id: "", title: "two words.yaml", customer: "", state: "faulty", outcome: null, best: null, bands: [], limits: [], errors: [{ file: "enquiries/two words.yaml", line: 0, column: 0, found: "", problem: "the file's name cannot stand in an address", help: "rename it" }] },
];

const field = (path: string, value: string | null, kind: string, unit_example: string, options: string[] = [], required = false): Field => ({ path, key: path.split(".").pop()!, value, kind, unit_example, options, required, line: value ? 3 : 0 });
export const fields: Field[] = [field("title", "Harbour link (invented)", "text", ""), field("band[0].from", "24 GHz", "frequency", "28 GHz", [], true), field("band[0].to", "40 GHz", "frequency", "28 GHz", [], true), field("from.kind", "board", "word", "board", ["board", "port"], true), field("path.length", "600 mm", "length", "25 mm"),
  field("limits.insertion_loss[0].at_most", "3.2 dB", "level", "3 dB"), field("limits.insertion_loss[1].at_most", "2.6 dB", "level", "3 dB"), field("limits.return_loss[0].at_least", null, "level", "3 dB")];

export const form: FormGroup[] = [
  { name: "What it is", says: "Name it so that you find it again.", first: true, fields: [{ ...fields[0], label: "Title", when: "" }] },
  { name: "Band", says: "Where the limits hold.", first: true, fields: [{ ...fields[1], label: "From", when: "" }, { ...fields[2], label: "To", when: "" }] },
  { name: "Near end", says: "A board's line, or a port to be mated with.", first: true, fields: [{ ...fields[3], label: "Kind", when: "" }, { ...field("from.stackup", null, "text", ""), label: "Stackup", when: "from.kind=board" }] },
  { name: "Limits", says: "What the chain is judged by.", first: true, fields: [{ ...fields[5], label: "Insertion loss at most", when: "" }, { ...fields[7], label: "Return loss at least", when: "" }] },
  { name: "Between", says: "What joins the two ends.", first: false, fields: [{ ...fields[4], label: "Length of cable", when: "" }, { ...field("path.bend_radius", null, "length", "25 mm"), label: "Tightest bend", when: "" }] },
];

export const sheet: EnquiryDoc = { id: "harbour-link", file: "enquiries/harbour-link.yaml", etag: "0", text: "title: Harbour link (invented)\n", title: "Harbour link (invented)", customer: "Dunmere Quays (invented)", fields, errors: [], questions: prediction().questions, contradictions: [], saved: true, wrong: [] };
export const contradiction = { text: "lines differ by 140 K within a range of 125 K", help: "lines cannot differ by more than the whole range" };

const figures = { insertion_loss_db: 2.75, return_loss_worst_db: 8.7, delay_s: 2.618e-9, mode_free_limit_hz: 46.5e9, mass_kg: 0.045, price: { amount: 210, currency: "EUR" } };
const option = (part: string, verdict: string, d: number): Option => ({ part, description: "an invented cable", verdict, binding_limit: "return loss of the chain", figures: { ...figures, insertion_loss_db: 2.75 + d }, changes: { insertion_loss_db: d, return_loss_worst_db: d / 2, delay_s: d * 1e-11, mode_free_limit_hz: null, mass_kg: d * 1e-3, price: { amount: -40 * d, currency: "EUR" } }, refused: [], source: `invented datasheet of ${part}` });
export const alternatives: Alternatives = { piece: 3, part: "QC3", kind: "cable", now: figures, fitting: 3, tried: 5, options: [option("QC1", "meets", -0.21), option("QC3", "at risk", 0), option("QC4", "fails", 0.8), ...["QC7", "QC8"].map((part) => ({ ...option(part, "", 0), figures: null, changes: null, refused: ["rated to 18 GHz", "QK29 is not made for " + part] }))] };
export const noAlternatives: Alternatives = { ...alternatives, fitting: 1, tried: 1, options: [option("QC3", "at risk", 0)] };

export const chains: ChainRow[] = [{ id: "kept", file: "chains/kept.yaml", name: "a kept chain", note: "as it was quoted", enquiry: "harbour-link", parts: ["QB29", "QK29", "QC3"], errors: [] }, { id: "broken", file: "chains/broken.yaml", name: "broken", note: "", enquiry: "", parts: [], errors: [{ ...fault, file: "chains/broken.yaml" }] }];

const job = (id: string, state: string, more: Partial<Job> = {}): Job => ({ id, kind: "yield", title: "yield of QB29 + QK29 + QC3", state, fraction: 0, stage: "", created: "2031-05-04T09:00:00Z", ended: null, request: { enquiry: "harbour-link" }, result: null, error: null, ...more });
const ended = "2031-05-04T09:01:10Z";
export const jobList: Job[] = [job("waiting", "waiting"), job("running", "running", { fraction: 0.42, stage: "4200 of 10000 copies" }), job("done", "done", { fraction: 1, ended }), job("failed", "failed", { ended, error: refusal }), job("cancelled", "cancelled", { ended }), job("interrupted", "interrupted", { ended, error: { ...refusal, problem: "the program ended while this job ran", help: "start it again" } })];

function histogram(mean: number, deviation: number) {
  const edges = Array.from({ length: 41 }, (_, i) => mean + (i - 20) * 0.2 * deviation);
  return { edges, counts: edges.slice(1).map((e) => Math.round(800 * Math.exp(-(((e - 0.1 * deviation - mean) / deviation) ** 2) / 2))) };
}
const share = (meets: number) => ({ meets, of: 10000, share: meets / 10000, interval: { low: meets / 10000 - 0.003, high: Math.min(1, meets / 10000 + 0.0028) }, interval_is: "Wilson's" });
const driver = (input: string, total: number, first: number) => ({ input, total_share: total, total_share_error: 0.03, first_share: first, first_share_error: 0.03, rank_correlation: -Math.sqrt(Math.max(0, first)), chance: input === "random phases" });
export const yieldResult: Yield = {
  chain: "QB29 + QK29 + QC3", enquiry: "harbour-link", method: "10 000 copies drawn at random", seed: 7, samples: 10000, frequencies: 41, confidence: 0.95, at_least: 0.99, enough: false, yield: share(9720),
  limits: [
    { name: "return loss of the chain", unit: "dB", limit_value: 10, wish: false, yield: share(9720), mean: 1.9, standard_deviation: 1, low_95_percent: -0.06, high_95_percent: 3.9, least: -1.6, least_sample: 811, least_inputs: [{ input: "near launch, return loss", value: 14.1, unit: "dB" }], worst_corner: -2.4, worst_corner_at_hz: 39e9, missing: [], drivers: [driver("random phases", 0.61, 0.52), driver("near launch, return loss", 0.3, 0.27), driver("far launch, return loss", 0.16, 0.13)], histogram: histogram(1.9, 1) },
    { name: "insertion loss", unit: "dB", limit_value: 3.2, wish: false, yield: share(10000), mean: 0.45, standard_deviation: 0.05, low_95_percent: 0.35, high_95_percent: 0.55, least: 0.26, least_sample: 12, least_inputs: [], worst_corner: 0.2, worst_corner_at_hz: 40e9, missing: ["loss of the launches"], drivers: [driver("cable, length", 0.9, 0.9)], histogram: histogram(0.45, 0.05) },
  ],
  observed: [], inputs: [{ name: "cable, length", piece: "cable", quantity: "length", unit: "m", distribution: "normal", mean: 0.6, standard_deviation: 0.001, low: null, high: null, standing: "stated", source: "invented datasheet of QC3", assumed: false }, { name: "near launch, return loss", piece: "near launch", quantity: "return_loss", unit: "dB", distribution: "uniform", mean: 16, standard_deviation: 1.1, low: 14, high: 18, standing: "assumed", source: "common practice", assumed: true }],
  sorting: { kind: "relative", half_width_s: 2e-12, at_hz: 40e9, set_size: 8, standard_deviation_s: 1.9e-12, unsorted_share: 0.41, build_5_of_10: 9, build_9_of_10: 13, beyond_sorting: false }, drivers_are: "Sobol' indices by Saltelli's scheme", missing: [], not_tried: ["bending"], taken_at_three_sigma: ["cable, length"], notes: ["Phases between pieces are drawn anew for each copy."],
};
export const yieldOfNothing: Yield = { ...yieldResult, enough: true, yield: { ...share(10000), interval: { low: 0.9996, high: 1 } }, limits: [{ ...yieldResult.limits[1], drivers: [], histogram: { edges: [], counts: [] } }], inputs: [], sorting: null, notes: [], not_tried: [], taken_at_three_sigma: [] };
export const aJob = job;
