package line

import "math"

// CohnStripline returns the exact quasi-static values of a centred strip of
// zero thickness between two planes a spacing apart, in permittivity er:
//
//	Z = η0/(4√εr) · K(k′)/K(k)     k = tanh(π w / 2b)
//
// Source: [cohn1955]; [pozar2012] §3.7.
func CohnStripline(width, spacing, er float64) Static {
	x := pi * width / (2 * spacing)
	// k′ = 1/cosh x in a form that does not overflow
	k := modulus{math.Tanh(x), 2 * math.Exp(-x) / (1 + math.Exp(-2*x))}
	if k.c == 0 { // so wide that k′ is below the smallest float: K(k) = ln(4/k′)
		return Static{Eta0 / (4 * math.Sqrt(er)) * (pi / 2) / (math.Log(2) + x), er}
	}
	return Static{Eta0 / (4 * math.Sqrt(er)) / k.ratio(), er}
}

// CohnFringing returns the exact fringing capacitance, over the permittivity,
// of one corner of a wide strip of thickness t centred between planes a
// spacing b apart:
//
//	Cf/ε = (1/π) [2r ln(r+1) − (r−1) ln(r²−1)]     r = 1/(1−t/b)
//
// with 2 ln 2/π for a thin strip. The strip's capacitance is
// 2wε/((b−t)/2) + 4Cf when w/(b−t) exceeds about 0.35.
//
// Source: [cohn1954].
func CohnFringing(thickness, spacing float64) float64 {
	x := thickness / spacing
	r := 1 / (1 - x)
	s := 2 * r * math.Log1p(r)
	if x > 0 {
		s -= (r - 1) * math.Log(r*r-1)
	}
	return s / pi
}

// CohnWideStripline returns the quasi-static values of a wide thick centred
// strip from [CohnFringing], good to about 1 % for width ≥ 0.35 (spacing −
// thickness).
//
// Source: [cohn1955].
func CohnWideStripline(width, spacing, thickness, er float64) Static {
	c := 4*width/(spacing-thickness) + 4*CohnFringing(thickness, spacing)
	return Static{Eta0 / (math.Sqrt(er) * c), er}
}

// WheelerStripline returns the quasi-static values of a thick centred strip;
// claimed error below 0.5 % for width < 10 (spacing − thickness), 0.6 % seen
// against the field. With
// p = b−t and x = t/b,
//
//	Z = (30/√εr) ln{1 + (4/π)(p/w′) [(8/π)(p/w′) + √((8/π)²(p/w′)² + 6.27)]}
//	w′/p = w/p + x/(π(1−x)) {1 − ½ ln[(x/(2−x))² + (0.0796x/(w/b+1.1x))^m]}
//	m = 2/(1 + ⅔ x/(1−x))
//
// Source: [wheeler1978] (recalled).
func WheelerStripline(width, spacing, thickness, er float64) Static {
	b := spacing
	p := b - thickness
	x := thickness / b
	w := width / p
	if x > 0 {
		m := 2 / (1 + 2.0/3*x/(1-x))
		w += x / (pi * (1 - x)) * (1 - 0.5*math.Log(math.Pow(x/(2-x), 2)+math.Pow(0.0796*x/(width/b+1.1*x), m)))
	}
	q := 8 / (pi * w)
	z := 30 / math.Sqrt(er) * math.Log(1+q/2*(q+math.Sqrt(q*q+6.27)))
	return Static{z, er}
}

// CohnConductorLoss returns the attenuation, in Np/m, that conductors of
// surface resistance rs, in Ω, give a centred thick strip of impedance z, by
// Cohn's approximation for √εr·z < 120 Ω:
//
//	α = 2.7e-3 rs εr z A / (30π(b−t))    A = 1 + 2w/(b−t) + (1/π)(b+t)/(b−t) ln((2b−t)/t)
//
// and for higher impedances α = 0.16 rs B/(z b).
//
// Source: [cohn1955]; [pozar2012] eq. 3.181.
func CohnConductorLoss(rs, width, spacing, thickness, er, z float64) float64 {
	b, t, w := spacing, thickness, width
	if math.Sqrt(er)*z < 120 {
		a := 1 + 2*w/(b-t) + (b+t)/(b-t)/pi*math.Log((2*b-t)/t)
		return 2.7e-3 * rs * er * z * a / (30 * pi * (b - t))
	}
	bb := 1 + b/(0.5*w+0.7*t)*(0.5+0.414*t/w+math.Log(4*pi*w/t)/(2*pi))
	return 0.16 * rs * bb / (z * b)
}

// StriplineTE returns the cutoff, in Hz, of a stripline's first higher mode,
// a half wave across the strip and its fringes:
//
//	f = c / (√εr (2 w + π b / 2))
//
// Source: [vendelin1970] (recalled; the same estimate stands in textbooks as
// 15/(b√εr(w/b+π/4)) GHz with b in cm).
func StriplineTE(width, spacing, er float64) float64 {
	return C0 / (math.Sqrt(er) * (2*width + pi*spacing/2))
}
