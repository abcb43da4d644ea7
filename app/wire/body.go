package wire

import (
	"fmt"
	"math"

	"linewright/physics/line"
	"linewright/physics/modematch"
	"linewright/physics/network"
)

// Body is a solved body of revolution; its fields are a documented contract.
type Body struct {
	Body           string         `json:"body"`
	Model          string         `json:"model"`
	Ports          []BodyPort     `json:"ports"`
	Planes         []BodyPlane    `json:"planes"`
	Sections       []BodySection  `json:"sections"`
	ModesUsed      int            `json:"modes_used"`
	EstimatedError *float64       `json:"estimated_error"`
	UnitarityError *float64       `json:"unitarity_error"`
	Warnings       []BodyWarning  `json:"warnings"`
	At             []BodyPoint    `json:"at"`
	Optimised      *BodyOptimised `json:"optimised"`
	Touchstone     string         `json:"touchstone"`
	Plot           string         `json:"plot,omitempty"`
}

// BodyPort is one port. Two ports of one end differ in their mode.
type BodyPort struct {
	End             int        `json:"end"`
	Mode            string     `json:"mode"`
	ImpedanceOhm    *float64   `json:"impedance_ohm"` // of the lossless TEM line; null in a hollow guide
	ReferenceOhm    *float64   `json:"reference_ohm"` // that the S-parameters are referred to; null: the mode's own wave
	CutoffHz        *float64   `json:"cutoff_hz"`     // of this port's mode
	ModeFreeLimitHz *float64   `json:"mode_free_limit_hz"`
	Modes           []LineMode `json:"modes"`
}

// BodyPlane is a change of section. Its static capacitance is that of the plane
// alone; null between hollow guides.
type BodyPlane struct {
	ShuntCapacitanceStaticF *float64 `json:"shunt_capacitance_static_f"`
}

// BodySection is what a section can carry.
type BodySection struct {
	ModeFreeLimitHz *float64   `json:"mode_free_limit_hz"`
	Modes           []LineMode `json:"modes"`
}

// BodyWarning says that a higher mode travels inside the sweep.
type BodyWarning struct {
	Text     string   `json:"text"`
	Section  int      `json:"section"` // from 1
	Mode     string   `json:"mode"`
	CutoffHz *float64 `json:"cutoff_hz"`
	Included bool     `json:"in_the_solution"`
}

// BodyPoint holds the scattering parameters at one frequency, row by row: the
// wave out of port i for a wave into port j is s[i][j].
type BodyPoint struct {
	FrequencyHz float64     `json:"frequency_hz"`
	S           [][]Complex `json:"s"`
}

// BodyOptimised is what an optimisation chose.
type BodyOptimised struct {
	Values      []BodyValue `json:"values"`
	Nominal     *float64    `json:"nominal_over_limit"` // largest reflection over its limit; below 1 the goal is met
	Worst       *float64    `json:"worst_corner_over_limit"`
	Evaluations int         `json:"evaluations"`
	Met         bool        `json:"met"`
}

// BodyValue is a chosen dimension.
type BodyValue struct {
	Name       string  `json:"name"`
	ValueM     float64 `json:"value_m"`
	WorstM     float64 `json:"worst_corner_m"`
	ToleranceM float64 `json:"tolerance_m"`
}

// bodyModel is what a body's numbers rest on.
const bodyModel = "TEM with all TM0n modes, fields matched at every change of section; ideal rotational symmetry"

// NewBody shapes a solved body. n holds its S-parameters as they are to be
// shown, which may be referred to other impedances than those of r. With points
// false they are left out.
func NewBody(name string, r *modematch.Result, n network.Network, points bool) Body {
	doc := Body{Body: name, Model: bodyModel, Ports: []BodyPort{}, Planes: []BodyPlane{}, Sections: []BodySection{}, ModesUsed: r.ModesUsed,
		EstimatedError: num(r.EstimatedError), UnitarityError: num(r.UnitarityError), Warnings: []BodyWarning{}, At: []BodyPoint{}}
	for _, s := range r.Sections {
		doc.Sections = append(doc.Sections, BodySection{num(s.ModeFree), lineModes(s.Modes)})
	}
	for i, p := range r.Ports {
		s := doc.Sections[0]
		if p.End == 2 {
			s = doc.Sections[len(doc.Sections)-1]
		}
		reference := num(math.NaN())
		if p.Mode == "TEM" {
			reference = num(real(n.Reference[i]))
		}
		doc.Ports = append(doc.Ports, BodyPort{End: p.End, Mode: p.Mode, ImpedanceOhm: num(p.Impedance), ReferenceOhm: reference, CutoffHz: num(p.Cutoff), ModeFreeLimitHz: s.ModeFreeLimitHz, Modes: s.Modes})
	}
	for _, p := range r.Planes {
		doc.Planes = append(doc.Planes, BodyPlane{num(p.Capacitance)})
	}
	for _, w := range r.Warnings {
		doc.Warnings = append(doc.Warnings, BodyWarning{w.Error(), w.Section, w.Mode.Name, num(w.Mode.Cutoff), w.Included})
	}
	if points {
		doc.At = sPoints(n)
	}
	return doc
}

// sPoints shapes S-parameters.
func sPoints(n network.Network) []BodyPoint {
	out := []BodyPoint{}
	for k, f := range n.Frequency {
		at := BodyPoint{FrequencyHz: f}
		for i := range n.Ports {
			var row []Complex
			for j := range n.Ports {
				s := n.At(k, i, j)
				row = append(row, Complex{num(real(s)), num(imag(s))})
			}
			at.S = append(at.S, row)
		}
		out = append(out, at)
	}
	return out
}

// NewBodyOptimised shapes the outcome of an optimisation.
func NewBodyOptimised(vs []modematch.Variable, d *modematch.Design) *BodyOptimised {
	out := &BodyOptimised{Values: []BodyValue{}, Nominal: num(d.Nominal), Worst: num(d.Worst), Evaluations: d.Evaluations, Met: d.Worst <= 1}
	for i, v := range vs {
		out.Values = append(out.Values, BodyValue{v.Name, d.Values[i], d.Corner[i], v.Tolerance})
	}
	return out
}

func lineModes(modes []line.Mode) []LineMode {
	out := []LineMode{}
	for _, m := range modes {
		out = append(out, LineMode{m.Name, num(m.Cutoff)})
	}
	return out
}

// Says is the outcome in one line.
func (o BodyOptimised) Says() string {
	if o.Met {
		return fmt.Sprintf("the goal is met: the worst corner reflects %.3g of what is allowed", *o.Worst)
	}
	return fmt.Sprintf("the goal is missed: the worst corner reflects %.3g of what is allowed", *o.Worst)
}
