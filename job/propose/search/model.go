package search

import (
	"fmt"
	"math"
)

// maxAdditive is the largest number of additive criteria; with the three
// numbers that carry the two reflections they fill a vector of eight.
const maxAdditive = 5

// wide is the length of the vectors in which values are compared.
const wide = 8

// slack covers the rounding of reflections in tests whose result must never
// drop a chain wrongly: a chain of ten parts rounds to some 1e-15.
const slack = 1e-12

// option is an Option in the form the loops read.
type option struct {
	index       int32
	left, right int32
	add         [maxAdditive]int64
	g, h, t     float64
}

// model is a problem checked and completed by bounds. Boundary i is to the
// left of slot i; boundary n is the right end of the chain.
type model struct {
	p               *Problem
	n, k            int // slots, additive criteria
	states          int
	opts            [][]option // options that stand on some chain, by slot
	leftOK, rightOK []bool     // states allowed at the ends
	total           int        // options of the problem
	compatible      float64

	limit  [maxAdditive]int64 // math.MaxInt64: none
	limitL float64            // +Inf: none
	limitR float64

	b bounds
}

// bounds hold, for each boundary and state, what the cheapest and dearest
// prefixes and suffixes cost, each criterion by itself.
type bounds struct {
	pre, suf [][]extent
	capL     [][]float64 // largest suffix R that some prefix brings below the limit of the left end
}

// extent bounds the values of the prefixes, or the suffixes, at one state.
type extent struct {
	ok       bool
	min, max [maxAdditive]int64
	// of a suffix: r its left-end reflection, h its right-end reflection;
	// of a prefix: h its right-end reflection.
	rmin, rmax float64
	hmin, hmax float64
	tmin, tmax float64
}

func finite(x float64) bool { return x-x == 0 }

// newModel checks p and prepares it. It drops options that stand on no chain.
func newModel(p *Problem) (*model, error) {
	bad := func(slot, opt int, format string, args ...any) error {
		e := &ProblemError{Slot: slot, Option: opt, Reason: fmt.Sprintf(format, args...)}
		if slot >= 0 {
			e.Name = p.Slots[slot].Name
		}
		return e
	}
	m := &model{p: p, n: len(p.Slots), k: len(p.Criteria), limitL: math.Inf(1), limitR: math.Inf(1)}
	if m.n == 0 {
		return nil, bad(-1, -1, "no slots; a chain has at least one")
	}
	if m.k > maxAdditive {
		return nil, bad(-1, -1, "%d additive criteria; at most %d can be searched, add some of them up", m.k, maxAdditive)
	}
	var largest [maxAdditive]float64
	for i, s := range p.Slots {
		m.total += len(s.Options)
		var top [maxAdditive]int64
		for j := range s.Options {
			o := &s.Options[j]
			switch {
			case len(o.Cost) != m.k:
				return nil, bad(i, j, "%d costs; the problem has %d additive criteria", len(o.Cost), m.k)
			case o.Left < 0 || o.Right < 0 || o.Left > 1<<16 || o.Right > 1<<16:
				return nil, bad(i, j, "states %d and %d; number them from 0, densely", o.Left, o.Right)
			case !(o.Gamma >= 0 && o.GammaRight >= 0 && finite(o.Gamma) && finite(o.GammaRight)):
				return nil, bad(i, j, "reflections %g and %g; they are magnitudes, 0 or more", o.Gamma, o.GammaRight)
			case !(o.TwoWay > 0 && o.TwoWay <= 1):
				return nil, bad(i, j, "two-way factor %g; it is more than 0 and at most 1, and 1 for a lossless option", o.TwoWay)
			}
			for c, x := range o.Cost {
				if x < 0 {
					return nil, bad(i, j, "%s %d; additive criteria are 0 or more", p.Criteria[c], x)
				}
				top[c] = max(top[c], x)
			}
			m.states = max(m.states, int(o.Left)+1, int(o.Right)+1)
		}
		for c := range m.k {
			largest[c] += float64(top[c])
		}
	}
	for c := range m.k {
		if largest[c] >= 1<<53 {
			return nil, bad(-1, -1, "%s of a chain may reach %.3g units; sums stay exact below 2^53, use a larger unit", p.Criteria[c], largest[c])
		}
	}
	ends := func(list []State) ([]bool, error) {
		ok := make([]bool, m.states)
		if len(list) == 0 {
			for i := range ok {
				ok[i] = true
			}
		}
		for _, s := range list {
			if s < 0 {
				return nil, bad(-1, -1, "state %d at an end; states are numbered from 0", s)
			}
			if int(s) < m.states {
				ok[s] = true
			}
		}
		return ok, nil
	}
	var err error
	if m.leftOK, err = ends(p.LeftEnds); err != nil {
		return nil, err
	}
	if m.rightOK, err = ends(p.RightEnds); err != nil {
		return nil, err
	}

	for c := range m.limit {
		m.limit[c] = math.MaxInt64
	}
	for _, l := range p.Limits {
		if err := m.check(l.Of); err != nil {
			return nil, err
		}
		if math.IsNaN(l.Max) {
			return nil, bad(-1, -1, "limit of %s is not a number", m.name(l.Of))
		}
		if !(l.Weight >= 0) || !finite(l.Weight) {
			return nil, bad(-1, -1, "weight %g of the limit of %s; it is above 0, or 0 for 1", l.Weight, m.name(l.Of))
		}
		m.tighten(l)
	}

	m.opts = make([][]option, m.n)
	for i, s := range p.Slots {
		m.opts[i] = make([]option, len(s.Options))
		for j := range s.Options {
			o := &s.Options[j]
			q := option{index: int32(j), left: int32(o.Left), right: int32(o.Right), g: o.Gamma, h: o.GammaRight, t: o.TwoWay}
			copy(q.add[:], o.Cost)
			m.opts[i][j] = q
		}
	}
	m.count()
	m.restrict()
	return m, nil
}

// check says whether c is a criterion of the problem.
func (m *model) check(c Criterion) error {
	if c < WorseEnd || int(c) >= m.k {
		return &ProblemError{Slot: -1, Option: -1, Reason: fmt.Sprintf("criterion %d; the problem has 0 to %d and LeftEnd, RightEnd, WorseEnd", c, m.k-1)}
	}
	return nil
}

func (m *model) name(c Criterion) string {
	switch c {
	case LeftEnd:
		return "reflection at the left end"
	case RightEnd:
		return "reflection at the right end"
	case WorseEnd:
		return "reflection at the worse end"
	}
	return m.p.Criteria[c]
}

func (m *model) tighten(l Limit) {
	switch l.Of {
	case LeftEnd:
		m.limitL = min(m.limitL, l.Max)
	case RightEnd:
		m.limitR = min(m.limitR, l.Max)
	case WorseEnd:
		m.limitL = min(m.limitL, l.Max)
		m.limitR = min(m.limitR, l.Max)
	default:
		switch {
		case l.Max < 0:
			m.limit[l.Of] = -1
		case l.Max < 1<<53:
			m.limit[l.Of] = min(m.limit[l.Of], int64(math.Floor(l.Max)))
		}
	}
}

// under returns the model of the same problem under other limits of its own criteria.
func (m *model) under(limits []Limit) *model {
	q := *m.p
	q.Limits = limits
	r, err := newModel(&q)
	if err != nil { // the problem has been checked, and limits are some of its own
		panic("search: " + err.Error())
	}
	return r
}

// count sets the number of chains whose neighbours agree.
func (m *model) count() {
	here := make([]float64, m.states)
	for s := range here {
		if m.rightOK[s] {
			here[s] = 1
		}
	}
	for i := m.n - 1; i >= 0; i-- {
		next := make([]float64, m.states)
		for j := range m.opts[i] {
			o := &m.opts[i][j]
			next[o.left] += here[o.right]
		}
		here = next
	}
	m.compatible = 0
	for s, x := range here {
		if m.leftOK[s] {
			m.compatible += x
		}
	}
}

// restrict drops the options that stand on no chain within the limits, as far
// as bounds criterion by criterion show it, until nothing more drops.
func (m *model) restrict() {
	for {
		m.bound()
		dropped := false
		for i := range m.opts {
			kept := m.opts[i][:0:0]
			for j := range m.opts[i] {
				if o := &m.opts[i][j]; m.fits(i, o) {
					kept = append(kept, *o)
				}
			}
			dropped = dropped || len(kept) < len(m.opts[i])
			m.opts[i] = kept
		}
		if !dropped {
			return
		}
	}
}

// fits says whether option o of slot i may stand on a chain within the limits.
func (m *model) fits(i int, o *option) bool {
	pre, suf := &m.b.pre[i][o.left], &m.b.suf[i+1][o.right]
	if !pre.ok || !suf.ok {
		return false
	}
	for c := range m.k {
		if pre.min[c]+o.add[c]+suf.min[c] > m.limit[c] {
			return false
		}
	}
	if o.g+float64(o.t*suf.rmin) > m.b.capL[i][o.left] {
		return false
	}
	return !(suf.hmin+float64(suf.tmin*(o.h+float64(o.t*pre.hmin))) > over(m.limitR))
}

// over returns a limit with room for rounding.
func over(limit float64) float64 { return limit + slack*math.Abs(limit) + 1e-300 }

// bound computes m.b from m.opts.
func (m *model) bound() {
	empty := func() extent {
		e := extent{rmin: math.Inf(1), hmin: math.Inf(1), tmin: math.Inf(1), rmax: math.Inf(-1), hmax: math.Inf(-1), tmax: math.Inf(-1)}
		for c := range e.min {
			e.min[c], e.max[c] = math.MaxInt64, math.MinInt64
		}
		return e
	}
	start := extent{ok: true, tmin: 1, tmax: 1}
	grid := func() [][]extent {
		g := make([][]extent, m.n+1)
		for i := range g {
			g[i] = make([]extent, m.states)
			for s := range g[i] {
				g[i][s] = empty()
			}
		}
		return g
	}
	m.b.pre, m.b.suf = grid(), grid()
	m.b.capL = make([][]float64, m.n+1)
	for i := range m.b.capL {
		m.b.capL[i] = make([]float64, m.states)
		for s := range m.b.capL[i] {
			m.b.capL[i][s] = math.Inf(-1)
		}
	}
	for s := range m.states {
		if m.leftOK[s] {
			m.b.pre[0][s] = start
			m.b.capL[0][s] = over(m.limitL)
		}
		if m.rightOK[s] {
			m.b.suf[m.n][s] = start
		}
	}
	for i := range m.n {
		for j := range m.opts[i] {
			o := &m.opts[i][j]
			from, to := &m.b.pre[i][o.left], &m.b.pre[i+1][o.right]
			if !from.ok {
				continue
			}
			to.ok = true
			for c := range m.k {
				to.min[c] = min(to.min[c], from.min[c]+o.add[c])
				to.max[c] = max(to.max[c], from.max[c]+o.add[c])
			}
			to.hmin = min(to.hmin, o.h+float64(o.t*from.hmin))
			to.hmax = max(to.hmax, o.h+float64(o.t*from.hmax))
			to.tmin = min(to.tmin, o.t*from.tmin)
			to.tmax = max(to.tmax, o.t*from.tmax)
			to.rmin, to.rmax = 0, 0
			if c := m.b.capL[i][o.left]; c >= o.g {
				m.b.capL[i+1][o.right] = max(m.b.capL[i+1][o.right], over((c-o.g)/o.t))
			}
		}
	}
	for i := m.n - 1; i >= 0; i-- {
		for j := range m.opts[i] {
			o := &m.opts[i][j]
			from, to := &m.b.suf[i+1][o.right], &m.b.suf[i][o.left]
			if !from.ok {
				continue
			}
			to.ok = true
			for c := range m.k {
				to.min[c] = min(to.min[c], from.min[c]+o.add[c])
				to.max[c] = max(to.max[c], from.max[c]+o.add[c])
			}
			to.rmin = min(to.rmin, o.g+float64(o.t*from.rmin))
			to.rmax = max(to.rmax, o.g+float64(o.t*from.rmax))
			to.hmin = min(to.hmin, from.hmin+float64(from.tmin*o.h))
			to.hmax = max(to.hmax, from.hmax+float64(from.tmax*o.h))
			to.tmin = min(to.tmin, from.tmin*o.t)
			to.tmax = max(to.tmax, from.tmax*o.t)
		}
	}
}

// Values returns the criteria of the chain that takes option choice[i] from
// slot i. It does not ask whether neighbours agree. The reflections are summed
// from the right to the left, product by product, so that equal chains give equal bits.
func (p Problem) Values(choice []int) Values {
	v := Values{Add: make([]int64, len(p.Criteria))}
	t := 1.0
	for i := len(choice) - 1; i >= 0; i-- {
		o := &p.Slots[i].Options[choice[i]]
		for c, x := range o.Cost {
			v.Add[c] += x
		}
		v.Left = o.Gamma + float64(o.TwoWay*v.Left)
		v.Right += float64(t * o.GammaRight)
		t *= o.TwoWay
	}
	return v
}
