package yee

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

var long = flag.Bool("long", false, "run more random grids")

// random returns a grid with all that a grid may have: graded cells, metal,
// loss, matched layers, dispersive edges, coupled faces. Coefficients are of the
// size that unit cells and a time step below the limit give.
func random(r *rand.Rand, n [3]int) Config {
	c := Config{Cells: n}
	for a := range 3 {
		d := make([]float64, n[a])
		for i := range d {
			d[i] = 0.8 + 0.4*r.Float64()
			c.Size[a] = append(c.Size[a], 1/d[i])
		}
		for i := range n[a] + 1 {
			s := 0.0
			if i > 0 {
				s += d[i-1] / 2
			}
			if i < n[a] {
				s += d[i] / 2
			}
			c.Dual[a] = append(c.Dual[a], 1/s)
		}
		if r.IntN(3) == 0 {
			continue
		}
		lo, hi := r.IntN(min(5, n[a]+1)), r.IntN(min(5, n[a]+1))
		l := &Layer{}
		for i := range n[a] + 1 {
			b, f := 0.0, 0.0
			if i < lo || i > n[a]-hi {
				b, f = 0.3+0.6*r.Float64(), -0.5*r.Float64()
			}
			l.ElectricB, l.ElectricC = append(l.ElectricB, b), append(l.ElectricC, f)
			if i < n[a] {
				b, f = 0, 0
				if i < lo || i >= n[a]-hi {
					b, f = 0.3+0.6*r.Float64(), -0.5*r.Float64()
				}
				l.MagneticB, l.MagneticC = append(l.MagneticB, b), append(l.MagneticC, f)
			}
		}
		c.Layers[a] = l
	}
	// Some rows are alike, some uniform, some neither.
	const kinds = 6
	seed := r.Uint64()
	row := func(j, k, salt int) (*rand.Rand, int) {
		kind := int((seed>>3 + uint64(j*7+k*3+j*k)) % kinds)
		if j == 0 || k == 0 {
			kind = kinds
		}
		return rand.New(rand.NewPCG(seed, uint64(kind*10+salt))), kind
	}
	there := func(a, i, j, k int, edge bool) bool {
		p := [3]int{i, j, k}
		for b := range 3 {
			if (b == a) == edge && p[b] >= n[b] {
				return false
			}
		}
		return true
	}
	c.Electric = func(j, k int, keep, gain *[3][]float64) {
		for a := range 3 {
			r, kind := row(j, k, a)
			u, v := 1-0.1*r.Float64(), 0.5*r.Float64()
			for i := range n[0] + 1 {
				if kind%2 == 1 {
					u, v = 1-0.1*r.Float64(), 0.5*r.Float64()
					if r.IntN(5) == 0 {
						v = 0
					}
				}
				if there(a, i, j, k, true) && (i > 0 && i < n[0] || a == 0) {
					keep[a][i], gain[a][i] = u, v
				}
			}
		}
	}
	c.Magnetic = func(j, k int, turn *[3][]float64) {
		for a := range 3 {
			r, kind := row(j, k, 3+a)
			v := 0.3 + 0.2*r.Float64()
			for i := range n[0] + 1 {
				if kind%3 == 1 {
					v = 0.5 * r.Float64()
				}
				if there(a, i, j, k, false) {
					turn[a][i] = v
				}
			}
		}
	}
	used := map[[3]int]bool{}
	for range r.IntN(6) {
		a, j, k := r.IntN(3), r.IntN(n[1]+1), r.IntN(n[2]+1)
		if used[[3]int{a, j, k}] {
			continue
		}
		used[[3]int{a, j, k}] = true
		d := Dispersion{Component: a, I: r.IntN(n[0]), J: j, K: k}
		m := 1 + r.IntN(n[0]-d.I)
		for range m {
			d.Gain = append(d.Gain, 0.3*r.Float64())
		}
		for range 1 + r.IntN(2) {
			t := Term{}
			for range m {
				t.Share = append(t.Share, r.Float64())
			}
			for range 1 + r.IntN(3) {
				t.Keep, t.Beta = append(t.Keep, r.Float64()), append(t.Beta, 0.1*r.Float64())
			}
			d.Terms = append(d.Terms, t)
		}
		c.Dispersive = append(c.Dispersive, d)
	}
	at := map[[4]int]bool{}
	f := Face{Component: r.IntN(3), I: r.IntN(n[0]), J: r.IntN(n[1]), K: r.IntN(n[2])}
	for range r.IntN(7) { // a cluster of faces about one
		g := Face{Component: f.Component, I: min(f.I+r.IntN(3), n[0]-1), J: min(f.J+r.IntN(3), n[1]-1), K: min(f.K+r.IntN(3), n[2]-1)}
		if place := [4]int{g.Component, g.I, g.J, g.K}; !at[place] {
			at[place] = true
			c.Coupled = append(c.Coupled, g)
		}
	}
	for i := range c.Coupled {
		for j := range c.Coupled {
			if j != i && r.IntN(2) == 0 {
				c.Coupled[i].Takes = append(c.Coupled[i].Takes, Take{j, 0.2 * r.Float64()})
			}
		}
	}
	return c
}

// A textbook is the grid as a book writes it: one number after the other, in
// float64, each derivative with its own memory.
type textbook struct {
	Config
	e, h               [3]map[[3]int]float64
	keep, gain, turn   [3]map[[3]int]float64
	psiE, psiH         [3][3]map[[3]int]float64
	current            map[string]float64
	driveAt            []Tap
	wave               func(int) float64
	voltage, magnetic  []Tap
	voltages, currents []float64
}

func newTextbook(c Config) *textbook {
	b := &textbook{Config: c, current: map[string]float64{}}
	for a := range 3 {
		for _, m := range []*map[[3]int]float64{&b.e[a], &b.h[a], &b.keep[a], &b.gain[a], &b.turn[a], &b.psiE[a][0], &b.psiE[a][1], &b.psiE[a][2], &b.psiH[a][0], &b.psiH[a][1], &b.psiH[a][2]} {
			*m = map[[3]int]float64{}
		}
	}
	for k := range c.Cells[2] + 1 {
		for j := range c.Cells[1] + 1 {
			var keep, gain, turn [3][]float64
			for a := range 3 {
				keep[a], gain[a], turn[a] = make([]float64, c.Cells[0]+1), make([]float64, c.Cells[0]+1), make([]float64, c.Cells[0]+1)
			}
			c.Electric(j, k, &keep, &gain)
			c.Magnetic(j, k, &turn)
			for a := range 3 {
				for i := range c.Cells[0] + 1 {
					p := [3]int{i, j, k}
					b.keep[a][p], b.gain[a][p], b.turn[a][p] = keep[a][i], gain[a][i], turn[a][i]
				}
			}
		}
	}
	return b
}

func (b *textbook) each(f func(p [3]int)) {
	for k := range b.Cells[2] + 1 {
		for j := range b.Cells[1] + 1 {
			for i := range b.Cells[0] + 1 {
				f([3]int{i, j, k})
			}
		}
	}
}

func (b *textbook) advance(step int) {
	old := [3]map[[3]int]float64{{}, {}, {}}
	for a := range 3 {
		for p, v := range b.e[a] {
			old[a][p] = v
		}
	}
	for a := range 3 {
		b.each(func(p [3]int) {
			curl := 0.0
			for s, axis := range []int{(a + 1) % 3, (a + 2) % 3} {
				of, q := 3-a-axis, p
				q[axis]--
				d := b.h[of][p] - b.h[of][q]
				der := d * b.Dual[axis][p[axis]]
				if l := b.Layers[axis]; l != nil {
					m := l.ElectricB[p[axis]]*b.psiE[a][axis][p] + l.ElectricC[p[axis]]*d
					b.psiE[a][axis][p] = m
					der += m
				}
				curl += float64(1-2*s) * der
			}
			b.e[a][p] = b.keep[a][p]*b.e[a][p] + b.gain[a][p]*curl
		})
	}
	for n, d := range b.Dispersive {
		for i := range d.Gain {
			p := [3]int{d.I + i, d.J, d.K}
			sum := 0.0
			for t, term := range d.Terms {
				for q, keep := range term.Keep {
					sum += (1 + keep) / 2 * b.current[fmt.Sprint(n, i, t, q)]
				}
			}
			b.e[d.Component][p] -= d.Gain[i] * sum
			for t, term := range d.Terms {
				for q, keep := range term.Keep {
					key := fmt.Sprint(n, i, t, q)
					b.current[key] = keep*b.current[key] + term.Beta[q]*term.Share[i]*(b.e[d.Component][p]-old[d.Component][p])
				}
			}
		}
	}
	for _, t := range b.driveAt {
		b.e[t.Component][[3]int{t.I, t.J, t.K}] += t.Weight * b.wave(step)
	}
	sum := func(taps []Tap, f [3]map[[3]int]float64) (s float64) {
		for _, t := range taps {
			s += t.Weight * f[t.Component][[3]int{t.I, t.J, t.K}]
		}
		return s
	}
	b.voltages = append(b.voltages, sum(b.voltage, b.e))
	before := b.changed()
	for a := range 3 {
		b.each(func(p [3]int) {
			curl := 0.0
			for s, axis := range []int{(a + 1) % 3, (a + 2) % 3} {
				if p[axis] >= b.Cells[axis] {
					return // no face
				}
				of, q := 3-a-axis, p
				q[axis]++
				d := b.e[of][q] - b.e[of][p]
				der := d * b.Size[axis][p[axis]]
				if l := b.Layers[axis]; l != nil {
					m := l.MagneticB[p[axis]]*b.psiH[a][axis][p] + l.MagneticC[p[axis]]*d
					b.psiH[a][axis][p] = m
					der += m
				}
				curl += float64(1-2*s) * der
			}
			b.h[a][p] -= b.turn[a][p] * curl
		})
	}
	after := b.changed()
	for _, f := range b.Coupled {
		for _, t := range f.Takes {
			b.h[f.Component][[3]int{f.I, f.J, f.K}] += t.Weight * (after[t.Face] - before[t.Face])
		}
	}
	b.currents = append(b.currents, sum(b.magnetic, b.h))
}

// changed returns H of the coupled faces.
func (b *textbook) changed() (h []float64) {
	for _, f := range b.Coupled {
		h = append(h, b.h[f.Component][[3]int{f.I, f.J, f.K}])
	}
	return h
}

// taps returns sources and meters somewhere on the grid.
func taps(r *rand.Rand, n [3]int, count int) (out []Tap) {
	for range count {
		out = append(out, Tap{r.IntN(3), r.IntN(n[0]), r.IntN(n[1]), r.IntN(n[2]), r.NormFloat64()})
	}
	return out
}

func wave(step int) float64 { return math.Sin(0.37*float64(step)) + 0.5 }

func size(r *rand.Rand) [3]int { return [3]int{1 + r.IntN(40), 1 + r.IntN(14), 1 + r.IntN(14)} }

func rounds(few, many int) int {
	if *long {
		return many
	}
	return few
}

// Every kernel and the textbook's loops, in double precision: within rounding;
// single precision within its own.
func TestTextbook(t *testing.T) {
	for seed := range uint64(rounds(12, 200)) {
		r := rand.New(rand.NewPCG(seed, 1))
		n := size(r)
		c := random(r, n)
		b := newTextbook(c)
		b.wave, b.driveAt, b.voltage, b.magnetic = wave, taps(r, n, 3), taps(r, n, 9), taps(r, n, 9)
		const steps = 25
		for s := range steps {
			b.advance(s)
		}
		for _, k := range available[float64]() {
			compare(t, seed, b, run[float64](t, c, b, Options{Kernel: k.name}, steps), 1e-12)
		}
		for _, k := range available[float32]() {
			compare(t, seed, b, run[float32](t, c, b, Options{Kernel: k.name}, steps), 3e-6)
		}
	}
}

type ran[T Float] struct {
	*Engine[T]
	voltage, current *Meter
}

func run[T Float](t *testing.T, c Config, b *textbook, o Options, steps ...int) ran[T] {
	t.Helper()
	e, err := New[T](c, o)
	if err != nil {
		t.Fatal(err)
	}
	e.Drive(b.driveAt, b.wave)
	out := ran[T]{e, e.MeterE(b.voltage, 1), e.MeterH(b.magnetic, 1)}
	for _, s := range steps {
		if err := e.Run(context.Background(), s); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

func compare[T Float](t *testing.T, seed uint64, b *textbook, e ran[T], tol float64) {
	t.Helper()
	big, worst := 0.0, 0.0
	for a := range 3 {
		b.each(func(p [3]int) {
			big = max(big, math.Abs(b.e[a][p]), math.Abs(b.h[a][p]))
			d := max(math.Abs(b.e[a][p]-float64(e.E(a, p[0], p[1], p[2]))), math.Abs(b.h[a][p]-float64(e.H(a, p[0], p[1], p[2]))))
			if !(d <= worst) {
				worst = d
			}
		})
	}
	if !(worst <= tol*big) || big == 0 {
		t.Errorf("%s, %v cells: fields off by %.3g of %.3g (seed %d)", e.Kernel(), e.n, worst, big, seed)
	}
	for i := range b.voltages {
		if !(math.Abs(b.voltages[i]-e.voltage.Values[i]) <= 30*tol*big) || !(math.Abs(b.currents[i]-e.current.Values[i]) <= 30*tol*big) {
			t.Errorf("%s: step %d: meters %.12g, %.12g; want %.12g, %.12g (seed %d)", e.Kernel(), i, e.voltage.Values[i], e.current.Values[i], b.voltages[i], b.currents[i], seed)
			break
		}
	}
	// padding stays zero, or mirrors would leak
	var x []T = e.fields
	inside := make([]bool, len(x))
	for k := range e.n[2] + 1 {
		for j := range e.n[1] + 1 {
			for row := range rowsInBlock {
				at := e.at(row, j, k)
				for i := range e.n[0] + 1 {
					inside[at+i] = true
				}
			}
		}
	}
	for i, v := range x {
		if !inside[i] && v != 0 {
			t.Fatalf("%s: padding at %d is %g (seed %d)", e.Kernel(), i, v, seed)
		}
	}
}

// Tiles, threads and the way the steps are cut into runs change nothing: all
// fields, memories and meters equal plain stepping bit for bit.
func TestTilesChangeNothing(t *testing.T) {
	tiles[float32](t)
	tiles[float64](t)
}

func tiles[T Float](t *testing.T) {
	for seed := range uint64(rounds(15, 300)) {
		r := rand.New(rand.NewPCG(seed, 2))
		n := size(r)
		c := random(r, n)
		b := &textbook{wave: wave, driveAt: taps(r, n, 3), voltage: taps(r, n, 9), magnetic: taps(r, n, 9)}
		const steps = 23
		for _, k := range available[T]() {
			want := run[T](t, c, b, Options{Kernel: k.name, Workers: 1, Tile: [3]int{n[1] + 5, n[2] + 5, 1}}, steps)
			for range 4 {
				o := Options{Kernel: k.name, Workers: 1 + r.IntN(4), Tile: [3]int{1 + r.IntN(9), 1 + r.IntN(9), 1 + r.IntN(12)}}
				cut := r.IntN(steps + 1)
				got := run[T](t, c, b, o, cut, steps-cut)
				same(t, fmt.Sprintf("seed %d, %+v, cut at %d", seed, o, cut), want, got)
			}
		}
	}
}

func same[T Float](t *testing.T, what string, want, got ran[T]) {
	t.Helper()
	type pair struct {
		name string
		a, b []T
	}
	list := []pair{{"fields", want.fields, got.fields}, {"x layers", want.psiX, got.psiX}, {"y layers", want.psiY, got.psiY}, {"z layers", want.psiZ, got.psiZ}}
	for i := range want.spans {
		list = append(list, pair{"currents", want.spans[i].j, got.spans[i].j})
	}
	for _, p := range list {
		for i := range p.a {
			if p.a[i] != p.b[i] {
				t.Fatalf("%s: %s differ at %d: %g, want %g", what, p.name, i, p.b[i], p.a[i])
			}
		}
	}
	for i := range want.voltage.Values {
		if want.voltage.Values[i] != got.voltage.Values[i] || want.current.Values[i] != got.current.Values[i] {
			t.Fatalf("%s: meters differ at step %d", what, i)
		}
	}
	if want.step != got.step || len(want.voltage.Values) != len(got.voltage.Values) {
		t.Fatalf("%s: %d steps, want %d", what, got.step, want.step)
	}
}

// A saved state goes on as if nothing had happened.
func TestSaveLoad(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 3))
	n := [3]int{21, 9, 8}
	c := random(r, n)
	b := &textbook{wave: wave, driveAt: taps(r, n, 3), voltage: taps(r, n, 9), magnetic: taps(r, n, 9)}
	want := run[float32](t, c, b, Options{}, 40)
	half := run[float32](t, c, b, Options{}, 17)
	var file bytes.Buffer
	if err := half.Save(&file); err != nil {
		t.Fatal(err)
	}
	data := file.Bytes()
	got := run[float32](t, c, b, Options{}, 3)
	if err := got.Load(bytes.NewReader(data)); err != nil {
		t.Fatal(err)
	}
	got.voltage.Values, got.current.Values = half.voltage.Values, half.current.Values
	if err := got.Run(context.Background(), 23); err != nil {
		t.Fatal(err)
	}
	same(t, "after loading", want, got)
	c.Cells[2]++
	other, err := New[float32](random(r, c.Cells), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range [][]byte{data, data[:100], nil} {
		if err := other.Load(bytes.NewReader(bad)); err == nil {
			t.Error("a state of another grid was loaded")
		}
	}
}

// A run that is cancelled ends soon and its state is not saved.
func TestCancel(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 4))
	n := [3]int{60, 40, 40}
	e, err := New[float32](random(r, n), Options{Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	steps := 0
	e.Drive([]Tap{{0, 1, 1, 1, 1}}, func(step int) float64 {
		if steps++; steps == 1e6 {
			cancel() // before the first tile
		}
		return 0
	})
	if err := e.Run(ctx, 1e6); !errors.Is(err, context.Canceled) {
		t.Fatalf("Run of a cancelled context: %v", err)
	}
	if err := e.Save(new(bytes.Buffer)); err == nil {
		t.Error("the state of a cancelled run was saved")
	}
}
