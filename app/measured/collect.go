package measured

import (
	"fmt"
	"math"
	"strconv"

	"linewright/app/wire"
	"linewright/job/assess"
	"linewright/job/lot"
	"linewright/job/verify"
)

// levelBins is how finely a sample's ends are described when they are compared
// with the others'.
const levelBins = 48

// leastLot is the number of files from which a lot is summed up.
const leastLot = 8

// Collector gathers judged files, in order.
type Collector struct {
	plan       *verify.Plan
	o          Options
	set        *verify.Set
	quantities []lot.Quantity
	units      []lot.Unit
	near, far  [][]float64 // what is seen from either end, by file
	doc        Document
	worst      assess.Verdict
}

// NewCollector starts a collection.
func NewCollector(p *verify.Plan, o Options) *Collector {
	d := p.Decision
	c := &Collector{plan: p, o: o, set: p.NewSet()}
	c.doc = Document{Chain: p.Chain.Name, Enquiry: p.Enquiry.ID, Decision: Decision{string(d.Rule), d.Default, d.Guard, d.Coverage, d.Says, d.Source},
		Counts: map[string]int{}, Files: []Verified{}, Questions: []wire.Question{}, Notes: []string{}}
	if t := p.Temperature(); t != nil {
		c.doc.TemperatureC = num(t.Celsius())
	}
	for _, q := range p.Questions {
		c.doc.Questions = append(c.doc.Questions, wire.Question(q))
	}
	c.doc.Notes = append(c.doc.Notes, p.Notes...)
	if p.NoBand != "" {
		c.doc.Notes = append(c.doc.Notes, "no tolerance band of the prediction: "+p.NoBand)
	}
	return c
}

// Add takes the next file.
func (c *Collector) Add(f Verified) {
	var near, far []float64
	if f.report != nil && f.report.Along != nil {
		near, far = f.report.Along.Levels(levelBins)
	}
	c.near, c.far = append(c.near, near), append(c.far, far)
	if r := f.report; r != nil {
		c.set.Add(f.File, f.f, *r)
		c.unit(f, *r)
	}
	word := f.Verdict
	if len(f.Errors) > 0 {
		word = "unreadable"
	}
	c.doc.Counts[word]++
	c.worst = max(c.worst, f.verdict)
	if len(c.doc.Files) >= c.o.Detail && f.Along != nil {
		a := *f.Along
		a.Near, a.Far = nil, nil
		f.Along = &a
	}
	f.report, f.f, f.network, f.Inspection = nil, nil, nil, nil
	c.doc.Files = append(c.doc.Files, f)
}

// unit turns a report into the lot's figures: the least margin in each piece of
// each limit, and the delay.
func (c *Collector) unit(f Verified, r verify.Report) {
	u := lot.Unit{Name: f.File, Serial: math.NaN()}
	if x, err := strconv.ParseFloat(f.Serial, 64); err == nil {
		u.Serial = x
	}
	var qs []lot.Quantity
	for _, j := range r.Margins {
		for _, s := range j.Segments {
			name := j.Limit
			if len(j.Segments) > 1 {
				name += fmt.Sprintf(", %v to %v", s.From, s.To)
			}
			qs = append(qs, lot.Quantity{Name: name, Unit: j.Unit, Margin: true})
			u.Values = append(u.Values, s.Margin)
		}
	}
	qs = append(qs, lot.Quantity{Name: "delay", Unit: "ps"})
	u.Values = append(u.Values, r.Length.At*1e12)
	if c.quantities == nil {
		c.quantities = qs
	}
	if len(qs) == len(c.quantities) { // the limits are the plan's: always, but for files that cover none of a band
		c.units = append(c.units, u)
	}
}

// Document sums up what was added.
func (c *Collector) Document() (Document, error) {
	d := c.doc
	if len(d.Files) > 1 {
		s := newSet(c.set.Report())
		d.Set = &s
		if s.Match != nil {
			v := map[string]assess.Verdict{"meets": assess.Meets, "at risk": assess.AtRisk, "fails": assess.Fails, "not assessed": assess.NotAssessed}[s.Match.Verdict]
			c.worst = max(c.worst, v)
		}
	}
	if len(c.units) >= leastLot {
		r, err := lot.Analyse(c.quantities, c.units, c.o.Lot)
		if err != nil {
			return d, err
		}
		d.Lot = newLot(r)
		for _, i := range lot.Exchanged(c.near, c.far) {
			d.Files[i].Turned = true
			d.Lot.Exchanged = append(d.Lot.Exchanged, d.Files[i].File)
		}
	}
	d.Verdict = c.worst.String()
	return d, nil
}
