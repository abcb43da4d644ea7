package chain

import (
	"context"
	"math"
	"testing"

	"linewright/hardware/part"
	"linewright/physics/units"

	"pgregory.net/rapid"
)

func table(celsiusPPM ...float64) []part.LengthChange {
	var out []part.LengthChange
	for i := 0; i < len(celsiusPPM); i += 2 {
		out = append(out, part.LengthChange{At: units.Celsius(celsiusPPM[i]), Change: units.Ratio(celsiusPPM[i+1] * 1e-6)})
	}
	return out
}

// The two invented tables of the demo catalogue: a plain line of −30 ppm/K, and
// solid PTFE with its step between 15 and 25 °C.
var (
	plainTable = table(-40, 1950, 0, 750, 10, 450, 15, 300, 20, 150, 25, 0, 35, -300, 60, -1050, 85, -1800)
	ptfeTable  = table(-40, 1150, 0, 620, 10, 430, 15, 300, 20, 60, 25, 0, 35, -60, 60, -280, 85, -520)
)

func curve(t *testing.T, dielectric string, rows []part.LengthChange) LengthCurve {
	t.Helper()
	l, ok := NewLengthCurve(part.Cable{Core: part.Core{Dielectric: dielectric}, LengthChanges: rows})
	if !ok {
		t.Fatal("the table was refused")
	}
	return l
}

func TestLengthCurve(t *testing.T) {
	l := curve(t, "low-density PTFE", plainTable)
	for _, c := range []struct{ celsius, ppm float64 }{{-40, 1950}, {25, 0}, {30, -150}, {85, -1800}} {
		got, beyond := l.At(units.Celsius(c.celsius))
		near(t, "change, ppm", got*1e6, c.ppm, 1e-6)
		if beyond {
			t.Errorf("%g °C is inside the table", c.celsius)
		}
	}
	got, beyond := l.At(units.Celsius(105))
	near(t, "carried on, ppm", got*1e6, -2400, 1e-6)
	if !beyond {
		t.Error("105 °C is beyond the table and nothing says so")
	}
	straight, worst, _ := l.Difference(units.Celsius(-40), units.Celsius(85), 20)
	near(t, "20 K on −30 ppm/K, ppm", straight*1e6, 600, 1e-6) // F23 of the trade: ppm × ΔT
	near(t, "no step to add, ppm", worst*1e6, 600, 1e-6)
	least, most, _ := l.Extremes(units.Celsius(-40), units.Celsius(85))
	near(t, "range, ppm", (most-least)*1e6, 3750, 1e-6)
}

// Solid PTFE between 15 and 20 °C: straight lines make 48 ppm/K of it, but the
// transition may put the whole 240 ppm between two lines a kelvin apart, and with
// them the 26 ppm of the kelvin before, if it comes first thing in its stretch.
func TestLengthCurveStep(t *testing.T) {
	l := curve(t, "solid PTFE", ptfeTable)
	straight, worst, _ := l.Difference(units.Celsius(0), units.Celsius(40), 1)
	near(t, "straight, ppm", straight*1e6, 48, 1e-6)
	near(t, "with the step, ppm", worst*1e6, 240+130.0/5, 1e-6)
	if got := l.Crosses(units.Celsius(-40), units.Celsius(85)); len(got) != 2 {
		t.Errorf("crosses %v, want the transitions at 19 and 30 °C", got)
	}
	if got := l.Crosses(units.Celsius(40), units.Celsius(85)); got != nil {
		t.Errorf("crosses %v above 40 °C", got)
	}
	expanded := curve(t, "low-density PTFE", ptfeTable)
	if _, w, _ := expanded.Difference(units.Celsius(0), units.Celsius(40), 1); !(math.Abs(w*1e6-48) < 1e-6) {
		t.Errorf("expanded PTFE steps by %.0f ppm", w*1e6)
	}
	if _, ok := NewLengthCurve(part.Cable{LengthChanges: ptfeTable[:1]}); ok {
		t.Error("one point tells nothing of change, but makes a curve")
	}
}

// A slow scan of the range finds no greater difference than Difference does,
// and nearly as great a one; a larger gradient never makes a smaller one.
func TestDifferenceAgainstScan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 8).Draw(t, "points")
		var rows []part.LengthChange
		at := -60.0
		for range n {
			at += rapid.Float64Range(1, 40).Draw(t, "step")
			rows = append(rows, part.LengthChange{At: units.Celsius(at), Change: units.Ratio(rapid.Float64Range(-2e-3, 2e-3).Draw(t, "change"))})
		}
		l, _ := NewLengthCurve(part.Cable{LengthChanges: rows})
		from := rapid.Float64Range(-50, 50).Draw(t, "from")
		span := rapid.Float64Range(1, 100).Draw(t, "span")
		d := rapid.Float64Range(0, 1).Draw(t, "share") * span
		got, worst, _ := l.Difference(units.Celsius(from), units.Celsius(from+span), units.Difference(d))
		slow := 0.0
		for i := range 2001 {
			x := from + (span-d)*float64(i)/2000
			a, _ := l.At(units.Celsius(x))
			b, _ := l.At(units.Celsius(x + d))
			slow = math.Max(slow, math.Abs(b-a))
		}
		if !(slow <= got+1e-12) || !(got <= slow+2*4e-3/1*span/2000+1e-12) || !(worst >= got) {
			t.Fatalf("difference %g, scan %g, worst %g", got, slow, worst)
		}
	})
}

func TestDrift(t *testing.T) {
	a := cable("0.9 dB/(m·sqrt(GHz))", "0.01 dB/(m·GHz)", 0.84, 0.35)
	a.Part.LengthChanges = plainTable
	b := cable("0.6 dB/(m·sqrt(GHz))", "0.02 dB/(m·GHz)", 0.70, 0.20)
	b.Part.LengthChanges, b.Part.Core.Dielectric = ptfeTable, "solid PTFE"
	k := connector("K", 1.2, "0.03 dB/sqrt(GHz)")
	k.ElectricalLength = ptr(units.Length(0.010))
	bare := cable("0.6 dB/(m·sqrt(GHz))", "0.02 dB/(m·GHz)", 0.70, 0.10)
	c := Chain{Elements: []Element{k, Named{a, Facts{Name: "first"}}, b, bare, connector("J", 1.2, "0.03 dB/sqrt(GHz)")}}
	p, err := c.Predict(context.Background(), []float64{10e9}, Conditions{units.Celsius(25)}, Options{Draws: -1})
	if err != nil {
		t.Fatal(err)
	}
	d := c.Drift(p)
	const c0 = 299792458.0
	near(t, "delay, ps", d.Delay*1e12, (0.35/0.84+0.20/0.70+0.10/0.70+0.010)/c0*1e12, 1e-6)
	hot, beyond := d.At(units.Celsius(85))
	near(t, "change at 85 °C, ps", (hot-d.Delay)*1e12, (-1800e-6*0.35/0.84-520e-6*0.20/0.70)/c0*1e12, 1e-9)
	if beyond || len(d.NoTable) != 1 || len(d.NoDelay) != 1 || len(d.Constant) != 1 {
		t.Errorf("beyond %v, no table %v, no delay %v, constant %v", beyond, d.NoTable, d.NoDelay, d.Constant)
	}
	if !d.Beyond(units.Celsius(-55), units.Celsius(25)) {
		t.Error("−55 °C is beyond the tables and nothing says so")
	}
}
