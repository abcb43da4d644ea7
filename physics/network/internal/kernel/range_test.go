package kernel

import (
	"math"
	"math/rand/v2"
	"testing"
)

// All implementations give the plain one's numbers over odd lengths, with and
// without weights; a NaN at any place is not lost.
func TestRange(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 0))
	for n := range 70 {
		x, w := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], w[i] = r.NormFloat64(), r.Float64()
		}
		for _, with := range availableRanges() {
			for _, weight := range [][]float64{nil, w} {
				least, most := rangePlain(x, weight)
				if a, b := with.run(x, weight); a != least || b != most {
					t.Fatalf("%s, %d numbers: %g to %g, want %g to %g", with.name, n, a, b, least, most)
				}
			}
			for i := range x {
				was := x[i]
				x[i] = math.NaN()
				if a, b := with.run(x, nil); a == a || b == b {
					t.Fatalf("%s, %d numbers: the NaN at %d is lost: %g to %g", with.name, n, i, a, b)
				}
				x[i] = was
			}
		}
	}
}
