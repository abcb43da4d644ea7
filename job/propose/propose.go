// Package propose finds the chains of a catalogue that answer an enquiry,
// predicts and judges each, ranks them, and says what came near and what the
// catalogue cannot do.
//
// The way: the enquiry's ends and path make a row of slots; hard filters drop
// the parts that cannot serve; an exact search (package search) returns every
// chain that no other beats in loss, worst reflection, price, mass and wear;
// those are predicted in full and ranked by the enquiry's weights. When nothing
// keeps the limits, the same search with the filters counted as violations
// returns the nearest misses.
package propose

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sort"
	"strings"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/propose/search"
	"linewright/physics/units"
)

// Options steer a proposal; the zero value is sensible.
type Options struct {
	Most     int // proposals returned; 0: 10
	Judged   int // chains of the front that are judged in full; 0: 400
	Misses   int // nearest misses returned; 0: 5
	Points   int // frequency grid; 0: 201
	Draws    int // of the random-phase study of each proposal returned; 0: 4000
	Seed     uint64
	Workers  int
	Layouts  launch.Layouts                       // stackups and launches that the enquiry may name
	Progress func(stage string, fraction float64) // may be nil
}

// Answer is everything an enquiry gets.
type Answer struct {
	Enquiry        enquiry.Enquiry
	Outcome        Outcome
	Why            string // of the outcome, one sentence
	Questions      []enquiry.Question
	Contradictions []enquiry.Contradiction
	Considered     float64 // chains whose neighbours mate, by count
	Exact          bool    // the front is that of all considered chains
	FrontSize      int
	Covered        bool // the front was too large to return whole and is covered at a stated resolution
	Cover          string
	Proposals      []Proposal
	Misses         []Miss
	Gaps           []assess.Gap
	Cautions       []assess.Caution
	Refused        []Refusal
	At             units.Frequency // where the search compared loss and reflection
	Temperature    units.Temperature
	judged         int // chains judged in full and found to fail; 0: all that keep the search's limits
}

// Outcome is how an enquiry is answered.
type Outcome string

// The outcomes.
const (
	Serve     Outcome = "serve"                 // some chain meets every limit
	Condition Outcome = "serve with conditions" // the best is at risk, or waits for an answer
	Partial   Outcome = "partial offer"         // no chain meets all; the nearest misses some
	Decline   Outcome = "decline"               // no chain joins the ends
	Ask       Outcome = "ask first"             // something is open without which no chain can be laid out
)

// Proposal is one ranked chain.
type Proposal struct {
	Rank   int
	Spec   chain.Spec
	Built  chain.Built
	Report assess.Report
	Score  float64 // smaller is better; of the search's criteria by the enquiry's weights
	Values Values
}

// Values are the criteria by which the search compared a chain.
type Values struct {
	Loss       units.Level // at Answer.At and Answer.Temperature
	Reflection float64     // worst |Γ| at the worse end
	Price      units.Money
	Mass       units.Mass
	Wear       float64 // matings used up per mating, 1/life summed over the outer faces
	Unknown    int     // figures the datasheets do not state
	NoPrice    bool    // Price leaves out parts without one
	NoMass     bool    // Mass leaves out parts without one
}

// Miss is a chain that breaks limits, with how.
type Miss struct {
	Proposal
	Broken []string // in words
}

// Refusal counts the parts that a filter dropped.
type Refusal struct {
	Slot   string
	Reason string
	Parts  []string
}

// Find answers e from cat.
func Find(ctx context.Context, e enquiry.Enquiry, cat catalogue.Catalogue, o Options) (Answer, error) {
	o = o.defaults()
	a := Answer{Enquiry: e, Questions: e.Questions(), Contradictions: e.Contradictions()}
	_, hot, _ := assess.Temperatures(e)
	a.Temperature = hot
	if grid := assess.Grid(e, 2); len(grid) > 0 {
		a.At = units.Frequency(grid[len(grid)-1])
	}
	if missing := e.Missing(); len(missing) > 0 {
		a.Outcome = Ask
		a.Why = fmt.Sprintf("no chain can be laid out before this is answered: %s; the questions say what hangs on it", strings.Join(missing, ", "))
		return a, nil
	}

	o.report("laying out the slots", 0)
	l := newLayout(e, cat, a.At, hot, o.Layouts)
	a.Refused = l.refusals()
	if problem, ok := l.problem(false); ok {
		front, err := search.Pareto(ctx, problem, l.settings(o))
		switch {
		case errors.Is(err, search.ErrNoChain):
		case err != nil:
			return a, err
		default:
			a.Considered, a.Exact, a.FrontSize, a.Covered = front.Compatible, true, front.Size, front.Covered
			if front.Covered {
				a.Cover = coverText(front.Resolution, problem.Criteria)
			}
			if a.Proposals, err = l.judge(ctx, front.Chains, o); err != nil {
				return a, err
			}
			if len(a.Proposals) > 0 && worstOf(a.Proposals) == assess.Fails {
				if err := l.behind(ctx, &a, problem, front, o); err != nil {
					return a, err
				}
			}
		}
	}
	if best := worstOf(a.Proposals); len(a.Proposals) == 0 || best == assess.Fails {
		if err := l.nearest(ctx, &a, o); err != nil {
			return a, err
		}
	}
	a.collect()
	a.conclude(l)
	return a, nil
}

func (o Options) defaults() Options {
	set := func(p *int, v int) {
		if *p == 0 {
			*p = v
		}
	}
	set(&o.Most, 10)
	set(&o.Judged, 400)
	set(&o.Misses, 5)
	return o
}

func (o Options) report(stage string, x float64) {
	if o.Progress != nil {
		o.Progress(stage, x)
	}
}

// worstOf returns the verdict of the best-ranked proposal.
func worstOf(ps []Proposal) assess.Verdict {
	if len(ps) == 0 {
		return assess.Fails
	}
	return ps[0].Report.Verdict()
}

func coverText(rs []search.Resolution, names []string) string {
	var parts []string
	for _, r := range rs {
		name := "reflection"
		if r.Of >= 0 {
			name = names[r.Of]
		}
		switch {
		case r.Ratio > 0:
			parts = append(parts, fmt.Sprintf("%s within %.1f %%", name, 100*(r.Ratio-1)))
		default:
			parts = append(parts, fmt.Sprintf("%s within %g units", name, r.Step))
		}
	}
	return strings.Join(parts, ", ")
}

// behind looks for chains behind the front that keep every limit. The search
// weighs loss, reflection, price and mass; a limit on something else, as on
// power or noise, may stop all of the front and yet be kept by a chain that the
// front beats. The best by score are judged, as many as the options allow.
func (l *layout) behind(ctx context.Context, a *Answer, problem search.Problem, front search.Front, o Options) error {
	seen := map[string]bool{}
	for _, c := range front.Chains {
		seen[fmt.Sprint(c.Option)] = true
	}
	if front.Compatible <= float64(len(front.Chains)) && len(front.Chains) <= o.Judged {
		return nil
	}
	a.judged = min(len(front.Chains), o.Judged)
	scale := l.scaleOf(front.Chains)
	best, err := search.Best(ctx, problem, l.weights(scale), o.Judged, search.Settings{Workers: o.Workers})
	if err != nil && !errors.Is(err, search.ErrTooLarge) {
		return err
	}
	var kept []search.Chain
	for i, c := range best.Chains {
		if seen[fmt.Sprint(c.Option)] {
			continue
		}
		o.report("judging behind the front", float64(i)/float64(len(best.Chains)))
		p, err := l.propose(ctx, c.Chain, assess.Options{Points: min(o.Points, 101), Draws: -1, Seed: o.Seed})
		if err != nil {
			return err
		}
		a.judged++
		if p.Report.Verdict() == assess.Fails {
			continue
		}
		if kept = append(kept, c.Chain); len(kept) == o.Most {
			break
		}
	}
	if len(kept) == 0 {
		if err == nil && len(best.Chains) < o.Judged { // every chain that keeps the search's limits was judged
			a.judged = 0
		}
		return nil
	}
	better, err := l.judge(ctx, kept, o)
	if err != nil {
		return err
	}
	a.Proposals = append(better, a.Proposals...)
	rank(a.Proposals)
	a.Proposals = a.Proposals[:min(len(a.Proposals), o.Most)]
	return nil
}

// weights are those of [layout.score] in the search's units.
func (l *layout) weights(s scale) search.Weights {
	w := l.preferences()
	per := func(weight, least float64) float64 {
		if least > 0 && !math.IsInf(least, 1) && least < math.MaxInt64 {
			return weight / least
		}
		return 0
	}
	out := search.Weights{Add: make([]float64, len(l.criteria)), Worse: per(w.ReturnLoss, s.least.Reflection)}
	for i, name := range l.criteria {
		switch name {
		case lossCriterion:
			out.Add[i] = per(w.Loss, float64(s.least.Loss)*micro)
		case priceCriterion:
			out.Add[i] = per(w.Price, float64(s.least.Price.Micros))
		case massCriterion:
			out.Add[i] = per(w.Mass, float64(s.least.Mass)*1e9)
		case wearCriterion:
			out.Add[i] = per(1, s.least.Wear*micro)
		case unknownCriterion:
			out.Add[i] = 0.1
		}
	}
	return out
}

// preferences are the enquiry's weights, or the usual ones.
func (l *layout) preferences() enquiry.Weights {
	if w := l.e.Weights; w != (enquiry.Weights{}) {
		return w
	}
	return enquiry.Weights{Loss: 1, ReturnLoss: 1, Price: 1}
}

// judge predicts and judges the chains of a front, ranks them, and studies
// those it returns in full.
func (l *layout) judge(ctx context.Context, chains []search.Chain, o Options) ([]Proposal, error) {
	type scored struct {
		c     search.Chain
		v     Values
		score float64
	}
	all := make([]scored, len(chains))
	scale := l.scaleOf(chains)
	for i, c := range chains {
		v := l.values(c)
		all[i] = scored{c, v, l.score(v, scale)}
	}
	sort.SliceStable(all, func(i, k int) bool { return all[i].score < all[k].score })
	if len(all) > o.Judged {
		all = all[:o.Judged]
	}
	var ps []Proposal
	for i, s := range all {
		o.report("judging the front", float64(i)/float64(len(all)))
		p, err := l.propose(ctx, s.c, assess.Options{Points: min(o.Points, 101), Draws: -1, Seed: o.Seed})
		if err != nil {
			return nil, err
		}
		p.Score, p.Values = s.score, s.v
		ps = append(ps, p)
	}
	rank(ps)
	if len(ps) > o.Most {
		ps = ps[:o.Most]
	}
	for i := range ps {
		o.report("studying the proposals", float64(i)/float64(len(ps)))
		r, err := assess.Assess(ctx, l.e, assess.Subject{Built: ps[i].Built, Catalogue: l.cat, Layouts: l.layouts}, assess.Options{Points: o.Points, Draws: o.Draws, Seed: o.Seed})
		if err != nil {
			return nil, err
		}
		ps[i].Report = r
	}
	rank(ps)
	return ps, nil
}

// rank orders proposals by verdict, then by score.
func rank(ps []Proposal) {
	sort.SliceStable(ps, func(i, k int) bool {
		a, b := ps[i], ps[k]
		if va, vb := a.Report.Verdict(), b.Report.Verdict(); va != vb {
			return va < vb
		}
		return a.Score < b.Score
	})
	for i := range ps {
		ps[i].Rank = i + 1
	}
}

// propose builds and judges one chain of the search.
func (l *layout) propose(ctx context.Context, c search.Chain, o assess.Options) (Proposal, error) {
	spec := l.spec(c)
	b, err := chain.Build(spec, l.cat)
	if err != nil {
		return Proposal{}, err
	}
	r, err := assess.Assess(ctx, l.e, assess.Subject{Built: b, Catalogue: l.cat, Layouts: l.layouts}, o)
	if err != nil {
		return Proposal{}, err
	}
	return Proposal{Spec: spec, Built: b, Report: r}, nil
}

// scale holds, over a front, the least value of each criterion, against which
// scores are relative, and the largest price and mass, which stand in where a
// datasheet is silent: silence must not look cheap.
type scale struct {
	least, most Values
}

func (l *layout) scaleOf(chains []search.Chain) scale {
	inf := math.Inf(1)
	s := scale{least: Values{Loss: units.Level(inf), Reflection: inf, Price: units.Money{Micros: math.MaxInt64}, Mass: units.Mass(inf), Wear: inf}}
	for _, c := range chains {
		v := l.values(c)
		s.least.Loss, s.least.Reflection, s.least.Wear = min(s.least.Loss, v.Loss), min(s.least.Reflection, v.Reflection), min(s.least.Wear, v.Wear)
		s.most.Price.Micros, s.most.Mass = max(s.most.Price.Micros, v.Price.Micros), max(s.most.Mass, v.Mass)
		if !v.NoPrice {
			s.least.Price.Micros = min(s.least.Price.Micros, v.Price.Micros)
		}
		if !v.NoMass {
			s.least.Mass = min(s.least.Mass, v.Mass)
		}
	}
	return s
}

// score is the weighted sum of the criteria, each relative to the best of the
// front; figures that are not stated count a tenth each against a chain.
func (l *layout) score(v Values, s scale) float64 {
	w := l.preferences()
	if v.NoPrice {
		v.Price.Micros = s.most.Price.Micros
	}
	if v.NoMass {
		v.Mass = s.most.Mass
	}
	rel := func(x, least float64) float64 {
		if least > 0 && !math.IsInf(least, 1) && least < math.MaxInt64 {
			return x / least
		}
		return 1 // nothing to compare with: no chain of the front states it
	}
	sum := w.Loss*rel(float64(v.Loss), float64(s.least.Loss)) + w.ReturnLoss*rel(v.Reflection, s.least.Reflection) +
		w.Price*rel(float64(v.Price.Micros), float64(s.least.Price.Micros)) + w.Mass*rel(float64(v.Mass), float64(s.least.Mass))
	if l.wears {
		sum += rel(v.Wear, s.least.Wear)
	}
	return sum + 0.1*float64(v.Unknown)
}

// nearest fills in the nearest misses.
func (l *layout) nearest(ctx context.Context, a *Answer, o Options) error {
	problem, ok := l.problem(true)
	if !ok {
		return nil
	}
	o.report("looking for the nearest misses", 0)
	misses, err := search.Nearest(ctx, problem, 8*o.Misses, search.Settings{Workers: o.Workers})
	if errors.Is(err, search.ErrNoChain) {
		return nil
	}
	if err != nil {
		return err
	}
	if a.Considered == 0 {
		a.Considered, a.Exact = misses.Compatible, true
	}
	// The nearest of each way of missing comes first, then the rest by nearness.
	seen, ways := map[string]bool{}, map[string]bool{}
	var first, rest []Miss
	for i, m := range misses.Chains {
		o.report("judging the nearest misses", float64(i)/float64(len(misses.Chains)))
		key := l.bare(m.Chain)
		if seen[key] {
			continue // the same with an adapter more, or another retention
		}
		seen[key] = true
		p, err := l.propose(ctx, m.Chain, assess.Options{Points: min(o.Points, 101), Draws: -1, Seed: o.Seed})
		if err != nil {
			return err
		}
		p.Values, p.Score = l.values(m.Chain), m.Violation
		miss := Miss{Proposal: p}
		var axes []string
		for _, x := range p.Report.Margins {
			if x.Verdict == assess.Fails && !x.Wish {
				miss.Broken = append(miss.Broken, x.Limit+": "+x.Why)
				axes = append(axes, x.Limit)
			}
		}
		if len(miss.Broken) == 0 {
			if p.Report.Verdict() != assess.Fails && len(l.violated(m.Chain)) == 0 {
				continue // no miss: it breaks nothing
			}
			for _, v := range l.violated(m.Chain) {
				miss.Broken = append(miss.Broken, v.axis+": "+v.text)
				axes = append(axes, v.axis)
			}
		}
		if way := strings.Join(axes, "|"); !ways[way] {
			ways[way] = true
			first = append(first, miss)
		} else {
			rest = append(rest, miss)
		}
	}
	a.Misses = append(first, rest...)
	if len(a.Misses) > o.Misses {
		a.Misses = a.Misses[:o.Misses]
	}
	sort.SliceStable(a.Misses, func(i, k int) bool { return a.Misses[i].Score < a.Misses[k].Score })
	for i := range a.Misses {
		m := &a.Misses[i]
		r, err := assess.Assess(ctx, l.e, assess.Subject{Built: m.Built, Catalogue: l.cat, Layouts: l.layouts}, assess.Options{Points: o.Points, Draws: o.Draws, Seed: o.Seed})
		if err != nil {
			return err
		}
		m.Report, m.Rank = r, i+1
	}
	return nil
}

// collect gathers questions, gaps and cautions of the chains that are shown.
func (a *Answer) collect() {
	add := func(r assess.Report, gaps bool) {
		for _, q := range r.Questions {
			if !hasField(a.Questions, q.Field) {
				a.Questions = append(a.Questions, q)
			}
		}
		for _, c := range r.Cautions {
			if !contains(a.Cautions, c) {
				a.Cautions = append(a.Cautions, c)
			}
		}
		if !gaps {
			return
		}
		for _, g := range r.Gaps {
			if !contains(a.Gaps, g) {
				a.Gaps = append(a.Gaps, g)
			}
		}
	}
	// What a chain misses is a gap of the catalogue unless a nearer one misses
	// less of the same: then that one would be mended first.
	var nearer []map[string]bool
	gap := func(r assess.Report) bool {
		broken := map[string]bool{}
		for _, m := range r.Margins {
			if m.Verdict == assess.Fails && !m.Wish {
				axis, _, _ := strings.Cut(m.Limit, ",")
				if strings.HasPrefix(axis, "mating of ") { // whichever parts they are
					axis = "mating"
				}
				broken[axis] = true
			}
		}
		for _, x := range nearer {
			if len(x) > 0 && within(x, broken) {
				return false
			}
		}
		nearer = append(nearer, broken)
		return true
	}
	for i, p := range a.Proposals {
		add(p.Report, i == 0 && gap(p.Report))
	}
	for _, m := range a.Misses {
		add(m.Report, gap(m.Report))
	}
}

// within says whether all of x is in y.
func within(x, y map[string]bool) bool {
	for k := range x {
		if !y[k] {
			return false
		}
	}
	return true
}

func hasField(qs []enquiry.Question, field string) bool {
	for _, q := range qs {
		if q.Field == field {
			return true
		}
	}
	return false
}

func contains[T comparable](xs []T, x T) bool {
	for _, y := range xs {
		if x == y {
			return true
		}
	}
	return false
}

// conclude states the outcome.
func (a *Answer) conclude(l *layout) {
	switch {
	case len(a.Proposals) == 0 && len(a.Misses) == 0:
		a.Outcome = Decline
		a.Why = "no parts of the catalogue join these two ends"
		if s := l.broken(); s != "" {
			a.Why = s
		}
		a.Gaps = append(a.Gaps, assess.FieldGaps(l.e, l.cat)...)
		a.Gaps = append(a.Gaps, assess.Gap{Axis: "interface", Asked: l.asked(), Best: "nothing listed", Cause: assess.NotYetBuilt, Needs: a.Why})
	case len(a.Proposals) == 0 || worstOf(a.Proposals) == assess.Fails:
		a.Outcome = Partial
		a.Why = "no chain of the catalogue keeps every limit; the nearest misses are shown with what they break"
		if a.judged > 0 {
			a.Why = fmt.Sprintf("of the %d best chains that pass the filters, all judged in full, none keeps every limit; the nearest misses are shown with what they break", a.judged)
		}
	case worstOf(a.Proposals) == assess.Meets && len(a.Contradictions) == 0:
		a.Outcome = Serve
		a.Why = "the first proposal meets every limit in the worst case"
	default:
		a.Outcome = Condition
		a.Why = "the first proposal is " + worstOf(a.Proposals).String() + " on a limit"
		if len(a.Contradictions) > 0 {
			a.Why = "the enquiry contradicts itself; see the contradictions"
		}
	}
}
