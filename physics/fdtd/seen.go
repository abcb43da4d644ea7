package fdtd

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// checkSeen looks for metal that the grid does not see: a wall between two planes,
// thinner than what the edges of the cells find of it.
func (g *grid) checkSeen() error {
	var errs []error
	for i, s := range g.model.Solids {
		if !s.Material.Metal {
			continue
		}
		metal, seen := 0, 0
		for _, p := range skinOf(s.Shape) {
			if !g.within(p) {
				continue
			}
			if g.solid(p) != i {
				continue // another solid lies over it
			}
			metal++
			if g.cut(p) {
				seen++
			}
		}
		if 10*seen < 9*metal {
			errs = append(errs, fmt.Errorf("fdtd: %s is metal that the grid does not see: it is thinner there than the cells; take smaller cells, make it a sheet, or fill what it encloses with metal", s.Name))
		}
	}
	return errors.Join(errs...)
}

// within says whether p lies in the region, off its sides.
func (g *grid) within(p Point) bool {
	for a := range 3 {
		if !(p[a] > g.model.Region.Low[a]+g.delta && p[a] < g.model.Region.High[a]-g.delta) {
			return false
		}
	}
	return true
}

// cut says whether any edge of the cell about p is not wholly free.
func (g *grid) cut(p Point) bool {
	var c [3]int
	for a := range 3 {
		c[a] = max(sort.SearchFloat64s(g.at[a], p[a])-1, 0)
	}
	for a := range 3 {
		u, v := (a+1)%3, (a+2)%3
		for k := range 4 {
			q := c
			q[u] += k & 1
			q[v] += k >> 1
			if g.length[a][g.index(q)] < 1 {
				return true
			}
		}
	}
	return false
}

// skinOf returns points just within a shape's surface.
func skinOf(s Shape) (out []Point) {
	const in = 1e-3
	lo, hi := s.Bounds()
	at := func(a int, x float64) float64 { return lo[a] + x*(hi[a]-lo[a]) }
	switch s := s.(type) {
	case Cylinder:
		u, v := (s.Axis+1)%3, (s.Axis+2)%3
		for _, x := range []float64{0.1, 0.5, 0.9} {
			for k := range 16 {
				sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / 16)
				var p Point
				p[s.Axis] = at(s.Axis, x)
				p[u], p[v] = s.Start[u]+s.Radius*(1-in)*cos, s.Start[v]+s.Radius*(1-in)*sin
				out = append(out, p)
			}
		}
	case Prism:
		u, v := (s.Axis+1)%3, (s.Axis+2)%3
		for i, a := range s.Polygon {
			b := s.Polygon[(i+1)%len(s.Polygon)]
			for _, side := range []float64{in, -in} {
				var p Point
				p[s.Axis] = at(s.Axis, 0.5)
				p[u], p[v] = (a[0]+b[0])/2-side*(b[1]-a[1]), (a[1]+b[1])/2+side*(b[0]-a[0])
				if s.Holds(p, 0) {
					out = append(out, p)
				}
			}
		}
	default:
		for a := range 3 {
			u, v := (a+1)%3, (a+2)%3
			for _, x := range []float64{in, 1 - in} {
				for k := range 9 {
					var p Point
					p[a], p[u], p[v] = at(a, x), at(u, 0.1+0.4*float64(k%3)), at(v, 0.1+0.4*float64(k/3))
					out = append(out, p)
				}
			}
		}
	}
	return out
}
