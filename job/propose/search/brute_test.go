package search

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// shape describes a random problem.
type shape struct {
	slots, options, states, additive int
	rounded                          bool    // few distinct values, many ties
	skips                            float64 // share of slots that may stay empty
	corr                             float64 // price against loss and reflection
}

// random invents a problem. The order of criteria: loss, price, mass, ...
func (s shape) random(r *rand.Rand) Problem {
	p := Problem{Criteria: []string{"loss", "price", "mass", "lead time", "length"}[:s.additive]}
	for i := range s.slots {
		slot := Slot{Name: fmt.Sprint("slot ", i)}
		for range s.options {
			quality := r.Float64()
			draw := func(sign float64) float64 {
				q := quality
				if sign < 0 {
					q = 1 - q
				}
				return s.corr*q + (1-s.corr)*r.Float64()
			}
			loss := 0.05 + 0.6*draw(-1)
			o := Option{Left: State(r.IntN(s.states)), Right: State(r.IntN(s.states)), Cost: make([]int64, s.additive)}
			if s.rounded {
				loss = math.Round(loss*10) / 10
			}
			for c := range o.Cost {
				x := 1 + 30*draw(1)
				if c == 0 {
					x = loss
				}
				if s.rounded {
					x = math.Round(x*2/10) * 5
				}
				o.Cost[c] = int64(math.Round(x * 1e6))
			}
			if s.additive > 0 && s.rounded {
				o.Cost[0] = int64(math.Round(loss * 1e6))
			}
			o.Gamma, o.GammaRight = 0.01+0.2*draw(-1), 0.01+0.2*draw(-1)
			if s.rounded {
				o.Gamma, o.GammaRight = math.Round(o.Gamma*20)/20, math.Round(o.GammaRight*20)/20
			}
			o.TwoWay = math.Pow(10, -loss/10)
			slot.Options = append(slot.Options, o)
		}
		if r.Float64() < s.skips {
			for st := range s.states {
				slot.Options = append(slot.Options, Skip(State(st), s.additive))
			}
		}
		p.Slots = append(p.Slots, slot)
	}
	if s.states > 2 {
		p.LeftEnds = []State{0, 1}
		p.RightEnds = []State{1, 2}
	}
	return p
}

// enumerate lists every chain of p, limits apart, with its values by the plain recursion.
func enumerate(p Problem) []Chain {
	var all []Chain
	allowed := func(list []State, s State) bool { return len(list) == 0 || slices.Contains(list, s) }
	var walk func(i int, tail []int, v Values, t float64)
	walk = func(i int, tail []int, v Values, t float64) {
		for j, o := range p.Slots[i].Options {
			if i == len(p.Slots)-1 {
				if !allowed(p.RightEnds, o.Right) {
					continue
				}
			} else if p.Slots[i+1].Options[tail[0]].Left != o.Right {
				continue
			}
			w := Values{Add: slices.Clone(v.Add)}
			for c, x := range o.Cost {
				w.Add[c] += x
			}
			w.Left = o.Gamma + float64(o.TwoWay*v.Left)
			w.Right = v.Right + float64(t*o.GammaRight)
			choice := append([]int{j}, tail...)
			if i > 0 {
				walk(i-1, choice, w, t*o.TwoWay)
			} else if allowed(p.LeftEnds, o.Left) {
				all = append(all, Chain{Option: choice, Values: w})
			}
		}
	}
	walk(len(p.Slots)-1, nil, Values{Add: make([]int64, len(p.Criteria))}, 1)
	return all
}

func keepsAll(limits []Limit, v Values) bool {
	for _, l := range limits {
		if v.Of(l.Of) > l.Max {
			return false
		}
	}
	return true
}

// objectiveVectors returns the distinct vectors of the chains, ascending.
func objectiveVectors(chains []Chain, objectives []Criterion) [][]float64 {
	var vs [][]float64
	for _, c := range chains {
		v := make([]float64, len(objectives))
		for d, o := range objectives {
			v[d] = c.Values.Of(o)
		}
		vs = append(vs, v)
	}
	slices.SortFunc(vs, func(a, b []float64) int { return slices.Compare(a, b) })
	return slices.CompactFunc(vs, func(a, b []float64) bool { return slices.Equal(a, b) })
}

// plainFront is the definition: vectors that no other vector equals or beats everywhere.
// In ascending order whatever dominates a vector stands before it.
func plainFront(vs [][]float64) [][]float64 {
	var front [][]float64
	for _, v := range vs {
		beaten := false
		for _, f := range front {
			all := true
			for d := range v {
				all = all && f[d] <= v[d]
			}
			if all {
				beaten = true
				break
			}
		}
		if !beaten {
			front = append(front, v)
		}
	}
	return front
}

// limited adds limits that lie a share of the way from the least to the largest value.
func limited(p Problem, all []Chain, share float64, of []Criterion) Problem {
	for _, c := range of {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, ch := range all {
			lo, hi = min(lo, ch.Values.Of(c)), max(hi, ch.Values.Of(c))
		}
		p.Limits = append(p.Limits, Limit{Of: c, Max: lo + share*(hi-lo)})
	}
	return p
}

var shapes = []shape{
	{slots: 1, options: 60, states: 2, additive: 3},
	{slots: 2, options: 30, states: 2, additive: 2, corr: 0.7},
	{slots: 3, options: 14, states: 1, additive: 3, corr: 1},
	{slots: 4, options: 14, states: 2, additive: 3, corr: 0.7, skips: 0.5},
	{slots: 5, options: 12, states: 2, additive: 3, corr: 0.7},
	{slots: 5, options: 12, states: 3, additive: 1, skips: 1},
	{slots: 5, options: 12, states: 3, additive: 5, corr: 0.5},
	{slots: 7, options: 6, states: 2, additive: 3, corr: 0.7, skips: 0.3},
	{slots: 5, options: 12, states: 2, additive: 0},
}

var objectiveSets = [][]Criterion{
	nil,
	{LeftEnd, RightEnd},
	{0, LeftEnd, RightEnd},
	{WorseEnd, 0},
	{0},
	{RightEnd},
	{0, LeftEnd, WorseEnd},
	{WorseEnd},
}

// TestParetoAgainstEnumeration compares the front with the definition applied to all chains: the
// same vectors, bit for bit, and every chain has the values it says.
func TestParetoAgainstEnumeration(t *testing.T) {
	const seed = 20261
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	catalogues, fronts, points, most := 0, 0, 0, 0
	for round := range 8 {
		for _, sh := range shapes {
			sh.rounded = round%2 == 1
			p := sh.random(r)
			all := enumerate(p)
			if len(all) == 0 {
				continue
			}
			catalogues++
			most = max(most, len(all))
			criteria := []Criterion{LeftEnd, RightEnd, WorseEnd}
			for c := range sh.additive {
				criteria = append(criteria, Criterion(c))
			}
			for _, share := range []float64{-1, 0.2, 0.35, 0.6} {
				q := p
				if share >= 0 {
					var of []Criterion
					for _, c := range criteria {
						if r.IntN(2) == 0 {
							of = append(of, c)
						}
					}
					q = limited(p, all, share, of)
				}
				kept := slices.DeleteFunc(slices.Clone(all), func(c Chain) bool { return !keepsAll(q.Limits, c.Values) })
				for x, obj := range objectiveSets {
					if x > 0 && (x+round)%3 != 0 && share >= 0 {
						continue
					}
					if slices.Contains(obj, 0) && sh.additive == 0 {
						continue
					}
					s := Settings{Objectives: obj, MaxFront: -1, Workers: 1 + r.IntN(3)}
					got, err := Pareto(context.Background(), q, s)
					if err != nil {
						t.Fatal(err)
					}
					if obj == nil {
						obj = append(slices.Clone(criteria[3:]), LeftEnd)
					}
					want := plainFront(objectiveVectors(kept, obj))
					have := objectiveVectors(got.Chains, obj)
					if len(have) != len(got.Chains) || got.Size != len(have) {
						t.Fatalf("%+v, share %g: %d chains, Size %d, but %d distinct vectors", sh, share, len(got.Chains), got.Size, len(have))
					}
					if !slices.EqualFunc(want, have, func(a, b []float64) bool { return slices.Equal(a, b) }) {
						t.Fatalf("%+v, share %g, objectives %v: %d points, enumeration of %d chains gives %d", sh, share, obj, len(have), len(kept), len(want))
					}
					for _, c := range got.Chains {
						i := slices.IndexFunc(all, func(a Chain) bool { return slices.Equal(a.Option, c.Option) })
						if i < 0 || !slices.Equal(all[i].Values.Add, c.Values.Add) || all[i].Values.Left != c.Values.Left || all[i].Values.Right != c.Values.Right {
							t.Fatalf("chain %v: values %+v are not those of the enumeration", c.Option, c.Values)
						}
					}
					if got.Compatible != float64(len(all)) {
						t.Fatalf("%v compatible chains, enumeration finds %d", got.Compatible, len(all))
					}
					fronts++
					points += len(have)
				}
			}
		}
	}
	t.Logf("%d catalogues of up to %d chains, %d fronts, %d points", catalogues, most, fronts, points)
	if catalogues < 50 {
		t.Errorf("only %d catalogues", catalogues)
	}
}

func byScore(a, b Ranked) int {
	return cmp.Or(cmp.Compare(a.Score, b.Score), slices.Compare(a.Option, b.Option))
}
