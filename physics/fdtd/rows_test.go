package fdtd

import (
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

// The rows of em_3d.csv that no test of this package meets, by id or prefix.
var notCovered = map[string]string{
	"open-S01.001": "TestOpenEnd, under -long; physics/line has the formula",
	"open-S01.004": "TestOpenEnd, under -long; physics/line has it",
}

// Every row of em_3d.csv is met by a test here, or is listed with the reason.
func TestEveryRowHasAPlace(t *testing.T) {
	for _, r := range refcheck.Rows(t, "em_3d.csv") {
		met := false
		for _, p := range []string{"cav-", "fd-", "wg-", "probe-", "via-", "disp-", "open-S01.002", "open-S01.003"} {
			met = met || strings.HasPrefix(r.ID, p)
		}
		if doubted[r.ID] {
			met = true // with the reason there
		}
		for p := range notCovered {
			met = met || strings.HasPrefix(r.ID, p)
		}
		if !met {
			t.Errorf("%s: %s of %s has no test and no reason", r.ID, r.Quantity, r.Inputs["case"])
		}
	}
}
