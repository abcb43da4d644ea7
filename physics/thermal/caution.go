package thermal

// A Caution is a reminder to be shown beside a statement of power, in the words
// a careful colleague would use. It defers to local law and codes, to the
// employer's rules and to trained or licensed practice; it is no instruction.
type Caution string

// The reminders usual in the trade.
const (
	CautionEstimate Caution = "This is a computed estimate, not a rating and not a release: confirm it by a test of the built assembly under the real power, mismatch, altitude, temperature and mounting."

	CautionExposure Caution = "RF exposure: open ports, damaged shields and antennas radiate. The exposure limits in force where this is used apply (ICNIRP 2020 and IEEE C95.1-2019 are the usual bases). Cap or terminate unused ports; do not look into open ports under power."

	CautionHotParts Caution = "Hot parts: jackets and the connector nearest the source can exceed touch temperatures long before the cable's own limit. Guard, label and let cool."

	CautionVoltage Caution = "Voltage: high peak power, hi-pot and corona tests and bias tees put dangerous voltage on the line. Follow the electrical codes that apply and leave the work to those qualified for it."

	CautionMating Caution = "Never mate or de-mate under power: arcs burn people and destroy contacts. Interlock, discharge and lock out first."

	CautionFume Caution = "Overheated PTFE and other fluoropolymers give off harmful fume (from about 350 °C): ventilate, and follow the material's safety data."

	CautionMultipactor Caution = "Vacuum and very low pressure: multipactor is a different failure from gas breakdown and is not computed here. Use ECSS-E-ST-20-01C and qualified practice."

	CautionPressure Caution = "Reduced pressure lowers the breakdown voltage of every gas gap, down to the Paschen minimum; passing through it during climb, pump-down or a leak counts."
)

// An Assumption says where a model may flatter, that is, where the real thing
// may run hotter or break down sooner than computed.
type Assumption string

// The assumptions of the heat model that lie on the unsafe side.
const (
	AssumesAlone    Assumption = "One straight cable alone in still air, far from walls: in a bundle, duct, foam, clamp or behind a panel it runs hotter."
	AssumesMiddle   Assumption = "The hottest cross-section of a long run, with no heat from the ends: a connector, amplifier or solder joint hotter than the cable raises it over about three end lengths."
	AssumesUniform  Assumption = "Each conductor at one temperature around and along, no contact resistance between layers: a braid, a wrapped foil or an air gap adds resistance."
	AssumesSteady   Assumption = "Steady state at the average power: pulses longer than the thermal time constant of the inner conductor ripple around it."
	AssumesNewCable Assumption = "Loss as new: corrosion, flexing and moisture raise it, and the heat with it."
	AssumesLaw      Assumption = "Natural convection is known to about 15 %: the air may take that much less."
	AssumesShade    Assumption = "No sunlight and no hot neighbour beyond the heat given as Extra."
)

// The assumptions of the breakdown models that lie on the unsafe side.
const (
	AssumesSmooth   Assumption = "Smooth, clean, concentric conductors: edges, burrs, contact gaps and dirt lower the breakdown power by one to two orders of magnitude (common practice). Failure is usually at the junction of cable and connector."
	AssumesFilled   Assumption = "No gas film between dielectric and conductor: the field in a film is εr times that of the dielectric and starts corona there."
	AssumesGas      Assumption = "Dry, clean gas at the temperature and pressure given: gas at a hot conductor is thinner, dust and humidity lower the onset."
	AssumesStaticRF Assumption = "Static breakdown field taken for the peak of the wave, and no free electrons from earlier pulses."
)
