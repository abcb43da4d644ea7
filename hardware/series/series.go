// Package series knows the connector interface families: the line at their
// mating plane, the frequency from which it is over-moded, their coupling, and
// what mates with what.
//
// Every figure has its origin beside it. Values from memory and trade practice
// say so; where two sources disagree both stand in the notes.
package series

import (
	"slices"
	"sync"

	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/units"
)

// Standing words used in the table.
const (
	published = "published"
	practice  = "common practice"
	memory    = "from memory"
)

// Series is a connector interface family. A zero figure is not known here.
type Series struct {
	Name          string // "2.92 mm", "SMA", "SMP"
	Description   string
	Bore          units.Length // inside diameter of the outer conductor at the mating plane
	Pin           units.Length // diameter of the centre conductor there
	Permittivity  float64      // relative, of what fills the mating plane
	Dielectric    string       // "air", "PTFE"
	UsualTop      units.Frequency
	Coupling      string       // "threaded", "push-on", "bayonet", "snap-on"
	Torque        units.Torque // coupling torque
	MaxTorque     units.Torque
	Matings       int          // usual life in matings; grade dependent
	Pitch         units.Length // usual smallest centre distance, wrench room included
	Specification string       // IEC or IEEE document
	Neutral       bool         // no gender
	Origins       []Origin
}

// Origin says where a figure of a series comes from.
type Origin struct {
	Field    string
	Standing string
	Source   string
}

// From returns the origin of a field's figure.
func (s Series) From(field string) Origin {
	for _, o := range s.Origins {
		if o.Field == field {
			return o
		}
	}
	return Origin{Field: field}
}

// Line returns the coaxial line of the mating plane; ok is false where its
// dimensions are not known here.
func (s Series) Line() (l line.Coax, ok bool) {
	if s.Bore <= 0 || s.Pin <= 0 {
		return l, false
	}
	er := s.Permittivity
	if er == 0 {
		er = 1
	}
	return line.Coax{InnerDiameter: float64(s.Pin), OuterDiameter: float64(s.Bore), Filling: material.Dielectric{Permittivity: er}}, true
}

// ModeFreeLimit returns the TE11 cutoff of the line at the mating plane, from
// the exact Bessel cross product; 0 where the dimensions are not known. Beads
// and transitions inside a connector have limits of their own.
func (s Series) ModeFreeLimit() units.Frequency {
	if f, ok := limits()[s.plane()]; ok {
		return f
	}
	return s.modeFreeLimit()
}

func (s Series) modeFreeLimit() units.Frequency {
	l, ok := s.Line()
	if !ok {
		return 0
	}
	return units.Frequency(line.ModeFreeLimit(l))
}

// plane is all that the limit depends on.
type plane struct {
	bore, pin    units.Length
	permittivity float64
}

func (s Series) plane() plane { return plane{s.Bore, s.Pin, s.Permittivity} }

// limits holds the limits of the families: a root of Bessel functions each,
// asked for at every look at a chain.
var limits = sync.OnceValue(func() map[plane]units.Frequency {
	m := make(map[plane]units.Frequency, len(families))
	for _, s := range families {
		m[s.plane()] = s.modeFreeLimit()
	}
	return m
})

const (
	mm  = 1e-3
	ghz = 1e9
)

const (
	ieee287   = "IEEE Std 287-2007, table reproduced by a public microwave encyclopedia"
	designcon = "DesignCon 2024 compiled papers, Table I"
	mwj       = "Microwave Journal, intermateability of SMA, 3.5 mm and 2.92 mm"
)

// families are the series, the largest bore first, the push-on and small
// families after them.
var families = []Series{
	{Name: "14 mm", Description: "sexless precision", Bore: 14.2875 * mm, Pin: 6.204 * mm, Permittivity: 1, Dielectric: "air", UsualTop: 8.5 * ghz, Coupling: "threaded, sexless", Torque: 4, Neutral: true,
		Origins: []Origin{{"bore", memory, "IEEE 287 family"}, {"pin", memory, "50 ohm in air"}, {"usual top", memory, "IEEE 287 family"}, {"torque", published, ieee287}}},
	{Name: "7 mm", Description: "sexless precision", Bore: 7 * mm, Pin: 3.04 * mm, Permittivity: 1, Dielectric: "air", UsualTop: 18 * ghz, Coupling: "threaded, sexless", Torque: 1.5, Pitch: 28 * mm, Specification: "IEC 60457-2", Neutral: true,
		Origins: []Origin{{"bore", memory, "IEEE 287 family"}, {"pin", memory, "50 ohm in air"}, {"usual top", published, "Pozar, Microwave Engineering, 4th ed., p. 134"}, {"torque", published, ieee287}, {"specification", memory, "IEC catalogue"}, {"coupling", practice, ""}, {"dielectric", practice, ""}}},
	{Name: "N", Description: "general purpose", Bore: 7 * mm, Pin: 3.04 * mm, Permittivity: 1, Dielectric: "air", UsualTop: 11 * ghz, Coupling: "threaded", Torque: 1.5, Matings: 500, Pitch: 26 * mm, Specification: "IEC 61169-16",
		Origins: []Origin{{"bore", published, "title of IEC 61169-16"}, {"pin", memory, "50 ohm in air"}, {"usual top", published, "Pozar, Microwave Engineering, 4th ed., p. 134: 11 to 18 GHz depending on the cable"}, {"torque", memory, "1.36 N·m of MIL practice"}, {"matings", practice, ""}, {"specification", published, "IEC catalogue"}, {"coupling", published, "title of IEC 61169-16"}}},
	{Name: "TNC", Description: "general purpose", Bore: 6.5 * mm, Permittivity: 1, UsualTop: 11 * ghz, Coupling: "threaded", Matings: 500, Pitch: 20 * mm, Specification: "IEC 61169-17",
		Origins: []Origin{{"bore", published, "title of IEC 61169-17"}, {"usual top", published, "IEC 61169-26 scope recommends TNCA above 11 GHz"}, {"matings", practice, ""}, {"specification", published, "IEC catalogue"}, {"coupling", published, "title of IEC 61169-17"}}},
	{Name: "TNCA", Description: "air interface of the TNC family", UsualTop: 18 * ghz, Coupling: "threaded", Matings: 500, Pitch: 20 * mm, Specification: "IEC 61169-26",
		Origins: []Origin{{"usual top", published, "scope of IEC 61169-26:2013"}, {"matings", practice, ""}, {"specification", published, "IEC catalogue"}, {"coupling", practice, ""}}},
	{Name: "BNC", Description: "bayonet", UsualTop: 4 * ghz, Coupling: "bayonet", Matings: 500, Pitch: 20 * mm,
		Origins: []Origin{{"usual top", practice, ""}, {"coupling", practice, ""}, {"matings", practice, ""}}},
	{Name: "SMA", Description: "filled interface", Bore: 4.13 * mm, Pin: 1.27 * mm, Permittivity: 2.05, Dielectric: "PTFE", UsualTop: 18 * ghz, Coupling: "threaded", Torque: 0.9, Matings: 500, Pitch: 13 * mm, Specification: "IEC 61169-15",
		Origins: []Origin{{"bore", memory, "title of IEC 61169-15"}, {"pin", memory, "female contact"}, {"permittivity", published, "PTFE, 2.05 at relative density 2.174"}, {"dielectric", published, mwj}, {"usual top", practice, "18 GHz; to about 26 GHz where the filled line's own limit lies"}, {"torque", practice, "0.8 to 1.1 N·m for steel; 0.57 N·m for brass or instrument ports"}, {"matings", published, mwj}, {"specification", published, "IEC catalogue"}, {"coupling", practice, ""}}},
	{Name: "3.5 mm", Description: "air interface", Bore: 3.5 * mm, Pin: 1.5199 * mm, Permittivity: 1, Dielectric: "air", UsualTop: 33 * ghz, Coupling: "threaded", Torque: 0.9, Matings: 3000, Pitch: 13 * mm, Specification: "IEEE Std 287",
		Origins: []Origin{{"bore", published, designcon}, {"pin", published, designcon}, {"usual top", published, designcon + "; 26.5 GHz is often quoted, about 34 GHz in practice"}, {"torque", practice, "0.9 N·m (8 in·lbf); " + ieee287 + " prints 1.5 ± 0.2 N·m, against practice"}, {"matings", published, mwj}, {"dielectric", published, mwj}, {"coupling", practice, ""}, {"specification", published, "IEEE Std 287-2007 title"}}},
	{Name: "2.92 mm", Description: "air interface", Bore: 2.92 * mm, Pin: 1.268 * mm, Permittivity: 1, Dielectric: "air", UsualTop: 40 * ghz, Coupling: "threaded", Torque: 0.8, MaxTorque: 1.8, Matings: 500, Pitch: 12 * mm, Specification: "IEC 61169-35",
		Origins: []Origin{{"bore", published, designcon}, {"pin", published, designcon}, {"usual top", published, designcon}, {"torque", published, ieee287}, {"max torque", published, ieee287}, {"matings", practice, ""}, {"specification", published, "IEC catalogue"}, {"coupling", practice, ""}, {"dielectric", practice, ""}}},
	{Name: "2.4 mm", Description: "air interface", Bore: 2.4 * mm, Pin: 1.0423 * mm, Permittivity: 1, Dielectric: "air", UsualTop: 50 * ghz, Coupling: "threaded", Torque: 0.9, MaxTorque: 1.6, Matings: 500, Pitch: 11 * mm, Specification: "IEEE Std 287",
		Origins: []Origin{{"bore", published, designcon}, {"pin", published, designcon}, {"usual top", published, designcon}, {"torque", published, ieee287}, {"max torque", published, ieee287}, {"matings", practice, ""}, {"specification", published, "IEEE Std 287-2007 title"}, {"coupling", practice, ""}, {"dielectric", practice, ""}}},
	{Name: "1.85 mm", Description: "air interface", Bore: 1.85 * mm, Pin: 0.8035 * mm, Permittivity: 1, Dielectric: "air", UsualTop: 65 * ghz, Coupling: "threaded", Torque: 0.9, MaxTorque: 1.6, Matings: 500, Pitch: 10 * mm, Specification: "IEC 61169-32",
		Origins: []Origin{{"bore", published, designcon}, {"pin", published, designcon}, {"usual top", published, designcon + "; 67 GHz often quoted"}, {"torque", published, ieee287}, {"max torque", published, ieee287}, {"matings", practice, ""}, {"specification", memory, "IEC catalogue"}, {"coupling", practice, ""}, {"dielectric", practice, ""}}},
	{Name: "1.35 mm", Description: "air interface", Bore: 1.35 * mm, Pin: 0.586 * mm, Permittivity: 1, Dielectric: "air", UsualTop: 90 * ghz, Coupling: "threaded", Pitch: 9 * mm, Specification: "IEC 61169-65",
		Origins: []Origin{{"bore", published, "IEC 61169-65:2021 title"}, {"pin", "computed here", "50 ohm in air"}, {"usual top", published, "scope of IEC 61169-65:2021; about 95 GHz in practice"}, {"specification", published, "IEC catalogue"}, {"coupling", practice, ""}, {"dielectric", practice, ""}}},
	{Name: "1.0 mm", Description: "air interface", Bore: 1.0 * mm, Pin: 0.434 * mm, Permittivity: 1, Dielectric: "air", UsualTop: 110 * ghz, Coupling: "threaded", Torque: 0.45, MaxTorque: 0.7, Pitch: 8 * mm, Specification: "IEEE Std 287",
		Origins: []Origin{{"bore", published, designcon}, {"pin", published, designcon}, {"usual top", published, designcon}, {"torque", published, ieee287}, {"max torque", published, ieee287}, {"specification", published, "IEEE Std 287-2007 title"}, {"coupling", practice, ""}, {"dielectric", practice, ""}}},
	{Name: "0.8 mm", Description: "air interface", Bore: 0.8 * mm, Pin: 0.3475 * mm, Permittivity: 1, Dielectric: "air", UsualTop: 145 * ghz, Coupling: "threaded", Pitch: 8 * mm,
		Origins: []Origin{{"bore", practice, ""}, {"pin", "computed here", "50 ohm in air"}, {"usual top", practice, ""}, {"coupling", practice, ""}}},
	{Name: "SMP", Description: "push-on", UsualTop: 40 * ghz, Coupling: "push-on", Matings: 100, Pitch: 4.5 * mm, Specification: "IEC 61169-44",
		Origins: []Origin{{"usual top", published, "IEC 61169-44:2012"}, {"matings", practice, "100 in full detent, 1000 in smooth bore"}, {"pitch", practice, "4 to 5 mm"}, {"specification", published, "IEC catalogue"}, {"coupling", practice, ""}}},
	{Name: "SMPM", Description: "push-on, smaller", UsualTop: 65 * ghz, Coupling: "push-on", Matings: 100, Pitch: 3.5 * mm, Specification: "IEC 61169-60",
		Origins: []Origin{{"usual top", practice, "limit of IEC 61169-60:2021 not seen"}, {"matings", practice, ""}, {"pitch", practice, "3 to 3.8 mm"}, {"specification", published, "IEC catalogue"}, {"coupling", practice, ""}}},
	{Name: "SMP3", Description: "push-on, smaller", UsualTop: 65 * ghz, Coupling: "push-on", Matings: 100, Pitch: 3.5 * mm, Specification: "IEC 61169-69",
		Origins: []Origin{{"usual top", published, "IEC 61169-69:2024"}, {"matings", practice, ""}, {"pitch", practice, ""}, {"specification", published, "IEC catalogue"}, {"coupling", practice, ""}}},
	{Name: "MCX", Description: "snap-on", UsualTop: 6 * ghz, Coupling: "snap-on", Matings: 500, Pitch: 6 * mm,
		Origins: []Origin{{"usual top", practice, ""}, {"coupling", practice, ""}, {"matings", practice, ""}, {"pitch", practice, ""}}},
	{Name: "MMCX", Description: "snap-on, smaller", UsualTop: 6 * ghz, Coupling: "snap-on", Matings: 500, Pitch: 4.5 * mm, Specification: "IEC 61169-52",
		Origins: []Origin{{"usual top", practice, ""}, {"coupling", practice, ""}, {"matings", practice, ""}, {"specification", memory, "IEC catalogue"}, {"pitch", practice, ""}}},
}

// All returns the series, the largest bore first, the push-on and small
// families after them.
func All() []Series { return slices.Clone(families) }

// Lookup returns the series of that name among those known here.
func Lookup(name string) (Series, bool) {
	for i := range families {
		if families[i].Name == name {
			return families[i], true
		}
	}
	return Series{}, false
}

// RetentionMatings returns the usual life of a push-on joint by its retention
// grade: 100 matings in full detent, 1000 in smooth bore, with 500 between
// them. Common practice; grade dependent by a factor of two.
func RetentionMatings(retention string) int {
	switch retention {
	case "full detent":
		return 100
	case "limited detent":
		return 500
	case "smooth bore":
		return 1000
	}
	return 0
}
