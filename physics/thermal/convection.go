package thermal

import (
	"math"

	"linewright/physics/line"
)

// StefanBoltzmann is the radiation constant 2π⁵k⁴/(15h³c²), in W/(m²·K⁴).
// Source: exact in the SI of 2019; printed in CODATA 2018 as 5.670374419e-8.
const StefanBoltzmann = 5.670374419184429e-8

// Rayleigh returns the Rayleigh number of a surface of temperature ts, in K, and
// characteristic length l, in m, in air of temperature ta, in K, and pressure p, in Pa:
//
//	Ra = g β |ts − ta| l³/(ν α)        β = 1/Tf, Tf = (ts + ta)/2
//
// with all properties at the film temperature Tf.
//
// Source: [incropera2007] §9.3.
func Rayleigh(ts, ta, p, l float64) float64 {
	film := Air{(ts + ta) / 2, p}
	return Gravity / film.Temperature * math.Abs(ts-ta) * l * l * l / (film.KinematicViscosity() * film.Diffusivity())
}

// NusseltHorizontalCylinder returns the mean Nusselt number hD/λ of natural
// convection from a long horizontal cylinder, with the Rayleigh number ra on
// the diameter:
//
//	Nu = {0.60 + 0.387 Ra^(1/6)/[1 + (0.559/Pr)^(9/16)]^(8/27)}²
//
// It holds for 1e-5 < Ra ≤ 1e12, in still air without walls near by. Cables
// have Ra of 1 to 1e5. There measurements scatter by about 15 %, and the power laws of
// [morgan1975] lie 8 to 25 % higher below Ra = 1e4: this formula gives the
// hotter cable.
//
// Source: [churchill1975cylinder] eq. 9 (equation number from memory).
func NusseltHorizontalCylinder(ra, pr float64) float64 {
	n := 0.60 + 0.387*math.Pow(ra, 1./6)/math.Pow(1+math.Pow(0.559/pr, 9./16), 8./27)
	return n * n
}

// NusseltVerticalPlate returns the mean Nusselt number hL/λ of natural
// convection from a vertical plate of height L, on which ra is taken:
//
//	Nu = {0.825 + 0.387 Ra^(1/6)/[1 + (0.492/Pr)^(9/16)]^(8/27)}²
//
// It serves a vertical cylinder whose boundary layer is thin beside its
// diameter: D/L ≥ 35/Gr^(1/4).
//
// Source: [churchill1975plate]; [incropera2007] eq. 9.26 and 9.27 for the
// cylinder.
func NusseltVerticalPlate(ra, pr float64) float64 {
	n := 0.825 + 0.387*math.Pow(ra, 1./6)/math.Pow(1+math.Pow(0.492/pr, 9./16), 8./27)
	return n * n
}

// NusseltVerticalCylinder returns the mean Nusselt number hL/λ of natural
// convection from a slender vertical cylinder of height l and diameter d, both
// in m, by the integral solution for laminar flow:
//
//	Nu = (4/3) [7 Ra Pr/(5 (20 + 21 Pr))]^(1/4) + 4 (272 + 315 Pr) l/(35 (64 + 63 Pr) d)
//
// A thin cylinder sheds more heat than a plate, for the boundary layer spreads
// around it. The formula is for laminar flow, Ra below about 1e9.
//
// Source: [lefevre1956], quoted from memory.
func NusseltVerticalCylinder(ra, pr, l, d float64) float64 {
	return 4./3*math.Pow(7*ra*pr/(5*(20+21*pr)), 0.25) + 4*(272+315*pr)*l/(35*(64+63*pr)*d)
}

// Radiation returns the net radiation from a grey surface at ts to
// surroundings at tsur, both in K, in W/m²: ε σ (ts⁴ − tsur⁴). The
// surroundings are large, or black, and see the whole surface.
//
// Source: [incropera2007] eq. 1.7.
func Radiation(emissivity, ts, tsur float64) float64 {
	return emissivity * StefanBoltzmann * (ts*ts*ts*ts - tsur*tsur*tsur*tsur)
}

// RadialResistance returns the thermal resistance per length of a tube of
// conductivity k, in W/(m·K), between radii r1 < r2, in K·m/W:
//
//	R = ln(r2/r1)/(2π k)
//
// Source: exact; [incropera2007] eq. 3.28.
func RadialResistance(r1, r2, k float64) float64 { return math.Log(r2/r1) / (2 * math.Pi * k) }

// PorousConductivity returns the lower Hashin-Shtrikman bound of the thermal
// conductivity, in W/(m·K), of a porous dielectric: a solid of conductivity
// solid, in W/(m·K), of which the share porosity, 0 to 1, is gas of
// conductivity gas. It is the value when the gas is the continuous phase:
//
//	k = kg [2kg + ks + 2 (1−φ)(ks − kg)]/[2kg + ks − (1−φ)(ks − kg)]
//
// An expanded dielectric conducts better than this bound, so the inner
// conductor computed with it is on the hot side.
//
// Source: [hashin1962].
func PorousConductivity(solid, gas, porosity float64) float64 {
	s := (1 - porosity) * (solid - gas)
	return gas * (2*gas + solid + 2*s) / (2*gas + solid - s)
}

// Surroundings is what takes the heat from the jacket.
type Surroundings struct {
	Temperature float64 // of the air, K
	// Pressure of the air, Pa. Zero is vacuum: radiation alone. Take it from
	// [ISA] for an altitude.
	Pressure float64
	// Radiant is the temperature of what the jacket radiates to, K; zero
	// means the air's.
	Radiant float64
	// Vertical is the height of a vertical run, m; zero is a horizontal cable.
	Vertical float64
	// Extra is heat that enters the jacket from outside, W/m: sunlight (about
	// 1000 W/m² times absorptance times diameter, common practice) or a hot
	// neighbour.
	Extra float64
}

// Shed is the heat that leaves a cylinder's surface.
type Shed struct {
	Convection  float64 // W/m
	Radiation   float64 // W/m
	Coefficient float64 // of convection, W/(m²·K)
	Rayleigh    float64
	Nusselt     float64
}

// Total returns convection and radiation together, in W/m.
func (s Shed) Total() float64 { return s.Convection + s.Radiation }

// Shed returns the heat that a cylinder of diameter d, in m, and emissivity
// e at surface temperature ts, in K, loses to its surroundings by natural
// convection and radiation. It is negative when the surroundings are hotter.
//
// Extra is not subtracted. Convection is [NusseltHorizontalCylinder], or for a
// vertical run [NusseltVerticalPlate], beyond its slenderness
// [NusseltVerticalCylinder].
func (s Surroundings) Shed(d, e, ts float64) Shed {
	var out Shed
	out.Radiation = math.Pi * d * Radiation(e, ts, s.radiant())
	if s.Pressure == 0 {
		return out
	}
	film := Air{(ts + s.Temperature) / 2, s.Pressure}
	pr := film.Prandtl()
	length := d
	if s.Vertical > 0 {
		length = s.Vertical
	}
	out.Rayleigh = Rayleigh(ts, s.Temperature, s.Pressure, length)
	switch {
	case s.Vertical == 0:
		out.Nusselt = NusseltHorizontalCylinder(out.Rayleigh, pr)
	case d/length >= 35/math.Pow(out.Rayleigh/pr, 0.25):
		out.Nusselt = NusseltVerticalPlate(out.Rayleigh, pr)
	default:
		out.Nusselt = NusseltVerticalCylinder(out.Rayleigh, pr, length, d)
	}
	out.Coefficient = out.Nusselt * film.Conductivity() / length
	out.Convection = out.Coefficient * math.Pi * d * (ts - s.Temperature)
	return out
}

func (s Surroundings) radiant() float64 {
	if s.Radiant == 0 {
		return s.Temperature
	}
	return s.Radiant
}

// coldest is the temperature at which the surface certainly takes in heat.
func (s Surroundings) coldest() float64 {
	if s.Pressure == 0 {
		return s.radiant()
	}
	return math.Min(s.Temperature, s.radiant())
}

// surface returns the temperature, in K, at which a cylinder sheds q, in W/m.
// The heat shed grows with the temperature, so one root lies above least, a
// temperature at which it sheds no more than q.
func (s Surroundings) surface(d, e, q, least float64) float64 {
	q += s.Extra
	lack := func(ts float64) float64 { return s.Shed(d, e, ts).Total() - q }
	lo, step := least, 1.0
	for lack(lo+step) < 0 {
		lo, step = lo+step, 2*step
		if step > 1e5 {
			return math.Inf(1)
		}
	}
	return rootBetween(lack, lo, lo+step, 1e-10)
}

// rootBetween returns the root of f, which rises from lo to hi, to the absolute
// tolerance in x: regula falsi with Illinois' halving, or bisection where f is infinite.
func rootBetween(f func(float64) float64, lo, hi, tol float64) float64 {
	flo, fhi := f(lo), f(hi)
	if flo >= 0 {
		return lo
	}
	x := lo
	for range 200 {
		last := x
		if x = (lo*fhi - hi*flo) / (fhi - flo); math.IsNaN(x) || x <= lo || x >= hi {
			x = lo + (hi-lo)/2
		}
		fx := f(x)
		if fx == 0 || math.Abs(x-last) <= tol || hi-lo <= tol {
			break
		}
		if fx < 0 {
			if lo == last {
				fhi /= 2
			}
			lo, flo = x, fx
		} else {
			if hi == last {
				flo /= 2
			}
			hi, fhi = x, fx
		}
	}
	return x
}

// warnings lists where the convection law is used outside its range.
func (s Surroundings) warnings(d float64, shed Shed) []line.Warning {
	var ws []line.Warning
	if s.Pressure == 0 {
		return nil
	}
	if s.Vertical == 0 && !(shed.Rayleigh > 1e-5 && shed.Rayleigh <= 1e12) && shed.Rayleigh != 0 {
		ws = append(ws, line.Warning{Model: "Churchill-Chu 1975, horizontal cylinder", Quantity: "Rayleigh number",
			Value: shed.Rayleigh, Low: 1e-5, High: 1e12, Effect: "convection coefficient not vouched for"})
	}
	if kn := (Air{s.Temperature, s.Pressure}).MeanFreePath() / d; kn > 1e-3 {
		ws = append(ws, line.Warning{Model: "continuum convection", Quantity: "mean free path/diameter",
			Value: kn, Low: 0, High: 1e-3, Effect: "rarefied air cools less than computed: optimistic; compare with vacuum"})
	}
	return ws
}
