package web

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"linewright/physics/touchstone"
)

// The three solvers through the API, from files of the workspace, from a text
// and from the fields of a line.
func TestSolvers(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	var list solverFiles
	ask(t, s, "GET", "/solve", "", 200, &list)
	kinds := map[string]string{}
	for _, f := range list.Files {
		kinds[f.Kind] = f.File
		if f.Name == "" || strings.Contains(f.Name, ".yaml") {
			t.Errorf("%+v", f)
		}
	}
	if len(kinds) != 3 {
		t.Fatalf("files of %v", kinds)
	}
	var sec solvedSection
	ask(t, s, "POST", "/solve/section", `{"file":"`+kinds["section"]+`","at":"20GHz"}`, 200, &sec)
	// the masked trace of the examples' page, which says how its figures are known
	if z := *sec.Solved.ImpedanceOhm; !(math.Abs(z-50.075) <= 0.01) || len(sec.Solved.At) != 1 || len(sec.Drawing.Potential) == 0 || !strings.Contains(sec.Text, "conductors:") {
		t.Errorf("%g Ω, %d frequencies, %d figures of lines", z, len(sec.Solved.At), len(sec.Drawing.Potential))
	}
	var again solvedSection
	text, _ := json.Marshal(map[string]string{"text": sec.Text})
	ask(t, s, "POST", "/solve/section", string(text), 200, &again)
	if *again.Solved.ImpedanceOhm != *sec.Solved.ImpedanceOhm {
		t.Error("the same text gives another impedance")
	}
	ask(t, s, "POST", "/solve/section", `{"line":{"kind":"coax","fields":{"inner_diameter":"1 mm","outer_diameter":"2.718281828459 mm"}}}`, 200, &again)
	if z := *again.Solved.ImpedanceOhm; !(math.Abs(z/59.9584916-1) <= 1e-4) { // η0/2π · ln e
		t.Errorf("a coaxial line of the form: %.5f Ω", z)
	}
	var body solvedBody
	ask(t, s, "POST", "/solve/body", `{"file":"`+kinds["body"]+`"}`, 200, &body)
	if len(body.Solved.At) != bodyPoints || len(body.Drawing.Pieces) < 10 {
		t.Errorf("%d points, %d pieces", len(body.Solved.At), len(body.Drawing.Pieces))
	}
	var plan plannedField
	ask(t, s, "POST", "/solve/field/plan", `{"file":"`+kinds["field"]+`"}`, 200, &plan)
	if !plan.Fits || plan.Plan.Cells == 0 || plan.Plan.Plan.MemoryBytes == nil || len(plan.Cuts) != 2 {
		t.Errorf("%+v", plan.Plan)
	}

	for _, c := range []struct {
		at, body string
		status   int
	}{
		{"section", `{}`, 400},
		{"section", `{"file":"../x.yaml"}`, 400},
		{"section", `{"file":"enquiries/d1-bench-jumpers.yaml"}`, 400},
		{"section", `{"file":"sections/none.yaml"}`, 404},
		{"section", `{"text":"region: {left: shut}"}`, 422},
		{"section", `{"file":"sections/trace-under-mask.yaml","at":"no"}`, 422},
		{"body", `{"line":{"kind":"coax","fields":{}}}`, 400},
		{"body", `{"text":"sections: 3"}`, 422},
		{"field/plan", `{"text":"region: {}"}`, 422},
	} {
		refusal(t, s, request("POST", Prefix+"/solve/"+c.at, c.body), c.status)
	}
	e := refusal(t, s, request("POST", Prefix+"/jobs", `{"kind":"field","text":"region: {}\nports: {}\n"}`), 422)
	if e.Errors[0].Line == 0 {
		t.Errorf("a fault of a text without its line: %+v", e.Errors[0])
	}
}

// plugText is a guide with a plug that takes a moment to solve.
const plugText = `field: plug
region: {x: [0 mm, 22.86 mm], y: [0 mm, 2 mm], z: [-12 mm, 20 mm]}
sides: {rest: electric}
materials: {name: plug, permittivity: 2.1}
solids: {material: plug, box: {z: [0 mm, 8 mm]}}
ports:
  - {name: in, side: z_low, mode: te10, plane: 0 mm}
  - {name: out, side: z_high, mode: te10, plane: 8 mm}
band: {from: 8.5 GHz, to: 12 GHz, points: 8}
grid: {cells_per_wave: 16}
stop: {energy_down: 50 dB}
`

// A field solve is a job that shows how the energy falls, ends with pictures and
// a model, and can be cancelled.
func TestFieldJob(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	body, _ := json.Marshal(map[string]string{"kind": "field", "text": plugText})
	var j Job
	ask(t, s, "POST", "/jobs", string(body), 201, &j)
	for end := time.Now().Add(2 * time.Minute); j.State != done; time.Sleep(20 * time.Millisecond) {
		j = Job{ID: j.ID}
		ask(t, s, "GET", "/jobs/"+j.ID, "", 200, &j)
		if j.State == failed || time.Now().After(end) {
			t.Fatalf("%s: %+v", j.State, j.Error)
		}
	}
	var r solvedField
	if err := json.Unmarshal(j.Result, &r); err != nil {
		t.Fatal(err)
	}
	f, err := touchstone.Read(strings.NewReader(r.Touchstone), "plug.s2p", 2)
	if err != nil || len(r.Solved.At) != 8 || len(r.Pictures) != 1 || len(r.Pictures[0].Re2) != r.Pictures[0].Columns*r.Pictures[0].Rows || r.Text != plugText {
		t.Errorf("%v: %d points, %d pictures", err, len(r.Solved.At), len(r.Pictures))
	}
	if n, err := f.Network(); err != nil || n.Ports != 2 || len(n.Frequency) != 8 {
		t.Errorf("the model has %d ports, %v", n.Ports, err)
	}
	if len(j.Live) > 0 {
		t.Error("what was shown on the way is still kept")
	}

	long, _ := json.Marshal(map[string]string{"kind": "field", "text": strings.Replace(plugText, "energy_down: 50 dB", "energy_down: 200 dB", 1)})
	ask(t, s, "POST", "/jobs", string(long), 201, &j)
	var live liveField
	for end := time.Now().Add(2 * time.Minute); len(live.Step) < 3; time.Sleep(20 * time.Millisecond) {
		j = Job{ID: j.ID}
		ask(t, s, "GET", "/jobs/"+j.ID, "", 200, &j)
		if len(j.Live) > 0 {
			if err := json.Unmarshal(j.Live, &live); err != nil {
				t.Fatal(err)
			}
		}
		if j.Ended != nil || time.Now().After(end) {
			t.Fatalf("%s, %s: %+v", j.State, j.Stage, live)
		}
	}
	if live.TargetDB != -200 || !strings.Contains(j.Stage, "left") || len(live.EnergyDB) != len(live.Step) {
		t.Errorf("%s: %+v", j.Stage, live)
	}
	ask(t, s, "DELETE", "/jobs/"+j.ID, "", 200, nil)
	for end := time.Now().Add(time.Minute); j.State != cancelled; time.Sleep(20 * time.Millisecond) {
		ask(t, s, "GET", "/jobs/"+j.ID, "", 200, &j)
		if time.Now().After(end) {
			t.Fatal(j.State)
		}
	}
}
