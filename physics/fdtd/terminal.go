package fdtd

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// A Wave is what a row and a column of S stand for.
type Wave struct {
	Port int // by its place in Model.Ports
	// Signal is the conductor of Port.Signals that the wave is of, by its place there;
	// −1: the wave is of a mode.
	Signal int
	// Mode and Cutoff are of the mode; for conductors, of the mode with the same place
	// among the port's modes, as Result.Effective is. A filling that is not uniform
	// mixes TE and TM: it is then what the mode is at its cutoff.
	Mode   Mode
	Cutoff float64 // Hz; 0: none
	// Own is the mode's impedance over frequency, in Ω.
	Own []complex128
	// Middle is Own at the middle of the band.
	Middle complex128
}

// The conductors of a port in place of its modes. A mode's current stands on the
// conductors as I = U i; that the power is the same makes the voltages V = U⁻ᵀ v.
type conductors struct {
	first     int // of the sections
	modes     []*section
	reference float64 // Ω
}

func (p Port) reference() float64 { return or(p.Reference, 50) }

// conductorWaves returns the ports whose waves are those of conductors.
func (g *grid) conductorWaves(sections []*section) (out []conductors) {
	for i := 0; i < len(sections); {
		s := sections[i]
		n := 1
		if s.kind == TEM && len(s.port.Signals) > 0 {
			n = len(s.port.Signals)
			out = append(out, conductors{i, sections[i : i+n], s.port.reference()})
		}
		i += n
	}
	return out
}

// apply turns the waves of the modes into those of the conductors.
func (c conductors) apply(g *grid, freq []float64, in, out [][]complex128) {
	n := len(c.modes)
	u, back := mat.NewDense(n, n, nil), mat.NewDense(n, n, nil)
	volt, current := make([]complex128, n), make([]complex128, n)
	root := complex(math.Sqrt(c.reference), 0)
	for k, f := range freq {
		for m, s := range c.modes {
			for j, x := range s.shares(f) {
				u.Set(j, m, x)
			}
		}
		if err := back.Inverse(u); err != nil {
			for j := range n {
				in[c.first+j][k], out[c.first+j][k] = cmplx.NaN(), cmplx.NaN()
			}
			continue
		}
		clear(volt)
		clear(current)
		for m, s := range c.modes {
			a, b := in[c.first+m][k], out[c.first+m][k]
			z := cmplx.Sqrt(s.impedance(g, f))
			for j := range n {
				volt[j] += complex(back.At(m, j), 0) * z * (a + b)
				current[j] += complex(u.At(j, m), 0) * (a - b) / z
			}
		}
		for j := range n {
			in[c.first+j][k] = (volt[j]/root + root*current[j]) / 2
			out[c.first+j][k] = (volt[j]/root - root*current[j]) / 2
		}
	}
}

// shares returns how the mode's current stands on the conductors at f.
func (s *section) shares(f float64) []float64 {
	if len(s.patterns) == 0 {
		return s.share
	}
	out := make([]float64, len(s.share))
	for i, w := range s.weights(f) {
		for j, x := range s.patterns[i].share {
			out[j] += w * x
		}
	}
	return out
}

// describe says in the result what wave i is.
func (r *Result) describe(g *grid, s *section, i int, ports []conductors) {
	w := Wave{Port: s.number, Signal: -1, Mode: s.kind}
	if s.kind != TEM {
		w.Cutoff = g.cutoffFrequency(s.kc2 / s.eps)
	}
	for _, f := range r.Network.Frequency {
		w.Own = append(w.Own, s.impedance(g, f))
	}
	own := w.Own
	mid := s.impedance(g, (g.model.Band[0]+g.model.Band[1])/2)
	for _, c := range ports {
		if i < c.first || i >= c.first+len(c.modes) {
			continue
		}
		w.Signal = i - c.first
		mid = complex(c.reference, 0)
		own = make([]complex128, len(own))
		for k := range own {
			own[k] = mid
		}
	}
	w.Middle = s.impedance(g, (g.model.Band[0]+g.model.Band[1])/2)
	r.Network.Reference[i] = complex(math.Max(cmplx.Abs(mid), 1e-9), 0)
	r.Impedance = append(r.Impedance, own)
	r.Effective = append(r.Effective, s.eps)
	r.Waves = append(r.Waves, w)
}
