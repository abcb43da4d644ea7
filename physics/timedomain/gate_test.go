package timedomain_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	td "linewright/physics/timedomain"
)

// two returns a sweep of two reflections.
func two(f []float64, a, ta, b, tb float64) []complex128 {
	s := make([]complex128, len(f))
	for k, x := range f {
		s[k] = complex(a, 0)*cis(-2*math.Pi*x*ta) + complex(b, 0)*cis(-2*math.Pi*x*tb)
	}
	return s
}

// A single reflection in the middle of the gate passes untouched, ends of the sweep and
// all; without the correction its ends fall by 6 dB. Outside the gate it vanishes
// within Bound.
func TestGateOne(t *testing.T) {
	f := sweep(50e6, 800)
	g := td.Gate{Start: 0.7e-9, Stop: 1.3e-9}
	s := two(f, 0.4, 1e-9, 0, 0)
	r, err := g.Apply(f, s)
	if err != nil {
		t.Fatal(err)
	}
	g.Raw = true
	raw, _ := g.Apply(f, s)
	g.Raw, g.Reject = false, true
	rejected, _ := g.Apply(f, s)
	for k := range f {
		if !(cmplx.Abs(r.Value[k]-s[k]) <= 1e-12) || !(cmplx.Abs(rejected.Value[k]) <= 1e-12) {
			t.Fatalf("at %g GHz: %v became %v, rejected leaves %v", f[k]/1e9, s[k], r.Value[k], rejected.Value[k])
		}
	}
	// half of G's sum and half its middle term remain at the end
	if end := cmplx.Abs(raw.Value[0]) / 0.4; !(math.Abs(end-0.5) <= 0.02) {
		t.Errorf("uncorrected, the end falls to %.3f, want one half", end)
	}
	away, _ := td.Gate{Start: 3e-9, Stop: 4e-9}.Apply(f, s)
	for k := range f {
		if !(cmplx.Abs(away.Value[k]) <= away.Bound[k]) {
			t.Errorf("at %g GHz a gate elsewhere passes %.3g, bound %.3g", f[k]/1e9, cmplx.Abs(away.Value[k]), away.Bound[k])
		}
	}
	if mid := cmplx.Abs(away.Value[400]); !(mid <= 1e-4) {
		t.Errorf("mid band a gate elsewhere passes %.3g", mid)
	}
}

// The gated sweep is what an endless sweep through the gate would give, within Bound:
// for reflections anywhere, with gates anywhere, an endless sweep passes each times
// Gate.At of its time (times within a period). And gate and its rejection add up to S.
func TestGateBound(t *testing.T) {
	const seed = 12
	r := rand.New(rand.NewPCG(seed, 0))
	f := sweep(50e6, 400)
	for trial := range 60 {
		a, ta, b, tb := 0.5*r.Float64(), 8e-9*r.Float64(), 0.5*r.Float64(), 8e-9*r.Float64()
		g := td.Gate{Start: 6e-9 * r.Float64()}
		g.Stop = g.Start + 0.2e-9 + 2e-9*r.Float64()
		g.Edge = (g.Stop - g.Start) * (0.1 + 0.9*r.Float64())
		g.Raw = trial%2 == 1
		s := two(f, a, ta, b, tb)
		got, err := g.Apply(f, s)
		if err != nil {
			t.Fatal(err)
		}
		endless := two(f, a*g.At(ta), ta, b*g.At(tb), tb)
		g.Reject = true
		rest, _ := g.Apply(f, s)
		for k := range f {
			if d := cmplx.Abs(got.Value[k] - endless[k]); !(d <= got.Bound[k]+1e-12) {
				t.Fatalf("seed %d trial %d: at %g GHz off by %.3g, bound %.3g", seed, trial, f[k]/1e9, d, got.Bound[k])
			}
			if !(cmplx.Abs(got.Value[k]+rest.Value[k]-s[k]) <= 1e-12) {
				t.Fatalf("seed %d trial %d: kept and rejected do not add up", seed, trial)
			}
		}
		if !(got.Bound[0] > 4*got.Bound[200]) && !g.Raw {
			t.Errorf("seed %d trial %d: bound %.3g at the end, %.3g in the middle", seed, trial, got.Bound[0], got.Bound[200])
		}
	}
}

// The second step of a line, gated out of a low-pass sweep: masked by the first, it
// shows ρ₂(1−ρ₁²), not ρ₂; and 0 Hz has no end of the sweep to fear.
func TestGateMasking(t *testing.T) {
	l := td.SteppedLine{Reference: 50, Load: 50, Sections: []td.Section{{80, 1e-9}}}
	s := spectrum(t, cascade(t, sweep(50e6, 400), l, td.Loss{}), td.DC{})
	g, bound, err := s.Gate(td.Gate{Start: 1.3e-9, Stop: 2.7e-9})
	if err != nil {
		t.Fatal(err)
	}
	rho := 30. / 130
	for k := 0; k < 300; k++ {
		if got, want := cmplx.Abs(g.S[k]), rho*(1-rho*rho); !(math.Abs(got-want) <= 0.01*want) {
			t.Fatalf("harmonic %d: gated second step %.5f, want ρ(1−ρ²) = %.5f", k, got, want)
		}
	}
	if !(bound[0] < bound[len(bound)-1]/10) || imag(g.S[0]) != 0 {
		t.Errorf("bound %g at 0 Hz, %g at the end; S(0) = %v", bound[0], bound[len(bound)-1], g.S[0])
	}
}
