package tolerance

import (
	"context"
	"errors"
	"math"
	"testing"

	"linewright/job/enquiry"
	"linewright/job/tolerance/sample"
	"linewright/physics/units"
)

// Copies drawn afresh lie inside the band that was made of others: at each
// frequency, and everywhere at once, in the share that is claimed. The
// quantiles of 2000 copies themselves wander by 0.5 % (one standard error at
// 95 %), so the share of 2000 fresh ones by 0.7 %; three of those are allowed.
func TestBandHoldsFreshCopies(t *testing.T) {
	e := band("1 GHz", "18 GHz")
	e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(5))}}
	s := must(New(e, built(connectorOf(1.2, "0.03 dB/sqrt(GHz)"), cableOf(0.4, 1.1), connectorOf(1.3, "0.03 dB/sqrt(GHz)")), Tolerances{}, Options{}))(t)
	b := must(s.Band(context.Background(), Options{Samples: 2000, Seed: 1}, 0.95))(t)
	fresh := must(s.Band(context.Background(), Options{Samples: 2000, Seed: 2}, 0.95))(t)
	if len(b.Frequency) != len(b.Near.Highest) || b.Copies != 2000 {
		t.Fatalf("%d frequencies, %d values, %d copies", len(b.Frequency), len(b.Near.Highest), b.Copies)
	}
	// The copies themselves, swept again one by one.
	inside := [3]int{}
	sc := s.pool.Get().(*scratch)
	plan := Options{Samples: 2000, Seed: 2}.Plan()
	pointwise := 0
	for i := range plan.N {
		x := must(s.Sampling.Sample(plan, i))(t)
		for _, el := range s.elements {
			el.apply(x, sc.set[el.from:el.to])
		}
		v := s.view(0, len(s.elements), units.Celsius(25))
		sw := sc.sweeps[v]
		sw.Run(sc.set)
		for k, sp := range []Spread{b.Transmission, b.Near, b.Far} {
			p := [][]float64{sw.S21, sw.S11, sw.S22}[k]
			ok := true
			for j := range p {
				m := math.Sqrt(p[j])
				ok = ok && m <= sp.Highest[j]*(1+1e-6) && m >= sp.Lowest[j]*(1-1e-6)
				if k == 0 && m <= sp.High[j] && m >= sp.Low[j] {
					pointwise++
				}
			}
			if ok {
				inside[k]++
			}
		}
	}
	for k, n := range inside {
		if p := float64(n) / 2000; !(math.Abs(p-0.95) <= 0.021) {
			t.Errorf("trace %d: %.4f of fresh copies lie inside everywhere, claimed 0.95", k, p)
		}
	}
	if p := float64(pointwise) / float64(2000*len(b.Frequency)); !(math.Abs(p-0.95) <= 0.01) {
		t.Errorf("%.4f of the points lie inside, claimed 0.95", p)
	}
	// Two bands of different seeds agree: within a tenth of their width.
	for j := range b.Frequency {
		if d, w := math.Abs(b.Transmission.Highest[j]-fresh.Transmission.Highest[j]), b.Transmission.Highest[j]-b.Transmission.Lowest[j]; !(d <= 0.15*w) {
			t.Fatalf("%g Hz: upper edges %g and %g", b.Frequency[j], b.Transmission.Highest[j], fresh.Transmission.Highest[j])
		}
	}
}

// The middle of a matched cable's band is its loss, by the law of the square
// root, times the median of the factor; a chain without tolerances has a band
// of no width.
func TestBandOfAMatchedCable(t *testing.T) {
	e := band("1 GHz", "4 GHz")
	e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(5))}}
	s := must(New(e, built(cableOf(2, 1)), file(Tolerance{Quantity: Loss, Distribution: Normal, Sigma: amountOf(t, "2 %")}, still(Length)), Options{}))(t)
	b := must(s.Band(context.Background(), Options{Samples: 4000}, 0.95))(t)
	z := sample.NormalQuantile(0.975)
	for k, f := range b.Frequency {
		loss := 0.5 * 2 * math.Sqrt(f/1e9)
		for want, got := range map[float64]float64{loss: b.Transmission.Middle[k], loss * (1 - 0.02*z): b.Transmission.High[k], loss * (1 + 0.02*z): b.Transmission.Low[k]} {
			// A quantile of 4000 copies errs by 4 % of σ (one standard error at 97.5 %).
			if db := -20 * math.Log10(got); !(math.Abs(db-want) <= 4*0.042*0.02*loss) {
				t.Fatalf("%g Hz: %g dB, want %g", f, db, want)
			}
		}
		if b.Near.Highest[k] != 0 {
			t.Fatalf("a matched cable reflects %g", b.Near.Highest[k])
		}
	}
	s = must(New(e, built(cableOf(2, 1)), file(still(Loss), still(Length)), Options{Points: 11}))(t)
	b = must(s.Band(context.Background(), Options{Samples: 100}, 0.95))(t)
	for k := range b.Frequency {
		if w := b.Transmission.Highest[k] - b.Transmission.Lowest[k]; !(math.Abs(w) <= 1e-6) {
			t.Errorf("no tolerance, and yet a width of %g", w)
		}
	}
	if _, err := s.Band(context.Background(), Options{Samples: 99}, 0.95); !errors.Is(err, ErrBand) {
		t.Error(err)
	}
}
