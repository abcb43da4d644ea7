package network

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"linewright/internal/refcheck"
)

func reflectors(magnitudes ...float64) []Reflector {
	var c []Reflector
	for _, m := range magnitudes {
		c = append(c, Reflector{Magnitude: m})
	}
	return c
}

// sum ≥ product form ≥ every random draw of lossless parts, drawn as true
// two-ports of random phase and cascaded.
func TestBoundsHold(t *testing.T) {
	r := seeded(t, 71)
	f := []float64{1e9}
	for range 2000 {
		var chain []Reflector
		var parts []Network
		lossless := r.IntN(2) == 0
		for range 1 + r.IntN(7) {
			rho := 0.5 * r.Float64()
			loss := 0.3 * r.Float64()
			if lossless {
				loss = 0
			}
			chain = append(chain, Reflector{Magnitude: rho, Loss: loss})
			// A lossless reciprocal two-port: S11 = ρe^{ja}, S22 = −ρe^{jb}, S21 = √(1−ρ²)e^{j(a+b)/2}.
			a, b := 2*math.Pi*r.Float64(), 2*math.Pi*r.Float64()
			n := New(2, f, 50)
			n.Set(0, 0, 0, cmplx.Rect(rho, a))
			n.Set(0, 1, 1, -cmplx.Rect(rho, b))
			n.Set(0, 1, 0, cmplx.Rect(math.Sqrt(1-rho*rho), (a+b)/2))
			n.Set(0, 0, 1, n.At(0, 1, 0))
			parts = append(parts, n, Line(f, 50, func(float64) (complex128, complex128) { return complex(loss, 2*math.Pi*r.Float64()), 50 }))
		}
		whole := must(Cascade(parts[:len(parts)-1]...))
		drawn := cmplx.Abs(whole.S[0])
		if least, through := LeastTransmission(chain), cmplx.Abs(whole.S[2]); !(through >= least-1e-14) {
			t.Errorf("%v: least transmission %.15g, drawn %.15g", chain, least, through)
		} else if w := WorstExact(chain); lossless && !(math.Abs(least*least+w*w-1) <= 1e-13) {
			t.Errorf("%v: least transmission %.15g and worst reflection %.15g do not make up the power", chain, least, w)
		}
		sum, exact, best := Worst(chain), WorstExact(chain), Best(chain)
		if !(sum >= exact && exact >= drawn-1e-14 && drawn >= best-1e-14) {
			t.Errorf("%v: sum %.15g, exact worst %.15g, drawn %.15g, best %.15g", chain, sum, exact, drawn, best)
		}
		if lossless {
			product, artanh := 1.0, 0.0
			for _, c := range chain {
				product *= VSWR(c.Magnitude)
				artanh += math.Atanh(c.Magnitude)
			}
			if !(math.Abs(exact-FromVSWR(product)) <= 1e-13 && math.Abs(exact-math.Tanh(artanh)) <= 1e-13) {
				t.Errorf("exact worst %.15g, product of VSWRs %.15g, tanh Σ artanh %.15g", exact, FromVSWR(product), math.Tanh(artanh))
			}
		}
	}
}

// The least transmission is attained when all phases are in step.
func TestLeastTransmissionIsAttained(t *testing.T) {
	f := []float64{1e9}
	chain := []Reflector{{Magnitude: 0.3, Loss: 0.1}, {Magnitude: 0.2, Loss: 0.2}, {Magnitude: 0.4}}
	var parts []Network
	for _, c := range chain {
		n := New(2, f, 50)
		through := complex(math.Sqrt(1-c.Magnitude*c.Magnitude), 0)
		n.S = []complex128{complex(c.Magnitude, 0), through, through, complex(-c.Magnitude, 0)}
		parts = append(parts, n, Line(f, 50, func(float64) (complex128, complex128) { return complex(c.Loss, 0), 50 }))
	}
	n := must(Cascade(parts[:5]...))
	if got, want := LeastTransmission(chain), real(n.S[2]); !(math.Abs(got-want) <= 1e-15) {
		t.Errorf("least transmission %.16g, in step %.16g", got, want)
	}
	if got, want := WorstExact(chain), real(n.S[0]); !(math.Abs(got-want) <= 1e-15) {
		t.Errorf("worst reflection %.16g, in step %.16g", got, want)
	}
}

// Parts that absorb between their own reflections, pads with random phases: the
// sum is exceeded now and then, WorstPassive never.
func TestBoundOfAbsorbingParts(t *testing.T) {
	r := seeded(t, 73)
	exceeded, most := 0, 0.0
	for range 5000 {
		f := []float64{1e9}
		var chain []Reflector
		var parts []Network
		for range 2 + r.IntN(3) {
			n := New(2, f, 50)
			for {
				rho, through := 0.4*r.Float64(), 0.9*r.Float64()
				n.S = []complex128{cmplx.Rect(rho, 7*r.Float64()), 0, 0, cmplx.Rect(rho, 7*r.Float64())}
				n.S[1] = cmplx.Rect(through, 7*r.Float64())
				n.S[2] = n.S[1]
				if n.Passivity().Value <= 1 {
					chain = append(chain, Reflector{Magnitude: rho, Loss: -math.Log(through)})
					break
				}
			}
			parts = append(parts, n)
		}
		drawn := cmplx.Abs(must(Cascade(parts...)).S[0])
		if bound := WorstPassive(chain); !(drawn <= bound+1e-14) {
			t.Errorf("%v: drawn %.15g, bound %.15g", chain, drawn, bound)
		}
		if sum := Worst(chain); drawn > sum {
			exceeded++
			most = max(most, drawn-sum)
		}
		if WorstPassive(chain) < math.Min(Worst(chain), 1) {
			t.Errorf("%v: the bound %g is below the sum %g", chain, WorstPassive(chain), Worst(chain))
		}
	}
	if exceeded == 0 {
		t.Error("the sum was never exceeded: say so in Worst")
	}
	t.Logf("the sum was exceeded in %d of 5000 draws, by %.3f at most", exceeded, most)
	if a, b := WorstPassive(reflectors(0.1, 0.1, 0.1)), Worst(reflectors(0.1, 0.1, 0.1)); !(a > b && a < 1.03*b) {
		t.Errorf("three of 20 dB: bound %g, sum %g", a, b)
	}
}

// Worst and best are attained: by phases, all in step and all against it.
func TestBoundsAreAttained(t *testing.T) {
	for _, c := range []struct {
		chain []Reflector
		best  float64
	}{
		{reflectors(0.2, 0.1), (0.2 - 0.1) / (1 - 0.02)},
		{reflectors(0.1, 0.2), (0.2 - 0.1) / (1 - 0.02)},
		{reflectors(0.1, 0.1), 0},
		{reflectors(0.3, 0.1, 0.1), 0}, // filled below
		{reflectors(0.1, 0.15, 0.1), 0},
	} {
		if len(c.chain) == 3 && c.chain[0].Magnitude == 0.3 {
			behind := WorstExact(c.chain[1:])
			c.best = (0.3 - behind) / (1 - 0.3*behind)
		}
		if got := Best(c.chain); !(math.Abs(got-c.best) <= 1e-15) {
			t.Errorf("%v: best %g, want %g", c.chain, got, c.best)
		}
		l, err := Study{Draws: 40000, Seed: 1}.Run(c.chain)
		if err != nil {
			t.Fatal(err)
		}
		if top := l.Draws[len(l.Draws)-1]; !(WorstExact(c.chain)-top <= 1e-3) {
			t.Errorf("%v: worst %g, greatest of many draws only %g", c.chain, WorstExact(c.chain), top)
		}
		if low := l.Draws[0]; !(low-c.best <= 4e-3) {
			t.Errorf("%v: best %g, least of many draws %g", c.chain, c.best, low)
		}
	}
}

// The study's draws stay below the bounds, repeat with the seed, and differ with it.
func TestStudy(t *testing.T) {
	chain := []Reflector{{0.1, 0.05, [2]float64{50e-12, 100e-12}}, {0.2, 0.1, [2]float64{1e-10, 1e-9}}, {Magnitude: 0.15}}
	for _, s := range []Study{{Draws: 2000}, {Draws: 2000, FirstOrder: true}, {Draws: 200, Start: 20e9, Stop: 40e9}, {Draws: 200, Start: 20e9, Stop: 40e9, FirstOrder: true}} {
		l, err := s.Run(chain)
		if err != nil {
			t.Fatal(err)
		}
		bound := WorstExact(chain)
		if s.FirstOrder {
			bound = Worst(chain)
		}
		if top := l.Draws[len(l.Draws)-1]; !(top <= bound+1e-13) {
			t.Errorf("%+v: a draw of %.15g is above the bound %.15g", s, top, bound)
		}
		if !(l.Low <= l.Value && l.Value <= l.High && l.Draws[0] <= l.Mean) {
			t.Errorf("%+v: %v between %g and %g, mean %g", s, l, l.Low, l.High, l.Mean)
		}
		again, _ := s.Run(chain)
		s.Seed++
		other, _ := s.Run(chain)
		if again.Value != l.Value || other.Value == l.Value {
			t.Errorf("%+v: %g, again %g, another seed %g", s, l.Value, again.Value, other.Value)
		}
	}
	// Two reflectors, first order: |ρ1 + ρ2 e^{jθ}| has a distribution in closed
	// form, its p-quantile is at θ = π(1−p).
	l, err := Study{Draws: 100000, FirstOrder: true, Seed: 3}.Run(reflectors(0.1, 0.2))
	if err != nil {
		t.Fatal(err)
	}
	want := cmplx.Abs(0.1 + cmplx.Rect(0.2, math.Pi*0.05))
	if !(l.Low <= want && want <= l.High) {
		t.Errorf("95 %% of two reflectors: between %g and %g, want %g", l.Low, l.High, want)
	}
}

// A long swept draw by the recurrence against fresh sines at every frequency, as a cascade of two-ports.
func TestStudyAgainstCascade(t *testing.T) {
	// Fixed delays and one reflector pair: the greatest over a sweep of many
	// periods is the sum or the product form.
	chain := []Reflector{{0.2, 0, [2]float64{1e-9, 1e-9}}, {Magnitude: 0.3}}
	l, err := Study{Draws: 50, Start: 1e9, Stop: 60e9}.Run(chain)
	if err != nil {
		t.Fatal(err)
	}
	// Steps of an eighth of a period miss the top by π/8 at most.
	least := cmplx.Abs((0.2 + cmplx.Rect(0.3, math.Pi/8)) / (1 + cmplx.Rect(0.06, math.Pi/8)))
	if !(l.Draws[0] >= least-1e-12 && l.Draws[49] <= WorstExact(chain)+1e-12) {
		t.Errorf("draws from %g to %g, want %g to %g", l.Draws[0], l.Draws[49], least, WorstExact(chain))
	}
}

// Six reflectors of 0.1, first order. The single-frequency quantiles have an
// independent route: the sum of six phasors has the distribution of Kluyver's
// random walk, P(r) = r ∫ J1(rt) J0(t)^6 dt [kluyver1905]. The greatest over a
// sweep depends on how far apart the reflectors are drawn.
func TestSixReflectors(t *testing.T) {
	chain := reflectors(0.1, 0.1, 0.1, 0.1, 0.1, 0.1)
	kluyver := func(r float64) float64 {
		const h, end = 0.005, 400.0
		sum := 0.0
		for t := h / 2; t < end; t += h {
			sum += math.J1(r*t) * math.Pow(math.J0(t), 6) * h
		}
		return r * sum
	}
	for _, c := range []struct{ percentile, printed float64 }{{0.95, 0.41}, {0.99, 0.50}} {
		low, high := 0.0, 6.0
		for range 40 {
			if mid := (low + high) / 2; kluyver(mid) < c.percentile {
				low = mid
			} else {
				high = mid
			}
		}
		want := low / 10
		l, err := Study{Draws: 100000, Percentile: c.percentile, FirstOrder: true, Seed: 5}.Run(chain)
		if err != nil {
			t.Fatal(err)
		}
		if !(l.Low <= want && want <= l.High) {
			t.Errorf("%g %%: %g, between %g and %g; the integral gives %.5f", 100*c.percentile, l.Value, l.Low, l.High, want)
		}
		refcheck.Record(t, fmt.Sprintf("six reflectors of 0.1, %.0f %%", 100*c.percentile), "reflection_magnitude",
			"Kluyver's random walk integral [kluyver1905], evaluated in the test", want, l.Value, 0.003)
		t.Logf("%g %%: %.4f, Kluyver %.4f, the trade's figure %.2f", 100*c.percentile, l.Value, want, c.printed)
		if !(math.Abs(want-c.printed) <= 0.0051) {
			t.Errorf("%g %%: the trade's %.2f, the integral %.4f", 100*c.percentile, c.printed, want)
		}
	}
	if rss := RSS(chain); !(math.Abs(rss-0.245) <= 5e-4) {
		t.Errorf("RSS %g, want 0.245", rss)
	}
	if w := Worst(chain); !(math.Abs(w-0.6) <= 1e-15) {
		t.Errorf("worst %g, want 0.6", w)
	}
	// Swept 20 to 40 GHz. The trade's "0.54, 90 % of the worst case" does not
	// state its spacings: the mean is 0.52 for spacings of 10 to 100 mm of air,
	// 0.55 for 10 to 300 mm.
	for _, c := range []struct{ greatest, low, high float64 }{{333e-12, 0.50, 0.54}, {1e-9, 0.53, 0.56}} {
		for i := range chain {
			chain[i].Delay = [2]float64{33e-12, c.greatest}
		}
		for _, first := range []bool{true, false} {
			l, err := Study{Draws: 200, FirstOrder: first, Start: 20e9, Stop: 40e9, Seed: 6}.Run(chain)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("swept, spacings to %g ps, first order %v: mean %.3f, 95 %% %.3f, %d points", c.greatest*1e12, first, l.Mean, l.Value, l.Points)
			if first && !(l.Mean >= c.low && l.Mean <= c.high) {
				t.Errorf("swept, spacings to %g ps: mean %.3f, want %g to %g", c.greatest*1e12, l.Mean, c.low, c.high)
			}
		}
	}
}

// Three combinations of VSWRs as the trade prints them (two decimals): RSS, sum,
// and the product rule of [ragan1948].
func TestVSWRCombinations(t *testing.T) {
	for _, c := range []struct {
		vswr              []float64
		rss, sum, product float64 // as printed, two decimals
	}{
		{[]float64{1.25, 1.25}, 1.37, 1.57, 1.56},
		{[]float64{1.15, 1.25, 1.35}, 1.50, 1.98, 1.94},
		{[]float64{1.2, 1.2, 1.2, 1.2}, 1.44, 2.14, 2.07},
	} {
		var chain []Reflector
		for _, s := range c.vswr {
			chain = append(chain, Reflector{Magnitude: FromVSWR(s)})
		}
		for _, g := range []struct {
			name      string
			got, want float64
		}{{"RSS", VSWR(RSS(chain)), c.rss}, {"sum", VSWR(Worst(chain)), c.sum}, {"product", VSWR(WorstExact(chain)), c.product}} {
			if !(math.Abs(g.got-g.want) <= 0.0051) {
				t.Errorf("%v: %s %.4f, printed %.2f", c.vswr, g.name, g.got, g.want)
			}
		}
	}
}

// Ripple of two reflections against a cascade swept through all phases.
func TestRipple(t *testing.T) {
	r := seeded(t, 72)
	for range 20 {
		rho1, rho2, loss := 0.4*r.Float64(), 0.4*r.Float64(), 0.2*r.Float64()
		want := NewRipple(rho1, rho2, loss)
		high, low, turn := 0.0, math.Inf(1), 0.0
		f := []float64{1e9}
		part := func(rho float64) Network {
			n := New(2, f, 50)
			through := complex(math.Sqrt(1-rho*rho), 0)
			n.S = []complex128{complex(rho, 0), through, through, complex(-rho, 0)}
			return n
		}
		alone := math.Sqrt((1-rho1*rho1)*(1-rho2*rho2)) * math.Exp(-loss)
		for k := range 3600 {
			theta := math.Pi * float64(k) / 3600
			line := Line(f, 50, func(float64) (complex128, complex128) { return complex(loss, theta), 50 })
			s := must(Cascade(part(rho1), line, part(rho2))).At(0, 1, 0) * cmplx.Rect(1, theta)
			high, low = max(high, cmplx.Abs(s)), min(low, cmplx.Abs(s))
			turn = max(turn, math.Abs(cmplx.Phase(s)))
		}
		if d := 20*math.Log10(high/alone) - want.High; !(math.Abs(d) <= 1e-6) {
			t.Errorf("ripple high off by %g dB", d)
		}
		if d := 20*math.Log10(low/alone) - want.Low; !(math.Abs(d) <= 1e-6) {
			t.Errorf("ripple low off by %g dB", d)
		}
		if d := turn - want.Phase; !(math.Abs(d) <= 1e-5) {
			t.Errorf("ripple of phase off by %g", d)
		}
	}
	deg := 180 / math.Pi
	a := NewRipple(0.1, 0.1, 0)
	b := NewRipple(FromReturnLoss(15), FromReturnLoss(15), 0)
	for _, c := range []struct {
		what            string
		got, want, half float64
	}{
		{"20 dB and 20 dB, dB", a.High, 0.087, 5e-4}, {"20 dB and 20 dB, deg", a.Phase * deg, 0.57, 5e-3},
		{"15 dB and 15 dB, dB p-p", b.PeakToPeak(), 0.55, 5e-3}, {"15 dB and 15 dB, deg", b.Phase * deg, 1.8, 0.05},
		{"period of 1 m at 0.70, MHz", RipplePeriod(1/(0.70*299792458)) / 1e6, 105, 0.5},
		{"period of 1 m at 0.83, MHz", RipplePeriod(1/(0.83*299792458)) / 1e6, 124, 0.5},
		{"return loss of 51 Ω", ReturnLoss(cmplx.Abs(Reflection(51, 50))), 40, 0.5},
		{"return loss of 52 Ω", ReturnLoss(cmplx.Abs(Reflection(52, 50))), 34, 0.5},
		{"return loss of 55 Ω", ReturnLoss(cmplx.Abs(Reflection(55, 50))), 26, 0.5},
		{"20 dB read with directivity 34 dB, high", 20 + first(DirectivityError(0.1, FromReturnLoss(34))), 21.9, 0.1},
		{"26 dB read with directivity 34 dB, high", 26 + first(DirectivityError(FromReturnLoss(26), FromReturnLoss(34))), 30.4, 0.1},
	} {
		if !(math.Abs(c.got-c.want) <= c.half) {
			t.Errorf("%s: %.4f, want %.4g", c.what, c.got, c.want)
		}
	}
}

func first(a, _ float64) float64 { return a }

func ExampleWorst() {
	// A cable assembly: connectors of 20 dB either end of 1.5 dB of cable.
	chain := []Reflector{{Magnitude: FromReturnLoss(20), Loss: 1.5 / 8.685889638}, {Magnitude: FromReturnLoss(20)}}
	likely, err := Study{}.Run(chain)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("return loss: best %.1f dB, likely %.1f dB, worst %.1f dB (RSS %.1f dB, no bound)\n",
		ReturnLoss(Best(chain)), ReturnLoss(likely.Value), ReturnLoss(Worst(chain)), ReturnLoss(RSS(chain)))
	// Output: return loss: best 30.6 dB, likely 15.4 dB, worst 15.4 dB (RSS 18.2 dB, no bound)
}
