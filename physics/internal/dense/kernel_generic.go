//go:build !amd64 || noasm

package dense

// available lists the products this machine can run, the fastest first.
func available() []product { return []product{plain} }
