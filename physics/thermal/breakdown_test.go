package thermal

import (
	"math"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/line"
)

// P = V²/(2 Z0) with V = Ed a ln(b/a), whatever the line.
func TestBreakdownIsVoltage(t *testing.T) {
	for _, c := range []struct{ a, b, er float64 }{{0.76e-3, 1.75e-3, 1}, {0.25e-3, 0.84e-3, 2.05}, {1e-3, 1.1e-3, 1.4}} {
		const ed = 2.9e6
		v := ed * c.a * math.Log(c.b/c.a)
		z0 := line.Eta0 / (2 * math.Pi * math.Sqrt(c.er)) * math.Log(c.b/c.a)
		want := v * v / (2 * z0)
		if got := CoaxBreakdownPower(c.a, c.b, c.er, ed); !(math.Abs(got-want) <= 1e-12*want) {
			t.Errorf("%+v: %g W, V²/2Z0 = %g W", c, got, want)
		}
	}
	// At fixed b the optimum is b/a = √e.
	best := CoaxBreakdownPower(1/math.Sqrt(math.E), 1, 1, 1)
	for _, x := range []float64{1.5, 1.6, 1.7, 2} {
		if CoaxBreakdownPower(1/x, 1, 1, 1) > best {
			t.Errorf("b/a = %g beats √e", x)
		}
	}
	// The ceiling is the optimum over b/a at fixed a + b.
	ceiling := PeakPowerCeiling(10e9, 1, 3e6)
	sum := line.C0 / (math.Pi * 10e9)
	for x := 1.5; x < 3; x += 0.001 {
		if p := CoaxBreakdownPower(sum/(1+x), sum*x/(1+x), 1, 3e6); p > ceiling*(1+1e-9) {
			t.Errorf("b/a = %g gives %g W, above the ceiling %g W", x, p, ceiling)
		}
	}
}

func TestPeakCase(t *testing.T) {
	c := PeakCase{InnerRadius: 0.635e-3, OuterRadius: 1.46e-3}
	sea, err := c.Breakdown()
	if err != nil {
		t.Fatal(err)
	}
	if sea.Matched != sea.Delivered || !(math.Abs(sea.Incident/sea.Matched-1) <= 1e-12) {
		t.Errorf("matched: %g, %g, %g W differ", sea.Matched, sea.Delivered, sea.Incident)
	}
	// With a standing wave the voltage maximum at the quoted incident power is
	// the breakdown voltage.
	c.VSWR = 1.75
	w, _ := c.Breakdown()
	z0 := line.Eta0 / (2 * math.Pi) * math.Log(c.OuterRadius/c.InnerRadius)
	if v := MaximumVoltage(w.Incident, z0, c.VSWR); !(math.Abs(v-w.Voltage) <= 1e-9*v) {
		t.Errorf("voltage maximum %g V, breakdown %g V", v, w.Voltage)
	}
	c.VSWR, c.Air = 1, isa(t, 10000)
	up, _ := c.Breakdown()
	if got := up.Matched / sea.Matched; !(math.Abs(got-DensityFactor(c.Air)) <= 1e-5) {
		t.Errorf("at 10 km %g of the power, density² is %g", got, DensityFactor(c.Air))
	}
	if !has(up.Cautions, CautionPressure) || has(sea.Cautions, CautionPressure) {
		t.Error("the caution on low pressure belongs to altitude, and only there")
	}
	// A solid filling keeps its field at altitude; the film does not.
	s := PeakCase{InnerRadius: 0.46e-3, OuterRadius: 1.5e-3, Er: 2.05, Solid: true, Field: 20e6}
	ground, _ := s.Breakdown()
	s.Air = isa(t, 10000)
	high, _ := s.Breakdown()
	if high.Matched != ground.Matched || !(high.Film < 0.12*ground.Film) || !(ground.Film < ground.Delivered) {
		t.Errorf("solid: %g and %g W, film %g and %g W", ground.Matched, high.Matched, ground.Film, high.Film)
	}
	// Thin gap in thin air: below the Paschen minimum it warns.
	c.Air = isa(t, 70000)
	if p, _ := c.Breakdown(); len(p.Warnings) != 1 || !has(p.Cautions, CautionMultipactor) {
		t.Errorf("at 70 km: %v", p.Warnings)
	}
	for _, bad := range []PeakCase{{}, {InnerRadius: 1, OuterRadius: 1}, {InnerRadius: 1, OuterRadius: 2, Er: 0.5},
		{InnerRadius: 1, OuterRadius: 2, VSWR: 0.9}, {InnerRadius: 1, OuterRadius: 2, Air: Air{Temperature: 300}}, {InnerRadius: 1, OuterRadius: 2, Field: -1}} {
		if _, err := bad.Breakdown(); err == nil {
			t.Errorf("%+v: no error", bad)
		}
	}
}

func has(cs []Caution, c Caution) bool {
	for _, x := range cs {
		if x == c {
			return true
		}
	}
	return false
}

// The joined law never exceeds what its parts allow, never falls below the
// Paschen minimum, and is continuous within the laws' own disagreement.
func TestGapBreakdown(t *testing.T) {
	least, at := AirPaschen().Minimum()
	air := Air{293, SeaPressure}
	last := 0.0
	for gap := 1e-6; gap < 0.1; gap *= 1.01 {
		v, law := GapBreakdown(gap, air)
		if !(v >= least) || !(v >= last*0.995) {
			t.Errorf("gap %.3g m: %g V by %s, before %g V", gap, v, law, last)
		}
		if last > 0 && !(v < last*1.03) {
			t.Errorf("gap %.3g m: jump from %g to %g V", gap, last, v)
		}
		last = v
		if gap*SeaPressure < at && law != LawMinimum {
			t.Errorf("gap %.3g m: %s left of the minimum", gap, law)
		}
	}
	if v, law := GapBreakdown(0.01, air); !(math.Abs(v-30300) <= 1) || law != LawUniform {
		t.Errorf("1 cm: %g V by %s", v, law)
	}
	// Half the density at twice the gap is the same gap to both laws.
	a, _ := GapBreakdown(1e-4, air)
	b, _ := GapBreakdown(2e-4, Air{2 * 293, SeaPressure})
	if !(math.Abs(a-b) <= 1e-9*a) {
		t.Errorf("similarity: %g and %g V", a, b)
	}
	refcheck.Record(t, "Paschen minimum of air", "voltage_V", "measured minimum of air, 327 V near 0.57 Torr cm (textbooks, from memory); the law's constants lie below it", 327, least, 0.1*327)
}

// The minimum's closed form is the minimum of the law.
func TestPaschenMinimum(t *testing.T) {
	p := AirPaschen()
	v, pd := p.Minimum()
	if got := p.Voltage(pd); !(math.Abs(got-v) <= 1e-12*v) {
		t.Errorf("law at the minimum %g V, closed form %g V", got, v)
	}
	for _, x := range []float64{0.9, 0.99, 1.01, 1.1} {
		if !(p.Voltage(x*pd) > v) {
			t.Errorf("at %g of the minimum's pd: %g V is not above %g V", x, p.Voltage(x*pd), v)
		}
	}
	if !math.IsInf(p.Voltage(0.2*pd), 1) {
		t.Error("left of the pole the law should know no breakdown")
	}
}
