package cli

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"linewright/physics/units"
)

// quantityFlag is a flag whose value is a quantity with its unit.
type quantityFlag[Q units.Quantity] struct {
	name string
	at   *Q
	text string // as written; empty while not given
}

// quantityVar registers a flag for a quantity. Its zero value means "not
// given"; ask the flag set's Changed where zero is a value of its own.
func quantityVar[Q units.Quantity](fs *pflag.FlagSet, at *Q, name, usage string) {
	fs.Var(&quantityFlag[Q]{name: name, at: at}, name, usage)
}

// Set implements pflag.Value.
func (q *quantityFlag[Q]) Set(s string) error {
	x, err := units.Parse[Q](s)
	if err != nil {
		return quantityFault("--"+q.name, err)
	}
	*q.at, q.text = x, s
	return nil
}

// String implements pflag.Value.
func (q *quantityFlag[Q]) String() string { return q.text }

// Type implements pflag.Value: what the help shows behind the flag.
func (q *quantityFlag[Q]) Type() string {
	kind, _ := units.Name[Q]()
	return strings.ReplaceAll(kind, " ", "-")
}

// quantityFault says of a flag what its quantity lacks.
func quantityFault(flag string, err error) error {
	var p *units.ParseError
	if errors.As(err, &p) {
		return usage(fmt.Sprintf("%s %q: %v", flag, p.Text, p.Err), "%s", p.Help)
	}
	return usage(fmt.Sprintf("%s: %v", flag, err), "write a number with its unit")
}

// numberFlag is a flag whose value is a plain number within bounds.
type numberFlag struct {
	name      string
	at        *float64
	low, high float64
	example   string
	text      string
}

func numberVar(fs *pflag.FlagSet, at *float64, name string, low, high float64, example, usage string) {
	fs.Var(&numberFlag{name: name, at: at, low: low, high: high, example: example}, name, usage)
}

// Set implements pflag.Value.
func (n *numberFlag) Set(s string) error {
	x, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsNaN(x) {
		return usage(fmt.Sprintf("--%s %q: not a plain number", n.name, s), "write it without a unit, such as --%s %s", n.name, n.example)
	}
	if !(x >= n.low && x <= n.high) {
		return usage(fmt.Sprintf("--%s %q: out of range", n.name, s), "it lies between %g and %g, such as --%s %s", n.low, n.high, n.name, n.example)
	}
	*n.at, n.text = x, s
	return nil
}

// String implements pflag.Value.
func (n *numberFlag) String() string { return n.text }

// Type implements pflag.Value.
func (n *numberFlag) Type() string { return "number" }

// wordFlag is a flag that takes one of a few words, whatever their case.
type wordFlag struct {
	name  string
	at    *string
	words []string
}

func wordVar(c *cobra.Command, at *string, name, usage string, words ...string) {
	c.Flags().Var(&wordFlag{name: name, at: at, words: words}, name, usage+": "+strings.Join(words, ", "))
	complete(c, name, words...)
}

// complete offers the words of a flag to the shell.
func complete(c *cobra.Command, name string, words ...string) {
	if err := c.RegisterFlagCompletionFunc(name, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err) // a flag that is not there, or twice
	}
}

// Set implements pflag.Value.
func (w *wordFlag) Set(s string) error {
	for _, word := range w.words {
		if strings.EqualFold(word, s) {
			*w.at = word
			return nil
		}
	}
	return usage(fmt.Sprintf("--%s %q: not one of its words", w.name, s), "write one of: %s", strings.Join(w.words, ", "))
}

// String implements pflag.Value.
func (w *wordFlag) String() string {
	if w.at == nil {
		return ""
	}
	return *w.at
}

// Type implements pflag.Value.
func (w *wordFlag) Type() string { return "word" }

// maxPoints bounds what --at may ask for: a slip of the finger is not to fill
// the memory.
const maxPoints = 1_000_000

// sweepFlag is a list of frequencies: single ones parted by commas, and sweeps
// written from:to:points.
type sweepFlag struct {
	name string
	at   *[]float64 // Hz
	text string
}

func sweepVar(fs *pflag.FlagSet, at *[]float64, name, usage string) {
	fs.Var(&sweepFlag{name: name, at: at}, name, usage)
}

// Set implements pflag.Value. A flag that is given again adds to the list.
func (s *sweepFlag) Set(text string) error {
	const help = "write frequencies such as --%s 10GHz,28GHz or a sweep from:to:points such as --%s 1GHz:40GHz:40"
	flag := "--" + s.name
	read := func(t string) (float64, error) {
		f, err := units.Parse[units.Frequency](t)
		if err != nil {
			return 0, quantityFault(flag, err)
		}
		if !(f > 0) {
			return 0, usage(fmt.Sprintf("%s %q: a line is computed above 0 Hz", flag, t), help, s.name, s.name)
		}
		return float64(f), nil
	}
	var list []float64
	for _, item := range strings.Split(text, ",") {
		parts := strings.Split(item, ":")
		switch len(parts) {
		case 1:
			f, err := read(parts[0])
			if err != nil {
				return err
			}
			list = append(list, f)
		case 3:
			from, err := read(parts[0])
			if err != nil {
				return err
			}
			to, err := read(parts[1])
			if err != nil {
				return err
			}
			n, err := strconv.Atoi(strings.TrimSpace(parts[2]))
			if err != nil || n < 2 || n > maxPoints {
				return usage(fmt.Sprintf("%s: %q is no number of points", flag, parts[2]), "a sweep has 2 to %d points, such as 1GHz:40GHz:40", maxPoints)
			}
			if !(to > from) {
				return usage(fmt.Sprintf("%s %q: the sweep ends where it begins or below", flag, item), "write the lower frequency first")
			}
			for k := range n {
				f := from + (to-from)*float64(k)/float64(n-1)
				if k == n-1 {
					f = to
				}
				list = append(list, f)
			}
		default:
			return usage(fmt.Sprintf("%s %q: a sweep has three parts", flag, item), help, s.name, s.name)
		}
	}
	if len(*s.at)+len(list) > maxPoints {
		return usage(fmt.Sprintf("%s asks for more than %d frequencies", flag, maxPoints), "ask for fewer points")
	}
	*s.at = append(*s.at, list...)
	if s.text != "" {
		s.text += ","
	}
	s.text += text
	return nil
}

// String implements pflag.Value.
func (s *sweepFlag) String() string { return s.text }

// Type implements pflag.Value.
func (s *sweepFlag) Type() string { return "frequencies" }

// plainFlagFault words the faults of whole numbers, switches and flags without
// their value. It returns nil for any other.
func plainFlagFault(err error) error {
	var value *pflag.InvalidValueError
	if errors.As(err, &value) {
		flag := value.GetFlag()
		says := map[string][2]string{
			"int":    {"not a whole number", "10"},
			"uint64": {"not a whole number from 0 up", "7"},
			"bool":   {"neither true nor false", "false"},
		}[flag.Value.Type()]
		if says[0] == "" {
			return nil
		}
		return usage(fmt.Sprintf("--%s %q: %s", flag.Name, value.GetValue(), says[0]), "write it such as --%s=%s", flag.Name, says[1])
	}
	var bare *pflag.ValueRequiredError
	if errors.As(err, &bare) {
		flag := bare.GetFlag()
		example := map[string]string{"string": "NAME", "int": "10", "uint64": "7", "number": "1.5", "frequencies": "1GHz:40GHz:40"}[flag.Value.Type()]
		if example == "" {
			example = "VALUE"
		}
		return usage(fmt.Sprintf("--%s has no value behind it", flag.Name), "write it such as --%s %s", flag.Name, example)
	}
	return nil
}

// countFlag is a flag whose value is a whole number within bounds.
type countFlag struct {
	name      string
	at        *int
	low, high int
}

// countVar registers a flag for a whole number from low to high; value is what
// it has when it is not given.
func countVar(fs *pflag.FlagSet, at *int, name, short string, value, low, high int, usage string) {
	*at = value
	fs.VarP(&countFlag{name: name, at: at, low: low, high: high}, name, short, usage)
}

// Set implements pflag.Value.
func (n *countFlag) Set(s string) error {
	x, err := strconv.Atoi(strings.TrimSpace(s))
	if err != nil {
		return usage(fmt.Sprintf("--%s %q: not a whole number", n.name, s), "write it such as --%s %d", n.name, max(10, n.low))
	}
	if x < n.low || x > n.high {
		return usage(fmt.Sprintf("--%s %d: out of range", n.name, x), "it lies between %d and %d", n.low, n.high)
	}
	*n.at = x
	return nil
}

// String implements pflag.Value.
func (n *countFlag) String() string {
	if n.at == nil {
		return "0"
	}
	return strconv.Itoa(*n.at)
}

// Type implements pflag.Value: its name makes the help show the default as that
// of a number.
func (n *countFlag) Type() string { return "int" }

// spared refuses to write over what is read: measured data are not had again.
// Each of written is a flag with its file, which may be empty.
func spared(read []string, written ...[2]string) error {
	for _, w := range written {
		flag, file := w[0], w[1]
		if file == "" {
			continue
		}
		info, err := os.Stat(file)
		for _, name := range read {
			other, errR := os.Stat(name)
			if name != "" && filepath.Clean(name) == filepath.Clean(file) || err == nil && errR == nil && os.SameFile(info, other) {
				return usage(fmt.Sprintf("%s %s: what is read stands there", flag, file), "name another file")
			}
		}
	}
	return nil
}
