package plot

import (
	"encoding/base64"
	"fmt"
	"html"
	"math"
	"strings"
)

// Figure is a drawing to scale: one length unit is the same along both axes,
// the vertical axis points up.
type Figure struct {
	Title          string
	X0, X1, Y0, Y1 float64 // what is shown; the rest is cut off
	Picture        []byte  // a PNG that fills what is shown, beneath all else; nil: none
	Areas          []Area  // later ones lie over earlier ones
	Curves         []Curve // without area: foils, contour lines
	Dimensions     []Dimension
	Labels         []Label
	Scale          float64 // length of the scale bar, in the figure's unit; 0: none
	Unit           string  // of the scale bar
}

// Area is a closed outline.
type Area struct {
	X, Y []float64
	Fill Fill
}

// Fill says what an area is.
type Fill int

// The fills.
const (
	Metal Fill = iota
	Reference
	Dielectric
	Empty
	Outline // only its edge
)

// Curve is an open line.
type Curve struct {
	X, Y  []float64
	Heavy bool
}

// Dimension is a measure between two points.
type Dimension struct {
	X0, Y0, X1, Y1 float64
	Text           string
	Place          float64 // of the text, from 0 at the first point to 1; 0: in the middle
}

// Label is a text centred on a point.
type Label struct {
	X, Y float64
	Text string
}

const figureHeight = 300.0

func (f Figure) size() (scale, w, h float64) {
	scale = math.Min((width-2*gap-20)/(f.X1-f.X0), figureHeight/(f.Y1-f.Y0))
	return scale, scale * (f.X1 - f.X0), scale * (f.Y1 - f.Y0)
}

func (f Figure) height() float64 {
	_, _, h := f.size()
	return h
}

// draw writes the figure; id makes its clip path its own.
func (f Figure) draw(b *strings.Builder, top float64, id int) {
	scale, w, h := f.size()
	x0, y0 := (width-w)/2, top+16
	px := func(x float64) float64 { return x0 + scale*(x-f.X0) }
	py := func(y float64) float64 { return y0 + scale*(f.Y1-y) }
	line := func(xs, ys []float64) string {
		var d strings.Builder
		for i := range xs {
			fmt.Fprintf(&d, "%s%.2f %.2f", map[bool]string{true: "L", false: "M"}[i > 0], px(xs[i]), py(ys[i]))
		}
		return d.String()
	}
	fmt.Fprintf(b, `<text class="h" x="%g" y="%.1f">%s</text>`+"\n", left, top+6, html.EscapeString(f.Title))
	fmt.Fprintf(b, `<clipPath id="f%d"><rect x="%.1f" y="%.1f" width="%.1f" height="%.1f"/></clipPath><g clip-path="url(#f%d)">`+"\n", id, x0, y0, w, h, id)
	if f.Picture != nil {
		fmt.Fprintf(b, `<image x="%.1f" y="%.1f" width="%.1f" height="%.1f" preserveAspectRatio="none" style="image-rendering:pixelated" href="data:image/png;base64,%s"/>`+"\n", x0, y0, w, h, base64.StdEncoding.EncodeToString(f.Picture))
	}
	for _, a := range f.Areas {
		style := [...]string{`fill="var(--b)" fill-opacity=".55"`, `fill="var(--soft)" fill-opacity=".45"`, `fill="var(--a)" fill-opacity=".16"`, `fill="var(--paper)"`, `fill="none"`}[a.Fill]
		if a.Fill == Metal || a.Fill == Reference { // what lies beneath must not shine through
			fmt.Fprintf(b, `<path fill="var(--paper)" d="%sZ"/>`, line(a.X, a.Y))
		}
		fmt.Fprintf(b, `<path %s stroke="var(--ink)" stroke-width=".7" d="%sZ"/>`+"\n", style, line(a.X, a.Y))
	}
	var thin strings.Builder
	for _, c := range f.Curves {
		if c.Heavy {
			fmt.Fprintf(b, `<path fill="none" stroke="var(--b)" stroke-width="2.4" d="%s"/>`+"\n", line(c.X, c.Y))
			continue
		}
		thin.WriteString(line(c.X, c.Y))
	}
	if thin.Len() > 0 {
		fmt.Fprintf(b, `<path fill="none" stroke="var(--a)" stroke-width=".8" d="%s"/>`+"\n", thin.String())
	}
	b.WriteString("</g>\n")
	for _, d := range f.Dimensions {
		ax, ay, bx, by := px(d.X0), py(d.Y0), px(d.X1), py(d.Y1)
		length := math.Max(math.Hypot(bx-ax, by-ay), 1e-9)
		nx, ny := 4*(by-ay)/length, -4*(bx-ax)/length // end strokes stand across
		fmt.Fprintf(b, `<path stroke="var(--ink)" stroke-width=".8" d="M%.1f %.1fL%.1f %.1fM%.1f %.1fL%.1f %.1fM%.1f %.1fL%.1f %.1f"/>`, ax, ay, bx, by, ax-nx, ay-ny, ax+nx, ay+ny, bx-nx, by-ny, bx+nx, by+ny)
		place := d.Place
		if place == 0 {
			place = 0.5
		}
		halo(b, ax+place*(bx-ax), ay+place*(by-ay)-4, d.Text)
	}
	for _, l := range f.Labels {
		halo(b, px(l.X), py(l.Y)+4, l.Text)
	}
	if f.Scale > 0 {
		fmt.Fprintf(b, `<path stroke="var(--ink)" stroke-width="2" d="M%.1f %.1fh%.1f"/><text class="s" x="%.1f" y="%.1f">%s %s</text>`+"\n", x0, y0+h+12, scale*f.Scale, x0+scale*f.Scale+8, y0+h+16, plain(f.Scale), html.EscapeString(f.Unit))
	}
}

// halo writes a text that stays readable on whatever lies beneath.
func halo(b *strings.Builder, x, y float64, text string) {
	fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="middle" stroke="var(--paper)" stroke-width="3" paint-order="stroke" stroke-linejoin="round">%s</text>`+"\n", x, y, html.EscapeString(text))
}

// Contours returns the lines on which z, sampled at [iy·len(x)+ix], has one of
// the levels: straight pieces within each cell of the grid. A cell with a NaN
// corner has none.
func Contours(x, y, z, levels []float64) []Curve {
	var out []Curve
	n := len(x)
	for _, level := range levels {
		for iy := range len(y) - 1 {
			for ix := range n - 1 {
				xs := [5]float64{x[ix], x[ix+1], x[ix+1], x[ix], x[ix]}
				ys := [5]float64{y[iy], y[iy], y[iy+1], y[iy+1], y[iy]}
				zs := [5]float64{z[iy*n+ix], z[iy*n+ix+1], z[(iy+1)*n+ix+1], z[(iy+1)*n+ix], z[iy*n+ix]}
				var cx, cy []float64
				for k := range 4 {
					if a, c := zs[k]-level, zs[k+1]-level; a < 0 && c >= 0 || a >= 0 && c < 0 {
						t := a / (a - c)
						cx, cy = append(cx, xs[k]+t*(xs[k+1]-xs[k])), append(cy, ys[k]+t*(ys[k+1]-ys[k]))
					}
				}
				for k := 0; k+1 < len(cx); k += 2 { // four crossings: a saddle, drawn either way
					out = append(out, Curve{X: cx[k : k+2], Y: cy[k : k+2]})
				}
			}
		}
	}
	return out
}

// ScaleBar is a round length of about a fifth of a width.
func ScaleBar(w float64) float64 {
	t := Ticks(0, w, 5)
	if len(t) > 1 {
		return t[1]
	}
	return w
}
