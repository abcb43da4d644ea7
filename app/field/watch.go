package field

import (
	"math"
	"time"

	"linewright/app/workspace"
	"linewright/physics/fdtd"
)

// A watch tells how long a solution on one grid will still take: from its own
// speed, and from how fast the energy falls.
type watch struct {
	start     time.Time // of everything
	now       func() time.Time
	first     time.Time // of this grid's first report
	target    float64
	most      int
	cells     float64
	least     int
	run       int
	begun     int       // step at the first report of this run
	longest   int       // of the runs before
	steps     []float64 // samples of this run
	levels    []float64 // log10 of the energy left
	high      float64   // the fraction reported last
	work      float64   // cells times steps done here
	lastStep  int
	perStep   float64 // s
	totalStep int     // done here, of all runs
}

func newWatch(s workspace.Structure, o fdtd.Options, start time.Time, now func() time.Time) *watch {
	w := &watch{start: start, now: now, target: o.EnergyLeft, run: -1}
	if w.target == 0 {
		w.target = 1e-8
	}
	p, _ := size(s, o) // a grid that does not fit was refused before
	w.cells, w.least, w.most = p.Total, p.LeastSteps, p.MostSteps
	return w
}

// at takes a report of the solver.
func (w *watch) at(run, runs, step int, left float64) Progress {
	now := w.now()
	if w.first.IsZero() {
		w.first = now
	}
	if run != w.run {
		w.longest = max(w.longest, w.lastStep)
		w.run, w.begun, w.lastStep = run, step, step
		w.steps, w.levels = nil, nil
	}
	w.totalStep += step - w.lastStep
	w.work = w.cells * float64(w.totalStep)
	w.lastStep = step
	w.steps, w.levels = append(w.steps, float64(step)), append(w.levels, math.Log10(math.Max(left, 1e-300)))
	if w.totalStep > 0 {
		w.perStep = now.Sub(w.first).Seconds() / float64(w.totalStep)
	}
	end, sure := w.end()
	more := math.Max(end-float64(step), 0)
	each := math.Max(end, float64(w.longest))
	more += each * float64(runs-1-run)
	p := Progress{Run: run + 1, Runs: runs, Step: step, EnergyLeft: left, Target: w.target, Left: more * w.perStep, Sure: sure, Elapsed: now.Sub(w.start).Seconds()}
	done := float64(step) + each*float64(run)
	if done+more > 0 {
		w.high = math.Max(w.high, done/(done+more))
	}
	p.Fraction = w.high
	return p
}

// end is the step at which this run will end, and how sure that is.
func (w *watch) end() (float64, Sureness) {
	n := len(w.steps)
	now := w.steps[n-1]
	// The line through the later half of the fall.
	from := n
	for from > 0 && w.levels[from-1] < -0.3 {
		from--
	}
	from = max(from, n-max((n-from+1)/2, 8))
	if k := float64(n - from); k >= 6 {
		var sx, sy, sxx, sxy float64
		for i := from; i < n; i++ {
			x, y := w.steps[i]-now, w.levels[i]
			sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
		}
		if slope := (k*sxy - sx*sy) / (k*sxx - sx*sx); slope < 0 {
			end := now + (math.Log10(w.target)-w.levels[n-1])/slope
			end = math.Max(end, float64(w.least))
			if end < float64(w.most) {
				return end, About
			}
			return float64(w.most), AtMost
		}
	}
	return math.Max(float64(w.least), now), AtLeast
}
