package cli

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

const examplesDir = "../../examples"

var number = regexp.MustCompile(`[-−]?\d+(\.\d+)?([eE][-+]?\d+)?`)

// alike says whether two texts have the same words, and numbers that differ by
// at most one in the last digit that the first text shows.
func alike(want, got string) bool {
	if strings.Join(strings.Fields(number.ReplaceAllString(want, "#")), " ") != strings.Join(strings.Fields(number.ReplaceAllString(got, "#")), " ") {
		return false
	}
	a, b := number.FindAllString(want, -1), number.FindAllString(got, -1)
	for i := range a {
		x, errX := strconv.ParseFloat(strings.Replace(a[i], "−", "-", 1), 64)
		y, errY := strconv.ParseFloat(strings.Replace(b[i], "−", "-", 1), 64)
		if errX != nil || errY != nil || !(math.Abs(x-y) <= 1.000001*lastDigit(a[i])) {
			return false
		}
	}
	return true
}

// lastDigit is the worth of a number's last digit.
func lastDigit(text string) float64 {
	mantissa, exponent, _ := strings.Cut(strings.ToLower(text), "e")
	e, _ := strconv.Atoi(exponent)
	if _, decimals, ok := strings.Cut(mantissa, "."); ok {
		e -= len(decimals)
	}
	return math.Pow(10, float64(e))
}

// The pages whose answer no row of the tables holds, and what stands for one.
var otherwise = map[string]string{"end-launch": "its lines by the solver of lines, and finer grids"}

// Every command on the pages of examples prints what the page shows and draws
// the picture beside it; every number called ours stands in such a block and
// meets the reference row it names.
func TestExamples(t *testing.T) {
	pages, err := filepath.Glob(examplesDir + "/*/README.md")
	if err != nil || len(pages) < 4 {
		t.Fatal(len(pages), "pages", err)
	}
	rows := map[string]refcheck.Row{}
	for _, table := range []string{"em_coax.csv", "em_tline.csv", "em_3d.csv"} {
		for _, r := range refcheck.Rows(t, table) {
			rows[r.ID] = r
		}
	}
	for _, page := range pages {
		folder := filepath.Base(filepath.Dir(page))
		data, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		source, err := filepath.Abs(filepath.Dir(page))
		if err != nil {
			t.Fatal(err)
		}
		t.Run(folder, func(t *testing.T) {
			t.Chdir(t.TempDir())
			if err := os.CopyFS(".", os.DirFS(source)); err != nil {
				t.Fatal(err)
			}
			drawn, _ := filepath.Glob("*.svg")
			painted, _ := filepath.Glob("*.png")
			for _, name := range append(painted, drawn...) {
				if err := os.Remove(name); err != nil {
					t.Fatal(err)
				}
			}
			shown := runBlocks(t, string(data))
			for _, name := range painted { // its colours are judged by eye
				if _, err := os.Stat(name); err != nil || !strings.Contains(string(data), "]("+name+")") {
					t.Errorf("the page draws no %s, or does not show it", name)
				}
			}
			for _, name := range drawn {
				got, err := os.ReadFile(name)
				if err != nil {
					t.Errorf("no command of the page draws %s", name)
					continue
				}
				want, err := os.ReadFile(filepath.Join(source, name))
				if err != nil {
					t.Fatal(err)
				}
				if !alike(string(want), string(got)) {
					t.Errorf("%s is stale: draw it anew with the page's command", name)
				}
				if !strings.Contains(string(data), "]("+name+")") {
					t.Errorf("the page does not show %s", name)
				}
			}
			if n := checkRows(t, string(data), shown, rows); n < 3 && otherwise[folder] == "" {
				t.Errorf("%d reference rows are met, want 3 at least", n)
			}
		})
	}
}

// runBlocks runs the commands of a page and returns the blocks, all of which
// were found in the output.
func runBlocks(t *testing.T, page string) string {
	t.Helper()
	var shown strings.Builder
	for i, block := range strings.Split(page, "```") {
		command, want, ok := strings.Cut(strings.TrimPrefix(block, "\n"), "\n")
		if i%2 == 0 || !ok || !strings.HasPrefix(command, "$ linewright ") {
			continue
		}
		shown.WriteString(want)
		var out, errOut bytes.Buffer
		if code := run(context.Background(), strings.Fields(command)[2:], nil, &out, &errOut); code != ExitMet {
			t.Errorf("%s: exit status %d\n%s", command, code, errOut.String())
			continue
		}
		got := strings.Split(out.String(), "\n")
		at := 0
		for _, line := range strings.Split(strings.TrimSpace(want), "\n") {
			if strings.TrimSpace(line) == "…" || strings.TrimSpace(line) == "" {
				continue
			}
			found := at
			for found < len(got) && !alike(line, got[found]) {
				found++
			}
			if found == len(got) {
				t.Errorf("%s\nno longer prints %q\n%s", command, line, out.String())
				break
			}
			at = found + 1
		}
	}
	return shown.String()
}

var tableRow = regexp.MustCompile(`(?m)^\| ([a-z]+-S\d+\w?\.\d+) \| ([^|]*) \| (-?[\d.]+) ?([^|]*?) \|(?: ([\d.]+) % \|)?$`)

// checkRows compares the numbers called ours with the rows they name, to half of
// their last digit and the row's own error, or to the share that the page states.
func checkRows(t *testing.T, page, shown string, rows map[string]refcheck.Row) (met int) {
	t.Helper()
	scale := map[string]float64{"fF": 1e15, "pF/m": 1e12, "nH/m": 1e9, "Ω": 1, "deg": 1, "1/m": 1, "": 1}
	for _, m := range tableRow.FindAllStringSubmatch(page, -1) {
		id, text, unit := m[1], m[3], m[4]
		r, ok := rows[id]
		if !ok {
			t.Errorf("no reference row is called %s", id)
			continue
		}
		if !strings.Contains(shown, text) {
			t.Errorf("%s: %s stands in no block of the page", id, text)
		}
		want := r.Want(t)
		own, err := strconv.ParseFloat(r.Tolerance, 64) // of these tables: the error of the row's value
		if err != nil {
			t.Fatal(err)
		}
		if unit == "dB" {
			own *= 20 / math.Ln10 / want
			want = 20 * math.Log10(want)
		} else if s, ok := scale[unit]; ok {
			want, own = want*s, own*s
		} else {
			t.Errorf("%s: unit %q", id, unit)
		}
		tol := 0.5*lastDigit(text)*(1+1e-6) + own
		if m[5] != "" {
			share, err := strconv.ParseFloat(m[5], 64)
			if err != nil {
				t.Fatal(err)
			}
			tol = share / 100 * math.Abs(want)
		}
		got, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		if !(math.Abs(got-want) <= tol) {
			t.Errorf("%s: the page says %s %s, the row %.9g", id, text, unit, want)
			continue
		}
		met++
	}
	return met
}
