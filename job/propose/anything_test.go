package propose

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"linewright/hardware/catalogue"
	"linewright/hardware/part"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// furnished is a random shelf with what else a datasheet may say, each figure
// there or not.
func furnished(r *rand.Rand) catalogue.Catalogue {
	cat := shelf(r, 3, 4, 3)
	maybe := func() bool { return r.IntN(2) == 0 }
	mm := func(from, to float64) *units.Length { return ptr(units.Length((from + (to-from)*r.Float64()) * 1e-3)) }
	common := func(c *part.Common) {
		if maybe() {
			c.MinTemperature, c.MaxTemperature = ptr(units.Celsius(-60+40*r.Float64())), ptr(units.Celsius(60+100*r.Float64()))
		}
		if maybe() {
			c.LeadTime = ptr(units.Time(86400 * float64(r.IntN(90))))
		}
		if maybe() {
			c.Power = []part.PowerRating{{Power: units.Power(1 + 200*r.Float64()), At: units.Frequency(1e9 + 20e9*r.Float64())}}
		}
	}
	handling := func(h *part.Handling) {
		if maybe() {
			h.Matings, h.Pitch, h.Isolation, h.Engage = ptr(r.IntN(5000)), mm(2, 15), ptr(units.Level(30+60*r.Float64())), ptr(units.Force(60*r.Float64()))
		}
	}
	for i := range cat.Cables {
		c := &cat.Cables[i]
		common(&c.Common)
		c.Construction = []part.CableConstruction{"", part.Flexible, part.SemiRigid, part.HandFormable}[r.IntN(4)]
		if maybe() {
			c.Core, c.OuterDiameter = part.Core{Diameter: mm(1, 4), Dielectric: []string{"", "solid PTFE", "low-density PTFE"}[r.IntN(3)]}, mm(4.5, 8)
		}
		if maybe() {
			c.BendStatic, c.BendDynamic, c.FlexCycles, c.FlexPhase = mm(3, 40), mm(10, 80), ptr(r.IntN(100000)), ptr(units.Angle(r.Float64()*0.1))
		}
		if maybe() {
			c.LengthChanges = []part.LengthChange{{At: units.Celsius(-40), Change: 1500e-6}, {At: units.Celsius(15), Change: 300e-6}, {At: units.Celsius(25)}, {At: units.Celsius(85), Change: -1500e-6}}
		}
		if r.IntN(5) == 0 {
			c.VelocityFactor = nil
		}
		if r.IntN(5) == 0 {
			c.Loss = part.Attenuation{}
		}
	}
	for i := range cat.CableConnectors {
		common(&cat.CableConnectors[i].Common)
		handling(&cat.CableConnectors[i].Handling)
	}
	for i := range cat.BoardConnectors {
		k := &cat.BoardConnectors[i]
		common(&k.Common)
		handling(&k.Handling)
		k.Mount = []part.Mount{part.EdgeClamp, part.EdgeSolder, part.VerticalCompression, part.VerticalSolder}[r.IntN(4)]
		if maybe() {
			k.BoardMin, k.BoardMax, k.RingDiameter, k.PinDiameter = mm(0.1, 0.5), mm(0.5, 3), mm(1, 3), mm(0.1, 0.5)
		}
	}
	face := func() part.Face {
		return part.Face{Series: []string{"SMA", "3.5 mm", "2.92 mm", "2.4 mm"}[r.IntN(4)], Gender: []part.Gender{part.Male, part.Female}[r.IntN(2)]}
	}
	for i := range 3 {
		cat.Adapters = append(cat.Adapters, part.Adapter{Common: part.Common{ID: fmt.Sprintf("adapter%d", i), RatedFrequency: ptr(units.Frequency(30e9))}, Left: face(), Right: face(), Reflection: part.Reflection{VSWR: ptr(1.2)}})
	}
	for i := range 3 { // push-on: two jacks and a bullet of each length
		if maybe() {
			f := part.Face{Series: "SMP", Gender: part.Male, Retention: []part.Retention{"", part.FullDetent, part.SmoothBore}[r.IntN(3)]}
			cat.BoardConnectors = append(cat.BoardConnectors, part.BoardConnector{Common: part.Common{ID: fmt.Sprintf("jack%d", i), RatedFrequency: ptr(units.Frequency(40e9))}, Face: f, Mount: part.VerticalSolder, Reflection: part.Reflection{VSWR: ptr(1.2)}})
		}
		g := part.Face{Series: "SMP", Gender: part.Female}
		b := part.Bullet{Common: part.Common{ID: fmt.Sprintf("bullet%d", i), RatedFrequency: ptr(units.Frequency(40e9))}, Left: g, Right: g, Reflection: part.Reflection{VSWR: ptr(1.15)}}
		if maybe() {
			b.SeatedSpacing, b.PivotLength, b.MaxTilt = mm(6, 12), mm(3, 8), ptr(units.Angle(0.05))
		}
		if maybe() {
			b.GapImpedance, b.MaxGap = ptr(units.Resistance(50+30*r.Float64())), mm(0.2, 1)
		}
		cat.Bullets = append(cat.Bullets, b)
	}
	return cat
}

// someone's enquiry: every statement there or not, sensible or hardly.
func anyEnquiry(r *rand.Rand) enquiry.Enquiry {
	maybe := func() bool { return r.IntN(2) == 0 }
	mm := func(from, to float64) *units.Length { return ptr(units.Length((from + (to-from)*r.Float64()) * 1e-3)) }
	level := func(from, to float64) *units.Level { return ptr(units.Level(from + (to-from)*r.Float64())) }
	e := enquiry.Enquiry{ID: "anything"}
	if r.IntN(8) > 0 {
		top := units.Frequency(2e9 + 28e9*r.Float64())
		e.Band = []enquiry.Band{{From: top * units.Frequency(r.Float64()), To: top}}
		if r.IntN(4) == 0 {
			e.Band = append(e.Band, enquiry.Band{From: top * 0.5, To: top * 0.6})
		}
	}
	end := func() enquiry.End {
		x := enquiry.End{Kind: []enquiry.EndKind{enquiry.Board, enquiry.Board, enquiry.Port, enquiry.Port, ""}[r.IntN(5)]}
		if x.Kind == enquiry.Port && maybe() {
			x.Port = &part.Face{Series: []string{"", "SMA", "2.92 mm"}[r.IntN(3)], Gender: []part.Gender{"", part.Male, part.Female}[r.IntN(3)]}
		}
		if x.Kind == enquiry.Board {
			if maybe() {
				x.Thickness, x.Solderless, x.Series = mm(0.2, 3), ptr(maybe()), []string{"", "2.92 mm"}[r.IntN(2)]
			}
			if maybe() {
				x.Line = &enquiry.BoardLine{Kind: "coplanar", Height: mm(0.1, 0.8), Permittivity: ptr(2 + 2*r.Float64())}
				if maybe() {
					x.Line.Length, x.Line.Loss = mm(1, 80), level(0, 2)
				}
			}
			if maybe() {
				x.Return = level(5, 25)
			}
			if maybe() {
				x.Fence, x.Ring = &enquiry.Fence{RowWidth: mm(0.5, 4), Pitch: mm(0.2, 2)}, &enquiry.Ring{Diameter: mm(1, 3), Barrel: mm(0.1, 0.6)}
			}
		}
		return x
	}
	e.From, e.To = end(), end()
	e.Path = enquiry.Path{Through: []enquiry.Through{"", enquiry.ThroughCable, enquiry.ThroughCable, enquiry.ThroughBullet, enquiry.ThroughTrace}[r.IntN(5)]}
	if r.IntN(6) > 0 {
		e.Path.Length = mm(20, 3000)
	}
	if maybe() {
		e.Path.BendRadius, e.Path.Moving = mm(5, 100), ptr(maybe())
	}
	if maybe() {
		e.Path.Flexes = ptr(r.IntN(50000))
	}
	if maybe() {
		e.Lines = ptr(1 + r.IntN(64))
	}
	if maybe() {
		e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: level(0.2, 6), Of: []enquiry.Of{"", enquiry.OfAssembly, enquiry.OfCable}[r.IntN(3)]}}
	}
	if maybe() {
		e.Limits.ReturnLoss = []enquiry.ReturnLossLimit{{AtLeast: level(6, 24), Of: []enquiry.Of{"", enquiry.OfJoint, enquiry.OfLaunch, enquiry.OfConnector}[r.IntN(4)]}}
	}
	if maybe() {
		e.Limits.Isolation, e.Limits.Ripple = []enquiry.IsolationLimit{{AtLeast: *level(20, 80)}}, []enquiry.RippleLimit{{AtMost: *level(0.1, 1)}}
	}
	if maybe() {
		e.Limits.Mass, e.Limits.Price = ptr(units.Mass(0.2*r.Float64())), &units.Money{Micros: int64(r.IntN(300)) * 1e6, Currency: "EUR"}
	}
	if maybe() {
		e.Match = &enquiry.Match{Kind: []enquiry.MatchKind{"", enquiry.Relative, enquiry.Absolute}[r.IntN(3)], Delay: ptr(units.Time(1e-12 * 5 * r.Float64())), Tracking: ptr(maybe())}
	}
	if maybe() {
		e.Environment.MinTemperature, e.Environment.MaxTemperature = ptr(units.Celsius(-273+300*r.Float64())), ptr(units.Celsius(30+150*r.Float64()))
	}
	if maybe() {
		e.Environment.Gradient, e.Environment.Altitude, e.Environment.Vacuum = ptr(units.Difference(20*r.Float64())), ptr(units.Length(30e3*r.Float64())), ptr(r.IntN(4) == 0)
	}
	if maybe() {
		e.Power = &enquiry.Power{Average: ptr(units.Power(1 + 100*r.Float64())), Peak: ptr(units.Power(100 + 5000*r.Float64())), LoadVSWR: ptr(1 + 2*r.Float64())}
	}
	if maybe() {
		e.Noise = &enquiry.Noise{AtMost: ptr(units.Difference(500 * r.Float64())), NextStage: ptr(units.Difference(200 * r.Float64()))}
	}
	if maybe() {
		e.Field = &enquiry.Field{Pitch: mm(1, 20), HalfWave: ptr(maybe())}
	}
	if maybe() {
		e.Alignment = &enquiry.Alignment{Spacing: mm(6, 13), BlindMate: ptr(maybe()), Force: ptr(units.Force(500 * r.Float64()))}
		if maybe() {
			e.Alignment.SpacingTolerance, e.Alignment.PositionTolerance, e.Alignment.BoardTolerance = mm(0, 0.4), mm(0, 0.2), mm(0, 0.2)
		}
	}
	if maybe() {
		e.Handling.Matings, e.Commercial.LeadTime = ptr(r.IntN(3000)), ptr(units.Time(86400*float64(r.IntN(60))))
	}
	return e
}

// Whatever is asked of whatever shelf, the answer comes, and holds together: a
// limit that is met has a margin that is not negative, one that fails has one
// that is not positive, what is not assessed says why, and the outcome is that
// of the first proposal.
func TestFindAnything(t *testing.T) {
	const seed = 20
	outcomes := map[Outcome]int{}
	for n := range 400 {
		r := rand.New(rand.NewPCG(seed, uint64(n)))
		cat, e := furnished(r), anyEnquiry(r)
		a, err := Find(context.Background(), e, cat, Options{Points: 5, Draws: -1, Judged: 30, Misses: 2, Most: 3})
		if err != nil {
			t.Errorf("seed %d, enquiry %d: %v", seed, n, err)
			continue
		}
		outcomes[a.Outcome]++
		best := worstOf(a.Proposals)
		switch {
		case a.Why == "":
			t.Errorf("enquiry %d: %s without a reason", n, a.Outcome)
		case a.Outcome == Serve && (best != assess.Meets || len(a.Contradictions) > 0),
			a.Outcome == Condition && (len(a.Proposals) == 0 || best == assess.Fails),
			a.Outcome == Partial && best != assess.Fails,
			(a.Outcome == Decline || a.Outcome == Ask) && len(a.Proposals)+len(a.Misses) > 0:
			t.Errorf("enquiry %d: %s with %d proposals, %d misses, the best %v", n, a.Outcome, len(a.Proposals), len(a.Misses), best)
		}
		all := append([]Proposal(nil), a.Proposals...)
		for _, m := range a.Misses {
			all = append(all, m.Proposal)
			if len(m.Broken) == 0 {
				t.Errorf("enquiry %d: %s is a miss that breaks nothing", n, m.Spec.Name)
			}
		}
		for _, p := range all {
			for _, m := range p.Report.Margins {
				bad := m.Verdict == assess.Meets && m.Margin < -1e-9 || m.Verdict == assess.Fails && m.Margin > 1e-9 || m.Why == "" || m.Limit == "" ||
					math.IsInf(m.Worst, 0) && m.Unit != "W" && m.Unit != "dB" && m.Unit != "" || strings.Contains(m.Why, "NaN")
				if bad {
					t.Errorf("enquiry %d, %s: %+v", n, p.Spec.Name, m)
				}
			}
			for _, x := range append(append([]string(nil), p.Report.Notes...), fmt.Sprint(p.Report.Ways), fmt.Sprint(p.Report.Gaps), fmt.Sprint(p.Report.Questions)) {
				if strings.Contains(x, "NaN") || strings.Contains(x, "%!") {
					t.Errorf("enquiry %d, %s says: %s", n, p.Spec.Name, x)
				}
			}
		}
	}
	for _, o := range []Outcome{Condition, Partial, Decline, Ask} {
		if outcomes[o] == 0 {
			t.Errorf("no enquiry ends in %q: the enquiries are too narrow: %v", o, outcomes)
		}
	}
}

// Each of these ended in a panic or an error once.
func TestFindOddEnquiries(t *testing.T) {
	cat := furnished(rand.New(rand.NewPCG(1, 1)))
	for i := range cat.BoardConnectors {
		cat.BoardConnectors[i].LeadTime = ptr(units.Time(86400))
	}
	band := []enquiry.Band{{From: 1e9, To: 10e9}}
	for name, e := range map[string]enquiry.Enquiry{
		"a bullet to nowhere":     {Band: band, Path: enquiry.Path{Through: enquiry.ThroughBullet}},
		"a bullet to a port":      {Band: band, Path: enquiry.Path{Through: enquiry.ThroughBullet}, To: enquiry.End{Kind: enquiry.Port}},
		"no time for delivery":    {Band: band, Path: enquiry.Path{Length: ptr(units.Length(1))}, From: enquiry.End{Kind: enquiry.Board}, Commercial: enquiry.Commercial{LeadTime: ptr(units.Time(0))}},
		"colder than copper goes": {Band: band, Path: enquiry.Path{Length: ptr(units.Length(1))}, Environment: enquiry.Environment{MaxTemperature: ptr(units.Celsius(-270))}},
	} {
		if _, err := Find(context.Background(), e, cat, Options{Points: 5, Draws: 100, Judged: 30, Misses: 2, Most: 3}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
