// Package search finds the best chains through layers of options, exactly and
// without enumerating them. It knows nothing of connectors: a problem is a row of slots, a slot is a
// list of options, an option joins an interface state on its left to one on
// its right, and neighbours must agree on the state between them.
//
// A chain is judged by additive criteria (loss, price, mass ..., integers, so
// that ties are ties) and by the worst reflection at its two ends, which is
// the sum of all reflections, each attenuated by the two-way loss before it:
//
//	R = g1 + t1·(g2 + t2·(g3 + ...))        t = 10^(-loss/10), loss in dB
//
// seen from the left, and its mirror image seen from the right. Smaller is
// better in every criterion.
//
// # Why it is exact
//
// Putting an option in front of a suffix maps the suffix's values by
// x → x + cost and R → g + t·R. Both maps are monotone, in real numbers and
// in rounded floating point alike. So among suffixes that show the same state,
// one that is nowhere better than another can be dropped, whatever will stand
// in front (dynamic programming, right to left). The same is not true of
// prefixes: more loss in a prefix hides what comes behind it.
//
// The right end is the mirror image, and a suffix of more loss hides what
// comes in front of it. A suffix contributes r + T·X to the right-end reflection, T
// its two-way factor and X the right-end reflection of the prefix. That is
// linear in X, and X lies between two bounds that are known beforehand for each
// state. A suffix may be dropped when another is no worse at both bounds (with a
// margin of 1e-12 for rounding), or no worse in both r and T. Both ends are therefore
// exact, and so is the worse of them; asking for the right end costs two more dimensions and several times the time.
//
// [Pareto] gives all chains that no other chain beats, [Best] the k chains of
// least weighted sum, [Nearest] the chains that come closest when no chain
// keeps the limits. The results do not depend on the number of processors.
package search

import (
	"errors"
	"fmt"
)

// A State is an interface: whatever two neighbouring options must agree on
// (series, gender, cable group ...), numbered by the caller from 0. The search makes
// tables over the states, so they should be small and dense.
type State int

// An Option is one choice for a slot. A slot that may stay empty holds, for
// each state, an option that joins the state to itself, with zero cost,
// Gamma = GammaRight = 0 and TwoWay = 1: see [Skip].
type Option struct {
	Left, Right State
	Cost        []int64 // one per additive criterion, each >= 0, in the caller's smallest units
	Gamma       float64 // own worst |S11|, seen from the left, >= 0
	GammaRight  float64 // own worst |S22|, seen from the right, >= 0; used only if the right end is asked for
	TwoWay      float64 // two-way voltage factor 10^(-loss/10), loss in dB; 0 < TwoWay <= 1
}

// Skip returns the option that leaves a slot empty at state s of a problem
// with n additive criteria.
func Skip(s State, n int) Option {
	return Option{Left: s, Right: s, Cost: make([]int64, n), TwoWay: 1}
}

// A Slot is one place in the chain.
type Slot struct {
	Name    string // for messages
	Options []Option
}

// A Criterion names one of the values of a chain: 0, 1, 2 ... are the additive
// criteria in the order of Option.Cost, and there are three reflections.
type Criterion int

// The worst-case reflections of a chain.
const (
	LeftEnd  Criterion = -1 // seen from the left end
	RightEnd Criterion = -2 // seen from the right end
	WorseEnd Criterion = -3 // the larger of the two
)

// A Limit is a hard upper limit, itself allowed: value <= Max. Of an additive
// criterion the limit is in the caller's units and is rounded down.
type Limit struct {
	Of     Criterion
	Max    float64
	Weight float64 // what a relative excess counts in Nearest; 0: 1
}

func (l Limit) weight() float64 {
	if l.Weight == 0 {
		return 1
	}
	return l.Weight
}

// A Problem is what to search. The functions of this package do not alter it.
type Problem struct {
	Criteria  []string // names of the additive criteria; their number is the length of Option.Cost
	Slots     []Slot   // from left to right
	LeftEnds  []State  // states the chain may show at its left end; none: any
	RightEnds []State  // states the chain may show at its right end; none: any
	Limits    []Limit  // hard limits; several on one criterion: the lowest counts
}

// Values are the criteria of one chain.
type Values struct {
	Add   []int64 // sums of Option.Cost
	Left  float64 // worst reflection at the left end
	Right float64 // worst reflection at the right end
}

// Of returns one criterion.
func (v Values) Of(c Criterion) float64 {
	switch c {
	case LeftEnd:
		return v.Left
	case RightEnd:
		return v.Right
	case WorseEnd:
		return max(v.Left, v.Right)
	}
	return float64(v.Add[c])
}

// A Chain is one option from each slot.
type Chain struct {
	Option []int // index into Slots[i].Options
	Values Values
}

// Settings steer a search. The zero value weighs all additive criteria and the
// left end's reflection. Objectives, MaxFront, Resolution and Workers concern [Pareto]; [Best] and [Nearest]
// use the rest.
type Settings struct {
	// Objectives are the criteria a Pareto search weighs. None: all additive
	// criteria and LeftEnd. Limits hold whether or not their criterion is an objective.
	Objectives []Criterion

	// MaxFront is the number of points up to which the front is returned
	// whole; a larger one is covered at the stated Resolution. 0: 5000.
	// Negative: always whole.
	MaxFront int

	// Resolution of the cover, one entry per objective. An objective without an entry has ratio 1.05.
	Resolution []Resolution

	// MaxWork bounds memory: the number of partial chains a search may hold.
	// 0: 20 million (some 2 GB in the worst case). Beyond it the search
	// ends with an error that wraps ErrTooLarge.
	MaxWork int

	// Workers is the number of goroutines. 0: as many as processors. The result does not depend on it.
	Workers int

	// Progress, if not nil, is called now and then with a fraction that
	// rises from 0 to 1, never from two goroutines at once. The fraction of work
	// still to come is a guess. Best reports its beginning and its end only.
	Progress func(fraction float64)
}

// A Resolution is the size of a cover's boxes along one criterion: a Step in
// the criterion's unit or a Ratio between neighbouring box edges (1.03: 3 %;
// 10^(0.5/20): 0.5 dB of return loss). Exactly one of them is set.
type Resolution struct {
	Of    Criterion
	Step  float64
	Ratio float64 // > 1
}

// A Front is the Pareto-optimal set, or an exact cover of it.
type Front struct {
	// Chains of the front, in ascending order of the objectives, the first
	// objective leading. One chain stands for all with equal objectives.
	Chains []Chain

	// Size is the number of points in the front: distinct vectors of objectives that
	// no chain within the limits beats or equals in all objectives at once.
	Size int

	// Covered says that the front was larger than MaxFront. Chains then
	// holds one point of the front for each box of the Resolution that holds any:
	// every point of the front shares a box with one of them.
	Covered    bool
	Resolution []Resolution // of the cover

	Compatible float64 // number of chains whose neighbours agree, limits apart; see Count
	Stats      Stats
}

// Stats say how much work a search was.
type Stats struct {
	Options  int     // options of all slots
	Kept     int     // options left after those were dropped that another option always beats
	Tested   int64   // candidates tested for dominance, or partial chains expanded
	Labels   int     // partial chains kept (Pareto)
	Peak     int     // largest number of partial chains held at once
	PerSlot  []int   // partial chains kept, by slot (Pareto)
	Fallback bool    // Nearest: a limit's best value needed the dynamic programme
	Bound    float64 // Best, Nearest: no chain left out scores less than this
}

// Weights make one score of the criteria: the sum of weight times value. None may be negative.
type Weights struct {
	Add                []float64 // per additive criterion; missing: 0
	Left, Right, Worse float64   // per unit of reflection
}

// Score returns the weighted sum.
func (w Weights) Score(v Values) float64 {
	s := 0.0
	for c, a := range w.Add {
		s += a * float64(v.Add[c])
	}
	return s + w.Left*v.Left + w.Right*v.Right + w.Worse*max(v.Left, v.Right)
}

// A Ranked chain has its score.
type Ranked struct {
	Chain
	Score float64
}

// A Ranking is the answer of [Best].
type Ranking struct {
	Chains     []Ranked // ascending score, then ascending option indices; fewer than k if there are no more
	Compatible float64
	Stats      Stats
}

// An Excess says that a chain breaks a limit.
type Excess struct {
	Limit Limit
	Value float64
	Over  float64 // (Value - Max)/Max
}

// A Miss is a chain that breaks limits.
type Miss struct {
	Chain
	Violation float64 // weighted sum of Over
	Broken    []Excess
}

// A Reach says how far one limit's criterion can be brought down.
type Reach struct {
	Limit      Limit
	Alone      Chain // the least value of all chains, no other limit kept
	WithOthers Chain // the least value of the chains that keep all other limits; see Possible
	Possible   bool  // some chain keeps all other limits
}

// Misses are the answer of [Nearest].
type Misses struct {
	Feasible   bool // some chain keeps all limits: the first Chains have Violation 0
	Chains     []Miss
	Reaches    []Reach // one per criterion that has a limit, in the order of Problem.Limits
	Compatible float64
	Stats      Stats
}

// ErrTooLarge says that a search would have held more partial chains than Settings.MaxWork.
var ErrTooLarge = errors.New("search too large")

// ErrNoChain says that no chain has neighbours that agree, whatever the limits.
var ErrNoChain = errors.New("no chain joins the ends")

// A ProblemError says what is wrong with a problem or its settings.
type ProblemError struct {
	Slot, Option int // -1: none in particular
	Name         string
	Reason       string
}

func (e *ProblemError) Error() string {
	switch {
	case e.Slot < 0:
		return "search: " + e.Reason
	case e.Option < 0:
		return fmt.Sprintf("search: slot %d (%s): %s", e.Slot, e.Name, e.Reason)
	}
	return fmt.Sprintf("search: slot %d (%s), option %d: %s", e.Slot, e.Name, e.Option, e.Reason)
}

// Count writes a number of chains as "37" or "1.2e10".
func Count(n float64) string {
	if n < 1e5 {
		return fmt.Sprintf("%.0f", n)
	}
	s := fmt.Sprintf("%.1e", n)
	// 1.2e+10 reads 1.2e10
	for i := 0; i+1 < len(s); i++ {
		if s[i] == 'e' && s[i+1] == '+' {
			j := i + 2
			for j < len(s)-1 && s[j] == '0' {
				j++
			}
			return s[:i+1] + s[j:]
		}
	}
	return s
}
