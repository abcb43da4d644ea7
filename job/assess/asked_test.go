package assess

import (
	"math"
	"strings"
	"testing"

	"linewright/hardware/board"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// Whatever a search drops parts for is judged of a chain that has them, with
// its reason, and recorded as a gap where it fails.
func TestNamedProperties(t *testing.T) {
	mm := func(x float64) *units.Length { return held(units.Length(x * 1e-3)) }
	day := units.Time(86400)
	plain := func() enquiry.Enquiry {
		end := enquiry.End{Kind: enquiry.Board}
		return enquiry.Enquiry{ID: "asked", Band: []enquiry.Band{{From: 20e9, To: 30e9}}, From: end, To: end}
	}
	for name, c := range map[string]struct {
		ask    func(*enquiry.Enquiry)
		change func(*part.BoardConnector, *part.Cable)
		limit  string
		want   Verdict
		margin float64 // NaN: none
		gap    string
	}{
		"mount kept":        {func(e *enquiry.Enquiry) { e.From.Mounts = []part.Mount{part.EdgeSolder, part.EdgeClamp} }, nil, "mount, near end", Meets, math.NaN(), ""},
		"mount missed":      {func(e *enquiry.Enquiry) { e.From.Mounts = []part.Mount{part.EdgeSolder} }, nil, "mount, near end", Fails, math.NaN(), "mount"},
		"solderless kept":   {func(e *enquiry.Enquiry) { e.To.Solderless = held(true) }, nil, "mount, far end", Meets, math.NaN(), ""},
		"solderless missed": {func(e *enquiry.Enquiry) { e.To.Solderless = held(true) }, func(k *part.BoardConnector, _ *part.Cable) { k.Mount = part.EdgeSolder }, "mount, far end", Fails, math.NaN(), "mount"},
		"series kept":       {func(e *enquiry.Enquiry) { e.To.Series = "2.92 mm" }, nil, "connector series, far end", Meets, math.NaN(), ""},
		"series missed":     {func(e *enquiry.Enquiry) { e.To.Series = "2.4 mm" }, nil, "connector series, far end", Fails, math.NaN(), "connector series"},
		"retention missed": {func(e *enquiry.Enquiry) { e.From.Retention = part.SmoothBore }, func(k *part.BoardConnector, _ *part.Cable) { k.Face.Retention = part.FullDetent },
			"retention, near end", Fails, math.NaN(), "retention"},
		"board fits": {func(e *enquiry.Enquiry) { e.From.Thickness = mm(1.5) }, func(k *part.BoardConnector, _ *part.Cable) { k.BoardMin, k.BoardMax = mm(0.2), mm(1.7) },
			"board thickness, near end", Meets, 0.2, ""},
		"board too thick": {func(e *enquiry.Enquiry) { e.From.Thickness = mm(2) }, func(k *part.BoardConnector, _ *part.Cable) { k.BoardMin, k.BoardMax = mm(0.2), mm(1.7) },
			"board thickness, near end", Fails, -0.3, "board thickness"},
		"board too thin": {func(e *enquiry.Enquiry) { e.From.Thickness = mm(0.1) }, func(k *part.BoardConnector, _ *part.Cable) { k.BoardMin, k.BoardMax = mm(0.2), mm(1.7) },
			"board thickness, near end", Fails, -0.1, "board thickness"},
		"boards not stated": {func(e *enquiry.Enquiry) { e.From.Thickness = mm(1.5) }, nil, "board thickness, near end", NotAssessed, math.NaN(), ""},
		"construction":      {func(e *enquiry.Enquiry) { e.Path.Construction = part.SemiRigid }, func(_ *part.BoardConnector, c *part.Cable) { c.Construction = part.Flexible }, "construction of the cable", Fails, math.NaN(), "construction of the cable"},
		"construction open": {func(e *enquiry.Enquiry) { e.Path.Construction = part.SemiRigid }, nil, "construction of the cable", NotAssessed, math.NaN(), ""},
		"delivery in time": {func(e *enquiry.Enquiry) { e.Commercial.LeadTime = held(30 * day) }, func(k *part.BoardConnector, c *part.Cable) { k.LeadTime, c.LeadTime = held(20*day), held(7*day) },
			"lead time", NotAssessed, 10, ""}, // the plugs do not say
		"delivery too late": {func(e *enquiry.Enquiry) { e.Commercial.LeadTime = held(10 * day) }, func(k *part.BoardConnector, c *part.Cable) { k.LeadTime, c.LeadTime = held(20*day), held(7*day) },
			"lead time", Fails, -10, "lead time"},
	} {
		cat := modeShelf()
		k, cable := &cat.BoardConnectors[2], &cat.Cables[0]
		if c.change != nil {
			c.change(k, cable)
		}
		e := plain()
		c.ask(&e)
		l := chain.PieceSpec{Launch: &chain.LaunchSpec{}}
		r := judged(t, e, cat, l, chain.PieceSpec{Part: "edge"}, chain.PieceSpec{Part: "told"}, chain.PieceSpec{Part: "cable", Length: held(units.Length(0.3))}, chain.PieceSpec{Part: "told"}, chain.PieceSpec{Part: "edge"}, l)
		m := marginOf(t, r, c.limit)
		if m.Verdict != c.want || m.Why == "" {
			t.Errorf("%s: %v, want %v: %s", name, m.Verdict, c.want, m.Why)
		}
		if math.IsNaN(c.margin) != math.IsNaN(m.Margin) || !math.IsNaN(c.margin) && !(math.Abs(m.Margin-c.margin) <= 1e-9) {
			t.Errorf("%s: margin %g, want %g", name, m.Margin, c.margin)
		}
		found := c.gap == ""
		for _, g := range r.Gaps {
			found = found || g.Axis == c.gap
			if c.gap == "" && g.Axis == axisOf(c.limit) {
				t.Errorf("%s: a gap where nothing is missed: %+v", name, g)
			}
		}
		if !found {
			t.Errorf("%s: no gap on %s", name, c.gap)
		}
		if c.want == NotAssessed && c.limit == "lead time" && !hasQuestion(r, "catalogue: lead_time of told") {
			t.Errorf("%s: the missing time of delivery is not asked", name)
		}
	}
}

// The thickness of a board that is named by its stackup is the stackup's.
func TestBoardThickness(t *testing.T) {
	stack := board.Stackup{Name: "s", Layers: []board.Layer{{Name: "L1", Kind: board.Copper, Thickness: 35e-6}, {Kind: board.Core, Thickness: 0.93e-3}, {Name: "L2", Kind: board.Copper, Thickness: 35e-6}}}
	l := launch.Layouts{Stackups: []board.Stackup{stack}}
	got := BoardThickness(enquiry.End{Stackup: "s"}, l)
	if got == nil || !(math.Abs(float64(*got)-1e-3) <= 1e-12) {
		t.Errorf("the stackup's thickness is %v, want 1 mm", got)
	}
	if got := BoardThickness(enquiry.End{Stackup: "s", Thickness: held(units.Length(2e-3))}, l); got == nil || *got != 2e-3 {
		t.Errorf("what the end states is not taken: %v", got)
	}
	if got := BoardThickness(enquiry.End{Stackup: "unknown"}, l); got != nil {
		t.Errorf("an unknown stackup is %v thick", *got)
	}
}

// A limit that no part of the chain keeps is on record as a gap: mass, price,
// bend radius, flexing, force.
func TestGapsOfLimits(t *testing.T) {
	cat := modeShelf()
	c := &cat.Cables[0]
	c.BendStatic, c.BendDynamic, c.FlexCycles, c.Construction = held(units.Length(15e-3)), held(units.Length(30e-3)), held(1000), part.Flexible
	c.Price, c.Mass = &units.Money{Micros: 40e6, Currency: "EUR"}, held(units.Mass(20e-3))
	k := &cat.CableConnectors[0]
	k.Price, k.Mass = &units.Money{Micros: 50e6, Currency: "EUR"}, held(units.Mass(5e-3))
	e := enquiry.Enquiry{ID: "gaps", Band: []enquiry.Band{{From: 20e9, To: 30e9}},
		Path:   enquiry.Path{BendRadius: held(units.Length(20e-3)), Moving: held(true), Flexes: held(5000)},
		Limits: enquiry.Limits{Mass: held(units.Mass(10e-3)), Price: &units.Money{Micros: 100e6, Currency: "EUR"}}}
	r := judged(t, e, cat, chain.PieceSpec{Part: "told"}, chain.PieceSpec{Part: "cable", Length: held(units.Length(0.5))}, chain.PieceSpec{Part: "told"})
	for _, axis := range []string{"mass", "price", "bend radius", "flex cycles"} {
		var found *Gap
		for i := range r.Gaps {
			if r.Gaps[i].Axis == axis {
				found = &r.Gaps[i]
			}
		}
		if found == nil || found.Asked == "" || found.Best == "" || found.Needs == "" || found.Cause == "" {
			t.Errorf("%s: %+v", axis, found)
		}
	}

	joint := boardToBoard()
	joint.Alignment.Force = held(units.Force(100)) // 32 lines of 9 N are 288 N (trade's notes, D3)
	r = judged(t, joint, pushOn(), parts("full", "middle", "smooth")...)
	if m := marginOf(t, r, "mating force of the field"); m.Verdict != Fails || m.Worst != 288 {
		t.Errorf("mating force: %v, %g N", m.Verdict, m.Worst)
	}
	found := false
	for _, g := range r.Gaps {
		found = found || g.Axis == "mating force of the field" && strings.Contains(g.Best, "288 N")
	}
	joint.Alignment.PositionTolerance = held(units.Length(0.4e-3)) // 2 × 0.4 + 0.15 mm, against 9.7 mm × sin 3°
	wide := judged(t, joint, pushOn(), parts("full", "middle", "smooth")...)
	radial := false
	for _, g := range wide.Gaps {
		radial = radial || g.Axis == "radial offset" && g.Asked == "0.95 mm" && strings.HasPrefix(g.Best, "0.51 mm") && strings.Contains(g.Needs, "18.15 mm") // 0.95 mm / sin 3°
	}
	if !radial {
		t.Errorf("the radial offset is no gap on record: %v", wide.Gaps)
	}
	if !found || !hasWay(r, "11 lines at once") { // 100 N over 9 N
		t.Errorf("the force is no gap on record: %v, %v", r.Gaps, r.Ways)
	}
}
