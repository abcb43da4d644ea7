package tolerance

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/physics/network"
)

// plain computes what run does, one frequency and one two-port after the other
// with package network: the slow twin that defines the answer.
func plain(p *prepared, set []setting) (s11, s22, s21 []float64, err error) {
	var ns []network.Network
	for k, x := range set {
		if p.known[k] {
			n := network.New(2, p.grid.f, 50)
			for i := range p.grid.f {
				t := p.stages[k].known[i]
				n.Set(i, 0, 0, t.m21)
				n.Set(i, 1, 1, -t.m12)
				// Reciprocal: S21² = m22 − S11·m12.
				s := cmplx.Sqrt(t.m22 - t.m21*t.m12)
				n.Set(i, 0, 1, s)
				n.Set(i, 1, 0, s)
			}
			ns = append(ns, n)
		}
		step, line := network.New(2, p.grid.f, 50), network.New(2, p.grid.f, 50)
		for i, f := range p.grid.f {
			at := i*len(set) + k
			rho := x.scale * p.bound[at]
			sin, cos := math.Sincos(x.phase)
			step.Set(i, 0, 0, complex(rho*cos, rho*sin))
			step.Set(i, 1, 1, complex(-rho*cos, rho*sin))
			t := complex(math.Sqrt(1-rho*rho), 0)
			step.Set(i, 0, 1, t)
			step.Set(i, 1, 0, t)
			amp := math.Exp(-x.loss * p.loss[at])
			sin, cos = math.Sincos(-2 * math.Pi * f * x.tau)
			t = complex(amp*cos, amp*sin)
			line.Set(i, 0, 1, t)
			line.Set(i, 1, 0, t)
		}
		ns = append(ns, step, line)
	}
	n, err := network.Cascade(ns...)
	if err != nil {
		return nil, nil, nil, err
	}
	abs2 := func(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }
	for i := range p.grid.f {
		s11 = append(s11, abs2(n.At(i, 0, 0)))
		s22 = append(s22, abs2(n.At(i, 1, 1)))
		s21 = append(s21, abs2(n.At(i, 1, 0)))
	}
	return s11, s22, s21, nil
}

// randomStages makes a chain of discontinuities, lines and, if wanted, known
// two-ports, and one setting of it.
func randomStages(r *rand.Rand, f []float64, n int, known bool) ([]stage, []setting) {
	stages, set := make([]stage, n), make([]setting, n)
	for k := range stages {
		s := &stages[k]
		s.loss, s.bound = make([]float64, len(f)), make([]float64, len(f))
		a, rho := 0.3*r.Float64(), 0.3*r.Float64()
		for i := range f {
			s.loss[i] = a * math.Sqrt(f[i]/40e9)
			s.bound[i] = rho * (0.5 + 0.5*f[i]/f[len(f)-1])
		}
		switch r.IntN(4) {
		case 0:
			s.bound = nil
		case 1:
			s.loss = nil
		}
		if known && k%3 == 1 {
			s.known = make([]transmitted, len(f))
			for i := range f { // a lossy step: reciprocal and passive
				s11, s22 := cmplx.Rect(0.2*r.Float64(), 7*r.Float64()), cmplx.Rect(0.2*r.Float64(), 7*r.Float64())
				s21 := cmplx.Rect(0.8, 7*r.Float64())
				s.known[i] = newTransmitted(s11, s21, s21, s22)
			}
		}
		set[k] = setting{scale: 2*r.Float64() - 1, phase: 2 * math.Pi * r.Float64(), loss: 0.6 + 0.6*r.Float64(), tau: 1e-9 * r.Float64()}
	}
	return stages, set
}

// The fast sweep is a second opinion: the cascade of package network, two-port
// by two-port, defines the answer.
func TestSweepIsCascade(t *testing.T) {
	const seed = 7
	r := rand.New(rand.NewPCG(seed, 0))
	worst := 0.0
	for trial := range 60 {
		n := []int{1, 2, 33, 201, 2001}[trial%5]
		g := &grid{segments: []segment{{from: 0, n: n, start: 24e9, step: 16e9 / float64(n)}, {from: n, n: 5, start: 60e9, step: 1e9}}}
		for _, s := range g.segments {
			for k := range s.n {
				g.f = append(g.f, s.start+s.step*float64(k))
			}
		}
		stages, set := randomStages(r, g.f, 1+trial%9, trial%2 == 1)
		p := prepare(g, stages)
		s := newSweep(g, stages)
		s.run(p, set)
		s11, s22, s21, err := plain(p, set)
		if err != nil {
			t.Fatal(err)
		}
		for i := range g.f {
			for _, d := range []float64{s.s11[i] - s11[i], s.s22[i] - s22[i], s.s21[i] - s21[i]} {
				worst = math.Max(worst, math.Abs(d))
				if !(math.Abs(d) <= 1e-13) {
					t.Fatalf("seed %d, trial %d, point %d of %d: |S|² differs from the cascade by %.3g", seed, trial, i, len(g.f), d)
				}
			}
		}
	}
	t.Logf("largest difference of |S|² from the cascade: %.2g", worst)
}

// The kernel of package network for chains of mismatched lines is a third,
// independent route: impedance steps, skin and dielectric loss.
func TestSweepIsLineSweep(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 0))
	const n = 201
	g := &grid{segments: []segment{{n: n, start: 1e9, step: 0.2e9}}}
	for k := range n {
		g.f = append(g.f, 1e9+0.2e9*float64(k))
	}
	var sections []network.Section
	var stages []stage
	var set []setting
	before := 50.0
	for range 7 {
		x := network.Section{Impedance: 40 + 20*r.Float64(), Delay: 0.3e-9 * r.Float64(), Skin: 2e-7 * r.Float64(), Dielectric: 1e-12 * r.Float64()}
		s := stage{bound: ones(n), loss: make([]float64, n)}
		for i, f := range g.f {
			s.loss[i] = x.Skin*math.Sqrt(f) + x.Dielectric*f
		}
		sections, stages = append(sections, x), append(stages, s)
		set = append(set, setting{scale: (x.Impedance - before) / (x.Impedance + before), loss: 1, tau: x.Delay})
		before = x.Impedance
	}
	stages, set = append(stages, stage{bound: ones(n)}), append(set, setting{scale: (50 - before) / (50 + before), loss: 1})
	p, s := prepare(g, stages), newSweep(g, stages)
	s.run(p, set)
	s11, s21 := network.NewLineSweep(1e9, 0.2e9, n).Powers(50, sections)
	for i := range g.f {
		if d, e := s.s11[i]-s11[i], s.s21[i]-s21[i]; !(math.Abs(d) <= 1e-13 && math.Abs(e) <= 1e-13) {
			t.Fatalf("at %g Hz |S11|² and |S21|² differ from the kernel's by %.3g and %.3g", g.f[i], d, e)
		}
	}
}

// BenchmarkSweep draws and computes copies of seven lossy lines with
// discontinuities at 201 frequencies, both ends: the fast sweep, its slow twin
// and the line kernel (one end, flat steps without phases) in one run.
func BenchmarkSweep(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 0))
	const n, m = 201, 7
	g := &grid{segments: []segment{{n: n, start: 1e9, step: 0.2e9}}}
	for k := range n {
		g.f = append(g.f, 1e9+0.2e9*float64(k))
	}
	stages, set := randomStages(r, g.f, m, false)
	p, s := prepare(g, stages), newSweep(g, stages)
	per := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n*m), "ns/point·element")
	}
	b.Run("sweep", func(b *testing.B) {
		for b.Loop() {
			s.run(p, set)
		}
		per(b)
	})
	b.Run("twin", func(b *testing.B) {
		for b.Loop() {
			if _, _, _, err := plain(p, set); err != nil {
				b.Fatal(err)
			}
		}
		per(b)
	})
	b.Run("line kernel", func(b *testing.B) {
		ls := network.NewLineSweep(1e9, 0.2e9, n)
		sections := make([]network.Section, m)
		for k := range sections {
			sections[k] = network.Section{Impedance: 45 + float64(k), Delay: set[k].tau, Skin: 1e-7, Dielectric: 1e-12}
		}
		for b.Loop() {
			ls.Powers(50, sections)
		}
		per(b)
	})
}
