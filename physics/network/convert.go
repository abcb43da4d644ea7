package network

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
)

// basis turns the pair of a port's power waves (a, b) into another pair of
// amplitudes (p, q), such as current and voltage, or the other way round:
//
//	p = pa·a + pb·b        q = qa·a + qb·b
type basis struct{ pa, pb, qa, qb complex128 }

// change returns the matrix M of q = M p when b = S a, that is
// (Qa + Qb S)(Pa + Pb S)⁻¹ with diagonal Qa ... Pb. It reports false when p
// cannot be prescribed freely at every port.
func change(ports int, s []complex128, to []basis) ([]complex128, bool) {
	q := make([]complex128, ports*ports)
	p := make([]complex128, ports*ports)
	for i, t := range to {
		for j := range ports {
			q[i*ports+j] = t.qb * s[i*ports+j]
			p[i*ports+j] = t.pb * s[i*ports+j]
		}
		q[i*ports+i] += t.qa
		p[i*ports+i] += t.pa
	}
	// Each row of P is divided by the largest of the terms it was summed from,
	// so that rounding after a cancellation shows as a small pivot.
	size := make([]float64, ports)
	for i, t := range to {
		size[i] = cmplx.Abs(t.pa)
		for j := range ports {
			size[i] = max(size[i], cmplx.Abs(t.pb*s[i*ports+j]))
		}
		for j := range ports {
			p[i*ports+j] /= complex(size[i], 0)
		}
	}
	m := make([]complex128, ports*ports)
	ok := rightDivide(ports, m, q, p)
	for i := range ports {
		for j, d := range size {
			m[i*ports+j] /= complex(d, 0)
		}
	}
	return m, ok
}

// changeAll is change at every frequency.
func (n Network) changeAll(op, help string, to []basis) ([]complex128, error) {
	out := make([]complex128, 0, len(n.S))
	for k, f := range n.Frequency {
		m, ok := change(n.Ports, n.Matrix(k), to)
		if !ok {
			return nil, singular(op, f, help)
		}
		out = append(out, m...)
	}
	return out, nil
}

func bases(reference []complex128, of func(z complex128) basis) []basis {
	to := make([]basis, len(reference))
	for i, z := range reference {
		to[i] = of(z)
	}
	return to
}

func root(x float64) complex128 { return complex(math.Sqrt(x), 0) }

// currentVoltage takes power waves to (I, V): I = (a−b)/√R, V = (Z*a+Zb)/√R.
func currentVoltage(z complex128) basis {
	r := root(real(z))
	return basis{1 / r, -1 / r, conj(z) / r, z / r}
}

func voltageCurrent(z complex128) basis {
	t := currentVoltage(z)
	return basis{t.qa, t.qb, t.pa, t.pb}
}

// fromCurrentVoltage takes (I, V) to power waves.
func fromCurrentVoltage(z complex128) basis {
	r := 2 * root(real(z))
	return basis{z / r, 1 / r, -conj(z) / r, 1 / r}
}

func fromVoltageCurrent(z complex128) basis {
	t := fromCurrentVoltage(z)
	return basis{t.pb, t.pa, t.qb, t.qa}
}

// Impedance returns the impedance matrix V = Z I at every frequency, in Ω,
// laid out as n.S. It does not exist (an [Error] with [ErrSingular]) where
// the port currents depend on each other, as in a series element or a plain
// through connection: use [Network.ABCD] there.
//
// Source: the definition of the waves; S = F(Z−G*)(Z+G)⁻¹F⁻¹ of
// [kurokawa1965] solved for Z; for real references [pozar2012] Table 4.2.
func (n Network) Impedance() ([]complex128, error) {
	return n.changeAll("impedance matrix", "use ABCD or the admittance matrix", bases(n.Reference, currentVoltage))
}

// Admittance returns the admittance matrix I = Y V at every frequency, in S,
// laid out as n.S. It does not exist where the port voltages depend on each
// other, as in a shunt element.
func (n Network) Admittance() ([]complex128, error) {
	return n.changeAll("admittance matrix", "use ABCD or the impedance matrix", bases(n.Reference, voltageCurrent))
}

// FromImpedance returns the network of the impedance matrices z, in Ω, laid
// out [frequency][row][column], between the given references, one per port.
func FromImpedance(frequency []float64, z []complex128, reference ...complex128) (Network, error) {
	return fromMatrices("impedance matrix", frequency, z, reference, fromCurrentVoltage)
}

// FromAdmittance returns the network of the admittance matrices y, in S, laid
// out [frequency][row][column], between the given references, one per port.
func FromAdmittance(frequency []float64, y []complex128, reference ...complex128) (Network, error) {
	return fromMatrices("admittance matrix", frequency, y, reference, fromVoltageCurrent)
}

func fromMatrices(op string, frequency []float64, m, reference []complex128, of func(complex128) basis) (Network, error) {
	n := Network{Ports: len(reference), Frequency: frequency, Reference: slices.Clone(reference), S: m}
	if len(reference) == 0 || len(m) != len(frequency)*len(reference)*len(reference) {
		return Network{}, fault(op, ErrShape, "give one reference per port", "%d frequencies, %d ports, %d matrix elements",
			len(frequency), len(reference), len(m))
	}
	if err := checkReferences(op, reference); err != nil {
		return Network{}, err
	}
	s, err := n.changeAll(op, "the network is not passive: it is unstable between these references", bases(reference, of))
	if err != nil {
		return Network{}, err
	}
	n.S = s
	return n, nil
}

// eachPort spreads a single reference over all ports, and checks the list.
func eachPort(op string, ports int, reference []complex128) ([]complex128, error) {
	if len(reference) == 1 {
		reference = slices.Repeat(reference, ports)
	}
	if len(reference) != ports {
		return nil, fault(op, ErrShape, fmt.Sprintf("give one reference for all ports, or %d", ports), "%d references for %d ports", len(reference), ports)
	}
	return reference, checkReferences(op, reference)
}

// Renormalise returns the same network referred to other impedances, in Ω: one
// for all ports, or one per port. References may be complex, before and after.
//
// With Z the old and Z′ the new reference the waves are, from their definition,
//
//	a′ = [(Z* + Z′) a + (Z − Z′) b] / 2√(R R′)
//	b′ = [(Z* − Z′*) a + (Z + Z′*) b] / 2√(R R′)
//
// Source: [kurokawa1965], there written with Γ = (Z′−Z)/(Z′+Z*).
func (n Network) Renormalise(reference ...complex128) (Network, error) {
	const op = "renormalise"
	to, err := eachPort(op, n.Ports, reference)
	if err != nil {
		return Network{}, err
	}
	bs := make([]basis, n.Ports)
	for i, z := range n.Reference {
		w := to[i]
		r := 2 * root(real(z)*real(w))
		bs[i] = basis{(conj(z) + w) / r, (z - w) / r, (conj(z) - conj(w)) / r, (z + conj(w)) / r}
	}
	s, err := n.changeAll(op, "the network is not passive: it is unstable between the new references", bs)
	if err != nil {
		return Network{}, err
	}
	return Network{n.Ports, n.Frequency, slices.Clone(to), s}, nil
}

// PseudoWaves holds scattering parameters of pseudo waves, the travelling
// waves of a line whose characteristic impedance is complex, as a calibration
// with lines (TRL) leaves them:
//
//	a = √Re Z / 2|Z| · (V + Z I)        b = √Re Z / 2|Z| · (V − Z I)
//
// The phase of the reference voltage v0 is taken as zero. For real references
// they equal power waves; for complex ones |a|² − |b|² is not the power, so
// that |S| ≤ 1 does not mean passive. They are a type of their own because
// nothing in the numbers tells them from power waves.
//
// Source: [marks1992] eq. 53, 54 (equation numbers from memory).
type PseudoWaves struct {
	Ports     int
	Frequency []float64    // Hz
	Reference []complex128 // Ω, [frequency][port]: a line's impedance varies with frequency
	S         []complex128 // [frequency][row][column]
}

// PseudoWaves returns n in pseudo waves of the given references: one for all
// ports, or one per port, the same at all frequencies.
func (n Network) PseudoWaves(reference ...complex128) (PseudoWaves, error) {
	const op = "pseudo waves"
	to, err := eachPort(op, n.Ports, reference)
	if err != nil {
		return PseudoWaves{}, err
	}
	bs := make([]basis, n.Ports)
	for i, z := range n.Reference {
		iv := currentVoltage(z)
		w := to[i]
		r := root(real(w)) / (2 * complex(math.Hypot(real(w), imag(w)), 0))
		bs[i] = basis{r * (iv.qa + w*iv.pa), r * (iv.qb + w*iv.pb), r * (iv.qa - w*iv.pa), r * (iv.qb - w*iv.pb)}
	}
	s, err := n.changeAll(op, "", bs)
	if err != nil {
		return PseudoWaves{}, err
	}
	return PseudoWaves{n.Ports, n.Frequency, slices.Repeat(to, len(n.Frequency)), s}, nil
}

// Network returns p in power waves of the given references, in Ω: one for all
// ports, or one per port. This is the way from a line's own impedance, found
// by calibration, to 50 Ω.
func (p PseudoWaves) Network(reference ...complex128) (Network, error) {
	const op = "pseudo waves"
	to, err := eachPort(op, p.Ports, reference)
	if err != nil {
		return Network{}, err
	}
	if len(p.Reference) != p.Ports*len(p.Frequency) || len(p.S) != p.Ports*p.Ports*len(p.Frequency) {
		return Network{}, fault(op, ErrShape, "give each frequency one reference per port", "%d ports, %d frequencies, %d references, %d parameters",
			p.Ports, len(p.Frequency), len(p.Reference), len(p.S))
	}
	if err := checkReferences(op, p.Reference); err != nil {
		return Network{}, err
	}
	n := Network{p.Ports, p.Frequency, slices.Clone(to), make([]complex128, 0, len(p.S))}
	for k, f := range p.Frequency {
		bs := make([]basis, p.Ports)
		for i, w := range p.Reference[k*p.Ports : (k+1)*p.Ports] {
			// V = (a+b)/r, I = (a−b)/(rw)
			r := root(real(w)) / complex(math.Hypot(real(w), imag(w)), 0)
			t := fromCurrentVoltage(to[i])
			bs[i] = basis{t.pa/(r*w) + t.pb/r, -t.pa/(r*w) + t.pb/r, t.qa/(r*w) + t.qb/r, -t.qa/(r*w) + t.qb/r}
		}
		m, ok := change(p.Ports, p.S[k*p.Ports*p.Ports:(k+1)*p.Ports*p.Ports], bs)
		if !ok {
			return Network{}, singular(op, f, "")
		}
		n.S = append(n.S, m...)
	}
	return n, nil
}

// ABCD is the chain matrix of a two-port:
//
//	V1 = A V2 + B (−I2)        I1 = C V2 + D (−I2)
//
// with both currents into the two-port; B in Ω, C in S. AD − BC = S12/S21, hence 1
// for a reciprocal two-port.
type ABCD struct{ A, B, C, D complex128 }

// Det returns AD − BC.
func (m ABCD) Det() complex128 { return m.A*m.D - m.B*m.C }

// Times returns the chain matrix of m followed by q.
func (m ABCD) Times(q ABCD) ABCD {
	return ABCD{m.A*q.A + m.B*q.C, m.A*q.B + m.B*q.D, m.C*q.A + m.D*q.C, m.C*q.B + m.D*q.D}
}

// ABCD returns the chain matrices of a two-port, one per frequency. They do
// not exist where S21 is zero.
//
// Source: [frickey1994] Table I with [frickey1995], for complex references.
func (n Network) ABCD() ([]ABCD, error) {
	const op = "chain matrix"
	if err := n.twoPort(op); err != nil {
		return nil, err
	}
	z1, z2 := n.Reference[0], n.Reference[1]
	r := 2 * root(real(z1)*real(z2))
	ms := make([]ABCD, len(n.Frequency))
	for k, f := range n.Frequency {
		s11, s12, s21, s22 := n.At(k, 0, 0), n.At(k, 0, 1), n.At(k, 1, 0), n.At(k, 1, 1)
		if s21 == 0 {
			return nil, singular(op, f, "S21 is zero: nothing passes")
		}
		d := r * s21
		ms[k] = ABCD{
			A: ((conj(z1)+s11*z1)*(1-s22) + s12*s21*z1) / d,
			B: ((conj(z1)+s11*z1)*(conj(z2)+s22*z2) - s12*s21*z1*z2) / d,
			C: ((1-s11)*(1-s22) - s12*s21) / d,
			D: ((1-s11)*(conj(z2)+s22*z2) + s12*s21*z2) / d,
		}
	}
	return ms, nil
}

// FromABCD returns the two-port of the chain matrices m, one per frequency,
// between references z1 and z2, in Ω.
//
// Source: [frickey1994] Table I with [frickey1995].
func FromABCD(frequency []float64, m []ABCD, z1, z2 complex128) (Network, error) {
	const op = "chain matrix"
	if len(m) != len(frequency) {
		return Network{}, fault(op, ErrShape, "give one matrix per frequency", "%d matrices for %d frequencies", len(m), len(frequency))
	}
	n := New(2, frequency, z1)
	n.Reference[1] = z2
	if err := checkReferences(op, n.Reference); err != nil {
		return Network{}, err
	}
	for k, t := range m {
		if !n.setABCD(k, t) {
			return Network{}, singular(op, frequency[k], "the network is unstable between these references")
		}
	}
	return n, nil
}

// setABCD writes the parameters of the chain matrix m at the k-th frequency.
func (n Network) setABCD(k int, m ABCD) bool {
	z1, z2 := n.Reference[0], n.Reference[1]
	d := m.A*z2 + m.B + m.C*z1*z2 + m.D*z1
	r := 2 * root(real(z1)*real(z2))
	n.Set(k, 0, 0, (m.A*z2+m.B-m.C*conj(z1)*z2-m.D*conj(z1))/d)
	n.Set(k, 0, 1, r*m.Det()/d)
	n.Set(k, 1, 0, r/d)
	n.Set(k, 1, 1, (-m.A*conj(z2)+m.B-m.C*z1*conj(z2)+m.D*z1)/d)
	return d != 0
}

// Transfer is the scattering transfer matrix of a two-port,
//
//	b1 = T11 a2 + T12 b2        a1 = T21 a2 + T22 b2
//
// so that a chain's matrix is the product of its elements' matrices, provided
// each reference is the conjugate of the next. Several other arrangements are
// in use: T22 = 1/S21 tells this one.
//
// Source: the two lines above are its definition.
type Transfer struct{ T11, T12, T21, T22 complex128 }

// Times returns the transfer matrix of t followed by q.
func (t Transfer) Times(q Transfer) Transfer {
	return Transfer{t.T11*q.T11 + t.T12*q.T21, t.T11*q.T12 + t.T12*q.T22, t.T21*q.T11 + t.T22*q.T21, t.T21*q.T12 + t.T22*q.T22}
}

// Transfer returns the scattering transfer matrices of a two-port, one per
// frequency. They do not exist where S21 is zero.
func (n Network) Transfer() ([]Transfer, error) {
	const op = "transfer matrix"
	if err := n.twoPort(op); err != nil {
		return nil, err
	}
	ts := make([]Transfer, len(n.Frequency))
	for k, f := range n.Frequency {
		s11, s12, s21, s22 := n.At(k, 0, 0), n.At(k, 0, 1), n.At(k, 1, 0), n.At(k, 1, 1)
		if s21 == 0 {
			return nil, singular(op, f, "S21 is zero: nothing passes")
		}
		ts[k] = Transfer{(s12*s21 - s11*s22) / s21, s11 / s21, -s22 / s21, 1 / s21}
	}
	return ts, nil
}

// FromTransfer returns the two-port of the transfer matrices t, one per
// frequency, between references z1 and z2, in Ω.
func FromTransfer(frequency []float64, t []Transfer, z1, z2 complex128) (Network, error) {
	const op = "transfer matrix"
	if len(t) != len(frequency) {
		return Network{}, fault(op, ErrShape, "give one matrix per frequency", "%d matrices for %d frequencies", len(t), len(frequency))
	}
	n := New(2, frequency, z1)
	n.Reference[1] = z2
	if err := checkReferences(op, n.Reference); err != nil {
		return Network{}, err
	}
	for k, m := range t {
		if m.T22 == 0 {
			return Network{}, singular(op, frequency[k], "T22 is zero: an infinite S21")
		}
		n.Set(k, 0, 0, m.T12/m.T22)
		n.Set(k, 0, 1, (m.T11*m.T22-m.T12*m.T21)/m.T22)
		n.Set(k, 1, 0, 1/m.T22)
		n.Set(k, 1, 1, -m.T21/m.T22)
	}
	return n, nil
}

func (n Network) twoPort(op string) error {
	if n.Ports != 2 {
		return fault(op, ErrShape, "choose two ports with Reorder, or end the others with Join", "%d ports, where two are needed", n.Ports)
	}
	return nil
}
