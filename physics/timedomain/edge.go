package timedomain

import (
	"math"
	"math/cmplx"
)

// An Edge is the shape of an incident voltage edge from 0 to 1. A [Ramp] and a
// [Gaussian] with the same number are not the same edge, and their zero of time
// differs.
type Edge interface {
	At(t float64) float64          // its value at time t, in s
	Spectrum(f float64) complex128 // transform of its slope, 1 at 0 Hz; f in Hz
	Decay(t, tau float64) float64  // at time t, what a circuit makes of it that turns an ideal step into e^{−t/τ}; s
}

// Step is the ideal edge. Never look at a response to it exactly at an echo,
// where it has two values.
type Step struct{}

func (Step) At(t float64) float64 {
	if t < 0 {
		return 0
	}
	return 1
}

func (Step) Spectrum(float64) complex128 { return 1 }

func (Step) Decay(t, tau float64) float64 {
	if t < 0 {
		return 0
	}
	return math.Exp(-t / tau)
}

// Ramp rises on a straight line from t = 0 to its full Duration, in s; 10 to
// 90 % takes 0.8 of that.
type Ramp struct{ Duration float64 }

func (r Ramp) At(t float64) float64 {
	if r.Duration == 0 {
		return Step{}.At(t)
	}
	return math.Min(1, math.Max(0, t/r.Duration))
}

// Spectrum is sin(πfT)/(πfT) · e^{−jπfT}.
func (r Ramp) Spectrum(f float64) complex128 {
	x := math.Pi * f * r.Duration
	if x == 0 {
		return 1
	}
	return cmplx.Rect(math.Sin(x)/x, -x)
}

// Decay is [G(t) − G(t−T)]/T with G(x) = τ(1 − e^{−x/τ}) for x > 0.
func (r Ramp) Decay(t, tau float64) float64 {
	if r.Duration == 0 {
		return Step{}.Decay(t, tau)
	}
	g := func(x float64) float64 { return -tau * math.Expm1(-math.Max(0, x)/tau) }
	return (g(t) - g(t-r.Duration)) / r.Duration
}

// Gaussian is the integral of a Gaussian pulse, ½ erfc(−t/σ√2), whose 10 to
// 90 % Rise, in s, is 2.5631 σ. Half its height is at t = 0; it has begun before.
type Gaussian struct{ Rise float64 }

// normal90 is the 90 % point of the standard normal distribution.
const normal90 = 1.2815515655446004

func (g Gaussian) sigma() float64 { return g.Rise / (2 * normal90) }

func (g Gaussian) At(t float64) float64 {
	if g.Rise == 0 {
		return Step{}.At(t)
	}
	return 0.5 * math.Erfc(-t/(g.sigma()*math.Sqrt2))
}

// Spectrum is e^{−(2πfσ)²/2}.
func (g Gaussian) Spectrum(f float64) complex128 {
	x := 2 * math.Pi * f * g.sigma()
	return complex(math.Exp(-x*x/2), 0)
}

// Decay is ½ e^{σ²/2τ² − t/τ} erfc((σ/τ − t/σ)/√2).
func (g Gaussian) Decay(t, tau float64) float64 {
	if g.Rise == 0 {
		return Step{}.Decay(t, tau)
	}
	s := g.sigma()
	z := (s/tau - t/s) / math.Sqrt2
	if z < 5 {
		return 0.5 * math.Exp(s*s/(2*tau*tau)-t/tau) * math.Erfc(z)
	}
	// e^{z²} erfc(z) by its continued fraction [abramowitz1964] eq. 7.1.14, lest ∞·0 come out
	c := z
	for k := 40; k >= 1; k-- {
		c = z + float64(k)/2/c
	}
	return 0.5 * math.Exp(-t*t/(2*s*s)) / (c * math.Sqrt(math.Pi))
}

// SinglePoleRise returns the 10 to 90 % rise, in s, of a single pole of 3 dB
// bandwidth bw, in Hz: ln 9/(2π bw), the trade's 0.35/bw.
func SinglePoleRise(bw float64) float64 { return math.Log(9) / (2 * math.Pi * bw) }

// CombinedRise returns the root of the sum of the squared rise times: exact for
// Gaussian responses in a chain, usual for others.
func CombinedRise(rise ...float64) float64 {
	s := 0.0
	for _, r := range rise {
		s = math.Hypot(s, r)
	}
	return s
}

// A Lump is a single reactance between matched lines: it turns an ideal step
// into the reflection Sign·e^{−t/Tau}.
//
// Source: [oliver1964]; [pozar2012] has the circuit.
type Lump struct {
	Tau  float64 // s
	Sign float64 // −1 for a shunt capacitance, +1 for a series inductance
}

// ShuntCapacitance returns the Lump of a capacitance c, in F, across a line of
// impedance z0, in Ω: τ = Z0 C/2.
func ShuntCapacitance(c, z0 float64) Lump { return Lump{z0 * c / 2, -1} }

// SeriesInductance returns the Lump of an inductance l, in H, in series with a
// line of impedance z0, in Ω: τ = L/2Z0.
func SeriesInductance(l, z0 float64) Lump { return Lump{l / (2 * z0), 1} }

// Response returns the reflection of edge e at time t, in s, the plane being
// at the reactance.
func (l Lump) Response(e Edge, t float64) float64 { return l.Sign * e.Decay(t, l.Tau) }

// Area returns ∫ρ dt, in s, which is the same for every edge: −Z0 C/2 or L/2Z0.
func (l Lump) Area() float64 { return l.Sign * l.Tau }

// Peak returns the greatest reflection of a ramp of the given full duration, in s,
// (τ/T)(1 − e^{−T/τ}), reached at its end.
func (l Lump) Peak(duration float64) float64 { return l.Response(Ramp{duration}, duration) }

// ExcessCapacitance returns the capacitance, in F, whose dip has the given area
// ∫ρ dt, in s, negative, on a line of impedance z0. It holds for any edge, and to
// first order for a short low-impedance stretch instead of a lump.
func ExcessCapacitance(area, z0 float64) float64 { return -2 * area / z0 }

// ExcessInductance returns the inductance, in H, whose peak has the given area
// ∫ρ dt, in s, on a line of impedance z0.
func ExcessInductance(area, z0 float64) float64 { return 2 * z0 * area }
