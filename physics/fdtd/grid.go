package fdtd

import (
	"fmt"
	"math"
)

// A grid is the divided region with its layers, and what fills it.
//
// Node (i, j, k) has index (i+1) + (j+1)·stride[1] + (k+1)·stride[2]: a ghost
// before each row, column and layer stays zero, which is what a mirror needs.
type grid struct {
	model  *Model
	n      [3]int       // cells
	layers [3][2]int    // matched layers at the low and high side
	mesh   [3]mesh      // as the axes were divided
	at     [3][]float64 // planes, n+1 of them
	d      [3][]float64 // cell sizes, n
	dual   [3][]float64 // sizes about the planes, n+1
	stride [3]int
	size   int
	delta  float64 // m, what "just beside" is
	solids *index
	length [3][]float32 // free part of each edge
	area   [3][]float32 // free part of each face
	dt     float64
	factor [3]map[int]float64 // of faces that lend or borrow, see lend
	loans  [3][]loan
	sharp  [3]map[int]float64 // of edges beside sharp edges of metal: of the permittivity
	faces  [3]map[int]float64 // of faces there: of the reciprocal area
}

func (g *grid) index(p [3]int) int { return p[0] + 1 + (p[1]+1)*g.stride[1] + (p[2]+1)*g.stride[2] }

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
		mesh := divideAxis(m, a, step, o.Narrow())
		g.mesh[a] = mesh
		at := append([]float64(nil), mesh.at...)
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
		return nil, fmt.Errorf("fdtd: the grid would have %.3g cells, more than the %.3g allowed: take larger cells, a smaller region, or allow more", cells, most)
	}
	g.size = g.stride[2]*(g.n[2]+3) + g.stride[1]
	if b := g.bytes(o); o.MaxBytes > 0 && b > o.MaxBytes {
		return nil, fmt.Errorf("fdtd: the grid of %.3g cells, with its ports, needs %.3g GB, more than the %.3g GB allowed: take larger cells, a smaller region, or single precision", cells, b/1e9, o.MaxBytes/1e9)
	}
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
	if i := g.solid(p); i >= 0 {
		return &g.model.Solids[i].Material
	}
	return &g.model.Background
}

// solid returns which solid stands at p; −1: the background.
func (g *grid) solid(p Point) int {
	for a := range 3 {
		p[a] = min(max(p[a], g.model.Region.Low[a]+g.delta), g.model.Region.High[a]-g.delta)
	}
	x := g.solids
	var at [3]int
	for a := range 3 {
		at[a] = min(int((p[a]-x.low[a])*x.scale[a]), x.n[a]-1)
	}
	b := &x.bins[at[0]+x.n[0]*(at[1]+x.n[1]*at[2])]
	for _, i := range b.solids {
		if b.only != nil || g.model.Solids[i].Shape.Holds(p, 2*g.delta) {
			return int(i)
		}
	}
	return -1
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
	low := Point{g.at[0][p[0]], g.at[1][p[1]], g.at[2][p[2]]}
	high := low
	high[a] += g.d[a][p[a]]
	for _, b := range []int{u, v} {
		low[b], high[b] = g.at[b][max(p[b]-1, 0)], g.at[b][min(p[b]+1, g.n[b])]
	}
	if m := g.only(low, high); m != nil {
		if m.Metal {
			return 1, 0, nil
		}
		e, poles := m.poles()
		if len(poles) > 0 {
			shares = map[*Material]float64{m: 1}
		}
		return e, m.Conductivity, shares
	}
	total := 0.0
	for _, along := range []float64{0.5, 0.02, 0.98, 0.2, 0.8} { // the middle of an edge that metal cuts may be metal
		for _, du := range []int{-1, 0} {
			for _, dv := range []int{-1, 0} {
				pu, pv := p[u]+du, p[v]+dv
				if pu < 0 || pv < 0 || pu >= g.n[u] || pv >= g.n[v] {
					continue
				}
				w := g.d[u][pu] * g.d[v][pv]
				for q := range 4 {
					var at Point
					at[a] = g.at[a][p[a]] + along*g.d[a][p[a]]
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
		if total > 0 {
			break
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
