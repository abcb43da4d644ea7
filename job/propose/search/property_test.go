package search

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func front(t *testing.T, p Problem, s Settings) Front {
	t.Helper()
	f, err := Pareto(context.Background(), p, s)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// beats says whether a is nowhere greater than b.
func beats(a, b []float64) bool {
	for d := range a {
		if a[d] > b[d] {
			return false
		}
	}
	return true
}

// TestAnOptionMoreNeverWorsens adds options one by one: every point of the old front is still equalled or beaten.
// And a limit relaxed keeps every point of the tighter front, equalled or beaten.
func TestAnOptionMoreNeverWorsens(t *testing.T) {
	const seed = 20266
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	covers := func(old, new [][]float64) bool {
		for _, v := range old {
			if !slices.ContainsFunc(new, func(w []float64) bool { return beats(w, v) }) {
				return false
			}
		}
		return true
	}
	points := 0
	for round := range 6 {
		sh := shape{slots: 5, options: 14, states: 2, additive: 3, rounded: round%3 == 2, corr: 0.7}
		p := sh.random(r)
		obj := []Criterion{0, 1, 2, LeftEnd, RightEnd}
		s := Settings{Objectives: obj, MaxFront: -1}
		before := objectiveVectors(front(t, p, s).Chains, obj)
		for range 4 {
			i := r.IntN(5)
			more := sh.random(r).Slots[i].Options[:1]
			p.Slots[i].Options = append(slices.Clone(p.Slots[i].Options), more...)
			after := objectiveVectors(front(t, p, s).Chains, obj)
			if !covers(before, after) {
				t.Fatalf("an option more in slot %d worsens the front", i)
			}
			before = after
		}
		points += len(before)
		mid := slices.Clone(before[len(before)/2])
		p.Limits = []Limit{{Of: 1, Max: mid[1]}, {Of: LeftEnd, Max: mid[3]}}
		tighter := objectiveVectors(front(t, p, s).Chains, obj)
		if len(tighter) == 0 || !covers(tighter, before) {
			t.Fatalf("a limit dropped loses points, or the limit lost the point that set it")
		}
	}
	t.Logf("%d points", points)
}

// TestMirror turns problems round: the right end of the one is the left end of the other.
// The sums run the other way, so the last bits may differ, and with them which of two nearly equal points stays.
func TestMirror(t *testing.T) {
	const seed = 20267
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	for range 10 {
		p := shape{slots: 5, options: 25, states: 2, additive: 2, corr: 0.7}.random(r)
		q := Problem{Criteria: p.Criteria, LeftEnds: p.RightEnds, RightEnds: p.LeftEnds}
		for i := range p.Slots {
			s := p.Slots[len(p.Slots)-1-i]
			s.Options = slices.Clone(s.Options)
			for j := range s.Options {
				o := &s.Options[j]
				o.Left, o.Right, o.Gamma, o.GammaRight = o.Right, o.Left, o.GammaRight, o.Gamma
			}
			q.Slots = append(q.Slots, s)
		}
		a := objectiveVectors(front(t, p, Settings{Objectives: []Criterion{0, 1, RightEnd}, MaxFront: -1}).Chains, []Criterion{0, 1, RightEnd})
		b := objectiveVectors(front(t, q, Settings{Objectives: []Criterion{0, 1, LeftEnd}, MaxFront: -1}).Chains, []Criterion{0, 1, LeftEnd})
		if len(a) != len(b) {
			t.Fatalf("%d points, mirrored %d", len(a), len(b))
		}
		for i := range a {
			for d := range a[i] {
				if !(math.Abs(a[i][d]-b[i][d]) <= 1e-12*(1+a[i][d])) {
					t.Fatalf("point %d: %v, mirrored %v", i, a[i], b[i])
				}
			}
		}
	}
}

// TestWorkersAgree asks for the same chains, not only the same values, from one, two and five workers.
func TestWorkersAgree(t *testing.T) {
	p := shop{150, 2, 3, 0.7}.problem(3)
	p.Limits = moderate
	for _, obj := range [][]Criterion{nil, {0, 1, 2, WorseEnd}} {
		one := front(t, p, Settings{Objectives: obj, Workers: 1})
		for _, n := range []int{2, 5} {
			f := front(t, p, Settings{Objectives: obj, Workers: n})
			if f.Size != one.Size || f.Stats.Tested != one.Stats.Tested || !slices.EqualFunc(f.Chains, one.Chains, func(a, b Chain) bool { return slices.Equal(a.Option, b.Option) }) {
				t.Errorf("%d workers: %d points, one worker %d, or other chains", n, f.Size, one.Size)
			}
		}
		if one.Size < 500 {
			t.Errorf("a front of %d points is too small to tell", one.Size)
		}
	}
}

// TestBestLiesOnTheFront: the chain of least weighted sum, all weights above 0, is a point of the front.
func TestBestLiesOnTheFront(t *testing.T) {
	const seed = 20268
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	p := shop{150, 2, 3, 0.7}.problem(5)
	p.Limits = moderate
	obj := []Criterion{0, 1, 2, LeftEnd}
	points := objectiveVectors(front(t, p, Settings{MaxFront: -1}).Chains, obj)
	for range 50 {
		w := Weights{Add: []float64{r.ExpFloat64(), r.ExpFloat64(), r.ExpFloat64()}, Left: 1e7 * r.ExpFloat64()}
		best, err := Best(context.Background(), p, w, 1, Settings{})
		if err != nil {
			t.Fatal(err)
		}
		v := objectiveVectors([]Chain{best.Chains[0].Chain}, obj)[0]
		if !slices.ContainsFunc(points, func(x []float64) bool { return slices.Equal(x, v) }) {
			t.Errorf("weights %v: %v is not on the front", w, v)
		}
	}
}

// TestCover checks the cover against the whole front: it holds only points of the
// front, one for each box, and no box with a point is without.
func TestCover(t *testing.T) {
	p := shop{150, 2, 3, 0.7}.problem(4)
	res := []Resolution{{Of: 0, Step: 0.1e6}, {Of: 1, Ratio: 1.03}, {Of: 2, Ratio: 1.05}, {Of: LeftEnd, Ratio: math.Pow(10, 0.5/20)}}
	whole := front(t, p, Settings{MaxFront: -1})
	some := front(t, p, Settings{MaxFront: 100, Resolution: res[:3]})
	if whole.Covered || len(whole.Chains) != whole.Size {
		t.Fatalf("the whole front is covered or not whole")
	}
	if !some.Covered || some.Size != whole.Size || len(some.Resolution) != 4 || some.Resolution[3].Ratio != defaultRatio {
		t.Fatalf("covered %v, size %d of %d, resolution %v", some.Covered, some.Size, whole.Size, some.Resolution)
	}
	some = front(t, p, Settings{MaxFront: 100, Resolution: res})
	box := func(c Chain) string {
		var s strings.Builder
		for _, r := range res {
			fmt.Fprint(&s, r.Box(c.Values.Of(r.Of)), " ")
		}
		return s.String()
	}
	boxes := map[string]int{}
	for _, c := range some.Chains {
		boxes[box(c)]++
		if !slices.ContainsFunc(whole.Chains, func(a Chain) bool { return slices.Equal(a.Option, c.Option) }) {
			t.Errorf("chain %v of the cover is not on the front", c.Option)
		}
	}
	filled := map[string]bool{}
	for _, c := range whole.Chains {
		filled[box(c)] = true
		if boxes[box(c)] != 1 {
			t.Fatalf("box %s of a point of the front has %d representatives", box(c), boxes[box(c)])
		}
	}
	if len(boxes) != len(filled) || len(boxes) != len(some.Chains) {
		t.Errorf("%d boxes in the cover of %d chains, %d filled", len(boxes), len(some.Chains), len(filled))
	}
	t.Logf("%d points in %d boxes", whole.Size, len(boxes))
}

// TestArchive compares the tree with a plain list, in four and in eight numbers, with many equal numbers.
func TestArchive(t *testing.T) {
	const seed = 20269
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	for _, c := range []struct {
		stride, used int
		top          int64
	}{{4, 4, 1000}, {4, 3, 8}, {8, 6, 100}, {8, 8, 3}, {4, 1, 1 << 40}, {4, 2, 1}} {
		var scale scales
		for d := range scale.factor {
			scale.factor[d] = 1
		}
		a := newArchive(c.stride, c.used, &scale)
		var list []vector
		draw := func() (v vector) {
			for d := range c.used {
				v[d] = r.Int64N(c.top + 1)
			}
			return v
		}
		yes := 0
		for range 3000 {
			q := draw()
			if r.IntN(2) == 0 && len(list) > 0 {
				since := r.IntN(len(list) + 1)
				exists := func(from int) bool {
					return slices.ContainsFunc(list[from:], func(v vector) bool {
						for d := range v {
							if v[d] > q[d] {
								return false
							}
						}
						return true
					})
				}
				var w vector
				got := a.dominates(&q, int32(since), &w)
				if exists(since) && !got || got && !exists(0) {
					t.Fatalf("%+v: dominated %v, list says %v since %d, %v in all", c, got, exists(since), since, exists(0))
				}
				if got {
					yes++
					for d := range w {
						if w[d] > q[d] {
							t.Fatalf("%+v: witness %v does not dominate %v", c, w, q)
						}
					}
				}
				continue
			}
			list = append(list, q)
			a.add(&q)
		}
		if yes == 0 {
			t.Errorf("%+v: nothing was ever dominated", c)
		}
	}
}

// TestParetoAgainstPlainProgramme compares with the plain dynamic programme on a catalogue too large to enumerate.
func TestParetoAgainstPlainProgramme(t *testing.T) {
	obj := []Criterion{0, 1, 2, LeftEnd}
	for seed := range uint64(2) {
		p := shop{100, 2, 3, 0.7}.problem(seed)
		if seed == 1 {
			p.Limits = moderate
		}
		f := front(t, p, Settings{MaxFront: -1})
		have := objectiveVectors(f.Chains, obj)
		want := plainProgramme(p)
		if !slices.EqualFunc(want, have, func(a, b []float64) bool { return slices.Equal(a, b) }) {
			t.Errorf("seed %d: %d points, plain programme %d", seed, len(have), len(want))
		}
		t.Logf("%s chains, %d points", Count(f.Compatible), f.Size)
	}
}

// TestReflectionIsTheHandSum follows the recursion by hand for two connectors of return loss 20 dB
// and 26 dB about a cable of 1 dB: 0.1 + 10^(-0.1)·0.05 seen from the left.
func TestReflectionIsTheHandSum(t *testing.T) {
	p := Problem{Slots: []Slot{
		{Name: "connector", Options: []Option{{Gamma: 0.1, GammaRight: 0.1, TwoWay: 1}}},
		{Name: "cable", Options: []Option{{TwoWay: math.Pow(10, -0.1)}}},
		{Name: "connector", Options: []Option{{Gamma: 0.05, GammaRight: 0.05, TwoWay: 1}}},
	}}
	v := p.Values([]int{0, 0, 0})
	if !(math.Abs(v.Left-0.13971641) <= 1e-8) || !(math.Abs(v.Right-0.12943282) <= 1e-8) {
		t.Errorf("left %.8f, right %.8f; by hand 0.13971641 and 0.12943282", v.Left, v.Right)
	}
}

func TestCancel(t *testing.T) {
	p := shop{500, 2, 3, 0.7}.problem(1)
	ctx, cancel := context.WithCancel(context.Background())
	calls, last := 0, -1.0
	s := Settings{Progress: func(x float64) {
		if calls++; x <= last || x > 1 {
			t.Errorf("progress %g after %g", x, last)
		}
		if last = x; x > 0.3 {
			cancel()
		}
	}}
	if _, err := Pareto(ctx, p, s); !errors.Is(err, context.Canceled) {
		t.Errorf("Pareto: %v", err)
	}
	if calls < 3 {
		t.Errorf("%d progress calls", calls)
	}
	if _, err := Best(ctx, p, Weights{Left: 1}, 1, Settings{}); !errors.Is(err, context.Canceled) {
		t.Errorf("Best: %v", err)
	}
	p.Limits = tight
	if _, err := Nearest(ctx, p, 1, Settings{}); !errors.Is(err, context.Canceled) {
		t.Errorf("Nearest: %v", err)
	}
}

func TestTooLarge(t *testing.T) {
	p := shop{150, 2, 3, 0.7}.problem(1)
	if _, err := Pareto(context.Background(), p, Settings{MaxWork: 2000}); !errors.Is(err, ErrTooLarge) {
		t.Errorf("Pareto: %v", err)
	}
	if _, err := Best(context.Background(), p, Weights{Right: 1, Add: []float64{1e-6}, Worse: 1}, 3000, Settings{MaxWork: 1000}); !errors.Is(err, ErrTooLarge) {
		t.Errorf("Best: %v", err)
	}
}

// TestProblemErrors provokes every complaint about a problem.
func TestProblemErrors(t *testing.T) {
	good := func() Problem {
		return Problem{
			Criteria: []string{"loss", "price"},
			Slots:    []Slot{{"a", []Option{{Cost: []int64{1, 2}, TwoWay: 1}}}, {"b", []Option{{Cost: []int64{1, 2}, TwoWay: 1}}}},
		}
	}
	for _, c := range []struct {
		want  string
		spoil func(p *Problem, s *Settings)
	}{
		{"no slots", func(p *Problem, _ *Settings) { p.Slots = nil }},
		{"slot 1 (b), option 0: 1 costs", func(p *Problem, _ *Settings) { p.Slots[1].Options[0].Cost = []int64{1} }},
		{"at most 5", func(p *Problem, _ *Settings) { p.Criteria = make([]string, 6) }},
		{"states -1 and 0", func(p *Problem, _ *Settings) { p.Slots[0].Options[0].Left = -1 }},
		{"reflections -0.1", func(p *Problem, _ *Settings) { p.Slots[0].Options[0].Gamma = -0.1 }},
		{"reflections 0 and NaN", func(p *Problem, _ *Settings) { p.Slots[0].Options[0].GammaRight = math.NaN() }},
		{"two-way factor 0", func(p *Problem, _ *Settings) { p.Slots[0].Options[0].TwoWay = 0 }},
		{"two-way factor NaN", func(p *Problem, _ *Settings) { p.Slots[0].Options[0].TwoWay = math.NaN() }},
		{"price -2", func(p *Problem, _ *Settings) { p.Slots[0].Options[0].Cost[1] = -2 }},
		{"2^53", func(p *Problem, _ *Settings) { p.Slots[0].Options[0].Cost[1] = 1 << 53 }},
		{"state -3 at an end", func(p *Problem, _ *Settings) { p.LeftEnds = []State{-3} }},
		{"criterion 2;", func(p *Problem, _ *Settings) { p.Limits = []Limit{{Of: 2, Max: 1}} }},
		{"weight -1 of the limit of price", func(p *Problem, _ *Settings) { p.Limits = []Limit{{Of: 1, Max: 1, Weight: -1}} }},
		{"criterion -4;", func(p *Problem, _ *Settings) { p.Limits = []Limit{{Of: -4, Max: 1}} }},
		{"limit of price is not a number", func(p *Problem, _ *Settings) { p.Limits = []Limit{{Of: 1, Max: math.NaN()}} }},
		{"criterion 7;", func(_ *Problem, s *Settings) { s.Objectives = []Criterion{7} }},
		{"objective twice", func(_ *Problem, s *Settings) { s.Objectives = []Criterion{0, LeftEnd, 0} }},
		{"resolution of loss", func(_ *Problem, s *Settings) { s.Resolution = []Resolution{{Of: 0}} }},
		{"resolution of loss", func(_ *Problem, s *Settings) { s.Resolution = []Resolution{{Of: 0, Step: 1, Ratio: 2}} }},
		{"no chain", func(p *Problem, _ *Settings) { p.Slots[0].Options[0].Right = 1 }},
		{"no chain", func(p *Problem, _ *Settings) { p.RightEnds = []State{9} }},
	} {
		p, s := good(), Settings{}
		if _, err := Pareto(context.Background(), p, s); err != nil {
			t.Fatal(err)
		}
		c.spoil(&p, &s)
		_, err := Pareto(context.Background(), p, s)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("error %v, want %q", err, c.want)
		}
		var pe *ProblemError
		if !errors.As(err, &pe) && !errors.Is(err, ErrNoChain) {
			t.Errorf("error %v is of neither kind", err)
		}
	}
	if _, err := Best(context.Background(), good(), Weights{Left: -1}, 1, Settings{}); err == nil {
		t.Errorf("a negative weight passes")
	}
	if _, err := Best(context.Background(), good(), Weights{Add: []float64{1, 1, 1}}, 1, Settings{}); err == nil {
		t.Errorf("three weights for two criteria pass")
	}
}

func TestCount(t *testing.T) {
	for _, c := range []struct {
		n    float64
		want string
	}{{0, "0"}, {37, "37"}, {99999, "99999"}, {1e5, "1.0e5"}, {1.23e10, "1.2e10"}, {1e100, "1.0e100"}} {
		if got := Count(c.n); got != c.want {
			t.Errorf("Count(%g) = %s, want %s", c.n, got, c.want)
		}
	}
}
