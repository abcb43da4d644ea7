package xsection

import (
	"math"
	"math/cmplx"
)

// stretch is a part of an edge before it becomes a panel.
type stretch struct {
	edge   int
	t0, t1 float64
}

// How the first mesh is graded. A stretch may be `growth` times as long as it
// is far from the nearest corner; stretches that end in a corner shrink towards
// it by `ratio` until they are `tip` of the distance to the next corner; an
// arc's stretch spans at most maxTurn. A straight stretch that passes a round
// conductor is held to the distance in the same way.
const (
	growth  = 3.01
	ratio   = 0.25
	tip     = 0.075
	maxTurn = math.Pi / 3
)

// firstMesh cuts the edges into graded stretches; of a symmetric section those
// on the right.
func (a *arrangement) firstMesh() []stretch {
	var corners []int
	for v, c := range a.corner {
		if c {
			corners = append(corners, v)
		}
	}
	size := make([]float64, len(a.vertex)) // distance to the next corner
	for _, v := range corners {
		size[v] = math.Inf(1)
		for _, w := range corners {
			if w != v {
				size[v] = min(size[v], cmplx.Abs(a.vertex[v]-a.vertex[w]))
			}
		}
	}
	var out []stretch
	var split func(i int, t0, t1 float64)
	split = func(i int, t0, t1 float64) {
		e := &a.edges[i]
		c := e.part(t0, t1)
		l := c.length()
		ends := [2]bool{t0 == 0 && a.corner[e.v[0]], t1 == 1 && a.corner[e.v[1]]}
		at := -1.0 // fraction at which to cut
		switch {
		case c.radius > 0 && math.Abs(c.dt) > maxTurn:
			at = 0.5
		case ends[0] && ends[1]:
			at = 0.5
		case ends[0] && l > tip*size[e.v[0]]:
			at = ratio
		case ends[1] && l > tip*size[e.v[1]]:
			at = 1 - ratio
		}
		if at < 0 {
			worst := 1.0
			for _, v := range corners {
				if ends[0] && v == e.v[0] || ends[1] && v == e.v[1] {
					continue
				}
				t, d := c.nearest(a.vertex[v])
				if q := l / (growth * d); q > worst {
					worst = q
					switch {
					case t < ratio:
						at = ratio
					case t > 1-ratio:
						at = 1 - ratio
					default:
						at = 0.5
					}
				}
			}
		}
		if at < 0 && c.radius == 0 {
			for j := range a.edges {
				if a.edges[j].radius == 0 {
					continue
				}
				t, d := approach(c, a.edges[j].curve)
				if l > growth*max(d, 0.1*a.edges[j].radius) {
					at = min(max(t, ratio), 1-ratio)
					break
				}
			}
		}
		if at < 0 {
			out = append(out, stretch{i, t0, t1})
			return
		}
		m := t0 + at*(t1-t0)
		split(i, t0, m)
		split(i, m, t1)
	}
	for i := range a.edges {
		if a.mirror == nil || a.mirror[i].here {
			split(i, 0, 1)
		}
	}
	return out
}

// approach returns the fraction of a straight line at which it comes nearest
// to an arc, and about how near.
func approach(line, arc curve) (t, dist float64) {
	dist = math.Inf(1)
	t0, _ := line.nearest(arc.centre)
	u, _ := arc.nearest(line.at(t0))
	for _, z := range []complex128{arc.a, arc.b, arc.at(u)} {
		if s, d := line.nearest(z); d < dist {
			t, dist = s, d
		}
	}
	return t, dist
}
