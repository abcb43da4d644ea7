package network

import (
	"errors"
	"math"
	"math/cmplx"
	"testing"
)

// Packed chains equal unpacked ones for all lengths of sweep around a block,
// all lengths of chain, and shared beginnings.
func TestPackedIsCascade(t *testing.T) {
	r := seeded(t, 81)
	var reused Packed
	for _, points := range []int{1, 2, 31, 32, 33, 63, 64, 65, 201} {
		for elements := 1; elements <= 20; elements += 1 + r.IntN(4) {
			var chain []Network
			var packed []Packed
			for e := range elements {
				n := randomPassive(r, 2, points, true)
				if e > 0 {
					n.Reference[0] = cmplx.Conj(chain[e-1].Reference[1])
				}
				p, err := Pack(n)
				if err != nil {
					t.Fatal(err)
				}
				chain, packed = append(chain, n), append(packed, p)
			}
			want := must(Cascade(chain...))
			if err := reused.SetCascade(packed...); err != nil {
				t.Fatal(err)
			}
			same(t, "packed", reused.Network(), want, 1e-13)
			var begin, whole Packed
			if err := errors.Join(begin.SetCascade(packed[:1+elements/2]...), whole.SetCascade(append([]Packed{begin}, packed[1+elements/2:]...)...)); err != nil {
				t.Fatal(err)
			}
			same(t, "shared beginning", whole.Network(), want, 1e-13)
			if sv := whole.Network().Passivity().Value; !(sv <= 1+1e-13) {
				t.Errorf("a packed chain of passive networks has singular value %.15g", sv)
			}
		}
	}
}

// A chain so long and lossy that S21 underflows on the way in T matrices.
func TestPackedExtremes(t *testing.T) {
	f := grid(1e9, 2e9, 5)
	block := Line(f, 50, func(float64) (complex128, complex128) { return 300 + 1i, 60 }) // 2600 dB
	p, err := Pack(block)
	if err != nil {
		t.Fatal(err)
	}
	var whole Packed
	if err := whole.SetCascade(p, p, p, p); err != nil {
		t.Fatal(err)
	}
	s11, s22, s21 := whole.At(4)
	if !(cmplx.Abs(s11-10.0/110) <= 1e-15 && cmplx.Abs(s22-10.0/110) <= 1e-15 && s21 == 0) {
		t.Errorf("S11 %v, S22 %v, S21 %v", s11, s22, s21)
	}
}

func TestPackedRefusals(t *testing.T) {
	f := []float64{1e9, 2e9}
	n := New(2, f, 50)
	n.Set(1, 0, 1, 0.5)
	if _, err := Pack(n); !errors.Is(err, ErrReciprocal) {
		t.Errorf("a one-way network: error %v", err)
	}
	a, err := Pack(n.Reciprocal())
	if err != nil {
		t.Fatal(err)
	}
	if _, _, s21 := a.At(1); s21 != 0.25 {
		t.Errorf("the mean of 0.5 and 0 is %v", s21)
	}
	b, _ := Pack(New(2, f, 75))
	c, _ := Pack(New(2, f[:1], 50))
	var p Packed
	for what, e := range map[string][2]error{
		"no element":     {p.SetCascade(), ErrShape},
		"two references": {p.SetCascade(a, b), ErrReference},
		"two grids":      {p.SetCascade(a, c), ErrGrid},
	} {
		if !errors.Is(e[0], e[1]) {
			t.Errorf("%s: error %v, want %v", what, e[0], e[1])
		}
	}
	if _, err := Pack(New(3, f, 50)); !errors.Is(err, ErrShape) {
		t.Errorf("a three-port: error %v", err)
	}
	n.Set(0, 0, 1, complex(math.NaN(), 0))
	if _, err := Pack(n); !errors.Is(err, ErrReciprocal) {
		t.Errorf("a NaN: error %v", err)
	}
}

// BenchmarkCascade compares the plain and the packed cascade of seven elements over 2001 points.
func BenchmarkCascade(b *testing.B) {
	r := seeded(b, 82)
	var chain []Network
	var packed []Packed
	for range 7 {
		n := randomPassive(r, 2, 2001, true)
		n.Reference[0], n.Reference[1] = 50, 50
		p, err := Pack(n)
		if err != nil {
			b.Fatal(err)
		}
		chain, packed = append(chain, n), append(packed, p)
	}
	b.Run("Network", func(b *testing.B) {
		for b.Loop() {
			if _, err := Cascade(chain...); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("Packed", func(b *testing.B) {
		var p Packed
		for b.Loop() {
			if err := p.SetCascade(packed...); err != nil {
				b.Fatal(err)
			}
		}
	})
}
