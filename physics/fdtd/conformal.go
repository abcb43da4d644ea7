package fdtd

import (
	"fmt"
	"math"
	"sort"
)

// Metal that cuts cells. The part of a face that is free of metal and the free
// parts of its edges enter Faraday's law [deymittra1997]. A small face would
// force a small time step; it borrows area from its neighbours instead
// ([xiaoliu2004], in the symmetric form below). With S the free areas, v the
// circulations of E about them, and a face i that borrows s_j from faces j,
//
//	w_i = v_i + Σ_j s_j/S_j v_j      S'_i = S_i + Σ_j s_j
//	μ dH_i/dt = −w_i/S'_i
//	μ dH_j/dt = −(S_j − Σs_j)/S_j² v_j − Σ_i s_j/S_j · w_i/S'_i
//
// so μ dH/dt = −N v with N symmetric and positive: energy is kept, reciprocity
// too, at the time step of whole cells. Within matched layers nothing is lent, as
// the coupled faces carry backward waves that grow there: small areas are enlarged.
// What the layers behind a port reflect for that does not enter S.

// crossings returns the places, as parts of l, at which the stretch of length l
// from p along axis a enters or leaves metal, and whether it starts in metal.
func (g *grid) crossings(p Point, a int, l float64, beside ...int) (at []float64, starts bool) {
	const n, edge = 8, 1e-4
	low, high := p, p
	high[a] += l
	for b := range 3 {
		low[b] -= g.delta
		high[b] += g.delta
	}
	if m := g.only(low, high); m != nil {
		return nil, m.Metal
	}
	metal := func(s float64) bool { q := p; q[a] += s * l; return g.metal(q, beside...) }
	s0, m0 := edge, metal(edge)
	starts = m0
	for i := 1; i <= n; i++ {
		s1 := float64(i) / n
		if i == n {
			s1 = 1 - edge
		}
		m1 := metal(s1)
		if m0 != m1 {
			lo, hi := s0, s1
			for hi-lo > 1e-7 {
				if mid := (lo + hi) / 2; metal(mid) == m0 {
					lo = mid
				} else {
					hi = mid
				}
			}
			at = append(at, (lo+hi)/2)
		}
		s0, m0 = s1, m1
	}
	return at, starts
}

// free returns which part of the stretch of length l from p along axis a is
// not metal.
func (g *grid) free(p Point, a int, l float64, beside ...int) float64 {
	at, metal := g.crossings(p, a, l, beside...)
	sum, last := 0.0, 0.0
	for _, s := range append(at, 1) {
		if !metal {
			sum += s - last
		}
		last, metal = s, !metal
	}
	if sum > 1-4e-4 {
		return 1
	}
	if sum < 4e-4 {
		return 0
	}
	return sum
}

// freeArea returns which part of the face across a at cell p is not metal: the
// free part of the lines along u, integrated along v between the places where metal
// crosses the sides of the face (Gauss, three points).
func (g *grid) freeArea(a int, p [3]int) float64 {
	u, v := (a+1)%3, (a+2)%3
	at := Point{g.at[0][p[0]], g.at[1][p[1]], g.at[2][p[2]]}
	du, dv := g.d[u][p[u]], g.d[v][p[v]]
	breaks := []float64{0, 1}
	for _, s := range []float64{1e-4, 1 - 1e-4} {
		q := at
		q[u] += s * du
		c, _ := g.crossings(q, v, dv, a)
		breaks = append(breaks, c...)
	}
	sort.Float64s(breaks)
	sum := 0.0
	for i := 1; i < len(breaks); i++ {
		lo, h := breaks[i-1], breaks[i]-breaks[i-1]
		if h < 1e-6 {
			continue
		}
		for _, q := range [][2]float64{{0.5 - math.Sqrt(0.15), 5. / 18}, {0.5, 8. / 18}, {0.5 + math.Sqrt(0.15), 5. / 18}} {
			s := at
			s[v] += dv * (lo + q[0]*h)
			sum += g.free(s, u, du, a) * h * q[1]
		}
	}
	return sum
}

// measure finds the free lengths and areas.
func (g *grid) measure() {
	g.delta = math.Inf(1)
	for a := range 3 {
		for _, d := range g.d[a] {
			g.delta = min(g.delta, 1e-5*d)
		}
	}
	g.sortSolids()
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
			sum := g.freeArea(a, p)
			if sum > 0.999 {
				return 1 // beside metal: the face is whole
			}
			if longest == 0 || sum < 1e-7 {
				return 0
			}
			return sum
		})
	}
	g.lend()
	s := 0.0
	for a := range 3 {
		least := math.Inf(1)
		for _, d := range g.d[a] {
			least = min(least, d)
		}
		s += 1 / (least * least)
	}
	g.dt = g.sharpen(0.99 / (c0 * math.Sqrt(s)))
}

// inLayers says whether cell p lies in a matched layer.
func (g *grid) inLayers(p [3]int) bool {
	for b := range 3 {
		if p[b] < g.layers[b][0] || g.layers[b][1] > 0 && p[b] >= g.n[b]-g.layers[b][1] {
			return true
		}
	}
	return false
}

// A loan couples two faces of a component: N_ij.
type loan struct {
	i, j int     // of faces
	n    float64 // 1/m²
}

// reciprocal returns n_ii of a face times its whole area.
func (g *grid) reciprocal(a int, p [3]int) float64 {
	i := g.index(p)
	if n, ok := g.factor[a][i]; ok {
		return n
	}
	s := float64(g.area[a][i])
	if s == 0 {
		return 0
	}
	if x, ok := g.faces[a][i]; ok {
		return x / s
	}
	return 1 / s
}

// beside returns the factor of the permittivity of an edge of axis a.
func (g *grid) beside(a, i int) float64 {
	if x, ok := g.sharp[a][i]; ok {
		return x
	}
	return 1
}

// checkCages looks for a way from the inside of each cage to an open side.
func (g *grid) checkCages() error {
	for _, c := range g.model.Cages {
		var p [3]int
		for a := range 3 {
			p[a] = sort.SearchFloat64s(g.at[a], c.Inside[a]) - 1
		}
		mid := func(p [3]int) (m Point) {
			for a := range 3 {
				m[a] = g.at[a][p[a]] + g.d[a][p[a]]/2
			}
			return m
		}
		if m := mid(p); g.material(m).Metal {
			return fmt.Errorf("fdtd: the inside of cage %s, at (%g, %g, %g) m, is metal: give a point in the space it closes", c.Name, c.Inside[0], c.Inside[1], c.Inside[2])
		}
		seen, todo := make([]bool, g.size), [][3]int{p}
		seen[g.index(p)] = true
		for len(todo) > 0 {
			p, todo = todo[len(todo)-1], todo[:len(todo)-1]
			for a := range 3 {
				for side := range 2 {
					q, face := p, p
					q[a] += 2*side - 1
					face[a] += side
					if g.area[a][g.index(face)] == 0 {
						continue
					}
					if edge := [2]int{g.layers[a][0], g.n[a] - g.layers[a][1]}; q[a] < edge[0] || q[a] >= edge[1] {
						if g.model.Boundaries[2*a+side] == Open {
							m := mid(p)
							return fmt.Errorf("fdtd: cage %s is open: from its inside free space leads to the open side at (%.4g, %.4g, %.4g) m; close the gap, or take it off the cages", c.Name, m[0], m[1], m[2])
						}
						continue
					}
					if i := g.index(q); !seen[i] {
						seen[i] = true
						todo = append(todo, q)
					}
				}
			}
		}
	}
	return nil
}

// place is the inverse of index.
func (g *grid) place(i int) (p [3]int) {
	for b := range 3 {
		p[b] = i/g.stride[b]%(g.n[b]+2) - 1
	}
	return p
}

// lend finds which faces borrow, from which, and how much.
func (g *grid) lend() {
	for a := range 3 {
		g.factor[a] = map[int]float64{}
		g.loans[a] = nil
		u, v := (a+1)%3, (a+2)%3
		su, sv := g.stride[u], g.stride[v]
		whole := func(p [3]int) float64 { return g.d[u][p[u]] * g.d[v][p[v]] }
		sides := func(i int) (parts [4]float64, longest float64) { // towards −v, +v, −u, +u
			parts = [4]float64{float64(g.length[u][i]), float64(g.length[u][i+sv]), float64(g.length[v][i]), float64(g.length[v][i+su])}
			return parts, max(parts[0], parts[1], parts[2], parts[3])
		}
		// needs returns the least area the time step bears, as a part of the face
		needs := func(i int) float64 { _, l := sides(i); return l / 2 }
		type share struct {
			face int
			area float64 // borrowed, m²; of the borrower its own
			part float64 // of the lender's area
		}
		lent := map[int]float64{}
		n := map[[2]int]float64{}
		add := func(i, j int, x float64) {
			if i > j {
				i, j = j, i
			}
			n[[2]int{i, j}] += x
		}
		places := map[int]float64{} // whole area of faces that take part
		for k := range g.n[2] + 1 {
			for j := range g.n[1] + 1 {
				for i := range g.n[0] + 1 {
					p := [3]int{i, j, k}
					if p[u] >= g.n[u] || p[v] >= g.n[v] {
						continue
					}
					f := g.index(p)
					own := float64(g.area[a][f])
					if own == 0 || own == 1 || own >= needs(f) {
						continue
					}
					if g.inLayers(p) {
						g.area[a][f] = float32(needs(f))
						continue
					}
					want := (needs(f) - own) * whole(p)
					parts, _ := sides(f)
					virtual := []share{{f, own * whole(p), 1}}
					places[f] = whole(p)
					take := func(dirs [][2]int) { // equal shares
						var open []share
						for _, d := range dirs {
							q := p
							q[u] += d[0]
							q[v] += d[1]
							if q[u] < 0 || q[v] < 0 || q[u] >= g.n[u] || q[v] >= g.n[v] {
								continue
							}
							o := g.index(q)
							if s := float64(g.area[a][o]); s > 0 && s >= needs(o) {
								open = append(open, share{o, s*whole(q) - lent[o], s * whole(q)})
								places[o] = whole(q)
							}
						}
						sort.Slice(open, func(i, j int) bool { return open[i].area < open[j].area })
						for n, o := range open {
							x := min(want/float64(len(open)-n), o.area)
							if x <= 0 {
								continue
							}
							lent[o.face] += x
							want -= x
							virtual = append(virtual, share{o.face, x, x / o.part})
						}
					}
					order := []int{0, 1, 2, 3}
					sort.Slice(order, func(x, y int) bool { return parts[order[x]] > parts[order[y]] })
					all := [][2]int{{0, -1}, {0, 1}, {-1, 0}, {1, 0}}
					for x := 0; x < 4 && want > 1e-12*whole(p); {
						y := x + 1
						for y < 4 && parts[order[x]]-parts[order[y]] < 1e-3 {
							y++
						}
						var dirs [][2]int
						for _, o := range order[x:y] {
							if parts[o] > 0 {
								dirs = append(dirs, all[o])
							}
						}
						take(dirs)
						x = y
					}
					if want > 1e-12*whole(p) {
						take([][2]int{{-1, -1}, {1, -1}, {-1, 1}, {1, 1}})
					}
					total := max(want, 0) // what nobody lends the face is given
					for _, s := range virtual {
						total += s.area
					}
					for x, s := range virtual {
						for _, o := range virtual[:x+1] {
							add(s.face, o.face, s.part*o.part/total)
						}
					}
				}
			}
		}
		for o, s := range lent {
			area := float64(g.area[a][o]) * places[o]
			add(o, o, (area-s)/(area*area))
		}
		keys := make([][2]int, 0, len(n))
		for k := range n {
			keys = append(keys, k)
		}
		sort.Slice(keys, func(i, j int) bool {
			return keys[i][0] < keys[j][0] || keys[i][0] == keys[j][0] && keys[i][1] < keys[j][1]
		})
		for _, k := range keys {
			if k[0] == k[1] {
				g.factor[a][k[0]] = n[k] * places[k[0]]
			} else {
				g.loans[a] = append(g.loans[a], loan{k[0], k[1], n[k]})
			}
		}
	}
}
