// The frame around the pages.
import { render } from "preact";
import { useEffect, useRef } from "preact/hooks";
import { Answers } from "./answers";
import { call, get, type Job } from "./api";
import { Faults, Link } from "./bits";
import { Chain } from "./chain";
import { Enquiries } from "./enquiries";
import { LinePage } from "./line";
import { Measured } from "./measured";
import { address, connected, go, jobs, listen, origin, said, useLoad } from "./state";
import "./style.css";

function App() {
  const path = address.value.path, ws = useLoad("ws", (s) => get<{ name: string; demo: boolean; parts: number; version: string; errors: [] }>("/workspace", s));
  const main = useRef<HTMLElement>(null), first = useRef(true);
  const [, kind, id, what, which] = path.split("/");
  const title = kind === "enquiry" ? (which ? `Chain: ${id}` : id) : { "": "Enquiries", line: "Line", measured: "Measured", jobs: "Jobs" }[kind ?? ""] ?? "Not found";
  useEffect(() => {
    document.title = title + " · Linewright";
    if (first.current) { first.current = false; return; }
    main.current?.focus({ preventScroll: true });
  }, [path]);
  const running = jobs.value.filter((j) => j.state === "running" || j.state === "waiting");
  return <>
    <a class="skip" href="#main" onClick={(e) => { e.preventDefault(); main.current?.focus(); }}>Skip to the page</a>
    <header class="bar"><Link to="/" class="brand" label="Linewright: enquiries"><svg width="30" height="18" viewBox="0 0 30 18" aria-hidden="true"><path class="brandmark" d="M1 9h28M6 4h5v10H6zM11 6h8v6h-8zM19 3h4v12h-4z" /></svg> Linewright</Link>
      <nav aria-label="Pages"><Link to="/" current={kind === "" || kind === "enquiry"}>Enquiries</Link><Link to="/line" current={kind === "line"}>Line</Link><Link to="/measured" current={kind === "measured"}>Measured</Link><Link to="/jobs" current={kind === "jobs"}>Jobs{running.length > 0 && <b class="count"> {running.length}</b>}</Link></nav>
      <span class="where">{!connected.value && <b class="lost" role="alert">no connection</b>}{ws.data && <>{ws.data.demo ? "demo workspace, all data invented" : ws.data.name}, {ws.data.parts} parts</>}</span></header>
    <main id="main" ref={main} tabIndex={-1}>
      {ws.data && <Faults faults={ws.data.errors ?? []} title="The catalogue has faults" />}
      {kind === "" ? <Enquiries /> : kind === "enquiry" && id ? (what === "chain" && which ? <Chain key={path} id={id} chain={which} /> : <Answers key={id} id={id} />)
        : kind === "line" ? <LinePage /> : kind === "measured" ? <Measured /> : kind === "jobs" ? <Jobs /> : <><h1>There is no such page</h1><p><Link to="/">To the enquiries</Link></p></>}
    </main>
    <Where />
    <p class="hidden" role="status" aria-live="polite">{said.value}</p>
  </>;
}

/** Where says where a number comes from. */
function Where() {
  const o = origin.value, box = useRef<HTMLElement>(null), back = useRef<HTMLElement | null>(null);
  const close = () => { origin.value = null; back.current?.focus(); };
  useEffect(() => { if (o) { if (!box.current?.contains(document.activeElement)) back.current = document.activeElement as HTMLElement; box.current?.focus(); } }, [o]);
  useEffect(() => { origin.value = null; }, [address.value.path]);
  if (!o) return null;
  return <aside class="where-from" ref={box} tabIndex={-1} aria-label="Where the number comes from" onKeyDown={(e) => e.key === "Escape" && close()}>
    <button type="button" class="close" onClick={close}>Close</button><h2>{o.title}</h2><p class="big">{o.value === "not stated" ? "No figure is stated, and none is assumed." : o.value}</p>
    <dl>{o.rows.filter(([, v]) => v).map(([k, v]) => <><dt>{k}</dt><dd>{v}</dd></>)}</dl>{o.notes.filter(Boolean).map((n) => <p>{n}</p>)}</aside>;
}

function Jobs() {
  const remove = (j: Job) => call("DELETE", "/jobs/" + j.id).then(() => get<{ jobs: Job[] }>("/jobs")).then((x) => (jobs.value = x.jobs ?? []));
  return <><header class="head"><div><h1>Jobs</h1><p>Longer work. It goes on when this page is closed or loaded again.</p></div></header>
    {!jobs.value.length && <p class="none">No job yet. A chain's page starts one with <b>Yield of built copies</b>.</p>}
    <ul class="jobs">{jobs.value.map((j) => <li key={j.id}><div><b>{j.title || j.kind}</b> <span class={"state " + j.state}>{j.state}</span><small>{j.stage}</small></div>
      {(j.state === "running" || j.state === "waiting") && <progress max={1} value={j.fraction} aria-label={j.title}>{Math.round(j.fraction * 100)} %</progress>}
      {j.error && <Faults faults={[j.error]} />}{j.state === "done" && j.kind === "yield" && <Yield id={j.id} />}
      <button type="button" onClick={() => remove(j)}>{j.state === "running" || j.state === "waiting" ? "Cancel" : "Forget"}</button></li>)}</ul></>;
}

function Yield(p: { id: string }) {
  const s = useLoad(p.id, (sig) => get<Job>("/jobs/" + p.id, sig)), r = s.data?.result;
  if (!r) return null;
  const flat = Object.entries(r).filter(([, v]) => typeof v === "number" || typeof v === "string") as [string, number | string][];
  return <details><summary>Result</summary><dl class="facts">{flat.map(([k, v]) => <div><dt>{k.replace(/_/g, " ")}</dt><dd>{typeof v === "number" ? +v.toPrecision(5) : v}</dd></div>)}</dl></details>;
}

listen();
addEventListener("keydown", (e) => { if (e.altKey && "1234".includes(e.key)) { e.preventDefault(); go(["/", "/line", "/measured", "/jobs"][+e.key - 1]); } });
render(<App />, document.getElementById("app")!);
