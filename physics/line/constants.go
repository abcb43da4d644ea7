package line

import "math"

const pi = math.Pi

// Constants of the 2019 SI to the digits that matter here; the magnetic
// constant is the conventional 4π·10⁻⁷, 5.5e-10 off the measured one, so that
// printed impedances are met. Source: the reference tables' README.
const (
	C0  = 299792458.0    // speed of light, m/s, exact
	Mu0 = 4e-7 * math.Pi // magnetic constant, H/m
)

// Electric constant, F/m, and wave impedance of free space, Ω.
const (
	Eps0 = 1 / (Mu0 * C0 * C0)
	Eta0 = Mu0 * C0
)
