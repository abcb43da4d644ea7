package timedomain_test

import (
	"math"
	"testing"

	"linewright/internal/refcheck"
	td "linewright/physics/timedomain"
)

func TestMain(m *testing.M) { refcheck.Main(m, "physics-timedomain") }

func edgeOf(t *testing.T, r refcheck.Row) td.Edge {
	switch r.Inputs["edge"] {
	case "ideal":
		return td.Step{}
	case "ramp":
		return td.Ramp{Duration: r.Num(t, "rise_time_0_100_s")}
	}
	t.Fatalf("%s: edge %q", r.ID, r.Inputs["edge"])
	return nil
}

// Every row of em_time.csv by the exact lattice, the exact lump, or the sum that
// defines the transform. Ten digits are printed; where the row's own error is less,
// half the last digit is allowed. The same numbers out of a transform of a swept
// network are in TestTransformMeetsExact.
func TestTimeRows(t *testing.T) {
	for _, r := range refcheck.Rows(t, "em_time.csv") {
		printed := 0.5e-9 * math.Pow(10, math.Floor(math.Log10(math.Abs(r.Want(t)))))
		tol := math.Max(printed, refTolerance(t, r))
		switch r.Inputs["case"] {
		case "tdr_stepped_line":
			line := td.SteppedLine{Reference: r.Num(t, "Zref_ohm"), Load: r.Num(t, "Zload_ohm"), Sections: []td.Section{
				{Impedance: r.Num(t, "Z1_ohm"), Delay: r.Num(t, "T1_oneway_s")},
				{Impedance: r.Num(t, "Z2_ohm"), Delay: r.Num(t, "T2_oneway_s")},
				{Impedance: r.Num(t, "Z3_ohm"), Delay: r.Num(t, "T3_oneway_s")},
			}}
			rho := line.Reflection(edgeOf(t, r), r.Num(t, "time_s"))
			switch r.Quantity {
			case "rho":
				r.Within(t, rho, tol)
			case "Z_apparent_ohm":
				r.Within(t, td.Impedance(line.Reference, rho), tol)
			default:
				t.Errorf("%s: quantity %s is not handled", r.ID, r.Quantity)
			}
		case "tdr_shunt_C_in_matched_line":
			r.Within(t, td.ShuntCapacitance(r.Num(t, "C_F"), r.Num(t, "Zref_ohm")).Response(edgeOf(t, r), r.Num(t, "time_s")), tol)
		case "tdr_series_L_in_matched_line":
			r.Within(t, td.SeriesInductance(r.Num(t, "L_H"), r.Num(t, "Zref_ohm")).Response(edgeOf(t, r), r.Num(t, "time_s")), tol)
		case "lowpass_impulse_from_harmonic_grid":
			if r.Inputs["window"] != "hann" || r.Inputs["S11"] != "-0.5*exp(-j*2*pi*f*2T)" {
				t.Errorf("%s: %v is not handled", r.ID, r.Inputs)
				continue
			}
			n, df := int(r.Num(t, "N_points")), r.Num(t, "df_Hz")
			s := td.Spectrum{Step: df, S: make([]complex128, n+1)}
			for k := range s.S {
				s.S[k] = -0.5 * cis(-2*math.Pi*float64(k)*df*2*r.Num(t, "T_s"))
			}
			at := r.Num(t, "time_s")
			r.Within(t, s.ImpulseAt(at, td.Hann), tol)
			// The fast transform on a grid of 1 ps, at whole picoseconds all.
			h := s.Impulse(td.Options{Window: td.Hann, Points: 10000, Lead: 1e-9})
			k := int(math.Round((at - h.Start) / h.Step))
			if got := h.Value[k]; !(math.Abs(got-r.Want(t)) <= tol+1e-3) {
				t.Errorf("%s: fast transform gives %.10g, want %s", r.ID, got, r.Value)
			}
		default:
			t.Errorf("%s: case %s is not handled", r.ID, r.Inputs["case"])
		}
	}
}

func refTolerance(t *testing.T, r refcheck.Row) float64 {
	return refcheck.Row{ID: r.ID, Value: r.Tolerance}.Want(t)
}

// The rows of measurement.csv on time domain.
func TestMeasurementRows(t *testing.T) {
	seen := 0
	for _, r := range refcheck.Rows(t, "measurement.csv") {
		switch r.ID {
		case "measurement-d009":
			r.Check(t, td.SinglePoleRise(r.Num(t, "bandwidth_3dB_Hz")))
		case "measurement-d010":
			r.Check(t, td.CombinedRise(2e-11, 1.5e-11))
		case "measurement-d011", "measurement-d012":
			r.Check(t, td.Impedance(r.Num(t, "z_ref_ohm"), r.Num(t, "tdr_reflection")))
		case "measurement-d013":
			r.Check(t, td.ShuntCapacitance(r.Num(t, "shunt_capacitance_F"), r.Num(t, "z0_ohm")).Area())
		case "measurement-d014":
			r.Check(t, td.SeriesInductance(r.Num(t, "series_inductance_H"), r.Num(t, "z0_ohm")).Area())
		case "measurement-d015":
			r.Check(t, td.ShuntCapacitance(r.Num(t, "shunt_capacitance_F"), r.Num(t, "z0_ohm")).Peak(r.Num(t, "linear_ramp_duration_s")))
		case "measurement-d016":
			r.Check(t, td.Window(td.Rectangular).Resolution(r.Num(t, "frequency_span_Hz"), 1e7).Impulse)
		case "measurement-d017", "measurement-d018":
			v := 299792458 / math.Sqrt(r.Num(t, "eps_r"))
			oneWay := td.Window(nil).Resolution(1e9, r.Num(t, "frequency_step_Hz")).AliasFree
			if r.Inputs["measurement"] == "reflection" {
				oneWay /= 2
			}
			r.Check(t, td.Path{{Length: 1, Velocity: v}}.Position(oneWay))
		case "measurement-d019":
			// A line long in wavelengths, so that the second order of loss per
			// radian does not count: 0.5 Np and 1e4 rad in 1 ns at 1.6 THz; the
			// second order, α²/2β, is taken off by extrapolating from 0.25 Np.
			excess := func(np float64) float64 {
				const f, d = 1e4 / (2 * math.Pi * 1e-9), 1e-9
				gl, _ := td.Loss{Skin: np / d / math.Sqrt(f)}.Line(50, d)(f)
				return (imag(gl) - 1e4) / real(gl)
			}
			r.Check(t, r.Num(t, "attenuation_Np")*richardson(excess(0.5), excess(0.25), excess(0.125)))
		default:
			continue
		}
		seen++
	}
	if seen != 11 {
		t.Errorf("%d rows d009 to d019 met, want 11", seen)
	}
}

// richardson removes the first and second power of x from values at x, x/2, x/4.
func richardson(a, b, c float64) float64 {
	ab, bc := 2*b-a, 2*c-b
	return (4*bc - ab) / 3
}
