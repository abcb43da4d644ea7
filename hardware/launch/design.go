package launch

import (
	"fmt"
	"reflect"
	"strings"
	"unicode"

	"linewright/hardware/board"
)

// Design is a launch as its file says it: the geometry, and the stackup and
// connector it was drawn for.
type Design struct {
	Name        string
	Note        string
	Source      string
	Stackup     string // name of the stackup it belongs to
	StackupHash string // hash of that stackup when the launch was drawn; empty: not recorded
	Connector   string // catalogue id of the board connector it was drawn for; empty: any
	Parameters
}

// Layouts are the stackups and launches that are at hand under their names.
type Layouts struct {
	Stackups []board.Stackup
	Launches []Design
}

// Stackup returns the stackup of that name; nil when there is none.
func (l Layouts) Stackup(name string) *board.Stackup {
	for i := range l.Stackups {
		if l.Stackups[i].Name == name {
			return &l.Stackups[i]
		}
	}
	return nil
}

// Launch returns the launch of that name; nil when there is none.
func (l Layouts) Launch(name string) *Design {
	for i := range l.Launches {
		if l.Launches[i].Name == name {
			return &l.Launches[i]
		}
	}
	return nil
}

// Drawn returns d as the land pattern that it is, with the identity of the
// stackup it was drawn for: that of the named stackup, under the hash that d
// recorded.
func (l Layouts) Drawn(d Design) Footprint {
	p := Footprint{Name: "launch " + d.Name}
	if s := l.Stackup(d.Stackup); s != nil {
		p.Identity = s.Identity()
	}
	if d.StackupHash != "" {
		p.Identity.Hash = d.StackupHash
	}
	return p
}

// AnotherStackup says in what a land pattern's stackup differs from now, in
// words; it is empty when nothing that both state differs.
func AnotherStackup(drawn, now board.Identity) []string {
	var why []string
	for _, x := range []struct{ what, drawn, now string }{
		{"fabricator", drawn.Fabricator, now.Fabricator},
		{"revision", drawn.Revision, now.Revision},
		{"layers and materials (hash)", drawn.Hash, now.Hash},
	} {
		if x.drawn != "" && x.now != "" && x.drawn != x.now {
			why = append(why, fmt.Sprintf("%s: drawn for %s, this board is %s", x.what, x.drawn, x.now))
		}
	}
	return why
}

// Fill returns p with everything it does not state taken from q.
func (p Parameters) Fill(q Parameters) Parameters {
	fill(reflect.ValueOf(&p).Elem(), reflect.ValueOf(q))
	return p
}

func fill(v, from reflect.Value) {
	if v.Kind() == reflect.Struct {
		for i := range v.NumField() {
			fill(v.Field(i), from.Field(i))
		}
	} else if v.IsZero() {
		v.Set(from)
	}
}

// Clashes lists the dimensions that p and q both state and state differently,
// in words: "trace width: 0.5 mm and 0.4 mm".
func (p Parameters) Clashes(q Parameters) []string {
	return clashes("", reflect.ValueOf(p), reflect.ValueOf(q))
}

func clashes(name string, a, b reflect.Value) (out []string) {
	switch {
	case a.Kind() == reflect.Struct:
		for i := range a.NumField() {
			out = append(out, clashes(strings.TrimSpace(name+" "+spaced(a.Type().Field(i).Name)), a.Field(i), b.Field(i))...)
		}
	case a.IsZero() || b.IsZero() || reflect.DeepEqual(a.Interface(), b.Interface()):
	case a.Kind() == reflect.Slice:
		out = append(out, name)
	default:
		out = append(out, fmt.Sprintf("%s: %v and %v", name, reflect.Indirect(a), reflect.Indirect(b)))
	}
	return out
}

// spaced writes a field's name as words: RowWidth is "row width".
func spaced(name string) string {
	var b strings.Builder
	for i, r := range name {
		if i > 0 && unicode.IsUpper(r) {
			b.WriteByte(' ')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}
