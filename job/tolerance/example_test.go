package tolerance_test

import (
	"context"
	"fmt"

	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/job/tolerance"
	"linewright/physics/units"
)

// A metre of cable, cut to ±0.5 mm, must be within ±2 ps of a stored delay: the
// tolerance comes to ±2.1 ps, evenly, so 95.93 % of the pieces do.
func ExampleStudy_Run() {
	velocity, match := 0.8, units.Must[units.Time]("2 ps")
	cable := chain.Cable{Length: 1, Part: part.Cable{Common: part.Common{ID: "C"}, VelocityFactor: &velocity}}
	e := enquiry.Enquiry{ID: "spares", Band: []enquiry.Band{{From: 1e9, To: 2e9}}, Match: &enquiry.Match{Kind: enquiry.Absolute, Delay: &match}}
	var half tolerance.Amount
	if err := half.UnmarshalText([]byte("0.5 mm")); err != nil {
		fmt.Println(err)
		return
	}
	s, err := tolerance.New(e, chain.Built{Chain: chain.Chain{Name: "spare", Elements: []chain.Element{cable}}, Roles: []chain.Role{chain.RoleCable}},
		tolerance.Tolerances{Tolerances: []tolerance.Tolerance{{Piece: "cable", Quantity: tolerance.Length, HalfWidth: &half}}}, tolerance.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := s.Run(context.Background(), tolerance.Options{Samples: 4096, Method: "sobol"})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f %%, driven by %s\n", 100*r.Yield.Share, r.Limits[0].Drivers[0].Name)
	// Output: 95.9 %, driven by cable: length
}
