// Command gen writes the amd64 assembly of package dense.
//
// One body serves both instruction sets. A tile of c, some rows by some
// registers of complex numbers, is held as two sums: over p of re a[i,p]·b[p,j]
// and of im a[i,p]·b[p,j], each on the real and imaginary parts of b as they
// lie in memory. Only at the end are the halves of the second sum exchanged and
// added, so that the inner loop is nothing but loads and multiply-adds.
package main

import (
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

func main() {
	ConstraintExpr("!noasm")
	var c constants
	c.one = GLOBL("one", RODATA|NOPTR)
	DATA(0, U64(math.Float64bits(1)))
	c.window = GLOBL("window", RODATA|NOPTR)
	for i := range 8 {
		DATA(8*i, U64(map[bool]uint64{true: ^uint64(0)}[i < 4]))
	}
	for _, s := range []shape{
		{"wideAVX512", 4, 3, false, 64, ZMM},
		{"wideRowAVX512", 1, 3, false, 64, ZMM},
		{"narrowAVX512", 8, 1, true, 64, ZMM},
		{"narrowRowAVX512", 1, 1, true, 64, ZMM},
		{"wideAVX2", 3, 2, false, 32, YMM},
		{"wideRowAVX2", 1, 2, false, 32, YMM},
		{"narrowAVX2", 6, 1, true, 32, YMM},
		{"narrowRowAVX2", 1, 1, true, 32, YMM},
	} {
		s.write(c)
	}
	Generate()
}

// constants are the tables of the assembly: a one, and words of which the four
// from word 4 − 2n on mask the first n complex numbers of a 256-bit register.
type constants struct{ one, window Mem }

// A shape is a tile: rows by registers of complex numbers. A masked one works
// on as many columns as it is told to, the others on as many as they hold.
type shape struct {
	name         string
	rows, across int
	masked       bool
	width        int // bytes of a register
	vec          func() reg.VecVirtual
}

func (s shape) write(c constants) {
	TEXT(s.name, NOSPLIT, "func(c *complex128, ldc int, a *complex128, lda int, b *complex128, ldb int, groups int, inner int, cols int, sign float64)")
	Doc(s.name + " is addProduct for groups of rows of a strip of columns.")
	to := Load(Param("c"), GP64())
	ldc := Load(Param("ldc"), GP64())
	a := Load(Param("a"), GP64())
	lda := Load(Param("lda"), GP64())
	b := Load(Param("b"), GP64())
	ldb := Load(Param("ldb"), GP64())
	groups := Load(Param("groups"), GP64())
	for _, ld := range []reg.Register{ldc, lda, ldb} {
		SHLQ(Imm(4), ld) // from numbers to bytes
	}
	load := func(m Mem, to reg.VecVirtual) { VMOVUPD(m, to) }
	store := func(from reg.VecVirtual, m Mem) { VMOVUPD(from, m) }
	if s.masked {
		load, store = s.mask(c)
	}

	Label("group")
	sum := make([][][2]reg.VecVirtual, s.rows)
	for i := range sum {
		for range s.across {
			x := [2]reg.VecVirtual{s.vec(), s.vec()}
			for _, r := range x {
				if s.width == 64 {
					VPXORQ(r, r, r)
				} else {
					VXORPD(r, r, r)
				}
			}
			sum[i] = append(sum[i], x)
		}
	}
	bp, n := GP64(), GP64()
	MOVQ(b, bp)
	Load(Param("inner"), n)
	a4, lda3 := GP64(), GP64() // row 4 of a, three rows
	LEAQ(Mem{Base: lda, Index: lda, Scale: 2}, lda3)
	if s.rows > 4 {
		LEAQ(Mem{Base: a, Index: lda, Scale: 4}, a4)
	}
	row := func(i int) Mem {
		base := a
		if i >= 4 {
			base, i = a4, i-4
		}
		return []Mem{{Base: base}, {Base: base, Index: lda, Scale: 1}, {Base: base, Index: lda, Scale: 2}, {Base: base, Index: lda3, Scale: 1}}[i]
	}

	Label("inner")
	var bs []reg.VecVirtual
	for v := range s.across {
		r := s.vec()
		load(Mem{Base: bp, Disp: v * s.width}, r)
		bs = append(bs, r)
	}
	x := s.vec()
	for i := range s.rows {
		for part := range 2 {
			VBROADCASTSD(row(i).Offset(8*part), x)
			for v := range s.across {
				VFMADD231PD(x, bs[v], sum[i][v][part])
			}
		}
	}
	ADDQ(ldb, bp)
	ADDQ(Imm(16), a)
	if s.rows > 4 {
		ADDQ(Imm(16), a4)
	}
	DECQ(n)
	JNZ(LabelRef("inner"))

	// c += sign·(re a·b ∓ im a·b exchanged)
	one, sign, old := s.vec(), s.vec(), s.vec()
	VBROADCASTSD(c.one, one)
	VBROADCASTSD(NewParamAddr("sign", 72), sign)
	for i := range s.rows {
		for v := range s.across {
			m := Mem{Base: to, Disp: v * s.width}
			re, im := sum[i][v][0], sum[i][v][1]
			VPERMILPD(Imm(0x55), im, im)
			VFMADDSUB231PD(re, one, im)
			load(m, old)
			VFMADD231PD(im, sign, old)
			store(old, m)
		}
		ADDQ(ldc, to)
	}
	// back to the first number of the row, then down to the next group
	Load(Param("inner"), n)
	SHLQ(Imm(4), n)
	SUBQ(n, a)
	for range s.rows {
		ADDQ(lda, a)
	}
	DECQ(groups)
	JNZ(LabelRef("group"))
	VZEROUPPER()
	RET()
}

// mask returns how to load and store the columns that exist.
func (s shape) mask(c constants) (load func(Mem, reg.VecVirtual), store func(reg.VecVirtual, Mem)) {
	cols := Load(Param("cols"), GP64())
	if s.width == 64 {
		// the low 2·cols bits
		bits, k := GP64(), K()
		SHLQ(Imm(1), cols)
		MOVQ(U64(1), bits)
		SHLXQ(cols, bits, bits)
		DECQ(bits)
		KMOVW(bits.As32(), k)
		return func(m Mem, to reg.VecVirtual) { VMOVUPD_Z(m, k, to) }, func(from reg.VecVirtual, m Mem) { VMOVUPD(from, k, m) }
	}
	at, m := GP64(), s.vec()
	LEAQ(c.window.Offset(32), at)
	SHLQ(Imm(4), cols)
	SUBQ(cols, at)
	VMOVDQU(Mem{Base: at}, m)
	return func(from Mem, to reg.VecVirtual) { VMASKMOVPD(from, m, to) }, func(from reg.VecVirtual, to Mem) { VMASKMOVPD(from, m, to) }
}
