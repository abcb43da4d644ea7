package sample

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// chain is a small study: two margins of three inputs, some of them correlated.
func chain() Study {
	return Study{
		Inputs:  []Input{{"loss", Normal{2.9, 0.1}}, {"gap", Uniform{0, 0.2}}, {"pitch", TruncatedNormal{0, 0.05, -0.1, 0.1}}},
		Outputs: []Output{{Name: "loss margin", Margin: true}, {Name: "return loss margin", Margin: true}, {Name: "delay"}},
		Model: func(_ context.Context, x, y []float64) error {
			y[0] = 3.2 - x[0] - 0.3*x[1]
			y[1] = 2 - 30*x[1]*x[1] - 5*math.Abs(x[2]) - x[0]*0.2
			y[2] = x[0]*x[1] - x[2]
			return nil
		},
		Correlations: []Correlation{{0, 1, 0.4}},
	}
}

// The same plan gives the same bits for any number of workers and any batch.
func TestWorkers(t *testing.T) {
	for _, m := range []Method{Random, LatinHypercube, Sobol} {
		plan := Plan{Method: m, Seed: 3, N: 1000}
		st, err := New(chain(), plan)
		if err != nil {
			t.Fatal(err)
		}
		var first State
		for i, o := range []Options{{Workers: 1, Batch: 1}, {Workers: 3}, {Workers: 8, Batch: 77}, {Workers: 2, Batch: 5000}} {
			got, err := Run(context.Background(), chain(), st, o)
			if err != nil {
				t.Fatal(err)
			}
			if i == 0 {
				first = got
			} else if d := cmp.Diff(first, got); d != "" {
				t.Errorf("%s: %+v differs: %s", m, o, d)
			}
		}
		if first.Done != 1000 || len(first.Values) != 3000 || first.Meets == 0 || first.Meets == 1000 {
			t.Errorf("%s: done %d, %d values, %d meet", m, first.Done, len(first.Values), first.Meets)
		}
	}
}

// A run stopped by its context, written as JSON, read and run on equals the
// run that never stopped; the state handed in is not touched.
func TestResume(t *testing.T) {
	plan := Plan{Method: Sobol, Seed: 9, N: 512}
	start, err := New(chain(), plan)
	if err != nil {
		t.Fatal(err)
	}
	whole, err := Run(context.Background(), chain(), start, Options{})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	s := chain()
	inner := s.Model
	var calls atomic.Int32
	s.Model = func(ctx context.Context, x, y []float64) error {
		if calls.Add(1) == 200 {
			cancel()
		}
		return inner(ctx, x, y)
	}
	part, err := Run(ctx, s, start, Options{Workers: 4, Batch: 7})
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("cancelled run: %v", err)
	}
	if part.Done >= 512 || start.Done != 0 || len(start.Values) != 0 || start.Outputs[0].Mean != 0 {
		t.Fatalf("cancelled run has %d samples, the first state %d", part.Done, start.Done)
	}
	text, err := json.Marshal(part)
	if err != nil {
		t.Fatal(err)
	}
	var read State
	if err := json.Unmarshal(text, &read); err != nil {
		t.Fatal(err)
	}
	rest, err := Run(context.Background(), chain(), read, Options{Workers: 3})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(whole, rest); d != "" {
		t.Errorf("resumed after %d samples: %s", part.Done, d)
	}
	// A longer plan draws the same samples first.
	longer, err := whole.Extend(1024)
	if err != nil {
		t.Fatal(err)
	}
	if longer, err = Run(context.Background(), chain(), longer, Options{}); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(whole.Values, longer.Values[:len(whole.Values)]); d != "" {
		t.Errorf("extended run: %s", d)
	}
	hyper := whole
	hyper.Plan.Method = LatinHypercube
	if _, err := hyper.Extend(2048); err == nil {
		t.Error("a latin hypercube was lengthened")
	}
}

// The tallies are those of the values.
func TestTallies(t *testing.T) {
	st, err := New(chain(), Plan{N: 777, Seed: 1, Replicates: 5})
	if err != nil {
		t.Fatal(err)
	}
	var seen []Progress
	st, err = Run(context.Background(), chain(), st, Options{Batch: 100, Progress: func(p Progress) { seen = append(seen, p) }})
	if err != nil {
		t.Fatal(err)
	}
	if len(seen) != 8 || seen[7] != (Progress{777, 777, st.Meets}) {
		t.Errorf("progress %v", seen)
	}
	a, b := st.Column(0), st.Column(1)
	meets := 0
	for i := range a {
		if a[i] >= 0 && b[i] >= 0 {
			meets++
		}
	}
	sum := 0
	for _, k := range st.ReplicateMeets {
		sum += k
	}
	if meets != st.Meets || sum != meets {
		t.Errorf("meets %d, replicates %d, values %d", st.Meets, sum, meets)
	}
	e, got := MeanOf(a), st.Output(0)
	if !(math.Abs(got.Mean-e.Mean) <= 1e-12) || !(math.Abs(got.StandardDeviation-e.Deviation) <= 1e-12) {
		t.Errorf("summary %+v, values %+v", got, e)
	}
	x, err := chain().Sample(st.Plan, got.LeastAt)
	if err != nil {
		t.Fatal(err)
	}
	y := make([]float64, 3)
	_ = chain().Model(context.Background(), x, y)
	if y[0] != got.Least {
		t.Errorf("sample %d drawn again gives %g, least was %g", got.LeastAt, y[0], got.Least)
	}
	lean, err := New(chain(), st.Plan)
	if err != nil {
		t.Fatal(err)
	}
	if lean, err = Run(context.Background(), chain(), lean, Options{Forget: true}); err != nil {
		t.Fatal(err)
	}
	if lean.Values != nil || lean.Column(0) != nil {
		t.Error("values kept")
	}
	if d := cmp.Diff(st.Outputs, lean.Outputs); d != "" {
		t.Error(d)
	}
}

// Stop ends the run at the same sample for any number of workers.
func TestStop(t *testing.T) {
	for _, w := range []int{1, 5} {
		st, err := New(chain(), Plan{N: 1 << 20, Seed: 2})
		if err != nil {
			t.Fatal(err)
		}
		st, err = Run(context.Background(), chain(), st, Options{Workers: w, Stop: func(s *State) bool { return s.Done-s.Meets == 25 }})
		if err != nil {
			t.Fatal(err)
		}
		if st.Done-st.Meets != 25 || len(st.Values) != 3*st.Done {
			t.Errorf("%d workers: stopped at %d with %d misses", w, st.Done, st.Done-st.Meets)
		}
		if w == 1 {
			continue
		}
		one, _ := New(chain(), Plan{N: st.Done, Seed: 2})
		one, _ = Run(context.Background(), chain(), one, Options{Workers: 1})
		if d := cmp.Diff(one.Values, st.Values); d != "" {
			t.Error(d)
		}
	}
}

// Errors name the sample, whichever worker meets them first, and leave no goroutine behind.
func TestModelErrors(t *testing.T) {
	before := runtime.NumGoroutine()
	broken := errors.New("no mesh")
	for _, w := range []int{1, 4} {
		s := chain()
		s.Correlations = nil
		inner := s.Model
		s.Model = func(ctx context.Context, x, y []float64) error {
			if x[1] > 0.19 {
				return broken
			}
			return inner(ctx, x, y)
		}
		st, err := New(s, Plan{N: 4000, Seed: 6})
		if err != nil {
			t.Fatal(err)
		}
		st, err = Run(context.Background(), s, st, Options{Workers: w})
		if !errors.Is(err, broken) || !strings.Contains(err.Error(), "sample ") {
			t.Fatalf("got %v", err)
		}
		x, err := s.Sample(st.Plan, st.Done)
		if err != nil || !(x[1] > 0.19) {
			t.Errorf("the run stands at sample %d, gap %g, which is not the first broken one", st.Done, x[1])
		}
		s.Model = func(_ context.Context, x, y []float64) error { y[0] = math.NaN(); return nil }
		st, _ = New(s, Plan{N: 10})
		if _, err := Run(context.Background(), s, st, Options{Workers: w}); err == nil || !strings.Contains(err.Error(), "finite") {
			t.Errorf("NaN: %v", err)
		}
	}
	for range 100 {
		if runtime.NumGoroutine() <= before {
			return
		}
		runtime.Gosched()
	}
	t.Errorf("%d goroutines, %d before", runtime.NumGoroutine(), before)
}

func TestStudyCheck(t *testing.T) {
	bad := []Study{
		{},
		{Inputs: in(nil), Outputs: []Output{{}}, Model: chain().Model},
		{Inputs: in(Normal{0, -1}), Outputs: []Output{{}}, Model: chain().Model},
	}
	for _, c := range [][]Correlation{{{0, 0, 0.5}}, {{0, 9, 0.5}}, {{0, 1, 2}}, {{0, 1, 0.9}, {1, 2, 0.9}, {0, 2, -0.9}}} {
		s := chain()
		s.Correlations = c
		bad = append(bad, s)
	}
	for i, s := range bad {
		if s.Check() == nil {
			t.Errorf("study %d: no error", i)
		}
		if _, err := New(s, Plan{N: 1}); err == nil {
			t.Errorf("study %d: no error from New", i)
		}
	}
	if _, err := Run(context.Background(), chain(), State{Plan: Plan{N: 3}}, Options{}); err == nil {
		t.Error("a state of another study ran")
	}
}

// Correlated inputs have the correlation asked for, and keep their own
// distributions.
func TestCorrelatedInputs(t *testing.T) {
	s := Study{Inputs: in(Normal{1, 2}, Normal{0, 1}, Uniform{0, 1}), Correlations: []Correlation{{0, 1, -0.7}, {1, 2, 0.5}}}
	const n = 1 << 13
	cols := make([][]float64, 3)
	for i := range n {
		x, err := func() ([]float64, error) {
			s.Outputs, s.Model = of(func(x []float64) float64 { return 0 })
			return s.Sample(Plan{Method: Sobol, N: n, Seed: 8}, i)
		}()
		if err != nil {
			t.Fatal(err)
		}
		for k := range cols {
			cols[k] = append(cols[k], x[k])
		}
	}
	if r := CorrelationOf(cols[0], cols[1]); !(math.Abs(r+0.7) <= 0.01) {
		t.Errorf("correlation %.4f, want −0.7", r)
	}
	// Between normal scores 0.5; between a normal and a uniform variable of that
	// copula r = 0.5·√(3/π).
	if r, want := CorrelationOf(cols[1], cols[2]), 0.5*math.Sqrt(3/math.Pi); !(math.Abs(r-want) <= 0.01) {
		t.Errorf("correlation %.4f, want %.4f", r, want)
	}
	for k, d := range []Distribution{Normal{1, 2}, Normal{0, 1}, Uniform{0, 1}} {
		e := MeanOf(cols[k])
		if !(math.Abs(e.Mean-d.Expectation()) <= 0.01*d.StandardDeviation()) || !(math.Abs(e.Deviation/d.StandardDeviation()-1) <= 0.01) {
			t.Errorf("input %d: mean %.4f, deviation %.4f", k, e.Mean, e.Deviation)
		}
	}
}
