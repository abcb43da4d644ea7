package xsection

import (
	"context"
	"math"
	"math/cmplx"
)

// A Field gives the static potential and field of a solved section.
type Field struct {
	sol   *solution
	volts []float64
}

// Field returns the field with the given voltages, V, on the signal conductors
// in order, the reference at zero.
func (r *Result) Field(volts []float64) *Field {
	if len(volts) != len(r.Conductors) {
		panic("xsection: one voltage per signal conductor wanted")
	}
	return &Field{r.last, append([]float64(nil), volts...)}
}

// At returns the potential, V, and the field, V/m, at a point, m. In metal the
// field is zero; outside the region both are NaN. On a surface the field is
// the mean of both sides, on a foil's edge or a metal corner it is infinite.
func (f *Field) At(x, y float64) (u, ex, ey float64) {
	return f.at(x, y, newScratch(f.sol.rule.n))
}

func (f *Field) at(x, y float64, sc *scratch) (u, ex, ey float64) {
	s := f.sol
	a := s.arr
	z := (complex(x, y) - a.centre) / complex(a.scale, 0)
	if out, net := a.holds(z); out {
		return math.NaN(), math.NaN(), math.NaN()
	} else if net >= 0 {
		if net > 0 {
			u = f.volts[net-1]
		}
		return u, 0, 0
	}
	sig := s.sigma[filled]
	for c, v := range f.volts {
		u += sig.At(0, c) * v
	}
	var e complex128
	for j := range s.panels {
		p := &s.panels[j]
		if cmplx.Abs(z-p.a) < 1e-12 || cmplx.Abs(z-p.b) < 1e-12 {
			z += complex(1e-11, 1e-11) // between two panels: the logarithms cancel, but not in floating point
		}
		p.influence(s.rule, sc, z, -1, true, true)
		for l := range sc.pot {
			q := 0.0
			for c, v := range f.volts {
				q += sig.At(s.first[j]+l, c) * v
			}
			u += q * sc.pot[l]
			e += complex(q, 0) * sc.fld[l]
		}
	}
	return u, real(e) / a.scale, -imag(e) / a.scale
}

// holds says whether z lies outside the region, or in metal of which net (−1:
// none).
func (a *arrangement) holds(z complex128) (out bool, net int) {
	s := a.section
	if s.Region.Shield != nil {
		out = !inside(s.Region.Shield, z)
	} else {
		x0, x1, y0, y1 := s.Region.box()
		out = real(z) < x0 || real(z) > x1 || imag(z) < y0 || imag(z) > y1
	}
	for _, c := range s.Conductors {
		if inside(c.Shape, z) {
			for k, name := range a.nets {
				if name == c.Name {
					return out, k
				}
			}
		}
	}
	return out, -1
}

// A Grid holds a field sampled on an upright grid: index iy·len(X) + ix.
type Grid struct {
	X, Y      []float64 // m
	Potential []float64 // V; NaN outside the region
	Ex, Ey    []float64 // V/m
}

// Grid samples the field on nx by ny points from corner to corner.
func (f *Field) Grid(from, to Point, nx, ny int) *Grid {
	g := &Grid{X: make([]float64, nx), Y: make([]float64, ny),
		Potential: make([]float64, nx*ny), Ex: make([]float64, nx*ny), Ey: make([]float64, nx*ny)}
	spread(g.X, from.X, to.X)
	spread(g.Y, from.Y, to.Y)
	f.sol.each(context.Background(), ny, func(j int, sc *scratch) {
		for i, x := range g.X {
			k := j*nx + i
			g.Potential[k], g.Ex[k], g.Ey[k] = f.at(x, g.Y[j], sc)
		}
	})
	return g
}

func spread(v []float64, from, to float64) {
	for i := range v {
		v[i] = from
		if len(v) > 1 {
			v[i] += (to - from) * float64(i) / float64(len(v)-1)
		}
	}
}
