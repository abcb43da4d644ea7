package assess

import (
	"context"
	"math"
	"strings"
	"testing"

	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// launchMM is a length for the enquiries of this file.
func launchMM(x float64) *units.Length { l := units.Length(x * 1e-3); return &l }

// judgeLaunches judges the ends of e with one board connector at each.
func judgeLaunches(t *testing.T, e enquiry.Enquiry, k part.BoardConnector) Report {
	t.Helper()
	piece := chain.Fixed{About: chain.Facts{Name: "launch"}, Delay: math.NaN()}
	s := Subject{Built: chain.Built{Chain: chain.Chain{Elements: []chain.Element{piece, piece}}, Boards: []*part.BoardConnector{&k, &k}}}
	f := Grid(e, 11)
	j := &judge{&Report{}, context.Background(), e, s, Options{}}
	p, err := s.Chain.Predict(j.ctx, f, chain.Conditions{Temperature: room}, chain.Options{Draws: -1})
	if err != nil {
		t.Fatal(err)
	}
	j.Prediction = p
	if err := j.launches(); err != nil {
		t.Fatal(err)
	}
	return *j.Report
}

func launchFinding(t *testing.T, r Report, rule, words string) LaunchFinding {
	t.Helper()
	for _, x := range r.LaunchNotes {
		if x.Rule == rule && strings.Contains(x.Title+x.Text, words) {
			return x
		}
	}
	t.Fatalf("no finding %s about %q", rule, words)
	return LaunchFinding{}
}

// developmentBoard is demo enquiry D2: a footprint of a two-layer board 0.762 mm
// high, permittivity 3.66, on a four-layer board of 0.254 mm and 3.0.
func developmentBoard() enquiry.Enquiry {
	er, old := 3.0, 3.66
	four, two := 4, 2
	end := enquiry.End{Kind: enquiry.Board, Thickness: launchMM(1.5), Finish: "nickel-gold",
		Line:      &enquiry.BoardLine{Kind: "coplanar", Height: launchMM(0.254), Permittivity: &er, Layers: &four},
		Fence:     &enquiry.Fence{RowWidth: launchMM(2.6), Pitch: launchMM(1.0), FirstVia: launchMM(0.9)},
		Footprint: &enquiry.Footprint{Name: "the footprint we used last year", Height: launchMM(0.762), Permittivity: &old, Layers: &two}}
	return enquiry.Enquiry{ID: "d2", Application: enquiry.Application{Class: "5G FR2 development", Volume: enquiry.Pilot},
		Band: []enquiry.Band{{From: 24.25e9, To: 29.5e9}, {From: 37e9, To: 40e9}}, From: end, To: end}
}

// The check values are those of the demo enquiry: 33.3 GHz inside the span, at
// most 1.97 mm, a tenth of the wavelength 0.433 mm, 48 GHz.
func TestLaunchesOfDevelopmentBoard(t *testing.T) {
	r := judgeLaunches(t, developmentBoard(), part.BoardConnector{Mount: part.EdgeSolder})
	x := launchFinding(t, r, "footprint", "")
	if x.End != "both ends" || x.Verdict != launch.Refused || !(math.Abs(x.Value-3) < 1e-9) {
		t.Errorf("the footprint: %+v", x)
	}
	x = launchFinding(t, r, "L8", "")
	if x.Verdict != launch.Fails || !(math.Abs(x.Value-33.3) <= 0.05) || !strings.Contains(x.Help, "1.97 mm") {
		t.Errorf("rows: %+v", x)
	}
	x = launchFinding(t, r, "L9", "the pitch 1 mm")
	if x.Verdict != launch.Attention || !(math.Abs(x.Limit-0.433) <= 0.0005) {
		t.Errorf("pitch: %+v", x)
	}
	x = launchFinding(t, r, "L11", "")
	if x.Verdict != launch.Attention || !(math.Abs(x.Value-48) <= 0.5) {
		t.Errorf("set-back: %+v", x)
	}
	if x := launchFinding(t, r, "L13", ""); x.Verdict != launch.Attention {
		t.Errorf("finish: %+v", x)
	}
	if len(r.Margins) != 1 {
		t.Fatalf("margins %+v", r.Margins)
	}
	if m := r.Margins[0]; m.Verdict != Fails || !(math.Abs(m.Worst-33.3) <= 0.05) || m.LimitValue != 40 || !(math.Abs(m.Margin+6.7) <= 0.05) || m.Unit != "GHz" {
		t.Errorf("margin %+v", m)
	}
	if len(r.Ways) != 1 || !strings.Contains(r.Ways[0].Title, "1.97 mm") {
		t.Errorf("ways out %+v", r.Ways)
	}
	if len(r.Gaps) != 1 || r.Gaps[0].Cause != Process || !strings.Contains(r.Gaps[0].Needs, "0.433 mm") {
		t.Errorf("gaps %+v", r.Gaps)
	}
	want := map[string]bool{"from.line.permittivity_at": true, "from.line.foil": true, "from.mask_clear": true, "from.fabricator": true}
	for _, q := range r.Questions {
		if !want[q.Field] {
			t.Errorf("asks %s", q.Field) // the finish is stated; the far end is asked nothing twice
		}
		delete(want, q.Field)
	}
	if len(want) > 0 {
		t.Errorf("does not ask %v", want)
	}
	notes := strings.Join(r.Notes, "\n")
	for _, words := range []string{"over the air", "to be redone", "2x-thru", "height ratio 3"} {
		if !strings.Contains(notes, words) {
			t.Errorf("no note says %q", words)
		}
	}
	// What the enquiry asks of a launch goes before what is usual: 15 dB at 40 GHz.
	strict, asked := developmentBoard(), units.Level(20)
	strict.Limits.ReturnLoss = []enquiry.ReturnLossLimit{{AtLeast: &asked, Of: enquiry.OfLaunch}}
	usual, tight := launchFinding(t, r, "L2", "").Limit, launchFinding(t, judgeLaunches(t, strict, part.BoardConnector{Mount: part.EdgeSolder}), "L2", "").Limit
	if !(math.Abs(usual-launch.AllowedCapacitance(15, 40e9)*1e15) < 1e-9) || !(math.Abs(tight-launch.AllowedCapacitance(20, 40e9)*1e15) < 1e-9) {
		t.Errorf("allowed capacity %.4g fF as usual, %.4g fF for 20 dB", usual, tight)
	}
	// With the rows drawn in there is no failing margin, and no volume of one
	// asks about conformance.
	e := developmentBoard()
	e.Application.Volume = enquiry.OneOff
	e.From.Fence.RowWidth = launchMM(1.9) // To shares it
	r = judgeLaunches(t, e, part.BoardConnector{Mount: part.EdgeSolder})
	if len(r.Margins) != 1 || r.Margins[0].Verdict != Meets || strings.Contains(strings.Join(r.Notes, "\n"), "over the air") {
		t.Errorf("drawn in: %+v, %q", r.Margins, r.Notes)
	}
}

// Demo enquiry D4 at its own top, 81 GHz: a twentieth of the wavelength,
// 0.11 mm, cannot be drilled; the ring of the 1.35 mm edge connector is
// mode-free to 106.7 GHz (105 by the rule of the mean circumference).
func TestLaunchesOfRadar(t *testing.T) {
	er := 3.0
	end := enquiry.End{Kind: enquiry.Board, Line: &enquiry.BoardLine{Kind: "coplanar", Height: launchMM(0.127), Permittivity: &er}}
	e := enquiry.Enquiry{ID: "d4", Band: []enquiry.Band{{From: 76e9, To: 81e9}}, From: end, To: end}
	k := part.BoardConnector{Common: part.Common{ID: "B13E"}, Mount: part.EdgeClamp, PinDiameter: launchMM(0.15), RingDiameter: launchMM(0.9)}
	r := judgeLaunches(t, e, k)
	x := launchFinding(t, r, "L9", "twentieth")
	if x.Verdict != launch.Collides || !(math.Abs(x.Value-0.11) <= 0.005) || !strings.Contains(x.Help, "0.45 mm") || !strings.Contains(x.Help, "two staggered rows") {
		t.Errorf("fence: %+v", x)
	}
	if len(r.Gaps) != 1 || r.Gaps[0].Cause != Process || !strings.Contains(r.Gaps[0].Asked, "0.11 mm") {
		t.Errorf("gaps %+v", r.Gaps)
	}
	if len(r.Margins) != 1 || r.Margins[0].Verdict != Meets || !(math.Abs(r.Margins[0].Worst-106.7) <= 0.05) || r.Margins[0].LimitValue != 81 {
		t.Errorf("margins %+v", r.Margins)
	}
	// A wider ring fails, with the way to mend it.
	e.From.Ring = &enquiry.Ring{Diameter: launchMM(1.6), Barrel: launchMM(0.25)}
	r = judgeLaunches(t, e, k)
	if len(r.Margins) != 2 || r.Margins[0].Verdict != Fails || r.Margins[0].Element != "launch, from" || len(r.Ways) != 1 {
		t.Errorf("a ring of 1.6 mm: %+v, %+v", r.Margins, r.Ways)
	}
	// Without a board nothing is judged, and it is asked for, once.
	e = enquiry.Enquiry{ID: "bare", Band: e.Band, From: enquiry.End{Kind: enquiry.Board}, To: enquiry.End{Kind: enquiry.Port}}
	r = judgeLaunches(t, e, k)
	if len(r.Margins) != 0 || len(r.Questions) != 1 || r.Questions[0].Field != "from.stackup" {
		t.Errorf("bare: %+v, %+v", r.Margins, r.Questions)
	}
	e.From.Line = &enquiry.BoardLine{Kind: "coplanar"}
	r = judgeLaunches(t, e, k)
	if len(r.Margins) != 0 || len(r.Questions) == 0 || r.Questions[0].Field != "from.line.permittivity" {
		t.Errorf("a line without a board: %+v, %+v", r.Margins, r.Questions)
	}
	// Two ports have no launch at all.
	e.From.Kind = enquiry.Port
	if r = judgeLaunches(t, e, k); len(r.LaunchNotes) != 0 || len(r.Questions) != 0 || len(r.Notes) != 0 {
		t.Errorf("ports: %+v", r)
	}
}
