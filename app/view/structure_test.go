package view

import (
	"bytes"
	"context"
	"image/png"
	"math"
	"testing"

	"linewright/app/workspace"
	"linewright/physics/fdtd"
)

func structureOf(t *testing.T, text string) workspace.Structure {
	t.Helper()
	s, err := workspace.StructureText("s.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Each shape is cut along and across its axis where it stands.
func TestStructureCut(t *testing.T) {
	s := structureOf(t, `region: {x: [-4 mm, 4 mm], y: [-3 mm, 3 mm], z: [0 mm, 10 mm]}
sides: {rest: open}
solids:
  - {name: rod, material: metal, cylinder: {axis: z, centre: [1 mm, 0 mm], diameter: 2 mm, from: 2 mm, to: 5 mm}}
  - {name: wedge, material: metal, prism: {axis: y, polygon: [[-4 mm, 0 mm], [-2 mm, 0 mm], [-4 mm, 2 mm]], from: -1 mm, to: 2 mm}}
  - {name: foil, material: metal, sheet: {axis: z, at: 8 mm}}
ports: [{name: in, side: z_low, signal: [1 mm, 0 mm], plane: 1 mm}]
band: {from: 1 GHz, to: 10 GHz}
`)
	type outline struct {
		name           string
		n              int
		x0, x1, y0, y1 float64 // mm
	}
	check := func(axis int, at float64, want []outline) {
		t.Helper()
		c := StructureCut(s, axis, at*1e-3)
		if len(c.Pieces) != len(want)+1 { // and the background
			t.Fatalf("across %d at %g mm: %d pieces, want %d", axis, at, len(c.Pieces)-1, len(want))
		}
		for i, w := range want {
			p := c.Pieces[i+1]
			got := outline{p.Name, len(p.X), math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
			for k := range p.X {
				got.x0, got.x1 = min(got.x0, p.X[k]*1e3), max(got.x1, p.X[k]*1e3)
				got.y0, got.y1 = min(got.y0, p.Y[k]*1e3), max(got.y1, p.Y[k]*1e3)
			}
			d := max(math.Abs(got.x0-w.x0), math.Abs(got.x1-w.x1), math.Abs(got.y0-w.y0), math.Abs(got.y1-w.y1))
			if got.name != w.name || got.n != w.n || !(d < 1e-9) {
				t.Errorf("across %d at %g mm: %+v, want %+v", axis, at, got, w)
			}
		}
	}
	rod, wedge, foil := "solid 1 (rod)", "solid 2 (wedge)", "solid 3 (foil)"
	check(1, 0.8, []outline{{rod, 4, 0.4, 1.6, 2, 5}, {wedge, 3, -4, -2, 0, 2}, {foil, 2, -4, 4, 8, 8}}) // a chord of 2·0.6
	check(2, 0.5, []outline{{wedge, 4, -4, -2.5, -1, 2}})
	check(2, 3, []outline{{rod, 64, 0, 2, -1, 1}})
	check(0, -3, []outline{{wedge, 4, -1, 2, 0, 1}, {foil, 2, -3, 3, 8, 8}})
	c := StructureCut(s, 0, 0)
	if len(c.Planes) != 1 || c.Planes[0].Upright || c.Planes[0].AtM != 1e-3 || c.Across != [2]string{"y", "z"} {
		t.Errorf("planes %+v, across %v", c.Planes, c.Across)
	}
	if cuts := StructureCuts(s); cuts[0].Axis != "y" || cuts[1].Axis != "z" {
		t.Errorf("the usual cuts lie across %s and %s", cuts[0].Axis, cuts[1].Axis)
	}
}

// A matched parallel-plate line shows the same magnitude everywhere, whatever the
// phase turns to, right way up: the plate above is grey.
func TestFieldPicture(t *testing.T) {
	s := structureOf(t, `region: {x: [0 mm, 1 mm], y: [0 mm, 3 mm], z: [0 mm, 30 mm]}
sides: {x_low: magnetic, x_high: magnetic, rest: electric}
solids: [{name: plate, material: metal, box: {y: [2 mm, 3 mm]}}]
ports:
  - {name: in, side: z_low, signal: [0.5 mm, 2.5 mm]}
  - {name: out, side: z_high, signal: [0.5 mm, 2.5 mm]}
band: {from: 1 GHz, to: 20 GHz, points: 2}
grid: {largest_cell: 1 mm}
stop: {energy_down: 50 dB}
slices: [{axis: x, at: 0.5 mm, frequency: 10 GHz}]
`)
	r, err := fdtd.Solve(context.Background(), &s.Model, s.Options)
	if err != nil {
		t.Fatal(err)
	}
	p := NewFieldPicture(s, r.Slices[0], 60)
	if p.Across != [2]string{"y", "z"} || p.Columns != 6 || p.Rows != 60 || p.Fed != "in" {
		t.Fatalf("%v, %d by %d, fed %s", p.Across, p.Columns, p.Rows, p.Fed)
	}
	want := math.Sqrt(2*376.730313*2e-3/1e-3) / 2e-3 // 1 W between plates: E = √(2 Z)/h, Z = η0 h/w
	if !(math.Abs(*p.Largest/want-1) < 0.01) {
		t.Errorf("largest %.5g V/m, want %.5g", *p.Largest, want)
	}
	for i := range p.Re2 {
		column, row := i%p.Columns, i/p.Columns
		if metal := column >= 4; (p.Re2[i] == nil) != metal {
			t.Fatalf("column %d, row %d: metal %v", column, row, p.Re2[i] == nil)
		}
		if p.Re2[i] == nil || row >= 56 { // the cells with the source
			continue
		}
		re2, im2, cross := *p.Re2[i], *p.Im2[i], *p.Cross[i]
		if !(math.Abs(re2+im2-1) < 0.02) || !(math.Abs(cross*cross-re2*im2) < 1e-3) { // one direction: linear polarisation
			t.Fatalf("row %d: %g %g %g", row, re2, im2, cross)
		}
	}
	data, err := p.PNG()
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if b := img.Bounds(); b.Dx() != 6 || b.Dy() != 60 {
		t.Errorf("the picture is %v", b)
	}
}

// Colours get lighter with the field, so that they can be told apart without hue.
func TestFieldColour(t *testing.T) {
	last := -1.0
	for k := range 41 {
		c := FieldColour(math.Pow(10, (float64(k)-40)/20))
		if l := 0.2126*float64(c.R) + 0.7152*float64(c.G) + 0.0722*float64(c.B); l <= last {
			t.Fatalf("%d dB is no lighter than %d dB", k-40, k-41)
		} else {
			last = l
		}
	}
}
