package refcheck

import "testing"

func TestTablesLoad(t *testing.T) {
	n := 0
	for _, name := range Tables() {
		rows := Rows(t, name)
		n += len(rows)
		seen := map[string]bool{}
		for _, r := range rows {
			if seen[r.ID] {
				t.Errorf("%s: id %s stands twice", name, r.ID)
			}
			seen[r.ID] = true
		}
	}
	if n != 617+869 { // the counts that the tables' README and EM.md give
		t.Errorf("the reference tables hold %d rows, want 1486", n)
	}
}

func TestComplex(t *testing.T) {
	for s, want := range map[string]complex128{"0.1-0.2j": 0.1 - 0.2i, "-3j": -3i, "5": 5, "1e-3+2e1j": 1e-3 + 20i} {
		if got, err := Complex(s); err != nil || got != want {
			t.Errorf("Complex(%q) = %v, %v, want %v", s, got, err, want)
		}
	}
}
