package series

import "linewright/physics/units"

// Grade says how two faces of opposite gender go together.
type Grade int

// The four grades, from good to bad.
const (
	Performs    Grade = iota // mates and performs
	ReducedBand              // mates with reduced band
	GaugeFirst               // fits, but damages, or only after gauging
	DoesNotFit
)

func (g Grade) String() string {
	return [...]string{"mates and performs", "mates with reduced band", "fits but damages or only after gauging", "does not fit"}[g]
}

// Mating is the verdict on two series.
type Mating struct {
	Grade    Grade
	Top      units.Frequency // to where the pair serves; 0: as each series does
	Reason   string
	Standing string
	Source   string
}

type pair struct {
	a, b string
	Mating
}

var pairs = []pair{
	{"SMA", "3.5 mm", Mating{GaugeFirst, 18 * ghz, "intermate while both are in good condition; a worn or loose-tolerance SMA pin spreads the finer socket: gauge its depth first", published, mwj}},
	{"SMA", "2.92 mm", Mating{GaugeFirst, 18 * ghz, "intermate while both are in good condition; a worn or loose-tolerance SMA pin breaks the finer socket: gauge its depth first", published, mwj}},
	{"3.5 mm", "2.92 mm", Mating{ReducedBand, 33 * ghz, "mate mechanically; the pair serves as far as the larger line", published, mwj}},
	{"2.4 mm", "1.85 mm", Mating{ReducedBand, 50 * ghz, "mate mechanically; the pair serves as far as the larger line", practice, ""}},
	{"TNC", "TNCA", Mating{GaugeFirst, 11 * ghz, "compatible if the socket's dielectric does not protrude; performance is not ensured", published, "scope of IEC 61169-26:2013"}},
	{"7 mm", "N", Mating{DoesNotFit, 0, "same bore, other coupling: an adapter is needed", practice, ""}},
	{"1.85 mm", "1.35 mm", Mating{DoesNotFit, 0, "other thread and shoulder", practice, ""}},
	{"1.35 mm", "1.0 mm", Mating{DoesNotFit, 0, "a separate, more rugged interface; it is not to be assumed to mate", published, "Microwave Journal, 1.35 mm precision coaxial connector"}},
	{"SMP", "SMPM", Mating{DoesNotFit, 0, "other size", practice, ""}},
	{"SMP", "SMP3", Mating{DoesNotFit, 0, "other size", practice, ""}},
	{"MCX", "MMCX", Mating{DoesNotFit, 0, "other size", practice, ""}},
}

// Mate says how faces of the two named series go together, genders apart. Two
// different series without an entry are taken not to fit.
func Mate(a, b string) Mating {
	if a == b {
		return Mating{Grade: Performs, Reason: "same series"}
	}
	for _, p := range pairs {
		if p.a == a && p.b == b || p.a == b && p.b == a {
			return p.Mating
		}
	}
	return Mating{Grade: DoesNotFit, Reason: "different series; nothing here says that they mate"}
}
