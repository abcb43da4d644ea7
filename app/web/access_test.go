package web

import (
	"crypto/sha256"
	_ "embed"
	"encoding/json"
	"fmt"
	"os"
	"slices"
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

// lit are the rules that depend on the colours of a scheme.
const lit = `{runOnly: {type: "rule", values: ["color-contrast", "link-in-text-block"]}}`

// check runs both checkers over the page as it stands.
func (b tab) check(what, rules string) {
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

// accessible checks each page with the demo's data, and each page of states with
// its fixed data, light and dark.
func accessible(t *testing.T, w *world) {
	for _, scheme := range []string{"light", "dark"} {
		b := w.tab(t, "/states")
		b.scheme(scheme)
		for _, p := range shots {
			b.open(w.url + p.path)
			b.wait(p.ready)
			b.check(p.name+", "+scheme, rules)
		}
	}
}

func (w *world) states(t *testing.T, b tab) []string {
	t.Helper()
	b.open(w.url + "/states")
	b.wait(`document.querySelector(".states a")`)
	list := strings.Fields(b.text(`[...document.querySelectorAll(".states a")].map(e => e.getAttribute("href")).join(" ")`))
	// Each page has these four; what has no data of its own needs no full state.
	for _, page := range []string{"enquiries", "answers", "chain", "chains"} {
		for _, state := range []string{"empty", "loading", "wrong", "full"} {
			if !slices.ContainsFunc(list, func(s string) bool { return strings.HasPrefix(s+"?", "/states/"+page+"/"+state+"?") }) {
				t.Errorf("the page %s is not shown %s", page, state)
			}
		}
	}
	return list
}

func everyState(t *testing.T, w *world) {
	for _, scheme := range []string{"light", "dark"} {
		b := w.tab(t, "/states")
		b.scheme(scheme)
		for _, path := range w.states(t, b) {
			b.open(w.url + path)
			b.wait(`document.querySelector(".staged") && document.querySelector("main h1, main .fault, main [role=status]")`)
			if strings.Contains(path, "origin") {
				b.wait(`document.querySelector(".where-from")`)
			}
			if !strings.Contains(path, "loading") && !strings.Contains(path, "waiting") && !strings.Contains(path, "running") {
				b.wait(`!document.querySelector("main p.wait")`)
			}
			if strings.Contains(b.text(`document.body.textContent`), "no fixed answer") {
				t.Errorf("%s asks for what it has no data for", path)
			}
			b.check(path+", "+scheme, map[string]string{"light": rules, "dark": lit}[scheme])
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
