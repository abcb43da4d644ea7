package assess

import (
	"context"
	"math"
	"strings"
	"testing"

	"linewright/hardware/board"
	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/job/enquiry"
	"linewright/physics/network"
	"linewright/physics/units"
)

// modeShelf is a catalogue of one cable, 1.9 mm core, and of connectors whose
// series tells the bore, or does not.
func modeShelf() catalogue.Catalogue {
	common := func(id string, rated float64) part.Common {
		c := part.Common{ID: id, Source: "invented"}
		if rated > 0 {
			c.RatedFrequency = held(units.Frequency(rated))
		}
		return c
	}
	plug := func(id, name string, rated float64) part.CableConnector {
		return part.CableConnector{Common: common(id, rated), Face: part.Face{Series: name, Gender: part.Male}, Fits: []string{"cable"}}
	}
	return catalogue.Catalogue{
		Series:          []series.Series{{Name: "P", UsualTop: 40e9, Coupling: "push-on"}},
		Cables:          []part.Cable{{Common: common("cable", 50e9), Core: part.Core{Diameter: held(units.Length(1.9e-3)), Permittivity: held(1.42)}}},
		CableConnectors: []part.CableConnector{plug("told", "2.92 mm", 40e9), plug("rated", "P", 40e9), plug("short", "P", 20e9), plug("silent", "P", 0)},
		BoardConnectors: []part.BoardConnector{
			{Common: common("vertical", 40e9), Face: part.Face{Series: "2.92 mm", Gender: part.Female}, Mount: part.VerticalCompression},
			{Common: common("ringed", 40e9), Face: part.Face{Series: "2.92 mm", Gender: part.Female}, Mount: part.VerticalCompression, RingDiameter: held(units.Length(1.6e-3)), PinDiameter: held(units.Length(0.25e-3))},
			{Common: common("edge", 40e9), Face: part.Face{Series: "2.92 mm", Gender: part.Female}, Mount: part.EdgeClamp},
		},
	}
}

// A mode limit is met only where every cross-section is known. What stands in
// for one weakens it; what nothing is known of leaves it open, and asks.
func TestModesNotSeen(t *testing.T) {
	length := held(units.Length(0.3))
	cable := chain.PieceSpec{Part: "cable", Length: length}
	file := network.New(2, []float64{1e9, 20e9, 40e9}, 50)
	for i := range file.Frequency {
		file.Set(i, 0, 1, 0.9)
		file.Set(i, 1, 0, 0.9)
	}
	er := 3.5
	line := &enquiry.BoardLine{Kind: board.Coplanar, Height: held(units.Length(0.25e-3)), Permittivity: &er}
	end := func(fence *enquiry.Fence) enquiry.End {
		return enquiry.End{Kind: enquiry.Board, Line: line, Fence: fence}
	}
	bare, fenced := end(nil), end(&enquiry.Fence{RowWidth: held(units.Length(1.5e-3))})
	port := enquiry.End{Kind: enquiry.Port}
	for name, c := range map[string]struct {
		from   enquiry.End
		pieces []chain.PieceSpec
		want   Verdict
		why    string
		asks   string
	}{
		"all told":            {port, []chain.PieceSpec{{Part: "told"}, cable, {Part: "told"}}, Meets, "2.92 mm mating plane", ""},
		"a rating stands in":  {port, []chain.PieceSpec{{Part: "told"}, cable, {Part: "rated"}}, AtRisk, "for which their rating stands in", "catalogue: cross-sections of"},
		"a rating ends below": {port, []chain.PieceSpec{{Part: "told"}, cable, {Part: "short"}}, NotAssessed, "no rating to 30 GHz", "catalogue: cross-sections of"},
		"nothing stated":      {port, []chain.PieceSpec{{Part: "told"}, cable, {Part: "silent"}}, NotAssessed, "no rating to 30 GHz", "catalogue: cross-sections of"},
		"ratings alone":       {port, []chain.PieceSpec{{Part: "rated"}, {Part: "rated"}}, AtRisk, "no cross-section is stated", "catalogue: cross-sections of"},
		"a file":              {port, []chain.PieceSpec{{Part: "told"}, cable, {Part: "told"}, {Name: "filter", File: &chain.FileSpec{Path: "f.s2p", Network: &file}}}, NotAssessed, "its file says nothing of higher modes", "chain: modes of filter"},
		"a file that says":    {port, []chain.PieceSpec{{Part: "told"}, cable, {Part: "told"}, {File: &chain.FileSpec{Path: "f.s2p", Network: &file, ModeFree: held(units.Frequency(60e9))}}}, Meets, "", ""},
		"a line by figures":   {port, []chain.PieceSpec{{Part: "told"}, cable, {Part: "told"}, {Name: "line", Trace: &chain.TraceSpec{Length: 0.02}}}, NotAssessed, "not by its geometry", "chain: modes of line"},
		"a launch not drawn":  {bare, []chain.PieceSpec{{Launch: &chain.LaunchSpec{}}, {Part: "vertical"}, {Part: "told"}, cable, {Part: "told"}}, NotAssessed, "which are not drawn yet", "from.ring"},
		"an edge not drawn":   {bare, []chain.PieceSpec{{Launch: &chain.LaunchSpec{}}, {Part: "edge"}, {Part: "told"}, cable, {Part: "told"}}, NotAssessed, "which are not drawn yet", "from.fence.row_width"},
		"an edge with rows":   {fenced, []chain.PieceSpec{{Launch: &chain.LaunchSpec{}}, {Part: "edge"}, {Part: "told"}, cable, {Part: "told"}}, Meets, "2.92 mm mating plane", ""},
		"an edge microstrip":  {enquiry.End{Kind: enquiry.Board, Line: &enquiry.BoardLine{Kind: board.Microstrip, Height: line.Height, Permittivity: &er}}, []chain.PieceSpec{{Launch: &chain.LaunchSpec{}}, {Part: "edge"}, {Part: "told"}, cable, {Part: "told"}}, Meets, "", ""},
		"a ring":              {bare, []chain.PieceSpec{{Launch: &chain.LaunchSpec{}}, {Part: "ringed"}, {Part: "told"}, cable, {Part: "told"}}, Meets, "2.92 mm mating plane", ""},
	} {
		e := enquiry.Enquiry{ID: "modes", Band: []enquiry.Band{{From: 20e9, To: 30e9}}, From: c.from, To: port}
		r := judged(t, e, modeShelf(), c.pieces...)
		m := marginOf(t, r, "mode-free limit")
		if m.Verdict != c.want || !strings.Contains(m.Why, c.why) {
			t.Errorf("%s: %v, want %v: %s", name, m.Verdict, c.want, m.Why)
		}
		asked := c.asks == ""
		for _, q := range r.Questions {
			asked = asked || strings.HasPrefix(q.Field, c.asks)
		}
		if !asked {
			t.Errorf("%s: %s is not asked", name, c.asks)
		}
	}
}

// The via ring of a launch is one of the chain's cross-sections: 1.6 mm about
// 0.25 mm in 3.5 carries another mode from 55 GHz (trade's notes L5, by the
// approximate form; the exact root lies 1 % above), below the core's 63 GHz and
// the connectors' own, and limits a chain that must be mode-free to 60 GHz.
func TestModesOfRing(t *testing.T) {
	er := 3.5
	cat := modeShelf()
	cat.Series = nil
	for i := range cat.BoardConnectors { // 1.35 mm faces: 100.6 GHz
		cat.BoardConnectors[i].Face.Series = "1.35 mm"
		cat.BoardConnectors[i].RatedFrequency = held(units.Frequency(90e9))
	}
	cat.CableConnectors[0].Face.Series = "1.35 mm"
	e := enquiry.Enquiry{ID: "ring", Band: []enquiry.Band{{From: 20e9, To: 30e9}}, ModeFreeTo: held(units.Frequency(60e9)), To: enquiry.End{Kind: enquiry.Port},
		From: enquiry.End{Kind: enquiry.Board, Line: &enquiry.BoardLine{Kind: board.Coplanar, Height: held(units.Length(0.25e-3)), Permittivity: &er}}}
	r := judged(t, e, cat, chain.PieceSpec{Launch: &chain.LaunchSpec{}}, chain.PieceSpec{Part: "ringed"}, chain.PieceSpec{Part: "told"}, chain.PieceSpec{Part: "cable", Length: held(units.Length(0.3))}, chain.PieceSpec{Part: "told"})
	m := marginOf(t, r, "mode-free limit")
	if m.Verdict != Fails || !(math.Abs(m.Worst-55) <= 0.02*55) || !strings.Contains(m.Why, "via ring") {
		t.Errorf("%v at %g GHz: %s", m.Verdict, m.Worst, m.Why)
	}
	p := r.Prediction
	if p.Rows[p.ModeFree.Element].Kind != "launch" || !(math.Abs(float64(p.ModeFree.CrossSection.ModeFree)/1e9-m.Worst) <= 1e-9) || p.Firsts[0].Axis != "mode" || p.Firsts[0].Element != p.ModeFree.Element {
		t.Errorf("the ledger names another limit: %+v", p.ModeFree)
	}
	for _, g := range r.Gaps {
		if g.Axis == "mode-free limit" {
			t.Errorf("a ring that can be drawn closer is no gap of the catalogue: %+v", g)
		}
	}
}

// A coplanar line without ground vias beside it carries other waves at every
// frequency: its modes are open, and with vias they are told.
func TestModesOfFencelessLine(t *testing.T) {
	stack := board.Stackup{Name: "two layers", Layers: []board.Layer{
		{Name: "L1", Kind: board.Copper, Thickness: 35e-6},
		{Name: "core", Kind: board.Core, Thickness: 0.25e-3, Permittivity: held(3.5), LossTangent: held(0.002)},
		{Name: "L2", Kind: board.Copper, Use: board.Plane, Thickness: 35e-6},
	}}
	layouts := launch.Layouts{Stackups: []board.Stackup{stack}}
	for _, walls := range []*units.Length{nil, held(units.Length(1.5e-3))} {
		spec := chain.TraceSpec{Length: 0.02, Kind: board.Coplanar, Stackup: stack.Name, Width: held(units.Length(0.45e-3)), Gap: held(units.Length(0.2e-3)), Walls: walls}
		if err := spec.Resolve(layouts); err != nil {
			t.Fatal(err)
		}
		e := enquiry.Enquiry{ID: "line", Band: []enquiry.Band{{From: 20e9, To: 30e9}}}
		m := marginOf(t, judged(t, e, modeShelf(), chain.PieceSpec{Name: "line", Trace: &spec}), "mode-free limit")
		switch {
		case walls == nil && (m.Verdict != NotAssessed || !strings.Contains(m.Why, "travel at every frequency")):
			t.Errorf("without vias: %v: %s", m.Verdict, m.Why)
		case walls != nil: // c/(2 w √ε), trade's notes L8
			if want := 299.792458 / (2 * 1.5 * math.Sqrt(3.5)); m.Verdict != Meets || !(math.Abs(m.Worst-want) <= 0.01) {
				t.Errorf("with vias: %v at %g GHz, want %g", m.Verdict, m.Worst, want)
			}
		}
	}
}

// A design of another stackup, or of another connector, is no geometry of the
// launch at hand: its ring and its rows judge nothing here.
func TestModesOfRefusedDesign(t *testing.T) {
	stack := func(name string) board.Stackup {
		return board.Stackup{Name: name, Fabricator: name, Layers: []board.Layer{
			{Name: "L1", Kind: board.Copper, Thickness: 35e-6},
			{Name: "core", Kind: board.Core, Thickness: 0.25e-3, Permittivity: held(3.5)},
			{Name: "L2", Kind: board.Copper, Use: board.Plane, Thickness: 35e-6},
		}}
	}
	layouts := launch.Layouts{Stackups: []board.Stackup{stack("ours"), stack("theirs")}, Launches: []launch.Design{{Name: "drawn", Stackup: "ours", Connector: "vertical",
		Parameters: launch.Parameters{Ring: launch.Ring{Diameter: held(units.Length(1.6e-3)), Barrel: held(units.Length(0.25e-3))}, Via: launch.Via{Drill: held(units.Length(0.25e-3)), Length: held(units.Length(0.25e-3))}}}}}
	for name, c := range map[string]struct {
		stackup, connector string
		known              bool
	}{"its own": {"ours", "vertical", true}, "another stackup": {"theirs", "vertical", false}, "another connector": {"ours", "ringless", false}} {
		cat := modeShelf()
		ringless := cat.BoardConnectors[0]
		ringless.ID = "ringless"
		cat.BoardConnectors = append(cat.BoardConnectors, ringless)
		spec := chain.Spec{Name: name, Pieces: []chain.PieceSpec{{Launch: &chain.LaunchSpec{Design: "drawn", Stackup: c.stackup}}, {Part: c.connector}, {Part: "told"}, {Part: "cable", Length: held(units.Length(0.3))}, {Part: "told"}}}
		if err := spec.Resolve(layouts); err != nil {
			t.Fatal(err)
		}
		b, err := chain.Build(spec, cat)
		if err != nil {
			t.Fatal(err)
		}
		e := enquiry.Enquiry{ID: "refused", Band: []enquiry.Band{{From: 20e9, To: 30e9}}, From: enquiry.End{Kind: enquiry.Board, Stackup: c.stackup, Launch: "drawn"}, To: enquiry.End{Kind: enquiry.Port}}
		r, err := Assess(context.Background(), e, Subject{Built: b, Catalogue: cat, Layouts: layouts}, Options{Points: 3, Draws: -1})
		if err != nil {
			t.Fatal(err)
		}
		m := marginOf(t, r, "mode-free limit")
		if known := m.Verdict == Meets; known != c.known || !c.known && m.Verdict != NotAssessed {
			t.Errorf("%s: %v: %s", name, m.Verdict, m.Why)
		}
		if has(r, "launch, mode limit of the via ring") != c.known {
			t.Errorf("%s: the ring of the design is judged: %v", name, !c.known)
		}
	}
}
