//go:build unix

package field

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lock takes a file for this process alone; the system gives it back when the
// process ends, however it ends. taken says that another process has it.
func lock(f *os.File) (taken bool, err error) {
	err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	return errors.Is(err, unix.EWOULDBLOCK), err
}
