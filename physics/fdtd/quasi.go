package fdtd

import (
	"math"
	"slices"

	"linewright/physics/fdtd/internal/sparse"
)

// Modes where the filling is not uniform, or where faces lend area. With V the voltages
// along the edges of the cross-section, ψ those along the line (of the edges that leave
// its nodes), N the reciprocal areas of faces, C the circulation about cells and G the
// difference along edges, Yee's equations of a wave that turns by θ per cell of length
// d are, with s = 2 sin(θ/2), κ = (2d sin(ωΔt/2)/cΔt)², ψ = sζ,
//
//	κ W V = s² N_t (V − Gζ) + Cᵀ N_z C V
//	κ M ζ = Gᵀ N_t (Gζ − V)
//
// W being ε times the ratio of dual size to free length, M ε times the dual area over
// d². This is a symmetric eigenproblem for s²/κ, the effective permittivity, linear in
// V and ζ together; it is below zero for a mode that decays. Inverse iteration of a few
// vectors together solves it, from the static modes and those at their cutoffs. V = 0
// with any ζ is a solution for s = 0 and no wave: each vector is kept apart from these by
// the second equation, solved for ζ. A mode's
// magnetic field is N_t (V − Gζ), and the voltages of one mode times the magnetic
// field of another sum to zero: so a port hears each of its modes alone.

// A pattern is a mode's transverse field at one frequency.
type pattern struct {
	f     float64               // Hz
	e, h  [2]map[[2]int]float64 // as of section
	norm  float64               // ∫E×H of the profiles
	eps   float64               // s²/κ
	q     float64               // (s/d)², 1/m²
	geom  float64               // current over voltage, but for jωμ: as of section
	share []float64             // as of section
}

// A pencil is the two sides of the eigenproblem at one frequency.
type pencil struct {
	x    *cross
	rest *sparse.Factors // of GᵀN_tG − κM; nil: not factored
	line []int           // unknown of rest by that of the pencil
	n    int
	edge []int // unknown of each link
	node []int // of each node; −1: none
	a, b entries
}

func (s *section) pencil(g *grid, x *cross, f float64) *pencil {
	nu, nv := g.n[s.u]+1, g.n[s.v]+1
	d := s.spacing
	kappa := g.turn(f) * d * d

	// unknowns in the order of the nodes, the shorter side first
	edge, node := make([]int, len(x.links)), make([]int, nu*nv)
	n := 0
	place := func(u, v int) {
		p := [2]int{u, v}
		for c := range 2 {
			if l, ok := x.number[c][p]; ok {
				edge[l] = n
				n++
			}
		}
		node[u+v*nu] = -1
		if i := g.index(s.node(p)); !x.metal[u+v*nu] && g.length[s.axis][i] > 0 {
			node[u+v*nu] = n
			n++
		}
	}
	if nu < nv {
		for v := range nv {
			for u := range nu {
				place(u, v)
			}
		}
	} else {
		for u := range nu {
			for v := range nv {
				place(u, v)
			}
		}
	}

	var a, b entries
	for m, l := range x.links {
		a.add(edge[m], edge[m], l.w*l.eps)
	}
	out := &pencil{x: x, n: n, edge: edge, node: node}
	x.fold(&b, func(m int) []int { at := out.drop(m); return at[:] }, []float64{1, -1, 1}) // (V − Gζ)ᵀ N_t (V − Gζ)
	for v := range nv {
		for u := range nu {
			if k := node[u+v*nu]; k >= 0 {
				eps := s.permittivity(g, s.axis, [2]int{u, v})
				b.add(k, k, -kappa*eps*g.dual[s.u][u]*g.dual[s.v][v]/(d*d))
			}
		}
	}
	// circulation about cells
	around := func(p [2]int) (at [4]int, by [4]float64) {
		by = [4]float64{1, 1, -1, -1}
		for k, e := range []struct {
			c int
			p [2]int
		}{{0, p}, {1, [2]int{p[0] + 1, p[1]}}, {0, [2]int{p[0], p[1] + 1}}, {1, p}} {
			at[k] = -1
			if l, ok := x.number[e.c][e.p]; ok {
				at[k] = edge[l]
			}
		}
		return at, by
	}
	curl := func(p, q [2]int, w float64) {
		i, x1 := around(p)
		j, x2 := around(q)
		for k := range 4 {
			for m := range 4 {
				if i[k] >= 0 && j[m] >= 0 && i[k] >= j[m] {
					a.add(i[k], j[m], -w*x1[k]*x2[m])
				}
			}
		}
	}
	for v := range nv - 1 {
		for u := range nu - 1 {
			p := [2]int{u, v}
			curl(p, p, d*d/kappa*g.reciprocal(s.axis, s.node(p))/(g.d[s.u][u]*g.d[s.v][v]))
		}
	}
	for _, l := range g.loans[s.axis] {
		p, q := g.place(l.i), g.place(l.j)
		if p[s.axis] == s.plane && q[s.axis] == s.plane {
			i, j := [2]int{p[s.u], p[s.v]}, [2]int{q[s.u], q[s.v]}
			curl(i, j, d*d/kappa*l.n)
			curl(j, i, d*d/kappa*l.n)
		}
	}

	out.a, out.b = a, b
	return out
}

// drop returns the unknowns of V − Gζ along a link: V, then ζ at its two ends.
func (p *pencil) drop(link int) [3]int {
	l := p.x.links[link]
	return [3]int{p.edge[link], p.node[l.i], p.node[l.j]}
}

// settle makes z obey the second equation, by its ζ. The first call factors.
func (p *pencil) settle(z []float64) bool {
	if p.rest == nil {
		n := 0
		p.line = make([]int, p.n)
		for i := range p.line {
			p.line[i] = -1
		}
		for _, k := range p.node {
			if k >= 0 {
				p.line[k] = 0
			}
		}
		for i, k := range p.line { // in the order of the unknowns
			if k == 0 {
				p.line[i] = n
				n++
			}
		}
		var m, none entries
		for k, i := range p.b.i {
			if i, j := p.line[i], p.line[p.b.j[k]]; i >= 0 && j >= 0 {
				m.add(i, j, p.b.v[k])
			}
		}
		var ok bool
		if p.rest, ok = factor(n, &m, &none, 0); !ok {
			return false
		}
	}
	x, y := make([]float64, p.n), make([]float64, p.n)
	for i, k := range p.line {
		if k < 0 {
			x[i] = z[i]
		}
	}
	p.b.apply(x, y)
	var right []float64
	for i, k := range p.line {
		if k >= 0 {
			right = append(right, -y[i])
		}
	}
	p.rest.Solve(right)
	for i, k := range p.line {
		if k >= 0 {
			z[i] = right[k]
		}
	}
	return true
}

// A wave is a solution of the pencil.
type wave struct {
	z          []float64
	volt, flow []float64 // by link
	eps        float64
}

func (p *pencil) wave(z []float64, eps float64) wave {
	w := wave{z: z, eps: eps, volt: make([]float64, len(p.edge)), flow: make([]float64, len(p.edge))}
	fall := make([]float64, len(p.edge))
	for m := range p.edge {
		at := p.drop(m)
		w.volt[m] = z[at[0]]
		fall[m] = w.volt[m]
		if at[1] >= 0 {
			fall[m] -= z[at[1]]
		}
		if at[2] >= 0 {
			fall[m] += z[at[2]]
		}
	}
	p.x.flow(fall, w.flow)
	return w
}

// alike is 1 for two waves of one mode, 0 for waves of two.
func alike(v, w wave) float64 {
	return dot(v.volt, w.flow) * dot(w.volt, v.flow) / (dot(v.volt, v.flow) * dot(w.volt, w.flow))
}

// nearest returns the wave among several that is most like v, and how like. Of waves of
// equal speed it takes what they hold of v together.
func nearest(v wave, among []wave) (wave, float64) {
	best, most := -1, 0.0
	for i, w := range among {
		if a := alike(v, w); a > most {
			best, most = i, a
		}
	}
	if best < 0 {
		return wave{}, 0
	}
	var same []wave
	for _, w := range among {
		if math.Abs(w.eps-among[best].eps) <= 1e-8*math.Abs(w.eps) {
			same = append(same, w)
		}
	}
	if len(same) == 1 {
		return among[best], most
	}
	sum := wave{eps: among[best].eps, z: make([]float64, len(same[0].z)), volt: make([]float64, len(v.volt)), flow: make([]float64, len(v.volt))}
	for i, w := range same { // one orthogonal to the other
		for _, u := range same[:i] {
			w = w.plus(u, -dot(u.flow, w.volt)/dot(u.flow, u.volt))
		}
		same[i] = w
		sum = sum.plus(w, dot(w.flow, v.volt)/dot(w.flow, w.volt))
	}
	return sum, alike(v, sum)
}

func (w wave) plus(u wave, by float64) wave {
	add := func(x, y []float64) []float64 {
		out := make([]float64, len(x))
		for i := range x {
			out[i] = x[i] + by*y[i]
		}
		return out
	}
	return wave{add(w.z, u.z), add(w.volt, u.volt), add(w.flow, u.flow), w.eps}
}

// solve finds the solutions of the pencil below sigma, the nearest first, from as many
// guesses.
func (p *pencil) solve(start [][]float64, sigma float64, want int) (eps []float64, z [][]float64, ok bool) {
	k, ok := factor(p.n, &p.a, &p.b, sigma)
	if !ok || !p.settle(start[0]) {
		return nil, nil, false
	}
	return subspace(start, sigma, want, 150, func(x []float64) {
		k.Solve(x)
		p.settle(x)
	}, p.a.apply, p.b.apply)
}

// follow finds the patterns of a port's modes over the band, from the highest
// frequency down; at holds what each is at its cutoff, nothing for a TEM mode. It returns
// the modes that it cannot follow, which keep one pattern at every frequency.
func (s *section) follow(g *grid, x *cross, modes []*section, at []cutoff) (lost []*section) {
	parts := []float64{1, 0.8, 0.6, 0.4, 0.25, 0.12}
	sigma, hollow := 0.0, false
	for i, m := range modes {
		sigma = max(sigma, m.eps*(1+1e-3))
		hollow = hollow || at[i].volt != nil
	}
	if hollow {
		for _, l := range x.links {
			sigma = max(sigma, l.eps*(1+1e-3))
		}
		// near their cutoffs hybrid modes change fast: all within the band
		low := min(max(g.model.Band[0]/g.model.Band[1], 0.1), 0.95)
		for i := range parts {
			parts[i] = 1 - (1-low)*float64(i)/float64(len(parts)-1)
		}
	}
	before := make([]wave, len(modes))
	tracks := make([][]pattern, len(modes))
	gone := make([]bool, len(modes))
	var start [][]float64
	for _, part := range parts {
		f := part * g.model.Band[1]
		p := s.pencil(g, x, f)
		if start == nil {
			for i, m := range modes {
				z := m.start(g, p, at[i], f)
				start = append(start, z)
				before[i] = p.wave(z, 0)
				if at[i].volt == nil { // the flow of rest is another's than N_t V where faces lend
					for k, l := range x.links {
						_, _, across := m.edge(g, l.c, l.p)
						before[i].flow[k] = m.h[l.c][l.p] * across
					}
				}
			}
			if len(modes) > 1 || hollow { // company: what is not asked for but near
				start = append(start, strangers(p.n, 2)...)
			}
		}
		eps, z, ok := p.solve(start, sigma, len(modes))
		if !ok && !hollow && len(tracks[0]) > 2 {
			break // near rest; from here the static mode serves
		}
		if !ok {
			return modes
		}
		var waves []wave
		for i := range z {
			waves = append(waves, p.wave(z[i], eps[i]))
		}
		start = z
		sigma = math.Inf(-1)
		for i, m := range modes {
			w, like := nearest(before[i], waves)
			least := 0.8
			if at[i].volt != nil && part == 1 {
				least = 0.4
			}
			if gone[i] = gone[i] || !(like > least && like < 1.25); gone[i] {
				continue
			}
			if dotw(x, before[i].volt, w.volt) < 0 {
				w = wave{eps: w.eps, z: make([]float64, len(w.z)), volt: make([]float64, len(w.volt)), flow: make([]float64, len(w.flow))}.plus(w, -1)
			}
			before[i] = w
			sigma = max(sigma, w.eps+1e-3*max(1, math.Abs(w.eps)))
			tracks[i] = append(tracks[i], m.shape(g, x, w, f))
		}
		if math.IsInf(sigma, -1) {
			return modes
		}
	}
	for i, m := range modes {
		if gone[i] {
			lost = append(lost, m)
			continue
		}
		if m.kind == TEM {
			m.patterns = append(m.patterns, pattern{e: m.e, h: m.h, norm: m.geom, eps: m.eps, geom: m.geom, share: m.share})
		}
		for k := len(tracks[i]) - 1; k >= 0; k-- {
			m.patterns = append(m.patterns, tracks[i][k])
		}
		if m.kind != TEM { // the source's
			last := m.patterns[len(m.patterns)-1]
			m.e, m.h, m.geom = last.e, last.h, last.norm
		}
	}
	return lost
}

// start is a first guess of the mode at f.
func (s *section) start(g *grid, p *pencil, at cutoff, f float64) []float64 {
	z := make([]float64, p.n)
	if at.volt == nil {
		for m, l := range p.x.links {
			z[p.edge[m]] = s.e[l.c][l.p] * [2][]float64{g.d[s.u], g.d[s.v]}[l.c][l.p[l.c]] * l.part
		}
		return z
	}
	by := 1.0
	if s.kind == TM { // V = −s²/kc² Gζ
		by = 1 - g.turn(f)/at.turn
	}
	for m := range p.x.links {
		z[p.edge[m]] = by * at.volt[m]
	}
	for i, n := range p.node {
		if n >= 0 && at.node != nil {
			z[n] = at.node[i]
		}
	}
	return z
}

// shape makes a wave a pattern.
func (s *section) shape(g *grid, x *cross, w wave, f float64) pattern {
	if s.kind == TEM {
		p := s.tem(g, x, w.volt, w.flow)
		p.f, p.eps, p.q = f, w.eps, w.eps*g.turn(f)
		return p
	}
	power := dot(w.volt, w.flow)
	volt := math.Sqrt(dotw(x, w.volt, w.volt))
	p := pattern{f: f, norm: 1, eps: w.eps, q: w.eps * g.turn(f), geom: power / (volt * volt)}
	p.e, p.h = s.profiles(g, x, w.volt, w.flow, 1/volt, volt/power)
	return p
}

// dotw is ∫E·E' of voltages along the links.
func dotw(x *cross, v, u []float64) (sum float64) {
	for k, l := range x.links {
		sum += l.w * v[k] * u[k]
	}
	return sum
}

// weights returns those of the patterns at f: a cubic through the four about f, for a
// TEM mode in f²/(1 + 2f²/f1²), f1 the highest (a microstrip's permittivity rises with f²
// at first and more slowly later), for others in f².
func (s *section) weights(f float64) []float64 {
	n := len(s.patterns)
	if n == 0 {
		return []float64{1}
	}
	top := s.patterns[n-1].f
	at := func(f float64) float64 {
		if s.kind != TEM {
			return f * f
		}
		return f * f / (1 + 2*f*f/(top*top))
	}
	low := 0
	for low+4 < n && s.patterns[low+2].f < f {
		low++
	}
	out := make([]float64, n)
	for i := low; i < low+4; i++ {
		out[i] = 1
		for j := low; j < low+4; j++ {
			if j != i {
				out[i] *= (at(f) - at(s.patterns[j].f)) / (at(s.patterns[i].f) - at(s.patterns[j].f))
			}
		}
	}
	return out
}

// line returns the effective permittivity and the C/ε0 of the empty line at f, of a
// TEM mode.
func (s *section) line(f float64) (eps, geom float64) {
	if len(s.patterns) == 0 {
		return s.eps, s.geom
	}
	for i, w := range s.weights(f) {
		eps += w * s.patterns[i].eps
		geom += w * s.patterns[i].geom
	}
	return eps, geom
}

// wave returns (s/d)² of the mode at f, in 1/m², and what its current is to its
// voltage but for jωμ: C/ε0 of the empty line for TEM, 1 for TE, εk²/kz² for TM.
func (s *section) wave(g *grid, f float64) (q, geom float64) {
	turn := g.turn(f)
	if s.kind == TEM {
		eps, geom := s.line(f)
		return eps * turn, geom
	}
	if len(s.patterns) == 0 {
		q = s.eps*turn - s.kc2
		if s.kind == TE {
			return q, 1
		}
		return q, s.eps * turn / q
	}
	whole := 0.0
	least, most := math.Inf(1), math.Inf(-1)
	for i, w := range s.weights(f) {
		p := s.patterns[i]
		q += w * p.q
		geom += w * p.geom
		whole += w * p.geom * p.q
		least, most = min(least, p.geom), max(most, p.geom)
	}
	if least > 0 && most < 2*least { // of TE kind
		return q, geom
	}
	return q, whole / q
}

func dot(x, y []float64) (sum float64) {
	for i := range x {
		sum += x[i] * y[i]
	}
	return sum
}

// entries are those of a symmetric matrix on and below its diagonal, added up.
type entries struct {
	i, j []int
	v    []float64
}

func (e *entries) add(i, j int, v float64) {
	if i < j {
		i, j = j, i
	}
	e.i, e.j, e.v = append(e.i, i), append(e.j, j), append(e.v, v)
}

func (e *entries) apply(x, y []float64) {
	clear(y)
	for k, i := range e.i {
		j := e.j[k]
		y[i] += e.v[k] * x[j]
		if i != j {
			y[j] += e.v[k] * x[i]
		}
	}
}

// factor returns the factors of a − shift·b; false if there are none.
func factor(n int, a, b *entries, shift float64) (*sparse.Factors, bool) {
	i, j, v := slices.Concat(a.i, b.i), slices.Concat(a.j, b.j), slices.Clone(a.v)
	for _, w := range b.v {
		v = append(v, -shift*w)
	}
	f, err := sparse.Factor(n, i, j, v)
	return f, err == nil
}
