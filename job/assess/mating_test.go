package assess

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// bench is an invented catalogue of threaded connectors on one cable.
func bench() catalogue.Catalogue {
	common := func(id string, top units.Frequency) part.Common {
		return part.Common{ID: id, RatedFrequency: &top, Source: "invented", Price: &units.Money{}, Mass: held(units.Mass(5e-3))}
	}
	loss := part.Loss{K: held(units.RootLevel(0)), Temperature: held(units.Celsius(25))}
	plug := func(id, family string, g part.Gender, top units.Frequency, matings int) part.CableConnector {
		return part.CableConnector{Common: common(id, top), Face: part.Face{Series: family, Gender: g}, Fits: []string{"C"}, Loss: loss, Reflection: part.Reflection{VSWR: held(1.15)},
			Handling: part.Handling{Matings: &matings}}
	}
	mm := func(x float64) *units.Length { return held(units.Length(x * 1e-3)) }
	return catalogue.Catalogue{
		Cables: []part.Cable{{Common: part.Common{ID: "C", RatedFrequency: held(units.Frequency(50e9)), Source: "invented", Price: &units.Money{}, Mass: held(units.Mass(46e-3))},
			Construction: part.Flexible, OuterDiameter: mm(4.8), VelocityFactor: held(0.83),
			Loss:       part.Attenuation{Points: []part.AttenuationPoint{{At: 18e9, Loss: 1.4 / units.DecibelsPerNeper}}, Temperature: held(units.Celsius(25))},
			Reflection: part.Reflection{VSWR: held(1.1)}, BendStatic: mm(25), BendDynamic: mm(50), FlexCycles: held(50000)}},
		CableConnectors: []part.CableConnector{plug("sma", "SMA", part.Male, 18e9, 500), plug("p35", "3.5 mm", part.Male, 26.5e9, 3000),
			plug("p29", "2.92 mm", part.Male, 40e9, 500), plug("j29", "2.92 mm", part.Female, 40e9, 500)},
		BoardConnectors: []part.BoardConnector{
			{Common: common("b29", 40e9), Face: part.Face{Series: "2.92 mm", Gender: part.Female}, Mount: part.VerticalCompression, Loss: loss, Reflection: part.Reflection{VSWR: held(1.2)}},
			{Common: common("e29", 40e9), Face: part.Face{Series: "2.92 mm", Gender: part.Female}, Mount: part.EdgeClamp, Loss: loss, Reflection: part.Reflection{VSWR: held(1.2)}, Handling: part.Handling{Pitch: mm(5)}}},
		Adapters: []part.Adapter{{Common: common("saver", 40e9), Left: part.Face{Series: "2.92 mm", Gender: part.Male}, Right: part.Face{Series: "2.92 mm", Gender: part.Female}, Loss: loss,
			Reflection: part.Reflection{VSWR: held(1.15)}, Handling: part.Handling{Matings: held(1000)}}},
	}
}

func jumper(near, far string) []chain.PieceSpec {
	return []chain.PieceSpec{{Part: near}, {Part: "C", Length: held(units.Length(1.2))}, {Part: far}}
}

func port(family string, g part.Gender) enquiry.End {
	return enquiry.End{Kind: enquiry.Port, Port: &part.Face{Series: family, Gender: g}}
}

func asked(top units.Frequency, from, to enquiry.End) enquiry.Enquiry {
	return enquiry.Enquiry{ID: "case", Band: []enquiry.Band{{From: 0.5e9, To: top}}, From: from, To: to, Path: enquiry.Path{Through: enquiry.ThroughCable, Length: held(units.Length(1.2))}}
}

// The four grades, at a port and inside the chain. Grades and tops are those of
// package series, with their sources.
func TestMatingsGrades(t *testing.T) {
	cat := bench()
	for _, c := range []struct {
		what       string
		top        units.Frequency
		plug       string
		port       part.Face
		want       Verdict
		margin     float64 // GHz; NaN: none
		noted, way string
	}{
		{"same series", 18e9, "p35", part.Face{Series: "3.5 mm", Gender: part.Female}, Meets, math.NaN(), "", ""},
		{"reduced band, inside", 26.5e9, "p35", part.Face{Series: "2.92 mm", Gender: part.Female}, Meets, 6.5, "", ""},
		{"reduced band, outside", 35e9, "p29", part.Face{Series: "3.5 mm", Gender: part.Female}, Fails, -2, "", ""},
		{"gauge first", 18e9, "sma", part.Face{Series: "2.92 mm", Gender: part.Female}, AtRisk, 0, "Gauge the pin depth", "same interface"},
		{"does not fit", 18e9, "p29", part.Face{Series: "2.4 mm", Gender: part.Female}, Fails, math.NaN(), "", ""},
		{"two males", 18e9, "p35", part.Face{Series: "3.5 mm", Gender: part.Male}, Fails, math.NaN(), "", ""},
	} {
		r := judged(t, asked(c.top, enquiry.End{Kind: enquiry.Port, Port: &c.port}, port("2.92 mm", part.Female)), cat, jumper(c.plug, "p29")...)
		got, margin := Meets, math.NaN()
		for _, m := range r.Margins {
			if m.Limit == "mating of "+c.plug+" with the port" && (len(m.Conditions) == 0 || m.Conditions[0].Value == "near port") {
				got, margin = m.Verdict, m.Margin
			}
		}
		if got != c.want || math.IsNaN(margin) != math.IsNaN(c.margin) || !math.IsNaN(margin) && !(math.Abs(margin-c.margin) <= 1e-6) {
			t.Errorf("%s: %v by %g GHz, want %v by %g", c.what, got, margin, c.want, c.margin)
		}
		all := ""
		for _, x := range r.Cautions {
			all += string(x)
		}
		if !strings.Contains(all, c.noted) || c.way != "" && !hasWay(r, c.way) {
			t.Errorf("%s: cautions %q, ways %v", c.what, r.Cautions, r.Ways)
		}
		if c.want == Fails && c.what != "two males" && len(r.Gaps) == 0 {
			t.Errorf("%s: no gap is recorded", c.what)
		}
	}
}

// An adapter of the catalogue is offered where two faces do not meet.
func TestMatingsBridge(t *testing.T) {
	r := judged(t, asked(18e9, port("2.92 mm", part.Male), port("2.92 mm", part.Female)), bench(), jumper("p29", "p29")...)
	if m := marginTo(t, r, "mating of p29"); m.Verdict != Fails {
		t.Errorf("male on male: %v", m.Verdict)
	}
	// Male to male needs a female to female adapter; the saver is not one.
	if hasWay(r, "adapter saver") {
		t.Error("a male to female saver is offered between two males")
	}
	cat := bench()
	cat.Adapters[0].Left.Gender = part.Female
	if r := judged(t, asked(18e9, port("2.92 mm", part.Male), port("2.92 mm", part.Female)), cat, jumper("p29", "p29")...); !hasWay(r, "adapter saver") {
		t.Error("the adapter that joins two males is not offered")
	}
}

// A port that nobody named is asked; torque comes with its source; look-alikes
// are warned of.
func TestMatingsAsk(t *testing.T) {
	open := enquiry.End{Kind: enquiry.Port, Presents: &part.Face{Gender: part.Male}}
	r := judged(t, asked(18e9, open, open), bench(), jumper("sma", "p35")...)
	if !hasQuestion(r, "from.port") || !hasQuestion(r, "to.port") {
		t.Error("the ports are not asked")
	}
	if len(r.Mating.Torque) != 2 || r.Mating.Torque[0].Source == "" || !hasNote(r, "torque, SMA port") {
		t.Errorf("torque: %+v", r.Mating.Torque)
	}
	if len(r.Mating.Care) == 0 || !hasNote(r, "turn only the nut") {
		t.Error("no care sheet")
	}
	r = judged(t, asked(18e9, enquiry.End{Kind: enquiry.Port, Presents: &part.Face{Gender: part.Female}}, open), bench(), jumper("sma", "p35")...)
	if m := marginTo(t, r, "face shown at the near end"); m.Verdict != Fails {
		t.Errorf("male shown where female is asked: %v", m.Verdict)
	}
}

// D1: at 25 matings a day 500 last 20 working days, 3000 last 120.
func TestLivesInDays(t *testing.T) {
	open := enquiry.End{Kind: enquiry.Port, Presents: &part.Face{Gender: part.Male}}
	e := asked(18e9, open, open)
	e.Handling.MatingsPerDay = held(25.0)
	r := judged(t, e, bench(), jumper("sma", "sma")...)
	near(t, "SMA, days", r.Life.Joints[0].Days, 20, 0)
	near(t, "3.5 mm, days", r.Life.Alternatives[0].Days, 120, 0)
	if r.Life.Alternatives[0].Part != "p35" || !hasWay(r, "p35 (3.5 mm male) in place of sma") || !hasWay(r, "connector savers") {
		t.Errorf("%+v, ways %v", r.Life, r.Ways)
	}
	if !hasQuestion(r, "handling.service") {
		t.Error("how long it must last is not asked")
	}
	e.Handling.Service = held(units.Time(365.25 * 86400))
	m := marginTo(t, judged(t, e, bench(), jumper("sma", "sma")...), "matings")
	if m.Verdict != AtRisk || m.LimitValue != 6250 { // 25 a day over 250 working days
		t.Errorf("a year of 25 a day: %v against %g", m.Verdict, m.LimitValue)
	}
}

// D5: 5000 matings on a face of 500 are never a silent pass: savers or sets.
func TestLivesExceeded(t *testing.T) {
	e := asked(18e9, port("2.92 mm", part.Female), port("2.92 mm", part.Female))
	e.Handling.Matings = held(5000)
	r := judged(t, e, bench(), jumper("p29", "p29")...)
	m := marginTo(t, r, "matings")
	if m.Verdict != AtRisk || m.Margin != -4500 {
		t.Errorf("%v by %g", m.Verdict, m.Margin)
	}
	if !hasWay(r, "saver (1000 matings, 5 of them for 5000)") || !hasWay(r, "replace p29 after every 500 matings") {
		t.Errorf("ways: %v", r.Ways)
	}
	if len(r.Gaps) != 1 || r.Gaps[0].Axis != "matings" || r.Gaps[0].Cause != Process || !strings.Contains(r.Gaps[0].Best, "3000 (p35)") {
		t.Errorf("gaps: %+v", r.Gaps)
	}
	for asked, want := range map[int]Verdict{499: Meets, 500: Meets, 501: AtRisk} {
		e.Handling.Matings = &asked
		if m := marginTo(t, judged(t, e, bench(), jumper("p29", "p29")...), "matings"); m.Verdict != want {
			t.Errorf("%d matings of 500: %v", asked, m.Verdict)
		}
	}
}

// Bend radius by whether the cable moves; what is not stated is asked.
func TestLivesBends(t *testing.T) {
	for _, c := range []struct {
		route  float64 // mm
		moving *bool
		want   Verdict
		asks   bool
	}{
		{30, held(false), Meets, false}, {30, held(true), Fails, false}, {30, nil, AtRisk, true},
		{60, nil, Meets, true}, {20, nil, Fails, true}, {25, held(false), Meets, false},
	} {
		e := asked(18e9, port("2.92 mm", part.Female), port("2.92 mm", part.Female))
		e.Path.BendRadius, e.Path.Moving = held(units.Length(c.route*1e-3)), c.moving
		r := judged(t, e, bench(), jumper("p29", "p29")...)
		if m := marginTo(t, r, "bend radius"); m.Verdict != c.want || hasQuestion(r, "path.moving") != c.asks {
			t.Errorf("%g mm: %v, %s", c.route, m.Verdict, m.Why)
		}
	}
	e := asked(18e9, port("2.92 mm", part.Female), port("2.92 mm", part.Female))
	e.Path.Flexes = held(60000)
	r := judged(t, e, bench(), jumper("p29", "p29")...)
	if m := marginTo(t, r, "flex cycles"); m.Verdict != Fails || m.Margin != -10000 {
		t.Errorf("60 000 flexes of 50 000: %v by %g", m.Verdict, m.Margin)
	}
	if !hasQuestion(r, "path.bend_radius") {
		t.Error("the route is not asked")
	}
	near(t, "straight, mm", float64(r.Life.Bend.Straight)*1e3, 14.4, 1e-9) // 3 diameters of 4.8 mm
	cat := bench()
	cat.Cables[0].Construction, cat.Cables[0].BendDynamic = part.HandFormable, nil
	e.Path.Flexes, e.Path.BendRadius, e.Path.Moving = nil, held(units.Length(0.1)), held(true)
	if m := marginTo(t, judged(t, e, cat, jumper("p29", "p29")...), "bend radius"); m.Verdict != Fails {
		t.Errorf("a hand-formable cable that moves: %v", m.Verdict)
	}
}

// What stands at the chain's ends: a board connector shows its face only where
// nothing of the chain meets it.
func TestOuterFaces(t *testing.T) {
	cat := bench()
	for _, c := range []struct {
		pieces []chain.PieceSpec
		want   string
	}{
		{jumper("p29", "sma"), "0 p29, 1 sma"},
		{append(jumper("p29", "p29"), chain.PieceSpec{Part: "b29"}), "0 p29"},
		{append(append([]chain.PieceSpec{{Part: "b29"}}, jumper("p29", "p29")...), chain.PieceSpec{Part: "b29"}, chain.PieceSpec{Launch: &chain.LaunchSpec{}}), ""},
		{[]chain.PieceSpec{{Part: "b29"}, {Launch: &chain.LaunchSpec{}}, {Trace: &chain.TraceSpec{Length: 0.04}}, {Launch: &chain.LaunchSpec{}}, {Part: "e29"}}, "0 b29, 1 e29"},
		{append(jumper("p29", "p29"), chain.PieceSpec{Part: "saver"}), "0 p29, 1 saver"},
		{append([]chain.PieceSpec{{Part: "saver", Turned: true}}, jumper("p29", "p29")...), "0 saver, 1 p29"},
	} {
		b, err := chain.Build(chain.Spec{Pieces: c.pieces}, cat)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, o := range (Subject{Built: b, Catalogue: cat}).outerFaces() {
			got = append(got, fmt.Sprint(o.end, " ", o.part))
			if o.part == "saver" && o.end == 0 && o.face.Gender != part.Female {
				t.Error("a turned saver shows its right face to the left")
			}
		}
		if s := strings.Join(got, ", "); s != c.want {
			t.Errorf("%q, want %q", s, c.want)
		}
	}
}
