// Package fdtd solves Maxwell's equations in three dimensions in the time
// domain, and gives the scattering parameters of a structure between its ports.
//
// The fields stand on Yee's staggered grid [yee1966], which may be graded. The
// electric field stands on the edges of the cells, the magnetic field on their
// faces. With u, v the axes that follow a in the cycle x, y, z,
//
//	ε dE_a/dt + σE_a = δ_u H_v − δ_v H_u      μ dH_a/dt = −(δ_u E_v − δ_v E_u)
//
// Metal is perfect. Where it cuts a face, the face's free area and the free
// lengths of its edges enter Faraday's law [deymittra1997]; an area too small
// for the time step is taken as large as the step allows. Dielectrics are
// averaged over the face that surrounds an edge. Loss that follows the wideband
// Debye law becomes a few Debye poles. Open sides and the lines behind
// ports end in convolutional perfectly matched layers [rodengedney2000].
//
// A port stands on a side of the region, where its line leaves. Its mode is
// computed on the grid itself, its wave number and impedance are those the grid
// gives it: so the waves separate to rounding error in a homogeneous line. One
// run per port gives the waves a and b at all ports, and S = B A⁻¹; what the
// layers behind the ports reflect therefore does not enter S.
//
// Not here yet: loss of conductors, machine-code kernels and tiles in time, the
// dispersion of quasi-TEM ports (their mode is the static one), a time estimate, edge corrections at sharp metal edges (solve on two
// grids and extrapolate with the power 4/3). Not tested: round
// coaxial ports, vias and probes, Debye poles, the matched layers on open sides.
// The tests behind -long of round cavities are known to fail.
//
// Everything is SI; e^{+jωt}; S is referred to each port's own line.
package fdtd

// Constants of vacuum.
const (
	c0   = 299792458.0      // m/s
	mu0  = 1.25663706144e-6 // H/m, 4π·10⁻⁷ as before the SI of 2019
	eps0 = 1 / (mu0 * c0 * c0)
)
