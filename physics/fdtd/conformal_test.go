package fdtd

import (
	"math"
	"math/rand/v2"
	"testing"
)

// spectrum returns the largest eigenvalue of dt²·(curl curl)/με by power
// iteration, which comes from below. The fields stay bounded if it is below 4.
func spectrum(g *grid, iterations int) float64 {
	f := newFields[float64](g, 1)
	r := rand.New(rand.NewPCG(3, 4))
	for a := range 3 {
		for i := range f.e[a] {
			if g.length[a][i] > 0 {
				f.e[a][i] = r.NormFloat64()
			}
		}
	}
	largest := 0.0
	for range iterations {
		before, after := 0.0, 0.0
		for a := range 3 {
			for _, e := range f.e[a] {
				before += e * e
			}
			clear(f.h[a])
		}
		f.stepH()
		for a := range 3 {
			clear(f.e[a])
		}
		f.stepE()
		for a := range 3 {
			for _, e := range f.e[a] {
				after += e * e
			}
		}
		largest = math.Sqrt(after / before)
		for a := range 3 {
			for i := range f.e[a] {
				f.e[a][i] /= math.Sqrt(after)
			}
		}
	}
	return largest
}

// Faces that borrow area leave the time step of whole cells stable, wherever
// round metal cuts the grid.
func TestBorrowedAreaKeepsTheStep(t *testing.T) {
	seed := uint64(7)
	r := rand.New(rand.NewPCG(seed, 0))
	for n := range 24 {
		var lines [3][]float64
		for a := range 3 {
			lines[a] = []float64{0}
			grade := 1 + 0.1*float64(n%3)*r.Float64()
			for i := range 9 {
				lines[a] = append(lines[a], lines[a][i]+1e-3*math.Pow(grade, float64(i)))
			}
		}
		m := &Model{Band: [2]float64{1e9, 10e9}, Lines: lines}
		for a := range 3 {
			m.Region.High[a] = lines[a][9]
		}
		at := func() float64 { return (2.5 + 4*r.Float64()) * 1e-3 }
		c := Cylinder{Axis: n % 3, Start: Point{at(), at(), at()}, Radius: (1 + 1.4*r.Float64()) * 1e-3, Length: 20e-3}
		c.Start[c.Axis] = -1e-3
		m.Solids = []Solid{{Name: "rod", Shape: c, Material: Material{Metal: true}}}
		if n%2 == 1 {
			m.Background = Material{Metal: true}
			m.Solids[0].Material = Material{}
		}
		if n%5 == 4 {
			d := c
			d.Axis = (c.Axis + 1) % 3
			d.Start[d.Axis], d.Start[c.Axis] = -1e-3, at()
			m.Solids = append(m.Solids, Solid{Name: "across", Shape: d, Material: m.Solids[0].Material})
		}
		g, err := m.divide(Options{})
		if err != nil {
			t.Fatal(err)
		}
		g.measure()
		if l := spectrum(g, 150); !(l < 4) {
			t.Errorf("seed %d, case %d: largest eigenvalue %.4f, must be below 4", seed, n, l)
		} else {
			t.Logf("%d %.4f loans %d", n, l, len(g.loans[0])+len(g.loans[1])+len(g.loans[2]))
		}
	}
}
