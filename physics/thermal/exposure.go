package thermal

import (
	"fmt"
	"math"
)

// Person says for whom a reference level of exposure is meant.
type Person int

// The two classes of the exposure guidelines.
const (
	Public       Person = iota // general public
	Occupational               // trained people, controlled
)

// ExposureReference returns the reference level of local incident power
// density, in W/m², at frequency f, in Hz, averaged over 6 minutes and, up to
// 30 GHz, 4 cm²:
//
//	public 55 f^(−0.177),  occupational 275 f^(−0.177)        f in GHz, 6 < f ≤ 300
//
// It is information for a caution text, no assessment of exposure: other
// limits apply below 6 GHz, to the whole body, to short pulses and near the source,
// and the law of the place decides which limits hold at all. Outside 6 to 300 GHz it
// returns an error.
//
// Source: [icnirp2020] Table 6.
func ExposureReference(f float64, who Person) (float64, error) {
	if !(f > 6e9 && f <= 300e9) {
		return 0, fmt.Errorf("thermal: exposure reference level at %.6g GHz: only the range above 6 and up to 300 GHz is held here; use ICNIRP 2020 or the limits in force", f/1e9)
	}
	k := 55.0
	if who == Occupational {
		k = 275
	}
	return k * math.Pow(f/1e9, -0.177), nil
}

// IsotropicDistance returns the distance, in m, at which power p, in W,
// radiated with gain g (a ratio, 1 for isotropic) makes the power density s,
// in W/m²: √(p g/(4π s)). It is a far-field estimate; close to an open port the
// field is reactive and can be stronger.
func IsotropicDistance(p, g, s float64) float64 { return math.Sqrt(p * g / (4 * math.Pi * s)) }
