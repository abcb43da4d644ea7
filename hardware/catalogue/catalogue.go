// Package catalogue is a set of parts and the check that finds entries which
// physics does not allow.
package catalogue

import (
	"fmt"
	"sort"

	"linewright/hardware/part"
	"linewright/hardware/series"
)

// Catalogue is what can be bought. IDs are unique across its kinds.
type Catalogue struct {
	Name            string
	Note            string
	Series          []series.Series // interface families of this catalogue's own
	Cables          []part.Cable
	CableConnectors []part.CableConnector
	BoardConnectors []part.BoardConnector
	Adapters        []part.Adapter
	Bullets         []part.Bullet
}

// Len returns the number of parts.
func (c Catalogue) Len() int {
	return len(c.Cables) + len(c.CableConnectors) + len(c.BoardConnectors) + len(c.Adapters) + len(c.Bullets)
}

// Join returns one catalogue of all the parts of several.
func Join(cs ...Catalogue) Catalogue {
	var all Catalogue
	for _, c := range cs {
		if all.Name == "" {
			all.Name = c.Name
		}
		all.Series = append(all.Series, c.Series...)
		all.Cables = append(all.Cables, c.Cables...)
		all.CableConnectors = append(all.CableConnectors, c.CableConnectors...)
		all.BoardConnectors = append(all.BoardConnectors, c.BoardConnectors...)
		all.Adapters = append(all.Adapters, c.Adapters...)
		all.Bullets = append(all.Bullets, c.Bullets...)
	}
	return all
}

// LookupSeries returns the series of that name, the catalogue's own first.
func (c Catalogue) LookupSeries(name string) (series.Series, bool) {
	for _, s := range c.Series {
		if s.Name == name {
			return s, true
		}
	}
	return series.Lookup(name)
}

// Cable returns the cable of that id.
func (c Catalogue) Cable(id string) (part.Cable, bool) {
	for i := range c.Cables { // by index: a part is a large value, and there may be thousands
		if c.Cables[i].ID == id {
			return c.Cables[i], true
		}
	}
	return part.Cable{}, false
}

// CableConnector returns the cable connector of that id.
func (c Catalogue) CableConnector(id string) (part.CableConnector, bool) {
	for i := range c.CableConnectors {
		if c.CableConnectors[i].ID == id {
			return c.CableConnectors[i], true
		}
	}
	return part.CableConnector{}, false
}

// BoardConnector returns the board connector of that id.
func (c Catalogue) BoardConnector(id string) (part.BoardConnector, bool) {
	for i := range c.BoardConnectors {
		if c.BoardConnectors[i].ID == id {
			return c.BoardConnectors[i], true
		}
	}
	return part.BoardConnector{}, false
}

// Adapter returns the adapter of that id.
func (c Catalogue) Adapter(id string) (part.Adapter, bool) {
	for i := range c.Adapters {
		if c.Adapters[i].ID == id {
			return c.Adapters[i], true
		}
	}
	return part.Adapter{}, false
}

// Bullet returns the bullet of that id.
func (c Catalogue) Bullet(id string) (part.Bullet, bool) {
	for i := range c.Bullets {
		if c.Bullets[i].ID == id {
			return c.Bullets[i], true
		}
	}
	return part.Bullet{}, false
}

// IDs returns every part's id, sorted.
func (c Catalogue) IDs() []string {
	var ids []string
	for _, p := range c.Cables {
		ids = append(ids, p.ID)
	}
	for _, p := range c.CableConnectors {
		ids = append(ids, p.ID)
	}
	for _, p := range c.BoardConnectors {
		ids = append(ids, p.ID)
	}
	for _, p := range c.Adapters {
		ids = append(ids, p.ID)
	}
	for _, p := range c.Bullets {
		ids = append(ids, p.ID)
	}
	sort.Strings(ids)
	return ids
}

// Fits says whether connector k is made for cable p: its list names the
// cable's id or its termination group.
func Fits(k part.CableConnector, p part.Cable) bool {
	for _, f := range k.Fits {
		if f == p.ID || p.Group != "" && f == p.Group {
			return true
		}
	}
	return false
}

// Severity says what a fault does to a part.
type Severity int

// An impossible entry contradicts physics or itself; a doubtful one may be
// right; an incomplete one lacks a condition without which a figure is worth
// little.
const (
	Impossible Severity = iota
	Doubtful
	Incomplete
)

func (s Severity) String() string { return [...]string{"impossible", "doubtful", "incomplete"}[s] }

// A Fault is one entry that should be looked at again.
type Fault struct {
	Part     string
	Field    string // the key in a catalogue file
	Severity Severity
	Problem  string // with the numbers
	Help     string
}

func (f Fault) String() string {
	return fmt.Sprintf("%s: %s: %s: %s; %s", f.Part, f.Field, f.Severity, f.Problem, f.Help)
}
