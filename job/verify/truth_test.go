package verify

import (
	"context"
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/units"
)

func ptr[T any](x T) *T { return &x }

// The truth of these tests is made of lines, capacitances and inductances by
// package network; nothing of it goes through the prediction or its copies.

const (
	connectorAir = 12e-3 // m: electrical length of a connector
	velocity     = 0.83
	kConnector   = 0.03 // dB/√GHz
	kCable       = 0.30 // dB/(m √GHz)
)

// jumper is a chain of two connectors and a cable, known by its datasheets.
func jumper(length, vswr float64) chain.Built {
	k := func(where string) chain.Connector {
		return chain.Connector{Where: where, Common: part.Common{ID: "K", Source: "invented"}, Kind: "cable connector", Loss: part.Loss{K: ptr(units.Must[units.RootLevel]("0.03 dB/sqrt(GHz)")), Temperature: ptr(units.Celsius(25)), Statistic: part.Guaranteed},
			Reflection: part.Reflection{VSWR: &vswr, Statistic: part.Guaranteed}, ElectricalLength: ptr(units.Length(connectorAir))}
	}
	cable := chain.Cable{Where: "cable", Length: units.Length(length), Part: part.Cable{Common: part.Common{ID: "C", Source: "invented"}, VelocityFactor: ptr(velocity), Reflection: part.Reflection{VSWR: ptr(1.06), Statistic: part.Guaranteed},
		Loss: part.Attenuation{K1: ptr(units.Must[units.RootAttenuation]("0.30 dB/(m·sqrt(GHz))")), Temperature: ptr(units.Celsius(25)), Statistic: part.Guaranteed}}}
	return chain.Built{Chain: chain.Chain{Name: "test jumper", LeftPlane: "mating plane of the near connector", RightPlane: "mating plane of the far connector",
		Elements: []chain.Element{k("near connector"), cable, k("far connector")}}, Roles: []chain.Role{chain.RoleConnector, chain.RoleCable, chain.RoleConnector}}
}

func asked(from, to, loss, vswr float64) enquiry.Enquiry {
	return enquiry.Enquiry{ID: "test", Band: []enquiry.Band{{From: units.Frequency(from), To: units.Frequency(to)}}, Limits: enquiry.Limits{
		InsertionLoss: []enquiry.LossLimit{{AtMost: ptr(units.Level(loss))}}, VSWR: []enquiry.VSWRLimit{{AtMost: vswr}}}}
}

func sweep(from, to float64, n int) []float64 {
	f := make([]float64, n)
	for i := range f {
		f[i] = from + (to-from)*float64(i)/float64(n-1)
	}
	return f
}

// truth is one built copy: where it departs from its datasheets.
type truth struct {
	length       float64    // m of cable
	loss         [3]float64 // share of the datasheet's: near connector, cable, far connector
	near, far    float64    // F: shunt capacitance in the middle of each connector; negative: series inductance of the same reflection
	bead, beadAt float64    // F, m from the left plane
	noise        float64    // standard deviation of either part of every parameter
	velocity     float64    // 0: the datasheet's
}

// make computes the copy's scattering parameters. The lines are causal: the
// skin effect adds as much phase as loss.
func (x truth) make(f []float64, rng *rand.Rand) network.Network {
	v := x.velocity
	if v == 0 {
		v = velocity
	}
	lossy := func(part int, k, length, v float64) network.Network {
		return network.Line(f, 50, func(f float64) (complex128, complex128) {
			a := k * math.Sqrt(f/1e9) / units.DecibelsPerNeper * x.loss[part]
			return complex(a, a+2*math.Pi*f*length/(v*line.C0)), 50
		})
	}
	lump := func(c float64) network.Network {
		if c < 0 {
			return network.Series(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*-c*2500) })
		}
		return network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*c) })
	}
	var row []network.Network
	half := func(part int) { row = append(row, lossy(part, kConnector/2, connectorAir/2, 1)) }
	half(0)
	row = append(row, lump(x.near))
	half(0)
	if x.bead != 0 {
		into := x.beadAt - connectorAir
		row = append(row, lossy(1, kCable*into, into, v), lump(x.bead), lossy(1, kCable*(x.length-into), x.length-into, v))
	} else {
		row = append(row, lossy(1, kCable*x.length, x.length, v))
	}
	half(2)
	row = append(row, lump(x.far))
	half(2)
	n, err := network.Cascade(row...)
	if err != nil {
		panic(err)
	}
	if x.noise > 0 {
		for i := range n.S {
			n.S[i] += complex(x.noise*rng.NormFloat64(), x.noise*rng.NormFloat64())
		}
	}
	return n
}

// capacitance that reflects rho at f on a 50 Ω line, to first order.
func capacitance(rho, f float64) float64 { return rho / (math.Pi * f * 50) }

// good draws a copy within its datasheets: reflections of the connectors up to
// their bound at the top frequency, of either sign.
func good(rng *rand.Rand, length, vswr, top float64) truth {
	c := func() float64 { return (2*rng.Float64() - 1) * capacitance(network.FromVSWR(vswr), top) }
	share := func() float64 { return 0.9 + 0.1*rng.Float64() }
	return truth{length: length + (2*rng.Float64()-1)*0.1e-3, loss: [3]float64{share(), share(), share()}, near: c(), far: c(), noise: 1e-4}
}

func plan(t testing.TB, e enquiry.Enquiry, b chain.Built, o Options) *Plan {
	t.Helper()
	p, err := New(context.Background(), e, b, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func judge(t testing.TB, p *Plan, n network.Network) Report {
	t.Helper()
	r, err := p.Judge(context.Background(), n)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Copies within their datasheets are not suspected: no place along them stands
// out, and they agree with the prediction. The false alarms are counted.
func TestGoodCopiesRaiseNoAlarm(t *testing.T) {
	const top, vswr, copies = 18e9, 1.15, 200
	p := plan(t, asked(0.5e9, top, 1.2, 1.6), jumper(0.2, vswr), Options{})
	rng := rand.New(rand.NewPCG(1, 2))
	f := sweep(10e6, top, 1800)
	places, agree, length, fails, turnedRound := 0, [3]int{}, 0, 0, 0
	for range copies {
		r := judge(t, p, good(rng, 0.2, vswr, top).make(f, rng))
		if r.Along == nil {
			t.Fatal(r.NotAlong)
		}
		if r.Along.Difference != nil {
			places++
		}
		if r.Along.Turned {
			turnedRound++
		}
		for k, a := range r.Agreement {
			if !a.Agrees {
				agree[k]++
			}
		}
		if r.Length.Judged && !r.Length.Agrees {
			length++
		}
		if r.Verdict == assess.Fails {
			fails++
		}
	}
	t.Logf("of %d good copies: a place stands out on %d, outside the band %v, of another length %d, fail %d, look turned %d", copies, places, agree, length, fails, turnedRound)
	if places > copies/100 || turnedRound > 0 || fails > 0 {
		t.Errorf("of %d good copies a place stands out on %d, %d look turned, %d fail", copies, places, turnedRound, fails)
	}
	for k, n := range append(agree[:], length) { // 5 % are the band's own
		if n > copies*8/100 {
			t.Errorf("comparison %d disagrees with %d of %d good copies", k, n, copies)
		}
	}
}

// A bead of too much capacitance is put at 83 mm, under many draws of all the
// rest; the tool must find the place and the kind.
func TestBadBeadIsFound(t *testing.T) {
	const top, vswr, copies = 18e9, 1.15, 60
	p := plan(t, asked(0.5e9, top, 1.2, 1.6), jumper(0.2, vswr), Options{})
	rng := rand.New(rand.NewPCG(3, 4))
	f := sweep(10e6, top, 1800)
	// A bead within the cable's own bound (a VSWR of 1.06 is a reflection of 0.029,
	// and the bead's averages to half its height at 18 GHz) must not be called a
	// fault; twice the bound must be found always.
	for rho, must := range map[float64][2]int{0.05: {0, 0}, 0.1: {copies, copies}, 0.2: {copies, copies}} {
		found, right, sign, worst := 0, 0, 0, 0.0
		for range copies {
			x := good(rng, 0.2, vswr, top)
			x.bead, x.beadAt = capacitance(rho, top), 83e-3
			r := judge(t, p, x.make(f, rng))
			d := r.Along.Difference
			if d == nil {
				continue
			}
			found++
			if d.Name == "cable" && math.Abs(d.Position-83e-3) <= d.Within {
				right++
			}
			if d.Sign == -1 {
				sign++
			}
			worst = math.Max(worst, math.Abs(d.Position-83e-3))
		}
		if found < must[0] || found > must[1] || right < must[0] || sign < must[0]*3/4 {
			t.Errorf("bead of %.2f: found %d, at its place %d, its kind told %d", rho, found, right, sign)
		}
		t.Logf("bead of %.2f at 18 GHz: found %d of %d, at its place %d, worst %.2f mm off, its kind told %d", rho, found, copies, right, 1e3*worst, sign)
	}
}

// A fixture left in the file, a sample that was turned round, too much loss, and
// a copy cut 3 mm too long: each is named for what it is.
func TestPlantedFaults(t *testing.T) {
	const top = 18e9
	b := jumper(0.2, 1.15)
	// The far connector may reflect far more than the near one.
	k := b.Elements[2].(chain.Connector)
	k.Reflection.VSWR = ptr(2.0)
	b.Elements[2] = k
	p := plan(t, asked(0.5e9, top, 1.2, 3), b, Options{})
	rng := rand.New(rand.NewPCG(5, 6))
	f := sweep(10e6, top, 1800)
	lossy, long, fixture, swapped, missed := 0, 0, 0, 0, 0
	const copies = 40
	for range copies {
		x := good(rng, 0.2, 1.15, top)
		y := x
		y.loss[1] = 4
		if r := judge(t, p, y.make(f, rng)); !r.Agreement[0].Agrees && !r.Agreement[0].Above {
			lossy++
		}
		y = x
		y.length += 3e-3
		if r := judge(t, p, y.make(f, rng)); r.Length.Judged && !r.Length.Agrees && math.Abs(r.Length.Metres-3e-3) <= 1e-3 {
			long++
		}
		n, err := network.Cascade(x.make(f, rng), network.Line(f, 50, func(f float64) (complex128, complex128) { return complex(0, 2*math.Pi*f*10e-3/line.C0), 50 }))
		if err != nil {
			t.Fatal(err)
		}
		if r := judge(t, p, n); r.Length.Judged && !r.Length.Agrees {
			fixture++
		}
		y = x
		y.far = capacitance(0.3, top) // within the far connector's bound, beyond the near one's
		right := y.make(f, rng)
		if r := judge(t, p, right); r.Along.Difference != nil {
			missed++
		}
		wrong, err := right.Reorder(1, 0)
		if err != nil {
			t.Fatal(err)
		}
		if r := judge(t, p, wrong); r.Along.Turned {
			swapped++
		}
	}
	t.Logf("of %d each: too much loss %d, 3 mm too long %d, a fixture of 10 mm air %d, turned round %d, wrongly suspected %d", copies, lossy, long, fixture, swapped, missed)
	if lossy < copies || long < copies || fixture < copies || swapped < copies || missed > 0 {
		t.Errorf("of %d each: too much loss %d, 3 mm too long %d, a fixture %d, turned round %d, wrongly suspected %d", copies, lossy, long, fixture, swapped, missed)
	}
}

var long = flag.Bool("long", false, "run the study of planted faults over thousands of copies")

// Thousands of copies: how often a sound one is suspected, and from which size on
// a bead of either kind, anywhere in the cable, is found at its place.
func TestTruthStudy(t *testing.T) {
	if !*long {
		t.Skip("-long")
	}
	const top, vswr = 18e9, 1.15
	p := plan(t, asked(0.5e9, top, 1.2, 1.6), jumper(0.2, vswr), Options{})
	rng := rand.New(rand.NewPCG(11, 12))
	f := sweep(10e6, top, 1800)
	const sound = 3000
	places, agree := 0, [3]int{}
	for range sound {
		r := judge(t, p, good(rng, 0.2, vswr, top).make(f, rng))
		if r.Along.Difference != nil {
			places++
		}
		for k, a := range r.Agreement {
			if !a.Agrees {
				agree[k]++
			}
		}
	}
	t.Logf("%d sound copies: a place stands out on %d; outside the band of S21, S11, S22: %v", sound, places, agree)
	if places > 3 {
		t.Errorf("%d false alarms", places)
	}
	for _, rho := range []float64{0.04, 0.06, 0.08, 0.1, 0.15, 0.2} {
		const copies = 300
		found, right, kind, wrong, worst := 0, 0, 0, 0, 0.0
		for range copies {
			x := good(rng, 0.2, vswr, top)
			sign := 1.0
			if rng.IntN(2) == 0 {
				sign = -1
			}
			x.bead, x.beadAt = sign*capacitance(rho, top), 25e-3+rng.Float64()*175e-3
			d := judge(t, p, x.make(f, rng)).Along.Difference
			if d == nil {
				continue
			}
			found++
			off := math.Abs(d.Position - x.beadAt)
			worst = math.Max(worst, off)
			if off <= d.Within {
				right++
			}
			if float64(d.Sign) == -sign {
				kind++
			}
			if float64(d.Sign) == sign {
				wrong++
			}
		}
		t.Logf("bead of %.2f at the top: found %d of %d, within its stated uncertainty %d, farthest off %.2f mm, kind right %d, wrong %d, else not told", rho, found, copies, right, 1e3*worst, kind, wrong)
		if wrong > 0 {
			t.Errorf("bead of %.2f: its kind is wrong in %d of %d", rho, wrong, copies)
		}
		if rho >= 0.1 && (found < copies || right < copies*99/100) {
			t.Errorf("bead of %.2f: found %d, at its place %d of %d", rho, found, right, copies)
		}
	}
}
