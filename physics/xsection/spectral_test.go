package xsection

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// spectral is another road to open microstrip without thickness: the charge in
// Chebyshev functions with the edge singularity, the potential by Fourier
// transform (Yamashita and Mittra 1968, variational). With x = kw/2,
//
//	K_mn = (1/πε0) ∫ J_2m(x) J_2n(x) / (x (1 + εr coth(2xh/w))) dx    C = (K⁻¹)_00
//
// It returns C/ε0.
func spectral(wh, er float64, terms int) float64 {
	k := mat.NewSymDense(terms, nil)
	r := newRule(10)
	const last = 4000.0
	j := make([]float64, terms)
	for from, to := 0.0, wh/64; from < last; from, to = to, min(2*to, to+1) { // fine where coth turns, x ~ w/h
		for q, t := range r.x {
			x := from + (to-from)*(1+t)/2
			g := 1 / (x * (1 + er/math.Tanh(2*x/wh)))
			for n := range j {
				j[n] = math.Jn(2*n, x)
			}
			for m := range j {
				for n := m; n < terms; n++ {
					k.SetSym(m, n, k.At(m, n)+r.w[q]*(to-from)/2*j[m]*j[n]*g/math.Pi)
				}
			}
		}
	}
	for m := range j {
		for n := m; n < terms; n++ { // J_2m J_2n → ±1/πx in the mean
			k.SetSym(m, n, k.At(m, n)+math.Pow(-1, float64(m+n))/(math.Pi*math.Pi*last*(1+er)))
		}
	}
	var inv mat.Dense
	inv.Inverse(k)
	return inv.At(0, 0)
}

// Microstrip without thickness against the spectral domain. The first row is
// that of microstrip-d015 and -d016: see TestReferenceSpectralDomain.
func TestSpectralDomain(t *testing.T) {
	for _, c := range []struct{ wh, er float64 }{{0.1, 12.9}, {1, 9.8}, {2.5, 3}, {0.3, 2.2}} {
		r, err := Solve(context.Background(), microstrip(c.wh*1e-3, 1e-3, 0, c.er), Options{Accuracy: 1e-6})
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range []struct {
			name      string
			got, want float64
		}{{"C", r.C.At(0, 0) / eps0, spectral(c.wh, c.er, 5)}, {"C in air", r.CAir.At(0, 0) / eps0, spectral(c.wh, 1, 5)}} {
			if !(math.Abs(q.got/q.want-1) <= 3e-8) {
				t.Errorf("w/h %g, permittivity %g: %s/ε0 = %.10g, spectral domain %.10g, off by %.1e", c.wh, c.er, q.name, q.got, q.want, q.got/q.want-1)
			}
		}
	}
}
