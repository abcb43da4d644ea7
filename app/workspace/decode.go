// Package workspace is the one place where files become the plain values of the
// lower floors and back: enquiries, catalogues, stackups, chains and the
// solvers' inputs. Every fault of a file carries its line and column, what
// stands there, what is wrong and what would be right; reading goes on after
// the first.
package workspace

import (
	"bytes"
	"encoding"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"linewright/internal/spell"
	"linewright/physics/units"
)

// The rules a file can break.
var (
	ErrSyntax      = errors.New("not valid YAML")
	ErrUnknownKey  = errors.New("unknown key")
	ErrDuplicate   = errors.New("the key stands twice")
	ErrType        = errors.New("another kind of value is wanted here")
	ErrValue       = errors.New("not a value for this key")
	ErrWord        = errors.New("not one of the words for this key")
	ErrUnsupported = errors.New("valid YAML, but not used here")
	ErrTooLarge    = errors.New("too large")
	ErrEmpty       = errors.New("nothing in it")
	ErrText        = errors.New("not plain UTF-8 text")
)

// Fault is one thing wrong in a file.
type Fault struct {
	File         string
	Line, Column int // from 1; 0 when the file as a whole is meant
	Found        string
	Err          error // the rule it breaks
	Problem      string
	Help         string
}

func (f Fault) Error() string {
	where := f.File
	if f.Line > 0 {
		where = fmt.Sprintf("%s:%d:%d", f.File, f.Line, f.Column)
	}
	found := ""
	if f.Found != "" {
		found = f.Found + ": "
	}
	return fmt.Sprintf("%s: %s%s; %s", where, found, f.Problem, f.Help)
}

func (f Fault) Unwrap() error { return f.Err }

// Faults are all that is wrong; as an error it prints one a line.
type Faults []Fault

func (fs Faults) Error() string {
	var b strings.Builder
	for i, f := range fs {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(f.Error())
	}
	return b.String()
}

func (fs Faults) Unwrap() []error {
	errs := make([]error, len(fs))
	for i, f := range fs {
		errs[i] = f
	}
	return errs
}

// Together joins the faults of several files; any other error goes first.
func Together(errs ...error) error {
	var all Faults
	for _, err := range errs {
		switch x := err.(type) {
		case nil:
		case Faults:
			all = append(all, x...)
		case Fault:
			all = append(all, x)
		default:
			return err
		}
	}
	if len(all) == 0 {
		return nil
	}
	return all
}

// Limits that keep a hostile or mistaken file from taking the machine down.
const (
	maxBytes  = 32 << 20 // of one YAML file
	maxNest   = 64       // brackets and indents within each other
	maxLine   = 32 << 10 // bytes of one line: the parser's time grows as its square
	maxIndent = 1 << 10  // blanks before the first letter of a line
	maxFaults = 50       // reported of one file
)

// decoder reads one file.
type decoder struct {
	file    string
	faults  Faults
	unknown []string        // paths whose value is the word unknown
	allow   bool            // whether that word is allowed
	places  map[string]spot // of every value by its path, if not nil
}

// spot is a place in a file, from 1.
type spot struct{ line, column int }

// decode reads data into target, a pointer to a struct. unknown lists the keys
// that hold the word unknown, which only enquiries may.
func decode(file string, data []byte, target any, allowUnknown bool) (unknown []string, err error) {
	d := &decoder{file: file, allow: allowUnknown}
	d.run(data, target)
	if len(d.faults) > 0 {
		sort.SliceStable(d.faults, func(i, k int) bool { return d.faults[i].Line < d.faults[k].Line })
		return d.unknown, d.faults
	}
	return d.unknown, nil
}

// decodePlaces is decode that also tells where each value stands.
func decodePlaces(file string, data []byte, target any) (where, error) {
	d := &decoder{file: file, places: map[string]spot{}}
	d.run(data, target)
	if len(d.faults) > 0 {
		sort.SliceStable(d.faults, func(i, k int) bool { return d.faults[i].Line < d.faults[k].Line })
		return where{file, d.places}, d.faults
	}
	return where{file, d.places}, nil
}

func (d *decoder) run(data []byte, target any) {
	whole := func(err error, problem, help string) {
		d.faults = append(d.faults, Fault{File: d.file, Err: err, Problem: problem, Help: help})
	}
	if len(data) > maxBytes {
		whole(ErrTooLarge, fmt.Sprintf("the file has %d MB", len(data)>>20), fmt.Sprintf("a file of this kind has at most %d MB: split it", maxBytes>>20))
		return
	}
	data, fault := plainText(data)
	if fault != nil {
		fault.File = d.file
		d.faults = append(d.faults, *fault)
		return
	}
	if line, ok := nesting(data); !ok {
		d.faults = append(d.faults, Fault{File: d.file, Line: line, Column: 1, Err: ErrTooLarge, Problem: fmt.Sprintf("brackets nest deeper than %d", maxNest), Help: "no file here needs more than a few levels"})
		return
	}
	for line, text := range bytes.Split(data, []byte("\n")) {
		if len(text) > maxLine || len(text)-len(bytes.TrimLeft(text, " ")) > maxIndent {
			d.faults = append(d.faults, Fault{File: d.file, Line: line + 1, Column: 1, Err: ErrTooLarge, Problem: fmt.Sprintf("a line of %d characters", len(text)),
				Help: fmt.Sprintf("a line has at most %d characters, of which %d blanks before the first other: break it up", maxLine, maxIndent)})
			return
		}
	}
	f, err := parser.ParseBytes(data, parser.ParseComments, parser.AllowDuplicateMapKey()) // mapping reports duplicates itself
	if err != nil {
		line, column, text := position(err)
		help := "check the indentation, the colons and the brackets of this line and the one before"
		if strings.Contains(text, "tab character") {
			help = "indent with blanks: YAML allows no tabs there"
		}
		d.faults = append(d.faults, Fault{File: d.file, Line: line, Column: column, Err: ErrSyntax, Problem: text, Help: help})
		return
	}
	var body ast.Node
	for _, doc := range f.Docs {
		if doc.Body == nil || doc.Body.Type() == ast.CommentType {
			continue
		}
		if body != nil {
			d.fault(doc.Body, ErrUnsupported, "a second document", "put it into a file of its own")
			return
		}
		body = doc.Body
	}
	if body == nil {
		whole(ErrEmpty, "the file is empty", "see an example with: linewright demo")
		return
	}
	d.value(body, reflect.ValueOf(target).Elem(), "")
}

// plainText returns data without its byte-order mark, or says where it is no text.
func plainText(data []byte) ([]byte, *Fault) {
	if bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")) {
		return nil, &Fault{Err: ErrText, Problem: "the file is UTF-16 text", Help: "save it as UTF-8"}
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	line, column := 1, 1
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		switch {
		case r == '\n':
			line, column = line+1, 0
		case r == utf8.RuneError && n == 1, r < ' ' && r != '\t' && r != '\r':
			return nil, &Fault{Line: line, Column: column, Err: ErrText, Found: fmt.Sprintf("byte %#x", data[i]), Problem: "not text", Help: "is it the right file? Files here are plain UTF-8 text"}
		}
		i, column = i+n, column+1
	}
	return data, nil
}

// nesting says whether brackets stay within maxNest, and where not.
func nesting(data []byte) (line int, ok bool) {
	depth, line := 0, 1
	for _, c := range data {
		switch c {
		case '\n':
			line++
		case '[', '{':
			if depth++; depth > maxNest {
				return line, false
			}
		case ']', '}':
			depth = max(0, depth-1)
		}
	}
	return line, true
}

// position reads line, column and message off a syntax error.
func position(err error) (line, column int, text string) {
	text = err.Error()
	var at interface{ GetToken() *token.Token }
	if errors.As(err, &at) {
		if t := at.GetToken(); t != nil && t.Position != nil {
			line, column = t.Position.Line, t.Position.Column
		}
	}
	var plain interface{ GetMessage() string }
	if errors.As(err, &plain) {
		text = plain.GetMessage()
	}
	text = strings.SplitN(text, "\n", 2)[0]
	if i := strings.Index(text, "] "); strings.HasPrefix(text, "[") && i > 0 {
		if line == 0 {
			fmt.Sscanf(text, "[%d:%d]", &line, &column)
		}
		text = text[i+2:]
	}
	return line, column, text
}

func (d *decoder) fault(n ast.Node, err error, problem, help string, args ...any) {
	if len(d.faults) >= maxFaults {
		return
	}
	f := Fault{File: d.file, Err: err, Problem: problem, Help: fmt.Sprintf(help, args...)}
	f.locate(n)
	d.faults = append(d.faults, f)
}

// locate notes where node n stands and its text.
func (f *Fault) locate(n ast.Node) {
	switch m := n.(type) { // the token of indented keys is their first colon; the key says more
	case *ast.MappingNode:
		if !m.IsFlowStyle && len(m.Values) > 0 {
			n = m.Values[0].Key
		}
	case *ast.MappingValueNode:
		n = m.Key
	}
	if t := n.GetToken(); t != nil && t.Position != nil {
		f.Line, f.Column = t.Position.Line, t.Position.Column
		if len(t.Value) < 60 && !strings.ContainsAny(t.Value, "\n") {
			f.Found = strconv.Quote(t.Value)
		}
	}
}

// worded is a value that may also be written as one of a few words. Of a
// struct they stand for its zero value.
type worded interface{ Words() []string }

var textType = reflect.TypeFor[encoding.TextUnmarshaler]()

// value reads node n into v. path is the key's path for questions.
func (d *decoder) value(n ast.Node, v reflect.Value, path string) {
	if d.places != nil {
		var at Fault
		at.locate(n)
		d.places[path] = spot{at.Line, at.Column}
	}
	switch m := n.(type) {
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		d.fault(n, ErrUnsupported, "anchors, aliases and tags are not used here", "write the value out")
		return
	case *ast.NullNode:
		return // a key without a value is not stated
	case *ast.StringNode:
		if m.Value == "unknown" && v.Kind() != reflect.String {
			if d.allow {
				d.unknown = append(d.unknown, path)
			} else {
				d.fault(n, ErrValue, "the word unknown is for enquiries", "leave the key out when the datasheet does not say")
			}
			return
		}
	}
	if v.Kind() == reflect.Pointer {
		x := reflect.New(v.Type().Elem())
		before := len(d.faults)
		d.value(n, x.Elem(), path)
		if len(d.faults) == before {
			v.Set(x)
		}
		return
	}
	if v.CanAddr() && v.Addr().Type().Implements(textType) {
		d.quantity(n, v)
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		if w, ok := v.Interface().(worded); ok && slices.Contains(w.Words(), scalar(n)) {
			return // the zero value
		}
		d.mapping(n, v, path)
	case reflect.Slice:
		d.sequence(n, v, path)
	case reflect.Array:
		d.array(n, v, path)
	case reflect.String:
		d.word(n, v)
	case reflect.Bool:
		b, ok := n.(*ast.BoolNode)
		if !ok {
			d.fault(n, ErrType, "yes or no is wanted", "write true or false")
			return
		}
		v.SetBool(b.Value)
	case reflect.Int, reflect.Int64:
		x, err := strconv.ParseInt(scalar(n), 10, 32)
		if err != nil {
			d.fault(n, ErrType, "a whole number is wanted", "write it without unit and decimals, such as 64")
			return
		}
		v.SetInt(x)
	case reflect.Float64:
		x, err := strconv.ParseFloat(scalar(n), 64)
		if err != nil || x-x != 0 {
			d.fault(n, ErrType, "a plain number is wanted", "write it without a unit, such as 1.15")
			return
		}
		v.SetFloat(x)
	default:
		panic(fmt.Sprintf("workspace: no way to read a %s", v.Type()))
	}
}

// scalar returns the text of a scalar node as it stands in the file; empty for
// anything else.
func scalar(n ast.Node) string {
	switch m := n.(type) {
	case *ast.StringNode:
		return m.Value
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value
	case *ast.LiteralNode:
		return m.Value.Value
	}
	return ""
}

func (d *decoder) quantity(n ast.Node, v reflect.Value) {
	text := scalar(n)
	name, example, _ := units.Describe(v.Interface())
	if name == "" {
		name, example = "value", ""
	}
	if text == "" {
		d.fault(n, ErrType, "a "+name+" is wanted", "write it with its unit, such as %s", example)
		return
	}
	if err := v.Addr().Interface().(encoding.TextUnmarshaler).UnmarshalText([]byte(text)); err != nil {
		var p *units.ParseError
		if errors.As(err, &p) {
			d.fault(n, p.Err, p.Err.Error(), "%s", p.Help)
			return
		}
		d.fault(n, ErrValue, err.Error(), "a %s is written like %s", name, example)
	}
}

// word reads a string, which must be one of its type's words if it has any.
func (d *decoder) word(n ast.Node, v reflect.Value) {
	text := scalar(n)
	switch n.(type) {
	case *ast.StringNode, *ast.LiteralNode, *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode:
	default:
		d.fault(n, ErrType, "a text is wanted", "write a single line of text")
		return
	}
	if o, ok := v.Interface().(interface{ Options() []string }); ok {
		words := o.Options()
		for _, w := range words {
			if w == text {
				v.SetString(text)
				return
			}
		}
		d.fault(n, ErrWord, fmt.Sprintf("%q is not one of the words here", text), "write one of: %s", strings.Join(words, ", "))
		return
	}
	v.SetString(text)
}

func (d *decoder) sequence(n ast.Node, v reflect.Value, path string) {
	s, ok := n.(*ast.SequenceNode)
	if !ok { // one item may stand without its dash
		x := reflect.New(v.Type().Elem()).Elem()
		d.value(n, x, path)
		v.Set(reflect.Append(v, x))
		return
	}
	out := reflect.MakeSlice(v.Type(), len(s.Values), len(s.Values))
	for i, item := range s.Values {
		d.value(item, out.Index(i), fmt.Sprintf("%s[%d]", path, i))
	}
	v.Set(out)
}

func (d *decoder) array(n ast.Node, v reflect.Value, path string) {
	s, ok := n.(*ast.SequenceNode)
	if !ok || len(s.Values) != v.Len() {
		d.fault(n, ErrType, fmt.Sprintf("a list of %d values is wanted", v.Len()), "write it as [first, second]")
		return
	}
	for i, item := range s.Values {
		d.value(item, v.Index(i), fmt.Sprintf("%s[%d]", path, i))
	}
}

func (d *decoder) mapping(n ast.Node, v reflect.Value, path string) {
	var pairs []*ast.MappingValueNode
	switch m := n.(type) {
	case *ast.MappingNode:
		pairs = m.Values
	case *ast.MappingValueNode:
		pairs = []*ast.MappingValueNode{m}
	default:
		help := "keys here are: " + strings.Join(keysOf(v.Type()), ", ")
		if w, ok := v.Interface().(worded); ok {
			help += "; or write the word " + strings.Join(w.Words(), " or ")
		}
		d.fault(n, ErrType, "keys with values are wanted", "%s", help)
		return
	}
	seen := map[string]bool{}
	for _, p := range pairs {
		if p.Key.IsMergeKey() {
			d.fault(p.Key, ErrUnsupported, "merging is not used here", "write the keys out")
			continue
		}
		key := scalar(p.Key)
		if seen[key] {
			d.fault(p.Key, ErrDuplicate, fmt.Sprintf("%q stands twice", key), "keep one of the two")
			continue
		}
		seen[key] = true
		f, ok := field(v, key)
		if !ok {
			keys := keysOf(v.Type())
			if near := spell.Nearest(key, keys, 2); near != "" {
				d.fault(p.Key, ErrUnknownKey, fmt.Sprintf("no key is called %q", key), "did you mean %s?", near)
			} else {
				d.fault(p.Key, ErrUnknownKey, fmt.Sprintf("no key is called %q", key), "keys here are: %s", strings.Join(keys, ", "))
			}
			continue
		}
		d.value(p.Value, f, strings.TrimPrefix(path+"."+key, "."))
	}
}

// Key turns a field's name into its key: MaxTemperature is max_temperature,
// VSWR is vswr, K1 is k1.
func Key(name string) string {
	var b strings.Builder
	rs := []rune(name)
	for i, r := range rs {
		if unicode.IsUpper(r) {
			next := i+1 < len(rs) && unicode.IsLower(rs[i+1])
			if i > 0 && (unicode.IsLower(rs[i-1]) || next && unicode.IsUpper(rs[i-1])) {
				b.WriteByte('_')
			}
			r = unicode.ToLower(r)
		}
		b.WriteRune(r)
	}
	return b.String()
}

// field finds the field of a key, looking through embedded structs.
func field(v reflect.Value, key string) (reflect.Value, bool) {
	t := v.Type()
	for i := range t.NumField() {
		f := t.Field(i)
		switch {
		case f.Tag.Get("file") == "-" || !f.IsExported():
		case f.Anonymous:
			if x, ok := field(v.Field(i), key); ok {
				return x, true
			}
		case Key(f.Name) == key:
			return v.Field(i), true
		}
	}
	return reflect.Value{}, false
}

// keysOf lists the keys of a struct.
func keysOf(t reflect.Type) []string {
	var keys []string
	for i := range t.NumField() {
		f := t.Field(i)
		switch {
		case f.Tag.Get("file") == "-" || !f.IsExported():
		case f.Anonymous:
			keys = append(keys, keysOf(f.Type)...)
		default:
			keys = append(keys, Key(f.Name))
		}
	}
	return keys
}
