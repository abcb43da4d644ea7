package line

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// A vanishing offset gives the concentric cutoffs, twice each; the shift grows
// with the square of the offset.
func TestEccentricTendsToConcentric(t *testing.T) {
	const a, b = 0.5, 1.15
	for _, te := range []bool{true, false} {
		for _, odd := range []bool{false, true} {
			var want []float64
			for _, m := range CircularModes(2*a, 2*b, 40) {
				if m.TE == te && !(odd && m.N == 0) {
					want = append(want, m.Kc)
				}
			}
			for i, kc := range eccentricCutoffs(te, odd, a, b, 1e-7, 6) {
				if !(math.Abs(kc/want[i]-1) <= 1e-10) {
					t.Errorf("te %v odd %v, mode %d: %.14g, concentric %.14g", te, odd, i, kc, want[i])
				}
			}
			s1, s2 := eccentricCutoffs(te, odd, a, b, 0.002, 1)[0]-want[0], eccentricCutoffs(te, odd, a, b, 0.004, 1)[0]-want[0]
			if !(math.Abs(s2/s1-4) <= 0.05) {
				t.Errorf("te %v odd %v: twice the offset shifts the lowest mode %.4f times", te, odd, s2/s1)
			}
		}
	}
}

// Independent route: multipoles about the inner axis that satisfy the wall of
// the inner conductor term by term, fitted on the outer wall. At a cutoff the
// fit is singular: its least singular value falls by orders of magnitude.
func TestEccentricCutoffs(t *testing.T) {
	for _, c := range []struct{ a, b, e float64 }{{0.5, 1.15, 0.1}, {0.5, 1.15, 0.4}, {0.2, 1, 0.3}, {0.7, 1, 0.1}} {
		for _, te := range []bool{true, false} {
			for _, odd := range []bool{false, true} {
				least := func(k float64) float64 {
					const orders, points = 20, 50
					m := mat.NewDense(points, orders, nil)
					for n := range orders {
						order := n
						if odd {
							order = n + 1
						}
						ja, dja, ya, dya := besselJY(order, k*c.a)
						p, q := ya, ja // ψ = p J_n(kr) − q Y_n(kr)
						if te {
							p, q = dya, dja
						}
						norm := 0.0
						for i := range points {
							th := (float64(i) + 0.5) * pi / points
							// the outer wall from the inner axis, which lies at +e
							x, y := c.b*math.Cos(th)-c.e, c.b*math.Sin(th)
							r, ph := math.Hypot(x, y), math.Atan2(y, x)
							j, dj, yy, dyy := besselJY(order, k*r)
							trig, dtrig := math.Cos(float64(order)*ph), -math.Sin(float64(order)*ph)
							if odd {
								trig, dtrig = math.Sin(float64(order)*ph), math.Cos(float64(order)*ph)
							}
							v := (p*j - q*yy) * trig
							if te { // slope along the outer normal
								radial := k * (p*dj - q*dyy) * trig
								around := float64(order) / r * (p*j - q*yy) * dtrig
								v = radial*math.Cos(ph-th) - around*math.Sin(ph-th)
							}
							m.Set(i, n, v)
							norm = math.Hypot(norm, v)
						}
						for i := range points {
							m.Set(i, n, m.At(i, n)/norm)
						}
					}
					var svd mat.SVD
					if !svd.Factorize(m, mat.SVDNone) {
						t.Fatal("no singular values")
					}
					s := svd.Values(nil)
					return s[len(s)-1] / s[0]
				}
				for i, kc := range eccentricCutoffs(te, odd, c.a, c.b, c.e, 3) {
					// Near a root the least singular value is a V, which the
					// truncated multipoles round off at the bottom: a value
					// of a hundredth puts the root within 1e-6 of kc.
					at, l, r := least(kc), least(kc*(1-1e-4)), least(kc*(1+1e-4))
					if !(at <= 1e-2*min(l, r)) {
						t.Errorf("a %g b %g e %g te %v odd %v, mode %d at %.9g: singular values %.2e, %.2e, %.2e", c.a, c.b, c.e, te, odd, i, kc, l, at, r)
					}
				}
			}
		}
	}
}

// Convergence: asking for more modes takes a larger basis. The lowest TE
// modes and TM01, which are what a line's user needs, then stay within 1e-6,
// in far corners too (a hair of a wire, a gap of 5 %).
func TestEccentricConverged(t *testing.T) {
	for _, c := range []struct{ a, b, e float64 }{{0.5, 1.15, 0.3}, {0.5, 1.15, 0.55}, {0.05, 1, 0.5}, {0.952, 1, 0.03}} {
		for te, lowest := range map[bool]int{true: 3, false: 1} {
			few, many := eccentricCutoffs(te, false, c.a, c.b, c.e, lowest), eccentricCutoffs(te, false, c.a, c.b, c.e, lowest+5)
			for i := range few {
				if !(math.Abs(few[i]/many[i]-1) <= 1e-6) {
					t.Errorf("a %g b %g e %g te %v: mode %d at %.10g, larger basis %.10g", c.a, c.b, c.e, te, i, few[i], many[i])
				}
			}
		}
	}
}

func TestEccentricModes(t *testing.T) {
	c := Coax{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3, Offset: 0.1e-3}
	ms := c.Modes()
	if !strings.HasPrefix(ms[0].Name, "TE11 ") || !strings.HasPrefix(ms[1].Name, "TE11 ") || ms[0].Name == ms[1].Name {
		t.Errorf("the lowest modes are %v", ms[:3])
	}
	straight := c
	straight.Offset = 0
	// The doc comment's figures: a tenth of the gap shifts the lower TE11 by
	// 1e-5 and the upper by 2e-3.
	f0 := ModeFreeLimit(straight)
	if l, u := ms[0].Cutoff/f0-1, ms[1].Cutoff/f0-1; !(math.Abs(l-1.2e-5) <= 5e-6) || !(math.Abs(u-2.4e-3) <= 5e-4) {
		t.Errorf("an offset of 0.1 mm shifts the two TE11 by %.3g and %.3g", l, u)
	}
	last := 0.0
	tm01 := 0
	for _, m := range ms {
		if m.Cutoff < last {
			t.Errorf("%s out of order", m.Name)
		}
		last = m.Cutoff
		if m.Name == "TM01" {
			tm01++
		}
	}
	if tm01 != 1 {
		t.Errorf("TM01 stands %d times in %v", tm01, ms)
	}
}

func BenchmarkEccentricModes(b *testing.B) {
	c := Coax{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3, Offset: 0.1e-3}
	for b.Loop() {
		c.Modes()
	}
}
