package plot

import (
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"
)

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		n         int
		want      []float64
	}{{0, 10, 5, []float64{0, 2, 4, 6, 8, 10}}, {18, 110, 5, []float64{20, 40, 60, 80, 100}}, {-0.4, 0.4, 4, []float64{-0.4, -0.2, 0, 0.2, 0.4}}} {
		got := Ticks(c.low, c.high, c.n)
		if len(got) != len(c.want) {
			t.Errorf("Ticks(%g, %g) = %v, want %v", c.low, c.high, got, c.want)
			continue
		}
		for i := range got {
			if !(math.Abs(got[i]-c.want[i]) <= 1e-12) {
				t.Errorf("Ticks(%g, %g) = %v, want %v", c.low, c.high, got, c.want)
			}
		}
	}
}

// The drawing is well-formed, keeps its numbers finite whatever comes in, and
// does not let a name break out.
func TestSVG(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, y := range [][]float64{{1, 2, 3}, {nan, nan, nan}, {1, inf, 2}, {5, 5, 5}} {
		p := Page{Title: `chain <script>alert("x")</script>`, Notes: []string{"a & b"}, Charts: []Chart{{Title: "loss", X: []float64{1, 2, 3},
			Lines: []Line{{Name: "<b>", Y: y}}, Bands: []Band{{Name: "band", Low: y, High: y}}, Limits: []Limit{{1, 2, 3, 2, true}}}}}
		svg := string(p.SVG())
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") || strings.Contains(svg, "<script") {
			t.Errorf("%v draws a number or a tag that must not be there", y)
		}
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			if _, err := d.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Fatalf("%v: %v", y, err)
			}
		}
	}
}
