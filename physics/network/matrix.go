package network

import (
	"math"
	"math/cmplx"
)

// solve overwrites b with the solution X of A X = B, A n×n and B n×m, row
// after row, and destroys a. The entries of A must be of the order of one: it
// reports false where a pivot is below 4nε, ε = 2⁻⁵², and A therefore singular to
// working precision. The method is Gaussian elimination with partial pivoting.
func solve(n, m int, a, b []complex128) bool {
	for c := range n {
		p, best := c, -1.0
		for i := c; i < n; i++ {
			if v := cmplx.Abs(a[i*n+c]); v > best {
				p, best = i, v
			}
		}
		if !(best > 4*float64(n)*0x1p-52 && best <= math.MaxFloat64) {
			return false
		}
		if p != c {
			for j := range n {
				a[p*n+j], a[c*n+j] = a[c*n+j], a[p*n+j]
			}
			for j := range m {
				b[p*m+j], b[c*m+j] = b[c*m+j], b[p*m+j]
			}
		}
		for i := c + 1; i < n; i++ {
			f := a[i*n+c] / a[c*n+c]
			if f == 0 {
				continue
			}
			for j := c + 1; j < n; j++ {
				a[i*n+j] -= f * a[c*n+j]
			}
			for j := range m {
				b[i*m+j] -= f * b[c*m+j]
			}
		}
	}
	for c := n - 1; c >= 0; c-- {
		for j := range m {
			x := b[c*m+j]
			for i := c + 1; i < n; i++ {
				x -= a[c*n+i] * b[i*m+j]
			}
			b[c*m+j] = x / a[c*n+c]
		}
	}
	return true
}

// rightDivide sets x to A B⁻¹, all n×n, and destroys a and b.
func rightDivide(n int, x, a, b []complex128) bool {
	transpose(n, a)
	transpose(n, b)
	if !solve(n, n, b, a) { // Bᵀ Xᵀ = Aᵀ
		return false
	}
	transpose(n, a)
	copy(x, a)
	return true
}

func transpose(n int, a []complex128) {
	for i := range n {
		for j := range i {
			a[i*n+j], a[j*n+i] = a[j*n+i], a[i*n+j]
		}
	}
}

func conj(z complex128) complex128 { return cmplx.Conj(z) }

func abs2(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// SingularValues returns the singular values of the square n×n matrix m, given
// row after row, largest first.
//
// The method is one-sided Jacobi: plane rotations make the columns orthogonal,
// whose lengths then are the singular values; relative accuracy is a few
// units in the last place of the largest. It converges for every finite matrix; a
// matrix with a NaN or an infinity gives NaN throughout.
//
// Source: [golub2013] §8.6.3, with a complex rotation.
func SingularValues(n int, m []complex128) []float64 {
	col := make([][]complex128, n)
	top := 0.0
	for j := range n {
		col[j] = make([]complex128, n)
		for i := range n {
			col[j][i] = m[i*n+j]
			top = math.Max(top, math.Max(math.Abs(real(m[i*n+j])), math.Abs(imag(m[i*n+j])))) // math.Max hands a NaN on
		}
	}
	sv := make([]float64, n)
	if math.IsNaN(top) || math.IsInf(top, 0) {
		for i := range sv {
			sv[i] = math.NaN()
		}
		return sv
	}
	if top == 0 {
		return sv
	}
	_, e := math.Frexp(top)
	up, down := math.Ldexp(1, e), math.Ldexp(1, -e)
	for j := range n {
		for i := range n {
			col[j][i] *= complex(down, 0)
		}
	}
	for sweep, turned := 0, true; turned && sweep < 60; sweep++ {
		turned = false
		for p := range n {
			for q := p + 1; q < n; q++ {
				var alpha, beta float64
				var g complex128 // column p with column q, ⟨p|q⟩
				for i := range n {
					alpha += abs2(col[p][i])
					beta += abs2(col[q][i])
					g += conj(col[p][i]) * col[q][i]
				}
				ag := cmplx.Abs(g)
				if !(ag > 0x1p-52*math.Sqrt(alpha*beta)) || ag == 0 {
					continue
				}
				turned = true
				zeta := (beta - alpha) / (2 * ag)
				t := math.Copysign(1, zeta) / (math.Abs(zeta) + math.Hypot(1, zeta))
				c := 1 / math.Hypot(1, t)
				s := c * t
				w := conj(g) / complex(ag, 0) // turns column q into phase with p
				for i := range n {
					x, y := col[p][i], col[q][i]*w
					col[p][i] = complex(c, 0)*x - complex(s, 0)*y
					col[q][i] = complex(s, 0)*x + complex(c, 0)*y
				}
			}
		}
	}
	for j := range n {
		norm := 0.0
		for _, z := range col[j] {
			norm = math.Hypot(norm, cmplx.Abs(z))
		}
		sv[j] = norm * up
	}
	for i := range sv { // largest first
		for j := i; j > 0 && sv[j] > sv[j-1]; j-- {
			sv[j], sv[j-1] = sv[j-1], sv[j]
		}
	}
	return sv
}
