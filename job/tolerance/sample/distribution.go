package sample

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Distribution is that of one input. Samples are drawn by inversion: the
// quantile of a number uniform on (0, 1).
type Distribution interface {
	// Quantile returns the value below which the share p of the distribution
	// lies, 0 < p < 1. It grows with p.
	Quantile(p float64) float64
	// Expectation and StandardDeviation in the input's unit.
	Expectation() float64
	StandardDeviation() float64
	// Limits returns the ends of the distribution, infinite if it has none.
	Limits() (low, high float64)
	// Check reports parameters that make no distribution.
	Check() error
}

// Normal is the Gaussian distribution, for what is known by mean and standard
// uncertainty. Source: [jcgm101] §6.4.7.
type Normal struct{ Mean, Sigma float64 }

// Uniform is the rectangular distribution, for what is known by its limits
// alone. Source: [jcgm101] §6.4.2.
type Uniform struct{ Low, High float64 }

// Triangular has its peak at Mode. With Mode in the middle it is the sum of two
// equal rectangular ones. Source: [jcgm101] §6.4.5.
type Triangular struct{ Low, Mode, High float64 }

// Arcsine is U-shaped, for the value at a random time or phase of what swings as
// a sine between limits: a mismatch error of unknown phase, a cycling temperature.
// Source: [jcgm101] §6.4.6.
type Arcsine struct{ Low, High float64 }

// TruncatedNormal is a normal process that inspection has cut to limits. The
// standard deviation is that of the process before the cut.
type TruncatedNormal struct{ Mean, Sigma, Low, High float64 }

// CurvilinearTrapezoid is rectangular between limits that are themselves known
// only to ±Doubt, with the midpoint known: for a tolerance quoted to one digit. Source:
// [jcgm101] §6.4.3.
type CurvilinearTrapezoid struct{ Low, High, Doubt float64 }

// StudentT is the scaled and shifted t distribution of a mean of few observations:
// Mean, its standard uncertainty Scale = s/√n, and n − 1 degrees of freedom.
// Source: [jcgm101] §6.4.9.
type StudentT struct{ Mean, Scale, Freedom float64 }

// NormalQuantile returns the p-quantile of the standard normal distribution.
func NormalQuantile(p float64) float64 { return mathext.NormalQuantile(p) }

// NormalCDF returns the standard normal distribution function at z.
func NormalCDF(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

func normalPDF(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }

// Quantile returns Mean + Sigma·Φ⁻¹(p).
func (d Normal) Quantile(p float64) float64 { return d.Mean + d.Sigma*NormalQuantile(p) }

// Expectation returns the mean.
func (d Normal) Expectation() float64 { return d.Mean }

// StandardDeviation returns σ.
func (d Normal) StandardDeviation() float64 { return d.Sigma }

// Limits are infinite.
func (d Normal) Limits() (low, high float64) { return math.Inf(-1), math.Inf(1) }

// Check wants a finite mean and σ ≥ 0.
func (d Normal) Check() error {
	return want(finite(d.Mean, d.Sigma) && d.Sigma >= 0, "normal: mean %g, sigma %g: sigma must be zero or more, both finite", d.Mean, d.Sigma)
}

// Quantile returns Low + p (High − Low).
func (d Uniform) Quantile(p float64) float64 { return d.Low + p*(d.High-d.Low) }

// Expectation returns the middle.
func (d Uniform) Expectation() float64 { return (d.Low + d.High) / 2 }

// StandardDeviation returns the width over √12.
func (d Uniform) StandardDeviation() float64 { return (d.High - d.Low) / math.Sqrt(12) }

// Limits returns Low and High.
func (d Uniform) Limits() (low, high float64) { return d.Low, d.High }

// Check wants Low ≤ High.
func (d Uniform) Check() error {
	return want(finite(d.Low, d.High) && d.Low <= d.High, "rectangular: %g to %g: the low limit must not exceed the high one, both finite", d.Low, d.High)
}

// Quantile inverts the two parabolas of the distribution function.
func (d Triangular) Quantile(p float64) float64 {
	w, left := d.High-d.Low, d.Mode-d.Low
	if w == 0 {
		return d.Low
	}
	if p*w < left {
		return d.Low + math.Sqrt(p*w*left)
	}
	return d.High - math.Sqrt((1-p)*w*(d.High-d.Mode))
}

// Expectation returns the mean of the three corners.
func (d Triangular) Expectation() float64 { return (d.Low + d.Mode + d.High) / 3 }

// StandardDeviation returns √((a² + b² + c² − ab − ac − bc)/18).
func (d Triangular) StandardDeviation() float64 {
	x, y, z := d.Mode-d.Low, d.High-d.Mode, d.High-d.Low
	return math.Sqrt((x*x + y*y + z*z) / 36)
}

// Limits returns Low and High.
func (d Triangular) Limits() (low, high float64) { return d.Low, d.High }

// Check wants Low ≤ Mode ≤ High.
func (d Triangular) Check() error {
	return want(finite(d.Low, d.Mode, d.High) && d.Low <= d.Mode && d.Mode <= d.High, "triangular: %g, mode %g, %g: must be in this order and finite", d.Low, d.Mode, d.High)
}

// Quantile returns the middle − half width · cos πp.
func (d Arcsine) Quantile(p float64) float64 {
	return (d.Low+d.High)/2 - (d.High-d.Low)/2*math.Cos(math.Pi*p)
}

// Expectation returns the middle.
func (d Arcsine) Expectation() float64 { return (d.Low + d.High) / 2 }

// StandardDeviation returns the half width over √2.
func (d Arcsine) StandardDeviation() float64 { return (d.High - d.Low) / math.Sqrt(8) }

// Limits returns Low and High.
func (d Arcsine) Limits() (low, high float64) { return d.Low, d.High }

// Check wants Low ≤ High.
func (d Arcsine) Check() error {
	return want(finite(d.Low, d.High) && d.Low <= d.High, "arcsine: %g to %g: the low limit must not exceed the high one, both finite", d.Low, d.High)
}

// ends returns the cut in units of σ, mirrored so that the tail lies to the
// left, where the distribution function keeps its digits.
func (d TruncatedNormal) ends() (lo, hi, flip float64) {
	lo, hi, flip = (d.Low-d.Mean)/d.Sigma, (d.High-d.Mean)/d.Sigma, 1
	if lo > 0 {
		lo, hi, flip = -hi, -lo, -1
	}
	return lo, hi, flip
}

// Quantile returns the quantile of the cut distribution.
func (d TruncatedNormal) Quantile(p float64) float64 {
	lo, hi, flip := d.ends()
	if flip < 0 {
		p = 1 - p
	}
	a, b := NormalCDF(lo), NormalCDF(hi)
	x := d.Mean + d.Sigma*flip*NormalQuantile(a+p*(b-a))
	return math.Min(d.High, math.Max(d.Low, x))
}

// Expectation returns μ + σ (φ(α) − φ(β))/(Φ(β) − Φ(α)).
func (d TruncatedNormal) Expectation() float64 {
	lo, hi, flip := d.ends()
	return d.Mean + flip*d.Sigma*(normalPDF(lo)-normalPDF(hi))/(NormalCDF(hi)-NormalCDF(lo))
}

// StandardDeviation returns the standard deviation after the cut.
func (d TruncatedNormal) StandardDeviation() float64 {
	lo, hi, _ := d.ends()
	z := NormalCDF(hi) - NormalCDF(lo)
	m := (normalPDF(lo) - normalPDF(hi)) / z
	edge := func(x float64) float64 { // x φ(x), zero at infinity
		if math.IsInf(x, 0) {
			return 0
		}
		return x * normalPDF(x)
	}
	return d.Sigma * math.Sqrt(math.Max(0, 1+(edge(lo)-edge(hi))/z-m*m))
}

// Limits returns Low and High.
func (d TruncatedNormal) Limits() (low, high float64) { return d.Low, d.High }

// Check wants σ > 0 and a cut that keeps some of the distribution.
func (d TruncatedNormal) Check() error {
	lo, hi, _ := d.ends()
	ok := finite(d.Mean, d.Sigma) && d.Sigma > 0 && d.Low < d.High && NormalCDF(hi)-NormalCDF(lo) > 0
	return want(ok, "truncated normal: mean %g, sigma %g, cut to %g..%g: sigma must be positive and the cut must keep some of it", d.Mean, d.Sigma, d.Low, d.High)
}

// Quantile inverts the distribution function. Between the inner limits that is
// a straight line, beyond them, with W = half width + doubt and y = uW,
//
//	1 − F = W/(4d) [1 − u (1 − ln u)]
//
// is solved for u by Newton's rule, from the side where it converges without fail.
func (d CurvilinearTrapezoid) Quantile(p float64) float64 {
	mid, w := (d.Low+d.High)/2, (d.High-d.Low)/2
	if d.Doubt == 0 {
		return d.Low + p*(d.High-d.Low)
	}
	flip := 1.0
	if p < 0.5 {
		p, flip = 1-p, -1
	}
	out, in := w+d.Doubt, w-d.Doubt
	if in > 0 {
		if y := (p - 0.5) * 4 * d.Doubt / math.Log(out/in); y <= in {
			return mid + flip*y
		}
	}
	q := (1 - p) * 4 * d.Doubt / out // = h(u) = 1 − u (1 − ln u), falling and convex on (0, 1)
	u := 1e-300
	if in > 0 {
		u = in / out
	}
	for range 200 {
		next := u - (1-u*(1-math.Log(u))-q)/math.Log(u)
		if !(next > u) { // the last digit
			break
		}
		u = next
	}
	return mid + flip*out*math.Min(1, u)
}

// Expectation returns the middle.
func (d CurvilinearTrapezoid) Expectation() float64 { return (d.Low + d.High) / 2 }

// StandardDeviation returns √((High − Low)²/12 + Doubt²/9).
func (d CurvilinearTrapezoid) StandardDeviation() float64 {
	w := d.High - d.Low
	return math.Sqrt(w*w/12 + d.Doubt*d.Doubt/9)
}

// Limits returns the outer limits, Low − Doubt and High + Doubt.
func (d CurvilinearTrapezoid) Limits() (low, high float64) { return d.Low - d.Doubt, d.High + d.Doubt }

// Check wants 0 ≤ Doubt ≤ half the width.
func (d CurvilinearTrapezoid) Check() error {
	return want(finite(d.Low, d.High, d.Doubt) && d.Low <= d.High && d.Doubt >= 0 && 2*d.Doubt <= d.High-d.Low,
		"curvilinear trapezoid: %g to %g, doubt %g: the doubt must lie between zero and half the width", d.Low, d.High, d.Doubt)
}

// Quantile returns Mean + Scale·t_p(Freedom).
func (d StudentT) Quantile(p float64) float64 {
	return distuv.StudentsT{Mu: d.Mean, Sigma: d.Scale, Nu: d.Freedom}.Quantile(p)
}

// Expectation returns the mean; it exists for more than one degree of freedom.
func (d StudentT) Expectation() float64 { return d.Mean }

// StandardDeviation returns Scale·√(ν/(ν − 2)), infinite up to two degrees of freedom.
func (d StudentT) StandardDeviation() float64 {
	if d.Freedom <= 2 {
		return math.Inf(1)
	}
	return d.Scale * math.Sqrt(d.Freedom/(d.Freedom-2))
}

// Limits are infinite.
func (d StudentT) Limits() (low, high float64) { return math.Inf(-1), math.Inf(1) }

// Check wants Scale ≥ 0 and more than one degree of freedom.
func (d StudentT) Check() error {
	return want(finite(d.Mean, d.Scale) && d.Scale >= 0 && d.Freedom > 1,
		"t: mean %g, scale %g, %g degrees of freedom: the scale must not be negative, the freedom above 1", d.Mean, d.Scale, d.Freedom)
}

func finite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

func want(ok bool, format string, args ...any) error {
	if ok {
		return nil
	}
	return fmt.Errorf("sample: "+format, args...)
}
