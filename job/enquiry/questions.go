package enquiry

import (
	"fmt"
	"math"
	"strings"

	"linewright/hardware/part"
	"linewright/internal/spell"
	"linewright/physics/line"
	"linewright/physics/units"
)

// Question is something the enquiry leaves open, with what its answer would
// change.
type Question struct {
	Field   string // the key in the enquiry's file: "environment.max_temperature"
	Text    string
	Changes string
}

// Contradiction is two statements of the enquiry that cannot both hold. It is
// reported, never repaired.
type Contradiction struct {
	Fields []string
	Text   string // with the numbers
	Help   string
}

// top returns the top of the bands, in Hz; 0 when none is stated.
func (e Enquiry) top() float64 {
	top := 0.0
	for _, b := range e.Band {
		top = math.Max(top, float64(b.To))
	}
	return top
}

// Through returns what joins the ends: as stated, or a bullet when a board
// spacing is stated, or a cable.
func (e Enquiry) Through() Through {
	switch {
	case e.Path.Through != "":
		return e.Path.Through
	case e.Alignment != nil && e.Alignment.Spacing != nil:
		return ThroughBullet
	}
	return ThroughCable
}

// Questions returns what the enquiry itself leaves open: what was answered
// with unknown, and what the kind of job needs. Judging a chain raises more.
func (e Enquiry) Questions() []Question {
	var qs []Question
	ask := func(field, text, changes string) {
		for _, q := range qs {
			if q.Field == field {
				return
			}
		}
		qs = append(qs, Question{field, text, changes})
	}
	for _, field := range e.Unknown {
		ask(field, "Still unknown: "+strings.ReplaceAll(field, "_", " "), "it stays open to the end; whatever rests on it is not assessed")
	}
	if len(e.Band) == 0 {
		ask("band", "From which frequency to which is it used?", "nothing can be chosen without it")
	}
	for _, b := range e.Band {
		if b.From > b.To {
			ask("band", fmt.Sprintf("Does the band run from %v to %v?", b.To, b.From), "it is written the other way round; nothing can be chosen until it is clear")
		}
	}
	if e.ModeFreeTo == nil && e.top() > 0 {
		ask("mode_free_to", fmt.Sprintf("Must it be free of higher modes above %v, for harmonics or a test sweep?", units.Frequency(e.top())), "every cross-section is judged at the top of the band; a higher figure asks for smaller connectors and cable")
	}
	if e.Through() == ThroughTrace && !e.lineKnown() {
		ask("from.line.length", "How long is the board's line from one launch to the other?", "loss and delay go with it; no chain can be built without it")
	}
	if e.Through() == ThroughCable && (e.Path.Length == nil || !(*e.Path.Length > 0)) {
		ask("path.length", "How long is the cable, between which planes, with or without a service loop?", "loss and delay go with it; no chain can be built without it")
	}
	if e.Through() == ThroughCable && e.Path.BendRadius == nil {
		ask("path.bend_radius", "What is the tightest bend of the route, and does it move in use?", "excludes cables by their static or dynamic bend radius")
	}
	if e.Match != nil {
		m := *e.Match
		if m.Kind == "" {
			ask("match.kind", "Is the match relative within the set, or absolute to a stored delay so that spares fit?", "absolute needs a golden delay and tighter cutting; relative allows no spares")
		}
		if m.SetSize == nil && e.Lines == nil {
			ask("match.set_size", "How many lines are in the matched set?", "the width of a set grows with its size")
		}
		if m.At == nil && m.Phase != nil && e.top() > 0 {
			ask("match.at", "At which frequency does the phase match hold?", fmt.Sprintf("the top of the band, %v, is taken", units.Frequency(e.top())))
		}
		if e.Environment.Gradient == nil {
			ask("environment.gradient", "How far may the lines of one set differ in temperature?", "common drift cancels in a relative match, a difference does not")
		}
		if m.Temperature == nil {
			ask("match.temperature", "At which temperature, torque and bend state is the match measured?", "a match at one temperature does not hold at another")
		}
	}
	if e.Match == nil && (e.Lines != nil && *e.Lines > 1 || e.Application.Class == "test and measurement" || strings.Contains(e.Application.Class, "radar")) {
		ask("match", "Is phase stability or a match between lines wanted, and over which temperatures and movements?", "it may ask for another cable, sorting, or calibration data")
	}
	if e.Power != nil {
		if v := e.Environment; v.Altitude == nil && v.Pressure == nil && (v.Vacuum == nil || !*v.Vacuum) {
			ask("environment.altitude", "Up to which altitude, or down to which pressure?", "cooling and breakdown both fall with pressure")
		}
		if e.Power.LoadVSWR == nil {
			ask("power.load_vswr", "Into which load VSWR?", "hot spots and peak voltage rise with it")
		}
	}
	for i, end := range []End{e.From, e.To} {
		name := [...]string{"from", "to"}[i]
		switch {
		case end.Kind == "":
			ask(name+".kind", "Does the chain "+[...]string{"start", "end"}[i]+" at a board or at a port?", "decides which parts can stand there")
		case end.Kind == Port && end.Port == nil && (end.Presents == nil || end.Presents.Series == ""):
			ask(name+".port", "Which connector series and gender is the port it mates with?", "decides the interface, its life and torque; until then every series is offered")
		case end.Kind == Board && end.Line == nil && end.Stackup == "":
			ask(name+".stackup", "What is the board's stackup, with permittivity and the frequency it holds at, foil, finish and mask, and who makes it?", "without it the launch can be neither estimated nor designed")
		}
	}
	for i, l := range e.Limits.InsertionLoss {
		if t, hot := l.Temperature, e.Environment.MaxTemperature; t != nil && hot != nil && *t < *hot {
			ask(fmt.Sprintf("limits.insertion_loss[%d].temperature", i), fmt.Sprintf("The loss limit holds at %v, but it works to %v: is that temperature meant, and which loss is allowed when hot?", *t, *hot),
				"the limit is judged at its own temperature alone; conductor loss rises with temperature")
		}
	}
	if e.Handling.MatingsPerDay == nil && e.Handling.Matings == nil {
		ask("handling.matings", "How often are the joints made and parted over the service life?", "decides series, retention grade and savers")
	}
	if e.Commercial.Quantity == nil {
		ask("commercial.quantity", "How many, and for when?", "price and sorting depend on it")
	}
	return qs
}

// lineKnown says whether either end tells how long the board's line between two
// launches is, or what it loses.
func (e Enquiry) lineKnown() bool {
	for _, end := range []End{e.From, e.To} {
		if t := end.Line; t != nil && (t.Length != nil && *t.Length > 0 || t.Loss != nil) {
			return true
		}
	}
	return false
}

// Missing names what is not stated and without which no chain can be laid out:
// the band, the length of the cable or of the board's line, the kind of an end.
// The fields are those of [Enquiry.Questions].
func (e Enquiry) Missing() []string {
	var out []string
	backwards := false
	for _, b := range e.Band {
		backwards = backwards || b.From > b.To
	}
	if backwards || !(e.top() > 0) {
		out = append(out, "band")
	}
	switch e.Through() {
	case ThroughCable:
		if x := e.Path.Length; x == nil || !(*x > 0) {
			out = append(out, "path.length")
		}
	case ThroughTrace:
		if !e.lineKnown() {
			out = append(out, "from.line.length")
		}
	}
	return out
}

// Contradictions returns where two statements of the enquiry cannot both hold:
// the same thing stated twice with different figures, a range the wrong way
// round, a length that is another in inches.
func (e Enquiry) Contradictions() []Contradiction {
	var cs []Contradiction
	say := func(help, text string, fields ...string) { cs = append(cs, Contradiction{fields, text, help}) }

	for i, b := range e.Band {
		if b.From > b.To {
			say("exchange the two", fmt.Sprintf("the band runs from %v to %v", b.From, b.To), fmt.Sprintf("band[%d].from", i), fmt.Sprintf("band[%d].to", i))
		}
	}
	if e.ModeFreeTo != nil && float64(*e.ModeFreeTo) < e.top() {
		say("mode-free is wanted at least to the top of the band", fmt.Sprintf("mode-free to %v, but the band goes to %v", *e.ModeFreeTo, units.Frequency(e.top())), "mode_free_to", "band")
	}
	e.impossible(say)
	e.environmentContradictions(say)
	e.matchContradictions(say)
	e.lossContradictions(say)
	e.fieldContradictions(say)
	for i, end := range []End{e.From, e.To} {
		name := [...]string{"from", "to"}[i]
		if end.Kind == Port && (end.Solderless != nil || len(end.Mounts) > 0 || end.Stackup != "") {
			say("a port has no board: remove the board's keys, or make it a board", name+" is a port but names a mount or a stackup", name+".kind")
		}
		if end.Solderless != nil && *end.Solderless && len(end.Mounts) > 0 {
			any := false
			for _, m := range end.Mounts {
				any = any || m.Solderless()
			}
			if !any {
				say("allow a clamped mount, or allow solder", name+" is to be solderless, but every mount it allows is soldered", name+".solderless", name+".mounts")
			}
		}
		if end.Port != nil && end.Presents != nil && end.Port.Gender != "" && end.Presents.Gender != "" && !end.Port.Gender.Mates(end.Presents.Gender) {
			say("state one of the two", fmt.Sprintf("%s: a %s face cannot mate with the %s port", name, end.Presents.Gender, end.Port.Gender), name+".port.gender", name+".presents.gender")
		}
	}
	if through := e.Path.Through; through == ThroughBullet && (e.From.Kind == Port || e.To.Kind == Port) {
		say("a bullet joins two boards", "the path is a bullet, but an end is a port", "path.through", "from.kind", "to.kind")
	}
	if c := e.Path.Construction; c == part.SemiRigid && e.Path.Moving != nil && *e.Path.Moving {
		say("choose a flexible cable, or hold it still", "semi-rigid cable is asked for a route that moves", "path.construction", "path.moving")
	}
	return cs
}

type sayer func(help, text string, fields ...string)

func (e Enquiry) environmentContradictions(say sayer) {
	v := e.Environment
	if v.MinTemperature != nil && v.MaxTemperature != nil && *v.MinTemperature > *v.MaxTemperature {
		say("exchange the two", fmt.Sprintf("it works from %v to %v", *v.MinTemperature, *v.MaxTemperature), "environment.min_temperature", "environment.max_temperature")
	}
	if v.Vacuum != nil && *v.Vacuum && v.Pressure != nil && *v.Pressure > 1 {
		say("state one of the two", fmt.Sprintf("vacuum is asked, and a pressure of %v", *v.Pressure), "environment.vacuum", "environment.pressure")
	}
	if v.Gradient != nil && v.MinTemperature != nil && v.MaxTemperature != nil && float64(*v.Gradient) > float64(*v.MaxTemperature-*v.MinTemperature) {
		say("lines cannot differ by more than the whole range", fmt.Sprintf("lines differ by %v within a range of %v", *v.Gradient, units.Difference(*v.MaxTemperature-*v.MinTemperature)), "environment.gradient")
	}
}

// impossible finds figures that nothing can have: what counts or measures is
// not negative, and a VSWR not below 1. They are a slip of the pen, and
// whatever is worked out from them is void.
func (e Enquiry) impossible(say sayer) {
	below := func(field, what string, bad bool) {
		if bad {
			say("write what is meant", what, field)
		}
	}
	if x := e.Path.Length; x != nil {
		below("path.length", fmt.Sprintf("a length of %v", *x), *x <= 0)
	}
	if x := e.Path.BendRadius; x != nil {
		below("path.bend_radius", fmt.Sprintf("a bend radius of %v", *x), *x <= 0)
	}
	if x := e.Lines; x != nil {
		below("lines", fmt.Sprintf("%d lines", *x), *x < 1)
	}
	if x := e.Commercial.Quantity; x != nil {
		below("commercial.quantity", fmt.Sprintf("a quantity of %d", *x), *x < 1)
	}
	if x := e.Handling.Matings; x != nil {
		below("handling.matings", fmt.Sprintf("%d matings", *x), *x < 0)
	}
	if x := e.Handling.MatingsPerDay; x != nil {
		below("handling.matings_per_day", fmt.Sprintf("%g matings a day", *x), *x < 0)
	}
	if x := e.Environment.Gradient; x != nil {
		below("environment.gradient", fmt.Sprintf("lines that differ by %v", *x), *x < 0)
	}
	if x := e.Environment.Pressure; x != nil {
		below("environment.pressure", fmt.Sprintf("a pressure of %v", *x), *x < 0)
	}
	if x := e.Environment.Altitude; x != nil { // the lowest dry land lies at −430 m; ISO 2533 goes to −2 km
		below("environment.altitude", fmt.Sprintf("an altitude of %v, below the standard atmosphere", *x), *x < -2000)
	}
	if w := e.Power; w != nil {
		if w.Average != nil {
			below("power.average", fmt.Sprintf("an average power of %v", *w.Average), *w.Average <= 0)
		}
		if w.Peak != nil {
			below("power.peak", fmt.Sprintf("a peak power of %v", *w.Peak), *w.Peak <= 0)
		}
		if w.Average != nil && w.Peak != nil {
			below("power.peak", fmt.Sprintf("a peak power of %v below the average of %v", *w.Peak, *w.Average), *w.Peak < *w.Average)
		}
		if w.LoadVSWR != nil {
			below("power.load_vswr", fmt.Sprintf("a load VSWR of %.3g", *w.LoadVSWR), *w.LoadVSWR < 1)
		}
	}
	for i, r := range e.Limits.ReturnLoss {
		if r.AtLeast != nil {
			below(fmt.Sprintf("limits.return_loss[%d].at_least", i), fmt.Sprintf("a return loss of %v: it is written positive", *r.AtLeast), *r.AtLeast < 0)
		}
	}
	if f := e.Field; f != nil && f.Pitch != nil {
		below("field.pitch", fmt.Sprintf("a pitch of %v", *f.Pitch), *f.Pitch <= 0)
	}
}

// agree is how far two statements of one quantity may differ before they
// contradict each other: rounding to one digit makes a tenth.
const agree = 0.1

func differ(a, b float64) bool { return math.Abs(a-b) > agree*math.Max(math.Abs(a), math.Abs(b)) }

func (e Enquiry) matchContradictions(say sayer) {
	m := e.Match
	if m == nil {
		return
	}
	if m.Delay != nil && m.Phase != nil {
		f := e.top()
		if m.At != nil {
			f = float64(*m.At)
		}
		if deg := 360 * f * float64(*m.Delay); f > 0 && differ(deg, units.In(*m.Phase, "deg")) {
			say("keep the one that is the limit", fmt.Sprintf("%v at %v is %.3g deg, but %v is asked, which is %.3g ps", *m.Delay, units.Frequency(f), deg, *m.Phase, units.In(*m.Phase, "deg")/360/f*1e12),
				"match.delay", "match.phase")
		}
	}
	e.lengthAgainst(*m, say)
	if m.SetSize != nil && e.Lines != nil && *m.SetSize > *e.Lines {
		say("a set is no larger than the field", fmt.Sprintf("a matched set of %d among %d lines", *m.SetSize, *e.Lines), "match.set_size", "lines")
	}
	if m.SetSize != nil && *m.SetSize < 2 && m.Kind == Relative {
		say("a relative match needs two lines", fmt.Sprintf("a relative match within a set of %d", *m.SetSize), "match.set_size", "match.kind")
	}
}

// Velocity factors of the lines that a match in millimetres may be meant of:
// from solid dielectrics of permittivity 4 to air.
const slowest, fastest = 0.5, 1.0

// lengthAgainst finds a match in millimetres that no line makes the delay or the
// phase it stands beside.
func (e Enquiry) lengthAgainst(m Match, say sayer) {
	if m.Length == nil {
		return
	}
	l := math.Abs(float64(*m.Length))
	least, most := l/fastest/line.C0*(1-agree), l/slowest/line.C0*(1+agree)
	check := func(delay float64, stated, field string) {
		if delay < least || delay > most {
			say("keep the one that is the limit", fmt.Sprintf("%v of any line is between %.3g and %.3g ps, but %s is asked, which is %.3g ps", *m.Length, least/(1-agree)*1e12, most/(1+agree)*1e12, stated, delay*1e12),
				"match.length", field)
		}
	}
	if m.Delay != nil {
		check(math.Abs(float64(*m.Delay)), m.Delay.String(), "match.delay")
		return
	}
	f := e.top()
	if m.At != nil {
		f = float64(*m.At)
	}
	if m.Phase != nil && f > 0 {
		check(math.Abs(float64(*m.Phase))/(2*math.Pi*f), fmt.Sprintf("%v at %v", *m.Phase, units.Frequency(f)), "match.phase")
	}
}

// unknown says whether the customer answered a field, or one under it, with
// "unknown".
func (e Enquiry) unknown(field string) bool {
	for _, u := range e.Unknown {
		if strings.HasPrefix(u, field) {
			return true
		}
	}
	return false
}

func (e Enquiry) lossContradictions(say sayer) {
	for i, l := range e.Limits.InsertionLoss {
		field := fmt.Sprintf("limits.insertion_loss[%d]", i)
		if l.AtMost == nil && len(l.Mask) == 0 && !e.unknown("limits.insertion_loss") {
			say("give at_most or a mask", "an insertion loss limit without a figure", field)
		}
		if l.AtMost != nil && len(l.Mask) > 0 {
			say("keep one of the two", "an insertion loss limit with a single figure and a mask", field+".at_most", field+".mask")
		}
		if l.From != nil && l.To != nil && *l.From > *l.To {
			say("exchange the two", fmt.Sprintf("a limit from %v to %v", *l.From, *l.To), field+".from", field+".to")
		}
		if l.AtMost != nil && *l.AtMost < 0 {
			say("a loss is written positive", fmt.Sprintf("an insertion loss of %v", *l.AtMost), field+".at_most")
		}
	}
	for i, r := range e.Limits.ReturnLoss {
		for k, v := range e.Limits.VSWR {
			if r.AtLeast == nil || r.Of != v.Of || r.Wish != v.Wish {
				continue
			}
			if rl := -20 * math.Log10((v.AtMost-1)/(v.AtMost+1)); math.Abs(rl-float64(*r.AtLeast)) > 1 {
				say("keep the one that is the limit", fmt.Sprintf("VSWR %.3g is a return loss of %.1f dB, but %v is asked of the same thing", v.AtMost, rl, *r.AtLeast),
					fmt.Sprintf("limits.return_loss[%d]", i), fmt.Sprintf("limits.vswr[%d]", k))
			}
		}
	}
	if p, c := e.Limits.Price, e.Commercial.Currency; p != nil && c != "" && p.Currency != c {
		say("state one currency: nothing is converted", fmt.Sprintf("a price of at most %v, and %s as the currency", *p, c), "limits.price", "commercial.currency")
	}
	for k, v := range e.Limits.VSWR {
		if v.AtMost < 1 {
			say("a VSWR is 1 or more", fmt.Sprintf("a VSWR of at most %.3g", v.AtMost), fmt.Sprintf("limits.vswr[%d].at_most", k))
		}
	}
}

// fieldContradictions finds a pitch that disagrees with the field, and one that
// agrees when its number is read in inches: an inch written as a millimetre.
func (e Enquiry) fieldContradictions(say sayer) {
	f := e.Field
	if f == nil || f.Pitch == nil || e.Lines == nil || f.Width == nil || f.Height == nil {
		return
	}
	n := *e.Lines
	columns, rows := int(float64(*f.Width)/float64(*f.Pitch)+1e-9), int(float64(*f.Height)/float64(*f.Pitch)+1e-9)
	if f.Columns != nil {
		columns = *f.Columns
	}
	if f.Rows != nil {
		rows = *f.Rows
	}
	room := columns * rows
	switch {
	case room < n:
		text := fmt.Sprintf("%s at a pitch of %v do not fit into %v × %v: %d do", spell.Count(n, "line"), *f.Pitch, *f.Width, *f.Height, room)
		say("one of count, pitch and field is wrong", text, "lines", "field.pitch", "field.width", "field.height")
	case room > 100*n:
		inch := units.Length(float64(*f.Pitch) * 25.4)
		if c := int(float64(*f.Width) / float64(inch)); c > 0 && c*int(float64(*f.Height)/float64(inch)) >= n {
			say("was the pitch meant in inches?", fmt.Sprintf("a pitch of %v leaves room for %d lines, %d are asked; read in inches it is %v", *f.Pitch, room, n, inch), "field.pitch")
		}
	}
}
