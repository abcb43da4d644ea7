package sweep

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/network"
	"linewright/physics/timedomain"
)

func TestMain(m *testing.M) { refcheck.Main(m, "physics-sweep") }

func grid(from, to float64, points int) []float64 {
	f := make([]float64, points)
	for k := range f {
		f[k] = from + (to-from)*float64(k)/float64(points-1)
	}
	return f
}

// cable is a lossy line between ports of 50 Ω, with a shunt capacitance at either end.
func cable(f []float64, z, delay, db float64) network.Network {
	stop := f[len(f)-1]
	loss := timedomain.Loss{Skin: db / 8.685889638 / math.Sqrt(stop) / delay, At: stop}
	c := network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*10e-15) })
	n, err := network.Cascade(c, network.Line(f, 50, loss.Line(z, delay)), c)
	if err != nil {
		panic(err)
	}
	return n
}

func with(r *rand.Rand, n network.Network, rms float64) network.Network {
	m := network.Network{Ports: n.Ports, Frequency: n.Frequency, Reference: n.Reference, S: make([]complex128, len(n.S))}
	for i, s := range n.S {
		m.S[i] = s + complex(r.NormFloat64(), r.NormFloat64())*complex(rms/math.Sqrt2, 0)
	}
	return m
}

// Planted noise is found, at whatever level, with the ripple of reflections about it.
func TestNoise(t *testing.T) {
	f := grid(10e6, 40e9, 1600)
	worst := 0.0
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 1))
		n := cable(f, 44+12*r.Float64(), (0.2+0.8*r.Float64())*1e-9, 4*r.Float64()+0.2)
		rms := math.Pow(10, -(30+60*r.Float64())/20)
		n = with(r, n, rms)
		for _, ij := range [][2]int{{0, 0}, {1, 0}} {
			got := Noise(n, ij[0], ij[1])
			d := 20 * math.Log10(got/rms)
			worst = math.Max(worst, math.Abs(d))
			if !(math.Abs(d) <= 1.5) {
				t.Errorf("seed %d: noise of %.1f dB is found as %.1f", seed, 20*math.Log10(rms), 20*math.Log10(got))
			}
		}
	}
	t.Logf("noise of -90 to -30 dB found within %.2f dB", worst)
	if x := Noise(cable(f, 45, 1e-9, 1), 0, 0); !(x <= 1e-6) {
		t.Errorf("a computed cable has noise %g", x)
	}
	if x := Noise(cable(f[:20], 45, 1e-9, 1), 0, 0); !math.IsNaN(x) {
		t.Errorf("20 points tell noise %g", x)
	}
}

// Steps and spikes are found where they are and told apart; a sweep without them shows none.
func TestJumps(t *testing.T) {
	f := grid(10e6, 40e9, 1600)
	none, at := 0, 0
	const draws = 200
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 2))
		n := with(r, cable(f, 44+12*r.Float64(), (0.2+0.8*r.Float64())*1e-9, 4*r.Float64()+0.2), 1e-3)
		if js := Jumps(n, 1, 0); len(js) > 0 {
			t.Errorf("seed %d: jumps of a sweep without: %+v", seed, js)
		}
		k0 := 100 + r.IntN(1400)
		phi := (3 + 12*r.Float64()) * math.Pi / 180
		spike := seed%2 == 0
		for k := range f {
			if k == k0 || k > k0 && !spike {
				n.Set(k, 1, 0, n.At(k, 1, 0)*cmplx.Rect(1, phi))
			}
		}
		js := Jumps(n, 1, 0)
		if len(js) != 1 {
			none++
			continue
		}
		if !(math.Abs(js[0].Frequency-f[k0]) <= 1.5*(f[1]-f[0])) || js[0].Spike != spike {
			at++
		}
		if d := math.Abs(math.Abs(js[0].Phase) - phi); !(d <= 0.02) {
			t.Errorf("seed %d: a jump of %.1f° is found as %.1f°, spike %v %v", seed, phi*180/math.Pi, js[0].Phase*180/math.Pi, spike, js[0].Spike)
		}
	}
	t.Logf("%d draws of a step or a spike of 3 to 15°: %d not found as one, %d misplaced or taken for the other", draws, none, at)
	if none+at > draws/20 {
		t.Errorf("%d of %d not found, %d misplaced", none, draws, at)
	}
}

// What follows from the definition: a path of τ sampled at step has 1/(2τ step) points a period.
func TestPointsPerRipple(t *testing.T) {
	f := grid(1e9, 3e9, 201) // 10 MHz
	n := cable(f, 50, 2e-9, 1)
	points, delay := PointsPerRipple(n)
	if !(math.Abs(delay-2e-9) <= 2e-11 && math.Abs(points-25) <= 0.3) {
		t.Errorf("%g points, %g s; want 25 points of 2 ns", points, delay)
	}
	one := network.Load(f, 50, func(f float64) complex128 { return complex(1e-3, 50*math.Tan(2*math.Pi*f*0.7e-9)) })
	if _, delay := PointsPerRipple(one); !(math.Abs(delay-0.7e-9) <= 1e-11) {
		t.Errorf("a shorted stub of 0.7 ns has %g s", delay)
	}
	if points, _ := PointsPerRipple(network.New(2, f, 50)); !math.IsInf(points, 1) {
		t.Errorf("no path: %g points", points)
	}
	// Ripple of a published case: 1 m at 0.70 of the speed of light has 105 MHz of period, v/2l.
	refcheck.Record(t, "ripple-1m", "ripple_period_MHz", "v/(2l), 1 m at velocity factor 0.70 (common practice)", 105, 1/(2*1/(0.70*line.C0))/1e6, 0.5)
}

func TestPartnersAndColumns(t *testing.T) {
	f := grid(1e9, 2e9, 20)
	n := network.New(4, f, 50)
	for k := range f {
		for _, p := range [][3]float64{{0, 2, 0.9}, {1, 3, 0.8}, {0, 1, 0.1}, {2, 3, 0.1}} {
			n.Set(k, int(p[0]), int(p[1]), complex(p[2], 0))
			n.Set(k, int(p[1]), int(p[0]), complex(p[2], 0))
		}
	}
	partner, share := Partners(n)
	if fmt.Sprint(partner) != "[2 3 0 1]" || !(share[0] > 0.98) {
		t.Errorf("partners %v, shares %v", partner, share)
	}
	c := cable(grid(10e6, 20e9, 300), 53, 0.3e-9, 1)
	c.Set(0, 0, 0, c.At(0, 0, 0)+1e-6)
	if ColumnsSwapped(c) {
		t.Error("a cable's columns are said to be exchanged")
	}
	unlike, err := network.Cascade(network.Shunt(c.Frequency, 50, func(f float64) complex128 { return complex(0, f*2e-13) }), c)
	if err != nil {
		t.Fatal(err)
	}
	for k := range unlike.Frequency {
		m := unlike.Matrix(k)
		m[0], m[1], m[2], m[3] = m[1], m[0], m[3], m[2]
	}
	if !ColumnsSwapped(unlike) {
		t.Error("exchanged columns are not seen")
	}
}

// The line's own impedance comes back by either way, and a file that lies about its
// reference shows by how much.
func TestApparentImpedance(t *testing.T) {
	f := grid(20e6, 40e9, 2000)
	for _, z := range []float64{40, 50, 65} {
		n := cable(f, z, 0.5e-9, 1)
		got, err := ApparentImpedance(n, 0, 0.5e-9)
		if err != nil || !(math.Abs(got-z) <= 0.02*z) {
			t.Errorf("%g Ω: profile %g Ω, %v", z, got, err)
		}
		if got := ImageImpedance(n); !(math.Abs(got-z) <= 0.1*z) {
			t.Errorf("%g Ω: image impedance %g Ω", z, got)
		}
	}
	n, err := cable(f, 50, 0.5e-9, 1).Renormalise(75)
	if err != nil {
		t.Fatal(err)
	}
	n.Reference = []complex128{50, 50}
	if got, _ := ApparentImpedance(n, 0, 0.5e-9); !(math.Abs(got-50*50/75.) <= 1) {
		t.Errorf("referred to 75 Ω, said to be 50: %g Ω, want 33.3", got)
	}
}

// No coax of smooth silver, or of any other metal, of any ratio of diameters and any
// filling, that carries one mode to the top of the band loses less than the bound; the best of them
// comes within a few per cent of it.
func TestLeastLoss(t *testing.T) {
	best := math.Inf(1)
	for _, ratio := range []float64{1.5, 2.3, 3, 3.6, 4.2, 4.68, 5, 6, 8} {
		for _, er := range []float64{1, 1.42, 2.05} {
			c := line.Coax{InnerDiameter: 1e-3, OuterDiameter: ratio * 1e-3, Filling: material.Dielectric{Permittivity: er},
				Inner: material.Conductor{Metal: material.Metal{Conductivity: silver}}, Outer: material.Conductor{Metal: material.Metal{Conductivity: silver}}}
			top := line.ModeFreeLimit(c)
			p := c.At(top)
			const length = 1.0
			bound := LeastLoss(top, imag(p.Gamma)/(2*math.Pi*top)*length, top)
			x := real(p.Gamma) * length / bound
			if !(x >= 1) {
				t.Errorf("D/d %g, εr %g loses %.4f of the bound", ratio, er, x)
			}
			best = math.Min(best, x)
		}
	}
	t.Logf("the best coax loses %.3f of the bound", best)
	if !(best <= 1.02) {
		t.Errorf("the best coax loses %.3f times the bound: it is too low to be useful", best)
	}
	n := cable(grid(20e6, 40e9, 400), 50, 1e-9, 1)
	if s, _ := Shortfall(n, 1, 0); !(s > 0) {
		t.Errorf("a cable of 1 dB/ns falls short by %g Np", -s)
	}
	if s, f := Shortfall(cable(grid(20e6, 40e9, 400), 50, 1e-9, 0.1), 1, 0); !(s < -0.02) || f < 30e9 {
		t.Errorf("a cable of 0.1 dB/ns at 40 GHz: %g Np at %g GHz", s, f/1e9)
	}
}

// What a sweep says of itself: an invented cable of 1 ns with noise of -60 dB.
func ExampleNoise() {
	n := with(rand.New(rand.NewPCG(1, 0)), cable(grid(10e6, 40e9, 4000), 48, 1e-9, 2), 1e-3)
	points, delay := PointsPerRipple(n)
	z, err := ApparentImpedance(n, 0, delay)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("noise %.1f dB, %.0f points to a ripple, line of %.1f Ω\n", 20*math.Log10(Noise(n, 1, 0)), points, z)
	// Output:
	// noise -60.2 dB, 50 points to a ripple, line of 48.8 Ω
}
