package thermal_test

import (
	"fmt"

	"linewright/physics/thermal"
)

// A PTFE semi-rigid cable of 3.58 mm (invented loss figures) carries 30 W at
// 18 GHz through a load VSWR of 1.3 in a bay at 71 °C, on the ground and at 15 km.
func ExampleCable_At() {
	cable := thermal.Cable{
		InnerRadius: 0.46e-3, DielectricRadius: 1.495e-3, OuterRadius: 1.79e-3,
		DielectricConductivity: 0.25, Emissivity: 0.2,
		Loss: thermal.Loss{Inner: 0.10, Dielectric: 0.035, Outer: 0.03},
	}
	for _, km := range []float64{0, 15} {
		air, _ := thermal.ISA(km * 1e3)
		bay := thermal.Surroundings{Temperature: 344.15, Pressure: air.Pressure}
		st, err := cable.At(thermal.Drive{Power: 30, VSWR: 1.3}, bay)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%2.0f km: inner %.0f °C, surface %.0f °C\n", km, st.Inner-273.15, st.Surface-273.15)
	}
	fmt.Println(thermal.CautionHotParts)
	// Output:
	//  0 km: inner 155 °C, surface 147 °C
	// 15 km: inner 200 °C, surface 192 °C
	// Hot parts: jackets and the connector nearest the source can exceed touch temperatures long before the cable's own limit. Guard, label and let cool.
}

func ExampleCable_Rating() {
	cable := thermal.Cable{
		InnerRadius: 0.46e-3, DielectricRadius: 1.495e-3, OuterRadius: 1.79e-3,
		DielectricConductivity: 0.25, Emissivity: 0.2,
		Loss: thermal.Loss{Inner: 0.10, Dielectric: 0.035, Outer: 0.03},
	}
	room := thermal.Surroundings{Temperature: 298.15, Pressure: thermal.SeaPressure}
	hot, _ := cable.Rating(thermal.Limits{Inner: thermal.HighPowerLimit}, thermal.Drive{}, room)
	fmt.Printf("to 204 °C inside: %.0f W, by the %s\n", hot.Power, hot.Limit)
	// Output: to 204 °C inside: 88 W, by the inner conductor
}

func ExamplePeakCase_Breakdown() {
	airline := thermal.PeakCase{InnerRadius: 0.635e-3, OuterRadius: 1.46e-3, VSWR: 1.5} // 2.92 mm
	p, _ := airline.Breakdown()
	fmt.Printf("ceiling %.1f kW delivered\n", p.Delivered/1e3)
	fmt.Println(p.Assumptions[0])
	// Output:
	// ceiling 15.7 kW delivered
	// Smooth, clean, concentric conductors: edges, burrs, contact gaps and dirt lower the breakdown power by one to two orders of magnitude (common practice). Failure is usually at the junction of cable and connector.
}
