package workspace

import (
	"errors"
	"io/fs"
	"path"
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"linewright/app/demo"
	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/job/enquiry"
)

// seed gives the fuzzer the demo's files of a kind, and what is known to be
// awkward.
func seed(f *testing.F, dir string, more ...string) {
	f.Helper()
	for _, name := range demo.Names() {
		if path.Dir(name) == dir {
			data, err := fs.ReadFile(demo.Files(), name)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	for _, s := range append(more, "", "\n", "---\n", "a", "a: b: c", "- a", "[", "{a: [}", "\ufeffname: x", "name: x\r\n", "name: &a x\nnote: *a", "<<: {name: x}", "? a\n: b", "name: !!binary aGk=", "name: |\n  a\n  b\n", "name: .inf", "name: ~", "name: 'it''s'", "? [a, b]\n: c", "name: \"\\x\"") {
		f.Add([]byte(s))
	}
}

// acceptable asks of an error of a reader that it is a list of faults with
// file, problem and help, in which no line lies beyond the file.
func acceptable(t *testing.T, data []byte, err error) {
	t.Helper()
	if err == nil {
		return
	}
	var all Faults
	if !errors.As(err, &all) || len(all) == 0 {
		t.Fatalf("%T is no list of faults: %v", err, err)
	}
	lines := strings.Count(string(data), "\n") + strings.Count(string(data), "\r") + 1
	for _, f := range all {
		if f.File != "x" || f.Problem == "" || f.Help == "" || f.Err == nil {
			t.Fatalf("%+v lacks file, problem, help or rule", f)
		}
		if f.Line < 0 || f.Line > lines || f.Line > 0 && f.Column < 1 {
			t.Fatalf("%+v points outside the file of %d lines", f, lines)
		}
		if says := f.Problem + f.Help; strings.Contains(says, "%!") && !strings.ContainsAny(string(data), `%\`) { // a format that went wrong, not the file's own words
			t.Fatalf("%+v is not fit to print", f)
		}
	}
}

func FuzzDecodeEnquiry(f *testing.F) {
	seed(f, EnquiryDir, "lines: unknown", "band: unknown", "band: {from: unknown, to: 2 GHz}", "id: unknown")
	f.Fuzz(func(t *testing.T, data []byte) {
		var e enquiry.Enquiry
		_, err := decode("x", data, &e, true)
		acceptable(t, data, err)
	})
}

func FuzzDecodeCatalogue(f *testing.F) {
	seed(f, CatalogueDir, "cables: {id: A, loss: {points: [{at: 1 GHz, level: 1 dB/m}]}}")
	f.Fuzz(func(t *testing.T, data []byte) {
		var c catalogue.Catalogue
		_, err := decode("x", data, &c, false)
		acceptable(t, data, err)
		if err == nil {
			again(t, c, func(data []byte) (catalogue.Catalogue, error) {
				var back catalogue.Catalogue
				_, err := decode("x", data, &back, false)
				return back, err
			})
		}
	})
}

func FuzzDecodeChain(f *testing.F) {
	seed(f, ChainDir, "pieces: {part: A, length: 1 m}", "pieces: [{part: A}, {launch: {return_loss: 15 dB}}]")
	f.Fuzz(func(t *testing.T, data []byte) {
		var s chain.Spec
		_, err := decode("x", data, &s, false)
		acceptable(t, data, err)
		if err == nil {
			again(t, s, func(data []byte) (chain.Spec, error) {
				var back chain.Spec
				_, err := decode("x", data, &back, false)
				return back, err
			})
		}
	})
}

func FuzzDecodeCSV(f *testing.F) {
	for _, s := range []string{"", "kind", "kind,id\ncable,A", "kind,core.diameter [mm]\ncable,3", "kind,id\ncable,\"A", "kind,face.series\ncable_connector,SMA\n", "kind,fits\ncable_connector,A;B;", "kind,kind\ncable,cable",
		"kind,loss\ncable,1", "kind,id.\ncable,1", "kind,.\nbullet,1", "\ufeffkind,id\r\ncable,A\r\n", "#\nkind\n\n#\ncable", "kind,model.file\nadapter,x"} {
		f.Add([]byte(s))
	}
	for _, name := range demo.Names() {
		if path.Ext(name) == ".csv" {
			data, err := fs.ReadFile(demo.Files(), name)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := decodeCSV("x", data)
		acceptable(t, data, err)
		if err == nil {
			again(t, c, func(data []byte) (catalogue.Catalogue, error) {
				var back catalogue.Catalogue
				_, err := decode("x", data, &back, false)
				return back, err
			})
		}
	})
}

// again writes a value, reads it back and asks for the same. What is stated as
// zero or empty is not written, so the written form is compared with that of
// what was read back.
func again[T any](t *testing.T, v T, read func([]byte) (T, error)) {
	t.Helper()
	data, err := Encode(v)
	if err != nil {
		t.Fatalf("%+v cannot be written: %v", v, err)
	}
	if len(data) == 0 {
		return
	}
	back, err := read(data)
	if err != nil {
		t.Fatalf("what was written cannot be read: %v\n%s", err, data)
	}
	twice, err := Encode(back)
	if err != nil || string(twice) != string(data) {
		t.Fatalf("written:\n%s\nread and written again:\n%s\n%v", data, twice, err)
	}
	if diff := cmp.Diff(prune(reflect.ValueOf(v)), prune(reflect.ValueOf(back))); diff != "" {
		t.Fatalf("written:\n%s\nread back otherwise:\n%s", data, diff)
	}
}

// prune turns a value into nested maps without what is nil, empty or zero.
// Pointers to zero stay: a price of nothing is stated.
func prune(v reflect.Value) any {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		if x := prune(v.Elem()); x != nil {
			return x
		}
		if v.Elem().Kind() == reflect.Struct || v.Elem().Kind() == reflect.Slice {
			return nil
		}
		return "zero, stated"
	case reflect.Struct:
		m := map[string]any{}
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() && f.Tag.Get("file") != "-" {
				if x := prune(v.Field(i)); x != nil {
					m[f.Name] = x
				}
			}
		}
		if len(m) == 0 {
			return nil
		}
		return m
	case reflect.Slice, reflect.Array:
		if v.Len() == 0 {
			return nil
		}
		list := make([]any, v.Len())
		for i := range list {
			list[i] = prune(v.Index(i))
		}
		return list
	}
	if v.IsZero() {
		return nil
	}
	return v.Interface()
}

// Files that would keep the parser busy for minutes, or fill the stack, are
// refused before it sees them.
func TestHostileFiles(t *testing.T) {
	for name, text := range map[string]string{
		"one long line":   "title: " + strings.Repeat("x", maxLine),
		"nested dashes":   strings.Repeat("- ", 100000) + "x",
		"nested keys":     strings.Repeat("a: ", 100000),
		"deep indent":     "a:\n" + strings.Repeat(" ", maxIndent+1) + "b: c",
		"nested brackets": "title: " + strings.Repeat("[\n", maxNest+1),
		"too large":       strings.Repeat("#\n", maxBytes/2+1),
	} {
		var e enquiry.Enquiry
		_, err := decode("x", []byte(text), &e, true)
		if !errors.Is(err, ErrTooLarge) {
			t.Errorf("%s: %v, want it refused as too large", name, err)
		}
		acceptable(t, []byte(text), err)
	}
}
