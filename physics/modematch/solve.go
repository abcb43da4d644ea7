package modematch

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"runtime"
	"slices"
	"sync"

	"linewright/physics/network"
)

// Options of a solution; the zero value is sensible.
type Options struct {
	// Accuracy is the error of any S-parameter that is aimed at; zero stands
	// for 1e-5. Whether it was reached the result's EstimatedError tells.
	Accuracy float64
	// Degree, if not zero, fixes the number of polynomial degrees in each
	// family of trial functions, instead of raising it from 3 until Accuracy
	// is met.
	Degree int
	// AllModes makes every TM0n mode that travels in a port line somewhere in
	// the sweep a port of its own, after the TEM port of the same end.
	AllModes bool
	// Shift moves the reference planes of port 1 and port 2 outward, away from
	// the body, by so many metres; negative values move them inward.
	Shift [2]float64
	// Workers is the number of frequencies solved at once; zero stands for
	// one per processor.
	Workers int
	// Progress, if not nil, hears how many of total frequencies are done. It
	// is called from one goroutine at a time.
	Progress func(done, total int)
}

// Port is one port of a solved body.
type Port struct {
	End       int     // 1 at the first section, 2 at the last
	Mode      string  // "TEM", "TM01", ...
	Impedance float64 // Ω: of the lossless TEM line; NaN in a hollow guide
	Cutoff    float64 // Hz, 0 for TEM
}

// Plane is a change of section.
type Plane struct {
	// Capacitance is the static shunt capacitance of the plane alone, F:
	// between neighbours that go on for ever. NaN between hollow guides, and
	// 0 where only the permittivity changes.
	Capacitance float64
}

// Result is a solved body.
type Result struct {
	// Network holds the S-parameters. A TEM port is referred to the impedance
	// of its own lossless line. The reference of a TM port is nominal: its
	// waves are power waves of the mode, with the sign of Er at the outer
	// conductor. Below its cutoff a mode carries no power, and its row and
	// column are zero.
	Network  network.Network
	Ports    []Port
	Planes   []Plane
	Sections []SectionModes
	// ModesUsed is the largest number of TM0n modes in any section, and
	// FunctionsUsed the largest number of functions in any aperture.
	ModesUsed, FunctionsUsed int
	// EstimatedError bounds, as a rule, the error of any S-parameter: the
	// largest change at up to 33 frequencies of the sweep when the solution
	// does with one degree, a quarter of the modes and one order of
	// extrapolation less.
	EstimatedError float64
	// UnitarityError is the largest element of |SᴴS − 1| over all travelling
	// modes if the body has no loss; with loss, the largest power that any
	// port gives back in excess of what entered it, at least 0.
	UnitarityError float64
	// Warnings lists modes that travel where the sweep reaches: one entry per
	// section and mode, lowest cutoff first.
	Warnings []ModeWarning
}

// Errors of a sweep.
var (
	ErrFrequency = errors.New("frequencies must be finite, above 0, increasing, and not optical")
	ErrSingular  = errors.New("the body resonates without loss exactly here")
)

// Solve returns the scattering parameters of the body at frequencies, in Hz.
//
// The tangential electric field in the aperture of every plane is expanded in
// trial functions that hold the singularity of the metal edges; the magnetic
// field, summed over TM0n modes on both sides, is made continuous in the sense
// of Galerkin. Modes that travel or nearly do join neighbouring planes as
// waves of a generalised scattering matrix; the rest, localised, join them
// through coth and csch of their decay, so that planes as close as one likes
// interact. Sums over modes are extrapolated. The localised part is smooth in
// the frequency squared: it is computed at a few Chebyshev points and
// interpolated over the sweep.
//
// Ideal rotational symmetry is assumed: TE modes and modes with angular
// variation are not excited. Dielectric loss is exact; conductor loss is to
// first order in the surface impedance, on the walls for every mode that
// travels or nearly does, on the faces for TEM.
//
// Source: [rozzi1973] for accessible and localised modes; [whinnery1944] for
// the discontinuity.
func Solve(ctx context.Context, body Body, frequencies []float64, opt Options) (*Result, error) {
	if err := body.Check(); err != nil {
		return nil, err
	}
	if err := checkFrequencies(frequencies); err != nil {
		return nil, err
	}
	if err := checkReach(body, frequencies[len(frequencies)-1]); err != nil {
		return nil, err
	}
	return newSolver().solve(ctx, body, frequencies, opt)
}

func checkFrequencies(frequencies []float64) error {
	if len(frequencies) == 0 {
		return fmt.Errorf("no frequency: %w", ErrFrequency)
	}
	last := 0.0
	for i, f := range frequencies {
		if !(f > last && f <= math.MaxFloat64) {
			return fmt.Errorf("frequency %d: %g Hz after %g Hz: %w", i+1, f, last, ErrFrequency)
		}
		last = f
	}
	return nil
}

// mostTravelling is the number of TM0n modes of a section up to which a body
// is solved, evanescent ones below twice the frequency included.
const mostTravelling = 60

// checkReach refuses bodies that are too many wavelengths wide.
func checkReach(b Body, top float64) error {
	for i, s := range b.Sections {
		half := c0 / (2 * top * math.Sqrt(cmplx.Abs(s.permittivity())))
		if n := (s.OuterDiameter - s.InnerDiameter) / half; !(n <= mostTravelling) {
			return fmt.Errorf("section %d is %.3g half waves wide at %.6g Hz, at most %d are solved: lower the end of the sweep: %w",
				i+1, n/2, top, mostTravelling/2, ErrFrequency)
		}
	}
	return nil
}

// solver keeps planes it has met, for bodies that share them.
type solver struct {
	planes map[planeKey]*plane
}

type planeKey struct {
	l, r   Section
	degree int
	near   string
	widest float64
}

func newSolver() *solver { return &solver{planes: map[planeKey]*plane{}} }

// plane returns the plane between two sections, from what the solver keeps if
// it can, be it the other way round.
func (s *solver) plane(l, r Section, degree int, near []complex128, top float64) *plane {
	l.Length, r.Length = 0, 0
	slices.SortFunc(near, func(a, b complex128) int {
		return cmp.Or(cmp.Compare(real(a), real(b)), cmp.Compare(imag(a), imag(b)))
	})
	at := fmt.Sprint(near)
	// half a wavelength at most, if the aperture is wider than that
	widest := c0 / top / math.Sqrt(max(cmplx.Abs(l.permittivity()), cmplx.Abs(r.permittivity()))) / 2
	if widest > min(l.OuterDiameter, r.OuterDiameter)/2 {
		widest = math.Inf(1)
	}
	if p := s.planes[planeKey{l, r, degree, at, widest}]; p != nil {
		return p
	}
	if p := s.planes[planeKey{r, l, degree, at, widest}]; p != nil {
		return p.reversed()
	}
	if len(s.planes) > 400 {
		clear(s.planes)
	}
	p := newPlane(l, r, degree, planeModes(l, r, degree), near, widest)
	s.planes[planeKey{l, r, degree, at, widest}] = p
	return p
}

func (s *solver) solve(ctx context.Context, body Body, frequencies []float64, opt Options) (*Result, error) {
	top := frequencies[len(frequencies)-1]
	c, estimate, err := s.converge(ctx, body, frequencies, opt)
	if err != nil {
		return nil, err
	}
	res := &Result{EstimatedError: estimate}
	for _, p := range c.planes {
		res.Planes = append(res.Planes, Plane{Capacitance: p.capacitance()})
		res.FunctionsUsed = max(res.FunctionsUsed, p.size)
	}
	for _, g := range c.segments {
		res.ModesUsed = max(res.ModesUsed, len(g.guide.kc))
	}
	res.Sections, res.Warnings = sectionModes(body, top)

	all := c.portModes(top)
	var kept []int // ports kept, as indices into all
	for i, m := range all {
		g := c.segments[m.segment]
		tem := g.modes[m.mode] < 0
		if !tem && !opt.AllModes {
			continue
		}
		kept = append(kept, i)
		port := Port{End: 1, Mode: "TEM", Impedance: g.impedance, Cutoff: g.kc[m.mode] * c0 / (2 * math.Pi * math.Sqrt(real(g.eps)))}
		if g.guide.hollow() {
			port.Impedance = math.NaN()
		}
		if m.segment > 0 {
			port.End = 2
		}
		if !tem {
			port.Mode = fmt.Sprintf("TM0%d", g.modes[m.mode]+1)
		}
		res.Ports = append(res.Ports, port)
	}
	n := len(kept)
	net := network.New(n, frequencies, 1)
	for i, p := range res.Ports {
		if !math.IsNaN(p.Impedance) {
			net.Reference[i] = complex(p.Impedance, 0)
		}
	}

	lossless := body.Inner == nil && body.Outer == nil
	for _, g := range c.segments {
		lossless = lossless && imag(g.eps) == 0
	}
	var mu sync.Mutex
	var firstErr error
	done := 0
	next := 0
	work := func() {
		var sc scratch
		for {
			mu.Lock()
			k := next
			next++
			stop := firstErr != nil || k >= len(frequencies) || ctx.Err() != nil
			mu.Unlock()
			if stop {
				return
			}
			f := frequencies[k]
			out, err := c.at(f, &sc)
			var sm []complex128
			excess := 0.0
			if err == nil {
				sm = c.scattering(f, out, all)
				excess = powerError(sm, len(all), lossless, func(i int) bool {
					return c.segments[all[i].segment].travels(all[i].mode, 2*math.Pi*f/c0)
				})
				for i, a := range kept {
					for j, b := range kept {
						v := sm[a*len(all)+b]
						v *= c.shift(f, all[a], opt.Shift) * c.shift(f, all[b], opt.Shift)
						net.Set(k, i, j, v)
					}
				}
			}
			mu.Lock()
			if err != nil && firstErr == nil {
				firstErr = err
			}
			res.UnitarityError = max(res.UnitarityError, excess)
			done++
			if opt.Progress != nil {
				opt.Progress(done, len(frequencies))
			}
			mu.Unlock()
		}
	}
	workers := opt.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var wg sync.WaitGroup
	for range min(workers, len(frequencies)) {
		wg.Go(work)
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if firstErr != nil {
		return nil, firstErr
	}
	res.Network = net

	return res, nil
}

// converge prepares the cascade, of a degree that meets the accuracy asked
// for, and estimates its error.
func (s *solver) converge(ctx context.Context, body Body, frequencies []float64, opt Options) (*cascade, float64, error) {
	accuracy := opt.Accuracy
	if accuracy <= 0 {
		accuracy = 1e-5
	}
	degrees := []int{3, 4, 5, 6, 8}
	if opt.Degree > 0 {
		degrees = []int{opt.Degree}
	}
	top := frequencies[len(frequencies)-1]
	var best *cascade
	least := math.Inf(1)
	for _, d := range degrees {
		if err := ctx.Err(); err != nil {
			return nil, 0, err
		}
		c := s.prepare(body, top, d, false)
		estimate, err := compare(c, s.prepare(body, top, d, true), frequencies)
		if err != nil {
			return nil, 0, err
		}
		if estimate < least {
			best, least = c, estimate
		} else if d > 4 {
			break // rounding has the word now
		}
		if least <= accuracy {
			break
		}
	}
	if best == nil {
		return nil, 0, fmt.Errorf("up to %.6g Hz no degree of the trial functions gives a number: %w", top, ErrFrequency)
	}
	return best, least, nil
}

// compare returns the largest difference in S between two cascades of the same
// body, at up to 33 of the frequencies.
func compare(a, b *cascade, frequencies []float64) (float64, error) {
	worst := 0.0
	all := a.portModes(frequencies[len(frequencies)-1])
	var sa, sb scratch
	for _, k := range probes(len(frequencies)) {
		f := frequencies[k]
		oa, err := a.at(f, &sa)
		if err != nil {
			return 0, err
		}
		ob, err := b.at(f, &sb)
		if err != nil {
			return 0, err
		}
		x, y := a.scattering(f, oa, all), b.scattering(f, ob, all)
		for i := range x {
			if d := cmplx.Abs(x[i] - y[i]); !(d <= worst) {
				worst = d
			}
		}
	}
	return worst, nil
}

// probes returns up to 33 indices spread over n.
func probes(n int) []int {
	const most = 33
	if n <= most {
		p := make([]int, n)
		for i := range p {
			p[i] = i
		}
		return p
	}
	p := make([]int, most)
	for i := range p {
		p[i] = i * (n - 1) / (most - 1)
	}
	return p
}
