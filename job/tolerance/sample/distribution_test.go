package sample

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Expectation and standard deviation of each distribution against the midpoint
// rule over its quantiles, and quantiles that grow and keep to the limits.
func TestDistributionMoments(t *testing.T) {
	for _, d := range []Distribution{
		Normal{3, 0.5}, Uniform{-1, 4}, Triangular{0, 0, 1}, Triangular{-1, 0.5, 2}, Triangular{0, 1, 1}, Arcsine{-2, 1},
		TruncatedNormal{0, 1, -2, 2}, TruncatedNormal{0, 1, 1, 3}, TruncatedNormal{0, 1, 5, 7}, TruncatedNormal{1, 2, -1, math.Inf(1)},
		CurvilinearTrapezoid{0, 1, 0.2}, CurvilinearTrapezoid{-1, 1, 1}, CurvilinearTrapezoid{2, 3, 0}, StudentT{1, 0.2, 9},
	} {
		if err := d.Check(); err != nil {
			t.Errorf("%+v: %v", d, err)
		}
		const n = 100000
		mean, square, last := 0.0, 0.0, math.Inf(-1)
		lo, hi := d.Limits()
		for i := range n {
			x := d.Quantile((float64(i) + 0.5) / n)
			if !(x >= last) || x < lo || x > hi {
				t.Fatalf("%+v: quantile %d of %d is %g, after %g, limits %g..%g", d, i, n, x, last, lo, hi)
			}
			last = x
			mean += x / n
			square += (x - d.Expectation()) * (x - d.Expectation()) / n
		}
		sd := d.StandardDeviation()
		if !(math.Abs(mean-d.Expectation()) <= 1e-4*sd) {
			t.Errorf("%+v: mean %g, expectation %g", d, mean, d.Expectation())
		}
		if !(math.Abs(math.Sqrt(square)-sd) <= 3e-4*sd) { // the tails of t converge slowly
			t.Errorf("%+v: deviation %g, formula %g", d, math.Sqrt(square), sd)
		}
	}
}

// Numbers from tables.
func TestDistributionValues(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"normal 97.5 %", Normal{0, 1}.Quantile(0.975), 1.959963984540054},
		{"arcsine middle", Arcsine{-1, 1}.Quantile(0.75), math.Sqrt2 / 2},
		{"half normal mean", TruncatedNormal{0, 1, 0, math.Inf(1)}.Expectation(), math.Sqrt(2 / math.Pi)},
		{"half normal deviation", TruncatedNormal{0, 1, 0, math.Inf(1)}.StandardDeviation(), math.Sqrt(1 - 2/math.Pi)},
		{"cut at ±2 sigma", TruncatedNormal{0, 1, -2, 2}.StandardDeviation(), 0.879625},
		{"triangle quarter", Triangular{0, 1, 2}.Quantile(0.125), 0.5},
	} {
		if !(math.Abs(c.got-c.want) <= 1e-6) {
			t.Errorf("%s: %.9g, want %.9g", c.name, c.got, c.want)
		}
	}
}

// The curvilinear trapezoid against the recipe of JCGM 101 §6.4.3.4: draw the
// lower limit in a ± d, mirror the upper one, draw between them.
func TestCurvilinearRecipe(t *testing.T) {
	d := CurvilinearTrapezoid{Low: 1, High: 3, Doubt: 0.6}
	const seed, n = 11, 200000
	rng := rand.New(rand.NewPCG(seed, 0))
	for _, p := range []float64{0.01, 0.1, 0.3, 0.5, 0.8, 0.99} {
		q, below := d.Quantile(p), 0
		for range n {
			a := d.Low - d.Doubt + 2*d.Doubt*rng.Float64()
			b := d.Low + d.High - a
			if a+(b-a)*rng.Float64() <= q {
				below++
			}
		}
		if got := float64(below) / n; !(math.Abs(got-p) <= 4*math.Sqrt(p*(1-p)/n)) {
			t.Errorf("seed %d: the recipe puts %.4f below the %g quantile", seed, got, p)
		}
	}
}

func TestDistributionCheck(t *testing.T) {
	nan := math.NaN()
	for _, d := range []Distribution{
		Normal{0, -1}, Normal{nan, 1}, Uniform{1, 0}, Uniform{0, math.Inf(1)}, Triangular{0, 2, 1}, Arcsine{1, 0},
		TruncatedNormal{0, 0, -1, 1}, TruncatedNormal{0, 1, 60, 61}, CurvilinearTrapezoid{0, 1, 0.6}, CurvilinearTrapezoid{0, 1, -0.1}, StudentT{0, 1, 1},
	} {
		if d.Check() == nil {
			t.Errorf("%+v: no error", d)
		}
	}
}
