package main

import (
	"math"
	"strconv"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

// Byte offsets of section, phasor and far in package kernel.
const (
	sectionSize                          = 64
	sectionRe, sectionIm                 = 8, 16
	sectionSkin, sectionLinear           = 24, 32
	phasorSize, phasorIm                 = 256, 128
	farRho, farSkin, farLinear, farScale = 0, 8, 16, 24
)

// degree of the polynomial of e^r on |r| ≤ ln2/2: the first term left out is
// r^13/13! ≤ 1.7e-16.
const degree = 12

func coefficient(d int) string {
	if d == 0 {
		return "one"
	}
	return "c" + strconv.Itoa(d)
}

// sweep writes linesAVX512 and so on when loss is set, else reflectAVX512. A
// group is sixteen frequencies: AVX-512 takes it in two registers side by side,
// so that the latency of one is hidden behind the other; AVX2, with half as many
// registers of half the size, one quarter after the other.
func sweep(name string, width, side int, vec func() reg.VecVirtual, loss bool, c map[string]Mem) {
	if loss {
		TEXT(name, NOSPLIT, "func(s11, s21, root, frequency *float64, groups int, sections, phasors *float64, n int, far *float64)")
		Doc(name + " is linesPlain with fused multiply-adds and its own exponential.")
	} else {
		TEXT(name, NOSPLIT, "func(s11 *float64, groups int, sections, phasors *float64, n int, far *float64)")
		Doc(name + " is reflectPlain with fused multiply-adds.")
	}
	s11 := Load(Param("s11"), GP64())
	var s21, root, frequency reg.Register
	if loss {
		s21 = Load(Param("s21"), GP64())
		root = Load(Param("root"), GP64())
		frequency = Load(Param("frequency"), GP64())
	}
	groups := Load(Param("groups"), GP64())
	sections := Load(Param("sections"), GP64())
	phasors := Load(Param("phasors"), GP64())
	n := Load(Param("n"), GP64())
	far := Load(Param("far"), GP64())

	type vecs []reg.VecVirtual // one per register side by side
	each := func(f func(g int) reg.VecVirtual) vecs {
		var v vecs
		for g := range side {
			v = append(v, f(g))
		}
		return v
	}
	fresh := func() vecs { return each(func(int) reg.VecVirtual { return vec() }) }
	broadcast := func(m Mem) reg.VecVirtual {
		v := vec()
		VBROADCASTSD(m, v)
		return v
	}
	broadcasts := func(m Mem) vecs { return each(func(int) reg.VecVirtual { return broadcast(m) }) }
	at := func(base reg.Register, disp int) Mem { return Mem{Base: base, Disp: disp} }
	zeros := func() vecs {
		return each(func(int) reg.VecVirtual {
			v := vec()
			if width == 64 {
				VPXORQ(v, v, v)
			} else {
				VXORPD(v, v, v)
			}
			return v
		})
	}
	op := func(do func(g int)) {
		for g := range side {
			do(g)
		}
	}

	// The constants of the range reduction stay in registers where there are 32 of them.
	kept := map[string]reg.VecVirtual{}
	if width == 64 && loss {
		for _, name := range []string{"limit", "log2e", "magic", "ln2hi", "ln2lo"} {
			kept[name] = broadcast(c[name])
		}
	}
	constant := func(name string) reg.VecVirtual {
		if v, ok := kept[name]; ok {
			return v
		}
		return broadcast(c[name])
	}

	// attenuation returns the exponential of skin·√f + linear·f.
	attenuation := func(skin, linear Mem) vecs {
		x := broadcasts(skin)
		op(func(g int) { VMULPD(at(root, g*width), x[g], x[g]) })
		y := broadcast(linear)
		op(func(g int) { VFMADD231PD(at(frequency, g*width), y, x[g]) })
		return exponential(width, vec, c, constant, x)
	}

	part := GP64() // bytes into the phasors' lanes
	sec, ph, e := GP64(), GP64(), GP64()
	Label(name + "_group")
	TESTQ(groups, groups)
	JZ(LabelRef(name + "_done"))
	XORQ(part, part)

	Label(name + "_part")
	ur, ui, vr, vi := broadcasts(at(far, farRho)), zeros(), broadcasts(c["one"]), zeros()
	MOVQ(n, e)
	MOVQ(n, sec)
	SHLQ(U8(6), sec)
	ADDQ(sections, sec)
	MOVQ(n, ph)
	SHLQ(U8(8), ph)
	ADDQ(phasors, ph)
	ADDQ(part, ph)
	TESTQ(e, e)
	JZ(LabelRef(name + "_end"))

	Label(name + "_section")
	SUBQ(U8(sectionSize), sec)
	SUBQ(U32(phasorSize), ph)
	var amplitude vecs
	if loss {
		amplitude = attenuation(at(sec, sectionSkin), at(sec, sectionLinear))
	}
	pr := each(func(g int) reg.VecVirtual { v := vec(); VMOVUPD(at(ph, g*width), v); return v })
	pi := each(func(g int) reg.VecVirtual { v := vec(); VMOVUPD(at(ph, phasorIm+g*width), v); return v })
	Comment("The phasor turns on.")
	re, im := broadcast(at(sec, sectionRe)), broadcast(at(sec, sectionIm))
	nr, ni := fresh(), fresh()
	op(func(g int) { VMULPD(pr[g], re, nr[g]) })
	op(func(g int) { VMULPD(pr[g], im, ni[g]) })
	op(func(g int) { VFNMADD231PD(pi[g], im, nr[g]) })
	op(func(g int) { VFMADD231PD(pi[g], re, ni[g]) })
	op(func(g int) { VMOVUPD(nr[g], at(ph, g*width)) })
	op(func(g int) { VMOVUPD(ni[g], at(ph, phasorIm+g*width)) })
	if loss {
		op(func(g int) { VMULPD(amplitude[g], pr[g], pr[g]) })
		op(func(g int) { VMULPD(amplitude[g], pi[g], pi[g]) })
	}
	wr, wi := fresh(), fresh()
	op(func(g int) { VMULPD(ur[g], pr[g], wr[g]) })
	op(func(g int) { VMULPD(ur[g], pi[g], wi[g]) })
	op(func(g int) { VFNMADD231PD(ui[g], pi[g], wr[g]) })
	op(func(g int) { VFMADD231PD(ui[g], pr[g], wi[g]) })
	rho := broadcast(at(sec, 0))
	op(func(g int) { VMOVAPD(wr[g], ur[g]) })
	op(func(g int) { VMOVAPD(wi[g], ui[g]) })
	op(func(g int) { VFMADD231PD(rho, vr[g], ur[g]) })
	op(func(g int) { VFMADD231PD(rho, vi[g], ui[g]) })
	op(func(g int) { VFMADD231PD(rho, wr[g], vr[g]) })
	op(func(g int) { VFMADD231PD(rho, wi[g], vi[g]) })
	DECQ(e)
	JNZ(LabelRef(name + "_section"))

	Label(name + "_end")
	square := fresh()
	op(func(g int) { VMULPD(vr[g], vr[g], square[g]) })
	op(func(g int) { VFMADD231PD(vi[g], vi[g], square[g]) })
	inverse := broadcasts(c["one"])
	op(func(g int) { VDIVPD(square[g], inverse[g], inverse[g]) })
	op(func(g int) { VMULPD(ur[g], ur[g], square[g]) })
	op(func(g int) { VFMADD231PD(ui[g], ui[g], square[g]) })
	op(func(g int) { VMULPD(square[g], inverse[g], square[g]) })
	op(func(g int) { VMOVUPD(square[g], at(s11, g*width)) })
	if loss {
		p := attenuation(at(far, farSkin), at(far, farLinear))
		scale := broadcast(at(far, farScale))
		op(func(g int) { VMULPD(scale, p[g], p[g]) })
		op(func(g int) { VMULPD(inverse[g], p[g], p[g]) })
		op(func(g int) { VMOVUPD(p[g], at(s21, g*width)) })
		ADDQ(U32(side*width), s21)
		ADDQ(U32(side*width), root)
		ADDQ(U32(side*width), frequency)
	}
	ADDQ(U32(side*width), s11)
	if side*width < phasorIm {
		ADDQ(U8(side*width), part)
		CMPQ(part, U32(phasorIm))
		JNE(LabelRef(name + "_part"))
	}
	DECQ(groups)
	JMP(LabelRef(name + "_group"))

	Label(name + "_done")
	VZEROUPPER()
	RET()
}

// exponential returns e^x of registers side by side and destroys x ≤ 0 (below
// −700 as at −700; NaN stays). constant gives a number of the table in a register.
func exponential(width int, vec func() reg.VecVirtual, c map[string]Mem, constant func(name string) reg.VecVirtual, x []reg.VecVirtual) []reg.VecVirtual {
	fresh := func() (v []reg.VecVirtual) {
		for range x {
			v = append(v, vec())
		}
		return v
	}
	op := func(do func(g int)) {
		for g := range x {
			do(g)
		}
	}
	limit := constant("limit")
	op(func(g int) { VMAXPD(x[g], limit, x[g]) }) // NaN when x is
	number := fresh()
	op(func(g int) {
		if width == 64 {
			VPXORQ(number[g], number[g], number[g])
		} else {
			VXORPD(number[g], number[g], number[g])
		}
	})
	op(func(g int) { VMINPD(number[g], x[g], number[g]) }) // 0 when x is NaN, so that the exponent added below leaves a NaN alone
	magic, log2e := constant("magic"), constant("log2e")
	t, k := fresh(), fresh()
	op(func(g int) { VMOVAPD(magic, t[g]) })
	op(func(g int) { VFMADD231PD(log2e, number[g], t[g]) }) // the low bits of t are round(x/ln2)
	op(func(g int) { VSUBPD(magic, t[g], k[g]) })
	ln2hi, ln2lo := constant("ln2hi"), constant("ln2lo")
	op(func(g int) { VFNMADD231PD(ln2hi, k[g], x[g]) })
	op(func(g int) { VFNMADD231PD(ln2lo, k[g], x[g]) })
	p := series(width, vec, c, degree, x)
	op(func(g int) { VPSLLQ(U8(52), t[g], t[g]) })
	op(func(g int) { VPADDQ(t[g], p[g], p[g]) })
	return p
}

// series returns the exponential series of x to a degree.
func series(width int, vec func() reg.VecVirtual, c map[string]Mem, degree int, x []reg.VecVirtual) (p []reg.VecVirtual) {
	broadcast := func(name string) reg.VecVirtual {
		v := vec()
		VBROADCASTSD(c[name], v)
		return v
	}
	for range x {
		p = append(p, broadcast(coefficient(degree)))
	}
	for d := degree - 1; d >= 0; d-- {
		var cd Op = c[coefficient(d)] // the whole of a register of AVX2
		if width == 64 {
			cd = broadcast(coefficient(d))
		}
		for g := range x {
			VFMADD213PD(cd, x[g], p[g]) // p = p x + c
		}
	}
	return p
}

// sincos writes sincosAVX512 and sincosAVX2: the sine and cosine of angles in turns.
func sincos(name string, width int, vec func() reg.VecVirtual, c map[string]Mem) {
	TEXT(name, NOSPLIT, "func(sin, cos, turns *float64, vectors int)")
	Doc(name + " is sincosTurns with fused multiply-adds.")
	sin := Load(Param("sin"), GP64())
	cos := Load(Param("cos"), GP64())
	turns := Load(Param("turns"), GP64())
	vectors := Load(Param("vectors"), GP64())
	broadcast := func(name string) reg.VecVirtual {
		v := vec()
		VBROADCASTSD(c[name], v)
		return v
	}
	and := func(a, b, to reg.VecVirtual) {
		if width == 64 {
			VPANDQ(a, b, to)
		} else {
			VPAND(a, b, to)
		}
	}
	xor := func(a, b, to reg.VecVirtual) {
		if width == 64 {
			VPXORQ(a, b, to)
		} else {
			VPXOR(a, b, to)
		}
	}

	Label(name + "_loop")
	TESTQ(vectors, vectors)
	JZ(LabelRef(name + "_done"))
	x, t, k := vec(), broadcast("magic"), vec()
	VMOVUPD(Mem{Base: turns}, x)
	VFMADD231PD(broadcast("four"), x, t) // the low bits of t are the nearest number of quarter turns
	VSUBPD(broadcast("magic"), t, k)
	VFNMADD231PD(broadcast("quarter"), k, x) // exact
	VMULPD(broadcast("turn"), x, x)
	z := vec()
	VMULPD(x, x, z)
	s, co := broadcast("s7"), broadcast("k8")
	for d := 6; d >= 1; d-- {
		VFMADD213PD(broadcast("s"+strconv.Itoa(d)), z, s)
	}
	for d := 7; d >= 0; d-- {
		VFMADD213PD(broadcast("k"+strconv.Itoa(d)), z, co)
	}
	rz := vec()
	VMULPD(x, z, rz)
	VFMADD213PD(x, rz, s) // r + r³·(...)
	Comment("In odd quarters sine and cosine change places: both are differenced by the bits in which they differ.")
	odd := vec()
	VPSLLQ(U8(63), t, odd)
	swap := vec()
	xor(swap, swap, swap)
	VPSRLQ(U8(63), odd, odd)
	VPSUBQ(odd, swap, swap) // all ones in odd quarters
	differ := vec()
	xor(s, co, differ)
	and(differ, swap, differ)
	xor(differ, s, s)
	xor(differ, co, co)
	Comment("The sine is negative in quarters 2 and 3, the cosine in 1 and 2.")
	sign := vec()
	VPSRLQ(U8(1), t, sign)
	VPSLLQ(U8(63), sign, sign)
	xor(sign, s, s)
	VPADDQ(odd, t, t) // carries into the second bit in odd quarters
	VPSRLQ(U8(1), t, sign)
	VPSLLQ(U8(63), sign, sign)
	xor(sign, co, co)
	VMOVUPD(s, Mem{Base: sin})
	VMOVUPD(co, Mem{Base: cos})
	ADDQ(U8(width), sin)
	ADDQ(U8(width), cos)
	ADDQ(U8(width), turns)
	DECQ(vectors)
	JMP(LabelRef(name + "_loop"))

	Label(name + "_done")
	VZEROUPPER()
	RET()
}

// table declares the constants, each as wide as a register of AVX2.
func table() map[string]Mem {
	c := map[string]Mem{}
	define := func(name string, x float64) {
		c[name] = GLOBL(name, RODATA|NOPTR)
		for i := range 4 {
			DATA(8*i, U64(math.Float64bits(x))) // F64(1) would be written as the integer 1
		}
	}
	define("one", 1)
	define("limit", -700)
	define("log2e", math.Log2E)
	define("magic", 0x1.8p52)
	define("ln2hi", 0x1.62e42fefa38p-1) // 42 bits: the product with the exponent is exact
	define("ln2lo", 0x1.ef35793c7673p-45)
	define("four", 4)
	define("quarter", 0.25)
	define("turn", 2*math.Pi)
	define("k0", 1)
	even, sign := 1.0, 1.0
	for d := 1; d <= 8; d++ { // sine: r^(2d+1), cosine: r^2d
		sign = -sign
		even *= float64(2*d-1) * float64(2*d)
		define("k"+strconv.Itoa(d), sign/even)
		if d <= 7 {
			define("s"+strconv.Itoa(d), sign/(even*float64(2*d+1)))
		}
	}
	factorial := 1.0
	for d := 1; d <= degree; d++ {
		factorial *= float64(d)
		define(coefficient(d), 1/factorial)
	}
	return c
}
