package wire

import (
	"fmt"
	"math"

	"linewright/app/field"
	"linewright/app/workspace"
	"linewright/physics/fdtd"
	"linewright/physics/network"
	"linewright/physics/units"
)

// FieldSolution is a field solution in three dimensions; its fields are a documented
// contract. What was only planned has no steps, seconds and points.
type FieldSolution struct {
	Field                string      `json:"field"`
	Model                string      `json:"model"`
	Plan                 FieldPlan   `json:"plan"`
	Cells                int         `json:"cells"` // of the last grid
	Steps                int         `json:"steps"`
	Seconds              *float64    `json:"seconds"`
	CellUpdatesPerSecond *float64    `json:"cell_updates_per_second"`
	EnergyLeft           *float64    `json:"energy_left"` // as a part of the peak
	EstimatedError       *float64    `json:"estimated_error"`
	Grids                []FieldGrid `json:"grids"`
	Ports                []FieldPort `json:"ports"`
	Warnings             []string    `json:"warnings"`
	At                   []BodyPoint `json:"at"`
	Resumed              bool        `json:"resumed"`
	Touchstone           string      `json:"touchstone"`
	Plot                 string      `json:"plot,omitempty"`
	Slices               []string    `json:"slices,omitempty"` // files of pictures
}

// FieldPlan is what was known before anything was computed.
type FieldPlan struct {
	Cells         [3]int   `json:"cells_along_axes"`
	MemoryBytes   *float64 `json:"memory_bytes"`
	FreeBytes     *float64 `json:"free_memory_bytes"`
	TimeStepS     *float64 `json:"time_step_s"`
	Runs          int      `json:"runs"`
	LeastSteps    int      `json:"steps_of_a_run_at_least"`
	MostSteps     int      `json:"steps_of_a_run_at_most"`
	LeastSeconds  *float64 `json:"seconds_at_least"`
	MostSeconds   *float64 `json:"seconds_at_most"`
	SmallestCellM *float64 `json:"smallest_cell_m"`
	Why           string   `json:"why"`
}

// FieldGrid is one of the grids that were solved.
type FieldGrid struct {
	CellsPerWave *float64 `json:"cells_per_wave"`
	Cells        int      `json:"cells"`
	Steps        int      `json:"steps"`
	Change       *float64 `json:"change"` // largest of any S-parameter against the grid before; null on the first
}

// FieldPort is one port: one wave of a place where a line leaves, which has several
// where it has several conductors or modes.
type FieldPort struct {
	Name                  string   `json:"name"`
	Side                  string   `json:"side"`
	Mode                  string   `json:"mode"`
	CutoffHz              *float64 `json:"cutoff_hz"` // null: none
	PlaneM                *float64 `json:"plane_m"`
	ImpedanceOhm          *float64 `json:"impedance_ohm"` // of the line in the region on the grid, at mid-band
	ReferenceOhm          *float64 `json:"reference_ohm"` // that the S-parameters are referred to; null: the mode's own wave
	EffectivePermittivity *float64 `json:"effective_permittivity"`
}

func fieldModel(s workspace.Structure) string {
	return "Maxwell's equations in time on a staggered grid; " + field.Metal(s) + ", cells cut by metal kept conformal"
}

// NewFieldPlan shapes what is known beforehand.
func NewFieldPlan(name string, s workspace.Structure, p field.Plan) FieldSolution {
	doc := FieldSolution{Field: name, Model: fieldModel(s), Cells: int(p.Total), Grids: []FieldGrid{}, Ports: []FieldPort{}, Warnings: []string{}, At: []BodyPoint{}}
	least := math.Min(p.Smallest[0], math.Min(p.Smallest[1], p.Smallest[2]))
	doc.Plan = FieldPlan{Cells: p.Cells, MemoryBytes: num(p.Bytes), TimeStepS: num(p.TimeStep), Runs: p.Runs, LeastSteps: p.LeastSteps, MostSteps: p.MostSteps,
		LeastSeconds: num(p.Seconds * float64(p.Runs)), MostSeconds: num(p.MostSeconds), SmallestCellM: num(least), Why: p.Why}
	if p.FreeBytes > 0 {
		doc.Plan.FreeBytes = num(p.FreeBytes)
	}
	var waves []fdtd.Wave // as far as they are known
	for i, q := range s.Model.Ports {
		for k := range q.Waves() {
			w := fdtd.Wave{Port: i, Signal: -1, Mode: q.Mode}
			if k < len(q.Signals) {
				w.Signal = k
			}
			waves = append(waves, w)
		}
	}
	doc.Ports = fieldPorts(s, waves)
	return doc
}

func fieldPorts(s workspace.Structure, waves []fdtd.Wave) []FieldPort {
	out := []FieldPort{}
	for i, w := range waves {
		p := FieldPort{Side: string(s.File.Ports[w.Port].Side), PlaneM: num(s.Model.Ports[w.Port].Plane)}
		p.Name, p.Mode = field.Wave(s, waves, i)
		if w.Cutoff > 0 {
			p.CutoffHz = num(w.Cutoff)
		}
		out = append(out, p)
	}
	return out
}

// Survey adds what the grid says of the ports and their modes.
func (d *FieldSolution) Survey(s workspace.Structure, r *fdtd.Result) {
	d.Ports = fieldPorts(s, r.Waves)
	for i, w := range r.Waves {
		d.Ports[i].EffectivePermittivity = num(r.Effective[i])
		if w.Mode == fdtd.TEM {
			d.Ports[i].ImpedanceOhm = num(real(w.Middle))
		}
	}
	d.Warnings = append(d.Warnings, r.Notes...)
}

// NewField shapes a solution. n holds its S-parameters as they are to be shown.
func NewField(name string, s workspace.Structure, p field.Plan, r field.Result, n network.Network, points bool) FieldSolution {
	doc := NewFieldPlan(name, s, p)
	doc.Cells, doc.Seconds, doc.CellUpdatesPerSecond, doc.EnergyLeft, doc.EstimatedError, doc.Resumed = r.Cells, num(r.Seconds), num(r.Speed), num(r.EnergyLeft), num(r.Error), r.Resumed
	for i, g := range r.Grids {
		doc.Steps += g.Steps
		x := FieldGrid{CellsPerWave: num(g.CellsPerWave), Cells: g.Cells, Steps: g.Steps, Change: num(g.Change)}
		if i == 0 {
			x.Change = nil
		}
		doc.Grids = append(doc.Grids, x)
	}
	doc.Survey(s, r.Result)
	for i, w := range r.Waves {
		if w.Mode == fdtd.TEM {
			doc.Ports[i].ReferenceOhm = num(real(n.Reference[i]))
		}
	}
	target := s.Options.EnergyLeft
	if target == 0 {
		target = 1e-8
	}
	if r.EnergyLeft > target*1.001 {
		doc.Warnings = append(doc.Warnings, fmt.Sprintf("the run ended at its last step with energy only %.0f dB below the peak: narrow resonances are not resolved; allow more steps under stop:", -10*math.Log10(r.EnergyLeft)))
	}
	if r.Unmet != "" {
		doc.Warnings = append(doc.Warnings, "the accuracy was not reached: "+r.Unmet)
	}
	if f, gain, active := r.Active(); active {
		doc.Warnings = append(doc.Warnings, fmt.Sprintf("not to be used: at %v more comes out than goes in, by a factor of %.3g, and nothing here amplifies; begin the band: above the cutoff of every port's guide, or take a finer grid", units.Frequency(f), gain))
	}
	if points {
		doc.At = sPoints(n)
	}
	return doc
}
