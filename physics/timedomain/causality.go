package timedomain

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/integrate/quad"
)

// CausalityOptions say how causality is tested. The zero value asks that nothing
// comes out before it goes in, of a part that stays passive beyond the sweep.
type CausalityOptions struct {
	Delay       float64 // s: ask that nothing arrives before it, such as a length over the speed of light
	Beyond      float64 // most |S| beyond the sweep; 0 is 1, right for a passive part and real references
	Subtraction int     // number of subtraction points; 0 tries 2, 4, 8 and 16, and takes what shows most at each frequency
	Points      int     // number of frequencies at which to judge; 0 is 200
}

// Causality is the outcome of [Spectrum.Causality], per frequency judged.
type Causality struct {
	Frequency  []float64 // Hz
	Difference []float64 // |S − what the dispersion relation predicts from all of S|
	Truncation []float64 // the most that an unknown continuation beyond the sweep can contribute to it; +Inf where nothing can be said
	Numeric    []float64 // an estimate of the quadrature's error
}

// Excess returns the largest Difference less both errors, and its frequency in Hz.
// Above 0, and above the noise of the data, no causal response has this sweep
// in its band. At or below 0 nothing is proved: a violation smaller than Truncation
// may hide.
func (c Causality) Excess() (excess, frequency float64) {
	excess, frequency = math.Inf(-1), math.NaN()
	for k, d := range c.Difference {
		if e := d - c.Truncation[k] - c.Numeric[k]; !(e <= excess) {
			excess, frequency = e, c.Frequency[k]
			if math.IsNaN(e) {
				break // data that are no numbers are no causal response either
			}
		}
	}
	return excess, frequency
}

// Causality judges whether s can be part of a causal response, by the
// generalised dispersion relation. A causal S(ω) is analytic in the lower
// half of the ω plane; so is G = (S − L)/Π, with Π = (ω−ω_1)...(ω−ω_n), and L
// the polynomial through S at the subtraction points ω_q, and G falls off:
//
//	S(ω) = L(ω) + Π(ω) (j/π) ⨍ G(x)/(x − ω) dx
//
// Outside the sweep the part of L is known in closed form; that of S is at most
//
//	T(ω) = |Π(ω)|/π · ∫_{|x|>ω_max} M dx/(|Π(x)| |x−ω|)
//
// with |S| ≤ M there. The points are the zeros of a Chebyshev polynomial over
// ±ω_max, moved to even harmonics, so that T shrinks about as 1/n² in the
// inner part of the band and never vanishes at its end. But L also takes up a
// response that is early by less than about n/ω_max: few points see large
// violations of short lead, many see small ones of long lead, so several numbers
// of points are tried. Inside the sweep Boole's rule is used on S as sampled, its
// difference to Simpson's on every second sample being Numeric.
//
// It is a stronger test than the turning sense of the trace that [ieee370] counts:
// it says how large a violation is, and how large it would have to be to show:
// 0.5 % in the inner third of a sweep of 4000 harmonics (computed here). A lead
// well below 1/2f_max does not show: what lies beyond the sweep could mend it.
//
// The top tenth of the band, where T grows, is not judged.
//
// Source: [triverio2008]; principal value by subtraction of the singularity, and
// the choice of points, are ours.
func (s Spectrum) Causality(o CausalityOptions) (Causality, error) {
	if o.Subtraction != 0 {
		return s.dispersion(o, o.Subtraction)
	}
	c, err := s.dispersion(o, 2)
	if err != nil {
		return c, err
	}
	for q := 4; q <= 16; q *= 2 {
		d, err := s.dispersion(o, q)
		if err != nil {
			break // too few harmonics for so many points
		}
		for k := range c.Frequency {
			if d.Difference[k]-d.Truncation[k]-d.Numeric[k] > c.Difference[k]-c.Truncation[k]-c.Numeric[k] {
				c.Difference[k], c.Truncation[k], c.Numeric[k] = d.Difference[k], d.Truncation[k], d.Numeric[k]
			}
		}
	}
	return c, nil
}

// dispersion is [Spectrum.Causality] with q subtraction points.
func (s Spectrum) dispersion(o CausalityOptions, q int) (Causality, error) {
	n := len(s.S) - 1
	n -= n % 2
	if n < 64 {
		return Causality{}, fault("causality", ErrFew, "give 65 frequencies at least from 0 Hz", "%d harmonics", n)
	}
	q = max(2, q+q%2)
	beyond := o.Beyond
	if beyond == 0 {
		beyond = 1
	}
	points := o.Points
	if points == 0 {
		points = 200
	}

	// S at x_k = (k−n)/n, k = 0 ... 2n, with the delay taken out.
	h := make([]complex128, 2*n+1)
	for k := 0; k <= n; k++ {
		v := s.S[k] * cmplx.Rect(1, 2*math.Pi*math.Mod(float64(k)*s.Step*o.Delay, 1))
		h[n+k], h[n-k] = v, cmplx.Conj(v)
	}
	x := func(k int) float64 { return float64(k-n) / float64(n) }
	at := make([]int, q)
	for i := range at {
		v := math.Cos(math.Pi * (float64(i) + 0.5) / float64(q))
		at[i] = n + 2*int(math.Round(v*float64(n)/2))
	}
	isPoint := make(map[int]bool, q)
	for _, k := range at {
		if isPoint[k] || k < 6 || k > 2*n-6 {
			return Causality{}, fault("causality", ErrFew, "ask for fewer subtraction points, or give more frequencies", "%d points in %d harmonics", q, n)
		}
		isPoint[k] = true
	}
	// Barycentric weights 1/Π'(ω_q), scaled by 2^{q−1}, Π by the same.
	weight := make([]float64, q)
	scale := math.Exp2(float64(q - 1))
	for i := range weight {
		p := scale
		for j := range at {
			if j != i {
				p *= x(at[i]) - x(at[j])
			}
		}
		weight[i] = 1 / p
	}
	product := func(v float64) float64 {
		p := scale
		for _, k := range at {
			p *= v - x(k)
		}
		return p
	}
	g := make([]complex128, len(h)) // (S − L)/Π = S/Π − Σ S_q weight_q/(x − x_q)
	for k := range g {
		if isPoint[k] {
			continue
		}
		v := h[k] / complex(product(x(k)), 0)
		for i, m := range at {
			v -= h[m] * complex(weight[i]/(x(k)-x(m)), 0)
		}
		g[k] = v
	}
	for _, k := range at { // by the six neighbours, G being smooth there
		g[k] = (15*(g[k-1]+g[k+1]) - 6*(g[k-2]+g[k+2]) + (g[k-3] + g[k+3])) / 20
	}

	node, nodeWeight := gradedLegendre()
	var c Causality
	top := n * 9 / 10
	stride := max(2, 2*(top/(2*points)))
	d := 1 / float64(n)
	for j := stride; j <= top; j += stride {
		k := n + j
		if isPoint[k] { // Π = 0: the relation says nothing
			c.Frequency = append(c.Frequency, float64(j)*s.Step)
			c.Difference = append(c.Difference, 0)
			c.Truncation = append(c.Truncation, math.Inf(1))
			c.Numeric = append(c.Numeric, 0)
			continue
		}
		w := x(k)
		slope := (45*(g[k+1]-g[k-1]) - 9*(g[k+2]-g[k-2]) + (g[k+3] - g[k-3])) / complex(60*d, 0)
		term := func(m int) complex128 {
			if m == k {
				return slope
			}
			return (g[m] - g[k]) / complex(x(m)-w, 0)
		}
		var odd, two, four complex128 // indices odd, 2 mod 4, 0 mod 4, ends apart
		for m := 1; m < 2*n; m++ {
			switch {
			case m%2 == 1:
				odd += term(m)
			case m%4 == 2:
				two += term(m)
			default:
				four += term(m)
			}
		}
		ends := term(0) + term(2*n)
		fine := complex(d/3, 0) * (ends + 4*odd + 2*(two+four))
		coarse := complex(2*d/3, 0) * (ends + 4*two + 2*four)
		inside := fine + (fine-coarse)/15 + g[k]*complex(math.Log((1-w)/(1+w)), 0)
		var lagrange, known complex128
		for i, m := range at {
			p := x(m)
			lagrange += h[m] * complex(weight[i]/(w-p), 0)
			known -= h[m] * complex(weight[i]*(math.Log((1-w)/(1-p))+math.Log((1+p)/(1+w)))/(p-w), 0)
		}
		pw := product(w)
		predicted := complex(pw, 0) * (lagrange + complex(0, 1/math.Pi)*(inside+known))
		outside := 0.0 // ∫ over |x| > 1, with x = ±1/u
		for i, u := range node {
			outside += nodeWeight[i] / u * (1/(math.Abs(product(1/u))*(1-u*w)) + 1/(math.Abs(product(-1/u))*(1+u*w)))
		}
		c.Frequency = append(c.Frequency, float64(j)*s.Step)
		c.Difference = append(c.Difference, cmplx.Abs(predicted-h[k]))
		c.Truncation = append(c.Truncation, beyond*math.Abs(pw)/math.Pi*outside)
		c.Numeric = append(c.Numeric, math.Abs(pw)/math.Pi*cmplx.Abs(fine-coarse))
	}
	return c, nil
}

// gradedLegendre returns nodes and weights of Gauss-Legendre rules over panels of
// (0, 1) that halve towards 1, where integrands turn fast.
func gradedLegendre() (x, w []float64) {
	const n = 16
	lo := 0.0
	for range 16 {
		hi := (1 + lo) / 2
		px, pw := make([]float64, n), make([]float64, n)
		quad.Legendre{}.FixedLocations(px, pw, lo, hi)
		x, w = append(x, px...), append(w, pw...)
		lo = hi
	}
	px, pw := make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(px, pw, lo, 1)
	return append(x, px...), append(w, pw...)
}
