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

// What is open without which no chain can be laid out is asked, not refused: the
// questions are the answer.
func TestFindAsksFirst(t *testing.T) {
	board, port := enquiry.End{Kind: enquiry.Board}, enquiry.End{Kind: enquiry.Port}
	band := []enquiry.Band{{From: 1e9, To: 12e9}}
	for name, c := range map[string]struct {
		e    enquiry.Enquiry
		want []string
	}{
		"nothing":              {enquiry.Enquiry{}, []string{"band", "path.length"}},
		"no band":              {enquiry.Enquiry{From: port, To: board, Path: enquiry.Path{Length: ptr(units.Length(0.5))}}, []string{"band"}},
		"no length":            {enquiry.Enquiry{Band: band, From: port, To: port, Path: enquiry.Path{Through: enquiry.ThroughCable}}, []string{"path.length"}},
		"no length, cable too": {enquiry.Enquiry{Band: band, From: port, To: port}, []string{"path.length"}},
		"no board line":        {enquiry.Enquiry{Band: band, From: board, To: board, Path: enquiry.Path{Through: enquiry.ThroughTrace}}, []string{"from.line.length"}},
	} {
		a, err := Find(context.Background(), c.e, shelf(rand.New(rand.NewPCG(1, 1)), 4, 4, 4), Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if a.Outcome != Ask || len(a.Proposals)+len(a.Misses) > 0 {
			t.Errorf("%s: %s with %d proposals", name, a.Outcome, len(a.Proposals))
		}
		for _, f := range c.want {
			if !hasField(a.Questions, f) || !strings.Contains(a.Why, f) {
				t.Errorf("%s: %s is not asked; %s", name, f, a.Why)
			}
		}
	}
}

// small is a catalogue of one 2.92 mm chain from board to board, every figure
// of it guaranteed at 25 °C and lossless but for the cable's 1 dB/m·√GHz.
func small() catalogue.Catalogue {
	common := func(id string) part.Common {
		return part.Common{ID: id, RatedFrequency: ptr(units.Frequency(40e9)), Price: &units.Money{Micros: 10e6, Currency: "EUR"}, Mass: ptr(units.Mass(1e-3))}
	}
	loss := part.Loss{K: ptr(units.RootLevel(0)), Temperature: ptr(units.Celsius(25)), Statistic: part.Guaranteed}
	matched := part.Reflection{VSWR: ptr(1.0), Statistic: part.Guaranteed}
	face := func(g part.Gender) part.Face { return part.Face{Series: "2.92 mm", Gender: g} }
	return catalogue.Catalogue{
		Cables: []part.Cable{{Common: common("cable"), VelocityFactor: ptr(0.8), Core: part.Core{Diameter: ptr(units.Length(1.9e-3))}, Reflection: matched,
			Loss: part.Attenuation{K1: ptr(units.Must[units.RootAttenuation]("1 dB/(m·sqrt(GHz))")), Temperature: ptr(units.Celsius(25)), Statistic: part.Guaranteed}}},
		CableConnectors: []part.CableConnector{{Common: common("plug"), Face: face(part.Male), Fits: []string{"cable"}, Loss: loss, Reflection: matched}},
		BoardConnectors: []part.BoardConnector{{Common: common("jack"), Face: face(part.Female), Mount: part.EdgeClamp, Loss: loss, Reflection: matched}},
	}
}

func between(from, to enquiry.End) enquiry.Enquiry {
	return enquiry.Enquiry{ID: "small", Band: []enquiry.Band{{From: 1e9, To: 16e9}}, From: from, To: to, Path: enquiry.Path{Through: enquiry.ThroughCable, Length: ptr(units.Length(0.5))}}
}

// A board line that an end states lies inside the chain: its loss counts, at
// whichever end, and the plane says where the chain begins.
func TestBoardLineBesideLaunch(t *testing.T) {
	line := func(mm, db float64) enquiry.End {
		return enquiry.End{Kind: enquiry.Board, Line: &enquiry.BoardLine{Length: ptr(units.Length(mm * 1e-3)), Loss: ptr(units.Level(db)), LossAt: ptr(units.Frequency(16e9)), EffectivePermittivity: ptr(4.0)}}
	}
	board, port := enquiry.End{Kind: enquiry.Board}, enquiry.End{Kind: enquiry.Port}
	cable := 0.5 * math.Sqrt(16) // dB
	for name, c := range map[string]struct {
		from, to enquiry.End
		want     float64 // dB at 16 GHz
		pieces   string
	}{
		"none":      {board, board, cable, "launch, board connector, connector, cable, connector, board connector, launch"},
		"near":      {line(30, 0.9), board, cable + 0.9, "board line, launch, board connector, connector, cable, connector, board connector, launch"},
		"both":      {line(30, 0.9), line(20, 0.6), cable + 1.5, "board line, launch, board connector, connector, cable, connector, board connector, launch, board line"},
		"far alone": {port, line(20, 0.6), cable + 0.6, "connector, cable, connector, board connector, launch, board line"},
	} {
		a, err := Find(context.Background(), between(c.from, c.to), small(), Options{Points: 11, Draws: -1})
		if err != nil || len(a.Proposals) == 0 {
			t.Errorf("%s: %d proposals, %v", name, len(a.Proposals), err)
			continue
		}
		p := a.Proposals[0].Report.Prediction
		if got := p.Loss[len(p.Loss)-1]; !(math.Abs(got-c.want) <= 1e-9) {
			t.Errorf("%s: %g dB, want %g", name, got, c.want)
		}
		if got := float64(a.Proposals[0].Values.Loss); !(math.Abs(got-c.want) <= 1e-9) {
			t.Errorf("%s: the search saw %g dB, want %g", name, got, c.want)
		}
		var kinds []string
		for _, r := range p.Rows {
			kinds = append(kinds, strings.TrimPrefix(r.Kind, "cable ")) // "cable connector"
		}
		if got := strings.Join(kinds, ", "); got != c.pieces {
			t.Errorf("%s: %s, want %s", name, got, c.pieces)
		}
		if c.from.Line != nil && !strings.Contains(a.Proposals[0].Spec.LeftPlane, "30 mm") {
			t.Errorf("%s: the left plane is %q", name, a.Proposals[0].Spec.LeftPlane)
		}
	}
}

// The board line between two launches may be stated at either end.
func TestBoardLineAtFarEnd(t *testing.T) {
	e := between(enquiry.End{Kind: enquiry.Board}, enquiry.End{Kind: enquiry.Board, Line: &enquiry.BoardLine{Length: ptr(units.Length(40e-3)), Loss: ptr(units.Level(1.2)), LossAt: ptr(units.Frequency(16e9))}})
	e.Path = enquiry.Path{Through: enquiry.ThroughTrace}
	a, err := Find(context.Background(), e, small(), Options{Points: 11, Draws: -1})
	if err != nil || len(a.Proposals) == 0 {
		t.Fatalf("%d proposals, %v", len(a.Proposals), err)
	}
	p := a.Proposals[0].Report.Prediction
	if got := p.Loss[len(p.Loss)-1]; !(math.Abs(got-1.2) <= 1e-9) {
		t.Errorf("%g dB, want 1.2", got)
	}
}

// A limit that the search does not weigh may stop the whole front though a
// chain behind it keeps it: a dearer plug rated to more power.
func TestBehindTheFront(t *testing.T) {
	cat := small()
	cat.CableConnectors[0].Power = []part.PowerRating{{Power: 5, At: 16e9, Temperature: ptr(units.Celsius(25)), Altitude: ptr(units.Length(0)), VSWR: ptr(1.0)}}
	strong := cat.CableConnectors[0]
	strong.ID, strong.Price = "strong", &units.Money{Micros: 99e6, Currency: "EUR"}
	strong.Power = []part.PowerRating{{Power: 500, At: 16e9, Temperature: ptr(units.Celsius(25)), Altitude: ptr(units.Length(0)), VSWR: ptr(1.0)}}
	cat.CableConnectors = append(cat.CableConnectors, strong)
	port := enquiry.End{Kind: enquiry.Port, Port: &part.Face{Series: "2.92 mm", Gender: part.Female}}
	e := between(port, port)
	e.Power = &enquiry.Power{Average: ptr(units.Power(50)), LoadVSWR: ptr(1.0)}
	e.Environment = enquiry.Environment{MaxTemperature: ptr(units.Celsius(25)), Altitude: ptr(units.Length(0))}
	a, err := Find(context.Background(), e, cat, Options{Points: 11, Draws: -1})
	if err != nil || len(a.Proposals) == 0 {
		t.Fatalf("%d proposals, %v", len(a.Proposals), err)
	}
	best := a.Proposals[0]
	if best.Spec.Name != "strong + cable + strong" || best.Report.Verdict() == assess.Fails {
		t.Errorf("the first proposal is %s, %v", best.Spec.Name, best.Report.Verdict())
	}
	if a.Outcome == Partial || len(a.Misses) > 0 {
		t.Errorf("%s with %d misses: %s", a.Outcome, len(a.Misses), a.Why)
	}
	// With no such plug the answer is a partial offer, and says that all failed.
	cat.CableConnectors = cat.CableConnectors[:1]
	if a, err = Find(context.Background(), e, cat, Options{Points: 11, Draws: -1}); err != nil || a.Outcome != Partial || !strings.Contains(a.Why, "no chain of the catalogue keeps every limit") {
		t.Errorf("%s, %v: %s", a.Outcome, err, a.Why)
	}
}

// A cable that is formed once is no cable for a route that moves, however
// tightly it bends.
func TestFormedCableOnMovingRoute(t *testing.T) {
	cat := small()
	cat.Cables[0].Construction, cat.Cables[0].BendStatic = part.SemiRigid, ptr(units.Length(5e-3))
	e := between(enquiry.End{Kind: enquiry.Port}, enquiry.End{Kind: enquiry.Port})
	e.Path.BendRadius, e.Path.Moving = ptr(units.Length(20e-3)), ptr(true)
	a, err := Find(context.Background(), e, cat, Options{Points: 11, Draws: -1})
	if err != nil || len(a.Proposals) > 0 || len(a.Misses) == 0 {
		t.Fatalf("%d proposals, %d misses, %v", len(a.Proposals), len(a.Misses), err)
	}
	refused := false
	for _, r := range a.Refused {
		refused = refused || r.Reason == "bend radius"
	}
	if !refused || len(a.Misses[0].Broken) == 0 {
		t.Errorf("refused %v, broken %v", a.Refused, a.Misses[0].Broken)
	}
}

// Where no chain joins the ends the answer says which place nothing can take,
// what waits before it, and what the field would ask for.
func TestDeclineSaysWhere(t *testing.T) {
	cat := small()
	cat.BoardConnectors[0].Face.Series = "SMP"
	e := between(enquiry.End{Kind: enquiry.Port}, enquiry.End{Kind: enquiry.Board})
	e.Lines, e.Field = ptr(16), &enquiry.Field{Width: ptr(units.Length(12e-3)), Height: ptr(units.Length(12e-3)), At: enquiry.FieldTo}
	a, err := Find(context.Background(), e, cat, Options{})
	if err != nil || a.Outcome != Decline {
		t.Fatalf("%s, %v", a.Outcome, err)
	}
	for _, words := range []string{"far board connector", "2.92 mm male", "plug"} {
		if !strings.Contains(a.Why, words) {
			t.Errorf("nothing says %q: %s", words, a.Why)
		}
	}
	axes := map[string]string{}
	for _, g := range a.Gaps {
		axes[g.Axis] = g.Asked
	}
	if axes["interface"] == "" || !strings.Contains(axes["pitch"], "3.00 mm") { // 12 mm over 4
		t.Errorf("gaps %v", a.Gaps)
	}
}

// A gap is recorded once: of the nearest chain that misses it, not of every
// chain that misses it too and more.
func TestGapsOfNearest(t *testing.T) {
	cat := small()
	for i := range 4 { // worse and worse cables: more loss, and colder than they work
		c := cat.Cables[0]
		c.ID = fmt.Sprintf("worse%d", i)
		k1 := *c.Loss.K1 * units.RootAttenuation(2+i)
		c.Loss.K1, c.MinTemperature = &k1, ptr(units.Celsius(0))
		cat.Cables = append(cat.Cables, c)
		cat.CableConnectors[0].Fits = append(cat.CableConnectors[0].Fits, c.ID)
	}
	e := between(enquiry.End{Kind: enquiry.Port}, enquiry.End{Kind: enquiry.Port})
	e.Environment = enquiry.Environment{MinTemperature: ptr(units.Celsius(-20)), MaxTemperature: ptr(units.Celsius(25))}
	e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(1))}} // the best cable has 2 dB
	a, err := Find(context.Background(), e, cat, Options{Points: 11, Draws: -1})
	if err != nil || len(a.Misses) < 2 {
		t.Fatalf("%d misses, %v", len(a.Misses), err)
	}
	if len(a.Gaps) != 1 || a.Gaps[0].Axis != "insertion loss" || a.Gaps[0].Best != "2.00 dB" {
		t.Errorf("gaps %+v", a.Gaps)
	}
}

// What no connector shows by itself an adapter may show: at either end, either
// way round; and an adapter stands there only then.
func TestAdapterShowsWhatIsAsked(t *testing.T) {
	cat := small()
	n := part.Face{Series: "N", Gender: part.Male}
	inner := part.Face{Series: "2.92 mm", Gender: part.Female}
	cat.Adapters = []part.Adapter{{Common: part.Common{ID: "adapter", RatedFrequency: ptr(units.Frequency(18e9))}, Left: inner, Right: n,
		Loss: part.Loss{K: ptr(units.RootLevel(0)), Temperature: ptr(units.Celsius(25))}, Reflection: part.Reflection{VSWR: ptr(1.1)}}}
	shows := func(f part.Face) enquiry.End { return enquiry.End{Kind: enquiry.Port, Presents: &f} }
	plug := shows(part.Face{Series: "2.92 mm", Gender: part.Male})
	for name, c := range map[string]struct {
		from, to enquiry.End
		want     string
	}{
		"near":     {shows(n), plug, "adapter + plug + cable + plug"},
		"far":      {plug, shows(n), "plug + cable + plug + adapter"},
		"both":     {shows(n), shows(n), "adapter + plug + cable + plug + adapter"},
		"neither":  {plug, plug, "plug + cable + plug"},
		"gender":   {shows(part.Face{Gender: part.Male}), shows(part.Face{Gender: part.Male}), "plug + cable + plug"},
		"no N fem": {plug, shows(part.Face{Series: "N", Gender: part.Female}), ""},
	} {
		a, err := Find(context.Background(), between(c.from, c.to), cat, Options{Points: 5, Draws: -1})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		got := ""
		if len(a.Proposals) > 0 {
			got = a.Proposals[0].Spec.Name
			for _, m := range a.Proposals[0].Report.Margins {
				if m.Verdict == assess.Fails {
					t.Errorf("%s: %s fails: %s", name, m.Limit, m.Why)
				}
			}
		}
		if got != c.want || c.want == "" && (a.Outcome != Decline || !strings.Contains(a.Why, "far adapter")) {
			t.Errorf("%s: %q, want %q: %s, %s", name, got, c.want, a.Outcome, a.Why)
		}
	}
}
