package network

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

func TestDelayOfLine(t *testing.T) {
	for _, f := range [][]float64{grid(0, 40e9, 401), grid(18e9, 40e9, 221), {1e7, 3e7, 1e8, 2e8, 5e8, 8e8}} {
		line := Line(f, 50, func(f float64) (complex128, complex128) { return complex(0.2, 2*math.Pi*f*432.1e-12), 50 })
		if got := line.Delay(1, 0); !(math.Abs(got-432.1e-12) <= 1e-20) {
			t.Errorf("%s: delay %.6g ps, want 432.1", describeGrid(f), got*1e12)
		}
		gd, err := line.GroupDelay(1, 0)
		if err != nil {
			t.Error(err)
		}
		pd, err := line.PhaseDelay(1, 0)
		if err != nil {
			t.Error(err)
		}
		for k := range f {
			if !(math.Abs(gd[k]-432.1e-12) <= 1e-18 && math.Abs(pd[k]-432.1e-12) <= 1e-18) {
				t.Errorf("%g Hz: group delay %g, phase delay %g", f[k], gd[k], pd[k])
			}
		}
	}
	if d := New(2, grid(1e9, 2e9, 5), 50).Delay(1, 0); d != 0 {
		t.Errorf("nothing passes, with delay %g", d)
	}
}

// Exact for a phase that is quadratic in frequency, on any spacing.
func TestGroupDelayOfDispersion(t *testing.T) {
	r := seeded(t, 51)
	f := []float64{1e9}
	for range 60 {
		f = append(f, f[len(f)-1]+1e7*(0.2+r.Float64()))
	}
	n := New(1, f, 50)
	for k, x := range f {
		n.S[k] = cmplx.Rect(0.5, -2*math.Pi*(1e-9*x+1e-19*x*x))
	}
	gd, err := n.GroupDelay(0, 0)
	if err != nil {
		t.Fatal(err)
	}
	for k, x := range f {
		if want := 1e-9 + 2e-19*x; !(math.Abs(gd[k]-want) <= 1e-9*want) {
			t.Errorf("%g Hz: group delay %.12g, want %.12g", x, gd[k], want)
		}
	}
}

// Group delay of a shunt capacitor between matched ends at low frequency: CZ0/2,
// the one-pole low-pass 1/(1 + jωCZ0/2), τ = T/(1+ω²T²).
func TestGroupDelayOfPole(t *testing.T) {
	f := grid(0, 10e9, 1001)
	n := Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*1e-13) })
	gd, err := n.GroupDelay(1, 0)
	if err != nil {
		t.Fatal(err)
	}
	for k := range f {
		wt := 2 * math.Pi * f[k] * 2.5e-12
		if want := 2.5e-12 / (1 + wt*wt); !(math.Abs(gd[k]-want) <= 2e-17) {
			t.Errorf("%g Hz: %g, want %g", f[k], gd[k], want)
		}
	}
}

// A phase that cannot be followed says so: here the delay grows by 4.5 ns over the
// last two of ten steps of 0.1 GHz, 0.45 turns each.
func TestSparseSampling(t *testing.T) {
	f := grid(1e9, 2e9, 11)
	n := New(1, f, 50)
	for k, x := range f {
		n.S[k] = cmplx.Rect(1, -2*math.Pi*x*1e-9)
		if k > 8 {
			n.S[k] = cmplx.Rect(1, -2*math.Pi*(x*1e-9+(x-f[8])*4.5e-9))
		}
	}
	phase, err := n.Phase(0, 0)
	if !errors.Is(err, ErrSampling) {
		t.Errorf("error %v, want %v", err, ErrSampling)
	}
	if len(phase) != len(f) {
		t.Error("the values do not come along")
	}
	if _, err := n.Interpolate(f, Interpolation{}); !errors.Is(err, ErrSampling) {
		t.Errorf("interpolation: error %v, want %v", err, ErrSampling)
	}
}

func ExampleNetwork_PhaseDelay() {
	// 100 mm of air line, measured from 18 to 40 GHz.
	f := grid(18e9, 40e9, 221)
	n := Line(f, 50, func(f float64) (complex128, complex128) {
		return complex(0, 2*math.Pi*f*0.1/299792458), 50
	})
	delay, err := n.PhaseDelay(1, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	phase, _ := n.Phase(1, 0)
	fmt.Printf("at 40 GHz %.2f°, %.4f ps, %.3f mm\n", phase[220]*180/math.Pi, delay[220]*1e12, delay[220]*299792458e3)
	// Output: at 40 GHz -4803.32°, 333.5641 ps, 100.000 mm
}
