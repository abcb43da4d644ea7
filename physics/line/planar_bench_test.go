package line

import (
	"testing"

	"linewright/physics/material"
)

// Cost of a cross-section beside the plain closed form, and of one point of a
// prepared sweep.
func BenchmarkPlanar(b *testing.B) {
	d := material.Dielectric{Permittivity: 3.66, LossTangent: 0.0037, FittedAt: 10e9}
	m := Microstrip{Width: 0.54e-3, Height: 0.254e-3, Thickness: 35e-6, Substrate: d}
	s := Stripline{Width: 0.25e-3, Spacing: 0.6e-3, Thickness: 17e-6, Offset: 0.05e-3, Substrate: d}
	c := Coplanar{Width: 0.45e-3, Gap: 0.15e-3, Height: 0.254e-3, Thickness: 35e-6, GroundBelow: true, Walls: 1.2e-3, Substrate: d}
	for _, l := range []struct {
		name      string
		field     Line
		formula   Line
		impedance func() float64
	}{
		{"microstrip", m, func() Line { m := m; m.Method = ClosedForm; return m }(), m.impedance},
		{"stripline", s, func() Line { s := s; s.Method = ClosedForm; return s }(), s.impedance},
		{"coplanar", c, func() Line { c := c; c.Method = ClosedForm; return c }(), c.impedance},
	} {
		b.Run(l.name+"/field impedance", func(b *testing.B) {
			for b.Loop() {
				l.impedance()
			}
		})
		b.Run(l.name+"/closed form static", func(b *testing.B) {
			for b.Loop() {
				l.formula.Static()
			}
		})
		b.Run(l.name+"/prepare", func(b *testing.B) {
			for b.Loop() {
				Prepare(l.field)
			}
		})
		b.Run(l.name+"/point", func(b *testing.B) {
			p, _ := Prepare(l.field)
			for b.Loop() {
				p.At(28e9)
			}
		})
	}
	b.Run("full wave microstrip/point", func(b *testing.B) {
		for b.Loop() {
			FullWaveMicrostrip(28e9, m.Width, m.Height, 3.66)
		}
	})
}
