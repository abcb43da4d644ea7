package sample

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Estimate is a value from repeated observations.
type Estimate struct {
	Mean        float64
	Uncertainty float64 // standard uncertainty of the mean, s/√n
	Deviation   float64 // s, of a single observation
	Freedom     float64 // degrees of freedom, n − 1
}

// MeanOf returns the type A evaluation of repeated observations.
//
// Source: [jcgm100] §4.2.
func MeanOf(obs []float64) Estimate {
	n := float64(len(obs))
	mean := 0.0
	for _, x := range obs {
		mean += x
	}
	mean /= n
	ss := 0.0
	for _, x := range obs {
		ss += (x - mean) * (x - mean)
	}
	s := math.Sqrt(ss / (n - 1))
	return Estimate{Mean: mean, Uncertainty: s / math.Sqrt(n), Deviation: s, Freedom: n - 1}
}

// CorrelationOf returns the correlation coefficient of paired observations, which is
// also that of their means.
//
// Source: [jcgm100] eq. 17 and 14.
func CorrelationOf(x, y []float64) float64 {
	mx, my := MeanOf(x).Mean, MeanOf(y).Mean
	var sxy, sxx, syy float64
	for i := range x {
		dx, dy := x[i]-mx, y[i]-my
		sxy, sxx, syy = sxy+dx*dy, sxx+dx*dx, syy+dy*dy
	}
	return sxy / math.Sqrt(sxx*syy)
}

// Propagated is the first-order law of propagation's result.
type Propagated struct {
	Value         []float64
	Uncertainty   []float64   // standard uncertainties
	Correlation   [][]float64 // of the outputs
	Sensitivities [][]float64 // ∂y_k/∂x_i
}

// Propagate returns outputs f(x) and their uncertainties for inputs of standard
// uncertainties u and the correlations given:
//
//	cov(y_k, y_l) = Σ_i Σ_j ∂y_k/∂x_i ∂y_l/∂x_j u_i u_j r_ij
//
// with central differences over ±u, which see the function over the range of
// its input, not only at a point. It is linear: where a function is curved within u it fails, and at a
// stationary point it gives zero; draw samples there.
//
// Source: [jcgm100] eq. 16, §5.1.3 NOTE 2; [jcgm102] for several outputs.
func Propagate(f func(x, y []float64), outputs int, x, u []float64, cor []Correlation) (Propagated, error) {
	n := len(x)
	if len(u) != n || outputs < 1 {
		return Propagated{}, fmt.Errorf("sample: %d inputs with %d uncertainties, %d outputs: give one uncertainty for each input and at least one output", n, len(u), outputs)
	}
	r := make([][]float64, n)
	for i := range r {
		r[i] = make([]float64, n)
		r[i][i] = 1
	}
	for _, k := range cor {
		if k.I < 0 || k.J < 0 || k.I >= n || k.J >= n || !(math.Abs(k.R) <= 1) {
			return Propagated{}, fmt.Errorf("sample: correlation %g of inputs %d and %d: out of range", k.R, k.I, k.J)
		}
		r[k.I][k.J], r[k.J][k.I] = k.R, k.R
	}
	p := Propagated{Value: make([]float64, outputs), Uncertainty: make([]float64, outputs)}
	f(x, p.Value)
	lo, hi, at := make([]float64, outputs), make([]float64, outputs), append([]float64(nil), x...)
	c := make([][]float64, outputs) // sensitivity times uncertainty
	for k := range c {
		c[k] = make([]float64, n)
		p.Sensitivities = append(p.Sensitivities, make([]float64, n))
		p.Correlation = append(p.Correlation, make([]float64, outputs))
	}
	for i := range n {
		if u[i] == 0 {
			continue
		}
		at[i] = x[i] - u[i]
		f(at, lo)
		at[i] = x[i] + u[i]
		f(at, hi)
		at[i] = x[i]
		for k := range c {
			c[k][i] = (hi[k] - lo[k]) / 2
			p.Sensitivities[k][i] = c[k][i] / u[i]
		}
	}
	cov := func(k, l int) float64 {
		sum := 0.0
		for i := range n {
			for j := range n {
				sum += c[k][i] * c[l][j] * r[i][j]
			}
		}
		return sum
	}
	for k := range outputs {
		p.Uncertainty[k] = math.Sqrt(math.Max(0, cov(k, k)))
	}
	for k := range outputs {
		for l := range outputs {
			p.Correlation[k][l] = cov(k, l) / (p.Uncertainty[k] * p.Uncertainty[l])
		}
	}
	return p, nil
}

// EffectiveFreedom returns the Welch-Satterthwaite degrees of freedom of a sum of
// contributions u, each of which is already times its sensitivity:
//
//	ν = (Σ u²)²/Σ(u⁴/ν_i)
//
// Source: [jcgm100] eq. G.2b.
func EffectiveFreedom(u, freedom []float64) float64 {
	var sum, den float64
	for i := range u {
		sum += u[i] * u[i]
		den += u[i] * u[i] * u[i] * u[i] / freedom[i]
	}
	return sum * sum / den
}

// CoverageFactor returns the t-factor that covers the share p, two-sided, with
// the degrees of freedom given, which may be infinite.
//
// Source: [jcgm100] Table G.2.
func CoverageFactor(freedom, p float64) float64 {
	if math.IsInf(freedom, 1) {
		return NormalQuantile((1 + p) / 2)
	}
	return distuv.StudentsT{Sigma: 1, Nu: freedom}.Quantile((1 + p) / 2)
}

// Combine returns the root of the sum of squares, the uncertainty of a sum of
// independent contributions.
//
// Source: [jcgm100] eq. 10.
func Combine(u ...float64) float64 {
	sum := 0.0
	for _, x := range u {
		sum = math.Hypot(sum, x)
	}
	return sum
}

// Fit is a straight line y = Intercept + Slope·x through points, with standard
// uncertainties.
type Fit struct {
	Intercept, Slope   float64
	UIntercept, USlope float64 // standard uncertainties
	Correlation        float64 // of intercept and slope
	Deviation          float64 // s of the residuals
	Freedom            float64 // n − 2
}

// FitLine returns the least-squares line through points of equal uncertainty.
//
// Source: [jcgm100] §H.3.
func FitLine(x, y []float64) (Fit, error) {
	n := float64(len(x))
	if len(x) != len(y) || len(x) < 3 {
		return Fit{}, errors.New("sample: a line with uncertainties needs at least three points, as many x as y")
	}
	mx, my := MeanOf(x).Mean, MeanOf(y).Mean
	var sxx, sxy, sx2 float64
	for i := range x {
		dx := x[i] - mx
		sxx, sxy, sx2 = sxx+dx*dx, sxy+dx*(y[i]-my), sx2+x[i]*x[i]
	}
	if sxx == 0 {
		return Fit{}, errors.New("sample: all points have the same x: no slope")
	}
	f := Fit{Slope: sxy / sxx, Freedom: n - 2}
	f.Intercept = my - f.Slope*mx
	ss := 0.0
	for i := range x {
		r := y[i] - f.Intercept - f.Slope*x[i]
		ss += r * r
	}
	f.Deviation = math.Sqrt(ss / f.Freedom)
	f.USlope = f.Deviation / math.Sqrt(sxx)
	f.UIntercept = f.Deviation * math.Sqrt(sx2/(n*sxx))
	f.Correlation = -mx / math.Sqrt(sx2/n)
	return f, nil
}
