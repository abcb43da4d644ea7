package field

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"

	"linewright/app/workspace"
	"linewright/hardware/chain"
	"linewright/physics/fdtd"
	"linewright/physics/material"
	"linewright/physics/network"
	"linewright/physics/touchstone"
	"linewright/physics/units"
)

// passive is how far a lossless structure's S-parameters may exceed power
// balance on a grid before its model says that it is not passive.
const passive = 1e-3

// Refer returns the S-parameters with the tem ports referred to z ohms; modes of
// hollow guides keep their own waves.
func Refer(s workspace.Structure, n network.Network, z float64) (network.Network, error) {
	refs := append([]complex128(nil), n.Reference...)
	for i, p := range s.Model.Ports {
		if p.Mode == fdtd.TEM {
			refs[i] = complex(z, 0)
		}
	}
	return n.Renormalise(refs...)
}

// Metal says how metal counts in a structure.
func Metal(s workspace.Structure) string {
	m := s.File.Metal
	if m == nil {
		return "perfect metal"
	}
	what := "smooth"
	if m.Roughness > 0 {
		what = fmt.Sprintf("rms roughness %v", m.Roughness)
	}
	sigma := m.Conductivity
	if sigma == 0 {
		sigma = material.AnnealedCopper
	}
	return fmt.Sprintf("metal of %v, %s, its loss to first order", sigma, what)
}

func lossless(s workspace.Structure) string {
	if s.File.Metal == nil {
		return ": no conductor loss"
	}
	return ""
}

// Touchstone writes a solution, with a header that says what it is.
func Touchstone(name string, s workspace.Structure, r Result, n network.Network) ([]byte, error) {
	f, err := touchstone.FromNetwork(n, touchstone.GHz, touchstone.RI)
	if err != nil {
		return nil, err
	}
	h := touchstone.Header{Title: name, Origin: chain.FieldOrigin + ", finite differences in time", Corner: "nominal", Grid: touchstone.GridOf(n.Frequency), ValidFrom: n.Frequency[0], ValidTo: n.Frequency[len(n.Frequency)-1],
		Limits: Metal(s) + lossless(s), Excludes: []string{"the port lines beyond the reference planes"}}
	for i, p := range s.Model.Ports {
		q := s.File.Ports[i]
		what := "tem"
		if p.Mode == fdtd.TE {
			what = "te10"
			h.Notes = append(h.Notes, fmt.Sprintf("port %d is a hollow guide: its waves are those of the mode itself, whatever reference stands here", i+1))
		}
		title := q.Name
		if title == "" {
			title = fmt.Sprintf("port %d", i+1)
		}
		h.Ports = append(h.Ports, touchstone.PortPlane{Name: fmt.Sprintf("%s, %s", title, what), Plane: fmt.Sprintf("%c = %v", "xyz"[int(p.Side)/2], units.Length(p.Plane))})
		h.Reference = append(h.Reference, real(n.Reference[i]))
	}
	for _, o := range s.Model.Solids {
		h.Contains = append(h.Contains, o.Name)
	}
	last := r.Grids[len(r.Grids)-1]
	h.Notes = append(h.Notes, fmt.Sprintf("%d cells, %.3g to the shortest wavelength; %d steps; energy left %.1g of its peak", last.Cells, last.CellsPerWave, last.Steps, r.EnergyLeft))
	if r.Error == r.Error {
		h.Notes = append(h.Notes, fmt.Sprintf("estimated error of any S-parameter %.1g, from %d grids", r.Error, len(r.Grids)))
	} else {
		h.Notes = append(h.Notes, "one grid: the error of the S-parameters is not estimated")
	}
	pass, rec := n.Passivity(), n.Reciprocity()
	h.Passivity = check(pass.Value-1, pass.Value, pass.Frequency, "largest singular value")
	h.Reciprocity = check(rec.Value, rec.Value, rec.Frequency, "largest |S21 - S12|")
	f.Comments = append(h.Comments(), f.Comments...)
	var b bytes.Buffer
	if err := f.Write(&b, touchstone.WriteOptions{}); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func check(excess, figure, at float64, what string) touchstone.Check {
	c := touchstone.Check{Verdict: touchstone.NotMet, Figure: figure, Note: fmt.Sprintf("%s, tolerance %g", what, passive)}
	if excess <= passive {
		c.Verdict = touchstone.Met
	}
	if at == at {
		c.At = at
	}
	return c
}

// FileName says how the Touchstone file of a number of ports must end, if name
// does not end so.
func FileName(name string, ports int) (want string, ok bool) {
	want = fmt.Sprintf(".s%dp", ports)
	ext := filepath.Ext(name)
	return want, strings.EqualFold(ext, want) || strings.EqualFold(ext, ".ts")
}
