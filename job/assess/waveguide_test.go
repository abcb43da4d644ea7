package assess

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"linewright/hardware/part"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/units"
)

// Ideal-copper losses of the trade's notes (F10): WR-15 1.4 dB/m at 67 GHz,
// WR-12 1.9 at 79, WR-10 2.6 at 95 and 2.4 at 110. Tolerance half the last
// digit.
func TestGuideAttenuation(t *testing.T) {
	for _, c := range []struct {
		name     string
		ghz, dBm float64
	}{{"WR-15", 67, 1.4}, {"WR-12", 79, 1.9}, {"WR-10", 95, 2.6}, {"WR-10", 110, 2.4}} {
		for _, g := range Guides() {
			if g.Name == c.name {
				near(t, c.name+", dB/m", g.Attenuation(units.Frequency(c.ghz*1e9), material.AnnealedCopper).DBPerMetre(), c.dBm, 0.05)
			}
		}
	}
}

// Example 3.1 of [pozar2012]: 1.07 × 0.43 cm, copper, filled with Teflon of 2.08,
// at 15 GHz: 0.050 Np/m. From memory.
func TestGuidePozar(t *testing.T) {
	near(t, "Np/m", float64(teTen(15e9, 1.07e-2, 0.43e-2, 5.8e7, 2.08)), 0.050, 0.0005)
}

// TE10 cutoffs as printed in appendix I of [pozar2012], GHz, from memory; the
// tolerance is the last digit's half and the rounding of the dimensions. The
// rows of WR-19 and WR-15 are not remembered well enough to be checked.
func TestGuideCutoff(t *testing.T) {
	printed := map[string]float64{"WR-90": 6.56, "WR-62": 9.49, "WR-42": 14.05, "WR-28": 21.08, "WR-22": 26.35, "WR-12": 48.37, "WR-10": 59.01, "WR-8": 73.77, "WR-6": 90.79}
	for _, g := range Guides() {
		want, ok := printed[g.Name]
		if !ok {
			continue
		}
		near(t, g.Name+" cutoff, GHz", units.In(g.Cutoff(), "GHz"), want, 0.015)
		delete(printed, g.Name)
	}
	if len(printed) > 0 {
		t.Errorf("not in the table: %v", printed)
	}
	// The usual band starts about a quarter above cutoff and ends below the
	// next mode, TE20 at twice the cutoff: common practice.
	for _, g := range Guides() {
		if !(g.From > 1.15*g.Cutoff() && g.To < 2*g.Cutoff() && g.B <= g.A/2*(1+1e-9)) {
			t.Errorf("%s: %v to %v, cutoff %v", g.Name, g.From, g.To, g.Cutoff())
		}
	}
}

// The formula against the power balance it comes from, with the wall currents
// of the TE10 fields integrated by hand in another form:
// α = Rs/(bη√(1−x²))·(1 + 2b/a·x²), x = fc/f ([ramo1994]; the form of most
// handbooks).
func TestGuideOtherForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gs := Guides()
		g := gs[rapid.IntRange(0, len(gs)-1).Draw(t, "guide")]
		f := rapid.Float64Range(float64(g.From), float64(g.To)).Draw(t, "f")
		x := float64(g.Cutoff()) / f
		want := material.SurfaceResistance(f, 58e6) / (float64(g.B) * line.Eta0 * math.Sqrt(1-x*x)) * (1 + 2*float64(g.B/g.A)*x*x)
		if got := float64(g.Attenuation(units.Frequency(f), 58e6)); !(math.Abs(got-want) <= 1e-12*want) {
			t.Fatalf("%s at %g Hz: %g, other form %g", g.Name, f, got, want)
		}
	})
	if g := Guides()[0]; !math.IsNaN(float64(g.Attenuation(g.Cutoff()*0.9, 58e6))) {
		t.Error("a wave below cutoff has no attenuation of this kind")
	}
}

// 76 to 81 GHz lies in WR-12 and in WR-10: the larger loses less. A band from
// 0.1 to 67 GHz lies in none.
func TestGuideFor(t *testing.T) {
	if g, _, _, ok := GuideFor(76e9, 81e9, 58e6); !ok || g.Name != "WR-12" {
		t.Errorf("76 to 81 GHz: %s", g.Name)
	}
	if g, _, _, ok := GuideFor(0.1e9, 67e9, 58e6); ok {
		t.Errorf("0.1 to 67 GHz: %s", g.Name)
	}
}

// A long or high run shows its waveguide, a short one does not.
func TestWaveguideShown(t *testing.T) {
	cat := bench()
	cat.Cables[0].RatedFrequency = held(units.Frequency(90e9))
	for _, c := range []struct {
		from, to units.Frequency
		length   float64
		want     bool
	}{{76e9, 81e9, 0.35, true}, {76e9, 81e9, 0.1, false}, {16e9, 18e9, 1.2, false}, {16e9, 18e9, 10, true}, {1e9, 18e9, 10, false}} {
		e := asked(c.to, port("2.92 mm", part.Female), port("2.92 mm", part.Female))
		e.Band[0].From = c.from
		pieces := jumper("p29", "p29")
		pieces[1].Length = held(units.Length(c.length))
		r := judged(t, e, cat, pieces...)
		shown := false
		for _, w := range r.Ways {
			shown = shown || strings.HasPrefix(w.Title, "rectangular waveguide")
		}
		if shown != c.want {
			t.Errorf("%v to %v, %g m: shown %t", c.from, c.to, c.length, shown)
		}
	}
}

func ExampleGuide_Attenuation() {
	for _, g := range Guides() {
		if g.Name == "WR-12" {
			fmt.Printf("%s from %.1f GHz: %.1f dB/m of copper at 79 GHz\n", g.Name, units.In(g.Cutoff(), "GHz"), g.Attenuation(79e9, material.AnnealedCopper).DBPerMetre())
		}
	}
	// Output: WR-12 from 48.4 GHz: 1.9 dB/m of copper at 79 GHz
}
