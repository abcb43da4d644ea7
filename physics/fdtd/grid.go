package fdtd

import (
	"fmt"
	"math"
	"sort"
)

// A grid is the divided region with its layers, and what fills it.
//
// Node (i, j, k) has index (i+1) + (j+1)·stride[1] + (k+1)·stride[2]: a ghost
// before each row, column and layer stays zero, which is what a mirror needs.
type grid struct {
	model  *Model
	n      [3]int       // cells
	layers [3][2]int    // matched layers at the low and high side
	at     [3][]float64 // planes, n+1 of them
	d      [3][]float64 // cell sizes, n
	dual   [3][]float64 // sizes about the planes, n+1
	stride [3]int
	size   int
	delta  float64      // m, what "just beside" is
	length [3][]float32 // free part of each edge
	area   [3][]float32 // free part of each face
	dt     float64
	cut    bool
}

func (g *grid) index(p [3]int) int { return p[0] + 1 + (p[1]+1)*g.stride[1] + (p[2]+1)*g.stride[2] }

// lines divides an axis: planes at all faces of solids, and between them cells
// no larger than step.
func lines(m *Model, a int, step float64) []float64 {
	if len(m.Lines[a]) > 0 {
		return m.Lines[a]
	}
	lo, hi := m.Region.Low[a], m.Region.High[a]
	fix := []float64{lo, hi}
	for _, s := range m.Solids {
		l, h := s.Shape.Bounds()
		fix = append(fix, l[a], h[a])
	}
	for _, p := range m.Ports {
		if int(p.Side)/2 == a {
			fix = append(fix, p.Plane)
		}
	}
	sort.Float64s(fix)
	out := []float64{lo}
	for _, x := range fix {
		last := out[len(out)-1]
		if x <= lo || x > hi || x-last < 0.05*step && x != hi {
			continue
		}
		n := int(math.Ceil((x-last)/step - 1e-9))
		for i := 1; i < n; i++ {
			out = append(out, last+(x-last)*float64(i)/float64(n))
		}
		out = append(out, x)
	}
	return out
}

func (m *Model) divide(o Options) (*grid, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	g := &grid{model: m}
	step := o.Cell
	if step == 0 {
		step = c0 / m.Band[1] / m.slowest() / o.cellsPerWave()
	}
	for a := range 3 {
		at := append([]float64(nil), lines(m, a, step)...)
		for side := range 2 {
			open := m.Boundaries[2*a+side] == Open
			for _, p := range m.Ports {
				open = open || int(p.Side) == 2*a+side
			}
			if !open {
				continue
			}
			g.layers[a][side] = o.layers()
			for range o.layers() {
				if n := len(at); side == 1 {
					at = append(at, 2*at[n-1]-at[n-2])
				} else {
					at = append([]float64{2*at[0] - at[1]}, at...)
				}
			}
		}
		n := len(at) - 1
		g.n[a], g.at[a] = n, at
		g.d[a], g.dual[a] = make([]float64, n), make([]float64, n+1)
		for i := range n {
			g.d[a][i] = at[i+1] - at[i]
			g.dual[a][i] += g.d[a][i] / 2
			g.dual[a][i+1] += g.d[a][i] / 2
		}
	}
	g.stride = [3]int{1, g.n[0] + 2, (g.n[0] + 2) * (g.n[1] + 2)}
	cells := float64(g.n[0]) * float64(g.n[1]) * float64(g.n[2])
	if most := o.maxCells(); cells > most {
		return nil, fmt.Errorf("fdtd: the grid would have %.3g cells, more than the %.3g allowed: take larger cells (Cell), a smaller region, or allow more (MaxCells)", cells, most)
	}
	g.size = g.stride[2]*(g.n[2]+3) + g.stride[1]
	return g, nil
}

// slowest returns the largest refractive index of the model.
func (m *Model) slowest() float64 {
	n := math.Sqrt(max(1, m.Background.Dielectric.Permittivity))
	for _, s := range m.Solids {
		if !s.Material.Metal {
			n = max(n, math.Sqrt(max(1, s.Material.Dielectric.Permittivity)))
		}
	}
	return n
}

// material returns what stands at p; beyond the region its sides go on.
func (g *grid) material(p Point) *Material {
	for a := range 3 {
		p[a] = min(max(p[a], g.model.Region.Low[a]+g.delta), g.model.Region.High[a]-g.delta)
	}
	for i := len(g.model.Solids) - 1; i >= 0; i-- {
		if g.model.Solids[i].Shape.Holds(p, 2*g.delta) {
			return &g.model.Solids[i].Material
		}
	}
	return &g.model.Background
}

// metal says whether p, or what lies just beside it along the given axes, is
// metal: a point on the surface of metal is, one on a seam between two voids is not.
func (g *grid) metal(p Point, beside ...int) bool {
	for q := range 1 << len(beside) {
		r := p
		for i, a := range beside {
			r[a] += g.delta * float64(2*(q>>i&1)-1)
		}
		if g.material(r).Metal {
			return true
		}
	}
	return false
}

// free returns which part of the stretch of length l from p along axis a is
// not metal.
func (g *grid) free(p Point, a int, l float64, beside ...int) float64 {
	const n = 8
	at := func(s float64) bool { q := p; q[a] += s * l; return g.metal(q, beside...) }
	sum, s0, m0 := 0.0, 1e-4, at(1e-4)
	for i := 1; i <= n; i++ {
		s1 := float64(i) / n
		if i == n {
			s1 = 1 - 1e-4
		}
		m1 := at(s1)
		switch {
		case m0 != m1:
			lo, hi := s0, s1
			for hi-lo > 1e-5 {
				if mid := (lo + hi) / 2; at(mid) == m0 {
					lo = mid
				} else {
					hi = mid
				}
			}
			if m0 {
				sum += s1 - hi
			} else {
				sum += lo - s0
			}
		case !m0:
			sum += s1 - s0
		}
		s0, m0 = s1, m1
	}
	if sum > 0.998 {
		return 1
	}
	if sum < 0.002 {
		return 0
	}
	return sum
}

// sliver is the least ratio of a face's free area to its longest free edge, both as
// parts of the whole; smaller areas are enlarged.
const sliver = 0.05

// measure finds the free lengths and areas.
func (g *grid) measure() {
	g.delta = math.Inf(1)
	for a := range 3 {
		for _, d := range g.d[a] {
			g.delta = min(g.delta, 1e-5*d)
		}
	}
	each := func(a int, edges bool, f func(p [3]int, at Point) float64) []float32 {
		out := make([]float32, g.size)
		top := g.n
		for b := range 3 {
			if (b == a) != edges {
				top[b]++
			}
		}
		for k := range top[2] {
			for j := range top[1] {
				for i := range top[0] {
					p := [3]int{i, j, k}
					out[g.index(p)] = float32(f(p, Point{g.at[0][i], g.at[1][j], g.at[2][k]}))
				}
			}
		}
		return out
	}
	for a := range 3 {
		u, v := (a+1)%3, (a+2)%3
		g.length[a] = each(a, true, func(p [3]int, at Point) float64 {
			for _, b := range []int{u, v} { // sides that conduct
				if p[b] == 0 && g.sideKind(b, 0) == Electric || p[b] == g.n[b] && g.sideKind(b, 1) == Electric {
					return 0
				}
			}
			return g.free(at, a, g.d[a][p[a]], u, v)
		})
	}
	for a := range 3 {
		u, v := (a+1)%3, (a+2)%3
		g.area[a] = each(a, false, func(p [3]int, at Point) float64 {
			i := g.index(p)
			e := [4]float64{float64(g.length[u][i]), float64(g.length[u][i+g.stride[v]]), float64(g.length[v][i]), float64(g.length[v][i+g.stride[u]])}
			longest := max(e[0], e[1], e[2], e[3])
			centre := at
			centre[u] += g.d[u][p[u]] / 2
			centre[v] += g.d[v][p[v]] / 2
			whole := e[0] > 0 && e[1] > 0 && e[2] > 0 && e[3] > 0 && e[0]+e[1]+e[2]+e[3] == 4
			if whole && !g.metal(centre, a) {
				return 1
			}
			sum := 0.0
			const n = 8
			for q := range n {
				s := at
				s[v] += g.d[v][p[v]] * (float64(q) + 0.5) / n
				sum += g.free(s, u, g.d[u][p[u]], a) / n
			}
			if sum > 0.995 {
				return 1 // beside metal: the face is whole
			}
			if longest == 0 {
				return 0
			}
			if longest > 0 && sum < 1 {
				g.cut = true
			}
			return max(sum, sliver*longest)
		})
	}
	s := 0.0
	for a := range 3 {
		least := math.Inf(1)
		for _, d := range g.d[a] {
			least = min(least, d)
		}
		s += 1 / (least * least)
	}
	g.dt = 0.99 / (c0 * math.Sqrt(s))
	if g.cut {
		g.settle()
	}
}

// settle makes the time step one that the cut cells bear: the largest eigenvalue
// of dt²·(curl curl)/με, by power iteration, must stay below 4. The iteration
// comes from below; 5 % are kept in hand.
func (g *grid) settle() {
	f := newFields[float64](g, 0)
	f.psiE, f.psiH, f.disperse = [3][]psi[float64]{}, [3][]psi[float64]{}, [3][]dispersive[float64]{}
	for a := range 3 {
		for i := range f.e[a] {
			if g.length[a][i] > 0 {
				f.e[a][i] = math.Sin(float64(i*i%1009) + float64(a))
			}
		}
	}
	largest := 0.0
	for range 120 {
		before, after := 0.0, 0.0
		for a := range 3 {
			for _, e := range f.e[a] {
				before += e * e
			}
			clear(f.h[a])
		}
		f.stepH()
		for a := range 3 {
			clear(f.e[a])
		}
		f.stepE()
		for a := range 3 {
			for _, e := range f.e[a] {
				after += e * e
			}
		}
		largest = math.Sqrt(after / before)
		for a := range 3 {
			for i := range f.e[a] {
				f.e[a][i] /= math.Sqrt(after)
			}
		}
	}
	if largest > 3.6 {
		g.dt *= 0.95 * math.Sqrt(4/largest)
	}
}

// sideKind is the boundary of a side, the layers' outer wall being metal.
func (g *grid) sideKind(a, side int) Boundary {
	if g.layers[a][side] > 0 {
		return Electric
	}
	return g.model.Boundaries[2*a+side]
}

// fill returns the optical permittivity, relative, the conductivity, in S/m, and the shares of dispersive materials about an edge.
func (g *grid) fill(a int, p [3]int) (inf, sigma float64, shares map[*Material]float64) {
	u, v := (a+1)%3, (a+2)%3
	total := 0.0
	for _, du := range []int{-1, 0} {
		for _, dv := range []int{-1, 0} {
			pu, pv := p[u]+du, p[v]+dv
			if pu < 0 || pv < 0 || pu >= g.n[u] || pv >= g.n[v] {
				continue
			}
			w := g.d[u][pu] * g.d[v][pv]
			for q := range 4 {
				var at Point
				at[a] = g.at[a][p[a]] + g.d[a][p[a]]/2
				fu, fv := 0.125+0.25*float64(q&1), 0.125+0.25*float64(q>>1)
				at[u] = g.at[u][p[u]] + fu*g.d[u][pu]*float64(2*du+1)
				at[v] = g.at[v][p[v]] + fv*g.d[v][pv]*float64(2*dv+1)
				m := g.material(at)
				if m.Metal {
					continue // the field is in what is not metal
				}
				total += w
				sigma += w * m.Conductivity
				if e, poles := m.poles(); len(poles) == 0 {
					inf += w * e
				} else {
					inf += w * e
					if shares == nil {
						shares = map[*Material]float64{}
					}
					shares[m] += w
				}
			}
		}
	}
	if total == 0 {
		return 1, 0, nil
	}
	for m := range shares {
		shares[m] /= total
	}
	return inf / total, sigma / total, shares
}

// A pole is a Debye relaxation, Δε/(1 + jωτ).
type pole struct{ strength, tau float64 }

// poles returns ε∞ and Debye poles of a material. The wideband law spreads
// relaxations evenly over ln τ; here they stand two to a decade.
func (m *Material) poles() (float64, []pole) {
	d := m.Dielectric
	e := d.Permittivity
	if e == 0 {
		e = 1
	}
	if d.LossTangent == 0 || d.FittedAt == 0 {
		return real(d.At(1e9)), nil
	}
	const n = 16 // over the eight decades from 10 kHz to 1 THz
	static, top := real(d.At(0)), real(d.At(1e18))
	var ps []pole
	for i := range n {
		f := 1e4 * math.Pow(10, 8*(float64(i)+0.5)/n)
		ps = append(ps, pole{(static - top) / n, 1 / (2 * math.Pi * f)})
	}
	return top, ps
}
