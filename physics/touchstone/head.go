package touchstone

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// word cuts the word that begins at or behind i; at is len(line) if there is
// none before the end of the line or a comment.
func (s *Scanner) word(i int) (word []byte, at, end int) {
	line := s.line
	for i < len(line) && (line[i] == ' ' || line[i] == '\t') {
		i++
	}
	if i < len(line) && line[i] == '!' {
		s.comment(i, true)
		return nil, len(line), len(line)
	}
	at = i
	for i < len(line) && line[i] != ' ' && line[i] != '\t' && line[i] != '!' {
		i++
	}
	return line[at:i], at, i
}

// optionLine reads "# unit parameter format R resistance...", in any order.
func (s *Scanner) optionLine(i int) {
	n := s.in.number
	body := s.line[i:]
	if c := bytes.IndexByte(body, '!'); c >= 0 {
		body = body[:c]
	}
	text := strings.Join(strings.Fields(strings.ToUpper(string(body[1:]))), " ")
	if s.hasOption || s.section != inHead {
		switch {
		case s.hasOption && text != s.option:
			s.warn(n, i, quote(body), ErrForgivenSecondOption, "delete it, or split the file where it begins")
		case !s.hasOption && s.section != inInformation:
			s.fault(n, i, "option line behind the first data", ErrOptionPlace, "move it before the first frequency")
			s.hasOption = true
		}
		s.word(i + len(body))
		return
	}
	s.hasOption, s.option = true, text
	const (
		unit = iota
		parameter
		format
		resistance
	)
	var given [4]string
	set := func(kind int, at int, w []byte) bool {
		if given[kind] != "" {
			s.fault(n, at, quote(w)+" after "+given[kind], ErrOptionRepeated, "keep one of them")
			return false
		}
		given[kind] = quote(w)
		return true
	}
	for j := i + 1; ; {
		w, at, end := s.word(j)
		if len(w) == 0 {
			break
		}
		j = end
		switch up := strings.ToUpper(string(w)); up {
		case "GHZ", "MHZ", "KHZ", "HZ":
			if set(unit, at, w) {
				s.layout.Unit = map[string]Unit{"GHZ": GHz, "MHZ": MHz, "KHZ": KHz, "HZ": Hz}[up]
			}
		case "S", "Y", "Z", "H", "G":
			if set(parameter, at, w) {
				s.layout.Parameter = Parameter(strings.Index("SYZHG", up))
			}
		case "MA", "DB", "RI":
			if set(format, at, w) {
				s.layout.Format = Format(strings.Index("MADBRI", up) / 2)
			}
		case "R":
			fresh := set(resistance, at, w)
			var list []float64
			for {
				mark := len(s.comments)
				w, a, e := s.word(j)
				if len(w) == 0 || !startsNumber(w[0]) {
					s.comments = s.comments[:mark] // the outer loop comes here again
					break
				}
				j = e
				if r, ok := s.resistance(w, a); ok {
					if len(list) == s.portCap() {
						s.fault(n, a, "one resistance more than ports", ErrReferenceCount, "drop it, or correct the number of ports")
						break
					}
					list = append(list, r)
				}
			}
			switch {
			case !fresh:
			case len(list) == 0:
				if given[resistance] != "" && j == end {
					s.fault(n, at, "R without a resistance", ErrReference, "write R 50, with the resistance in ohms")
				}
			case len(list) > 1 && s.layout.Version.keywords():
				s.fault(n, at, fmt.Sprintf("%d resistances in a version %v file", len(list), s.layout.Version), ErrReferenceCount, "keep one here and give the others with [Reference]")
				s.layout.Reference = list[:1]
			default:
				s.layout.Reference = list
			}
		default:
			s.fault(n, at, quote(w), ErrOption, "write it like # GHz S MA R 50")
		}
	}
}

func startsNumber(c byte) bool {
	return '0' <= c && c <= '9' || c == '.' || c == '-' || c == '+'
}

// portCap bounds lists of one entry per port before the number is settled.
func (s *Scanner) portCap() int {
	switch {
	case s.layout.Ports > 0:
		return s.layout.Ports
	case s.known > 0:
		return s.known
	}
	if n := portsOf(s.name); n > 0 && !s.layout.Version.keywords() {
		return n
	}
	return maxPorts
}

// resistance reads a positive number of ohms.
func (s *Scanner) resistance(w []byte, at int) (float64, bool) {
	r, _, _, ok := scanNumber(w, 0, 0)
	if !ok || !(r > 0) || math.IsInf(r, 0) {
		help := "write a positive number of ohms, such as 50"
		if bytes.ContainsAny(w, "jJiI") {
			help = "renormalise the data to a real resistance; no version of the format holds a complex one"
		}
		s.fault(s.in.number, at, quote(w), ErrReference, help)
		return 50, false
	}
	return r, true
}

// The keywords, as published.
const (
	kwVersion   = "Version"
	kwPorts     = "Number of Ports"
	kwOrder     = "Two-Port Data Order"
	kwPoints    = "Number of Frequencies"
	kwNoises    = "Number of Noise Frequencies"
	kwReference = "Reference"
	kwTriangle  = "Matrix Format"
	kwModes     = "Mixed-Mode Order"
	kwBegin     = "Begin Information"
	kwEndInfo   = "End Information"
	kwNetwork   = "Network Data"
	kwNoise     = "Noise Data"
	kwEnd       = "End"
)

var keywords = []string{kwVersion, kwPorts, kwOrder, kwPoints, kwNoises, kwReference, kwTriangle,
	kwModes, kwBegin, kwEndInfo, kwNetwork, kwNoise, kwEnd}

// findKeyword returns the published spelling of a keyword, and whether name has
// its spaces and dashes right; capitals do not matter.
func findKeyword(name string) (keyword string, right bool) {
	loose := func(s string) string {
		return strings.ToLower(strings.Join(strings.FieldsFunc(s, func(r rune) bool {
			return r == ' ' || r == '-' || r == '_' || r == '\t'
		}), " "))
	}
	for _, k := range keywords {
		if strings.EqualFold(k, name) {
			return k, true
		}
		if loose(k) == loose(name) {
			return k, false
		}
	}
	return "", false
}

// keyword reads a line that begins with '['.
func (s *Scanner) keyword(i int) {
	n := s.in.number
	shut := bytes.IndexByte(s.line[i:], ']')
	if shut < 0 {
		s.fault(n, i, quote(s.line[i:]), ErrKeywordForm, "close it with ]")
		return
	}
	shut += i
	inner := string(s.line[i+1 : shut])
	kw, right := findKeyword(inner)
	if kw == "" {
		if s.section == inInformation {
			s.layout.Information = append(s.layout.Information, string(bytes.TrimRight(s.line, " \t")))
			return
		}
		s.fault(n, i, quote(s.line[i:shut+1]), ErrKeyword, "correct its spelling, or make the line a comment with !")
		return
	}
	if trimmed := strings.TrimSpace(inner); trimmed != inner {
		s.fault(n, i, quote(s.line[i:shut+1]), ErrKeywordForm, "write ["+kw+"]")
	} else if !right || i > 0 {
		s.warn(n, i, quote(s.line[i:shut+1]), ErrForgivenKeywordForm, "write ["+kw+"] in the first column")
	}
	found := "[" + kw + "]"
	if s.section == inInformation && kw != kwEndInfo {
		s.layout.Information = append(s.layout.Information, string(bytes.TrimRight(s.line, " \t")))
		return
	}
	if s.wanted != "" {
		s.closeArguments()
	}
	if s.seen[kw] {
		s.fault(n, i, "a second "+found, ErrKeywordRepeated, "delete one of them")
		return
	}
	s.seen[kw] = true
	if s.section == inEnd {
		s.fault(n, i, found, ErrTrailing, "delete it, or move it before [End]")
		s.done = true
		return
	}
	if !s.layout.Version.keywords() && kw != kwVersion {
		s.fault(n, i, found+" in a file without [Version]", ErrKeywordNotAllowed, "begin the file with [Version] 2.0, or make keywords comments with !")
		if s.section != inHead {
			return
		}
		s.layout.Version = Version20
	}
	head := func() bool { // what belongs between [Number of Ports] and the data
		if s.section != inHead {
			s.fault(n, i, found+" behind "+map[bool]string{true: "[Network Data]", false: "the first data"}[s.seen[kwNetwork]], ErrKeywordPlace, "move it before [Network Data]")
			return false
		}
		if !s.seen[kwPorts] {
			s.fault(n, i, found+" before [Number of Ports]", ErrKeywordPlace, "move it behind [Number of Ports]")
		}
		return true
	}
	switch kw {
	case kwVersion:
		if !s.leading {
			s.fault(n, i, found+" behind other lines", ErrKeywordPlace, "make it the first line that is not a comment")
		}
		w, at, end := s.word(shut + 1)
		switch string(w) {
		case "2.0":
			s.layout.Version = Version20
		case "2.1":
			s.layout.Version = Version21
		case "":
			s.fault(n, i, found+" without argument", ErrKeywordArgument, "write [Version] 2.0 or [Version] 2.1")
			s.layout.Version = Version20
		default:
			if _, _, _, ok := scanNumber(w, 0, 0); ok && w[0] != '-' {
				help := "ask for the file in version 2.1 or earlier"
				if w[0] == '1' {
					help = "a version 1 file has no [Version]: delete this line"
				}
				s.unsupported(n, at, found+" "+string(w), ErrVersion, help)
				return
			}
			s.fault(n, at, quote(w), ErrKeywordArgument, "write [Version] 2.0 or [Version] 2.1")
			s.layout.Version = Version20
		}
		s.noMore(end, kw)
	case kwPorts:
		if s.section != inHead {
			head()
			break
		}
		if !s.hasOption {
			s.fault(n, i, found+" before the option line", ErrKeywordPlace, "put the option line, such as # GHz S MA R 50, before it")
		}
		if v, at, ok := s.integer(shut+1, kw); ok {
			if v > maxPorts {
				s.unsupported(n, at, fmt.Sprintf("%d ports", v), ErrPortLimit, "split the network")
				return
			}
			s.layout.Ports = v
			if s.known > 0 && s.known != v {
				s.fault(n, at, fmt.Sprintf("a %d-port in a file opened as a %d-port", v, s.known), ErrPortsDiffer, "open it with the number it states")
			} else if e := portsOf(s.name); e > 0 && e != v {
				s.warn(n, at, fmt.Sprintf("a %d-port in a file named for a %d-port", v, e), ErrForgivenExtension, fmt.Sprintf("rename it to .s%dp or .ts", v))
			}
		}
	case kwPoints:
		if v, _, ok := s.integer(shut+1, kw); head() && ok {
			s.points = v
		}
	case kwNoises:
		if v, _, ok := s.integer(shut+1, kw); head() && ok {
			s.noises = v
		}
	case kwOrder:
		if !head() {
			break
		}
		if s.layout.Ports != 0 && s.layout.Ports != 2 {
			s.fault(n, i, fmt.Sprintf("%s of a %d-port", found, s.layout.Ports), ErrKeywordNotAllowed, "delete it")
			break
		}
		w, at, end := s.word(shut + 1)
		switch strings.ToUpper(string(w)) {
		case "21_12":
			s.layout.Order = Order21_12
		case "12_21":
			s.layout.Order = Order12_21
		default:
			s.fault(n, min(at, len(s.line)), quote(w), ErrKeywordArgument, "write 21_12 or 12_21, for which of the two comes first")
		}
		s.noMore(end, kw)
	case kwTriangle:
		if !head() {
			break
		}
		w, at, end := s.word(shut + 1)
		switch strings.ToUpper(string(w)) {
		case "FULL":
			s.layout.Triangle = Full
		case "LOWER":
			s.layout.Triangle = Lower
		case "UPPER":
			s.layout.Triangle = Upper
		default:
			s.fault(n, at, quote(w), ErrKeywordArgument, "write Full, Lower or Upper")
		}
		s.noMore(end, kw)
	case kwReference, kwModes:
		if !head() {
			break
		}
		if kw == kwReference {
			s.layout.Resistance = s.layout.optionResistance()
			s.layout.Reference = nil
		}
		s.wanted, s.wantedLine = kw, n
		s.arguments(shut + 1)
	case kwBegin:
		if head() {
			s.section = inInformation
		}
		s.noMore(shut+1, kw)
	case kwEndInfo:
		if s.section != inInformation {
			s.fault(n, i, found+" without [Begin Information]", ErrKeywordPlace, "add [Begin Information], or delete this")
			break
		}
		s.section = inHead
		s.noMore(shut+1, kw)
	case kwNetwork:
		if s.section == inHead {
			s.beginNetwork(i)
		}
		s.noMore(shut+1, kw)
	case kwNoise:
		switch {
		case s.section == inHead:
			s.fault(n, i, found+" before [Network Data]", ErrKeywordPlace, "put the network data first")
			s.done = true
			return
		case s.layout.Ports != 2:
			s.fault(n, i, fmt.Sprintf("%s of a %d-port", found, s.layout.Ports), ErrNoisePorts, "delete the noise data")
		case s.noises < 0:
			s.fault(n, i, found+" without [Number of Noise Frequencies]", ErrKeywordMissing, "add [Number of Noise Frequencies] before [Network Data]")
		}
		s.endNetwork(n, i)
		s.section = inNoise
		s.noMore(shut+1, kw)
	case kwEnd:
		s.endData(n, i)
		s.section = inEnd
		s.noMore(shut+1, kw)
	}
}

// noMore asks that nothing but a comment follows.
func (s *Scanner) noMore(i int, kw string) {
	if w, at, _ := s.word(i); len(w) > 0 {
		s.fault(s.in.number, at, quote(s.line[at:])+" after ["+kw+"]", ErrKeywordArgument, "delete it, or begin a new line")
	}
}

// integer reads the one positive integer a keyword takes.
func (s *Scanner) integer(i int, kw string) (v, at int, ok bool) {
	w, at, end := s.word(i)
	v, err := strconv.Atoi(string(w))
	if err != nil || v < 1 {
		s.fault(s.in.number, at, quote(w), ErrKeywordArgument, "["+kw+"] takes one positive whole number")
		return 0, at, false
	}
	s.noMore(end, kw)
	return v, at, true
}

// arguments reads what [Reference] and [Mixed-Mode Order] list, which may go on
// in following lines.
func (s *Scanner) arguments(i int) {
	n := s.in.number
	for {
		w, at, end := s.word(i)
		if len(w) == 0 {
			return
		}
		i = end
		if s.wanted == kwReference {
			r, _ := s.resistance(w, at)
			if len(s.layout.Reference) == s.portCap() {
				s.fault(n, at, "one resistance more than ports", ErrReferenceCount, "drop it, or correct [Number of Ports]")
				s.wanted = ""
				return
			}
			s.layout.Reference = append(s.layout.Reference, r)
			continue
		}
		m, ok := parseMode(string(w))
		if !ok || max(m.Port, m.Ref) > s.portCap() {
			s.fault(n, at, quote(w), ErrMixedMode, "write S3, D1,2 or C1,2, with ports the network has")
			continue
		}
		for _, old := range s.layout.Modes {
			if old == m {
				s.fault(n, at, quote(w)+" for the second time", ErrMixedMode, "name each mode once")
				ok = false
				break
			}
		}
		if ok && len(s.layout.Modes) < s.portCap() {
			s.layout.Modes = append(s.layout.Modes, m)
		} else if ok {
			s.fault(n, at, "one mode more than ports", ErrMixedMode, "drop it, or correct [Number of Ports]")
			s.wanted = ""
			return
		}
	}
}

func parseMode(w string) (m Mode, ok bool) {
	if len(w) < 2 {
		return m, false
	}
	m.Kind = w[0] &^ 0x20
	first, second, pair := strings.Cut(w[1:], ",")
	var err, err2 error
	m.Port, err = strconv.Atoi(first)
	if pair {
		m.Ref, err2 = strconv.Atoi(second)
	}
	switch m.Kind {
	case 'S':
		ok = !pair
	case 'C', 'D':
		ok = pair && m.Ref >= 1 && m.Port != m.Ref
	}
	return m, ok && err == nil && err2 == nil && m.Port >= 1
}

// closeArguments checks a list when something else follows it.
func (s *Scanner) closeArguments() {
	kw := s.wanted
	s.wanted = ""
	if kw == kwReference && s.layout.Ports > 0 && len(s.layout.Reference) != s.layout.Ports {
		s.fault(s.wantedLine, 0, fmt.Sprintf("%d resistances for %d ports", len(s.layout.Reference), s.layout.Ports), ErrReferenceCount, "give one for each port, in their order")
		s.layout.Reference = s.layout.Reference[:min(1, len(s.layout.Reference))]
	}
	if kw == kwModes && s.layout.Ports > 0 {
		s.checkModes()
	}
}

// checkModes asks that the modes are a basis: each port once as S, or once as
// part of a pair that appears as D and, in the same order, as C.
func (s *Scanner) checkModes() {
	l := &s.layout
	complain := func(found, help string) { s.fault(s.wantedLine, 0, found, ErrMixedMode, help) }
	if len(l.Modes) != l.Ports {
		complain(fmt.Sprintf("%d modes for %d ports", len(l.Modes), l.Ports), "name as many modes as there are ports")
		return
	}
	uses := make(map[int]Mode, l.Ports)
	for _, m := range l.Modes {
		if m.Kind == 'C' {
			if !slices.Contains(l.Modes, Mode{'D', m.Port, m.Ref}) {
				complain(fmt.Sprintf("%v without D%d,%d", m, m.Port, m.Ref), "name the D and the C of a pair with the ports in the same order")
				return
			}
			continue
		}
		if m.Kind == 'D' && !slices.Contains(l.Modes, Mode{'C', m.Port, m.Ref}) {
			complain(fmt.Sprintf("%v without C%d,%d", m, m.Port, m.Ref), "name the D and the C of a pair with the ports in the same order")
			return
		}
		for _, p := range []int{m.Port, m.Ref} {
			if old, used := uses[p]; used && p > 0 {
				complain(fmt.Sprintf("port %d in %v and in %v", p, old, m), "use each port in one single mode or in one pair")
				return
			}
			uses[p] = m
		}
	}
}
