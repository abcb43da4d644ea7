package fit

import (
	"math"

	"linewright/physics/line"
)

// Laminate is what a board's line does not tell on the drawing.
type Laminate struct {
	Permittivity float64 // at the frequency where the builder's dielectric is fitted
	LossTangent  float64
	Roughness    float64 // m, in the sense of the builder's roughness model; 0 at the start holds it at 0
}

// LaminateFit is the outcome of [OfLaminate].
type LaminateFit struct {
	Laminate
	Uncertainty Laminate  // standard uncertainties, of scatter alone
	Correlation float64   // of loss tangent and roughness: near −1 means that only their joint loss is known
	Alpha, Beta []float64 // residuals of α in Np/m, of β in rad/m
	AlphaRMS    float64   // Np/m
	BetaRMS     float64   // rad/m
	From, To    float64   // Hz
	Fit         Fit       // parameters: permittivity, loss tangent, roughness as shares of the start values
}

// OfLaminate finds the dielectric and the roughness with which a line of known
// geometry and metal has the propagation constant p, measured on two lengths. build
// returns that line for given values; a dielectric with FittedAt set makes it causal.
//
// α and β are fitted together, each weighted by its own scatter, found from a first
// fit, and by |sin βΔl|. Permittivity comes almost wholly from β, the rest from α, where the dielectric
// goes with f and rough metal with more than √f: over less than a decade they look alike
// (Correlation). An error of the length is an error of 2 in permittivity, relative, and
// shows nowhere; so is one of the geometry in microstrip and coplanar lines.
//
// Source: least squares on the eigenvalue method of [janezic1999], with the line
// models of package line.
func OfLaminate(p Propagation, build func(Laminate) line.Line, start Laminate) (LaminateFit, error) {
	n := len(p.Frequency)
	at := func(q []float64) Laminate {
		l := Laminate{start.Permittivity * q[0], start.LossTangent * q[1], 0}
		if start.Roughness > 0 {
			l.Roughness = start.Roughness * q[2]
		}
		return l
	}
	first := []float64{1, 1}
	if start.Roughness > 0 {
		first = append(first, 1)
	}
	y := make([]float64, 2*n)
	for k, g := range p.Gamma {
		y[k], y[n+k] = real(g), imag(g)
	}
	model := func(q, out []float64) {
		l := at(q)
		if !(l.Permittivity >= 1 && l.LossTangent >= 0 && l.Roughness >= 0) {
			for k := range out {
				out[k] = math.NaN()
			}
			return
		}
		x := build(l)
		for k, f := range p.Frequency {
			g := x.At(f).Gamma
			out[k], out[n+k] = real(g), imag(g)
		}
	}
	scatter := [2]float64{0.01, 0.01} // relative, for a start
	mean := [2]float64{}
	for k := range n {
		mean[0] += math.Abs(y[k]) / float64(n)
		mean[1] += math.Abs(y[n+k]) / float64(n)
	}
	scatter[0] *= mean[0]
	scatter[1] *= mean[1]
	var fit Fit
	for range 3 {
		sigma := make([]float64, 2*n)
		for k := range n {
			s := math.Abs(math.Sin(p.Phase[k]))
			sigma[k], sigma[n+k] = scatter[0]/s, scatter[1]/s
		}
		var err error
		fit, err = Nonlinear(model, first, y, sigma, NonlinearOptions{})
		if err != nil {
			return LaminateFit{Fit: fit}, err
		}
		first = fit.Value
		for i := range scatter {
			sum := 0.0
			for k := range n {
				r := fit.Residual[i*n+k] * math.Sin(p.Phase[k])
				sum += r * r
			}
			scatter[i] = math.Max(math.Sqrt(sum/float64(n)), 1e-12*mean[i])
		}
	}
	l := LaminateFit{Laminate: at(fit.Value), Fit: fit, Alpha: fit.Residual[:n], Beta: fit.Residual[n:], From: p.Frequency[0], To: p.Frequency[n-1]}
	l.Uncertainty = Laminate{start.Permittivity * fit.Uncertainty(0), start.LossTangent * fit.Uncertainty(1), 0}
	if start.Roughness > 0 {
		l.Uncertainty.Roughness = start.Roughness * fit.Uncertainty(2)
		l.Correlation = fit.Correlation(1, 2)
	}
	rms := func(r []float64) float64 {
		sum := 0.0
		for _, x := range r {
			sum += x * x
		}
		return math.Sqrt(sum / float64(len(r)))
	}
	l.AlphaRMS, l.BetaRMS = rms(l.Alpha), rms(l.Beta)
	return l, nil
}
