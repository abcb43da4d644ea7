// What several pages share: the address, the frequency cursor, the jobs, the
// panel that says where a number comes from.
import { signal } from "@preact/signals";
import { useEffect, useRef, useState } from "preact/hooks";
import { get, Refused, type Job } from "./api";

export interface Address { path: string; query: URLSearchParams }
const read = (): Address => ({ path: decodeURI(location.pathname), query: new URLSearchParams(location.search) });
export const address = signal<Address>(read());

/** cursor is the frequency at which all plots and the ledger are read, in Hz.
 * It stands in the address, written when it rests: a link shows it again. */
export const cursor = signal<number | null>(cursorOf(address.value));
let resting = 0;

function cursorOf(a: Address): number | null {
  const ghz = parseFloat(a.query.get("cursor") ?? "");
  return isFinite(ghz) ? ghz * 1e9 : null;
}

export function setCursor(hz: number | null) {
  cursor.value = hz;
  clearTimeout(resting);
  resting = window.setTimeout(() => history.replaceState(null, "", withQuery((q) => (hz == null ? q.delete("cursor") : q.set("cursor", +(hz / 1e9).toPrecision(6) + "GHz")))), 200);
}

/** zoomOf is the part of its axis that a plot shows, in the axis's own unit; of all plots over frequency the same. */
export function zoomOf(key: string): [number, number] | null {
  const m = /^([-+.e\d]+)\.\.([-+.e\d]+)$/.exec(address.value.query.get(key) ?? "");
  return m && +m[2] > +m[1] ? [+m[1], +m[2]] : null;
}

export function setZoom(key: string, range: [number, number] | null) {
  go(withQuery((q) => (range ? q.set(key, range.map((x) => +x.toPrecision(5)).join("..")) : q.delete(key))));
}

addEventListener("popstate", () => {
  clearTimeout(resting);
  address.value = read();
  cursor.value = cursorOf(address.value);
});

/** go moves to another view; replace keeps the back button for steps worth going back to. */
export function go(url: string, replace = false) {
  if (url === location.pathname + location.search) return;
  clearTimeout(resting);
  if (replace) history.replaceState(null, "", url);
  else history.pushState(null, "", url);
  const samePage = address.value.path === location.pathname;
  address.value = read();
  if (samePage) setCursor(cursor.value);
  else {
    cursor.value = cursorOf(address.value);
    scrollTo(0, 0);
  }
}

/** withQuery is this page's address with some of its state changed. */
export function withQuery(change: (q: URLSearchParams) => void): string {
  const q = new URLSearchParams(location.search);
  change(q);
  const s = q.toString();
  return location.pathname + (s ? "?" + s : "");
}

/** Origin says where a number comes from: the step of the ladder of fidelity it
 * stands on, what it is made of, and what it rests on. */
export interface Origin {
  title: string; value: string; step?: string; formula?: string; rows: [string, string][]; notes: string[];
  parts?: { head: string[]; rows: string[][] }; // of a sum
}
export const origin = signal<Origin | null>(null);
export const said = signal(""); // to a screen reader

export const jobs = signal<Job[]>([]);
export const changed = signal(0); // counts files changed and answers come in
export const connected = signal(true);

/** listen follows what happens on the server. A browser allows few connections
 * to one server, so of many tabs one holds the stream and tells the others. */
export function listen() {
  const tabs = "BroadcastChannel" in window ? new BroadcastChannel("linewright") : null;
  const loadJobs = () => get<{ jobs: Job[] }>("/jobs").then((x) => (jobs.value = x.jobs ?? []), () => {});
  let timer = 0;
  const handle = (type: string, data: string) => {
    if (type === "open") { connected.value = true; void loadJobs(); changed.value++; }
    if (type === "error") connected.value = false;
    if ((type === "answer" || type === "files") && !timer) timer = window.setTimeout(() => { timer = 0; changed.value++; }, 60);
    if (type === "job") {
      const j = JSON.parse(data) as Job;
      jobs.value = [j, ...jobs.value.filter((x) => x.id !== j.id)].sort((a, b) => b.created.localeCompare(a.created));
      if (j.state === "done" || j.state === "failed") said.value = `${j.title}: ${j.state}`;
    }
  };
  const hold = () => new Promise<never>(() => {
    const es = new EventSource("/api/v1/events");
    const tell = (type: string, data = "") => { handle(type, data); tabs?.postMessage([type, data]); };
    es.onopen = () => tell("open");
    es.onerror = () => tell("error");
    for (const type of ["answer", "files", "job"]) es.addEventListener(type, (e) => tell(type, (e as MessageEvent).data));
  });
  if (tabs) tabs.onmessage = (e) => handle(e.data[0], e.data[1]);
  void loadJobs();
  if (tabs && navigator.locks) void navigator.locks.request("linewright-events", hold);
  else void hold();
}

export interface Loaded<T> { data?: T; error?: Refused; loading: boolean }

/** useLoad asks anew when key changes, keeps the last answer meanwhile, and drops answers overtaken by a later question. */
export function useLoad<T>(key: string, load: (signal: AbortSignal) => Promise<T>): Loaded<T> {
  const [s, set] = useState<Loaded<T> & { key: string }>({ loading: true, key: "" });
  const first = useRef("");
  useEffect(() => {
    const c = new AbortController();
    set((old) => ({ ...old, loading: true }));
    load(c.signal).then(
      (data) => !c.signal.aborted && set({ data, loading: false, key }),
      (e) => !c.signal.aborted && set((old) => ({ data: old.data, error: e instanceof Refused ? e : new Refused(0, [{ file: "", line: 0, column: 0, found: "", problem: String(e), help: "load the page again" }]), loading: false, key })),
    );
    first.current = key;
    return () => c.abort();
  }, [key]);
  return s;
}
