package dense

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
)

// Every product equals the plain one to rounding, over odd sizes and strides and
// at any offset, touches nothing outside its rows and columns, and carries a NaN
// to where the plain one does.
func TestProducts(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	guard := complex(1e300, -1e300)
	for _, by := range available() {
		for range 2000 {
			rows, inner, cols := 1+rng.IntN(27), 1+rng.IntN(30), 1+rng.IntN(30)
			if rng.IntN(50) == 0 {
				inner += depth
			}
			ldc, lda, ldb := cols+rng.IntN(3), inner+rng.IntN(3), cols+rng.IntN(3)
			sign := []float64{1, -1}[rng.IntN(2)]
			offset := rng.IntN(4)
			filled := func(rows, cols, ld int) []complex128 {
				x := make([]complex128, offset+rows*ld+4)
				for i := range x {
					x[i] = guard
				}
				for i := range rows {
					for j := range cols {
						x[offset+i*ld+j] = complex(rng.NormFloat64(), rng.NormFloat64())
					}
				}
				return x
			}
			c, a, b := filled(rows, cols, ldc), filled(rows, inner, lda), filled(inner, cols, ldb)
			if rng.IntN(20) == 0 {
				b[offset+rng.IntN(inner)*ldb+rng.IntN(cols)] = complex(math.NaN(), 0)
			}
			want, got := append([]complex128(nil), c...), append([]complex128(nil), c...)
			plain.gemm(want[offset:], ldc, a[offset:], lda, b[offset:], ldb, rows, inner, cols, sign)
			by.gemm(got[offset:], ldc, a[offset:], lda, b[offset:], ldb, rows, inner, cols, sign)
			for i := range got {
				if cmplx.IsNaN(want[i]) != cmplx.IsNaN(got[i]) || !cmplx.IsNaN(want[i]) && !(cmplx.Abs(got[i]-want[i]) <= 1e-13*float64(inner+4)) {
					t.Fatalf("%s, %d×%d·%d×%d, offset %d: number %d is %v, plain says %v", by.name, rows, inner, inner, cols, offset, i, got[i], want[i])
				}
			}
		}
	}
}

// BenchmarkSolve solves n complex equations for one right side. The versions
// take turns; the best turn of each counts. "faster" is against textbook
// elimination in the same run, "real" against the real system of twice the size
// by a general library.
func BenchmarkSolve(b *testing.B) {
	rng := rand.New(rand.NewPCG(7, 8))
	for _, n := range []int{12, 50, 100, 200, 400} {
		a, y := random(rng, n, n), random(rng, n, 1)
		twice, side := mat.NewDense(2*n, 2*n, nil), mat.NewVecDense(2*n, nil)
		for i := range n {
			for j := range n {
				x := a.At(i, j)
				twice.Set(i, j, real(x))
				twice.Set(i, n+j, -imag(x))
				twice.Set(n+i, j, imag(x))
				twice.Set(n+i, n+j, real(x))
			}
			side.SetVec(i, real(y.At(i, 0)))
			side.SetVec(n+i, imag(y.At(i, 0)))
		}
		best := map[string]float64{}
		turn := func(name string, run func()) {
			repeat := max(1, 2000000/(n*n*n))
			began := time.Now()
			for range repeat {
				run()
			}
			if s := time.Since(began).Seconds() / float64(repeat); best[name] == 0 || s < best[name] {
				best[name] = s
			}
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				turn("elimination", func() { plainSolve(a, y) })
				turn("real", func() {
					var x mat.VecDense
					if err := x.SolveVec(twice, side); err != nil {
						b.Fatal(err)
					}
				})
				for _, by := range available() {
					f, x := LU{by: by}, New(n, 1)
					turn(by.name, func() {
						x.Copy(y)
						if err := f.Factor(a); err != nil {
							b.Fatal(err)
						}
						f.Solve(x)
					})
				}
			}
			for _, by := range available() {
				b.ReportMetric(best["elimination"]/best[by.name], by.name+"-faster")
			}
			b.ReportMetric(best["real"]/best[available()[0].name], "real")
			b.ReportMetric(1e6*best[available()[0].name], "us/solve")
			b.ReportMetric(8./3*float64(n*n*n)/best[available()[0].name]/1e9, "GFLOP/s")
		})
	}
}
