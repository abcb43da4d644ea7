package tolerance

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"sync"

	"linewright/hardware/chain"
	"linewright/hardware/joint"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/tolerance/sample"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/units"
)

// A Limit is one limit that each copy is tried against, or, with Judged false,
// a quantity that is only observed.
type Limit struct {
	Name   string // "insertion loss", "return loss of the chain, far end"
	Unit   string // of Value and of margins: "dB", "ps", "" for a VSWR
	Judged bool   // a copy meets or misses it
	Wish   bool   // judged, but no copy fails by it
	Value  float64
	Masked bool // the limit is a mask: Value is its strictest level
	// Missing are figures without which it cannot be tried; what is known is
	// tried nevertheless.
	Missing []string
}

// view is a stretch of the chain at one temperature, swept for its own sake.
type view struct {
	from, to int // elements
	temp     units.Temperature
	stages   []network.Stage
	varied   *network.Varied
}

// output computes one output of the model from the sweeps of its views, and the
// least margin that any copy can have.
type output struct {
	Limit
	eval   func(s *scratch, x []float64) float64
	corner func(c corners) (margin, at float64) // at in Hz; NaN: at none
}

// Study is a chain made ready to be drawn: its inputs, its limits, its model.
type Study struct {
	Chain    string
	Enquiry  string
	Inputs   []Input
	Ties     []Tie // correlations between inputs
	Outputs  []Limit
	Points   int      // frequencies of each copy
	Missing  []string // figures that nothing states
	Untried  []string // limits of the enquiry that a study of tolerances does not try
	Notes    []string // what the numbers rest on besides the inputs
	Sampling sample.Study

	e        enquiry.Enquiry
	b        chain.Built
	outputs  []output
	elements []*element
	views    []view
	grid     *grid
	pool     *sync.Pool
	match    *matching
	delay    int // index of the output that is the delay
	unbound  []string
	fault    error // of a view
}

// matching is the enquiry's match, as a half width of delay.
type matching struct {
	kind enquiry.MatchKind
	half float64 // s
	at   float64 // Hz
	// point is the grid's frequency nearest to it.
	point int
	size  int
}

// scratch is what one evaluation needs of memory.
type scratch struct {
	set    []network.Setting
	sweeps []*network.Copies
	crests window // of a sliding window
	// deviation is the copy's delay less the nominal one, s.
	deviation float64
}

// Options tell how a study is made and run; the zero value is sensible.
type Options struct {
	Points     int           // frequencies over the band; 0: eight to the shortest ripple, 101 to 2001
	Samples    int           // copies drawn; 0: 10 000
	Method     sample.Method // "": random
	Seed       uint64
	Confidence float64 // of every interval, two-sided; 0: 0.95
	AtLeast    float64 // the yield asked for; 0: 0.99
	Workers    int     // 0: one per processor
	// DriverPoints is the number of points behind the shares of variance, each
	// as many evaluations as there are inputs, and two; 0: 512. Negative: none.
	DriverPoints int
	// Resume is the state of an earlier run of the same study and plan.
	Resume *sample.State
	// Checkpoint is handed the state every Every samples, and at the end or when
	// the run is interrupted.
	Checkpoint func(sample.State) error
	Every      int // 0: a fiftieth of the samples, at least 2000
	// Progress is told how far a stage is.
	Progress func(stage string, fraction float64)
}

func (o Options) samples() int {
	if o.Samples == 0 {
		return 10000
	}
	return o.Samples
}

func (o Options) confidence() float64 {
	if o.Confidence == 0 {
		return 0.95
	}
	return o.Confidence
}

func (o Options) atLeast() float64 {
	if o.AtLeast == 0 {
		return 0.99
	}
	return o.AtLeast
}

// Plan is the plan of the samples.
func (o Options) Plan() sample.Plan {
	p := sample.Plan{Method: o.Method, Seed: o.Seed, N: o.samples()}
	if p.Method == "" {
		p.Method = sample.Random
	}
	return p
}

// New makes the study of chain b against enquiry e with the tolerances t.
func New(e enquiry.Enquiry, b chain.Built, t Tolerances, o Options) (*Study, error) {
	if len(b.Elements) == 0 {
		return nil, fmt.Errorf("chain %s has no elements", b.Name)
	}
	delay, unknown := 0.0, 0.0
	if _, _, err := newGrid(e, 0, 2); err != nil {
		return nil, err
	}
	// The chain's delay, to know how close the frequencies must lie.
	probe := []float64{float64(e.Band[0].To)}
	for _, el := range b.Elements {
		r, err := el.Respond(probe, chain.Conditions{Temperature: units.Celsius(25)})
		if err != nil {
			return nil, fmt.Errorf("chain %s (%s): %w", b.Name, el.Facts().Name, err)
		}
		if math.IsNaN(r.Delay) {
			unknown += unstatedDelay / 2
		} else {
			delay += r.Delay
		}
	}
	g, perRipple, err := newGrid(e, delay+unknown, o.Points)
	if err != nil {
		return nil, err
	}
	_, hot, stated := assess.Temperatures(e)
	temps := []units.Temperature{hot}
	for _, l := range e.Limits.InsertionLoss {
		if l.Temperature != nil && !slices.Contains(temps, *l.Temperature) {
			temps = append(temps, *l.Temperature)
		}
	}
	bd := &builder{e: e, b: b, asked: t.Tolerances, used: make([]bool, len(t.Tolerances))}
	if err := bd.build(g, temps); err != nil {
		return nil, err
	}
	s := &Study{Chain: b.Name, Enquiry: e.ID, Inputs: bd.number(), Points: len(g.f), Missing: bd.missing, Notes: bd.notes, e: e, b: b, elements: bd.elements, grid: g}
	if perRipple < 7.5 {
		s.note("%d frequencies are %.1f to the shortest ripple: a crest can be missed by more than 2 %%", len(g.f), perRipple)
	}
	s.note("losses and reflections stand at %v%s, as predict judges them; within a copy every part keeps its share of its bound over the band", hot, map[bool]string{true: "", false: ", no temperature being stated"}[stated])
	s.note("discontinuities are lossless and every multiple reflection counts; the insertion loss tried is what an analyser reads, mismatch included")
	for _, in := range s.Inputs {
		if low, high := in.Distribution.Limits(); math.IsInf(low, 0) || math.IsInf(high, 0) {
			s.unbound = append(s.unbound, in.Name)
		}
	}
	if s.Ties, err = bd.tie(t.Correlations); err != nil {
		return nil, err
	}
	if err := s.limits(hot); err != nil {
		return nil, err
	}
	if s.fault != nil {
		return nil, s.fault
	}
	s.Sampling = s.sampling()
	if err := s.Sampling.Check(); err != nil {
		if len(s.Ties) > 0 {
			return nil, &Fault{Of: "correlation", Index: len(t.Correlations) - 1, Problem: err.Error(), Err: ErrCorrelation, Help: "what hangs closely on a third hangs closely on each other: weaken one, or name all of them in one correlation"}
		}
		return nil, err
	}
	return s, nil
}

func (s *Study) note(format string, args ...any) {
	s.Notes = append(s.Notes, fmt.Sprintf(format, args...))
}

// stagesOf returns the stages of elements from..to−1 at a temperature.
func (s *Study) stagesOf(from, to int, t units.Temperature) []network.Stage {
	var out []network.Stage
	for _, el := range s.elements[from:to] {
		out = append(out, el.stages(el.response[t])...)
	}
	return out
}

// view returns the index of the view of elements from..to−1 at t.
func (s *Study) view(from, to int, t units.Temperature) int {
	for i, v := range s.views {
		if v.from == from && v.to == to && v.temp == t {
			return i
		}
	}
	stages := s.stagesOf(from, to, t)
	varied, err := network.NewVaried(s.grid.segments, stages)
	if err != nil && s.fault == nil {
		s.fault = fmt.Errorf("chain %s: %w", s.Chain, err)
	}
	s.views = append(s.views, view{from, to, t, stages, varied})
	return len(s.views) - 1
}

// stretch is the elements that a limit judges together, from..to−1.
type stretch struct{ from, to int }

// judged returns what a limit on of tries: the whole chain, the assembly as one
// piece, or each single piece of a role.
func (s *Study) judged(of enquiry.Of) []stretch {
	n := len(s.elements)
	switch of {
	case "", enquiry.OfChain:
		return []stretch{{0, n}}
	case enquiry.OfAssembly:
		first, last := -1, -1
		for k, el := range s.elements {
			if el.role == chain.RoleConnector || el.role == chain.RoleCable {
				if first < 0 {
					first = k
				}
				last = k
			}
		}
		if first < 0 {
			return nil
		}
		return []stretch{{first, last + 1}}
	}
	var out []stretch
	for k, el := range s.elements {
		if string(el.role) == string(of) {
			out = append(out, stretch{k, k + 1})
		}
	}
	return out
}

// lacking lists which of the missing figures of a kind lie in the stretches.
func (s *Study) lacking(kind string, where []stretch) (out []string) {
	for _, w := range where {
		for _, el := range s.elements[w.from:w.to] {
			if m := kind + " of " + el.facts.Name; slices.Contains(s.Missing, m) {
				out = append(out, m)
			}
		}
	}
	return out
}

// held is where a limit holds: grid indices in ascending order, and the limit
// there in dB.
type held struct {
	at    []int
	level []float64
}

// A run is a stretch of neighbouring grid indices, from..to−1, with the limit
// there as a power ratio: one factor, or a weight for each.
type run struct {
	from, to int
	factor   float64
	weight   []float64 // nil: factor everywhere
}

// runs cuts h where an index is left out.
func (h held) runs() (out []run) {
	for k := 0; k < len(h.at); {
		end := k + 1
		flat := true
		for end < len(h.at) && h.at[end] == h.at[end-1]+1 {
			flat = flat && h.level[end] == h.level[k]
			end++
		}
		r := run{from: h.at[k], to: h.at[end-1] + 1, factor: math.Pow(10, h.level[k]/10)}
		if !flat {
			r.factor = 1
			for _, db := range h.level[k:end] {
				r.weight = append(r.weight, math.Pow(10, db/10))
			}
		}
		out = append(out, r)
		k = end
	}
	return out
}

// of returns the least and the greatest of a power over the run, the limit
// taken in.
func (r run) of(power []float64) (least, most float64) {
	least, most = network.Range(power[r.from:r.to], r.weight)
	return r.factor * least, r.factor * most
}

func (s *Study) holds(from, to *units.Frequency, level func(f float64) (float64, bool)) held {
	var h held
	for i, f := range s.grid.f {
		if from != nil && f < float64(*from)*(1-1e-12) || to != nil && f > float64(*to)*(1+1e-12) {
			continue
		}
		if l, ok := level(f); ok {
			h.at, h.level = append(h.at, i), append(h.level, l)
		}
	}
	return h
}

// tiniest is the smallest power ratio shown: 200 dB.
const tiniest = 1e-20

func decibels(power float64) float64 { return 10 * math.Log10(math.Max(power, tiniest)) }

func named(name string, of enquiry.Of, of2 string) string {
	if of == "" || of == enquiry.OfChain {
		return name + of2
	}
	return name + " of the " + string(of)
}

// ends are the two directions from which reflection is seen.
type end int

const (
	near end = iota
	far
)

func reflection(c *network.Copies, e end) []float64 {
	if e == far {
		return c.S22
	}
	return c.S11
}

// limits makes the outputs of the model: a margin for each limit that
// tolerances move, and the quantities that are only observed.
func (s *Study) limits(hot units.Temperature) error {
	n := len(s.elements)
	whole := []stretch{{0, n}}
	for _, l := range s.e.Limits.InsertionLoss {
		t := hot
		if l.Temperature != nil {
			t = *l.Temperature
		}
		h := s.holds(l.From, l.To, func(f float64) (float64, bool) {
			if l.AtMost != nil {
				return float64(*l.AtMost), true
			}
			return enquiry.MaskAt(l.Mask, f)
		})
		s.addLoss(Limit{Name: named("insertion loss", l.Of, ""), Unit: "dB", Judged: true, Wish: l.Wish, Masked: l.AtMost == nil}, s.judged(l.Of), t, h)
	}
	for _, l := range s.e.Limits.ReturnLoss {
		h := s.holds(l.From, l.To, func(f float64) (float64, bool) {
			if l.AtLeast != nil {
				return float64(*l.AtLeast), true
			}
			return enquiry.MaskAt(l.Mask, f)
		})
		s.addReflection(Limit{Name: named("return loss", l.Of, " of the chain"), Unit: "dB", Judged: true, Wish: l.Wish, Masked: l.AtLeast == nil}, l.Of, hot, h)
	}
	for _, l := range s.e.Limits.VSWR {
		h := s.holds(l.From, l.To, func(float64) (float64, bool) { return network.ReturnLoss(network.FromVSWR(l.AtMost)), true })
		s.addReflection(Limit{Name: named("VSWR", l.Of, " of the chain"), Judged: true, Wish: l.Wish}, l.Of, hot, h)
	}
	for _, l := range s.e.Limits.Ripple {
		s.addRipple(l, hot)
	}
	if err := s.matched(); err != nil {
		return err
	}
	judged := 0
	for _, o := range s.outputs {
		if !o.Wish {
			judged++
		}
	}
	v := s.view(0, n, hot)
	s.observe(Limit{Name: "insertion loss, greatest of the band", Unit: "dB", Missing: s.lacking("loss", whole)}, func(sc *scratch, _ []float64) float64 {
		least, _ := network.Range(sc.sweeps[v].S21, nil)
		return -decibels(least)
	})
	for e, name := range []string{"return loss at the near end, least of the band", "return loss at the far end, least of the band"} {
		s.observe(Limit{Name: name, Unit: "dB", Missing: s.lacking("reflection", whole)}, func(sc *scratch, _ []float64) float64 {
			_, most := network.Range(reflection(sc.sweeps[v], end(e)), nil)
			return -decibels(most)
		})
	}
	s.delay = len(s.outputs)
	s.observe(Limit{Name: "delay, deviation from nominal", Unit: "ps"}, func(sc *scratch, _ []float64) float64 { return sc.deviation * 1e12 })

	for what, asked := range map[string]bool{"isolation": len(s.e.Limits.Isolation) > 0, "mass": s.e.Limits.Mass != nil, "price": s.e.Limits.Price != nil} {
		if asked {
			s.Untried = append(s.Untried, what)
		}
	}
	slices.Sort(s.Untried)
	if judged == 0 && s.match == nil {
		return fmt.Errorf("enquiry %s states no limit that tolerances move: the yield would be of nothing; add limits: {insertion_loss, return_loss, vswr or ripple}, or a match", s.e.ID)
	}
	for i := range s.outputs { // two limits of one name are told apart by their number
		same := 0
		for k := range i {
			if s.outputs[k].Name == s.outputs[i].Name || strings.HasPrefix(s.outputs[k].Name, s.outputs[i].Name+" (") {
				same++
			}
		}
		if same > 0 {
			s.outputs[i].Name += fmt.Sprintf(" (%d)", same+1)
		}
		s.Outputs = append(s.Outputs, s.outputs[i].Limit)
	}
	return nil
}

func (s *Study) observe(l Limit, eval func(sc *scratch, x []float64) float64) {
	s.outputs = append(s.outputs, output{Limit: l, eval: eval})
}

// addLoss adds a limit on insertion loss: the least margin over its band and,
// for single pieces, over the pieces.
func (s *Study) addLoss(l Limit, where []stretch, t units.Temperature, h held) {
	if len(h.at) == 0 || len(where) == 0 {
		s.Untried = append(s.Untried, l.Name+" (it names no frequency inside the band, or no piece of this chain)")
		return
	}
	l.Value, l.Missing = slices.Min(h.level), s.lacking("loss", where)
	var vs []int
	for _, w := range where {
		vs = append(vs, s.view(w.from, w.to, t))
	}
	runs := h.runs()
	s.outputs = append(s.outputs, output{Limit: l, eval: func(sc *scratch, _ []float64) float64 {
		least := math.Inf(1)
		for _, v := range vs {
			for _, r := range runs {
				x, _ := r.of(sc.sweeps[v].S21)
				least = math.Min(least, x)
			}
		}
		return decibels(least)
	}, corner: func(c corners) (margin, at float64) {
		margin, at = math.Inf(1), math.NaN()
		for j, w := range where {
			for k, i := range h.at {
				if m := h.level[k] - c.loss(s.views[vs[j]], w, i); m < margin {
					margin, at = m, s.grid.f[i]
				}
			}
		}
		return margin, at
	}})
}

// addReflection adds a limit on return loss, or on VSWR, whose Unit is empty:
// for the whole chain one for each end, for single pieces the worse side.
func (s *Study) addReflection(l Limit, of enquiry.Of, t units.Temperature, h held) {
	where := s.judged(of)
	if len(h.at) == 0 || len(where) == 0 {
		s.Untried = append(s.Untried, l.Name+" (it names no frequency inside the band, or no piece of this chain)")
		return
	}
	l.Value, l.Missing = slices.Max(h.level), s.lacking("reflection", where)
	vswr := l.Unit == ""
	if vswr {
		l.Value = network.VSWR(network.FromReturnLoss(l.Value))
	}
	var vs []int
	for _, w := range where {
		vs = append(vs, s.view(w.from, w.to, t))
	}
	runs := h.runs()
	// margin of |Γ|², times the limit's power ratio; a VSWR limit is the same at
	// every frequency.
	margin := func(weighted float64) float64 {
		if vswr {
			return l.Value - network.VSWR(math.Min(math.Sqrt(weighted/runs[0].factor), 1-1e-12))
		}
		return -decibels(weighted)
	}
	add := func(l Limit, ends ...end) {
		s.outputs = append(s.outputs, output{Limit: l, eval: func(sc *scratch, _ []float64) float64 {
			most := 0.0
			for _, v := range vs {
				for _, e := range ends {
					power := reflection(sc.sweeps[v], e)
					for _, r := range runs {
						_, x := r.of(power)
						most = math.Max(most, x)
					}
				}
			}
			return margin(most)
		}, corner: func(c corners) (least, at float64) {
			least, at = math.Inf(1), math.NaN()
			for j, w := range where {
				for _, e := range ends {
					for k, i := range h.at {
						rho := c.reflection(s.views[vs[j]], w, i, e)
						if m := margin(rho * rho * math.Pow(10, h.level[k]/10)); m < least {
							least, at = m, s.grid.f[i]
						}
					}
				}
			}
			return least, at
		}})
	}
	if of == "" || of == enquiry.OfChain {
		add(l, near)
		l.Name += ", far end"
		add(l, far)
		return
	}
	add(l, near, far)
}

// deviation is a copy's delay less the nominal one, s: of what is known, with
// what multiple reflections add to the phase at the match's frequency.
func (s *Study) deviation(sc *scratch, x []float64, v int) float64 {
	d := 0.0
	for _, el := range s.elements {
		d += el.deviation(x)
	}
	if s.match == nil {
		return d
	}
	i := s.match.point
	return d - s.views[v].varied.Phase(sc.set, i)/(2*math.Pi*s.grid.f[i])
}

func (s *Study) nearest(f float64) int {
	best := 0
	for i, x := range s.grid.f {
		if math.Abs(x-f) < math.Abs(s.grid.f[best]-f) {
			best = i
		}
	}
	return best
}

// matched reads the enquiry's match; an absolute one is a limit of each copy.
func (s *Study) matched() error {
	m := s.e.Match
	if m == nil {
		return nil
	}
	k := &matching{kind: m.Kind, at: s.grid.f[len(s.grid.f)-1]}
	if k.kind == "" {
		k.kind = enquiry.Relative
	}
	if m.At != nil {
		k.at = float64(*m.At)
	}
	switch {
	case m.Delay != nil:
		k.half = float64(*m.Delay)
	case m.Phase != nil:
		k.half = float64(*m.Phase) / (2 * math.Pi * k.at)
	case m.Length != nil:
		v := 1.0
		if s.b.Cable != nil {
			if x, ok := s.b.Cable.Velocity(); ok {
				v = x
			}
		}
		k.half = float64(*m.Length) / (v * line.C0)
	default:
		s.Untried = append(s.Untried, "match (it names no amount)")
		return nil
	}
	switch {
	case m.SetSize != nil:
		k.size = *m.SetSize
	case s.e.Lines != nil:
		k.size = *s.e.Lines
	}
	k.point = s.nearest(k.at)
	s.match = k
	if k.kind != enquiry.Absolute {
		return nil
	}
	_, hot, _ := assess.Temperatures(s.e)
	v := s.view(0, len(s.elements), hot)
	s.outputs = append(s.outputs, output{Limit: Limit{Name: "phase match, absolute", Unit: "ps", Judged: true, Value: k.half * 1e12}, eval: func(sc *scratch, _ []float64) float64 {
		return (k.half - math.Abs(sc.deviation)) * 1e12
	}, corner: func(c corners) (margin, at float64) { return (k.half - c.delay(s.views[v], k.at)) * 1e12, k.at }})
	return nil
}

// rounding is the margin, in the limit's unit, below which a miss is taken for
// rounding: a part that sits on its limit keeps it.
const rounding = 1e-9

// sampling is the study for the statistical engine.
func (s *Study) sampling() sample.Study {
	out := sample.Study{}
	for _, in := range s.Inputs {
		out.Inputs = append(out.Inputs, sample.Input{Name: in.Name, Distribution: in.Distribution})
	}
	for _, o := range s.outputs {
		out.Outputs = append(out.Outputs, sample.Output{Name: o.Name, Margin: o.Judged && !o.Wish})
	}
	for _, t := range s.Ties {
		out.Correlations = append(out.Correlations, sample.Correlation{I: t.I, J: t.J, R: t.Coefficient})
	}
	if len(out.Inputs) == 0 { // a chain without tolerances is one copy, drawn again and again
		out.Inputs = []sample.Input{{Name: "none", Distribution: sample.Uniform{}}}
	}
	stages := 0
	for _, el := range s.elements {
		stages = max(stages, el.to)
	}
	s.pool = &sync.Pool{New: func() any {
		sc := &scratch{set: make([]network.Setting, stages)}
		for _, v := range s.views {
			sc.sweeps = append(sc.sweeps, v.varied.Copies())
		}
		return sc
	}}
	_, hot, _ := assess.Temperatures(s.e)
	whole := s.view(0, len(s.elements), hot)
	out.Model = func(ctx context.Context, x, y []float64) error {
		sc := s.pool.Get().(*scratch)
		defer s.pool.Put(sc)
		for _, el := range s.elements {
			el.apply(x, sc.set[el.from:el.to])
		}
		for i, v := range s.views {
			if err := ctx.Err(); err != nil {
				return err
			}
			sc.sweeps[i].Run(sc.set[s.elements[v.from].from:s.elements[v.to-1].to])
		}
		sc.deviation = s.deviation(sc, x, whole)
		for k, o := range s.outputs {
			y[k] = o.eval(sc, x)
			if o.Judged && y[k] < 0 && y[k] > -rounding {
				y[k] = 0
			}
		}
		return nil
	}
	return out
}

// Digest identifies the study: two of one digest draw the same copies and get
// the same numbers from them.
func (s *Study) Digest() string {
	h := sha256.New()
	fmt.Fprintln(h, s.Chain, s.Enquiry, s.grid.f)
	for _, in := range s.Inputs {
		fmt.Fprintf(h, "%s %T %+v\n", in.Name, in.Distribution, in.Distribution)
	}
	for _, t := range s.Ties {
		fmt.Fprintln(h, t.I, t.J, t.Coefficient)
	}
	for _, l := range s.Outputs {
		fmt.Fprintf(h, "%+v\n", l)
	}
	for _, v := range s.views {
		fmt.Fprintln(h, v.from, v.to, float64(v.temp))
		for _, x := range v.stages {
			fmt.Fprintln(h, x.Bound, x.Loss)
			if x.Known != nil {
				fmt.Fprintln(h, x.Known.S)
			}
		}
	}
	middle, set := make([]float64, len(s.Inputs)), make([]network.Setting, s.elements[len(s.elements)-1].to)
	for i, in := range s.Inputs {
		middle[i] = in.Distribution.Quantile(0.5)
	}
	for _, el := range s.elements {
		el.apply(middle, set[el.from:el.to])
	}
	fmt.Fprintln(h, set)
	return fmt.Sprintf("%x", h.Sum(nil)[:12])
}

// ErrState says that a saved state belongs to another study or plan.
var ErrState = errors.New("the saved state belongs to another study, seed, method or number of samples")

// corners are the elements of a study at the ends of their tolerances, with the
// place of a cable's discontinuity at its near end and at its far end.
type corners struct {
	s     *Study
	reach [2][]reach
}

func newCorners(s *Study) corners {
	c := corners{s: s}
	for place := range c.reach {
		for _, el := range s.elements {
			c.reach[place] = append(c.reach[place], c.reaches(el, float64(place)))
		}
	}
	return c
}

// reach is how far one element's stages can go.
type reach struct {
	scale     []float64         // largest |scale| of each stage
	lossLeast []float64         // least scale of each stage's loss
	lossMost  float64           // largest sum of the scales over the element's lossy stages
	delay     float64           // largest |deviation| of its delay
	gap       []network.Setting // of a gap: the vertices, for its exact section
}

// vertices calls f at every combination of the element's inputs at their ends;
// an input without limits ends three standard deviations out. Phases do not
// count: the worst is taken. place is where its discontinuity lies.
func (c corners) vertices(el *element, place float64, f func(x []float64)) {
	x := make([]float64, max(1, len(c.s.Inputs)))
	var free []*ref
	for _, r := range el.refs {
		switch {
		case r == el.place:
			x[r.at] = place
		case r.in.Unit != "rad":
			free = append(free, r)
		}
	}
	for v := range 1 << len(free) {
		for b, r := range free {
			low, high := r.in.Distribution.Limits()
			mean, sd := r.in.Distribution.Expectation(), r.in.Distribution.StandardDeviation()
			if math.IsInf(low, 0) {
				low = mean - 3*sd
			}
			if math.IsInf(high, 0) {
				high = mean + 3*sd
			}
			x[r.at] = low
			if v>>b&1 == 1 {
				x[r.at] = high
			}
		}
		f(x)
	}
}

func (c corners) reaches(el *element, place float64) reach {
	n := el.to - el.from
	r := reach{scale: make([]float64, n), lossLeast: make([]float64, n)}
	for i := range r.lossLeast {
		r.lossLeast[i] = math.Inf(1)
	}
	set := make([]network.Setting, n)
	c.vertices(el, place, func(x []float64) {
		el.apply(x, set)
		sum := 0.0
		for i, s := range set {
			r.scale[i] = math.Max(r.scale[i], math.Abs(s.Scale))
			r.lossLeast[i] = math.Min(r.lossLeast[i], s.Loss)
			if el.lossy[i] {
				sum += s.Loss
			}
		}
		r.lossMost = math.Max(r.lossMost, sum)
		r.delay = math.Max(r.delay, math.Abs(el.deviation(x)))
		if el.facts.Kind == "axial gap" {
			r.gap = append(r.gap, set[0])
		}
	})
	return r
}

// piece is a two-port of a worst case: bounds on its reflections, with the
// matched line behind it.
type piece struct {
	left, right float64 // |S11|, |S22|
	power       float64 // |S21|² of the two-port itself
	lossless    bool
	gap         bool    // a section of line between two steps
	behind      float64 // least A of the line behind it
}

// pieces lists the worst case of a stretch at grid index i, with what the
// largest loss adds to the least, in Np.
func (c corners) pieces(v view, w stretch, i, place int) (ps []piece, more float64) {
	first := c.s.elements[w.from].from
	for n, el := range c.s.elements[w.from:w.to] {
		at, r := el.from-first, c.reach[place][w.from+n]
		if r.gap != nil { // one section, not two steps with the worst phase between them
			rho := 0.0
			for _, s := range r.gap {
				z := 50 * (1 + s.Scale) / (1 - s.Scale)
				f := c.s.grid.f[i]
				open := math.Min(s.Delay*line.C0, line.C0/(4*f))
				rho = math.Max(rho, joint.Reflection(units.Frequency(f), units.Length(open), units.Resistance(z)))
			}
			ps = append(ps, piece{left: rho, right: rho, power: 1 - rho*rho, lossless: true, gap: true})
			continue
		}
		least, full := 0.0, 0.0
		for k := range r.scale {
			p := piece{power: 1, lossless: true}
			a, x := 0.0, v.stages[at+k]
			if x.Loss != nil {
				a = x.Loss[i]
			}
			if x.Known != nil {
				t := cmplx.Abs(x.Known.At(i, 1, 0))
				p = piece{left: cmplx.Abs(x.Known.At(i, 0, 0)), right: cmplx.Abs(x.Known.At(i, 1, 1)), power: t * t}
			} else if x.Bound != nil && r.scale[k]*x.Bound[i] > 0 {
				rho := r.scale[k] * x.Bound[i]
				p = piece{left: rho, right: rho, power: 1 - rho*rho, lossless: true}
			}
			p.behind = r.lossLeast[k] * a
			least += p.behind
			full = math.Max(full, a)
			ps = append(ps, p)
		}
		more += r.lossMost*full - least
	}
	return ps, more
}

// through returns the greatest |Γ| in front of p when r is that behind it.
func (p piece) through(r float64, turned bool) float64 {
	left, right := p.left, p.right
	if turned {
		left, right = right, left
	}
	if p.lossless {
		return (left + r) / (1 + left*r)
	}
	return math.Min(1, left+p.power*r/(1-math.Min(right*r, 1-1e-12)))
}

// reflection returns the greatest |Γ| of a stretch at grid index i: every
// magnitude at its largest, every loss at its least, every phase at its
// worst. For lossless discontinuities it is [network.WorstExact].
func (c corners) reflection(v view, w stretch, i int, e end) float64 {
	r := 0.0
	if e == far {
		ps, _ := c.pieces(v, w, i, 1)
		for _, p := range ps {
			r = p.through(r, true) * math.Exp(-2*p.behind)
		}
		return r
	}
	ps, _ := c.pieces(v, w, i, 0)
	for k := len(ps) - 1; k >= 0; k-- {
		r = ps[k].through(r*math.Exp(-2*ps[k].behind), false)
	}
	return r
}

// loss returns the greatest insertion loss, in dB: every loss at its largest,
// and what the reflections can add where the loss between them is least. No
// copy has all of it at once.
func (c corners) loss(v view, w stretch, i int) float64 {
	worst := 0.0
	for place := range c.reach {
		ps, more := c.pieces(v, w, i, place)
		r, db := 0.0, 20*more/math.Ln10
		for k := len(ps) - 1; k >= 0; k-- {
			p := ps[k]
			x := r * math.Exp(-2*p.behind)
			db += -10*math.Log10(p.power) + 20*math.Log10(1+p.right*x) + 20*p.behind/math.Ln10
			r = p.through(x, false)
		}
		worst = math.Max(worst, db)
	}
	return worst
}

// delay returns the greatest deviation of the delay, s.
func (c corners) delay(v view, f float64) float64 {
	d := 0.0
	for _, r := range c.reach[0] {
		d += r.delay
	}
	phase := 0.0
	ps, _ := c.pieces(v, stretch{0, len(c.s.elements)}, c.s.nearest(f), 0)
	r := 0.0
	for k := len(ps) - 1; k >= 0; k-- {
		x := r * math.Exp(-2*ps[k].behind)
		phase += math.Asin(math.Min(1, ps[k].right*x))
		r = ps[k].through(x, false)
	}
	return d + phase/(2*math.Pi*f)
}
