package fdtd

import (
	"fmt"
	"math"
)

// A section is a port's mode on the grid. Places are of the port's plane.
type section struct {
	port     Port
	axis     int
	sign     float64 // +1: the device lies towards higher coordinates
	source   int     // plane of the source
	plane    int     // plane of the voltage
	u, v     int
	e, h     [2]map[[2]int]float64 // by component u, v: profiles of E and of the H across it
	kc2      float64               // 1/m², of the grid
	eps      float64               // effective permittivity of the mode at rest
	geom     float64               // C/ε0 of the empty line (TEM); 1 (TE)
	TE       bool
	spacing  float64
	patterns []pattern // of a quasi-TEM mode over the band, the static one first; none: the same at every frequency
}

func (g *grid) section(p Port) (*section, error) {
	a := int(p.Side) / 2
	s := &section{port: p, axis: a, u: (a + 1) % 3, v: (a + 2) % 3, sign: 1, TE: p.Mode == TE, eps: 1, geom: 1}
	if int(p.Side)%2 == 0 {
		s.source = g.layers[a][0] + 1
		s.plane = s.source + 2
	} else {
		s.sign = -1
		s.source = g.n[a] - g.layers[a][1] - 1
		s.plane = s.source - 2
	}
	if s.plane < 1 || s.plane > g.n[a]-1 {
		return nil, fmt.Errorf("fdtd: port %s has less than 4 cells of line before it: make the region longer there", p.Name)
	}
	s.spacing = g.d[a][s.plane]
	for _, i := range []int{s.plane - 1, s.plane} {
		if math.Abs(g.d[a][i]/s.spacing-1) > 1e-9 {
			return nil, fmt.Errorf("fdtd: the cells about port %s are of unequal length along its line: keep 6 equal ones at that side", p.Name)
		}
	}
	if s.TE {
		return s, s.lowestTE(g)
	}
	return s, s.static(g)
}

func (s *section) node(p [2]int) [3]int {
	var q [3]int
	q[s.axis], q[s.u], q[s.v] = s.plane, p[0], p[1]
	return q
}

// inside says whether an edge or cell at x, y lies in the port's window.
func (s *section) inside(x, y float64) bool {
	w := s.port.Window
	if w == ([2][2]float64{}) {
		return true
	}
	return x > w[0][0] && x < w[1][0] && y > w[0][1] && y < w[1][1]
}

// edge returns free length (part), length and dual size of the edge of
// component c (0 along u) at p.
func (s *section) edge(g *grid, c int, p [2]int) (part, length, across float64) {
	b, o := s.u, s.v
	if c == 1 {
		b, o = o, b
	}
	if p[c] >= g.n[b] {
		return 0, 0, 0
	}
	x := [2]float64{g.at[s.u][p[0]], g.at[s.v][p[1]]}
	x[c] += g.d[b][p[c]] / 2
	if !s.inside(x[0], x[1]) {
		return 0, g.d[b][p[c]], g.dual[o][p[1-c]]
	}
	return float64(g.length[b][g.index(s.node(p))]), g.d[b][p[c]], g.dual[o][p[1-c]]
}

// static solves Laplace's equation between the signal and the other metal.
func (s *section) static(g *grid) error {
	nu, nv := g.n[s.u]+1, g.n[s.v]+1
	id := func(p [2]int) int { return p[0] + p[1]*nu }
	var links []link
	number := [2]map[[2]int]int{{}, {}}
	parent := make([]int, nu*nv)
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
	metal := make([]bool, nu*nv)
	for y := range nv {
		for x := range nu {
			p := [2]int{x, y}
			at := Point{}
			at[s.axis], at[s.u], at[s.v] = g.at[s.axis][s.plane], g.at[s.u][x], g.at[s.v][y]
			metal[id(p)] = metal[id(p)] || g.metal(at, 0, 1, 2)
			for c := range 2 {
				q := p
				q[c]++
				part, l, d := s.edge(g, c, p)
				if l == 0 {
					continue
				}
				if part == 0 {
					i, j := id(p), id(q)
					metal[i], metal[j] = true, true
					parent[find(i)] = find(j)
					continue
				}
				eps := s.permittivity(g, [2]int{s.u, s.v}[c], p)
				number[c][p] = len(links)
				links = append(links, link{c, p, id(p), id(q), part, d / (part * l), eps, d / l * g.reciprocal([2]int{s.v, s.u}[c], s.node(p))})
			}
		}
	}
	// the signal is the piece of metal nearest to the point
	signal, near := -1, math.Inf(1)
	for y := range nv {
		for x := range nu {
			if i := id([2]int{x, y}); metal[i] {
				if d := math.Hypot(g.at[s.u][x]-s.port.Signal[0], g.at[s.v][y]-s.port.Signal[1]); d < near {
					signal, near = find(i), d
				}
			}
		}
	}
	if signal < 0 {
		return fmt.Errorf("fdtd: port %s stands on nothing: there is no metal in its cross-section; move it to a line", s.port.Name)
	}
	phi := make([]float64, nu*nv)
	ground := false
	for i := range phi {
		if metal[i] {
			if find(i) == signal {
				phi[i] = 1
			} else {
				ground = true
			}
		}
	}
	if !ground {
		return fmt.Errorf("fdtd: port %s has only one conductor in its cross-section, which carries no TEM wave: add the other conductor, or ask for TE", s.port.Name)
	}
	// E solves div(ε E) = 0; H = n grad ψ solves curl H = 0 with the couplings n of
	// faces that lend area
	var ties []tie
	for c := range 2 {
		for _, l := range g.loans[[2]int{s.v, s.u}[c]] {
			p, q := g.place(l.i), g.place(l.j)
			i, ok := number[c][[2]int{p[s.u], p[s.v]}]
			j, ok2 := number[c][[2]int{q[s.u], q[s.v]}]
			if p[s.axis] == s.plane && ok && ok2 && i != j {
				_, _, d := s.edge(g, c, links[i].p)
				ties = append(ties, tie{i, j, l.n * g.d[s.axis][s.plane] * d})
			}
		}
	}
	flow := make([]float64, len(links)) // of each link, over its dual size
	solve := func(filled bool) ([]float64, float64) {
		drive := func(x []float64) {
			for n, l := range links {
				v := x[l.i] - x[l.j]
				if filled {
					flow[n] = l.w * l.eps * v
				} else {
					flow[n] = l.n * v
				}
			}
			if !filled {
				for _, c := range ties {
					i, j := links[c.i], links[c.j]
					flow[c.i] += c.w * (x[j.i] - x[j.j])
					flow[c.j] += c.w * (x[i.i] - x[i.j])
				}
			}
		}
		apply := func(x, y []float64) {
			clear(y)
			drive(x)
			for n, l := range links {
				y[l.i] += flow[n]
				y[l.j] -= flow[n]
			}
			for i := range y {
				if metal[i] {
					y[i] = 0
				}
			}
		}
		x := append([]float64(nil), phi...)
		descend(apply, x, nil)
		drive(x)
		c := 0.0
		for n, l := range links {
			c += flow[n] * (x[l.i] - x[l.j])
		}
		return x, c
	}
	for k := range 2 {
		s.e[k], s.h[k] = map[[2]int]float64{}, map[[2]int]float64{}
	}
	filled, c := solve(true)
	for _, l := range links {
		size := [2][]float64{g.d[s.u], g.d[s.v]}[l.c][l.p[l.c]] * l.part
		s.e[l.c][l.p] = (filled[l.i] - filled[l.j]) / size
	}
	_, c1 := solve(false)
	for n, l := range links {
		_, _, d := s.edge(g, l.c, l.p)
		s.h[l.c][l.p] = flow[n] / d
	}
	s.eps, s.geom = c/c1, c1
	least, most := math.Inf(1), 0.0
	for _, l := range links {
		least, most = min(least, l.eps), max(most, l.eps)
	}
	if most > least*(1+1e-9) {
		s.follow(g, &cross{links, number, ties, metal, phi})
	}
	return nil
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

// lowestTE finds the lowest TE mode as the lowest solution of
// curl(1/area curl h) = kc² h on the cells of the cross-section, by inverse
// iteration; and with it E_u ∝ ∂h/∂v, E_v ∝ −∂h/∂u.
func (s *section) lowestTE(g *grid) error {
	nu, nv := g.n[s.u], g.n[s.v]
	id := func(x, y int) int { return x + y*nu }
	mass := make([]float64, nu*nv)
	type link struct {
		c    int
		p    [2]int
		i, j int // cells; −1: beyond a mirror
		w    float64
	}
	var links []link
	eps, epsN := 0.0, 0.0
	for y := range nv {
		for x := range nu {
			var q [3]int = s.node([2]int{x, y})
			if s.inside(g.at[s.u][x]+g.d[s.u][x]/2, g.at[s.v][y]+g.d[s.v][y]/2) {
				mass[id(x, y)] = float64(g.area[s.axis][g.index(q)]) * g.d[s.u][x] * g.d[s.v][y]
			}
		}
	}
	for y := range nv + 1 {
		for x := range nu + 1 {
			p := [2]int{x, y}
			for c := range 2 {
				part, l, d := s.edge(g, c, p)
				if part == 0 {
					continue
				}
				e, _, _ := g.fill([2]int{s.u, s.v}[c], s.node(p))
				eps += e
				epsN++
				i, j := -1, -1 // low and high cell
				if c == 0 {
					if y < nv {
						j = id(x, y)
					}
					if y > 0 {
						i = id(x, y-1)
					}
				} else {
					if x < nu {
						j = id(x, y)
					}
					if x > 0 {
						i = id(x-1, y)
					}
				}
				links = append(links, link{c, p, i, j, part * l / d})
			}
		}
	}
	if len(links) == 0 {
		return fmt.Errorf("fdtd: port %s stands on nothing: its cross-section is all metal; move it to a guide", s.port.Name)
	}
	s.eps = eps / epsN
	diff := func(h []float64, l link) float64 {
		d := 0.0
		if l.j >= 0 {
			d += h[l.j]
		}
		if l.i >= 0 {
			d -= h[l.i]
		}
		return d
	}
	apply := func(x, y []float64) {
		clear(y)
		for _, l := range links {
			d := l.w * diff(x, l)
			if l.j >= 0 {
				y[l.j] += d
			}
			if l.i >= 0 {
				y[l.i] -= d
			}
		}
	}
	// without a mirror the constant is a solution of kc = 0, not a mode
	constant := true
	for _, l := range links {
		if l.i < 0 || l.j < 0 {
			constant = false
		}
	}
	project := func(h []float64) {
		if !constant {
			return
		}
		sum, all := 0.0, 0.0
		for i, m := range mass {
			sum += m * h[i]
			all += m
		}
		for i := range h {
			if mass[i] > 0 {
				h[i] -= sum / all
			}
		}
	}
	h := make([]float64, nu*nv)
	for y := range nv {
		for x := range nu {
			if mass[id(x, y)] > 0 {
				h[id(x, y)] = math.Sin(1+3*float64(x)/float64(nu)) + 0.4*math.Cos(0.3+3*float64(y)/float64(nv))
			}
		}
	}
	b := make([]float64, len(h))
	last := 0.0
	for range 400 {
		project(h)
		norm := 0.0
		for i := range h {
			norm += mass[i] * h[i] * h[i]
		}
		for i := range h {
			h[i] /= math.Sqrt(norm)
			b[i] = mass[i] * h[i]
		}
		s.kc2 = 0
		for _, l := range links {
			d := diff(h, l)
			s.kc2 += l.w * d * d
		}
		if math.Abs(s.kc2-last) < 1e-14*s.kc2 {
			break
		}
		last = s.kc2
		for i := range h {
			h[i] /= s.kc2
		}
		descend(apply, h, b)
	}
	norm := 0.0
	for k := range 2 {
		s.e[k] = map[[2]int]float64{}
	}
	for _, l := range links {
		_, length, d := s.edge(g, l.c, l.p)
		e := diff(h, l) / d
		if l.c == 1 {
			e = -e
		}
		s.e[l.c][l.p] = e
		part, _, _ := s.edge(g, l.c, l.p)
		norm += part * length * d * e * e
	}
	// one sign for all ports: the largest field component points up
	big := 0.0
	for k := range 2 {
		for _, e := range s.e[k] {
			if math.Abs(e) > math.Abs(big)*(1+1e-9) {
				big = e
			}
		}
	}
	norm = math.Copysign(math.Sqrt(norm), big)
	for k := range 2 {
		for p := range s.e[k] {
			s.e[k][p] /= norm
		}
	}
	s.h = s.e
	return nil
}

// A tap is a weight on a place of the fields.
type tap struct {
	component, index int
	weight           float64
}

// A meter is the taps of a mode's voltage and of its current (its mean about the plane).
type meter struct{ voltage, current []tap }

// taps returns the places and weights of the source current and of the meters, one
// to each of the mode's patterns.
func (s *section) taps(g *grid) (source []tap, meters []meter) {
	axes := [2]int{s.u, s.v}
	shift := (s.source - s.plane) * g.stride[s.axis]
	patterns := s.patterns
	if len(patterns) == 0 {
		patterns = []pattern{{e: s.e, h: s.h, geom: s.geom}}
	}
	for n, m := range patterns {
		var out meter
		for c := range 2 {
			for y := range g.n[s.v] + 1 {
				for x := range g.n[s.u] + 1 {
					p := [2]int{x, y}
					e, ok := m.e[c][p]
					if !ok {
						continue
					}
					part, l, d := s.edge(g, c, p)
					i := g.index(s.node(p))
					if n == 0 {
						source = append(source, tap{axes[c], i + shift, e * part})
					}
					out.voltage = append(out.voltage, tap{axes[c], i, m.h[c][p] * l * d / m.geom}) // the field stored holds the free part
					// e_u h_v − e_v h_u
					w := e * part * l * d / 2
					comp := axes[1]
					if c == 1 {
						w, comp = -w, axes[0]
					}
					out.current = append(out.current, tap{comp, i, w * s.sign}, tap{comp, i - g.stride[s.axis], w * s.sign})
				}
			}
		}
		meters = append(meters, out)
	}
	return source, meters
}

// phase returns the phase per cell of length d, in rad, at frequency f; below
// cutoff it is negative imaginary.
func (s *section) phase(g *grid, f, d float64) complex128 {
	o := math.Sin(math.Pi*f*g.dt) / (c0 * g.dt)
	eps, _ := s.line(f)
	x := (eps*o*o - s.kc2/4) * d * d
	if x < 0 {
		return complex(0, -2*math.Asinh(math.Sqrt(-x)))
	}
	return complex(2*math.Asin(math.Min(1, math.Sqrt(x))), 0)
}

// impedance returns V/I of the wave, in Ω.
func (s *section) impedance(g *grid, f float64) complex128 {
	th := s.phase(g, f, s.spacing)
	o := 2 * math.Sin(math.Pi*f*g.dt) / g.dt
	_, geom := s.line(f)
	z := complex(o*mu0*s.spacing/geom, 0)
	if imag(th) != 0 {
		return z / complex(0, -math.Sinh(-imag(th)))
	}
	return z / complex(math.Sin(real(th)), 0)
}
