package assess

// JointReport is the push-on joint's stack-up.
type JointReport struct{}

func (j *judge) joints() error { return nil }
