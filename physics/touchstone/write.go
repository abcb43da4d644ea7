package touchstone

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Faults of the caller that a [Writer] reports.
var (
	ErrLayout = errors.New("the layout cannot be written")
	ErrValue  = errors.New("only finite numbers can be written")
	ErrCount  = errors.New("the numbers of points must be as announced")
)

// WriteOptions adjust a [Writer]. The zero value is the sensible default.
type WriteOptions struct {
	Style  Style // digits; the zero value writes the fewest that read back exactly
	Points int   // number of frequencies; needed in version 2, else 0 leaves it open
	Noise  int   // number of noise frequencies; needed in version 2 if there are any
}

// A Writer writes a file one frequency at a time, in constant memory. Comments
// go where they are given. Whatever goes wrong is returned by every later call,
// so that it suffices to look at the error of Close.
type Writer struct {
	w       *bufio.Writer
	layout  Layout
	opt     WriteOptions
	at      []int32
	scaled  []complex128
	buf     []byte
	began   bool // what precedes the data is written
	inData  bool // so is [Network Data]
	inNoise bool // and [Noise Data]
	tail    bool // and [End]
	points  int
	noises  int
	last    float64
	noiseAt float64
	beside  []Comment // trailing comments of the next point
	err     error
}

// NewWriter returns a Writer of a file of layout l, or tells why the layout
// cannot be written. What stands before the data is written with the first
// point.
func NewWriter(w io.Writer, l Layout, o WriteOptions) (*Writer, error) {
	bad := func(format string, args ...any) (*Writer, error) {
		return nil, fmt.Errorf("touchstone: %w: "+format, append([]any{ErrLayout}, args...)...)
	}
	if l.Version == VersionAuto {
		l.Version = Version10
		if !l.oneReference() {
			l.Version = Version11
		}
	}
	for i, r := range l.Reference {
		if !(r > 0) || math.IsInf(r, 0) {
			return bad("reference %d is %g Ω; it must be positive", i+1, r)
		}
	}
	v1 := !l.Version.keywords()
	switch {
	case l.Version > Version21 || l.Unit > Hz || l.Parameter > G || l.Format > RI || l.Order > Order12_21 || l.Triangle > Upper:
		return bad("one of its choices is none of the named ones")
	case l.Ports < 1 || l.Ports > maxPorts:
		return bad("%d ports; from 1 to %d are possible", l.Ports, maxPorts)
	case len(l.Reference) > 1 && len(l.Reference) != l.Ports:
		return bad("%d references for %d ports; give one, or one for each", len(l.Reference), l.Ports)
	case (l.Parameter == H || l.Parameter == G) && l.Ports != 2:
		return bad("%v parameters of %d ports; they exist for two-ports", l.Parameter, l.Ports)
	case l.Resistance < 0 || math.IsNaN(l.Resistance) || math.IsInf(l.Resistance, 0):
		return bad("option line resistance %g Ω; it must be positive", l.Resistance)
	case l.Version == Version10 && !l.oneReference():
		return bad("unlike references in version 1.0; choose version 1.1 or later")
	case v1 && l.Parameter != S && !l.oneReference():
		return bad("%v parameters with unlike references in version 1; choose version 2", l.Parameter)
	case v1 && (l.Triangle != Full || l.Order != Order21_12 || len(l.Modes) > 0 || len(l.Information) > 0):
		return bad("triangles, port order 12_21, modes and information need version 2")
	case v1 && l.Resistance > 0 && l.Resistance != l.PortReference(1):
		return bad("option line resistance %g Ω beside reference %g Ω needs version 2", l.Resistance, l.PortReference(1))
	case !v1 && o.Points < 1:
		return bad("version 2 states the number of frequencies; give WriteOptions.Points")
	case o.Noise > 0 && l.Ports != 2:
		return bad("noise data of %d ports; they exist for two-ports", l.Ports)
	case l.Order == Order12_21 && l.Ports != 2:
		return bad("port order 12_21 with %d ports; it exists for two-ports", l.Ports)
	}
	if len(l.Modes) > 0 {
		check := Scanner{layout: l, most: math.MaxInt}
		if check.checkModes(); len(check.faults) > 0 {
			return nil, fmt.Errorf("touchstone: %w: %w", ErrLayout, check.faults[0])
		}
	}
	return &Writer{w: bufio.NewWriterSize(w, 64<<10), layout: l, opt: o,
		last: math.Inf(-1), noiseAt: math.Inf(-1)}, nil
}

// Comment writes a comment on a line of its own; given before the first point it
// comes before [Version] and the option line. The text follows the '!' at once; one
// of several lines gives as many comments. Letters that are not ASCII are written as \u and four
// hexadecimal digits.
func (w *Writer) Comment(text string) error {
	for line := range strings.Lines(text) {
		w.string("!" + ascii(strings.TrimRight(line, " \t\r\n")) + "\n")
	}
	if text == "" {
		w.string("!\n")
	}
	return w.err
}

// ascii spells what is not plain ASCII.
func ascii(s string) string {
	plain := true
	for i := range len(s) {
		plain = plain && (s[i] >= 0x20 && s[i] <= 0x7e || s[i] == '\t')
	}
	if plain {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		switch {
		case r >= 0x20 && r <= 0x7e || r == '\t':
			b.WriteRune(r)
		case r <= 0xffff:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			fmt.Fprintf(&b, `\U%08x`, r)
		}
	}
	return b.String()
}

// begin writes what stands before the comments in front of the data.
func (w *Writer) begin() {
	w.began = true
	l := &w.layout
	if l.Version.keywords() {
		w.string("[Version] " + l.Version.String() + "\n")
	}
	w.string("# " + l.Unit.String() + " " + l.Parameter.String() + " " + l.Format.String() + " R")
	if l.Version == Version11 {
		for i := range l.Ports {
			w.number(l.PortReference(i + 1))
		}
	} else {
		w.number(l.optionResistance())
	}
	w.string("\n")
	if !l.Version.keywords() {
		return
	}
	w.string(fmt.Sprintf("[Number of Ports] %d\n", l.Ports))
	if l.Ports == 2 {
		w.string("[Two-Port Data Order] " + l.Order.String() + "\n")
	}
	w.string(fmt.Sprintf("[Number of Frequencies] %d\n", w.opt.Points))
	if w.opt.Noise > 0 {
		w.string(fmt.Sprintf("[Number of Noise Frequencies] %d\n", w.opt.Noise))
	}
	if !l.oneReference() || l.PortReference(1) != l.optionResistance() {
		w.string("[Reference]")
		for i := range l.Ports {
			if i > 0 && i%10 == 0 {
				w.string("\n")
			}
			w.number(l.PortReference(i + 1))
		}
		w.string("\n")
	}
	if l.Triangle != Full {
		w.string("[Matrix Format] " + l.Triangle.String() + "\n")
	}
	if len(l.Modes) > 0 {
		w.string("[Mixed-Mode Order]")
		for _, m := range l.Modes {
			w.string(" " + m.String())
		}
		w.string("\n")
	}
	if len(l.Information) > 0 {
		w.string("[Begin Information]\n")
		for _, line := range l.Information {
			w.string(ascii(line) + "\n")
		}
		w.string("[End Information]\n")
	}
}

func (w *Writer) string(s string) {
	if w.err == nil {
		_, w.err = w.w.WriteString(s)
	}
}

func (w *Writer) number(v float64) {
	w.string(" " + strconv.FormatFloat(v, 'g', -1, 64))
}

// start is begin with what follows it.
func (w *Writer) start() {
	if !w.began {
		w.begin()
	}
	if !w.inData && w.layout.Version.keywords() {
		w.string("[Network Data]\n")
	}
	w.inData = true
}

func (w *Writer) startNoise() {
	if !w.inNoise && w.layout.Version.keywords() {
		w.string("[Noise Data]\n")
	}
	w.inNoise = true
}

// Write writes the matrix, row after row and in absolute units, at a frequency,
// in Hz.
func (w *Writer) Write(frequency float64, matrix []complex128) error {
	if w.err != nil {
		return w.err
	}
	l := &w.layout
	n := l.Ports
	switch {
	case len(matrix) != n*n:
		panic(fmt.Sprintf("touchstone: Write of %d elements for %d ports", len(matrix), n))
	case w.noises > 0 || w.tail:
		panic("touchstone: Write behind the noise data or the end")
	case !(frequency >= 0) || math.IsInf(frequency, 1):
		w.err = fmt.Errorf("touchstone: point %d: frequency %g Hz: %w", w.points+1, frequency, ErrFrequency)
		return w.err
	case !(frequency > w.last):
		w.err = fmt.Errorf("touchstone: point %d: %g Hz after %g Hz: %w", w.points+1, frequency, w.last, ErrFrequencyOrder)
		return w.err
	}
	if l.Triangle != Full {
		for i := range n {
			for j := range i {
				if !(matrix[i*n+j] == matrix[j*n+i]) {
					w.err = fmt.Errorf("touchstone: point %d at %g Hz: %w: elements %d,%d and %d,%d differ, but [Matrix Format] %v holds symmetric matrices", w.points+1, frequency, ErrLayout, i+1, j+1, j+1, i+1, l.Triangle)
					return w.err
				}
			}
		}
	}
	w.start()
	if w.at == nil {
		w.at = l.order()
	}
	v1 := !l.Version.keywords()
	if v1 && l.Parameter != S {
		w.scaled = append(w.scaled[:0], matrix...)
		matrix = w.scaled
		normalise(l.Parameter, matrix, l.PortReference(1), false)
	}
	b := w.opt.Style.Frequency.appendShifted(w.buf[:0], frequency+0, l.Unit.shift())
	row, line, onLine := 0, 0, 0
	for _, at := range w.at {
		i := int(at) / n
		if n > 2 && (i != row || v1 && onLine == 4) {
			b = w.endLine(b, line)
			b = append(b, ' ')
			row, onLine = i, 0
			line++
		}
		x, y := toPair(l.Format, matrix[at])
		if (x-x)+(y-y) != 0 { // NaN or infinite
			w.err = fmt.Errorf("touchstone: point %d at %g Hz: element %d,%d is %v: %w", w.points+1, frequency, i+1, int(at)%n+1, matrix[at], ErrValue)
			return w.err
		}
		b = append(b, ' ')
		b = w.opt.Style.First.append(b, x)
		b = append(b, ' ')
		b = w.opt.Style.Second.append(b, y)
		onLine++
	}
	b = w.endLine(b, math.MaxInt)
	w.buf = b
	if _, err := w.w.Write(b); err != nil {
		w.err = err
	}
	w.points++
	w.last = frequency
	return w.err
}

// endLine ends data line i of a point, with the comments that go beside it.
func (w *Writer) endLine(b []byte, i int) []byte {
	for len(w.beside) > 0 && w.beside[0].Row <= i {
		b = append(b, " !"...)
		b = append(b, ascii(w.beside[0].Text)...)
		w.beside = w.beside[1:]
	}
	return append(b, '\n')
}

// WriteNoise writes a line of noise data; they follow the network data.
func (w *Writer) WriteNoise(p NoisePoint) error {
	if w.err != nil {
		return w.err
	}
	magnitude, angle := toPair(MA, p.Source)
	r := p.Resistance
	if !w.layout.Version.keywords() {
		r /= w.layout.optionResistance()
	}
	sum := p.Frequency + p.Minimum + magnitude + angle + r
	switch {
	case w.layout.Ports != 2:
		w.err = fmt.Errorf("touchstone: %w: noise data of %d ports", ErrNoisePorts, w.layout.Ports)
	case sum-sum != 0:
		w.err = fmt.Errorf("touchstone: noise point %d: %v: %w", w.noises+1, p, ErrValue)
	case !(p.Frequency >= 0):
		w.err = fmt.Errorf("touchstone: noise point %d: frequency %g Hz: %w", w.noises+1, p.Frequency, ErrFrequency)
	case w.noises == 0 && p.Frequency > w.last && !w.layout.Version.keywords():
		w.err = fmt.Errorf("touchstone: noise data from %g Hz, network data to %g Hz: %w", p.Frequency, w.last, ErrForgivenNoiseFrequency)
	case !(p.Frequency > w.noiseAt):
		w.err = fmt.Errorf("touchstone: noise point %d: %g Hz after %g Hz: %w", w.noises+1, p.Frequency, w.noiseAt, ErrFrequencyOrder)
	}
	if w.err != nil {
		return w.err
	}
	w.startNoise()
	b := Number{}.appendShifted(w.buf[:0], p.Frequency+0, w.layout.Unit.shift())
	for _, v := range []float64{p.Minimum, magnitude, angle, r} {
		b = strconv.AppendFloat(append(b, ' '), v, 'g', -1, 64)
	}
	b = w.endLine(b, math.MaxInt)
	w.buf = b
	if _, err := w.w.Write(b); err != nil {
		w.err = err
	}
	w.noises++
	w.noiseAt = p.Frequency
	return w.err
}

// end closes the data.
func (w *Writer) end() {
	if w.tail {
		return
	}
	w.tail = true
	switch {
	case w.err != nil:
	case !w.inData || w.points == 0:
		w.err = fmt.Errorf("touchstone: %w", ErrEmpty)
	case w.opt.Points > 0 && w.points != w.opt.Points:
		w.err = fmt.Errorf("touchstone: %d points written, %d announced: %w", w.points, w.opt.Points, ErrCount)
	case (w.opt.Noise > 0 || w.layout.Version.keywords()) && w.noises != w.opt.Noise:
		w.err = fmt.Errorf("touchstone: %d noise points written, %d announced: %w", w.noises, w.opt.Noise, ErrCount)
	case w.layout.Version.keywords():
		w.string("[End]\n")
	}
}

// Close ends the file and flushes it; it does not close the underlying writer.
func (w *Writer) Close() error {
	w.end()
	if w.err == nil {
		w.err = w.w.Flush()
	}
	return w.err
}

// Write writes the file, with its comments at their places: before the option
// line, before the data, before a point or beside it. Comments inside a point
// and those beside keywords get a line of their own before the point or the data.
// The counts in o may be left zero.
func (f *File) Write(to io.Writer, o WriteOptions) error {
	if n := f.Layout.Ports; len(f.Data) != len(f.Frequency)*n*n {
		panic(fmt.Sprintf("touchstone: File with %d frequencies of %d ports and %d elements", len(f.Frequency), n, len(f.Data)))
	}
	o.Points, o.Noise = len(f.Frequency), len(f.Noise)
	w, err := NewWriter(to, f.Layout, o)
	if err != nil {
		return err
	}
	rest := f.Comments
	// upTo writes the comments that come before point k of a section.
	upTo := func(s Section, k int) {
		for len(rest) > 0 {
			c := rest[0]
			if c.Section > s || c.Section == s && s >= Network && c.Point > k {
				return
			}
			if c.Section == s && c.Point == k && c.Trailing && (s == Network || s == NoiseData) {
				w.beside = append(w.beside, c)
			} else {
				w.Comment(c.Text)
			}
			rest = rest[1:]
		}
	}
	upTo(Head, 0)
	w.begin()
	upTo(Front, 0)
	w.start()
	for k, frequency := range f.Frequency {
		upTo(Network, k)
		w.Write(frequency, f.At(k))
	}
	upTo(Network, math.MaxInt)
	for k, p := range f.Noise {
		if k == 0 {
			w.startNoise()
		}
		upTo(NoiseData, k)
		w.WriteNoise(p)
	}
	upTo(NoiseData, math.MaxInt)
	w.end()
	upTo(Tail, 0)
	return w.Close()
}
