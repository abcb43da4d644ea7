package line

import (
	"errors"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// stripSection is the cross-section of a strip that lies on a dielectric layer
// over a ground plane, in a second dielectric that is open above or ends at a
// plane: microstrip, covered microstrip and stripline of any offset. All
// lengths in m.
//
//	──────────────── cover ────────────────   y = cover
//	                 ε2
//	          ┌──── top ────┐                 y = thickness
//	──────────┴─── bottom ──┴──────────────   y = 0
//	                 ε1
//	─────────────── ground ────────────────   y = −below
type stripSection struct {
	below     float64 // height of the layer under the strip
	cover     float64 // height of the upper plane above the layer; 0: open
	bottom    float64 // width of the strip's lower face
	top       float64 // width of its upper face
	thickness float64 // 0: vanishing
	wall      float64 // distance of side walls from the strip's middle; 0: none
}

var errField = errors.New("line: the field solution did not converge")

// section solves the cross-section for nominal ε1/ε2 = ratio, without loss.
func (c stripSection) section(ratio float64) (section, error) {
	vacuum := c.capacitance(1)
	s := section{air: Eta0 / vacuum}
	field := c.field(ratio)
	s.expand(ratio, func(r float64) float64 { return field.capacitance(r) / vacuum })
	if !(s.air > 0 && s.g > 0 && s.slope > -1) {
		return s, errField
	}
	return s, nil
}

// air returns the impedance with air everywhere, in Ω.
func (c stripSection) air() float64 { return Eta0 / c.capacitance(1) }

// effective returns the effective permittivity with ε2 = 1, ε1 = ratio.
func (c stripSection) effective(ratio float64) float64 {
	if ratio == 1 {
		return 1
	}
	return c.capacitance(ratio) / c.capacitance(1)
}

// capacitance returns the strip's capacitance per length over ε0 with ε2 = 1
// and ε1 = ratio.
func (c stripSection) capacitance(ratio float64) float64 {
	return c.field(ratio).capacitance(ratio)
}

// narrowed takes out the middle of a strip that is very wide between its
// planes, where the field is uniform to e^{−12π}, and returns the width taken.
func (c stripSection) narrowed() (stripSection, float64) {
	enough := 12 * (c.below + c.cover)
	extra := math.Min(c.bottom, c.top) - enough
	if c.cover == 0 || !(extra > 0) {
		return c, 0
	}
	c.bottom -= extra
	c.top -= extra
	if c.wall > 0 {
		c.wall -= extra / 2
	}
	return c, extra
}

// stripField is the boundary-element problem of one cross-section, all that
// does not depend on the permittivities computed once.
//
// The charge on the strip's surface is expanded in pieces, see [piece], and its
// potential is set to one at as many points. In the transverse wave number k
// the Green function of a line charge at (x′, y′) is, up to 1/2πε0,
//
//	∫ dk/k cos k(x−x′) { e^{−k|y−y′|} + [R pp′ − qq′ − R e^{−kD}(pq′+qp′)] / (1 + R e^{−2kD}) }
//	p = e^{−ky}   q = e^{−k(D−y)}   R = −(K+e)/(1+Ke)   e = e^{−2kh}   K = (ε1−1)/(ε1+1)
//
// with h = below and D = cover (q = 0 when open). The direct term and three
// images of it, in the interface (−K), in the ground (K−1) and in the cover
// (−1), are integrated over a piece as logarithms in closed form, near or far;
// what is left of the braces decays as e^{−2kh} or faster, and is integrated in
// k, where it is a sum of products of a function of the one point and one of
// the other.
//
// Source: the Green function in k as in [yamashita1968], here with the faces of
// thick metal; the rest is our own.
type stripField struct {
	n    int
	h, d float64 // below and cover over unit
	// capacitance over ε of the uniform middle taken out of a wide strip
	plateBelow, plateAbove float64

	walled  bool
	flat    bool      // vanishing thickness: the interface image is the charge itself
	charge  []float64 // ∫ of each basis function
	direct  []float64 // n×n potentials: of the charge,
	mirror  []float64 // of its image in the interface,
	ground  []float64 // in the ground,
	roof    []float64 // and in the cover
	ks, ws  []float64 // nodes and weights in k
	obs     []float64 // n×3k: cos kx times p, q and 1/cos at the points
	up, dn  []float64 // n×k: transforms of the basis with q and with p
	scratch []float64
}

// field sets the problem up with the edge exponents of the given ratio.
func (c stripSection) field(ratio float64) *stripField {
	c, plate := c.narrowed()
	unit := 2 * c.below // so that every remainder falls as e^{−k} or faster
	if c.cover > 0 {
		unit = math.Min(unit, 2*c.cover-c.thickness)
	}
	ps := c.pieces(unit, ratio)
	f := &stripField{h: c.below / unit, d: c.cover / unit, flat: c.thickness == 0}
	if plate > 0 {
		f.plateBelow, f.plateAbove = plate/c.below, plate/(c.cover-c.thickness)
	}
	for _, p := range ps {
		f.n += p.n
	}
	n := f.n
	px, py := make([]float64, 0, n), make([]float64, 0, n)
	for _, p := range ps {
		for _, s := range p.points {
			px = append(px, p.x+s*p.dx)
			py = append(py, p.y+s*p.dy)
		}
		f.charge = append(f.charge, p.charge...)
	}
	wall := c.wall / unit
	fill := func(image func(y float64) float64) []float64 {
		a := make([]float64, n*n)
		at := 0
		for k := range ps {
			p := &ps[k]
			for i := range n {
				row := a[i*n+at : i*n+at+p.n]
				y := image(py[i])
				p.potential(px[i], y, row)
				p.potential(-px[i], y, row)
				if wall > 0 {
					p.walled(px[i], y, wall, row)
					p.walled(-px[i], y, wall, row)
				}
			}
			at += p.n
		}
		return a
	}
	f.direct = fill(func(y float64) float64 { return y })
	if !f.flat {
		f.mirror = fill(func(y float64) float64 { return -y })
	}
	f.ground = fill(func(y float64) float64 { return -y - 2*f.h })
	if f.d > 0 {
		f.roof = fill(func(y float64) float64 { return 2*f.d - y })
	}
	f.spectrum(ps, px, py, math.Max(c.bottom, c.top)/unit, wall)
	return f
}

// capacitance solves the problem for one ratio ε1/ε2.
func (f *stripField) capacitance(ratio float64) float64 {
	n := f.n
	kk := (ratio - 1) / (ratio + 1)
	a := make([]float64, n*n)
	for i := range a {
		a[i] = -f.direct[i] + (1-kk)*f.ground[i]
		if f.flat {
			a[i] += kk * f.direct[i]
		} else {
			a[i] += kk * f.mirror[i]
		}
		if f.d > 0 {
			a[i] += f.roof[i]
		}
	}
	f.remainder(a, kk)
	rhs := make([]float64, n)
	for i := range rhs {
		rhs[i] = 1
	}
	m := blas64.General{Rows: n, Cols: n, Stride: n, Data: a}
	piv := make([]int, n)
	if !lapack64.Getrf(m, piv) {
		return math.NaN()
	}
	lapack64.Getrs(blas.NoTrans, m, blas64.General{Rows: n, Cols: 1, Stride: 1, Data: rhs}, piv)
	q := 0.0
	for i := range rhs {
		q += f.charge[i] * rhs[i]
	}
	return 2*2*pi*q + ratio*f.plateBelow + f.plateAbove // both halves
}

// spectrum prepares the integration in k by Gauss's rule on intervals up to
// e^{−k} = 1e-13, or the sum over the modes between side walls.
func (f *stripField) spectrum(ps []piece, px, py []float64, width, wall float64) {
	const kmax = 30
	f.walled = wall > 0
	for i := 0.5; f.walled && i*pi/wall < kmax; i++ {
		f.ks, f.ws = append(f.ks, i*pi/wall), append(f.ws, pi/wall)
	}
	x, w := legendreRule(11)
	// a near cover or a wide strip makes the integrand turn in k
	longest := math.Min(5, 10/width)
	step := longest
	if f.d > 0 {
		step = math.Min(longest, 2/(f.d+f.h))
	}
	for at := 0.0; at < kmax && !f.walled; {
		next := math.Min(at+step, kmax)
		s := (next - at) / 2
		for q := range x {
			f.ks = append(f.ks, at+s*(1+x[q]))
			f.ws = append(f.ws, s*w[q])
		}
		at, step = next, math.Min(2*step, longest)
	}
	n, nk := f.n, len(f.ks)
	cols := nk
	if f.d > 0 {
		cols = 3 * nk
	}
	f.obs = make([]float64, n*cols)
	for i := range n {
		o := f.obs[i*cols:]
		for q, k := range f.ks {
			cx := math.Cos(k * px[i])
			o[q] = cx * math.Exp(-k*py[i])
			if f.d > 0 {
				o[nk+q] = cx * math.Exp(-k*(f.d-py[i]))
				o[2*nk+q] = 1
			}
		}
	}
	f.dn = make([]float64, n*nk)
	if f.d > 0 {
		f.up = make([]float64, n*nk)
	}
	at := 0
	for j := range ps {
		p := &ps[j]
		r := p.rule(10 + int(kmax*0.4*p.half))
		for q, k := range f.ks {
			for i, s := range r.x {
				xx, yy := p.x+s*p.dx, p.y+s*p.dy
				cx := math.Cos(k * xx)
				u, v := cx*math.Exp(-k*yy), 0.0
				if f.d > 0 {
					v = cx * math.Exp(-k*(f.d-yy))
				}
				for b, w := range r.w[i*p.n : (i+1)*p.n] {
					f.dn[(at+b)*nk+q] += u * w
					if f.d > 0 {
						f.up[(at+b)*nk+q] += v * w
					}
				}
			}
		}
		at += p.n
	}
	f.scratch = make([]float64, n*cols)
}

// remainder adds the smooth part of the Green function to a.
func (f *stripField) remainder(a []float64, kk float64) {
	n, nk := f.n, len(f.ks)
	if nk == 0 { // walls so near that no mode between them reaches the planes
		return
	}
	cols := nk
	if f.d > 0 {
		cols = 3 * nk
	}
	src := f.scratch
	for q, k := range f.ks {
		e := math.Exp(-2 * k * f.h)
		less := -math.Expm1(-2 * k * f.h) // 1 − e
		g := 2 * f.ws[q] / k
		if f.d == 0 {
			c := -g * (1 - kk) * kk * e * less / (1 + kk*e)
			for j := range n {
				src[j*cols+q] = c * f.dn[j*nk+q]
			}
			continue
		}
		r := -(kk + e) / (1 + kk*e)
		ed := math.Exp(-k * f.d)
		// 1 + R e^{−2kD} without cancellation, as 1 + R = (1−K)(1−e)/(1+Ke)
		delta := (1-kk)*less/(1+kk*e) + r*math.Expm1(-2*k*f.d)
		cpp := g * (r/delta + kk + (1-kk)*e)
		cqq := g * (1 - 1/delta)
		cpq := -g * r * ed / delta
		c11 := 0.0
		if !f.walled {
			c11 = -g * math.Exp(-k) // the images' charges must sum to zero at k = 0
		}
		for j := range n {
			sp, sq := f.dn[j*nk+q], f.up[j*nk+q]
			src[j*cols+q] = cpp*sp + cpq*sq
			src[j*cols+nk+q] = cpq*sp + cqq*sq
			src[j*cols+2*nk+q] = c11 * f.charge[j]
		}
	}
	blas64.Gemm(blas.NoTrans, blas.Trans, 1,
		blas64.General{Rows: n, Cols: cols, Stride: cols, Data: f.obs},
		blas64.General{Rows: n, Cols: cols, Stride: cols, Data: src}, 1,
		blas64.General{Rows: n, Cols: n, Stride: n, Data: a})
}

// piece is a straight piece of the right half of the strip's surface with the
// functions that carry its charge density: Legendre polynomials of the
// position away from edges, and beside an edge the powers s^(ν−1) of the
// distance s from it that the field equations allow there.
type piece struct {
	x, y   float64 // midpoint
	dx, dy float64 // half the way from start to end
	half   float64 // half its length
	n      int     // number of functions
	nu     []float64
	flip   bool      // the edge is at the end, not at the start
	points []float64 // where the potential is set, in −1..1
	charge []float64 // ∫ of each function
	near   []level   // of an edge piece: how to integrate close by
	r8     pieceRule
	r16    pieceRule
}

// pieceRule integrates basis function b times a smooth g over the piece:
// Σ_i w[i*n+b] g(x[i]).
type pieceRule struct{ x, w []float64 }

// level is a part of an edge piece on which each power is a polynomial.
type level struct {
	panel
	coef []float64 // of Legendre polynomial b in function k at [k*levelOrder+b]
}

const (
	smoothOrder = 6    // Legendre polynomials on a smooth piece
	edgeOrder   = 7    // powers on an edge piece
	levelOrder  = 10   // Legendre polynomials on a level
	levelRatio  = 0.35 // of the lengths of successive levels
	levels      = 20
)

// pieces cuts the right half of the strip's surface, all lengths divided by
// unit: an edge piece at each edge, no longer than the nearest feature, then
// smooth pieces that grow with the distance from the edge.
func (c stripSection) pieces(unit, ratio float64) []piece {
	b, a, t := c.bottom/2/unit, c.top/2/unit, c.thickness/unit
	feature := c.below / unit
	if c.cover > 0 {
		feature = math.Min(feature, (c.cover-c.thickness)/unit)
	}
	if c.wall > 0 {
		feature = math.Min(feature, c.wall/unit-math.Max(a, b))
	}
	const longest = 2.5
	var ps []piece
	// face from (x0,y0) to (x1,y1) with edges at start and end where exponents
	// are given
	face := func(x0, y0, x1, y1 float64, nu0, nu1 []float64, near float64) {
		length := math.Hypot(x1-x0, y1-y0)
		add := func(from, to float64, nu []float64, flip bool) {
			m, h := (from+to)/2/length, (to-from)/2/length
			p := piece{x: x0 + m*(x1-x0), y: y0 + m*(y1-y0), dx: h * (x1 - x0), dy: h * (y1 - y0), half: (to - from) / 2, nu: nu, flip: flip}
			p.prepare()
			ps = append(ps, p)
		}
		room := length
		if nu0 != nil && nu1 != nil {
			room = length / 2
		}
		// cuts measured from an edge
		grow := func(nu []float64, from, sign float64) {
			at := math.Min(room, 0.8*near)
			if room-at < 0.3*room {
				at = room
				if nu0 == nil || nu1 == nil {
					at = room / 2 // the middle of the strip deserves a smooth piece
				}
			}
			put := func(u, v float64, nu []float64) {
				if sign > 0 {
					add(from+u, from+v, nu, false)
				} else {
					add(from-v, from-u, nu, true)
				}
			}
			put(0, at, nu)
			for at < room*(1-1e-12) {
				next := math.Min(math.Min(3.2*at, at+longest), room)
				if room-next < 0.5*(next-at) {
					next = room
				}
				put(at, next, nil)
				at = next
			}
		}
		if nu0 != nil {
			grow(nu0, 0, 1)
		}
		if nu1 != nil {
			grow(nu1, length, -1)
		}
	}
	if t == 0 {
		face(0, 0, b, 0, nil, edgeExponents(0, 1, 1), feature)
		return ps
	}
	slope := math.Atan2(t, b-a) // metal angle at the lower edge
	lower := edgeExponents(slope, 1, ratio)
	upper := edgeExponents(pi-slope, 1, 1)
	feature = math.Min(feature, t)
	face(0, 0, b, 0, nil, lower, feature)
	face(b, 0, a, t, lower, upper, feature)
	face(a, t, 0, t, upper, nil, feature)
	return ps
}

// edgeExponents returns the first exponents ν of the potential, s^ν, at a
// metal wedge of the given angle whose outside is a sector of half a turn of
// permittivity e1 and the rest of e2: the roots of
//
//	ε2 cot ν(π−angle) + ε1 cot νπ = 0
//
// Source: [meixner1972].
func edgeExponents(angle, e2, e1 float64) []float64 {
	if angle == 0 { // a sheet: charge on both its faces
		nu := make([]float64, edgeOrder)
		for i := range nu {
			nu[i] = 0.5 + float64(i)
		}
		return nu
	}
	g := func(v float64) float64 {
		s1, c1 := math.Sincos(v * (pi - angle))
		s2, c2 := math.Sincos(v * pi)
		return e2*c1*s2 + e1*c2*s1
	}
	var nu []float64
	const step = 0.04
	v, gv := 0.1, g(0.1)
	for len(nu) < edgeOrder {
		u := v + step
		gu := g(u)
		if (gv > 0) != (gu > 0) {
			nu = append(nu, brent(g, v, u, gv, gu))
		}
		v, gv = u, gu
	}
	return nu
}

// prepare fills in what depends on the piece's basis.
func (p *piece) prepare() {
	if p.nu == nil {
		p.n = smoothOrder
		p.points, _ = legendreRule(p.n)
		p.charge = make([]float64, p.n)
		p.charge[0] = 2 * p.half
	} else {
		p.n = len(p.nu)
		x, _ := legendreRule(p.n)
		p.points = make([]float64, p.n)
		p.charge = make([]float64, p.n)
		for i, u := range x {
			p.points[i] = p.place(math.Pow((1+u)/2, 1.5)) // even in s^{2/3}
			p.charge[i] = 2 * p.half / p.nu[i]
		}
		p.cutLevels()
	}
	p.r8, p.r16 = p.rule(8), p.rule(16)
}

// place turns a distance s from the edge, 0..1, into a coordinate −1..1.
func (p *piece) place(s float64) float64 {
	if p.flip {
		return 1 - 2*s
	}
	return 2*s - 1
}

// rule returns the m-point rule. Beside an edge the weights integrate s^(ν−1)
// times any polynomial of degree below m exactly, from
//
//	∫₀¹ s^a P_j(2s−1) ds = a(a−1)…(a−j+1) / (a+1)(a+2)…(a+j+1)
func (p *piece) rule(m int) pieceRule {
	x, w := legendreRule(m)
	r := pieceRule{make([]float64, m), make([]float64, m*p.n)}
	leg := make([]float64, max(m, p.n))
	if p.nu == nil {
		copy(r.x, x)
		for i := range x {
			legendre(x[i], leg)
			for b := range p.n {
				r.w[i*p.n+b] = p.half * w[i] * leg[b]
			}
		}
		return r
	}
	for i := range x {
		legendre(x[i], leg)
		r.x[i] = p.place((1 + x[i]) / 2)
		for b, nu := range p.nu {
			a := nu - 1
			moment, sum := 1/(a+1), 0.0
			for j := range m {
				sum += float64(2*j+1) * leg[j] * moment
				moment *= (a - float64(j)) / (a + float64(j) + 2)
			}
			r.w[i*p.n+b] = 2 * p.half * w[i] / 2 * sum
		}
	}
	return r
}

// cutLevels divides an edge piece into levels of geometrically shrinking
// length; on each, s^(ν−1) is the same polynomial but for a factor.
func (p *piece) cutLevels() {
	x, w := legendreRule(levelOrder + 4)
	leg := make([]float64, levelOrder)
	unit := make([]float64, p.n*levelOrder) // coefficients on [ratio, 1]
	for i := range x {
		legendre(x[i], leg)
		s := (1+levelRatio)/2 + x[i]*(1-levelRatio)/2
		for k, nu := range p.nu {
			v := w[i] * math.Pow(s, nu-1)
			for b := range leg {
				unit[k*levelOrder+b] += v * leg[b] * (float64(b) + 0.5)
			}
		}
	}
	at := 1.0
	part := func(from, to float64) panel {
		u, v := p.place(from), p.place(to)
		if p.flip {
			u, v = v, u
		}
		m, h := (u+v)/2, (v-u)/2
		return panel{p.x + m*p.dx, p.y + m*p.dy, h * p.dx, h * p.dy, h * p.half}
	}
	for range levels {
		l := level{part(at*levelRatio, at), make([]float64, p.n*levelOrder)}
		for k, nu := range p.nu {
			f := math.Pow(at, nu-1)
			for b := range levelOrder {
				c := f * unit[k*levelOrder+b]
				if p.flip && b%2 == 1 {
					c = -c
				}
				l.coef[k*levelOrder+b] = c
			}
		}
		p.near = append(p.near, l)
		at *= levelRatio
	}
	l := level{part(0, at), make([]float64, p.n*levelOrder)} // the tip holds its charge
	for k, nu := range p.nu {
		l.coef[k*levelOrder] = math.Pow(at, nu-1) / nu
	}
	p.near = append(p.near, l)
}

// potential adds ∫ f_b ln|z − z′| dl′ over the piece to row[b], at (x, y).
func (p *piece) potential(x, y float64, row []float64) {
	rx, ry := x-p.x, y-p.y
	r2 := (rx*rx + ry*ry) / (p.half * p.half)
	if r2 > 4 {
		r := &p.r16
		if r2 > 25 {
			r = &p.r8
		}
		for i, s := range r.x {
			ux, uy := rx-s*p.dx, ry-s*p.dy
			g := math.Log(ux*ux+uy*uy) / 2
			for b, w := range r.w[i*p.n : (i+1)*p.n] {
				row[b] += g * w
			}
		}
		return
	}
	if p.nu == nil {
		l := panel{p.x, p.y, p.dx, p.dy, p.half}
		l.potential(x, y, row)
		return
	}
	var q [levelOrder]float64
	for i := range p.near {
		l := &p.near[i]
		clear(q[:])
		l.panel.potential(x, y, q[:])
		for k := range row {
			s := 0.0
			for b, c := range l.coef[k*levelOrder : (k+1)*levelOrder] {
				s += c * q[b]
			}
			row[k] += s
		}
	}
}

// walled adds what side walls at ±wall add to [piece.potential]: with them
//
//	ln|z|  becomes  ln|tanh w|     w = πz/4A, z = y − y′ + j(x − x′)
//
// the potential of a charge between its alternating images, less ln|z| smooth.
func (p *piece) walled(x, y, wall float64, row []float64) {
	s := pi / (4 * wall)
	for i, q := range p.r16.x {
		w := complex(s*(y-p.y-q*p.dy), s*(x-p.x-q*p.dx))
		g := math.Log(s)
		switch a := cmplx.Abs(w); {
		case a < 1e-2:
			g -= real(w*w) / 3
		case math.Abs(real(w)) > 20: // tanh is 1, and would overflow on the way
			g -= math.Log(a)
		default:
			g += math.Log(cmplx.Abs(cmplx.Tanh(w)) / a)
		}
		for b, v := range p.r16.w[i*p.n : (i+1)*p.n] {
			row[b] += g * v
		}
	}
}

// panel is a straight piece of surface that carries Legendre polynomials.
type panel struct {
	x, y   float64 // midpoint
	dx, dy float64 // half the way from start to end
	half   float64 // half its length
}

// potential adds ∫ P_b ln|z − z′| dl′ over the panel to row[b], at the point
// (x, y). With ζ the point in the panel's own coordinate, in which it runs from
// −1 to 1, and Q_b Legendre's functions of the second kind,
//
//	∫ P_b(s) ln(ζ−s) ds = 2 (Q_{b+1}(ζ) − Q_{b−1}(ζ)) / (2b+1)     b ≥ 1
//	∫ ln(ζ−s) ds = (ζ+1) ln(ζ+1) − (ζ−1) ln(ζ−1) − 2
//
// by parts, since P_{b+1} − P_{b−1} is (2b+1)∫P_b and vanishes at ±1. Upward
// recurrence loses |ζ+√(ζ²−1)|^b of the digits; from |ζ| = 2 on the functions
// are summed as
//
//	∫ P_b(s) ln(ζ−s) ds = −Σ_{j} ζ^{−j}/j ∫ s^j P_b ds,
//
// which starts at j = b.
func (p *panel) potential(x, y float64, row []float64) {
	rx, ry := x-p.x, y-p.y
	hh := p.half * p.half
	u, v := (rx*p.dx+ry*p.dy)/hh, (ry*p.dx-rx*p.dy)/hh
	if r2 := u*u + v*v; r2 > 4 {
		p.far(u, v, r2, row)
		return
	}
	v2 := v * v
	lp, lm := 0.0, 0.0
	if a := (u+1)*(u+1) + v2; a > 0 {
		lp = math.Log(a) / 2
	}
	if a := (u-1)*(u-1) + v2; a > 0 {
		lm = math.Log(a) / 2
	}
	ap, am := 0.0, 0.0
	if v != 0 {
		ap, am = math.Atan2(v, u+1), math.Atan2(v, u-1)
	}
	row[0] += p.half * ((u+1)*lp - v*ap - ((u-1)*lm - v*am) - 2 + math.Log(hh))
	// complex Q_b by hand: a is Q_{b−1}, c is Q_b
	ar, ai := (lp-lm)/2, (ap-am)/2
	cr, ci := u*ar-v*ai-1, u*ai+v*ar
	for b := 1; b < len(row); b++ {
		f, g := float64(2*b+1)/float64(b+1), float64(b)/float64(b+1)
		er, ei := f*(u*cr-v*ci)-g*ar, f*(u*ci+v*cr)-g*ai
		row[b] += p.half * 2 / float64(2*b+1) * (er - ar)
		ar, ai, cr, ci = cr, ci, er, ei
	}
}

// far is potential for |ζ|² = r2 > 4, up to ζ^{−20} and to b < 4, beyond which
// nothing of weight is left on the small panels it serves.
func (p *panel) far(u, v, r2 float64, row []float64) {
	row[0] += p.half * math.Log(r2*p.half*p.half)
	ir, ii := u/r2, -v/r2 // 1/ζ
	zr, zi := 1.0, 0.0    // ζ^{−j}
	terms := 20
	if r2 > 64 {
		terms = 8
	}
	for j := 1; j <= terms; j++ {
		zr, zi = zr*ir-zi*ii, zr*ii+zi*ir
		m := monomial[j]
		for b := j & 1; b < len(row) && b <= j && b < len(m); b += 2 {
			row[b] -= p.half * zr / float64(j) * m[b]
		}
	}
}

// monomial[j][b] is ∫ s^j P_b ds over −1..1.
var monomial = func() (t [21][levelOrder]float64) {
	for j := range t {
		for b := j & 1; b <= j && b < levelOrder; b += 2 {
			// 2 · j! / ((j−b)!! (j+b+1)!!)
			v := 2.0
			for i := 2; i <= j; i++ {
				v *= float64(i)
			}
			for i := j - b; i > 1; i -= 2 {
				v /= float64(i)
			}
			for i := j + b + 1; i > 1; i -= 2 {
				v /= float64(i)
			}
			t[j][b] = v
		}
	}
	return t
}()

// legendre fills out with P_0(x), P_1(x), ...
func legendre(x float64, out []float64) {
	p0, p1 := 1.0, x
	for b := range out {
		out[b] = p0
		n := float64(b + 1)
		p0, p1 = p1, ((2*n+1)*x*p1-n*p0)/(n+1)
	}
}

// legendreRule returns Gauss's nodes and weights on (−1, 1), by Newton's method
// on the Legendre polynomial. Gonum v0.17.0 has tables for this, but its
// 26-point rule is wrong by 1 %: see TestLegendreRule.
func legendreRule(n int) (x, w []float64) {
	x, w = make([]float64, n), make([]float64, n)
	for i := range (n + 1) / 2 {
		t := math.Cos(pi * (float64(i) + 0.75) / (float64(n) + 0.5))
		var dp float64
		for range 20 {
			p0, p1 := 1.0, t
			for k := 2; k <= n; k++ {
				p0, p1 = p1, (float64(2*k-1)*t*p1-float64(k-1)*p0)/float64(k)
			}
			dp = float64(n) * (p0 - t*p1) / (1 - t*t)
			step := p1 / dp
			t -= step
			if math.Abs(step) < 4e-16 {
				break
			}
		}
		if 2*i+1 == n {
			t = 0
		}
		x[i], x[n-1-i] = -t, t
		w[i] = 2 / ((1 - t*t) * dp * dp)
		w[n-1-i] = w[i]
	}
	return x, w
}
