package tolerance

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/tolerance/sample"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/units"
)

// An Input is one thing that differs from copy to copy.
type Input struct {
	Name         string // "cable: length"
	Piece        string // the element's name
	Quantity     string // "length", or "phase of the reflection" and the like for what is chance
	Distribution sample.Distribution
	Unit         string // of the deviation: "m", "s", "1" or "rad"
	Says         string // the distribution in words
	Standing     part.Standing
	Source       string
	Assumed      bool // a default of ours: nothing states it
	Chance       bool // nobody can hold it: a phase, a place, an unstated length
}

// ref is an input as the model sees it: a place among the drawn values, or a
// constant when the quantity does not vary.
type ref struct {
	at    int // −1: fixed
	fixed float64
	in    Input
	class int // order of importance, for the low-discrepancy sequence
}

func (r *ref) of(x []float64) float64 {
	if r.at < 0 {
		return r.fixed
	}
	return x[r.at]
}

// element is one element of the chain, made for sampling.
type element struct {
	facts     chain.Facts
	role      chain.Role
	from, to  int    // its stages
	lossy     []bool // of these, which have a line with loss
	refs      []*ref
	place     *ref                                      // where along it its discontinuity lies; nil: not drawn
	apply     func(x []float64, set []network.Setting)  // set[0] is its first stage
	deviation func(x []float64) float64                 // of its known delay from nominal, s
	stages    func(resp chain.Response) []network.Stage // at one temperature
	response  map[units.Temperature]chain.Response      // by temperature
}

// The defaults, where neither chain nor datasheet nor tolerance file says more.
const (
	cutDefault       = 0.1e-3  // m, ±: what an assembly shop cuts a cable to
	lossBelow        = 0.10    // a guaranteed loss bounds losses that lie up to this share below it
	lossTypical      = 0.10    // ±, cut: around a typical loss
	reflectionAround = 0.5     // ±: around a typical reflection
	traceImpedance   = 0.10    // ±: of a board line of controlled impedance
	unstatedDelay    = 100e-12 // s: a connector without a stated electrical length has at most this, 30 mm of air
)

// builder turns a chain into elements and inputs.
type builder struct {
	e        enquiry.Enquiry
	b        chain.Built
	asked    []Tolerance
	used     []bool
	offered  []string // "piece: quantity" pairs that a tolerance may name
	elements []*element
	refs     []*ref
	missing  []string
	notes    []string
}

func (bd *builder) note(format string, args ...any) {
	s := fmt.Sprintf(format, args...)
	for _, n := range bd.notes {
		if n == s {
			return
		}
	}
	bd.notes = append(bd.notes, s)
}

// fits says whether a tolerance speaks of an element.
func (t Tolerance) fits(f chain.Facts) bool { return t.Piece == "" || called(f, t.Piece) }

// called says whether an element goes by a name: its own, its kind's or its
// part's.
func called(f chain.Facts, name string) bool {
	return name == f.Name || name == f.Kind || name == f.Part && f.Part != ""
}

// Classes of inputs, the most telling first: the low-discrepancy sequence is
// at its best in its first dimensions.
const (
	classDimension = iota
	classMagnitude
	classChance
)

// input gives el an input with a default, nil for none, unless a tolerance
// says otherwise. The last tolerance that fits counts.
func (bd *builder) input(el *element, q Quantity, class int, by tolerated) (*ref, error) {
	return bd.inputOf(el, q, "", class, by)
}

// inputOf is input for a layer of the element's stackup.
func (bd *builder) inputOf(el *element, q Quantity, layer string, class int, by tolerated) (*ref, error) {
	name := string(q)
	if layer != "" {
		name += " of " + layer
	}
	bd.offered = append(bd.offered, el.facts.Name+": "+name)
	for i, t := range bd.asked {
		if t.Quantity != q || !t.fits(el.facts) || t.Layer != "" && t.Layer != layer {
			continue
		}
		bd.used[i] = true
		x, err := t.distribution()
		if err != nil {
			if f, ok := err.(*Fault); ok {
				f.Index = i
			}
			return nil, err
		}
		by = tolerated{x, t.Standing, orElse(t.Source, "the file of tolerances"), true}
	}
	return bd.add(el, Input{Quantity: name, Distribution: by.d, Unit: q.unit(), Standing: by.standing, Source: by.source, Assumed: !by.stated}, class), nil
}

// chance gives el an input that nobody can hold.
func (bd *builder) chance(el *element, what, unit string, d sample.Distribution, source string) *ref {
	return bd.add(el, Input{Quantity: what, Distribution: d, Unit: unit, Standing: part.Practice, Source: source, Assumed: true, Chance: true}, classChance)
}

func (bd *builder) add(el *element, in Input, class int) *ref {
	r := &ref{at: -1, in: in, class: class}
	if in.Distribution == nil {
		return r
	}
	r.in.Piece = el.facts.Name
	r.in.Name = el.facts.Name + ": " + in.Quantity
	r.in.Says = describe(in.Distribution, in.Unit)
	if low, high := in.Distribution.Limits(); low == high { // does not vary
		r.fixed = low
		return r
	}
	el.refs = append(el.refs, r)
	bd.refs = append(bd.refs, r)
	return r
}

// number sorts the inputs by class and gives each its place.
func (bd *builder) number() []Input {
	sort.SliceStable(bd.refs, func(i, k int) bool { return bd.refs[i].class < bd.refs[k].class })
	out := make([]Input, len(bd.refs))
	for i, r := range bd.refs {
		r.at = i
		out[i] = r.in
	}
	return out
}

// A Tie is a correlation between two inputs, given by their places in
// [Study.Inputs].
type Tie struct {
	I, J        int
	Coefficient float64
	Source      string
}

// tie makes the correlations of numbered inputs. Where two speak of one pair the
// last counts.
func (bd *builder) tie(cs []Correlation) ([]Tie, error) {
	var out []Tie
	for i, c := range cs {
		fail := func(err error, problem, help string) ([]Tie, error) {
			return nil, &Fault{Of: "correlation", Index: i, Problem: problem, Err: err, Help: help}
		}
		if !(math.Abs(c.Coefficient) <= 1) {
			return fail(ErrCorrelation, fmt.Sprintf("a coefficient of %g", c.Coefficient), "write it between -1 and 1; 1 is one quantity seen at several places")
		}
		var of []int
		for _, name := range c.Between {
			piece, quantity, ok := strings.Cut(name, ": ")
			if !ok {
				return fail(ErrPiece, fmt.Sprintf("%q", name), `name a piece and its quantity, such as "cable connector: loss"`)
			}
			n := len(of)
			for _, el := range bd.elements {
				for _, r := range el.refs {
					if r.in.Quantity == quantity && called(el.facts, piece) && !slices.Contains(of, r.at) {
						of = append(of, r.at)
					}
				}
			}
			if len(of) == n {
				var vary []string
				for _, r := range bd.refs {
					vary = append(vary, r.in.Name)
				}
				return fail(ErrPiece, fmt.Sprintf("%q", name), "what varies in this chain: "+strings.Join(vary, ", "))
			}
		}
		if len(of) < 2 {
			return fail(ErrCorrelation, strings.Join(c.Between, ", ")+" is a single quantity", "name two or more that vary; a piece's kind stands for every piece of it")
		}
		slices.Sort(of)
		for a, i := range of {
			for _, j := range of[a+1:] {
				t := Tie{i, j, c.Coefficient, orElse(c.Source, "the file of tolerances")}
				if k := slices.IndexFunc(out, func(o Tie) bool { return o.I == i && o.J == j }); k >= 0 {
					out[k] = t
				} else {
					out = append(out, t)
				}
			}
		}
	}
	return out, nil
}

// build makes every element, with its responses at the temperatures wanted.
func (bd *builder) build(g *grid, temps []units.Temperature) error {
	at := 0
	for k, e := range bd.b.Elements {
		el := &element{facts: e.Facts(), role: bd.b.Roles[k], from: at, response: map[units.Temperature]chain.Response{}}
		for _, t := range temps {
			r, err := e.Respond(g.f, chain.Conditions{Temperature: t})
			if err != nil {
				return fmt.Errorf("chain %s, element %d (%s): %w", bd.b.Name, k+1, el.facts.Name, err)
			}
			el.response[t] = r
		}
		if err := bd.element(el, e, el.response[temps[0]], g); err != nil {
			return err
		}
		for _, x := range el.stages(el.response[temps[0]]) {
			el.lossy = append(el.lossy, x.Loss != nil)
			at++
		}
		el.to = at
		bd.elements = append(bd.elements, el)
	}
	var faults []error
	for i, used := range bd.used {
		if used {
			continue
		}
		t := bd.asked[i]
		what := t.Piece
		if what == "" {
			what = "any piece"
		}
		if t.Layer != "" {
			what = t.Layer + " of " + what
		}
		faults = append(faults, &Fault{Index: i, Problem: fmt.Sprintf("%s of %s", t.Quantity, what), Err: ErrPiece, Help: "the chain offers " + strings.Join(bd.offered, ", ")})
	}
	if len(faults) > 0 {
		return faults[0]
	}
	return nil
}

// bare is an element under whatever name.
func bare(e chain.Element) chain.Element {
	for {
		n, ok := e.(chain.Named)
		if !ok {
			return e
		}
		e = n.Element
	}
}

func ones(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1
	}
	return x
}

// element makes one element: its stages, its inputs, and how they set the
// stages.
func (bd *builder) element(el *element, e chain.Element, resp chain.Response, g *grid) error {
	switch x := bare(e).(type) {
	case chain.Cable:
		return bd.run(el, resp, float64(x.Length), trace{}, g, bd.cut(x), true)
	case chain.Trace:
		t := trace{z: 50}
		if x.Line != nil {
			mid := (g.f[0] + g.f[len(g.f)-1]) / 2
			p := x.Line.At(mid)
			t.z = real(p.Impedance)
			bd.note("%s: enters with its impedance and delay at the middle of the band, %.4g Ω", el.facts.Name, t.z)
			resp.Delay = p.Delay() * float64(x.Length)
			if x.Drawn != nil {
				var err error
				if t.made, err = bd.fabricate(el, *x.Drawn, mid); err != nil {
					return err
				}
			}
		}
		return bd.run(el, resp, float64(x.Length), t, g, tolerated{}, false)
	case chain.Gap:
		return bd.gap(el, x)
	}
	if resp.Network != nil {
		return bd.known(el, resp)
	}
	return bd.run(el, resp, 0, trace{}, g, tolerated{}, false)
}

// trace is what of a board line differs from other runs.
type trace struct {
	z    float64 // Ω; 0: no board line
	made surface
}

// tolerated is a default distribution with where it comes from.
type tolerated struct {
	d        sample.Distribution
	standing part.Standing
	source   string
	stated   bool // the datasheet or the enquiry states its limits
}

func (bd *builder) cut(c chain.Cable) tolerated {
	if t := c.Part.CutTolerance; t != nil {
		return tolerated{sample.Uniform{Low: -float64(*t), High: float64(*t)}, c.Part.Standing, fmt.Sprintf("cutting tolerance of %s, ±%v: known by its limits alone, so uniform (JCGM 101, 6.4.2)", c.Part.ID, *t), true}
	}
	return tolerated{sample.Uniform{Low: -cutDefault, High: cutDefault}, part.Practice, fmt.Sprintf("%s states no cutting tolerance: ±0.1 mm", c.Part.ID), false}
}

// lossDefault is how true losses lie about a datasheet's figure.
func lossDefault(resp chain.Response) tolerated {
	switch {
	case !resp.Lossy || resp.Step != chain.DatasheetBound || maximum(resp.Loss) == 0:
		return tolerated{}
	case resp.Typical:
		return tolerated{sample.TruncatedNormal{Sigma: lossTypical / 3, Low: -lossTypical, High: lossTypical}, part.Practice,
			"the figure is typical: losses lie about it; replace this by the maker's lots", false}
	}
	return tolerated{sample.Uniform{Low: -lossBelow, High: 0}, part.Practice,
		"the figure is taken as guaranteed: losses lie up to a tenth below it; replace this by the maker's lots", false}
}

// reflectionDefault is how true reflections lie about a datasheet's figure.
func reflectionDefault(resp chain.Response) tolerated {
	if resp.Typical {
		return tolerated{sample.Uniform{Low: -reflectionAround, High: reflectionAround}, part.Practice, "the figure is typical: reflections lie about it; replace this by the maker's lots", false}
	}
	return tolerated{sample.Uniform{Low: -1, High: 0}, part.Practice,
		"the VSWR bounds the reflection: its magnitude is known by its limits alone, zero and the bound, so uniform (JCGM 101, 6.4.2); one share of the bound holds over the band", false}
}

const phaseSource = "a datasheet's reflection has no phase: every phase is as likely (JCGM 101, 6.4.2), and holds over the band"

// run is a stretch of lossy line with at most one discontinuity: a cable, a
// connector, a launch known by its bound. A board line has a step at either end
// instead.
func (bd *builder) run(el *element, resp chain.Response, length float64, board trace, g *grid, cut tolerated, anywhere bool) error {
	n, z := len(g.f), board.z
	reflects := z == 0 && resp.Reflecting && math.Max(maximum(resp.Left), maximum(resp.Right)) > 0
	if !resp.Lossy {
		bd.missing = append(bd.missing, "loss of "+el.facts.Name)
	}
	if !resp.Reflecting {
		bd.missing = append(bd.missing, "reflection of "+el.facts.Name)
	}
	fixed := &ref{at: -1}
	dl, velocity, impedance, magnitude, phase, place := fixed, fixed, fixed, fixed, fixed, &ref{at: -1, fixed: 0.5}
	var err error
	if length > 0 {
		if dl, err = bd.input(el, Length, classDimension, cut); err != nil {
			return err
		}
		if velocity, err = bd.input(el, Velocity, classDimension, tolerated{}); err != nil {
			return err
		}
	}
	if z > 0 {
		by := tolerated{sample.Uniform{Low: -traceImpedance, High: traceImpedance}, part.Practice, "a board of controlled impedance is held to ±10 %; ask the fabricator", false}
		if len(board.made.factors) > 0 {
			by = tolerated{} // it follows from the layers
		}
		if impedance, err = bd.input(el, Impedance, classMagnitude, by); err != nil {
			return err
		}
	}
	ld := lossDefault(resp)
	loss, err := bd.input(el, Loss, classDimension, ld)
	if err != nil {
		return err
	}
	if reflects {
		rd := reflectionDefault(resp)
		if magnitude, err = bd.input(el, Reflection, classMagnitude, rd); err != nil {
			return err
		}
		phase = bd.chance(el, "phase of the reflection", "rad", sample.Uniform{Low: 0, High: 2 * math.Pi}, phaseSource)
		if anywhere {
			place = bd.chance(el, "place of its reflection", "1", sample.Uniform{Low: 0, High: 1}, "a cable's own irregularity lies anywhere along it")
			el.place = place
		}
	}
	extra, err := bd.input(el, Delay, classDimension, tolerated{})
	if err != nil {
		return err
	}
	known := !math.IsNaN(resp.Delay)
	tau := resp.Delay
	unstated := fixed
	if !known {
		tau = 0
		unstated = bd.chance(el, "electrical length", "s", sample.Uniform{Low: 0, High: unstatedDelay}, "not stated: up to 30 mm of air; moves the ripple, and is left out of the delay")
	}
	el.deviation = func(x []float64) float64 {
		d := extra.of(x)
		if length > 0 {
			d += tau * (board.made.delay(x)*(1+dl.of(x)/length)/(1+velocity.of(x)) - 1)
		}
		return d
	}
	delay := func(x []float64) float64 { return tau + el.deviation(x) + unstated.of(x) }
	scale := func(x []float64) float64 {
		s := 1 + loss.of(x)
		if length > 0 {
			s *= board.made.loss(x) * (1 + dl.of(x)/length)
		}
		return s
	}
	switch {
	case z > 0:
		el.stages = func(resp chain.Response) []network.Stage {
			one := ones(n)
			return []network.Stage{{Bound: one, Loss: nepers(resp.Loss)}, {Bound: one}}
		}
		el.apply = func(x []float64, set []network.Setting) {
			zl := z * (1 + impedance.of(x)) * board.made.impedance(x)
			rho := (zl - 50) / (zl + 50)
			set[0] = network.Setting{Scale: rho, Loss: scale(x), Delay: delay(x)}
			set[1] = network.Setting{Scale: -rho, Loss: 1}
		}
	case reflects:
		el.stages = func(resp chain.Response) []network.Stage {
			bound := make([]float64, n)
			for i := range bound {
				bound[i] = math.Max(resp.Left[i], resp.Right[i])
			}
			a := nepers(resp.Loss)
			return []network.Stage{{Loss: a}, {Bound: bound, Loss: a}}
		}
		el.apply = func(x []float64, set []network.Setting) {
			p, s, d := place.of(x), scale(x), delay(x)
			set[0] = network.Setting{Loss: p * s, Delay: p * d}
			set[1] = network.Setting{Scale: 1 + magnitude.of(x), Phase: phase.of(x), Loss: (1 - p) * s, Delay: (1 - p) * d}
		}
	default:
		el.stages = func(resp chain.Response) []network.Stage { return []network.Stage{{Loss: nepers(resp.Loss)}} }
		el.apply = func(x []float64, set []network.Setting) { set[0] = network.Setting{Loss: scale(x), Delay: delay(x)} }
	}
	return nil
}

// gap is a short section of air line between two steps.
func (bd *builder) gap(el *element, x chain.Gap) error {
	nominal := float64(x.Opening)
	d := tolerated{sample.Uniform{Low: -nominal, High: 0}, part.Practice, fmt.Sprintf("the opening of %v is taken as the largest: known by its limits alone, so uniform (JCGM 101, 6.4.2)", x.Opening), false}
	if a := bd.e.Alignment; a != nil && a.Spacing != nil && a.SpacingTolerance != nil && bd.b.Bullet != nil && bd.b.Bullet.SeatedSpacing != nil {
		home := float64(*a.Spacing - *bd.b.Bullet.SeatedSpacing) // the gap at nominal spacing
		tol := float64(*a.SpacingTolerance)
		d = tolerated{sample.Uniform{Low: picometres(home - tol - nominal), High: picometres(home + tol - nominal)}, part.Practice,
			fmt.Sprintf("board spacing %v ± %v, %s home at %v: known by its limits alone, so uniform (JCGM 101, 6.4.2); deviations count from the chain's gap of %v", *a.Spacing, *a.SpacingTolerance, bd.b.Bullet.ID, *bd.b.Bullet.SeatedSpacing, x.Opening), true}
	}
	opening, err := bd.input(el, Opening, classDimension, d)
	if err != nil {
		return err
	}
	impedance, err := bd.input(el, Impedance, classMagnitude, tolerated{})
	if err != nil {
		return err
	}
	open := func(x []float64) float64 { return math.Max(0, nominal+opening.of(x)) }
	el.deviation = func(x []float64) float64 { return (open(x) - nominal) / line.C0 }
	el.stages = func(resp chain.Response) []network.Stage {
		one := ones(len(resp.Loss))
		return []network.Stage{{Bound: one}, {Bound: one}}
	}
	el.apply = func(v []float64, set []network.Setting) {
		z := float64(x.Impedance) * (1 + impedance.of(v))
		rho := (z - 50) / (z + 50)
		set[0] = network.Setting{Scale: rho, Loss: 1, Delay: open(v) / line.C0}
		set[1] = network.Setting{Scale: -rho, Loss: 1}
	}
	return nil
}

// known is an element whose phase is known, from a file or a solver: it stands
// as it is.
func (bd *builder) known(el *element, resp chain.Response) error {
	extra, err := bd.input(el, Delay, classDimension, tolerated{})
	if err != nil {
		return err
	}
	bd.note("%s stands as its network says (%s): without a spread of its own", el.facts.Name, resp.Source)
	el.deviation = extra.of
	el.stages = func(resp chain.Response) []network.Stage {
		return []network.Stage{{Known: resp.Network}}
	}
	el.apply = func(x []float64, set []network.Setting) { set[0] = network.Setting{Loss: 1, Delay: extra.of(x)} }
	return nil
}

// picometres rounds a length, m, to them: less is rounding.
func picometres(x float64) float64 { return math.Round(x*1e12) / 1e12 }

func orElse(s, t string) string {
	if s == "" {
		return t
	}
	return s
}

func maximum(x []float64) float64 {
	m := 0.0
	for _, v := range x {
		m = math.Max(m, v)
	}
	return m
}

// newGrid lays evenly spaced frequencies over the enquiry's bands, cut where a
// limit starts or ends, close enough that eight fall into the shortest ripple
// of the chain's delay (a crest is then met within 2 %), or points in all.
func newGrid(e enquiry.Enquiry, delay float64, points int) (g *grid, perRipple float64, err error) {
	if len(e.Band) == 0 {
		return nil, 0, fmt.Errorf("enquiry %s states no band: no limit can be tried; write band: [{from: 24 GHz, to: 40 GHz}]", e.ID)
	}
	marks := assess.Grid(e, 2)
	inBand := func(a, b float64) bool {
		for _, x := range e.Band {
			if a >= float64(x.From)*(1-1e-9) && b <= float64(x.To)*(1+1e-9) {
				return true
			}
		}
		return false
	}
	type piece struct{ a, b float64 }
	var pieces []piece
	total := 0.0
	for i := 1; i < len(marks); i++ {
		if inBand(marks[i-1], marks[i]) {
			pieces = append(pieces, piece{marks[i-1], marks[i]})
			total += marks[i] - marks[i-1]
		}
	}
	g = &grid{}
	if len(pieces) == 0 { // bands of one frequency each
		for _, f := range marks {
			g.segments = append(g.segments, network.Segment{Start: f, Points: 1})
			g.f = append(g.f, f)
		}
		return g, math.Inf(1), nil
	}
	if points <= 0 {
		points = min(max(101, int(math.Ceil(total*16*delay))), mostPoints)
	}
	for i, p := range pieces {
		n := max(1, int(math.Round(float64(points-1)*(p.b-p.a)/total)))
		s := network.Segment{Start: p.a, Step: (p.b - p.a) / float64(n), Points: n}
		if i == len(pieces)-1 || pieces[i+1].a != p.b {
			s.Points++ // its end is no other's start
		}
		for k := range s.Points {
			g.f = append(g.f, s.Start+s.Step*float64(k))
		}
		if s.Points > n {
			g.f[len(g.f)-1] = p.b
		}
		g.segments = append(g.segments, s)
	}
	if delay > 0 {
		perRipple = float64(len(g.f)) / (total * 2 * delay)
	}
	return g, perRipple, nil
}

// mostPoints bounds the frequencies of a copy.
const mostPoints = 2001
