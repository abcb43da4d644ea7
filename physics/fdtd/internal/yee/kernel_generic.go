//go:build !amd64 || noasm

package yee

// available lists the kernels this machine can run, the fastest first.
func available[T Float]() []kernel[T] { return []kernel[T]{plain[T]()} }
