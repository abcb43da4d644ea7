package xsection

import (
	"context"
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// A MetalShare is what one conductor, or the sides, add to the resistance.
type MetalShare struct {
	Name string
	Metal
	// Factor is R'/Rs, 1/m, for thin skin: the integral over its surface of the
	// product of the densities of the currents that 1 A in either signal makes,
	// Σ ∮ j_i j_k ds. +Inf where a foil has an edge: a conductor without
	// thickness has no finite loss.
	Factor *mat.SymDense
	// Thickness is about how thick it is, m: +Inf of the sides and the shield.
	Thickness float64
}

// A DielectricShare is the capacitance that one dielectric's energy stands for:
// the sum over all is C, and the conductance is ω Σ tan δ·Capacitance.
// Dielectrics of one material share one entry, under the index of the first.
type DielectricShare struct {
	Index       int // in Section.Dielectrics; −1 for the background's material
	Material    Material
	Capacitance *mat.SymDense // F/m
}

// metalShares integrates the squares of the currents on each conductor. They
// are distributed like the charge in air. Towards a corner open by the angle α
// the density goes as r^(π/α−1), so the integral over the last panels is taken
// from one a little further out.
func (s *solution) metalShares() []MetalShare {
	sec := s.arr.section
	shares := make([]MetalShare, len(sec.Conductors)+1)
	used := make([]bool, len(shares))
	sums := make([]*mat.Dense, len(shares))
	for i := range shares {
		sums[i] = mat.NewDense(s.signals, s.signals, nil)
		if i < len(sec.Conductors) {
			shares[i] = MetalShare{Name: sec.Conductors[i].Name, Metal: sec.Conductors[i].Metal, Thickness: thickness(sec.Conductors[i].Shape) * s.arr.scale}
			continue
		}
		shares[i] = MetalShare{Name: "sides", Metal: sec.Region.Metal, Thickness: math.Inf(1)}
		if sec.Region.Shield != nil {
			shares[i].Name = "shield"
		}
	}
	// Density per unit charge: σ of unit volts times the inverse of C.
	var inv, unit mat.Dense
	inv.Inverse(s.cap[air])
	unit.Mul(s.sigma[air], &inv)
	if s.arr.mirrored {
		s.innerField(&unit, &inv)
	}

	byEdge := make([][]int, len(s.arr.edges))
	for i, p := range s.panels {
		byEdge[p.edge] = append(byEdge[p.edge], i)
	}
	for ei := range s.arr.edges {
		e := &s.arr.edges[ei]
		if e.kind != metalEdge || !e.left.free() && !e.right.free() {
			continue
		}
		used[e.metal] = true
		list := byEdge[ei]
		sort.Slice(list, func(i, j int) bool { return s.panels[list[i]].t0 < s.panels[list[j]].t0 })
		integral := make([]*mat.Dense, len(list))
		for k, i := range list {
			integral[k] = s.square(i, &unit)
		}
		s.mendTips(e, list, integral, 0, &unit)
		s.mendTips(e, list, integral, 1, &unit)
		for _, m := range integral {
			sums[e.metal].Add(sums[e.metal], m)
		}
	}
	var out []MetalShare
	for i := range shares {
		if used[i] {
			shares[i].Factor = symmetric(sums[i], 1/s.arr.scale)
			out = append(out, shares[i])
		}
	}
	return out
}

// innerField puts the field on the inner face of the electric sides in place of
// their charge, which beside a magnetic side is that of both faces.
func (s *solution) innerField(unit, perCharge *mat.Dense) {
	s.each(context.Background(), len(s.panels), func(i int, sc *scratch) {
		e := &s.arr.edges[s.panels[i].edge]
		if e.kind != metalEdge || !e.left.out && !e.right.out || !e.left.free() && !e.right.free() {
			return
		}
		sign := 1.0
		if e.left.out {
			sign = -1
		}
		mean := mat.NewVecDense(s.signals, nil)
		for k := range s.rule.x {
			s.normalField(i, k, air, sc, mean.RawVector().Data)
			row := unit.RawRowView(s.first[i] + k)
			var m mat.VecDense
			m.MulVec(perCharge.T(), mean)
			for c := range row {
				row[c] = row[c]/2 + sign*m.AtVec(c)
			}
		}
	})
}

// square integrates the products of the densities of unit currents over panel
// i, on both sides of a foil.
func (s *solution) square(i int, unit *mat.Dense) *mat.Dense {
	p := &s.panels[i]
	e := &s.arr.edges[p.edge]
	m := mat.NewDense(s.signals, s.signals, nil)
	for k, w := range s.rule.w {
		row := unit.RawRowView(s.first[i] + k)
		for a, x := range row {
			for b, y := range row {
				m.Set(a, b, m.At(a, b)+p.h*w*x*y)
			}
		}
	}
	if e.foil {
		for a := range s.signals {
			for b := range s.signals {
				m.Set(a, b, math.Inf(1))
			}
		}
	}
	return m
}

// mendTips replaces the integrals over the last two panels before a corner.
// Towards a corner open by the angle α the density in air is
//
//	σ = a1·r^(ν−1) + a2·r^(2ν−1) + a3·r^(3ν−1) + ... + b·r^(−ν−1)    ν = π/α
//
// where the last term is not in the field: it is what a mesh that does not
// follow the corner all the way adds some way from it. The four are fitted
// on the second and third panel, and the squares of the first three integrated
// from the corner on.
func (s *solution) mendTips(e *edge, list []int, integral []*mat.Dense, end int, unit *mat.Dense) {
	nu := math.Pi / e.open[end]
	need := 3 // panels on this end's half
	if s.arr.corner[e.v[1-end]] {
		need = 6
	}
	if !s.arr.corner[e.v[end]] || nu >= 1-1e-6 || 2*nu-1 <= 1e-6 || e.foil || len(list) < need {
		return
	}
	at := func(k int) int {
		if end == 1 {
			return len(list) - 1 - k
		}
		return k
	}
	v := s.arr.vertex[e.v[end]]
	second := &s.panels[list[at(1)]]
	size := max(cmplx.Abs(second.a-v), cmplx.Abs(second.b-v)) // r in units of the last two panels together
	powers := [4]float64{nu - 1, 2*nu - 1, 3*nu - 1, -nu - 1}
	rows := 2 * s.rule.n
	m, rhs := mat.NewDense(rows, 4, nil), mat.NewDense(rows, s.signals, nil)
	row := 0
	for _, k := range []int{1, 2} {
		i := list[at(k)]
		for j, z := range s.panels[i].z {
			r := cmplx.Abs(z-v) / size
			weight := math.Pow(r, 1-nu)
			for c, p := range powers {
				m.Set(row, c, math.Pow(r, p)*weight)
			}
			for c, x := range unit.RawRowView(s.first[i] + j) {
				rhs.Set(row, c, x*weight)
			}
			row++
		}
	}
	var fit mat.Dense
	if fit.Solve(m, rhs) != nil {
		return
	}
	sum := integral[at(0)]
	integral[at(1)].Zero()
	for a := range s.signals {
		for b := range s.signals {
			t := 0.0
			for k := range 3 {
				for l := range 3 {
					t += fit.At(k, a) * fit.At(l, b) / (powers[k] + powers[l] + 1)
				}
			}
			sum.Set(a, b, t*size)
		}
	}
}

// dielectricShares splits the energy by ½∮uD·n over the outline of each
// dielectric, n inwards. Round a corner of a signal at the voltage V it is
// taken as ½∮(u−V)D·n plus V times half the flux that leaves the corner through
// each sector, for the same reason as in fluxCorners.
func (s *solution) dielectricShares() []DielectricShare {
	sec := s.arr.section
	n := s.signals
	type share struct {
		sum  *mat.Dense
		used bool
	}
	shares := make([]share, len(sec.Dielectrics)+1) // the background last
	for i := range shares {
		shares[i].sum = mat.NewDense(n, n, nil)
	}
	add := func(p place, m *mat.Dense) {
		if !p.free() {
			return
		}
		i := p.region
		if i < 0 {
			i = len(sec.Dielectrics)
		}
		shares[i].used = true
		if m != nil {
			shares[i].sum.Add(shares[i].sum, m)
		}
	}
	corners, round := s.fluxCorners()
	flux := make([][][]float64, len(corners))
	s.each(context.Background(), len(corners), func(i int, sc *scratch) { flux[i] = s.cornerFlux(corners[i], sc) })
	for i, c := range corners {
		for k, q := range flux[i] {
			m := mat.NewDense(n, n, nil)
			m.SetRow(c.net-1, q)
			add(c.after[k], m)
		}
	}
	parts := make([][2]*mat.Dense, len(s.panels)) // on the left and on the right of each panel
	s.each(context.Background(), len(s.panels), func(i int, sc *scratch) {
		p := &s.panels[i]
		e := &s.arr.edges[p.edge]
		if e.kind == mirrorEdge || e.kind == metalEdge && (e.net == 0 || round[i] != 0) {
			return
		}
		l, r := mat.NewDense(n, n, nil), mat.NewDense(n, n, nil)
		u, mean := make([]float64, n), make([]float64, n)
		for k, w := range s.rule.w {
			row := s.sigma[filled].RawRowView(s.first[i] + k)
			if e.kind == metalEdge {
				clear(u)
				u[e.net-1] = 1
			} else {
				s.potentialOnNode(i, k, sc, u)
				if round[i] != 0 {
					u[round[i]-1]--
				}
			}
			for c, q := range row {
				switch { // the mean of the normal fields of both sides
				case e.foil || e.contrast() == 0 && e.kind == materialEdge:
				case e.kind == materialEdge:
					mean[c] = -q / (2 * e.contrast())
				case e.left.free():
					mean[c] = q / 2
				default:
					mean[c] = -q / 2
				}
			}
			if e.foil || e.contrast() == 0 && e.kind == materialEdge {
				s.normalField(i, k, filled, sc, mean)
			}
			for a := range n {
				for b, q := range row {
					l.Set(a, b, l.At(a, b)+p.h*w*u[a]*e.left.eps*(mean[b]+q/2))
					r.Set(a, b, r.At(a, b)-p.h*w*u[a]*e.right.eps*(mean[b]-q/2))
				}
			}
		}
		parts[i] = [2]*mat.Dense{l, r}
	})
	for i, p := range s.panels {
		add(s.arr.edges[p.edge].left, parts[i][0])
		add(s.arr.edges[p.edge].right, parts[i][1])
	}
	var out []DielectricShare
	for i, sh := range shares {
		if !sh.used {
			continue
		}
		d := DielectricShare{Index: i, Material: sec.Background, Capacitance: symmetric(sh.sum, eps0)}
		if i == len(sec.Dielectrics) {
			d.Index = -1
		} else {
			d.Material = sec.Dielectrics[i].Material
		}
		out = append(out, d)
	}
	return out
}

// potentialOnNode returns the potentials at node k of panel i per signal.
func (s *solution) potentialOnNode(i, k int, sc *scratch, u []float64) {
	sig := s.sigma[filled]
	copy(u, sig.RawRowView(0)) // the free constant
	for j := range s.panels {
		self := -1
		if i == j {
			self = k
		}
		s.panels[j].influence(s.rule, sc, s.panels[i].z[k], self, true, false)
		for l, f := range sc.pot {
			for c, v := range sig.RawRowView(s.first[j] + l) {
				u[c] += f * v
			}
		}
	}
}
