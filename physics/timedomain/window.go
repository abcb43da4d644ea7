package timedomain

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// A Window weighs the frequencies of a sweep: w(u) with u from −1 to 1, from one
// end of the sweep to the other, 0 in its middle (0 Hz for a low-pass transform),
// even, w(0) = 1. A narrower window lowers side lobes and widens the response.
// Nil, the zero value, is Kaiser(6).
type Window func(u float64) float64

// Rectangular weighs all frequencies alike. Its response is the narrowest, and
// rings: side lobes 13 dB down, 9 % overshoot of a step.
func Rectangular(u float64) float64 { return 1 }

// Hann is ½(1 + cos πu).
//
// Source: [harris1978] eq. 27.
func Hann(u float64) float64 { return 0.5 * (1 + math.Cos(math.Pi*u)) }

// BlackmanHarris is the four-term window of 92 dB side lobes.
//
// Source: coefficients of [harris1978] §V.E, minimum four-term.
func BlackmanHarris(u float64) float64 {
	x := math.Pi * u
	return 0.35875 + 0.48829*math.Cos(x) + 0.14128*math.Cos(2*x) + 0.01168*math.Cos(3*x)
}

// Kaiser returns the window I0(β√(1−u²))/I0(β). β = 0 is rectangular; [harris1978]
// calls β/π α.
//
// Source: [kaiser1980]; [harris1978] eq. 46.
func Kaiser(beta float64) Window {
	scale := 1 / besselI0(beta)
	return func(u float64) float64 { return scale * besselI0(beta*math.Sqrt(math.Max(0, 1-u*u))) }
}

// KaiserFor returns the Kaiser window whose highest side lobe lies sidelobe dB
// below the peak, sidelobe from 13.26 to 120:
//
//	β = 0.76609 (A−13.26)^0.4 + 0.09834 (A−13.26)    13.26 < A ≤ 60
//	β = 0.12438 (A+6.3)                                 60 < A ≤ 120
//
// Below 13.26 dB it is rectangular.
//
// Source: [kaiser1980], coefficients from memory; TestKaiserFor finds the side
// lobes within 0.5 dB of what is asked.
func KaiserFor(sidelobe float64) Window {
	switch a := sidelobe - 13.26; {
	case sidelobe > 60:
		return Kaiser(0.12438 * (sidelobe + 6.3))
	case a > 0:
		return Kaiser(0.76609*math.Pow(a, 0.4) + 0.09834*a)
	}
	return Rectangular
}

// besselI0 is the modified Bessel function I0 by its power series, whose terms
// are all positive, so that nothing cancels.
//
// Source: [abramowitz1964] eq. 9.6.12.
func besselI0(x float64) float64 {
	q, term, sum := x*x/4, 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= q / (k * k)
		sum += term
	}
	return sum
}

func (w Window) orDefault() Window {
	if w == nil {
		return Kaiser(6)
	}
	return w
}

// Figures are what a window does to an ideal response. Widths are in units of
// 1/span.
type Figures struct {
	CoherentGain   float64 // mean of w over the sweep
	NoiseBandwidth float64 // equivalent noise bandwidth, in frequency steps ("bins")
	HalfWidth      float64 // width of an impulse at half its amplitude
	Rise           float64 // 10 to 90 % rise of a low-pass step
	SideLobe       float64 // highest side lobe of the impulse, dB under its peak, positive
	Overshoot      float64 // of a low-pass step, as a ratio of it
}

// Figures returns the figures of w, from its continuous transform
//
//	K(x) = ∫₀¹ w(u) cos πxu du / ∫₀¹ w(u) du        x = time · span
//
// Side lobes are sought up to x = 24. Values for a sweep of many points; those
// printed in [harris1978] Table I are met in TestHarrisTable.
func (w Window) Figures() Figures {
	w = w.orDefault()
	const n = 400
	u, weight := make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(u, weight, 0, 1)
	var area, square float64
	for i := range u {
		v := w(u[i])
		area += weight[i] * v
		square += weight[i] * v * v
		weight[i] *= v
	}
	kernel := func(x float64) float64 {
		s := 0.0
		for i := range u {
			s += weight[i] * math.Cos(math.Pi*x*u[i])
		}
		return s / area
	}
	step := func(x float64) float64 {
		s := 0.5
		for i := range u {
			s += weight[i] * math.Sin(math.Pi*x*u[i]) / (math.Pi * u[i])
		}
		return s
	}
	f := Figures{CoherentGain: area, NoiseBandwidth: square / (area * area)}
	f.HalfWidth = 2 * crossing(func(x float64) float64 { return 0.5 - kernel(x) })
	f.Rise = 2 * crossing(func(x float64) float64 { return step(x) - 0.9 })
	const dx = 1. / 64
	lobe, where, over := 0.0, 0.0, 0.0
	main := true // still falling from the peak
	for x, last := dx, 1.0; x < 24; x += dx {
		k := math.Abs(kernel(x))
		main = main && k < last
		if !main && k > lobe {
			lobe, where = k, x
		}
		last = k
		over = math.Max(over, step(x)-1)
	}
	for x := where - dx; x < where+dx; x += dx / 64 {
		lobe = math.Max(lobe, math.Abs(kernel(x)))
	}
	f.SideLobe, f.Overshoot = -20*math.Log10(lobe), over
	return f
}

// crossing returns the least positive root of g, which is negative at 0.
func crossing(g func(float64) float64) float64 {
	hi := 1. / 16
	for g(hi) < 0 && hi < 64 {
		hi += 1. / 16
	}
	lo := hi - 1./16
	for range 60 {
		if m := (lo + hi) / 2; g(m) < 0 {
			lo = m
		} else {
			hi = m
		}
	}
	return hi
}

// A Resolution is what a sweep and a window can tell apart.
type Resolution struct {
	Cell      float64 // s: 1/span, the usual figure, before the window widens it
	Impulse   float64 // s: width of an impulse at half its amplitude
	Rise      float64 // s: 10 to 90 % rise of a low-pass step
	AliasFree float64 // s: 1/step, the time after which every response repeats
}

// Resolution returns what a sweep of the given span and step, in Hz, can tell
// apart. The span of a low-pass transform is 2·f_max, for it uses the negative
// frequencies too; of a band-pass transform it is f_max − f_min.
//
// In a reflection a time is a distance of half the velocity: 1/span at 67 GHz
// is 15 ps, which in air is 2.2 mm, before the window.
func (w Window) Resolution(span, step float64) Resolution {
	f := w.Figures()
	return Resolution{Cell: 1 / span, Impulse: f.HalfWidth / span, Rise: f.Rise / span, AliasFree: 1 / step}
}
