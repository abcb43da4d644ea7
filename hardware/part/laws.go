package part

import (
	"math"
	"sort"

	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/units"
)

// TemperatureFactor is the factor by which copper's conductor loss at
// temperature t differs from that at ref:
//
//	√((1 + α(t − 20 °C)) / (1 + α(ref − 20 °C)))
//
// Conductor loss goes as the surface resistance, that is as the root of the
// resistivity. The coefficient α is [material.CopperCoefficient], after
// [iec60028].
func TemperatureFactor(t, ref units.Temperature) float64 {
	return math.Sqrt(material.ConductivityAt(1, material.CopperCoefficient, float64(ref)) /
		material.ConductivityAt(1, material.CopperCoefficient, float64(t)))
}

// At returns the bound on |Γ| at frequency f and whether there is one. Beyond
// the last point it returns the last bound and beyond = true.
func (r Reflection) At(f units.Frequency) (gamma float64, known, beyond bool) {
	best := -1
	for i, p := range r.Points { // the first bound that reaches f, in any order of the file
		if f <= p.To*(1+1e-12) && (best < 0 || p.To < r.Points[best].To) {
			best = i
		}
	}
	if best < 0 && r.VSWR == nil && r.ReturnLoss == nil {
		for i, p := range r.Points {
			if best < 0 || p.To > r.Points[best].To {
				best = i
			}
		}
		beyond = best >= 0
	}
	vswr, rl := r.VSWR, r.ReturnLoss
	if best >= 0 {
		vswr, rl = r.Points[best].VSWR, r.Points[best].ReturnLoss
	}
	switch {
	case vswr != nil:
		return (*vswr - 1) / (*vswr + 1), true, beyond
	case rl != nil:
		return math.Pow(10, -float64(*rl)/20), true, beyond
	}
	return 0, false, beyond
}

// A table holds loss against frequency, sorted.
type table struct{ f, loss []float64 }

func newTable(n int, at func(i int) (f, loss float64)) table {
	t := table{make([]float64, n), make([]float64, n)}
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { fa, _ := at(order[a]); fb, _ := at(order[b]); return fa < fb })
	for k, i := range order {
		t.f[k], t.loss[k] = at(i)
	}
	return t
}

// at interpolates loss/√f straight in √f, which is exact for k1·√f + k2·f.
// Below the table the loss falls as √f; above it the last stretch goes on, but
// loss/√f never falls, so that an extrapolation errs to the careful side.
func (t table) at(f float64) float64 {
	n := len(t.f)
	x := math.Sqrt(f)
	if n == 1 || f <= t.f[0] {
		return t.loss[0] * x / math.Sqrt(t.f[0])
	}
	i := min(sort.SearchFloat64s(t.f, f), n-1)
	x1, x2 := math.Sqrt(t.f[i-1]), math.Sqrt(t.f[i])
	y1, y2 := t.loss[i-1]/x1, t.loss[i]/x2
	y := y1 + (y2-y1)*(x-x1)/(x2-x1)
	if f > t.f[n-1] {
		y = math.Max(y, y2)
	}
	return x * y
}

// Coverage says what a loss figure can vouch for over a band.
type Coverage struct {
	Known         bool
	From, To      units.Frequency // of the figures; 0: not stated
	NoTemperature bool            // the figures have no temperature and are taken as they stand
	Split         bool            // conductor and dielectric loss are told apart
}

// Covers says what the figures of a vouch for.
func (a Attenuation) Covers() Coverage {
	c := Coverage{Known: a.K1 != nil || len(a.Points) > 0, NoTemperature: a.Temperature == nil, Split: a.K1 != nil}
	if a.K1 != nil {
		if a.FittedFrom != nil {
			c.From = *a.FittedFrom
		}
		if a.FittedTo != nil {
			c.To = *a.FittedTo
		}
		return c
	}
	for i, p := range a.Points {
		if i == 0 || p.At < c.From {
			c.From = p.At
		}
		c.To = max(c.To, p.At)
	}
	return c
}

// At returns the matched loss at frequency f and temperature t, and the
// conductors' share of it. Of a fit only K1 follows the temperature: no
// datasheet here says how K2 does. Points are not split, so the whole follows
// the conductors' law: an upper bound where it is hotter than the figures.
func (a Attenuation) At(f units.Frequency, t units.Temperature) (total, conductor units.Attenuation) {
	k := 1.0
	if a.Temperature != nil {
		k = TemperatureFactor(t, *a.Temperature)
	}
	switch {
	case a.K1 != nil:
		conductor = units.Attenuation(float64(*a.K1) * math.Sqrt(float64(f)) * k)
		total = conductor
		if a.K2 != nil {
			total += units.Attenuation(float64(*a.K2) * float64(f))
		}
	case len(a.Points) > 0:
		total = units.Attenuation(k * newTable(len(a.Points), func(i int) (float64, float64) { return float64(a.Points[i].At), float64(a.Points[i].Loss) }).at(float64(f)))
		conductor = total
	}
	return total, conductor
}

// Covers says what the figures of l vouch for.
func (l Loss) Covers() Coverage {
	c := Coverage{Known: l.K != nil || len(l.Points) > 0, NoTemperature: l.Temperature == nil, Split: l.K != nil}
	if l.K == nil {
		for i, p := range l.Points {
			if i == 0 || p.At < c.From {
				c.From = p.At
			}
			c.To = max(c.To, p.At)
		}
	}
	return c
}

// At returns a connector's loss at frequency f and temperature t; it follows
// the conductors' law as a whole.
func (l Loss) At(f units.Frequency, t units.Temperature) units.Level {
	k := 1.0
	if l.Temperature != nil {
		k = TemperatureFactor(t, *l.Temperature)
	}
	switch {
	case l.K != nil:
		return units.Level(float64(*l.K) * math.Sqrt(float64(f)) * k)
	case len(l.Points) > 0:
		return units.Level(k * newTable(len(l.Points), func(i int) (float64, float64) { return float64(l.Points[i].At), float64(l.Points[i].Loss) }).at(float64(f)))
	}
	return 0
}

// Ohms returns the cable's impedance: 50 Ω unless stated.
func (c Cable) Ohms() float64 {
	if c.Impedance != nil {
		return float64(*c.Impedance)
	}
	return 50
}

// velocityDigit is half the last digit of a velocity factor as datasheets print
// it, 0.84.
const velocityDigit = 0.005

// Velocity returns the phase velocity over that of light; ok is false when
// neither velocity factor nor permittivity is stated. When both are and agree
// to the factor's printed digits, the permittivity, with one digit more, is
// used: v/c = 1/√ε.
func (c Cable) Velocity() (factor float64, ok bool) {
	from := 0.0
	if c.Core.Permittivity != nil {
		from = 1 / math.Sqrt(*c.Core.Permittivity)
	}
	switch {
	case c.VelocityFactor == nil:
		return from, from > 0
	case from > 0 && math.Abs(from-*c.VelocityFactor) <= velocityDigit:
		return from, true
	}
	return *c.VelocityFactor, true
}

// CoreLine returns the cable's core as a coaxial line of smooth conductors:
// bore and permittivity as stated, the centre conductor as stated or as the
// impedance asks. ok is false when bore or permittivity is unknown.
func (c Cable) CoreLine() (l line.Coax, ok bool) {
	v, known := c.Velocity()
	if c.Core.Diameter == nil || !known {
		return l, false
	}
	l.Filling.Permittivity = 1 / (v * v)
	if c.Core.Permittivity != nil {
		l.Filling.Permittivity = *c.Core.Permittivity
	}
	if c.Core.LossTangent != nil {
		l.Filling.LossTangent = *c.Core.LossTangent
	}
	if c.Core.InnerConductivity != nil {
		l.Inner.Conductivity = float64(*c.Core.InnerConductivity)
	}
	if c.Core.OuterConductivity != nil {
		l.Outer.Conductivity = float64(*c.Core.OuterConductivity)
	}
	if c.Core.OuterFactor != nil {
		l.BraidFactor = *c.Core.OuterFactor
	}
	l.OuterDiameter = float64(*c.Core.Diameter)
	if c.Core.InnerDiameter != nil {
		l.InnerDiameter = float64(*c.Core.InnerDiameter)
	} else {
		// Z = η0/(2π√ε) ln(D/d), [pozar2012] §2.2.
		l.InnerDiameter = l.OuterDiameter / math.Exp(2*math.Pi*c.Ohms()*math.Sqrt(l.Filling.Permittivity)/line.Eta0)
	}
	return l, true
}
