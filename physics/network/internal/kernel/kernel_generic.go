//go:build !amd64 || noasm

package kernel

// available lists the implementations this machine can run, the fastest first.
func available() []implementation { return []implementation{plain} }
