//go:build !noasm

package yee

import (
	"unsafe"

	"golang.org/x/sys/cpu"
)

//go:generate sh -c "cd gen && go run . -out ../kernel_amd64.s"

// rows says to the assembly which rows to advance. It changes the fields that move
// on from row to row.
type rows struct {
	block    unsafe.Pointer // of the row
	record   unsafe.Pointer
	set      unsafe.Pointer // sets of coefficients
	x, y, z  unsafe.Pointer // metric, b, c; y of the row
	psi      [3]unsafe.Pointer
	pitch    int // bytes, as all distances
	up, back int // to the block whose difference is taken along y, along z
	next     int
	head     int // groups, as middle and tail
	middle   int
	tail     int
	count    int // of rows
	_        int // which piece of the row is next
}

//go:noescape
func electric32AVX512(a *rows)

//go:noescape
func magnetic32AVX512(a *rows)

//go:noescape
func electric32AVX2(a *rows)

//go:noescape
func magnetic32AVX2(a *rows)

//go:noescape
func electric64AVX512(a *rows)

//go:noescape
func magnetic64AVX512(a *rows)

//go:noescape
func electric64AVX2(a *rows)

//go:noescape
func magnetic64AVX2(a *rows)

//go:noescape
func relax32AVX512(e, old, gain, share, j, poles unsafe.Pointer, n, groups int)

//go:noescape
func relax32AVX2(e, old, gain, share, j, poles unsafe.Pointer, n, groups int)

//go:noescape
func relax64AVX512(e, old, gain, share, j, poles unsafe.Pointer, n, groups int)

//go:noescape
func relax64AVX2(e, old, gain, share, j, poles unsafe.Pointer, n, groups int)

//go:noescape
func squares32AVX512(x unsafe.Pointer, groups int) float64

//go:noescape
func squares32AVX2(x unsafe.Pointer, groups int) float64

//go:noescape
func squares64AVX512(x unsafe.Pointer, groups int) float64

//go:noescape
func squares64AVX2(x unsafe.Pointer, groups int) float64

//go:noescape
func touch32AVX512(x unsafe.Pointer, f float32, groups int)

//go:noescape
func touch32AVX2(x unsafe.Pointer, f float32, groups int)

// available lists the kernels this machine can run, the fastest first.
func available[T Float]() []kernel[T] {
	var list []kernel[T]
	single := perGroup[T]() == group/4
	if cpu.X86.HasAVX512F {
		k := kernel[T]{"AVX-512",
			func(l *layout[T], k, j0, j1 int) { var a rows; l.tell(&a, k, j0, j1, 0); electric32AVX512(&a) },
			func(l *layout[T], k, j0, j1 int) { var a rows; l.tell(&a, k, j0, j1, 1); magnetic32AVX512(&a) },
			relaxBy[T](relax32AVX512), squaresBy[T](squares32AVX512)}
		if !single {
			k.electric = func(l *layout[T], k, j0, j1 int) { var a rows; l.tell(&a, k, j0, j1, 0); electric64AVX512(&a) }
			k.magnetic = func(l *layout[T], k, j0, j1 int) { var a rows; l.tell(&a, k, j0, j1, 1); magnetic64AVX512(&a) }
			k.relax, k.squares = relaxBy[T](relax64AVX512), squaresBy[T](squares64AVX512)
		}
		list = append(list, k)
	}
	if cpu.X86.HasAVX2 && cpu.X86.HasFMA {
		k := kernel[T]{"AVX2",
			func(l *layout[T], k, j0, j1 int) { var a rows; l.tell(&a, k, j0, j1, 0); electric32AVX2(&a) },
			func(l *layout[T], k, j0, j1 int) { var a rows; l.tell(&a, k, j0, j1, 1); magnetic32AVX2(&a) },
			relaxBy[T](relax32AVX2), squaresBy[T](squares32AVX2)}
		if !single {
			k.electric = func(l *layout[T], k, j0, j1 int) { var a rows; l.tell(&a, k, j0, j1, 0); electric64AVX2(&a) }
			k.magnetic = func(l *layout[T], k, j0, j1 int) { var a rows; l.tell(&a, k, j0, j1, 1); magnetic64AVX2(&a) }
			k.relax, k.squares = relaxBy[T](relax64AVX2), squaresBy[T](squares64AVX2)
		}
		list = append(list, k)
	}
	return append(list, plain[T]())
}

// The passes are called by name, not through a variable: else what they are told
// would have to be allocated for each call.

func relaxBy[T Float](relax func(e, old, gain, share, j, poles unsafe.Pointer, n, groups int)) func(*span[T], []T) {
	return func(d *span[T], e []T) {
		relax(first(e), first(d.old), first(d.gain), first(d.share), first(d.j), unsafe.Pointer(&d.poles[0]), len(d.poles), len(d.gain)/perGroup[T]())
	}
}

func squaresBy[T Float](squares func(unsafe.Pointer, int) float64) func([]T) float64 {
	return func(x []T) float64 { return squares(first(x), len(x)/perGroup[T]()) }
}

func first[T Float](x []T) unsafe.Pointer { return unsafe.Pointer(unsafe.SliceData(x)) }

// tell says to the kernel of E (half 0) or H (half 1) which rows to advance. (A
// result by value would be copied in larger words than it was just written in,
// for which the processor waits.)
func (l *layout[T]) tell(a *rows, k, j0, j1, half int) {
	g := perGroup[T]()
	size := group / g
	block := l.block() * size
	plane := (l.n[1] + 2) * block
	at := func(x []T, i int) unsafe.Pointer {
		if len(x) == 0 { // no such layers: a place beyond would not be a pointer
			return nil
		}
		return unsafe.Add(first(x), i*size)
	}
	a.block = unsafe.Add(first(l.fields), group+(k+1)*plane+(j0+1)*block)
	a.record = unsafe.Pointer(unsafe.SliceData(l.record[k*(l.n[1]+1)+j0:]))
	a.set, a.up, a.back = first(l.electric), -block, -plane
	if half == 1 {
		a.set, a.up, a.back = first(l.magnetic), block, plane
	}
	ends := l.head + l.tail
	a.x, a.y, a.z = at(l.x, 3*half*l.pitch), at(l.y, 8*j0+3*half), at(l.z, 8*k+3*half)
	a.psi[0], a.psi[1], a.psi[2] = at(l.psiX, 2*half*ends*g), at(l.psiY, 2*half*l.pitch), at(l.psiZ, 2*half*l.pitch)
	a.pitch, a.next = l.pitch*size, block
	a.head, a.middle, a.tail = l.head, l.groups-ends, l.tail
	a.count = j1 - j0
}
