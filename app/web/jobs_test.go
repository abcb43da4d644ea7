package web

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"linewright/app/wire"
)

// until waits for a job to reach one of the states.
func until(t *testing.T, s *Server, id string, states ...string) Job {
	t.Helper()
	deadline := time.Now().Add(2 * time.Minute)
	for {
		var j Job
		ask(t, s, "GET", "/jobs/"+id, "", 200, &j)
		for _, want := range states {
			if j.State == want {
				return j
			}
		}
		if time.Now().After(deadline) || j.Ended != nil {
			t.Fatalf("job is %s (%+v), want %v", j.State, j.Error, states)
		}
		time.Sleep(10 * time.Millisecond)
	}
}

func TestYieldJob(t *testing.T) {
	dir := copyOfDemo(t)
	s := serverOf(t, dir)
	var j Job
	ask(t, s, "POST", "/jobs", `{"kind":"yield","chain":"bench-jumper","samples":400,"tolerances":{"tolerances":[{"piece":"cable","quantity":"length","half_width":"0.5 mm"}]}}`, 201, &j)
	j = until(t, s, j.ID, done)
	var y wire.Yield
	if err := json.Unmarshal(j.Result, &y); err != nil || j.Fraction != 1 || j.Started == nil || j.Ended == nil {
		t.Fatalf("%v, %+v", err, j)
	}
	var p Job
	ask(t, s, "POST", "/jobs", `{"kind":"propose","enquiry":"d3-board-to-board","most":3}`, 201, &p)
	p = until(t, s, p.ID, done)
	var a wire.Answer
	if err := json.Unmarshal(p.Result, &a); err != nil || len(a.Proposals)+len(a.NearestMisses) == 0 {
		t.Fatalf("%v, %+v", err, p)
	}
	var list jobList
	ask(t, s, "GET", "/jobs", "", 200, &list)
	if len(list.Jobs) != 2 || list.Jobs[0].ID != p.ID || list.Jobs[0].Result != nil && string(list.Jobs[0].Result) != "null" {
		t.Errorf("%d jobs, first %s", len(list.Jobs), list.Jobs[0].ID)
	}

	// Another run of the program shows both, results and all.
	s.Close()
	again := serverOf(t, dir)
	var old Job
	ask(t, again, "GET", "/jobs/"+j.ID, "", 200, &old)
	if old.State != done || string(old.Result) != string(j.Result) {
		t.Errorf("after a restart: %s, %d bytes of result, were %d", old.State, len(old.Result), len(j.Result))
	}
	ask(t, again, "DELETE", "/jobs/"+j.ID, "", 200, nil)
	refusal(t, again, request("GET", Prefix+"/jobs/"+j.ID, ""), 404)

	for body, status := range map[string]int{
		`{"kind":"solve"}`:                                           422,
		`{"kind":"yield"}`:                                           422,
		`{"kind":"yield","chain":"nobody"}`:                          404,
		`{"kind":"propose","enquiry":"nobody"}`:                      404,
		`{"kind":"yield","chain":"bench-jumper","samples":99999999}`: 422,
		`{"kind":"yield","chain":"bench-jumper","tolerances":{"tolerances":[{"quantity":"colour"}]}}`:  422,
		`{"kind":"yield","enquiry":"d1-bench-jumpers","rank":99}`:                                      404,
		`{"kind":"yield","chain":"bench-jumper","tolerances":{"tolerances":[{"quantity":"opening"}]}}`: 422,
	} {
		refusal(t, again, request("POST", Prefix+"/jobs", body), status)
	}
	refusal(t, again, request("DELETE", Prefix+"/jobs/nobody", ""), 404)
}

// A job is cancelled while it runs and while it waits; one that ran when the
// program ended is said to be interrupted.
func TestCancelAndInterrupt(t *testing.T) {
	dir := copyOfDemo(t)
	s := serverOf(t, dir)
	endless := func(ctx context.Context, report func(string, float64)) (any, error) {
		report("turning", 0.25)
		<-ctx.Done()
		return nil, ctx.Err()
	}
	first, err := s.jobs.start("yield", "first", json.RawMessage(`{}`), endless)
	if err != nil {
		t.Fatal(err)
	}
	until(t, s, first.ID, running)
	second, err := s.jobs.start("yield", "second", json.RawMessage(`{}`), endless)
	if err != nil {
		t.Fatal(err)
	}
	var j Job
	ask(t, s, "GET", "/jobs/"+second.ID, "", 200, &j)
	if j.State != waiting {
		t.Errorf("a second job is %s while the first runs", j.State)
	}
	third, err := s.jobs.start("yield", "third", json.RawMessage(`{}`), endless)
	if err != nil {
		t.Fatal(err)
	}
	ask(t, s, "DELETE", "/jobs/"+second.ID, "", 200, nil)
	until(t, s, second.ID, cancelled)
	ask(t, s, "DELETE", "/jobs/"+first.ID, "", 200, nil)
	until(t, s, first.ID, cancelled)
	until(t, s, third.ID, running)

	// The program falls over: the file says that the third ran.
	data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(jobsFile)))
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(jobsFile)), data, 0o666); err != nil {
		t.Fatal(err)
	}
	again := serverOf(t, dir)
	ask(t, again, "GET", "/jobs/"+third.ID, "", 200, &j)
	if j.State != interrupted || j.Error == nil || j.Ended == nil {
		t.Errorf("after a fall the third is %s: %+v", j.State, j.Error)
	}

	// A panic in a job fails the job alone.
	bad, err := again.jobs.start("yield", "bad", json.RawMessage(`{}`), func(context.Context, func(string, float64)) (any, error) { panic("divided by zero") })
	if err != nil {
		t.Fatal(err)
	}
	if j := until(t, again, bad.ID, failed); j.Error == nil {
		t.Errorf("%+v", j)
	}

	// A broken file of jobs does not stop the program.
	again.Close()
	if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(jobsFile)), []byte("[{"), 0o666); err != nil {
		t.Fatal(err)
	}
	var list jobList
	ask(t, serverOf(t, dir), "GET", "/jobs", "", 200, &list)
	if len(list.Jobs) != 0 {
		t.Errorf("%d jobs out of a broken file", len(list.Jobs))
	}
}

func TestJobsAreBounded(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	wait := func(ctx context.Context, _ func(string, float64)) (any, error) {
		<-ctx.Done()
		return nil, ctx.Err()
	}
	for range waitingJobs {
		if _, err := s.jobs.start("yield", "x", nil, wait); err != nil {
			t.Fatal(err)
		}
	}
	refusal(t, s, request("POST", Prefix+"/jobs", `{"kind":"propose","enquiry":"d3-board-to-board"}`), 429)
}
