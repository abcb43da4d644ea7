package sample

import (
	"context"
	"testing"
)

// One point of 40 inputs.
func BenchmarkPoint(b *testing.B) {
	u := make([]float64, 40)
	for _, m := range []Method{Random, LatinHypercube, Sobol} {
		b.Run(string(m), func(b *testing.B) {
			p := Plan{Method: m, Seed: 1, N: 1 << 16}
			for i := 0; b.Loop(); i++ {
				p.Point(i&0xffff, u)
			}
		})
	}
}

// The machinery around a model that costs nothing.
func BenchmarkRun(b *testing.B) {
	s := chain()
	for b.Loop() {
		st, err := New(s, Plan{N: 10000})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := Run(context.Background(), s, st, Options{Batch: 256}); err != nil {
			b.Fatal(err)
		}
	}
}
