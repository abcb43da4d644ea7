package launch

import (
	"errors"
	"fmt"
	"math"

	"linewright/hardware/board"
	"linewright/physics/line"
	"linewright/physics/network"
)

// EstimateStep is how an [Estimated] launch is to be named wherever it is
// shown.
const EstimateStep = "closed formula, trend only"

// Estimated is a launch as a row of closed-form pieces.
type Estimated struct {
	// Network is the two-port from the connector (port 0) to the board's line
	// (port 1), 50 Ω both. It has no loss: what the launch dissipates or
	// radiates no closed formula says.
	Network network.Network
	// Bound is the largest |S11| and |S22| at each frequency that the pieces
	// can add up to, each at its pessimistic value and every phase at its
	// worst. It bounds this model, not the launch.
	Bound []float64
	// ModeFree is the frequency, in Hz, from which the via ring carries
	// another mode; NaN when it is not known. Nothing here holds above it.
	ModeFree float64
	Pieces   []Piece
	LeftOut  []string
	Step     string // EstimateStep
}

// Piece is one closed-form piece of an estimate.
type Piece struct {
	Name  string
	Basis string  // formula and source
	Value float64 // in Unit
	High  float64 // pessimistic, in Unit; Value where no bracket is published
	Unit  string
}

// ErrNothing says that an estimate has no piece to work with.
var ErrNothing = errors.New("no piece of the launch is known")

// Estimate returns in as a two-port at the frequencies f, in Hz, strictly
// increasing, from closed formulas:
//
//   - the pad as a short microstrip between connector and via or line;
//   - the via as a coaxial line in its antipad or ring, or, without either, as
//     a series inductance [goldfarb1991];
//   - each via pad as the capacity of [johnson1993] over the copper's
//     thickness, pessimistically over the whole length less the barrel's own;
//   - the stub as an open line.
//
// Radiation, the currents' way through the planes, solder and the connector's
// own end are not in it: it tells which way a change goes, not where the launch
// ends up.
func Estimate(in Input, f []float64) (Estimated, error) {
	e := Estimated{ModeFree: math.NaN(), Step: EstimateStep}
	if len(f) == 0 {
		return e, errors.New("no frequencies are given")
	}
	c := &checker{in: in, facts: in.facts(), f: f[len(f)-1]}
	if !known(c.er) {
		return e, fmt.Errorf("%w: the permittivity of the board is not stated", ErrNothing)
	}
	ring, _ := in.ring()
	e.ModeFree = in.modeFree(c.er)

	var parts []network.Network
	var worst [][]float64 // per piece, per frequency
	add := func(p Piece, n, high network.Network) {
		r := make([]float64, len(f))
		for k := range f {
			r[k] = math.Max(abs(n.At(k, 0, 0)), abs(high.At(k, 0, 0)))
		}
		e.Pieces, parts, worst = append(e.Pieces, p), append(parts, n), append(worst, r)
	}
	section := func(z, l, er float64) network.Network {
		return network.Line(f, z0, func(f float64) (complex128, complex128) {
			return complex(0, 2*math.Pi*f*l*math.Sqrt(er)/line.C0), complex(z, 0)
		})
	}
	shunt := func(farad float64) network.Network {
		return network.Shunt(f, z0, func(f float64) complex128 { return complex(0, 2*math.Pi*f*farad) })
	}

	if s, l, ok := c.padLine(); ok {
		n := section(s.Impedance, l, s.EffectivePermittivity)
		add(Piece{"pad", "microstrip [hammerstad1980], " + length(l) + " long", s.Impedance, s.Impedance, "Ω"}, n, n)
	} else {
		e.LeftOut = append(e.LeftOut, "the pad: its size or its ground is not stated")
	}

	if v := in.Via; c.in.signalVia() {
		d, l := value(v.Drill), value(v.Length)
		pad, anti := v.tightest()
		opening := anti
		if math.IsNaN(opening) {
			opening = ring
		}
		pads := 0.0
		if known(pad, anti, l, d) && anti > pad {
			count := 2
			if v.Pads != nil {
				count = *v.Pads
			}
			const copper = 35e-6 // m, of a usual outer layer
			pads = float64(count) * board.ViaCapacitanceTrend(c.er, copper, pad, anti)
			barrelsOwn := 2 * math.Pi * line.Eps0 * c.er * l / math.Log(anti/d)
			high := math.Max(pads, board.ViaCapacitanceTrend(c.er, l, pad, anti)-barrelsOwn)
			add(Piece{"via pads", fmt.Sprintf("%d pads of 35 µm copper [johnson1993]; at most over the whole via", count), pads * 1e15, high * 1e15, "fF"}, shunt(pads), shunt(high))
		}
		switch {
		case known(d, l, opening) && opening > d:
			z := board.ViaImpedance(d, opening, c.er)
			n := section(z, l, c.er)
			add(Piece{"via", "coaxial line in its clearance, " + length(l) + " long", z, z, "Ω"}, n, n)
		case known(d, l):
			henry := board.ViaInductance(l, d)
			n := network.Series(f, z0, func(f float64) complex128 { return complex(0, 2*math.Pi*f*henry) })
			add(Piece{"via", "series inductance [goldfarb1991]", henry * 1e12, henry * 1e12, "pH"}, n, n)
		default:
			e.LeftOut = append(e.LeftOut, "the via: its drill or length is not stated")
		}
		if stub := value(v.Stub); known(stub, d) && stub > 0 {
			z, ere := float64(z0), math.Max(4, c.er)
			if known(opening) && opening > d {
				z = board.ViaImpedance(d, opening, c.er)
			}
			if x := number(v.Effective); known(x) {
				ere = x
			}
			n := network.Shunt(f, z0, func(f float64) complex128 {
				return complex(0, math.Tan(2*math.Pi*f*stub*math.Sqrt(ere)/line.C0)/z)
			})
			add(Piece{"stub", fmt.Sprintf("open line of %.3g Ω, effective permittivity %.3g", z, ere), stub * 1e3, stub * 1e3, "mm"}, n, n)
		}
	}
	if len(parts) == 0 {
		return e, fmt.Errorf("%w: give the pad's length, width and ground, or the via's drill and length", ErrNothing)
	}
	e.LeftOut = append(e.LeftOut, "loss, radiation, waves between the planes, solder, the end of the connector")
	n, err := network.Cascade(parts...)
	if err != nil {
		return e, err
	}
	e.Network = n
	e.Bound = make([]float64, len(f))
	for k := range f {
		for _, r := range worst {
			e.Bound[k] += r[k]
		}
		e.Bound[k] = math.Min(1, e.Bound[k])
	}
	return e, nil
}

// modeFree is the limit of the via ring, in Hz; NaN when it is not known.
func (in Input) modeFree(er float64) float64 {
	ring, _ := in.ring()
	barrel, _ := in.barrel()
	if !known(ring, barrel) {
		return math.NaN()
	}
	f, _ := RingModeLimit(ring, barrel, er)
	return f
}

// ModeFreeLimit returns the frequency, in Hz, from which the launch's via ring
// carries another mode: see [RingModeLimit]. NaN when ring, barrel or
// permittivity is not known.
func (in Input) ModeFreeLimit() float64 { return in.modeFree(in.facts().er) }

func abs(z complex128) float64 { return math.Hypot(real(z), imag(z)) }
