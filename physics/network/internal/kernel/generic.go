package kernel

import "unsafe"

var plain = implementation{"plain Go", cascadePlain}

// cascadePlain is the definition. It takes one element after the other over a
// block, because reading all elements for one frequency after the other has
// more streams than the processor's prefetcher follows.
func cascadePlain(dst *Block, chain []*Block, blocks int) {
	var m11r, m11i, m12r, m12i, m21r, m21i, m22r, m22i, tr, ti [Width]float64
	for i := range blocks {
		b := at(chain[0], i)
		for k := range Width {
			m11r[k], m11i[k] = 1, 0
			m12r[k], m12i[k] = -b[S22Re][k], -b[S22Im][k]
		}
		m21r, m21i, m22r, m22i, tr, ti = b[S11Re], b[S11Im], b[DRe], b[DIm], b[S21Re], b[S21Im]
		for _, first := range chain[1:] {
			b := at(first, i)
			for k := range Width {
				ar, ai, br, bi := m11r[k], m11i[k], m12r[k], m12i[k]
				dr, di, nr, ni, sr, si := b[DRe][k], b[DIm][k], b[S22Re][k], b[S22Im][k], b[S11Re][k], b[S11Im][k]
				m12r[k] = br*dr - bi*di - ar*nr + ai*ni
				m12i[k] = br*di + bi*dr - ar*ni - ai*nr
				m11r[k] = ar + br*sr - bi*si
				m11i[k] = ai + br*si + bi*sr
				ar, ai, br, bi = m21r[k], m21i[k], m22r[k], m22i[k]
				m22r[k] = br*dr - bi*di - ar*nr + ai*ni
				m22i[k] = br*di + bi*dr - ar*ni - ai*nr
				m21r[k] = ar + br*sr - bi*si
				m21i[k] = ai + br*si + bi*sr
				ar, ai, sr, si = tr[k], ti[k], b[S21Re][k], b[S21Im][k]
				tr[k], ti[k] = ar*sr-ai*si, ar*si+ai*sr
			}
		}
		out := at(dst, i)
		for k := range Width {
			q := 1 / (m11r[k]*m11r[k] + m11i[k]*m11i[k])
			qr, qi := m11r[k]*q, -m11i[k]*q
			out[S11Re][k], out[S11Im][k] = m21r[k]*qr-m21i[k]*qi, m21r[k]*qi+m21i[k]*qr
			out[S22Re][k], out[S22Im][k] = m12i[k]*qi-m12r[k]*qr, -m12r[k]*qi-m12i[k]*qr
			out[DRe][k], out[DIm][k] = m22r[k]*qr-m22i[k]*qi, m22r[k]*qi+m22i[k]*qr
			out[S21Re][k], out[S21Im][k] = tr[k]*qr-ti[k]*qi, tr[k]*qi+ti[k]*qr
		}
	}
}

// at returns the i-th block after b. The caller of an implementation has seen to
// it that there are so many.
func at(b *Block, i int) *Block {
	return (*Block)(unsafe.Add(unsafe.Pointer(b), i*int(unsafe.Sizeof(*b))))
}
