package yee

import (
	"context"
	"runtime"
	"testing"
	"time"
)

// board is a grid like a board's: metal around, layers of dielectric, and a
// quarter of the planes with rows that are not uniform; with matched layers at all
// sides, so many cells deep, if asked.
func board(n [3]int, deep int) Config {
	c := Config{Cells: n}
	for a := range 3 {
		l := &Layer{}
		for i := range n[a] + 1 {
			b, f := 0.0, 0.0
			if i < deep || i > n[a]-deep {
				b, f = 0.5, -0.1
			}
			c.Dual[a] = append(c.Dual[a], 1)
			l.ElectricB, l.ElectricC = append(l.ElectricB, b), append(l.ElectricC, f)
			if i < n[a] {
				if i == n[a]-deep {
					b, f = 0.5, -0.1
				}
				c.Size[a] = append(c.Size[a], 1)
				l.MagneticB, l.MagneticC = append(l.MagneticB, b), append(l.MagneticC, f)
			}
		}
		if deep > 0 {
			c.Layers[a] = l
		}
	}
	value := func(i, k int) float64 {
		if k >= n[2]/4 && k < n[2]/2 && i > n[0]/2 {
			return 0.35
		}
		return 0.5
	}
	fill := func(j, k int, edges bool, set func(a, i int)) {
		for a := range 3 {
			for i := range n[0] + 1 {
				p, ok := [3]int{i, j, k}, true
				for b := range 3 {
					if (b == a) == edges && p[b] >= n[b] || edges && b != a && (p[b] == 0 || p[b] == n[b]) {
						ok = false
					}
				}
				if ok {
					set(a, i)
				}
			}
		}
	}
	c.Electric = func(j, k int, keep, gain *[3][]float64) {
		fill(j, k, true, func(a, i int) { keep[a][i], gain[a][i] = 1, value(i, k) })
	}
	c.Magnetic = func(j, k int, turn *[3][]float64) {
		fill(j, k, false, func(a, i int) { turn[a][i] = value(i, k) })
	}
	return c
}

// naive is the baseline: an array for each field and each coefficient, three
// loops, two passes.
type naive struct {
	n                [3]int
	e, h, keep, gain [3][]float32
	metric           [3][]float32
}

func newNaive(n [3]int) *naive {
	s := &naive{n: n}
	for a := range 3 {
		for _, p := range []*[]float32{&s.e[a], &s.h[a], &s.keep[a], &s.gain[a]} {
			*p = make([]float32, (n[0]+1)*(n[1]+1)*(n[2]+1))
		}
		for i := range s.keep[a] {
			s.keep[a][i], s.gain[a][i] = 1, 0.5
		}
		s.metric[a] = make([]float32, n[a]+1)
		for i := range s.metric[a] {
			s.metric[a][i] = 1
		}
	}
	s.e[0][len(s.e[0])/2] = 1
	return s
}

func (s *naive) step() {
	si, sj := 1, s.n[0]+1
	sk := sj * (s.n[1] + 1)
	ex, ey, ez, hx, hy, hz := s.e[0], s.e[1], s.e[2], s.h[0], s.h[1], s.h[2]
	wx, wy, wz := s.metric[0], s.metric[1], s.metric[2]
	for k := 1; k < s.n[2]; k++ {
		for j := 1; j < s.n[1]; j++ {
			for i := 1; i < s.n[0]; i++ {
				at := i + j*sj + k*sk
				ex[at] = s.keep[0][at]*ex[at] + s.gain[0][at]*((hz[at]-hz[at-sj])*wy[j]-(hy[at]-hy[at-sk])*wz[k])
				ey[at] = s.keep[1][at]*ey[at] + s.gain[1][at]*((hx[at]-hx[at-sk])*wz[k]-(hz[at]-hz[at-si])*wx[i])
				ez[at] = s.keep[2][at]*ez[at] + s.gain[2][at]*((hy[at]-hy[at-si])*wx[i]-(hx[at]-hx[at-sj])*wy[j])
			}
		}
	}
	for k := range s.n[2] {
		for j := range s.n[1] {
			for i := range s.n[0] {
				at := i + j*sj + k*sk
				hx[at] -= 0.5 * ((ez[at+sj]-ez[at])*wy[j] - (ey[at+sk]-ey[at])*wz[k])
				hy[at] -= 0.5 * ((ex[at+sk]-ex[at])*wz[k] - (ez[at+si]-ez[at])*wx[i])
				hz[at] -= 0.5 * ((ey[at+si]-ey[at])*wx[i] - (ex[at+sj]-ex[at])*wy[j])
			}
		}
	}
}

// BenchmarkStep measures all ways of stepping in turn within each round, and reports
// for each the fewest seconds of all rounds: processor time for one thread, wall
// time for two. Mcell/s, and ratios of one run: x over the naive loops, roof as the
// part of what a pass over memory at the rate of an update in place would give
// at 48 bytes per cell and step, layers as the part of the speed without.
func BenchmarkStep(b *testing.B) {
	for _, c := range []struct {
		name string
		n    [3]int
	}{{"300x300x100", [3]int{300, 300, 100}}, {"100x100x60", [3]int{100, 100, 60}}} {
		b.Run(c.name, func(b *testing.B) { benchmarkStep(b, c.n) })
	}
}

func benchmarkStep(b *testing.B, n [3]int) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	cells := float64(n[0] * n[1] * n[2])
	open, err := New[float32](board(n, 0), Options{})
	if err != nil {
		b.Fatal(err)
	}
	closed, err := New[float32](board(n, 10), Options{})
	if err != nil {
		b.Fatal(err)
	}
	for _, e := range []*Engine[float32]{open, closed} {
		e.Drive([]Tap{{0, n[0] / 2, n[1] / 2, n[2] / 2, 1}}, func(s int) float64 { return float64(s%2) - 0.5 })
	}
	plainly := newNaive(n)
	type way struct {
		name    string
		steps   float64
		threads int
		run     func()
		seconds float64 // of a step, fewest
	}
	took := func(e *Engine[float32], k kernel[float32], threads, steps int, tile [3]int) func() {
		return func() {
			e.kernel, e.options.Workers, e.options.Tile = k, threads, tile
			if err := e.Run(context.Background(), steps); err != nil {
				b.Fatal(err)
			}
		}
	}
	passes := [3]int{n[1] + 2, n[2] + 2, 1}
	ways := []*way{{name: "naive", steps: 1, threads: 1, run: plainly.step}}
	for _, k := range available[float32]() {
		ways = append(ways,
			&way{name: k.name, steps: 12, threads: 1, run: took(open, k, 1, 12, [3]int{})},
			&way{name: k.name + "-2T", steps: 12, threads: 2, run: took(open, k, 2, 12, [3]int{})},
			&way{name: k.name + "-layers", steps: 12, threads: 1, run: took(closed, k, 1, 12, [3]int{})},
			&way{name: k.name + "-passes", steps: 2, threads: 1, run: took(open, k, 1, 2, passes)})
	}
	// as much memory as the fields are
	words := len(open.fields) / 16
	touch := func(x []float32) {}
	if t := toucher(); t != nil {
		touch = t
	}
	ways = append(ways, &way{name: "memory", steps: 1, threads: 1, run: func() { touch(open.fields[:words*16]) }})
	rounds := 0
	for b.Loop() {
		for _, w := range ways {
			wall, processor := time.Now(), cpuSeconds()
			w.run()
			s := cpuSeconds() - processor
			if w.threads > 1 {
				s = time.Since(wall).Seconds()
			}
			if s /= w.steps; rounds == 0 || s < w.seconds {
				w.seconds = s
			}
		}
		rounds++
	}
	by := map[string]float64{}
	for _, w := range ways {
		by[w.name] = w.seconds
	}
	roof := by["memory"] * cells * 48 / (float64(words) * 64 * 2) // s: 24 bytes read and written
	for _, w := range ways {
		if w.name == "memory" {
			b.ReportMetric(float64(words)*64*2/w.seconds/1e9, "memory-GB/s")
			continue
		}
		name := w.name
		if name == "plain Go" || len(name) > 8 && name[:8] == "plain Go" {
			name = "plain" + name[8:]
		}
		b.ReportMetric(cells/w.seconds/1e6, name+"-Mcell/s")
		b.ReportMetric(by["naive"]/w.seconds, name+"-x")
		b.ReportMetric(roof/w.seconds, name+"-roof")
		if all, ok := by[w.name+"-layers"]; ok {
			b.ReportMetric(w.seconds/all, name+"-layers")
		}
	}
	b.ReportMetric(0, "ns/op")
}
