package fdtd

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// A link is an edge of a port's cross-section, from node i to node j.
type link struct {
	c      int
	p      [2]int
	i, j   int
	part   float64
	w, eps float64 // of E: dual size over free length, permittivity
	n      float64 // of H: dual size times n_ii, see lend
}

// A tie is what a face of an edge takes of another's circulation.
type tie struct {
	i, j int // of links
	w    float64
}

// A cross is a port's cross-section.
type cross struct {
	links   []link
	number  [2]map[[2]int]int // of links
	ties    []tie
	metal   []bool      // by node
	piece   []int       // by node: which piece of metal holds it
	uniform bool        // one permittivity everywhere
	signals [][]float64 // by signal conductor and node: 1 on the conductor, else 0
}

func (s *section) cross(g *grid) *cross {
	nu, nv := g.n[s.u]+1, g.n[s.v]+1
	id := func(p [2]int) int { return p[0] + p[1]*nu }
	x := &cross{number: [2]map[[2]int]int{{}, {}}, metal: make([]bool, nu*nv), piece: make([]int, nu*nv)}
	parent := x.piece
	for i := range parent {
		parent[i] = i
	}
	find := func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	least, most := math.Inf(1), 0.0
	for j := range nv {
		for i := range nu {
			p := [2]int{i, j}
			at := Point{}
			at[s.axis], at[s.u], at[s.v] = g.at[s.axis][s.plane], g.at[s.u][i], g.at[s.v][j]
			x.metal[id(p)] = x.metal[id(p)] || g.metal(at, 0, 1, 2)
			for c := range 2 {
				q := p
				q[c]++
				part, l, d := s.edge(g, c, p)
				if l == 0 {
					continue
				}
				if part == 0 {
					i, j := id(p), id(q)
					x.metal[i], x.metal[j] = true, true
					parent[find(i)] = find(j)
					continue
				}
				eps := s.permittivity(g, [2]int{s.u, s.v}[c], p)
				least, most = min(least, eps), max(most, eps)
				x.number[c][p] = len(x.links)
				x.links = append(x.links, link{c, p, id(p), id(q), part, g.beside([2]int{s.u, s.v}[c], g.index(s.node(p))) * d / (part * l), eps, d / l * g.reciprocal([2]int{s.v, s.u}[c], s.node(p))})
			}
		}
	}
	for i := range parent {
		parent[i] = find(i)
	}
	x.uniform = most <= least*(1+1e-9)
	for c := range 2 {
		for _, l := range g.loans[[2]int{s.v, s.u}[c]] {
			p, q := g.place(l.i), g.place(l.j)
			i, ok := x.number[c][[2]int{p[s.u], p[s.v]}]
			j, ok2 := x.number[c][[2]int{q[s.u], q[s.v]}]
			if p[s.axis] == s.plane && ok && ok2 && i != j {
				_, _, d := s.edge(g, c, x.links[i].p)
				x.ties = append(x.ties, tie{i, j, l.n * g.d[s.axis][s.plane] * d})
			}
		}
	}
	return x
}

// flow sets out to N_t v, of voltages v along the links.
func (x *cross) flow(v, out []float64) {
	for n, l := range x.links {
		out[n] = l.n * v[n]
	}
	for _, c := range x.ties {
		out[c.i] += c.w * v[c.j]
		out[c.j] += c.w * v[c.i]
	}
}

// fold adds the form Σ y N_t y to m, y being the sum of by times the unknowns at a link;
// −1: none.
func (x *cross) fold(m *entries, at func(link int) []int, by []float64) {
	join := func(k, l int, w float64) {
		for i, p := range at(k) {
			for j, q := range at(l) {
				if p >= 0 && q >= 0 && p >= q {
					m.add(p, q, w*by[i]*by[j])
				}
			}
		}
	}
	for k, l := range x.links {
		join(k, k, l.n)
	}
	for _, c := range x.ties {
		join(c.i, c.j, c.w)
		join(c.j, c.i, c.w)
	}
}

// currents returns what flows on each signal conductor.
func (x *cross) currents(flow []float64) []float64 {
	out := make([]float64, len(x.signals))
	for k, phi := range x.signals {
		for n, l := range x.links {
			out[k] += flow[n] * (phi[l.i] - phi[l.j])
		}
	}
	return out
}

// conductors finds the pieces of metal that the port's signals name: those
// nearest to their points.
func (s *section) conductors(g *grid, x *cross) error {
	nu, nv := g.n[s.u]+1, g.n[s.v]+1
	points := s.port.signals()
	var pieces []int
	for n, at := range points {
		piece, near := -1, math.Inf(1)
		for j := range nv {
			for i := range nu {
				if k := i + j*nu; x.metal[k] {
					if d := math.Hypot(g.at[s.u][i]-at[0], g.at[s.v][j]-at[1]); d < near {
						piece, near = x.piece[k], d
					}
				}
			}
		}
		if piece < 0 {
			return fmt.Errorf("fdtd: port %s stands on nothing: there is no metal in its cross-section; move it to a line", s.port.Name)
		}
		for m, p := range pieces {
			if p == piece {
				return fmt.Errorf("fdtd: port %s: its signals %d and %d are one piece of metal in its cross-section: give a point on each conductor", s.port.Name, m+1, n+1)
			}
		}
		pieces = append(pieces, piece)
		phi := make([]float64, len(x.metal))
		for k, m := range x.metal {
			if m && x.piece[k] == piece {
				phi[k] = 1
			}
		}
		x.signals = append(x.signals, phi)
	}
	for k, m := range x.metal {
		ground := m
		for _, phi := range x.signals {
			ground = ground && phi[k] == 0
		}
		if ground {
			return nil
		}
	}
	if len(points) == 1 {
		return fmt.Errorf("fdtd: port %s has only one conductor in its cross-section, which carries no TEM wave: add the other conductor, or ask for the mode of a guide", s.port.Name)
	}
	return fmt.Errorf("fdtd: port %s has no other conductor in its cross-section than its %d signals: leave one of them out, which is then the return", s.port.Name, len(points))
}

// static solves Laplace's equation between the signals and the other metal. With X, Y
// the potentials of E and of H when one signal is at 1 V, the static modes are those of
// C v = ε C₀ v, of the capacitances of the filled line and of the empty one.
func (s *section) static(g *grid, x *cross) ([]*section, error) {
	if err := s.conductors(g, x); err != nil {
		return nil, err
	}
	n := len(x.signals)
	flow, drop := make([]float64, len(x.links)), make([]float64, len(x.links)) // of each link, over its dual size
	// E solves div(ε E) = 0; H = N grad ψ solves curl H = 0 with the couplings of
	// faces that lend area
	drive := func(phi []float64, filled bool) {
		for k, l := range x.links {
			drop[k] = phi[l.i] - phi[l.j]
		}
		if !filled {
			x.flow(drop, flow)
			return
		}
		for k, l := range x.links {
			flow[k] = l.w * l.eps * drop[k]
		}
	}
	solve := func(phi []float64, filled bool) []float64 {
		y := append([]float64(nil), phi...)
		descend(func(x0, y []float64) {
			clear(y)
			drive(x0, filled)
			for k, l := range x.links {
				y[l.i] += flow[k]
				y[l.j] -= flow[k]
			}
			for i := range y {
				if x.metal[i] {
					y[i] = 0
				}
			}
		}, y, nil)
		return y
	}
	volts, flows := make([][]float64, n), make([][]float64, n) // by signal: drops of E, flows of H
	full, empty := mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
	for k, phi := range x.signals {
		drive(solve(phi, true), true)
		volts[k] = append([]float64(nil), drop...)
		for j, c := range x.currents(flow) {
			full.SetSym(k, j, c)
		}
		drive(solve(phi, false), false)
		flows[k] = append([]float64(nil), flow...)
		for j, c := range x.currents(flow) {
			empty.SetSym(k, j, c)
		}
	}
	eps, v, err := pairs(full, empty)
	if err != nil {
		return nil, fmt.Errorf("fdtd: port %s: %w", s.port.Name, err)
	}
	var out []*section
	for m := range n {
		t := *s
		t.kind, t.eps = TEM, eps[m]
		volt, flow := make([]float64, len(x.links)), make([]float64, len(x.links))
		for k := range n {
			for i := range volt {
				volt[i] += v[m][k] * volts[k][i]
				flow[i] += v[m][k] * flows[k][i]
			}
		}
		p := t.tem(g, x, volt, flow)
		t.e, t.h, t.geom, t.share = p.e, p.h, p.geom, p.share
		out = append(out, &t)
	}
	return out, nil
}

// tem makes a pattern of the voltages along the links and the flow of H across them.
// One volt is what the power divided by the current on the signals is.
func (s *section) tem(g *grid, x *cross, volt, flow []float64) pattern {
	power := dot(volt, flow)
	share := x.currents(flow)
	current := 0.0
	for _, c := range share {
		current += c * c
	}
	current = math.Sqrt(current)
	for _, c := range share { // the first conductor that carries current carries it inward
		if math.Abs(c) > 1e-6*current {
			current = math.Copysign(current, c)
			break
		}
	}
	for k := range share {
		share[k] /= current
	}
	one := power / current
	p := pattern{share: share, geom: power / (one * one)}
	p.norm = p.geom
	p.e, p.h = s.profiles(g, x, volt, flow, 1/one, 1/one)
	return p
}

// profiles turns voltages along the links and flows across them into fields.
func (s *section) profiles(g *grid, x *cross, volt, flow []float64, byE, byH float64) (e, h [2]map[[2]int]float64) {
	for c := range 2 {
		e[c], h[c] = map[[2]int]float64{}, map[[2]int]float64{}
	}
	for k, l := range x.links {
		_, length, across := s.edge(g, l.c, l.p)
		e[l.c][l.p] = volt[k] * byE / (length * l.part)
		h[l.c][l.p] = flow[k] * byH / across
	}
	return e, h
}

// pairs solves a v = λ b v of symmetric matrices, b positive: the largest λ first;
// where all λ are equal, by b, the smallest first.
func pairs(a, b *mat.SymDense) (values []float64, vectors [][]float64, err error) {
	n := a.SymmetricDim()
	var chol mat.Cholesky
	if !chol.Factorize(b) {
		return nil, nil, fmt.Errorf("the capacitances of its conductors are not positive: put more cells between them")
	}
	var low mat.TriDense
	chol.LTo(&low)
	var half, whole mat.Dense
	if err := half.Solve(&low, a); err != nil {
		return nil, nil, err
	}
	if err := whole.Solve(&low, half.T()); err != nil {
		return nil, nil, err
	}
	sym := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			sym.SetSym(i, j, (whole.At(i, j)+whole.At(j, i))/2)
		}
	}
	var eig mat.EigenSym
	if !eig.Factorize(sym, true) {
		return nil, nil, fmt.Errorf("the modes of its conductors are not found")
	}
	values = eig.Values(nil)
	var v mat.Dense
	eig.VectorsTo(&v)
	if n > 1 && values[n-1]-values[0] < 1e-9*values[n-1] {
		if !eig.Factorize(b, true) {
			return nil, nil, fmt.Errorf("the modes of its conductors are not found")
		}
		eig.VectorsTo(&v)
		for m := range n {
			vectors = append(vectors, mat.Col(nil, m, &v))
		}
		return values, vectors, nil
	}
	var back mat.Dense
	if err := back.Solve(low.T(), &v); err != nil {
		return nil, nil, err
	}
	for m := n - 1; m >= 0; m-- {
		vectors = append(vectors, mat.Col(nil, m, &back))
	}
	for i, j := 0, n-1; i < j; i, j = i+1, j-1 {
		values[i], values[j] = values[j], values[i]
	}
	return values, vectors, nil
}

// permittivity returns the relative permittivity about an edge along axis b, at
// mid-band.
func (s *section) permittivity(g *grid, b int, p [2]int) float64 {
	eps, _, shares := g.fill(b, s.node(p))
	for m, share := range shares {
		_, ps := m.poles()
		f := (g.model.Band[0] + g.model.Band[1]) / 2
		for _, pl := range ps {
			eps += share * pl.strength / (1 + math.Pow(2*math.Pi*f*pl.tau, 2))
		}
	}
	return eps
}

// descend solves apply(x) = b by conjugate gradients, apply being symmetric
// and not negative; b = nil stands for 0.
func descend(apply func(x, y []float64), x, b []float64) {
	n := len(x)
	r, q := make([]float64, n), make([]float64, n)
	apply(x, r)
	rr := 0.0
	for i := range r {
		r[i] = -r[i]
		if b != nil {
			r[i] += b[i]
		}
		rr += r[i] * r[i]
	}
	p := append([]float64(nil), r...)
	first := rr
	if b != nil {
		first = 0
		for _, x := range b {
			first += x * x
		}
	}
	for it := 0; it < 20*n && rr > 1e-24*first && rr > 0; it++ {
		apply(p, q)
		pq := 0.0
		for i := range p {
			pq += p[i] * q[i]
		}
		if !(pq > 0) {
			return
		}
		al, old := rr/pq, rr
		rr = 0
		for i := range x {
			x[i] += al * p[i]
			r[i] -= al * q[i]
			rr += r[i] * r[i]
		}
		for i := range p {
			p[i] = r[i] + rr/old*p[i]
		}
	}
}
