package xsection

import (
	"math"
	"math/cmplx"
)

// A curve is a straight line or a circular arc from a to b. Points of the
// plane are complex numbers x + jy.
type curve struct {
	a, b   complex128
	radius float64 // 0: straight
	centre complex128
	th, dt float64 // arc: from angle th over dt, positive counter-clockwise
}

func straight(a, b complex128) curve { return curve{a: a, b: b} }

func arc(centre complex128, r, th, dt float64) curve {
	return curve{a: centre + cmplx.Rect(r, th), b: centre + cmplx.Rect(r, th+dt), radius: r, centre: centre, th: th, dt: dt}
}

// at returns the point at the fraction t of the length.
func (c curve) at(t float64) complex128 {
	if c.radius == 0 {
		return c.a + complex(t, 0)*(c.b-c.a)
	}
	return c.centre + cmplx.Rect(c.radius, c.th+t*c.dt)
}

// direction returns the unit tangent at t.
func (c curve) direction(t float64) complex128 {
	if c.radius == 0 {
		return (c.b - c.a) / complex(cmplx.Abs(c.b-c.a), 0)
	}
	return cmplx.Rect(1, c.th+t*c.dt) * complex(0, math.Copysign(1, c.dt))
}

func (c curve) length() float64 {
	if c.radius == 0 {
		return cmplx.Abs(c.b - c.a)
	}
	return c.radius * math.Abs(c.dt)
}

// part returns the stretch from t0 to t1.
func (c curve) part(t0, t1 float64) curve {
	if c.radius == 0 {
		return straight(c.at(t0), c.at(t1))
	}
	p := c
	p.th, p.dt = c.th+t0*c.dt, (t1-t0)*c.dt
	p.a, p.b = c.at(t0), c.at(t1)
	return p
}

// nearest returns the parameter in [0, 1] of the curve's point nearest to z,
// and the distance.
func (c curve) nearest(z complex128) (t, dist float64) {
	if c.radius == 0 {
		d := c.b - c.a
		t = real((z-c.a)*cmplx.Conj(d)) / (real(d)*real(d) + imag(d)*imag(d))
	} else {
		turn := cmplx.Phase((z - c.centre) * cmplx.Rect(1, -c.th-c.dt/2)) // from the arc's middle, ±π
		t = 0.5 + turn/c.dt
	}
	t = min(max(t, 0), 1)
	if t == t && t > 0 && t < 1 {
		return t, cmplx.Abs(z - c.at(t))
	}
	// On an arc the nearest end may be the other one, round the back.
	da, db := cmplx.Abs(z-c.a), cmplx.Abs(z-c.b)
	if da <= db {
		return 0, da
	}
	return 1, db
}

// box returns the corners of an upright rectangle that holds the curve.
func (c curve) box() (lo, hi complex128) {
	if c.radius > 0 {
		r := complex(c.radius, c.radius)
		return c.centre - r, c.centre + r
	}
	return complex(min(real(c.a), real(c.b)), min(imag(c.a), imag(c.b))),
		complex(max(real(c.a), real(c.b)), max(imag(c.a), imag(c.b)))
}

// crossings returns the points in which c and d meet, ends that touch the
// other curve included, to within tol. Of a shared stretch it returns the ends.
func crossings(c, d curve, tol float64) []complex128 {
	clo, chi := c.box()
	dlo, dhi := d.box()
	if real(chi)+tol < real(dlo) || real(dhi)+tol < real(clo) || imag(chi)+tol < imag(dlo) || imag(dhi)+tol < imag(clo) {
		return nil
	}
	var zs []complex128
	add := func(z complex128) {
		if _, e := c.nearest(z); !(e <= tol) {
			return
		}
		if _, e := d.nearest(z); !(e <= tol) {
			return
		}
		zs = append(zs, z)
	}
	for _, z := range []complex128{c.a, c.b, d.a, d.b} {
		add(z)
	}
	switch {
	case c.radius == 0 && d.radius == 0:
		u, v := c.b-c.a, d.b-d.a
		if den := cross(u, v); math.Abs(den) > 1e-12*cmplx.Abs(u)*cmplx.Abs(v) {
			add(c.at(cross(d.a-c.a, v) / den))
		}
	case c.radius > 0 && d.radius > 0:
		gap := d.centre - c.centre
		dist := cmplx.Abs(gap)
		if dist <= tol {
			break // concentric: they share a stretch or do not meet
		}
		x := (dist*dist + c.radius*c.radius - d.radius*d.radius) / (2 * dist)
		y := math.Sqrt(max(c.radius*c.radius-x*x, 0))
		add(c.centre + gap/complex(dist, 0)*complex(x, y))
		add(c.centre + gap/complex(dist, 0)*complex(x, -y))
	default:
		if c.radius == 0 {
			c, d = d, c
		}
		along := d.direction(0)
		foot := real((c.centre - d.a) * cmplx.Conj(along))
		p := d.a + complex(foot, 0)*along
		h := cmplx.Abs(c.centre - p)
		half := math.Sqrt(max(c.radius*c.radius-h*h, 0))
		add(p + complex(half, 0)*along)
		add(p - complex(half, 0)*along)
	}
	return zs
}

func cross(u, v complex128) float64 { return real(u)*imag(v) - imag(u)*real(v) }
