package line

import (
	"math"
	"math/cmplx"
	"testing"

	"pgregory.net/rapid"

	"linewright/internal/refcheck"
)

// besselIntegrals is the slow twin: the trapezium rule on
//
//	I_n(z) e^{−z} = 1/π ∫ e^{z(cos θ − 1)} cos nθ dθ,  0 to π
//	K_n(z) e^{z}  = ∫ e^{−z(cosh t − 1)} cosh nt dt,   0 to ∞
//
// which converges faster than any power of the step. [dlmf] 10.32.3, 10.32.9.
func besselIntegrals(z complex128) modified {
	var m modified
	n := 400 + int(4*cmplx.Abs(z))
	for i := 0; i <= n; i++ {
		w := 1.0
		if i == 0 || i == n {
			w = 0.5
		}
		c := math.Cos(pi * float64(i) / float64(n))
		e := complex(w/float64(n), 0) * cmplx.Exp(z*complex(c-1, 0))
		m.i0 += e
		m.i1 += e * complex(c, 0)
	}
	const h = 1.0 / 256
	for i := 0; ; i++ {
		t := h * float64(i)
		ch := math.Cosh(t)
		if real(z)*(ch-1) > 60 {
			break
		}
		w := h
		if i == 0 {
			w = h / 2
		}
		e := complex(w, 0) * cmplx.Exp(-z*complex(2*math.Sinh(t/2)*math.Sinh(t/2), 0))
		m.k0 += e
		m.k1 += e * complex(ch, 0)
	}
	return m
}

func drawArgument(t *rapid.T, low, high float64) complex128 {
	r := math.Pow(10, rapid.Float64Range(math.Log10(low), math.Log10(high)).Draw(t, "log10 |z|"))
	// The angle of k·r in a metal: 45° when non-magnetic, less with magnetic
	// loss; the other half plane for completeness.
	a := rapid.Float64Range(-1.2, 1.2).Draw(t, "arg z")
	return cmplx.Rect(r, a)
}

func TestModifiedAgainstIntegrals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z := drawArgument(t, 0.01, 200)
		got, want := besselModified(z), besselIntegrals(z)
		for i, p := range [][2]complex128{{got.i0, want.i0}, {got.i1, want.i1}, {got.k0, want.k0}, {got.k1, want.k1}} {
			if !(cmplx.Abs(p[0]-p[1]) <= 1e-13*cmplx.Abs(p[1])+2e-15) {
				t.Fatalf("%s(%g) scaled = %.15g, by integral %.15g", []string{"I0", "I1", "K0", "K1"}[i], z, p[0], p[1])
			}
		}
	})
}

// Identity: I0 K1 + I1 K0 = 1/z, whose exponentials cancel.
func TestModifiedWronskian(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z := drawArgument(t, 1e-8, 1e8)
		m := besselModified(z)
		if w := z * (m.i0*m.k1 + m.i1*m.k0); !(cmplx.Abs(w-1) <= 1e-14) {
			t.Fatalf("z (I0 K1 + I1 K0) = %.16g at z = %g", w, z)
		}
	})
}

// The methods agree where they meet.
func TestModifiedSeams(t *testing.T) {
	for a := -1.5; a <= 1.5; a += 0.25 {
		for _, c := range []struct {
			r    float64
			l, h func(complex128) modified
		}{{besselSmall, besselSeries, besselFractions}, {besselLarge, besselFractions, besselAsymptotic}} {
			z := cmplx.Rect(c.r, a)
			l, h := c.l(z), c.h(z)
			for i, p := range [][2]complex128{{l.i0, h.i0}, {l.i1, h.i1}, {l.k0, h.k0}, {l.k1, h.k1}} {
				if !(cmplx.Abs(p[0]-p[1]) <= 2e-14*cmplx.Abs(p[1])) {
					t.Errorf("function %d at %g: %.16g below, %.16g above", i, z, p[0], p[1])
				}
			}
		}
	}
}

// Published values: the exponentially scaled functions of real argument and
// the Kelvin functions ber and bei, I0(x e^{jπ/4}) = ber x + j bei x.
func TestModifiedPublished(t *testing.T) {
	const as = "[abramowitz1964] tables 9.8, 9.12"
	m := besselModified(1)
	k1, k5 := cmplx.Rect(1, pi/4), cmplx.Rect(5, pi/4)
	ber1 := besselModified(k1).i0 * cmplx.Exp(k1)
	ber5 := besselModified(k5).i0 * cmplx.Exp(k5)
	for _, c := range []struct {
		name, value string
		got         float64
	}{
		{"I0(1)", "1.2660658778", real(m.i0) * math.E},
		{"I1(1)", "0.5651591040", real(m.i1) * math.E},
		{"K0(1)", "0.4210244382", real(m.k0) / math.E},
		{"K1(1)", "0.6019072302", real(m.k1) / math.E},
		{"ber(1)", "0.9843817812", real(ber1)},
		{"bei(1)", "0.2495660400", imag(ber1)},
		{"ber(5)", "-6.2300824787", real(ber5)},
		{"bei(5)", "0.1160343816", imag(ber5)},
	} {
		row := refcheck.Row{Table: "other", ID: c.name, Quantity: "modified Bessel or Kelvin function", Value: c.value, Source: as, Status: "from-memory"}
		row.Within(t, c.got, 0.51e-10)
	}
}

// J and Y against the standard library where that is accurate, their
// Wronskian, and the place where a recurrence scaled by J0 fails: the zeros of
// J0, 2.404825557695773 and 5.520078110286311 ([abramowitz1964] table 9.5).
func TestBesselJY(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 40).Draw(t, "n")
		x := math.Pow(10, rapid.Float64Range(-2, 2.5).Draw(t, "log10 x"))
		j, dj, y, dy := besselJY(n, x)
		if math.IsInf(y, 0) {
			if float64(n) < x {
				t.Fatalf("Y_%d(%g) overflows", n, x)
			}
			return
		}
		scale := math.Abs(j*dy) + math.Abs(dj*y)
		if w := j*dy - dj*y - 2/(pi*x); !(math.Abs(w) <= 1e-13*(scale+2/(pi*x))) {
			t.Fatalf("Wronskian of order %d at %g is off by %g", n, x, w)
		}
		if ref := math.Yn(n, x); !(math.Abs(y-ref) <= 1e-12*math.Abs(ref)+1e-13) {
			t.Fatalf("Y_%d(%g) = %.16g, library %.16g", n, x, y, ref)
		}
		// Bessel's integral, [dlmf] 10.9.2: exact by the trapezium rule.
		sum, dsum := 0.0, 0.0
		const m = 1024
		for i := range m {
			th := 2 * pi * float64(i) / m
			s, c := math.Sincos(float64(n)*th - x*math.Sin(th))
			sum += c / m
			dsum += s * math.Sin(th) / m
		}
		if !(math.Abs(j-sum) <= 1e-13) || !(math.Abs(dj-dsum) <= 1e-13) {
			t.Fatalf("J_%d(%g) = %.16g, derivative %.16g; by integral %.16g, %.16g", n, x, j, dj, sum, dsum)
		}
	})
	for _, x := range []float64{2.404825557695773, 5.520078110286311} {
		for n := 6; n < 12; n++ {
			// Series, all terms small: J_n = Σ (−1)^k (x/2)^{n+2k}/k!(n+k)!
			term := 1.0
			for k := 1; k <= n; k++ {
				term *= x / 2 / float64(k)
			}
			want := 0.0
			for k := 0; k < 40; k++ {
				want += term
				term *= -x * x / 4 / (float64(k+1) * float64(n+k+1))
			}
			if j, _, _, _ := besselJY(n, x); !(math.Abs(j/want-1) <= 1e-13) {
				t.Errorf("J_%d(%g) = %.16g, series %.16g", n, x, j, want)
			}
		}
	}
}
