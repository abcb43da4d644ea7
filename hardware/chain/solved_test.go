package chain

import (
	"math"
	"math/cmplx"
	"testing"

	"linewright/hardware/catalogue"
	"linewright/physics/line"
	"linewright/physics/modematch"
	"linewright/physics/xsection"
)

// Air line of impedance 60·ln(b/a): its two-port is known in closed form, and
// both solvers must give it as a piece of a chain.
func TestSolvedPieces(t *testing.T) {
	const a, b, length, f = 1.2e-3, 3.5e-3, 20e-3, 10e9 // diameters, m
	z := line.Mu0 * line.C0 / (2 * math.Pi) * math.Log(b/a)
	k := 2 * math.Pi * f / line.C0
	s11, s21 := line.Point{Frequency: f, Gamma: complex(0, k), Impedance: complex(z, 0)}.Chain(length, 50)

	pin := modematch.Section{InnerDiameter: a, OuterDiameter: b}
	body := Body{Spec: BodySpec{Path: "b.yaml", Body: modematch.Body{Sections: []modematch.Section{pin, pin}}, Shift: [2]float64{length / 2, length / 2}}}
	r, err := body.Respond([]float64{f}, Conditions{})
	if err != nil {
		t.Fatal(err)
	}
	for what, d := range map[string]complex128{"S11": r.Network.At(0, 0, 0) - s11, "S21": r.Network.At(0, 1, 0) - s21} {
		if !(cmplx.Abs(d) <= 1e-6) {
			t.Errorf("body: %s is off by %v", what, d)
		}
	}
	if r.Step != SectionSolve {
		t.Errorf("body: step %v", r.Step)
	}

	const silver = 1e15 // S/m: all but perfect
	metal := xsection.Metal{Conductivity: silver}
	res, err := xsection.Solve(xsection.Section{Region: xsection.Region{Shield: xsection.Circle{Diameter: b}, Metal: metal}, Conductors: []xsection.Conductor{{Name: "pin", Shape: xsection.Circle{Diameter: a}, Metal: metal}}}, xsection.Options{Accuracy: 1e-8})
	if err != nil {
		t.Fatal(err)
	}
	sec := Section{Spec: SectionSpec{Path: "s.yaml", Length: length, Result: res}}
	r, err = sec.Respond([]float64{f}, Conditions{})
	if err != nil {
		t.Fatal(err)
	}
	for what, d := range map[string]complex128{"S11": r.Network.At(0, 0, 0) - s11, "S21": r.Network.At(0, 1, 0) - s21} {
		if !(cmplx.Abs(d) <= 1e-4) { // what is left of the loss
			t.Errorf("section: %s is off by %v", what, d)
		}
	}
	near(t, "delay by section", r.Delay, length/line.C0, 1e-4*length/line.C0)
	if r.Step != SectionSolve {
		t.Errorf("section: step %v", r.Step)
	}

	built, err := Build(Spec{Name: "both", Pieces: []PieceSpec{{Body: &body.Spec}, {Section: &sec.Spec}}}, catalogue.Catalogue{})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(built.Elements); n != 2 {
		t.Errorf("%d elements", n)
	}
}
