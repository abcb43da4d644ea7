package line

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The inverse of a known monotone function is its own reference.
func TestSolve(t *testing.T) {
	for _, c := range []struct {
		name   string
		f      func(float64) float64
		lo, hi float64
		x      float64
	}{
		{"falling logarithm over nine decades", func(x float64) float64 { return -math.Log(x) }, 1e-9, 1, 3.7e-5},
		{"cube, flat at the root", func(x float64) float64 { return x * x * x }, -3, 5, 0},
		{"steep exponential", func(x float64) float64 { return math.Exp(80 * x) }, 0, 1, 0.01},
		{"arctangent", math.Atan, -1e3, 1e6, 0.5},
		{"at the lower end", func(x float64) float64 { return x }, 2, 3, 2},
		{"at the upper end", func(x float64) float64 { return x }, 2, 3, 3},
	} {
		got, err := solve(c.f(c.x), c.lo, c.hi, c.f)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		tol := 4e-14 * math.Abs(c.x)
		if c.x == 0 {
			tol = 1e-14 // 1e-42 in the function
		}
		if !(math.Abs(got-c.x) <= tol) {
			t.Errorf("%s: x = %.17g, want %.17g", c.name, got, c.x)
		}
	}
}

func TestSolveOutOfReach(t *testing.T) {
	_, err := solve(9, 1, 2, func(x float64) float64 { return x * x })
	var reach *ReachError
	if !errors.As(err, &reach) || !errors.Is(err, ErrOutOfReach) {
		t.Fatalf("error is %v, want a ReachError", err)
	}
	if *reach != (ReachError{Target: 9, Low: 1, High: 2, AtLow: 1, AtHigh: 4}) {
		t.Errorf("ReachError is %+v", *reach)
	}
	if _, err := solve(1, -1, 1, math.Log); err == nil || errors.Is(err, ErrOutOfReach) {
		t.Errorf("a function without value at its end gives %v", err)
	}
	if _, err := solve(math.NaN(), 1, 2, func(x float64) float64 { return x }); err == nil {
		t.Error("a target that is not a number is found")
	}
}

// Property: whatever power law and target, the root is met.
func TestSolvePowerLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(0.2, 6).Draw(t, "power") * rapid.SampledFrom([]float64{-1, 1}).Draw(t, "sign")
		x := math.Pow(10, rapid.Float64Range(-6, 3).Draw(t, "decade"))
		f := func(x float64) float64 { return math.Pow(x, p) }
		got, err := solve(f(x), 1e-7, 1e4, f)
		if err != nil || !(math.Abs(got/x-1) <= 1e-13) {
			t.Fatalf("x^%g at %g: got %g, %v", p, x, got, err)
		}
	})
}
