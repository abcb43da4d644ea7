// The chains that stand in the workspace as files.
import { get, type ChainRow } from "./api";
import { Faults, Link, Wait } from "./bits";
import { changed, useLoad } from "./state";

export function Chains() {
  const s = useLoad("c" + changed.value, (sig) => get<{ chains: ChainRow[] }>("/chains", sig));
  if (!s.data) return <><h1>Chains</h1>{s.error ? <Faults faults={s.error.faults} title="The chains could not be read" /> : <Wait what="Reading the chains …" />}</>;
  return <><header class="head"><div><h1>Chains</h1><p>Chains kept as files of the workspace's folder <code>chains</code>.</p></div></header>
    {!s.data.chains.length ? <p class="none">None is kept yet. A chain's page keeps one with <b>Keep as a file</b>.</p>
      : <table><thead><tr><th scope="col">Chain</th><th scope="col">Parts</th><th scope="col">Enquiry</th><th scope="col">File</th></tr></thead>
        <tbody>{s.data.chains.map((c) => <tr><th scope="row">{c.id ? <Link to={"/chain/" + c.id} class="title">{c.name || c.id}</Link> : c.name}<small>{c.note}</small><Faults faults={c.errors} title="The file has faults" /></th>
          <td class="mono">{c.parts.join(" + ")}</td><td>{c.enquiry ? <Link to={"/enquiry/" + c.enquiry}>{c.enquiry}</Link> : "none named"}</td><td><code>{c.file}</code></td></tr>)}</tbody></table>}</>;
}
