package line

import (
	"fmt"
	"math"
	"slices"
)

// CircularMode is a higher mode of a coaxial line, or any mode of an empty
// circular guide. For N > 0 it comes in two polarisations.
type CircularMode struct {
	TE bool    // else TM
	N  int     // periods around the axis
	M  int     // order along the radius, from 1
	Kc float64 // cutoff wave number, rad/m
}

// Name returns "TE11" and the like; from order 10 on with a comma, "TE12,1".
func (m CircularMode) Name() string {
	kind, comma := "TM", ""
	if m.TE {
		kind = "TE"
	}
	if m.N > 9 || m.M > 9 {
		comma = ","
	}
	return fmt.Sprintf("%s%d%s%d", kind, m.N, comma, m.M)
}

// CutoffNumber returns the cutoff wave number kc, in rad/m, of the TE (else
// TM) mode of orders n ≥ 0, m ≥ 1 between perfectly conducting cylinders of
// the diameters inner ≥ 0 and outer > inner, in m. An inner diameter of 0 is
// the empty circular guide. With radii a and b, kc is the m-th root of
//
//	TE  J_n′(kc a) Y_n′(kc b) − J_n′(kc b) Y_n′(kc a) = 0
//	TM  J_n(kc a) Y_n(kc b) − J_n(kc b) Y_n(kc a) = 0
//
// The search runs on the phases of the Bessel functions, J_n + jY_n = M e^{jθ}
// and J_n′ + jY_n′ = N e^{jφ}: a mode stands where the phase between the walls
// is a whole number of half turns,
//
//	TE  φ(kc b) − φ(kc a) = (m − 1)π for n > 0, mπ for n = 0
//	TM  θ(kc b) − θ(kc a) = mπ
//
// By Sturm's theorem the mode with m − 1 zeros between the walls is one and
// only one, so each of these levels is crossed once, and from below: no root
// can be missed or found twice, however thin or wide the gap.
//
// Source: [marcuvitz1951] §2.4; phases [dlmf] §10.18. The relative error is
// below 5e-14, plus what the rounding of the diameters makes of a thin gap.
func CutoffNumber(te bool, n, m int, inner, outer float64) float64 {
	if n < 0 || m < 1 || !(inner >= 0) || !(outer > inner) || math.IsInf(outer, 0) {
		panic(fmt.Sprintf("line: no mode of orders %d, %d between diameters %g and %g m", n, m, inner, outer))
	}
	rho := inner / outer
	phase, level := phaseTM, float64(m)*pi
	if te {
		phase = phaseTE
		if n > 0 {
			level -= pi
		}
	}
	// x = kc b. Every mode has kc b > n, where the difference is still below
	// the level.
	g := func(x float64) float64 { return phase(n, x) - phase(n, rho*x) - level }
	lo := float64(n)
	if n == 0 {
		lo = 1e-9
	}
	glo, hi := g(lo), 2*lo+1
	ghi := g(hi)
	for !(ghi > 0) {
		lo, glo = hi, ghi
		hi *= 2
		ghi = g(hi)
	}
	if glo == 0 {
		return lo / (outer / 2)
	}
	return brent(g, lo, hi, glo, ghi) / (outer / 2)
}

// phaseTM returns θ_n(x), continuous, from −π/2 at x = 0.
func phaseTM(n int, x float64) float64 {
	if x == 0 {
		return -pi / 2
	}
	j, _, y, _ := besselJY(n, x)
	return unwrap(math.Atan2(y, j), debyePhase(n, x)-pi/4)
}

// phaseTE returns φ_n(x), continuous, from π/2 at x = 0.
func phaseTE(n int, x float64) float64 {
	if x == 0 {
		return pi / 2
	}
	_, dj, _, dy := besselJY(n, x)
	return unwrap(math.Atan2(dy, dj), debyePhase(n, x)+pi/4)
}

// debyePhase is √(x²−n²) − n acos(n/x), the phase after Debye, off by at most
// 0.8 rad everywhere. [dlmf] 10.19.6.
func debyePhase(n int, x float64) float64 {
	v := float64(n)
	if x <= v {
		return 0
	}
	return math.Sqrt((x-v)*(x+v)) - v*math.Acos(v/x)
}

// unwrap adds whole turns to p to bring it within half a turn of near.
func unwrap(p, near float64) float64 { return p + 2*pi*math.Round((near-p)/(2*pi)) }

// CircularModes returns the count modes of lowest cutoff between cylinders of
// the diameters inner and outer, in m, the lowest first. TEM is not among
// them.
func CircularModes(inner, outer float64, count int) []CircularMode {
	var ms []CircularMode
	byCutoff := func(a, b CircularMode) int {
		switch {
		case a.Kc < b.Kc:
			return -1
		case a.Kc > b.Kc:
			return 1
		}
		return 0
	}
	full := func(kc float64) bool { return len(ms) >= count && !(kc < ms[count-1].Kc) }
	// Cutoffs rise with n and with m, TE before TM of the same orders when
	// n > 0; so each run may stop at the first mode that is too high.
	for n := 0; ; n++ {
		added := false
		for _, te := range []bool{true, false} {
			for m := 1; ; m++ {
				kc := CutoffNumber(te, n, m, inner, outer)
				if full(kc) {
					break
				}
				ms = append(ms, CircularMode{TE: te, N: n, M: m, Kc: kc})
				slices.SortStableFunc(ms, byCutoff)
				ms = ms[:min(len(ms), count)]
				added = true
			}
		}
		if n > 0 && !added {
			return ms
		}
	}
}
