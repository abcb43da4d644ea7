package yee

import "golang.org/x/sys/unix"

// cpuSeconds returns the processor time of this thread, in s: on a busy machine
// the fairer clock. The caller has locked its goroutine to the thread.
func cpuSeconds() float64 {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_THREAD_CPUTIME_ID, &t); err != nil {
		panic(err)
	}
	return float64(t.Sec) + float64(t.Nsec)/1e9
}
