package assess

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"linewright/hardware/joint"
	"linewright/hardware/part"
	"linewright/internal/spell"
	"linewright/job/enquiry"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/units"
)

// JointReport is a push-on joint between two boards: what tolerances leave of
// it along and across its axis, what that reflects, and the force of the field.
type JointReport struct {
	Bullet    string // empty: a cable's push-on face on a board, forces only
	Near, Far part.Retention
	Opens     joint.Opening
	Spacing   units.Length // of the boards, nominal
	Seated    units.Length // spacing at which the bullet is home
	Gap       joint.Stack  // axial; negative: crushed
	Impedance units.Resistance
	Curve     []GapPoint     // over the band, when gap and impedance are known
	Choices   []BulletChoice // of the catalogue's bullets, best first
	Radial    joint.Stack    // offset of the two faces
	Float     units.Length   // offset that the bullet allows; 0: not known
	Clearance units.Length   // of guide pins, so that the bullets are met inside their float
	Lines     int            // 0: not stated
	Forces    []FieldForce   // the chain's own first
}

// GapPoint is what the largest and the least gap return at one frequency, in
// dB; NaN: there is no gap, or nothing reflects.
type GapPoint struct {
	Frequency  units.Frequency
	OneEnd     float64 // the largest gap, all at one end
	BothEnds   float64 // the same, divided the worst way, reflections added
	LeastOne   float64 // the least gap, all at one end
	LeastHalf  float64 // half of the least gap
	NominalOne float64
}

// BulletChoice is how one bullet of the catalogue stands in the spacing.
type BulletChoice struct {
	joint.Fit
	ReturnLoss float64 // of the largest gap at one end, at the top of the band, dB; NaN: crushed, or not known
	Verdict    string
}

// FieldForce is what mating and parting the whole field takes.
type FieldForce struct {
	Part      string
	Retention part.Retention
	Engage    units.Force // of all lines together
	Separate  units.Force // at least; 0: not stated
	Chosen    bool        // it is the side of this chain that is mated last
}

// Common practice, no single source.
const (
	handForce     units.Force  = 100    // above it two boards are not pushed together squarely by hand
	usualReach    units.Length = 1e-3   // of push-on contacts along the axis, when the maker states none
	groundSpacers units.Length = 0.1e-3 // spacing tolerance of ground or turned spacers
	shimStep      units.Length = 0.1e-3 // of a shim pack
)

func mm(x units.Length) string {
	s := fmt.Sprintf("%.2f mm", float64(x)*1e3)
	if s == "-0.00 mm" {
		return "0.00 mm"
	}
	return s
}

// joints judges the push-on joint between two boards.
func (j *judge) joints() error {
	b := j.s.Bullet
	if b == nil {
		j.pushed()
		return nil
	}
	r := &JointReport{Bullet: b.ID}
	j.Joint = r
	if len(j.s.Boards) > 1 {
		r.Near, r.Far = j.s.Boards[0].Face.Retention, j.s.Boards[len(j.s.Boards)-1].Face.Retention
		r.Opens = joint.Opens(r.Near, r.Far)
	}
	if b.GapImpedance != nil {
		r.Impedance = *b.GapImpedance
	} else {
		j.noteOnce("%s states no impedance of its axial gap: what a gap reflects is not assessed; ask its maker", b.ID)
	}
	a := j.e.Alignment
	if a == nil {
		a = &enquiry.Alignment{}
	}
	j.axial(r, *b, *a)
	j.radial(r, *b, *a)
	j.forces(r, *a)
	j.noteOnce("push-on joint: bullets with springs trade more axial range for a steadier match; consider one where the spacing cannot be held (common practice)")
	return nil
}

// jointLimit returns the largest |Γ| allowed of a joint at the top of the band.
func (j *judge) jointLimit() (rho float64, ok bool) {
	for _, l := range reflectionLimits(j.e) {
		if l.of != enquiry.OfJoint || l.wish || !span(j.e, l.from, l.to, float64(j.top())) {
			continue
		}
		if x, is := l.at(float64(j.top())); is && (!ok || x < rho) {
			rho, ok = x, true
		}
	}
	return rho, ok
}

// oneEnd is the reflection of a gap that may be anything up to gap.
func oneEnd(f units.Frequency, gap units.Length, z units.Resistance) float64 {
	return joint.Reflection(f, max(0, min(gap, quarterWave(f))), z)
}

// nominalGap returns the axial gap at the nominal board spacing, where element k
// stands for the largest that the spacing's tolerance opens.
func (j *judge) nominalGap(k int) (gap units.Length, z units.Resistance, ok bool) {
	a, b := j.e.Alignment, j.s.Bullet
	if k >= len(j.s.Spec.Pieces) || j.s.Spec.Pieces[k].Gap == nil || a == nil || a.Spacing == nil || a.SpacingTolerance == nil || b == nil || b.SeatedSpacing == nil {
		return 0, 0, false
	}
	piece := *j.s.Spec.Pieces[k].Gap
	stack := joint.AxialGap(*a.Spacing, *b.SeatedSpacing, *a.SpacingTolerance)
	if math.Abs(float64(stack.Most()-piece.Opening)) > 1e-9 || stack.Sum == 0 { // it stands for something else
		return 0, 0, false
	}
	return max(0, stack.Nominal), piece.Impedance, true
}

// returns is the return loss of rho, in dB; NaN where nothing returns.
func returns(rho float64) float64 {
	if rho == 0 {
		return math.NaN()
	}
	return network.ReturnLoss(rho)
}

// quarterWave is that of air, the gap that reflects most.
func quarterWave(f units.Frequency) units.Length { return units.Length(line.C0 / (4 * float64(f))) }

func (j *judge) axial(r *JointReport, b part.Bullet, a enquiry.Alignment) {
	const limit = "board spacing, bullet home"
	m := Margin{Limit: limit, Unit: "mm", Worst: math.NaN(), Likely: math.NaN(), LimitValue: math.NaN(), Margin: math.NaN(), Element: "bullet " + b.ID, Source: b.Source, Verdict: NotAssessed}
	switch {
	case a.Spacing == nil:
		m.Why = "the board spacing is not stated"
		j.ask(enquiry.Question{Field: "alignment.spacing", Text: "How far apart do the boards stand, face to face, and with what tolerance?", Changes: "which bullet seats, and the axial gap"})
	case b.SeatedSpacing == nil:
		m.Why = fmt.Sprintf("%s does not state at which spacing it is home; ask its maker", b.ID)
	}
	if m.Why != "" {
		j.Margins = append(j.Margins, m)
		return
	}
	r.Spacing, r.Seated = *a.Spacing, *b.SeatedSpacing
	var tolerances []units.Length
	if a.SpacingTolerance != nil {
		tolerances = append(tolerances, *a.SpacingTolerance)
	}
	r.Gap = joint.AxialGap(r.Spacing, r.Seated, tolerances...)
	m.LimitValue = units.In(r.Seated, "mm")
	m.Worst, m.Likely, m.Margin = units.In(r.Seated+r.Gap.Least(), "mm"), units.In(r.Spacing, "mm"), units.In(r.Gap.Least(), "mm")
	m.Conditions = []Condition{{"axial gap", fmt.Sprintf("%s to %s, nominal %s", mm(r.Gap.Least()), mm(r.Gap.Most()), mm(r.Gap.Nominal))}, {"opens", r.Opens.String()}}
	if a.SpacingTolerance == nil {
		m.Why = "the spacing's tolerance is not stated: at nominal the gap is " + mm(r.Gap.Nominal)
		if r.Gap.Nominal < 0 {
			m.Verdict, m.Why = Fails, "crushed even at nominal spacing, by "+mm(-r.Gap.Nominal)
		}
		j.ask(enquiry.Question{Field: "alignment.spacing_tolerance", Text: "To what tolerance is the board spacing held?",
			Changes: fmt.Sprintf("%s leaves %s at nominal spacing; a tolerance above that crushes it", b.ID, mm(r.Gap.Nominal))})
	} else {
		m.Verdict = verdict(float64(r.Gap.Least())+1e-12, float64(r.Gap.Nominal)+1e-12, false)
		switch m.Verdict {
		case Meets:
			m.Why = fmt.Sprintf("at the least spacing %s there is a gap of %s left, at the largest %s", mm(r.Spacing-r.Gap.Sum), mm(r.Gap.Least()), mm(r.Gap.Most()))
		default:
			m.Why = fmt.Sprintf("home at %s, the boards come to %s: crushed by %s", mm(r.Seated), mm(r.Spacing-r.Gap.Sum), mm(-r.Gap.Least()))
		}
		j.noteOnce("axial gap: the tolerances of the bullet's own length and of the solder under the faces are not stated; they add to ±%s of the spacing", mm(r.Gap.Sum))
	}
	j.Margins = append(j.Margins, m)
	if m.Verdict == Fails || m.Verdict == AtRisk {
		j.Ways = append(j.Ways, Option{fmt.Sprintf("shim the boards %s further apart", mm(units.Length(math.Ceil(float64(-r.Gap.Least()/shimStep)-1e-9))*shimStep)), fmt.Sprintf("%s then seats at every spacing", b.ID)})
	}
	most := r.Gap.Most()
	c := Margin{Limit: "axial gap that keeps contact", Unit: "mm", Worst: units.In(most, "mm"), Likely: units.In(r.Gap.Nominal, "mm"), Element: "bullet " + b.ID, Source: b.Source}
	switch {
	case b.MaxGap != nil:
		c.LimitValue, c.Margin = units.In(*b.MaxGap, "mm"), units.In(*b.MaxGap-most, "mm")
		c.Verdict, c.Why = verdict(float64(*b.MaxGap-most)+1e-12, float64(*b.MaxGap-r.Gap.Nominal)+1e-12, false), "the largest gap, all at one end"
		j.Margins = append(j.Margins, c)
	case most > usualReach:
		c.LimitValue, c.Margin, c.Verdict = math.NaN(), math.NaN(), NotAssessed
		c.Why = fmt.Sprintf("%s does not state how far its contacts reach; beyond about %s they seldom do (common practice), and the gap may be %s", b.ID, mm(usualReach), mm(most))
		j.Margins = append(j.Margins, c)
	case most > 0:
		j.noteOnce("%s does not state to which axial gap its contacts hold; ask its maker whether %s keeps contact", b.ID, mm(most))
	}
	j.gapReflection(r, b)
	j.choices(r, b)
	j.tighten(r, a)
}

// gapReflection shows what the gap reflects and judges a limit on the joint
// where the chain's own gap element does not.
func (j *judge) gapReflection(r *JointReport, b part.Bullet) {
	most := r.Gap.Most()
	if r.Impedance == 0 || most <= 0 {
		return
	}
	if r.Impedance == joint.Reference {
		j.noteOnce("the gap of %s is stated to keep %v: it reflects nothing by this reckoning", b.ID, r.Impedance)
		return
	}
	z, top := r.Impedance, j.top()
	least := max(0, r.Gap.Least())
	stride := max(1, len(j.Prediction.Frequency)/40)
	for i := len(j.Prediction.Frequency) - 1; i >= 0; i -= stride { // from the top, which must be in it
		f := units.Frequency(j.Prediction.Frequency[i])
		r.Curve = append(r.Curve, GapPoint{f, returns(oneEnd(f, most, z)), returns(joint.WorstReflection(f, most, z)),
			returns(oneEnd(f, least, z)), returns(oneEnd(f, least/2, z)), returns(oneEnd(f, r.Gap.Nominal, z))})
	}
	slices.Reverse(r.Curve)
	p := r.Curve[len(r.Curve)-1]
	text := fmt.Sprintf("axial gap, %v line: at %v the largest, %s, returns %.1f dB all at one end and %.1f dB divided between both the worst way", z, top, mm(most), p.OneEnd, p.BothEnds)
	if least > 0 {
		text += fmt.Sprintf("; the least, %s, %.1f dB at one end, %.1f dB for each half", mm(least), p.LeastOne, p.LeastHalf)
	}
	j.noteOnce("%s", text)
	where := "at the " + r.Opens.String()
	if r.Opens == joint.EitherEnd {
		where = "at one end, and nothing says which"
	}
	nominal := ""
	if r.Gap.Nominal > 0 {
		nominal = fmt.Sprintf(" Nominal spacing alone shows %.1f dB.", p.NominalOne)
	}
	j.caution(Caution(fmt.Sprintf("All of the axial gap of %s, up to %s, can sit %s: %.1f dB there at %v.%s", b.ID, mm(most), where, p.OneEnd, top, nominal)))
	rho, ok := j.jointLimit()
	if !ok {
		return
	}
	allowed := joint.AllowedGap(top, z, rho)
	if !math.IsInf(float64(allowed), 1) {
		j.noteOnce("return loss of %.1f dB at %v would allow a gap of %s at one end", network.ReturnLoss(rho), top, mm(allowed))
	}
	judged := false // by the chain's own gap element, all at one end
	for _, p := range j.s.Spec.Pieces {
		judged = judged || p.Gap != nil && p.Gap.Opening >= most-1e-12 && most <= quarterWave(top)
	}
	if judged && r.Opens != joint.EitherEnd {
		return
	}
	worst := oneEnd(top, most, z)
	m := Margin{Limit: "return loss of the joint, gap at one end", At: top, Element: "bullet " + b.ID, Source: "exact section of line", Conditions: []Condition{{"gap", mm(most)}, {"impedance of the gap", z.String()}}}
	if r.Opens == joint.EitherEnd {
		worst = math.Max(worst, joint.WorstReflection(top, most, z))
		m.Limit = "return loss of the joint, gap divided the worst way"
	}
	m.fill(worst, oneEnd(top, r.Gap.Nominal, z), rho, false, false)
	m.Why = fmt.Sprintf("the largest gap; the likely value is that of the nominal gap %s", mm(max(0, r.Gap.Nominal)))
	j.Margins = append(j.Margins, m)
}

// choices compares the catalogue's bullets of the family in the spacing.
func (j *judge) choices(r *JointReport, chosen part.Bullet) {
	var family []part.Bullet
	for _, b := range j.s.Catalogue.Bullets {
		if b.Left.Series == chosen.Left.Series && b.Right.Series == chosen.Right.Series {
			family = append(family, b)
		}
	}
	least := r.Spacing - r.Gap.Sum
	var others []string
	seats := false
	rho, limited := j.jointLimit()
	for _, f := range joint.Fits(family, r.Spacing, r.Gap.Sum) {
		c := BulletChoice{Fit: f, ReturnLoss: math.NaN()}
		switch {
		case !f.Seats:
			c.Verdict = fmt.Sprintf("crushed: home at %s, the boards come to %s, %s too near", mm(*f.Bullet.SeatedSpacing), mm(least), mm(-f.Gap.Least()))
		case !f.Contact:
			c.Verdict = fmt.Sprintf("loses contact: a gap of up to %s, it holds to %s", mm(f.Gap.Most()), mm(*f.Bullet.MaxGap))
		default:
			c.Verdict = fmt.Sprintf("gap of %s to %s", mm(f.Gap.Least()), mm(f.Gap.Most()))
		}
		if f.Seats && f.Bullet.GapImpedance != nil {
			if c.ReturnLoss = returns(oneEnd(j.top(), f.Gap.Most(), *f.Bullet.GapImpedance)); !math.IsNaN(c.ReturnLoss) {
				c.Verdict += fmt.Sprintf(", %.1f dB at %v", c.ReturnLoss, j.top())
			}
		}
		good := f.Seats && f.Contact
		if limited && good && c.ReturnLoss < network.ReturnLoss(rho) {
			good = false
			c.Verdict += fmt.Sprintf(", below the limit of %.1f dB", network.ReturnLoss(rho))
		}
		seats = seats || good
		r.Choices = append(r.Choices, c)
		if f.Bullet.ID != chosen.ID {
			others = append(others, f.Bullet.ID+" "+c.Verdict)
		}
	}
	if len(others) > 0 {
		j.noteOnce("other bullets of the family at %s ± %s: %s", mm(r.Spacing), mm(r.Gap.Sum), strings.Join(others, "; "))
	}
	if len(r.Choices) == 0 {
		return
	}
	switch best := r.Choices[0]; {
	case seats && best.Bullet.ID != chosen.ID:
		j.Ways = append(j.Ways, Option{"bullet " + best.Bullet.ID + " in place of " + chosen.ID, best.Verdict})
	case !seats:
		needs := fmt.Sprintf("a bullet home at no more than %s", mm(least))
		if limited && r.Impedance > 0 {
			if most := joint.AllowedGap(j.top(), r.Impedance, rho); !math.IsInf(float64(most), 1) {
				needs = fmt.Sprintf("a bullet home between %s and %s", mm(r.Spacing+r.Gap.Sum-most), mm(least))
				if r.Spacing+r.Gap.Sum-most > least {
					needs = fmt.Sprintf("a spacing held to ±%s: the return loss allows a gap of %s", mm(most/2), mm(most))
				}
			}
		}
		j.Gaps = append(j.Gaps, Gap{Axis: "board spacing", Asked: fmt.Sprintf("%s ± %s", mm(r.Spacing), mm(r.Gap.Sum)), Best: best.Bullet.ID + ", " + best.Verdict, Cause: NotYetBuilt, Needs: needs})
	}
}

// tighten proposes a better held spacing where the joint's margin is thin: less
// than half of the tolerance left at the least spacing, or less than 6 dB at
// the largest.
func (j *judge) tighten(r *JointReport, a enquiry.Alignment) {
	if a.SpacingTolerance == nil || *a.SpacingTolerance <= 0 {
		return
	}
	tol := *a.SpacingTolerance
	thin := r.Gap.Least() < tol/2
	rho, limited := j.jointLimit()
	if limited && r.Impedance > 0 {
		thin = thin || 2*oneEnd(j.top(), r.Gap.Most(), r.Impedance) > rho
	}
	if !thin {
		return
	}
	offer := func(title string, t units.Length, how string) {
		g := joint.AxialGap(r.Spacing, r.Seated, t)
		if t >= tol*(1-1e-9) || g.Least() < 0 || limited && r.Impedance > 0 && oneEnd(j.top(), g.Most(), r.Impedance) > rho {
			return // no better, or not enough
		}
		s := fmt.Sprintf("axial gap %s to %s in place of %s to %s", mm(g.Least()), mm(g.Most()), mm(r.Gap.Least()), mm(r.Gap.Most()))
		if r.Impedance > 0 && r.Impedance != joint.Reference && g.Most() > 0 {
			s += fmt.Sprintf("; %.1f dB in place of %.1f dB at %v, all at one end", network.ReturnLoss(oneEnd(j.top(), g.Most(), r.Impedance)), network.ReturnLoss(oneEnd(j.top(), r.Gap.Most(), r.Impedance)), j.top())
		}
		j.Ways = append(j.Ways, Option{title, s + "; " + how})
	}
	offer(fmt.Sprintf("hold the spacing to ±%s in place of ±%s", mm(groundSpacers), mm(tol)), groundSpacers, "ground or turned spacers (common practice)")
	offer(fmt.Sprintf("measure each assembly and shim in steps of %s", mm(shimStep)), shimStep/2, "spacing held to half a step")
}

func (j *judge) radial(r *JointReport, b part.Bullet, a enquiry.Alignment) {
	m := Margin{Limit: "radial offset of the boards", Unit: "mm", Worst: math.NaN(), Likely: math.NaN(), LimitValue: math.NaN(), Margin: math.NaN(), Element: "bullet " + b.ID, Verdict: NotAssessed,
		Source: "pivot length × sin(largest tilt), from " + b.Source}
	var missing []string
	var tolerances []units.Length
	if t := a.PositionTolerance; t != nil {
		tolerances = append(tolerances, *t, *t)
	} else {
		missing = append(missing, "the position tolerance of the faces on their boards")
		j.ask(enquiry.Question{Field: "alignment.position_tolerance", Text: "To what tolerance does each board connector sit at its place?", Changes: "the radial offset that the bullet must absorb"})
	}
	if t := a.BoardTolerance; t != nil {
		tolerances = append(tolerances, *t)
	} else {
		missing = append(missing, "the alignment of the boards to each other")
		j.ask(enquiry.Question{Field: "alignment.board_tolerance", Text: "How well are the two boards aligned to each other, and by what?", Changes: "the radial offset that the bullet must absorb"})
	}
	r.Radial = joint.NewStack(0, tolerances...)
	if b.PivotLength == nil || b.MaxTilt == nil {
		missing = append(missing, fmt.Sprintf("pivot length and largest tilt of %s", b.ID))
	} else {
		r.Float = joint.Float(*b.PivotLength, *b.MaxTilt)
		m.LimitValue = units.In(r.Float, "mm")
		if a.PositionTolerance != nil {
			r.Clearance = r.Float - 2**a.PositionTolerance
		}
	}
	if len(missing) > 0 {
		m.Why = "not stated: " + join(missing)
		if r.Float > 0 {
			m.Why += fmt.Sprintf("; the bullet allows %s", mm(r.Float))
		}
		if r.Float > 0 && r.Radial.Sum > r.Float && r.Radial.RSS > r.Float {
			m.Verdict, m.Worst, m.Margin = Fails, units.In(r.Radial.Sum, "mm"), units.In(r.Float-r.Radial.Sum, "mm")
		}
		j.Margins = append(j.Margins, m)
		return
	}
	m.Worst, m.Likely, m.Margin = units.In(r.Radial.Sum, "mm"), units.In(r.Radial.RSS, "mm"), units.In(r.Float-r.Radial.Sum, "mm")
	m.Verdict = verdict(float64(r.Float-r.Radial.Sum)+1e-12, float64(r.Float-r.Radial.RSS)+1e-12, false)
	m.Conditions = []Condition{{"RSS, no bound", mm(r.Radial.RSS)}, {"tolerances", "taken as radial"}, {"largest tilt", b.MaxTilt.String()}}
	m.Why = fmt.Sprintf("the tolerances add up to %s, the bullet allows %s × sin %v = %s", mm(r.Radial.Sum), mm(*b.PivotLength), *b.MaxTilt, mm(r.Float))
	j.Margins = append(j.Margins, m)
	if m.Verdict == Fails {
		j.Gaps = append(j.Gaps, Gap{Axis: "radial offset", Asked: mm(r.Radial.Sum), Best: fmt.Sprintf("%s (%s)", mm(r.Float), b.ID), Cause: Process, Needs: fmt.Sprintf("positions and alignment held to %s in all, or a bullet that floats %s: %s between its pivots at this tilt", mm(r.Float), mm(r.Radial.Sum), mm(units.Length(float64(r.Radial.Sum)/math.Sin(float64(*b.MaxTilt)))))})
	}
	switch corner := units.Length(math.Sqrt2) * r.Radial.Sum; {
	case r.Radial.Sum > r.Float:
		j.Ways = append(j.Ways, Option{"hold the faces' positions and the boards' alignment closer", fmt.Sprintf("by %s in all; or a longer bullet: it floats more, costs loss, and ripples faster", mm(r.Radial.Sum-r.Float))})
	case corner > r.Float:
		j.ask(enquiry.Question{Field: "alignment.position_tolerance", Text: "Are the position and alignment tolerances radial, or ± in x and in y?",
			Changes: fmt.Sprintf("radial: %s against %s allowed; per axis the corner is %s, outside", mm(r.Radial.Sum), mm(r.Float), mm(corner))})
	}
	if short := joint.Shortening(*b.PivotLength, joint.Lean(*b.PivotLength, min(r.Radial.Sum, r.Float))); short >= 5e-6 {
		j.noteOnce("leaning over the worst radial offset shortens the bullet by %s more along the axis", mm(short))
	}
	j.noteOnce("radial offset: return loss against misalignment is not published for these joints; ask the maker for it at %v", j.top())
}

// forces adds up what mating and parting the field takes.
func (j *judge) forces(r *JointReport, a enquiry.Alignment) {
	if len(j.s.Boards) < 2 {
		return
	}
	near, far := j.s.Boards[0], j.s.Boards[len(j.s.Boards)-1]
	last := far
	switch {
	case r.Opens == joint.LeftEnd:
		last = near
	case r.Opens == joint.EitherEnd && engage(near.Handling) > engage(far.Handling):
		last = near
	}
	j.fieldForce(r, side{last.ID, last.Face, last.Handling}, last.Source, a)
	if r.Lines > 1 || a.BlindMate != nil && *a.BlindMate {
		if r.Clearance > 0 {
			j.noteOnce("guide pins must bring the boards within %s of each other before the bullets are met: the float less the positions of the faces", mm(r.Clearance))
		} else {
			j.noteOnce("guide pins are needed: several lines, or a blind mate (common practice)")
		}
	}
	switch {
	case r.Opens != joint.EitherEnd:
		j.noteOnce("the bullets stay on the board that holds more (%s and %s): the other parts, and shows the gap", near.Face.Retention, far.Face.Retention)
	case near.Face.Retention == part.SmoothBore && far.Face.Retention == part.SmoothBore:
		j.caution("Smooth bore on both boards keeps no bullet captive: at parting each may stay on either side, or fall.")
	case near.Face.Retention == part.FullDetent && far.Face.Retention == part.FullDetent:
		j.caution("Full detent on both boards: nothing says which side lets go, and the parting force can lift faces off their pads. Full detent on one board and smooth bore on the blind side is common practice.")
	}
}

// pushed adds up the force of a field of cables pushed onto a board.
func (j *judge) pushed() {
	for _, x := range j.s.Joins {
		for _, s := range []side{{x.LeftPart, x.Left, j.handlingOf(x.LeftPart)}, {x.RightPart, x.Right, j.handlingOf(x.RightPart)}} {
			k, board := j.s.Catalogue.BoardConnector(s.id)
			if !board || s.handling.Engage == nil {
				continue
			}
			if j.e.Lines == nil || *j.e.Lines < 2 {
				continue
			}
			r := &JointReport{Near: x.Left.Retention, Far: x.Right.Retention}
			a := enquiry.Alignment{}
			if j.e.Alignment != nil {
				a = *j.e.Alignment
			}
			j.fieldForce(r, s, k.Source, a)
			j.Joint = r
			return
		}
	}
}

// fieldForce judges the force of all lines mated at once at face last, and
// shows what other retention grades of the family would take.
func (j *judge) fieldForce(r *JointReport, last side, source string, a enquiry.Alignment) {
	if j.e.Lines != nil {
		r.Lines = *j.e.Lines
	} else {
		j.ask(enquiry.Question{Field: "lines", Text: "How many lines are mated at once?", Changes: "the force of the field, guide pins and jack-screws"})
	}
	n := max(1, r.Lines)
	row := func(s side) FieldForce {
		f := FieldForce{Part: s.id, Retention: s.face.Retention, Engage: joint.FieldForce(n, engage(s.handling)), Chosen: s.id == last.id}
		if s.handling.Separate != nil {
			f.Separate = joint.FieldForce(n, *s.handling.Separate)
		}
		return f
	}
	if last.handling.Engage != nil {
		r.Forces = append(r.Forces, row(last))
		for _, k := range j.s.Catalogue.BoardConnectors {
			if k.Face.Series == last.face.Series && k.Face.Gender == last.face.Gender && k.ID != last.id && k.Handling.Engage != nil {
				r.Forces = append(r.Forces, row(side{k.ID, k.Face, k.Handling}))
			}
		}
	}
	m := Margin{Limit: "mating force of the field", Unit: "N", Worst: math.NaN(), Likely: math.NaN(), LimitValue: math.NaN(), Margin: math.NaN(), Element: last.id, Source: source, Verdict: NotAssessed}
	if a.Force != nil {
		m.LimitValue = units.In(*a.Force, "N")
	}
	switch {
	case last.handling.Engage == nil:
		m.Why = fmt.Sprintf("%s states no engagement force; ask its maker", last.id)
		j.noteOnce("mating force: %s", m.Why)
	case r.Lines == 0:
		m.Why = "the number of lines is not stated"
	default:
		total := r.Forces[0].Engage
		m.Worst = units.In(total, "N")
		if a.Force != nil {
			m.Margin = units.In(*a.Force-total, "N")
			m.Verdict = verdict(m.Margin, m.Margin, false)
		}
		m.Why = fmt.Sprintf("%s of %v at the side mated last, all at once", spell.Count(r.Lines, "line"), *last.handling.Engage)
		var all []string
		for _, f := range r.Forces {
			s := fmt.Sprintf("%s (%s) %.0f N", f.Part, f.Retention, float64(f.Engage))
			if f.Separate > 0 {
				s += fmt.Sprintf(", parts at %.0f N or more", float64(f.Separate))
			}
			all = append(all, s)
		}
		j.noteOnce("mating force of %s, by the side mated last: %s", spell.Count(r.Lines, "line"), strings.Join(all, "; "))
		if total > handForce {
			j.caution(Caution(fmt.Sprintf("Mating takes about %.0f N: jack-screws turned evenly, guide pins, and a stiffener; check the boards' bow. Keep fingers out of the closing gap. (Above about %.0f N by hand: common practice.)", float64(total), float64(handForce))))
		}
	}
	if a.Force == nil {
		return
	}
	j.Margins = append(j.Margins, m)
	if m.Verdict == Fails {
		least := r.Forces[0]
		for _, f := range r.Forces {
			if f.Engage < least.Engage {
				least = f
			}
		}
		if least.Engage > *a.Force {
			j.Gaps = append(j.Gaps, Gap{Axis: "mating force of the field", Asked: fmt.Sprintf("%.0f N for %s", float64(*a.Force), spell.Count(r.Lines, "line")), Best: fmt.Sprintf("%.0f N (%s)", float64(least.Engage), least.Part), Cause: NotYetBuilt,
				Needs: fmt.Sprintf("a face that mates at %.2g N a line, or a field mated in parts", float64(*a.Force)/float64(r.Lines))})
			j.Ways = append(j.Ways, Option{"mate the field in parts, or with jack-screws", fmt.Sprintf("%s at once stay within %.0f N", spell.Count(int(float64(*a.Force)/(float64(least.Engage)/float64(r.Lines))), "line"), float64(*a.Force))})
		}
		for _, f := range r.Forces[1:] {
			if f.Engage <= *a.Force {
				j.Ways = append(j.Ways, Option{fmt.Sprintf("%s (%s) on the side mated last", f.Part, f.Retention), fmt.Sprintf("%.0f N for the field in place of %.0f N", float64(f.Engage), m.Worst)})
			}
		}
	}
}

// engage is the force of one line; 0 when not stated.
func engage(h part.Handling) units.Force {
	if h.Engage == nil {
		return 0
	}
	return *h.Engage
}
