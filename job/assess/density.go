package assess

// DensityReport is what fits into the field.
type DensityReport struct{}

func (j *judge) densities() error { return nil }
