package kernel

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
)

// guard is what the words around a result must still be afterwards.
const guard = 1234.5

// guarded returns n blocks of room with a guarded block on either side.
func guarded(n int) (room, blocks []Block) {
	room = make([]Block, n+2)
	for i := range room {
		fill(&room[i], guard)
	}
	return room, room[1 : n+1 : n+1]
}

func fill(b *Block, x float64) {
	for p := range b {
		for k := range b[p] {
			b[p][k] = x
		}
	}
}

// random returns a passive reciprocal two-port over n blocks.
func random(r *rand.Rand, n int) []Block {
	bs := make([]Block, n)
	for i := range bs {
		for k := range Width {
			put(&bs[i], k, cmplx.Rect(0.4*r.Float64(), 7*r.Float64()), cmplx.Rect(0.4*r.Float64(), 7*r.Float64()), cmplx.Rect(0.8*r.Float64(), 7*r.Float64()))
		}
	}
	return bs
}

func put(b *Block, k int, s11, s22, s21 complex128) {
	d := s21*s21 - s11*s22
	for p, x := range []float64{real(s11), imag(s11), real(s22), imag(s22), real(d), imag(d), real(s21), imag(s21)} {
		b[p][k] = x
	}
}

// fused is cascadePlain with the multiply-adds fused as the assembly fuses
// them, in its order: what the assembly must equal to the last bit.
func fused(dst *Block, chain []*Block, blocks int) {
	type z struct{ re, im float64 }
	mul := func(a, b z) z {
		return z{math.FMA(-a.im, b.im, a.re*b.re), math.FMA(a.im, b.re, a.re*b.im)}
	}
	addMul := func(s, a, b z) z {
		return z{math.FMA(-a.im, b.im, math.FMA(a.re, b.re, s.re)), math.FMA(a.im, b.re, math.FMA(a.re, b.im, s.im))}
	}
	subMul := func(s, a, b z) z {
		return z{math.FMA(a.im, b.im, math.FMA(-a.re, b.re, s.re)), math.FMA(-a.im, b.re, math.FMA(-a.re, b.im, s.im))}
	}
	for i := range blocks {
		for k := range Width {
			read := func(b *Block, p int) z { return z{at(b, i)[p][k], at(b, i)[p+1][k]} }
			b := chain[0]
			n := read(b, S22Re)
			m11, m12, m21, m22, t := z{1, 0}, z{-n.re, -n.im}, read(b, S11Re), read(b, DRe), read(b, S21Re)
			for _, b := range chain[1:] {
				d, n, s := read(b, DRe), read(b, S22Re), read(b, S11Re)
				x12, x22 := subMul(mul(m12, d), m11, n), subMul(mul(m22, d), m21, n)
				m11, m21 = addMul(m11, m12, s), addMul(m21, m22, s)
				m12, m22, t = x12, x22, mul(t, read(b, S21Re))
			}
			a := 1 / math.FMA(m11.im, m11.im, m11.re*m11.re)
			q := z{m11.re * a, -(m11.im * a)}
			for p, v := range map[int]z{S11Re: mul(m21, q), S22Re: mul(z{-m12.re, -m12.im}, q), DRe: mul(m22, q), S21Re: mul(t, q)} {
				at(dst, i)[p][k], at(dst, i)[p+1][k] = v.re, v.im
			}
		}
	}
}

// All implementations over many lengths, with a NaN and an infinity in one
// frequency, guard words around, and the result over an element. The
// assembly equals the fused twin bit for bit (NaN equals NaN, 0 equals −0);
// plain Go, which rounds each product, within 2e-15 per element.
func TestConformance(t *testing.T) {
	const seed = 1
	r := rand.New(rand.NewPCG(seed, 0))
	for _, with := range available() {
		for _, blocks := range []int{1, 2, 3, 7} {
			for _, n := range []int{1, 2, 3, 7, 16, 17, 41} {
				chain := make([][]Block, n)
				for e := range chain {
					chain[e] = random(r, blocks)
				}
				bad, worse := r.IntN(Width), r.IntN(Width)
				chain[r.IntN(n)][0][S11Re][bad] = math.NaN()
				chain[r.IntN(n)][blocks-1][DIm][worse] = math.Inf(1)
				want := make([]Block, blocks)
				cascadeBy(implementation{"fused", fused}, want, chain)
				room, got := guarded(blocks)
				cascadeBy(with, got, chain)
				for i := range got {
					for p := range got[i] {
						for k, x := range got[i][p] {
							y := want[i][p][k]
							equal := x == y || x != x && y != y
							if with.name == "plain Go" {
								equal = equal || math.Abs(x-y) <= 2e-15*float64(n) || i == 0 && k == bad || i == blocks-1 && k == worse
							}
							if !equal {
								t.Fatalf("%s, %d elements, block %d, plane %d, frequency %d: %.17g, want %.17g (seed %d)", with.name, n, i, p, k, x, y, seed)
							}
						}
					}
				}
				if x := got[0][S11Re][bad]; x == x {
					t.Errorf("%s, %d elements: a NaN went in, %g came out", with.name, n, x)
				}
				for _, b := range []*Block{&room[0], &room[blocks+1]} {
					for p := range b {
						for k := range b[p] {
							if b[p][k] != guard {
								t.Fatalf("%s, %d elements: the word beside the result was overwritten", with.name, n)
							}
						}
					}
				}
				cascadeBy(with, chain[n/2], chain)
				for i := range got {
					for p := range got[i] {
						for k, x := range got[i][p] {
							if y := chain[n/2][i][p][k]; !(x == y || x != x && y != y) {
								t.Fatalf("%s, %d elements: over an element %g, apart from it %g", with.name, n, y, x)
							}
						}
					}
				}
			}
		}
	}
}

// Against the star product in complex128, the textbook's way.
func TestCascadeIsStarProduct(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 0))
	for _, with := range available() {
		chain := [][]Block{random(r, 2), random(r, 2), random(r, 2), random(r, 2)}
		got := make([]Block, 2)
		cascadeBy(with, got, chain)
		for i := range got {
			for k := range Width {
				s11, s22, s21 := read(chain[0], i, k)
				for _, b := range chain[1:] {
					b11, b22, b21 := read(b, i, k)
					d := 1 - s22*b11
					s11, s22, s21 = s11+s21*s21*b11/d, b22+b21*b21*s22/d, s21*b21/d
				}
				g11, g22, g21 := read(got, i, k)
				if e := max(cmplx.Abs(g11-s11), cmplx.Abs(g22-s22), cmplx.Abs(g21-s21)); !(e <= 1e-15) {
					t.Fatalf("%s: off by %g", with.name, e)
				}
				d := complex(got[i][DRe][k], got[i][DIm][k])
				if e := cmplx.Abs(d - (s21*s21 - s11*s22)); !(e <= 1e-15) {
					t.Fatalf("%s: the determinant is off by %g", with.name, e)
				}
			}
		}
	}
}

func read(b []Block, i, k int) (s11, s22, s21 complex128) {
	p := &b[i]
	return complex(p[S11Re][k], p[S11Im][k]), complex(p[S22Re][k], p[S22Im][k]), complex(p[S21Re][k], p[S21Im][k])
}

func TestCascadePanics(t *testing.T) {
	for _, c := range [][][]Block{nil, {make([]Block, 2)}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("a chain of %d elements of the wrong length did not panic", len(c))
				}
			}()
			Cascade(make([]Block, 1), c...)
		}()
	}
	Cascade(nil, nil) // nothing to do
}

// The catalogue of the benchmark: 60 elements of 2001 frequencies, and 400
// chains of 7 of them.
const (
	points, elements, chains, length = 2001, 60, 400, 7
	benchBlocks                      = (points + Width - 1) / Width
)

type benchCatalogue struct {
	blocks [][]Block
	flat   [][3][]complex128 // S11, S22, S21
	choice [chains][length]int
}

func newCatalogue() *benchCatalogue {
	r := rand.New(rand.NewPCG(3, 0))
	c := &benchCatalogue{}
	for range elements {
		bs := random(r, benchBlocks)
		var flat [3][]complex128
		for p := range flat {
			flat[p] = make([]complex128, points)
		}
		for k := range points {
			flat[0][k], flat[1][k], flat[2][k] = read(bs, k/Width, k%Width)
		}
		c.blocks, c.flat = append(c.blocks, bs), append(c.flat, flat)
	}
	for i := range c.choice {
		for j := range c.choice[i] {
			c.choice[i][j] = r.IntN(elements)
		}
	}
	return c
}

// star is the baseline: the star product in complex128 slices.
func (c *benchCatalogue) star(out *[3][]complex128, chain int) {
	s11, s22, s21 := out[0], out[1], out[2]
	first := c.flat[c.choice[chain][0]]
	copy(s11, first[0])
	copy(s22, first[1])
	copy(s21, first[2])
	for _, e := range c.choice[chain][1:] {
		f := c.flat[e]
		for k, b11 := range f[0] {
			a22, a21, b21 := s22[k], s21[k], f[2][k]
			q := 1 / (1 - a22*b11)
			s11[k] += a21 * a21 * b11 * q
			s22[k] = f[1][k] + b21*b21*a22*q
			s21[k] = a21 * b21 * q
		}
	}
}

// BenchmarkCascade measures all versions in turn within each iteration, 40 chains of
// each, all parameters written. It reports the least processor time per chain
// of all iterations, which other programs disturb least, and its ratio to the
// complex128 star product.
func BenchmarkCascade(b *testing.B) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	c := newCatalogue()
	out := [3][]complex128{make([]complex128, points), make([]complex128, points), make([]complex128, points)}
	dst := make([]Block, benchBlocks)
	type version struct {
		name string
		run  func(chain int)
	}
	versions := []version{{"complex128", func(chain int) { c.star(&out, chain) }}}
	for _, with := range available() {
		list := make([][]Block, length)
		versions = append(versions, version{with.name, func(chain int) {
			for i, e := range c.choice[chain] {
				list[i] = c.blocks[e]
			}
			cascadeBy(with, dst, list)
		}})
	}
	const run = 40
	seconds := make([]float64, len(versions))
	n := 0
	for b.Loop() {
		for v := range versions {
			for i := range run / 2 { // so that all find the caches as they leave them
				versions[v].run((n + chains/2 + i) % chains)
			}
			start := cpuSeconds()
			for i := range run {
				versions[v].run((n + i) % chains)
			}
			if s := (cpuSeconds() - start) / run; n == 0 || s < seconds[v] {
				seconds[v] = s
			}
		}
		n += run
	}
	for v := range versions {
		name := strings.ReplaceAll(versions[v].name, " ", "-")
		b.ReportMetric(seconds[v]*1e6, name+"-µs")
		b.ReportMetric(seconds[0]/seconds[v], name+"-x")
	}
}
