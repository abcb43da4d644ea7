// Package thermal answers two questions about the power a coaxial line may
// carry: how hot does it get, and at what voltage does its gas break down?
//
// Average power is a matter of heat. [Cable.At] balances the heat made in the
// conductors and the dielectric against conduction through the layers, natural
// convection and radiation at the jacket, in air of any pressure ([ISA]), with
// the conductors' loss rising with their own temperature; [Cable.Rating]
// inverts it. Peak power is a matter of field: [CoaxBreakdownPower],
// [Paschen], [GapBreakdown].
//
// Everything is SI: temperatures in kelvin, pressures in pascal, lengths,
// radii included, in metres, heat per length in W/m. Field strengths and
// voltages of breakdown are peak values. Attenuation is in Np/m of field, so a
// wave of power P loses 2αP to each metre.
//
// None of the models here says that anything is safe. Each result carries
// [Caution] texts to be shown with it, and the assumptions that make it look
// better than the real thing, so that they are not lost on the way.
package thermal
