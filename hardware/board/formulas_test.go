package board

import (
	"math"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/line"
)

// Rows of board.csv that package line computes: waves on the slab and ends of
// strips.
var notCovered = map[string]string{
	"te1_surface_wave_onset_Hz":      "physics/line: the wave on a grounded slab",
	"tm0_coupling_frequency_Hz":      "physics/line: the wave on a grounded slab",
	"tm0_effective_index":            "physics/line: the wave on a grounded slab",
	"transverse_resonance_Hz":        "physics/line: a mode of the strip",
	"getsinger_fp_Hz":                "physics/line: dispersion of the strip",
	"parallel_plate_mode_onset_Hz":   "physics/line: a mode of the strip",
	"open_end_extension_over_height": "physics/line: the open end of the strip",
}

func TestBoardRows(t *testing.T) {
	for _, r := range refcheck.Rows(t, "board.csv") {
		if _, ok := notCovered[r.Quantity]; ok {
			continue
		}
		num := func(name string) float64 { return r.Num(t, name) }
		width := func() float64 {
			if r.Inputs["method"] == "Xu-Wu 2005" {
				return GuideWidthXuWu(num("via_row_spacing_m"), num("via_diameter_m"), num("via_pitch_m"))
			}
			return GuideWidth(num("via_row_spacing_m"), num("via_diameter_m"), num("via_pitch_m"))
		}
		var got float64
		switch r.Quantity {
		case "via_inductance_H":
			got = ViaInductance(num("via_height_m"), num("via_diameter_m"))
		case "cavity_resonance_Hz":
			got = CavityResonance(num("length_m"), num("width_m"), num("eps_r"), int(num("mode_m")), int(num("mode_n")))
		case "effective_width_m":
			got = width()
		case "te10_cutoff_Hz":
			got = RowResonance(width(), num("eps_r"))
		case "channel_te10_cutoff_Hz":
			got = RowResonance(num("channel_width_m"), 1)
		case "maximum_via_pitch_m":
			parts := map[string]float64{"via pitch at most guide wavelength over 10": 10, "via pitch at most guide wavelength over 20": 20}[r.Inputs["rule"]]
			got = FencePitch(num("frequency_Hz"), num("eps_r"), parts)
		case "pitch_to_diameter_limit":
			got = LowLeakagePitch
		case "slot_attenuation_dB":
			got = FenceAttenuation(num("clear_gap_between_vias_m"), num("via_wall_depth_m"), num("frequency_Hz"), num("eps_r"))
		case "coaxial_via_impedance_ohm":
			got = ViaImpedance(num("via_diameter_m"), num("antipad_or_ground_via_circle_diameter_m"), num("eps_r"))
		default:
			t.Errorf("%s: nothing computes %s", r.ID, r.Quantity)
			continue
		}
		r.Check(t, got)
	}
}

// The worked example of the digital-practice formula as quoted in a public list
// in September 2000: 63 mil board, 28 mil pad, 50 mil clearance, permittivity
// 4.7 give 0.53 pF. The plate derivation given there, π ε T D1 over half of half the
// gap, gives 0.531 pF.
func TestViaCapacitanceTrend(t *testing.T) {
	const mil = 25.4e-6
	got := ViaCapacitanceTrend(4.7, 63*mil, 28*mil, 50*mil) * 1e12
	refcheck.Record(t, "via-capacitance-trend", "via_capacitance_pF", "public signal-integrity list, September 2000, quoting Johnson and Graham 1993", 0.53, got, 0.005)
	plate := line.Eps0 * 4.7 * math.Pi * 28 * 63 * mil * mil / (22 * mil / 2) * 1e12
	if !(math.Abs(got-plate) <= 0.01*plate) {
		t.Errorf("the coefficient 1.41 pF/inch gives %.4f pF, the derivation %.4f pF", got, plate)
	}
}

// A public lesson on via inductance works the formula for a 1.6 mm board and a
// 0.3 mm drill: 1.30 nH.
func TestViaInductanceTrend(t *testing.T) {
	got := ViaInductanceTrend(1.6e-3, 0.3e-3) * 1e9
	refcheck.Record(t, "via-inductance-trend", "via_inductance_nH", "public lesson on via inductance, formula of Johnson and Graham 1993", 1.30, got, 0.005)
}

// Exact identities and limits of the closed forms.
func TestFormulaIdentities(t *testing.T) {
	near := func(what string, got, want, rel float64) {
		t.Helper()
		if !(math.Abs(got-want) <= rel*math.Abs(want)) {
			t.Errorf("%s: %.10g, want %.10g", what, got, want)
		}
	}
	for _, er := range []float64{1, 3, 3.66, 9.8} {
		near("clearance and impedance are inverse", ViaImpedance(0.2e-3, 0.2e-3*ClearanceRatio(50, er), er), 50, 1e-13)
		near("row width and resonance are inverse", RowResonance(RowWidth(44e9, er), er), 44e9, 1e-14)
		near("a square cavity's 1,1 is √2 of its 1,0", CavityResonance(2e-3, 2e-3, er, 1, 1), math.Sqrt2*CavityResonance(2e-3, 2e-3, er, 1, 0), 1e-14)
		near("half the width is a quarter wave", QuarterWave(1e-3, er), RowResonance(2e-3, er), 1e-14)
		near("a fence pitch of half a wave is the row width", FencePitch(30e9, er, 2), RowWidth(30e9, er), 1e-14)
	}
	// r → 0: (μ0/2π)h[ln(2h/r) − 3/2]
	h, r := 1e-3, 1e-9
	near("long thin via", ViaInductance(h, 2*r), line.Mu0/(2*math.Pi)*h*(math.Log(2*h/r)-1.5), 1e-6)
	if x := FenceAttenuation(2e-3, 1e-3, 60e9, 3); x != 0 {
		t.Errorf("a slot above cutoff attenuates by %v dB", x)
	}
	if !math.IsNaN(FenceAttenuation(math.NaN(), 1, 1, 1)) {
		t.Error("NaN is lost")
	}
	// The two published guide widths agree within 0.1 % where both hold.
	if a, b := GuideWidth(1.2e-3, 0.2e-3, 0.4e-3), GuideWidthXuWu(1.2e-3, 0.2e-3, 0.4e-3); !(math.Abs(a-b) < 1e-3*a) {
		t.Errorf("guide widths %.6g and %.6g m", a, b)
	}
}
