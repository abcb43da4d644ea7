package wire

import (
	"fmt"
	"math"
	"strings"

	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/units"
)

// Complex is a complex number.
type Complex struct {
	Re *float64 `json:"re"`
	Im *float64 `json:"im"`
}

// Line is a line for machines; its fields are a documented contract.
type Line struct {
	Line                        string             `json:"line"`
	Model                       string             `json:"model"`
	Metal                       string             `json:"metal"`
	StaticImpedanceOhm          *float64           `json:"static_impedance_ohm"`
	StaticEffectivePermittivity *float64           `json:"static_effective_permittivity"`
	ModeFreeLimitHz             *float64           `json:"mode_free_limit_hz"`
	Modes                       []LineMode         `json:"modes"`
	Solved                      map[string]float64 `json:"solved"`
	Warnings                    []LineWarning      `json:"warnings"`
	At                          []LinePoint        `json:"at"`
	Plot                        string             `json:"plot,omitempty"`
}

// LineMode is a higher mode.
type LineMode struct {
	Mode     string   `json:"mode"`
	CutoffHz *float64 `json:"cutoff_hz"`
}

// LineWarning says that a value lies outside the range its source vouches for.
type LineWarning struct {
	Text     string   `json:"text"`
	Model    string   `json:"model"`
	Quantity string   `json:"quantity"`
	Value    *float64 `json:"value"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
	Effect   string   `json:"effect"`
	FromHz   *float64 `json:"from_hz"` // lowest and highest frequency asked for at which it holds; null: at any
	ToHz     *float64 `json:"to_hz"`
}

// LinePoint is a line at one frequency.
type LinePoint struct {
	FrequencyHz           float64  `json:"frequency_hz"`
	ImpedanceOhm          Complex  `json:"impedance_ohm"`
	EffectivePermittivity *float64 `json:"effective_permittivity"`
	PhaseRadPerM          *float64 `json:"phase_rad_per_m"`
	DelaySPerM            *float64 `json:"delay_s_per_m"`
	AttenuationDBPerM     *float64 `json:"attenuation_db_per_m"`
	ConductorDBPerM       *float64 `json:"conductor_db_per_m"`
	DielectricDBPerM      *float64 `json:"dielectric_db_per_m"`
	RoughnessFactor       *float64 `json:"roughness_factor"`
	ModeFree              bool     `json:"mode_free"`
}

// NewLine computes line x of the named kind at each frequency, in Hz. solved is
// the parameter that was solved for, if any, and value what it became.
func NewLine(kind string, x line.Line, solved line.Parameter, value float64, frequency []float64) (Line, []line.Point, error) {
	if err := x.Check(); err != nil {
		return Line{}, nil, err
	}
	ready, err := line.Prepare(x)
	if err != nil {
		return Line{}, nil, err
	}
	static := ready.Static()
	doc := Line{Line: kind, Model: ready.Model(), Metal: metalNote(x), StaticImpedanceOhm: num(static.Impedance), StaticEffectivePermittivity: num(static.EffectivePermittivity),
		Modes: []LineMode{}, Solved: map[string]float64{}, Warnings: []LineWarning{}, At: []LinePoint{}}
	limit := line.ModeFreeLimit(ready)
	doc.ModeFreeLimitHz = num(limit)
	for _, m := range ready.Modes() {
		doc.Modes = append(doc.Modes, LineMode{m.Name, num(m.Cutoff)})
	}
	if solved != "" {
		key := strings.ReplaceAll(string(solved), " ", "_")
		if solved != line.Permittivity {
			key += "_m"
		}
		doc.Solved[key] = value
	}
	var points []line.Point
	for _, f := range frequency {
		p := ready.At(f)
		points = append(points, p)
		doc.At = append(doc.At, LinePoint{FrequencyHz: f, ImpedanceOhm: Complex{num(real(p.Impedance)), num(imag(p.Impedance))},
			EffectivePermittivity: num(p.EffectivePermittivity()), PhaseRadPerM: num(imag(p.Gamma)), DelaySPerM: num(p.Delay()),
			AttenuationDBPerM: num(real(p.Gamma) * units.DecibelsPerNeper), ConductorDBPerM: num(p.Conductor * units.DecibelsPerNeper), DielectricDBPerM: num(p.Dielectric * units.DecibelsPerNeper),
			RoughnessFactor: num(p.Roughness), ModeFree: f < limit})
	}
	doc.Warnings = gatherWarnings(ready, frequency)
	return doc, points, nil
}

// metalNote says which metal the losses belong to.
func metalNote(x line.Line) string {
	say := func(c material.Conductor) string {
		s := "annealed copper, 58 MS/m at 20 °C (IEC 60028)"
		if c.Conductivity != 0 {
			s = units.Conductivity(c.Conductivity).String() + " at 20 °C, as given"
		}
		if c.Roughness.Smooth() {
			return s + ", smooth"
		}
		if c.Roughness.Model == material.Cannonball {
			return fmt.Sprintf("%s, Rz %v after %v", s, units.Length(c.Roughness.Rz), c.Roughness.Model)
		}
		return fmt.Sprintf("%s, %v rms after %v", s, units.Length(c.Roughness.RMS), c.Roughness.Model)
	}
	switch y := x.(type) {
	case line.Coax:
		if a, b := say(y.Inner), say(y.Outer); a != b {
			return "inner " + a + "; outer " + b
		}
		return say(y.Inner)
	case line.Microstrip:
		return say(y.Metal)
	case line.Stripline:
		return say(y.Metal)
	case line.Coplanar:
		return say(y.Metal)
	}
	return ""
}

// gatherWarnings lists each warning once, with the frequencies it holds for
// and its value farthest from the range.
func gatherWarnings(l line.Line, frequency []float64) []LineWarning {
	out := []LineWarning{}
	at := map[string]int{}
	add := func(w line.Warning, f float64) {
		key := w.Model + "\x00" + w.Quantity
		i, seen := at[key]
		if !seen {
			at[key] = len(out)
			d := LineWarning{Text: w.Error(), Model: w.Model, Quantity: w.Quantity, Value: num(w.Value), Low: num(w.Low), High: num(w.High), Effect: w.Effect}
			if f > 0 {
				d.FromHz, d.ToHz = num(f), num(f)
			}
			out = append(out, d)
			return
		}
		d := &out[i]
		if d.FromHz != nil {
			d.FromHz, d.ToHz = num(math.Min(*d.FromHz, f)), num(math.Max(*d.ToHz, f))
		}
		outside := func(x float64) float64 { return math.Max(w.Low-x, x-w.High) }
		if d.Value != nil && outside(w.Value) > outside(*d.Value) {
			d.Value, d.Text = num(w.Value), w.Error()
		}
	}
	if _, coax := l.(line.Coax); len(frequency) == 0 && !coax { // those of the cross-section alone; coax has none
		for _, w := range l.Warnings(0) {
			add(w, 0)
		}
	}
	for _, f := range frequency {
		for _, w := range l.Warnings(f) {
			add(w, f)
		}
	}
	return out
}
