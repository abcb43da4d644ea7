// Package assess judges one chain against one enquiry: a margin to every limit
// with one of four verdicts, what is not known and what an answer would change,
// which limits cannot be met and why, and the cautions that go with the work.
//
// Each concern (loss, reflection, modes, phase, power ...) has a file of its
// own and adds to one [Report]. None guesses: what is not stated is not
// assessed, and asked.
package assess

import (
	"context"
	"fmt"
	"math"
	"sort"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// Verdict is how a chain stands to one limit.
type Verdict int

// The four verdicts, from good to bad; NotAssessed says that something needed
// is unknown.
const (
	Meets       Verdict = iota // the worst case lies inside
	AtRisk                     // the likely case lies inside, the worst outside; or it rests on typical figures
	NotAssessed                // something needed is unknown
	Fails                      // even the likely case lies outside
)

func (v Verdict) String() string {
	return [...]string{"meets", "at risk", "not assessed", "fails"}[v]
}

// Margin is a chain's distance to one limit. Values are in Unit, as people
// read them; NaN is unknown.
type Margin struct {
	Limit      string // "insertion loss", "return loss of the chain"
	Verdict    Verdict
	Worst      float64 // the value judged: the worst case
	Likely     float64 // the likely case beside it, where there is one
	LimitValue float64
	Margin     float64 // positive: inside
	Unit       string
	At         units.Frequency // where the margin is smallest; 0: everywhere
	Element    string          // the element that binds
	Conditions []Condition
	Source     string
	Why        string // one sentence: what makes the verdict
	Wish       bool   // ranks, but excludes nothing
}

// Condition is one condition of a value.
type Condition struct{ Name, Value string }

// Cause says why a limit cannot be met from the catalogue.
type Cause string

// The causes of a gap.
const (
	Physics     Cause = "physics"       // no part could
	Process     Cause = "process"       // beyond what can be made or held
	NotYetBuilt Cause = "not yet built" // a part could, none is listed
)

// Gap is an unmet demand on one axis, for the record of what a catalogue
// cannot answer.
type Gap struct {
	Axis  string // "frequency", "pitch", "matings"
	Asked string
	Best  string // the nearest thing there is
	Cause Cause
	Needs string // what a part would have to be
}

// Caution is a reminder that goes with the work. It never says that something
// is safe.
type Caution string

// Option is a way out that the engineer may offer.
type Option struct {
	Title  string // "shorten to 338 mm"
	Effect string // what it changes, with numbers
}

// Subject is the chain under judgement, the catalogue it came from, in which
// ways out are looked up, and the stackups and launches that the enquiry may
// name.
type Subject struct {
	chain.Built
	Catalogue catalogue.Catalogue
	Layouts   launch.Layouts
}

// Options steer an assessment; the zero value is sensible.
type Options struct {
	Points int    // of the frequency grid over the band; 0: 201
	Draws  int    // of the random-phase study; 0: 4000
	Seed   uint64 // of every simulation
}

// Report is the judgement.
type Report struct {
	Prediction  chain.Prediction   // at the hottest temperature over the whole band
	States      []chain.Prediction // at the coldest, room and hottest temperatures
	AtRating    *chain.Prediction  // at the chain's own rating, when the band goes a little beyond it
	Margins     []Margin
	Questions   []enquiry.Question
	Gaps        []Gap
	Cautions    []Caution
	Notes       []string // conditions and remarks the numbers rest on
	Ways        []Option // ways out
	Phase       *Phase
	Power       *PowerReport
	Mating      *MatingReport
	Joint       *JointReport
	Density     *DensityReport
	Life        *LifeReport
	Noise       *NoiseReport
	LaunchNotes []LaunchFinding
}

// Verdict returns the report's overall verdict: the worst of its limits,
// wishes apart.
func (r Report) Verdict() Verdict {
	v := Meets
	for _, m := range r.Margins {
		if !m.Wish {
			v = max(v, m.Verdict)
		}
	}
	return v
}

// Binding returns the limit with the least relative margin: where the answer
// breaks first.
func (r Report) Binding() (m Margin, ok bool) {
	least := math.Inf(1)
	for _, x := range r.Margins {
		if x.Wish || math.IsNaN(x.Margin) || x.LimitValue == 0 {
			continue
		}
		if rel := x.Margin / math.Abs(x.LimitValue); rel < least {
			least, m, ok = rel, x, true
		}
	}
	return m, ok
}

func (r *Report) caution(c Caution) {
	for _, x := range r.Cautions {
		if x == c {
			return
		}
	}
	r.Cautions = append(r.Cautions, c)
}

func (r *Report) noteOnce(format string, args ...any) {
	s := fmt.Sprintf(format, args...)
	for _, n := range r.Notes {
		if n == s {
			return
		}
	}
	r.Notes = append(r.Notes, s)
}

// ask adds a question unless one about the same field stands already.
func (r *Report) ask(q enquiry.Question) {
	for _, x := range r.Questions {
		if x.Field == q.Field {
			return
		}
	}
	r.Questions = append(r.Questions, q)
}

// room is the temperature taken as a reference state: that of the datasheets.
var room = units.Celsius(25)

// Temperatures returns the coldest, reference and hottest temperatures that e
// states; a side not stated is the reference, and stated says whether any is.
func Temperatures(e enquiry.Enquiry) (cold, hot units.Temperature, stated bool) {
	cold, hot = room, room
	if t := e.Environment.MinTemperature; t != nil {
		cold, stated = min(*t, room), true
	}
	if t := e.Environment.MaxTemperature; t != nil {
		hot, stated = *t, true
	}
	return cold, hot, stated
}

// Grid returns the frequencies, in Hz, at which e is judged: points over the
// hull of its bands, with every band edge and every corner of a limit in it.
func Grid(e enquiry.Enquiry, points int) []float64 {
	if points < 2 {
		points = 201
	}
	low, high := math.Inf(1), 0.0
	var marks []float64
	for _, b := range e.Band {
		low, high = math.Min(low, float64(b.From)), math.Max(high, float64(b.To))
		marks = append(marks, float64(b.From), float64(b.To))
	}
	if high == 0 {
		return nil
	}
	if low <= 0 {
		low = high / float64(points)
	}
	mark := func(f *units.Frequency) {
		if f != nil {
			marks = append(marks, float64(*f))
		}
	}
	for _, l := range e.Limits.InsertionLoss {
		mark(l.From)
		mark(l.To)
		for _, p := range l.Mask {
			marks = append(marks, float64(p.At))
		}
	}
	for _, l := range e.Limits.ReturnLoss {
		mark(l.From)
		mark(l.To)
		for _, p := range l.Mask {
			marks = append(marks, float64(p.At))
		}
	}
	for _, l := range e.Limits.VSWR {
		mark(l.From)
		mark(l.To)
	}
	f := make([]float64, 0, points+len(marks))
	for i := range points {
		f = append(f, low+(high-low)*float64(i)/float64(points-1))
	}
	f[points-1] = high
	for _, m := range marks {
		if m >= low && m <= high {
			f = append(f, m)
		}
	}
	sort.Float64s(f)
	out := f[:1]
	for _, x := range f[1:] {
		if x > out[len(out)-1]*(1+1e-12) {
			out = append(out, x)
		}
	}
	return out
}

// inBand says whether f lies in one of e's bands.
func inBand(e enquiry.Enquiry, f float64) bool {
	for _, b := range e.Band {
		if f >= float64(b.From)*(1-1e-12) && f <= float64(b.To)*(1+1e-12) {
			return true
		}
	}
	return false
}

// judge holds a judgement while it is made.
type judge struct {
	*Report
	ctx context.Context
	e   enquiry.Enquiry
	s   Subject
	o   Options
}

// Assess judges s against e.
func Assess(ctx context.Context, e enquiry.Enquiry, s Subject, o Options) (Report, error) {
	j := &judge{&Report{}, ctx, e, s, o}
	f := Grid(e, o.Points)
	if len(f) == 0 {
		return Report{}, fmt.Errorf("enquiry %s states no band: nothing can be judged; write band: [{from: 24 GHz, to: 40 GHz}]", e.ID)
	}
	cold, hot, stated := Temperatures(e)
	for _, t := range states(cold, hot) {
		draws := -1 // the study is wanted where loss is greatest, and where reflections are
		if t == hot || t == cold {
			draws = o.Draws
		}
		p, err := s.Chain.Predict(ctx, f, chain.Conditions{Temperature: t}, chain.Options{Draws: draws, Seed: o.Seed})
		if err != nil {
			return Report{}, err
		}
		j.States = append(j.States, p)
		if t == hot {
			j.Prediction = p
		}
	}
	if !stated {
		j.ask(enquiry.Question{Field: "environment.max_temperature", Text: "Between which temperatures does it work?",
			Changes: fmt.Sprintf("all figures stand at %v; conductor loss is 11 %% higher at 85 °C", room)})
	}
	if cold < chain.ColdestMetal && hot >= chain.ColdestMetal {
		j.noteOnce("colder than %v copper's resistance follows no straight line: figures at %v take the losses of %v", chain.ColdestMetal, cold, chain.ColdestMetal)
	}
	for _, row := range j.Prediction.Rows {
		for _, n := range row.Notes {
			j.noteOnce("%s", n.Text)
		}
	}
	for _, concern := range []func(*judge) error{
		(*judge).ratings, (*judge).launches, (*judge).modes, (*judge).losses, (*judge).reflections, (*judge).ripples, (*judge).temperatures, (*judge).massAndPrice, (*judge).namedProperties,
		(*judge).matings, (*judge).joints, (*judge).densities, (*judge).isolations, (*judge).phases, (*judge).powers,
		(*judge).lives, (*judge).noises, (*judge).waveguides,
	} {
		if err := ctx.Err(); err != nil {
			return Report{}, err
		}
		if err := concern(j); err != nil {
			return Report{}, err
		}
	}
	return *j.Report, nil
}

// states lists the distinct temperatures of interest, cold first, hot last.
func states(cold, hot units.Temperature) []units.Temperature {
	out := []units.Temperature{cold}
	if room > cold && room < hot {
		out = append(out, room)
	}
	if hot != cold {
		out = append(out, hot)
	}
	return out
}
