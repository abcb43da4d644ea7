// What could stand in the place of a piece, and what each would change.
import { useState } from "preact/hooks";
import { call, type Alternatives, type Edit, type Figures, type Spec } from "./api";
import { Faults, Figure, Verdict, Wait } from "./bits";
import { ofChange } from "./origins";
import { go, useLoad, withQuery } from "./state";
import { db, ghz, grams, money, signed, time } from "./units";

export function Instead(p: { id: string; spec: Spec; piece: number; edits: Edit[]; close: () => void }) {
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
    {!s.data ? s.error ? <Faults faults={s.error.faults} title={here.part ? undefined : "Nothing to exchange"} /> : <Wait what="Trying the catalogue's other parts …" /> : <>
      {ok.length < 2 && <p class="none">No other {s.data.kind} of the catalogue fits here; {s.data.tried} were tried.</p>}
      {!!ok.length && <div class="scroll" tabIndex={0} role="region" aria-label="Alternatives"><table><thead><tr><th scope="col">Part</th><th scope="col">Verdict</th>{columns.map((c) => <th scope="col" class="n">{c.name}</th>)}</tr></thead>
        <tbody>{ok.map((o) => <tr class={o.part === here.part ? "on" : ""}>
          <th scope="row"><button type="button" class="swap" aria-label={`Put ${o.part} here`} onClick={() => put("part", o.part)} disabled={o.part === here.part}>{o.part}</button> <small>{o.description}</small></th><td><Verdict is={o.verdict} />{o.binding_limit && <small>{o.binding_limit}</small>}</td>
          {columns.map((c) => { const text = signed(c.text(o.changes!)); return <td class="n"><Figure text={text} from={ofChange(o, c.name, text, c.text(s.data!.now), c.text(o.figures!))} /></td>; })}</tr>)}</tbody></table></div>}
      {s.data.fitting > ok.length && <p class="note">The first {ok.length} of {s.data.fitting} that fit, best verdict first, then least loss.</p>}
      {!!no.length && <details><summary>{s.data.tried - s.data.fitting} parts that do not fit, and why</summary><ul>{no.map((o) => <li><b class="mono">{o.part}</b> {o.refused!.join("; ")}</li>)}</ul></details>}</>}
  </section>;
}

const columns: { name: string; text: (f: Figures) => string }[] = [
  { name: "Loss", text: (f) => db(f.insertion_loss_db) }, { name: "Return loss, worst", text: (f) => db(f.return_loss_worst_db) }, { name: "Delay", text: (f) => time(f.delay_s) },
  { name: "Mode-free limit", text: (f) => ghz(f.mode_free_limit_hz) }, { name: "Mass", text: (f) => grams(f.mass_kg) }, { name: "Price", text: (f) => money(f.price) },
];
