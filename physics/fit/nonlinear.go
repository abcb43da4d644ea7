package fit

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// NonlinearOptions say when a search ends. The zero value is for data in double
// precision.
type NonlinearOptions struct {
	Steps     int     // at most; 0 is 200
	Tolerance float64 // relative change of every parameter at which the search ends; 0 is 1e-10
}

// Nonlinear fits y by model(p), which writes its n values into out, from the
// start values p. sigma is as for [Linear]. A start value of zero is taken to be
// of the order of one: give the parameters a scale at which that is so.
//
// The method is that of Levenberg and Marquardt with derivatives by central
// differences. The covariance is that of the law made linear at the minimum.
// The minimum is a local one.
//
// Source: [more1978], without its trust region: the damping is raised and lowered by
// factors; checked against the data set Misra1a of [niststrd].
func Nonlinear(model func(p, out []float64), start, y, sigma []float64, o NonlinearOptions) (Fit, error) {
	const op = "nonlinear least squares"
	n, np := len(y), len(start)
	if n < np || np == 0 || sigma != nil && len(sigma) != n {
		return Fit{}, fault(op, ErrFew, "", "%d values, %d parameters, %d uncertainties", n, np, len(sigma))
	}
	if o.Steps == 0 {
		o.Steps = 200
	}
	if o.Tolerance == 0 {
		o.Tolerance = 1e-10
	}
	weight := func(i int) float64 {
		if sigma == nil {
			return 1
		}
		return 1 / sigma[i]
	}
	p := append([]float64(nil), start...)
	size := make([]float64, np) // of a parameter, for its differences
	out := make([]float64, n)
	residuals := func(p []float64) ([]float64, float64) {
		model(p, out)
		r := make([]float64, n)
		sum := 0.0
		for i := range r {
			r[i] = y[i] - out[i]
			sum += r[i] * r[i] * weight(i) * weight(i)
		}
		return r, sum
	}
	r, sum := residuals(p)
	jacobian := func() (*mat.Dense, []float64) {
		j := mat.NewDense(n, np, nil)
		scale := make([]float64, np)
		q := append([]float64(nil), p...)
		low := make([]float64, n)
		for c := range np {
			size[c] = math.Abs(p[c])
			if size[c] == 0 {
				size[c] = math.Max(1e-6, math.Abs(start[c]))
			}
			h := 6e-6 * size[c] // ε^⅓: rounding and curvature are then alike
			q[c] = p[c] - h
			model(q, low)
			q[c] = p[c] + h
			model(q, out)
			step := q[c] - (p[c] - h)
			q[c] = p[c]
			for i := range n {
				d := (out[i] - low[i]) / step * weight(i)
				j.Set(i, c, d)
				scale[c] = math.Hypot(scale[c], d)
			}
		}
		for c := range np {
			if scale[c] == 0 || math.IsNaN(scale[c]) {
				scale[c] = 1
			}
			for i := range n {
				j.Set(i, c, j.At(i, c)/scale[c])
			}
		}
		return j, scale
	}
	converged := math.IsNaN(sum)
	damping := 1e-3
	for step := 0; step < o.Steps && !converged; step++ {
		j, scale := jacobian()
		for {
			a, b := mat.NewDense(n+np, np, nil), mat.NewVecDense(n+np, nil)
			a.Slice(0, n, 0, np).(*mat.Dense).Copy(j)
			for i := range n {
				b.SetVec(i, r[i]*weight(i))
			}
			for c := range np {
				a.Set(n+c, c, math.Sqrt(damping))
			}
			var x mat.VecDense
			var qr mat.QR
			qr.Factorize(a)
			if qr.SolveVecTo(&x, false, b) != nil {
				damping *= 10
				if damping > 1e12 {
					break
				}
				continue
			}
			q := append([]float64(nil), p...)
			moved := 0.0
			for c := range np {
				d := x.AtVec(c) / scale[c]
				q[c] += d
				moved = math.Max(moved, math.Abs(d)/math.Max(math.Abs(q[c]), size[c]))
			}
			rq, sq := residuals(q)
			if sq <= sum { // NaN is no progress
				p, r = q, rq
				converged = moved <= o.Tolerance || sq == 0
				sum, damping = sq, math.Max(damping/10, 1e-14)
				break
			}
			if moved <= o.Tolerance {
				converged = true
				break
			}
			if damping *= 10; damping > 1e12 {
				converged = true // no step, however short, leads down
				break
			}
		}
	}
	f := Fit{Value: p, Residual: r, Freedom: n - np}
	f.finish(sigma)
	if !converged || math.IsNaN(sum) {
		f.Covariance = unknown(np)
		return f, fault(op, ErrDiverged, "start nearer, or fit fewer parameters", "after %d steps the squares sum to %.4g", o.Steps, sum)
	}
	j, scale := jacobian()
	f.Covariance = covariance(j, scale)
	if sigma == nil {
		f.scaleCovariance(f.Reduced)
	}
	var svd mat.SVD
	if svd.Factorize(j, mat.SVDNone) {
		if s := svd.Values(nil); !(s[len(s)-1] > 1e-9*s[0]) {
			return f, fault(op, ErrTwin, "hold one of the parameters, or fit over a wider range", "condition number %.3g", s[0]/s[len(s)-1])
		}
	}
	return f, nil
}
