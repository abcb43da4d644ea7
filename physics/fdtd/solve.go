package fdtd

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"slices"

	"linewright/physics/fdtd/internal/yee"
	"linewright/physics/internal/dense"
	"linewright/physics/network"
)

// Options of a solution; the zero value is sensible.
type Options struct {
	// CellsPerWave is the number of cells to the shortest wavelength; 0: 20.
	CellsPerWave float64
	// Cell is the largest cell, in m; 0: from CellsPerWave.
	Cell float64
	// Across is the least number of cells across a gap between metals or the width of
	// a conductor; other narrow things get their part of it. 0: 4.
	Across int
	// Layers is the depth of the matched layers, in cells; 0: 12.
	Layers int
	// MaxCells refuses larger grids; 0: 5e7.
	MaxCells float64
	// MaxBytes refuses grids that need more memory; 0: no limit.
	MaxBytes float64
	// MaxSteps ends a run that does not decay; 0: 100000.
	MaxSteps int
	// EnergyLeft ends a run when the energy has fallen to this part of its
	// peak; 0: 1e-8.
	EnergyLeft float64
	// Double computes in double precision.
	Double bool
	// Frequencies, in Hz, at which S is wanted; nil: 101 over the band.
	Frequencies []float64
	// Slices are planes on which the fields are recorded, for pictures.
	Slices []Slice
	// Workers is the number of threads; 0: as many as the processor has.
	Workers int
	// Progress, if not nil, is told the run, its step, and the energy left
	// as a part of the peak.
	Progress func(run, runs, step int, energyLeft float64)
	// Checkpoint, if not nil, gives a writer for the state of the current run
	// every CheckpointSteps steps (0: 5000); it is closed after writing. A nil
	// writer leaves this one out.
	Checkpoint      func() (io.WriteCloser, error)
	CheckpointSteps int
	// Resume, if not nil, is a state written by Checkpoint, of the same model
	// and options.
	Resume io.Reader
}

func (o Options) cellsPerWave() float64 { return or(o.CellsPerWave, 20) }
func (o Options) layers() int           { return int(or(float64(o.Layers), 12)) }
func (o Options) maxCells() float64     { return or(o.MaxCells, 5e7) }

func or(x, y float64) float64 {
	if x == 0 {
		return y
	}
	return x
}

// Size is what a solution will take.
type Size struct {
	Cells    [3]int
	Bytes    float64
	TimeStep float64    // s
	Smallest [3]float64 // m, the smallest cell along each axis, which sets the step
	Why      string     // how the grid came about
}

// Estimate says how large the grid will be, before anything is run.
func Estimate(m *Model, o Options) (Size, error) {
	g, err := m.divide(o)
	if err != nil {
		return Size{}, err
	}
	s := Size{Cells: g.n}
	inv := 0.0
	for a := range 3 {
		s.Smallest[a] = math.Inf(1)
		for _, d := range g.d[a] {
			s.Smallest[a] = min(s.Smallest[a], d)
		}
		inv += 1 / (s.Smallest[a] * s.Smallest[a])
	}
	s.TimeStep = 0.99 / (c0 * math.Sqrt(inv))
	s.Bytes = g.bytes(o)
	s.Why = fmt.Sprintf("cells of at most 1/%g of the wavelength at %.4g GHz in the slowest material (index %.3g)", o.cellsPerWave(), m.Band[1]/1e9, m.slowest())
	if o.Cell > 0 {
		s.Why = fmt.Sprintf("cells of at most %.4g mm as asked", o.Cell*1e3)
	}
	s.Why += fmt.Sprintf(", planes on the faces of solids, %d cells across a gap between metals, growing by %.0f %% at most, %d cells of matched layer behind ports and open sides", o.Narrow(), 100*growth, o.layers())
	small, axis := "", 0
	for a := range 3 {
		if g.mesh[a].smallest != "" && s.Smallest[a] <= min(s.Smallest[0], s.Smallest[1], s.Smallest[2]) {
			small, axis = g.mesh[a].smallest, a
		}
	}
	if small != "" {
		s.Why += fmt.Sprintf("; %s along %c sets the smallest cell, and so the step in time", small, 'x'+rune(axis))
	}
	return s, nil
}

// bytes is the most memory of a solution: that of a run, or before it that of a port's
// modes.
//
// A run holds the fields, twice, the coefficients of rows that repeat left out, and the
// free parts of edges and faces; the layers remember four numbers in each of their cells.
func (g *grid) bytes(o Options) float64 {
	word := 4.0
	if o.Double {
		word = 8
	}
	const free = 6 * 4.0 // of edges and faces
	sum := (12*word + free) * float64(g.size)
	for a := range 3 {
		sum += 4 * word * float64(g.size) * float64(g.layers[a][0]+g.layers[a][1]) / float64(g.n[a])
	}
	sum *= 1.15 // indexes and padding, measured on 2 million cells
	for _, p := range g.model.Ports {
		sum = max(sum, 1.15*free*float64(g.size)+g.portBytes(p))
	}
	return sum
}

// portBytes is the memory in which a port's modes are found, measured as the process's peak on
// cross-sections of 4 000 to 38 000 cells: the factors, and as much again that the collector
// has not yet taken back.
func (g *grid) portBytes(p Port) float64 {
	each := 4.5e3 // the static field and the lowest cutoffs
	if p.Modes > 1 || !g.model.homogeneous() {
		each = 13e3 // the modes over the band
	}
	cells := 1.0
	for k := range 2 {
		b, n := (int(p.Side)/2+1+k)%3, 0
		for i, d := range g.d[b] {
			if x := g.at[b][i] + d/2; p.Window == ([2][2]float64{}) || x > p.Window[0][k] && x < p.Window[1][k] {
				n++
			}
		}
		cells *= float64(n)
	}
	return each * cells
}

// homogeneous says whether all of the model that is not metal has one permittivity.
func (m *Model) homogeneous() bool {
	var found []float64
	look := func(w Material) {
		if eps := max(1, w.Dielectric.Permittivity); !w.Metal && !slices.Contains(found, eps) {
			found = append(found, eps)
		}
	}
	look(m.Background)
	for _, s := range m.Solids {
		look(s.Material)
	}
	return len(found) <= 1
}

// Result of a solution.
type Result struct {
	Network    network.Network // rows and columns as Waves; reference: Impedance at mid-band
	Waves      []Wave          // of the ports in turn, one unless a port has several modes
	Impedance  [][]complex128  // Ω, by wave and frequency, to which S is referred: of the line on the grid, or Port.Reference
	Effective  []float64       // effective permittivity of each mode, at rest: of the wave on the grid
	Notes      []string        // what to know of the ports' modes in the band
	Cells      int
	Steps      int // of all runs
	TimeStep   float64
	EnergyLeft float64   // largest of the runs, as a part of the peak
	Slices     []Picture // of Options.Slices in their order, each at its frequencies, then at its times
}

// Solve computes the scattering parameters.
func Solve(ctx context.Context, m *Model, o Options) (*Result, error) {
	if len(m.Ports) == 0 {
		return nil, errNoPort
	}
	if o.Double {
		return solve[float64](ctx, m, o)
	}
	return solve[float32](ctx, m, o)
}

// A prepared model is on its grid, its ports' modes known.
type prepared struct {
	grid     *grid
	sections []*section // modes of all ports in turn
	hears    []int      // the run in which each port is fed first
	result   *Result    // without S
	pairs    []conductors
}

func prepare(m *Model, o Options) (*prepared, error) {
	g, err := m.divide(o)
	if err != nil {
		return nil, err
	}
	g.measure()
	if err := errors.Join(g.checkSeen(), g.checkCages(), g.checkSlices(o)); err != nil {
		return nil, err
	}
	p := &prepared{grid: g, hears: make([]int, len(m.Ports)), result: &Result{Cells: g.n[0] * g.n[1] * g.n[2], TimeStep: g.dt}}
	var errs []error
	for i := range m.Ports {
		modes, notes, err := g.sections(i)
		errs = append(errs, err)
		p.hears[i] = len(p.sections)
		p.sections = append(p.sections, modes...)
		p.result.Notes = append(p.result.Notes, notes...)
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	freq := o.Frequencies
	if freq == nil {
		for i := range 101 {
			freq = append(freq, m.Band[0]+(m.Band[1]-m.Band[0])*float64(i)/100)
		}
	}
	p.result.Network = network.New(len(p.sections), freq, 1)
	p.pairs = g.conductorWaves(p.sections)
	for i, s := range p.sections {
		p.result.describe(g, s, i, p.pairs)
	}
	return p, nil
}

// Survey does all of a solution that comes before its first step: it finds what the grid
// cannot see, cages that are open, and the modes of the ports. The result's S are zero.
func Survey(m *Model, o Options) (*Result, error) {
	if len(m.Ports) == 0 {
		return nil, errNoPort
	}
	p, err := prepare(m, o)
	if err != nil {
		return nil, err
	}
	return p.result, nil
}

var errNoPort = errors.New("fdtd: the model has no port: add one where a line leaves the region")

func solve[T float](ctx context.Context, m *Model, o Options) (*Result, error) {
	p, err := prepare(m, o)
	if err != nil {
		return nil, err
	}
	g, res, sections, hears := p.grid, p.result, p.sections, p.hears
	freq, n := res.Network.Frequency, len(sections)
	first := make([]int, n) // of each port's series
	for i := range n - 1 {
		first[i+1] = first[i] + 2*max(1, len(sections[i].patterns))
	}
	var from int
	var series [][]float64
	f := newFields[T](g, o.Workers)
	if o.Resume != nil {
		if from, series, err = f.load(o.Resume, o, freq, hears); err != nil {
			return nil, err
		}
	}
	resumed := o.Resume != nil
	if k := first[n-1] + 2*max(1, len(sections[n-1].patterns)); series != nil && len(series) != k {
		return nil, foreign("it has other ports (%d series, here %d): resume with the model and options it was written with", len(series), k)
	}
	pictures := make([][]Picture, len(o.Slices))
	skins := make([][][3]complex128, n)
	a, b := make([][][]complex128, n), make([][][]complex128, n) // [run][port][frequency]
	ended := f.ended
	for run := range n {
		if run < len(ended) {
			past := ended[run]
			a[run], b[run] = past.In, past.Out
			for place, p := range past.Pictures {
				pictures[place] = p
			}
			skins[run] = past.Skin
			res.Steps += past.Steps
			res.EnergyLeft = max(res.EnergyLeft, past.EnergyLeft)
			continue
		}
		state, past := f, [][]float64(nil)
		switch {
		case resumed && run == from:
			past = series
		case run > 0 || resumed:
			f = nil // the run before is over
			state = newFields[T](g, o.Workers)
		}
		if !(resumed && run == from) {
			state.recorders = g.recorders(o, run, hears)
			state.skin = g.skin(freq)
		}
		state.ended = ended
		v, left, err := state.run(ctx, m, o, sections, run, past)
		if err != nil {
			return nil, err
		}
		a[run], b[run] = make([][]complex128, n), make([][]complex128, n)
		for i, s := range sections {
			for _, fr := range freq {
				in, out := s.waves(g, v[first[i]:], fr)
				a[run][i], b[run][i] = append(a[run][i], in), append(b[run][i], out)
			}
		}
		for _, c := range p.pairs {
			c.apply(g, freq, a[run], b[run])
		}
		for _, r := range state.recorders {
			s, peak := sections[run], 0.0
			for _, x := range v[first[run]] {
				peak = max(peak, math.Abs(x))
			}
			incident := func(f float64) complex128 { in, _ := s.waves(g, v[first[run]:], f); return in }
			pictures[r.place] = r.pictures(incident, peak, g.dt)
		}
		res.Steps += state.step
		res.EnergyLeft = max(res.EnergyLeft, left)
		if state.skin != nil {
			skins[run] = state.skin.sums
		}
		done := finished{Skin: skins[run], In: a[run], Out: b[run], Pictures: map[int][]Picture{}, Steps: state.step, EnergyLeft: left}
		for _, r := range state.recorders {
			done.Pictures[r.place] = pictures[r.place]
		}
		ended = append(ended, done)
	}
	surface := g.skin(freq)
	for _, p := range pictures {
		res.Slices = append(res.Slices, p...)
	}
	for k := range freq {
		x, y := make([]complex128, n*n), make([]complex128, n*n)
		for run := range n {
			for i := range n {
				x[i*n+run], y[i*n+run] = a[run][i][k], b[run][i][k]
			}
		}
		in := slices.Clone(x)
		divideRight(n, y, x)
		if surface != nil { // A⁻ᵀ M A⁻¹ of M between the runs
			loss := make([]complex128, n*n)
			for i := range n {
				for j := range n {
					loss[i*n+j] = surface.overlap(skins[i], skins[j], k)
				}
			}
			for range 2 { // M is symmetric
				divideRight(n, loss, slices.Clone(in))
				transpose(n, loss)
			}
			for i := range y {
				y[i] += loss[i]
			}
		}
		copy(res.Network.S[k*n*n:], y)
	}
	return res, nil
}

// waves returns the waves into and out of the device at frequency fr, in the
// port's reference plane, from the port's voltages and currents over time, in turn.
func (s *section) waves(g *grid, series [][]float64, fr float64) (in, out complex128) {
	z := s.impedance(g, fr)
	v, i := complex(0, 0), complex(0, 0)
	for n, w := range s.weights(fr) {
		v += complex(w, 0) * transform(series[2*n], fr, g.dt, g.every(), 1)
		i += complex(w, 0) * transform(series[2*n+1], fr, g.dt, g.every(), 1.5) // H stands half a step later
	}
	shift := cmplx.Exp(complex(0, 1) * s.travel(g, fr))
	root := cmplx.Sqrt(z)
	return (v + z*i) / 2 / root / shift, (v - z*i) / 2 / root * shift
}

// travel returns the phase, in rad, from the port's grid plane inward to its
// reference plane.
func (s *section) travel(g *grid, f float64) complex128 {
	sum := complex(0, 0)
	x := g.at[s.axis]
	lo, hi, sign := x[s.plane], s.port.Plane, s.sign
	if hi < lo {
		lo, hi, sign = hi, lo, -sign
	}
	for i, d := range g.d[s.axis] {
		if part := min(hi, x[i+1]) - max(lo, x[i]); part > 0 {
			sum += s.phase(g, f, d) * complex(part/d*sign, 0)
		}
	}
	return sum
}

// divideRight sets y to y x⁻¹; x is spoilt. It is no number where x has no inverse.
func divideRight(n int, y, x []complex128) {
	transpose(n, x)
	transpose(n, y)
	var lu dense.LU
	if err := lu.Factor(&dense.Matrix{Rows: n, Cols: n, Data: x}); err != nil {
		for i := range y {
			y[i] = cmplx.NaN()
		}
		return
	}
	lu.Solve(&dense.Matrix{Rows: n, Cols: n, Data: y})
	transpose(n, y)
}

func transpose(n int, x []complex128) {
	for i := range n {
		for j := range i {
			x[i*n+j], x[j*n+i] = x[j*n+i], x[i*n+j]
		}
	}
}

// every is the number of steps between two readings of a port: 64 readings or more to
// the period of the band's top.
func (g *grid) every() int { return max(1, int(1/(64*g.model.Band[1]*g.dt))) }

// transform is the Fourier integral of samples at (n·every + at)·dt.
func transform(v []float64, f, dt float64, every int, at float64) complex128 {
	w := -2 * math.Pi * f * dt
	turn := cmplx.Exp(complex(0, w*float64(every)))
	sum := complex(0, 0)
	for i := len(v) - 1; i >= 0; i-- { // Horner
		sum = sum*turn + complex(v[i], 0)
	}
	return sum * cmplx.Exp(complex(0, w*at)) * complex(dt*float64(every), 0)
}

// pulse is the source current against time: a Gaussian whose spectrum fills the
// band; where the band reaches down to a fifth of its top it is not modulated.
func pulse(band [2]float64, hollow bool) func(t float64) float64 {
	if !hollow && band[0] < 0.2*band[1] {
		s := 0.35 / band[1]                                                                   // −20 dB at the top of the band
		return func(t float64) float64 { x := (t - 5.5*s) / s; return -x * math.Exp(-x*x/2) } // no mean: nothing static stays behind
	}
	mid, half := (band[0]+band[1])/2, max((band[1]-band[0])/2, 0.05*band[1])
	s := 0.35 / half // −21 dB at the edges of the band, little at the cutoff below it
	return func(t float64) float64 {
		x := (t - 5.5*s) / s
		return math.Exp(-x*x/2) * math.Sin(2*math.Pi*mid*(t-5.5*s))
	}
}

// run excites one port and returns voltage and current of all ports in turn, and
// the energy that is left as a part of its peak.
func (f *fields[T]) run(ctx context.Context, m *Model, o Options, sections []*section, run int, v [][]float64) (series [][]float64, left float64, err error) {
	var meters []meter
	var source []tap
	for i, s := range sections {
		src, m := s.taps(f.grid)
		meters = append(meters, m...)
		if i == run {
			source = src
		}
	}
	if v == nil {
		v = make([][]float64, 2*len(meters))
	}
	wave := pulse(m.Band, sections[run].kind != TEM)
	over := int(11 * 0.35 / max((m.Band[1]-m.Band[0])/2, 0.05*m.Band[1]) / f.dt) // the pulse is over
	most, every := int(or(float64(o.MaxSteps), 100000)), int(or(float64(o.CheckpointSteps), 5000))
	left = 1
	e, err := f.start()
	if err != nil {
		return nil, 0, err
	}
	e.Drive(f.yeeTaps(source), func(step int) float64 { return wave((float64(step) + 0.5) * f.dt) })
	var read []*yee.Meter // as v
	for i := range meters {
		read = append(read, e.MeterE(f.yeeTaps(meters[i].voltage), f.grid.every()), e.MeterH(f.yeeTaps(meters[i].current), f.grid.every()))
	}
	for f.step < most {
		// as many steps at once as nobody looks between
		n := f.step
		for n++; n < most && n%50 != 0 && !(o.Checkpoint != nil && n%every == 0) && !f.watched(n-1); {
			n++
		}
		if err := e.Run(ctx, n-f.step); err != nil {
			return nil, 0, err
		}
		f.step = n
		for i, r := range read {
			v[i] = append(v[i], r.Values...)
			r.Values = r.Values[:0]
		}
		if n--; f.watched(n) {
			f.pull(e)
			for _, r := range f.recorders {
				for c := range 3 {
					sample(r, c, f.e[c], n, (float64(n)+1)*f.dt, f.dt)
					sample(r, 3+c, f.h[c], n, (float64(n)+1.5)*f.dt, f.dt)
				}
			}
			sampleSkin(f.skin, &f.h, n, (float64(n)+1.5)*f.dt, f.dt)
		}
		if f.step%50 == 0 {
			now := e.Energy(376.73)
			f.peak = max(f.peak, now)
			left = now / f.peak
			if !(now < math.Inf(1)) {
				return nil, 0, fmt.Errorf("fdtd: the fields grow without bound at step %d: this is a fault of the solver, please report the model", f.step)
			}
			if o.Progress != nil {
				o.Progress(run, len(sections), f.step, left)
			}
			if f.step > over && left < or(o.EnergyLeft, 1e-8) {
				break
			}
		}
		if o.Checkpoint != nil && f.step%every == 0 {
			w, err := o.Checkpoint()
			if err != nil {
				return nil, 0, err
			}
			if w == nil {
				continue
			}
			if err := f.save(w, e, run, v); err != nil {
				w.Close()
				return nil, 0, err
			}
			if err := w.Close(); err != nil {
				return nil, 0, err
			}
		}
	}
	return v, left, nil
}
