package assess

import (
	"context"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/joint"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

func held[T any](x T) *T { return &x }

// pushOn is an invented catalogue of the figures that the trade's notes use for
// their worked board-to-board case.
func pushOn() catalogue.Catalogue {
	common := func(id string) part.Common {
		return part.Common{ID: id, RatedFrequency: held(units.Frequency(40e9)), Source: "invented", Price: &units.Money{}, Mass: held(units.Mass(1e-3))}
	}
	loss := part.Loss{K: held(units.RootLevel(0)), Temperature: held(units.Celsius(25))}
	jack := func(id string, r part.Retention, matings int, engage units.Force) part.BoardConnector {
		return part.BoardConnector{Common: common(id), Face: part.Face{Series: "P", Gender: part.Male, Retention: r}, Mount: part.VerticalSolder, Loss: loss,
			Reflection: part.Reflection{VSWR: held(1.15)},
			Handling:   part.Handling{Matings: &matings, Engage: &engage, Pitch: held(units.Length(4.5e-3)), Isolation: held(units.Level(60))}}
	}
	bullet := func(id string, seated, pivot units.Length) part.Bullet {
		f := part.Face{Series: "P", Gender: part.Female}
		return part.Bullet{Common: common(id), Left: f, Right: f, SeatedSpacing: &seated, PivotLength: &pivot, MaxTilt: held(units.Angle(3 * math.Pi / 180)),
			GapImpedance: held(units.Resistance(70)), Loss: loss, Reflection: part.Reflection{VSWR: held(1.1)}}
	}
	return catalogue.Catalogue{
		Series:          []series.Series{{Name: "P", UsualTop: 40e9, Coupling: "push-on", Pitch: 4.5e-3}},
		BoardConnectors: []part.BoardConnector{jack("smooth", part.SmoothBore, 1000, 9), jack("full", part.FullDetent, 100, 68)},
		Bullets:         []part.Bullet{bullet("short", 11.7e-3, 7.7e-3), bullet("middle", 13.7e-3, 9.7e-3), bullet("long", 15.7e-3, 11.7e-3)},
	}
}

// boardToBoard is that worked case.
func boardToBoard() enquiry.Enquiry {
	mm := func(x float64) *units.Length { return held(units.Length(x * 1e-3)) }
	return enquiry.Enquiry{ID: "case", Band: []enquiry.Band{{From: 27.5e9, To: 31e9}}, From: enquiry.End{Kind: enquiry.Board}, To: enquiry.End{Kind: enquiry.Board},
		Lines: held(32), Limits: enquiry.Limits{ReturnLoss: []enquiry.ReturnLossLimit{{AtLeast: held(units.Level(15)), Of: enquiry.OfJoint}}, Isolation: []enquiry.IsolationLimit{{AtLeast: 50}}},
		Alignment: &enquiry.Alignment{Spacing: mm(14), SpacingTolerance: mm(0.25), PositionTolerance: mm(0.12), BoardTolerance: mm(0.15), BlindMate: held(true)},
		Handling:  enquiry.Handling{Matings: held(100)}}
}

func judged(t testing.TB, e enquiry.Enquiry, cat catalogue.Catalogue, pieces ...chain.PieceSpec) Report {
	t.Helper()
	b, err := chain.Build(chain.Spec{Name: "test", Pieces: pieces}, cat)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Assess(context.Background(), e, Subject{Built: b, Catalogue: cat}, Options{Points: 5, Draws: -1})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func parts(ids ...string) []chain.PieceSpec {
	var out []chain.PieceSpec
	for _, id := range ids {
		out = append(out, chain.PieceSpec{Part: id})
	}
	return out
}

func marginTo(t testing.TB, r Report, limit string) Margin {
	t.Helper()
	for _, m := range r.Margins {
		if strings.HasPrefix(m.Limit, limit) {
			return m
		}
	}
	t.Fatalf("no margin to %q", limit)
	return Margin{}
}

func hasQuestion(r Report, field string) bool {
	for _, q := range r.Questions {
		if q.Field == field {
			return true
		}
	}
	return false
}

func hasWay(r Report, words string) bool {
	for _, w := range r.Ways {
		if strings.Contains(w.Title+" "+w.Effect, words) {
			return true
		}
	}
	return false
}

func hasNote(r Report, words string) bool {
	return strings.Contains(strings.Join(r.Notes, "\n"), words)
}

func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.5g, want %.5g ± %.2g", what, got, want, tol)
	}
}

// The worked board-to-board case of the trade's notes (D3).
func TestJointsWorkedCase(t *testing.T) {
	r := judged(t, boardToBoard(), pushOn(), parts("full", "middle", "smooth")...)
	g := r.Joint
	near(t, "least gap, mm", float64(g.Gap.Least())*1e3, 0.05, 1e-6)
	near(t, "largest gap, mm", float64(g.Gap.Most())*1e3, 0.55, 1e-6)
	top := g.Curve[len(g.Curve)-1]
	near(t, "top of the curve, Hz", float64(top.Frequency), 31e9, 1)
	near(t, "all at one end, dB", top.OneEnd, 18.5, 0.05)
	near(t, "both ends, dB", top.BothEnds, 18.3, 0.05)
	near(t, "0.025 mm, dB", top.LeastHalf, 45, 0.5)
	near(t, "radial worst, mm", float64(g.Radial.Sum)*1e3, 0.39, 1e-6)
	near(t, "radial RSS, mm", float64(g.Radial.RSS)*1e3, 0.23, 0.005)
	near(t, "radial allowed, mm", float64(g.Float)*1e3, 0.51, 0.005)
	m := marginTo(t, r, "radial offset")
	near(t, "radial margin, mm", m.Margin, 0.12, 0.005)
	if m.Verdict != Meets {
		t.Errorf("radial: %v", m.Verdict)
	}
	if g.Opens != joint.RightEnd {
		t.Errorf("the %v opens, want that of the smooth bore", g.Opens)
	}
	if len(g.Forces) != 2 {
		t.Fatalf("%d retention grades, want 2", len(g.Forces))
	}
	near(t, "smooth bore, N", float64(g.Forces[0].Engage), 288, 0)
	near(t, "full detent, N", float64(g.Forces[1].Engage), 2176, 0)
	if !g.Forces[0].Chosen || g.Forces[1].Chosen {
		t.Error("the side mated last is the smooth bore")
	}
	if m := marginTo(t, r, "board spacing"); m.Verdict != Meets {
		t.Errorf("spacing: %v, %s", m.Verdict, m.Why)
	}
	if !hasWay(r, "±0.10 mm in place of ±0.25 mm") {
		t.Error("a margin of 0.05 mm is thin, and no closer spacing is proposed")
	}
	if !hasNote(r, "long crushed") || !hasNote(r, "short gap of 2.05 mm to 2.55 mm") {
		t.Errorf("the other bullets are not told apart: %q", r.Notes)
	}
	if !hasQuestion(r, "alignment.position_tolerance") {
		t.Error("0.39 mm per axis is 0.55 mm in the corner, outside 0.51 mm: whether it is radial is not asked")
	}
	if m := marginTo(t, r, "matings"); m.Verdict != Meets || m.Worst != 1000 {
		t.Errorf("matings: %+v, only the smooth bore is parted", m)
	}
}

// The same with other parts: crushed, too short, full detent on both boards.
func TestJointsOtherParts(t *testing.T) {
	r := judged(t, boardToBoard(), pushOn(), parts("full", "long", "smooth")...)
	if m := marginTo(t, r, "board spacing"); m.Verdict != Fails || !(math.Abs(m.Margin+1.95) <= 1e-6) {
		t.Errorf("15.7 mm between boards at 13.75 mm: %v by %g mm", m.Verdict, m.Margin)
	}
	if !hasWay(r, "bullet middle in place of long") {
		t.Error("the bullet that fits is not proposed")
	}
	r = judged(t, boardToBoard(), pushOn(), parts("full", "short", "smooth")...)
	if m := marginTo(t, r, "return loss of the joint, gap"); m.Verdict != Fails {
		t.Errorf("a gap of 2.55 mm: %v, %s", m.Verdict, m.Why)
	}
	r = judged(t, boardToBoard(), pushOn(), parts("full", "middle", "full")...)
	near(t, "full detent on both, N", float64(r.Joint.Forces[0].Engage), 2176, 0)
	if r.Joint.Opens != joint.EitherEnd {
		t.Errorf("two equal ends, but the %v opens", r.Joint.Opens)
	}
	if m := marginTo(t, r, "return loss of the joint, gap divided"); !(math.Abs(m.Worst-18.3) <= 0.05) {
		t.Errorf("two equal ends: %g dB", m.Worst)
	}
	if m := marginTo(t, r, "matings"); m.Worst != 100 {
		t.Errorf("full detent on both: %g matings", m.Worst)
	}
	cat := pushOn()
	cat.Bullets = cat.Bullets[2:]
	r = judged(t, boardToBoard(), cat, parts("full", "long", "smooth")...)
	if len(r.Gaps) == 0 || r.Gaps[0].Axis != "board spacing" || !strings.Contains(r.Gaps[0].Needs, "13.75 mm") {
		t.Errorf("no bullet fits, and the gap is %+v", r.Gaps)
	}
}

// What is not stated is not assessed, and asked.
func TestJointsAsk(t *testing.T) {
	e := boardToBoard()
	e.Alignment, e.Lines = nil, nil
	r := judged(t, e, pushOn(), parts("full", "middle", "smooth")...)
	for _, limit := range []string{"board spacing", "radial offset"} {
		if m := marginTo(t, r, limit); m.Verdict != NotAssessed {
			t.Errorf("%s: %v", limit, m.Verdict)
		}
	}
	for _, field := range []string{"alignment.spacing", "alignment.position_tolerance", "alignment.board_tolerance", "lines"} {
		if !hasQuestion(r, field) {
			t.Errorf("%s is not asked", field)
		}
	}
	e = boardToBoard()
	e.Alignment.SpacingTolerance = nil
	if m := marginTo(t, judged(t, e, pushOn(), parts("full", "middle", "smooth")...), "board spacing"); m.Verdict != NotAssessed {
		t.Errorf("no tolerance stated: %v", m.Verdict)
	}
	e = boardToBoard()
	e.Alignment.Force = held(units.Force(250))
	r = judged(t, e, pushOn(), parts("full", "middle", "smooth")...)
	if m := marginTo(t, r, "mating force"); m.Verdict != Fails || m.Margin != -38 {
		t.Errorf("288 N against 250 N: %v, %g", m.Verdict, m.Margin)
	}
}

// More tolerance never gives more margin, nor a better verdict.
func TestJointsMonotonic(t *testing.T) {
	cat := pushOn()
	rapid.Check(t, func(t *rapid.T) {
		e := boardToBoard()
		draw := func(name string) units.Length { return units.Length(rapid.Float64Range(0, 0.4e-3).Draw(t, name)) }
		s, p, b, more := draw("spacing"), draw("position"), draw("boards"), draw("more")
		ask := func(s, p, b units.Length) Report {
			e.Alignment = &enquiry.Alignment{Spacing: held(units.Length(14e-3)), SpacingTolerance: &s, PositionTolerance: &p, BoardTolerance: &b}
			bu, err := chain.Build(chain.Spec{Pieces: parts("full", "middle", "smooth")}, cat)
			if err != nil {
				t.Fatal(err)
			}
			j := &judge{&Report{}, context.Background(), e, Subject{Built: bu, Catalogue: cat}, Options{}}
			j.Prediction.Frequency = []float64{27.5e9, 31e9}
			if err := j.joints(); err != nil {
				t.Fatal(err)
			}
			return *j.Report
		}
		loose, tight := ask(s+more, p+more, b+more), ask(s, p, b)
		for k := range tight.Margins {
			x, y := tight.Margins[k], Margin{}
			for _, m := range loose.Margins {
				if m.Limit == x.Limit {
					y = m
				}
			}
			if y.Limit == "" {
				continue // a joint that is crushed or leaves no gap has no return loss
			}
			if !(y.Margin <= x.Margin+1e-9) || y.Verdict < x.Verdict {
				t.Fatalf("%s: %v %g mm with more tolerance, %v %g before", x.Limit, y.Verdict, y.Margin, x.Verdict, x.Margin)
			}
		}
	})
}

// Eight neighbours of −60 dB add to −51 dB in power and −42 dB in amplitude; 63
// to −42 dB in power (D5).
func TestNeighbourSums(t *testing.T) {
	near(t, "8 in power", float64(PowerSum(60, 8)), 51, 0.05)
	near(t, "8 in amplitude", float64(AmplitudeSum(60, 8)), 42, 0.1)
	near(t, "63 in power", float64(PowerSum(60, 63)), 42, 0.05)
	m := marginTo(t, judged(t, boardToBoard(), pushOn(), parts("full", "middle", "smooth")...), "isolation")
	if m.Verdict != AtRisk { // power inside 50 dB, amplitude outside
		t.Errorf("isolation: %v, %s", m.Verdict, m.Why)
	}
	e := boardToBoard()
	e.Limits.Isolation[0].AtLeast = 55
	if m := marginTo(t, judged(t, e, pushOn(), parts("full", "middle", "smooth")...), "isolation"); m.Verdict != Fails {
		t.Errorf("55 dB: %v, %s", m.Verdict, m.Why)
	}
	e.Limits.Isolation[0].AtLeast = 30 // held by the faces, but the launches are not known
	pieces := append([]chain.PieceSpec{{Launch: &chain.LaunchSpec{}}}, parts("full", "middle", "smooth")...)
	r := judged(t, e, pushOn(), pieces...)
	if m := marginTo(t, r, "isolation"); m.Verdict != NotAssessed || !hasQuestion(r, "limits.isolation") {
		t.Errorf("launches unknown: %v, %s", m.Verdict, m.Why)
	}
	cat := pushOn()
	for i := range cat.BoardConnectors {
		cat.BoardConnectors[i].Handling.Isolation = nil
	}
	if m := marginTo(t, judged(t, e, cat, parts("full", "middle", "smooth")...), "isolation"); m.Verdict != NotAssessed {
		t.Errorf("no isolation stated: %v", m.Verdict)
	}
}

// A line of a grid has at most eight neighbours, of a row two; more lines never
// couple less.
func TestNeighbours(t *testing.T) {
	for _, c := range []struct{ lines, columns, rows, want int }{{64, 8, 8, 8}, {8, 8, 1, 2}, {2, 2, 1, 1}, {4, 2, 2, 3}, {6, 3, 2, 5}, {9, 3, 3, 8}} {
		e := enquiry.Enquiry{Lines: &c.lines, Field: &enquiry.Field{Columns: &c.columns, Rows: &c.rows, Width: held(units.Length(1)), Height: held(units.Length(1))}}
		if n, all, ok := neighbours(e); n != c.want || all != c.lines-1 || !ok {
			t.Errorf("%d × %d: %d neighbours of %d others, want %d", c.columns, c.rows, n, all, c.want)
		}
	}
	last := 0
	for n := 2; n < 100; n++ {
		k, _, _ := neighbours(enquiry.Enquiry{Lines: &n})
		if k < last && n > 9 {
			t.Errorf("%d lines: %d neighbours, %d with one fewer", n, k, last)
		}
		last = k
	}
}

// A gap of a matched line reflects nothing, and no infinite figure is shown.
func TestJointsMatchedGap(t *testing.T) {
	cat := pushOn()
	for i := range cat.Bullets {
		cat.Bullets[i].GapImpedance = held(units.Resistance(50))
	}
	r := judged(t, boardToBoard(), cat, parts("full", "middle", "smooth")...)
	for _, s := range append(r.Notes, r.Ways[0].Effect) {
		if strings.Contains(s, "Inf") || strings.Contains(s, "NaN") {
			t.Errorf("%q", s)
		}
	}
}

// The largest gap that the spacing's tolerance opens is the worst case, the
// nominal one the likely: a limit between the two is at risk. By the exact
// section (F32 of the trade's notes) 0.55 mm of 70 ohm returns 18.5 dB at
// 31 GHz, the nominal 0.30 mm more than 23 dB.
func TestJointBetweenNominalAndWorst(t *testing.T) {
	const z = 70.0
	section := func(gap float64) float64 { // input of a section of line between 50 ohm lines
		theta := 2 * math.Pi * 31e9 * gap / 299792458
		x := complex(0, (z/50-50/z)*math.Tan(theta))
		g := x / (2 + complex(0, (z/50+50/z)*math.Tan(theta)))
		return -20 * math.Log10(math.Hypot(real(g), imag(g)))
	}
	near(t, "section of 0.55 mm, dB", section(0.55e-3), 18.5, 0.05)
	for limit, want := range map[float64]Verdict{15: Meets, 20: AtRisk, 25: Fails} {
		e := boardToBoard()
		e.Limits.ReturnLoss[0].AtLeast = held(units.Level(limit))
		pieces := append(parts("full", "middle"), chain.PieceSpec{Gap: &chain.GapSpec{Opening: 0.55e-3, Impedance: z}}, chain.PieceSpec{Part: "smooth"})
		m := marginOf(t, judged(t, e, pushOn(), pieces...), "return loss of the joint")
		near(t, "worst, dB", m.Worst, section(0.55e-3), 1e-6)
		near(t, "likely, dB", m.Likely, section(0.30e-3), 1e-6)
		if m.Verdict != want {
			t.Errorf("limit %g dB: %v, want %v", limit, m.Verdict, want)
		}
	}
}
