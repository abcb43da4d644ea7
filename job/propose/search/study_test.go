package search

import (
	"context"
	"flag"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

var long = flag.Bool("long", false, "run the long studies")

// TestLargeCatalogues compares fronts, rankings and nearest misses with the enumeration of
// up to some million chains, with and without limits.
func TestLargeCatalogues(t *testing.T) {
	if !*long {
		t.Skip("with -long")
	}
	const seed = 20264
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	for round := range 12 {
		sh := shape{slots: 5, options: 26 + r.IntN(8), states: 1 + r.IntN(2), additive: 3, rounded: round%2 == 1, corr: 0.7}
		if sh.states == 1 {
			sh.options = 14 + r.IntN(5)
		}
		p := sh.random(r)
		all := enumerate(p)
		for _, share := range []float64{-1, 0.45} {
			q := p
			if share > 0 {
				q = limited(p, all, share, []Criterion{0, 1, 2, LeftEnd})
			}
			kept := slices.DeleteFunc(slices.Clone(all), func(c Chain) bool { return !keepsAll(q.Limits, c.Values) })
			obj := []Criterion{0, 1, 2, LeftEnd}
			start := time.Now()
			f, err := Pareto(context.Background(), q, Settings{MaxFront: -1})
			if err != nil {
				t.Fatal(err)
			}
			took, points := time.Since(start), f.Size
			want := plainFront(objectiveVectors(kept, obj))
			if have := objectiveVectors(f.Chains, obj); !slices.EqualFunc(want, have, func(a, b []float64) bool { return slices.Equal(a, b) }) {
				t.Errorf("%+v: %d points, enumeration gives %d", sh, len(have), len(want))
			}
			both := []Criterion{0, 1, WorseEnd}
			if f, err = Pareto(context.Background(), q, Settings{MaxFront: -1, Objectives: both}); err != nil {
				t.Fatal(err)
			}
			want = plainFront(objectiveVectors(kept, both))
			if have := objectiveVectors(f.Chains, both); !slices.EqualFunc(want, have, func(a, b []float64) bool { return slices.Equal(a, b) }) {
				t.Errorf("%+v, worse end: %d points, enumeration gives %d", sh, len(have), len(want))
			}
			w := Weights{Add: []float64{10, 1, 0.3}, Left: 150e6}
			var scores []float64
			for _, c := range kept {
				scores = append(scores, w.Score(c.Values))
			}
			slices.Sort(scores)
			best, err := Best(context.Background(), q, w, 50, Settings{})
			if err != nil {
				t.Fatal(err)
			}
			if len(best.Chains) != min(50, len(scores)) {
				t.Errorf("%d chains", len(best.Chains))
			}
			for i, c := range best.Chains {
				if !(c.Score <= scores[i]*(1+1e-12)) || !(c.Score >= scores[i]*(1-1e-12)) {
					t.Errorf("score %d: %.17g, enumeration gives %.17g", i, c.Score, scores[i])
				}
			}
			t.Logf("%d chains, %d kept, front %d in %v, %d with the worse end", len(all), len(kept), points, took, f.Size)
		}
	}
}

// TestHardLimits draws limits from barely possible to impossible and reports the worst effort of Best and Nearest.
func TestHardLimits(t *testing.T) {
	if !*long {
		t.Skip("with -long")
	}
	const seed = 20265
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	var slowBest, slowNear, slowPareto time.Duration
	var opened, openedNear int64
	none := 0
	for range 40 {
		p := shop{500 * (1 + 3*r.IntN(2)), 2, 3, 0.7}.problem(r.Uint64())
		u := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
		p.Limits = []Limit{{Of: 0, Max: u(1.4e6, 3e6)}, {Of: 1, Max: u(22e6, 60e6)}, {Of: 2, Max: u(16e6, 40e6)}, {Of: []Criterion{LeftEnd, WorseEnd}[r.IntN(2)], Max: u(0.08, 0.2)}}
		start := time.Now()
		b, err := Best(context.Background(), p, Weights{Add: []float64{10, 1, 0.3}, Left: 150e6}, 50, Settings{})
		if err != nil {
			t.Error(err, p.Limits)
		}
		took := time.Since(start)
		if len(b.Chains) == 0 {
			none++
		}
		start = time.Now()
		f, err := Pareto(context.Background(), p, Settings{})
		if err != nil {
			t.Error(err)
		}
		tookPareto := time.Since(start)
		if (f.Size == 0) != (len(b.Chains) == 0) {
			t.Errorf("Pareto finds %d, Best %d chains", f.Size, len(b.Chains))
		}
		start = time.Now()
		n, err := Nearest(context.Background(), p, 10, Settings{})
		if err != nil {
			t.Error(err, p.Limits)
		}
		tookNear := time.Since(start)
		if n.Feasible != (f.Size > 0) {
			t.Errorf("Nearest says %v, Pareto finds %d", n.Feasible, f.Size)
		}
		t.Logf("%8s %6d opened %2d found; %8s front %6d; %8s %6d opened fallback %v feasible %v %v", took.Round(time.Millisecond), b.Stats.Tested, len(b.Chains),
			tookPareto.Round(time.Millisecond), f.Size, tookNear.Round(time.Millisecond), n.Stats.Tested, n.Stats.Fallback, n.Feasible, p.Limits[3].Of)
		slowBest, slowNear, slowPareto = max(slowBest, took), max(slowNear, tookNear), max(slowPareto, tookPareto)
		opened, openedNear = max(opened, b.Stats.Tested), max(openedNear, n.Stats.Tested)
	}
	t.Logf("slowest: Best %v (%d opened), Nearest %v (%d opened), Pareto %v; %d of 40 without a chain", slowBest, opened, slowNear, openedNear, slowPareto, none)
}
