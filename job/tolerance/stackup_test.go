package tolerance

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"linewright/hardware/board"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// fourLayers is an invented board: microstrip on L1 over L2, stripline on L3
// between L2 and L4 in one dielectric.
func fourLayers() board.Stackup {
	um := func(x float64) units.Length { return units.Length(x * 1e-6) }
	return board.Stackup{Name: "test board", Layers: []board.Layer{
		{Name: "L1", Kind: board.Copper, Use: board.Signal, Thickness: um(35), ThicknessTolerance: ptr(um(6)), EtchTolerance: ptr(um(20))},
		{Name: "core 1", Kind: board.Core, Thickness: um(250), ThicknessTolerance: ptr(um(18)), Permittivity: ptr(3.0), PermittivityTolerance: ptr(0.06), LossTangent: ptr(0.0014), At: ptr(units.Frequency(10e9))},
		{Name: "L2", Kind: board.Copper, Use: board.Plane, Thickness: um(18), ThicknessTolerance: ptr(um(3))},
		{Name: "core 2", Kind: board.Core, Thickness: um(300), Permittivity: ptr(3.0), PermittivityTolerance: ptr(0.06), LossTangent: ptr(0.0014), At: ptr(units.Frequency(10e9))},
		{Name: "L3", Kind: board.Copper, Use: board.Signal, Thickness: um(18)},
		{Name: "core 3", Kind: board.Core, Thickness: um(300), Permittivity: ptr(3.0), PermittivityTolerance: ptr(0.06), LossTangent: ptr(0.0014), At: ptr(units.Frequency(10e9))},
		{Name: "L4", Kind: board.Copper, Use: board.Plane, Thickness: um(18)},
	}}
}

// boardLine is a resolved trace as a chain's element.
func boardLine(t *testing.T, kind board.TraceKind, layer string, width, length units.Length) chain.Element {
	t.Helper()
	spec := chain.TraceSpec{Length: length, Kind: kind, Stackup: "test board", Layer: layer, Width: &width}
	if err := spec.Resolve(launch.Layouts{Stackups: []board.Stackup{fourLayers()}}); err != nil {
		t.Fatal(err)
	}
	return chain.Trace{Where: "board line", Length: length, Line: spec.Line, Stackup: spec.Stackup, Drawn: spec.Drawn}
}

func boardStudy(t *testing.T, e chain.Element, f Tolerances) (*Study, error) {
	t.Helper()
	q := band("9 GHz", "11 GHz")
	q.Limits.ReturnLoss = []enquiry.ReturnLossLimit{{AtLeast: ptr(units.Level(25))}}
	b := built(e)
	b.Roles = []chain.Role{chain.RoleOther}
	return New(q, b, f, Options{Points: 21})
}

func names(s *Study) (out []string) {
	for _, in := range s.Inputs {
		out = append(out, in.Name)
	}
	return out
}

// In one dielectric a TEM line's delay goes as √ε and its impedance as 1/√ε,
// exactly, when all of it changes together.
func TestPermittivityOfStripline(t *testing.T) {
	f := file()
	f.Correlations = []Correlation{{Between: []string{"board line: permittivity of core 2", "board line: permittivity of core 3"}, Coefficient: 1, Source: "one batch"}}
	s := must(boardStudy(t, boardLine(t, board.Stripline, "L3", 0.3e-3, 0.05), f))(t)
	if got := names(s); !slices.Equal(got, []string{"board line: permittivity of core 2", "board line: permittivity of core 3"}) {
		t.Fatalf("inputs %q: the layers of the microstrip move no stripline, and this one's thicknesses have no tolerance", got)
	}
	el := s.elements[0]
	set, still := s.pool.Get().(*scratch).set, make([]float64, 2)
	el.apply(still, set)
	tau, z := set[0].Delay, (1+set[0].Scale)/(1-set[0].Scale)
	for _, rel := range []float64{-0.02, -0.01, 0.013, 0.02} {
		el.apply([]float64{rel, rel}, set)
		if got, want := set[0].Delay/tau, math.Sqrt(1+rel); !(math.Abs(got/want-1) <= 1e-4) {
			t.Errorf("permittivity %+.3f: delay times %.6f, want %.6f", rel, got, want)
		}
		if got, want := (1+set[0].Scale)/(1-set[0].Scale)/z, 1/math.Sqrt(1+rel); !(math.Abs(got/want-1) <= 1e-4) {
			t.Errorf("permittivity %+.3f: impedance times %.6f, want %.6f", rel, got, want)
		}
	}
}

// A microstrip between the corners: lines solved anew at random places lie as
// close to the parabolas as the note says of the corners.
func TestMicrostripSolvedAnew(t *testing.T) {
	e := boardLine(t, board.Microstrip, "L1", 0.6e-3, 0.05)
	s := must(boardStudy(t, e, Tolerances{}))(t)
	want := []string{"board line: etch of L1", "board line: thickness of L1", "board line: thickness of core 1", "board line: permittivity of core 1"}
	if got := names(s); !slices.Equal(got, want) {
		t.Fatalf("inputs %q, want %q", got, want)
	}
	if !slices.ContainsFunc(s.Notes, func(n string) bool { return strings.Contains(n, "9 solved lines; 16 corners solved") }) {
		t.Errorf("no note of the solved lines in %q", s.Notes)
	}
	const seed = 8
	r := rand.New(rand.NewPCG(seed, 0))
	set := s.pool.Get().(*scratch).set
	el, drawn := s.elements[0], *e.(chain.Trace).Drawn
	half := []float64{20e-6, 6e-6, 18e-6, 0.02}
	for range 6 {
		x := make([]float64, 4)
		for i := range x {
			x[i] = half[i] * (2*r.Float64() - 1)
		}
		d := layered(drawn, 0, func(l *board.Layer) { l.Thickness += units.Length(x[1]) })
		d = layered(d, 1, func(l *board.Layer) {
			l.Thickness += units.Length(x[2])
			l.Permittivity = ptr(*l.Permittivity * (1 + x[3]))
		})
		d.Trace.Width += units.Length(x[0])
		l, _, err := d.Stackup.Line(d.Trace)
		if err != nil {
			t.Fatal(err)
		}
		p := l.At(10e9)
		el.apply(x, set)
		if z := 50 * (1 + set[0].Scale) / (1 - set[0].Scale); !(math.Abs(z/real(p.Impedance)-1) <= 2e-3) {
			t.Errorf("seed %d, deviations %.3g: impedance %.3f Ω, solved anew %.3f Ω", seed, x, z, real(p.Impedance))
		}
		if tau := p.Delay() * 0.05; !(math.Abs(set[0].Delay/tau-1) <= 2e-4) {
			t.Errorf("seed %d, deviations %.3g: delay %.6g s, solved anew %.6g s", seed, x, set[0].Delay, tau)
		}
		// The loss is a scale of the nominal line's.
		if a := nominalLoss(t, drawn); !(math.Abs(set[0].Loss*a/real(p.Gamma)-1) <= 5e-3) {
			t.Errorf("seed %d, deviations %.3g: loss times %.5f, solved anew %.5f", seed, x, set[0].Loss, real(p.Gamma)/a)
		}
	}
	// A thicker core raises the impedance, a wider strip and a greater
	// permittivity lower it; and the study runs and names them.
	rep := must(s.Run(context.Background(), Options{Samples: 400, DriverPoints: 64}))(t)
	if got := rep.Limits[0].Drivers[0].Name; got != "board line: thickness of core 1" && got != "board line: etch of L1" {
		t.Errorf("first driver %q", got)
	}
	f := s.elements[0]
	for i, up := range []bool{false, false, true, false} {
		x := make([]float64, 4)
		x[i] = half[i]
		f.apply(x, set)
		z := set[0].Scale
		f.apply(make([]float64, 4), set)
		if (z > set[0].Scale) != up {
			t.Errorf("%s larger: reflection %.4f, nominal %.4f", s.Inputs[i].Name, z, set[0].Scale)
		}
	}
}

// nominalLoss is the attenuation, in Np/m, of a line as it is drawn.
func nominalLoss(t *testing.T, d chain.Drawn) float64 {
	t.Helper()
	l, _, err := d.Stackup.Line(d.Trace)
	if err != nil {
		t.Fatal(err)
	}
	return real(l.At(10e9).Gamma)
}

// The file of tolerances speaks of layers by name; a layer that does not exist
// is a fault that lists what there is; an impedance held by test replaces none
// of the layers.
func TestLayersOfFile(t *testing.T) {
	e := boardLine(t, board.Microstrip, "L1", 0.6e-3, 0.05)
	s := must(boardStudy(t, e, file(
		Tolerance{Quantity: Thickness, Layer: "core 1", Distribution: Normal, Sigma: amountOf(t, "5 um"), Source: "sections"},
		Tolerance{Piece: "board line", Quantity: Etch, HalfWidth: &Amount{Unit: "m"}})))(t)
	want := []string{"board line: thickness of core 1", "board line: thickness of L1", "board line: permittivity of core 1"}
	got := names(s)
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("inputs %q, want %q: an etch of no width does not vary", got, want)
	}
	_, err := boardStudy(t, e, file(Tolerance{Quantity: Thickness, Layer: "core 9", HalfWidth: amountOf(t, "5 um")}))
	if !errors.Is(err, ErrPiece) || !strings.Contains(err.Error(), "thickness of core 1") {
		t.Errorf("%v, want %v with the layers", err, ErrPiece)
	}
	if _, err := boardStudy(t, e, file(Tolerance{Quantity: Permittivity, HalfWidth: amountOf(t, "5 um")})); !errors.Is(err, ErrUnits) {
		t.Errorf("%v, want %v", err, ErrUnits)
	}
}
