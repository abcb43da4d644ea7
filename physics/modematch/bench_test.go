package modematch

import (
	"context"
	"math"
	"testing"
)

// tenPlanes is a connector with a compensated bead, a pin gap and three steps.
func tenPlanes() Body {
	return Body{Sections: []Section{
		{InnerDiameter: 1.27e-3, OuterDiameter: 2.92e-3},
		{InnerDiameter: 1.27e-3, OuterDiameter: 3.2e-3, Length: 0.4e-3},
		{InnerDiameter: 1.0e-3, OuterDiameter: 3.2e-3, Permittivity: 2.1, Length: 1.2e-3},
		{InnerDiameter: 1.27e-3, OuterDiameter: 3.2e-3, Length: 0.4e-3},
		{InnerDiameter: 1.27e-3, OuterDiameter: 2.92e-3, Length: 2e-3},
		{InnerDiameter: 0.9e-3, OuterDiameter: 2.92e-3, Length: 0.1e-3},
		{InnerDiameter: 1.27e-3, OuterDiameter: 2.92e-3, Length: 1.5e-3},
		{InnerDiameter: 1.27e-3, OuterDiameter: 3.5e-3, Length: 1e-3},
		{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3, Length: 0.5e-3},
		{InnerDiameter: 1.9e-3, OuterDiameter: 3.5e-3, Length: 2e-3},
		{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3},
	}}
}

func sweep(points int, top float64) []float64 {
	fs := make([]float64, points)
	for i := range fs {
		fs[i] = top * float64(i+1) / float64(points)
	}
	return fs
}

// BenchmarkSweep is a sweep of ten planes at 200 frequencies, geometry
// included, on one worker and on all.
func BenchmarkSweep(b *testing.B) {
	for _, c := range []struct {
		name    string
		workers int
	}{{"one", 1}, {"all", 0}} {
		b.Run(c.name, func(b *testing.B) {
			fs := sweep(200, 50e9)
			for b.Loop() {
				if _, err := Solve(context.Background(), tenPlanes(), fs, Options{Workers: c.workers}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkPlane is the geometry of one plane.
func BenchmarkPlane(b *testing.B) {
	s := tenPlanes().Sections
	for b.Loop() {
		newPlane(s[1], s[2], 3, planeModes(s[1], s[2], 3), nil, math.Inf(1))
	}
}

// BenchmarkFrequency is one frequency of the ten planes.
func BenchmarkFrequency(b *testing.B) {
	c := newSolver().prepare(tenPlanes(), 50e9, 3, false)
	var s scratch
	for b.Loop() {
		if _, err := c.at(30e9, &s); err != nil {
			b.Fatal(err)
		}
	}
}
