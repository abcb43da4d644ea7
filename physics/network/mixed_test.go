package network

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

func TestMixedRoundTrip(t *testing.T) {
	r := seeded(t, 41)
	for range 50 {
		n := randomPassive(r, 5, 2, r.IntN(2) == 0)
		n.Reference[0], n.Reference[2] = n.Reference[3], n.Reference[1]
		m, err := n.Mixed(Pair{3, 0}, Pair{1, 2})
		if err != nil {
			t.Fatal(err)
		}
		same(t, "mixed and back", m.SingleEnded(), n, 1e-14)
		a, b := SingularValues(5, n.Matrix(0)), SingularValues(5, m.Matrix(0))
		for i := range a {
			if !(math.Abs(a[i]-b[i]) <= 1e-14) {
				t.Fatalf("singular values %v became %v", a, b)
			}
		}
		if m.Reference[0] != 2*n.Reference[0] || m.Reference[2] != n.Reference[0]/2 || m.Reference[4] != n.Reference[4] {
			t.Errorf("references %v became %v", n.Reference, m.Reference)
		}
	}
}

// The independent route: differential and common voltage and current by their
// definition, from the impedance matrix, with complex references.
func TestMixedByVoltagesAndCurrents(t *testing.T) {
	r := seeded(t, 42)
	for range 50 {
		n := randomPassive(r, 4, 1, false)
		n.Reference[2], n.Reference[3] = n.Reference[0], n.Reference[1]
		m, err := n.Mixed(Pair{0, 2}, Pair{1, 3})
		if err != nil {
			t.Fatal(err)
		}
		// V_m = A V, I = Aᵀ I_m with rows of A: V_d = V1−V2, V_c = (V1+V2)/2,
		// since power V·I* is the same. So Z_m = A Z Aᵀ.
		a := []complex128{
			1, 0, -1, 0,
			0, 1, 0, -1,
			0.5, 0, 0.5, 0,
			0, 0.5, 0, 0.5}
		z, err := n.Impedance()
		if err != nil {
			t.Fatal(err)
		}
		zm := make([]complex128, 16)
		for i := range 4 {
			for j := range 4 {
				for p := range 4 {
					for q := range 4 {
						zm[4*i+j] += a[4*i+p] * z[4*p+q] * a[4*j+q]
					}
				}
			}
		}
		same(t, "mixed mode", m.Network, must(FromImpedance(n.Frequency, zm, m.Reference...)), 1e-11)
	}
}

// Names of the blocks: an imbalance at pair B converts differential to common mode.
func ExampleNetwork_Mixed() {
	// Two 50 Ω lines, ports 0→2 and 1→3, the second 1 ps longer, at 20 GHz.
	f := []float64{20e9}
	n := New(4, f, 50)
	for i, delay := range []float64{100e-12, 101e-12} {
		s := cmplx.Rect(1, -2*math.Pi*f[0]*delay)
		n.Set(0, i+2, i, s)
		n.Set(0, i, i+2, s)
	}
	m, err := n.Mixed(Pair{0, 1}, Pair{2, 3})
	if err != nil {
		fmt.Println(err)
		return
	}
	dB := func(s complex128) float64 { return 20 * math.Log10(cmplx.Abs(s)) }
	fmt.Printf("Sdd21 %.3f dB, Scd21 %.1f dB, references %v and %v Ω\n", dB(m.DD(0, 1, 0)), dB(m.CD(0, 1, 0)), real(m.Reference[0]), real(m.Reference[2]))
	// Output: Sdd21 -0.017 dB, Scd21 -24.0 dB, references 100 and 25 Ω
}

func TestMixedBlocks(t *testing.T) {
	r := seeded(t, 43)
	n := randomPassive(r, 4, 1, false)
	for i := range 4 {
		n.Reference[i] = 50
	}
	m, err := n.Mixed(Pair{0, 1}, Pair{2, 3})
	if err != nil {
		t.Fatal(err)
	}
	s := func(i, j int) complex128 { return n.At(0, i-1, j-1) }
	// [bockelman1995], pair 1 = ports 1, 2, pair 2 = ports 3, 4.
	for name, c := range map[string][2]complex128{
		"Sdd21": {m.DD(0, 1, 0), (s(3, 1) - s(3, 2) - s(4, 1) + s(4, 2)) / 2},
		"Scd21": {m.CD(0, 1, 0), (s(3, 1) - s(3, 2) + s(4, 1) - s(4, 2)) / 2},
		"Sdc21": {m.DC(0, 1, 0), (s(3, 1) + s(3, 2) - s(4, 1) - s(4, 2)) / 2},
		"Scc21": {m.CC(0, 1, 0), (s(3, 1) + s(3, 2) + s(4, 1) + s(4, 2)) / 2},
	} {
		if !(cmplx.Abs(c[0]-c[1]) <= 1e-15) {
			t.Errorf("%s = %v, want %v", name, c[0], c[1])
		}
	}
}
