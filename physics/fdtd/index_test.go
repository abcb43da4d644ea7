package fdtd

import (
	"math/rand/v2"
	"testing"
)

// A board with a fence of vias: what the division of a model costs.
func BenchmarkMeasure(b *testing.B) {
	m := &Model{Region: Box{Point{}, Point{10e-3, 10e-3, 2e-3}}, Band: [2]float64{1e9, 40e9}}
	for i := range 40 {
		m.Solids = append(m.Solids, Solid{Shape: Cylinder{Axis: 2, Start: Point{0.5e-3 + float64(i%10)*1e-3, 1e-3 + float64(i/10)*2.5e-3, 0}, Radius: 0.15e-3, Length: 2e-3}, Material: Material{Metal: true}})
	}
	for b.Loop() {
		g, err := m.divide(Options{Cell: 0.1e-3})
		if err != nil {
			b.Fatal(err)
		}
		g.measure()
		newFields[float32](g, 1)
		b.ReportMetric(float64(g.n[0]*g.n[1]*g.n[2]), "cells")
	}
}

// Sorted into bins, solids stand where they stood.
func TestIndexFindsTheSolids(t *testing.T) {
	const seed = 11
	r := rand.New(rand.NewPCG(seed, 0))
	m := &Model{Region: Box{Point{-1, 0, 2}, Point{3, 5, 4}}, Band: [2]float64{1e6, 1e7}}
	draw := func() Point { return Point{-1.5 + 5*r.Float64(), -0.5 + 6*r.Float64(), 1.5 + 3*r.Float64()} }
	for i := range 30 {
		a, b := draw(), draw()
		for c := range 3 {
			a[c], b[c] = min(a[c], b[c]), max(a[c], b[c])
		}
		s := Solid{Shape: Box{a, b}, Material: Material{Metal: i%2 == 0}}
		switch i % 5 {
		case 1:
			s.Shape = Cylinder{Axis: i % 3, Start: a, Radius: 0.4, Length: 1}
		case 2:
			b[i%3] = a[i%3]
			s.Shape = Box{a, b}
		case 3:
			s.Shape = Box{m.Region.Low, Point{a[0], m.Region.High[1], m.Region.High[2]}}
		}
		if lo, hi := s.Shape.Bounds(); hi[0] < lo[0] {
			t.Logf("left out: %v to %v", lo, hi)
			continue
		}
		m.Solids = append(m.Solids, s)
	}
	g, err := m.divide(Options{Cell: 0.17})
	if err != nil {
		t.Fatal(err)
	}
	g.measure()
	for range 20000 {
		p := draw()
		if r.IntN(3) == 0 { // on a face or a line
			a := r.IntN(3)
			lo, hi := m.Solids[r.IntN(len(m.Solids))].Shape.Bounds()
			p[a] = [2]float64{lo[a], hi[a]}[r.IntN(2)]
		}
		q := p
		for a := range 3 {
			q[a] = min(max(q[a], m.Region.Low[a]+g.delta), m.Region.High[a]-g.delta)
		}
		want := &m.Background
		for i := range m.Solids {
			if m.Solids[i].Shape.Holds(q, 2*g.delta) {
				want = &m.Solids[i].Material
			}
		}
		if got := g.material(p); got != want {
			t.Fatalf("seed %d: at %v stands %+v, want %+v", seed, p, *got, *want)
		}
		high := p
		for a := range 3 {
			high[a] += 0.1 * r.Float64()
		}
		if only := g.only(p, high); only != nil && g.material(high) != only {
			t.Fatalf("seed %d: from %v to %v stands one material, they say", seed, p, high)
		}
	}
}
