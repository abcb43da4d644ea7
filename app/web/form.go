package web

import (
	"context"
	"strings"

	"linewright/app/workspace"
)

// formField is one value of an enquiry, as a form asks for it.
type formField struct {
	workspace.Field
	Label string `json:"label"`
	When  string `json:"when" doc:"a path and the word that must stand there for this to make sense, from.kind=board; empty: always"`
}

// FormGroup is a group of a form's fields.
type FormGroup struct {
	Name   string      `json:"name"`
	Says   string      `json:"says"`
	First  bool        `json:"first" doc:"an answer rests on it; the others are stated when they are known"`
	Fields []formField `json:"fields"`
}

type formDoc struct {
	Groups []FormGroup `json:"groups"`
}

// enquiryForm is every value of an enquiry that a question may ask for, in the
// order in which an engineer takes a request down. A line is a path and its
// label; a star begins a group, whose first word is "first" when an answer rests
// on it.
const enquiryForm = `
* first | What it is | Name it so that you find it again.
title: Title
customer: Customer
received: Received on
source: Document and revision
application.class: Class of use
application.function: What the line carries
application.volume: How often it is built
note: Note
* first | Band | Where the limits hold.
band[0].from: From
band[0].to: To
band[1].from: Second band, from
band[1].to: Second band, to
mode_free_to: Free of higher modes to
* first | Near end | A board's line, or a port to be mated with.
END from
* first | Far end |
END to
* first | Between | What joins the two ends.
path.through: Through
path.length: Length of cable
path.bend_radius: Tightest bend
path.moving: Moves in use
path.flexes: Flexes over its life
path.construction: Construction of the cable
path.hot_length: Length in the hottest place
* first | Limits | What the chain is judged by.
limits.insertion_loss[0].at_most: Insertion loss at most
limits.insertion_loss[0].of: of which piece
limits.insertion_loss[0].temperature: at the temperature
limits.return_loss[0].at_least: Return loss at least
limits.return_loss[0].of: of which piece
limits.vswr[0].at_most: VSWR at most
limits.vswr[0].of: of which piece
limits.isolation[0].at_least: Isolation between lines at least
limits.ripple[0].at_most: Ripple, peak to peak, at most
limits.ripple[0].window: in any stretch of
limits.mass: Mass of a line at most
limits.price: Price of a line at most
* | Environment | Where it works. Loss is judged at the hottest point.
environment.min_temperature: Coldest
environment.max_temperature: Hottest
environment.gradient: Difference between lines of a set
environment.altitude: Altitude up to
environment.pressure: Pressure down to
environment.vacuum: Vacuum
environment.humidity: Humidity
environment.vibration: Vibration
* | Lines and match | Lines side by side, and how closely they must agree.
lines: Parallel lines
match.kind: Match
match.delay: to plus or minus, as a delay
match.phase: as a phase
match.length: as a length
match.at: Phase holds at
match.set_size: Lines in a set
match.temperature: Measured at
match.state: Measured when
match.tracking: Over the whole temperature range
* | Field | The space in which the faces must fit.
field.pitch: Centre distance
field.width: Width
field.height: Height
field.columns: Columns
field.rows: Rows
field.half_wave: No more than half a wavelength apart
field.threaded: Room for a tool
field.at: At which end
* | Alignment | What a blind-mated joint between boards must absorb.
alignment.spacing: Board to board
alignment.spacing_tolerance: plus or minus
alignment.position_tolerance: Connector on its board, plus or minus
alignment.board_tolerance: Board to board sideways, plus or minus
alignment.blind_mate: Blind mate
alignment.force: Force of the whole field at most
* | Handling | How often the joints are made.
handling.matings_per_day: Matings a day
handling.matings: Matings over its life
handling.service: Service life
* | Power | What the line carries.
power.average: Average
power.peak: Peak
power.load_vswr: VSWR of the load
power.source: Fed from
* | Noise and array | What follows the chain, and what the lines feed.
noise.at_most: Noise temperature at most
noise.next_stage: Noise temperature of the next stage
array.elements: Elements of the array
array.phase_error: Phase error of all else, rms
array.sidelobe: Side lobes below
* | Order |
commercial.quantity: Quantity
commercial.lead_time: Wanted within
commercial.currency: Currency
* | Weights | What the ranking prefers; without any, loss, return loss and price alike.
weights.loss: Loss
weights.return_loss: Return loss
weights.price: Price
weights.mass: Mass
`

// endForm is an end of the chain; what follows "port" or "board" makes sense for
// that kind alone.
const endForm = `
kind: Kind
port port.series: The port's series
port port.gender: The port's gender
port presents.series: Series to present
port presents.gender: Gender to present
board stackup: Stackup
board thickness: Thickness of the board
board fabricator: Fabricator and revision
board finish: Finish of the copper
board mask_clear: Mask kept off the launch
board mounts: Mounts allowed
board solderless: Solderless
board series: Connector series wanted
board retention: Retention of a push-on face
board launch: Launch of the workspace
board return: Return loss the launch holds
board line.kind: Line on the board
board line.layer: its layer
board line.width: its width
board line.gap: its gap
board line.length: its length inside the chain
board line.loss: its loss
board line.loss_at: at
board line.effective_permittivity: its effective permittivity
board line.height: Dielectric below, height
board line.permittivity: its permittivity
board line.permittivity_at: at
board line.foil: Foil
board line.layers: Copper layers
board fence.row_width: Via rows beside the line, apart
board fence.pitch: pitch of the vias
board fence.first_via: first via from the edge
board fence.drill: drill
board fence.rows: rows on each side
board ring.diameter: Ring of vias, wall to wall
board ring.barrel: barrel of the signal via
board footprint.name: Footprint brought along
board footprint.stackup: drawn for stackup
board footprint.fabricator: of fabricator
board footprint.revision: revision
board footprint.height: for a dielectric height of
board footprint.permittivity: and a permittivity of
`

// newForm reads the lists above.
func newForm() formDoc {
	var d formDoc
	add := func(path, label, when string) {
		f, ok := workspace.EnquiryField(path)
		if !ok {
			panic("the form of an enquiry names " + path + ", which is no value of one") // a slip in this file, which its test finds
		}
		g := &d.Groups[len(d.Groups)-1]
		g.Fields = append(g.Fields, formField{f, label, when})
	}
	for _, l := range strings.Split(strings.TrimSpace(enquiryForm), "\n") {
		if rest, ok := strings.CutPrefix(l, "*"); ok {
			p := strings.SplitN(rest, "|", 3)
			d.Groups = append(d.Groups, FormGroup{Name: strings.TrimSpace(p[1]), Says: strings.TrimSpace(p[2]), First: strings.TrimSpace(p[0]) == "first"})
			continue
		}
		if end, ok := strings.CutPrefix(l, "END "); ok {
			for _, l := range strings.Split(strings.TrimSpace(endForm), "\n") {
				key, label, _ := strings.Cut(l, ": ")
				when := ""
				if kind, k, ok := strings.Cut(key, " "); ok {
					key, when = k, end+".kind="+kind
				}
				add(end+"."+key, label, when)
			}
			continue
		}
		path, label, _ := strings.Cut(l, ": ")
		add(path, label, "")
	}
	return d
}

func (s *Server) enquiryForm(context.Context, *none) (formDoc, error) { return newForm(), nil }
