package search

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// shop describes an invented catalogue for chains board connector, cable
// connector, cable, cable connector, board connector.
type shop struct {
	parts          int // per slot; cables two fifths of it; one in three fails on its own and is left out
	series, groups int // interface families, in two genders each, and cable families
	corr           float64
}

// problem draws the catalogue. Prices rise with quality; loss and reflection fall with it, with rank correlation about corr.
func (s shop) problem(seed uint64) Problem {
	r := rand.New(rand.NewPCG(seed, 7))
	p := Problem{Criteria: []string{"loss, µdB", "price, µ", "mass, µg"}}
	normal := func(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) } // to a uniform share
	with := func(q float64) float64 { return normal(s.corr*q + math.Sqrt(1-s.corr*s.corr)*r.NormFloat64()) }
	log := func(lo, hi, u float64) float64 { return lo * math.Pow(hi/lo, u) }
	faces := 2 * s.series
	for i, name := range []string{"board connector 1", "cable connector 1", "cable", "cable connector 2", "board connector 2"} {
		slot := Slot{Name: name}
		n := s.parts
		if i == 2 {
			n = n * 2 / 5
		}
		for range n * 2 / 3 {
			q := r.NormFloat64()
			var o Option
			loss := log(0.08, 0.8, 1-with(q))
			if i == 2 {
				loss = log(0.8, 3.5, 1-with(q))
			}
			o.Cost = []int64{int64(1e6 * loss), int64(1e6 * log(4, 60, normal(q))), int64(1e6 * log(3, 30, r.Float64()))}
			o.Gamma, o.GammaRight = log(0.02, 0.15, 1-with(q)), log(0.02, 0.15, 1-with(q))
			o.TwoWay = math.Pow(10, -loss/10)
			left, right := []int{1, faces, s.groups, s.groups, faces}[i], []int{faces, s.groups, s.groups, faces, 1}[i]
			o.Left, o.Right = State(r.IntN(left)), State(r.IntN(right))
			if i == 2 {
				o.Right = o.Left
			}
			slot.Options = append(slot.Options, o)
		}
		p.Slots = append(p.Slots, slot)
	}
	return p
}

var moderate = []Limit{{Of: 0, Max: 4e6}, {Of: 1, Max: 80e6}, {Of: 2, Max: 60e6}, {Of: LeftEnd, Max: 0.25}}
var tight = []Limit{{Of: 0, Max: 3e6}, {Of: 1, Max: 60e6}, {Of: 2, Max: 50e6}, {Of: LeftEnd, Max: 0.25}}

// plainProgramme is the same dynamic programme without trees, bounds or option filters: all
// options times all suffixes, sorted, each against the list of those kept; for all
// additive criteria and the left end. It returns the vectors of the front, ascending.
func plainProgramme(p Problem) [][]float64 {
	n := len(p.Criteria)
	here := map[State][][]float64{}
	states := 0
	for _, s := range p.Slots {
		for _, o := range s.Options {
			states = max(states, int(o.Left)+1, int(o.Right)+1)
		}
	}
	for s := range State(states) {
		if len(p.RightEnds) == 0 || slices.Contains(p.RightEnds, s) {
			here[s] = [][]float64{make([]float64, n+1)}
		}
	}
	minimal := func(vs [][]float64) [][]float64 {
		slices.SortFunc(vs, func(a, b []float64) int { return slices.Compare(a, b) })
		return plainFront(vs)
	}
	for i := len(p.Slots) - 1; i >= 0; i-- {
		next := map[State][][]float64{}
		for _, o := range p.Slots[i].Options {
			for _, v := range here[o.Right] {
				w := make([]float64, n+1)
				for c, x := range o.Cost {
					w[c] = v[c] + float64(x)
				}
				w[n] = o.Gamma + float64(o.TwoWay*v[n])
				over := false
				for _, l := range p.Limits {
					c := n
					if l.Of >= 0 {
						c = int(l.Of)
					}
					over = over || (c < n || i == 0) && w[c] > l.Max
				}
				if !over {
					next[o.Left] = append(next[o.Left], w)
				}
			}
		}
		for s := range next {
			next[s] = minimal(next[s])
		}
		here = next
	}
	var all [][]float64
	for s, vs := range here {
		if len(p.LeftEnds) == 0 || slices.Contains(p.LeftEnds, s) {
			all = append(all, vs...)
		}
	}
	return minimal(all)
}

// BenchmarkAgainstPlain compares with the plain dynamic programme in one run.
func BenchmarkAgainstPlain(b *testing.B) {
	for _, c := range []struct {
		name   string
		parts  int
		limits []Limit
	}{{"100/none", 100, nil}, {"200/moderate", 200, moderate}} {
		b.Run(c.name, func(b *testing.B) {
			var plain, ours time.Duration
			points := 0
			for i := range b.N {
				p := shop{c.parts, 2, 3, 0.7}.problem(uint64(i))
				p.Limits = c.limits
				start := time.Now()
				vs := plainProgramme(p)
				plain += time.Since(start)
				start = time.Now()
				f, err := Pareto(context.Background(), p, Settings{MaxFront: -1})
				ours += time.Since(start)
				if err != nil || f.Size != len(vs) {
					b.Fatal(err, f.Size, len(vs))
				}
				points += f.Size
			}
			b.ReportMetric(float64(plain.Milliseconds())/float64(b.N), "plain-ms")
			b.ReportMetric(ours.Seconds()*1e3/float64(b.N), "ms")
			b.ReportMetric(float64(plain)/float64(ours), "ratio")
			b.ReportMetric(float64(points)/float64(b.N), "points")
		})
	}
}

func BenchmarkPareto(b *testing.B) {
	for _, c := range []struct {
		name   string
		shop   shop
		limits []Limit
		obj    []Criterion
	}{
		{"500/moderate", shop{500, 2, 3, 0.7}, moderate, nil},
		{"500/none", shop{500, 2, 3, 0.7}, nil, nil},
		{"2000/moderate", shop{2000, 2, 3, 0.7}, moderate, nil},
		{"2000/tight", shop{2000, 2, 3, 0.7}, tight, nil},
		{"2000/none, 3 criteria", shop{2000, 2, 3, 0.7}, nil, []Criterion{0, 1, LeftEnd}},
		{"500/both ends, moderate", shop{500, 2, 3, 0.7}, append(moderate[:4:4], Limit{Of: RightEnd, Max: 0.25}), []Criterion{0, 1, 2, LeftEnd, RightEnd}},
		{"500/worse end, moderate", shop{500, 2, 3, 0.7}, append(moderate[:3:3], Limit{Of: WorseEnd, Max: 0.25}), []Criterion{0, 1, 2, WorseEnd}},
	} {
		b.Run(c.name, func(b *testing.B) {
			var size, tested, labels, chains float64
			kept := 0
			for i := range b.N {
				b.StopTimer()
				p := c.shop.problem(uint64(i))
				p.Limits = c.limits
				b.StartTimer()
				f, err := Pareto(context.Background(), p, Settings{Objectives: c.obj, MaxFront: -1})
				if err != nil {
					b.Fatal(err)
				}
				size += float64(f.Size)
				tested += float64(f.Stats.Tested)
				labels += float64(f.Stats.Labels)
				chains += f.Compatible
				kept = f.Stats.Kept
				if i == 0 {
					b.Log(fmt.Sprint(f.Stats, " ", Count(f.Compatible)))
				}
			}
			n := float64(b.N)
			b.ReportMetric(size/n, "points")
			b.ReportMetric(tested/n, "tests")
			b.ReportMetric(labels/n, "labels")
			b.ReportMetric(chains/n, "chains")
			b.ReportMetric(float64(kept), "kept")
		})
	}
}

func BenchmarkBest(b *testing.B) {
	for _, c := range []struct {
		name   string
		shop   shop
		limits []Limit
	}{
		{"500/none", shop{500, 2, 3, 0.7}, nil},
		{"500/moderate", shop{500, 2, 3, 0.7}, moderate},
		{"2000/moderate", shop{2000, 2, 3, 0.7}, moderate},
		{"2000/tight", shop{2000, 2, 3, 0.7}, tight},
		{"2000/hardly any", shop{2000, 2, 3, 0.7}, []Limit{{Of: 0, Max: 2.2e6}, {Of: 1, Max: 60e6}, {Of: 2, Max: 30e6}, {Of: LeftEnd, Max: 0.16}}},
	} {
		b.Run(c.name, func(b *testing.B) {
			opened, found := 0, 0
			for i := range b.N {
				b.StopTimer()
				p := c.shop.problem(uint64(i))
				p.Limits = c.limits
				b.StartTimer()
				// one dB counts as 10 of price, 10 g as 3, and 0.1 of reflection as 15
				got, err := Best(context.Background(), p, Weights{Add: []float64{10, 1, 0.3}, Left: 150e6}, 50, Settings{})
				if err != nil {
					b.Fatal(err)
				}
				opened += int(got.Stats.Tested)
				found += len(got.Chains)
			}
			b.ReportMetric(float64(opened)/float64(b.N), "opened")
			b.ReportMetric(float64(found)/float64(b.N), "found")
		})
	}
}

func BenchmarkNearest(b *testing.B) {
	for _, c := range []struct {
		name   string
		shop   shop
		limits []Limit
	}{
		{"500/feasible", shop{500, 2, 3, 0.7}, moderate},
		{"500", shop{500, 2, 3, 0.7}, []Limit{{Of: 0, Max: 2e6}, {Of: 1, Max: 40e6}, {Of: 2, Max: 30e6}, {Of: LeftEnd, Max: 0.12}}},
		{"2000", shop{2000, 2, 3, 0.7}, []Limit{{Of: 0, Max: 1.5e6}, {Of: 1, Max: 40e6}, {Of: 2, Max: 25e6}, {Of: LeftEnd, Max: 0.1}}},
		{"2000, worse end", shop{2000, 2, 3, 0.7}, []Limit{{Of: 0, Max: 1.5e6}, {Of: 1, Max: 40e6}, {Of: 2, Max: 25e6}, {Of: WorseEnd, Max: 0.1}}},
	} {
		b.Run(c.name, func(b *testing.B) {
			opened, fallback, feasible := 0, 0, 0
			for i := range b.N {
				b.StopTimer()
				p := c.shop.problem(uint64(i))
				p.Limits = c.limits
				b.StartTimer()
				got, err := Nearest(context.Background(), p, 10, Settings{})
				if err != nil {
					b.Fatal(err)
				}
				opened += int(got.Stats.Tested)
				if got.Stats.Fallback {
					fallback++
				}
				if got.Feasible {
					feasible++
				}
				if i == 0 {
					b.Log(got.Chains[0].Violation, got.Chains[len(got.Chains)-1].Violation)
				}
			}
			b.ReportMetric(float64(opened)/float64(b.N), "opened")
			b.ReportMetric(float64(fallback), "fallbacks")
			b.ReportMetric(float64(feasible), "feasible")
		})
	}
}
