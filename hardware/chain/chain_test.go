package chain

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"linewright/hardware/part"
	"linewright/physics/network"
	"linewright/physics/units"
)

func ptr[T any](x T) *T { return &x }

func connector(id string, vswr float64, k string) Connector {
	return Connector{Common: part.Common{ID: id}, Kind: "cable connector",
		Loss:       part.Loss{K: ptr(units.Must[units.RootLevel](k)), Temperature: ptr(units.Celsius(25))},
		Reflection: part.Reflection{VSWR: &vswr}}
}

func cable(k1, k2 string, vf float64, length units.Length) Cable {
	return Cable{Part: part.Cable{Common: part.Common{ID: "cable"}, VelocityFactor: &vf, Loss: part.Attenuation{
		K1: ptr(units.Must[units.RootAttenuation](k1)), K2: ptr(units.Must[units.LinAttenuation](k2)), Temperature: ptr(units.Celsius(25))}}, Length: length}
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6g, want %g ± %g", what, got, want, tol)
	}
}

func vswr(rho float64) float64 { return (1 + rho) / (1 - rho) }

// The bench jumper of the demo enquiries: 1.2 m to 18 GHz, two connectors of
// VSWR 1.15, a cable of 1.10. Values worked out independently in the trade's
// notes, D1.
func TestBenchJumper(t *testing.T) {
	c := cable("0.30 dB/(m·sqrt(GHz))", "0.008 dB/(m·GHz)", 0.83, 1.2)
	c.Part.Reflection.VSWR = ptr(1.10)
	k := connector("K", 1.15, "0.03 dB/sqrt(GHz)")
	jumper := Chain{Name: "jumper", Elements: []Element{k, c, k}}
	for _, at := range []struct{ celsius, loss float64 }{{25, 1.955}, {40, 2.005}} {
		p, err := jumper.Predict(context.Background(), []float64{18e9}, Conditions{units.Celsius(at.celsius)}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "loss at 18 GHz", p.Loss[0], at.loss, 0.01)
	}
	p, err := jumper.Predict(context.Background(), []float64{0.5e9, 18e9}, Conditions{units.Celsius(25)}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "worst VSWR", vswr(p.Left.Worst[1]), 1.39, 0.02)
	near(t, "RSS VSWR", vswr(p.Left.RSS[1]), 1.21, 0.02)
	lossless := []network.Reflector{{Magnitude: 0.15 / 2.15}, {Magnitude: 0.10 / 2.10}, {Magnitude: 0.15 / 2.15}}
	near(t, "lossless worst VSWR", vswr(network.WorstExact(lossless)), 1.46, 0.02)
	if averaged := (1.15 + 1.10 + 1.15) / 3; !(vswr(p.Left.Worst[1]) > averaged+0.2) {
		t.Errorf("the worst VSWR is near the average %.2f, which bounds nothing", averaged)
	}
	if l := p.Left; !(l.Swept.Value <= l.Worst[l.AtWorst] && l.Swept.Value > l.RSS[1]) {
		t.Errorf("swept 95 %% %.4f should lie between RSS %.4f and worst %.4f", l.Swept.Value, l.RSS[1], l.Worst[1])
	}
	near(t, "delay", p.Delay, 1.2/(0.83*299792458), 1e-15)
}

// Two launches of 15 dB with 0.6 dB between them: the ledger says 9.6 dB, not
// 15. Trade's notes, D2.
func TestTwoLaunches(t *testing.T) {
	launch := func(name string) Fixed {
		return Fixed{About: Facts{Name: name}, Reflection: part.Reflection{ReturnLoss: ptr(units.Level(15))}, Delay: 0}
	}
	trace := Trace{Length: 40e-3, Loss: 0.6, LossAt: 40e9, EffectivePermittivity: 2.3}
	c := Chain{Name: "board", Elements: []Element{launch("near"), trace, launch("far")}}
	p, err := c.Predict(context.Background(), []float64{24.25e9, 40e9}, Conditions{units.Celsius(25)}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "worst return loss", network.ReturnLoss(p.Left.Worst[1]), 9.6, 0.05)
	near(t, "RSS return loss", network.ReturnLoss(p.Left.RSS[1]), 12.55, 0.005) // printed 12.6: 10^(-0.75) and its echo give 12.548
	near(t, "ripple", p.Ripple.PeakToPeak, 0.48, 0.005)
	near(t, "ripple period", p.Ripple.Period, 2.47e9, 0.005e9)
}

// The return loss of one air gap: table F32 of the trade's notes, printed to
// whole decibels.
func TestGap(t *testing.T) {
	for _, c := range []struct{ mm, z, ghz, rl float64 }{
		{0.05, 60, 28, 45}, {0.1, 60, 40, 36}, {0.2, 60, 67, 26}, {0.3, 70, 28, 24}, {0.5, 70, 40, 17}, {0.5, 70, 67, 13}, {0.1, 80, 28, 31}, {0.3, 80, 40, 18}, {0.5, 80, 67, 10},
		{0.55, 70, 31, 18.5},
	} {
		g := Gap{Opening: units.Length(c.mm * 1e-3), Impedance: units.Resistance(c.z)}
		r, err := g.Respond([]float64{c.ghz * 1e9}, Conditions{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "gap", network.ReturnLoss(r.Left[0]), c.rl, 0.5)
	}
}

// The copper factor against 25 °C, table F7 of the trade's notes.
func TestTemperatureFactor(t *testing.T) {
	for celsius, want := range map[float64]float64{-55: 0.832, -40: 0.866, 70: 1.083, 85: 1.110, 105: 1.144, 125: 1.177, 150: 1.217} {
		near(t, "factor", part.TemperatureFactor(units.Celsius(celsius), units.Celsius(25)), want, 0.0005)
	}
}

// Chains of random parts: the bounds keep their order, a longer cable or a
// hotter one loses more, and one more lossy, reflecting part makes nothing
// better that a bound shows.
func TestLedgerOrders(t *testing.T) {
	const seed = 7
	r := rand.New(rand.NewPCG(seed, 1))
	for n := range 60 {
		var c Chain
		c.Name = "random"
		c.Elements = append(c.Elements, connector("a", 1+0.5*r.Float64(), "0.03 dB/sqrt(GHz)"))
		for range r.IntN(3) {
			x := cable("0.5 dB/(m·sqrt(GHz))", "0.01 dB/(m·GHz)", 0.8, units.Length(0.05+r.Float64()))
			x.Part.Reflection.VSWR = ptr(1 + 0.2*r.Float64())
			c.Elements = append(c.Elements, x, connector("b", 1+0.5*r.Float64(), "0.03 dB/sqrt(GHz)"))
		}
		f := []float64{5e9, 20e9, 40e9}
		p, err := c.Predict(context.Background(), f, Conditions{units.Celsius(25)}, Options{Draws: 200, Seed: seed})
		if err != nil {
			t.Fatal(err)
		}
		for i := range f {
			l := p.Left
			if !(l.Worst[i] >= l.Exact[i]-1e-15 && l.Exact[i] >= l.Likely[i]-1e-12 && l.Likely[i] >= l.Best[i]-1e-12 && l.Worst[i] >= l.RSS[i]-1e-15) {
				t.Errorf("seed %d, chain %d, %g Hz: worst %g, exact %g, likely %g, RSS %g, best %g", seed, n, f[i], l.Worst[i], l.Exact[i], l.Likely[i], l.RSS[i], l.Best[i])
			}
		}
		if !(p.Left.Swept.Value <= p.Left.Worst[p.Left.AtWorst]) {
			t.Errorf("chain %d: swept %g above worst", n, p.Left.Swept.Value)
		}
		hot, err := c.Predict(context.Background(), f, Conditions{units.Celsius(85)}, Options{Draws: -1})
		if err != nil {
			t.Fatal(err)
		}
		longer := c
		longer.Elements = append(append([]Element{}, c.Elements...), cable("0.5 dB/(m·sqrt(GHz))", "0 dB/(m·GHz)", 0.8, 0.1), connector("c", 1.2, "0.03 dB/sqrt(GHz)"))
		q, err := longer.Predict(context.Background(), f, Conditions{units.Celsius(25)}, Options{Draws: -1})
		if err != nil {
			t.Fatal(err)
		}
		for i := range f {
			if !(hot.Loss[i] > p.Loss[i] && q.Loss[i] > p.Loss[i] && q.Left.Worst[i] > p.Left.Worst[i]) {
				t.Errorf("chain %d: hotter or longer came out better", n)
			}
		}
	}
}

// Where every phase is known the nominal reflection lies under the worst case.
func TestNominalUnderWorst(t *testing.T) {
	g := Gap{Opening: 0.3e-3, Impedance: 70}
	h := Gap{Opening: 5e-3, Impedance: 50}
	c := Chain{Name: "gaps", Elements: []Element{g, h, g}}
	f := make([]float64, 200)
	for i := range f {
		f[i] = 1e9 * float64(i+1) / 4
	}
	p, err := c.Predict(context.Background(), f, Conditions{units.Celsius(25)}, Options{Draws: -1})
	if err != nil {
		t.Fatal(err)
	}
	if p.Network == nil {
		t.Fatal("all phases are known, but no network came out")
	}
	for i := range f {
		if !(p.Left.Nominal[i] <= p.Left.Exact[i]+1e-12) {
			t.Errorf("%g Hz: nominal %g above the greatest possible %g", f[i], p.Left.Nominal[i], p.Left.Exact[i])
		}
	}
}
