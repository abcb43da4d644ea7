package modematch

import (
	"errors"
	"fmt"
	"math"

	"linewright/physics/material"
)

// Section is a stretch of a body with constant cross-section.
type Section struct {
	// InnerDiameter is the diameter of the centre conductor, m; 0 where there
	// is none (an empty circular guide).
	InnerDiameter float64
	// OuterDiameter is the inside diameter of the outer conductor, m.
	OuterDiameter float64
	// Permittivity relative to vacuum, ε′ − jε″; zero stands for 1.
	Permittivity complex128
	// Length in m. The first and last sections are the port lines and have
	// none.
	Length float64
}

// permittivity returns the permittivity with its default.
func (s Section) permittivity() complex128 {
	if s.Permittivity == 0 {
		return 1
	}
	return s.Permittivity
}

// Body is a coaxial body of revolution: sections in order along the axis. The
// first and the last are the lines of port 1 and port 2; they extend to
// infinity. Where neighbours differ there is a plane: the metal between their
// walls is a flat face, the rest of the plane, the aperture, is open.
type Body struct {
	Sections []Section
	// Inner and Outer are the metals of the centre conductor and of the outer
	// conductor, plating, roughness and temperature included; nil stands for a
	// perfect conductor.
	Inner, Outer *material.Conductor
}

// A SectionError says which section of a body makes no sense, what stands
// there, which rule it breaks and what would be right.
type SectionError struct {
	Section int    // counts from 1
	Found   string // what stands there
	Err     error  // the rule: one of this package's Err values
	Help    string
}

func (e *SectionError) Error() string {
	return fmt.Sprintf("section %d: %s: %v; %s", e.Section, e.Found, e.Err, e.Help)
}

func (e *SectionError) Unwrap() error { return e.Err }

// The rules that a body can break.
var (
	ErrSections     = errors.New("a body has at least two sections")
	ErrDiameter     = errors.New("diameters must satisfy 0 ≤ inner < outer")
	ErrPermittivity = errors.New("permittivity must be ε′ − jε″ with ε′ > 0, ε″ ≥ 0")
	ErrLength       = errors.New("a section between two others needs a length above 0")
	ErrPortLength   = errors.New("the first and last sections are port lines and have no length")
	ErrBlocked      = errors.New("neighbouring sections must share an opening")
	ErrPort         = errors.New("a port must be able to carry a wave")
)

// Check returns every fault of the body, joined; nil if there is none.
func (b Body) Check() error {
	n := len(b.Sections)
	if n < 2 {
		return fmt.Errorf("body of %d sections: %w; give port line, body, port line", n, ErrSections)
	}
	var errs []error
	fault := func(i int, rule error, help, format string, args ...any) {
		errs = append(errs, &SectionError{i + 1, fmt.Sprintf(format, args...), rule, help})
	}
	for i, s := range b.Sections {
		sound := s.InnerDiameter >= 0 && s.OuterDiameter > s.InnerDiameter && !math.IsInf(s.OuterDiameter, 0)
		if !sound {
			fault(i, ErrDiameter, "give the diameter of the centre conductor (0 for none) and the inside diameter of the outer conductor",
				"inner diameter %.6g m, outer diameter %.6g m", s.InnerDiameter, s.OuterDiameter)
		}
		if e := s.permittivity(); !(real(e) > 0 && imag(e) <= 0 && real(e) < math.MaxFloat64 && imag(e) >= -math.MaxFloat64) {
			fault(i, ErrPermittivity, "a loss tangent t makes it ε′(1 − jt)", "permittivity %.6g%+.6gj", real(e), imag(e))
		}
		switch port := i == 0 || i == n-1; {
		case port && s.Length != 0:
			fault(i, ErrPortLength, "leave the length out, or add a port line beyond this section", "length %.6g m", s.Length)
		case !port && !(s.Length > 0 && s.Length < math.MaxFloat64):
			fault(i, ErrLength, "give the length, or leave the section out", "length %.6g m", s.Length)
		}
		if i > 0 && sound {
			p := b.Sections[i-1]
			if a, c := max(p.InnerDiameter, s.InnerDiameter), min(p.OuterDiameter, s.OuterDiameter); !(a < c) && p.InnerDiameter < p.OuterDiameter {
				fault(i, ErrBlocked, "a centre conductor must be thinner than the outer conductor before and after it",
					"inner diameter %.6g m and outer diameter %.6g m leave no opening at the face towards section %d", a, c, i)
			}
		}
	}
	for _, c := range []struct {
		name string
		*material.Conductor
	}{{"centre conductor", b.Inner}, {"outer conductor", b.Outer}} {
		if c.Conductor != nil {
			if err := c.Check(); err != nil {
				errs = append(errs, fmt.Errorf("%s: %w", c.name, err))
			}
		}
	}
	if len(errs) == 0 && b.Sections[0].InnerDiameter == 0 && b.Sections[n-1].InnerDiameter == 0 {
		fault(0, ErrPort, "give the first or the last section a centre conductor", "no centre conductor in the first and the last section")
	}
	return errors.Join(errs...)
}

// Reverse returns the body seen from its other end.
func (b Body) Reverse() Body {
	n := len(b.Sections)
	r := b
	r.Sections = make([]Section, n)
	for i, s := range b.Sections {
		r.Sections[n-1-i] = s
	}
	return r
}

// Taper returns steps sections that lead in equal steps from the cross-section
// of from to that of to over length metres, as a staircase with the
// permittivity of from. Diameters are taken at the middle of each step, so
// that the staircase has the length and the mean diameters of the cone. Each
// corner of height h adds a capacitance of the order h² ln 1/h that the cone
// does not have, so the error falls but slowly, about as 1/steps: compare two
// numbers of steps.
func Taper(from, to Section, length float64, steps int) []Section {
	t := make([]Section, steps)
	for i := range t {
		u := (float64(i) + 0.5) / float64(steps)
		t[i] = Section{
			InnerDiameter: from.InnerDiameter + u*(to.InnerDiameter-from.InnerDiameter),
			OuterDiameter: from.OuterDiameter + u*(to.OuterDiameter-from.OuterDiameter),
			Permittivity:  from.Permittivity,
			Length:        length / float64(steps),
		}
	}
	return t
}

// surface returns the impedance of a conductor's surface, Ω per square, as
// package line takes it: a roughness model that has a complex factor
// multiplies resistance and reactance, one that has not, the resistance alone.
func surface(c *material.Conductor, f float64) complex128 {
	if c == nil {
		return 0
	}
	z := c.SurfaceImpedance(f)
	if c.Roughness.Smooth() {
		return z
	}
	metal := c.Metal
	if len(c.Plating) > 0 {
		metal = c.Plating[0].Metal
	}
	k, zeta := metal.Wave(f, c.Temperature)
	if zeta == 0 {
		return z
	}
	if h, ok := c.Roughness.Complex(k); ok {
		return z * h
	}
	return complex(real(z)*c.RoughnessFactor(f), imag(z))
}
