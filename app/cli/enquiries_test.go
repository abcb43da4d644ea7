package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linewright/app/demo"
	"linewright/app/wire"
)

// answer runs propose on a demo enquiry and reads its JSON.
func answer(t *testing.T, id string) (wire.Answer, string) {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, demo.Files()); err != nil {
		t.Fatal(err)
	}
	var out, errOut bytes.Buffer
	run(context.Background(), []string{"propose", filepath.Join(dir, "enquiries", id+".yaml"), "--json"}, nil, &out, &errOut)
	var a wire.Answer
	if err := json.Unmarshal(out.Bytes(), &a); err != nil {
		t.Fatalf("%s: %v\n%s\n%s", id, err, out.String(), errOut.String())
	}
	return a, out.String()
}

func margin(t *testing.T, p wire.Prediction, limit string) wire.Margin {
	t.Helper()
	for _, m := range p.Margins {
		if m.Limit == limit {
			return m
		}
	}
	var names []string
	for _, m := range p.Margins {
		names = append(names, m.Limit)
	}
	t.Fatalf("%s has no margin %q; it has %s", p.Chain, limit, strings.Join(names, ", "))
	return wire.Margin{}
}

// close fails unless got is within tol of want; a null fails.
func closeTo(t *testing.T, what string, got *float64, want, tol float64) {
	t.Helper()
	if got == nil || !(math.Abs(*got-want) <= tol) {
		x := math.NaN()
		if got != nil {
			x = *got
		}
		t.Errorf("%s is %.5g, want %g ± %g", what, x, want, tol)
	}
}

func lossAt(t *testing.T, p wire.Prediction, celsius, ghz float64, assembly bool) *float64 {
	t.Helper()
	for _, s := range p.States {
		if math.Abs(s.TemperatureC-celsius) < 0.01 && math.Abs(s.FrequencyHz-ghz*1e9) < 1e6 {
			if assembly {
				return s.AssemblyLossDB
			}
			return &s.InsertionLossDB
		}
	}
	t.Errorf("%s has no state at %g °C and %g GHz", p.Chain, celsius, ghz)
	return nil
}

// says fails unless every word group stands somewhere in the document.
func says(t *testing.T, doc string, groups ...string) {
	t.Helper()
	for _, g := range groups {
		if !strings.Contains(doc, g) {
			t.Errorf("nothing in the answer says %q", g)
		}
	}
}

func vswr(rl *float64) *float64 {
	if rl == nil {
		return nil
	}
	rho := math.Pow(10, -*rl/20)
	x := (1 + rho) / (1 - rho)
	return &x
}

// The five demo enquiries and what a good answer to each contains: check
// values worked out independently of this program, in the trade's notes
// section 6.

func TestD1BenchJumpers(t *testing.T) {
	a, doc := answer(t, "d1-bench-jumpers")
	if len(a.Proposals) < 2 {
		t.Fatalf("%d proposals, want two termination options at least", len(a.Proposals))
	}
	p := a.Proposals[0].Prediction
	if got := strings.Join(a.Proposals[0].Parts, " "); got != "K35 CA1 K35" {
		t.Errorf("the first proposal is %s", got)
	}
	options := ""
	for _, q := range a.Proposals {
		options += strings.Join(q.Parts, " ") + "; "
	}
	says(t, options, "KS CA1 KS")
	closeTo(t, "loss at 25 °C", lossAt(t, p, 25, 18, false), 1.955, 0.01)
	closeTo(t, "loss at 40 °C", lossAt(t, p, 40, 18, false), 2.005, 0.01)
	if m := margin(t, p, "insertion loss"); m.Verdict != "meets" {
		t.Errorf("insertion loss %s", m.Verdict)
	}
	m := margin(t, p, "VSWR of the chain")
	if m.Verdict != "at risk" {
		t.Errorf("VSWR is %s: the worst case lies outside, the RSS inside", m.Verdict)
	}
	closeTo(t, "worst VSWR", m.Worst, 1.39, 0.02)
	closeTo(t, "RSS VSWR", m.Likely, 1.21, 0.02)
	closeTo(t, "worst return loss as VSWR", vswr(p.ReturnLossDB.Worst), 1.39, 0.02)
	// The trade's 1.46 leaves the loss out; so does the low end of the band, nearly.
	closeTo(t, "worst VSWR of the band", margin(t, p, "VSWR of the chain, worst of the band").Worst, 1.46, 0.02)
	if a.Outcome == "serve" {
		t.Error("the answer passes what is at risk")
	}
	says(t, doc, "20 working days", "120 working days", "savers", "turn only the nut", "torque")
	if !strings.Contains(strings.ToLower(doc), "phase stability") {
		t.Error("phase stability is not asked back")
	}
}

func TestD2EdgeLaunch(t *testing.T) {
	a, doc := answer(t, "d2-fr2-edge-launch")
	if len(a.Proposals) == 0 {
		t.Fatal("no proposal")
	}
	p := a.Proposals[0].Prediction
	if got := strings.Join(a.Proposals[0].Parts, " "); got != "B29E B29E" {
		t.Errorf("the first proposal is %s", got)
	}
	closeTo(t, "worst chain return loss", p.ReturnLossDB.Worst, 9.6, 0.05)
	closeTo(t, "RSS chain return loss", p.ReturnLossDB.RSS, 12.6, 0.06) // 12.548, printed 12.6
	closeTo(t, "ripple", p.RipplePPDB, 0.48, 0.005)
	closeTo(t, "ripple period", p.RipplePeriodHz, 2.47e9, 0.005e9)
	if m := margin(t, p, "return loss of the chain"); m.Verdict == "meets" {
		t.Error("a chain of two launches of 15 dB is passed as 15 dB")
	}
	says(t, doc, "33.3 GHz", "1.97 mm", "0.433 mm", "48.1 GHz", "refused", "height ratio 3", "nickel", "at its rating with no margin", "B24E (2.4 mm, edge solder) in place of B29E", "2x-thru", "over the air")
	for _, word := range []string{"permittivity", "foil", "mask", "fabricator"} {
		found := false
		for _, q := range a.Questions {
			found = found || strings.Contains(strings.ToLower(q.Text+q.Changes), word)
		}
		if !found {
			t.Errorf("the %s is not asked", word)
		}
	}
}

func TestD3BoardToBoard(t *testing.T) {
	a, doc := answer(t, "d3-board-to-board")
	if len(a.Proposals) == 0 {
		t.Fatal("no proposal")
	}
	p := a.Proposals[0].Prediction
	if got := strings.Join(a.Proposals[0].Parts, " "); got != "P40J-FD P40-137 P40J" {
		t.Errorf("the first proposal is %s: full detent holds the bullet, smooth bore is mated blind", got)
	}
	m := margin(t, p, "return loss of the joint")
	closeTo(t, "return loss of the gap", m.Worst, 18.5, 0.05)
	if m.Verdict != "meets" {
		t.Errorf("the joint %s", m.Verdict)
	}
	r := margin(t, p, "radial offset of the boards")
	closeTo(t, "radial margin", r.Margin, 0.12, 0.005)
	closeTo(t, "radial offset", r.Worst, 0.39, 0.001)
	closeTo(t, "radial offset allowed", r.LimitValue, 0.51, 0.005)
	says(t, doc, "18.3 dB", "45.1 dB", "288 N", "2176 N", "0.05 mm to 0.55 mm", "0.23", "±0.10 mm", "shim", "crushed", "jack-screws", "guide pins", "all at one end")
	// 11.7 mm leaves more than 2 mm, 15.7 mm would crush.
	says(t, doc, "2.05 mm to 2.55 mm")
}

func TestD4RadarSet(t *testing.T) {
	a, doc := answer(t, "d4-radar-cable-set")
	if len(a.NearestMisses) == 0 || len(a.Proposals) != 0 {
		t.Fatalf("%d proposals, %d misses: nothing holds 4 dB at 85 °C", len(a.Proposals), len(a.NearestMisses))
	}
	miss := a.NearestMisses[0]
	if got := strings.Join(miss.Parts, " "); got != "B13E K13 CA4 K13 B13E" {
		t.Errorf("the nearest miss is %s", got)
	}
	p := miss.Prediction
	for celsius, want := range map[float64]float64{-40: 3.29, 25: 3.74, 85: 4.12} {
		closeTo(t, "loss", lossAt(t, p, celsius, 81, true), want, 0.02)
	}
	m := margin(t, p, "insertion loss of the assembly")
	closeTo(t, "loss margin", m.Margin, -0.12, 0.01)
	if m.Verdict != "fails" || margin(t, p, "mode-free limit").Verdict != "meets" {
		t.Errorf("loss %s", m.Verdict)
	}
	says(t, doc, "338 mm", "0.035", "0.141 ps", "11.3 deg", "15 deg", "calibra", "build", "23.7 deg", "71", "route the lines together", "WR-12", "0.45 mm", "two staggered rows")
	ph, _ := p.Phase.(map[string]any)
	chain, _ := ph["chain"].(map[string]any)
	deg, _ := chain["phase_deg"].(float64)
	closeTo(t, "phase length at 79 GHz", &deg, 39570, 5)
	for _, q := range a.NearestMisses {
		for _, part := range q.Parts {
			if part == "CA3" && q.Verdict != "fails" {
				t.Error("CA3, rated to 70 GHz, is allowed at 81 GHz")
			}
		}
	}
	if f := margin(t, p, "phase match as cut"); f.Verdict != "fails" {
		t.Errorf("4 degrees are promised: %s", f.Verdict)
	}
}

func TestD5GangedFixture(t *testing.T) {
	a, doc := answer(t, "d5-ganged-fixture")
	if len(a.NearestMisses) == 0 || len(a.Proposals) != 0 {
		t.Fatalf("%d proposals, %d misses: nothing is rated to 67 GHz at this pitch", len(a.Proposals), len(a.NearestMisses))
	}
	miss := a.NearestMisses[0]
	if got := strings.Join(miss.Parts, " "); got != "K18 CA3 KP65 P65J" {
		t.Errorf("the nearest miss is %s", got)
	}
	p := miss.Prediction
	closeTo(t, "loss at 67 GHz, 25 °C", lossAt(t, p, 25, 67, false), 4.32, 0.01)
	closeTo(t, "loss at 67 GHz, 60 °C", lossAt(t, p, 60, 67, false), 4.57, 0.01)
	closeTo(t, "loss at 65 GHz, 60 °C", lossAt(t, p, 60, 65, false), 4.50, 0.01)
	if m := margin(t, p, "rated frequency"); m.Verdict != "fails" {
		t.Errorf("67 GHz is promised from parts rated to 65: %s", m.Verdict)
	}
	closeTo(t, "pitch there", margin(t, p, "pitch, far end").LimitValue, 6.25, 1e-9)
	says(t, doc, "51.0 dB", "41.9", "48.2 deg", "320 N", "10.00 mm", "4.7", "saver", "interposer", "guarantee it to 65 GHz")
	gap := false
	for _, g := range a.Gaps {
		gap = gap || g.Axis == "frequency" && g.Cause == "not yet built"
	}
	if !gap {
		t.Error("the missing 67 GHz is no gap on record")
	}
}
