package units

import (
	"fmt"
	"math"
	"math/big"
	"strings"
)

// dimension holds the exponents of the base quantities, in halves, so that
// the square root of a frequency has a place: 2 means "to the first power".
type dimension struct{ length, mass, time, current, temperature, level, angle int16 }

func (d dimension) times(e dimension, halves int16) dimension {
	return dimension{
		d.length + e.length*halves/2, d.mass + e.mass*halves/2, d.time + e.time*halves/2, d.current + e.current*halves/2,
		d.temperature + e.temperature*halves/2, d.level + e.level*halves/2, d.angle + e.angle*halves/2,
	}
}

// unit is a symbol that may stand in a quantity.
type unit struct {
	symbol   string
	factor   *big.Rat // SI value of one unit
	dim      dimension
	prefixes string  // SI prefixes it takes, one rune each
	offset   string  // added after scaling, for °C
	dbm      float64 // > 0: a power level in dB over this many watts
}

func rat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("units: not a rational: " + s)
	}
	return r
}

func quo(a, b string) *big.Rat { return new(big.Rat).Quo(rat(a), rat(b)) }

// One decibel in nepers, ln(10)/20, to 40 digits: the level units are the only
// irrational factor in the table.
const neperPerDecibel = "0.1151292546497022842008995727342182103801"

var (
	lengthDim  = dimension{length: 2}
	timeDim    = dimension{time: 2}
	freqDim    = dimension{time: -2}
	massDim    = dimension{mass: 2}
	forceDim   = dimension{length: 2, mass: 2, time: -4}
	pressDim   = dimension{length: -2, mass: 2, time: -4}
	energyDim  = dimension{length: 4, mass: 2, time: -4}
	powerDim   = dimension{length: 4, mass: 2, time: -6}
	voltDim    = dimension{length: 4, mass: 2, time: -6, current: -2}
	ohmDim     = dimension{length: 4, mass: 2, time: -6, current: -4}
	siemensDim = dimension{length: -4, mass: -2, time: 6, current: 4}
	faradDim   = dimension{length: -4, mass: -2, time: 8, current: 4}
	henryDim   = dimension{length: 4, mass: 2, time: -4, current: -4}
	levelDim   = dimension{level: 2}
	kelvinDim  = dimension{temperature: 2}
	angleDim   = dimension{angle: 2}
)

// Factors: SI Brochure 9th ed. (2019); inch and pound after the international
// yard and pound agreement (1959); conventional mmHg, Torr and atm after ISO
// 80000-4. The inch is 25.4 mm and the pound-force 4.4482216152605 N exactly.
var unitTable = []unit{
	{symbol: "m", factor: rat("1"), dim: lengthDim, prefixes: "fpnuµμmck"},
	{symbol: "in", factor: rat("0.0254"), dim: lengthDim},
	{symbol: "inch", factor: rat("0.0254"), dim: lengthDim},
	{symbol: "mil", factor: rat("0.0000254"), dim: lengthDim},
	{symbol: "ft", factor: rat("0.3048"), dim: lengthDim},
	{symbol: "s", factor: rat("1"), dim: timeDim, prefixes: "fpnuµμm"},
	{symbol: "min", factor: rat("60"), dim: timeDim},
	{symbol: "h", factor: rat("3600"), dim: timeDim},
	{symbol: "d", factor: rat("86400"), dim: timeDim},
	{symbol: "Hz", factor: rat("1"), dim: freqDim, prefixes: "kMGT"},
	{symbol: "g", factor: rat("0.001"), dim: massDim, prefixes: "uµμmk"},
	{symbol: "oz", factor: rat("0.028349523125"), dim: massDim},
	{symbol: "lb", factor: rat("0.45359237"), dim: massDim},
	{symbol: "N", factor: rat("1"), dim: forceDim, prefixes: "mkM"},
	{symbol: "lbf", factor: rat("4.4482216152605"), dim: forceDim},
	{symbol: "Pa", factor: rat("1"), dim: pressDim, prefixes: "mhkMG"},
	{symbol: "bar", factor: rat("100000"), dim: pressDim, prefixes: "um"},
	{symbol: "atm", factor: rat("101325"), dim: pressDim},
	{symbol: "Torr", factor: quo("101325", "760"), dim: pressDim},
	{symbol: "mmHg", factor: rat("133.322387415"), dim: pressDim},
	{symbol: "psi", factor: quo("4.4482216152605", "0.00064516"), dim: pressDim},
	{symbol: "J", factor: rat("1"), dim: energyDim, prefixes: "mk"},
	{symbol: "W", factor: rat("1"), dim: powerDim, prefixes: "pnuµμmkM"},
	{symbol: "dBm", factor: rat("1"), dim: powerDim, dbm: 1e-3},
	{symbol: "dBW", factor: rat("1"), dim: powerDim, dbm: 1},
	{symbol: "V", factor: rat("1"), dim: voltDim, prefixes: "nuµμmkM"},
	{symbol: "A", factor: rat("1"), dim: dimension{current: 2}, prefixes: "nuµμmk"},
	{symbol: "ohm", factor: rat("1"), dim: ohmDim, prefixes: "uµμmkMG"},
	{symbol: "Ω", factor: rat("1"), dim: ohmDim, prefixes: "uµμmkMG"},
	{symbol: "Ω", factor: rat("1"), dim: ohmDim, prefixes: "uµμmkMG"}, // the ohm sign U+2126
	{symbol: "S", factor: rat("1"), dim: siemensDim, prefixes: "mkM"},
	{symbol: "F", factor: rat("1"), dim: faradDim, prefixes: "fpnuµμm"},
	{symbol: "H", factor: rat("1"), dim: henryDim, prefixes: "fpnuµμm"},
	{symbol: "dB", factor: rat(neperPerDecibel), dim: levelDim},
	{symbol: "Np", factor: rat("1"), dim: levelDim},
	{symbol: "K", factor: rat("1"), dim: kelvinDim, prefixes: "m"},
	{symbol: "°C", factor: rat("1"), dim: kelvinDim, offset: "273.15"},
	{symbol: "degC", factor: rat("1"), dim: kelvinDim, offset: "273.15"},
	{symbol: "rad", factor: rat("1"), dim: angleDim, prefixes: "m"},
	{symbol: "deg", factor: quo("3.141592653589793238462643383279502884197", "180"), dim: angleDim},
	{symbol: "°", factor: quo("3.141592653589793238462643383279502884197", "180"), dim: angleDim},
	{symbol: "%", factor: rat("0.01")},
	{symbol: "ppm", factor: rat("0.000001")},
}

var prefixValue = map[rune]string{'f': "1e-15", 'p': "1e-12", 'n': "1e-9", 'u': "1e-6", 'µ': "1e-6", 'μ': "1e-6",
	'm': "1e-3", 'c': "1e-2", 'h': "1e2", 'k': "1e3", 'M': "1e6", 'G': "1e9", 'T': "1e12"}

var symbols = makeSymbols()

func makeSymbols() map[string]unit {
	m := map[string]unit{}
	for _, u := range unitTable {
		m[u.symbol] = u
		for _, p := range u.prefixes {
			v := u
			v.symbol = string(p) + u.symbol
			v.factor = new(big.Rat).Mul(rat(prefixValue[p]), u.factor)
			if _, clash := m[v.symbol]; !clash {
				m[v.symbol] = v
			}
		}
	}
	return m
}

// expression is a parsed unit, such as dB/(m·sqrt(GHz)).
type expression struct {
	factor *big.Rat
	dim    dimension
	single *unit   // the unit itself when the expression is one symbol
	scale  float64 // irrational part, from square roots
}

// parseUnit reads a unit expression: symbols joined by · * / and brackets,
// with powers ^2, ², and sqrt(...) or √.
func parseUnit(s string) (expression, error) {
	p := unitParser{rest: s}
	e, err := p.product()
	if err != nil {
		return expression{}, err
	}
	if p.rest != "" {
		return expression{}, fmt.Errorf("cannot read %q in the unit", p.rest)
	}
	return e, nil
}

type unitParser struct {
	rest  string
	depth int
}

func (p *unitParser) skip() { p.rest = strings.TrimLeft(p.rest, " ") }

func (p *unitParser) take(tokens ...string) bool {
	p.skip()
	for _, t := range tokens {
		if strings.HasPrefix(p.rest, t) {
			p.rest = p.rest[len(t):]
			return true
		}
	}
	return false
}

func (p *unitParser) product() (expression, error) {
	e, err := p.factor()
	if err != nil {
		return e, err
	}
	for {
		sign := int16(0)
		switch {
		case p.take("·", "*", "⋅"):
			sign = 1
		case p.take("/"):
			sign = -1
		default:
			return e, nil
		}
		f, err := p.factor()
		if err != nil {
			return e, err
		}
		e = e.join(f, sign)
	}
}

func (e expression) join(f expression, sign int16) expression {
	out := expression{factor: new(big.Rat).Set(e.factor), scale: e.scale}
	if sign > 0 {
		out.factor.Mul(out.factor, f.factor)
		out.scale *= f.scale
	} else {
		out.factor.Quo(out.factor, f.factor)
		out.scale /= f.scale
	}
	out.dim = e.dim.times(f.dim, 2*sign)
	return out
}

const maxDepth = 4 // of brackets: no unit of the trade has more than two

func (p *unitParser) factor() (expression, error) {
	if p.depth++; p.depth > maxDepth {
		return expression{}, fmt.Errorf("brackets nest deeper than %d", maxDepth)
	}
	defer func() { p.depth-- }()
	var e expression
	switch {
	case p.take("sqrt(", "√("):
		in, err := p.closed()
		if err != nil {
			return e, err
		}
		return in.root()
	case p.take("√"):
		in, err := p.factor()
		if err != nil {
			return e, err
		}
		return in.root()
	case p.take("("):
		in, err := p.closed()
		if err != nil {
			return e, err
		}
		e = in
	default:
		p.skip()
		n := strings.IndexAny(p.rest, " ·*⋅/()^²³√")
		if n < 0 {
			n = len(p.rest)
		}
		symbol := p.rest[:n]
		if symbol == "1" {
			p.rest = p.rest[n:]
			return expression{factor: rat("1"), scale: 1}, nil
		}
		u, ok := symbols[symbol]
		if !ok {
			return e, unknownUnit(symbol)
		}
		p.rest = p.rest[n:]
		e = expression{factor: u.factor, dim: u.dim, single: &u, scale: 1}
	}
	switch {
	case p.take("^2", "²"):
		return e.join(e, 1), nil
	case p.take("^3", "³"):
		return e.join(e, 1).join(e, 1), nil
	}
	return e, nil
}

func (p *unitParser) closed() (expression, error) {
	e, err := p.product()
	if err == nil && !p.take(")") {
		err = fmt.Errorf("a closing bracket is missing in the unit")
	}
	e.single = nil
	return e, err
}

func (e expression) root() (expression, error) {
	x, _ := e.factor.Float64()
	r := new(big.Rat).SetFloat64(math.Sqrt(x))
	if r == nil {
		return e, fmt.Errorf("the unit is out of range")
	}
	if s := new(big.Rat).Mul(r, r); s.Cmp(e.factor) != 0 && e.scale == 1 {
		// √GHz: not a rational factor; it goes into scale as the nearest float.
		return expression{factor: rat("1"), dim: dimension{}.times(e.dim, 1), scale: math.Sqrt(x)}, nil
	}
	return expression{factor: r, dim: dimension{}.times(e.dim, 1), scale: math.Sqrt(e.scale)}, nil
}
