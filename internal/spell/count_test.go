package spell

import "testing"

func TestCount(t *testing.T) {
	for _, x := range []struct {
		n          int
		noun, want string
	}{
		{1, "line", "1 line"}, {0, "line", "0 lines"}, {64, "line", "64 lines"},
		{1, "frequency", "1 frequency"}, {2, "frequency", "2 frequencies"},
		{2, "day", "2 days"}, {2, "match", "2 matches"}, {3, "box", "3 boxes"}, {2, "loss", "2 losses"},
	} {
		if got := Count(x.n, x.noun); got != x.want {
			t.Errorf("Count(%d, %q) = %q, want %q", x.n, x.noun, got, x.want)
		}
	}
}
