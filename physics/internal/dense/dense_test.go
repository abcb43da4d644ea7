package dense

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

func random(rng *rand.Rand, rows, cols int) *Matrix {
	m := New(rows, cols)
	for i := range m.Data {
		m.Data[i] = complex(rng.NormFloat64(), rng.NormFloat64())
	}
	return m
}

// plainMul is the defining triple loop.
func plainMul(a, b *Matrix) *Matrix {
	c := New(a.Rows, b.Cols)
	for i := range a.Rows {
		for j := range b.Cols {
			var s complex128
			for p := range a.Cols {
				s += a.At(i, p) * b.At(p, j)
			}
			c.Set(i, j, s)
		}
	}
	return c
}

// plainSolve is textbook Gaussian elimination with partial pivoting, the slow
// twin of Factor and Solve.
func plainSolve(a, b *Matrix) *Matrix {
	n, m := a.Rows, b.Cols
	var w, x Matrix
	w.Copy(a)
	x.Copy(b)
	for k := range n {
		p := k
		for i := k; i < n; i++ {
			if cmplx.Abs(w.At(i, k)) > cmplx.Abs(w.At(p, k)) {
				p = i
			}
		}
		for j := range n {
			w.Data[k*n+j], w.Data[p*n+j] = w.Data[p*n+j], w.Data[k*n+j]
		}
		for j := range m {
			x.Data[k*m+j], x.Data[p*m+j] = x.Data[p*m+j], x.Data[k*m+j]
		}
		for i := k + 1; i < n; i++ {
			l := w.At(i, k) / w.At(k, k)
			for j := k; j < n; j++ {
				w.Add(i, j, -l*w.At(k, j))
			}
			for j := range m {
				x.Add(i, j, -l*x.At(k, j))
			}
		}
	}
	for k := n - 1; k >= 0; k-- {
		for j := range m {
			s := x.At(k, j)
			for i := k + 1; i < n; i++ {
				s -= w.At(k, i) * x.At(i, j)
			}
			x.Set(k, j, s/w.At(k, k))
		}
	}
	return &x
}

func distance(a, b *Matrix) float64 {
	d := 0.0
	for i := range a.Data {
		if v := cmplx.Abs(a.Data[i] - b.Data[i]); !(v <= d) {
			d = v
		}
	}
	return d
}

var sizes = []int{1, 2, 3, 5, 8, 13, 23, 24, 25, 31, 47, 48, 49, 64, 65, 97, 130}

func TestMul(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for i, n := range sizes {
		k, m := sizes[(i+5)%len(sizes)], sizes[(i+11)%len(sizes)]
		a, b := random(rng, n, k), random(rng, k, m)
		want := plainMul(a, b)
		var got Matrix
		got.Mul(a, b)
		if d := distance(&got, want); !(d <= 1e-13*float64(k+4)) {
			t.Errorf("%d×%d·%d×%d: product off by %g", n, k, k, m, d)
		}
		got.MulSub(a, b)
		if d := distance(&got, New(n, m)); !(d <= 1e-13*float64(k+4)) {
			t.Errorf("%d×%d·%d×%d: MulSub leaves %g", n, k, k, m, d)
		}
	}
}

func TestSolve(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, by := range available() {
		testSolve(t, rng, by)
	}
}

func testSolve(t *testing.T, rng *rand.Rand, by product) {
	f := LU{by: by} // one LU for all sizes: its storage must serve again
	for i, n := range sizes {
		m := sizes[(i+3)%len(sizes)]
		a, b := random(rng, n, n), random(rng, n, m)
		if err := f.Factor(a); err != nil {
			t.Fatal(err)
		}
		var x Matrix
		x.Copy(b)
		f.Solve(&x)
		// backward error: |b − A·x| against |A|·|x|
		back := plainMul(a, &x)
		norm := 0.0
		for _, v := range x.Data {
			norm = max(norm, cmplx.Abs(v))
		}
		if d := distance(back, b); !(d <= 1e-14*float64(n+8)*(norm+1)) {
			t.Errorf("%s, n = %d: residual %g", by.name, n, d)
		}
		if d := distance(&x, plainSolve(a, b)); !(d <= 1e-9*(norm+1)) {
			t.Errorf("%s, n = %d: differs from elimination by %g", by.name, n, d)
		}
	}
}

// The inverse of the Hilbert-like Cauchy matrix 1/(x_i+y_j) is known in closed
// form; its entry (0,0) is a product ([higham2002] §28.1).
func TestCauchy(t *testing.T) {
	const n = 5
	a, e := New(n, n), New(n, 1)
	x := func(i int) complex128 { return complex(float64(i), 0.5) }
	y := func(j int) complex128 { return complex(float64(j)+1, 0.25) }
	for i := range n {
		for j := range n {
			a.Set(i, j, 1/(x(i)+y(j)))
		}
	}
	e.Set(0, 0, 1)
	var f LU
	if err := f.Factor(a); err != nil {
		t.Fatal(err)
	}
	f.Solve(e)
	num, den := complex128(1), x(0)+y(0)
	for k := range n {
		num *= (x(0) + y(k)) * (x(k) + y(0))
		if k > 0 {
			den *= (x(0) - x(k)) * (y(0) - y(k))
		}
	}
	if want := num / den; !(cmplx.Abs(e.At(0, 0)-want) <= 1e-9*cmplx.Abs(want)) {
		t.Errorf("(0,0) of the inverse is %v, want %v", e.At(0, 0), want)
	}
}

func TestSingular(t *testing.T) {
	var f LU
	if err := f.Factor(New(3, 3)); !errors.Is(err, ErrSingular) {
		t.Errorf("zero matrix: %v", err)
	}
	a := New(2, 2)
	a.Set(0, 0, complex(math.NaN(), 0))
	if err := f.Factor(a); !errors.Is(err, ErrSingular) {
		t.Errorf("NaN: %v", err)
	}
}

func TestNoAllocation(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	a, b := random(rng, 40, 40), random(rng, 40, 3)
	var f LU
	if n := testing.AllocsPerRun(10, func() {
		if f.Factor(a) == nil {
			f.Solve(b)
		}
	}); n != 0 {
		t.Errorf("%g allocations in a repeated solution", n)
	}
}
