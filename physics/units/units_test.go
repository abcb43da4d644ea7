package units

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The inch, the pound-force and the standard atmosphere are exact by
// definition: international yard and pound agreement 1959; ISO 80000-4.
func TestParseDefinitions(t *testing.T) {
	for _, c := range []struct {
		got, want float64
		text      string
	}{
		{float64(Must[Length]("25 mil")), 6.35e-4, "25 mil"},
		{float64(Must[Length]("0.138 in")), 3.5052e-3, "0.138 in"}, // trade: 3.51 mm
		{float64(Must[Length]("17 um")), 17e-6, "17 um"},
		{float64(Must[Length]("17 µm")), 17e-6, "17 µm"},
		{float64(Must[Length]("0.3mm")), 3e-4, "0.3mm"},
		{float64(Must[Length]("−0.1 mm")), -1e-4, "−0.1 mm"},
		{float64(Must[Frequency]("26.5 GHz")), 26.5e9, "26.5 GHz"},
		{float64(Must[Frequency]("1e3 MHz")), 1e9, "1e3 MHz"},
		{float64(Must[Temperature]("-40 °C")), 233.15, "-40 °C"},
		{float64(Must[Temperature]("300 K")), 300, "300 K"},
		{float64(Must[Difference]("20 °C")), 20, "20 °C difference"},
		{float64(Must[Torque]("0.9 N·m")), 0.9, "0.9 N·m"},
		{float64(Must[Torque]("0.9 N*m")), 0.9, "0.9 N*m"},
		{float64(Must[Torque]("8 in·lbf")), 8 * 0.0254 * 4.4482216152605, "8 in·lbf"},
		{float64(Must[Pressure]("1 atm")), 101325, "1 atm"},
		{float64(Must[Pressure]("760 Torr")), 101325, "760 Torr"},
		{float64(Must[Power]("43 dBm")), 19.952623149688797, "43 dBm"},
		{float64(Must[Power]("100 mW")), 0.1, "100 mW"},
		{float64(Must[Level]("3.2 dB")), 3.2, "3.2 dB"},
		{float64(Must[Level]("1 Np")), 20 / math.Ln10, "1 Np"},
		{float64(Must[Conductivity]("58 MS/m")), 58e6, "58 MS/m"},
		{float64(Must[Angle]("180 deg")), math.Pi, "180 deg"},
		{float64(Must[Ratio]("2 %")), 0.02, "2 %"},
		{float64(Must[Ratio]("0.02")), 0.02, "0.02"},
		{float64(Must[Expansion]("-30 ppm/K")), -30e-6, "-30 ppm/K"},
		{float64(Must[Expansion]("-30 ppm/°C")), -30e-6, "-30 ppm/°C"},
		{float64(Must[Delay]("3.98 ps/mm")), 3.98e-9, "3.98 ps/mm"},
		{float64(Must[Conductance]("0.25 W/(m·K)")), 0.25, "0.25 W/(m·K)"},
	} {
		if !(math.Abs(c.got-c.want) <= 2e-16*math.Abs(c.want)) {
			t.Errorf("%s = %.17g, want %.17g", c.text, c.got, c.want)
		}
	}
	// 1 dB/m is ln(10)/20 Np/m; the fitted coefficients carry √GHz and GHz.
	if got := float64(Must[Attenuation]("2.4 dB/m")) * DecibelsPerNeper; !(math.Abs(got-2.4) <= 1e-15) {
		t.Errorf("2.4 dB/m reads as %.17g dB/m", got)
	}
	k1 := float64(Must[RootAttenuation]("0.30 dB/(m·sqrt(GHz))"))
	if got := k1 * math.Sqrt(18e9) * DecibelsPerNeper; !(math.Abs(got-0.3*math.Sqrt(18)) <= 1e-14) {
		t.Errorf("0.30 dB/(m·√GHz) gives %.17g dB/m at 18 GHz", got)
	}
	for _, same := range []string{"0.30 dB/m/sqrt(GHz)", "0.30 dB/(m·√GHz)", "0.30 dB/m/√GHz"} {
		if got := float64(Must[RootAttenuation](same)); !(math.Abs(got-k1) <= 1e-15*k1) {
			t.Errorf("%s = %g, want %g", same, got, k1)
		}
	}
	if got := float64(Must[RootLevel]("0.03 dB/sqrt(GHz)")) * math.Sqrt(1e9); !(math.Abs(got-0.03) <= 1e-16) {
		t.Errorf("0.03 dB/√GHz reads as %g dB at 1 GHz", got)
	}
}

func TestParseErrors(t *testing.T) {
	parse := func(k func(string) error, s string) error { return k(s) }
	length := func(s string) error { _, err := Parse[Length](s); return err }
	freq := func(s string) error { _, err := Parse[Frequency](s); return err }
	temp := func(s string) error { _, err := Parse[Temperature](s); return err }
	diff := func(s string) error { _, err := Parse[Difference](s); return err }
	money := func(s string) error { _, err := ParseMoney(s); return err }
	for _, c := range []struct {
		kind func(string) error
		text string
		want error
		help string // must stand in the message
	}{
		{length, "", ErrEmpty, "0.6 m"},
		{length, "600", ErrBareNumber, `"600 mm"`},
		{length, "600 m m", ErrUnknownUnit, "in the unit"},
		{length, "six mm", ErrNumber, "a number and a unit"},
		{length, "2,5 mm", ErrNumber, "a point, not a comma"},
		{length, "5 GHz", ErrDimension, "a frequency"},
		{length, "5 micron", ErrUnknownUnit, `"um"`},
		{length, "5 MM", ErrUnknownUnit, `"mm"`},
		{length, `5 "`, ErrUnknownUnit, `"in"`},
		{length, "1e999 mm", ErrNumber, "a number and a unit"},
		{length, "1e400 mm", ErrRange, "too large"},
		{length, strings.Repeat("9", 100) + " mm", ErrNumber, "a number and a unit"},
		{freq, "28 ghz", ErrUnknownUnit, `"GHz"`},
		{freq, "28 Ghz", ErrUnknownUnit, `"GHz"`},
		{freq, "-1 GHz", ErrRange, "below 0 GHz"},
		{freq, "28 ((((((GHz))))))", ErrUnknownUnit, "brackets"},
		{temp, "85 C", ErrUnknownUnit, `"°C"`},
		{temp, "185 °F", ErrUnknownUnit, `"85 °C"`},
		{temp, "-40 F", ErrUnknownUnit, `"-40 °C"`},
		{diff, "9 °F", ErrUnknownUnit, `"5 K"`},
		{temp, "-300 °C", ErrRange, "-273.15 °C"},
		{temp, "85", ErrBareNumber, `"85 °C"`},
		{money, "12", ErrBareNumber, "currency"},
		{money, "12 euro", ErrUnknownUnit, "three capital letters"},
		{money, "x EUR", ErrNumber, "12.50 EUR"},
		{money, "", ErrEmpty, "12.50 EUR"},
		{money, "0.0000001 EUR", ErrRange, "six decimals"},
		{money, "1e30 EUR", ErrRange, "too large"},
	} {
		err := parse(c.kind, c.text)
		var pe *ParseError
		if !errors.As(err, &pe) || !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.help) {
			t.Errorf("%q gives %v, want %v naming %q", c.text, err, c.want, c.help)
		}
	}
}

// Every value reads back from its text as the same float64, in every unit.
func TestRoundTripExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := kinds[rapid.IntRange(0, len(kinds)-1).Draw(t, "kind")]
		x := rapid.Float64Range(1e-30, 1e30).Draw(t, "x")
		if k.min < 0 && rapid.Bool().Draw(t, "negative") {
			x = -x
		}
		for _, u := range k.display {
			s := format(x, k, u)
			back, err := parse(s, k)
			if err != nil || back != x {
				t.Fatalf("%s %v in %s is written %q and reads back %v, %v", k.name, x, u, s, back, err)
			}
		}
	})
}

// What a person types comes back as typed.
func TestWriteShort(t *testing.T) {
	for _, s := range []string{"26.5 GHz", "0.1 GHz", "110 GHz"} {
		if got := Write(Must[Frequency](s), "GHz"); got != s {
			t.Errorf("%q is written back as %q", s, got)
		}
	}
	for _, s := range []string{"25 mil", "0.1 mil", "9.84 mil"} {
		if got := Write(Must[Length](s), "mil"); got != s {
			t.Errorf("%q is written back as %q", s, got)
		}
	}
	for s, want := range map[string]string{Length(0.6).String(): "600 mm", Length(1.2).String(): "1.2 m", Frequency(26.5e9).String(): "26.5 GHz", Celsius(85).String(): "85 °C", Must[Temperature]("0 °C").String(): "0 °C",
		Level(3.2).String(): "3.20 dB", Attenuation(0.12780).String(): "1.11 dB/m", Time(2e-12).String(): "2 ps", Conductivity(58e6).String(): "58 MS/m",
		Exact(Length(17e-6)): "17 um", Length(0).String(): "0 mm", Ratio(0.5).String(): "0.5", Power(20).String(): "20 W"} {
		if s != want {
			t.Errorf("written %q, want %q", s, want)
		}
	}
	m, err := ParseMoney("12.50 EUR")
	if err != nil || m.String() != "12.50 EUR" || m.Micros != 12500000 {
		t.Errorf("12.50 EUR reads as %v, %v", m, err)
	}
	if sum, err := m.Plus(Money{2500000, "EUR"}); err != nil || sum.String() != "15.00 EUR" {
		t.Errorf("the sum is %v, %v", sum, err)
	}
	if _, err := m.Plus(Money{1, "USD"}); err == nil {
		t.Error("two currencies were added")
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"26.5 GHz", "0.6 m", "25 mil", "17 um", "0.9 N·m", "-40 °C", "0.3 dB/(m·sqrt(GHz))", "1e-3 dB/√GHz", "43 dBm", "12.5 EUR", "1/0 m", "(((", "5 √√m", "9e9e9 s"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, k := range kinds {
			x, err := parse(s, k)
			if err != nil {
				var pe *ParseError
				if !errors.As(err, &pe) || pe.Help == "" {
					t.Fatalf("%q: %v lacks help", s, err)
				}
				continue
			}
			if back, err := parse(format(x, k, k.display[0]), k); err != nil || back != x {
				t.Fatalf("%q reads as %v %s, written and read again it is %v, %v", s, x, k.si, back, err)
			}
		}
		_, _ = ParseMoney(s)
	})
}

func BenchmarkParse(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	texts := make([]string, 64)
	for i := range texts {
		texts[i] = Write(Frequency(r.Float64()*110e9), "GHz")
	}
	for i := 0; b.Loop(); i++ {
		if _, err := Parse[Frequency](texts[i%len(texts)]); err != nil {
			b.Fatal(err)
		}
	}
}
