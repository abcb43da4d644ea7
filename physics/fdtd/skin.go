package fdtd

import (
	"math"
	"math/cmplx"

	"linewright/physics/material"
)

// Loss of conductors, to first order. Metal is perfect while the fields run. What
// the surface impedance Z_s of real metal changes then follows from the
// tangential H_i on the surface when port i alone is fed with a unit wave:
//
//	δS_ij = ½ ∮ Z_s H_i·H_j dS
//
// from Lorentz's reciprocity theorem between the perfect and the real structure,
// whose fields are taken to be equal ([pozar2012] §1.9 has the theorem; derived here). It
// holds while δS is small beside 1: a loss of 1 dB is off by about 6 % of itself. The
// loss of the lines beyond the ports' planes is left out.
//
// A surface element is found from the free areas of a cell's faces, the sum of
// which, as vectors, is the metal's surface in the cell. H is that of the cell,
// carried on to the metal by the slope to the next cell. At a rim of 90° H² is
// integrable; on the edge of a sheet without thickness it is not, and the
// loss grows slowly with ever finer cells: give the sheet its thickness.
type skin struct {
	items []skinItem
	freq  []float64
	every int
	sums  [][3]complex128 // by item and frequency
}

type skinItem struct {
	taps   [2][3][2]place // H of the cell and of the next one inward, weighted
	normal Point          // of unit length; 0: none is taken off
	area   float64        // m²
	metal  *material.Conductor
}

// lossy says whether any metal of the model has a conductor.
func (m *Model) lossy() bool {
	if m.Walls != nil || m.Background.Metal && m.Background.Conductor != nil {
		return true
	}
	for _, s := range m.Solids {
		if s.Material.Metal && s.Material.Conductor != nil {
			return true
		}
	}
	return false
}

func (g *grid) skin(freq []float64) *skin {
	if !g.model.lossy() {
		return nil
	}
	s := &skin{freq: freq, every: max(1, int(1/(6*g.model.Band[1]*g.dt)))}
	area := func(a int, p [3]int) float64 { // of a face, the sides that conduct being metal
		if p[a] == 0 && g.sideKind(a, 0) == Electric || p[a] == g.n[a] && g.sideKind(a, 1) == Electric {
			return 0
		}
		return float64(g.area[a][g.index(p)])
	}
	h := func(p [3]int, b int, w float64) (t [2]place) {
		n := 0.0
		for m := range 2 {
			if x := g.index(p) + m*g.stride[b]; g.area[b][x] > 0 {
				t[m] = place{x, w}
				n++
			}
		}
		for m := range 2 {
			t[m].weight /= max(n, 1)
		}
		return t
	}
	add := func(p [3]int, mid Point, n Point, dS, depth float64, b int, inward int, project bool) {
		metal := g.conductor(mid, n)
		if metal == nil || dS == 0 {
			return
		}
		item := skinItem{area: dS, metal: metal}
		q := p
		q[b] += inward
		face := p
		face[b] += (inward + 1) / 2
		ratio := 0.0
		if q[b] >= 0 && q[b] < g.n[b] && area(b, face) > 0.5 {
			ratio = depth / (1 + depth)
			far := q
			far[b] += (inward + 1) / 2
			if area(b, far) < 0.5 { // metal again: the field is even between
				ratio = 0
			}
		}
		for c := range 3 {
			if !project && c == b {
				continue // H normal to a flat wall
			}
			item.taps[0][c] = h(p, c, 1+ratio)
			if ratio > 0 {
				item.taps[1][c] = h(q, c, -ratio)
			}
		}
		if project {
			item.normal = n
		}
		s.items = append(s.items, item)
	}
	for k := g.layers[2][0]; k < g.n[2]-g.layers[2][1]; k++ {
		for j := g.layers[1][0]; j < g.n[1]-g.layers[1][1]; j++ {
			for i := g.layers[0][0]; i < g.n[0]-g.layers[0][1]; i++ {
				p := [3]int{i, j, k}
				var low, high, whole [3]float64
				flat, some := true, false
				for a := range 3 {
					q := p
					q[a]++
					low[a], high[a] = area(a, p), area(a, q)
					whole[a] = g.d[(a+1)%3][p[(a+1)%3]] * g.d[(a+2)%3][p[(a+2)%3]]
					for _, x := range [2]float64{low[a], high[a]} {
						flat = flat && (x == 0 || x == 1)
						some = some || x < 1
					}
				}
				if !some || low == [3]float64{} && high == [3]float64{} {
					continue
				}
				var mid Point
				for a := range 3 {
					mid[a] = g.at[a][p[a]] + g.d[a][p[a]]/2
				}
				if g.beyondPorts(mid) {
					continue
				}
				if flat {
					for a := range 3 {
						var n Point
						if low[a] == 0 {
							n[a] = -1
							add(p, mid, n, whole[a], 1, a, 1, false)
						}
						if high[a] == 0 {
							n[a] = 1
							add(p, mid, n, whole[a], 1, a, -1, false)
						}
					}
					continue
				}
				var n Point // into the metal
				size := 0.0
				for a := range 3 {
					n[a] = (low[a] - high[a]) * whole[a]
					size += n[a] * n[a]
				}
				size = math.Sqrt(size)
				if size == 0 {
					continue
				}
				b := 0
				for a := range 3 {
					n[a] /= size
					if math.Abs(n[a]) > math.Abs(n[b]) {
						b = a
					}
				}
				u, v := (b+1)%3, (b+2)%3
				depth := (low[u] + high[u] + low[v] + high[v]) / 4
				inward := 1
				if n[b] > 0 {
					inward = -1
				}
				add(p, mid, n, size, depth, b, inward, true)
			}
		}
	}
	s.sums = make([][3]complex128, len(s.items)*len(freq))
	return s
}

// beyondPorts says whether p lies outside a port's reference plane.
func (g *grid) beyondPorts(p Point) bool {
	for _, q := range g.model.Ports {
		a := int(q.Side) / 2
		out := p[a] < q.Plane
		if int(q.Side)%2 == 1 {
			out = p[a] > q.Plane
		}
		s := section{port: q}
		if out && s.inside(g, p[(a+1)%3], p[(a+2)%3]) {
			return true
		}
	}
	return false
}

// conductor returns that of the first metal from p along n, within two cells.
func (g *grid) conductor(p, n Point) *material.Conductor {
	for x := 0.25; x <= 2; x += 0.25 {
		q, outside := p, false
		for a := range 3 {
			i := 0
			for i < g.n[a]-1 && g.at[a][i+1] < p[a] {
				i++
			}
			q[a] += x * n[a] * g.d[a][i]
			outside = outside || q[a] < g.model.Region.Low[a] || q[a] > g.model.Region.High[a]
		}
		if outside {
			return g.model.Walls
		}
		if m := g.material(q); m.Metal {
			return m.Conductor
		}
	}
	// a sheet, on the cell's face
	q := p
	for a := range 3 {
		i := 0
		for i < g.n[a]-1 && g.at[a][i+1] < p[a] {
			i++
		}
		if n[a] > 0.99 {
			q[a] = g.at[a][i+1]
		} else if n[a] < -0.99 {
			q[a] = g.at[a][i]
		}
	}
	if m := g.material(q); m.Metal {
		return m.Conductor
	}
	return nil
}

// sampleSkin adds H of step n, at t, in s, to the sums.
func sampleSkin[T float](s *skin, h *[3][]T, n int, t, dt float64) {
	if s == nil || n%s.every != 0 {
		return
	}
	turn := make([]complex128, len(s.freq))
	for i, f := range s.freq {
		turn[i] = cmplx.Rect(dt*float64(s.every), -2*math.Pi*f*t)
	}
	for x := range s.items {
		it := &s.items[x]
		var v Point
		for c := range 3 {
			for m := range 2 {
				for _, p := range it.taps[m][c] {
					v[c] += p.weight * float64(h[c][p.index])
				}
			}
		}
		d := v[0]*it.normal[0] + v[1]*it.normal[1] + v[2]*it.normal[2]
		for c := range 3 {
			v[c] -= d * it.normal[c]
		}
		to := s.sums[x*len(turn):][:len(turn)]
		for i, w := range turn {
			for c := range 3 {
				to[i][c] += complex(v[c]*real(w), v[c]*imag(w))
			}
		}
	}
}

// overlap returns ½ ∮ Z_s H_i·H_j dS of two runs at the k-th frequency, S-parameters
// times the waves fed.
func (s *skin) overlap(i, j [][3]complex128, k int) complex128 {
	sum := complex(0, 0)
	nf := len(s.freq)
	z := map[*material.Conductor]complex128{}
	for x := range s.items {
		it := &s.items[x]
		zs, ok := z[it.metal]
		if !ok {
			zs = it.metal.SurfaceImpedance(s.freq[k])
			zs = complex(real(zs)*it.metal.RoughnessFactor(s.freq[k]), imag(zs))
			z[it.metal] = zs
		}
		a, b := i[x*nf+k], j[x*nf+k]
		sum += zs * complex(it.area/2, 0) * (a[0]*b[0] + a[1]*b[1] + a[2]*b[2])
	}
	return sum
}
