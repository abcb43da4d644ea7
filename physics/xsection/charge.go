package xsection

import (
	"context"
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// normalField returns the mean of the normal fields on the two sides of node k
// of panel i, per signal, in solution which.
func (s *solution) normalField(i, k, which int, sc *scratch, out []float64) {
	for c := range out {
		out[c] = 0
	}
	p := &s.panels[i]
	sig := s.sigma[which]
	for j := range s.panels {
		if which == air && s.arr.edges[s.panels[j].edge].kind == materialEdge {
			continue
		}
		self := -1
		if i == j {
			self = k
		}
		s.panels[j].influence(s.rule, sc, p.z[k], self, false, true)
		for l, f := range sc.fld {
			g := real(p.nrm[k] * f)
			for c := range out {
				out[c] += g * sig.At(s.first[j]+l, c)
			}
		}
	}
}

// charges sums the free charge on each signal. On solid metal the field is
// σ/ε0 on the outside and none inside; on a foil it is E_n ± σ/2ε0. Where
// metal meets an edge between dielectrics, the charge round that corner is
// taken from the flux that leaves it.
func (s *solution) charges(ctx context.Context) {
	s.cap = [2]*mat.Dense{mat.NewDense(s.signals, s.signals, nil), mat.NewDense(s.signals, s.signals, nil)}
	corners, round := s.fluxCorners()
	// Worked out on all processors, summed in order: the same bits every time.
	flux := make([][][]float64, len(corners))
	s.each(ctx, len(corners), func(i int, sc *scratch) { flux[i] = s.cornerFlux(corners[i], sc) })
	charge := make([][2][]float64, len(s.panels))
	s.each(ctx, len(s.panels), func(i int, sc *scratch) {
		e := &s.arr.edges[s.panels[i].edge]
		if e.kind != metalEdge || e.net == 0 {
			return
		}
		charge[i][air] = s.panelCharge(i, air, sc)
		if round[i] == 0 {
			charge[i][filled] = s.panelCharge(i, filled, sc)
		}
	})
	add := func(which, net int, q []float64) {
		row := s.cap[which].RawRowView(net - 1)
		for c := range q {
			row[c] += q[c]
		}
	}
	for i, c := range corners {
		for _, q := range flux[i] {
			add(filled, c.net, q)
		}
	}
	for i, q := range charge {
		if net := s.arr.edges[s.panels[i].edge].net; net > 0 {
			add(filled, net, q[filled])
			add(air, net, q[air])
		}
	}
}

// panelCharge integrates the free charge, over ε0, on a metal panel.
func (s *solution) panelCharge(i, which int, sc *scratch) []float64 {
	p := &s.panels[i]
	e := &s.arr.edges[p.edge]
	wl, wr := e.left.eps/2, e.right.eps/2
	switch {
	case !e.left.free() && !e.right.free():
		wl, wr = 0, 0
	case which == air:
		wl, wr = 0.5, 0.5
	case !e.left.free():
		wl = wr
	case !e.right.free():
		wr = wl
	}
	sum, mean := make([]float64, s.signals), make([]float64, s.signals)
	for k, w := range s.rule.w {
		if wl != wr {
			s.normalField(i, k, which, sc, mean)
		}
		for c := range sum {
			sum[c] += p.h * w * ((wl+wr)*s.sigma[which].At(s.first[i]+k, c) + 2*(wl-wr)*mean[c])
		}
	}
	return sum
}

// A fluxCorner is a corner of a signal at which dielectrics meet, with the
// stretches of the edges round it that its flux accounts for.
type fluxCorner struct {
	net   int
	at    complex128
	reach []complex128 // where the path round it starts and ends: on each edge, by angle
	after []place      // what lies in the sector that follows
}

// fluxCorners finds them, and for each panel the net of the corner that
// accounts for it, or 0.
//
// Near such a corner the density goes as r^(ν−1), and its sum over the last
// panel, of length δ, is off by a part that falls as δ^ν only. What the corner
// does to the field elsewhere is off by δ^(2ν), so the flux through a path some
// way from it gives the charge within as well as the field is known.
func (s *solution) fluxCorners() (out []fluxCorner, round []int) {
	a := s.arr
	type end struct {
		e, k int
	}
	ends := map[int][]end{}
	mixed := map[int]bool{}
	for i, e := range a.edges {
		for k, v := range e.v {
			if a.corner[v] {
				ends[v] = append(ends[v], end{i, k})
				if e.kind == materialEdge {
					mixed[v] = true
				}
			}
		}
	}
	byEdge := make([][]int, len(a.edges))
	for i, p := range s.panels {
		byEdge[p.edge] = append(byEdge[p.edge], i)
	}
	round = make([]int, len(s.panels))
	for v := range a.vertex {
		if !mixed[v] {
			continue
		}
		c := fluxCorner{at: a.vertex[v]}
		for _, d := range ends[v] {
			c.net = max(c.net, a.edges[d.e].net)
		}
		if c.net == 0 {
			continue
		}
		clear := math.Inf(1)
		for i, e := range a.edges {
			switch {
			case e.v[0] == v:
				clear = min(clear, cmplx.Abs(e.b-c.at))
			case e.v[1] == v:
				clear = min(clear, cmplx.Abs(e.a-c.at))
			default:
				_, d := a.edges[i].nearest(c.at)
				clear = min(clear, d)
			}
		}
		type arm struct {
			end
			z      complex128
			angle  float64
			panels []int
		}
		var arms []arm
		for _, d := range ends[v] {
			m := arm{end: d}
			best := 0.0
			for _, i := range byEdge[d.e] {
				p := &s.panels[i]
				near, far := p.a, p.b
				if d.k == 1 {
					near, far = far, near
				}
				if r := cmplx.Abs(far - c.at); r <= 0.6*clear && cmplx.Abs(near-c.at) < r {
					m.panels = append(m.panels, i)
					if r > best {
						best, m.z = r, far
					}
				}
			}
			m.angle = cmplx.Phase(m.z - c.at)
			arms = append(arms, m)
		}
		sort.Slice(arms, func(i, j int) bool { return arms[i].angle < arms[j].angle })
		ok := true
		for i, m := range arms {
			next := arms[(i+1)%len(arms)].angle
			if i+1 == len(arms) {
				next += 2 * math.Pi
			}
			ok = ok && len(m.panels) > 0 && next-m.angle > 0.02
			side := a.edges[m.e].left // the sector lies counter-clockwise of the direction away
			if m.k == 1 {
				side = a.edges[m.e].right
			}
			c.reach, c.after = append(c.reach, m.z), append(c.after, side)
		}
		if !ok {
			continue
		}
		for _, m := range arms {
			for _, i := range m.panels {
				round[i] = c.net
			}
		}
		out = append(out, c)
	}
	return out, round
}

// cornerFlux integrates the flux density over ε0 along the paths round a
// corner, from edge to edge, with angle and log radius linear: one row per
// sector.
func (s *solution) cornerFlux(c fluxCorner, sc *scratch) [][]float64 {
	out := make([][]float64, len(c.after))
	r := newRule(16)
	for i, p := range c.after {
		flux := make([]float64, s.signals)
		out[i] = flux
		if !p.free() {
			continue
		}
		from := cmplx.Log(c.reach[i] - c.at)
		to := cmplx.Log(c.reach[(i+1)%len(c.reach)] - c.at)
		if i+1 == len(c.reach) {
			to += complex(0, 2*math.Pi)
		}
		for k, x := range r.x {
			w := from + complex((1+x)/2, 0)*(to-from)
			z := c.at + cmplx.Exp(w)
			dz := cmplx.Exp(w) * (to - from) / 2 * complex(r.w[k]*p.eps, 0)
			s.field(z, filled, sc, func(f complex128, row []float64) {
				g := imag(f * dz) // E·n ds, n to the right of the path: away from the corner
				for l := range flux {
					flux[l] += g * row[l]
				}
			})
		}
	}
	return out
}

// field calls use, for every node, with the conjugate field at z of unit
// density there, and the densities.
func (s *solution) field(z complex128, which int, sc *scratch, use func(f complex128, sigma []float64)) {
	for j := range s.panels {
		if which == air && s.arr.edges[s.panels[j].edge].kind == materialEdge {
			continue
		}
		s.panels[j].influence(s.rule, sc, z, -1, false, true)
		for l, f := range sc.fld {
			use(f, s.sigma[which].RawRowView(s.first[j]+l))
		}
	}
}
