// Longer work: the list of jobs, and one job with its result in full.
import type { Answer, Job } from "./api";
import { call, get } from "./api";
import { Faults, Link, Verdict, Wait } from "./bits";
import { go, jobs, useLoad } from "./state";
import { FieldDone, type FieldResult } from "./solve";
import { YieldResult, type Yield } from "./yield";

const open = (j: Job) => j.state === "running" || j.state === "waiting";
const reload = () => get<{ jobs: Job[] }>("/jobs").then((x) => { jobs.value = x.jobs ?? []; });

export function Jobs() {
  return <><header class="head"><div><h1>Jobs</h1><p>Longer work. It goes on when this page is closed or loaded again.</p></div></header>
    {!jobs.value.length && <p class="none">No job yet. A chain's page starts one with <b>Yield of built copies</b>.</p>}
    <ul class="jobs">{jobs.value.map((j) => <li key={j.id}><div><Link to={"/jobs/" + j.id} class="title">{j.title || j.kind}</Link> <span class={"state " + j.state}>{j.state}</span><small>{j.stage || when(j)}</small></div>
      {open(j) && <progress max={1} value={j.fraction} aria-label={j.title}>{Math.round(j.fraction * 100)} %</progress>}
      {j.error && <Faults faults={[j.error]} />}
      <button type="button" aria-label={(open(j) ? "Cancel " : "Forget ") + j.title} onClick={() => call("DELETE", "/jobs/" + j.id).then(reload)}>{open(j) ? "Cancel" : "Forget"}</button></li>)}</ul></>;
}

function when(j: Job): string {
  const date = new Date(j.ended ?? j.created);
  return (j.ended ? "ended " : "begun ") + date.toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
}

export function JobPage(p: { id: string }) {
  const live = jobs.value.find((j) => j.id === p.id), s = useLoad(p.id + (live?.state ?? ""), (sig) => get<Job>("/jobs/" + p.id, sig));
  const j = s.data && live && live.state !== s.data.state ? { ...s.data, ...live, result: null } : s.data;
  if (!j) return <><p class="crumb"><Link to="/jobs">Jobs</Link></p><h1>{s.error ? "There is no such job" : live?.title ?? "Job"}</h1>{s.error ? <Faults faults={s.error.faults} /> : <Wait what="Reading the job …" />}</>;
  const end = () => call("DELETE", "/jobs/" + j.id).then(reload).then(() => { if (!open(j)) go("/jobs"); });
  return <><header class="head"><div><p class="crumb"><Link to="/jobs">Jobs</Link></p><h1>{j.title || j.kind}</h1><p><span class={"state " + j.state}>{j.state}</span> {when(j)}</p></div>
    <div class="tools">{j.request?.enquiry && <Link to={"/enquiry/" + j.request.enquiry}>Its enquiry</Link>}{j.state === "done" && <button type="button" onClick={() => print()}>Print</button>}<button type="button" onClick={end}>{open(j) ? "Cancel" : "Forget"}</button></div></header>
    {open(j) && <div class="sheet"><progress max={1} value={live?.fraction ?? j.fraction} aria-label={j.title}>{Math.round((live?.fraction ?? j.fraction) * 100)} %</progress><p role="status">{live?.stage || (j.state === "waiting" ? "Another job runs; this one comes next." : "At work …")}</p></div>}
    {j.state === "cancelled" && <p class="none">It was cancelled before its end; there is no result.</p>}
    {j.error && <Faults faults={[j.error]} title={j.state === "interrupted" ? "It was interrupted" : "It failed"} />}
    {j.result && (j.kind === "yield" ? <YieldResult r={j.result as Yield} /> : j.kind === "propose" ? <Proposed a={j.result as Answer} /> : j.kind === "field" ? <FieldDone r={j.result as FieldResult} /> : <pre tabIndex={0}>{JSON.stringify(j.result, null, 2)}</pre>)}</>;
}

function Proposed(p: { a: Answer }) {
  return <><h2>{p.a.proposals.length} chains <small>{p.a.outcome}</small></h2><p>{p.a.why}</p><table><thead><tr><th scope="col">Chain</th><th scope="col">Verdict</th></tr></thead><tbody>{[...p.a.proposals, ...p.a.nearest_misses].map((x) => <tr><th scope="row" class="mono">{x.chain}</th><td><Verdict is={x.verdict} /></td></tr>)}</tbody></table></>;
}
