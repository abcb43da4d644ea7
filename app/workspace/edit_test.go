package workspace

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"linewright/job/enquiry"
)

func set(path, value string) Change { return Change{path, &value} }

func unset(path string) Change { return Change{Path: path} }

// Each case is one change, and the one piece of the text that it may touch.
func TestEdit(t *testing.T) {
	const file = `# Who asks, and what for.
title: Bench "jumpers" # not quoted
customer: 'Harrow Weir'

band: [{from: 0.5 GHz, to: 18 GHz}] # one band
from: {kind: port, presents: {gender: male}}
to:
  kind: board
  mounts: [edge solder, edge clamp]
  # the line below is ours
  line: {kind: coplanar, height: 0.254 mm}
path: {through: cable, length: 1.2 m}
limits:
  insertion_loss: {at_most: 2.2 dB, from: 18 GHz, to: 18 GHz}
  return_loss:
    - {at_least: 15 dB, of: launch} # per launch
    - at_least: 14 dB
      of: chain
      wish: true # asked back
  vswr: {at_most: 1.3}
note: >-
  two lines of
  text
environment: {min_temperature: 18 °C, max_temperature: 40 °C} # the lab's worst
handling:
`
	for _, c := range []struct {
		name    string
		change  Change
		old, is string // one replacement in file; old empty: nothing changes
	}{
		{"a value in braces", set("path.length", "0.8 m"), "length: 1.2 m", "length: 0.8 m"},
		{"the last value in braces, behind °C", set("environment.max_temperature", "-5 °C"), "max_temperature: 40 °C}", "max_temperature: -5 °C}"},
		{"a value in brackets and braces", set("band[0].to", "20 GHz"), "to: 18 GHz}] #", "to: 20 GHz}] #"},
		{"a plain text before a comment", set("title", "Jumpers"), `Bench "jumpers" #`, `Jumpers #`},
		{"a text that needs quotes", set("title", "a: b # c"), `Bench "jumpers" #`, `"a: b # c" #`},
		{"single quotes stay", set("customer", "O'Hara"), "'Harrow Weir'", "'O''Hara'"},
		{"a folded text", set("note", "short"), ">-\n  two lines of\n  text\n", "short\n"},
		{"a folded text gets a line break", set("note", "a\nb"), ">-\n  two lines of\n  text\n", "\"a\\nb\"\n"},
		{"an item of a list", set("limits.return_loss[1].at_least", "13 dB"), "at_least: 14 dB", "at_least: 13 dB"},
		{"an item in braces of a list", set("limits.return_loss[0].at_least", "16 dB"), "at_least: 15 dB", "at_least: 16 dB"},
		{"the only item, by its index", set("limits.insertion_loss[0].at_most", "3.0 dB"), "at_most: 2.2 dB", "at_most: 3.0 dB"},
		{"the only item, without index", set("limits.insertion_loss.at_most", "3 dB"), "at_most: 2.2 dB", "at_most: 3 dB"},
		{"the only item of brackets, without index", set("band.to", "20 GHz"), "to: 18 GHz}] #", "to: 20 GHz}] #"},
		{"a true", set("limits.return_loss[1].wish", "false"), "wish: true", "wish: false"},
		{"a number", set("limits.vswr[0].at_most", "1.25"), "at_most: 1.3}", "at_most: 1.25}"},
		{"words", set("to.mounts", "edge clamp, through hole"), "[edge solder, edge clamp]", "[edge clamp, through hole]"},
		{"one word of words", set("to.mounts[0]", "through hole"), "[edge solder,", "[through hole,"},
		{"the word unknown", set("environment.max_temperature", "unknown"), "max_temperature: 40 °C}", "max_temperature: unknown}"},

		{"a missing key in braces, where the schema has it", set("path.bend_radius", "20 mm"), "length: 1.2 m}", "length: 1.2 m, bend_radius: 20 mm}"},
		{"a missing key before all others", set("from.port.series", "SMA"), "kind: port, presents", "kind: port, port: {series: SMA}, presents"},
		{"a missing first key in braces", set("limits.insertion_loss[0].of", "assembly"), "to: 18 GHz}\n  ret", "to: 18 GHz, of: assembly}\n  ret"},
		{"a missing key of an indented block", set("limits.isolation[0].at_least", "60 dB"), "vswr: {at_most: 1.3}\n", "vswr: {at_most: 1.3}\n  isolation: [{at_least: 60 dB}]\n"},
		{"a missing key between, behind a block and its comment", set("limits.return_loss[1].from", "2 GHz"), "- at_least: 14 dB\n", "- at_least: 14 dB\n      from: 2 GHz\n"},
		{"a missing key at the top", set("lines", "64"), "# the lab's worst\n", "# the lab's worst\nlines: 64\n"},
		{"a missing parent and its child", set("commercial.quantity", "40"), "handling:\n", "handling:\ncommercial: {quantity: 40}\n"},
		{"a key below one without value", set("handling.matings", "500"), "handling:\n", "handling: {matings: 500}\n"},
		{"a further item in a list with dashes", set("limits.return_loss[2].at_least", "12 dB"), "wish: true # asked back\n", "wish: true # asked back\n    - {at_least: 12 dB}\n"},
		{"a further item in brackets", set("band[1].from", "20 GHz"), "to: 18 GHz}] #", "to: 18 GHz}, {from: 20 GHz}] #"},
		{"a second item beside one without dash", set("limits.vswr[1].at_most", "1.5"), "{at_most: 1.3}", "[{at_most: 1.3}, {at_most: 1.5}]"},

		{"out of braces, the last", unset("path.length"), "{through: cable, length: 1.2 m}", "{through: cable}"},
		{"out of braces, the first", unset("environment.min_temperature"), "{min_temperature: 18 °C, max", "{max"},
		{"out of a block with its comment", unset("limits.return_loss[1].wish"), "      wish: true # asked back\n", ""},
		{"the first key behind a dash", unset("limits.return_loss[1].at_least"), "at_least: 14 dB\n      of", "of"},
		{"an item with a dash", unset("limits.return_loss[0]"), "    - {at_least: 15 dB, of: launch} # per launch\n", ""},
		{"the last item with a dash", unset("limits.return_loss[1]"), "    - at_least: 14 dB\n      of: chain\n      wish: true # asked back\n", ""},
		{"the only item of brackets", unset("band[0]"), "[{from: 0.5 GHz, to: 18 GHz}]", "[]"},
		{"a whole block", unset("to.line"), "  line: {kind: coplanar, height: 0.254 mm}\n", ""},
		{"a folded text", unset("note"), "note: >-\n  two lines of\n  text\n", ""},
		{"what is not there", unset("power.average"), "", ""},
	} {
		for _, eol := range []string{"\n", "\r\n"} {
			for _, mark := range []string{"", "\ufeff"} {
				in := mark + strings.ReplaceAll(file, "\n", eol)
				want := in
				if c.old != "" {
					old, is := strings.ReplaceAll(c.old, "\n", eol), strings.ReplaceAll(c.is, "\n", eol)
					if strings.Count(in, old) != 1 {
						t.Fatalf("%s: %q stands %d times in the file", c.name, old, strings.Count(in, old))
					}
					want = strings.Replace(in, old, is, 1)
				}
				got, err := Edit("e.yaml", []byte(in), c.change)
				if err != nil {
					t.Errorf("%s (%q): %v", c.name, eol, err)
					continue
				}
				if string(got) != want {
					t.Errorf("%s (%q):\n%s\nwant\n%s", c.name, eol, got, want)
				}
			}
		}
	}
}

// A key goes behind the whole block before it, not into its text.
func TestEditAfterBlock(t *testing.T) {
	in := "title: x\nnote: |\n  one\n  # no comment\n\n  two\n\n# of the band\nband: [{from: 1 GHz, to: 2 GHz}]\n"
	got, err := Edit("e.yaml", []byte(in), set("application.class", "radar"))
	want := strings.Replace(in, "  two\n", "  two\napplication: {class: radar}\n", 1)
	if err != nil || string(got) != want {
		t.Errorf("%v\n%s\nwant\n%s", err, got, want)
	}
}

// A file without a line end at its end.
func TestEditLastLine(t *testing.T) {
	for in, want := range map[string]string{
		"title: x":                   "title: x\nlines: 4",
		"title: x # c":               "title: x # c\nlines: 4",
		"{title: x}":                 "{title: x, lines: 4}",
		"lines: 3":                   "lines: 4",
		"lines:":                     "lines: 4",
		"lines: ~":                   "lines: 4",
		"lines: null # not yet":      "lines: 4 # not yet",
		"lines: \"3\"":               "lines: \"4\"",
		"# c\nnote: x\n\n# end\n":    "# c\nnote: x\nlines: 4\n\n# end\n",
		"weights: {loss: 1}\n# end":  "lines: 4\nweights: {loss: 1}\n# end",
		"to:\n  kind: port\n\n\n# x": "to:\n  kind: port\nlines: 4\n\n\n# x",
	} {
		got, err := Edit("e.yaml", []byte(in), set("lines", "4"))
		if err != nil || string(got) != want {
			t.Errorf("%q: %v, %q, want %q", in, err, got, want)
		}
	}
}

func TestEditRefuses(t *testing.T) {
	const in = "title: x\nlimits:\n  return_loss:\n    - {at_least: 15 dB}\n"
	for _, c := range []struct {
		change Change
		want   error
	}{
		{set("titel", "y"), ErrUnknownKey},
		{set("title.more", "y"), ErrUnknownKey},
		{set("title[0]", "y"), ErrUnknownKey},
		{set("", "y"), ErrPath},
		{set(".title", "y"), ErrPath},
		{set("title..x", "y"), ErrPath},
		{set("limits[x]", "y"), ErrPath},
		{set("limits.return_loss[99999]", "y"), ErrPath},
		{set("limits", "y"), ErrPath},
		{set("path", "y"), ErrPath},
		{set("limits.return_loss[3].at_least", "9 dB"), ErrPath},
		{set("band[1].from", "9 GHz"), ErrPath},
	} {
		got, err := Edit("e.yaml", []byte(in), c.change)
		if !errors.Is(err, c.want) {
			t.Errorf("%s: %v, %q; want %v", c.change.Path, err, got, c.want)
		}
	}
	for _, bad := range []string{"", "# nothing", "a: [", "\xff\xfe", "title: x\n---\ntitle: y\n"} {
		if got, err := Edit("e.yaml", []byte(bad), set("title", "y")); err == nil {
			t.Errorf("%q: %q and no error", bad, got)
		}
	}
}

// Every value of every demo enquiry: what is written is read back, nothing else
// changes, and the old value put back gives the old bytes.
func TestEditEveryValue(t *testing.T) {
	n := 0
	for _, name := range demoEnquiries(t) {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range EnquiryFields(text) {
			if f.Value == nil {
				continue
			}
			n++
			other := map[string]string{"text": "another text", "true or false": "false", "whole number": "77", "number": "1.75", "word": ""}[f.Kind]
			switch {
			case f.Kind == "word" || f.Kind == "words":
				other = f.Options[len(f.Options)-1]
			case other == "":
				other = f.Example
			}
			edited, err := Edit(name, text, set(f.Path, other))
			if err != nil {
				t.Errorf("%s: %s: %v", name, f.Path, err)
				continue
			}
			found := false
			for _, g := range EnquiryFields(edited) {
				found = found || g.Path == f.Path && g.Value != nil && *g.Value == other
			}
			if !found {
				t.Errorf("%s: %s is not %q in\n%s", name, f.Path, other, edited)
			}
			if a, b := bytes.Count(text, []byte("\n")), bytes.Count(edited, []byte("\n")); a != b && f.Kind != "text" {
				t.Errorf("%s: %s: %d lines became %d", name, f.Path, a, b)
			}
			back, err := Edit(name, edited, set(f.Path, *f.Value))
			if err != nil {
				t.Errorf("%s: %s: %v", name, f.Path, err)
			} else if !bytes.Equal(back, text) && f.Kind != "text" && f.Kind != "words" {
				t.Errorf("%s: %s: put back, the file is\n%s", name, f.Path, back)
			}
		}
	}
	if n < 100 {
		t.Errorf("%d values were tried", n)
	}
}

func demoEnquiries(t testing.TB) []string {
	t.Helper()
	var out []string
	entries, err := os.ReadDir("../demo/files/enquiries")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		out = append(out, "../demo/files/enquiries/"+e.Name())
	}
	return out
}

// Random runs of edits over the demo enquiries: after each, every value reads
// as it was set last, whether it was there before or not, and the comments that
// stood on lines of their own still stand.
func TestEditRandom(t *testing.T) {
	const seed = 20261125
	rng := rand.New(rand.NewPCG(seed, 1))
	for _, name := range demoEnquiries(t) {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		first := strings.SplitN(string(text), "\n", 2)[0]
		want := map[string]string{}
		for _, f := range EnquiryFields(text) {
			if f.Value != nil {
				want[f.Path] = *f.Value
			}
		}
		for step := range 60 {
			fields := EnquiryFields(text)
			f := fields[rng.IntN(len(fields))]
			value := f.Example
			switch f.Kind {
			case "text":
				value = fmt.Sprintf("text %d", step)
			case "word":
				value = f.Options[rng.IntN(len(f.Options))]
			case "words":
				value = f.Options[rng.IntN(len(f.Options))]
			}
			next, err := Edit(name, text, set(f.Path, value))
			if err != nil {
				t.Fatalf("seed %d, %s, step %d: %s = %q: %v\n%s", seed, name, step, f.Path, value, err, text)
			}
			text, want[f.Path] = next, value
			got := map[string]string{}
			for _, f := range EnquiryFields(text) {
				if f.Value != nil {
					got[f.Path] = *f.Value
				}
			}
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("seed %d, %s, step %d: %s = %q:\n%v\nwant\n%v\n%s", seed, name, step, f.Path, value, got, want, text)
			}
			if !strings.HasPrefix(string(text), first) {
				t.Fatalf("seed %d, %s, step %d: the first comment is gone:\n%s", seed, name, step, text)
			}
		}
	}
}

// The form of an enquiry offers what most state, in the order of the schema.
func TestEnquiryFields(t *testing.T) {
	fields := EnquiryFields([]byte("title: x\nlimits: {insertion_loss: [{at_most: 3 dB}, {at_most: 4 dB, of: cable}]}\nto: {mounts: [edge solder, edge clamp]}\n"))
	at := map[string]Field{}
	for _, f := range fields {
		at[f.Path] = f
	}
	for path, want := range map[string]string{"title": "x", "limits.insertion_loss[0].at_most": "3 dB", "limits.insertion_loss[1].at_most": "4 dB", "limits.insertion_loss[1].of": "cable", "to.mounts": "edge solder, edge clamp"} {
		if f := at[path]; f.Value == nil || *f.Value != want {
			t.Errorf("%s: %+v, want %q", path, f, want)
		}
	}
	if f := at["band[0].from"]; f.Value != nil || !f.Required || f.Kind != "frequency" || f.Example == "" {
		t.Errorf("band[0].from: %+v", f)
	}
	if f := at["path.through"]; !reflect.DeepEqual(f.Options, enquiry.ThroughCable.Options()) {
		t.Errorf("path.through: %+v", f)
	}
	if len(EnquiryFields([]byte("a: ["))) == 0 {
		t.Error("a broken text has no form")
	}
}

func FuzzEdit(f *testing.F) {
	for _, name := range demoEnquiries(f) {
		text, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text, "path.length", "3 m")
	}
	f.Add([]byte("limits:\r\n  vswr: {at_most: 1.2}\r\n"), "limits.vswr[1].at_most", "1.5")
	f.Fuzz(func(t *testing.T, text []byte, path, value string) {
		out, err := Edit("e.yaml", text, set(path, value))
		if err != nil {
			return
		}
		again, err := Edit("e.yaml", out, set(path, value))
		if err != nil {
			t.Fatalf("%q became %q, which cannot be edited: %v", text, out, err)
		}
		if !bytes.Equal(again, out) {
			t.Fatalf("%q, then %q", out, again)
		}
	})
}

// What is no file is written to and stays what it is; through a link the file
// that is meant is written.
func TestWriteFileOverWhatIsNoFile(t *testing.T) {
	dir := t.TempDir()
	if err := WriteFile(dir, []byte("x")); err == nil {
		t.Error("a folder was written over")
	}
	if runtime.GOOS == "windows" {
		t.Skip("links and devices")
	}
	file, link := filepath.Join(dir, "file"), filepath.Join(dir, "link")
	if err := errors.Join(WriteFile(file, []byte("before")), os.Symlink(file, link), WriteFile(link, []byte("after"))); err != nil {
		t.Fatal(err)
	}
	if data, err := os.ReadFile(file); err != nil || string(data) != "after" {
		t.Errorf("through a link the file holds %q, %v", data, err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is %v, %v", info, err)
	}
	device := filepath.Join(dir, "null") // by a link: were it put aside, then only the link
	if err := errors.Join(os.Symlink(os.DevNull, device), WriteFile(device, []byte("gone"))); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(device); err != nil || info.Mode()&os.ModeDevice == 0 {
		t.Errorf("the device is %v, %v", info, err)
	}
}
