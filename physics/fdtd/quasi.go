package fdtd

import "math"

// The mode of a quasi-TEM port above rest. With V the voltages along the edges of the
// cross-section, ψ those along the line (of the edges that leave its nodes), N the
// reciprocal areas of faces, C the circulation about cells and G the difference along
// edges, Yee's equations of a wave that turns by θ per cell of length d are, with
// s = 2 sin(θ/2), κ = (2d sin(ωΔt/2)/cΔt)², ψ = sζ,
//
//	κ W V = s² N_t (V − Gζ) + Cᵀ N_z C V
//	κ M ζ = Gᵀ N_t (Gζ − V)
//
// W being ε times the ratio of dual size to free length, M ε times the dual area over
// d². This is a symmetric eigenproblem for s²/κ, the effective permittivity, linear in
// V and ζ together; inverse iteration from the static mode solves it. The mode's
// magnetic field is N_t (V − Gζ), and the voltages of one mode times the magnetic
// field of another sum to zero: so a port hears its own mode alone.

// A pattern is a mode's transverse field at one frequency.
type pattern struct {
	f    float64               // Hz
	e, h [2]map[[2]int]float64 // as of section
	eps  float64
	geom float64
}

// A link is an edge of a TEM port's cross-section, from node i to node j.
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

// A cross is a TEM port's cross-section.
type cross struct {
	links  []link
	number [2]map[[2]int]int // of links
	ties   []tie
	metal  []bool    // by node
	signal []float64 // by node: 1 on the signal conductor, else 0
}

// mostWork bounds the multiplications of one factorization: some seconds.
const mostWork = 4e9

// bend finds the mode at f. It gives up (false) where the mode is not the static one
// grown with frequency, as between coupled lines, or the cross-section is too large.
func (s *section) bend(g *grid, x *cross, f float64) (pattern, bool) {
	nu, nv := g.n[s.u]+1, g.n[s.v]+1
	d := s.spacing
	o := 2 * math.Sin(math.Pi*f*g.dt) / (c0 * g.dt) * d
	kappa := o * o

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
	// N_t (V − Gζ), and its transpose
	grad := func(l link) (at [3]int, by [3]float64) { // of V − Gζ; [0] is the edge's
		at, by = [3]int{0, node[l.i], node[l.j]}, [3]float64{1, -1, 1}
		return at, by
	}
	join := func(m, k int, w float64) {
		p, x1 := grad(x.links[m])
		q, x2 := grad(x.links[k])
		p[0], q[0] = edge[m], edge[k]
		for i := range 3 {
			for j := range 3 {
				if p[i] >= 0 && q[j] >= 0 && p[i] >= q[j] {
					b.add(p[i], q[j], w*x1[i]*x2[j])
				}
			}
		}
	}
	for m, l := range x.links {
		join(m, m, l.n)
	}
	for _, c := range x.ties {
		join(c.i, c.j, c.w)
		join(c.j, c.i, c.w)
	}
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

	start, y := make([]float64, n), make([]float64, n)
	for m, l := range x.links {
		start[edge[m]] = s.e[l.c][l.p] * [2][]float64{g.d[s.u], g.d[s.v]}[l.c][l.p[l.c]] * l.part
	}
	z := append([]float64(nil), start...)
	eps := s.eps
	k, ok := factor(n, &a, &b, s.eps*(1+1e-3))
	if !ok {
		return pattern{}, false
	}
	done := false
	for range 60 {
		b.apply(z, y)
		k.solve(y)
		top := 0.0
		for _, v := range y {
			top = max(top, math.Abs(v))
		}
		for i := range y {
			z[i] = y[i] / top
		}
		a.apply(z, y)
		num := dot(z, y)
		b.apply(z, y)
		next := num / dot(z, y)
		done = math.Abs(next/eps-1) < 1e-12
		if eps = next; done {
			break
		}
	}
	if !done {
		return pattern{}, false
	}
	out := pattern{f: f, eps: eps}
	for c := range 2 {
		out.e[c], out.h[c] = map[[2]int]float64{}, map[[2]int]float64{}
	}
	flow := make([]float64, len(x.links))
	drop := func(m int) float64 {
		at, by := grad(x.links[m])
		at[0] = edge[m]
		sum := 0.0
		for i := range 3 {
			if at[i] >= 0 {
				sum += by[i] * z[at[i]]
			}
		}
		return sum
	}
	for m, l := range x.links {
		flow[m] += l.n * drop(m)
	}
	for _, c := range x.ties {
		flow[c.i] += c.w * drop(c.j)
		flow[c.j] += c.w * drop(c.i)
	}
	// one volt is what the power divided by the signal's current is
	still, back, power, current := 0.0, 0.0, 0.0, 0.0
	for m, l := range x.links {
		_, _, across := s.edge(g, l.c, l.p)
		still += start[edge[m]] * flow[m]
		back += z[edge[m]] * s.h[l.c][l.p] * across
		power += z[edge[m]] * flow[m]
		current += flow[m] * (x.signal[l.i] - x.signal[l.j])
	}
	volt := power / current
	out.geom = power / (volt * volt)
	// the static mode's part in this one: 1 at rest
	if alike := still * back / (s.geom * power); !(alike > 0.9 && alike < 1.1) || !(out.eps > 0) {
		return pattern{}, false
	}
	for m, l := range x.links {
		_, length, across := s.edge(g, l.c, l.p)
		out.e[l.c][l.p] = z[edge[m]] / volt / (length * l.part)
		out.h[l.c][l.p] = flow[m] / volt / across
	}
	return out, true
}

// follow finds the mode's patterns over the band. Where one cannot be found the mode
// stays the static one at every frequency.
func (s *section) follow(g *grid, x *cross) {
	all := []pattern{{e: s.e, h: s.h, eps: s.eps, geom: s.geom}}
	for _, part := range []float64{0.12, 0.25, 0.4, 0.6, 0.8, 1} {
		m, ok := s.bend(g, x, part*g.model.Band[1])
		if !ok {
			return
		}
		all = append(all, m)
	}
	s.patterns = all
}

// weights returns those of the patterns at f: a cubic through the four about f, in
// f²/(1 + 2f²/f1²), f1 the highest. (A microstrip's permittivity rises with f² at
// first and more slowly later.)
func (s *section) weights(f float64) []float64 {
	n := len(s.patterns)
	if n == 0 {
		return []float64{1}
	}
	top := s.patterns[n-1].f
	at := func(f float64) float64 { return f * f / (1 + 2*f*f/(top*top)) }
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

// line returns the effective permittivity and the C/ε0 of the empty line at f.
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

// A band is LDLᵀ of a symmetric band matrix, not pivoted.
type band struct {
	n, w int
	v    []float64 // row i holds columns i−w to i
}

// factor returns the factors of a − shift·b.
func factor(n int, a, b *entries, shift float64) (*band, bool) {
	w := 0
	for _, e := range []*entries{a, b} {
		for k := range e.i {
			w = max(w, e.i[k]-e.j[k])
		}
	}
	if float64(n)*float64(w)*float64(w) > mostWork {
		return nil, false
	}
	m := &band{n, w, make([]float64, n*(w+1))}
	for k, i := range a.i {
		m.v[i*(w+1)+a.j[k]-i+w] += a.v[k]
	}
	for k, i := range b.i {
		m.v[i*(w+1)+b.j[k]-i+w] -= shift * b.v[k]
	}
	for i := range n {
		ri := m.v[i*(w+1) : (i+1)*(w+1)]
		low := max(0, i-w)
		for j := low; j < i; j++ { // L_ij D_j
			rj := m.v[j*(w+1) : (j+1)*(w+1)]
			from := max(low, j-w)
			ri[j-i+w] -= dot(ri[from-i+w:j-i+w], rj[from-j+w:w])
		}
		for j := low; j < i; j++ {
			x := ri[j-i+w]
			l := x / m.v[j*(w+1)+w]
			ri[w] -= x * l
			ri[j-i+w] = l
		}
		if ri[w] == 0 || math.IsNaN(ri[w]) {
			return nil, false
		}
	}
	return m, true
}

func (m *band) solve(x []float64) {
	w := m.w
	for i := range m.n {
		low := max(0, i-w)
		x[i] -= dot(m.v[i*(w+1)+low-i+w:i*(w+1)+w], x[low:i])
	}
	for i := range m.n {
		x[i] /= m.v[i*(w+1)+w]
	}
	for i := m.n - 1; i >= 0; i-- {
		for j := max(0, i-w); j < i; j++ {
			x[j] -= m.v[i*(w+1)+j-i+w] * x[i]
		}
	}
}
