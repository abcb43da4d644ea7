package fdtd

import (
	"math"
	"math/cmplx"
	"testing"

	"linewright/physics/line"
	"linewright/physics/material"
)

// The loss of a round coaxial line, both conductors of copper, against that of
// package line: 4 % low on 12 cells to the radius (H falls like 1/r at the pin, and
// a straight line carries it to the metal), within 2 % with a second grid.
func TestCoaxialLoss(t *testing.T) {
	const a, b, length = 1.52e-3, 3.5e-3, 8e-3
	copper := &material.Conductor{Metal: material.Metal{Conductivity: 58e6}}
	f := []float64{5e9, 20e9}
	build := func(n float64, w *material.Conductor) *Model {
		m := blank(b/n, []float64{0, b}, []float64{0, b}, []float64{0, 2e-3, 2e-3 + length, 4e-3 + length})
		m.Background = Material{Metal: true, Conductor: w}
		m.Boundaries[XLow], m.Boundaries[YLow] = Magnetic, Magnetic
		m.Solids = []Solid{
			{Name: "bore", Shape: Cylinder{Axis: 2, Radius: b, Length: 1}},
			{Name: "pin", Shape: Cylinder{Axis: 2, Radius: a, Length: 1}, Material: Material{Metal: true, Conductor: w}},
		}
		m.Ports = []Port{{Side: ZLow, Plane: 2e-3}, {Side: ZHigh, Plane: 2e-3 + length}}
		return m
	}
	o := Options{Frequencies: f, EnergyLeft: 1e-7}
	var loss [2][2]float64
	for i, n := range []float64{7, 12} {
		s := at(mustSolve(t, build(n, copper), o))
		for k := range f {
			loss[i][k] = -math.Log(cmplx.Abs(s(k, 1, 0)))
		}
	}
	for k, fr := range f {
		c := line.Coax{InnerDiameter: 2 * a, OuterDiameter: 2 * b, Inner: *copper, Outer: *copper}
		want := real(c.Series(fr)) / (2 * c.Static().Impedance) * length
		together := loss[1][k] + (loss[1][k]-loss[0][k])/(144./49-1)
		t.Logf("%g GHz: %+.2f %%, %+.2f %%, together %+.2f %%", fr/1e9, 100*(loss[0][k]/want-1), 100*(loss[1][k]/want-1), 100*(together/want-1))
		if !(math.Abs(loss[1][k]/want-1) < 0.04 && math.Abs(together/want-1) < 0.02) {
			t.Errorf("%g GHz: %.4e Np on the fine grid, %.4e with the coarse one, want %.4e", fr/1e9, loss[1][k], together, want)
		}
	}
	// a rough surface loses more by its factor, here with the same fields
	rough := &material.Conductor{Metal: copper.Metal, Roughness: material.Roughness{Model: material.Hammerstad, RMS: 1e-6}}
	s := at(mustSolve(t, build(7, rough), o))
	for k, fr := range f {
		if got, want := -math.Log(cmplx.Abs(s(k, 1, 0)))/loss[0][k], rough.RoughnessFactor(fr); !(want > 1.2) || !(math.Abs(got/want-1) < 0.01) {
			t.Errorf("%g GHz: rough over smooth %.4f, want %.4f", fr/1e9, got, want)
		}
	}
}

// The loss of TE10 in a rectangular guide, [pozar2012] eq. 3.96.
func TestGuideLoss(t *testing.T) {
	const a, b, length, fr = 22.86e-3, 10.16e-3, 20e-3, 10e9
	m := blank(1.5e-3, []float64{0, a}, []float64{0, b}, []float64{0, 6e-3, 6e-3 + length, 12e-3 + length})
	m.Band = [2]float64{9e9, 11e9}
	m.Walls = &material.Conductor{Metal: material.Metal{Conductivity: 58e6}}
	m.Ports = []Port{{Side: ZLow, Mode: TE, Plane: 6e-3}, {Side: ZHigh, Mode: TE, Plane: 6e-3 + length}}
	s := at(mustSolve(t, m, Options{Frequencies: []float64{fr}, EnergyLeft: 1e-7, Double: true}))
	k := 2 * math.Pi * fr / c0
	beta := math.Sqrt(k*k - math.Pow(math.Pi/a, 2))
	want := material.SurfaceResistance(fr, 58e6) / (a * a * a * b * beta * k * 376.730313) * (2*b*math.Pi*math.Pi + a*a*a*k*k) * length
	got := -math.Log(cmplx.Abs(s(0, 1, 0)))
	t.Logf("%.4e Np, want %.4e, %+.2f %%", got, want, 100*(got/want-1))
	if !(math.Abs(got/want-1) < 0.01) {
		t.Errorf("%.4e Np, want %.4e", got, want)
	}
}
