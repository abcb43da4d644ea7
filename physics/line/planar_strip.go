package line

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/integrate/quad"
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
}

var errField = errors.New("line: the field solution did not converge")

// section solves the cross-section for nominal ε1/ε2 = ratio, without loss.
func (c stripSection) section(ratio float64) (section, error) {
	vacuum := c.capacitance(1)
	s := section{air: Eta0 / vacuum}
	s.expand(ratio, func(r float64) float64 { return c.capacitance(r) / vacuum })
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

// Panels carry Legendre polynomials of degree below panelOrder and are graded
// towards each edge of the metal by panelGrade per step.
const (
	panelOrder = 6
	panelGrade = 0.15
	panelSteps = 7
)

// panel is a straight piece of the right half of the strip's surface.
type panel struct {
	x, y   float64 // midpoint
	dx, dy float64 // half the way from start to end
	half   float64 // half its length
}

// panels cuts the right half of the strip's surface, all lengths divided by
// unit, none longer than longest.
func (c stripSection) panels(unit, longest float64) []panel {
	var ps []panel
	face := func(x0, y0, x1, y1 float64, grade0, grade1 bool) {
		cuts := []float64{0, 1}
		add := func(t float64) { cuts = append(cuts, t) }
		switch {
		case grade0 && grade1:
			t := 0.5
			add(t)
			for range panelSteps {
				t *= panelGrade
				add(t)
				add(1 - t)
			}
		case grade0 || grade1:
			t := 1.0
			for range panelSteps {
				t *= panelGrade
				if grade0 {
					add(t)
				} else {
					add(1 - t)
				}
			}
		}
		sortFloats(cuts)
		length := math.Hypot(x1-x0, y1-y0)
		for i := 1; i < len(cuts); i++ {
			a, b := cuts[i-1], cuts[i]
			n := math.Ceil((b - a) * length / longest)
			for j := 0.0; j < n; j++ {
				u, v := a+(b-a)*j/n, a+(b-a)*(j+1)/n
				m, h := (u+v)/2, (v-u)/2
				ps = append(ps, panel{x0 + m*(x1-x0), y0 + m*(y1-y0), h * (x1 - x0), h * (y1 - y0), h * length})
			}
		}
	}
	b, a, t := c.bottom/2/unit, c.top/2/unit, c.thickness/unit
	face(0, 0, b, 0, false, true)
	if t > 0 {
		face(b, 0, a, t, true, true)
		face(a, t, 0, t, true, false)
	}
	return ps
}

func sortFloats(x []float64) {
	for i := 1; i < len(x); i++ {
		for j := i; j > 0 && x[j] < x[j-1]; j-- {
			x[j], x[j-1] = x[j-1], x[j]
		}
	}
}

// capacitance returns the strip's capacitance per length over ε0 with ε2 = 1
// and ε1 = ratio.
//
// The charge on the strip's surface is expanded in Legendre polynomials on
// panels graded towards the corners and its potential is set to one at the
// panels' Gauss points. In the transverse wave number k the Green function of
// a line charge at (x′, y′) is, up to 1/2πε0,
//
//	∫ dk/k cos k(x−x′) { e^{−k|y−y′|} + [R pp′ − qq′ − R e^{−kD}(pq′+qp′)] / (1 + R e^{−2kD}) }
//	p = e^{−ky}   q = e^{−k(D−y)}   R = −(K+e)/(1+Ke)   e = e^{−2kh}   K = (ε1−1)/(ε1+1)
//
// with h = below and D = cover (q = 0 when open). The direct term and three
// images of it, in the interface (−K), in the ground (K−1) and in the cover
// (−1), have closed logarithmic integrals over a panel, near or far; what is
// left of the braces decays as e^{−2kh} or faster, and is integrated in k,
// where it is a product of a function of the one point and one of the other.
func (c stripSection) capacitance(ratio float64) float64 {
	kk := (ratio - 1) / (ratio + 1)
	decay := 2 * c.below
	if c.cover > 0 {
		decay = math.Min(decay, 2*c.cover-c.thickness)
	}
	unit := decay // so that every remainder falls as e^{−k} or faster
	h, d, t := c.below/unit, c.cover/unit, c.thickness/unit
	ps := c.panels(unit, 2.5)
	n := len(ps) * panelOrder

	nodes, weights := legendreRule(panelOrder)
	a := make([]float64, n*n)
	px, py := make([]float64, n), make([]float64, n) // observation points
	for i, p := range ps {
		for q := range panelOrder {
			px[i*panelOrder+q] = p.x + nodes[q]*p.dx
			py[i*panelOrder+q] = p.y + nodes[q]*p.dy
		}
	}
	_ = weights

	// closed part
	far := newFarRule()
	for j, p := range ps {
		for i := range n {
			row := a[i*n+j*panelOrder : i*n+(j+1)*panelOrder]
			x, y := px[i], py[i]
			if t == 0 {
				p.potential(far, x, y, -(1 - kk), row)
				p.potential(far, -x, y, -(1 - kk), row)
			} else {
				p.potential(far, x, y, -1, row)
				p.potential(far, -x, y, -1, row)
				if kk != 0 {
					p.potential(far, x, -y, kk, row)
					p.potential(far, -x, -y, kk, row)
				}
			}
			p.potential(far, x, -y-2*h, 1-kk, row)
			p.potential(far, -x, -y-2*h, 1-kk, row)
			if d > 0 {
				p.potential(far, x, 2*d-y, 1, row)
				p.potential(far, -x, 2*d-y, 1, row)
			}
		}
	}

	c.remainder(a, ps, px, py, kk, h, d, unit)

	// unit potential
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
	for j, p := range ps {
		q += 2 * p.half * rhs[j*panelOrder]
	}
	return 2 * 2 * pi * q // both halves
}

// remainder adds the part of the Green function that is smooth, integrated in
// k by Gauss's rule on equal panels up to e^{−k} = 1e-13.
func (c stripSection) remainder(a []float64, ps []panel, px, py []float64, kk, h, d, unit float64) {
	const kmax = 30
	width := math.Max(c.bottom, c.top) / unit
	pieces := int(math.Ceil(kmax / math.Min(5, 8/math.Max(width, 1e-9))))
	x12, w12 := legendreRule(12)
	nk := 12 * pieces
	ks, ws := make([]float64, 0, nk), make([]float64, 0, nk)
	for i := range pieces {
		s := float64(kmax) / float64(pieces) / 2
		for q := range x12 {
			ks = append(ks, s*(2*float64(i)+1+x12[q]))
			ws = append(ws, s*w12[q])
		}
	}
	funcs := 1
	if d > 0 {
		funcs = 3
	}
	n, cols := len(px), nk*funcs
	obs, src := make([]float64, n*cols), make([]float64, n*cols)
	for i := range n {
		o := obs[i*cols:]
		for q, k := range ks {
			cx := math.Cos(k * px[i])
			o[q] = cx * math.Exp(-k*py[i])
			if d > 0 {
				o[nk+q] = cx * math.Exp(-k*(d-py[i]))
				o[2*nk+q] = 1
			}
		}
	}
	// coefficients of pp′, qq′, pq′ and 1
	cpp, cqq, cpq, c11 := make([]float64, nk), make([]float64, nk), make([]float64, nk), make([]float64, nk)
	for q, k := range ks {
		e := math.Exp(-2 * k * h)
		em := -math.Expm1(-2 * k * h) // 1 − e
		f := 2 * ws[q] / k
		if d == 0 {
			cpp[q] = -f * (1 - kk) * kk * e * em / (1 + kk*e)
			continue
		}
		r := -(kk + e) / (1 + kk*e)
		ed := math.Exp(-k * d)
		// 1 + R e^{−2kD} without cancellation: 1+R = (1−K)(1−e)/(1+Ke)
		onePlusR := (1 - kk) * em / (1 + kk*e)
		delta := onePlusR - r*-math.Expm1(-2*k*d)
		cpp[q] = f * (r/delta + kk + (1-kk)*e)
		cqq[q] = f * (1 - 1/delta)
		cpq[q] = -f * r * ed / delta
		c11[q] = -f * math.Exp(-k)
	}
	for j, p := range ps {
		m := panelOrder/2 + 3 + int(kmax*0.5*p.half)
		x, w := legendreRule(min(m, 40))
		var leg [panelOrder]float64
		for q, k := range ks {
			var sp, sq [panelOrder]float64
			for i := range x {
				legendre(x[i], leg[:])
				xx, yy := p.x+x[i]*p.dx, p.y+x[i]*p.dy
				cx := w[i] * p.half * math.Cos(k*xx)
				u := cx * math.Exp(-k*yy)
				v := 0.0
				if d > 0 {
					v = cx * math.Exp(-k*(d-yy))
				}
				for b := range leg {
					sp[b] += u * leg[b]
					sq[b] += v * leg[b]
				}
			}
			for b := range panelOrder {
				s := src[(j*panelOrder+b)*cols:]
				s[q] = cpp[q]*sp[b] + cpq[q]*sq[b]
				if d > 0 {
					s[nk+q] = cpq[q]*sp[b] + cqq[q]*sq[b]
					if b == 0 {
						s[2*nk+q] = c11[q] * 2 * p.half
					}
				}
			}
		}
	}
	blas64.Gemm(blas.NoTrans, blas.Trans, 1,
		blas64.General{Rows: n, Cols: cols, Stride: cols, Data: obs},
		blas64.General{Rows: n, Cols: cols, Stride: cols, Data: src}, 1,
		blas64.General{Rows: n, Cols: n, Stride: n, Data: a})
}

// farRule holds Gauss rules with Legendre polynomials at their nodes.
type farRule struct {
	x8, x14 []float64
	l8, l14 [][panelOrder]float64 // weight times polynomial
}

func newFarRule() *farRule {
	r := &farRule{}
	fill := func(n int) ([]float64, [][panelOrder]float64) {
		x, w := legendreRule(n)
		l := make([][panelOrder]float64, n)
		for i := range x {
			legendre(x[i], l[i][:])
			for b := range l[i] {
				l[i][b] *= w[i]
			}
		}
		return x, l
	}
	r.x8, r.l8 = fill(8)
	r.x14, r.l14 = fill(14)
	return r
}

// potential adds scale·∫ P_b ln|z − z′| dl′ over the panel to row[b], at the
// point (x, y). With ζ the point in the panel's own coordinate, in which it
// runs from −1 to 1, and Q_b Legendre functions of the second kind,
//
//	∫ P_b(s) ln(ζ−s) ds = 2 (Q_{b+1}(ζ) − Q_{b−1}(ζ)) / (2b+1)     b ≥ 1
//	∫ ln(ζ−s) ds = (ζ+1) ln(ζ+1) − (ζ−1) ln(ζ−1) − 2
//
// by parts, since P_{b+1} − P_{b−1} is (2b+1)∫P_b and vanishes at ±1.
// Far from the panel Gauss's rule is as good and does not cancel.
func (p *panel) potential(far *farRule, x, y, scale float64, row []float64) {
	scale *= p.half
	rx, ry := x-p.x, y-p.y
	hh := p.half * p.half
	u, v := (rx*p.dx+ry*p.dy)/hh, (ry*p.dx-rx*p.dy)/hh
	r2 := u*u + v*v
	if r2 > 4 {
		xs, ls := far.x14, far.l14
		if r2 > 16 {
			xs, ls = far.x8, far.l8
		}
		v2 := v * v
		var acc [panelOrder]float64
		for i, s := range xs {
			g := math.Log((u-s)*(u-s) + v2)
			l := &ls[i]
			for b := range acc {
				acc[b] += g * l[b]
			}
		}
		for b := range acc {
			row[b] += scale / 2 * acc[b]
		}
		row[0] += scale * math.Log(hh)
		return
	}
	v2 := v * v
	lp, lm := math.Log((u+1)*(u+1)+v2)/2, math.Log((u-1)*(u-1)+v2)/2
	ap, am := 0.0, 0.0
	if v != 0 {
		ap, am = math.Atan2(v, u+1), math.Atan2(v, u-1)
	}
	if u == -1 && v == 0 {
		lp = 0
	}
	if u == 1 && v == 0 {
		lm = 0
	}
	row[0] += scale * ((u+1)*lp - v*ap - ((u-1)*lm - v*am) - 2 + math.Log(hh))
	z := complex(u, v)
	q0 := complex((lp-lm)/2, (ap-am)/2)
	q1 := z*q0 - 1
	for b := 1; b < panelOrder; b++ {
		q2 := (complex(float64(2*b+1), 0)*z*q1 - complex(float64(b), 0)*q0) / complex(float64(b+1), 0)
		row[b] += scale * 2 / float64(2*b+1) * (real(q2) - real(q0))
		q0, q1 = q1, q2
	}
}

// legendre fills out with P_0(x), P_1(x), ...
func legendre(x float64, out []float64) {
	p0, p1 := 1.0, x
	for b := range out {
		out[b] = p0
		n := float64(b + 1)
		p0, p1 = p1, ((2*n+1)*x*p1-n*p0)/(n+1)
	}
}

// legendreRule returns Gauss's nodes and weights on (−1, 1).
func legendreRule(n int) (x, w []float64) {
	x, w = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, -1, 1)
	return x, w
}
