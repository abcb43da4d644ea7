package fdtd

import (
	"fmt"
	"math"
	"math/cmplx"

	"linewright/physics/network"
)

// Powers of the cell with which errors fall: 2 where all metal is smooth or its edges are
// straight along the grid, which are corrected; 4/3 at the rims of round metal's ends,
// 1 at those of round sheets.
const (
	Smooth = 2
	Edged  = 4. / 3
	Sheets = 1
)

// Halved returns the model with every cell of the grid that o gives cut in two
// along each axis.
func (m *Model) Halved(o Options) (*Model, error) {
	g, err := m.divide(o)
	if err != nil {
		return nil, err
	}
	fine := *m
	for a := range 3 {
		l := g.at[a][g.layers[a][0] : len(g.at[a])-g.layers[a][1]]
		fine.Lines[a] = append([]float64(nil), l[0])
		for i := 1; i < len(l); i++ {
			fine.Lines[a] = append(fine.Lines[a], (l[i-1]+l[i])/2, l[i])
		}
	}
	return &fine, nil
}

// Extrapolate takes the results of a grid and of its half together: S at cells of
// no size, if the error falls with the given power of the cell, and for each
// frequency what that moved the fine grid's S by most: an estimate of its error, and
// a careful one of what is left.
func Extrapolate(coarse, fine *Result, power float64) (network.Network, []float64, error) {
	c, f := coarse.Network, fine.Network
	if c.Ports != f.Ports || len(c.S) != len(f.S) {
		return network.Network{}, nil, fmt.Errorf("fdtd: the two results have %d and %d ports at %d and %d frequencies: solve the same model at the same frequencies", c.Ports, f.Ports, len(c.Frequency), len(f.Frequency))
	}
	if !(power > 0) {
		return network.Network{}, nil, fmt.Errorf("fdtd: the error cannot fall with the power %g of the cell: choose Smooth, Edged or Sheets", power)
	}
	out := network.New(f.Ports, f.Frequency, 1)
	copy(out.Reference, f.Reference)
	moved := make([]float64, len(f.Frequency))
	w := complex(1/(math.Pow(2, power)-1), 0)
	for i, s := range f.S {
		d := w * (s - c.S[i])
		out.S[i] = s + d
		k := i / (f.Ports * f.Ports)
		moved[k] = max(moved[k], cmplx.Abs(d))
	}
	return out, moved, nil
}
