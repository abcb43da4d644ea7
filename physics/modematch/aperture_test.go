package modematch

import (
	"math"
	"testing"
)

// TestDescentAgainstQuadrature holds the integrals along steepest descent to
// Gauss-Jacobi rules of 160 points along the radius.
func TestDescentAgainstQuadrature(t *testing.T) {
	for _, c := range []struct{ l, r Section }{
		{Section{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3}, Section{InnerDiameter: 1.9e-3, OuterDiameter: 3.5e-3}},
		{Section{InnerDiameter: 1e-3, OuterDiameter: 2.4e-3}, Section{InnerDiameter: 1.6e-3, OuterDiameter: 3.5e-3, Permittivity: 2.1}},
		{Section{InnerDiameter: 0, OuterDiameter: 2.4e-3}, Section{InnerDiameter: 0.3e-3, OuterDiameter: 3.5e-3}},
		{Section{InnerDiameter: 0, OuterDiameter: 2.4e-3}, Section{InnerDiameter: 0, OuterDiameter: 3.5e-3}},
	} {
		p := newAperture(c.l, c.r, 6, []complex128{complex(0.9e-3, 0.2e-3)}, math.Inf(1))
		for _, s := range []Section{c.l, c.r} {
			const modes = 60
			g := newGuide(s.InnerDiameter/2, s.OuterDiameter/2, modes)
			a := p.couple(g)
			for n := 0; n < modes; n += 1 + n/12 {
				for fi, e := range flat(p) {
					f := e.f
					left, right := 0.0, 0.0
					switch f.kind {
					case innerEdge:
						left = f.alpha
					case outerEdge:
						right = f.alpha
					}
					q := jacobi(160, left, right)
					poly := make([]complex128, f.count)
					want := make([]float64, f.count)
					for j, x := range q.x {
						r := e.e.a + e.e.width()*x
						legendre(e.e.variable(complex(r, 0)), poly)
						v := q.w[j] * e.e.width() * real(e.e.regular(f, complex(r, 0))) * g.phi(n, r)
						for d := range want {
							want[d] += v * real(poly[d])
						}
					}
					for d := range want {
						got := a[n*p.size+f.at+d]
						if !(math.Abs(got-want[d]) <= 1e-9) {
							t.Errorf("%v|%v: mode %d family %d degree %d: %g, want %g (%g)", c.l, c.r, n, fi, d, got, want[d], got-want[d])
						}
					}
				}
			}
		}
	}
}

type elementFamily struct {
	e *element
	f *family
}

func flat(p *aperture) []elementFamily {
	var l []elementFamily
	for i := range p.elements {
		e := &p.elements[i]
		for j := range e.families {
			l = append(l, elementFamily{e, &e.families[j]})
		}
	}
	return l
}
