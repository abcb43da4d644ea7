package web

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"linewright/app/demo"
)

// TestMeasuredInBrowser drops measured samples onto the page of measured files in
// a real browser: the verdict in words, the place along the chain in the
// drawing's own places, the lot.
func TestMeasuredInBrowser(t *testing.T) {
	binary, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no browser: install Debian's package chromium to run the tests of the pages")
	}
	if testing.Short() {
		t.Skip("a browser takes a while")
	}
	alloc, cancel := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.DisableGPU, chromedp.NoSandbox, chromedp.ExecPath(binary), chromedp.UserDataDir(t.TempDir()))...)
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
	t.Run("a bead is found along the chain", func(t *testing.T) { beadInBrowser(t, w) })
	t.Run("a lot", func(t *testing.T) { lotInBrowser(t, w) })
}

const heldAgainst = "/measured?enquiry=d1-bench-jumpers&chain=bench-jumper&temperature=23+°C&uncertainty=0.05+dB&uncertainty_reflection=0.01"

func beadInBrowser(t *testing.T, w *world) {
	b := w.tab(t, heldAgainst)
	b.wait(`document.querySelector("input[type=file]") && document.querySelector(".tick input")`)
	drop(t, b, "sn0007.s2p", sampleOf(t, 2, 90e-15, 0))
	// The file names no planes: it is not compared, and the page says what to do.
	b.wait(`document.querySelector(".file .fault")`)
	if got := b.text(`document.querySelector(".file .fault").innerText`); !strings.Contains(got, "does not say where its reference planes lie") || !strings.Contains(got, "vouch") {
		t.Errorf("the page says: %s", got)
	}
	// Vouched for, the same file is judged without being dropped again.
	b.do(chromedp.Click(".tick input"))
	b.wait(`document.querySelector(".along table")`)
	if got := b.text(`document.querySelector(".along").innerText`); !strings.Contains(got, "cable, 8") || !strings.Contains(got, "lower impedance") || !strings.Contains(got, "more than it may") {
		t.Errorf("the page says:\n%s", got)
	}
	if got := b.text(`document.querySelector(".together").innerText`); !strings.Contains(got, "three-way") || !strings.Contains(got, "fails") {
		t.Errorf("the verdict says:\n%s", got)
	}
	if got := b.text(`location.search`); !strings.Contains(got, "chain_planes=true") || !strings.Contains(got, "uncertainty=0.05") {
		t.Errorf("the address does not hold how the samples were measured: %s", got)
	}
	shot(t, b, "measured-bead")
	// The mark stands within the cable as it is drawn, near its left end.
	b.wait(`(() => {
		const boxes = [...document.querySelectorAll(".along .hardware .touch")].map(e => e.getBoundingClientRect());
		const mark = document.querySelector(".along figure line.limit").getBoundingClientRect();
		const share = (mark.left - boxes[1].left) / boxes[1].width;
		return boxes.length === 3 && share > 0.03 && share < 0.09;
	})()`)
	// Another rule is another verdict's reason; the file is judged again.
	b.do(chromedp.SetValue(".how select", "guarded"))
	b.text(`(document.querySelector(".how select").dispatchEvent(new Event("change", {bubbles: true})), "")`)
	b.wait(`document.querySelector(".together").innerText.includes("Rule: guarded")`)
	// The links of the state: reloaded, the fields are there, the file is not.
	b.do(chromedp.Reload())
	b.wait(`document.querySelector(".how select") && document.querySelector(".how select").value === "guarded" && document.querySelector(".tick input").checked`)
	looked(t, b)
	shot(t, b, "measured-empty-form")
}

func lotInBrowser(t *testing.T, w *world) {
	b := w.tab(t, heldAgainst+"&chain_planes=true")
	b.wait(`document.querySelector("input[type=file]")`)
	dir := t.TempDir()
	var files []string
	for i := range 24 {
		more := 0.0
		if i == 20 {
			more = 0.4
		}
		name := filepath.Join(dir, fmt.Sprintf("sn%03d.s2p", i+1))
		if err := os.WriteFile(name, []byte(sampleOf(t, uint64(i), 0, more)), 0o644); err != nil {
			t.Fatal(err)
		}
		files = append(files, name)
	}
	broken := filepath.Join(dir, "sn025.s2p")
	if err := os.WriteFile(broken, []byte("# GHz S RI R 50\n1 2 3\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.SetUploadFiles("input[type=file]", append(files, broken)))
	b.wait(`document.querySelectorAll(".together circle.sample").length === 24`)
	got := b.text(`document.querySelector(".together").innerText`)
	for _, want := range []string{"25 samples", "1 unreadable", "sn021.s2p does not belong with the others", "The lot of 24", "insertion loss", "Phase of the set"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not said:\n%s", want, got)
		}
	}
	// A sample is chosen from the table, and from the strip.
	b.click(".together button", "sn003.s2p")
	b.wait(`document.querySelector(".file h2").innerText.includes("sn003.s2p") && location.search.includes("file=sn003.s2p")`)
	b.text(`(document.querySelectorAll(".together circle.sample")[9].dispatchEvent(new MouseEvent("click", {bubbles: true})), "")`)
	b.wait(`document.querySelector(".file h2").innerText.includes("sn010.s2p")`)
	looked(t, b)
	shot(t, b, "measured-lot")
}

// shot writes a picture of the page where they are asked for.
func shot(t *testing.T, b tab, name string) {
	t.Helper()
	if *screens == "" {
		return
	}
	picture, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(*screens, name+".png"), picture, 0o644); err != nil {
		t.Fatal(err)
	}
}

// looked runs our own checker of accessibility over the page as it stands.
func looked(t *testing.T, b tab) {
	t.Helper()
	if got := b.text(checkerJS); got != "" {
		t.Error(got)
	}
}
