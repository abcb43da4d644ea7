package tolerance

import (
	"context"
	"errors"
	"math"
	"runtime"
	"slices"
	"sync"

	"linewright/job/assess"
)

// A Band is where the copies of a chain lie over frequency: what a measurement
// of a built one is held against.
type Band struct {
	Frequency    []float64 // Hz
	Transmission Spread    // |S21|
	Near, Far    Spread    // |S11|, |S22|
	Copies       int
	Share        float64   // of the copies inside
	Delay        []float64 // s: each copy's delay through the pieces whose delay is known, less the nominal
	Missing      []string  // figures that nothing states: what they would add is left out
}

// A Spread is a magnitude over frequency and over the copies.
type Spread struct {
	// At each frequency Share of the copies lies between Low and High, as much
	// below as above; Middle halves them.
	Low, Middle, High []float64
	// Share of the copies lies between Lowest and Highest at every frequency at
	// once: the band about Middle, widened by one factor, in decibels for a
	// transmission. A reflection has no lower bound: nobody minds less of it.
	Lowest, Highest []float64
}

// ErrBand says that a band was asked of too few copies.
var ErrBand = errors.New("a band needs a hundred copies at least")

// Band draws copies of the chain at the enquiry's hottest temperature and
// returns where share of them lie. They are the copies of [Study.Run] with the
// same seed.
//
// A band that holds at each frequency by itself is left somewhere by far more
// copies than 1 − share; so the band that holds everywhere is given too: its
// width is the quantile of each copy's greatest excursion over the band, in
// units of the pointwise band's own half width.
func (s *Study) Band(ctx context.Context, o Options, share float64) (Band, error) {
	plan := o.Plan()
	if plan.N < 100 || !(share > 0 && share < 1) {
		return Band{}, ErrBand
	}
	_, hot, _ := assess.Temperatures(s.e)
	v := s.view(0, len(s.elements), hot)
	f, n := len(s.grid.f), plan.N
	b := Band{Frequency: s.grid.f, Copies: n, Share: share, Missing: s.Missing, Delay: make([]float64, n)}
	// One row for each frequency, so that a quantile reads one stretch of memory.
	traces := [3][]float32{make([]float32, f*n), make([]float32, f*n), make([]float32, f*n)}
	workers := o.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var wg sync.WaitGroup
	errs := make([]error, workers)
	for w := range workers {
		wg.Go(func() {
			sc := s.pool.Get().(*scratch)
			defer s.pool.Put(sc)
			for i := w; i < n; i += workers {
				if errs[w] = ctx.Err(); errs[w] != nil {
					return
				}
				var x []float64
				if x, errs[w] = s.Sampling.Sample(plan, i); errs[w] != nil {
					return
				}
				for _, el := range s.elements {
					el.apply(x, sc.set[el.from:el.to])
					b.Delay[i] += el.deviation(x)
				}
				sw := sc.sweeps[v]
				sw.Run(sc.set)
				for t, power := range [3][]float64{sw.S21, sw.S11, sw.S22} {
					for k, p := range power {
						traces[t][k*n+i] = float32(math.Sqrt(p))
					}
				}
			}
		})
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		return Band{}, err
	}
	for t, at := range []*Spread{&b.Transmission, &b.Near, &b.Far} {
		*at = spread(traces[t], f, n, share, t == 0)
	}
	return b, nil
}

// spread sums up a matrix of magnitudes, n copies at each of f frequencies.
func spread(m []float32, f, n int, share float64, both bool) Spread {
	s := Spread{Low: make([]float64, f), Middle: make([]float64, f), High: make([]float64, f), Lowest: make([]float64, f), Highest: make([]float64, f)}
	scale, back := func(x float64) float64 { return x }, func(x float64) float64 { return x }
	if both {
		scale = func(x float64) float64 { return math.Log(math.Max(x, 1e-10)) }
		back = math.Exp
	}
	const least = 1e-7 // of a half width: below it copies differ by rounding only
	sorted := make([]float32, n)
	excursion := make([]float64, n)
	at := func(p float64) float64 {
		x := p * float64(n-1)
		i := min(int(x), n-2)
		return float64(sorted[i]) + (x-float64(i))*float64(sorted[i+1]-sorted[i])
	}
	for k := range f {
		row := m[k*n : (k+1)*n]
		copy(sorted, row)
		slices.Sort(sorted)
		s.Low[k], s.Middle[k], s.High[k] = at((1-share)/2), at(0.5), at((1+share)/2)
		mid := scale(s.Middle[k])
		up, down := math.Max(scale(s.High[k])-mid, least), math.Max(mid-scale(s.Low[k]), least)
		for i, x := range row {
			d := scale(float64(x)) - mid
			e := d / up
			if d < 0 && both {
				e = -d / down
			}
			excursion[i] = math.Max(excursion[i], e)
		}
	}
	slices.Sort(excursion)
	c := math.Max(1, excursion[min(int(math.Ceil(share*float64(n))), n-1)])
	for k := range f {
		mid := scale(s.Middle[k])
		s.Highest[k] = back(mid + c*math.Max(scale(s.High[k])-mid, 0))
		if both {
			s.Lowest[k] = back(mid - c*math.Max(mid-scale(s.Low[k]), 0))
		}
	}
	return s
}
