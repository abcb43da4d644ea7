package field

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lock takes a file for this process alone; the system gives it back when the
// process ends, however it ends. taken says that another process has it.
func lock(f *os.File) (taken bool, err error) {
	err = windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, new(windows.Overlapped))
	return errors.Is(err, windows.ERROR_LOCK_VIOLATION), err
}
