package tolerance

import (
	"context"
	"fmt"
	"math"
	"reflect"
	"slices"

	"linewright/job/enquiry"
	"linewright/job/tolerance/sample"
)

// A Share is how many copies keep a limit, and between which shares the true
// one lies with the report's confidence.
type Share struct {
	Meets, N int
	Share    float64
	// Quoted is the interval to quote, Basis what it is: the exact one of
	// Clopper and Pearson for random samples; for the evenly spread methods that
	// from the spread of the replicates, unless they all agree and it is
	// empty: then the exact one.
	Quoted          sample.Interval
	Basis           string
	Wilson, Exact   sample.Interval
	OfReplicates    sample.Interval // 0 to 1 with one replicate
	ReplicatesAgree bool            // every replicate has the same share
}

// A Result is what a run says of one output.
type Result struct {
	Limit
	Share     Share // for what is judged
	Summary   sample.Summary
	Coverage  *sample.Coverage // of 95 %; nil when the values are too few
	Histogram Histogram
	Drivers   []sample.Driver // the greatest total share first; nil when not asked for
	// Direction is Spearman's rank correlation of each driver with the output:
	// its sign tells which way.
	Direction []float64
	// Worst is the least margin that any copy can have: every magnitude and loss
	// at its end, every phase at its worst. NaN for what is not judged.
	Worst   float64
	WorstAt float64   // Hz
	Least   []float64 // the inputs of the worst copy drawn, in the order of Study.Inputs
}

// Histogram counts values in classes of equal width.
type Histogram struct {
	Edges  []float64 // one more than Counts
	Counts []int
}

// Sorting is what it takes to build a matched set.
type Sorting struct {
	Half      float64 // half width of the match, s
	At        float64 // Hz
	Size      int     // of the set; 0: not stated
	Deviation float64 // standard deviation of one copy's delay, s
	Unsorted  float64 // share of sets, taken as they come, that match
	// UnsortedIn is where that share lies with the report's confidence, after
	// Clopper and Pearson, for the delays drawn.
	UnsortedIn sample.Interval
	Width      float64 // mean full width of such a set, s
	Half50     int     // copies to build so that half of the lots hold a set
	Half90     int     // nine lots out of ten
	Beyond     bool    // more than ten times the set: sorting does not do
	Absolute   bool    // matched to a stored value: a limit of each copy
}

// Report is the outcome of a study.
type Report struct {
	Study      *Study
	Plan       sample.Plan
	State      sample.State
	Yield      Share // of the copies that keep every limit, wishes apart
	AtLeast    float64
	Confidence float64
	Limits     []Result // judged, in the enquiry's order
	Observed   []Result
	Sorting    *Sorting
	// Enough says that the yield's lower bound reaches AtLeast, that a matched
	// set can be sorted from ten times its size, and that nothing a limit needs
	// is missing.
	Enough      bool
	Missing     []string // figures that a limit needs and nothing states
	DriversFrom string   // the estimator of the drivers' shares
	Sigmas      []string // inputs without limits, taken at three standard deviations in the worst corner
}

// Run draws the study's copies and sums them up. A run that ctx ends returns
// ctx's error after its state went to Checkpoint; resumed from there it gives
// the same report, to the bit.
func (s *Study) Run(ctx context.Context, o Options) (Report, error) {
	plan := o.Plan()
	st, err := sample.New(s.Sampling, plan)
	if err != nil {
		return Report{}, err
	}
	if o.Resume != nil {
		if !reflect.DeepEqual(o.Resume.Plan, plan) || len(o.Resume.Outputs) != len(s.Outputs) {
			return Report{}, fmt.Errorf("%w; start again with another state file, or repeat the options of that run", ErrState)
		}
		st = *o.Resume
	}
	every := o.Every
	if every <= 0 {
		every = max(2000, plan.N/50)
	}
	progress := func(stage string, fraction float64) {
		if o.Progress != nil {
			o.Progress(stage, fraction)
		}
	}
	for st.Done < plan.N {
		until := st.Done + every
		run := sample.Options{Workers: o.Workers, Progress: func(p sample.Progress) { progress("drawing copies", float64(p.Done)/float64(p.N)) }}
		if o.Checkpoint != nil {
			run.Stop = func(st *sample.State) bool { return st.Done >= until }
		}
		st, err = sample.Run(ctx, s.Sampling, st, run)
		if o.Checkpoint != nil {
			if e := o.Checkpoint(st); e != nil && err == nil {
				err = e
			}
		}
		if err != nil {
			return Report{}, err
		}
	}
	return s.report(ctx, st, o, progress)
}

func (s *Study) report(ctx context.Context, st sample.State, o Options, progress func(string, float64)) (Report, error) {
	r := Report{Study: s, Plan: st.Plan, State: st, AtLeast: o.atLeast(), Confidence: o.confidence(), Sigmas: s.unbound}
	if !(r.AtLeast >= 0 && r.AtLeast <= 1) || !(r.Confidence > 0 && r.Confidence < 1) {
		return r, fmt.Errorf("yield of at least %g at a confidence of %g: both are shares, such as 0.99 and 0.95", r.AtLeast, r.Confidence)
	}
	meets := make([]bool, st.Done)
	for i := range meets {
		meets[i] = true
	}
	columns := make([][]float64, len(s.outputs))
	for k, out := range s.outputs {
		columns[k] = st.Column(k)
		for i, v := range columns[k] {
			if out.Judged && !out.Wish && v < 0 {
				meets[i] = false
			}
		}
	}
	r.Yield = share(meets, len(st.ReplicateMeets), r.Confidence, st.Plan.Method)
	drivers, err := s.drivers(ctx, o, progress)
	if err != nil {
		return r, err
	}
	if drivers != nil {
		r.DriversFrom = "total shares of variance, Jansen's estimator on a scrambled Sobol design"
		if len(s.Ties) > 0 {
			r.DriversFrom += "; what is correlated has one share together"
		}
	}
	worst := newCorners(s)
	for k, out := range s.outputs {
		res := Result{Limit: out.Limit, Summary: st.Output(k), Histogram: histogram(columns[k], 24), Worst: math.NaN(), WorstAt: math.NaN()}
		if c, err := sample.CoverageIntervals(columns[k], 0.95); err == nil {
			res.Coverage = &c
		}
		if out.Judged {
			keep := make([]bool, st.Done)
			for i, v := range columns[k] {
				keep[i] = v >= 0
			}
			res.Share = share(keep, len(st.ReplicateMeets), r.Confidence, st.Plan.Method)
			res.Worst, res.WorstAt = out.corner(worst)
			if !out.Wish {
				for _, m := range out.Missing {
					if !slices.Contains(r.Missing, m) {
						r.Missing = append(r.Missing, m)
					}
				}
			}
		}
		if res.Least, err = s.Sampling.Sample(st.Plan, res.Summary.LeastAt); err != nil {
			return r, err
		}
		res.Least = res.Least[:len(s.Inputs)]
		if drivers != nil {
			res.Drivers = drivers[k]
			rank, err := sample.RankCorrelations(s.Sampling, st, k)
			if err == nil {
				for _, d := range res.Drivers {
					res.Direction = append(res.Direction, rank[d.Input])
				}
			}
		}
		if out.Judged {
			r.Limits = append(r.Limits, res)
		} else {
			r.Observed = append(r.Observed, res)
		}
	}
	if s.match != nil {
		progress("sorting sets", 0)
		if r.Sorting, err = s.sorting(columns[s.delay], o); err != nil {
			return r, err
		}
	}
	judged := slices.ContainsFunc(r.Limits, func(l Result) bool { return !l.Wish })
	if m := r.Sorting; m != nil && m.Size < 2 && !m.Absolute {
		r.Missing = append(r.Missing, "size of the matched set")
	}
	sortable := r.Sorting == nil || !r.Sorting.Beyond
	r.Enough = (!judged || r.Yield.Quoted.Low >= r.AtLeast) && sortable && len(r.Missing) == 0
	return r, ctx.Err()
}

// share counts the true ones, sample i in replicate i mod replicates.
func share(meets []bool, replicates int, confidence float64, method sample.Method) Share {
	n := len(meets)
	count, size := make([]float64, replicates), make([]float64, replicates)
	s := Share{N: n, OfReplicates: sample.Interval{Low: 0, High: 1}}
	for i, ok := range meets {
		size[i%replicates]++
		if ok {
			s.Meets++
			count[i%replicates]++
		}
	}
	s.Share = float64(s.Meets) / float64(n)
	s.Wilson, s.Exact = sample.Wilson(s.Meets, n, confidence), sample.ClopperPearson(s.Meets, n, confidence)
	s.Quoted, s.Basis = s.Exact, "Clopper-Pearson"
	if method == sample.Random || replicates < 2 {
		return s
	}
	for r := range count {
		count[r] /= size[r]
	}
	m := sample.MeanOf(count)
	t := sample.CoverageFactor(m.Freedom, confidence)
	s.OfReplicates = sample.Interval{Low: math.Max(0, m.Mean-t*m.Uncertainty), High: math.Min(1, m.Mean+t*m.Uncertainty)}
	if m.Uncertainty == 0 {
		s.ReplicatesAgree = true
		s.Basis = "Clopper-Pearson, the replicates being equal"
		return s
	}
	s.Quoted, s.Basis = s.OfReplicates, "Student's t over the replicates"
	return s
}

// drivers runs the design for the shares of variance.
func (s *Study) drivers(ctx context.Context, o Options, progress func(string, float64)) ([][]sample.Driver, error) {
	points := o.DriverPoints
	if points == 0 {
		points = 512
	}
	if points < 0 || len(s.Inputs) == 0 {
		return nil, nil
	}
	return sample.Drivers(ctx, s.Sampling, sample.Plan{Method: sample.Sobol, Seed: o.Seed, N: points}, sample.Options{Workers: o.Workers,
		Progress: func(p sample.Progress) { progress("shares of variance", float64(p.Done)/float64(p.N)) }})
}

// histogram counts values in classes between the least and the greatest.
func histogram(values []float64, classes int) Histogram {
	if len(values) == 0 {
		return Histogram{}
	}
	low, high := slices.Min(values), slices.Max(values)
	if high == low {
		return Histogram{[]float64{low, high}, []int{len(values)}}
	}
	h := Histogram{make([]float64, classes+1), make([]int, classes)}
	for i := range h.Edges {
		h.Edges[i] = low + (high-low)*float64(i)/float64(classes)
	}
	for _, v := range values {
		h.Counts[min(int(float64(classes)*(v-low)/(high-low)), classes-1)]++
	}
	return h
}

// empirical is the distribution of values that were drawn: each is as likely.
type empirical struct {
	sorted   []float64
	mean, sd float64
}

func newEmpirical(values []float64) empirical {
	e := empirical{sorted: slices.Clone(values)}
	slices.Sort(e.sorted)
	for _, v := range values {
		e.mean += v / float64(len(values))
	}
	for _, v := range values {
		e.sd += (v - e.mean) * (v - e.mean) / float64(len(values)-1)
	}
	e.sd = math.Sqrt(e.sd)
	return e
}

// Quantile interpolates between neighbours.
func (e empirical) Quantile(p float64) float64 {
	at := p * float64(len(e.sorted)-1)
	i := min(int(at), len(e.sorted)-2)
	return e.sorted[i] + (at-float64(i))*(e.sorted[i+1]-e.sorted[i])
}

// Expectation returns the mean of the values.
func (e empirical) Expectation() float64 { return e.mean }

// StandardDeviation returns that of the values.
func (e empirical) StandardDeviation() float64 { return e.sd }

// Limits returns the least and the greatest value.
func (e empirical) Limits() (low, high float64) { return e.sorted[0], e.sorted[len(e.sorted)-1] }

// Check wants two values.
func (e empirical) Check() error {
	if len(e.sorted) < 2 {
		return fmt.Errorf("%d values make no distribution", len(e.sorted))
	}
	return nil
}

// sorting says how many copies must be built for a matched set, from the
// delays drawn, in ps.
func (s *Study) sorting(delays []float64, o Options) (*Sorting, error) {
	m := s.match
	out := &Sorting{Half: m.half, At: m.at, Size: m.size, Absolute: m.kind == enquiry.Absolute}
	if len(delays) < 2 {
		return out, nil
	}
	d := newEmpirical(delays)
	out.Deviation = d.sd * 1e-12
	if m.size < 2 || out.Absolute {
		return out, nil
	}
	width := 2 * m.half * 1e12
	if d.sd == 0 {
		out.Unsorted, out.Half50, out.Half90 = 1, m.size, m.size
		out.UnsortedIn = sample.Interval{Low: 1, High: 1}
		return out, nil
	}
	law := sample.Sorting{Distribution: d, Trials: 1000, Seed: o.Seed}
	taken, err := sample.TightestSet(m.size, m.size, law)
	if err != nil {
		return nil, err
	}
	out.Width = taken.Mean * 1e-12
	match := 0
	for _, w := range taken.Values {
		if w <= width {
			match++
		}
	}
	out.Unsorted = float64(match) / float64(len(taken.Values))
	out.UnsortedIn = sample.ClopperPearson(match, len(taken.Values), o.confidence())
	law.Trials = 400
	most := 10 * m.size
	built, err := sample.BuildQuantity(m.size, width, most, law)
	if err != nil {
		return nil, err
	}
	out.Half50, out.Half90 = int(built.Quantile(0.5)), int(built.Quantile(0.9))
	out.Beyond = out.Half90 > most
	return out, nil
}
