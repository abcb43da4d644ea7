package view

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"sort"

	"linewright/app/workspace"
	"linewright/physics/fdtd"
)

// FieldPicture is the electric field on a plane at a frequency, as a raster of
// points from the top left on. The instantaneous magnitude at phase φ is
//
//	|E(φ)|² = re2 cos²φ + im2 sin²φ − 2 cross sinφ cosφ
//
// where re2 = Σ(Re E)², im2 = Σ(Im E)², cross = Σ Re E · Im E over the three
// components, each over the square of the largest magnitude.
type FieldPicture struct {
	Axis        string     `json:"axis"` // that the plane is across
	AtM         float64    `json:"at_m"`
	FrequencyHz float64    `json:"frequency_hz"`
	Fed         string     `json:"fed"` // the port that is fed with 1 W
	Across      [2]string  `json:"across"`
	X0          float64    `json:"x0_m"`
	X1          float64    `json:"x1_m"`
	Y0          float64    `json:"y0_m"`
	Y1          float64    `json:"y1_m"`
	Columns     int        `json:"columns"`
	Rows        int        `json:"rows"`
	Largest     *float64   `json:"largest_v_per_m"` // peak value of the largest magnitude, for 1 W
	Re2         []*float64 `json:"re2"`             // null in metal
	Im2         []*float64 `json:"im2"`
	Cross       []*float64 `json:"cross"`
	Cut         Cut        `json:"cut"` // what stands in the plane
}

// NewFieldPicture rasters a picture; long is the number of points along its longer side.
func NewFieldPicture(s workspace.Structure, p fdtd.Picture, long int) FieldPicture {
	fed := s.Options.Slices[p.Slice].Port
	out := FieldPicture{Axis: string("xyz"[p.Axis]), AtM: p.At, FrequencyHz: p.Frequency, Fed: s.Model.Ports[fed].Name, Cut: StructureCut(s, p.Axis, p.At)}
	if name := s.File.Ports[fed].Name; name != "" {
		out.Fed = name
	}
	out.Across = out.Cut.Across
	xs, ys := p.U, p.V // bounds to the right and upward
	nu := len(p.U) - 1
	at := func(i, j int) int { return i + j*nu }
	if p.Axis == 1 { // the solver's order is z, x
		xs, ys = p.V, p.U
		at = func(i, j int) int { return j + i*nu }
	}
	out.X0, out.X1, out.Y0, out.Y1 = xs[0], xs[len(xs)-1], ys[0], ys[len(ys)-1]
	w, h := out.X1-out.X0, out.Y1-out.Y0
	step := math.Max(w, h) / float64(long)
	out.Columns, out.Rows = max(1, int(math.Round(w/step))), max(1, int(math.Round(h/step)))
	cell := func(b []float64, x float64) int {
		return min(max(sort.SearchFloat64s(b, x)-1, 0), len(b)-2)
	}
	largest := 0.0
	e := p.MagnitudeE()
	for i, x := range e {
		if !p.Metal[i] {
			largest = math.Max(largest, x)
		}
	}
	out.Largest = number(largest)
	for r := range out.Rows {
		j := cell(ys, out.Y1-(float64(r)+0.5)*h/float64(out.Rows))
		for c := range out.Columns {
			k := at(cell(xs, out.X0+(float64(c)+0.5)*w/float64(out.Columns)), j)
			if p.Metal[k] || largest == 0 {
				out.Re2, out.Im2, out.Cross = append(out.Re2, nil), append(out.Im2, nil), append(out.Cross, nil)
				continue
			}
			re2, im2, cross := 0.0, 0.0, 0.0
			for a := range 3 {
				re, im := real(p.E[a][k])/largest, imag(p.E[a][k])/largest
				re2, im2, cross = re2+re*re, im2+im*im, cross+re*im
			}
			out.Re2, out.Im2, out.Cross = append(out.Re2, short(re2)), append(out.Im2, short(im2)), append(out.Cross, short(cross))
		}
	}
	return out
}

// short is a number of four digits, as a picture needs it.
func short(x float64) *float64 {
	if x == 0 || math.Abs(x) < 1e-9 {
		return number(0)
	}
	d := math.Pow(10, 3-math.Floor(math.Log10(math.Abs(x))))
	return number(math.Round(x*d) / d)
}

// FieldRange is how far below the largest magnitude a picture's colours reach, dB.
const FieldRange = 40

// fieldColours run from little to much in even steps of lightness.
var fieldColours = [...][3]float64{{12, 16, 43}, {36, 60, 134}, {32, 125, 143}, {108, 184, 96}, {253, 231, 110}}

// FieldColour is the colour of a magnitude, as a part of the largest.
func FieldColour(x float64) color.NRGBA {
	t := 1 + 20*math.Log10(math.Max(x, 1e-9))/FieldRange
	t = math.Min(math.Max(t, 0), 1) * float64(len(fieldColours)-1)
	i := min(int(t), len(fieldColours)-2)
	t -= float64(i)
	var c [3]uint8
	for k := range c {
		c[k] = uint8(math.Round(fieldColours[i][k] + t*(fieldColours[i+1][k]-fieldColours[i][k])))
	}
	return color.NRGBA{c[0], c[1], c[2], 255}
}

// PNG paints the peak magnitude in steps of colour, metal grey.
func (p FieldPicture) PNG() ([]byte, error) {
	img := image.NewNRGBA(image.Rect(0, 0, p.Columns, p.Rows))
	for i := range p.Re2 {
		c := color.NRGBA{150, 150, 150, 255}
		if p.Re2[i] != nil {
			c = FieldColour(math.Sqrt(*p.Re2[i] + *p.Im2[i]))
		}
		img.SetNRGBA(i%p.Columns, i/p.Columns, c)
	}
	var b bytes.Buffer
	err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, img)
	return b.Bytes(), err
}

// Says is what a picture shows, in words.
func (p FieldPicture) Says() string {
	return fmt.Sprintf("Electric field at %.4g GHz, port %s fed with 1 W: peak values, from the largest, %.3g kV/m, to %d dB below", p.FrequencyHz/1e9, p.Fed, *p.Largest/1e3, FieldRange)
}
