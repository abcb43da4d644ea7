package fdtd

import "math"

// Sharp edges of metal. Beside an edge the field goes as r^(ν−1) across it, r the
// distance: ν = 1/2 at the edge of a sheet, 2/3 at one of 90° ([meixner1972]). Yee's
// differences take it to be even over a cell, which makes metal look larger by a part of
// a cell: the capacitance of the nearest edges is too large, the inductance of the
// nearest faces too small, both by one factor, since the static E along a link of the
// cross-section and the static H across it obey one equation.
//
// The factor is found once: on a square of cells about the edge, with the exact
// r^ν cos or sin on its border, the energy on the grid is to be the exact one; the links
// that leave the edge are given the weight that makes it so. It is 1 for even cells
// without an edge. Permittivity of these edges and the reciprocal area of
// these faces are multiplied by it: both stay symmetric and positive, and the product
// that sets the speed along the edge stays. What is left falls about with the square
// of the cell.
//
// The edges are those along lines of the grid, with metal that ends on its planes: a
// quarter of the four cells about the line, or a sheet between two of them. Others, as
// the ends of round metal, and edges on the region's sides, are left as they are.

// wedge is a kind of edge.
type wedge int

const (
	rim    wedge = iota // of a sheet
	corner              // of 90°
)

// weights of the links at an edge, for cells whose sides across it are as 1, √2, 2, 2√2
// and 4 to each other, either way. A test computes them anew.
var edgeWeights = [2][5]float64{
	{0.652619, 0.639988, 0.602999, 0.544548, 0.470014},
	{0.803121, 0.794137, 0.767061, 0.721668, 0.658255},
}

// weight is that of the links at an edge between cells of sides u and v.
func (w wedge) weight(u, v float64) float64 {
	t := edgeWeights[w]
	x := min(2*math.Abs(math.Log2(u/v)), float64(len(t)-1))
	i := min(int(x), len(t)-2)
	return t[i] + (x-float64(i))*(t[i+1]-t[i])
}

// sharpen finds the edges, and what they change. It returns the time step they bear.
func (g *grid) sharpen(dt float64) float64 {
	for a := range 3 {
		g.sharp[a], g.faces[a] = map[int]float64{}, map[int]float64{}
	}
	add := func(m map[int]float64, i int, x float64) {
		if _, ok := m[i]; !ok {
			m[i] = 1
		}
		m[i] += x
	}
	metal := func(p [3]int) bool {
		for a := range 3 {
			q := p
			q[a]++
			if g.area[a][g.index(p)] > 0 || g.area[a][g.index(q)] > 0 {
				return false
			}
		}
		return true
	}
	for w := range 3 {
		u, v := (w+1)%3, (w+2)%3
		var p [3]int
		for p[u] = 1; p[u] < g.n[u]; p[u]++ {
			for p[v] = 1; p[v] < g.n[v]; p[v]++ {
				for p[w] = 0; p[w] < g.n[w]; p[w]++ {
					if g.length[w][g.index(p)] != 0 {
						continue
					}
					// the four links, towards −u, +u, −v, +v: the faces they span with w
					type link struct{ edge, face, along, across int }
					su, sv := g.stride[u], g.stride[v]
					i := g.index(p)
					links := [4]link{{i - su, i - su, u, v}, {i, i, u, v}, {i - sv, i - sv, v, u}, {i, i, v, u}}
					closed, whole := 0, 0
					for _, l := range links {
						switch g.area[l.across][l.face] {
						case 0:
							closed++
						case 1:
							whole++
						}
					}
					if closed+whole != 4 || closed != 1 && closed != 2 {
						continue
					}
					quarters := 0
					for k := range 4 {
						q := p
						q[u] -= k & 1
						q[v] -= k >> 1
						if metal(q) {
							quarters++
						}
					}
					var kind wedge
					switch {
					case closed == 1 && quarters == 0:
						kind = rim
					case closed == 2 && quarters == 1:
						kind = corner
					default:
						continue
					}
					if !g.straight(w, p) {
						continue
					}
					x := kind.weight(g.dual[u][p[u]], g.dual[v][p[v]])
					for _, l := range links {
						if g.area[l.across][l.face] == 0 {
							continue
						}
						if _, lent := g.factor[l.across][l.face]; lent {
							continue
						}
						add(g.faces[l.across], l.face, x-1)
						for end := range 2 {
							part := (x - 1) / 2
							if at := p[w] + end; at == 0 || at == g.n[w] {
								part *= 2 // beyond a mirror the edge goes on
							}
							add(g.sharp[l.along], l.edge+end*g.stride[w], part)
						}
					}
					du, dv := min(g.d[u][p[u]-1], g.d[u][p[u]]), min(g.d[v][p[v]-1], g.d[v][p[v]])
					dw := g.d[w][p[w]]
					dt = min(dt, 0.99/(c0*math.Sqrt((1/(du*du)+1/(dv*dv))/x+1/(dw*dw))))
				}
			}
		}
	}
	return dt
}

// straight says whether what stands about an edge along w at p has a sharp edge there:
// round things and slanted ones only seem so.
func (g *grid) straight(w int, p [3]int) bool {
	u, v := (w+1)%3, (w+2)%3
	for k := range 4 {
		var at Point
		at[w] = g.at[w][p[w]] + g.d[w][p[w]]/2
		at[u], at[v] = g.at[u][p[u]]+g.d[u][p[u]]/4, g.at[v][p[v]]+g.d[v][p[v]]/4
		if k&1 == 1 {
			at[u] = g.at[u][p[u]] - g.d[u][p[u]-1]/4
		}
		if k>>1 == 1 {
			at[v] = g.at[v][p[v]] - g.d[v][p[v]-1]/4
		}
		switch s := g.model.shape(g.solid(at)).(type) {
		case Cylinder:
			return false
		case Prism:
			if s.Axis != w {
				continue
			}
			here := false
			for _, q := range s.Polygon {
				here = here || math.Abs(q[0]-g.at[u][p[u]]) < 1e-3*g.d[u][p[u]] && math.Abs(q[1]-g.at[v][p[v]]) < 1e-3*g.d[v][p[v]]
			}
			if !here {
				return false
			}
		}
	}
	return true
}
