package fit

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/network"
)

// trace is a line as lossy as a trace, its laminate to be found again.
func trace(l Laminate) line.Line {
	rough := material.Conductor{Roughness: material.Roughness{Model: material.Hammerstad, RMS: l.Roughness}}
	return line.Coax{InnerDiameter: 0.25e-3, OuterDiameter: 1.25e-3,
		Filling: material.Dielectric{Permittivity: l.Permittivity, LossTangent: l.LossTangent, FittedAt: 10e9},
		Inner:   rough, Outer: rough}
}

// measured is a length of it between two launches that differ.
func measured(f []float64, x line.Line, length float64, r *rand.Rand, sigma float64, launches [2]network.Network) network.Network {
	n := network.Line(f, 50, func(f float64) (complex128, complex128) {
		p := x.At(f)
		return p.Gamma * complex(length, 0), p.Impedance
	})
	c, err := network.Cascade(launches[0], n, launches[1])
	if err != nil {
		panic(err)
	}
	for i := range c.S {
		c.S[i] += complex(r.NormFloat64(), r.NormFloat64()) * complex(sigma/math.Sqrt2, 0)
	}
	return c
}

func twoLaunches(f []float64, r *rand.Rand) [2]network.Network {
	one := func() network.Network {
		return Launch{Capacitance: (5 + 20*r.Float64()) * 1e-15, Inductance: (10 + 40*r.Float64()) * 1e-12, Impedance: 44 + 12*r.Float64(), Delay: 10e-12}.Network(f, 50)
	}
	right, err := one().Reorder(1, 0)
	if err != nil {
		panic(err)
	}
	return [2]network.Network{one(), right}
}

// Without noise γ is exact, whatever the launches; turns are counted right from a
// sweep that starts at several of them.
func TestTwoLines(t *testing.T) {
	for _, f := range [][]float64{grid(0.2e9, 50e9, 250), grid(40e9, 67e9, 200), grid(75e9, 110e9, 200)} {
		for seed := range uint64(20) {
			r := rand.New(rand.NewPCG(seed, 5))
			x := trace(Laminate{3.2 + r.Float64(), 0.002 + 0.008*r.Float64(), 0.5e-6})
			launches := twoLaunches(f, r)
			short, long := measured(f, x, 10e-3, r, 0, launches), measured(f, x, 40e-3, r, 0, launches)
			p, err := TwoLines(short, long, 30e-3)
			if err != nil {
				t.Fatal(err)
			}
			for k, g := range p.Gamma {
				if math.Abs(math.Sin(p.Phase[k])) < 0.05 {
					continue
				}
				if want := x.At(p.Frequency[k]).Gamma; !(cmplx.Abs(g-want) <= 1e-8*cmplx.Abs(want)) {
					t.Fatalf("seed %d, %g GHz: γ %v, want %v", seed, p.Frequency[k]/1e9, g, want)
				}
				if !(p.Mismatch[k] <= 1e-9) {
					t.Fatalf("seed %d: mismatch %g of lines that are alike", seed, p.Mismatch[k])
				}
			}
		}
	}
	f := grid(1e9, 2e9, 5)
	n := network.New(2, f, 50)
	if _, err := TwoLines(n, n, 0); !errors.Is(err, network.ErrValue) {
		t.Errorf("no extra length: %v", err)
	}
	if _, err := TwoLines(n, network.New(2, grid(1e9, 2e9, 6), 50), 1e-3); !errors.Is(err, network.ErrGrid) {
		t.Errorf("two grids: %v", err)
	}
	if _, err := TwoLines(n, n, 1e-3); !errors.Is(err, network.ErrSingular) {
		t.Errorf("nothing passes: %v", err)
	}
	if q := (Propagation{Frequency: []float64{1, 2, 3}, Gamma: make([]complex128, 3), Phase: []float64{0.1, 1.5, 3.1}, Mismatch: make([]float64, 3)}).Between(math.Pi / 9); len(q.Phase) != 1 || q.Phase[0] != 1.5 {
		t.Errorf("20 to 160° keeps %v", q.Phase)
	}
}

// Laminate and roughness come back: over draws with noise of 3e-4, 0.2 to 50 GHz,
// lines 60 mm apart. True errors against stated ones.
func TestOfLaminate(t *testing.T) {
	f := grid(0.2e9, 50e9, 250)
	const draws = 25
	var er, tan, rq float64    // rms relative errors
	var zer, ztan, zrq float64 // and (d/u)²
	worst := 0.0
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 6))
		truth := Laminate{3.2 + r.Float64(), 0.002 + 0.008*r.Float64(), (0.3 + 0.5*r.Float64()) * 1e-6}
		launches := twoLaunches(f, r)
		x := trace(truth)
		p, err := TwoLines(measured(f, x, 15e-3, r, 3e-4, launches), measured(f, x, 75e-3, r, 3e-4, launches), 60e-3)
		if err != nil {
			t.Fatal(err)
		}
		got, err := OfLaminate(p.Between(math.Pi/9), trace, Laminate{3.5, 0.005, 0.5e-6})
		if err != nil {
			t.Fatal(err)
		}
		a, b, c := got.Permittivity-truth.Permittivity, got.LossTangent-truth.LossTangent, got.Roughness-truth.Roughness
		add := func(sum, z *float64, d, of, u float64) {
			*sum += d * d / of / of / draws
			*z += d * d / u / u / draws
		}
		add(&er, &zer, a, truth.Permittivity, got.Uncertainty.Permittivity)
		add(&tan, &ztan, b, truth.LossTangent, got.Uncertainty.LossTangent)
		add(&rq, &zrq, c, truth.Roughness, got.Uncertainty.Roughness)
		worst = math.Max(worst, math.Abs(got.Correlation))
	}
	t.Logf("εr off by %.2g, tan δ by %.2g, Rq by %.2g (rms, relative); (d/u)² %.2f, %.2f, %.2f; correlation up to %.3f",
		math.Sqrt(er), math.Sqrt(tan), math.Sqrt(rq), zer, ztan, zrq, worst)
	if !(math.Sqrt(er) <= 1e-3 && math.Sqrt(tan) <= 0.02 && math.Sqrt(rq) <= 0.05) {
		t.Errorf("εr off by %.2g, tan δ by %.2g, Rq by %.2g", math.Sqrt(er), math.Sqrt(tan), math.Sqrt(rq))
	}
	for i, z := range []float64{zer, ztan, zrq} {
		if !(z > 0.3 && z < 2.5) { // 25 draws
			t.Errorf("parameter %d: (d/u)² is %.2f on average", i, z)
		}
	}
}

// Two traces 60 mm apart, an invented laminate.
func ExampleOfLaminate() {
	f := grid(0.2e9, 50e9, 250)
	r := rand.New(rand.NewPCG(9, 9))
	x := trace(Laminate{Permittivity: 3.48, LossTangent: 0.0037, Roughness: 0.6e-6})
	launches := twoLaunches(f, r)
	p, err := TwoLines(measured(f, x, 15e-3, r, 3e-3, launches), measured(f, x, 75e-3, r, 3e-3, launches), 60e-3)
	if err != nil {
		fmt.Println(err)
		return
	}
	l, err := OfLaminate(p.Between(20*math.Pi/180), trace, Laminate{3.5, 0.005, 0.5e-6})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("εr %.5f ± %.5f, tan δ %.6f ± %.6f, Rq %.3f ± %.3f µm, correlation of the last two %.2f\n",
		l.Permittivity, l.Uncertainty.Permittivity, l.LossTangent, l.Uncertainty.LossTangent, l.Roughness*1e6, l.Uncertainty.Roughness*1e6, l.Correlation)
	// Output:
	// εr 3.48003 ± 0.00003, tan δ 0.003702 ± 0.000009, Rq 0.610 ± 0.015 µm, correlation of the last two -0.85
}

// A launch's lumps come back from its S-parameters, with true uncertainties, and what is not
// in the model shows in the residual.
func TestOfLaunch(t *testing.T) {
	f := grid(0.5e9, 40e9, 160)
	const draws, sigma = 40, 1e-3
	var z [4]float64
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 7))
		truth := Launch{Capacitance: (10 + 30*r.Float64()) * 1e-15, Inductance: (20 + 60*r.Float64()) * 1e-12, Impedance: 40 + 20*r.Float64(), Delay: (15 + 10*r.Float64()) * 1e-12}
		n := truth.Network(f, 50)
		for i := range n.S {
			n.S[i] += complex(r.NormFloat64(), r.NormFloat64()) * complex(sigma/math.Sqrt2, 0)
		}
		got, err := OfLaunch(n, Launch{Capacitance: 20e-15, Inductance: 40e-12, Impedance: 50, Delay: 20e-12})
		if err != nil {
			t.Fatal(err)
		}
		for i, d := range []float64{(got.Capacitance - truth.Capacitance) / got.Uncertainty.Capacitance, (got.Inductance - truth.Inductance) / got.Uncertainty.Inductance,
			(got.Impedance - truth.Impedance) / got.Uncertainty.Impedance, (got.Delay - truth.Delay) / got.Uncertainty.Delay} {
			z[i] += d * d / draws
		}
		if !(math.Abs(got.Residual/sigma-1) <= 0.15) {
			t.Errorf("seed %d: residual %.3g, the noise is %.3g", seed, got.Residual, sigma)
		}
	}
	for i, x := range z {
		if !(x > 0.5 && x < 1.6) {
			t.Errorf("parameter %d: (d/u)² is %.2f on average over %d draws", i, x, draws)
		}
	}
	two := Launch{Capacitance: 30e-15, Inductance: 50e-12}.Network(f, 50)
	more, err := network.Cascade(two, Launch{Impedance: 50, Delay: 3e-12, Capacitance: 10e-15}.Network(f, 50))
	if err != nil {
		t.Fatal(err)
	}
	got, err := OfLaunch(more, Launch{Capacitance: 20e-15, Inductance: 40e-12})
	if err != nil {
		t.Fatal(err)
	}
	if !(got.Residual > 0.02) || got.Delay != 0 || got.Impedance != 0 {
		t.Errorf("a launch of more than two lumps leaves %.3g, delay %g", got.Residual, got.Delay)
	}
	at, err := more.Renormalise(50, 75)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := OfLaunch(at, Launch{Capacitance: 1e-15}); !errors.Is(err, network.ErrReference) {
		t.Errorf("two references: %v", err)
	}
}
