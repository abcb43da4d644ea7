package assess

import (
	"fmt"
	"math"

	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/network"
	"linewright/physics/units"
)

// verdict turns a worst and a likely distance to a limit into a verdict.
// Positive is inside; typical figures never vouch for more than at risk.
func verdict(worst, likely float64, typical bool) Verdict {
	switch {
	case math.IsNaN(worst) && math.IsNaN(likely):
		return NotAssessed
	case worst >= 0 && typical:
		return AtRisk
	case worst >= 0:
		return Meets
	case likely >= 0:
		return AtRisk
	}
	return Fails
}

// ratings compares each element's rating with the band.
func (j *judge) ratings() error {
	top := j.Prediction.Frequency[len(j.Prediction.Frequency)-1]
	least, name, unknown := math.Inf(1), "", ""
	for _, row := range j.Prediction.Rows {
		switch {
		case row.Rated != nil && float64(*row.Rated) < least:
			least, name = float64(*row.Rated), row.Name
		case row.Rated == nil && row.Part != "":
			unknown = row.Name
		}
		if row.MinRated != nil && float64(*row.MinRated) > j.Prediction.Frequency[0] {
			j.Margins = append(j.Margins, Margin{Limit: "lowest rated frequency", Verdict: Fails, Worst: units.In(*row.MinRated, "GHz"), Likely: math.NaN(),
				LimitValue: j.Prediction.Frequency[0] / 1e9, Margin: (j.Prediction.Frequency[0] - float64(*row.MinRated)) / 1e9, Unit: "GHz", Element: row.Name, Source: row.Facts.Source,
				Why: fmt.Sprintf("%s serves from %v only", row.Name, *row.MinRated)})
		}
	}
	m := Margin{Limit: "rated frequency", Worst: least / 1e9, Likely: math.NaN(), LimitValue: top / 1e9, Margin: (least - top) / 1e9, Unit: "GHz", Element: name, Source: "the parts' ratings"}
	switch {
	case least < top*(1-1e-12):
		m.Verdict = Fails
		m.Why = fmt.Sprintf("%s is rated to %v, %v is wanted", name, units.Frequency(least), units.Frequency(top))
		j.Gaps = append(j.Gaps, Gap{Axis: "frequency", Asked: units.Frequency(top).String(), Best: fmt.Sprintf("%v (%s)", units.Frequency(least), name), Cause: NotYetBuilt,
			Needs: fmt.Sprintf("a part in place of %s rated to %v", name, units.Frequency(top))})
		if err := j.offerBelow(least, top); err != nil {
			return err
		}
	case unknown != "":
		m.Verdict = NotAssessed
		m.Element = unknown
		m.Why = fmt.Sprintf("%s states no rated frequency", unknown)
		if math.IsInf(least, 1) {
			m.Worst, m.Margin = math.NaN(), math.NaN()
		}
	case math.IsInf(least, 1):
		return nil // a chain without rated parts has no rating to break
	case least <= top*(1+1e-12):
		m.Why = fmt.Sprintf("%s is at its rating with no margin", name)
		j.offerHigher(top)
	default:
		m.Why = fmt.Sprintf("the lowest rating is that of %s", name)
	}
	j.Margins = append(j.Margins, m)
	return nil
}

// offerHigher names board connectors of the same mount whose rating leaves a
// margin of a tenth (common practice), when those in the chain leave none.
func (j *judge) offerHigher(top float64) {
	const margin = 1.1
	for _, b := range j.s.Boards {
		if b.RatedFrequency == nil || float64(*b.RatedFrequency) > top*(1+1e-12) {
			continue
		}
		var best *part.BoardConnector
		for i := range j.s.Catalogue.BoardConnectors {
			k := &j.s.Catalogue.BoardConnectors[i]
			if k.Mount == b.Mount && k.RatedFrequency != nil && float64(*k.RatedFrequency) >= margin*top && k.Face.Gender == b.Face.Gender &&
				(best == nil || k.Price != nil && best.Price != nil && k.Price.Micros < best.Price.Micros) {
				best = k
			}
		}
		if best == nil {
			continue
		}
		way := Option{Title: fmt.Sprintf("%s (%s, %s) in place of %s", best.ID, best.Face.Series, best.Mount, b.ID),
			Effect: fmt.Sprintf("rated to %v: %v of margin to its rating, where %s leaves none", *best.RatedFrequency, units.Frequency(float64(*best.RatedFrequency)-top), b.ID)}
		for _, w := range j.Ways {
			if w == way {
				return
			}
		}
		j.Ways = append(j.Ways, way)
	}
}

// offerBelow works out what the chain does at its rating, when that is near: a
// partial offer.
func (j *judge) offerBelow(rated, top float64) error {
	if rated < 0.8*top || rated <= j.Prediction.Frequency[0] {
		return nil
	}
	p, err := j.s.Chain.Predict(j.ctx, []float64{rated}, j.Prediction.Conditions, chain.Options{Draws: -1})
	if err != nil {
		return err
	}
	j.AtRating = &p
	effect := fmt.Sprintf("loss %.3f dB there at %v", p.Loss[0], p.Conditions.Temperature)
	for _, l := range j.e.Limits.InsertionLoss {
		if l.AtMost != nil && (whole(l.Of) || l.Of == enquiry.OfAssembly) && (l.Temperature == nil || *l.Temperature == p.Conditions.Temperature) {
			loss := lossOf(p, j.s, l.Of, 0)
			effect = fmt.Sprintf("loss %.3f dB at %v and %v, %.3f dB %s the limit of %v", loss, units.Frequency(rated), p.Conditions.Temperature,
				math.Abs(float64(*l.AtMost)-loss), map[bool]string{true: "inside", false: "outside"}[loss <= float64(*l.AtMost)], *l.AtMost)
		}
	}
	j.Ways = append(j.Ways, Option{Title: fmt.Sprintf("guarantee it to %v, and give figures to %v as typical after a test of samples", units.Frequency(rated), units.Frequency(top)), Effect: effect})
	return nil
}

func join(xs []string) string {
	switch len(xs) {
	case 0:
		return ""
	case 1:
		return xs[0]
	}
	s := ""
	for i, x := range xs[:len(xs)-1] {
		if i > 0 {
			s += ", "
		}
		s += x
	}
	return s + " and " + xs[len(xs)-1]
}

// span says at which grid points a limit holds.
func span(e enquiry.Enquiry, from, to *units.Frequency, f float64) bool {
	if from == nil && to == nil {
		return inBand(e, f)
	}
	return (from == nil || f >= float64(*from)*(1-1e-12)) && (to == nil || f <= float64(*to)*(1+1e-12))
}

// losses judges insertion loss: the sum of the dissipative losses at the
// hottest temperature. What mismatch can add is shown beside it.
func (j *judge) losses() error {
	for _, l := range j.e.Limits.InsertionLoss {
		p := j.Prediction
		if l.Temperature != nil && *l.Temperature != p.Conditions.Temperature {
			q, err := j.at(*l.Temperature)
			if err != nil {
				return err
			}
			p = q
		}
		m := Margin{Limit: "insertion loss", Margin: math.Inf(1), Unit: "dB", Wish: l.Wish, Likely: math.NaN(), Worst: math.NaN(),
			Conditions: []Condition{{"temperature", p.Conditions.Temperature.String()}, {"counts", "dissipation; mismatch beside it"}}}
		role := l.Of
		if !whole(role) {
			m.Limit += " of the " + string(role)
		}
		at := -1
		with := m // the same with the largest mismatch: it may bind elsewhere in the band
		for i, f := range p.Frequency {
			if !span(j.e, l.From, l.To, f) {
				continue
			}
			limit, ok := 0.0, false
			if l.AtMost != nil {
				limit, ok = float64(*l.AtMost), true
			} else {
				limit, ok = enquiry.MaskAt(l.Mask, f)
			}
			if !ok {
				continue
			}
			loss := lossOf(p, j.s, role, i)
			if d := limit - loss; d < m.Margin {
				m.Margin, m.Worst, m.LimitValue, m.At, at = d, loss, limit, units.Frequency(f), i
			}
			if d := limit - loss - p.Mismatch[i]; d < with.Margin {
				with.Margin, with.Worst, with.Likely, with.LimitValue, with.At = d, loss+p.Mismatch[i], loss, limit, units.Frequency(f)
			}
		}
		if at < 0 {
			m.Margin, m.LimitValue = math.NaN(), math.NaN()
			m.Verdict, m.Why = NotAssessed, "the limit names no frequency inside the band"
			j.Margins = append(j.Margins, m)
			continue
		}
		typical, missing, stretched := false, []string(nil), []string(nil)
		weak := vouches{}
		biggest := -1
		for k, row := range p.Rows {
			if !j.s.judges(role, k) {
				continue
			}
			typical = typical || row.Typical
			weak.loss(row)
			if !row.Lossy {
				missing = append(missing, row.Name)
			}
			if biggest < 0 || row.Response.Loss[at] > p.Rows[biggest].Response.Loss[at] {
				biggest = k
			}
			for _, n := range row.Notes {
				if n.Kind == chain.Extrapolated {
					stretched = append(stretched, row.Name)
					break
				}
			}
		}
		if biggest >= 0 {
			m.Element, m.Source = p.Rows[biggest].Name, p.Rows[biggest].Response.Source
		}
		m.Verdict = verdict(m.Margin, m.Margin, typical)
		m.Why = fmt.Sprintf("%.3f dB at %v and %v; most of it in %s", m.Worst, m.At, p.Conditions.Temperature, m.Element)
		if typical && m.Verdict == AtRisk {
			m.Why += "; the figures are typical, not guaranteed"
		}
		if len(stretched) > 0 && m.Verdict == Meets {
			m.Verdict = AtRisk
			m.Why += fmt.Sprintf("; the loss of %s is extrapolated beyond its figures", join(stretched))
		}
		weak.weaken(&m)
		if len(weak.undated) > 0 {
			j.ask(enquiry.Question{Field: "catalogue: temperature of the loss of " + join(weak.undated), Text: fmt.Sprintf("At which temperature does the stated loss of %s hold?", join(weak.undated)),
				Changes: fmt.Sprintf("taken as it stands; if it is that of 25 °C, its conductors' part is %.1f %% higher at %v", 100*(part.TemperatureFactor(max(p.Conditions.Temperature, chain.ColdestMetal), room)-1), p.Conditions.Temperature)})
		}
		if len(missing) > 0 {
			if m.Verdict != Fails {
				m.Verdict = NotAssessed
			}
			m.Why += fmt.Sprintf("; no figure for the loss of %s", join(missing))
		}
		if whole(role) {
			m.Conditions = append(m.Conditions, Condition{"mismatch adds at most", fmt.Sprintf("%.2f dB", p.Mismatch[at])})
		}
		j.Margins = append(j.Margins, m)
		if m.Verdict == Fails && !l.Wish {
			j.lossGap(p, m, at)
		}
		if whole(role) && (m.Verdict == Meets || m.Verdict == AtRisk && m.Margin >= 0) && with.Margin < 0 {
			with.Limit, with.Verdict, with.Element, with.Conditions, with.Source = "insertion loss, largest mismatch included", AtRisk, m.Element, m.Conditions, m.Source
			with.Why = "dissipation alone lies inside; with the unluckiest phases the reflections bring it outside"
			j.Margins = append(j.Margins, with)
		}
	}
	if len(j.e.Limits.InsertionLoss) == 0 {
		j.ask(enquiry.Question{Field: "limits.insertion_loss", Text: "Which insertion loss is allowed, at which frequency and temperature, and between which planes?",
			Changes: "without it the ranking weighs loss but excludes nothing"})
	}
	return nil
}

// lossGap records an unmet loss and how far a shorter run would mend it.
func (j *judge) lossGap(p chain.Prediction, m Margin, at int) {
	g := Gap{Axis: "insertion loss", Asked: fmt.Sprintf("%.2f dB at %v", m.LimitValue, m.At), Best: fmt.Sprintf("%.2f dB", m.Worst), Cause: NotYetBuilt,
		Needs: fmt.Sprintf("%.2f dB less, most of it in %s", -m.Margin, m.Element)}
	for k, el := range j.s.Chain.Elements {
		c, ok := chain.CableOf(el)
		if !ok {
			continue
		}
		perMetre := p.Rows[k].Response.Loss[at] / float64(c.Length)
		if shorter := float64(c.Length) + m.Margin/perMetre; shorter > 0 {
			j.Ways = append(j.Ways, Option{Title: fmt.Sprintf("shorten the cable to %.0f mm", math.Floor(shorter*1e3)),
				Effect: fmt.Sprintf("brings the loss to %.2f dB at %v and %v", m.LimitValue, m.At, p.Conditions.Temperature)})
		}
		if line, ok := c.Part.CoreLine(); ok && line.Check() == nil {
			g.Needs = fmt.Sprintf("a cable of %.2f dB/m in place of %.2f dB/m at %v", perMetre+m.Margin/float64(c.Length), perMetre, m.At)
		}
	}
	j.Gaps = append(j.Gaps, g)
}

// at predicts the chain at another temperature on the same grid.
func (j *judge) at(t units.Temperature) (chain.Prediction, error) {
	for _, p := range j.States {
		if p.Conditions.Temperature == t {
			return p, nil
		}
	}
	p, err := j.s.Chain.Predict(j.ctx, j.Prediction.Frequency, chain.Conditions{Temperature: t}, chain.Options{Draws: -1})
	if err == nil {
		j.States = append(j.States, p)
	}
	return p, err
}

// whole says that a limit judges the chain from end to end.
func whole(of enquiry.Of) bool { return of == "" || of == enquiry.OfChain }

// judges says whether a limit on of takes in element k of the chain.
func (s Subject) judges(of enquiry.Of, k int) bool {
	switch {
	case whole(of):
		return true
	case of == enquiry.OfAssembly:
		return s.Roles[k] == chain.RoleConnector || s.Roles[k] == chain.RoleCable
	}
	return string(s.Roles[k]) == string(of)
}

// lossOf returns the loss that a limit judges at grid point i: the sum over the
// chain or the assembly, the largest single one of a smaller piece.
func lossOf(p chain.Prediction, s Subject, of enquiry.Of, i int) float64 {
	sum, largest := 0.0, 0.0
	for k, row := range p.Rows {
		if s.judges(of, k) {
			sum += row.Response.Loss[i]
			largest = math.Max(largest, row.Response.Loss[i])
		}
	}
	if whole(of) || of == enquiry.OfAssembly {
		return sum
	}
	return largest
}

// reflectionLimit is a return loss or a VSWR limit in one form.
type reflectionLimit struct {
	of       enquiry.Of
	from, to *units.Frequency
	wish     bool
	vswr     bool
	flat     bool                                   // one level over its whole span
	at       func(f float64) (rho float64, ok bool) // largest allowed |Γ|
}

func reflectionLimits(e enquiry.Enquiry) []reflectionLimit {
	var out []reflectionLimit
	for _, l := range e.Limits.ReturnLoss {
		out = append(out, reflectionLimit{l.Of, l.From, l.To, l.Wish, false, l.AtLeast != nil, func(f float64) (float64, bool) {
			if l.AtLeast != nil {
				return network.FromReturnLoss(float64(*l.AtLeast)), true
			}
			db, ok := enquiry.MaskAt(l.Mask, f)
			return network.FromReturnLoss(db), ok
		}})
	}
	for _, l := range e.Limits.VSWR {
		out = append(out, reflectionLimit{l.Of, l.From, l.To, l.Wish, true, true, func(float64) (float64, bool) { return network.FromVSWR(l.AtMost), true }})
	}
	return out
}

// reflections judges return loss and VSWR. The verdict is the worst case's;
// where that lies outside and the root sum of squares inside, the limit is at
// risk, and the swept 95 % stands beside it.
func (j *judge) reflections() error {
	limits := reflectionLimits(j.e)
	for _, l := range limits {
		if whole(l.of) {
			j.chainReflection(l)
			continue
		}
		for k, row := range j.Prediction.Rows {
			if j.s.judges(l.of, k) {
				j.pieceReflection(l, k, row)
			}
		}
	}
	if len(limits) == 0 {
		j.ask(enquiry.Question{Field: "limits.return_loss", Text: "Which return loss or VSWR is allowed, of the whole chain or of each interface, and at which plane?",
			Changes: "without it reflections are shown and judge nothing"})
	}
	return nil
}

func express(rho float64, vswr bool) float64 {
	if vswr {
		return network.VSWR(rho)
	}
	return network.ReturnLoss(rho)
}

// fill completes a reflection margin from the worst and likely |Γ|.
func (m *Margin) fill(worst, likely, limit float64, vswr, typical bool) {
	m.Worst, m.Likely, m.LimitValue = express(worst, vswr), express(likely, vswr), express(limit, vswr)
	if vswr {
		m.Unit, m.Margin = "", m.LimitValue-m.Worst
	} else {
		m.Unit, m.Margin = "dB", m.Worst-m.LimitValue
	}
	m.Verdict = verdict(limit-worst+1e-15, limit-likely, typical)
}

func (l reflectionLimit) name() string {
	if l.vswr {
		return "VSWR"
	}
	return "return loss"
}

// coldest is the prediction in which the reflections are least weakened by the
// loss before them.
func (j *judge) coldest() chain.Prediction { return j.States[0] }

func (j *judge) chainReflection(l reflectionLimit) {
	p := j.coldest()
	for end, ret := range []chain.Returns{p.Left, p.Right} {
		if end == 1 && mirrored(p) {
			break
		}
		at, least, last := -1, math.Inf(1), -1
		for i, f := range p.Frequency {
			if rho, ok := l.at(f); ok && span(j.e, l.from, l.to, f) {
				last = i
				if rho-ret.Worst[i] < least {
					at, least = i, rho-ret.Worst[i]
				}
			}
		}
		if at >= 0 && l.flat && at != last {
			// Datasheet bounds are set by the top of the band, and there the
			// trade compares them. Taken as flat they allow more at the low
			// end, where less loss hides the far reflections: said beside it.
			j.chainReflectionAt(l, end, last, "")
			j.chainReflectionAt(l, end, at, ", worst of the band")
			continue
		}
		j.chainReflectionAt(l, end, at, "")
	}
}

// seenFrom returns p's reflections from an end, 0 from the left.
func seenFrom(p chain.Prediction, end int) chain.Returns {
	if end == 1 {
		return p.Right
	}
	return p.Left
}

// chainReflectionAt adds the margin at grid point at, seen from an end, at the
// coldest temperature: there the loss hides least.
func (j *judge) chainReflectionAt(l reflectionLimit, end, at int, suffix string) {
	p := j.coldest()
	ret := seenFrom(p, end)
	m := Margin{Limit: l.name() + " of the chain", Wish: l.wish, Source: "sum of the reflections, each weakened by the two-way loss before it"}
	if end == 1 {
		m.Limit += ", far end"
	}
	m.Limit += suffix
	if at < 0 {
		m.Worst, m.Likely, m.LimitValue, m.Margin, m.Verdict, m.Why = math.NaN(), math.NaN(), math.NaN(), math.NaN(), NotAssessed, "the limit names no frequency inside the band"
		j.Margins = append(j.Margins, m)
		return
	}
	limit, _ := l.at(p.Frequency[at])
	typical := false
	weak := vouches{}
	biggest, share := 0, 0.0
	for k, row := range p.Rows {
		typical = typical || row.Typical
		weak.reflection(row)
		if row.Left[at] > share {
			biggest, share = k, row.Left[at]
		}
	}
	m.fill(ret.Worst[at], ret.RSS[at], limit, l.vswr, typical)
	m.At, m.Element = units.Frequency(p.Frequency[at]), p.Rows[biggest].Name
	m.Conditions = []Condition{{"plane", "input of the chain, other end matched"}, {"temperature", p.Conditions.Temperature.String()}}
	if ret.Swept != nil {
		m.Conditions = append(m.Conditions, Condition{"swept 95 %", number(express(ret.Swept.Value, l.vswr)) + unitOf(l.vswr)})
	}
	if hot := j.Prediction; hot.Conditions != p.Conditions {
		m.Conditions = append(m.Conditions, Condition{"worst at " + hot.Conditions.Temperature.String(), number(express(seenFrom(hot, end).Worst[at], l.vswr)) + unitOf(l.vswr)})
	}
	m.Conditions = append(m.Conditions, Condition{"RSS, no bound", number(express(ret.RSS[at], l.vswr)) + unitOf(l.vswr)},
		Condition{"lossless parts, exact worst", number(express(ret.Exact[at], l.vswr)) + unitOf(l.vswr)})
	switch m.Verdict {
	case Meets:
		m.Why = "even the unluckiest phases stay inside"
	case AtRisk:
		if m.Margin >= 0 {
			m.Why = "even the unluckiest phases stay inside"
			break
		}
		m.Why = "the worst case lies outside, the root sum of squares inside: agree on a swept test limit, or choose better parts"
		if ret.Swept != nil {
			outside := 0
			for _, d := range ret.Swept.Draws {
				if d > limit {
					outside++
				}
			}
			m.Why += fmt.Sprintf("; of %d random draws %.0f %% break the limit somewhere in the band", len(ret.Swept.Draws), 100*float64(outside)/float64(len(ret.Swept.Draws)))
		}
	case Fails:
		m.Why = "even the root sum of squares lies outside"
	}
	if typical && m.Margin >= 0 {
		m.Why += "; the figures are typical, not guaranteed"
	}
	weak.weaken(&m)
	if len(ret.Unknown) > 0 {
		var names []string
		for _, k := range ret.Unknown {
			names = append(names, p.Rows[k].Name)
		}
		if m.Verdict != Fails {
			m.Verdict = NotAssessed
		}
		m.Why += fmt.Sprintf("; no figure for the reflection of %s", join(names))
		j.ask(enquiry.Question{Field: "catalogue: reflection of " + join(names), Text: "What is the VSWR of " + join(names) + " over the band?",
			Changes: "until it is known the chain's return loss is not assessed"})
	}
	j.Margins = append(j.Margins, m)
	if m.Verdict == Fails && !l.wish && suffix == "" {
		j.Gaps = append(j.Gaps, Gap{Axis: "return loss", Asked: number(m.LimitValue) + unitOf(l.vswr), Best: number(m.Worst) + unitOf(l.vswr) + " in the worst case", Cause: NotYetBuilt,
			Needs: "better matched parts, the largest reflection being that of " + m.Element})
	}
}

// mirrored says whether both ends show the same, so that one margin is enough.
func mirrored(p chain.Prediction) bool {
	for i := range p.Frequency {
		if math.Abs(p.Left.Worst[i]-p.Right.Worst[i]) > 1e-9 {
			return false
		}
	}
	return true
}

func (j *judge) pieceReflection(l reflectionLimit, k int, row chain.Row) {
	p := j.Prediction
	at, least := -1, math.Inf(1)
	worse := func(i int) float64 { return math.Max(row.Left[i], row.Right[i]) }
	for i, f := range p.Frequency {
		if rho, ok := l.at(f); ok && span(j.e, l.from, l.to, f) && rho-worse(i) < least {
			at, least = i, rho-worse(i)
		}
	}
	if at < 0 || row.Reflecting && worse(at) == 0 {
		return // a neighbour counts its reflection
	}
	limit, _ := l.at(p.Frequency[at])
	m := Margin{Limit: l.name() + " of the " + string(l.of), Wish: l.wish, Element: row.Name, At: units.Frequency(p.Frequency[at]), Source: row.Response.Source}
	likely := worse(at)
	m.Conditions = []Condition{{"plane", "of the piece alone, both sides matched"}}
	m.Why = fmt.Sprintf("%s by itself", row.Name)
	if gap, z, ok := j.nominalGap(k); ok {
		likely = oneEnd(m.At, gap, z)
		m.Conditions = append(m.Conditions, Condition{"at nominal spacing", fmt.Sprintf("a gap of %s, %s%s", mm(gap), number(express(likely, l.vswr)), unitOf(l.vswr))})
		m.Why += fmt.Sprintf(", the largest that the spacing's tolerance opens; the likely value is that of the nominal gap, %s", mm(gap))
	}
	m.fill(worse(at), likely, limit, l.vswr, row.Typical)
	weak := vouches{}
	weak.reflection(row)
	weak.weaken(&m)
	if !row.Reflecting {
		m.Verdict, m.Worst, m.Likely, m.Margin = NotAssessed, math.NaN(), math.NaN(), math.NaN()
		m.Why = "no figure for its reflection"
	}
	j.Margins = append(j.Margins, m)
}

// vouches collects what the figures behind a margin do not say of themselves.
type vouches struct{ unsaid, undated, leftOut []string }

func (v *vouches) loss(row chain.Row) {
	if row.Unvouched.LossStatistic {
		v.unsaid = append(v.unsaid, "the loss of "+row.Name)
	}
	if row.Unvouched.Temperature {
		v.undated = append(v.undated, row.Name)
	}
	if row.Unvouched.LossLeftOut {
		v.leftOut = append(v.leftOut, row.Name)
	}
}

func (v *vouches) reflection(row chain.Row) {
	if row.Unvouched.ReflectionStatistic {
		v.unsaid = append(v.unsaid, "the reflection of "+row.Name)
	}
}

// weaken lets no margin meet its limit on figures whose conditions are open.
func (v vouches) weaken(m *Margin) {
	if !(m.Margin >= 0) {
		return
	}
	say := func(xs []string, format string) {
		if len(xs) == 0 {
			return
		}
		if m.Verdict == Meets {
			m.Verdict = AtRisk
		}
		m.Why += "; " + fmt.Sprintf(format, join(xs))
	}
	say(v.unsaid, "%s is not said to be guaranteed")
	say(v.undated, "the loss of %s is stated without its temperature and taken as it stands")
	say(v.leftOut, "the loss of %s, a few millimetres of line, is not known and left out")
}

func number(x float64) string { return fmt.Sprintf("%.3g", x) }

func unitOf(vswr bool) string {
	if vswr {
		return ""
	}
	return " dB"
}

// ripples judges the peak-to-peak variation that two reflections make.
func (j *judge) ripples() error {
	p := j.coldest()
	for _, l := range j.e.Limits.Ripple {
		m := Margin{Limit: "ripple", Unit: "dB", LimitValue: float64(l.AtMost), Wish: l.Wish, Source: "every pair of reflections at its worst phase"}
		// Bounds are flat or stepped and loss rises with frequency, so ripple is
		// often greatest at the low end: the whole band is judged.
		for i, f := range p.Frequency {
			if inBand(j.e, f) {
				if sum, largest := allRipple(p, i); sum > m.Worst || m.At == 0 {
					m.Worst, m.Likely, m.At = sum, largest, units.Frequency(f)
				}
			}
		}
		typical, weak := false, vouches{}
		for _, row := range p.Rows {
			typical = typical || row.Typical
			weak.reflection(row)
		}
		m.Margin = m.LimitValue - m.Worst
		m.Verdict = verdict(m.Margin, m.LimitValue-m.Likely, typical)
		m.Why = "the largest pair alone makes " + units.Level(m.Likely).String()
		if typical && m.Margin >= 0 {
			m.Why += "; the figures are typical, not guaranteed"
		}
		weak.weaken(&m)
		if l.Window != nil && !math.IsNaN(p.Ripple.Period) && float64(*l.Window) < p.Ripple.Period {
			m.Why += fmt.Sprintf("; the window %v is shorter than its period %v and shows only part of it", *l.Window, units.Frequency(p.Ripple.Period))
		}
		if len(p.Left.Unknown) > 0 {
			m.Verdict, m.Worst, m.Margin = NotAssessed, math.NaN(), math.NaN()
			m.Why = "some element states no reflection"
		}
		j.Margins = append(j.Margins, m)
	}
	if p.Ripple.From >= 0 && !math.IsNaN(p.Ripple.Period) {
		j.noteOnce("ripple: %s and %s make up to %.2f dB peak to peak with a period of %v; a sweep needs steps of a quarter of that (common practice)",
			p.Rows[p.Ripple.From].Name, p.Rows[p.Ripple.To].Name, p.Ripple.PeakToPeak, units.Frequency(p.Ripple.Period))
	}
	return nil
}

// allRipple sums the peak-to-peak ripple of every pair at grid point i, and
// returns the largest of them beside it.
func allRipple(p chain.Prediction, i int) (sum, largest float64) {
	for a := range p.Rows {
		loss := 0.0
		for b := a + 1; b < len(p.Rows); b++ {
			if x, y := p.Rows[a].Right[i], p.Rows[b].Left[i]; x > 0 && y > 0 {
				pp := network.NewRipple(x, y, loss/units.DecibelsPerNeper).PeakToPeak()
				sum, largest = sum+pp, math.Max(largest, pp)
			}
			loss += p.Rows[b].Response.Loss[i]
		}
	}
	return sum, largest
}

// temperatures compares each element's operating range with the enquiry's.
func (j *judge) temperatures() error {
	if v := j.e.Environment; v.Vacuum != nil && *v.Vacuum {
		j.noteOnce("vacuum: no figure here says how cable, jacket and adhesives outgas, nor whether trapped volumes are vented: ask the makers")
	}
	if h := j.e.Environment.Humidity; h != "" {
		j.noteOnce("humidity (%s): no figure here depends on it; sealing of the mated pair and corrosion are the makers' to state", h)
	}
	for _, side := range []struct {
		name  string
		asked *units.Temperature
		limit func(chain.Row) *units.Temperature
		sign  float64
	}{
		{"highest temperature", j.e.Environment.MaxTemperature, func(row chain.Row) *units.Temperature { return row.MaxTemp }, 1},
		{"lowest temperature", j.e.Environment.MinTemperature, func(row chain.Row) *units.Temperature { return row.MinTemp }, -1},
	} {
		if side.asked == nil {
			continue
		}
		m := Margin{Limit: side.name, Unit: "°C", LimitValue: side.asked.Celsius(), Margin: math.Inf(1), Likely: math.NaN(), Source: "the parts' operating ranges"}
		var unknown []string
		for _, row := range j.Prediction.Rows {
			t := side.limit(row)
			switch {
			case t == nil && row.Part != "":
				unknown = append(unknown, row.Name)
			case t != nil && side.sign*float64(*t-*side.asked) < m.Margin:
				m.Margin, m.Worst, m.Element = side.sign*float64(*t-*side.asked), t.Celsius(), row.Name
			}
		}
		switch {
		case m.Margin < 0:
			m.Verdict, m.Why = Fails, fmt.Sprintf("%s works to %v only", m.Element, units.Celsius(m.Worst))
			j.Gaps = append(j.Gaps, Gap{Axis: side.name, Asked: side.asked.String(), Best: units.Celsius(m.Worst).String() + " (" + m.Element + ")", Cause: NotYetBuilt, Needs: "a part in its place that works there"})
		case len(unknown) > 0:
			m.Verdict, m.Why = NotAssessed, fmt.Sprintf("no operating range stated for %s", join(unknown))
			m.Element = unknown[0]
			if math.IsInf(m.Margin, 1) {
				m.Margin, m.Worst = math.NaN(), math.NaN()
			}
		case math.IsInf(m.Margin, 1):
			continue
		default:
			m.Why = "an operating range is not a promise that electrical limits hold over it: those are judged above"
		}
		j.Margins = append(j.Margins, m)
	}
	return nil
}

// massAndPrice judges what the chain weighs and costs.
func (j *judge) massAndPrice() error {
	if l := j.e.Limits.Mass; l != nil {
		mass, unknown := j.s.Chain.Mass()
		m := Margin{Limit: "mass", Unit: "g", Worst: units.In(mass, "g"), Likely: math.NaN(), LimitValue: units.In(*l, "g"), Margin: units.In(*l-mass, "g"), Source: "the parts' masses"}
		m.Verdict = verdict(m.Margin, m.Margin, false)
		m.Why = "sum of the parts"
		m.unknown(j.Prediction, unknown)
		j.Margins = append(j.Margins, m)
		if m.Verdict == Fails {
			j.Gaps = append(j.Gaps, Gap{Axis: "mass", Asked: l.String(), Best: mass.String(), Cause: NotYetBuilt, Needs: fmt.Sprintf("parts that weigh %v less in all, or a shorter run", mass-*l)})
		}
	}
	if l := j.e.Limits.Price; l != nil {
		price, unknown, err := j.s.Chain.Price()
		m := Margin{Limit: "price", Unit: l.Currency, Worst: price.Float(), Likely: math.NaN(), LimitValue: l.Float(), Margin: l.Float() - price.Float(), Source: "the parts' prices, without assembly"}
		m.Verdict = verdict(m.Margin, m.Margin, false)
		m.Why = "sum of the parts"
		if err != nil || price.Currency != "" && price.Currency != l.Currency {
			m.Verdict, m.Worst, m.Margin, m.Why = NotAssessed, math.NaN(), math.NaN(), "prices stand in another currency than the limit; nothing is converted"
		}
		m.unknown(j.Prediction, unknown)
		j.Margins = append(j.Margins, m)
		if m.Verdict == Fails {
			j.Gaps = append(j.Gaps, Gap{Axis: "price", Asked: l.String(), Best: price.String(), Cause: NotYetBuilt, Needs: "cheaper parts, or a quantity at which they cost less: ask the makers"})
		}
	}
	return nil
}

// unknown weakens a sum whose terms are not all known: it is a lower bound.
func (m *Margin) unknown(p chain.Prediction, ks []int) {
	if len(ks) == 0 || m.Verdict == Fails {
		return
	}
	var names []string
	for _, k := range ks {
		names = append(names, p.Rows[k].Name)
	}
	m.Verdict = NotAssessed
	m.Why = fmt.Sprintf("%s of %s is not stated", m.Limit, join(names))
}
