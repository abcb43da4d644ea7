package line

import "math"

// Wen returns the exact quasi-static values of a coplanar line of zero
// thickness on a dielectric half space, with lateral grounds out to infinity:
//
//	εe = (εr+1)/2     Z = η0/(4√εe) · K(k′)/K(k)     k = w/(w+2g)
//
// Source: [wen1969].
func Wen(width, gap, er float64) Static {
	e := (er + 1) / 2
	return Static{Eta0 / (4 * math.Sqrt(e)) / slotModulus(width, gap).ratio(), e}
}

// GhioneNaldi returns the quasi-static values of a coplanar line of zero
// thickness on a substrate of finite height, in metres, with a ground plane
// below it or with air below it, by conformal maps that put a magnetic wall
// into the slots:
//
//	air below:     εe = 1 + (εr−1)/2 · [K(k1)/K(k1′)] / [K(k)/K(k′)]
//	               k1 = sinh(πw/4h)/sinh(π(w+2g)/4h)
//	ground below:  εe = (1+εr q)/(1+q)     q = [K(k3)/K(k3′)] / [K(k)/K(k′)]
//	               k3 = tanh(πw/4h)/tanh(π(w+2g)/4h)
//	               Z = η0/(2√εe) / (K(k)/K(k′) + K(k3)/K(k3′))
//
// Over ground the impedance is good to 0.1 % while the gap is below half the
// height, 1.2 % high when the gap exceeds it and 7 % high at gap = 5 heights;
// with air below to 0.4 % in impedance on thick substrates and 1 % on thin.
//
// Source: [veyres1980]; [ghione1984]; [ghione1987]; errors from the
// spectral-domain rows of the reference tables.
func GhioneNaldi(width, gap, height, er float64, groundBelow bool) Static {
	up := slotModulus(width, gap).ratio()
	a, b, d := pi*width/(4*height), pi*(width+2*gap)/(4*height), pi*gap/(2*height)
	if groundBelow {
		low := tanhModulus(a, b, d).ratio()
		q := low / up
		e := (1 + er*q) / (1 + q)
		return Static{Eta0 / (2 * math.Sqrt(e)) / (up + low), e}
	}
	e := 1 + (er-1)/2*sinhModulus(a, b, d).ratio()/up
	return Static{Eta0 / (4 * math.Sqrt(e)) / up, e}
}

// FrankelDispersion returns the effective permittivity, at frequency f in Hz,
// of a coplanar line of quasi-static value static on a substrate of the given
// height with air below:
//
//	√εe(f) = √εe(0) + (√εr − √εe(0)) / (1 + a (f/fTE)^−1.8)     fTE = c/(4h√(εr−1))
//	ln a = u ln(w/g) + v     p = ln(w/h)
//	u = 0.54 − 0.64p + 0.015p²     v = 0.43 − 0.86p + 0.540p²
//
// Claimed accuracy 5 % of εe(f) − εe(0) for 0.1 < w/g < 5, 0.1 < w/h < 5,
// 1.5 < εr < 50, f < 10 fTE (range from memory).
//
// Source: [hasnain1986]; [frankel1991].
func FrankelDispersion(f, width, gap, height, er, static float64) float64 {
	x := frankelShare(f, width, gap, height, er)
	n := math.Sqrt(static)
	n += (math.Sqrt(er) - n) * x
	return n * n
}

// frankelShare is 1/(1 + a F^−1.8), 0 at low frequency and 1 far above fTE.
func frankelShare(f, width, gap, height, er float64) float64 {
	if er <= 1 || math.IsInf(height, 1) {
		return 0
	}
	p := math.Log(width / height)
	u := 0.54 - 0.64*p + 0.015*p*p
	v := 0.43 - 0.86*p + 0.540*p*p
	a := math.Exp(u*math.Log(width/gap) + v)
	return 1 / (1 + a*math.Pow(f/SurfaceWaveTE1(height, er), -1.8))
}
