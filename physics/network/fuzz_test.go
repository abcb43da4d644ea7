package network

import (
	"encoding/binary"
	"math"
	"testing"
)

// FuzzNetwork builds a network from any numbers and puts it through everything.
// Nothing may panic, and a passive network stays one that Check accepts when it is
// renormalised.
func FuzzNetwork(f *testing.F) {
	bytes := func(xs ...float64) []byte {
		var b []byte
		for _, x := range xs {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
		return b
	}
	f.Add(2, bytes(1e9, 50, 0, 50, 0, 0.1, 0.2, 0.6, -0.5, 0.62, -0.48, -0.15, 0.05))
	f.Add(1, bytes(0, 50, 0, 1, 0, 1e9, 1, 0))
	f.Add(2, bytes(1e9, 50, 0, 50, 0, 0, 0, 1, 0, 1, 0, 0, 0))
	f.Add(2, bytes(1e9, 1e-300, 0, 1e300, 0, 0, 0, 1e200, 0, 1e200, 0, math.NaN(), math.Inf(1)))
	f.Fuzz(func(t *testing.T, ports int, data []byte) {
		if ports < 1 || ports > 4 || len(data) > 4096 {
			return
		}
		var xs []float64
		for ; len(data) >= 8; data = data[8:] {
			xs = append(xs, math.Float64frombits(binary.LittleEndian.Uint64(data)))
		}
		next := func() float64 {
			if len(xs) == 0 {
				return 0
			}
			x := xs[0]
			xs = xs[1:]
			return x
		}
		n := Network{Ports: ports}
		first := next()
		for range ports {
			n.Reference = append(n.Reference, complex(next(), next()))
		}
		for k := 0; k == 0 || len(xs) > 0; k++ {
			if k == 0 {
				n.Frequency = append(n.Frequency, first)
			} else {
				n.Frequency = append(n.Frequency, next())
			}
			for range ports * ports {
				n.S = append(n.S, complex(next(), next()))
			}
		}
		accepted := n.Check() == nil
		n.Passivity()
		n.Reciprocity()
		n.InitialQuality()
		n.Phase(0, 0)
		n.GroupDelay(0, ports-1)
		n.Mixed(Pair{0, ports - 1})
		joinAll(n)
		n.Interpolate([]float64{0, 1e9}, Interpolation{ToZero: true, Hold: true})
		if m, err := n.Renormalise(75); err == nil && accepted {
			if err := m.Check(); err != nil && n.Passivity().Value < 1.1 {
				t.Errorf("a passive network renormalised: %v", err)
			}
		}
		if z, err := n.Impedance(); err == nil {
			FromImpedance(n.Frequency, z, n.Reference...)
		}
		if y, err := n.Admittance(); err == nil {
			FromAdmittance(n.Frequency, y, n.Reference...)
		}
		if m, err := n.ABCD(); err == nil {
			FromABCD(n.Frequency, m, n.Reference[0], n.Reference[1])
		}
		if m, err := n.Transfer(); err == nil {
			FromTransfer(n.Frequency, m, n.Reference[0], n.Reference[1])
		}
		if p, err := Pack(n); err == nil {
			p.SetCascade(p, p, p)
		}
	})
}

// joinAll puts n through the joins.
func joinAll(n Network) {
	Cascade(n, n, n)
	Join(n, 0, n, n.Ports-1)
	n.JoinInner(0, n.Ports-1)
	_, _ = Circuit{Elements: []Network{n}, Outer: []Terminal{{0, 0}}}.Network()
}
