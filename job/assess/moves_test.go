package assess

import (
	"context"
	"math"
	"testing"

	"pgregory.net/rapid"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// Hotter and longer never lose less, colder and shorter never reflect less at
// the far end's distance, longer never weighs or costs less: the margins of a
// jumper move the way its physics does, and a verdict never improves on the
// way down.
func TestMarginsMove(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		hot := rapid.Float64Range(25, 110).Draw(rt, "hottest, °C")
		cold := rapid.Float64Range(-55, 25).Draw(rt, "coldest, °C")
		length := rapid.Float64Range(0.05, 3).Draw(rt, "length, m")
		plug := rapid.Float64Range(1.02, 1.6).Draw(rt, "VSWR of the plugs")
		run := func(hot, cold, length float64) Report {
			e := roomy(hot)
			e.Environment.MinTemperature = to(units.Celsius(cold))
			e.Limits.Mass, e.Limits.Price = to(units.Mass(0.1)), &units.Money{Micros: 100e6, Currency: "EUR"}
			e.Limits.VSWR[0].AtMost = 1.5
			return trial(rt, e, length, vouched(func(c *part.Cable, k *part.CableConnector) {
				c.Reflection = part.Reflection{VSWR: to(1.0), Statistic: part.Guaranteed}
				k.Reflection.VSWR = &plug
				c.Mass, c.Price = to(units.Mass(0.03)), &units.Money{Micros: 40e6, Currency: "EUR"}
				k.Mass, k.Price = to(units.Mass(0.004)), &units.Money{Micros: 20e6, Currency: "EUR"}
			}))
		}
		base := run(hot, cold, length)
		for _, c := range []struct {
			what                  string
			hot, cold, length     float64
			worse, better, stands []string // limits whose margin must not rise, not fall, not move
		}{
			{"20 K hotter", hot + 20, cold, length, []string{"insertion loss", "highest temperature"}, nil, []string{"VSWR of the chain", "mass", "price", "mode-free limit", "rated frequency"}},
			{"20 K colder", hot, cold - 20, length, []string{"VSWR of the chain", "VSWR of the chain, worst of the band"}, nil, []string{"insertion loss", "mass", "mode-free limit"}},
			{"0.3 m longer", hot, cold, length + 0.3, []string{"insertion loss", "mass", "price"}, []string{"VSWR of the chain"}, []string{"mode-free limit", "rated frequency", "highest temperature"}},
		} {
			r := run(c.hot, c.cold, c.length)
			at := func(r Report, limit string) (Margin, bool) {
				for _, m := range r.Margins {
					if m.Limit == limit {
						return m, true
					}
				}
				return Margin{}, false
			}
			compare := func(limits []string, ok func(was, is float64) bool, verdict func(was, is Verdict) bool) {
				for _, limit := range limits {
					was, have := at(base, limit)
					is, still := at(r, limit)
					if !have || !still {
						continue
					}
					if !ok(was.Margin, is.Margin) || !verdict(was.Verdict, is.Verdict) {
						rt.Errorf("%s: %s goes from %v %g to %v %g", c.what, limit, was.Verdict, was.Margin, is.Verdict, is.Margin)
					}
				}
			}
			compare(c.worse, func(was, is float64) bool { return is <= was+1e-9 }, func(was, is Verdict) bool { return is >= was })
			compare(c.better, func(was, is float64) bool { return is >= was-1e-9 }, func(was, is Verdict) bool { return is <= was })
			compare(c.stands, func(was, is float64) bool { return math.Abs(is-was) <= 1e-9 }, func(was, is Verdict) bool { return is == was })
		}
	})
}

// More lines beside each other never couple less and never mate more easily.
func TestMarginsMoveWithCount(t *testing.T) {
	isolation, force := math.Inf(1), math.Inf(1)
	for n := 2; n <= 100; n++ {
		e := boardToBoard()
		e.Lines, e.Alignment.Force = held(n), held(units.Force(300))
		r := judged(t, e, pushOn(), parts("full", "middle", "smooth")...)
		i, f := marginOf(t, r, "isolation between lines").Margin, marginOf(t, r, "mating force of the field").Margin
		if !(i <= isolation+1e-9) || !(f < force) {
			t.Errorf("%d lines: isolation %g after %g, force %g after %g", n, i, isolation, f, force)
		}
		isolation, force = i, f
	}
}

// One more part, wherever it is put in, makes nothing better that a bound shows:
// loss with the unluckiest mismatch, mode limit, rating, mass and price of any
// part; the worst reflection too of one that loses nothing. A pad does improve
// what lies behind it, so a part with loss promises nothing of reflection.
func TestOneMorePart(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		draw := func(name string, from, to float64) float64 { return rapid.Float64Range(from, to).Draw(rt, name) }
		adapter := func(id string) part.Adapter {
			face := func(g part.Gender) part.Face {
				return part.Face{Series: rapid.SampledFrom([]string{"3.5 mm", "2.92 mm"}).Draw(rt, id+" series"), Gender: g}
			}
			return part.Adapter{Common: part.Common{ID: id, RatedFrequency: held(units.Frequency(draw(id+" rating", 20e9, 40e9))), Mass: held(units.Mass(draw(id+" mass", 1e-3, 1e-2))),
				Price: &units.Money{Micros: int64(draw(id+" price", 1, 100)) * 1e6, Currency: "EUR"}},
				Left: face(part.Male), Right: face(part.Female), Reflection: part.Reflection{VSWR: held(draw(id+" VSWR", 1, 1.6)), Statistic: part.Guaranteed},
				Loss: part.Loss{K: held(units.RootLevel(draw(id+" loss", 0, 3e-6))), Temperature: held(units.Celsius(25)), Statistic: part.Guaranteed}}
		}
		n := rapid.IntRange(1, 4).Draw(rt, "parts")
		var cat catalogue.Catalogue
		var pieces []chain.PieceSpec
		for i := range n {
			a := adapter(string(rune('a' + i)))
			cat.Adapters, pieces = append(cat.Adapters, a), append(pieces, chain.PieceSpec{Part: a.ID})
		}
		more := adapter("more")
		lossless := rapid.Bool().Draw(rt, "lossless")
		if lossless {
			more.Loss.K = held(units.RootLevel(0))
		}
		cat.Adapters = append(cat.Adapters, more)
		at := rapid.IntRange(0, n).Draw(rt, "place")
		with := append(append(append([]chain.PieceSpec(nil), pieces[:at]...), chain.PieceSpec{Part: "more"}), pieces[at:]...)
		predict := func(ps []chain.PieceSpec) (chain.Built, chain.Prediction) {
			b, err := chain.Build(chain.Spec{Name: "row", Pieces: ps}, cat)
			if err != nil {
				rt.Fatal(err)
			}
			p, err := b.Predict(context.Background(), []float64{1e9, 10e9, 20e9}, chain.Conditions{Temperature: room}, chain.Options{Draws: -1})
			if err != nil {
				rt.Fatal(err)
			}
			return b, p
		}
		b0, p0 := predict(pieces)
		b1, p1 := predict(with)
		for i, f := range p0.Frequency {
			if !(p1.Loss[i] >= p0.Loss[i]) || !(p1.Loss[i]+p1.Mismatch[i] >= p0.Loss[i]+p0.Mismatch[i]-1e-12) {
				rt.Errorf("%g Hz: %g dB (%g with mismatch) after %g (%g)", f, p1.Loss[i], p1.Loss[i]+p1.Mismatch[i], p0.Loss[i], p0.Loss[i]+p0.Mismatch[i])
			}
			for end := range 2 {
				was, is := seenFrom(p0, end), seenFrom(p1, end)
				if lossless && !(is.Worst[i] >= was.Worst[i]-1e-15 && is.Exact[i] >= was.Exact[i]-1e-15 && is.RSS[i] >= was.RSS[i]-1e-15) {
					rt.Errorf("%g Hz, end %d: worst %g after %g", f, end, is.Worst[i], was.Worst[i])
				}
			}
		}
		if p1.ModeFree.CrossSection.ModeFree > p0.ModeFree.CrossSection.ModeFree {
			rt.Errorf("mode limit %v after %v", p1.ModeFree.CrossSection.ModeFree, p0.ModeFree.CrossSection.ModeFree)
		}
		m0, _ := b0.Mass()
		m1, _ := b1.Mass()
		c0, _, _ := b0.Price()
		c1, _, _ := b1.Price()
		if !(m1 > m0) || !(c1.Micros > c0.Micros) {
			rt.Errorf("mass %v after %v, price %v after %v", m1, m0, c1, c0)
		}
		rated := func(b chain.Built) float64 {
			r, err := Assess(context.Background(), enquiry.Enquiry{ID: "row", Band: []enquiry.Band{{From: 1e9, To: 15e9}}}, Subject{Built: b, Catalogue: cat}, Options{Points: 2, Draws: -1})
			if err != nil {
				rt.Fatal(err)
			}
			return marginOf(rt, r, "rated frequency").Margin
		}
		if r0, r1 := rated(b0), rated(b1); r1 > r0 {
			rt.Errorf("rating margin %g after %g", r1, r0)
		}
	})
}
