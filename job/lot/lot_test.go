package lot

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"linewright/internal/refcheck"
	"linewright/job/tolerance/sample"
)

func TestMain(m *testing.M) { refcheck.Main(m, "job-lot") }

// The example of the handbook: 54 values of Rosner, tried for up to ten outliers
// at 5 %, of which three are found. Statistics and critical values as printed;
// the handbook cuts the digits off and does not round, hence 0.001.
// Source: [rosner1983], [nisthandbook] 1.3.5.17.3 (data and printed values from memory).
func TestRosnerExample(t *testing.T) {
	data := []float64{-0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26, 2.35,
		2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01}
	if len(data) != 54 {
		t.Fatal(len(data))
	}
	got := Deviates(data, 10, 0.05)
	if len(got) != 3 {
		t.Fatalf("%d outliers, the handbook finds 3: %+v", len(got), got)
	}
	for i, want := range []struct{ r, lambda, value float64 }{{3.118, 3.158, 6.01}, {2.942, 3.151, 5.42}, {3.179, 3.143, 5.34}} {
		name := fmt.Sprintf("rosner-%d", i+1)
		source := "Rosner 1983; NIST/SEMATECH e-Handbook 1.3.5.17.3 (from memory)"
		refcheck.Record(t, name+"-r", "extreme studentised deviate", source, want.r, got[i].Statistic, 0.001)
		refcheck.Record(t, name+"-lambda", "critical value at 5 %", source, want.lambda, got[i].Critical, 0.001)
		if got[i].Value != want.value {
			t.Errorf("outlier %d is %g, want %g", i+1, got[i].Value, want.value)
		}
	}
}

// One suspect: the two-sided test of Grubbs. Critical values at 5 % as printed
// in tables ([grubbs1969], from memory).
func TestGrubbs(t *testing.T) {
	for n, want := range map[int]float64{8: 2.126, 10: 2.290, 12: 2.412} {
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(i % 3)
		}
		x[n-1] = 1e3
		got := Deviates(x, 5, 0.05)
		if len(got) != 1 {
			t.Fatalf("n %d: %+v", n, got)
		}
		refcheck.Record(t, fmt.Sprintf("grubbs-%d", n), "critical value of Grubbs, two-sided 5 %", "Grubbs 1969 (from memory)", want, got[0].Critical, 0.001)
	}
}

// The printed critical values of A*²: 0.631, 0.752, 0.873 and 1.035 at 10, 5,
// 2.5 and 1 % [dagostino1986] table 4.7 (from memory).
func TestNormality(t *testing.T) {
	for p, a := range map[float64]float64{0.10: 0.631, 0.05: 0.752, 0.025: 0.873, 0.01: 1.035} {
		refcheck.Record(t, fmt.Sprintf("anderson-darling-%g", p), "probability of a larger statistic", "D'Agostino and Stephens 1986, table 4.7 (from memory)", p, andersonDarlingP(a), 0.02*p)
	}
	// Normal samples are rejected as often as the level says, extreme values far
	// more often.
	rng := rand.New(rand.NewPCG(1, 1))
	const lots, n = 2000, 40
	normal, extreme := 0, 0
	for range lots {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = rng.NormFloat64()
			y[i] = -math.Log(-math.Log(rng.Float64()))
		}
		m := sample.MeanOf(x)
		if normality(x, m.Mean, m.Deviation, 0.05).Rejected {
			normal++
		}
		m = sample.MeanOf(y)
		if normality(y, m.Mean, m.Deviation, 0.05).Rejected {
			extreme++
		}
	}
	if p := float64(normal) / lots; !(math.Abs(p-0.05) <= 0.015) {
		t.Errorf("%.3f of normal lots are rejected at 5 %%", p)
	}
	if extreme < lots*4/10 {
		t.Errorf("%d of %d lots of extreme values are rejected", extreme, lots)
	}
}

func lotOf(rng *rand.Rand, n, quantities int) ([]Quantity, []Unit) {
	var qs []Quantity
	for k := range quantities {
		qs = append(qs, Quantity{Name: fmt.Sprint("q", k), Unit: "dB", Margin: true})
	}
	units := make([]Unit, n)
	for i := range units {
		units[i] = Unit{Name: fmt.Sprintf("unit %d", i), Serial: float64(1000 + i)}
		for range quantities {
			units[i].Values = append(units[i].Values, 1+0.1*rng.NormFloat64())
		}
	}
	return qs, units
}

// Sound lots raise false alarms no more often than asked; planted outliers and
// drift are found.
func TestPlantedInLots(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	const lots, n, quantities = 400, 60, 6
	falseOut, falseDrift, foundOut, foundDrift := 0, 0, 0, 0
	for range lots {
		qs, units := lotOf(rng, n, quantities)
		any := func() (out, drift bool) {
			r, err := Analyse(qs, units, Options{})
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range r.Quantities {
				out = out || len(s.Outliers) > 0
				drift = drift || s.Drift.Detected
			}
			return out, drift
		}
		out, drift := any()
		if out {
			falseOut++
		}
		if drift {
			falseDrift++
		}
		// One bad unit of six deviations, in one quantity; then a drift of two
		// deviations over the lot.
		at, q := rng.IntN(n), rng.IntN(quantities)
		units[at].Values[q] = 1 - 0.6
		r, err := Analyse(qs, units, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range r.Quantities[q].Outliers {
			if o.Unit == at && o.Name == units[at].Name {
				foundOut++
			}
		}
		units[at].Values[q] = 1
		for i := range units {
			units[i].Values[q] -= 0.2 * float64(i) / float64(n-1)
		}
		if r, err = Analyse(qs, units, Options{}); err != nil {
			t.Fatal(err)
		}
		if d := r.Quantities[q].Drift; d.Detected && d.PerUnit < 0 {
			foundDrift++
		}
	}
	t.Logf("of %d sound lots %d name an outlier, %d a drift; a unit six deviations off is found in %d, a drift of two deviations in %d", lots, falseOut, falseDrift, foundOut, foundDrift)
	// 5 % asked: 20 of 400, standard deviation 4.4.
	if falseOut > 36 || falseDrift > 36 {
		t.Errorf("false alarms in %d and %d of %d lots, 20 are asked for", falseOut, falseDrift, lots)
	}
	if foundOut < lots*97/100 || foundDrift < lots*90/100 {
		t.Errorf("outlier found in %d, drift in %d of %d lots", foundOut, foundDrift, lots)
	}
}

// The bound holds for the true Cpk in the share of lots that it claims, and its
// usual approximation lies near it [bissell1990].
func TestCapabilityBound(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 5))
	const lots, n, truth = 3000, 10, 1.0
	below := 0
	for range lots {
		units := make([]Unit, n)
		for i := range units {
			units[i] = Unit{Serial: math.NaN(), Values: []float64{3*truth + rng.NormFloat64()}}
		}
		r, err := Analyse([]Quantity{{Margin: true}}, units, Options{Wanted: 0.5})
		if err != nil {
			t.Fatal(err)
		}
		c := r.Quantities[0].Capability
		if c.Lower <= truth {
			below++
		}
		if !(math.Abs(c.Lower-c.Bissell) <= 0.05*c.Cpk) || c.Enough != (c.Lower >= 0.5) {
			t.Fatalf("%+v", c)
		}
	}
	// 95 %, standard error 0.4 %.
	if p := float64(below) / lots; !(math.Abs(p-0.95) <= 0.014) {
		t.Errorf("the bound lies below the true Cpk in %.4f of lots, claimed 0.95", p)
	}
}

// What is not known is left out, one quantity at a time, and too few samples are
// an error or say nothing.
func TestGaps(t *testing.T) {
	nan := math.NaN()
	qs := []Quantity{{Name: "a", Margin: true}, {Name: "b"}}
	r, err := Analyse(qs, []Unit{{Name: "x", Serial: nan, Values: []float64{1, nan}}, {Name: "y", Serial: 2, Values: []float64{-1, nan}}, {Name: "z", Serial: 3, Values: []float64{3, 4}}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	a, b := r.Quantities[0], r.Quantities[1]
	if a.N != 3 || a.LeastOf != "y" || a.MostOf != "z" || a.Capability.Outside != 1 || r.Serials {
		t.Errorf("%+v", a)
	}
	if b.N != 1 || !math.IsNaN(b.Mean) || b.Capability != nil || b.Drift != nil {
		t.Errorf("%+v", b)
	}
	if _, err := Analyse(qs, []Unit{{Values: []float64{1, 1}}}, Options{}); !errors.Is(err, ErrFew) {
		t.Error(err)
	}
	if _, err := Analyse(qs, []Unit{{}, {}, {}}, Options{}); err == nil {
		t.Error("units without values are taken")
	}
	// Equal values have no deviation: nothing is divided by it.
	r, err = Analyse(qs[:1], []Unit{{Values: []float64{1}}, {Values: []float64{1}}, {Values: []float64{1}}, {Values: []float64{1}}}, Options{})
	if err != nil || len(r.Quantities[0].Outliers) != 0 || r.Quantities[0].Drift != nil {
		t.Errorf("%+v %v", r, err)
	}
}

// A bound near Bissell's 1.46 − 1.645·√(1/144 + 1.46²/30) = 1.00.
func ExampleAnalyse() {
	var units []Unit
	for i, m := range []float64{0.31, 0.28, 0.33, 0.30, 0.29, 0.32, 0.27, 0.30, 0.31, 0.29, 0.30, 0.33, 0.28, 0.31, 0.30, 0.05} {
		units = append(units, Unit{Name: fmt.Sprintf("SN%03d", i+1), Serial: float64(i + 1), Values: []float64{m}})
	}
	r, _ := Analyse([]Quantity{{Name: "insertion loss", Unit: "dB", Margin: true}}, units, Options{})
	s := r.Quantities[0]
	fmt.Printf("worst margin %.2f dB (%s), Cpk %.2f, at least %.2f with 95 %% confidence\n", s.Least, s.LeastOf, s.Capability.Cpk, s.Capability.Lower)
	for _, o := range s.Outliers {
		fmt.Println("does not belong with the others:", o.Name)
	}
	// Output:
	// worst margin 0.05 dB (SN016), Cpk 1.46, at least 0.99 with 95 % confidence
	// does not belong with the others: SN016
}

// Units turned round are named in lots whose ends differ, and nobody in lots
// whose ends are alike or that hold none.
func TestExchanged(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	const lots, n, bins = 300, 40, 48
	draw := func(apart float64, turned int) (near, far [][]float64) {
		for i := range n {
			a, b := make([]float64, bins), make([]float64, bins)
			for j := range bins {
				// Levels scatter by 3 dB from unit to unit, together in each neighbourhood.
				a[j], b[j] = -60+3*rng.NormFloat64(), -60+3*rng.NormFloat64()
				if j < 4 {
					a[j], b[j] = -30+apart+3*rng.NormFloat64(), -30-apart+3*rng.NormFloat64()
				}
			}
			if i < turned {
				a, b = b, a
			}
			near, far = append(near, a), append(far, b)
		}
		return near, far
	}
	alike, none, found, wrong := 0, 0, 0, 0
	for range lots {
		if len(Exchanged(draw(0, 0))) > 0 {
			alike++
		}
		if len(Exchanged(draw(10, 0))) > 0 {
			none++
		}
		got := Exchanged(draw(10, 2))
		for _, i := range got {
			if i < 2 {
				found++
			} else {
				wrong++
			}
		}
	}
	t.Logf("of %d lots: alike ends, %d named; none turned, %d named; of %d turned units %d found, %d wrongly named", lots, alike, none, 2*lots, found, wrong)
	if alike > 0 || none > 0 || wrong > 0 || found < 2*lots*98/100 {
		t.Errorf("alike %d, none %d, found %d, wrong %d", alike, none, found, wrong)
	}
	near, far := draw(10, 1)
	near[5] = nil
	if got := Exchanged(near, far); len(got) != 1 || got[0] != 0 {
		t.Errorf("%v", got)
	}
	if got := Exchanged(nil, nil); got != nil {
		t.Errorf("%v", got)
	}
}
