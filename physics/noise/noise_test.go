package noise_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/noise"
)

func TestMain(m *testing.M) { refcheck.Main(m, "physics-noise") }

func db(x float64) float64    { return 10 * math.Log10(x) }
func ratio(d float64) float64 { return math.Pow(10, d/10) }

// (L − 1) T at 290 K and at 85 °C, evaluated by another hand and rounded to a
// kelvin.
func TestPassiveTemperatures(t *testing.T) {
	for _, c := range []struct{ dB, cool, hot float64 }{{0.5, 35, 44}, {1, 75, 93}, {2, 170, 209}, {3, 289, 356}} {
		for temp, want := range map[float64]float64{290: c.cool, 358.15: c.hot} {
			if got := noise.Passive(ratio(-c.dB), temp).Temperature; !(math.Abs(got-want) <= 0.51) {
				t.Errorf("%g dB at %g K: %.2f K, want %g", c.dB, temp, got, want)
			}
		}
	}
}

// The receiver of Pozar's worked example: amplifier 10 dB, 2 dB noise figure;
// filter 1 dB; mixer with 3 dB loss and 4 dB noise figure.
func TestReceiverExample(t *testing.T) {
	const src = "Pozar, Microwave Engineering, 4th ed., Example 10.2 (from memory)"
	rx := noise.Cascade(noise.FromFigure(ratio(10), ratio(2)), noise.Passive(ratio(-1), noise.T0), noise.FromFigure(ratio(-3), ratio(4)))
	refcheck.Record(t, "Pozar 10.2 figure", "noise_figure", src, 1.80, rx.Figure(), 0.005)
	refcheck.Record(t, "Pozar 10.2 figure dB", "noise_figure_dB", src, 2.55, db(rx.Figure()), 0.01)
	refcheck.Record(t, "Pozar 10.2 temperature", "noise_temperature_K", src, 232, rx.Temperature, 0.5)
}

// A loss cut into slices at its own temperature is the same loss; a source at
// that temperature comes out at that temperature; at 290 K the noise figure is
// the loss.
func TestPassiveIdentities(t *testing.T) {
	const seed = 3
	rng := rand.New(rand.NewPCG(seed, 0))
	for range 200 {
		a, b, temp := rng.Float64(), rng.Float64(), 400*rng.Float64()
		one, two := noise.Passive(a*b, temp), noise.Cascade(noise.Passive(a, temp), noise.Passive(b, temp))
		if !(math.Abs(one.Temperature-two.Temperature) <= 1e-12*(1+one.Temperature)) || !(math.Abs(one.Gain-two.Gain) <= 1e-15) {
			t.Errorf("seed %d: %v in one, %v in two slices", seed, one, two)
		}
		if got := one.Output(temp); !(math.Abs(got-temp) <= 1e-9*(1+temp)) {
			t.Errorf("seed %d: in equilibrium at %g K the output has %g K", seed, temp, got)
		}
		if got := noise.Passive(a, noise.T0).Figure() * a; !(math.Abs(got-1) <= 1e-12) {
			t.Errorf("seed %d: figure times gain at T0 is %g", seed, got)
		}
		// Output in the printed form S/L + T(1 − 1/L).
		if got, want := noise.Passive(a, temp).Output(50), 50*a+temp*(1-a); !(math.Abs(got-want) <= 1e-12*want) {
			t.Errorf("seed %d: output %g K, want %g K", seed, got, want)
		}
		// dB for dB ahead of any receiver at T0.
		if got := noise.Passive(a, noise.T0).Degradation(noise.T0, 100*b) * a; !(math.Abs(got-1) <= 1e-12) {
			t.Errorf("seed %d: degradation times gain is %g", seed, got)
		}
	}
	if got := db(noise.Passive(ratio(-1), 358.15).Degradation(noise.T0, 75)); !(got > 1.05) {
		t.Errorf("1 dB at 85 °C costs %.3f dB, want more than the loss", got)
	}
}

// A mismatched loss: an ideal 6 dB pad behind a step has the noise of the heat it
// makes, T (1 − |S22|² − |S12|²) per hertz at the output (Bosma).
func TestMismatched(t *testing.T) {
	s21, s22 := complex(0.4, 0.2), complex(0.1, -0.3)
	g := noise.AvailableGain(s21, s22)
	st := noise.Passive(g, 300)
	delivered := st.Gain * st.Temperature * (1 - 0.1) // available times 1 − |S22|²
	want := 300 * (1 - 0.1 - 0.2)
	if !(math.Abs(delivered-want) <= 1e-9) {
		t.Errorf("into a matched load %g K, Bosma's theorem gives %g K", delivered, want)
	}
}

func TestRayleighJeans(t *testing.T) {
	if got := 1 - noise.RayleighJeans(110e9, 290); !(math.Abs(got-0.0091) <= 1e-4) { // hf/2kT
		t.Errorf("110 GHz at 290 K: %g below kT", got)
	}
	if noise.RayleighJeans(0, 290) != 1 {
		t.Error("0 Hz is not kT")
	}
}

// 1.2 dB of hot cable ahead of an amplifier of 1.5 dB noise figure.
func ExampleCascade() {
	cable := noise.Passive(math.Pow(10, -0.12), 273.15+85)
	amplifier := noise.FromFigure(1000, math.Pow(10, 0.15))
	system := noise.Cascade(cable, amplifier)
	fmt.Printf("%.0f K, noise figure %.2f dB\n", system.Temperature, 10*math.Log10(system.Figure()))
	// Output: 272 K, noise figure 2.87 dB
}
