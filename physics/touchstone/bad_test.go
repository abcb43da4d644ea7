package touchstone

import (
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// place is what a message must say of the first fault of a file.
type place struct {
	file         string
	line, column int
	rule         string // name of the Err or Warn value
	found        string
}

var rules = map[string]error{
	"ErrEmpty": ErrEmpty, "ErrText": ErrText, "ErrNumber": ErrNumber, "ErrPorts": ErrPorts,
	"ErrPortsDiffer": ErrPortsDiffer, "ErrOption": ErrOption, "ErrOptionRepeated": ErrOptionRepeated,
	"ErrOptionPlace": ErrOptionPlace, "ErrReference": ErrReference, "ErrReferenceCount": ErrReferenceCount,
	"ErrHybridPorts": ErrHybridPorts, "ErrKeyword": ErrKeyword, "ErrKeywordForm": ErrKeywordForm,
	"ErrKeywordPlace": ErrKeywordPlace, "ErrKeywordRepeated": ErrKeywordRepeated,
	"ErrKeywordMissing": ErrKeywordMissing, "ErrKeywordArgument": ErrKeywordArgument,
	"ErrKeywordNotAllowed": ErrKeywordNotAllowed, "ErrFrequency": ErrFrequency,
	"ErrFrequencyOrder": ErrFrequencyOrder, "ErrFrequencyCount": ErrFrequencyCount,
	"ErrPointLength": ErrPointLength, "ErrNoiseLength": ErrNoiseLength, "ErrNoisePorts": ErrNoisePorts,
	"ErrNoiseCount": ErrNoiseCount, "ErrMixedMode": ErrMixedMode, "ErrTrailing": ErrTrailing,
	"ErrTooMany": ErrTooMany, "ErrVersion": ErrVersion, "ErrPortLimit": ErrPortLimit,
	"ErrLineLimit": ErrLineLimit, "ErrNormalisation": ErrNormalisation,
	"ErrForgivenNoOption": ErrForgivenNoOption, "ErrForgivenSecondOption": ErrForgivenSecondOption, "ErrForgivenWrap": ErrForgivenWrap,
	"ErrForgivenEnd": ErrForgivenEnd, "ErrForgivenExtension": ErrForgivenExtension, "ErrForgivenKeywordForm": ErrForgivenKeywordForm,
	"ErrForgivenText": ErrForgivenText, "ErrForgivenComment": ErrForgivenComment, "ErrForgivenNoiseFrequency": ErrForgivenNoiseFrequency,
}

var broken = []place{
	{"empty.s1p", 3, 1, "ErrEmpty", "end of the file before any data"},
	{"utf16.s1p", 1, 1, "ErrText", "text in 16-bit characters"},
	{"number.s2p", 3, 13, "ErrNumber", `"0,5"`},
	{"nan.s1p", 3, 3, "ErrNumber", `"-inf"`},
	{"level.s1p", 3, 1, "ErrNumber", "a level of 9e+09 dB"},
	{"ports.txt", 2, 1, "ErrPorts", "data of an unknown number of ports"},
	{"portsdiffer.ts", 3, 19, "ErrPortsDiffer", "a 1-port in a file opened as a 4-port"},
	{"option.s1p", 1, 9, "ErrOption", `"MAG"`},
	{"optionrepeated.s1p", 1, 12, "ErrOptionRepeated", `"Y" after "S"`},
	{"optionplace.s1p", 3, 1, "ErrOptionPlace", "option line behind the first data"},
	{"reference.s1p", 1, 14, "ErrReference", `"50+j10"`},
	{"resistance.s1p", 1, 12, "ErrReference", "R without a resistance"},
	{"referencecount.s3p", 2, 1, "ErrReferenceCount", "3 ports, but 2 resistances behind R"},
	{"referencelist.ts", 6, 1, "ErrReferenceCount", "1 resistances for 2 ports"},
	{"hybridports.s3p", 2, 1, "ErrHybridPorts", "H parameters of a 3-port"},
	{"keyword.ts", 5, 1, "ErrKeyword", `"[Temperature]"`},
	{"keywordform.ts", 5, 1, "ErrKeywordForm", `"[Network Data"`},
	{"keywordpadding.ts", 5, 1, "ErrKeywordForm", `"[ Network Data ]"`},
	{"keywordplace.ts", 2, 1, "ErrKeywordPlace", "[Number of Ports] before the option line"},
	{"keywordrepeated.ts", 5, 1, "ErrKeywordRepeated", "a second [Number of Frequencies]"},
	{"keywordmissing.ts", 5, 1, "ErrKeywordMissing", "data without [Two-Port Data Order]"},
	{"keywordargument.ts", 3, 19, "ErrKeywordArgument", `"two"`},
	{"keywordinv1.s1p", 3, 1, "ErrKeywordNotAllowed", "[End] in a file without [Version]"},
	{"frequency.s1p", 2, 1, "ErrFrequency", "-1 GHz"},
	{"launch.s2p", 5, 1, "ErrFrequencyOrder", "9.95 GHz after 10 GHz"},
	{"frequencycount.ts", 7, 1, "ErrFrequencyCount", "end of the network data after 1 of 2 points"},
	{"surplus.ts", 8, 3, "ErrFrequencyCount", "point 3 of 2"},
	{"pointlength.s2p", 3, 1, "ErrPointLength", "a line of 8 numbers where a point of 9 belongs"},
	{"pointlength.s3p", 4, 1, "ErrPointLength", "a line of 7 numbers after 13 of the 19 numbers of the point of line 2"},
	{"cut.s2p", 3, 1, "ErrPointLength", "a line of 5 numbers where a point of 9 belongs"},
	{"cut.s3p", 2, 1, "ErrPointLength", "a point with 13 of its 19 numbers"},
	{"wrongports.s2p", 2, 3, "ErrPointLength", "a line of 3 numbers where a point of 9 belongs"},
	{"noiselength.s2p", 5, 1, "ErrNoiseLength", "a line of 4 numbers"},
	{"noiseports.ts", 8, 1, "ErrNoisePorts", "[Noise Data] of a 1-port"},
	{"noisecount.ts", 11, 1, "ErrNoiseCount", "end of the noise data after 1 of 2 points"},
	{"mixedmode.ts", 6, 1, "ErrMixedMode", "D1,2 without C1,2"},
	{"trailing.ts", 10, 1, "ErrTrailing", `"3 0 0"`},
	{"toomany.s1p", 3, 1, "ErrFrequencyOrder", "1 GHz after 1 GHz"},
	{"version.ts", 1, 11, "ErrVersion", "[Version] 3.0"},
	{"portlimit.s100000p", 2, 1, "ErrPortLimit", "data of a network of so many ports"},
	{"normalisation.s2p", 2, 1, "ErrNormalisation", "Z data with unlike resistances in a version 1.1 file"},
}

var forgiven = []place{
	{"nooption.s1p", 2, 1, "ErrForgivenNoOption", "data without option line"},
	{"secondoption.s1p", 3, 1, "ErrForgivenSecondOption", `"# MHz S RI R 50"`},
	{"wrap.s3p", 2, 1, "ErrForgivenWrap", "9 pairs on a line"},
	{"rows.s3p", 3, 1, "ErrForgivenWrap", "rows 1 and 2 of the matrix on one line"},
	{"noend.ts", 8, 1, "ErrForgivenEnd", "end of the file"},
	{"extension.s2p", 3, 19, "ErrForgivenExtension", "a 1-port in a file named for a 2-port"},
	{"keywordform.ts", 5, 2, "ErrForgivenKeywordForm", `"[Network_Data]"`},
	{"text.s1p", 1, 9, "ErrForgivenText", `"\u00b0C"`},
	{"noisefrequency.ts", 10, 1, "ErrForgivenNoiseFrequency", "noise data from 4 GHz, network data to 1 GHz"},
}

// known is the port count a caller gives; one file contradicts it.
func known(file string) int {
	if file == "portsdiffer.ts" {
		return 4
	}
	return 0
}

func readTest(t *testing.T, dir, file string, strict bool) (*File, error) {
	t.Helper()
	r, err := os.Open(filepath.Join("testdata", dir, file))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	return NewScanner(r, file, ReadOptions{Ports: known(file), Strict: strict}).ReadAll()
}

func checkPlace(t *testing.T, p place, err error) {
	t.Helper()
	if !errors.Is(err, rules[p.rule]) {
		t.Errorf("%s: got %v, want %s", p.file, err, p.rule)
		return
	}
	e := new(SyntaxError)
	if !errors.As(err, &e) {
		u := new(UnsupportedError)
		if !errors.As(err, &u) {
			t.Fatalf("%s: %T", p.file, err)
		}
		e = (*SyntaxError)(u)
	}
	if e.File != p.file || e.Line != p.line || e.Column != p.column || e.Found != p.found || e.Help == "" {
		t.Errorf("%s: got %d:%d: %s; want %d:%d: %s", p.file, e.Line, e.Column, e.Found, p.line, p.column, p.found)
	}
}

func TestBad(t *testing.T) {
	files, _ := os.ReadDir("testdata/bad")
	claimed := map[string]bool{}
	for _, p := range broken {
		claimed[p.file] = true
		_, err := readTest(t, "bad", p.file, false)
		var faults Faults
		if !errors.As(err, &faults) {
			t.Errorf("%s: no fault found", p.file)
			continue
		}
		checkPlace(t, p, faults[0])
	}
	for _, f := range files {
		if !claimed[f.Name()] {
			t.Errorf("testdata/bad/%s is claimed by no test", f.Name())
		}
	}
}

// What is forgiven is a fault when asked for strictly, at the same place.
func TestForgiven(t *testing.T) {
	for _, p := range forgiven {
		f, err := readTest(t, "warn", p.file, false)
		if err != nil || len(f.Warnings) != 1 || len(f.Frequency) == 0 {
			t.Errorf("%s: %v, %d warnings: %v", p.file, err, len(f.Warnings), f.Warnings)
			continue
		}
		checkPlace(t, p, f.Warnings[0])
		_, err = readTest(t, "warn", p.file, true)
		if err == nil {
			t.Errorf("%s: no fault although strict", p.file)
			continue
		}
		checkPlace(t, p, err)
	}
}

// Every rule that errors.go states has a file that breaks it.
func TestEveryRuleHasAFile(t *testing.T) {
	has := map[string]bool{
		"ErrTooMany":         true, // toomany.s1p, in TestFaultLimit
		"ErrLineLimit":       true, // TestLineLimit, too large for testdata
		"ErrForgivenComment": true, // TestCommentLimit, likewise
	}
	for _, p := range append(append([]place{}, broken...), forgiven...) {
		has[p.rule] = true
	}
	file, err := parser.ParseFile(token.NewFileSet(), "errors.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	ast.Inspect(file, func(node ast.Node) bool {
		if v, ok := node.(*ast.ValueSpec); ok {
			for _, name := range v.Names {
				if !strings.HasPrefix(name.Name, "Err") && !strings.HasPrefix(name.Name, "Warn") {
					continue
				}
				n++
				if !has[name.Name] || rules[name.Name] == nil {
					t.Errorf("%s: no file in testdata provokes it", name.Name)
				}
			}
		}
		return true
	})
	if n != len(rules) {
		t.Errorf("%d values in errors.go, %d in this test", n, len(rules))
	}
}

func TestFaultLimit(t *testing.T) {
	_, err := readTest(t, "bad", "toomany.s1p", false)
	faults := err.(Faults)
	if len(faults) != 21 || !errors.Is(faults[20], ErrTooMany) {
		t.Errorf("%d faults, the last %v", len(faults), faults[len(faults)-1])
	}
	if at := faults[20].(*SyntaxError).Line; at != 22 {
		t.Errorf("stopped in line %d, want 22, that of the 20th fault", at)
	}
}

// All faults of a file are found in one reading, and the good points survive.
func TestReadOn(t *testing.T) {
	f, err := Read(strings.NewReader(`# GHz S RI R 50
1 0 0 1 0 1 0 0 0
2 0 0 1 0 x 0 0 0
3 0 0 1 0 1 0 0
2.5 0 0 1 0 1 0 0 0
0.5 0 0 1 0 1 0 0 0
4 0 0 1 0 1 0 0 0
`), "a.s2p", 0)
	faults, _ := err.(Faults)
	var got strings.Builder
	for _, e := range faults {
		fmt.Fprintln(&got, e)
	}
	want := `a.s2p:3:11: "x": a finite decimal number must stand here; write it like -12.5 or 3.1e-4
a.s2p:4:1: a line of 8 numbers where a point of 9 belongs: a point is its frequency and one pair of numbers for each parameter; look for numbers lost or doubled here and above
a.s2p:6:1: 0.5 GHz after 2.5 GHz: frequencies must increase; sort the data lines, or split the sweep into two files
`
	if got.String() != want {
		t.Errorf("got\n%swant\n%s", got.String(), want)
	}
	if fmt.Sprint(f.Frequency) != "[1e+09 2.5e+09 4e+09]" {
		t.Errorf("points at %v", f.Frequency)
	}
}

func TestUnsupportedIsNotBroken(t *testing.T) {
	for file, want := range map[string]bool{"version.ts": true, "normalisation.s2p": true, "portlimit.s100000p": true, "number.s2p": false, "keyword.ts": false} {
		_, err := readTest(t, "bad", file, false)
		u := new(UnsupportedError)
		if got := errors.As(err, &u); got != want {
			t.Errorf("%s: unsupported %v, want %v: %v", file, got, want, err)
		}
	}
}

// zeros is an endless line.
type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = '0'
	}
	return len(p), nil
}

func TestLineLimit(t *testing.T) {
	_, err := Read(io.MultiReader(strings.NewReader("# GHz S RI R 50\n"), zeros{}), "a.s1p", 0)
	checkPlace(t, place{"a.s1p", 2, 1, "ErrLineLimit", "a line that does not end"}, err)
}

func TestCommentLimit(t *testing.T) {
	text := "# GHz S RI R 50\n" + strings.Repeat("!"+strings.Repeat("x", 1<<10)+"\n", 1<<11) + "1 0 0\n"
	f, err := Read(strings.NewReader(text), "a.s1p", 0)
	if err != nil || len(f.Warnings) != 1 || len(f.Comments) > 1024 || len(f.Comments) < 900 {
		t.Fatalf("%v, %v, %d comments kept", err, f.Warnings, len(f.Comments))
	}
	if !errors.Is(f.Warnings[0], ErrForgivenComment) {
		t.Error(f.Warnings[0])
	}
}

type failing struct{}

var errDisk = errors.New("disk on fire")

func (failing) Read([]byte) (int, error) { return 0, errDisk }

func TestReaderError(t *testing.T) {
	f, err := Read(io.MultiReader(strings.NewReader("# GHz S RI R 50\n1 0 0\n2 0"), failing{}), "a.s1p", 0)
	if !errors.Is(err, errDisk) || len(f.Frequency) != 1 {
		t.Errorf("%v, %d points", err, len(f.Frequency))
	}
}
