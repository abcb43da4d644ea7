package sweep

import (
	"math"
	"math/cmplx"

	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/network"
)

// silver is the conductivity of pure silver, the best of the metals at room temperature, S/m.
//
// Source: [crc], 1.587e-8 Ωm at 20 °C (from memory).
const silver = 6.30e7

// LeastLoss returns the least attenuation, in Np at f, in Hz, that a TEM line of the given
// one-way delay, in s, can have which carries only its wanted mode up to top, in Hz: a smooth
// silver coax in vacuum, as wide as its TE11 mode allows, of the best ratio of
// diameters,
//
//	α = R_s/2η0 · (1/a + 1/b)/ln(b/a)        b/a = 4.6, the best under that condition
//
// times c and the delay; half a per cent is taken off for the ratio. A dielectric does not better
// it: it shortens the line by √ε, narrows it by √ε, and raises α by √ε. What can lose less is
// no such line: a waveguide, a line wider than its own mode-free limit, one that is cold.
//
// Source: α of [pozar2012] §2.7 and the exact TE11 root, by package line; that no coax
// stays below is in TestLeastLoss.
func LeastLoss(f, delay, top float64) float64 {
	c := line.Coax{InnerDiameter: 1e-3, OuterDiameter: 4.6e-3}
	a := c.InnerDiameter / 2 * line.ModeFreeLimit(c) / top
	b := c.OuterDiameter / c.InnerDiameter * a
	alpha := material.SurfaceResistance(f, silver) / (2 * 376.730313668) * (1/a + 1/b) / math.Log(b/a)
	return 0.995 * alpha * line.C0 * delay
}

// Dissipation returns what S_ij loses beside reflection, in Np: −½ ln(|S_ij|²/(1 − |S_jj|²)).
// It is −Inf or NaN where more comes back than goes in.
func Dissipation(n network.Network, i, j int) []float64 {
	a := make([]float64, len(n.Frequency))
	for k := range a {
		t, r := cmplx.Abs(n.At(k, i, j)), cmplx.Abs(n.At(k, j, j))
		a[k] = -0.5 * math.Log(t*t/(1-r*r))
	}
	return a
}

// Shortfall returns by how much, in Np, the dissipation of S_ij stays below [LeastLoss], at
// its worst, and where: the median over stretches of a sixteenth of the sweep of loss less
// bound, negative where less is lost than any line of this delay could. Stretches at low
// frequencies, where the bound is lost in any analyser's error, count as the others.
func Shortfall(n network.Network, i, j int) (least, frequency float64) {
	f := n.Frequency
	if len(f) == 0 {
		return math.NaN(), math.NaN()
	}
	d := Dissipation(n, i, j)
	delay := math.Abs(n.Delay(i, j))
	top := f[len(f)-1]
	bound := LeastLoss(top, delay, top) // at the end; before, it goes as √f
	least, frequency = math.Inf(1), math.NaN()
	piece := max(8, len(f)/16)
	for k := 0; k+piece <= len(f); k += piece {
		x := make([]float64, piece)
		for q := range x {
			x[q] = d[k+q] - bound*math.Sqrt(f[k+q]/top)
		}
		if m := median(x); m < least {
			least, frequency = m, f[k+piece/2]
		}
	}
	return least, frequency
}
