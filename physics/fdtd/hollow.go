package fdtd

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A cutoff is a mode at the frequency where its wave stands still along the line.
// There it is either of TE kind, C W⁻¹ Cᵀ h = κ N_z⁻¹ h with h the flux through the
// cells and V = W⁻¹ Cᵀ h, or of TM kind, Gᵀ N_t G ζ = κ M ζ and V ∝ Gζ. Where the
// filling is uniform and no face lends area it is the same above ([pozar2012] §3.1,
// on the grid).
type cutoff struct {
	kind Mode
	turn float64   // (2 sin(ωΔt/2)/cΔt)², 1/m²
	volt []float64 // by link
	node []float64 // ζ by node, TM
}

// frequency of the cutoff, Hz; infinite where the grid's steps in time are too long for it.
func (g *grid) cutoffFrequency(turn float64) float64 {
	x := math.Sqrt(turn) * c0 * g.dt / 2
	if x >= 1 {
		return math.Inf(1)
	}
	return math.Asin(x) / (math.Pi * g.dt)
}

// cutoffs returns the lowest cutoffs, want of each kind, the lowest first; false if they
// are not found.
func (s *section) cutoffs(g *grid, x *cross, want int) ([]cutoff, bool) {
	te, ok := s.cutoffsTE(g, x, want)
	if !ok {
		return nil, false
	}
	tm, ok := s.cutoffsTM(g, x, want)
	if !ok {
		return nil, false
	}
	all := append(te, tm...)
	slices.SortStableFunc(all, func(a, b cutoff) int {
		switch d := a.turn - b.turn; {
		case d < -1e-9*b.turn:
			return -1
		case d > 1e-9*b.turn:
			return 1
		}
		return 0 // TE before TM
	})
	return all, true
}

// numbered gives places of a u × v lattice numbers, the shorter side first; −1 where
// has says no.
func numbered(nu, nv int, has func(u, v int) bool) (number []int, n int) {
	number = make([]int, nu*nv)
	put := func(u, v int) {
		number[u+v*nu] = -1
		if has(u, v) {
			number[u+v*nu] = n
			n++
		}
	}
	if nu < nv {
		for v := range nv {
			for u := range nu {
				put(u, v)
			}
		}
	} else {
		for u := range nu {
			for v := range nv {
				put(u, v)
			}
		}
	}
	return number, n
}

func (s *section) cutoffsTE(g *grid, x *cross, want int) ([]cutoff, bool) {
	nu, nv := g.n[s.u], g.n[s.v]
	cell, n := numbered(nu, nv, func(u, v int) bool {
		return s.inside(g, g.at[s.u][u]+g.d[s.u][u]/2, g.at[s.v][v]+g.d[s.v][v]/2) && g.reciprocal(s.axis, s.node([2]int{u, v})) > 0
	})
	if n < 2 {
		return nil, true
	}
	mass := make([]float64, n) // 1/N_z but for ties
	for v := range nv {
		for u := range nu {
			if k := cell[u+v*nu]; k >= 0 {
				mass[k] = g.d[s.u][u] * g.d[s.v][v] / g.reciprocal(s.axis, s.node([2]int{u, v}))
			}
		}
	}
	// the cells at the two sides of a link: V = (h_low − h_high)/W along u, the other way along v
	sides := make([][2]int, len(x.links))
	mirror := false
	for k, l := range x.links {
		at := func(u, v int) int {
			if u < 0 || v < 0 || u >= nu || v >= nv {
				return -1
			}
			return cell[u+v*nu]
		}
		sides[k] = [2]int{at(l.p[0], l.p[1]-1), at(l.p[0], l.p[1])}
		if l.c == 1 {
			sides[k] = [2]int{at(l.p[0]-1, l.p[1]), at(l.p[0], l.p[1])}
		}
		mirror = mirror || sides[k][0] < 0 || sides[k][1] < 0
	}
	var a, b entries
	for k, l := range x.links {
		w := 1 / (l.w * l.eps)
		i, j := sides[k][0], sides[k][1]
		if i >= 0 {
			a.add(i, i, w)
		}
		if j >= 0 {
			a.add(j, j, w)
		}
		if i >= 0 && j >= 0 {
			a.add(i, j, -w)
		}
	}
	var ties entries // N_z off its diagonal
	for _, l := range g.loans[s.axis] {
		p, q := g.place(l.i), g.place(l.j)
		if p[s.axis] != s.plane || q[s.axis] != s.plane {
			continue
		}
		if i, j := cell[p[s.u]+p[s.v]*nu], cell[q[s.u]+q[s.v]*nu]; i >= 0 && j >= 0 && i != j {
			ties.add(i, j, l.n)
		}
	}
	for i, m := range mass {
		b.add(i, i, m)
	}
	inverse := func(h, y []float64) { // N_z⁻¹ h
		for i, m := range mass {
			y[i] = m * h[i]
		}
		if len(ties.i) > 0 {
			descend(func(p, q []float64) {
				ties.apply(p, q)
				for i, m := range mass {
					q[i] += p[i] / m
				}
			}, y, h)
		}
	}
	size := max(g.at[s.u][nu]-g.at[s.u][0], g.at[s.v][nv]-g.at[s.v][0])
	sigma := -1e-3 / (size * size) // below the constant, which is no mode
	at := func(sigma float64) (func(x []float64), bool) {
		k, ok := factor(n, &a, &b, sigma)
		if !ok || len(ties.i) == 0 {
			return func(x []float64) { k.Solve(x) }, ok
		}
		return func(y []float64) { // the factors are not quite those of a − sigma N_z⁻¹
			r := slices.Clone(y)
			k.Solve(y)
			t, u := make([]float64, n), make([]float64, n)
			for range 3 {
				a.apply(y, t)
				inverse(y, u)
				for i := range t {
					t[i] = r[i] - t[i] + sigma*u[i]
				}
				k.Solve(t)
				for i := range y {
					y[i] += t[i]
				}
			}
		}, true
	}
	need := want
	if !mirror { // the constant
		need++
	}
	values, vectors, ok := lowest(n, need, 3, sigma, at, a.apply, inverse)
	if !ok {
		return nil, false
	}
	var out []cutoff
	for i, v := range values {
		if v*size*size < 0.1 { // π² for a guide of the largest extent
			continue
		}
		volt := make([]float64, len(x.links))
		for k, l := range x.links {
			d := 0.0
			if j := sides[k][1]; j >= 0 {
				d += vectors[i][j]
			}
			if j := sides[k][0]; j >= 0 {
				d -= vectors[i][j]
			}
			if l.c == 1 {
				d = -d
			}
			volt[k] = d / (l.w * l.eps)
		}
		out = append(out, cutoff{kind: TE, turn: v, volt: volt})
	}
	return s.oriented(g, x, out, want), true
}

func (s *section) cutoffsTM(g *grid, x *cross, want int) ([]cutoff, bool) {
	nu, nv := g.n[s.u]+1, g.n[s.v]+1
	node, n := numbered(nu, nv, func(u, v int) bool {
		return !x.metal[u+v*nu] && g.length[s.axis][g.index(s.node([2]int{u, v}))] > 0
	})
	if n == 0 {
		return nil, true
	}
	var a, b entries
	x.fold(&a, func(k int) []int { return []int{node[x.links[k].i], node[x.links[k].j]} }, []float64{1, -1})
	for v := range nv {
		for u := range nu {
			if k := node[u+v*nu]; k >= 0 {
				b.add(k, k, s.permittivity(g, s.axis, [2]int{u, v})*g.dual[s.u][u]*g.dual[s.v][v])
			}
		}
	}
	size := max(g.at[s.u][nu-1]-g.at[s.u][0], g.at[s.v][nv-1]-g.at[s.v][0])
	sigma := -1e-3 / (size * size)
	values, vectors, ok := lowest(n, want, 3, sigma, func(sigma float64) (func(x []float64), bool) {
		k, ok := factor(n, &a, &b, sigma)
		return func(x []float64) { k.Solve(x) }, ok
	}, a.apply, b.apply)
	if !ok {
		return nil, false
	}
	var out []cutoff
	for i, v := range values {
		if v*size*size < 0.1 {
			continue
		}
		c := cutoff{kind: TM, turn: v, volt: make([]float64, len(x.links)), node: make([]float64, nu*nv)}
		for j, k := range node {
			if k >= 0 {
				c.node[j] = vectors[i][k]
			}
		}
		for k, l := range x.links {
			c.volt[k] = c.node[l.i] - c.node[l.j]
		}
		out = append(out, c)
	}
	return s.oriented(g, x, out, want), true
}

// oriented sorts cutoffs by frequency and settles which modes stand for those of equal
// cutoff: first what has most of its field along the section's first axis. It returns
// want of them.
func (s *section) oriented(g *grid, x *cross, all []cutoff, want int) []cutoff {
	slices.SortStableFunc(all, func(a, b cutoff) int { return cmp.Compare(a.turn, b.turn) })
	lean := make([]float64, len(x.links)) // more towards the sides, so that no pair is even
	lo, hi := g.at[s.u][0], g.at[s.u][g.n[s.u]]
	for k, l := range x.links {
		if l.c == 0 {
			t := (g.at[s.u][l.p[0]]+g.d[s.u][l.p[0]]/2-lo)/(hi-lo)*2 - 1
			lean[k] = l.w * (1 + 0.3*t*t)
		}
	}
	for i := 0; i < len(all); {
		j := i + 1
		for j < len(all) && all[j].turn-all[i].turn < 1e-7*all[j].turn {
			j++
		}
		if n := j - i; n > 1 {
			q, w := mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
			for a := range n {
				for b := range a + 1 {
					sum := 0.0
					for k, l := range lean {
						sum += l * all[i+a].volt[k] * all[i+b].volt[k]
					}
					q.SetSym(a, b, sum)
					w.SetSym(a, b, dotw(x, all[i+a].volt, all[i+b].volt))
				}
			}
			if _, v, err := pairs(q, w); err == nil {
				turned := make([]cutoff, n)
				for m := range n {
					c := cutoff{kind: all[i].kind, turn: all[i].turn, volt: make([]float64, len(x.links))}
					if all[i].node != nil {
						c.node = make([]float64, len(all[i].node))
					}
					for b := range n {
						for k := range c.volt {
							c.volt[k] += v[m][b] * all[i+b].volt[k]
						}
						for k := range c.node {
							c.node[k] += v[m][b] * all[i+b].node[k]
						}
					}
					turned[m] = c
				}
				copy(all[i:j], turned)
			}
		}
		i = j
	}
	return all[:min(want, len(all))]
}

// above adds the modes of the port that have cutoffs, follows all of them over the band
// where they change, and notes what a user should know of them.
func (s *section) above(g *grid, x *cross, modes []*section) ([]*section, []string, error) {
	var notes []string
	say := func(format string, args ...any) {
		notes = append(notes, "port "+s.port.Name+": "+fmt.Sprintf(format, args...))
	}
	want := max(s.port.Modes-len(modes), 0)
	if s.port.Mode != TEM {
		want = max(s.port.Modes, 1)
	}
	list, ok := s.cutoffs(g, x, want+1)
	if !ok && want > 0 {
		return nil, nil, fmt.Errorf("fdtd: port %s: the modes with a cutoff of its cross-section of %d edges are not found: give the port a smaller window, or take larger cells", s.port.Name, len(x.links))
	}
	if s.port.Mode != TEM && s.port.Modes <= 1 { // the lowest TE
		slices.SortStableFunc(list, func(a, b cutoff) int { return int(a.kind) - int(b.kind) })
	}
	if len(list) < want {
		return nil, nil, fmt.Errorf("fdtd: port %s: the grid knows %d modes with a cutoff in its cross-section, %d are asked for: take smaller cells or fewer modes", s.port.Name, len(list), want)
	}
	at := make([]cutoff, len(modes), len(modes)+want)
	for _, c := range list[:want] {
		t := *s
		t.kind = c.kind
		t.eps = 0
		for _, l := range x.links {
			t.eps += l.eps / float64(len(x.links))
		}
		t.kc2 = t.eps * c.turn
		size := math.Sqrt(dotw(x, c.volt, c.volt))
		big := 0.0
		for k, l := range x.links { // one sign for all ports: the largest field points up
			if e := c.volt[k] / (l.part * g.d[[2]int{s.u, s.v}[l.c]][l.p[l.c]]); math.Abs(e) > math.Abs(big)*(1+1e-6) {
				big = e
			}
		}
		size = math.Copysign(size, big)
		flow := make([]float64, len(x.links))
		for k, l := range x.links {
			flow[k] = l.w * c.volt[k]
		}
		t.e, t.h = s.profiles(g, x, c.volt, flow, 1/size, 1/size)
		for k := range c.volt {
			c.volt[k] /= size
		}
		for k := range c.node {
			c.node[k] /= size
		}
		modes, at = append(modes, &t), append(at, c)
		if f := g.cutoffFrequency(c.turn); f >= g.model.Band[0] {
			say("its %v mode travels above %.4g GHz only; below, S is of a wave that decays", c.kind, f/1e9)
		}
	}
	if !x.uniform || want > 0 && len(x.ties) > 0 {
		for _, m := range s.follow(g, x, modes, at) {
			if m.kind != TEM {
				say("its %v mode keeps the field of its cutoff at all frequencies: it could not be followed through the band", m.kind)
			} else {
				say("its TEM mode keeps the static field at all frequencies: it is no mode of the line by itself; name every conductor that carries signals, or the line is multimode in the band")
			}
		}
	}
	if len(list) > want {
		next := slices.MinFunc(list[want:], func(a, b cutoff) int { return cmp.Compare(a.turn, b.turn) })
		open := false
		for _, b := range []int{s.u, s.v} {
			open = open || g.layers[b][0] > 0 || g.layers[b][1] > 0
		}
		if f := g.cutoffFrequency(next.turn); !open && f < g.model.Band[1] {
			say("above %.4g GHz a further mode travels in its line, of %v kind; ask for %d modes", f/1e9, next.kind, len(modes)+1)
		}
	}
	return modes, notes, nil
}
