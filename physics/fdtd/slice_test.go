package fdtd

import (
	"math"
	"math/cmplx"
	"testing"
)

// A matched parallel-plate line that carries 1 W: E = V/h with V = √(2 P Z0), H =
// E/η0, the same on the whole plane but for the phase, which turns by βz; the
// pulse at a moment stands where it has run to.
func TestSlices(t *testing.T) {
	m := stripe()
	const f = 10e9
	o := Options{Double: true, Frequencies: []float64{f}, Slices: []Slice{
		{Axis: 0, At: 0.5e-3, Port: 0, Frequencies: []float64{5e9, f}, Times: []float64{0.15e-9}},
		{Axis: 2, At: 10e-3, Port: 1, Frequencies: []float64{f}},
	}}
	r := mustSolve(t, m, o)
	if len(r.Slices) != 4 {
		t.Fatalf("%d pictures, want 4", len(r.Slices))
	}
	const h, w = 2e-3, 1e-3
	want := math.Sqrt(2*376.730313*h/w) / h // V/m
	for _, p := range r.Slices {
		if p.Frequency == 0 {
			if len(p.U) != 3 || len(p.V) != 21 || !(math.Abs(p.Time-0.15e-9) <= r.TimeStep) {
				t.Errorf("the moment's picture has %d by %d lines at %g s", len(p.U), len(p.V), p.Time)
			}
			// E·h ≤ 1 V, and H has the wave's impedance and direction
			top := 0.0
			for _, e := range p.MagnitudeE() {
				top = math.Max(top, e*h)
			}
			if !(top > 0.3 && top <= 1.001) {
				t.Errorf("the pulse's largest voltage is %.3f V of 1 V", top)
			}
			continue
		}
		e, hh := p.MagnitudeE(), p.MagnitudeH()
		nu := len(p.U) - 1
		for x := range e {
			if !(math.Abs(e[x]/want-1) < 0.01) || !(math.Abs(hh[x]*376.730313/want-1) < 0.01) {
				t.Fatalf("slice %d at %g GHz, cell %d: E %.5g V/m, η0 H %.5g V/m, want %.5g", p.Slice, p.Frequency/1e9, x, e[x], hh[x]*376.73, want)
			}
			if p.Metal[x] {
				t.Fatalf("cell %d is metal", x)
			}
		}
		if p.Slice == 0 { // U along y, V along z
			for j := 4; j < len(p.V)-1; j++ { // beyond the source
				turn := cmplx.Phase(p.E[1][j*nu] / p.E[1][(j-1)*nu])
				if beta := 2 * math.Pi * p.Frequency / c0; !(math.Abs(turn+beta*1e-3) < 0.01*beta*1e-3) {
					t.Fatalf("at %g GHz the phase turns by %.5f rad per cell, want %.5f", p.Frequency/1e9, turn, -beta*1e-3)
				}
			}
		}
	}
}
