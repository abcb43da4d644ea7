package view

import (
	"math"
	"strings"
	"testing"

	"linewright/hardware/chain"
	"linewright/physics/line"
	"linewright/physics/units"
)

func predicted(t *testing.T, top float64, es ...chain.Element) (chain.Built, chain.Prediction) {
	t.Helper()
	b := chain.Built{Chain: chain.Chain{Name: "a test's chain", Elements: es}}
	var f []float64
	for i := range 21 {
		f = append(f, top*(0.6+0.02*float64(i)))
	}
	p, err := b.Predict(t.Context(), f, chain.Conditions{Temperature: units.Celsius(25)}, chain.Options{Draws: -1})
	if err != nil {
		t.Fatal(err)
	}
	return b, p
}

// Uniform lines in a row show their own impedances, wherever the edge has come
// past its rise; the time to the middle of each is its length over the speed of
// light. The band of the prediction starts at 24 GHz: the trace needs a sweep of
// its own.
func TestProfileOfLines(t *testing.T) {
	lines := []chain.Gap{{Opening: 30e-3, Impedance: 70}, {Opening: 20e-3, Impedance: 40}, {Opening: 25e-3, Impedance: 50}}
	var es []chain.Element
	for _, g := range lines {
		es = append(es, g)
	}
	b, p := predicted(t, 40e9, es...)
	pf := newProfile(b, p)
	if len(pf.Traced) != 1 || len(pf.Bounds) != 0 || !strings.HasPrefix(pf.Says, "every phase is known") {
		t.Fatalf("%+v", pf)
	}
	tr := pf.Traced[0]
	if tr.From != 0 || tr.To != 2 || !(tr.RiseS > 1/(8*tr.TopHz) && tr.RiseS < 1/tr.TopHz) {
		t.Errorf("elements %d to %d, rise %v s", tr.From, tr.To, tr.RiseS)
	}
	at, seen := 0.0, 0
	for k, g := range lines {
		d := float64(g.Opening) / line.C0
		for i, x := range tr.PositionS {
			if x < at+tr.RiseS || x > at+d-tr.RiseS {
				continue
			}
			seen++
			// TestProfileOfSteppedLines of physics/timedomain: third order of
			// the largest step, here |ρ| = 30/110.
			if z := float64(g.Impedance); !(math.Abs(tr.ImpedanceOhm[i]/z-1) <= 0.5*math.Pow(30./110, 3)) || tr.Element[i] != k {
				t.Errorf("%.1f ps: %.2f ohm in element %d, want %v ohm in %d", x*1e12, tr.ImpedanceOhm[i], tr.Element[i], z, k)
			}
		}
		at += d
	}
	if seen < 20 {
		t.Errorf("only %d points lie clear of the steps", seen)
	}
}

// A piece that a datasheet bounds is not traced: a VSWR of 1.3 is a step to
// 50·1.3 = 65 Ω or to 50/1.3 Ω. What lies on both sides of it is, each by itself.
func TestProfileBounds(t *testing.T) {
	bound := chain.Fixed{About: chain.Facts{Name: "a launch"}, Delay: math.NaN()}
	bound.Reflection.VSWR = new(float64)
	*bound.Reflection.VSWR = 1.3
	b, p := predicted(t, 20e9, chain.Gap{Opening: 30e-3, Impedance: 60}, bound, chain.Gap{Opening: 30e-3, Impedance: 45})
	pf := newProfile(b, p)
	if len(pf.Traced) != 2 || len(pf.Bounds) != 1 || !strings.HasPrefix(pf.Says, "2 of 3 pieces") {
		t.Fatalf("%+v", pf)
	}
	if x := pf.Bounds[0]; x.Element != 1 || !(math.Abs(x.HighOhm-65) <= 1e-9) || !(math.Abs(x.LowOhm-50/1.3) <= 1e-9) {
		t.Errorf("%+v", x)
	}
	if a, z := pf.Traced[0], pf.Traced[1]; a.To != 0 || z.From != 2 || !(math.Abs(mid(z)-45) <= 0.5) || !(math.Abs(mid(a)-60) <= 0.5) {
		t.Errorf("%v and %v ohm", mid(pf.Traced[0]), mid(pf.Traced[1]))
	}
}

// A piece too short to be told apart is still drawn from its beginning to its end.
func TestProfileOfAShortPiece(t *testing.T) {
	b, p := predicted(t, 31e9, chain.Gap{Opening: 0.55e-3, Impedance: 70})
	tr := newProfile(b, p).Traced[0]
	begins, ends := false, false
	for i, x := range tr.PositionS {
		begins, ends = begins || x == 0, ends || math.Abs(x-0.55e-3/line.C0) < 1e-18
		if z := tr.ImpedanceOhm[i]; !(z > 49 && z < 70) {
			t.Errorf("%v ohm at %v s", z, x)
		}
	}
	if !begins || !ends {
		t.Errorf("%v", tr.PositionS)
	}
}

func mid(x TracedProfile) float64 { return x.ImpedanceOhm[len(x.ImpedanceOhm)/2] }
