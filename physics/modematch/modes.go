package modematch

import (
	"fmt"
	"math"

	"linewright/physics/line"
)

// SectionModes lists the modes that a section can carry.
type SectionModes struct {
	Section int // counts from 1
	// Modes are the higher modes, the lowest cutoff first, TE and TM and all
	// angular orders: those that travel within the sweep and at least three.
	Modes []line.Mode
	// ModeFree is the lowest cutoff, Hz: below it only TEM travels, or nothing
	// in a hollow section.
	ModeFree float64
}

// ModeWarning says that a higher mode travels in a section inside the sweep.
// TM0n modes are part of the solution; the others are excited by what breaks
// the symmetry: an offset, a slot, a tilted bead.
type ModeWarning struct {
	Section  int // counts from 1
	Mode     line.Mode
	Top      float64 // highest frequency of the sweep, Hz
	Included bool    // in the solution
}

func (w ModeWarning) Error() string {
	effect := "it is not excited while the body is round and centred, and not in the solution"
	if w.Included {
		effect = "it is in the solution, resonances included"
	}
	return fmt.Sprintf("section %d carries %s from %.5g GHz, the sweep ends at %.5g GHz: %s",
		w.Section, w.Mode.Name, w.Mode.Cutoff/1e9, w.Top/1e9, effect)
}

// mostModes bounds the list of modes of one section.
const mostModes = 96

// cutoff returns the cutoff frequency, Hz, in a medium of the given index.
func cutoff(kc, index float64) float64 { return c0 * kc / (2 * math.Pi * index) }

// sectionModes lists the modes of every section of b for a sweep up to top,
// and warns of those that travel.
func sectionModes(b Body, top float64) (sections []SectionModes, warnings []ModeWarning) {
	for i, s := range b.Sections {
		index := math.Sqrt(real(s.permittivity()))
		m := SectionModes{Section: i + 1}
		for count := 3; ; count *= 2 {
			found := line.CircularModes(s.InnerDiameter, s.OuterDiameter, count)
			if cutoff(found[count-1].Kc, index) <= top && count < mostModes {
				continue
			}
			for k, c := range found {
				mode := line.Mode{Name: c.Name(), Cutoff: cutoff(c.Kc, index)}
				travels := mode.Cutoff < top
				if k < 3 || travels {
					m.Modes = append(m.Modes, mode)
				}
				if travels {
					warnings = append(warnings, ModeWarning{Section: i + 1, Mode: mode, Top: top, Included: !c.TE && c.N == 0})
				}
			}
			break
		}
		m.ModeFree = m.Modes[0].Cutoff
		sections = append(sections, m)
	}
	return sections, warnings
}
