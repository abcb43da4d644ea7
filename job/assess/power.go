package assess

// PowerReport is what the chain can carry.
type PowerReport struct{}

func (j *judge) powers() error { return nil }
