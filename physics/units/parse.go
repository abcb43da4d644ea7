package units

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"sort"
	"strconv"
	"strings"
	"unicode"

	"linewright/internal/spell"
)

// The rules a quantity's text can break. A [ParseError] wraps one of them.
var (
	ErrEmpty       = errors.New("nothing stands here")
	ErrNumber      = errors.New("not a number")
	ErrBareNumber  = errors.New("a unit is missing")
	ErrUnknownUnit = errors.New("unknown unit")
	ErrDimension   = errors.New("wrong kind of unit")
	ErrRange       = errors.New("out of range")
)

// A ParseError says why a text is not a quantity and what to write instead.
type ParseError struct {
	Text string // what stands there
	Kind string // what was wanted, "length"
	Err  error  // the rule it breaks
	Help string // what to write
}

func (e *ParseError) Error() string {
	return fmt.Sprintf("%q: %v; %s", e.Text, e.Err, e.Help)
}

func (e *ParseError) Unwrap() error { return e.Err }

// unitError is an unknown unit, before the quantity around it is known.
type unitError struct{ symbol, near string }

func (e *unitError) Error() string { return fmt.Sprintf("unknown unit %q", e.symbol) }

func unknownUnit(symbol string) error { return &unitError{symbol, nearest(symbol)} }

// nearest returns the known symbol closest to s: the same letters in other
// case first, then one edit away.
func nearest(s string) string {
	if s == "" || len(s) > 12 {
		return ""
	}
	var all []string
	for k := range symbols {
		all = append(all, k)
	}
	sort.Slice(all, func(i, j int) bool {
		if len(all[i]) != len(all[j]) {
			return len(all[i]) < len(all[j])
		}
		return all[i] < all[j]
	})
	alias := map[string]string{"micron": "um", "microns": "um", "inches": "in", `"`: "in", "thou": "mil", "mils": "mil", "C": "°C", "celsius": "°C", "Celsius": "°C",
		"ºC": "°C", "ohms": "ohm", "Ohm": "ohm", "db": "dB", "degrees": "deg", "Nm": "N·m", "inlb": "in·lbf", "sec": "s", "hz": "Hz", "meter": "m", "metre": "m", "metres": "m", "mtr": "m"}
	if a, ok := alias[s]; ok {
		return a
	}
	if near := spell.Nearest(s, all, 1); near != "" && (len(s) > 1 || strings.EqualFold(near, s)) {
		return near
	}
	return ""
}

// fahrenheit says whether unit is a way to write degrees Fahrenheit.
func fahrenheit(unit string) bool {
	switch unit {
	case "°F", "ºF", "degF", "F", "Fahrenheit", "fahrenheit":
		return true
	}
	return false
}

const maxText = 64 // bytes of a quantity: a longer one is no quantity

// split cuts a quantity's text into its number and its unit.
func split(s string) (number, unit string) {
	i := 0
	for i < len(s) {
		c := s[i]
		switch {
		case c >= '0' && c <= '9', c == '.', c == '+', c == '-':
			i++
		case strings.HasPrefix(s[i:], "−"):
			i += len("−")
		case (c == 'e' || c == 'E') && i > 0 && i+1 < len(s) && (s[i+1] >= '0' && s[i+1] <= '9' || i+2 < len(s) && (s[i+1] == '-' || s[i+1] == '+') && s[i+2] >= '0' && s[i+2] <= '9'):
			i++
		default:
			return strings.TrimSpace(s[:i]), strings.TrimSpace(s[i:])
		}
	}
	return strings.TrimSpace(s), ""
}

// parse reads s as a quantity of kind k and returns its SI value.
func parse(s string, k kind) (float64, error) {
	fail := func(err error, help string, args ...any) (float64, error) {
		text := s
		if len(text) > maxText {
			text = strings.ToValidUTF8(text[:maxText], "") + "…"
		}
		return 0, &ParseError{Text: text, Kind: k.name, Err: err, Help: fmt.Sprintf(help, args...)}
	}
	text := strings.TrimFunc(s, unicode.IsSpace)
	if text == "" {
		return fail(ErrEmpty, "write a %s such as %q", k.name, k.example)
	}
	if len(text) > maxText {
		return fail(ErrNumber, "a %s is a number and a unit, such as %q", k.name, k.example)
	}
	number, unitText := split(text)
	number = strings.ReplaceAll(number, "−", "-")
	if strings.HasPrefix(unitText, ",") {
		return fail(ErrNumber, "use a point, not a comma, in numbers: write %q", k.example)
	}
	value, ok := decimal(number)
	if !ok {
		return fail(ErrNumber, "a %s is a number and a unit, such as %q", k.name, k.example)
	}
	if unitText == "" {
		if k.dim == (dimension{}) {
			return k.finish(value, 1, fail)
		}
		return fail(ErrBareNumber, "write %q%s", number+" "+k.unit, k.others())
	}
	if fahrenheit(unitText) && k.dim == kelvinDim {
		f, _ := value.Float64()
		if !k.difference {
			f -= 32
		}
		return fail(ErrUnknownUnit, "degrees Fahrenheit are not read: write \"%.4g %s\"", f*5/9, k.unit)
	}
	e, err := parseUnit(unitText)
	if err != nil {
		var ue *unitError
		if errors.As(err, &ue) {
			if ue.near != "" {
				return fail(ErrUnknownUnit, "%q is not known here: did you mean %q?", ue.symbol, ue.near)
			}
			return fail(ErrUnknownUnit, "%q is not known here: a %s is written like %q%s", ue.symbol, k.name, k.example, k.others())
		}
		return fail(ErrUnknownUnit, "%v: a %s is written like %q", err, k.name, k.example)
	}
	if e.dim != k.dim {
		what := nameOf(e.dim)
		return fail(ErrDimension, "%s%q is %s: a %s is written like %q", inchHint(unitText, k), unitText, what, k.name, k.example)
	}
	if e.single != nil && e.single.dbm > 0 {
		x, _ := value.Float64()
		w := e.single.dbm * math.Pow(10, x/10)
		if math.IsInf(w, 0) || w == 0 {
			return fail(ErrRange, "no such power")
		}
		return w, nil
	}
	value.Mul(value, e.factor)
	if k.inDecibels() {
		value.Quo(value, rat(neperPerDecibel))
	}
	if e.single != nil && e.single.offset != "" && !k.difference {
		value.Add(value, rat(e.single.offset))
	}
	return k.finish(value, e.scale, fail)
}

func inchHint(unitText string, k kind) string {
	if unitText == `"` || unitText == "''" {
		return "for inches write in; "
	}
	return ""
}

func (k kind) finish(value *big.Rat, scale float64, fail func(error, string, ...any) (float64, error)) (float64, error) {
	x, _ := value.Float64()
	x *= scale
	if math.IsInf(x, 0) {
		return fail(ErrRange, "the number is too large")
	}
	if x < k.min {
		return fail(ErrRange, "a %s cannot lie below %s", k.name, k.floor)
	}
	return x, nil
}

// decimal reads a decimal number exactly. Exponents beyond ±400 are refused:
// they are no physical quantity and would cost memory.
func decimal(s string) (*big.Rat, bool) {
	if s == "" {
		return nil, false
	}
	mantissa := s
	if i := strings.IndexAny(s, "eE"); i >= 0 {
		n, err := strconv.Atoi(s[i+1:])
		if err != nil || n > 400 || n < -400 {
			return nil, false
		}
		mantissa = s[:i]
	}
	digits := 0
	for i, c := range mantissa {
		switch {
		case c >= '0' && c <= '9':
			digits++
		case c == '.', (c == '+' || c == '-') && i == 0:
		default:
			return nil, false
		}
	}
	if digits == 0 {
		return nil, false
	}
	return new(big.Rat).SetString(s)
}

// format writes x (SI) in the named unit with the fewest digits that read back
// as the same float64.
func format(x float64, k kind, unitText string) string {
	e, err := parseUnit(unitText)
	if err != nil || e.dim != k.dim {
		panic(fmt.Sprintf("units: %q is not a unit of %s", unitText, k.name))
	}
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return strconv.FormatFloat(x, 'g', -1, 64) + " " + unitText
	}
	y := e.fromSI(x, k)
	for digits := 1; digits < 25; digits++ {
		s := trimNumber(y.Text('g', digits)) + " " + unitText
		if back, err := parse(s, k); err == nil && back == x {
			return s
		}
	}
	return strconv.FormatFloat(x, 'g', -1, 64) + " " + k.si
}

// inDecibels says that values of this kind are stored in dB, not Np.
func (k kind) inDecibels() bool { return k.dim == levelDim || k.dim == rootLevelKind.dim }

// fromSI converts an SI value to the unit, with 120 bits.
func (e expression) fromSI(x float64, k kind) *big.Float {
	y := new(big.Float).SetPrec(120)
	if e.single != nil && e.single.dbm > 0 {
		return y.SetFloat64(10 * math.Log10(x/e.single.dbm))
	}
	r := new(big.Rat).SetFloat64(x)
	if e.single != nil && e.single.offset != "" && !k.difference {
		r.Sub(r, rat(e.single.offset))
	}
	if k.inDecibels() {
		r.Mul(r, rat(neperPerDecibel))
	}
	r.Quo(r, e.factor)
	y.SetRat(r)
	return y.Quo(y, new(big.Float).SetFloat64(e.scale))
}

// trimNumber turns Go's 1e+06 into plain digits where they are short.
func trimNumber(s string) string {
	if f, ok := new(big.Float).SetString(s); ok && strings.ContainsAny(s, "eE") {
		if plain := f.Text('f', -1); len(plain) <= 12 {
			return plain
		}
	}
	return s
}

func nameOf(d dimension) string {
	for _, k := range kinds {
		if k.dim == d && !k.difference {
			return article(k.name)
		}
	}
	if d == levelDim {
		return "a loss"
	}
	return "another quantity"
}

func article(s string) string {
	if strings.ContainsRune("aeiou", rune(s[0])) {
		return "an " + s
	}
	return "a " + s
}
