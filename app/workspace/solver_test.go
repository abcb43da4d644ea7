package workspace

import (
	"errors"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"linewright/physics/modematch"
	"linewright/physics/xsection"
)

// The published forms of a body, word for word.
func TestBodyForm(t *testing.T) {
	b, err := BodyText("b.yaml", []byte(`body: stepped pin with a bead
sections:                       # in order along the axis; the first and last are the port lines and need no length
  - {inner_diameter: 1.52 mm, outer_diameter: 3.5 mm, permittivity: 1}
  - {inner_diameter: 1.27 mm, outer_diameter: 3.5 mm, permittivity: 2.05, loss_tangent: 0.0003, length: 1.2 mm}
  - {inner_diameter: 0 mm, outer_diameter: 2.92 mm, permittivity: 1}      # 0: no centre conductor
`))
	if err != nil {
		t.Fatal(err)
	}
	e := 2.05
	want := modematch.Body{Sections: []modematch.Section{
		{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3, Permittivity: 1},
		{InnerDiameter: 1.27e-3, OuterDiameter: 3.5e-3, Permittivity: complex(e, -e*0.0003), Length: 1.2e-3},
		{OuterDiameter: 2.92e-3, Permittivity: 1},
	}}
	if d := cmp.Diff(want, b.Body, cmp.Comparer(func(x, y float64) bool { return math.Abs(x-y) <= 1e-15 }),
		cmp.Comparer(func(x, y complex128) bool { return real(x-y) == 0 && math.Abs(imag(x-y)) < 1e-15 })); d != "" {
		t.Error(d)
	}
}

// The published forms of a section: every side, shape and open end. The pieces
// are moved apart, so that they make one section.
func TestSectionForms(t *testing.T) {
	s, err := SectionText("s.yaml", []byte(`section: thick trace under mask
region: {left: open, right: {magnetic: 9 mm}, bottom: {electric: 0 mm}, top: open}    # a side: open | {electric: position} | {magnetic: position}
background: {permittivity: 1}
dielectrics:                    # later ones lie over earlier ones
  - {rectangle: {x: [open, open], y: [0 mm, 0.254 mm]}, permittivity: 3.66, loss_tangent: 0.0037}
  - {polygon: [[-0.2 mm, 0.254 mm], [0.2 mm, 0.254 mm], [0.15 mm, 0.3 mm], [-0.15 mm, 0.3 mm]], permittivity: 3.4}
conductors:
  - {name: trace, polygon: [[-0.1 mm, 0.254 mm], [0.1 mm, 0.254 mm], [0.1 mm, 0.28 mm], [-0.1 mm, 0.28 mm]], conductivity: 58 MS/m, roughness: 0.4 um}
  - {name: pin, circle: {centre: [0 mm, 2 mm], diameter: 1.27 mm}}
  - {name: foil, segment: [[-0.1 mm, 4 mm], [0.1 mm, 4 mm]]}      # zero thickness
  - {name: ground, rectangle: {x: [0.3 mm, open], y: [0.254 mm, 0.289 mm]}}
`))
	if err != nil {
		t.Fatal(err)
	}
	inf := math.Inf(1)
	near := cmp.Comparer(func(x, y float64) bool { return x == y || math.Abs(x-y) <= 1e-15*(1+math.Abs(y)) })
	x := s.Section
	for what, pair := range map[string][2]any{
		"region":    {xsection.Region{Right: xsection.MagneticAt(9e-3), Bottom: xsection.ElectricAt(0)}, x.Region},
		"laminate":  {xsection.Dielectric{Shape: xsection.Rectangle{X0: -inf, X1: inf, Y1: 0.254e-3}, Material: xsection.Material{Permittivity: 3.66, LossTangent: 0.0037}}, x.Dielectrics[0]},
		"metal":     {xsection.Metal{Conductivity: 58e6, Roughness: 0.4e-6}, x.Conductors[0].Metal},
		"pin":       {xsection.Circle{Centre: xsection.Point{Y: 2e-3}, Diameter: 1.27e-3}, x.Conductors[1].Shape},
		"foil":      {xsection.Segment{A: xsection.Point{X: -0.1e-3, Y: 4e-3}, B: xsection.Point{X: 0.1e-3, Y: 4e-3}}, x.Conductors[2].Shape},
		"half open": {xsection.Rectangle{X0: 0.3e-3, X1: inf, Y0: 0.254e-3, Y1: 0.289e-3}, x.Conductors[3].Shape},
	} {
		if d := cmp.Diff(pair[0], pair[1], near); d != "" {
			t.Errorf("%s: %s", what, d)
		}
	}
	if names := s.Section.Signals(); !cmp.Equal(names, []string{"trace", "pin", "foil"}) {
		t.Errorf("signals are %v", names)
	}
}

// Each kind of shield is read.
func TestShields(t *testing.T) {
	for _, shield := range []string{
		"{circle: {centre: [0 mm, 0 mm], diameter: 3.5 mm}}",
		"{rectangle: {x: [-2 mm, 2 mm], y: [-2 mm, 2 mm]}}",
		"{polygon: [[-2 mm, -2 mm], [2 mm, -2 mm], [0 mm, 3 mm]]}",
	} {
		_, err := SectionText("s.yaml", []byte("region: {shield: "+shield+"}\nconductors:\n  - {name: pin, circle: {centre: [0 mm, 0 mm], diameter: 1 mm}}\n"))
		if err != nil {
			t.Errorf("%s: %v", shield, err)
		}
	}
}

// What the reader lets through, the solvers' own checks accept; what it refuses
// it explains with file, problem and cure.
func FuzzSolverFiles(f *testing.F) {
	f.Add([]byte("sections:\n  - {inner_diameter: 1 mm, outer_diameter: 2 mm}\n  - {inner_diameter: 1 mm, outer_diameter: 3 mm}\n"))
	f.Add([]byte("region: {bottom: {electric: 0 mm}}\nconductors:\n  - {name: a, rectangle: {x: [open, 1 mm], y: [1 mm, 2 mm]}}\n"))
	f.Add([]byte("region: {shield: {circle: {centre: [0 mm, 0 mm], diameter: -1 mm}}}\nconductors: [{name: a, segment: [[0 mm, 0 mm], [0 mm, 0 mm]]}]\n"))
	f.Add([]byte(viaText))
	f.Add([]byte("region: {x: [0 mm, 1 mm], y: [1 mm, 1 mm], z: [0 mm, 9 mm]}\nsides: {rest: open}\nsolids: {via: {drill: -1 mm, antipads: {diameter: 0 mm}}}\nports: {side: x_low}\nband: {from: 0 GHz, to: 1 GHz}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		explained := func(err error) {
			var fs Faults
			var one Fault
			if err != nil && !errors.As(err, &fs) && !errors.As(err, &one) {
				t.Errorf("%v (%T) is no fault of a file", err, err)
			}
			for _, x := range fs {
				if x.File == "" || x.Problem == "" || x.Help == "" {
					t.Errorf("%+v lacks a part", x)
				}
			}
		}
		b, err := BodyText("f", data)
		explained(err)
		if err == nil && b.Body.Check() != nil {
			t.Error(b.Body.Check())
		}
		s, err := SectionText("f", data)
		explained(err)
		if err == nil && s.Section.Check() != nil {
			t.Error(s.Section.Check())
		}
		x, err := StructureText("f", data)
		explained(err)
		if err == nil && x.Model.Check() != nil {
			t.Error(x.Model.Check())
		}
	})
}
