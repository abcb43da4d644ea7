// Package units reads and writes physical quantities with their units: the
// edge at which "26.5 GHz", "25 mil" or "-40 °C" becomes an SI number and back.
//
// Every type is a float64 in SI, except [Level], which is in decibels because
// the trade adds decibels. Reading is exact: the decimal number and the unit's
// factor are multiplied as rationals and rounded once, so "0.3 mm" is the
// float64 nearest to 3·10⁻⁴. Writing picks the fewest digits that read back as
// the same float64. A bare number, a wrong kind of unit and a misspelt unit are
// errors that say what to write.
package units

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Quantities. Which of two things a value means (radius or diameter, peak or
// rms, one way or round trip) is said where the value stands.
type (
	Length          float64 // m
	Time            float64 // s
	Frequency       float64 // Hz
	Mass            float64 // kg
	Force           float64 // N
	Torque          float64 // N·m
	Pressure        float64 // Pa
	Power           float64 // W; dBm and dBW are read too
	Voltage         float64 // V
	Resistance      float64 // Ω
	Capacitance     float64 // F
	Inductance      float64 // H
	Conductivity    float64 // S/m
	Level           float64 // dB: a loss, a return loss, an isolation
	Attenuation     float64 // Np/m of amplitude, written in dB/m
	RootAttenuation float64 // Np/(m·√Hz): loss that grows as √f, written in dB/(m·√GHz)
	LinAttenuation  float64 // Np/(m·Hz): loss that grows as f, written in dB/(m·GHz)
	RootLevel       float64 // dB/√Hz: a connector's loss that grows as √f, written in dB/√GHz
	Temperature     float64 // K absolute, written in °C
	Difference      float64 // K, a difference of temperatures
	Angle           float64 // rad, written in degrees
	Ratio           float64 // 1; %, ppm are read too
	Expansion       float64 // 1/K: a relative change with temperature, written in ppm/K
	Delay           float64 // s/m: delay per length, written in ps/mm
	MassPerLength   float64 // kg/m, written in g/m
	Conductance     float64 // W/(m·K): thermal conductivity
)

// A kind describes one quantity type to the parser.
type kind struct {
	name       string
	dim        dimension
	unit       string // the unit suggested for a bare number
	si         string // the unit in which the value is stored
	example    string
	more       string  // other units worth naming
	min        float64 // smallest value that can be
	floor      string  // the same for the reader
	difference bool    // °C without its offset
	display    []string
	ladder     bool // choose the largest display unit not above the value
}

func (k kind) others() string {
	if k.more == "" {
		return ""
	}
	return " (or " + k.more + ")"
}

var negInf = math.Inf(-1)

var (
	lengthKind     = kind{name: "length", dim: lengthDim, unit: "mm", si: "m", example: "0.6 m", more: "um, m, mil, in", min: negInf, display: []string{"m", "mm", "um", "nm"}, ladder: true}
	timeKind       = kind{name: "time", dim: timeDim, unit: "ps", si: "s", example: "2 ps", more: "ns, s", min: negInf, display: []string{"s", "ms", "us", "ns", "ps", "fs"}, ladder: true}
	frequencyKind  = kind{name: "frequency", dim: freqDim, unit: "GHz", si: "Hz", example: "26.5 GHz", more: "MHz, kHz, Hz", min: 0, floor: "0 GHz", display: []string{"THz", "GHz", "MHz", "kHz", "Hz"}, ladder: true}
	massKind       = kind{name: "mass", dim: massDim, unit: "g", si: "kg", example: "12 g", more: "kg", min: negInf, display: []string{"kg", "g", "mg"}, ladder: true}
	forceKind      = kind{name: "force", dim: forceDim, unit: "N", si: "N", example: "9 N", more: "lbf", min: negInf, display: []string{"N"}}
	torqueKind     = kind{name: "torque", dim: energyDim, unit: "N·m", si: "N·m", example: "0.9 N·m", more: "in·lbf", min: negInf, display: []string{"N·m"}}
	pressureKind   = kind{name: "pressure", dim: pressDim, unit: "kPa", si: "Pa", example: "101.3 kPa", more: "hPa, bar, Torr", min: 0, floor: "0 kPa", display: []string{"kPa", "Pa", "mPa"}, ladder: true}
	powerKind      = kind{name: "power", dim: powerDim, unit: "W", si: "W", example: "20 W", more: "mW, dBm", min: negInf, display: []string{"kW", "W", "mW", "uW", "nW"}, ladder: true}
	voltageKind    = kind{name: "voltage", dim: voltDim, unit: "V", si: "V", example: "500 V", more: "kV", min: negInf, display: []string{"kV", "V", "mV"}, ladder: true}
	resistanceKind = kind{name: "resistance", dim: ohmDim, unit: "ohm", si: "ohm", example: "50 ohm", more: "Ω, mohm", min: negInf, display: []string{"ohm", "mohm"}, ladder: true}
	capacityKind   = kind{name: "capacitance", dim: faradDim, unit: "fF", si: "F", example: "10 fF", more: "pF", min: negInf, display: []string{"nF", "pF", "fF"}, ladder: true}
	inductKind     = kind{name: "inductance", dim: henryDim, unit: "pH", si: "H", example: "80 pH", more: "nH", min: negInf, display: []string{"nH", "pH"}, ladder: true}
	conductKind    = kind{name: "conductivity", dim: siemensDim.times(lengthDim, -2), unit: "MS/m", si: "S/m", example: "58 MS/m", more: "S/m", min: 0, floor: "0 S/m", display: []string{"MS/m", "S/m"}, ladder: true}
	levelKind      = kind{name: "loss", dim: levelDim, unit: "dB", si: "dB", example: "3.2 dB", min: negInf, display: []string{"dB"}}
	attenKind      = kind{name: "attenuation", dim: levelDim.times(lengthDim, -2), unit: "dB/m", si: "Np/m", example: "2.4 dB/m", more: "Np/m, dB/ft", min: negInf, display: []string{"dB/m"}}
	rootAttKind    = kind{name: "attenuation per root frequency", dim: levelDim.times(lengthDim, -2).times(freqDim, -1), unit: "dB/(m·sqrt(GHz))", si: "Np/(m·sqrt(Hz))", example: "0.30 dB/(m·sqrt(GHz))", min: negInf, display: []string{"dB/(m·sqrt(GHz))"}}
	linAttKind     = kind{name: "attenuation per frequency", dim: levelDim.times(lengthDim, -2).times(freqDim, -2), unit: "dB/(m·GHz)", si: "Np/(m·Hz)", example: "0.008 dB/(m·GHz)", min: negInf, display: []string{"dB/(m·GHz)"}}
	rootLevelKind  = kind{name: "loss per root frequency", dim: levelDim.times(freqDim, -1), unit: "dB/sqrt(GHz)", si: "dB/sqrt(Hz)", example: "0.03 dB/sqrt(GHz)", min: negInf, display: []string{"dB/sqrt(GHz)"}}
	tempKind       = kind{name: "temperature", dim: kelvinDim, unit: "°C", si: "K", example: "-40 °C", more: "degC, K", min: 0, floor: "-273.15 °C, absolute zero", display: []string{"°C"}}
	diffKind       = kind{name: "temperature difference", dim: kelvinDim, unit: "K", si: "K", example: "20 K", min: negInf, difference: true, display: []string{"K"}}
	angleKind      = kind{name: "angle", dim: angleDim, unit: "deg", si: "rad", example: "5 deg", more: "rad", min: negInf, display: []string{"deg"}}
	ratioKind      = kind{name: "ratio", unit: "1", si: "1", example: "0.02 or 2 %", more: "%, ppm", min: negInf, display: []string{"1"}}
	expansionKind  = kind{name: "change with temperature", dim: dimension{}.times(kelvinDim, -2), unit: "ppm/K", si: "1/K", example: "-30 ppm/K", min: negInf, difference: true, display: []string{"ppm/K"}}
	delayKind      = kind{name: "delay per length", dim: timeDim.times(lengthDim, -2), unit: "ps/mm", si: "s/m", example: "3.98 ps/mm", more: "ns/m", min: negInf, display: []string{"ps/mm"}}
	massPerLenKind = kind{name: "mass per length", dim: massDim.times(lengthDim, -2), unit: "g/m", si: "kg/m", example: "32 g/m", min: negInf, display: []string{"g/m"}}
	thermalKind    = kind{name: "thermal conductivity", dim: powerDim.times(lengthDim, -2).times(kelvinDim, -2), unit: "W/(m·K)", si: "W/(m·K)", example: "0.25 W/(m·K)", min: 0, floor: "0 W/(m·K)", difference: true, display: []string{"W/(m·K)"}}
)

var kinds = []kind{lengthKind, timeKind, frequencyKind, massKind, forceKind, torqueKind, pressureKind, powerKind, voltageKind, resistanceKind, capacityKind,
	inductKind, conductKind, levelKind, attenKind, rootAttKind, linAttKind, rootLevelKind, tempKind, diffKind, angleKind, ratioKind, expansionKind, delayKind, massPerLenKind, thermalKind}

func (Length) kind() kind          { return lengthKind }
func (Time) kind() kind            { return timeKind }
func (Frequency) kind() kind       { return frequencyKind }
func (Mass) kind() kind            { return massKind }
func (Force) kind() kind           { return forceKind }
func (Torque) kind() kind          { return torqueKind }
func (Pressure) kind() kind        { return pressureKind }
func (Power) kind() kind           { return powerKind }
func (Voltage) kind() kind         { return voltageKind }
func (Resistance) kind() kind      { return resistanceKind }
func (Capacitance) kind() kind     { return capacityKind }
func (Inductance) kind() kind      { return inductKind }
func (Conductivity) kind() kind    { return conductKind }
func (Level) kind() kind           { return levelKind }
func (Attenuation) kind() kind     { return attenKind }
func (RootAttenuation) kind() kind { return rootAttKind }
func (LinAttenuation) kind() kind  { return linAttKind }
func (RootLevel) kind() kind       { return rootLevelKind }
func (Temperature) kind() kind     { return tempKind }
func (Difference) kind() kind      { return diffKind }
func (Angle) kind() kind           { return angleKind }
func (Ratio) kind() kind           { return ratioKind }
func (Expansion) kind() kind       { return expansionKind }
func (Delay) kind() kind           { return delayKind }
func (MassPerLength) kind() kind   { return massPerLenKind }
func (Conductance) kind() kind     { return thermalKind }

// Quantity is any of this package's types.
type Quantity interface {
	~float64
	kind() kind
}

// Parse reads a quantity, such as Parse[Length]("25 mil"). Its error is a
// [ParseError].
func Parse[Q Quantity](s string) (Q, error) {
	var q Q
	x, err := parse(s, q.kind())
	return Q(x), err
}

// Must is [Parse] for constants in tests and built-in tables; it panics on a
// text that is not a quantity.
func Must[Q Quantity](s string) Q {
	q, err := Parse[Q](s)
	if err != nil {
		panic(err)
	}
	return q
}

// Write returns q in the named unit with the fewest digits that read back as
// the same value: Write(Length(0.635e-3), "mil") is "25 mil". It panics on a
// unit that is not one of q's.
func Write[Q Quantity](q Q, unit string) string { return format(float64(q), q.kind(), unit) }

// In returns q's number in the named unit, rounded once. It panics on a unit
// that is not one of q's.
func In[Q Quantity](q Q, unit string) float64 {
	k := q.kind()
	e, err := parseUnit(unit)
	if err != nil || e.dim != k.dim {
		panic(fmt.Sprintf("units: %q is not a unit of %s", unit, k.name))
	}
	if x := float64(q); math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	y, _ := e.fromSI(float64(q), k).Float64()
	return y
}

// Exact returns q in its usual unit with all digits needed to read it back.
func Exact[Q Quantity](q Q) string {
	k := q.kind()
	return format(float64(q), k, usualUnit(float64(q), k))
}

// Name returns what a quantity type is called, "length", and an example of it.
func Name[Q Quantity]() (name, example string) {
	var q Q
	k := q.kind()
	return k.name, k.example
}

// usualUnit picks the largest display unit of which x holds at least one.
func usualUnit(x float64, k kind) string {
	if !k.ladder || x == 0 {
		if k.ladder {
			return k.unit
		}
		return k.display[0]
	}
	if a := math.Abs(x); k.dim == lengthDim && a >= 1e-4 && a < 1 {
		return "mm" // the drawing's unit: 0.635 mm, not 635 um
	}
	for _, u := range k.display {
		e, err := parseUnit(u)
		if err != nil {
			panic(err)
		}
		one, _ := e.factor.Float64()
		if math.Abs(x) >= one*e.scale*(1-1e-12) {
			return u
		}
	}
	return k.display[len(k.display)-1]
}

// show writes x for people: three to four significant digits, usual unit.
func show(x float64, k kind) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return strconv.FormatFloat(x, 'g', -1, 64) + " " + k.display[0]
	}
	u := usualUnit(x, k)
	e, err := parseUnit(u)
	if err != nil {
		panic(err)
	}
	y, _ := e.fromSI(x, k).Float64()
	if k.dim == kelvinDim && math.Abs(y) < 1e-9 {
		y = 0 // 273.15 K less its own rounding is 0 °C
	}
	digits := 4
	s := strconv.FormatFloat(y, 'g', digits, 64)
	if f, err := strconv.ParseFloat(s, 64); err == nil {
		switch a := math.Abs(f); {
		case k.dim == levelDim || k.dim == attenKind.dim:
			s = strconv.FormatFloat(f, 'f', 2, 64)
			if a != 0 && a < 0.1 {
				s = strconv.FormatFloat(y, 'f', 4, 64)
			}
		case a >= 1e-3 && a < 1e6 || a == 0:
			s = strconv.FormatFloat(f, 'f', -1, 64)
		}
	}
	if u == "1" {
		return s
	}
	return s + " " + u
}

// String methods write for people: about four digits in the usual unit. Use
// [Exact] where the value must be read back.

func (q Length) String() string          { return show(float64(q), q.kind()) }
func (q Time) String() string            { return show(float64(q), q.kind()) }
func (q Frequency) String() string       { return show(float64(q), q.kind()) }
func (q Mass) String() string            { return show(float64(q), q.kind()) }
func (q Force) String() string           { return show(float64(q), q.kind()) }
func (q Torque) String() string          { return show(float64(q), q.kind()) }
func (q Pressure) String() string        { return show(float64(q), q.kind()) }
func (q Power) String() string           { return show(float64(q), q.kind()) }
func (q Voltage) String() string         { return show(float64(q), q.kind()) }
func (q Resistance) String() string      { return show(float64(q), q.kind()) }
func (q Capacitance) String() string     { return show(float64(q), q.kind()) }
func (q Inductance) String() string      { return show(float64(q), q.kind()) }
func (q Conductivity) String() string    { return show(float64(q), q.kind()) }
func (q Level) String() string           { return show(float64(q), q.kind()) }
func (q Attenuation) String() string     { return show(float64(q), q.kind()) }
func (q RootAttenuation) String() string { return show(float64(q), q.kind()) }
func (q LinAttenuation) String() string  { return show(float64(q), q.kind()) }
func (q RootLevel) String() string       { return show(float64(q), q.kind()) }
func (q Temperature) String() string     { return show(float64(q), q.kind()) }
func (q Difference) String() string      { return show(float64(q), q.kind()) }
func (q Angle) String() string           { return show(float64(q), q.kind()) }
func (q Ratio) String() string           { return show(float64(q), q.kind()) }
func (q Expansion) String() string       { return show(float64(q), q.kind()) }
func (q Delay) String() string           { return show(float64(q), q.kind()) }
func (q MassPerLength) String() string   { return show(float64(q), q.kind()) }
func (q Conductance) String() string     { return show(float64(q), q.kind()) }

// Celsius returns the temperature in °C.
func (q Temperature) Celsius() float64 { return float64(q) - 273.15 }

// Celsius makes a temperature from °C.
func Celsius(c float64) Temperature { return Temperature(c + 273.15) }

// DBPerMetre returns the attenuation in dB/m.
func (q Attenuation) DBPerMetre() float64 { return float64(q) * DecibelsPerNeper }

// DecibelsPerNeper is 20/ln 10: the decibels in one neper of amplitude.
const DecibelsPerNeper = 20 / math.Ln10

// Money is an amount in a currency, kept apart from the physical quantities.
// Amounts are whole millionths, so that sums are exact and ties order alike.
type Money struct {
	Micros   int64  // millionths of the currency's unit
	Currency string // three capital letters after ISO 4217
}

// ParseMoney reads an amount with its currency after the number: "12.50 EUR".
func ParseMoney(s string) (Money, error) {
	fail := func(err error, help string) (Money, error) {
		return Money{}, &ParseError{Text: s, Kind: "price", Err: err, Help: help}
	}
	text := strings.TrimSpace(s)
	if text == "" {
		return fail(ErrEmpty, `write a price such as "12.50 EUR"`)
	}
	if len(text) > maxText {
		return fail(ErrNumber, `a price is a number and a currency, such as "12.50 EUR"`)
	}
	number, currency := split(text)
	r, ok := decimal(number)
	if !ok {
		return fail(ErrNumber, `a price is a number and a currency, such as "12.50 EUR"`)
	}
	if currency == "" {
		return fail(ErrBareNumber, fmt.Sprintf(`write the currency, such as "%s EUR"`, number))
	}
	if len(currency) != 3 || strings.ToUpper(currency) != currency || strings.Trim(currency, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		return fail(ErrUnknownUnit, "a currency is three capital letters, such as EUR")
	}
	r.Mul(r, big.NewRat(1000000, 1))
	if !r.IsInt() {
		return fail(ErrRange, "at most six decimals")
	}
	if !r.Num().IsInt64() {
		return fail(ErrRange, "the amount is too large")
	}
	return Money{r.Num().Int64(), currency}, nil
}

// Plus adds two amounts of one currency. An empty currency counts as zero of
// the other; two different ones are an error, never converted.
func (m Money) Plus(n Money) (Money, error) {
	switch {
	case m.Currency == "" && m.Micros == 0:
		return n, nil
	case n.Currency == "" && n.Micros == 0:
		return m, nil
	case m.Currency != n.Currency:
		return m, fmt.Errorf("cannot add %s to %s: state all prices in one currency", n, m)
	}
	return Money{m.Micros + n.Micros, m.Currency}, nil
}

// Float returns the amount in the currency's unit.
func (m Money) Float() float64 { return float64(m.Micros) / 1e6 }

func (m Money) String() string {
	neg, u := "", m.Micros
	if u < 0 {
		neg, u = "-", -u
	}
	s := fmt.Sprintf("%s%d.%06d", neg, u/1e6, u%1e6)
	for strings.HasSuffix(s, "0") && s[len(s)-3] != '.' { // two decimals stay
		s = s[:len(s)-1]
	}
	return strings.TrimSpace(s + " " + m.Currency)
}
