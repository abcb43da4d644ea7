package tolerance

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"linewright/job/enquiry"
	"linewright/job/tolerance/sample"
	"linewright/physics/network"
	"linewright/physics/units"
)

// Two reflections with a long line between them: the band holds many periods,
// so that every copy shows the whole ripple of [network.NewRipple], and the
// worst corner is that; a window of a quarter of a period shows less, a window
// of a period and more shows it all.
func TestRippleOfTwo(t *testing.T) {
	rho1, rho2 := 0.2, 0.1
	e := band("10 GHz", "12 GHz") // 1 m of velocity 0.8: a period of 120 MHz
	e.Limits.Ripple = []enquiry.RippleLimit{{AtMost: 0.4}, {AtMost: 0.4, Window: ptr(units.Frequency(150e6))}, {AtMost: 0.4, Window: ptr(units.Frequency(30e6))}}
	b := built(connectorOf(network.VSWR(rho1), "0 dB/sqrt(GHz)"), cableOf(1, 1), connectorOf(network.VSWR(rho2), "0 dB/sqrt(GHz)"))
	s := must(New(e, b, file(still(Reflection), still(Loss), still(Length)), Options{Points: 8001}))(t)
	r := must(s.Run(context.Background(), Options{Samples: 100, DriverPoints: -1}))(t)
	// The cable's loss grows from 1.58 to 1.73 dB: the corner takes the least.
	least, most := 0.5*math.Sqrt(10)/units.DecibelsPerNeper, 0.5*math.Sqrt(12)/units.DecibelsPerNeper
	want := network.NewRipple(rho1, rho2, least).PeakToPeak()
	if got := 0.4 - r.Limits[0].Worst; !(math.Abs(got-want) <= 1e-9) {
		t.Errorf("worst corner %.9f dB, two reflections make %.9f dB", got, want)
	}
	floor := network.NewRipple(rho1, rho2, most).PeakToPeak()
	for k, l := range r.Limits[:2] {
		for _, m := range r.State.Column(k) {
			if pp := 0.4 - m; !(pp <= want+1e-12 && pp >= floor*0.999) {
				t.Fatalf("%s: a copy has %.5f dB, two reflections make %.5f to %.5f dB", l.Name, pp, floor, want)
			}
		}
	}
	// Around a steepest point a quarter of a period shows sin 45° of the half
	// swing to either side, for x so small that the ripple is a sine.
	x := rho1 * rho2 * math.Exp(-2*least)
	for _, m := range r.State.Column(2) {
		if pp, sine := 0.4-m, 40/math.Ln10*x*math.Sin(math.Pi/4); !(math.Abs(pp/sine-1) <= 0.05) {
			t.Fatalf("a quarter of a period shows %.5f dB, a sine %.5f dB", pp, sine)
		}
	}
}

// The sliding window against every window looked at in full.
func TestSpread(t *testing.T) {
	const seed = 3
	r := rand.New(rand.NewPCG(seed, 0))
	var w window
	for trial := range 300 {
		n := 1 + r.IntN(40)
		up, down, ends := make([]float64, n), make([]float64, n), make([]int, n)
		last := 0
		for i := range n {
			up[i], down[i] = 1+float64(r.IntN(9)), 1+float64(r.IntN(9))
			last = min(n-1, max(last, i)+r.IntN(4))
			ends[i] = last
		}
		want := 0.0
		for i := range n {
			for a := i; a <= ends[i]; a++ {
				for b := i; b <= ends[i]; b++ {
					want = math.Max(want, up[a]/down[b])
				}
			}
		}
		if got, at := w.spread(up, down, ends); got != want || up[at] < got {
			t.Fatalf("seed %d, trial %d: %g at %d, want %g", seed, trial, got, at, want)
		}
	}
}

// A window ends with its band.
func TestWindowsEndWithBand(t *testing.T) {
	e := band("1 GHz", "2 GHz")
	e.Band = append(e.Band, enquiry.Band{From: 2.1e9, To: 3e9})
	e.Limits.Ripple = []enquiry.RippleLimit{{AtMost: 1}}
	s := must(New(e, built(connectorOf(1.1, "0 dB/sqrt(GHz)"), cableOf(1, 1)), Tolerances{}, Options{Points: 40}))(t)
	for i, end := range s.windows(math.Inf(1)) {
		top := 2e9
		if s.grid.f[i] > 2e9 {
			top = 3e9
		}
		if f := s.grid.f[end]; !(math.Abs(f-top) <= 1) {
			t.Errorf("the window from %g Hz ends at %g Hz, its band at %g Hz", s.grid.f[i], f, top)
		}
	}
}

// Losses that hang together add their deviations: with the correlation r of
// normal losses the share within the limit is Φ of the margin over
// √(u₁² + u₂² + 2 r u₁u₂) [jcgm100] eq. 16, and the two have one share of the
// variance together.
func TestCorrelatedLosses(t *testing.T) {
	e := band("1 GHz", "4 GHz")
	e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(1.53))}}
	near, far := cableOf(1, 1), cableOf(0.5, 1)
	near.Where, far.Where = "near cable", "far cable"
	u1, u2 := 0.02*1.0, 0.03*0.5
	digests := map[string]bool{}
	for _, c := range []float64{-1, -0.5, 0.7, 1} {
		f := file(still(Length),
			Tolerance{Piece: "near cable", Quantity: Loss, Distribution: Normal, Sigma: amountOf(t, "2 %")},
			Tolerance{Piece: "far cable", Quantity: Loss, Distribution: Normal, Sigma: amountOf(t, "3 %")})
		f.Correlations = []Correlation{{Between: []string{"cable: loss"}, Coefficient: c}}
		s := must(New(e, built(near, far), f, Options{}))(t)
		digests[s.Digest()] = true
		r := must(s.Run(context.Background(), Options{Samples: 20000, DriverPoints: 64}))(t)
		u := math.Sqrt(u1*u1 + u2*u2 + 2*c*u1*u2)
		within(t, "loss", r.Yield, sample.NormalCDF(0.03/u))
		if sd := r.Limits[0].Summary.StandardDeviation; !(math.Abs(sd/u-1) <= 4/math.Sqrt(2*20000)) {
			t.Errorf("correlation %g: standard deviation %.5g dB, by propagation %.5g dB", c, sd, u)
		}
		if d := r.Limits[0].Drivers; len(d) != 1 || d[0].Name != "near cable: loss with far cable: loss" || !(math.Abs(d[0].Total-1) <= 0.2) {
			t.Errorf("correlation %g: drivers %+v, want the two losses as one", c, d)
		}
	}
	if len(digests) != 4 {
		t.Error("studies that differ by a correlation have one digest")
	}
}

func TestCorrelationFaults(t *testing.T) {
	e := band("1 GHz", "4 GHz")
	e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(3))}}
	one, two, three := cableOf(1, 1), cableOf(1, 1), cableOf(1, 1)
	one.Where, two.Where, three.Where = "one", "two", "three"
	b := built(one, two, three)
	for _, c := range []struct {
		cs   []Correlation
		err  error
		says string
	}{
		{[]Correlation{{Between: []string{"one: loss", "two: loss"}, Coefficient: 1.5}}, ErrCorrelation, "correlation 1"},
		{[]Correlation{{Between: []string{"one: loss"}, Coefficient: 0.5}}, ErrCorrelation, "two or more"},
		{[]Correlation{{Between: []string{"one: lose", "two: loss"}, Coefficient: 0.5}}, ErrPiece, "one: loss"},
		{[]Correlation{{Between: []string{"one", "two"}, Coefficient: 0.5}}, ErrPiece, "cable connector: loss"},
		{[]Correlation{{Between: []string{"cable: loss"}, Coefficient: -0.9}}, ErrCorrelation, "contradict"},
		{[]Correlation{{Between: []string{"cable: loss"}, Coefficient: 0.9}, {Between: []string{"one: loss", "two: loss"}, Coefficient: math.NaN()}}, ErrCorrelation, "correlation 2"},
	} {
		_, err := New(e, b, Tolerances{Correlations: c.cs}, Options{})
		var f *Fault
		if !errors.Is(err, c.err) || !errors.As(err, &f) || f.Of != "correlation" || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want %v saying %q", c.cs, err, c.err, c.says)
		}
	}
	// A later one counts, and a kind stands for all its pieces.
	s := must(New(e, b, Tolerances{Correlations: []Correlation{{Between: []string{"cable: loss"}, Coefficient: 0.9}, {Between: []string{"one: loss", "three: loss"}, Coefficient: 0.8, Source: "lots"}}}, Options{}))(t)
	if len(s.Ties) != 3 {
		t.Fatalf("%d ties, want three pairs", len(s.Ties))
	}
	for _, x := range s.Ties {
		if want := 0.9; s.Inputs[x.I].Piece == "one" && s.Inputs[x.J].Piece == "three" {
			if x.Coefficient != 0.8 || x.Source != "lots" {
				t.Errorf("one and three: %+v", x)
			}
		} else if x.Coefficient != want {
			t.Errorf("%+v, want %g", x, want)
		}
	}
}
