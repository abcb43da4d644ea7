package workspace

import (
	"io/fs"
	"os"

	"linewright/job/tolerance"
)

// ReadTolerances reads a file of tolerances, wherever it stands.
func ReadTolerances(name string) (tolerance.Tolerances, error) {
	var t tolerance.Tolerances
	info, err := os.Stat(name)
	switch {
	case err != nil:
		return t, Fault{File: name, Err: fs.ErrNotExist, Problem: "no such file", Help: "check the path given to --tolerances"}
	case info.IsDir():
		return t, Fault{File: name, Err: fs.ErrInvalid, Problem: "a folder, not a file", Help: "name a file in it"}
	case info.Size() > maxBytes:
		return t, Fault{File: name, Err: ErrTooLarge, Problem: "the file is too large to be one of tolerances", Help: "is it the right one?"}
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return t, err
	}
	_, err = decode(name, data, &t, false)
	return t, err
}
