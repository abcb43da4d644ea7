package touchstone

import (
	"fmt"
	"math"

	"linewright/physics/network"
)

// Network returns the file's data as scattering parameters between its ports:
// Y, Z, G and H are converted, mixed modes taken apart. The references are those
// of the file, also for Y, Z, G and H, whose meaning does not depend on them.
func (f *File) Network() (network.Network, error) {
	var none network.Network
	f, err := f.SingleEnded()
	if err != nil {
		return none, err
	}
	l := &f.Layout
	reference := make([]complex128, l.Ports)
	for i := range reference {
		reference[i] = complex(l.PortReference(i+1), 0)
	}
	switch l.Parameter {
	case Y:
		return network.FromAdmittance(f.Frequency, f.Data, reference...)
	case Z:
		return network.FromImpedance(f.Frequency, f.Data, reference...)
	}
	n := network.Network{Ports: l.Ports, Frequency: f.Frequency, Reference: reference, S: f.Data}
	if l.Parameter != S {
		n.S = make([]complex128, len(f.Data))
		for k := range f.Frequency {
			if !hybridToS(l, n.Matrix(k), f.At(k)) {
				return none, fmt.Errorf("touchstone: %s: the %v parameters at %g Hz have no scattering parameters at these references", f.Name, l.Parameter, f.Frequency[k])
			}
		}
	}
	return n, n.Check()
}

// hybridToS converts H or G parameters of a two-port. With V = √R(a+b) and
// I = (a-b)/√R at each port, V1 = h11 I1 + h12 V2 and I2 = h21 I1 + h22 V2 become
//
//	a1+b1 = p(a1-b1) + q(a2+b2)        p = h11/R1       q = h12 √(R2/R1)
//	a2-b2 = r(a1-b1) + s(a2+b2)        r = h21 √(R2/R1) s = h22 R2
//
// G parameters are H parameters of the two-port turned round.
//
// Derived here; checked against the series and shunt element in TestHybrid.
func hybridToS(l *Layout, to, h []complex128) bool {
	r1, r2 := l.PortReference(1), l.PortReference(2)
	h11, h12, h21, h22 := h[0], h[1], h[2], h[3]
	if l.Parameter == G {
		r1, r2 = r2, r1
		h11, h12, h21, h22 = h22, h21, h12, h11
	}
	t := complex(math.Sqrt(r2/r1), 0)
	p, q, r, s := h11/complex(r1, 0), h12*t, h21*t, h22*complex(r2, 0)
	d := (1+p)*(1+s) - q*r
	if d == 0 {
		return false
	}
	s11, s12 := ((p-1)*(1+s)-q*r)/d, 2*q/d
	s21, s22 := -2*r/d, ((1+p)*(1-s)+q*r)/d
	if l.Parameter == G {
		s11, s12, s21, s22 = s22, s21, s12, s11
	}
	to[0], to[1], to[2], to[3] = s11, s12, s21, s22
	return true
}

// FromNetwork returns a file of the scattering parameters n. unit and format say
// how to write them; the references must be real, as the format knows no other.
// The file shares its data with n.
func FromNetwork(n network.Network, unit Unit, format Format) (*File, error) {
	if err := n.Check(); err != nil {
		return nil, err
	}
	reference := make([]float64, n.Ports)
	for i, z := range n.Reference {
		if imag(z) != 0 {
			return nil, fmt.Errorf("touchstone: reference %d is %v Ω: %w; renormalise the network to a real one first", i+1, z, ErrReference)
		}
		reference[i] = real(z)
	}
	return &File{
		Layout:    Layout{Ports: n.Ports, Unit: unit, Format: format, Reference: reference},
		Frequency: n.Frequency,
		Data:      n.S,
	}, nil
}
