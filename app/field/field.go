// Package field runs field solutions in three dimensions for the command line
// and the workbench: it says beforehand what a solution will take, refuses what
// does not fit into memory, tells how long it will still take, keeps its state
// in a file so that it can go on after an interruption, and refines the grid
// until two agree. The physics is physics/fdtd's.
package field

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"linewright/app/workspace"
	"linewright/physics/fdtd"
	"linewright/physics/units"
)

// Plan is what a solution on one grid will take.
type Plan struct {
	fdtd.Size
	Total       float64 // cells
	Runs        int     // one for each wave of each port
	LeastSteps  int     // of a run: until the pulse is over
	MostSteps   int     // of a run
	FreeBytes   float64 // of memory; 0: not known
	Seconds     float64 // a run of LeastSteps would take, at the speed measured here
	MostSeconds float64 // all runs of MostSteps
	Speed       float64 // cells times steps a second, measured on a small grid
}

// ErrMemory says that a solution does not fit.
var ErrMemory = errors.New("it does not fit into memory")

// ErrNoNumber says that a solution has S-parameters that are no numbers.
var ErrNoNumber = errors.New("the S-parameters are no numbers")

// mostActive is how much a passive structure's largest singular value may lie
// above 1 on a coarse grid before its S-parameters are doubted: 0.4 dB.
const mostActive = 1.05

// Active says at which frequency more comes out of the structure than goes in,
// and how much: the largest singular value of its S-parameters. All of it is
// passive, so such a solution is wrong there: mostly the mode of a port does not
// travel yet, or the grid is too coarse for the band.
func (r Result) Active() (frequency, gain float64, active bool) {
	p := r.Network.Passivity()
	return p.Frequency, p.Value, !(p.Value <= mostActive)
}

// NewPlan says what a solution will take. A grid that does not fit into free
// memory is an error, beside the plan.
func NewPlan(s workspace.Structure, o fdtd.Options) (Plan, error) {
	p, err := size(s, o)
	if err != nil {
		return p, err
	}
	p.Speed = speed()
	p.Seconds = p.Total * float64(p.LeastSteps) / p.Speed
	p.MostSeconds = p.Total * float64(p.MostSteps) * float64(p.Runs) / p.Speed
	return p, nil
}

// Survey finds everything that would be refused before the first step, and the ports'
// modes on the grid.
func Survey(s workspace.Structure, o fdtd.Options) (*fdtd.Result, error) {
	r, err := fdtd.Survey(&s.Model, o)
	return r, s.Explain(err)
}

// size is a plan without times.
func size(s workspace.Structure, o fdtd.Options) (Plan, error) {
	z, err := fdtd.Estimate(&s.Model, o)
	if err != nil {
		return Plan{}, s.Explain(err)
	}
	p := Plan{Size: z, Total: float64(z.Cells[0]) * float64(z.Cells[1]) * float64(z.Cells[2]), Runs: s.Model.Waves(), MostSteps: o.MaxSteps, FreeBytes: freeMemory()}
	if p.MostSteps == 0 {
		p.MostSteps = 100000
	}
	// A pulse whose spectrum fills a band of half width h lasts about 4/h.
	half := math.Max((s.Model.Band[1]-s.Model.Band[0])/2, 0.05*s.Model.Band[1])
	p.LeastSteps = min(int(4/half/z.TimeStep), p.MostSteps)
	if p.FreeBytes > 0 && z.Bytes > 0.9*p.FreeBytes {
		return p, fmt.Errorf("%w: the grid of %.3g million cells needs %.3g GB, and %.3g GB are free", ErrMemory, p.Total/1e6, z.Bytes/1e9, p.FreeBytes/1e9)
	}
	return p, nil
}

// keeping is how much memory a solution takes while its state is written, as a
// multiple of what it takes otherwise: measured on 0.26 million cells, where
// writing 19 MB of a run of 24 MB took 0.05 MB and a buffer of 1 MB.
const keeping = 1.1

// Keeps says whether a solution whose state is kept fits into free memory.
func (p Plan) Keeps() error {
	if p.FreeBytes > 0 && keeping*p.Bytes > 0.9*p.FreeBytes {
		return fmt.Errorf("%w: while the state is written the grid needs some %.3g GB, and %.3g GB are free", ErrMemory, keeping*p.Bytes/1e9, p.FreeBytes/1e9)
	}
	return nil
}

// freeMemory is what the system says can still be had, in bytes; 0 where it
// does not say.
func freeMemory() float64 {
	data, err := os.ReadFile("/proc/meminfo")
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(data)) {
		if rest, ok := strings.CutPrefix(line, "MemAvailable:"); ok {
			kb, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(rest), "kB")), 64)
			if err == nil {
				return kb * 1024
			}
		}
	}
	return 0
}

// speed measures cells times steps a second on a grid that a processor's cache
// does not hold whole.
func speed() float64 {
	const n = 48
	m := fdtd.Model{Region: fdtd.Box{High: fdtd.Point{n * 1e-3, n * 1e-3, n * 1e-3}}, Band: [2]float64{3e9, 6e9},
		Ports: []fdtd.Port{{Side: fdtd.ZLow, Mode: fdtd.TE}}}
	for a := range 3 {
		for i := range n + 1 {
			m.Lines[a] = append(m.Lines[a], float64(i)*1e-3)
		}
	}
	m.Region.High = fdtd.Point{m.Lines[0][n], m.Lines[1][n], m.Lines[2][n]}
	var first, last time.Time
	from, to := 0, 0
	_, err := fdtd.Solve(context.Background(), &m, fdtd.Options{MaxSteps: 151, Frequencies: []float64{5e9}, Layers: 4, Progress: func(_, _, step int, _ float64) {
		if first.IsZero() {
			first, from = time.Now(), step
		}
		last, to = time.Now(), step
	}})
	if err != nil || to <= from {
		return 1e7 // never seen; a careful figure
	}
	return float64(n*n*(n+4)) * float64(to-from) / last.Sub(first).Seconds()
}

// Progress is how far a solution is.
type Progress struct {
	Grid, Grids int // which grid, from 1; Grids 0: as many as the accuracy needs
	Run, Runs   int // which run of this grid, from 1
	Step        int
	EnergyLeft  float64 // as a part of the peak
	Target      float64 // of EnergyLeft
	Fraction    float64 // of this grid's work; never falls
	Left        float64 // s, for this grid; see Sure
	Sure        Sureness
	Elapsed     float64 // s
}

// Sureness says what a time left is.
type Sureness int

// How sure a time left is.
const (
	AtLeast Sureness = iota // the energy does not fall yet
	About                   // from the fall of the energy
	AtMost                  // the last step is nearer
)

func (s Sureness) String() string { return [...]string{"at least", "about", "at most"}[s] }

// Stage is where the work stands, in words.
func (p Progress) Stage() string {
	where := fmt.Sprintf("run %d of %d", p.Run, p.Runs)
	if p.Grids != 1 {
		where = fmt.Sprintf("grid %d, %s", p.Grid, where)
	}
	return fmt.Sprintf("%s, step %d, energy %.0f dB, %v %s left", where, p.Step, 10*math.Log10(math.Max(p.EnergyLeft, 1e-30)), p.Sure, Clock(p.Left))
}

// Clock writes seconds as a person says them.
func Clock(s float64) string {
	switch {
	case s < 1:
		return "1 s"
	case s < 90:
		return fmt.Sprintf("%.0f s", s)
	case s < 5400:
		return fmt.Sprintf("%.0f min", s/60)
	case s < 2*86400:
		return fmt.Sprintf("%.1f h", s/3600)
	}
	return fmt.Sprintf("%.0f days", s/86400)
}

// Options of a solution.
type Options struct {
	fdtd.Options
	Accuracy   float64       // of any S-parameter; 0: one grid
	Checkpoint string        // file for the state; empty: none is kept
	KeepEvery  time.Duration // 0: so that less than a minute of work can be lost
	Key        string        // what the state belongs to
	Speed      float64       // of a [Plan]; 0: measured anew
	Progress   func(Progress)
	Now        func() time.Time // nil: time.Now
}

// Grid is one grid's outcome.
type Grid struct {
	CellsPerWave float64 `json:"cells_per_wave"`
	Cells        int     `json:"cells"`
	Steps        int     `json:"steps"`
	Change       float64 `json:"change"` // largest of any S-parameter against the grid before; 0 on the first
}

// Result is a finished solution.
type Result struct {
	*fdtd.Result
	Grids   []Grid
	Error   float64 // estimated, of any S-parameter; NaN from one grid
	Unmet   string  // why the accuracy was not reached; empty when it was
	Seconds float64
	Speed   float64 // cells times steps a second
	Resumed bool
}

// finer is how much finer each grid is than the one before.
const finer = 1.4

// mostGrids bounds the refinement.
const mostGrids = 6

// Run solves a structure.
func Run(ctx context.Context, s workspace.Structure, o Options) (Result, error) {
	now := o.Now
	if now == nil {
		now = time.Now
	}
	start := now()
	out := Result{Error: math.NaN()}
	every := o.KeepEvery
	if every == 0 {
		every = keepEvery
	}
	state, err := openState(o.Checkpoint, o.Key, every)
	if err != nil {
		return out, err
	}
	defer state.close()
	out.Resumed = state.resumed
	if o.Speed == 0 && o.Checkpoint != "" {
		o.Speed = speed()
	}
	begin := o.CellsPerWave
	if begin == 0 {
		begin = 20
	}
	inner, enough := ctx, func() {}
	if o.Checkpoint != "" { // an interruption first keeps the state
		var cancel context.CancelFunc
		inner, cancel = context.WithCancel(context.WithoutCancel(ctx))
		defer cancel()
		enough = cancel
	}
	work := 0.0
	before := state.header.Before
	out.Grids = state.header.Grids
	for level := len(out.Grids); ; level++ {
		f := o.Options
		f.CellsPerWave = begin * math.Pow(finer, float64(level))
		f.Across = int(math.Round(float64(o.Narrow()) * math.Pow(finer, float64(level))))
		if o.Cell > 0 {
			f.Cell = o.Cell / math.Pow(finer, float64(level))
		}
		if level > 0 {
			if _, err := size(s, f); err != nil {
				out.Unmet = fmt.Sprintf("a finer grid cannot be solved: %v", err)
				break
			}
		}
		grids := 0
		if o.Accuracy == 0 {
			grids = 1
		}
		w := newWatch(s, f, start, now)
		f.Progress = func(run, runs, step int, left float64) {
			p := w.at(run, runs, step, left)
			p.Grid, p.Grids = level+1, grids
			if o.Progress != nil {
				o.Progress(p)
			}
		}
		state.attach(ctx, enough, &f, header{Key: o.Key, Grids: out.Grids, Before: before}, w.cells/o.Speed, now)
		r, err := fdtd.Solve(inner, &s.Model, f)
		if err != nil {
			return out, s.Explain(state.damaged(err))
		}
		if k := slices.IndexFunc(r.Network.S, func(x complex128) bool { return cmplx.IsNaN(x) || cmplx.IsInf(x) }); k >= 0 {
			n := r.Network.Ports
			return out, fmt.Errorf("%w at %v", ErrNoNumber, units.Frequency(r.Network.Frequency[k/(n*n)]))
		}
		out.Result = r
		work += w.work
		g := Grid{CellsPerWave: f.CellsPerWave, Cells: r.Cells, Steps: r.Steps}
		if level > 0 {
			for i, x := range r.Network.S {
				g.Change = math.Max(g.Change, cmplx.Abs(x-before[i].complex()))
			}
			// An error that falls with the cell, as at sharp edges of metal, is
			// this part of the change; one that falls faster is less.
			out.Error = g.Change / (finer - 1)
		}
		out.Grids = append(out.Grids, g)
		before = pairs(r.Network.S)
		if o.Accuracy == 0 || out.Error <= o.Accuracy {
			break
		}
		if level+1 == mostGrids {
			out.Unmet = fmt.Sprintf("%d grids were solved", mostGrids)
			break
		}
	}
	if out.Result == nil {
		return out, fmt.Errorf("%s", out.Unmet)
	}
	out.Seconds = now().Sub(start).Seconds()
	if out.Seconds > 0 {
		out.Speed = work / out.Seconds
	}
	return out, state.finish()
}
