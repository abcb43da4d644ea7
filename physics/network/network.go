// Package network computes with the scattering parameters of N-ports over
// frequency: it joins them, changes their references and descriptions, judges
// and interpolates them, and combines reflections whose phase is not known.
//
// Waves are power waves after Kurokawa: at a port of reference impedance Z,
// Re Z > 0, voltage V and current I into the port,
//
//	a = (V + Z I) / 2√Re Z        b = (V − Z* I) / 2√Re Z        b = S a
//
// so that |a|² − |b|² is the power into the port whatever Z is. With phasors
// of peak value it is twice that power. The time convention is e^{+jωt};
// frequencies are in Hz, impedances in Ω. Ports and matrix rows count from 0.
//
// Symbols: Γ a reflection coefficient and ρ its magnitude, γl propagation
// constant times length in Np + j rad, τ a delay in s, R = Re Z, A the two-way
// voltage loss on the way to a reflector, σ a singular value; * is the
// conjugate, ᴴ the conjugate transpose.
//
// Source: [kurokawa1965] eq. 1; pseudo waves, another thing when the reference
// is complex, are in [PseudoWaves].
package network

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
)

// A Network holds the scattering parameters of an N-port over frequency. It is
// a value: no function of this package alters a Network it is given, and those
// that build one do not keep what they were handed to alter it later. Networks
// may share their Frequency slice.
type Network struct {
	Ports     int
	Frequency []float64    // Hz, not negative, strictly increasing
	Reference []complex128 // per port, Ω, Re > 0
	S         []complex128 // [frequency][row][column], len(Frequency)·Ports² long
}

// New returns a network of zeros (every port matched, nothing transmitted)
// with the same reference impedance, in Ω, at every port. It keeps frequency,
// in Hz. It panics if ports < 1; [Network.Check] tells the rest.
func New(ports int, frequency []float64, reference complex128) Network {
	if ports < 1 {
		panic(fmt.Sprintf("network: New with %d ports", ports))
	}
	return Network{
		Ports:     ports,
		Frequency: frequency,
		Reference: slices.Repeat([]complex128{reference}, ports),
		S:         make([]complex128, len(frequency)*ports*ports),
	}
}

// At returns S_ij at the k-th frequency: the wave leaving port i for one
// entering port j.
func (n Network) At(k, i, j int) complex128 { return n.S[(k*n.Ports+i)*n.Ports+j] }

// Set gives S_ij at the k-th frequency a value. It is for whoever builds the
// network, before anyone else holds it.
func (n Network) Set(k, i, j int, s complex128) { n.S[(k*n.Ports+i)*n.Ports+j] = s }

// Matrix returns the S-matrix at the k-th frequency, row after row. It is a
// view into n.S.
func (n Network) Matrix(k int) []complex128 {
	nn := n.Ports * n.Ports
	return n.S[k*nn : (k+1)*nn : (k+1)*nn]
}

// Trace returns S_ij over frequency.
func (n Network) Trace(i, j int) []complex128 {
	t := make([]complex128, len(n.Frequency))
	for k := range t {
		t[k] = n.At(k, i, j)
	}
	return t
}

// The rules an [Error] can say are broken.
var (
	ErrShape      = errors.New("the sizes do not fit together")
	ErrFrequency  = errors.New("frequencies must be finite, not negative and strictly increasing")
	ErrReference  = errors.New("a reference impedance must be finite with a positive real part")
	ErrValue      = errors.New("a scattering parameter must be a finite number")
	ErrGrid       = errors.New("the networks must share one list of frequencies")
	ErrPort       = errors.New("a port must exist and be used once")
	ErrSingular   = errors.New("the matrix has no inverse")
	ErrRange      = errors.New("the frequency lies outside the data")
	ErrSpacing    = errors.New("the frequencies must be evenly spaced")
	ErrSampling   = errors.New("the frequencies are too far apart to follow the phase")
	ErrReciprocal = errors.New("the network must be reciprocal")
)

// An Error says which operation stopped, where, what it found, the rule that
// breaks, and what would put it right.
type Error struct {
	Op        string  // "cascade", "impedance matrix"
	Frequency float64 // Hz; NaN where no one frequency is to blame
	Found     string  // what stands there
	Err       error   // one of this package's Err values
	Help      string  // what the user can do
}

func (e *Error) Error() string {
	at := ""
	if !math.IsNaN(e.Frequency) {
		at = fmt.Sprintf(" at %.6g GHz", e.Frequency/1e9)
	}
	s := fmt.Sprintf("%s%s: %s: %v", e.Op, at, e.Found, e.Err)
	if e.Help != "" {
		s += "; " + e.Help
	}
	return s
}

func (e *Error) Unwrap() error { return e.Err }

// fault is an [Error] that no one frequency is to blame for.
func fault(op string, err error, help, format string, args ...any) *Error {
	return &Error{Op: op, Frequency: math.NaN(), Found: fmt.Sprintf(format, args...), Err: err, Help: help}
}

// singular is an [Error] about the frequency f at which op has no answer.
func singular(op string, f float64, help string) *Error {
	return &Error{Op: op, Frequency: f, Found: "its matrix is singular", Err: ErrSingular, Help: help}
}

// Check reports, joined, every way in which n is not a network: sizes that do
// not fit, frequencies that do not increase, references without positive real
// part, values that are not finite (the first of them).
func (n Network) Check() error {
	const op = "network"
	if n.Ports < 1 || len(n.Reference) != n.Ports || len(n.S) != len(n.Frequency)*n.Ports*n.Ports {
		return fault(op, ErrShape, "a network of N ports and M frequencies has N references and M·N² parameters",
			"%d ports, %d references, %d frequencies, %d parameters", n.Ports, len(n.Reference), len(n.Frequency), len(n.S))
	}
	var errs []error
	last := math.Inf(-1)
	for k, f := range n.Frequency {
		if !(f >= 0 && f > last && f <= math.MaxFloat64) {
			errs = append(errs, fault(op, ErrFrequency, "sort the data, and drop repeated points", "point %d is %g Hz after %g Hz", k, f, last))
			break
		}
		last = f
	}
	if err := checkReferences(op, n.Reference); err != nil {
		errs = append(errs, err)
	}
	for i, s := range n.S {
		if cmplx.IsNaN(s) || cmplx.IsInf(s) {
			k, ij := i/(n.Ports*n.Ports), i%(n.Ports*n.Ports)
			errs = append(errs, &Error{Op: op, Frequency: n.Frequency[k], Found: fmt.Sprintf("S[%d][%d] is %v", ij/n.Ports, ij%n.Ports, s), Err: ErrValue})
			break
		}
	}
	return errors.Join(errs...)
}

func checkReferences(op string, reference []complex128) error {
	for i, z := range reference {
		if !(real(z) > 0 && real(z) <= math.MaxFloat64) || math.IsNaN(imag(z)) || math.IsInf(imag(z), 0) {
			return fault(op, ErrReference, "give the port a reference such as 50 Ω", "port %d has reference %v Ω", i, z)
		}
	}
	return nil
}

// checkPorts refuses ports that n does not have and ports named twice.
func (n Network) checkPorts(op string, ports ...int) error {
	for i, p := range ports {
		if p < 0 || p >= n.Ports {
			return fault(op, ErrPort, fmt.Sprintf("the ports are 0 to %d", n.Ports-1), "there is no port %d", p)
		}
		if slices.Contains(ports[:i], p) {
			return fault(op, ErrPort, "", "port %d is named twice", p)
		}
	}
	return nil
}

// checkGrid refuses networks whose frequencies differ.
func checkGrid(op string, elements ...Network) error {
	for e, n := range elements[1:] {
		if f := elements[0].Frequency; !sameGrid(f, n.Frequency) {
			return fault(op, ErrGrid, "interpolate one onto the other's frequencies",
				"element %d has %s, element 0 has %s", e+1, describeGrid(n.Frequency), describeGrid(f))
		}
	}
	return nil
}

func sameGrid(a, b []float64) bool {
	return len(a) == len(b) && (len(a) == 0 || &a[0] == &b[0] || slices.Equal(a, b))
}

func describeGrid(f []float64) string {
	if len(f) == 0 {
		return "no frequencies"
	}
	return fmt.Sprintf("%d points from %.6g to %.6g GHz", len(f), f[0]/1e9, f[len(f)-1]/1e9)
}

// Reorder returns the network whose port i is n's port order[i]. Ports that
// order leaves out are dropped, as if ended in their own references.
func (n Network) Reorder(order ...int) (Network, error) {
	if err := n.checkPorts("reorder", order...); err != nil {
		return Network{}, err
	}
	if len(order) == 0 {
		return Network{}, fault("reorder", ErrPort, "name at least one port", "no port is kept")
	}
	m := New(len(order), n.Frequency, 1)
	for i, p := range order {
		m.Reference[i] = n.Reference[p]
	}
	for k := range n.Frequency {
		for i, p := range order {
			for j, q := range order {
				m.Set(k, i, j, n.At(k, p, q))
			}
		}
	}
	return m, nil
}

// Reciprocal returns n with S_ij and S_ji both replaced by their mean: for
// measured data of a part that is reciprocal by its nature.
func (n Network) Reciprocal() Network {
	m := Network{n.Ports, n.Frequency, slices.Clone(n.Reference), slices.Clone(n.S)}
	for k := range n.Frequency {
		for i := range n.Ports {
			for j := range i {
				mean := (n.At(k, i, j) + n.At(k, j, i)) / 2
				m.Set(k, i, j, mean)
				m.Set(k, j, i, mean)
			}
		}
	}
	return m
}
