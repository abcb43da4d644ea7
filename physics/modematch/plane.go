package modematch

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"linewright/physics/line"
)

// plane is one change of section: the aperture, its two sides, and the
// orthonormal functions in which its field is expanded.
type plane struct {
	p           *aperture
	left, right *side
	el, er      complex128
	static      []float64 // ε_l Sₗ + ε_r Sᵣ of the trial functions, m
	size        int       // number of orthonormal functions
	to          []float64 // trial function i of orthonormal function j: to[i*size+j]
}

// mostTerms bounds the number of modes of a side.
const mostTerms = 4000

// newPlane prepares the plane between two sections.
func newPlane(l, r Section, degree int, modes float64, near []complex128, widest float64) *plane {
	pl := &plane{p: newAperture(l, r, degree, near, widest), el: l.permittivity(), er: r.permittivity()}
	// Polynomials of degree q vary over 1/q² of their element at its ends; the
	// lowest level of the extrapolation must see that.
	top := modes * math.Pi / pl.p.width()
	for i := range pl.p.elements {
		q := float64(degree + 2)
		top = max(top, 2*q*q*math.Pi/pl.p.elements[i].width())
	}
	gap := max(l.OuterDiameter-l.InnerDiameter, r.OuterDiameter-r.InnerDiameter) / 2
	top = min(top, mostTerms*math.Pi/gap)
	mk := func(s Section) *side {
		a, b := s.InnerDiameter/2, s.OuterDiameter/2
		g := newGuide(a, b, max(8, int(top*(b-a)/math.Pi)))
		return &side{p: pl.p, g: g, a: pl.p.couple(g), top: top}
	}
	pl.left, pl.right = mk(l), mk(r)
	pl.orthonormalise(false)
	return pl
}

// orthonormalise builds, from the trial functions, functions that are
// orthonormal under the static admittance of the plane with the voltage added,
// and drops combinations that rounding has made dependent.
func (pl *plane) orthonormalise(coarse bool) {
	m := pl.p.size
	sl, sr := pl.left.static(coarse), pl.right.static(coarse)
	pl.static = make([]float64, m*m)
	for i := range pl.static {
		pl.static[i] = real(pl.el)*sl[i] + real(pl.er)*sr[i]
	}
	g := mat.NewSymDense(m, nil)
	d := make([]float64, m)
	v := pl.p.voltage
	at := func(i, j int) float64 { return pl.static[i*m+j] + pl.p.width()*v[i]*v[j] }
	for i := range d {
		d[i] = 1 / math.Sqrt(at(i, i))
	}
	for i := range m {
		for j := i; j < m; j++ {
			g.SetSym(i, j, at(i, j)*d[i]*d[j])
		}
	}
	var eig mat.EigenSym
	if !eig.Factorize(g, true) {
		panic("modematch: no eigenvalues of a plane's admittance")
	}
	lambda := eig.Values(nil)
	var vec mat.Dense
	eig.VectorsTo(&vec)
	first := 0
	for first < m-1 && !(lambda[first] > 1e-7*lambda[m-1]) {
		first++
	}
	pl.size = m - first
	pl.to = make([]float64, m*pl.size)
	for j := range pl.size {
		c := m - 1 - j
		for i := range m {
			pl.to[i*pl.size+j] = vec.At(i, c) * d[i] / math.Sqrt(lambda[c])
		}
	}
}

// capacitance returns the static shunt capacitance of the plane, in F, in
// terms of the voltage between the conductors; it is an upper bound that the
// trial functions make stationary:
//
//	C = 2π ε0 min Σ (εₗ Sₗ + εᵣ Sᵣ)[i,j] xᵢ xⱼ / (Σ vᵢ xᵢ)²
//
// NaN between two hollow guides, where there is no such voltage.
// Source: [whinnery1944] for the equivalent circuit.
func (pl *plane) capacitance() float64 {
	if pl.p.a == 0 {
		return math.NaN()
	}
	// In the orthonormal functions S = I − w·v vᵀ, hence
	// 1/min = vᵀ S⁻¹ v = q/(1 − w q), q = vᵀv.
	q := 0.0
	for j := range pl.size {
		s := 0.0
		for i, v := range pl.p.voltage {
			s += v * pl.to[i*pl.size+j]
		}
		q += s * s
	}
	excess := 1/q - pl.p.width()
	if math.Abs(excess) < 1e-9*pl.p.width() {
		return 0 // rounding
	}
	return 2 * math.Pi * eps0 * excess
}

const (
	c0   = line.C0
	eps0 = line.Eps0
	eta0 = line.Eta0
)

// reduced returns the plane with fewer trial functions, fewer modes and a coarser
// extrapolation, for the estimate of the error.
func (pl *plane) reduced() *plane {
	q := *pl
	p := *pl.p
	var keep []int
	p.elements = nil
	p.ends, p.voltage = nil, nil
	for _, e := range pl.p.elements {
		var fs []family
		for _, f := range e.families {
			at := len(keep)
			for d := range f.count {
				if d < f.count-1 || f.count == 1 {
					keep = append(keep, f.at+d)
				}
			}
			f.at, f.count = at, len(keep)-at
			fs = append(fs, f)
		}
		e.families = fs
		p.elements = append(p.elements, e)
	}
	for _, i := range keep {
		p.ends = append(p.ends, pl.p.ends[i])
		p.voltage = append(p.voltage, pl.p.voltage[i])
	}
	p.size = len(keep)
	cut := func(s *side) *side {
		t := &side{p: &p, g: s.g, top: 0.75 * s.top, a: make([]float64, len(s.g.kc)*p.size)}
		for n := range s.g.kc {
			for j, i := range keep {
				t.a[n*p.size+j] = s.a[n*pl.p.size+i]
			}
		}
		return t
	}
	q.p, q.left, q.right = &p, cut(pl.left), cut(pl.right)
	q.orthonormalise(true)
	return &q
}

// reversed returns the plane seen from its other side.
func (pl *plane) reversed() *plane {
	q := *pl
	q.left, q.right, q.el, q.er = pl.right, pl.left, pl.er, pl.el
	return &q
}
