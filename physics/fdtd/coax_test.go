package fdtd

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/physics/material"
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
		_, s := firstPort(t, m)
		want := math.Pi / 2 / math.Log(b/a) // a quarter
		if c, l := s.eps*s.geom/want-1, want/s.geom-1; !(math.Abs(c) < 0.4/(n*n) && math.Abs(l) < 0.4/(n*n)) {
			t.Errorf("%.0f cells to the radius: capacitance %+.3f %%, inductance %+.3f %%", n, 100*c, 100*l)
		}
	}
}

// The same wherever the axis stands among the lines of the grid, all four quarters
// solved.
func TestCoaxialPortOffTheLines(t *testing.T) {
	const a, b = 1.52e-3, 3.5e-3
	const seed = 5
	r := rand.New(rand.NewPCG(seed, 0))
	for range 8 {
		n := 7 + 4*r.Float64()
		h := b / n
		side := math.Ceil(n+1) * h
		m := blank(h, []float64{-side, side}, []float64{-side, side}, []float64{0, 10 * h})
		x, y := (r.Float64()-0.5)*h, (r.Float64()-0.5)*h
		m.Background = Material{Metal: true}
		rod := func(radius float64) Shape {
			return Cylinder{Axis: 2, Start: Point{x, y, 0}, Radius: radius, Length: 10 * h}
		}
		m.Solids = []Solid{{Name: "bore", Shape: rod(b)}, {Name: "pin", Shape: rod(a), Material: Material{Metal: true}}}
		m.Ports = []Port{{Side: ZLow}}
		_, s := firstPort(t, m)
		want := 2 * math.Pi / math.Log(b/a)
		c, l := s.eps*s.geom/want-1, want/s.geom-1
		t.Logf("%.2f cells to the radius, axis off by %.2f, %.2f cells: capacitance %+.3f %%, inductance %+.3f %%, times n² %.2f, %.2f", n, x/h, y/h, 100*c, 100*l, c*n*n, l*n*n)
		if !(math.Abs(c) < 0.4/(n*n) && math.Abs(l) < 0.4/(n*n)) {
			t.Errorf("seed %d, %.2f cells to the radius: capacitance %+.3f %%, inductance %+.3f %%", seed, n, 100*c, 100*l)
		}
	}
}

// A filling multiplies the permittivity of a round line's mode by its own, to
// rounding. What the grid makes of the empty line (6 cells to the radius, where small
// faces borrow area: 1.0009) stays: it is the speed of the wave on that grid, as the
// turn of phase along the line shows, and with it the waves separate to rounding.
func TestFilledCoaxialPort(t *testing.T) {
	const a, b, er, h = 1.52e-3, 3.5e-3, 3.66, 3.5e-3 / 6
	f := []float64{3e9, 10e9}
	line := func(er float64) (*Model, *section, *grid) {
		m := blank(h, []float64{0, b}, []float64{0, b}, []float64{0, 26 * h})
		m.Band = [2]float64{2e9, 12e9}
		m.Background = Material{Metal: true}
		m.Boundaries[XLow], m.Boundaries[YLow] = Magnetic, Magnetic
		m.Solids = []Solid{
			{Name: "bore", Shape: Cylinder{Axis: 2, Radius: b, Length: 26 * h}, Material: Material{Dielectric: material.Dielectric{Permittivity: er}}},
			{Name: "pin", Shape: Cylinder{Axis: 2, Radius: a, Length: 26 * h}, Material: Material{Metal: true}},
		}
		m.Ports = []Port{{Side: ZLow, Plane: 3 * h}, {Side: ZHigh, Plane: 23 * h}}
		g, s := firstPort(t, m)
		return m, s, g
	}
	_, empty, _ := line(1)
	m, s, g := line(er)
	if d := s.eps/empty.eps/er - 1; !(math.Abs(d) < 1e-10) {
		t.Errorf("permittivity %.12f filled, %.12f empty: their ratio is off %g by %.1e", s.eps, empty.eps, er, d)
	}
	r := at(mustSolve(t, m, Options{Frequencies: f, Double: true, EnergyLeft: 1e-11, Layers: 8}))
	for k := range f {
		th := real(s.phase(g, f[k], h)) * 20
		off := cmplx.Phase(r(k, 1, 0) * cmplx.Rect(1, th))
		t.Logf("%g GHz: permittivity %.6f of the mode, %.6f of the wave; S11 %.1e", f[k]/1e9, s.eps, s.eps*math.Pow(1-off/th, 2), cmplx.Abs(r(k, 0, 0)))
		if !(math.Abs(off) < 1e-5*th) || !(cmplx.Abs(r(k, 0, 0)) < 1e-5) {
			t.Errorf("%g GHz: over %.3f rad the wave is off by %.1e rad; S11 %.1e", f[k]/1e9, th, off, cmplx.Abs(r(k, 0, 0)))
		}
	}
}

// firstPort divides a model and computes the mode of its first port.
func firstPort(t *testing.T, m *Model) (*grid, *section) {
	t.Helper()
	g, err := m.divide(Options{})
	if err != nil {
		t.Fatal(err)
	}
	g.measure()
	modes, _, err := g.sections(0)
	if err != nil {
		t.Fatal(err)
	}
	return g, modes[0]
}
