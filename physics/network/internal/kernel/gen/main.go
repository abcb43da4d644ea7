// Command gen writes the amd64 assembly of package kernel.
//
// One body serves both instruction sets. The cascade works on a register's width of
// frequencies, keeps the running product M11 ... M22, T in ten registers, and
// needs six more. AVX-512 runs two such groups side by side, which its 32
// registers allow and which hides the latency of the multiply-adds; AVX2 leaves that
// to the processor's reordering.
package main

import (
	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

const (
	plane = 32 * 8    // bytes
	block = 8 * plane // bytes
)

// Byte offsets of the planes of a block.
const (
	s11 = 2 * iota * plane
	s22
	d
	s21
)

func main() {
	ConstraintExpr("!noasm")
	constants := table()
	cascade("cascadeAVX512", 64, 2, ZMM, constants["one"])
	cascade("cascadeAVX2", 32, 1, YMM, constants["one"])
	sincos("sincosAVX512", 64, ZMM, constants)
	sincos("sincosAVX2", 32, YMM, constants)
	sweep("linesAVX512", 64, 2, ZMM, true, constants)
	sweep("linesAVX2", 32, 1, YMM, true, constants)
	sweep("reflectAVX512", 64, 2, ZMM, false, constants)
	sweep("reflectAVX2", 32, 1, YMM, false, constants)
	copies("copiesAVX512", 64, 2, ZMM, constants)
	copies("copiesAVX2", 32, 1, YMM, constants)
	extremes("rangeAVX512", 64, ZMM)
	extremes("rangeAVX2", 32, YMM)
	Generate()
}

type complexReg struct{ re, im reg.VecVirtual }

// A state is the product so far of one group of frequencies.
type state struct{ m11, m12, m21, m22, t complexReg }

func cascade(name string, width, groups int, vec func() reg.VecVirtual, one Mem) {
	TEXT(name, NOSPLIT, "func(dst *float64, chain **float64, n int, blocks int)")
	Doc(name + " is cascadePlain with fused multiply-adds, " + map[int]string{64: "16", 32: "4"}[width] + " frequencies at a time.")
	dst := Load(Param("dst"), GP64())
	chain := Load(Param("chain"), GP64())
	n := Load(Param("n"), GP64())
	blocks := Load(Param("blocks"), GP64())
	off, passes, e, p := GP64(), GP64(), GP64(), GP64()
	XORQ(off, off)

	pair := func() complexReg { return complexReg{vec(), vec()} }
	// load reads a complex value of element p for group g.
	load := func(g, what int) complexReg {
		z := pair()
		VMOVUPD(Mem{Base: p, Index: off, Scale: 1, Disp: what + g*width}, z.re)
		VMOVUPD(Mem{Base: p, Index: off, Scale: 1, Disp: what + plane + g*width}, z.im)
		return z
	}
	store := func(g, what int, z complexReg) {
		VMOVUPD(z.re, Mem{Base: dst, Index: off, Scale: 1, Disp: what + g*width})
		VMOVUPD(z.im, Mem{Base: dst, Index: off, Scale: 1, Disp: what + plane + g*width})
	}
	mul := func(a, b complexReg) complexReg {
		z := pair()
		VMULPD(a.re, b.re, z.re)
		VMULPD(a.re, b.im, z.im)
		VFNMADD231PD(a.im, b.im, z.re)
		VFMADD231PD(a.im, b.re, z.im)
		return z
	}
	addMul := func(a, b, z complexReg) { // z += a·b
		VFMADD231PD(a.re, b.re, z.re)
		VFMADD231PD(a.re, b.im, z.im)
		VFNMADD231PD(a.im, b.im, z.re)
		VFMADD231PD(a.im, b.re, z.im)
	}
	subMul := func(a, b, z complexReg) { // z −= a·b
		VFNMADD231PD(a.re, b.re, z.re)
		VFNMADD231PD(a.re, b.im, z.im)
		VFMADD231PD(a.im, b.im, z.re)
		VFNMADD231PD(a.im, b.re, z.im)
	}
	move := func(from, to complexReg) {
		VMOVAPD(from.re, to.re)
		VMOVAPD(from.im, to.im)
	}
	zero := func(v reg.VecVirtual) {
		if width == 64 {
			VPXORQ(v, v, v)
		} else {
			VXORPD(v, v, v)
		}
	}
	ones := func() reg.VecVirtual {
		v := vec()
		VBROADCASTSD(one, v)
		return v
	}

	Label(name + "_block")
	TESTQ(blocks, blocks)
	JZ(LabelRef(name + "_done"))
	MOVQ(U32(plane/(width*groups)), passes)

	Label(name + "_pass")
	Comment("The first element is the product so far: M11 = 1, M12 = −S22, M21 = S11, M22 = D, T = S21.")
	MOVQ(Mem{Base: chain}, p)
	var states []state
	for g := range groups {
		s := state{pair(), pair(), load(g, s11), load(g, d), load(g, s21)}
		v := load(g, s22)
		zero(s.m12.re)
		VSUBPD(v.im, s.m12.re, s.m12.im)
		VSUBPD(v.re, s.m12.re, s.m12.re)
		zero(s.m11.im)
		u := ones()
		VMOVAPD(u, s.m11.re)
		states = append(states, s)
	}
	MOVQ(n, e)
	DECQ(e)
	JZ(LabelRef(name + "_end"))
	link := GP64()
	MOVQ(chain, link)

	Label(name + "_element")
	ADDQ(U8(8), link)
	MOVQ(Mem{Base: link}, p)
	for g, s := range states {
		dd := load(g, d)
		x12, x22 := mul(s.m12, dd), mul(s.m22, dd)
		nn := load(g, s22)
		subMul(s.m11, nn, x12)
		subMul(s.m21, nn, x22)
		ss := load(g, s11)
		addMul(s.m12, ss, s.m11)
		addMul(s.m22, ss, s.m21)
		move(x12, s.m12)
		move(x22, s.m22)
		tt := load(g, s21)
		move(mul(s.t, tt), s.t)
	}
	DECQ(e)
	JNZ(LabelRef(name + "_element"))

	Label(name + "_end")
	Comment("Everything over M11.")
	for g, s := range states {
		q := complexReg{vec(), vec()}
		abs := vec()
		VMULPD(s.m11.re, s.m11.re, abs)
		VFMADD231PD(s.m11.im, s.m11.im, abs)
		VDIVPD(abs, ones(), abs)
		VMULPD(s.m11.re, abs, q.re)
		VMULPD(s.m11.im, abs, q.im)
		zero(abs)
		VSUBPD(q.im, abs, q.im)
		store(g, s11, mul(s.m21, q))
		store(g, d, mul(s.m22, q))
		store(g, s21, mul(s.t, q))
		z := mul(s.m12, q)
		zero(abs)
		VSUBPD(z.re, abs, z.re)
		VSUBPD(z.im, abs, z.im)
		store(g, s22, z)
	}
	ADDQ(U32(width*groups), off)
	DECQ(passes)
	JNZ(LabelRef(name + "_pass"))
	ADDQ(U32(block-plane), off)
	DECQ(blocks)
	JMP(LabelRef(name + "_block"))

	Label(name + "_done")
	VZEROUPPER()
	RET()
}
