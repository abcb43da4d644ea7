package assess

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/line"
	"linewright/physics/units"

	"pgregory.net/rapid"
)

func to[T any](x T) *T { return &x }

// straightPPM is a table of −30 ppm/K about 25 °C, as of the demo catalogue's
// expanded-PTFE cables.
func straightPPM() []part.LengthChange {
	var rows []part.LengthChange
	for _, c := range []float64{-40, 0, 25, 60, 85} {
		rows = append(rows, part.LengthChange{At: units.Celsius(c), Change: units.Ratio(-30e-6 * (c - 25))})
	}
	return rows
}

// trialCable is CA4 of the invented demo catalogue.
func trialCable() part.Cable {
	return part.Cable{
		Common:       part.Common{ID: "CA4", RatedFrequency: to(92 * units.Frequency(1e9)), MaxTemperature: to(units.Celsius(125))},
		Construction: part.Flexible, OuterDiameter: to(units.Length(1.6e-3)), VelocityFactor: to(0.84),
		Core:          part.Core{Diameter: to(units.Length(1.0e-3)), Permittivity: to(1.42), Dielectric: "low-density PTFE"},
		LengthChanges: straightPPM(), CutTolerance: to(units.Length(0.1e-3)),
		Loss: part.Attenuation{K1: to(units.Must[units.RootAttenuation]("0.88 dB/(m·sqrt(GHz))")), K2: to(units.Must[units.LinAttenuation]("0.012 dB/(m·GHz)")), Temperature: to(units.Celsius(25))},
	}
}

func trialConnector(id string) part.CableConnector {
	return part.CableConnector{Common: part.Common{ID: id}, Face: part.Face{Series: "1.35 mm", Gender: part.Male}, Fits: []string{"CA4"},
		Loss: part.Loss{K: to(units.Must[units.RootLevel]("0.035 dB/sqrt(GHz)")), Temperature: to(units.Celsius(25))}}
}

// trial is a cable between two connectors, judged against e.
func trial(t interface{ Fatal(...any) }, e enquiry.Enquiry, length float64, change func(*part.Cable, *part.CableConnector)) Report {
	c, k := trialCable(), trialConnector("K13")
	if change != nil {
		change(&c, &k)
	}
	cat := catalogue.Catalogue{Cables: []part.Cable{c}, CableConnectors: []part.CableConnector{k}}
	b, err := chain.Build(chain.Spec{Name: "trial", Pieces: []chain.PieceSpec{{Part: k.ID}, {Part: c.ID, Length: to(units.Length(length))}, {Part: k.ID}}}, cat)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Assess(context.Background(), e, Subject{Built: b, Catalogue: cat}, Options{Points: 3, Draws: -1})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// radar is what the fourth demo enquiry asks of the phase.
func radar() enquiry.Enquiry {
	return enquiry.Enquiry{ID: "radar", Band: []enquiry.Band{{From: 76e9, To: 81e9}}, Lines: to(7), Application: enquiry.Application{Class: "experimental radar", Function: "local oscillator and signal"},
		Match:       &enquiry.Match{Kind: enquiry.Relative, Phase: to(units.Must[units.Angle]("4 deg")), SetSize: to(7), At: to(units.Frequency(79e9))},
		Environment: enquiry.Environment{MinTemperature: to(units.Celsius(-40)), MaxTemperature: to(units.Celsius(85)), Gradient: to(units.Difference(20))}}
}

func marginOf(t interface{ Fatalf(string, ...any) }, r Report, limit string) Margin {
	for _, m := range r.Margins {
		if m.Limit == limit {
			return m
		}
	}
	t.Fatalf("no margin %q", limit)
	return Margin{}
}

func has(r Report, limit string) bool {
	for _, m := range r.Margins {
		if m.Limit == limit {
			return true
		}
	}
	return false
}

func asks(r Report, field string) bool {
	for _, q := range r.Questions {
		if strings.HasPrefix(q.Field, field) {
			return true
		}
	}
	return false
}

func within(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.5g, want %g ± %g", what, got, want, tol)
	}
}

// Conversions as the trade's notes print them (F19): half the last digit.
func TestElectricalConversions(t *testing.T) {
	for _, c := range []struct{ ghz, want float64 }{{18, 6.5}, {28, 10.1}, {39, 14.0}, {67, 24.1}, {77, 27.7}, {110, 39.6}} {
		p := newPhase(units.Frequency(c.ghz*1e9), line.C0, "of air")
		within(t, fmt.Sprintf("deg per ps at %g GHz", c.ghz), units.In(p.PerPicosecond, "deg"), c.want, 0.05)
	}
	for _, c := range []struct{ factor, want float64 }{{1, 3.34}, {0.84, 3.97}, {0.76, 4.39}, {0.70, 4.77}} { // 3.98, 4.38 and 4.78 in print, from rounded permittivities
		p := newPhase(28e9, c.factor*line.C0, "")
		within(t, fmt.Sprintf("ps/mm at %g", c.factor), units.In(p.PerTenth.Delay, "ps")*10, c.want, 0.005)
	}
	for _, c := range []struct{ ghz, want, tol float64 }{{39, 5.6, 0.05}, {77, 11, 0.5}, {110, 16, 0.5}} {
		within(t, fmt.Sprintf("deg per 0.1 mm of factor 0.84 at %g GHz", c.ghz), newPhase(units.Frequency(c.ghz*1e9), 0.84*line.C0, "").PerTenth.Degrees(), c.want, c.tol)
	}
	p := newPhase(77e9, 0.84*line.C0, "")
	x := p.of(5.0 / 360 / 77e9)
	within(t, "5 deg at 77 GHz, ps", units.In(x.Delay, "ps"), 0.18, 0.005)
	within(t, "5 deg at 77 GHz, mm", units.In(x.Length, "mm"), 0.045, 0.0005)
}

// The radar cable set of the demo enquiries (D4 of the trade's notes).
func TestPhaseRadarSet(t *testing.T) {
	r := trial(t, radar(), 0.35, nil)
	p := r.Phase
	within(t, "phase length, deg", p.Chain.Degrees(), 39570, 5)
	within(t, "limit, ps", units.In(p.Match.Limit.Delay, "ps"), 0.14, 0.005)
	within(t, "limit, mm", units.In(p.Match.Limit.Length, "mm"), 0.035, 0.0005)
	within(t, "cut, deg", p.Match.Cut.Degrees(), 11, 0.5)
	within(t, "60 K, deg", math.Abs(p.States[2].Change.Degrees()), 71, 0.5)
	within(t, "20 K between lines, deg", p.Gradient.Worst.Degrees(), 24, 0.5)
	within(t, "offer, deg", p.Match.Offer.Degrees(), 15, 1e-9)
	if p.Match.Build == nil || !p.Match.Build.Simulated || !(p.Match.Build.Ninety > 7) || !(p.Match.Build.Half <= p.Match.Build.Ninety) {
		t.Errorf("build %+v: a sorted set needs more than the 7 it keeps", p.Match.Build)
	}
	if !p.Match.Calibrate {
		t.Error("24 deg between lines against 4 deg asks for calibration at temperature")
	}
	for _, limit := range []string{"phase match as cut", "phase match, temperature difference between lines"} {
		if m := marginOf(t, r, limit); m.Verdict != Fails {
			t.Errorf("%s: %v, want fails: %s", limit, m.Verdict, m.Why)
		}
	}
	gap := false
	for _, g := range r.Gaps {
		gap = gap || g.Axis == "phase match" && g.Cause == Process
	}
	if !gap {
		t.Error("no gap on the phase match, whose cause is the process")
	}
}

// The fixture of the demo enquiries (D5): 2 ps at 67 GHz, 64 lines.
func TestPhaseFixture(t *testing.T) {
	e := radar()
	e.Band = []enquiry.Band{{From: 0.1e9, To: 67e9}}
	e.Lines = to(64)
	e.Match = &enquiry.Match{Kind: enquiry.Relative, Delay: to(units.Time(2e-12)), SetSize: to(64)}
	e.Environment.Gradient = nil
	r := trial(t, e, 0.6, nil)
	within(t, "2 ps, deg", r.Phase.Match.Limit.Degrees(), 48, 0.5)
	within(t, "2 ps, mm", units.In(r.Phase.Match.Limit.Length, "mm"), 0.50, 0.005)
	within(t, "width of 64, σ", r.Phase.Match.SetWidthSigma, 4.7, 0.05) // F21
	if m := marginOf(t, r, "phase match as cut"); m.Verdict != Meets {
		t.Errorf("as cut: %v: %s", m.Verdict, m.Why)
	}
	if m := marginOf(t, r, "phase match, temperature difference between lines"); m.Verdict != NotAssessed || !asks(r, "environment.gradient") {
		t.Errorf("without a stated difference: %v", m.Verdict)
	}
	within(t, "width of 24, σ", func() float64 {
		e.Match.SetSize = to(24)
		return trial(t, e, 0.6, nil).Phase.Match.SetWidthSigma
	}(), 3.9, 0.05) // F21
}

// The same limit given in degrees, in ps or in mm is the same limit.
func TestMatchUnits(t *testing.T) {
	delay := 0.5e-12
	factor, _ := trialCable().Velocity()
	var got []float64
	for _, m := range []enquiry.Match{{Delay: to(units.Time(delay))}, {Phase: to(units.Angle(2 * math.Pi * 79e9 * delay))}, {Length: to(units.Length(delay * factor * line.C0))}} {
		e := radar()
		m.At = to(units.Frequency(79e9))
		e.Match = &m
		got = append(got, marginOf(t, trial(t, e, 0.35, nil), "phase match as cut").LimitValue)
	}
	for _, x := range got {
		within(t, "limit, deg", x, 360*79e9*delay, 1e-9)
	}
}

func TestPhaseWithoutMatch(t *testing.T) {
	e := radar()
	e.Match = nil
	r := trial(t, e, 0.35, nil)
	if r.Phase == nil || r.Phase.Common == nil || r.Phase.Match != nil || len(r.Phase.Statement) != 0 {
		t.Fatalf("phase without a match: %+v", r.Phase)
	}
	if has(r, "phase match as cut") {
		t.Error("a margin to a match nobody asked")
	}
	within(t, "common drift, ppm", float64(r.Phase.Common.Relative)*1e6, 3750, 1e-6)
}

func TestPhaseUnknowns(t *testing.T) {
	r := trial(t, radar(), 0.35, func(c *part.Cable, _ *part.CableConnector) { c.LengthChanges = nil; c.CutTolerance = nil })
	if m := marginOf(t, r, "phase match, temperature difference between lines"); m.Verdict != NotAssessed {
		t.Errorf("no table: %v", m.Verdict)
	}
	if !asks(r, "catalogue: length_changes") {
		t.Error("the missing table is not asked for")
	}
	if !strings.Contains(r.Phase.Match.CutFrom, "common practice") {
		t.Errorf("the cutting tolerance's origin: %q", r.Phase.Match.CutFrom)
	}
	r = trial(t, radar(), 0.35, func(c *part.Cable, _ *part.CableConnector) { c.VelocityFactor, c.Core.Permittivity = nil, nil })
	if m := marginOf(t, r, "phase match as cut"); m.Verdict != NotAssessed || r.Phase != nil {
		t.Errorf("no velocity: %v, phase %v", m.Verdict, r.Phase)
	}
	r = trial(t, radar(), 0.35, func(c *part.Cable, k *part.CableConnector) {
		c.VelocityFactor, c.Core.Permittivity, k.ElectricalLength = nil, nil, to(units.Length(0.01))
	})
	if m := marginOf(t, r, "phase match as cut"); m.Verdict != NotAssessed || !asks(r, "catalogue: velocity factor") {
		t.Errorf("no velocity of the cable, but delay of the connectors: %v: %s", m.Verdict, m.Why)
	}
}

// A connector's electrical length counts when it is known.
func TestPhaseCountsConnectors(t *testing.T) {
	bare := trial(t, radar(), 0.35, nil).Phase
	full := trial(t, radar(), 0.35, func(_ *part.Cable, k *part.CableConnector) { k.ElectricalLength = to(units.Length(12e-3)) }).Phase
	within(t, "two connectors, ps", units.In(full.Chain.Delay-bare.Chain.Delay, "ps"), 2*12/0.299792458, 1e-6)
	if len(bare.Unknown) != 2 || len(full.Unknown) != 0 {
		t.Errorf("unknown: %v and %v", bare.Unknown, full.Unknown)
	}
}

// F27 of the trade's notes: loss of directivity for 5, 10 and 20 deg rms, and
// the mean error sidelobe of 64 elements at 10 deg.
func TestArrayEffect(t *testing.T) {
	for _, c := range []struct{ deg, loss, tol float64 }{{5, 0.03, 0.005}, {10, 0.13, 0.005}, {20, 0.50, 0.005}} {
		e := radar()
		e.Match, e.Environment.Gradient = nil, nil
		e.Array = &enquiry.Array{Elements: to(64), PhaseError: to(units.Angle(c.deg * math.Pi / 180)), Sidelobe: to(units.Level(30))}
		r := trial(t, e, 0.35, func(p *part.Cable, _ *part.CableConnector) { p.CutTolerance = to(units.Length(1e-9)) })
		within(t, fmt.Sprintf("loss of %g deg", c.deg), float64(r.Phase.Array.Loss), c.loss, c.tol)
		m := marginOf(t, r, "error sidelobes of the array")
		if c.deg == 10 {
			within(t, "mean sidelobe", float64(r.Phase.Array.Sidelobe), -33, 0.5)
			if m.Verdict != AtRisk { // the mean lies inside −30 dB, one array in twenty outside
				t.Errorf("sidelobes: %v, worst %.1f dB", m.Verdict, m.Worst)
			}
		}
	}
}

// What can be promised only shrinks: with length, with the temperature
// difference, with the range; and a larger set is wider and asks for more.
func TestPhaseMoves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := rapid.Float64Range(0.05, 3).Draw(t, "length")
		more := rapid.Float64Range(1.01, 3).Draw(t, "more")
		gradient := rapid.Float64Range(1, 40).Draw(t, "gradient")
		set := rapid.IntRange(2, 40).Draw(t, "set")
		e := radar()
		e.Match.Phase = to(units.Must[units.Angle]("30 deg"))
		e.Match.Tracking = to(true)
		run := func(length, gradient float64, set int) (apart, over, likely float64) {
			e.Environment.Gradient = to(units.Difference(gradient))
			e.Match.SetSize = to(set)
			r := trial(t, e, length, nil)
			return marginOf(t, r, "phase match, temperature difference between lines").Margin, marginOf(t, r, "phase match over temperature").Margin, marginOf(t, r, "phase match as cut").Likely
		}
		a0, o0, l0 := run(length, gradient, set)
		if a, o, _ := run(length*more, gradient, set); !(a < a0 && o < o0) {
			t.Fatalf("longer: margins %g, %g after %g, %g", a, o, a0, o0)
		}
		if a, o, _ := run(length, gradient*more, set); !(a < a0 && o < o0) {
			t.Fatalf("wider apart: margins %g, %g after %g, %g", a, o, a0, o0)
		}
		if _, _, l := run(length, gradient, set+5); !(l > l0) {
			t.Fatalf("a set of %d: %g deg after %g", set+5, l, l0)
		}
	})
}

func TestBuildGrowsWithSet(t *testing.T) {
	last := 0
	for _, n := range []int{4, 8, 16, 32} {
		e := radar()
		e.Match.SetSize = to(n)
		b := trial(t, e, 0.35, nil).Phase.Match.Build
		if b == nil || !(b.Ninety > last) || !(b.Ninety >= n) {
			t.Fatalf("set of %d: %+v after %d", n, b, last)
		}
		last = b.Ninety
	}
}

// A match statement names what is open, and refuses to stand on two figures
// that disagree.
func TestPhaseStatement(t *testing.T) {
	e := radar()
	e.Match.Delay = to(units.Time(1e-12))
	r := trial(t, e, 0.35, nil)
	found := map[string]StatementField{}
	for _, f := range r.Phase.Statement {
		found[f.Name] = f
	}
	for _, name := range []string{"kind", "set size", "match", "frequency", "temperature", "torque", "bend state", "planes", "uncertainty", "tracking over temperature", "gradient", "spares"} {
		if _, ok := found[name]; !ok {
			t.Errorf("the statement lacks %q", name)
		}
	}
	for _, unit := range []string{" deg", " ps", " mm"} {
		if !strings.Contains(found["match"].Value, unit) {
			t.Errorf("match %q lacks %s", found["match"].Value, unit)
		}
	}
	if !found["contradiction"].Open {
		t.Error("4 deg at 79 GHz is 0.14 ps, 1 ps is asked as well: not reported")
	}
}

// An absolute match over temperature carries the whole drift from the
// temperature at which the delay is stored: −30 ppm/K over 60 K and 65 K are
// 71 and 77 deg of 39 570.
func TestAbsoluteOverTemperature(t *testing.T) {
	e := radar()
	e.Match.Kind, e.Match.Tracking = enquiry.Absolute, to(true)
	m := marginOf(t, trial(t, e, 0.35, nil), "phase match over temperature")
	within(t, "drift", m.Likely, 77.2, 0.1)
	within(t, "with the cut", m.Worst, 77.2+11.3, 0.1)
	e.Match.Temperature = to(units.Celsius(85))
	within(t, "from 85 °C", marginOf(t, trial(t, e, 0.35, nil), "phase match over temperature").Likely, 39570*30e-6*125, 0.1)
	r := trial(t, e, 0.35, nil)
	gap := false
	for _, g := range r.Gaps {
		gap = gap || g.Axis == "phase match over temperature"
	}
	if m.Verdict != Fails || !gap || !r.Phase.Match.Calibrate {
		t.Errorf("%v, gap %v: %s", m.Verdict, gap, m.Why)
	}
}

// A range beyond the table is judged, but never promised.
func TestBeyondTheTable(t *testing.T) {
	e := radar()
	e.Match.Phase = to(units.Must[units.Angle]("60 deg"))
	if m := marginOf(t, trial(t, e, 0.35, nil), "phase match, temperature difference between lines"); m.Verdict != Meets {
		t.Errorf("inside the table: %v: %s", m.Verdict, m.Why)
	}
	e.Environment.MaxTemperature = to(units.Celsius(110))
	r := trial(t, e, 0.35, nil)
	if m := marginOf(t, r, "phase match, temperature difference between lines"); m.Verdict != AtRisk || !strings.Contains(m.Why, "guess") {
		t.Errorf("beyond the table: %v: %s", m.Verdict, m.Why)
	}
	if last := r.Phase.States[len(r.Phase.States)-1]; !last.Beyond {
		t.Error("110 °C is beyond the table, and its state does not say so")
	}
}

// A match that tracks over temperature is never promised outright: how far the
// cables of one batch differ in their change stands in no datasheet here.
func TestTrackingAsksTheBatch(t *testing.T) {
	e := radar()
	e.Match.Phase, e.Match.Tracking = to(units.Must[units.Angle]("60 deg")), to(true)
	r := trial(t, e, 0.35, nil)
	if m := marginOf(t, r, "phase match over temperature"); m.Verdict != AtRisk || !asks(r, "catalogue: tracking") {
		t.Errorf("%v: %s", m.Verdict, m.Why)
	}
	e.Environment = enquiry.Environment{Gradient: to(units.Difference(5))}
	if m := marginOf(t, trial(t, e, 0.35, nil), "phase match over temperature"); m.Verdict != AtRisk && m.Verdict != NotAssessed {
		t.Errorf("no range of temperatures: %v", m.Verdict)
	}
}

// A bend changes delay, so its phase goes as the frequency (F26): 4 deg at
// 92 GHz are 3.43 at 79.
func TestFlexure(t *testing.T) {
	e := radar()
	e.Path.Moving = to(true)
	r := trial(t, e, 0.35, func(c *part.Cable, _ *part.CableConnector) { c.FlexPhase = to(units.Must[units.Angle]("4 deg")) })
	within(t, "flexed, deg", marginOf(t, r, "phase match, flexing").Worst, 4*79.0/92, 1e-9)
	if r := trial(t, e, 0.35, nil); !asks(r, "catalogue: flex_phase") || has(r, "phase match, flexing") {
		t.Error("the route moves, no figure for flexing: not asked")
	}
}

// Sorting to a stored delay keeps the share limit/cut of what is built.
func TestAbsoluteBuild(t *testing.T) {
	e := radar()
	e.Match.Kind = enquiry.Absolute
	b := trial(t, e, 0.35, nil).Phase.Match.Build
	within(t, "share", b.AbsoluteShare, 4/11.3, 0.001)
	if !(b.Half >= 19 && b.Half <= 21 && b.Ninety > b.Half) { // 7·11.3/4 = 19.8
		t.Errorf("%+v", b)
	}
}
