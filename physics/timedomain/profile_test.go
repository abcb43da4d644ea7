package timedomain_test

import (
	"math"
	"math/rand/v2"
	"testing"

	td "linewright/physics/timedomain"
)

// Peeling the exact echoes of lines of equal layers gives their impedances back,
// and so does a sweep of such a line over just half of 1/Layer.
func TestPeelExact(t *testing.T) {
	const seed, unit = 21, 5e-12
	r := rand.New(rand.NewPCG(seed, 0))
	for trial := range 30 {
		l := random(r, 1+r.IntN(25), unit, 1)
		const count = 200
		h := make([]float64, count)
		for _, e := range l.Echoes((count - 0.5) * 2 * unit) {
			h[int(math.Round(e.Time/(2*unit)))] += e.Amplitude
		}
		rho, err := td.Peel(h)
		if err != nil {
			t.Fatal(err)
		}
		for k, z := range td.Impedances(50, rho) {
			if want := impedanceAt(l, (float64(k)+0.5)*2*unit); !(math.Abs(z-want) <= 1e-9*want) {
				t.Fatalf("seed %d trial %d: layer %d is %.12g Ω, want %g", seed, trial, k, z, want)
			}
		}

		// 1001 samples of the response in a period, so 500 harmonics.
		const m = 1001
		df := 1 / (m * 2 * unit)
		s := spectrum(t, cascade(t, sweep(df, m/2), l, td.Loss{}), td.DC{Known: true, Value: (l.Load - 50) / (l.Load + 50)})
		p, err := s.Profile(50, td.ProfileOptions{Window: td.Rectangular, Layer: 2 * unit})
		if err != nil {
			t.Fatal(err)
		}
		for k, z := range p.Value {
			if want := impedanceAt(l, p.Time(k)); !(math.Abs(z-want) <= 1e-8*want) {
				t.Fatalf("seed %d trial %d: swept, layer at %g s is %.12g Ω, want %g", seed, trial, p.Time(k), z, want)
			}
		}
	}
}

// Open and short ends: the line is right up to them and the profile stops.
func TestPeelToTheEnd(t *testing.T) {
	for _, load := range []float64{0, math.Inf(1)} {
		l := td.SteppedLine{Reference: 50, Load: load, Sections: []td.Section{{60, 1e-12}, {45, 1e-12}}}
		h := make([]float64, 50)
		for _, e := range l.Echoes(99e-12) {
			h[int(math.Round(e.Time/2e-12))] += e.Amplitude
		}
		rho, err := td.Peel(h)
		z := td.Impedances(50, rho)
		if err != nil || len(z) != 3 || !(math.Abs(z[1]-45) <= 1e-9) || !(z[2] < 1e-9 || z[2] > 1e9) {
			t.Errorf("ended in %g Ω: %v Ω, %v", load, z, err)
		}
	}
}

// profileErrors returns the worst relative errors in Z, away from steps by more
// than 1.5 impulse widths, of the peeled and the raw profile of a dozen lines of five sections
// of unrelated delays, swept to 50 GHz, and their largest step ρ. Impedances are
// 50 Ω (Z/50)^contrast, Z between 30 and 80.
func profileErrors(t *testing.T, seed uint64, contrast float64, loss td.Loss, o td.ProfileOptions) (peeled, raw, step float64) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 0))
	f := sweep(25e6, 2000)
	for range 12 {
		l := random(r, 5, 1e-12, 20)
		l.Load = 50 * math.Pow(l.Load/50, contrast)
		last := 50.0
		for i := range l.Sections {
			s := &l.Sections[i]
			s.Delay += 60e-12 + 1e-12*r.Float64()
			s.Impedance = 50 * math.Pow(s.Impedance/50, contrast)
			step = math.Max(step, math.Abs((s.Impedance-last)/(s.Impedance+last)))
			last = s.Impedance
		}
		step = math.Max(step, math.Abs((l.Load-last)/(l.Load+last)))
		s := spectrum(t, cascade(t, f, l, loss), td.DC{Known: true, Value: (l.Load - 50) / (l.Load + 50)})
		o.Until = steps(l)[5] // behind the load there is no line for Loss to hold of
		p, err := s.Profile(50, o)
		if err != nil {
			t.Fatal(err)
		}
		z := s.Excite(nil, td.Options{}).Impedance(50)
		apart := 1.5 * td.Window(nil).Resolution(2*s.Stop(), s.Step).Impulse
		for k := range p.Value {
			at := p.Time(k)
			if nearest(steps(l), at) < apart {
				continue
			}
			want := impedanceAt(l, at)
			peeled = math.Max(peeled, math.Abs(p.Value[k]/want-1))
			raw = math.Max(raw, math.Abs(z.At(at)/want-1))
		}
	}
	return peeled, raw, step
}

// Away from the steps the peeled profile is off by what the blur of the steps does to
// the multiple reflections: third order in ρ, as Profile's comment states, where
// the raw one is off in second order.
func TestProfileOfSteppedLines(t *testing.T) {
	const seed = 7
	last := math.Inf(1)
	for _, contrast := range []float64{1, 0.5, 0.25} {
		peeled, raw, step := profileErrors(t, seed, contrast, td.Loss{}, td.ProfileOptions{})
		t.Logf("largest step ρ = %.3f: Z off by %.5f peeled (%.2f ρ³), %.5f raw", step, peeled, peeled/(step*step*step), raw)
		if !(peeled <= 0.5*step*step*step) {
			t.Errorf("seed %d: peeled profile off by %.5f, stated at most ρ³/2 = %.5f", seed, peeled, step*step*step/2)
		}
		if !(peeled <= last/6) {
			t.Errorf("seed %d: half the contrast, error %.5f after %.5f: not third order", seed, peeled, last)
		}
		if !(raw > 3*peeled) {
			t.Errorf("seed %d: raw profile off by only %.5f: the test shows nothing", seed, raw)
		}
		last = peeled
	}
}

// Known loss taken off: the same lines with 4 dB of skin effect and 2 dB of
// dielectric loss per ns of delay at 50 GHz, some 4 dB there and back. The bound
// stated is that of the lossless case and half a per cent.
func TestProfileOfLossyLines(t *testing.T) {
	const seed = 8
	loss := td.Loss{Skin: 4 / 8.686 / 1e-9 / math.Sqrt(50e9), Dielectric: 2 / 8.686 / 1e-9 / 50e9, At: 50e9}
	for _, contrast := range []float64{1, 0.5, 0.25} {
		off, raw, step := profileErrors(t, seed, contrast, loss, td.ProfileOptions{Loss: loss})
		ignored, _, _ := profileErrors(t, seed, contrast, loss, td.ProfileOptions{})
		t.Logf("largest step ρ = %.3f: Z off by %.5f with loss taken off, %.5f ignoring it, %.5f raw", step, off, ignored, raw)
		if !(off <= 0.5*step*step*step+0.005) {
			t.Errorf("seed %d: off by %.5f at steps up to ρ = %.3f", seed, off, step)
		}
		if !(ignored > 2*off) {
			t.Errorf("seed %d: ignoring the loss is off by only %.5f: the test shows nothing", seed, ignored)
		}
	}
}

// The two ways of peeling agree where the loss is as good as nothing.
func TestPeelTwoWays(t *testing.T) {
	const seed = 9
	l := random(rand.New(rand.NewPCG(seed, 0)), 4, 10e-12, 9)
	s := spectrum(t, cascade(t, sweep(50e6, 600), l, td.Loss{}), td.DC{})
	a, err1 := s.Profile(50, td.ProfileOptions{Until: 1e-9})
	b, err2 := s.Profile(50, td.ProfileOptions{Until: 1e-9, Loss: td.Loss{Skin: 1e-9}})
	if err1 != nil || err2 != nil || len(a.Value) != len(b.Value) || len(a.Value) < 50 {
		t.Fatal(err1, err2, len(a.Value), len(b.Value))
	}
	for k := range a.Value {
		if !(math.Abs(a.Value[k]-b.Value[k]) <= 1e-7) || a.Time(k) != b.Time(k) {
			t.Fatalf("seed %d: at %g s %g Ω in time, %g Ω in frequency", seed, a.Time(k), a.Value[k], b.Value[k])
		}
	}
}

// Noise of σ per sample of h walks into ln Z as 2σ√k.
func TestPeelNoise(t *testing.T) {
	const seed, sigma, layers, draws = 10, 1e-4, 400, 200
	r := rand.New(rand.NewPCG(seed, 0))
	sum := 0.0
	for range draws {
		h := make([]float64, layers)
		for k := range h {
			h[k] = sigma * r.NormFloat64()
		}
		rho, err := td.Peel(h)
		if err != nil {
			t.Fatal(err)
		}
		d := math.Log(td.Impedances(1, rho)[layers-1])
		sum += d * d
	}
	got, want := math.Sqrt(sum/draws), 2*sigma*math.Sqrt(layers)
	// the standard deviation of a standard deviation from 200 draws is 5 %
	if !(math.Abs(got-want) <= 0.2*want) {
		t.Errorf("seed %d: ln Z spreads by %.3g, stated %.3g", seed, got, want)
	}
}

// A lossy line's exact chain matrix and its loss as stated.
func TestLossLine(t *testing.T) {
	loss := td.Loss{Skin: 1e3, Dielectric: 2e-3, At: 40e9} // about 0.2 and 0.08 Np in 1 ns at 40 GHz
	gl, zc := loss.Line(50, 1e-9)(40e9)
	want := (1e3*math.Sqrt(40e9) + 2e-3*40e9) * 1e-9
	if !(math.Abs(real(gl)-want) <= 0.01*want) {
		t.Errorf("attenuation %g Np, want %g to first order", real(gl), want)
	}
	// at f₀ the dielectric adds no delay; the skin effect adds as much phase as loss
	if got, want := imag(gl)-2*math.Pi*40, 1e3*math.Sqrt(40e9)*1e-9; !(math.Abs(got-want) <= 0.02*want) {
		t.Errorf("excess phase %g rad, want %g", got, want)
	}
	if !(math.Abs(real(zc)-50) <= 0.1) {
		t.Errorf("Zc %v", zc)
	}
}

func TestPath(t *testing.T) {
	const c = 299792458
	p := td.Path{{0.1, c / 1.45}, {0.02, c / 1.9}, {0.5, c / 1.3}}
	for _, x := range []float64{-0.05, 0, 0.03, 0.1, 0.11, 0.12, 0.4, 0.62, 1} {
		if got := p.Position(p.Time(x)); !(math.Abs(got-x) <= 1e-15) {
			t.Errorf("%g m comes back as %g", x, got)
		}
	}
	if got, want := p.Time(0.62), (0.1*1.45+0.02*1.9+0.5*1.3)/c; !(math.Abs(got-want) <= 1e-22) {
		t.Errorf("whole path %g s, want %g", got, want)
	}
	if !math.IsNaN(td.Path{}.Position(1)) || !math.IsNaN(td.Path(nil).Time(1)) {
		t.Error("an empty path has positions")
	}
}

// A wider band narrows the blur, but not what the blur does to multiple reflections
// away from the steps.
func TestProfileOverBand(t *testing.T) {
	l := td.SteppedLine{Reference: 50, Load: 50, Sections: []td.Section{{65, 71.3e-12}, {38, 93.7e-12}, {57, 64.9e-12}}}
	rho := 27. / 103
	for _, stop := range []float64{25e9, 50e9, 100e9, 200e9} {
		s := spectrum(t, cascade(t, sweep(25e6, int(stop/25e6)), l, td.Loss{}), td.DC{})
		p, err := s.Profile(50, td.ProfileOptions{})
		if err != nil {
			t.Fatal(err)
		}
		apart := 1.5 * td.Window(nil).Resolution(2*stop, 25e6).Impulse
		worst, n := 0.0, 0
		for k, z := range p.Value {
			if at := p.Time(k); nearest(steps(l), at) > apart && at < 1e-9 {
				worst = math.Max(worst, math.Abs(z/impedanceAt(l, at)-1))
				n++
			}
		}
		t.Logf("to %g GHz: %.5f of Z, %d layers", stop/1e9, worst, n)
		if !(worst <= rho*rho*rho/2) || n < 10 {
			t.Errorf("to %g GHz: off by %.5f of Z, stated %.5f, %d layers", stop/1e9, worst, rho*rho*rho/2, n)
		}
	}
}
