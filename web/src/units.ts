// Numbers leave SI only here.

export type Num = number | null | undefined;
const unknown = "not stated";

export function fixed(x: Num, digits: number): string {
  return x == null || !isFinite(x) ? unknown : x.toFixed(digits).replace("-", "−");
}

export function db(x: Num, digits = 2): string {
  return x == null ? unknown : fixed(x, digits) + " dB";
}

export function ghz(x: Num): string {
  return x == null ? unknown : trim(x / 1e9, 5) + " GHz";
}

export function trim(x: number, digits: number): string {
  return String(+x.toPrecision(digits)).replace("-", "−");
}

export function time(x: Num): string {
  if (x == null) return unknown;
  const a = Math.abs(x);
  return a >= 1e-9 ? fixed(x * 1e9, 3) + " ns" : fixed(x * 1e12, a < 1e-11 ? 2 : 1) + " ps";
}

export function mm(x: Num): string {
  return x == null ? unknown : trim(x * 1e3, 4) + " mm";
}

export function celsius(x: Num): string {
  return x == null ? unknown : trim(x, 4) + " °C";
}

export function grams(x: Num): string {
  return x == null ? unknown : trim(x * 1e3, 3) + " g";
}

export interface Price { amount: number; currency: string }

export function money(p: Price | null | undefined): string {
  if (!p) return unknown;
  return p.amount === 0 && !p.currency ? "0" : p.amount.toFixed(2).replace("-", "−") + " " + p.currency;
}

/** signed writes a difference so that its direction is seen. */
export function signed(s: string): string {
  return s === unknown || s.startsWith("−") || /^0(\.0*)?( |$)/.test(s) ? s : "+" + s;
}

/** ticks are round numbers from lo to hi, about n of them. */
export function ticks(lo: number, hi: number, n: number): number[] {
  const raw = (hi - lo) / Math.max(1, n);
  if (!(raw > 0)) return [lo];
  const mag = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 2.5, 5, 10].map((m) => m * mag).find((s) => s >= raw * 0.999)!;
  const out: number[] = [];
  for (let k = Math.ceil(lo / step - 1e-9); k * step <= hi + step * 1e-9; k++) out.push(+(k * step).toPrecision(12));
  return out;
}
