package fdtd

import (
	"fmt"
	"math"
)

// A section is one mode of a port on the grid. Places are of the port's plane.
type section struct {
	port     Port
	number   int  // of the port in the model
	kind     Mode // TEM, TE or TM; with a filling that is not uniform, what the mode is at rest or at its cutoff
	axis     int
	sign     float64 // +1: the device lies towards higher coordinates
	source   int     // plane of the source
	plane    int     // plane of the voltage
	u, v     int
	e, h     [2]map[[2]int]float64 // by component u, v: profiles of E and of the H across it
	kc2      float64               // 1/m², of the grid
	eps      float64               // effective permittivity of the mode at rest; of a TE or TM mode, of the filling
	geom     float64               // ∫E×H of the profiles: C/ε0 of the empty line (TEM); 1 (TE, TM)
	share    []float64             // of the mode's current on the port's signal conductors, of length 1 (TEM)
	spacing  float64
	patterns []pattern // over the band, that of rest first (TEM); none: the same at every frequency
}

// sections finds the modes of a port: those of its signal conductors, then the ones
// with the lowest cutoffs.
func (g *grid) sections(number int) (modes []*section, notes []string, err error) {
	p := g.model.Ports[number]
	a := int(p.Side) / 2
	s := section{port: p, number: number, axis: a, u: (a + 1) % 3, v: (a + 2) % 3, sign: 1, eps: 1, geom: 1}
	if int(p.Side)%2 == 0 {
		s.source = g.layers[a][0] + 1
		s.plane = s.source + 2
	} else {
		s.sign = -1
		s.source = g.n[a] - g.layers[a][1] - 1
		s.plane = s.source - 2
	}
	if s.plane < 1 || s.plane > g.n[a]-1 {
		return nil, nil, fmt.Errorf("fdtd: port %s has less than 4 cells of line before it: make the region longer there", p.Name)
	}
	s.spacing = g.d[a][s.plane]
	for _, i := range []int{s.plane - 1, s.plane} {
		if math.Abs(g.d[a][i]/s.spacing-1) > 1e-9 {
			return nil, nil, fmt.Errorf("fdtd: the cells about port %s are of unequal length along its line: keep 6 equal ones at that side", p.Name)
		}
	}
	x := s.cross(g)
	if p.Mode == TEM {
		if modes, err = s.static(g, x); err != nil {
			return nil, nil, err
		}
	} else if len(x.links) == 0 {
		return nil, nil, fmt.Errorf("fdtd: port %s stands on nothing: its cross-section is all metal; move it to a guide", p.Name)
	}
	return s.above(g, x, modes)
}

func (s *section) node(p [2]int) [3]int {
	var q [3]int
	q[s.axis], q[s.u], q[s.v] = s.plane, p[0], p[1]
	return q
}

// inside says whether an edge or cell at x, y lies in the port's window. The window's
// border is a wall, but for where it lies on a side of the region, whose kind counts.
func (s *section) inside(g *grid, x, y float64) bool {
	w := s.port.Window
	if w == ([2][2]float64{}) {
		return true
	}
	r := g.model.Region
	within := func(a, k int, x float64) bool {
		return (x > w[0][k] || w[0][k] <= r.Low[a]+g.delta) && (x < w[1][k] || w[1][k] >= r.High[a]-g.delta)
	}
	return within(s.u, 0, x) && within(s.v, 1, y)
}

// edge returns free length (part), length and dual size of the edge of
// component c (0 along u) at p.
func (s *section) edge(g *grid, c int, p [2]int) (part, length, across float64) {
	b, o := s.u, s.v
	if c == 1 {
		b, o = o, b
	}
	if p[c] >= g.n[b] {
		return 0, 0, 0
	}
	x := [2]float64{g.at[s.u][p[0]], g.at[s.v][p[1]]}
	x[c] += g.d[b][p[c]] / 2
	if !s.inside(g, x[0], x[1]) {
		return 0, g.d[b][p[c]], g.dual[o][p[1-c]]
	}
	return float64(g.length[b][g.index(s.node(p))]), g.d[b][p[c]], g.dual[o][p[1-c]]
}

// A tap is a weight on a place of the fields.
type tap struct {
	component, index int
	weight           float64
}

// A meter is the taps of a mode's voltage and of its current (its mean about the plane).
type meter struct{ voltage, current []tap }

// taps returns the places and weights of the source current and of the meters, one
// to each of the mode's patterns.
func (s *section) taps(g *grid) (source []tap, meters []meter) {
	axes := [2]int{s.u, s.v}
	shift := (s.source - s.plane) * g.stride[s.axis]
	patterns := s.patterns
	if len(patterns) == 0 {
		patterns = []pattern{{e: s.e, h: s.h, norm: s.geom}}
	}
	for n, m := range patterns {
		var out meter
		for c := range 2 {
			for y := range g.n[s.v] + 1 {
				for x := range g.n[s.u] + 1 {
					p := [2]int{x, y}
					e, ok := m.e[c][p]
					if !ok {
						continue
					}
					part, l, d := s.edge(g, c, p)
					i := g.index(s.node(p))
					if n == 0 {
						source = append(source, tap{axes[c], i + shift, e * part})
					}
					out.voltage = append(out.voltage, tap{axes[c], i, m.h[c][p] * l * d / m.norm}) // the field stored holds the free part
					// e_u h_v − e_v h_u
					w := e * part * l * d / 2
					comp := axes[1]
					if c == 1 {
						w, comp = -w, axes[0]
					}
					out.current = append(out.current, tap{comp, i, w * s.sign}, tap{comp, i - g.stride[s.axis], w * s.sign})
				}
			}
		}
		meters = append(meters, out)
	}
	return source, meters
}

// phase returns the phase per cell of length d, in rad, at frequency f; below
// cutoff it is negative imaginary.
func (s *section) phase(g *grid, f, d float64) complex128 {
	q, _ := s.wave(g, f)
	x := q * d * d / 4
	if x < 0 {
		return complex(0, -2*math.Asinh(math.Sqrt(-x)))
	}
	return complex(2*math.Asin(math.Min(1, math.Sqrt(x))), 0)
}

// impedance returns V/I of the wave, in Ω.
func (s *section) impedance(g *grid, f float64) complex128 {
	th := s.phase(g, f, s.spacing)
	_, geom := s.wave(g, f)
	z := complex(math.Sqrt(g.turn(f))*c0*mu0*s.spacing/geom, 0)
	if imag(th) != 0 {
		return z / complex(0, -math.Sinh(-imag(th)))
	}
	return z / complex(math.Sin(real(th)), 0)
}

// turn returns (2 sin(ωΔt/2)/(c Δt))², the square of the grid's wave number in vacuum, in 1/m².
func (g *grid) turn(f float64) float64 {
	o := 2 * math.Sin(math.Pi*f*g.dt) / (c0 * g.dt)
	return o * o
}
