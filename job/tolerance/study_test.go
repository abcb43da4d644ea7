package tolerance

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/job/tolerance/sample"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/units"
)

func ptr[T any](x T) *T { return &x }

func must[T any](x T, err error) func(t *testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
}

// connectorOf is a cable connector of a guaranteed VSWR; 1 reflects nothing.
func connectorOf(vswr float64, loss string) chain.Connector {
	return chain.Connector{Common: part.Common{ID: "K"}, Kind: "cable connector", Loss: part.Loss{K: ptr(units.Must[units.RootLevel](loss)), Temperature: ptr(units.Celsius(25))},
		Reflection: part.Reflection{VSWR: &vswr}, ElectricalLength: ptr(units.Length(12e-3))}
}

// cableOf is a cable of 0.5 dB/m at 1 GHz, going as the root of frequency.
func cableOf(length units.Length, vswr float64) chain.Cable {
	return chain.Cable{Length: length, Part: part.Cable{Common: part.Common{ID: "C"}, VelocityFactor: ptr(0.8), Reflection: part.Reflection{VSWR: &vswr},
		Loss: part.Attenuation{K1: ptr(units.Must[units.RootAttenuation]("0.5 dB/(m·sqrt(GHz))")), Temperature: ptr(units.Celsius(25))}}}
}

func built(elements ...chain.Element) chain.Built {
	b := chain.Built{Chain: chain.Chain{Name: "test chain", Elements: elements}}
	for _, e := range elements {
		role := chain.RoleConnector
		if _, ok := chain.CableOf(e); ok {
			role = chain.RoleCable
		}
		b.Roles = append(b.Roles, role)
	}
	return b
}

func band(from, to string) enquiry.Enquiry {
	return enquiry.Enquiry{ID: "test", Band: []enquiry.Band{{From: units.Must[units.Frequency](from), To: units.Must[units.Frequency](to)}}}
}

func amountOf(t testing.TB, s string) *Amount {
	t.Helper()
	var a Amount
	if err := a.UnmarshalText([]byte(s)); err != nil {
		t.Fatal(err)
	}
	return &a
}

func file(ts ...Tolerance) Tolerances { return Tolerances{Tolerances: ts} }

// still holds a quantity of every piece at what is stated.
func still(q Quantity) Tolerance {
	z := &Amount{Unit: q.unit()}
	return Tolerance{Quantity: q, Low: z, High: z}
}

// within fails unless the share p lies in the interval that covers it with a
// confidence of 1 − 10⁻⁵.
func within(t *testing.T, what string, s Share, p float64) {
	t.Helper()
	iv := sample.ClopperPearson(s.Meets, s.N, 1-1e-5)
	if !(iv.Low <= p && p <= iv.High) {
		t.Errorf("%s: %d of %d, share %.5f; known to be %.5f", what, s.Meets, s.N, s.Share, p)
	}
}

// A cable cut with a normal error of σ is matched to ±w with probability
// 2Φ(w/σ) − 1: the model is linear and the law known. The spread is that of the
// law of propagation, u(τ) = u(L)/v [jcgm100] eq. 10, as [jcgm101] §8 asks of a
// linear model.
func TestNormalLength(t *testing.T) {
	e := band("1 GHz", "2 GHz")
	sigma, v := 0.2e-3, 0.8*line.C0
	half := 1.3 * sigma / v
	e.Match = &enquiry.Match{Kind: enquiry.Absolute, Delay: ptr(units.Time(half))}
	s := must(New(e, built(cableOf(1, 1)), file(still(Loss), Tolerance{Piece: "cable", Quantity: Length, Distribution: Normal, Sigma: amountOf(t, "0.2 mm")}), Options{Points: 2}))(t)
	for _, m := range []sample.Method{sample.Random, sample.Sobol, sample.LatinHypercube} {
		r := must(s.Run(context.Background(), Options{Samples: 20000, Method: m, DriverPoints: -1}))(t)
		want := sample.NormalCDF(1.3) - sample.NormalCDF(-1.3)
		if len(r.Limits) != 1 {
			t.Fatalf("%d limits, want the match alone", len(r.Limits))
		}
		within(t, string(m), r.Limits[0].Share, want)
		if r.Yield != r.Limits[0].Share {
			t.Errorf("%s: yield %+v is not that of the only limit %+v", m, r.Yield, r.Limits[0].Share)
		}
		sd := r.Observed[len(r.Observed)-1].Summary.StandardDeviation * 1e-12
		gum, err := sample.Propagate(func(x, y []float64) { y[0] = (1 + x[0]) / v }, 1, []float64{0}, []float64{sigma}, nil)
		if err != nil {
			t.Fatal(err)
		}
		if d := sd/gum.Uncertainty[0] - 1; !(math.Abs(d) <= 4/math.Sqrt(2*20000)) { // four standard errors of a standard deviation
			t.Errorf("%s: standard deviation of the delay %.5g s, by propagation %.5g s", m, sd, gum.Uncertainty[0])
		}
	}
}

// The loss of a matched cable is its figure times a normal factor: the share
// within the limit is Φ, the corner three standard deviations out, and the
// shares of variance are those of a sum.
func TestNormalLoss(t *testing.T) {
	e := band("1 GHz", "4 GHz")
	// 0.5 dB/m·√4 = 1 dB/m at the top; two cables, 1 m and 0.5 m: 1.5 dB.
	e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(1.52))}}
	near, far := cableOf(1, 1), cableOf(0.5, 1)
	near.Where, far.Where = "near cable", "far cable"
	s := must(New(e, built(near, far), file(still(Length),
		Tolerance{Piece: "near cable", Quantity: Loss, Distribution: Normal, Sigma: amountOf(t, "2 %")},
		Tolerance{Piece: "far cable", Quantity: Loss, Distribution: Normal, Sigma: amountOf(t, "3 %")}), Options{}))(t)
	r := must(s.Run(context.Background(), Options{Samples: 20000, DriverPoints: 2048}))(t)
	u1, u2 := 0.02*1.0, 0.03*0.5
	u := math.Hypot(u1, u2)
	within(t, "loss", r.Yield, sample.NormalCDF(0.02/u))
	l := r.Limits[0]
	if want := 1.52 - 1.5 - 3*(u1+u2); !(math.Abs(l.Worst-want) <= 1e-9) || l.WorstAt != 4e9 {
		t.Errorf("worst corner %.6f dB at %g Hz, want %.6f dB at 4 GHz", l.Worst, l.WorstAt, want)
	}
	sum := 0.0
	for _, d := range l.Drivers {
		want := u1 * u1 / (u * u)
		if d.Name == "far cable: loss" {
			want = u2 * u2 / (u * u)
		}
		sum += d.First
		if !(math.Abs(d.Total-want) <= 5*d.TotalError+1e-3) || !(math.Abs(d.First-want) <= 5*d.FirstError+1e-3) {
			t.Errorf("%s: shares first %.4f ± %.4f and total %.4f ± %.4f, want %.4f", d.Name, d.First, d.FirstError, d.Total, d.TotalError, want)
		}
	}
	if l.Drivers[0].Name != "near cable: loss" || !(math.Abs(sum-1) <= 0.02) {
		t.Errorf("first driver %q, first shares sum to %.4f, want near cable: loss and 1", l.Drivers[0].Name, sum)
	}
	if !(l.Direction[0] < -0.5) {
		t.Errorf("more loss should lower the margin: rank correlation %.2f", l.Direction[0])
	}
	if len(r.Sigmas) != 2 {
		t.Errorf("taken at three sigma: %q, want both losses", r.Sigmas)
	}
}

// One frequency, fixed magnitudes, random phases: the percentile of the copies'
// reflections is that of package network's study, drawn and computed elsewhere.
func TestRandomPhases(t *testing.T) {
	rho := []float64{0.10, 0.05, 0.12}
	var refl []network.Reflector
	var es []chain.Element
	for _, r := range rho {
		refl = append(refl, network.Reflector{Magnitude: r})
		es = append(es, connectorOf(network.VSWR(r), "0 dB/sqrt(GHz)"))
	}
	e := band("20 GHz", "20 GHz")
	e.Limits.ReturnLoss = []enquiry.ReturnLossLimit{{AtLeast: ptr(units.Level(15))}}
	s := must(New(e, built(es...), file(still(Reflection), still(Loss)), Options{}))(t)
	r := must(s.Run(context.Background(), Options{Samples: 40000, DriverPoints: -1}))(t)
	l := must(network.Study{Draws: 40000, Seed: 5, Percentile: 0.95}.Run(refl))(t)
	// The study's percentile as a limit: 95 % of our copies should keep it, but for its own spread.
	kept := 0
	for _, m := range r.State.Column(0) {
		if m+15 >= network.ReturnLoss(l.Value) {
			kept++
		}
	}
	if share := float64(kept) / 40000; !(math.Abs(share-0.95) <= 0.007) { // 4.5 standard errors of the difference of two shares
		t.Errorf("%.4f of the copies reflect no more than the study's 95th percentile %.4f", share, l.Value)
	}
	want := network.ReturnLoss(network.WorstExact(refl)) - 15
	if got := r.Limits[0].Worst; !(math.Abs(got-want) <= 1e-9) {
		t.Errorf("worst corner %.9f dB, product of the VSWRs gives %.9f dB", got, want)
	}
	if r.Limits[0].Summary.Least < want-1e-9 {
		t.Errorf("a copy lies beyond the worst corner: %.6f dB under %.6f dB", r.Limits[0].Summary.Least, want)
	}
}

// randomChain is a chain of connectors, a cable and perhaps a gap.
func randomChain(r *rand.Rand) chain.Built {
	es := []chain.Element{connectorOf(1.02+0.3*r.Float64(), "0.03 dB/sqrt(GHz)")}
	if r.IntN(2) == 0 {
		es = append(es, chain.Gap{Where: "axial gap", Opening: units.Length(0.5e-3 * r.Float64()), Impedance: units.Resistance(60 + 20*r.Float64())})
	}
	es = append(es, cableOf(units.Length(0.05+0.5*r.Float64()), 1+0.15*r.Float64()), connectorOf(1.02+0.3*r.Float64(), "0.05 dB/sqrt(GHz)"))
	return built(es...)
}

// No copy lies beyond the worst corner, at any limit; and a chain whose worst
// case keeps its limits has a yield of 1.
func TestNoneBeyondCorner(t *testing.T) {
	const seed = 21
	rng := rand.New(rand.NewPCG(seed, 0))
	for trial := range 25 {
		b := randomChain(rng)
		e := band("24 GHz", "30 GHz")
		p := must(b.Chain.Predict(context.Background(), []float64{24e9, 27e9, 30e9}, chain.Conditions{Temperature: units.Celsius(25)}, chain.Options{Draws: -1}))(t)
		top := len(p.Frequency) - 1
		e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(p.Loss[top] + p.Mismatch[top] + 0.05))}}
		e.Limits.ReturnLoss = []enquiry.ReturnLossLimit{
			{AtLeast: ptr(units.Level(network.ReturnLoss(max(p.Left.Worst[p.Left.AtWorst], p.Right.Worst[p.Right.AtWorst])) - 0.01))},
			{AtLeast: ptr(units.Level(20)), Of: enquiry.OfConnector, Wish: true}}
		e.Limits.Ripple = []enquiry.RippleLimit{{AtMost: 3, Wish: true}, {AtMost: 3, Window: ptr(units.Frequency(0.2e9)), Wish: true}}
		e.Match = &enquiry.Match{Kind: enquiry.Absolute, Delay: ptr(units.Time(1e-9))}
		s := must(New(e, b, Tolerances{Tolerances: []Tolerance{{Piece: "cable", Quantity: Length, HalfWidth: amountOf(t, "0.05 mm")}}}, Options{Points: 101}))(t)
		r := must(s.Run(context.Background(), Options{Samples: 300, Seed: uint64(trial), DriverPoints: -1}))(t)
		if r.Yield.Share != 1 {
			t.Errorf("seed %d, trial %d: the worst case of predict keeps every limit, the yield is %.4f", seed, trial, r.Yield.Share)
		}
		for _, l := range r.Limits {
			if !(l.Summary.Least >= l.Worst-1e-9) {
				t.Errorf("seed %d, trial %d: %s: a copy has margin %.6f, the worst corner %.6f", seed, trial, l.Name, l.Summary.Least, l.Worst)
			}
		}
	}
}

// A chain without tolerances is one copy: it keeps its limits or does not.
func TestNoTolerances(t *testing.T) {
	for _, c := range []struct{ limit, yield float64 }{{1.001, 1}, {1, 1}, {0.999, 0}} { // 1 m at 4 GHz: 1 dB; on the limit keeps it
		e := band("1 GHz", "4 GHz")
		e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(c.limit))}}
		s := must(New(e, built(cableOf(1, 1)), file(still(Length), still(Loss)), Options{Points: 4}))(t)
		r := must(s.Run(context.Background(), Options{Samples: 200}))(t)
		if len(s.Inputs) != 0 || r.Yield.Share != c.yield {
			t.Errorf("limit %g dB: %d inputs, yield %g, want none and %g", c.limit, len(s.Inputs), r.Yield.Share, c.yield)
		}
	}
}

// A wider spread of the reflections never raises the yield, the draws being the
// same: their magnitudes all grow.
func TestWiderIsNoBetter(t *testing.T) {
	e := band("24 GHz", "26 GHz")
	e.Limits.ReturnLoss = []enquiry.ReturnLossLimit{{AtLeast: ptr(units.Level(17))}}
	b := built(connectorOf(1.25, "0.03 dB/sqrt(GHz)"), cableOf(0.2, 1.1), connectorOf(1.25, "0.03 dB/sqrt(GHz)"))
	last := 1.1
	const n = 2000
	for _, wide := range []string{"-90 %", "-60 %", "-30 %", "0 %"} {
		s := must(New(e, b, file(Tolerance{Quantity: Reflection, Low: amountOf(t, "-100 %"), High: amountOf(t, wide)}), Options{}))(t)
		r := must(s.Run(context.Background(), Options{Samples: n, DriverPoints: -1}))(t)
		if y := r.Yield.Share; y > last+3*math.Sqrt(0.25/n) {
			t.Errorf("reflections up to %s of the bound: the yield rises from %.4f to %.4f", wide, last, y)
		} else {
			last = y
		}
	}
	if !(last < 0.99 && last > 0.2) {
		t.Errorf("the widest has a yield of %.4f: the test tells nothing", last)
	}
}

func jumper(t *testing.T) *Study {
	t.Helper()
	e := band("2 GHz", "6 GHz")
	e.Limits.ReturnLoss = []enquiry.ReturnLossLimit{{AtLeast: ptr(units.Level(18))}}
	e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(0.5)), From: ptr(units.Frequency(5e9))}}
	e.Match = &enquiry.Match{Phase: ptr(units.Angle(2 * math.Pi / 180)), SetSize: ptr(6)}
	return must(New(e, built(connectorOf(1.15, "0.03 dB/sqrt(GHz)"), cableOf(0.3, 1.1), connectorOf(1.2, "0.03 dB/sqrt(GHz)")), Tolerances{}, Options{}))(t)
}

// The same seed gives the same bits on any number of workers; another seed
// other copies; and the worst copy drawn is found again by its number.
func TestSeeds(t *testing.T) {
	s := jumper(t)
	one := must(s.Run(context.Background(), Options{Samples: 1500, Workers: 1, DriverPoints: 32}))(t)
	many := must(s.Run(context.Background(), Options{Samples: 1500, Workers: 5, DriverPoints: 32}))(t)
	if !reflect.DeepEqual(one.State, many.State) || !reflect.DeepEqual(one.Yield, many.Yield) || !reflect.DeepEqual(one.Limits, many.Limits) || !reflect.DeepEqual(one.Sorting, many.Sorting) {
		t.Error("one worker and five disagree")
	}
	other := must(s.Run(context.Background(), Options{Samples: 1500, Seed: 1, DriverPoints: -1}))(t)
	if reflect.DeepEqual(one.State.Values, other.State.Values) {
		t.Error("another seed draws the same copies")
	}
	for k, l := range one.Limits {
		y := make([]float64, len(s.Outputs))
		if err := s.Sampling.Model(context.Background(), l.Least, y); err != nil {
			t.Fatal(err)
		}
		if y[k] != l.Summary.Least {
			t.Errorf("%s: the worst copy computed again gives %g, not %g", l.Name, y[k], l.Summary.Least)
		}
	}
}

// A run that is stopped, written as JSON, read and gone on with ends in the
// same bits as one that was not.
func TestResume(t *testing.T) {
	s := jumper(t)
	for _, m := range []sample.Method{sample.Random, sample.Sobol, sample.LatinHypercube} {
		o := Options{Samples: 1200, Method: m, Seed: 3, DriverPoints: -1}
		whole := must(s.Run(context.Background(), o))(t)
		var saved []byte
		stops := 0
		for {
			ctx, cancel := context.WithCancel(context.Background())
			o.Every = 250
			seen := 0
			o.Checkpoint = func(st sample.State) error {
				var err error
				saved, err = json.Marshal(st)
				if seen++; seen == 2 { // killed after its second save
					cancel()
				}
				return err
			}
			r, err := s.Run(ctx, o)
			cancel()
			if err == nil {
				if !reflect.DeepEqual(r.State, whole.State) || !reflect.DeepEqual(r.Limits, whole.Limits) || r.Yield != whole.Yield {
					t.Errorf("%s: %d times stopped, the run ends otherwise than without", m, stops)
				}
				break
			}
			if !errors.Is(err, context.Canceled) {
				t.Fatal(err)
			}
			if stops++; stops > 10 {
				t.Fatal("no progress")
			}
			var st sample.State
			if err := json.Unmarshal(saved, &st); err != nil {
				t.Fatal(err)
			}
			o.Resume = &st
		}
		if stops < 2 {
			t.Errorf("%s: the run was stopped %d times, two at least were meant", m, stops)
		}
	}
	st := must(s.Run(context.Background(), Options{Samples: 100, DriverPoints: -1}))(t).State
	if _, err := s.Run(context.Background(), Options{Samples: 200, DriverPoints: -1, Resume: &st}); !errors.Is(err, ErrState) {
		t.Errorf("a state of another plan: %v", err)
	}
}

func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := jumper(t).Run(ctx, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled run returns %v", err)
	}
}

// Two studies that differ in anything that moves the numbers have different
// digests; the same study made twice has one.
func TestDigest(t *testing.T) {
	a, b := jumper(t), jumper(t)
	if a.Digest() != b.Digest() {
		t.Error("the same study has two digests")
	}
	for what, s := range map[string]*Study{
		"another tolerance": must(New(a.e, a.b, file(Tolerance{Quantity: Length, HalfWidth: amountOf(t, "0.2 mm")}), Options{}))(t),
		"another grid":      must(New(a.e, a.b, Tolerances{}, Options{Points: 57}))(t),
		"another cable":     must(New(a.e, built(a.b.Elements[0], cableOf(0.31, 1.1), a.b.Elements[2]), Tolerances{}, Options{}))(t),
	} {
		if s.Digest() == a.Digest() {
			t.Errorf("%s has the same digest", what)
		}
	}
}

// Sets of normal pieces are d2·σ wide on average, 2.53 σ for six [tippett1925],
// and sorting takes what package sample says for the normal law.
func TestMatchedSet(t *testing.T) {
	e := band("1 GHz", "2 GHz")
	v := 0.8 * line.C0
	sigma := 0.1e-3 / v
	e.Match = &enquiry.Match{Delay: ptr(units.Time(0.6 * sigma)), SetSize: ptr(6)}
	s := must(New(e, built(cableOf(1, 1)), file(still(Loss), Tolerance{Quantity: Length, Distribution: Normal, Sigma: amountOf(t, "0.1 mm")}), Options{Points: 2}))(t)
	r := must(s.Run(context.Background(), Options{Samples: 20000, DriverPoints: -1}))(t)
	m := r.Sorting
	if want := sample.ExpectedRange(6) * sigma; !(math.Abs(m.Width/want-1) <= 0.05) { // four standard errors of 1000 ranges, 0.85 σ each
		t.Errorf("a set of six is %.4g s wide, d2·σ is %.4g s", m.Width, want)
	}
	law := must(sample.BuildQuantity(6, 1.2, 60, sample.Sorting{Trials: 4000, Seed: 9}))(t)
	if d := float64(m.Half50) - law.Quantile(0.5); !(math.Abs(d) <= 1) {
		t.Errorf("build %d for a set half of the time, the normal law wants %.0f", m.Half50, law.Quantile(0.5))
	}
	if len(r.Limits) != 0 || m.Beyond || !r.Enough {
		t.Errorf("a match alone: %d limits, beyond %v, enough %v; want 0, false, true", len(r.Limits), m.Beyond, r.Enough)
	}
	e.Match.Delay = ptr(units.Time(0.001 * sigma))
	s = must(New(e, built(cableOf(1, 1)), file(still(Loss)), Options{Points: 2}))(t)
	if r := must(s.Run(context.Background(), Options{Samples: 1000, DriverPoints: -1}))(t); !r.Sorting.Beyond || r.Enough {
		t.Error("a match a thousandth of the spread cannot be sorted for")
	}
}

// What a tolerance cannot say is an error that says why.
func TestFaults(t *testing.T) {
	e := band("1 GHz", "2 GHz")
	e.Limits.InsertionLoss = []enquiry.LossLimit{{AtMost: ptr(units.Level(3))}}
	for _, c := range []struct {
		t    Tolerance
		want error
	}{
		{Tolerance{Quantity: Length, HalfWidth: amountOf(t, "2 %")}, ErrUnits},
		{Tolerance{Quantity: Loss, HalfWidth: amountOf(t, "2 mm")}, ErrUnits},
		{Tolerance{Quantity: Length}, ErrAmounts},
		{Tolerance{Quantity: Length, Distribution: Normal}, ErrAmounts},
		{Tolerance{Quantity: Length, Distribution: Normal, Sigma: amountOf(t, "1 mm"), HalfWidth: amountOf(t, "1 mm")}, ErrAmounts},
		{Tolerance{Quantity: Length, Low: amountOf(t, "1 mm"), High: amountOf(t, "-1 mm")}, ErrAmounts},
		{Tolerance{Quantity: Length, HalfWidth: amountOf(t, "1 mm"), High: amountOf(t, "1 mm")}, ErrAmounts},
		{Tolerance{Quantity: Length, HalfWidth: amountOf(t, "1 mm"), Sigma: amountOf(t, "1 mm")}, ErrAmounts},
		{Tolerance{Piece: "bullet", Quantity: Length, HalfWidth: amountOf(t, "1 mm")}, ErrPiece},
		{Tolerance{Quantity: Opening, HalfWidth: amountOf(t, "1 mm")}, ErrPiece},
	} {
		_, err := New(e, built(cableOf(1, 1)), file(c.t), Options{})
		var f *Fault
		if !errors.Is(err, c.want) || !errors.As(err, &f) || f.Help == "" || f.Index != 0 {
			t.Errorf("%+v: %v, want %v with its index and a way out", c.t, err, c.want)
		}
	}
	if _, err := New(band("1 GHz", "2 GHz"), built(cableOf(1, 1)), Tolerances{}, Options{}); err == nil {
		t.Error("an enquiry without limits has a yield")
	}
	if _, err := New(enquiry.Enquiry{}, built(cableOf(1, 1)), Tolerances{}, Options{}); err == nil {
		t.Error("an enquiry without a band has a yield")
	}
	var a Amount
	if err := a.UnmarshalText([]byte("3 GHz")); err == nil {
		t.Error("3 GHz was read as a deviation")
	}
}

// A figure that nothing states is left out and named; the yield is then not
// enough, whatever it comes to.
func TestMissing(t *testing.T) {
	e := band("1 GHz", "2 GHz")
	e.Limits.ReturnLoss = []enquiry.ReturnLossLimit{{AtLeast: ptr(units.Level(3))}}
	k := connectorOf(1, "0 dB/sqrt(GHz)")
	k.Reflection = part.Reflection{}
	s := must(New(e, built(k, cableOf(1, 1.1)), Tolerances{}, Options{}))(t)
	r := must(s.Run(context.Background(), Options{Samples: 200, DriverPoints: -1}))(t)
	if r.Yield.Share != 1 || r.Enough || len(r.Missing) != 1 || r.Missing[0] != "reflection of cable connector" {
		t.Errorf("yield %g, enough %v, missing %q", r.Yield.Share, r.Enough, r.Missing)
	}
}

// The disc's distribution against its density 2x on 0..1, by the trapezium
// rule over the quantiles.
func TestDisc(t *testing.T) {
	d := disc{-1, 0}
	mean, sq := 0.0, 0.0
	const n = 100000
	for i := range n {
		x := d.Quantile((float64(i) + 0.5) / n)
		mean += x / n
		sq += x * x / n
	}
	if sd := math.Sqrt(sq - mean*mean); !(math.Abs(mean-d.Expectation()) <= 1e-6 && math.Abs(sd-d.StandardDeviation()) <= 1e-5) {
		t.Errorf("mean %g and standard deviation %g, want %g and %g", mean, sd, d.Expectation(), d.StandardDeviation())
	}
}

// Two bands, a limit that starts inside one, and steps that are even within a
// segment: every band edge and every limit's end is a frequency of the grid.
func TestGrid(t *testing.T) {
	e := band("24.25 GHz", "29.5 GHz")
	e.Band = append(e.Band, enquiry.Band{From: 37e9, To: 40e9})
	e.Limits.ReturnLoss = []enquiry.ReturnLossLimit{{AtLeast: ptr(units.Level(15)), From: ptr(units.Frequency(26e9))}}
	g, per, err := newGrid(e, 1e-9, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []float64{24.25e9, 26e9, 29.5e9, 37e9, 40e9} {
		found := false
		for _, x := range g.f {
			found = found || math.Abs(x-f) <= 1
		}
		if !found {
			t.Errorf("%g Hz is no frequency of the grid", f)
		}
	}
	for i, f := range g.f {
		if f > 29.5e9+1 && f < 37e9-1 || i > 0 && !(f > g.f[i-1]) {
			t.Errorf("%g Hz: outside the bands, or not above %g Hz", f, g.f[max(0, i-1)])
		}
	}
	n := 0
	for _, s := range g.segments {
		for k := range s.Points {
			if !(math.Abs(g.f[n+k]-s.Start-float64(k)*s.Step) <= 1) {
				t.Errorf("segment from %g Hz: frequency %d is %g Hz", s.Start, k, g.f[n+k])
			}
		}
		n += s.Points
	}
	if n != len(g.f) || !(per >= 7.5) {
		t.Errorf("%d of %d frequencies in segments, %.2f to the ripple", n, len(g.f), per)
	}
}
