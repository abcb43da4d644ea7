package sample

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"sync"
)

// Input is one quantity that varies from copy to copy.
type Input struct {
	Name         string
	Distribution Distribution
}

// Output is one result of the model.
type Output struct {
	Name string
	// Margin says that the output is a margin to a limit: a copy meets the
	// limit while it is zero or more. A copy meets when it meets them all.
	Margin bool
}

// Correlation ties two inputs, named by their index.
type Correlation struct {
	I, J int
	R    float64 // −1 to 1
}

// Model computes the outputs y of the inputs x. It is called by several
// goroutines at once and must depend on x alone. It may stop early when ctx ends.
type Model func(ctx context.Context, x, y []float64) error

// Study is a design with its tolerances.
type Study struct {
	Inputs  []Input
	Outputs []Output
	Model   Model
	// Correlations tie inputs by a Gaussian copula: R is the correlation of
	// their normal scores, for normal inputs that of the inputs themselves, as in
	// the multivariate Gaussian of [jcgm101] §6.4.8. For two rectangular inputs
	// their own correlation is (6/π) asin(R/2), which differs from R by less than
	// 0.02.
	Correlations []Correlation
}

// Check reports everything that makes no sense in the study.
func (s Study) Check() error {
	var errs []error
	if len(s.Inputs) == 0 || len(s.Outputs) == 0 || s.Model == nil {
		errs = append(errs, errors.New("sample: a study needs at least one input, one output and a model"))
	}
	for i, in := range s.Inputs {
		if in.Distribution == nil {
			errs = append(errs, fmt.Errorf("sample: input %d %q has no distribution", i, in.Name))
		} else if err := in.Distribution.Check(); err != nil {
			errs = append(errs, fmt.Errorf("input %d %q: %w", i, in.Name, err))
		}
	}
	if _, err := s.factor(); err != nil {
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// factor returns the Cholesky factor L of the inputs' correlation matrix, row by
// row, nil when nothing is correlated. A full correlation, ±1, makes the matrix
// singular: what hangs on the inputs before it has then no part of its own.
func (s Study) factor() ([][]float64, error) {
	if len(s.Correlations) == 0 {
		return nil, nil
	}
	n := len(s.Inputs)
	c := make([][]float64, n)
	for i := range n {
		c[i] = make([]float64, n)
		c[i][i] = 1
	}
	for _, k := range s.Correlations {
		if k.I < 0 || k.J < 0 || k.I >= n || k.J >= n || k.I == k.J || !(math.Abs(k.R) <= 1) {
			return nil, fmt.Errorf("sample: correlation %g of inputs %d and %d: it must join two different inputs of %d by −1 to 1", k.R, k.I, k.J, n)
		}
		c[k.I][k.J], c[k.J][k.I] = k.R, k.R
	}
	const rounding = 1e-12 // of numbers up to one
	l := make([][]float64, n)
	for i := range n {
		l[i] = make([]float64, i+1)
		left := 1.0
		for j := range i + 1 {
			x := c[i][j]
			for k := range j {
				x -= l[i][k] * l[j][k]
			}
			switch {
			case j == i && !(left >= -rounding), j < i && l[j][j] == 0 && !(math.Abs(x) <= rounding):
				return nil, fmt.Errorf("sample: the correlations contradict each other at %q: no quantities can have them all", s.Inputs[i].Name)
			case j == i && left > rounding:
				l[i][i] = math.Sqrt(left)
			case j < i && l[j][j] > 0:
				l[i][j] = x / l[j][j]
				left -= l[i][j] * l[i][j]
			}
		}
	}
	return l, nil
}

// groups returns the sets of inputs that hang together by correlations, each in
// ascending order, the sets by their first input.
func (s Study) groups() [][]int {
	at := make([]int, len(s.Inputs))
	for i := range at {
		at[i] = i
	}
	var root func(i int) int
	root = func(i int) int {
		if at[i] != i {
			at[i] = root(at[i])
		}
		return at[i]
	}
	for _, k := range s.Correlations {
		if i, j := root(k.I), root(k.J); k.R != 0 {
			at[max(i, j)] = min(i, j)
		}
	}
	var out [][]int
	place := map[int]int{}
	for i := range at {
		r := root(i)
		if r == i {
			place[i] = len(out)
			out = append(out, nil)
		}
		out[place[r]] = append(out[place[r]], i)
	}
	return out
}

// A Drawer turns points of the unit cube into inputs: see [Study.Drawer].
type Drawer struct {
	study Study
	l     [][]float64
	alone []bool // inputs that are correlated with no other
}

// Drawer returns the means to draw samples one by one. It may be used by
// several goroutines.
func (s Study) Drawer() (Drawer, error) {
	if err := s.Check(); err != nil {
		return Drawer{}, err
	}
	l, err := s.factor()
	d := Drawer{s, l, make([]bool, len(s.Inputs))}
	for _, g := range s.groups() {
		d.alone[g[0]] = len(g) == 1
	}
	return d, err
}

// draw replaces the point u by the inputs that stand there. An input that is
// correlated with no other is drawn as it would be in a study without
// correlations.
func (d Drawer) draw(u []float64) {
	for i, in := range d.study.Inputs {
		if d.alone[i] {
			u[i] = in.Distribution.Quantile(u[i])
		} else {
			u[i] = NormalQuantile(u[i])
		}
	}
	for i := len(d.l) - 1; i >= 0; i-- { // L is lower triangular: from the bottom up in place
		if d.alone[i] {
			continue
		}
		z := 0.0
		for j, l := range d.l[i] {
			if l != 0 {
				z += l * u[j]
			}
		}
		switch in := d.study.Inputs[i].Distribution.(type) {
		case Normal:
			u[i] = in.Mean + in.Sigma*z
		default:
			u[i] = in.Quantile(open(NormalCDF(z)))
		}
	}
}

// Sample fills x with the inputs of sample i of the plan, 0 ≤ i < N.
func (d Drawer) Sample(p Plan, i int, x []float64) {
	p.Point(i, x)
	d.draw(x)
}

// Sample returns the inputs of sample i of the plan.
func (s Study) Sample(p Plan, i int) ([]float64, error) {
	d, err := s.Drawer()
	if err != nil {
		return nil, err
	}
	if i < 0 || i >= p.N {
		return nil, fmt.Errorf("sample: sample %d of %d: count from 0", i, p.N)
	}
	x := make([]float64, len(s.Inputs))
	d.Sample(p, i, x)
	return x, nil
}

// Tally sums up one output, in the order of the samples.
type Tally struct {
	Mean         float64
	Squares      float64 // Σ (y − mean)²
	Least, Most  float64
	LeastAt      int // sample with the least value
	MostAt       int
	BelowZero    int       // samples below zero: for a margin, those that miss
	ReplicateSum []float64 // Σ y for each replicate
}

// State is a run as far as it has come. It is plain data: written as JSON and
// read again it goes on with the same bits.
type State struct {
	Plan    Plan
	Done    int // samples drawn so far
	Meets   int // of these, copies that meet every margin
	Outputs []Tally
	// ReplicateMeets counts the meeting copies of each replicate.
	ReplicateMeets []int
	// Values holds every output of every sample, row after row, unless
	// Options.Forget asked not to keep them.
	Values []float64 `json:",omitempty"`
}

// Options tell how a plan is carried out; they do not change its result.
type Options struct {
	Workers int  // goroutines; zero means one per processor
	Batch   int  // samples a worker takes at a time; zero means 16
	Forget  bool // do not keep the values: saves memory, loses coverage intervals and rank correlation
	// Progress is called after each batch, by one goroutine at a time.
	Progress func(Progress)
	// Stop is asked after each sample whether the run is good enough.
	Stop func(*State) bool
}

// Progress tells how far a run has come.
type Progress struct{ Done, N, Meets int }

// New returns the state before the first sample.
func New(s Study, p Plan) (State, error) {
	if err := p.Check(); err != nil {
		return State{}, err
	}
	if err := s.Check(); err != nil {
		return State{}, err
	}
	st := State{Plan: p, Outputs: make([]Tally, len(s.Outputs)), ReplicateMeets: make([]int, p.replicates())}
	for k := range st.Outputs {
		st.Outputs[k] = Tally{ReplicateSum: make([]float64, p.replicates())}
	}
	return st, nil
}

// Extend returns the state with the plan lengthened to n samples. A latin
// hypercube cannot be lengthened.
func (st State) Extend(n int) (State, error) {
	if st.Plan.Method == LatinHypercube {
		return st, errors.New("sample: a latin hypercube divides each input into as many strata as samples and cannot be lengthened: plan a new one, or use another method")
	}
	if n < st.Done {
		return st, fmt.Errorf("sample: %d samples are drawn already, more than %d", st.Done, n)
	}
	st.Plan.Replicates = st.Plan.replicates()
	st.Plan.N = n
	return st, st.Plan.Check()
}

// Run carries the plan of st on to its end and returns the new state; st is
// not changed. When ctx ends it returns the samples drawn without a gap from
// the first, and ctx's error; running that state later gives the same final
// state, to the bit, as if it had never stopped.
//
// A model's error, or an output that is not a finite number, ends the run and
// names the sample.
func Run(ctx context.Context, s Study, st State, o Options) (State, error) {
	d, err := s.Drawer()
	if err != nil {
		return st, err
	}
	if err := st.Plan.Check(); err != nil {
		return st, err
	}
	m := len(s.Outputs)
	if len(st.Outputs) != m || len(st.ReplicateMeets) != st.Plan.replicates() {
		return st, fmt.Errorf("sample: the state has %d outputs and %d replicates, study and plan have %d and %d: it belongs to another run",
			len(st.Outputs), len(st.ReplicateMeets), m, st.Plan.replicates())
	}
	if !o.Forget && len(st.Values) != st.Done*m {
		return st, fmt.Errorf("sample: the state holds %d values for %d samples of %d outputs: set Forget to go on without them", len(st.Values), st.Done, m)
	}
	out := st.clone()
	if o.Forget {
		out.Values = nil
	}
	margin := make([]bool, m)
	for k := range margin {
		margin[k] = s.Outputs[k].Margin
	}
	plan := out.Plan
	eval := func(ctx context.Context, i int, x, y []float64) error {
		d.Sample(plan, i, x)
		if err := s.Model(ctx, x, y); err != nil {
			return fmt.Errorf("sample %d, inputs %v: %w", i, x, err)
		}
		for k, v := range y {
			if !finite(v) {
				return fmt.Errorf("sample %d, inputs %v: output %q is %g: the model must return finite numbers", i, x, s.Outputs[k].Name, v)
			}
		}
		return nil
	}
	err = march(ctx, out.Done, out.Plan.N, len(s.Inputs), m, o, eval, func(i int, y []float64) bool {
		out.merge(i, y, margin, !o.Forget)
		return o.Stop != nil && o.Stop(&out)
	}, func() {
		if o.Progress != nil {
			o.Progress(Progress{out.Done, out.Plan.N, out.Meets})
		}
	})
	return out, err
}

func (st State) clone() State {
	out := st
	out.Values = append([]float64(nil), st.Values...)
	out.ReplicateMeets = append([]int(nil), st.ReplicateMeets...)
	out.Outputs = append([]Tally(nil), st.Outputs...)
	for k := range out.Outputs {
		out.Outputs[k].ReplicateSum = append([]float64(nil), st.Outputs[k].ReplicateSum...)
	}
	return out
}

// merge adds sample i, by Welford's update of mean and squares.
func (st *State) merge(i int, y []float64, margin []bool, keep bool) {
	set := i % len(st.ReplicateMeets)
	st.Done++
	meets := true
	for k, v := range y {
		t := &st.Outputs[k]
		d := v - t.Mean
		t.Mean += d / float64(st.Done)
		t.Squares += d * (v - t.Mean)
		if st.Done == 1 || v < t.Least {
			t.Least, t.LeastAt = v, i
		}
		if st.Done == 1 || v > t.Most {
			t.Most, t.MostAt = v, i
		}
		if v < 0 {
			t.BelowZero++
			meets = meets && !margin[k]
		}
		t.ReplicateSum[set] += v
	}
	if meets {
		st.Meets++
		st.ReplicateMeets[set]++
	}
	if keep {
		st.Values = append(st.Values, y...)
	}
}

// march evaluates samples from..to−1 on several workers and hands the results
// to take in the order of the samples, whatever the order they were ready in.
// It ends early when take says so, at the first sample in order whose
// evaluation failed, or when ctx ends. Workers run at most a few batches ahead.
func march(ctx context.Context, from, to, inputs, outputs int, o Options,
	eval func(ctx context.Context, i int, x, y []float64) error, take func(i int, y []float64) bool, batchDone func()) error {
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	if o.Batch <= 0 {
		o.Batch = 16
	}
	inner, cancel := context.WithCancel(ctx)
	defer cancel()

	type result struct {
		first int
		rows  [][]float64
		err   error // of the sample after the last row
	}
	todo := make(chan int)
	ahead := make(chan struct{}, 4*o.Workers) // batches taken and not yet merged
	ready := make(chan result, 4*o.Workers)

	go func() {
		defer close(todo)
		for first := from; first < to; first += o.Batch {
			select {
			case ahead <- struct{}{}:
			case <-inner.Done():
				return
			}
			select {
			case todo <- first:
			case <-inner.Done():
				return
			}
		}
	}()
	var wg sync.WaitGroup
	for range o.Workers {
		wg.Go(func() {
			x := make([]float64, inputs)
			for first := range todo {
				r := result{first: first}
				for i := first; i < min(first+o.Batch, to); i++ {
					if r.err = inner.Err(); r.err != nil {
						break
					}
					y := make([]float64, outputs)
					if r.err = eval(inner, i, x, y); r.err != nil {
						break
					}
					r.rows = append(r.rows, y)
				}
				ready <- r // never blocks: the buffer holds all that are ahead
			}
		})
	}
	go func() { wg.Wait(); close(ready) }()

	waiting := map[int]result{}
	next := from
	var failed error
	ended := next >= to
	for r := range ready {
		waiting[r.first] = r
		for !ended {
			r, ok := waiting[next]
			if !ok {
				break
			}
			delete(waiting, next)
			<-ahead
			for k, y := range r.rows {
				if take(r.first+k, y) {
					ended = true
					break
				}
			}
			if batchDone != nil {
				batchDone()
			}
			if !ended && r.err != nil {
				failed, ended = r.err, true
			}
			if next += o.Batch; next >= to {
				ended = true
			}
		}
		if ended {
			cancel()
		}
	}
	switch {
	case failed != nil && ctx.Err() != nil:
		return ctx.Err()
	case failed != nil:
		return failed
	case !ended:
		return ctx.Err()
	}
	return nil
}
