package network

import (
	"math"
	"math/cmplx"
	"testing"
)

// Singular values of U·diag·V with random unitary U, V are the diagonal.
func TestSingularValues(t *testing.T) {
	r := seeded(t, 61)
	unitary := func(n int) []complex128 { // Gram-Schmidt of a Gaussian matrix, twice
		u := make([]complex128, n*n)
		for i := range u {
			u[i] = gaussian(r)
		}
		for range 2 {
			for i := range n {
				for j := range i {
					var p complex128
					for k := range n {
						p += conj(u[j*n+k]) * u[i*n+k]
					}
					for k := range n {
						u[i*n+k] -= p * u[j*n+k]
					}
				}
				norm := 0.0
				for k := range n {
					norm = math.Hypot(norm, cmplx.Abs(u[i*n+k]))
				}
				for k := range n {
					u[i*n+k] /= complex(norm, 0)
				}
			}
		}
		return u
	}
	for range 60 {
		n := 1 + r.IntN(8)
		u, v := unitary(n), unitary(n)
		want := make([]float64, n)
		for i := range want {
			want[i] = math.Exp(-4 * float64(i) * r.Float64())
			if i > 0 {
				want[i] = min(want[i], want[i-1])
			}
		}
		if n > 3 {
			want[n-1], want[1] = 0, want[0] // rank deficient, and a double value
		}
		scale := math.Ldexp(1, r.IntN(1600)-800) // no overflow on the way
		m := make([]complex128, n*n)
		for i := range n {
			for j := range n {
				for k := range n {
					m[i*n+j] += complex(scale*want[k], 0) * u[i*n+k] * v[k*n+j]
				}
			}
		}
		for i, got := range SingularValues(n, m) {
			if !(math.Abs(got/scale-want[i]) <= 1e-14) {
				t.Errorf("n = %d: singular value %d is %.16g, want %.16g", n, i, got/scale, want[i])
			}
		}
	}
	for _, v := range SingularValues(2, []complex128{1, complex(math.NaN(), 0), 0, 1}) {
		if !math.IsNaN(v) {
			t.Errorf("a matrix with a NaN has singular value %g", v)
		}
	}
	if sv := SingularValues(2, make([]complex128, 4)); sv[0] != 0 {
		t.Errorf("zero has singular value %g", sv[0])
	}
}

func TestTwoPortSingularValue(t *testing.T) {
	r := seeded(t, 62)
	for range 500 {
		m := []complex128{gaussian(r), gaussian(r), gaussian(r), gaussian(r)}
		if r.IntN(4) == 0 {
			m[2], m[3] = 2i*m[0], 2i*m[1] // rank one
		}
		if a, b := largestSingularValue(2, m), SingularValues(2, m)[0]; !(math.Abs(a-b) <= 1e-15*b*8) {
			t.Errorf("closed form %.17g, Jacobi %.17g", a, b)
		}
	}
}

func TestWorstDeviations(t *testing.T) {
	r := seeded(t, 63)
	n := randomPassive(r, 3, 5, true)
	if p := n.Passivity(); !(p.Value < 1) {
		t.Errorf("a passive network has singular value %g", p.Value)
	}
	if d := n.Reciprocity(); d.Value != 0 {
		t.Errorf("a reciprocal network has deviation %+v", d)
	}
	n.Set(3, 2, 0, n.At(3, 0, 2)+0.25)
	if d := n.Reciprocity(); !(math.Abs(d.Value-0.25) <= 1e-15) || d.Frequency != n.Frequency[3] || d.I != 2 || d.J != 0 {
		t.Errorf("a deviation of 0.25 at point 3 is reported as %+v", d)
	}
	n.Set(4, 1, 1, 7)
	if p := n.Passivity(); !(p.Value >= 7) || p.Frequency != n.Frequency[4] {
		t.Errorf("a reflection of 7 at point 4 is reported as %+v", p)
	}
	n.Set(1, 0, 1, cmplx.NaN())
	if p, d := n.Passivity(), n.Reciprocity(); !math.IsNaN(p.Value) || !math.IsNaN(d.Value) || p.Frequency != n.Frequency[1] {
		t.Errorf("a NaN at point 1 is reported as %+v and %+v", p, d)
	}
}

// A causal chain turns clockwise; its conjugate, which runs backwards in time,
// the other way.
func TestCausality(t *testing.T) {
	n := chainOver(grid(0, 40e9, 801))
	q, err := n.InitialQuality()
	if err != nil {
		t.Fatal(err)
	}
	if !(q.Causality > 95) || q.Passivity != 100 || q.Reciprocity != 100 {
		t.Errorf("a causal, passive, reciprocal chain is graded %+v", q)
	}
	for i := range n.S {
		n.S[i] = conj(n.S[i])
	}
	back, err := n.InitialQuality()
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range back.CausalityOf {
		if !(math.Abs(c+q.CausalityOf[i]-100) <= 1e-9) {
			t.Errorf("trace %d: %.6f %% forwards, %.6f %% backwards", i, q.CausalityOf[i], c)
		}
	}
}
