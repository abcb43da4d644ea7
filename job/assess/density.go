package assess

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/internal/spell"
	"linewright/job/enquiry"
	"linewright/physics/line"
	"linewright/physics/units"
)

// DensityReport is what fits into the field.
type DensityReport struct {
	Available     units.Length // centre distance that the field leaves
	Columns, Rows int          // of that arrangement; 0: the pitch is stated
	HalfWave      units.Length // half a wavelength in air at the top of the band
	Ends          []EndDensity
	Fits          []PitchFit // of the catalogue's parts that serve the band or nearly, smallest pitch first
}

// EndDensity is what the chain needs at an end that stands in the field.
type EndDensity struct {
	End    int // 0: from, 1: to
	Part   string
	Need   units.Length
	Source string
}

// PitchFit says whether a part fits at the available pitch.
type PitchFit struct {
	Part, Series string
	Pitch        units.Length
	Board        bool // it sits on a board
	Edge         bool // at its edge: in one row only
	Rated        units.Frequency
	Serves       bool // rated to the top of the band; else to nine tenths of it at least
	GangWays     int  // lines in one block; 0: single
	Threaded     bool // the pitch holds wrench room
	Fits         bool
}

// PitchOf returns the smallest centre distance of neighbours at a face: as its
// datasheet states, else the usual one of its series with tool room; 0 when
// nothing says.
func PitchOf(h part.Handling, f part.Face, cat catalogue.Catalogue) units.Length {
	if h.Pitch != nil {
		return *h.Pitch
	}
	if h.GangPitch != nil {
		return *h.GangPitch
	}
	s, _ := cat.LookupSeries(f.Series)
	return s.Pitch
}

// HalfWavePitch is half a wavelength in air: the largest pitch of an array that
// scans to the horizon without grating lobes. Source: c/(2f); the scan rule is
// from memory.
func HalfWavePitch(f units.Frequency) units.Length {
	return units.Length(line.C0 / (2 * float64(f)))
}

// PitchAvailable returns the largest pitch at which e's lines fit into its
// field: as stated, or that of the best arrangement of columns and rows, and no
// more than half a wavelength at the top of the band where the field asks so.
func PitchAvailable(e enquiry.Enquiry) (pitch units.Length, ok bool) {
	pitch, _, _, ok = arrangement(e)
	return pitch, ok
}

// arrangement returns the pitch with its columns and rows; they are 0 where the
// pitch is stated.
func arrangement(e enquiry.Enquiry) (pitch units.Length, columns, rows int, ok bool) {
	f := e.Field
	if f == nil {
		return 0, 0, 0, false
	}
	best := 0.0
	switch {
	case f.Pitch != nil:
		best = float64(*f.Pitch)
	case f.Width != nil && f.Height != nil:
		n := 0
		if e.Lines != nil {
			n = *e.Lines
		}
		try := func(c, r int) {
			if c < 1 || r < 1 || c*r < n {
				return
			}
			if p := math.Min(float64(*f.Width)/float64(c), float64(*f.Height)/float64(r)); p > best {
				best, columns, rows = p, c, r
			}
		}
		switch {
		case f.Columns != nil && f.Rows != nil:
			try(*f.Columns, *f.Rows)
		case n < 1:
		case f.Columns != nil && *f.Columns > 0:
			try(*f.Columns, (n+*f.Columns-1)/(*f.Columns))
		case f.Rows != nil && *f.Rows > 0:
			try((n+*f.Rows-1)/(*f.Rows), *f.Rows)
		default:
			for c := 1; c <= n; c++ {
				try(c, (n+c-1)/c)
			}
		}
	}
	if f.HalfWave != nil && *f.HalfWave {
		top := 0.0
		for _, b := range e.Band {
			top = math.Max(top, float64(b.To))
		}
		if half := float64(HalfWavePitch(units.Frequency(top))); top > 0 && (best == 0 || half < best) {
			best = half
		}
	}
	return units.Length(best), columns, rows, best > 0
}

// leastPitch is the smallest centre distance at which coaxial interfaces are
// made: that of the push-on families of the 100 GHz class, which serve every
// lower band too. Below it lies physics, or nearly. Common practice.
const leastPitch units.Length = 2.5e-3

// classPitch is the smallest centre distance of the push-on class that is usual
// to f: 4 mm to 40 GHz, 3 mm to 67 GHz, 2.5 mm to 110 GHz. Common practice.
func classPitch(f units.Frequency) units.Length {
	switch {
	case f <= 40e9:
		return 4e-3
	case f <= 67e9:
		return 3e-3
	}
	return leastPitch
}

// densities compares the pitch that the chain's faces need with what the field
// leaves.
func (j *judge) densities() error {
	f := j.e.Field
	if f == nil {
		return nil
	}
	r := &DensityReport{HalfWave: HalfWavePitch(j.top())}
	j.Density = r
	ok := false
	r.Available, r.Columns, r.Rows, ok = arrangement(j.e)
	if !ok {
		switch {
		case f.Columns != nil && f.Rows != nil && j.e.Lines != nil && *f.Columns**f.Rows < *j.e.Lines:
			j.ask(enquiry.Question{Field: "field.columns", Text: fmt.Sprintf("How do %s stand in %s and %s?", spell.Count(*j.e.Lines, "line"), spell.Count(*f.Columns, "column"), spell.Count(*f.Rows, "row")), Changes: "the pitch that is left"})
		default:
			j.ask(enquiry.Question{Field: "field.pitch", Text: "Which centre distance is available, or how large is the field and how many lines stand in it?", Changes: "which interfaces fit with their tools"})
		}
	}
	j.fits(r)
	for end := range 2 {
		if f.Covers(end) {
			j.density(r, end, ok)
		}
	}
	if ok {
		short := false // something fits, but falls short of the band
		for _, x := range r.Fits {
			short = short || x.Fits && !x.Serves
		}
		if short {
			j.pitchGap(r, r.Available)
		}
		j.ways(r)
	}
	return nil
}

// density judges one end of the chain in the field: the largest pitch of the
// faces that stand there.
func (j *judge) density(r *DensityReport, end int, known bool) {
	need, name, source, unknown, edge := units.Length(0), "", "", "", ""
	take := func(id string, h part.Handling, f part.Face, from string) {
		p := PitchOf(h, f, j.s.Catalogue)
		switch {
		case p == 0:
			unknown = id
		case p > need:
			need, name, source = p, id, from
			if h.Pitch == nil && h.GangPitch == nil {
				source = "usual pitch of " + f.Series + " with tool room, common practice"
			}
		}
	}
	for _, id := range j.s.partsAt(end) {
		if k, ok := j.s.Catalogue.BoardConnector(id); ok {
			take(k.ID, k.Handling, k.Face, k.Source)
			if k.Mount.Edge() {
				edge = k.ID
			}
		} else if k, ok := j.s.Catalogue.CableConnector(id); ok {
			take(k.ID, k.Handling, k.Face, k.Source)
		} else if k, ok := j.s.Catalogue.Adapter(id); ok {
			take(k.ID, k.Handling, k.Left, k.Source)
			take(k.ID, k.Handling, k.Right, k.Source)
		}
	}
	if name == "" && unknown == "" {
		return
	}
	r.Ends = append(r.Ends, EndDensity{end, name, need, source})
	m := Margin{Limit: "pitch, " + endName[end] + " end", Unit: "mm", Worst: units.In(need, "mm"), Likely: math.NaN(), LimitValue: units.In(r.Available, "mm"), Margin: units.In(r.Available-need, "mm"), Element: name, Source: source}
	m.Conditions = []Condition{{"half a wavelength at " + j.top().String(), mm(r.HalfWave)}}
	if r.Columns > 0 {
		m.Conditions = append(m.Conditions, Condition{"arrangement", fmt.Sprintf("%d × %d", r.Columns, r.Rows)})
	}
	switch {
	case !known:
		m.Verdict, m.LimitValue, m.Margin, m.Why = NotAssessed, math.NaN(), math.NaN(), "the field leaves the pitch open"
	case need > r.Available*(1+1e-9):
		m.Verdict = Fails
		m.Why = fmt.Sprintf("%s needs %s between centres, %s is there", name, mm(need), mm(r.Available))
		j.pitchGap(r, need)
	case edge != "" && r.Rows > 1:
		m.Verdict, m.Element = Fails, edge
		m.Why = fmt.Sprintf("%s sits at the board's edge, in one row; the field has %d", edge, r.Rows)
	case unknown != "":
		m.Verdict, m.Element, m.Why = NotAssessed, unknown, unknown+" states no pitch, nor does its series"
		m.Worst, m.Margin = math.NaN(), math.NaN()
	default:
		m.Why = fmt.Sprintf("%s needs %s between centres, %s is there", name, mm(need), mm(r.Available))
	}
	j.Margins = append(j.Margins, m)
}

// partsAt returns the parts whose faces stand at an end: from the chain's end
// to the cable or the bullet.
func (s Subject) partsAt(end int) []string {
	pieces := s.Spec.Pieces
	var out []string
	for i := range pieces {
		p := pieces[i]
		if end == 1 {
			p = pieces[len(pieces)-1-i]
		}
		_, cable := s.Catalogue.Cable(p.Part)
		_, bullet := s.Catalogue.Bullet(p.Part)
		if cable || bullet || p.Trace != nil && len(out) > 0 { // a board line before its connector is the end's own
			break
		}
		if p.Part != "" {
			out = append(out, p.Part)
		}
	}
	return out
}

// fits lists the catalogue's faces that serve the band, by pitch.
func (j *judge) fits(r *DensityReport) {
	add := func(c part.Common, f part.Face, h part.Handling, board, edge bool) {
		p := PitchOf(h, f, j.s.Catalogue)
		if p == 0 || c.RatedFrequency == nil || *c.RatedFrequency < 0.9*j.top() {
			return
		}
		x := PitchFit{Part: c.ID, Series: f.Series, Pitch: p, Board: board, Edge: edge, Rated: *c.RatedFrequency, Serves: *c.RatedFrequency >= j.top()*(1-1e-12), Fits: r.Available > 0 && p <= r.Available*(1+1e-9) && !(edge && r.Rows > 1)}
		if h.GangWays != nil {
			x.GangWays = *h.GangWays
		}
		s, _ := j.s.Catalogue.LookupSeries(f.Series)
		x.Threaded = s.Coupling == "threaded"
		r.Fits = append(r.Fits, x)
	}
	for _, k := range j.s.Catalogue.BoardConnectors {
		add(k.Common, k.Face, k.Handling, true, k.Mount.Edge())
	}
	for _, k := range j.s.Catalogue.CableConnectors {
		add(k.Common, k.Face, k.Handling, false, false)
	}
	sort.SliceStable(r.Fits, func(a, b int) bool { return r.Fits[a].Pitch < r.Fits[b].Pitch })
}

// pitchGap records that the field is too dense, and why.
func (j *judge) pitchGap(r *DensityReport, need units.Length) {
	best := ""
	for _, x := range r.Fits {
		if x.Fits && x.Serves {
			return // another part of the catalogue fits: this chain fails, the catalogue does not
		}
		if best == "" {
			best = fmt.Sprintf("%s (%s, rated to %v)", mm(x.Pitch), x.Part, x.Rated)
		}
	}
	for _, g := range j.Gaps {
		if g.Axis == "pitch" {
			return
		}
	}
	if best == "" && need <= r.Available*(1+1e-9) { // nothing is rated to the band: no pitch to compare
		return
	}
	g := Gap{Axis: "pitch", Asked: fmt.Sprintf("%s to %v", mm(r.Available), j.top()), Best: mm(need), Cause: NotYetBuilt, Needs: fmt.Sprintf("an interface of no more than %s between centres, rated to %v; the class usual for this band is made from about %s, the densest of any from about %s (common practice)", mm(r.Available), j.top(), mm(classPitch(j.top())), mm(leastPitch))}
	if best != "" {
		g.Best = best
	}
	if r.Available < leastPitch {
		g.Cause = Physics
		g.Needs = fmt.Sprintf("another way than coax: no coaxial interface is made below about %s (common practice): fan out from the grid, bring out sub-array ports, or test over the air", mm(leastPitch))
	}
	j.Gaps = append(j.Gaps, g)
}

// FieldGaps says what the field asks for and no face of cat gives, where no
// chain is at hand to judge; none when something fits.
func FieldGaps(e enquiry.Enquiry, cat catalogue.Catalogue) []Gap {
	f := Grid(e, 2)
	if e.Field == nil || len(f) == 0 {
		return nil
	}
	j := &judge{Report: &Report{Prediction: chain.Prediction{Frequency: f}}, e: e, s: Subject{Catalogue: cat}}
	r := &DensityReport{HalfWave: HalfWavePitch(j.top())}
	var ok bool
	if r.Available, r.Columns, r.Rows, ok = arrangement(e); ok {
		j.fits(r)
		j.pitchGap(r, r.Available)
	}
	return j.Gaps
}

// ways says what else fits, what does not, and what a larger field would take.
func (j *judge) ways(r *DensityReport) {
	var fit, near, tight []string
	seen := map[string]bool{}
	for _, x := range r.Fits {
		if seen[x.Series] {
			continue
		}
		seen[x.Series] = true
		s := fmt.Sprintf("%s at %s", x.Series, mm(x.Pitch))
		if x.Threaded {
			s += " with wrench room"
		}
		if x.GangWays > 0 {
			s += fmt.Sprintf(" in blocks of %d", x.GangWays)
		}
		if !x.Serves {
			s += fmt.Sprintf(", rated to %v only", x.Rated)
		}
		if x.Edge && r.Rows > 1 {
			s += ", at the edge only"
		}
		switch {
		case x.Fits && x.Serves:
			fit = append(fit, s)
		case x.Fits:
			near = append(near, s)
		default:
			tight = append(tight, s)
		}
	}
	text := fmt.Sprintf("pitch: %s is there", mm(r.Available))
	if r.Columns > 0 {
		text += fmt.Sprintf(" for %d × %d", r.Columns, r.Rows)
	}
	if len(fit) > 0 {
		text += fmt.Sprintf("; rated to %v and fitting: %s", j.top(), strings.Join(fit, ", "))
	} else {
		text += fmt.Sprintf("; of the catalogue nothing rated to %v fits", j.top())
	}
	if len(near) > 0 {
		text += fmt.Sprintf("; fitting but short of the band: %s", strings.Join(near, ", "))
	}
	if len(tight) > 0 {
		text += fmt.Sprintf("; too wide: %s", strings.Join(tight, ", "))
	}
	j.noteOnce("%s", text)
	j.classNote(r)
	j.blocks(r)
	f := j.e.Field
	if f.Pitch == nil && f.Width != nil && f.Height != nil && j.e.Lines != nil {
		for _, x := range r.Fits {
			if x.Fits || x.Board != j.boardInField() || x.Edge && r.Rows > 1 {
				continue
			}
			across, up := math.Floor(float64(*f.Width/x.Pitch)+1e-9), math.Floor(float64(*f.Height/x.Pitch)+1e-9)
			side := math.Ceil(math.Sqrt(float64(*j.e.Lines)))
			o := Option{Title: fmt.Sprintf("spread the lines for %s (%s, rated to %v)", x.Part, x.Series, x.Rated), Effect: fmt.Sprintf("a field of %.0f × %.0f mm", side*float64(x.Pitch)*1e3, math.Ceil(float64(*j.e.Lines)/side)*float64(x.Pitch)*1e3)}
			if each := across * up; each >= 1 {
				o.Effect += fmt.Sprintf(", or %.0f fields of this size with %.0f lines each", math.Ceil(float64(*j.e.Lines)/each), each)
			}
			j.Ways = append(j.Ways, o)
			break // the densest of those that do not fit
		}
	}
	if f.HalfWave != nil && *f.HalfWave && r.Available < classPitch(j.top()) {
		j.Ways = append(j.Ways, Option{"fan out, sub-array ports, or test over the air", fmt.Sprintf("half a wavelength at %v is %s; the class of coax usual for this band ends near %s, the densest near %s (common practice)", j.top(), mm(r.HalfWave), mm(classPitch(j.top())), mm(leastPitch))})
	}
}

// boardInField says that the chain ends on a board in the field.
func (j *judge) boardInField() bool {
	for end := range 2 {
		if j.e.Field.Covers(end) && j.endOf(end).Kind == enquiry.Board {
			return true
		}
	}
	return false
}

// classNote names the threaded interfaces known for the band that a drawing may
// have promised but a wrench does not reach.
func (j *judge) classNote(r *DensityReport) {
	var wide []string
	for _, s := range series.All() {
		if s.Coupling == "threaded" && s.Pitch > r.Available*(1+1e-9) && s.UsualTop >= j.top()*0.9 && s.UsualTop <= j.top()*1.7 {
			wide = append(wide, fmt.Sprintf("%s about %s", s.Name, mm(s.Pitch)))
		}
	}
	if len(wide) > 0 {
		j.noteOnce("threaded interfaces of this class need wrench room and do not fit: %s between centres (common practice)", join(wide))
	}
}

// blocks says how gang blocks fill the field.
func (j *judge) blocks(r *DensityReport) {
	f := j.e.Field
	if j.e.Lines == nil || f.Width == nil || f.Height == nil {
		return
	}
	done := map[string]bool{}
	for _, x := range r.Fits {
		if x.GangWays < 2 || !x.Fits || done[x.Series] {
			continue
		}
		done[x.Series] = true
		n := (*j.e.Lines + x.GangWays - 1) / x.GangWays
		long, p := float64(x.GangWays)*float64(x.Pitch), float64(x.Pitch)
		room := func(w, h float64) int { return int(w/long+1e-9) * int(h/p+1e-9) }
		fits := max(room(float64(*f.Width), float64(*f.Height)), room(float64(*f.Height), float64(*f.Width)))
		verb := "fit"
		if fits < n {
			verb = "do not fit"
		}
		j.noteOnce("%s: %d blocks of %d lines, %s long, %s (room for %d)", x.Series, n, x.GangWays, mm(units.Length(long)), verb, fits)
	}
}
