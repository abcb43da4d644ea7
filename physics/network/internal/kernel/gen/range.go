package main

import (
	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

// extremes writes rangeAVX512 and rangeAVX2: per lane the least, the greatest
// and the sum of x·w, one register after the other in out.
func extremes(name string, width int, vec func() reg.VecVirtual) {
	TEXT(name, NOSPLIT, "func(out, x, w *float64, vectors int)")
	Doc(name + " writes the least, the greatest and the sum of each lane of x·w; w may be nil. There is one vector at least. A NaN is in the sum only.")
	out := Load(Param("out"), GP64())
	x := Load(Param("x"), GP64())
	w := Load(Param("w"), GP64())
	vectors := Load(Param("vectors"), GP64())
	least, most, sum, v := vec(), vec(), vec(), vec()
	VMOVUPD(Mem{Base: x}, v)
	TESTQ(w, w)
	JZ(LabelRef(name + "_first"))
	VMULPD(Mem{Base: w}, v, v)
	Label(name + "_first")
	VMOVAPD(v, least)
	VMOVAPD(v, most)
	VMOVAPD(v, sum)
	JMP(LabelRef(name + "_next"))

	Label(name + "_loop")
	VMOVUPD(Mem{Base: x}, v)
	TESTQ(w, w)
	JZ(LabelRef(name + "_plain"))
	VMULPD(Mem{Base: w}, v, v)
	Label(name + "_plain")
	VMINPD(least, v, least)
	VMAXPD(most, v, most)
	VADDPD(v, sum, sum)

	Label(name + "_next")
	ADDQ(Imm(uint64(width)), x)
	TESTQ(w, w)
	JZ(LabelRef(name + "_count"))
	ADDQ(Imm(uint64(width)), w)
	Label(name + "_count")
	DECQ(vectors)
	JNZ(LabelRef(name + "_loop"))
	VMOVUPD(least, Mem{Base: out})
	VMOVUPD(most, Mem{Base: out, Disp: width})
	VMOVUPD(sum, Mem{Base: out, Disp: 2 * width})
	VZEROUPPER()
	RET()
}
