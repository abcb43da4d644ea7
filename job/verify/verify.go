// Package verify holds a measured sample against its limits and its prediction.
//
// A sample is a two-port measured between the chain's own reference planes; that
// these are the file's planes is checked first ([CheckPlanes]). Then come its
// margins to every limit of the enquiry under a decision rule that was chosen
// beforehand ([Rule]), with the measurement's uncertainty carried into margin
// and verdict ([Uncertainty]); the comparison with the prediction's own
// tolerance band; and, in the time domain, where along the chain it reflects
// more than its pieces may ([Along]).
//
// What a two-port does not show (mass, price, isolation, a smaller piece of the
// chain) is not assessed, never passed over. A limit that holds at another
// temperature than the measured one is judged after the law of the parts'
// losses has carried the reading there; where the temperature is unknown it is
// asked for.
//
// Symbols: ρ the magnitude of a reflection, u a standard and U an expanded
// uncertainty, w the width of a guard band, τ a delay in s.
package verify

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"linewright/hardware/chain"
	"linewright/internal/spell"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/tolerance"
	"linewright/physics/network"
	"linewright/physics/units"
)

// Options tell how samples are judged. They are chosen before measuring.
type Options struct {
	Rule        Rule    // empty: ThreeWay where an uncertainty is stated, Simple where none is
	Guard       float64 // width of the guard band in expanded uncertainties; 0: 1
	Uncertainty Uncertainty
	Temperature *units.Temperature // of the samples when measured; nil: not known
	// Stored is the delay that an absolute match is held against, of the line
	// whose spares must fit; 0: none.
	Stored units.Time
	Copies int // behind the prediction's band; 0: 1000, negative: no band
	// Tolerances of the parts, in place of the defaults of package tolerance.
	Tolerances tolerance.Tolerances
	Seed       uint64
}

// A Plan is what samples of one chain are held against. It is made once and
// judges any number of them, from any number of goroutines.
type Plan struct {
	Chain       chain.Built
	Enquiry     enquiry.Enquiry
	Decision    Decision
	Band        *tolerance.Band // nil: none, and NoBand says why
	NoBand      string
	Questions   []enquiry.Question
	Notes       []string
	temperature units.Temperature // of the prediction that samples are compared with
	o           Options
	limits      []limit

	mu    sync.Mutex
	grids []*grid // the frequencies of the latest samples with what is predicted there
}

// grid is a list of frequencies and the prediction there.
type grid struct {
	f        []float64
	at       chain.Prediction                       // at the measured temperature
	carried  map[units.Temperature]chain.Prediction // at the limits' temperatures
	index    []int                                  // the interval of the band's frequencies that holds each of f; -1: outside
	aspects  [2]*aspect                             // the chain in the time domain, from the left and from the right; nil: noAspect says why
	noAspect error
}

// New makes the plan of b against e.
func New(ctx context.Context, e enquiry.Enquiry, b chain.Built, o Options) (*Plan, error) {
	if len(e.Band) == 0 {
		return nil, fmt.Errorf("enquiry %s states no band: no sample can be judged; write band: [{from: 24 GHz, to: 40 GHz}]", e.ID)
	}
	if len(b.Elements) == 0 {
		return nil, fmt.Errorf("chain %s has no elements", b.Name)
	}
	if err := o.Uncertainty.check(); err != nil {
		return nil, err
	}
	p := &Plan{Chain: b, Enquiry: e, o: o}
	var err error
	if p.Decision, err = decide(o); err != nil {
		return nil, err
	}
	_, hot, stated := assess.Temperatures(e)
	p.temperature = hot
	if o.Temperature != nil {
		p.temperature = *o.Temperature
	}
	p.limits = limitsOf(e, hot)
	if o.Temperature == nil && stated {
		p.ask(enquiry.Question{Field: "temperature of the measurement", Text: "At which temperature were the samples measured?",
			Changes: fmt.Sprintf("the loss is judged at %v; without it no loss limit can be", hot)})
	}
	if r := o.Uncertainty.Residuals; r != (Residuals{}) {
		p.note("the uncertainty follows from the residual errors of the calibration, each of unknown phase (EURAMET cg-12 v3.0; JCGM 100)")
		if r.LoadMatch == 0 && r.Directivity > 0 {
			p.note("the residual load match is taken as the directivity: it was not stated")
		}
	}
	if p.Decision.Needs != "" {
		p.ask(enquiry.Question{Field: "uncertainty of the measurement", Text: "How large is the expanded uncertainty of the transmission and of the reflection?", Changes: p.Decision.Needs})
	}
	if o.Copies < 0 {
		p.NoBand = "no band was asked for"
		return p, nil
	}
	// The prediction's copies at the temperature of the measurement.
	warm := e
	warm.Environment.MinTemperature, warm.Environment.MaxTemperature = nil, &p.temperature
	study, err := tolerance.New(warm, b, o.Tolerances, tolerance.Options{Seed: o.Seed})
	var fault *tolerance.Fault
	if errors.As(err, &fault) {
		return nil, err
	}
	if err != nil {
		p.NoBand = err.Error()
		return p, nil
	}
	copies := o.Copies
	if copies == 0 {
		copies = 1000
	}
	band, err := study.Band(ctx, tolerance.Options{Samples: max(copies, 100), Seed: o.Seed}, bandShare)
	if err != nil {
		return nil, err
	}
	p.Band = &band
	if o.Temperature == nil {
		p.note("the prediction stands at %v: the temperature of the measurement is not known", p.temperature)
	}
	return p, nil
}

// bandShare is the share of copies in the prediction's band.
const bandShare = 0.95

func (p *Plan) ask(q enquiry.Question) { p.Questions = append(p.Questions, q) }

func (p *Plan) note(format string, args ...any) {
	if s := fmt.Sprintf(format, args...); !slices.Contains(p.Notes, s) {
		p.Notes = append(p.Notes, s)
	}
}

// Temperature returns that of the measurement; nil: not known.
func (p *Plan) Temperature() *units.Temperature { return p.o.Temperature }

// Report is what is said of one sample.
type Report struct {
	Verdict   assess.Verdict // the worst of its limits, wishes apart
	Margins   []Judged
	Agreement []Agreement // with the prediction: transmission, near and far reflection
	Length    Length
	Ripple    Ripple
	Along     *Along // nil: no time domain, and NotAlong says why
	NotAlong  string
	Phase     []float64 // of S21, rad, continuous over frequency; nil where it cannot be followed
	Notes     []string

	atMatch float64 // standard uncertainty of the transmission at the match's frequency, dB
}

// Limits names what a report judges, in the order of Report.Margins.
func (p *Plan) Limits() []string {
	out := make([]string, len(p.limits))
	for i, l := range p.limits {
		out[i] = l.name
	}
	return out
}

// ErrTwoPort says that a sample is not a two-port.
var ErrTwoPort = errors.New("a chain is a two-port")

// Judge judges a sample: a two-port between the chain's planes, port 1 at the
// left one.
func (p *Plan) Judge(ctx context.Context, n network.Network) (Report, error) {
	if n.Ports != 2 {
		return Report{}, fmt.Errorf("the file has %s: %w; measure from end to end", spell.Count(n.Ports, "port"), ErrTwoPort)
	}
	if len(n.Frequency) < 2 {
		return Report{}, fmt.Errorf("the file holds %s: a limit over a band needs a sweep", spell.Count(len(n.Frequency), "frequency"))
	}
	for _, z := range n.Reference {
		if z != 50 {
			var err error
			if n, err = n.Renormalise(50); err != nil {
				return Report{}, err
			}
			break
		}
	}
	g, err := p.grid(ctx, n.Frequency)
	if err != nil {
		return Report{}, err
	}
	var r Report
	r.length(p, n, g)
	m := measured{Network: n, grid: g, plan: p}
	m.fill()
	for _, l := range p.limits {
		j := l.judge(&m, &r)
		r.Margins = append(r.Margins, j)
		if !j.Wish {
			r.Verdict = max(r.Verdict, j.Verdict)
		}
	}
	r.agree(p, &m)
	r.Ripple = p.ripple(n)
	_, at, ok := p.MatchHalf()
	if !ok {
		at = n.Frequency[len(n.Frequency)-1]
	}
	r.atMatch = m.u21[nearest(n.Frequency, at)]
	if a, err := p.along(n, g, r.Length); err != nil {
		r.NotAlong = err.Error()
	} else {
		r.Along = &a
	}
	return r, nil
}

// keepGrids is how many lists of frequencies a plan remembers: a lot is
// measured on one.
const keepGrids = 4

// grid returns the prediction at the frequencies f, computed once.
func (p *Plan) grid(ctx context.Context, f []float64) (*grid, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, g := range p.grids {
		if slices.Equal(g.f, f) {
			return g, nil
		}
	}
	g := &grid{f: slices.Clone(f), carried: map[units.Temperature]chain.Prediction{}}
	at := g.f
	if at[0] == 0 { // no part states anything at 0 Hz
		at = slices.Clone(at)
		at[0] = at[1] / 1e3
	}
	predict := func(t units.Temperature) (chain.Prediction, error) {
		x, err := p.Chain.Predict(ctx, at, chain.Conditions{Temperature: t}, chain.Options{Draws: -1})
		if err == nil || ctx.Err() != nil {
			return x, err
		}
		return p.predictInBand(ctx, at, t, err)
	}
	var err error
	if g.at, err = predict(p.temperature); err != nil {
		return nil, err
	}
	for _, l := range p.limits {
		if l.quantity != loss || p.o.Temperature == nil {
			continue
		}
		if _, ok := g.carried[l.temperature]; !ok {
			if g.carried[l.temperature], err = predict(l.temperature); err != nil {
				return nil, err
			}
		}
	}
	for end := range g.aspects {
		if g.aspects[end], g.noAspect = newAspect(g, end == 1); g.noAspect != nil {
			break
		}
	}
	if p.Band != nil {
		g.index = make([]int, len(f))
		for i, x := range f {
			k, _ := slices.BinarySearch(p.Band.Frequency, x)
			if k == 0 && x == p.Band.Frequency[0] {
				k = 1
			}
			g.index[i] = k - 1
			if k == len(p.Band.Frequency) {
				g.index[i] = -1
			}
		}
	}
	if len(p.grids) == keepGrids {
		p.grids = p.grids[1:]
	}
	p.grids = append(p.grids, g)
	return g, nil
}

// predictInBand predicts at those of the frequencies f that lie within the
// enquiry's bands, and holds the ends beyond: a piece that is known by a file is
// known no further, and a sweep often starts below it. whole is why it cannot be
// predicted at all of them.
func (p *Plan) predictInBand(ctx context.Context, f []float64, t units.Temperature, whole error) (chain.Prediction, error) {
	hull := assess.Grid(p.Enquiry, 2)
	first, last := 0, len(f)
	for first < last && f[first] < hull[0]*(1-1e-12) {
		first++
	}
	for last > first && f[last-1] > hull[len(hull)-1]*(1+1e-12) {
		last--
	}
	if last == first || last-first == len(f) {
		return chain.Prediction{}, whole
	}
	x, err := p.Chain.Predict(ctx, f[first:last], chain.Conditions{Temperature: t}, chain.Options{Draws: -1})
	if err != nil {
		return chain.Prediction{}, whole
	}
	hold := func(y []float64) []float64 {
		if y == nil {
			return nil
		}
		out := make([]float64, len(f))
		for i := range out {
			out[i] = y[min(max(i-first, 0), last-first-1)]
		}
		return out
	}
	x.Frequency, x.Network = f, nil
	x.Loss = hold(x.Loss)
	for k := range x.Rows {
		row := &x.Rows[k]
		row.Network = nil
		row.Response.Loss, row.Left, row.Right = hold(row.Response.Loss), hold(row.Left), hold(row.Right)
	}
	return x, nil
}

// between reads a curve of the band's frequencies at the i-th of the grid's.
func (g *grid) between(b *tolerance.Band, curve []float64, i int) (float64, bool) {
	k := g.index[i]
	if k < 0 {
		return math.NaN(), false
	}
	if k+1 >= len(curve) {
		return curve[k], true
	}
	w := (g.f[i] - b.Frequency[k]) / (b.Frequency[k+1] - b.Frequency[k])
	return (1-w)*curve[k] + w*curve[k+1], true
}
