package modematch

import (
	"math"
	"math/cmplx"
	"slices"
)

// descentFrom is the product of wave number and the shorter of aperture width
// and inner radius from which coupling integrals are taken along the lines of
// steepest descent; below it, by Gauss-Jacobi rules along the radius.
const descentFrom = 22.0

// descentPoints are the numbers of Gauss-Laguerre points: the rule of n points
// errs by about (n!/xⁿ)², x being the product above; each number serves from
// its x on, with room for the polynomials.
var descentPoints = [...]struct {
	from   float64
	points int
}{{descentFrom, 12}, {60, 8}, {200, 5}}

// kind tells at which edge of the aperture the functions of a family are
// singular.
type kind int

const (
	smooth kind = iota
	innerEdge
	outerEdge
)

// family is a set of trial functions: a power of the distance from an edge
// times polynomials of rising degree, on one element of the aperture.
type family struct {
	kind  kind
	alpha float64
	count int // degrees 0 to count-1
	at    int // index of the first function among those of the aperture

	// Gauss-Jacobi points, and the values r·E of each degree there times the
	// weight: values[degree*len(points)+point].
	points []float64
	values []float64
}

// element is a stretch a < r < b of an aperture with trial functions of its
// own.
type element struct {
	a, b     float64
	families []family
}

// aperture is the opening a < r < b of a plane with its trial functions for
// r·Er. With ρ = (r−a)/w, σ = (b−r)/w, w = b−a and x a variable that maps the
// opening onto [−1, 1] they are
//
//	ρ^{±α} Pd(x),   σ^{±α′} Pd(x),   Pd(x)
//
// where α = ν − 1 is the exponent of the field at a right-angled metal edge
// between permittivities ε90, on the narrow side, and ε180, on the wide side:
//
//	cot²(νπ/2) = ε180 / (2 ε90 + ε180)
//
// (ν = 2/3 without dielectrics). The fields of the edge, ρ^{ν−1}, ρ^{1−ν},
// ρ^{ν+1}, ..., and what the curvature adds to them, are all among the
// functions, hence convergence is exponential in the degree. TEM is the
// constant. Source: [meixner1972] for the edge; the angular functions sin νφ
// matched across the face give the equation.
//
// The rate of convergence is set by the nearest singularity of the field at a
// complex radius: the edges of neighbouring planes, at r + jL, and the image
// of the own edge in a shallow step. Where one is near, the aperture is cut
// into elements small enough to keep their distance; the functions need not
// be continuous across a cut.
type aperture struct {
	a, b     float64
	widest   float64 // largest width of an element, m
	elements []element
	size     int
	ends     []support // of each function
	edges    [2]bool   // which edges of the aperture are corners of metal
	voltage  []float64 // ∫ Er dr of each function
}

// support tells on which element a function lives and how it behaves at the
// element's ends.
type support struct {
	element  int
	exponent [2]float64
}

// edgeExponent returns ν.
func edgeExponent(narrow, wide complex128) float64 {
	n, w := cmplx.Abs(narrow), cmplx.Abs(wide)
	return 2 / math.Pi * math.Acos(math.Sqrt(w/(2*(n+w))))
}

// nearest is the smallest admitted size of a singularity's position relative
// to an element, as the sum of the half axes of the ellipse about ±1 through
// it: errors of polynomials fall with that number to the power of the degree.
const nearest = 1.8

// smallest is the ratio of the aperture to the width from which an element is
// not cut again: what is smaller matters less than the accuracy aimed at.
const smallest = 60

// newAperture returns the aperture between two sections with functions of
// degree count-1 and lower; near are singularities r + jz of the field about
// it, other than its own edges, and widest is the largest width of an element,
// which short waves ask for.
func newAperture(l, r Section, count int, near []complex128, widest float64) *aperture {
	p := &aperture{widest: widest, a: max(l.InnerDiameter, r.InnerDiameter) / 2, b: min(l.OuterDiameter, r.OuterDiameter) / 2}
	el, er := l.permittivity(), r.permittivity()
	inner, outer := l.InnerDiameter != r.InnerDiameter, l.OuterDiameter != r.OuterDiameter
	p.edges = [2]bool{inner, outer}
	var innerAlpha, outerAlpha float64
	if inner {
		narrow, wide := el, er
		if r.InnerDiameter > l.InnerDiameter {
			narrow, wide = er, el
		}
		innerAlpha = edgeExponent(narrow, wide) - 1
		near = append(near, complex(p.a-math.Abs(l.InnerDiameter-r.InnerDiameter), 0))
	}
	if outer {
		narrow, wide := el, er
		if r.OuterDiameter < l.OuterDiameter {
			narrow, wide = er, el
		}
		outerAlpha = edgeExponent(narrow, wide) - 1
		near = append(near, complex(p.b+math.Abs(l.OuterDiameter-r.OuterDiameter), 0))
	}
	p.cut(p.a, p.b, near, 0)
	last := len(p.elements) - 1
	for i := range p.elements {
		e := &p.elements[i]
		add := func(k kind, alpha float64, n int) {
			e.families = append(e.families, family{kind: k, alpha: alpha, count: n, at: p.size})
			s := support{element: i}
			switch k {
			case innerEdge:
				s.exponent[0] = alpha
			case outerEdge:
				s.exponent[1] = alpha
			}
			for range n {
				p.ends = append(p.ends, s)
			}
			p.size += n
		}
		in, out := inner && i == 0, outer && i == last
		if in {
			add(innerEdge, innerAlpha, count)
			add(innerEdge, -innerAlpha, count)
		}
		if out {
			add(outerEdge, outerAlpha, count)
			add(outerEdge, -outerAlpha, count)
		}
		switch {
		case in && out:
			add(smooth, 0, count)
		case !in && !out:
			add(smooth, 0, count+2)
		}
	}
	p.tabulate()
	return p
}

// cut divides a < r < b into elements that keep their distance from the
// singularities: at the radius of one that lies over the inside, else close
// to the end that is near one.
func (p *aperture) cut(a, b float64, near []complex128, depth int) {
	e := element{a: a, b: b}
	var worst complex128
	least := nearest
	for _, s := range near {
		x := e.variable(s)
		y := cmplx.Sqrt(x*x - 1)
		if d := max(cmplx.Abs(x+y), cmplx.Abs(x-y)); d < least {
			least, worst = d, s
		}
	}
	w := b - a
	if w > p.widest {
		p.cut(a, (a+b)/2, near, depth+1)
		p.cut((a+b)/2, b, near, depth+1)
		return
	}
	if least == nearest || w < p.width()/smallest || depth > 12 {
		p.elements = append(p.elements, e)
		return
	}
	at := real(worst)
	if at < a+0.05*w || at > b-0.05*w {
		if at < (a+b)/2 {
			at = a + min(max(4*cmplx.Abs(worst-complex(a, 0)), 0.05*w), 0.5*w)
		} else {
			at = b - min(max(4*cmplx.Abs(worst-complex(b, 0)), 0.05*w), 0.5*w)
		}
	}
	p.cut(a, at, near, depth+1)
	p.cut(at, b, near, depth+1)
}

func (p *aperture) width() float64 { return p.b - p.a }

func (e *element) width() float64 { return e.b - e.a }

// reach is the distance from the ends to the next singularity of the
// integrand in the complex plane of r.
func (e *element) reach() float64 {
	if e.a == 0 {
		return e.b
	}
	return min(e.a, e.width())
}

// variable returns x(r). Off the axis it is the Möbius map that sends a, √(ab),
// b to −1, 0, 1, close to the logarithm of r; on the axis it is quadratic, so
// that fields are regular there.
func (e *element) variable(r complex128) complex128 {
	if e.a == 0 {
		u := r / complex(e.b, 0)
		return 2*u*u - 1
	}
	c := math.Sqrt(e.a * e.b)
	stretch := (math.Sqrt(e.b) + math.Sqrt(e.a)) / (math.Sqrt(e.b) - math.Sqrt(e.a))
	return (r - complex(c, 0)) / (r + complex(c, 0)) * complex(stretch, 0)
}

// regular returns the factor of a function besides polynomial and power of
// (r−a)/w or (b−r)/w: on the axis r·E must vanish as r², and σ must be even.
func (e *element) regular(f *family, r complex128) complex128 {
	if e.a > 0 {
		return 1
	}
	u := r / complex(e.b, 0)
	v := u * u
	if f.kind == outerEdge {
		v *= power(1+u, f.alpha)
	}
	return v
}

// power returns z^alpha, principal value.
func power(z complex128, alpha float64) complex128 {
	m := math.Exp(alpha * math.Log(math.Hypot(real(z), imag(z))))
	s, c := math.Sincos(alpha * math.Atan2(imag(z), real(z)))
	return complex(m*c, m*s)
}

// legendre fills p with P0(x), P1(x), ...
func legendre(x complex128, p []complex128) {
	p[0] = 1
	if len(p) > 1 {
		p[1] = x
	}
	for d := 2; d < len(p); d++ {
		k := float64(d)
		p[d] = complex((2*k-1)/k, 0)*x*p[d-1] - complex((k-1)/k, 0)*p[d-2]
	}
}

// tabulate prepares the Gauss-Jacobi points of every family.
func (p *aperture) tabulate() {
	p.voltage = make([]float64, p.size)
	for i := range p.elements {
		e := &p.elements[i]
		w := e.width()
		n := 28 + int(0.6*descentFrom*w/e.reach())
		for k := range e.families {
			f := &e.families[k]
			var left, right float64
			switch f.kind {
			case innerEdge:
				left = f.alpha
			case outerEdge:
				right = f.alpha
			}
			q := jacobi(n, left, right)
			f.points = make([]float64, n)
			f.values = make([]float64, n*f.count)
			poly := make([]complex128, f.count)
			for j, x := range q.x {
				r := e.a + w*x
				f.points[j] = r
				legendre(e.variable(complex(r, 0)), poly)
				weight := q.w[j] * w * real(e.regular(f, complex(r, 0)))
				for d := range poly {
					v := weight * real(poly[d])
					f.values[d*n+j] = v
					p.voltage[f.at+d] += v / r
				}
			}
		}
	}
}

// couple returns the coupling integrals
//
//	A[n, i] = ∫ fᵢ(r) φₙ(r) dr,  fᵢ = r·Er,
//
// of the guide's TM0n modes with the functions of the aperture.
//
// Above a moderate wave number the integral along the aperture is replaced by
// integrals upwards into the complex plane from both edges, where the
// outgoing Hankel function falls as e^{−kt} and a few Gauss-Laguerre points,
// with the weight of the edge, give every digit whatever the mode number:
//
//	∫ₐᵇ f φ dr = Re [ I(a) − I(b) ],   I(e) = j∫₀^∞ f(e+jt) φ⁺(e+jt) dt
//
// Source: [huybrechs2006] for the method.
func (p *aperture) couple(g *guide) []float64 {
	m := p.size
	out := make([]float64, len(g.kc)*m)
	phi := make([]float64, 0, 128)
	for i := range p.elements {
		e := &p.elements[i]
		var d *descent
		for n, k := range g.kc {
			row := out[n*m : (n+1)*m]
			if k*e.reach() >= descentFrom {
				if d == nil {
					d = newDescent(e, g)
				}
				d.couple(n, row)
				continue
			}
			for i := range e.families {
				f := &e.families[i]
				np := len(f.points)
				phi = phi[:0]
				for _, r := range f.points {
					phi = append(phi, g.phi(n, r))
				}
				for c := range f.count {
					sum := 0.0
					for j, v := range f.values[c*np : (c+1)*np] {
						sum += v * phi[j]
					}
					row[f.at+c] = sum
				}
			}
		}
	}
	return out
}

// descent holds what the integrals of one element and one guide share.
type descent struct {
	e    *element
	g    *guide
	ends [len(descentPoints)][]descentEnd
	poly []complex128
}

// descentEnd is one end of the element with the Gauss-Laguerre rules of the
// powers that occur there.
type descentEnd struct {
	r, sign float64
	rules   []descentRule
}

type descentRule struct {
	rule
	own      bool // the families are singular here
	families []*family
}

func newDescent(e *element, g *guide) *descent {
	d := &descent{e: e, g: g}
	most := 0
	for i := range e.families {
		most = max(most, e.families[i].count)
	}
	d.poly = make([]complex128, most)
	for level, p := range descentPoints {
		for _, end := range []descentEnd{{r: e.a, sign: 1}, {r: e.b, sign: -1}} {
			if end.r == 0 {
				continue // from the axis the integrand is imaginary
			}
			own := innerEdge
			if end.sign < 0 {
				own = outerEdge
			}
			var alphas []float64
			for i := range e.families {
				f := &e.families[i]
				alpha := 0.0
				if f.kind == own {
					alpha = f.alpha
				}
				at := slices.Index(alphas, alpha)
				if at < 0 {
					at = len(alphas)
					alphas = append(alphas, alpha)
					end.rules = append(end.rules, descentRule{rule: laguerre(p.points, alpha), own: f.kind == own})
				}
				end.rules[at].families = append(end.rules[at].families, f)
			}
			d.ends[level] = append(d.ends[level], end)
		}
	}
	return d
}

// couple sets the coupling integrals of mode n in row.
func (d *descent) couple(n int, row []float64) {
	e, k, w := d.e, d.g.kc[n], d.e.width()
	level := len(descentPoints) - 1
	for level > 0 && k*e.reach() < descentPoints[level].from {
		level--
	}
	for _, end := range d.ends[level] {
		s, c := math.Sincos(k * (end.r - d.g.a))
		front := complex(0, end.sign/k) * complex(c, s)
		for _, q := range end.rules {
			scale := front
			if q.own { // ρ or σ = ±jt/kw, and t^α is in the weight
				scale *= power(complex(0, end.sign/(k*w)), q.families[0].alpha)
			}
			for j, t := range q.x {
				r := complex(end.r, t/k)
				h := scale * complex(q.w[j], 0) * d.g.outgoing(n, r)
				poly := d.poly
				legendre(e.variable(r), poly)
				var last complex128
				lastAlpha := 0.0
				for _, f := range q.families {
					v := h
					if !q.own && f.kind != smooth {
						if lastAlpha == -f.alpha {
							last = 1 / last // the family before had the inverse power
						} else if f.kind == innerEdge {
							last = power((r-complex(e.a, 0))/complex(w, 0), f.alpha)
						} else {
							last = power((complex(e.b, 0)-r)/complex(w, 0), f.alpha)
						}
						lastAlpha = f.alpha
						v *= last
					}
					if e.a == 0 {
						v *= e.regular(f, r)
					}
					for i := range f.count {
						row[f.at+i] += real(v)*real(poly[i]) - imag(v)*imag(poly[i])
					}
				}
			}
		}
	}
}
