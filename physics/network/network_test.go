package network

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

func TestMain(m *testing.M) { refcheck.Main(m, "physics-network") }

// seeded returns the random source of a test, whose seed it prints on failure.
func seeded(t testing.TB, seed uint64) *rand.Rand {
	t.Helper()
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("seed %d", seed)
		}
	})
	return rand.New(rand.NewPCG(seed, 1))
}

func gaussian(r *rand.Rand) complex128 { return complex(r.NormFloat64(), r.NormFloat64()) }

// randomReference has a positive real part and any phase up to ±60°.
func randomReference(r *rand.Rand) complex128 {
	z := 10 + 100*r.Float64()
	return complex(z, z*1.7*(2*r.Float64()-1))
}

// randomPassive returns a network whose largest singular value is between 0.3
// and 0.95, reciprocal if asked, with complex references.
func randomPassive(r *rand.Rand, ports, points int, reciprocal bool) Network {
	n := New(ports, grid(1e9, 40e9, points), 50)
	for i := range n.Reference {
		n.Reference[i] = randomReference(r)
	}
	for k := range points {
		m := n.Matrix(k)
		for i := range m {
			m[i] = gaussian(r)
		}
		if reciprocal {
			for i := range ports {
				for j := range i {
					m[i*ports+j] = m[j*ports+i]
				}
			}
		}
		scale := complex((0.3+0.65*r.Float64())/SingularValues(ports, m)[0], 0)
		for i := range m {
			m[i] *= scale
		}
	}
	return n
}

func grid(first, last float64, points int) []float64 {
	f := make([]float64, points)
	for k := range f {
		f[k] = first
		if points > 1 {
			f[k] += (last - first) * float64(k) / float64(points-1)
		}
	}
	return f
}

func constant(z complex128) func(float64) complex128 { return func(float64) complex128 { return z } }

func must(n Network, err error) Network {
	if err != nil {
		panic(err)
	}
	return n
}

// same fails unless a and b are the same network within tol.
func same(t *testing.T, what string, a, b Network, tol float64) {
	t.Helper()
	if a.Ports != b.Ports || !sameGrid(a.Frequency, b.Frequency) || len(a.S) != len(b.S) {
		t.Fatalf("%s: %d ports, %d values against %d ports, %d values", what, a.Ports, len(a.S), b.Ports, len(b.S))
	}
	for i := range a.Reference {
		if !(cmplx.Abs(a.Reference[i]-b.Reference[i]) <= tol*cmplx.Abs(b.Reference[i])) {
			t.Errorf("%s: reference %d is %v, want %v", what, i, a.Reference[i], b.Reference[i])
		}
	}
	for i := range a.S {
		if !(cmplx.Abs(a.S[i]-b.S[i]) <= tol) {
			t.Fatalf("%s: S[%d] = %v, want %v, off by %.2g", what, i, a.S[i], b.S[i], cmplx.Abs(a.S[i]-b.S[i]))
		}
	}
}

func TestCheck(t *testing.T) {
	good := New(2, []float64{0, 1e9}, 50)
	if err := good.Check(); err != nil {
		t.Errorf("a network of zeros: %v", err)
	}
	nan := math.NaN()
	for _, c := range []struct {
		what string
		n    Network
		want error
	}{
		{"missing parameters", Network{2, []float64{1}, []complex128{50, 50}, make([]complex128, 3)}, ErrShape},
		{"missing reference", Network{2, []float64{1}, []complex128{50}, make([]complex128, 4)}, ErrShape},
		{"repeated frequency", New(1, []float64{1, 1}, 50), ErrFrequency},
		{"negative frequency", New(1, []float64{-1, 1}, 50), ErrFrequency},
		{"NaN frequency", New(1, []float64{1, nan, 3}, 50), ErrFrequency},
		{"infinite frequency", New(1, []float64{1, math.Inf(1)}, 50), ErrFrequency},
		{"reactive reference", New(1, []float64{1}, 50i), ErrReference},
		{"NaN reference", New(1, []float64{1}, complex(50, nan)), ErrReference},
		{"NaN parameter", Network{1, []float64{1}, []complex128{50}, []complex128{complex(nan, 0)}}, ErrValue},
	} {
		err := c.n.Check()
		if !errors.Is(err, c.want) {
			t.Errorf("%s: error %v, want one of %q", c.what, err, c.want)
		}
		var e *Error
		if !errors.As(err, &e) || e.Found == "" {
			t.Errorf("%s: the error does not say what it found: %v", c.what, err)
		}
	}
}

// Everything that can be refused is refused with an [Error] of the right kind.
func TestRefusals(t *testing.T) {
	f := []float64{1e9, 2e9, 3e9}
	one, two, three := New(1, f, 50), New(2, f, 50), New(3, f, 50)
	other := New(2, []float64{1e9, 2e9, 4e9}, 50)
	through := New(2, f, 50)
	for k := range f {
		through.Set(k, 0, 1, 1)
		through.Set(k, 1, 0, 1)
	}
	full := Load(f, 50, constant(0))
	uneven := New(2, f, 50)
	uneven.Reference[1] = 60
	second := func(_ any, err error) error { return err }
	for _, c := range []struct {
		what string
		err  error
		want error
	}{
		{"cascade of nothing", second(Cascade()), ErrShape},
		{"cascade of a three-port", second(Cascade(two, three)), ErrShape},
		{"cascade over two grids", second(Cascade(two, other)), ErrGrid},
		{"join over two grids", second(Join(two, 1, other, 0)), ErrGrid},
		{"join at a port that is not there", second(Join(two, 2, two, 0)), ErrPort},
		{"join of the last ports", second(Join(one, 0, one, 0)), ErrPort},
		{"inner join of a port with itself", second(three.JoinInner(1, 1)), ErrPort},
		{"inner join of a two-port", second(two.JoinInner(0, 1)), ErrPort},
		{"lossless ring", second(Circuit{[]Network{through, two}, [][]Terminal{{{0, 0}, {0, 1}}}, []Terminal{{1, 0}, {1, 1}}, nil}.Network()), ErrSingular},
		{"closed lossless end", second(Cascade(must(Cascade(Shunt(f, 50, constant(cmplx.Inf())), through)), Shunt(f, 50, constant(cmplx.Inf())))), ErrSingular},
		{"circuit without outer port", second(Circuit{Elements: []Network{two}}.Network()), ErrShape},
		{"circuit port left over", second(Circuit{[]Network{two}, nil, []Terminal{{0, 0}}, nil}.Network()), ErrPort},
		{"circuit port wired twice", second(Circuit{[]Network{three}, [][]Terminal{{{0, 1}, {0, 1}}}, []Terminal{{0, 0}}, nil}.Network()), ErrPort},
		{"circuit joint of one", second(Circuit{[]Network{two}, [][]Terminal{{{0, 1}}}, []Terminal{{0, 0}}, nil}.Network()), ErrPort},
		{"circuit element missing", second(Circuit{[]Network{two}, nil, []Terminal{{0, 0}, {1, 1}}, nil}.Network()), ErrPort},
		{"circuit reference missing", second(Circuit{[]Network{two}, nil, []Terminal{{0, 0}, {0, 1}}, []complex128{50}}.Network()), ErrShape},
		{"circuit bad reference", second(Circuit{[]Network{two}, nil, []Terminal{{0, 0}, {0, 1}}, []complex128{50, -50}}.Network()), ErrReference},
		{"Z of a through", second(through.Impedance()), ErrSingular},
		{"Y of a through", second(through.Admittance()), ErrSingular},
		{"Y of a short", second(full.Admittance()), ErrSingular},
		{"ABCD of nothing passing", second(two.ABCD()), ErrSingular},
		{"T of nothing passing", second(two.Transfer()), ErrSingular},
		{"ABCD of three ports", second(three.ABCD()), ErrShape},
		{"S of too few impedances", second(FromImpedance(f, make([]complex128, 3), 50, 50)), ErrShape},
		{"S of Z = −Z0", second(FromImpedance(f, []complex128{-50, -50, -50}, 50)), ErrSingular},
		{"S of too few ABCD", second(FromABCD(f, nil, 50, 50)), ErrShape},
		{"S of T22 = 0", second(FromTransfer(f, make([]Transfer, 3), 50, 50)), ErrSingular},
		{"renormalise with two for three", second(three.Renormalise(50, 75)), ErrShape},
		{"renormalise to −50 Ω", second(two.Renormalise(-50)), ErrReference},
		{"reorder to nothing", second(two.Reorder()), ErrPort},
		{"reorder with a port twice", second(two.Reorder(0, 0)), ErrPort},
		{"mixed mode of one port twice", second(two.Mixed(Pair{0, 0})), ErrPort},
		{"mixed mode of unequal references", second(uneven.Mixed(Pair{0, 1})), ErrReference},
		{"mixed mode without a pair", second(two.Mixed()), ErrPort},
		{"interpolation above the data", second(two.Interpolate([]float64{3.1e9}, Interpolation{})), ErrRange},
		{"interpolation below the data", second(two.Interpolate([]float64{0}, Interpolation{})), ErrRange},
		{"interpolation onto a falling grid", second(two.Interpolate([]float64{2e9, 1e9}, Interpolation{})), ErrFrequency},
		{"mirror image with complex references", second(New(1, f, 50+1i).Interpolate(f, Interpolation{ToZero: true})), ErrReference},
		{"causality of an uneven grid", second(other.InitialQuality()), ErrSpacing},
		{"group delay of one point", second(New(1, f[:1], 50).GroupDelay(0, 0)), ErrSampling},
		{"study of nothing", second(Study{}.Run(nil)), ErrShape},
		{"study of a reflection above one", second(Study{}.Run([]Reflector{{Magnitude: 1.1}})), ErrValue},
		{"sweep without delays", second(Study{Stop: 1e9}.Run([]Reflector{{Magnitude: .1}, {Magnitude: .1}})), ErrValue},
		{"sweep that falls", second(Study{Start: 2e9, Stop: 1e9}.Run([]Reflector{{Magnitude: .1}})), ErrFrequency},
	} {
		if !errors.Is(c.err, c.want) {
			t.Errorf("%s: error %v, want one of %v", c.what, c.err, c.want)
			continue
		}
		var e *Error
		if c.err != nil && (!errors.As(c.err, &e) || e.Op == "" || e.Found == "") {
			t.Errorf("%s: the error does not say what it found: %v", c.what, c.err)
		}
	}
	// The text names place, finding, rule and remedy.
	_, err := through.Impedance()
	for _, part := range []string{"impedance matrix", "1 GHz", "singular", "no inverse", "use ABCD"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q does not say %q", err, part)
		}
	}
}

func TestReorder(t *testing.T) {
	r := seeded(t, 11)
	n := randomPassive(r, 4, 3, false)
	m := must(n.Reorder(2, 0, 3))
	for k := range n.Frequency {
		if m.At(k, 0, 1) != n.At(k, 2, 0) || m.At(k, 2, 2) != n.At(k, 3, 3) {
			t.Fatal("a parameter went to the wrong place")
		}
	}
	if m.Reference[1] != n.Reference[0] {
		t.Error("a reference went to the wrong place")
	}
	back := must(must(n.Reorder(3, 1, 0, 2)).Reorder(2, 1, 3, 0))
	same(t, "there and back", back, n, 0)
	if got := n.Trace(1, 2)[2]; got != n.At(2, 1, 2) {
		t.Errorf("Trace gives %v", got)
	}
}

func TestNewPanics(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("New(0, ...) did not panic")
		}
	}()
	New(0, nil, 50)
}

// A 50 Ω file screwed to a 75 Ω load: both reflections and the step.
func ExampleJoin() {
	f := []float64{10e9}
	cable := Line(f, 50, func(float64) (complex128, complex128) { return 0.1 + 0.5i, 50 }) // 0.87 dB
	load := Load(f, 75, constant(75))                                                      // a perfect 75 Ω load
	ended, err := Join(cable, 1, load, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("return loss %.2f dB\n", ReturnLoss(cmplx.Abs(ended.At(0, 0, 0))))
	// Output: return loss 15.72 dB
}

func ExampleCascade() {
	// A board connector with 0.02 pF too much at each end, 10 mm apart in air, at 30 GHz.
	f := []float64{30e9}
	excess := Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*20e-15) })
	air := Line(f, 50, func(f float64) (complex128, complex128) { return complex(0, 2*math.Pi*f*10e-3/299792458), 50 })
	n, err := Cascade(excess, air, excess)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("return loss %.2f dB, singular value %.6f\n", ReturnLoss(cmplx.Abs(n.At(0, 0, 0))), n.Passivity().Value)
	// Output: return loss 14.65 dB, singular value 1.000000
}

func ExampleNetwork_Interpolate_refused() {
	n := New(2, []float64{1e9, 2e9}, 50)
	_, err := n.Interpolate([]float64{2.5e9}, Interpolation{})
	fmt.Println(err)
	// Output: interpolate at 2.5 GHz: the data are 2 points from 1 to 2 GHz: the frequency lies outside the data; stay inside, or ask for extrapolation (Hold; ToZero below the first point)
}
