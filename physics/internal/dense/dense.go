// Package dense is small dense complex linear algebra: products and linear
// solutions by LU decomposition with partial pivoting.
//
// The field solvers need many solutions of systems of ten to a few hundred
// unknowns, one per frequency, so every routine writes into storage that its
// caller owns and none allocates in its inner work.
package dense

import (
	"errors"
	"fmt"
)

// Matrix is a complex matrix stored by rows: element (i, j) is
// Data[i*Cols+j].
type Matrix struct {
	Rows, Cols int
	Data       []complex128
}

// New returns a zero matrix.
func New(rows, cols int) *Matrix {
	return &Matrix{Rows: rows, Cols: cols, Data: make([]complex128, rows*cols)}
}

// Reshape makes m a zero matrix of the given size, in its old storage when
// that is large enough.
func (m *Matrix) Reshape(rows, cols int) {
	n := rows * cols
	if cap(m.Data) < n {
		m.Data = make([]complex128, n)
	} else {
		m.Data = m.Data[:n]
		clear(m.Data)
	}
	m.Rows, m.Cols = rows, cols
}

// At returns element (i, j).
func (m *Matrix) At(i, j int) complex128 { return m.Data[i*m.Cols+j] }

// Set sets element (i, j).
func (m *Matrix) Set(i, j int, v complex128) { m.Data[i*m.Cols+j] = v }

// Add adds v to element (i, j).
func (m *Matrix) Add(i, j int, v complex128) { m.Data[i*m.Cols+j] += v }

// Row returns row i, which shares m's storage.
func (m *Matrix) Row(i int) []complex128 { return m.Data[i*m.Cols : (i+1)*m.Cols] }

// Copy makes m equal to a.
func (m *Matrix) Copy(a *Matrix) {
	m.Reshape(a.Rows, a.Cols)
	copy(m.Data, a.Data)
}

// Mul sets m = a·b. m must not share storage with a or b.
func (m *Matrix) Mul(a, b *Matrix) {
	m.Reshape(a.Rows, b.Cols)
	m.MulAdd(a, b)
}

// MulAdd adds the product a·b to m.
func (m *Matrix) MulAdd(a, b *Matrix) {
	if a.Cols != b.Rows || m.Rows != a.Rows || m.Cols != b.Cols {
		panic(fmt.Sprintf("dense: %d×%d += %d×%d · %d×%d", m.Rows, m.Cols, a.Rows, a.Cols, b.Rows, b.Cols))
	}
	gemm(m.Data, m.Cols, a.Data, a.Cols, b.Data, b.Cols, a.Rows, a.Cols, b.Cols, false)
}

// MulSub subtracts the product a·b from m.
func (m *Matrix) MulSub(a, b *Matrix) {
	if a.Cols != b.Rows || m.Rows != a.Rows || m.Cols != b.Cols {
		panic(fmt.Sprintf("dense: %d×%d -= %d×%d · %d×%d", m.Rows, m.Cols, a.Rows, a.Cols, b.Rows, b.Cols))
	}
	gemm(m.Data, m.Cols, a.Data, a.Cols, b.Data, b.Cols, a.Rows, a.Cols, b.Cols, true)
}

// gemm adds (or subtracts) a·b to c; a is rows×inner, b inner×cols, the
// strides are the distances between rows. The loop that defines the result:
//
//	for i, for p, for j: c[i,j] ±= a[i,p]·b[p,j]
//
// Two rows of c take two rows of b at a time, so that each element of b loaded
// serves twice and each element of c is loaded and stored half as often. The
// strips of b stay in the first-level cache.
func gemm(c []complex128, ldc int, a []complex128, lda int, b []complex128, ldb int, rows, inner, cols int, subtract bool) {
	const strip = 64 // columns of b and c worked on at a time
	s := complex(1, 0)
	if subtract {
		s = -1
	}
	for j0 := 0; j0 < cols; j0 += strip {
		n := min(strip, cols-j0)
		i := 0
		for ; i+1 < rows; i += 2 {
			c0 := c[i*ldc+j0:][:n]
			c1 := c[(i+1)*ldc+j0:][:n]
			p := 0
			for ; p+1 < inner; p += 2 {
				b0 := b[p*ldb+j0:][:n]
				b1 := b[(p+1)*ldb+j0:][:n]
				axpy22(c0, c1, b0, b1, s*a[i*lda+p], s*a[i*lda+p+1], s*a[(i+1)*lda+p], s*a[(i+1)*lda+p+1])
			}
			if p < inner {
				b0 := b[p*ldb+j0:][:n]
				axpy(c0, b0, s*a[i*lda+p])
				axpy(c1, b0, s*a[(i+1)*lda+p])
			}
		}
		if i < rows {
			for p := 0; p < inner; p++ {
				axpy(c[i*ldc+j0:][:n], b[p*ldb+j0:][:n], s*a[i*lda+p])
			}
		}
	}
}

// axpy22 adds u00·b0 + u01·b1 to c0 and u10·b0 + u11·b1 to c1.
func axpy22(c0, c1, b0, b1 []complex128, u00, u01, u10, u11 complex128) {
	n := len(c0)
	c1, b0, b1 = c1[:n], b0[:n], b1[:n]
	for j := range c0 {
		x, y := b0[j], b1[j]
		c0[j] += u00*x + u01*y
		c1[j] += u10*x + u11*y
	}
}

// axpy adds u·b to c.
func axpy(c, b []complex128, u complex128) {
	b = b[:len(c)]
	for j := range c {
		c[j] += u * b[j]
	}
}

// ErrSingular says that a matrix has no LU decomposition to working precision.
var ErrSingular = errors.New("dense: matrix is singular")

// LU is the decomposition P·A = L·U of a square matrix, with partial pivoting.
// The zero value is ready for Factor and its storage is used again.
type LU struct {
	lu    Matrix
	pivot []int
}

// panel is the width of the column panels of Factor.
const panel = 24

// Factor decomposes a, which it does not change. It works by panels: a panel
// of columns is decomposed, its row exchanges are applied to the rest, the
// rows of U to its right are solved for, and the remaining block is updated by
// one matrix product ([golub2013] §3.2.11).
func (f *LU) Factor(a *Matrix) error {
	if a.Rows != a.Cols {
		panic(fmt.Sprintf("dense: LU of a %d×%d matrix", a.Rows, a.Cols))
	}
	n := a.Rows
	f.lu.Copy(a)
	if cap(f.pivot) < n {
		f.pivot = make([]int, n)
	}
	f.pivot = f.pivot[:n]
	d := f.lu.Data
	for k0 := 0; k0 < n; k0 += panel {
		k1 := min(k0+panel, n)
		for k := k0; k < k1; k++ {
			p, big := k, abs1(d[k*n+k])
			for i := k + 1; i < n; i++ {
				if v := abs1(d[i*n+k]); v > big {
					p, big = i, v
				}
			}
			f.pivot[k] = p
			if !(big > 0) { // catches NaN too
				return ErrSingular
			}
			if p != k {
				rk, rp := d[k*n:(k+1)*n], d[p*n:(p+1)*n]
				for j := range rk {
					rk[j], rp[j] = rp[j], rk[j]
				}
			}
			inv := 1 / d[k*n+k]
			rk := d[k*n+k+1 : k*n+k1]
			for i := k + 1; i < n; i++ {
				l := d[i*n+k] * inv
				d[i*n+k] = l
				axpy(d[i*n+k+1:i*n+k1], rk, -l)
			}
		}
		if k1 == n {
			break
		}
		for k := k0; k < k1; k++ { // rows of U right of the panel
			for i := k + 1; i < k1; i++ {
				axpy(d[i*n+k1:(i+1)*n], d[k*n+k1:(k+1)*n], -d[i*n+k])
			}
		}
		gemm(d[k1*n+k1:], n, d[k1*n+k0:], n, d[k0*n+k1:], n, n-k1, k1-k0, n-k1, true)
	}
	return nil
}

// Solve replaces b by A⁻¹·b.
func (f *LU) Solve(b *Matrix) {
	n, m := f.lu.Rows, b.Cols
	if b.Rows != n {
		panic(fmt.Sprintf("dense: %d equations, right side of %d rows", n, b.Rows))
	}
	d, x := f.lu.Data, b.Data
	for k, p := range f.pivot {
		if p != k {
			rk, rp := x[k*m:(k+1)*m], x[p*m:(p+1)*m]
			for j := range rk {
				rk[j], rp[j] = rp[j], rk[j]
			}
		}
	}
	for k0 := 0; k0 < n; k0 += panel {
		k1 := min(k0+panel, n)
		for k := k0; k < k1; k++ {
			for i := k + 1; i < k1; i++ {
				axpy(x[i*m:(i+1)*m], x[k*m:(k+1)*m], -d[i*n+k])
			}
		}
		if k1 < n {
			gemm(x[k1*m:], m, d[k1*n+k0:], n, x[k0*m:], m, n-k1, k1-k0, m, true)
		}
	}
	for k1 := n; k1 > 0; {
		k0 := (k1 - 1) / panel * panel
		for k := k1 - 1; k >= k0; k-- {
			inv := 1 / d[k*n+k]
			row := x[k*m : (k+1)*m]
			for j := range row {
				row[j] *= inv
			}
			for i := k0; i < k; i++ {
				axpy(x[i*m:(i+1)*m], row, -d[i*n+k])
			}
		}
		if k0 > 0 {
			gemm(x, m, d[k0:], n, x[k0*m:], m, k0, k1-k0, m, true)
		}
		k1 = k0
	}
}

// abs1 is |Re z| + |Im z|, within √2 of |z| and enough to choose a pivot.
func abs1(z complex128) float64 {
	return max(real(z), -real(z)) + max(imag(z), -imag(z))
}
