package fit

import (
	"math"

	"linewright/physics/network"
	"linewright/physics/units"
)

// Law says which terms a loss has beside √f and f. The zero value has none.
type Law struct {
	Constant bool // a loss at 0 Hz: contacts, resistance
	Square   bool // a term of f²: roughness over a wide band, many small reflections
}

// Loss is the fitted loss law of a line or a cable:
//
//	a(f) = c + k1 √f + k2 f + k4 f²
//
// k1 is the conductors' share, k2 the dielectric's; the two are strongly correlated in any
// band, so that their sum is known far better than either. Outside From to To the law is not vouched for.
type Loss struct {
	Constant float64 // c, Np; 0 unless the law has it
	Skin     float64 // k1, Np/√Hz
	Linear   float64 // k2, Np/Hz
	Square   float64 // k4, Np/Hz²; 0 unless the law has it
	From, To float64 // Hz: the fitted range
	Law      Law
	Fit      Fit // parameters in the order k1, k2, then c and k4 where the law has them
}

// OfLoss fits the loss law to attenuations, in Np, at frequencies above 0 Hz. sigma
// holds their standard uncertainties, in Np, or is nil. Attenuations per metre give a law per metre.
//
// What it is given should be attenuation: an insertion loss holds the ripple of
// reflections as well, see [Dissipation] and [Attenuation].
//
// Source: the form is F2 of the trade and of [healey2009]; weights and covariance of [Linear].
func OfLoss(frequency, loss, sigma []float64, law Law) (Loss, error) {
	const op = "loss fit"
	if len(frequency) != len(loss) || len(frequency) == 0 {
		return Loss{}, fault(op, network.ErrShape, "", "%d frequencies, %d losses", len(frequency), len(loss))
	}
	rows := make([][]float64, len(frequency))
	for k, f := range frequency {
		if !(f > 0) {
			return Loss{}, &network.Error{Op: op, Frequency: f, Found: "a frequency that is not above 0 Hz", Err: network.ErrFrequency, Help: "leave it out"}
		}
		rows[k] = law.row(f)
	}
	fit, err := Linear(rows, loss, sigma)
	if err != nil {
		return Loss{}, err
	}
	l := Loss{Skin: fit.Value[0], Linear: fit.Value[1], Law: law, Fit: fit, From: math.Inf(1)}
	for _, f := range frequency {
		l.From, l.To = math.Min(l.From, f), math.Max(l.To, f)
	}
	rest := fit.Value[2:]
	if law.Constant {
		l.Constant, rest = rest[0], rest[1:]
	}
	if law.Square {
		l.Square = rest[0]
	}
	return l, nil
}

func (law Law) row(f float64) []float64 {
	row := []float64{math.Sqrt(f), f}
	if law.Constant {
		row = append(row, 1)
	}
	if law.Square {
		row = append(row, f*f)
	}
	return row
}

// At returns the loss at f, in Hz, and its standard uncertainty, both in Np. Beyond
// the fitted range they come with an error of ErrRange.
func (l Loss) At(f float64) (loss, uncertainty float64, err error) {
	row := l.Law.row(f)
	for i, x := range row {
		loss += x * l.Fit.Value[i]
	}
	if !(f >= l.From && f <= l.To) {
		err = &network.Error{Op: "loss law", Frequency: f, Found: "the fit holds from " + units.Frequency(l.From).String() + " to " + units.Frequency(l.To).String(), Err: ErrRange, Help: "measure there, or stay inside"}
	}
	return loss, l.Fit.Of(row...), err
}

// Attenuation returns the matched attenuation of a two-port in Np, its loss without the
// ripple of its own reflections: that of the line with the two-port's image
// parameters,
//
//	cosh γl = (A + D)/2 = (1 + S21 S12 − S11 S22)/(S21 + S12)        (real, equal references)
//
// from the chain matrix: exact for a uniform line of any impedance. Of a two-port
// that is not alike from both ends it is the attenuation of a chain of
// such two-ports turned about each time. At whole half waves between unequal ends it
// has no answer to give but noise.
//
// Source: image parameters, [pozar2012] §8.1; the S form follows from Table 4.2.
func Attenuation(n network.Network) ([]float64, error) {
	m, err := n.ABCD()
	if err != nil {
		return nil, err
	}
	a := make([]float64, len(m))
	for k, t := range m {
		a[k] = math.Abs(real(acosh((t.A + t.D) / 2)))
	}
	return a, nil
}

// Dissipation returns what a two-port loses beside its reflections, in Np, as the mean over
// its two ends:
//
//	−½ ln(|S21 S12| / √((1 − |S11|²)(1 − |S22|²)))
//
// For a line between connectors of small reflections ρ it is their attenuation to order
// ρ², with less ripple than insertion loss has; [Attenuation] does better only for
// a uniform line (TestDissipation: 1.3 against 3.7 % at most). A two-port that returns as much as it gets has none: +Inf or NaN.
//
// Source: derived here, from the power that enters either end.
func Dissipation(n network.Network) ([]float64, error) {
	if n.Ports != 2 {
		return nil, fault("dissipation", network.ErrShape, "choose two ports with Reorder", "%d ports", n.Ports)
	}
	abs2 := func(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }
	a := make([]float64, len(n.Frequency))
	for k := range a {
		s := n.Matrix(k)
		a[k] = -0.25 * (math.Log(abs2(s[1])*abs2(s[2])) - math.Log((1-abs2(s[0]))*(1-abs2(s[3]))))
	}
	return a, nil
}
