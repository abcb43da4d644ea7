package search

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// patience is the number of expansions after which a best-first search that
// has limits to keep stops to find multipliers for them.
const patience = 400

// Best returns the k chains of least score among those that keep the limits.
// No chain left out scores less than the last one, but for 1e-12 of rounding; among
// chains of just the last score the choice is arbitrary, and the same every time.
//
// It is a best-first search from the left. A prefix of values a, reflection G and
// two-way factor T is bounded by its cheapest completion,
//
//	w·a + wR·G + min (w·x + wR·T·R) over the suffixes (x, R) of its state,
//
// which is exact when neither limits nor the right end matter: the minimum lies on the lower
// convex hull of the points (w·x, R), and hulls follow from hulls, slot by slot,
// because an option maps the points by an affine map. Where limits bind, the bound is raised by
// Lagrange multipliers λ >= 0: a chain that keeps the limits L has
// w·x >= w·x + Σ λ·(x - L), which is a bound of the same form.
func Best(ctx context.Context, p Problem, w Weights, k int, s Settings) (Ranking, error) {
	m, err := newModel(&p)
	if err != nil {
		return Ranking{}, err
	}
	if err := m.checkWeights(w); err != nil {
		return Ranking{}, err
	}
	if m.compatible == 0 {
		return Ranking{}, ErrNoChain
	}
	report := reporter(s.Progress)
	report(0)
	defer report(1)
	r := Ranking{Compatible: m.compatible}
	r.Stats.Options = m.total
	if k <= 0 {
		return r, nil
	}
	found, st, err := m.best(ctx, w, k, math.MaxInt, s.work())
	r.Chains = found
	st.Options = m.total
	r.Stats = st
	return r, err
}

// work returns the number of partial chains a search may hold.
func (s *Settings) work() int {
	if s.MaxWork <= 0 {
		return defaultMaxWork
	}
	return min(s.MaxWork, math.MaxInt32) // partial chains are numbered in 32 bits
}

func (m *model) checkWeights(w Weights) error {
	if len(w.Add) > m.k {
		return &ProblemError{Slot: -1, Option: -1, Reason: "more weights than additive criteria"}
	}
	for _, x := range append([]float64{w.Left, w.Right, w.Worse}, w.Add...) {
		if !(x >= 0) || !finite(x) {
			return &ProblemError{Slot: -1, Option: -1, Reason: "weights are 0 or more; a larger value of a criterion is never better"}
		}
	}
	return nil
}

// best searches m with its limits, first with the plain bound, then with multipliers.
func (m *model) best(ctx context.Context, w Weights, k, most, hold int) ([]Ranked, Stats, error) {
	g := &goal{m: m, layers: m.layers(m.opts), exact: w.Score}
	left := line{add: pad(w.Add), end: w.Left, rest: Weights{Right: w.Right, Worse: w.Worse}}
	right := line{add: pad(w.Add), mirror: true, end: w.Right + w.Worse, rest: Weights{Left: w.Left}}
	g.use(left)
	if right.end > 0 {
		g.use(right)
	}
	if w.Worse > 0 {
		g.use(line{add: pad(w.Add), end: w.Left + w.Worse, rest: Weights{Right: w.Right}})
	}
	limits := m.strictest()
	first := most
	if len(limits) > 0 {
		first = min(most, patience)
	}
	t, err := g.search(ctx, k, first, hold)
	if err != nil {
		return nil, t.stats(), err
	}
	if !t.done && first < most && t.held <= hold {
		g.shorten(k, w, limits)
		for _, base := range []line{left, right} {
			c := conditions(limits, base.mirror)
			if base.mirror && base.end == 0 && !slices.ContainsFunc(c, condition.atEnd) {
				continue // the right end does not matter
			}
			better, infeasible := m.multipliers(base, c, t.least(), false)
			if infeasible {
				return nil, t.stats(), nil
			}
			g.use(better)
		}
		spent := t.expanded
		t, err = g.search(ctx, k, most, hold)
		t.expanded += spent
		if err != nil {
			return nil, t.stats(), err
		}
	}
	if !t.done {
		return t.found, t.stats(), tooLarge(int64(hold))
	}
	return t.found, t.stats(), nil
}

func pad(w []float64) (a [maxAdditive]float64) {
	copy(a[:], w)
	return a
}

// shortlist returns the options that the k best chains need when only some criteria matter.
func (m *model) shortlist(matter []Criterion, k int) [][]option {
	l := m.layout(matter)
	kept := make([][]option, m.n)
	for i := range kept {
		kept[i] = m.worthwhile(i, l, k)
	}
	return kept
}

// A line is a score that is linear in the additive values and in the
// reflection at one end. What it leaves out of the whole score is the rest.
type line struct {
	add    [maxAdditive]float64
	end    float64 // weight of the left end's reflection or, mirrored, of the right end's
	mirror bool
	start  float64
	rest   Weights // weights of reflections that only extents bound
}

func (l *line) of(add *[maxAdditive]int64, end float64) float64 {
	s := l.start + l.end*end
	for c := range add {
		s += l.add[c] * float64(add[c])
	}
	return s
}

// layers hold options by slot and left state.
type layers struct {
	m  *model
	at [][][]option
}

func (m *model) layers(opts [][]option) *layers {
	l := &layers{m: m, at: make([][][]option, m.n)}
	for i := range l.at {
		l.at[i] = make([][]option, m.states)
		for _, o := range opts[i] {
			l.at[i][o.left] = append(l.at[i][o.left], o)
		}
	}
	return l
}

// A bounder knows for each boundary and state the least cost of completion.
type bounder struct {
	line
	hulls [][][]corner
}

// A corner of a lower convex hull, ascending in a, descending in r. For the left end
// a is the additive score of a suffix and r its reflection R, and a prefix of two-way factor T
// completes to a + wR·T·r. For the right end a has the suffix's own share of the right-end
// reflection in it, r is its two-way factor, and a prefix of right-end reflection X completes to
// a + wR·X·r. The corner comes from option opt (a position in layers.at) and corner next behind it.
type corner struct {
	a, r      float64
	opt, next int32
}

func (l *layers) bounder(w line) *bounder {
	m := l.m
	b := &bounder{line: w, hulls: make([][][]corner, m.n+1)}
	for i := range b.hulls {
		b.hulls[i] = make([][]corner, m.states)
	}
	for s := range m.states {
		if m.rightOK[s] {
			b.hulls[m.n][s] = []corner{{}}
			if w.mirror {
				b.hulls[m.n][s][0].r = 1
			}
		}
	}
	var points []corner
	for i := m.n - 1; i >= 0; i-- {
		for s := range m.states {
			points = points[:0]
			for x := range l.at[i][s] {
				o := &l.at[i][s][x]
				cost := 0.0
				for c := range m.k {
					cost += w.add[c] * float64(o.add[c])
				}
				for y, q := range b.hulls[i+1][o.right] {
					if w.mirror {
						points = append(points, corner{cost + q.a + w.end*o.h*q.r, o.t * q.r, int32(x), int32(y)})
					} else {
						points = append(points, corner{cost + q.a, o.g + o.t*q.r, int32(x), int32(y)})
					}
				}
			}
			b.hulls[i][s] = hull(points, w.end > 0)
		}
	}
	return b
}

// hull returns the lower left convex hull of the points, those that minimise
// a + μ·r for some μ >= 0; without reflection that is one point.
func hull(points []corner, reflection bool) []corner {
	if len(points) == 0 {
		return nil
	}
	order := func(a, b corner) int {
		return cmp.Or(cmp.Compare(a.a, b.a), cmp.Compare(a.r, b.r), cmp.Compare(a.opt, b.opt), cmp.Compare(a.next, b.next))
	}
	if !reflection {
		return []corner{slices.MinFunc(points, order)}
	}
	slices.SortFunc(points, order)
	var h []corner
	for _, p := range points {
		if len(h) > 0 && p.r >= h[len(h)-1].r {
			continue
		}
		for len(h) >= 2 {
			u, v := h[len(h)-2], h[len(h)-1]
			if (v.a-u.a)*(u.r-p.r) < (p.a-u.a)*(u.r-v.r) {
				break
			}
			h = h[:len(h)-1]
		}
		h = append(h, p)
	}
	return slices.Clone(h)
}

// least returns the corner that minimises a + μ·r.
func least(h []corner, mu float64) (int, float64) {
	lo, hi := 0, len(h)-1
	for lo < hi {
		mid := (lo + hi) / 2
		if h[mid].a+mu*h[mid].r <= h[mid+1].a+mu*h[mid+1].r {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo, h[lo].a + mu*h[lo].r
}

// A goal is what a best-first search minimises.
type goal struct {
	m        *model
	layers   *layers
	bounders []*bounder
	rough    func(p *prefix) float64 // a further bound, if not nil
	exact    func(v Values) float64  // score of a whole chain
}

// shorten leaves only the options that the k best chains need, when what matters is the
// score w and the limits.
func (g *goal) shorten(k int, w Weights, limits []Limit) {
	var matter []Criterion
	for c, x := range w.Add {
		if x > 0 {
			matter = append(matter, Criterion(c))
		}
	}
	if w.Left+w.Worse > 0 {
		matter = append(matter, LeftEnd)
	}
	if w.Right+w.Worse > 0 {
		matter = append(matter, RightEnd)
	}
	for _, l := range limits {
		matter = append(matter, l.Of)
	}
	g.layers = g.m.layers(g.m.shortlist(matter, k))
	for i, b := range g.bounders {
		g.bounders[i] = g.layers.bounder(b.line)
	}
}

// use adds the bound of a line.
func (g *goal) use(l line) { g.bounders = append(g.bounders, g.layers.bounder(l)) }

// A prefix is a chain up to some boundary.
type prefix struct {
	add     [maxAdditive]int64
	g, t, h float64 // left-end reflection is g + t·R; h is the prefix's right-end reflection
	parent  int32
	option  int32
	slot    int32 // boundary reached
	state   int32
}

// A trail is the outcome of a search.
type trail struct {
	found    []Ranked
	bound    float64 // nothing left out scores less
	done     bool
	expanded int
	held     int
	prefixes []prefix
}

func (t *trail) stats() Stats {
	return Stats{Tested: int64(t.expanded), Peak: t.held, Bound: t.bound}
}

// least returns the best score found, or +Inf.
func (t *trail) least() float64 {
	if len(t.found) == 0 {
		return math.Inf(1)
	}
	return t.found[0].Score
}

func (g *goal) bound(p *prefix) float64 {
	m := g.m
	lower := math.Inf(-1)
	suf := &m.b.suf[p.slot][p.state]
	left, right := p.g+p.t*suf.rmin, suf.hmin+suf.tmin*p.h
	for _, b := range g.bounders {
		h := b.hulls[p.slot][p.state]
		if len(h) == 0 {
			return math.Inf(1)
		}
		end, mu := p.g, p.t
		if b.mirror {
			end, mu = 0, p.h
		}
		_, rest := least(h, b.end*mu)
		x := b.of(&p.add, end) + rest - 1e-14*math.Abs(b.start) // large multipliers cancel, and leave their rounding
		if r := &b.rest; r.Left > 0 || r.Right > 0 || r.Worse > 0 {
			x += r.Left*left + r.Right*right + r.Worse*max(left, right)
		}
		lower = max(lower, x)
	}
	if g.rough != nil {
		lower = max(lower, g.rough(p))
	}
	return lower
}

// fits says whether the limits may hold behind p.
func (g *goal) fits(p *prefix) bool {
	m := g.m
	suf := &m.b.suf[p.slot][p.state]
	if !suf.ok {
		return false
	}
	for c := range m.k {
		if p.add[c]+suf.min[c] > m.limit[c] {
			return false
		}
	}
	return p.g+p.t*suf.rmin <= over(m.limitL) && suf.hmin+suf.tmin*p.h <= over(m.limitR)
}

type open struct {
	bound float64
	id    int32
	slot  int32
}

// search finds the k chains of least exact score. It gives up after it has
// opened most prefixes or when it holds more than hold.
func (g *goal) search(ctx context.Context, k, most, hold int) (*trail, error) {
	m := g.m
	t := &trail{bound: math.Inf(-1)}
	var queue []open
	before := func(a, b open) bool {
		if a.bound != b.bound {
			return a.bound < b.bound
		}
		if a.slot != b.slot {
			return a.slot > b.slot
		}
		return a.id < b.id
	}
	push := func(p prefix) {
		if !g.fits(&p) {
			return
		}
		b := g.bound(&p)
		if math.IsInf(b, 1) || len(t.found) == k && b >= t.found[k-1].Score {
			return
		}
		if int(p.slot) == m.n {
			t.complete(g, p, k)
			return
		}
		id := int32(len(t.prefixes))
		t.prefixes = append(t.prefixes, p)
		queue = append(queue, open{b, id, p.slot})
		i := len(queue) - 1
		for i > 0 && before(queue[i], queue[(i-1)/2]) {
			queue[i], queue[(i-1)/2] = queue[(i-1)/2], queue[i]
			i = (i - 1) / 2
		}
	}
	for s := range m.states {
		if m.leftOK[s] {
			push(prefix{t: 1, parent: -1, state: int32(s)})
		}
	}
	for len(queue) > 0 {
		top := queue[0]
		if len(t.found) == k && top.bound >= t.found[k-1].Score {
			break
		}
		t.bound = max(t.bound, top.bound)
		if t.expanded >= most || len(t.prefixes) > hold {
			t.held = len(t.prefixes)
			return t, nil
		}
		if t.expanded%64 == 0 {
			if err := ctx.Err(); err != nil {
				return t, err
			}
		}
		t.expanded++
		last := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		if len(queue) > 0 {
			i := 0
			for {
				c := 2*i + 1
				if c >= len(queue) {
					break
				}
				if c+1 < len(queue) && before(queue[c+1], queue[c]) {
					c++
				}
				if !before(queue[c], last) {
					break
				}
				queue[i] = queue[c]
				i = c
			}
			queue[i] = last
		}
		p := t.prefixes[top.id]
		opts := g.layers.at[p.slot][p.state]
		for x := range opts {
			o := &opts[x]
			q := prefix{add: p.add, g: p.g + p.t*o.g, t: p.t * o.t, h: o.h + o.t*p.h, parent: top.id, option: o.index, slot: p.slot + 1, state: o.right}
			for c := range m.k {
				q.add[c] += o.add[c]
			}
			push(q)
		}
	}
	t.done = true
	t.held = len(t.prefixes)
	if len(t.found) == k {
		t.bound = t.found[k-1].Score
	} else {
		t.bound = math.Inf(1)
	}
	return t, nil
}

// complete enters a whole chain among the k best.
func (t *trail) complete(g *goal, p prefix, k int) {
	choice := make([]int, g.m.n)
	choice[g.m.n-1] = int(p.option)
	for i, id := g.m.n-2, p.parent; i >= 0; i-- {
		choice[i] = int(t.prefixes[id].option)
		id = t.prefixes[id].parent
	}
	v := g.m.p.Values(choice)
	if !g.m.keeps(v) {
		return
	}
	r := Ranked{Chain{choice, v}, g.exact(v)}
	at, _ := slices.BinarySearchFunc(t.found, r, func(a, b Ranked) int {
		return cmp.Or(cmp.Compare(a.Score, b.Score), slices.Compare(a.Option, b.Option))
	})
	if at == k {
		return
	}
	t.found = slices.Insert(t.found, at, r)
	if len(t.found) > k {
		t.found = t.found[:k]
	}
}

// keeps says whether values keep the limits.
func (m *model) keeps(v Values) bool {
	for c, x := range v.Add {
		if x > m.limit[c] {
			return false
		}
	}
	return v.Left <= m.limitL && v.Right <= m.limitR
}

// A condition is a limit in the form of multipliers: (x - max)/size, the weight in the size.
type condition struct {
	of        Criterion // additive, or LeftEnd for the end that the line weighs
	max, size float64
}

func (c condition) atEnd() bool { return c.of < 0 }

// conditions are the limits that a line, mirrored or not, can take up. The worse end is never less than either end.
func conditions(limits []Limit, mirror bool) []condition {
	var cs []condition
	for _, l := range limits {
		if l.Of == LeftEnd && mirror || l.Of == RightEnd && !mirror {
			continue
		}
		cs = append(cs, condition{max(l.Of, LeftEnd), l.Max, size(l.Max) / l.weight()})
	}
	return cs
}

// size returns what an excess over a limit is measured by: the limit, or 1 for a limit of 0 or less.
func size(limit float64) float64 {
	if limit > 0 {
		return limit
	}
	return 1
}

// multipliers maximise, by subgradient steps, the bound that base plus λ times the
// conditions gives to the whole search: the Lagrangian dual. It returns the best line met; each of them is a bound.
// upper is a known score, +Inf if none. With unit, base is 0 and the multipliers stay at most 1, per size: what the limits weigh in Nearest.
func (m *model) multipliers(base line, cs []condition, upper float64, unit bool) (best line, infeasible bool) {
	if len(cs) == 0 {
		return base, false
	}
	end := LeftEnd
	if base.mirror {
		end = RightEnd
	}
	matter := []Criterion{end}
	for c, x := range base.add {
		if x > 0 || slices.ContainsFunc(cs, func(l condition) bool { return l.of == Criterion(c) }) {
			matter = append(matter, Criterion(c))
		}
	}
	l := m.layers(m.shortlist(matter, 1))

	// the largest score of any chain: a bound beyond it proves that no chain keeps the limits
	most := 0.0
	for s := range m.states {
		if e := &m.b.suf[0][s]; m.leftOK[s] && e.ok {
			r := e.rmax
			if base.mirror {
				r = e.hmax
			}
			most = max(most, base.of(&e.max, r))
		}
	}
	lambda := make([]float64, len(cs))
	if unit {
		for i := range lambda {
			lambda[i] = 0.5
		}
	}
	mix := func() line {
		w := base
		for i, c := range cs {
			u := lambda[i] / c.size
			if c.atEnd() {
				w.end += u
			} else {
				w.add[c.of] += u
			}
			w.start -= u * c.max
		}
		return w
	}
	bestBound := math.Inf(-1)
	best = base
	step := 1.0
	stale := 0
	for range 60 {
		w := mix()
		b := l.bounder(w)
		value, add, end, ok := b.argmin(l)
		if !ok {
			return base, true
		}
		if value > bestBound+1e-9*math.Abs(bestBound) {
			stale = 0
		} else if stale++; stale >= 4 {
			step /= 2
			stale = 0
		}
		if value > bestBound {
			bestBound, best = value, w
		}
		if !unit && value > most+1e-9*(most+math.Abs(w.start)) {
			return base, true
		}
		norm := 0.0
		excess := make([]float64, len(cs))
		for i, c := range cs {
			x := end
			if !c.atEnd() {
				x = float64(add[c.of])
			}
			excess[i] = (x - c.max) / c.size
			if excess[i] < 0 && lambda[i] == 0 {
				excess[i] = 0
			}
			norm += excess[i] * excess[i]
		}
		if norm == 0 {
			break
		}
		target := upper
		if math.IsInf(upper, 1) {
			target = value + 0.1*math.Abs(value) + 0.01*most
			if unit {
				target = max(0.01, value+0.1*math.Abs(value))
			}
		}
		for i := range lambda {
			lambda[i] = max(0, lambda[i]+step*max(target-value, 1e-12)/norm*excess[i])
			if unit {
				lambda[i] = min(1, lambda[i])
			}
		}
	}
	return best, false
}

// argmin returns the least score of b over all chains and the values of a chain that has it.
func (b *bounder) argmin(l *layers) (value float64, add [maxAdditive]int64, end float64, ok bool) {
	m := l.m
	value = math.Inf(1)
	mu := b.end // of an empty prefix: T = 1, X = 0
	if b.mirror {
		mu = 0
	}
	state, at := 0, 0
	for s := range m.states {
		if h := b.hulls[0][s]; m.leftOK[s] && len(h) > 0 {
			if x, v := least(h, mu); v+b.start < value {
				value, state, at, ok = v+b.start, s, x, true
			}
		}
	}
	if !ok {
		return value, add, end, false
	}
	end = b.hulls[0][state][at].r
	x := 0.0
	for i := range m.n {
		c := b.hulls[i][state][at]
		o := &l.at[i][state][c.opt]
		for k := range m.k {
			add[k] += o.add[k]
		}
		x = o.h + o.t*x
		state, at = int(o.right), int(c.next)
	}
	if b.mirror {
		end = x
	}
	return value, add, end, true
}
