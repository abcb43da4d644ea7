package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"linewright/app/archive"
	"linewright/app/inspect"
	"linewright/app/measured"
	"linewright/app/plot"
	"linewright/app/workspace"
	"linewright/internal/spell"
	"linewright/job/assess"
	"linewright/job/tolerance"
	"linewright/job/verify"
	"linewright/physics/network"
	"linewright/physics/units"
)

// measurement are the flags that say how samples were measured and are judged.
type measurement struct {
	rule                                   string
	guard, coverage, ofReflection          float64
	ofTransmission, tracking, transmission units.Level
	directivity, source, load, connection  units.Level
	isolation                              units.Level
	temperature                            units.Temperature
	stored                                 units.Time
	copies                                 int
	seed                                   uint64
	leftPlane, rightPlane                  string
	chainPlanes                            bool
	leftFixture, rightFixture              string
	cpk, confidence                        float64
	dir, enquiryName, plots, tolerances    string
	keep                                   bool
	workers                                int
	quality                                string
	conditions                             archive.Conditions
}

func (m *measurement) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringVarP(&m.dir, "workspace", "w", "", "the workspace; by default the nearest folder above CHAIN that has a catalogue")
	f.StringVarP(&m.enquiryName, "enquiry", "e", "", "the enquiry that sets band and limits; by default the one the chain names")
	wordVar(c, &m.rule, "rule", "decision rule, chosen before measuring; by default three-way where an uncertainty is stated, else simple", verify.Rule("").Options()...)
	numberVar(f, &m.guard, "guard", 0.01, 10, "1", "width of the guard band in expanded uncertainties; by default 1")
	quantityVar(f, &m.ofTransmission, "uncertainty", "expanded uncertainty of the transmission, such as 0.1dB")
	numberVar(f, &m.ofReflection, "uncertainty-reflection", 0, 0.5, "0.01", "expanded uncertainty of a reflection's magnitude, such as 0.01")
	numberVar(f, &m.coverage, "coverage", 0.5, 5, "2", "coverage factor k of the expanded uncertainties; by default 2")
	quantityVar(f, &m.directivity, "directivity", "residual directivity after calibration, such as 42dB; with the residuals below the uncertainty follows from the error model")
	quantityVar(f, &m.source, "source-match", "residual source match, such as 38dB")
	quantityVar(f, &m.load, "load-match", "residual load match; by default as the directivity")
	quantityVar(f, &m.tracking, "reflection-tracking", "residual tracking of the reflection, such as 0.05dB")
	quantityVar(f, &m.transmission, "transmission-tracking", "residual tracking of the transmission, such as 0.05dB")
	quantityVar(f, &m.connection, "repeatability", "what a connection made again changes, as a vector, such as 60dB")
	quantityVar(f, &m.isolation, "isolation", "leakage and noise past the sample, such as 100dB")
	quantityVar(f, &m.temperature, "temperature", "of the samples when measured, such as 23°C; by default as the files say")
	quantityVar(f, &m.stored, "stored-delay", "delay that an absolute match is held against, such as 4821.3ps")
	countVar(f, &m.copies, "copies", "", 1000, 0, 100_000, "copies behind the prediction's tolerance band; 0: no band")
	f.StringVar(&m.tolerances, "tolerances", "", "a file of tolerances behind the prediction's band, in place of the defaults")
	f.Uint64Var(&m.seed, "seed", 0, "seed of the copies")
	f.StringVar(&m.leftPlane, "left-plane", "", "the plane of port 1, in the chain's words; by default as the file says")
	f.StringVar(&m.rightPlane, "right-plane", "", "the plane of port 2, in the chain's words; by default as the file says")
	f.BoolVar(&m.chainPlanes, "chain-planes", false, "I vouch that files which name no planes were measured between the chain's own")
	f.StringVar(&m.leftFixture, "left-fixture", "", "Touchstone file of what lies between port 1 and the chain, to be taken off")
	f.StringVar(&m.rightFixture, "right-fixture", "", "Touchstone file of what lies between the chain and port 2, to be taken off")
	numberVar(f, &m.cpk, "cpk", 0, 10, "1.33", "capability that the lot's lower confidence bound is to reach; by default none")
	numberVar(f, &m.confidence, "confidence", 0.5, 0.9999, "0.95", "of the lot's capability bound; by default 0.95")
	countVar(f, &m.workers, "workers", "", 0, 0, 1024, "files judged at once; 0: one per processor")
	wordVar(c, &m.quality, "quality", "how each file's quality is judged; by default full up to 200 files, quick (the initial metrics of IEEE 370, and in full where one is not good) beyond", "full", "quick")
	f.StringVar(&m.plots, "plot", "", "write an SVG of the first sample over the limits, the prediction and the chain")
	f.BoolVar(&m.keep, "archive", false, "keep the files with their verdicts in the workspace's archive")
	conditionFlags(f, &m.conditions)
}

// conditionFlags say under which conditions files were measured.
func conditionFlags(f *pflag.FlagSet, c *archive.Conditions) {
	f.StringVar(&c.Instrument, "instrument", "", "for the archive: analyser, calibration and its date")
	f.StringVar(&c.Note, "note", "", "for the archive: torque, humidity, straight or coiled, deviations")
}

func magnitude(l units.Level) float64 {
	if l == 0 {
		return 0
	}
	return math.Pow(10, -math.Abs(float64(l))/20)
}

// relative turns a tracking error in dB into a ratio.
func relative(l units.Level) float64 { return math.Pow(10, math.Abs(float64(l))/20) - 1 }

func (m *measurement) options(f *pflag.FlagSet) verify.Options {
	o := verify.Options{Rule: verify.Rule(m.rule), Guard: m.guard, Stored: m.stored, Copies: m.copies, Seed: m.seed,
		Uncertainty: verify.Uncertainty{Transmission: m.ofTransmission, Reflection: m.ofReflection, Coverage: m.coverage, Residuals: verify.Residuals{
			Directivity: magnitude(m.directivity), SourceMatch: magnitude(m.source), LoadMatch: magnitude(m.load), Tracking: relative(m.tracking), Transmission: relative(m.transmission),
			Connection: magnitude(m.connection), Isolation: magnitude(m.isolation)}}}
	if m.copies == 0 {
		o.Copies = -1
	}
	if f.Changed("temperature") {
		o.Temperature = &m.temperature
	}
	return o
}

// touchstoneName is how a file of network data ends.
var touchstoneName = regexp.MustCompile(`(?i)\.(s[0-9]+p|ts|snp)$`)

// samples lists the files that arguments name: a folder stands for the network
// data in it.
func samples(args []string) ([]string, error) {
	var out []string
	var errs []error
	for _, name := range args {
		info, err := os.Stat(name)
		if err != nil || !info.IsDir() {
			out = append(out, name) // what is missing is named with the others' verdicts
			continue
		}
		entries, err := os.ReadDir(name)
		if err != nil {
			errs = append(errs, workspace.Fault{File: name, Err: err, Problem: "the folder cannot be read", Help: "check the permissions"})
			continue
		}
		before := len(out)
		for _, e := range entries {
			if !e.IsDir() && touchstoneName.MatchString(e.Name()) {
				out = append(out, filepath.Join(name, e.Name()))
			}
		}
		if len(out) == before {
			errs = append(errs, workspace.Fault{File: name, Err: fs.ErrNotExist, Problem: "the folder holds no Touchstone file", Help: "name another folder, or the files"})
		}
	}
	return out, workspace.Together(errs...)
}

func newVerify(env *environment) *cobra.Command {
	var m measurement
	c := &cobra.Command{
		Use:     "verify CHAIN FILE...",
		GroupID: "job",
		Short:   "Hold measured samples against the limits and the prediction",
		Long: `Verify reads measured files, one or ten thousand, and holds each against a
chain: whether the data can be trusted, whether they were measured between the
chain's own planes, the margin to every limit of the enquiry, whether it agrees
with what built copies of the prediction do, and where along the chain it
reflects more than its pieces may. A folder stands for the files in it.

The reference planes are read from the file's description. A file that names
none is refused until its planes are named (--left-plane, --right-plane) or
vouched for (--chain-planes): a fixture counted with the sample is the usual slip.

The decision rule is chosen before measuring, after ILAC-G8 and JCGM 106:

  simple     meets up to the limit; at the limit the risk is one half
  guarded    meets inside the limit by the guard band, else fails
  three-way  meets inside by the guard band, fails outside by it, between at risk

The guard band is the expanded uncertainty, stated for transmission and
reflection, or following from the residual errors of the calibration. Without
--rule it is three-way where an uncertainty is stated, else simple.

Several files are also judged as a set (phase match); from eight on as a lot:
capability with its confidence bound, outliers, drift along the serial numbers,
which are the last number in each file's name. A file that cannot be read is
named, and the others are judged.

Exit status 0 when every sample meets every limit, 1 otherwise.`,
		Example: `  linewright verify chains/bench-jumper.yaml measured/sn0012.s2p --temperature 23°C --uncertainty 0.1dB --uncertainty-reflection 0.01
  linewright verify chains/bench-jumper.yaml measured --chain-planes --temperature 23°C --rule guarded --directivity 42dB --source-match 38dB --transmission-tracking 0.05dB
  linewright verify chains/bench-jumper.yaml measured --json --archive`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) < 2 {
				return usage([]string{"CHAIN is missing", "FILE is missing"}[len(args)], "write: %s", c.UseLine())
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			j, e, b, err := openChain(m.dir, args[0], m.enquiryName)
			if err != nil {
				return err
			}
			names, err := samples(args[1:])
			if err != nil {
				return err
			}
			if err := spared(append([]string{args[0], m.leftFixture, m.rightFixture, m.tolerances}, names...), [2]string{"--plot", m.plots}); err != nil {
				return err
			}
			if len(names) == 1 { // one file by itself is a plain input: what is wrong with it is the answer
				if _, err := os.Stat(names[0]); err != nil {
					_, err := inspectNamed(c.Context(), names[0], 0)
					return err
				}
			}
			o, err := m.reading(len(names))
			if err != nil {
				return err
			}
			bar := env.newProgress()
			o.Progress = bar.report
			how := m.options(c.Flags())
			if how.Temperature == nil { // as the first file that says so
				how.Temperature = statedTemperature(names)
			}
			if m.tolerances != "" {
				if how.Tolerances, err = workspace.ReadTolerances(m.tolerances); err != nil {
					return err
				}
			}
			plan, err := verify.New(c.Context(), e, b, how)
			if err != nil {
				return toleranceFault(m.tolerances, err)
			}
			var store *archive.Archive
			var kept archive.Added
			if m.keep {
				if store, err = openArchiveOf(j.w, true); err != nil {
					return err
				}
				defer store.Close()
				m.conditions.TemperatureK = temperatureK(plan.Temperature())
			}
			var first *measured.Verified
			o.Judged = func(data []byte, f measured.Verified) error {
				if first == nil && f.Network() != nil {
					first = &f
				}
				if store == nil || f.Quality == "" { // what cannot be read is no data
					return nil
				}
				return archiveFault(store.Name(), keepVerdict(c.Context(), store, &kept, data, f, plan, m.conditions))
			}
			var sources []measured.Source
			for _, name := range names {
				sources = append(sources, measured.Source{Name: name, Open: func() (io.ReadCloser, error) { return os.Open(name) }})
			}
			doc, err := measured.Run(c.Context(), plan, sources, o)
			bar.end()
			if store != nil {
				if errS := store.Flush(c.Context(), &kept); errS != nil && err == nil {
					err = archiveFault(store.Name(), errS)
				}
				if err != nil && c.Context().Err() != nil {
					return keptSoFar(store, kept)
				}
			}
			if err != nil {
				return err
			}
			if m.plots != "" && first != nil {
				if err := writeFile(m.plots, samplePage(plan, *first).SVG()); err != nil {
					return err
				}
			}
			if len(doc.Files) == 1 && len(doc.Files[0].Errors) > 0 { // nothing was judged
				return m.notJudged(doc.Files[0])
			}
			if env.json {
				env.printJSON(doc)
			} else {
				printVerification(env.out, doc)
				if m.keep {
					fmt.Fprintf(env.out, "\narchive: %d kept, %d were there already\n", kept.New, kept.There)
				}
			}
			if doc.Verdict != assess.Meets.String() || lotLacks(doc) {
				return errMissed
			}
			return nil
		},
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			if len(args) == 0 {
				return []string{"yaml"}, cobra.ShellCompDirectiveFilterFileExt
			}
			return []string{"s2p", "ts"}, cobra.ShellCompDirectiveFilterFileExt
		},
	}
	m.flags(c)
	return c
}

// reading tells how so many files are read: between which planes, with which
// fixtures, how closely each is inspected, and what is asked of a lot.
func (m *measurement) reading(files int) (measured.Options, error) {
	o := measured.Options{LeftPlane: m.leftPlane, RightPlane: m.rightPlane, ChainPlanes: m.chainPlanes, Workers: m.workers}
	o.Quick = m.quality == "quick" || m.quality == "" && files > 200
	if m.plots != "" {
		o.Detail = 1
	}
	o.Lot.Wanted, o.Lot.Confidence = m.cpk, m.confidence
	for _, side := range []struct {
		name string
		at   **network.Network
	}{{m.leftFixture, &o.LeftFixture}, {m.rightFixture, &o.RightFixture}} {
		if side.name == "" {
			continue
		}
		var err error
		if *side.at, err = readFixture(side.name); err != nil {
			return o, err
		}
	}
	return o, nil
}

// notJudged is the fault of a file of which nothing was judged.
func (m *measurement) notJudged(f measured.Verified) error {
	x, help := f.Errors[0], f.Errors[0].Help
	if f.Quality != "" && !m.chainPlanes {
		help += planesHelp
	}
	return workspace.Fault{File: x.File, Line: x.Line, Column: x.Column, Found: x.Found, Err: errors.New(x.Problem), Problem: x.Problem, Help: help}
}

// toleranceFault says of a file of tolerances which one cannot be used.
func toleranceFault(file string, err error) error {
	var f *tolerance.Fault
	if errors.As(err, &f) {
		return workspace.Fault{File: file, Found: f.Where(), Err: err, Problem: f.Problem + ": " + f.Err.Error(), Help: f.Help}
	}
	return err
}

// statedTemperature looks for a temperature in the first files' descriptions.
func statedTemperature(names []string) *units.Temperature {
	for _, name := range names[:min(4, len(names))] {
		f, err := os.Open(name)
		if err != nil {
			continue // it is named with the others' verdicts
		}
		t := measured.StatedTemperature(f, name)
		f.Close()
		if t != nil {
			return t
		}
	}
	return nil
}

const planesHelp = "; on the command line --chain-planes vouches, --left-plane and --right-plane name, --left-fixture and --right-fixture take off"

// lotLacks says that a capability was asked for and a limit's bound does not
// reach it.
func lotLacks(d measured.Document) bool {
	return d.Lot != nil && slices.ContainsFunc(d.Lot.Quantities, func(q measured.Quantity) bool { return q.Capability != nil && !q.Capability.Enough })
}

func readFixture(name string) (*network.Network, error) {
	f, err := openNamed(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return measured.ReadFixture(f, name)
}

// printVerification writes a verification for people.
func printVerification(out io.Writer, d measured.Document) {
	fmt.Fprintf(out, "%s against %s\n", d.Chain, d.Enquiry)
	chosen := "chosen"
	if d.Decision.Default {
		chosen = "the default: none was chosen"
	}
	paragraph(out, "RULE "+d.Decision.Rule+" ("+chosen+"): ", d.Decision.Says+" ("+d.Decision.Source+")")
	if len(d.Files) == 1 {
		printSample(out, d.Files[0])
	} else {
		printSamples(out, d)
	}
	for _, q := range d.Questions {
		paragraph(out, "? ", q.Text+" ("+q.Field+": "+q.Changes+")")
	}
	for _, n := range d.Notes {
		paragraph(out, "  - ", n)
	}
}

func pointer(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

// qualityWords says how far a file's data can be trusted.
var qualityWords = map[string]string{inspect.Good: "can be trusted", inspect.Care: "can be used with care", inspect.Bad: "are not to be trusted", inspect.NotAssessed: "could not be assessed in full"}

func printSample(out io.Writer, f measured.Verified) {
	heading(out, "%s: %s", f.File, strings.ToUpper(f.Verdict))
	if f.Why != "" {
		paragraph(out, "  ", f.Why)
	}
	paragraph(out, "  quality: ", "the data "+qualityWords[f.Quality])
	for _, x := range f.Findings {
		paragraph(out, "    "+x.Verdict+" ", x.Finding+": "+x.Means)
	}
	if p := f.Planes; p != nil {
		who := map[string]string{"file": "as the file says", "caller": "as you say", "vouched": "vouched for"}[p.From]
		text := fmt.Sprintf("port 1 at %q, port 2 at %q, %s", p.Port1, p.Port2, who)
		if p.Turned {
			text += "; the data were turned round to the chain's left and right"
		}
		paragraph(out, "  planes: ", text)
	}
	if len(f.Margins) > 0 {
		heading(out, "Limits")
		t := newTable(out, "limit", "verdict", "reads", "limit", "margin", "guard band", "chance inside", "at", "")
		numbers(t, 3, 4, 5, 6, 7, 8)
		for _, m := range f.Margins {
			name := m.Limit
			if m.Wish {
				name += " (wish)"
			}
			chance := ""
			if m.Inside != nil && m.Uncertainty != nil {
				chance = fmt.Sprintf("%.1f %%", 100**m.Inside)
			}
			t.AppendRow(table.Row{name, m.Verdict, value(pointer(m.Worst), m.Unit), value(pointer(m.LimitValue), m.Unit), value(pointer(m.Margin.Margin), m.Unit), value(pointer(m.Guard), m.Unit), chance, ghz(pointer(m.AtHz)), m.Trace})
		}
		t.Render()
		for _, m := range f.Margins {
			if m.Verdict != assess.Meets.String() {
				paragraph(out, "  - ", m.Limit+": "+m.Why)
			}
		}
	}
	if len(f.Agreement) > 0 {
		heading(out, "Against the prediction")
		for _, a := range f.Agreement {
			paragraph(out, "  "+a.Trace+": ", a.Why)
		}
	}
	if l := f.Length; l != nil {
		text := l.Why
		if l.DelayS != nil {
			text = fmt.Sprintf("%.5g ps; %s", *l.DelayS*1e12, l.Why)
		}
		paragraph(out, "  electrical length: ", text)
	}
	if f.RippleDB != nil {
		paragraph(out, "  ripple: ", fmt.Sprintf("%.3f dB peak to peak about the fitted smooth loss, between %s and %s", *f.RippleDB, ghz(pointer(f.RippleHz[0])), ghz(pointer(f.RippleHz[1]))))
	}
	heading(out, "Along the chain")
	if a := f.Along; a != nil {
		t := newTable(out, "piece", "from mm", "to mm", "reflects dB", "may dB", "")
		numbers(t, 2, 3, 4, 5)
		for _, p := range a.Pieces {
			over := ""
			if p.Exceeds {
				over = "more than it may"
			}
			t.AppendRow(table.Row{p.Name, fmt.Sprintf("%.1f", p.FromM*1e3), fmt.Sprintf("%.1f", p.ToM*1e3), show(p.ReturnLossDB, 1, "%.1f"), show(p.MayDB, 1, "%.1f"), over})
		}
		t.Render()
		if f.Difference != nil {
			paragraph(out, "  differs at ", f.Difference.Says)
		} else {
			paragraph(out, "  ", "no place reflects more than the pieces there may; reflections nearer together than "+fmt.Sprintf("%.1f mm", a.ResolutionM*1e3)+" show as one")
			if f.Largest != nil {
				paragraph(out, "  greatest: ", f.Largest.Says)
			}
		}
		if f.Turned {
			paragraph(out, "  ", "It fits the chain when its ports are exchanged: it may have been measured the other way round.")
		}
		if len(a.Shared) > 0 {
			paragraph(out, "  ", "The electrical length of "+strings.Join(a.Shared, ", ")+" is not stated: what the measured delay leaves over is shared among them.")
		}
	} else {
		paragraph(out, "  ", f.NotAlong)
	}
}

// mostRows is how many files a table lists.
const mostRows = 30

func printSamples(out io.Writer, d measured.Document) {
	var counts []string
	for _, word := range []string{"meets", "at risk", "fails", "not assessed", "unreadable"} {
		if n := d.Counts[word]; n > 0 {
			counts = append(counts, fmt.Sprintf("%d %s", n, word))
		}
	}
	heading(out, "%s: %s: %s", strings.ToUpper(d.Verdict), spell.Count(len(d.Files), "file"), strings.Join(counts, ", "))
	shown := d.Files
	title := ""
	if len(shown) > mostRows { // those that need a look
		shown = slices.Clone(shown)
		order := map[string]int{"fails": 0, "not assessed": 1, "at risk": 2, "meets": 3}
		slices.SortStableFunc(shown, func(a, b measured.Verified) int {
			if x := order[a.Verdict] - order[b.Verdict]; x != 0 {
				return x
			}
			return compareFloats(leastMargin(a), leastMargin(b))
		})
		shown = shown[:mostRows]
		title = fmt.Sprintf("the %d that need a look first; --json has all", mostRows)
	}
	if title != "" {
		paragraph(out, "  ", title)
	}
	t := newTable(out, "file", "verdict", "closest limit", "margin", "at", "differs at")
	numbers(t, 4, 5)
	for _, f := range shown {
		if len(f.Errors) > 0 {
			x := f.Errors[0]
			where := x.Problem
			if x.Line > 0 {
				where = fmt.Sprintf("line %d: %s", x.Line, x.Problem)
			}
			t.AppendRow(table.Row{f.File, "unreadable", where, "", "", x.Help})
			continue
		}
		m := closest(f)
		place := ""
		if f.Difference != nil {
			place = fmt.Sprintf("%s, %.1f mm", f.Difference.Piece, f.Difference.PositionM*1e3)
		}
		if f.Turned {
			place += " (ports exchanged?)"
		}
		if m == nil {
			t.AppendRow(table.Row{f.File, f.Verdict, f.Why, "", "", place})
			continue
		}
		t.AppendRow(table.Row{f.File, f.Verdict, m.Limit, value(pointer(m.Margin.Margin), m.Unit), ghz(pointer(m.AtHz)), place})
	}
	t.Render()
	if s := d.Set; s != nil && s.Size > 1 {
		heading(out, "Phase of the set")
		w := func(x measured.Width) string {
			return fmt.Sprintf("%.3g deg, %.3g ps, %.3g mm", x.Degrees, x.Seconds*1e12, x.Metres*1e3)
		}
		paragraph(out, "  ", fmt.Sprintf("%d samples lie within %s at %s, from %s to %s; standard deviation %.3g ps", s.Size, w(s.Width), ghz(pointer(s.AtHz)), s.Shortest, s.Longest, pointer(s.DeviationS)*1e12))
		paragraph(out, "  ", fmt.Sprintf("over the band at most %s (at %s); with each one's own delay taken off %s (at %s)", w(s.Absolute), ghz(pointer(s.AbsoluteHz)), w(s.Flat), ghz(pointer(s.FlatHz))))
		if s.Match != nil {
			paragraph(out, "  "+strings.ToUpper(s.Match.Verdict)+": ", s.Match.Why)
		}
	}
	if d.Lot != nil {
		printLot(out, *d.Lot)
	}
}

// closest is the limit of a file with the least margin relative to its guard.
func closest(f measured.Verified) *measured.LimitMargin {
	var best *measured.LimitMargin
	for i := range f.Margins {
		m := &f.Margins[i]
		if m.Margin.Margin == nil || m.Wish {
			continue
		}
		if best == nil || relativeMargin(*m) < relativeMargin(*best) {
			best = m
		}
	}
	return best
}

func relativeMargin(m measured.LimitMargin) float64 {
	return pointer(m.Margin.Margin) / math.Max(math.Abs(pointer(m.LimitValue)), 1e-9)
}

func leastMargin(f measured.Verified) float64 {
	if m := closest(f); m != nil {
		return relativeMargin(*m)
	}
	return math.Inf(1)
}

func compareFloats(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

func printLot(out io.Writer, l measured.Lot) {
	heading(out, "Lot of %d", l.Units)
	t := newTable(out, "", "mean", "s", "worst", "of", "Cpk", fmt.Sprintf("≥ at %.0f %%", 100*l.Confidence), "outside", "drift over lot", "")
	numbers(t, 2, 3, 4, 6, 7, 8, 9)
	var remarks []string
	for _, q := range l.Quantities {
		cpk, lower, outside, drift, note := "", "", "", "", ""
		if c := q.Capability; c != nil {
			cpk, lower, outside = show(c.Cpk, 1, "%.2f"), show(c.Lower, 1, "%.2f"), fmt.Sprint(c.Outside)
			if !c.Enough {
				note = fmt.Sprintf("below %.3g", l.Wanted)
			}
		}
		if q.Normality.Rejected {
			note = strings.TrimPrefix(note+", not normal", ", ")
		}
		if x := q.Drift; x != nil && x.Detected {
			drift = value(x.Over, q.Unit)
			remarks = append(remarks, fmt.Sprintf("%s drifts by %s over the lot (p = %.2g)", q.Name, value(x.Over, q.Unit), x.P))
		}
		for _, o := range q.Outliers {
			remarks = append(remarks, fmt.Sprintf("%s does not belong with the others: %s %s, %.1f standard deviations off", o.File, q.Name, value(o.Value, q.Unit), o.Statistic))
		}
		t.AppendRow(table.Row{q.Name, value(pointer(q.Mean), q.Unit), value(pointer(q.Deviation), q.Unit), value(pointer(q.Least), q.Unit), q.LeastOf, cpk, lower, outside, drift, note})
	}
	t.Render()
	for _, name := range l.Exchanged {
		remarks = append(remarks, name+" is like the others with its ports exchanged: it may have been measured the other way round")
	}
	for i, r := range remarks {
		if i == mostRows {
			paragraph(out, "  - ", fmt.Sprintf("and %d more; --json has all", len(remarks)-i))
			break
		}
		paragraph(out, "  - ", r)
	}
	order := "serial numbers"
	if !l.Serials {
		order = "the order of the files, not every name holding a number"
	}
	paragraph(out, "  ", fmt.Sprintf("Figures are margins, positive inside; drift is along %s. A least-of-the-band is an extreme value and seldom normal: where that is said, a Cpk tells no share of misses, and the count outside does. False alarms of one kind: %.0f %% of sound lots.", order, 100*l.Level))
}

// samplePage draws a sample over its limits, its prediction and the chain.
func samplePage(p *verify.Plan, f measured.Verified) plot.Page {
	n := *f.Network()
	x := make([]float64, len(n.Frequency))
	for i, v := range n.Frequency {
		x[i] = v / 1e9
	}
	level := func(i, j int) []float64 {
		out := make([]float64, len(x))
		for k := range x {
			z := n.At(k, i, j)
			out[k] = min(-20*math.Log10(math.Hypot(real(z), imag(z))), 45) // beyond, nothing is read off the paper
		}
		return out
	}
	onto := func(curve []float64) []float64 {
		out := make([]float64, len(x))
		b := p.Band.Frequency
		for k, v := range n.Frequency {
			i, _ := slices.BinarySearch(b, v)
			switch {
			case v < b[0] || i == len(b):
				out[k] = math.NaN()
			default:
				out[k] = min(-20*math.Log10(curve[i]), 45)
			}
		}
		return out
	}
	loss := plot.Chart{Title: "Insertion loss", XLabel: "frequency, GHz", YLabel: "dB", X: x, Zero: true, Down: true, Lines: []plot.Line{{Name: "S21", Y: level(1, 0)}}}
	rl := plot.Chart{Title: "Return loss", XLabel: "frequency, GHz", YLabel: "dB", X: x, Down: true, Zero: true, Lines: []plot.Line{{Name: "S11", Y: level(0, 0)}, {Name: "S22", Y: level(1, 1), Style: plot.Dashed}}}
	if p.Band != nil {
		loss.Bands = []plot.Band{{Name: "95 % of copies", Low: onto(p.Band.Transmission.Highest), High: onto(p.Band.Transmission.Lowest)}}
		rl.Lines = append(rl.Lines, plot.Line{Name: "95 % of copies, S11", Y: onto(p.Band.Near.Highest), Style: plot.Dotted})
	}
	for _, m := range f.Margins {
		at := &rl
		above := false
		switch {
		case m.Limit == "insertion loss" || strings.HasPrefix(m.Limit, "insertion loss ("):
			at, above = &loss, true
		case strings.Contains(m.Limit, "near end"):
		default:
			continue
		}
		for _, s := range m.Segments {
			y := pointer(m.LimitValue)
			if m.Unit == "" {
				y = network.ReturnLoss(network.FromVSWR(y))
			}
			x0, x1 := s.FromHz/1e9, s.ToHz/1e9
			if x0 == x1 {
				w := (x[len(x)-1] - x[0]) / 60
				x0, x1 = x0-w, min(x1+w, x[len(x)-1])
			}
			at.Limits = append(at.Limits, plot.Limit{X0: x0, Y0: y, X1: x1, Y1: y, Above: above})
		}
	}
	page := plot.Page{Title: f.File + ": " + f.Verdict, Charts: []plot.Chart{loss, rl}, Notes: []string{p.Decision.Says}}
	if a := f.Along; a != nil && a.Near != nil {
		c := plot.Chart{Title: "Reflection along the chain, from the left", XLabel: "mm from the left plane", YLabel: "reflection", Zero: true}
		var may, got []float64
		for i, v := range a.Near.PositionM {
			c.X = append(c.X, v*1e3)
			got, may = append(got, pointer(a.Near.Measured[i])), append(may, pointer(a.Near.May[i]))
		}
		c.Lines = []plot.Line{{Name: "measured", Y: got}, {Name: "may be", Y: may, Style: plot.Dashed}}
		page.Charts = append(page.Charts, c)
		var pieces []string
		for _, q := range a.Pieces {
			pieces = append(pieces, fmt.Sprintf("%s %.1f to %.1f mm", q.Name, q.FromM*1e3, q.ToM*1e3))
		}
		page.Notes = append(page.Notes, strings.Join(pieces, "; "))
	}
	return page
}
