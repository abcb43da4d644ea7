package spell

import "testing"

func TestDistance(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"", "abc", 3}, {"µm", "um", 1}, {"GHz", "GHz", 0}} {
		if got := Distance(c.a, c.b); got != c.want {
			t.Errorf("Distance(%q, %q) = %d, want %d", c.a, c.b, got, c.want)
		}
	}
}

func TestNearest(t *testing.T) {
	known := []string{"insertion_loss", "return_loss", "vswr", "mass"}
	for word, want := range map[string]string{"VSWR": "vswr", "return_los": "return_loss", "insertion": "insertion_loss", "price": "", "x": ""} {
		if got := Nearest(word, known, 2); got != want {
			t.Errorf("Nearest(%q) = %q, want %q", word, got, want)
		}
	}
}
