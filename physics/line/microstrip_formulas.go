package line

import "math"

// HammerstadJensen returns the quasi-static impedance and effective
// permittivity of an open microstrip line of strip width and thickness on a
// substrate of the given height, all in metres, and relative permittivity er.
// With u = width/height,
//
//	Z01(u) = η0/2π ln[F/u + √(1+(2/u)²)]     F = 6 + (2π−6) exp[−(30.666/u)^0.7528]
//	εe(u)  = (εr+1)/2 + (εr−1)/2 (1+10/u)^(−ab)
//
// and the strip's thickness widens u by Δu1 in air and Δur on the substrate.
// Claimed accuracy, zero thickness: 0.03 % in Z01√… for u ≤ 1000 and 0.2 % in
// εe for 0.01 ≤ u ≤ 100, εr ≤ 128. The thickness terms are much rougher: up to
// 3 % in impedance when the thickness is comparable with the height.
//
// Source: [hammerstad1980] eqs. 1 to 9.
func HammerstadJensen(width, height, thickness, er float64) Static {
	u := width / height
	air, wide := u, u
	if thickness > 0 {
		t := thickness / height
		coth := 1 / math.Tanh(math.Sqrt(6.517*u))
		d := t / pi * math.Log(1+4*math.E/(t*coth*coth))
		air = u + d
		wide = u + d/2*(1+1/math.Cosh(math.Sqrt(er-1)))
	}
	e := hammerstadEps(wide, er)
	z := hammerstadAir(wide) / math.Sqrt(e)
	r := hammerstadAir(air) / hammerstadAir(wide)
	return Static{Impedance: z, EffectivePermittivity: e * r * r}
}

// hammerstadAir is Z01(u).
func hammerstadAir(u float64) float64 {
	f := 6 + (2*pi-6)*math.Exp(-math.Pow(30.666/u, 0.7528))
	return Eta0 / (2 * pi) * math.Log(f/u+math.Hypot(1, 2/u))
}

// hammerstadEps is εe(u, εr).
func hammerstadEps(u, er float64) float64 {
	u2 := u * u
	u4 := u2 * u2
	a := 1 + math.Log((u4+u2/2704)/(u4+0.432))/49 + math.Log1p(math.Pow(u/18.1, 3))/18.7
	b := 0.564 * math.Pow((er-0.9)/(er+3), 0.053)
	return (er+1)/2 + (er-1)/2*math.Pow(1+10/u, -a*b)
}

// KirschningJansen returns the effective permittivity of an open microstrip
// line at frequency f, in Hz, from its quasi-static value:
//
//	εe(f) = εr − (εr − εe(0)) / (1 + P(f))
//
// with P a function of u = width/height, εr and f·h in GHz·mm. Claimed accuracy
// 0.6 % for 0.1 ≤ u ≤ 100, 1 ≤ εr ≤ 20, 0 ≤ h/λ0 ≤ 0.13.
//
// Source: [kirschning1982].
func KirschningJansen(f, width, height, er, static float64) float64 {
	return er - (er-static)/(1+kirschningP(f, width, height, er))
}

func kirschningP(f, width, height, er float64) float64 {
	u := width / height
	fn := f * 1e-9 * height * 1e3
	p1 := 0.27488 + u*(0.6315+0.525/math.Pow(1+0.0157*fn, 20)) - 0.065683*math.Exp(-8.7513*u)
	p2 := 0.33622 * -math.Expm1(-0.03442*er)
	p3 := 0.0363 * math.Exp(-4.6*u) * -math.Expm1(-math.Pow(fn/38.7, 4.97))
	p4 := 1 + 2.751*-math.Expm1(-math.Pow(er/15.916, 8))
	return p1 * p2 * math.Pow((0.1844+p3*p4)*fn, 1.5763)
}

// JansenKirschning returns the power-current characteristic impedance of an
// open microstrip line at frequency f, in Hz, from the quasi-static values and
// the effective permittivity epsF at f:
//
//	Z(f) = Z(0) (R13/R14)^R17
//
// Claimed accuracy 1 % for 0.1 ≤ width/height ≤ 10, 1 ≤ εr ≤ 18, h/λ0 ≤ 0.1
// (range from memory).
//
// Source: [jansen1983], R1 to R17.
func JansenKirschning(f, width, height, er float64, static Static, epsF float64) float64 {
	u := width / height
	fn := f * 1e-9 * height * 1e3
	r1 := 0.03891 * math.Pow(er, 1.4)
	r2 := 0.267 * math.Pow(u, 7)
	r3 := 4.766 * math.Exp(-3.228*math.Pow(u, 0.641))
	r4 := 0.016 + math.Pow(0.0514*er, 4.524)
	r5 := math.Pow(fn/28.843, 12)
	r6 := 22.2 * math.Pow(u, 1.92)
	r7 := 1.206 - 0.3144*math.Exp(-r1)*-math.Expm1(-r2)
	r8 := 1 + 1.275*-math.Expm1(-0.004625*r3*math.Pow(er, 1.674)*math.Pow(fn/18.365, 2.745))
	e6 := math.Pow(er-1, 6)
	r9 := 5.086 * r4 * r5 / (0.3838 + 0.386*r4) * math.Exp(-r6) / (1 + 1.2992*r5) * e6 / (1 + 10*e6)
	r10 := 0.00044*math.Pow(er, 2.136) + 0.0184
	x := math.Pow(fn/19.47, 6)
	r11 := x / (1 + 0.0962*x)
	r12 := 1 / (1 + 0.00245*u*u)
	r13 := 0.9408*math.Pow(epsF, r8) - 0.9603
	r14 := (0.9408-r9)*math.Pow(static.EffectivePermittivity, r8) - 0.9603
	r15 := 0.707 * r10 * math.Pow(fn/12.3, 1.097)
	r16 := 1 + 0.0503*er*er*r11*-math.Expm1(-math.Pow(u/15, 6))
	r17 := r7 * (1 - 1.1241*r12/r16*math.Exp(-0.026*math.Pow(fn, 1.15656)-r15))
	return static.Impedance * math.Pow(r13/r14, r17)
}

// SchneiderLoss returns the attenuation, in Np/m, that a substrate of loss
// tangent tand gives a microstrip line of effective permittivity epsEff at f:
//
//	α = k0 εr (εe−1) tan δ / (2 √εe (εr−1))
//
// Source: [schneider1969]; [pozar2012] eq. 3.198.
func SchneiderLoss(f, er, epsEff, tand float64) float64 {
	if er == 1 {
		return 0 // an air line: no dielectric to lose in
	}
	k0 := 2 * pi * f / C0
	return k0 * er * (epsEff - 1) * tand / (2 * math.Sqrt(epsEff) * (er - 1))
}

// OpenEnd returns the length, in metres, by which the open end of a microstrip
// line looks longer than its metal, by the formula
//
//	Δl/h = 0.412 (εe+0.3)(u+0.264) / ((εe−0.258)(u+0.8))
//
// with u = width/height; about 5 % from measurement.
//
// Source: [hammerstad1975] as printed in [gupta1996] (recalled).
func OpenEnd(width, height, epsEff float64) float64 {
	u := width / height
	return height * 0.412 * (epsEff + 0.3) * (u + 0.264) / ((epsEff - 0.258) * (u + 0.8))
}

// OpenEndKirschning is the finer fit of the same length; claimed accuracy
// 2.5 % for 0.01 ≤ width/height ≤ 100 and εr ≤ 50. A moment-method static
// solution lies 6 to 10 % above it: take the two as a band.
//
// Source: [kirschning1981].
func OpenEndKirschning(width, height, er, epsEff float64) float64 {
	u := width / height
	e81 := math.Pow(epsEff, 0.81)
	u85 := math.Pow(u, 0.8544)
	x1 := 0.434907 * (e81 + 0.26) * (u85 + 0.236) / ((e81 - 0.189) * (u85 + 0.87))
	x2 := 1 + math.Pow(u, 0.371)/(2.358*er+1)
	x3 := 1 + 0.5274*math.Atan(0.084*math.Pow(u, 1.9413/x2))/math.Pow(epsEff, 0.9236)
	x4 := 1 + 0.0377*math.Atan(0.067*math.Pow(u, 1.456))*(6-5*math.Exp(0.036*(1-er)))
	x5 := 1 - 0.218*math.Exp(-7.5*u)
	return height * x1 * x3 * x5 / x4
}

// TransverseResonance returns the frequency, in Hz, from which the first
// higher hybrid mode of a wide microstrip travels: half a wave across the
// strip and its fringes,
//
//	f = c / (√εr (2 W + 0.8 h))
//
// A second textbook has 2W + h instead; the two differ by up to 10 %.
//
// Source: [gupta1996] (recalled); [pozar2012] eq. 3.203.
func TransverseResonance(width, height, er float64) float64 {
	return C0 / (math.Sqrt(er) * (2*width + 0.8*height))
}

// SurfaceWaveTE1 returns the frequency, in Hz, from which a grounded slab of
// the given height carries its TE1 surface wave: f = c / (4 h √(εr−1)).
// A slab with air on both sides has its first odd TM and TE pair at the same
// frequency for half the height.
//
// Source: [pozar2012] eq. 3.174.
func SurfaceWaveTE1(height, er float64) float64 {
	return C0 / (4 * height * math.Sqrt(er-1))
}

// SurfaceWaveTM0Coupling returns the frequency, in Hz, at which a narrow strip
// on a grounded slab runs in step with the slab's TM0 surface wave, which has
// no cutoff, and so couples to it strongly:
//
//	f = c atan(εr) / (√2 π h √(εr−1))
//
// Source: [vendelin1970]; [pozar2012] eq. 3.201.
func SurfaceWaveTM0Coupling(height, er float64) float64 {
	return C0 * math.Atan(er) / (math.Sqrt2 * pi * height * math.Sqrt(er-1))
}

// GetsingerScale returns fp = Z/(2 μ0 h), in Hz, the frequency scale of a
// microstrip line's dispersion and of its first hybrid higher mode.
//
// Source: [getsinger1973].
func GetsingerScale(impedance, height float64) float64 {
	return impedance / (2 * Mu0 * height)
}

// ParallelPlateOnset returns the frequency, in Hz, at which half a wave fits
// between planes a height apart in permittivity er: c / (2 h √εr).
//
// Source: [pozar2012] eq. 3.204.
func ParallelPlateOnset(height, er float64) float64 {
	return C0 / (2 * height * math.Sqrt(er))
}

// SurfaceWaveTM0Index returns β/k0 of the TM0 surface wave of a grounded slab
// at f, in Hz: the root between 1 and √εr of
//
//	εr γ0 = kd tan(kd h)     γ0 = k0 √(n²−1)     kd = k0 √(εr−n²)
//
// on the first branch of the tangent.
//
// Source: [pozar2012] §3.6.
func SurfaceWaveTM0Index(f, height, er float64) float64 {
	if er == 1 {
		return 1
	}
	// In θ = kd h the equation reads εr √(v²−θ²) = θ tan θ with
	// v = k0 h √(εr−1), and its left side minus its right falls from positive
	// to negative between 0 and min(v, π/2).
	k0 := 2 * pi * f / C0
	v := k0 * height * math.Sqrt(er-1)
	g := func(th float64) float64 {
		return er*math.Sqrt(max(v*v-th*th, 0))*math.Cos(th) - th*math.Sin(th)
	}
	hi := math.Min(v, pi/2)
	th := brent(g, 0, hi, g(0), g(hi))
	n := th / (k0 * height)
	return math.Sqrt(er - n*n)
}
