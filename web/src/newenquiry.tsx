// A new enquiry, taken down value by value. The server reads each as it is typed
// and says what is wrong with it; what is left out comes back as questions.
import { useEffect, useRef, useState } from "preact/hooks";
import { call, Refused, type EnquiryDoc, type Fault, type FormField } from "./api";
import { Faults } from "./bits";
import { Entry, applies, useForm } from "./fields";
import { free, slug } from "./keep";
import { go } from "./state";

const start: Record<string, string> = { "from.kind": "port", "to.kind": "port", "path.through": "cable" };

export function NewEnquiry(p: { taken: string[]; close: () => void }) {
  const form = useForm(), [v, set] = useState<Record<string, string>>(start), [tried, setTried] = useState(false), [faults, setFaults] = useState<Fault[]>([]);
  const [trial, setTrial] = useState<EnquiryDoc | null>(null), box = useRef<HTMLFormElement>(null);
  const id = free(slug(v.title ?? "") || "enquiry", p.taken);
  const fields = form.flatMap((g) => g.fields), value = (path: string) => v[path];
  const edits = fields.filter((f) => v[f.path] && applies(f, value)).map((f) => ({ path: f.path, value: v[f.path].trim() }));
  const asked = JSON.stringify(edits);
  useEffect(() => box.current?.querySelector("input")?.focus(), [!!form.length]);
  useEffect(() => {
    if (!edits.length) return;
    const c = new AbortController(), timer = setTimeout(() => call<EnquiryDoc>("POST", "/enquiries", { id, edits, dry_run: true }, c.signal).then(setTrial, () => {}), 150);
    return () => { clearTimeout(timer); c.abort(); };
  }, [asked]);
  const wrong = new Map((trial?.wrong ?? []).filter((w) => v[w.path]).map((w) => [w.path, [w.problem, w.help].filter(Boolean).join("; ")]));
  const complaint = (f: FormField) => wrong.get(f.path) ?? (tried && (f.required || f.path === "title") && !v[f.path] ? "is needed" : undefined);
  const submit = async (e: Event) => {
    e.preventDefault();
    setTried(true);
    setFaults([]);
    if (wrong.size || fields.some((f) => (f.required || f.path === "title") && !v[f.path])) {
      setTimeout(() => box.current?.querySelector<HTMLElement>("[aria-invalid=true]")?.focus());
      return;
    }
    try {
      const d = await call<EnquiryDoc>("POST", "/enquiries", { id, edits });
      go("/enquiry/" + d.id);
    } catch (x) {
      if (x instanceof Refused) setFaults(x.faults);
    }
  };
  const entry = (f: FormField, group: string) => <Entry key={f.path} f={f.path === "title" ? { ...f, required: true } : f} label={f.label} group={group} value={v[f.path] ?? null} changed={false} live wrong={complaint(f)} set={(x) => set((old) => ({ ...old, [f.path]: x ?? "" }))} />;
  const stated = (fs: FormField[]) => fs.filter((f) => v[f.path]).length;
  return <form class="sheet new" ref={box} onSubmit={submit} aria-label="New enquiry" noValidate>
    <h2>New enquiry</h2><p>Write quantities with their units. Starred values are needed; what is missing besides comes back as questions.</p>
    <div class="groups">{form.filter((g) => g.first).map((g) => <fieldset><legend>{g.name}</legend>{g.says && <p class="note">{g.says}</p>}{visible(g.fields, v).map((f) => entry(f, g.name))}{more(g.fields, v).length > 0 && <details><summary>More of {g.name[0].toLowerCase() + g.name.slice(1)}{stated(more(g.fields, v)) ? `, ${stated(more(g.fields, v))} stated` : ""}</summary>{more(g.fields, v).map((f) => entry(f, g.name))}</details>}</fieldset>)}</div>
    <div class="groups">{form.filter((g) => !g.first).map((g) => <details><summary>{g.name}{stated(g.fields) ? `, ${stated(g.fields)} stated` : ""}</summary><fieldset><legend class="hidden">{g.name}</legend>{g.says && <p class="note">{g.says}</p>}{g.fields.map((f) => entry(f, g.name))}</fieldset></details>)}</div>
    {!!trial?.contradictions.length && <div class="fault"><strong>Statements that cannot both hold</strong><ul>{trial.contradictions.map((c) => <li>{c.text}; <em>{c.help}</em></li>)}</ul></div>}
    <Faults faults={faults} title="Not saved" />
    <p class="tools"><button type="submit" class="main" disabled={!form.length}>Save and answer</button><button type="button" onClick={p.close}>Cancel</button><small>is saved as <code>enquiries/{id}.yaml</code>{trial?.questions.length ? `; ${trial.questions.length} questions would stay open` : ""}</small></p>
    {trial && <details><summary>The file as it would be written</summary><pre tabIndex={0}>{trial.text}</pre></details>}
  </form>;
}

const first = 7; // values of a group that stand open

function visible(fs: FormField[], v: Record<string, string>) { return fs.filter((f) => applies(f, (path) => v[path])).slice(0, first); }
function more(fs: FormField[], v: Record<string, string>) { return fs.filter((f) => applies(f, (path) => v[path])).slice(first); }
