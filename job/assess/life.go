package assess

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"linewright/hardware/catalogue"
	"linewright/hardware/joint"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/internal/spell"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// LifeReport is how long the joints and bends last.
type LifeReport struct {
	PerDay       float64 // matings of each end; 0: not stated
	Asked        int     // matings over the service life; 0: not stated
	Joints       []JointLife
	Alternatives []JointLife // faces of the catalogue that could stand in their place, longest life first for each
	Bend         *BendReport // of the cable
	SetMass      units.Mass  // of all lines, parts that state a mass; 0: none does
}

// JointLife is how many matings a joint stands: the less of its two sides.
type JointLife struct {
	Where   string
	Part    string // whose life binds
	Face    part.Face
	Matings int     // 0: not known
	Days    float64 // at PerDay; 0: not known
	Basis   string  // "datasheet", "retention grade, common practice", "usual of the series"
}

// BendReport is how the cable may be bent.
type BendReport struct {
	Static, Dynamic units.Length // 0: not stated
	Straight        units.Length // to keep behind each connector
	Multiples       [2]float64   // Static and Dynamic over the outer diameter
}

// Common practice, no single source.
const (
	straightDiameters = 3.0 // of cable, unbent behind a connector or a solder joint
	workingDays       = 250 // in a year
	year              = units.Time(365.25 * 86400)
)

// lifeBasis says where [Life] took its figure from.
func lifeBasis(h part.Handling, f part.Face) string {
	switch {
	case h.Matings != nil:
		return "datasheet"
	case series.RetentionMatings(string(f.Retention)) > 0:
		return "usual of its retention grade, common practice"
	}
	return "usual of the series"
}

// side is one half of a joint that is made and parted in use.
type side struct {
	id       string
	face     part.Face
	handling part.Handling
}

// madeJoints returns the joints that are made and parted in use: at a port the
// chain's outer face; at a board the joint next to it. Of a push-on joint
// between two boards, only the end that opens.
func (j *judge) madeJoints() (where []string, sides [][]side) {
	add := func(w string, s ...side) { where, sides = append(where, w), append(sides, s) }
	if b := j.s.Bullet; b != nil && len(j.s.Boards) > 1 {
		near, far := j.s.Boards[0], j.s.Boards[len(j.s.Boards)-1]
		opens := joint.Opens(near.Face.Retention, far.Face.Retention)
		if opens != joint.RightEnd {
			add("near board and bullet", side{near.ID, near.Face, near.Handling}, side{b.ID, b.Left, b.Handling})
		}
		if opens != joint.LeftEnd {
			add("far board and bullet", side{far.ID, far.Face, far.Handling}, side{b.ID, b.Right, b.Handling})
		}
		return where, sides
	}
	outer := j.s.outerFaces()
	for end := range 2 {
		found := false
		for _, o := range outer {
			if o.end == end {
				add(endName[end]+" end", side{o.part, o.face, o.handling})
				found = true
			}
		}
		if found || len(j.s.Joins) == 0 {
			continue
		}
		x := j.s.Joins[0]
		if end == 1 {
			x = j.s.Joins[len(j.s.Joins)-1]
			if len(j.s.Joins) == 1 && len(where) > 0 && where[0] == "near board joint" {
				continue
			}
		}
		add(endName[end]+" board joint", side{x.LeftPart, x.Left, j.handlingOf(x.LeftPart)}, side{x.RightPart, x.Right, j.handlingOf(x.RightPart)})
	}
	return where, sides
}

func (j *judge) handlingOf(id string) part.Handling {
	if k, ok := j.s.Catalogue.CableConnector(id); ok {
		return k.Handling
	}
	if k, ok := j.s.Catalogue.BoardConnector(id); ok {
		return k.Handling
	}
	if k, ok := j.s.Catalogue.Adapter(id); ok {
		return k.Handling
	}
	k, _ := j.s.Catalogue.Bullet(id)
	return k.Handling
}

// lives judges matings, bends and flexing.
func (j *judge) lives() error {
	r := &LifeReport{}
	j.Life = r
	j.matingLife(r)
	j.bends(r)
	mass, unknown := j.s.Chain.Mass()
	if n := j.e.Lines; n != nil && *n > 1 && mass > 0 {
		r.SetMass = units.Mass(*n) * mass
		text := fmt.Sprintf("the set of %s weighs %v", spell.Count(*n, "line"), r.SetMass)
		if len(unknown) > 0 {
			text += " without the parts that state no mass"
		}
		if c := j.s.Cable; c != nil && c.OuterDiameter != nil {
			text += fmt.Sprintf("; as one bundle about %s across and %d times as stiff as one cable: clamp it near the connectors (common practice)", mm(units.Length(1.2*math.Sqrt(float64(*n)))**c.OuterDiameter), *n)
		}
		j.noteOnce("%s", text)
	}
	return nil
}

func (j *judge) matingLife(r *LifeReport) {
	h := j.e.Handling
	if h.MatingsPerDay != nil {
		r.PerDay = *h.MatingsPerDay
	}
	source := "stated"
	switch {
	case h.Matings != nil:
		r.Asked = *h.Matings
	case h.Service != nil && r.PerDay > 0:
		r.Asked = int(math.Ceil(r.PerDay * workingDays * float64(*h.Service/year)))
		source = fmt.Sprintf("%g a day over %d working days a year", r.PerDay, workingDays)
	}
	days := func(n int) float64 {
		if r.PerDay > 0 {
			return float64(n) / r.PerDay
		}
		return 0
	}
	where, sides := j.madeJoints()
	var ends []side // the side that binds each joint
	for i, made := range sides {
		l, binds := JointLife{Where: where[i], Part: made[0].id, Face: made[0].face}, made[0]
		var silent []string
		for _, x := range made {
			n := Life(x.handling, x.face, j.s.Catalogue)
			switch {
			case n == 0:
				silent = append(silent, x.id)
			case l.Matings == 0 || n < l.Matings:
				l.Part, l.Face, l.Matings, l.Basis, l.Days, binds = x.id, x.face, n, lifeBasis(x.handling, x.face), days(n), x
			}
		}
		if l.Matings > 0 && len(silent) > 0 {
			j.noteOnce("matings: %s states none; those of %s are taken for the pair", join(silent), l.Part)
		}
		same := false
		for k := range r.Joints { // two ends of one kind are one statement
			if r.Joints[k].Part == l.Part {
				r.Joints[k].Where += " and " + l.Where
				same = true
			}
		}
		if !same {
			r.Joints, ends = append(r.Joints, l), append(ends, binds)
		}
	}
	if len(r.Joints) == 0 {
		return
	}
	if r.Asked == 0 && r.PerDay == 0 {
		var known []string
		for _, l := range r.Joints {
			if l.Matings > 0 {
				known = append(known, fmt.Sprintf("%s stands %d", l.Part, l.Matings))
			}
		}
		text := "nothing here says how long a joint stands"
		if len(known) > 0 {
			text = join(known)
		}
		j.ask(enquiry.Question{Field: "handling.matings", Text: "How often is each joint made, a day or in all?", Changes: text})
		return
	}
	var over []string
	for i, l := range r.Joints {
		if l.Matings == 0 {
			if r.Asked > 0 {
				j.Margins = append(j.Margins, Margin{Limit: "matings, " + l.Where, Verdict: NotAssessed, Worst: math.NaN(), Likely: math.NaN(), LimitValue: float64(r.Asked), Margin: math.NaN(), Element: l.Part,
					Why: fmt.Sprintf("%s states no life in matings, nor is one known of its series; ask its maker", l.Part)})
			}
			continue
		}
		others := j.alternatives(ends[i], l, days)
		r.Alternatives = append(r.Alternatives, others...)
		if r.PerDay > 0 {
			text := fmt.Sprintf("life: %s stands %d matings (%s), %.0f working days at %g a day", l.Part, l.Matings, l.Basis, l.Days, r.PerDay)
			for _, a := range others {
				text += fmt.Sprintf("; %s (%s) %d, %.0f days", a.Part, a.Face.Series, a.Matings, a.Days)
			}
			j.noteOnce("%s", text)
		}
		switch {
		case r.Asked == 0:
			j.ask(enquiry.Question{Field: "handling.service", Text: fmt.Sprintf("Over which time must it last at %g matings a day?", r.PerDay),
				Changes: fmt.Sprintf("%s lasts %.0f working days; beyond that savers or spares are planned", l.Part, l.Days)})
			if l.Days < workingDays {
				j.longer(l, others)
				j.savers(l, 0)
			}
		case j.matingMargin(r, l, others, source):
			over = append(over, fmt.Sprintf("%s (%d)", l.Where, l.Matings))
		}
	}
	if len(over) > 0 && len(r.Joints) > 1 {
		j.ask(enquiry.Question{Field: "handling.matings", Text: fmt.Sprintf("Which joints are made %d times: every one, or one of them?", r.Asked), Changes: "whether " + join(over) + " wear out"})
	}
}

// matingMargin judges one joint's life and says whether it is exceeded.
func (j *judge) matingMargin(r *LifeReport, l JointLife, others []JointLife, source string) (exceeded bool) {
	m := Margin{Limit: "matings, " + l.Where, Worst: float64(l.Matings), Likely: math.NaN(), LimitValue: float64(r.Asked), Margin: float64(l.Matings - r.Asked), Element: l.Part, Source: l.Basis,
		Conditions: []Condition{{"asked", source}}}
	if l.Matings >= r.Asked {
		m.Verdict, m.Why = Meets, fmt.Sprintf("%s stands %d matings, %d are asked", l.Part, l.Matings, r.Asked)
		j.Margins = append(j.Margins, m)
		return false
	}
	sets := (r.Asked + l.Matings - 1) / l.Matings
	m.Verdict = AtRisk
	m.Why = fmt.Sprintf("%s stands %d matings, %d are asked: only with savers, or with %d sets, each replaced after %d", l.Part, l.Matings, r.Asked, sets, l.Matings)
	j.Margins = append(j.Margins, m)
	best := l
	if len(others) > 0 && others[0].Matings > best.Matings {
		best = others[0]
	}
	if best.Matings < r.Asked {
		j.Gaps = append(j.Gaps, Gap{Axis: "matings", Asked: fmt.Sprint(r.Asked), Best: fmt.Sprintf("%d (%s)", best.Matings, best.Part), Cause: Process,
			Needs: fmt.Sprintf("a face that stands %d matings at %v, or a replaceable interposer", r.Asked, j.top())})
	}
	j.longer(l, others)
	j.savers(l, r.Asked)
	return true
}

// alternatives returns what else of the catalogue could stand at a joint,
// longest life first: on the same cable or on a board, with a face that goes
// with the same mates.
func (j *judge) alternatives(s side, l JointLife, days func(int) float64) []JointLife {
	top := j.top()
	var out []JointLife
	add := func(c part.Common, f part.Face, h part.Handling) {
		if c.ID == l.Part || c.RatedFrequency == nil || *c.RatedFrequency < top*(1-1e-12) || f.Gender != s.face.Gender || series.Mate(f.Series, s.face.Series).Grade == series.DoesNotFit {
			return
		}
		if n := Life(h, f, j.s.Catalogue); n > 0 {
			out = append(out, JointLife{l.Where, c.ID, f, n, days(n), lifeBasis(h, f)})
		}
	}
	if _, ok := j.s.Catalogue.CableConnector(s.id); ok && j.s.Cable != nil {
		for _, k := range j.s.Catalogue.CableConnectors {
			if catalogue.Fits(k, *j.s.Cable) {
				add(k.Common, k.Face, k.Handling)
			}
		}
	} else if _, ok := j.s.Catalogue.BoardConnector(s.id); ok {
		for _, k := range j.s.Catalogue.BoardConnectors {
			add(k.Common, k.Face, k.Handling)
		}
	}
	slices.SortStableFunc(out, func(a, b JointLife) int { return cmp.Compare(b.Matings, a.Matings) })
	return out
}

// longer offers the longest-lived alternative, where it lasts longer.
func (j *judge) longer(l JointLife, others []JointLife) {
	if len(others) == 0 || others[0].Matings <= l.Matings {
		return
	}
	a := others[0]
	o := Option{Title: fmt.Sprintf("%s (%s) in place of %s", a.Part, describe(a.Face), l.Part), Effect: fmt.Sprintf("%d matings in place of %d", a.Matings, l.Matings)}
	if a.Days > 0 {
		o.Effect += fmt.Sprintf(", %.0f working days in place of %.0f", a.Days, l.Days)
	}
	if a.Face.Series != l.Face.Series {
		o.Effect += fmt.Sprintf("; %s and %s: %s", a.Face.Series, l.Face.Series, series.Mate(a.Face.Series, l.Face.Series).Reason)
	}
	j.Ways = append(j.Ways, o)
}

// savers proposes what is sacrificed in place of a joint that is made too often.
func (j *judge) savers(l JointLife, asked int) {
	var names, short []string
	for _, a := range j.s.Catalogue.Adapters {
		same := a.Left.Series == a.Right.Series && a.Left.Series == l.Face.Series
		if !same || a.Left.Gender == a.Right.Gender && a.Left.Gender != part.Neutral || a.RatedFrequency == nil {
			continue
		}
		if *a.RatedFrequency < j.top()*(1-1e-12) {
			short = append(short, fmt.Sprintf("%s to %v", a.ID, *a.RatedFrequency))
			continue
		}
		s := a.ID
		if n := Life(a.Handling, a.Left, j.s.Catalogue); n > 0 {
			s += fmt.Sprintf(" (%d matings", n)
			if asked > n {
				s += fmt.Sprintf(", %d of them for %d", (asked+n-1)/n, asked)
			}
			s += ")"
		}
		names = append(names, s)
	}
	s, _ := j.s.Catalogue.LookupSeries(l.Face.Series)
	o := Option{Title: "connector savers", Effect: "the saver wears, not the port or the cable; it adds its own loss and reflection"}
	switch {
	case len(names) > 0:
		o.Title += ": " + strings.Join(names, ", ")
	case s.Coupling == "push-on" || s.Coupling == "snap-on":
		o = Option{Title: fmt.Sprintf("a replaceable interposer between the %s faces", l.Face.Series), Effect: "it wears in place of the board and the cables; none is in the catalogue"}
	default:
		o.Title += fmt.Sprintf(" of %s", l.Face.Series)
		o.Effect += fmt.Sprintf("; none in the catalogue serves to %v", j.top())
		if len(short) > 0 {
			o.Effect += " (" + join(short) + ")"
		}
	}
	j.Ways = append(j.Ways, o)
	if asked > 0 {
		n := (asked + l.Matings - 1) / l.Matings
		j.Ways = append(j.Ways, Option{fmt.Sprintf("replace %s after every %d matings", l.Part, l.Matings), fmt.Sprintf("%d sets over %d matings; gauge and inspect before each is spent", n, asked)})
	}
}

// bends judges the cable's route.
func (j *judge) bends(r *LifeReport) {
	c := j.s.Cable
	if c == nil {
		return
	}
	b := &BendReport{}
	r.Bend = b
	if c.BendStatic != nil {
		b.Static = *c.BendStatic
	}
	if c.BendDynamic != nil {
		b.Dynamic = *c.BendDynamic
	}
	formed := c.Construction == part.HandFormable || c.Construction == part.SemiRigid
	limits := "states no bend radius"
	switch {
	case b.Static > 0 && b.Dynamic > 0:
		limits = fmt.Sprintf("bends to %s formed once, %s moved", mm(b.Static), mm(b.Dynamic))
	case b.Static > 0:
		limits = fmt.Sprintf("bends to %s formed once", mm(b.Static))
	}
	if c.OuterDiameter != nil {
		od := *c.OuterDiameter
		b.Straight = straightDiameters * od
		b.Multiples = [2]float64{float64(b.Static / od), float64(b.Dynamic / od)}
		text := fmt.Sprintf("bends: keep %s straight behind each connector (about %g diameters, common practice)", mm(b.Straight), straightDiameters)
		if b.Static > 0 {
			text += fmt.Sprintf("; the datasheet's %s is %.1f diameters", mm(b.Static), b.Multiples[0])
		}
		j.noteOnce("%s. The rules disagree: 5 diameters %s (an airframe cable article), 6 %s (ASTM F2639; NASA-STD-8739.4, least), 10 %s (SAE AS50881; NASA-STD-8739.4, best), 20 %s (practice for phase-stable runs, from memory)", text, mm(5*od), mm(6*od), mm(10*od), mm(20*od))
		if j.e.Path.Length != nil && *j.e.Path.Length < 2*b.Straight {
			j.noteOnce("the run of %s leaves no room for a bend: both ends need %s straight", mm(*j.e.Path.Length), mm(b.Straight))
		}
		if _, hot, _ := Temperatures(j.e); hot >= units.Celsius(95) && b.Static > 0 && b.Multiples[0] < 10 {
			j.noteOnce("at %v the dielectric creeps in a tight bend: the military cold-flow test bends to 10 diameters at 95 °C (MIL-DTL-87104C)", hot)
		}
	}
	route, moving := j.e.Path.BendRadius, j.e.Path.Moving
	if route == nil {
		j.ask(enquiry.Question{Field: "path.bend_radius", Text: "How tight is the route, and is it formed once or moved in use?", Changes: fmt.Sprintf("%s %s", c.ID, limits)})
	} else {
		m := Margin{Limit: "bend radius", Unit: "mm", Worst: math.NaN(), Likely: math.NaN(), LimitValue: units.In(*route, "mm"), Margin: math.NaN(), Element: c.ID, Source: c.Source, Verdict: NotAssessed}
		static, dynamic := b.Static, b.Dynamic
		set := func(worst, likely units.Length, why string) {
			m.Worst, m.Likely, m.Margin = units.In(worst, "mm"), units.In(likely, "mm"), units.In(*route-worst, "mm")
			m.Verdict = verdict(float64(*route-worst)+1e-12, float64(*route-likely)+1e-12, false)
			m.Why = why
		}
		switch {
		case moving != nil && *moving && dynamic == 0 && formed:
			m.Verdict, m.Why = Fails, fmt.Sprintf("%s is %s: it is formed once, not moved", c.ID, c.Construction)
		case moving != nil && *moving && dynamic == 0, static == 0:
			m.Why = fmt.Sprintf("%s %s", c.ID, limits)
		case moving != nil && *moving:
			set(dynamic, dynamic, fmt.Sprintf("%s, moved in use; the route asks %s", limits, mm(*route)))
		case moving != nil || dynamic == 0:
			set(static, static, fmt.Sprintf("%s; the route asks %s", limits, mm(*route)))
		default:
			set(dynamic, static, fmt.Sprintf("%s; whether it moves is not stated; the route asks %s", limits, mm(*route)))
			j.ask(enquiry.Question{Field: "path.moving", Text: "Is the cable moved in use, or formed once?", Changes: limits})
		}
		j.Margins = append(j.Margins, m)
		if m.Verdict == Fails {
			how := "formed once"
			if moving != nil && *moving {
				how = "moved in use"
			}
			j.Gaps = append(j.Gaps, Gap{Axis: "bend radius", Asked: fmt.Sprintf("%s, %s", mm(*route), how), Best: fmt.Sprintf("%s (%s)", limits, c.ID), Cause: NotYetBuilt, Needs: fmt.Sprintf("a cable that bends to %s %s, rated to %v", mm(*route), how, j.top())})
		}
	}
	if n := j.e.Path.Flexes; n != nil {
		m := Margin{Limit: "flex cycles", Worst: math.NaN(), Likely: math.NaN(), LimitValue: float64(*n), Margin: math.NaN(), Element: c.ID, Source: c.Source}
		switch {
		case c.FlexCycles != nil:
			m.Worst, m.Margin = float64(*c.FlexCycles), float64(*c.FlexCycles-*n)
			m.Verdict = verdict(m.Margin, m.Margin, false)
			m.Why = fmt.Sprintf("%s stands %d cycles at %s, %d are asked", c.ID, *c.FlexCycles, mm(b.Dynamic), *n)
		case formed:
			m.Verdict, m.Why = Fails, fmt.Sprintf("%s is %s: it is formed once", c.ID, c.Construction)
		default:
			m.Verdict, m.Why = NotAssessed, fmt.Sprintf("%s states no flex life; ask its maker", c.ID)
		}
		j.Margins = append(j.Margins, m)
		if m.Verdict == Fails {
			j.Gaps = append(j.Gaps, Gap{Axis: "flex cycles", Asked: fmt.Sprint(*n), Best: fmt.Sprintf("%s (%s)", orElse(figureOf(m.Worst), "formed once"), c.ID), Cause: NotYetBuilt, Needs: fmt.Sprintf("a cable that stands %d cycles", *n)})
		}
	} else if moving != nil && *moving {
		j.ask(enquiry.Question{Field: "path.flexes", Text: "How often is the cable flexed over its life, round which radius and through which angle?", Changes: fmt.Sprintf("%s %s", c.ID, limits)})
	}
}
