package line

import (
	"math"
	"math/cmplx"

	"linewright/physics/material"
)

// Round conductors. E is along the axis, H around it, both at a radius r; in a
// metal of wave number k and wave impedance ζ they are
//
//	E = A I0(kr) + B K0(kr)      ζH = A I1(kr) − B K1(kr)
//
// Source: [schelkunoff1934], internal impedances of cylindrical conductors.

// wireImpedance returns the internal impedance, in Ω/m, of a smooth round
// conductor of radius a whose return path is outside it, at frequency f. A
// bore above 0 is the inside radius of a tube, whose bore holds no field. The
// layers of plating end at radius a.
func wireImpedance(c *material.Conductor, a, bore, f float64) complex128 {
	r := a
	for i := range c.Plating {
		r -= c.Plating[i].Thickness
	}
	var e, h complex128
	k, zeta := c.Metal.Wave(f, c.Temperature)
	switch {
	case zeta == 0:
		e, h = 0, 1
	case bore > 0 && real(k)*(r-bore) < opaque:
		e, h = shell(1, 0, k, zeta, bore, r)
	default:
		m := besselModified(k * complex(r, 0))
		e, h = m.i0, m.i1/zeta
	}
	for i := len(c.Plating) - 1; i >= 0; i-- {
		l := &c.Plating[i]
		e, h = plate(e, h, l, f, c.Temperature, r, r+l.Thickness)
		r += l.Thickness
	}
	return e / h / complex(2*pi*a, 0)
}

// tubeImpedance returns the internal impedance, in Ω/m, of a smooth round
// conductor of inside radius b whose return path is inside it, at frequency
// f. wall is its whole thickness, outside of which there is no field; 0
// stands for a thick wall. The layers of plating begin at radius b.
func tubeImpedance(c *material.Conductor, b, wall, f float64) complex128 {
	r := b
	for i := range c.Plating {
		r += c.Plating[i].Thickness
	}
	var e, h complex128
	k, zeta := c.Metal.Wave(f, c.Temperature)
	switch {
	case zeta == 0:
		e, h = 0, 1
	case wall > 0 && real(k)*(b+wall-r) < opaque:
		e, h = shell(1, 0, k, zeta, b+wall, r)
	default:
		m := besselModified(k * complex(r, 0))
		e, h = m.k0, -m.k1/zeta
	}
	for i := len(c.Plating) - 1; i >= 0; i-- {
		l := &c.Plating[i]
		e, h = plate(e, h, l, f, c.Temperature, r, r-l.Thickness)
		r -= l.Thickness
	}
	return -e / h / complex(2*pi*b, 0)
}

// opaque is the number of skin depths from which a wall is as good as
// endless: e^{−2·opaque} is 4e-18.
const opaque = 20

func plate(e, h complex128, l *material.Layer, f, kelvin, r1, r2 float64) (complex128, complex128) {
	k, zeta := l.Wave(f, kelvin)
	if zeta == 0 {
		return 0, 1
	}
	return shell(e, h, k, zeta, r1, r2)
}

// shell carries E and H through metal from radius r1 to r2, either way, up to
// a common factor (the exponential growth, which would overflow).
func shell(e, h, k, zeta complex128, r1, r2 float64) (e2, h2 complex128) {
	x1, x2 := k*complex(r1, 0), k*complex(r2, 0)
	p, q := besselModified(x1), besselModified(x2)
	// I(x2)K(x1) ∝ e^{x2−x1}, K(x2)I(x1) ∝ e^{x1−x2}; keep the growing one.
	up, down := complex128(1), complex128(1)
	if r2 > r1 {
		down = cmplx.Exp(2 * (x1 - x2))
	} else {
		up = cmplx.Exp(2 * (x2 - x1))
	}
	zh := zeta * h
	e2 = (up*q.i0*p.k1+down*q.k0*p.i1)*e + (up*q.i0*p.k0-down*q.k0*p.i0)*zh
	h2 = (up*q.i1*p.k1-down*q.k1*p.i1)*e + (up*q.i1*p.k0+down*q.k1*p.i0)*zh
	return e2, h2 / zeta
}

// rough returns z with the roughness of c's surface in it: times the complex
// factor where the model has one, else the factor on the resistance alone,
// and the factor of the resistance.
func rough(z complex128, c *material.Conductor, f float64) (complex128, float64) {
	if c.Roughness.Smooth() {
		return z, 1
	}
	metal := c.Metal
	if len(c.Plating) > 0 {
		metal = c.Plating[0].Metal
	}
	k, zeta := metal.Wave(f, c.Temperature)
	if zeta == 0 {
		return z, 1
	}
	if h, ok := c.Roughness.Complex(k); ok {
		zr := z * h
		return zr, real(zr) / real(z)
	}
	factor := c.Roughness.AtDepth(1 / real(k))
	return complex(real(z)*factor, imag(z)), factor
}

// crowding returns by how much the uneven current on eccentric cylinders of
// radii a and b, axes apart by e, raises the resistance of each:
//
//	2πr ∮J² ds / I² = coth τ,   cosh τ_a = (b²−a²−e²)/2ae,   cosh τ_b = (b²−a²+e²)/2be
//
// In bipolar coordinates, in which the conductors are the circles τ_a and
// τ_b, the field of the line is uniform, and J ∝ cosh τ − cos σ; the integral
// is elementary. It holds where the skin depth is small beside the radii.
//
// Source: field of [smythe1968] ch. IV (bicylindrical coordinates), integral
// computed here, confirmed by the incremental inductance rule of
// [wheeler1942] in TestEccentricLossWheeler.
func crowding(a, b, e float64) (inner, outer float64) {
	if e == 0 {
		return 1, 1
	}
	u := (b - a) * (b + a)
	si, so := 2*a*e/(u-e*e), 2*b*e/(u+e*e)
	return 1 / math.Sqrt((1-si)*(1+si)), 1 / math.Sqrt((1-so)*(1+so))
}
