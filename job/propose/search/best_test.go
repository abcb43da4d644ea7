package search

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestBestAgainstEnumeration compares the scores of the k best with those of a sorted enumeration.
func TestBestAgainstEnumeration(t *testing.T) {
	const seed = 20262
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	catalogues, rankings, empty := 0, 0, 0
	for round := range 8 {
		for _, sh := range shapes {
			sh.rounded = round%2 == 1
			p := sh.random(r)
			all := enumerate(p)
			if len(all) == 0 {
				continue
			}
			catalogues++
			for _, share := range []float64{-1, 0.1, 0.25, 0.5} {
				q := p
				if share >= 0 {
					of := []Criterion{LeftEnd}
					for c := range sh.additive {
						of = append(of, Criterion(c))
					}
					if r.IntN(2) == 0 {
						of = append(of, []Criterion{RightEnd, WorseEnd}[r.IntN(2)])
					}
					q = limited(p, all, share, of)
				}
				w := Weights{Add: make([]float64, sh.additive), Left: 1e7 * r.Float64()}
				for c := range w.Add {
					w.Add[c] = r.Float64()
				}
				switch r.IntN(4) {
				case 0:
					w.Right = 1e7 * r.Float64()
				case 1:
					w.Worse = 1e7 * r.Float64()
				case 2:
					w.Left = 0
				}
				var want []float64
				for _, c := range all {
					if keepsAll(q.Limits, c.Values) {
						want = append(want, w.Score(c.Values))
					}
				}
				slices.Sort(want)
				k := 1 + r.IntN(60)
				want = want[:min(k, len(want))]
				got, err := Best(context.Background(), q, w, k, Settings{})
				if err != nil {
					t.Fatal(err)
				}
				if len(got.Chains) != len(want) {
					t.Fatalf("%+v, share %g: %d chains, want %d", sh, share, len(got.Chains), len(want))
				}
				if len(want) == 0 {
					empty++
				}
				for i, c := range got.Chains {
					if !(math.Abs(c.Score-want[i]) <= 1e-12*want[i]) {
						t.Fatalf("%+v, share %g: score %d is %.17g, enumeration gives %.17g", sh, share, i, c.Score, want[i])
					}
					if c.Score != w.Score(q.Values(c.Option)) || !keepsAll(q.Limits, c.Values) {
						t.Fatalf("chain %v is not what it says", c.Option)
					}
					if i > 0 && byScore(got.Chains[i-1], c) >= 0 {
						t.Fatalf("chains %d and %d are out of order or equal", i-1, i)
					}
				}
				rankings++
			}
		}
	}
	t.Logf("%d catalogues, %d rankings, %d of them without a chain", catalogues, rankings, empty)
}

// TestNearestAgainstEnumeration compares violations and reaches with an enumeration.
func TestNearestAgainstEnumeration(t *testing.T) {
	const seed = 20263
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	answers, feasible, impossible := 0, 0, 0
	for round := range 6 {
		for _, sh := range shapes {
			sh.rounded = round%2 == 1
			p := sh.random(r)
			all := enumerate(p)
			if len(all) == 0 {
				continue
			}
			for _, share := range []float64{-0.1, 0.02, 0.15, 0.4} {
				of := []Criterion{LeftEnd}
				for c := range sh.additive {
					of = append(of, Criterion(c))
				}
				if r.IntN(2) == 0 {
					of = append(of, []Criterion{RightEnd, WorseEnd}[r.IntN(2)])
				}
				q := limited(p, all, share, of)
				weighted := r.IntN(3) == 0
				for i := range q.Limits {
					if weighted {
						q.Limits[i].Weight = 0.1 + 5*r.Float64()
					}
				}
				violation := func(v Values) float64 {
					sum := 0.0
					for _, l := range q.Limits {
						over := max(0, v.Of(l.Of)-l.Max)
						if l.Max > 0 {
							over /= l.Max
						}
						if weighted {
							over *= l.Weight
						}
						sum += over
					}
					return sum
				}
				var want []float64
				for _, c := range all {
					want = append(want, violation(c.Values))
				}
				slices.Sort(want)
				k := 1 + r.IntN(20)
				got, err := Nearest(context.Background(), q, k, Settings{})
				if err != nil {
					t.Fatal(err)
				}
				answers++
				if got.Feasible != (want[0] == 0) {
					t.Fatalf("%+v: feasible %v, least violation %g", sh, got.Feasible, want[0])
				}
				if got.Feasible {
					feasible++
				}
				if len(got.Chains) != min(k, len(all)) {
					t.Fatalf("%d chains, want %d", len(got.Chains), min(k, len(all)))
				}
				for i, c := range got.Chains {
					if !(math.Abs(c.Violation-want[i]) <= 1e-11*(1+want[i])) {
						t.Fatalf("%+v, share %g: violation %d is %.17g, enumeration gives %.17g", sh, share, i, c.Violation, want[i])
					}
					if (len(c.Broken) == 0) != keepsAll(q.Limits, c.Values) {
						t.Fatalf("chain %v: broken limits %v", c.Option, c.Broken)
					}
				}
				if len(got.Reaches) != len(q.Limits) {
					t.Fatalf("%d reaches for %d limits", len(got.Reaches), len(q.Limits))
				}
				for i, reach := range got.Reaches {
					c := reach.Limit.Of
					others := slices.Delete(slices.Clone(q.Limits), i, i+1)
					alone, with := math.Inf(1), math.Inf(1)
					for _, ch := range all {
						x := ch.Values.Of(c)
						alone = min(alone, x)
						if keepsAll(others, ch.Values) {
							with = min(with, x)
						}
					}
					if x := reach.Alone.Values.Of(c); !(math.Abs(x-alone) <= 1e-12*alone) {
						t.Fatalf("criterion %d alone: %g, enumeration gives %g", c, x, alone)
					}
					if reach.Possible != !math.IsInf(with, 1) {
						t.Fatalf("criterion %d: possible %v, enumeration gives %g", c, reach.Possible, with)
					}
					if !reach.Possible {
						impossible++
						continue
					}
					if x := reach.WithOthers.Values.Of(c); !(math.Abs(x-with) <= 1e-12*with) || !keepsAll(others, reach.WithOthers.Values) {
						t.Fatalf("criterion %d with the others: %g, enumeration gives %g", c, x, with)
					}
				}
			}
		}
	}
	t.Logf("%d answers, %d feasible, %d reaches impossible", answers, feasible, impossible)
}
