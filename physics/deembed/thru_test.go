package deembed

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/network"
)

// thruScene is a 2x-thru and a fixture with a part, the fixture's line at scale
// times the thru's impedance.
func thruScene(r *rand.Rand, f []float64, scale float64) (half, other, dut, thru, whole network.Network) {
	b, l := newBoard(r, f), newLaunch(r)
	length := (20 + 15*r.Float64()) * 1e-3
	half = chain(l.network(f), b.trace(length, 1))
	thru = chain(half, turned(half))
	other = chain(l.network(f), b.trace(length, scale))
	dut = device(r, f)
	return half, other, dut, thru, chain(other, dut, turned(other))
}

func quantile(x []float64, p float64) float64 {
	sort.Float64s(x)
	return x[int(p*float64(len(x)-1))]
}

// Over random fixtures swept to 50 GHz, the error of halves and part up to 40 GHz.
// The figures are what is measured here; the bounds stand a little above.
func TestSplitErrors(t *testing.T) {
	f := harmonicGrid(100e6, 500)
	const draws = 60
	for _, rms := range []float64{0, 3e-4} {
		var halves, parts, worst []float64
		for seed := range uint64(draws) {
			r := rand.New(rand.NewPCG(seed, 30))
			half, _, dut, thru, whole := thruScene(r, f, 1)
			h, err := Split(noisy(r, thru, rms), SplitOptions{})
			if err != nil {
				t.Fatal(err)
			}
			_, e := apart(h.Left, half, 40e9)
			halves = append(halves, e)
			if _, e := apart(h.Right, turned(half), 40e9); !(e <= 0.01) {
				t.Errorf("seed %d: right half off by %.3g rms", seed, e)
			}
			got, err := h.Remove(noisy(r, whole, rms))
			if err != nil {
				t.Fatal(err)
			}
			w, e := apart(got.Network, dut, 40e9)
			parts, worst = append(parts, e), append(worst, w)
			if len(got.Turned) > 0 {
				t.Errorf("seed %d: %q said to be turned", seed, got.Turned)
			}
		}
		t.Logf("noise %g: halves off by %.2g (median), %.2g (worst of %d) rms; part %.2g, %.2g rms, greatest |ΔS| %.2g, %.2g", rms,
			quantile(halves, 0.5), quantile(halves, 1), draws, quantile(parts, 0.5), quantile(parts, 1), quantile(worst, 0.5), quantile(worst, 1))
		if !(quantile(halves, 1) <= 0.005 && quantile(parts, 1) <= 0.01 && quantile(worst, 1) <= 0.03) {
			t.Errorf("noise %g: halves %.3g, parts %.3g rms, greatest %.3g", rms, quantile(halves, 1), quantile(parts, 1), quantile(worst, 1))
		}
	}
}

// A fixture 5 % off the thru's impedance, either way: the corrected form takes most of the error off.
func TestCorrected(t *testing.T) {
	f := harmonicGrid(100e6, 500)
	const draws = 10
	var before, after, model []float64
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 31))
		scale := []float64{0.95, 1.05}[seed%2]
		_, other, dut, thru, whole := thruScene(r, f, scale)
		thru, whole = noisy(r, thru, 1e-4), noisy(r, whole, 1e-4)
		h, err := Split(thru, SplitOptions{})
		if err != nil {
			t.Fatal(err)
		}
		c, err := SplitCorrected(thru, whole, SplitOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for i, x := range []Halves{h, c} {
			got, err := x.Remove(whole)
			if err != nil {
				t.Fatal(err)
			}
			_, e := apart(got.Network, dut, 40e9)
			if i == 0 {
				before = append(before, e)
			} else {
				after = append(after, e)
				if _, e := apart(x.Left, other, 40e9); !(e <= 0.015) {
					t.Errorf("seed %d: left half off by %.3g", seed, e)
				}
			}
		}
		// The peeled model itself taken for the fixture, for comparison.
		var m Fixture
		for i := range 2 {
			p, lead, err := peeled(whole, i, h.Delay/2, c.Loss)
			if err != nil {
				t.Fatal(err)
			}
			n, err := joined(f, 50, p.Value, p.Step/2, lead, h.Delay/2, c.Loss)
			if err != nil {
				t.Fatal(err)
			}
			if i == 0 {
				m.Left = n
			} else {
				m.Right = turned(n)
			}
		}
		got, err := m.Remove(whole)
		if err != nil {
			t.Fatal(err)
		}
		_, e := apart(got.Network, dut, 40e9)
		model = append(model, e)
		// Where the fixture is the thru's there is nothing to correct.
		same, err := SplitCorrected(thru, thru, SplitOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if w, _ := apart(same.Left, h.Left, 50e9); !(w <= 1e-12) {
			t.Errorf("seed %d: the thru corrected by itself moves by %.2g", seed, w)
		}
	}
	t.Logf("part off by %.3g rms (median), %.3g (worst) without, %.3g and %.3g with correction, %.3g and %.3g with the peeled model", quantile(before, 0.5), quantile(before, 1),
		quantile(after, 0.5), quantile(after, 1), quantile(model, 0.5), quantile(model, 1))
	if !(quantile(after, 0.5) <= quantile(before, 0.5)/6 && quantile(after, 1) <= 0.01 && quantile(after, 0.5) <= quantile(model, 0.5)/3) {
		t.Errorf("correction: %.3g before, %.3g after; worst %.3g", quantile(before, 0.5), quantile(after, 0.5), quantile(after, 1))
	}
}

// A half is the trace of a real stripline by its field solution, 20 samples of it splined.
func TestStriplineFixture(t *testing.T) {
	f := harmonicGrid(50e6, 800)
	s := line.Stripline{Width: 0.235e-3, Spacing: 0.55e-3, Thickness: 17e-6,
		Substrate: material.Dielectric{Permittivity: 3.6, LossTangent: 0.005, FittedAt: 10e9},
		Metal:     material.Conductor{Roughness: material.Roughness{Model: material.Hammerstad, RMS: 0.5e-6}}}
	coarse := []float64{50e6, 75e6, 110e6, 170e6, 250e6, 380e6, 570e6, 850e6, 1.3e9, 1.9e9, 2.9e9, 4.3e9, 6.5e9, 9.7e9, 13e9, 17e9, 22e9, 27e9, 33e9, 40e9}
	b := board{make([]line.Point, len(f)), f}
	var slow []line.Point
	for _, x := range coarse {
		slow = append(slow, s.At(x))
	}
	j := 0
	for k, x := range f { // straight in √f, of γ/jω and Zc
		for j < len(coarse)-2 && x > coarse[j+1] {
			j++
		}
		u := complex((math.Sqrt(x)-math.Sqrt(coarse[j]))/(math.Sqrt(coarse[j+1])-math.Sqrt(coarse[j])), 0)
		g0, g1 := slow[j].Gamma/complex(coarse[j], 0), slow[j+1].Gamma/complex(coarse[j+1], 0)
		b.points[k] = line.Point{Frequency: x, Gamma: (g0 + u*(g1-g0)) * complex(x, 0), Impedance: slow[j].Impedance + u*(slow[j+1].Impedance-slow[j].Impedance)}
	}
	r := rand.New(rand.NewPCG(1, 32))
	half := chain(newLaunch(r).network(f), b.trace(25e-3, 1))
	dut := device(r, f)
	h, err := Split(chain(half, turned(half)), SplitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	got, err := h.Remove(chain(half, dut, turned(half)))
	if err != nil {
		t.Fatal(err)
	}
	w, e := apart(got.Network, dut, 32e9)
	t.Logf("split at %.2f Ω; part off by %.2g rms, %.2g at most up to 32 GHz", h.Impedance, e, w)
	if !(e <= 0.01 && w <= 0.03) {
		t.Errorf("part off by %.3g rms, %.3g at most", e, w)
	}
}

// A uniform line splits into its halves, whatever its impedance: the limiting case.
func TestUniformLine(t *testing.T) {
	f := harmonicGrid(50e6, 400)
	for _, z := range []float64{35, 50, 70} {
		n := func(tau float64) network.Network {
			return network.Line(f, 50, func(f float64) (complex128, complex128) {
				return complex(1e-6*math.Sqrt(f), 2*math.Pi*f*tau), complex(z, 0)
			})
		}
		half := n(200e-12)
		whole := network.Line(f, 50, func(f float64) (complex128, complex128) {
			return complex(2e-6*math.Sqrt(f), 2*math.Pi*f*400e-12), complex(z, 0)
		})
		h, err := Split(whole, SplitOptions{})
		if err != nil {
			t.Fatal(err)
		}
		w, _ := apart(h.Left, half, 18e9)
		if !(w <= 0.004) || !(math.Abs(h.Impedance-z) <= 0.02*z) {
			t.Errorf("%g Ω: half off by %.2g, split at %.3f Ω", z, w, h.Impedance)
		}
		if !(math.Abs(h.Delay-400e-12) <= 1e-12) { // ripple and the skin effect bias it by a few tenths of a ps
			t.Errorf("%g Ω: delay %.5g ps", z, h.Delay*1e12)
		}
		refcheck.Record(t, fmt.Sprintf("uniform-%g", z), "impedance_at_the_split_ohm", "exact: a uniform line has its own impedance everywhere (lossy: within 2 %)", z, h.Impedance, 0.02*z)
	}
}

// A thru whose halves are alike but for their length splits where it is told to.
func TestSplitOffTheMiddle(t *testing.T) {
	f := harmonicGrid(100e6, 500)
	for seed := range uint64(10) {
		r := rand.New(rand.NewPCG(seed, 35))
		b, l := newBoard(r, f), newLaunch(r)
		left, right := chain(l.network(f), b.trace(18e-3, 1)), turned(chain(l.network(f), b.trace(30e-3, 1)))
		tau, delay := chain(left, right).Delay(1, 0), left.Delay(1, 0)
		h, err := Split(chain(left, right), SplitOptions{Middle: delay})
		if err != nil {
			t.Fatal(err)
		}
		dut := device(r, f)
		got, err := h.Remove(chain(left, dut, right))
		if err != nil {
			t.Fatal(err)
		}
		_, e := apart(got.Network, dut, 40e9)
		plain, err := Split(chain(left, right), SplitOptions{})
		if err != nil {
			t.Fatal(err)
		}
		wrong, err := plain.Remove(chain(left, dut, right))
		if err != nil {
			t.Fatal(err)
		}
		if _, w := apart(wrong.Network, dut, 40e9); !(e <= 0.03 && e <= w/10) {
			t.Errorf("seed %d: split at %.1f of %.1f ps the part is off by %.3g rms, at the middle by %.3g", seed, delay*1e12, tau*1e12, e, w)
		}
	}
}

func TestCheck(t *testing.T) {
	f := harmonicGrid(50e6, 600)
	r := rand.New(rand.NewPCG(5, 33))
	_, _, _, thru, _ := thruScene(r, f, 1)
	h, err := Split(thru, SplitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	res, err := h.Check(thru, 0)
	if err != nil {
		t.Fatal(err)
	}
	if !(res.Recombined.Value <= 1e-12 && res.Reflection.Value <= 1e-11 && res.LossDB.Value <= 1e-10 && res.Phase.Value <= 1e-11) {
		t.Errorf("the halves do not add up to the thru: %+v", res)
	}
	// A thru that is 0.3 mm longer shows as the delay of that, in phase.
	longer := chain(thru, network.Line(f, 50, func(f float64) (complex128, complex128) { return complex(0, 2*math.Pi*f*2e-12), 50 }))
	res, err = h.Check(longer, 0)
	if err != nil {
		t.Fatal(err)
	}
	if want := 2 * math.Pi * 30e9 * 2e-12; !(math.Abs(res.Phase.Value-want) <= 0.1*want) || res.Phase.Frequency < 25e9 {
		t.Errorf("a thru 2 ps longer: %.3g rad at %g GHz, want about %.3g at the end", res.Phase.Value, res.Phase.Frequency/1e9, want)
	}
}

// The rule of crossing on a thru made so: |S21| = 1 − f/40 GHz, |S11| = f/40 GHz cross at 20 GHz.
func TestCrossing(t *testing.T) {
	f := harmonicGrid(100e6, 350)
	n := network.New(2, f, 50)
	for k, x := range f {
		n.Set(k, 0, 0, complex(x/40e9, 0))
		n.Set(k, 1, 0, complex(1-x/40e9, 0))
		n.Set(k, 0, 1, complex(1-x/40e9, 0))
	}
	if at, ok := Crossing(n, 0); !ok || !(math.Abs(at-20e9) <= 100e6) {
		t.Errorf("crossing at %g GHz, %v; want 20", at/1e9, ok)
	}
	m := math.Pow(10, 5./20)
	if at, ok := Crossing(n, 5); !ok || !(math.Abs(at-40e9/(1+m)) <= 100e6) {
		t.Errorf("5 dB apart until %g GHz, %v; want %g", at/1e9, ok, 40/(1+m))
	}
	if at, ok := Crossing(network.Line(f, 50, func(float64) (complex128, complex128) { return 1i, 50 }), 0); ok || !math.IsNaN(at) {
		t.Errorf("a matched line crosses at %g GHz", at/1e9)
	}
}

func TestSplitFaults(t *testing.T) {
	f := harmonicGrid(50e6, 400)
	r := rand.New(rand.NewPCG(6, 34))
	_, _, _, thru, whole := thruScene(r, f, 1)
	at75, err := thru.Renormalise(50, 75)
	if err != nil {
		t.Fatal(err)
	}
	off := thru
	off.Frequency = append([]float64(nil), f...)
	for k := range off.Frequency {
		off.Frequency[k] += 20e6
	}
	short := network.Line(f, 50, func(f float64) (complex128, complex128) { return complex(0, 2*math.Pi*f*50e-12), 50 })
	for name, c := range map[string]struct {
		thru network.Network
		want error
	}{
		"two references": {at75, network.ErrReference},
		"no harmonics":   {off, ErrHarmonics},
		"too short":      {short, ErrDelay},
	} {
		if _, err := Split(c.thru, SplitOptions{}); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	whole.Frequency = off.Frequency
	if _, err := SplitCorrected(thru, whole, SplitOptions{}); !errors.Is(err, network.ErrGrid) {
		t.Errorf("another grid: %v", err)
	}
}

// A fixture of two equal halves, measured back to back and then with a part between.
func ExampleSplit() {
	f := harmonicGrid(50e6, 800)
	_, _, dut, thru, whole := thruScene(rand.New(rand.NewPCG(8, 0)), f, 1) // invented
	h, err := Split(thru, SplitOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	part, err := h.Remove(whole)
	if err != nil {
		fmt.Println(err)
		return
	}
	_, crosses := Crossing(thru, 0)
	_, rms := apart(part.Network, dut, 32e9)
	fmt.Printf("thru of %.0f ps split at %.1f Ω; return loss meets insertion loss: %v\n", h.Delay*1e12, h.Impedance, crosses)
	fmt.Printf("the part is off by %.4f rms up to 32 GHz\n", rms)
	// Output:
	// thru of 301 ps split at 53.9 Ω; return loss meets insertion loss: false
	// the part is off by 0.0012 rms up to 32 GHz
}
