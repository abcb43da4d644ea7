package timedomain

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// A Gate keeps what arrives between two times and rejects the rest, or the other
// way about. Its flanks are half cosines.
//
// A gate is a quick view, not a removal of fixtures. It keeps the multiple
// reflections that fall into it; what it shows behind a first reflection ρ is lower by
// 1 − ρ² and by the loss before it; and near the ends of the sweep it lacks the
// frequencies it would mix in ([Gated.Bound]).
type Gate struct {
	Start, Stop float64 // s, where the gate passes half
	Edge        float64 // s, length of each flank; 0 is half of Stop − Start, its most is all of it
	Reject      bool    // reject what is between instead
	Raw         bool    // leave out the correction for missing frequencies: the ends then fall by 6 dB
}

// Gated is a sweep seen through a gate.
type Gated struct {
	Value []complex128

	// Bound is the most, at each frequency, by which Value can differ from what an
	// endless sweep through the same gate would give, if no |S| outside the sweep
	// exceeds 1. It is largest at the ends and pessimistic where S falls off; a
	// single reflection in the middle of the gate has no such error at all.
	Bound []float64
}

// spectrum returns the transform, in s, of the gate moved to time zero: a
// rectangle of the half-height width T with half-cosine flanks τ,
//
//	G(f) = sin(πfT)/πf · cos(πfτ)/(1 − (2fτ)²)
func (g Gate) spectrum(f float64) float64 {
	t, tau := g.Stop-g.Start, g.flank()
	if f == 0 {
		return t
	}
	x := 2 * f * tau
	roll := math.Pi / 4 // its limit at x = ±1
	if d := 1 - x*x; math.Abs(d) > 1e-9 {
		roll = math.Cos(math.Pi*x/2) / d
	}
	return math.Sin(math.Pi*f*t) / (math.Pi * f) * roll
}

func (g Gate) flank() float64 {
	if g.Edge == 0 {
		return (g.Stop - g.Start) / 2
	}
	return g.Edge
}

// At returns what the gate passes at time t, in s, from 0 to 1.
func (g Gate) At(t float64) float64 {
	x := (g.Stop-g.Start)/2 - math.Abs(t-(g.Start+g.Stop)/2) // how far inside the half-height
	v := 1.0
	switch tau := g.flank(); {
	case x <= -tau/2:
		v = 0
	case x < tau/2:
		v = 0.5 * (1 + math.Sin(math.Pi*x/tau))
	}
	if g.Reject {
		return 1 - v
	}
	return v
}

// Apply returns s, over evenly spaced frequencies in Hz, through the gate:
//
//	S'(f_n) = (Δf/N_n) Σ_m S_m G(f_n − f_m) e^{−j2π(f_n−f_m)t_c}        N_n = Δf Σ_m G(f_n − f_m)
//
// with t_c the middle of the gate and N the correction for the frequencies the sweep
// lacks: it makes a single reflection in the middle of the gate right at
// every frequency. The gate repeats with the period 1/Δf, as every response does.
//
// For a sweep down to 0 Hz use [Spectrum.Gate], which has only one end.
//
// Source: gating with renormalisation as in [dunsmore2020] ch. 4 (from memory);
// spectrum and bound derived here.
func (g Gate) Apply(frequency []float64, s []complex128) (Gated, error) {
	step, err := evenStep("gate", frequency, len(s))
	if err != nil {
		return Gated{}, err
	}
	return g.apply(step, s)
}

// Gate returns s through the gate, using the negative frequencies too: only
// the upper end lacks any. Bound is per harmonic.
func (s Spectrum) Gate(g Gate) (Spectrum, []float64, error) {
	last := len(s.S) - 1
	both := make([]complex128, 2*last+1)
	for n, v := range s.S {
		both[last-n], both[last+n] = cmplx.Conj(v), v
	}
	r, err := g.apply(s.Step, both)
	if err != nil {
		return Spectrum{}, nil, err
	}
	out := Spectrum{s.Step, r.Value[last:]}
	out.S[0] = complex(real(out.S[0]), 0)
	return out, r.Bound[last:], nil
}

func (g Gate) apply(step float64, s []complex128) (Gated, error) {
	if !(g.Stop > g.Start) || !(g.flank() > 0 && g.flank() <= (g.Stop-g.Start)*(1+1e-12)) {
		return Gated{}, fault("gate", ErrGate, "", "from %g to %g s, edge %g s", g.Start, g.Stop, g.Edge)
	}
	n := len(s)
	// Convolution with G at distances −(n−1) ... n−1, by the fast transform.
	size := smoothSize(3 * n)
	fft := fourier.NewCmplxFFT(size)
	kernel, x, y := make([]complex128, size), make([]complex128, size), make([]complex128, size)
	middle := (g.Start + g.Stop) / 2
	for d := -(n - 1); d < n; d++ {
		f := float64(d) * step
		kernel[(d+size)%size] = cmplx.Rect(step*g.spectrum(f), -2*math.Pi*math.Mod(f*middle, 1))
	}
	copy(x, s)
	fft.Coefficients(y, x)
	fft.Coefficients(x, kernel)
	for k := range y {
		y[k] *= x[k] / complex(float64(size), 0)
	}
	fft.Sequence(x, y)

	// Sums of G and |G| over distances 0 ... d, and of |G| beyond the farthest.
	reach := 4 * n
	sum, mag := make([]float64, reach+1), make([]float64, reach+1)
	for d := range sum {
		v := step * g.spectrum(float64(d)*step)
		sum[d], mag[d] = v, math.Abs(v)
		if d > 0 {
			sum[d] += sum[d-1]
			mag[d] += mag[d-1]
		}
	}
	// Farther, |G| ≤ 1/(πf((2fτ)²−1)): with x = 2fτ the integral is −ln(1 − 1/x²)/2π.
	tail := math.Inf(1)
	if v := 2 * g.flank() * float64(reach) * step; v > 1 {
		tail = -math.Log1p(-1/(v*v)) / (2 * math.Pi)
	}
	out := Gated{make([]complex128, n), make([]float64, n)}
	for k := range s {
		norm := sum[k] + sum[n-1-k] - sum[0]
		missing := 2*mag[reach] - mag[k] - mag[n-1-k] + 2*tail
		v := x[k]
		if g.Raw {
			out.Value[k], out.Bound[k] = v, missing
		} else {
			out.Value[k] = v / complex(norm, 0)
			out.Bound[k] = (missing + math.Abs(1-norm)*(cmplx.Abs(v)+missing)) / math.Abs(norm)
		}
		if g.Reject {
			out.Value[k] = s[k] - out.Value[k]
		}
	}
	return out, nil
}
