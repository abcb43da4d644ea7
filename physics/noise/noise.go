// Package noise computes what lossy parts do to the noise of a receiver: the
// temperature of a passive part, the cascade of stages, and the cost of loss
// ahead of the first amplifier.
//
// Noise temperatures are in kelvin, referred to the input of the part they belong
// to. Gains are available power gains, ratios, not dB. The Rayleigh-Jeans
// law P = k T B stands behind all of it; at 110 GHz it is 1 % off at 290 K and
// more when colder.
package noise

import "math"

// T0 is the standard noise temperature, K. Source: [friis1944].
const T0 = 290.0

// Stage is one element of a receiving chain.
type Stage struct {
	Gain        float64 // available power gain, ratio; below 1 for a loss
	Temperature float64 // equivalent input noise temperature, K
}

// Passive returns a matched or mismatched passive part of available gain g,
// 0 < g ≤ 1, at the physical temperature t, in K:
//
//	Te = (1/g − 1) T
//
// With a matched source g is |S21|²/(1 − |S22|²); for a matched loss it is 1/L,
// so Te = (L − 1) T. A part that is not at one temperature is a cascade of
// slices.
//
// Source: [pozar2012] §10.2; [bosma1967] for the mismatched part.
func Passive(g, t float64) Stage { return Stage{Gain: g, Temperature: (1/g - 1) * t} }

// AvailableGain returns the available gain of a two-port fed by a source that
// matches its reference impedance: |S21|²/(1 − |S22|²).
//
// Source: [pozar2012] §12.1, with ΓS = 0.
func AvailableGain(s21, s22 complex128) float64 {
	return (real(s21)*real(s21) + imag(s21)*imag(s21)) / (1 - real(s22)*real(s22) - imag(s22)*imag(s22))
}

// FromFigure returns the stage of gain g whose noise figure is f, a ratio:
// Te = (F − 1) T0.
func FromFigure(g, f float64) Stage { return Stage{Gain: g, Temperature: (f - 1) * T0} }

// Figure returns the noise figure, a ratio, 1 + Te/T0.
func (s Stage) Figure() float64 { return 1 + s.Temperature/T0 }

// Output returns the available noise temperature, K, at the stage's output
// when the source has temperature ts, in K: G (ts + Te). For a matched loss L
// at T it is ts/L + T (1 − 1/L).
func (s Stage) Output(ts float64) float64 { return s.Gain * (ts + s.Temperature) }

// Cascade returns the stages, the first one at the source, as one stage:
//
//	Te = T1 + T2/G1 + T3/(G1 G2) + …
//
// Source: [friis1944].
func Cascade(stages ...Stage) Stage {
	sum := Stage{Gain: 1}
	for _, s := range stages {
		sum.Temperature += s.Temperature / sum.Gain
		sum.Gain *= s.Gain
	}
	return sum
}

// Degradation returns the ratio by which a stage ahead of a receiver of input
// noise temperature tr lowers the ratio of signal to noise for a source of
// temperature ts, both in K:
//
//	[ts + Te + tr/G]/[ts + tr]
//
// For a matched loss at 290 K and ts = 290 K it is the loss itself, dB for dB;
// it is more when the loss is hotter or the source colder.
func (s Stage) Degradation(ts, tr float64) float64 {
	return (ts + s.Temperature + tr/s.Gain) / (ts + tr)
}

// RayleighJeans returns the ratio of the power per hertz, h f/(e^(hf/kT) − 1), that
// a matched body at temperature t, in K, truly radiates at f, in Hz, to k T. It
// tells how far this package may be trusted.
//
// Source: Planck's law with h and k of the SI of 2019.
func RayleighJeans(f, t float64) float64 {
	const hOverK = 6.62607015e-34 / 1.380649e-23 // K/Hz
	x := hOverK * f / t
	if x == 0 {
		return 1
	}
	return x / math.Expm1(x)
}
