package chain

import (
	"fmt"
	"math"

	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/units"
)

// reflect fills a response's reflection from a datasheet's bound.
func (resp *Response) reflect(r part.Reflection, f []float64, what string) {
	resp.Left = make([]float64, len(f))
	beyond := false
	for i := range f {
		var out bool
		resp.Left[i], resp.Reflecting, out = r.At(units.Frequency(f[i]))
		beyond = beyond || out
	}
	resp.Right = resp.Left
	if !resp.Reflecting {
		resp.note(Missing, "%s: no figure for reflection", what)
	}
	if beyond {
		resp.note(Extrapolated, "%s: the last bound on reflection is used beyond its frequency, to %v", what, units.Frequency(f[len(f)-1]))
	}
	if r.Statistic == part.Typical {
		resp.Typical = true
	}
	if r.Statistic == "" && resp.Reflecting {
		resp.Unvouched.ReflectionStatistic = true
		resp.note(Remark, "%s: the reflection does not say whether it is typical or guaranteed", what)
	}
}

// covered notes what a loss figure does not vouch for, at temperature t.
func (resp *Response) covered(id string, c part.Coverage, s part.Statistic, f []float64, t units.Temperature) {
	resp.Lossy = c.Known
	if !c.Known {
		resp.note(Missing, "%s: no figure for loss", id)
		return
	}
	if c.NoTemperature {
		resp.note(Missing, "%s: the loss is stated without its temperature and taken as it stands", id)
		resp.Unvouched.Temperature = t > roomTemperature
	}
	switch s {
	case part.Typical:
		resp.Typical = true
	case "":
		resp.Unvouched.LossStatistic = true
		resp.note(Remark, "%s: the loss does not say whether it is typical or guaranteed", id)
	}
	if top := units.Frequency(f[len(f)-1]); c.To > 0 && top > c.To*(1+1e-12) {
		resp.note(Extrapolated, "%s: figures for loss reach to %v and are used to %v", id, c.To, top)
	}
	if low := units.Frequency(f[0]); c.From > 0 && low < c.From*(1-1e-12) {
		resp.note(Remark, "%s: figures for loss start at %v and are used from %v", id, c.From, low)
	}
}

// roomTemperature is that of datasheets: a figure without its temperature,
// taken as it stands, errs to the careful side below it.
const roomTemperature units.Temperature = 273.15 + 25

func (resp *Response) note(k NoteKind, format string, args ...any) {
	resp.Notes = append(resp.Notes, Note{k, fmt.Sprintf(format, args...)})
}

// Cable is a length of cable as an element.
type Cable struct {
	Part   part.Cable
	Length units.Length // between the connectors' cable planes
	Where  string       // "cable"
}

// Facts implements [Element].
func (c Cable) Facts() Facts {
	f := commonFacts(c.Part.Common, orElse(c.Where, "cable"), "cable")
	f.Length = &c.Length
	if c.Part.Price != nil {
		const cent = 1e4 // millionths: the price of a length is rounded to cents
		p := units.Money{Micros: int64(math.Round(float64(c.Part.Price.Micros)*float64(c.Length)/cent)) * cent, Currency: c.Part.Price.Currency}
		f.Price = &p
	}
	if c.Part.Mass != nil {
		m := units.Mass(float64(*c.Part.Mass) * float64(c.Length))
		f.Mass = &m
	}
	if l, ok := c.Part.CoreLine(); ok && l.Check() == nil {
		f.CrossSections = []CrossSection{{Name: "dielectric core", Mode: "TE11", ModeFree: units.Frequency(line.ModeFreeLimit(l)),
			Basis: fmt.Sprintf("core %v, permittivity %.3g", units.Length(l.OuterDiameter), l.Filling.Permittivity)}}
	}
	return f
}

// Respond implements [Element]. The cable is matched but for its stated
// reflection; its conductor loss follows the temperature, its dielectric loss
// does not, since no datasheet here says how, and a note says so.
func (c Cable) Respond(f []float64, cond Conditions) (Response, error) {
	resp := Response{Lossy: true, Loss: make([]float64, len(f)), Conductor: make([]float64, len(f)), Delay: math.NaN(), Source: c.Part.Source, Step: DatasheetBound}
	if c.Part.Model != nil && c.Part.Model.Network != nil {
		resp.note(Remark, "%s: a model file stands for another length and is not used for %v", c.Part.ID, c.Length)
	}
	a := c.Part.Loss
	length := float64(c.Length)
	for i, x := range f {
		total, conductor := a.At(units.Frequency(x), cond.Temperature)
		resp.Loss[i] = total.DBPerMetre() * length
		resp.Conductor[i] = conductor.DBPerMetre() * length
	}
	covers := a.Covers()
	resp.covered(c.Part.ID, covers, a.Statistic, f, cond.Temperature)
	if a.Temperature != nil && *a.Temperature != cond.Temperature {
		switch {
		case !covers.Split:
			resp.note(Remark, "%s: the whole loss follows the conductors' resistance from %v to %v: the datasheet does not split it", c.Part.ID, *a.Temperature, cond.Temperature)
		case a.K2 != nil && *a.K2 != 0:
			resp.note(Remark, "%s: the dielectric part of the loss is kept as at %v: no figure for its change", c.Part.ID, *a.Temperature)
		}
	}
	resp.reflect(c.Part.Reflection, f, c.Part.ID)
	if v, ok := c.Part.Velocity(); ok {
		resp.Delay = length / (v * line.C0)
	} else {
		resp.note(Missing, "%s: neither velocity factor nor permittivity is stated: no delay", c.Part.ID)
	}
	return resp, nil
}

// Connector is a cable connector, a board connector without its launch, or an
// adapter, as an element known by its datasheet.
type Connector struct {
	Common           part.Common
	Kind             string // "cable connector", "board connector", "adapter", "bullet"
	Where            string
	Series           []series.Series // of its mating faces
	Loss             part.Loss
	Reflection       part.Reflection
	ElectricalLength *units.Length
	// Contained says that the reflection is counted by a neighbour, such as a
	// launch whose stated return loss includes its connector.
	Contained bool
	// PairShare is the share of a pair figure that this item bears: a mated
	// pair's loss is split in two halves when both items stand in the chain.
	PairShare float64
}

// Facts implements [Element].
func (c Connector) Facts() Facts {
	f := commonFacts(c.Common, orElse(c.Where, c.Kind), c.Kind)
	for _, s := range c.Series {
		if limit := s.ModeFreeLimit(); limit > 0 {
			f.CrossSections = append(f.CrossSections, CrossSection{Name: s.Name + " mating plane", Mode: "TE11", ModeFree: limit,
				Basis: fmt.Sprintf("bore %v, permittivity %.3g", s.Bore, s.Permittivity)})
		}
	}
	if c.ElectricalLength != nil {
		f.Length = c.ElectricalLength
	}
	return f
}

// Respond implements [Element].
func (c Connector) Respond(f []float64, cond Conditions) (Response, error) {
	if c.Common.Model != nil && c.Common.Model.Network != nil {
		return modelResponse(*c.Common.Model, c.Common.ID, f, cond.Temperature)
	}
	resp := Response{Lossy: true, Loss: make([]float64, len(f)), Delay: math.NaN(), Source: c.Common.Source, Step: DatasheetBound}
	share := c.PairShare
	if share == 0 || c.Loss.Per != part.PerPair {
		share = 1
	}
	for i, x := range f {
		resp.Loss[i] = float64(c.Loss.At(units.Frequency(x), cond.Temperature)) * share
	}
	resp.covered(c.Common.ID, c.Loss.Covers(), c.Loss.Statistic, f, cond.Temperature)
	resp.Conductor = resp.Loss
	if c.Contained {
		resp.Left, resp.Right = make([]float64, len(f)), make([]float64, len(f))
		resp.Reflecting = true
		resp.note(Remark, "%s: its reflection is inside the launch's", c.Common.ID)
	} else {
		resp.reflect(c.Reflection, f, c.Common.ID)
	}
	if c.ElectricalLength != nil {
		resp.Delay = float64(*c.ElectricalLength) / line.C0
	}
	return resp, nil
}

// modelResponse reads an element's behaviour from its file: phase included. Its
// dissipation is carried from the file's temperature to t as the conductors'
// part of it, an upper bound where t is the hotter; its phase is not.
func modelResponse(m part.Model, id string, f []float64, t units.Temperature) (Response, error) {
	n, err := m.Network.Interpolate(f, network.Interpolation{})
	if err != nil {
		return Response{}, fmt.Errorf("%s, model %s: %w", id, m.File, err)
	}
	resp := FromNetwork(n)
	resp.Source = "model file " + m.File
	resp.Step = MeasuredFile
	resp.warm(id, m.Temperature, t)
	if m.Planes == "" {
		resp.note(Missing, "%s: the model file does not say between which planes it stands: nothing guards against counting a piece twice or never", id)
	}
	return resp, nil
}

// warm carries the loss of a solved or measured two-port from the temperature
// at which it stands to t; where it does not say, that stays open.
func (resp *Response) warm(id string, from *units.Temperature, t units.Temperature) {
	lossy := false
	for _, x := range resp.Loss {
		lossy = lossy || x > 1e-9
	}
	switch {
	case !lossy || t <= 0:
	case from == nil:
		resp.note(Missing, "%s: its file does not say at which temperature it stands; it is taken as it stands", id)
		resp.Unvouched.Temperature = t > roomTemperature
	case *from != t:
		k := part.TemperatureFactor(t, *from)
		for i := range resp.Loss {
			resp.Loss[i] *= k
		}
		resp.note(Remark, "%s: its file stands at %v: all of its dissipation follows the conductors' resistance to %v, its phase and reflection stay", id, *from, t)
	}
}

// FromNetwork returns the response of a two-port whose phase is known. Its
// dissipative loss is −10·log10(|S21|²/(1−|S11|²)), the part of the insertion
// loss that is not reflection; its delay is that of the middle of the band.
func FromNetwork(n network.Network) Response {
	k := len(n.Frequency)
	resp := Response{Network: &n, Loss: make([]float64, k), Left: make([]float64, k), Right: make([]float64, k), Lossy: true, Reflecting: true, Delay: math.NaN()}
	abs2 := func(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }
	for i := range k {
		s11, s21, s22 := abs2(n.At(i, 0, 0)), abs2(n.At(i, 1, 0)), abs2(n.At(i, 1, 1))
		resp.Left[i], resp.Right[i] = math.Sqrt(s11), math.Sqrt(s22)
		resp.Loss[i] = math.Max(0, -10*math.Log10(s21/(1-s11)))
	}
	if k > 1 {
		a, b := n.At(k/2-1, 1, 0), n.At(k/2, 1, 0)
		d := b / a
		resp.Delay = -math.Atan2(imag(d), real(d)) / (2 * math.Pi * (n.Frequency[k/2] - n.Frequency[k/2-1]))
	}
	return resp
}

// Trace is a stretch of board line, given by its figures or by its geometry.
type Trace struct {
	Where  string
	Length units.Length
	// Line is the line when its geometry is known, on a stackup of that name,
	// and what of the stackup it leaves out.
	Line      line.Line
	Stackup   string
	LeftOut   []string
	ModesOpen string // why the line's modes do not tell it all: see [Facts]
	Drawn     *Drawn // what Line was solved from; nil: not known
	// Figures, when it is not: loss of the whole length at a frequency, going
	// as the root of frequency for the conductors' share and straight for the
	// rest.
	Loss                  units.Level
	LossAt                units.Frequency
	EffectivePermittivity float64
	Source                string
}

// Facts implements [Element].
func (t Trace) Facts() Facts {
	f := Facts{Name: orElse(t.Where, "board line"), Kind: "board line", Length: &t.Length, Source: t.Source, Description: "board line"}
	zero := units.Money{}
	none := units.Mass(0)
	f.Price, f.Mass = &zero, &none // part of the board
	f.ModesOpen = "it is known by its figures, not by its geometry"
	if t.Line != nil {
		f.ModesOpen = t.ModesOpen
		f.Description = t.Line.Model()
		for _, m := range t.Line.Modes() {
			f.CrossSections = append(f.CrossSections, CrossSection{Name: "board line", Mode: m.Name, ModeFree: units.Frequency(m.Cutoff), Basis: "its geometry"})
		}
	}
	return f
}

// Respond implements [Element]. A trace known by one loss figure is scaled by
// the frequency ratio to the power 0.75, between the root of the conductors and
// the first power of the dielectric; within an octave of the figure the choice
// matters by less than a fifth of the loss, and a note says so.
func (t Trace) Respond(f []float64, cond Conditions) (Response, error) {
	if t.Line != nil {
		if err := t.Line.Check(); err != nil {
			return Response{}, err
		}
		// The line is solved for metal at 20 °C; its conductors' share follows
		// the temperature as a cable's does.
		k := part.TemperatureFactor(cond.Temperature, units.Celsius(20))
		n := network.New(2, f, complex(50, 0))
		loss := make([]float64, len(f))
		for i, x := range f {
			p := t.Line.At(x)
			p.Gamma += complex(p.Conductor*(k-1), 0)
			s11, s21 := p.Chain(float64(t.Length), 50)
			n.Set(i, 0, 0, s11)
			n.Set(i, 1, 1, s11)
			n.Set(i, 0, 1, s21)
			n.Set(i, 1, 0, s21)
			loss[i] = real(p.Gamma) * float64(t.Length) * units.DecibelsPerNeper
		}
		resp := FromNetwork(n)
		resp.Loss = loss
		resp.Step = ClosedFormula
		resp.Source = t.Line.Model()
		if t.Stackup != "" {
			resp.Source += ", on stackup " + t.Stackup
		}
		for _, x := range t.LeftOut {
			resp.note(Remark, "%s: left out: %s", orElse(t.Where, "board line"), x)
		}
		for _, w := range t.Line.Warnings(f[len(f)-1]) {
			resp.note(Extrapolated, "%v", w)
		}
		return resp, nil
	}
	resp := Response{Lossy: t.LossAt > 0, Loss: make([]float64, len(f)), Left: make([]float64, len(f)), Right: make([]float64, len(f)),
		Reflecting: true, Delay: math.NaN(), Step: DatasheetBound, Source: t.Source}
	if t.LossAt > 0 {
		for i, x := range f {
			resp.Loss[i] = float64(t.Loss) * math.Pow(x/float64(t.LossAt), 0.75)
		}
		if f[0] < float64(t.LossAt)*(1-1e-9) || f[len(f)-1] > float64(t.LossAt)*(1+1e-9) {
			resp.note(Remark, "board line: its loss is given at %v and scaled with frequency to the power 0.75", t.LossAt)
		}
	} else {
		resp.note(Missing, "board line: neither geometry nor loss is stated")
	}
	if t.EffectivePermittivity > 0 {
		resp.Delay = float64(t.Length) * math.Sqrt(t.EffectivePermittivity) / line.C0
	}
	return resp, nil
}

// Fixed is an element known by a bound on its reflection and a loss, such as a
// launch with a stated return loss.
type Fixed struct {
	About      Facts
	Reflection part.Reflection
	Loss       part.Loss
	Delay      float64 // s, one way; NaN when unknown
	Notes      []Note
	Step       Step
	// LossLeftOut says that its loss is small, not known, and counted as nothing.
	LossLeftOut bool
}

// Facts implements [Element].
func (x Fixed) Facts() Facts { return x.About }

// Respond implements [Element].
func (x Fixed) Respond(f []float64, cond Conditions) (Response, error) {
	c := Connector{Common: part.Common{ID: x.About.Name, Source: x.About.Source}, Loss: x.Loss, Reflection: x.Reflection}
	resp, err := c.Respond(f, cond)
	resp.Step = x.Step
	resp.Delay = x.Delay
	resp.Unvouched.LossLeftOut = x.LossLeftOut
	resp.Notes = append(resp.Notes, x.Notes...)
	return resp, err
}

// Gap is the short air-filled section that an unseated push-on joint opens.
type Gap struct {
	Where     string
	Opening   units.Length
	Impedance units.Resistance
	Source    string
}

// Facts implements [Element].
func (g Gap) Facts() Facts {
	zero, none := units.Money{}, units.Mass(0)
	return Facts{Name: orElse(g.Where, "axial gap"), Kind: "axial gap", Length: &g.Opening, Price: &zero, Mass: &none, Source: g.Source,
		Description: fmt.Sprintf("%v of %v", g.Opening, g.Impedance)}
}

// Respond implements [Element]: the exact section of line (F32 of the trade).
func (g Gap) Respond(f []float64, cond Conditions) (Response, error) {
	n := network.New(2, f, complex(50, 0))
	for i, x := range f {
		p := line.Point{Frequency: x, Gamma: complex(0, 2*math.Pi*x/line.C0), Impedance: complex(float64(g.Impedance), 0)}
		s11, s21 := p.Chain(float64(g.Opening), 50)
		n.Set(i, 0, 0, s11)
		n.Set(i, 1, 1, s11)
		n.Set(i, 0, 1, s21)
		n.Set(i, 1, 0, s21)
	}
	resp := FromNetwork(n)
	for i := range resp.Loss {
		resp.Loss[i] = 0
	}
	resp.Delay = float64(g.Opening) / line.C0
	resp.Step = ClosedFormula
	resp.Source = "exact section of line"
	return resp, nil
}

func commonFacts(c part.Common, where, kind string) Facts {
	return Facts{Name: where, Kind: kind, Part: c.ID, Description: c.Description, Rated: c.RatedFrequency, MinRated: c.LowFrequency,
		MinTemp: c.MinTemperature, MaxTemp: c.MaxTemperature, Price: c.Price, Mass: c.Mass, LeadTime: c.LeadTime, Source: c.Source}
}

func orElse(s, t string) string {
	if s == "" {
		return t
	}
	return s
}
