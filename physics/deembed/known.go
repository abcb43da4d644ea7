package deembed

import (
	"math"
	"math/cmplx"

	"linewright/physics/network"
	"linewright/physics/timedomain"
)

// A Fixture is what stands between the analyser and the part. A side without
// ports is bare: the part's port is the analyser's.
type Fixture struct {
	Left, Right network.Network
}

// A Removal is what is left when the fixture is taken off, and how far to trust it.
type Removal struct {
	Network network.Network

	// Growth is by how much an error of the measurement, in S21, grows at each frequency:
	// 1/|S21| of both fixtures multiplied. In S11 it grows by 1/|S21|² of the left one.
	Growth []float64

	// Passivity is the largest singular value of what is left: what is above 1 is error of
	// fixtures or measurement.
	Passivity network.Deviation

	// Early is, per port, the share of the reflected energy that comes before time
	// zero: that of a fixture longer, or otherwise arranged, than what is there. NaN when
	// the sweep does not reach down to a few steps from 0 Hz.
	Early [2]float64

	// Turned names the sides whose fixture, turned about, leaves ten times less Early
	// energy: port order is then to be checked. Empty also when Early is not known.
	Turned []string
}

// earlyFloor is the share of early energy below which nothing is suspected: what
// window, noise and the continuation to 0 Hz leave of a good removal.
const earlyFloor = 2e-3

// Remove takes the fixture off a measured two-port.
//
// Source: inverse of the cascade, [network.Deembed]; the judgement by early energy
// is ours, tested in TestTurnedFixture.
func (f Fixture) Remove(whole network.Network) (Removal, error) {
	const op = "removal"
	left, right, err := f.sides(op, whole)
	if err != nil {
		return Removal{}, err
	}
	n, err := network.Deembed(whole, left, right)
	if err != nil {
		return Removal{}, err
	}
	r := Removal{Network: n, Growth: make([]float64, len(n.Frequency)), Passivity: n.Passivity()}
	for k := range r.Growth {
		r.Growth[k] = 1 / cmplx.Abs(left.At(k, 1, 0)*right.At(k, 1, 0))
	}
	for i := range 2 {
		r.Early[i] = early(n, i)
	}
	if math.IsNaN(r.Early[0]) || math.IsNaN(r.Early[1]) {
		return r, nil
	}
	turn := func(x network.Network) network.Network {
		y, _ := x.Reorder(1, 0)
		y.Reference = x.Reference // the planes stay what they are
		return y
	}
	for i, side := range []struct {
		name string
		bare bool
	}{{"left", f.Left.Ports == 0}, {"right", f.Right.Ports == 0}} {
		if side.bare || r.Early[i] < earlyFloor {
			continue
		}
		l, g := left, right
		if i == 0 {
			l = turn(l)
		} else {
			g = turn(g)
		}
		if m, err := network.Deembed(whole, l, g); err == nil && early(m, i) < r.Early[i]/10 {
			r.Turned = append(r.Turned, side.name)
		}
	}
	return r, nil
}

// sides checks that the fixture fits the measurement, and makes a bare side a plain
// connection.
func (f Fixture) sides(op string, whole network.Network) (left, right network.Network, err error) {
	if err := whole.Check(); err != nil {
		return left, right, err
	}
	if whole.Ports != 2 {
		return left, right, fault(op, network.ErrShape, "choose two ports with Reorder", "the measurement has %d ports", whole.Ports)
	}
	left, right = f.Left, f.Right
	if left.Ports == 0 {
		left = plain(whole.Frequency, whole.Reference[0], false)
	}
	if right.Ports == 0 {
		right = plain(whole.Frequency, whole.Reference[1], true)
	}
	for i, side := range []network.Network{left, right} {
		name := []string{"left", "right"}[i]
		if side.Ports != 2 {
			return left, right, fault(op, network.ErrShape, "give a two-port", "the %s fixture has %d ports", name, side.Ports)
		}
		if err := side.Check(); err != nil {
			return left, right, err
		}
		if side.Reference[i] != whole.Reference[i] {
			return left, right, fault(op, ErrReferences, "renormalise one of them, or check which port of the fixture is outside",
				"the %s fixture's outer port is referred to %v Ω, the measurement's port %d to %v Ω", name, side.Reference[i], i+1, whole.Reference[i])
		}
	}
	return left, right, nil
}

// plain is a connection that changes nothing: its inner reference is the conjugate
// of the outer one, z.
func plain(frequency []float64, z complex128, outerRight bool) network.Network {
	n := network.New(2, frequency, z)
	inner := 1
	if outerRight {
		inner = 0
	}
	n.Reference[inner] = cmplx.Conj(z)
	for k := range frequency {
		n.Set(k, 0, 1, 1)
		n.Set(k, 1, 0, 1)
	}
	return n
}

// early returns the share of the energy of S_ii's impulse response before time zero,
// less what the window spreads there.
func early(n network.Network, i int) float64 {
	z := n
	z.Reference = []complex128{complex(real(n.Reference[0]), 0), complex(real(n.Reference[1]), 0)}
	s, err := timedomain.Of(z, i, i, timedomain.DC{})
	if len(s.S) == 0 || err != nil && len(s.S) < 16 {
		return math.NaN()
	}
	h := s.Impulse(timedomain.Options{Lead: 0.5 / s.Step, Window: timedomain.Kaiser(6)})
	guard := -2 / s.Stop()
	var before, all float64
	for k, v := range h.Value {
		all += v * v
		if h.Time(k) < guard {
			before += v * v
		}
	}
	if all == 0 {
		return 0
	}
	return before / all
}
