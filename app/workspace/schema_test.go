package workspace

import (
	"bytes"
	"encoding"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/doc"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/google/go-cmp/cmp"

	"linewright/app/demo"
	"linewright/hardware/board"
	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

var update = flag.Bool("update", false, "rewrite the schemas")

// kinds are the files that have a schema and the type that decode fills.
func kinds() map[string]reflect.Type {
	return map[string]reflect.Type{
		"enquiry":   reflect.TypeFor[enquiry.Enquiry](),
		"catalogue": reflect.TypeFor[catalogue.Catalogue](),
		"chain":     reflect.TypeFor[chain.Spec](),
		"stackup":   reflect.TypeFor[board.Stackup](),
		"launch":    reflect.TypeFor[launch.Design](),
		"body":      reflect.TypeFor[BodyFile](),
		"section":   reflect.TypeFor[SectionFile](),
		"field":     reflect.TypeFor[FieldFile](),
	}
}

// object is a JSON object that keeps the order of its keys.
type object struct {
	keys   []string
	values map[string]any
}

func newObject(pairs ...any) *object {
	o := &object{values: map[string]any{}}
	for i := 0; i < len(pairs); i += 2 {
		o.set(pairs[i].(string), pairs[i+1])
	}
	return o
}

func (o *object) set(key string, v any) {
	if _, ok := o.values[key]; !ok {
		o.keys = append(o.keys, key)
	}
	o.values[key] = v
}

func (o *object) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, k := range o.keys {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, "%q:", k)
		enc := json.NewEncoder(&b)
		enc.SetEscapeHTML(false)
		if err := enc.Encode(o.values[k]); err != nil {
			return nil, err
		}
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// generator makes a schema by reflection, with the descriptions of the types'
// own doc comments.
type generator struct {
	t       testing.TB
	unknown bool // the word unknown stands for a value
	defs    *object
	docs    map[string]map[string]string // package path -> "Type" or "Type.Field" -> comment
}

func (g *generator) schema(kind string, root reflect.Type) []byte {
	g.defs = newObject()
	out := newObject("$schema", "https://json-schema.org/draft/2020-12/schema", "$id", kind+".schema.json", "title", "Linewright "+kind)
	body := g.structure(root)
	for _, k := range body.keys {
		out.set(k, body.values[k])
	}
	slices.Sort(g.defs.keys)
	out.set("$defs", g.defs)
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(out); err != nil {
		g.t.Fatal(err)
	}
	var pretty bytes.Buffer
	if err := json.Indent(&pretty, b.Bytes(), "", "  "); err != nil {
		g.t.Fatal(err)
	}
	return pretty.Bytes()
}

// value is the schema of a field's type.
func (g *generator) value(t reflect.Type) *object {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if w, ok := reflect.Zero(t).Interface().(worded); ok {
		form := g.structure
		if t.Kind() != reflect.Struct { // a coordinate: a length or the word
			form = func(reflect.Type) *object { return g.value(reflect.TypeFor[units.Length]()) }
		}
		return newObject("anyOf", []any{g.reference(t, form), newObject("enum", w.Words())})
	}
	if reflect.PointerTo(t).Implements(textType) {
		return g.reference(t, g.quantity)
	}
	if _, ok := reflect.Zero(t).Interface().(interface{ Options() []string }); ok {
		return g.reference(t, g.words)
	}
	switch t.Kind() {
	case reflect.Struct:
		return g.reference(t, g.structure)
	case reflect.Slice:
		item := g.value(t.Elem())
		return newObject("anyOf", []any{item, newObject("type", "array", "items", item)})
	case reflect.Array:
		return newObject("type", "array", "items", g.value(t.Elem()), "minItems", t.Len(), "maxItems", t.Len())
	case reflect.String:
		return newObject("type", []string{"string", "number", "boolean"}) // YAML reads "rev: 3" as a number; it is text all the same
	case reflect.Bool:
		return newObject("type", "boolean")
	case reflect.Int, reflect.Int64:
		return newObject("type", "integer")
	case reflect.Float64:
		return newObject("type", "number")
	}
	g.t.Fatalf("no schema for a %s", t)
	return nil
}

// reference puts a type under $defs once and points to it.
func (g *generator) reference(t reflect.Type, make func(reflect.Type) *object) *object {
	name := strings.ToLower(t.Name()[:1]) + t.Name()[1:]
	if p := path.Base(t.PkgPath()); p != "units" {
		name = p + "." + t.Name()
	}
	if _, ok := g.defs.values[name]; !ok {
		g.defs.set(name, newObject()) // a type may hold itself
		g.defs.set(name, make(t))
	}
	return newObject("$ref", "#/$defs/"+name)
}

func (g *generator) words(t reflect.Type) *object {
	o := newObject("type", "string", "enum", reflect.Zero(t).Interface().(interface{ Options() []string }).Options())
	g.describe(o, t, "")
	return o
}

func (g *generator) quantity(t reflect.Type) *object {
	kind, example, ok := units.Describe(reflect.Zero(t).Interface())
	if !ok {
		g.t.Fatalf("units does not describe a %s", t)
	}
	pattern, types := `^\s*[-+−]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?\s*[^-+0-9.,\s].*$`, any("string")
	if v := reflect.New(t).Interface().(encoding.TextUnmarshaler); v.UnmarshalText([]byte("1")) == nil { // a plain number is one too
		pattern, types = `^\s*[-+−]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?(\s*[^-+0-9.,\s].*)?$`, []string{"string", "number"}
	}
	o := newObject("description", kind+", a number with its unit", "type", types, "pattern", pattern, "examples", []string{example})
	if types != any("string") {
		o.set("description", kind)
	}
	return o
}

func (g *generator) structure(t reflect.Type) *object {
	props := newObject()
	g.fields(t, props)
	o := newObject()
	g.describe(o, t, "")
	o.set("type", "object")
	o.set("properties", props)
	o.set("additionalProperties", false)
	return o
}

func (g *generator) fields(t reflect.Type, props *object) {
	for i := range t.NumField() {
		f := t.Field(i)
		switch {
		case f.Tag.Get("file") == "-" || !f.IsExported():
		case f.Anonymous:
			g.fields(f.Type, props)
		default:
			v := g.value(f.Type)
			if g.unknown && f.Type.Kind() != reflect.String {
				v = newObject("anyOf", []any{v, newObject("const", "unknown")})
			}
			o := newObject()
			g.describe(o, t, f.Name)
			for _, k := range v.keys {
				o.set(k, v.values[k])
			}
			props.set(Key(f.Name), o)
		}
	}
}

// describe adds the doc comment of a type or of one of its fields.
func (g *generator) describe(o *object, t reflect.Type, field string) {
	pkg, ok := g.docs[t.PkgPath()]
	if !ok {
		pkg = comments(g.t, t.PkgPath())
		g.docs[t.PkgPath()] = pkg
	}
	key := t.Name()
	if field != "" {
		key += "." + field
	}
	if text := pkg[key]; text != "" {
		o.set("description", text)
	}
}

// comments reads the doc comments of a package's types and fields.
func comments(t testing.TB, pkg string) map[string]string {
	t.Helper()
	out := map[string]string{}
	dir := filepath.Join("..", "..", filepath.FromSlash(strings.TrimPrefix(pkg, "linewright/")))
	names, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	fset := token.NewFileSet()
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(fset, name, nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.TYPE {
				continue
			}
			for _, s := range g.Specs {
				spec := s.(*ast.TypeSpec)
				text := spec.Doc.Text()
				if text == "" {
					text = g.Doc.Text()
				}
				out[spec.Name.Name] = oneLine(text)
				st, ok := spec.Type.(*ast.StructType)
				if !ok {
					continue
				}
				for _, field := range st.Fields.List {
					text := strings.TrimSpace(field.Doc.Text() + " " + field.Comment.Text())
					for _, n := range field.Names {
						out[spec.Name.Name+"."+n.Name] = oneLine(text)
					}
				}
			}
		}
	}
	return out
}

// oneLine is a comment's text without links, its first paragraph on one line.
func oneLine(comment string) string {
	var p doc.Package
	text := string(p.Text(comment))
	if i := strings.Index(text, "\n\n"); i >= 0 {
		text = text[:i]
	}
	return strings.Join(strings.Fields(text), " ")
}

// The committed schemas are what the types say now.
func TestSchemasAreFresh(t *testing.T) {
	ks := SchemaKinds()
	if len(ks) != len(kinds()) {
		t.Fatalf("SchemaKinds lists %v, the types are %d", ks, len(kinds()))
	}
	for _, kind := range ks {
		g := &generator{t: t, unknown: kind == "enquiry", docs: map[string]map[string]string{}}
		want := g.schema(kind, kinds()[kind])
		name := filepath.Join("schema", kind+".json")
		if *update {
			if err := os.WriteFile(name, want, 0o666); err != nil {
				t.Fatal(err)
			}
			continue
		}
		got, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s is stale: the types or their comments have changed; rewrite it with: go test ./app/workspace -run Schema -update\n%s", name, cmp.Diff(strings.Split(string(got), "\n"), strings.Split(string(want), "\n")))
		}
	}
	files, _ := filepath.Glob("schema/*.json")
	if len(files) != len(ks) {
		t.Errorf("%d files in schema, %d kinds", len(files), len(ks))
	}
}

// validator checks a value against the few words that the schemas use. An
// unknown word is a fault of the schema.
type validator struct{ root map[string]any }

func newValidator(t testing.TB, kind string) validator {
	t.Helper()
	data, err := Schema(kind)
	if err != nil {
		t.Fatal(err)
	}
	var root map[string]any
	if err := json.Unmarshal(data, &root); err != nil {
		t.Fatal(err)
	}
	return validator{root}
}

// check returns what is wrong with v, as lines.
func (v validator) check(schema map[string]any, x any, at string) (wrong []string) {
	say := func(format string, args ...any) { wrong = append(wrong, at+": "+fmt.Sprintf(format, args...)) }
	for word, arg := range schema {
		switch word {
		case "$schema", "$id", "title", "description", "examples", "$defs":
		case "$ref":
			name := strings.TrimPrefix(arg.(string), "#/$defs/")
			def, ok := v.root["$defs"].(map[string]any)[name].(map[string]any)
			if !ok {
				say("the schema points nowhere: %s", arg)
				continue
			}
			wrong = append(wrong, v.check(def, x, at)...)
		case "const":
			if x != arg {
				say("%v is not %v", x, arg)
			}
		case "enum":
			if !slices.ContainsFunc(arg.([]any), func(w any) bool { return w == x }) {
				say("%v is not one of %v", x, arg)
			}
		case "anyOf":
			var all []string
			ok := false
			for _, s := range arg.([]any) {
				w := v.check(s.(map[string]any), x, at)
				ok = ok || len(w) == 0
				all = append(all, w...)
			}
			if !ok {
				wrong = append(wrong, all...)
			}
		case "type":
			words, ok := arg.([]any)
			if !ok {
				words = []any{arg}
			}
			if !slices.ContainsFunc(words, func(w any) bool { return isType(x, w.(string)) }) {
				say("%v (%T) is no %v", x, x, words)
			}
		case "pattern":
			if s, ok := x.(string); ok && !regexp.MustCompile(arg.(string)).MatchString(s) {
				say("%q does not match", s)
			}
		case "items":
			if list, ok := x.([]any); ok {
				for i, item := range list {
					wrong = append(wrong, v.check(arg.(map[string]any), item, fmt.Sprintf("%s[%d]", at, i))...)
				}
			}
		case "minItems":
			if list, ok := x.([]any); ok && len(list) < int(arg.(float64)) {
				say("%d items are too few", len(list))
			}
		case "maxItems":
			if list, ok := x.([]any); ok && len(list) > int(arg.(float64)) {
				say("%d items are too many", len(list))
			}
		case "properties":
			if m, ok := x.(map[string]any); ok {
				for k, y := range m {
					if p, ok := arg.(map[string]any)[k].(map[string]any); ok {
						wrong = append(wrong, v.check(p, y, at+"."+k)...)
					}
				}
			}
		case "additionalProperties":
			if m, ok := x.(map[string]any); ok && arg == false {
				props, _ := schema["properties"].(map[string]any)
				for k := range m {
					if _, ok := props[k]; !ok {
						say("no key is called %q", k)
					}
				}
			}
		default:
			say("the validator does not know the word %q", word)
		}
	}
	return wrong
}

func isType(x any, word string) bool {
	switch x.(type) {
	case string:
		return word == "string"
	case bool:
		return word == "boolean"
	case int, int64, uint64:
		return word == "integer" || word == "number"
	case float64:
		return word == "number"
	case map[string]any:
		return word == "object"
	case []any:
		return word == "array"
	}
	return false
}

func readAny(t testing.TB, data []byte) any {
	t.Helper()
	var x any
	if err := yaml.Unmarshal(data, &x); err != nil {
		t.Fatal(err)
	}
	return x
}

// kindOf tells a demo file's kind by its folder.
func kindOf(name string) string {
	return map[string]string{EnquiryDir: "enquiry", CatalogueDir: "catalogue", ChainDir: "chain", StackupDir: "stackup", LaunchDir: "launch"}[path.Dir(name)]
}

func TestDemoFilesSatisfyTheirSchemas(t *testing.T) {
	seen := map[string]int{}
	for _, name := range demo.Names() {
		kind := kindOf(name)
		if kind == "" || path.Ext(name) != ".yaml" {
			continue
		}
		seen[kind]++
		data, err := fs.ReadFile(demo.Files(), name)
		if err != nil {
			t.Fatal(err)
		}
		v := newValidator(t, kind)
		for _, w := range v.check(v.root, readAny(t, data), name) {
			t.Error(w)
		}
	}
	if seen["enquiry"] < 5 || seen["catalogue"] < 2 || seen["stackup"] < 2 || seen["launch"] < 1 {
		t.Errorf("only %v files were looked at", seen)
	}
}

// What the reader refuses for its form, the schema refuses too.
func TestSchemasRefuse(t *testing.T) {
	for _, c := range []struct{ kind, text, says string }{
		{"enquiry", "titel: x", "no key is called"},
		{"enquiry", "band: {from: 24, to: 30 GHz}", "is no"},
		{"enquiry", "from: {kind: bord}", "is not one of"},
		{"enquiry", "limits: {insertion_loss: {at_most: '3'}}", "does not match"},
		{"enquiry", "lines: 3.5", "is no"},
		{"catalogue", "cables: {id: A, rated_frequency: unknown}", "does not match"},
		{"catalogue", "cables: {id: [A]}", "is no"},
		{"chain", "pieces: {part: A, turned: maybe}", "is no"},
		{"stackup", "layers: {kind: cooper}", "is not one of"},
		{"launch", "pad: {width: 0.6}", "is no"},
		{"chain", "pieces: {trace: {kind: slotline, width: 1 mm}}", "is not one of"},
	} {
		v := newValidator(t, c.kind)
		if w := strings.Join(v.check(v.root, readAny(t, []byte(c.text)), "file"), "\n"); !strings.Contains(w, c.says) {
			t.Errorf("%s schema on %q says %q, want %q", c.kind, c.text, w, c.says)
		}
		target := reflect.New(kinds()[c.kind])
		if _, err := decode("x.yaml", []byte(c.text), target.Interface(), c.kind == "enquiry"); err == nil {
			t.Errorf("%s: the reader takes %q, which the schema refuses", c.kind, c.text)
		}
	}
	for _, c := range []struct{ kind, text string }{
		{"enquiry", "lines: unknown\nband: {from: 24 GHz, to: 30 GHz}\nenvironment: {max_temperature: -40 °C}"},
		{"enquiry", "band: [{from: 24GHz, to: 30GHz}]\nid: 85"},
		{"chain", "pieces: {part: 12}"},
	} {
		v := newValidator(t, c.kind)
		for _, w := range v.check(v.root, readAny(t, []byte(c.text)), c.text) {
			t.Error(w)
		}
		target := reflect.New(kinds()[c.kind])
		if _, err := decode("x.yaml", []byte(c.text), target.Interface(), c.kind == "enquiry"); err != nil {
			t.Errorf("%s: the schema takes %q, the reader does not: %v", c.kind, c.text, err)
		}
	}
}

func TestSchemaOfUnknownKind(t *testing.T) {
	if _, err := Schema("../decode"); err == nil || !strings.Contains(err.Error(), "enquiry") {
		t.Errorf("Schema of no kind: %v; want an error that lists the kinds", err)
	}
}
