package chain

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"linewright/hardware/board"
	"linewright/hardware/catalogue"
	"linewright/hardware/launch"
	"linewright/physics/line"
	"linewright/physics/units"
)

func mm(x float64) *units.Length { return ptr(units.Length(x * 1e-3)) }

// twoLayers is an invented stackup: 0.5 mm of permittivity 3.5 over a plane.
func twoLayers(name, fabricator string) board.Stackup {
	return board.Stackup{Name: name, Fabricator: fabricator, Layers: []board.Layer{
		{Name: "L1", Kind: board.Copper, Thickness: 35e-6},
		{Name: "core", Kind: board.Core, Thickness: 0.5e-3, Permittivity: ptr(3.5), LossTangent: ptr(0.002)},
		{Name: "L2", Kind: board.Copper, Use: board.Plane, Thickness: 35e-6},
	}}
}

// bench is what the pieces of this file may name: two stackups of two
// fabricators, and a vertical launch drawn on the first for connector "board".
func bench() launch.Layouts {
	via := launch.Parameters{Pad: launch.Pad{Length: mm(0.8), Width: mm(0.6)}, Via: launch.Via{Drill: mm(0.25), Pad: mm(0.5), Antipad: mm(0.9), Length: mm(0.5)}, Ring: launch.Ring{Diameter: mm(1.6)}}
	return launch.Layouts{
		Stackups: []board.Stackup{twoLayers("ours", "Pelham"), twoLayers("theirs", "Other")},
		Launches: []launch.Design{{Name: "vertical", Stackup: "ours", Connector: "board", Parameters: via}},
	}
}

// Every fault of a piece that is given by its geometry is told with the piece,
// the key and the cure, all faults of a chain together.
func TestResolveFaults(t *testing.T) {
	loss := ptr(units.Level(1))
	at := ptr(units.Frequency(1e9))
	width := mm(0.5)
	for name, c := range map[string]struct {
		piece PieceSpec
		key   string
		help  string
	}{
		"trace without stackup":      {PieceSpec{Trace: &TraceSpec{Length: 0.01, Width: width}}, "trace", "add stackup"},
		"trace with figures too":     {PieceSpec{Trace: &TraceSpec{Length: 0.01, Stackup: "ours", Width: width, Loss: loss, LossAt: at}}, "trace", "nothing is counted twice"},
		"trace with permittivity":    {PieceSpec{Trace: &TraceSpec{Length: 0.01, Stackup: "ours", Width: width, EffectivePermittivity: ptr(2.8)}}, "trace", "nothing is counted twice"},
		"trace without width":        {PieceSpec{Trace: &TraceSpec{Length: 0.01, Stackup: "ours"}}, "trace", "add width"},
		"trace on an unknown stack":  {PieceSpec{Trace: &TraceSpec{Length: 0.01, Stackup: "ourz", Width: width}}, "trace.stackup", "did you mean ours?"},
		"trace on an unknown layer":  {PieceSpec{Trace: &TraceSpec{Length: 0.01, Stackup: "ours", Layer: "L7", Width: width, Kind: board.Microstrip}}, "trace.layer", "the copper layers are [L1 L2]"},
		"stripline on the outside":   {PieceSpec{Trace: &TraceSpec{Length: 0.01, Stackup: "ours", Width: width, Kind: board.Stripline}}, "trace", "microstrip or coplanar"},
		"coplanar without a gap":     {PieceSpec{Trace: &TraceSpec{Length: 0.01, Stackup: "ours", Width: width, Kind: board.Coplanar}}, "trace", ""},
		"launch without stackup":     {PieceSpec{Launch: &LaunchSpec{Geometry: &launch.Parameters{}}}, "launch", "add stackup"},
		"launch with a loss":         {PieceSpec{Launch: &LaunchSpec{Design: "vertical", Loss: loss, LossAt: at}}, "launch", "add return_loss"},
		"launch with a delay":        {PieceSpec{Launch: &LaunchSpec{Design: "vertical", Delay: ptr(units.Time(1e-12))}}, "launch", "add return_loss"},
		"launch of unknown design":   {PieceSpec{Launch: &LaunchSpec{Design: "vertikal"}}, "launch.design", "did you mean vertical?"},
		"launch far from any":        {PieceSpec{Launch: &LaunchSpec{Design: "edge of something else"}}, "launch.design", "there are: vertical"},
		"launch on an unknown stack": {PieceSpec{Launch: &LaunchSpec{Design: "vertical", Stackup: "nowhere at all"}}, "launch.stackup", "there are: ours, theirs"},
	} {
		spec := Spec{Name: name, Pieces: []PieceSpec{{Part: "male"}, c.piece}}
		if !spec.Names() {
			t.Errorf("%s: nothing to resolve", name)
		}
		err := spec.Resolve(bench())
		var e *BuildError
		if !errors.As(err, &e) || e.Piece != 1 || e.Key != c.key || e.Problem == "" || e.Help == "" || !strings.Contains(e.Help, c.help) {
			t.Errorf("%s: %#v (%v), want key %q, help with %q", name, e, err, c.key, c.help)
		}
	}

	both := Spec{Name: "both", Pieces: []PieceSpec{{Trace: &TraceSpec{Length: 0.01, Width: width}}, {Launch: &LaunchSpec{Design: "none"}}}}
	if err := both.Resolve(bench()); err == nil || strings.Count(err.Error(), "chain both, piece") != 2 {
		t.Errorf("two faults are told as %v", err)
	}
	if err := (Spec{Pieces: []PieceSpec{{Launch: &LaunchSpec{Design: "x"}}}}).Resolve(launch.Layouts{}); err == nil || !strings.Contains(err.Error(), "none is at hand") {
		t.Errorf("with no launches at hand: %v", err)
	}
}

// Pieces by their figures need nothing looked up, and are left alone.
func TestResolveLeavesFigures(t *testing.T) {
	s := Spec{Pieces: []PieceSpec{{Trace: &TraceSpec{Length: 0.01, Loss: ptr(units.Level(1)), LossAt: ptr(units.Frequency(1e9))}}, {Launch: &LaunchSpec{ReturnLoss: ptr(units.Level(15))}}, {Part: "male"}}}
	if s.Names() {
		t.Error("figures ask to be resolved")
	}
	if err := s.Resolve(launch.Layouts{}); err != nil {
		t.Error(err)
	}
	if s.Pieces[0].Trace.Line != nil || s.Pieces[1].Launch.Input != nil {
		t.Error("figures were resolved")
	}
}

// A piece by its geometry that was not looked up is refused by Build, not built
// without its geometry.
func TestBuildUnresolved(t *testing.T) {
	for _, p := range []PieceSpec{{Trace: &TraceSpec{Length: 0.01, Stackup: "ours", Width: mm(0.5)}}, {Launch: &LaunchSpec{Design: "vertical"}}} {
		var e *BuildError
		if _, err := Build(Spec{Name: "x", Pieces: []PieceSpec{p}}, shelf()); !errors.As(err, &e) || !strings.Contains(e.Problem, "not resolved") {
			t.Errorf("built unresolved: %v", err)
		}
	}
}

func resolved(t *testing.T, pieces ...PieceSpec) Built {
	t.Helper()
	s := Spec{Name: "resolved", Pieces: pieces}
	if err := s.Resolve(bench()); err != nil {
		t.Fatal(err)
	}
	b, err := Build(s, shelf())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A launch whose design belongs to another stackup, or to another connector,
// gets no estimate: its reflection is unknown and the note says why. A stated
// bound counts all the same.
func TestLaunchRefused(t *testing.T) {
	vertical := func() *LaunchSpec { return &LaunchSpec{Design: "vertical"} }
	other := vertical()
	other.Stackup = "theirs"
	bound := vertical()
	bound.Stackup, bound.ReturnLoss = "theirs", ptr(units.Level(15))
	for name, c := range map[string]struct {
		l         *LaunchSpec
		connector string
		why       string // empty: an estimate
		rho       float64
	}{
		"its own stackup and connector": {vertical(), "board", "", math.NaN()},
		"another stackup":               {other, "board", "launch vertical was drawn for another stackup than theirs", 0},
		"another connector":             {vertical(), "jack", "launch vertical was drawn for board, jack stands here", 0},
		"another stackup, a bound":      {bound, "board", "", math.Pow(10, -15.0/20)},
	} {
		b := resolved(t, PieceSpec{Name: "launch", Launch: c.l}, piece(c.connector))
		r, err := b.Elements[0].Respond([]float64{20e9}, Conditions{Temperature: units.Celsius(25)})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var notes []string
		for _, n := range r.Notes {
			notes = append(notes, n.Text)
		}
		said := strings.Join(notes, "; ")
		switch {
		case c.why != "" && (r.Reflecting || r.Network != nil || !strings.Contains(said, c.why)):
			t.Errorf("%s: reflecting %v, notes %q", name, r.Reflecting, said)
		case c.why == "" && !r.Reflecting:
			t.Errorf("%s: no figure: %q", name, said)
		case c.rho > 0 && !(math.Abs(r.Left[0]-c.rho) <= 1e-12):
			t.Errorf("%s: |S11| %g, the bound is %g", name, r.Left[0], c.rho)
		}
	}
}

// An estimate is a trend: its reflection is the most that its pieces can add up
// to, it counts as typical, and stands on the ladder's second rung.
func TestLaunchEstimateIsATrend(t *testing.T) {
	b := resolved(t, PieceSpec{Name: "launch", Launch: &LaunchSpec{Design: "vertical"}}, piece("board"))
	f := []float64{1e9, 10e9, 20e9, 30e9}
	r, err := b.Elements[0].Respond(f, Conditions{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Step != ClosedFormula || !r.Typical || !r.Unvouched.LossLeftOut {
		t.Errorf("step %v, typical %v, loss left out %v", r.Step, r.Typical, r.Unvouched.LossLeftOut)
	}
	in := bench().Launches[0].Parameters
	stack := twoLayers("ours", "Pelham")
	e, err := launch.Estimate(launch.Input{Stackup: &stack, Parameters: in, Connector: &shelf().BoardConnectors[0]}, f)
	if err != nil {
		t.Fatal(err)
	}
	for i := range f {
		nominal := cmplx.Abs(e.Network.At(i, 0, 0))
		if !(r.Left[i] >= nominal-1e-12) || !(math.Abs(r.Left[i]-math.Max(nominal, e.Bound[i])) <= 1e-12) {
			t.Errorf("%g GHz: %g, nominal %g, bound %g", f[i]/1e9, r.Left[i], nominal, e.Bound[i])
		}
	}
	// One frequency gives the delay that a grid gives. The pieces are a pad of
	// 0.8 mm and a via of 0.5 mm: of the order of √3 × 1.3 mm/c.
	one, err := b.Elements[0].Respond([]float64{10e9}, Conditions{})
	if err != nil || !(one.Delay > 0.5*math.Sqrt(3)*1.3e-3/line.C0) || !(one.Delay < 3*math.Sqrt(3)*1.3e-3/line.C0) {
		t.Errorf("delay %g s, %v", one.Delay, err)
	}
}

// A launch that stands to the right of its connector is the same launch, turned:
// left and right change places, and the way through does not change.
func TestLaunchTurned(t *testing.T) {
	l := func() PieceSpec { return PieceSpec{Name: "launch", Launch: &LaunchSpec{Design: "vertical"}} }
	near := resolved(t, l(), piece("board"))
	far := resolved(t, piece("board"), l())
	f := []float64{5e9, 20e9, 40e9}
	a, errA := near.Elements[0].Respond(f, Conditions{})
	b, errB := far.Elements[1].Respond(f, Conditions{})
	if errA != nil || errB != nil {
		t.Fatal(errA, errB)
	}
	differs := false
	for i := range f {
		for _, d := range []complex128{a.Network.At(i, 0, 0) - b.Network.At(i, 1, 1), a.Network.At(i, 1, 1) - b.Network.At(i, 0, 0), a.Network.At(i, 1, 0) - b.Network.At(i, 0, 1)} {
			if !(cmplx.Abs(d) <= 1e-12) {
				t.Errorf("%g GHz: turning changes S by %v", f[i]/1e9, d)
			}
		}
		differs = differs || cmplx.Abs(a.Network.At(i, 0, 0)-a.Network.At(i, 1, 1)) > 1e-3
	}
	if !differs {
		t.Error("the launch looks the same from both sides: the test shows nothing")
	}
	// On its own, beside nothing, it is seen from the board's line.
	if x := near.Elements[0].(Named).Element.(EstimatedLaunch); x.Input.Connector == nil || x.Input.Connector.ID != "board" {
		t.Error("the launch does not know its connector")
	}
}

// The ring of ground vias limits the launch: 1.6 mm about 0.25 mm in 3.5 from
// 55 GHz (trade's notes L5, by the approximate form, which for these diameters
// lies within 3 % of the exact root). A stated limit goes first.
func TestLaunchModeFree(t *testing.T) {
	b := resolved(t, PieceSpec{Name: "launch", Launch: &LaunchSpec{Design: "vertical"}}, piece("board"))
	first, unknown := Chain{Elements: b.Elements[:1]}.ModeFree()
	near(t, "mode limit, GHz", float64(first.CrossSection.ModeFree)/1e9, 55, 0.03*55)
	if first.Name != "via ring" || len(unknown) != 0 {
		t.Errorf("%q limits, %v unknown", first.Name, unknown)
	}
	b = resolved(t, PieceSpec{Name: "launch", Launch: &LaunchSpec{Design: "vertical", ModeFree: ptr(units.Frequency(48e9))}}, piece("board"))
	first, _ = Chain{Elements: b.Elements[:1]}.ModeFree()
	near(t, "stated limit, GHz", float64(first.CrossSection.ModeFree)/1e9, 48, 1e-9)
	// Without a ring nothing is known of the modes.
	bare := &launch.Parameters{Via: launch.Via{Drill: mm(0.25), Antipad: mm(0.9), Length: mm(0.5)}}
	b = resolved(t, PieceSpec{Name: "launch", Launch: &LaunchSpec{Stackup: "ours", Geometry: bare}})
	if _, unknown := b.ModeFree(); len(unknown) != 1 {
		t.Errorf("a launch without a ring: %v unknown", unknown)
	}
}

// What the piece says of its geometry goes before what its design says.
func TestLaunchGeometryBesideDesign(t *testing.T) {
	b := resolved(t, PieceSpec{Launch: &LaunchSpec{Design: "vertical", Geometry: &launch.Parameters{Ring: launch.Ring{Diameter: mm(1.2)}}}}, piece("board"))
	in := b.Elements[0].(Named).Element.(EstimatedLaunch).Input
	if *in.Ring.Diameter != 1.2e-3 || *in.Via.Drill != 0.25e-3 {
		t.Errorf("ring %v, drill %v", *in.Ring.Diameter, *in.Via.Drill)
	}
}

// A trace on its stackup is the line of its geometry: as a piece of a chain it
// has the loss, delay and reflection of [line.Microstrip] worked out aside, its
// conductors' loss following the temperature as copper does.
func TestTraceOnStackup(t *testing.T) {
	const length, f = 0.04, 20e9
	b := resolved(t, PieceSpec{Trace: &TraceSpec{Length: length, Stackup: "ours", Width: mm(0.9), Kind: board.Microstrip}})
	m := line.Microstrip{Width: 0.9e-3, Height: 0.5e-3, Thickness: 35e-6}
	m.Substrate.Permittivity, m.Substrate.LossTangent = 3.5, 0.002
	at := m.At(f)
	p, err := b.Predict(context.Background(), []float64{f}, Conditions{Temperature: units.Celsius(20)}, Options{Draws: -1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "loss at 20 °C, dB", p.Loss[0], real(at.Gamma)*length*units.DecibelsPerNeper, 1e-6*p.Loss[0])
	s11, _ := at.Chain(length, 50)
	near(t, "|S11|", p.Left.Worst[0], cmplx.Abs(s11), 1e-9)
	hot, err := b.Predict(context.Background(), []float64{f}, Conditions{Temperature: units.Celsius(85)}, Options{Draws: -1})
	if err != nil {
		t.Fatal(err)
	}
	k := math.Sqrt(1 + 0.00393*65) // F7 of the trade's notes, from 20 °C
	near(t, "loss at 85 °C, dB", hot.Loss[0], (real(at.Gamma)+at.Conductor*(k-1))*length*units.DecibelsPerNeper, 1e-6*p.Loss[0])
	if p.Network == nil {
		t.Error("a solved line has a phase")
	}
	if facts := b.Elements[0].Facts(); facts.ModesOpen != "" || len(facts.CrossSections) == 0 {
		t.Errorf("its modes are open: %q", facts.ModesOpen)
	}
}

// What tells nothing of its higher modes says so.
func TestModesOpen(t *testing.T) {
	fenceless := resolved(t, PieceSpec{Trace: &TraceSpec{Length: 0.01, Stackup: "ours", Width: mm(0.9), Gap: mm(0.3), Kind: board.Coplanar}})
	fenced := resolved(t, PieceSpec{Trace: &TraceSpec{Length: 0.01, Stackup: "ours", Width: mm(0.9), Gap: mm(0.3), Walls: mm(3), Kind: board.Coplanar}})
	figures, err := Build(Spec{Pieces: []PieceSpec{{Trace: &TraceSpec{Length: 0.01}}}}, catalogue.Catalogue{})
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		b    Built
		open bool
	}{"coplanar without ground vias": {fenceless, true}, "coplanar between ground vias": {fenced, false}, "a line by its figures": {figures, true}} {
		if _, unknown := c.b.ModeFree(); (len(unknown) == 1) != c.open {
			t.Errorf("%s: unknown %v", name, unknown)
		}
		if open := c.b.Elements[0].Facts().ModesOpen != ""; open != c.open {
			t.Errorf("%s: open %v", name, open)
		}
	}
}

// The parts' times of delivery are in the ledger.
func TestLeadTimeInFacts(t *testing.T) {
	cat := shelf()
	cat.CableConnectors[0].LeadTime = ptr(units.Time(14 * 86400))
	b, err := Build(Spec{Pieces: []PieceSpec{piece("male"), {Part: "cable", Length: mm(300)}, piece("female")}}, cat)
	if err != nil {
		t.Fatal(err)
	}
	if x := b.Elements[0].Facts().LeadTime; x == nil || *x != 14*86400 {
		t.Errorf("the plug is delivered in %v", x)
	}
	if x := b.Elements[2].Facts().LeadTime; x != nil {
		t.Errorf("what states none is delivered in %v", *x)
	}
}
