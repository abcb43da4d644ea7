package thermal

import "testing"

func BenchmarkCableAt(b *testing.B) {
	c, d, s := jacketed(), Drive{Power: 20, VSWR: 1.5}, room()
	for b.Loop() {
		if _, err := c.At(d, s); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCableRating(b *testing.B) {
	c, s := jacketed(), room()
	for b.Loop() {
		if _, err := c.Rating(Limits{Inner: HighPowerLimit}, Drive{}, s); err != nil {
			b.Fatal(err)
		}
	}
}
