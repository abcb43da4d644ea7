// Package plot lays out charts over frequency and drawings to scale and writes
// them as SVG: axes with plain ticks, lines, bands and limits. It knows numbers and words only; what
// they mean is the caller's.
package plot

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// Chart is one panel over a common horizontal axis.
type Chart struct {
	Title  string
	XLabel string // with its unit
	YLabel string
	X      []float64
	Lines  []Line
	Bands  []Band
	Limits []Limit
	Zero   bool // the vertical axis starts at 0
	Down   bool // larger values stand lower, as loss does
	Height float64
}

// Line is one curve; NaN breaks it.
type Line struct {
	Name  string
	Y     []float64
	Style Style
}

// Band is the area between two curves.
type Band struct {
	Name      string
	Low, High []float64
}

// Limit is a piece of a mask: from X0, Y0 to X1, Y1. Hatching stands on the
// forbidden side.
type Limit struct {
	X0, Y0, X1, Y1 float64
	Above          bool // the side of larger values is forbidden
}

// Style of a line. Dashes tell lines apart where colour does not.
type Style int

// The styles.
const (
	Solid Style = iota
	Dashed
	Dotted
)

// Page is a sheet of charts, one above the other.
type Page struct {
	Title  string
	Notes  []string // small print under the charts
	Charts []Chart
	// Figures stand above the charts.
	Figures []Figure
}

// Dimensions in px.
const (
	width       = 760.0
	left, right = 72.0, 168.0
	gap         = 26.0
)

// SVG writes the page. The drawing adapts to a dark background.
func (p Page) SVG() []byte {
	var b strings.Builder
	height := 46.0
	for _, f := range p.Figures {
		height += f.height() + 44 + gap
	}
	for _, c := range p.Charts {
		height += c.height() + 44 + gap
	}
	height += 16*float64(len(p.Notes)) + 12
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f" role="img" aria-label="%s">`+"\n", width, height, width, height, html.EscapeString(p.Title))
	b.WriteString(`<style>
svg{--ink:#1c2733;--soft:#5d6b7a;--rule:#d5dbe1;--paper:#fff;--a:#0b5fa5;--b:#b4460f;--c:#3d6b1f;--d:#6d3f99;--bad:#a11d33;background:var(--paper)}
@media(prefers-color-scheme:dark){svg{--ink:#e6ebf0;--soft:#9fadbb;--rule:#37424e;--paper:#14191f;--a:#6db6f2;--b:#f0a072;--c:#a3cf7e;--d:#c7a5ea;--bad:#f28a9b}}
text{font:12px system-ui,sans-serif;fill:var(--ink);font-variant-numeric:tabular-nums}.t{font-size:15px;font-weight:600}.h{font-weight:600}.s{fill:var(--soft);font-size:11px}
.g{stroke:var(--rule);stroke-width:1}.f{fill:none;stroke:var(--soft);stroke-width:1}.l{fill:none;stroke-width:1.8;stroke-linejoin:round}.m{stroke:var(--bad);stroke-width:2}.k{stroke:var(--bad);stroke-width:.8}
</style>` + "\n")
	fmt.Fprintf(&b, `<text class="t" x="%g" y="26">%s</text>`+"\n", left, html.EscapeString(p.Title))
	y := 46.0
	for i, f := range p.Figures {
		f.draw(&b, y, i)
		y += f.height() + 44 + gap
	}
	for _, c := range p.Charts {
		c.draw(&b, y)
		y += c.height() + 44 + gap
	}
	for _, n := range p.Notes {
		fmt.Fprintf(&b, `<text class="s" x="%g" y="%.1f">%s</text>`+"\n", left, y+4, html.EscapeString(n))
		y += 16
	}
	b.WriteString("</svg>\n")
	return []byte(b.String())
}

func (c Chart) height() float64 {
	if c.Height > 0 {
		return c.Height
	}
	return 200
}

// Ticks returns round values that cover low to high in about n steps of 1, 2 or
// 5 times a power of ten.
func Ticks(low, high float64, n int) []float64 {
	if !(high > low) || n < 1 {
		return []float64{low}
	}
	raw := (high - low) / float64(n)
	step := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5, 10} {
		if step*m >= raw*(1-1e-9) {
			step *= m
			break
		}
	}
	var out []float64
	for k := math.Ceil(low/step - 1e-9); k*step <= high+step*1e-9; k++ {
		out = append(out, k*step)
	}
	return out
}

func (c Chart) draw(b *strings.Builder, top float64) {
	h, w := c.height(), width-left-right
	xlow, xhigh := math.Inf(1), math.Inf(-1)
	for _, x := range c.X {
		xlow, xhigh = math.Min(xlow, x), math.Max(xhigh, x)
	}
	ylow, yhigh := math.Inf(1), math.Inf(-1)
	see := func(y float64) {
		if !math.IsNaN(y) && !math.IsInf(y, 0) {
			ylow, yhigh = math.Min(ylow, y), math.Max(yhigh, y)
		}
	}
	for _, l := range c.Lines {
		for _, y := range l.Y {
			see(y)
		}
	}
	for _, d := range c.Bands {
		for i := range d.Low {
			see(d.Low[i])
			see(d.High[i])
		}
	}
	for _, l := range c.Limits {
		see(l.Y0)
		see(l.Y1)
	}
	if math.IsInf(ylow, 1) {
		ylow, yhigh = 0, 1
	}
	if c.Zero {
		ylow = math.Min(ylow, 0)
	}
	if pad := 0.06 * (yhigh - ylow); pad > 0 {
		yhigh += pad
		if !c.Zero {
			ylow -= pad
		}
	} else {
		ylow, yhigh = ylow-1, yhigh+1
	}
	if !(xhigh > xlow) {
		xlow, xhigh = xlow-1, xlow+1
	}
	px := func(x float64) float64 { return left + w*(x-xlow)/(xhigh-xlow) }
	py := func(y float64) float64 {
		t := (y - ylow) / (yhigh - ylow)
		if !c.Down {
			t = 1 - t
		}
		return top + 16 + h*t
	}
	fmt.Fprintf(b, `<text class="h" x="%g" y="%.1f">%s</text>`+"\n", left, top+6, html.EscapeString(c.Title))
	for _, y := range Ticks(ylow, yhigh, 5) {
		fmt.Fprintf(b, `<path class="g" d="M%.1f %.1fh%.1f"/><text class="s" x="%.1f" y="%.1f" text-anchor="end">%s</text>`+"\n", left, py(y), w, left-8, py(y)+4, plain(y))
	}
	for _, x := range Ticks(xlow, xhigh, 8) {
		fmt.Fprintf(b, `<path class="g" d="M%.1f %.1fv%.1f"/><text class="s" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`+"\n", px(x), top+16, h, px(x), top+16+h+16, plain(x))
	}
	fmt.Fprintf(b, `<rect class="f" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`+"\n", left, top+16, w, h)
	fmt.Fprintf(b, `<text class="s" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`+"\n", left+w/2, top+16+h+30, html.EscapeString(c.XLabel))
	fmt.Fprintf(b, `<text class="s" transform="translate(%.1f %.1f) rotate(-90)" text-anchor="middle">%s</text>`+"\n", left-48, top+16+h/2, html.EscapeString(c.YLabel))

	colours := []string{"a", "b", "c", "d"}
	legend := top + 26
	for i, d := range c.Bands {
		colour := colours[i%len(colours)]
		if path := c.outline(d, px, py); path != "" {
			fmt.Fprintf(b, `<path d="%s" fill="var(--%s)" opacity=".16"/>`+"\n", path, colour)
		}
		fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="22" height="10" fill="var(--%s)" opacity=".16"/><text class="s" x="%.1f" y="%.1f">%s</text>`+"\n", width-right+14, legend-8, colour, width-right+42, legend+1, html.EscapeString(d.Name))
		legend += 18
	}
	for i, l := range c.Lines {
		colour, dash := colours[i%len(colours)], [...]string{"", ` stroke-dasharray="7 4"`, ` stroke-dasharray="2 3"`}[l.Style]
		fmt.Fprintf(b, `<path class="l" stroke="var(--%s)"%s d="%s"/>`+"\n", colour, dash, curve(c.X, l.Y, px, py))
		fmt.Fprintf(b, `<path class="l" stroke="var(--%s)"%s d="M%.1f %.1fh22"/><text class="s" x="%.1f" y="%.1f">%s</text>`+"\n", colour, dash, width-right+14, legend-3, width-right+42, legend+1, html.EscapeString(l.Name))
		legend += 18
	}
	for _, l := range c.Limits {
		l.draw(b, px, py, c.Down)
	}
	if len(c.Limits) > 0 {
		fmt.Fprintf(b, `<path class="m" d="M%.1f %.1fh22"/><text class="s" x="%.1f" y="%.1f">limit</text>`+"\n", width-right+14, legend-3, width-right+42, legend+1)
	}
}

// draw hatches the forbidden side of a limit.
func (l Limit) draw(b *strings.Builder, px, py func(float64) float64, down bool) {
	x0, y0, x1, y1 := px(l.X0), py(l.Y0), px(l.X1), py(l.Y1)
	fmt.Fprintf(b, `<path class="m" d="M%.1f %.1fL%.1f %.1f"/>`+"\n", x0, y0, x1, y1)
	rise := -7.0
	if l.Above == down { // larger values stand lower, or smaller ones are forbidden
		rise = 7
	}
	var d strings.Builder
	n := max(int(math.Abs(x1-x0)/9), 1)
	for i := range n + 1 {
		t := float64(i) / float64(n)
		fmt.Fprintf(&d, "M%.1f %.1fl6 %.1f", x0+t*(x1-x0), y0+t*(y1-y0), rise)
	}
	fmt.Fprintf(b, `<path class="k" d="%s"/>`+"\n", d.String())
}

func curve(xs, ys []float64, px, py func(float64) float64) string {
	var d strings.Builder
	pen := false
	for i, y := range ys {
		if math.IsNaN(y) || math.IsInf(y, 0) {
			pen = false
			continue
		}
		fmt.Fprintf(&d, "%s%.1f %.1f", map[bool]string{true: "L", false: "M"}[pen], px(xs[i]), py(y))
		pen = true
	}
	return d.String()
}

func (c Chart) outline(d Band, px, py func(float64) float64) string {
	var up, back []string
	for i := range c.X {
		if math.IsNaN(d.Low[i]) || math.IsNaN(d.High[i]) || math.IsInf(d.Low[i], 0) || math.IsInf(d.High[i], 0) {
			continue
		}
		up = append(up, fmt.Sprintf("%.1f %.1f", px(c.X[i]), py(d.High[i])))
		back = append([]string{fmt.Sprintf("%.1f %.1f", px(c.X[i]), py(d.Low[i]))}, back...)
	}
	if len(up) == 0 {
		return ""
	}
	return "M" + strings.Join(append(up, back...), "L") + "Z"
}

// plain writes a tick without exponents or trailing zeros.
func plain(x float64) string {
	if math.Abs(x) < 1e-12 {
		return "0"
	}
	s := fmt.Sprintf("%.6g", x)
	return strings.Replace(s, "-", "−", 1)
}
