package fdtd

import (
	"math"

	"linewright/physics/fdtd/internal/yee"
)

// engine returns the machine that runs f: package yee, fed with f's
// coefficients. The tests hold it against plain loops (stepE, stepH).
func (f *fields[T]) engine() (*yee.Engine[T], error) {
	c := yee.Config{Cells: f.n}
	wide := func(s []T) []float64 {
		if s == nil {
			return nil
		}
		out := make([]float64, len(s))
		for i, v := range s {
			out[i] = float64(v)
		}
		return out
	}
	for a := range 3 {
		c.Dual[a], c.Size[a] = wide(f.inverseE[a][:f.n[a]+1]), wide(f.inverseH[a][:f.n[a]])
		for l, p := range f.psiE[a] {
			q, n := f.psiH[a][l], f.n[p.axis]
			c.Layers[p.axis] = &yee.Layer{
				ElectricB: wide(p.b[:n+1]), ElectricC: wide(p.c[:n+1]),
				MagneticB: wide(q.b[:n]), MagneticC: wide(q.c[:n]),
			}
		}
	}
	row := func(r *rows[T], j, k int, to []float64) {
		at := int(r.offset[j+1+(k+1)*(f.n[1]+2)])
		for i := range to {
			to[i] = float64(r.table[at+i])
		}
	}
	c.Electric = func(j, k int, keep, gain *[3][]float64) {
		for a := range 3 {
			row(&f.keep[a], j, k, keep[a])
			row(&f.gain[a], j, k, gain[a])
		}
	}
	c.Magnetic = func(j, k int, turn *[3][]float64) {
		for a := range 3 {
			row(&f.turn[a], j, k, turn[a])
		}
	}
	for a := range 3 {
		c.Dispersive = f.stretches(a, c.Dispersive)
		first := len(c.Coupled)
		for _, i := range f.coupled[a].faces {
			p := f.place(i)
			c.Coupled = append(c.Coupled, yee.Face{Component: a, I: p[0], J: p[1], K: p[2]})
		}
		for _, p := range f.coupled[a].pairs {
			i, j := &c.Coupled[first+p.i], &c.Coupled[first+p.j]
			i.Takes = append(i.Takes, yee.Take{Face: first + p.j, Weight: float64(p.fromJ)})
			j.Takes = append(j.Takes, yee.Take{Face: first + p.i, Weight: float64(p.fromI)})
		}
	}
	return yee.New[T](c, yee.Options{Workers: f.workers})
}

// stretches joins dispersive edges that follow each other along x and whose
// materials have the same poles in the same proportions.
func (f *fields[T]) stretches(a int, out []yee.Dispersion) []yee.Dispersion {
	alike := func(d *dispersive[T], t yee.Term) bool {
		if len(d.keep) != len(t.Keep) {
			return false
		}
		for p := range d.keep {
			if float64(d.keep[p]) != t.Keep[p] || !(math.Abs(float64(d.beta[p]/d.beta[0])-t.Beta[p]) <= 1e-6*t.Beta[p]) {
				return false
			}
		}
		return true
	}
	for n := range f.disperse[a] {
		d := &f.disperse[a][n]
		p := f.place(d.index)
		if m := len(out) - 1; m >= 0 {
			o := &out[m]
			if o.Component == a && o.J == p[1] && o.K == p[2] && o.I+len(o.Gain) == p[0] && alike(d, o.Terms[0]) {
				o.Gain = append(o.Gain, float64(d.gain))
				o.Terms[0].Share = append(o.Terms[0].Share, float64(d.beta[0]))
				continue
			}
		}
		t := yee.Term{Share: []float64{float64(d.beta[0])}}
		for q := range d.keep {
			t.Keep = append(t.Keep, float64(d.keep[q]))
			t.Beta = append(t.Beta, float64(d.beta[q]/d.beta[0]))
		}
		out = append(out, yee.Dispersion{Component: a, I: p[0], J: p[1], K: p[2], Gain: []float64{float64(d.gain)}, Terms: []yee.Term{t}})
	}
	return out
}

// taps are the places of a source or meter as the engine names them.
func (f *fields[T]) yeeTaps(taps []tap) []yee.Tap {
	var out []yee.Tap
	for _, t := range taps {
		p := f.place(t.index)
		out = append(out, yee.Tap{Component: t.component, I: p[0], J: p[1], K: p[2], Weight: t.weight})
	}
	return out
}

// pull copies the fields of the engine into f's.
func (f *fields[T]) pull(e *yee.Engine[T]) {
	for a := range 3 {
		for k := range f.n[2] + 1 {
			for j := range f.n[1] + 1 {
				electric, magnetic := e.Rows(a, j, k)
				at := f.index([3]int{0, j, k})
				copy(f.e[a][at:], electric)
				copy(f.h[a][at:], magnetic)
			}
		}
	}
}

// watched says whether a slice or the metal's surface is read after step n.
func (f *fields[T]) watched(n int) bool {
	if f.skin != nil && n%f.skin.every == 0 {
		return true
	}
	for _, r := range f.recorders {
		if n%r.every == 0 {
			return true
		}
		for _, t := range r.slice.Times {
			if n == max(0, int(math.Round(t/f.dt))-1) {
				return true
			}
		}
	}
	return false
}

// start returns the engine at the beginning of a run, or where the checkpoint
// left it.
func (f *fields[T]) start() (*yee.Engine[T], error) {
	e, err := f.engine()
	if err != nil || f.state == nil {
		return e, err
	}
	if err := f.state.engine(e.Load); err != nil {
		return nil, err
	}
	f.state = nil
	return e, nil
}
