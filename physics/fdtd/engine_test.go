package fdtd

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"linewright/physics/material"
)

// The engine against the loops of loops_test.go, from random fields, in a model with
// cut and coupled faces, Debye edges, matched layers and mirrors: within rounding.
func TestEngineIsTheLoops(t *testing.T) {
	engineIsTheLoops[float64](t, 1e-13)
	engineIsTheLoops[float32](t, 2e-6)
}

func engineIsTheLoops[T float](t *testing.T, tol float64) {
	t.Helper()
	const seed, steps = 3, 60
	m := crooked(seed, 1, false)
	m.Solids[0].Material.Dielectric = material.Dielectric{Permittivity: 3, LossTangent: 0.02, FittedAt: 10e9}
	m = turned(m)
	g, err := m.divide(Options{Layers: 6})
	if err != nil {
		t.Fatal(err)
	}
	g.measure()
	f := newFields[T](g, 2)
	faces, edges := 0, 0
	for a := range 3 {
		faces += len(f.coupled[a].pairs)
		edges += len(f.disperse[a])
	}
	if faces == 0 || edges == 0 {
		t.Fatalf("the model has %d coupled faces and %d dispersive edges: it tests too little", faces, edges)
	}
	e, err := f.engine()
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(seed, 2))
	for a := range 3 {
		for k := range g.n[2] + 1 {
			for j := range g.n[1] + 1 {
				row, _ := e.Rows(a, j, k)
				for i := range row {
					if p := g.index([3]int{i, j, k}); g.length[a][p] > 0 {
						row[i] = T(r.NormFloat64())
						f.e[a][p] = row[i]
					}
				}
			}
		}
	}
	for range steps {
		f.stepE()
		f.stepH()
	}
	if err := e.Run(context.Background(), steps); err != nil {
		t.Fatal(err)
	}
	got := &fields[T]{grid: g}
	for a := range 3 {
		got.e[a], got.h[a] = make([]T, g.size), make([]T, g.size)
	}
	got.pull(e)
	big, worst := 0.0, 0.0
	for a := range 3 {
		for i := range f.e[a] {
			const z = 376.73 // Ω, so that both count alike
			big = max(big, math.Abs(float64(f.e[a][i])), z*math.Abs(float64(f.h[a][i])))
			for _, d := range []T{got.e[a][i] - f.e[a][i], z * (got.h[a][i] - f.h[a][i])} {
				if !(math.Abs(float64(d)) <= worst) {
					worst = math.Abs(float64(d))
				}
			}
		}
	}
	if !(worst <= tol*big) || big == 0 {
		t.Errorf("%T: after %d steps the %s engine is off by %.3g of %.3g (seed %d)", T(0), steps, e.Kernel(), worst, big, seed)
	}
}

// BenchmarkEngine steps a via of a million cells, round, dispersive, with matched
// layers, by the engine and by the loops in turn, on one thread, and reports the
// fewest seconds of each as Mcell/s, and their ratio.
func BenchmarkEngine(b *testing.B) {
	m := crooked(3, 1, false)
	m.Solids[0].Material.Dielectric = material.Dielectric{Permittivity: 3, LossTangent: 0.02, FittedAt: 10e9}
	for a := range 3 {
		l := m.Lines[a]
		m.Lines[a] = uniform(l[0], l[len(l)-1], (l[1]-l[0])/8)
	}
	g, err := m.divide(Options{})
	if err != nil {
		b.Fatal(err)
	}
	g.measure()
	f := newFields[float32](g, 1)
	e, err := f.engine()
	if err != nil {
		b.Fatal(err)
	}
	f.e[2][g.size/2] = 1
	row, _ := e.Rows(2, g.n[1]/2, g.n[2]/2)
	row[g.n[0]/2] = 1
	const steps = 24
	var fewest [2]time.Duration
	for b.Loop() {
		for w := range 2 {
			start := time.Now()
			if w == 0 {
				if err := e.Run(context.Background(), steps); err != nil {
					b.Fatal(err)
				}
			} else {
				for range steps {
					f.stepE()
					f.stepH()
				}
			}
			if d := time.Since(start); fewest[w] == 0 || d < fewest[w] {
				fewest[w] = d
			}
		}
	}
	cells := float64(g.n[0] * g.n[1] * g.n[2] * steps)
	b.ReportMetric(cells/fewest[0].Seconds()/1e6, "engine-Mcell/s")
	b.ReportMetric(cells/fewest[1].Seconds()/1e6, "loops-Mcell/s")
	b.ReportMetric(fewest[1].Seconds()/fewest[0].Seconds(), "x")
}
