// A chain kept as a file of the workspace: under a name of its own, never over
// another, and undone as long as nobody has changed it.
import { useEffect, useState } from "preact/hooks";
import { call, get, Refused, type ChainFile, type Fault, type Spec } from "./api";
import { Faults, Link } from "./bits";
import { changed, go, said, withQuery } from "./state";

/** slug makes a file's name of words. */
export function slug(words: string): string {
  return words.toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 60);
}

/** free is a name that none of those taken is. */
export function free(name: string, taken: string[]): string {
  if (!taken.includes(name)) return name;
  for (let k = 2; ; k++) if (!taken.includes(`${name}-${k}`)) return `${name}-${k}`;
}

interface Done { words: string; file: string; open?: string; undo: () => Promise<unknown> }

export function Keep(p: { id: string; spec: Spec; swaps: string[]; file?: ChainFile }) {
  const [name, setName] = useState<string | null>(null); // null: the form is closed
  const [faults, setFaults] = useState<Fault[]>([]), [done, setDone] = useState<Done | null>(null);
  useEffect(() => { setName(null); setFaults([]); }, [p.spec.name]);
  const attempt = async (f: () => Promise<void>) => {
    setFaults([]);
    try { await f(); } catch (e) {
      if (!(e instanceof Refused)) throw e;
      setFaults(e.faults);
    }
  };
  const open = () => attempt(async () => {
    const { chains } = await get<{ chains: { id: string }[] }>("/chains");
    setName(free(slug(p.spec.pieces.map((x) => x.part).filter(Boolean).join("-")) || slug(p.id), chains.map((c) => c.id)));
  });
  const keep = () => attempt(async () => {
    const d = await call<ChainFile>("POST", "/chains", { id: name, spec: { ...p.spec, enquiry: p.spec.enquiry || p.id } });
    setName(null);
    setDone({ words: "kept as", file: d.file, open: "/chain/" + d.id, undo: () => call("DELETE", `/chains/${d.id}?etag=${d.etag}`) });
    said.value = "kept as " + d.file;
  });
  const write = (file: ChainFile) => attempt(async () => {
    const edits = p.swaps.map((s) => { const [what, k, ...rest] = s.split(":"); return { path: `pieces[${k}].${what === "length" ? "length" : "part"}`, value: rest.join(":") }; });
    const d = await call<ChainFile>("PUT", "/chains/" + file.id, { etag: file.etag, edits });
    setDone({ words: "written to", file: d.file, undo: () => call("PUT", "/chains/" + file.id, { etag: d.etag, text: file.text }) });
    said.value = "written to " + d.file;
    go(withQuery((u) => u.delete("s")), true);
    changed.value++;
  });
  const undo = () => attempt(async () => {
    await done!.undo();
    setDone(null);
    said.value = "undone";
    changed.value++;
  });
  return <>
      {p.file && p.swaps.length > 0 && <button type="button" class="main" onClick={() => write(p.file!)}>Write to {p.file.file}</button>}
      {name == null ? <button type="button" onClick={open}>Keep as a file</button> : <form class="tools keep" onSubmit={(e) => { e.preventDefault(); void keep(); }}>
        <label>Name of the file <input value={name} onInput={(e) => setName(e.currentTarget.value)} /></label><button type="submit" class="main" disabled={!name}>Keep</button><button type="button" onClick={() => setName(null)}>Cancel</button><small>is saved as <code>chains/{slug(name) === name ? name : "…"}.yaml</code></small></form>}
      {done && <span role="status" class="done">{done.words} {done.open ? <Link to={done.open}>{done.file}</Link> : <code>{done.file}</code>} <button type="button" onClick={undo}>Undo</button></span>}
    <Faults faults={faults} title="Not kept" />
  </>;
}
