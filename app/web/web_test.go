package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"linewright/app/demo"
	"linewright/app/wire"
	"linewright/app/workspace"
)

// copyOfDemo writes the demo workspace into a fresh folder.
func copyOfDemo(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	for _, name := range demo.Names() {
		data, err := fs.ReadFile(demo.Files(), name)
		if err != nil {
			t.Fatal(err)
		}
		if err := workspace.WriteFile(filepath.Join(dir, filepath.FromSlash(name)), data); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func serverOf(t testing.TB, dir string, change ...func(*Options)) *Server {
	t.Helper()
	w, err := workspace.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	o := Options{Workspace: w, Version: "test", Poll: 20 * time.Millisecond}
	for _, f := range change {
		f(&o)
	}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	return s
}

// request makes a request as a program on this machine sends it.
func request(method, target, body string) *http.Request {
	r := httptest.NewRequest(method, "http://127.0.0.1:8713"+target, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	return r
}

func do(s http.Handler, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

// ask calls the API and decodes the answer, which must have the status.
func ask(t testing.TB, s *Server, method, target, body string, status int, into any) {
	t.Helper()
	w := do(s, request(method, Prefix+target, body))
	if w.Code != status {
		t.Fatalf("%s %s: %d, want %d: %.600s", method, target, w.Code, status, w.Body)
	}
	if kind := w.Header().Get("Content-Type"); kind != "application/json" {
		t.Fatalf("%s %s: an answer of type %q", method, target, kind)
	}
	if into != nil {
		if err := json.Unmarshal(w.Body.Bytes(), into); err != nil {
			t.Fatalf("%s %s: %v in %.300s", method, target, err, w.Body)
		}
	}
}

// refusal is an error answer, which must name the problem and a cure.
func refusal(t testing.TB, s http.Handler, r *http.Request, status int) wire.Errors {
	t.Helper()
	w := do(s, r)
	var e wire.Errors
	if err := json.Unmarshal(w.Body.Bytes(), &e); w.Code != status || err != nil || len(e.Errors) == 0 {
		t.Errorf("%s %s: %d, want %d: %v %.400s", r.Method, r.URL, w.Code, status, err, w.Body)
		return wire.Errors{Errors: []wire.Error{{}}}
	}
	for _, x := range e.Errors {
		if x.Problem == "" || x.Help == "" {
			t.Errorf("%s %s: a fault without problem or help: %+v", r.Method, r.URL, x)
		}
	}
	return e
}

func TestWorkspaceAndList(t *testing.T) {
	s := serverOf(t, copyOfDemo(t), func(o *Options) { o.Demo = true })
	var w workspaceDoc
	ask(t, s, "GET", "/workspace", "", 200, &w)
	if !w.Demo || w.Parts < 200 || w.Enquiries < 6 || w.Chains < 3 || w.Version != "test" || !filepath.IsAbs(w.Root) {
		t.Errorf("%+v", w)
	}
	var list enquiryList
	deadline := time.Now().Add(2 * time.Minute)
	for {
		ask(t, s, "GET", "/enquiries", "", 200, &list)
		working := 0
		for _, r := range list.Enquiries {
			if r.State == "working" {
				working++
			}
		}
		if working == 0 {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("%d enquiries still work", working)
		}
		time.Sleep(20 * time.Millisecond)
	}
	if len(list.Enquiries) != w.Enquiries {
		t.Errorf("%d of %d enquiries", len(list.Enquiries), w.Enquiries)
	}
	for _, r := range list.Enquiries {
		if r.State != "answered" || r.Outcome == nil || r.Title == "" || len(r.Bands) == 0 || len(r.Verdicts) != r.Proposals || (r.Proposals > 0) != (r.Best != nil) {
			t.Errorf("%+v", r)
		}
	}
	d1 := list.Enquiries[0]
	if d1.ID != "d1-bench-jumpers" || d1.Bands[0] != (band{0.5e9, 18e9}) || d1.Limits[0].LevelDB == nil || *d1.Limits[0].LevelDB != 2.2 {
		t.Errorf("%+v", d1)
	}
}

// The answer and its proposals are those of the job packages, shaped as on the
// command line; they are computed once.
func TestAnswerInFull(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	var a wire.Answer
	ask(t, s, "GET", "/enquiries/d1-bench-jumpers/answer", "", 200, &a)
	if len(a.Proposals) == 0 || !a.Exact {
		t.Fatalf("%d proposals, exact %v", len(a.Proposals), a.Exact)
	}
	var d detail
	ask(t, s, "GET", "/enquiries/d1-bench-jumpers/proposals/1", "", 200, &d)
	if d.Prediction.Chain != a.Proposals[0].Chain || *d.Prediction.InsertionLossDB != *a.Proposals[0].InsertionLossDB {
		t.Errorf("proposal 1 is %s, %s in the answer", d.Prediction.Chain, a.Proposals[0].Chain)
	}
	n := len(d.Curves.FrequencyHz)
	if n < 100 || len(d.Curves.LossDB) == 0 || len(d.Curves.ReturnLossDB.Worst) != n || len(d.Curves.MismatchDB) != n || len(d.Curves.Limits) != 2 {
		t.Errorf("%d frequencies, %d loss curves, limits %+v", n, len(d.Curves.LossDB), d.Curves.Limits)
	}
	// The ledger's elements sum to the whole at the top of the band.
	sum := 0.0
	for _, e := range d.Curves.PerElement {
		sum += *e.LossDB[n-1]
	}
	if got := *d.Prediction.InsertionLossDB; !(sum-got <= 1e-9 && got-sum <= 1e-9) {
		t.Errorf("the elements lose %v dB, the chain %v", sum, got)
	}
	if len(d.Drawing.Elements) != len(d.Prediction.Elements) || !(d.Drawing.WidthM > 0) {
		t.Errorf("%d shapes for %d elements", len(d.Drawing.Elements), len(d.Prediction.Elements))
	}
	// The same chain predicted from its spec gives the same numbers.
	var again detail
	body := fmt.Sprintf(`{"enquiry":"d1-bench-jumpers","spec":%s}`, d.Spec)
	ask(t, s, "POST", "/predict", body, 200, &again)
	if *again.Prediction.InsertionLossDB != *d.Prediction.InsertionLossDB || *again.Prediction.ReturnLossDB.Likely != *d.Prediction.ReturnLossDB.Likely || again.Preliminary != nil {
		t.Errorf("predicted anew: %v dB, %v dB", *again.Prediction.InsertionLossDB, *again.Prediction.ReturnLossDB.Likely)
	}
	var alt struct {
		Part    string
		Options []struct {
			Part    string
			Verdict string
			Refused []string
			Changes *struct {
				Loss *float64 `json:"insertion_loss_db"`
			}
		}
	}
	ask(t, s, "GET", "/enquiries/d1-bench-jumpers/proposals/1/alternatives?piece=1", "", 200, &alt)
	own := false
	for _, o := range alt.Options {
		if (len(o.Refused) == 0) != (o.Verdict != "") {
			t.Errorf("%+v", o)
		}
		if o.Part == alt.Part {
			own = true
			if o.Changes == nil || *o.Changes.Loss != 0 {
				t.Errorf("a part in its own place changes %+v", o)
			}
		}
	}
	if !own || len(alt.Options) < 10 {
		t.Errorf("%d options, own %v", len(alt.Options), own)
	}
	refusal(t, s, request("GET", Prefix+"/enquiries/d1-bench-jumpers/proposals/99", ""), 404)
	refusal(t, s, request("GET", Prefix+"/enquiries/d1-bench-jumpers/misses/99", ""), 404)
	refusal(t, s, request("GET", Prefix+"/enquiries/d1-bench-jumpers/proposals/x", ""), 422)
	refusal(t, s, request("GET", Prefix+"/enquiries/nobody/answer", ""), 404)
	refusal(t, s, request("GET", Prefix+"/enquiries/d1-bench-jumpers/proposals/1/alternatives?piece=77", ""), 422)
}

func TestQuickAnswer(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	before, err := os.ReadFile(filepath.Join(s.ws.Root, "enquiries/d1-bench-jumpers.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var q, full quickAnswer
	body := `{"enquiry":"d1-bench-jumpers","edits":[{"path":"path.length","value":"0.6 m"}],"most":5%s}`
	ask(t, s, "POST", "/answer", fmt.Sprintf(body, ""), 200, &q)
	if q.Preliminary == nil || len(q.Preliminary.Figures) == 0 || len(q.Proposals) == 0 || len(q.Proposals) > 5 {
		t.Errorf("preliminary %+v, %d proposals", q.Preliminary, len(q.Proposals))
	}
	ask(t, s, "POST", "/answer", fmt.Sprintf(body, `,"full":true`), 200, &full)
	if full.Preliminary != nil {
		t.Errorf("a full answer is called preliminary: %+v", full.Preliminary)
	}
	// What is not named preliminary is the same: loss at the top of the band.
	loss := map[string]float64{}
	for _, p := range full.Proposals {
		loss[p.Chain] = *p.InsertionLossDB
	}
	same := 0
	for _, p := range q.Proposals {
		if x, ok := loss[p.Chain]; ok {
			same++
			if x != *p.InsertionLossDB {
				t.Errorf("%s loses %v dB in a hurry, %v in full", p.Chain, *p.InsertionLossDB, x)
			}
		}
	}
	if same == 0 {
		t.Error("no chain stands in both answers")
	}
	after, _ := os.ReadFile(filepath.Join(s.ws.Root, "enquiries/d1-bench-jumpers.yaml"))
	if !bytes.Equal(before, after) {
		t.Error("the file was changed")
	}
	e := refusal(t, s, request("POST", Prefix+"/answer", `{"enquiry":"d1-bench-jumpers","edits":[{"path":"path.length","value":"0.6"}]}`), 422)
	if e.Errors[0].Line != 8 || e.Errors[0].Column == 0 {
		t.Errorf("a bare number: %+v", e.Errors[0])
	}
	refusal(t, s, request("POST", Prefix+"/answer", `{"enquiry":"d1-bench-jumpers","edits":[{"path":"path.lenght","value":"0.6 m"}]}`), 422)
}

// Comments stay, a conflict is told with the text that stands there, a faulty
// text is not written, a dry run writes nothing.
func TestChangeEnquiry(t *testing.T) {
	dir := copyOfDemo(t)
	s := serverOf(t, dir)
	file := filepath.Join(dir, "enquiries", "d1-bench-jumpers.yaml")
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var d sheet
	ask(t, s, "GET", "/enquiries/d1-bench-jumpers", "", 200, &d)
	if d.Text != string(before) || !d.Saved || len(d.Fields) < 20 || len(d.Questions) == 0 {
		t.Errorf("%+v", d)
	}
	put := func(body string, args ...any) string { return fmt.Sprintf(body, args...) }

	var dry sheet
	ask(t, s, "PUT", "/enquiries/d1-bench-jumpers", put(`{"etag":%q,"dry_run":true,"edits":[{"path":"path.length","value":"nonsense"}]}`, d.ETag), 200, &dry)
	if len(dry.Errors) == 0 || dry.Errors[0].Line != 8 || dry.Saved || !strings.Contains(dry.Text, "nonsense") {
		t.Errorf("a dry run of a faulty value: %+v", dry.Errors)
	}
	refusal(t, s, request("PUT", Prefix+"/enquiries/d1-bench-jumpers", put(`{"etag":%q,"edits":[{"path":"path.length","value":"nonsense"}]}`, d.ETag)), 422)
	refusal(t, s, request("PUT", Prefix+"/enquiries/d1-bench-jumpers", put(`{"etag":%q,"text":"title: [","edits":[{"path":"title","value":"x"}]}`, d.ETag)), 422)
	refusal(t, s, request("PUT", Prefix+"/enquiries/d1-bench-jumpers", put(`{"etag":%q,"text":"title: ["}`, d.ETag)), 422)
	if now, _ := os.ReadFile(file); !bytes.Equal(now, before) {
		t.Fatal("the file was changed by what was refused")
	}

	var next sheet
	ask(t, s, "PUT", "/enquiries/d1-bench-jumpers", put(`{"etag":%q,"edits":[{"path":"path.length","value":"0.9 m"},{"path":"lines","value":"4"},{"path":"handling.matings_per_day","value":null}]}`, d.ETag), 200, &next)
	now, _ := os.ReadFile(file)
	want := strings.NewReplacer("length: 1.2 m}", "length: 0.9 m}\nlines: 4"+"", "{matings_per_day: 25}", "{}").Replace(string(before))
	want = strings.Replace(strings.Replace(want, "\nlines: 4", "", 1), "# \"in our lab\": the lab's worst\n", "# \"in our lab\": the lab's worst\nlines: 4\n", 1)
	if string(now) != want || next.Text != want || next.ETag == d.ETag {
		t.Errorf("the file is\n%s\nwant\n%s", now, want)
	}

	var e apiError
	ask(t, s, "PUT", "/enquiries/d1-bench-jumpers", put(`{"etag":%q,"edits":[{"path":"path.length","value":"1 m"}]}`, d.ETag), 409, &e)
	if e.Text != want || e.ETag != next.ETag {
		t.Errorf("a conflict shows %q", e.Text)
	}
	refusal(t, s, request("PUT", Prefix+"/enquiries/nobody", put(`{"etag":"x","edits":[]}`)), 404)

	// Undo is putting the old text back.
	ask(t, s, "PUT", "/enquiries/d1-bench-jumpers", put(`{"etag":%q,"text":%q}`, next.ETag, before), 200, nil)
	if now, _ := os.ReadFile(file); !bytes.Equal(now, before) {
		t.Error("the old text is not back")
	}
	left, err := filepath.Glob(filepath.Join(dir, "enquiries", ".*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestCreate(t *testing.T) {
	dir := copyOfDemo(t)
	s := serverOf(t, dir)
	var d sheet
	ask(t, s, "POST", "/enquiries", `{"id":"new-one"}`, 201, &d)
	if len(d.Errors) > 0 || d.Text != template {
		t.Errorf("the template has faults: %+v", d.Errors)
	}
	var a wire.Answer
	ask(t, s, "GET", "/enquiries/new-one/answer", "", 200, &a)
	if len(a.Proposals) == 0 {
		t.Error("the template has no answer in the demo's catalogue")
	}
	ask(t, s, "POST", "/enquiries", `{"id":"new-one"}`, 409, nil)
	refusal(t, s, request("POST", Prefix+"/enquiries", `{"id":"other","text":"titel: x"}`), 422)
	for _, id := range []string{"../x", "..", ".hidden", "a/b", `a\\b`, "Ä", "A", "", "a..b", "con.", strings.Repeat("a", 200), "a\\u0000b"} {
		refusal(t, s, request("POST", Prefix+"/enquiries", `{"id":"`+id+`"}`), 400)
	}
	var c chainSheet
	ask(t, s, "POST", "/chains", `{"id":"swap","spec":{"name":"swap","enquiry":"d1-bench-jumpers","pieces":[{"part":"K35"},{"part":"CA1","length":"0.8 m"},{"part":"K35"}]}}`, 201, &c)
	if len(c.Parts) != 3 || c.Enquiry != "d1-bench-jumpers" {
		t.Errorf("%+v", c)
	}
	ask(t, s, "PUT", "/chains/swap", fmt.Sprintf(`{"etag":%q,"edits":[{"path":"pieces[1].length","value":"0.7 m"}]}`, c.ETag), 200, &c)
	if !strings.Contains(c.Text, "length: 0.7 m") {
		t.Error(c.Text)
	}
	var p detail
	ask(t, s, "POST", "/predict", `{"chain":"swap","quick":true}`, 200, &p)
	if p.Preliminary == nil || len(p.Prediction.Elements) != 3 {
		t.Errorf("%+v", p.Preliminary)
	}
	refusal(t, s, request("POST", Prefix+"/chains", `{"id":"bad","spec":{"pieces":[{"part":"K35","lenght":"1 m"}]}}`), 422)
	refusal(t, s, request("POST", Prefix+"/chains", `{"id":"bad"}`), 422)
	refusal(t, s, request("POST", Prefix+"/predict", `{"spec":{"pieces":[{"file":{"path":"../../etc/passwd"}}]},"enquiry":"d1-bench-jumpers"}`), 404)
	refusal(t, s, request("POST", Prefix+"/predict", `{"spec":{"pieces":[{"part":"no such"}]},"enquiry":"d1-bench-jumpers"}`), 422)
	refusal(t, s, request("POST", Prefix+"/predict", `{"enquiry":"d1-bench-jumpers"}`), 422)
	refusal(t, s, request("POST", Prefix+"/predict", `{"spec":{"pieces":[{"part":"K35"}]}}`), 422) // names no enquiry
	var list chainList
	ask(t, s, "GET", "/chains", "", 200, &list)
	if len(list.Chains) != 4 {
		t.Errorf("%d chains", len(list.Chains))
	}
}

func TestParts(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	var l partList
	ask(t, s, "GET", "/parts?kind=cable_connector&search=2.92+female", "", 200, &l)
	if l.Total == 0 {
		t.Error("no part found")
	}
	for _, p := range l.Parts {
		if p.Kind != "cable connector" || !strings.Contains(strings.Join(p.Faces, " ")+p.Description, "2.92") {
			t.Errorf("%+v", p)
		}
	}
	var d partDetail
	ask(t, s, "GET", "/parts/CA1", "", 200, &d)
	if d.Kind != "cable" || !strings.Contains(string(d.Fields), `"outer_diameter":"`) {
		t.Errorf("%+v %s", d.PartRow, d.Fields)
	}
	refusal(t, s, request("GET", Prefix+"/parts/nobody", ""), 404)
	refusal(t, s, request("GET", Prefix+"/parts?kind=bolt", ""), 422)
	refusal(t, s, request("GET", Prefix+"/parts?knid=cable", ""), 422)
}

func TestLine(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	var l struct {
		wire.Line
		Fields  map[string]string
		Drawing struct{ Pieces []struct{ What string } }
		Chart   struct {
			Limit []*float64 `json:"mode_free_limit_hz"`
		}
	}
	ask(t, s, "POST", "/line", `{"kind":"coax","fields":{"inner_diameter":"1.27 mm","outer_diameter":"2.92 mm"},"at":"1GHz:40GHz:40"}`, 200, &l)
	// 46.5 GHz: the usual figure of a 2.92 mm air line of 1.268 mm pin; see the
	// table in TestCutoffs of package line for its source.
	if f := *l.ModeFreeLimitHz / 1e9; !(f > 46.4 && f < 46.6) || len(l.At) != 40 || len(l.Drawing.Pieces) != 3 {
		t.Errorf("mode-free below %v GHz, %d frequencies, %d pieces", f, len(l.At), len(l.Drawing.Pieces))
	}
	// Half the size, twice the limit.
	if a, b := *l.Chart.Limit[12], *l.Chart.Limit[6]; !(b/a > 1.9999 && b/a < 2.0001) {
		t.Errorf("at half the size the limit is %v times as high", b/a)
	}
	ask(t, s, "POST", "/line", `{"kind":"microstrip","fields":{"height":"0.254 mm","permittivity":"3.66"},"solve_for":"width=50ohm"}`, 200, &l)
	if z := *l.StaticImpedanceOhm; !(z > 49.99 && z < 50.01) || l.Fields["width"] == "" || !(l.Solved["width_m"] > 0.4e-3) {
		t.Errorf("%v ohm, width %v", z, l.Fields)
	}
	for _, bad := range []string{
		`{"kind":"coacks","fields":{}}`,
		`{"kind":"coax","fields":{}}`,
		`{"kind":"coax","fields":{"inner_diameter":"1.27","outer_diameter":"2.92 mm"}}`,
		`{"kind":"coax","fields":{"inner_diameter":"3 mm","outer_diameter":"2.92 mm"}}`,
		`{"kind":"coax","fields":{"inner":"3 mm","outer_diameter":"2.92 mm"}}`,
		`{"kind":"coax","fields":{"inner_diameter":"1 mm","outer_diameter":"2.92 mm"},"at":"1GHz:2GHz:900000000"}`,
		`{"kind":"coax","fields":{"inner_diameter":"1 mm","outer_diameter":"2.92 mm"},"at":"0 Hz"}`,
		`{"kind":"coax","fields":{"inner_diameter":"1 mm"},"solve_for":"outer_diameter=9999ohm"}`,
		`{"kind":"coax","fields":{"inner_diameter":"1 mm"},"solve_for":"colour=50ohm"}`,
		`{"kind":"stripline","fields":{"width":"0.2 mm","spacing":"0.5 mm","method":"guess"}}`,
	} {
		refusal(t, s, request("POST", Prefix+"/line", bad), 422)
	}
	var forms lineForms
	ask(t, s, "GET", "/line", "", 200, &forms)
	if len(forms.Kinds) != 4 {
		t.Errorf("%d kinds", len(forms.Kinds))
	}
}

// A file changed on disk is told to whoever listens, and the next answer is
// that of the new file.
func TestFileChanged(t *testing.T) {
	dir := copyOfDemo(t)
	s := serverOf(t, dir)
	web := httptest.NewServer(s)
	defer web.Close()
	defer s.Hangup()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, "GET", web.URL+Prefix+"/events", nil)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if kind := answer.Header.Get("Content-Type"); kind != "text/event-stream" {
		t.Fatalf("events of type %q", kind)
	}
	var list enquiryList
	ask(t, s, "GET", "/enquiries", "", 200, &list)
	if err := workspace.WriteFile(filepath.Join(dir, "enquiries", "d3-board-to-board.yaml"), []byte("title: gone\n")); err != nil {
		t.Fatal(err)
	}
	seen := ""
	buf := make([]byte, 4096)
	for !strings.Contains(seen, "event: files\ndata: {\"files\":[\"enquiries/d3-board-to-board.yaml\"]}") {
		n, err := answer.Body.Read(buf)
		if err != nil {
			t.Fatalf("%v after %q", err, seen)
		}
		seen += string(buf[:n])
	}
	if !strings.Contains(seen, "event: alive") {
		t.Errorf("no sign of life: %q", seen)
	}
	var open wire.Answer
	ask(t, s, "GET", "/enquiries/d3-board-to-board/answer", "", 200, &open)
	if open.Outcome != "ask first" { // no band any more
		t.Errorf("without a band the outcome is %q", open.Outcome)
	}
}

// The catalogue is read again when it changes, and its faults are told.
func TestCatalogueChanged(t *testing.T) {
	dir := copyOfDemo(t)
	s := serverOf(t, dir)
	var w workspaceDoc
	ask(t, s, "GET", "/workspace", "", 200, &w)
	parts := w.Parts
	if err := os.WriteFile(filepath.Join(dir, "catalogue", "zz.yaml"), []byte("cables:\n  - {id: ZZ, prise: 3 EUR}\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	ask(t, s, "GET", "/workspace", "", 200, &w)
	if len(w.Errors) != 1 || w.Errors[0].Line != 2 || !strings.Contains(w.Errors[0].Help, "price") {
		t.Errorf("%+v", w.Errors)
	}
	var list enquiryList
	ask(t, s, "GET", "/enquiries", "", 200, &list)
	for _, r := range list.Enquiries {
		if r.State != "faulty" || len(r.Errors) == 0 {
			t.Errorf("%s is %s without a catalogue", r.ID, r.State)
		}
	}
	if err := os.Remove(filepath.Join(dir, "catalogue", "zz.yaml")); err != nil {
		t.Fatal(err)
	}
	ask(t, s, "GET", "/workspace", "", 200, &w)
	if w.Parts != parts || len(w.Errors) != 0 {
		t.Errorf("%d parts, were %d; %+v", w.Parts, parts, w.Errors)
	}
}

// The description is OpenAPI 3.1 and names every call, each with its errors.
func TestOpenAPI(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	w := do(s, request("GET", Prefix+"/openapi.json", ""))
	var d struct {
		OpenAPI string
		Paths   map[string]map[string]struct {
			OperationID string
			Summary     string
			Responses   map[string]any
		}
	}
	if err := json.Unmarshal(w.Body.Bytes(), &d); err != nil || !strings.HasPrefix(d.OpenAPI, "3.1") {
		t.Fatalf("%v, OpenAPI %q", err, d.OpenAPI)
	}
	for _, call := range []string{"get /workspace", "get /enquiries", "post /enquiries", "get /enquiries/{id}", "put /enquiries/{id}", "get /enquiries/{id}/answer", "post /answer",
		"get /forms/enquiry", "delete /chains/{id}", "get /enquiries/{id}/proposals/{rank}", "get /enquiries/{id}/misses/{rank}", "get /enquiries/{id}/proposals/{rank}/alternatives", "post /alternatives", "post /predict",
		"get /parts", "get /parts/{id}", "get /chains", "post /chains", "get /chains/{id}", "put /chains/{id}", "get /line", "post /line", "post /measured",
		"get /solve", "post /solve/section", "post /solve/body", "post /solve/field/plan",
		"post /jobs", "get /jobs", "get /jobs/{id}", "delete /jobs/{id}", "get /events"} {
		method, at, _ := strings.Cut(call, " ")
		op, ok := d.Paths[at][method]
		if !ok || op.Summary == "" || op.Responses["default"] == nil && at != "/events" {
			t.Errorf("%s: %+v", call, op)
		}
		delete(d.Paths[at], method)
	}
	for at, ops := range d.Paths {
		for method := range ops {
			t.Errorf("%s %s is not in this test", method, at)
		}
	}
	if strings.Contains(w.Body.String(), "://") && strings.Contains(w.Body.String(), "127.0.0.1") {
		t.Error("the description names a host")
	}
}

func TestAssets(t *testing.T) {
	files := fstest.MapFS{"index.html": {Data: []byte("<!doctype html><title>page</title>")}, "assets/app-ABCD1234.js": {Data: []byte(strings.Repeat("let x = 1;\n", 100))}}
	s := serverOf(t, copyOfDemo(t), func(o *Options) { o.Assets = files })
	for _, at := range []string{"/", "/enquiries/d1", "/index.html", "/etc/passwd", "/assets"} {
		w := do(s, request("GET", at, ""))
		if w.Code != 200 || !strings.Contains(w.Body.String(), "<title>page") || w.Header().Get("Cache-Control") != "no-cache" {
			t.Errorf("%s: %d %q %.100s", at, w.Code, w.Header().Get("Cache-Control"), w.Body)
		}
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "X-Frame-Options": "DENY"} {
			if got := w.Header().Get(name); got != want {
				t.Errorf("%s: %s: %q", at, name, got)
			}
		}
		csp := w.Header().Get("Content-Security-Policy")
		if !strings.Contains(csp, "default-src 'self'") || !strings.Contains(csp, "frame-ancestors 'none'") || strings.Contains(strings.Split(csp, "style-src")[0], "unsafe") {
			t.Errorf("%s: policy %q", at, csp)
		}
	}
	r := request("GET", "/assets/app-ABCD1234.js", "")
	r.Header.Set("Accept-Encoding", "gzip")
	w := do(s, r)
	if w.Header().Get("Content-Encoding") != "gzip" || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/javascript") {
		t.Errorf("%v", w.Header())
	}
	r.Header.Set("If-None-Match", w.Header().Get("ETag"))
	if w := do(s, r); w.Code != 304 {
		t.Errorf("unchanged: %d", w.Code)
	}
	if w := do(s, request("GET", "/assets/gone-ABCD1234.js", "")); w.Code != 404 {
		t.Errorf("a script that is gone: %d", w.Code)
	}
	if w := do(s, request("POST", "/", "{}")); w.Code != 405 {
		t.Errorf("POST to a page: %d", w.Code)
	}
	empty := serverOf(t, copyOfDemo(t), func(o *Options) { o.Assets = fstest.MapFS{} })
	if w := do(empty, request("GET", "/", "")); !strings.Contains(w.Body.String(), "pages are missing") {
		t.Errorf("without pages: %.200s", w.Body)
	}
	embedded := serverOf(t, copyOfDemo(t))
	if w := do(embedded, request("GET", "/", "")); w.Code != 200 || !strings.Contains(w.Body.String(), "<html") {
		t.Errorf("the embedded page: %d", w.Code)
	}
}

// Nothing that is served loads anything from elsewhere.
func TestPagesLoadNothingFromElsewhere(t *testing.T) {
	err := fs.WalkDir(dist, "dist", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || path.Ext(name) != ".html" && path.Ext(name) != ".css" {
			return err
		}
		data, err := fs.ReadFile(dist, name)
		for _, bad := range []string{`src="http`, `href="http`, "url(http", "@import \"http", `src="//`} {
			if bytes.Contains(data, []byte(bad)) {
				t.Errorf("%s holds %s", name, bad)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
