package assess

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/units"

	"pgregory.net/rapid"
)

// attenuator makes the trial chain's loss all one figure: the cable's at 20 GHz,
// at every temperature, for only K1 follows it.
func attenuator(db, length float64) func(*part.Cable, *part.CableConnector) {
	return func(c *part.Cable, k *part.CableConnector) {
		c.Loss = part.Attenuation{K1: to(units.RootAttenuation(0)), K2: to(units.LinAttenuation(db / length / units.DecibelsPerNeper / 20e9)), Temperature: to(units.Celsius(25)), Statistic: part.Guaranteed}
		k.Loss = part.Loss{K: to(units.RootLevel(0)), Temperature: to(units.Celsius(25)), Statistic: part.Guaranteed}
	}
}

func receiver(kelvin float64) enquiry.Enquiry {
	return enquiry.Enquiry{ID: "receiver", Band: []enquiry.Band{{From: 19.9e9, To: 20e9}}, Application: enquiry.Application{Function: "receive"},
		Environment: enquiry.Environment{MaxTemperature: to(units.Temperature(kelvin))}}
}

// F42 of the trade's notes, after Bedrosian 1960: noise temperatures of 0.5, 1,
// 2 and 3 dB at 290 K and at 85 °C.
func TestNoiseOfLoss(t *testing.T) {
	for _, at := range []struct {
		kelvin float64
		want   [4]float64
	}{{290, [4]float64{35, 75, 170, 289}}, {358.15, [4]float64{44, 93, 209, 356}}} {
		for i, db := range []float64{0.5, 1, 2, 3} {
			r := trial(t, receiver(at.kelvin), 0.3, attenuator(db, 0.3))
			within(t, fmt.Sprintf("%g dB at %g K", db, at.kelvin), float64(r.Noise.Worst.Chain), at.want[i], 0.9)
			if at.kelvin == 290 { // dB for dB at the standard temperature: exact
				within(t, fmt.Sprintf("figure of %g dB", db), float64(r.Noise.Worst.Figure), db, 1e-9)
			}
		}
	}
}

func TestNoiseMargin(t *testing.T) {
	e := receiver(358.15)
	e.Noise = &enquiry.Noise{AtMost: to(units.Difference(400)), NextStage: to(units.Difference(100))}
	r := trial(t, e, 0.3, attenuator(1, 0.3))
	m := marginOf(t, r, "noise temperature")
	l := math.Pow(10, 0.1)
	within(t, "cascade, K", m.Worst, (l-1)*358.15+l*100, 1e-6)
	if m.Verdict != Meets {
		t.Errorf("%v: %s", m.Verdict, m.Why)
	}
	e.Noise.AtMost = to(units.Difference(200))
	r = trial(t, e, 0.3, attenuator(1, 0.3))
	if m := marginOf(t, r, "noise temperature"); m.Verdict != Fails {
		t.Errorf("%v: %s", m.Verdict, m.Why)
	}
	// L ≤ (200 + 358.15)/(358.15 + 100): 0.857 dB, of 1 dB in 300 mm: 257 mm.
	amplifier, shorter := false, false
	for _, w := range r.Ways {
		amplifier = amplifier || strings.Contains(w.Title, "amplifier at the port")
		shorter = shorter || w.Title == "shorten the cable to 257 mm"
	}
	if !amplifier || !shorter {
		t.Errorf("ways: %v", r.Ways)
	}
	e.Noise.NextStage = nil
	r = trial(t, e, 0.3, attenuator(1, 0.3))
	if m := marginOf(t, r, "noise temperature"); m.Verdict != NotAssessed || !asks(r, "noise.next_stage") {
		t.Errorf("without the next stage: %v", m.Verdict)
	}
	e.Noise.AtMost = to(units.Difference(50))
	if m := marginOf(t, trial(t, e, 0.3, attenuator(1, 0.3)), "noise temperature"); m.Verdict != Fails {
		t.Errorf("the chain alone is over the limit: %v", m.Verdict)
	}
}

func TestNoiseSilent(t *testing.T) {
	e := receiver(290)
	e.Application.Function = "signal"
	if r := trial(t, e, 0.3, nil); r.Noise != nil || asks(r, "noise.") {
		t.Error("noise is spoken of where nobody receives")
	}
}

// Hotter or longer is noisier.
func TestNoiseMoves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kelvin, length, more := rapid.Float64Range(200, 360).Draw(t, "kelvin"), rapid.Float64Range(0.05, 2).Draw(t, "length"), rapid.Float64Range(1.01, 2).Draw(t, "more")
		run := func(kelvin, length float64) float64 {
			e := receiver(kelvin)
			e.Environment.MinTemperature = to(units.Temperature(150))
			e.Noise = &enquiry.Noise{AtMost: to(units.Difference(300)), NextStage: to(units.Difference(80))}
			return marginOf(t, trial(t, e, length, nil), "noise temperature").Margin
		}
		m := run(kelvin, length)
		if hotter := run(kelvin+10, length); !(hotter < m) {
			t.Fatalf("10 K hotter: margin %g K after %g K", hotter, m)
		}
		if longer := run(kelvin, length*more); !(longer < m) {
			t.Fatalf("%g times as long: margin %g K after %g K", more, longer, m)
		}
	})
}
