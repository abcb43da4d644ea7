package main

import (
	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

// Byte offsets of step in package kernel, and its kinds of line.
const (
	stepSize                                     = 96
	stepKnown, stepBound, stepLoss, stepDecay    = 0, 8, 16, 24
	stepCr, stepCi, stepRe, stepIm               = 32, 40, 48, 56
	stepK, stepKind, stepStride                  = 64, 72, 80
	noLine, lossless, asStated, nearStated, afar = 0, 1, 2, 3, 4
	nearDegree                                   = 8
)

// copies writes copiesAVX512 and copiesAVX2. As in sweep, a group is sixteen
// frequencies: two registers side by side, or one quarter after the other. The
// rows of the product M and the power take nine registers a side.
func copies(name string, width, side int, vec func() reg.VecVirtual, c map[string]Mem) {
	TEXT(name, NOSPLIT, "func(s11, s22, s21, ripple, power *float64, offset, groups int, steps, phasors *float64, n int)")
	Doc(name + " is copiesPlain with fused multiply-adds and its own exponential.")
	off := Load(Param("offset"), GP64())
	groups := Load(Param("groups"), GP64())
	steps := Load(Param("steps"), GP64())
	phasors := Load(Param("phasors"), GP64())

	type vecs []reg.VecVirtual
	fresh := func() vecs {
		var v vecs
		for range side {
			v = append(v, vec())
		}
		return v
	}
	op := func(do func(g int)) {
		for g := range side {
			do(g)
		}
	}
	broadcast := func(m Mem) reg.VecVirtual {
		v := vec()
		VBROADCASTSD(m, v)
		return v
	}
	constant := func(name string) reg.VecVirtual { return broadcast(c[name]) }
	fill := func(m Mem, v vecs) { op(func(g int) { VBROADCASTSD(m, v[g]) }) }
	zero := func(v vecs) {
		op(func(g int) {
			if width == 64 {
				VPXORQ(v[g], v[g], v[g])
			} else {
				VXORPD(v[g], v[g], v[g])
			}
		})
	}
	table := func(base reg.Register, g int) Mem {
		return Mem{Base: base, Index: off, Scale: 1, Disp: g * width}
	}

	part, e, sec, ph, p, kind := GP64(), GP64(), GP64(), GP64(), GP64(), GP64()
	Label(name + "_group")
	TESTQ(groups, groups)
	JZ(LabelRef(name + "_done"))
	XORQ(part, part)

	Label(name + "_part")
	type row struct{ ar, ai, br, bi vecs }
	rows := [2]row{{fresh(), fresh(), fresh(), fresh()}, {fresh(), fresh(), fresh(), fresh()}}
	power := fresh()
	for i, r := range rows {
		zero(r.ai)
		zero(r.bi)
		if i == 0 {
			fill(c["one"], r.ar)
			zero(r.br)
		} else {
			zero(r.ar)
			fill(c["one"], r.br)
		}
	}
	fill(c["one"], power)
	Load(Param("n"), e)
	MOVQ(steps, sec)
	LEAQ(Mem{Base: phasors, Index: part, Scale: 1}, ph)
	TESTQ(e, e)
	JZ(LabelRef(name + "_end"))

	Label(name + "_step")
	MOVQ(Mem{Base: sec, Disp: stepKnown}, p)
	TESTQ(p, p)
	JZ(LabelRef(name + "_bound"))
	Comment("A known two-port: (a, b) ← (a + b·m21, a·m12 + b·m22).")
	stride := GP64()
	MOVQ(Mem{Base: sec, Disp: stepStride}, stride)
	plane := func(k int) func() { // leaves p at plane k, counted from where it is
		return func() {
			for range k {
				ADDQ(stride, p)
			}
		}
	}
	one := plane(1)
	for g := range side {
		// One register of the group at a time: the planes are read for each row.
		for _, r := range rows {
			nar, nai, nbr, nbi := vec(), vec(), vec(), vec()
			MOVQ(Mem{Base: sec, Disp: stepKnown}, p)
			VMULPD(table(p, g), r.ar[g], nbr) // m12 re
			VMULPD(table(p, g), r.ai[g], nbi)
			one()
			VFNMADD231PD(table(p, g), r.ai[g], nbr) // m12 im
			VFMADD231PD(table(p, g), r.ar[g], nbi)
			one()
			VMOVAPD(r.ar[g], nar)
			VMOVAPD(r.ai[g], nai)
			VFMADD231PD(table(p, g), r.br[g], nar) // m21 re
			VFMADD231PD(table(p, g), r.bi[g], nai)
			one()
			VFNMADD231PD(table(p, g), r.bi[g], nar) // m21 im
			VFMADD231PD(table(p, g), r.br[g], nai)
			one()
			VFMADD231PD(table(p, g), r.br[g], nbr) // m22 re
			VFMADD231PD(table(p, g), r.bi[g], nbi)
			one()
			VFNMADD231PD(table(p, g), r.bi[g], nbr) // m22 im
			VFMADD231PD(table(p, g), r.br[g], nbi)
			VMOVAPD(nar, r.ar[g])
			VMOVAPD(nai, r.ai[g])
			VMOVAPD(nbr, r.br[g])
			VMOVAPD(nbi, r.bi[g])
		}
	}

	Label(name + "_bound")
	MOVQ(Mem{Base: sec, Disp: stepBound}, p)
	TESTQ(p, p)
	JZ(LabelRef(name + "_line"))
	Comment("A discontinuity: (a, b) ← (a + b·u, b + a·u*), power ← power·(1 − |u|²).")
	ur, ui := fresh(), fresh()
	fill(Mem{Base: sec, Disp: stepCr}, ur)
	fill(Mem{Base: sec, Disp: stepCi}, ui)
	op(func(g int) { VMULPD(table(p, g), ur[g], ur[g]) })
	op(func(g int) { VMULPD(table(p, g), ui[g], ui[g]) })
	rest := fresh()
	fill(c["one"], rest)
	op(func(g int) { VFNMADD231PD(ur[g], ur[g], rest[g]) })
	op(func(g int) { VFNMADD231PD(ui[g], ui[g], rest[g]) })
	op(func(g int) { VMULPD(rest[g], power[g], power[g]) })
	for _, r := range rows {
		nar, nai := fresh(), fresh()
		op(func(g int) { VMOVAPD(r.ar[g], nar[g]) })
		op(func(g int) { VMOVAPD(r.ai[g], nai[g]) })
		op(func(g int) { VFMADD231PD(ur[g], r.br[g], nar[g]) })
		op(func(g int) { VFMADD231PD(ui[g], r.br[g], nai[g]) })
		op(func(g int) { VFNMADD231PD(ui[g], r.bi[g], nar[g]) })
		op(func(g int) { VFMADD231PD(ur[g], r.bi[g], nai[g]) })
		op(func(g int) { VFMADD231PD(ur[g], r.ar[g], r.br[g]) })
		op(func(g int) { VFMADD231PD(ur[g], r.ai[g], r.bi[g]) })
		op(func(g int) { VFMADD231PD(ui[g], r.ai[g], r.br[g]) })
		op(func(g int) { VFNMADD231PD(ui[g], r.ar[g], r.bi[g]) })
		op(func(g int) { VMOVAPD(nar[g], r.ar[g]) })
		op(func(g int) { VMOVAPD(nai[g], r.ai[g]) })
	}

	Label(name + "_line")
	MOVQ(Mem{Base: sec, Disp: stepKind}, kind)
	TESTQ(kind, kind)
	JZ(LabelRef(name + "_next"))
	amplitude := fresh()
	MOVQ(Mem{Base: sec, Disp: stepLoss}, p)
	CMPQ(kind, Imm(nearStated))
	JE(LabelRef(name + "_near"))
	CMPQ(kind, Imm(afar))
	JE(LabelRef(name + "_far"))
	fill(c["one"], amplitude)
	CMPQ(kind, Imm(lossless))
	JE(LabelRef(name + "_turn"))
	MOVQ(Mem{Base: sec, Disp: stepDecay}, p)
	op(func(g int) { VMOVUPD(table(p, g), amplitude[g]) })
	JMP(LabelRef(name + "_fade"))

	Label(name + "_near")
	{
		x := fresh()
		fill(Mem{Base: sec, Disp: stepK}, x)
		op(func(g int) { VMULPD(table(p, g), x[g], x[g]) })
		y := series(width, vec, c, nearDegree, x)
		MOVQ(Mem{Base: sec, Disp: stepDecay}, p)
		op(func(g int) { VMULPD(table(p, g), y[g], amplitude[g]) })
		JMP(LabelRef(name + "_fade"))
	}

	Label(name + "_far")
	{
		x := fresh()
		fill(Mem{Base: sec, Disp: stepK}, x)
		op(func(g int) { VMULPD(table(p, g), x[g], x[g]) })
		y := exponential(width, vec, c, constant, x)
		op(func(g int) { VMOVAPD(y[g], amplitude[g]) })
	}

	Label(name + "_fade")
	op(func(g int) { VMULPD(amplitude[g], power[g], power[g]) })

	Label(name + "_turn")
	Comment("The second column turns and fades; the phasor turns on.")
	pr, pi, nr, ni := fresh(), fresh(), fresh(), fresh()
	op(func(g int) { VMOVUPD(Mem{Base: ph, Disp: g * width}, pr[g]) })
	op(func(g int) { VMOVUPD(Mem{Base: ph, Disp: phasorIm + g*width}, pi[g]) })
	re := broadcast(Mem{Base: sec, Disp: stepRe})
	op(func(g int) { VMULPD(pr[g], re, nr[g]) })
	op(func(g int) { VMULPD(pi[g], re, ni[g]) })
	im := broadcast(Mem{Base: sec, Disp: stepIm})
	op(func(g int) { VFNMADD231PD(pi[g], im, nr[g]) })
	op(func(g int) { VFMADD231PD(pr[g], im, ni[g]) })
	op(func(g int) { VMOVUPD(nr[g], Mem{Base: ph, Disp: g * width}) })
	op(func(g int) { VMOVUPD(ni[g], Mem{Base: ph, Disp: phasorIm + g*width}) })
	op(func(g int) { VMULPD(amplitude[g], pr[g], pr[g]) })
	op(func(g int) { VMULPD(amplitude[g], pi[g], pi[g]) })
	for _, r := range rows {
		nbr, nbi := fresh(), fresh()
		op(func(g int) { VMULPD(r.br[g], pr[g], nbr[g]) })
		op(func(g int) { VMULPD(r.br[g], pi[g], nbi[g]) })
		op(func(g int) { VFNMADD231PD(r.bi[g], pi[g], nbr[g]) })
		op(func(g int) { VFMADD231PD(r.bi[g], pr[g], nbi[g]) })
		op(func(g int) { VMOVAPD(nbr[g], r.br[g]) })
		op(func(g int) { VMOVAPD(nbi[g], r.bi[g]) })
	}

	Label(name + "_next")
	ADDQ(U8(stepSize), sec)
	ADDQ(U32(phasorSize), ph)
	DECQ(e)
	JNZ(LabelRef(name + "_step"))

	Label(name + "_end")
	square := func(r, i vecs) vecs {
		q := fresh()
		op(func(g int) { VMULPD(r[g], r[g], q[g]) })
		op(func(g int) { VFMADD231PD(i[g], i[g], q[g]) })
		return q
	}
	over := fresh()
	fill(c["one"], over)
	m11 := square(rows[0].ar, rows[0].ai)
	op(func(g int) { VDIVPD(m11[g], over[g], over[g]) })
	store := func(param string, v vecs) {
		Load(Param(param), p)
		op(func(g int) { VMOVUPD(v[g], table(p, g)) })
	}
	store("ripple", over)
	m21 := square(rows[1].ar, rows[1].ai)
	op(func(g int) { VMULPD(over[g], m21[g], m21[g]) })
	store("s11", m21)
	m12 := square(rows[0].br, rows[0].bi)
	op(func(g int) { VMULPD(over[g], m12[g], m12[g]) })
	store("s22", m12)
	Load(Param("power"), p)
	op(func(g int) { VMULPD(table(p, g), power[g], power[g]) })
	op(func(g int) { VMULPD(over[g], power[g], power[g]) })
	store("s21", power)
	ADDQ(U32(side*width), off)
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
