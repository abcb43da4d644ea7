package fit

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

func list(t *testing.T, s string) []float64 {
	t.Helper()
	var out []float64
	for _, w := range strings.Fields(s) {
		x, err := strconv.ParseFloat(w, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, x)
	}
	return out
}

// The straight line of JCGM 100 H.3, with its uncertainties, from the rows of measurement.csv.
// The other rows of that table are other packages' (network, timedomain,
// tolerance/sample).
func TestRows(t *testing.T) {
	seen := 0
	for _, r := range refcheck.Rows(t, "measurement.csv") {
		if !r.Has("correction_C") {
			continue
		}
		seen++
		t0 := r.Num(t, "t0_C")
		var rows [][]float64
		for _, x := range list(t, r.Inputs["t_C"]) {
			rows = append(rows, []float64{1, x - t0})
		}
		f, err := Linear(rows, list(t, r.Inputs["correction_C"]), nil)
		if err != nil {
			t.Fatal(err)
		}
		switch r.Quantity {
		case "intercept_C":
			r.Check(t, f.Value[0])
		case "intercept_standard_uncertainty_C":
			r.Check(t, f.Uncertainty(0))
		case "slope":
			r.Check(t, f.Value[1])
		default:
			t.Errorf("%s: %s is not handled", r.ID, r.Quantity)
		}
		// Printed beside them in H.3.4: u(y2) = 0.000 67, r = −0.930, s = 0.0035 °C, and at 30 °C −0.1494 ± 0.0041 °C.
		const source = "JCGM 100:2008 H.3.4, H.3.5 (from memory)"
		refcheck.Record(t, "H.3-slope-u", "slope_standard_uncertainty", source, 0.00067, f.Uncertainty(1), 6e-6)
		refcheck.Record(t, "H.3-correlation", "correlation", source, -0.930, f.Correlation(0, 1), 6e-4)
		refcheck.Record(t, "H.3-s", "residual_standard_deviation_C", source, 0.0035, math.Sqrt(f.Reduced), 6e-5)
		refcheck.Record(t, "H.3-30", "correction_at_30_C", source, -0.1494, f.Value[0]+10*f.Value[1], 6e-5)
		refcheck.Record(t, "H.3-30-u", "uncertainty_at_30_C", source, 0.0041, f.Of(1, 10), 6e-5)
	}
	if seen != 3 {
		t.Errorf("%d rows of JCGM 100 H.3, want 3", seen)
	}
}

// Given uncertainties are used as they are, and the covariance is true: over draws
// the mean of dᵀV⁻¹d is the number of parameters.
func TestLinearCovariance(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	truth := []float64{2, -0.7, 0.05}
	const n, draws = 40, 2000
	rows, sigma := make([][]float64, n), make([]float64, n)
	for i := range rows {
		x := float64(i) / 4
		rows[i] = []float64{1, x, x * x}
		sigma[i] = 0.1 * (1 + x)
	}
	var z [3]float64 // of each parameter, (d/u)²
	var chi float64
	for range draws {
		y := make([]float64, n)
		for i, row := range rows {
			for j, x := range row {
				y[i] += truth[j] * x
			}
			y[i] += sigma[i] * r.NormFloat64()
		}
		f, err := Linear(rows, y, sigma)
		if err != nil {
			t.Fatal(err)
		}
		for j := range z {
			d := (f.Value[j] - truth[j]) / f.Uncertainty(j)
			z[j] += d * d / draws
		}
		chi += f.Reduced / draws
	}
	for j, v := range z {
		if !(math.Abs(v-1) <= 0.12) { // 4 σ of a mean of 2000 χ² values
			t.Errorf("parameter %d: (d/u)² is %.3f on average, want 1", j, v)
		}
	}
	if !(math.Abs(chi-1) <= 0.02) {
		t.Errorf("reduced χ² %.4f on average, want 1", chi)
	}
}

func TestLinearFaults(t *testing.T) {
	one := []float64{1, 2}
	for name, c := range map[string]struct {
		rows     [][]float64
		y, sigma []float64
		want     error
	}{
		"none":   {nil, nil, nil, ErrFew},
		"few":    {[][]float64{one}, []float64{1}, nil, ErrFew},
		"sigma":  {[][]float64{one, {2, 1}}, []float64{1, 2}, []float64{1}, ErrFew},
		"twins":  {[][]float64{{1, 2}, {2, 4}, {3, 6}}, []float64{1, 2, 3}, nil, ErrTwin},
		"absent": {[][]float64{{1, 0}, {2, 0}, {3, 0}}, []float64{1, 2, 3}, nil, ErrTwin},
	} {
		if _, err := Linear(c.rows, c.y, c.sigma); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
}

// Wampler1 and Wampler2 of the same collection, made to break normal equations: polynomials of
// degree five at x = 0 ... 20, y = Σ x^k and y = Σ (x/10)^k, whose certified coefficients are exactly 1 and 10^−k.
func TestWampler(t *testing.T) {
	for i, base := range []float64{1, 0.1} {
		var rows [][]float64
		var y []float64
		for x := range 21 {
			row, sum := make([]float64, 6), 0.0
			for k := range row {
				row[k] = math.Pow(float64(x), float64(k))
				sum += math.Pow(base*float64(x), float64(k))
			}
			rows, y = append(rows, row), append(y, sum)
		}
		f, err := Linear(rows, y, nil)
		if err != nil {
			t.Fatal(err)
		}
		for k, v := range f.Value {
			want := math.Pow(base, float64(k))
			refcheck.Record(t, fmt.Sprintf("wampler%d-b%d", i+1, k), "coefficient", "NIST StRD, Wampler data sets, certified values", want, v, 1e-8*want)
		}
	}
}

// Misra1a of the NIST Statistical Reference Datasets: y = b1 (1 − e^{−b2 x}), from both published starts.
// Certified values: 2.3894212918E+02 ± 2.7070075241E+00, 5.5015643181E-04 ± 7.2668688436E-06,
// residual sum of squares 1.2455138894E-01.
func TestMisra1a(t *testing.T) {
	y := list(t, "10.07 14.73 17.94 23.93 29.61 35.18 40.02 44.82 50.76 55.05 61.01 66.40 75.47 81.78")
	x := list(t, "77.6 114.9 141.1 190.8 239.9 289.0 332.8 378.4 434.8 477.3 536.8 593.1 689.1 760.0")
	const source = "NIST StRD, Misra1a, certified values"
	for _, start := range [][]float64{{500, 0.0001}, {250, 0.0005}} {
		f, err := Nonlinear(func(p, out []float64) {
			for i := range out {
				out[i] = p[0] * -math.Expm1(-p[1]*x[i])
			}
		}, start, y, nil, NonlinearOptions{})
		if err != nil {
			t.Fatal(err)
		}
		refcheck.Record(t, "misra1a-b1", "b1", source, 2.3894212918e2, f.Value[0], 2.4e-6)
		refcheck.Record(t, "misra1a-b2", "b2", source, 5.5015643181e-4, f.Value[1], 5.5e-12)
		refcheck.Record(t, "misra1a-u1", "standard_deviation_of_b1", source, 2.7070075241, f.Uncertainty(0), 2.7e-6)
		refcheck.Record(t, "misra1a-u2", "standard_deviation_of_b2", source, 7.2668688436e-6, f.Uncertainty(1), 7.3e-12)
		refcheck.Record(t, "misra1a-rss", "residual_sum_of_squares", source, 1.2455138894e-1, f.RMS*f.RMS*14, 5e-9) // half the eighth digit, which Record keeps
	}
}

// A linear law by the nonlinear search is what Linear gives: the independent route.
func TestNonlinearIsLinear(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	rows, y, sigma := make([][]float64, 30), make([]float64, 30), make([]float64, 30)
	for i := range rows {
		f := 1e9 * float64(i+1)
		rows[i] = []float64{math.Sqrt(f), f}
		sigma[i] = 1e-3 * (1 + r.Float64())
		y[i] = 2e-6*math.Sqrt(f) + 3e-11*f + sigma[i]*r.NormFloat64()
	}
	a, err := Linear(rows, y, sigma)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Nonlinear(func(p, out []float64) {
		for i, row := range rows {
			out[i] = p[0]*row[0] + p[1]*row[1]
		}
	}, []float64{1e-6, 1e-11}, y, sigma, NonlinearOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for j := range a.Value {
		if !(math.Abs(a.Value[j]-b.Value[j]) <= 1e-8*math.Abs(a.Value[j]) && math.Abs(a.Uncertainty(j)-b.Uncertainty(j)) <= 1e-6*a.Uncertainty(j)) {
			t.Errorf("parameter %d: %.12g ± %.6g linear, %.12g ± %.6g searched", j, a.Value[j], a.Uncertainty(j), b.Value[j], b.Uncertainty(j))
		}
	}
	if d := a.Correlation(0, 1) - b.Correlation(0, 1); !(math.Abs(d) <= 1e-6) {
		t.Errorf("correlation off by %g", d)
	}
}

func TestNonlinearFaults(t *testing.T) {
	if _, err := Nonlinear(func(p, out []float64) {}, []float64{1, 2}, []float64{1}, nil, NonlinearOptions{}); !errors.Is(err, ErrFew) {
		t.Errorf("one value for two parameters: %v", err)
	}
	nan := func(p, out []float64) {
		for i := range out {
			out[i] = math.NaN()
		}
	}
	if _, err := Nonlinear(nan, []float64{1}, []float64{1, 2}, nil, NonlinearOptions{}); !errors.Is(err, ErrDiverged) {
		t.Errorf("a law that is no number: %v", err)
	}
	sum := func(p, out []float64) {
		for i := range out {
			out[i] = (p[0] + p[1]) * float64(i)
		}
	}
	if _, err := Nonlinear(sum, []float64{1, 1}, []float64{0, 1, 2.1, 2.9}, nil, NonlinearOptions{}); !errors.Is(err, ErrTwin) {
		t.Errorf("two parameters that only their sum matters of: %v", err)
	}
}
