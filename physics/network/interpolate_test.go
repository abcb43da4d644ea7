package network

import (
	"errors"
	"math"
	"math/cmplx"
	"testing"
)

// chainOver is a lossy dispersive chain with reflections: two lumped
// capacitances either side of a 59 Ω line of 300 ps, skin loss and dielectric loss.
func chainOver(f []float64) Network {
	shunt := Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*25e-15) })
	line := Line(f, 50, func(f float64) (complex128, complex128) {
		skin := 0.05 * math.Sqrt(f/10e9)
		return complex(skin+0.02*f/10e9, 2*math.Pi*f*300e-12+skin), 59
	})
	return must(Cascade(shunt, line, shunt))
}

// The error falls with the fourth power of the step (cubic spline), for S21 and for S11 alike.
func TestInterpolationOrder(t *testing.T) {
	fine := grid(4.013e9, 36.017e9, 997)
	want := chainOver(fine)
	var last float64
	for _, points := range []int{401, 801, 1601} {
		got, err := chainOver(grid(1e9, 40e9, points)).Interpolate(fine, Interpolation{})
		if err != nil {
			t.Fatal(err)
		}
		worst := 0.0
		for i := range want.S {
			worst = math.Max(worst, cmplx.Abs(got.S[i]-want.S[i]))
		}
		if last != 0 {
			if order := math.Log2(last / worst); !(order > 3.7 && order < 4.5) {
				t.Errorf("%d points: error %.2g after %.2g, order %.2f, want about 4", points, worst, last, order)
			}
		}
		last = worst
		if d := got.Reciprocity().Value; !(d <= 2e-15) { // the data's own rounding
			t.Errorf("%d points: S12 and S21 differ by %g", points, d)
		}
	}
	t.Logf("error with 1601 points: %.2g", last)
}

// A pure delay is interpolated exactly even with two points per turn and a bit,
// where a spline through the raw values is useless.
func TestInterpolationOfDelay(t *testing.T) {
	delayed := func(f []float64) Network {
		return Line(f, 50, func(f float64) (complex128, complex128) { return complex(0.3, 2*math.Pi*f*1e-9), 50 })
	}
	fine := grid(1e9, 10e9, 1777)
	got, err := delayed(grid(1e9, 10e9, 21)).Interpolate(fine, Interpolation{}) // 0.45 turns per step
	if err != nil {
		t.Fatal(err)
	}
	same(t, "delay", got, delayed(fine), 1e-11)
}

func TestInterpolationEnds(t *testing.T) {
	// A lumped network is analytic at 0 Hz: the mirror image makes the gap below
	// the first point an interpolation.
	lumped := func(f []float64) Network {
		return must(Cascade(
			Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*1e-13) }),
			Series(f, 50, func(f float64) complex128 { return complex(1, 2*math.Pi*f*2e-10) })))
	}
	data := lumped(grid(0.1e9, 20e9, 200))
	got, err := data.Interpolate([]float64{0, 0.03e9, 0.1e9}, Interpolation{ToZero: true})
	if err != nil {
		t.Fatal(err)
	}
	same(t, "to zero", got, lumped([]float64{0, 0.03e9, 0.1e9}), 1e-7)
	for i := range 4 {
		if imag(got.S[i]) != 0 {
			t.Errorf("S[%d] at 0 Hz is %v, want a real number", i, got.S[i])
		}
	}
	if got.S[8] != data.S[0] {
		t.Error("a point of the data came out changed")
	}
	if _, err := data.Interpolate([]float64{21e9}, Interpolation{ToZero: true}); !errors.Is(err, ErrRange) {
		t.Errorf("above the data: error %v, want %v", err, ErrRange)
	}
	// Hold keeps magnitude and delay.
	line := Line(grid(1e9, 2e9, 11), 50, func(f float64) (complex128, complex128) { return complex(0.3, 2*math.Pi*f*1e-10), 50 })
	held, err := line.Interpolate([]float64{0.5e9, 3e9}, Interpolation{Hold: true})
	if err != nil {
		t.Fatal(err)
	}
	for k, f := range held.Frequency {
		if want := cmplx.Rect(math.Exp(-0.3), -2*math.Pi*f*1e-10); !(cmplx.Abs(held.At(k, 1, 0)-want) <= 1e-12) {
			t.Errorf("held at %g Hz: %v, want %v", f, held.At(k, 1, 0), want)
		}
	}
	// One, two and three points, DC among them, complex references.
	for _, points := range []int{1, 2, 3} {
		f := grid(0, 1e9*float64(points-1), points)
		n := New(1, f, 50+5i)
		for k := range f {
			n.S[k] = 0.25
		}
		m, err := n.Interpolate(f, Interpolation{})
		if err != nil {
			t.Fatal(err)
		}
		same(t, "onto itself", m, n, 0)
		if points > 1 {
			m, err = n.Interpolate([]float64{0.5e9}, Interpolation{})
			if err != nil || !(cmplx.Abs(m.S[0]-0.25) <= 1e-15) {
				t.Errorf("%d points: %v, %v", points, m.S, err)
			}
		}
	}
}
