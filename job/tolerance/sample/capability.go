package sample

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Cpk returns the one-sided capability of measured values against a lower
// limit: (mean − limit)/(3 s). Negate values and limit for an upper one. Values that are
// the worst over a band follow an extreme-value law, not the normal one for which
// a Cpk tells a share.
//
// Source: [montgomery2009] ch. 8.
func Cpk(values []float64, limit float64) float64 {
	e := MeanOf(values)
	return (e.Mean - limit) / (3 * e.Deviation)
}

// CpkLower returns Bissell's approximate lower confidence bound, one-sided, of
// a Cpk observed on n pieces:
//
//	Cpk − z √(1/(9n) + Cpk²/(2(n − 1)))
//
// From few pieces it says little: 1.33 observed on five may be 0.52.
//
// Source: [bissell1990].
func CpkLower(cpk float64, n int, confidence float64) float64 {
	z := NormalQuantile(confidence)
	m := float64(n)
	return cpk - z*math.Sqrt(1/(9*m)+cpk*cpk/(2*(m-1)))
}

// CpkLowerExact returns the exact lower confidence bound, one-sided, of a
// one-sided Cpk observed on n pieces from a normal process: the c for which
//
//	P(T ≤ 3√n·Cpk) = confidence,    T noncentral t of n − 1 degrees, noncentrality 3√n·c
//
// Source: [owen1968]; the bound on which [CpkLower] is an approximation.
func CpkLowerExact(cpk float64, n int, confidence float64) float64 {
	m := float64(n)
	t := 3 * math.Sqrt(m) * cpk
	lo, hi := -math.Abs(cpk)-10, cpk+10 // P falls as c grows
	for range 200 {
		mid := (lo + hi) / 2
		if (distuv.NoncentralT{Nu: m - 1, Mu: 3 * math.Sqrt(m) * mid}).CDF(t) > confidence {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// ToleranceFactor returns k such that mean − k s of n pieces lies, with the
// confidence, below all but the share 1 − coverage of a normal population:
// what a guaranteed value takes from a sample.
//
// Source: [hahn1991] §4.4; ISO 16269-6 tabulates it.
func ToleranceFactor(n int, coverage, confidence float64) float64 {
	m := float64(n)
	t := distuv.NoncentralT{Nu: m - 1, Mu: NormalQuantile(coverage) * math.Sqrt(m)}
	lo, hi := -50.0, 50.0
	for t.CDF(hi*math.Sqrt(m)) < confidence {
		hi *= 2
		if math.IsInf(hi, 0) {
			return hi
		}
	}
	for range 200 {
		mid := (lo + hi) / 2
		if t.CDF(mid*math.Sqrt(m)) < confidence {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
