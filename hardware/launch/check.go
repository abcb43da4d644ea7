package launch

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"unicode"

	"linewright/hardware/board"
	"linewright/hardware/part"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/units"
)

// Verdict is how a launch stands to one rule.
type Verdict int

// The verdicts of a check. Attention: the rule is broken, or nearly, and it is
// one of thumb or has a way round. Fails: the limit is physics and lies inside
// the wanted range. Collision: what a rule of thumb demands cannot be made.
// Refused: a footprint of another stackup.
const (
	OK Verdict = iota
	NotAssessed
	Attention
	Collides
	Fails
	Refused
)

func (v Verdict) String() string {
	return [...]string{"ok", "not assessed", "attention", "collision", "fails", "refused"}[v]
}

// MarshalText writes the verdict's words.
func (v Verdict) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// Finding is the outcome of one rule.
type Finding struct {
	Rule      string // "L8"; "footprint" for the refusal
	Title     string
	Verdict   Verdict
	Value     float64 // in Unit; NaN: none
	Limit     float64
	Unit      string
	Text      string // one sentence with the numbers
	Help      string // what to do
	Source    string
	Standing  part.Standing
	Collision *Collision
	Reasons   []string // of a refusal
	Redo      []Redo   // after a refusal
}

// Collision is a rule of thumb against what can be made.
type Collision struct {
	Rule     string       // "pitch at most a twentieth of the wavelength"
	Demanded units.Length // what it asks for
	Makeable units.Length // the nearest that can be made
	Maker    string       // whose limit: the fabricator, or "usual fabricators"
	Way      string       // what works instead
}

// Check goes through the rules that concern in, in their order. A rule that
// does not apply (a via ring on an edge launch without one) is left out; one
// that applies and lacks a figure is listed as not assessed.
func Check(in Input) []Finding {
	c := &checker{in: in, facts: in.facts(), f: float64(in.Top)}
	if !(c.f > 0) {
		return []Finding{{Rule: "L1", Title: "top frequency", Verdict: NotAssessed, Value: math.NaN(), Limit: math.NaN(), Text: "no top frequency is stated", Help: "state the highest frequency at which the launch must work"}}
	}
	c.nonsense()
	c.footprint()
	c.fabrication()
	c.line()
	c.pad()
	c.capacity()
	c.via()
	c.ringMode()
	c.legs()
	c.stub()
	c.rows()
	c.pitch()
	c.loading()
	c.setBack()
	c.airGap()
	c.finishing()
	c.mask()
	c.pin()
	c.calibration()
	c.soldering()
	c.planes()
	return c.out
}

type checker struct {
	facts
	in  Input
	f   float64 // Hz
	out []Finding
}

// add appends a finding; a missing Value or Limit is passed as NaN.
func (c *checker) add(x Finding) {
	if x.Source == "" {
		x.Source, x.Standing = "common practice", part.Practice
	}
	c.out = append(c.out, x)
}

// open appends a finding for a rule that lacks figures.
func (c *checker) open(rule, title, lacks, help string) {
	c.add(Finding{Rule: rule, Title: title, Verdict: NotAssessed, Value: math.NaN(), Limit: math.NaN(), Text: "not stated: " + lacks, Help: help})
}

func (c *checker) top() string { return fmt.Sprint(c.in.Top) }

func ghz(f float64) string { return fmt.Sprintf("%.3g GHz", f/1e9) }

// footprint refuses a land pattern of another board.
func (c *checker) footprint() {
	p := c.in.Footprint
	if p == nil {
		return
	}
	x := Finding{Rule: "footprint", Title: "reuse of a footprint", Value: math.NaN(), Limit: math.NaN(), Source: "a footprint belongs to its stackup: common practice", Standing: part.Practice}
	why := func(format string, args ...any) { x.Reasons = append(x.Reasons, fmt.Sprintf(format, args...)) }
	compared := 0
	differ := func(a, b float64) bool {
		if math.IsNaN(a) || math.IsNaN(b) {
			return false
		}
		compared++
		return !(math.Abs(a-b) <= 0.01*math.Abs(b))
	}
	h, er, t := value(p.Height), number(p.Permittivity), value(p.Thickness)
	if differ(h, c.height) {
		why("height ratio %.2g: drawn over %s of dielectric, now %s", h/c.height, length(h), length(c.height))
		why("the ground is at another distance: %s instead of %s, so pad, pin and relief see another ground", length(c.height), length(h))
		x.Value, x.Limit, x.Unit = h/c.height, 1, ""
	}
	if differ(er, c.er) {
		why("permittivity %.4g, now %.4g", er, c.er)
	}
	if ratio := (c.er / c.height) / (er / h); len(x.Reasons) > 0 && !math.IsNaN(ratio) {
		why("a pad has about %.2g times the capacity (permittivity over height)", ratio)
	}
	if differ(t, c.thickness) {
		why("board thickness %s, now %s", length(t), length(c.thickness))
	}
	if p.Layers != nil && c.layers > 0 {
		compared++
		if *p.Layers != c.layers {
			why("%d copper layers, now %d", *p.Layers, c.layers)
		}
	}
	if p.Identity != (board.Identity{}) && c.identity != (board.Identity{}) {
		compared++
		x.Reasons = append(x.Reasons, AnotherStackup(p.Identity, c.identity)...)
	}
	name := "the footprint"
	if p.Name != "" {
		name = fmt.Sprintf("%q", p.Name)
	}
	switch {
	case len(x.Reasons) > 0:
		x.Verdict, x.Redo = Refused, Redone(c.in)
		x.Text = name + " was drawn for another stackup: " + strings.Join(x.Reasons, "; ")
		x.Help = "design the launch for this stackup; every parameter listed has to be redone"
	case p.Identity.Complete() && p.Identity == c.identity:
		x.Verdict, x.Text = OK, name+" was drawn for this stackup"
	default:
		x.Verdict = NotAssessed
		x.Text = fmt.Sprintf("%s: %d figures of its board agree, but its stackup is not identified", name, compared)
		x.Help = "give the fabricator, revision and hash of the stackup it was drawn for; without them it is not reused"
	}
	c.add(x)
}

// value returns a dimension in m; NaN when it is not stated or makes no sense.
func value(p *units.Length) float64 {
	if p == nil || !sensible(float64(*p)) {
		return math.NaN()
	}
	return float64(*p)
}

// sensible says whether x can be a dimension of a launch, in m.
func sensible(x float64) bool { return x >= 1e-7 && x <= 1 }

// orNone is value where zero is an answer: no stub, no gap, ground at the edge.
func orNone(p *units.Length) float64 {
	if p != nil && *p == 0 {
		return 0
	}
	return value(p)
}

// number returns a permittivity; NaN when it is not stated or makes no sense.
func number(p *float64) float64 {
	if p == nil || !(*p >= 1 && *p <= 1000) {
		return math.NaN()
	}
	return *p
}

// nonsense reports what is stated and cannot be; the rules then take it as not
// stated.
func (c *checker) nonsense() {
	say := func(name string, v fmt.Stringer, help string) {
		c.add(Finding{Rule: "input", Title: name, Verdict: NotAssessed, Value: math.NaN(), Limit: math.NaN(), Text: fmt.Sprintf("%s is %v and is taken as not stated", name, v), Help: help})
	}
	var walk func(v reflect.Value, name string)
	walk = func(v reflect.Value, name string) {
		switch x := v.Interface().(type) {
		case *units.Length:
			none := name == "via stub" || strings.HasPrefix(name, "edge") || name == "mask opening"
			if x != nil && !sensible(float64(*x)) && !(none && *x == 0) {
				say(name, *x, "a dimension of a launch lies between 0.1 µm and 1 m: look for a slipped unit or sign")
			}
			return
		case *float64:
			if x != nil && math.IsNaN(number(x)) {
				say(name, units.Ratio(*x), "a relative permittivity is 1 or more")
			}
			return
		case *board.Limits:
			return
		}
		switch v.Kind() {
		case reflect.Struct:
			for i := range v.NumField() {
				if f := v.Type().Field(i); f.IsExported() {
					walk(v.Field(i), strings.TrimSpace(name+" "+words(f.Name)))
				}
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(v.Index(i), name)
			}
		}
	}
	walk(reflect.ValueOf(c.in.Board), "board")
	walk(reflect.ValueOf(c.in.Parameters), "")
}

// words turns RowWidth into "row width".
func words(name string) string {
	var b strings.Builder
	for i, r := range name {
		if unicode.IsUpper(r) && i > 0 {
			b.WriteByte(' ')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

func known(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) {
			return false
		}
	}
	return true
}

// fabrication compares what is drawn with what the fabricator can make.
func (c *checker) fabrication() {
	l, in, whose := c.limits, c.in, c.maker()
	below := func(what string, drawn float64, least *units.Length) {
		if least == nil || !(drawn < float64(*least)*(1-1e-9)) { // not stated passes
			return
		}
		c.add(Finding{Rule: "fabrication", Title: what, Verdict: Collides, Value: drawn * 1e3, Limit: units.In(*least, "mm"), Unit: "mm",
			Text: fmt.Sprintf("%s is drawn as %s, %s make %v and more", what, length(drawn), whose, *least), Help: "draw it larger, or ask the fabricator whether and with which tolerance he can make it",
			Collision: &Collision{Rule: what + " as drawn", Demanded: units.Length(drawn), Makeable: *least, Maker: whose, Way: fmt.Sprintf("at least %v", *least)}})
	}
	via := value(in.Via.Drill)
	drill, aspect := l.Drill, l.AspectRatio
	if in.Via.Kind == Micro || in.Via.Kind == Stacked {
		drill, aspect = l.LaserDrill, l.LaserAspectRatio
	}
	below("drill of the signal via", via, drill)
	below("drill of the ground vias", value(in.Ring.Drill), l.Drill)
	below("drill of the fence", value(in.Fence.Drill), l.Drill)
	below("width of the trace", value(in.Trace.Width), l.Trace)
	below("slot of the trace", value(in.Trace.Gap), l.Gap)
	if p, ok := l.SmallestPitch(); ok {
		below("pitch of the fence as drawn", value(in.Fence.Pitch), &p)
	}
	pad, anti := in.Via.tightest()
	below("annular ring of the signal via", (value(in.Via.Pad)-via)/2, l.AnnularRing)
	below("clearance of pad to plane, for registration", (anti-pad)/2, l.Registration)
	if aspect != nil && *aspect > 0 {
		deep := value(in.Via.Length) // of a blind via; a through via goes through the board
		if in.Via.Kind == Through {
			deep = c.thickness
		}
		if known(deep) {
			least := units.Length(deep / *aspect)
			below(fmt.Sprintf("drill of the signal via, %s deep at an aspect ratio of %.3g,", length(deep), *aspect), via, &least)
		}
	}
}

// line is the first half of L1: the line on this board.
func (c *checker) line() {
	if c.problem != nil {
		c.add(Finding{Rule: "L1", Title: "line on this stackup", Verdict: NotAssessed, Value: math.NaN(), Limit: math.NaN(), Text: c.problem.Error(), Help: "mend the stackup, or name the layer of the line"})
		return
	}
	tr := c.in.Trace
	w, g := value(tr.Width), value(tr.Gap)
	if !known(w) {
		return // the chain's own line is asked for elsewhere
	}
	var l line.Line
	substrate := material.Dielectric{Permittivity: c.er}
	switch {
	case c.in.Stackup != nil:
		t := board.Trace{Kind: tr.Kind, Layer: tr.Layer, Width: *tr.Width, Walls: c.in.Fence.RowWidth}
		if tr.Gap != nil {
			t.Gap = *tr.Gap
		}
		made, _, err := c.in.Stackup.Line(t)
		if err != nil {
			c.add(Finding{Rule: "L1", Title: "line on this stackup", Verdict: NotAssessed, Value: math.NaN(), Limit: math.NaN(), Text: err.Error(), Help: "correct the line or the stackup"})
			return
		}
		l = made
	case tr.Kind == board.Microstrip && known(c.er, c.height):
		l = line.Microstrip{Width: w, Height: c.height, Substrate: substrate}
	case tr.Kind == board.Coplanar && known(c.er, c.height, g):
		l = line.Coplanar{Width: w, Gap: g, Height: c.height, GroundBelow: true, Substrate: substrate}
	default:
		return
	}
	if err := l.Check(); err != nil {
		c.add(Finding{Rule: "L1", Title: "line on this stackup", Verdict: NotAssessed, Value: math.NaN(), Limit: math.NaN(), Text: err.Error(), Help: "correct the line's dimensions"})
		return
	}
	z := l.Static().Impedance
	x := Finding{Rule: "L1", Title: "line on this stackup", Value: z, Limit: z0, Unit: "Ω", Source: l.Model(), Standing: part.Published,
		Text: fmt.Sprintf("the %s %s wide has %.3g Ω on this board, a step of %.3g dB return loss", tr.Kind, length(w), z, -20*math.Log10(math.Abs(z-z0)/(z+z0)))}
	if !(math.Abs(z-z0) <= 0.1*z0) {
		x.Verdict, x.Help = Attention, "make the line's width and slot for this stackup"
	}
	c.add(x)
}

// target is the return loss asked of the launch.
func (c *checker) target() float64 {
	if r := c.in.ReturnLoss; r != nil && *r > 0 {
		return float64(*r)
	}
	t, ok := ReturnLossTarget(c.in.Top)
	if !ok {
		return 10
	}
	return float64(t)
}

// padLine returns the pad as a short microstrip.
func (c *checker) padLine() (s line.Static, length float64, ok bool) {
	p := c.in.Pad
	h := value(p.Ground)
	if p.Ground == nil {
		h = c.height
	}
	w, l := value(p.Width), value(p.Length)
	if !known(h, w, l, c.er) {
		return s, 0, false
	}
	m := line.Microstrip{Width: w, Height: h, Substrate: material.Dielectric{Permittivity: c.er}, Method: line.ClosedForm}
	if m.Check() != nil {
		return s, 0, false
	}
	return m.Static(), l, true
}

// pad is L1: the pad as a short line, and the line itself.
func (c *checker) pad() {
	const title = "pad as a short line"
	s, l, ok := c.padLine()
	if !ok {
		c.open("L1", title, "the pad's length and width, the distance to the ground below it, or the permittivity",
			"the launch must match this stackup: give the pad; a large pad over a near ground has been seen to act as 14 Ω until the ground below was cleared")
		return
	}
	rl := SectionReturnLoss(s.Impedance, l, s.EffectivePermittivity, c.f)
	x := Finding{Rule: "L1", Title: title, Value: rl, Limit: c.target(), Unit: "dB", Source: "microstrip [hammerstad1980] as a short section [pozar2012]", Standing: part.Published,
		Text: fmt.Sprintf("the pad is %s of %.3g Ω: by itself %.3g dB return loss at %s", length(l), s.Impedance, rl, c.top())}
	if !(rl >= c.target()) {
		x.Verdict = Attention
		x.Help = "clear the ground below the pad down to the next plane, or make the pad narrower and shorter"
		if s.Impedance > z0 {
			x.Help = "the pad is inductive: clear less ground below it, or widen it"
		}
	}
	c.add(x)
}

// capacity is L2: the excess capacity that the launch may have.
func (c *checker) capacity() {
	const title = "excess capacity"
	allowed := AllowedCapacitance(c.target(), c.f)
	x := Finding{Rule: "L2", Title: title, Value: math.NaN(), Limit: allowed * 1e15, Unit: "fF", Source: "shunt capacity across a matched line [pozar2012]", Standing: part.Published}
	s, l, ok := c.padLine()
	if !ok {
		x.Verdict = NotAssessed
		x.Text = fmt.Sprintf("%.3g fF across the line are %.3g dB at %s: pad, solder and contact together may have no more", allowed*1e15, c.target(), c.top())
		x.Help = "give the pad to see how much it takes"
	} else {
		// what the pad has beyond the 50 Ω line that it replaces
		excess := math.Sqrt(s.EffectivePermittivity) / line.C0 * l * (1/s.Impedance - 1/float64(z0))
		x.Value = excess * 1e15
		x.Text = fmt.Sprintf("the pad has %.3g fF beyond a 50 Ω line, %.3g fF are allowed for %.3g dB at %s", excess*1e15, allowed*1e15, c.target(), c.top())
		switch {
		case excess < 0:
			x.Text = fmt.Sprintf("the pad has %.3g fF less than a 50 Ω line of its length: it is inductive (see L1); %.3g fF are allowed for %.3g dB at %s", -excess*1e15, allowed*1e15, c.target(), c.top())
		case !(excess <= allowed):
			x.Verdict, x.Help = Attention, "reduce the pad or clear the ground below it"
		}
	}
	c.add(x)
}

// signalVia says whether the signal runs through a via.
func (in Input) signalVia() bool {
	v := in.Via
	return v.Kind != "" || v.Drill != nil || v.Pad != nil || v.Antipad != nil || v.Length != nil || v.Stub != nil || len(v.Layers) > 0 || in.Trace.Kind == board.Stripline || in.mount() == part.ThroughHole
}

// via is L3 and L4: capacity and inductance as trends, quasi-coax impedance.
func (c *checker) via() {
	if !c.in.signalVia() {
		return
	}
	v := c.in.Via
	d, l := value(v.Drill), value(v.Length)
	pad, antipad := v.tightest()
	switch {
	case !known(c.er, pad, antipad, l, d):
		c.open("L3", "via capacity and inductance", "the via's drill, pad, antipad or length", "they are trends only, but show which way to go")
	case antipad <= pad:
		c.add(Finding{Rule: "L3", Title: "via capacity and inductance", Verdict: Fails, Value: antipad * 1e3, Limit: pad * 1e3, Unit: "mm",
			Text: fmt.Sprintf("the antipad (%s) is not larger than the pad (%s)", length(antipad), length(pad)), Help: "the pad would touch the plane: enlarge the antipad"})
	default:
		cv := board.ViaCapacitanceTrend(c.er, l, pad, antipad)
		ind := board.ViaInductance(l, d)
		c.add(Finding{Rule: "L3", Title: "via capacity and inductance", Value: cv * 1e15, Limit: math.NaN(), Unit: "fF", Source: "[johnson1993] and [goldfarb1991]: trend only", Standing: part.Published,
			Text: fmt.Sprintf("about %.3g fF and %.3g pH, as a trend: √(L/C) is %.3g Ω", cv*1e15, ind*1e12, math.Sqrt(ind/cv)),
			Help: "a larger antipad lowers the capacity as one over antipad less pad"})
	}
	if !known(c.er, d, antipad) {
		if known(c.er) {
			r := board.ClearanceRatio(z0, c.er)
			c.open("L4", "via as a coaxial line", "the via's drill or antipad", fmt.Sprintf("50 Ω asks for an antipad of %.2g times the barrel at permittivity %.3g; pads make it larger", r, c.er))
		} else {
			c.open("L4", "via as a coaxial line", "drill, antipad or permittivity", "give them")
		}
		return
	}
	z, r := board.ViaImpedance(d, antipad, c.er), board.ClearanceRatio(z0, c.er)
	x := Finding{Rule: "L4", Title: "via as a coaxial line", Value: z, Limit: z0, Unit: "Ω", Source: "coaxial line; as a rule for vias common practice", Standing: part.Practice,
		Text: fmt.Sprintf("%.3g Ω: the antipad is %.3g times the barrel, 50 Ω asks for %.2g; pads add capacity, so the real antipad is larger", z, antipad/d, r)}
	switch {
	case z < 0.9*z0:
		x.Verdict, x.Help = Attention, fmt.Sprintf("widen the antipad to %s or more", length(r*d))
	case z > 1.3*z0:
		x.Verdict, x.Help = Attention, "too large an antipad makes an inductive hump, opens the return plane and lets the wave between the planes in: narrow it"
	}
	c.add(x)
}

// modeMargin is the largest share of a cutoff up to which lines of the
// precision series are used: 0.81 to 0.89 from 3.5 mm to 1.0 mm, from their
// usual limits. Common practice.
const modeMargin = 0.89

// ringMode is L5.
func (c *checker) ringMode() {
	const title = "mode limit of the via ring"
	ring, what := c.in.ring()
	d, core := c.in.barrel()
	vertical := c.in.mount() != "" && !c.in.mount().Edge()
	if math.IsNaN(ring) && !vertical && !c.in.signalVia() {
		return // an edge launch has no ring
	}
	if !known(ring, d, c.er) {
		help := "give the ring's free diameter, the barrel and the permittivity"
		if known(c.er, d) {
			if most, ok := largestRing(d, c.er, c.f/modeMargin); ok {
				help = fmt.Sprintf("with a barrel of %s at permittivity %.3g the ring may be at most %.3g mm wide, wall to wall, for %s with margin", length(d), c.er, most*1e3, c.top())
			}
		}
		c.open("L5", title, "the ring, the barrel or the permittivity", help)
		return
	}
	fc, err := RingModeLimit(ring, d, c.er)
	if err != nil {
		c.add(Finding{Rule: "L5", Title: title, Verdict: NotAssessed, Value: math.NaN(), Limit: math.NaN(), Text: err.Error(), Help: "correct the ring and the barrel"})
		return
	}
	x := Finding{Rule: "L5", Title: title, Value: fc / 1e9, Limit: c.f / 1e9, Unit: "GHz", Source: "exact TE11 cutoff of the coaxial line with solid walls [marcuvitz1951]", Standing: part.Published,
		Text: fmt.Sprintf("%s %s wide around the %s of %s in permittivity %.3g carries TE11 from %s; the top is %s", what, length(ring), core, length(d), c.er, ghz(fc), c.top())}
	help := "draw the ring closer, or take a smaller barrel"
	if most, ok := largestRing(d, c.er, c.f/modeMargin); ok {
		help = fmt.Sprintf("draw the ring in to %.3g mm, wall to wall", most*1e3)
	}
	switch {
	case !(fc > c.f):
		x.Verdict, x.Help = Fails, help
	case c.f > modeMargin*fc:
		x.Verdict, x.Help = Attention, help+": single vias put the true limit lower, and lines are used up to about 0.85 to 0.89 of it"
	}
	c.add(x)
}

// largestRing returns the ring, in m, whose mode limit is f, in Hz, around a
// barrel.
func largestRing(barrel, er, f float64) (float64, bool) {
	low, high := barrel*1.02, barrel*100
	limit := func(d float64) float64 { x, _ := RingModeLimit(d, barrel, er); return x }
	if !(limit(low) > f && limit(high) < f) {
		return 0, false
	}
	for range 60 {
		if mid := (low + high) / 2; limit(mid) > f {
			low = mid
		} else {
			high = mid
		}
	}
	return low, true
}

// legs is L6: the cavity between few ground legs.
func (c *checker) legs() {
	lx, ly := value(c.in.Legs.X), value(c.in.Legs.Y)
	const title = "cavity between the ground legs"
	if !known(lx, ly) {
		if c.in.mount() == part.ThroughHole {
			c.open("L6", title, "the distances of the ground legs", "four far-apart legs make a cavity that resonates: give their distances")
		}
		return
	}
	if !known(c.er) {
		c.open("L6", title, "the permittivity", "give it")
		return
	}
	full := board.CavityResonance(lx, ly, c.er, 1, 1)
	half := board.RowResonance(math.Max(lx, ly), c.er)
	x := Finding{Rule: "L6", Title: title, Value: half / 1e9, Limit: c.f / 1e9, Unit: "GHz", Source: "cavity with electric walls, empty [pozar2012]; the published through-hole case agrees in kind", Standing: part.Published,
		Text: fmt.Sprintf("empty, the cavity resonates at %s, half a wave of its longer side is %s; the pin lowers both; the top is %s", ghz(full), ghz(half), c.top())}
	switch {
	case !(full > c.f):
		x.Verdict = Fails
	case !(half > c.f):
		x.Verdict = Attention
	}
	if x.Verdict != OK {
		x.Help = "add ground vias between and inside the legs: more and closer vias raise it"
	}
	c.add(x)
}

// stub is L7.
func (c *checker) stub() {
	if !c.in.signalVia() {
		return
	}
	const title = "via stub"
	v := c.in.Via
	ere := math.Max(4, c.er)
	if math.IsNaN(c.er) {
		ere = 4
	}
	if x := number(v.Effective); known(x) {
		ere = x
	}
	most := line.C0 / (12 * c.f * math.Sqrt(ere)) // its quarter wave at three times the top
	tol := 0.1e-3
	if t := c.limits.BackdrillTolerance; t != nil {
		tol = float64(*t)
	}
	x := Finding{Rule: "L7", Title: title, Value: math.NaN(), Limit: most * 1e3, Unit: "mm", Source: "quarter wave of an open stub; three times the top frequency is list practice", Standing: part.Practice}
	blind := v.Kind == Blind || v.Kind == Micro || v.Kind == Stacked
	if l := orNone(v.Stub); l > 0 {
		fr := board.QuarterWave(l, ere)
		x.Value = l * 1e3
		x.Text = fmt.Sprintf("a stub of %s is a quarter wave at %s; three times the top (%s) allows %.2g mm", length(l), ghz(fr), c.top(), most*1e3)
		switch {
		case !(fr > c.f):
			x.Verdict, x.Help = Fails, "drill the stub out, or use a blind via: the via is a notch in the band"
		case !(fr >= 3*c.f):
			x.Verdict, x.Help = Attention, "at half its resonance a stub costs some dB already: drill it out, or use a blind via"
		}
	} else if blind || l == 0 {
		x.Value = 0
		x.Text = "the via has no stub"
	} else {
		x.Verdict = NotAssessed
		x.Text = fmt.Sprintf("%.2g mm of stub are allowed at %s (its quarter wave at three times that)", most*1e3, c.top())
		x.Help = "give the stub, or the kind of via"
	}
	if !blind && c.f > 50e9 && x.Value != 0 {
		x.Collision = &Collision{Rule: "the stub's quarter wave at three times the top frequency", Demanded: units.Length(most), Makeable: units.Length(2 * tol),
			Maker: c.maker(), Way: "above about 50 GHz use blind or micro vias, or bring the line to the outer layer"}
		if x.Verdict < Collides {
			x.Verdict = Collides
		}
		x.Text += fmt.Sprintf("; a back-drill holds its depth within ±%s, so the stub is uncertain by %s", length(tol), length(2*tol))
		x.Help = x.Collision.Way
	}
	c.add(x)
}

func (c *checker) maker() string {
	if c.usual || c.fabricator == "" {
		return "usual fabricators"
	}
	return c.fabricator
}

// coplanar says whether the fence rules concern the launch.
func (c *checker) coplanar() bool {
	f := c.in.Fence
	return c.in.Trace.Kind == board.Coplanar || f != Fence{}
}

// rowMargin is how far above the top the resonance of the rows should lie.
const rowMargin = 1.1

// rows is L8.
func (c *checker) rows() {
	if !c.coplanar() {
		return
	}
	const title = "width between the via rows"
	w := value(c.in.Fence.RowWidth)
	if !known(c.er) {
		c.open("L8", title, "the permittivity of the dielectric", "the rows must stand closer than half a wavelength in it at the top frequency")
		return
	}
	most, edge := board.RowWidth(rowMargin*c.f, c.er), board.RowWidth(c.f, c.er)
	x := Finding{Rule: "L8", Title: title, Value: math.NaN(), Limit: edge * 1e3, Unit: "mm", Source: "half wave between two walls [pozar2012]", Standing: part.Published}
	if math.IsNaN(w) {
		x.Verdict = NotAssessed
		x.Text = fmt.Sprintf("half a wavelength at %s in permittivity %.3g is %.3g mm", c.top(), c.er, edge*1e3)
		x.Help = fmt.Sprintf("keep the rows at most %.3g mm apart, centre to centre (%.3g mm with 10 %% margin)", edge*1e3, most*1e3)
		c.add(x)
		return
	}
	fr := board.RowResonance(w, c.er)
	x.Value, x.Limit, x.Unit = fr/1e9, c.f/1e9, "GHz"
	x.Text = fmt.Sprintf("rows %s apart are half a wave at %s in permittivity %.3g; the top is %s", length(w), ghz(fr), c.er, c.top())
	switch {
	case !(fr > c.f):
		x.Verdict = Fails
		x.Text += ": inside the wanted span"
	case !(fr >= rowMargin*c.f):
		x.Verdict = Attention
	}
	if x.Verdict != OK {
		x.Help = fmt.Sprintf("bring the rows to at most %.3g mm, for %s with 10 %% margin", most*1e3, ghz(rowMargin*c.f))
	}
	c.add(x)
}

// workable returns the range in which a fence's pitch works: at most a tenth
// of the wavelength up to 40 GHz, above between a tenth and a quarter, 0.45 mm
// at most where drilled vias allow it. Common practice.
func (c *checker) workable() (low, high float64) {
	tenth := board.FencePitch(c.f, c.er, 10)
	if c.f <= 40e9 {
		return tenth, tenth
	}
	return tenth, math.Min(board.FencePitch(c.f, c.er, 4), 0.45e-3)
}

// pitch is L9: the rule of a twentieth against the drill, and the pitch that
// is drawn.
func (c *checker) pitch() {
	if !c.coplanar() {
		return
	}
	const title = "pitch of the fence"
	if !known(c.er) {
		c.open("L9", title, "the permittivity of the dielectric", "the pitch is a share of the wavelength in it")
		return
	}
	demanded := board.FencePitch(c.f, c.er, 20)
	least, _ := c.limits.SmallestPitch()
	_, high := c.workable()
	p := value(c.in.Fence.Pitch)
	way := fmt.Sprintf("pitch at most a tenth of the wavelength, %.3g mm", high*1e3)
	if c.f > 40e9 {
		way = fmt.Sprintf("pitch %s to %.2g mm (between a tenth, %.2g mm, and a quarter, %.2g mm, of the wavelength)", least, high*1e3,
			board.FencePitch(c.f, c.er, 10)*1e3, board.FencePitch(c.f, c.er, 4)*1e3)
	}
	way += fmt.Sprintf(", two staggered rows on each side, and the inner rows at most %.3g mm apart (L8)", board.RowWidth(rowMargin*c.f, c.er)*1e3)
	if float64(least) > high {
		way = fmt.Sprintf("no drilled fence works: the smallest pitch %s is above %.2g mm; ask for laser-drilled vias or filled slots, or a guide instead", least, high*1e3)
	}
	if demanded < float64(least) {
		c.add(Finding{Rule: "L9", Title: title, Verdict: Collides, Value: demanded * 1e3, Limit: units.In(least, "mm"), Unit: "mm",
			Text:      fmt.Sprintf("the rule of a twentieth of the wavelength asks for a pitch of %.2g mm at %s, %s drill at %s and more", demanded*1e3, c.top(), c.maker(), least),
			Help:      way,
			Collision: &Collision{Rule: "pitch at most a twentieth of the wavelength in the dielectric", Demanded: units.Length(demanded), Makeable: least, Maker: c.maker(), Way: way}})
	}
	x := Finding{Rule: "L9", Title: title, Value: p * 1e3, Limit: high * 1e3, Unit: "mm"}
	if math.IsNaN(p) {
		x.Verdict = NotAssessed
		x.Text = fmt.Sprintf("no pitch is stated; at most %.3g mm works at %s", high*1e3, c.top())
		x.Help = way
		c.add(x)
		return
	}
	x.Text = fmt.Sprintf("the pitch %s is 1/%.3g of the wavelength at %s; at most %.3g mm works", length(p), board.FencePitch(c.f, c.er, 1)/p, c.top(), high*1e3)
	switch rows := c.in.Fence.Rows; {
	case !(p < board.FencePitch(c.f, c.er, 2)):
		x.Verdict, x.Help = Fails, way
		x.Text += ": half a wave passes between the vias"
	case !(p <= high*(1+1e-9)):
		x.Verdict, x.Help = Attention, way
	case p > board.FencePitch(c.f, c.er, 10)*(1+1e-9) && (rows == nil || *rows < 2):
		x.Verdict, x.Help = Attention, "at this pitch put two staggered rows on each side"
	}
	if d := value(c.in.Fence.Drill); known(d) && p > d {
		x.Text += fmt.Sprintf("; the slot between two vias attenuates by about %.2g dB", board.FenceAttenuation(p-d, d, c.f, c.er))
	}
	c.add(x)
}

// loading is L10: the fence next to the slot changes the line.
func (c *checker) loading() {
	f, tr := c.in.Fence, c.in.Trace
	if tr.Kind != board.Coplanar && f.RowWidth == nil {
		return
	}
	const title = "loading of the line by the fence"
	walls, w, g := value(f.RowWidth), value(tr.Width), value(tr.Gap)
	if d := value(f.Drill); known(d) {
		walls -= d
	}
	if !(walls > 0) {
		walls = math.NaN()
	}
	if !known(walls, w, g, c.er, c.height) {
		c.open("L10", title, "the line's width and slot, the row width, or the dielectric", "recompute the line's impedance with the fence in place")
		return
	}
	l := line.Coplanar{Width: w, Gap: g, Height: c.height, GroundBelow: true, Substrate: material.Dielectric{Permittivity: c.er}}
	fenced := l
	fenced.Walls = walls
	if err := fenced.Check(); err != nil {
		c.add(Finding{Rule: "L10", Title: title, Verdict: NotAssessed, Value: math.NaN(), Limit: math.NaN(), Text: err.Error(), Help: "correct the line or the fence"})
		return
	}
	a, b := l.Static().Impedance, fenced.Static().Impedance
	x := Finding{Rule: "L10", Title: title, Value: b, Limit: z0, Unit: "Ω", Source: "field of the cross-section, the fence as solid walls", Standing: part.Published,
		Text: fmt.Sprintf("%.3g Ω without the fence, %.3g Ω with it", a, b)}
	if !(math.Abs(b-z0) <= 0.05*z0) {
		x.Verdict, x.Help = Attention, "adjust width and slot with the fence in place"
	}
	c.add(x)
}

// setBack is L11.
func (c *checker) setBack() {
	m := c.in.mount()
	e := c.in.Edge
	back, what := orNone(e.FirstVia), "first ground via"
	if p := orNone(e.Plane); known(p) && !(back >= p) {
		back, what = p, "plane edge"
	}
	if !m.Edge() && math.IsNaN(back) {
		return
	}
	const title = "set-back from the board's edge"
	switch {
	case e.Plated != nil && *e.Plated || back == 0:
		c.add(Finding{Rule: "L11", Title: title, Value: math.NaN(), Limit: math.NaN(), Text: "ground reaches to the edge, by its plating or its vias"})
		return
	case !known(c.er):
		c.open("L11", title, "the permittivity", "the set-back must be well below a quarter wavelength in the dielectric")
		return
	}
	most := line.C0 / (8 * c.f * math.Sqrt(c.er)) // a quarter wave at twice the top
	if math.IsNaN(back) {
		c.open("L11", title, "the distance of the first ground vias and planes from the edge", fmt.Sprintf("keep it to %.2g mm or less (a quarter wave at twice %s), or plate the edge", most*1e3, c.top()))
		return
	}
	fr := board.QuarterWave(back, c.er)
	x := Finding{Rule: "L11", Title: title, Value: fr / 1e9, Limit: 2 * c.f / 1e9, Unit: "GHz", Source: "quarter wave [pozar2012]; twice the top frequency is common practice", Standing: part.Practice,
		Text: fmt.Sprintf("the %s %s from the edge is a quarter wave at %s; the top is %s", what, length(back), ghz(fr), c.top())}
	help := fmt.Sprintf("bring it to %.2g mm or less, or plate the edge", most*1e3)
	switch {
	case !(fr > c.f):
		x.Verdict, x.Help = Fails, help
	case !(fr >= 2*c.f):
		x.Verdict, x.Help = Attention, help
		x.Text += ": too near"
	}
	c.add(x)
}

// airGap is L12.
func (c *checker) airGap() {
	if !c.in.mount().Edge() {
		return
	}
	const title = "air gap between body and board edge"
	g := orNone(c.in.Edge.Gap)
	most := line.C0 / c.f / 100
	if math.IsNaN(g) {
		c.open("L12", title, "the gap", "it is a slot in series with the ground: keep it to microns by a clamp or a recess; state the tolerance of the routed edge")
		return
	}
	x := Finding{Rule: "L12", Title: title, Value: g * 1e6, Limit: most * 1e6, Unit: "µm", Text: fmt.Sprintf("%s of gap; a hundredth of the wavelength at %s is %.2g µm", length(g), c.top(), most*1e6)}
	if !(g <= most) {
		x.Verdict, x.Help = Attention, "close it by a clamp, a recess or a milled edge"
	}
	c.add(x)
}

// finishing is L13.
func (c *checker) finishing() {
	const title = "finish"
	pads := c.in.mount().Solderless()
	if c.finish == "" {
		help := "ask which finish: nickel on an outer trace raises loss"
		if pads {
			help += "; a clamped pad needs hard gold"
		}
		c.open("L13", title, "the surface finish", help)
		return
	}
	x := Finding{Rule: "L13", Title: title, Value: math.NaN(), Limit: math.NaN(), Source: "published comparisons of finishes on microstrip and coplanar lines; the preference is common practice", Standing: part.Practice}
	outer := c.in.Trace.Kind != board.Stripline
	switch {
	case c.finish.Nickel() && outer:
		x.Verdict = Attention
		ratio, layers := c.platedRatio()
		x.Value, x.Limit = ratio, 1
		x.Text = fmt.Sprintf("%s puts nickel on the outer line: where the current crowds, at the edges of trace and slots, the surface has about %.2g times the resistance of copper at %s (%s; nickel taken as non-magnetic, which is the least)", c.finish, ratio, c.top(), layers)
		x.Help = "prefer immersion silver, an organic finish or nickel-free gold on the line"
		if pads {
			x.Help += "; hard gold on the clamped pads only"
		}
	case pads && c.finish != board.HardGold:
		x.Verdict = Attention
		x.Text = fmt.Sprintf("%s under a clamped contact", c.finish)
		x.Help = "a clamped pad needs hard gold: plate only the pad"
	default:
		x.Text = fmt.Sprintf("%s: no nickel on the signal's surface", c.finish)
		if !outer {
			x.Text = "the line lies inside: the finish does not reach it"
		}
	}
	c.add(x)
}

// platedRatio returns the surface resistance of the finish on copper over that
// of copper at the top frequency, and its layers in words: those of the stackup,
// else the usual 0.05 µm of gold on 4 µm of nickel. Nickel's permeability is
// taken as 1.
func (c *checker) platedRatio() (ratio float64, layers string) {
	plating, usual := c.plating, ""
	if len(plating) == 0 {
		plating, usual = []board.Plating{{Metal: "gold", Thickness: 0.05e-6}, {Metal: "nickel", Thickness: 4e-6}}, " as usual"
	}
	var surface material.Conductor
	var names []string
	for _, p := range plating {
		m, err := material.FindMetal(p.Metal)
		if err != nil {
			return math.NaN(), err.Error()
		}
		surface.Plating = append(surface.Plating, material.Layer{Metal: m.Metal(), Thickness: float64(p.Thickness)})
		names = append(names, fmt.Sprintf("%v %s", p.Thickness, p.Metal))
	}
	return real(surface.SurfaceImpedance(c.f)) / real(material.Conductor{}.SurfaceImpedance(c.f)), strings.Join(names, " on ") + usual
}

// mask is L14.
func (c *checker) mask() {
	const title = "solder mask"
	m := c.in.Mask
	switch {
	case c.in.Trace.Kind == board.Stripline:
		return
	case m.Clear == nil:
		c.open("L14", title, "whether mask is kept off the launch", "keep it off pads, slots and the first millimetres; else state its thickness and permittivity")
	case *m.Clear:
		c.add(Finding{Rule: "L14", Title: title, Value: math.NaN(), Limit: math.NaN(), Text: "mask is kept off pads, slots and the first millimetres"})
	default:
		x := Finding{Rule: "L14", Title: title, Verdict: Attention, Value: math.NaN(), Limit: math.NaN(), Text: "mask covers pads or slots", Help: "open it, or put its thickness and permittivity into the field solution"}
		if m.Thickness != nil && m.Permittivity != nil {
			x.Text = fmt.Sprintf("mask of %v, permittivity %.3g, covers pads or slots", *m.Thickness, *m.Permittivity)
			x.Help = "solve the line and the launch with the mask in place"
		}
		c.add(x)
	}
}

// pin is L15.
func (c *checker) pin() {
	if !c.in.mount().Edge() {
		return
	}
	const title, most = "pin", 1.27e-3 // 50 mil
	l := value(c.in.Pin.Length)
	if math.IsNaN(l) {
		c.open("L15", title, "length and width of the pin on the board", "short and narrow: at most 1.27 mm (50 mil) was the guidance up to 15 GHz already; relieve the ground under it on a thin dielectric")
		return
	}
	limit := most
	if c.f > 15e9 {
		limit = most * 15e9 / c.f
	}
	x := Finding{Rule: "L15", Title: title, Value: l * 1e3, Limit: limit * 1e3, Unit: "mm", Source: "guidance to 15 GHz (Swanson 2003), carried up at equal electrical length: common practice", Standing: part.Practice,
		Text: fmt.Sprintf("the pin lies on %s of board; 1.27 mm at 15 GHz is %.2g mm at %s", length(l), limit*1e3, c.top())}
	w, tw := value(c.in.Pin.Width), value(c.in.Trace.Width)
	switch {
	case !(l <= limit):
		x.Verdict, x.Help = Attention, "shorten the pin, and relieve the ground under it"
	case known(w, tw) && w > tw:
		x.Verdict, x.Help = Attention, fmt.Sprintf("the pin (%s) is wider than the trace (%s): narrow it, or clear the ground below", length(w), length(tw))
	}
	c.add(x)
}

// calibration is L16.
func (c *checker) calibration() {
	if c.in.Trace.Kind != board.Stripline {
		return
	}
	c.add(Finding{Rule: "L16", Title: "calibration at the stripline", Verdict: Attention, Value: math.NaN(), Limit: math.NaN(), Source: "Swanson 2003; experience with stubs at the port, 2006", Standing: part.Practice,
		Text: "a poor launch is noise in a calibration at the stripline, and a stub at the port can corrupt it",
		Help: "build the through and reflect standards (or the 2x-thru) with the same connector and via, and match the launch first"})
}

// soldering is L17.
func (c *checker) soldering() {
	m := c.in.mount()
	if m == "" || m.Solderless() {
		return
	}
	x := Finding{Rule: "L17", Title: "heat of soldering", Value: c.f / 1e9, Limit: 50, Unit: "GHz", Source: "article on a 1.35 mm connector", Standing: part.Practice,
		Text: fmt.Sprintf("soldered (%s), top %s: below V band the growth of PTFE under heat is seldom seen", m, c.top())}
	if c.f >= 50e9 {
		x.Verdict = Attention
		x.Text = fmt.Sprintf("soldered (%s), top %s: PTFE grows on soldering, and from V band up that shows", m, c.top())
		x.Help = "control the heat and its time, let the connector's maker state the profile, and check the pin's position after soldering; or clamp"
	}
	c.add(x)
}

// planes is L18.
func (c *checker) planes() {
	if !known(c.er, c.height) {
		return
	}
	fr := board.RowResonance(c.height, c.er)
	x := Finding{Rule: "L18", Title: "half wave between the planes", Value: fr / 1e9, Limit: c.f / 1e9, Unit: "GHz", Source: "half wave between two plates [pozar2012]", Standing: part.Published,
		Text: fmt.Sprintf("planes %s apart are half a wave at %s; what troubles is the lateral resonance of plane patches without a fence", length(c.height), ghz(fr))}
	if !(fr > c.f) {
		x.Verdict, x.Help = Fails, "a thinner dielectric"
	}
	c.add(x)
}
