package touchstone

import (
	"errors"
	"fmt"
	"strings"
)

// The rules a file can break. A [SyntaxError] wraps one of them; ask with
// errors.Is.
var (
	ErrEmpty             = errors.New("a file must hold at least one frequency point")
	ErrText              = errors.New("the format is plain ASCII text")
	ErrNumber            = errors.New("a finite decimal number must stand here")
	ErrPorts             = errors.New("the number of ports must be known")
	ErrPortsDiffer       = errors.New("every statement of the number of ports must agree")
	ErrOption            = errors.New("the option line holds a frequency unit, a parameter, a format and R with its resistance")
	ErrOptionRepeated    = errors.New("the option line says each thing once")
	ErrOptionPlace       = errors.New("the option line comes before the data")
	ErrReference         = errors.New("a reference resistance is a positive real number of ohms")
	ErrReferenceCount    = errors.New("there is one reference resistance, or one for each port")
	ErrHybridPorts       = errors.New("only two-ports have H and G parameters")
	ErrKeyword           = errors.New("no keyword has this name")
	ErrKeywordForm       = errors.New("a keyword starts its line, in square brackets without inner padding")
	ErrKeywordPlace      = errors.New("keywords keep their order")
	ErrKeywordRepeated   = errors.New("a keyword stands once in a file")
	ErrKeywordMissing    = errors.New("a version 2 file needs this keyword")
	ErrKeywordArgument   = errors.New("the keyword takes another argument")
	ErrKeywordNotAllowed = errors.New("the keyword does not belong in this file")
	ErrFrequency         = errors.New("a frequency is not negative")
	ErrFrequencyOrder    = errors.New("frequencies must increase")
	ErrFrequencyCount    = errors.New("the number of points must be as declared")
	ErrPointLength       = errors.New("a point is its frequency and one pair of numbers for each parameter")
	ErrNoiseLength       = errors.New("a noise line is frequency, minimum figure, magnitude, angle, resistance")
	ErrNoisePorts        = errors.New("noise data describe two-ports only")
	ErrNoiseCount        = errors.New("the number of noise points must be as declared")
	ErrMixedMode         = errors.New("the mode list names each port once as S, or once in a D and once in a C pair")
	ErrTrailing          = errors.New("only comments may follow [End]")
	ErrTooMany           = errors.New("reading stopped after too many faults")
)

// What a file may do without being misread. The reader reports these as
// warnings, and as faults when [ReadOptions.Strict] is set.
var (
	ErrForgivenNoOption       = errors.New("a file without option line is read as # GHz S MA R 50")
	ErrForgivenSecondOption   = errors.New("only the first option line counts")
	ErrForgivenWrap           = errors.New("version 1 starts each matrix row on a new line and puts at most four pairs on one")
	ErrForgivenEnd            = errors.New("a version 2 file closes with [End]")
	ErrForgivenExtension      = errors.New("the extension states another number of ports than the file")
	ErrForgivenKeywordForm    = errors.New("a keyword starts in the first column and has single spaces or dashes between its words")
	ErrForgivenText           = errors.New("comments are plain ASCII too")
	ErrForgivenComment        = errors.New("comments between two points are kept up to one mebibyte")
	ErrForgivenNoiseFrequency = errors.New("noise data start at or below the highest network frequency")
)

// What a file may ask for that this reader does not do. An [UnsupportedError]
// wraps one of them.
var (
	ErrVersion       = errors.New("versions 1.0, 1.1, 2.0 and 2.1 are read")
	ErrPortLimit     = fmt.Errorf("up to %d ports are read", maxPorts)
	ErrLineLimit     = fmt.Errorf("lines of up to %d bytes are read", maxLine)
	ErrNormalisation = errors.New("in version 1, Y, Z, G and H data are read with one reference resistance for all ports")
)

// A SyntaxError says where a file stops making sense, why, and what would put
// it right. Line and Column count from 1; Column counts bytes, without the
// byte-order mark.
type SyntaxError struct {
	File         string
	Line, Column int
	Found        string // what stands there
	Err          error  // the rule it breaks: one of this package's Err or Warn values
	Help         string // what the user can do
}

func (e *SyntaxError) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s: %v; %s", e.File, e.Line, e.Column, e.Found, e.Err, e.Help)
}

func (e *SyntaxError) Unwrap() error { return e.Err }

// An UnsupportedError says where a file that may be perfectly valid asks for
// something this reader does not do. Its fields are those of [SyntaxError].
type UnsupportedError SyntaxError

func (e *UnsupportedError) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s is not supported: %v; %s", e.File, e.Line, e.Column, e.Found, e.Err, e.Help)
}

func (e *UnsupportedError) Unwrap() error { return e.Err }

// Faults is every fault found in one file, in the order of the file. The
// elements are [*SyntaxError], [*UnsupportedError], or an error of the
// underlying reader, which then is the last.
type Faults []error

func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, e := range f {
		lines[i] = e.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap lets errors.Is and errors.As look at every fault.
func (f Faults) Unwrap() []error { return f }

// quote shows a piece of a file in a message: short, printable, in quotation
// marks.
func quote(b []byte) string {
	const most = 40
	if len(b) > most {
		return fmt.Sprintf("%+q...", b[:most])
	}
	return fmt.Sprintf("%+q", b)
}
