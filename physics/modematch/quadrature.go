package modematch

import "math"

// rule is a Gauss quadrature rule.
type rule struct{ x, w []float64 }

// jacobi returns the n-point Gauss rule for ∫₀¹ x^left (1−x)^right f(x) dx,
// with left, right > −1. The recurrence coefficients are those of the Jacobi
// polynomials ([dlmf] 18.9.1) moved to [0, 1].
func jacobi(n int, left, right float64) rule {
	a, b := right, left // on [−1, 1] the weight is (1−x)^a (1+x)^b
	diag, off := make([]float64, n), make([]float64, n)
	ab := a + b
	for k := range n {
		j := float64(k)
		if k == 0 {
			diag[k] = (b - a) / (ab + 2)
		} else {
			diag[k] = (b*b - a*a) / ((2*j + ab) * (2*j + ab + 2))
		}
		j++
		if k == 0 {
			off[k] = 4 * (1 + a) * (1 + b) / ((2 + ab) * (2 + ab) * (3 + ab))
		} else {
			off[k] = 4 * j * (j + a) * (j + b) * (j + ab) / ((2*j + ab) * (2*j + ab) * (2*j + ab + 1) * (2*j + ab - 1))
		}
		diag[k] = (1 + diag[k]) / 2
		off[k] = math.Sqrt(off[k]) / 2
	}
	la, _ := math.Lgamma(left + 1)
	lb, _ := math.Lgamma(right + 1)
	lc, _ := math.Lgamma(ab + 2)
	return golubWelsch(diag, off, math.Exp(la+lb-lc))
}

// laguerre returns the n-point Gauss rule for ∫₀^∞ x^alpha e^{−x} f(x) dx,
// alpha > −1. Source of the recurrence: [dlmf] 18.9.1.
func laguerre(n int, alpha float64) rule {
	diag, off := make([]float64, n), make([]float64, n)
	for k := range n {
		j := float64(k)
		diag[k] = 2*j + 1 + alpha
		off[k] = math.Sqrt((j + 1) * (j + 1 + alpha))
	}
	return golubWelsch(diag, off, math.Gamma(alpha+1))
}

// golubWelsch turns the Jacobi matrix of a weight with total mass mass into
// the Gauss rule: nodes are its eigenvalues, weights come from the first
// components of its eigenvectors, both by implicit QL steps. off[k] couples k
// and k+1 and its last entry is not used. Source: [golub1969].
func golubWelsch(diag, off []float64, mass float64) rule {
	n := len(diag)
	z := make([]float64, n)
	z[0] = 1
	off[n-1] = 0
	for l := range n {
		for iter := 0; ; iter++ {
			m := l
			for ; m < n-1; m++ {
				if math.Abs(off[m]) <= 1e-16*(math.Abs(diag[m])+math.Abs(diag[m+1])) {
					break
				}
			}
			if m == l || iter > 60 {
				break
			}
			g := (diag[l+1] - diag[l]) / (2 * off[l])
			r := math.Hypot(g, 1)
			g = diag[m] - diag[l] + off[l]/(g+math.Copysign(r, g))
			s, c, p := 1.0, 1.0, 0.0
			for i := m - 1; i >= l; i-- {
				f, b := s*off[i], c*off[i]
				r = math.Hypot(f, g)
				off[i+1] = r
				s, c = f/r, g/r
				g = diag[i+1] - p
				r = (diag[i]-g)*s + 2*c*b
				p = s * r
				diag[i+1] = g + p
				g = c*r - b
				z[i], z[i+1] = c*z[i]-s*z[i+1], s*z[i]+c*z[i+1]
			}
			diag[l] -= p
			off[l] = g
			off[m] = 0
		}
	}
	w := make([]float64, n)
	for i := range w {
		w[i] = mass * z[i] * z[i]
	}
	return rule{diag, w}
}
