package web

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linewright/app/workspace"
)

// Whatever a question asks for can be stated in the form; what makes sense at
// one kind of end names that end; no value stands twice.
func TestEnquiryForm(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	var d formDoc
	ask(t, s, "GET", "/forms/enquiry", "", 200, &d)
	has := map[string]formField{}
	for _, g := range d.Groups {
		for _, f := range g.Fields {
			if _, twice := has[f.Path]; twice || f.Label == "" || f.Kind == "" {
				t.Errorf("%+v: twice, or without label or kind", f)
			}
			if f.When != "" && !strings.HasPrefix(f.When, strings.SplitN(f.Path, ".", 2)[0]+".kind=") {
				t.Errorf("%s stands under the condition %s", f.Path, f.When)
			}
			has[f.Path] = f
		}
	}
	if f := has["band[0].from"]; f.Kind != "frequency" || !f.Required || f.Example == "" {
		t.Errorf("%+v", f)
	}
	var list enquiryList
	ask(t, s, "GET", "/enquiries", "", 200, &list)
	asked := 0
	for _, r := range list.Enquiries {
		var a struct{ Questions []struct{ Field string } }
		ask(t, s, "GET", "/enquiries/"+r.ID+"/answer", "", 200, &a)
		for _, q := range a.Questions {
			if _, leaf := workspace.EnquiryField(q.Field); !leaf {
				continue // a part's datasheet, or a whole group
			}
			asked++
			if _, ok := has[q.Field]; !ok {
				t.Errorf("%s is asked for and not in the form", q.Field)
			}
		}
	}
	if asked < 10 {
		t.Errorf("only %d questions were seen", asked)
	}
}

// A new enquiry is checked value by value before it is written, and written as
// its edits say.
func TestNewEnquiryByEdits(t *testing.T) {
	dir := copyOfDemo(t)
	s := serverOf(t, dir)
	var d sheet
	ask(t, s, "POST", "/enquiries", `{"id":"two-ports","dry_run":true,"edits":[{"path":"title","value":"Two ports"},{"path":"band[0].from","value":"1 GHz"},{"path":"band[0].to","value":"18 bananas"},{"path":"from.kind","value":"harbour"}]}`, 201, &d)
	if len(d.Wrong) != 2 || d.Wrong[0].Path != "band[0].to" || !strings.Contains(d.Wrong[0].Problem, "banana") && !strings.Contains(d.Wrong[0].Help, "GHz") || d.Wrong[1].Path != "from.kind" || d.Saved || len(d.Errors) == 0 {
		t.Errorf("%+v, %+v", d.Wrong, d.Errors)
	}
	if _, err := os.Stat(filepath.Join(dir, "enquiries", "two-ports.yaml")); err == nil {
		t.Error("a trial was written")
	}
	refusal(t, s, request("POST", Prefix+"/enquiries", `{"id":"two-ports","edits":[{"path":"band[0].to","value":"18 bananas"}]}`), 422)
	refusal(t, s, request("POST", Prefix+"/enquiries", `{"id":"Two-Ports","edits":[{"path":"title","value":"x"}]}`), 400)
	ask(t, s, "POST", "/enquiries", `{"id":"two-ports","edits":[{"path":"title","value":"Two: ports"},{"path":"band[0].from","value":"1 GHz"},{"path":"band[0].to","value":"18 GHz"},{"path":"from.kind","value":"port"},{"path":"to.kind","value":"port"}]}`, 201, &d)
	if text, err := os.ReadFile(filepath.Join(dir, "enquiries", "two-ports.yaml")); err != nil || string(text) != d.Text || !d.Saved || d.Title != "Two: ports" || len(d.Bands) != 1 {
		t.Errorf("%v %+v\n%s", err, d, text)
	}
	ask(t, s, "POST", "/enquiries", `{"id":"two-ports","dry_run":true,"edits":[{"path":"title","value":"x"}]}`, 201, &d)
	if len(d.Errors) != 1 || !strings.Contains(d.Errors[0].Problem, "there already") {
		t.Errorf("%+v", d.Errors)
	}
}

// A chain of an edited, unsaved enquiry can be predicted and kept, board lines
// and all; it is never written over another, and taken away only unchanged.
func TestKeepChain(t *testing.T) {
	dir := copyOfDemo(t)
	s := serverOf(t, dir)
	var a quickAnswer
	ask(t, s, "POST", "/answer", `{"enquiry":"d2-fr2-edge-launch","edits":[{"path":"limits.insertion_loss[0].at_most","value":"9 dB"}]}`, 200, &a)
	if len(a.Specs) != len(a.Proposals) || len(a.MissSpecs) != len(a.NearestMisses) || len(a.Specs)+len(a.MissSpecs) == 0 {
		t.Fatalf("%d chains, %d specs; %d misses, %d specs", len(a.Proposals), len(a.Specs), len(a.NearestMisses), len(a.MissSpecs))
	}
	spec := string(append(a.Specs, a.MissSpecs...)[0])
	if !strings.Contains(spec, `"trace"`) {
		t.Errorf("no board line in %s", spec)
	}
	var full detail
	ask(t, s, "POST", "/predict", `{"enquiry":"d2-fr2-edge-launch","spec":`+spec+`}`, 200, &full)
	var d chainSheet
	ask(t, s, "POST", "/chains", `{"id":"kept","spec":`+spec+`}`, 201, &d)
	refusal(t, s, request("POST", Prefix+"/chains", `{"id":"kept","spec":`+spec+`}`), 409)
	ask(t, s, "POST", "/predict", `{"enquiry":"d2-fr2-edge-launch","chain":"kept"}`, 200, &full)
	refusal(t, s, request("DELETE", Prefix+"/chains/kept?etag=stale", ""), 409)
	if _, err := os.Stat(filepath.Join(dir, "chains", "kept.yaml")); err != nil {
		t.Error(err)
	}
	ask(t, s, "DELETE", "/chains/kept?etag="+d.ETag, "", 200, nil)
	if _, err := os.Stat(filepath.Join(dir, "chains", "kept.yaml")); err == nil {
		t.Error("it is still there")
	}
	refusal(t, s, request("DELETE", Prefix+"/chains/kept?etag="+d.ETag, ""), 404)
}

// A file whose name no address can hold is shown as such, not left out.
func TestUnnamedFile(t *testing.T) {
	dir := copyOfDemo(t)
	for _, name := range []string{"enquiries/two words.yaml", "chains/two words.yaml", "enquiries/D9.yaml"} {
		if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(name)), []byte("title: two words\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s := serverOf(t, dir)
	var list enquiryList
	ask(t, s, "GET", "/enquiries", "", 200, &list)
	var seen []string
	for _, r := range list.Enquiries {
		if r.File == "enquiries/two words.yaml" && r.ID == "" && r.State == "faulty" && len(r.Errors) == 1 || r.ID == "D9" {
			seen = append(seen, r.File)
		}
	}
	if len(seen) != 2 {
		t.Errorf("seen %v", seen)
	}
	var chains chainList
	ask(t, s, "GET", "/chains", "", 200, &chains)
	if r := chains.Chains[len(chains.Chains)-1]; r.ID != "" || len(r.Errors) != 1 {
		t.Errorf("%+v", r)
	}
}
