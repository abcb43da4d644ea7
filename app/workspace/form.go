package workspace

import (
	"fmt"
	"reflect"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"linewright/job/enquiry"
	"linewright/physics/units"
)

// Field is one value of a file, as a form shows it.
type Field struct {
	Path     string   `json:"path"`
	Key      string   `json:"key"`
	Value    *string  `json:"value"` // nil: not stated
	Kind     string   `json:"kind"`  // "length", "frequency" ..., "text", "word", "words", "number", "whole number", "true or false"
	Example  string   `json:"unit_example"`
	Options  []string `json:"options"` // of a word
	Required bool     `json:"required"`
	Line     int      `json:"line"` // in the text, from 1; 0: not stated
}

// usual are the keys of an enquiry that a form offers even when they are not
// stated; those that an answer cannot do without are marked.
var usual = map[string]bool{
	"title": false, "customer": false, "received": false, "note": false,
	"band[0].from": true, "band[0].to": true,
	"from.kind": true, "to.kind": true,
	"path.through": true, "path.length": false, "path.bend_radius": false,
	"limits.insertion_loss[0].at_most": false, "limits.return_loss[0].at_least": false, "limits.vswr[0].at_most": false, "limits.isolation[0].at_least": false,
	"limits.mass": false, "limits.price": false,
	"match.kind": false, "match.delay": false, "match.phase": false,
	"environment.min_temperature": false, "environment.max_temperature": false, "environment.altitude": false,
	"lines": false, "field.pitch": false, "handling.matings": false, "handling.matings_per_day": false,
	"power.average": false, "power.peak": false,
	"commercial.quantity": false, "commercial.lead_time": false, "commercial.currency": false,
	"weights.loss": false, "weights.return_loss": false, "weights.price": false, "weights.mass": false,
}

// EnquiryFields lists every value that the text of an enquiry states and those
// that most enquiries do, in the order of the schema. A text that cannot be
// parsed states none.
func EnquiryFields(text []byte) []Field {
	out := []Field{}
	var p *page
	if plain, fault := plainText(text); fault == nil {
		p, _ = readPage(strings.ReplaceAll(string(plain), "\r\n", "\n")) // its faults are told by whoever reads the values
	}
	var walk func(t reflect.Type, key string, steps []step, path string)
	walk = func(t reflect.Type, key string, steps []step, path string) {
		for t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		if kind, example, options, leaf := leafOf(t); leaf {
			f := Field{Path: path, Key: key, Kind: kind, Example: example, Options: options}
			required, common := usual[path]
			f.Required = required
			if p != nil {
				if w, err := p.find(steps); err == nil && len(w.left) == 0 {
					v, ok := scalar(w.node), scalar(w.node) != ""
					if kind == "words" {
						v, ok = p.words(w)
					}
					if ok {
						f.Value, f.Line = &v, p.lineOf(p.start(w.node))+1
					}
				}
			}
			if f.Value != nil || common {
				out = append(out, f)
			}
			return
		}
		if t.Kind() == reflect.Slice || t.Kind() == reflect.Array {
			n := 1
			if p != nil {
				n = max(1, p.items(steps))
			}
			for i := range n {
				at := append(append([]step{}, steps...), step{index: i})
				walk(t.Elem(), key, at, fmt.Sprintf("%s[%d]", path, i))
			}
			return
		}
		for i := range t.NumField() {
			f := t.Field(i)
			switch {
			case f.Tag.Get("file") == "-" || !f.IsExported():
			case f.Anonymous:
				walk(f.Type, key, steps, path)
			default:
				k := Key(f.Name)
				walk(f.Type, k, append(append([]step{}, steps...), step{k, -1}), strings.TrimPrefix(path+"."+k, "."))
			}
		}
	}
	walk(reflect.TypeFor[enquiry.Enquiry](), "", nil, "")
	kept := out[:0]
	for _, f := range out {
		if f.Key != "id" || f.Value != nil {
			kept = append(kept, f)
		}
	}
	return kept
}

// leafOf says what kind of value a type holds; leaf is false for keys and lists.
func leafOf(t reflect.Type) (kind, example string, options []string, leaf bool) {
	options = []string{}
	v := reflect.New(t).Elem()
	if reflect.PointerTo(t).Implements(textType) {
		kind, example, _ = units.Describe(v.Interface())
		return kind, example, options, true
	}
	words := func(v reflect.Value) []string {
		if o, ok := v.Interface().(interface{ Options() []string }); ok {
			return o.Options()
		}
		return []string{}
	}
	switch t.Kind() {
	case reflect.String:
		if options = words(v); len(options) > 0 {
			return "word", options[0], options, true
		}
		return "text", "", options, true
	case reflect.Bool:
		return "true or false", "true", []string{"true", "false"}, true
	case reflect.Int, reflect.Int64:
		return "whole number", "64", options, true
	case reflect.Float64:
		return "number", "1.5", options, true
	case reflect.Slice:
		if t.Elem().Kind() == reflect.String {
			options = words(reflect.New(t.Elem()).Elem())
			return "words", strings.Join(options[:min(2, len(options))], ", "), options, true
		}
	}
	return "", "", options, false
}

// items is the number of items of the list at a place; one that stands without
// its dash counts.
func (p *page) items(steps []step) int {
	w, err := p.find(steps)
	if err != nil || len(w.left) > 0 {
		return 0
	}
	if s, ok := w.node.(*ast.SequenceNode); ok {
		return len(s.Values)
	}
	return 1
}

// words reads a list of words, or a single one.
func (p *page) words(w place) (string, bool) {
	s, ok := w.node.(*ast.SequenceNode)
	if !ok {
		v := scalar(w.node)
		return v, v != ""
	}
	var out []string
	for _, n := range s.Values {
		out = append(out, scalar(n))
	}
	return strings.Join(out, ", "), true
}

// EnquiryField describes the value that a path of an enquiry names, such as
// limits.insertion_loss[0].at_most; ok is false for what is no single value.
func EnquiryField(path string) (f Field, ok bool) {
	steps, ok := parsePath(path)
	if !ok {
		return f, false
	}
	t, _ := typeAt(reflect.TypeFor[enquiry.Enquiry](), steps)
	if t == nil {
		return f, false
	}
	f = Field{Path: path, Key: steps[len(steps)-1].key, Required: usual[path]}
	f.Kind, f.Example, f.Options, ok = leafOf(t)
	return f, ok
}
