package network

import "math"

// VSWR returns the voltage standing wave ratio (1+ρ)/(1−ρ) of a reflection of magnitude rho.
//
// Source: [pozar2012] eq. 2.41.
func VSWR(rho float64) float64 { return (1 + rho) / (1 - rho) }

// FromVSWR returns the reflection magnitude (s−1)/(s+1) of a VSWR.
func FromVSWR(s float64) float64 { return (s - 1) / (s + 1) }

// ReturnLoss returns −20 log ρ, in dB, positive.
//
// Source: [pozar2012] eq. 2.38.
func ReturnLoss(rho float64) float64 { return -20 * math.Log10(rho) }

// FromReturnLoss returns the reflection magnitude of a return loss in dB.
func FromReturnLoss(db float64) float64 { return math.Pow(10, -db/20) }

// MismatchLoss returns −10 log(1−ρ²), in dB: the power that a matched source
// does not deliver to a load of reflection magnitude rho.
func MismatchLoss(rho float64) float64 { return -10 * math.Log1p(-rho*rho) / math.Ln10 }

// VSWRLimits returns the least and greatest VSWR of two mismatches joined by a
// lossless line of unknown length: the ratio, larger to smaller, and the product.
//
// Source: [ragan1948].
func VSWRLimits(s1, s2 float64) (least, greatest float64) {
	return max(s1, s2) / min(s1, s2), s1 * s2
}

// Ripple is what two reflections of unknown phase do to the transmission
// between them.
type Ripple struct {
	High  float64 // dB, ≥ 0: transmission with the reflections in phase, against none
	Low   float64 // dB, ≤ 0: in opposition
	Phase float64 // rad: the transmission's phase varies by ± this
}

// NewRipple returns the ripple of reflections of magnitude rho1 and rho2 with
// a line of one-way attenuation loss, in Np, between them. The transmission is
// that of the two alone divided by 1 − ρ1 ρ2 e^{−2·loss} e^{jθ}; so High is
// −20 log(1−x), Low −20 log(1+x), Phase arcsin x, x = ρ1 ρ2 e^{−2·loss}.
//
// Source: exact for two reflections; the usual first-order form is
// 20 log(1±x), which differs by x² in the limits.
func NewRipple(rho1, rho2, loss float64) Ripple {
	x := rho1 * rho2 * math.Exp(-2*loss)
	return Ripple{High: -20 * math.Log1p(-x) / math.Ln10, Low: -20 * math.Log1p(x) / math.Ln10, Phase: math.Asin(x)}
}

// PeakToPeak returns High − Low, in dB.
func (r Ripple) PeakToPeak() float64 { return r.High - r.Low }

// RipplePeriod returns the period over frequency, in Hz, of the ripple of two
// reflections a delay apart (one way, in s): 1/(2·delay). A sweep that is to
// show it needs steps of a quarter of that at most, and a limit on ripple a
// window of one period at least (common practice).
func RipplePeriod(delay float64) float64 { return 1 / (2 * delay) }

// MismatchUncertainty holds the error of a power measurement, or of a transmission
// measurement, from the reflections of source and load when only
// their magnitudes are known.
type MismatchUncertainty struct {
	Plus, Minus float64 // dB: the limits 20 log(1 ± ρs ρl)
	Standard    float64 // dB: standard uncertainty of the U-shaped distribution between them, to first order
}

// NewMismatchUncertainty returns the mismatch uncertainty of a source and a load of
// reflection magnitudes source and load.
//
// Source: limits and U-shaped distribution [harris1981]; the standard
// uncertainty is (20/ln 10)·ρs ρl/√2.
func NewMismatchUncertainty(source, load float64) MismatchUncertainty {
	x := source * load
	return MismatchUncertainty{
		Plus:     20 * math.Log1p(x) / math.Ln10,
		Minus:    20 * math.Log1p(-x) / math.Ln10,
		Standard: 20 / math.Ln10 * x / math.Sqrt2,
	}
}

// DirectivityError returns how far a return loss of magnitude rho can read too
// high and too low, in dB, when an error wave of magnitude directivity adds to it in the
// worst phase: −20 log(1 ∓ D/ρ). When D ≥ ρ the reading can be anything: high is +Inf.
//
// Source: vector addition of the two waves; reference rows measurement-d020, d021.
func DirectivityError(rho, directivity float64) (high, low float64) {
	x := directivity / rho
	if x >= 1 {
		high = math.Inf(1)
	} else {
		high = -20 * math.Log1p(-x) / math.Ln10
	}
	return high, -20 * math.Log1p(x) / math.Ln10
}

// OnePort holds the residual errors of a one-port measurement after
// calibration, as magnitudes.
type OnePort struct {
	Directivity, SourceMatch, Tracking float64
}

// WorstCase returns the greatest error of a measured reflection of magnitude
// rho: D + T ρ + M ρ², to first order in the residuals.
//
// Source: residual error model of [euramet12] (formula from memory); reference row measurement-d022.
func (p OnePort) WorstCase(rho float64) float64 {
	return p.Directivity + p.Tracking*rho + p.SourceMatch*rho*rho
}
