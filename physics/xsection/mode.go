package xsection

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// A Mode is one of the quasi-TEM modes: voltages and currents that travel
// together at one speed.
type Mode struct {
	Name                  string    // "line" if single; "even", "odd" of a symmetric pair; "mode 1" ...
	EffectivePermittivity float64   // (c/v)²
	Impedance             float64   // v·v/v·i, Ω: per line to the reference when all |v| are equal
	Voltage               []float64 // largest 1
	Current               []float64 // A, for those voltages
}

// modes solves C v = ε_eff C_air v: each solution is a pattern of voltages that
// travels at c/√ε_eff. Patterns of one speed (all, in a homogeneous
// dielectric) are chosen orthogonal in voltage as well as in energy, so that a
// symmetric pair has its even and odd modes then too.
// Source: [paul2008] ch. 7, the lossless case.
func modes(c, cAir *mat.SymDense) []Mode {
	n := c.SymmetricDim()
	var chol mat.Cholesky
	if !chol.Factorize(cAir) {
		return nil
	}
	var l mat.TriDense
	chol.LTo(&l)
	var li, tmp mat.Dense
	li.Inverse(&l)
	tmp.Product(&li, c, li.T())
	var eig mat.EigenSym
	eig.Factorize(symmetric(&tmp, 1), true)
	vals := eig.Values(nil)
	var y, v mat.Dense
	eig.VectorsTo(&y)
	v.Mul(li.T(), &y) // columns: vᵀ C_air v = 1
	for from := 0; from < n; {
		to := from + 1
		for to < n && vals[to]-vals[from] < 1e-6*vals[from] {
			to++
		}
		if to-from > 1 {
			block := mat.DenseCopyOf(v.Slice(0, n, from, to))
			var gram, q, turned mat.Dense
			gram.Mul(block.T(), block)
			var e mat.EigenSym
			e.Factorize(symmetric(&gram, 1), true)
			e.VectorsTo(&q)
			turned.Mul(block, &q)
			v.Slice(0, n, from, to).(*mat.Dense).Copy(&turned)
		}
		from = to
	}
	out := make([]Mode, n)
	for k := range out {
		m := Mode{EffectivePermittivity: vals[k], Voltage: make([]float64, n), Current: make([]float64, n), Name: "line"}
		if n > 1 {
			m.Name = fmt.Sprintf("mode %d", k+1)
		}
		top := 0.0
		for i := range n {
			if x := v.At(i, k); math.Abs(x) > math.Abs(top)*(1+1e-6) {
				top = x
			}
		}
		speed := c0 / math.Sqrt(vals[k])
		var vv, vi float64
		for i := range n {
			m.Voltage[i] = v.At(i, k) / top
		}
		for i := range n {
			for j := range n {
				m.Current[i] += speed * c.At(i, j) * m.Voltage[j]
			}
			vv += m.Voltage[i] * m.Voltage[i]
			vi += m.Voltage[i] * m.Current[i]
		}
		m.Impedance = vv / vi
		if n == 2 && math.Abs(math.Abs(m.Voltage[0])-math.Abs(m.Voltage[1])) < 1e-3 {
			m.Name = "odd"
			if m.Voltage[0]*m.Voltage[1] > 0 {
				m.Name = "even"
			}
		}
		out[k] = m
	}
	return out
}

// CharacteristicImpedance returns the matrix Zc, in Ω, that ends every mode
// without reflection: v = Zc·i for waves that travel one way.
func (r *Result) CharacteristicImpedance() *mat.SymDense {
	n := len(r.Conductors)
	v, i := mat.NewDense(n, n, nil), mat.NewDense(n, n, nil)
	for k, m := range r.Modes {
		v.SetCol(k, m.Voltage)
		i.SetCol(k, m.Current)
	}
	var inv, zc mat.Dense
	inv.Inverse(i)
	zc.Mul(v, &inv)
	return symmetric(&zc, 1)
}

// Impedance returns that of a single line, Ω; of several, the first diagonal
// entry of the characteristic impedance matrix.
func (r *Result) Impedance() float64 { return r.CharacteristicImpedance().At(0, 0) }

// EffectivePermittivity returns that of the first mode, C/C_air of a single line.
func (r *Result) EffectivePermittivity() float64 { return r.Modes[0].EffectivePermittivity }

// A Pair holds the impedances, in Ω, of two lines used together.
type Pair struct {
	Even, Odd            float64 // per line, when both are driven alike, or oppositely
	Differential, Common float64 // the terminations that match: between the lines, and of both in parallel to the reference
}

// Pair returns the impedances of lines i and j of a result, counted from 0, the
// others matched. With Zc the characteristic impedance matrix,
//
//	differential = Z11 + Z22 − 2·Z12    common = (Z11·Z22 − Z12²)/(Z11 + Z22 − 2·Z12)
//
// and odd = differential/2, even = 2·common. Of a symmetric pair these are the
// modes' impedances, Z11 ∓ Z12.
func (r *Result) Pair(i, j int) Pair {
	z := r.CharacteristicImpedance()
	a, b, m := z.At(i, i), z.At(j, j), z.At(i, j)
	d := a + b - 2*m
	c := (a*b - m*m) / d
	return Pair{Even: 2 * c, Odd: d / 2, Differential: d, Common: c}
}

// ResistanceFactor returns R'/Rs in 1/m, summed over all conductors, as if one
// surface resistance served for all.
func (r *Result) ResistanceFactor() *mat.SymDense {
	sum := mat.NewSymDense(len(r.Conductors), nil)
	for _, m := range r.Metals {
		sum.AddSym(sum, m.Factor)
	}
	return sum
}
