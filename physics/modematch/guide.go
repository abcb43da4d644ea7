package modematch

import (
	"math"
	"math/cmplx"
)

// guide is the cross-section of a section: radii a < b in m, a = 0 for a
// hollow guide, with its TM0n modes up to the number asked for.
//
// The transverse field of mode n is Er = Vₙ φₙ(r), Hφ = Iₙ φₙ(r), with
// ∫φₙ² r dr = 1 between the walls:
//
//	φ0 = 1/(r √ln(b/a))                                 TEM, not in a hollow guide
//	φn = Nₙ [J1(kr)Y0(ka) − Y1(kr)J0(ka)]               TM0n, k = kc
//	φn = √2 J1(kr) / (b |J1(kb)|)                       TM0n, hollow
//
// Source of the modes: [marcuvitz1951] §2.3, 2.4.
type guide struct {
	a, b float64
	kc   []float64    // cutoff wave numbers of TM01, TM02, ..., 1/m
	amp  []float64    // amplitude of √r φn at large kr
	edge []complex128 // amp with the phase that outgoing needs
}

func (g *guide) hollow() bool { return g.a == 0 }

// newGuide returns the guide with n modes.
//
// The cutoffs are the roots of J0(ka)Y0(kb) − Y0(ka)J0(kb) = 0, that is of
//
//	θ0(kb) − θ0(ka) = nπ        θ0(x) = arg H0⁽¹⁾(x)
//
// (hollow: θ0(kb) = (n − 1/2)π). The left side rises steadily, and its excess
// δ(kb) − δ(ka) over k(b−a) lies between 0 and π/4: each root has its own
// bracket, none can be missed or found twice, and nothing cancels when b/a is
// near 1. The norm follows from the Wronskian: with M = (πx/2)|H0|² ([dlmf]
// 10.5.2, 10.22.5)
//
//	1/Nₙ² = 2/(πk)² · [ (b/a) M(ka)/M(kb) − 1 ]
func newGuide(a, b float64, n int) *guide {
	g := &guide{a: a, b: b, kc: make([]float64, n), amp: make([]float64, n), edge: make([]complex128, n)}
	d := b - a
	excess := func(k float64) (e, slope float64) {
		db, mb := phase0(k * b)
		if a == 0 {
			return db + math.Pi/4, b / mb
		}
		da, ma := phase0(k * a)
		return db - da, b/mb - a/ma
	}
	for i := range g.kc {
		target := float64(i+1) * math.Pi
		lo, hi := (target-math.Pi/4)/d, target/d
		k := hi
		if i > 0 {
			k = g.kc[i-1] + math.Pi/d
		}
		for range 60 {
			k = min(max(k, lo), hi)
			e, slope := excess(k)
			f := k*d + e - target
			if f > 0 {
				hi = k
			} else {
				lo = k
			}
			step := f / slope
			k -= step
			if !(math.Abs(step) > 4e-16*k) {
				break
			}
			if k < lo || k > hi {
				k = (lo + hi) / 2
			}
		}
		g.kc[i] = k
		if a == 0 {
			g.amp[i] = math.Sqrt2 / (b * math.Abs(math.J1(k*b))) * math.Sqrt(2/(math.Pi*k))
			// φ = Re amp/√r e^{j(kr − 3π/4)} s1(kr)
			g.edge[i] = cmplx.Rect(g.amp[i], -3*math.Pi/4)
			continue
		}
		sa := scaled0(k * a)
		ma := real(sa)*real(sa) + imag(sa)*imag(sa)
		_, mb := phase0(k * b)
		ratio := b / a * ma / mb // |H0(ka)|²/|H0(kb)|²
		norm := math.Pi * k / math.Sqrt(2*(ratio-1))
		g.amp[i] = norm * 2 / (math.Pi * k * math.Sqrt(a))
		// φ = Re amp/√r e^{jk(r−a)} s1(kr) s0*(ka)
		g.edge[i] = complex(g.amp[i], 0) * cmplx.Conj(sa)
	}
	return g
}

// tem returns φ0 · r, a constant.
func (g *guide) tem() float64 { return 1 / math.Sqrt(math.Log(g.b/g.a)) }

// phi returns φ of TM0,n+1 at radius r, for arguments of moderate size.
func (g *guide) phi(n int, r float64) float64 {
	k := g.kc[n]
	if g.a == 0 {
		return g.amp[n] / math.Sqrt(2/(math.Pi*k)) * math.J1(k*r)
	}
	norm := g.amp[n] * math.Pi * k * math.Sqrt(g.a) / 2
	return norm * (math.J1(k*r)*math.Y0(k*g.a) - math.Y1(k*r)*math.J0(k*g.a))
}

// outgoing returns, for r in the upper half plane with |k r| ≥ asymptoticFrom,
// the complex function whose real part on the axis is φ of TM0,n+1, without
// its factor e^{jk(r − start)}; start is the inner radius, or 0 if hollow.
func (g *guide) outgoing(n int, r complex128) complex128 {
	return g.edge[n] / cmplx.Sqrt(r) * hankel(1, complex(g.kc[n], 0)*r)
}

// wallFactor returns Σ r φ² over the walls, in 1/m, the weights of their
// surface impedances: first the inner wall, then the outer one. n = −1 is TEM.
func (g *guide) wallFactor(n int) (inner, outer float64) {
	if n < 0 {
		l := math.Log(g.b / g.a)
		return 1 / (g.a * l), 1 / (g.b * l)
	}
	pb := g.phi(n, g.b)
	outer = g.b * pb * pb
	if g.a > 0 {
		pa := g.phi(n, g.a)
		inner = g.a * pa * pa
	}
	return inner, outer
}
