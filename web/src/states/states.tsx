// Every page in every state: empty, loading, wrong, full, from fixed data. The
// tests look at them, and so does whoever changes a page.
import type { ComponentChildren } from "preact";
import { useEffect } from "preact/hooks";
import { Answers } from "../answers";
import { Refused, stage } from "../api";
import { Link } from "../bits";
import { Chain, View } from "../chain";
import { Chains } from "../chains";
import { Enquiries } from "../enquiries";
import { JobPage, Jobs } from "../jobs";
import { LinePage } from "../line";
import { Measured } from "../measured";
import { NewEnquiry } from "../newenquiry";
import { chainFigures } from "../origins";
import { jobs, origin } from "../state";
import * as data from "./data";

const never = new Promise<never>(() => {});
const wrong = () => Promise.reject(new Refused(422, [data.refusal]));

/** State is one page as it looks when the server answers thus: a path's answer, a promise that may never end, or a refusal. */
interface State { name: string; says: string; answers: Record<string, unknown>; page: () => ComponentChildren; before?: () => void; query?: string }

const known: Record<string, unknown> = { "/forms/enquiry": { groups: data.form }, "/enquiries": { enquiries: data.rows }, "/chains": { chains: data.chains }, "/jobs": { jobs: [] } };
const one = "/enquiries/harbour-link", of = { [one]: data.sheet, [one + "/answer"]: data.answer("full") }, first = one + "/proposals/1";
const answers = () => <Answers id="harbour-link" />, chain = () => <Chain id="harbour-link" chain="p1" />;
const job = (id: string) => data.jobList.find((j) => j.id === id)!;

export const states: State[] = [
  { name: "enquiries/empty", says: "a new workspace", answers: { "/enquiries": { enquiries: [] } }, page: () => <Enquiries /> },
  { name: "enquiries/loading", says: "the list is on its way", answers: { "/enquiries": never }, page: () => <Enquiries /> },
  { name: "enquiries/wrong", says: "the server refuses", answers: { "/enquiries": wrong }, page: () => <Enquiries /> },
  { name: "enquiries/full", says: "one row of each kind", answers: {}, page: () => <Enquiries /> },
  { name: "new-enquiry/empty", says: "nothing is typed yet", answers: {}, page: () => <><h1>Enquiries</h1><NewEnquiry taken={[]} close={() => {}} /></> },
  { name: "new-enquiry/wrong", says: "values that cannot be read", answers: { "POST /enquiries": { ...data.sheet, wrong: [{ path: "from.kind", problem: "no such kind of end", help: "write board or port" }], contradictions: [data.contradiction] } }, page: () => <><h1>Enquiries</h1><NewEnquiry taken={[]} close={() => {}} /></> },
  { name: "answers/loading", says: "the sheet is there, the answer is being searched", answers: { ...of, [one + "/answer"]: never }, page: answers },
  { name: "answers/empty", says: "no chain, and nothing near", answers: { ...of, [one + "/answer"]: data.answer("none") }, page: answers },
  { name: "answers/misses", says: "no chain, but near misses", answers: { ...of, [one + "/answer"]: data.answer("misses") }, page: answers },
  { name: "answers/wrong", says: "the file has faults and statements that clash", answers: { [one]: { ...data.sheet, errors: [data.fault], contradictions: [data.contradiction] }, [one + "/answer"]: wrong }, page: answers },
  { name: "answers/gone", says: "the file is not there", answers: { [one]: wrong, [one + "/answer"]: wrong }, page: answers },
  { name: "answers/full", says: "chains of every verdict, two side by side", answers: of, page: answers, query: "?pick=p1&pick=p2" },
  { name: "chain/loading", says: "being predicted", answers: { [first]: never }, page: chain },
  { name: "chain/wrong", says: "it cannot be predicted", answers: { [first]: wrong }, page: chain },
  { name: "chain/empty", says: "parts that state nothing", answers: { [first]: data.full(false) }, page: chain },
  { name: "chain/full", says: "everything is known, and read at a cursor", answers: { [first]: data.full() }, page: chain, query: "?cursor=32GHz" },
  { name: "chain/alternatives-loading", says: "other parts are being tried", answers: { [first]: data.full(), "POST /alternatives": never }, page: chain, query: "?piece=3" },
  { name: "chain/alternatives-wrong", says: "the piece is no part", answers: { [first]: data.full(), "POST /alternatives": wrong }, page: chain, query: "?piece=3" },
  { name: "chain/alternatives-empty", says: "no other part fits", answers: { [first]: data.full(), "POST /alternatives": data.noAlternatives }, page: chain, query: "?piece=3" },
  { name: "chain/alternatives-full", says: "parts that fit and parts that do not", answers: { [first]: data.full(), "POST /alternatives": data.alternatives }, page: chain, query: "?piece=3" },
  { name: "chain/change-wrong", says: "a swap that cannot be predicted", answers: {}, page: () => <View id="harbour-link" full={data.full()} spec={data.full().spec} edits={[]} busy={false} error={new Refused(422, [data.refusal])} swaps={["length:3:2 bananas"]} /> },
  { name: "origin/full", says: "the popover of a sum", answers: { [first]: data.full() }, page: chain, before: () => setTimeout(() => { origin.value = chainFigures.loss.from(data.prediction()); }, 100) },
  { name: "chains/empty", says: "none is kept", answers: { "/chains": { chains: [] } }, page: () => <Chains /> },
  { name: "chains/loading", says: "the list is on its way", answers: { "/chains": never }, page: () => <Chains /> },
  { name: "chains/wrong", says: "the server refuses", answers: { "/chains": wrong }, page: () => <Chains /> },
  { name: "chains/full", says: "a sound file and one with faults", answers: {}, page: () => <Chains /> },
  { name: "jobs/empty", says: "none was started", answers: {}, page: () => <Jobs />, before: () => (jobs.value = []) },
  { name: "jobs/full", says: "one of each state", answers: {}, page: () => <Jobs />, before: () => (jobs.value = data.jobList) },
  { name: "job/loading", says: "on its way", answers: { "/jobs/done": never }, page: () => <JobPage id="done" /> },
  { name: "job/wrong", says: "forgotten meanwhile", answers: { "/jobs/done": wrong }, page: () => <JobPage id="done" /> },
  ...["waiting", "running", "failed", "cancelled", "interrupted"].map((id) => ({ name: "job/" + id, says: "a job that is " + id, answers: { ["/jobs/" + id]: job(id) }, page: () => <JobPage id={id} />, before: () => { jobs.value = data.jobList; } })),
  { name: "yield/full", says: "a result with everything in it", answers: { "/jobs/done": { ...job("done"), result: data.yieldResult } }, page: () => <JobPage id="done" /> },
  { name: "yield/empty", says: "copies that are all alike", answers: { "/jobs/done": { ...job("done"), result: data.yieldOfNothing } }, page: () => <JobPage id="done" /> },
  { name: "line/loading", says: "being solved", answers: { "/line": never, "POST /line": never }, page: () => <LinePage /> },
  { name: "line/wrong", says: "it cannot be solved", answers: { "/line": { kinds: {} }, "POST /line": wrong }, page: () => <LinePage /> },
  { name: "measured/empty", says: "no file yet", answers: {}, page: () => <Measured /> },
];

/** answer stands in for the server. */
function answer(s: State) {
  return async (method: string, path: string): Promise<unknown> => {
    const key = method === "GET" ? path : method + " " + path, x = s.answers[key] ?? known[key];
    if (x === undefined) throw new Refused(404, [{ ...data.refusal, problem: `no fixed answer to ${method} ${path}`, help: "add one to the page of states" }]);
    return typeof x === "function" ? (x as () => unknown)() : x;
  };
}

export function States(p: { name: string }) {
  const s = states.find((x) => x.name === p.name);
  useEffect(() => { s?.before?.(); }, [p.name]);
  stage(s ? answer(s) : null);
  if (!s) return <><h1>States</h1><p>Every page as it looks empty, loading, wrong and full, from fixed, invented data.</p><ul class="states">{states.map((x) => <li><a href={"/states/" + x.name + (x.query ?? "")}>{x.name}</a> {x.says}</li>)}</ul></>;
  return <><p class="note staged">State {s.name}: {s.says}. All data invented. <Link to="/states">All states</Link></p>{s.page()}</>;
}
