//go:build !noasm

package kernel

import (
	"math"
	"unsafe"

	"golang.org/x/sys/cpu"
)

//go:generate sh -c "cd gen && go run . -out ../kernel_amd64.s"

//go:noescape
func cascadeAVX512(dst *float64, chain **float64, n, blocks int)

//go:noescape
func cascadeAVX2(dst *float64, chain **float64, n, blocks int)

// available lists the implementations this machine can run, the fastest first.
func available() []implementation {
	wrap := func(f func(dst *float64, chain **float64, n, blocks int)) func(*Block, []*Block, int) {
		return func(dst *Block, chain []*Block, blocks int) {
			f(&dst[0][0], pointers(chain), len(chain), blocks)
		}
	}
	var list []implementation
	if cpu.X86.HasAVX512F {
		list = append(list, implementation{"AVX-512", wrap(cascadeAVX512)})
	}
	if cpu.X86.HasAVX2 && cpu.X86.HasFMA {
		list = append(list, implementation{"AVX2", wrap(cascadeAVX2)})
	}
	return append(list, plain)
}

// pointers gives the assembly the list as pointers to the blocks' first number.
func pointers(chain []*Block) **float64 { return (**float64)(unsafe.Pointer(&chain[0])) }

//go:noescape
func linesAVX512(s11, s21, root, frequency *float64, groups int, sections, phasors *float64, n int, far *float64)

//go:noescape
func linesAVX2(s11, s21, root, frequency *float64, groups int, sections, phasors *float64, n int, far *float64)

//go:noescape
func reflectAVX512(s11 *float64, groups int, sections, phasors *float64, n int, far *float64)

//go:noescape
func reflectAVX2(s11 *float64, groups int, sections, phasors *float64, n int, far *float64)

//go:noescape
func sincosAVX512(sin, cos, turns *float64, vectors int)

//go:noescape
func sincosAVX2(sin, cos, turns *float64, vectors int)

// availableSweeps lists the implementations this machine can run, the fastest first.
func availableSweeps() []sweepImplementation {
	wrap := func(name string,
		lines func(s11, s21, root, frequency *float64, groups int, sections, phasors *float64, n int, far *float64),
		reflect func(s11 *float64, groups int, sections, phasors *float64, n int, far *float64),
		sincos func(sin, cos, turns *float64, vectors int), width int) sweepImplementation {
		return sweepImplementation{name,
			func(sin, cos, turns []float64) {
				if len(turns) > 0 {
					sincos(&sin[0], &cos[0], &turns[0], len(turns)/width)
				}
			},
			func(s11, s21, root, frequency []float64, s []section, p []phasor, f *far) {
				lines(&s11[0], &s21[0], &root[0], &frequency[0], len(s11)/Lane, firstSection(s), firstPhasor(p), len(s), &f.rho)
			},
			func(s11 []float64, s []section, p []phasor, f *far) {
				reflect(&s11[0], len(s11)/Lane, firstSection(s), firstPhasor(p), len(s), &f.rho)
			}}
	}
	var list []sweepImplementation
	if cpu.X86.HasAVX512F {
		list = append(list, wrap("AVX-512", linesAVX512, reflectAVX512, sincosAVX512, 8))
	}
	if cpu.X86.HasAVX2 && cpu.X86.HasFMA {
		list = append(list, wrap("AVX2", linesAVX2, reflectAVX2, sincosAVX2, 4))
	}
	return append(list, plainSweep)
}

//go:noescape
func copiesAVX512(s11, s22, s21, ripple, power *float64, offset, groups int, steps, phasors *float64, n int)

//go:noescape
func copiesAVX2(s11, s22, s21, ripple, power *float64, offset, groups int, steps, phasors *float64, n int)

// availableCopies lists the implementations this machine can run, the fastest first.
func availableCopies() []copiesImplementation {
	wrap := func(run func(s11, s22, s21, ripple, power *float64, offset, groups int, steps, phasors *float64, n int)) func(*Copies, int, int) {
		return func(w *Copies, offset, groups int) {
			run(&w.s11[0], &w.s22[0], &w.s21[0], &w.ripple[0], &w.chain.power[0], 8*offset, groups, stepsOf(w.steps), firstPhasor(w.phasors), len(w.steps))
		}
	}
	var list []copiesImplementation
	for _, s := range availableSweeps() {
		switch s.name {
		case "AVX-512":
			list = append(list, copiesImplementation{s.name, s.sincos, wrap(copiesAVX512)})
		case "AVX2":
			list = append(list, copiesImplementation{s.name, s.sincos, wrap(copiesAVX2)})
		}
	}
	return append(list, plainCopies)
}

//go:noescape
func rangeAVX512(out, x, w *float64, vectors int)

//go:noescape
func rangeAVX2(out, x, w *float64, vectors int)

// availableRanges lists the implementations this machine can run, the fastest first.
func availableRanges() []rangeImplementation {
	wrap := func(name string, width int, run func(out, x, w *float64, vectors int)) rangeImplementation {
		return rangeImplementation{name, func(x, w []float64) (least, most float64) {
			n := len(x) / width * width
			if n == 0 {
				return rangePlain(x, w)
			}
			var lanes [3 * 8]float64
			run(&lanes[0], &x[0], first(w), n/width)
			sum := 0.0
			least, most = lanes[0], lanes[width]
			for i := range width {
				least, most = math.Min(least, lanes[i]), math.Max(most, lanes[width+i])
				sum += lanes[2*width+i]
			}
			if sum != sum {
				return sum, sum
			}
			if n < len(x) {
				if w != nil {
					w = w[n:]
				}
				l, m := rangePlain(x[n:], w)
				least, most = math.Min(least, l), math.Max(most, m)
			}
			return least, most
		}}
	}
	var list []rangeImplementation
	if cpu.X86.HasAVX512F {
		list = append(list, wrap("AVX-512", 8, rangeAVX512))
	}
	if cpu.X86.HasAVX2 && cpu.X86.HasFMA {
		list = append(list, wrap("AVX2", 4, rangeAVX2))
	}
	return append(list, plainRange)
}

func firstSection(s []section) *float64 {
	if len(s) == 0 {
		return nil
	}
	return &s[0].rho
}

func firstPhasor(p []phasor) *float64 {
	if len(p) == 0 {
		return nil
	}
	return &p[0].re[0]
}
