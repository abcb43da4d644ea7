package verify

import (
	"context"
	"fmt"
	"math/rand/v2"

	"linewright/hardware/chain"
	"linewright/physics/units"
)

// A jumper whose cable carries a crushed spot 83 mm from its near connector:
// which limit it breaks, and where.
func ExamplePlan_Judge() {
	temperature := units.Celsius(23)
	plan, err := New(context.Background(), asked(0.5e9, 18e9, 1.2, 1.3), jumper(0.2, 1.15), Options{
		Rule: Guarded, Temperature: &temperature, Uncertainty: Uncertainty{Transmission: 0.1, Reflection: 0.01}})
	if err != nil {
		fmt.Println(err)
		return
	}
	x := truth{length: 0.2, loss: [3]float64{0.95, 0.95, 0.95}, near: 10e-15, far: 15e-15, bead: 80e-15, beadAt: 83e-3}
	r, err := plan.Judge(context.Background(), x.make(sweep(10e6, 18e9, 1800), rand.New(rand.NewPCG(1, 1))))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(r.Verdict)
	for _, m := range r.Margins {
		fmt.Printf("%s: %v\n", m.Limit, m.Verdict)
	}
	d := r.Along.Difference
	fmt.Printf("%s, %.0f mm from the left plane, lower impedance: %v\n", d.Name, d.Position*1e3, d.Sign < 0)
	// Output:
	// fails
	// insertion loss: meets
	// VSWR, near end: fails
	// VSWR, far end: fails
	// cable, 83 mm from the left plane, lower impedance: true
}

// A file measured at the far side of a fixture is not held against a chain that
// ends at the connector.
func ExampleCheckPlanes() {
	c := chain.Chain{LeftPlane: "mating plane of the near connector", RightPlane: "mating plane of the far connector"}
	turned, err := CheckPlanes(c, Planes{One: "Mating plane, far connector", Two: "mating plane, near connector"})
	fmt.Println(turned, err)
	_, err = CheckPlanes(c, Planes{One: "mating plane of the near connector", Two: "end of the test fixture"})
	fmt.Println(err)
	// Output:
	// true <nil>
	// port 2 stands at another plane than the chain: the file says "end of the test fixture", the chain "mating plane of the far connector"; measure at the chain's planes, or take what lies between off as a fixture; if both names mean one plane, name it as the chain does
}

// With 0.1 dB of expanded uncertainty (k = 2), a reading 0.05 dB inside its limit
// leaves one chance in six that the sample lies outside.
func ExampleInside() {
	fmt.Printf("%.0f %%\n", 100*Inside(0.05, 0.1/2))
	// Output: 84 %
}
