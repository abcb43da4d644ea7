package xsection

import (
	"math"
	"math/cmplx"
)

// A rule holds the Gauss-Legendre rule of n nodes on [−1, 1] and what turns
// values at the nodes into Legendre coefficients.
type rule struct {
	n      int
	x, w   []float64
	coef   [][]float64 // coef[j][k] = (2k+1)/2·w_j·P_k(x_j): a_k = Σ_j coef[j][k] σ_j
	beyond float64     // semi-axes a+b of the ellipse outside which the plain rule serves
}

// newRule finds the nodes by Newton's method on P_n [abramowitz1964] 25.4.29.
func newRule(n int) *rule {
	r := &rule{n: n, x: make([]float64, n), w: make([]float64, n), coef: make([][]float64, n)}
	p := make([]float64, n+1)
	for j := range r.x {
		x := -math.Cos(math.Pi * (float64(j) + 0.75) / (float64(n) + 0.5))
		for it := 0; it < 100; it++ {
			legendre(p, x)
			d := float64(n) * (x*p[n] - p[n-1]) / (x*x - 1)
			step := p[n] / d
			x -= step
			if math.Abs(step) < 1e-16 {
				break
			}
		}
		legendre(p, x)
		d := float64(n) * (x*p[n] - p[n-1]) / (x*x - 1)
		r.x[j], r.w[j] = x, 2/((1-x*x)*d*d)
		r.coef[j] = make([]float64, n)
		for k := range r.coef[j] {
			r.coef[j][k] = float64(2*k+1) / 2 * r.w[j] * p[k]
		}
	}
	r.beyond = math.Pow(10, 10/float64(2*n))
	return r
}

// legendre fills p with P_0(x), P_1(x) ...
func legendre(p []float64, x float64) {
	p[0] = 1
	if len(p) > 1 {
		p[1] = x
	}
	for k := 1; k+1 < len(p); k++ {
		p[k+1] = (float64(2*k+1)*x*p[k] - float64(k)*p[k-1]) / float64(k+1)
	}
}

// legendreQ fills q with the Legendre functions of the second kind,
//
//	Q_k(w) = ½ ∫ P_k(t)/(w−t) dt   over [−1, 1],
//
// by upward recurrence, which is accurate near the interval, where we use it.
// On the interval itself (w real) their real parts are the principal values.
// Source: [dlmf] 14.12.13 (Neumann's integral), 14.10.3.
func legendreQ(q []complex128, w complex128) {
	q[0] = cmplx.Log((w+1)/(w-1)) / 2
	if len(q) > 1 {
		q[1] = w*q[0] - 1
	}
	for k := 1; k+1 < len(q); k++ {
		q[k+1] = (complex(float64(2*k+1), 0)*w*q[k] - complex(float64(k), 0)*q[k-1]) / complex(float64(k+1), 0)
	}
}

// A panel is a short stretch of an edge that carries the charge density of a
// polynomial of degree n−1 in the arc length.
type panel struct {
	curve
	edge   int
	t0, t1 float64 // its stretch of the edge
	z, nrm []complex128
	h      float64 // half length
	mid, d complex128
}

func newPanel(r *rule, edges []edge, i int, t0, t1 float64) panel {
	c := edges[i].part(t0, t1)
	p := panel{curve: c, edge: i, t0: t0, t1: t1, h: c.length() / 2, mid: c.at(0.5)}
	p.d = c.direction(0.5) * complex(p.h, 0)
	p.z, p.nrm = make([]complex128, r.n), make([]complex128, r.n)
	for j, x := range r.x {
		p.z[j] = c.at((1 + x) / 2)
		p.nrm[j] = c.direction((1+x)/2) * 1i
	}
	return p
}

// scratch is the working space of one goroutine.
type scratch struct {
	q   []complex128
	pot []float64
	fld []complex128
}

func newScratch(n int) *scratch {
	return &scratch{make([]complex128, n+2), make([]float64, n), make([]complex128, n)}
}

// influence fills s.pot with the potentials, s.fld with the conjugate fields
// Ex − jEy, that unit values of the charge density σ/ε0 at the panel's nodes
// (interpolated by the polynomial through them) make at z:
//
//	u = −(1/2π) ∫ σ ln|z−y| ds,   Ex − jEy = (1/2π) ∫ σ ds/(z−y)
//
// self is the number of the node that z is, or −1. Then the field is the
// principal value, the mean of the two sides. Far off, the plain Gauss rule
// serves. Near by, the integrals over a straight panel are exact: with
// z = mid + w·d they are combinations of Q_k(w). On an arc the integrand's
// nearest pole, at complex parameter w, is taken out and integrated so, and
// the rest is smooth: the singularity exchange of [helsing2008].
func (p *panel) influence(r *rule, s *scratch, z complex128, self int, wantPot, wantFld bool) {
	w := (z - p.mid) / p.d
	if self < 0 {
		if a := cmplx.Abs(w-1) + cmplx.Abs(w+1); a > r.beyond+1/r.beyond {
			p.plain(r, s, z, wantPot, wantFld)
			return
		}
	}
	if p.radius > 0 {
		half := p.dt / 2
		v := (z - p.centre) / cmplx.Rect(p.radius, p.th+half)
		if v == 0 {
			p.plain(r, s, z, wantPot, wantFld)
			return
		}
		w = -1i * cmplx.Log(v) / complex(half, 0)
		if self >= 0 {
			w = complex(r.x[self], 0)
		} else if a := cmplx.Abs(w-1) + cmplx.Abs(w+1); a > r.beyond+1/r.beyond {
			p.plain(r, s, z, wantPot, wantFld)
			return
		}
	} else if self >= 0 {
		w = complex(r.x[self], 0)
	}
	n := r.n
	legendreQ(s.q[:n+1], w)
	if wantPot {
		// M_k = ∫ P_k ln|w−t| dt: M_0 in closed form, M_k = Re 2(Q_{k+1}−Q_{k−1})/(2k+1).
		m0 := real(xlogx(w+1)-xlogx(w-1)) - 2
		k0 := -p.h / (2 * math.Pi)
		lnd := math.Log(p.h)
		for j := 0; j < n; j++ {
			c := r.coef[j]
			sum := c[0] * m0
			for k := 1; k < n; k++ {
				sum += c[k] * real(s.q[k+1]-s.q[k-1]) * (2 / float64(2*k+1))
			}
			sum += r.w[j] * lnd
			if p.radius > 0 && j != self {
				sum += r.w[j] * (math.Log(cmplx.Abs(z-p.z[j])/cmplx.Abs(w-complex(r.x[j], 0))) - lnd)
			}
			s.pot[j] = k0 * sum
		}
	}
	if wantFld {
		k0 := complex(p.h/math.Pi, 0)
		switch {
		case p.radius == 0 && self >= 0:
			for j := range s.fld {
				s.fld[j] = 0 // tangential part left out: only the normal field is asked for on a node
			}
		case p.radius == 0:
			k0 /= p.d
			for j := 0; j < n; j++ {
				c := r.coef[j]
				var sum complex128
				for k := 0; k < n; k++ {
					sum += complex(c[k]*real(s.q[k]), c[k]*imag(s.q[k]))
				}
				s.fld[j] = k0 * sum
			}
		case self >= 0:
			// (z−y)·n/|z−y|² is 1/2R along the outward normal everywhere on a circle.
			out := cmplx.Conj(z-p.centre) / complex(p.radius, 0)
			for j := range s.fld {
				s.fld[j] = out * complex(p.h*r.w[j]/(4*math.Pi*p.radius), 0)
			}
		default:
			slope := (z - p.centre) * complex(0, p.dt/2) // dy/dt at the pole
			for j := 0; j < n; j++ {
				c := r.coef[j]
				var sum complex128
				for k := 0; k < n; k++ {
					sum += complex(c[k]*real(s.q[k]), c[k]*imag(s.q[k]))
				}
				sum /= slope
				sum += complex(r.w[j]/2, 0) * (1/(z-p.z[j]) - 1/(slope*(w-complex(r.x[j], 0))))
				s.fld[j] = k0 * sum
			}
		}
	}
}

// plain is influence by the Gauss rule.
func (p *panel) plain(r *rule, s *scratch, z complex128, wantPot, wantFld bool) {
	k0 := p.h / (2 * math.Pi)
	for j, y := range p.z {
		x, y := real(z)-real(y), imag(z)-imag(y)
		q := x*x + y*y
		if wantPot {
			s.pot[j] = -k0 / 2 * r.w[j] * math.Log(q)
		}
		if wantFld {
			f := k0 * r.w[j] / q
			s.fld[j] = complex(f*x, -f*y)
		}
	}
}

func xlogx(w complex128) complex128 {
	if w == 0 {
		return 0
	}
	return w * cmplx.Log(w)
}
