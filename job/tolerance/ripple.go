package tolerance

import (
	"fmt"
	"math"

	"linewright/job/enquiry"
	"linewright/physics/network"
	"linewright/physics/units"
)

// addRipple adds a limit on ripple: the greatest peak-to-peak variation, inside
// any window, of what multiple reflections do to the insertion loss,
//
//	10 log10 (max 1/|M11|²)/(min 1/|M11|²)
//
// The slope of the losses themselves is no ripple, and what a measured file
// does within itself stays in the file. Without a window each band is one.
func (s *Study) addRipple(l enquiry.RippleLimit, hot units.Temperature) {
	n := len(s.elements)
	whole := stretch{0, n}
	name := "ripple, peak to peak"
	width := math.Inf(1)
	if l.Window != nil {
		width = float64(*l.Window)
		name += fmt.Sprintf(" in %v", *l.Window)
	}
	v := s.view(0, n, hot)
	ends := s.windows(width)
	limit := Limit{Name: name, Unit: "dB", Judged: true, Wish: l.Wish, Value: float64(l.AtMost), Missing: s.lacking("reflection", []stretch{whole})}
	s.note("ripple is what multiple reflections do to the insertion loss; the slope of the losses is none, nor what a file or a solved piece does within itself")
	s.outputs = append(s.outputs, output{Limit: limit, eval: func(sc *scratch, _ []float64) float64 {
		x, most := sc.sweeps[v].Ripple, 1.0
		if l.Window != nil {
			most, _ = sc.crests.spread(x, x, ends)
			return limit.Value - decibels(most)
		}
		for i := 0; i < len(ends); i = ends[i] + 1 { // one band after the other
			low, high := network.Range(x[i:ends[i]+1], nil)
			most = math.Max(most, high/low)
		}
		return limit.Value - decibels(most)
	}, corner: func(c corners) (margin, at float64) {
		most, at := 1.0, s.grid.f[0]
		for place := range c.reach {
			up, down := make([]float64, len(s.grid.f)), make([]float64, len(s.grid.f))
			for i := range up {
				up[i], down[i] = c.interference(s.views[v], whole, i, place)
			}
			var w window
			if r, k := w.spread(up, down, ends); r > most {
				most, at = r, s.grid.f[k]
			}
		}
		return limit.Value - decibels(most), at
	}})
}

// interference returns the greatest and least 1/|M11|² of a stretch at grid
// index i. Each two-port that sees Γ behind it brings a factor 1 − S22·Γ to M11; a
// gap, whose two steps are one piece here, brings its own transmission,
// which goes from 1 to 1 − ρ² along the band.
func (c corners) interference(v view, w stretch, i, place int) (most, least float64) {
	ps, _ := c.pieces(v, w, i, place)
	r := 0.0
	most, least = 1, 1
	for k := len(ps) - 1; k >= 0; k-- {
		p := ps[k]
		x := r * math.Exp(-2*p.behind)
		most /= (1 - p.right*x) * (1 - p.right*x)
		least /= (1 + p.right*x) * (1 + p.right*x)
		if p.gap {
			least *= 1 - p.left*p.left
		}
		r = p.through(x, false)
	}
	return most, least
}

// windows returns, for each frequency, the last one that a window of that width
// starting there covers in the same band.
func (s *Study) windows(width float64) []int {
	f := s.grid.f
	ends := make([]int, len(f))
	last := 0
	for i := range f {
		last = max(last, i)
		for last+1 < len(f) && f[last+1]-f[i] <= width*(1+1e-9) && s.oneBand(f[last], f[last+1]) {
			last++
		}
		ends[i] = last
	}
	return ends
}

// oneBand says whether two neighbouring frequencies lie in one band.
func (s *Study) oneBand(a, b float64) bool {
	for _, x := range s.e.Band {
		if a >= float64(x.From)*(1-1e-9) && b <= float64(x.To)*(1+1e-9) {
			return true
		}
	}
	return false
}

// window is the memory of a sliding window: places at which a value may yet be
// the greatest or least.
type window struct{ up, down []int }

// spread returns the greatest ratio of up and down inside any window from i to
// ends[i], and where up is greatest there. Each place enters and leaves once.
func (w *window) spread(up, down []float64, ends []int) (most float64, at int) {
	w.up, w.down = w.up[:0], w.down[:0]
	u, d := 0, 0 // first of the places still in the window
	next := 0
	for i, end := range ends {
		for ; next <= end; next++ {
			for len(w.up) > u && !(up[w.up[len(w.up)-1]] > up[next]) {
				w.up = w.up[:len(w.up)-1]
			}
			for len(w.down) > d && !(down[w.down[len(w.down)-1]] < down[next]) {
				w.down = w.down[:len(w.down)-1]
			}
			w.up, w.down = append(w.up, next), append(w.down, next)
		}
		for w.up[u] < i {
			u++
		}
		for w.down[d] < i {
			d++
		}
		if r := up[w.up[u]] / down[w.down[d]]; r > most {
			most, at = r, w.up[u]
		}
	}
	return most, at
}
