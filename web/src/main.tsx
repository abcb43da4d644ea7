// The frame around the pages.
import { render } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { Answers } from "./answers";
import { get } from "./api";
import { Faults, Link } from "./bits";
import { Chain, ChainOfFile } from "./chain";
import { Chains } from "./chains";
import { Enquiries } from "./enquiries";
import { JobPage, Jobs } from "./jobs";
import { LinePage } from "./line";
import { Measured } from "./measured";
import { address, connected, go, jobs, listen, said, useLoad } from "./state";
import { Where } from "./where";
import "./style.css";

/** Staged is the page of states, which comes in a file of its own: only who looks for it loads it. */
function Staged(p: { name: string }) {
  const [module, set] = useState<typeof import("./states/states") | null>(null);
  useEffect(() => { void import("./states/states").then(set); }, []);
  return module ? <module.States key={p.name} name={p.name} /> : <p class="wait" role="status">Opening the states …</p>;
}

const staged = location.pathname.startsWith("/states");

function App() {
  const path = address.value.path, ws = useLoad("ws", async (s) => staged ? null : get<{ name: string; demo: boolean; parts: number; version: string; errors: [] }>("/workspace", s));
  const main = useRef<HTMLElement>(null), first = useRef(true);
  const [, kind, id, what, which] = path.split("/");
  if (staged && kind !== "states") location.reload(); // back to the true server
  const title = kind === "enquiry" ? (which ? `Chain: ${id}` : id) : { "": "Enquiries", chains: "Chains", chain: `Chain: ${id}`, line: "Line", measured: "Measured", jobs: "Jobs", states: "States" }[kind ?? ""] ?? "Not found";
  useEffect(() => {
    document.title = title + " · Linewright";
    if (first.current) { first.current = false; return; }
    main.current?.focus({ preventScroll: true });
  }, [path]);
  const running = jobs.value.filter((j) => j.state === "running" || j.state === "waiting");
  return <>
    <a class="skip" href="#main" onClick={(e) => { e.preventDefault(); main.current?.focus(); }}>Skip to the page</a>
    <header class="bar"><Link to="/" class="brand" label="Linewright: enquiries"><svg width="30" height="18" viewBox="0 0 30 18" aria-hidden="true"><path class="brandmark" d="M1 9h28M6 4h5v10H6zM11 6h8v6h-8zM19 3h4v12h-4z" /></svg> Linewright</Link>
      <nav aria-label="Pages"><Link to="/" current={kind === "" || kind === "enquiry"}>Enquiries</Link><Link to="/chains" current={kind === "chains" || kind === "chain"}>Chains</Link><Link to="/line" current={kind === "line"}>Line</Link><Link to="/measured" current={kind === "measured"}>Measured</Link><Link to="/jobs" current={kind === "jobs"}>Jobs{running.length > 0 && <b class="count"> {running.length}</b>}</Link></nav>
      <span class="where">{!connected.value && <b class="lost" role="alert">no connection</b>}{ws.data && <>{ws.data.demo ? "demo workspace, all data invented" : ws.data.name}, {ws.data.parts} parts</>}</span></header>
    <main id="main" ref={main} tabIndex={-1}>
      {ws.data && <Faults faults={ws.data.errors ?? []} title="The catalogue has faults" />}
      {kind === "" ? <Enquiries /> : kind === "enquiry" && id ? (what === "chain" && which ? <Chain key={path} id={id} chain={which} /> : <Answers key={id} id={id} />)
        : kind === "line" ? <LinePage /> : kind === "measured" ? <Measured /> : kind === "jobs" ? (id ? <JobPage key={id} id={id} /> : <Jobs />) : kind === "chains" ? <Chains /> : kind === "chain" && id ? <ChainOfFile key={id} name={id} /> : kind === "states" ? <Staged name={path.split("/").slice(2).join("/")} /> : <><h1>There is no such page</h1><p><Link to="/">To the enquiries</Link></p></>}
    </main>
    <Where />
    <p class="hidden" role="status" aria-live="polite">{said.value}</p>
  </>;
}

if (!staged) listen();
addEventListener("keydown", (e) => { if (e.altKey && "12345".includes(e.key)) { e.preventDefault(); go(["/", "/chains", "/line", "/measured", "/jobs"][+e.key - 1]); } });
render(<App />, document.getElementById("app")!);
