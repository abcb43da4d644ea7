// Command gen writes the amd64 assembly of package yee.
//
// One body serves both instruction sets and both precisions. Within a row all
// pointers move; the six rows of a block are reached from one pointer with the
// multiples 1, 2, 3, 4 and 5 of the pitch, and so are the rows of a set of
// coefficients. A row is taken in three pieces (its ends, which may lie in matched
// layers along x, and the middle), each by one of three loops:
//
//	ends     coefficients from memory, matched layer along x
//	mixed    coefficients from memory
//	uniform  coefficients in registers
//
// each of which exists for rows in and out of layers along y and z.
package main

import (
	"fmt"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

const group = 64

// Byte offsets in struct rows of package yee.
const (
	rowsBlock = 8 * iota
	rowsRecord
	rowsSet
	rowsX
	rowsY
	rowsZ
	rowsPsiX
	rowsPsiY
	rowsPsiZ
	rowsPitch
	rowsUp   // to the block of the neighbour along y
	rowsBack // and along z
	rowsNext // to the block of j+1
	rowsHead
	rowsMiddle
	rowsTail
	rowsCount
	rowsPiece // which piece of the row is next
)

// Byte offsets in a record.
const (
	recordSize                               = 32
	recordElectric, recordMagnetic           = 0, 4
	recordFlags                              = 8
	recordPsiX, recordPsiY, recordPsiZ       = 12, 16, 20
	uniformE, uniformH                 uint8 = 1, 2
)

// A set is an instruction set at a precision.
type set struct {
	name   string
	width  int // bytes of a register
	double bool
	vec    func() reg.VecVirtual
}

func main() {
	ConstraintExpr("!noasm")
	for _, s := range []set{{"AVX512", 64, false, ZMM}, {"AVX2", 32, false, YMM}, {"AVX512", 64, true, ZMM}, {"AVX2", 32, true, YMM}} {
		s.pass(true)
		s.pass(false)
		s.relax()
		s.squares()
	}
	for _, s := range []set{{"AVX512", 64, false, ZMM}, {"AVX2", 32, false, YMM}} {
		s.touch()
	}
	Generate()
}

func (s set) wide() bool { return s.width == 64 }

// size of a number, in bytes.
func (s set) size() int {
	if s.double {
		return 8
	}
	return 4
}

func (s set) called(name string) string {
	if s.double {
		return name + "64" + s.name
	}
	return name + "32" + s.name
}

// pick takes the instruction of the precision.
func pick[F any](s set, single, double F) F {
	if s.double {
		return double
	}
	return single
}

func (s set) load(m Op) reg.VecVirtual {
	v := s.vec()
	pick(s, VMOVUPS, VMOVUPD)(m, v)
	return v
}
func (s set) store(v Op, m Op) { pick(s, VMOVUPS, VMOVUPD)(v, m) }
func (s set) move(from, to Op) { pick(s, VMOVAPS, VMOVAPD)(from, to) }
func (s set) broadcast(m Op) reg.VecVirtual {
	v := s.vec()
	pick(s, VBROADCASTSS, VBROADCASTSD)(m, v)
	return v
}

// sub returns a − m.
func (s set) sub(a reg.VecVirtual, m Op) reg.VecVirtual {
	v := s.vec()
	pick(s, VSUBPS, VSUBPD)(m, a, v)
	return v
}
func (s set) mul(a reg.VecVirtual, m Op) reg.VecVirtual {
	v := s.vec()
	pick(s, VMULPS, VMULPD)(m, a, v)
	return v
}
func (s set) add(m Op, to reg.VecVirtual) { pick(s, VADDPS, VADDPD)(m, to, to) }
func (s set) take(m Op, from reg.VecVirtual) {
	pick(s, VSUBPS, VSUBPD)(m, from, from)
}

// addMul is to += a·m, subMul is to −= a·m.
func (s set) addMul(a reg.VecVirtual, m Op, to reg.VecVirtual) {
	pick(s, VFMADD231PS, VFMADD231PD)(m, a, to)
}
func (s set) subMul(a reg.VecVirtual, m Op, to reg.VecVirtual) {
	pick(s, VFNMADD231PS, VFNMADD231PD)(m, a, to)
}
func (s set) zero() reg.VecVirtual {
	v := s.vec()
	if s.wide() {
		VPXORQ(v, v, v)
	} else {
		VXORPS(v, v, v)
	}
	return v
}

// A pass is the kernel for E or H: what its loops share.
type pass struct {
	set
	e              bool
	r, up, back    reg.GPVirtual // blocks: this, neighbour along y, along z
	c, w           reg.GPVirtual // coefficients, metric along x
	px, py, pz     reg.GPVirtual
	p, p3, p5      reg.GPVirtual
	n              reg.GPVirtual
	my, by, cy     reg.VecVirtual
	mz, bz, cz     reg.VecVirtual
	carryY, carryZ reg.VecVirtual // AVX-512: group before (E) or this (H) of the y and z component that drives
	coefficient    [6]reg.VecVirtual
}

// row returns row i of what b points at.
func (q *pass) row(b reg.GPVirtual, i, disp int) Mem {
	switch i {
	case 0:
		return Mem{Base: b, Disp: disp}
	case 3:
		return Mem{Base: b, Index: q.p3, Scale: 1, Disp: disp}
	case 5:
		return Mem{Base: b, Index: q.p5, Scale: 1, Disp: disp}
	}
	return Mem{Base: b, Index: q.p, Scale: uint8(i), Disp: disp}
}

func (s set) pass(e bool) {
	name := s.called(map[bool]string{true: "electric", false: "magnetic"}[e])
	TEXT(name, NOSPLIT, "func(a *byte)")
	Pragma("noescape")
	Doc(name + " is " + map[bool]string{true: "electricPlain", false: "magneticPlain"}[e] + " with fused multiply-adds.")
	q := &pass{set: s, e: e, r: GP64(), up: GP64(), back: GP64(), c: GP64(), w: GP64(), px: GP64(), py: GP64(), pz: GP64(), p: GP64(), p3: GP64(), p5: GP64(), n: GP64()}
	q.my, q.by, q.cy, q.mz, q.bz, q.cz, q.carryY, q.carryZ = s.vec(), s.vec(), s.vec(), s.vec(), s.vec(), s.vec(), s.vec(), s.vec()
	for i := range q.coefficient {
		q.coefficient[i] = s.vec()
	}
	a := Load(Param("a"), GP64())
	t := GP64()
	field := func(o int) Mem { return Mem{Base: a, Disp: o} }
	label := func(f string, x ...any) string { return name + "_" + fmt.Sprintf(f, x...) }
	MOVQ(field(rowsPitch), q.p)
	LEAQ(Mem{Base: q.p, Index: q.p, Scale: 2}, q.p3)
	LEAQ(Mem{Base: q.p, Index: q.p, Scale: 4}, q.p5)
	bcast := pick(s, VBROADCASTSS, VBROADCASTSD)

	MOVQ(field(rowsZ), t)
	bcast(Mem{Base: t}, q.mz)
	bcast(Mem{Base: t, Disp: s.size()}, q.bz)
	bcast(Mem{Base: t, Disp: 2 * s.size()}, q.cz)
	flag, index := uniformH, recordMagnetic
	if e {
		flag, index = uniformE, recordElectric
	}

	Label(label("row"))
	CMPQ(field(rowsCount), U8(0))
	JEQ(LabelRef(label("done")))
	MOVQ(field(rowsBlock), q.r)
	MOVQ(q.r, q.up)
	ADDQ(field(rowsUp), q.up)
	MOVQ(q.r, q.back)
	ADDQ(field(rowsBack), q.back)
	MOVQ(field(rowsX), q.w)
	MOVQ(field(rowsRecord), t)
	MOVLQSX(Mem{Base: t, Disp: index}, q.c)
	SHLQ(U8(6), q.c)
	ADDQ(field(rowsSet), q.c)
	if s.wide() { // what stands in the groups beside
		if e {
			s.move2(q.row(q.r, 4, -group), q.carryY)
			s.move2(q.row(q.r, 5, -group), q.carryZ)
		} else {
			s.move2(q.row(q.r, 1, 0), q.carryY)
			s.move2(q.row(q.r, 2, 0), q.carryZ)
		}
	}
	MOVQ(field(rowsY), q.n)
	bcast(Mem{Base: q.n}, q.my)
	layer := func(offset, table int, to reg.GPVirtual) {
		MOVLQSX(Mem{Base: t, Disp: offset}, to)
		SHLQ(U8(6), to)
		ADDQ(field(table), to)
	}
	Comment("Where no end is in a layer and the middle is not uniform, the row is one piece.")
	layer(recordPsiX, rowsPsiX, q.px)
	MOVQ(U32(0), field(rowsPiece))
	MOVQ(field(rowsHead), q.n)
	CMPL(Mem{Base: t, Disp: recordPsiX}, U8(0))
	JGE(LabelRef(label("kind")))
	TESTB(U8(flag), Mem{Base: t, Disp: recordFlags})
	JNE(LabelRef(label("kind")))
	ADDQ(field(rowsMiddle), q.n)
	ADDQ(field(rowsTail), q.n)
	MOVQ(U32(2), field(rowsPiece))
	Label(label("kind"))
	layer(recordPsiZ, rowsPsiZ, q.pz)
	CMPL(Mem{Base: t, Disp: recordPsiY}, U8(0))
	JGE(LabelRef(label("kind_y")))
	CMPL(Mem{Base: t, Disp: recordPsiZ}, U8(0))
	JGE(LabelRef(label("piece_z")))
	JMP(LabelRef(label("piece_")))
	Label(label("kind_y"))
	layer(recordPsiY, rowsPsiY, q.py)
	MOVQ(field(rowsY), q.w)
	bcast(Mem{Base: q.w, Disp: s.size()}, q.by)
	bcast(Mem{Base: q.w, Disp: 2 * s.size()}, q.cy)
	MOVQ(field(rowsX), q.w)
	CMPL(Mem{Base: t, Disp: recordPsiZ}, U8(0))
	JGE(LabelRef(label("piece_yz")))
	JMP(LabelRef(label("piece_y")))

	for _, in := range []string{"", "y", "z", "yz"} {
		y, z := in == "y" || in == "yz", in == "z" || in == "yz"
		uniform := s.wide() || in == ""
		Label(label("piece_%s", in))
		TESTQ(q.n, q.n)
		JZ(LabelRef(label("next_%s", in)))
		MOVQ(field(rowsRecord), t)
		CMPQ(field(rowsPiece), U8(1))
		JEQ(LabelRef(label("middle_%s", in)))
		CMPL(Mem{Base: t, Disp: recordPsiX}, U8(0))
		JL(LabelRef(label("mixed_%s", in)))
		Label(label("ends_%s", in))
		q.group(true, y, z, false)
		DECQ(q.n)
		JNZ(LabelRef(label("ends_%s", in)))
		JMP(LabelRef(label("next_%s", in)))

		Label(label("middle_%s", in))
		if uniform {
			TESTB(U8(flag), Mem{Base: t, Disp: recordFlags})
			JEQ(LabelRef(label("mixed_%s", in)))
			for i := range q.coefficient {
				if e || i < 3 {
					bcast(q.row(q.c, i, 0), q.coefficient[i])
				}
			}
			MOVQ(q.n, t)
			SHLQ(U8(6), t)
			ADDQ(t, q.c)
			Label(label("uniform_%s", in))
			q.group(false, y, z, true)
			DECQ(q.n)
			JNZ(LabelRef(label("uniform_%s", in)))
			JMP(LabelRef(label("next_%s", in)))
		}

		Label(label("mixed_%s", in))
		q.group(false, y, z, false)
		DECQ(q.n)
		JNZ(LabelRef(label("mixed_%s", in)))

		Label(label("next_%s", in))
		INCQ(field(rowsPiece))
		MOVQ(field(rowsMiddle), q.n)
		CMPQ(field(rowsPiece), U8(2))
		JL(LabelRef(label("piece_%s", in)))
		MOVQ(field(rowsTail), q.n)
		JEQ(LabelRef(label("piece_%s", in)))
		JMP(LabelRef(label("end")))
	}

	Label(label("end"))
	MOVQ(field(rowsNext), t)
	ADDQ(t, field(rowsBlock))
	ADDQ(U8(recordSize), field(rowsRecord))
	ADDQ(U8(8*s.size()), field(rowsY))
	DECQ(field(rowsCount))
	JMP(LabelRef(label("row")))
	Label(label("done"))
	VZEROUPPER()
	RET()
}

func (s set) move2(m Mem, v reg.VecVirtual) { pick(s, VMOVUPS, VMOVUPD)(m, v) }

// beside returns the numbers of this group moved by one node: that below for E,
// above for H. now is the group, from row i of the block; carry is the one
// before (E), or this one (H, which then loads the next).
func (q *pass) beside(now, carry reg.VecVirtual, i, disp int) (v reg.VecVirtual) {
	align := pick(q.set, VALIGND, VALIGNQ)
	v = q.vec()
	last := uint8(q.width/q.size() - 1)
	switch {
	case q.wide() && q.e:
		align(U8(last), carry, now, v)
		q.move(now, carry)
	case q.wide():
		next := q.load(q.row(q.r, i, disp+group))
		align(U8(1), now, next, v)
		q.move(next, carry)
	case q.e:
		return q.load(q.row(q.r, i, disp-q.size()))
	default:
		return q.load(q.row(q.r, i, disp+q.size()))
	}
	return v
}

// group writes the advance of one group, and moves all pointers on.
func (q *pass) group(x, y, z, uniform bool) {
	for d := 0; d < group; d += q.width {
		q.vector(d, x, y, z, uniform)
	}
	for _, p := range []reg.GPVirtual{q.r, q.up, q.back, q.w} {
		ADDQ(U8(group), p)
	}
	if !uniform {
		ADDQ(U8(group), q.c)
	}
	if x {
		SUBQ(I8(-2*group), q.px)
	}
	if y {
		ADDQ(U8(group), q.py)
	}
	if z {
		ADDQ(U8(group), q.pz)
	}
}

func (q *pass) vector(d int, x, y, z, uniform bool) {
	// memory advances ψ ← bψ + c·diff.
	memory := func(at Mem, b, c Op, diff reg.VecVirtual) reg.VecVirtual {
		var m reg.VecVirtual
		if v, ok := c.(reg.VecVirtual); ok {
			m = q.mul(diff, v)
		} else {
			m = q.mul(diff, c)
		}
		old := q.load(at)
		q.addMul(old, b, m)
		q.store(m, at)
		return m
	}
	psi := func(axis, which int, diff reg.VecVirtual) reg.VecVirtual {
		switch axis {
		case 0:
			return memory(Mem{Base: q.px, Disp: which*group + d}, q.row(q.w, 1, d), q.row(q.w, 2, d), diff)
		case 1:
			return memory(q.row(q.py, which, d), q.by, q.cy, diff)
		}
		return memory(q.row(q.pz, which, d), q.bz, q.cz, diff)
	}
	in := [3]bool{x, y, z}
	metric := [3]Op{q.row(q.w, 0, d), q.my, q.mz}
	// finish writes component a from F_v − F_v′ and F_u − F_u′; wu and wv say
	// which row of the layer's memory along u and v is the component's.
	to, from := 0, 3
	if !q.e {
		to, from = 3, 0
	}
	finish := func(a int, dv, du reg.VecVirtual, wu, wv int) {
		u, v := (a+1)%3, (a+2)%3
		t := q.mul(dv, metric[u])
		q.subMul(du, metric[v], t)
		if in[u] {
			q.add(psi(u, wu, dv), t)
		}
		if in[v] {
			q.take(psi(v, wv, du), t)
		}
		var keep, gain Op
		if uniform {
			keep, gain = q.coefficient[a], q.coefficient[(3+a)%6]
			if !q.e {
				gain = q.coefficient[a]
			}
		} else {
			keep, gain = q.row(q.c, a, d), q.row(q.c, 3+a, d)
			if !q.e {
				gain = q.row(q.c, a, d)
			}
		}
		here := q.row(q.r, to+a, d)
		f := q.load(here)
		if q.e {
			f = q.mul(f, keep)
		}
		q.addMul(t, gain, f)
		q.store(f, here)
	}
	var fy, fz reg.VecVirtual
	if q.wide() && !q.e {
		fy, fz = q.vec(), q.vec()
		q.move(q.carryY, fy)
		q.move(q.carryZ, fz)
	} else {
		fy, fz = q.load(q.row(q.r, from+1, d)), q.load(q.row(q.r, from+2, d))
	}
	fx := q.load(q.row(q.r, from, d))
	dv, du := q.sub(fz, q.row(q.up, from+2, d)), q.sub(fy, q.row(q.back, from+1, d))
	finish(0, dv, du, 0, 0)
	dv, du = q.sub(fx, q.row(q.back, from, d)), q.sub(fz, q.beside(fz, q.carryZ, from+2, d))
	finish(1, dv, du, 1, 0)
	dv, du = q.sub(fy, q.beside(fy, q.carryY, from+1, d)), q.sub(fx, q.row(q.up, from, d))
	finish(2, dv, du, 1, 1)
}

// relax writes the kernel of dispersive spans.
func (s set) relax() {
	name := s.called("relax")
	TEXT(name, NOSPLIT, "func(e, old, gain, share, j, poles *byte, n, groups int)")
	Pragma("noescape")
	Doc(name + " is relaxPlain with fused multiply-adds.")
	e, old, gain := Load(Param("e"), GP64()), Load(Param("old"), GP64()), Load(Param("gain"), GP64())
	share, j, poles := Load(Param("share"), GP64()), Load(Param("j"), GP64()), Load(Param("poles"), GP64())
	n, groups := Load(Param("n"), GP64()), Load(Param("groups"), GP64())
	stride := GP64()
	MOVQ(groups, stride)
	SHLQ(U8(6), stride)
	size := s.size()
	shareAt, poleSize := 16, 24
	if s.double {
		shareAt, poleSize = 24, 32
	}
	p, q, c, o := GP64(), GP64(), GP64(), GP64()
	label := func(x string) string { return name + "_" + x }
	vectors := group / s.width
	each := func(f func(v int)) {
		for v := range vectors {
			f(v)
		}
	}
	sum := make([]reg.VecVirtual, vectors)
	diff := make([]reg.VecVirtual, vectors)
	Label(label("group"))
	TESTQ(groups, groups)
	JZ(LabelRef(label("done")))
	each(func(v int) { sum[v] = s.zero() })
	MOVQ(j, p)
	MOVQ(poles, q)
	MOVQ(n, c)
	Label(label("sum"))
	half := s.broadcast(Mem{Base: q, Disp: size})
	each(func(v int) { s.addMul(half, Mem{Base: p, Disp: v * s.width}, sum[v]) })
	ADDQ(stride, p)
	ADDQ(U8(poleSize), q)
	DECQ(c)
	JNZ(LabelRef(label("sum")))
	each(func(v int) {
		f := s.load(Mem{Base: e, Disp: v * s.width})
		s.subMul(sum[v], Mem{Base: gain, Disp: v * s.width}, f)
		s.store(f, Mem{Base: e, Disp: v * s.width})
		diff[v] = s.sub(f, Mem{Base: old, Disp: v * s.width})
	})
	MOVQ(j, p)
	MOVQ(poles, q)
	MOVQ(n, c)
	Label(label("pole"))
	keep, beta := s.broadcast(Mem{Base: q}), s.broadcast(Mem{Base: q, Disp: 2 * size})
	MOVQ(Mem{Base: q, Disp: shareAt}, o)
	IMULQ(stride, o)
	ADDQ(share, o)
	each(func(v int) {
		part := s.mul(diff[v], Mem{Base: o, Disp: v * s.width})
		f := s.mul(keep, Mem{Base: p, Disp: v * s.width})
		s.addMul(part, beta, f)
		s.store(f, Mem{Base: p, Disp: v * s.width})
	})
	ADDQ(stride, p)
	ADDQ(U8(poleSize), q)
	DECQ(c)
	JNZ(LabelRef(label("pole")))
	for _, x := range []reg.GPVirtual{e.(reg.GPVirtual), old.(reg.GPVirtual), gain.(reg.GPVirtual), share.(reg.GPVirtual), j.(reg.GPVirtual)} {
		ADDQ(U8(group), x)
	}
	DECQ(groups)
	JMP(LabelRef(label("group")))
	Label(label("done"))
	VZEROUPPER()
	RET()
}

// squares writes the sum of squares of a row, in float64.
func (s set) squares() {
	name := s.called("squares")
	TEXT(name, NOSPLIT, "func(x *byte, groups int) float64")
	Pragma("noescape")
	Doc(name + " is squaresPlain with more partial sums.")
	x, groups := Load(Param("x"), GP64()), Load(Param("groups"), GP64())
	wide := set{s.name, s.width, true, s.vec}
	parts := group / s.size() * 8 / s.width // registers of float64
	sums := make([]reg.VecVirtual, parts)
	for i := range sums {
		sums[i] = wide.zero()
	}
	Label(name + "_group")
	TESTQ(groups, groups)
	JZ(LabelRef(name + "_done"))
	for i := range sums {
		v := wide.vec()
		if s.double {
			VMOVUPD(Mem{Base: x, Disp: i * s.width}, v)
		} else {
			VCVTPS2PD(Mem{Base: x, Disp: i * s.width / 2}, v)
		}
		wide.addMul(v, v, sums[i])
	}
	ADDQ(U8(group), x)
	DECQ(groups)
	JMP(LabelRef(name + "_group"))
	Label(name + "_done")
	for i := len(sums) - 1; i > 0; i-- {
		wide.add(sums[i], sums[i-1])
	}
	total := sums[0]
	low := total.AsY()
	if s.wide() {
		high := YMM()
		VEXTRACTF64X4(U8(1), total, high)
		VADDPD(high, low, low)
	}
	half := XMM()
	VEXTRACTF128(U8(1), low, half)
	VADDPD(half, total.AsX(), half)
	other := XMM()
	VPERMILPD(U8(1), half, other)
	VADDSD(other, half, half)
	VZEROUPPER()
	Store(half, ReturnIndex(0))
	RET()
}

// touch writes x ← x·f in place: how fast memory can be updated at all.
func (s set) touch() {
	name := s.called("touch")
	TEXT(name, NOSPLIT, "func(x *byte, f float32, groups int)")
	Pragma("noescape")
	Doc(name + " multiplies numbers in place, for the benchmarks.")
	x, groups := Load(Param("x"), GP64()), Load(Param("groups"), GP64())
	f := XMM()
	Load(Param("f"), f)
	v := s.vec()
	VBROADCASTSS(f, v)
	Label(name + "_group")
	for d := 0; d < group; d += s.width {
		s.store(s.mul(v, Mem{Base: x, Disp: d}), Mem{Base: x, Disp: d})
	}
	ADDQ(U8(group), x)
	DECQ(groups)
	JNZ(LabelRef(name + "_group"))
	VZEROUPPER()
	RET()
}
