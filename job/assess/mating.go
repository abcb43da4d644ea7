package assess

import (
	"linewright/hardware/catalogue"
	"linewright/hardware/part"
	"linewright/hardware/series"
)

// Life returns the number of matings a face stands: as its datasheet states,
// else the usual figure of its retention grade or series; 0 when nothing says.
func Life(h part.Handling, f part.Face, cat catalogue.Catalogue) int {
	if h.Matings != nil {
		return *h.Matings
	}
	if n := series.RetentionMatings(string(f.Retention)); n > 0 {
		return n
	}
	s, _ := cat.LookupSeries(f.Series)
	return s.Matings
}

func (j *judge) matings() error { return nil }
