package touchstone

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
)

// ReadOptions adjust a [Scanner]. The zero value is the sensible default.
type ReadOptions struct {
	Ports     int  // number of ports the caller knows; 0 takes it from the file or its extension
	Strict    bool // report as faults what is otherwise forgiven with a warning
	MaxFaults int  // faults after which reading stops; 0 means 20
}

// A Scanner reads a file one frequency at a time, in constant memory.
//
// It reads on behind a fault, to report as many as it can at once: a point with
// a fault in it is left out, and Err says so at the end. Whoever acts on points
// before Err has been asked acts on a file that may turn out broken.
type Scanner struct {
	in     lines
	name   string
	strict bool
	most   int
	known  int // ports known from outside

	layout  Layout
	faults  Faults
	warned  map[error]bool // each warning is given once
	warning Faults
	done    bool
	leading bool // nothing but comments so far

	// The head of the file.
	section    section
	option     string // text of the option line; hasOption tells whether there is one
	hasOption  bool
	seen       map[string]bool // keywords
	wanted     string          // keyword whose arguments go on in the next line
	wantedLine int
	points     int // declared, -1 if not
	noises     int // declared, -1 if not

	// The point being read.
	line     []byte
	vals     []float64 // frequency and pairs, as far as they were read
	valsLine int       // where it began
	valsCol  int
	rows     int  // data lines it has taken
	need     int  // numbers in a whole point
	bad      bool // holds a fault that has been reported
	resync   bool // skip to a line that may begin a point
	at       []int32
	shift    int

	frequency []float64 // one-element buffers of what Point and Noise return
	matrix    []complex128
	noise     NoisePoint
	ready     bool // a point, or noise point, was completed by the last line
	count     int  // points delivered
	noiseN    int  // noise points delivered
	gathered  int  // network points met, faulty ones included
	noiseSeen int  // noise points met, faulty ones included
	last      float64
	lastNoise float64

	forms        [3]uint64 // of frequencies, first and second numbers of pairs
	comments     []Comment
	commentBytes int
}

type section uint8

const (
	inHead section = iota
	inNetwork
	inNoise
	inEnd
	inInformation
)

// NewScanner returns a Scanner of the file r. name is used in messages, and its
// extension gives the number of ports if nothing else does.
func NewScanner(r io.Reader, name string, o ReadOptions) *Scanner {
	s := &Scanner{
		in:        lines{r: r},
		name:      name,
		strict:    o.Strict,
		most:      o.MaxFaults,
		known:     o.Ports,
		leading:   true,
		points:    -1,
		noises:    -1,
		seen:      map[string]bool{},
		warned:    map[error]bool{},
		last:      math.Inf(-1),
		lastNoise: math.Inf(-1),
		frequency: make([]float64, 1),
	}
	if s.most <= 0 {
		s.most = 20
	}
	if s.name == "" {
		s.name = "input"
	}
	return s
}

// Scan goes to the next frequency of the network data; [Scanner.Point] then
// returns it. It returns false when there is none.
func (s *Scanner) Scan() bool {
	s.comments, s.commentBytes = s.comments[:0], 0
	for !s.done && s.section != inNoise && s.section != inEnd {
		s.step()
		if s.section != inNoise && s.ready {
			s.ready = false
			s.count++
			return true
		}
	}
	if s.section != inNoise {
		for !s.done {
			s.step()
		}
	}
	return false
}

// ScanNoise goes to the next frequency of the noise data, which follow the
// network data; [Scanner.Noise] then returns it. It returns false when there is
// none. Call it only after Scan has returned false.
func (s *Scanner) ScanNoise() bool {
	if s.section != inNoise {
		return false
	}
	if !s.ready { // else Scan has read it, and the comments before it
		s.comments, s.commentBytes = s.comments[:0], 0
	}
	for !s.done && !s.ready {
		s.step()
	}
	if !s.ready {
		return false
	}
	s.ready = false
	s.noiseN++
	return true
}

// Point returns the frequency, in Hz, and the matrix that Scan went to, row
// after row, in absolute units; see the package comment. The slice is valid
// until the next Scan.
func (s *Scanner) Point() (frequency float64, matrix []complex128) {
	return s.frequency[0], s.matrix
}

// Noise returns the noise point that ScanNoise went to.
func (s *Scanner) Noise() NoisePoint { return s.noise }

// Comments returns the comments between the point before and the end of this
// one. The slice is valid until the next Scan or ScanNoise.
func (s *Scanner) Comments() []Comment { return s.comments }

// Layout returns how the file is laid out. It is complete after the first Scan.
func (s *Scanner) Layout() Layout { return s.layout }

// Style returns how the numbers read so far were written, where they agree.
func (s *Scanner) Style() Style {
	return Style{numberOf(s.forms[0]), numberOf(s.forms[1]), numberOf(s.forms[2])}
}

// Err returns the faults met so far, a [Faults], or nil.
func (s *Scanner) Err() error {
	if len(s.faults) == 0 {
		return nil
	}
	return s.faults
}

// Warnings returns what was forgiven so far; each kind is reported once.
func (s *Scanner) Warnings() Faults { return s.warning }

// ReadAll reads what is left of the file. If the file has faults, the error is
// a [Faults] and the File holds the points that could be read.
func (s *Scanner) ReadAll() (*File, error) {
	f := &File{Name: s.name}
	for s.Scan() {
		f.Frequency = append(f.Frequency, s.frequency[0])
		f.Data = append(f.Data, s.matrix...)
		f.Comments = append(f.Comments, s.comments...)
	}
	for s.ScanNoise() {
		f.Noise = append(f.Noise, s.noise)
		f.Comments = append(f.Comments, s.comments...)
		s.comments = s.comments[:0]
	}
	f.Comments = append(f.Comments, s.comments...)
	f.Layout, f.Style, f.Warnings = s.layout, s.Style(), s.warning
	return f, s.Err()
}

// fault reports that the bytes from column col (from 0) on break a rule.
func (s *Scanner) fault(line, col int, found string, rule error, help string) {
	s.report(&SyntaxError{s.name, line, col + 1, found, rule, help})
}

func (s *Scanner) report(err error) {
	if s.done {
		return
	}
	if n := len(s.faults); n > 0 { // a line that is read twice reports once
		e, ok := err.(*SyntaxError)
		old, ok2 := s.faults[n-1].(*SyntaxError)
		if ok && ok2 && e.Line == old.Line && e.Column == old.Column && e.Err == old.Err {
			return
		}
	}
	s.faults = append(s.faults, err)
	if len(s.faults) >= s.most {
		s.faults = append(s.faults, &SyntaxError{s.name, s.in.number, 1,
			fmt.Sprintf("%d faults", len(s.faults)), ErrTooMany, "mend these first"})
		s.done = true
	}
}

func (s *Scanner) unsupported(line, col int, found string, limit error, help string) {
	s.report(&UnsupportedError{s.name, line, col + 1, found, limit, help})
	s.done = true
}

func (s *Scanner) warn(line, col int, found string, rule error, help string) {
	if s.warned[rule] {
		return
	}
	s.warned[rule] = true
	e := &SyntaxError{s.name, line, col + 1, found, rule, help}
	if s.strict {
		s.report(e)
	} else {
		s.warning = append(s.warning, e)
	}
}

// step reads one line.
func (s *Scanner) step() {
	line, ok := s.in.next()
	if !ok {
		s.finish()
		return
	}
	if s.in.number == 1 {
		if bytes.HasPrefix(line, []byte("\xff\xfe")) || bytes.HasPrefix(line, []byte("\xfe\xff")) {
			s.fault(1, 0, "text in 16-bit characters", ErrText, "save the file as plain ASCII text")
			s.done = true
			return
		}
		line = bytes.TrimPrefix(line, []byte("\xef\xbb\xbf"))
	}
	s.line = line
	i := 0
	for i < len(line) && (line[i] == ' ' || line[i] == '\t') {
		i++
	}
	if i == len(line) {
		return
	}
	c := line[i]
	switch {
	case c == '!':
		s.comment(i, false)
	case s.section == inInformation && c != '[':
		s.layout.Information = append(s.layout.Information, string(bytes.TrimRight(line, " \t")))
	case c == '[':
		s.keyword(i)
		s.leading = false
	case c == '#':
		s.optionLine(i)
		s.leading = false
	case s.section == inNetwork:
		s.data(i)
	case s.wanted != "":
		s.arguments(i)
	case s.section == inNoise:
		s.noiseLine(i)
	case s.section == inEnd:
		s.fault(s.in.number, i, quote(line[i:]), ErrTrailing, "delete it, or move it before [End]")
		s.done = true
	default:
		s.leading = false
		if d := c - '0'; d > 9 && c != '.' && c != '-' && c != '+' {
			s.fault(s.in.number, i, quote(line[i:]), ErrNumber, "begin the option line with #, and comments with !")
			return
		}
		if s.layout.Version.keywords() {
			s.fault(s.in.number, i, "data before [Network Data]", ErrKeywordPlace, "put [Network Data] on a line of its own before the first frequency")
		}
		s.beginNetwork(i)
		if !s.done {
			s.data(i)
		}
	}
}

// comment keeps the comment whose '!' is at i.
func (s *Scanner) comment(i int, trailing bool) {
	text := bytes.TrimRight(s.line[i+1:], " \t")
	if s.commentBytes+len(text)+64 > 1<<20 {
		s.warn(s.in.number, i, "more comment", ErrForgivenComment, "keep long text in a file of its own")
		return
	}
	for j, c := range text {
		if c > 0x7e || c < 0x20 && c != '\t' {
			s.warn(s.in.number, i+1+j, quote(text[j:min(j+4, len(text))]), ErrForgivenText, "spell it with letters of the English alphabet")
			break
		}
	}
	c := Comment{Text: string(text), Line: s.in.number, Trailing: trailing}
	switch s.section {
	case inHead, inInformation:
		if !s.leading {
			c.Section = Front
		}
	case inNetwork:
		c.Section, c.Point, c.Row = Network, s.count, s.rows
		if trailing && len(s.vals) == 0 && !s.ready {
			c.Trailing = false
		}
		if trailing && c.Row > 0 {
			c.Row--
		}
	case inNoise:
		c.Section, c.Point = NoiseData, s.noiseN
	case inEnd:
		c.Section = Tail
	}
	s.commentBytes += len(text) + 64
	s.comments = append(s.comments, c)
}

// beginNetwork settles the layout when the data begin.
func (s *Scanner) beginNetwork(i int) {
	l, n := &s.layout, s.in.number
	if s.wanted != "" {
		s.closeArguments()
	}
	s.section = inNetwork
	if l.Version.keywords() {
		missing := func(kw, help string) {
			if !s.seen[kw] {
				s.fault(n, i, "data without ["+kw+"]", ErrKeywordMissing, help)
			}
		}
		if !s.hasOption {
			s.fault(n, i, "data without option line", ErrOptionPlace, "put the option line, such as # GHz S MA R 50, behind [Version]")
		}
		missing(kwPorts, "add it behind the option line")
		missing(kwPoints, "add it, so that a file cut short is noticed")
		if l.Ports == 2 {
			missing(kwOrder, "add it with 21_12 or 12_21, for which of the two comes first")
		}
		if l.Resistance == 0 {
			l.Resistance = l.optionResistance()
		}
	} else {
		if len(l.Reference) > 1 {
			l.Version = Version11
		} else {
			l.Version = Version10
		}
		if !s.hasOption {
			s.warn(n, i, "data without option line", ErrForgivenNoOption, "put # GHz S MA R 50, or what is true, before the data")
		}
	}
	if l.Ports == 0 {
		l.Ports = s.known
	}
	if l.Ports == 0 {
		l.Ports = portsOf(s.name)
	} else if e := portsOf(s.name); !l.Version.keywords() && e > 0 && e != l.Ports {
		s.warn(n, i, fmt.Sprintf("a file named for a %d-port, opened as a %d-port", e, l.Ports), ErrForgivenExtension, "rename the file")
	}
	if l.Ports == 0 && !l.Version.keywords() {
		l.Ports = s.guessPorts(i)
	}
	switch {
	case l.Ports == 0:
		s.fault(n, i, "data of an unknown number of ports", ErrPorts, "name the file .s1p, .s2p and so on, or say the number when opening it")
		s.done = true
		return
	case l.Ports > maxPorts:
		s.unsupported(n, i, "data of a network of so many ports", ErrPortLimit, "check the extension, or split the network")
		return
	case l.Ports < 0:
		s.fault(n, i, fmt.Sprintf("data of a %d-port", l.Ports), ErrPorts, "say a positive number when opening the file")
		s.done = true
		return
	}
	if (l.Parameter == H || l.Parameter == G) && l.Ports != 2 {
		s.fault(n, i, fmt.Sprintf("%v parameters of a %d-port", l.Parameter, l.Ports), ErrHybridPorts, "use S, Y or Z")
		s.done = true
		return
	}
	if (l.Parameter == H || l.Parameter == G) && len(l.Modes) > 0 {
		s.fault(n, i, fmt.Sprintf("mixed-mode %v parameters", l.Parameter), ErrMixedMode, "use S, Y or Z, or delete [Mixed-Mode Order]")
	}
	if k := len(l.Reference); k > 1 && k != l.Ports {
		s.fault(n, i, fmt.Sprintf("%d ports, but %d resistances behind R", l.Ports, k), ErrReferenceCount, "give one for all ports, or one for each")
		l.Reference = l.Reference[:1]
	}
	if l.Version == Version11 && l.Parameter != S && !l.oneReference() {
		s.unsupported(n, i, fmt.Sprintf("%v data with unlike resistances in a version 1.1 file", l.Parameter), ErrNormalisation, "ask for S data, or for a version 2 file")
		return
	}
	s.need = 1 + 2*l.pairs()
	s.shift = l.Unit.shift()
}

// guessPorts counts the numbers of the first point of a version 1 file whose name
// does not say the number of ports: .ts is recommended for every version since
// [ibis2024]. The point ends where a line with an odd number of numbers begins
// the next, so that 1+2N² gives N without doubt. It is 0 if the point has
// another length or is too long to be looked at ahead.
func (s *Scanner) guessPorts(i int) int {
	s.line = bytes.Clone(s.line)
	numbers := func(line []byte) int {
		line, _, _ = bytes.Cut(line, []byte("!"))
		return len(bytes.Fields(line))
	}
	total := numbers(s.line[i:])
	ahead, whole := s.in.peek()
	end := whole
	for len(ahead) > 0 {
		cut := bytes.IndexAny(ahead, "\r\n")
		if cut < 0 && !whole {
			break
		}
		line := ahead
		if ahead = nil; cut >= 0 {
			line, ahead = line[:cut], line[cut+1:]
		}
		k := numbers(line)
		if k%2 == 1 {
			end = true
			break
		}
		total += k
	}
	n := int(math.Sqrt(float64(total / 2)))
	if !end || total != 1+2*n*n {
		return 0
	}
	return n
}

// data reads a line of network data. Version 1 tells from the line how many
// numbers must stand in it: an odd number where a point begins, pairs where it
// goes on. Version 2 counts numbers only; there the odd line is merely where
// reading goes on behind a fault.
func (s *Scanner) data(i int) {
	start := i
	had := len(s.vals)
	if had == 0 {
		s.valsLine, s.valsCol = s.in.number, start
	}
	line := s.line
	total := 0
	shift := 0
	if had == 0 {
		shift = s.shift
	}
	trailing := -1
	for {
		for i < len(line) && (line[i] == ' ' || line[i] == '\t') {
			i++
		}
		if i == len(line) {
			break
		}
		if line[i] == '!' {
			trailing = i
			break
		}
		v, end, form, ok := scanNumber(line, i, shift)
		if !ok {
			v, end = s.badNumber(i)
		}
		if at := had + total; at == 0 {
			s.forms[0] |= form
			shift = 0
		} else {
			s.forms[2-at&1] |= form
		}
		total++
		if len(s.vals) < s.need {
			s.vals = append(s.vals, v)
		}
		i = end
	}
	s.rows++
	v1 := !s.layout.Version.keywords()
	switch {
	case s.resync && total%2 == 0:
		s.vals, s.rows, s.bad = s.vals[:0], 0, false
		return
	case had > 0 && total%2 == 1 && (v1 || had+total > s.need):
		// A point begins although the last one is not complete.
		if !s.bad {
			s.fault(s.in.number, start, fmt.Sprintf("%s after %d of the %d numbers of the point of line %d", lineOf(total), had, s.need, s.valsLine),
				ErrPointLength, s.lengthHelp(total))
		}
		s.drop()
		s.resync = false
		s.data(start)
		return
	case had == 0 && v1 && total == 5 && s.layout.Ports == 2 && s.vals[0] <= s.last && !s.bad:
		s.vals, s.rows = s.vals[:0], 0
		s.section = inNoise
		s.noiseLine(start)
		return
	case had == 0 && v1 && (total%2 == 0 || s.layout.Ports <= 2 && total != s.need), had+total > s.need:
		if !s.bad && !s.resync {
			s.fault(s.in.number, start, fmt.Sprintf("%s where %s", lineOf(total), s.expected(had)), ErrPointLength, s.lengthHelp(total))
		}
		s.drop()
		s.resync = !v1 || s.layout.Ports > 2
		return
	}
	s.resync = false
	if v1 && s.layout.Ports > 2 && !s.warned[ErrForgivenWrap] {
		s.checkWrap(had, total, start)
	}
	if len(s.vals) == s.need {
		s.complete()
	}
	if trailing >= 0 {
		s.comment(trailing, true)
	}
	if len(s.vals) == s.need {
		s.vals, s.rows, s.bad = s.vals[:0], 0, false
	}
}

// drop forgets the point being read.
func (s *Scanner) drop() {
	s.vals, s.rows, s.bad = s.vals[:0], 0, false
	s.gathered++
}

func lineOf(n int) string {
	if n == 1 {
		return "a line of 1 number"
	}
	return fmt.Sprintf("a line of %d numbers", n)
}

// expected says how many numbers a line should have.
func (s *Scanner) expected(had int) string {
	switch {
	case had > 0:
		return fmt.Sprintf("%d are left of the point of line %d", s.need-had, s.valsLine)
	case s.layout.Ports <= 2 || s.layout.Version.keywords():
		return fmt.Sprintf("a point of %d belongs", s.need)
	}
	return "a point begins, with a frequency and pairs"
}

// lengthHelp guesses what led to a wrong number of numbers.
func (s *Scanner) lengthHelp(total int) string {
	for n := 1; n <= 2; n++ {
		if total == 1+2*n*n && n != s.layout.Ports && s.count == 0 {
			return fmt.Sprintf("if this is a %d-port, say so in the extension or when opening it; it was read as a %d-port", n, s.layout.Ports)
		}
	}
	if total == 5 && s.layout.Ports == 2 {
		return "complete the line; noise data begin at or below the highest frequency before them"
	}
	return "look for numbers lost or doubled here and above"
}

// badNumber reports the word at i and returns what stands in its place.
func (s *Scanner) badNumber(i int) (v float64, end int) {
	end = i
	for end < len(s.line) && s.line[end] != ' ' && s.line[end] != '\t' && s.line[end] != '!' {
		end++
	}
	w := s.line[i:end]
	help := "write it like -12.5 or 3.1e-4"
	switch {
	case bytes.IndexByte(w, ',') >= 0:
		help = "write decimals with a point, and separate numbers by blanks"
	case bytes.ContainsAny(w, "dD") && !bytes.ContainsAny(w, "nN"):
		help = "write the exponent with e, like 3.1e-4"
	case bytes.ContainsAny(w, "nN"):
		help = "measure or compute this point again, or delete it"
	case strings.Count(string(w), ".") > 1 || bytes.ContainsAny(w[1:], "-+"):
		help = "put a blank between numbers"
	}
	if !s.bad {
		s.fault(s.in.number, i, quote(w), ErrNumber, help)
	}
	s.bad = true
	return 0, end
}

// checkWrap warns once of lines that version 1 does not have.
func (s *Scanner) checkWrap(had, total, start int) {
	pairs := total / 2
	before := max(0, (had-1)/2)
	after := before + pairs
	n := s.layout.Ports
	switch {
	case pairs > 4:
		s.warn(s.in.number, start, fmt.Sprintf("%d pairs on a line", pairs), ErrForgivenWrap, "break the line after four pairs")
	case pairs > 0 && before/n != (after-1)/n:
		s.warn(s.in.number, start, fmt.Sprintf("rows %d and %d of the matrix on one line", before/n+1, (after-1)/n+1), ErrForgivenWrap, "begin each row on a new line")
	}
}

// complete turns the numbers of a point into a matrix.
func (s *Scanner) complete() {
	s.gathered++
	if s.bad {
		return
	}
	l := &s.layout
	f := s.vals[0] + 0 // -0 is 0
	switch {
	case f < 0:
		s.fault(s.valsLine, s.valsCol, s.show(f), ErrFrequency, "correct its sign")
		return
	case !(f > s.last):
		help := "sort the data lines, or split the sweep into two files"
		if f == s.last {
			help = "keep one of the two points"
		}
		s.fault(s.valsLine, s.valsCol, s.show(f)+" after "+s.show(s.last), ErrFrequencyOrder, help)
		return
	case s.points >= 0 && s.gathered > s.points:
		if s.gathered == s.points+1 {
			s.fault(s.valsLine, s.valsCol, fmt.Sprintf("point %d of %d", s.gathered, s.points), ErrFrequencyCount, "correct [Number of Frequencies], or delete the surplus points")
		}
		return
	}
	if s.at == nil {
		s.at = l.order()
		s.matrix = make([]complex128, l.Ports*l.Ports)
	}
	v := s.vals[1:]
	switch l.Format {
	case RI:
		for k, at := range s.at {
			s.matrix[at] = complex(v[2*k], v[2*k+1])
		}
	default:
		for k, at := range s.at {
			c := fromPair(l.Format, v[2*k], v[2*k+1])
			if math.IsInf(real(c), 0) || math.IsNaN(real(c)) { // DB only: the level is beyond float64
				s.fault(s.valsLine, s.valsCol, fmt.Sprintf("a level of %g dB", v[2*k]), ErrNumber, "correct it: no network has such a level")
				return
			}
			s.matrix[at] = c
		}
	}
	if l.Triangle != Full {
		n := l.Ports
		for _, at := range s.at {
			i, j := int(at)/n, int(at)%n
			s.matrix[j*n+i] = s.matrix[at]
		}
	}
	if !l.Version.keywords() && l.Parameter != S {
		normalise(l.Parameter, s.matrix, l.PortReference(1), true)
	}
	s.frequency[0], s.last = f, f
	s.ready = true
}

// show writes a frequency in the unit of the file.
func (s *Scanner) show(f float64) string {
	sign := ""
	if f < 0 {
		sign, f = "-", -f
	}
	return sign + string(Number{}.appendShifted(nil, f, s.shift)) + " " + s.layout.Unit.String()
}

// noiseLine reads a line of noise data.
func (s *Scanner) noiseLine(i int) {
	start := i
	var v [5]float64
	n, trailing := 0, -1
	s.bad = false
	for {
		for i < len(s.line) && (s.line[i] == ' ' || s.line[i] == '\t') {
			i++
		}
		if i == len(s.line) {
			break
		}
		if s.line[i] == '!' {
			trailing = i
			break
		}
		shift := 0
		if n == 0 {
			shift = s.shift
		}
		x, end, _, ok := scanNumber(s.line, i, shift)
		if !ok {
			x, end = s.badNumber(i)
		}
		if n < 5 {
			v[n] = x
		}
		n++
		i = end
	}
	v[0] += 0 // -0 is 0
	bad := s.bad
	s.bad = false
	s.noiseSeen++
	line := s.in.number
	switch {
	case bad:
	case n != 5:
		help := "give the five numbers on one line"
		if n == 9 {
			help = "network data come before noise data, and their frequencies increase"
		}
		s.fault(line, start, lineOf(n), ErrNoiseLength, help)
	case v[0] < 0:
		s.fault(line, start, s.show(v[0]), ErrFrequency, "correct its sign")
	case !(v[0] > s.lastNoise):
		s.fault(line, start, s.show(v[0])+" after "+s.show(s.lastNoise), ErrFrequencyOrder, "sort the noise lines")
	case s.noises >= 0 && s.noiseSeen > s.noises:
		if s.noiseSeen == s.noises+1 {
			s.fault(line, start, fmt.Sprintf("noise point %d of %d", s.noiseSeen, s.noises), ErrNoiseCount, "correct [Number of Noise Frequencies], or delete the surplus points")
		}
	default:
		if math.IsInf(s.lastNoise, -1) && v[0] > s.last {
			s.warn(line, start, "noise data from "+s.show(v[0])+", network data to "+s.show(s.last), ErrForgivenNoiseFrequency, "other readers may not find the noise data: check the frequencies")
		}
		s.lastNoise = v[0]
		s.noise = NoisePoint{Frequency: v[0], Minimum: v[1], Source: fromPair(MA, v[2], v[3]), Resistance: v[4]}
		if !s.layout.Version.keywords() {
			s.noise.Resistance *= s.layout.optionResistance()
		}
		s.ready = true
	}
	if trailing >= 0 {
		s.comment(trailing, true)
	}
}

// endNetwork checks the network data when they are over.
func (s *Scanner) endNetwork(line, col int) {
	if len(s.vals) > 0 {
		if !s.bad {
			s.fault(s.valsLine, s.valsCol, fmt.Sprintf("a point with %d of its %d numbers", len(s.vals), s.need), ErrPointLength, "the data end inside it: get the file again, or complete it")
		}
		s.drop()
	}
	if s.points >= 0 && s.gathered < s.points {
		s.fault(line, col, fmt.Sprintf("end of the network data after %d of %d points", s.gathered, s.points), ErrFrequencyCount, "get the file again if it was cut short, or correct [Number of Frequencies]")
	} else if s.gathered == 0 {
		s.fault(line, col, "end of the network data before the first point", ErrEmpty, "add data, or get the file again")
	}
}

// endData checks what is over at [End] or at the end of the file.
func (s *Scanner) endData(line, col int) {
	switch s.section {
	case inHead, inInformation:
		if s.section == inInformation {
			s.fault(line, col, "end of the file inside [Begin Information]", ErrKeywordPlace, "close it with [End Information]")
		}
		s.fault(line, col, "end of the file before any data", ErrEmpty, "add data, or get the file again")
	case inNetwork:
		s.endNetwork(line, col)
		if s.noises >= 0 {
			s.fault(line, col, "[Number of Noise Frequencies] without noise data", ErrKeywordMissing, "add [Noise Data] and its lines, or delete the number")
		}
	case inNoise:
		if s.noises >= 0 && s.noiseSeen < s.noises {
			s.fault(line, col, fmt.Sprintf("end of the noise data after %d of %d points", s.noiseSeen, s.noises), ErrNoiseCount, "get the file again if it was cut short, or correct [Number of Noise Frequencies]")
		}
	}
}

// finish is called at the end of the stream.
func (s *Scanner) finish() {
	line := s.in.number + 1
	switch s.in.err {
	case nil:
	case errLineTooLong:
		s.unsupported(line, 0, "a line that does not end", ErrLineLimit, "check that this is a text file")
		return
	default:
		s.faults = append(s.faults, fmt.Errorf("%s: %w", s.name, s.in.err))
		s.done = true
		return
	}
	if s.section != inEnd {
		if s.wanted != "" {
			s.closeArguments()
		}
		s.endData(line, 0)
		if s.layout.Version.keywords() && s.section >= inNetwork {
			s.warn(line, 0, "end of the file", ErrForgivenEnd, "add [End]")
		}
	}
	s.done = true
}
