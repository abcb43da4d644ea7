package web

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io/fs"
	"maps"
	"math"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"linewright/app/demo"
	"linewright/app/workspace"
)

var screens = flag.String("screens", "", "folder to write pictures of the pages into")

// TestBrowser walks through the pages in a real browser without a window.
func TestBrowser(t *testing.T) {
	binary := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			binary = p
			break
		}
	}
	if binary == "" {
		t.Skip("no browser: install Debian's package chromium to run the tests of the pages")
	}
	if testing.Short() {
		t.Skip("a browser takes a while")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.DisableGPU, chromedp.NoSandbox, chromedp.ExecPath(binary), chromedp.UserDataDir(t.TempDir()))
	alloc, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	defer cancel()
	browser, cancel := chromedp.NewContext(alloc)
	defer cancel()
	if err := chromedp.Do(browser, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("%s does not start: %v", binary, err)
	}
	w := &world{browser: browser, dir: t.TempDir()}
	if err := os.CopyFS(w.dir, demo.Files()); err != nil {
		t.Fatal(err)
	}
	w.url = serveFolder(t, w.dir)
	for _, c := range []struct {
		name string
		run  func(*testing.T, *world)
	}{
		{"three clicks to a ranked chain", threeClicks}, {"an edited limit changes the ranking", editedLimit}, {"a changed file is shown, not overwritten", changedFile},
		{"swapping a cable changes every number", swapCable}, {"a good file", goodFile}, {"a broken file", brokenFile}, {"a job outlives a reload", jobReload},
		{"a new enquiry", newEnquiry}, {"two tabs", twoTabs}, {"a line", aLine}, {"a section solved", aSection}, {"a body solved", aBody}, {"a field solved", aField}, {"keyboard only", keyboard}, {"a link shows the same", linked},
		{"a swap is kept", keepSwap}, {"a board line after an edit", boardLine}, {"where numbers come from", origins}, {"a yield in full", yieldResult}, {"accessible", accessible}, {"every state", everyState}, {"wide and narrow", widths}, {"printed", printed}, {"many", many},
	} {
		t.Run(c.name, func(t *testing.T) { c.run(t, w) })
	}
	if *screens != "" {
		t.Run("screens", func(t *testing.T) { pictures(t, w) })
	}
}

type world struct {
	browser  context.Context
	dir, url string
}

// serveFolder serves a workspace for the test's duration.
func serveFolder(t *testing.T, dir string) string {
	t.Helper()
	ws, err := workspace.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(Options{Workspace: ws, Demo: true, Poll: 100 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	h := httptest.NewServer(s)
	t.Cleanup(func() { s.Hangup(); h.CloseClientConnections(); h.Close(); s.Close() })
	return h.URL
}

// tab is one tab of the browser.
type tab struct {
	t   *testing.T
	ctx context.Context
}

func (w *world) tab(t *testing.T, path string) tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(w.browser)
	ctx, stop := context.WithTimeout(ctx, 180*time.Second)
	t.Cleanup(func() { stop(); cancel() })
	b := tab{t, ctx}
	if err := chromedp.Listen(ctx, b.overhear(w.url)); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.EmulateViewport(1280, 900))
	if _, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}); err != nil {
		t.Fatal(err)
	}
	b.open(w.url + path)
	return b
}

// overhear fails the test when a page asks anybody but its own server for
// anything, or when one of its scripts breaks.
func (b tab) overhear(own string) func(any) {
	return func(ev any) {
		switch e := ev.(type) {
		case *network.EventRequestWillBeSent:
			if u := e.Request.URL; !strings.HasPrefix(u, own+"/") && !strings.HasPrefix(u, "data:") && !strings.HasPrefix(u, "blob:"+own+"/") && u != "about:blank" {
				b.t.Errorf("a page asks for %.200s", u)
			}
		case *runtime.EventExceptionThrown:
			b.t.Errorf("a script broke: %s %s", e.ExceptionDetails.Text, e.ExceptionDetails.Exception.Description)
		}
	}
}

func (b tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

func (b tab) open(url string) { b.t.Helper(); b.do(chromedp.Navigate(url)) }

func (b tab) text(js string) string {
	b.t.Helper()
	s, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](js))
	if err != nil {
		b.t.Fatalf("%s: %v", js, err)
	}
	return s
}

// wait polls until a JavaScript expression is true.
func (b tab) wait(js string) {
	b.t.Helper()
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(25 * time.Millisecond) {
		ok, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool]("!!("+js+")"))
		if err == nil && ok {
			return
		}
		if time.Now().After(end) || b.ctx.Err() != nil {
			b.t.Fatalf("waited in vain for %s (%v); the page says:\n%.1500s", js, err, b.text("document.body.innerText"))
		}
	}
}

// click clicks the first element of a selector whose text holds words, as a
// user would find it; it waits for it.
func (b tab) click(selector, words string) {
	b.t.Helper()
	find := fmt.Sprintf("[...document.querySelectorAll(%q)].find(e => e.textContent.includes(%q) && !e.disabled)", selector, words)
	b.wait(find)
	b.text(find + `.click(), ""`)
}

// typeInto replaces an input's text and leaves it.
func (b tab) typeInto(selector, text string) {
	b.t.Helper()
	b.wait(fmt.Sprintf("document.querySelector(%q)", selector))
	b.text(fmt.Sprintf(`(e => { e.focus(); e.value = %q; e.dispatchEvent(new Event("input", {bubbles: true})); e.dispatchEvent(new Event("change", {bubbles: true})); return "" })(document.querySelector(%q))`, text, selector))
}

// request calls the API from the page.
func (b tab) request(method, path, body string) string {
	b.t.Helper()
	b.text(fmt.Sprintf(`window.got = undefined, fetch("/api/v1" + %q, {method: %q, body: %q || undefined, headers: {"Content-Type": "application/json"}}).then(r => r.text()).then(x => window.got = x || " "), ""`, path, method, body))
	b.wait("window.got")
	return b.text("window.got")
}

func threeClicks(t *testing.T, w *world) {
	b := w.tab(t, "/")
	b.click("a.title", "From this board to that one") // 1
	b.wait(`document.querySelector(".ranking tbody tr")`)
	if got := b.text(`document.querySelector(".ranking tbody th").textContent`); !strings.Contains(got, " + ") {
		t.Errorf("first ranked chain reads %q", got)
	}
	b.click(".ranking a.open", "+") // 2
	b.wait(`document.querySelectorAll(".ledger .piecename").length >= 5 && document.querySelectorAll("svg.hardware .piece").length >= 5`)
	b.do(chromedp.NavigateBack())
	b.wait(`location.pathname.endsWith("d6-board-to-board-cable") && document.querySelector(".ranking")`)
}

func editedLimit(t *testing.T, w *world) {
	b := w.tab(t, "/enquiry/d6-board-to-board-cable")
	b.wait(`document.querySelectorAll(".ranking tbody tr").length`)
	before := b.text(`document.querySelector(".ranking tbody").innerText`)
	b.typeInto(`[data-path="limits.insertion_loss[0].at_most"]`, "3.0 dB")
	b.wait(fmt.Sprintf(`document.querySelector(".ranking tbody") && document.querySelector(".ranking tbody").innerText !== %q && location.search.includes("3.0")`, before))
	b.wait(`document.querySelector("[data-path='limits.insertion_loss[0].at_most']").value === "3.0 dB"`)
	b.click("button", "Undo")
	b.wait(`document.querySelector("[data-path='limits.insertion_loss[0].at_most']").value === "3.2 dB"`)
	b.click("button", "Redo")
	b.wait(`document.querySelector("[data-path='limits.insertion_loss[0].at_most']").value === "3.0 dB"`)
	b.typeInto(`[data-path="limits.insertion_loss[0].at_most"]`, "3 bananas")
	b.wait(`document.querySelector(".sheet .fault")`)
}

func changedFile(t *testing.T, w *world) {
	name := filepath.Join(w.dir, "enquiries", "d1-bench-jumpers.yaml")
	b := w.tab(t, "/enquiry/d1-bench-jumpers")
	b.typeInto(`[data-path="limits.insertion_loss[0].at_most"]`, "2.4 dB")
	b.wait(`[...document.querySelectorAll("button")].some(e => e.textContent === "Save to file" && !e.disabled)`)
	old, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	other := strings.Replace(string(old), "quantity: 40", "quantity: 41", 1)
	if err := os.WriteFile(name, []byte(other), 0o644); err != nil {
		t.Fatal(err)
	}
	b.click("button", "Save to file")
	b.wait(`[...document.querySelectorAll(".fault pre")].some(e => e.textContent.includes("quantity: 41"))`)
	if now, _ := os.ReadFile(name); string(now) != other {
		t.Error("the file was overwritten")
	}
	b.click("button", "Lay my changes over it")
	b.wait(`![...document.querySelectorAll(".fault pre")].length`)
	if now, _ := os.ReadFile(name); !strings.Contains(string(now), "2.4 dB") || !strings.Contains(string(now), "quantity: 41") || !strings.Contains(string(now), "# Invented") {
		t.Errorf("after both changes the file reads:\n%s", now)
	}
}

func swapCable(t *testing.T, w *world) {
	b := w.tab(t, "/enquiry/d6-board-to-board-cable/chain/p1?piece=3")
	b.wait(`document.querySelectorAll(".instead .swap:not(:disabled)").length`)
	cell := `JSON.stringify([...document.querySelectorAll(".ledger tbody tr")].map(r => (r.querySelector("th b") || r).textContent))`
	before := b.text(cell)
	b.click(".instead .swap", "")
	b.wait(`location.search.includes("s=part") && !document.querySelector("[aria-busy=true]")`)
	b.wait(cell + " !== " + fmt.Sprintf("%q", before))
	var was, is []string
	if json.Unmarshal([]byte(before), &was) != nil || json.Unmarshal([]byte(b.text(cell)), &is) != nil {
		t.Fatal("the ledger cannot be read")
	}
	for i, row := range []string{"loss", "return loss", "delay"} {
		if was[i] == is[i] {
			t.Errorf("%s stays %s with another cable", row, is[i])
		}
	}
	b.click("button", "Undo")
	b.wait(cell + " === " + fmt.Sprintf("%q", before))
}

// sample is a matched attenuator over the band of the demo enquiry.
func sample() string {
	var s strings.Builder
	s.WriteString("! planes: mating faces of both connectors\n# GHz S DB R 50\n")
	for i := range 161 {
		f := 24 + 0.1*float64(i)
		fmt.Fprintf(&s, "%.2f -18 %.2f -3.0 %.2f -3.0 %.2f -18 %.2f\n", f, -7*f, -3*f, -3*f, -7*f)
	}
	return s.String()
}

func drop(t *testing.T, b tab, name, text string) {
	t.Helper()
	p := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(p, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.SetUploadFiles("input[type=file]", []string{p}))
}

func goodFile(t *testing.T, w *world) {
	b := w.tab(t, "/measured?enquiry=d6-board-to-board-cable&rank=1&chain_planes=true")
	b.wait(`document.querySelector("input[type=file]")`)
	drop(t, b, "sample.s2p", sample())
	b.wait(`document.querySelector(".file table caption") && document.querySelectorAll(".file svg[role=slider]").length === 2`)
	if got := b.text(`document.querySelector(".file").innerText`); !strings.Contains(got, "161 points") || !strings.Contains(got, "meets") || !strings.Contains(got, "predicted") {
		t.Errorf("the page says:\n%s", got)
	}
}

func brokenFile(t *testing.T, w *world) {
	b := w.tab(t, "/measured")
	b.wait(`document.querySelector("input[type=file]")`)
	drop(t, b, "broken.s2p", "# GHz S DB R 50\n1 0 0 banana\n")
	b.wait(`document.querySelector(".file .fault")`)
	if got := b.text(`document.querySelector(".file .fault").innerText`); !strings.Contains(got, "broken.s2p:2:7") || !strings.Contains(got, "banana") {
		t.Errorf("the page does not say where: %s", got)
	}
}

func jobReload(t *testing.T, w *world) {
	b := w.tab(t, "/jobs")
	b.wait(`document.querySelector("h1")`)
	b.request("POST", "/jobs", `{"kind":"yield","enquiry":"d6-board-to-board-cable","rank":1,"samples":1000000}`)
	b.wait(`document.querySelector(".jobs progress")`)
	b.do(chromedp.Reload())
	b.click(".jobs button", "Cancel")
	b.wait(`!document.querySelector(".jobs progress")`)
}

func newEnquiry(t *testing.T, w *world) {
	b := w.tab(t, "/")
	b.click("button", "New enquiry")
	b.wait(`document.querySelector("form.new")`)
	b.click("form.new button", "Save and answer")
	b.wait(`document.querySelectorAll("form.new .wrong").length >= 3`)
	// A value is judged while it is typed, with what would be right.
	b.typeInto(`form.new [data-path="band[0].to"]`, "18 bananas")
	b.wait(`[...document.querySelectorAll("form.new .wrong [role=alert]")].some(e => e.textContent.includes("GHz"))`)
	for path, v := range map[string]string{"title": "Two ports", "customer": "Nobody (invented)", "band[0].from": "1 GHz", "band[0].to": "18 GHz", "path.length": "0.5 m", "power.load_vswr": "2"} {
		b.typeInto(fmt.Sprintf("form.new [data-path=%q]", path), v)
	}
	b.wait(`!document.querySelectorAll("form.new .wrong").length && document.querySelector("form.new pre").textContent.includes("load_vswr: 2")`)
	b.click("form.new button", "Save and answer")
	b.wait(`location.pathname === "/enquiry/two-ports" && document.querySelector(".ranking")`)
	text, err := os.ReadFile(filepath.Join(w.dir, "enquiries", "two-ports.yaml"))
	if err != nil || !strings.Contains(string(text), "length: 0.5 m") || !strings.Contains(string(text), "load_vswr: 2") {
		t.Errorf("%v\n%s", err, text)
	}
}

func twoTabs(t *testing.T, w *world) {
	a, b := w.tab(t, "/enquiry/d3-board-to-board"), w.tab(t, "/enquiry/d3-board-to-board")
	b.wait(`document.querySelector("[data-path='lines']")`)
	a.typeInto(`[data-path="lines"]`, "33")
	a.click("button", "Save to file")
	a.wait(`[...document.querySelectorAll("button")].some(e => e.textContent === "Save to file" && e.disabled)`)
	b.wait(`document.querySelector("[data-path='lines']").value === "33"`)
}

func aLine(t *testing.T, w *world) {
	b := w.tab(t, "/line?kind=coax")
	b.wait(`document.querySelector(".facts")`)
	// 2.92 mm air line with a 1.27 mm pin: TE11 from 46.5 GHz as printed in [designcon2024], Table I.
	if got := b.text(`document.querySelector(".facts").innerText`); !strings.Contains(got, "46.49") {
		t.Errorf("the 2.92 mm line reads:\n%s", got)
	}
	b.open(w.url + "/line?kind=coax&solve=inner_diameter&target=50+ohm")
	b.wait(`document.querySelector(".solved") && document.querySelector(".solved").innerText.includes("1.2")`)
}

// press moves the focus with the tab key to the first element for which a
// condition holds, as somebody does who has no mouse.
func (b tab) press(until string) {
	b.t.Helper()
	for range 160 {
		b.do(chromedp.KeyEvent("\t"))
		if b.text("String(!!("+until+"))") == "true" {
			return
		}
	}
	b.t.Fatalf("the tab key does not reach %s", until)
}

func (b tab) keys(keys ...string) {
	b.t.Helper()
	for _, k := range keys {
		b.do(chromedp.KeyEvent(k))
	}
}

// Without a mouse: from the enquiries to a chain, a limit changed and changed
// back, a number asked where it comes from, a cable swapped.
func keyboard(t *testing.T, w *world) {
	b := w.tab(t, "/")
	b.wait(`document.querySelector("a.title")`)
	b.press(`document.activeElement.matches("a.title") && document.activeElement.textContent.includes("From this board")`)
	b.keys("\r")
	b.wait(`document.querySelector(".ranking a.open")`)
	// An edit: what stands there is selected by the tab key, typing replaces it.
	b.press(`document.activeElement.matches("[data-path='limits.insertion_loss[0].at_most']")`)
	b.keys("3", ".", "0", " ", "d", "B", "\r")
	b.wait(`location.search.includes("3.0") && document.querySelector(".answers[aria-busy=false] .ranking")`)
	b.do(chromedp.KeyEvent("z", chromedp.KeyModifiers(chromedp.ModifierCtrl)))
	b.wait(`!location.search.includes("3.0") && document.querySelector("[data-path='limits.insertion_loss[0].at_most']").value === "3.2 dB"`)
	b.wait(`document.querySelector(".answers[aria-busy=false] .ranking a.open")`)
	b.press(`document.activeElement.matches(".ranking a.open")`)
	b.keys("\r")
	b.wait(`document.querySelector("svg.hardware .piece")`)
	b.press(`document.activeElement.matches(".ledger .figure")`)
	b.keys("\r")
	b.wait(`document.activeElement.matches(".where-from")`)
	b.keys("\u001b")
	b.wait(`!document.querySelector(".where-from") && document.activeElement.matches(".ledger .figure")`)
	// A swap.
	b.text(`document.querySelector("main").focus(), ""`)
	b.press(`document.activeElement.matches("svg.hardware .piece") && document.activeElement.getAttribute("aria-label").startsWith("cable,")`)
	b.keys(" ")
	b.wait(`document.querySelectorAll(".instead .swap:not(:disabled)").length`)
	b.press(`document.activeElement.matches(".instead .swap")`)
	b.keys("\r")
	b.wait(`location.search.includes("s=part") && document.querySelector("main [aria-busy=false]")`)
	// The cursor of a plot.
	b.press(`document.activeElement.matches("svg[role=slider]")`)
	b.keys(kb.ArrowRight, kb.ArrowRight, "+")
	b.wait(`location.search.includes("cursor=") && location.search.includes("zoom=")`)
}

// What a page shows stands in its address: a link shows the same, and the back
// button takes the last step back.
func linked(t *testing.T, w *world) {
	b := w.tab(t, "/enquiry/d1-bench-jumpers/chain/p1?cursor=12GHz&zoom=10..14")
	b.wait(`document.querySelectorAll(".legend .at").length >= 3`)
	var at, ledger float64 // the frequencies of the grid next to it
	if _, err := fmt.Sscanf(b.text(`document.querySelector(".legend .at").textContent + " " + document.querySelector(".ledger caption span").textContent`), "%f GHz Ledger at %f GHz", &at, &ledger); err != nil || !(math.Abs(at-12) <= 0.1) || at != ledger {
		t.Errorf("the cursor reads %v, the ledger %v: %v", at, ledger, err)
	}
	if got := b.text(`[...document.querySelectorAll(".plots svg[role=slider]")].map(e => e.getAttribute("aria-valuemin") + " to " + e.getAttribute("aria-valuemax")).join("; ")`); !strings.HasPrefix(got, "10 to 14") {
		t.Errorf("the plots show %s", got)
	}
	b.click(".saves button", "show all")
	b.wait(`!location.search.includes("zoom") && document.querySelector(".plots svg[role=slider]").getAttribute("aria-valuemax") !== "14"`)
	b.do(chromedp.NavigateBack())
	b.wait(`location.search.includes("zoom=10..14") && document.querySelector(".plots svg[role=slider]").getAttribute("aria-valuemax") === "14"`)
}

// A swap is kept as a file under a name of its own, undone, kept again, opened.
func keepSwap(t *testing.T, w *world) {
	b := w.tab(t, "/enquiry/d1-bench-jumpers/chain/p1?piece=1")
	b.wait(`document.querySelectorAll(".instead .swap:not(:disabled)").length`)
	b.click(".instead .swap", "")
	b.wait(`location.search.includes("s=part") && document.querySelector("main [aria-busy=false]")`)
	count := func() int {
		names, err := filepath.Glob(filepath.Join(w.dir, "chains", "*.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		return len(names)
	}
	before := count()
	b.click("button", "Keep as a file")
	b.wait(`document.querySelector(".keep input") && document.querySelector(".keep input").value.length > 3`)
	name := b.text(`document.querySelector(".keep input").value`)
	b.click(".keep button", "Keep")
	b.wait(`document.querySelector(".done")`)
	if _, err := os.Stat(filepath.Join(w.dir, "chains", name+".yaml")); err != nil || count() != before+1 {
		t.Errorf("%v, %d files", err, count())
	}
	b.click(".done button", "Undo")
	b.wait(`!document.querySelector(".done")`)
	if count() != before {
		t.Errorf("%d files after the undo, %d before", count(), before)
	}
	b.click("button", "Keep as a file")
	b.wait(`document.querySelector(".keep input")`)
	b.typeInto(".keep input", "bench-jumper") // there is one
	b.click(".keep button", "Keep")
	b.wait(`document.querySelector(".head .fault")`)
	b.typeInto(".keep input", "kept-from-a-swap")
	b.click(".keep button", "Keep")
	b.click(".done a", "kept-from-a-swap")
	b.wait(`location.pathname === "/chain/kept-from-a-swap" && document.querySelectorAll(".ledger .piecename").length === 3`)
	// In the file, another length is written to it, and undone.
	b.open(w.url + "/chain/kept-from-a-swap?piece=1")
	b.wait(`document.querySelector(".instead input")`)
	b.typeInto(".instead input", "0.9 m")
	b.click(".instead button", "Predict this length")
	b.click("button", "Write to chains/kept-from-a-swap.yaml")
	b.wait(`document.querySelector(".done")`)
	reads := func() string {
		text, err := os.ReadFile(filepath.Join(w.dir, "chains", "kept-from-a-swap.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	if got := reads(); !strings.Contains(got, "0.9 m") {
		t.Errorf("the file reads\n%s", got)
	}
	b.click(".done button", "Undo")
	b.wait(`!document.querySelector(".done")`)
	if got := reads(); strings.Contains(got, "0.9 m") {
		t.Errorf("after the undo the file reads\n%s", got)
	}
}

// A chain with a board line opens after an edit that is not saved.
func boardLine(t *testing.T, w *world) {
	b := w.tab(t, "/enquiry/d2-fr2-edge-launch?e=limits.insertion_loss%5B0%5D.at_most~9+dB")
	b.click(".ranking a.open", "")
	b.wait(`location.search.includes("spec=") && [...document.querySelectorAll(".ledger .piecename")].some(e => e.textContent.includes("line"))`)
}

// Every number says where it comes from.
func origins(t *testing.T, w *world) {
	b := w.tab(t, "/enquiry/d6-board-to-board-cable?pick=p1&pick=p2")
	b.wait(`document.querySelector(".beside")`)
	asked := 0
	everyFigure := func(within string) {
		t.Helper()
		n := b.text(fmt.Sprintf(`String(document.querySelectorAll(%q).length)`, within+" .figure"))
		if n == "0" {
			t.Errorf("no number of %s can be asked", within)
		}
		bad := b.text(fmt.Sprintf(`(async () => { const bad = []; for (const e of document.querySelectorAll(%q)) { e.click(); await new Promise(r => setTimeout(r)); const w = document.querySelector(".where-from"); if (!w || !w.querySelector("dd, .formula")) bad.push(e.getAttribute("aria-label")); } window.askedAll = bad.join("; ") || "all"; })(), ""`, within+" .figure"))
		_ = bad
		b.wait("window.askedAll")
		if got := b.text("window.askedAll"); got != "all" {
			t.Errorf("%s: nothing says where these come from: %s", within, got)
		}
		b.text(`window.askedAll = undefined, ""`)
		asked++
	}
	for _, x := range []string{".sheet .margins", ".ranking", ".beside"} {
		everyFigure(x)
	}
	b.open(w.url + "/enquiry/d6-board-to-board-cable/chain/p1?piece=3&cursor=30GHz")
	b.wait(`document.querySelector(".instead table") && document.querySelector(".legend .figure")`)
	for _, x := range []string{".ledger", ".plots", ".margins", ".instead"} {
		everyFigure(x)
	}
	b.click(".ledger th .figure", "dB")
	b.wait(`document.querySelector(".where-from .ladder [aria-current=step]") && document.querySelectorAll(".where-from tbody tr").length >= 5`)
}

// A yield job shows its result in full.
func yieldResult(t *testing.T, w *world) {
	b := w.tab(t, "/enquiry/d1-bench-jumpers/chain/p1")
	b.click("button", "Yield of built copies")
	b.click(".head a", "see the job")
	b.wait(`location.pathname.startsWith("/jobs/") && document.querySelector(".yield .big")`)
	if got := b.text(`document.querySelector(".yield").innerText`); !strings.Contains(got, "confidence") || !strings.Contains(got, "Worst corner") || !strings.Contains(got, "copies drawn keep every limit") {
		t.Errorf("the page says:\n%s", got)
	}
	b.wait(`document.querySelectorAll(".yield .column").length > 10 && document.querySelectorAll(".drivers .share").length > 0`)
	b.check("yield, light", rules)
}

func (b tab) scheme(s string) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: s}}})
	if err != nil {
		b.t.Fatal(err)
	}
}

// No page is wider than its window, from 1280 px to 2560 px: what is wider
// scrolls inside its own box.
func widths(t *testing.T, w *world) {
	b := w.tab(t, "/")
	for _, width := range []int64{1280, 2560} {
		b.do(chromedp.EmulateViewport(width, 900))
		for _, p := range shots {
			b.open(w.url + p.path)
			b.wait(p.ready)
			if got := b.text(`String(document.documentElement.scrollWidth)`); got != fmt.Sprint(width) {
				t.Errorf("%s is %s px wide in a window of %d px: %s", p.name, got, width, b.text(`[...document.querySelectorAll("main *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest(".scroll, .ledgerwrap")).slice(0, 3).map(e => e.outerHTML.slice(0, 120)).join(" | ")`))
			}
		}
	}
}

// printed checks that paper gets no buttons and no navigation, black on white
// even where the screen is dark.
func printed(t *testing.T, w *world) {
	b := w.tab(t, "/enquiry/d1-bench-jumpers/chain/p1")
	b.wait(`document.querySelectorAll(".plots svg[role=slider]").length >= 3`)
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print", Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}}); err != nil {
		t.Fatal(err)
	}
	if got := b.text(`[...document.querySelectorAll("button:not(.figure):not(.piecename), nav, .where-from, .skip")].filter(e => e.checkVisibility()).map(e => e.outerHTML.slice(0, 80)).join("; ")`); got != "" {
		t.Errorf("these are printed: %s", got)
	}
	if got := b.text(`getComputedStyle(document.body).backgroundColor + " " + getComputedStyle(document.body).color`); !strings.HasPrefix(got, "rgb(255, 255, 255) rgb(") {
		t.Errorf("the paper is %s", got)
	}
	if c := b.text(`String(getComputedStyle(document.body).color.match(/\d+/g).map(Number).reduce((a, b) => a + b))`); len(c) > 3 || len(c) == 3 && c > "200" {
		t.Errorf("the ink is too light: %s", c)
	}
}

// many opens a workspace of 5,000 parts and 200 enquiries and reports times.
func many(t *testing.T, w *world) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, demo.Files()); err != nil {
		t.Fatal(err)
	}
	manyParts(t, dir)
	extra, err := fs.ReadFile(demo.Files(), "enquiries/d1-bench-jumpers.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for i := range 194 {
		if err := os.WriteFile(filepath.Join(dir, "enquiries", fmt.Sprintf("n%03d.yaml", i)), extra, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	big := &world{browser: w.browser, dir: dir, url: serveFolder(t, dir)}
	start := time.Now()
	b := big.tab(t, "/")
	b.wait(`document.querySelectorAll(".enquiries a.title").length >= 200`)
	t.Logf("%s; 200 enquiries stand after %v", b.text(`document.querySelector(".where").innerText`), time.Since(start).Round(time.Millisecond))
	t.Logf("first contentful paint %s ms", b.text(`String(Math.round((performance.getEntriesByName("first-contentful-paint")[0] || {}).startTime))`))
	b.wait(`document.querySelector(".where").innerText.includes("5030 parts")`)
	start = time.Now()
	b.text(`(e => { e.focus(); e.value = "radar"; e.dispatchEvent(new Event("input", {bubbles: true})); return "" })(document.querySelector("input[type=search]"))`)
	b.wait(`document.querySelectorAll(".enquiries a.title").length === 1`)
	t.Logf("filtered after %v", time.Since(start).Round(time.Millisecond))

	b.open(big.url + "/enquiry/d6-board-to-board-cable")
	b.wait(`document.querySelector(".ranking") && document.querySelector("[data-path='path.length']")`)
	var edits []string
	for _, length := range []string{"580 mm", "560 mm", "540 mm", "520 mm", "500 mm"} {
		edits = append(edits, b.timed(fmt.Sprintf(`(e => { e.focus(); e.value = %q; e.dispatchEvent(new Event("input", {bubbles: true})); e.dispatchEvent(new Event("change", {bubbles: true})) })(document.querySelector("[data-path='path.length']"))`, length),
			`document.querySelector(".answers[aria-busy=false]")`))
	}
	t.Logf("an edit is answered and drawn after %s ms", strings.Join(edits, ", "))
	b.open(big.url + "/enquiry/d6-board-to-board-cable/chain/p1")
	b.wait(`document.querySelectorAll(".plots svg[role=slider]").length >= 3`)
	t.Logf("4,834 cables are tried in a piece's place after %s ms", b.timed(`[...document.querySelectorAll("svg.hardware .piece")].find(e => e.getAttribute("aria-label").startsWith("cable,")).dispatchEvent(new Event("click", {bubbles: true}))`, `document.querySelector(".instead table")`))
	t.Logf("a frame with the cursor moving takes %s ms (median, 95 of 100, longest)", b.frames())
}

// timed does something in the page and returns how long it takes, in ms, until a
// condition holds in a frame that is drawn. It looks once a frame, and not before
// the first.
func (b tab) timed(do, until string) string {
	b.t.Helper()
	b.text(fmt.Sprintf(`window.took = "", requestAnimationFrame(() => { const t = performance.now(); %s; const look = () => (%s) ? window.took = String(Math.round(performance.now() - t)) : requestAnimationFrame(look); setTimeout(() => requestAnimationFrame(look), 5); }), ""`, do, until))
	b.wait("window.took")
	return b.text("window.took")
}

// frames moves the cursor over the first plot once a frame and returns how far
// apart the frames are.
func (b tab) frames() string {
	b.t.Helper()
	b.text(`window.gaps = undefined, (() => { const e = document.querySelector(".plots svg[role=slider]"), r = e.getBoundingClientRect(), gaps = []; let last = performance.now(), n = 0;
		const step = () => { const now = performance.now(); if (n) gaps.push(now - last); last = now;
			if (n++ > 90) { gaps.sort((a, b) => a - b); window.gaps = [gaps[45], gaps[85], gaps[gaps.length - 1]].map(x => x.toFixed(1)).join(", "); return; }
			e.dispatchEvent(new PointerEvent("pointermove", {bubbles: true, clientX: r.left + 60 + (r.width - 90) * n / 92, clientY: r.top + 40})); requestAnimationFrame(step); };
		requestAnimationFrame(step); })(), ""`)
	b.wait("window.gaps")
	return b.text("window.gaps")
}

// shots are the pages that are checked and pictured.
var shots = []struct{ name, path, ready string }{
	{"enquiries", "/", `document.querySelectorAll(".outcome b").length >= 6 && ![...document.querySelectorAll(".outcome .wait")].length`},
	{"answers", "/enquiry/d6-board-to-board-cable?pick=p1&pick=p2", `document.querySelector(".beside")`},
	{"misses", "/enquiry/d5-ganged-fixture", `document.querySelector(".ranking")`},
	{"chain", "/enquiry/d1-bench-jumpers/chain/p1", `document.querySelectorAll(".plots svg[role=slider]").length >= 3`},
	{"swap", "/enquiry/d6-board-to-board-cable/chain/p1?piece=3", `document.querySelector(".instead table")`},
	{"joint", "/enquiry/d3-board-to-board/chain/p1", `document.querySelectorAll(".plots svg[role=slider]").length >= 2`},
	{"line", "/line?kind=microstrip", `document.querySelectorAll(".plots svg[role=slider]").length === 4`},
	{"section", "/line?what=section", `document.querySelector("path.potential") && document.querySelectorAll(".plots svg[role=slider]").length === 2`},
	{"body", "/line?what=body", `document.querySelectorAll(".plots svg[role=slider]").length === 2`},
	{"field", "/line?what=field", `document.querySelectorAll("svg.hardware").length === 2`},
	{"jobs", "/jobs", `document.querySelector("h1")`},
	{"chains", "/chains", `document.querySelector("main table")`},
	{"kept-chain", "/chain/push-on-joint", `document.querySelectorAll(".ledger .piecename").length >= 3`},
	{"yield", "/states/yield/full", `document.querySelector(".yield .drivers")`},
	{"new-enquiry", "/?new=1", `document.querySelectorAll("form.new [data-path]").length > 30`},
	{"origin", "/states/origin/full", `document.querySelector(".where-from")`},
}

func pictures(t *testing.T, w *world) {
	if err := os.MkdirAll(*screens, 0o755); err != nil {
		t.Fatal(err)
	}
	save := func(b tab, name string) {
		time.Sleep(500 * time.Millisecond) // transitions
		picture, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
		if err != nil {
			t.Fatal(err)
		}
		if picture, err = smaller(picture); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(*screens, name+".png"), picture, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, scheme := range []string{"light", "dark"} {
		for _, width := range []int64{1280, 1920, 2560} {
			if width == 2560 && scheme == "dark" {
				continue
			}
			for _, p := range shots {
				b := w.tab(t, "/jobs")
				b.scheme(scheme)
				b.do(chromedp.EmulateViewport(width, 1000))
				b.open(w.url + p.path)
				b.wait(p.ready)
				save(b, fmt.Sprintf("%s-%s-%d", p.name, scheme, width))
			}
			b := w.tab(t, "/measured?enquiry=d1-bench-jumpers&chain=bench-jumper&temperature=23+%C2%B0C&uncertainty=0.1+dB&uncertainty_reflection=0.01")
			b.scheme(scheme)
			b.do(chromedp.EmulateViewport(width, 1000))
			b.wait(`document.querySelector("input[type=file]")`)
			b.do(chromedp.SetUploadFiles("input[type=file]", []string{filepath.Join(w.dir, "measured", "jumper-sn0006.s2p"), filepath.Join(w.dir, "measured", "jumper-sn0007.s2p")}))
			b.wait(`document.querySelector(".file svg[role=slider]")`)
			save(b, fmt.Sprintf("measured-%s-%d", scheme, width))
		}
	}
}

// smaller writes a picture with its 256 most frequent colours; the others, of
// smoothed letters, become the nearest of these.
func smaller(data []byte) ([]byte, error) {
	full, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	b, count := full.Bounds(), map[color.RGBA]int{}
	at := func(x, y int) color.RGBA { return color.RGBAModel.Convert(full.At(x, y)).(color.RGBA) }
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			count[at(x, y)]++
		}
	}
	colours := slices.SortedFunc(maps.Keys(count), func(a, b color.RGBA) int { return count[b] - count[a] })
	var p color.Palette
	for _, c := range colours[:min(256, len(colours))] {
		p = append(p, c)
	}
	out, nearest := image.NewPaletted(b, p), map[color.RGBA]uint8{}
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			c := at(x, y)
			k, ok := nearest[c]
			if !ok {
				k = uint8(p.Index(c))
				nearest[c] = k
			}
			out.SetColorIndex(x, y, k)
		}
	}
	var w bytes.Buffer
	err = (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&w, out)
	return w.Bytes(), err
}
