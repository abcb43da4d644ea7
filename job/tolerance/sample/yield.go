package sample

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a closed interval.
type Interval struct{ Low, High float64 }

// Wilson returns the score interval for a share, of which k of n trials were
// seen, at the two-sided confidence, such as 0.95:
//
//	[p + z²/2n ± z √(p(1−p)/n + z²/4n²)]/(1 + z²/n)
//
// It covers the true share with about the confidence, on average over shares.
//
// Source: [wilson1927].
func Wilson(k, n int, confidence float64) Interval {
	z := NormalQuantile((1 + confidence) / 2)
	p, m := float64(k)/float64(n), float64(n)
	mid := p + z*z/(2*m)
	half := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	den := 1 + z*z/m
	iv := Interval{(mid - half) / den, (mid + half) / den}
	if k == 0 {
		iv.Low = 0 // exactly, without the last bit's noise
	}
	if k == n {
		iv.High = 1
	}
	return iv
}

// ClopperPearson returns the exact interval for a share: it covers the true
// share with at least the confidence, and is wider than [Wilson] for it. Low and
// High solve P(≥ k) = P(≤ k) = (1 − confidence)/2, quantiles of the beta
// distribution.
//
// Source: [clopper1934].
func ClopperPearson(k, n int, confidence float64) Interval {
	tail := (1 - confidence) / 2
	iv := Interval{0, 1}
	if k > 0 {
		iv.Low = mathext.InvRegIncBeta(float64(k), float64(n-k+1), tail)
	}
	if k < n {
		iv.High = mathext.InvRegIncBeta(float64(k+1), float64(n-k), 1-tail)
	}
	return iv
}

// Yield is the share of copies that meet every margin, and how sure that is.
type Yield struct {
	Meets, N int
	Share    float64
	// Wilson and Exact are the intervals of random sampling. For the
	// stratified methods they are shown for comparison only.
	Wilson, Exact Interval
	// Replicates is the interval from the spread of the replicates, by
	// Student's t; it is the one to quote for the stratified methods. It is
	// 0..1 for a plan of one replicate.
	Replicates Interval
	Confidence float64
}

// Yield returns the yield at the two-sided confidence, such as 0.95.
func (st State) Yield(confidence float64) (Yield, error) {
	if st.Done == 0 {
		return Yield{}, errors.New("sample: no samples drawn: run the plan first")
	}
	if err := checkConfidence(confidence); err != nil {
		return Yield{}, err
	}
	y := Yield{Meets: st.Meets, N: st.Done, Share: float64(st.Meets) / float64(st.Done), Confidence: confidence,
		Wilson: Wilson(st.Meets, st.Done, confidence), Exact: ClopperPearson(st.Meets, st.Done, confidence), Replicates: Interval{0, 1}}
	shares := make([]float64, len(st.ReplicateMeets))
	for r, k := range st.ReplicateMeets {
		shares[r] = float64(k) / float64(st.inReplicate(r))
	}
	if mean, err := replicateError(shares); !math.IsNaN(err) {
		t := CoverageFactor(float64(len(shares)-1), confidence)
		y.Replicates = Interval{math.Max(0, mean-t*err), math.Min(1, mean+t*err)}
	}
	return y, nil
}

func checkConfidence(c float64) error {
	if !(c > 0 && c < 1) {
		return fmt.Errorf("sample: confidence %g: it must lie between 0 and 1, such as 0.95", c)
	}
	return nil
}

// inReplicate counts the samples drawn in replicate r.
func (st State) inReplicate(r int) int {
	n := len(st.ReplicateMeets)
	return (st.Done - r + n - 1) / n
}

// replicateError returns mean and standard error of the mean over replicates;
// the error is NaN for fewer than two, or where one is empty.
func replicateError(xs []float64) (mean, err float64) {
	if len(xs) < 2 {
		return math.NaN(), math.NaN()
	}
	m := MeanOf(xs)
	return m.Mean, m.Uncertainty
}

// Summary is what is known of one output.
type Summary struct {
	Mean, StandardDeviation float64
	// Error is the standard error of the mean: of random sampling for one
	// replicate, else from the spread of the replicates.
	Error           float64
	Least, Most     float64
	LeastAt, MostAt int // samples, to be drawn again by Study.Sample
}

// Output sums up output k.
func (st State) Output(k int) Summary {
	t, n := st.Outputs[k], float64(st.Done)
	s := Summary{Mean: t.Mean, StandardDeviation: math.Sqrt(t.Squares / (n - 1)), Least: t.Least, Most: t.Most, LeastAt: t.LeastAt, MostAt: t.MostAt}
	s.Error = s.StandardDeviation / math.Sqrt(n)
	means := make([]float64, len(t.ReplicateSum))
	for r, sum := range t.ReplicateSum {
		means[r] = sum / float64(st.inReplicate(r))
	}
	if _, err := replicateError(means); !math.IsNaN(err) {
		s.Error = err
	}
	return s
}

// Column returns the values of output k, in the order of the samples, or nil if
// they were not kept.
func (st State) Column(k int) []float64 {
	m := len(st.Outputs)
	if len(st.Values) != st.Done*m {
		return nil
	}
	col := make([]float64, st.Done)
	for i := range col {
		col[i] = st.Values[i*m+k]
	}
	return col
}

// Coverage holds the coverage intervals of a set of values.
type Coverage struct {
	Symmetric Interval // leaves the same share outside at each end
	Shortest  Interval
}

// CoverageIntervals returns the intervals that hold the share p of the values,
// by the steps of [jcgm101] §7.7: with the values in order and q = pM to the
// nearest integer, each [y(r), y(r+q)] is one.
func CoverageIntervals(values []float64, p float64) (Coverage, error) {
	if err := checkConfidence(p); err != nil {
		return Coverage{}, err
	}
	m := len(values)
	q := int(math.Floor(p*float64(m) + 0.5))
	if m == 0 || q >= m || q < 1 {
		return Coverage{}, fmt.Errorf("sample: %d values are too few for a coverage of %g: keep more than 1/(1 − p)", m, p)
	}
	y := slices.Clone(values)
	slices.Sort(y)
	r := int(math.Floor(float64(m-q)/2+0.5)) - 1 // the standard counts from 1
	r = min(max(r, 0), m-q-1)
	c := Coverage{Symmetric: Interval{y[r], y[r+q]}, Shortest: Interval{y[0], y[q]}}
	for r := 1; r+q < m; r++ {
		if y[r+q]-y[r] < c.Shortest.High-c.Shortest.Low {
			c.Shortest = Interval{y[r], y[r+q]}
		}
	}
	return c, nil
}

// OrderStatisticBound returns the rank k, counting from 1 in ascending order,
// of the value that lies below the q-quantile of its distribution with the
// confidence: a bound without any assumption on the shape. It returns 0 when
// n values are too few.
//
//	P(y(k) ≤ quantile) = P(Binomial(n, q) ≥ k) ≥ confidence
//
// Source: [hahn1991] ch. 5.
func OrderStatisticBound(n int, q, confidence float64) int {
	b := distuv.Binomial{N: float64(n), P: q}
	k := 0
	for k < n && b.Survival(float64(k)) >= confidence { // P(X > k) = P(X ≥ k+1)
		k++
	}
	return k
}
