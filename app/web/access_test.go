package web

import (
	"crypto/sha256"
	_ "embed"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
)

// Two checkers look at every page: axe-core, and our own for what it leaves
// open, such as the size of targets below its threshold and the order of
// headings.
var (
	//go:embed testdata/axe/axe.min.js
	axeJS string
	//go:embed testdata/check.js
	checkerJS string
)

// rules are the success criteria of WCAG 2.2, levels A and AA.
const rules = `{runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice"]}`

// finding is what axe-core holds against a page.
type finding struct {
	ID, Impact, Help string
	Nodes            []struct {
		Target         []any
		HTML           string
		FailureSummary string `json:"failureSummary"`
	}
}

// check runs both checkers over the page as it stands.
func (b tab) check(what string) {
	b.t.Helper()
	if got := b.text(checkerJS); got != "" {
		b.t.Errorf("%s:\n%s", what, got)
	}
	b.text(axeJS + `; ""`)
	b.text(`window.axed = undefined, axe.run(document, ` + rules + `).then(r => window.axed = JSON.stringify(r.violations), e => window.axed = JSON.stringify([{ID: "the checker broke", Help: String(e)}])), ""`)
	b.wait("window.axed")
	var found []finding
	if err := json.Unmarshal([]byte(b.text("window.axed")), &found); err != nil {
		b.t.Fatal(err)
	}
	for _, f := range found {
		var s strings.Builder
		for _, n := range f.Nodes[:min(3, len(f.Nodes))] {
			fmt.Fprintf(&s, "\n\t%v %.160s\n\t\t%s", n.Target, n.HTML, strings.ReplaceAll(n.FailureSummary, "\n", " "))
		}
		b.t.Errorf("%s: %s (%s): %s, %d times%s", what, f.ID, f.Impact, f.Help, len(f.Nodes), s.String())
	}
}

// accessible checks each page and each of its states, light and dark.
func accessible(t *testing.T, w *world) {
	for _, scheme := range []string{"light", "dark"} {
		for _, p := range shots {
			b := w.tab(t, p.path)
			b.scheme(scheme)
			b.wait(p.ready)
			b.check(p.name + ", " + scheme)
		}
	}
}

// TestChecker holds the copy of axe-core against what its README says of it and
// against the version that the pages' package names.
func TestChecker(t *testing.T) {
	readme, err := os.ReadFile("testdata/axe/README.md")
	if err != nil {
		t.Fatal(err)
	}
	if sum := fmt.Sprintf("%x", sha256.Sum256([]byte(axeJS))); !strings.Contains(string(readme), sum) {
		t.Errorf("axe.min.js has the hash %s, which testdata/axe/README.md does not name", sum)
	}
	var p struct {
		DevDependencies map[string]string `json:"devDependencies"`
	}
	data, err := os.ReadFile("../../web/package.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &p); err != nil {
		t.Fatal(err)
	}
	if v := p.DevDependencies["axe-core"]; v == "" || !strings.Contains(string(readme), "version "+v+",") || !strings.Contains(axeJS[:100], "axe v"+v) {
		t.Errorf("web/package.json names axe-core %q; the copy is another, or its README says another", v)
	}
}
