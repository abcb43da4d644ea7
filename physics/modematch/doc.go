// Package modematch solves coaxial bodies of revolution: lines, steps of
// either or both conductors, beads, undercuts, counterbores, gaps in the
// centre conductor and tapers as staircases, in TEM with all TM0n modes. It
// gives scattering parameters from a few hertz to far above the cutoff of
// higher modes, step capacitances, and an estimate of its own error.
//
// [Body] describes, [Solve] computes, [Optimise] chooses dimensions.
//
// # Method
//
// The unknown is the radial electric field in the aperture of each plane, not
// the modes on its sides. A handful of trial functions that contain the
// singularity of the metal edges represent it to seven digits; the magnetic
// fields of both sides, sums over hundreds of TM0n modes, are matched in the
// sense of Galerkin. Against ordinary mode matching with 100 modes this takes
// matrices of order 10 instead of 100, and its error falls exponentially in the
// number of functions, where that of mode matching falls as the inverse square
// of the number of modes at best. The parts:
//
//	guide       TM0n modes of a cross-section, roots by the phase of H0⁽¹⁾
//	aperture    trial functions, and their couplings to modes of any order
//	side        sums over modes, extrapolated to infinitely many
//	plane       both sides, orthonormal functions, static capacitance
//	cascade     all planes at one frequency, travelling modes as waves
//
// # Symbols
//
//	a, b     inner and outer radius, m        kc   cutoff wave number, 1/m
//	ε        relative permittivity, ε′ − jε″  γ    √(kc² − εk0²), 1/m
//	φ        mode function, 1/m               y    admittance over jωε0, ε/γ, m
//	ν − 1    exponent of E at a metal edge    A    coupling of function and mode
//
// The time convention is e^{+jωt}. Diameters in the public interface, radii
// inside.
//
// # What is left out
//
// Symmetry is ideal: TE modes and modes with angular variation are not
// excited, however high the frequency; [Result.Warnings] names those that
// could travel. Conductor loss is of first order, of the side walls for the
// modes that travel or nearly do, and of the flat faces for the TEM current;
// the end face of a centre conductor at a gap has none. Walls count as flat:
// the skin depth must be small beside the radii.
package modematch
