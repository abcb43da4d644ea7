package assess

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// Half-wave grids as tabulated in the trade's notes (F37), computed from c/2f;
// tolerance half the last digit.
func TestHalfWavePitch(t *testing.T) {
	for _, c := range []struct{ ghz, mm, digit float64 }{
		{24.25, 6.2, 0.1}, {28, 5.35, 0.01}, {39, 3.84, 0.01}, {67, 2.24, 0.01}, {77, 1.95, 0.01}, {94, 1.59, 0.01}, {110, 1.36, 0.01},
	} {
		near(t, "half a wavelength, mm", float64(HalfWavePitch(units.Frequency(c.ghz*1e9)))*1e3, c.mm, c.digit/2+1e-9)
	}
}

func field(w, h float64, lines int) enquiry.Enquiry {
	return enquiry.Enquiry{Lines: &lines, Band: []enquiry.Band{{From: 1e9, To: 67e9}}, Field: &enquiry.Field{Width: held(units.Length(w * 1e-3)), Height: held(units.Length(h * 1e-3))}}
}

// D5: 8 × 8 lines in 50 × 50 mm stand 6.25 mm apart.
func TestPitchAvailable(t *testing.T) {
	e := field(50, 50, 64)
	check := func(what string, want float64) {
		t.Helper()
		got, ok := PitchAvailable(e)
		if want == 0 {
			if ok {
				t.Errorf("%s: %v", what, got)
			}
			return
		}
		near(t, what+", mm", float64(got)*1e3, want, 1e-9)
	}
	check("64 in 50 × 50", 6.25)
	e.Field.Columns = held(16)
	check("16 columns", 50.0/16)
	e.Field.Columns, e.Field.Rows = nil, held(4)
	check("4 rows", 50.0/16)
	e.Field.Columns = held(20)
	check("20 × 4, some empty", 2.5)
	e.Field.Columns = held(15)
	check("60 places for 64 lines", 0)
	e.Field.Columns, e.Field.Rows, e.Field.HalfWave = nil, nil, held(true)
	check("half a wavelength at 67 GHz", 299792458.0/(2*67e9)*1e3)
	e.Field = &enquiry.Field{HalfWave: held(true)}
	check("half a wavelength alone", 299792458.0/(2*67e9)*1e3)
	e.Field = &enquiry.Field{Pitch: held(units.Length(4e-3))}
	check("stated", 4)
	e.Field = &enquiry.Field{}
	check("nothing stated", 0)
	e.Field = nil
	check("no field", 0)
}

// The arrangement holds all lines inside the field, and one more line never
// leaves more pitch.
func TestArrangement(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := field(rapid.Float64Range(5, 200).Draw(t, "width"), rapid.Float64Range(5, 200).Draw(t, "height"), rapid.IntRange(1, 300).Draw(t, "lines"))
		pitch, columns, rows, ok := arrangement(e)
		if !ok || columns*rows < *e.Lines || float64(pitch)*float64(columns) > float64(*e.Field.Width)*(1+1e-12) || float64(pitch)*float64(rows) > float64(*e.Field.Height)*(1+1e-12) {
			t.Fatalf("%d × %d at %v for %d lines", columns, rows, pitch, *e.Lines)
		}
		*e.Lines++
		if more, _, _, _ := arrangement(e); !(more <= pitch) {
			t.Fatalf("one more line: %v, before %v", more, pitch)
		}
	})
}

func inField(f enquiry.Field, lines int, top units.Frequency) enquiry.Enquiry {
	e := asked(top, port("2.92 mm", part.Female), enquiry.End{Kind: enquiry.Board})
	f.At = enquiry.FieldTo
	e.Field, e.Lines = &f, &lines
	return e
}

// D5's shape: threaded faces do not fit where push-on ones do, and an edge
// mount stands in one row only.
func TestDensities(t *testing.T) {
	cat := bench()
	square := enquiry.Field{Width: held(units.Length(50e-3)), Height: held(units.Length(50e-3))}
	to := func(id string) []chain.PieceSpec { return append(jumper("p29", "p29"), chain.PieceSpec{Part: id}) }
	r := judged(t, inField(square, 64, 40e9), cat, to("b29")...)
	m := marginTo(t, r, "pitch, far end")
	if m.Verdict != Fails { // 2.92 mm needs 12 mm with wrench room, common practice
		t.Errorf("12 mm in 6.25 mm: %v", m.Verdict)
	}
	near(t, "available, mm", m.LimitValue, 6.25, 1e-9)
	near(t, "needed, mm", m.Worst, 12, 1e-9)
	gap := false
	for _, g := range r.Gaps {
		gap = gap || g.Axis == "pitch" && g.Cause == NotYetBuilt
	}
	if !gap || !hasWay(r, "spread the lines for b29") {
		t.Errorf("gaps %+v, ways %v", r.Gaps, r.Ways)
	}
	if limitsEnd(r, "pitch, near end") {
		t.Error("the near end stands outside the field")
	}
	if m := marginTo(t, judged(t, inField(square, 64, 40e9), cat, to("e29")...), "pitch, far end"); m.Verdict != Fails {
		t.Errorf("an edge mount in eight rows: %v", m.Verdict)
	}
	if m := marginTo(t, judged(t, inField(square, 16, 40e9), cat, to("b29")...), "pitch, far end"); m.Verdict != Meets {
		t.Errorf("12 mm in 12.5 mm: %v", m.Verdict)
	}
	r = judged(t, inField(enquiry.Field{}, 64, 40e9), cat, to("b29")...)
	if m := marginTo(t, r, "pitch, far end"); m.Verdict != NotAssessed || !hasQuestion(r, "field.pitch") {
		t.Errorf("no field stated: %v", m.Verdict)
	}
	// A half-wave grid at 67 GHz is 2.24 mm: below what is made of coax at all.
	r = judged(t, inField(enquiry.Field{HalfWave: held(true)}, 64, 67e9), cat, to("b29")...)
	physics := false
	for _, g := range r.Gaps {
		physics = physics || g.Axis == "pitch" && g.Cause == Physics
	}
	if !physics || !hasWay(r, "over the air") {
		t.Errorf("half-wave grid: gaps %+v, ways %v", r.Gaps, r.Ways)
	}
	// A grid of 3.5 mm at 40 GHz has no part here, but the denser classes of
	// higher bands serve there: it is not physics that stands in the way.
	r = judged(t, inField(enquiry.Field{Pitch: held(units.Length(3.5e-3))}, 64, 40e9), cat, to("b29")...)
	for _, g := range r.Gaps {
		if g.Axis == "pitch" && g.Cause != NotYetBuilt {
			t.Errorf("3.5 mm at 40 GHz is laid to %s: %s", g.Cause, g.Needs)
		}
	}
}

func limitsEnd(r Report, limit string) bool {
	for _, m := range r.Margins {
		if m.Limit == limit {
			return true
		}
	}
	return false
}

// A face that fits the field and falls just short of the band is a gap of both
// together, whatever chain is judged.
func TestDensitiesShortOfBand(t *testing.T) {
	cat := bench()
	near := cat.BoardConnectors[0]
	near.ID, near.RatedFrequency, near.Handling.Pitch = "dense", held(units.Frequency(38e9)), held(units.Length(4e-3))
	cat.BoardConnectors = append(cat.BoardConnectors[:1], near) // without the edge mount, which would fit
	e := inField(enquiry.Field{Pitch: held(units.Length(6e-3))}, 64, 40e9)
	for _, id := range []string{"dense", "b29"} {
		r := judged(t, e, cat, append(jumper("p29", "p29"), chain.PieceSpec{Part: id})...)
		found := 0
		for _, g := range r.Gaps {
			if g.Axis == "pitch" && g.Cause == NotYetBuilt && strings.Contains(g.Best, "dense, rated to 38 GHz") {
				found++
			}
		}
		if found != 1 {
			t.Errorf("%s: %d such gaps in %+v", id, found, r.Gaps)
		}
	}
}

// A cable pushed onto a board in a field of many counts its force (D5: 64 × 5 N).
func TestPushedForce(t *testing.T) {
	cat := pushOn()
	threaded := bench()
	cat.Cables = threaded.Cables
	plug := threaded.CableConnectors[2]
	plug.ID, plug.Face = "kp", part.Face{Series: "P", Gender: part.Female}
	cat.CableConnectors = append(threaded.CableConnectors, plug)
	cat.BoardConnectors[0].Handling.Engage = held(units.Force(5))
	e := inField(enquiry.Field{Pitch: held(units.Length(6.25e-3))}, 64, 31e9)
	r := judged(t, e, cat, append(jumper("p29", "kp"), chain.PieceSpec{Part: "smooth"})...)
	if r.Joint == nil || len(r.Joint.Forces) == 0 {
		t.Fatal("no force")
	}
	near(t, "64 × 5 N", float64(r.Joint.Forces[0].Engage), 320, 0)
	if m := marginTo(t, r, "pitch, far end"); m.Verdict != NotAssessed && m.Verdict != Meets || math.IsNaN(m.LimitValue) {
		t.Errorf("4.5 mm in 6.25 mm: %+v", m)
	}
}
