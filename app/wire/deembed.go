package wire

import (
	"math"

	"linewright/physics/deembed"
	"linewright/physics/fit"
	"linewright/physics/network"
	"linewright/physics/units"
)

// Deembedded says how a fixture was taken off; its fields are a documented contract.
type Deembedded struct {
	File        string   `json:"file"`
	Method      string   `json:"method"` // "known fixtures", "2x-thru", "2x-thru, impedance corrected", "TRL", "multiline TRL"
	Points      int      `json:"points"`
	FromHz      *float64 `json:"from_hz"`
	ToHz        *float64 `json:"to_hz"`
	TrustedToHz *float64 `json:"trusted_to_hz"` // where the method stops being trustworthy
	Reference   *float64 `json:"reference_ohm"` // of what is left

	Growth       *float64      `json:"error_growth"` // greatest, in S21
	GrowthAtHz   *float64      `json:"error_growth_at_hz"`
	Passivity    *float64      `json:"largest_singular_value"`
	PassivityAt  *float64      `json:"largest_singular_value_at_hz"`
	EarlyEnergy  []*float64    `json:"early_energy"` // per port, share of the reflected energy before time zero
	TurnedAbout  []string      `json:"turned_about"` // sides whose fixture seems to be the wrong way round
	Split        *DeembedSplit `json:"split"`        // of a 2x-thru
	Lines        *DeembedLines `json:"lines"`        // of TRL
	Touchstone   string        `json:"touchstone,omitempty"`
	FixtureFiles []string      `json:"fixture_files"`
	Warnings     []string      `json:"warnings"`
}

// DeembedSplit tells of a split thru and its self-check.
type DeembedSplit struct {
	ThruDelayS       *float64 `json:"thru_delay_s"`
	ImpedanceOhm     *float64 `json:"impedance_at_the_split_ohm"`
	CrossingHz       *float64 `json:"crossing_hz"` // null where return loss and insertion loss of the thru do not meet
	Recombined       *float64 `json:"recombined_residual"`
	ResidualRL       *float64 `json:"residual_reflection"`
	ResidualLossDB   *float64 `json:"residual_loss_db"`
	ResidualPhaseRad *float64 `json:"residual_phase_rad"`
}

// DeembedLines tells of a calibration with lines.
type DeembedLines struct {
	Lines     int           `json:"lines"`
	Usable    int           `json:"usable_points"` // phase 20 to 160°
	At        []DeembedLine `json:"at"`
	Reference string        `json:"reference"` // where the line's impedance was taken from
}

// DeembedLine is the calibration at one frequency.
type DeembedLine struct {
	FrequencyHz             float64  `json:"frequency_hz"`
	PhaseDeg                *float64 `json:"phase_deg"` // from the nearest whole half wave, best pair: 90 is best
	Usable                  bool     `json:"usable"`
	AlphaNpPerM             *float64 `json:"alpha_np_per_m"`
	BetaRadPerM             *float64 `json:"beta_rad_per_m"`
	GammaUncertaintyPerM    *float64 `json:"gamma_uncertainty_per_m"`
	EffectivePermittivity   *float64 `json:"effective_permittivity"`
	ErrorGrowth             *float64 `json:"error_growth"`
	ReflectMagnitude        *float64 `json:"reflect_magnitude"`
	CharacteristicImpedance *float64 `json:"impedance_ohm"`
}

// NewDeembedSplit shapes halves and what their check left.
func NewDeembedSplit(h deembed.Halves, r deembed.Residual, crossing float64) *DeembedSplit {
	return &DeembedSplit{ThruDelayS: num(h.Delay), ImpedanceOhm: num(h.Impedance), CrossingHz: num(crossing), Recombined: num(r.Recombined.Value),
		ResidualRL: num(r.Reflection.Value), ResidualLossDB: num(r.LossDB.Value), ResidualPhaseRad: num(r.Phase.Value)}
}

// NewDeembedLines shapes a calibration; zc holds the impedances it is referred to.
func NewDeembedLines(c deembed.Calibration, lines int, zc []complex128, from string) *DeembedLines {
	d := &DeembedLines{Lines: lines, At: []DeembedLine{}, Reference: from}
	for k, f := range c.Frequency {
		g, z := c.Gamma[k], zc[min(k, len(zc)-1)]
		n := imag(g) * 299792458 / (2 * math.Pi * f)
		if c.Usable(k) {
			d.Usable++
		}
		d.At = append(d.At, DeembedLine{FrequencyHz: f, PhaseDeg: num(c.Phase[k] * 180 / math.Pi), Usable: c.Usable(k), AlphaNpPerM: num(real(g)), BetaRadPerM: num(imag(g)),
			GammaUncertaintyPerM: num(c.GammaUncertainty[k]), EffectivePermittivity: num(n * n), ErrorGrowth: num(math.Sqrt(c.Weight[k])),
			ReflectMagnitude: num(math.Hypot(real(c.Reflect[k]), imag(c.Reflect[k]))), CharacteristicImpedance: num(real(z))})
	}
	return d
}

// Removal fills in what a removal says.
func (d *Deembedded) Removal(n network.Network, growth []float64, early []float64, turned []string) {
	d.EarlyEnergy, d.TurnedAbout = []*float64{}, append([]string{}, turned...)
	for _, e := range early {
		d.EarlyEnergy = append(d.EarlyEnergy, num(e))
	}
	for k, g := range growth {
		if d.Growth == nil || g > *d.Growth {
			d.Growth, d.GrowthAtHz = num(g), num(n.Frequency[k])
		}
	}
	p := n.Passivity()
	d.Passivity, d.PassivityAt = num(p.Value), num(p.Frequency)
}

// Fitted is what fit finds in a sweep; its fields are a documented contract.
type Fitted struct {
	Files     []string      `json:"files"`
	FromHz    *float64      `json:"from_hz"`
	ToHz      *float64      `json:"to_hz"`
	Points    int           `json:"points"`
	Loss      *FitLoss      `json:"loss"`
	Insertion *FitInsertion `json:"insertion"`
	Two       *FitTwo       `json:"two_lengths"`
	Laminate  *FitLaminate  `json:"laminate"`
	Launch    *FitLaunch    `json:"launch"`
	Warnings  []string      `json:"warnings"`
}

// FitValue is a fitted number and its standard uncertainty, of scatter alone.
type FitValue struct {
	Value       *float64 `json:"value"`
	Uncertainty *float64 `json:"uncertainty"`
}

func fitted(v, u, scale float64) FitValue { return FitValue{num(v * scale), num(u * scale)} }

// FitLoss is a fitted loss law, of the part or per metre.
type FitLoss struct {
	PerMetre    bool      `json:"per_metre"`
	From        string    `json:"from"` // how reflections were taken off: "dissipation", "image parameters", "two lengths"
	K1          FitValue  `json:"k1_db_per_root_ghz"`
	K2          FitValue  `json:"k2_db_per_ghz"`
	Constant    *FitValue `json:"constant_db"`
	K4          *FitValue `json:"k4_db_per_ghz2"`
	Correlation *float64  `json:"correlation_k1_k2"`
	RMSDB       *float64  `json:"residual_rms_db"`
	GreatestDB  *float64  `json:"residual_greatest_db"`
}

// NewFitLoss shapes a loss law.
func NewFitLoss(l fit.Loss, perMetre bool) *FitLoss {
	const db = units.DecibelsPerNeper
	skin, linear := db*math.Sqrt(1e9), db*1e9
	f := &FitLoss{PerMetre: perMetre, K1: fitted(l.Skin, l.Fit.Uncertainty(0), skin), K2: fitted(l.Linear, l.Fit.Uncertainty(1), linear),
		Correlation: num(l.Fit.Correlation(0, 1)), RMSDB: num(l.Fit.RMS * db), GreatestDB: num(l.Fit.Greatest * db)}
	at := 2
	if l.Law.Constant {
		v := fitted(l.Constant, l.Fit.Uncertainty(at), db)
		f.Constant = &v
		at++
	}
	if l.Law.Square {
		v := fitted(l.Square, l.Fit.Uncertainty(at), db*1e18)
		f.K4 = &v
	}
	return f
}

// FitInsertion is a fitted insertion loss and its deviation.
type FitInsertion struct {
	A0          *float64 `json:"a0_db"`
	A1          *float64 `json:"a1_db_per_root_ghz"`
	A2          *float64 `json:"a2_db_per_ghz"`
	A4          *float64 `json:"a4_db_per_ghz2"`
	RMSDB       *float64 `json:"deviation_rms_db"`
	GreatestDB  *float64 `json:"deviation_greatest_db"`
	WindowHz    *float64 `json:"window_hz"`
	RippleDB    *float64 `json:"ripple_peak_to_peak_db"` // in the worst window
	RippleFrom  *float64 `json:"ripple_from_hz"`
	RippleUntil *float64 `json:"ripple_to_hz"`
}

// NewFitInsertion shapes a fitted insertion loss.
func NewFitInsertion(in fit.Insertion, window float64) *FitInsertion {
	r := in.Ripple(window)
	return &FitInsertion{A0: num(in.A0), A1: num(in.A1 * math.Sqrt(1e9)), A2: num(in.A2 * 1e9), A4: num(in.A4 * 1e18), RMSDB: num(in.Fit.RMS), GreatestDB: num(in.Fit.Greatest),
		WindowHz: num(window), RippleDB: num(r.PeakToPeak), RippleFrom: num(r.From), RippleUntil: num(r.To)}
}

// FitTwo is what two lengths of one line say of it.
type FitTwo struct {
	ExtraM float64    `json:"extra_m"`
	Used   int        `json:"points_used"` // phase 20 to 160°
	Loss   *FitLoss   `json:"loss"`
	At     []FitGamma `json:"at"`
}

// FitGamma is the propagation constant at one frequency.
type FitGamma struct {
	FrequencyHz           float64  `json:"frequency_hz"`
	PhaseDeg              *float64 `json:"phase_deg"`
	AttenuationDBPerM     *float64 `json:"attenuation_db_per_m"`
	DelaySPerM            *float64 `json:"delay_s_per_m"`
	EffectivePermittivity *float64 `json:"effective_permittivity"`
}

// NewFitTwo shapes a propagation constant.
func NewFitTwo(p fit.Propagation, extra float64) *FitTwo {
	t := &FitTwo{ExtraM: extra, Used: len(p.Frequency), At: []FitGamma{}}
	for k, f := range p.Frequency {
		delay := imag(p.Gamma[k]) / (2 * math.Pi * f)
		n := delay * 299792458
		t.At = append(t.At, FitGamma{f, num(p.Phase[k] * 180 / math.Pi), num(real(p.Gamma[k]) * units.DecibelsPerNeper), num(delay), num(n * n)})
	}
	return t
}

// FitLaminate is the laminate behind two lengths of a line of known cross-section.
type FitLaminate struct {
	Line         string   `json:"line"`
	Permittivity FitValue `json:"permittivity"`
	LossTangent  FitValue `json:"loss_tangent"`
	RoughnessM   FitValue `json:"roughness_m"`
	FittedAtHz   *float64 `json:"fitted_at_hz"`
	Correlation  *float64 `json:"correlation_loss_tangent_roughness"`
	AlphaRMSDB   *float64 `json:"residual_attenuation_rms_db_per_m"`
	BetaRMSRad   *float64 `json:"residual_phase_rms_rad_per_m"`
}

// NewFitLaminate shapes a laminate.
func NewFitLaminate(l fit.LaminateFit, line string, at float64) *FitLaminate {
	return &FitLaminate{Line: line, Permittivity: fitted(l.Permittivity, l.Uncertainty.Permittivity, 1), LossTangent: fitted(l.LossTangent, l.Uncertainty.LossTangent, 1),
		RoughnessM: fitted(l.Roughness, l.Uncertainty.Roughness, 1), FittedAtHz: num(at), Correlation: num(l.Correlation), AlphaRMSDB: num(l.AlphaRMS * units.DecibelsPerNeper), BetaRMSRad: num(l.BetaRMS)}
}

// FitLaunch is the lumps of a launch.
type FitLaunch struct {
	CapacitanceF FitValue `json:"capacitance_f"`
	InductanceH  FitValue `json:"inductance_h"`
	ImpedanceOhm FitValue `json:"line_impedance_ohm"`
	DelayS       FitValue `json:"line_delay_s"`
	RMS          *float64 `json:"residual_rms"` // of |S|
	Worst        *float64 `json:"residual_greatest"`
	WorstAtHz    *float64 `json:"residual_greatest_at_hz"`
}

// NewFitLaunch shapes the lumps of a launch.
func NewFitLaunch(l fit.LaunchFit) *FitLaunch {
	u := l.Uncertainty
	return &FitLaunch{fitted(l.Capacitance, u.Capacitance, 1), fitted(l.Inductance, u.Inductance, 1), fitted(l.Impedance, u.Impedance, 1), fitted(l.Delay, u.Delay, 1),
		num(l.Residual), num(l.Worst.Value), num(l.Worst.Frequency)}
}
