package touchstone

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ErrNoHeader says that comments hold no model description.
var ErrNoHeader = errors.New("the comments hold no model description")

// ErrHeader is the rule a line of a model description breaks.
var ErrHeader = errors.New("a line of the model description has a known name, a colon and a value of its form")

// Verdict is the outcome of a check.
type Verdict uint8

const (
	NotAssessed Verdict = iota
	Met
	NotMet
)

func (v Verdict) String() string { return pick(int(v), "not assessed", "met", "not met") }

// A Check is the outcome of a check of the data, and the figure it rests on.
type Check struct {
	Verdict Verdict
	Figure  float64 // such as the largest singular value
	At      float64 // where it was found, Hz
	Note    string  // what the figure is, and what tolerance was used
}

// A PortPlane tells where a port is.
type PortPlane struct {
	Name  string // "trace end", "mating face, line 3"
	Plane string // where its reference plane lies
}

// A Grid describes the frequencies of a file.
type Grid struct {
	From, To float64 // Hz
	Points   int
	Step     float64 // Hz; 0 if the steps are not equal
}

// GridOf describes frequencies, in Hz. Steps count as equal if no point is
// further than a billionth of the largest frequency from its even place.
func GridOf(frequency []float64) Grid {
	n := len(frequency)
	if n == 0 {
		return Grid{}
	}
	g := Grid{From: frequency[0], To: frequency[n-1], Points: n}
	if n == 1 {
		return g
	}
	step := (g.To - g.From) / float64(n-1)
	for i, f := range frequency {
		if !(math.Abs(f-(g.From+float64(i)*step)) <= 1e-9*g.To) {
			return g
		}
	}
	g.Step = step
	return g
}

// A Header is the description that a model handed to somebody else carries in
// its comments, so that nothing in it is counted twice or never: what the ports
// are and where their planes lie, what is inside and what is not, how it was
// obtained, how far it holds.
type Header struct {
	Title       string
	Revision    string
	Contact     string
	Origin      string // simulated, measured or de-embedded, and how
	Corner      string // nominal, fast, slow
	Ports       []PortPlane
	Contains    []string
	Excludes    []string
	Reference   []float64 // Ω, one for each port or one for all
	Grid        Grid
	Temperature float64 // K; 0 if not stated
	ValidFrom   float64 // Hz
	ValidTo     float64 // Hz; 0 if not stated
	Limits      string  // other limits of validity
	Passivity   Check
	Reciprocity Check
	Causality   Check
	Notes       []string
}

// Missing names what a model should not be handed out without: planes of all
// ports, content, references, grid, temperature, origin, corner, validity,
// revision, contact, and the three checks; and passivity that is not met.
func (h *Header) Missing() []string {
	var m []string
	need := func(ok bool, what string) {
		if !ok {
			m = append(m, what)
		}
	}
	need(h.Revision != "", "revision")
	need(h.Contact != "", "contact")
	need(h.Origin != "", "origin: simulated, measured or de-embedded")
	need(h.Corner != "", "corner: nominal, fast or slow")
	need(len(h.Ports) > 0, "port map")
	for i, p := range h.Ports {
		need(p.Name != "", fmt.Sprintf("what port %d is", i+1))
		need(p.Plane != "", fmt.Sprintf("reference plane of port %d", i+1))
	}
	need(len(h.Contains) > 0, "what the model contains")
	need(len(h.Excludes) > 0, "what the model excludes")
	need(len(h.Reference) > 0, "reference impedance")
	need(h.Grid.Points > 0, "frequency grid")
	need(h.Temperature > 0, "temperature")
	need(h.ValidTo > 0, "frequency range of validity")
	need(h.Passivity.Verdict != NotAssessed, "check of passivity")
	need(h.Passivity.Verdict != NotMet, "passivity: the data are not passive within the tolerance")
	need(h.Reciprocity.Verdict != NotAssessed, "check of reciprocity")
	need(h.Causality.Verdict != NotAssessed, "check of causality")
	return m
}

const (
	headerFirst = "Model description, form 1"
	headerLast  = "End of model description"
)

// Lines renders the header as comment lines, without their '!'. What is not
// stated gives no line; [ParseHeader] reads them back.
func (h *Header) Lines() []string {
	lines := []string{" " + headerFirst}
	add := func(name, value string) {
		if value != "" {
			lines = append(lines, "   "+name+": "+value)
		}
	}
	add("Title", escape(h.Title))
	add("Revision", escape(h.Revision))
	add("Contact", escape(h.Contact))
	add("Origin", escape(h.Origin))
	add("Corner", escape(h.Corner))
	for i, p := range h.Ports {
		add(fmt.Sprintf("Port %d", i+1), escape(p.Name)+"; plane: "+escape(p.Plane))
	}
	for _, s := range h.Contains {
		add("Contains", escape(s))
	}
	for _, s := range h.Excludes {
		add("Excludes", escape(s))
	}
	if len(h.Reference) > 0 {
		var b strings.Builder
		for i, r := range h.Reference {
			if i > 0 {
				b.WriteString(", ")
			}
			b.WriteString(strconv.FormatFloat(r, 'g', -1, 64))
		}
		add("Reference", b.String()+" ohm")
	}
	if g := h.Grid; g.Points > 0 {
		text := fmt.Sprintf("%s to %s, %d points", hertz(g.From), hertz(g.To), g.Points)
		if g.Step > 0 {
			text += ", step " + hertz(g.Step)
		}
		add("Grid", text)
	}
	if h.Temperature > 0 {
		add("Temperature", fmt.Sprintf("%s K (%.4g degC)", strconv.FormatFloat(h.Temperature, 'g', -1, 64), h.Temperature-273.15))
	}
	if h.ValidTo > 0 {
		add("Valid", hertz(h.ValidFrom)+" to "+hertz(h.ValidTo))
	}
	add("Limits", escape(h.Limits))
	check := func(name string, c Check) {
		text := c.Verdict.String()
		if c.Verdict != NotAssessed {
			text += "; " + strconv.FormatFloat(c.Figure, 'g', -1, 64) + " at " + hertz(c.At)
		}
		if c.Note != "" {
			text += "; " + escape(c.Note)
		}
		add(name, text)
	}
	check("Passivity", h.Passivity)
	check("Reciprocity", h.Reciprocity)
	check("Causality", h.Causality)
	for _, s := range h.Notes {
		add("Note", escape(s))
	}
	return append(lines, " "+headerLast)
}

// Comments renders the header as comments for the head of a [File].
func (h *Header) Comments() []Comment {
	var c []Comment
	for _, line := range h.Lines() {
		c = append(c, Comment{Text: line})
	}
	return c
}

// ParseHeader reads the first model description among comments. Without one the
// error is [ErrNoHeader]; lines that cannot be understood are reported together
// in a [Faults], and the rest is returned.
func ParseHeader(name string, comments []Comment) (*Header, error) {
	first := -1
	for i, c := range comments {
		if strings.TrimSpace(c.Text) == headerFirst {
			first = i + 1
			break
		}
	}
	if first < 0 {
		return nil, ErrNoHeader
	}
	h := &Header{}
	var faults Faults
	for _, c := range comments[first:] {
		text := strings.TrimSpace(c.Text)
		if text == headerLast {
			if len(faults) > 0 {
				return h, faults
			}
			return h, nil
		}
		if text == "" {
			continue
		}
		if help := h.parse(text); help != "" {
			faults = append(faults, &SyntaxError{name, c.Line, 1, quote([]byte(text)), ErrHeader, help})
		}
	}
	return h, append(faults, &SyntaxError{name, comments[len(comments)-1].Line, 1, "end of the comments", ErrHeader, "close the description with the line ! " + headerLast})
}

// parse takes one line; if it cannot, it returns what would be right.
func (h *Header) parse(text string) (help string) {
	name, value, ok := strings.Cut(text, ":")
	if !ok {
		return "write it like Revision: B"
	}
	value = strings.TrimSpace(value)
	word := func(to *string) { *to = unescape(value) }
	switch name {
	case "Title":
		word(&h.Title)
	case "Revision":
		word(&h.Revision)
	case "Contact":
		word(&h.Contact)
	case "Origin":
		word(&h.Origin)
	case "Corner":
		word(&h.Corner)
	case "Limits":
		word(&h.Limits)
	case "Contains":
		h.Contains = append(h.Contains, unescape(value))
	case "Excludes":
		h.Excludes = append(h.Excludes, unescape(value))
	case "Note":
		h.Notes = append(h.Notes, unescape(value))
	case "Reference":
		list, ok := strings.CutSuffix(value, " ohm")
		for part := range strings.SplitSeq(list, ",") {
			r, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
			if err != nil || !ok {
				return "write it like Reference: 50 ohm"
			}
			h.Reference = append(h.Reference, r)
		}
	case "Grid":
		const help = "write it like Grid: 10 MHz to 67 GHz, 6700 points, step 10 MHz"
		parts := strings.Split(value, ", ")
		var ok1, ok2, ok3 bool
		h.Grid.From, h.Grid.To, ok1 = span(parts[0])
		ok2, ok3 = len(parts) > 1 && len(parts) < 4, true
		if ok2 {
			n, err := strconv.Atoi(strings.TrimSuffix(parts[1], " points"))
			h.Grid.Points = n
			ok2 = err == nil && n > 0
		}
		if len(parts) == 3 {
			h.Grid.Step, ok3 = fromHertz(strings.TrimPrefix(parts[2], "step "))
		}
		if !ok1 || !ok2 || !ok3 {
			return help
		}
	case "Temperature":
		kelvin, _, _ := strings.Cut(value, " (")
		t, err := strconv.ParseFloat(strings.TrimSuffix(kelvin, " K"), 64)
		if err != nil || !strings.HasSuffix(kelvin, " K") || !(t > 0) {
			return "write it like Temperature: 298.15 K"
		}
		h.Temperature = t
	case "Valid":
		if h.ValidFrom, h.ValidTo, ok = span(value); !ok {
			return "write it like Valid: 10 MHz to 50 GHz"
		}
	case "Passivity":
		return h.Passivity.parse(value)
	case "Reciprocity":
		return h.Reciprocity.parse(value)
	case "Causality":
		return h.Causality.parse(value)
	default:
		number, ok := strings.CutPrefix(name, "Port ")
		n, err := strconv.Atoi(number)
		if !ok || err != nil {
			return "no line has this name: make it Note: ..."
		}
		port, plane, ok := strings.Cut(value, "; plane:")
		if !ok || n != len(h.Ports)+1 {
			return fmt.Sprintf("write Port %d: its name; plane: where its plane lies", len(h.Ports)+1)
		}
		h.Ports = append(h.Ports, PortPlane{unescape(port), unescape(strings.TrimSpace(plane))})
	}
	return ""
}

func (c *Check) parse(value string) (help string) {
	const wrong = "write it like met; 0.9991 at 12 GHz; largest singular value"
	parts := strings.SplitN(value, "; ", 3)
	switch parts[0] {
	case "not assessed":
		c.Verdict = NotAssessed
		c.Note = unescape(strings.Join(parts[1:], "; "))
		return ""
	case "met":
		c.Verdict = Met
	case "not met":
		c.Verdict = NotMet
	default:
		return wrong
	}
	if len(parts) < 2 {
		return wrong
	}
	figure, at, ok := strings.Cut(parts[1], " at ")
	var err error
	c.Figure, err = strconv.ParseFloat(figure, 64)
	if ok {
		c.At, ok = fromHertz(at)
	}
	if err != nil || !ok {
		return wrong
	}
	if len(parts) == 3 {
		c.Note = unescape(parts[2])
	}
	return ""
}

// hertz writes a frequency exactly, in the largest unit that leaves a whole
// digit before the point.
func hertz(f float64) string {
	u := Hz
	for u > GHz && f >= pow10[(u-1).shift()] {
		u--
	}
	return string(Number{}.appendShifted(nil, f, u.shift())) + " " + u.String()
}

func fromHertz(s string) (float64, bool) {
	number, unit, _ := strings.Cut(s, " ")
	for u := GHz; u <= Hz; u++ {
		if u.String() == unit {
			f, end, _, ok := scanNumber([]byte(number), 0, u.shift())
			return f, ok && end == len(number) && f >= 0
		}
	}
	return 0, false
}

func span(s string) (from, to float64, ok bool) {
	a, b, ok := strings.Cut(s, " to ")
	from, ok1 := fromHertz(a)
	to, ok2 := fromHertz(b)
	return from, to, ok && ok1 && ok2
}

// escape makes a text fit one field of one line: plain ASCII, no semicolon, no
// blank at its ends.
func escape(s string) string {
	s = ascii(strings.ReplaceAll(s, `\`, `\\`))
	s = strings.ReplaceAll(s, ";", `\u003b`)
	s = strings.ReplaceAll(s, "\t", `\u0009`)
	if strings.HasPrefix(s, " ") {
		s = `\u0020` + s[1:]
	}
	if strings.HasSuffix(s, " ") {
		s = s[:len(s)-1] + `\u0020`
	}
	return s
}

// unescape undoes escape; what is no escape stands for itself.
func unescape(s string) string {
	if !strings.Contains(s, `\`) {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+1 < len(s) {
			if s[i+1] == '\\' {
				b.WriteByte('\\')
				i++
				continue
			}
			if n := map[byte]int{'u': 4, 'U': 8}[s[i+1]]; n > 0 && i+2+n <= len(s) {
				if r, err := strconv.ParseUint(s[i+2:i+2+n], 16, 32); err == nil {
					b.WriteRune(rune(r))
					i += 1 + n
					continue
				}
			}
		}
		b.WriteByte(s[i])
	}
	return b.String()
}
