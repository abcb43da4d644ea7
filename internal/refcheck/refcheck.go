// Package refcheck serves the reference tables to the tests and records which
// row met which number of ours. Only tests import it.
//
// A test walks the rows of a table, computes what the row asks for, and calls
// Check, which compares under the row's own tolerance and records the
// comparison. A package whose tests do so has a TestMain that calls [Main]:
// after a full passing run the records must equal the committed page
// docs/validation/PACKAGE.csv, from which the root test builds
// docs/validation.md. Run the tests with -validation to rewrite the page.
package refcheck

import (
	"embed"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"sync"
	"testing"
)

//go:embed reference
var tables embed.FS

// Row is one line of a reference table.
type Row struct {
	Table, ID string            // "te11.csv", "te11-d001"
	Inputs    map[string]string // as printed; units end the names
	Quantity  string
	Value     string
	Tolerance string // machine words before the colon; error estimate in em_*.csv
	Source    string
	Status    string // published, computed, common-practice, from-memory, exact
}

// Rows returns the rows of a table, such as "te11.csv".
func Rows(t testing.TB, table string) []Row {
	t.Helper()
	rows, err := load(table)
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func load(table string) ([]Row, error) {
	f, err := tables.Open("reference/" + table)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	recs, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	col := map[string]int{}
	for i, name := range recs[0] {
		col[name] = i
	}
	var rows []Row
	for _, rec := range recs[1:] {
		r := Row{Table: table, ID: rec[col["id"]], Quantity: rec[col["quantity"]], Value: rec[col["value"]],
			Source: rec[col["source"]], Status: rec[col["status"]], Inputs: map[string]string{}}
		if i, ok := col["tolerance"]; ok {
			r.Tolerance = rec[i]
		} else {
			r.Tolerance = rec[col["error_estimate"]]
			r.Source = rec[col["method"]] + "; " + r.Source
		}
		for _, kv := range strings.Split(rec[col["inputs"]], ";") {
			if k, v, ok := strings.Cut(kv, "="); ok {
				r.Inputs[strings.TrimSpace(k)] = strings.TrimSpace(v)
			}
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// Tables returns the names of all reference tables.
func Tables() []string {
	es, _ := tables.ReadDir("reference")
	var names []string
	for _, e := range es {
		if strings.HasSuffix(e.Name(), ".csv") {
			names = append(names, e.Name())
		}
	}
	return names
}

// Has says whether the row has the named input.
func (r Row) Has(name string) bool { _, ok := r.Inputs[name]; return ok }

// Num returns the named input as a number; a missing or unreadable one ends
// the test.
func (r Row) Num(t testing.TB, name string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(r.Inputs[name], 64)
	if err != nil {
		t.Fatalf("%s: input %q is %q, not a number", r.ID, name, r.Inputs[name])
	}
	return x
}

// Want returns the row's value as a number.
func (r Row) Want(t testing.TB) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(r.Value, 64)
	if err != nil {
		t.Fatalf("%s: value %q is not a number", r.ID, r.Value)
	}
	return x
}

// Complex reads a complex number as the tables print it: 0.1-0.2j, -3j, 5.
func Complex(s string) (complex128, error) {
	return strconv.ParseComplex(strings.ReplaceAll(strings.TrimSpace(s), "j", "i"), 128)
}

// Check compares got with the row's value under the row's own tolerance
// (rel, abs, factor, exact, one-sided is not for Check) and records it.
func (r Row) Check(t testing.TB, got float64) {
	t.Helper()
	want := r.Want(t)
	words := strings.Fields(strings.SplitN(r.Tolerance, ":", 2)[0])
	if len(words) == 0 {
		t.Fatalf("%s: empty tolerance", r.ID)
	}
	num := func() float64 {
		if len(words) < 2 {
			t.Fatalf("%s: tolerance %q lacks a number", r.ID, r.Tolerance)
		}
		x, err := strconv.ParseFloat(strings.TrimRight(words[1], ",;"), 64)
		if err != nil {
			t.Fatalf("%s: tolerance %q: %v", r.ID, r.Tolerance, err)
		}
		return x
	}
	switch words[0] {
	case "rel":
		r.Within(t, got, num()*math.Abs(want))
	case "abs":
		r.Within(t, got, num())
	case "exact":
		r.Within(t, got, 0)
	case "factor":
		k := num()
		r.record(strconv.FormatFloat(got, 'g', 10, 64), got/want, "ratio")
		if !(got >= want/k && got <= want*k) {
			t.Errorf("%s: %s = %.10g, want within a factor %g of %s (%s)", r.ID, r.Quantity, got, k, r.Value, r.Source)
		}
	default:
		t.Fatalf("%s: tolerance %q needs a check of its own: use Within or Record", r.ID, r.Tolerance)
	}
}

// Within compares got with the row's value under an absolute tolerance that
// the test states and justifies, and records it.
func (r Row) Within(t testing.TB, got, tol float64) {
	t.Helper()
	want := r.Want(t)
	r.record(strconv.FormatFloat(got, 'g', 10, 64), got-want, "absolute")
	if !(math.Abs(got-want) <= tol) { // this way round, NaN fails
		t.Errorf("%s: %s = %.10g, want %s ± %.3g, off by %.3g (%s)", r.ID, r.Quantity, got, r.Value, tol, got-want, r.Source)
	}
}

// WithinComplex is [Row.Within] for a complex value; tol bounds the modulus of
// the difference.
func (r Row) WithinComplex(t testing.TB, got complex128, tol float64) {
	t.Helper()
	want, err := Complex(r.Value)
	if err != nil {
		t.Fatalf("%s: value %q: %v", r.ID, r.Value, err)
	}
	d := math.Hypot(real(got)-real(want), imag(got)-imag(want))
	r.record(fmt.Sprintf("%.8g%+.8gj", real(got), imag(got)), d, "modulus")
	if !(d <= tol) {
		t.Errorf("%s: %s = %.8g, want %s ± %.3g (%s)", r.ID, r.Quantity, got, r.Value, tol, r.Source)
	}
}

// Word compares a word, exactly, and records it.
func (r Row) Word(t testing.TB, got string) {
	t.Helper()
	r.record(got, 0, "word")
	if got != r.Value {
		t.Errorf("%s: %s is %q, want %q (%s)", r.ID, r.Quantity, got, r.Value, r.Source)
	}
}

// Record notes a comparison that the test has made itself (a one-sided bound).
func (r Row) Record(t testing.TB, got, diff float64, kind string) {
	t.Helper()
	r.record(strconv.FormatFloat(got, 'g', 10, 64), diff, kind)
}

// Record of a check against the outside world that no table row holds.
// The name is short and unique in its package; source names the publication.
func Record(t testing.TB, name, quantity, source string, want, got, tol float64) {
	t.Helper()
	r := Row{Table: "other", ID: name, Quantity: quantity, Value: strconv.FormatFloat(want, 'g', 8, 64), Source: source, Status: "published"}
	r.Within(t, got, tol)
}

type entry struct {
	Row
	got  string
	diff float64
	kind string
}

var (
	mu      sync.Mutex
	entries = map[string]entry{}
)

func (r Row) record(got string, diff float64, kind string) {
	mu.Lock()
	defer mu.Unlock()
	entries[r.Table+" "+r.ID] = entry{r, got, diff, kind}
}

var rewrite = flag.Bool("validation", false, "rewrite this package's page under docs/validation")

// Rewriting says that pages are to be rewritten: -validation was given.
func Rewriting() bool { return *rewrite }

// Header is the first line of a validation page.
var Header = []string{"table", "id", "quantity", "value", "ours", "error", "kind", "status", "source"}

// Main runs the tests and then compares the records with the committed page
// docs/validation/NAME.csv, or rewrites it under -validation. It compares only
// after a full run: no -run, -skip, -short, -bench or -fuzz.
func Main(m *testing.M, name string) {
	flag.Parse()
	code := m.Run()
	if code == 0 && fullRun() {
		if err := compare(name); err != nil {
			fmt.Println("FAIL:", err)
			code = 1
		}
	}
	os.Exit(code)
}

func fullRun() bool {
	full := true
	for _, f := range []string{"test.run", "test.skip", "test.fuzz", "test.list", "test.bench"} {
		if v := flag.Lookup(f); v != nil && v.Value.String() != "" {
			full = false
		}
	}
	return full && !testing.Short()
}

// Root returns the module's root folder, found from the working directory.
func Root() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		up := filepath.Dir(dir)
		if up == dir {
			return "", fmt.Errorf("no go.mod above the working directory")
		}
		dir = up
	}
}

func compare(name string) error {
	root, err := Root()
	if err != nil {
		return err
	}
	page := filepath.Join(root, "docs", "validation", name+".csv")
	var keys []string
	for k := range entries {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Write(Header)
	for _, k := range keys {
		e := entries[k]
		w.Write([]string{e.Table, e.ID, e.Quantity, e.Value, shorten(e.got), relative(e), e.kind, e.Status, e.Source})
	}
	w.Flush()
	if *rewrite {
		if err := os.MkdirAll(filepath.Dir(page), 0o777); err != nil {
			return err
		}
		return os.WriteFile(page, []byte(b.String()), 0o666)
	}
	old, err := os.ReadFile(page)
	if err != nil {
		return fmt.Errorf("%w; run the package's tests with -validation and commit the page", err)
	}
	if string(old) != b.String() {
		return fmt.Errorf("docs/validation/%s.csv is stale: run the package's tests with -validation, look at the difference, commit it", name)
	}
	return nil
}

// shorten keeps six significant digits, so that the page does not change with
// the last bit of a sum.
func shorten(s string) string {
	if x, err := strconv.ParseFloat(s, 64); err == nil {
		return strconv.FormatFloat(x, 'g', 6, 64)
	}
	if z, err := Complex(s); err == nil {
		return fmt.Sprintf("%.5g%+.5gj", real(z), imag(z))
	}
	return s
}

// relative prints the error to one digit, relative to the value when that is
// not zero; below 1e-9 it prints "< 1e-9".
func relative(e entry) string {
	if e.kind == "word" || e.kind == "ratio" {
		return strconv.FormatFloat(e.diff, 'g', 3, 64)
	}
	scale := 1.0
	if z, err := Complex(e.Value); err == nil && z != 0 {
		scale = math.Hypot(real(z), imag(z))
	}
	d := math.Abs(e.diff) / scale
	if d < 1e-9 {
		return "< 1e-9"
	}
	return strconv.FormatFloat(d, 'e', 0, 64)
}
