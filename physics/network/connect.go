package network

import (
	"fmt"
	"slices"
)

// junction returns the scattering matrix of a plain connection of a port of
// reference z1 with a port of reference z2, as the two ports see it:
//
//	a1 = j11 b1 + j12 b2        a2 = j12 b1 + j22 b2
//
// from V1 = V2 and I1 = −I2. When z2 is the conjugate of z1 the waves simply
// cross over; any other pair is a step of impedance, and is computed as one.
func junction(z1, z2 complex128) (j11, j12, j22 complex128) {
	s := conj(z1) + conj(z2)
	return (conj(z2) - z1) / s, 2 * root(real(z1)*real(z2)) / s, (conj(z1) - z2) / s
}

// Cascade returns the two-ports joined in a chain, port 1 of each to port 0 of
// the next. All must share one list of frequencies. Where two references that
// meet are not each other's conjugates, the step between them is computed: a
// 50 Ω file followed by a 75 Ω file is what a 50 Ω connector screwed to a 75 Ω one is.
//
// The result is the star product
//
//	S11 = A11 + A12 B11 A21 / D        S12 = A12 B12 / D
//	S21 = B21 A21 / D                  S22 = B22 + B21 A22 B12 / D        D = 1 − A22 B11
//
// It fails ([ErrSingular]) where D = 0, a lossless resonance cut off from both
// ends. [Packed] does the same for many chains of reciprocal elements, faster.
//
// Source: [redheffer1962]; the four lines follow from the waves' meeting at the joint.
func Cascade(elements ...Network) (Network, error) {
	const op = "cascade"
	if len(elements) == 0 {
		return Network{}, fault(op, ErrShape, "give at least one two-port", "no element")
	}
	for e, n := range elements {
		if n.Ports != 2 {
			return Network{}, fault(op, ErrShape, "only two-ports make a chain; use Join or Circuit", "element %d has %d ports", e, n.Ports)
		}
	}
	if err := checkGrid(op, elements...); err != nil {
		return Network{}, err
	}
	first, last := elements[0], elements[len(elements)-1]
	out := Network{2, first.Frequency, []complex128{first.Reference[0], last.Reference[1]}, slices.Clone(first.S)}
	for e, n := range elements[1:] {
		zl, zr := elements[e].Reference[1], n.Reference[0]
		step := zr != conj(zl)
		j11, j12, j22 := junction(zl, zr)
		for k, f := range out.Frequency {
			a, b := out.Matrix(k), n.Matrix(k)
			ok := true
			if step {
				ok = star(a, []complex128{j11, j12, j12, j22})
			}
			if !ok || !star(a, b) {
				return Network{}, &Error{Op: op, Frequency: f, Found: fmt.Sprintf("the joint before element %d resonates without loss", e+1),
					Err: ErrSingular, Help: "give the elements some loss, or shift the frequency"}
			}
		}
	}
	return out, nil
}

// star overwrites a with the star product of the 2×2 matrices a and b.
func star(a, b []complex128) bool {
	d := 1 - a[3]*b[0]
	if d == 0 {
		return false
	}
	t21, t12 := a[2]/d, b[1]/d
	a[0], a[1], a[2], a[3] = a[0]+a[1]*b[0]*t21, a[1]*t12, b[2]*t21, b[3]+b[2]*a[3]*t12
	return true
}

// Join returns x and y joined, port i of x to port j of y. Its ports are those
// left of x, in order, then those left of y. Joining a one-port ends a port.
// References need not match: see [Cascade].
func Join(x Network, i int, y Network, j int) (Network, error) {
	const op = "join"
	if err := checkGrid(op, x, y); err != nil {
		return Network{}, err
	}
	if err := x.checkPorts(op, i); err != nil {
		return Network{}, err
	}
	if err := y.checkPorts(op, j); err != nil {
		return Network{}, err
	}
	if x.Ports+y.Ports == 2 {
		return Network{}, fault(op, ErrPort, "", "no port would be left")
	}
	both := New(x.Ports+y.Ports, x.Frequency, 1)
	copy(both.Reference, x.Reference)
	copy(both.Reference[x.Ports:], y.Reference)
	for k := range both.Frequency {
		for p := range x.Ports {
			for q := range x.Ports {
				both.Set(k, p, q, x.At(k, p, q))
			}
		}
		for p := range y.Ports {
			for q := range y.Ports {
				both.Set(k, x.Ports+p, x.Ports+q, y.At(k, p, q))
			}
		}
	}
	return both.JoinInner(i, x.Ports+j)
}

// JoinInner returns n with its ports i and j joined to each other; the other
// ports keep their order. With b = S a at the outer (o) and inner (p) ports and
// a_p = J b_p at the joint,
//
//	S' = S_oo + S_op J (1 − S_pp J)⁻¹ S_po
//
// Source: derived here from those two equations; for matched references it is
// the subnetwork growth of [filipsson1981].
func (n Network) JoinInner(i, j int) (Network, error) {
	const op = "join"
	if err := n.checkPorts(op, i, j); err != nil {
		return Network{}, err
	}
	if n.Ports == 2 {
		return Network{}, fault(op, ErrPort, "", "no port would be left")
	}
	var outer []int
	for p := range n.Ports {
		if p != i && p != j {
			outer = append(outer, p)
		}
	}
	m := New(len(outer), n.Frequency, 1)
	for r, p := range outer {
		m.Reference[r] = n.Reference[p]
	}
	j11, j12, j22 := junction(n.Reference[i], n.Reference[j])
	for k, f := range n.Frequency {
		// m11 ... m22 = 1 − S_pp J
		sii, sij, sji, sjj := n.At(k, i, i), n.At(k, i, j), n.At(k, j, i), n.At(k, j, j)
		m11, m12 := 1-sii*j11-sij*j12, -sii*j12-sij*j22
		m21, m22 := -sji*j11-sjj*j12, 1-sji*j12-sjj*j22
		det := m11*m22 - m12*m21
		if det == 0 {
			return Network{}, &Error{Op: op, Frequency: f, Found: fmt.Sprintf("the joint of ports %d and %d resonates without loss", i, j),
				Err: ErrSingular, Help: "give the elements some loss, or shift the frequency"}
		}
		for c, q := range outer {
			siq, sjq := n.At(k, i, q), n.At(k, j, q)
			bi, bj := (m22*siq-m12*sjq)/det, (m11*sjq-m21*siq)/det
			ai, aj := j11*bi+j12*bj, j12*bi+j22*bj
			for r, p := range outer {
				m.Set(k, r, c, n.At(k, p, q)+n.At(k, p, i)*ai+n.At(k, p, j)*aj)
			}
		}
	}
	return m, nil
}

// A Terminal names a port of an element of a [Circuit].
type Terminal struct{ Element, Port int }

// Circuit is a set of networks and how their ports are wired. Every port of
// every element must be named, in one joint or as an outer port.
type Circuit struct {
	Elements  []Network
	Joints    [][]Terminal // ports wired together, two or more in parallel
	Outer     []Terminal   // the circuit's own ports, in order; one that stands in a joint taps that joint
	Reference []complex128 // Ω, per outer port; when empty each takes its terminal's reference
}

// Network computes the circuit.
//
// At a joint of ports with references Z_i, V is common and the currents sum to
// zero; in waves, with Y_i = 1/Z_i*,
//
//	a_i = −(Z_i/Z_i*) b_i + 2√R_i Y_i · Σ_j √R_j Y_j b_j / Σ_j Y_j
//
// Together these are [a; b_e] = J [b; a_e], e the outer ports, and with b = S a
// inside the elements b_e = (J_ee + J_eb S (1 − J_ab S)⁻¹ J_ae) a_e.
// References need not match anywhere. The cost is one solution of as many
// unknowns as there are element ports, per frequency.
//
// Source: derived here from Kirchhoff's laws and the waves' definition; the
// scheme with matched references is [monaco1974].
func (c Circuit) Network() (Network, error) {
	const op = "circuit"
	if len(c.Elements) == 0 || len(c.Outer) == 0 {
		return Network{}, fault(op, ErrShape, "give at least one element and one outer port", "%d elements, %d outer ports", len(c.Elements), len(c.Outer))
	}
	if len(c.Reference) != 0 && len(c.Reference) != len(c.Outer) {
		return Network{}, fault(op, ErrShape, "give one reference per outer port, or none", "%d references for %d outer ports", len(c.Reference), len(c.Outer))
	}
	if err := checkGrid(op, c.Elements...); err != nil {
		return Network{}, err
	}
	first := make([]int, len(c.Elements)+1) // index of an element's port 0 among all
	for e, n := range c.Elements {
		first[e+1] = first[e] + n.Ports
	}
	ports := first[len(c.Elements)]
	index := func(t Terminal) (int, error) {
		if t.Element < 0 || t.Element >= len(c.Elements) {
			return 0, fault(op, ErrPort, fmt.Sprintf("the elements are 0 to %d", len(c.Elements)-1), "there is no element %d", t.Element)
		}
		if err := c.Elements[t.Element].checkPorts(op, t.Port); err != nil {
			return 0, fmt.Errorf("element %d: %w", t.Element, err)
		}
		return first[t.Element] + t.Port, nil
	}

	// Every joint becomes a list of indices: element ports from 0, outer ports
	// from `ports`. An outer port is seen from the joint as a port of the
	// conjugate reference whose b is the outer a.
	var nodes [][]int
	at := slices.Repeat([]int{-1}, ports) // the node of each element port
	for _, joint := range c.Joints {
		var node []int
		for _, t := range joint {
			i, err := index(t)
			if err != nil {
				return Network{}, err
			}
			if at[i] >= 0 {
				return Network{}, fault(op, ErrPort, "wire it once", "port %d of element %d stands in two places", t.Port, t.Element)
			}
			at[i] = len(nodes)
			node = append(node, i)
		}
		nodes = append(nodes, node)
	}
	reference := make([]complex128, ports, ports+len(c.Outer))
	for e, n := range c.Elements {
		copy(reference[first[e]:], n.Reference)
	}
	out := New(len(c.Outer), c.Elements[0].Frequency, 1)
	for o, t := range c.Outer {
		i, err := index(t)
		if err != nil {
			return Network{}, err
		}
		if at[i] < 0 {
			at[i] = len(nodes)
			nodes = append(nodes, []int{i})
		}
		nodes[at[i]] = append(nodes[at[i]], ports+o)
		out.Reference[o] = reference[i]
		if len(c.Reference) != 0 {
			out.Reference[o] = c.Reference[o]
		}
		reference = append(reference, conj(out.Reference[o]))
	}
	if err := checkReferences(op, reference); err != nil {
		return Network{}, err
	}
	for i, node := range at {
		if node < 0 {
			e := 0
			for first[e+1] <= i {
				e++
			}
			return Network{}, fault(op, ErrPort, "join it, make it an outer port, or end it with a Load", "port %d of element %d is left over", i-first[e], e)
		}
	}
	for _, node := range nodes {
		if len(node) < 2 {
			return Network{}, fault(op, ErrPort, "a joint needs two ports; a Load of infinite impedance makes an open end", "a joint of %d port", len(node))
		}
	}
	all := len(reference)
	joint := make([]complex128, all*all) // J
	for _, node := range nodes {
		var sum complex128
		for _, i := range node {
			sum += 1 / conj(reference[i])
		}
		for _, i := range node {
			yi := root(real(reference[i])) / conj(reference[i])
			for _, j := range node {
				yj := root(real(reference[j])) / conj(reference[j])
				joint[i*all+j] = 2 * yi * yj / sum
			}
			joint[i*all+i] -= reference[i] / conj(reference[i])
		}
	}

	a := make([]complex128, ports*ports)
	x := make([]complex128, ports*out.Ports)
	for k, f := range out.Frequency {
		for i := range ports { // a = 1 − J S, x = J_ae
			for e, n := range c.Elements {
				s := n.Matrix(k)
				for q := range n.Ports {
					var sum complex128
					for p := range n.Ports {
						sum -= joint[i*all+first[e]+p] * s[p*n.Ports+q]
					}
					a[i*ports+first[e]+q] = sum
				}
			}
			a[i*ports+i]++
			copy(x[i*out.Ports:(i+1)*out.Ports], joint[i*all+ports:(i+1)*all])
		}
		if !solve(ports, out.Ports, a, x) {
			return Network{}, &Error{Op: op, Frequency: f, Found: "an inner loop resonates without loss", Err: ErrSingular,
				Help: "give the elements some loss, or shift the frequency"}
		}
		for o := range out.Ports {
			for q := range out.Ports {
				sum := joint[(ports+o)*all+ports+q]
				for e, n := range c.Elements {
					s := n.Matrix(k)
					for p := range n.Ports {
						je := joint[(ports+o)*all+first[e]+p]
						if je == 0 {
							continue
						}
						for r := range n.Ports {
							sum += je * s[p*n.Ports+r] * x[(first[e]+r)*out.Ports+q]
						}
					}
				}
				out.Set(k, o, q, sum)
			}
		}
	}
	return out, nil
}

// Deembed returns the two-port x of which whole = left · x · right is the cascade:
// what is left of a measurement when two known fixtures are taken off. Its
// references are the conjugates of the fixtures' inner ones. Errors of the
// fixtures grow with their loss, as 1/|S21|² of each; a fixture that
// passes nothing is refused.
//
// Source: inverse of [Cascade], by chain matrices.
func Deembed(whole, left, right Network) (Network, error) {
	const op = "de-embed"
	if err := checkGrid(op, whole, left, right); err != nil {
		return Network{}, err
	}
	var ms [3][]ABCD
	for i, n := range []Network{left, whole, right} {
		m, err := n.ABCD()
		if err != nil {
			return Network{}, fmt.Errorf("%s: %s: %w", op, []string{"left", "whole", "right"}[i], err)
		}
		ms[i] = m
	}
	x := make([]ABCD, len(whole.Frequency))
	for k := range x {
		l, w, r := ms[0][k], ms[1][k], ms[2][k]
		if l.Det() == 0 || r.Det() == 0 {
			return Network{}, singular(op, whole.Frequency[k], "a fixture passes nothing backwards: S12 is zero")
		}
		x[k] = l.inverse().Times(w).Times(r.inverse())
	}
	return FromABCD(whole.Frequency, x, conj(left.Reference[1]), conj(right.Reference[0]))
}

func (m ABCD) inverse() ABCD {
	d := m.Det()
	return ABCD{m.D / d, -m.B / d, -m.C / d, m.A / d}
}
