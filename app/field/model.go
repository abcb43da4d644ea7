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

// Refer returns the S-parameters with every wave between conductors referred to z
// ohms; 0: a wave of one line to that line's impedance at mid-band, conductors of
// a port to the port's own reference. Modes with a cutoff keep their own waves.
func Refer(r *fdtd.Result, z float64) (network.Network, error) {
	n := r.Network
	to := append([]complex128(nil), n.Reference...)
	for i, w := range r.Waves {
		if w.Mode == fdtd.TEM && z > 0 {
			to[i] = complex(z, 0)
		}
	}
	out := network.New(n.Ports, n.Frequency, 1)
	copy(out.Reference, to)
	size := n.Ports * n.Ports
	for k := range n.Frequency { // the solver's references follow the frequency
		one := network.New(n.Ports, n.Frequency[k:k+1], 1)
		copy(one.S, n.S[k*size:(k+1)*size])
		for i, w := range r.Waves {
			one.Reference[i] = to[i]
			if w.Mode == fdtd.TEM {
				one.Reference[i] = r.Impedance[i][k]
			}
		}
		one, err := one.Renormalise(to...)
		if err != nil {
			return network.Network{}, err
		}
		copy(out.S[k*size:], one.S)
	}
	return out, nil
}

// Wave names a row of S: its port, and which of the port's waves it is where it has
// several; mode is in the file's words.
func Wave(s workspace.Structure, waves []fdtd.Wave, i int) (name, mode string) {
	w := waves[i]
	name = s.File.Ports[w.Port].Name
	if name == "" {
		name = fmt.Sprintf("port %d", w.Port+1)
	}
	mode = strings.ToLower(w.Mode.String())
	port := s.Model.Ports[w.Port]
	if port.Mode == fdtd.TE && port.Waves() == 1 {
		return name, "te10"
	}
	switch {
	case w.Signal >= 0:
		name += fmt.Sprintf(", conductor %d", w.Signal+1)
	case port.Waves() > 1:
		first := i
		for first > 0 && waves[first-1].Port == w.Port {
			first--
		}
		name += fmt.Sprintf(", mode %d", i-first+1)
	}
	return name, mode
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
	for i, w := range r.Waves {
		p := s.Model.Ports[w.Port]
		name, what := Wave(s, r.Waves, i)
		if w.Mode != fdtd.TEM {
			h.Notes = append(h.Notes, fmt.Sprintf("port %d is a mode with a cutoff, at %v: its waves are those of the mode itself, whatever reference stands here", i+1, units.Frequency(w.Cutoff)))
		}
		h.Ports = append(h.Ports, touchstone.PortPlane{Name: name + ", " + what, Plane: fmt.Sprintf("%c = %v", "xyz"[int(p.Side)/2], units.Length(p.Plane))})
		h.Reference = append(h.Reference, real(n.Reference[i]))
	}
	h.Notes = append(h.Notes, r.Notes...)
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
