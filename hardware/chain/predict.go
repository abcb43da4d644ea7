package chain

import (
	"context"
	"fmt"
	"math"

	"linewright/physics/network"
	"linewright/physics/units"
)

// Options of a prediction; the zero value is sensible.
type Options struct {
	Draws int    // of the random-phase study over the whole band; 0: 4000, negative: no study, nor Likely
	Seed  uint64 // of the study
}

// Prediction is a chain's ledger on a frequency grid at one temperature.
type Prediction struct {
	Chain      string
	Frequency  []float64 // Hz
	Conditions Conditions
	Rows       []Row
	Loss       []float64 // sum of the dissipative losses, dB
	Mismatch   []float64 // largest loss by reflection that the phases can add to Loss, dB
	Left       Returns
	Right      Returns
	Delay      float64 // sum of the delays that are known, s
	NoDelay    []int   // elements whose delay is unknown
	ModeFree   ModeLimit
	NoMode     []int  // elements without a cross-section to judge
	Ripple     Ripple // largest of any two reflections, at the top of the band
	Network    *network.Network
	Firsts     []First
}

// Row is one element's line in the ledger.
type Row struct {
	Facts
	Response
}

// Returns are a chain's reflections seen from one end, as |Γ| over the grid.
// They are never mixed: Worst bounds, RSS is no bound, Likely is a percentile
// of random phases at one frequency, and Nominal exists only where every phase
// is known.
type Returns struct {
	Best    []float64 // luckiest phases
	Worst   []float64 // sum of the reflections, each weakened by the two-way loss before it
	Exact   []float64 // greatest of lossless discontinuities, multiple reflections counted; a check on Worst
	RSS     []float64
	Likely  []float64           // 95th percentile at each frequency
	Nominal []float64           // nil where a phase is unknown
	Swept   *network.Likely     // greatest in the whole band, 95th percentile of the draws; nil when not asked for
	Unknown []int               // elements without a figure: the numbers leave them out
	AtWorst int                 // index of the frequency at which Worst is greatest
	Shares  []network.Reflector // the reflectors at that frequency, nearest first
}

// Ripple is the largest interference of two reflections.
type Ripple struct {
	From, To   int     // elements
	PeakToPeak float64 // dB
	Period     float64 // Hz; NaN where a delay between them is unknown
}

// First names the element that is first on one axis: over-moded first, loses
// most, reflects most.
type First struct {
	Axis    string // "mode", "loss", "reflection", "rating", "temperature", "price"
	Element int
	Value   string // with its unit, for people
	Number  float64
}

// unstatedDelay is the one-way delay taken for an element whose electrical
// length no datasheet states, when reflections beat in a swept study: up to
// 30 mm of air. Common practice for connectors of this class.
const unstatedDelay = 100e-12

// likelyDraws is the number of draws behind each point of Returns.Likely: its
// standard error at the 95th percentile is near 1 % of the value.
const likelyDraws = 1000

// likelyPoints bounds the number of frequencies for which Likely is drawn; in
// between it is interpolated.
const likelyPoints = 41

// Predict returns c's ledger at the frequencies f, in Hz, strictly increasing.
func (c Chain) Predict(ctx context.Context, f []float64, cond Conditions, o Options) (Prediction, error) {
	if len(f) == 0 {
		return Prediction{}, fmt.Errorf("chain %s: no frequency to predict at; state the band", c.Name)
	}
	if len(c.Elements) == 0 {
		return Prediction{}, fmt.Errorf("chain %s has no elements", c.Name)
	}
	p := Prediction{Chain: c.Name, Frequency: f, Conditions: cond, Loss: make([]float64, len(f))}
	known := true
	for k, e := range c.Elements {
		facts := e.Facts()
		resp, err := e.Respond(f, cond.metals())
		if err != nil {
			return Prediction{}, fmt.Errorf("chain %s, element %d (%s): %w", c.Name, k+1, facts.Name, err)
		}
		if k == 0 && cond.Temperature < ColdestMetal {
			resp.note(Extrapolated, "colder than %v copper's resistance follows no straight line: losses at %v are taken as those at %v, more than they are", ColdestMetal, cond.Temperature, ColdestMetal)
		}
		p.Rows = append(p.Rows, Row{facts, resp})
		for i := range f {
			p.Loss[i] += resp.Loss[i]
		}
		if math.IsNaN(resp.Delay) {
			p.NoDelay = append(p.NoDelay, k)
		} else {
			p.Delay += resp.Delay
		}
		known = known && resp.Network != nil
	}
	p.ModeFree, p.NoMode = firstMode(p.Rows)
	forward := func(i int) []network.Reflector { return reflectors(p.Rows, i, false) }
	backward := func(i int) []network.Reflector { return reflectors(p.Rows, i, true) }
	var err error
	if p.Left, err = returns(ctx, f, forward, o); err != nil {
		return Prediction{}, err
	}
	if p.Right, err = returns(ctx, f, backward, o); err != nil {
		return Prediction{}, err
	}
	for k, r := range p.Rows {
		if !r.Reflecting {
			p.Left.Unknown = append(p.Left.Unknown, k)
			p.Right.Unknown = append(p.Right.Unknown, k)
		}
	}
	p.Mismatch = make([]float64, len(f))
	for i := range f {
		p.Mismatch[i] = mismatchWorst(forward(i))
	}
	p.Ripple = ripple(p.Rows, len(f)-1)
	if known {
		if err := p.cascade(c.reference()); err != nil {
			return Prediction{}, fmt.Errorf("chain %s: %w", c.Name, err)
		}
	}
	p.firsts()
	return p, nil
}

// firstMode is [Chain.ModeFree] of facts that are at hand.
func firstMode(rows []Row) (ModeLimit, []int) {
	facts := make([]Facts, len(rows))
	for k, r := range rows {
		facts[k] = r.Facts
	}
	return modeFree(facts)
}

// reflectors returns the chain as reflectors with the matched loss and delay
// behind each, at frequency index i; backward from the right end.
func reflectors(rows []Row, i int, backward bool) []network.Reflector {
	rs := make([]network.Reflector, len(rows))
	for k, r := range rows {
		x := network.Reflector{Magnitude: r.Left[i], Loss: r.Response.Loss[i] / units.DecibelsPerNeper, Delay: [2]float64{r.Delay, r.Delay}}
		at := k
		if backward {
			x.Magnitude = r.Right[i]
			at = len(rows) - 1 - k
		}
		if math.IsNaN(r.Delay) {
			x.Delay = [2]float64{0, unstatedDelay}
		}
		rs[at] = x
	}
	return rs
}

// merge joins what does not reflect to the reflector before it, so that a study
// draws only phases that matter.
func merge(rs []network.Reflector) []network.Reflector {
	var out []network.Reflector
	for k, r := range rs {
		if k > 0 && r.Magnitude == 0 {
			last := &out[len(out)-1]
			last.Loss += r.Loss
			last.Delay[0] += r.Delay[0]
			last.Delay[1] += r.Delay[1]
			continue
		}
		out = append(out, r)
	}
	return out
}

func returns(ctx context.Context, f []float64, at func(i int) []network.Reflector, o Options) (Returns, error) {
	n := len(f)
	r := Returns{Best: make([]float64, n), Worst: make([]float64, n), Exact: make([]float64, n), RSS: make([]float64, n)}
	for i := range f {
		rs := at(i)
		r.Best[i], r.Worst[i], r.Exact[i], r.RSS[i] = network.Best(rs), network.Worst(rs), network.WorstExact(rs), network.RSS(rs)
		if r.Worst[i] > r.Worst[r.AtWorst] {
			r.AtWorst = i
		}
	}
	r.Shares = at(r.AtWorst)
	if o.Draws < 0 {
		return r, nil
	}
	r.Likely = make([]float64, n)
	step := max(1, (n+likelyPoints-1)/likelyPoints)
	last := -1
	for i := 0; ; i = min(i+step, n-1) {
		if err := ctx.Err(); err != nil {
			return r, err
		}
		l, err := network.Study{Draws: likelyDraws, Seed: o.Seed}.Run(merge(at(i)))
		if err != nil {
			return r, err
		}
		r.Likely[i] = l.Value
		for k := last + 1; last >= 0 && k < i; k++ {
			w := float64(k-last) / float64(i-last)
			r.Likely[k] = (1-w)*r.Likely[last] + w*l.Value
		}
		last = i
		if i == n-1 {
			break
		}
	}
	if n < 2 {
		return r, nil
	}
	draws := o.Draws
	if draws == 0 {
		draws = 4000
	}
	// The study holds magnitudes and losses over the band: those of the
	// frequency at which the worst case is greatest.
	rs := merge(r.Shares)
	for k := range rs { // a sweep needs some distance between reflectors
		if rs[k].Delay[1] == 0 {
			rs[k].Delay[1] = 1e-12
		}
	}
	if err := ctx.Err(); err != nil {
		return r, err
	}
	l, err := network.Study{Draws: draws, Seed: o.Seed, Start: f[0], Stop: f[n-1], Points: sweepPoints(rs, f[n-1]-f[0])}.Run(rs)
	if err != nil {
		return r, err
	}
	r.Swept = &l
	return r, nil
}

// sweepPoints are enough to meet each ripple's crest within 2 %: eight to the
// period of the longest pair, and no more than 2001.
func sweepPoints(rs []network.Reflector, span float64) int {
	total := 0.0
	for _, r := range rs[:len(rs)-1] {
		total += r.Delay[1]
	}
	return min(max(2, 1+int(math.Ceil(span*16*total))), 2001)
}

// mismatchWorst returns the largest loss, in dB, that lossless discontinuities
// of unknown phase add to the matched loss between them:
//
//	Π √(1−ρ²)/(1 + ρ A r)
//
// with r the greatest reflection behind each, A the two-way loss to it.
// Source: derived here from the transmission of a lossless two-port into a
// reflecting load, |S21|/|1 − S22·Γ|.
func mismatchWorst(rs []network.Reflector) float64 {
	r, db := 0.0, 0.0
	for i := len(rs) - 1; i >= 0; i-- {
		rho, x := rs[i].Magnitude, math.Exp(-2*rs[i].Loss)*r
		db += -10*math.Log10(1-rho*rho) + 20*math.Log10(1+rho*x)
		r = (rho + x) / (1 + rho*x)
	}
	return db
}

// ripple returns the largest interference of any two reflections at frequency
// index i. The first of the pair faces the second with its right side.
func ripple(rows []Row, i int) Ripple {
	worst := Ripple{From: -1, To: -1, Period: math.NaN()}
	for a := range rows {
		if rows[a].Right[i] == 0 {
			continue
		}
		loss, delay := 0.0, 0.0
		for b := a + 1; b < len(rows); b++ {
			// Two reflections at one place are one reflection: no ripple.
			if rho := rows[b].Left[i]; rho > 0 && delay != 0 {
				if pp := network.NewRipple(rows[a].Right[i], rho, loss/units.DecibelsPerNeper).PeakToPeak(); pp > worst.PeakToPeak {
					worst = Ripple{a, b, pp, network.RipplePeriod(delay)}
				}
			}
			loss += rows[b].Response.Loss[i]
			delay += rows[b].Delay // NaN stays NaN: unknown
		}
	}
	return worst
}

// cascade joins the elements' networks: every phase is known.
func (p *Prediction) cascade(reference float64) error {
	ns := make([]network.Network, len(p.Rows))
	for k, r := range p.Rows {
		n, err := r.Network.Renormalise(complex(reference, 0))
		if err != nil {
			return err
		}
		ns[k] = n
	}
	n, err := network.Cascade(ns...)
	if err != nil {
		return err
	}
	p.Network = &n
	p.Left.Nominal, p.Right.Nominal = make([]float64, len(p.Frequency)), make([]float64, len(p.Frequency))
	for i := range p.Frequency {
		p.Left.Nominal[i] = abs(n.At(i, 0, 0))
		p.Right.Nominal[i] = abs(n.At(i, 1, 1))
	}
	return nil
}

func abs(z complex128) float64 { return math.Hypot(real(z), imag(z)) }

// firsts finds, for each axis, the element where the chain breaks first.
func (p *Prediction) firsts() {
	top := len(p.Frequency) - 1
	if p.ModeFree.Element >= 0 {
		p.Firsts = append(p.Firsts, First{"mode", p.ModeFree.Element, fmt.Sprintf("%s %s from %v", p.ModeFree.Name, p.ModeFree.Mode, p.ModeFree.CrossSection.ModeFree), float64(p.ModeFree.CrossSection.ModeFree)})
	}
	more := func(a, b float64) bool { return a > b }
	less := func(a, b float64) bool { return a < b }
	// Texts cost more than figures: only the first element's is made.
	pick := func(axis string, better func(a, b float64) bool, value func(r Row) (float64, bool), text func(r Row) string) {
		best, at := 0.0, -1
		for k, r := range p.Rows {
			if v, ok := value(r); ok && (at < 0 || better(v, best)) {
				best, at = v, k
			}
		}
		if at >= 0 {
			p.Firsts = append(p.Firsts, First{axis, at, text(p.Rows[at]), best})
		}
	}
	pick("rating", less, func(r Row) (float64, bool) {
		if r.Rated == nil {
			return 0, false
		}
		return float64(*r.Rated), true
	}, func(r Row) string { return "rated to " + r.Rated.String() })
	pick("loss", more, func(r Row) (float64, bool) {
		return r.Response.Loss[top], r.Lossy && r.Response.Loss[top] > 0
	}, func(r Row) string { return units.Level(r.Response.Loss[top]).String() })
	pick("reflection", more, func(r Row) (float64, bool) {
		return r.Left[top], r.Left[top] > 0
	}, func(r Row) string {
		return fmt.Sprintf("return loss %v", units.Level(network.ReturnLoss(r.Left[top])))
	})
	pick("temperature", less, func(r Row) (float64, bool) {
		if r.MaxTemp == nil {
			return 0, false
		}
		return float64(*r.MaxTemp), true
	}, func(r Row) string { return "works to " + r.MaxTemp.String() })
	pick("price", more, func(r Row) (float64, bool) {
		if r.Price == nil {
			return 0, false
		}
		return r.Price.Float(), r.Price.Micros > 0
	}, func(r Row) string { return r.Price.String() })
}
