package fdtd

import (
	"fmt"
	"math"
	"math/cmplx"
)

// A Slice asks for the fields on a plane across an axis, as pictures.
type Slice struct {
	Axis int     // 0 x, 1 y, 2 z
	At   float64 // m, along Axis: the cells that hold it are taken, at their middle
	Port int     // which port is fed, by its place in Model.Ports; with its first mode
	// Frequencies, in Hz, each of which gives a picture of phasors.
	Frequencies []float64
	// Times, in s after the start, each of which gives a picture of that moment.
	Times []float64
}

// A Picture is the field on a plane, at a frequency or at a time. Cell (i, j)
// lies between U[i], U[i+1] and V[j], V[j+1] and has index i + j·(len(U)−1).
type Picture struct {
	Slice     int     // its place in Options.Slices
	Axis      int     // across the plane: 0 x, 1 y, 2 z
	At        float64 // m, where the plane stands
	Frequency float64 // Hz; 0: a moment
	Time      float64 // s, when Frequency is 0
	// U and V are the bounds of the cells, in m, along the two axes that follow
	// Axis in the cycle x, y, z. Matched layers are left out. The source of a port
	// stands one cell inside the region: in that cell the wave runs outward.
	U, V []float64
	// E, in V/m, and H, in A/m, by component x, y, z, at the middle of each cell.
	// At a frequency they are phasors of peak value for 1 W that runs into the
	// fed port, their phase that of the wave in the port's reference plane. At a
	// moment they are real, the largest voltage at the fed port being 1 V.
	E, H [3][]complex128
	// Metal marks the cells whose middle is metal.
	Metal []bool
}

// MagnitudeE returns √(|Ex|²+|Ey|²+|Ez|²) of every cell, in V/m: of phasors,
// √2 times the rms value.
func (p Picture) MagnitudeE() []float64 { return magnitude(p.E) }

// MagnitudeH is MagnitudeE of H, in A/m.
func (p Picture) MagnitudeH() []float64 { return magnitude(p.H) }

func magnitude(f [3][]complex128) []float64 {
	out := make([]float64, len(f[0]))
	for i := range out {
		out[i] = math.Hypot(math.Hypot(cmplx.Abs(f[0][i]), cmplx.Abs(f[1][i])), cmplx.Abs(f[2][i]))
	}
	return out
}

// A recorder gathers the pictures of one slice while its run goes on. Fields are
// taken on what has been stored on edges and faces; the edges of a cell that are
// free of metal are averaged.
type recorder struct {
	slice Slice
	place int // in Options.Slices
	p     Picture
	every int             // steps from sample to sample of the Fourier sums
	taps  [6][][4]place   // Ex Ey Ez Hx Hy Hz, by cell
	sums  [][6]complexSum // by frequency
	seen  [][6][]float64  // by time
}

type complexSum = []complex128

type place struct {
	index  int
	weight float64 // 0: unused
}

// recorders returns those of the slices that belong to a run.
// recorders returns those of the slices that show this run; hears holds the run in
// which each port is fed.
func (g *grid) recorders(o Options, run int, hears []int) []*recorder {
	var out []*recorder
	for n, s := range o.Slices {
		if hears[s.Port] == run {
			out = append(out, g.recorder(n, s))
		}
	}
	return out
}

func (g *grid) checkSlices(o Options) error {
	for n, s := range o.Slices {
		if s.Axis < 0 || s.Axis > 2 {
			return fmt.Errorf("fdtd: slice %d lies across axis %d: choose 0, 1 or 2 for x, y or z", n, s.Axis)
		}
		if lo, hi := g.model.Region.Low[s.Axis], g.model.Region.High[s.Axis]; !(s.At >= lo && s.At <= hi) {
			return fmt.Errorf("fdtd: slice %d stands at %g m along %c, outside the region, which runs from %g m to %g m: move it inside", n, s.At, 'x'+rune(s.Axis), lo, hi)
		}
		if s.Port < 0 || s.Port >= len(g.model.Ports) {
			return fmt.Errorf("fdtd: slice %d wants port %d fed, but the ports are 0 to %d", n, s.Port, len(g.model.Ports)-1)
		}
		for _, f := range s.Frequencies {
			if !(f > 0 && f <= 2*g.model.Band[1]) {
				return fmt.Errorf("fdtd: slice %d asks for %g Hz, where the pulse holds nothing: choose a frequency above 0 and within the band", n, f)
			}
		}
	}
	return nil
}

func (g *grid) recorder(n int, s Slice) *recorder {
	a, u, v := s.Axis, (s.Axis+1)%3, (s.Axis+2)%3
	from := func(a int) (lo, hi int) { return g.layers[a][0], g.n[a] - g.layers[a][1] }
	lo, hi := from(a)
	k := lo
	for k+1 < hi && g.at[a][k+1] < s.At {
		k++
	}
	r := &recorder{slice: s, place: n, every: max(1, int(1/(6*g.model.Band[1]*g.dt)))}
	ulo, uhi := from(u)
	vlo, vhi := from(v)
	r.p = Picture{Slice: n, Axis: a, At: g.at[a][k] + g.d[a][k]/2, U: g.at[u][ulo : uhi+1], V: g.at[v][vlo : vhi+1]}
	for j := vlo; j < vhi; j++ {
		for i := ulo; i < uhi; i++ {
			var c [3]int
			c[a], c[u], c[v] = k, i, j
			var mid Point
			for b := range 3 {
				mid[b] = g.at[b][c[b]] + g.d[b][c[b]]/2
			}
			r.p.Metal = append(r.p.Metal, g.material(mid).Metal)
			for b := range 3 {
				p, q := (b+1)%3, (b+2)%3
				var e, h [4]place
				free, whole := 0.0, 0.0
				for m := range 4 {
					x := g.index(c) + m%2*g.stride[p] + m/2*g.stride[q]
					if part := float64(g.length[b][x]); part > 0 {
						e[m] = place{x, 1 / part}
						free++
					}
				}
				for m := range 2 {
					x := g.index(c) + m*g.stride[b]
					if g.area[b][x] > 0 {
						h[m] = place{x, 1}
						whole++
					}
				}
				for m := range 4 {
					if free > 0 {
						e[m].weight /= free
					}
					if whole > 0 {
						h[m].weight /= whole
					}
				}
				r.taps[b], r.taps[3+b] = append(r.taps[b], e), append(r.taps[3+b], h)
			}
		}
	}
	cells := len(r.p.Metal)
	r.sums, r.seen = make([][6]complexSum, len(s.Frequencies)), make([][6][]float64, len(s.Times))
	for i := range r.sums {
		for c := range 6 {
			r.sums[i][c] = make(complexSum, cells)
		}
	}
	for i := range r.seen {
		for c := range 6 {
			r.seen[i][c] = make([]float64, cells)
		}
	}
	return r
}

// sample takes component c (0…2 E, 3…5 H) of the field at t, in s, which is
// that of step n.
func sample[T float](r *recorder, c int, field []T, n int, t, dt float64) {
	value := func(x [4]place) float64 {
		s := 0.0
		for _, p := range x {
			s += p.weight * float64(field[p.index])
		}
		return s
	}
	if n%r.every == 0 {
		turn := make([]complex128, len(r.sums))
		for i, f := range r.slice.Frequencies {
			turn[i] = cmplx.Rect(dt*float64(r.every), -2*math.Pi*f*t)
		}
		if len(turn) > 0 {
			for x, tap := range r.taps[c] {
				s := complex(value(tap), 0)
				for i := range turn {
					r.sums[i][c][x] += s * turn[i]
				}
			}
		}
	}
	for i, want := range r.slice.Times {
		if n == max(0, int(math.Round(want/dt))-1) {
			for x, tap := range r.taps[c] {
				r.seen[i][c][x] = value(tap)
			}
		}
	}
}

// pictures scales what was gathered: wave gives the incident wave at a
// frequency, in √W of peak phasors; peak is the largest voltage at the fed port.
func (r *recorder) pictures(wave func(f float64) complex128, peak, dt float64) []Picture {
	var out []Picture
	split := func(p Picture, value func(c, x int) complex128) Picture {
		for c := range 6 {
			s := make([]complex128, len(r.p.Metal))
			for x := range s {
				s[x] = value(c, x)
			}
			if c < 3 {
				p.E[c] = s
			} else {
				p.H[c-3] = s
			}
		}
		return p
	}
	for i, f := range r.slice.Frequencies {
		p := r.p
		p.Frequency = f
		scale := math.Sqrt2 / wave(f)
		out = append(out, split(p, func(c, x int) complex128 { return r.sums[i][c][x] * scale }))
	}
	for i, t := range r.slice.Times {
		p := r.p
		p.Time = math.Max(1, math.Round(t/dt)) * dt
		out = append(out, split(p, func(c, x int) complex128 { return complex(r.seen[i][c][x]/peak, 0) }))
	}
	return out
}
