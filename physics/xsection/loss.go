package xsection

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

	"linewright/physics/line"
)

// SurfaceResistance gives the resistance of a metal's surface, Ω, at frequency
// f, Hz, and the part of it that a smooth surface of the metal would have.
type SurfaceResistance func(m Metal, f float64) (rough, smooth float64)

// HammerstadResistance is the default [SurfaceResistance]: that of smooth metal
// by skin depth, times Hammerstad's factor for the rms roughness Rq,
//
//	Rs = √(πfμ0/σ)    K = 1 + (2/π)·atan(1.4·(Rq/δ)²)    δ = √(1/(πfμ0σ))
//
// K never exceeds 2, and is a fit to grooves across the current; for foil much
// rougher than δ give a model with more memory.
// Source: [hammerstad1980] eq. for Δ; [pozar2012] §1.7 for Rs.
func HammerstadResistance(m Metal, f float64) (rough, smooth float64) {
	sigma := m.Conductivity
	if sigma == 0 {
		sigma = CopperConductivity
	}
	smooth = math.Sqrt(math.Pi * f * mu0 / sigma)
	delta := 1 / (smooth * sigma)
	q := m.Roughness / delta
	return smooth * (1 + 2/math.Pi*math.Atan(1.4*q*q)), smooth
}

// thinSkin is how many skin depths thick metal must be. A sheet of 3δ with
// current on both faces has 0.92 of the thin-skin resistance, a wire of that
// radius 1.18 times. Computed here: (sinh 3+sin 3)/(cosh 3−cos 3), and
// [ramo1994]'s Bessel solution.
const thinSkin = 3

// A Lossy holds the line's constants at one frequency.
type Lossy struct {
	Frequency float64       // Hz
	R, G      *mat.SymDense // Ω/m, S/m
	L, C      *mat.SymDense // H/m with the inductance inside the metal, F/m
	Modes     []LossyMode
	Warnings  []line.Warning
}

// A LossyMode is a mode of [Result.Modes] with loss, e^{−γz}.
type LossyMode struct {
	Name       string
	Gamma      complex128 // α + jβ, 1/m
	Impedance  complex128 // Ω
	Conductor  float64    // the metals' share of α, Np/m
	Dielectric float64    // the dielectrics' share of α, Np/m
	Roughness  float64    // factor by which roughness raises Conductor
}

// At returns the line at frequency f > 0, Hz. rs nil stands for
// [HammerstadResistance].
//
// The skin must be thin beside every thickness and radius of the metal: then
// R is the sum over the metals of Rs times their [MetalShare], and the same
// smooth surfaces add R/ω to the inductance. A line with foil, without
// thickness, has infinite resistance and a warning. Of several lines, each mode keeps
// its lossless pattern: first order in the loss. The dispersion of the mode
// itself (longitudinal fields) is not in it.
func (r *Result) At(f float64, rs SurfaceResistance) Lossy {
	if rs == nil {
		rs = HammerstadResistance
	}
	n := len(r.Conductors)
	omega := 2 * math.Pi * f
	p := Lossy{Frequency: f, R: mat.NewSymDense(n, nil), G: mat.NewSymDense(n, nil), L: mat.NewSymDense(n, nil), C: r.C}
	smoothR := mat.NewSymDense(n, nil)
	var t mat.SymDense
	for _, m := range r.Metals {
		rough, smooth := rs(m.Metal, f)
		t.ScaleSym(rough, m.Factor)
		p.R.AddSym(p.R, &t)
		if m.Thickness > 0 {
			t.ScaleSym(smooth, m.Factor)
			smoothR.AddSym(smoothR, &t)
		}
		if delta := smooth / (math.Pi * f * mu0); !(m.Thickness >= thinSkin*delta) { // δ = Rs/(πfμ0)
			w := line.Warning{Model: "thin skin", Quantity: "thickness of " + m.Name + " over skin depth", Value: m.Thickness / delta,
				Low: thinSkin, High: math.Inf(1), Effect: "resistance off by more than 10 to 20 %"}
			if m.Thickness == 0 {
				w.Effect = "a foil has no finite resistance: give its thickness"
			}
			p.Warnings = append(p.Warnings, w)
		}
	}
	t.ScaleSym(1/omega, smoothR)
	p.L.AddSym(r.L, &t)
	for _, d := range r.Dielectrics {
		if d.Material.LossTangent != 0 {
			t.ScaleSym(omega*d.Material.LossTangent, d.Capacitance)
			p.G.AddSym(p.G, &t)
		}
	}
	for _, m := range r.Modes {
		v, i := mat.NewVecDense(n, m.Voltage), mat.NewVecDense(n, m.Current)
		power := mat.Dot(v, i)
		ri, gv := mat.Inner(i, p.R, i), mat.Inner(v, p.G, v)
		li, cv := mat.Inner(i, p.L, i), mat.Inner(v, p.C, v)
		if math.IsInf(ri, 1) { // foil: no finite loss, and the rest as if there were none
			beta := omega * math.Sqrt(m.EffectivePermittivity) / c0
			p.Modes = append(p.Modes, LossyMode{Name: m.Name, Gamma: complex(ri, beta), Impedance: complex(m.Impedance, 0),
				Conductor: ri, Dielectric: gv / (2 * power), Roughness: 1})
			continue
		}
		z, y := complex(ri, omega*li), complex(gv, omega*cv)
		q := LossyMode{Name: m.Name, Gamma: cmplx.Sqrt(z*y) / complex(power, 0)}
		lossless := math.Sqrt(mat.Inner(i, r.L, i) / cv)
		q.Impedance = cmplx.Sqrt(z/y) * complex(m.Impedance/lossless, 0)
		// α to first order, shared out, then scaled to the exact sum.
		c, d := ri/(2*power), gv/(2*power)
		if c+d > 0 {
			s := real(q.Gamma) / (c + d)
			q.Conductor, q.Dielectric = c*s, d*s
		}
		q.Roughness = 1
		if smooth := mat.Inner(i, smoothR, i); smooth > 0 {
			q.Roughness = ri / smooth
		}
		p.Modes = append(p.Modes, q)
	}
	return p
}
