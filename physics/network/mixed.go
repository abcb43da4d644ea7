package network

// Pair names the two ports of a differential pair.
type Pair struct{ Plus, Minus int }

// Mixed is a network in mixed-mode waves. The embedded network's ports are
// first the differential modes of all pairs, then their common modes, then the
// ports that are in no pair.
//
// At a pair of ports 1, 2 of equal reference Z
//
//	V_d = V1 − V2      I_d = (I1 − I2)/2      a_d = (a1 − a2)/√2      reference 2Z
//	V_c = (V1 + V2)/2  I_c = I1 + I2          a_c = (a1 + a2)/√2      reference Z/2
//
// and the same for b, so that S_mixed = M S Mᵀ with orthogonal M: power is kept.
// The relations hold for complex Z too.
//
// Source: [bockelman1995] for uncoupled reference lines.
type Mixed struct {
	Network
	Pairs  []Pair
	Single []int // ports of the single-ended network that are in no pair
}

// Mixed returns n in mixed-mode waves of the given pairs. The two ports of a
// pair must have one reference: [Network.Renormalise] first if they do not.
func (n Network) Mixed(pairs ...Pair) (Mixed, error) {
	const op = "mixed mode"
	var used []int
	for i, p := range pairs {
		used = append(used, p.Plus, p.Minus)
		if err := n.checkPorts(op, used...); err != nil {
			return Mixed{}, err
		}
		if a, b := n.Reference[p.Plus], n.Reference[p.Minus]; a != b {
			return Mixed{}, fault(op, ErrReference, "renormalise both ports to one reference", "pair %d has references %v and %v Ω", i, a, b)
		}
	}
	if len(pairs) == 0 {
		return Mixed{}, fault(op, ErrPort, "name at least one pair", "no pair")
	}
	m := Mixed{Pairs: append([]Pair(nil), pairs...)}
	taken := make([]bool, n.Ports)
	for _, p := range used {
		taken[p] = true
	}
	for p := range n.Ports {
		if !taken[p] {
			m.Single = append(m.Single, p)
		}
	}
	m.Network = New(n.Ports, n.Frequency, 1)
	for i, p := range pairs {
		m.Reference[i] = 2 * n.Reference[p.Plus]
		m.Reference[len(pairs)+i] = n.Reference[p.Plus] / 2
	}
	for i, p := range m.Single {
		m.Reference[2*len(pairs)+i] = n.Reference[p]
	}
	t := m.modes()
	for k := range n.Frequency {
		similar(n.Ports, m.Matrix(k), t, n.Matrix(k), false)
	}
	return m, nil
}

// SingleEnded returns the network m was made from.
func (m Mixed) SingleEnded() Network {
	n := New(m.Ports, m.Frequency, 1)
	for i, p := range m.Pairs {
		n.Reference[p.Plus] = m.Reference[i] / 2
		n.Reference[p.Minus] = m.Reference[i] / 2
	}
	for i, p := range m.Single {
		n.Reference[p] = m.Reference[2*len(m.Pairs)+i]
	}
	t := m.modes()
	for k := range m.Frequency {
		similar(m.Ports, n.Matrix(k), t, m.Matrix(k), true)
	}
	return n
}

// DD returns the differential response at pair i to a differential wave at pair j.
func (m Mixed) DD(k, i, j int) complex128 { return m.At(k, i, j) }

// CC returns the common-mode response at pair i to a common-mode wave at pair j.
func (m Mixed) CC(k, i, j int) complex128 { return m.At(k, len(m.Pairs)+i, len(m.Pairs)+j) }

// CD returns the common-mode response at pair i to a differential wave at pair j.
func (m Mixed) CD(k, i, j int) complex128 { return m.At(k, len(m.Pairs)+i, j) }

// DC returns the differential response at pair i to a common-mode wave at pair j.
func (m Mixed) DC(k, i, j int) complex128 { return m.At(k, i, len(m.Pairs)+j) }

// modes returns for each mode the ports it is made of and their weights; a
// port in no pair stands twice with weight ½ each.
func (m Mixed) modes() []mode {
	var t []mode
	for _, p := range m.Pairs {
		t = append(t, mode{p.Plus, p.Minus, sqrtHalf, -sqrtHalf})
	}
	for _, p := range m.Pairs {
		t = append(t, mode{p.Plus, p.Minus, sqrtHalf, sqrtHalf})
	}
	for _, p := range m.Single {
		t = append(t, mode{p, p, 0.5, 0.5})
	}
	return t
}

type mode struct {
	p, q int
	u, v complex128
}

const sqrtHalf = 0.70710678118654752440084436210484903928

// similar sets out to M S Mᵀ, or back, with M the modes' orthogonal matrix.
func similar(n int, out []complex128, t []mode, s []complex128, back bool) {
	if back {
		for i := range out {
			out[i] = 0
		}
	}
	for i, r := range t {
		for j, c := range t {
			if back {
				x := s[i*n+j]
				out[r.p*n+c.p] += r.u * c.u * x
				out[r.p*n+c.q] += r.u * c.v * x
				out[r.q*n+c.p] += r.v * c.u * x
				out[r.q*n+c.q] += r.v * c.v * x
				continue
			}
			out[i*n+j] = r.u*(c.u*s[r.p*n+c.p]+c.v*s[r.p*n+c.q]) + r.v*(c.u*s[r.q*n+c.p]+c.v*s[r.q*n+c.q])
		}
	}
}
