// Small pieces that every page uses.
import type { ComponentChildren } from "preact";
import type { Fault } from "./api";
import { go, origin, type Origin } from "./state";

/** Link moves within the workbench. */
export function Link(p: { to: string; children: ComponentChildren; class?: string; current?: boolean; label?: string }) {
  return <a href={p.to} class={p.class} aria-current={p.current ? "page" : undefined} aria-label={p.label} onClick={(e) => {
    if (e.metaKey || e.ctrlKey || e.shiftKey || e.button) return;
    e.preventDefault();
    go(p.to);
  }}>{p.children}</a>;
}

const mark: Record<string, string> = { meets: "●", "at risk": "◐", fails: "✕", "not assessed": "?" };

/** Verdict shows a verdict in words, with a shape besides its colour. */
export function Verdict(p: { is: string }) {
  return <span class={"verdict " + p.is.replace(" ", "-")}><span aria-hidden="true">{mark[p.is] ?? "·"}</span> {p.is}</span>;
}

/** Figure is a number that can be asked where it comes from. */
export function Figure(p: { text: string; from: Origin | (() => Origin); worst?: boolean; label?: string }) {
  const from = typeof p.from === "function" ? p.from : () => p.from as Origin;
  const none = p.text === "not stated";
  return <button type="button" class={"figure" + (p.worst ? " worst" : "") + (none ? " unknown" : "")} aria-haspopup="dialog"
    aria-label={`${p.label ?? from().title}: ${p.text}${p.worst ? ", worst of its row" : ""}; where from`} onClick={() => (origin.value = from())}>{none ? "–" : p.text}</button>;
}

export function Faults(p: { faults: Fault[]; title?: string }) {
  if (!p.faults.length) return null;
  return <div class="fault" role="alert">
    {p.title && <strong>{p.title}</strong>}
    <ul>{p.faults.map((f) => <li>{f.file && <code>{f.file}{f.line ? `:${f.line}:${f.column}` : ""}</code>} {f.found && <q>{f.found}</q>} {f.problem}{f.help && <>; <em>{f.help}</em></>}</li>)}</ul>
  </div>;
}

export function Wait(p: { what: string }) {
  return <p class="wait" role="status">{p.what}</p>;
}

/** save hands a file to the user. */
export function save(name: string, kind: string, data: string | Blob) {
  const url = URL.createObjectURL(data instanceof Blob ? data : new Blob([data], { type: kind }));
  const a = document.createElement("a");
  a.href = url;
  a.download = name;
  a.click();
  setTimeout(() => URL.revokeObjectURL(url), 10_000);
}

/** standalone is an SVG with its computed colours written into it, so that it reads the same outside the page. */
function standalone(svg: SVGSVGElement): string {
  const copy = svg.cloneNode(true) as SVGSVGElement;
  const from = [svg, ...svg.querySelectorAll("*")], to = [copy, ...copy.querySelectorAll("*")];
  from.forEach((e, i) => {
    const s = getComputedStyle(e);
    for (const k of ["fill", "stroke", "stroke-width", "stroke-dasharray", "opacity", "font-family", "font-size", "font-weight", "text-anchor", "fill-opacity", "display"]) (to[i] as SVGElement).style.setProperty(k, s.getPropertyValue(k));
  });
  const box = svg.getBoundingClientRect();
  copy.setAttribute("xmlns", "http://www.w3.org/2000/svg");
  copy.setAttribute("width", String(box.width));
  copy.setAttribute("height", String(box.height));
  copy.style.background = getComputedStyle(document.body).backgroundColor;
  copy.querySelectorAll(".live").forEach((e) => e.remove());
  return new XMLSerializer().serializeToString(copy);
}

export function saveSVG(svg: SVGSVGElement, name: string) { save(name + ".svg", "image/svg+xml", standalone(svg)); }

export function savePNG(svg: SVGSVGElement, name: string) {
  const box = svg.getBoundingClientRect(), img = new Image();
  img.onload = () => {
    const c = document.createElement("canvas");
    c.width = box.width * 2;
    c.height = box.height * 2;
    const g = c.getContext("2d")!;
    g.fillStyle = getComputedStyle(document.body).backgroundColor;
    g.fillRect(0, 0, c.width, c.height);
    g.drawImage(img, 0, 0, c.width, c.height);
    c.toBlob((b) => b && save(name + ".png", "image/png", b));
  };
  img.src = "data:image/svg+xml;charset=utf-8," + encodeURIComponent(standalone(svg));
}

export function csv(head: string[], rows: (string | number | null | undefined)[][]): string {
  const cell = (x: unknown) => { const s = x == null ? "" : String(x); return /[",\n]/.test(s) ? `"${s.replace(/"/g, '""')}"` : s; };
  return [head, ...rows].map((r) => r.map(cell).join(",")).join("\n") + "\n";
}
