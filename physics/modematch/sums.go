package modematch

import (
	"math"
	"math/cmplx"
	"slices"
)

// side is one side of a plane: the guide there and its couplings to the
// trial functions of the aperture.
type side struct {
	p   *aperture
	g   *guide
	a   []float64 // couplings, [mode][function]
	top float64   // highest wave number, 1/m
}

// levels is the number of truncations that an extrapolated mode sum uses.
const levels = 4

// window is the smooth cut-off: 1 up to t = 1/2, 0 from t = 1. Modes must not
// end abruptly: an edge inside the guide makes the terms of a mode sum
// oscillate, and a smooth end averages them out, so that what is left of the
// truncation is a power of the highest wave number alone.
func window(t float64) float64 {
	if t <= 0.5 {
		return 1
	}
	if t >= 1 {
		return 0
	}
	u := 2*t - 1
	return 1 - u*u*u*u*(35+u*(-84+u*(70-20*u)))
}

// extrapolation returns the weights with which sums cut off at K, K/2, K/4,
// ... combine to the sum without end, when the rest is a sum of the powers
// K^−p (Richardson): the product of (2^p − S)/(2^p − 1), where S halves K.
func extrapolation(powers []float64) [levels]float64 {
	w := [levels]float64{1}
	for _, p := range powers {
		u := math.Exp2(p)
		for l := levels - 1; l >= 0; l-- {
			w[l] *= u / (u - 1)
			if l > 0 {
				w[l] -= w[l-1] / (u - 1)
			}
		}
	}
	return w
}

// tail returns the powers of the highest wave number with which the mode sum
// of the trial functions i and j falls to its limit, the slowest first. A
// point where they end, and behave as ρ^α and ρ^β, gives couplings k^−(1+α)
// and k^−(1+β), terms k^−(3+α+β), a rest K^−(2+α+β), and rests of the next
// order. Functions without a common end leave none, nor does a wall that runs
// on. Coarse keeps one power fewer.
func (p *aperture) tail(i, j int, coarse bool) []float64 {
	var powers []float64
	add := func(x float64) {
		for _, q := range powers {
			if math.Abs(q-x) < 0.05 {
				return
			}
		}
		powers = append(powers, x)
	}
	u, v := p.ends[i], p.ends[j]
	for a := range 2 {
		for b := range 2 {
			pi, pj := u.element+a, v.element+b // counting the ends of elements
			if pi != pj || pi == 0 && !p.edges[0] || pi == len(p.elements) && !p.edges[1] {
				continue
			}
			s := 2 + u.exponent[a] + v.exponent[b]
			add(s)
			add(s + 1)
		}
	}
	slices.Sort(powers)
	n := levels - 1
	if coarse {
		n--
	}
	return powers[:min(len(powers), n)]
}

// modeSum is Σₙ weight(n) A[n,i] A[n,j] over the modes first ≤ n < last,
// extrapolated to infinitely many where last is the end; the weights must fall
// as 1/k or faster. Several weights are summed at once: weight fills w for
// mode n.
func (s *side) modeSum(first, last int, coarse bool, count int, weight func(n int, w []float64)) [][]float64 {
	m := s.p.size
	mm := m * m
	w := make([]float64, count)
	var cut [levels][][]float64 // per level, the modes that its window touches
	out := make([][]float64, count)
	for q := range count {
		out[q] = make([]float64, mm)
		for l := range levels {
			cut[l] = append(cut[l], make([]float64, mm))
		}
	}
	touched := false
	for n := first; n < last; n++ {
		t := s.g.kc[n] / s.top
		weight(n, w)
		row := s.a[n*m : (n+1)*m]
		if t <= 0.5/(1<<(levels-1)) {
			for q, x := range w {
				outer(out[q], row, x)
			}
			continue
		}
		touched = true
		for l := range levels {
			v := window(t * float64(int(1)<<l))
			if v == 0 {
				break
			}
			for q, x := range w {
				outer(cut[l][q], row, x*v)
			}
		}
	}
	for i := range m {
		for j := i; j < m; j++ {
			var e [levels]float64
			if touched {
				e = extrapolation(s.p.tail(i, j, coarse))
			}
			for q, o := range out {
				v := o[i*m+j]
				for l, x := range e {
					v += x * cut[l][q][i*m+j]
				}
				o[i*m+j], o[j*m+i] = v, v
			}
		}
	}
	return out
}

// outer adds x·a aᵀ to the upper triangle of m.
func outer(m, a []float64, x float64) {
	n := len(a)
	for i, v := range a {
		u := x * v
		row := m[i*n+i : (i+1)*n]
		b := a[i:]
		b = b[:len(row)]
		for j := range row {
			row[j] += u * b[j]
		}
	}
}

// static returns Σₙ A[n,i] A[n,j] / kₙ over all modes, the admittance of the
// half space at zero frequency but for the factor jωε.
func (s *side) static(coarse bool) []float64 {
	return s.modeSum(0, len(s.g.kc), coarse, 1, func(n int, w []float64) {
		w[0] = 1 / s.g.kc[n]
	})[0]
}

// binomial are the coefficients of 1/√(1−u) in powers of u.
var binomial = [...]float64{1, 1. / 2, 3. / 8, 5. / 16, 35. / 128}

// localised returns, for the wave numbers squared k2 (1/m², k² = ω²με), the
// sums over the modes from first on of A Aᵀ coth(γL)/γ, γ² = kc² − k². An
// infinite length gives A Aᵀ/γ.
//
// Modes of high cutoff that do not reach the other end are summed once for all
// frequencies, by the expansion of 1/γ in powers of (k/kc)², u ≤ 1/64.
func (s *side) localised(first int, k2 []complex128, length float64, coarse bool) [][]complex128 {
	most, lossy := 0.0, false
	for _, k := range k2 {
		most = max(most, cmplx.Abs(k))
		lossy = lossy || imag(k) != 0
	}
	last := len(s.g.kc)
	middle := first
	for middle < last && (s.g.kc[middle]*s.g.kc[middle] < 64*most || !math.IsInf(length, 1) && s.g.kc[middle]*length < 19) {
		middle++
	}
	parts := 1
	if lossy {
		parts = 2
	}
	near := s.modeSum(first, middle, coarse, parts*len(k2), func(n int, w []float64) {
		kc := s.g.kc[n]
		for q, k := range k2 {
			gamma := cmplx.Sqrt(complex(kc*kc, 0) - k)
			v := coth(gamma, length) / gamma
			w[q] = real(v)
			if lossy {
				w[len(k2)+q] = imag(v)
			}
		}
	})
	far := s.modeSum(middle, last, coarse, len(binomial), func(n int, w []float64) {
		v := 1 / s.g.kc[n]
		u := v * v
		for i, b := range binomial {
			w[i] = b * v
			v *= u
		}
	})
	out := make([][]complex128, len(k2))
	for q, k := range k2 {
		out[q] = make([]complex128, len(near[q]))
		for i, v := range near[q] {
			im := 0.0
			if lossy {
				im = near[len(k2)+q][i]
			}
			sum := complex(far[len(far)-1][i], 0)
			for p := len(far) - 2; p >= 0; p-- {
				sum = sum*k + complex(far[p][i], 0)
			}
			out[q][i] = complex(v, im) + sum
		}
	}
	return out
}

// coth returns coth(γL), without overflow.
func coth(gamma complex128, length float64) complex128 {
	if real(gamma)*length > 20 {
		return 1
	}
	e := cmplx.Exp(-2 * gamma * complex(length, 0))
	return (1 + e) / (1 - e)
}

// crossing returns Σₙ Aˡ[n,i] Aʳ[n,j] / (γ sinh γL) over the modes from first
// on, the coupling of the planes at both ends of a section; nil where it is
// below rounding.
func crossing(l, r *side, first int, k2 []complex128, length float64) [][]complex128 {
	g := l.g
	if first >= len(g.kc) || g.kc[first]*length > 36 {
		return nil
	}
	ml, mr := l.p.size, r.p.size
	out := make([][]complex128, len(k2))
	for q := range out {
		out[q] = make([]complex128, ml*mr)
	}
	for n := first; n < min(len(l.a)/ml, len(r.a)/mr) && g.kc[n]*length < 40; n++ {
		al, ar := l.a[n*ml:(n+1)*ml], r.a[n*mr:(n+1)*mr]
		kc := g.kc[n]
		for q, k := range k2 {
			gamma := cmplx.Sqrt(complex(kc*kc, 0) - k)
			e := cmplx.Exp(-gamma * complex(length, 0))
			w := 2 * e / (gamma * (1 - e*e))
			for i, v := range al {
				u := w * complex(v, 0)
				o := out[q][i*mr : (i+1)*mr]
				for j, x := range ar {
					o[j] += u * complex(x, 0)
				}
			}
		}
	}
	return out
}
