package sample

import (
	"context"
	"math"
	"strconv"
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

func TestMain(m *testing.M) { refcheck.Main(m, "job-tolerance-sample") }

// list reads a row's blank-separated input.
func list(t *testing.T, r refcheck.Row, name string) []float64 {
	t.Helper()
	var xs []float64
	for _, f := range strings.Fields(r.Inputs[name]) {
		x, err := strconv.ParseFloat(f, 64)
		if err != nil {
			t.Fatalf("%s: %v", r.ID, err)
		}
		xs = append(xs, x)
	}
	return xs
}

// The rows of measurement.csv on uncertainty: GUM annexes G and H, its
// Supplement 1, EA-4/02 S7. Those on files and time domain belong to the
// packages that read and transform them.
func TestMeasurementTable(t *testing.T) {
	elsewhere := map[string]string{
		"passivity_quality_percent": "file quality", "reciprocity_quality_percent": "file quality",
		"causality_quality_percent": "file quality", "lower_limit_percent": "file quality",
		"rise_time_10_90_s": "time domain", "combined_rise_time_s": "time domain", "impedance_ohm": "time domain",
		"tdr_reflection_area_s": "time domain", "tdr_peak_reflection": "time domain",
		"half_amplitude_impulse_width_s": "time domain", "alias_free_length_m": "time domain",
		"excess_phase_lag_rad": "line", "return_loss_error_plus_dB": "measurement error", "return_loss_error_minus_dB": "measurement error",
		"worst_case_uncertainty": "measurement error",
	}
	for _, r := range refcheck.Rows(t, "measurement.csv") {
		if elsewhere[r.Quantity] != "" {
			continue
		}
		switch {
		case r.Has("V_volt"):
			impedance(t, r)
		case r.Has("t_C"):
			thermometer(t, r)
		case r.Has("contributions_nm"):
			r.Check(t, Combine(list(t, r, "contributions_nm")...))
		case r.Has("standard_uncertainties"):
			r.Check(t, EffectiveFreedom(list(t, r, "standard_uncertainties"), list(t, r, "degrees_of_freedom")))
		case r.Has("coverage_probability"):
			r.Check(t, CoverageFactor(r.Num(t, "degrees_of_freedom"), r.Num(t, "coverage_probability")))
		case r.Has("observations_dB"):
			e := MeanOf(list(t, r, "observations_dB"))
			if r.Quantity == "mean_dB" {
				r.Check(t, e.Mean)
			} else {
				r.Check(t, e.Uncertainty)
			}
		case r.Quantity == "coverage_interval_95_half_width":
			r.Check(t, additive(t, strings.Contains(r.Inputs["inputs"], "rectangular")))
		case r.Has("u_x1"):
			comparison(t, r)
		default:
			t.Errorf("%s: no check for %s", r.ID, r.Quantity)
		}
	}
}

// GUM H.2: resistance and reactance from simultaneous readings of voltage,
// current and phase.
func impedance(t *testing.T, r refcheck.Row) {
	v, i, phi := list(t, r, "V_volt"), list(t, r, "I_ampere"), list(t, r, "phi_rad")
	x, u := make([]float64, 3), make([]float64, 3)
	for k, obs := range [][]float64{v, i, phi} {
		e := MeanOf(obs)
		x[k], u[k] = e.Mean, e.Uncertainty
	}
	p, err := Propagate(func(x, y []float64) {
		y[0], y[1] = x[0]/x[1]*math.Cos(x[2]), x[0]/x[1]*math.Sin(x[2])
	}, 2, x, u, []Correlation{{0, 1, CorrelationOf(v, i)}, {0, 2, CorrelationOf(v, phi)}, {1, 2, CorrelationOf(i, phi)}})
	if err != nil {
		t.Fatal(err)
	}
	switch r.Quantity {
	case "resistance_ohm":
		r.Check(t, p.Value[0])
	case "resistance_standard_uncertainty_ohm":
		r.Check(t, p.Uncertainty[0])
	case "reactance_ohm":
		r.Check(t, p.Value[1])
	case "correlation_R_X":
		r.Check(t, p.Correlation[0][1])
	default:
		t.Errorf("%s: no check for %s", r.ID, r.Quantity)
	}
}

// GUM H.3: a thermometer's calibration line.
func thermometer(t *testing.T, r refcheck.Row) {
	x := list(t, r, "t_C")
	for i := range x {
		x[i] -= r.Num(t, "t0_C")
	}
	f, err := FitLine(x, list(t, r, "correction_C"))
	if err != nil {
		t.Fatal(err)
	}
	switch r.Quantity {
	case "intercept_C":
		r.Check(t, f.Intercept)
	case "intercept_standard_uncertainty_C":
		r.Check(t, f.UIntercept)
	case "slope":
		r.Check(t, f.Slope)
	default:
		t.Errorf("%s: no check for %s", r.ID, r.Quantity)
	}
}

// draws runs a plan to its end.
func draws(t *testing.T, s Study, p Plan) State {
	t.Helper()
	st, err := New(s, p)
	if err != nil {
		t.Fatal(err)
	}
	if st, err = Run(context.Background(), s, st, Options{Batch: 1024}); err != nil {
		t.Fatal(err)
	}
	return st
}

func in(ds ...Distribution) []Input {
	var out []Input
	for i, d := range ds {
		out = append(out, Input{"x" + strconv.Itoa(i+1), d})
	}
	return out
}

func of(f func(x []float64) float64) ([]Output, Model) {
	return []Output{{Name: "y", Margin: true}}, func(_ context.Context, x, y []float64) error {
		y[0] = f(x)
		return nil
	}
}

// JCGM 101 §9.2: the sum of four inputs.
func additive(t *testing.T, rectangular bool) float64 {
	var d Distribution = Normal{Sigma: 1}
	if rectangular {
		d = Uniform{-math.Sqrt(3), math.Sqrt(3)}
	}
	s := Study{Inputs: in(d, d, d, d)}
	s.Outputs, s.Model = of(func(x []float64) float64 { return x[0] + x[1] + x[2] + x[3] })
	c, err := CoverageIntervals(draws(t, s, Plan{Method: Sobol, Seed: 1, N: 1 << 18}).Column(0), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return (c.Symmetric.High - c.Symmetric.Low) / 2
}

// JCGM 101 §9.4: comparison loss in the calibration of a microwave power
// meter.
func comparison(t *testing.T, r refcheck.Row) {
	x, u := []float64{r.Num(t, "x1"), r.Num(t, "x2")}, []float64{r.Num(t, "u_x1"), r.Num(t, "u_x2")}
	loss := func(x []float64) float64 { return x[0]*x[0] + x[1]*x[1] }
	if r.Inputs["method"] == "GUM first order" {
		p, err := Propagate(func(x, y []float64) { y[0] = loss(x) }, 1, x, u, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Check(t, p.Uncertainty[0])
		return
	}
	s := Study{Inputs: in(Normal{x[0], u[0]}, Normal{x[1], u[1]})}
	if c := r.Num(t, "correlation"); c != 0 {
		s.Correlations = []Correlation{{0, 1, c}}
	}
	s.Outputs, s.Model = of(loss)
	st := draws(t, s, Plan{Method: Sobol, Seed: 2, N: 1 << 18})
	switch r.Quantity {
	case "expectation":
		r.Check(t, st.Output(0).Mean)
	case "standard_uncertainty":
		r.Check(t, st.Output(0).StandardDeviation)
	case "shortest_95_interval_upper":
		c, err := CoverageIntervals(st.Column(0), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		r.Check(t, c.Shortest.High)
	default:
		t.Errorf("%s: no check for %s", r.ID, r.Quantity)
	}
}

// Intervals for shares as printed.
func TestShareIntervals(t *testing.T) {
	const newcombe = "Newcombe, Statistics in Medicine 17 (1998) 857, Table I, methods 3 and 5 (from memory)"
	for _, c := range []struct {
		k, n                                       int
		wilsonLow, wilsonHigh, exactLow, exactHigh float64
	}{
		{81, 263, 0.2553, 0.3662, 0.2527, 0.3676},
		{15, 148, 0.0624, 0.1605, 0.0578, 0.1617},
		{0, 20, 0, 0.1611, 0, 0.1684},
		{1, 29, 0.0061, 0.1718, 0.0009, 0.1776},
	} {
		w, e := Wilson(c.k, c.n, 0.95), ClopperPearson(c.k, c.n, 0.95)
		name := strconv.Itoa(c.k) + " of " + strconv.Itoa(c.n)
		refcheck.Record(t, name+" Wilson low", "share", newcombe, c.wilsonLow, w.Low, 0.5e-4)
		refcheck.Record(t, name+" Wilson high", "share", newcombe, c.wilsonHigh, w.High, 0.5e-4)
		refcheck.Record(t, name+" exact low", "share", newcombe, c.exactLow, e.Low, 0.5e-4)
		refcheck.Record(t, name+" exact high", "share", newcombe, c.exactHigh, e.High, 0.5e-4)
	}
	const conover = "Conover, Practical Nonparametric Statistics (1999), tabled limits for 5 of 25, as quoted in a public course on confidence intervals of proportions"
	e := ClopperPearson(5, 25, 0.95)
	refcheck.Record(t, "5 of 25 exact low", "share", conover, 0.068, e.Low, 0.5e-3)
	refcheck.Record(t, "5 of 25 exact high", "share", conover, 0.407, e.High, 0.5e-3)
}

// near compares with a figure that another hand computed or simulated: an
// independent evaluation, but no publication to record.
func near(t *testing.T, name string, want, got, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.6g, another hand has %g ± %g", name, got, want, tol)
	}
}

// One-sided capability, by another hand, and tolerance factors as printed.
func TestCapabilityTables(t *testing.T) {
	for _, c := range []struct {
		n    int
		want float64
	}{{5, 0.52}, {8, 0.71}, {10, 0.79}, {30, 1.03}, {50, 1.10}} {
		near(t, "95 % lower bound of Cpk 1.33 on "+strconv.Itoa(c.n), c.want, CpkLower(1.33, c.n, 0.95), 0.0051)
	}
	const iso = "one-sided tolerance factors at 95 % confidence, ISO 16269-6 and Hahn and Meeker (from memory)"
	for _, c := range []struct {
		n              int
		coverage, want float64
	}{{5, 0.95, 4.203}, {10, 0.95, 2.911}, {10, 0.99, 3.981}, {30, 0.95, 2.220}, {50, 0.95, 2.065}} {
		refcheck.Record(t, "tolerance factor n="+strconv.Itoa(c.n)+" p="+strconv.FormatFloat(c.coverage, 'g', -1, 64), "factor", iso, c.want, ToleranceFactor(c.n, c.coverage, 0.95), 0.0006)
	}
	const wilks = "Wilks: 59 and 93 pieces for the first and second smallest at 95 %/95 % (from memory)"
	for _, c := range []struct{ n, want int }{{58, 0}, {59, 1}, {92, 1}, {93, 2}} {
		refcheck.Record(t, "order statistic of "+strconv.Itoa(c.n), "rank", wilks, float64(c.want), float64(OrderStatisticBound(c.n, 0.05, 0.95)), 0)
	}
}

// Set widths: the constants of control charts, and the sorting figures that
// another hand simulated with 400 trials.
func TestSortingTables(t *testing.T) {
	const d2 = "d2 of control charts, Tippett 1925 and ASTM tables (from memory)"
	for _, c := range []struct {
		n    int
		want float64
	}{{2, 1.128}, {3, 1.693}, {5, 2.326}, {10, 3.078}, {25, 3.931}} {
		refcheck.Record(t, "range of "+strconv.Itoa(c.n), "sigma", d2, c.want, ExpectedRange(c.n), 0.0005)
	}
	near(t, "width of 24 random pieces", 3.9, ExpectedRange(24), 0.05)
	near(t, "width of 64 random pieces", 4.7, ExpectedRange(64), 0.05)
	for _, c := range []struct {
		build int
		want  float64
	}{{30, 2.2}, {40, 1.4}} {
		w, err := TightestSet(c.build, 24, Sorting{Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		// Half the last digit, and twice the standard error of 400 trials of theirs.
		near(t, "tightest 24 of "+strconv.Itoa(c.build), c.want, w.Mean, 0.05+2*w.StandardDeviation/20)
	}
}
