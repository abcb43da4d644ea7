// The popover that says where a number comes from. It opens beside the number,
// takes the focus, and gives it back.
import { useEffect, useLayoutEffect, useRef, useState } from "preact/hooks";
import { ladder } from "./origins";
import { address, origin } from "./state";

export function Where() {
  const o = origin.value, box = useRef<HTMLDivElement>(null), back = useRef<HTMLElement | null>(null);
  const [place, setPlace] = useState<{ left: number; top: number }>({ left: 0, top: 0 });
  const close = () => { origin.value = null; back.current?.focus(); };
  useLayoutEffect(() => {
    if (!o || !box.current) return;
    if (!box.current.contains(document.activeElement)) back.current = document.activeElement as HTMLElement;
    const at = back.current && back.current !== document.body ? back.current.getBoundingClientRect() : null, own = box.current.getBoundingClientRect();
    if (at) {
      const below = at.bottom + 6 + own.height < innerHeight || at.top < own.height;
      setPlace({ left: Math.max(8, Math.min(at.left, innerWidth - own.width - 24)), top: below ? Math.max(8, Math.min(at.bottom + 6, innerHeight - own.height - 8)) : at.top - own.height - 6 });
    } else setPlace({ left: innerWidth - own.width - 24, top: innerHeight - own.height - 16 });
    box.current.focus({ preventScroll: true });
  }, [o]);
  useEffect(() => { origin.value = null; }, [address.value.path]);
  useEffect(() => {
    if (!o) return;
    const outside = (e: Event) => { if (!box.current?.contains(e.target as Node) && !(e.target as Element).closest?.(".figure")) origin.value = null; };
    addEventListener("pointerdown", outside);
    return () => removeEventListener("pointerdown", outside);
  }, [o]);
  if (!o) return null;
  const step = ladder.indexOf(o.step ?? "");
  return <div class="where-from" ref={box} tabIndex={-1} role="dialog" aria-label={"Where it comes from: " + o.title} style={{ left: place.left + "px", top: place.top + "px" }} onKeyDown={(e) => e.key === "Escape" && close()}>
    <button type="button" class="close" onClick={close}>Close</button><h2>{o.title}</h2>
    <p class="big">{o.value === "not stated" ? "No figure is stated, and none is assumed." : o.value}</p>
    {step >= 0 && <ol class="ladder" aria-label="Step of fidelity">{ladder.map((l, i) => <li class={i === step ? "on" : ""} aria-current={i === step ? "step" : undefined}>{l}</li>)}</ol>}
    {o.formula && <p class="formula">{o.formula}</p>}
    <dl>{o.rows.filter(([, v]) => v).map(([k, v]) => <><dt>{k}</dt><dd>{v}</dd></>)}</dl>
    {o.parts && <div class="scroll" tabIndex={0} role="region" aria-label="Made of"><table><thead><tr>{o.parts.head.map((h) => <th scope="col">{h}</th>)}</tr></thead>
      <tbody>{o.parts.rows.map((r) => <tr><th scope="row">{r[0]}</th>{r.slice(1).map((c, i) => <td class={i === 0 ? "n" : ""}>{c === "not stated" ? "–" : c}</td>)}</tr>)}</tbody></table></div>}
    {o.notes.filter(Boolean).map((n) => <p>{n}</p>)}</div>;
}
