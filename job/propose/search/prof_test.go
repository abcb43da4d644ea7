package search
import ("testing";"context";"math/rand/v2";"time")
func TestProf(t *testing.T) {
	r := rand.New(rand.NewPCG(20265, 1))
	for i := range 40 {
		p := shop{500 * (1 + 3*r.IntN(2)), 2, 3, 0.7}.problem(r.Uint64())
		u := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
		p.Limits = []Limit{{0, u(1.4e6, 3e6)}, {1, u(22e6, 60e6)}, {2, u(16e6, 40e6)}, {[]Criterion{LeftEnd, WorseEnd}[r.IntN(2)], u(0.08, 0.2)}}
		if i == 18 {
			s := time.Now()
			n, err := Nearest(context.Background(), p, 10, Settings{})
			t.Log(p.Limits, time.Since(s), n.Stats, err)
			for _, c := range n.Chains { t.Log(c.Violation, c.Broken) }
			for _, c := range n.Reaches { t.Log(c.Limit, c.Alone.Values, c.WithOthers.Values) }
			s = time.Now()
			for i := range p.Limits { p.Limits[i].Max *= 1.3 }
			f, err := Pareto(context.Background(), p, Settings{MaxFront: -1})
			t.Log(f.Size, err, time.Since(s))
		}
	}
}
