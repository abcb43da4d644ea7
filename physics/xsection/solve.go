package xsection

import (
	"math"
	"math/cmplx"
	"runtime"
	"sort"
	"sync"

	"gonum.org/v1/gonum/mat"
)

// A solution holds the charge of one mesh: σ/ε0 at every node, for one volt on
// each signal in turn.
type solution struct {
	arr     *arrangement
	rule    *rule
	mesh    []stretch // of a symmetric section the right half; then panels go on with its image
	panels  []panel
	first   []int // row in sigma of each panel's first node
	n       int   // unknowns of one linear system, the free constant included
	signals int
	sigma   [2]*mat.Dense // [unknown][signal]: with the dielectrics, and all air
	cap     [2]*mat.Dense // C/ε0
}

const (
	filled = 0
	air    = 1
)

// contrast is λ in σ/2 + λ·E_n = 0, the continuity of εE_n across an edge with
// E_n the mean of both sides; nothing (ε = 0) lies outside a magnetic side.
func (e *edge) contrast() float64 {
	l, r := e.left.eps, e.right.eps
	if e.kind == mirrorEdge {
		l, r = 1, 1
		if e.left.out {
			l = 0
		} else {
			r = 0
		}
	}
	return (l - r) / (l + r)
}

// free says whether the field reaches a side.
func (p place) free() bool { return !p.out && p.metal < 0 }

// compute solves the integral equations on a mesh with n nodes a panel.
//
// Unknown is the total charge, free and bound, on every edge. On metal the
// potential is given, up to a constant that makes the total charge vanish; on
// an edge between two dielectrics the flux is continuous; on a magnetic side
// there is none. The equations hold at the Gauss nodes.
// Source: [wei1984]; collocation on panels that shrink towards corners.
func (a *arrangement) compute(mesh []stretch, r *rule) (*solution, error) {
	s := &solution{arr: a, rule: r, mesh: mesh, signals: len(a.nets) - 1}
	for _, m := range mesh {
		s.panels = append(s.panels, newPanel(r, a.edges, m.edge, m.t0, m.t1))
	}
	if a.mirror != nil {
		for _, m := range mesh {
			t := a.mirror[m.edge]
			t0, t1 := m.t0, m.t1
			if t.reversed {
				t0, t1 = 1-m.t1, 1-m.t0
			}
			s.panels = append(s.panels, newPanel(r, a.edges, t.edge, t0, t1))
		}
	}
	s.first = make([]int, len(s.panels))
	for i := range s.first {
		s.first[i] = 1 + i*r.n
	}
	rows := 1 + len(s.panels)*r.n
	s.sigma = [2]*mat.Dense{mat.NewDense(rows, s.signals, nil), mat.NewDense(rows, s.signals, nil)}

	// Dielectric interfaces come last: without them the equations are those
	// of the section in air.
	column := make([]int, len(mesh))
	inAir := 1
	s.n = 1
	for _, last := range []bool{false, true} {
		for i, p := range s.panels[:len(mesh)] {
			if (a.edges[p.edge].kind == materialEdge) == last {
				column[i] = s.n
				s.n += r.n
			}
		}
		if !last {
			inAir = s.n
		}
	}
	for _, parity := range []float64{1, -1} {
		volts := s.volts(parity, column)
		if mat.Norm(volts, math.Inf(1)) == 0 {
			continue
		}
		m := s.fill(parity, column)
		small := mat.DenseCopyOf(m.Slice(0, inAir, 0, inAir))
		x, err := dense(m, volts)
		if err != nil {
			return nil, err
		}
		s.scatter(filled, x, parity, column)
		if inAir < s.n {
			if x, err = dense(small, volts.Slice(0, inAir, 0, s.signals)); err != nil {
				return nil, err
			}
		}
		s.scatter(air, x, parity, column)
	}
	s.charges()
	return s, nil
}

// volts returns the right-hand sides: the part of one volt on each signal that
// is alike (parity 1) or opposite (−1) at the two halves of a symmetric
// section. Without symmetry all of it is alike.
func (s *solution) volts(parity float64, column []int) *mat.Dense {
	v := mat.NewDense(s.n, s.signals, nil)
	for i, at := range column {
		e := s.panels[i].edge
		here := s.arr.edges[e].net
		for k := range s.rule.n {
			switch {
			case s.arr.mirror == nil:
				if here > 0 && parity > 0 {
					v.Set(at+k, here-1, 1)
				}
			default:
				there := s.arr.edges[s.arr.mirror[e].edge].net
				if here > 0 {
					v.Set(at+k, here-1, v.At(at+k, here-1)+0.5)
				}
				if there > 0 {
					v.Set(at+k, there-1, v.At(at+k, there-1)+0.5*parity)
				}
			}
		}
	}
	return v
}

// scatter adds the solution of one parity to the densities of both halves.
func (s *solution) scatter(which int, x *mat.Dense, parity float64, column []int) {
	n, _ := x.Dims()
	for c := range s.signals {
		s.sigma[which].Set(0, c, s.sigma[which].At(0, c)+x.At(0, c))
	}
	for j := range s.panels {
		at, sign, reversed := s.source(j, parity, column)
		if at >= n {
			continue // a dielectric, in air
		}
		for l := range s.rule.n {
			k := l
			if reversed {
				k = s.rule.n - 1 - l
			}
			to, from := s.sigma[which].RawRowView(s.first[j]+l), x.RawRowView(at+k)
			for c := range to {
				to[c] += sign * from[c]
			}
		}
	}
}

// source returns the column of panel j's first unknown, and how its density
// follows from the unknowns: times sign, in reversed order.
func (s *solution) source(j int, parity float64, column []int) (at int, sign float64, reversed bool) {
	if j < len(column) {
		return column[j], 1, false
	}
	j -= len(column)
	return column[j], parity, s.arr.mirror[s.panels[j].edge].reversed
}

func dense(m *mat.Dense, b mat.Matrix) (*mat.Dense, error) {
	var lu mat.LU
	lu.Factorize(m)
	var x mat.Dense
	if err := lu.SolveTo(&x, false, b); err != nil {
		if _, ill := err.(mat.Condition); !ill {
			return nil, err
		}
	}
	return &x, nil
}

// fill writes the equations: row and column 0 are the total charge and the
// free constant, which the part of odd parity does not have. The charge of the
// other half of a symmetric section is folded into the columns of this one.
func (s *solution) fill(parity float64, column []int) *mat.Dense {
	r := s.rule
	m := mat.NewDense(s.n, s.n, nil)
	row0 := m.RawRowView(0)
	if parity < 0 {
		row0[0] = 1
	} else {
		for j := range s.panels {
			at, _, _ := s.source(j, 1, column)
			for l, w := range r.w {
				row0[at+l] += s.panels[j].h * w
			}
		}
	}
	s.each(len(column), func(i int, sc *scratch) {
		p := &s.panels[i]
		e := &s.arr.edges[p.edge]
		lambda := e.contrast()
		for k := range r.x {
			row := m.RawRowView(column[i] + k)
			nx, ny := lambda*real(p.nrm[k]), lambda*imag(p.nrm[k])
			for j := range s.panels {
				self := -1
				if i == j {
					self = k
				}
				at, sign, reversed := s.source(j, parity, column)
				col := row[at : at+r.n]
				s.panels[j].influence(r, sc, p.z[k], self, e.kind == metalEdge, e.kind != metalEdge)
				if e.kind != metalEdge {
					for l, f := range sc.fld {
						sc.pot[l] = nx*real(f) - ny*imag(f)
					}
				}
				fold(col, sc.pot, sign, reversed)
			}
			if e.kind != metalEdge {
				row[column[i]+k] += 0.5
			} else if parity > 0 {
				row[0] = 1
			}
		}
		if e.kind != metalEdge {
			s.conserve(i, m, parity, column, sc)
		}
	})
	return m
}

// fold adds v, times sign, to col.
func fold(col, v []float64, sign float64, reversed bool) {
	if reversed {
		for l, x := range v {
			col[len(col)-1-l] += sign * x
		}
		return
	}
	for l, x := range v {
		col[l] += sign * x
	}
}

// conserve mends the equations of a panel that ends in a corner, where the
// normal field of the panels round it is not smooth: it shifts all n of them
// so that their sum holds for the true flux through the panel. Without that a
// corner of a dielectric holds a net charge that is not there, of the order
// δ^ν with δ the panel's length, and the capacitance would be off by as much;
// with it, by δ^(2ν).
func (s *solution) conserve(i int, m *mat.Dense, parity float64, column []int, sc *scratch) {
	r := s.rule
	p := &s.panels[i]
	e := &s.arr.edges[p.edge]
	first := p.t0 == 0 && s.arr.corner[e.v[0]]
	last := p.t1 == 1 && s.arr.corner[e.v[1]]
	if !first && !last {
		return
	}
	cuts := []float64{0}
	for x := math.Pow(ratio, 6); first && x < 0.5; x /= ratio {
		cuts = append(cuts, x)
	}
	for x := ratio; last && x > 1e-4; x *= ratio {
		cuts = append(cuts, 1-x)
	}
	cuts = append(cuts, 1)
	lambda := e.contrast()
	flux := make([]float64, r.n)
	for j := range s.panels {
		q := &s.panels[j]
		if j == i || cmplx.Abs(q.mid-p.mid) > 4*(p.h+q.h) {
			continue
		}
		clear(flux)
		for k := 0; k+1 < len(cuts); k++ {
			for l, x := range r.x {
				t := cuts[k] + (cuts[k+1]-cuts[k])*(1+x)/2
				n := p.direction(t) * 1i
				w := (cuts[k+1] - cuts[k]) / 2 * r.w[l] // of ∫dt = 1: the mean over the panel
				q.influence(r, sc, p.at(t), -1, false, true)
				for c, f := range sc.fld {
					flux[c] += w * lambda * real(n*f)
				}
			}
		}
		for k, w := range r.w { // less what the equations have of it already
			q.influence(r, sc, p.z[k], -1, false, true)
			for c, f := range sc.fld {
				flux[c] -= w / 2 * lambda * real(p.nrm[k]*f)
			}
		}
		at, sign, reversed := s.source(j, parity, column)
		for k := range r.w {
			fold(m.RawRowView(column[i] + k)[at:at+r.n], flux, sign, reversed)
		}
	}
}

// each calls f for 0 to n−1, on all processors.
func (s *solution) each(n int, f func(i int, sc *scratch)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			sc := newScratch(s.rule.n)
			for i := range next {
				f(i, sc)
			}
		}()
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

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
func (s *solution) charges() {
	s.cap = [2]*mat.Dense{mat.NewDense(s.signals, s.signals, nil), mat.NewDense(s.signals, s.signals, nil)}
	corners, round := s.fluxCorners()
	// Worked out on all processors, summed in order: the same bits every time.
	flux := make([][][]float64, len(corners))
	s.each(len(corners), func(i int, sc *scratch) { flux[i] = s.cornerFlux(corners[i], sc) })
	charge := make([][2][]float64, len(s.panels))
	s.each(len(s.panels), func(i int, sc *scratch) {
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

// tails returns, for each panel, the part of its charge that the last two
// Legendre coefficients carry, as a share of a signal's charge: how well the
// polynomial follows the density there.
func (s *solution) tails() []float64 {
	n := s.rule.n
	out := make([]float64, len(s.panels))
	for i, p := range s.panels {
		for which := range s.sigma {
			if which == air && s.arr.edges[p.edge].kind == materialEdge {
				continue
			}
			for c := 0; c < s.signals; c++ {
				var a, b float64
				for j := 0; j < n; j++ {
					v := s.sigma[which].At(s.first[i]+j, c)
					a += s.rule.coef[j][n-1] * v
					b += s.rule.coef[j][n-2] * v
				}
				out[i] = max(out[i], 2*p.h*math.Hypot(a, b)/math.Abs(s.cap[which].At(c, c)))
			}
		}
	}
	return out
}

// refine cuts the stretches whose tail exceeds limit: in the middle, or, where
// they end in a corner, as often towards it as the density there, r^(ν−1),
// should need. Corners that matter at all are cut once in any case, so that the
// change from one mesh to the next shows what they do.
func (s *solution) refine(limit float64) (mesh []stretch, cuts int) {
	tails := s.tails()
	for i, m := range s.mesh {
		t := tails[i]
		e := &s.arr.edges[m.edge]
		first, last := m.t0 == 0 && s.arr.corner[e.v[0]], m.t1 == 1 && s.arr.corner[e.v[1]]
		if !(t > limit) && !((first || last) && t > limit/10) {
			mesh = append(mesh, m)
			continue
		}
		cuts++
		if !first && !last {
			mid := (m.t0 + m.t1) / 2
			mesh = append(mesh, stretch{m.edge, m.t0, mid}, stretch{m.edge, mid, m.t1})
			continue
		}
		// Each cut to a quarter takes at least a factor two off the tail (ν ≥ ½).
		n := 1 + min(max(int(math.Log2(t/limit)*0.8), 0), 3)
		if first {
			ts := []float64{m.t1}
			for range n {
				ts = append(ts, m.t0+ratio*(ts[len(ts)-1]-m.t0))
			}
			mesh = append(mesh, stretch{m.edge, m.t0, ts[n]})
			for k := n; k > 0; k-- {
				mesh = append(mesh, stretch{m.edge, ts[k], ts[k-1]})
			}
			continue
		}
		for range n {
			at := m.t1 - ratio*(m.t1-m.t0)
			mesh = append(mesh, stretch{m.edge, m.t0, at})
			m.t0 = at
		}
		mesh = append(mesh, m)
	}
	return mesh, cuts
}

// change is the largest relative difference between the capacitance matrices
// of two solutions, entries measured against the diagonal.
func change(s, t *solution) float64 {
	worst := 0.0
	for which := range s.cap {
		for i := 0; i < s.signals; i++ {
			for j := 0; j < s.signals; j++ {
				scale := math.Sqrt(math.Abs(t.cap[which].At(i, i) * t.cap[which].At(j, j)))
				d := math.Abs(s.cap[which].At(i, j)-t.cap[which].At(i, j)) / scale
				if !(d <= worst) { // NaN must show
					worst = d
				}
			}
		}
	}
	return worst
}
