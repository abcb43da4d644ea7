// Package xsection computes the quasi-static cross-section of a uniform line:
// any number of conductors, of any shape, in piecewise homogeneous
// dielectrics, open or shielded.
//
// A [Section] lists what lies where; [Solve] returns the capacitance and
// inductance matrices, from them impedances and modes, the share of each metal
// in the resistance and of each dielectric in the capacitance, and the field.
// [Result.At] adds loss at a frequency.
//
// # Method
//
// The charge on every surface, free and bound, is the unknown of an integral
// equation with the logarithmic potential of free space [wei1984], so
// that open regions need no boundary and thin layers no mesh. Surfaces are cut
// into panels that shrink towards corners; on each the charge density is a
// polynomial, and the equations hold at its Gauss points. Integrals over near
// panels are exact [helsing2008]. Three things make corners converge as
// the square of what the mesh resolves there (δ^2ν, with r^(ν−1) the density
// and δ the last panel):
//
//   - the flux through the panels next to a dielectric's corner is integrated
//     truly, so that no charge appears there from nothing (conserve);
//   - charge near a point where metal and dielectrics meet is taken from the
//     flux some way off (fluxCorners);
//   - the resistance integral is continued into the corner with the
//     exponents that its angle gives (mendTips).
//
// Panels whose polynomial does not follow the density are cut, and the degree
// rises, until the change from mesh to mesh and the symmetry of C agree with
// the asked accuracy. Sections that are their own mirror image are solved by
// halves.
//
// Open sides are cut off at 10⁴ times the section's size, an error of about 1e-8.
//
// # Conventions
//
// SI units; phasors e^{+jωt}, e^{−γz}, γ = α + jβ. Voltages are those of the
// signal conductors against the reference: the electric sides, the shield, and
// the conductors named [Ground]. The total charge vanishes. A magnetic side
// stands for the mirror image: matrices are those of the half that was given.
//
// Quasi-static means that the transverse field is static and the current flows
// in a thin skin: results hold well below the cutoff of the first higher mode
// and above the frequency at which the skin is as thick as the metal.
package xsection
