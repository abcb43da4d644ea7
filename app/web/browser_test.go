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
		{"a new enquiry", newEnquiry}, {"two tabs", twoTabs}, {"a line", aLine}, {"keyboard only", keyboard}, {"accessible", accessible}, {"many", many},
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
	ctx, stop := context.WithTimeout(ctx, 90*time.Second)
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
	cell := `JSON.stringify([...document.querySelectorAll(".ledger tbody tr")].map(r => r.querySelector("th b").textContent))`
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
	b := w.tab(t, "/measured?enquiry=d6-board-to-board-cable&rank=1")
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
	for i, v := range []string{"Two ports", "Nobody (invented)", "1 GHz", "18 GHz"} {
		b.text(fmt.Sprintf(`(e => { e.focus(); e.value = %q; e.dispatchEvent(new Event("input", {bubbles: true})); return "" })(document.querySelectorAll("form.new input")[%d])`, v, i))
	}
	b.text(`(e => { e.focus(); e.value = "0.5 m"; e.dispatchEvent(new Event("input", {bubbles: true})); return "" })(document.querySelectorAll("form.new input")[4])`)
	b.click("form.new button", "Save and answer")
	b.wait(`location.pathname === "/enquiry/two-ports" && document.querySelector(".ranking")`)
	if _, err := os.Stat(filepath.Join(w.dir, "enquiries", "two-ports.yaml")); err != nil {
		t.Error(err)
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

func keyboard(t *testing.T, w *world) {
	b := w.tab(t, "/")
	b.wait(`document.querySelector("a.title")`)
	press := func(until string) {
		t.Helper()
		for range 80 {
			b.do(chromedp.KeyEvent("\t"))
			if b.text("String(!!("+until+"))") == "true" {
				b.do(chromedp.KeyEvent("\r"))
				return
			}
		}
		t.Fatalf("the tab key does not reach %s", until)
	}
	press(`document.activeElement.matches("a.title")`)
	b.wait(`document.querySelector(".ranking a.open")`)
	press(`document.activeElement.matches(".ranking a.open")`)
	b.wait(`document.querySelector("svg.hardware .piece")`)
	press(`document.activeElement.matches("svg.hardware .piece")`)
	b.wait(`document.querySelector(".instead")`)
	press(`document.activeElement.matches(".ledger .figure")`)
	b.wait(`document.activeElement.matches(".where-from")`)
	b.do(chromedp.KeyEvent("\u001b"))
	b.wait(`!document.querySelector(".where-from") && document.activeElement.matches(".ledger .figure")`)
}

func (b tab) scheme(s string) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: s}}})
	if err != nil {
		b.t.Fatal(err)
	}
}

// many opens a workspace of 5,000 parts and 200 enquiries and reports times.
func many(t *testing.T, w *world) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, demo.Files()); err != nil {
		t.Fatal(err)
	}
	var parts strings.Builder
	parts.WriteString("# Invented.\nname: Copperlatch (invented)\ncables:\n")
	for i := range 4800 {
		fmt.Fprintf(&parts, "  - {id: Z%d, maker: Copperlatch (invented), description: invented cable, source: invented test data, standing: invented, outer_diameter: %.2f mm, velocity_factor: 0.8, rated_frequency: %d GHz}\n", i, 1.2+float64(i%40)/10, 18+i%50)
	}
	extra, err := fs.ReadFile(demo.Files(), "enquiries/d1-bench-jumpers.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for i := range 194 {
		if err := os.WriteFile(filepath.Join(dir, "enquiries", fmt.Sprintf("n%03d.yaml", i)), extra, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "catalogue", "many.yaml"), []byte(parts.String()), 0o644); err != nil {
		t.Fatal(err)
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
	{"jobs", "/jobs", `document.querySelector("h1")`},
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
		for _, width := range []int64{1280, 1920} {
			for _, p := range shots {
				b := w.tab(t, "/jobs")
				b.scheme(scheme)
				b.do(chromedp.EmulateViewport(width, 1000))
				b.open(w.url + p.path)
				b.wait(p.ready)
				save(b, fmt.Sprintf("%s-%s-%d", p.name, scheme, width))
			}
			b := w.tab(t, "/measured?enquiry=d6-board-to-board-cable&rank=1")
			b.scheme(scheme)
			b.do(chromedp.EmulateViewport(width, 1000))
			b.wait(`document.querySelector("input[type=file]")`)
			drop(t, b, "sample.s2p", sample())
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
