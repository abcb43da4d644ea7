package assess

import (
	"fmt"
	"math"
	"strings"

	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/job/tolerance/sample"
	"linewright/physics/line"
	"linewright/physics/units"
)

// Electrical is one electrical length said three ways, which belong together: a
// phase at a frequency, a delay, and the length of line that makes it.
type Electrical struct {
	Phase  units.Angle
	Delay  units.Time
	Length units.Length
}

func (x Electrical) String() string {
	return fmt.Sprintf("%s deg, %s ps, %s mm", figure(x.Degrees()), figure(units.In(x.Delay, "ps")), figure(units.In(x.Length, "mm")))
}

// Degrees returns the phase in degrees.
func (x Electrical) Degrees() float64 { return float64(x.Phase) * 180 / math.Pi }

// figure writes three digits, and a whole number where there are more.
func figure(x float64) string {
	if math.Abs(x) >= 999.5 && !math.IsInf(x, 0) {
		return fmt.Sprintf("%.0f", x)
	}
	return fmt.Sprintf("%.3g", x)
}

// figureOf is figure, and nothing for what is not known.
func figureOf(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return figure(x)
}

// Phase is the chain's electrical length and how it moves.
//
// A delay τ is 360·f·τ degrees, 0.36 deg per ps and GHz, and τ·v of line, v the
// velocity in it.
type Phase struct {
	At            units.Frequency // at which degrees are meant
	VelocityMPerS float64         // in the line that millimetres are meant of, m/s
	Line          string          // that line, in words
	Chain         Electrical      // of all elements whose delay is known, at the tables' reference
	Unknown       []string        // elements whose delay is not in it
	PerPicosecond units.Angle
	PerTenth      Electrical       // of 0.1 mm
	States        []PhaseState     // at the coldest, room and hottest temperatures
	Common        *CommonDrift     // nil without a table of length against temperature, or a range of temperatures
	Gradient      *LineDifference  // between lines of unequal temperature; nil without a table
	Flex          *Electrical      // largest change when flexed; nil when not stated
	Match         *MatchReport     // nil when no match is asked
	Array         *ArrayEffect     // nil when no array is named
	binds         string           // name of the cable that moves and is cut
	Statement     []StatementField // the phase-matching statement; empty when no match is asked
}

// PhaseState is the chain's delay at one temperature.
type PhaseState struct {
	Temperature units.Temperature
	Delay       units.Time
	Change      Electrical  // against the tables' reference
	Relative    units.Ratio // Change over the delay of the cables that move
	Beyond      bool        // a table was carried on to get there
}

// CommonDrift is what all lines do together between two temperatures. It
// matters for an absolute delay; between lines of one set it cancels as far as
// they are equally long, equally warm and of one batch.
type CommonDrift struct {
	From, To units.Temperature
	Range    Electrical // greatest less least
	Relative units.Ratio
	Steps    []units.Temperature // PTFE transitions inside the range at which a solid-PTFE cable steps
}

// LineDifference is what two lines whose temperatures differ do to each other.
type LineDifference struct {
	Gradient units.Difference // 1 K when the enquiry states none
	Stated   bool
	Straight Electrical // by straight lines between the table's points
	Worst    Electrical // with any PTFE step at the worst place of its stretch
}

// MatchReport is a phase match against what cutting, sorting and calibrating do.
type MatchReport struct {
	Kind          enquiry.MatchKind
	SetSize       int        // 0: unknown
	Limit         Electrical // half width, the tightest statement
	Cut           Electrical // cutting tolerance, plus or minus
	CutFrom       string     // its origin
	Likely        Electrical // half width of an average set as cut
	SetWidthSigma float64    // mean full width of a set of SetSize, in σ of one piece
	// Sigma is the standard deviation of one piece at which an average
	// unsorted set just fills the match.
	Sigma Electrical
	Build *BuildReport // nil when a set as cut fits
	// Offer is what can be promised as cut, rounded up to the next 5 deg, with
	// measured data per line.
	Offer *Electrical
	// Calibrate says that lines as unequal in temperature as stated leave the
	// match, however well they were cut.
	Calibrate bool
}

// BuildReport is how many pieces make a sorted set.
type BuildReport struct {
	Keep          int
	Half, Ninety  int  // suffices five and nine times out of ten
	Beyond        bool // not even ten times Keep suffice nine times out of ten
	Simulated     bool
	Distribution  string
	AbsoluteShare float64 // of pieces that fit a stored delay; 0: relative
}

// ArrayEffect is what phase errors between the lines do to the array they feed.
//
//	D/D0 = 1/(1 + σ²)        mean error sidelobe σ²/N, against the main lobe
//
// σ the rms phase error in rad, small, independent from line to line. The first
// is equation 2.10 of a published thesis on calibrated phased-array control, as
// quoted; the second from memory. Errors that go steadily from line to line do
// neither: they steer the beam.
type ArrayEffect struct {
	Elements  int
	RMS       units.Angle // all causes together
	FromLines units.Angle // the lines' share
	Loss      units.Level // of directivity
	Sidelobe  units.Level // mean error sidelobe against the main lobe, below 0; NaN when Elements is unknown
	Greatest  units.Level // exceeded somewhere among Elements directions by one array in twenty
}

// StatementField is one line of a phase-matching statement.
type StatementField struct {
	Name, Value string
	Open        bool // not known yet: the statement is not complete
}

const commonCut = 0.1e-3 // m: what an assembly shop cuts a cable to. Common practice.

func (p *Phase) of(delay float64) Electrical {
	return Electrical{units.Angle(2 * math.Pi * float64(p.At) * delay), units.Time(delay), units.Length(delay * p.VelocityMPerS)}
}

func (p *Phase) degrees(delay float64) float64 { return 360 * float64(p.At) * delay }

// newPhase returns the conversions of an electrical length at frequency f in a
// line of velocity v, in m/s.
func newPhase(f units.Frequency, v float64, what string) *Phase {
	p := &Phase{At: f, VelocityMPerS: v, Line: what}
	p.PerPicosecond = p.of(1e-12).Phase
	p.PerTenth = p.of(1e-4 / v)
	return p
}

// phases judges electrical length, its match between lines and its change.
func (j *judge) phases() error {
	d := j.s.Chain.Drift(j.Prediction)
	top := units.Frequency(j.Prediction.Frequency[len(j.Prediction.Frequency)-1])
	at := top
	if m := j.e.Match; m != nil && m.At != nil {
		at = *m.At
	}
	v, what, binds := line.C0, "of air", ""
	for k, el := range j.s.Chain.Elements {
		if c, ok := chain.CableOf(el); ok {
			if factor, ok := c.Part.Velocity(); ok {
				v, what = factor*line.C0, fmt.Sprintf("of cable %s, velocity factor %.3g", c.Part.ID, factor)
				binds = j.Prediction.Rows[k].Name
				break
			}
		}
	}
	p := newPhase(at, v, what)
	p.binds = binds
	for _, k := range d.NoDelay {
		p.Unknown = append(p.Unknown, j.Prediction.Rows[k].Name)
	}
	if !(d.Delay > 0) {
		if j.e.Match != nil {
			j.unmatched("no element states its delay: a velocity factor or a permittivity is needed")
			j.askVelocity()
		}
		return nil
	}
	p.Chain = p.of(d.Delay)
	j.Phase = p
	if len(p.Unknown) > 0 {
		j.noteOnce("phase: the electrical length of %s is not stated and not counted; each millimetre of air is %s deg at %v", join(p.Unknown), figure(p.degrees(1e-3/line.C0)), at)
	}
	cold, hot, stated := Temperatures(j.e)
	j.drift(p, d, cold, hot, stated)
	j.flexure(p)
	if j.e.Environment.Vibration != "" {
		j.noteOnce("vibration: a cable that moves makes phase noise at the frequency of the motion; clamp spacing, mass and torque decide how much, no figure for it can be trusted: measure it")
	}
	j.match(p, d, cold, hot)
	j.array(p)
	return nil
}

// drift fills the change of delay with temperature.
func (j *judge) drift(p *Phase, d chain.Drift, cold, hot units.Temperature, stated bool) {
	if len(d.NoTable) > 0 {
		var names []string
		for _, k := range d.NoTable {
			names = append(names, j.Prediction.Rows[k].Part)
		}
		j.noteOnce("phase: no table of electrical length against temperature for %s: its drift is not assessed", join(names))
		if stated || j.e.Match != nil {
			j.ask(enquiry.Question{Field: "catalogue: length_changes of " + join(names), Text: fmt.Sprintf("How does the electrical length of %s change with temperature, point by point, with 19 and 30 °C bracketed, after the cycles of IEC 60966-1?", join(names)),
				Changes: "drift over temperature and between lines is not assessed until it is known"})
		}
	}
	if !d.Known() {
		return
	}
	if len(d.Constant) > 0 {
		j.noteOnce("phase: only cable is taken to drift; connectors and board lines, %s %% of the delay, are kept constant", figure(100*(1-d.Moving/d.Delay)))
	}
	temps := states(cold, hot)
	if m := j.e.Match; m != nil && m.Temperature != nil {
		temps = append(temps, *m.Temperature)
	}
	for _, t := range temps {
		delay, beyond := d.At(t)
		p.States = append(p.States, PhaseState{t, units.Time(delay), p.of(delay - d.Delay), units.Ratio((delay - d.Delay) / d.Moving), beyond})
	}
	g := LineDifference{Gradient: 1}
	if j.e.Environment.Gradient != nil {
		g.Gradient, g.Stated = *j.e.Environment.Gradient, true
	}
	straight, worst, _ := d.Curve.Difference(cold, hot, g.Gradient)
	g.Straight, g.Worst = p.of(straight), p.of(worst)
	p.Gradient = &g
	if cold == hot {
		return
	}
	least, most, _ := d.Curve.Extremes(cold, hot)
	p.Common = &CommonDrift{cold, hot, p.of(most - least), units.Ratio((most - least) / d.Moving), d.Curve.Crosses(cold, hot)}
	if d.Beyond(cold, hot) {
		j.noteOnce("phase: the table of electrical length ends at %v and %v; beyond them its last stretch is carried on, which is a guess", d.From, d.To)
	}
	if len(p.Common.Steps) > 0 {
		var at []string
		for _, t := range p.Common.Steps {
			at = append(at, t.String())
		}
		j.noteOnce("phase: solid PTFE changes its crystal form near %s inside the working range: length steps there, with hysteresis, and a set matched near room temperature sits on the steepest part of the curve", join(at))
	}
}

func (j *judge) flexure(p *Phase) {
	moving := j.e.Path.Moving != nil && *j.e.Path.Moving
	sum, missing, any := 0.0, "", false
	for _, el := range j.s.Chain.Elements {
		c, ok := chain.CableOf(el)
		if !ok {
			continue
		}
		if c.Part.FlexPhase == nil || c.Part.RatedFrequency == nil {
			missing = c.Part.ID
			continue
		}
		any = true
		// The phase change of a bend is a change of delay, so it goes as f.
		sum += math.Abs(float64(*c.Part.FlexPhase)) / (2 * math.Pi * float64(*c.Part.RatedFrequency))
	}
	if any && missing == "" {
		x := p.of(sum)
		p.Flex = &x
	}
	if moving && missing != "" {
		j.ask(enquiry.Question{Field: "catalogue: flex_phase of " + missing, Text: fmt.Sprintf("How much does the phase of %s change when it is flexed: mandrel radius, turns, place, frequency, during and after?", missing),
			Changes: "the route moves, and what that does to the phase is not assessed"})
	}
}

// halfWidth returns the tightest of the match's statements, as a delay.
func halfWidth(m enquiry.Match, at units.Frequency, v float64) (delay float64, ok bool) {
	delay = math.Inf(1)
	if m.Delay != nil {
		delay = math.Min(delay, math.Abs(float64(*m.Delay)))
	}
	if m.Phase != nil {
		delay = math.Min(delay, math.Abs(float64(*m.Phase))/(2*math.Pi*float64(at)))
	}
	if m.Length != nil {
		delay = math.Min(delay, math.Abs(float64(*m.Length))/v)
	}
	return delay, delay > 0 && !math.IsInf(delay, 1)
}

// unmatched records a match that cannot be judged.
func (j *judge) unmatched(why string) {
	j.Margins = append(j.Margins, Margin{Limit: "phase match as cut", Verdict: NotAssessed, Worst: math.NaN(), Likely: math.NaN(), LimitValue: math.NaN(), Margin: math.NaN(), Unit: "deg", Why: why})
}

func (j *judge) askVelocity() {
	j.ask(enquiry.Question{Field: "catalogue: velocity factor", Text: "What is the velocity factor or the permittivity of the cable?", Changes: "without it neither delay nor phase can be worked out"})
}

// match judges the match that the enquiry asks, if any.
func (j *judge) match(p *Phase, d chain.Drift, cold, hot units.Temperature) {
	asked := j.e.Match
	if asked == nil {
		return
	}
	limit, ok := halfWidth(*asked, p.At, p.VelocityMPerS)
	if !ok {
		j.unmatched("the match names no amount")
		j.ask(enquiry.Question{Field: "match.phase", Text: "How closely must the lines agree, in deg at a frequency, in ps or in mm?", Changes: "decides whether cutting does, or sorting and calibration are needed"})
		return
	}
	for _, k := range d.NoDelay {
		if c, ok := chain.CableOf(j.s.Chain.Elements[k]); ok {
			j.unmatched(fmt.Sprintf("cable %s states neither velocity factor nor permittivity", c.Part.ID))
			j.askVelocity()
			return
		}
	}
	m := &MatchReport{Kind: asked.Kind, Limit: p.of(limit)}
	if m.Kind == "" {
		m.Kind = enquiry.Relative
	}
	switch {
	case asked.SetSize != nil:
		m.SetSize = *asked.SetSize
	case j.e.Lines != nil:
		m.SetSize = *j.e.Lines
	}
	p.Match = m
	if m.SetSize > 1 {
		m.SetWidthSigma = sample.ExpectedRange(m.SetSize)
		m.Sigma = p.of(2 * limit / m.SetWidthSigma)
	}
	cut, practice := j.cutting(p, m)
	if m.CutFrom != "" {
		j.asCut(p, m, limit, cut, practice)
	} else {
		j.unmatched("there is no cable to cut: how much the parts differ from piece to piece is not stated")
	}
	j.apart(p, m, d, limit, cut, cold, hot)
	j.overTemperature(p, m, d, limit, cut, cold, hot)
	if p.Flex != nil && j.e.Path.Moving != nil && *j.e.Path.Moving {
		mg := p.margin("phase match, flexing", limit, float64(p.Flex.Delay), float64(p.Flex.Delay), m)
		mg.Why = fmt.Sprintf("flexing moves the phase by up to %v", *p.Flex)
		mg.Verdict = verdict(mg.Margin, mg.Margin, true)
		j.Margins = append(j.Margins, mg)
	}
	j.statement(p, m)
	j.noteOnce("phase match: each connection repeats within limits of its own, at any torque but the set one worse: find them from about 16 reconnections before a match of a few degrees is promised or disputed")
	if strings.Contains(j.e.Application.Class, "test") {
		j.noteOnce("test and measurement: stability between calibration and measurement counts for more than the match; cable movement and connector repeatability are contributors of the uncertainty by name (EURAMET cg-12)")
	}
	if strings.Contains(j.e.Application.Class, "radar") {
		j.noteOnce("radar: a drift between transmit and receive lines becomes an angle error, and a calibration at one temperature does not hold at another; a line that serves both ways counts its loss twice")
		if strings.Contains(j.e.Application.Function, "oscillator") {
			j.noteOnce("local oscillator: distribution at a half or a quarter of the frequency eases loss and connectors, but not the match: a delay error multiplies back to the same phase")
		}
	}
}

// margin makes a margin in degrees from delays.
func (p *Phase) margin(name string, limit, worst, likely float64, m *MatchReport) Margin {
	return Margin{Limit: name, Worst: p.degrees(worst), Likely: p.degrees(likely), LimitValue: p.degrees(limit), Margin: p.degrees(limit - worst), Unit: "deg", At: p.At, Element: p.binds,
		Conditions: []Condition{{"match", fmt.Sprintf("± %v, %s", m.Limit, m.Kind)}, {"worst", p.of(worst).String()}, {"length is", p.Line}}}
}

// cutting returns the tolerance of delay that cutting leaves, in s.
func (j *judge) cutting(p *Phase, m *MatchReport) (cut float64, practice bool) {
	var from []string
	for _, el := range j.s.Chain.Elements {
		c, ok := chain.CableOf(el)
		if !ok {
			continue
		}
		v, ok := c.Part.Velocity()
		if !ok {
			continue
		}
		tol := units.Length(commonCut)
		if c.Part.CutTolerance != nil {
			tol = *c.Part.CutTolerance
			from = append(from, fmt.Sprintf("%v of cable %s", tol, c.Part.ID))
		} else {
			practice = true
			from = append(from, fmt.Sprintf("%v, common practice: cable %s states none", tol, c.Part.ID))
		}
		cut += float64(tol) / (v * line.C0)
	}
	m.Cut, m.CutFrom = p.of(cut), join(from)
	return cut, practice
}

// asCut judges what cutting alone holds, and works out what sorting would take.
func (j *judge) asCut(p *Phase, m *MatchReport, limit, cut float64, practice bool) {
	n := float64(m.SetSize)
	likely := cut
	switch {
	case m.SetSize < 1:
	case m.Kind == enquiry.Absolute:
		likely = cut * n / (n + 1) // mean of the greatest of n on (0, cut)
	default:
		likely = cut * (n - 1) / (n + 1) // mean range of n pieces over their limits
	}
	m.Likely = p.of(likely)
	mg := p.margin("phase match as cut", limit, cut, likely, m)
	mg.Verdict = verdict(mg.Margin, mg.LimitValue-mg.Likely, practice)
	mg.Source = "cutting tolerance ± " + m.CutFrom
	mg.Conditions = append(mg.Conditions, Condition{"not counted", "how far connectors differ from piece to piece: no figure"})
	j.noteOnce("phase match: cut by measured delay, not by the rule: each 0.1 %% by which velocity differs from piece to piece is %v", p.of(1e-3*float64(p.Chain.Delay)))
	mg.Conditions = append(mg.Conditions, Condition{"likely", "mean half width of a set whose pieces lie anywhere within the tolerance"})
	if mg.Verdict == Meets || mg.Verdict == AtRisk && mg.Margin >= 0 {
		mg.Why = fmt.Sprintf("cutting to ± %v is %v", m.CutFrom, m.Cut)
		if m.SetSize > 1 {
			mg.Why += fmt.Sprintf("; a set of %d is %.1f σ wide on average, so a piece may scatter by σ = %v", m.SetSize, m.SetWidthSigma, m.Sigma)
		}
		j.Margins = append(j.Margins, mg)
		return
	}
	mg.Why = fmt.Sprintf("± %v is below what cutting holds: ± %s is %v", m.Limit, m.CutFrom, m.Cut)
	j.Margins = append(j.Margins, mg)
	j.Gaps = append(j.Gaps, Gap{Axis: "phase match", Asked: "± " + m.Limit.String(), Best: "± " + m.Cut.String() + " as cut", Cause: Process,
		Needs: "sorting, electrical trimming, or data measured per line for calibration: cutting alone does not reach it"})
	offer := p.of(math.Ceil(p.degrees(cut)/5-1e-9) * 5 / 360 / float64(p.At))
	m.Offer = &offer
	j.Ways = append(j.Ways, Option{Title: fmt.Sprintf("offer ± %s deg as cut, with data measured per line for calibration", figure(offer.Degrees())),
		Effect: fmt.Sprintf("± %v holds by cutting to ± %s; the remaining differences are known and can be taken out", offer, m.CutFrom)})
	m.Build = j.build(m, limit, cut)
	if b := m.Build; b != nil {
		switch {
		case b.Beyond:
			j.Ways = append(j.Ways, Option{Title: "trim electrically", Effect: fmt.Sprintf("sorting does not do: more than %d pieces for a set of %d", 10*b.Keep, b.Keep)})
		default:
			j.Ways = append(j.Ways, Option{Title: fmt.Sprintf("sort: build %d, keep %d", b.Ninety, b.Keep),
				Effect: fmt.Sprintf("%d lie within ± %v nine times out of ten (%d suffice five times out of ten), if pieces scatter evenly over ± %s and are measured to a small part of %s deg", b.Keep, m.Limit, b.Half, m.CutFrom, figure(m.Limit.Degrees()))})
		}
	}
}

// build works out how many pieces make a set, when they lie evenly within the
// cutting tolerance: nothing more is known of them than their limits
// ([jcgm101] §6.4.2).
func (j *judge) build(m *MatchReport, limit, cut float64) *BuildReport {
	if m.SetSize < 1 || m.SetSize < 2 && m.Kind != enquiry.Absolute {
		return nil
	}
	b := &BuildReport{Keep: m.SetSize, Distribution: "even within the cutting tolerance"}
	most := 10 * m.SetSize
	if m.Kind == enquiry.Absolute {
		p := limit / cut
		n := float64(m.SetSize)
		b.AbsoluteShare = p
		b.Half = int(math.Ceil(n / p))
		b.Ninety = int(math.Ceil((n + sample.NormalQuantile(0.9)*math.Sqrt(n*(1-p))) / p)) // negative binomial, as normal
		b.Beyond = b.Ninety > most
		return b
	}
	s, err := sample.BuildQuantity(m.SetSize, 2*limit, most, sample.Sorting{Distribution: sample.Uniform{Low: -cut, High: cut}, Trials: 400, Seed: j.o.Seed})
	if err != nil {
		return nil
	}
	b.Simulated = true
	b.Half, b.Ninety = int(s.Quantile(0.5)), int(s.Quantile(0.9))
	b.Beyond = b.Ninety > most
	return b
}

// apart judges lines whose temperatures differ.
func (j *judge) apart(p *Phase, m *MatchReport, d chain.Drift, limit, cut float64, cold, hot units.Temperature) {
	const name = "phase match, temperature difference between lines"
	g := p.Gradient
	switch {
	case g == nil, len(d.NoTable) > 0:
		mg := p.margin(name, limit, math.NaN(), math.NaN(), m)
		mg.Conditions = mg.Conditions[:1]
		mg.Verdict, mg.Why = NotAssessed, "no table of electrical length against temperature"
		j.Margins = append(j.Margins, mg)
		return
	case !g.Stated:
		mg := p.margin(name, limit, math.NaN(), math.NaN(), m)
		mg.Conditions = mg.Conditions[:1]
		mg.Verdict, mg.Why = NotAssessed, fmt.Sprintf("how far the lines differ in temperature is not stated; 1 K makes up to %v", g.Worst)
		j.Margins = append(j.Margins, mg)
		j.ask(enquiry.Question{Field: "environment.gradient", Text: "How far may the lines of one set differ in temperature?",
			Changes: fmt.Sprintf("each kelvin of difference makes up to %v; the match of ± %s deg is used up at %s K", g.Worst, figure(m.Limit.Degrees()), figure(float64(allowedGradient(d, cold, hot, limit))))})
		return
	}
	worst := float64(g.Worst.Delay)
	mg := p.margin(name, limit, worst, float64(g.Straight.Delay), m)
	mg.Source = "the cables' tables of electrical length against temperature"
	mg.Conditions = append(mg.Conditions, Condition{"difference", g.Gradient.String()}, Condition{"range", fmt.Sprintf("%v to %v", cold, hot)})
	// Two lines differ within a band of twice the half width only if they are
	// otherwise equal.
	mg.Verdict = verdict(limit-worst, 2*limit-worst, d.Beyond(cold, hot))
	mg.Why = fmt.Sprintf("%v between lines makes %v", g.Gradient, g.Worst)
	if float64(g.Straight.Delay) < worst*(1-1e-9) {
		mg.Why += fmt.Sprintf(", if a PTFE step falls between them (%s deg by straight lines between the table's points)", figure(g.Straight.Degrees()))
	}
	if cut > 0 {
		mg.Why += fmt.Sprintf("; with the cut, lines lie within ± %v of their mean", p.of(cut+worst/2))
	}
	if mg.Margin < 0 {
		m.Calibrate = true
		allowed := allowedGradient(d, cold, hot, limit)
		within := figure(float64(allowed)) + " K"
		if wide := straightGradient(d, cold, hot, limit); float64(wide) > float64(allowed)*1.01 {
			within += fmt.Sprintf(" if a PTFE step falls between them, else %s K", figure(float64(wide)))
		}
		j.Ways = append(j.Ways, Option{Title: "calibrate at temperature, or route the lines together", Effect: fmt.Sprintf("%v between lines makes %v; the match of ± %s deg allows %s", g.Gradient, g.Worst, figure(m.Limit.Degrees()), within)})
		j.Gaps = append(j.Gaps, Gap{Axis: "phase match between unequally warm lines", Asked: "± " + m.Limit.String() + " at " + g.Gradient.String() + " between lines", Best: g.Worst.String(), Cause: NotYetBuilt,
			Needs: fmt.Sprintf("a cable whose electrical length changes by less than %s ppm over any %v of the range, or lines within %s", figure(limit/d.Moving*1e6), g.Gradient, within)})
	}
	if d.Beyond(cold, hot) {
		mg.Why += fmt.Sprintf("; the table ends at %v and %v, beyond which it is a guess", d.From, d.To)
	}
	j.Margins = append(j.Margins, mg)
}

// allowedGradient returns the difference of temperature between lines, in K,
// that uses up a delay, with any PTFE step at its worst place.
func allowedGradient(d chain.Drift, cold, hot units.Temperature, delay float64) units.Difference {
	return gradientFor(delay, func(g units.Difference) float64 { _, worst, _ := d.Curve.Difference(cold, hot, g); return worst })
}

// straightGradient is the same by straight lines between the table's points.
func straightGradient(d chain.Drift, cold, hot units.Temperature, delay float64) units.Difference {
	return gradientFor(delay, func(g units.Difference) float64 { straight, _, _ := d.Curve.Difference(cold, hot, g); return straight })
}

// gradientFor inverts a difference that grows with the gradient, by bisection;
// infinite where even 1000 K do not reach the delay.
func gradientFor(delay float64, difference func(units.Difference) float64) units.Difference {
	lo, hi := 0.0, 1.0
	for !(difference(units.Difference(hi)) > delay) {
		if lo, hi = hi, 2*hi; hi > 1024 {
			return units.Difference(math.Inf(1))
		}
	}
	for range 40 {
		if mid := (lo + hi) / 2; difference(units.Difference(mid)) > delay {
			hi = mid
		} else {
			lo = mid
		}
	}
	return units.Difference(lo)
}

// overTemperature judges a match that must hold over the whole range.
func (j *judge) overTemperature(p *Phase, m *MatchReport, d chain.Drift, limit, cut float64, cold, hot units.Temperature) {
	if j.e.Match.Tracking == nil || !*j.e.Match.Tracking {
		return
	}
	const name = "phase match over temperature"
	if p.Common == nil || len(d.NoTable) > 0 || m.Kind == enquiry.Relative && !p.Gradient.Stated {
		mg := p.margin(name, limit, math.NaN(), math.NaN(), m)
		mg.Conditions = mg.Conditions[:1]
		mg.Verdict, mg.Why = NotAssessed, "no table of electrical length against temperature"
		switch {
		case p.Gradient == nil || len(d.NoTable) > 0:
		case p.Common == nil:
			mg.Why = "between which temperatures it works is not stated"
		default:
			mg.Why = "how far the lines differ in temperature is not stated"
		}
		j.Margins = append(j.Margins, mg)
		return
	}
	var mg Margin
	switch m.Kind {
	case enquiry.Absolute:
		ref := room
		if j.e.Match.Temperature != nil {
			ref = *j.e.Match.Temperature
		}
		at, _ := d.Curve.At(ref)
		least, most, _ := d.Curve.Extremes(min(cold, ref), max(hot, ref))
		moved := math.Max(most-at, at-least)
		mg = p.margin(name, limit, cut+moved, moved, m)
		mg.Why = fmt.Sprintf("from %v the delay moves by up to %v, to which the cut adds", ref, p.of(moved))
	default:
		half := float64(p.Gradient.Worst.Delay) / 2
		mg = p.margin(name, limit, cut+half, half, m)
		mg.Why = fmt.Sprintf("common drift, %v over the range, cancels between equal lines; the temperature difference and the cut do not. How much cables of one batch differ in their change is not stated: ask the maker", p.Common.Range)
		j.ask(enquiry.Question{Field: "catalogue: tracking of cable", Text: "How much do cables of one batch differ in their change of electrical length with temperature?",
			Changes: fmt.Sprintf("each hundredth of difference is %s of the common drift", p.of(0.01*float64(p.Common.Range.Delay)))})
	}
	mg.Verdict = verdict(mg.Margin, mg.LimitValue-mg.Likely, true)
	mg.Source = "the cables' tables of electrical length against temperature"
	mg.Conditions = append(mg.Conditions, Condition{"range", fmt.Sprintf("%v to %v", cold, hot)})
	if len(p.Common.Steps) > 0 {
		mg.Why += "; the range crosses a PTFE transition, where cables differ most"
	}
	j.Margins = append(j.Margins, mg)
	if mg.Verdict != Fails {
		return
	}
	m.Calibrate = true
	moved := mg.Likely / 360 / float64(p.At)
	j.Ways = append(j.Ways, Option{Title: "measure the temperature of the lines and correct for it",
		Effect: fmt.Sprintf("takes out most of %v; the cut, the spread between cables and the hysteresis stay", p.of(moved))})
	g := Gap{Axis: name, Asked: fmt.Sprintf("± %v from %v to %v", m.Limit, cold, hot), Best: "± " + p.of(mg.Worst/360/float64(p.At)).String(), Cause: NotYetBuilt,
		Needs: fmt.Sprintf("a cable that moves by %s times less, or correction by its own curve", figure(moved/(limit-cut)))}
	if !(cut < limit) {
		g.Cause, g.Needs = Process, "a match that cutting holds first: the cut alone uses it up, whatever the cable does over temperature; or correction of each line by its own curve"
	}
	j.Gaps = append(j.Gaps, g)
}

// array works out what the phase errors do to the array, with the lines' share
// as even within the cut and within the temperature difference: σ = a/√3 for
// limits ±a.
func (j *judge) array(p *Phase) {
	a := j.e.Array
	if a == nil {
		return
	}
	x := &ArrayEffect{Sidelobe: units.Level(math.NaN()), Greatest: units.Level(math.NaN())}
	switch {
	case a.Elements != nil:
		x.Elements = *a.Elements
	case j.e.Lines != nil:
		x.Elements = *j.e.Lines
	}
	s2 := 0.0
	if p.Match != nil {
		h := float64(p.Match.Cut.Phase)
		if p.Match.Offer == nil { // a set as cut keeps the match
			h = math.Min(h, float64(p.Match.Limit.Phase))
		}
		s2 += h * h / 3
	} else {
		m := &MatchReport{}
		cut, _ := j.cutting(p, m)
		h := float64(p.of(cut).Phase)
		s2 += h * h / 3
	}
	if g := p.Gradient; g != nil && g.Stated {
		s2 += float64(g.Worst.Phase) * float64(g.Worst.Phase) / 12
	}
	x.FromLines = units.Angle(math.Sqrt(s2))
	if a.PhaseError != nil {
		s2 += float64(*a.PhaseError) * float64(*a.PhaseError)
	} else {
		j.ask(enquiry.Question{Field: "array.phase_error", Text: "Which rms phase error comes from everything but these lines?", Changes: "the lines' share alone is counted"})
	}
	x.RMS = units.Angle(math.Sqrt(s2))
	x.Loss = units.Level(10 * math.Log10(1+s2))
	if n := float64(x.Elements); n > 0 && s2 > 0 {
		x.Sidelobe = units.Level(10 * math.Log10(s2/n))
		// Error sidelobes have the power of complex Gaussian noise: one direction
		// exceeds q times the mean with probability e^(−q), one of N
		// independent directions with 1 − (1 − e^(−q))^N. Computed here.
		x.Greatest = x.Sidelobe + units.Level(10*math.Log10(-math.Log(-math.Expm1(math.Log(0.95)/n))))
	}
	p.Array = x
	j.noteOnce("array: independent errors fill sidelobes and nulls; an error that goes steadily from line to line, as along a temperature gradient, steers the beam instead")
	if a.Sidelobe == nil {
		return
	}
	want := -math.Abs(float64(*a.Sidelobe))
	m := Margin{Limit: "error sidelobes of the array", Unit: "dB", LimitValue: want, Worst: float64(x.Greatest), Likely: float64(x.Sidelobe), Margin: want - float64(x.Greatest), At: p.At,
		Source:     "mean error sidelobe: phase variance over number of elements, from memory",
		Conditions: []Condition{{"rms phase error", figure(units.In(x.RMS, "deg")) + " deg"}, {"of it from the lines", figure(units.In(x.FromLines, "deg")) + " deg"}}}
	m.Verdict = verdict(m.Margin, want-m.Likely, a.PhaseError == nil)
	m.Why = "errors alone, over which the array's own sidelobes come; the worst is exceeded by one array in twenty"
	if math.IsNaN(m.Worst) {
		m.Verdict, m.Why = NotAssessed, "the number of elements is not stated"
	}
	j.Margins = append(j.Margins, m)
}

// statement fills the phase-matching statement: what must stand beside a match
// so that it can be held and checked.
func (j *judge) statement(p *Phase, m *MatchReport) {
	asked := j.e.Match
	add := func(name, value string) { p.Statement = append(p.Statement, StatementField{name, value, false}) }
	open := func(name, value string) { p.Statement = append(p.Statement, StatementField{name, value, true}) }
	for _, c := range j.e.Contradictions() {
		for _, f := range c.Fields {
			if strings.HasPrefix(f, "match.") && (f == "match.delay" || f == "match.phase" || f == "match.length") {
				open("contradiction", c.Text+"; the tighter is judged, no statement can be issued")
				break
			}
		}
	}
	if asked.Kind == "" {
		open("kind", "not said; judged as relative within the set")
	} else {
		add("kind", string(asked.Kind))
	}
	if m.SetSize > 0 {
		add("set size", fmt.Sprint(m.SetSize))
	} else {
		open("set size", "not stated")
	}
	add("match", "± "+m.Limit.String()+", half width; length "+p.Line)
	switch {
	case asked.At != nil:
		add("frequency", asked.At.String())
	case asked.Phase != nil:
		open("frequency", "not stated; taken as the top of the band, "+p.At.String())
	default:
		add("frequency", "delay: the whole band; degrees at "+p.At.String())
	}
	if asked.Temperature != nil {
		add("temperature", asked.Temperature.String())
	} else {
		open("temperature", "not stated; figures at "+room.String())
	}
	if t := j.torques(); t != "" {
		add("torque", t)
	} else {
		open("torque", "no figure for the mating faces")
	}
	if asked.State != "" {
		add("bend state", asked.State)
	} else {
		open("bend state", "straight, or formed as installed: not stated")
	}
	add("planes", fmt.Sprintf("%s to %s", orElse(j.s.Chain.LeftPlane, "left end of the chain"), orElse(j.s.Chain.RightPlane, "right end of the chain")))
	open("uncertainty", "of the measurement: to be stated by who measures; connector repeatability and cable movement are named contributors")
	switch {
	case asked.Tracking == nil:
		open("tracking over temperature", "not said whether the match must hold over the range")
	case *asked.Tracking:
		add("tracking over temperature", "must hold over the range")
	default:
		add("tracking over temperature", "at the one temperature only")
	}
	if g := p.Gradient; g != nil && g.Stated {
		add("gradient", fmt.Sprintf("%v between lines: %v", g.Gradient, g.Worst))
	} else {
		open("gradient", "temperature difference between lines not stated, or its effect not known")
	}
	switch m.Kind {
	case enquiry.Absolute:
		add("spares", "absolute: keep the stored delay; a spare is cut or sorted to it")
	default:
		add("spares", "relative: a line cannot be replaced alone; keep spares of the same set, or change to an absolute match against a stored delay")
	}
}

// torques names the coupling torque of the threaded faces of the chain.
func (j *judge) torques() string {
	var out []string
	seen := map[string]bool{}
	say := func(f part.Face, h part.Handling) {
		t := h.Torque
		s, ok := j.s.Catalogue.LookupSeries(f.Series)
		if t == nil && ok && s.Torque > 0 {
			t = &s.Torque
		}
		text := ""
		switch {
		case t != nil:
			text = fmt.Sprintf("%s %v", f.Series, *t)
		case ok && s.Coupling == "push-on":
			text = f.Series + " push-on, seated home"
		}
		if text != "" && !seen[text] {
			seen[text] = true
			out = append(out, text)
		}
	}
	for _, k := range j.s.Connectors {
		say(k.Face, k.Handling)
	}
	for _, k := range j.s.Boards {
		say(k.Face, k.Handling)
	}
	return join(out)
}
