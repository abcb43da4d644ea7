package thermal

import (
	"errors"
	"fmt"
	"math"

	"linewright/physics/line"
)

// CopperCoefficient is the constant-mass temperature coefficient of resistance
// of annealed copper at 20 °C, 1/K. Source: [iec60028].
const CopperCoefficient = 0.00393

// RoomTemperature, 20 °C, is the usual reference of conductivities and of
// attenuation data, K.
const RoomTemperature = 293.15

// LossRatio returns the factor by which skin-effect loss of a smooth conductor
// changes from temperature t0 to t, both in K, when its resistivity changes by
// the coefficient c, in 1/K, of the value at t0:
//
//	√(1 + c (t − t0))
//
// Roughness is not included: a rough conductor's loss changes less, for its skin
// deepens beside the same bumps.
func LossRatio(c, t, t0 float64) float64 { return math.Sqrt(math.Max(0, 1+c*(t-t0))) }

// Dissipation returns the heat, in W, made in a matched length, in m, of line
// of attenuation alpha, in Np/m, whose input takes power p, in W:
// P (1 − e^(−2αL)). It is less than 2αP·L, the heat at the input's rate.
func Dissipation(p, alpha, length float64) float64 { return p * -math.Expm1(-2*alpha*length) }

// DissipationPerMetre returns 2αP, in W/m: the heat per length at a place where
// the power p, in W, passes in one direction.
func DissipationPerMetre(p, alpha float64) float64 { return 2 * alpha * p }

// Loss is a cable's attenuation, parted by where its heat is made, at a
// reference temperature.
type Loss struct {
	Inner      float64 // by the inner conductor, Np/m
	Dielectric float64 // by the dielectric, Np/m
	Outer      float64 // by the outer conductor, Np/m
	Reference  float64 // temperature of these values, K; zero means 293.15

	// Resistivity coefficients of the conductors at the reference, 1/K;
	// zero means copper's, [CopperCoefficient]. The skin effect takes the root.
	InnerCoefficient, OuterCoefficient float64
	// DielectricCoefficient is the relative change of the dielectric's share per kelvin.
	DielectricCoefficient float64
}

// Total returns the attenuation at the reference temperature, Np/m.
func (l Loss) Total() float64 { return l.Inner + l.Dielectric + l.Outer }

// At returns the loss with the inner conductor at ti, the outer at to and the
// dielectric at their mean, all in K.
func (l Loss) At(ti, to float64) Loss {
	ref, ci, co := l.Reference, l.InnerCoefficient, l.OuterCoefficient
	if ref == 0 {
		ref = RoomTemperature
	}
	if ci == 0 {
		ci = CopperCoefficient
	}
	if co == 0 {
		co = CopperCoefficient
	}
	out := l
	out.Inner *= LossRatio(ci, ti, ref)
	out.Outer *= LossRatio(co, to, ref)
	out.Dielectric *= math.Max(0, 1+l.DielectricCoefficient*((ti+to)/2-ref))
	return out
}

// Layer is a tube around the outer conductor: a braid's air film, a tape, a
// jacket.
type Layer struct {
	OuterRadius  float64 // m
	Conductivity float64 // W/(m·K)
}

// Cable is the cross-section of a coaxial cable as heat sees it.
type Cable struct {
	InnerRadius      float64 // of the inner conductor, m
	DielectricRadius float64 // of the dielectric = inner radius of the outer conductor, m
	OuterRadius      float64 // of the outer conductor, m

	DielectricConductivity float64 // thermal, W/(m·K); see PorousConductivity for expanded ones

	Layers     []Layer // around the outer conductor, from the inside; none is bare metal
	Emissivity float64 // of the outermost surface

	Loss Loss

	// Thermal conductivities of the conductors along the cable, W/(m·K); zero
	// means copper's 390; give that of the core of a clad wire, for copper-clad
	// steel conducts far less. They matter only for EndLength and for the smoothing of
	// standing waves.
	InnerMetal, OuterMetal float64
}

// Check reports every dimension and constant that makes no sense.
func (c Cable) Check() error {
	var errs []error
	need := func(ok bool, format string, args ...any) {
		if !ok {
			errs = append(errs, fmt.Errorf("thermal: "+format, args...))
		}
	}
	need(c.InnerRadius > 0, "inner radius %g m: must be positive", c.InnerRadius)
	need(c.DielectricRadius > c.InnerRadius, "dielectric radius %g m: must exceed the inner radius %g m", c.DielectricRadius, c.InnerRadius)
	need(c.OuterRadius >= c.DielectricRadius, "outer radius %g m: must not lie inside the dielectric's %g m", c.OuterRadius, c.DielectricRadius)
	need(c.DielectricConductivity > 0, "dielectric's thermal conductivity %g W/(m·K): must be positive", c.DielectricConductivity)
	r := c.OuterRadius
	for i, l := range c.Layers {
		need(l.OuterRadius > r, "layer %d: outer radius %g m must exceed the %g m beneath it", i+1, l.OuterRadius, r)
		need(l.Conductivity > 0, "layer %d: thermal conductivity %g W/(m·K) must be positive", i+1, l.Conductivity)
		r = l.OuterRadius
	}
	need(c.Emissivity >= 0 && c.Emissivity <= 1, "emissivity %g: must lie between 0 and 1", c.Emissivity)
	need(c.Loss.Inner >= 0 && c.Loss.Dielectric >= 0 && c.Loss.Outer >= 0,
		"attenuation %g + %g + %g Np/m: no share may be negative", c.Loss.Inner, c.Loss.Dielectric, c.Loss.Outer)
	return errors.Join(errs...)
}

// Diameter returns the outside diameter, m.
func (c Cable) Diameter() float64 {
	if n := len(c.Layers); n > 0 {
		return 2 * c.Layers[n-1].OuterRadius
	}
	return 2 * c.OuterRadius
}

// layerResistance returns the resistance of all layers, K·m/W.
func (c Cable) layerResistance() float64 {
	sum, r := 0.0, c.OuterRadius
	for _, l := range c.Layers {
		sum += RadialResistance(r, l.OuterRadius, l.Conductivity)
		r = l.OuterRadius
	}
	return sum
}

// axial returns k·A of the inner and the outer conductor, W·m/K.
func (c Cable) axial() (inner, outer float64) {
	ki, ko := c.InnerMetal, c.OuterMetal
	if ki == 0 {
		ki = 390
	}
	if ko == 0 {
		ko = 390
	}
	return ki * math.Pi * c.InnerRadius * c.InnerRadius,
		ko * math.Pi * (c.OuterRadius*c.OuterRadius - c.DielectricRadius*c.DielectricRadius)
}

// Drive is the power that heats the cable.
type Drive struct {
	// Power is the average net power that passes the hottest cross-section
	// towards the load, W: at the input, the power taken in.
	Power float64
	// VSWR on the cable; zero means 1. Use that of the whole system behind the
	// cross-section.
	VSWR float64
	// PhaseConstant β, rad/m, lets conduction along the conductors smooth the
	// heating between the standing wave's maxima, β/π of them a metre. Zero means no
	// smoothing: the full local heating at a maximum.
	PhaseConstant float64
}

// StandingWave tells how a standing wave of voltage ratio s raises the heat per
// metre above that of a matched wave of the same net power.
//
//	Worst = s          where the current is greatest
//	Mean  = (s² + 1)/(2 s)    averaged over half a wavelength
//
// They follow from |I|² = I₊² |1 ± ρ|² and the net power I₊² (1 − ρ²) Z0/2.
//
// Source: [ragan1948]; 1/Worst is the trade's conservative derating factor.
func StandingWave(s float64) (worst, mean float64) { return s, (s*s + 1) / (2 * s) }

// smoothed returns the heat factor when axial conduction spreads a ripple of
// period π/β: a ripple of wave number K = 2β falls by 1/(1 + (K L)²) on a fin
// of length constant L = √(kA·R). L is the smaller one of the two conductors, which
// bounds the coupled ripple of both from above (the matrix of the two fins is an M-matrix).
func smoothed(s, beta, fin float64) float64 {
	worst, mean := StandingWave(s)
	k := 2 * beta * fin
	return mean + (worst-mean)/(1+k*k)
}

// State is the steady state of a cable's hottest cross-section.
type State struct {
	Power   float64 // net power that passes, W
	Inner   float64 // temperature of the inner conductor, and of the dielectric's hottest point, K
	Outer   float64 // of the outer conductor, K
	Surface float64 // of the jacket's outside, K

	Loss   Loss    // at these temperatures
	Factor float64 // by which the standing wave raises the heat, ≥ 1

	InnerHeat, DielectricHeat, OuterHeat float64 // made there, W/m

	Shed Shed // how the surface loses it

	// EndLength is the distance, m, over which the temperature of an end, say
	// a hot connector, decays along the cable by e: √(ΣkA·R). The middle is
	// undisturbed after about three of them; a shorter cable follows its ends.
	EndLength float64

	Warnings    []line.Warning // formulas outside their range
	Assumptions []Assumption   // on the unsafe side
	Cautions    []Caution      // to be shown with the result
}

// Heat returns the heat made in all, W/m.
func (s State) Heat() float64 { return s.InnerHeat + s.DielectricHeat + s.OuterHeat }

// Along returns the temperature, in K, of the outer conductor at z, in m, along
// a cable of the given length, in m, whose ends are held at first and last, in K:
// the fin's solution, with ℓ = EndLength and θ the excess over the undisturbed Outer,
//
//	θ(z) = [θ1 sinh((L − z)/ℓ) + θ2 sinh(z/ℓ)]/sinh(L/ℓ)
//
// Heat is that of the state all along, with no credit for the power lost on the
// way, and the surface resistance that of the state: an estimate, hot in
// the middle, within which a hot connector can be judged. The end temperatures must come from
// somewhere else; no connector is computed here.
//
// Source: [incropera2007] §3.6, fin with prescribed tip temperature.
func (s State) Along(z, length, first, last float64) float64 {
	// sinh(x/ℓ)/sinh(L/ℓ) without overflow for long cables.
	part := func(x float64) float64 {
		a, b := x/s.EndLength, length/s.EndLength
		return math.Exp(a-b) * math.Expm1(-2*a) / math.Expm1(-2*b)
	}
	return s.Outer + (first-s.Outer)*part(length-z) + (last-s.Outer)*part(z)
}

// ErrRunaway reports a cable that finds no steady temperature below 2000 K.
var ErrRunaway = errors.New("no steady temperature below 2000 K: the cable burns")

// At returns the steady state of the cable carrying d in surroundings s.
//
// Heat is 2αP in each part. The inner conductor's flows through the
// dielectric; of the dielectric's own, whose density goes as the field squared,
// 1/r², half the resistance counts (exactly):
//
//	Ti = To + (qi + qd/2) ln(b/a)/(2π kd)
//	To = Ts + (qi + qd + qo) Σ ln(r₊/r₋)/(2π k)
//	qi + qd + qo = h πD (Ts − Ta) + ε σ πD (Ts⁴ − Tr⁴)
//
// with the losses at these temperatures. The equations are solved by iterating
// from the cold cable to 1e-8 K: each round is hotter than the last one and
// colder than any solution, so the limit is the state which a cable warming up reaches.
//
// The model is that of [mildner1946] with present-day convection; what it leaves
// out on the unsafe side is listed in State.Assumptions.
func (c Cable) At(d Drive, s Surroundings) (State, error) {
	if err := c.Check(); err != nil {
		return State{}, err
	}
	if d.VSWR == 0 {
		d.VSWR = 1
	}
	switch {
	case !(d.Power >= 0) || math.IsInf(d.Power, 0):
		return State{}, fmt.Errorf("thermal: power %g W: must be zero or more", d.Power)
	case !(d.VSWR >= 1):
		return State{}, fmt.Errorf("thermal: VSWR %g: must be 1 or more", d.VSWR)
	case !(s.Temperature > 0):
		return State{}, fmt.Errorf("thermal: ambient temperature %g K: must be positive", s.Temperature)
	case !(s.Pressure >= 0):
		return State{}, fmt.Errorf("thermal: ambient pressure %g Pa: must be zero (vacuum) or more", s.Pressure)
	case s.Pressure == 0 && c.Emissivity == 0:
		return State{}, errors.New("thermal: emissivity 0 in vacuum: no heat can leave the cable; give the surface's emissivity")
	}
	rd := RadialResistance(c.InnerRadius, c.DielectricRadius, c.DielectricConductivity)
	rl := c.layerResistance()
	dia := c.Diameter()
	kaInner, kaOuter := c.axial()

	st := State{Power: d.Power, Inner: s.coldest(), Outer: s.coldest(), Surface: s.coldest(), Factor: 1}
	var slope float64 // dTs/dq of the surface, K·m/W
	for round := 0; ; round++ {
		slope = 0.1 / (s.Shed(dia, c.Emissivity, st.Surface+0.1).Total() - s.Shed(dia, c.Emissivity, st.Surface).Total())
		if d.VSWR > 1 {
			fin := math.Sqrt(math.Min(kaInner*rd, kaOuter*(rl+slope)))
			st.Factor = smoothed(d.VSWR, d.PhaseConstant, fin)
		}
		st.Loss = c.Loss.At(st.Inner, st.Outer)
		st.InnerHeat = DissipationPerMetre(d.Power, st.Loss.Inner) * st.Factor
		st.DielectricHeat = DissipationPerMetre(d.Power, st.Loss.Dielectric) * st.Factor
		st.OuterHeat = DissipationPerMetre(d.Power, st.Loss.Outer) * st.Factor
		last := st.Inner
		st.Surface = s.surface(dia, c.Emissivity, st.Heat(), st.Surface)
		st.Outer = st.Surface + rl*st.Heat()
		st.Inner = st.Outer + rd*(st.InnerHeat+st.DielectricHeat/2)
		if !(st.Inner < 2000) || round == 2000 {
			return State{}, fmt.Errorf("thermal: %.4g W: %w", d.Power, ErrRunaway)
		}
		if math.Abs(st.Inner-last) < 1e-8 {
			break
		}
	}
	st.Shed = s.Shed(dia, c.Emissivity, st.Surface)
	st.EndLength = math.Sqrt((kaInner + kaOuter) * (rl + slope))
	st.Warnings = s.warnings(dia, st.Shed)
	st.Assumptions = []Assumption{AssumesAlone, AssumesMiddle, AssumesUniform, AssumesSteady, AssumesNewCable}
	if s.Pressure > 0 {
		st.Assumptions = append(st.Assumptions, AssumesLaw)
	}
	if s.Extra == 0 {
		st.Assumptions = append(st.Assumptions, AssumesShade)
	}
	st.Cautions = []Caution{CautionEstimate, CautionHotParts, CautionExposure, CautionMating, CautionFume}
	if s.Pressure == 0 {
		st.Cautions = append(st.Cautions, CautionMultipactor)
	} else if s.Pressure < 0.9*SeaPressure {
		st.Cautions = append(st.Cautions, CautionPressure)
	}
	return st, nil
}

// Limits are the temperatures that a rating keeps to, K; zero is no limit. A
// dielectric's limit is one on Inner, where it is hottest.
type Limits struct {
	Inner   float64
	Outer   float64
	Surface float64
}

// HighPowerLimit is 204 °C (400 °F), K, a common limit of the hottest surface
// of high-power assemblies. Source: [mwjpower], a trade note; it is an input,
// not a law.
const HighPowerLimit = 477.15

// Classical basis of a cable's power rating: matched, steady, at sea level, the
// hottest part 30 K above an ambient of 55 °C. Source: [mildner1946], abstract.
const (
	ClassicalAmbient = 328.15 // K
	ClassicalRise    = 30.0   // K
)

// excess returns by how much the state exceeds the limit it is nearest to, or
// exceeds most, in K, and which one that is.
func (l Limits) excess(st State) (worst float64, name string) {
	worst = math.Inf(-1)
	for _, c := range []struct {
		limit, t float64
		name     string
	}{{l.Inner, st.Inner, "inner conductor"}, {l.Outer, st.Outer, "outer conductor"}, {l.Surface, st.Surface, "surface"}} {
		if c.limit > 0 && c.t-c.limit > worst {
			worst, name = c.t-c.limit, c.name
		}
	}
	return worst, name
}

// Rating is an average power and what sets it.
type Rating struct {
	Power float64 // greatest average net power within the limits, W
	Limit string  // "inner conductor", "outer conductor" or "surface": which limit binds
	State State   // at that power
}

// Rating returns the greatest average power at which the cable stays within the
// limits, in surroundings s, with the standing wave of d; d.Power is not used.
// It inverts [Cable.At], to about 1e-7 of the power.
func (c Cable) Rating(l Limits, d Drive, s Surroundings) (Rating, error) {
	if l == (Limits{}) {
		return Rating{}, errors.New("thermal: a rating needs at least one temperature limit")
	}
	d.Power = 0
	cold, err := c.At(d, s)
	if err != nil {
		return Rating{}, err
	}
	if over, name := l.excess(cold); over > 0 {
		return Rating{}, fmt.Errorf("thermal: without any power the %s is %.4g K above its limit: lower the ambient or raise the limit", name, over)
	}
	if c.Loss.Total() == 0 {
		return Rating{}, errors.New("thermal: a cable without loss has no rating: give its attenuation")
	}
	excess := func(p float64) float64 { // of the valid cable: only a runaway can be wrong now
		d.Power = p
		st, err := c.At(d, s)
		if err != nil {
			return math.Inf(1)
		}
		over, _ := l.excess(st)
		return over
	}
	lo, hi := 0.0, 1.0
	for excess(hi) < 0 {
		if lo, hi = hi, 2*hi; math.IsInf(hi, 0) {
			return Rating{}, errors.New("thermal: no power reaches the limits")
		}
	}
	d.Power = rootBetween(excess, lo, hi, 1e-7*hi)
	st, err := c.At(d, s)
	_, name := l.excess(st)
	return Rating{Power: d.Power, Limit: name, State: st}, err
}

// ClassicalRating returns the rating on the classical basis, 30 K of rise at
// 55 °C ambient, matched, at sea level.
func (c Cable) ClassicalRating() (Rating, error) {
	return c.Rating(Limits{Inner: ClassicalAmbient + ClassicalRise}, Drive{},
		Surroundings{Temperature: ClassicalAmbient, Pressure: SeaPressure})
}

// LinearDerating returns (tmax − tamb)/(tmax − tref), the trade's factor for a
// rating given at ambient tref when the ambient is tamb, all in K. It neglects
// that loss grows, radiation and convection fall as the surroundings change: use [Cable.Rating]
// where the cable's layers are known. It is negative above tmax.
//
// Source: common practice.
func LinearDerating(tmax, tamb, tref float64) float64 { return (tmax - tamb) / (tmax - tref) }

// Derating is the trade's chain of factors on a datasheet's average power. A
// zero factor means 1.
type Derating struct {
	Frequency   float64 // attenuation at the rated frequency over that at the used one
	Temperature float64 // LinearDerating, or a ratio of two Ratings
	Altitude    float64 // from the supplier's test, or a ratio of two Ratings
	VSWR        float64 // 1/VSWR of the whole system
}

// Factor returns the product of the factors.
//
// Source: common practice; such a chain multiplies effects that in the heat
// balance are not independent.
func (d Derating) Factor() float64 {
	f := 1.0
	for _, x := range []float64{d.Frequency, d.Temperature, d.Altitude, d.VSWR} {
		if x != 0 {
			f *= x
		}
	}
	return f
}
