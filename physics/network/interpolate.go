package network

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sort"
)

// Interpolation says how [Network.Interpolate] goes beyond the data. The zero
// value refuses to.
type Interpolation struct {
	ToZero bool // between 0 Hz and the first point, use S(−f) = S*(f); needs real references
	Hold   bool // beyond the data, hold the end's magnitude and let its phase run on at the common delay
}

// Interpolate returns n at other frequencies, in Hz.
//
// From each S_ij its common delay is removed ([Network.Delay]), what is left,
// smooth, is interpolated in real and imaginary part by a cubic spline
// (not-a-knot; a parabola or a straight line through three or two points), and the
// delay is put back. A point that is among the data is passed on untouched. A
// reciprocal network stays so. Passivity is not enforced: a network that is
// lossless between sparse points can come out active by the interpolation error.
//
// With real references S(−f) = S*(f), so the spline also sees the mirror image of
// the lowest points: its slope at 0 Hz is right without being asked for, and
// ToZero fills the gap up to the first point. What varies as √f (skin effect)
// is not smooth there: expect an error of the order of the loss at the first point.
//
// Outside the data it returns an [Error] of [ErrRange] and no network, unless
// options allow it. Where the data are too sparse to follow the phase the network
// comes with an [Error] of [ErrSampling].
func (n Network) Interpolate(frequency []float64, options Interpolation) (Network, error) {
	const op = "interpolate"
	if err := n.Check(); err != nil {
		return Network{}, err
	}
	if err := (Network{1, frequency, []complex128{1}, make([]complex128, len(frequency))}).Check(); err != nil {
		return Network{}, fmt.Errorf("%s: new %w", op, err)
	}
	if len(n.Frequency) == 0 {
		return Network{}, fault(op, ErrRange, "", "the network has no frequencies")
	}
	low, high := n.Frequency[0], n.Frequency[len(n.Frequency)-1]
	mirror := true
	for _, z := range n.Reference {
		mirror = mirror && imag(z) == 0
	}
	if options.ToZero && !mirror {
		return Network{}, fault(op, ErrReference, "renormalise to real references, or give data down to 0 Hz", "S(−f) = S*(f) does not hold for complex references")
	}
	for _, f := range frequency {
		if (f < low && !options.ToZero || f > high) && !options.Hold {
			return Network{}, &Error{Op: op, Frequency: f, Found: "the data are " + describeGrid(n.Frequency), Err: ErrRange,
				Help: "stay inside, or ask for extrapolation (Hold; ToZero below the first point)"}
		}
	}

	m := Network{n.Ports, frequency, append([]complex128(nil), n.Reference...), make([]complex128, len(frequency)*n.Ports*n.Ports)}
	var warnings []error
	for i := range n.Ports {
		for j := range n.Ports {
			s := n.Trace(i, j)
			tau := fitDelay(n.Frequency, s)
			if err := sampling(fmt.Sprintf("%s S[%d][%d]", op, i, j), n.Frequency, s, tau); err != nil {
				warnings = append(warnings, err)
			}
			smooth := newSpline(n.Frequency, s, tau, mirror)
			for k, f := range frequency {
				if at := sort.SearchFloat64s(n.Frequency, f); at < len(n.Frequency) && n.Frequency[at] == f {
					m.Set(k, i, j, s[at])
					continue
				}
				from := f
				if f < low && !options.ToZero {
					from = low
				}
				z := smooth(min(from, high)) * cmplx.Rect(1, -2*math.Pi*f*tau)
				if f == 0 && options.ToZero {
					z = complex(real(z), 0) // by symmetry, up to rounding
				}
				m.Set(k, i, j, z)
			}
		}
	}
	return m, errors.Join(warnings...)
}

// newSpline returns the interpolant of s·e^{+jωτ} over frequency, with the
// mirror images of up to four low points when mirror is set.
func newSpline(f []float64, s []complex128, tau float64, mirror bool) func(float64) complex128 {
	var x []float64
	var y []complex128
	add := func(f float64, z complex128) {
		x, y = append(x, f), append(y, z*cmplx.Rect(1, 2*math.Pi*f*tau))
	}
	if mirror {
		for k := min(len(f), 4) - 1; k >= 0; k-- {
			if f[k] > 0 {
				add(-f[k], conj(s[k]))
			}
		}
	}
	for k := range f {
		add(f[k], s[k])
	}
	d := splineSlopes(x, y)
	return func(f float64) complex128 {
		if len(x) == 1 {
			return y[0]
		}
		k := min(max(sort.SearchFloat64s(x, f), 1), len(x)-1) - 1
		h := x[k+1] - x[k]
		t := complex((f-x[k])/h, 0)
		u := 1 - t
		hc := complex(h, 0)
		return u*u*((1+2*t)*y[k]+t*hc*d[k]) + t*t*((1+2*u)*y[k+1]-u*hc*d[k+1])
	}
}

// splineSlopes returns the derivatives at the knots of the not-a-knot cubic
// spline through the points (x, y): at the inner knots
//
//	h_k d_{k−1} + 2(h_{k−1}+h_k) d_k + h_{k−1} d_{k+1} = 3(h_k δ_{k−1} + h_{k−1} δ_k)
//
// with h the intervals and δ the chords' slopes. Three points give the
// parabola, two the straight line.
//
// Source: [deboor2001] ch. IV.
func splineSlopes(x []float64, y []complex128) []complex128 {
	n := len(x)
	d := make([]complex128, n)
	if n == 1 {
		return d
	}
	h, chord := make([]float64, n-1), make([]complex128, n-1)
	for k := range h {
		h[k] = x[k+1] - x[k]
		chord[k] = (y[k+1] - y[k]) / complex(h[k], 0)
	}
	re := func(v float64) complex128 { return complex(v, 0) }
	switch n {
	case 2:
		d[0], d[1] = chord[0], chord[0]
		return d
	case 3:
		d[1] = (re(h[1])*chord[0] + re(h[0])*chord[1]) / re(h[0]+h[1])
		d[0], d[2] = 2*chord[0]-d[1], 2*chord[1]-d[1]
		return d
	}
	// end is the right side of h1 d0 + (h0+h1) d1: the cubic is one over the first two intervals.
	end := func(h0, h1 float64, c0, c1 complex128) complex128 {
		return (re((h0+2*(h0+h1))*h1)*c0 + re(h0*h0)*c1) / re(h0+h1)
	}
	diag, upper := make([]float64, n), make([]float64, n)
	diag[0], upper[0] = h[1], h[0]+h[1]
	d[0] = end(h[0], h[1], chord[0], chord[1])
	for k := 1; k < n; k++ { // elimination of the lower diagonal, row by row
		lower, right := h[min(k, n-2)], complex128(0)
		if k < n-1 {
			diag[k], upper[k] = 2*(h[k-1]+h[k]), h[k-1]
			right = 3 * (re(h[k])*chord[k-1] + re(h[k-1])*chord[k])
		} else {
			lower, diag[k] = h[n-2]+h[n-3], h[n-3]
			right = end(h[n-2], h[n-3], chord[n-2], chord[n-3])
		}
		w := lower / diag[k-1]
		diag[k] -= w * upper[k-1]
		d[k] = right - re(w)*d[k-1]
	}
	d[n-1] /= re(diag[n-1])
	for k := n - 2; k >= 0; k-- {
		d[k] = (d[k] - re(upper[k])*d[k+1]) / re(diag[k])
	}
	return d
}
