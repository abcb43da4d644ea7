package fit

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// A Fit is the outcome of least squares.
type Fit struct {
	Value      []float64   // of each parameter
	Covariance [][]float64 // V, from σ where it was given, otherwise from the residuals
	Residual   []float64   // measured less fitted, in the unit of the data
	Freedom    int         // n − p
	RMS        float64     // √(Σ r²/n)
	Greatest   float64     // |r|, in the unit of the data
	// Reduced is χ²/(n − p): near 1 where the law holds and σ is right. Without
	// σ it is the residuals' own variance, Σ r²/(n − p).
	Reduced float64
}

// Uncertainty returns the standard uncertainty of parameter i, √V_ii.
func (f Fit) Uncertainty(i int) float64 { return math.Sqrt(f.Covariance[i][i]) }

// Correlation returns V_ij/√(V_ii V_jj), from −1 to 1.
func (f Fit) Correlation(i, j int) float64 {
	return f.Covariance[i][j] / (f.Uncertainty(i) * f.Uncertainty(j))
}

// Of returns the standard uncertainty of Σ g_i p_i: with g the derivatives of a
// result by the parameters, that of the result, √(gᵀ V g).
func (f Fit) Of(g ...float64) float64 {
	sum := 0.0
	for i, x := range g {
		for j, y := range g {
			sum += x * y * f.Covariance[i][j]
		}
	}
	return math.Sqrt(math.Max(0, sum))
}

// Linear fits y = Σ_j p_j x_j, rows[i] holding the x of value y[i]. sigma holds the
// standard uncertainty of each value; nil stands for equal and unknown, and the
// residuals then tell it.
//
// The columns are scaled and the system is solved by QR decomposition, not by the
// normal equations: V = (RᵀR)⁻¹.
//
// Source: [golub2013] §5.3; covariance as in [jcgm100] H.3; checked against the
// printed results of H.3 in TestRows.
func Linear(rows [][]float64, y, sigma []float64) (Fit, error) {
	const op = "least squares"
	n := len(y)
	if len(rows) != n || n == 0 || sigma != nil && len(sigma) != n {
		return Fit{}, fault(op, ErrFew, "give a row, and an uncertainty if any, to each value", "%d rows, %d values, %d uncertainties", len(rows), n, len(sigma))
	}
	p := len(rows[0])
	if n < p || p == 0 {
		return Fit{}, fault(op, ErrFew, "", "%d values for %d parameters", n, p)
	}
	weight := func(i int) float64 {
		if sigma == nil {
			return 1
		}
		return 1 / sigma[i]
	}
	scale := make([]float64, p)
	for i, row := range rows {
		for j, x := range row {
			scale[j] = math.Hypot(scale[j], x*weight(i))
		}
	}
	a, b := mat.NewDense(n, p, nil), mat.NewVecDense(n, nil)
	for i, row := range rows {
		for j, x := range row {
			a.Set(i, j, x*weight(i)/scale[j])
		}
		b.SetVec(i, y[i]*weight(i))
	}
	var qr mat.QR
	qr.Factorize(a)
	if c := qr.Cond(); !(c < 1e12) {
		return Fit{}, fault(op, ErrTwin, "fit over a wider range, or leave a parameter out", "condition number %.3g", c)
	}
	var x mat.VecDense
	if err := qr.SolveVecTo(&x, false, b); err != nil {
		return Fit{}, fault(op, ErrTwin, "fit over a wider range, or leave a parameter out", "%v", err)
	}
	f := Fit{Value: make([]float64, p), Residual: make([]float64, n), Freedom: n - p}
	for j := range p {
		f.Value[j] = x.AtVec(j) / scale[j]
	}
	for i, row := range rows {
		r := y[i]
		for j, v := range row {
			r -= v * f.Value[j]
		}
		f.Residual[i] = r
	}
	f.finish(sigma)
	f.Covariance = covariance(a, scale)
	if sigma == nil {
		f.scaleCovariance(f.Reduced)
	}
	return f, nil
}

// finish fills in what the residuals say.
func (f *Fit) finish(sigma []float64) {
	var sum, chi float64
	for i, r := range f.Residual {
		sum += r * r
		f.Greatest = math.Max(f.Greatest, math.Abs(r))
		if sigma != nil {
			r /= sigma[i]
		}
		chi += r * r
	}
	f.RMS = math.Sqrt(sum / float64(len(f.Residual)))
	f.Reduced = chi / float64(f.Freedom) // NaN or +Inf where nothing is left over to judge by
}

func (f *Fit) scaleCovariance(by float64) {
	for _, row := range f.Covariance {
		for j := range row {
			row[j] *= by
		}
	}
}

// covariance returns (AᵀA)⁻¹ for A whose column j was divided by scale[j], by the singular
// values of A.
func covariance(a *mat.Dense, scale []float64) [][]float64 {
	_, p := a.Dims()
	var svd mat.SVD
	if !svd.Factorize(a, mat.SVDThin) {
		return unknown(p)
	}
	s := svd.Values(nil)
	var v mat.Dense
	svd.VTo(&v)
	c := make([][]float64, p)
	for i := range c {
		c[i] = make([]float64, p)
		for j := range c[i] {
			for k, x := range s {
				c[i][j] += v.At(i, k) * v.At(j, k) / (x * x)
			}
			c[i][j] /= scale[i] * scale[j]
		}
	}
	return c
}

func unknown(p int) [][]float64 {
	c := make([][]float64, p)
	for i := range c {
		c[i] = make([]float64, p)
		for j := range c[i] {
			c[i][j] = math.NaN()
		}
	}
	return c
}
