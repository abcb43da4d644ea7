package xsection

import (
	"context"
	"fmt"
	"testing"
)

// An ordinary trace under solder mask, and an ordinary pair, against the asked
// accuracy.
func BenchmarkSolve(b *testing.B) {
	masked := microstrip(0.5e-3, 0.254e-3, 35e-6, 3.66)
	masked.Dielectrics = append(masked.Dielectrics, slab(0.254e-3, 0.274e-3, 3.4),
		Dielectric{Block(0, 0.274e-3, 0.54e-3, 35e-6), material(3.4)})
	pair := microstrip(1, 0.2e-3, 35e-6, 4)
	pair.Conductors = []Conductor{{Name: "a", Shape: Trapezoid(-0.225e-3, 0.2e-3, 0.3e-3, 0.27e-3, 35e-6)}, {Name: "b", Shape: Trapezoid(0.225e-3, 0.2e-3, 0.3e-3, 0.27e-3, 35e-6)}}
	for _, c := range []struct {
		name string
		s    Section
	}{
		{"trace", microstrip(0.5e-3, 0.254e-3, 35e-6, 3.66)},
		{"masked", masked},
		{"pair", pair},
		{"coplanar", coplanar(0.3e-3, 0.15e-3, 0.254e-3, 35e-6, 3.66, true)},
		{"coax", Section{Region: Region{Shield: Circle{Diameter: 3.5e-3}}, Conductors: []Conductor{{Name: "pin", Shape: Circle{Point{0.1e-3, 0}, 1.52e-3}}}}},
	} {
		for _, acc := range []float64{1e-3, 1e-4, 1e-5} {
			b.Run(fmt.Sprintf("%s/%g", c.name, acc), func(b *testing.B) {
				for b.Loop() {
					r, err := Solve(context.Background(), c.s, Options{Accuracy: acc})
					if err != nil {
						b.Fatal(err)
					}
					b.ReportMetric(float64(r.Unknowns), "unknowns")
					b.ReportMetric(r.EstimatedError*1e6, "ppm-estimated")
				}
			})
		}
	}
}
