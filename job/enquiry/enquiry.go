// Package enquiry holds what a customer asks for, what he left open, and where
// he contradicts himself. An enquiry is a plain value; a nil field was not
// stated, and a field named in Unknown was asked for and not known. Both stay
// visible to the end: they become questions, not defaults.
package enquiry

import (
	"linewright/hardware/board"
	"linewright/hardware/part"
	"linewright/physics/units"
)

// Enquiry is one request, between two reference planes.
type Enquiry struct {
	ID          string // the file's name without its ending
	Title       string
	Customer    string
	Received    string // date as received, not interpreted
	Source      string // document and revision
	Note        string
	Application Application
	Band        []Band           // bands in which the limits hold
	ModeFreeTo  *units.Frequency // every cross-section mode-free to here; nil: to the top of the band
	From, To    End
	Path        Path
	Limits      Limits
	Match       *Match
	Environment Environment
	Lines       *int // parallel lines in one field or set
	Field       *Field
	Alignment   *Alignment
	Handling    Handling
	Power       *Power
	Noise       *Noise
	Array       *Array
	Commercial  Commercial
	Weights     Weights
	Unknown     []string `file:"-"` // fields the customer could not answer: "environment.max_temperature"
}

// Application is what the line is for.
type Application struct {
	Class    string // "test and measurement", "automotive radar", "5G FR2 development"
	Function string // "signal", "local oscillator", "reference", "receive"
	Volume   Volume
	Failure  string // what happens when it fails
}

// Volume says how often the answer is built.
type Volume string

// The volumes the trade tells apart.
const (
	OneOff Volume = "one-off"
	Pilot  Volume = "pilot"
	Series Volume = "series"
)

// Options lists the words a file may use.
func (Volume) Options() []string { return []string{"one-off", "pilot", "series"} }

// Band is a range of frequencies that is used.
type Band struct{ From, To units.Frequency }

// EndKind says what stands at an end of the chain.
type EndKind string

// A chain starts and ends at a board's line or at a port to be mated with.
const (
	Board EndKind = "board"
	Port  EndKind = "port"
)

// Options lists the words a file may use.
func (EndKind) Options() []string { return []string{"board", "port"} }

// End is one end of the chain.
type End struct {
	Kind EndKind
	// Port: the face to be mated with, or what the chain must present.
	Port     *part.Face // the customer's own face
	Presents *part.Face // the face the chain must show; series may be empty
	// Board:
	Stackup    string        // name of a stackup of the workspace
	Thickness  *units.Length // of the board; nil: the stackup's
	Line       *BoardLine    // the line the chain joins
	Fabricator string        // of the board, with the revision of his stackup
	Finish     string        // of the outer copper: "nickel-gold", "immersion silver"
	MaskClear  *bool         // solder mask is kept off the launch
	Mounts     []part.Mount  // mounts that are allowed; empty: any
	Solderless *bool
	Series     string       // connector series asked for, if any
	Launch     string       // name of a launch of the workspace, if one is given
	Return     *units.Level // return loss the launch is known or expected to hold
	Fence      *Fence
	Ring       *Ring
	Footprint  *Footprint
	Retention  part.Retention // push-on: wanted grade at this end
}

// BoardLine is the line on the board that the chain joins.
type BoardLine struct {
	Kind                  board.TraceKind
	Layer                 string
	Width, Gap            *units.Length
	Length                *units.Length // of trace inside the chain
	Loss                  *units.Level  // of that trace, if known,
	LossAt                *units.Frequency
	EffectivePermittivity *float64
	Height                *units.Length // of the dielectric under the line, to its ground
	Permittivity          *float64      // of that dielectric
	PermittivityAt        *units.Frequency
	Foil                  string // of the copper: "rolled", "very low profile"
	Layers                *int   // copper layers of the board
}

// Fence describes the ground vias along a coplanar line.
type Fence struct {
	RowWidth *units.Length // between the two rows, centre to centre
	Pitch    *units.Length
	FirstVia *units.Length // from the board's edge
	Drill    *units.Length
	Rows     *int // on each side
}

// Ring is the ring of ground vias around a launch's signal via.
type Ring struct {
	Diameter *units.Length // free opening, from wall to wall of opposite vias
	Barrel   *units.Length // of the signal via; nil: the connector's pin
}

// Footprint is a land pattern the customer brings along, with the stackup it
// was drawn for: on another stackup it is refused. The stackup is a name of the
// workspace, or what its document says: fabricator, revision, hash.
type Footprint struct {
	Name         string
	Stackup      string // name of a stackup of the workspace
	Fabricator   string
	Revision     string
	StackupHash  string
	Height       *units.Length // dielectric under the trace it was drawn for
	Permittivity *float64
	Thickness    *units.Length
	Layers       *int
}

// Through says what joins the two ends.
type Through string

// What can lie between the ends.
const (
	ThroughCable  Through = "cable"
	ThroughBullet Through = "bullet"
	ThroughTrace  Through = "trace"
)

// Options lists the words a file may use.
func (Through) Options() []string { return []string{"cable", "bullet", "trace"} }

// Path is the way between the ends.
type Path struct {
	Through      Through
	Length       *units.Length // of cable between the connectors' cable planes
	BendRadius   *units.Length // smallest radius of the route
	Moving       *bool         // flexed in use
	Flexes       *int          // over the service life
	Construction part.CableConstruction
	HotLength    *units.Length // part of the length in the hottest place; nil: all
}

// Limits are the numbers the chain is judged by.
type Limits struct {
	InsertionLoss []LossLimit
	ReturnLoss    []ReturnLossLimit
	VSWR          []VSWRLimit
	Isolation     []IsolationLimit
	Ripple        []RippleLimit
	Mass          *units.Mass
	Price         *units.Money // per line
}

// Of says which piece a limit judges.
type Of string

// A limit judges the whole chain unless it names a smaller piece.
const (
	OfChain     Of = "chain"
	OfJoint     Of = "joint"
	OfLaunch    Of = "launch"
	OfConnector Of = "connector"
	OfCable     Of = "cable"
	OfAssembly  Of = "assembly" // the cable with its two connectors
)

// Options lists the words a file may use.
func (Of) Options() []string {
	return []string{"chain", "joint", "launch", "connector", "cable", "assembly"}
}

// A LossLimit bounds insertion loss from above.
type LossLimit struct {
	AtMost      *units.Level
	Mask        []MaskPoint      // straight lines in frequency, instead of AtMost
	From, To    *units.Frequency // nil: the enquiry's band
	Of          Of
	Temperature *units.Temperature // nil: the hottest the enquiry names
	Wish        bool               // a wish ranks, a limit excludes
}

// A ReturnLossLimit bounds return loss from below.
type ReturnLossLimit struct {
	AtLeast  *units.Level
	Mask     []MaskPoint
	From, To *units.Frequency
	Of       Of
	Wish     bool
}

// A VSWRLimit bounds the standing-wave ratio from above.
type VSWRLimit struct {
	AtMost   float64
	From, To *units.Frequency
	Of       Of
	Wish     bool
}

// An IsolationLimit bounds the coupling between lines.
type IsolationLimit struct {
	AtLeast  units.Level
	From, To *units.Frequency
	Wish     bool
}

// A RippleLimit bounds the peak-to-peak variation in a sliding window.
type RippleLimit struct {
	AtMost units.Level
	Window *units.Frequency
	Wish   bool
}

// A MaskPoint is a corner of a limit mask.
type MaskPoint struct {
	At    units.Frequency
	Level units.Level
}

// MaskAt interpolates a mask straight in frequency, f in Hz; outside it there
// is no limit.
func MaskAt(mask []MaskPoint, f float64) (level float64, ok bool) {
	for i := 1; i < len(mask); i++ {
		a, b := mask[i-1], mask[i]
		if fa, fb := float64(a.At), float64(b.At); f >= fa*(1-1e-12) && f <= fb*(1+1e-12) {
			if fb == fa {
				return float64(b.Level), true
			}
			return float64(a.Level) + (float64(b.Level)-float64(a.Level))*(f-fa)/(fb-fa), true
		}
	}
	return 0, false
}

// MatchKind says against what a line's phase is matched.
type MatchKind string

// Absolute: to a stored value, so that spares fit. Relative: within a set.
const (
	Relative MatchKind = "relative"
	Absolute MatchKind = "absolute"
)

// Options lists the words a file may use.
func (MatchKind) Options() []string { return []string{"relative", "absolute"} }

// Match is a phase or delay match: the half width of the band in which every
// line must lie.
type Match struct {
	Kind        MatchKind
	Delay       *units.Time
	Phase       *units.Angle
	Length      *units.Length
	At          *units.Frequency // at which Phase holds; nil: the top of the band
	SetSize     *int             // nil: Lines
	Temperature *units.Temperature
	State       string // straight, formed
	Tracking    *bool  // must hold over the whole temperature range
}

// Environment is where the chain works.
type Environment struct {
	MinTemperature *units.Temperature // operating
	MaxTemperature *units.Temperature
	Gradient       *units.Difference // between lines of one set
	Altitude       *units.Length
	Pressure       *units.Pressure
	Vacuum         *bool
	Humidity       string
	Vibration      string
}

// Field is the space in which the lines' faces must fit.
type Field struct {
	Pitch         *units.Length // available centre distance
	Width, Height *units.Length // of the whole field
	Columns, Rows *int
	HalfWave      *bool // the pitch must not exceed half a wavelength
	Threaded      *bool // tool access is wanted
	At            FieldEnd
}

// FieldEnd says at which end the lines stand in the field.
type FieldEnd string

// The ends of a field; empty: both.
const (
	FieldFrom FieldEnd = "from"
	FieldTo   FieldEnd = "to"
)

// Options lists the words a file may use.
func (FieldEnd) Options() []string { return []string{"from", "to"} }

// Covers says whether the field binds end 0, from, or 1, to.
func (f *Field) Covers(end int) bool {
	return f != nil && (f.At == "" || f.At == FieldFrom && end == 0 || f.At == FieldTo && end == 1)
}

// Alignment is what a blind-mated, board-to-board joint must absorb.
type Alignment struct {
	Spacing           *units.Length // between the boards, nominal
	SpacingTolerance  *units.Length // plus or minus
	PositionTolerance *units.Length // of a connector on its board, plus or minus, each board
	BoardTolerance    *units.Length // of one board to the other, plus or minus
	BlindMate         *bool
	Force             *units.Force // allowed for the whole field
}

// Handling is how often the joints are made.
type Handling struct {
	MatingsPerDay *float64 // each end
	Matings       *int     // over the service life
	Service       *units.Time
}

// Power is what the line carries.
type Power struct {
	Average, Peak *units.Power
	LoadVSWR      *float64
	Source        string // which end: "from" or "to"; empty: from
}

// Noise is what follows the chain in a receiver.
type Noise struct {
	AtMost    *units.Difference // noise temperature of chain and stage, K
	NextStage *units.Difference // noise temperature of the stage that follows, K
}

// Array is what the lines feed.
type Array struct {
	Elements   *int
	PhaseError *units.Angle // rms from all other causes
	Sidelobe   *units.Level
}

// Commercial terms.
type Commercial struct {
	Quantity *int // chains
	LeadTime *units.Time
	Currency string
}

// Weights say what the ranking prefers; all zero: loss 1, return loss 1, price
// 1, mass 0.
type Weights struct{ Loss, ReturnLoss, Price, Mass float64 }
