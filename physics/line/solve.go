package line

import (
	"errors"
	"fmt"
	"math"
)

// A Parameter is a dimension or constant that a line's Solve method can find.
// The same word means the same thing on every line that has it.
type Parameter string

// The parameters. Each line's Solve says which of them it takes.
const (
	InnerDiameter Parameter = "inner diameter" // coax: of the centre conductor
	OuterDiameter Parameter = "outer diameter" // coax: inside, of the outer conductor
	Offset        Parameter = "offset"         // coax: between the axes; stripline: from the middle
	Permittivity  Parameter = "permittivity"
	Width         Parameter = "width"
	Gap           Parameter = "gap"
	Height        Parameter = "height"
	Spacing       Parameter = "spacing" // stripline: between the planes
	Thickness     Parameter = "thickness"
)

// ErrOutOfReach is the error under every [ReachError].
var ErrOutOfReach = errors.New("no value in the range gives the target")

// A ReachError says that no argument between Low and High gives the target,
// and what the ends of that range do give. Names and units are the caller's.
type ReachError struct {
	Target    float64
	Low, High float64 // the range searched
	AtLow     float64 // value of the function at Low
	AtHigh    float64 // value of the function at High
}

func (e *ReachError) Error() string {
	return fmt.Sprintf("%v: asked for %.5g, attainable %.5g (at %.5g) to %.5g (at %.5g)",
		ErrOutOfReach, e.Target, e.AtLow, e.Low, e.AtHigh, e.High)
}

func (e *ReachError) Unwrap() error { return ErrOutOfReach }

// solve returns the x between lo and hi, lo < hi, at which the continuous,
// monotone function f takes the value target, to a few units in the last
// place of x. When f(lo) and f(hi) do not enclose the target the error is a
// [*ReachError] with both values; when f is not a number at an end, an error
// saying so. f need not be differentiable, may be flat, and may be steep over
// many decades: where lo > 0 the search runs in log x, so that hi/lo may be
// 1e9.
//
// Method: Brent's, inverse quadratic and secant steps guarded by bisection.
// Source: [brent1973] ch. 4.
func solve(target float64, lo, hi float64, f func(x float64) float64) (float64, error) {
	at := func(u float64) float64 { return u }
	ulo, uhi := lo, hi
	if lo > 0 && hi > 2*lo {
		at, ulo, uhi = math.Exp, math.Log(lo), math.Log(hi)
	}
	flo, fhi := f(lo), f(hi)
	if math.IsNaN(flo) || math.IsNaN(fhi) {
		return 0, fmt.Errorf("solve: the function is not a number at an end of %.5g to %.5g", lo, hi)
	}
	switch {
	case flo == target:
		return lo, nil
	case fhi == target:
		return hi, nil
	case !((flo < target) != (fhi < target)):
		return 0, &ReachError{target, lo, hi, flo, fhi}
	}
	return min(max(at(brent(func(u float64) float64 { return f(at(u)) - target }, ulo, uhi, flo-target, fhi-target)), lo), hi), nil
}

// brent returns a root of g between a and b, where ga = g(a) and gb = g(b)
// differ in sign. Source: [brent1973] ch. 4, procedure zero.
func brent(g func(float64) float64, a, b, ga, gb float64) float64 {
	c, gc := a, ga
	d := b - a
	e := d
	for range 200 {
		if (gb > 0) == (gc > 0) {
			c, gc = a, ga
			d = b - a
			e = d
		}
		if math.Abs(gc) < math.Abs(gb) {
			a, b, c = b, c, b
			ga, gb, gc = gb, gc, gb
		}
		tol := 2 * 0x1p-53 * math.Abs(b)
		m := (c - b) / 2
		if !(math.Abs(m) > tol) || gb == 0 {
			return b
		}
		if math.Abs(e) < tol || math.Abs(ga) <= math.Abs(gb) {
			d, e = m, m // the last step brought little: bisect
		} else {
			s := gb / ga
			p, q := 2*m*s, 1-s // secant
			if a != c {        // inverse quadratic
				t, r := ga/gc, gb/gc
				p = s * (2*m*t*(t-r) - (b-a)*(r-1))
				q = (t - 1) * (r - 1) * (s - 1)
			}
			if p > 0 {
				q = -q
			} else {
				p = -p
			}
			if 2*p < min(3*m*q-math.Abs(tol*q), math.Abs(e*q)) {
				d, e = p/q, d
			} else {
				d, e = m, m
			}
		}
		a, ga = b, gb
		if math.Abs(d) > tol {
			b += d
		} else {
			b += math.Copysign(tol, m)
		}
		gb = g(b)
	}
	return b
}
