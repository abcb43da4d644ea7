//go:build !amd64 || noasm

package yee

// toucher is of machines with assembly.
func toucher() func(x []float32) { return nil }
