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
	fastest.gemm(m.Data, m.Cols, a.Data, a.Cols, b.Data, b.Cols, a.Rows, a.Cols, b.Cols, 1)
}

// MulSub subtracts the product a·b from m.
func (m *Matrix) MulSub(a, b *Matrix) {
	if a.Cols != b.Rows || m.Rows != a.Rows || m.Cols != b.Cols {
		panic(fmt.Sprintf("dense: %d×%d -= %d×%d · %d×%d", m.Rows, m.Cols, a.Rows, a.Cols, b.Rows, b.Cols))
	}
	fastest.gemm(m.Data, m.Cols, a.Data, a.Cols, b.Data, b.Cols, a.Rows, a.Cols, b.Cols, -1)
}

// ErrSingular says that a matrix has no LU decomposition to working precision.
var ErrSingular = errors.New("dense: matrix is singular")

// LU is the decomposition P·A = L·U of a square matrix, with partial pivoting.
// The zero value is ready for Factor and its storage is used again.
type LU struct {
	lu    Matrix
	pivot []int
	by    product // of the matrices; set by Factor when nil
}

// leaf is the number of columns, or of unknowns, that are worked on one by one.
const leaf = 4

// Factor decomposes a, which it does not change. It halves the columns: the left
// half is decomposed, the rows of U to its right are solved for, the block
// beneath them is updated by one matrix product, and the right half follows
// ([toledo1997] §2). So nearly all the work is in products.
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
	if f.by.add == nil {
		f.by = fastest
	}
	return f.columns(0, n)
}

// columns decomposes columns k0 to k1, from row k0 down. It exchanges whole rows.
func (f *LU) columns(k0, k1 int) error {
	n, d := f.lu.Rows, f.lu.Data
	if k1-k0 > leaf {
		mid := k0 + half(k1-k0)
		if err := f.columns(k0, mid); err != nil {
			return err
		}
		f.by.forward(d[k0*n+k0:], n, d[k0*n+mid:], n, mid-k0, k1-mid)
		if mid < n {
			f.by.gemm(d[mid*n+mid:], n, d[mid*n+k0:], n, d[k0*n+mid:], n, n-mid, mid-k0, k1-mid, -1)
		}
		return f.columns(mid, k1)
	}
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
			exchange(d[k*n:(k+1)*n], d[p*n:(p+1)*n])
		}
		inv := 1 / d[k*n+k]
		rk := d[k*n+k+1 : k*n+k1]
		for i := k + 1; i < n; i++ {
			l := d[i*n+k] * inv
			d[i*n+k] = l
			axpy(d[i*n+k+1:i*n+k1], rk, -l)
		}
	}
	return nil
}

// half is about half of n, a multiple of leaf.
func half(n int) int { return (n/2 + leaf - 1) / leaf * leaf }

// forward replaces x, n×cols, by L⁻¹·x, L the unit lower triangle of d.
func (by product) forward(d []complex128, ldd int, x []complex128, ldx, n, cols int) {
	if n > leaf {
		h := half(n)
		by.forward(d, ldd, x, ldx, h, cols)
		by.gemm(x[h*ldx:], ldx, d[h*ldd:], ldd, x, ldx, n-h, h, cols, -1)
		by.forward(d[h*ldd+h:], ldd, x[h*ldx:], ldx, n-h, cols)
		return
	}
	for k := range n {
		for i := k + 1; i < n; i++ {
			axpy(x[i*ldx:][:cols], x[k*ldx:][:cols], -d[i*ldd+k])
		}
	}
}

// backward replaces x, n×cols, by U⁻¹·x, U the upper triangle of d.
func (by product) backward(d []complex128, ldd int, x []complex128, ldx, n, cols int) {
	if n > leaf {
		h := half(n)
		by.backward(d[h*ldd+h:], ldd, x[h*ldx:], ldx, n-h, cols)
		by.gemm(x, ldx, d[h:], ldd, x[h*ldx:], ldx, h, n-h, cols, -1)
		by.backward(d, ldd, x, ldx, h, cols)
		return
	}
	for k := n - 1; k >= 0; k-- {
		row := x[k*ldx:][:cols]
		inv := 1 / d[k*ldd+k]
		for j := range row {
			row[j] *= inv
		}
		for i := range k {
			axpy(x[i*ldx:][:cols], row, -d[i*ldd+k])
		}
	}
}

// Solve replaces b by A⁻¹·b.
func (f *LU) Solve(b *Matrix) {
	n, m := f.lu.Rows, b.Cols
	if b.Rows != n {
		panic(fmt.Sprintf("dense: %d equations, right side of %d rows", n, b.Rows))
	}
	if m == 0 {
		return
	}
	for k, p := range f.pivot {
		if p != k {
			exchange(b.Data[k*m:(k+1)*m], b.Data[p*m:(p+1)*m])
		}
	}
	f.by.forward(f.lu.Data, n, b.Data, m, n, m)
	f.by.backward(f.lu.Data, n, b.Data, m, n, m)
}

func exchange(a, b []complex128) {
	var t [32]complex128
	for len(a) > 0 {
		n := copy(t[:], a)
		copy(a[:n], b)
		copy(b, t[:n])
		a, b = a[n:], b[n:]
	}
}

// abs1 is |Re z| + |Im z|, within √2 of |z| and enough to choose a pivot.
func abs1(z complex128) float64 {
	return max(real(z), -real(z)) + max(imag(z), -imag(z))
}
