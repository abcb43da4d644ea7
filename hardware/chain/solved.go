package chain

import (
	"context"
	"fmt"
	"math"

	"linewright/hardware/part"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/modematch"
	"linewright/physics/network"
	"linewright/physics/units"
	"linewright/physics/xsection"
)

// BodySpec is a coaxial body of revolution, solved by mode matching at the
// chain's frequencies.
type BodySpec struct {
	Path     string                   // of the body's file
	Body     modematch.Body           `file:"-"`
	Shift    [2]float64               `file:"-"` // of its reference planes outward, m
	Sections []modematch.SectionModes `file:"-"` // what each section can carry
}

// SectionSpec is a stretch of uniform line, known by its cross-section.
type SectionSpec struct {
	Path   string // of the section's file
	Length units.Length
	Result *xsection.Result `file:"-"`
}

// Body is a coaxial body of revolution as an element.
type Body struct {
	Where string
	Spec  BodySpec
}

// Facts implements [Element].
func (b Body) Facts() Facts {
	var length units.Length
	for _, s := range b.Spec.Body.Sections {
		length += units.Length(s.Length)
	}
	length += units.Length(b.Spec.Shift[0] + b.Spec.Shift[1])
	f := Facts{Name: orElse(b.Where, "coaxial body"), Kind: "coaxial body", Length: &length, Description: fmt.Sprintf("body of %d sections", len(b.Spec.Body.Sections)), Source: "mode matching, file " + b.Spec.Path, Price: &units.Money{}, Mass: new(units.Mass)}
	for _, s := range b.Spec.Sections {
		mode := "TE11"
		if len(s.Modes) > 0 {
			mode = s.Modes[0].Name
		}
		f.CrossSections = append(f.CrossSections, CrossSection{Name: fmt.Sprintf("section %d", s.Section), Mode: mode, ModeFree: units.Frequency(s.ModeFree), Basis: "its diameters and permittivity"})
	}
	return f
}

// Respond implements [Element]: both ends referred to 50 Ω. Metals that state no
// temperature of their own take the chain's.
func (b Body) Respond(f []float64, cond Conditions) (Response, error) {
	body := b.Spec.Body
	body.Inner, body.Outer = warmed(body.Inner, cond), warmed(body.Outer, cond)
	r, err := modematch.Solve(context.Background(), body, f, modematch.Options{Shift: b.Spec.Shift})
	if err != nil {
		return Response{}, fmt.Errorf("%s, body %s: %w", orElse(b.Where, "coaxial body"), b.Spec.Path, err)
	}
	n, err := r.Network.Renormalise(50)
	if err != nil {
		return Response{}, fmt.Errorf("%s, body %s: %w", orElse(b.Where, "coaxial body"), b.Spec.Path, err)
	}
	resp := FromNetwork(n)
	resp.Step = SectionSolve
	resp.Source = fmt.Sprintf("mode matching, file %s, error of S about %.1g", b.Spec.Path, r.EstimatedError)
	if len(f) == 1 {
		resp.Delay = delayAt(f[0], func(g []float64) (network.Network, error) {
			r, err := modematch.Solve(context.Background(), body, g, modematch.Options{Shift: b.Spec.Shift})
			if err != nil {
				return network.Network{}, err
			}
			return r.Network.Renormalise(50)
		})
	}
	if body.Inner == nil && body.Outer == nil {
		resp.note(Remark, "%s: its metals are perfect: no conductor loss; give inner and outer in %s", orElse(b.Where, "coaxial body"), b.Spec.Path)
	} else if cond.Temperature > 0 {
		resp.note(Remark, "%s: its metals are those of %v; its dimensions and dielectrics stay as they are", orElse(b.Where, "coaxial body"), cond.Temperature)
	}
	return resp, nil
}

// warmed returns a metal at the chain's temperature, unless it states its own.
func warmed(c *material.Conductor, cond Conditions) *material.Conductor {
	if c == nil || c.Temperature != 0 || cond.Temperature <= 0 {
		return c
	}
	warm := *c
	warm.Temperature = float64(cond.Temperature)
	return &warm
}

// delayAt is the group delay at one frequency, from two a thousandth apart.
func delayAt(f float64, solve func([]float64) (network.Network, error)) float64 {
	n, err := solve([]float64{f * 0.9995, f * 1.0005})
	if err != nil {
		return math.NaN()
	}
	return FromNetwork(n).Delay
}

// Section is a stretch of uniform line, known by its cross-section.
type Section struct {
	Where string
	Spec  SectionSpec
}

// Facts implements [Element]. The quasi-static solution knows no cutoffs.
func (s Section) Facts() Facts {
	return Facts{Name: orElse(s.Where, "line"), Kind: "line by section", Length: &s.Spec.Length, Description: fmt.Sprintf("%.4g Ω, effective permittivity %.4g", s.Spec.Result.Impedance(), s.Spec.Result.EffectivePermittivity()),
		Source: "cross-section solve, file " + s.Spec.Path, Price: &units.Money{}, Mass: new(units.Mass), ModesOpen: "a quasi-static section knows no cutoffs"}
}

// Respond implements [Element]. The metals' share of the loss follows the
// temperature as a cable's does, from the 20 °C at which it was solved.
func (s Section) Respond(f []float64, cond Conditions) (Response, error) {
	k := 1.0
	if cond.Temperature > 0 {
		k = part.TemperatureFactor(cond.Temperature, units.Temperature(material.ReferenceTemperature))
	}
	n := network.New(2, f, 50)
	loss := make([]float64, len(f))
	var resp Response
	said := map[string]bool{}
	for i, x := range f {
		l := s.Spec.Result.At(x, nil)
		m := l.Modes[0]
		gamma, z := m.Gamma+complex(m.Conductor*(k-1), 0), m.Impedance
		if math.IsInf(real(gamma), 0) || math.IsNaN(real(gamma)) || math.IsNaN(real(z)) || math.IsInf(real(z), 0) {
			return Response{}, fmt.Errorf("%s, section %s: metal without thickness has no finite loss: give the conductor a thickness", orElse(s.Where, "line"), s.Spec.Path)
		}
		s11, s21 := line.Point{Frequency: x, Gamma: gamma, Impedance: z}.Chain(float64(s.Spec.Length), 50)
		n.Set(i, 0, 0, s11)
		n.Set(i, 1, 1, s11)
		n.Set(i, 0, 1, s21)
		n.Set(i, 1, 0, s21)
		loss[i] = real(gamma) * float64(s.Spec.Length) * units.DecibelsPerNeper
		for _, w := range l.Warnings {
			if !said[w.Model+w.Quantity] {
				said[w.Model+w.Quantity] = true
				resp.note(Extrapolated, "%s: %v", orElse(s.Where, "line"), w)
			}
		}
		resp.Delay = imag(gamma) / (2 * math.Pi * x) * float64(s.Spec.Length)
	}
	notes, delay := resp.Notes, resp.Delay
	resp = FromNetwork(n)
	resp.Loss, resp.Notes, resp.Delay = loss, notes, delay
	if cond.Temperature > 0 {
		resp.note(Remark, "%s: its metals' loss is carried from 20 °C to %v as copper's; its dimensions and dielectrics stay as they are", orElse(s.Where, "line"), cond.Temperature)
	}
	resp.note(Remark, "%s: no limit of higher modes is known from a quasi-static section", orElse(s.Where, "line"))
	resp.Step = SectionSolve
	resp.Source = fmt.Sprintf("cross-section solve, file %s, error about %.1g", s.Spec.Path, s.Spec.Result.EstimatedError)
	return resp, nil
}
