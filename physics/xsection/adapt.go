package xsection

import "math"

// tails returns, for each panel, the part of its charge that the last two
// Legendre coefficients carry, as a share of a signal's charge: how well the
// polynomial follows the density there.
func (s *solution) tails() []float64 {
	n := s.rule.n
	out := make([]float64, len(s.panels))
	for i, p := range s.panels {
		for which := range s.sigma {
			if which == air && s.arr.edges[p.edge].kind == materialEdge {
				continue
			}
			for c := 0; c < s.signals; c++ {
				var a, b float64
				for j := 0; j < n; j++ {
					v := s.sigma[which].At(s.first[i]+j, c)
					a += s.rule.coef[j][n-1] * v
					b += s.rule.coef[j][n-2] * v
				}
				out[i] = max(out[i], 2*p.h*math.Hypot(a, b)/math.Abs(s.cap[which].At(c, c)))
			}
		}
	}
	return out
}

// shortest is how short a panel may become: two places of the unit section
// that are closer than a ten thousandth of it round to one.
const shortest = 1e-11

// sharpness says what tails an accuracy asks for: the error is about the
// square of this times the largest tail.
const sharpness = 8

// refine cuts the stretches whose tail exceeds limit: in the middle, or, where
// they end in a corner, as often towards it as the density there, r^(ν−1),
// should need. Corners that matter at all are cut once in any case, so that the
// change from one mesh to the next shows what they do.
func (s *solution) refine(limit float64) (mesh []stretch, cuts int) {
	tails := s.tails()
	for i, m := range s.mesh {
		t := tails[i]
		e := &s.arr.edges[m.edge]
		if s.shortest(m) {
			mesh = append(mesh, m)
			continue
		}
		first, last := m.t0 == 0 && s.arr.corner[e.v[0]], m.t1 == 1 && s.arr.corner[e.v[1]]
		if !(t > limit) && !((first || last) && t > limit/10) {
			mesh = append(mesh, m)
			continue
		}
		cuts++
		if !first && !last {
			mid := (m.t0 + m.t1) / 2
			mesh = append(mesh, stretch{m.edge, m.t0, mid}, stretch{m.edge, mid, m.t1})
			continue
		}
		// Each cut to a quarter takes at least a factor two off the tail (ν ≥ ½).
		n := 1 + min(max(int(math.Log2(t/limit)*0.8), 0), 3)
		for n > 1 && e.length()*(m.t1-m.t0)*math.Pow(ratio, float64(n)) < shortest/2 {
			n--
		}
		if first {
			ts := []float64{m.t1}
			for range n {
				ts = append(ts, m.t0+ratio*(ts[len(ts)-1]-m.t0))
			}
			mesh = append(mesh, stretch{m.edge, m.t0, ts[n]})
			for k := n; k > 0; k-- {
				mesh = append(mesh, stretch{m.edge, ts[k], ts[k-1]})
			}
			continue
		}
		for range n {
			at := m.t1 - ratio*(m.t1-m.t0)
			mesh = append(mesh, stretch{m.edge, m.t0, at})
			m.t0 = at
		}
		mesh = append(mesh, m)
	}
	return mesh, cuts
}

// shortest says whether a stretch must not be cut further.
func (s *solution) shortest(m stretch) bool {
	return s.arr.edges[m.edge].length()*(m.t1-m.t0) < 2*shortest
}

// held estimates the error that the panels too short to be cut leave: the
// square of the largest tail, as for all panels (see [Solve]).
func (s *solution) held() float64 {
	worst := 0.0
	for i, t := range s.tails()[:len(s.mesh)] {
		if s.shortest(s.mesh[i]) {
			worst = max(worst, t)
		}
	}
	return sharpness * sharpness * worst * worst
}

// change is the largest relative difference between the capacitance matrices
// of two solutions, entries measured against the diagonal; +Inf if one of them
// is not a number.
func change(s, t *solution) float64 {
	worst := 0.0
	for which := range s.cap {
		for i := 0; i < s.signals; i++ {
			for j := 0; j < s.signals; j++ {
				scale := math.Sqrt(math.Abs(t.cap[which].At(i, i) * t.cap[which].At(j, j)))
				d := math.Abs(s.cap[which].At(i, j)-t.cap[which].At(i, j)) / scale
				if math.IsNaN(d) {
					return math.Inf(1)
				}
				worst = max(worst, d)
			}
		}
	}
	return worst
}

// asymmetry is how far C fails to be symmetric, which nothing in the method
// enforces, entries measured against the diagonal.
func (s *solution) asymmetry() float64 {
	worst := 0.0
	for _, c := range s.cap {
		for i := 0; i < s.signals; i++ {
			for j := 0; j < i; j++ {
				worst = max(worst, math.Abs(c.At(i, j)-c.At(j, i))/math.Sqrt(math.Abs(c.At(i, i)*c.At(j, j))))
			}
		}
	}
	return worst
}
