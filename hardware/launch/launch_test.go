package launch

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"linewright/hardware/board"
	"linewright/hardware/part"
	"linewright/internal/refcheck"
	"linewright/physics/line"
	"linewright/physics/units"

	"pgregory.net/rapid"
)

func TestMain(m *testing.M) { refcheck.Main(m, "hardware-launch") }

func mm(x float64) *units.Length { l := units.Length(x * 1e-3); return &l }
func num(x float64) *float64     { return &x }
func whole(x int) *int           { return &x }

const ghzHz = 1e9

func find(t *testing.T, fs []Finding, rule, title string) Finding {
	t.Helper()
	for _, x := range fs {
		if x.Rule == rule && strings.Contains(x.Title+x.Text, title) {
			return x
		}
	}
	t.Fatalf("no finding %s about %q in %+v", rule, title, fs)
	return Finding{}
}

func expect(t *testing.T, x Finding, v Verdict, value, tol float64) {
	t.Helper()
	if x.Verdict != v {
		t.Errorf("%s %s is %v, want %v: %s", x.Rule, x.Title, x.Verdict, v, x.Text)
	}
	if !math.IsNaN(value) && !(math.Abs(x.Value-value) <= tol) {
		t.Errorf("%s %s: value %.5g, want %.5g within %g: %s", x.Rule, x.Title, x.Value, value, tol, x.Text)
	}
}

// The project's launch tables print rounded figures; a tolerance is half the
// last digit.
const table = "rules of launch design, worked figures"

// L1: a pad as a short line. The effective permittivity 2.8 of the first is
// stated with it; the second is taken with the same.
func TestSection(t *testing.T) {
	for _, c := range []struct{ z, mm, f, want, tol float64 }{{14, 2, 6.3, 4.8, 0.05}, {40, 0.5, 28, 19.5, 0.05}, {40, 0.5, 67, 13.8, 0.05}} {
		got := SectionReturnLoss(c.z, c.mm*1e-3, 2.8, c.f*ghzHz)
		refcheck.Record(t, fmt.Sprintf("L1-%g-ohm-%g-GHz", c.z, c.f), "return_loss_dB", table, c.want, got, c.tol)
	}
	// A quarter wave of Z is seen as Z²/50.
	f := line.C0 / (4 * 1e-3 * math.Sqrt(2.8))
	want := 20 * math.Log10((z0*z0+30*30)/(z0*z0-30*30.0))
	if got := SectionReturnLoss(30, 1e-3, 2.8, f); !(math.Abs(got-want) < 1e-9) {
		t.Errorf("quarter wave: %.9g dB, want %.9g", got, want)
	}
}

// L2.
func TestShunt(t *testing.T) {
	for _, c := range []struct{ fF, f, want float64 }{{10, 28, 27}, {10, 67, 20}, {10, 110, 15}, {30, 28, 18}, {30, 67, 10}, {30, 110, 7}} {
		got := ShuntReturnLoss(c.fF*1e-15, c.f*ghzHz)
		refcheck.Record(t, fmt.Sprintf("L2-%g-fF-%g-GHz", c.fF, c.f), "return_loss_dB", table, c.want, got, 0.5)
		if back := AllowedCapacitance(got, c.f*ghzHz); !(math.Abs(back-c.fF*1e-15) < 1e-24) {
			t.Errorf("allowed capacity %.6g F, want %g fF", back, c.fF)
		}
	}
}

// L3: opening the antipad from 0.75 mm to 1.2 mm around a 0.45 mm pad cuts the
// capacity by 2.5. L4: ratios of antipad to barrel for 50 Ω.
func TestVia(t *testing.T) {
	ratio := board.ViaCapacitanceTrend(3.5, 0.6e-3, 0.45e-3, 0.75e-3) / board.ViaCapacitanceTrend(3.5, 0.6e-3, 0.45e-3, 1.2e-3)
	refcheck.Record(t, "L3-ratio", "capacitance_ratio", table, 2.5, ratio, 0.05)
	// The table's 4.8 at permittivity 3.5 is what exp(50√3.5/60) = 4.75 rounds
	// to; with η0/2π = 59.96 it is 4.76.
	for er, want := range map[float64]float64{3.0: 4.2, 3.5: 4.8, 3.66: 4.9} {
		refcheck.Record(t, fmt.Sprintf("L4-%g", er), "antipad_over_barrel", table, want, board.ClearanceRatio(50, er), 0.05)
	}
	in := Input{Top: 28e9, Board: Board{Permittivity: num(3.5)}}
	in.Via = Via{Drill: mm(0.25), Pad: mm(0.45), Antipad: mm(0.75), Length: mm(0.6)}
	expect(t, find(t, Check(in), "L4", ""), Attention, board.ViaImpedance(0.25, 0.75, 3.5), 1e-9)
	in.Via.Antipad = mm(1.2)
	expect(t, find(t, Check(in), "L4", ""), OK, board.ViaImpedance(0.25, 1.2, 3.5), 1e-9)
	expect(t, find(t, Check(in), "L3", ""), OK, board.ViaCapacitanceTrend(3.5, 0.6e-3, 0.45e-3, 1.2e-3)*1e15, 1e-9)
	in.Via.Antipad = mm(0.4)
	expect(t, find(t, Check(in), "L3", ""), Fails, math.NaN(), 0)
}

// L5: the table gives the mean-circumference rule 2c/π(D+d)√εr, which lies
// below the exact root by up to 2.3 % at these ratios; ours is exact.
func TestRingModeLimit(t *testing.T) {
	for _, c := range []struct{ ring, barrel, er, want float64 }{{1.6, 0.25, 3.5, 55}, {1.2, 0.2, 3.5, 73}, {1.0, 0.2, 3.5, 85}, {0.9, 0.15, 3.0, 105}} {
		rule := 2 * line.C0 / (math.Pi * (c.ring + c.barrel) * 1e-3 * math.Sqrt(c.er)) / 1e9
		if !(math.Abs(rule-c.want) <= 0.5) {
			t.Errorf("the rule gives %.4g GHz, the table %g", rule, c.want)
		}
		got, err := RingModeLimit(c.ring*1e-3, c.barrel*1e-3, c.er)
		if err != nil {
			t.Fatal(err)
		}
		refcheck.Record(t, fmt.Sprintf("L5-%g-%g", c.ring, c.barrel), "te11_cutoff_GHz", table+" (mean-circumference rule, up to 2.3 % below the exact root)", c.want, got/1e9, 0.025*c.want)
		if !(got/1e9 > rule) {
			t.Errorf("exact %.5g GHz is not above the rule %.5g", got/1e9, rule)
		}
	}
	// A 1.2 mm ring cannot serve 110 GHz; the ring that Help offers can, at
	// 0.89 of its cutoff.
	in := Input{Top: 110e9, Board: Board{Permittivity: num(3.5)}}
	in.Ring = Ring{Diameter: mm(1.2), Barrel: mm(0.2)}
	expect(t, find(t, Check(in), "L5", ""), Fails, 74.07, 0.01)
	most, ok := largestRing(0.2e-3, 3.5, 60e9)
	if got, err := RingModeLimit(most, 0.2e-3, 3.5); !ok || err != nil || !(math.Abs(got-60e9) < 1e3) {
		t.Errorf("largest ring %g m: %g Hz, %v", most, got, err)
	}
	in.Top = 70e9
	expect(t, find(t, Check(in), "L5", ""), Attention, 74.07, 0.01)
	in.Top = 60e9
	expect(t, find(t, Check(in), "L5", ""), OK, 74.07, 0.01)
}

// L6: four legs 200 mil apart in permittivity 3.8: 21.4 GHz, half a wave of one
// side 15.1 GHz.
func TestLegs(t *testing.T) {
	const side = 5.08e-3
	refcheck.Record(t, "L6-cavity", "resonance_GHz", table, 21.4, board.CavityResonance(side, side, 3.8, 1, 1)/1e9, 0.05)
	refcheck.Record(t, "L6-half-wave", "resonance_GHz", table, 15.1, board.RowResonance(side, 3.8)/1e9, 0.05)
	in := Input{Mount: part.ThroughHole, Board: Board{Permittivity: num(3.8)}}
	in.Legs = Legs{mm(5.08), mm(5.08)}
	for top, v := range map[float64]Verdict{12e9: OK, 18e9: Attention, 26.5e9: Fails} {
		in.Top = units.Frequency(top)
		expect(t, find(t, Check(in), "L6", ""), v, 15.1, 0.05)
	}
}

// L7: resonances, and the stub allowed by three times the top frequency.
func TestStub(t *testing.T) {
	for _, c := range []struct{ mm, want, tol float64 }{{1, 37, 0.5}, {0.5, 75, 0.5}, {0.25, 150, 0.5}} {
		refcheck.Record(t, fmt.Sprintf("L7-%g-mm", c.mm), "resonance_GHz", table, c.want, board.QuarterWave(c.mm*1e-3, 4)/1e9, c.tol)
	}
	for _, c := range []struct{ f, want float64 }{{28, 0.45}, {40, 0.31}, {67, 0.19}, {110, 0.11}} {
		in := Input{Top: units.Frequency(c.f * 1e9), Board: Board{Permittivity: num(3.5)}}
		in.Via = Via{Kind: Through, Stub: mm(1.25)}
		x := find(t, Check(in), "L7", "")
		refcheck.Record(t, fmt.Sprintf("L7-allowed-%g-GHz", c.f), "stub_mm", table, c.want, x.Limit, 0.005)
		if c.f > 50 {
			// A back-drill holds ±0.1 mm: a collision, whose way is blind vias.
			if x.Collision == nil || x.Collision.Makeable != units.Length(0.2e-3) || !strings.Contains(x.Help, "blind") {
				t.Errorf("%g GHz: %+v", c.f, x)
			}
		} else if x.Collision != nil {
			t.Errorf("%g GHz collides: %+v", c.f, x)
		}
	}
	in := Input{Top: 40e9, Board: Board{Permittivity: num(3.5)}}
	for stub, v := range map[float64]Verdict{0.3: OK, 0.5: Attention, 1.0: Fails} {
		in.Via = Via{Kind: Through, Stub: mm(stub)}
		expect(t, find(t, Check(in), "L7", ""), v, stub, 1e-12)
	}
	in.Top, in.Via = 67e9, Via{Kind: Micro}
	expect(t, find(t, Check(in), "L7", ""), OK, 0, 0)
	in.Via = Via{Kind: Through}
	expect(t, find(t, Check(in), "L7", ""), Collides, math.NaN(), 0)
}

// L8, L9, L11, L18: the figures of the table in permittivity 3.0.
func TestWavelengthRules(t *testing.T) {
	for _, c := range []struct{ f, width, pitch float64 }{{28, 3.09, 0.31}, {40, 2.16, 0.22}, {67, 1.29, 0.13}, {77, 1.12, 0.11}, {110, 0.79, 0.08}} {
		in := Input{Top: units.Frequency(c.f * 1e9), Board: Board{Permittivity: num(3)}}
		in.Trace.Kind = board.Coplanar
		fs := Check(in)
		refcheck.Record(t, fmt.Sprintf("L8-%g-GHz", c.f), "row_width_mm", table, c.width, find(t, fs, "L8", "").Limit, 0.005)
		x := find(t, fs, "L9", "twentieth") // all these lie above 25 to 30 GHz: none can be made
		refcheck.Record(t, fmt.Sprintf("L9-%g-GHz", c.f), "pitch_mm", table, c.pitch, x.Value, 0.005)
		if x.Verdict != Collides || x.Collision == nil || x.Collision.Makeable != units.Length(0.35e-3) || !strings.Contains(x.Collision.Way, "staggered") {
			t.Errorf("%g GHz: %+v", c.f, x)
		}
	}
	in := Input{Top: 20e9, Board: Board{Permittivity: num(3)}}
	in.Trace.Kind = board.Coplanar
	for _, x := range Check(in) {
		if x.Verdict == Collides {
			t.Errorf("at 20 GHz a twentieth (%.3g mm) can be drilled: %s", board.FencePitch(20e9, 3, 20)*1e3, x.Text)
		}
	}
	refcheck.Record(t, "L11-0.9-mm", "resonance_GHz", table, 48, board.QuarterWave(0.9e-3, 3)/1e9, 0.5)
	in.Board.Height = mm(0.5)
	refcheck.Record(t, "L18-0.5-mm", "cutoff_GHz", table, 173, find(t, Check(in), "L18", "").Value, 0.5)
}

// The development board with a footprint of another stackup: enquiry D2 of the
// demo.
func d2() Input {
	in := Input{Top: 40e9, Mount: part.EdgeSolder, Board: Board{Permittivity: num(3.0), Height: mm(0.254), Thickness: mm(1.5), Layers: whole(4), Finish: board.NickelGold},
		Footprint: &Footprint{Name: "the footprint we used last year", Height: mm(0.762), Permittivity: num(3.66), Layers: whole(2)}}
	in.Trace.Kind = board.Coplanar
	in.Fence = Fence{RowWidth: mm(2.6), Pitch: mm(1.0)}
	in.Edge.FirstVia = mm(0.9)
	return in
}

func TestDevelopmentBoard(t *testing.T) {
	fs := Check(d2())
	x := find(t, fs, "footprint", "")
	expect(t, x, Refused, 3.0, 1e-9)
	for _, word := range []string{"height ratio 3", "permittivity 3.66, now 3", "the ground is at another distance", "capacity", "2 copper layers, now 4"} {
		if !strings.Contains(x.Text, word) {
			t.Errorf("the refusal does not name %q: %s", word, x.Text)
		}
	}
	if len(x.Redo) != 9 { // all but antipads, signal via and ring: it has no via
		t.Errorf("to redo: %+v", x.Redo)
	}
	if n := len(Redone(Input{Mount: part.VerticalCompression})); n != 10 { // all but relief and set-back
		t.Errorf("a vertical launch redoes %d parameters", n)
	}
	asked := units.Level(20)
	in := d2()
	in.ReturnLoss = &asked
	if a, b := find(t, fs, "L2", ""), find(t, Check(in), "L2", ""); !(math.Abs(a.Limit-AllowedCapacitance(15, 40e9)*1e15) < 1e-9) || !(math.Abs(b.Limit-AllowedCapacitance(20, 40e9)*1e15) < 1e-9) {
		t.Errorf("allowed capacity %.4g fF as usual, %.4g fF for 20 dB", a.Limit, b.Limit)
	}
	x = find(t, fs, "L8", "")
	expect(t, x, Fails, 33.3, 0.05)
	if !strings.Contains(x.Help, "1.97 mm") || !strings.Contains(x.Text, "inside the wanted span") {
		t.Errorf("L8: %s; %s", x.Text, x.Help)
	}
	x = find(t, fs, "L9", "the pitch 1 mm")
	expect(t, x, Attention, 1.0, 1e-12)
	if !(math.Abs(x.Limit-0.433) <= 0.0005) {
		t.Errorf("workable pitch %.4g mm", x.Limit)
	}
	if x := find(t, fs, "L9", "twentieth"); x.Verdict != Collides || !strings.Contains(x.Help, "0.433 mm") {
		t.Errorf("L9: %+v", x)
	}
	expect(t, find(t, fs, "L11", ""), Attention, 48, 0.5)
	x = find(t, fs, "L13", "")
	expect(t, x, Attention, math.NaN(), 0)
	if !(x.Value > 1.2 && x.Value < 5) {
		t.Errorf("nickel raises the resistance by %g", x.Value)
	}
	expect(t, find(t, fs, "L18", ""), OK, 341, 1)
	for _, rule := range []string{"L1", "L2", "L10", "L12", "L14", "L15"} {
		expect(t, find(t, fs, rule, ""), NotAssessed, math.NaN(), 0)
	}
	for _, x := range fs {
		switch x.Rule {
		case "L3", "L4", "L5", "L6", "L7", "L16":
			t.Errorf("%s concerns no edge launch on an outer line", x.Rule)
		}
		if x.Source == "" || x.Standing == "" || x.Text == "" || (x.Verdict != OK && x.Help == "") {
			t.Errorf("%s %s lacks source, text or help: %+v", x.Rule, x.Title, x)
		}
	}
}

// The 81 GHz launch of enquiry D4.
func TestRadarLaunch(t *testing.T) {
	in := Input{Top: 81e9, Mount: part.EdgeClamp, Board: Board{Permittivity: num(3.0), Height: mm(0.127)},
		Connector: &part.BoardConnector{Common: part.Common{ID: "B13E"}, PinDiameter: mm(0.15), RingDiameter: mm(0.9)}}
	in.Trace.Kind = board.Coplanar
	fs := Check(in)
	expect(t, find(t, fs, "L5", ""), OK, 106.67, 0.01)
	x := find(t, fs, "L9", "twentieth")
	expect(t, x, Collides, 0.11, 0.005)
	if !strings.Contains(x.Help, "0.45 mm") || !strings.Contains(x.Help, "two staggered rows") || !(x.Collision.Demanded < x.Collision.Makeable) {
		t.Errorf("L9: %s", x.Help)
	}
	// 1.12 mm is half a wavelength at 77 GHz; at this enquiry's own top, 81 GHz,
	// it is 1.07 mm, and 0.97 mm with the margin.
	x = find(t, fs, "L8", "")
	expect(t, x, NotAssessed, math.NaN(), 0)
	if !(math.Abs(x.Limit-1.0684) <= 5e-4) || !strings.Contains(x.Help, "1.07 mm") {
		t.Errorf("L8: %+v", x)
	}
	in.Fence = Fence{RowWidth: mm(0.95), Pitch: mm(0.45), Rows: whole(2), Drill: mm(0.15)}
	fs = Check(in)
	expect(t, find(t, fs, "L8", ""), OK, 91.1, 0.1)
	expect(t, find(t, fs, "L9", "the pitch 0.45"), OK, 0.45, 1e-12)
	in.Fence.Rows = whole(1)
	expect(t, find(t, Check(in), "L9", "the pitch 0.45"), Attention, 0.45, 1e-12)
	in.Fence.Pitch = mm(1.1)
	expect(t, find(t, Check(in), "L9", "half a wave"), Fails, 1.1, 1e-12)
}

// The same footprint on its own stackup passes; without an identity it is not
// assessed; on a revised one it is refused.
func TestFootprintIdentity(t *testing.T) {
	er := 3.0
	s := board.Stackup{Fabricator: "Invented Boards", Revision: "A", Layers: []board.Layer{
		{Name: "L1", Kind: board.Copper, Use: board.Mixed, Thickness: 35e-6},
		{Kind: board.Core, Thickness: 0.254e-3, Permittivity: &er},
		{Name: "L2", Kind: board.Copper, Use: board.Plane, Thickness: 35e-6}}}
	in := Input{Top: 30e9, Stackup: &s, Footprint: &Footprint{Identity: s.Identity(), Height: mm(0.254), Permittivity: num(3.0), Layers: whole(2)}}
	expect(t, find(t, Check(in), "footprint", ""), OK, math.NaN(), 0)
	in.Footprint.Identity = board.Identity{}
	expect(t, find(t, Check(in), "footprint", ""), NotAssessed, math.NaN(), 0)
	in.Footprint.Identity = s.Identity()
	s.Revision = "B"
	expect(t, find(t, Check(in), "footprint", ""), Refused, math.NaN(), 0)
}

// The remaining rules, each in its verdicts.
func TestOtherRules(t *testing.T) {
	in := d2()
	in.Pad = Pad{Length: mm(1.5), Width: mm(1.2)}
	fs := Check(in)
	x := find(t, fs, "L1", "")
	expect(t, x, Attention, math.NaN(), 0) // a wide pad over a near ground
	expect(t, find(t, fs, "L2", ""), Attention, math.NaN(), 0)
	in.Pad.Ground = mm(0.5) // cleared down to where a 1.2 mm strip is about 50 Ω
	if y := find(t, Check(in), "L1", ""); !(y.Value > x.Value+3) {
		t.Errorf("clearing the ground takes the pad from %.3g to %.3g dB only", x.Value, y.Value)
	}
	in.Trace.Width, in.Trace.Gap = mm(0.58), mm(0.2)
	in.Fence.RowWidth = mm(1.9)
	expect(t, find(t, Check(in), "L10", ""), OK, 50, 5)
	yes, no := true, false
	in.Edge = Edge{Gap: mm(0.02), Plated: &yes}
	in.Mask.Clear = &no
	in.Pin = Pin{Length: mm(0.4), Width: mm(0.3)}
	in.Board.Finish = board.ImmersionSilver
	fs = Check(in)
	for rule, v := range map[string]Verdict{"L11": OK, "L12": OK, "L13": OK, "L14": Attention, "L15": OK, "L17": OK} {
		expect(t, find(t, fs, rule, ""), v, math.NaN(), 0)
	}
	in.Edge.Gap, in.Mask.Clear, in.Pin.Length, in.Top = mm(0.2), &yes, mm(1.27), 67e9
	fs = Check(in)
	for rule, v := range map[string]Verdict{"L12": Attention, "L14": OK, "L15": Attention, "L17": Attention} {
		expect(t, find(t, fs, rule, ""), v, math.NaN(), 0)
	}
	in.Mount = part.VerticalCompression
	if x := find(t, Check(in), "L13", ""); x.Verdict != Attention || !strings.Contains(x.Help, "hard gold") {
		t.Errorf("a clamped pad in silver: %+v", x)
	}
	in.Trace = Trace{Kind: board.Stripline}
	find(t, Check(in), "L16", "")
	if fs := Check(Input{}); len(fs) != 1 || fs[0].Verdict != NotAssessed {
		t.Errorf("without a frequency: %+v", fs)
	}
	for f, want := range map[float64]float64{18e9: 20, 40e9: 15, 67e9: 12, 110e9: 10} {
		if got, ok := ReturnLossTarget(units.Frequency(f)); !ok || float64(got) != want {
			t.Errorf("target at %g GHz: %v", f/1e9, got)
		}
	}
	if _, ok := ReturnLossTarget(120e9); ok {
		t.Error("a target above 110 GHz")
	}
}

// What is drawn against what can be made, and the line on its stackup.
func TestFabrication(t *testing.T) {
	in := Input{Top: 28e9, Board: Board{Permittivity: num(3), Height: mm(0.254), Thickness: mm(1.6)}}
	in.Via = Via{Kind: Through, Drill: mm(0.15), Pad: mm(0.3), Antipad: mm(0.8), Length: mm(1.0), Layers: []ViaLayer{{Layer: "L2", Antipad: mm(0.4)}}}
	in.Fence.Pitch = mm(0.3)
	in.Trace = Trace{Kind: board.Coplanar, Width: mm(0.58), Gap: mm(0.08)}
	var got []string
	for _, x := range Check(in) {
		if x.Rule == "fabrication" {
			got = append(got, x.Title)
			if x.Verdict != Collides || x.Collision == nil || !(x.Collision.Demanded < x.Collision.Makeable) {
				t.Errorf("%+v", x)
			}
		}
	}
	// 0.15 mm is drilled, but not 1.6 mm deep at 8 to 1; the ring is 0.075 mm;
	// the plane of L2 comes within 0.05 mm.
	want := []string{"slot", "pitch", "annular", "registration", "aspect ratio"}
	if len(got) != len(want) {
		t.Fatalf("collisions: %q", got)
	}
	for i := range want {
		if !strings.Contains(got[i], want[i]) {
			t.Errorf("collision %d is %q, want %q", i, got[i], want[i])
		}
	}
	in.Via.Pad = mm(0.1) // smaller than its hole
	if x := find(t, Check(in), "fabrication", "annular"); !(x.Value < 0) {
		t.Errorf("a pad inside its hole: %+v", x)
	}
	in.Via.Pad = mm(0.3)
	// The tight layer governs the via's trend.
	expect(t, find(t, Check(in), "L3", ""), OK, board.ViaCapacitanceTrend(3, 1e-3, 0.3e-3, 0.4e-3)*1e15, 1e-9)

	er := 3.0
	s := board.Stackup{Name: "s", Layers: []board.Layer{
		{Name: "L1", Kind: board.Copper, Use: board.Mixed, Thickness: 17e-6},
		{Kind: board.Core, Thickness: 0.254e-3, Permittivity: &er},
		{Name: "L2", Kind: board.Copper, Use: board.Plane, Thickness: 17e-6}},
		Finish: board.Finish{Kind: board.NickelGold, Plating: []board.Plating{{Metal: "gold", Thickness: 5e-6}, {Metal: "nickel", Thickness: 4e-6}}}}
	in = Input{Top: 28e9, Stackup: &s}
	in.Trace = Trace{Kind: board.Microstrip, Layer: "L1", Width: mm(0.62)}
	expect(t, find(t, Check(in), "L1", "line on this stackup"), OK, 50, 1)
	in.Trace.Width = mm(1.8) // what 0.762 mm of the same material asks for
	expect(t, find(t, Check(in), "L1", "line on this stackup"), Attention, math.NaN(), 0)
	// Under 5 µm of gold, many skin depths, the nickel is not seen: √(58/σ) of gold.
	if x := find(t, Check(in), "L13", ""); !(math.Abs(x.Value-math.Sqrt(58/41.0)) < 0.02) {
		t.Errorf("thick gold: %g times copper", x.Value)
	}
	in.Trace.Layer = "L9"
	expect(t, find(t, Check(in), "L1", "no copper layer"), NotAssessed, math.NaN(), 0)
}

// Whatever a file may hold, the checks end, and each finding says something.
func TestCheckOfAnything(t *testing.T) {
	numbers := []float64{0, -1e-3, 1e-9, 1e-4, 2.5e-4, 1e-3, 3, 1e3, 1e12, math.NaN(), math.Inf(1)}
	rapid.Check(t, func(rt *rapid.T) {
		var fill func(v reflect.Value, name string)
		fill = func(v reflect.Value, name string) {
			switch v.Kind() {
			case reflect.Struct:
				for i := range v.NumField() {
					if f := v.Type().Field(i); f.Name != "Stackup" && f.Name != "Connector" && f.Name != "Footprint" {
						fill(v.Field(i), name+"."+f.Name)
					}
				}
			case reflect.Pointer:
				if rapid.Bool().Draw(rt, name+" stated") {
					v.Set(reflect.New(v.Type().Elem()))
					fill(v.Elem(), name)
				}
			case reflect.Float64:
				v.SetFloat(rapid.SampledFrom(numbers).Draw(rt, name))
			case reflect.String:
				if o, ok := v.Interface().(interface{ Options() []string }); ok && rapid.Bool().Draw(rt, name+" stated") {
					v.SetString(rapid.SampledFrom(o.Options()).Draw(rt, name))
				}
			}
		}
		var in Input
		fill(reflect.ValueOf(&in).Elem(), "in")
		in.Top = units.Frequency(rapid.SampledFrom([]float64{1e9, 40e9, 110e9, math.NaN()}).Draw(rt, "top"))
		for _, x := range Check(in) {
			if x.Rule == "" || x.Title == "" || x.Text == "" {
				rt.Errorf("a finding without words: %+v", x)
			}
			if x.Verdict == OK && math.IsNaN(x.Value) && x.Unit != "" && !math.IsNaN(x.Limit) {
				rt.Errorf("no number passes as ok: %+v", x)
			}
		}
		Estimate(in, []float64{1e9, 2e9}) // must end; its errors are tested elsewhere
	})
}

// The estimate's own limits: one shunt capacity, one section; a bound that no
// reflection exceeds; lossless and reciprocal; a stub's notch where it belongs.
func TestEstimate(t *testing.T) {
	f := make([]float64, 220)
	for i := range f {
		f[i] = float64(i+1) * 0.5e9
	}
	rapid.Check(t, func(rt *rapid.T) {
		draw := func(name string, low, high float64) *units.Length {
			return mm(rapid.Float64Range(low, high).Draw(rt, name))
		}
		in := Input{Top: 110e9, Board: Board{Permittivity: num(rapid.Float64Range(2, 4).Draw(rt, "er")), Height: mm(0.254)}}
		in.Via = Via{Drill: draw("drill", 0.1, 0.25), Pad: draw("pad", 0.3, 0.5), Length: draw("length", 0.1, 1)}
		if rapid.Bool().Draw(rt, "antipad") {
			in.Via.Antipad = draw("antipad", 0.55, 1.5)
		}
		if rapid.Bool().Draw(rt, "stub") {
			in.Via.Stub = draw("stub", 0.05, 0.5)
		}
		if rapid.Bool().Draw(rt, "signal pad") {
			in.Pad = Pad{Length: draw("pad length", 0.2, 1), Width: draw("pad width", 0.2, 1)}
		}
		e, err := Estimate(in, f)
		if err != nil {
			rt.Fatal(err)
		}
		if p := e.Network.Passivity(); !(p.Value <= 1+1e-9) {
			rt.Errorf("gives out power: %v", p)
		}
		for k := range f {
			s11, s21, s12, s22 := e.Network.At(k, 0, 0), e.Network.At(k, 1, 0), e.Network.At(k, 0, 1), e.Network.At(k, 1, 1)
			if !(math.Abs(abs(s11)*abs(s11)+abs(s21)*abs(s21)-1) <= 1e-9) || !(abs(s21-s12) <= 1e-12) {
				rt.Errorf("%g GHz: not lossless or not reciprocal", f[k]/1e9)
			}
			if !(math.Max(abs(s11), abs(s22)) <= e.Bound[k]+1e-9) {
				rt.Errorf("%g GHz: |S11| %.6g above the bound %.6g", f[k]/1e9, abs(s11), e.Bound[k])
			}
		}
		if e.Step != EstimateStep {
			rt.Errorf("step %q", e.Step)
		}
	})
	// A stub of 0.5 mm, effective permittivity 4, shorts the line at 74.95 GHz.
	in := Input{Board: Board{Permittivity: num(3)}}
	in.Via = Via{Drill: mm(0.2), Stub: mm(0.5)}
	e, err := Estimate(in, []float64{1e9, line.C0 / (4 * 0.5e-3 * 2)})
	if err != nil {
		t.Fatal(err)
	}
	if s := abs(e.Network.At(1, 1, 0)); !(s < 1e-9) {
		t.Errorf("the stub passes %g at its resonance", s)
	}
	in.Ring = Ring{Diameter: mm(1.2)}
	in.Board.Permittivity = num(3.5)
	e, err = Estimate(in, []float64{1e9})
	if err != nil || !(math.Abs(e.ModeFree/1e9-74.07) < 0.01) {
		t.Errorf("mode limit %g GHz, %v", e.ModeFree/1e9, err)
	}
	if _, err := Estimate(Input{Board: Board{Permittivity: num(3)}}, f); !errors.Is(err, ErrNothing) {
		t.Errorf("nothing known: %v", err)
	}
	if _, err := Estimate(Input{}, f); !errors.Is(err, ErrNothing) {
		t.Errorf("no permittivity: %v", err)
	}
}
