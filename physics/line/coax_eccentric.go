package line

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
)

// eccentricCutoffs returns the count lowest cutoff wave numbers, in rad/m, of
// one family of modes between cylinders of radii a < b, in m, whose axes are
// apart by e > 0: TE or TM, and even or odd about the plane of the axes. TEM's
// companion, the constant with kc = 0, is left out.
//
// In bipolar coordinates τ, σ, both walls are lines of constant τ and the
// Helmholtz equation keeps its Laplacian:
//
//	∂²ψ/∂τ² + ∂²ψ/∂σ² + kc² c²/(cosh τ − cos σ)² ψ = 0
//
// so a Rayleigh-Ritz solution in cos pσ (odd: sin pσ) times Legendre
// polynomials of τ converges exponentially, from above. The weight couples
// orders p and p′ through its own Fourier coefficients, known in closed form:
//
//	1/(cosh τ − cos σ)² = Σ ε_m e^{−mτ}(m + coth τ)/sinh²τ cos mσ,  ε_0 = 1, else 2
//
// As e falls to 0 the coefficients but the first vanish, the orders part, and
// the concentric line is met without a singularity.
//
// The lowest modes of each family are within 1e-6 at D/d from 1.05 to 20 and
// offsets up to 0.85 of the gap.
//
// Source: coordinates [smythe1968] ch. IV; the solution is computed here and
// confirmed by multipole collocation in TestEccentricCutoffs.
func eccentricCutoffs(te, odd bool, a, b, e float64, count int) []float64 {
	u := (b - a) * (b + a)
	width := Coax{InnerDiameter: 2 * a, OuterDiameter: 2 * b, Offset: e}.geometry() // τ_a − τ_b
	tauB := math.Acosh((u + e*e) / (2 * b * e))

	// Enough orders for the wanted modes and for the coupling, which falls as
	// e^{−mτ}; TM modes of a narrow gap crowd to its wide side, over an angle
	// of the order √(gap/πb).
	first, orders := 0, count+6+int(math.Min(40, 14/tauB))
	if !te {
		orders += int(math.Min(40, 3*math.Sqrt(pi*b/(b-a))))
	}
	if odd {
		first, orders = 1, orders+1
	}
	radial := 9 + int(3*width) + count/3

	radius := func(t float64) (tau, r float64) { // of the circle τ, in units of b
		tau = tauB + (t+1)/2*width
		return tau, math.Sinh(tauB) / math.Sinh(tau)
	}
	nodes := 2*radial + 16
	t, w := make([]float64, nodes), make([]float64, nodes)
	quad.Legendre{}.FixedLocations(t, w, -1, 1)
	f := radialFunctions(te, radial, t, w)

	// Stiffness, diagonal; integrals over σ are divided by π here and below.
	size := (orders - first) * radial
	stiff := make([]float64, size)
	for p := first; p < orders; p++ {
		full := 1.0
		if p == 0 {
			full = 2
		}
		for q := range radial {
			stiff[(p-first)*radial+q] = full * (f.slope[q]*2/width + float64(p*p)*f.norm[q]*width/2)
		}
	}
	// Mass: the Fourier coefficients of the weight, a_{|p−p′|} ± a_{p+p′}.
	fourier := make([][]float64, 2*orders)
	for j := range fourier {
		fourier[j] = make([]float64, radial*radial)
		for i := range nodes {
			tau, r := radius(t[i])
			weight := w[i] * width / 2 * r * r * math.Exp(-float64(j)*tau) * (float64(j) + 1/math.Tanh(tau))
			for q := range radial {
				x := weight * f.at[q][i]
				for r := range radial {
					fourier[j][q*radial+r] += x * f.at[r][i]
				}
			}
		}
	}
	sign := 1.0
	if odd {
		sign = -1
	}
	mass := func(i, j int) float64 {
		p, q, pp, r := first+i/radial, i%radial, first+j/radial, j%radial
		return fourier[max(p-pp, pp-p)][q*radial+r] + sign*fourier[p+pp][q*radial+r]
	}

	// K v = kc² M v with K diagonal: the eigenvalues of K^{−1/2} M K^{−1/2}
	// are 1/kc². Of TE even modes the first function is the constant, with
	// K = 0; the others are made M-orthogonal to it.
	skip := 0
	if te && !odd {
		skip = 1
	}
	s := mat.NewSymDense(size-skip, nil)
	for i := skip; i < size; i++ {
		for j := skip; j <= i; j++ {
			m := mass(i, j)
			if skip == 1 {
				m -= mass(i, 0) * mass(0, j) / mass(0, 0)
			}
			s.SetSym(i-skip, j-skip, m/math.Sqrt(stiff[i]*stiff[j]))
		}
	}
	var eig mat.EigenSym
	if !eig.Factorize(s, false) {
		panic(fmt.Sprintf("line: no eigenvalues for radii %g and %g m, offset %g m", a, b, e))
	}
	inverse := eig.Values(nil) // ascending
	out := make([]float64, count)
	for i := range out {
		out[i] = 1 / (b * math.Sqrt(inverse[len(inverse)-1-i]))
	}
	return out
}

// A radialSet holds n polynomials on −1 to 1, orthogonal to each other both
// as they are and by their slopes, given at Gauss nodes: free at the ends for
// TE, 0 there for TM. slope and norm are the integrals of the squares of slope
// and function. The first for TE is the constant.
type radialSet struct {
	at          [][]float64
	slope, norm []float64
}

func radialFunctions(te bool, n int, t, w []float64) radialSet {
	// Legendre polynomials with norm 1; or their integrals, with slopes of
	// norm 1. In the first basis diagonalise the slopes, in the second the
	// functions.
	raw, other := mat.NewDense(n, len(t), nil), mat.NewDense(n, len(t), nil)
	p, d := make([]float64, n+2), make([]float64, n+2)
	for i, x := range t {
		p[0], p[1], d[0], d[1] = 1, x, 0, 1
		for k := 1; k <= n; k++ {
			v := float64(k)
			p[k+1] = ((2*v+1)*x*p[k] - v*p[k-1]) / (v + 1)
			d[k+1] = d[k-1] + (2*v+1)*p[k]
		}
		for q := range n {
			if te {
				s := math.Sqrt(float64(q) + 0.5)
				raw.Set(q, i, s*p[q])
				other.Set(q, i, s*d[q])
			} else {
				raw.Set(q, i, (p[q+2]-p[q])/math.Sqrt(float64(4*q+6)))
				other.Set(q, i, raw.At(q, i))
			}
		}
	}
	gram := mat.NewSymDense(n, nil)
	for q := range n {
		for r := 0; r <= q; r++ {
			sum := 0.0
			for i := range t {
				sum += w[i] * other.At(q, i) * other.At(r, i)
			}
			gram.SetSym(q, r, sum)
		}
	}
	var eig mat.EigenSym
	if !eig.Factorize(gram, true) {
		panic("line: no eigenvalues of a Gram matrix")
	}
	var u, values mat.Dense
	eig.VectorsTo(&u)
	values.Mul(u.T(), raw)
	set := radialSet{slope: make([]float64, n), norm: make([]float64, n)}
	for q, l := range eig.Values(nil) {
		set.at = append(set.at, values.RawRowView(q))
		if te {
			set.slope[q], set.norm[q] = l, 1
		} else {
			set.slope[q], set.norm[q] = 1, l
		}
	}
	if te {
		set.slope[0] = 0 // the constant, to rounding
	}
	return set
}

// eccentricModes names the modes of [eccentricCutoffs] after the concentric
// ones they grow from: within one family the cutoffs keep their order.
func eccentricModes(a, b, e float64, count int) []namedCutoff {
	concentric := CircularModes(2*a, 2*b, count/2+4) // most of them come twice
	var all []namedCutoff
	for _, te := range []bool{true, false} {
		for _, odd := range []bool{false, true} {
			var names []string
			for _, m := range concentric {
				switch {
				case m.TE != te || odd && m.N == 0:
				case m.N == 0:
					names = append(names, m.Name())
				case odd:
					names = append(names, m.Name()+" odd")
				default:
					names = append(names, m.Name()+" even")
				}
			}
			if !te && !odd && len(names) == 0 {
				names = []string{"TM01"}
			}
			if len(names) == 0 {
				continue
			}
			for i, kc := range eccentricCutoffs(te, odd, a, b, e, len(names)) {
				all = append(all, namedCutoff{names[i], kc})
			}
		}
	}
	slices.SortStableFunc(all, func(p, q namedCutoff) int {
		if p.kc < q.kc {
			return -1
		}
		return 1
	})
	kept := all[:0]
	for i, m := range all {
		if i < count || m.name == "TM01" {
			kept = append(kept, m)
		}
	}
	return kept
}

type namedCutoff struct {
	name string
	kc   float64
}
