package sample

import (
	"context"
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// Exact coverage by summing the binomial law: Clopper-Pearson never falls
// below its confidence, Wilson keeps it on average.
func TestIntervalCoverage(t *testing.T) {
	const n, conf = 40, 0.95
	var exact, wilson []Interval
	for k := range n + 1 {
		exact = append(exact, ClopperPearson(k, n, conf))
		wilson = append(wilson, Wilson(k, n, conf))
	}
	mean, count := 0.0, 0
	for p := 0.01; p < 1; p += 0.01 {
		b := distuv.Binomial{N: n, P: p}
		var ce, cw float64
		for k := range n + 1 {
			if exact[k].Low <= p && p <= exact[k].High {
				ce += b.Prob(float64(k))
			}
			if wilson[k].Low <= p && p <= wilson[k].High {
				cw += b.Prob(float64(k))
			}
		}
		if !(ce >= conf-1e-12) {
			t.Errorf("share %.2f: exact interval covers %.4f", p, ce)
		}
		mean += cw
		count++
	}
	if mean /= float64(count); !(math.Abs(mean-conf) <= 0.01) {
		t.Errorf("Wilson covers %.4f on average", mean)
	}
}

// The yield of a linear margin is Φ; random sampling covers it by Wilson, the
// sequence by its replicates, and much closer.
func TestYield(t *testing.T) {
	s := Study{Inputs: in(Normal{0, 3}, Normal{0, 4})}
	s.Outputs, s.Model = of(func(x []float64) float64 { return 5 - x[0] - x[1] })
	want := NormalCDF(1)
	random, err := draws(t, s, Plan{N: 4096, Seed: 1}).Yield(0.99)
	if err != nil {
		t.Fatal(err)
	}
	if !(random.Wilson.Low <= want && want <= random.Wilson.High) || random.Replicates != (Interval{0, 1}) {
		t.Errorf("random: %+v, want %.5f inside", random, want)
	}
	net, err := draws(t, s, Plan{Method: Sobol, N: 4096, Seed: 1}).Yield(0.99)
	if err != nil {
		t.Fatal(err)
	}
	if !(net.Replicates.Low <= want && want <= net.Replicates.High) {
		t.Errorf("sequence: %+v, want %.5f inside", net, want)
	}
	if w := net.Replicates.High - net.Replicates.Low; !(w < (random.Wilson.High-random.Wilson.Low)/2) {
		t.Errorf("sequence's interval is %.4f wide, random %.4f", w, random.Wilson.High-random.Wilson.Low)
	}
	if _, err := (State{}).Yield(0.95); err == nil {
		t.Error("yield of nothing")
	}
}

// Coverage intervals of a known sample, by hand: 1..20 and 90 %.
func TestCoverageByHand(t *testing.T) {
	var v []float64
	for i := 20; i > 0; i-- {
		v = append(v, float64(i*i))
	}
	c, err := CoverageIntervals(v, 0.9) // q = 18, r = 1
	if err != nil {
		t.Fatal(err)
	}
	if c.Symmetric != (Interval{1, 361}) || c.Shortest != (Interval{1, 361}) {
		t.Errorf("%+v", c)
	}
	if c, err = CoverageIntervals(v, 0.5); err != nil || c.Symmetric != (Interval{25, 225}) || c.Shortest != (Interval{1, 121}) { // q = 10, r = 5
		t.Errorf("%+v, %v", c, err)
	}
	for _, p := range []float64{0, 1, 0.99, math.NaN()} {
		if _, err := CoverageIntervals(v, p); err == nil {
			t.Errorf("coverage %g of 20 values: no error", p)
		}
	}
}

// Ishigami's function, whose shares are known in closed form: V = a²/8 + bπ⁴/5 +
// b²π⁸/18 + 1/2.
func TestDriversIshigami(t *testing.T) {
	const a, b = 7, 0.1
	pi4 := math.Pow(math.Pi, 4)
	v1 := (1 + b*pi4/5) * (1 + b*pi4/5) / 2
	v2 := a * a / 8.0
	v13 := b * b * pi4 * pi4 * (1.0/18 - 1.0/50)
	v := v1 + v2 + v13
	u := Uniform{-math.Pi, math.Pi}
	s := Study{Inputs: in(u, u, u)}
	s.Outputs, s.Model = of(func(x []float64) float64 {
		s2 := math.Sin(x[1])
		return math.Sin(x[0]) + a*s2*s2 + b*x[2]*x[2]*x[2]*x[2]*math.Sin(x[0])
	})
	ds, err := Drivers(context.Background(), s, Plan{Method: Sobol, N: 1 << 14, Seed: 3}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	first, total := []float64{v1 / v, v2 / v, 0}, []float64{(v1 + v13) / v, v2 / v, v13 / v}
	for rank, d := range ds[0] {
		if d.Input != rank { // here the order of totals is that of the inputs
			t.Errorf("place %d holds %s", rank, d.Name)
		}
		if !(math.Abs(d.First-first[d.Input]) <= 0.01) || !(math.Abs(d.Total-total[d.Input]) <= 0.01) {
			t.Errorf("%s: first %.4f ± %.4f, total %.4f ± %.4f; exact %.4f, %.4f", d.Name, d.First, d.FirstError, d.Total, d.TotalError, first[d.Input], total[d.Input])
		}
		if !(d.FirstError < 0.02 && d.TotalError < 0.02) {
			t.Errorf("%s: errors %g, %g", d.Name, d.FirstError, d.TotalError)
		}
	}
}

// An additive model: the shares are c²σ², sum to one, and first equals total;
// the same bits for any workers; a constant output has none.
func TestDriversAdditive(t *testing.T) {
	s := Study{Inputs: in(Normal{5, 1}, Uniform{0, math.Sqrt(12)}, Normal{0, 1}, Normal{1, 0}), Outputs: []Output{{Name: "a"}, {Name: "constant"}}}
	s.Model = func(_ context.Context, x, y []float64) error {
		y[0], y[1] = 1e6+x[0]+2*x[1]-3*x[2]+x[3], 7
		return nil
	}
	var last [][]Driver
	for _, w := range []int{1, 4} {
		ds, err := Drivers(context.Background(), s, Plan{Method: Sobol, N: 4096, Seed: 3}, Options{Workers: w})
		if err != nil {
			t.Fatal(err)
		}
		want := []float64{1.0 / 14, 4.0 / 14, 9.0 / 14, 0}
		for k, d := range ds[0] {
			if d.Input != []int{2, 1, 0, 3}[k] || !(math.Abs(d.First-want[d.Input]) <= 0.01) || !(math.Abs(d.Total-want[d.Input]) <= 0.01) {
				t.Errorf("place %d: %+v, want %.4f", k, d, want[d.Input])
			}
			if ds[1][k].Total != 0 || ds[1][k].First != 0 {
				t.Errorf("constant output: %+v", ds[1][k])
			}
		}
		if last != nil && fmt.Sprint(last) != fmt.Sprint(ds) {
			t.Error("the shares depend on the number of workers")
		}
		last = ds
	}
}

// Correlated inputs have one share together: of a sum of normals c₁²σ₁² + c₂²σ₂²
// + 2 r c₁c₂σ₁σ₂ [jcgm100] eq. 16, beside those of the others.
func TestDriversOfCorrelated(t *testing.T) {
	s := Study{Inputs: in(Normal{5, 1}, Normal{1, 0.5}, Normal{0, 2}), Outputs: []Output{{Name: "a"}}, Correlations: []Correlation{{2, 0, 0.6}}}
	s.Model = func(_ context.Context, x, y []float64) error {
		y[0] = x[0] + 4*x[1] - x[2]
		return nil
	}
	ds, err := Drivers(context.Background(), s, Plan{Method: Sobol, N: 4096, Seed: 3}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	both, alone := 1+4-2*0.6*1*2, 4.0
	if len(ds[0]) != 2 || ds[0][0].Input != 1 || fmt.Sprint(ds[0][1].With) != "[0 2]" || ds[0][1].Name != s.Inputs[0].Name+" with "+s.Inputs[2].Name {
		t.Fatalf("drivers %+v, want the second input alone, then the first with the third", ds[0])
	}
	for k, want := range []float64{alone / (both + alone), both / (both + alone)} {
		if d := ds[0][k]; !(math.Abs(d.First-want) <= 0.01) || !(math.Abs(d.Total-want) <= 0.01) {
			t.Errorf("%s: first %.4f, total %.4f, want %.4f", d.Name, d.First, d.Total, want)
		}
	}
}

// A full correlation is one quantity seen twice: a sum and a difference of
// normals have the deviations σ₁+σ₂ and |σ₁−σ₂|; rectangular ones move along
// their quantiles. A copy beside them draws as if they were not there.
func TestFullCorrelation(t *testing.T) {
	s := Study{Inputs: in(Normal{0, 1}, Normal{0, 3}, Uniform{-1, 1}, Uniform{10, 12}, Uniform{0, 1}), Correlations: []Correlation{{0, 1, 1}, {2, 3, -1}}}
	free := s
	free.Correlations = nil
	s.Outputs, s.Model = of(func(x []float64) float64 { return 0 })
	free.Outputs, free.Model = s.Outputs, s.Model
	for i := range 200 {
		p := Plan{N: 200, Seed: 4}
		x, err := s.Sample(p, i)
		if err != nil {
			t.Fatal(err)
		}
		y, err := free.Sample(p, i)
		if err != nil {
			t.Fatal(err)
		}
		if !(math.Abs(x[1]-3*x[0]) <= 1e-12) || !(math.Abs(x[3]-11+x[2]) <= 1e-12) || x[4] != y[4] {
			t.Fatalf("copy %d: %v; without correlations %v", i, x, y)
		}
	}
	s.Correlations = []Correlation{{0, 1, 1}, {1, 2, 1}, {0, 2, 0.5}}
	if s.Check() == nil {
		t.Error("three inputs, two pairs alike, the third pair not: no error")
	}
}

func TestRankCorrelations(t *testing.T) {
	s := Study{Inputs: in(Normal{0, 1}, Normal{0, 1}, Normal{2, 0})}
	s.Outputs, s.Model = of(func(x []float64) float64 { return math.Exp(3 * x[0]) })
	st := draws(t, s, Plan{N: 2000, Seed: 1})
	r, err := RankCorrelations(s, st, 0)
	if err != nil {
		t.Fatal(err)
	}
	if !(math.Abs(r[0]-1) <= 1e-12) || !(math.Abs(r[1]) <= 0.1) || r[2] != 0 {
		t.Errorf("%v: a monotone input has 1, an idle one about 0", r)
	}
	// Ties share their mean rank.
	got := ranks([]float64{3, 1, 3, 2})
	if fmt.Sprint(got) != "[2.5 0 2.5 1]" {
		t.Errorf("ranks %v", got)
	}
}

func TestWorstCornerVertices(t *testing.T) {
	s := Study{Inputs: in(Uniform{1, 2}, Normal{0, 1}, Triangular{0, 1, 4}, Normal{5, 0})}
	s.Outputs, s.Model = of(func(x []float64) float64 { return x[0] - 2*x[1] + x[2]*x[3] })
	c, err := WorstCorner(context.Background(), s, 0, CornerOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if !c.AllVertices || len(c.Inside) != 0 || !(math.Abs(c.Value-(1-6)) <= 1e-12) || c.Inputs[3] != 5 {
		t.Errorf("%+v, want −5 at (1, 3, 0, 5)", c)
	}
	// A dip inside: the search along the inputs sees it and says so.
	s.Outputs, s.Model = of(func(x []float64) float64 { return (x[0]-1.5)*(x[0]-1.5) - x[1] })
	if c, err = WorstCorner(context.Background(), s, 0, CornerOptions{}); err != nil || len(c.Inside) != 1 || c.Inside[0] != 0 || !(math.Abs(c.Value+3) <= 1e-12) {
		t.Errorf("%+v, %v, want −3 with input 0 inside", c, err)
	}
	if _, err := WorstCorner(context.Background(), s, 3, CornerOptions{}); err == nil {
		t.Error("output 3: no error")
	}
}

// Thirty inputs with signs and interactions: the search finds the corner that
// the structure gives, the same for any number of workers.
func TestWorstCornerSearch(t *testing.T) {
	var ds []Distribution
	for range 30 {
		ds = append(ds, Uniform{-1, 1})
	}
	s := Study{Inputs: in(ds...)}
	s.Outputs, s.Model = of(func(x []float64) float64 {
		y := 0.0
		for i, v := range x {
			y += v * math.Pow(-1, float64(i)) * float64(i+1)
			if i > 0 {
				y -= 0.3 * v * x[i-1]
			}
		}
		return y
	})
	// Brute force along the chain of neighbours: the least over all 2^30 vertices
	// by dynamic programming on the last input's sign.
	best := map[float64]float64{-1: -1, 1: 1}
	for i := 1; i < 30; i++ {
		next := map[float64]float64{}
		for _, v := range []float64{-1, 1} {
			next[v] = math.Inf(1)
			for _, w := range []float64{-1, 1} {
				next[v] = math.Min(next[v], best[w]+v*math.Pow(-1, float64(i))*float64(i+1)-0.3*v*w)
			}
		}
		best = next
	}
	want := math.Min(best[-1], best[1])
	var last Corner
	for _, w := range []int{1, 3} {
		c, err := WorstCorner(context.Background(), s, 0, CornerOptions{Workers: w})
		if err != nil {
			t.Fatal(err)
		}
		if c.AllVertices || !(math.Abs(c.Value-want) <= 1e-9) {
			t.Errorf("%d evaluations: %g, dynamic programming over all vertices %g", c.Evaluations, c.Value, want)
		}
		if w > 1 && fmt.Sprint(c) != fmt.Sprint(last) {
			t.Error("the corner depends on the number of workers")
		}
		last = c
	}
}

// The build quantity and the tightest set tell the same story: a lot of the
// quantity that nine in ten trials need holds the set in nine of ten lots.
func TestBuildQuantity(t *testing.T) {
	const keep, width = 24, 1.6
	q, err := BuildQuantity(keep, width, 200, Sorting{Seed: 4, Trials: 1000})
	if err != nil {
		t.Fatal(err)
	}
	n := int(q.Quantile(0.9))
	w, err := TightestSet(n, keep, Sorting{Seed: 5, Trials: 1000})
	if err != nil {
		t.Fatal(err)
	}
	within := 0
	for _, x := range w.Values {
		if x <= width {
			within++
		}
	}
	// Two simulations of 1000: standard error of each share 0.01, and the count is whole.
	if share := float64(within) / 1000; !(share >= 0.86 && share <= 0.96) {
		t.Errorf("a lot of %d holds the set in %.3f of lots, want about 0.9", n, share)
	}
	// A set as wide as the whole population needs no sorting.
	if q, err = BuildQuantity(5, 1.001, 10, Sorting{Distribution: Uniform{0, 1}, Trials: 50}); err != nil || q.Mean != 5 {
		t.Errorf("whole population: %+v, %v", q.Mean, err)
	}
	// A set that cannot be had counts as more than allowed.
	if q, err = BuildQuantity(5, 1e-9, 10, Sorting{Trials: 50}); err != nil || q.Mean != 11 {
		t.Errorf("hopeless: %+v, %v", q.Mean, err)
	}
	// Width for width, unsorted pieces are the whole range.
	r, err := TightestSet(24, 24, Sorting{Seed: 1})
	if err != nil || !(math.Abs(r.Mean-ExpectedRange(24)) <= 4*r.Error) {
		t.Errorf("24 of 24: %.3f ± %.3f, d2 is %.3f", r.Mean, r.Error, ExpectedRange(24))
	}
	for _, bad := range []func() error{
		func() error { _, err := TightestSet(3, 4, Sorting{}); return err },
		func() error { _, err := TightestSet(4, 3, Sorting{Trials: 1}); return err },
		func() error { _, err := BuildQuantity(3, 0, 9, Sorting{}); return err },
		func() error { _, err := BuildQuantity(3, 1, 2, Sorting{}); return err },
	} {
		if bad() == nil {
			t.Error("no error")
		}
	}
}

func TestBuildAbsolute(t *testing.T) {
	// By the binomial law itself.
	n, err := BuildAbsolute(24, 1, 0.5, 0.9, nil)
	if err != nil {
		t.Fatal(err)
	}
	share := NormalCDF(1.5) - NormalCDF(-0.5)
	p := func(n int) float64 { return distuv.Binomial{N: float64(n), P: share}.Survival(23) }
	if !(p(n) >= 0.9 && p(n-1) < 0.9) {
		t.Errorf("%d pieces: %.4f, one fewer %.4f", n, p(n), p(n-1))
	}
	if n, err := BuildAbsolute(10, 1, 0, 0.9, Uniform{-0.5, 0.5}); err != nil || n != 10 {
		t.Errorf("all fit: %d, %v", n, err)
	}
	if _, err := BuildAbsolute(10, 1, 100, 0.9, Uniform{0, 1}); err == nil {
		t.Error("none fits: no error")
	}
}

// The exact capability bound solves its equation, agrees with the tolerance
// factor, of which it is the inverse, and Bissell's is near it.
func TestCpkExact(t *testing.T) {
	for _, n := range []int{5, 10, 30, 50} {
		// Cpk whose bound is c: the tolerance factor for a share Φ(3c) outside, over 3.
		const c = 0.8
		k := ToleranceFactor(n, NormalCDF(3*c), 0.95)
		if got := CpkLowerExact(k/3, n, 0.95); !(math.Abs(got-c) <= 1e-6) {
			t.Errorf("n = %d: bound of %.4f is %.6f, want %.2f", n, k/3, got, c)
		}
		exact, near := CpkLowerExact(1.33, n, 0.95), CpkLower(1.33, n, 0.95)
		if !(math.Abs(exact-near) <= 0.5/float64(n)) {
			t.Errorf("n = %d: exact %.4f, Bissell %.4f", n, exact, near)
		}
	}
	if got := Cpk([]float64{1, 2, 3}, 0.5); !(math.Abs(got-0.5) <= 1e-15) {
		t.Errorf("Cpk %g", got)
	}
}

func TestPropagateErrors(t *testing.T) {
	f := func(x, y []float64) { y[0] = x[0] }
	if _, err := Propagate(f, 1, []float64{1}, nil, nil); err == nil {
		t.Error("no uncertainty: no error")
	}
	if _, err := Propagate(f, 1, []float64{1}, []float64{1}, []Correlation{{0, 3, 1}}); err == nil {
		t.Error("correlation out of range: no error")
	}
	if _, err := FitLine([]float64{1, 1, 1}, []float64{1, 2, 3}); err == nil {
		t.Error("vertical line: no error")
	}
	if _, err := FitLine([]float64{1, 2}, []float64{1, 2}); err == nil {
		t.Error("two points: no error")
	}
	if got := CoverageFactor(math.Inf(1), 0.95); !(math.Abs(got-1.96) <= 1e-3) {
		t.Errorf("infinite freedom: %g", got)
	}
}
