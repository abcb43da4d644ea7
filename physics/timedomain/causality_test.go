package timedomain_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/physics/network"
	td "linewright/physics/timedomain"
)

// grid returns 0, step ... as frequencies.
func grid(step float64, last int) []float64 { return append([]float64{0}, sweep(step, last)...) }

// Causal responses pass: random stepped lines without and with loss, poles, lumps,
// all-passes with delay, none of which ends with the sweep.
func TestCausalPass(t *testing.T) {
	const seed = 3
	r := rand.New(rand.NewPCG(seed, 0))
	f := grid(10e6, 4000)
	judge := func(name string, s []complex128, o td.CausalityOptions) {
		t.Helper()
		c, err := (td.Spectrum{Step: 10e6, S: s}).Causality(o)
		if err != nil {
			t.Fatal(err)
		}
		if excess, at := c.Excess(); !(excess <= 0) {
			t.Errorf("seed %d %s: %.3g above the errors at %g GHz", seed, name, excess, at/1e9)
		}
		// And the test has teeth: in the inner third of the band, but for a few
		// subtraction points, what lies beyond the sweep can hide 0.5 % at most.
		inner, blunt := 0, 0
		for k := range c.Frequency {
			if c.Frequency[k] < 13.3e9 {
				inner++
				if !(c.Truncation[k]+c.Numeric[k] < 5e-3) {
					blunt++
				}
			}
		}
		if inner < 50 || blunt > inner/8 {
			t.Errorf("seed %d %s: %d of %d errors above 0.5 %%", seed, name, blunt, inner)
		}
	}
	for range 6 {
		l := random(r, 5, 7e-12, 12)
		judge("stepped line", cascade(t, f, l, td.Loss{}).Trace(0, 0), td.CausalityOptions{})
		loss := td.Loss{Skin: 1e3 * r.Float64(), Dielectric: 5e-3 * r.Float64(), At: 40e9}
		judge("lossy stepped line", cascade(t, f, l, loss).Trace(0, 0), td.CausalityOptions{})
		line := network.Line(f, 50, loss.Line(48, 300e-12))
		judge("lossy line, through", line.Trace(1, 0), td.CausalityOptions{})
		c := 1e-13 * r.Float64()
		judge("shunt C", network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*c) }).Trace(0, 0), td.CausalityOptions{})
	}
	// A lossless 300 ps line passes with up to its own delay asked for.
	line := network.Line(f, 50, td.Loss{}.Line(48, 300e-12)).Trace(1, 0)
	judge("line, after its delay", line, td.CausalityOptions{Delay: 300e-12})
}

// Responses that begin too early are caught, from a lead of less than 1/2f_max on:
// a pole on the wrong side; S21 of a line asked to be longer than it is; a delay undone; loss whose
// phase was thrown away. All but the first turn the right way and get full marks from the
// initial metric of IEEE 370.
func TestNonCausalCaught(t *testing.T) {
	f := grid(10e6, 4000)
	of := func(s func(f float64) complex128) td.Spectrum {
		x := td.Spectrum{Step: 10e6}
		for _, v := range f {
			x.S = append(x.S, s(v))
		}
		return x
	}
	pole := func(f float64) complex128 { return 1 / complex(1, f/5e9) }
	delayed := func(tau float64) func(f float64) complex128 {
		return func(f float64) complex128 { return pole(f) * cis(-2*math.Pi*f*tau) }
	}
	for _, c := range []struct {
		name  string
		s     td.Spectrum
		o     td.CausalityOptions
		least float64 // the violation must show by so much
	}{
		{"conjugate pole", of(func(f float64) complex128 { return cmplx.Conj(pole(f)) }), td.CausalityOptions{}, 0.1},
		{"pole 10 ps early", of(delayed(-10e-12)), td.CausalityOptions{}, 5e-3},
		{"line 10 ps shorter than asked", of(delayed(290e-12)), td.CausalityOptions{Delay: 300e-12}, 0.02},
		{"loss without its phase", of(func(f float64) complex128 { return complex(math.Exp(-math.Sqrt(f/5e9)), 0) }), td.CausalityOptions{}, 0.02},
	} {
		r, err := c.s.Causality(c.o)
		if err != nil {
			t.Fatal(err)
		}
		if excess, at := r.Excess(); !(excess >= c.least) {
			t.Errorf("%s: excess %.3g at %g GHz, want %g at least", c.name, excess, at/1e9, c.least)
		}
		n := network.New(1, f, 50)
		copy(n.S, c.s.S)
		q, err := n.InitialQuality()
		if err != nil {
			t.Fatal(err)
		}
		if c.name != "conjugate pole" && !(q.Causality >= network.GoodCausality) {
			t.Errorf("%s: initial metric %.1f %%: the case shows nothing new", c.name, q.Causality)
		}
	}
	// What is not seen: 3 ps, a quarter of 1/2f_max, in this band could be mended beyond it.
	r, err := of(delayed(-3e-12)).Causality(td.CausalityOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if excess, _ := r.Excess(); !(excess <= 0) {
		t.Errorf("3 ps early shows by %.3g: the comment understates the test", excess)
	}
}

// The bound is a bound: with the same sweep and any causal continuation of size up to 1
// the difference stays below it. The narrowest case is a band-limited part of
// a wave that turns just beyond the sweep: fast resonances outside, of unit size.
func TestTruncationBounds(t *testing.T) {
	const seed = 4
	r := rand.New(rand.NewPCG(seed, 0))
	for range 40 {
		x := td.Spectrum{Step: 10e6}
		f0, width := 40e9*(1.02+0.3*r.Float64()), 2e8+4e9*r.Float64()
		sign := float64(1 - 2*r.IntN(2))
		for _, f := range grid(10e6, 4000) {
			// a band-pass resonance, magnitude 1 at f0: jωγ/(ω0² − ω² + jωγ)
			x.S = append(x.S, complex(sign, 0)*complex(0, f*width)/complex(f0*f0-f*f, f*width))
		}
		c, err := x.Causality(td.CausalityOptions{Points: 60})
		if err != nil {
			t.Fatal(err)
		}
		if excess, at := c.Excess(); !(excess <= 0) {
			t.Errorf("seed %d: resonance at %g GHz, %g wide: excess %.3g at %g GHz", seed, f0/1e9, width/1e9, excess, at/1e9)
		}
	}
	// and more subtraction points make it smaller in the inner band
	x := td.Spectrum{Step: 10e6, S: make([]complex128, 4001)}
	last := math.Inf(1)
	for _, q := range []int{4, 8, 16} {
		c, err := x.Causality(td.CausalityOptions{Subtraction: q})
		if err != nil {
			t.Fatal(err)
		}
		worst := 0.0
		for k, f := range c.Frequency {
			if f < 20e9 && !math.IsInf(c.Truncation[k], 1) { // but at the points themselves
				worst = math.Max(worst, c.Truncation[k])
			}
		}
		if !(worst < last/2) {
			t.Errorf("%d points: bound %.3g after %.3g", q, worst, last)
		}
		last = worst
	}
}

// A value that is no number is not passed over.
func TestCausalityNaN(t *testing.T) {
	x := td.Spectrum{Step: 10e6, S: make([]complex128, 401)}
	x.S[77] = cmplx.NaN()
	c, err := x.Causality(td.CausalityOptions{})
	if excess, _ := c.Excess(); err == nil && excess <= 0 {
		t.Errorf("data with a NaN pass with excess %g", excess)
	}
}
