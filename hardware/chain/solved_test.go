package chain

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"linewright/hardware/catalogue"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/modematch"
	"linewright/physics/network"
	"linewright/physics/touchstone"
	"linewright/physics/units"
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
	res, err := xsection.Solve(context.Background(), xsection.Section{Region: xsection.Region{Shield: xsection.Circle{Diameter: b}, Metal: metal}, Conductors: []xsection.Conductor{{Name: "pin", Shape: xsection.Circle{Diameter: a}, Metal: metal}}}, xsection.Options{Accuracy: 1e-8})
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

// Pieces that are solved or measured follow the chain's temperature too, and
// say so: of an air line of copper the loss goes as √(1 + 0.00393 (T − 20 °C)),
// F7 of the trade's notes; what a file measured at 23 °C dissipates is carried
// in the same way, and what says no temperature stays open where it is warm.
func TestSolvedPiecesWarm(t *testing.T) {
	const a, b, length, f = 1.52e-3, 3.5e-3, 0.1, 20e9
	copper := &material.Conductor{}
	pin := modematch.Section{InnerDiameter: a, OuterDiameter: b}
	body := Body{Spec: BodySpec{Path: "b.yaml", Body: modematch.Body{Sections: []modematch.Section{pin, pin}, Inner: copper, Outer: copper}, Shift: [2]float64{length / 2, length / 2}}}
	metal := xsection.Metal{Conductivity: material.AnnealedCopper}
	res, err := xsection.Solve(context.Background(), xsection.Section{Region: xsection.Region{Shield: xsection.Circle{Diameter: b}, Metal: metal}, Conductors: []xsection.Conductor{{Name: "pin", Shape: xsection.Circle{Diameter: a}, Metal: metal}}}, xsection.Options{})
	if err != nil {
		t.Fatal(err)
	}
	section := Section{Spec: SectionSpec{Path: "s.yaml", Length: length, Result: res}}

	n := network.New(2, []float64{10e9, 20e9, 30e9}, 50)
	for i := range n.Frequency {
		n.Set(i, 0, 1, 0.9)
		n.Set(i, 1, 0, 0.9)
	}
	dated := File{Spec: FileSpec{Path: "f.s2p", Planes: "its ends", Network: &n, Temperature: ptr(units.Celsius(23))}}
	undated := File{Spec: FileSpec{Path: "f.s2p", Planes: "its ends", Network: &n}}
	solved := Solved{About: Facts{Name: "launch"}, Answer: Response{Network: &n}}

	factor := func(celsius, from float64) float64 {
		return math.Sqrt((1 + 0.00393*(celsius-20)) / (1 + 0.00393*(from-20)))
	}
	for name, c := range map[string]struct {
		e    Element
		want float64 // loss at 85 °C over that at 20 °C
		tol  float64
		open bool // at 85 °C
		note string
	}{
		"body":         {body, factor(85, 20), 2e-3, false, "its metals are those of 85 °C"},
		"section":      {section, factor(85, 20), 1e-9, false, "carried from 20 °C to 85 °C"},
		"file":         {dated, factor(85, 23) / factor(20, 23), 1e-9, false, "its file stands at 23 °C"},
		"file undated": {undated, 1, 1e-12, true, "does not say at which temperature"},
		"launch":       {solved, 1, 1e-12, true, "does not say at which temperature"},
	} {
		at := func(celsius float64) Response {
			r, err := c.e.Respond([]float64{f}, Conditions{Temperature: units.Celsius(celsius)})
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			return r
		}
		cold, hot := at(20), at(85)
		if !(cold.Loss[0] > 0) || !(math.Abs(hot.Loss[0]/cold.Loss[0]-c.want) <= c.tol) {
			t.Errorf("%s: %g dB at 20 °C, %g times that at 85 °C, want %g times", name, cold.Loss[0], hot.Loss[0]/cold.Loss[0], c.want)
		}
		if hot.Unvouched.Temperature != c.open || cold.Unvouched.Temperature {
			t.Errorf("%s: open %v hot, %v cold", name, hot.Unvouched.Temperature, cold.Unvouched.Temperature)
		}
		said := ""
		for _, x := range hot.Notes {
			said += x.Text + "\n"
		}
		if !strings.Contains(said, c.note) {
			t.Errorf("%s: nothing says %q: %s", name, c.note, said)
		}
	}
	if copper.Temperature != 0 {
		t.Error("the body's own metal was altered")
	}
}

// A file that says it was solved stands on that rung; any other counts as
// measured. Whatever it is referred to, its reflection is that in 50 Ω.
func TestFileOrigin(t *testing.T) {
	f := []float64{1e9, 2e9, 3e9}
	n := network.New(2, f, 100) // a matched through line of no length in 100 Ω
	for k := range f {
		n.Set(k, 0, 1, 1)
		n.Set(k, 1, 0, 1)
	}
	for origin, want := range map[string]Step{FieldOrigin + ", finite differences in time": FieldSolve, MatchingOrigin + ", TEM and TM0n": SectionSolve, "measured": MeasuredFile, "": MeasuredFile} {
		h := &touchstone.Header{Origin: origin, Limits: "perfect metal", Ports: []touchstone.PortPlane{{Name: "1", Plane: "z = 0 mm"}, {Name: "2", Plane: "z = 0.5 mm"}}}
		r, err := File{Spec: FileSpec{Path: "via.s2p", Network: &n, Header: h}}.Respond(f, Conditions{})
		if err != nil {
			t.Fatal(err)
		}
		if r.Step != want {
			t.Errorf("%q stands as %v, want %v", origin, r.Step, want)
		}
		if solved := want != MeasuredFile; solved != strings.Contains(fmt.Sprint(r.Notes), "perfect metal") {
			t.Errorf("%q: notes %v", origin, r.Notes)
		}
		if strings.Contains(fmt.Sprint(r.Notes), "does not say between which planes") {
			t.Errorf("%q: the header's planes were not read: %v", origin, r.Notes)
		}
		if !(r.Left[0] < 1e-12) {
			t.Errorf("a through of no length reflects %g in 50 Ω", r.Left[0])
		}
	}
	// a quarter wave of 100 Ω in 50 Ω: |S11| = (4 − 1)/(4 + 1), of its own line nothing
	for k := range f {
		n.Set(k, 0, 1, -1i)
		n.Set(k, 1, 0, -1i)
	}
	r, err := File{Spec: FileSpec{Path: "via.s2p", Network: &n}}.Respond(f, Conditions{})
	if err != nil {
		t.Fatal(err)
	}
	if !(math.Abs(r.Left[1]-0.6) <= 1e-12) {
		t.Errorf("|S11| = %.6f in 50 Ω, want 0.6", r.Left[1])
	}
}
