// The values of an enquiry as fields: grouped and named by the server's form,
// those that the file states first.
import { useEffect, useState } from "preact/hooks";
import { get, type Edit, type Field, type FormField, type FormGroup, type Question } from "./api";
import { useLoad } from "./state";

export type Set = (path: string, value: string | null, stated: string | null) => void;

/** useForm is the form of an enquiry, loaded once. */
export function useForm(): FormGroup[] {
  return useLoad("form", (s) => get<{ groups: FormGroup[] }>("/forms/enquiry", s)).data?.groups ?? [];
}

/** applies says whether a field makes sense with what is stated. */
export function applies(f: FormField, value: (path: string) => string | null | undefined): boolean {
  const [path, word] = f.when.split("=");
  return !path || value(path) === word;
}

/** spelt is a path in words, for values that the form has no label for. */
const spelt = (path: string) => path.replace(/\[(\d+)\]/g, (_, k) => (k === "0" ? "" : " " + (+k + 1))).split(".").slice(path.includes(".") ? 1 : 0).join(", ").replace(/_/g, " ");

interface Shown { f: Field | FormField; label: string; value: string | null; stated: string | null }

export function Fields(p: { fields: Field[]; edits: Edit[]; set: Set }) {
  const form = useForm(), [all, setAll] = useState(false);
  const stated = new Map(p.fields.map((f) => [f.path, f.value])), edited = new Map(p.edits.map((e) => [e.path, e.value]));
  const value = (path: string) => (edited.has(path) ? edited.get(path) : stated.get(path));
  const groups: { name: string; says: string; fields: Shown[] }[] = [], seen = new Set<string>();
  for (const g of form) {
    const fields: Shown[] = [];
    for (const f of g.fields) {
      seen.add(f.path);
      const v = value(f.path) ?? null, common = ["limits.insertion_loss[0].at_most", "limits.return_loss[0].at_least", "path.length"].includes(f.path) || f.required;
      if (v != null || edited.has(f.path) || (applies(f, value) && (all || common))) fields.push({ f, label: f.label, value: v, stated: stated.get(f.path) ?? null });
    }
    if (fields.length) groups.push({ name: g.name, says: g.says, fields });
  }
  const others = p.fields.filter((f) => !seen.has(f.path) && (f.value != null || edited.has(f.path) || !form.length));
  if (others.length) groups.push({ name: form.length ? "Stated besides" : "Stated", says: "", fields: others.map((f) => ({ f, label: spelt(f.path), value: value(f.path) ?? null, stated: f.value })) });
  // What is changed most often stands first.
  const order = ["Limits", "Band", "Between"], rank = (name: string) => order.indexOf(name) + 1 || 99;
  groups.sort((a, b) => rank(a.name) - rank(b.name));
  return <div class="fields">{groups.map((g) => <fieldset><legend>{g.name}</legend>{all && g.says && <p class="note">{g.says}</p>}
    {g.fields.map((x) => <Entry key={x.f.path} f={x.f} label={x.label} group={g.name} value={x.value} changed={edited.has(x.f.path)} set={(v) => p.set(x.f.path, v, x.stated)} />)}</fieldset>)}
    <button type="button" onClick={() => setAll(!all)} aria-expanded={all}>{all ? "Show only what is stated" : "Show all that can be stated"}</button></div>;
}

/** Questions are what the enquiry leaves open; those about one value are answered in place. */
export function Questions(p: { questions: Question[]; fields: Field[]; edits: Edit[]; set: Set }) {
  const form = new Map(useForm().flatMap((g) => g.fields).map((f) => [f.path, f])), stated = new Map(p.fields.map((f) => [f.path, f]));
  if (!p.questions.length) return null;
  return <details><summary>{p.questions.length} open {p.questions.length === 1 ? "question" : "questions"}</summary><ol class="questions">{p.questions.map((x) => {
    const f = form.get(x.field) ?? stated.get(x.field), edit = p.edits.find((e) => e.path === x.field);
    return <li key={x.field}><b>{x.question}</b><p>{x.changes}</p>{f ? <Entry f={f} label={"Answer"} group={x.question} value={edit ? edit.value : stated.get(x.field)?.value ?? null} changed={!!edit} set={(v) => p.set(x.field, v, stated.get(x.field)?.value ?? null)} /> : <code>{x.field}</code>}</li>;
  })}</ol></details>;
}

/** Entry is one value: what is typed is taken when the field is left, or at Enter. */
export function Entry(p: { f: Field | FormField; label: string; group: string; value: string | null; changed: boolean; set: (v: string | null) => void; wrong?: string; live?: boolean }) {
  const f = p.f, [text, setText] = useState(p.value ?? "");
  useEffect(() => setText(p.value ?? ""), [p.value]);
  const commit = (v: string) => { if (v !== (p.value ?? "")) p.set(v.trim() || null); };
  const short = /^(to|of|at|as|in|and|its|From|To|Kind|Average|Peak)\b/.test(p.label) ? `${p.group}: ${p.label}` : undefined; // a label that says nothing by itself
  return <label class={(p.changed ? "changed" : "") + (p.wrong ? " wrong" : "")}><span>{p.label}{f.required && p.live ? " *" : ""}{p.changed && !p.live && <b title="changed, not saved"> △</b>}</span>
    {f.options?.length && f.kind !== "words" ? <select data-path={f.path} aria-label={short} value={text} aria-invalid={!!p.wrong} onChange={(e) => { setText(e.currentTarget.value); commit(e.currentTarget.value); }}>{(!f.required || !text) && <option value="">not stated</option>}{f.options.map((o) => <option value={o}>{o}</option>)}</select>
      : <input data-path={f.path} aria-label={short} value={text} aria-invalid={!!p.wrong} aria-required={f.required || undefined} placeholder={f.unit_example ? "such as " + f.unit_example : "not stated"} onInput={(e) => { setText(e.currentTarget.value); if (p.live) p.set(e.currentTarget.value || null); }}
        onBlur={(e) => commit(e.currentTarget.value)} onChange={(e) => commit(e.currentTarget.value)} onKeyDown={(e) => { if (e.key === "Enter" && !p.live) commit(e.currentTarget.value); if (e.key === "Escape") setText(p.value ?? ""); }} />}
    {p.wrong && <small role="alert">{p.wrong}</small>}</label>;
}
