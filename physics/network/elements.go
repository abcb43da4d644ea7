package network

import "math/cmplx"

// Load returns the one-port of impedance z(f), in Ω. An infinite z is an open
// circuit, zero a short.
func Load(frequency []float64, reference complex128, z func(f float64) complex128) Network {
	n := New(1, frequency, reference)
	for k, f := range frequency {
		n.S[k] = Reflection(z(f), reference)
	}
	return n
}

// Reflection returns the reflection coefficient of an impedance z at a port of
// the given reference, both in Ω: (z − Z*)/(z + Z). For an infinite z it is 1.
//
// Source: [kurokawa1965] eq. 11 (number from memory); [pozar2012] eq. 2.35 for a real reference.
func Reflection(z, reference complex128) complex128 {
	if cmplx.IsInf(z) {
		return 1
	}
	return (z - conj(reference)) / (z + reference)
}

// ImpedanceOf returns the impedance, in Ω, that has the reflection coefficient
// gamma at a port of the given reference: (Z* + Z Γ)/(1 − Γ). It is infinite for Γ = 1.
func ImpedanceOf(gamma, reference complex128) complex128 {
	if gamma == 1 {
		return cmplx.Inf()
	}
	return (conj(reference) + reference*gamma) / (1 - gamma)
}

// Series returns the two-port of an impedance z(f), in Ω, in series with the line.
// An infinite z is a break.
//
// Source: [pozar2012] Table 4.1.
func Series(frequency []float64, reference complex128, z func(f float64) complex128) Network {
	n := New(2, frequency, reference)
	r := complex(2*real(reference), 0)
	for k, f := range frequency {
		s11, s21 := complex128(1), complex128(0)
		if zs := z(f); !cmplx.IsInf(zs) {
			d := zs + 2*reference
			s11, s21 = (zs+reference-conj(reference))/d, r/d
		}
		n.Set(k, 0, 0, s11)
		n.Set(k, 1, 1, s11)
		n.Set(k, 0, 1, s21)
		n.Set(k, 1, 0, s21)
	}
	return n
}

// Shunt returns the two-port of an admittance y(f), in S, across the line. An
// infinite y is a short.
//
// Source: [pozar2012] Table 4.1.
func Shunt(frequency []float64, reference complex128, y func(f float64) complex128) Network {
	n := New(2, frequency, reference)
	r := complex(2*real(reference), 0)
	for k, f := range frequency {
		s11, s21 := -conj(reference)/reference, complex128(0)
		if ys := y(f); !cmplx.IsInf(ys) {
			d := ys*reference*reference + 2*reference
			s11, s21 = (reference-conj(reference)-ys*conj(reference)*reference)/d, r/d
		}
		n.Set(k, 0, 0, s11)
		n.Set(k, 1, 1, s11)
		n.Set(k, 0, 1, s21)
		n.Set(k, 1, 0, s21)
	}
	return n
}

// Line returns the two-port of a uniform line. At frequency f, in Hz, at gives its γl,
// propagation constant times length, in Np + j rad, and its characteristic
// impedance in Ω, which may be complex.
//
// The chain matrix cosh γl, Zc sinh γl, sinh γl / Zc is evaluated scaled by
// 2e^{−γl}, so that any attenuation is harmless.
//
// Source: [pozar2012] Table 4.1 with [frickey1994].
func Line(frequency []float64, reference complex128, at func(f float64) (gammaLength, zc complex128)) Network {
	n := New(2, frequency, reference)
	z, zb := reference, conj(reference)
	r := complex(4*real(reference), 0)
	for k, f := range frequency {
		gl, zc := at(f)
		e := cmplx.Exp(-gl)
		q := e * e
		d := 2*z*(1+q) + (zc+z*z/zc)*(1-q)
		s11 := ((z-zb)*(1+q) + (zc-z*zb/zc)*(1-q)) / d
		s21 := r * e / d
		n.Set(k, 0, 0, s11)
		n.Set(k, 1, 1, s11)
		n.Set(k, 0, 1, s21)
		n.Set(k, 1, 0, s21)
	}
	return n
}
