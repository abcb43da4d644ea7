package yee

import (
	"math"
	"math/rand/v2"
	"testing"
)

// filled returns a layout of random coefficients and fields. One field in a
// row may be NaN.
func filled[T Float](t *testing.T, r *rand.Rand, c Config, k kernel[T]) *Engine[T] {
	t.Helper()
	e, err := New[T](c, Options{Kernel: k.name})
	if err != nil {
		t.Fatal(err)
	}
	for k := range e.n[2] + 1 {
		for j := range e.n[1] + 1 {
			for a := range 3 {
				electric, magnetic := e.Rows(a, j, k)
				for i := range electric {
					electric[i], magnetic[i] = T(r.NormFloat64()), T(r.NormFloat64())
				}
			}
		}
	}
	for _, s := range [][]T{e.psiX, e.psiY, e.psiZ} {
		for i := range s {
			s[i] = T(r.NormFloat64())
		}
	}
	return e
}

// memory lists all that a kernel may change.
func (l *layout[T]) memory() [][]T { return [][]T{l.fields, l.psiX, l.psiY, l.psiZ} }

// fma32 is the fused multiply-add of single precision: the sum in double
// precision is rounded to odd first, so that rounding twice is rounding once.
func fma32(x, y, z float32) float32 {
	p := float64(x) * float64(y)
	s := p + float64(z)
	b := s - p
	if e := (p - (s - b)) + (float64(z) - b); e != 0 && math.Float64bits(s)&1 == 0 {
		s = math.Nextafter(s, math.Copysign(math.Inf(1), e))
	}
	return float32(s)
}

func fma[T Float](x, y, z T) T {
	if perGroup[T]() == group/4 {
		return T(fma32(float32(x), float32(y), float32(z)))
	}
	return T(math.FMA(float64(x), float64(y), float64(z)))
}

// fusedRows is the definition with the multiply-adds fused as the assembly fuses
// them, in its order: what the assembly must equal to the last bit.
func fusedRows[T Float](l *layout[T], k, j0, j1, half int) {
	g, n := perGroup[T](), l.groups*perGroup[T]()
	to, from, direction := rowEx, rowHx, -1
	if half == 1 {
		to, from, direction = rowHx, rowEx, 1
	}
	stride := [3]int{1, l.block(), l.plane()}
	for j := j0; j < j1; j++ {
		r := l.recordAt(j, k)
		for i := range n {
			// groups of x layers: those of the ends, one after the other
			end := i / g
			if end >= l.head {
				end -= l.groups - l.tail - l.head
			}
			if i/g >= l.head && i/g < l.groups-l.tail || r.psiX < 0 {
				end = -1
			}
			metric := [3][3]T{}
			for w := range 3 {
				metric[0][w], metric[1][w], metric[2][w] = l.x[(3*half+w)*l.pitch+i], l.y[8*j+3*half+w], l.z[8*k+3*half+w]
			}
			for a := range 3 {
				u, v := (a+1)%3, (a+2)%3
				diff := func(c, axis int) T {
					at := l.at(from+c, j, k) + i
					return l.fields[at] - l.fields[at+direction*stride[axis]]
				}
				dv, du := diff(v, u), diff(u, v)
				curl := fma(-du, metric[v][0], dv*metric[u][0])
				for s, axis := range []int{u, v} {
					d := []T{dv, du}[s]
					var m *T
					switch {
					case axis == 0 && end >= 0:
						m = &l.psiX[(int(r.psiX)+half*2*(l.head+l.tail)+2*end+a-1)*g+i%g]
					case axis == 1 && r.psiY >= 0:
						m = &l.psiY[int(r.psiY)*g+(a/2+2*half)*l.pitch+i]
					case axis == 2 && r.psiZ >= 0:
						m = &l.psiZ[int(r.psiZ)*g+(a+2*half)*l.pitch+i]
					default:
						continue
					}
					*m = fma(*m, metric[axis][1], d*metric[axis][2])
					if s == 0 {
						curl += *m
					} else {
						curl -= *m
					}
				}
				f := &l.fields[l.at(to+a, j, k)+i]
				if half == 0 {
					set := l.electric[int(r.electric)*g:]
					*f = fma(curl, set[(3+a)*l.pitch+i], *f*set[a*l.pitch+i])
				} else {
					*f = fma(curl, l.magnetic[int(r.magnetic)*g:][a*l.pitch+i], *f)
				}
			}
		}
	}
}

// All kernels over rows of every length up to 70 cells, in and out of layers,
// uniform or not, from any row to any other, with a NaN here and there. The assembly
// equals the fused twin bit for bit (NaN equals NaN, 0 equals −0); plain Go, which
// rounds each product, within 2e-6 or 4e-15 of the largest number. Every word
// is compared, so what stands around the rows is guarded too.
func TestKernels(t *testing.T) {
	conform[float32](t, 2e-6)
	conform[float64](t, 4e-15)
}

func conform[T Float](t *testing.T, tol float64) {
	const seed = 7
	r := rand.New(rand.NewPCG(seed, 5))
	for n0 := 1; n0 <= 70; n0++ {
		n := [3]int{n0, 1 + r.IntN(5), 1 + r.IntN(5)}
		c := random(r, n)
		for _, with := range available[T]() {
			state := r.Uint64()
			fresh := func() *Engine[T] { return filled(t, rand.New(rand.NewPCG(state, 6)), c, with) }
			k := r.IntN(n[2] + 1)
			j0 := r.IntN(n[1] + 1)
			j1 := j0 + r.IntN(n[1]+2-j0)
			for half, pass := range []func(*layout[T], int, int, int){with.electric, with.magnetic} {
				want, got := fresh(), fresh()
				if n0%3 == 0 {
					bad := want.at(r.IntN(rowsInBlock), min(j0, n[1]), k) + r.IntN(n0+1)
					want.fields[bad], got.fields[bad] = T(math.NaN()), T(math.NaN())
				}
				fusedRows(want.layout, k, j0, j1, half)
				pass(got.layout, k, j0, j1)
				for s := range want.memory() {
					for i, w := range want.memory()[s] {
						x := got.memory()[s][i]
						equal := x == w || x != x && w != w
						if with.name == "plain Go" && !equal {
							equal = math.Abs(float64(x-w)) <= 10*tol // the numbers are of order 1, at most about 10
						}
						if !equal {
							t.Fatalf("%T %s, pass %d, %v cells, rows %d to %d of %d: memory %d at %d is %.17g, want %.17g (seed %d)", x, with.name, half, n, j0, j1, k, s, i, x, w, seed)
						}
					}
				}
			}
		}
	}
}

// The kernel of dispersive stretches against plain Go, within rounding, and
// the sum of squares.
func TestRelax(t *testing.T) {
	relaxed[float32](t, 1e-6)
	relaxed[float64](t, 1e-15)
}

func relaxed[T Float](t *testing.T, tol float64) {
	const seed = 8
	r := rand.New(rand.NewPCG(seed, 7))
	for groups := 1; groups < 6; groups++ {
		for _, with := range available[T]() {
			n := groups * perGroup[T]()
			make := func() (*span[T], []T) {
				r := rand.New(rand.NewPCG(seed, uint64(groups)))
				some := func(n int) []T {
					s := aligned[T](n)
					for i := range s {
						s[i] = T(r.Float64())
					}
					return s
				}
				d := &span[T]{gain: some(n), share: some(2 * n), old: some(n), sum: some(n), j: some(5 * n)}
				for p := range 5 {
					d.poles = append(d.poles, pole[T]{T(r.Float64()), T(r.Float64()), T(r.Float64()), p % 2})
				}
				return d, some(n + 2)
			}
			d, e := make()
			w, f := make()
			with.relax(d, e[:n])
			relaxPlain(w, f[:n])
			for i := range e {
				if !(math.Abs(float64(e[i]-f[i])) <= 10*tol) {
					t.Fatalf("%s: E of %d groups is %g at %d, want %g", with.name, groups, e[i], i, f[i])
				}
			}
			for i := range d.j {
				if !(math.Abs(float64(d.j[i]-w.j[i])) <= 10*tol) {
					t.Fatalf("%s: J of %d groups is %g at %d, want %g", with.name, groups, d.j[i], i, w.j[i])
				}
			}
			x := aligned[T](n)
			sum := 0.0
			for i := range x {
				x[i] = T(r.NormFloat64())
				sum += float64(x[i]) * float64(x[i])
			}
			if got := with.squares(x); !(math.Abs(got-sum) <= 1e-14*sum) {
				t.Errorf("%s: the sum of %d squares is %.17g, want %.17g", with.name, n, got, sum)
			}
		}
	}
}
