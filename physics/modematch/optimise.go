package modematch

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
)

// Variable is a quantity that an optimisation may choose.
type Variable struct {
	Name string
	// Apply gives the body the value: a length, a diameter, several of them at
	// once, whatever the design ties together. It may change any section of b,
	// whose Sections are its own.
	Apply func(b *Body, value float64)
	// Start, Min and Max in the unit that Apply expects, mostly m.
	Start, Min, Max float64
	// Tolerance is the half width of the band in which the made value lies
	// about the chosen one; zero for none.
	Tolerance float64
}

// Dimension names a dimension of a section.
type Dimension int

// The dimensions of a section.
const (
	InnerDiameter Dimension = iota
	OuterDiameter
	Length
)

func (d Dimension) String() string {
	return [...]string{"inner diameter", "outer diameter", "length"}[d]
}

// Of returns a function for [Variable.Apply] that sets the dimension of the
// given sections, counted from 1.
func (d Dimension) Of(sections ...int) func(b *Body, value float64) {
	return func(b *Body, value float64) {
		for _, s := range sections {
			switch x := &b.Sections[s-1]; d {
			case InnerDiameter:
				x.InnerDiameter = value
			case OuterDiameter:
				x.OuterDiameter = value
			case Length:
				x.Length = value
			}
		}
	}
}

// Goal is what an optimisation works towards: reflection at both TEM ports
// below a mask.
type Goal struct {
	// Frequencies at which the reflection is looked at, Hz, increasing.
	Frequencies []float64
	// Limit is the largest |S11| and |S22| wanted at frequency f; nil stands
	// for 1, which makes the largest reflection of the band as small as it can
	// be.
	Limit func(f float64) float64
}

// Step is a message about the progress of an optimisation.
type Step struct {
	Evaluations int       // bodies solved so far
	Values      []float64 // the best so far
	Worst       float64   // their worst ratio of reflection to limit
}

// Design is the outcome of an optimisation.
type Design struct {
	Body   Body
	Values []float64 // of the variables, in their order
	// Nominal and Worst are the largest ratio of reflection to limit over the
	// frequencies, of the values themselves and of the worst corner of their
	// tolerances. The goal is met where they are below 1.
	Nominal, Worst float64
	// Corner holds the values of the worst corner.
	Corner      []float64
	Evaluations int
	Result      *Result // the solved nominal body at the goal's frequencies
}

// ErrVariables says that an optimisation has nothing to work on.
var ErrVariables = errors.New("an optimisation needs variables with Min < Max and an Apply function")

// cornersUpTo is the number of toleranced variables of which every corner is
// tried. With more, each is moved alone both ways, and the corner that
// collects their worse directions is tried besides: common practice, and exact
// where the reflection is monotonic in every dimension.
const cornersUpTo = 4

// Optimise varies a body within bounds so that its reflection, in the worst
// corner of the tolerances, comes as far below the goal's mask as it can. The
// start counts as the first design: what returns is never worse.
//
// Method: the simplex of [nelder1965] with values clamped to their bounds,
// started anew around its best point until a restart no longer helps. It finds
// a local optimum; start from different values to look for others. Planes that
// a step does not touch are not solved again.
//
// It stops early when ctx ends, with its error. Progress, if not nil, is told
// of each improvement.
func Optimise(ctx context.Context, body Body, variables []Variable, goal Goal, progress func(Step)) (*Design, error) {
	if len(variables) == 0 {
		return nil, fmt.Errorf("no variables: %w", ErrVariables)
	}
	for _, v := range variables {
		if v.Apply == nil || !(v.Min < v.Max) || !(v.Start >= v.Min && v.Start <= v.Max) || !(v.Tolerance >= 0) {
			return nil, fmt.Errorf("variable %q: from %g to %g, start %g, tolerance %g: %w",
				v.Name, v.Min, v.Max, v.Start, v.Tolerance, ErrVariables)
		}
	}
	o := &optimiser{ctx: ctx, body: body, variables: variables, goal: goal, solver: newSolver(), progress: progress}
	x := make([]float64, len(variables))
	for i, v := range variables {
		x[i] = v.Start
	}
	if err := o.apply(x).Check(); err != nil {
		return nil, fmt.Errorf("the start values do not make a body: %w", err)
	}
	if err := checkFrequencies(goal.Frequencies); err != nil {
		return nil, err
	}
	if err := checkReach(o.apply(x), goal.Frequencies[len(goal.Frequencies)-1]); err != nil {
		return nil, err
	}
	best := o.search(x)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	d := &Design{Body: o.apply(best), Values: best, Nominal: o.nominal(best)}
	d.Worst, d.Corner = o.worst(best)
	d.Evaluations = o.evaluations
	res, err := o.solver.solve(ctx, d.Body, goal.Frequencies, Options{})
	if err != nil {
		return nil, err
	}
	d.Result = res
	return d, nil
}

type optimiser struct {
	ctx         context.Context
	body        Body
	variables   []Variable
	goal        Goal
	solver      *solver
	progress    func(Step)
	evaluations int
	scratch     scratch
	least       float64
	started     bool
}

func (o *optimiser) apply(x []float64) Body {
	b := o.body
	b.Sections = slices.Clone(b.Sections)
	for i, v := range o.variables {
		v.Apply(&b, x[i])
	}
	return b
}

// nominal returns the largest ratio of reflection to limit, +Inf where the
// values make no body.
func (o *optimiser) nominal(x []float64) float64 {
	b := o.apply(x)
	fs := o.goal.Frequencies
	if o.ctx.Err() != nil || b.Check() != nil || checkReach(b, fs[len(fs)-1]) != nil {
		return math.Inf(1)
	}
	o.evaluations++
	c := o.solver.prepare(b, fs[len(fs)-1], 3, false)
	worst := 0.0
	for _, f := range fs {
		out, err := c.at(f, &o.scratch)
		if err != nil {
			return math.Inf(1)
		}
		limit := 1.0
		if o.goal.Limit != nil {
			limit = o.goal.Limit(f)
		}
		modes := c.portModes(f)
		s := c.scattering(f, out, modes)
		for i, m := range modes {
			if c.segments[m.segment].modes[m.mode] >= 0 {
				continue
			}
			if r := cmplx.Abs(s[i*len(modes)+i]) / limit; !(r <= worst) {
				worst = r
			}
		}
	}
	if math.IsNaN(worst) {
		return math.Inf(1)
	}
	return worst
}

// worst returns the largest ratio over the corners of the tolerances, and the
// corner.
func (o *optimiser) worst(x []float64) (float64, []float64) {
	var loose []int
	for i, v := range o.variables {
		if v.Tolerance > 0 {
			loose = append(loose, i)
		}
	}
	worst, corner := o.nominal(x), slices.Clone(x)
	try := func(y []float64) float64 {
		r := o.nominal(y)
		if r > worst {
			worst, corner = r, slices.Clone(y)
		}
		return r
	}
	if len(loose) == 0 {
		return worst, corner
	}
	if len(loose) <= cornersUpTo {
		for bits := range 1 << len(loose) {
			y := slices.Clone(x)
			for k, i := range loose {
				t := o.variables[i].Tolerance
				if bits>>k&1 == 0 {
					t = -t
				}
				y[i] += t
			}
			try(y)
		}
		return worst, corner
	}
	collected := slices.Clone(x)
	for _, i := range loose {
		t := o.variables[i].Tolerance
		y := slices.Clone(x)
		y[i] = x[i] - t
		down := try(y)
		y[i] = x[i] + t
		up := try(y)
		if down > up {
			t = -t
		}
		collected[i] += t
	}
	try(collected)
	return worst, corner
}

// cost is what the search makes small: the worst corner, in units of the
// limit.
func (o *optimiser) cost(x []float64) float64 {
	w, _ := o.worst(x)
	if w < o.least || !o.started {
		o.least, o.started = w, true
		if o.progress != nil {
			o.progress(Step{Evaluations: o.evaluations, Values: slices.Clone(x), Worst: w})
		}
	}
	return w
}

// search runs the simplex with restarts.
func (o *optimiser) search(start []float64) []float64 {
	best, least := slices.Clone(start), o.cost(start)
	size := 0.2
	for restart := 0; restart < 8 && o.ctx.Err() == nil; restart++ {
		x, v := o.simplex(best, least, size)
		gain := least - v
		if v < least {
			best, least = x, v
		}
		if !(gain > 1e-3*least) {
			if restart > 1 {
				break
			}
			size /= 4 // look closer, once or twice, before believing it
		}
	}
	return best
}

// simplex runs one descent of the simplex method from x; size is the first
// step as a share of each range.
func (o *optimiser) simplex(x []float64, fx, size float64) ([]float64, float64) {
	n := len(x)
	type vertex struct {
		x []float64
		f float64
	}
	clamp := func(y []float64) []float64 {
		for i, v := range o.variables {
			y[i] = min(max(y[i], v.Min), v.Max)
		}
		return y
	}
	s := []vertex{{slices.Clone(x), fx}}
	for i, v := range o.variables {
		y := slices.Clone(x)
		step := size * (v.Max - v.Min)
		if y[i]+step > v.Max {
			step = -step
		}
		y[i] += step
		clamp(y)
		s = append(s, vertex{y, o.cost(y)})
	}
	order := func() {
		slices.SortStableFunc(s, func(a, b vertex) int {
			switch {
			case a.f < b.f:
				return -1
			case a.f > b.f:
				return 1
			}
			return 0
		})
	}
	for range 60 * n {
		if o.ctx.Err() != nil {
			break
		}
		order()
		spread := 0.0
		for i, v := range o.variables {
			for _, w := range s[1:] {
				spread = max(spread, math.Abs(w.x[i]-s[0].x[i])/(v.Max-v.Min))
			}
		}
		if spread < 2e-5 {
			break
		}
		centre := make([]float64, n)
		for _, v := range s[:n] {
			for i := range centre {
				centre[i] += v.x[i] / float64(n)
			}
		}
		at := func(t float64) vertex {
			y := make([]float64, n)
			for i := range y {
				y[i] = centre[i] + t*(s[n].x[i]-centre[i])
			}
			clamp(y)
			return vertex{y, o.cost(y)}
		}
		r := at(-1)
		switch {
		case r.f < s[0].f:
			if e := at(-2); e.f < r.f {
				r = e
			}
			s[n] = r
		case r.f < s[n-1].f:
			s[n] = r
		default:
			t := 0.5
			if r.f < s[n].f {
				t = -0.5
			}
			if c := at(t); c.f < min(r.f, s[n].f) {
				s[n] = c
				break
			}
			for k := 1; k <= n; k++ {
				for i := range s[k].x {
					s[k].x[i] = (s[0].x[i] + s[k].x[i]) / 2
				}
				s[k].f = o.cost(s[k].x)
			}
		}
	}
	order()
	return s[0].x, s[0].f
}
