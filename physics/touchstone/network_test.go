package touchstone

import (
	"errors"
	"math/cmplx"
	"slices"
	"testing"

	"linewright/physics/network"
)

func fileOf(p Parameter, reference []float64, m ...complex128) *File {
	n := 1
	for n*n < len(m) {
		n++
	}
	return &File{Name: "test", Layout: Layout{Version: Version20, Ports: n, Parameter: p, Reference: reference}, Frequency: []float64{1e9}, Data: m}
}

func wantS(t *testing.T, what string, f *File, want ...complex128) {
	t.Helper()
	n, err := f.Network()
	if err != nil {
		t.Errorf("%s: %v", what, err)
		return
	}
	for i := range want {
		if !(cmplx.Abs(n.S[i]-want[i]) <= 1e-14) {
			t.Errorf("%s: S = %v, want %v", what, n.S, want)
			return
		}
	}
}

// A series impedance z and a shunt admittance y between references R1 and R2
// have closed forms for every kind of matrix; elementary circuit theory, as in
// [pozar2012] tables 4.1 and 4.2 for equal references.
func TestHybrid(t *testing.T) {
	const r1, r2 = 50, 75
	root := complex(61.237243569579455, 0) // √(r1 r2)
	z := 30 + 40i
	d := r1 + r2 + z
	series := []complex128{(r2 - r1 + z) / d, 2 * root / d, 2 * root / d, (r1 - r2 + z) / d}
	wantS(t, "series H", fileOf(H, []float64{r1, r2}, z, 1, -1, 0), series...)
	wantS(t, "series Y", fileOf(Y, []float64{r1, r2}, 1/z, -1/z, -1/z, 1/z), series...)
	wantS(t, "series G", fileOf(G, []float64{r1, r2}, 0, -1, 1, z), series...)
	y := 0.01 - 0.03i
	e := 1/complex(r1, 0) + 1/complex(r2, 0) + y
	shunt := []complex128{(1.0/r1 - 1.0/r2 - y) / e, 2 / root / e, 2 / root / e, (1.0/r2 - 1.0/r1 - y) / e}
	wantS(t, "shunt H", fileOf(H, []float64{r1, r2}, 0, 1, -1, y), shunt...)
	wantS(t, "shunt Z", fileOf(Z, []float64{r1, r2}, 1/y, 1/y, 1/y, 1/y), shunt...)
	wantS(t, "shunt G", fileOf(G, []float64{r1, r2}, y, -1, 1, 0), shunt...)
	// Not reciprocal: a current-controlled source, by way of Y = [1/h11, -h12/h11; h21/h11, det/h11].
	h11, h12, h21, h22 := 20+5i, 0.2i, 3-1i, 0.01+0i
	active := fileOf(Y, []float64{r1, r2}, 1/h11, -h12/h11, h21/h11, (h11*h22-h12*h21)/h11)
	n, err := active.Network()
	if err != nil {
		t.Fatal(err)
	}
	wantS(t, "active H", fileOf(H, []float64{r1, r2}, h11, h12, h21, h22), n.S...)
	det := h11*h22 - h12*h21 // G is the inverse of H
	wantS(t, "active G", fileOf(G, []float64{r1, r2}, h22/det, -h12/det, -h21/det, h11/det), n.S...)
}

// The impedance of version 1 files is relative: 0.5 with R 50 is 25 Ω, which at
// 50 Ω reflects -1/3.
func TestNormalisedNetwork(t *testing.T) {
	f := readText(t, "# GHz Z RI R 50\n1 0.5 0\n", "a.s1p")
	wantS(t, "Z", f, -1.0/3)
	f = readText(t, "# GHz Y RI R 50\n1 2 0\n", "a.s1p")
	wantS(t, "Y", f, -1.0/3)
	if f.Data[0] != 0.04 {
		t.Errorf("Y = %v S, want 0.04", f.Data[0])
	}
	f = readText(t, "# GHz H RI R 50\n1 0.5 0 7 0 6 0 2 0\n", "a.s2p")
	if !slices.Equal(f.Data, []complex128{25, 6, 7, 0.04}) {
		t.Errorf("H = %v", f.Data)
	}
	f = readText(t, "# GHz G RI R 50\n1 2 0 7 0 6 0 0.5 0\n", "a.s2p")
	if !slices.Equal(f.Data, []complex128{0.04, 6, 7, 25}) {
		t.Errorf("G = %v", f.Data)
	}
}

// Mixed modes taken apart give what the other package, written independently,
// puts together; and Z and Y of the modes are inverses of each other.
func TestSingleEnded(t *testing.T) {
	n := network.New(4, []float64{1e9, 2e9}, 50)
	for i := range n.S {
		n.S[i] = complex(float64(i%7)/20, float64(i%5)/30)
	}
	m, err := n.Mixed(network.Pair{Plus: 0, Minus: 2}, network.Pair{Plus: 3, Minus: 1})
	if err != nil {
		t.Fatal(err)
	}
	f := &File{Name: "mixed", Frequency: n.Frequency, Data: m.S, Layout: Layout{Version: Version21, Ports: 4,
		Modes: []Mode{{'D', 1, 3}, {'D', 4, 2}, {'C', 1, 3}, {'C', 4, 2}}}}
	back, err := f.Network()
	if err != nil {
		t.Fatal(err)
	}
	for i := range n.S {
		if !(cmplx.Abs(back.S[i]-n.S[i]) <= 1e-15) {
			t.Fatalf("element %d: %v, want %v", i, back.S[i], n.S[i])
		}
	}
	// A lone 100 Ω between two ports is 100 Ω to the differential mode, and lets
	// no common current through: Ymm = [1/100, 0; 0, 0].
	y := &File{Frequency: []float64{1e9}, Data: []complex128{0.01, 0, 0, 0}, Layout: Layout{Version: Version20, Ports: 2, Parameter: Y, Modes: []Mode{{'D', 1, 2}, {'C', 1, 2}}}}
	s, err := y.SingleEnded()
	if err != nil || !slices.Equal(s.Data, []complex128{0.01, -0.01, -0.01, 0.01}) {
		t.Errorf("Y = %v, %v", s, err)
	}
	// 50 Ω from each port to ground: 100 Ω differential, 25 Ω common.
	z := &File{Frequency: []float64{1e9}, Data: []complex128{25, 0, 0, 100}, Layout: Layout{Version: Version20, Ports: 2, Parameter: Z, Modes: []Mode{{'C', 1, 2}, {'D', 1, 2}}}}
	s, err = z.SingleEnded()
	if err != nil || !slices.Equal(s.Data, []complex128{50, 0, 0, 50}) {
		t.Errorf("Z = %v, %v", s, err)
	}
	f.Layout.Reference = []float64{50, 50, 75, 50}
	if _, err := f.SingleEnded(); err == nil {
		t.Error("a pair of 50 Ω and 75 Ω ports was taken apart")
	}
}

func TestFromNetwork(t *testing.T) {
	n := network.New(2, []float64{1e9}, 50)
	n.Reference[1] = 75
	n.Set(0, 0, 1, 0.25i)
	f, err := FromNetwork(n, GHz, RI)
	if err != nil {
		t.Fatal(err)
	}
	back, err := rewrite(t, f).Network()
	if err != nil || !slices.Equal(back.S, n.S) || !slices.Equal(back.Reference, n.Reference) {
		t.Errorf("%v, %v", back, err)
	}
	n.Reference[0] = 50 + 1i
	if _, err := FromNetwork(n, GHz, RI); !errors.Is(err, ErrReference) {
		t.Errorf("complex reference: %v", err)
	}
}
