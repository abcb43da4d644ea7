package launch

import "linewright/hardware/board"

// Design is a launch as its file says it: the geometry, and the stackup and
// connector it was drawn for.
type Design struct {
	Name      string
	Note      string
	Source    string
	Stackup   string // name of the stackup it belongs to
	Connector string // catalogue id of the board connector it was drawn for; empty: any
	Parameters
}

// FindDesign returns the design of that name.
func FindDesign(ds []Design, name string) (Design, bool) {
	for _, d := range ds {
		if d.Name == name {
			return d, true
		}
	}
	return Design{}, false
}

// FindStackup returns the stackup of that name; nil when there is none.
func FindStackup(ss []board.Stackup, name string) *board.Stackup {
	for i := range ss {
		if ss[i].Name == name {
			return &ss[i]
		}
	}
	return nil
}
