package timedomain_test

import (
	"math"
	"testing"

	td "linewright/physics/timedomain"
)

func noise(n int) td.Spectrum {
	s := td.Spectrum{Step: 1e7, S: make([]complex128, n+1)}
	for k := range s.S {
		s.S[k] = 0.1 * cis(float64(k)*float64(k)) * complex(math.Exp(-float64(k)/float64(n)), 0)
	}
	s.S[0] = complex(real(s.S[0]), 0)
	return s
}

// The fast transform and its definition summed point by point.
func BenchmarkTransform(b *testing.B) {
	for _, c := range []struct {
		name      string
		harmonics int
	}{{"200", 200}, {"20000", 20000}} {
		s := noise(c.harmonics)
		o := td.Options{Window: td.Hann}
		b.Run("fast/"+c.name, func(b *testing.B) {
			points := 0
			for range b.N {
				points += len(s.Impulse(o).Value)
			}
			b.ReportMetric(float64(points)/b.Elapsed().Seconds(), "points/s")
		})
	}
	s := noise(200)
	b.Run("sum/200", func(b *testing.B) {
		for k := range b.N {
			s.ImpulseAt(float64(k)*1e-12, td.Hann)
		}
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "points/s")
	})
}

func BenchmarkExcite(b *testing.B) {
	s := noise(20000)
	for range b.N {
		s.Excite(td.Gaussian{Rise: 1e-11}, td.Options{})
	}
}

func BenchmarkPeel(b *testing.B) {
	h := make([]float64, 20000)
	for k := range h {
		h[k] = 1e-3 * math.Sin(float64(k*k))
	}
	for range b.N {
		if _, err := td.Peel(h); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*float64(len(h))/b.Elapsed().Seconds(), "layers/s")
}

func BenchmarkCausality(b *testing.B) {
	s := noise(20000)
	for range b.N {
		if _, err := s.Causality(td.CausalityOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
