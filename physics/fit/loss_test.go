package fit

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/network"
	"linewright/physics/units"
)

func grid(from, to float64, points int) []float64 {
	f := make([]float64, points)
	for k := range f {
		f[k] = from + (to-from)*float64(k)/float64(points-1)
	}
	return f
}

// An exact law comes back; with noise its uncertainties are true over draws, and the
// two coefficients are known to be tied.
func TestOfLoss(t *testing.T) {
	f := grid(1e9, 40e9, 118)
	const k1, k2 = 2.4e-6, 1.1e-11
	law := func(f float64) float64 { return k1*math.Sqrt(f) + k2*f }
	exact := make([]float64, len(f))
	for k, x := range f {
		exact[k] = law(x)
	}
	l, err := OfLoss(f, exact, nil, Law{})
	if err != nil {
		t.Fatal(err)
	}
	if !(math.Abs(l.Skin-k1) <= 1e-12*k1 && math.Abs(l.Linear-k2) <= 1e-11*k2) || l.From != 1e9 || l.To != 40e9 {
		t.Errorf("k1 %g, k2 %g, %g to %g Hz", l.Skin, l.Linear, l.From, l.To)
	}
	r := rand.New(rand.NewPCG(1, 3))
	const draws, sigma = 1000, 2e-3
	var zs [3]float64 // k1, k2, and the loss at 20 GHz
	for range draws {
		y := make([]float64, len(f))
		for k := range y {
			y[k] = exact[k] + sigma*r.NormFloat64()
		}
		l, err = OfLoss(f, y, nil, Law{})
		if err != nil {
			t.Fatal(err)
		}
		a, u, err := l.At(20e9)
		if err != nil {
			t.Fatal(err)
		}
		for i, z := range []float64{(l.Skin - k1) / l.Fit.Uncertainty(0), (l.Linear - k2) / l.Fit.Uncertainty(1), (a - law(20e9)) / u} {
			zs[i] += z * z / draws
		}
	}
	for i, z := range zs {
		if !(math.Abs(z-1) <= 0.2) {
			t.Errorf("%s: (d/u)² is %.3f on average, want 1", []string{"k1", "k2", "loss"}[i], z)
		}
	}
	if c := l.Fit.Correlation(0, 1); !(c < -0.95) {
		t.Errorf("correlation of k1 and k2 from 1 to 40 GHz is %.3f", c)
	}
	if _, _, err := l.At(50e9); !errors.Is(err, ErrRange) {
		t.Errorf("50 GHz from a fit to 40: %v", err)
	}
	if _, err := OfLoss([]float64{0, 1e9, 2e9}, make([]float64, 3), nil, Law{}); !errors.Is(err, network.ErrFrequency) {
		t.Errorf("a loss at 0 Hz: %v", err)
	}
	l, err = OfLoss(f, exact, nil, Law{Constant: true, Square: true})
	if err != nil {
		t.Fatal(err)
	}
	if !(math.Abs(l.Constant) <= 1e-9 && math.Abs(l.Square) <= 1e-30 && math.Abs(l.Skin-k1) <= 1e-7*k1) {
		t.Errorf("terms that are not there: constant %g, square %g", l.Constant, l.Square)
	}
}

// A datasheet's table read back as its law: cable loss of 0.30 dB/(m√GHz) and
// 0.008 dB/(m·GHz), an invented cable, at the frequencies a table prints, rounded to 0.01 dB.
func ExampleOfLoss() {
	f := []float64{1e9, 2e9, 4e9, 8e9, 12.4e9, 18e9, 26.5e9}
	table := []float64{0.31, 0.44, 0.63, 0.91, 1.16, 1.42, 1.76} // dB/m
	np := make([]float64, len(f))
	for k := range np {
		np[k] = table[k] / units.DecibelsPerNeper
	}
	l, err := OfLoss(f, np, nil, Law{})
	if err != nil {
		fmt.Println(err)
		return
	}
	const skin, linear = units.DecibelsPerNeper * 3.1622776601683795e4, units.DecibelsPerNeper * 1e9 // to dB/√GHz, dB/GHz
	fmt.Printf("k1 %.3f ± %.3f dB/(m√GHz), k2 %.4f ± %.4f dB/(m GHz), correlation %.2f\n",
		l.Skin*skin, l.Fit.Uncertainty(0)*skin, l.Linear*linear, l.Fit.Uncertainty(1)*linear, l.Fit.Correlation(0, 1))
	_, _, err = l.At(40e9)
	fmt.Println(err)
	// Output:
	// k1 0.299 ± 0.001 dB/(m√GHz), k2 0.0083 ± 0.0003 dB/(m GHz), correlation -0.96
	// loss law at 40 GHz: the fit holds from 1 GHz to 26.5 GHz: the frequency lies outside the fitted range; measure there, or stay inside
}

// The attenuation of a mismatched line is that of the line, ripple or not.
func TestAttenuation(t *testing.T) {
	f := grid(0.1e9, 30e9, 300)
	r := rand.New(rand.NewPCG(1, 4))
	for range 30 {
		z, tau, k := 30+40*r.Float64(), (50+300*r.Float64())*1e-12, 1e-6*(1+3*r.Float64())
		n := network.Line(f, 50, func(f float64) (complex128, complex128) {
			return complex(k*math.Sqrt(f), 2*math.Pi*f*tau), complex(z, -0.5)
		})
		a, err := Attenuation(n)
		if err != nil {
			t.Fatal(err)
		}
		for i, x := range f {
			if want := k * math.Sqrt(x); !(math.Abs(a[i]-want) <= 1e-9) {
				t.Fatalf("%g Ω: %.12g Np at %g GHz, want %.12g", z, a[i], x/1e9, want)
			}
		}
	}
}

// The law of a line between two unlike connectors, in 46 to 54 Ω and noise of −60 dB, by
// either way; dissipation is nearer. Of a matched line it is exact.
func TestDissipation(t *testing.T) {
	f := grid(20e6, 40e9, 2000)
	const k1, k2, draws = 2.4e-6, 1.1e-11, 30
	var off [2][2]float64 // greatest relative error at 10 and 40 GHz, by dissipation and by image parameters
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 8))
		launches := twoLaunches(f, r)
		z := 46 + 8*r.Float64()
		of := func(z float64) network.Network {
			return network.Line(f, 50, func(f float64) (complex128, complex128) {
				return complex(k1*math.Sqrt(f)+k2*f, 2*math.Pi*f*1.1e-9), complex(z, 0)
			})
		}
		if seed == 0 {
			a, err := Dissipation(of(50))
			if err != nil {
				t.Fatal(err)
			}
			for k, x := range f {
				if want := k1*math.Sqrt(x) + k2*x; !(math.Abs(a[k]-want) <= 1e-12) {
					t.Fatalf("a matched line: %g Np at %g GHz, want %g", a[k], x/1e9, want)
				}
			}
		}
		n, err := network.Cascade(launches[0], of(z), launches[1])
		if err != nil {
			t.Fatal(err)
		}
		for i := range n.S {
			n.S[i] += complex(r.NormFloat64(), r.NormFloat64()) * 1e-3 / math.Sqrt2
		}
		for i, way := range []func(network.Network) ([]float64, error){Dissipation, Attenuation} {
			a, err := way(n)
			if err != nil {
				t.Fatal(err)
			}
			l, err := OfLoss(f, a, nil, Law{})
			if err != nil {
				t.Fatal(err)
			}
			for j, x := range []float64{10e9, 40e9} {
				got, _, _ := l.At(x)
				want := k1*math.Sqrt(x) + k2*x
				off[i][j] = math.Max(off[i][j], math.Abs(got-want)/want)
			}
		}
	}
	t.Logf("loss at 10 and 40 GHz off by %.2f and %.2f %% at most by dissipation, %.2f and %.2f %% by image parameters", 100*off[0][0], 100*off[0][1], 100*off[1][0], 100*off[1][1])
	if !(off[0][0] <= 0.015 && off[0][1] <= 0.015 && off[0][0] < off[1][0] && off[0][1] < off[1][1]) {
		t.Errorf("dissipation is off by %.3g, image parameters by %.3g", off[0], off[1])
	}
	if _, err := Dissipation(network.New(3, f, 50)); !errors.Is(err, network.ErrShape) {
		t.Errorf("three ports: %v", err)
	}
}

// The fitted loss and the deviation. The worked case of [healey2009]: a cable whose loss is
// its own law, at its caps 6.0 √f + 1.0 f + 0.08 f² (f in GHz), has no deviation; the same with a ripple has
// that ripple, and the weights of annex 93A are met by a fit that scales the rows itself.
func TestInsertionLoss(t *testing.T) {
	f := grid(50e6, 7.5e9, 150)
	s := make([]complex128, len(f))
	loss := func(x float64) float64 { return 6.0*math.Sqrt(x/1e9) + 1.0*x/1e9 + 0.08*x*x/1e18 }
	for k, x := range f {
		s[k] = cmplx.Rect(math.Pow(10, -loss(x)/20), -2*math.Pi*x*5e-9)
	}
	in, err := InsertionLoss(f, s, 50e6, 7.5e9, Terms{})
	if err != nil {
		t.Fatal(err)
	}
	const source = "IEEE P802.3ba contribution healey 07/2009, eq. 1 and table 1"
	refcheck.Record(t, "healey-a1", "a1_dB_per_root_GHz", source, 6.0, in.A1*math.Sqrt(1e9), 1e-9)
	refcheck.Record(t, "healey-a2", "a2_dB_per_GHz", source, 1.0, in.A2*1e9, 1e-9)
	refcheck.Record(t, "healey-a4", "a4_dB_per_GHz2", source, 0.08, in.A4*1e18, 1e-9)
	if !(in.Fit.Greatest <= 1e-9) {
		t.Errorf("deviation %g dB of a law from itself", in.Fit.Greatest)
	}
	const amplitude, period = 0.4, 400e6
	for k, x := range f {
		s[k] *= complex(math.Pow(10, -amplitude*math.Sin(2*math.Pi*x/period)/20), 0)
	}
	if in, err = InsertionLoss(f, s, 50e6, 7.5e9, Terms{}); err != nil {
		t.Fatal(err)
	}
	if w := in.Ripple(period); !(math.Abs(w.PeakToPeak-2*amplitude) <= 0.08) || w.To-w.From > period {
		t.Errorf("windowed ripple %.3f dB between %g and %g GHz, want about %.2f", w.PeakToPeak, w.From/1e9, w.To/1e9, 2*amplitude)
	}
	if narrow := in.Ripple(period / 8); !(narrow.PeakToPeak < amplitude) {
		t.Errorf("a window of an eighth of the period shows %.3f dB", narrow.PeakToPeak)
	}
	// Weighted, by normal equations as the annex writes them: a = (FᵀF)⁻¹FᵀL.
	w, err := InsertionLoss(f, s, 50e6, 7.5e9, Terms{Constant: true, Weighted: true})
	if err != nil {
		t.Fatal(err)
	}
	var normal [4][5]float64
	for k, x := range f {
		a := cmplx.Abs(s[k])
		g := x / 1e9
		row := [5]float64{a, a * math.Sqrt(g), a * g, a * g * g, a * -20 * math.Log10(a)}
		for i := range 4 {
			for j := range 5 {
				normal[i][j] += row[i] * row[j]
			}
		}
	}
	got := [4]float64{w.A0, w.A1 * math.Sqrt(1e9), w.A2 * 1e9, w.A4 * 1e18}
	for i, row := range normal { // the solution makes every equation true
		sum := -row[4]
		for j, a := range got {
			sum += row[j] * a
		}
		if !(math.Abs(sum) <= 1e-7*math.Abs(row[4])) {
			t.Errorf("normal equation %d is off by %g of %g", i, sum, row[4])
		}
	}
	// The figure of merit of a flat deviation under a flat weight is its rms.
	if m := in.Merit(Signal{Rate: 1e15}); !(math.Abs(m-in.Fit.RMS) <= 1e-6*in.Fit.RMS) {
		t.Errorf("merit %.6f dB under a flat spectrum, rms is %.6f", m, in.Fit.RMS)
	}
	if m := in.Merit(Signal{Rate: 10e9, Rise: 30e-12}); !(m < in.Fit.RMS && m > 0.3*in.Fit.RMS) {
		t.Errorf("merit %.3f dB for 10 GBd, rms %.3f", m, in.Fit.RMS)
	}
	if _, err := InsertionLoss(f, s, 8e9, 9e9, Terms{}); !errors.Is(err, ErrFew) {
		t.Errorf("an empty range: %v", err)
	}
	if _, err := InsertionLoss(f, make([]complex128, len(f)), 0, 9e9, Terms{}); !errors.Is(err, network.ErrValue) {
		t.Errorf("nothing passes: %v", err)
	}
}
