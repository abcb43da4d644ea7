package deembed_test

import (
	"fmt"
	"math"
	"math/cmplx"

	"linewright/physics/deembed"
	"linewright/physics/network"
)

// A part of 30 fF to ground, measured through two 50 Ω feeds of 40 and 60 ps; the right
// answer is S11 = −jωCZ/(2 + jωCZ).
func ExampleFixture_Remove() {
	f := make([]float64, 400)
	for k := range f {
		f[k] = 100e6 * float64(k+1)
	}
	feed := func(delay float64) network.Network {
		n := network.New(2, f, 50)
		for k := range f {
			t := cmplx.Exp(complex(0, -2*math.Pi*f[k]*delay))
			n.Set(k, 0, 1, t)
			n.Set(k, 1, 0, t)
		}
		return n
	}
	part := network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*30e-15) })
	left, right := feed(40e-12), feed(60e-12)
	whole, err := network.Cascade(left, part, right)
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := deembed.Fixture{Left: left, Right: right}.Remove(whole)
	if err != nil {
		fmt.Println(err)
		return
	}
	k := 279 // 28 GHz
	y := complex(0, 2*math.Pi*f[k]*30e-15*50)
	fmt.Printf("at %.0f GHz: S11 %.4f at %.2f°, by the formula %.4f at %.2f°\n", f[k]/1e9,
		cmplx.Abs(r.Network.At(k, 0, 0)), cmplx.Phase(r.Network.At(k, 0, 0))*180/math.Pi, cmplx.Abs(-y/(2+y)), cmplx.Phase(-y/(2+y))*180/math.Pi)
	fmt.Printf("errors grow %.2f times; turned about: %v\n", r.Growth[k], len(r.Turned) > 0)
	// Output:
	// at 28 GHz: S11 0.1308 at -97.52°, by the formula 0.1308 at -97.52°
	// errors grow 1.00 times; turned about: false
}
