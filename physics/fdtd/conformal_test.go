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

// Round metal through matched layers, behind ports and at open sides: noise dies
// out. (Lending within the layers made it grow: it doubled every 70 steps.)
func TestRoundMetalInLayersIsStable(t *testing.T) {
	seeds, steps := uint64(2), 1500
	if *long {
		seeds, steps = 12, 6000
	}
	for seed := range seeds {
		m := crooked(seed, 1, false)
		m.Lines[0], m.Lines[1] = m.Lines[0][:len(m.Lines[0])-2], m.Lines[1][:len(m.Lines[1])-1]
		m.Region.High[0], m.Region.High[1] = m.Lines[0][len(m.Lines[0])-1], m.Lines[1][len(m.Lines[1])-1]
		m.Boundaries[XHigh] = Open
		if seed%2 == 1 { // a bare rod in the open, along x
			m.Background = Material{}
			m.Solids = []Solid{{Shape: Cylinder{Axis: 0, Start: Point{-1, 0.13e-3, 0.31e-3}, Radius: (0.21 + 0.01*float64(seed)) * 1e-3, Length: 2}, Material: Material{Metal: true}}}
			m.Ports = nil
			m.Boundaries = [6]Boundary{Electric, Open, Magnetic, Open, Open, Electric}
		}
		g, err := m.divide(Options{Layers: 8})
		if err != nil {
			t.Fatal(err)
		}
		g.measure()
		f := newFields[float32](g, 0)
		r := rand.New(rand.NewPCG(seed, 5))
		early := 0.0
		for s := range steps {
			f.stepE()
			if s < 200 { // currents without a mean, so that no charge stays
				for range 20 {
					a, i := r.IntN(3), r.IntN(g.size)
					if g.length[a][i] > 0 && f.gain[a].offset != nil {
						f.e[a][i] += float32(r.NormFloat64())
					}
				}
			}
			f.stepH()
			if s == 300 {
				early = energy(f)
			}
		}
		late := energy(f)
		t.Logf("seed %d: %.3g after 300 steps, %.3g after %d", seed, early, late, steps)
		if !(late < 2*early) {
			t.Errorf("seed %d: energy %.3g after 300 steps, %.3g after %d", seed, early, late, steps)
		}
	}
}

func energy[T float](f *fields[T]) float64 {
	sum := 0.0
	for a := range 3 {
		for i, e := range f.e[a] {
			h := float64(f.h[a][i]) * 376.73
			sum += float64(e)*float64(e) + h*h
		}
	}
	return sum
}
