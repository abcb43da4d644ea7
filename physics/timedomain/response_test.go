package timedomain_test

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/physics/network"
	td "linewright/physics/timedomain"
)

// The same circuits as the reference rows, out of a sweep to 2 THz: shunt C,
// series L and the stepped line under a Gaussian edge slow beside 1/f_max, against the
// closed forms and the lattice. What is left is the edge's spectrum beyond f_max
// (none: e^{−(2πσf)²/2} < 1e−30) and rounding.
func TestTransformMeetsExact(t *testing.T) {
	f := sweep(100e6, 20000)
	rise := 2e-12
	e := td.Gaussian{Rise: rise}
	o := td.Options{Window: td.Rectangular, Points: 200000}
	check := func(name string, r td.Response, want func(t float64) float64) {
		t.Helper()
		for _, at := range []float64{-1e-9, -1e-12, 0, 2e-12, 5e-12, 10e-12, 12e-12, 20e-12, 150e-12, 210e-12, 290e-12, 450e-12, 590e-12} {
			k := int(math.Round((at - r.Start) / r.Step))
			if got, want := r.Value[k], want(r.Time(k)); !(math.Abs(got-want) <= 1e-9) {
				t.Errorf("%s at %g ps: %.12g, exact %.12g", name, r.Time(k)*1e12, got, want)
			}
		}
	}
	for _, c := range []float64{3e-14, 3e-13} {
		n := network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*c) })
		s := spectrum(t, n, td.DC{Known: true})
		check("shunt C", s.Excite(e, o), func(t float64) float64 { return td.ShuntCapacitance(c, 50).Response(e, t) })
		area := s.Excite(e, o).Integral(-50e-12, 400e-12)
		if got := td.ExcessCapacitance(area, 50); !(math.Abs(got-c) <= 1e-6*c) {
			t.Errorf("excess capacitance %.9g from the dip, put in %g", got, c)
		}
	}
	n := network.Series(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*4e-10) })
	s := spectrum(t, n, td.DC{Known: true})
	check("series L", s.Excite(e, o), func(t float64) float64 { return td.SeriesInductance(4e-10, 50).Response(e, t) })
	if got := td.ExcessInductance(s.Excite(e, o).Integral(-50e-12, 400e-12), 50); !(math.Abs(got-4e-10) <= 1e-16) {
		t.Errorf("excess inductance %g, put in 4e-10", got)
	}

	l := td.SteppedLine{Reference: 50, Load: 50, Sections: []td.Section{{60, 100e-12}, {40, 80e-12}, {50, 60e-12}}}
	s = spectrum(t, cascade(t, f, l, td.Loss{}), td.DC{Known: true})
	check("stepped line", s.Excite(e, o), func(t float64) float64 { return l.Reflection(e, t) })
	// A ramp's spectrum falls as 1/f: beyond 2 THz, ideal response ∫|E|/πf df < 1/(π²·T·f_max) per unit of ρ.
	ramp := td.Ramp{Duration: 35e-12}
	r := s.Excite(ramp, o)
	for k := range r.Value {
		if at := r.Time(k); at > -100e-12 && at < 1e-9 {
			if want := l.Reflection(ramp, at); !(math.Abs(r.Value[k]-want) <= 1/(math.Pi*math.Pi*35e-12*2e12)) {
				t.Errorf("ramp at %g s: %g, exact %g", at, r.Value[k], want)
			}
		}
	}
}

// Edges: the slope's transform is the edge, and Decay is their convolution.
func TestEdges(t *testing.T) {
	const tau = 3e-12
	for _, e := range []td.Edge{td.Ramp{Duration: 7e-12}, td.Gaussian{Rise: 5e-12}, td.Gaussian{Rise: 80e-12}} {
		for _, at := range []float64{-6e-12, 0, 1e-12, 6e-12, 30e-12} {
			// Decay(t) = ∫ e'(t−x) e^{−x/τ} dx, by parts e(t) − ∫ e(t−x) e^{−x/τ} dx/τ
			const n = 200000
			sum, dx := 0.0, 60*tau/n
			for k := range n {
				x := (float64(k) + 0.5) * dx
				sum += e.At(at-x) * math.Exp(-x/tau) * dx / tau
			}
			if got, want := e.Decay(at, tau), e.At(at)-sum; !(math.Abs(got-want) <= 1e-7) {
				t.Errorf("%#v at %g: Decay %.9g, convolution %.9g", e, at, got, want)
			}
		}
		for _, f := range []float64{0, 1e9, 33e9} {
			const n = 100000
			var sum complex128
			lo, hi := -300e-12, 300e-12
			dx := (hi - lo) / n
			for k := range n {
				x := lo + (float64(k)+0.5)*dx
				sum += complex(e.At(x+dx/2)-e.At(x-dx/2), 0) * cis(-2*math.Pi*f*x)
			}
			if got := e.Spectrum(f); !(cmplx.Abs(got-sum) <= 1e-6) {
				t.Errorf("%#v: spectrum at %g Hz %v, transform of its slope %v", e, f, got, sum)
			}
		}
	}
	// 10 to 90 % of the Gaussian is its Rise; nought is the step; far before and after nothing overflows.
	g := td.Gaussian{Rise: 10e-12}
	if d := g.At(5e-12) - g.At(-5e-12); !(math.Abs(d-0.8) <= 1e-12) {
		t.Errorf("between ∓ half the rise the edge climbs %g, want 0.8", d)
	}
	for _, at := range []float64{-1, -1e-9, 1e-9, 1} {
		for _, tau := range []float64{1e-15, 1e-12, 1e-9} {
			if v := g.Decay(at, tau); !(v >= 0 && v <= 1) {
				t.Errorf("Decay(%g, %g) = %g", at, tau, v)
			}
		}
	}
	if (td.Ramp{}).Decay(1e-12, 1e-12) != (td.Step{}).Decay(1e-12, 1e-12) || (td.Gaussian{}).At(0) != 1 || (td.Ramp{}).At(-1) != 0 {
		t.Error("an edge of no duration is the ideal step")
	}
}

// Linearity, the time shift, Parseval, and the slow twin, on random spectra.
func TestTransformProperties(t *testing.T) {
	const seed = 11
	r := rand.New(rand.NewPCG(seed, 0))
	for trial := range 20 {
		n, df := 20+r.IntN(200), 1e6+1e8*r.Float64()
		x, y, shifted := td.Spectrum{Step: df}, td.Spectrum{Step: df}, td.Spectrum{Step: df}
		o := td.Options{Points: 1000}
		dt := 1 / (df * 1000)
		for k := range n + 1 {
			a, b := complex(r.NormFloat64(), r.NormFloat64()), complex(r.NormFloat64(), r.NormFloat64())
			if k == 0 {
				a, b = complex(real(a), 0), complex(real(b), 0)
			}
			x.S, y.S = append(x.S, a), append(y.S, b)
			shifted.S = append(shifted.S, a*cis(-2*math.Pi*float64(k)*df*37*dt))
		}
		sum := td.Spectrum{Step: df}
		for k := range x.S {
			sum.S = append(sum.S, 2*x.S[k]-3*y.S[k])
		}
		for _, w := range []td.Window{nil, td.Rectangular, td.Hann} {
			o.Window = w
			hx, hy, hs, hd := x.Impulse(o), y.Impulse(o), sum.Impulse(o), shifted.Impulse(o)
			scale := 0.0
			energy := 0.0
			for _, v := range hx.Value {
				scale = math.Max(scale, math.Abs(v))
				energy += v * v * hx.Step
			}
			for k := range hs.Value {
				if !(math.Abs(hs.Value[k]-2*hx.Value[k]+3*hy.Value[k]) <= 1e-11*scale) {
					t.Fatalf("seed %d trial %d: not linear at %d", seed, trial, k)
				}
				if d := hd.Value[(k+37)%1000] - hx.Value[k]; !(math.Abs(d) <= 1e-10*scale) {
					t.Fatalf("seed %d trial %d: a delay of 37 points moves the response by something else", seed, trial)
				}
			}
			// ∫h² dt over a period = Δf Σ |S W|² over both signs of frequency
			ww := w
			if ww == nil {
				ww = td.Kaiser(6)
			}
			want := real(x.S[0]) * real(x.S[0])
			for k := 1; k <= n; k++ {
				want += 2 * math.Pow(cmplx.Abs(x.S[k])*ww(float64(k)/float64(n)), 2)
			}
			if !(math.Abs(energy-want*df) <= 1e-11*energy) {
				t.Fatalf("seed %d trial %d: energy %g in time, %g in frequency", seed, trial, energy, want*df)
			}
			for range 5 {
				k := r.IntN(1000)
				if got, twin := hx.Value[k], x.ImpulseAt(hx.Time(k), w); !(math.Abs(got-twin) <= 1e-10*scale) {
					t.Fatalf("seed %d trial %d: fast %g, slow %g", seed, trial, got, twin)
				}
			}
			// The step is the integral of the impulse.
			e := x.Excite(nil, o)
			if e.Value[0] != 0 {
				t.Fatalf("seed %d trial %d: step starts at %g", seed, trial, e.Value[0])
			}
			for range 5 {
				k := 1 + r.IntN(900)
				simpson := 0.0 // of the slow twin, finely between two points
				const m = 200
				for i := range m + 1 {
					c := 4.0 - 2*float64((i+1)%2)
					if i == 0 || i == m {
						c = 1
					}
					simpson += c * x.ImpulseAt(e.Time(k)+float64(i)/m*e.Step, w) * e.Step / m / 3
				}
				if got := e.Value[k+1] - e.Value[k]; !(math.Abs(got-simpson) <= 1e-9*scale*e.Step) {
					t.Fatalf("seed %d trial %d: the step climbs %g between points, the impulse's integral is %g", seed, trial, got, simpson)
				}
			}
		}
	}
}

// Nothing comes before the edge but the window's own skirt: below its side lobes
// (44 dB for β = 6), and the response of a step settles at S(0).
func TestCausalAndFinal(t *testing.T) {
	const seed = 5
	r := rand.New(rand.NewPCG(seed, 0))
	for trial := range 10 {
		l := random(r, 5, 10e-12, 8)
		s := spectrum(t, cascade(t, sweep(20e6, 2000), l, td.Loss{}), td.DC{Known: true, Value: (l.Load - 50) / (l.Load + 50)})
		lobe := math.Pow(10, -td.Window(nil).Figures().SideLobe/20)
		h := s.Impulse(td.Options{})
		peak, early := 0.0, 0.0
		reach := -1.5 * td.Window(nil).Resolution(2*s.Stop(), s.Step).Impulse
		for k, v := range h.Value {
			peak = math.Max(peak, math.Abs(v))
			if h.Time(k) < reach {
				early = math.Max(early, math.Abs(v))
			}
		}
		if !(early <= 2*lobe*peak) { // several reflections' skirts add
			t.Errorf("seed %d trial %d: %.3g of the peak before time zero", seed, trial, early/peak)
		}
		e := s.Excite(nil, td.Options{})
		if got, want := e.At(20e-9), (l.Load-50)/(l.Load+50); !(math.Abs(got-want) <= 2e-3) {
			t.Errorf("seed %d trial %d: settles at %.5f, load is %.5f", seed, trial, got, want)
		}
	}
}

// The three ways to 0 Hz find the reflection of the load, which is S(0) of a
// lossless line, from sweeps that start at the first, fourth and a crooked harmonic.
func TestDC(t *testing.T) {
	l := td.SteppedLine{Reference: 50, Load: 70, Sections: []td.Section{{55, 100e-12}, {45, 80e-12}}}
	want := 20. / 120
	crooked := sweep(10e6, 1000)
	for k := range crooked {
		crooked[k] += 3.3e6
	}
	for name, f := range map[string][]float64{"first": sweep(10e6, 1000), "fourth": sweep(10e6, 1000)[3:], "crooked": crooked} {
		n := cascade(t, f, l, td.Loss{})
		for how, dc := range map[string]td.DC{"smooth": {}, "causal": {Causal: true}, "known": {Known: true, Value: want}} {
			s := spectrum(t, n, dc)
			tol := 1e-5
			if dc.Causal {
				tol = 2e-4 // the window's side lobes are energy before time zero too
			}
			if got := real(s.S[0]); !(math.Abs(got-want) <= tol) {
				t.Errorf("%s harmonic, %s: S(0) = %.7f, want %.7f", name, how, got, want)
			}
			// every harmonic against the network computed there
			grid := make([]float64, len(s.S))
			for k := range grid {
				grid[k] = float64(k) * s.Step
			}
			exact := cascade(t, grid, l, td.Loss{})
			for k := range grid {
				if d := cmplx.Abs(s.S[k] - exact.At(k, 0, 0)); !(d <= 2*tol) {
					t.Errorf("%s harmonic, %s: S at %g Hz off by %g", name, how, grid[k], d)
					break
				}
			}
		}
	}
	// A spoilt first point, as low frequencies of analysers often are: the causal
	// choice holds to the time response instead.
	n := cascade(t, sweep(10e6, 1000)[3:], l, td.Loss{})
	for k := range 3 {
		n.Set(k, 0, 0, n.At(k, 0, 0)+0.01)
	}
	smooth, causal := real(spectrum(t, n, td.DC{}).S[0]), real(spectrum(t, n, td.DC{Causal: true}).S[0])
	if !(math.Abs(causal-want) < math.Abs(smooth-want)/5) {
		t.Errorf("spoilt first points: smooth %.5f, causal %.5f, true %.5f", smooth, causal, want)
	}
}

func TestRefusals(t *testing.T) {
	f := sweep(1e9, 50)
	n := network.New(1, f, 50)
	late := network.New(1, f[10:], 50)
	complexRef := network.New(1, f, 50+1i)
	uneven := append([]float64(nil), f...)
	uneven[7] += 1e8
	_, bandErr := td.BandPass(uneven, n.S, td.Options{})
	_, shapeErr := td.BandPass(f, n.S[1:], td.Options{})
	ofErr := func(n network.Network, i int) error { _, err := td.Of(n, i, i, td.DC{}); return err }
	_, gateErr := td.Gate{Start: 1, Stop: 0}.Apply(f, n.S)
	_, gateEdge := td.Gate{Start: 0, Stop: 1e-9, Edge: 2e-9}.Apply(f, n.S)
	_, layerErr := td.Spectrum{Step: 1e9, S: make([]complex128, 51)}.Profile(50, td.ProfileOptions{Layer: 3e-12})
	_, few := td.Spectrum{Step: 1e9, S: make([]complex128, 51)}.Causality(td.CausalityOptions{})
	_, active := td.Peel([]float64{0.1, 1.5})
	for _, c := range []struct {
		name      string
		got, want error
	}{
		{"late sweep", ofErr(late, 0), td.ErrGap},
		{"complex reference", ofErr(complexRef, 0), network.ErrReference},
		{"no such port", ofErr(n, 1), network.ErrPort},
		{"two points", ofErr(network.New(1, f[:2], 50), 0), network.ErrSpacing},
		{"uneven band", bandErr, network.ErrSpacing},
		{"short list", shapeErr, network.ErrShape},
		{"gate backwards", gateErr, td.ErrGate},
		{"edge too wide", gateEdge, td.ErrGate},
		{"odd layer", layerErr, td.ErrLayer},
		{"few frequencies", few, td.ErrFew},
		{"more than all comes back", active, td.ErrPassive},
	} {
		if !errors.Is(c.got, c.want) {
			t.Errorf("%s: error %v, want %v", c.name, c.got, c.want)
		}
	}
}

// A reflection in a band of 67 to 110 GHz shows its size at its time, and
// the width d016 speaks of.
func TestBandPass(t *testing.T) {
	var f []float64
	var s []complex128
	const delay, rho = 431e-12, -0.3
	for k := range 862 {
		f = append(f, 67e9+float64(k)*50e6)
		s = append(s, rho*cis(-2*math.Pi*f[k]*delay))
	}
	for name, w := range map[string]td.Window{"rectangular": td.Rectangular, "default": nil} {
		e, err := td.BandPass(f, s, td.Options{Window: w, Points: 1 << 18, Lead: 1e-9})
		if err != nil {
			t.Fatal(err)
		}
		peak, at := 0.0, 0.0
		mag := td.Response{Start: e.Start, Step: e.Step}
		for k, v := range e.Value {
			mag.Value = append(mag.Value, cmplx.Abs(v))
			if cmplx.Abs(v) > peak {
				peak, at = cmplx.Abs(v), e.Time(k)
			}
		}
		if !(math.Abs(peak-0.3) <= 1e-5) || !(math.Abs(at-delay) <= e.Step) {
			t.Errorf("%s: peak %g at %g s", name, peak, at)
		}
		k := int((delay - e.Start) / e.Step)
		if got := e.Value[k] / cis(-2*math.Pi*(delay-e.Time(k))*(f[0]+f[len(f)-1])/2); !(cmplx.Abs(got-rho) <= 1e-3) {
			t.Errorf("%s: phase at the peak, carried to it at mid band, gives %v", name, got)
		}
		if width, want := 2*(delay-cross(mag, 0.15)), w.Resolution(f[len(f)-1]-f[0], 50e6).Impulse; name == "default" && !(math.Abs(width-want) <= 0.01*want) {
			t.Errorf("%s: width %g, want %g", name, width, want)
		}
	}
}
