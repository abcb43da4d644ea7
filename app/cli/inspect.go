package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"linewright/app/workspace"
	"linewright/internal/spell"
	"linewright/physics/network"
	"linewright/physics/touchstone"
)

// keepNumbers is how many complex numbers of one file are held at once: 8
// million are 128 MB, twice that while the list grows. A longer file is judged
// piece by piece.
const keepNumbers = 8 << 20

func newInspect(env *environment) *cobra.Command {
	var ports int
	c := &cobra.Command{
		Use:     "inspect FILE...",
		GroupID: "files",
		Short:   "What is in a Touchstone file, and can it be trusted",
		Long: `Inspect reads Touchstone files and says what is in each: version, ports, format,
frequencies, reference, the description it carries, noise data. It then judges
the data: passive, reciprocal, causal (the initial quality metrics of IEEE Std
370), a transmission above 0 dB, a frequency step too coarse for the phase, a
missing low end. Each finding says what it means and what to do.

  good          nothing to do
  care          usable, with what the finding says in mind
  bad           not the data of a passive interconnect, or not usable as they are
  not assessed  something needed is missing

Files of several hundred megabytes are judged piece by piece; what needs the
whole file is then not assessed. Exit status 1 when a finding is bad.`,
		Example: `  linewright inspect measured/lot7-03.s2p
  linewright inspect measured/*.s2p --json`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage("FILE is missing", "write: %s", c.UseLine())
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			var errs []error
			docs := []fileDoc{}
			bad := false
			for _, name := range args {
				d, err := inspectNamed(c.Context(), name, ports, keepNumbers)
				if err != nil {
					if c.Context().Err() != nil {
						return err
					}
					errs = append(errs, err)
					continue
				}
				docs = append(docs, d)
				bad = bad || d.Verdict == findingBad
				if !env.json {
					printFile(env, d)
				}
			}
			if err := together(errs...); err != nil {
				return err
			}
			if env.json {
				env.printJSON(map[string]any{"files": docs})
			}
			if bad {
				return errMissed
			}
			return nil
		},
		ValidArgsFunction: completeFiles("s1p", "s2p", "s3p", "s4p", "s6p", "s8p", "s12p", "s16p", "ts", "snp"),
	}
	countVar(c.Flags(), &ports, "ports", "", 0, 0, 1000, "number of ports, where neither the file nor its ending tells")
	return c
}

// fileDoc is what inspect says of one file.
type fileDoc struct {
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
	Description   *headerDoc   `json:"description"` // null when the comments hold none
	Verdict       string       `json:"verdict"`
	Findings      []findingDoc `json:"findings"`
	LeftOut       []string     `json:"left_out"`
	ReadPiecewise bool         `json:"read_piecewise"`
}

// headerDoc is the description that a file carries in its comments.
type headerDoc struct {
	Title    string   `json:"title"`
	Origin   string   `json:"origin"`
	Ports    []string `json:"ports"`
	Contains []string `json:"contains"`
	Excludes []string `json:"excludes"`
	Notes    []string `json:"notes"`
	Missing  []string `json:"missing"`
}

const (
	findingGood = "good"
	findingCare = "care"
	findingBad  = "bad"
	findingNone = "not assessed"
)

// findingDoc is one judgement of a file's data.
type findingDoc struct {
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

// inspectNamed opens and judges one file. Faults come as workspace faults.
func inspectNamed(ctx context.Context, name string, ports, keep int) (fileDoc, error) {
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		help := "check the path"
		if near := nearbyFile(name); near != "" {
			help = "did you mean " + near + "?"
		}
		return fileDoc{}, workspace.Fault{File: name, Err: fs.ErrNotExist, Problem: "no such file", Help: help}
	case err != nil:
		return fileDoc{}, workspace.Fault{File: name, Err: err, Problem: err.Error(), Help: "check the path and the permissions"}
	case info.IsDir():
		return fileDoc{}, workspace.Fault{File: name, Err: fs.ErrInvalid, Problem: "a folder, not a file", Help: "name files in it, such as " + filepath.Join(name, "*.s2p")}
	}
	f, err := os.Open(name)
	if err != nil {
		return fileDoc{}, workspace.Fault{File: name, Err: err, Problem: "it cannot be opened", Help: "check the permissions"}
	}
	defer f.Close()
	return inspect(ctx, f, name, ports, keep)
}

// nearbyFile returns the file of the same folder whose name is nearest.
func nearbyFile(name string) string {
	entries, err := os.ReadDir(filepath.Dir(name))
	if err != nil {
		return ""
	}
	var names []string
	for _, e := range entries {
		if !e.IsDir() {
			names = append(names, e.Name())
		}
	}
	if near := spell.Nearest(filepath.Base(name), names, 3); near != "" {
		return filepath.Join(filepath.Dir(name), near)
	}
	return ""
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

// inspect judges one file while it reads it. No more than keep complex numbers
// are held at once.
func inspect(ctx context.Context, r io.Reader, name string, ports, keep int) (fileDoc, error) {
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
		return fileDoc{}, err
	}
	if err := s.Err(); err != nil {
		return fileDoc{}, workspace.ReadFaults(name, err)
	}
	piece()
	pieces++
	comments = append(comments, slices.Clone(s.Comments())...)

	l := s.Layout()
	d := fileDoc{File: name, Version: l.Version.String(), Ports: l.Ports, Parameter: l.Parameter.String(), Format: l.Format.String(), Points: points, FromHz: finite(from), ToHz: finite(to),
		ReferenceOhm: []float64{}, Modes: []string{}, NoisePoints: noise, Findings: []findingDoc{}, LeftOut: []string{}, ReadPiecewise: pieces > 1}
	if even && points > 1 {
		d.StepHz = finite((to - from) / float64(points-1))
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
		j.add(findingDoc{Finding: "file format", Verdict: findingCare, Means: "read with forbearance, line " + text, Do: help})
	}
	if failure != nil {
		j.add(findingDoc{Finding: "scattering parameters", Verdict: findingBad, Means: "the data give no scattering parameters: " + failure.Error(), Do: "export S-parameters"})
		d.Verdict = j.worst()
		return d, nil
	}
	if pieces > 1 {
		whole = nil
		d.LeftOut = append(d.LeftOut, fmt.Sprintf("the file has %d numbers, more than the %d held at once: the IEEE 370 metrics, which need the whole file, are left out; the worst values are those of the whole file", points*l.Ports*l.Ports, keep))
	}
	j.data(all, whole, from, step, even, points)
	d.Verdict = j.worst()
	return d, nil
}

// judge words the findings.
type judge struct{ doc *fileDoc }

func (j *judge) add(f findingDoc) {
	if f.Ports == nil {
		f.Ports = []int{}
	}
	j.doc.Findings = append(j.doc.Findings, f)
}

func (j *judge) worst() string {
	out := findingGood
	for _, f := range j.doc.Findings {
		switch {
		case f.Verdict == findingBad:
			return findingBad
		case f.Verdict == findingCare:
			out = findingCare
		case f.Verdict == findingNone && out == findingGood:
			out = findingNone
		}
	}
	return out
}

func (j *judge) header(name string, comments []touchstone.Comment) {
	h, err := touchstone.ParseHeader(name, comments)
	if errors.Is(err, touchstone.ErrNoHeader) || h == nil {
		j.add(findingDoc{Finding: "description", Verdict: findingCare, Means: "the comments do not say where the reference planes lie and what is between them", Do: "ask for the planes before the file is joined with others: a launch counted twice is the usual slip"})
		return
	}
	d := headerDoc{Title: h.Title, Origin: h.Origin, Ports: []string{}, Contains: h.Contains, Excludes: h.Excludes, Notes: h.Notes, Missing: h.Missing()}
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
		j.add(findingDoc{Finding: "description", Verdict: findingCare, Means: "some lines of the description cannot be understood: " + strings.SplitN(err.Error(), "\n", 2)[0], Do: "correct them, so that whoever gets the file can rely on it"})
		return
	}
	if len(d.Missing) > 0 {
		j.add(findingDoc{Finding: "description", Verdict: findingCare, Means: "not stated: " + strings.Join(d.Missing, ", "), Do: "complete it before the file is handed on"})
		return
	}
	j.add(findingDoc{Finding: "description", Verdict: findingGood, Means: "planes, content, origin and validity are stated"})
}

// grade turns an IEEE 370 metric into a verdict.
func grade(metric, good, acceptable float64) string {
	switch {
	case metric >= good:
		return findingGood
	case metric >= acceptable:
		return findingCare
	case metric < acceptable:
		return findingBad
	}
	return findingNone
}

func (j *judge) data(t tally, whole *network.Network, from, step float64, even bool, points int) {
	var q network.Quality
	var qErr error
	if whole != nil {
		q, qErr = whole.InitialQuality()
	}
	limits := func(good, acceptable float64) string {
		return fmt.Sprintf("IEEE 370 initial metric: good from %g %%, usable from %g %%", good, acceptable)
	}
	port := func(d network.Deviation) []int { return []int{d.I + 1, d.J + 1} }

	// Passivity.
	p := findingDoc{Finding: "passivity", Figure: finite(t.passivity.Value), Of: "largest singular value", AtHz: finite(t.passivity.Frequency)}
	switch {
	case whole != nil:
		p.Grade, p.Limits = finite(q.Passivity), limits(network.GoodPassivity, network.AcceptablePassivity)
		p.Verdict = grade(q.Passivity, network.GoodPassivity, network.AcceptablePassivity)
	case t.passivity.Value <= 1.00001:
		p.Verdict = findingGood
	default:
		p.Verdict, p.Limits = findingCare, "worst value only: the metric needs the whole file"
	}
	switch {
	case t.passivity.Value <= 1.00001:
		p.Means = "no excitation gets more power out than in"
	case p.Verdict == findingBad:
		p.Means, p.Do = "more power comes out than goes in: an amplifier, wrong references, or a calibration that failed", "calibrate and measure again, or check the port references; a time-domain simulation with this file can run away"
	default:
		p.Means, p.Do = "at some frequencies slightly more power comes out than goes in, as trace noise and drift do on parts of little loss", "usable for a budget; for a time-domain simulation fit a passive model first"
	}
	j.add(p)

	// Reciprocity.
	if j.doc.Ports > 1 {
		r := findingDoc{Finding: "reciprocity", Figure: finite(t.reciprocity.Value), Of: "largest |Sij - Sji|", AtHz: finite(t.reciprocity.Frequency), Ports: port(t.reciprocity)}
		switch {
		case whole != nil:
			r.Grade, r.Limits = finite(q.Reciprocity), limits(network.GoodReciprocity, network.AcceptableReciprocity)
			r.Verdict = grade(q.Reciprocity, network.GoodReciprocity, network.AcceptableReciprocity)
		case t.reciprocity.Value <= 1e-6:
			r.Verdict = findingGood
		default:
			r.Verdict, r.Limits = findingCare, "worst value only: the metric needs the whole file"
		}
		switch {
		case t.reciprocity.Value <= 1e-6:
			r.Means, r.Ports, r.AtHz = "both directions are the same", nil, nil
		case r.Verdict == findingBad:
			r.Means, r.Do = "the two directions differ more than ordinary materials allow: an active or magnetised part, wrong matrix order, or a switch-term error", "check the order of the columns and the calibration; a passive interconnect is reciprocal"
		default:
			r.Means, r.Do = "the two directions differ a little, as noise and drift between two sweeps do", "their difference is a fair first estimate of the measurement's own error"
		}
		j.add(r)
	}

	// Causality.
	c := findingDoc{Finding: "causality", Unit: "%", Of: "share of clockwise turns", Limits: limits(network.GoodCausality, network.AcceptableCausality)}
	switch {
	case whole == nil:
		c.Verdict, c.Means, c.Do = findingNone, "it needs the whole file", "inspect a file with fewer points"
	case qErr != nil:
		c.Verdict, c.Means, c.Do = findingNone, "it needs three evenly spaced frequencies at least", "measure on an even grid, best from one step above 0 Hz on"
	default:
		c.Verdict, c.Figure, c.Grade = grade(q.Causality, network.GoodCausality, network.AcceptableCausality), finite(q.Causality), finite(q.Causality)
		for k, x := range q.CausalityOf {
			if x == q.Causality && c.Verdict != findingGood {
				c.Ports = []int{k/j.doc.Ports + 1, k%j.doc.Ports + 1}
				break
			}
		}
		switch c.Verdict {
		case findingGood:
			c.Means = "the traces turn clockwise, as the response of a thing that answers after it is asked"
		case findingCare:
			c.Means, c.Do = "part of a trace turns the wrong way: noise on a weak trace, or planes moved too far", "look at the named trace; a weak one full of noise matters little"
		case findingBad:
			c.Means, c.Do = "a trace turns the wrong way: an answer before the question, from noise, a step too coarse, or planes moved into the part", "check de-embedding and frequency step; do not fit a model to this trace"
		}
	}
	j.add(c)

	// Loss better than zero.
	if j.doc.Ports > 1 {
		db := 20 * math.Log10(t.largest.Value)
		g := findingDoc{Finding: "transmission", Figure: finite(db), Unit: "dB", Of: "largest |Sij|", AtHz: finite(t.largest.Frequency), Ports: port(t.largest), Limits: "above 0 dB: care up to 0.05 dB, the drift of a calibrated analyser (common practice)"}
		switch {
		case db <= 1e-6:
			g.Verdict, g.Means = findingGood, "no transmission is better than lossless"
			g.Ports = nil
		case db <= 0.05:
			g.Verdict, g.Means, g.Do = findingCare, "a transmission is a little better than lossless", "take the excess as the least error of this measurement"
		default:
			g.Verdict, g.Means, g.Do = findingBad, "a transmission is better than lossless", "look for a wrong thru standard, a moved cable, or another adapter at calibration"
		}
		if t.largest.Value == 0 {
			g.Verdict, g.Figure, g.Means, g.Do, g.AtHz, g.Ports = findingCare, nil, "no transmission at all: every Sij between different ports is zero", "check that the file holds what it should", nil, nil
		}
		j.add(g)
		if !t.reflecting {
			j.add(findingDoc{Finding: "reflection", Verdict: findingCare, Means: "every port is matched exactly: reflections have been left out", Do: "do not read a return loss off this file"})
		}
		s := findingDoc{Finding: "phase step", Verdict: findingGood, Means: "the phase of every transmission can be followed from point to point"}
		if t.sampling != nil {
			s.Verdict, s.Ports = findingBad, []int{t.samplingAt[0] + 1, t.samplingAt[1] + 1}
			s.Means, s.Do = "the frequencies are too far apart for the delay: whole turns of the phase are lost between two points", "sweep with a step below 1/(2·delay), best a quarter of it"
			var e *network.Error
			if errors.As(t.sampling, &e) {
				s.Means, s.AtHz = s.Means+" ("+e.Found+")", finite(e.Frequency)
			}
		} else if points < 3 {
			s.Verdict, s.Means = findingNone, "two frequencies do not tell a phase from one that has turned further"
		}
		j.add(s)
	}

	// Low end and spacing.
	z := findingDoc{Finding: "low end", Figure: finite(from), Unit: "Hz", Of: "lowest frequency"}
	switch {
	case from == 0:
		z.Verdict, z.Means = findingGood, "the data start at 0 Hz"
	case even && points > 2 && from <= 1.5*step:
		z.Verdict, z.Means = findingGood, "0 Hz is missing, but one step below the first point: it can be extrapolated"
	default:
		z.Verdict, z.Means, z.Do = findingCare, "the low end is missing", "good for a budget in the band; a step response from this file would be a guess: measure from one step above 0 Hz on"
	}
	j.add(z)
	g := findingDoc{Finding: "spacing", Verdict: findingGood, Means: "the frequencies are evenly spaced"}
	switch {
	case points < 3:
		g.Verdict, g.Means, g.Do = findingNone, fmt.Sprintf("%d frequencies have no even spacing", points), "ask for the whole sweep"
	case !even:
		g.Verdict, g.Means, g.Do = findingCare, "the frequencies are not evenly spaced", "the time domain and the causality metric need an even grid: interpolate, or sweep linearly"
	}
	j.add(g)

	// Reference.
	r := findingDoc{Finding: "reference", Verdict: findingGood, Means: "50 Ω at every port"}
	for _, x := range j.doc.ReferenceOhm {
		if x != 50 {
			r.Verdict, r.Means, r.Do = findingCare, fmt.Sprintf("the ports are not all referred to 50 Ω: %s Ω", numbersText(j.doc.ReferenceOhm)), "intended? Then nothing; Linewright renormalises where files meet"
		}
	}
	j.add(r)
}

func numbersText(xs []float64) string {
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

func printFile(env *environment, d fileDoc) {
	out := env.out
	heading(out, "%s: %s", d.File, d.Verdict)
	step := "unevenly spaced"
	switch {
	case d.Points < 2:
		step = "no sweep"
	case d.StepHz != nil:
		step = fmt.Sprintf("every %.6g MHz", *d.StepHz/1e6)
	}
	fmt.Fprintf(out, "  Touchstone %s, %d ports, %s in %s, %d points from %s to %s GHz, %s\n", d.Version, d.Ports, d.Parameter, d.Format, d.Points, show(d.FromHz, 1e-9, "%.6g"), show(d.ToHz, 1e-9, "%.6g"), step)
	fmt.Fprintf(out, "  reference %s Ω", numbersText(d.ReferenceOhm))
	if len(d.Modes) > 0 {
		fmt.Fprintf(out, ", mixed modes %s", strings.Join(d.Modes, " "))
	}
	if d.NoisePoints > 0 {
		fmt.Fprintf(out, ", %d noise points", d.NoisePoints)
	}
	fmt.Fprintln(out)
	if h := d.Description; h != nil {
		paragraph(out, "  title: ", h.Title)
		paragraph(out, "  origin: ", h.Origin)
		for i, p := range h.Ports {
			paragraph(out, fmt.Sprintf("  port %d: ", i+1), p)
		}
		if len(h.Contains) > 0 {
			paragraph(out, "  contains: ", strings.Join(h.Contains, "; "))
		}
		if len(h.Excludes) > 0 {
			paragraph(out, "  does not contain: ", strings.Join(h.Excludes, "; "))
		}
		for _, n := range h.Notes {
			paragraph(out, "  note: ", n)
		}
	}
	for _, f := range d.Findings {
		text := f.Means
		if f.Figure != nil && f.Of != "" {
			text += fmt.Sprintf(" (%s %.6g", f.Of, *f.Figure)
			if f.Unit != "" {
				text += " " + f.Unit
			}
			if len(f.Ports) == 2 {
				text += fmt.Sprintf(", S%d,%d", f.Ports[0], f.Ports[1])
			}
			if f.AtHz != nil {
				text += fmt.Sprintf(" at %.6g GHz", *f.AtHz/1e9)
			}
			if f.Grade != nil && f.Unit != "%" {
				text += fmt.Sprintf("; metric %.4g %%", *f.Grade)
			}
			text += ")"
		}
		if f.Do != "" {
			text += ". " + strings.ToUpper(f.Do[:1]) + f.Do[1:]
		}
		paragraph(out, fmt.Sprintf("  %-12s %s: ", f.Verdict, f.Finding), text)
	}
	for _, l := range d.LeftOut {
		paragraph(out, "  left out: ", l)
	}
}
