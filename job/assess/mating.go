package assess

import (
	"fmt"
	"math"
	"strings"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// Life returns the number of matings a face stands: as its datasheet states,
// else the usual figure of its retention grade or series; 0 when nothing says.
func Life(h part.Handling, f part.Face, cat catalogue.Catalogue) int {
	if h.Matings != nil {
		return *h.Matings
	}
	if n := series.RetentionMatings(string(f.Retention)); n > 0 {
		return n
	}
	s, _ := cat.LookupSeries(f.Series)
	return s.Matings
}

// MatingReport is what meets what, and how it is to be handled.
type MatingReport struct {
	Joints []MatingJoint
	Series []MatesWith // what the chain's outer faces could meet, for who holds them in hand
	Torque []TorqueRow
	Care   []string // the care sheet, common practice where no source stands
}

// MatingJoint is one place where two faces meet.
type MatingJoint struct {
	Where               string // "inside the chain", "near port", "far port"
	LeftPart, RightPart string // a part's id, or "the port"
	Left, Right         part.Face
	Genders             bool // they go together
	series.Mating
}

// MatesWith says how one series goes with another.
type MatesWith struct {
	Series, With string
	series.Mating
}

// TorqueRow is the coupling torque of one thread.
type TorqueRow struct {
	Series   string
	Torque   units.Torque // 0: not confirmed
	Greatest units.Torque // 0: not known
	Source   string
}

// outerFace is a face at an end of the chain.
type outerFace struct {
	end      int // 0: from, 1: to
	part     string
	face     part.Face
	handling part.Handling
}

// outerFaces returns the faces that the chain shows at its two ends; an end
// that is a board's line or a file shows none.
func (s Subject) outerFaces() []outerFace {
	var out []outerFace
	pieces := s.Spec.Pieces
	if len(pieces) == 0 {
		return nil
	}
	for end, p := range []chain.PieceSpec{pieces[0], pieces[len(pieces)-1]} {
		if p.Part == "" {
			continue
		}
		if k, ok := s.Catalogue.CableConnector(p.Part); ok {
			out = append(out, outerFace{end, k.ID, k.Face, k.Handling})
		} else if k, ok := s.Catalogue.BoardConnector(p.Part); ok {
			if n := len(s.Joins); n > 0 && (end == 0 && s.Joins[0].LeftPart == k.ID || end == 1 && s.Joins[n-1].RightPart == k.ID) {
				continue // its face meets the next part: the board is behind it
			}
			out = append(out, outerFace{end, k.ID, k.Face, k.Handling})
		} else if k, ok := s.Catalogue.Adapter(p.Part); ok {
			f := k.Left
			if p.Turned != (end == 1) {
				f = k.Right
			}
			out = append(out, outerFace{end, k.ID, f, k.Handling})
		} else if k, ok := s.Catalogue.Bullet(p.Part); ok {
			f := k.Left
			if p.Turned != (end == 1) {
				f = k.Right
			}
			out = append(out, outerFace{end, k.ID, f, k.Handling})
		}
	}
	return out
}

func (j *judge) endOf(end int) enquiry.End { return [...]enquiry.End{j.e.From, j.e.To}[end] }

var (
	endField = [...]string{"from", "to"}
	endName  = [...]string{"near", "far"}
)

func (j *judge) top() units.Frequency {
	return units.Frequency(j.Prediction.Frequency[len(j.Prediction.Frequency)-1])
}

// matings judges every place where two faces meet.
func (j *judge) matings() error {
	r := &MatingReport{}
	j.Mating = r
	for _, x := range j.s.Joins {
		r.Joints = append(r.Joints, MatingJoint{"inside the chain", x.LeftPart, x.RightPart, x.Left, x.Right, x.Genders, x.Mating})
	}
	names := map[string]bool{}
	var order []string // of series, as they appear
	note := func(name string) {
		if name != "" && !names[name] {
			names[name] = true
			order = append(order, name)
		}
	}
	open := map[string]bool{} // series that meet a port nobody named
	for _, o := range j.s.outerFaces() {
		note(o.face.Series)
		end := j.endOf(o.end)
		j.presents(end, o)
		if end.Port == nil || end.Port.Series == "" {
			if end.Kind != enquiry.Board {
				open[o.face.Series] = true
				j.ask(enquiry.Question{Field: endField[o.end] + ".port", Text: fmt.Sprintf("Which port does the %s end mate with: series, gender, and in what condition?", endName[o.end]),
					Changes: fmt.Sprintf("whether %s performs there, serves a reduced band or needs a gauge first, and the torque", o.face.Series)})
			}
			continue
		}
		p := *end.Port
		r.Joints = append(r.Joints, MatingJoint{endName[o.end] + " port", o.part, "the port", o.face, p,
			p.Gender == "" || o.face.Gender.Mates(p.Gender), series.Mate(o.face.Series, p.Series)})
		note(p.Series)
	}
	for _, x := range r.Joints {
		note(x.Left.Series)
		note(x.Right.Series)
		j.judgeJoint(x)
	}
	for _, name := range order {
		j.matesWith(name, open[name])
	}
	for _, name := range order {
		j.torque(name)
	}
	j.care(order)
	return nil
}

// presents compares an outer face with what the end must show.
func (j *judge) presents(end enquiry.End, o outerFace) {
	p := end.Presents
	if p == nil || (p.Series == "" || p.Series == o.face.Series) && (p.Gender == "" || p.Gender == o.face.Gender) && (p.Retention == "" || p.Retention == o.face.Retention) {
		return
	}
	j.Margins = append(j.Margins, Margin{Limit: "face shown at the " + endName[o.end] + " end", Verdict: Fails, Worst: math.NaN(), Likely: math.NaN(), LimitValue: math.NaN(), Margin: math.NaN(),
		Element: o.part, Source: "the enquiry", Why: fmt.Sprintf("%s shows %s, the enquiry asks for %s", o.part, describe(o.face), describe(*p))})
}

func describe(f part.Face) string {
	s := f.Series
	for _, x := range []string{string(f.Gender), string(f.Retention)} {
		if x == "" {
			continue
		}
		if s != "" {
			s += " "
		}
		s += x
	}
	return s
}

// judgeJoint turns a joint that does not simply perform into a margin.
func (j *judge) judgeJoint(x MatingJoint) {
	top := j.top()
	pair := fmt.Sprintf("%s with %s", describe(x.Left), describe(x.Right))
	m := Margin{Limit: "mating of " + x.LeftPart + " with " + x.RightPart, Worst: math.NaN(), Likely: math.NaN(), LimitValue: units.In(top, "GHz"), Margin: math.NaN(), Unit: "GHz", At: top,
		Element: x.LeftPart, Source: sourceOf(x.Mating), Conditions: []Condition{{"where", x.Where}, {"grade", x.Grade.String()}}}
	if x.Top > 0 {
		m.Worst, m.Margin = units.In(x.Top, "GHz"), units.In(x.Top-top, "GHz")
	}
	switch {
	case x.Grade == series.DoesNotFit:
		m.Verdict = Fails
		m.Why = fmt.Sprintf("%s: %s; %s", pair, x.Grade, x.Reason)
		j.bridge(x)
	case !x.Genders:
		m.Verdict = Fails
		m.Why = fmt.Sprintf("%s: the genders do not go together", pair)
		j.bridge(x)
	case x.Top > 0 && top > x.Top*(1+1e-12):
		m.Verdict = Fails
		m.Why = fmt.Sprintf("%s serves to %v only, %v is wanted: %s", pair, x.Top, top, x.Reason)
		j.Gaps = append(j.Gaps, Gap{Axis: "frequency", Asked: top.String(), Best: fmt.Sprintf("%v (%s)", x.Top, pair), Cause: Physics,
			Needs: "the same interface on both sides: the larger of two lines sets the limit"})
	case x.Grade == series.GaugeFirst:
		m.Verdict = AtRisk
		m.Why = fmt.Sprintf("%s: %s", pair, x.Reason)
		j.caution(Caution(fmt.Sprintf("Gauge the pin depth of both faces before %s meets %s (%s): %s.", x.LeftPart, x.RightPart, pair, x.Reason)))
		j.Ways = append(j.Ways, Option{fmt.Sprintf("the same interface on both sides in place of %s", pair), "removes the risk of spreading the finer socket, and the gauging before each new mate"})
	case x.Grade == series.ReducedBand:
		m.Verdict = Meets
		m.Why = fmt.Sprintf("%s: %s, to %v", pair, x.Reason, x.Top)
	default:
		return // it performs: nothing binds
	}
	j.Margins = append(j.Margins, m)
}

// bridge looks for an adapter between two faces that do not meet, and records
// the gap when there is none.
func (j *judge) bridge(x MatingJoint) {
	for _, a := range j.s.Catalogue.Adapters {
		for _, f := range [][2]part.Face{{a.Left, a.Right}, {a.Right, a.Left}} {
			if joins(x.Left, f[0]) && joins(f[1], x.Right) && (a.RatedFrequency == nil || *a.RatedFrequency >= j.top()) {
				j.Ways = append(j.Ways, Option{fmt.Sprintf("adapter %s between %s and %s", a.ID, x.LeftPart, x.RightPart), "joins the two faces, with its own loss and reflection"})
				return
			}
		}
	}
	j.Gaps = append(j.Gaps, Gap{Axis: "mating", Asked: fmt.Sprintf("%s with %s", describe(x.Left), describe(x.Right)), Best: "no adapter in the catalogue", Cause: NotYetBuilt,
		Needs: fmt.Sprintf("an adapter or a connector that joins %s to %s, rated to %v", describe(x.Left), describe(x.Right), j.top())})
}

// joins says whether two faces mate without reservation.
func joins(a, b part.Face) bool {
	return (a.Gender == "" || b.Gender == "" || a.Gender.Mates(b.Gender)) && series.Mate(a.Series, b.Series).Grade == series.Performs
}

// matesWith records what a series goes with, and warns of look-alikes.
func (j *judge) matesWith(name string, open bool) {
	for _, other := range series.All() {
		m := series.Mate(name, other.Name)
		if other.Name == name || m.Standing == "" {
			continue
		}
		j.Mating.Series = append(j.Mating.Series, MatesWith{name, other.Name, m})
		switch m.Grade {
		case series.GaugeFirst:
			j.caution(Caution(fmt.Sprintf("%s into %s: %s.", name, other.Name, m.Reason)))
			if open && m.Top < j.top() {
				j.noteOnce("%s on a %s port serves to %v only", name, other.Name, m.Top)
			}
		case series.ReducedBand:
			if open {
				j.noteOnce("%s also mates with %s, to %v: %s", name, other.Name, m.Top, m.Reason)
			}
		case series.DoesNotFit:
			j.caution(Caution(fmt.Sprintf("Do not try %s on %s: %s.", name, other.Name, m.Reason)))
		}
	}
}

func sourceOf(m series.Mating) string {
	switch {
	case m.Source != "" && m.Standing != "":
		return m.Source + " (" + m.Standing + ")"
	case m.Source != "":
		return m.Source
	}
	return m.Standing
}

// torque notes the coupling torque of a thread with its source.
func (j *judge) torque(name string) {
	s, ok := j.s.Catalogue.LookupSeries(name)
	if !ok {
		return
	}
	row := TorqueRow{Series: name, Torque: s.Torque, Greatest: s.MaxTorque}
	if o := s.From("torque"); o.Standing != "" {
		row.Source = o.Standing
		if o.Source != "" {
			row.Source += ": " + o.Source
		}
	}
	stated := ""
	for _, k := range j.s.Connectors {
		if k.Face.Series == name && k.Handling.Torque != nil {
			row.Torque, row.Source, stated = *k.Handling.Torque, "datasheet of "+k.ID, k.ID
		}
	}
	for _, k := range j.s.Boards {
		if k.Face.Series == name && k.Handling.Torque != nil && (stated == "" || *k.Handling.Torque < row.Torque) {
			row.Torque, row.Source = *k.Handling.Torque, "datasheet of "+k.ID
		}
	}
	switch {
	case row.Torque > 0:
		text := fmt.Sprintf("torque, %s port: %v (%s)", name, row.Torque, row.Source)
		if row.Greatest > 0 {
			text += fmt.Sprintf(", never above %v", row.Greatest)
		}
		j.noteOnce("%s", text)
	case s.Coupling != "threaded":
		return
	default:
		row.Source = "not confirmed here"
		j.noteOnce("torque, %s port: no confirmed figure; take the maker's", name)
	}
	j.Mating.Torque = append(j.Mating.Torque, row)
}

// care writes the care sheet of the couplings in use.
func (j *judge) care(names []string) {
	threaded, pushed := false, false
	for _, n := range names {
		s, _ := j.s.Catalogue.LookupSeries(n)
		threaded = threaded || s.Coupling == "threaded"
		pushed = pushed || s.Coupling == "push-on" || s.Coupling == "snap-on"
	}
	add := func(text string) { j.Mating.Care = append(j.Mating.Care, text) }
	if threaded {
		add("turn only the nut, with a torque wrench of the port's type; hold the body still: a turning contact wears both faces")
		add("gauge the pin depth before the first use, at intervals and before a new mate: recession within the maker's limits, protrusion never; a pin gap much below the limits is not better, its reflection becomes unpredictable")
	}
	if pushed {
		add("push and pull along the axis, never rock; take bullets out with their tool, straight")
	}
	if threaded || pushed {
		add("look at both faces under magnification before each series of matings; blow out swarf; swab with alcohol, no chlorinated solvents")
		add("ground the centre conductor of a cable before it is connected: a long cable stores charge")
		add("cap every face that is not mated")
		j.noteOnce("care sheet (common practice): %s", strings.Join(j.Mating.Care, "; "))
		j.caution("Do not file, grind or scrape contacts: many are beryllium copper, and its dust is regulated. The employer's rules and the material's safety data apply.")
		j.caution("Do not mate or part connectors while power is applied: arcs destroy contacts and burn. Lock-out rules of the site apply.")
	}
}
