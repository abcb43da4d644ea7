// Package part holds what a catalogue says about one item: a cable, a cable
// connector, a board connector, an adapter or a push-on bullet. A part is a
// plain value; a pointer field that is nil was not stated.
//
// A datasheet value is worthless without its conditions, so each carries them:
// the range in which a fit holds, the temperature it was taken at, whether it
// is typical or guaranteed, whether it counts per item or per mated pair, and
// its source.
package part

import (
	"linewright/physics/network"
	"linewright/physics/units"
)

// Standing says how far a figure can be trusted.
type Standing string

// The standings, from the strongest down.
const (
	Measured  Standing = "measured"
	Published Standing = "published" // read in a standard, a book or a paper
	Maker     Standing = "maker"     // the maker's datasheet
	Practice  Standing = "common practice"
	Memory    Standing = "from memory"
	Invented  Standing = "invented" // demo data
)

// Options lists the words a file may use.
func (Standing) Options() []string {
	return []string{"measured", "published", "maker", "common practice", "from memory", "invented"}
}

// Statistic says what a datasheet value vouches for.
type Statistic string

// A typical value is an average; a guaranteed one bounds every item.
const (
	Typical    Statistic = "typical"
	Guaranteed Statistic = "guaranteed"
)

// Options lists the words a file may use.
func (Statistic) Options() []string { return []string{"typical", "guaranteed"} }

// Per says what a connector's figure counts.
type Per string

// Most figures count one item; military pair figures count a mated pair, so
// that two items share one.
const (
	PerItem Per = "item"
	PerPair Per = "mated pair"
)

// Options lists the words a file may use.
func (Per) Options() []string { return []string{"item", "mated pair"} }

// Common is what every catalogue item has.
type Common struct {
	ID             string             // unique in the catalogue
	Maker          string             // who makes it; empty for a standard part
	Description    string             // one line for a parts list
	Source         string             // where the figures come from
	Standing       Standing           // how far they can be trusted
	RatedFrequency *units.Frequency   // highest frequency the maker rates it to
	LowFrequency   *units.Frequency   // lowest, for parts that block direct current
	MinTemperature *units.Temperature // operating range
	MaxTemperature *units.Temperature
	Price          *units.Money // of one item; of one metre for a cable
	Mass           *units.Mass  // of one item
	LeadTime       *units.Time
	MinimumOrder   *int
	Power          []PowerRating // continuous power the maker rates it to
	Model          *Model        // a measured or simulated file that replaces the figures
	Note           string
}

// A PowerRating is a continuous power with the conditions it was rated under.
type PowerRating struct {
	Power       units.Power
	At          units.Frequency
	Temperature *units.Temperature // ambient
	Altitude    *units.Length
	VSWR        *float64 // of the load
	Basis       string   // "inner conductor 204 °C", or what the datasheet says
}

// A Model is a Touchstone file that stands for the part, with what is in it.
type Model struct {
	File        string // path within the workspace
	Planes      string // between which planes, in words
	Includes    string // what is inside, such as "connector and 3 mm of trace"
	Temperature *units.Temperature
	Network     *network.Network `file:"-"` // filled in when the workspace is read
}

// A Reflection bounds the magnitude of a part's reflection. The points hold
// stepwise: each up to its frequency. A datasheet bound has no phase.
type Reflection struct {
	VSWR       *float64     // over the whole rated band
	ReturnLoss *units.Level // the same, as a return loss
	Points     []ReflectionPoint
	Statistic  Statistic
	Per        Per
}

// A ReflectionPoint bounds the reflection up to a frequency.
type ReflectionPoint struct {
	To         units.Frequency
	VSWR       *float64
	ReturnLoss *units.Level
}

// Attenuation is a cable's matched loss per length at one temperature:
//
//	A(f) = K1·√f + K2·f
//
// K1 the conductors' part, K2 the dielectric's (F2 of the trade; see
// [healey2009] for richer fits), or points between which A/√f is interpolated.
type Attenuation struct {
	K1          *units.RootAttenuation
	K2          *units.LinAttenuation
	FittedFrom  *units.Frequency // range of the fit: beyond it the fit is an extrapolation
	FittedTo    *units.Frequency
	Temperature *units.Temperature // at which the figures hold
	Points      []AttenuationPoint
	Statistic   Statistic
	Residual    *units.Level // rms residual of the fit
}

// An AttenuationPoint is one row of a datasheet's table.
type AttenuationPoint struct {
	At   units.Frequency
	Loss units.Attenuation
}

// Loss is a connector's dissipative loss: K·√f, or points.
type Loss struct {
	K           *units.RootLevel
	Points      []LossPoint
	Temperature *units.Temperature
	Statistic   Statistic
	Per         Per
}

// A LossPoint is one row of a datasheet's table.
type LossPoint struct {
	At   units.Frequency
	Loss units.Level
}

// Core is the electrical cross-section of a cable.
type Core struct {
	Diameter          *units.Length // of the dielectric, the bore of the outer conductor
	InnerDiameter     *units.Length // of the centre conductor; nil: from the impedance
	Permittivity      *float64
	LossTangent       *float64
	Dielectric        string              // "solid PTFE", "low-density PTFE"
	InnerConductivity *units.Conductivity // nil: copper
	OuterConductivity *units.Conductivity
	OuterFactor       *float64 // loss of a braid over that of a smooth tube
}

// A LengthChange is one row of a cable's electrical length against temperature.
type LengthChange struct {
	At     units.Temperature
	Change units.Ratio // of electrical length, relative to the table's reference
}

// CableConstruction is how a cable may be handled.
type CableConstruction string

// The constructions of the trade.
const (
	Flexible     CableConstruction = "flexible"
	HandFormable CableConstruction = "hand-formable"
	SemiRigid    CableConstruction = "semi-rigid"
	Armoured     CableConstruction = "armoured"
)

// Options lists the words a file may use.
func (CableConstruction) Options() []string {
	return []string{"flexible", "hand-formable", "semi-rigid", "armoured"}
}

// Cable is coaxial cable by the metre: Price and Mass count one metre.
type Cable struct {
	Common
	Construction   CableConstruction
	Group          string // the termination group that connectors name
	OuterDiameter  *units.Length
	Core           Core
	VelocityFactor *float64          // phase velocity over that of light
	Impedance      *units.Resistance // nil: 50 Ω
	Loss           Attenuation
	Reflection     Reflection     // of the cable itself, from its own irregularities
	LengthChanges  []LengthChange // measured; never one slope across the PTFE transitions
	BendStatic     *units.Length  // smallest inside radius, formed once
	BendDynamic    *units.Length  // the same, moved repeatedly
	FlexCycles     *int
	FlexPhase      *units.Angle // largest change of phase when flexed, at RatedFrequency
	CutTolerance   *units.Length
	Screening      *units.Level // screening attenuation per metre
	JacketMaterial string
	InnerLimit     *units.Temperature // highest temperature of the dielectric at the centre conductor
}

// Gender of a mating face.
type Gender string

// Genders are told by the centre contact.
const (
	Male    Gender = "male"
	Female  Gender = "female"
	Neutral Gender = "neutral"
)

// Options lists the words a file may use.
func (Gender) Options() []string { return []string{"male", "female", "neutral"} }

// Mates says whether two genders go together.
func (g Gender) Mates(h Gender) bool {
	return g == Male && h == Female || g == Female && h == Male || g == Neutral && h == Neutral
}

// Retention of a push-on joint, from high to low.
type Retention string

// The retention grades of the push-on families.
const (
	FullDetent    Retention = "full detent"
	LimitedDetent Retention = "limited detent"
	SmoothBore    Retention = "smooth bore"
)

// Options lists the words a file may use.
func (Retention) Options() []string { return []string{"full detent", "limited detent", "smooth bore"} }

// Face is a mating face: what has to meet its counterpart.
type Face struct {
	Series    string // "2.92 mm", "SMA", "SMP": a name package series knows
	Gender    Gender
	Retention Retention // push-on shrouds only
}

// Handling is what a connector face stands.
type Handling struct {
	Matings     *int          // cycles within its limits
	Torque      *units.Torque // coupling torque; nil: the series' own
	Engage      *units.Force  // push-on: to mate one line
	Separate    *units.Force  // push-on: at least, to part one line
	Pitch       *units.Length // smallest centre distance of neighbours, tool room included
	GangWays    *int          // lines in one block
	GangPitch   *units.Length
	Isolation   *units.Level // to the nearest neighbour at Pitch
	NutDiameter *units.Length
}

// CableConnector ends a cable.
type CableConnector struct {
	Common
	Face             Face
	Fits             []string // cable groups or ids it is made for
	Angle            *units.Angle
	Loss             Loss
	Reflection       Reflection
	ElectricalLength *units.Length // in air, mating plane to cable
	Handling         Handling
}

// Mount is how a board connector sits on its board.
type Mount string

// The mounts of the trade.
const (
	EdgeSolder          Mount = "edge solder"
	EdgeClamp           Mount = "edge clamp"
	VerticalSolder      Mount = "vertical solder"
	VerticalCompression Mount = "vertical compression"
	ThroughHole         Mount = "through hole"
	RightAngle          Mount = "right angle"
)

// Options lists the words a file may use.
func (Mount) Options() []string {
	return []string{"edge solder", "edge clamp", "vertical solder", "vertical compression", "through hole", "right angle"}
}

// Solderless says that the mount clamps instead of soldering.
func (m Mount) Solderless() bool { return m == EdgeClamp || m == VerticalCompression }

// Edge says that the mount needs the board's edge.
func (m Mount) Edge() bool { return m == EdgeSolder || m == EdgeClamp }

// BoardConnector joins a board to a mating face. Its figures are those of the
// connector alone: the launch is an element of its own.
type BoardConnector struct {
	Common
	Face             Face
	Mount            Mount
	BoardMin         *units.Length // thickness of board it fits
	BoardMax         *units.Length
	PinDiameter      *units.Length // of the contact on the board
	PadDiameter      *units.Length
	RingDiameter     *units.Length // of the ground opening, where the coax ends
	Loss             Loss
	Reflection       Reflection
	ElectricalLength *units.Length
	Handling         Handling
}

// Adapter joins two faces.
type Adapter struct {
	Common
	Left, Right      Face
	Loss             Loss
	Reflection       Reflection
	ElectricalLength *units.Length
	Handling         Handling
}

// Bullet joins two push-on faces board to board.
type Bullet struct {
	Common
	Left, Right      Face
	SeatedSpacing    *units.Length // distance of the boards when both ends are home
	PivotLength      *units.Length // between the two contact points, for the float
	MaxTilt          *units.Angle
	GapImpedance     *units.Resistance // of the line in an axial gap
	MaxGap           *units.Length     // largest axial gap that keeps contact
	Loss             Loss
	Reflection       Reflection
	ElectricalLength *units.Length
	Handling         Handling
}
