package search

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
)

const (
	defaultMaxFront = 5000
	defaultMaxWork  = 20e6
	defaultRatio    = 1.05
)

// Pareto returns the Pareto-optimal set of the chains that keep the limits: all
// distinct vectors of objectives that no other such chain equals or beats in
// every objective, with one chain for each.
//
// The method is dynamic programming over suffixes, from the right. For each slot and
// state the options are crossed with the fronts of the suffixes they can
// stand before, in ascending order of a sum of the scaled criteria, so that
// whatever could dominate a candidate comes before it. The fronts are trees of
// boxes: a box is translated by an option, and left unopened if its lower corner
// breaks a limit even with the cheapest prefix or is dominated already. So
// the work is that of the fronts, not of the chains (branch and bound on the tree of boxes,
// as for skyline queries; the dominance of partial solutions is that of
// multi-objective dynamic programming. Both from memory). With the right end in view and four slots or more, the
// sweep runs from both ends to the middle, and the half chains are joined in the same way.
//
// No chain within the limits is no error: the front is empty. ErrNoChain says that
// no chain exists at all.
func Pareto(ctx context.Context, p Problem, s Settings) (Front, error) {
	m, err := newModel(&p)
	if err != nil {
		return Front{}, err
	}
	if m.compatible == 0 {
		return Front{}, ErrNoChain
	}
	return m.pareto(ctx, s)
}

// pareto is one run of the dynamic programme.
func (m *model) pareto(ctx context.Context, s Settings) (Front, error) {
	objectives, err := m.objectives(s)
	if err != nil {
		return Front{}, err
	}
	resolution, err := m.resolution(objectives, s)
	if err != nil {
		return Front{}, err
	}
	front := Front{Compatible: m.compatible}
	front.Stats.Options = m.total
	front.Stats.PerSlot = make([]int, m.n)

	r := &run{
		ctx:     ctx,
		l:       m.layout(objectives),
		budget:  &budget{max: int64(s.work())},
		workers: s.Workers,
		report:  reporter(s.Progress),
		stats:   &front.Stats,
		steps:   m.n,
	}
	if r.workers <= 0 {
		r.workers = runtime.GOMAXPROCS(0)
	}
	r.report(0)
	var chains []Chain
	if r.l.h >= 0 && m.n >= 4 {
		chains, err = m.meet(r, m.n/2)
	} else {
		chains, err = m.whole(r)
	}
	if err != nil {
		return Front{}, err
	}
	front.Stats.Peak = int(r.budget.peak.Load())
	r.report(1)
	front.Size = len(chains)
	slices.SortFunc(chains, func(a, b Chain) int {
		for _, c := range objectives {
			if d := cmp.Compare(a.Values.Of(c), b.Values.Of(c)); d != 0 {
				return d
			}
		}
		return slices.Compare(a.Option, b.Option)
	})
	front.Chains = chains
	most := s.MaxFront
	if most == 0 {
		most = defaultMaxFront
	}
	if most > 0 && front.Size > most {
		front.Covered, front.Resolution = true, resolution
		front.Chains = Cover(chains, resolution)
	}
	return front, nil
}

// A run is what the parts of one Pareto search share.
type run struct {
	ctx         context.Context
	l           *layout
	wary        bool // see job
	budget      *budget
	workers     int
	report      func(float64)
	stats       *Stats
	steps, done int // one for each slot, one for the join
}

// whole sweeps from the right end to the left end.
func (m *model) whole(r *run) ([]Chain, error) {
	fronts, err := m.sweep(r, 0)
	if err != nil {
		return nil, err
	}
	last := fronts[0][0]
	if last == nil {
		return nil, nil
	}
	chains := make([]Chain, last.n)
	for x := range chains {
		choice := make([]int, m.n)
		m.follow(fronts, 0, 0, x, choice)
		chains[x] = Chain{Option: choice, Values: m.p.Values(choice)}
	}
	return chains, nil
}

// meet sweeps from both ends and joins prefixes of c slots with suffixes at boundary c.
// With the right end in view, suffixes carry two numbers more, and their fronts
// grow fast with their length; half chains are shorter. Prefixes are the suffixes of the mirrored problem.
func (m *model) meet(r *run, c int) ([]Chain, error) {
	r.steps++
	fronts, err := m.sweep(r, c)
	if err != nil {
		return nil, err
	}
	mirrored, err := newModel(m.p.mirror())
	if err != nil {
		return nil, err
	}
	back := *r
	back.l, back.wary = mirrored.layout(mirrorAll(r.l.objectives)), true
	prefixes, err := mirrored.sweep(&back, m.n-c)
	r.done = back.done
	if err != nil {
		return nil, err
	}

	j := newJob(r.l, r.budget)
	j.final = true
	j.rescale(m, 0)
	var heads [][]int
	for s := range m.states {
		head, tail := prefixes[m.n-c][s], fronts[c][s]
		if head == nil || tail == nil {
			continue
		}
		for x := range head.n {
			reversed := make([]int, m.n)
			mirrored.follow(prefixes, m.n-c, s, x, reversed)
			choice := reversed[m.n-c:]
			slices.Reverse(choice)
			mv := m.newMove(0, 0, tail, r.l)
			for d, c := range r.l.add {
				mv.cap[d] = m.limit[c]
			}
			mv.index = int32(len(heads))
			for i := c - 1; i >= 0; i-- {
				o := &m.p.Slots[i].Options[choice[i]]
				for d, c := range r.l.add {
					mv.add[d] += o.Cost[c]
				}
				if i == c-1 {
					mv.g, mv.h, mv.t = o.Gamma, o.GammaRight, o.TwoWay
				} else {
					mv.more = append(mv.more, reflector{o.Gamma, o.GammaRight, o.TwoWay})
				}
			}
			j.opts = append(j.opts, mv)
			heads = append(heads, choice)
		}
	}
	j.tick = func(x float64) { r.report((float64(r.done) + x) / float64(r.steps)) }
	j.run(r.ctx)
	if j.err != nil {
		return nil, j.err
	}
	r.stats.Tested += j.tested
	if j.out == nil {
		return nil, nil
	}
	chains := make([]Chain, j.out.n)
	for x := range chains {
		choice := make([]int, m.n)
		head := heads[j.out.option[x]]
		copy(choice, head)
		state := m.p.Slots[c-1].Options[head[c-1]].Right
		m.follow(fronts, c, int(state), int(j.out.next[x]), choice)
		chains[x] = Chain{Option: choice, Values: m.p.Values(choice)}
	}
	return chains, nil
}

// mirror returns the problem seen from the other side.
func (p *Problem) mirror() *Problem {
	q := &Problem{Criteria: p.Criteria, LeftEnds: p.RightEnds, RightEnds: p.LeftEnds}
	for _, s := range slices.Backward(p.Slots) {
		s.Options = slices.Clone(s.Options)
		for j := range s.Options {
			o := &s.Options[j]
			o.Left, o.Right, o.Gamma, o.GammaRight = o.Right, o.Left, o.GammaRight, o.Gamma
		}
		q.Slots = append(q.Slots, s)
	}
	for _, l := range p.Limits {
		l.Of = l.Of.mirror()
		q.Limits = append(q.Limits, l)
	}
	return q
}

func (c Criterion) mirror() Criterion {
	switch c {
	case LeftEnd:
		return RightEnd
	case RightEnd:
		return LeftEnd
	}
	return c
}

func mirrorAll(cs []Criterion) []Criterion {
	out := make([]Criterion, len(cs))
	for i, c := range cs {
		out[i] = c.mirror()
	}
	return out
}

// sweep makes the fronts of the boundaries from the right end down to boundary end. At the left end, boundary 0, it
// makes one front of whole chains over all states.
func (m *model) sweep(r *run, end int) ([][]*suffixes, error) {
	fronts := make([][]*suffixes, m.n+1)
	fronts[m.n] = make([]*suffixes, m.states)
	for s := range m.states {
		if m.b.suf[m.n][s].ok {
			fronts[m.n][s] = r.l.end()
		}
	}
	for i := m.n - 1; i >= end; i-- {
		opts := m.worthwhile(i, r.l, 1)
		r.stats.Kept += len(opts)
		groups := make([][]option, m.states)
		if i == 0 {
			groups = groups[:1]
		}
		for _, o := range opts {
			g := 0
			if i > 0 {
				g = int(o.left)
			}
			groups[g] = append(groups[g], o)
		}
		fronts[i] = make([]*suffixes, len(groups))
		jobs := make([]*job, len(groups))
		share := make([]float64, len(groups)) // of each job done, weighted by its options
		var lock sync.Mutex
		tell := func(g int, x float64) {
			lock.Lock()
			defer lock.Unlock()
			share[g] = x * float64(len(groups[g])) / float64(len(opts))
			sum := 0.0
			for _, y := range share {
				sum += y
			}
			r.report(min(1, (float64(r.done)+sum)/float64(r.steps)))
		}
		var wait sync.WaitGroup
		gate := make(chan struct{}, r.workers)
		for g, opts := range groups {
			if len(opts) == 0 {
				continue
			}
			j := m.cross(i, opts, fronts[i+1], r.l, r.budget)
			j.wary = r.wary
			j.tick = func(x float64) { tell(g, x) }
			jobs[g] = j
			wait.Go(func() {
				gate <- struct{}{}
				defer func() { <-gate }()
				j.run(r.ctx)
				j.tick(1)
			})
		}
		wait.Wait()
		r.done++
		for g, j := range jobs {
			if j == nil {
				continue
			}
			if j.err != nil {
				return nil, j.err
			}
			r.stats.Tested += j.tested
			if j.out == nil {
				continue
			}
			fronts[i][g] = j.out
			at := i
			if r.wary { // mirrored
				at = m.n - 1 - i
			}
			r.stats.PerSlot[at] += j.out.n
			r.stats.Labels += j.out.n
		}
	}
	return fronts, nil
}

// follow enters into choice the options of suffix x of state s at boundary i.
func (m *model) follow(fronts [][]*suffixes, i, s, x int, choice []int) {
	for f := fronts[i][s]; i < m.n; i++ {
		choice[i] = int(f.option[x])
		to := m.p.Slots[i].Options[choice[i]].Right
		x, f = int(f.next[x]), fronts[i+1][to]
	}
}

func (m *model) objectives(s Settings) ([]Criterion, error) {
	if len(s.Objectives) == 0 {
		all := make([]Criterion, 0, m.k+1)
		for c := range m.k {
			all = append(all, Criterion(c))
		}
		return append(all, LeftEnd), nil
	}
	for i, c := range s.Objectives {
		if err := m.check(c); err != nil {
			return nil, err
		}
		if slices.Contains(s.Objectives[:i], c) {
			return nil, &ProblemError{Slot: -1, Option: -1, Reason: m.name(c) + " is an objective twice"}
		}
	}
	return s.Objectives, nil
}

// A layout says which numbers of a suffix the search carries, and where.
// A suffix carries its additive values, its reflection r at the left end, and of the
// right end the reflection h and the two-way factor t: only those that
// are an objective or whose limit can bind.
type layout struct {
	add        []int // additive criteria in positions 0, 1 ...
	r, h       int   // position of r; of h, followed by t; -1: not carried
	used       int
	stride     int
	objectives []Criterion
}

func (m *model) layout(objectives []Criterion) *layout {
	l := &layout{r: -1, h: -1, objectives: objectives}
	most := extent{rmax: math.Inf(-1), hmax: math.Inf(-1)}
	for s := range m.states {
		if e := &m.b.suf[0][s]; m.leftOK[s] && e.ok {
			for c := range m.k {
				most.max[c] = max(most.max[c], e.max[c])
			}
			most.rmax = max(most.rmax, e.rmax)
			most.hmax = max(most.hmax, e.hmax)
		}
	}
	for c := range m.k {
		if slices.Contains(objectives, Criterion(c)) || most.max[c] > m.limit[c] {
			l.add = append(l.add, c)
		}
	}
	l.used = len(l.add)
	worse := slices.Contains(objectives, WorseEnd)
	if worse || slices.Contains(objectives, LeftEnd) || most.rmax*(1+slack) > m.limitL {
		l.r = l.used
		l.used++
	}
	if worse || slices.Contains(objectives, RightEnd) || most.hmax*(1+slack) > m.limitR {
		l.h = l.used
		l.used += 2
	}
	l.stride = strideOf(l.used)
	return l
}

// strideOf returns the length in which vectors of n numbers are stored.
func strideOf(n int) int {
	if n <= 4 {
		return 4
	}
	return wide
}

// end returns the front of the empty suffix.
func (l *layout) end() *suffixes {
	f := &suffixes{n: 1, option: []int32{-1}, next: []int32{-1}}
	var v vector
	if l.h >= 0 {
		v[l.h+1] = bits(1)
	}
	f.values = append(f.values, v[:l.stride]...)
	f.grow(l, &scales{})
	return f
}

func bits(x float64) int64   { return int64(math.Float64bits(x)) }
func number(x int64) float64 { return math.Float64frombits(uint64(x)) }

// worthwhile returns the options of slot i that the k best chains need: an
// option is dropped when k others between the same states cost no more and make no
// more reflection of whatever stands behind it, or in front of it. The
// reflection g + t·R is linear in R, so it is compared at the two bounds of R.
func (m *model) worthwhile(i int, l *layout, k int) []option {
	opts := slices.Clone(m.opts[i])
	type ends struct{ r, h [2]float64 }
	at := func(o *option) (e ends) {
		suf, pre := &m.b.suf[i+1][o.right], &m.b.pre[i][o.left]
		top := min(suf.rmax, m.b.capL[i+1][o.right])
		e.r = [2]float64{o.g + o.t*suf.rmin, o.g + o.t*top}
		e.h = [2]float64{o.h + o.t*pre.hmin, o.h + o.t*pre.hmax}
		return e
	}
	// no worse at both ends by more than rounding, or no worse whatever the rest
	less := func(a, b [2]float64, ga, gb, ta, tb float64) bool {
		return a[0] <= b[0]-slack && a[1] <= b[1]-slack || ga <= gb && ta <= tb
	}
	better := func(a, b *option, ea, eb *ends) bool {
		for _, c := range l.add {
			if a.add[c] > b.add[c] {
				return false
			}
		}
		if l.r >= 0 && !less(ea.r, eb.r, a.g, b.g, a.t, b.t) {
			return false
		}
		return l.h < 0 || less(ea.h, eb.h, a.h, b.h, a.t, b.t)
	}
	var typical [maxAdditive]float64
	for c := range typical {
		typical[c] = m.typical(c)
	}
	weight := func(o *option) float64 {
		w := 0.0
		for _, c := range l.add {
			w += float64(o.add[c]) / typical[c]
		}
		return w + o.g + o.h
	}
	slices.SortStableFunc(opts, func(a, b option) int {
		if d := cmp.Or(cmp.Compare(a.left, b.left), cmp.Compare(a.right, b.right)); d != 0 {
			return d
		}
		return cmp.Compare(weight(&a), weight(&b))
	})
	var kept []option
	var seen []ends
	first := 0
	for x := range opts {
		o := &opts[x]
		if len(kept) == 0 || kept[len(kept)-1].left != o.left || kept[len(kept)-1].right != o.right {
			first = len(kept)
		}
		e := at(o)
		by := 0
		for y := first; y < len(kept) && by < k; y++ {
			if better(&kept[y], o, &seen[y], &e) {
				by++
			}
		}
		if by < k {
			kept, seen = append(kept, *o), append(seen, e)
		}
	}
	slices.SortFunc(kept, func(a, b option) int { return cmp.Compare(a.index, b.index) })
	return kept
}

// typical returns a size of criterion c, for scaling only.
func (m *model) typical(c int) float64 {
	top := int64(1)
	for s := range m.states {
		if e := &m.b.suf[0][s]; e.ok {
			top = max(top, e.max[c])
		}
	}
	return float64(top)
}

// reporter makes progress calls rise and never overlap.
func reporter(f func(float64)) func(float64) {
	if f == nil {
		return func(float64) {}
	}
	var lock sync.Mutex
	last := -1.0
	return func(x float64) {
		lock.Lock()
		defer lock.Unlock()
		if x > last {
			last = x
			f(x)
		}
	}
}

func tooLarge(held int64) error {
	return fmt.Errorf("%w: more than %d partial chains at once; set limits, weigh fewer criteria, or raise MaxWork", ErrTooLarge, held)
}
