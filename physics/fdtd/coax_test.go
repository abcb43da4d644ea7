package fdtd

import (
	"math"
	"testing"
)

// A round coaxial line as the port's mode sees it: the capacitance and the
// inductance of the grid are those of the line, 2πε/ln(b/a) and μ ln(b/a)/2π, but
// for 0.4 (h/b)², at whatever place the conductors cut the cells.
func TestCoaxialPortIsOfSecondOrder(t *testing.T) {
	const a, b = 1.52e-3, 3.5e-3
	for _, n := range []float64{6, 7, 8, 10, 12, 14, 16, 19, 22} {
		h := b / n
		m := blank(h, []float64{0, b}, []float64{0, b}, []float64{0, 10 * h})
		m.Background = Material{Metal: true}
		m.Boundaries[XLow], m.Boundaries[YLow] = Magnetic, Magnetic
		m.Solids = []Solid{
			{Name: "bore", Shape: Cylinder{Axis: 2, Radius: b, Length: 10 * h}},
			{Name: "pin", Shape: Cylinder{Axis: 2, Radius: a, Length: 10 * h}, Material: Material{Metal: true}},
		}
		m.Ports = []Port{{Side: ZLow}}
		g, err := m.divide(Options{})
		if err != nil {
			t.Fatal(err)
		}
		g.measure()
		s, err := g.section(m.Ports[0])
		if err != nil {
			t.Fatal(err)
		}
		want := math.Pi / 2 / math.Log(b/a) // a quarter
		if c, l := s.eps*s.geom/want-1, want/s.geom-1; !(math.Abs(c) < 0.4/(n*n) && math.Abs(l) < 0.4/(n*n)) {
			t.Errorf("%.0f cells to the radius: capacitance %+.3f %%, inductance %+.3f %%", n, 100*c, 100*l)
		}
	}
}
