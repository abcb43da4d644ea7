package linewright

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

// order is the block of ARCHITECTURE.md that says which package may import
// which: the rows from the top floor down, and within a row from the bottom up.
type order struct {
	floor []string
	at    map[string][2]int // package path below the module: its row, its place
}

func readOrder(t *testing.T) order {
	t.Helper()
	data, err := os.ReadFile("ARCHITECTURE.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(data), "```order\n")
	block, _, ok2 := strings.Cut(rest, "```")
	if !ok || !ok2 {
		t.Fatal("ARCHITECTURE.md has no ```order block")
	}
	o := order{at: map[string][2]int{}}
	for row, line := range strings.Split(strings.TrimSpace(block), "\n") {
		words := strings.Fields(line)
		o.floor = append(o.floor, words[0])
		for place, p := range words[1:] {
			o.at[words[0]+"/"+p] = [2]int{row, place}
		}
	}
	return o
}

// allows says whether package a may import package b.
func (o order) allows(a, b string) bool {
	x, y := o.at[a], o.at[b]
	return y[0] > x[0] || y[0] == x[0] && y[1] < x[1]
}

// owner is the listed package that a package without a place of its own
// belongs to: what stands under internal belongs to the package above.
func (o order) owner(p string) string {
	for q := p; q != "." && q != "/"; q = filepath.Dir(q) {
		if _, ok := o.at[q]; ok {
			return q
		}
	}
	return ""
}

type goPackage struct {
	ImportPath string
	Standard   bool
	Imports    []string
}

func goList(t *testing.T) []goPackage {
	t.Helper()
	out, err := exec.Command("go", "list", "-json=ImportPath,Standard,Imports", "./...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var ps []goPackage
	d := json.NewDecoder(strings.NewReader(string(out)))
	for d.More() {
		var p goPackage
		if err := d.Decode(&p); err != nil {
			t.Fatal(err)
		}
		ps = append(ps, p)
	}
	return ps
}

const module = "linewright/"

// Imports go down the house, as ARCHITECTURE.md says, and the lower floors
// depend on little.
func TestImportOrder(t *testing.T) {
	o := readOrder(t)
	for _, p := range goList(t) {
		name, ok := strings.CutPrefix(p.ImportPath, module)
		if !ok || strings.HasPrefix(name, "internal/") || strings.Contains(name, "/internal/kernel/gen") {
			continue
		}
		floor, _, _ := strings.Cut(name, "/")
		shared := strings.HasPrefix(name, floor+"/internal/") // belongs to a whole floor
		from := o.owner(name)
		if from == "" && !shared {
			t.Errorf("%s has no place in ARCHITECTURE.md: add it to the order block", name)
			continue
		}
		for _, imp := range p.Imports {
			to, ours := strings.CutPrefix(imp, module)
			switch {
			case ours && strings.HasPrefix(to, "internal/refcheck"):
				t.Errorf("%s imports %s, which is for tests", name, to)
			case ours && strings.HasPrefix(to, "internal/"), ours && strings.HasPrefix(to, floor+"/internal/"):
			case ours && shared:
				t.Errorf("%s belongs to a whole floor and imports %s of it", name, to)
			case ours:
				if owner := o.owner(to); owner == "" {
					t.Errorf("%s imports %s, which has no place in ARCHITECTURE.md", name, to)
				} else if owner != from && !o.allows(from, owner) {
					t.Errorf("%s imports %s: imports go downward or to the left only", name, to)
				}
			case floor != "app" && floor != "cmd" && strings.Contains(strings.SplitN(imp, "/", 2)[0], "."):
				if !strings.HasPrefix(imp, "gonum.org/v1/gonum/") && !strings.HasPrefix(imp, "golang.org/x/sys/") {
					t.Errorf("%s imports %s: below app only the standard library, Gonum and golang.org/x/sys are used", name, imp)
				}
			case floor != "app" && floor != "cmd" && slices.Contains([]string{"net/http", "database/sql", "os/exec", "html/template"}, imp):
				t.Errorf("%s imports %s, which only app knows", name, imp)
			}
		}
	}
}

// No package below app reads the clock, the environment or a file of its own
// choosing.
func TestLowerFloorsAskNobody(t *testing.T) {
	calls := regexp.MustCompile(`\b(time\.Now|os\.(Open|Create|ReadFile|WriteFile|Getenv|Stat))\(`)
	for _, file := range goFiles(t) {
		top, _, _ := strings.Cut(file, "/")
		if strings.HasSuffix(file, "_test.go") || strings.Contains(file, "/gen/") || !slices.Contains([]string{"physics", "hardware", "job"}, top) {
			continue
		}
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for i, line := range strings.Split(string(data), "\n") {
			code, _, _ := strings.Cut(line, "//")
			if m := calls.FindString(code); m != "" {
				t.Errorf("%s:%d: %s…): below app a reader, a seed or a time is passed in", file, i+1, m)
			}
		}
	}
}

func goFiles(t *testing.T) []string {
	t.Helper()
	var files []string
	err := filepath.WalkDir(".", func(path string, d os.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == ".git" || d.Name() == "testdata"):
			return filepath.SkipDir
		case strings.HasSuffix(path, ".go"):
			files = append(files, filepath.ToSlash(path))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// Every key cited in a comment has an entry in the bibliography, and every
// entry is cited.
func TestBibliography(t *testing.T) {
	data, err := os.ReadFile("docs/references.bib")
	if err != nil {
		t.Fatal(err)
	}
	entries := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^@\w+\{([^,\s]+),`).FindAllStringSubmatch(string(data), -1) {
		if entries[m[1]] {
			t.Errorf("docs/references.bib: %s stands twice", m[1])
		}
		entries[m[1]] = true
	}
	cited := map[string]bool{}
	cite := regexp.MustCompile(`\[([a-z][a-z0-9]+)\]`)
	for _, file := range goFiles(t) {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for i, line := range strings.Split(string(data), "\n") {
			_, comment, ok := strings.Cut(line, "//")
			if !ok {
				continue
			}
			for _, m := range cite.FindAllStringSubmatch(comment, -1) {
				key := m[1]
				if entries[key] {
					cited[key] = true
				} else if regexp.MustCompile(`^[a-z]+(1[89]|20)[0-9]{2}[a-z]?$`).MatchString(key) {
					t.Errorf("%s:%d: [%s] has no entry in docs/references.bib", file, i+1, key)
				}
			}
		}
	}
	for key := range entries {
		if !cited[key] {
			t.Errorf("docs/references.bib: nobody cites %s", key)
		}
	}
}

// What must not stand in a repository: the name of a package registry's host,
// or the paths of one machine.
func TestNothingLocal(t *testing.T) {
	out, err := exec.Command("git", "ls-files").Output()
	if err != nil {
		t.Skip("not a git checkout")
	}
	local := regexp.MustCompile(`proxy\.golang|registry\.npm|deb\.debian|(^|[\s"'(])/(work|tmp|root|home)/`)
	for _, file := range strings.Fields(string(out)) {
		if strings.HasSuffix(file, ".s") || strings.HasPrefix(file, "internal/refcheck/reference/") || file == "house_test.go" {
			continue
		}
		data, err := os.ReadFile(file)
		if err != nil {
			continue // removed in the work tree
		}
		for i, line := range strings.Split(string(data), "\n") {
			if m := local.FindString(line); m != "" {
				t.Errorf("%s:%d names %q", file, i+1, m)
			}
		}
	}
}

// docs/validation.md is written from the pages that the packages' tests have
// written of what they met.
func TestValidationPage(t *testing.T) {
	want := validationPage(t)
	if refcheck.Rewriting() {
		if err := os.WriteFile("docs/validation.md", []byte(want), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	got, err := os.ReadFile("docs/validation.md")
	if err != nil {
		t.Fatalf("%v; write it with: go test . -validation", err)
	}
	if string(got) != want {
		t.Error("docs/validation.md is stale: write it with: go test . -validation, look at the difference, commit it")
	}
}

type validated struct {
	pkg string
	row []string // as refcheck.Header
}

func validationPage(t *testing.T) string {
	t.Helper()
	pages, err := filepath.Glob("docs/validation/*.csv")
	if err != nil || len(pages) == 0 {
		t.Fatalf("no pages under docs/validation: %v", err)
	}
	sort.Strings(pages)
	byTable := map[string][]validated{}
	met := map[string]bool{}
	for _, page := range pages {
		f, err := os.Open(page)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(f).ReadAll()
		f.Close()
		if err != nil {
			t.Fatalf("%s: %v", page, err)
		}
		pkg := strings.ReplaceAll(strings.TrimSuffix(filepath.Base(page), ".csv"), "-", "/")
		for _, r := range rows[1:] {
			byTable[r[0]] = append(byTable[r[0]], validated{pkg, r})
			met[r[0]+" "+r[1]] = true
		}
	}
	var b strings.Builder
	b.WriteString("# Checked against the outside world\n\nWritten by the tests themselves; do not edit. Each line is a check that the named package's tests make: the reference row, its value, ours, " +
		"and the relative error (absolute where the value is zero; the ratio for one-sided bounds). Sources are in the last column, shortened; the tables are in `internal/refcheck/reference`.\n\n")
	b.WriteString("| table | rows | met by a test | not covered |\n| --- | --- | --- | --- |\n")
	var missing strings.Builder
	for _, table := range refcheck.Tables() {
		rows := refcheck.Rows(t, table)
		n := 0
		var ids []string
		for _, r := range rows {
			if met[table+" "+r.ID] {
				n++
			} else {
				ids = append(ids, r.ID)
			}
		}
		fmt.Fprintf(&b, "| %s | %d | %d | %d |\n", table, len(rows), n, len(ids))
		if len(ids) > 0 {
			fmt.Fprintf(&missing, "- **%s**: %s\n", table, strings.Join(ids, " "))
		}
	}
	if missing.Len() > 0 {
		b.WriteString("\n## Rows no test covers\n\n" + missing.String())
	}
	var tables []string
	for table := range byTable {
		tables = append(tables, table)
	}
	sort.Strings(tables)
	cell := func(s string, most int) string {
		s = strings.ReplaceAll(strings.ReplaceAll(s, "|", "/"), "\n", " ")
		if rs := []rune(s); len(rs) > most {
			s = string(rs[:most-1]) + "…"
		}
		return s
	}
	for _, table := range tables {
		fmt.Fprintf(&b, "\n## %s\n\n| id | quantity | value | ours | error | standing | package | source |\n| --- | --- | --- | --- | --- | --- | --- | --- |\n", table)
		list := byTable[table]
		sort.SliceStable(list, func(i, k int) bool { return list[i].row[1] < list[k].row[1] })
		for _, v := range list {
			r := v.row
			fmt.Fprintf(&b, "| %s | %s | %s | %s | %s | %s | %s | %s |\n", cell(r[1], 60), cell(r[2], 60), cell(r[3], 24), cell(r[4], 24), r[5], r[7], v.pkg, cell(r[8], 90))
		}
	}
	return b.String()
}

// Every package has tests, and says what it is.
func TestEveryPackageSpeaks(t *testing.T) {
	for _, p := range goList(t) {
		name := strings.TrimPrefix(p.ImportPath, module)
		if name == "linewright" || strings.Contains(name, "/gen") {
			continue
		}
		files, err := filepath.Glob(filepath.Join(name, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		doc := regexp.MustCompile(`(?m)^(// Package |// Linewright )`)
		said := false
		for _, f := range files {
			if data, err := os.ReadFile(f); err == nil && doc.Match(data) {
				said = true
			}
		}
		if !said {
			t.Errorf("%s has no package comment", name)
		}
	}
}
