package modematch

import (
	"math"
	"math/cmplx"
)

// asymptoticFrom is the argument from which Hankel's expansion of order 0 and
// 1 reaches full precision: its smallest term is about e^{−2x}.
const asymptoticFrom = 20.0

// hankel returns s of the Hankel function of order nu, 0 or 1, written
//
//	Hν⁽¹⁾(z) = √(2/πz) e^{j(z − νπ/2 − π/4)} s(z)
//
// by Hankel's asymptotic expansion s = Σ jᵏ aₖ(ν)/zᵏ, for |z| ≥
// [asymptoticFrom], −π/2 < arg z < π. Source: [dlmf] 10.17.5.
func hankel(nu int, z complex128) complex128 {
	mu := float64(4 * nu * nu)
	sum, term := complex(1, 0), complex(1, 0)
	last := 1.0
	iz := 1i / (8 * z)
	for k := 1; k < 60; k++ {
		odd := float64(2*k - 1)
		term *= iz * complex((mu-odd*odd)/float64(k), 0)
		size := math.Abs(real(term)) + math.Abs(imag(term))
		if size > last {
			break
		}
		sum += term
		if size < 1e-17 {
			break
		}
		last = size
	}
	return sum
}

// scaled0 is hankel(0, x) for every real x > 0.
func scaled0(x float64) complex128 {
	if x >= asymptoticFrom {
		return hankel(0, complex(x, 0))
	}
	h := complex(math.J0(x), math.Y0(x))
	return h * cmplx.Rect(math.Sqrt(math.Pi*x/2), math.Pi/4-x)
}

// phase0 returns δ of the phase θ0(x) = arg H0⁽¹⁾(x) = x − π/4 + δ(x), and
// M = (πx/2)|H0⁽¹⁾(x)|². δ rises from −π/4 at x = 0 to 0, so that the phase is
// known without unwrapping; θ0′ = 1/M. Source: [dlmf] 10.18.
func phase0(x float64) (delta, m float64) {
	if x == 0 {
		return -math.Pi / 4, 0
	}
	s := scaled0(x)
	return cmplx.Phase(s), real(s)*real(s) + imag(s)*imag(s)
}
