package line

import (
	"math"
	"math/cmplx"
)

// modified holds the modified Bessel functions of orders 0 and 1 of one
// argument z, freed of their exponentials so that none over- or underflows:
//
//	i0 = I0(z) e^{−z}   i1 = I1(z) e^{−z}   k0 = K0(z) e^{z}   k1 = K1(z) e^{z}
type modified struct{ i0, i1, k0, k1 complex128 }

// Where the three methods meet. At |z| = 30 the smallest term of the
// asymptotic series is far below 1e-16; at |z| = 2 the power series loses
// less than one digit, and the continued fractions converge in some 40 steps.
const (
	besselSmall = 2
	besselLarge = 30
)

// besselModified returns the scaled functions of z, Re z ≥ 0, z ≠ 0, with a
// relative error of a few 1e-15.
//
//	|z| ≤ 2    power series                              [dlmf] 10.25.2, 10.31.1, 10.31.2
//	|z| < 30   Steed's continued fraction for K,          [temme1975]
//	           the fraction for I1/I0, and the Wronskian
//	           I0 K1 + I1 K0 = 1/z                       [dlmf] 10.33.1, 10.28.2
//	else       asymptotic series with both exponentials  [dlmf] 10.40.2, 10.40.5
func besselModified(z complex128) modified {
	r := cmplx.Abs(z)
	switch {
	case r <= besselSmall:
		return besselSeries(z)
	case r < besselLarge:
		return besselFractions(z)
	}
	return besselAsymptotic(z)
}

func besselSeries(z complex128) modified {
	q := z * z / 4
	log := cmplx.Log(z/2) + complex(eulerGamma, 0)
	// I0 = Σ q^k/k!²       K0 = −ln(z/2)γ I0 + Σ H_k q^k/k!²
	// I1 = z/2 Σ q^k/k!(k+1)!   K1 = 1/z + ln(z/2)γ I1 − z/4 Σ (H_k+H_{k+1}) q^k/k!(k+1)!
	i0, i1 := complex128(1), complex128(1)
	s0, s1 := complex128(0), complex128(1)
	t0, t1 := complex128(1), complex128(1)
	h := 0.0
	for k := 1.0; k < 40; k++ {
		t0 *= q / complex(k*k, 0)
		t1 *= q / complex(k*(k+1), 0)
		h += 1 / k
		i0 += t0
		i1 += t1
		s0 += complex(h, 0) * t0
		s1 += complex(2*h+1/(k+1), 0) * t1
		if cmplx.Abs(t0)*h < 1e-17*cmplx.Abs(i0) {
			break
		}
	}
	i1 *= z / 2
	e := cmplx.Exp(z)
	return modified{
		i0: i0 / e,
		i1: i1 / e,
		k0: (s0 - log*i0) * e,
		k1: (1/z + log*i1 - z/4*s1) * e,
	}
}

const eulerGamma = 0.57721566490153286060651209008240243

func besselFractions(z complex128) modified {
	// K0 and K1 e^z by Steed's evaluation of the second fraction of Temme.
	b := 2 * (1 + z)
	d := 1 / b
	h, delh := d, d
	q1, q2 := complex128(0), complex128(1)
	a1 := 0.25 // 1/4 − ν², ν = 0
	c := complex(a1, 0)
	q := c
	a := -a1
	s := 1 + q*delh
	for i := 2; i < 1000; i++ {
		a -= float64(2 * (i - 1))
		c = complex(-a/float64(i), 0) * c
		qnew := (q1 - b*q2) / complex(a, 0)
		q1, q2 = q2, qnew
		q += c * qnew
		b += 2
		d = 1 / (b + complex(a, 0)*d)
		delh = (b*d - 1) * delh
		h += delh
		dels := q * delh
		s += dels
		if cmplx.Abs(dels) < 1e-17*cmplx.Abs(s) {
			break
		}
	}
	h *= complex(a1, 0)
	k0 := cmplx.Sqrt(complex(pi/2, 0)/z) / s
	k1 := k0 * (z + 0.5 - h) / z

	// I1/I0 = 1/(2/z + 1/(4/z + 1/(6/z + ...))) from the far end.
	var ratio complex128
	for n := int(cmplx.Abs(z)) + 40; n > 0; n-- {
		ratio = 1 / (complex(2*float64(n), 0)/z + ratio)
	}
	i0 := 1 / (z * (k1 + ratio*k0))
	return modified{i0: i0, i1: ratio * i0, k0: k0, k1: k1}
}

func besselAsymptotic(z complex128) modified {
	// Σ a_k(ν)/z^k, a_k = a_{k−1} (4ν² − (2k−1)²)/(8k), plus and minus signs.
	var plus, minus [2]complex128
	inv := 1 / z
	for n, mu := range [2]float64{0, 4} {
		t, even, odd := complex128(1), complex128(1), complex128(0)
		for k := 1.0; k < 60; k += 2 {
			t *= complex((mu-(2*k-1)*(2*k-1))/(8*k), 0) * inv
			odd += t
			t *= complex((mu-(2*k+1)*(2*k+1))/(8*k+8), 0) * inv
			even += t
			if math.Abs(real(t))+math.Abs(imag(t)) < 1e-17 {
				break
			}
		}
		plus[n], minus[n] = even+odd, even-odd
	}
	rootK := cmplx.Sqrt(complex(pi/2, 0) * inv)
	rootI := rootK * complex(1/pi, 0) // 1/√(2πz)
	m := modified{i0: minus[0] * rootI, i1: minus[1] * rootI, k0: plus[0] * rootK, k1: plus[1] * rootK}
	if real(z) < 20 {
		// The recessive part of I: e^{±iπ(ν+1/2)} e^{−2z} Σ a_k/z^k, upper
		// sign in the upper half plane. It matters near the imaginary axis.
		e := cmplx.Exp(-2*z) * 1i
		if imag(z) < 0 {
			e = -e
		}
		m.i0 += e * plus[0] * rootI
		m.i1 -= e * plus[1] * rootI
	}
	return m
}

// besselJY returns J_n(x), J_n′(x), Y_n(x) and Y_n′(x) for n ≥ 0, x > 0. Y
// comes by upward recurrence from the standard library's Y0, Y1; J upward
// where it oscillates (n ≤ x), and above from the fraction for J_{n+1}/J_n
// and the Wronskian, which stays accurate where a recurrence scaled by J0
// would divide by a zero of J0. Where Y overflows it is −Inf, Y′ is +Inf and
// J, J′ are 0.
//
// Source: [dlmf] 10.6.1, 10.6.2, 10.10.1, 10.5.2.
func besselJY(n int, x float64) (j, dj, y, dy float64) {
	y, yp := math.Y0(x), math.Y1(x) // Y_n and Y_{n+1}
	for k := range n {
		y, yp = yp, 2*float64(k+1)/x*yp-y
	}
	if math.IsInf(yp, 0) || math.IsNaN(yp) {
		return 0, 0, math.Inf(-1), math.Inf(1)
	}
	nx := float64(n) / x
	dy = nx*y - yp
	if float64(n) <= x {
		jm, jp := 0.0, math.J1(x) // J_{n−1} and J_{n+1}
		j = math.J0(x)
		for k := range n {
			jm, j, jp = j, jp, 2*float64(k+1)/x*jp-j
		}
		if n == 0 {
			return j, -math.J1(x), y, dy
		}
		return j, jm - nx*j, y, dy
	}
	// n > x: r = J_{n+1}/J_n = 1/(2(n+1)/x − 1/(2(n+2)/x − ...)).
	r := 0.0
	for k := n + 60; k > n; k-- {
		r = 1 / (2*float64(k)/x - r)
	}
	j = 2 / (pi * x) / (r*y - yp) // J_{n+1} Y_n − J_n Y_{n+1} = 2/πx
	return j, (nx - r) * j, y, dy
}
