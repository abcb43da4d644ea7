package view

import (
	"context"
	"math"
	"testing"

	"linewright/app/workspace"
	"linewright/physics/xsection"
)

// A line written as a cross-section and solved there has the impedance that the
// line's own package gives it: two codes, one section.
func TestLineSection(t *testing.T) {
	for name, q := range map[string]LineRequest{
		"coax":                {Kind: "coax", Fields: map[string]string{"inner_diameter": "1.27 mm", "outer_diameter": "2.92 mm"}},
		"pin off the axis":    {Kind: "coax", Fields: map[string]string{"inner_diameter": "1.27 mm", "outer_diameter": "2.92 mm", "offset": "0.2 mm", "permittivity": "2.1"}},
		"microstrip":          {Kind: "microstrip", Fields: map[string]string{"width": "0.55 mm", "height": "0.254 mm", "thickness": "35 um", "permittivity": "3.66", "loss_tangent": "0.0037"}},
		"microstrip in a box": {Kind: "microstrip", Fields: map[string]string{"width": "0.55 mm", "height": "0.254 mm", "thickness": "35 um", "permittivity": "3.66", "cover": "1 mm", "walls": "3 mm"}},
		"foil":                {Kind: "microstrip", Fields: map[string]string{"width": "0.55 mm", "height": "0.254 mm", "permittivity": "3.66"}},
		"stripline":           {Kind: "stripline", Fields: map[string]string{"width": "0.25 mm", "spacing": "0.508 mm", "thickness": "17 um", "permittivity": "3.0", "offset": "0.05 mm"}},
		"coplanar":            {Kind: "coplanar", Fields: map[string]string{"width": "0.4 mm", "gap": "0.2 mm", "height": "0.254 mm", "thickness": "35 um", "permittivity": "3.0", "ground_below": "true"}},
		"walled coplanar":     {Kind: "coplanar", Fields: map[string]string{"width": "0.4 mm", "gap": "0.2 mm", "height": "0.254 mm", "thickness": "35 um", "permittivity": "3.0", "ground_below": "true", "walls": "2 mm"}},
		"coplanar, no ground": {Kind: "coplanar", Fields: map[string]string{"width": "0.4 mm", "gap": "0.2 mm", "height": "0.254 mm", "thickness": "35 um", "permittivity": "3.0", "ground_below": "false"}},
		"solved width":        {Kind: "microstrip", SolveFor: "width=50ohm", Fields: map[string]string{"height": "0.254 mm", "thickness": "35 um", "permittivity": "3.66"}},
	} {
		t.Run(name, func(t *testing.T) {
			want, err := NewLine(q)
			if err != nil {
				t.Fatal(err)
			}
			text, err := LineSection(q)
			if err != nil {
				t.Fatal(err)
			}
			s, err := workspace.SectionText("section", []byte(text))
			if err != nil {
				t.Fatalf("%v\n%s", err, text)
			}
			r, err := xsection.Solve(context.Background(), s.Section, xsection.Options{})
			if err != nil {
				t.Fatalf("%v\n%s", err, text)
			}
			if got, z := r.Impedance(), *want.StaticImpedanceOhm; !(math.Abs(got/z-1) <= 2e-3) {
				t.Errorf("%.4f Ω as a section, %.4f Ω as a line\n%s", got, z, text)
			}
			d := SectionDrawing(s.Section, r)
			if len(d.Potential) < 400 || len(d.Potential)%4 != 0 {
				t.Errorf("%d figures of potential lines", len(d.Potential))
			}
			for _, p := range d.Pieces {
				for i := range p.X {
					if math.IsInf(p.X[i], 0) || math.IsInf(p.Y[i], 0) {
						t.Fatalf("%s reaches to infinity, which JSON does not", p.Name)
					}
				}
			}
		})
	}
}
