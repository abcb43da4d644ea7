package network

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Every description of a random passive network leads back to it.
func TestRoundTrips(t *testing.T) {
	r := seeded(t, 21)
	for range 200 {
		n := randomPassive(r, 1+r.IntN(5), 2, r.IntN(2) == 0)
		z, err := n.Impedance()
		if err != nil {
			t.Fatal(err)
		}
		same(t, "S→Z→S", must(FromImpedance(n.Frequency, z, n.Reference...)), n, 1e-11)
		y, err := n.Admittance()
		if err != nil {
			t.Fatal(err)
		}
		same(t, "S→Y→S", must(FromAdmittance(n.Frequency, y, n.Reference...)), n, 1e-11)
		other := make([]complex128, n.Ports)
		for i := range other {
			other[i] = randomReference(r)
		}
		moved := must(n.Renormalise(other...))
		same(t, "renormalised and back", must(moved.Renormalise(n.Reference...)), n, 1e-12)
		same(t, "renormalised and by way of Z", moved, must(FromImpedance(n.Frequency, z, other...)), 1e-11)
		p, err := n.PseudoWaves(other...)
		if err != nil {
			t.Fatal(err)
		}
		same(t, "pseudo waves and back", must(p.Network(n.Reference...)), n, 1e-12)
		if n.Ports != 2 {
			continue
		}
		m, err := n.ABCD()
		if err != nil {
			t.Fatal(err)
		}
		same(t, "S→ABCD→S", must(FromABCD(n.Frequency, m, n.Reference[0], n.Reference[1])), n, 1e-11)
		tr, err := n.Transfer()
		if err != nil {
			t.Fatal(err)
		}
		same(t, "S→T→S", must(FromTransfer(n.Frequency, tr, n.Reference[0], n.Reference[1])), n, 1e-11)
	}
}

// Power does not depend on the reference: passivity and reciprocity survive
// renormalisation to any complex references, and 1 − SᴴS keeps its sign exactly
// at a lossless network.
func TestRenormaliseKeepsPower(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		real := rapid.Float64Range(5, 500)
		any := rapid.Float64Range(-300, 300)
		draw := func(name string) complex128 { return complex(real.Draw(t, name), any.Draw(t, name+" reactance")) }
		z0, z1, z2 := draw("reference"), draw("new 1"), draw("new 2")
		// A lossless T of reactances, as Z.
		x1, x2, x12 := any.Draw(t, "x1"), any.Draw(t, "x2"), rapid.Float64Range(1, 300).Draw(t, "x12")
		n, err := FromImpedance([]float64{1e9}, []complex128{complex(0, x1+x12), complex(0, x12), complex(0, x12), complex(0, x2+x12)}, z0, z0)
		if err != nil {
			t.Fatal(err)
		}
		m, err := n.Renormalise(z1, z2)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range []Network{n, m} {
			sv := SingularValues(2, x.S)
			if !(math.Abs(sv[0]-1) <= 1e-10 && math.Abs(sv[1]-1) <= 1e-10) {
				t.Errorf("a lossless network has singular values %v", sv)
			}
			if d := x.Reciprocity(); !(d.Value <= 1e-10) {
				t.Errorf("S12 and S21 differ by %g", d.Value)
			}
		}
	})
}

// det ABCD = S12/S21 for any network, 1 for a reciprocal one, whatever the references.
func TestDeterminantABCD(t *testing.T) {
	r := seeded(t, 22)
	for i := range 200 {
		n := randomPassive(r, 2, 1, i%2 == 0)
		m, err := n.ABCD()
		if err != nil {
			t.Fatal(err)
		}
		want := n.S[1] / n.S[2]
		size := max(1, cmplx.Abs(m[0].A*m[0].D), cmplx.Abs(m[0].B*m[0].C)) // what cancels
		if d := cmplx.Abs(m[0].Det() - want); !(d <= 1e-12*size) {
			t.Errorf("det ABCD = %v, S12/S21 = %v, off by %g", m[0].Det(), want, d)
		}
	}
}

// With real references pseudo waves are power waves; with a complex one the
// reflection of a matched line is zero in pseudo waves and not in power waves,
// which are zero for the conjugate match.
func TestPseudoWaves(t *testing.T) {
	r := seeded(t, 23)
	n := randomPassive(r, 3, 2, false)
	power := must(n.Renormalise(75))
	pseudo, err := n.PseudoWaves(75)
	if err != nil {
		t.Fatal(err)
	}
	for i := range power.S {
		if !(cmplx.Abs(power.S[i]-pseudo.S[i]) <= 1e-13) {
			t.Fatalf("at 75 Ω power waves give %v, pseudo waves %v", power.S[i], pseudo.S[i])
		}
	}
	zc := complex128(48 - 3i)
	f := []float64{1e8}
	load := Load(f, 50, constant(zc))
	p, err := load.PseudoWaves(zc)
	if err != nil {
		t.Fatal(err)
	}
	if !(cmplx.Abs(p.S[0]) <= 1e-15) {
		t.Errorf("the line's own impedance reflects %v in pseudo waves", p.S[0])
	}
	if s := must(load.Renormalise(zc)).S[0]; !(math.Abs(cmplx.Abs(s)-3.0/48) <= 0.01) {
		t.Errorf("the line's own impedance reflects %v in power waves", s) // |z−z*|/|2z| = |Im z|/|z|
	}
	if s := must(Load(f, 50, constant(cmplx.Conj(zc))).Renormalise(zc)).S[0]; !(cmplx.Abs(s) <= 1e-15) {
		t.Errorf("the conjugate match reflects %v in power waves", s)
	}
}

// A lossy line of complex impedance in its own pseudo waves is reflectionless,
// S21 = e^{−γl}: [marks1992] §3. References vary over frequency.
func TestPseudoWavesOfLine(t *testing.T) {
	f := grid(1e8, 20e9, 7)
	zc := make([]complex128, 0, 2*len(f))
	at := func(f float64) (complex128, complex128) {
		return complex(0.1*math.Sqrt(f/1e9), 2*math.Pi*f*50e-12), 50 * complex(1, -0.05*math.Sqrt(1e9/f))
	}
	s := make([]complex128, 4*len(f))
	for k := range f {
		gl, z := at(f[k])
		zc = append(zc, z, z)
		s[4*k+1] = cmplx.Exp(-gl)
		s[4*k+2] = s[4*k+1]
	}
	n := must(PseudoWaves{2, f, zc, s}.Network(50))
	same(t, "line from pseudo waves", n, Line(f, 50, at), 1e-14)
	if _, err := (PseudoWaves{2, f, zc[:3], s}).Network(50); err == nil {
		t.Error("too few references are accepted")
	}
}

// Line against its ABCD matrix in closed form, and a line so lossy that
// cosh γl overflows.
func TestLine(t *testing.T) {
	r := seeded(t, 24)
	f := []float64{1e9}
	for range 100 {
		gl, zc, z1 := complex(r.Float64(), 10*r.NormFloat64()), randomReference(r), randomReference(r)
		n := Line(f, z1, func(float64) (complex128, complex128) { return gl, zc })
		m := ABCD{cmplx.Cosh(gl), zc * cmplx.Sinh(gl), cmplx.Sinh(gl) / zc, cmplx.Cosh(gl)}
		same(t, "line", n, must(FromABCD(f, []ABCD{m}, z1, z1)), 1e-13)
	}
	n := Line(f, 50, func(float64) (complex128, complex128) { return 2000 + 3i, 60 })
	if !(cmplx.Abs(n.S[0]-10.0/110) <= 1e-15 && n.S[1] == 0) {
		t.Errorf("an endless line of 60 Ω gives S11 %v, S21 %v", n.S[0], n.S[1])
	}
}

func TestSeriesAndShunt(t *testing.T) {
	r := seeded(t, 25)
	f := []float64{1e9}
	for range 100 {
		z, ref := randomReference(r), randomReference(r)
		same(t, "series", Series(f, ref, constant(z)), must(FromABCD(f, []ABCD{{1, z, 0, 1}}, ref, ref)), 1e-13)
		same(t, "shunt", Shunt(f, ref, constant(1/z)), must(FromABCD(f, []ABCD{{1, 0, 1 / z, 1}}, ref, ref)), 1e-13)
	}
	open, short := Series(f, 50, constant(cmplx.Inf())), Shunt(f, 50, constant(cmplx.Inf()))
	if !slices.Equal(open.S, []complex128{1, 0, 0, 1}) || !slices.Equal(short.S, []complex128{-1, 0, 0, -1}) {
		t.Errorf("a break gives %v, a short %v", open.S, short.S)
	}
	for _, z := range []complex128{0, 25, 50 + 20i, cmplx.Inf()} {
		if got := ImpedanceOf(Reflection(z, 40-10i), 40-10i); !(cmplx.Abs(got-z) <= 1e-13) && !(cmplx.IsInf(got) && cmplx.IsInf(z)) {
			t.Errorf("impedance of the reflection of %v is %v", z, got)
		}
	}
}

func ExampleNetwork_Renormalise() {
	// A 75 Ω video cable, a quarter wave long, measured in 75 Ω and wanted in 50 Ω.
	f := []float64{100e6}
	cable := Line(f, 75, func(float64) (complex128, complex128) { return complex(0, math.Pi/2), 75 })
	in50, err := cable.Renormalise(50)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("|S11| %.4f in 75 Ω, %.4f in 50 Ω\n", cmplx.Abs(cable.At(0, 0, 0)), cmplx.Abs(in50.At(0, 0, 0)))
	// Output: |S11| 0.0000 in 75 Ω, 0.3846 in 50 Ω
}
