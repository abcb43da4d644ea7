package thermal

import (
	"math"
	"strconv"
	"testing"

	"linewright/internal/refcheck"
)

func TestMain(m *testing.M) { refcheck.Main(m, "physics-thermal") }

const torr = SeaPressure / 760

// Every row of power.csv, each under its own tolerance.
func TestPowerTable(t *testing.T) {
	for _, r := range refcheck.Rows(t, "power.csv") {
		switch r.Quantity {
		case "breakdown_peak_power_W":
			p := PeakCase{InnerRadius: r.Num(t, "inner_diameter_m") / 2, OuterRadius: r.Num(t, "outer_diameter_m") / 2,
				Er: r.Num(t, "eps_r"), Field: r.Num(t, "breakdown_field_peak_V_per_m"), VSWR: r.Num(t, "vswr")}
			got, err := p.Breakdown()
			if err != nil {
				t.Fatal(err)
			}
			r.Check(t, got.Delivered)
		case "breakdown_field_V_per_m":
			r.Check(t, AirField) // the row allows 10 % about the rounded design value
		case "peak_power_ceiling_W":
			r.Check(t, PeakPowerCeiling(r.Num(t, "maximum_frequency_Hz"), 1, r.Num(t, "breakdown_field_peak_V_per_m")))
		case "peak_power_derating_factor":
			if r.Has("vswr") {
				r.Check(t, DeliveredFactor(r.Num(t, "vswr")))
				continue
			}
			r.Check(t, DensityFactor(isa(t, r.Num(t, "altitude_geometric_m"))))
		case "maximum_voltage_V_peak":
			r.Check(t, MaximumVoltage(r.Num(t, "incident_power_W"), r.Num(t, "z0_ohm"), r.Num(t, "vswr")))
		case "paschen_breakdown_voltage_V":
			r.Check(t, paschenOf(t, r).Voltage(r.Num(t, "pressure_distance_Torr_cm")*torrCM))
		case "paschen_minimum_pressure_distance_Torr_cm":
			_, pd := paschenOf(t, r).Minimum()
			r.Check(t, pd/torrCM)
		case "paschen_minimum_voltage_V":
			v, _ := paschenOf(t, r).Minimum()
			r.Check(t, v)
		case "uniform_field_breakdown_V_peak":
			r.Check(t, UniformFieldBreakdown(r.Num(t, "gap_m"), Air{r.Num(t, "temperature_K"), r.Num(t, "pressure_Torr") * torr}))
		case "density_ratio_to_sea_level":
			r.Check(t, isa(t, r.Num(t, "altitude_geometric_m")).RelativeDensity())
		case "pressure_Pa":
			r.Check(t, isa(t, r.Num(t, "altitude_geometric_m")).Pressure)
		case "temperature_K":
			r.Check(t, isa(t, r.Num(t, "altitude_geometric_m")).Temperature)
		case "density_kg_per_m3":
			r.Check(t, isa(t, r.Num(t, "altitude_geometric_m")).Density())
		case "value_W_per_m2_K4":
			r.Check(t, StefanBoltzmann)
		case "total_heat_W_per_m", "rayleigh_number", "convection_heat_W_per_m", "radiation_heat_W_per_m", "nusselt_number_churchill_chu":
			checkPipe(t, r)
		case "radial_thermal_resistance_K_m_per_W":
			r.Check(t, RadialResistance(r.Num(t, "inner_radius_m"), r.Num(t, "outer_radius_m"), r.Num(t, "thermal_conductivity_W_per_m_K")))
		case "dissipation_W_per_m":
			r.Check(t, DissipationPerMetre(r.Num(t, "power_W"), neper(r.Num(t, "attenuation_dB_per_m"))))
		case "total_dissipation_W":
			r.Check(t, Dissipation(r.Num(t, "power_W"), neper(r.Num(t, "attenuation_dB_per_m")), r.Num(t, "length_m")))
		case "resistance_temperature_coefficient_per_K":
			r.Check(t, CopperCoefficient)
		case "conductor_attenuation_ratio":
			r.Check(t, LossRatio(CopperCoefficient, r.Num(t, "temperature_C"), r.Num(t, "reference_temperature_C")))
		case "average_power_derating_factor":
			r.Check(t, LinearDerating(r.Num(t, "maximum_temperature_C"), r.Num(t, "ambient_temperature_C"), r.Num(t, "reference_ambient_C")))
		default:
			t.Errorf("%s: no check for %s", r.ID, r.Quantity)
		}
	}
}

func isa(t *testing.T, z float64) Air {
	t.Helper()
	a, err := ISA(z)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func neper(dB float64) float64 { return dB * math.Ln10 / 20 }

func paschenOf(t *testing.T, r refcheck.Row) Paschen {
	return Paschen{A: r.Num(t, "A_per_cm_Torr") / torrCM, B: r.Num(t, "B_V_per_cm_Torr") / torrCM, Gamma: r.Num(t, "gamma")}
}

// checkPipe checks a row of a worked pipe problem with the properties that the
// book reads from its tables.
func checkPipe(t *testing.T, r refcheck.Row) {
	if r.Has("rayleigh_number") { // the bare correlation
		r.Check(t, NusseltHorizontalCylinder(r.Num(t, "rayleigh_number"), r.Num(t, "prandtl")))
		return
	}
	d := r.Num(t, "diameter_m")
	if r.Has("convection_coefficient_W_per_m2_K") {
		ts, ta := r.Num(t, "surface_temperature_C")+273.15, r.Num(t, "ambient_temperature_C")+273.15
		r.Check(t, math.Pi*d*(r.Num(t, "convection_coefficient_W_per_m2_K")*(ts-ta)+Radiation(r.Num(t, "emissivity"), ts, ta)))
		return
	}
	ts, ta := r.Num(t, "surface_temperature_K"), r.Num(t, "ambient_temperature_K")
	const g = 9.8 // as the book takes it
	ra := g * 2 / (ts + ta) * (ts - ta) * d * d * d / (r.Num(t, "kinematic_viscosity_m2_per_s") * r.Num(t, "thermal_diffusivity_m2_per_s"))
	nu := NusseltHorizontalCylinder(ra, r.Num(t, "prandtl"))
	convection := nu * r.Num(t, "thermal_conductivity_W_per_m_K") * math.Pi * (ts - ta)
	radiation := math.Pi * d * Radiation(r.Num(t, "emissivity"), ts, ta)
	switch r.Quantity {
	case "rayleigh_number":
		r.Check(t, ra)
	case "nusselt_number_churchill_chu":
		r.Check(t, nu)
	case "convection_heat_W_per_m":
		r.Check(t, convection)
	case "radiation_heat_W_per_m":
		r.Check(t, radiation)
	case "total_heat_W_per_m":
		r.Check(t, convection+radiation)
	}
}

// Layer bases at geopotential altitude as the U.S. Standard Atmosphere 1976
// prints them (from memory). Its gas constant, 8314.32/28.9644, is 7e-7 above
// that of ISO 2533, which the pressure raises to the power ln(p0/p): 1e-5
// covers it. The transport properties stand at half the last printed digit.
func TestStandardAtmosphere(t *testing.T) {
	const us76 = "U.S. Standard Atmosphere 1976, Table I and ISO 2533:1975 (from memory)"
	for _, c := range []struct{ h, p, temp float64 }{
		{11000, 22632.06, 216.65}, {20000, 5474.889, 216.65}, {32000, 868.0187, 228.65},
		{47000, 110.9063, 270.65}, {51000, 66.93887, 270.65}, {71000, 3.956420, 214.65},
	} {
		a, err := ISAGeopotential(c.h)
		if err != nil {
			t.Fatal(err)
		}
		refcheck.Record(t, "layer base "+ftoa(c.h)+" m", "pressure_Pa", us76, c.p, a.Pressure, 1e-5*c.p)
		if !(math.Abs(a.Temperature-c.temp) <= 1e-9) {
			t.Errorf("%g m: %g K, table %g", c.h, a.Temperature, c.temp)
		}
	}
	sea := Air{SeaTemp, SeaPressure}
	refcheck.Record(t, "viscosity at sea level", "dynamic_viscosity_Pa_s", us76, 1.7894e-5, sea.Viscosity(), 0.5e-9)
	refcheck.Record(t, "conductivity at sea level", "thermal_conductivity_W_per_m_K", "ISO 2533:1975 (from memory)", 2.5343e-2, sea.Conductivity(), 0.5e-6)
	// Jennings takes the hard-sphere factor 0.4987 where we take 1/2, and a viscosity 0.3 % higher.
	refcheck.Record(t, "mean free path at 20 °C", "mean_free_path_m", "Jennings 1988 (from memory)", 6.543e-8, Air{293.15, SeaPressure}.MeanFreePath(), 0.006*6.543e-8)
	refcheck.Record(t, "density at sea level", "density_kg_per_m3", us76, 1.2250, sea.Density(), 0.5e-4)
	// Below sea level the first gradient goes on (ICAO Doc 7488, from memory).
	if a, err := ISAGeopotential(-1000); err != nil || !(math.Abs(a.Pressure-113929) <= 1) {
		t.Errorf("-1000 m: %v, %v; tables print 113 929 Pa", a, err)
	}
	for _, h := range []float64{-2001, 80001, math.NaN()} {
		if _, err := ISAGeopotential(h); err == nil {
			t.Errorf("%g m: no error", h)
		}
	}
	for _, z := range []float64{-1500, 0, 8848, 40000} {
		if got := Geometric(Geopotential(z)); !(math.Abs(got-z) <= 1e-8) {
			t.Errorf("geometric(geopotential(%g)) = %g", z, got)
		}
	}
}

// Properties of air at atmospheric pressure as printed in a heat-transfer
// text. Its transport data come from another correlation than the standard
// atmosphere's; the two differ by up to 2 %.
func TestAirProperties(t *testing.T) {
	const table = "Incropera and DeWitt, Table A.4, air at atmospheric pressure (from memory)"
	for _, c := range []struct{ t, cp, mu, k, pr float64 }{
		{250, 1006, 159.6e-7, 22.3e-3, 0.720},
		{300, 1007, 184.6e-7, 26.3e-3, 0.707},
		{350, 1009, 208.2e-7, 30.0e-3, 0.700},
		{400, 1014, 230.1e-7, 33.8e-3, 0.690},
		{500, 1030, 270.1e-7, 40.7e-3, 0.684},
		{600, 1051, 305.8e-7, 46.9e-3, 0.685},
	} {
		a := Air{c.t, SeaPressure}
		at := " at " + ftoa(c.t) + " K"
		refcheck.Record(t, "cp"+at, "heat_capacity_J_per_kg_K", table, c.cp, a.HeatCapacity(), 0.004*c.cp)
		refcheck.Record(t, "mu"+at, "dynamic_viscosity_Pa_s", table, c.mu, a.Viscosity(), 0.02*c.mu)
		refcheck.Record(t, "k"+at, "thermal_conductivity_W_per_m_K", table, c.k, a.Conductivity(), 0.025*c.k)
		refcheck.Record(t, "Pr"+at, "prandtl", table, c.pr, a.Prandtl(), 0.035*c.pr)
	}
}

// Whole worked problems with our own air, where the books read theirs from
// tables that differ from it by up to 3 %: 5 % of agreement is asked, where
// natural convection itself is known to about 15 %.
func TestWorkedProblems(t *testing.T) {
	const cengel = "Cengel, Heat Transfer, Example 9-1 (horizontal 8 cm pipe at 70 °C in a 20 °C room; from memory)"
	pipe := Surroundings{Temperature: 293.15, Pressure: SeaPressure}.Shed(0.08, 1, 343.15)
	refcheck.Record(t, "Cengel 9-1 Rayleigh", "rayleigh_number", cengel, 1.869e6, pipe.Rayleigh, 0.05*1.869e6)
	refcheck.Record(t, "Cengel 9-1 Nusselt", "nusselt_number", cengel, 17.40, pipe.Nusselt, 0.05*17.40)
	refcheck.Record(t, "Cengel 9-1 coefficient", "convection_coefficient_W_per_m2_K", cengel, 5.869, pipe.Coefficient, 0.05*5.869)
	refcheck.Record(t, "Cengel 9-1 convection", "convection_heat_W_6m", cengel, 443, 6*pipe.Convection, 0.05*443)
	refcheck.Record(t, "Cengel 9-1 radiation", "radiation_heat_W_6m", cengel, 553, 6*pipe.Radiation, 0.005*553)

	const incropera = "Incropera and DeWitt, Example 9.4, our own air properties (book's result from memory)"
	steam := Surroundings{Temperature: 296, Pressure: SeaPressure}.Shed(0.1, 0.85, 438)
	refcheck.Record(t, "Incropera 9.4 own air", "total_heat_W_per_m", incropera, 766, steam.Total(), 0.05*766)

	small := Surroundings{Temperature: 293.15, Pressure: SeaPressure}.Shed(0.05, 0.8, 323.15)
	refcheck.Record(t, "pipe d042 own convection", "total_heat_W_per_m", "the public problem of row power-d042, its h = 6.5 computed here instead", 55.7, small.Total(), 0.15*55.7)
}

// A second correlation, on other data. It agrees within 10 % from Ra = 1e4 up. Below
// it stands 8 to 25 % above Churchill and Chu, so that the latter gives the
// hotter cable: the difference is on record here, not forgiven.
func TestMorgan(t *testing.T) {
	morgan := func(ra float64) float64 {
		switch {
		case ra < 1e2:
			return 1.02 * math.Pow(ra, 0.148)
		case ra < 1e4:
			return 0.850 * math.Pow(ra, 0.188)
		}
		return 0.480 * math.Pow(ra, 0.250)
	}
	const src = "Morgan 1975, as in Incropera and DeWitt, Table 9.1 (from memory)"
	for _, ra := range []float64{1e4, 1e5, 1e6, 1e7} {
		refcheck.Record(t, "Morgan Ra="+ftoa(ra), "nusselt_number", src, morgan(ra), NusseltHorizontalCylinder(ra, 0.7), 0.10*morgan(ra))
	}
	for _, ra := range []float64{1, 10, 99, 1e3, 9e3} {
		if q := NusseltHorizontalCylinder(ra, 0.7) / morgan(ra); !(q > 0.79 && q < 0.93) {
			t.Errorf("Ra = %g: Churchill-Chu is %.3f of Morgan, known to be 0.80 to 0.92", ra, q)
		}
	}
}

// A slender vertical cylinder tends to the laminar plate when it is thick, and
// sheds more than the plate when it is thin.
func TestVerticalCylinder(t *testing.T) {
	// Laminar plate of the same source: (4/3)(7 Ra Pr/(5(20+21Pr)))^¼ = 0.547 Ra^¼;
	// the similarity solution has 0.514 (Ostrach 1953, from memory).
	got := NusseltVerticalCylinder(1e8, 0.7, 1, 1e9) / 100
	if !(math.Abs(got-0.514) <= 0.07*0.514) {
		t.Errorf("thick cylinder: Nu/Ra^¼ = %.4f, want the plate's 0.514 within 7 %%", got)
	}
	s := Surroundings{Temperature: 300, Pressure: SeaPressure, Vertical: 1}
	thin, thick := s.Shed(0.004, 0, 330), s.Shed(0.5, 0, 330)
	if !(thin.Coefficient > thick.Coefficient) {
		t.Errorf("4 mm vertical cable: h = %.2f, plate-like 0.5 m: %.2f W/(m²·K)", thin.Coefficient, thick.Coefficient)
	}
	want := NusseltVerticalPlate(thick.Rayleigh, Air{315, SeaPressure}.Prandtl())
	if thick.Nusselt != want {
		t.Errorf("0.5 m cylinder uses Nu %g, plate has %g", thick.Nusselt, want)
	}
}

// near compares with a figure that another hand computed from a printed
// formula: an independent evaluation, but no publication to record.
func near(t *testing.T, name string, want, got, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.6g, another hand has %g ± %g", name, got, want, tol)
	}
}

func TestSecondHandFigures(t *testing.T) {
	for _, c := range []struct {
		name         string
		inner, outer float64 // diameters, mm
		want, tol    float64 // kW
	}{{"2.92 mm", 1.27, 2.92, 23, 0.6}, {"1.85 mm", 0.8036, 1.85, 9.4, 0.06}, {"1.0 mm", 0.4343, 1.0, 2.8, 0.06}} {
		p, err := PeakCase{InnerRadius: c.inner / 2e3, OuterRadius: c.outer / 2e3}.Breakdown()
		if err != nil {
			t.Fatal(err)
		}
		near(t, "ceiling of a "+c.name+" line at 2.9 MV/m, kW", c.want, p.Matched/1e3, c.tol)
	}
	for _, c := range []struct{ z, want, tol float64 }{{3e3, 0.48, 0.005}, {6e3, 0.22, 0.005}, {10e3, 0.068, 0.0005}, {15e3, 0.014, 0.0005}} {
		r := isa(t, c.z).Pressure / SeaPressure
		near(t, "pressure squared at "+ftoa(c.z)+" m", c.want, r*r, c.tol)
	}
}

// The formula's coefficients are those of ICNIRP 2020 Table 6; the values are
// another hand's.
func TestExposureReference(t *testing.T) {
	for _, c := range []struct {
		f    float64
		who  Person
		want float64
	}{{28, Occupational, 152}, {28, Public, 30}, {77, Occupational, 127}, {77, Public, 25}} {
		got, err := ExposureReference(c.f*1e9, c.who)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "exposure level at "+ftoa(c.f)+" GHz, W/m²", c.want, got, 0.55)
	}
	// The guideline's levels meet its round ends: 200 W/m² at 6 GHz and 100 W/m² at 300 GHz.
	for _, c := range []struct{ f, want float64 }{{6.0001e9, 200}, {300e9, 100}} {
		if got, _ := ExposureReference(c.f, Occupational); !(math.Abs(got-c.want) <= 0.003*c.want) {
			t.Errorf("%g Hz: %g W/m², want about %g", c.f, got, c.want)
		}
	}
	for _, f := range []float64{6e9, 301e9, 0, math.NaN()} {
		if _, err := ExposureReference(f, Public); err == nil {
			t.Errorf("%g Hz: no error", f)
		}
	}
	level, _ := ExposureReference(28e9, Public)
	near(t, "distance of 1 W to the public level at 28 GHz, m", 0.05, IsotropicDistance(1, 1, level), 0.005)
}

func ftoa(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
