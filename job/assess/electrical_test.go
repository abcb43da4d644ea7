package assess

import (
	"math"
	"strings"
	"testing"

	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/network"
	"linewright/physics/units"
)

// vouched makes every figure of the trial chain a guaranteed one with its
// temperature, 2 dB/m flat at 20 GHz, and lets change undo one of them.
func vouched(change func(*part.Cable, *part.CableConnector)) func(*part.Cable, *part.CableConnector) {
	return func(c *part.Cable, k *part.CableConnector) {
		c.Loss = part.Attenuation{K1: to(units.Must[units.RootAttenuation]("0.4 dB/(m·sqrt(GHz))")), Temperature: to(units.Celsius(25)), Statistic: part.Guaranteed}
		k.Loss = part.Loss{K: to(units.Must[units.RootLevel]("0.03 dB/sqrt(GHz)")), Temperature: to(units.Celsius(25)), Statistic: part.Guaranteed}
		c.Reflection = part.Reflection{VSWR: to(1.1), Statistic: part.Guaranteed}
		k.Reflection = part.Reflection{VSWR: to(1.15), Statistic: part.Guaranteed}
		k.RatedFrequency, k.MaxTemperature = to(units.Frequency(90e9)), to(units.Celsius(125))
		if change != nil {
			change(c, k)
		}
	}
}

func roomy(celsius float64) enquiry.Enquiry {
	return enquiry.Enquiry{ID: "roomy", Band: []enquiry.Band{{From: 1e9, To: 20e9}}, Environment: enquiry.Environment{MaxTemperature: to(units.Celsius(celsius))},
		Limits: enquiry.Limits{InsertionLoss: []enquiry.LossLimit{{AtMost: to(units.Level(6))}}, VSWR: []enquiry.VSWRLimit{{AtMost: 3}}}}
}

// A figure that does not say whether it is guaranteed, or at which temperature
// it holds when the chain is warmer, meets no limit for certain.
func TestUnvouchedFigures(t *testing.T) {
	for name, c := range map[string]struct {
		celsius  float64
		change   func(*part.Cable, *part.CableConnector)
		limit    string
		want     Verdict
		contains string
	}{
		"all vouched for":           {85, nil, "insertion loss", Meets, ""},
		"reflections vouched for":   {85, nil, "VSWR of the chain", Meets, ""},
		"loss unsaid":               {85, func(c *part.Cable, _ *part.CableConnector) { c.Loss.Statistic = "" }, "insertion loss", AtRisk, "the loss of cable is not said to be guaranteed"},
		"loss typical":              {85, func(c *part.Cable, _ *part.CableConnector) { c.Loss.Statistic = part.Typical }, "insertion loss", AtRisk, "typical"},
		"loss undated and hot":      {85, func(_ *part.Cable, k *part.CableConnector) { k.Loss.Temperature = nil }, "insertion loss", AtRisk, "stated without its temperature"},
		"loss undated, not warmer":  {25, func(_ *part.Cable, k *part.CableConnector) { k.Loss.Temperature = nil }, "insertion loss", Meets, ""},
		"reflection unsaid":         {85, func(_ *part.Cable, k *part.CableConnector) { k.Reflection.Statistic = "" }, "VSWR of the chain", AtRisk, "the reflection of"},
		"loss unsaid, VSWR is told": {85, func(c *part.Cable, _ *part.CableConnector) { c.Loss.Statistic = "" }, "VSWR of the chain", Meets, ""},
	} {
		r := trial(t, roomy(c.celsius), 0.3, vouched(c.change))
		m := marginOf(t, r, c.limit)
		if m.Verdict != c.want || !strings.Contains(m.Why, c.contains) {
			t.Errorf("%s: %v: %s", name, m.Verdict, m.Why)
		}
	}
	r := trial(t, roomy(85), 0.3, vouched(func(_ *part.Cable, k *part.CableConnector) { k.Loss.Temperature = nil }))
	asked := false
	for _, q := range r.Questions {
		asked = asked || strings.Contains(q.Text, "At which temperature does the stated loss")
	}
	if !asked {
		t.Error("the missing temperature is not asked for")
	}
}

// Insertion loss counts reflections (the trade's glossary): where their worst
// phases bring it outside, the answer is at risk and not a wish.
func TestLossWithMismatch(t *testing.T) {
	e := roomy(25)
	at := marginOf(t, trial(t, e, 0.3, vouched(nil)), "insertion loss").Worst
	e.Limits.InsertionLoss[0].AtMost = to(units.Level(at + 0.001))
	r := trial(t, e, 0.3, vouched(nil))
	m := marginOf(t, r, "insertion loss, largest mismatch included")
	if m.Wish || m.Verdict != AtRisk || r.Verdict() != AtRisk {
		t.Errorf("mismatch: wish %v, %v, overall %v", m.Wish, m.Verdict, r.Verdict())
	}
	e.Limits.InsertionLoss[0].Wish = true
	if m := marginOf(t, trial(t, e, 0.3, vouched(nil)), "insertion loss, largest mismatch included"); !m.Wish {
		t.Error("the mismatch of a wish excludes")
	}
}

// Flat bounds ripple most where the loss between them is least: a limit is
// judged over the band, not at its top. By hand (F14 of the trade's notes) for
// connectors of 1.15 and a cable of 1.1 at 1 GHz.
func TestRippleOverBand(t *testing.T) {
	e := roomy(25)
	e.Limits.Ripple = []enquiry.RippleLimit{{AtMost: 0.2}}
	m := marginOf(t, trial(t, e, 0.3, vouched(nil)), "ripple")
	a, b := network.FromVSWR(1.15), network.FromVSWR(1.1)
	loss := 0.4 * 0.3 // dB at 1 GHz
	pp := func(x float64) float64 { return 20 * math.Log10((1+x)/(1-x)) }
	through := math.Pow(10, -loss/10)
	want := 2*pp(a*b) + pp(a*a*through) // the cable's reflection may lie at either of its ends
	within(t, "ripple, dB", m.Worst, want, 1e-9)
	if m.At != 1e9 {
		t.Errorf("judged at %v", m.At)
	}
}

// The far reflections are hidden least where the loss is least: return loss is
// judged at the coldest, loss at the hottest. By hand for two connectors of
// VSWR 1.15 and a matched cable of 0.4 dB/(m sqrt(GHz)), 2 m at 20 GHz: the far
// one is seen through the cable and the near connector, there and back.
func TestReflectionAtColdest(t *testing.T) {
	e := roomy(85)
	e.Environment.MinTemperature = to(units.Celsius(-40))
	r := trial(t, e, 2, vouched(func(c *part.Cable, _ *part.CableConnector) {
		c.Reflection = part.Reflection{VSWR: to(1.0), Statistic: part.Guaranteed}
	}))
	rho := 0.15 / 2.15
	worst := func(celsius float64) float64 { // F7 of the trade's notes
		k := math.Sqrt((1 + 0.00393*(celsius-20)) / (1 + 0.00393*5))
		loss := (0.4*2 + 0.03) * math.Sqrt(20) * k
		return network.VSWR(rho + rho*math.Pow(10, -loss/10))
	}
	m := marginOf(t, r, "VSWR of the chain")
	within(t, "worst VSWR", m.Worst, worst(-40), 1e-9)
	if !(worst(-40) > worst(85)) {
		t.Fatal("the cold chain does not reflect more")
	}
	said := ""
	for _, c := range m.Conditions {
		said += c.Name + " " + c.Value + "; "
	}
	if !strings.Contains(said, "temperature -40 °C") || !strings.Contains(said, "worst at 85 °C") {
		t.Errorf("the temperatures are not said: %s", said)
	}
	if m := marginOf(t, r, "insertion loss"); !strings.Contains(m.Why, "85 °C") {
		t.Errorf("loss is not judged at the hottest: %s", m.Why)
	}
}

// Colder than copper's straight line reaches, the losses stay those of its end,
// finite and falling no further, and the answer says so.
func TestCryogenic(t *testing.T) {
	e := roomy(25)
	loss := func(celsius float64) float64 {
		e.Environment.MinTemperature = to(units.Celsius(celsius))
		r := trial(t, e, 1, vouched(nil))
		cold := r.States[0]
		if cold.Conditions.Temperature != units.Celsius(celsius) {
			t.Errorf("judged at %v", cold.Conditions.Temperature)
		}
		if said := hasNote(r, "no straight line"); said != (celsius < -196.2) {
			t.Errorf("%g °C: said %v", celsius, said)
		}
		return cold.Loss[len(cold.Loss)-1]
	}
	at77 := math.Sqrt((1+0.00393*(77-293.15))/(1+0.00393*5)) * (0.4 + 2*0.03) * math.Sqrt(20) // F7 of the trade's notes
	within(t, "loss at -150 °C less that at 77 K", math.Min(loss(-150)-at77, 0), 0, 0)
	within(t, "loss at -269 °C, dB", loss(-269), at77, 1e-9)
	within(t, "loss at -273.1 °C, dB", loss(-273.1), at77, 1e-9)
}

// What the enquiry says of vacuum and humidity is not passed over in silence.
func TestSurroundingsAreSaid(t *testing.T) {
	e := roomy(25)
	e.Environment.Vacuum, e.Environment.Humidity = to(true), "95 %, condensing"
	r := trial(t, e, 1, vouched(nil))
	if !hasNote(r, "outgas") || !hasNote(r, "humidity (95 %, condensing)") {
		t.Errorf("notes %v", r.Notes)
	}
}

// Mismatch may bind elsewhere in the band than dissipation: under a mask that
// follows the loss closely at the low end and leaves room at the top, the low
// end breaks first, where loss hides least of the far reflection. By hand for
// two connectors of 1.5 and a matched cable (worst case of two reflections,
// [pozar2012] §2.3: the product of their transmissions over 1 less the path).
func TestMismatchBindsElsewhere(t *testing.T) {
	e := roomy(25)
	loss := func(ghz float64) float64 { return (0.4*2 + 2*0.03) * math.Sqrt(ghz) }
	e.Limits.InsertionLoss = []enquiry.LossLimit{{Mask: []enquiry.MaskPoint{{At: 1e9, Level: units.Level(loss(1) + 0.3)}, {At: 2e9, Level: units.Level(loss(2) + 3)}, {At: 20e9, Level: units.Level(loss(20) + 0.2)}}}}
	r := trial(t, e, 2, vouched(func(c *part.Cable, k *part.CableConnector) {
		c.Reflection = part.Reflection{VSWR: to(1.0), Statistic: part.Guaranteed}
		k.Reflection.VSWR = to(1.5)
	}))
	rho := 0.2
	between := 0.8*1 + 0.03 // dB at 1 GHz: the near connector's loss lies behind its reflection
	mismatch := -20*math.Log10(1-rho*rho) + 20*math.Log10(1+rho*rho*math.Pow(10, -between/10))
	m := marginOf(t, r, "insertion loss, largest mismatch included")
	within(t, "worst loss, dB", m.Worst, loss(1)+mismatch, 1e-9)
	within(t, "margin, dB", m.Margin, 0.3-mismatch, 1e-9)
	if m.At != 1e9 || m.Verdict != AtRisk {
		t.Errorf("%v at %v", m.Verdict, m.At)
	}
	if d := marginOf(t, r, "insertion loss"); d.At != 20e9 || d.Verdict != Meets {
		t.Errorf("dissipation: %v at %v", d.Verdict, d.At)
	}
}
