// The server's calls. Shapes follow app/wire and app/view; only what the pages
// read is written down.
import type { Num, Price } from "./units";

export interface Fault { file: string; line: number; column: number; found: string; problem: string; help: string }

export class Refused extends Error {
  constructor(public status: number, public faults: Fault[], public text?: string, public etag?: string) {
    super(faults.map((f) => f.problem).join("; ") || "the server answered " + status);
  }
}

export interface Margin {
  limit: string; verdict: string; worst: Num; likely: Num; limit_value: Num; margin: Num; unit: string; at_hz: Num;
  element: string; conditions: Record<string, string>; source: string; why: string; wish: boolean;
}
export interface Element {
  name: string; kind: string; part: string; description: string; insertion_loss_db: Num; return_loss_worst_db: Num; delay_s: Num; length_m: Num;
  mode_free_limit_hz: Num; rated_hz: Num; temperature_c: Num; mass_kg: Num; price: Price | null; model: string; source: string; notes: string[];
}
export interface ReturnLoss { nominal: Num; likely: Num; worst: Num; rss: Num; worst_of_band: Num; worst_of_band_at_hz: Num; likely_is: string }
export interface Question { field: string; question: string; changes: string }
export interface Prediction {
  chain: string; left_plane: string; right_plane: string; at_hz: Num; temperature_c: Num; elements: Element[]; insertion_loss_db: Num; mismatch_adds_at_most_db: Num;
  return_loss_db: ReturnLoss; ripple_pp_db: Num; ripple_period_hz: Num; delay_s: Num; delay_unknown: string[]; mode_free_limit_hz: Num; mass_kg: Num; price: Price | null;
  breaks_first: Record<string, { element: string; says: string }>; verdict: string; binding_limit: string; margins: Margin[]; questions: Question[];
  gaps: { axis: string; asked: string; best: string; cause: string; needs: string }[]; ways: { title: string; effect: string }[]; cautions: string[]; notes: string[];
}
export interface Proposal extends Prediction { rank: number; parts: string[]; breaks?: string[] }
export interface Answer {
  enquiry: string; title: string; customer: string; outcome: string; why: string; questions: Question[]; contradictions: { text: string; help: string; fields: string[] }[];
  considered: string; exact: boolean; front_size: number; compared_at_hz: number; compared_at_c: number; proposals: Proposal[]; nearest_misses: Proposal[];
  gaps: Prediction["gaps"]; cautions: string[]; refused: { slot: string; reason: string; parts: string[] }[]; preliminary?: { figures: string[] } | null; specs?: Spec[]; miss_specs?: Spec[];
}
export interface EnquiryRow {
  id: string; file: string; title: string; customer: string; bands: { from_hz: number; to_hz: number }[]; limits: { name: string; text: string; wish: boolean }[];
  state: string; outcome: string | null; why: string; proposals: number; verdicts: string[]; questions: number;
  best: { chain: string; verdict: string; binding_limit: string } | null; nearest: { chain: string; breaks: string[] } | null; errors: Fault[];
}
export interface Field { path: string; key: string; value: string | null; kind: string; unit_example: string; options: string[]; required: boolean; line: number }
export interface EnquiryDoc {
  id: string; file: string; etag: string; text: string; title: string; customer: string; fields: Field[]; errors: Fault[]; questions: Question[];
  contradictions: { text: string; help: string }[]; saved: boolean; wrong: { path: string; problem: string; help: string }[];
}
/** FormGroup is a group of the values that an enquiry can state. */
export interface FormGroup { name: string; says: string; first: boolean; fields: FormField[] }
export interface FormField { path: string; key: string; kind: string; unit_example: string; options: string[]; required: boolean; label: string; when: string }
export interface ChainRow { id: string; file: string; name: string; note: string; enquiry: string; parts: string[]; errors: Fault[] }
export interface ChainFile extends ChainRow { etag: string; text: string; spec: Spec; saved: boolean }
export interface Edit { path: string; value: string | null }
export interface Piece { name: string; part?: string; length?: string; [k: string]: unknown }
export interface Spec { name: string; enquiry?: string; pieces: Piece[]; [k: string]: unknown }
export interface Returns { best: Num[]; likely: Num[] | null; worst: Num[]; rss: Num[]; nominal: Num[] | null }
export interface Shape {
  element: number; name: string; kind: string; part: string; length_m: Num; height_m: Num; bore_m: Num; pin_m: Num; permittivity: Num;
  x0_m: number; x1_m: number; broken: boolean; guessed: boolean; note: string;
}
export interface Full {
  prediction: Prediction; spec: Spec; breaks: string[] | null; preliminary: { figures: string[] } | null;
  curves: {
    frequency_hz: number[]; loss_db: { temperature_c: number; values: Num[] }[]; mismatch_db: Num[]; return_loss_db: Returns; return_loss_far_end_db: Returns;
    limits: { quantity: string; of: string; points: [number, number][]; above: boolean; wish: boolean }[]; group_delay_s: Num[] | null; group_delay_is: string;
    profile: {
      position_s: number[]; impedance_ohm: Num[]; element: number[]; delay_unknown: number[]; reference_ohm: number; says: string;
      traced: { from: number; to: number; position_s: number[]; impedance_ohm: number[]; element: number[]; rise_s: number; top_hz: number }[];
      bounds: { element: number; low_ohm: number; high_ohm: number; return_loss_db: number; at_hz: number }[];
    };
    per_element: { name: string; loss_db: Num[]; return_loss_db: Num[] }[];
  };
  drawing: { elements: Shape[]; width_m: number };
}
export interface Figures { insertion_loss_db: Num; return_loss_worst_db: Num; delay_s: Num; mode_free_limit_hz: Num; mass_kg: Num; price: Price | null }
export interface Option { part: string; description: string; verdict: string; binding_limit: string; figures: Figures | null; changes: Figures | null; refused: string[] | null; source: string }
export interface Alternatives { piece: number; part: string; kind: string; now: Figures; options: Option[]; fitting: number; tried: number }
export interface Job {
  id: string; kind: string; title: string; state: string; fraction: number; stage: string; created: string; ended: string | null; request?: { enquiry?: string } | null; result: any; error: Fault | null;
}

type Transport = (method: string, path: string, body?: unknown, signal?: AbortSignal) => Promise<unknown>;
let staged: Transport | null = null;

/** stage puts fixed answers in the server's place; null takes them away. */
export function stage(t: Transport | null) { staged = t; }

export async function call<T>(method: string, path: string, body?: unknown, signal?: AbortSignal): Promise<T> {
  return (staged ?? overHTTP)(method, path, body, signal) as Promise<T>;
}

async function overHTTP(method: string, path: string, body?: unknown, signal?: AbortSignal): Promise<unknown> {
  let r: Response;
  try {
    const form = body instanceof FormData;
    r = await fetch("/api/v1" + path, {
      method, signal, body: body === undefined ? undefined : form ? body : JSON.stringify(body),
      headers: body === undefined || form ? {} : { "Content-Type": "application/json" },
    });
  } catch (e) {
    if (signal?.aborted) throw e;
    throw new Refused(0, [{ file: "", line: 0, column: 0, found: "", problem: "the server does not answer", help: "start it again with: linewright serve" }]);
  }
  const kind = r.headers.get("Content-Type") ?? "";
  const data = kind.includes("json") ? await r.json() : {};
  if (!r.ok) throw new Refused(r.status, data.errors ?? [], data.text, data.etag);
  return data;
}

export const get = <T>(path: string, signal?: AbortSignal) => call<T>("GET", path, undefined, signal);
