package enquiry

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"linewright/hardware/part"
	"linewright/physics/units"
)

func ptr[T any](x T) *T { return &x }

func says(cs []Contradiction, words string) bool {
	for _, c := range cs {
		if strings.Contains(c.Text, words) && c.Help != "" && len(c.Fields) > 0 {
			return true
		}
	}
	return false
}

// 10 ps at 28 GHz is 101 degrees, 5 degrees there is 0.50 ps: trade's notes
// 1.2.
func TestDelayAgainstPhase(t *testing.T) {
	e := Enquiry{Band: []Band{{From: 26e9, To: 28e9}}, Match: &Match{Delay: ptr(units.Time(10e-12)), Phase: ptr(units.Must[units.Angle]("5 deg"))}}
	cs := e.Contradictions()
	if !says(cs, "10 ps at 28 GHz is 101 deg") || !says(cs, "0.496 ps") {
		t.Errorf("10 ps against 5 deg gives %v", cs)
	}
	e.Match.Phase = ptr(units.Must[units.Angle]("101 deg"))
	if cs := e.Contradictions(); len(cs) != 0 {
		t.Errorf("10 ps and 101 deg at 28 GHz agree, but: %v", cs)
	}
}

func TestContradictions(t *testing.T) {
	for name, c := range map[string]struct {
		e     Enquiry
		words string
	}{
		"band":       {Enquiry{Band: []Band{{From: 40e9, To: 24e9}}}, "the band runs from 40 GHz to 24 GHz"},
		"mode":       {Enquiry{Band: []Band{{From: 1e9, To: 40e9}}, ModeFreeTo: ptr(units.Frequency(30e9))}, "mode-free to 30 GHz"},
		"range":      {Enquiry{Environment: Environment{MinTemperature: ptr(units.Celsius(85)), MaxTemperature: ptr(units.Celsius(-40))}}, "from 85 °C to -40 °C"},
		"gradient":   {Enquiry{Environment: Environment{MinTemperature: ptr(units.Celsius(20)), MaxTemperature: ptr(units.Celsius(30)), Gradient: ptr(units.Difference(50))}}, "differ by 50 K"},
		"vacuum":     {Enquiry{Environment: Environment{Vacuum: ptr(true), Pressure: ptr(units.Pressure(101325))}}, "vacuum is asked"},
		"set":        {Enquiry{Lines: ptr(4), Match: &Match{SetSize: ptr(8)}}, "8 among 4 lines"},
		"vswr":       {Enquiry{Limits: Limits{VSWR: []VSWRLimit{{AtMost: 1.3}}, ReturnLoss: []ReturnLossLimit{{AtLeast: ptr(units.Level(25))}}}}, "VSWR 1.3 is a return loss of 17.7 dB"},
		"loss":       {Enquiry{Limits: Limits{InsertionLoss: []LossLimit{{}}}}, "without a figure"},
		"field":      {Enquiry{Lines: ptr(64), Field: &Field{Pitch: ptr(units.Length(10e-3)), Width: ptr(units.Length(50e-3)), Height: ptr(units.Length(50e-3))}}, "64 lines at a pitch of 10 mm do not fit"},
		"inch":       {Enquiry{Lines: ptr(9), Field: &Field{Pitch: ptr(units.Length(0.138e-3)), Width: ptr(units.Length(12e-3)), Height: ptr(units.Length(12e-3))}}, "read in inches it is 3.505 mm"},
		"solderless": {Enquiry{From: End{Kind: Board, Solderless: ptr(true), Mounts: []part.Mount{part.EdgeSolder}}}, "every mount it allows is soldered"},
		"gender":     {Enquiry{To: End{Kind: Port, Port: &part.Face{Gender: part.Male}, Presents: &part.Face{Gender: part.Male}}}, "a male face cannot mate with the male port"},
		"bullet":     {Enquiry{Path: Path{Through: ThroughBullet}, From: End{Kind: Port}}, "the path is a bullet"},
		"moving":     {Enquiry{Path: Path{Construction: part.SemiRigid, Moving: ptr(true)}}, "semi-rigid"},
		"length":     {Enquiry{Path: Path{Length: ptr(units.Length(-1))}}, "a length of -1 m"},
		"lines":      {Enquiry{Lines: ptr(0)}, "0 lines"},
		"power":      {Enquiry{Power: &Power{Average: ptr(units.Power(-5))}}, "an average power of -5 W"},
		"peak":       {Enquiry{Power: &Power{Average: ptr(units.Power(5)), Peak: ptr(units.Power(2))}}, "a peak power of 2 W below the average of 5 W"},
		"load":       {Enquiry{Power: &Power{LoadVSWR: ptr(0.5)}}, "a load VSWR of 0.5"},
		"altitude":   {Enquiry{Environment: Environment{Altitude: ptr(units.Length(-5000))}}, "an altitude of -5000 m"},
		"return":     {Enquiry{Limits: Limits{ReturnLoss: []ReturnLossLimit{{AtLeast: ptr(units.Level(-15))}}}}, "written positive"},
		"currency":   {Enquiry{Limits: Limits{Price: &units.Money{Micros: 30e6, Currency: "USD"}}, Commercial: Commercial{Currency: "EUR"}}, "USD, and EUR as the currency"},
		"port":       {Enquiry{From: End{Kind: Port, Stackup: "x"}}, "from is a port"},
	} {
		if cs := c.e.Contradictions(); !says(cs, c.words) {
			t.Errorf("%s: want a contradiction naming %q, got %v", name, c.words, cs)
		}
	}
}

// What is left out is asked; what is stated is not.
func TestQuestions(t *testing.T) {
	has := func(e Enquiry, field string) bool {
		for _, q := range e.Questions() {
			if q.Field == field {
				if q.Text == "" || q.Changes == "" {
					t.Errorf("%s: the question lacks words", field)
				}
				return true
			}
		}
		return false
	}
	var e Enquiry
	for _, f := range []string{"band", "from.kind", "handling.matings", "commercial.quantity"} {
		if !has(e, f) {
			t.Errorf("an empty enquiry does not raise %s", f)
		}
	}
	e = Enquiry{Unknown: []string{"environment.altitude"}, Band: []Band{{1e9, 2e9}}, Power: &Power{}, Match: &Match{}, Path: Path{Through: ThroughCable}}
	for _, f := range []string{"environment.altitude", "power.load_vswr", "match.kind", "match.set_size", "environment.gradient", "path.length", "mode_free_to"} {
		if !has(e, f) {
			t.Errorf("%s is not asked", f)
		}
	}
	n := 0
	for _, q := range e.Questions() {
		if q.Field == "environment.altitude" {
			n++
		}
	}
	if n != 1 {
		t.Errorf("one field is asked %d times", n)
	}
	e.Path.Length, e.Environment.Gradient = ptr(units.Length(1)), ptr(units.Difference(10))
	if has(e, "path.length") || has(e, "environment.gradient") {
		t.Error("what is stated is asked again")
	}
}

// Delay and phase that come from one another never contradict.
func TestAgreementIsSilent(t *testing.T) {
	const seed = 11
	r := rand.New(rand.NewPCG(seed, 0))
	for range 1000 {
		f := 1e9 + 100e9*r.Float64()
		ps := 0.1e-12 + 100e-12*r.Float64()
		e := Enquiry{Band: []Band{{units.Frequency(f / 2), units.Frequency(f)}}, Match: &Match{Delay: ptr(units.Time(ps)), Phase: ptr(units.Angle(2 * 3.141592653589793 * f * ps))}}
		if cs := e.Contradictions(); len(cs) > 0 {
			t.Fatalf("seed %d: %g s and its phase at %g Hz: %v", seed, ps, f, cs)
		}
	}
}

// A match in millimetres against one in picoseconds or degrees: 0.05 mm is
// 0.17 ps of air and 0.33 ps of a line half as fast, never 3 ps; 0.1 mm of
// velocity factor 0.84 is 11 deg at 77 GHz and 5.6 deg at 39 (F19 of the trade's notes).
func TestLengthAgainstDelay(t *testing.T) {
	mm := func(x float64) *units.Length { return ptr(units.Length(x * 1e-3)) }
	e := Enquiry{Band: []Band{{From: 26e9, To: 77e9}}, Match: &Match{Length: mm(0.05), Delay: ptr(units.Time(3e-12))}}
	if cs := e.Contradictions(); !says(cs, "between 0.167 and 0.334 ps, but 3 ps is asked") {
		t.Errorf("0.05 mm against 3 ps gives %v", cs)
	}
	e.Match = &Match{Length: mm(0.1), Phase: ptr(units.Must[units.Angle]("11 deg"))}
	if cs := e.Contradictions(); len(cs) != 0 {
		t.Errorf("0.1 mm and 11 deg at 77 GHz agree, but: %v", cs)
	}
	e.Match = &Match{Length: mm(0.1), Phase: ptr(units.Must[units.Angle]("1 deg"))}
	if cs := e.Contradictions(); !says(cs, "but 1 deg at 77 GHz is asked") {
		t.Errorf("0.1 mm against 1 deg at 77 GHz gives %v", cs)
	}
}

// A loss limit at a temperature of its own is a condition, not a
// contradiction; what holds when hot is asked.
func TestLossLimitAtItsTemperature(t *testing.T) {
	e := Enquiry{Environment: Environment{MaxTemperature: ptr(units.Celsius(85))}, Limits: Limits{InsertionLoss: []LossLimit{{AtMost: ptr(units.Level(3)), Temperature: ptr(units.Celsius(25))}}}}
	if cs := e.Contradictions(); len(cs) != 0 {
		t.Errorf("a limit at 25 °C in a range to 85 °C: %v", cs)
	}
	asked := false
	for _, q := range e.Questions() {
		asked = asked || q.Field == "limits.insertion_loss[0].temperature" && strings.Contains(q.Text, "25 °C") && strings.Contains(q.Text, "85 °C")
	}
	if !asked {
		t.Error("the loss when hot is not asked")
	}
}

// A limit whose figure the customer does not know is asked, not contradictory.
func TestUnknownLimit(t *testing.T) {
	e := Enquiry{Band: []Band{{From: 1e9, To: 2e9}}, Limits: Limits{InsertionLoss: []LossLimit{{}}}, Unknown: []string{"limits.insertion_loss.at_most"}}
	if cs := e.Contradictions(); len(cs) > 0 {
		t.Errorf("contradictions %v", cs)
	}
	asked := false
	for _, q := range e.Questions() {
		asked = asked || q.Field == "limits.insertion_loss.at_most"
	}
	if !asked {
		t.Error("the unknown limit is not asked")
	}
}

// In vacuum the altitude is known well enough.
func TestVacuumAsksNoAltitude(t *testing.T) {
	e := Enquiry{Power: &Power{Average: ptr(units.Power(1))}}
	asked := func() bool {
		for _, q := range e.Questions() {
			if q.Field == "environment.altitude" {
				return true
			}
		}
		return false
	}
	if !asked() {
		t.Error("the altitude is not asked with a power")
	}
	if e.Environment.Vacuum = ptr(true); asked() {
		t.Error("the altitude is asked in vacuum")
	}
}

// What is missing is named by the field that is asked.
func TestMissing(t *testing.T) {
	band := []Band{{From: 1e9, To: 2e9}}
	length := ptr(units.Length(0.1))
	for name, c := range map[string]struct {
		e    Enquiry
		want string
	}{
		"nothing stated":     {Enquiry{}, "[band path.length]"},
		"backwards":          {Enquiry{Band: []Band{{From: 2e9, To: 1e9}}, Path: Path{Length: length}}, "[band]"},
		"complete":           {Enquiry{Band: band, Path: Path{Length: length}}, "[]"},
		"length of nothing":  {Enquiry{Band: band, Path: Path{Length: ptr(units.Length(0))}}, "[path.length]"},
		"bullet":             {Enquiry{Band: band, Path: Path{Through: ThroughBullet}}, "[]"},
		"bullet by spacing":  {Enquiry{Band: band, Alignment: &Alignment{Spacing: length}}, "[]"},
		"trace":              {Enquiry{Band: band, Path: Path{Through: ThroughTrace}}, "[from.line.length]"},
		"trace at far board": {Enquiry{Band: band, Path: Path{Through: ThroughTrace}, To: End{Line: &BoardLine{Length: length}}}, "[]"},
		"trace by its loss":  {Enquiry{Band: band, Path: Path{Through: ThroughTrace}, From: End{Line: &BoardLine{Loss: ptr(units.Level(1))}}}, "[]"},
	} {
		got := c.e.Missing()
		if fmt.Sprint(got) != c.want {
			t.Errorf("%s: %v, want %s", name, got, c.want)
		}
		for _, f := range got {
			asked := false
			for _, q := range c.e.Questions() {
				asked = asked || q.Field == f
			}
			if !asked {
				t.Errorf("%s: %s is missing and not asked", name, f)
			}
		}
	}
}
