package main

import (
	"maps"
	"math"
	"slices"
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
	phasorSize, phasorIm                 = 128, 64
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
// group of eight frequencies is one register of AVX-512 and two of AVX2; AVX2 then does
// the halves one after the other, with the phasors' addresses moved by half.
func sweep(name string, width int, vec func() reg.VecVirtual, loss bool, c map[string]Mem) {
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

	broadcast := func(m Mem) reg.VecVirtual {
		v := vec()
		VBROADCASTSD(m, v)
		return v
	}
	at := func(base reg.Register, disp int) Mem { return Mem{Base: base, Disp: disp} }
	zero := func() reg.VecVirtual {
		v := vec()
		if width == 64 {
			VPXORQ(v, v, v)
		} else {
			VXORPD(v, v, v)
		}
		return v
	}

	// Constants stay in registers where there are 32 of them.
	constant := func(name string) Op { return c[name] }
	if width == 64 {
		kept := map[string]reg.VecVirtual{}
		names := []string{"one"}
		if loss {
			names = nil
			names = slices.Sorted(maps.Keys(c))
		}
		for _, name := range names {
			kept[name] = broadcast(c[name])
		}
		constant = func(name string) Op { return kept[name] }
	}

	// exponential overwrites x with e^x, x ≤ 0 (below −700 as at −700; NaN stays).
	exponential := func(x reg.VecVirtual) reg.VecVirtual {
		limit, number := vec(), zero()
		VMOVUPD(constant("limit"), limit)
		VMAXPD(x, limit, x)       // NaN when x is
		VMINPD(number, x, number) // 0 when x is NaN, so that the exponent added below leaves a NaN alone
		t := vec()
		VMOVUPD(constant("magic"), t)
		VFMADD231PD(constant("log2e"), number, t) // the low bits of t are round(x/ln2)
		k := vec()
		VSUBPD(constant("magic"), t, k)
		VFNMADD231PD(constant("ln2hi"), k, x)
		VFNMADD231PD(constant("ln2lo"), k, x)
		p := vec()
		VMOVUPD(constant(coefficient(degree)), p)
		for d := degree - 1; d >= 0; d-- {
			VFMADD213PD(constant(coefficient(d)), x, p) // p = p x + c
		}
		VPSLLQ(U8(52), t, t)
		VPADDQ(t, p, p)
		return p
	}

	half := GP64() // bytes into the phasors' eight lanes
	sec, ph, e := GP64(), GP64(), GP64()
	Label(name + "_group")
	TESTQ(groups, groups)
	JZ(LabelRef(name + "_done"))
	XORQ(half, half)

	Label(name + "_half")
	ur, ui, vr, vi := broadcast(at(far, farRho)), zero(), vec(), zero()
	VMOVUPD(constant("one"), vr)
	MOVQ(n, e)
	MOVQ(n, sec)
	SHLQ(U8(6), sec)
	ADDQ(sections, sec)
	MOVQ(n, ph)
	SHLQ(U8(7), ph)
	ADDQ(phasors, ph)
	ADDQ(half, ph)
	TESTQ(e, e)
	JZ(LabelRef(name + "_end"))

	Label(name + "_section")
	SUBQ(U8(sectionSize), sec)
	SUBQ(U8(phasorSize), ph)
	var amplitude reg.VecVirtual
	if loss {
		x := broadcast(at(sec, sectionSkin))
		VMULPD(at(root, 0), x, x)
		y := broadcast(at(sec, sectionLinear))
		VFMADD231PD(at(frequency, 0), y, x)
		amplitude = exponential(x)
	}
	pr, pi := vec(), vec()
	VMOVUPD(at(ph, 0), pr)
	VMOVUPD(at(ph, phasorIm), pi)
	// The phasor turns on.
	{
		re, im := broadcast(at(sec, sectionRe)), broadcast(at(sec, sectionIm))
		nr, ni := vec(), vec()
		VMULPD(pr, re, nr)
		VMULPD(pr, im, ni)
		VFNMADD231PD(pi, im, nr)
		VFMADD231PD(pi, re, ni)
		VMOVUPD(nr, at(ph, 0))
		VMOVUPD(ni, at(ph, phasorIm))
	}
	if loss {
		VMULPD(amplitude, pr, pr)
		VMULPD(amplitude, pi, pi)
	}
	wr, wi := vec(), vec()
	VMULPD(ur, pr, wr)
	VMULPD(ur, pi, wi)
	VFNMADD231PD(ui, pi, wr)
	VFMADD231PD(ui, pr, wi)
	rho := broadcast(at(sec, 0))
	VMOVAPD(wr, ur)
	VMOVAPD(wi, ui)
	VFMADD231PD(rho, vr, ur)
	VFMADD231PD(rho, vi, ui)
	VFMADD231PD(rho, wr, vr)
	VFMADD231PD(rho, wi, vi)
	DECQ(e)
	JNZ(LabelRef(name + "_section"))

	Label(name + "_end")
	inverse, square := vec(), vec()
	VMULPD(vr, vr, square)
	VFMADD231PD(vi, vi, square)
	VMOVUPD(constant("one"), inverse)
	VDIVPD(square, inverse, inverse)
	VMULPD(ur, ur, square)
	VFMADD231PD(ui, ui, square)
	VMULPD(square, inverse, square)
	VMOVUPD(square, at(s11, 0))
	if loss {
		x := broadcast(at(far, farSkin))
		VMULPD(at(root, 0), x, x)
		y := broadcast(at(far, farLinear))
		VFMADD231PD(at(frequency, 0), y, x)
		p := exponential(x)
		VMULPD(broadcast(at(far, farScale)), p, p)
		VMULPD(inverse, p, p)
		VMOVUPD(p, at(s21, 0))
		ADDQ(U8(width), s21)
		ADDQ(U8(width), root)
		ADDQ(U8(width), frequency)
	}
	ADDQ(U8(width), s11)
	if width == 32 {
		XORQ(U8(32), half)
		JNZ(LabelRef(name + "_half"))
	}
	DECQ(groups)
	JMP(LabelRef(name + "_group"))

	Label(name + "_done")
	VZEROUPPER()
	RET()
}

// table declares the constants, each replicated over a register of AVX-512.
func table() map[string]Mem {
	c := map[string]Mem{}
	define := func(name string, x float64) {
		m := GLOBL(name, RODATA|NOPTR)
		for i := range 8 {
			DATA(8*i, U64(math.Float64bits(x)))
		}
		c[name] = m
	}
	define("one", 1)
	define("limit", -700)
	define("log2e", math.Log2E)
	define("magic", 0x1.8p52)
	define("ln2hi", 0x1.62e42fefa38p-1) // 42 bits: the product with the exponent is exact
	define("ln2lo", 0x1.ef35793c7673p-45)
	factorial := 1.0
	for d := 1; d <= degree; d++ {
		factorial *= float64(d)
		define(coefficient(d), 1/factorial)
	}
	return c
}
