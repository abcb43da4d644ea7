package material

import (
	"fmt"
	"strings"
)

// Status says how a tabulated number came here.
type Status string

// The kinds of origin.
const (
	Published      Status = "published"       // read in the source named
	FromMemory     Status = "from memory"     // the source named was recalled, not read again
	CommonPractice Status = "common practice" // a class value of the trade, no single source
)

// Datum is one tabulated number with its origin.
type Datum struct {
	Value  float64 // SI
	Spread float64 // half the range in which sources, alloys or surfaces lie, relative to Value
	Source string
	Status Status
	Note   string // what contradicts it, or what it hangs on
}

// Known says whether the table has the number at all.
func (d Datum) Known() bool { return d.Status != "" }

// NamedMetal is a metal of the table. A quantity that the table lacks is not
// [Datum.Known].
type NamedMetal struct {
	Name                   string
	Aliases                []string
	Conductivity           Datum // at 293.15 K, S/m
	TemperatureCoefficient Datum // of resistivity about 293.15 K, 1/K
	Expansion              Datum // linear, 293 K to 373 K, 1/K
	ThermalConductivity    Datum // about 300 K, W/(m K)
	PolishedEmissivity     Datum // total, about 300 K
	OxidisedEmissivity     Datum // total, about 300 K
	Magnetic               bool  // its permeability must be measured; the table gives none
}

// Metal returns what the wave equations need. A magnetic metal gets a relative
// permeability of 1, which is right only for its non-magnetic states (nickel
// with much phosphorus) and at high frequency.
func (m NamedMetal) Metal() Metal {
	return Metal{Conductivity: m.Conductivity.Value, TemperatureCoefficient: m.TemperatureCoefficient.Value}
}

// NamedDielectric is a dielectric of the table.
type NamedDielectric struct {
	Name                string
	Aliases             []string
	Frequency           float64 // at which Permittivity and LossTangent stand, Hz
	Permittivity        Datum
	LossTangent         Datum
	Expansion           Datum // linear (in plane for laminates), 1/K
	ThermalConductivity Datum // about 300 K, W/(m K)
	Emissivity          Datum // total, about 300 K
}

// Dielectric returns constant permittivity and loss tangent, as tabulated.
func (d NamedDielectric) Dielectric() Dielectric {
	return Dielectric{Permittivity: d.Permittivity.Value, LossTangent: d.LossTangent.Value}
}

// FindMetal returns the metal of that name or alias, whatever its case.
func FindMetal(name string) (NamedMetal, error) {
	var names []string
	for _, m := range Metals() {
		if named(name, m.Name, m.Aliases) {
			return m, nil
		}
		names = append(names, m.Name)
	}
	return NamedMetal{}, fmt.Errorf("no metal %q in the table; it holds %s; or give the conductivity in S/m", name, strings.Join(names, ", "))
}

// FindDielectric returns the dielectric of that name or alias, whatever its
// case.
func FindDielectric(name string) (NamedDielectric, error) {
	var names []string
	for _, d := range Dielectrics() {
		if named(name, d.Name, d.Aliases) {
			return d, nil
		}
		names = append(names, d.Name)
	}
	return NamedDielectric{}, fmt.Errorf("no dielectric %q in the table; it holds %s; or give permittivity and loss tangent", name, strings.Join(names, ", "))
}

func named(want, name string, aliases []string) bool {
	if strings.EqualFold(want, name) {
		return true
	}
	for _, a := range aliases {
		if strings.EqualFold(want, a) {
			return true
		}
	}
	return false
}

// Metals returns the table of metals, a fresh copy each time.
//
// Sources: [pozar2012] App. F (conductivities, recalled except copper);
// [resistivitytable] (read); [mitchell2004] App. 8 (read); [cda] (alloys);
// [asm1990]; [crc] (expansion); [incropera2007] App. A (thermal conductivity,
// emissivity).
func Metals() []NamedMetal {
	const (
		pozar  = "[pozar2012] App. F"
		table  = "[resistivitytable]"
		crc    = "[crc], 20 to 100 °C"
		incrop = "[incropera2007] App. A"
	)
	return []NamedMetal{{
		Name:    "copper",
		Aliases: []string{"annealed copper"},
		Conductivity: Datum{AnnealedCopper, 0.02, "[iec60028]", Published,
			"58.13 MS/m in [pozar2012], 58.5 in [mitchell2004], 59.6 in [resistivitytable]: 1.4 % in loss; plated and rolled copper may lie lower"},
		TemperatureCoefficient: Datum{CopperCoefficient, 0.01, "[iec60028]", FromMemory, "0.0039 in [resistivitytable]"},
		Expansion:              Datum{16.5e-6, 0.05, crc, FromMemory, ""},
		ThermalConductivity:    Datum{401, 0.03, incrop, FromMemory, "pure"},
		PolishedEmissivity:     Datum{0.03, 0.67, incrop, FromMemory, "surface dependent"},
		OxidisedEmissivity:     Datum{0.65, 0.3, incrop, FromMemory, "surface dependent"},
	}, {
		Name:                   "silver",
		Conductivity:           Datum{61.73e6, 0.02, pozar, FromMemory, "63.0 MS/m in [resistivitytable] and [mitchell2004]; plating is lower"},
		TemperatureCoefficient: Datum{0.0038, 0.03, table, Published, ""},
		ThermalConductivity:    Datum{429, 0.03, incrop, FromMemory, "pure"},
	}, {
		Name:                   "gold",
		Conductivity:           Datum{41.0e6, 0.02, table, Published, "pure; hard gold with cobalt or nickel is well below"},
		TemperatureCoefficient: Datum{0.0034, 0.1, table, Published, ""},
		ThermalConductivity:    Datum{317, 0.03, incrop, FromMemory, "pure"},
	}, {
		Name:                   "aluminium",
		Aliases:                []string{"aluminum", "pure aluminium"},
		Conductivity:           Datum{37.7e6, 0.02, "[crc]", FromMemory, "38.16 MS/m in [pozar2012]; tables that print 34.5 to 35.4 mean the electrical grade"},
		TemperatureCoefficient: Datum{0.0039, 0.05, table, Published, ""},
		Expansion:              Datum{23.1e-6, 0.05, crc, FromMemory, ""},
		ThermalConductivity:    Datum{237, 0.03, incrop, FromMemory, "pure"},
	}, {
		Name:                   "aluminium, electrical grade",
		Aliases:                []string{"aluminum, electrical grade"},
		Conductivity:           Datum{35.0e6, 0.03, table, Published, "34.5 MS/m in [mitchell2004]; alloys for machining are lower still"},
		TemperatureCoefficient: Datum{0.0039, 0.05, table, Published, ""},
		Expansion:              Datum{23.1e-6, 0.05, crc, FromMemory, ""},
	}, {
		Name:                   "nickel",
		Conductivity:           Datum{14.3e6, 0.03, table, Published, "pure; electroless nickel with phosphorus is 1 to 2 MS/m (from memory) and may be non-magnetic"},
		TemperatureCoefficient: Datum{0.006, 0.1, table, Published, "pure"},
		ThermalConductivity:    Datum{90.7, 0.03, incrop, FromMemory, "pure"},
		Magnetic:               true,
	}, {
		Name:                   "tin",
		Conductivity:           Datum{9.17e6, 0.05, table, Published, ""},
		TemperatureCoefficient: Datum{0.0045, 0.05, table, Published, ""},
		ThermalConductivity:    Datum{66.6, 0.03, incrop, FromMemory, "pure"},
	}, {
		Name:                   "tungsten",
		Conductivity:           Datum{18.25e6, 0.02, pozar, FromMemory, "17.9 MS/m in [resistivitytable]"},
		TemperatureCoefficient: Datum{0.0045, 0.05, table, Published, ""},
		ThermalConductivity:    Datum{174, 0.03, incrop, FromMemory, "pure"},
	}, {
		Name:    "free-cutting brass C36000",
		Aliases: []string{"brass", "C36000", "CDA 360"},
		Conductivity: Datum{0.26 * AnnealedCopper, 0.1, "[cda], alloy 360: 26 % IACS annealed", Published,
			"textbook brass is 25.64 MS/m ([pozar2012] App. F, alloy not named): 30 % less loss than machined parts have"},
		TemperatureCoefficient: Datum{0.002, 0.25, "general physics textbook table", Published, "brass, alloy not named; 0.0015 in an engineering table"},
		ThermalConductivity:    Datum{115, 0.1, incrop, FromMemory, ""},
	}, {
		Name:                   "beryllium copper C17200",
		Aliases:                []string{"beryllium copper", "C17200"},
		Conductivity:           Datum{0.22 * AnnealedCopper, 0.15, "[cda], aged: 22 % IACS", FromMemory, "alloy and temper"},
		TemperatureCoefficient: Datum{0.001, 0.5, "", CommonPractice, "low, as in any strong alloy; measure it"},
		Expansion:              Datum{17.5e-6, 0.05, crc, FromMemory, ""},
	}, {
		Name:                   "stainless steel 304",
		Aliases:                []string{"stainless steel", "stainless steel 303"},
		Conductivity:           Datum{1.39e6, 0.05, "[asm1990]: 72 µΩ cm", FromMemory, "1.1 MS/m in [pozar2012], 1.45 in [resistivitytable], 1.40 for 301 in [mitchell2004]"},
		TemperatureCoefficient: Datum{0.00094, 0.2, table, FromMemory, ""},
		Expansion:              Datum{17.3e-6, 0.05, crc, FromMemory, ""},
		ThermalConductivity:    Datum{14.9, 0.1, incrop, FromMemory, ""},
	}, {
		Name:      "Fe-36Ni low-expansion alloy",
		Aliases:   []string{"Fe-36Ni"},
		Expansion: Datum{1.3e-6, 0.15, crc, FromMemory, "rises steeply above about 200 °C"},
		Magnetic:  true,
	}}
}

// Dielectrics returns the table of dielectrics, a fresh copy each time.
//
// Sources: [pozar2012] App. G (recalled; PTFE and polystyrene read in its
// examples), most of it from [vonhippel1954]; [incropera2007]; [crc]; class
// values are common practice.
func Dielectrics() []NamedDielectric {
	const (
		x, s   = 10e9, 3e9
		pozarG = "[pozar2012] App. G, after [vonhippel1954]"
		read   = "[pozar2012] Examples 3.1, 3.7, 4.2"
		incrop = "[incropera2007] App. A"
		crc    = "[crc], 20 to 100 °C"
	)
	class := func(v, spread float64) Datum {
		return Datum{v, spread, "data books of the generic class", CommonPractice, ""}
	}
	memory := func(v, spread float64) Datum { return Datum{v, spread, pozarG, FromMemory, ""} }
	return []NamedDielectric{{
		Name: "PTFE", Frequency: x,
		Permittivity: Datum{2.08, 0.03, read, Published, "2.05 at relative density 2.174 ([ehrlich1953]); 2.03 in semi-rigid cables"},
		LossTangent:  Datum{0.0004, 0.5, read, Published, "2e-4 to 3e-4 for good grades"},
		Expansion: Datum{120e-6, 0.35, "data books of the generic class, 25 to 100 °C", CommonPractice,
			"not linear: the volume steps by 1 to 1.8 % near 19 °C; see [PTFELowerTransition]"},
		ThermalConductivity: Datum{0.25, 0.2, incrop, FromMemory, ""},
		Emissivity:          Datum{0.87, 0.07, incrop, FromMemory, "surface dependent"},
	}, {
		Name: "PTFE, low density", Aliases: []string{"expanded PTFE"}, Frequency: x,
		Permittivity: class(1.45, 0.1),
		LossTangent:  class(0.0001, 0.5),
	}, {
		Name: "FEP", Frequency: x,
		Permittivity: class(2.05, 0.1),
		LossTangent:  class(0.0007, 0.5),
	}, {
		Name: "polyethylene", Frequency: x,
		Permittivity: memory(2.25, 0.025),
		LossTangent:  memory(0.0004, 0.5),
	}, {
		Name: "cross-linked polystyrene", Frequency: x,
		Permittivity: Datum{2.54, 0.01, read, Published, ""},
	}, {
		Name: "nylon 610", Frequency: s,
		Permittivity: memory(2.84, 0.025),
		LossTangent:  memory(0.012, 0.5),
	}, {
		Name: "fused quartz", Aliases: []string{"fused silica"}, Frequency: x,
		Permittivity: memory(3.78, 0.025),
		LossTangent:  memory(0.0001, 0.5),
		Expansion:    Datum{0.55e-6, 0.15, crc, FromMemory, ""},
	}, {
		Name:      "alumina 99.5 %",
		Expansion: Datum{6.9e-6, 0.15, crc, FromMemory, ""},
	}, {
		Name: "gallium arsenide", Frequency: x,
		Permittivity: memory(13, 0.025),
		LossTangent:  memory(0.006, 0.5),
	}, {
		Name: "silicon", Frequency: x,
		Permittivity: memory(11.9, 0.025),
		LossTangent:  Datum{0.004, 0.5, pozarG, FromMemory, "hangs on the doping; this is nearly pure silicon"},
	}, {
		Name: "laminate: PTFE/random glass", Frequency: x,
		Permittivity: class(2.2, 0.1),
		LossTangent:  class(0.0009, 0.5),
	}, {
		Name: "laminate: PTFE/ceramic", Frequency: x,
		Permittivity: class(3.0, 0.1),
		LossTangent:  class(0.0012, 0.5),
		Expansion:    class(17e-6, 0.3),
	}, {
		Name: "laminate: low-loss polyphenylene-ether class", Frequency: x,
		Permittivity: class(3.4, 0.1),
		LossTangent:  class(0.003, 0.5),
	}, {
		Name: "FR-4", Aliases: []string{"glass-epoxy laminate"},
		Expansion: Datum{15e-6, 0.25, "data books of the generic class", CommonPractice, "in plane; through the board several times more, and a jump above the glass transition"},
	}}
}
