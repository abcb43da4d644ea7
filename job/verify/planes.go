package verify

import (
	"fmt"
	"strings"

	"linewright/hardware/chain"
)

// Planes are the reference planes that a file declares for its ports, in words.
type Planes struct{ One, Two string }

// A PlaneError says that a file was not measured between the chain's planes, or
// does not say so, and what to do.
type PlaneError struct {
	Port         int // from 1; 0: both
	Chain, Found string
	Problem      string
	Help         string
}

func (e *PlaneError) Error() string { return e.Problem + "; " + e.Help }

// CheckPlanes compares a file's planes with the chain's. Turned says that port 1
// stands at the right plane and port 2 at the left one: then the sample is to be
// turned round. Two names are one plane when they differ in case, punctuation
// and articles only.
//
// A comparison across different planes is the most usual way to count a launch
// twice or never, so that neither a difference nor silence is let pass.
func CheckPlanes(c chain.Chain, p Planes) (turned bool, err error) {
	if c.LeftPlane == "" || c.RightPlane == "" {
		return false, &PlaneError{Problem: "the chain does not say between which planes it stands", Help: "add left_plane and right_plane to its file"}
	}
	left, right, one, two := plane(c.LeftPlane), plane(c.RightPlane), plane(p.One), plane(p.Two)
	switch {
	case one == left && two == right:
		return false, nil
	case one == right && two == left:
		return true, nil
	case one == "" && two == "":
		return false, &PlaneError{Chain: c.LeftPlane + " … " + c.RightPlane, Problem: "the file does not say where its reference planes lie",
			Help: fmt.Sprintf("if it was measured between the chain's own planes (%s; %s), vouch for that, or name the planes it was measured at", c.LeftPlane, c.RightPlane)}
	}
	port, want, found := 1, c.LeftPlane, p.One
	if one == left || one == right {
		port, want, found = 2, c.RightPlane, p.Two
		if one == right && left != right {
			want = c.LeftPlane
		}
	}
	if found == "" {
		found = "not stated"
	}
	return false, &PlaneError{Port: port, Chain: want, Found: found, Problem: fmt.Sprintf("port %d stands at another plane than the chain: the file says %q, the chain %q", port, found, want),
		Help: "measure at the chain's planes, or take what lies between off as a fixture; if both names mean one plane, name it as the chain does"}
}

// plane reduces a plane's description to its telling words.
func plane(s string) string {
	var out []string
	for _, w := range strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return strings.ContainsRune(" \t.,;:-_()/'\"", r) }) {
		switch w {
		case "the", "a", "an", "of", "at", "its":
		default:
			out = append(out, w)
		}
	}
	return strings.Join(out, " ")
}
