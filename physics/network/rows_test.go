package network

import (
	"math"
	"math/cmplx"
	"strconv"
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

func complexInput(t *testing.T, r refcheck.Row, name string) complex128 {
	t.Helper()
	z, err := refcheck.Complex(r.Inputs[name])
	if err != nil {
		t.Fatalf("%s: input %q is %q: %v", r.ID, name, r.Inputs[name], err)
	}
	return z
}

// list reads a blank-separated input.
func list(t *testing.T, s string) []complex128 {
	t.Helper()
	var zs []complex128
	for _, w := range strings.Fields(s) {
		z, err := refcheck.Complex(w)
		if err != nil {
			t.Fatal(err)
		}
		zs = append(zs, z)
	}
	return zs
}

// within reads the tolerance "abs X" or "rel X" of a complex row; its words may
// add "*max(1,|value|)".
func within(t *testing.T, r refcheck.Row, got complex128) {
	t.Helper()
	words := strings.Fields(r.Tolerance)
	num, scaled := strings.CutSuffix(strings.TrimRight(words[1], ":"), "*max(1,|value|)")
	tol, err := strconv.ParseFloat(num, 64)
	if err != nil {
		t.Fatalf("%s: tolerance %q", r.ID, r.Tolerance)
	}
	want, err := refcheck.Complex(r.Value)
	if err != nil {
		t.Fatalf("%s: value %q", r.ID, r.Value)
	}
	switch {
	case words[0] == "rel":
		tol *= cmplx.Abs(want)
	case scaled:
		tol *= math.Max(1, cmplx.Abs(want))
	}
	r.WithinComplex(t, got, tol)
}

// rowNetwork builds the network a row describes by its S-parameters, or by an element.
func rowNetwork(t *testing.T, r refcheck.Row) Network {
	t.Helper()
	ref := complex128(50)
	if r.Has("z_ref_ohm") {
		ref = complexInput(t, r, "z_ref_ohm")
	}
	f := []float64{1e9}
	if r.Has("frequency_Hz") {
		f[0] = r.Num(t, "frequency_Hz")
	}
	omega := 2 * math.Pi * f[0]
	switch {
	case r.Has("s33"):
		n := New(4, f, ref)
		for i := range 4 {
			for j := range 4 {
				n.Set(0, i, j, complexInput(t, r, "s"+strconv.Itoa(i+1)+strconv.Itoa(j+1)))
			}
		}
		return n
	case r.Has("s11"):
		n := New(2, f, ref)
		for i := range 2 {
			for j := range 2 {
				n.Set(0, i, j, complexInput(t, r, "s"+strconv.Itoa(i+1)+strconv.Itoa(j+1)))
			}
		}
		return n
	case r.Has("s11_mag"):
		n := New(2, f, ref)
		for i := range 2 {
			for j := range 2 {
				s := "s" + strconv.Itoa(i+1) + strconv.Itoa(j+1)
				n.Set(0, i, j, cmplx.Rect(r.Num(t, s+"_mag"), r.Num(t, s+"_deg")*math.Pi/180))
			}
		}
		return n
	case r.Inputs["topology"] == "T":
		return must(Cascade(
			Series(f, ref, constant(complexInput(t, r, "z_series_1_ohm"))),
			Shunt(f, ref, constant(1/complexInput(t, r, "z_shunt_ohm"))),
			Series(f, ref, constant(complexInput(t, r, "z_series_2_ohm")))))
	case r.Inputs["element"] == "series L":
		return Series(f, ref, constant(complex(0, omega*r.Num(t, "inductance_H"))))
	case r.Inputs["element"] == "shunt C":
		return Shunt(f, ref, constant(complex(0, omega*r.Num(t, "capacitance_F"))))
	case r.Has("electrical_length_deg"):
		gl := complex(r.Num(t, "loss_dB")*math.Ln10/20, r.Num(t, "electrical_length_deg")*math.Pi/180)
		return Line(f, ref, func(float64) (complex128, complex128) { return gl, complexInput(t, r, "line_impedance_ohm") })
	case r.Has("element_1"):
		var chain []Network
		for e := 1; r.Has("element_" + strconv.Itoa(e)); e++ {
			name := "element_" + strconv.Itoa(e)
			switch r.Inputs[name] {
			case "shunt_C":
				chain = append(chain, Shunt(f, ref, constant(complex(0, omega*r.Num(t, name+"_F")))))
			case "line":
				gl := complex(r.Num(t, name+"_loss_Np"), omega*r.Num(t, name+"_length_m")*math.Sqrt(r.Num(t, name+"_eps_r"))/299792458)
				chain = append(chain, Line(f, ref, func(float64) (complex128, complex128) { return gl, complexInput(t, r, name+"_ohm") }))
			default:
				t.Fatalf("%s: element %q", r.ID, r.Inputs[name])
			}
		}
		return must(Cascade(chain...))
	}
	t.Fatalf("%s: no network in %v", r.ID, r.Inputs)
	return Network{}
}

func TestNetworkRows(t *testing.T) {
	for _, r := range refcheck.Rows(t, "network.csv") {
		element := func(i, j int) complex128 { return rowNetwork(t, r).At(0, i, j) }
		switch q := r.Quantity; {
		case q == "return_loss_dB" && r.Has("vswr"):
			r.Check(t, ReturnLoss(FromVSWR(r.Num(t, "vswr"))))
		case q == "return_loss_dB" && r.Inputs["port_2"] == "matched":
			ended := must(Join(rowNetwork(t, r), 1, Load([]float64{1e9}, 50, constant(50)), 0))
			r.Check(t, ReturnLoss(cmplx.Abs(ended.S[0])))
		case q == "mismatch_loss_dB":
			r.Check(t, MismatchLoss(FromVSWR(r.Num(t, "vswr"))))
		case q == "vswr" && r.Has("return_loss_dB"):
			r.Check(t, VSWR(FromReturnLoss(r.Num(t, "return_loss_dB"))))
		case q == "combined_vswr_maximum":
			_, s := VSWRLimits(r.Num(t, "vswr_1"), r.Num(t, "vswr_2"))
			r.Check(t, s)
		case q == "combined_vswr_minimum":
			s, _ := VSWRLimits(r.Num(t, "vswr_1"), r.Num(t, "vswr_2"))
			r.Check(t, s)
		case strings.HasPrefix(q, "mismatch_"):
			u := NewMismatchUncertainty(FromVSWR(r.Num(t, "vswr_source")), FromVSWR(r.Num(t, "vswr_load")))
			r.Check(t, map[string]float64{
				"mismatch_uncertainty_plus_dB": u.Plus, "mismatch_uncertainty_minus_dB": u.Minus,
				"mismatch_standard_uncertainty_dB": u.Standard}[q])
		case q == "reflection_magnitude":
			var chain []Reflector
			for _, z := range list(t, r.Inputs["reflection_magnitudes"]) {
				chain = append(chain, Reflector{Magnitude: real(z)})
			}
			switch c := r.Inputs["combination"]; {
			case strings.HasPrefix(c, "first-order"):
				r.Check(t, Worst(chain))
			case strings.HasPrefix(c, "exact"):
				r.Check(t, WorstExact(chain))
			case c == "RSS":
				r.Check(t, RSS(chain))
			default:
				t.Errorf("%s: combination %q is not handled", r.ID, c)
			}
		case q == "input_return_loss_dB":
			loss := r.Num(t, "one_way_attenuation_dB") * math.Ln10 / 20
			r.Check(t, ReturnLoss(Worst([]Reflector{{Loss: loss}, {Magnitude: r.Num(t, "load_reflection_magnitude")}})))
		case q == "S21_real":
			r.Check(t, real(element(1, 0)))
		case q == "S11":
			within(t, r, element(0, 0))
		case q == "S21":
			within(t, r, element(1, 0))
		case q == "reflection_coefficient_real":
			n := rowNetwork(t, r)
			r.Check(t, real(must(Join(n, 1, Load(n.Frequency, 50, constant(0)), 0)).S[0]))
		case r.Has("load_ohm"):
			z0 := complexInput(t, r, "line_impedance_ohm")
			f := []float64{1e9}
			line := Line(f, z0, func(float64) (complex128, complex128) {
				return complex(0, 2*math.Pi*r.Num(t, "length_wavelengths")), z0
			})
			gamma := must(Join(line, 1, Load(f, z0, constant(complexInput(t, r, "load_ohm"))), 0)).S[0]
			if q == "vswr" {
				r.Check(t, VSWR(cmplx.Abs(gamma)))
			} else {
				within(t, r, ImpedanceOf(gamma, z0))
			}
		case q == "load_impedance_ohm":
			// At the minimum of voltage, a distance l before the load, Γ is −ρ.
			f, z0 := []float64{1e9}, complexInput(t, r, "line_impedance_ohm")
			l := 2 * math.Pi * r.Num(t, "first_minimum_m") / r.Num(t, "wavelength_m")
			back := Line(f, z0, func(float64) (complex128, complex128) { return complex(0, -l), z0 })
			minimum := New(1, f, z0)
			minimum.S[0] = complex(-FromVSWR(r.Num(t, "vswr")), 0)
			within(t, r, ImpedanceOf(must(Join(back, 1, minimum, 0)).S[0], z0))
		case q == "first_section_normalised_impedance":
			r.Check(t, maximallyFlat(t, int(r.Num(t, "sections")), r.Num(t, "load_to_source_ratio")))
		case strings.HasPrefix(q, "abcd_"):
			ms, err := rowNetwork(t, r).ABCD()
			if err != nil {
				t.Fatal(err)
			}
			within(t, r, map[string]complex128{"abcd_A": ms[0].A, "abcd_B_ohm": ms[0].B, "abcd_C_S": ms[0].C, "abcd_D": ms[0].D}[q])
		case strings.HasPrefix(q, "Z"):
			z, err := rowNetwork(t, r).Impedance()
			if err != nil {
				t.Fatal(err)
			}
			within(t, r, z[map[string]int{"Z11_ohm": 0, "Z12_ohm": 1, "Z21_ohm": 2, "Z22_ohm": 3}[q]])
		case strings.HasSuffix(q, "_renormalised"):
			to := []complex128{0}
			if r.Has("new_z_ref_ohm") {
				to[0] = complexInput(t, r, "new_z_ref_ohm")
			} else {
				to = []complex128{complexInput(t, r, "new_z_ref_port1_ohm"), complexInput(t, r, "new_z_ref_port2_ohm")}
			}
			s := must(rowNetwork(t, r).Renormalise(to...)).S
			if r.Inputs["definition"] == "pseudo waves" {
				p, err := rowNetwork(t, r).PseudoWaves(to...)
				if err != nil {
					t.Fatal(err)
				}
				s = p.S
			}
			within(t, r, s[map[string]int{"S11": 0, "S12": 1, "S21": 2, "S22": 3}[q[:3]]])
		case strings.HasPrefix(q, "Sdd"):
			pair := func(i int) Pair {
				a := list(t, r.Inputs["pair_A_ports"])[i]
				b := list(t, r.Inputs["pair_B_ports"])[i]
				return Pair{int(real(a)) - 1, int(real(b)) - 1}
			}
			plus, minus := pair(0), pair(1) // port lists run by pair: turn them round
			m, err := rowNetwork(t, r).Mixed(Pair{plus.Plus, minus.Plus}, Pair{plus.Minus, minus.Minus})
			if err != nil {
				t.Fatal(err)
			}
			within(t, r, m.DD(0, int(q[3]-'1'), int(q[4]-'1')))
		case q == "largest_singular_value":
			n := rowNetwork(t, r)
			r.Check(t, n.Passivity().Value)
			if sv := SingularValues(2, n.S)[0]; !(math.Abs(sv-n.Passivity().Value) <= 1e-14) {
				t.Errorf("%s: Jacobi gives %.16g, the closed form %.16g", r.ID, sv, n.Passivity().Value)
			}
		default:
			t.Errorf("%s: %s of %v is not handled", r.ID, q, r.Inputs)
		}
	}
}

// maximallyFlat returns the first normalised impedance of a quarter-wave
// transformer of two or three sections between 1 and ratio, whose reflection
// vanishes at the centre frequency together with its first derivative. The
// sections are antisymmetric, Z1·ZN = ratio, which for two and for three sections
// makes the centre reflection vanish when Z2 = Z1√ratio, respectively √ratio.
// For two sections these two conditions give Z1 = ratio^¼, whose derivative is
// then checked to vanish; for three Z1 is found where the derivative vanishes.
func maximallyFlat(t *testing.T, sections int, ratio float64) float64 {
	const theta = 1e-4 // rad from the centre
	slope := func(z1 float64) float64 {
		zs := []float64{z1, ratio / z1}
		if sections == 3 {
			zs = []float64{z1, math.Sqrt(ratio), ratio / z1}
		}
		f := []float64{1e9}
		chain := make([]Network, sections)
		for i, z := range zs {
			chain[i] = Line(f, 1, func(float64) (complex128, complex128) { return complex(0, math.Pi/2-theta), complex(z, 0) })
		}
		n := must(Join(must(Cascade(chain...)), 1, Load(f, 1, constant(complex(ratio, 0))), 0))
		// Near the centre Γ = c·θ times a phasor that the sections' delay sets.
		turned := n.S[0] * cmplx.Rect(1, float64(sections)*math.Pi/2)
		return imag(turned) / theta
	}
	switch sections {
	case 2:
		z1 := math.Pow(ratio, 0.25)
		if !(math.Abs(slope(z1)) <= 1e-3) || !(math.Abs(slope(z1*1.01)) > math.Abs(slope(z1))) {
			t.Errorf("two sections: the derivative is %g", slope(z1))
		}
		return z1
	case 3:
		low, high := 1.01, 1.3
		if slope(low)*slope(high) > 0 {
			t.Fatalf("three sections: slopes %g and %g", slope(low), slope(high))
		}
		for range 60 {
			mid := (low + high) / 2
			if slope(low)*slope(mid) <= 0 {
				high = mid
			} else {
				low = mid
			}
		}
		return low
	}
	t.Fatalf("%d sections", sections)
	return 0
}

// What measurement.csv holds beside network quality, couplers and one-port
// errors is computed elsewhere.
var measurementElsewhere = map[string]string{
	"rise_time_10_90_s": "time domain", "combined_rise_time_s": "time domain",
	"impedance_ohm": "time domain", "tdr_reflection_area_s": "time domain", "tdr_peak_reflection": "time domain",
	"half_amplitude_impulse_width_s": "time domain", "alias_free_length_m": "time domain",
	"excess_phase_lag_rad": "line",
	"resistance_ohm":       "uncertainty", "resistance_standard_uncertainty_ohm": "uncertainty", "reactance_ohm": "uncertainty",
	"correlation_R_X": "uncertainty", "intercept_C": "uncertainty", "intercept_standard_uncertainty_C": "uncertainty",
	"slope": "uncertainty", "combined_standard_uncertainty_nm": "uncertainty", "effective_degrees_of_freedom": "uncertainty",
	"coverage_factor": "uncertainty", "coverage_interval_95_half_width": "uncertainty", "expectation": "uncertainty",
	"standard_uncertainty": "uncertainty", "shortest_95_interval_upper": "uncertainty", "mean_dB": "uncertainty",
	"standard_uncertainty_of_mean_dB": "uncertainty",
}

func TestMeasurementRows(t *testing.T) {
	for _, r := range refcheck.Rows(t, "measurement.csv") {
		quality := func(n Network) Quality {
			q, err := n.InitialQuality()
			if err != nil {
				t.Errorf("%s: %v", r.ID, err)
			}
			return q
		}
		fourPoints := func() Network {
			n := New(2, grid(0, 3e9, 4), 50)
			for i := range 2 {
				for j := range 2 {
					for k, z := range list(t, r.Inputs["s"+strconv.Itoa(i+1)+strconv.Itoa(j+1)]) {
						n.Set(k, i, j, z)
					}
				}
			}
			return n
		}
		switch q := r.Quantity; {
		case q == "passivity_quality_percent":
			r.Check(t, quality(fourPoints()).Passivity)
		case q == "reciprocity_quality_percent":
			r.Check(t, quality(fourPoints()).Reciprocity)
		case q == "causality_quality_percent" && r.Has("tau_s"):
			f0, df, m := r.Num(t, "frequency_start_Hz"), r.Num(t, "frequency_step_Hz"), int(r.Num(t, "points"))
			n := New(1, grid(f0, f0+df*float64(m-1), m), 50)
			for k, f := range n.Frequency {
				n.S[k] = cmplx.Rect(1, -2*math.Pi*f*r.Num(t, "tau_s"))
			}
			r.Check(t, quality(n).Causality)
		case q == "causality_quality_percent":
			s := list(t, r.Inputs["s"])
			r.Check(t, quality(Network{1, grid(0, 1e9*float64(len(s)-1), len(s)), []complex128{50}, s}).Causality)
		case q == "lower_limit_percent":
			r.Check(t, map[string]float64{
				"passivity_quality_percent good":       GoodPassivity,
				"passivity_quality_percent acceptable": AcceptablePassivity,
				"reciprocity_quality_percent good":     GoodReciprocity,
				"causality_quality_percent good":       GoodCausality,
			}[r.Inputs["metric"]+" "+r.Inputs["level"]])
		case q == "return_loss_error_plus_dB":
			high, _ := DirectivityError(FromReturnLoss(r.Num(t, "return_loss_dB")), FromReturnLoss(r.Num(t, "directivity_dB")))
			r.Check(t, high)
		case q == "return_loss_error_minus_dB":
			_, low := DirectivityError(FromReturnLoss(r.Num(t, "return_loss_dB")), FromReturnLoss(r.Num(t, "directivity_dB")))
			r.Check(t, low)
		case q == "worst_case_uncertainty":
			p := OnePort{r.Num(t, "residual_directivity"), r.Num(t, "residual_source_match"), r.Num(t, "residual_tracking")}
			r.Check(t, p.WorstCase(r.Num(t, "reflection_magnitude")))
		case measurementElsewhere[q] != "":
		default:
			t.Errorf("%s: %s of %v is not handled", r.ID, q, r.Inputs)
		}
	}
}
