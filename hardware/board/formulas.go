package board

import (
	"math"

	"linewright/physics/line"
)

// ViaInductance returns the inductance, in H, of a via of the given height and
// diameter, in m, from a microstrip to its ground:
//
//	L = (μ0/2π) {h ln[(h + √(r²+h²))/r] + (3/2)[r − √(r²+h²)]}
//
// Fitted to field solutions within about 4 % for heights of 100 µm to 631 µm
// and 0.2 < 2r/h < 1.5, no return current beside the via.
//
// Source: [goldfarb1991] (its range recalled).
func ViaInductance(height, diameter float64) float64 {
	h, r := height, diameter/2
	q := math.Hypot(r, h)
	return line.Mu0 / (2 * math.Pi) * (h*math.Log((h+q)/r) + 1.5*(r-q))
}

// ViaInductanceTrend returns the partial inductance, in H, of a via of the
// given height and diameter, in m, by the formula of digital practice,
//
//	L = 5.08 h (ln(4h/d) + 1)    nH, h and d in inches
//
// which ignores where the current returns: a trend, no value.
//
// Source: [johnson1993], as quoted in public lists.
func ViaInductanceTrend(height, diameter float64) float64 {
	return 5.08e-9 * height / inch * (math.Log(4*height/diameter) + 1)
}

// ViaCapacitanceTrend returns the capacitance, in F, of a via with pads of the
// given diameter through clearances of diameter antipad in a board of the given
// thickness, all in m, and relative permittivity er:
//
//	C = 1.41 εr T D1/(D2 − D1)    pF, inches
//
// which is the plate formula π ε T D1 over half of half the gap: its
// derivation is doubtful by a factor of two, and it is a trend, no value.
// It needs antipad > pad.
//
// Source: [johnson1993], as quoted in public lists with that doubt.
func ViaCapacitanceTrend(er, thickness, pad, antipad float64) float64 {
	return 1.41e-12 * er * thickness / inch * pad / (antipad - pad)
}

const inch = 25.4e-3 // m

// ViaImpedance returns the impedance, in Ω, of a via of the given barrel
// diameter in the middle of a clearance, or ring of ground vias, of the given
// diameter, in a medium of permittivity er:
//
//	Z = (η0/2π√εr) ln(D/d)
//
// It ignores pads and planes, which add capacitance: the real clearance is
// larger than this says.
//
// Source: [pozar2012] Table 2.1, a coaxial line; as a rule for vias, common
// practice.
func ViaImpedance(barrel, clearance, er float64) float64 {
	return line.Eta0 / (2 * math.Pi * math.Sqrt(er)) * math.Log(clearance/barrel)
}

// ClearanceRatio returns the ratio of clearance to barrel diameter at which
// [ViaImpedance] is ohms.
func ClearanceRatio(ohms, er float64) float64 {
	return math.Exp(ohms * 2 * math.Pi * math.Sqrt(er) / line.Eta0)
}

// CavityResonance returns the resonance, in Hz, of a thin cavity between two
// planes, length by width, in m, filled with er:
//
//	f = c/(2√εr) √((m/a)² + (n/b)²)
//
// A cavity closed by via walls has m, n ≥ 1; a pair of planes with open edges
// resonates from m = 1, n = 0 on. What stands in it (a pin, pads) lowers it.
//
// Source: [pozar2012] §6.3, both heights small.
func CavityResonance(length, width, er float64, m, n int) float64 {
	return line.C0 / (2 * math.Sqrt(er)) * math.Hypot(float64(m)/length, float64(n)/width)
}

// RowResonance returns the frequency, in Hz, at which the distance of two via
// rows or walls, in m, is half a wavelength in er: the cutoff of the guide that
// they make with the planes.
//
// Source: [pozar2012] §3.3, TE10.
func RowResonance(width, er float64) float64 { return line.C0 / (2 * width * math.Sqrt(er)) }

// RowWidth returns the width, in m, whose [RowResonance] is f, in Hz.
func RowWidth(f, er float64) float64 { return line.C0 / (2 * f * math.Sqrt(er)) }

// GuideWidth returns the width, in m, of the solid-walled guide that carries
// TE10 as two rows of vias of the given diameter and pitch do, their centres
// rows apart:
//
//	a′ = a − d²/(0.95 s)    for s < λ/5 and s < 4d
//
// Source: [cassivi2002] (recalled).
func GuideWidth(rows, diameter, pitch float64) float64 {
	return rows - diameter*diameter/(0.95*pitch)
}

// GuideWidthXuWu is [GuideWidth] with a second term, for s/d < 3 and d/a < 1/5:
//
//	a′ = a − 1.08 d²/s + 0.1 d²/a
//
// Source: [xu2005] (recalled).
func GuideWidthXuWu(rows, diameter, pitch float64) float64 {
	d2 := diameter * diameter
	return rows - 1.08*d2/pitch + 0.1*d2/rows
}

// LowLeakagePitch is the largest ratio of pitch to diameter at which a fence
// of vias of diameter below a fifth of the guide wavelength leaks little.
//
// Source: [deslandes2006] (recalled).
const LowLeakagePitch = 2

// FencePitch returns the wavelength at f, in Hz, in er, over parts, in m: the
// rule that a fence's pitch be at most a tenth or a twentieth of it.
//
// Common practice, no single source; an eighth to a twentieth are all in use.
func FencePitch(f, er, parts float64) float64 { return line.C0 / (parts * f * math.Sqrt(er)) }

// FenceAttenuation returns the attenuation, in dB, of the slot between two vias
// of a fence, a clear gap wide and depth long (about a via's diameter), as a
// guide below cutoff:
//
//	A = 20 log e · π (depth/gap) √(1 − (2 gap √εr f/c)²)
//
// For round vias it is an order of magnitude. It is 0 above cutoff.
//
// Source: [ott2009] (recalled).
func FenceAttenuation(gap, depth, f, er float64) float64 {
	x := 2 * gap * math.Sqrt(er) * f / line.C0
	if !(x < 1) {
		return 0 * x // NaN stays NaN
	}
	return 20 * math.Log10(math.E) * math.Pi * depth / gap * math.Sqrt(1-x*x)
}

// QuarterWave returns the frequency, in Hz, at which an open or shorted stub of
// the given length, in m, in effective permittivity er is a quarter of a
// wavelength long.
//
// Source: [pozar2012] §2.3.
func QuarterWave(length, er float64) float64 { return line.C0 / (4 * length * math.Sqrt(er)) }
