// Package fdtd solves Maxwell's equations in three dimensions in the time
// domain, and gives the scattering parameters of a structure between its ports.
//
// The fields stand on Yee's staggered grid [yee1966], which may be graded. The
// electric field stands on the edges of the cells, the magnetic field on their
// faces. With u, v the axes that follow a in the cycle x, y, z,
//
//	ε dE_a/dt + σE_a = δ_u H_v − δ_v H_u      μ dH_a/dt = −(δ_u E_v − δ_v E_u)
//
// Where metal cuts a face, the face's free area and the free lengths of its edges
// enter Faraday's law [deymittra1997]; small faces borrow area from their neighbours,
// so that the time step stays that of whole cells and the error of round metal falls
// with the square of the cell [xiaoliu2004]. At straight edges the static field of the
// edge is taken into the nearest cells [meixner1972]. Dielectrics are averaged over the face
// that surrounds an edge. Loss that follows the wideband Debye law becomes a few Debye
// poles. Metal is perfect while the fields run; what its surface impedance, plated
// and rough, changes of S is added to first order. Open sides and the lines behind
// ports end in convolutional perfectly matched layers [rodengedney2000].
//
// A port stands on a side of the region, where its line leaves. Its modes are
// computed on the grid itself, their wave numbers and impedances are those the grid
// gives them: so the waves separate to rounding error in a homogeneous line. A line of
// several conductors has as many quasi-TEM modes, a guide as many modes with cutoffs as
// are asked for. One run per mode gives the waves a and b of all of them, and S = B A⁻¹;
// what the layers behind the ports reflect therefore does not enter S. S is referred to
// the impedance the grid gives the port's line, or between the conductors of a port to a
// resistance, at the port's Plane. Result.Notes says where a mode is below its cutoff, or
// a further one travels that was not asked for.
//
// # How far to trust it
//
// docs/fdtd.md holds a table of errors against cells and time. In short:
//
//   - Round cavities: 0.03 % at 16 cells to the radius, 0.002 % with a second grid.
//   - Round coaxial ports: the line's own impedance is off by up to 0.4 (h/b)², h
//     the cell and b the outer radius, up or down as the pin happens to cut the cells.
//   - Straight edges of metal along lines of the grid are corrected for their singular
//     field: irises and steps in guides are within 0.002 of S on one grid of 10 cells to the
//     narrow wall (0.013 to 0.037 before), strips within 0.5 % of their impedance on 6 cells
//     to the gap and 0.1 % on two grids. The error then falls with the square of the cell.
//   - Probes and vias: S within 0.005 with two grids, 0.01 on one with 8 cells to the
//     outer radius. The rims of round metal's ends are not corrected: metal looks larger by
//     a part of a cell there, an error that falls with the power 4/3 of the cell, with the
//     first at round sheets: solve on two grids and [Extrapolate].
//   - The modes of a port that is not filled uniformly, or whose round wall makes faces
//     lend area, follow the frequency: they are solved on the grid's cross-section at six
//     frequencies, cubic between. A uniform microstrip of εr 9.9, 0.635 mm high, seems to
//     reflect 0.0002 at most from 1 to 20 GHz, and its permittivity is within 0.02 % of the
//     full-wave one on two grids. The impedance is power over the square of the current.
//     A mode that cannot be followed keeps its static field, and Notes says so; that
//     microstrip would then seem to reflect 0.008 at 10 GHz and 0.03 at 15. Modes of ports
//     have no loss: the shift of S to Plane turns its phase and takes no loss off.
//   - The even and odd mode of coupled microstrips are within 0.04 % of boundary elements
//     in impedance and permittivity, on two grids of 4 and 8 cells to the gap.
//   - A uniform guide of five modes turns none into another by more than 0.0002. A
//     step into a guide of TE10 and TE30 is within 0.001 of mode matching on two grids,
//     a coaxial step above the cutoff of TM01 within 0.003.
//   - Loss of conductors: TE10 of a copper guide within 0.3 % on 15 cells, a coaxial
//     line 3 % low on 12 cells to the radius and 1.3 % low with a second grid.
//
// Not here yet: corrections at round edges and at slanted ones, and where three edges meet,
// a true surface-impedance boundary. How long a solution takes is measured by who has a
// clock, not here.
//
// Everything is SI; e^{+jωt}; S is referred to each port's own line.
package fdtd

// Constants of vacuum.
const (
	c0   = 299792458.0      // m/s
	mu0  = 1.25663706144e-6 // H/m, 4π·10⁻⁷ as before the SI of 2019
	eps0 = 1 / (mu0 * c0 * c0)
)
