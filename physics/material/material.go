// Package material holds what lines are made of: metals with plating and
// roughness as surface impedances, dielectrics as complex permittivity against
// frequency and temperature, and tables of named materials in which every
// number carries its source.
//
// Everything is SI; temperatures are in kelvin. The time convention is
// e^{+jωt}: ε = ε′ − jε″, tan δ = ε″/ε′, μ = μ′ − jμ″, and an inductive
// surface has a positive imaginary part.
//
//	σ   conductivity, S/m          δ   skin depth, m
//	ρ   resistivity, Ω m           Rs  surface resistance, Ω
//	ζ   wave impedance in metal, Ω k   wave number in metal, 1/m
package material

import "math"

// ReferenceTemperature is 20 °C in kelvin, at which conductivities stand.
const ReferenceTemperature = 293.15

// mu0 is the conventional magnetic constant, H/m, as in physics/line.
const mu0 = 4e-7 * math.Pi
