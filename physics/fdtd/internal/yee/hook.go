package yee

import "fmt"

// A hook is what happens to a row besides its kernel: after E, its dispersive
// edges, sources and meters; after H, its coupled faces and meters.
type hook[T Float] struct {
	j       int
	spans   []*span[T]
	sources []source
	faces   []*face[T]
	takes   []*face[T] // whose last giver stands in the row
	reads   []read
}

// A span is a Dispersion made ready: padded to whole groups of its row.
type span[T Float] struct {
	row, from int // component, and the first number of the row
	gain      []T
	share     []T // by term
	poles     []pole[T]
	j         []T // by pole
	old, sum  []T
}

// A pole is known to the assembly: share is which of the shares counts.
type pole[T Float] struct {
	keep, half, beta T
	share            int
}

// A source adds weight·drive to the number at a place.
type source struct {
	at     int
	weight float64
	drive  *drive
}

type drive struct {
	wave   func(step int) float64
	values []float64 // of the steps of a run
}

// A face is a Face: change is H before the row's kernel, and then what that
// changed.
type face[T Float] struct {
	at      int
	change  T
	givers  []*face[T]
	weights []T
}

// A read is a row's part of a meter.
type read struct {
	meter   *Meter
	slot    int
	at      []int
	weights []float64
}

// A Meter adds up the fields at its taps after every so many steps, the first included.
type Meter struct {
	// Values has one sum for each reading.
	Values []float64
	every  int // steps
	first  int // reading of a run
	rows   int
	parts  []float64 // of the readings of a run, by row: added in one order whoever read them
}

// begin makes room for the readings of a run of steps.
func (m *Meter) begin(step, steps int) {
	m.first = (step + m.every - 1) / m.every
	m.parts = make([]float64, m.rows*((step+steps-1)/m.every-m.first+1))
}

// hook returns that of a row, made at need.
func (e *Engine[T]) hook(field, j, k int) *hook[T] {
	plane := e.hooks[field][k]
	i := 0
	for i < len(plane) && plane[i].j < j {
		i++
	}
	if i < len(plane) && plane[i].j == j {
		return plane[i]
	}
	h := &hook[T]{j: j}
	plane = append(plane, nil)
	copy(plane[i+1:], plane[i:])
	plane[i] = h
	e.hooks[field][k] = plane
	return h
}

// check panics if a tap is not on the grid: a fault of the caller.
func (e *Engine[T]) check(t Tap) {
	p := [3]int{t.I, t.J, t.K}
	for a := range 3 {
		if p[a] < 0 || p[a] > e.n[a] {
			panic(fmt.Sprintf("yee: component %d at %v is off the grid of %v cells", t.Component, p, e.n))
		}
	}
}

func (e *Engine[T]) addHooks(c Config) error {
	for f := range e.hooks {
		e.hooks[f] = make([][]*hook[T], e.n[2]+1)
	}
	g := perGroup[T]()
	for _, d := range c.Dispersive {
		n := len(d.Gain)
		e.check(Tap{Component: d.Component, I: d.I + n - 1, J: d.J, K: d.K})
		from := d.I / g * g
		room := (d.I + n - from + g - 1) / g * g
		s := &span[T]{row: d.Component, from: from, gain: aligned[T](room), share: aligned[T](room * len(d.Terms)), old: aligned[T](room), sum: make([]T, room)}
		for i, v := range d.Gain {
			s.gain[d.I-from+i] = T(v)
		}
		for t, term := range d.Terms {
			for i, v := range term.Share {
				s.share[t*room+d.I-from+i] = T(v)
			}
			for p, keep := range term.Keep {
				s.poles = append(s.poles, pole[T]{T(keep), T((1 + keep) / 2), T(term.Beta[p]), t})
			}
		}
		if len(s.poles) == 0 {
			return fmt.Errorf("yee: a dispersive stretch at %d, %d, %d has no pole", d.I, d.J, d.K)
		}
		s.j = aligned[T](room * len(s.poles))
		h := e.hook(0, d.J, d.K)
		h.spans = append(h.spans, s)
		e.spans = append(e.spans, s)
	}
	made := make([]*face[T], len(c.Coupled))
	for i, f := range c.Coupled {
		e.check(Tap{Component: f.Component, I: f.I, J: f.J, K: f.K})
		made[i] = &face[T]{at: e.at(rowHx+f.Component, f.J, f.K) + f.I}
		h := e.hook(1, f.J, f.K)
		h.faces = append(h.faces, made[i])
	}
	for i, f := range c.Coupled {
		last := [2]int{f.J, f.K} // of the rows
		for _, t := range f.Takes {
			o := c.Coupled[t.Face]
			if d := max(o.J-f.J, f.J-o.J, o.K-f.K, f.K-o.K); d > 2 {
				return fmt.Errorf("yee: the face at %d, %d, %d takes from one %d rows away; 2 is the most", f.I, f.J, f.K, d)
			}
			last[0], last[1] = max(last[0], o.J), max(last[1], o.K)
			made[i].givers = append(made[i].givers, made[t.Face])
			made[i].weights = append(made[i].weights, T(t.Weight))
		}
		if len(f.Takes) == 0 {
			continue
		}
		h := e.hook(1, last[0], last[1])
		h.takes = append(h.takes, made[i])
		for _, t := range append([]Take{{Face: i}}, f.Takes...) {
			o := c.Coupled[t.Face]
			e.reach = max(e.reach, last[0]-o.J, last[1]-o.K)
		}
	}
	return nil
}

// Drive adds weight·wave(step) to the electric field at the taps after each
// step; steps count from 0.
func (e *Engine[T]) Drive(taps []Tap, wave func(step int) float64) {
	d := &drive{wave: wave}
	e.drives = append(e.drives, d)
	for _, t := range taps {
		e.check(t)
		h := e.hook(0, t.J, t.K)
		h.sources = append(h.sources, source{e.at(rowEx+t.Component, t.J, t.K) + t.I, t.Weight, d})
	}
}

// MeterE makes a meter of the electric field, read after the sources.
func (e *Engine[T]) MeterE(taps []Tap, every int) *Meter { return e.meter(0, rowEx, taps, every) }

// MeterH makes a meter of the magnetic field.
func (e *Engine[T]) MeterH(taps []Tap, every int) *Meter { return e.meter(1, rowHx, taps, every) }

func (e *Engine[T]) meter(field, row int, taps []Tap, every int) *Meter {
	m := &Meter{every: max(1, every)}
	e.meters = append(e.meters, m)
	for _, t := range taps {
		e.check(t)
		j, k := t.J, t.K
		if field == 1 { // after the coupled faces of the row have taken
			j, k = min(j+e.reach, e.n[1]), min(k+e.reach, e.n[2])
		}
		h := e.hook(field, j, k)
		if n := len(h.reads); n == 0 || h.reads[n-1].meter != m {
			h.reads = append(h.reads, read{meter: m, slot: m.rows})
			m.rows++
		}
		r := &h.reads[len(h.reads)-1]
		r.at = append(r.at, e.at(row+t.Component, t.J, t.K)+t.I)
		r.weights = append(r.weights, t.Weight)
	}
	return m
}

// electric advances E of rows of a plane; step is that of the run.
func (e *Engine[T]) electric(k, j0, j1, step int) {
	for _, h := range e.hooks[0][k] {
		if h.j < j0 {
			continue
		}
		if h.j >= j1 {
			break
		}
		for _, d := range h.spans {
			at := e.at(rowEx+d.row, h.j, k) + d.from
			copy(d.old, e.fields[at:])
		}
		e.kernel.electric(e.layout, k, j0, h.j+1)
		j0 = h.j + 1
		for _, d := range h.spans {
			at := e.at(rowEx+d.row, h.j, k) + d.from
			e.kernel.relax(d, e.fields[at:at+len(d.gain)])
		}
		if step >= 0 {
			for _, s := range h.sources {
				e.fields[s.at] += T(s.weight * s.drive.values[step])
			}
			e.read(h, step)
		}
	}
	if j0 < j1 {
		e.kernel.electric(e.layout, k, j0, j1)
	}
}

// magnetic advances H of rows of a plane.
func (e *Engine[T]) magnetic(k, j0, j1, step int) {
	hooks := e.hooks[1][k]
	for len(hooks) > 0 && hooks[0].j < j0 {
		hooks = hooks[1:]
	}
	for n, h := range hooks {
		if h.j >= j1 {
			hooks = hooks[:n]
			break
		}
		for _, f := range h.faces {
			f.change = e.fields[f.at]
		}
	}
	e.kernel.magnetic(e.layout, k, j0, j1)
	for _, h := range hooks {
		for _, f := range h.faces {
			f.change = e.fields[f.at] - f.change
		}
		for _, f := range h.takes {
			for i, g := range f.givers {
				e.fields[f.at] += f.weights[i] * g.change
			}
		}
		if step >= 0 {
			e.read(h, step)
		}
	}
}

func (e *Engine[T]) read(h *hook[T], step int) {
	at := e.step + step
	for _, r := range h.reads {
		if at%r.meter.every != 0 {
			continue
		}
		sum := 0.0
		for i, at := range r.at {
			sum += r.weights[i] * float64(e.fields[at])
		}
		r.meter.parts[(at/r.meter.every-r.meter.first)*r.meter.rows+r.slot] = sum
	}
}
