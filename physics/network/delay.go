package network

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Delay returns the one delay, in s, that best removes the turning of S_ij
// over frequency: the least squares fit of a straight line to its phase steps,
// each weighted with the two magnitudes. For a line it is its electrical
// length divided by the speed of light. A trace of zeros has delay 0.
//
// Steps of more than half a turn cannot be told from shorter ones: the spacing of the
// frequencies must be below 1/(2·delay).
func (n Network) Delay(i, j int) float64 { return fitDelay(n.Frequency, n.Trace(i, j)) }

func fitDelay(f []float64, s []complex128) float64 {
	least := math.Inf(1)
	for k := 1; k < len(f); k++ {
		least = min(least, f[k]-f[k-1])
	}
	var turn complex128
	var df, weight float64
	for k := 1; k < len(f); k++ { // the closest pairs give a first value
		if d := f[k] - f[k-1]; d <= 1.5*least {
			step := s[k] * conj(s[k-1])
			turn += step
			df += cmplx.Abs(step) * d
			weight += cmplx.Abs(step)
		}
	}
	if weight == 0 || turn == 0 {
		return 0
	}
	tau := -cmplx.Phase(turn) / (2 * math.Pi * df / weight)
	for range 4 { // then all pairs refine it
		var sum, norm float64
		for k := 1; k < len(f); k++ {
			d := f[k] - f[k-1]
			step := s[k] * conj(s[k-1])
			w := cmplx.Abs(step)
			sum += w * d * cmplx.Phase(step*cmplx.Rect(1, 2*math.Pi*d*tau))
			norm += w * d * d
		}
		tau -= sum / (2 * math.Pi * norm)
	}
	return tau
}

// sampling returns an [Error] when, with the delay tau removed, a trace still moves
// from one point to the next by more than the greatest magnitude among the six points
// on either side: at constant magnitude, when it turns by more than 60°.
// Passing by zero, as reflections do, is no such step. Stretches a thousand
// times below the trace's greatest magnitude are left out as noise.
func sampling(op string, f []float64, s []complex128, tau float64) error {
	top := 0.0
	for _, z := range s {
		top = max(top, cmplx.Abs(z))
	}
	for k := 1; k < len(f); k++ {
		near := 0.0
		for _, z := range s[max(k-7, 0):min(k+7, len(s))] {
			near = max(near, cmplx.Abs(z))
		}
		if near < 1e-3*top {
			continue
		}
		step := cmplx.Abs(s[k]*cmplx.Rect(1, 2*math.Pi*(f[k]-f[k-1])*tau) - s[k-1])
		if !(step <= near) {
			return &Error{Op: op, Frequency: f[k], Found: fmt.Sprintf("beside the common delay of %.4g ps the value moves by %.2f over %.4g MHz, and is no larger than %.2f nearby",
				tau*1e12, step, (f[k]-f[k-1])/1e6, near), Err: ErrSampling, Help: "measure or compute with a finer frequency step"}
		}
	}
	return nil
}

// Phase returns the phase of S_ij in rad, continuous over frequency. The whole
// turns are set so that the line of constant [Network.Delay] through the first
// point meets zero frequency within half a turn of 0: right for a path from
// port j to port i that does not invert and whose delay times the lowest
// frequency is known to half a turn, as in any sweep that starts low or is finely spaced.
//
// When the frequencies are too far apart for the phase to be followed the
// values come with an [Error] of [ErrSampling].
func (n Network) Phase(i, j int) ([]float64, error) {
	s := n.Trace(i, j)
	if len(s) == 0 {
		return nil, nil
	}
	tau := fitDelay(n.Frequency, s)
	phase := make([]float64, len(s))
	rest := func(k int) complex128 { return s[k] * cmplx.Rect(1, 2*math.Pi*n.Frequency[k]*tau) }
	r := cmplx.Phase(rest(0))
	for k, f := range n.Frequency {
		if k > 0 {
			r += cmplx.Phase(rest(k) * conj(rest(k-1)))
		}
		phase[k] = r - 2*math.Pi*f*tau
	}
	return phase, sampling("phase", n.Frequency, s, tau)
}

// PhaseDelay returns −φ/ω of S_ij in s, from [Network.Phase]; times the speed of
// light it is the electrical length. At 0 Hz it is the group delay. The error
// is as for Phase.
func (n Network) PhaseDelay(i, j int) ([]float64, error) {
	phase, err := n.Phase(i, j)
	for k, f := range n.Frequency {
		phase[k] /= -2 * math.Pi * f
		if f == 0 {
			gd, _ := n.GroupDelay(i, j)
			phase[k] = gd[k]
		}
	}
	return phase, err
}

// GroupDelay returns −dφ/dω of S_ij in s: the derivative of the parabola through
// the phase at three neighbouring frequencies (two, for a network of two), exact for a phase quadratic in
// frequency on any spacing. It needs two frequencies at least. The error is as for [Network.Phase].
func (n Network) GroupDelay(i, j int) ([]float64, error) {
	f := n.Frequency
	if len(f) < 2 {
		return nil, fault("group delay", ErrSampling, "give two frequencies at least", "%d frequencies", len(f))
	}
	phase, err := n.Phase(i, j)
	gd := make([]float64, len(f))
	slope := func(k int) float64 { return (phase[k+1] - phase[k]) / (f[k+1] - f[k]) }
	for k := range f {
		switch m := min(max(k, 1), len(f)-2); { // middle of the three points
		case len(f) == 2:
			gd[k] = slope(0)
		default:
			left, right := slope(m-1), slope(m)
			bend := (right - left) / (f[m+1] - f[m-1])
			gd[k] = left + bend*(2*f[k]-f[m]-f[m-1])
		}
		gd[k] /= -2 * math.Pi
	}
	return gd, err
}
