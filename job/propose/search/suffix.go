package search

import (
	"context"
	"math"
	"slices"
	"sync/atomic"
)

// bucket is the number of suffixes in a leaf of their tree.
const bucket = 16

// suffixes are the front of one state at one boundary, in the order of a tree of boxes.
type suffixes struct {
	n      int
	values []int64 // stride numbers for each suffix
	option []int32 // index into Slots[i].Options
	next   []int32 // suffix behind it, in the front at the option's right state
	nodes  []suffixNode
	corner []int64 // lower corner of each node
}

type suffixNode struct {
	left, right int32 // children; left 0: a leaf
	from, to    int32 // suffixes of a leaf
}

// grow orders the suffixes and builds the tree.
func (f *suffixes) grow(l *layout, scale *scales) {
	order := make([]int32, f.n)
	for i := range order {
		order[i] = int32(i)
	}
	st := l.stride
	f.nodes, f.corner = nil, nil
	var build func(from, to int) int32
	build = func(from, to int) int32 {
		id := int32(len(f.nodes))
		f.nodes = append(f.nodes, suffixNode{})
		var lo, hi vector
		for d := range st {
			lo[d] = math.MaxInt64
		}
		for _, x := range order[from:to] {
			for d, v := range f.values[int(x)*st : (int(x)+1)*st] {
				lo[d], hi[d] = min(lo[d], v), max(hi[d], v)
			}
		}
		f.corner = append(f.corner, lo[:st]...)
		if to-from <= bucket {
			f.nodes[id] = suffixNode{from: int32(from), to: int32(to)}
			return id
		}
		dim, wide := 0, -1.0
		for d := range l.used {
			if w := scale.of(d, hi[d]) - scale.of(d, lo[d]); w > wide {
				dim, wide = d, w
			}
		}
		slices.SortFunc(order[from:to], func(a, b int32) int {
			va, vb := f.values[int(a)*st+dim], f.values[int(b)*st+dim]
			switch {
			case va < vb:
				return -1
			case va > vb:
				return 1
			}
			return int(a) - int(b)
		})
		mid := (from + to) / 2
		left := build(from, mid)
		right := build(mid, to)
		f.nodes[id].left, f.nodes[id].right = left, right
		return id
	}
	build(0, f.n)
	values, option, next := make([]int64, 0, len(f.values)), make([]int32, f.n), make([]int32, f.n)
	for i, x := range order {
		values = append(values, f.values[int(x)*st:(int(x)+1)*st]...)
		option[i], next[i] = f.option[x], f.next[x]
	}
	f.values, f.option, f.next = values, option, next
}

// budget counts the partial chains of all jobs.
type budget struct {
	max       int64
	now, peak atomic.Int64
}

func (b *budget) take(n int) bool {
	now := b.now.Add(int64(n))
	for {
		p := b.peak.Load()
		if now <= p || b.peak.CompareAndSwap(p, now) {
			return now <= b.max
		}
	}
}

// A job crosses the options at one state with the suffixes behind them.
type job struct {
	l      *layout
	final  bool // the chains are whole: compare objectives, not what a prefix might need
	wary   bool // the reflections will be summed again in another order: dominate only with a margin in all of them
	opts   []move
	scale  scales
	budget *budget

	heap   []item
	seen   *archive
	exact  *archive // with the right end: a second archive, on h and t themselves
	out    *suffixes
	tested int64
	err    error
	tick   func(share float64) // of the job done, an estimate
}

// A move is an option in the job's terms.
type move struct {
	add     vector // of the additive positions
	g, h, t float64
	more    []reflector // when a whole prefix moves: the options left of the one above, nearest first
	index   int32       // of the option in its slot, or of the prefix in its list
	behind  *suffixes
	cap     vector     // limits of the numbers carried
	hcap    float64    // limit of the right end
	x       [2]float64 // bounds of the right-end reflection of the prefixes before the option
	witness [2]vector  // the points that last dominated one of this option's candidates
}

// A reflector is an option as far as reflections go.
type reflector struct{ g, h, t float64 }

// An item of the heap is a box of suffixes (node >= 0) or one suffix (^node) behind an option.
type item struct {
	key        float64
	move, node int32
	since      int32 // points of the archives that the item has been tested against
}

func newJob(l *layout, b *budget) *job {
	return &job{l: l, budget: b, out: &suffixes{}, tick: func(float64) {}}
}

// newMove returns a move at boundary slot, without what is in front of the suffixes. Limits hold
// for the cheapest prefix at state s.
func (m *model) newMove(slot int, s int32, behind *suffixes, l *layout) move {
	pre := &m.b.pre[slot][s]
	mv := move{behind: behind, x: [2]float64{pre.hmin, pre.hmax}}
	for d := range mv.cap {
		mv.cap[d] = math.MaxInt64
	}
	for d, c := range l.add {
		if m.limit[c] < math.MaxInt64 {
			mv.cap[d] = m.limit[c] - pre.min[c]
		}
	}
	capL := m.b.capL[slot][s]
	mv.hcap = over(m.limitR)
	if slot == 0 {
		capL, mv.hcap = m.limitL, m.limitR
	}
	if l.r >= 0 && !math.IsInf(capL, 1) {
		mv.cap[l.r] = bits(max(capL, 0))
	}
	for d := range mv.witness {
		for e := range mv.witness[d] {
			mv.witness[d][e] = math.MaxInt64
		}
	}
	return mv
}

// cross returns the job that crosses options of a slot with the fronts behind it.
func (m *model) cross(slot int, opts []option, behind []*suffixes, l *layout, b *budget) *job {
	j := newJob(l, b)
	for x := range opts {
		o := &opts[x]
		if behind[o.right] == nil {
			continue
		}
		mv := m.newMove(slot, o.left, behind[o.right], l)
		mv.g, mv.h, mv.t, mv.index = o.g, o.h, o.t, o.index
		for d, c := range l.add {
			mv.add[d] = o.add[c]
		}
		j.opts = append(j.opts, mv)
	}
	j.final = slot == 0
	j.rescale(m, slot)
	return j
}

// rescale sets the scales from what suffixes at a boundary may cost.
func (j *job) rescale(m *model, slot int) {
	l := j.l
	var all extent
	for s := range m.states {
		here := &m.b.suf[slot][s]
		switch {
		case !here.ok:
			continue
		case !all.ok:
			all = *here
			continue
		}
		for c := range m.k {
			all.min[c], all.max[c] = min(all.min[c], here.min[c]), max(all.max[c], here.max[c])
		}
		all.rmin, all.rmax = min(all.rmin, here.rmin), max(all.rmax, here.rmax)
		all.hmin, all.hmax = min(all.hmin, here.hmin), max(all.hmax, here.hmax)
	}
	set := func(d int, width float64, reflection bool) {
		j.scale.factor[d], j.scale.reflection[d] = 1, reflection
		if width > 0 && finite(width) {
			j.scale.factor[d] = 1 / width
		}
	}
	if j.final {
		for d, c := range l.objectives {
			if c >= 0 {
				set(d, float64(all.max[c]-all.min[c]), false)
			} else {
				set(d, max(all.rmax-all.rmin, all.hmax-all.hmin), true)
			}
		}
		return
	}
	for d, c := range l.add {
		set(d, float64(all.max[c]-all.min[c]), false)
	}
	if l.r >= 0 {
		set(l.r, all.rmax-all.rmin, true)
	}
	if l.h >= 0 {
		set(l.h, all.hmax-all.hmin, true)
		set(l.h+1, all.hmax-all.hmin, true)
	}
}

// used returns how many numbers of the compared vectors count.
func (j *job) used() int {
	if j.final {
		return len(j.l.objectives)
	}
	return j.l.used
}

// carry returns the numbers of a suffix, or of a corner of suffixes, with move m in front.
func (j *job) carry(m *move, from []int64) (v vector) {
	l := j.l
	for d := range l.add {
		v[d] = from[d] + m.add[d]
	}
	if l.r >= 0 {
		v[l.r] = bits(m.g + float64(m.t*number(from[l.r])))
	}
	if l.h >= 0 {
		h, t := number(from[l.h]), number(from[l.h+1])
		v[l.h] = bits(h + float64(t*m.h))
		v[l.h+1] = bits(t * m.t)
	}
	if len(m.more) > 0 {
		j.carryOn(m, &v)
	}
	return v
}

// carryOn puts the rest of a prefix in front, option by option, so that the sums
// are the same bits as those of [Problem.Values].
func (j *job) carryOn(m *move, v *vector) {
	l := j.l
	for _, o := range m.more {
		if l.r >= 0 {
			v[l.r] = bits(o.g + float64(o.t*number(v[l.r])))
		}
		if l.h >= 0 {
			h, t := number(v[l.h]), number(v[l.h+1])
			v[l.h] = bits(h + float64(t*o.h))
			v[l.h+1] = bits(t * o.t)
		}
	}
}

// keeps says whether the limits may hold for numbers v.
func (j *job) keeps(m *move, v *vector) bool {
	l := j.l
	for d := range l.used {
		if v[d] > m.cap[d] {
			return false
		}
	}
	if l.h >= 0 {
		x := m.x[0]
		if j.final {
			x = 0
		}
		return number(v[l.h])+float64(number(v[l.h+1])*x) <= m.hcap
	}
	return true
}

// compared returns the vector in which candidates are compared and ordered. In
// the middle of a chain with the right end in view it holds, in place of h and t, the
// right-end reflections h + t·x at the two bounds of x.
func (j *job) compared(m *move, v *vector) vector {
	l := j.l
	if j.final {
		var q vector
		for d, c := range l.objectives {
			switch c {
			case LeftEnd:
				q[d] = v[l.r]
			case RightEnd:
				q[d] = v[l.h]
			case WorseEnd:
				q[d] = max(v[l.r], v[l.h])
			default:
				q[d] = v[slices.Index(l.add, int(c))]
			}
		}
		return q
	}
	q := *v
	if l.h >= 0 {
		h, t := number(v[l.h]), number(v[l.h+1])
		q[l.h] = bits(h + float64(t*m.x[0]))
		q[l.h+1] = bits(h + float64(t*m.x[1]))
	}
	return q
}

// dominated says whether a suffix kept after number since is no worse than v, compared as q.
func (j *job) dominated(m *move, v, q *vector, since int32) bool {
	j.tested++
	if j.seen.stride == 4 {
		if within4((*[4]int64)(m.witness[0][:4]), (*[4]int64)(q[:4])) {
			return true
		}
	} else if within8((*[8]int64)(&m.witness[0]), (*[8]int64)(q)) {
		return true
	}
	if j.seen.dominates(q, since, &m.witness[0]) {
		return true
	}
	if j.exact == nil {
		return false
	}
	return j.exact.dominates(v, since, &m.witness[1])
}

// run fills j.out; an empty front is nil.
func (j *job) run(ctx context.Context) {
	l := j.l
	j.seen = newArchive(strideOf(j.used()), j.used(), &j.scale)
	if l.h >= 0 && !j.final && !j.wary {
		j.exact = newArchive(strideOf(j.used()), j.used(), &j.scale)
	}
	held := 0
	defer func() {
		kept := 0
		if j.out != nil {
			kept = j.out.n
		}
		j.budget.take(kept - held)
	}()
	hold := func() bool {
		n := len(j.heap) + len(j.out.option)
		ok := j.budget.take(n - held)
		held = n
		return ok
	}
	for x := range j.opts {
		j.try(int32(x), 0, false)
	}
	// nobody knows how many pops are to come; a few for each suffix behind is usual
	expect := 1.0
	for x := range j.opts {
		expect = max(expect, 4*float64(j.opts[x].behind.n))
	}
	for pops := 0; len(j.heap) > 0; pops++ {
		if pops%1024 == 0 {
			if j.err = ctx.Err(); j.err != nil {
				return
			}
			if !hold() {
				j.err = tooLarge(j.budget.max)
				return
			}
			j.tick(float64(pops) / (float64(pops) + expect))
		}
		it := j.pop()
		m := &j.opts[it.move]
		f := m.behind
		if it.node < 0 {
			x := int(^it.node)
			v := j.carry(m, f.values[x*l.stride:])
			q := j.compared(m, &v)
			if j.dominated(m, &v, &q, it.since) {
				continue
			}
			j.out.values = append(j.out.values, v[:l.stride]...)
			j.out.option = append(j.out.option, m.index)
			j.out.next = append(j.out.next, int32(x))
			if j.exact != nil {
				j.exact.add(&v)
			}
			if l.h >= 0 && !j.final {
				// dominate only with a margin for rounding
				q[l.h] = bits(number(q[l.h]) + slack)
				q[l.h+1] = bits(number(q[l.h+1]) + slack)
			}
			if l.r >= 0 && j.wary {
				q[l.r] = bits(number(q[l.r]) + slack)
			}
			j.seen.add(&q)
			continue
		}
		n := &f.nodes[it.node]
		v := j.carry(m, f.corner[int(it.node)*l.stride:])
		q := j.compared(m, &v)
		if j.dominated(m, &v, &q, it.since) {
			continue
		}
		if n.left != 0 {
			j.try(it.move, n.left, true)
			j.try(it.move, n.right, true)
			continue
		}
		for x := n.from; x < n.to; x++ {
			j.try(it.move, ^x, true)
		}
	}
	j.heap, j.seen, j.exact, j.opts = nil, nil, nil, nil
	j.out.n = len(j.out.option)
	switch {
	case j.out.n == 0:
		j.out = nil
	case !j.final:
		j.out.grow(l, &j.scale)
	}
}

// try puts a box or suffix behind a move onto the heap unless a limit or a kept suffix rules it out.
func (j *job) try(move, node int32, test bool) {
	m := &j.opts[move]
	st := j.l.stride
	var v vector
	if node < 0 {
		v = j.carry(m, m.behind.values[int(^node)*st:])
	} else {
		v = j.carry(m, m.behind.corner[int(node)*st:])
	}
	if !j.keeps(m, &v) {
		return
	}
	q := j.compared(m, &v)
	if test && j.dominated(m, &v, &q, 0) {
		return
	}
	j.push(item{key: j.scale.sum(&q, j.used()), move: move, node: node, since: j.seen.n})
}

// before orders the heap: what may dominate comes before what it dominates. A box comes before a suffix
// of the same numbers, since it may hold what dominates or equals that suffix; equal suffixes come in the order of the options.
func (j *job) before(a, b item) bool {
	if a.key != b.key {
		return a.key < b.key
	}
	va, vb := j.vectorOf(a), j.vectorOf(b)
	for d := range va {
		if va[d] != vb[d] {
			return va[d] < vb[d]
		}
	}
	if (a.node < 0) != (b.node < 0) {
		return a.node >= 0
	}
	if a.move != b.move {
		return a.move < b.move
	}
	return a.node < b.node
}

func (j *job) vectorOf(it item) vector {
	m := &j.opts[it.move]
	st := j.l.stride
	var v vector
	if it.node < 0 {
		v = j.carry(m, m.behind.values[int(^it.node)*st:])
	} else {
		v = j.carry(m, m.behind.corner[int(it.node)*st:])
	}
	return j.compared(m, &v)
}

func (j *job) push(it item) {
	h := append(j.heap, it)
	i := len(h) - 1
	for i > 0 {
		up := (i - 1) / 4
		if !j.before(it, h[up]) {
			break
		}
		h[i] = h[up]
		i = up
	}
	h[i] = it
	j.heap = h
}

func (j *job) pop() item {
	h := j.heap
	top := h[0]
	it := h[len(h)-1]
	h = h[:len(h)-1]
	j.heap = h
	if len(h) == 0 {
		return top
	}
	i := 0
	for {
		c := 4*i + 1
		if c >= len(h) {
			break
		}
		best := c
		for d := c + 1; d < min(c+4, len(h)); d++ {
			if j.before(h[d], h[best]) {
				best = d
			}
		}
		if !j.before(h[best], it) {
			break
		}
		h[i] = h[best]
		i = best
	}
	h[i] = it
	return top
}
