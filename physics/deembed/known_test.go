package deembed

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"linewright/physics/network"
)

// Taking off what was put on leaves the part, on both sides or one, for real and complex
// references.
func TestRemoveIsExact(t *testing.T) {
	f := harmonicGrid(100e6, 400)
	for seed := range uint64(50) {
		r := rand.New(rand.NewPCG(seed, 20))
		s := newScene(r, f)
		for _, c := range []struct {
			fixture Fixture
			whole   network.Network
		}{
			{Fixture{s.left, s.right}, chain(s.left, s.dut, s.right)},
			{Fixture{Left: s.left}, chain(s.left, s.dut)},
			{Fixture{Right: s.right}, chain(s.dut, s.right)},
			{Fixture{}, s.dut},
		} {
			got, err := c.fixture.Remove(c.whole)
			if err != nil {
				t.Fatal(err)
			}
			if w, _ := apart(got.Network, s.dut, 40e9); !(w <= 1e-11) {
				t.Errorf("seed %d: off by %.2g", seed, w)
			}
			if len(got.Turned) > 0 {
				t.Errorf("seed %d: %q are said to be turned, early energy %.2g", seed, got.Turned, got.Early)
			}
		}
		left, err := s.left.Renormalise(50, 48-2i)
		if err != nil {
			t.Fatal(err)
		}
		dut, err := s.dut.Renormalise(48+2i, 50)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Fixture{Left: left}.Remove(chain(left, dut))
		if err != nil {
			t.Fatal(err)
		}
		if w, _ := apart(got.Network, dut, 40e9); !(w <= 1e-11) || got.Network.Reference[0] != 48+2i {
			t.Errorf("seed %d: complex references: off by %.2g, reference %v", seed, w, got.Network.Reference)
		}
	}
}

// A fixture turned about by mistake is told from the early answers it leaves. Every
// draw with noise of 3e-4; misses and false alarms are counted.
func TestTurnedFixture(t *testing.T) {
	f := harmonicGrid(100e6, 400)
	const draws = 100
	missed, false1 := 0, 0
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 21))
		s := newScene(r, f)
		whole := noisy(r, chain(s.left, s.dut, s.right), 3e-4)
		got, err := Fixture{s.left, s.right}.Remove(whole)
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Turned) > 0 {
			false1++
		}
		got, err = Fixture{turned(s.left), s.right}.Remove(whole)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got.Turned, []string{"left"}) {
			missed++
		}
	}
	t.Logf("%d draws: %d turned fixtures missed, %d right ones suspected", draws, missed, false1)
	if missed > draws/20 || false1 > draws/50 {
		t.Errorf("%d of %d turned fixtures missed, %d right ones suspected", missed, draws, false1)
	}
}

func TestRemovalFaults(t *testing.T) {
	f := harmonicGrid(100e6, 40)
	r := rand.New(rand.NewPCG(1, 22))
	s := newScene(r, f)
	at75, err := s.left.Renormalise(75)
	if err != nil {
		t.Fatal(err)
	}
	other := newScene(r, harmonicGrid(90e6, 40))
	broken := network.New(1, f, 50)
	for name, c := range map[string]struct {
		fixture Fixture
		whole   network.Network
		want    error
	}{
		"reference": {Fixture{Left: at75}, s.dut, ErrReferences},
		"grid":      {Fixture{Left: other.left}, s.dut, network.ErrGrid},
		"ports":     {Fixture{Right: broken}, s.dut, network.ErrShape},
		"whole":     {Fixture{}, broken, network.ErrShape},
		"nothing":   {Fixture{Left: network.New(2, f, 50)}, s.dut, network.ErrSingular},
	} {
		if _, err := c.fixture.Remove(c.whole); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	got, err := Fixture{s.left, s.right}.Remove(chain(s.left, s.dut, s.right))
	if err != nil {
		t.Fatal(err)
	}
	for k, g := range got.Growth {
		want := 1 / math.Hypot(real(s.left.At(k, 1, 0)*s.right.At(k, 1, 0)), imag(s.left.At(k, 1, 0)*s.right.At(k, 1, 0)))
		if !(math.Abs(g-want) <= 1e-12*want) {
			t.Errorf("growth %g, want %g", g, want)
		}
	}
}
