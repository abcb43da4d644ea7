package assess

// LifeReport is how long the joints and bends last.
type LifeReport struct{}

func (j *judge) lives() error { return nil }
