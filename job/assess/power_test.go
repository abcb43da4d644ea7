package assess

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/job/enquiry"
	"linewright/physics/thermal"
	"linewright/physics/units"
)

// transmitter asks for 5 W average and 50 W peak at 18 to 28 GHz, with every
// condition stated.
func transmitter() enquiry.Enquiry {
	return enquiry.Enquiry{ID: "transmitter", Band: []enquiry.Band{{From: 18e9, To: 28e9}},
		Power:       &enquiry.Power{Average: to(units.Power(5)), Peak: to(units.Power(50)), LoadVSWR: to(1.5)},
		Environment: enquiry.Environment{MaxTemperature: to(units.Celsius(55)), Altitude: to(units.Length(0))}}
}

// rated gives both parts a rating with all its conditions.
func rated(watts float64) func(*part.Cable, *part.CableConnector) {
	return func(c *part.Cable, k *part.CableConnector) {
		r := []part.PowerRating{{Power: units.Power(watts), At: 28e9, Temperature: to(units.Celsius(25)), Altitude: to(units.Length(0)), VSWR: to(1.0)}}
		c.Power, k.Power = r, r
		c.InnerLimit = to(units.Celsius(200))
		k.MaxTemperature = to(units.Celsius(125))
	}
}

// Ceilings of clean, smooth air lines as the trade's notes print them (F40), at
// the standard atmosphere of sea level, and their fall with the square of the
// pressure at constant temperature.
func TestPeakCeilings(t *testing.T) {
	for _, c := range []struct {
		name    string
		kw, tol float64
	}{{"2.92 mm", 23, 0.6}, {"1.85 mm", 9.4, 0.06}, {"1.0 mm", 2.8, 0.06}} { // the first is 23.5 and printed without its half
		checked := 0
		s, _ := series.Lookup(c.name)
		l, ok := s.Line()
		if !ok {
			t.Fatalf("%s has no dimensions", c.name)
		}
		sea := thermal.Air{Temperature: thermal.SeaTemp, Pressure: thermal.SeaPressure}
		got := breakdown(l, false, sea, 1)
		within(t, c.name+", kW", float64(got.Ceiling)/1e3, c.kw, c.tol)
		for _, a := range []struct{ km, share, tol float64 }{{3, 0.48, 0.005}, {6, 0.22, 0.005}, {10, 0.068, 0.0005}} {
			air, err := thermal.ISA(a.km * 1e3)
			if err != nil {
				t.Fatal(err)
			}
			thin := breakdown(l, false, thermal.Air{Temperature: thermal.SeaTemp, Pressure: air.Pressure}, 1)
			if thin.Law != got.Law {
				continue // Paschen across so thin a gap is another law
			}
			within(t, fmt.Sprintf("%s at %g km", c.name, a.km), float64(thin.Ceiling/got.Ceiling), a.share, a.tol)
			checked++
		}
		if checked == 0 {
			t.Errorf("%s: no altitude checked", c.name)
		}
	}
}

// A filled line is judged where its filling ends: by hand, 2.9 MV/m at the
// 0.511 mm wire in a 1.676 mm bore make 880 V, and 880²/(2·50) = 7.7 kW; a load
// of VSWR 1.5 brings 1.2 times the voltage, and 1/1.44 of the incident power.
func TestPeakOfFilledLine(t *testing.T) {
	c := part.Cable{Core: part.Core{Diameter: to(units.Length(1.676e-3)), InnerDiameter: to(units.Length(0.511e-3)), Permittivity: to(2.03), Dielectric: "solid PTFE"}}
	l, _ := c.CoreLine()
	sea := thermal.Air{Temperature: thermal.SeaTemp, Pressure: thermal.SeaPressure}
	s := breakdown(l, true, sea, 1)
	within(t, "voltage", float64(s.Voltage), 880, 1)
	within(t, "ceiling, kW", float64(s.Ceiling)/1e3, 7.7, 0.1)
	within(t, "VSWR 1.5", float64(breakdown(l, true, sea, 1.5).Ceiling/s.Ceiling), 1/1.44, 1e-9)
}

// Without gas a rating at sea level says nothing about a connector that no
// cable beside it can lend an altitude factor.
func TestVacuumNeedsAModel(t *testing.T) {
	e := transmitter()
	e.Environment.Altitude, e.Environment.Vacuum = nil, to(true)
	m := marginOf(t, trial(t, e, 0.3, func(c *part.Cable, k *part.CableConnector) { rated(20)(c, k); c.OuterDiameter = nil }), "average power")
	if m.Verdict != NotAssessed {
		t.Errorf("%v: %s", m.Verdict, m.Why)
	}
}

// The trade's chain of factors (F39), worked out by hand: 20 W at 28 GHz,
// 25 °C; 55 °C and VSWR 1.5 leave 20·(200−55)/(200−25)/1.5 of the cable and
// 20·(125−55)/(125−25)/1.5 of the connectors.
func TestDeratingChain(t *testing.T) {
	r := trial(t, transmitter(), 0.3, rated(20))
	want := map[string]float64{"K13": 20 * 70.0 / 100 / 1.5, "CA4": 20 * 145.0 / 175 / 1.5}
	if len(r.Power.Average.Rated) != 3 {
		t.Fatalf("%d ratings, want 3", len(r.Power.Average.Rated))
	}
	for _, d := range r.Power.Average.Rated {
		within(t, d.Part, float64(d.Power), want[d.Part], 1e-9)
		product := float64(d.Rated)
		for _, f := range d.Factors {
			product *= f.Value
		}
		within(t, d.Part+", product of the factors shown", product, float64(d.Power), 1e-9)
		if len(d.Factors) != 4 || !d.Whole {
			t.Errorf("%s: factors %v", d.Part, d.Factors)
		}
	}
	// Below the rated frequency less loss allows more: by the ratio of the losses.
	e := transmitter()
	e.Band = []enquiry.Band{{From: 1e9, To: 7e9}}
	for _, d := range trial(t, e, 0.3, rated(20)).Power.Average.Rated {
		if d.Part == "K13" {
			within(t, "connector at a quarter of the frequency", d.Factors[0].Value, 2, 1e-9) // its loss goes as √f
		}
	}
}

func TestPowerVerdicts(t *testing.T) {
	e := transmitter()
	if m := marginOf(t, trial(t, e, 0.3, rated(20)), "average power"); m.Verdict != Meets {
		t.Errorf("rated parts, all conditions stated: %v: %s", m.Verdict, m.Why)
	}
	if m := marginOf(t, trial(t, e, 0.3, rated(5)), "average power"); m.Verdict != Fails {
		t.Errorf("5 W rated, derated to less, against 5 W: %v: %s", m.Verdict, m.Why)
	}
	r := trial(t, e, 0.3, nil)
	if m := marginOf(t, r, "average power"); m.Verdict != AtRisk || !strings.Contains(m.Why, "no rating stated") {
		t.Errorf("no ratings, only a heat balance on assumed layers: %v: %s", m.Verdict, m.Why)
	}
	if m := marginOf(t, r, "peak power"); m.Verdict != AtRisk && m.Verdict != Meets {
		t.Errorf("50 W peak: %v: %s", m.Verdict, m.Why)
	}
	e.Power.Peak = to(units.Power(1e5))
	if m := marginOf(t, trial(t, e, 0.3, nil), "peak power"); m.Verdict != Fails {
		t.Errorf("100 kW through 1.35 mm: %v", m.Verdict)
	}
	e = transmitter()
	e.Environment.Altitude, e.Power.LoadVSWR = nil, nil
	if m := marginOf(t, trial(t, e, 0.3, rated(20)), "average power"); m.Verdict != AtRisk {
		t.Errorf("altitude and load assumed: %v", m.Verdict)
	}
	e = transmitter()
	e.Environment.Vacuum = to(true)
	r = trial(t, e, 0.3, rated(20))
	if m := marginOf(t, r, "peak power"); m.Verdict != NotAssessed || !strings.Contains(m.Why, "ECSS-E-ST-20-01C") {
		t.Errorf("vacuum: %v: %s", m.Verdict, m.Why)
	}
}

// A stub without geometry or rating is not assessed, and asked.
func TestPowerUnknown(t *testing.T) {
	r := trial(t, transmitter(), 0.3, func(c *part.Cable, k *part.CableConnector) {
		c.OuterDiameter, c.Core.Diameter = nil, nil
		k.Face.Series = "P40" // dimensions unknown
	})
	for _, limit := range []string{"average power", "peak power"} {
		if m := marginOf(t, r, limit); m.Verdict != NotAssessed {
			t.Errorf("%s: %v", limit, m.Verdict)
		}
	}
	if !asks(r, "catalogue: power") || !asks(r, "catalogue: cross-sections") {
		t.Error("what is missing is not asked for")
	}
}

func TestNoPowerNoWord(t *testing.T) {
	e := transmitter()
	e.Power = nil
	r := trial(t, e, 0.3, nil)
	if r.Power != nil || has(r, "average power") || has(r, "peak power") || asks(r, "power.") {
		t.Errorf("an enquiry without power gets %+v", r.Power)
	}
	for _, c := range r.Cautions {
		if strings.Contains(string(c), "ICNIRP") {
			t.Errorf("an enquiry without power gets %q", c)
		}
	}
}

// ICNIRP 2020: 55·f^(−0.177) W/m² for the public, 30 at 28 GHz; 1 W from an
// isotropic port reaches it at about 5 cm (section 5 of the trade's notes).
func TestExposureCaution(t *testing.T) {
	e := transmitter()
	e.Power.Average = to(units.Power(1))
	r := trial(t, e, 0.3, nil)
	within(t, "public, W/m²", r.Power.PublicWattsPerM2, 30, 0.6)
	within(t, "occupational, W/m²", r.Power.TrainedWattsPerM2, 152, 0.6)
	within(t, "open port, cm", float64(r.Power.OpenPort)*100, 5, 0.3)
	text := ""
	for _, c := range r.Cautions {
		text += string(c) + "\n"
	}
	for _, want := range []string{"Never mate", "Hot parts", "ICNIRP 2020", "decide", "Voltage"} {
		if !strings.Contains(text, want) {
			t.Errorf("the cautions lack %q", want)
		}
	}
	if strings.Contains(strings.ToLower(text), "is safe") {
		t.Error("a caution calls something safe")
	}
}

// Less air, more heat, more standing wave, more loss: never more power. More
// altitude and more standing wave: never more peak power.
func TestPowerMoves(t *testing.T) {
	const seed = 28
	rng := rand.New(rand.NewPCG(seed, 0))
	for draw := range 20 { // a heat balance takes a while
		celsius, metres, s := -20+110*rng.Float64(), 12000*rng.Float64(), 1+2*rng.Float64()
		run := func(celsius, metres, s float64, top float64) (average, peak float64) {
			e := transmitter()
			e.Band[0].To = units.Frequency(top)
			e.Environment.MaxTemperature, e.Environment.Altitude, e.Power.LoadVSWR = to(units.Celsius(celsius)), to(units.Length(metres)), &s
			r := trial(t, e, 0.3, rated(20))
			for _, d := range r.Power.Average.Rated {
				if math.IsNaN(float64(d.Power)) {
					t.Fatalf("%s: %v", d.Part, d.Factors)
				}
			}
			return marginOf(t, r, "average power").Margin, marginOf(t, r, "peak power").Margin
		}
		a0, p0 := run(celsius, metres, s, 28e9)
		less := func(what string, a, p float64) {
			if !(a <= a0+1e-9) || !(p <= p0+1e-9) {
				t.Fatalf("seed %d, draw %d (%.1f °C, %.0f m, VSWR %.2f): %s: average %g after %g, peak %g after %g", seed, draw, celsius, metres, s, what, a, a0, p, p0)
			}
		}
		a, p := run(celsius+10, metres, s, 28e9)
		less("10 K hotter", a, p)
		a, p = run(celsius, metres+1500, s, 28e9)
		less("1500 m higher", a, p)
		a, p = run(celsius, metres, s+0.3, 28e9)
		less("VSWR up by 0.3", a, p)
		if a, _ := run(celsius, metres, s, 40e9); !(a <= a0+1e-9) {
			t.Fatalf("seed %d, draw %d: more loss: %g after %g", seed, draw, a, a0)
		}
	}
}

// The heat balance of the cable without any rating moves the same way, and
// falls to nothing where the ambient reaches the limit.
func TestHeatMoves(t *testing.T) {
	last := math.Inf(1)
	for _, celsius := range []float64{-40, 0, 40, 80, 120, 130} {
		e := transmitter()
		e.Environment.MaxTemperature = to(units.Celsius(celsius))
		h := trial(t, e, 0.3, nil).Power.Average.Heat[0]
		if !(float64(h.Power) < last) {
			t.Errorf("%g °C allows %g W after %g W", celsius, h.Power, last)
		}
		last = float64(h.Power)
	}
	if last != 0 {
		t.Errorf("130 °C about a jacket rated to 125 °C allows %g W", last)
	}
}
