package assess

import (
	"fmt"
	"math"

	"linewright/hardware/chain"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/units"
)

// Guide is a standard rectangular waveguide.
type Guide struct {
	Name   string
	A, B   units.Length    // inside width and height
	From   units.Frequency // usual band of the TE10 mode
	To     units.Frequency
	Flange string // usual, from memory; empty: several
}

const inch units.Length = 25.4e-3

// Guides returns the standard sizes from 8.2 to 220 GHz, the largest first.
// Inside dimensions and usual bands after [rs261], in inches as printed there;
// from memory.
func Guides() []Guide {
	return []Guide{
		{"WR-90", 0.900 * inch, 0.400 * inch, 8.2e9, 12.4e9, "UG-39/U"},
		{"WR-75", 0.750 * inch, 0.375 * inch, 10e9, 15e9, ""},
		{"WR-62", 0.622 * inch, 0.311 * inch, 12.4e9, 18e9, "UG-419/U"},
		{"WR-51", 0.510 * inch, 0.255 * inch, 15e9, 22e9, ""},
		{"WR-42", 0.420 * inch, 0.170 * inch, 18e9, 26.5e9, "UG-595/U"},
		{"WR-34", 0.340 * inch, 0.170 * inch, 22e9, 33e9, ""},
		{"WR-28", 0.280 * inch, 0.140 * inch, 26.5e9, 40e9, "UG-599/U"},
		{"WR-22", 0.224 * inch, 0.112 * inch, 33e9, 50e9, "UG-383/U"},
		{"WR-19", 0.188 * inch, 0.094 * inch, 40e9, 60e9, "UG-383/U"},
		{"WR-15", 0.148 * inch, 0.074 * inch, 50e9, 75e9, "UG-385/U"},
		{"WR-12", 0.122 * inch, 0.061 * inch, 60e9, 90e9, "UG-387/U"},
		{"WR-10", 0.100 * inch, 0.050 * inch, 75e9, 110e9, "UG-387/U"},
		{"WR-8", 0.080 * inch, 0.040 * inch, 90e9, 140e9, "UG-387/U"},
		{"WR-6", 0.065 * inch, 0.0325 * inch, 110e9, 170e9, "UG-387/U"},
		{"WR-5", 0.051 * inch, 0.0255 * inch, 140e9, 220e9, "UG-387/U"},
	}
}

// Cutoff returns the cutoff c/(2a) of the TE10 mode in air.
func (g Guide) Cutoff() units.Frequency { return units.Frequency(line.C0 / (2 * float64(g.A))) }

// Attenuation returns the conductor loss of the TE10 mode in air at frequency
// f, for smooth walls of conductivity sigma, in S/m:
//
//	α = Rs/(a³ b β k η) · (2bπ² + a³k²)  Np/m        k = 2πf/c,  β = √(k² − (π/a)²)
//
// It is the perturbation result, exact for walls much thicker than the skin
// depth, between cutoff and the next mode; NaN below cutoff. Rough or drawn
// guide loses more.
//
// Source: [pozar2012] §3.3, eq. 3.96.
func (g Guide) Attenuation(f units.Frequency, sigma float64) units.Attenuation {
	return teTen(float64(f), float64(g.A), float64(g.B), sigma, 1)
}

// teTen is [Guide.Attenuation] in a lossless filling of permittivity er.
func teTen(f, a, b, sigma, er float64) units.Attenuation {
	k := 2 * math.Pi * f * math.Sqrt(er) / line.C0
	beta := math.Sqrt(k*k - math.Pow(math.Pi/a, 2))
	eta := line.Eta0 / math.Sqrt(er)
	rs := material.SurfaceResistance(f, sigma)
	return units.Attenuation(rs / (a * a * a * b * beta * k * eta) * (2*b*math.Pi*math.Pi + a*a*a*k*k))
}

// From where a waveguide is shown beside a cable: common practice above 75 GHz
// for more than a short jumper; elsewhere where it saves enough to be worth its
// flanges.
const (
	guideBand   units.Frequency = 75e9
	guideLength units.Length    = 0.2
	guideSaving                 = 3.0 // dB over the run
)

// GuideFor returns the standard guide of least loss, by its worst frequency,
// whose usual band holds from to to; ok is false when none does.
func GuideFor(from, to units.Frequency, sigma float64) (best Guide, worst units.Attenuation, at units.Frequency, ok bool) {
	for _, g := range Guides() {
		if from < g.From*(1-1e-12) || to > g.To*(1+1e-12) {
			continue
		}
		w, f := g.Attenuation(from, sigma), from // falls, then rises: the worst is at an end
		if x := g.Attenuation(to, sigma); x > w {
			w, f = x, to
		}
		if !ok || w < worst {
			best, worst, at, ok = g, w, f, true
		}
	}
	return best, worst, at, ok
}

// waveguides shows the rectangular waveguide beside a long or high-frequency
// run of cable.
func (j *judge) waveguides() error {
	if j.s.Cable == nil {
		return nil
	}
	i := len(j.Prediction.Frequency) - 1
	length, coax, silent := units.Length(0), 0.0, false
	for k, el := range j.s.Chain.Elements {
		if c, is := chain.CableOf(el); is {
			length += c.Length
			coax += j.Prediction.Rows[k].Response.Loss[i]
			silent = silent || !j.Prediction.Rows[k].Lossy
		}
	}
	from, to := units.Frequency(j.Prediction.Frequency[0]), j.top()
	t := j.Prediction.Conditions.Temperature
	sigma := material.ConductivityAt(material.AnnealedCopper, material.CopperCoefficient, float64(t))
	high := to > guideBand && length > guideLength
	g, worst, at, ok := GuideFor(from, to, sigma)
	if !ok {
		if high {
			j.noteOnce("waveguide: no standard size covers %v to %v in one; split the band, or stay with coax", from, to)
		}
		return nil
	}
	guide := g.Attenuation(to, sigma).DBPerMetre() * float64(length)
	if !high && !(!silent && coax-guide >= guideSaving) {
		return nil
	}
	o := Option{Title: fmt.Sprintf("rectangular waveguide %s (%v to %v) in place of the cable", g.Name, g.From, g.To),
		Effect: fmt.Sprintf("%.1f dB/m of ideal copper at %v and %v, at worst %.1f dB/m at %v: %.2f dB over %.0f mm", g.Attenuation(to, sigma).DBPerMetre(), to, t, worst.DBPerMetre(), at, guide, units.In(length, "mm"))}
	if !silent {
		o.Effect += fmt.Sprintf(", against %.2f dB of the cable (%.1f dB/m)", coax, coax/float64(length))
	}
	o.Effect += "; real guide, bends and the two transitions lose more, it does not flex, and it passes no direct current"
	if c := g.Cutoff(); c > 0 {
		j.noteOnce("waveguide: TE10 of %s (%.3f × %.3f mm) starts at %v; ideal copper, smooth walls, exact TE10 formula; sizes after EIA RS-261, from memory", g.Name, units.In(g.A, "mm"), units.In(g.B, "mm"), c)
	}
	j.Ways = append(j.Ways, o)
	return nil
}
