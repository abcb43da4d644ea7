package line

import "math"

// CompleteK returns the complete elliptic integral of the first kind K(k) from
// the complementary modulus k′ = √(1−k²), by the arithmetic-geometric mean:
//
//	K(k) = π / (2 AGM(1, k′))
//
// Taking k′ keeps every digit where k is so near 1 that 1−k² would cancel
// (narrow gaps, wide strips). K(k′) itself is CompleteK(k).
//
// Source: [abramowitz1964] 17.6.
func CompleteK(complement float64) float64 {
	a, b := 1.0, complement
	if !(b > 0) {
		if b == 0 {
			return math.Inf(1)
		}
		return math.NaN()
	}
	for range 64 {
		if math.Abs(a-b) <= 4e-16*a {
			break
		}
		a, b = (a+b)/2, math.Sqrt(a*b)
	}
	return pi / (2 * a)
}

// modulus is a modulus with its complement, each computed without
// cancellation.
type modulus struct{ k, c float64 }

// ratio returns K(k)/K(k′).
func (m modulus) ratio() float64 { return CompleteK(m.c) / CompleteK(m.k) }

// slotModulus is k = s/(s+2g), the modulus of two coplanar slots.
func slotModulus(s, g float64) modulus {
	d := s + 2*g
	return modulus{s / d, 2 * math.Sqrt(g*(s+g)) / d}
}

// sinhModulus is sinh a/sinh b with 0 < a < b; diff is b − a.
func sinhModulus(a, b, diff float64) modulus {
	if b > 300 { // sinh x = eˣ/2 to all digits wherever it matters
		e := math.Exp(-diff)
		return modulus{e, math.Sqrt(-math.Expm1(-2 * diff))}
	}
	s := math.Sinh(b)
	return modulus{math.Sinh(a) / s, math.Sqrt(math.Sinh(b+a)/s) * math.Sqrt(math.Sinh(diff)/s)}
}

// tanhModulus is tanh a/tanh b with 0 < a < b; diff is b − a.
func tanhModulus(a, b, diff float64) modulus {
	// 1 − k² = sinh(b+a) sinh(b−a) / (cosh²a sinh²b), written with decaying
	// exponentials.
	da, db := 1+math.Exp(-2*a), -math.Expm1(-2*b)
	num := -math.Expm1(-2*(a+b)) * -math.Expm1(-2*diff)
	return modulus{math.Tanh(a) / math.Tanh(b), 2 * math.Exp(-a) * math.Sqrt(num) / (da * db)}
}
