package propose

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"strings"
	"testing"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/propose/search"
	"linewright/physics/units"
)

func ptr[T any](x T) *T { return &x }

// shelf is a random catalogue of threaded parts, small enough to enumerate.
func shelf(r *rand.Rand, boards, connectors, cables int) catalogue.Catalogue {
	names := []string{"SMA", "3.5 mm", "2.92 mm", "2.4 mm"}
	genders := []part.Gender{part.Male, part.Female}
	money := func(base float64) *units.Money {
		return &units.Money{Micros: int64(base*(0.5+r.Float64())) * 1e6, Currency: "EUR"} // whole euros: ties occur
	}
	common := func(kind string, i int) part.Common {
		c := part.Common{ID: fmt.Sprintf("%s%d", kind, i), RatedFrequency: ptr(units.Frequency(15e9 + 20e9*r.Float64())), Price: money(50), Mass: ptr(units.Mass(float64(1+r.IntN(9)) * 1e-3))}
		if r.IntN(8) == 0 {
			c.Mass = nil
		}
		if r.IntN(8) == 0 {
			c.RatedFrequency = nil
		}
		return c
	}
	loss := func() part.Loss {
		k := units.RootLevel(float64(1+r.IntN(5)) * 0.01 / math.Sqrt(1e9))
		return part.Loss{K: &k, Temperature: ptr(units.Celsius(25))}
	}
	reflection := func() part.Reflection {
		if r.IntN(8) == 0 {
			return part.Reflection{}
		}
		return part.Reflection{VSWR: ptr(1.05 + 0.05*float64(r.IntN(8)))}
	}
	var c catalogue.Catalogue
	for i := range cables {
		k1 := units.Must[units.RootAttenuation]("0.3 dB/(m·sqrt(GHz))") * units.RootAttenuation(0.5+r.Float64())
		c.Cables = append(c.Cables, part.Cable{Common: common("cable", i), Group: fmt.Sprintf("group%d", r.IntN(3)), VelocityFactor: ptr(0.7 + 0.2*r.Float64()),
			Loss: part.Attenuation{K1: &k1, Temperature: ptr(units.Celsius(25))}, Reflection: reflection()})
	}
	for i := range connectors {
		c.CableConnectors = append(c.CableConnectors, part.CableConnector{Common: common("plug", i), Face: part.Face{Series: names[r.IntN(4)], Gender: genders[r.IntN(2)]},
			Fits: []string{fmt.Sprintf("group%d", r.IntN(3)), fmt.Sprintf("cable%d", r.IntN(cables))}, Loss: loss(), Reflection: reflection()})
	}
	for i := range boards {
		c.BoardConnectors = append(c.BoardConnectors, part.BoardConnector{Common: common("board", i), Face: part.Face{Series: names[r.IntN(4)], Gender: genders[r.IntN(2)]}, Mount: part.EdgeClamp, Loss: loss(), Reflection: reflection()})
	}
	return c
}

// vector is what the search weighs, read off the chain's own prediction.
type vector struct {
	loss, price, mass, unknown int64
	reflection                 float64
}

func (v vector) dominates(w vector) bool {
	return v.loss <= w.loss && v.price <= w.price && v.mass <= w.mass && v.unknown <= w.unknown && v.reflection <= w.reflection && v != w
}

// enumerate builds every chain of cat that answers e, one by one, and keeps
// those that no other beats. It shares no code with the search or its slots.
func enumerate(t *testing.T, e enquiry.Enquiry, cat catalogue.Catalogue) (front []vector, count int) {
	top := float64(e.Band[0].To)
	serves := func(p part.Common, faces ...part.Face) bool {
		if p.RatedFrequency != nil && float64(*p.RatedFrequency) < top {
			return false
		}
		for _, f := range faces {
			if s, _ := series.Lookup(f.Series); float64(s.ModeFreeLimit()) < top {
				return false
			}
		}
		return true
	}
	mates := func(a, b part.Face) bool {
		m := series.Mate(a.Series, b.Series)
		return a.Gender.Mates(b.Gender) && m.Grade != series.DoesNotFit
	}
	below := func(a, b part.Face) bool {
		m := series.Mate(a.Series, b.Series)
		return m.Top == 0 || top <= float64(m.Top)
	}
	var all []vector
	for _, b1 := range cat.BoardConnectors {
		for _, k1 := range cat.CableConnectors {
			for _, c := range cat.Cables {
				for _, k2 := range cat.CableConnectors {
					for _, b2 := range cat.BoardConnectors {
						if !mates(b1.Face, k1.Face) || !mates(k2.Face, b2.Face) || !catalogue.Fits(k1, c) || !catalogue.Fits(k2, c) {
							continue
						}
						count++
						if !below(b1.Face, k1.Face) || !below(k2.Face, b2.Face) || !serves(b1.Common, b1.Face) || !serves(k1.Common, k1.Face) || !serves(c.Common) || !serves(k2.Common, k2.Face) || !serves(b2.Common, b2.Face) {
							continue
						}
						launch := chain.LaunchSpec{}
						spec := chain.Spec{Pieces: []chain.PieceSpec{{Launch: &launch}, {Part: b1.ID}, {Part: k1.ID}, {Part: c.ID, Length: e.Path.Length}, {Part: k2.ID}, {Part: b2.ID}, {Launch: &launch}}}
						b, err := chain.Build(spec, cat)
						if err != nil {
							t.Fatal(err)
						}
						p, err := b.Predict(context.Background(), []float64{top}, chain.Conditions{Temperature: units.Celsius(25)}, chain.Options{Draws: -1})
						if err != nil {
							t.Fatal(err)
						}
						v := vector{reflection: math.Max(p.Left.Worst[0], p.Right.Worst[0])}
						for _, row := range p.Rows {
							v.loss += int64(math.Round(row.Response.Loss[0] * 1e6))
							if row.Price != nil {
								v.price += row.Price.Micros
							}
							if row.Mass == nil {
								v.unknown++
							} else {
								v.mass += int64(math.Round(float64(*row.Mass) * 1e9))
							}
							if !row.Reflecting {
								v.unknown++
							}
							if row.Part != "" && row.Rated == nil {
								v.unknown++
							}
						}
						if limit := e.Limits.InsertionLoss[0].AtMost; v.loss > int64(math.Floor(float64(*limit)*1e6+0.5)) {
							continue
						}
						all = append(all, v)
					}
				}
			}
		}
	}
	// The search adds reflections part by part; sums in another order differ
	// in the last bits, so reflections are compared to nine digits.
	for i := range all {
		all[i].reflection = math.Round(all[i].reflection*1e9) / 1e9
	}
	for _, v := range all {
		beaten := false
		for _, w := range all {
			beaten = beaten || w.dominates(v)
		}
		if !beaten {
			front = append(front, v)
		}
	}
	return distinct(front), count
}

func distinct(vs []vector) []vector {
	sort.Slice(vs, func(i, k int) bool { return fmt.Sprint(vs[i]) < fmt.Sprint(vs[k]) })
	var out []vector
	for _, v := range vs {
		if len(out) == 0 || v != out[len(out)-1] {
			out = append(out, v)
		}
	}
	return out
}

// On 60 random catalogues the search's front is that of enumeration, and it
// counts the same chains.
func TestFrontEqualsEnumeration(t *testing.T) {
	const seed = 20
	chains := 0
	for n := range 60 {
		r := rand.New(rand.NewPCG(seed, uint64(n)))
		cat := shelf(r, 4+r.IntN(3), 5+r.IntN(4), 3+r.IntN(4))
		e := enquiry.Enquiry{ID: "random", Band: []enquiry.Band{{From: 1e9, To: units.Frequency(10e9 + 10e9*r.Float64())}}, From: enquiry.End{Kind: enquiry.Board}, To: enquiry.End{Kind: enquiry.Board},
			Path:   enquiry.Path{Through: enquiry.ThroughCable, Length: ptr(units.Length(0.2 + r.Float64()))},
			Limits: enquiry.Limits{InsertionLoss: []enquiry.LossLimit{{AtMost: ptr(units.Level(0.5 + 3*r.Float64()))}}}}
		want, count := enumerate(t, e, cat)
		chains += count

		l := newLayout(e, cat, e.Band[0].To, units.Celsius(25), launch.Layouts{})
		p, ok := l.problem(false)
		if !ok {
			if len(want) > 0 {
				t.Errorf("seed %d, catalogue %d: a slot is empty, but enumeration finds %d", seed, n, len(want))
			}
			continue
		}
		s := l.settings(Options{})
		s.MaxFront = -1
		front, err := search.Pareto(context.Background(), p, s)
		if err != nil && len(want) > 0 {
			t.Fatalf("seed %d, catalogue %d: %v", seed, n, err)
		}
		var got []vector
		for _, c := range front.Chains {
			v := l.values(c)
			x := vector{price: v.Price.Micros, unknown: int64(v.Unknown), reflection: math.Round(math.Max(c.Values.Left, c.Values.Right)*1e9) / 1e9}
			x.loss, x.mass = c.Values.Add[0], c.Values.Add[2]
			got = append(got, x)
		}
		// Rounding reflections may make two points of the front one.
		kept := got[:0:0]
		for _, v := range got {
			beaten := false
			for _, w := range got {
				beaten = beaten || w.dominates(v)
			}
			if !beaten {
				kept = append(kept, v)
			}
		}
		got = distinct(kept)
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("seed %d, catalogue %d: the search has %d points, enumeration %d\n%v\n%v", seed, n, len(got), len(want), got, want)
		}
	}
	if chains < 5000 {
		t.Errorf("only %d chains were enumerated: the catalogues are too small to prove anything", chains)
	}
}

// The proposals of Find are judged chains in the order of verdict and score,
// each built of parts that mate.
func TestFindRanks(t *testing.T) {
	for n := range 12 {
		r := rand.New(rand.NewPCG(3, uint64(n)))
		cat := shelf(r, 4, 5, 4)
		e := enquiry.Enquiry{ID: "random", Band: []enquiry.Band{{From: 1e9, To: 12e9}}, From: enquiry.End{Kind: enquiry.Board}, To: enquiry.End{Kind: enquiry.Board},
			Path: enquiry.Path{Through: enquiry.ThroughCable, Length: ptr(units.Length(0.5))}, Limits: enquiry.Limits{InsertionLoss: []enquiry.LossLimit{{AtMost: ptr(units.Level(2.5))}}}}
		a, err := Find(context.Background(), e, cat, Options{Draws: 200})
		if err != nil {
			t.Fatal(err)
		}
		if len(a.Proposals) == 0 && len(a.Misses) == 0 && a.Outcome != Decline {
			t.Errorf("catalogue %d: nothing to show, yet %s", n, a.Outcome)
		}
		for i, p := range a.Proposals {
			if p.Rank != i+1 || i > 0 && p.Report.Verdict() < a.Proposals[i-1].Report.Verdict() {
				t.Errorf("catalogue %d: rank %d is out of order", n, p.Rank)
			}
			for _, j := range p.Built.Joins {
				if !j.Genders || j.Mating.Grade == series.DoesNotFit {
					t.Errorf("catalogue %d: %s proposes %s against %s", n, p.Spec.Name, j.LeftPart, j.RightPart)
				}
			}
		}
		for _, m := range a.Misses {
			if m.Report.Verdict() == assess.Fails && len(m.Broken) == 0 {
				t.Errorf("catalogue %d: %s misses nothing that is named", n, m.Spec.Name)
			}
		}
	}
}

// A canceled search returns, and says why.
func TestFindStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	r := rand.New(rand.NewPCG(1, 1))
	e := enquiry.Enquiry{Band: []enquiry.Band{{From: 1e9, To: 12e9}}, From: enquiry.End{Kind: enquiry.Board}, To: enquiry.End{Kind: enquiry.Board}, Path: enquiry.Path{Length: ptr(units.Length(0.5))}}
	if _, err := Find(ctx, e, shelf(r, 20, 20, 20), Options{}); err == nil || !strings.Contains(err.Error(), "cancel") {
		t.Errorf("a canceled search returns %v", err)
	}
}

// Without a band nothing can be chosen, and the error says what to write.
func TestFindWithoutBand(t *testing.T) {
	if _, err := Find(context.Background(), enquiry.Enquiry{ID: "x"}, catalogue.Catalogue{}, Options{}); err == nil || !strings.Contains(err.Error(), "band:") {
		t.Errorf("no band gives %v", err)
	}
}
