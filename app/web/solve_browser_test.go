package web

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// aSection solves a file of the workspace, then an edited text, then the line
// of the form, each with its field drawn.
func aSection(t *testing.T, w *world) {
	b := w.tab(t, "/line?what=section")
	b.wait(`document.querySelector(".facts") && document.querySelector("path.potential")`)
	if got := b.text(`document.querySelector(".facts").innerText`); !strings.Contains(got, "50.07") { // the masked trace of the examples
		t.Errorf("the masked trace reads:\n%s", got)
	}
	edit := func(js string) {
		b.text(fmt.Sprintf(`(e => { e.focus(); e.value = e.value.%s; e.dispatchEvent(new Event("input", {bubbles: true})); e.blur(); return "" })(document.querySelector("#solve-text"))`, js))
	}
	edit(`replaceAll("permittivity: 3.4", "permittivity: 1").replaceAll("loss_tangent: 0.03}", "loss_tangent: 0}")`)
	b.wait(`location.search.includes("text=") && document.querySelector(".facts").innerText.includes("51.31")`) // without mask: row tl-S01.003, 51.310 Ω
	edit(`replace("permittivity:", "permitivity:")`)
	b.wait(`document.querySelector(".sheet .fault") && document.querySelector(".sheet .fault").innerText.includes("did you mean permittivity")`)
	b.do(chromedp.NavigateBack())
	b.open(w.url + "/line?kind=coax&f.inner_diameter=1+mm&f.outer_diameter=2.718281828459+mm")
	b.click("a", "Solve this section by its field")
	b.wait(`location.search.includes("what=section") && document.querySelector("path.potential")`)
	if got := b.text(`document.querySelector(".facts").innerText`); !strings.Contains(got, "59.95") { // η0/2π · ln e = 59.958 Ω
		t.Errorf("the coaxial line of the form reads:\n%s", got)
	}
}

// aBody draws a body's profile and its curves.
func aBody(t *testing.T, w *world) {
	b := w.tab(t, "/line?what=body")
	b.wait(`document.querySelectorAll(".plots svg[role=slider]").length === 2 && document.querySelectorAll("svg.hardware polygon").length > 10`)
	if got := b.text(`document.querySelector(".facts").innerText`); !strings.Contains(got, "mode-free to") || !strings.Contains(got, "modes") {
		t.Errorf("the body reads:\n%s", got)
	}
	b.typeInto(`.fields label:nth-child(2) input`, "1GHz:20GHz:20")
	b.wait(`location.search.includes("at=") && document.querySelector(".plots svg[role=slider]").getAttribute("aria-valuemax") === "20"`)
}

// slow is a structure whose solve takes long enough to be looked at.
var slow = strings.Replace(plugText, "energy_down: 50 dB", "energy_down: 200 dB", 1)

// aField starts a field solve, loads the page again while it runs, cancels it,
// and follows another one to its picture.
func aField(t *testing.T, w *world) {
	b := w.tab(t, "/line?what=field")
	b.wait(`document.querySelector(".facts") && document.querySelector(".facts").innerText.includes("million")`)
	put := func(text string) {
		b.text(fmt.Sprintf(`(e => { e.focus(); e.value = %q; e.dispatchEvent(new Event("input", {bubbles: true})); e.blur(); return "" })(document.querySelector("#solve-text"))`, text))
		b.wait(`location.search.includes("text=") && !document.querySelector("[aria-busy=true]")`)
	}
	put(slow)
	b.click("button", "Solve the field")
	b.wait(`location.search.includes("job=") && document.querySelector("progress") && document.querySelector(".plots, figure.plot svg[role=slider]")`)
	b.wait(`document.querySelector("[role=status]").innerText.includes("left")`)
	b.do(chromedp.Reload())
	b.wait(`document.querySelector("progress") && document.querySelector("figure.plot svg[role=slider]")`)
	b.click("button", "Cancel")
	b.wait(`!document.querySelector("progress") && document.querySelector("#main").innerText.includes("was cancelled")`)
	put(plugText)
	b.click("button", "Solve the field")
	b.wait(`document.querySelector("canvas") && document.querySelectorAll(".plots svg[role=slider]").length === 2`)
	if got := b.text(`String(new Set(new Uint32Array(document.querySelector("canvas").getContext("2d").getImageData(0, 0, 20, 20).data.buffer)).size > 3)`); got != "true" {
		t.Error("the picture is of one colour")
	}
	b.click("button", "Hold the wave")
	b.wait(`[...document.querySelectorAll("button")].some(e => e.textContent === "Let the wave run")`)
	b.do(chromedp.Reload())
	b.wait(`document.querySelector("canvas") && document.querySelector("#main").innerText.includes("te10, plane at 8 mm")`)
}
