package tolerance

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/hardware/chain"
	"linewright/job/enquiry"
	"linewright/physics/network"
	"linewright/physics/units"
)

// plain computes what [network.Copies] does, one frequency and one two-port
// after the other with package network: the slow twin that defines the answer.
func plain(f []float64, stages []network.Stage, set []network.Setting) (s11, s22, s21 []float64, err error) {
	var ns []network.Network
	for k, x := range set {
		if stages[k].Known != nil {
			ns = append(ns, *stages[k].Known)
		}
		step, line := network.New(2, f, 50), network.New(2, f, 50)
		for i, f := range f {
			rho, amp := 0.0, 1.0
			if b := stages[k].Bound; b != nil {
				rho = x.Scale * b[i]
			}
			if a := stages[k].Loss; a != nil {
				amp = math.Exp(-x.Loss * a[i])
			}
			sin, cos := math.Sincos(x.Phase)
			step.Set(i, 0, 0, complex(rho*cos, rho*sin))
			step.Set(i, 1, 1, complex(-rho*cos, rho*sin))
			t := complex(math.Sqrt(1-rho*rho), 0)
			step.Set(i, 0, 1, t)
			step.Set(i, 1, 0, t)
			sin, cos = math.Sincos(-2 * math.Pi * f * x.Delay)
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
	for i := range f {
		s11 = append(s11, abs2(n.At(i, 0, 0)))
		s22 = append(s22, abs2(n.At(i, 1, 1)))
		s21 = append(s21, abs2(n.At(i, 1, 0)))
	}
	return s11, s22, s21, nil
}

// everything is a chain as a study sees it: connectors, cables, a gap and a file, with a
// limit of every kind.
func everything(t testing.TB, points int) *Study {
	t.Helper()
	r := rand.New(rand.NewPCG(5, 0))
	e := band("2 GHz", "18 GHz")
	e.Limits.ReturnLoss = []enquiry.ReturnLossLimit{{AtLeast: ptr(units.Level(14))}, {AtLeast: ptr(units.Level(16)), To: ptr(units.Frequency(6e9))}}
	e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(3))}}
	e.Limits.Ripple = []enquiry.RippleLimit{{AtMost: 0.5, Window: ptr(units.Frequency(2e9))}}
	e.Match = &enquiry.Match{Kind: enquiry.Absolute, Delay: ptr(units.Time(1e-12))}
	f := make([]float64, 41)
	for i := range f {
		f[i] = 1e9 + 0.5e9*float64(i)
	}
	n := network.New(2, f, 50)
	for i := range f { // a smooth, lossy, reciprocal two-port
		n.Set(i, 0, 0, complex(0.05, 0.02))
		n.Set(i, 1, 1, complex(-0.04, 0.03))
		t := cmplx.Rect(0.95, -2*math.Pi*f[i]*40e-12)
		n.Set(i, 0, 1, t)
		n.Set(i, 1, 0, t)
	}
	es := []chain.Element{
		connectorOf(1.1+0.1*r.Float64(), "0.03 dB/sqrt(GHz)"), chain.Gap{Where: "axial gap", Opening: 0.2e-3, Impedance: 65}, chain.File{Where: "launch", Spec: chain.FileSpec{Path: "a.s2p", Network: &n}},
		cableOf(0.4, 1.1), connectorOf(1.15, "0.04 dB/sqrt(GHz)"), cableOf(0.2, 1.12), connectorOf(1.2, "0.03 dB/sqrt(GHz)"),
	}
	s, err := New(e, built(es...), Tolerances{}, Options{Points: points})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The copies of a whole study against the cascade of package network, two-port
// by two-port, on the stages and settings that the study itself draws.
func TestCopiesAreCascades(t *testing.T) {
	worst := 0.0
	for _, points := range []int{2, 33, 201, 2001} {
		s := everything(t, points)
		sc := s.pool.Get().(*scratch)
		for i := range 12 {
			x := must(s.Sampling.Sample(Options{Samples: 12, Seed: 7}.Plan(), i))(t)
			for _, el := range s.elements {
				el.apply(x, sc.set[el.from:el.to])
			}
			for k, v := range s.views {
				set := sc.set[s.elements[v.from].from:s.elements[v.to-1].to]
				sc.sweeps[k].Run(set)
				s11, s22, s21, err := plain(s.grid.f, v.stages, set)
				if err != nil {
					t.Fatal(err)
				}
				for j := range s.grid.f {
					for _, d := range []float64{sc.sweeps[k].S11[j] - s11[j], sc.sweeps[k].S22[j] - s22[j], sc.sweeps[k].S21[j] - s21[j]} {
						worst = math.Max(worst, math.Abs(d))
						if !(math.Abs(d) <= 1e-13) {
							t.Fatalf("copy %d, point %d of %d: |S|² differs from the cascade by %.3g", i, j, points, d)
						}
					}
				}
			}
		}
	}
	t.Logf("largest difference of |S|² from the cascade: %.2g", worst)
}

// The kernel of package network for chains of mismatched lines is a third,
// independent route: impedance steps, skin and dielectric loss.
func TestCopiesAreLineSweep(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 0))
	const n = 201
	var f []float64
	for k := range n {
		f = append(f, 1e9+0.2e9*float64(k))
	}
	var sections []network.Section
	var stages []network.Stage
	var set []network.Setting
	before := 50.0
	for range 7 {
		x := network.Section{Impedance: 40 + 20*r.Float64(), Delay: 0.3e-9 * r.Float64(), Skin: 2e-7 * r.Float64(), Dielectric: 1e-12 * r.Float64()}
		s := network.Stage{Bound: ones(n), Loss: make([]float64, n)}
		for i, f := range f {
			s.Loss[i] = x.Skin*math.Sqrt(f) + x.Dielectric*f
		}
		sections, stages = append(sections, x), append(stages, s)
		set = append(set, network.Setting{Scale: (x.Impedance - before) / (x.Impedance + before), Loss: 1, Delay: x.Delay})
		before = x.Impedance
	}
	stages, set = append(stages, network.Stage{Bound: ones(n)}), append(set, network.Setting{Scale: (50 - before) / (50 + before), Loss: 1})
	s := must(network.NewVaried([]network.Segment{{Start: 1e9, Step: 0.2e9, Points: n}}, stages))(t).Copies()
	s.Run(set)
	s11, s21 := network.NewLineSweep(1e9, 0.2e9, n).Powers(50, sections)
	for i := range f {
		if d, e := s.S11[i]-s11[i], s.S21[i]-s21[i]; !(math.Abs(d) <= 1e-13 && math.Abs(e) <= 1e-13) {
			t.Fatalf("at %g Hz |S11|² and |S21|² differ from the kernel's by %.3g and %.3g", f[i], d, e)
		}
	}
}

// BenchmarkCopies measures a whole study: copies drawn, swept at 201 frequencies
// from both ends and tried against every limit, on one processor; and the same
// copies with package network's cascade, two-port by two-port, and drawn only.
func BenchmarkCopies(b *testing.B) {
	s := everything(b, 201)
	y := make([]float64, len(s.Outputs))
	plan := Options{Samples: 1 << 20}.Plan()
	draw, err := s.Sampling.Drawer()
	if err != nil {
		b.Fatal(err)
	}
	x := make([]float64, len(s.Inputs))
	rate := func(b *testing.B) { b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "copies/s") }
	b.Run("study", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			draw.Sample(plan, i, x)
			if err := s.Sampling.Model(context.Background(), x, y); err != nil {
				b.Fatal(err)
			}
		}
		rate(b)
	})
	b.Run("drawing", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			draw.Sample(plan, i, x)
		}
		rate(b)
	})
	sc := s.pool.Get().(*scratch)
	for _, el := range s.elements {
		el.apply(x, sc.set[el.from:el.to])
	}
	b.Run("sweep", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			sc.sweeps[0].Run(sc.set)
		}
		rate(b)
	})
	b.Run("cascade", func(b *testing.B) {
		for b.Loop() {
			if _, _, _, err := plain(s.grid.f, s.views[0].stages, sc.set); err != nil {
				b.Fatal(err)
			}
		}
		rate(b)
	})
}
