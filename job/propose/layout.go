package propose

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"sort"
	"strings"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/propose/search"
	"linewright/physics/network"
	"linewright/physics/units"
)

// layout is an enquiry laid out as slots over a catalogue.
type layout struct {
	e        enquiry.Enquiry
	cat      catalogue.Catalogue
	layouts  launch.Layouts
	at       units.Frequency
	hot      units.Temperature
	cold     units.Temperature
	currency string
	wears    bool // wear is a criterion
	assembly bool // a limit counts the cable and its connectors alone
	slots    []slot
	start    []string // states the left end may show; none: "end"
	states   map[string]search.State
	criteria []string
	kept     [][]int // of the last problem: the slots' options behind the search's
}

// slot is one place in the chain with what may stand there.
type slot struct {
	name    string
	options []option
}

// option is a candidate between two states.
type option struct {
	*candidate
	left, right string
	extra       []violation // of this joining, beside the candidate's own
}

// candidate is one part, or none, with the pieces it adds and what the search
// needs to know of it.
type candidate struct {
	id         string // empty: nothing stands here
	pieces     []chain.PieceSpec
	loss       float64 // dB, at the search's frequency and temperature
	assembly   float64 // the share that counts as assembly, dB
	gamma      [2]float64
	price      units.Money
	mass       units.Mass
	wear       float64
	unknown    int
	noPrice    bool
	noMass     bool
	violations []violation
}

// violation is a filter that a candidate does not pass, and by how much,
// relative to what was asked.
type violation struct {
	axis   string
	amount float64
	text   string
}

// farthest is the largest violation that is told apart from a larger one.
const farthest = 1000

// Criteria of the search, in micro-units so that ties are ties.
const (
	lossCriterion      = "loss"
	priceCriterion     = "price"
	massCriterion      = "mass"
	wearCriterion      = "wear"
	unknownCriterion   = "figures not stated"
	assemblyCriterion  = "assembly loss"
	violationCriterion = "violation"
	micro              = 1e6
)

func newLayout(e enquiry.Enquiry, cat catalogue.Catalogue, at units.Frequency, hot units.Temperature, layouts launch.Layouts) *layout {
	cold, _, _ := assess.Temperatures(e)
	l := &layout{e: e, cat: cat, layouts: layouts, at: at, hot: hot, cold: cold, states: map[string]search.State{}}
	l.wears = e.Handling.Matings != nil || e.Handling.MatingsPerDay != nil
	for _, x := range e.Limits.InsertionLoss {
		l.assembly = l.assembly || x.Of == enquiry.OfAssembly && !x.Wish
	}
	l.currency = e.Commercial.Currency
	switch e.Through() {
	case enquiry.ThroughCable:
		l.throughCable()
	case enquiry.ThroughBullet:
		l.throughBullet()
	case enquiry.ThroughTrace:
		l.throughTrace()
	}
	return l
}

func (l *layout) throughCable() {
	open := l.leftEnd()
	l.cables(open)
	// The far side is built as the mirror image of a near side and turned.
	l.rightEnd()
}

// endState is the state outside the chain's ends.
const endState = "end"

// leftEnd adds the slots before the near cable connector and returns the faces
// that wait for it.
func (l *layout) leftEnd() []part.Face {
	if l.e.From.Kind == enquiry.Board {
		s := slot{name: "near board connector"}
		var faces []part.Face
		for i := range l.cat.BoardConnectors {
			k := &l.cat.BoardConnectors[i]
			c := l.boardConnector(k, l.e.From, 0, false)
			s.options = append(s.options, option{candidate: c, left: endState, right: faceState(k.Face)})
			faces = addFace(faces, k.Face)
		}
		l.slots = append(l.slots, s)
		l.start = []string{endState}
		return l.adapters("near adapter", faces)
	}
	if p := l.e.From.Port; p != nil && p.Series != "" {
		l.start = []string{faceState(*p)}
		return l.adapters("near adapter", []part.Face{*p})
	}
	l.start = []string{endState}
	if !l.shown(l.e.From) {
		return l.presenters("near adapter", l.e.From, 0)
	}
	return nil
}

// shown says whether some connector of a cable shows by itself what an end asks
// the chain to show.
func (l *layout) shown(end enquiry.End) bool {
	for _, k := range l.cat.CableConnectors {
		if l.presents(end, k.Face) {
			return true
		}
	}
	return false
}

// presenters adds a slot of adapters that show outside what an end, 0 from or 1
// to, asks for, and returns the faces on their inner sides. It is called where
// no connector shows that by itself.
func (l *layout) presenters(name string, end enquiry.End, side int) []part.Face {
	s := slot{name: name}
	var inner []part.Face
	for i := range l.cat.Adapters {
		a := &l.cat.Adapters[i]
		for _, turned := range []bool{false, true} {
			left, right := a.Left, a.Right
			if turned {
				left, right = right, left
				if left == a.Left {
					continue
				}
			}
			c := l.adapter(a, name, turned)
			l.wear(c, a.Handling, [...]part.Face{left, right}[side])
			switch {
			case side == 0 && l.presents(end, left):
				s.options = append(s.options, option{candidate: c, left: endState, right: faceState(right)})
				inner = addFace(inner, right)
			case side == 1 && l.presents(end, right):
				for _, k := range l.cat.CableConnectors {
					extra, ok := l.mates(k.Face, left)
					if o := (option{c, faceState(k.Face), endState, extra}); ok && !slices.ContainsFunc(s.options, func(x option) bool { return x.left == o.left && x.id == o.id && x.pieces[0].Turned == turned }) {
						s.options = append(s.options, o)
					}
				}
			}
		}
	}
	if len(s.options) > 0 || side == 1 {
		l.slots = append(l.slots, s)
	}
	return inner
}

// adapters adds a slot in which an adapter may stand behind any of the faces,
// and returns the faces behind it. A face with nothing to fit costs nothing.
func (l *layout) adapters(name string, faces []part.Face) []part.Face {
	if len(faces) == 0 || len(l.cat.Adapters) == 0 {
		return faces
	}
	s := slot{name: name}
	none := &candidate{}
	out := append([]part.Face(nil), faces...)
	for _, f := range faces {
		s.options = append(s.options, option{candidate: none, left: faceState(f), right: faceState(f)})
	}
	for i := range l.cat.Adapters {
		a := &l.cat.Adapters[i]
		for _, turned := range []bool{false, true} {
			left, right := a.Left, a.Right
			if turned {
				left, right = right, left
				if left == a.Left {
					continue
				}
			}
			c := l.adapter(a, name, turned)
			for _, f := range faces {
				if extra, ok := l.mates(f, left); ok {
					s.options = append(s.options, option{c, faceState(f), faceState(right), extra})
					out = addFace(out, right)
				}
			}
		}
	}
	l.slots = append(l.slots, s)
	return out
}

// cables adds near connector, cable and far connector.
func (l *layout) cables(open []part.Face) {
	// Cables that the same connectors fit share one state. A connector names the
	// cables that it fits, or groups of them; there may be thousands of cables.
	takers := map[string][]int{} // id or group → connectors
	for k := range l.cat.CableConnectors {
		for _, f := range l.cat.CableConnectors[k].Fits {
			takers[f] = append(takers[f], k)
		}
	}
	fits := map[string]string{}                            // cable id → state
	states := make([][]string, len(l.cat.CableConnectors)) // of the cables that each fits
	for i := range l.cat.Cables {
		c := &l.cat.Cables[i]
		ks := slices.Clone(takers[c.ID])
		if c.Group != "" {
			ks = append(ks, takers[c.Group]...)
		}
		if len(ks) == 0 {
			continue
		}
		slices.Sort(ks)
		ks = slices.Compact(ks)
		state := "core"
		for _, k := range ks {
			state += " " + l.cat.CableConnectors[k].ID
		}
		fits[c.ID] = state
		for _, k := range ks {
			if !slices.Contains(states[k], state) {
				states[k] = append(states[k], state)
			}
		}
	}
	near, far := slot{name: "near cable connector"}, slot{name: "far cable connector"}
	for i := range l.cat.CableConnectors {
		k := &l.cat.CableConnectors[i]
		groups := states[i]
		c := l.cableConnector(k, 0)
		for _, g := range groups {
			if open == nil {
				if l.presents(l.e.From, k.Face) {
					near.options = append(near.options, option{candidate: c, left: endState, right: g})
				}
				continue
			}
			for _, f := range open {
				if extra, ok := l.mates(f, k.Face); ok {
					near.options = append(near.options, option{c, faceState(f), g, extra})
				}
			}
		}
		c = l.cableConnector(k, 1)
		for _, g := range groups {
			if l.rightOpen() || l.presents(l.e.To, k.Face) {
				far.options = append(far.options, option{candidate: c, left: g, right: l.farState(k.Face)})
			}
		}
	}
	mid := slot{name: "cable"}
	for i := range l.cat.Cables {
		p := &l.cat.Cables[i]
		if g, ok := fits[p.ID]; ok {
			mid.options = append(mid.options, option{candidate: l.cable(p), left: g, right: g})
		}
	}
	l.slots = append(l.slots, near, mid, far)
}

// rightOpen says that something follows the far cable connector.
func (l *layout) rightOpen() bool {
	return l.e.To.Kind == enquiry.Board || l.e.To.Port != nil && l.e.To.Port.Series != "" || l.farPresenters()
}

// farPresenters says that adapters must show at the far end what no connector
// shows by itself.
func (l *layout) farPresenters() bool {
	return l.e.To.Kind != enquiry.Board && (l.e.To.Port == nil || l.e.To.Port.Series == "") && !l.shown(l.e.To)
}

func (l *layout) farState(f part.Face) string {
	if l.rightOpen() {
		return faceState(f)
	}
	return endState
}

// rightEnd adds what follows the far cable connector.
func (l *layout) rightEnd() {
	if !l.rightOpen() {
		return
	}
	if l.farPresenters() {
		l.presenters("far adapter", l.e.To, 1)
		return
	}
	var faces []part.Face
	for _, k := range l.cat.CableConnectors {
		faces = addFace(faces, k.Face)
	}
	faces = l.adapters("far adapter", faces)
	l.close(faces)
}

// close ends the chain at a board or at the customer's port. A bullet joins two
// boards: an end that says otherwise is a contradiction, reported as one.
func (l *layout) close(faces []part.Face) {
	if l.e.To.Kind == enquiry.Board || l.e.Through() == enquiry.ThroughBullet {
		s := slot{name: "far board connector"}
		for i := range l.cat.BoardConnectors {
			k := &l.cat.BoardConnectors[i]
			c := l.boardConnector(k, l.e.To, 1, false)
			for _, f := range faces {
				if extra, ok := l.mates(f, k.Face); ok {
					s.options = append(s.options, option{c, faceState(f), endState, extra})
				}
			}
		}
		l.slots = append(l.slots, s)
		return
	}
	s := slot{name: "far port"}
	none := &candidate{}
	for _, f := range faces {
		if extra, ok := l.mates(f, *l.e.To.Port); ok {
			s.options = append(s.options, option{none, faceState(f), endState, extra})
		}
	}
	l.slots = append(l.slots, s)
}

func (l *layout) throughBullet() {
	near, mid := slot{name: "near board connector"}, slot{name: "bullet"}
	l.start = []string{endState}
	var faces []part.Face
	for i := range l.cat.BoardConnectors {
		k := &l.cat.BoardConnectors[i]
		near.options = append(near.options, option{candidate: l.boardConnector(k, l.e.From, 0, false), left: endState, right: faceState(k.Face)})
		faces = addFace(faces, k.Face)
	}
	var behind []part.Face
	for i := range l.cat.Bullets {
		b := &l.cat.Bullets[i]
		for _, turned := range []bool{false, true} {
			left, right := b.Left, b.Right
			if turned {
				left, right = right, left
				if left == b.Left {
					continue
				}
			}
			c := l.bullet(b, turned)
			for _, f := range faces {
				if extra, ok := l.mates(f, left); ok {
					mid.options = append(mid.options, option{c, faceState(f), faceState(right), extra})
					behind = addFace(behind, right)
				}
			}
		}
	}
	l.slots = append(l.slots, near, mid)
	l.close(behind)
}

func (l *layout) throughTrace() {
	near, mid, far := slot{name: "near board connector"}, slot{name: "board line"}, slot{name: "far board connector"}
	l.start = []string{endState}
	for i := range l.cat.BoardConnectors {
		k := &l.cat.BoardConnectors[i]
		near.options = append(near.options, option{candidate: l.boardConnector(k, l.e.From, 0, true), left: endState, right: "line"})
		far.options = append(far.options, option{candidate: l.boardConnector(k, l.e.To, 1, true), left: "line", right: endState})
	}
	mid.options = []option{{candidate: l.trace(), left: "line", right: "line"}}
	l.slots = append(l.slots, near, mid, far)
}

func faceState(f part.Face) string {
	return "face " + f.Series + " " + string(f.Gender) + " " + string(f.Retention)
}

func addFace(fs []part.Face, f part.Face) []part.Face {
	for _, x := range fs {
		if x == f {
			return fs
		}
	}
	return append(fs, f)
}

// mates says whether two faces can be joined, and what is wrong with the
// joint.
func (l *layout) mates(a, b part.Face) (wrong []violation, ok bool) {
	if !a.Gender.Mates(b.Gender) {
		return nil, false
	}
	m := series.Mate(a.Series, b.Series)
	if m.Grade == series.DoesNotFit {
		return nil, false
	}
	if m.Top > 0 && l.at > m.Top*(1+1e-12) {
		wrong = append(wrong, violation{"frequency", float64(l.at-m.Top) / float64(l.at), fmt.Sprintf("%s with %s serves to %v only", a.Series, b.Series, m.Top)})
	}
	return wrong, true
}

// presents says whether a face is what the end asks the chain to show.
func (l *layout) presents(end enquiry.End, f part.Face) bool {
	p := end.Presents
	if p == nil {
		if end.Port != nil && end.Port.Gender != "" {
			return end.Port.Gender.Mates(f.Gender)
		}
		return true
	}
	return (p.Series == "" || p.Series == f.Series) && (p.Gender == "" || p.Gender == f.Gender) && (p.Retention == "" || p.Retention == f.Retention)
}

// common fills a candidate with what every catalogue part has and filters it by
// rating and temperature.
func (l *layout) common(c *candidate, p part.Common) {
	c.id = p.ID
	switch {
	case p.RatedFrequency == nil:
		c.unknown++
	case *p.RatedFrequency < l.at*(1-1e-12):
		c.wrong("frequency", float64(l.at-*p.RatedFrequency)/float64(l.at), "rated to %v, %v is wanted", *p.RatedFrequency, l.at)
	}
	if t := l.e.Environment.MaxTemperature; t != nil {
		switch {
		case p.MaxTemperature == nil:
			c.unknown++
		case *p.MaxTemperature < *t:
			c.wrong("temperature", float64(*t-*p.MaxTemperature)/100, "works to %v, %v is wanted", *p.MaxTemperature, *t)
		}
	}
	if t := l.e.Environment.MinTemperature; t != nil {
		switch {
		case p.MinTemperature == nil:
			c.unknown++
		case *p.MinTemperature > *t:
			c.wrong("temperature", float64(*p.MinTemperature-*t)/100, "works from %v, %v is wanted", *p.MinTemperature, *t)
		}
	}
	if lead := l.e.Commercial.LeadTime; lead != nil && p.LeadTime != nil && *p.LeadTime > *lead {
		c.wrong("lead time", float64(*p.LeadTime-*lead)/float64(*lead), "delivered in %.0f days, %.0f are left", units.In(*p.LeadTime, "d"), units.In(*lead, "d"))
	}
}

func (c *candidate) wrong(axis string, amount float64, format string, args ...any) {
	if !(amount < farthest) { // relative to nothing, or not a number
		amount = farthest
	}
	c.violations = append(c.violations, violation{axis, amount, fmt.Sprintf(format, args...)})
}

// evaluate builds the candidate's pieces as a chain of their own and reads off
// what the search needs, so that search and prediction cannot disagree.
func (l *layout) evaluate(c *candidate) *candidate {
	b, err := chain.Build(chain.Spec{Name: c.id, Pieces: c.pieces}, l.cat)
	if err != nil {
		c.wrong("build", 10, "%v", err)
		return c
	}
	top := l.at
	if l.e.ModeFreeTo != nil {
		top = max(top, *l.e.ModeFreeTo)
	}
	if limit, _ := b.ModeFree(); limit.Element >= 0 && limit.CrossSection.ModeFree < top {
		c.wrong("mode-free limit", float64(top-limit.CrossSection.ModeFree)/float64(top), "%s over-moded from %v", limit.Name, limit.CrossSection.ModeFree)
	}
	var rs [2][]network.Reflector
	for k, e := range b.Elements {
		r, err := e.Respond([]float64{float64(l.at)}, chain.Conditions{Temperature: max(l.hot, chain.ColdestMetal)})
		if err != nil {
			c.wrong("figures", 10, "%v", err)
			return c
		}
		f := e.Facts()
		if !r.Lossy {
			c.unknown++
		}
		if !r.Reflecting {
			c.unknown++
		}
		if f.Price == nil {
			c.noPrice = true
		} else if sum, err := c.price.Plus(*f.Price); err == nil {
			c.price = sum
		} else {
			c.noPrice = true
		}
		if f.Mass == nil {
			c.noMass = true
		} else {
			c.mass += *f.Mass
		}
		c.loss += r.Loss[0]
		if role := b.Roles[k]; role == chain.RoleConnector || role == chain.RoleCable {
			c.assembly += r.Loss[0]
		}
		np := r.Loss[0] / units.DecibelsPerNeper
		rs[0] = append(rs[0], network.Reflector{Magnitude: r.Left[0], Loss: np})
		rs[1] = append([]network.Reflector{{Magnitude: r.Right[0], Loss: np}}, rs[1]...)
	}
	if l.currency == "" && c.price.Currency != "" {
		l.currency = c.price.Currency
	}
	if c.price.Currency != "" && c.price.Currency != l.currency {
		c.noPrice = true
		c.price = units.Money{}
	}
	for _, silent := range []bool{c.noPrice, c.noMass} {
		if silent {
			c.unknown++
		}
	}
	// Seen from either end a lossy piece before a reflection weakens it; the
	// search adds the loss of the pieces in front itself.
	c.gamma = [2]float64{network.Worst(rs[0]), network.Worst(rs[1])}
	return c
}

func (l *layout) cable(p *part.Cable) *candidate {
	length := units.Length(0)
	if l.e.Path.Length != nil {
		length = *l.e.Path.Length
	}
	c := &candidate{pieces: []chain.PieceSpec{{Part: p.ID, Length: &length, Name: "cable"}}}
	l.common(c, p.Common)
	if length <= 0 {
		c.wrong("length", 10, "the enquiry states no length")
	}
	if want := l.e.Path.BendRadius; want != nil {
		need := p.BendStatic
		if l.e.Path.Moving != nil && *l.e.Path.Moving {
			need = p.BendDynamic
		}
		switch formed := p.Construction == part.SemiRigid || p.Construction == part.HandFormable; {
		case need == nil && formed && l.e.Path.Moving != nil && *l.e.Path.Moving:
			c.wrong("bend radius", 1, "%s, formed once, the route moves", p.Construction)
		case need == nil:
			c.unknown++
		case *need > *want:
			c.wrong("bend radius", float64(*need-*want)/float64(*want), "bends to %v, the route asks %v", *need, *want)
		}
	}
	if n := l.e.Path.Flexes; n != nil {
		switch {
		case p.FlexCycles == nil && p.Construction != part.SemiRigid && p.Construction != part.HandFormable:
			c.unknown++
		case p.FlexCycles == nil || *p.FlexCycles < *n:
			c.wrong("flex cycles", 0.5, "not made to be flexed %d times", *n)
		}
	}
	if k := l.e.Path.Construction; k != "" && p.Construction != k {
		c.wrong("construction", 0.5, "%s, %s is asked", p.Construction, k)
	}
	return l.evaluate(c)
}

func (l *layout) cableConnector(k *part.CableConnector, end int) *candidate {
	c := &candidate{pieces: []chain.PieceSpec{{Part: k.ID, Name: [...]string{"near connector", "far connector"}[end]}}}
	l.common(c, k.Common)
	outer := end == 0 && l.e.From.Kind != enquiry.Board || end == 1 && l.e.To.Kind != enquiry.Board
	if outer {
		l.wear(c, k.Handling, k.Face)
	}
	return l.evaluate(c)
}

func (l *layout) adapter(a *part.Adapter, name string, turned bool) *candidate {
	c := &candidate{pieces: []chain.PieceSpec{{Part: a.ID, Name: name, Turned: turned}}}
	l.common(c, a.Common)
	return l.evaluate(c)
}

// wear counts the part's share of a mating, one over its life.
func (l *layout) wear(c *candidate, h part.Handling, f part.Face) {
	if !l.wears {
		return
	}
	if life := assess.Life(h, f, l.cat); life > 0 {
		c.wear = 1 / float64(life)
		return
	}
	c.unknown++
}

func (l *layout) boardConnector(k *part.BoardConnector, end enquiry.End, side int, trace bool) *candidate {
	name := [...]string{"near", "far"}[side]
	launch := l.launch(end)
	pieces := []chain.PieceSpec{{Launch: &launch, Name: name + " launch"}, {Part: k.ID, Name: name + " board connector", Inside: end.Return != nil}}
	c := &candidate{}
	if t := end.Line; !trace && t != nil && t.Length != nil { // the chain begins on the board's line
		spec, err := l.boardLine(end)
		if err != nil {
			c.wrong("board line", 10, "%v", err)
		}
		pieces = append([]chain.PieceSpec{{Trace: &spec, Name: name + " board line"}}, pieces...)
	}
	if (side == 1) != trace {
		slices.Reverse(pieces)
	}
	c.pieces = pieces
	l.common(c, k.Common)
	if len(end.Mounts) > 0 && !contains(end.Mounts, k.Mount) {
		c.wrong("mount", 1, "%s is not among the mounts allowed", k.Mount)
	}
	if end.Solderless != nil && *end.Solderless && !k.Mount.Solderless() {
		c.wrong("mount", 1, "%s is soldered, solderless is asked", k.Mount)
	}
	if end.Series != "" && end.Series != k.Face.Series {
		c.wrong("series", 0.2, "%s, %s is asked", k.Face.Series, end.Series)
	}
	if t := assess.BoardThickness(end, l.layouts); t != nil {
		switch {
		case k.BoardMin == nil && k.BoardMax == nil:
			if k.Mount.Edge() {
				c.unknown++
			}
		case k.BoardMax != nil && *t > *k.BoardMax*(1+1e-9):
			c.wrong("board thickness", float64(*t-*k.BoardMax)/float64(*t), "fits boards to %v, this one is %v", *k.BoardMax, *t)
		case k.BoardMin != nil && *t < *k.BoardMin*(1-1e-9):
			c.wrong("board thickness", float64(*k.BoardMin-*t)/float64(*t), "fits boards from %v, this one is %v", *k.BoardMin, *t)
		}
	}
	if need := assess.PitchOf(k.Handling, k.Face, l.cat); need > 0 && l.e.Field.Covers(side) {
		if have, ok := assess.PitchAvailable(l.e); ok && need > have*(1+1e-9) {
			c.wrong("pitch", float64(need-have)/float64(have), "needs a pitch of %v, %v is there", need, have)
		}
	}
	if end.Retention != "" && k.Face.Retention != "" && end.Retention != k.Face.Retention {
		c.wrong("retention", 0.2, "%s, %s is asked", k.Face.Retention, end.Retention)
	}
	if a := l.e.Alignment; a != nil && a.BlindMate != nil && *a.BlindMate && end.Retention == "" && k.Face.Retention != "" && l.e.Through() == enquiry.ThroughBullet {
		// Common practice: the near side holds the bullet, the far side is mated blind.
		if side == 0 && k.Face.Retention == part.SmoothBore {
			c.wrong("retention", 0.1, "smooth bore does not keep the bullet captive on its board")
		}
		if side == 1 && k.Face.Retention != part.SmoothBore {
			c.wrong("retention", 0.2, "%s on the side that is mated blind", k.Face.Retention)
		}
	}
	l.wear(c, k.Handling, k.Face)
	return l.evaluate(c)
}

// launch describes the launch at an end: as the enquiry states it, else by
// closed formulas when the end names a launch whose geometry is known, else
// without a figure. An estimate is a trend: it counts as typical, so that no
// verdict on it is better than at risk.
func (l *layout) launch(end enquiry.End) chain.LaunchSpec {
	if end.Return != nil {
		return chain.LaunchSpec{ReturnLoss: end.Return, Source: "the enquiry: launch with its connector", Step: chain.DatasheetBound}
	}
	if end.Launch == "" {
		return chain.LaunchSpec{Source: "not designed yet"}
	}
	spec := chain.LaunchSpec{Design: end.Launch, Stackup: end.Stackup}
	if g := assess.LaunchGeometry(end); !reflect.ValueOf(g).IsZero() {
		spec.Geometry = &g
	}
	if err := spec.Resolve(l.layouts); err != nil {
		return chain.LaunchSpec{Source: "not estimated: " + err.Error()}
	}
	return spec
}

// bullet stands with the whole axial gap that tolerances can open at its far
// end: the worst case (common practice).
func (l *layout) bullet(b *part.Bullet, turned bool) *candidate {
	c := &candidate{pieces: []chain.PieceSpec{{Part: b.ID, Name: "bullet", Turned: turned}}}
	l.common(c, b.Common)
	if a := l.e.Alignment; a != nil && a.Spacing != nil && b.SeatedSpacing != nil {
		tol := units.Length(0)
		if a.SpacingTolerance != nil {
			tol = *a.SpacingTolerance
		}
		least, most := *a.Spacing-tol-*b.SeatedSpacing, *a.Spacing+tol-*b.SeatedSpacing
		if least < 0 {
			c.wrong("board spacing", 1+float64(-least)/float64(*a.Spacing), "seats at %v, the boards come to %v: it would be crushed", *b.SeatedSpacing, *a.Spacing-tol)
		}
		if b.MaxGap != nil && most > *b.MaxGap {
			c.wrong("board spacing", float64(most-*b.MaxGap)/float64(*b.MaxGap), "a gap of up to %v, contact is kept to %v", most, *b.MaxGap)
		}
		if most > 0 && b.GapImpedance != nil {
			c.pieces = append(c.pieces, chain.PieceSpec{Name: "axial gap, all at the far end", Gap: &chain.GapSpec{Opening: most, Impedance: *b.GapImpedance}})
		}
	} else {
		c.unknown++
	}
	return l.evaluate(c)
}

// trace is the board line between two launches, as either end states it.
func (l *layout) trace() *candidate {
	end := l.e.From
	if t := l.e.To.Line; t != nil && t.Length != nil && (end.Line == nil || end.Line.Length == nil) {
		end = l.e.To
	}
	c := &candidate{id: "board line"}
	spec, err := l.boardLine(end)
	if err != nil {
		c.wrong("board line", 10, "%v", err)
	}
	if spec.Length <= 0 && spec.Loss == nil {
		c.wrong("board line", 10, "the enquiry states neither its length nor its loss")
	}
	c.pieces = []chain.PieceSpec{{Trace: &spec, Name: "board line"}}
	return l.evaluate(c)
}

// boardLine is the line at an end's board: by its geometry on its stackup when
// both are stated, else by its figures.
func (l *layout) boardLine(end enquiry.End) (chain.TraceSpec, error) {
	t := end.Line
	if t == nil {
		return chain.TraceSpec{Source: "the enquiry"}, nil
	}
	spec := chain.TraceSpec{Source: "the enquiry", Loss: t.Loss, LossAt: t.LossAt, EffectivePermittivity: t.EffectivePermittivity, Kind: t.Kind}
	if t.Length != nil {
		spec.Length = *t.Length
	}
	if spec.Loss != nil && spec.LossAt == nil {
		spec.LossAt = &l.at
	}
	if l.layouts.Stackup(end.Stackup) == nil || t.Width == nil || spec.Loss != nil {
		return spec, nil
	}
	solved := chain.TraceSpec{Length: spec.Length, Kind: t.Kind, Stackup: end.Stackup, Layer: t.Layer, Width: t.Width, Gap: t.Gap}
	if end.Fence != nil {
		solved.Walls = end.Fence.RowWidth
	}
	if err := solved.Resolve(l.layouts); err != nil {
		return chain.TraceSpec{Length: spec.Length, Source: "the enquiry"}, err
	}
	return solved, nil
}

// state numbers a state by its label.
func (l *layout) state(label string) search.State {
	if s, ok := l.states[label]; ok {
		return s
	}
	s := search.State(len(l.states))
	l.states[label] = s
	return s
}

// base is the violation that a chain without any carries, so that a relative
// excess over it is the sum of the violations.
const base = micro

// problem turns the slots into a search; relaxed counts the filters as
// violations instead of dropping what they stop. ok is false when a slot is
// empty.
func (l *layout) problem(relaxed bool) (p search.Problem, ok bool) {
	l.criteria = []string{lossCriterion, priceCriterion, massCriterion}
	if l.assembly {
		l.criteria = append(l.criteria, assemblyCriterion)
	}
	switch {
	case relaxed:
		l.criteria = append(l.criteria, violationCriterion)
	default:
		if l.wears && !l.assembly {
			l.criteria = append(l.criteria, wearCriterion)
		}
		l.criteria = append(l.criteria, unknownCriterion)
	}
	p.Criteria = l.criteria
	l.kept = make([][]int, len(l.slots))
	for i, s := range l.slots {
		slot := search.Slot{Name: s.name}
		for n, o := range s.options {
			vs := append(append([]violation(nil), o.violations...), o.extra...)
			if len(vs) > 0 && !relaxed {
				continue
			}
			cost := make([]int64, len(l.criteria))
			for k, name := range l.criteria {
				cost[k] = o.cost(name, vs, i == 0)
			}
			slot.Options = append(slot.Options, search.Option{Left: l.state(o.left), Right: l.state(o.right), Cost: cost,
				Gamma: o.gamma[0], GammaRight: o.gamma[1], TwoWay: math.Pow(10, -o.loss/10)})
			l.kept[i] = append(l.kept[i], n)
		}
		if len(slot.Options) == 0 {
			return p, false
		}
		p.Slots = append(p.Slots, slot)
	}
	for _, s := range l.start {
		p.LeftEnds = append(p.LeftEnds, l.state(s))
	}
	p.RightEnds = []search.State{l.state(endState)}
	p.Limits = l.limits(relaxed)
	return p, true
}

func (c *candidate) cost(name string, vs []violation, first bool) int64 {
	switch name {
	case lossCriterion:
		return int64(math.Round(c.loss * micro))
	case assemblyCriterion:
		return int64(math.Round(c.assembly * micro))
	case priceCriterion:
		return c.price.Micros
	case massCriterion:
		return int64(math.Round(float64(c.mass) * 1e9)) // µg
	case wearCriterion:
		return int64(math.Round(c.wear * micro))
	case unknownCriterion:
		return int64(c.unknown) // silence must not win a comparison
	case violationCriterion:
		sum := 0.0
		for _, v := range vs {
			sum += v.amount
		}
		x := int64(math.Round(sum * micro))
		if first {
			x += base
		}
		return x
	}
	return 0
}

// limits are the enquiry's hard limits that hold where the search compares.
func (l *layout) limits(relaxed bool) []search.Limit {
	index := func(name string) (search.Criterion, bool) {
		for i, c := range l.criteria {
			if c == name {
				return search.Criterion(i), true
			}
		}
		return 0, false
	}
	var out []search.Limit
	add := func(name string, limit float64) {
		if c, ok := index(name); ok {
			out = append(out, search.Limit{Of: c, Max: limit})
		}
	}
	for _, x := range l.e.Limits.InsertionLoss {
		if x.Wish || x.Temperature != nil && *x.Temperature != l.hot || x.AtMost == nil {
			continue // judged in full afterwards
		}
		if x.To != nil && *x.To < l.at {
			continue
		}
		name := lossCriterion
		switch x.Of {
		case "", enquiry.OfChain:
		case enquiry.OfAssembly:
			name = assemblyCriterion
		default:
			continue
		}
		add(name, math.Floor(float64(*x.AtMost)*micro+0.5))
	}
	if x := l.e.Limits.Price; x != nil && x.Currency == l.currency {
		add(priceCriterion, float64(x.Micros))
	}
	if x := l.e.Limits.Mass; x != nil {
		add(massCriterion, float64(*x)*1e9)
	}
	if relaxed {
		add(violationCriterion, base)
	}
	return out
}

func (l *layout) settings(o Options) search.Settings {
	s := search.Settings{Workers: o.Workers}
	for i, name := range l.criteria {
		c := search.Criterion(i)
		s.Objectives = append(s.Objectives, c)
		switch name {
		case lossCriterion, assemblyCriterion:
			s.Resolution = append(s.Resolution, search.Resolution{Of: c, Step: 0.1 * micro})
		case priceCriterion:
			s.Resolution = append(s.Resolution, search.Resolution{Of: c, Ratio: 1.03})
		case massCriterion:
			s.Resolution = append(s.Resolution, search.Resolution{Of: c, Ratio: 1.05})
		case unknownCriterion:
			s.Resolution = append(s.Resolution, search.Resolution{Of: c, Step: 1})
		}
	}
	s.Objectives = append(s.Objectives, search.WorseEnd)
	s.Resolution = append(s.Resolution, search.Resolution{Of: search.WorseEnd, Ratio: math.Pow(10, 0.5/20)})
	if o.Progress != nil {
		s.Progress = func(x float64) { o.Progress("searching", x) }
	}
	return s
}

// chosen returns what a chain has in slot i.
func (l *layout) chosen(c search.Chain, i int) option {
	return l.slots[i].options[l.kept[i][c.Option[i]]]
}

// violated lists the filters that a chain does not pass.
func (l *layout) violated(c search.Chain) []violation {
	var out []violation
	for i := range l.slots {
		o := l.chosen(c, i)
		out = append(append(out, o.violations...), o.extra...)
	}
	return out
}

// values reads a chain's criteria back from the search.
func (l *layout) values(c search.Chain) Values {
	v := Values{Reflection: math.Max(c.Values.Left, c.Values.Right)}
	for i := range l.slots {
		o := l.chosen(c, i)
		v.Loss += units.Level(o.loss)
		v.Price.Micros += o.price.Micros
		v.Mass += o.mass
		v.Wear += o.wear
		v.Unknown += o.unknown
		v.NoPrice = v.NoPrice || o.noPrice
		v.NoMass = v.NoMass || o.noMass
	}
	v.Price.Currency = l.currency
	return v
}

// spec writes the chain that a choice stands for.
func (l *layout) spec(c search.Chain) chain.Spec {
	s := chain.Spec{Enquiry: l.e.ID, LeftPlane: plane(l.e.From, l.e.Through()), RightPlane: plane(l.e.To, l.e.Through())}
	var names []string
	for i := range l.slots {
		o := l.chosen(c, i)
		s.Pieces = append(s.Pieces, o.pieces...)
		if o.id != "" {
			names = append(names, o.id)
		}
	}
	s.Name = strings.Join(names, " + ")
	return s
}

func plane(end enquiry.End, t enquiry.Through) string {
	switch {
	case end.Kind == enquiry.Board && t == enquiry.ThroughTrace:
		return "mating plane of the board connector"
	case end.Kind == enquiry.Board && end.Line != nil && end.Line.Length != nil:
		return fmt.Sprintf("board line, %v before the launch", *end.Line.Length)
	case end.Kind == enquiry.Board:
		return "board line at the launch"
	}
	return "mating plane of the port"
}

// bare names a chain by its parts, adapters and retention grades apart.
func (l *layout) bare(c search.Chain) string {
	var names []string
	for i, slot := range l.slots {
		o := l.chosen(c, i)
		switch {
		case strings.HasSuffix(slot.name, "adapter"), o.id == "":
		default:
			if k, ok := l.cat.BoardConnector(o.id); ok {
				names = append(names, k.Face.Series, string(k.Mount))
				continue
			}
			names = append(names, o.id)
		}
	}
	return strings.Join(names, "+")
}

// refusals counts what the filters stopped, by slot and reason.
func (l *layout) refusals() []Refusal {
	var out []Refusal
	for _, s := range l.slots {
		by := map[string][]string{}
		seen := map[*candidate]bool{}
		for _, o := range s.options {
			if o.candidate == nil || seen[o.candidate] {
				continue
			}
			seen[o.candidate] = true
			for _, v := range o.violations {
				if !contains(by[v.axis], o.id) {
					by[v.axis] = append(by[v.axis], o.id)
				}
			}
		}
		var axes []string
		for a := range by {
			axes = append(axes, a)
		}
		sort.Strings(axes)
		for _, a := range axes {
			out = append(out, Refusal{Slot: s.name, Reason: a, Parts: by[a]})
		}
	}
	return out
}

// broken says where the chain cannot go on, followed from its near end with
// every filter open: the place that nothing can take, and what waits before it.
func (l *layout) broken() string {
	reached := map[string][]string{} // state → the parts that end in it
	for _, s := range l.start {
		reached[s] = nil
	}
	for _, s := range l.slots {
		next := map[string][]string{}
		for _, o := range s.options {
			from, ok := reached[o.left]
			switch {
			case !ok:
			case o.id != "" && !contains(next[o.right], o.id):
				next[o.right] = append(next[o.right], o.id)
			case o.id == "":
				for _, id := range from {
					if !contains(next[o.right], id) {
						next[o.right] = append(next[o.right], id)
					}
				}
				if _, ok := next[o.right]; !ok {
					next[o.right] = nil
				}
			}
		}
		if len(next) == 0 {
			return strings.TrimSuffix("nothing in the catalogue can stand as "+s.name+": "+waiting(reached), ": ")
		}
		reached = next
	}
	return ""
}

// waiting names the faces and cores that the chain has come to.
func waiting(reached map[string][]string) string {
	var out []string
	for state, ids := range reached {
		text := ""
		if face, ok := strings.CutPrefix(state, "face "); ok {
			text = "it must mate with " + strings.TrimSpace(face)
		} else if strings.HasPrefix(state, "core ") {
			text = "it must fit the cable"
		} else if state != endState {
			text = "it must join the " + state
		}
		if len(ids) > 0 {
			sort.Strings(ids)
			text += " of " + strings.Join(ids, ", ")
		}
		if text != "" {
			out = append(out, text)
		}
	}
	sort.Strings(out)
	return strings.Join(out, "; or ")
}

// asked names the two ends, for the record of gaps.
func (l *layout) asked() string {
	name := func(e enquiry.End) string {
		switch {
		case e.Kind == enquiry.Board && e.Series != "":
			return "board, " + e.Series
		case e.Kind == enquiry.Board:
			return "board"
		case e.Port != nil:
			return e.Port.Series + " " + string(e.Port.Gender) + " port"
		case e.Presents != nil:
			return e.Presents.Series + " " + string(e.Presents.Gender)
		}
		return "open end"
	}
	return fmt.Sprintf("%s to %s at %v", name(l.e.From), name(l.e.To), l.at)
}
