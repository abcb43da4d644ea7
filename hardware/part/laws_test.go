package part

import (
	"math"
	"testing"

	"linewright/physics/units"
)

func ptr[T any](x T) *T { return &x }

// A table made from k1·√f + k2·f is met exactly between its points, and beyond
// them stays on the careful side and above zero.
func TestTableFollowsTheFit(t *testing.T) {
	law := Attenuation{K1: ptr(units.Must[units.RootAttenuation]("0.47 dB/(m·sqrt(GHz))")), K2: ptr(units.Must[units.LinAttenuation]("0.010 dB/(m·GHz)")), Temperature: ptr(units.Celsius(25))}
	tabled := Attenuation{Temperature: law.Temperature}
	for _, f := range []units.Frequency{40e9, 1e9, 10e9, 20e9} { // in no order
		total, _ := law.At(f, units.Celsius(25))
		tabled.Points = append(tabled.Points, AttenuationPoint{f, total})
	}
	for _, f := range []units.Frequency{1e9, 2e9, 7e9, 15e9, 39e9, 40e9} {
		want, _ := law.At(f, units.Celsius(60))
		got, _ := tabled.At(f, units.Celsius(25))
		k := TemperatureFactor(units.Celsius(60), units.Celsius(25))
		hot, _ := tabled.At(f, units.Celsius(60))
		if !(math.Abs(float64(hot-units.Attenuation(k)*got)) <= 1e-12) || !(hot >= want-1e-12) {
			t.Errorf("%v: %v at 25 °C, %v at 60 °C; the split fit gives %v", f, got, hot, want)
		}
		cold, _ := law.At(f, units.Celsius(25))
		if !(math.Abs(float64(got-cold)) <= 1e-12*float64(cold)) {
			t.Errorf("%v: the table gives %v, the law it was made from %v", f, got, cold)
		}
	}
	falling := Loss{Points: []LossPoint{{1e9, 0.3}, {2e9, 0.3}, {4e9, 0.3}}}
	last := units.Level(0)
	for f := units.Frequency(0.1e9); f < 200e9; f *= 1.3 {
		x := falling.At(f, units.Celsius(25))
		if !(x > 0) || f > 4e9 && !(x >= last) {
			t.Errorf("%v: an extrapolated loss of %v after %v", f, x, last)
		}
		last = x
	}
}

// Bounds hold stepwise, in any order of the file; beyond the last the last is
// used and said so.
func TestReflectionSteps(t *testing.T) {
	r := Reflection{Points: []ReflectionPoint{{To: 40e9, VSWR: ptr(1.4)}, {To: 18e9, VSWR: ptr(1.2)}, {To: 26.5e9, ReturnLoss: ptr(units.Level(20))}}}
	for _, c := range []struct {
		f      units.Frequency
		want   float64
		beyond bool
	}{{1e9, 0.2 / 2.2, false}, {18e9, 0.2 / 2.2, false}, {20e9, 0.1, false}, {40e9, 0.4 / 2.4, false}, {50e9, 0.4 / 2.4, true}} {
		got, known, beyond := r.At(c.f)
		if !known || beyond != c.beyond || !(math.Abs(got-c.want) <= 1e-15) {
			t.Errorf("%v: %g, %v, %v; want %g, %v", c.f, got, known, beyond, c.want, c.beyond)
		}
	}
	if _, known, _ := (Reflection{}).At(1e9); known {
		t.Error("no figure, yet a bound")
	}
}
