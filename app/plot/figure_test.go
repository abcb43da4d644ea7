package plot

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"testing"
)

// The lines of a linear function lie where it says, to rounding; a NaN leaves
// its cells out.
func TestContours(t *testing.T) {
	x, y := []float64{0, 1, 2.5, 3}, []float64{-1, 0, 2}
	z := make([]float64, len(x)*len(y))
	for iy := range y {
		for ix := range x {
			z[iy*len(x)+ix] = 2*x[ix] - 0.5*y[iy]
		}
	}
	length := 0.0
	for _, c := range Contours(x, y, z, []float64{3}) {
		for i := range c.X {
			if d := 2*c.X[i] - 0.5*c.Y[i] - 3; !(math.Abs(d) <= 1e-12) {
				t.Errorf("%g, %g lies %g off the line", c.X[i], c.Y[i], d)
			}
		}
		length += math.Hypot(c.X[1]-c.X[0], c.Y[1]-c.Y[0])
	}
	if want := math.Hypot(3, 0.75); !(math.Abs(length-want) <= 1e-12) { // from y = -1 to 2
		t.Errorf("the line is %g long, want %g", length, want)
	}
	for i := range z {
		z[i] = math.NaN()
	}
	if got := Contours(x, y, z, []float64{3}); len(got) != 0 {
		t.Errorf("%d pieces where nothing is known", len(got))
	}
}

// A figure keeps its proportions, and the page stays well formed whatever the
// texts say.
func TestFigure(t *testing.T) {
	f := Figure{Title: "a < b & c", X0: -2, X1: 2, Y0: 0, Y1: 1, Areas: []Area{{X: []float64{-1, 1, 1}, Y: []float64{0, 0, 1}, Fill: Metal}}, Curves: []Curve{{X: []float64{0, 1}, Y: []float64{0, 1}, Heavy: true}},
		Dimensions: []Dimension{{X0: 0, Y0: 0, X1: 0, Y1: 0, Text: "\"0\""}}, Labels: []Label{{Text: "<&>"}}, Scale: ScaleBar(4), Unit: "mm"}
	if _, w, h := f.size(); !(math.Abs(w/h-4) <= 1e-12) {
		t.Errorf("4 by 1 is drawn %g by %g", w, h)
	}
	d := xml.NewDecoder(bytes.NewReader(Page{Title: "<", Figures: []Figure{f}}.SVG()))
	for {
		_, err := d.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}
