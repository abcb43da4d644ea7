// Package inspect reads a Touchstone file and says what is in it and whether it
// can be trusted: what each finding means and what to do about it.
package inspect

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"linewright/app/workspace"
	"linewright/physics/network"
	"linewright/physics/sweep"
	"linewright/physics/touchstone"
)

// keepNumbers is how many complex numbers of one file are held at once: 8
// million are 128 MB, twice that while the list grows. A longer file is judged
// piece by piece.
const keepNumbers = 8 << 20

// File is what inspect says of one file.
type File struct {
	File          string       `json:"file"`
	Version       string       `json:"version"`
	Ports         int          `json:"ports"`
	Parameter     string       `json:"parameter"`
	Format        string       `json:"format"`
	Points        int          `json:"points"`
	FromHz        *float64     `json:"from_hz"`
	ToHz          *float64     `json:"to_hz"`
	StepHz        *float64     `json:"step_hz"` // null when the steps are not equal
	ReferenceOhm  []float64    `json:"reference_ohm"`
	Modes         []string     `json:"modes"` // mixed modes, as the file orders them
	NoisePoints   int          `json:"noise_points"`
	Description   *Description `json:"description"` // null when the comments hold none
	Verdict       string       `json:"verdict"`
	Findings      []Finding    `json:"findings"`
	LeftOut       []string     `json:"left_out"`
	ReadPiecewise bool         `json:"read_piecewise"`
}

// Description is the description that a file carries in its comments.
type Description struct {
	Title    string   `json:"title"`
	Origin   string   `json:"origin"`
	Ports    []string `json:"ports"`
	Contains []string `json:"contains"`
	Excludes []string `json:"excludes"`
	Notes    []string `json:"notes"`
	Missing  []string `json:"missing"`
}

// The verdicts of findings and files.
const (
	Good        = "good"
	Care        = "care"
	Bad         = "bad"
	NotAssessed = "not assessed"
)

// Finding is one judgement of a file's data.
type Finding struct {
	Finding string   `json:"finding"`
	Verdict string   `json:"verdict"`
	Figure  *float64 `json:"figure"`
	Unit    string   `json:"unit"`
	Of      string   `json:"of"`     // what the figure is
	AtHz    *float64 `json:"at_hz"`  // where it stands, if anywhere
	Ports   []int    `json:"ports"`  // from 1
	Means   string   `json:"means"`  // what it says of the data
	Do      string   `json:"do"`     // what to do about it
	Grade   *float64 `json:"metric"` // IEEE 370 metric in percent, where there is one
	Limits  string   `json:"judged"` // by which limits
}

// contextReader stops a long read when the user interrupts it.
type contextReader struct {
	ctx context.Context
	r   io.Reader
}

func (c contextReader) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(p)
}

// tally gathers what is judged point by point, over all pieces of a file.
type tally struct {
	passivity, reciprocity network.Deviation
	largest                network.Deviation // |S_ij|, i ≠ j
	reflecting             bool              // some S_ii is not zero
	sampling               error             // the first trace whose phase cannot be followed
	samplingAt             [2]int
}

func (t *tally) add(n network.Network) {
	if d := n.Passivity(); !(d.Value <= t.passivity.Value) {
		t.passivity = d
	}
	if d := n.Reciprocity(); !(d.Value <= t.reciprocity.Value) {
		t.reciprocity = d
	}
	for i := range n.Ports {
		for j := range n.Ports {
			top := 0.0
			for k, f := range n.Frequency {
				a := cmplx.Abs(n.At(k, i, j))
				top = math.Max(top, a)
				if i != j && a > t.largest.Value {
					t.largest = network.Deviation{Value: a, Frequency: f, I: i, J: j}
				}
			}
			t.reflecting = t.reflecting || i == j && top > 0
			if i != j && top >= audible && t.sampling == nil {
				if _, err := n.Phase(i, j); errors.Is(err, network.ErrSampling) {
					t.sampling, t.samplingAt = err, [2]int{i, j}
				}
			}
		}
	}
}

// audible is the magnitude a trace must reach somewhere before its phase is
// judged: below -20 dB it may be noise.
const audible = 0.1

// Judge judges one file while it reads it. No more than keep complex numbers
// are held at once; 0: as many as make a file of any usual length one piece.
func Judge(ctx context.Context, r io.Reader, name string, ports, keep int) (File, error) {
	if keep == 0 {
		keep = keepNumbers
	}
	s := touchstone.NewScanner(contextReader{ctx, r}, name, touchstone.ReadOptions{Ports: ports})
	var (
		all      tally
		comments []touchstone.Comment
		whole    *network.Network
		freq     []float64
		data     []complex128
		from, to float64
		step     float64 // the first step
		even     = true
		points   int
		pieces   int
		failure  error
	)
	piece := func() {
		f := touchstone.File{Name: name, Layout: s.Layout(), Frequency: freq, Data: data}
		n, err := f.Network()
		if err != nil {
			if failure == nil {
				failure = err
			}
			return
		}
		all.add(n)
		whole = &n
	}
	for s.Scan() {
		f, m := s.Point()
		if len(comments) < 4096 {
			comments = append(comments, slices.Clone(s.Comments())...)
		}
		switch {
		case points == 0:
			from = f
		case points == 1:
			step = f - from
		default:
			even = even && math.Abs(f-to-step) <= 1e-3*step
		}
		if len(data)+len(m) > keep && len(freq) > 1 {
			piece()
			pieces++
			last := len(freq) - 1 // the next piece starts where this one ends, so that no step is lost
			copy(data, data[len(data)-len(m):])
			freq, data = append(freq[:0], freq[last]), data[:len(m)]
		}
		freq, data = append(freq, f), append(data, m...)
		points, to = points+1, f
	}
	noise := 0
	for s.ScanNoise() {
		noise++
	}
	if err := ctx.Err(); err != nil {
		return File{}, err
	}
	if err := s.Err(); err != nil {
		return File{}, workspace.ReadFaults(name, err)
	}
	piece()
	pieces++
	comments = append(comments, slices.Clone(s.Comments())...)

	l := s.Layout()
	d := File{File: name, Version: l.Version.String(), Ports: l.Ports, Parameter: l.Parameter.String(), Format: l.Format.String(), Points: points, FromHz: number(from), ToHz: number(to),
		ReferenceOhm: []float64{}, Modes: []string{}, NoisePoints: noise, Findings: []Finding{}, LeftOut: []string{}, ReadPiecewise: pieces > 1}
	if even && points > 1 {
		d.StepHz = number((to - from) / float64(points-1))
	}
	for i := range l.Ports {
		d.ReferenceOhm = append(d.ReferenceOhm, l.PortReference(i+1))
	}
	for _, m := range l.Modes {
		d.Modes = append(d.Modes, m.String())
	}
	j := &judge{doc: &d}
	j.header(name, comments)
	for _, w := range s.Warnings() {
		text, help, _ := strings.Cut(strings.TrimPrefix(w.Error(), name+":"), "; ")
		j.add(Finding{Finding: "file format", Verdict: Care, Means: "read with forbearance, line " + text, Do: help})
	}
	if failure != nil {
		j.add(Finding{Finding: "scattering parameters", Verdict: Bad, Means: "the data give no scattering parameters: " + failure.Error(), Do: "export S-parameters"})
		d.Verdict = j.worst()
		return d, nil
	}
	if pieces > 1 {
		whole = nil
		d.LeftOut = append(d.LeftOut, fmt.Sprintf("the file has %d numbers, more than the %d held at once: the IEEE 370 metrics, which need the whole file, are left out; the worst values are those of the whole file", points*l.Ports*l.Ports, keep))
	}
	j.data(all, whole, from, step, even, points)
	if whole != nil {
		j.further(*whole)
	}
	d.Verdict = j.worst()
	return d, nil
}

// judge words the findings.
type judge struct{ doc *File }

func (j *judge) add(f Finding) {
	if f.Ports == nil {
		f.Ports = []int{}
	}
	j.doc.Findings = append(j.doc.Findings, f)
}

func (j *judge) worst() string {
	out := Good
	for _, f := range j.doc.Findings {
		switch {
		case f.Verdict == Bad:
			return Bad
		case f.Verdict == Care:
			out = Care
		case f.Verdict == NotAssessed && out == Good:
			out = NotAssessed
		}
	}
	return out
}

func (j *judge) header(name string, comments []touchstone.Comment) {
	h, err := touchstone.ParseHeader(name, comments)
	if errors.Is(err, touchstone.ErrNoHeader) || h == nil {
		j.add(Finding{Finding: "description", Verdict: Care, Means: "the comments do not say where the reference planes lie and what is between them", Do: "ask for the planes before the file is joined with others: a launch counted twice is the usual slip"})
		return
	}
	d := Description{Title: h.Title, Origin: h.Origin, Ports: []string{}, Contains: h.Contains, Excludes: h.Excludes, Notes: h.Notes, Missing: h.Missing()}
	for _, p := range h.Ports {
		d.Ports = append(d.Ports, strings.TrimSuffix(p.Name+": "+p.Plane, ": "))
	}
	for _, list := range []*[]string{&d.Contains, &d.Excludes, &d.Notes, &d.Missing} {
		if *list == nil {
			*list = []string{}
		}
	}
	j.doc.Description = &d
	if err != nil {
		j.add(Finding{Finding: "description", Verdict: Care, Means: "some lines of the description cannot be understood: " + strings.SplitN(err.Error(), "\n", 2)[0], Do: "correct them, so that whoever gets the file can rely on it"})
		return
	}
	if len(d.Missing) > 0 {
		j.add(Finding{Finding: "description", Verdict: Care, Means: "not stated: " + strings.Join(d.Missing, ", "), Do: "complete it before the file is handed on"})
		return
	}
	j.add(Finding{Finding: "description", Verdict: Good, Means: "planes, content, origin and validity are stated"})
}

// grade turns an IEEE 370 metric into a verdict.
func grade(metric, good, acceptable float64) string {
	switch {
	case metric >= good:
		return Good
	case metric >= acceptable:
		return Care
	case metric < acceptable:
		return Bad
	}
	return NotAssessed
}

func (j *judge) data(t tally, whole *network.Network, from, step float64, even bool, points int) {
	var q network.Quality
	var qErr error
	if whole != nil {
		q, qErr = whole.InitialQuality()
	}
	j.passivity(t, whole != nil, q)
	if j.doc.Ports > 1 {
		j.reciprocity(t, whole, q)
	}
	j.causality(whole != nil, q, qErr)
	if j.doc.Ports > 1 {
		j.transmission(t)
		j.phaseStep(t, points)
	}
	j.grid(from, step, even, points)
	j.reference()
}

// metricLimits says from which grades an initial metric of IEEE 370 is good and usable.
func metricLimits(good, acceptable float64) string {
	return fmt.Sprintf("IEEE 370 initial metric: good from %g %%, usable from %g %%", good, acceptable)
}

// pair names a deviation's ports, from 1.
func pair(d network.Deviation) []int { return []int{d.I + 1, d.J + 1} }

// passivity judges whether more power comes out than goes in; q is known of a whole file only.
func (j *judge) passivity(t tally, whole bool, q network.Quality) {
	p := Finding{Finding: "passivity", Figure: number(t.passivity.Value), Of: "largest singular value", AtHz: number(t.passivity.Frequency)}
	switch {
	case whole:
		p.Grade, p.Limits = number(q.Passivity), metricLimits(network.GoodPassivity, network.AcceptablePassivity)
		p.Verdict = grade(q.Passivity, network.GoodPassivity, network.AcceptablePassivity)
	case t.passivity.Value <= 1.00001:
		p.Verdict = Good
	default:
		p.Verdict, p.Limits = Care, "worst value only: the metric needs the whole file"
	}
	switch {
	case t.passivity.Value <= 1.00001:
		p.Means = "no excitation gets more power out than in"
	case p.Verdict == Bad:
		p.Means, p.Do = "more power comes out than goes in: an amplifier, wrong references, or a calibration that failed", "calibrate and measure again, or check the port references; a time-domain simulation with this file can run away"
	default:
		p.Means, p.Do = "at some frequencies slightly more power comes out than goes in, as trace noise and drift do on parts of little loss", "usable for a budget; for a time-domain simulation fit a passive model first"
	}
	j.add(p)
}

// reciprocity judges whether both directions transmit alike.
func (j *judge) reciprocity(t tally, whole *network.Network, q network.Quality) {
	r := Finding{Finding: "reciprocity", Figure: number(t.reciprocity.Value), Of: "largest |Sij - Sji|", AtHz: number(t.reciprocity.Frequency), Ports: pair(t.reciprocity)}
	switch {
	case whole != nil:
		r.Grade, r.Limits = number(q.Reciprocity), metricLimits(network.GoodReciprocity, network.AcceptableReciprocity)
		r.Verdict = grade(q.Reciprocity, network.GoodReciprocity, network.AcceptableReciprocity)
	case t.reciprocity.Value <= 1e-6:
		r.Verdict = Good
	default:
		r.Verdict, r.Limits = Care, "worst value only: the metric needs the whole file"
	}
	switch {
	case t.reciprocity.Value <= 1e-6:
		r.Means, r.Ports, r.AtHz = "both directions are the same", nil, nil
	case whole != nil && r.Verdict != Good && explained(*whole, t.reciprocity.I, t.reciprocity.J):
		r.Verdict, r.Means = Good, "the two directions differ by no more than the noise"
	case r.Verdict == Bad:
		r.Means, r.Do = "the two directions differ more than ordinary materials allow: an active or magnetised part, wrong matrix order, or a switch-term error", "check the order of the columns and the calibration; a passive interconnect is reciprocal"
	default:
		r.Means, r.Do = "the two directions differ a little, as noise and drift between two sweeps do", "their difference is a fair first estimate of the measurement's own error"
	}
	j.add(r)
}

// causality judges whether the traces turn as those of an answer that comes after the question.
func (j *judge) causality(whole bool, q network.Quality, qErr error) {
	c := Finding{Finding: "causality", Unit: "%", Of: "share of clockwise turns", Limits: metricLimits(network.GoodCausality, network.AcceptableCausality)}
	switch {
	case !whole:
		c.Verdict, c.Means, c.Do = NotAssessed, "it needs the whole file", "inspect a file with fewer points"
	case qErr != nil:
		c.Verdict, c.Means, c.Do = NotAssessed, "it needs three evenly spaced frequencies at least", "measure on an even grid, best from one step above 0 Hz on"
	default:
		c.Verdict, c.Figure, c.Grade = grade(q.Causality, network.GoodCausality, network.AcceptableCausality), number(q.Causality), number(q.Causality)
		for k, x := range q.CausalityOf {
			if x == q.Causality && c.Verdict != Good {
				c.Ports = []int{k/j.doc.Ports + 1, k%j.doc.Ports + 1}
				break
			}
		}
		switch c.Verdict {
		case Good:
			c.Means = "the traces turn clockwise, as the response of a thing that answers after it is asked"
		case Care:
			c.Means, c.Do = "part of a trace turns the wrong way: noise on a weak trace, or planes moved too far", "look at the named trace; a weak one full of noise matters little"
		case Bad:
			c.Means, c.Do = "a trace turns the wrong way: an answer before the question, from noise, a step too coarse, or planes moved into the part", "check de-embedding and frequency step; do not fit a model to this trace"
		}
	}
	j.add(c)
}

// transmission judges a transmission better than lossless, none at all, and reflections left out.
func (j *judge) transmission(t tally) {
	db := 20 * math.Log10(t.largest.Value)
	g := Finding{Finding: "transmission", Figure: number(db), Unit: "dB", Of: "largest |Sij|", AtHz: number(t.largest.Frequency), Ports: pair(t.largest), Limits: "above 0 dB: care up to 0.05 dB, the drift of a calibrated analyser (common practice)"}
	switch {
	case db <= 1e-6:
		g.Verdict, g.Means = Good, "no transmission is better than lossless"
		g.Ports = nil
	case db <= 0.05:
		g.Verdict, g.Means, g.Do = Care, "a transmission is a little better than lossless", "take the excess as the least error of this measurement"
	default:
		g.Verdict, g.Means, g.Do = Bad, "a transmission is better than lossless", "look for a wrong thru standard, a moved cable, or another adapter at calibration"
	}
	if t.largest.Value == 0 {
		g.Verdict, g.Figure, g.Means, g.Do, g.AtHz, g.Ports = Care, nil, "no transmission at all: every Sij between different ports is zero", "check that the file holds what it should", nil, nil
	}
	j.add(g)
	if !t.reflecting {
		j.add(Finding{Finding: "reflection", Verdict: Care, Means: "every port is matched exactly: reflections have been left out", Do: "do not read a return loss off this file"})
	}
}

// phaseStep judges whether the phase can be followed from point to point.
func (j *judge) phaseStep(t tally, points int) {
	s := Finding{Finding: "phase step", Verdict: Good, Means: "the phase of every transmission can be followed from point to point"}
	if t.sampling != nil {
		s.Verdict, s.Ports = Bad, []int{t.samplingAt[0] + 1, t.samplingAt[1] + 1}
		s.Means, s.Do = "the frequencies are too far apart for the delay: whole turns of the phase are lost between two points", "sweep with a step below 1/(2·delay), best a quarter of it"
		var e *network.Error
		if errors.As(t.sampling, &e) {
			s.Means, s.AtHz = s.Means+" ("+e.Found+")", number(e.Frequency)
		}
	} else if points < 3 {
		s.Verdict, s.Means = NotAssessed, "two frequencies do not tell a phase from one that has turned further"
	}
	j.add(s)
}

// grid judges where the frequencies begin and how they are spaced.
func (j *judge) grid(from, step float64, even bool, points int) {
	z := Finding{Finding: "low end", Figure: number(from), Unit: "Hz", Of: "lowest frequency"}
	switch {
	case from == 0:
		z.Verdict, z.Means = Good, "the data start at 0 Hz"
	case even && points > 2 && from <= 1.5*step:
		z.Verdict, z.Means = Good, "0 Hz is missing, but one step below the first point: it can be extrapolated"
	default:
		z.Verdict, z.Means, z.Do = Care, "the low end is missing", "good for a budget in the band; a step response from this file would be a guess: measure from one step above 0 Hz on"
	}
	j.add(z)
	g := Finding{Finding: "spacing", Verdict: Good, Means: "the frequencies are evenly spaced"}
	switch {
	case points < 3:
		g.Verdict, g.Means, g.Do = NotAssessed, fmt.Sprintf("%d frequencies have no even spacing", points), "ask for the whole sweep"
	case !even:
		g.Verdict, g.Means, g.Do = Care, "the frequencies are not evenly spaced", "the time domain and the causality metric need an even grid: interpolate, or sweep linearly"
	}
	j.add(g)
}

// reference judges the ports' reference impedances.
func (j *judge) reference() {
	r := Finding{Finding: "reference", Verdict: Good, Means: "50 Ω at every port"}
	for _, x := range j.doc.ReferenceOhm {
		if x != 50 {
			r.Verdict, r.Means, r.Do = Care, fmt.Sprintf("the ports are not all referred to 50 Ω: %s Ω", Numbers(j.doc.ReferenceOhm)), "intended? Then nothing; Linewright renormalises where files meet"
		}
	}
	j.add(r)
}

// explained says whether noise explains by how much S_ij and S_ji differ: their rms
// difference is at most half again that of their noises.
func explained(n network.Network, i, j int) bool {
	sum := 0.0
	for k := range n.Frequency {
		d := cmplx.Abs(n.At(k, i, j) - n.At(k, j, i))
		sum += d * d / float64(len(n.Frequency))
	}
	return math.Sqrt(sum) <= 1.5*math.Hypot(sweep.Noise(n, i, j), sweep.Noise(n, j, i)) // a NaN explains nothing
}

// Numbers writes a few numbers, and dots for the rest.
func Numbers(xs []float64) string {
	var s []string
	for i, x := range xs {
		if i == 8 {
			s = append(s, "...")
			break
		}
		s = append(s, fmt.Sprintf("%g", x))
	}
	return strings.Join(s, ", ")
}

// number returns a number, or null for what JSON cannot hold.
func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}
