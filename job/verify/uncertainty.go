package verify

import (
	"fmt"
	"math"

	"linewright/physics/network"
	"linewright/physics/units"
)

// Uncertainty is what is known of a measurement's uncertainty: stated directly,
// or as the residual errors that calibration leaves, from which it follows. A
// zero field was not stated.
type Uncertainty struct {
	Transmission units.Level // expanded, of |S21| in dB
	Reflection   float64     // expanded, of the magnitude |S11| or |S22|
	Coverage     float64     // k of the expanded uncertainties; 0: 2
	Residuals    Residuals
}

// Residuals are the errors that remain after calibration, as magnitudes: the
// largest they can be, with any phase.
type Residuals struct {
	Directivity  float64
	SourceMatch  float64
	LoadMatch    float64 // 0: as the directivity, which is usual after a calibration with the thru
	Tracking     float64 // of the reflection, relative
	Transmission float64 // tracking of the transmission, relative
	Connection   float64 // what a connection made again changes, as a vector, at each end
	Isolation    float64 // leakage and noise past the sample
}

// Stated says whether anything was.
func (u Uncertainty) Stated() bool {
	return u.Transmission != 0 || u.Reflection != 0 || u.Residuals != (Residuals{})
}

func (u Uncertainty) coverage() float64 {
	if u.Coverage == 0 {
		return 2
	}
	return u.Coverage
}

func (u Uncertainty) check() error {
	r := u.Residuals
	for name, x := range map[string]float64{"uncertainty of the transmission": float64(u.Transmission), "uncertainty of the reflection": u.Reflection, "coverage factor": u.Coverage,
		"directivity": r.Directivity, "source match": r.SourceMatch, "load match": r.LoadMatch, "tracking of the reflection": r.Tracking, "tracking of the transmission": r.Transmission,
		"connection": r.Connection, "isolation": r.Isolation} {
		if !(x >= 0) || math.IsInf(x, 0) {
			return fmt.Errorf("%s %g: a magnitude is not negative; write 0 where it is not known", name, x)
		}
	}
	for name, x := range map[string]float64{"directivity": r.Directivity, "source match": r.SourceMatch, "load match": r.LoadMatch, "connection": r.Connection, "isolation": r.Isolation} {
		if x >= 1 {
			return fmt.Errorf("%s of magnitude %g: no residual error reflects everything; a residual of 40 dB is 0.01", name, x)
		}
	}
	return nil
}

func (r Residuals) load() float64 {
	if r.LoadMatch == 0 {
		return r.Directivity
	}
	return r.LoadMatch
}

// ofReflection returns the standard uncertainty of a reflection of magnitude rho
// of a sample whose two-way transmission is |S21 S12| = through. NaN: not known.
//
// The one-port's errors are D + T ρ + M ρ² in magnitude, and the load behind a
// two-port adds L·|S21 S12|; each has its own unknown phase, so that its
// component along the reflection follows the arcsine law and counts with 1/√2:
//
//	u² = ½ [D² + (Tρ)² + (Mρ²)² + (L·S21S12)² + C² + (C·S21S12)²]
//
// with C what a connection changes at either end.
//
// Source: residual error model of [euramet12], two-port form [rytting2001];
// arcsine law [jcgm100] §4.3 and H, [harris1981].
func (u Uncertainty) ofReflection(rho, through float64) float64 {
	r := u.Residuals
	switch {
	case u.Reflection > 0:
		return u.Reflection / u.coverage()
	case r.Directivity == 0:
		return math.NaN()
	}
	return math.Sqrt(square(r.Directivity, r.Tracking*rho, r.SourceMatch*rho*rho, r.load()*through, r.Connection, r.Connection*through) / 2)
}

// worstReflection is the most by which a reflection can be wrong, every phase
// at its worst.
func (u Uncertainty) worstReflection(rho, through float64) float64 {
	r := u.Residuals
	if r.Directivity == 0 {
		return math.NaN()
	}
	return network.OnePort{Directivity: r.Directivity, SourceMatch: r.SourceMatch, Tracking: r.Tracking}.WorstCase(rho) + r.load()*through + r.Connection*(1+through)
}

// ofTransmission returns the standard uncertainty of a transmission's level, in
// dB. NaN: not known. With s11, s22 the sample's reflections and s21 its
// transmission as magnitudes, the relative error's terms are
//
//	u² = ½ [T² + (M S11)² + (L S22)² + (M L S21²)² + (I/S21)² + 2C²]        u_dB = 20/ln 10 · u
//
// tracking, mismatch with source and load, the path round both, leakage, and
// the connection at both ends.
//
// Source: mismatch terms of the two-port error model [rytting2001],
// [dunsmore2020] ch. 3 (from memory); arcsine law as above.
func (u Uncertainty) ofTransmission(s11, s22, s21 float64) float64 {
	r := u.Residuals
	switch {
	case u.Transmission > 0:
		return float64(u.Transmission) / u.coverage()
	case r.Transmission == 0:
		return math.NaN()
	}
	leak := 0.0
	if r.Isolation > 0 {
		leak = r.Isolation / s21
	}
	return decibelsPerNeper * math.Sqrt(square(r.Transmission, r.SourceMatch*s11, r.load()*s22, r.SourceMatch*r.load()*s21*s21, leak, math.Sqrt2*r.Connection)/2)
}

const decibelsPerNeper = units.DecibelsPerNeper

func square(xs ...float64) float64 {
	sum := 0.0
	for _, x := range xs {
		sum += x * x
	}
	return sum
}
