package workspace

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"sort"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"linewright/hardware/chain"
	"linewright/internal/spell"
	"linewright/job/enquiry"
)

// ErrPath says that a change names no value of the file.
var ErrPath = errors.New("no such place in the file")

// Change sets one value of a file. Path names it by keys and indices from 0,
// limits.insertion_loss[0].at_most; Value is what would stand there without
// quotes, and nil takes the key, or the item of the list, out. A list of words
// is written with commas.
type Change struct {
	Path  string
	Value *string
}

// Edit changes values in the text of an enquiry and leaves every other byte as
// it is: comments, order, quotes, line ends. A key that is missing goes where
// the schema has it. The changes are made one after the other. Edit does not
// judge the values: read the text to do that.
func Edit(file string, data []byte, changes ...Change) ([]byte, error) {
	return edit(file, data, reflect.TypeFor[enquiry.Enquiry](), changes)
}

// EditChain is [Edit] for a chain.
func EditChain(file string, data []byte, changes ...Change) ([]byte, error) {
	return edit(file, data, reflect.TypeFor[chain.Spec](), changes)
}

func edit(file string, data []byte, root reflect.Type, changes []Change) ([]byte, error) {
	var faults Faults
	for _, c := range changes {
		next, err := editOne(data, root, c)
		var f Fault
		switch {
		case errors.As(err, &f):
			if f.File == "" {
				f.File = file
			}
			faults = append(faults, f)
		case err != nil:
			return nil, err
		default:
			data = next
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return data, nil
}

// step is one part of a path: a key, or an index.
type step struct {
	key   string
	index int // -1 for a key
}

var stepPattern = regexp.MustCompile(`^(?:\.?([a-z][a-z0-9_]*)|\[([0-9]{1,4})\])`)

func parsePath(path string) ([]step, bool) {
	var out []step
	for rest := path; rest != ""; {
		m := stepPattern.FindStringSubmatch(rest)
		if m == nil || len(out) == 0 && (m[1] == "" || rest[0] == '.') || len(out) > 0 && m[1] != "" && rest[0] != '.' {
			return nil, false
		}
		if m[1] != "" {
			out = append(out, step{m[1], -1})
		} else {
			i, _ := strconv.Atoi(m[2]) // digits
			out = append(out, step{index: i})
		}
		rest = rest[len(m[0]):]
	}
	return out, len(out) > 0
}

// typeAt follows a path through a type; nil when it leads nowhere, with what
// was wanted.
func typeAt(t reflect.Type, steps []step) (reflect.Type, string) {
	for _, s := range steps {
		for t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		switch {
		case s.index >= 0 && (t.Kind() == reflect.Slice || t.Kind() == reflect.Array):
			t = t.Elem()
		case s.index >= 0:
			return nil, "there is no list here"
		default:
			if t.Kind() == reflect.Slice { // one item may stand without its dash
				t = t.Elem()
			}
			for t.Kind() == reflect.Pointer {
				t = t.Elem()
			}
			if t.Kind() != reflect.Struct || reflect.PointerTo(t).Implements(textType) {
				return nil, "nothing lies below"
			}
			f, ok := field(reflect.New(t).Elem(), s.key)
			if !ok {
				keys := keysOf(t)
				if near := spell.Nearest(s.key, keys, 2); near != "" {
					return nil, "did you mean " + near + "?"
				}
				return nil, "keys here are: " + strings.Join(keys, ", ")
			}
			t = f.Type()
		}
	}
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	return t, ""
}

// scalarText writes a value for a place of type t, in a style that fits into
// brackets too. was is the text that stood there.
func scalarText(t reflect.Type, value, was string) (string, bool) {
	if t.Kind() == reflect.Slice {
		e := t.Elem()
		if e.Kind() != reflect.String {
			return "", false
		}
		var items []string
		for _, s := range strings.Split(value, ",") {
			if s = strings.TrimSpace(s); s != "" {
				items = append(items, quote(s))
			}
		}
		return "[" + strings.Join(items, ", ") + "]", true
	}
	quantity := reflect.PointerTo(t).Implements(textType)
	switch {
	case quantity:
	case t.Kind() == reflect.Struct, t.Kind() == reflect.Array:
		return "", false
	}
	switch {
	case strings.HasPrefix(was, `"`):
		return strconv.Quote(value), true
	case strings.HasPrefix(was, "'") && !strings.ContainsAny(value, "\n\r"):
		return "'" + strings.ReplaceAll(value, "'", "''") + "'", true
	}
	text := quote(value)
	bare := t.Kind() == reflect.Bool || t.Kind() == reflect.Int || t.Kind() == reflect.Float64
	if bare && value == strings.TrimSpace(value) && barePattern.MatchString(value) || t.Kind() != reflect.String && value == "unknown" {
		text = value
	}
	return text, true
}

var barePattern = regexp.MustCompile(`^[-+A-Za-z0-9.]+$`)

// page is a text that is being edited, and what it says.
type page struct {
	text string // line ends are \n, no byte-order mark
	line []int  // offset of each line
	body ast.Node
}

func readPage(text string) (*page, error) {
	d := &decoder{}
	var nothing struct{}
	d.run([]byte(text), &nothing) // the reader's own bounds on what is parsed; its faults on keys are not meant here
	for _, f := range d.faults {
		if !errors.Is(f.Err, ErrUnknownKey) && !errors.Is(f.Err, ErrType) && !errors.Is(f.Err, ErrDuplicate) {
			return nil, f
		}
	}
	f, err := parser.ParseBytes([]byte(text), parser.ParseComments, parser.AllowDuplicateMapKey())
	if err != nil {
		return nil, Fault{Err: ErrSyntax, Problem: err.Error(), Help: "edit the text itself"}
	}
	p := &page{text: text, line: []int{0}}
	for i := range len(text) {
		if text[i] == '\n' {
			p.line = append(p.line, i+1)
		}
	}
	for _, doc := range f.Docs {
		if doc.Body != nil && doc.Body.Type() != ast.CommentType {
			p.body = doc.Body
			break
		}
	}
	if p.body == nil {
		return nil, Fault{Err: ErrEmpty, Problem: "the file is empty", Help: "edit the text itself"}
	}
	return p, nil
}

// offset turns a line and a column, which counts characters, into an offset.
func (p *page) offset(line, column int) int {
	if line < 1 || line > len(p.line) {
		return len(p.text)
	}
	at := p.line[line-1]
	for range column - 1 {
		if at >= len(p.text) || p.text[at] == '\n' {
			break
		}
		n := 1
		for at+n < len(p.text) && p.text[at+n]&0xc0 == 0x80 {
			n++
		}
		at += n
	}
	return at
}

// pairs are the entries of a mapping; nil for anything else.
func pairs(n ast.Node) []*ast.MappingValueNode {
	switch m := n.(type) {
	case *ast.MappingNode:
		return m.Values
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{m}
	}
	return nil
}

func isMapping(n ast.Node) bool {
	switch n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return true
	}
	return false
}

func inBraces(n ast.Node) bool { m, ok := n.(*ast.MappingNode); return ok && m.IsFlowStyle }

// start is the offset at which a node begins.
func (p *page) start(n ast.Node) int {
	switch m := n.(type) {
	case *ast.MappingNode:
		if m.IsFlowStyle {
			return p.offset(m.Start.Position.Line, m.Start.Position.Column)
		}
		if len(m.Values) > 0 {
			return p.start(m.Values[0])
		}
	case *ast.MappingValueNode:
		t := m.Key.GetToken()
		return p.offset(t.Position.Line, t.Position.Column)
	case *ast.SequenceNode:
		return p.offset(m.Start.Position.Line, m.Start.Position.Column)
	case *ast.LiteralNode:
		return p.offset(m.Start.Position.Line, m.Start.Position.Column)
	}
	t := n.GetToken()
	return p.offset(t.Position.Line, t.Position.Column)
}

// lineOf is the index of the line that holds an offset.
func (p *page) lineOf(at int) int { return sort.SearchInts(p.line, at+1) - 1 }

// lineEnd is the offset of the line's end, before its \n.
func (p *page) lineEnd(line int) int {
	if line+1 < len(p.line) {
		return p.line[line+1] - 1
	}
	return len(p.text)
}

func (p *page) lineText(line int) string { return p.text[p.line[line]:p.lineEnd(line)] }

// quoted returns the end of the quoted text that begins at at.
func (p *page) quoted(at int) int {
	q := p.text[at]
	for i := at + 1; i < len(p.text); i++ {
		switch {
		case q == '"' && p.text[i] == '\\':
			i++
		case p.text[i] == q && q == '\'' && i+1 < len(p.text) && p.text[i+1] == '\'':
			i++
		case p.text[i] == q:
			return i + 1
		}
	}
	return len(p.text)
}

// flowEnd scans within brackets from at to the comma or bracket that ends the
// entry there, and returns the end of its text and where the scan stopped.
func (p *page) flowEnd(at int) (end, stop int) {
	depth := 0
	end = at
	for i := at; i < len(p.text); i++ {
		c := p.text[i]
		switch {
		case (c == '"' || c == '\'') && (i == at || strings.ContainsRune(" \n,[{:", rune(p.text[i-1]))):
			i = p.quoted(i) - 1
		case c == '#' && (i == 0 || p.text[i-1] == ' ' || p.text[i-1] == '\n'):
			for i+1 < len(p.text) && p.text[i+1] != '\n' {
				i++
			}
			continue
		case c == '[' || c == '{':
			depth++
		case (c == ']' || c == '}' || c == ',') && depth == 0:
			return end, i
		case c == ']' || c == '}':
			depth--
		}
		if p.text[i] != ' ' && p.text[i] != '\n' {
			end = i + 1
		}
	}
	return end, len(p.text)
}

// blockEnd is the last line of the entry that begins on a line with its key, or
// its dash, in column indent, from 0.
func (p *page) blockEnd(line, indent int, dashes bool) int {
	last := line
	for k := line + 1; k < len(p.line); k++ {
		t := p.lineText(k)
		body := strings.TrimLeft(t, " ")
		if body == "" || body[0] == '#' {
			continue
		}
		deep := len(t) - len(body)
		if deep > indent || deep == indent && dashes && (body == "-" || strings.HasPrefix(body, "- ")) {
			last = k
			continue
		}
		break
	}
	return last
}

// column is the column of an offset in its line, in bytes from 0.
func (p *page) column(at int) int { return at - p.line[p.lineOf(at)] }

// splice is one replacement of text.
type splice struct {
	from, to int
	text     string
}

// place is where a path leads as far as the file goes.
type place struct {
	node   ast.Node // the last node on the way that is there
	left   []step   // what is missing below it
	pair   *ast.MappingValueNode
	holder ast.Node // of pair or item
	item   int      // index in holder when it is a sequence; else -1
	flow   bool     // node stands within brackets
	at     []step   // the way to node
}

func (p *page) find(steps []step) (place, error) {
	w := place{node: p.body, left: steps, item: -1}
	for len(w.left) > 0 {
		s := w.left[0]
		switch n := w.node.(type) {
		case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
			return w, Fault{Err: ErrUnsupported, Problem: "anchors, aliases and tags are not used here", Help: "write the value out in the text"}
		case *ast.SequenceNode:
			switch {
			case s.index < 0 && len(n.Values) == 1: // one item may be named without its index
				s.index = 0
				w.left = append([]step{{index: 0}}, w.left...)
			case s.index < 0:
				return w, Fault{Err: ErrPath, Problem: fmt.Sprintf("a list of %d items stands here", len(n.Values)), Help: "name one of them by its index, such as [0]"}
			}
			if s.index >= len(n.Values) {
				return w, nil
			}
			w.holder, w.item, w.pair = n, s.index, nil
			w.flow = w.flow || n.IsFlowStyle
			w.node = n.Values[s.index]
		case *ast.MappingNode, *ast.MappingValueNode:
			if s.index == 0 { // one item stands without its dash
				break
			}
			if s.index > 0 {
				return w, nil
			}
			var hit *ast.MappingValueNode
			for _, m := range pairs(n) {
				if scalar(m.Key) == s.key {
					hit = m
				}
			}
			if hit == nil {
				return w, nil
			}
			w.holder, w.pair, w.item = n, hit, -1
			w.flow = w.flow || inBraces(n)
			w.node = hit.Value
		default:
			if _, null := n.(*ast.NullNode); !null && s.index == 0 {
				break
			}
			return w, nil
		}
		w.at = append(w.at, s)
		w.left = w.left[1:]
	}
	return w, nil
}

func editOne(data []byte, root reflect.Type, c Change) ([]byte, error) {
	steps, ok := parsePath(c.Path)
	if !ok {
		return nil, Fault{Err: ErrPath, Found: strconv.Quote(c.Path), Problem: "not a path", Help: "write keys with points and indices in brackets, such as limits.insertion_loss[0].at_most"}
	}
	t, help := typeAt(root, steps)
	if t == nil {
		return nil, Fault{Err: ErrUnknownKey, Found: strconv.Quote(c.Path), Problem: "no such key", Help: help}
	}
	if len(data) > maxBytes {
		return nil, Fault{Err: ErrTooLarge, Problem: fmt.Sprintf("the file has %d MB", len(data)>>20), Help: "split it"}
	}
	plain, fault := plainText(data)
	if fault != nil {
		return nil, *fault
	}
	text := strings.ReplaceAll(string(plain), "\r\n", "\n")
	if i := strings.IndexByte(text, '\r'); i >= 0 {
		return nil, Fault{Line: 1 + strings.Count(text[:i], "\n"), Column: i - strings.LastIndexByte(text[:i], '\n'), Err: ErrText, Problem: "a carriage return within a line", Help: "end every line alike"}
	}
	p, err := readPage(text)
	if err != nil {
		return nil, err
	}
	w, err := p.find(steps)
	if err != nil {
		return nil, err
	}
	var s splice
	switch {
	case c.Value == nil:
		if len(w.left) > 0 {
			return data, nil // nothing stands there
		}
		if w.pair == nil && w.item < 0 {
			return nil, Fault{Err: ErrPath, Found: strconv.Quote(c.Path), Problem: "the whole file cannot be taken out", Help: "name a key"}
		}
		s = p.remove(w)
	case len(w.left) == 0:
		s, err = p.replace(w, t, *c.Value)
	default:
		s, err = p.insert(w, root, t, *c.Value)
	}
	if err != nil {
		var f Fault
		if errors.As(err, &f) && f.Found == "" {
			f.Found = strconv.Quote(c.Path)
			err = f
		}
		return nil, err
	}
	next, err := readPage(p.text[:s.from] + s.text + p.text[s.to:])
	if err != nil || !onlyChanged(p.body, next.body, steps, c.Value) {
		return nil, Fault{Err: ErrPath, Found: strconv.Quote(c.Path), Problem: "this place of the file is written in a way that cannot be edited without touching the rest", Help: "edit the text itself"}
	}
	return apply(data, s), nil
}

// apply makes a splice, given in the text without carriage returns and mark, in
// the bytes as they stand.
func apply(data []byte, s splice) []byte {
	mark := len(data) - len(bytes.TrimPrefix(data, []byte("\ufeff")))
	first := bytes.IndexByte(data, '\n')
	if first > 0 && data[first-1] == '\r' {
		s.text = strings.ReplaceAll(s.text, "\n", "\r\n")
	}
	at := func(offset int) int {
		i := mark
		for ; offset > 0; offset-- {
			if data[i] == '\r' && i+1 < len(data) && data[i+1] == '\n' {
				i++
			}
			i++
		}
		return i
	}
	from := at(s.from)
	to := from
	if s.to > s.from {
		to = at(s.to)
	}
	out := append([]byte{}, data[:from]...)
	out = append(out, s.text...)
	return append(out, data[to:]...)
}

// replace puts a value where one stands.
func (p *page) replace(w place, t reflect.Type, value string) (splice, error) {
	from, to := p.extent(w)
	was := p.text[from:to]
	switch n := w.node.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return splice{}, Fault{Err: ErrPath, Problem: "keys stand here, not a value", Help: "name one of the keys below, or edit the text"}
	case *ast.SequenceNode:
		if !n.IsFlowStyle {
			return splice{}, Fault{Err: ErrPath, Problem: "a list with dashes stands here", Help: "name one of its items by its index"}
		}
	}
	text, ok := scalarText(t, value, was)
	if !ok {
		return splice{}, Fault{Err: ErrPath, Problem: "keys are wanted here, not a value", Help: "name one of the keys below"}
	}
	if _, null := w.node.(*ast.NullNode); null && was == "" {
		text = " " + text
	}
	return splice{from, to, text}, nil
}

// extent is the text of a node that is there.
func (p *page) extent(w place) (from, to int) {
	if _, null := w.node.(*ast.NullNode); null && w.pair != nil {
		from = p.start(w.pair)
		if strings.ContainsRune(`"'`, rune(p.text[from])) {
			from = p.quoted(from)
		}
		from += strings.IndexByte(p.text[from:], ':') + 1
		if n := w.node.GetToken(); n != nil && n.Position != nil {
			if at := p.offset(n.Position.Line, n.Position.Column); at > from && (strings.HasPrefix(p.text[at:], "null") || strings.HasPrefix(p.text[at:], "~")) {
				return at, at + len(n.Value)
			}
		}
		return from, from
	}
	from = p.start(w.node)
	if w.flow {
		to, _ = p.flowEnd(from)
		return from, to
	}
	switch c := p.text[from]; {
	case c == '"' || c == '\'':
		return from, p.quoted(from)
	case c == '[' || c == '{':
		_, stop := p.flowEnd(from + 1)
		for stop < len(p.text) && p.text[stop] == ',' {
			_, stop = p.flowEnd(stop + 1)
		}
		return from, min(stop+1, len(p.text))
	case c == '|' || c == '>':
		last := p.lineOf(from)
		indent := p.indent(w)
		for k := last + 1; k < len(p.line); k++ {
			t := p.lineText(k)
			body := strings.TrimLeft(t, " ")
			if body == "" {
				continue
			}
			if len(t)-len(body) <= indent {
				break
			}
			last = k
		}
		return from, p.lineEnd(last)
	}
	last := p.blockEnd(p.lineOf(from), p.indent(w), false)
	end := p.lineEnd(last)
	if i := strings.Index(p.text[p.line[last]:end], " #"); i >= 0 && p.line[last]+i >= from {
		end = p.line[last] + i
	}
	return from, from + len(strings.TrimRight(p.text[from:end], " "))
}

// indent is the column of the key or dash that holds a node.
func (p *page) indent(w place) int {
	if w.pair != nil {
		return p.column(p.start(w.pair))
	}
	if w.item >= 0 {
		return p.dash(w.holder.(*ast.SequenceNode))
	}
	return -1
}

// dash is the column of a block list's dashes.
func (p *page) dash(n *ast.SequenceNode) int {
	return p.column(p.offset(n.Start.Position.Line, n.Start.Position.Column))
}

// dashLine is the line of an item's dash.
func (p *page) dashLine(n *ast.SequenceNode, i int) int {
	line := p.lineOf(p.start(n.Values[i]))
	col := p.dash(n)
	for ; line > 0; line-- {
		if t := p.lineText(line); len(t) > col && t[col] == '-' && strings.Trim(t[:col], " -") == "" {
			break
		}
	}
	return line
}

// render writes what is missing on the way, in brackets.
func render(left []step, t reflect.Type, value string) (string, error) {
	if len(left) == 0 {
		text, ok := scalarText(t, value, "")
		if !ok {
			return "", Fault{Err: ErrPath, Problem: "keys are wanted here, not a value", Help: "name one of the keys below"}
		}
		return text, nil
	}
	inner, err := render(left[1:], t, value)
	switch s := left[0]; {
	case err != nil:
		return "", err
	case s.index > 0:
		return "", Fault{Err: ErrPath, Problem: fmt.Sprintf("the list has no item %d yet", s.index-1), Help: "items are added one after the other"}
	case s.index == 0:
		return "[" + inner + "]", nil
	default:
		return "{" + s.key + ": " + inner + "}", nil
	}
}

// insert adds what is missing.
func (p *page) insert(w place, root, t reflect.Type, value string) (splice, error) {
	s := w.left[0]
	here, _ := typeAt(root, w.at)
	switch n := w.node.(type) {
	case *ast.NullNode:
		text, err := render(w.left, t, value)
		if err != nil {
			return splice{}, err
		}
		from, to := p.extent(w)
		if from == to {
			text = " " + text
		}
		return splice{from, to, text}, nil
	case *ast.SequenceNode:
		if s.index != len(n.Values) {
			return splice{}, Fault{Err: ErrPath, Problem: fmt.Sprintf("the list has %d items", len(n.Values)), Help: "items are added one after the other"}
		}
		text, err := render(w.left[1:], t, value)
		if err != nil {
			return splice{}, err
		}
		if n.IsFlowStyle {
			if len(n.Values) == 0 {
				at := p.start(n) + 1
				return splice{at, at, text}, nil
			}
			end, _ := p.flowEnd(p.start(n.Values[len(n.Values)-1]))
			return splice{end, end, ", " + text}, nil
		}
		col := p.dash(n)
		at := p.lineEnd(p.blockEnd(p.dashLine(n, len(n.Values)-1), col, false))
		return splice{at, at, "\n" + strings.Repeat(" ", col) + "- " + text}, nil
	case *ast.MappingNode, *ast.MappingValueNode:
		if s.index > 0 {
			return p.second(w, t, value)
		}
		inner, err := render(w.left[1:], t, value)
		if err != nil {
			return splice{}, err
		}
		return p.addKey(n, here, s.key, s.key+": "+inner)
	}
	if s.index > 0 {
		return p.second(w, t, value)
	}
	return splice{}, Fault{Err: ErrPath, Problem: "a value stands where keys are wanted", Help: "edit the text"}
}

// second adds a further item to one that stands without its dash.
func (p *page) second(w place, t reflect.Type, value string) (splice, error) {
	if w.left[0].index != 1 {
		return splice{}, Fault{Err: ErrPath, Problem: "one item stands here", Help: "items are added one after the other"}
	}
	if isMapping(w.node) && !inBraces(w.node) {
		return splice{}, Fault{Err: ErrPath, Problem: "one item stands here without a dash", Help: "put a dash before it in the text, then add further ones"}
	}
	text, err := render(w.left[1:], t, value)
	if err != nil {
		return splice{}, err
	}
	from, to := p.extent(w)
	return splice{from, to, "[" + p.text[from:to] + ", " + text + "]"}, nil
}

// addKey puts an entry into a mapping, behind those that the schema has before it.
func (p *page) addKey(n ast.Node, here reflect.Type, key, text string) (splice, error) {
	if here.Kind() == reflect.Slice {
		here = here.Elem()
	}
	for here.Kind() == reflect.Pointer {
		here = here.Elem()
	}
	rank := map[string]int{}
	for i, k := range keysOf(here) {
		rank[k] = i
	}
	ps := pairs(n)
	var before *ast.MappingValueNode
	for _, m := range ps {
		if r, ok := rank[scalar(m.Key)]; ok && r < rank[key] && (before == nil || r >= rank[scalar(before.Key)]) {
			before = m
		}
	}
	if inBraces(n) {
		switch {
		case len(ps) == 0:
			at := p.start(n) + 1
			return splice{at, at, text}, nil
		case before == nil:
			at := p.start(ps[0])
			return splice{at, at, text + ", "}, nil
		}
		end, _ := p.flowEnd(p.start(before))
		return splice{end, end, ", " + text}, nil
	}
	indent := strings.Repeat(" ", p.column(p.start(ps[0])))
	if before == nil {
		at := p.start(ps[0])
		return splice{at, at, text + "\n" + indent}, nil
	}
	at := p.lineEnd(p.entryEnd(before))
	return splice{at, at, "\n" + indent + text}, nil
}

// entryEnd is the last line of a block entry.
func (p *page) entryEnd(m *ast.MappingValueNode) int {
	at := p.start(m)
	last := p.blockEnd(p.lineOf(at), p.column(at), true)
	if _, literal := m.Value.(*ast.LiteralNode); literal {
		_, to := p.extent(place{node: m.Value, pair: m, item: -1})
		last = max(last, p.lineOf(max(to-1, 0)))
	}
	return last
}

// remove takes an entry or an item out.
func (p *page) remove(w place) splice {
	var from int
	var count, own int
	flow := false
	if w.pair != nil {
		ps := pairs(w.holder)
		from, count, flow = p.start(w.pair), len(ps), inBraces(w.holder)
		for i, m := range ps {
			if m == w.pair {
				own = i
			}
		}
	} else {
		n := w.holder.(*ast.SequenceNode)
		from, count, own, flow = p.start(n.Values[w.item]), len(n.Values), w.item, n.IsFlowStyle
	}
	if flow {
		end, stop := p.flowEnd(from)
		switch {
		case own < count-1: // with the comma behind it
			stop++
			for stop < len(p.text) && p.text[stop] == ' ' {
				stop++
			}
			return splice{from, stop, ""}
		case own > 0: // with the comma before it
			for p.text[from-1] != ',' {
				from--
			}
			return splice{from - 1, end, ""}
		}
		return splice{from, end, ""}
	}
	line := p.lineOf(from)
	last := line
	if w.pair != nil {
		last = p.entryEnd(w.pair)
	} else {
		n := w.holder.(*ast.SequenceNode)
		line = p.dashLine(n, w.item)
		last = p.blockEnd(line, p.dash(n), false)
		from = p.line[line] + p.dash(n)
	}
	lead := p.text[p.line[line]:from]
	if strings.TrimSpace(lead) != "" { // it shares its line with a dash
		if count == 1 {
			return splice{from, p.lineEnd(last), "{}"}
		}
		to := p.lineEnd(last) + 1
		for to < len(p.text) && p.text[to] == ' ' {
			to++
		}
		return splice{from, to, ""}
	}
	return splice{p.line[line], min(p.lineEnd(last)+1, len(p.text)), ""}
}

// flat lists every scalar by its path; an index of 0 is left out, as a single
// item may stand without its dash.
func flat(n ast.Node, path string, out map[string]string) {
	switch m := n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		for _, e := range pairs(m) {
			flat(e.Value, strings.TrimPrefix(path+"."+scalar(e.Key), "."), out)
		}
	case *ast.SequenceNode:
		for i, e := range m.Values {
			at := path
			if i > 0 {
				at = fmt.Sprintf("%s[%d]", path, i)
			}
			flat(e, at, out)
		}
	case *ast.NullNode, nil:
	default:
		out[path] = scalar(n)
	}
}

// onlyChanged says whether two texts say the same but for one place.
func onlyChanged(before, after ast.Node, steps []step, value *string) bool {
	was, is := map[string]string{}, map[string]string{}
	flat(before, "", was)
	flat(after, "", is)
	path, list := "", ""
	at := -1
	for i, s := range steps {
		switch {
		case s.index < 0:
			path = strings.TrimPrefix(path+"."+s.key, ".")
		case value == nil && i == len(steps)-1:
			list, at = path, s.index
		case s.index > 0:
			path = fmt.Sprintf("%s[%d]", path, s.index)
		}
	}
	if at >= 0 { // the items behind the one taken out move up
		return len(is) <= len(was) && sameOutside(was, is, list)
	}
	if value != nil && is[path] == "" && *value != "" && is[path+"[1]"] == "" {
		return false
	}
	return sameOutside(was, is, path)
}

// sameOutside compares what lies neither at path nor below.
func sameOutside(a, b map[string]string, path string) bool {
	outside := func(m map[string]string) map[string]string {
		out := maps.Clone(m)
		for k := range out {
			if rest, ok := strings.CutPrefix(k, path); ok && (rest == "" || rest[0] == '.' || rest[0] == '[') {
				delete(out, k)
			}
		}
		return out
	}
	return maps.Equal(outside(a), outside(b))
}
