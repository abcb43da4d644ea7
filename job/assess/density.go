package assess

import (
	"math"

	"linewright/hardware/catalogue"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// DensityReport is what fits into the field.
type DensityReport struct{}

// PitchOf returns the smallest centre distance of neighbours at a face: as its
// datasheet states, else the usual one of its series with tool room; 0 when
// nothing says.
func PitchOf(h part.Handling, f part.Face, cat catalogue.Catalogue) units.Length {
	if h.Pitch != nil {
		return *h.Pitch
	}
	if h.GangPitch != nil {
		return *h.GangPitch
	}
	s, _ := cat.LookupSeries(f.Series)
	return s.Pitch
}

// PitchAvailable returns the largest pitch at which e's lines fit into its
// field: as stated, or that of the best arrangement of columns and rows.
func PitchAvailable(e enquiry.Enquiry) (pitch units.Length, ok bool) {
	f := e.Field
	switch {
	case f == nil:
		return 0, false
	case f.Pitch != nil:
		return *f.Pitch, true
	case f.Width == nil || f.Height == nil || e.Lines == nil || *e.Lines < 1:
		return 0, false
	}
	n := *e.Lines
	best := 0.0
	for columns := 1; columns <= n; columns++ {
		rows := (n + columns - 1) / columns
		if f.Columns != nil && columns != *f.Columns || f.Rows != nil && rows != *f.Rows {
			continue
		}
		best = math.Max(best, math.Min(float64(*f.Width)/float64(columns), float64(*f.Height)/float64(rows)))
	}
	return units.Length(best), best > 0
}

func (j *judge) densities() error { return nil }
