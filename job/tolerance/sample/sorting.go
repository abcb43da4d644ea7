package sample

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// ExpectedRange returns the mean full width of a set of n pieces drawn at
// random from a normal population, in σ: the d2 of control charts, 3.9 for 24
// pieces and 4.7 for 64.
//
//	d2 = ∫ [1 − Φⁿ(z) − (1 − Φ(z))ⁿ] dz
//
// Source: [tippett1925].
func ExpectedRange(n int) float64 {
	const h = 1.0 / 16
	// The integrand is even, smooth and dies out: the trapezoid rule is exact to
	// rounding, and a finer step changes nothing.
	sum := (1 - math.Pow(2, 1-float64(n))) / 2
	for z := h; z <= 10; z += h {
		inside, outside := NormalCDF(z), NormalCDF(-z)
		sum += 1 - math.Pow(inside, float64(n)) - math.Pow(outside, float64(n))
	}
	return 2 * sum * h
}

// Sorting says how pieces are drawn for [TightestSet] and [BuildQuantity].
type Sorting struct {
	Distribution Distribution // of one piece, in the unit of the width; nil is normal with σ = 1
	Trials       int          // zero means 2000
	Seed         uint64
}

func (s Sorting) defaults() (Sorting, error) {
	if s.Distribution == nil {
		s.Distribution = Normal{Sigma: 1}
	}
	if s.Trials == 0 {
		s.Trials = 2000
	}
	if s.Trials < 2 {
		return s, fmt.Errorf("sample: %d trials: use at least two", s.Trials)
	}
	return s, s.Distribution.Check()
}

// lot draws pieces of trial t one after the other and calls use with all
// pieces so far, in ascending order, and the place of the newest, until use
// says it is enough or n pieces are drawn.
func (s Sorting) lot(t, n int, use func(sorted []float64, at int) bool) {
	rng := stream(mix(s.Seed+golden), uint64(t))
	pieces := make([]float64, 0, min(n, 1024))
	for len(pieces) < n {
		x := s.Distribution.Quantile(open(rng.Float64()))
		at, _ := slices.BinarySearch(pieces, x)
		pieces = slices.Insert(pieces, at, x)
		if use(pieces, at) {
			return
		}
	}
}

// Spread is a simulated quantity.
type Spread struct {
	Mean, StandardDeviation float64
	Error                   float64 // standard error of the mean
	Values                  []float64
}

func spreadOf(values []float64) Spread {
	e := MeanOf(values)
	slices.Sort(values)
	return Spread{e.Mean, e.Deviation, e.Uncertainty, values}
}

// Quantile returns the value that the share p of the trials did not exceed.
func (s Spread) Quantile(p float64) float64 {
	k := int(math.Ceil(p*float64(len(s.Values)))) - 1
	return s.Values[min(max(k, 0), len(s.Values)-1)]
}

// TightestSet returns the full width of the tightest set of keep pieces that a
// lot of build pieces holds. For lengths or delays it is the match of a set
// sorted from a lot: 30 pieces hold 24 within 2.2 σ on average, 40 within 1.4 σ.
//
// By simulation, seeded; Spread.Error is its standard error.
func TightestSet(build, keep int, s Sorting) (Spread, error) {
	s, err := s.defaults()
	if err != nil {
		return Spread{}, err
	}
	if keep < 2 || build < keep {
		return Spread{}, fmt.Errorf("sample: a set of %d from a lot of %d: keep at least two and build no fewer", keep, build)
	}
	widths := make([]float64, s.Trials)
	for t := range widths {
		s.lot(t, build, func(p []float64, _ int) bool {
			if len(p) == build {
				widths[t] = tightest(p, keep, 0, build-keep)
			}
			return false
		})
	}
	return spreadOf(widths), nil
}

// tightest returns the least width of a window of keep pieces that begins at
// first..last.
func tightest(sorted []float64, keep, first, last int) float64 {
	w := math.Inf(1)
	for i := first; i <= last; i++ {
		w = math.Min(w, sorted[i+keep-1]-sorted[i])
	}
	return w
}

// BuildQuantity returns how many pieces must be built, one after the other,
// until keep of them lie within the full width: quantile 0.9 of the spread is
// the lot that suffices nine times out of ten. A trial that needs more than most pieces counts
// as most + 1.
//
// By simulation, seeded. One more piece never spoils a set, so each trial has
// one answer; the newest piece alone can make a new set.
func BuildQuantity(keep int, width float64, most int, s Sorting) (Spread, error) {
	s, err := s.defaults()
	if err != nil {
		return Spread{}, err
	}
	switch {
	case keep < 2 || most < keep:
		return Spread{}, fmt.Errorf("sample: a set of %d from at most %d pieces: keep at least two and allow no fewer", keep, most)
	case !(width > 0):
		return Spread{}, fmt.Errorf("sample: set width %g: it must be positive", width)
	}
	counts := make([]float64, s.Trials)
	for t := range counts {
		counts[t] = float64(most + 1)
		s.lot(t, most, func(p []float64, at int) bool {
			n := len(p)
			if n < keep {
				return false
			}
			if tightest(p, keep, max(0, at-keep+1), min(at, n-keep)) <= width {
				counts[t] = float64(n)
				return true
			}
			return false
		})
	}
	return spreadOf(counts), nil
}

// BuildAbsolute returns how many pieces must be built so that, with the
// probability given, at least keep of them lie within ±half of a stored
// reference at offset from the population's mean, all in the unit of the
// distribution. Such a set admits spares later; its price is this number beside
// [BuildQuantity].
//
// Exact: a binomial count.
func BuildAbsolute(keep int, half, offset, probability float64, d Distribution) (int, error) {
	if d == nil {
		d = Normal{Sigma: 1}
	}
	if err := d.Check(); err != nil {
		return 0, err
	}
	if err := checkConfidence(probability); err != nil {
		return 0, err
	}
	if keep < 1 || !(half > 0) {
		return 0, errors.New("sample: keep at least one piece, within a positive half width")
	}
	mid := d.Expectation() + offset
	share := cdf(d, mid+half) - cdf(d, mid-half)
	if !(share > 0) {
		return 0, fmt.Errorf("sample: no piece lies within ±%g of the reference", half)
	}
	for n := keep; ; n++ {
		// P(Binomial(n, share) ≥ keep) is the regularised incomplete beta function.
		if share >= 1 || regIncBeta(keep, n, share) >= probability {
			return n, nil
		}
		if n > 1e7 {
			return 0, fmt.Errorf("sample: more than %d pieces: only %.2g of them fit", n, share)
		}
	}
}

// cdf inverts a quantile function by bisection.
func cdf(d Distribution, x float64) float64 {
	if n, ok := d.(Normal); ok && n.Sigma > 0 {
		return NormalCDF((x - n.Mean) / n.Sigma)
	}
	lo, hi := 0.0, 1.0
	for range 60 {
		mid := (lo + hi) / 2
		if d.Quantile(open(mid)) <= x {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
