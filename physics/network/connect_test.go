package network

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

// A cascade with whatever references meeting in the middle is the product of the chain matrices.
func TestCascadeIsProductOfABCD(t *testing.T) {
	r := seeded(t, 31)
	for range 200 {
		var chain []Network
		for range 2 + r.IntN(4) {
			chain = append(chain, randomPassive(r, 2, 2, false))
		}
		got := must(Cascade(chain...))
		product := make([]ABCD, 2)
		for e, n := range chain {
			ms, err := n.ABCD()
			if err != nil {
				t.Fatal(err)
			}
			for k := range ms {
				if e == 0 {
					product[k] = ms[k]
				} else {
					product[k] = product[k].Times(ms[k])
				}
			}
		}
		last := chain[len(chain)-1]
		same(t, "cascade", got, must(FromABCD(got.Frequency, product, chain[0].Reference[0], last.Reference[1])), 1e-9)
	}
}

// The same with transfer matrices, where references meet as conjugates.
func TestCascadeIsProductOfTransfer(t *testing.T) {
	r := seeded(t, 32)
	for range 100 {
		a, b := randomPassive(r, 2, 1, false), randomPassive(r, 2, 1, false)
		b.Reference[0] = cmplx.Conj(a.Reference[1])
		ta, _ := a.Transfer()
		tb, _ := b.Transfer()
		want := must(FromTransfer(a.Frequency, []Transfer{ta[0].Times(tb[0])}, a.Reference[0], b.Reference[1]))
		same(t, "cascade", must(Cascade(a, b)), want, 1e-10)
	}
}

func TestCascadeProperties(t *testing.T) {
	r := seeded(t, 33)
	for range 300 {
		a, b, c := randomPassive(r, 2, 2, true), randomPassive(r, 2, 2, true), randomPassive(r, 2, 2, true)
		abc := must(Cascade(a, b, c))
		same(t, "(ab)c", must(Cascade(must(Cascade(a, b)), c)), abc, 1e-14)
		same(t, "a(bc)", must(Cascade(a, must(Cascade(b, c)))), abc, 1e-13)
		if sv := abc.Passivity().Value; !(sv <= 1) {
			t.Errorf("a cascade of passive networks has singular value %.15g", sv)
		}
		if d := abc.Reciprocity().Value; !(d <= 1e-14) {
			t.Errorf("a cascade of reciprocal networks differs by %g between S12 and S21", d)
		}
		// Turned round end for end.
		turn := func(n Network) Network { return must(n.Reorder(1, 0)) }
		same(t, "turned round", turn(must(Cascade(turn(c), turn(b), turn(a)))), abc, 1e-13)
		before := append([]complex128(nil), a.S...)
		must(Cascade(a, b))
		for i := range before {
			if a.S[i] != before[i] {
				t.Fatal("Cascade altered its argument")
			}
		}
	}
}

// The step between 50 Ω and 75 Ω: Γ = 0.2 seen from the left, −0.2 from the right.
func TestStepOfReference(t *testing.T) {
	f := []float64{1e9}
	through := func(z complex128) Network {
		return Line(f, z, func(float64) (complex128, complex128) { return 0, z })
	}
	n := must(Cascade(through(50), through(75)))
	for i, want := range []complex128{0.2, complex(math.Sqrt(0.96), 0), complex(math.Sqrt(0.96), 0), -0.2} {
		if !(cmplx.Abs(n.S[i]-want) <= 1e-15) {
			t.Errorf("S[%d] = %v, want %v", i, n.S[i], want)
		}
	}
}

// Join, JoinInner, Circuit and Cascade agree with each other on random networks.
func TestJoinsAgree(t *testing.T) {
	r := seeded(t, 34)
	for range 100 {
		x, y := randomPassive(r, 4, 2, r.IntN(2) == 0), randomPassive(r, 3, 2, r.IntN(2) == 0)
		i, j := r.IntN(4), r.IntN(3)
		joined := must(Join(x, i, y, j))
		var outer []Terminal
		for p := range 4 {
			if p != i {
				outer = append(outer, Terminal{0, p})
			}
		}
		for p := range 3 {
			if p != j {
				outer = append(outer, Terminal{1, p})
			}
		}
		circuit := must(Circuit{[]Network{x, y}, [][]Terminal{{{0, i}, {1, j}}}, outer, nil}.Network())
		same(t, "Join and Circuit", joined, circuit, 1e-12)
		if sv := joined.Passivity().Value; !(sv <= 1+1e-14) {
			t.Errorf("joined passive networks have singular value %.15g", sv)
		}

		// Two joints, and other outer references.
		inner := must(joined.JoinInner(0, 4)) // outer[0] with outer[4]
		references := []complex128{randomReference(r), randomReference(r), randomReference(r)}
		two := Circuit{[]Network{x, y}, [][]Terminal{{{0, i}, {1, j}}, {outer[0], outer[4]}}, outer[1:4], references}
		same(t, "two joints", must(inner.Renormalise(references...)), must(two.Network()), 1e-11)

		a, b := randomPassive(r, 2, 2, false), randomPassive(r, 2, 2, false)
		same(t, "Join and Cascade", must(Join(a, 1, b, 0)), must(Cascade(a, b)), 1e-13)
	}
}

// Two impedances at a joint with an outer port are in parallel.
func TestParallel(t *testing.T) {
	r := seeded(t, 35)
	f := []float64{1e9}
	for range 100 {
		z1, z2, ref := randomReference(r), randomReference(r), randomReference(r)
		a, b := Load(f, randomReference(r), constant(z1)), Load(f, randomReference(r), constant(z2))
		n := must(Circuit{[]Network{a, b}, [][]Terminal{{{0, 0}, {1, 0}}}, []Terminal{{0, 0}}, []complex128{ref}}.Network())
		if got, want := ImpedanceOf(n.S[0], ref), z1*z2/(z1+z2); !(cmplx.Abs(got-want) <= 1e-11*cmplx.Abs(want)) {
			t.Errorf("%v and %v in parallel give %v, want %v", z1, z2, got, want)
		}
	}
}

// An open or shorted joint, exactly: a thru to an open reflects 1, two outer
// ports tapping one joint make a T whose S is −1/3 and 2/3.
func TestTee(t *testing.T) {
	f := []float64{1e9}
	open := Load(f, 50, constant(cmplx.Inf()))
	tee := must(Circuit{[]Network{open}, nil, []Terminal{{0, 0}, {0, 0}, {0, 0}}, nil}.Network())
	for i := range 3 {
		for j := range 3 {
			want := complex128(2.0 / 3)
			if i == j {
				want = -1.0 / 3
			}
			if got := tee.At(0, i, j); !(cmplx.Abs(got-want) <= 1e-15) {
				t.Errorf("S[%d][%d] of a T is %v, want %v", i, j, got, want)
			}
		}
	}
}

// The branch-line coupler: four quarter-wave lines in a ring, two of Z0, two of
// Z0/√2. Exact at centre: [pozar2012] eq. 7.61, S = −1/√2 [0 j 1 0; j 0 0 1; 1 0 0 j; 0 1 j 0].
func ExampleCircuit() {
	f := []float64{10e9}
	quarter := func(z complex128) Network {
		return Line(f, 50, func(float64) (complex128, complex128) { return complex(0, math.Pi/2), z })
	}
	through, branch := quarter(complex(50/math.Sqrt2, 0)), quarter(50)
	coupler := Circuit{
		Elements: []Network{through, branch, through, branch},
		Joints: [][]Terminal{ // ports 1 to 4 round the ring
			{{3, 1}, {0, 0}}, {{0, 1}, {1, 0}}, {{1, 1}, {2, 0}}, {{2, 1}, {3, 0}},
		},
		Outer: []Terminal{{0, 0}, {1, 0}, {2, 0}, {3, 0}},
	}
	n, err := coupler.Network()
	if err != nil {
		fmt.Println(err)
		return
	}
	input, straight, coupled, isolated := n.At(0, 0, 0), n.At(0, 1, 0), n.At(0, 2, 0), n.At(0, 3, 0)
	fmt.Printf("through %.2f dB, coupled %.2f dB, %.0f° behind\n",
		20*math.Log10(cmplx.Abs(straight)), 20*math.Log10(cmplx.Abs(coupled)), cmplx.Phase(straight/coupled)*180/math.Pi)
	fmt.Println("input and isolated below 1e-12:", cmplx.Abs(input) < 1e-12 && cmplx.Abs(isolated) < 1e-12)
	// Output:
	// through -3.01 dB, coupled -3.01 dB, 90° behind
	// input and isolated below 1e-12: true
}

// The resistive power divider: three arms of Z0/3 in a star give 6 dB to every
// port and no reflection. [pozar2012] §7.2.
func TestResistiveDivider(t *testing.T) {
	f := []float64{1e9}
	arm := Series(f, 50, constant(50.0/3))
	n := must(Circuit{[]Network{arm, arm, arm}, [][]Terminal{{{0, 1}, {1, 1}, {2, 1}}}, []Terminal{{0, 0}, {1, 0}, {2, 0}}, nil}.Network())
	for i := range 3 {
		for j := range 3 {
			want := complex128(0.5)
			if i == j {
				want = 0
			}
			if got := n.At(0, i, j); !(cmplx.Abs(got-want) <= 1e-15) {
				t.Errorf("S[%d][%d] = %v, want %v", i, j, got, want)
			}
		}
	}
}

func TestDeembed(t *testing.T) {
	r := seeded(t, 36)
	for range 100 {
		left, right, x := randomPassive(r, 2, 2, r.IntN(2) == 0), randomPassive(r, 2, 2, true), randomPassive(r, 2, 2, false)
		got, err := Deembed(must(Cascade(left, x, right)), left, right)
		if err != nil {
			t.Fatal(err)
		}
		want := must(x.Renormalise(cmplx.Conj(left.Reference[1]), cmplx.Conj(right.Reference[0])))
		// Random fixtures may pass next to nothing; the error grows as their loss.
		loss := 1.0
		for k := range left.Frequency {
			loss = min(loss, cmplx.Abs(left.At(k, 1, 0)*left.At(k, 0, 1)*right.At(k, 1, 0)*right.At(k, 0, 1)*x.At(k, 1, 0)))
		}
		same(t, "de-embedded", got, want, 1e-13/loss)
	}
	f := []float64{1e9}
	dead := New(2, f, 50)
	through := Line(f, 50, func(float64) (complex128, complex128) { return 0, 50 })
	if _, err := Deembed(through, dead, through); err == nil {
		t.Error("a fixture that passes nothing is accepted")
	}
}
