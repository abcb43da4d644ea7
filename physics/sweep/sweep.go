// Package sweep judges what a measured or computed sweep says of itself: its noise,
// its jumps, whether its points are close enough, which ports belong together,
// which impedance it seems to be referred to, and whether it loses less than any
// line could. Package network holds passivity, reciprocity and the initial metrics of
// IEEE Std 370, package timedomain the test of causality.
//
// Nothing here repairs anything. Frequencies are in Hz, noise is the rms of |S|, delays
// are one way and in s unless said otherwise. The time convention is e^{+jωt}.
package sweep

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/mat"

	"linewright/physics/network"
)

// straightened returns a trace with its common delay removed.
func straightened(n network.Network, i, j int) []complex128 {
	s := n.Trace(i, j)
	tau := n.Delay(i, j)
	for k, f := range n.Frequency {
		s[k] *= cmplx.Rect(1, 2*math.Pi*math.Mod(f*tau, 1))
	}
	return s
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	y := slices.Clone(x)
	slices.Sort(y)
	if m := len(y) / 2; len(y)%2 == 1 {
		return y[m]
	} else {
		return (y[m-1] + y[m]) / 2
	}
}

// Even says whether frequencies are evenly spaced, to 1e-3 of their step, and gives the
// step, in Hz. The functions of this package that look at neighbours need that.
func Even(f []float64) (step float64, even bool) {
	if len(f) < 2 {
		return math.NaN(), false
	}
	step = (f[len(f)-1] - f[0]) / float64(len(f)-1)
	for k, x := range f {
		if !(math.Abs(x-f[0]-float64(k)*step) <= 1e-3*step) {
			return step, false
		}
	}
	return step, true
}

// Noise returns the rms noise of S_ij: at most what it returns, for what is
// smooth from point to point is taken out by differences of rising order m, and the least of them taken,
//
//	σ² = median |Δ^m s|² / (ln 2 · C(2m, m))        m = 2, 4, 6, 8
//
// with the common delay removed before. The median passes over jumps and narrow
// resonances; ln 2 is the median of |s|² of complex Gaussian noise of variance 1. Ripple of
// 8 points a period adds about a thousandth of its amplitude, of 5 points a fiftieth.
// NaN for less than 32 evenly spaced points.
//
// Source: derived here; the gain C(2m, m) is the sum of the squared binomials.
func Noise(n network.Network, i, j int) float64 {
	if _, even := Even(n.Frequency); !even || len(n.Frequency) < 32 {
		return math.NaN()
	}
	return noise(straightened(n, i, j))
}

func noise(s []complex128) float64 {
	d := slices.Clone(s)
	least := math.Inf(1)
	gain := 1.0
	power := make([]float64, len(d))
	for m := 1; m <= 8; m++ {
		for k := range len(d) - 1 {
			d[k] = d[k+1] - d[k]
		}
		d = d[:len(d)-1]
		gain *= float64(2*m) * float64(2*m-1) / float64(m*m) // C(2m, m)
		if m%2 == 1 {
			continue
		}
		for k, v := range d {
			power[k] = real(v)*real(v) + imag(v)*imag(v)
		}
		least = min(least, median(power[:len(d)])/(math.Ln2*gain))
	}
	return math.Sqrt(least)
}

// A Jump is a place where a trace does not go on as it came.
type Jump struct {
	Frequency float64 // Hz, of the point behind it
	Size      float64 // |ΔS|
	Phase     float64 // rad, by which the phase turns there beyond what it does nearby
	Spike     bool    // a single point, not a step: the trace behind is the continuation of that before
}

// Jumps returns the places where what four points before and four points behind say of the
// middle between differs by more than 3 % of the trace there and by more than 8 times what it
// does nearby: a cable that moved during the sweep, two sweeps put together, a switched range, a
// single bad point. Neighbouring places count as one. Where the trace is not ten times
// above its noise nothing is judged.
//
// Source: extrapolation by cubics, derived here; the limits are ours, tested in TestJumps.
func Jumps(n network.Network, i, j int) []Jump {
	if _, even := Even(n.Frequency); !even || len(n.Frequency) < 32 {
		return nil
	}
	s := straightened(n, i, j)
	floor := 10 * noise(s)
	// Value half a step outside four points, and a whole step and a half, by their cubic.
	half := [4]float64{35. / 16, -35. / 16, 21. / 16, -5. / 16}
	gap := make([]float64, len(s))
	for k := 4; k+4 <= len(s); k++ {
		var left, right complex128
		for m, w := range half {
			left += complex(w, 0) * s[k-1-m]
			right += complex(w, 0) * s[k+m]
		}
		gap[k] = cmplx.Abs(right - left)
	}
	sum := make([]float64, len(s)+1) // of the gaps before each
	for k, v := range gap {
		sum[k+1] = sum[k] + v
	}
	var jumps []Jump
	last := -10
	for k := 4; k+4 <= len(s); k++ {
		local := max(cmplx.Abs(s[k]), cmplx.Abs(s[k-1]))
		if !(gap[k] > 0.03*local) || local < floor {
			continue
		}
		from, to := max(4, k-25), min(len(s)-3, k+26)
		if mean := (sum[to] - sum[from]) / float64(to-from); !(gap[k] > 2*mean) || gap[k] < floor/2 {
			continue // no jump: that of one would hardly reach a fifth of it, and the median costs more
		}
		if !(gap[k] > 8*median(gap[from:to])) {
			continue
		}
		if k-last <= 5 { // the same place
			last = k
			continue
		}
		last = k
		jumps = append(jumps, describe(n.Frequency, s, k))
	}
	return jumps
}

// describe measures the jump whose first sign is at point k: of all steps and spikes near, that
// which, added to a cubic, leaves least of the trace.
func describe(f []float64, s []complex128, k int) Jump {
	from, to := max(0, k-6), min(len(s), k+10)
	n := to - from
	y := mat.NewDense(n, 2, nil)
	for i := range n {
		y.SetRow(i, []float64{real(s[from+i]), imag(s[from+i])})
	}
	best, least := Jump{}, math.Inf(1)
	for _, spike := range []bool{false, true} {
		for at := max(k-2, from+1); at < min(k+6, to); at++ {
			a := mat.NewDense(n, 5, nil)
			for i := range n {
				x := 2*float64(i)/float64(n-1) - 1
				own := 0.0
				if from+i == at || from+i > at && !spike {
					own = 1
				}
				a.SetRow(i, []float64{1, x, x * x, x * x * x, own})
			}
			var p, rest mat.Dense
			if p.Solve(a, y) != nil {
				continue
			}
			rest.Mul(a, &p)
			rest.Sub(y, &rest)
			if r := mat.Norm(&rest, 2); r < least {
				least = r
				d := complex(p.At(4, 0), p.At(4, 1))
				best = Jump{Frequency: f[at], Size: cmplx.Abs(d), Phase: cmplx.Phase(s[at] / (s[at] - d)), Spike: spike}
			}
		}
	}
	return best
}

// PointsPerRipple returns how many points a sweep has to a period of the fastest ripple
// that reflections at the two ends of its longest path make, 1/(2τ·step), and that path's one-way
// delay τ, in s. Of a one-port it takes the delay of its reflection for there and back. Delays
// of paths that pass less than a tenth are not counted. With m points
// the greatest value of a ripple is missed by up to 1 − cos(π/m) of its amplitude: 29 %
// for 4, 8 % for 8.
func PointsPerRipple(n network.Network) (points, delay float64) {
	step := math.NaN()
	for k := 1; k < len(n.Frequency); k++ {
		if d := n.Frequency[k] - n.Frequency[k-1]; !(d <= step) {
			step = d // the widest
		}
	}
	for i := range n.Ports {
		for j := range i {
			top := 0.0
			for k := range n.Frequency {
				top = max(top, cmplx.Abs(n.At(k, i, j)))
			}
			if top >= 0.1 {
				delay = max(delay, math.Abs(n.Delay(i, j)))
			}
		}
	}
	if n.Ports == 1 {
		delay = math.Abs(n.Delay(0, 0)) / 2
	}
	if delay == 0 {
		return math.Inf(1), 0
	}
	return 1 / (2 * delay * step), delay
}

// Partners returns for each port the port that passes most to it, by energy over the
// sweep, and the share of what passes that comes from there; −1 where nothing passes.
func Partners(n network.Network) (partner []int, share []float64) {
	partner, share = make([]int, n.Ports), make([]float64, n.Ports)
	for i := range n.Ports {
		partner[i] = -1
		best, all := 0.0, 0.0
		for j := range n.Ports {
			if i == j {
				continue
			}
			e := 0.0
			for k := range n.Frequency {
				a := cmplx.Abs(n.At(k, i, j))
				e += a * a
			}
			all += e
			if e > best {
				best, partner[i] = e, j
			}
		}
		if all > 0 {
			share[i] = best / all
		}
	}
	return partner, share
}

// ColumnsSwapped says whether the two columns of a two-port seem to be exchanged: the
// diagonal is as alike as S21 and S12 of a reciprocal part are, and the other two are
// not.
func ColumnsSwapped(n network.Network) bool {
	if n.Ports != 2 || len(n.Frequency) < 8 {
		return false
	}
	var diagonal, other, size float64
	for k := range n.Frequency {
		d, o, s := n.At(k, 0, 0)-n.At(k, 1, 1), n.At(k, 0, 1)-n.At(k, 1, 0), n.At(k, 0, 0)
		diagonal += real(d)*real(d) + imag(d)*imag(d)
		other += real(o)*real(o) + imag(o)*imag(o)
		size += real(s)*real(s) + imag(s)*imag(s)
	}
	return other > 100*diagonal && size > other
}
