package wire

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"linewright/physics/line"
	"linewright/physics/units"
	"linewright/physics/xsection"
)

// Section is a solved cross-section; its fields are a documented contract.
type Section struct {
	Section                           string         `json:"section"`
	Model                             string         `json:"model"`
	Conductors                        []string       `json:"conductors"`
	CapacitanceFPerM                  [][]*float64   `json:"capacitance_f_per_m"` // Maxwell's: off the diagonal below zero
	InductanceHPerM                   [][]*float64   `json:"inductance_h_per_m"`  // external
	ImpedanceOhm                      *float64       `json:"impedance_ohm"`       // of one signal conductor; null of several
	EffectivePermittivity             *float64       `json:"effective_permittivity"`
	ResistanceOverSurfaceResistancePM *float64       `json:"resistance_over_surface_resistance_per_m"`
	Modes                             []SectionMode  `json:"modes"`
	CharacteristicImpedanceOhm        [][]*float64   `json:"characteristic_impedance_ohm"`
	Pair                              *SectionPair   `json:"pair"` // of two signal conductors
	Metals                            []SectionMetal `json:"metals"`
	EstimatedError                    *float64       `json:"estimated_error"`
	Unknowns                          int            `json:"unknowns"`
	Warnings                          []LineWarning  `json:"warnings"`
	At                                []SectionPoint `json:"at"`
	Plot                              string         `json:"plot,omitempty"`
}

// SectionMode is a quasi-TEM mode.
type SectionMode struct {
	Name                  string     `json:"name"`
	ImpedanceOhm          *float64   `json:"impedance_ohm"`
	EffectivePermittivity *float64   `json:"effective_permittivity"`
	Voltage               []*float64 `json:"voltage_v"` // largest 1
	Current               []*float64 `json:"current_a"`
}

// SectionPair holds the impedances of two lines used together.
type SectionPair struct {
	OddOhm          *float64 `json:"odd_ohm"`
	EvenOhm         *float64 `json:"even_ohm"`
	DifferentialOhm *float64 `json:"differential_ohm"`
	CommonOhm       *float64 `json:"common_ohm"`
}

// SectionMetal is one conductor's share of the resistance.
type SectionMetal struct {
	Name   string   `json:"name"`
	Factor *float64 `json:"resistance_over_surface_resistance_per_m"` // of the first signal conductor's current
}

// SectionPoint is the line at one frequency.
type SectionPoint struct {
	FrequencyHz float64            `json:"frequency_hz"`
	Modes       []SectionLossyMode `json:"modes"`
}

// SectionLossyMode is a mode with loss.
type SectionLossyMode struct {
	Name                  string   `json:"name"`
	ImpedanceOhm          Complex  `json:"impedance_ohm"`
	EffectivePermittivity *float64 `json:"effective_permittivity"`
	PhaseRadPerM          *float64 `json:"phase_rad_per_m"`
	DelaySPerM            *float64 `json:"delay_s_per_m"`
	AttenuationDBPerM     *float64 `json:"attenuation_db_per_m"`
	ConductorDBPerM       *float64 `json:"conductor_db_per_m"`
	DielectricDBPerM      *float64 `json:"dielectric_db_per_m"`
	RoughnessFactor       *float64 `json:"roughness_factor"`
}

const sectionModel = "quasi-static field of the cross-section by boundary integral equations; valid below the first higher mode"

// NewSection shapes a solved section, with loss at each frequency, Hz.
func NewSection(name string, r *xsection.Result, frequency []float64) Section {
	doc := Section{Section: name, Model: sectionModel, Conductors: r.Conductors, CapacitanceFPerM: matrix(r.C), InductanceHPerM: matrix(r.L), Modes: []SectionMode{},
		CharacteristicImpedanceOhm: matrix(r.CharacteristicImpedance()), Metals: []SectionMetal{}, EstimatedError: num(r.EstimatedError), Unknowns: r.Unknowns, Warnings: []LineWarning{}, At: []SectionPoint{}}
	if len(r.Conductors) == 1 {
		doc.ImpedanceOhm, doc.EffectivePermittivity = num(r.Impedance()), num(r.EffectivePermittivity())
		doc.ResistanceOverSurfaceResistancePM = num(r.ResistanceFactor().At(0, 0))
	}
	if len(r.Conductors) == 2 {
		p := r.Pair(0, 1)
		doc.Pair = &SectionPair{num(p.Odd), num(p.Even), num(p.Differential), num(p.Common)}
	}
	for _, m := range r.Modes {
		doc.Modes = append(doc.Modes, SectionMode{m.Name, num(m.Impedance), num(m.EffectivePermittivity), row(m.Voltage), row(m.Current)})
	}
	for _, m := range r.Metals {
		doc.Metals = append(doc.Metals, SectionMetal{m.Name, num(m.Factor.At(0, 0))})
	}
	seen := map[string]bool{}
	for _, f := range frequency {
		l := r.At(f, nil)
		at := SectionPoint{FrequencyHz: f}
		for _, m := range l.Modes {
			beta := imag(m.Gamma)
			k := beta * line.C0 / (2 * math.Pi * f)
			at.Modes = append(at.Modes, SectionLossyMode{Name: m.Name, ImpedanceOhm: Complex{num(real(m.Impedance)), num(imag(m.Impedance))}, EffectivePermittivity: num(k * k), PhaseRadPerM: num(beta), DelaySPerM: num(beta / (2 * math.Pi * f)),
				AttenuationDBPerM: num(real(m.Gamma) * units.DecibelsPerNeper), ConductorDBPerM: num(m.Conductor * units.DecibelsPerNeper), DielectricDBPerM: num(m.Dielectric * units.DecibelsPerNeper), RoughnessFactor: num(m.Roughness)})
		}
		doc.At = append(doc.At, at)
		for _, w := range l.Warnings {
			if key := w.Model + w.Quantity; !seen[key] {
				seen[key] = true
				doc.Warnings = append(doc.Warnings, LineWarning{Text: w.Error(), Model: w.Model, Quantity: w.Quantity, Value: num(w.Value), Low: num(w.Low), High: num(w.High), Effect: w.Effect, FromHz: num(f), ToHz: num(frequency[len(frequency)-1])})
			}
		}
	}
	return doc
}

func matrix(m *mat.SymDense) [][]*float64 {
	n := m.SymmetricDim()
	out := make([][]*float64, n)
	for i := range out {
		for j := range n {
			out[i] = append(out[i], num(m.At(i, j)))
		}
	}
	return out
}

func row(xs []float64) []*float64 {
	out := []*float64{}
	for _, x := range xs {
		out = append(out, num(x))
	}
	return out
}
