package search

import (
	"context"
	"math"
	"slices"
)

// Nearest returns the k chains that break the limits least, whether or not any keeps them: the measure is
// the sum over the limited criteria of the relative excess,
//
//	V = Σ Weight · max(0, (value - Max)/Max)
//
// (of a limit of 0, the excess itself; of several limits on one criterion, the
// lowest, with its own weight). No chain left out has a smaller V than the last one. For each limited criterion
// it also says how low its value can be when all other limits are kept, and when none is:
// what a part would have to bring down.
//
// When it must give up with ErrTooLarge, it returns the best misses found so far, and Stats.Bound says what may be below them.
//
// The search is that of [Best]; V is bounded below by each criterion's least
// completion and by the sums Σ λ·(value - Max)/Max with 0 <= λ <= Weight.
func Nearest(ctx context.Context, p Problem, k int, s Settings) (Misses, error) {
	m, err := newModel(&p)
	if err != nil {
		return Misses{}, err
	}
	if m.compatible == 0 {
		return Misses{}, ErrNoChain
	}
	report := reporter(s.Progress)
	report(0)
	defer report(1)
	limits := m.strictest()
	out := Misses{Compatible: m.compatible}
	parts := float64(1 + len(limits))

	free := m.under(nil)
	g := &goal{m: free, layers: free.layers(free.opts)}
	g.exact = func(v Values) float64 {
		x, _ := excesses(limits, v)
		return x
	}
	g.rough = func(p *prefix) float64 { return free.leastExcess(limits, p) }
	// If some chain keeps the limits, a plain dive finds it.
	t, err := g.search(ctx, max(k, 1), patience/10, s.work())
	if err == nil && !t.done {
		spent := t.expanded
		g.shorten(max(k, 1), Weights{}, limits)
		for _, mirror := range []bool{false, true} {
			c := conditions(limits, mirror)
			if mirror && !slices.ContainsFunc(c, condition.atEnd) {
				continue
			}
			l, _ := free.multipliers(line{mirror: mirror}, c, math.Inf(1), true)
			g.use(l)
		}
		t, err = g.search(ctx, max(k, 1), math.MaxInt, s.work())
		t.expanded += spent
	}
	out.Stats = t.stats()
	out.Stats.Options = m.total
	if err != nil {
		return out, err
	}
	if !t.done {
		err = tooLarge(int64(s.work()))
	}
	for _, r := range t.found {
		miss := Miss{Chain: r.Chain}
		miss.Violation, miss.Broken = excesses(limits, r.Values)
		out.Chains = append(out.Chains, miss)
	}
	out.Feasible = len(t.found) > 0 && len(out.Chains[0].Broken) == 0
	out.Chains = out.Chains[:min(len(out.Chains), max(k, 0))]
	if err != nil {
		return out, err
	}
	report(1 / parts)

	for i, l := range limits {
		r := Reach{Limit: l}
		if r.Alone, _, err = free.lowest(ctx, l.Of, s, &out.Stats); err != nil {
			return out, err
		}
		others := slices.Delete(slices.Clone(limits), i, i+1)
		if r.WithOthers, r.Possible, err = m.under(others).lowest(ctx, l.Of, s, &out.Stats); err != nil {
			return out, err
		}
		out.Reaches = append(out.Reaches, r)
		report(float64(2+i) / parts)
	}
	return out, nil
}

// strictest returns one limit per limited criterion, in the order of the problem.
func (m *model) strictest() []Limit {
	var ls []Limit
	for _, l := range m.p.Limits {
		if math.IsInf(l.Max, 1) {
			continue
		}
		if i := slices.IndexFunc(ls, func(x Limit) bool { return x.Of == l.Of }); i >= 0 {
			if l.Max < ls[i].Max {
				ls[i] = l
			}
		} else {
			ls = append(ls, l)
		}
	}
	return ls
}

// excesses returns the violation of the limits and the broken ones.
func excesses(limits []Limit, v Values) (sum float64, broken []Excess) {
	for _, l := range limits {
		if x := v.Of(l.Of); x > l.Max {
			e := Excess{Limit: l, Value: x, Over: (x - l.Max) / size(l.Max)}
			sum += l.weight() * e.Over
			broken = append(broken, e)
		}
	}
	return sum, broken
}

// leastExcess bounds the violation of the chains that begin with p, criterion by criterion.
func (m *model) leastExcess(limits []Limit, p *prefix) float64 {
	suf := &m.b.suf[p.slot][p.state]
	sum := 0.0
	for _, l := range limits {
		var x float64
		left, right := p.g+p.t*suf.rmin, suf.hmin+suf.tmin*p.h
		switch l.Of {
		case LeftEnd:
			x = left
		case RightEnd:
			x = right
		case WorseEnd:
			x = max(left, right)
		default:
			x = float64(p.add[l.Of] + suf.min[l.Of])
		}
		if x > l.Max {
			sum += l.weight() * ((x - l.Max) / size(l.Max))
		}
	}
	return sum
}

// lowest returns a chain of the least value of criterion c within m's limits.
func (m *model) lowest(ctx context.Context, c Criterion, s Settings, st *Stats) (Chain, bool, error) {
	var w Weights
	switch c {
	case LeftEnd:
		w.Left = 1
	case RightEnd:
		w.Right = 1
	case WorseEnd:
		w.Worse = 1
	default:
		w.Add = make([]float64, m.k)
		w.Add[c] = 1
	}
	g := m
	found, _, err := m.best(ctx, w, 1, 10*patience, s.work())
	if err == nil {
		if len(found) == 0 {
			return Chain{}, false, nil
		}
		return found[0].Chain, true, nil
	}
	if ctx.Err() != nil {
		return Chain{}, false, err
	}
	// The bounds were too weak. The dynamic programme needs none; what was found is a limit for it.
	st.Fallback = true
	if len(found) > 0 {
		g = m.under(append(slices.Clone(m.p.Limits), Limit{Of: c, Max: found[0].Values.Of(c)}))
	}
	s.Objectives, s.Resolution, s.Progress = []Criterion{c}, nil, nil
	f, err := g.pareto(ctx, s)
	if err != nil || len(f.Chains) == 0 {
		return Chain{}, false, err
	}
	return f.Chains[0], true, nil
}
