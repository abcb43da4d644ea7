package material

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Dielectric is a homogeneous, isotropic, non-magnetic insulator. The zero
// value is vacuum.
type Dielectric struct {
	// Permittivity ε′ relative to vacuum; zero stands for 1.
	Permittivity float64
	// LossTangent tan δ = ε″/ε′.
	LossTangent float64
	// FittedAt is the frequency, in Hz, at which both numbers stand. Above
	// zero, both follow the wideband Debye law through that point (see
	// [FitWidebandDebye]). Zero: both are the same at all frequencies, which
	// is simple but not causal once LossTangent > 0.
	FittedAt float64
	// TemperatureCoefficient of ε′, 1/K about 293.15 K: ε′(T) =
	// ε′(1 + τ(T − 293.15 K)). A single number does not describe solid PTFE
	// between 0 °C and 40 °C.
	TemperatureCoefficient float64
	// LossCoefficient is the same for tan δ, 1/K.
	LossCoefficient float64
	// Temperature in K; zero stands for 293.15 K.
	Temperature float64
}

// Check reports every value that makes no sense, or nil.
func (d Dielectric) Check() error {
	at := d.atTemperature()
	switch {
	case d.Permittivity != 0 && !(d.Permittivity >= 1) || math.IsInf(d.Permittivity, 0):
		return fmt.Errorf("permittivity is %g; it must be 1 or above", d.Permittivity)
	case !(d.LossTangent >= 0) || math.IsInf(d.LossTangent, 0):
		return fmt.Errorf("loss tangent is %g; it must be 0 or above", d.LossTangent)
	case !(d.FittedAt >= 0) || math.IsInf(d.FittedAt, 0):
		return fmt.Errorf("the frequency of the fit is %g Hz; it must be above 0, or 0 for constant values", d.FittedAt)
	case !(d.Temperature >= 0) || math.IsInf(d.Temperature, 0):
		return fmt.Errorf("temperature is %g K; it must be above 0, or 0 for 293.15 K", d.Temperature)
	case !(at.Permittivity > 0) || !(at.LossTangent >= 0):
		return fmt.Errorf("at %g K permittivity becomes %g and loss tangent %g: the coefficients do not reach that far", d.Temperature, at.Permittivity, at.LossTangent)
	}
	if d.FittedAt > 0 {
		if w := FitWidebandDebye(at.Permittivity, at.LossTangent, d.FittedAt); !(w.Infinite > 0) {
			return fmt.Errorf("wideband Debye through %g, tan δ %g at %g Hz gives a permittivity of %g at high frequency; the loss is too high for this law", at.Permittivity, at.LossTangent, d.FittedAt, w.Infinite)
		}
	}
	return nil
}

// atTemperature returns ε′ and tan δ at d's temperature as plain numbers.
func (d Dielectric) atTemperature() Dielectric {
	if d.Permittivity == 0 {
		d.Permittivity = 1
	}
	if d.Temperature != 0 {
		dt := d.Temperature - ReferenceTemperature
		d.Permittivity *= 1 + d.TemperatureCoefficient*dt
		d.LossTangent *= 1 + d.LossCoefficient*dt
	}
	return d
}

// At returns the complex relative permittivity ε = ε′ − jε″ at frequency f,
// in Hz.
func (d Dielectric) At(f float64) complex128 {
	t := d.atTemperature()
	if d.FittedAt > 0 && t.LossTangent > 0 {
		return FitWidebandDebye(t.Permittivity, t.LossTangent, d.FittedAt).At(f)
	}
	return complex(t.Permittivity, -t.Permittivity*t.LossTangent)
}

// Corners of the wideband Debye law, Hz: loss is flat in between.
const (
	debyeLow  = 1e4
	debyeHigh = 1e12
)

// WidebandDebye is a continuous band of Debye relaxations with equal weight
// per decade between Low and High:
//
//	ε(f) = ε∞ + a ln((f2 + jf)/(f1 + jf))
//
// ε″ is nearly constant in the band and ε′ falls by a ln 10 per decade, which
// is what laminates do. The law is causal at every frequency and passive.
//
// Source: [djordjevic2001], whose Δε/(m2−m1) is a ln 10.
type WidebandDebye struct {
	Infinite  float64 // ε∞
	Slope     float64 // a
	Low, High float64 // f1, f2, Hz
}

// FitWidebandDebye returns the law with corners 10 kHz and 1 THz that passes
// through permittivity and lossTangent at frequency f0, in Hz.
func FitWidebandDebye(permittivity, lossTangent, f0 float64) WidebandDebye {
	a := permittivity * lossTangent / (math.Atan(f0/debyeLow) - math.Atan(f0/debyeHigh))
	inf := permittivity - a/2*math.Log((debyeHigh*debyeHigh+f0*f0)/(debyeLow*debyeLow+f0*f0))
	return WidebandDebye{Infinite: inf, Slope: a, Low: debyeLow, High: debyeHigh}
}

// At returns the complex relative permittivity at frequency f, in Hz; f = 0 is
// the static value.
func (w WidebandDebye) At(f float64) complex128 {
	return complex(w.Infinite, 0) + complex(w.Slope, 0)*cmplx.Log(complex(w.High, f)/complex(w.Low, f))
}

// PerDecade returns the fall of ε′ per decade of frequency inside the band.
func (w WidebandDebye) PerDecade() float64 { return w.Slope * math.Ln10 }

// Temperatures at which crystals of PTFE change form, in K: at the first the
// volume steps by about 1 to 1.8 %, and cables with solid PTFE show a knee of
// phase against temperature. Source: [sperati1961].
const (
	PTFELowerTransition = 273.15 + 19
	PTFEUpperTransition = 273.15 + 30
)

// PTFEPermittivity returns the relative permittivity of PTFE of relative
// density (that of water = 1), solid or expanded:
//
//	ε = (1 + 2Kd)/(1 − Kd)    K = 0.119
//
// This is the Clausius-Mossotti law with a constant fitted at d = 2.174,
// ε = 2.05. Density falls as PTFE warms, so permittivity falls too; with the
// free expansion of 119e-6/K at 20 °C of [springerdata] by −246e-6 per kelvin. The dielectric of a
// cable is held by its braid and jacket and moves less: for a cable use its
// measured curve, never one coefficient across 0 °C to 40 °C.
//
// Source: [ehrlich1953] as quoted by a PTFE maker's data page.
func PTFEPermittivity(density float64) float64 {
	const k = 0.119
	return (1 + 2*k*density) / (1 - k*density)
}

// AirPermittivity returns the relative permittivity of air at temperature
// kelvin, pressure and partial pressure of water vapour, both in Pa, from its
// refractivity:
//
//	(n−1)·1e6 = 77.6/T · (p + 4810 e/T)    p, e in hPa;  ε = n²
//
// It holds to 0.5 % of ε − 1 up to about 30 GHz, and well beyond away from
// the absorption lines of water and oxygen.
//
// Source: [smith1953].
func AirPermittivity(kelvin, pressure, vapourPressure float64) float64 {
	n := 1 + 77.6e-6/kelvin*(pressure/100+4810*vapourPressure/100/kelvin)
	return n * n
}
