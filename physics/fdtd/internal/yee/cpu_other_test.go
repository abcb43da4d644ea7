//go:build !linux

package yee

import "time"

var began = time.Now()

// cpuSeconds returns the time since the test began, in s.
func cpuSeconds() float64 { return time.Since(began).Seconds() }
