package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"

	"linewright/app/plot"
	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/job/tolerance"
	"linewright/job/tolerance/sample"
	"linewright/physics/units"
)

// yieldState is a study's state on disk, with what it belongs to.
type yieldState struct {
	Digest string       `json:"digest"`
	State  sample.State `json:"state"`
}

func newYield(env *environment) *cobra.Command {
	var dir, enquiryName, method, toleranceFile, stateFile, plots, atLeast string
	var o tolerance.Options
	c := &cobra.Command{
		Use:     "yield CHAIN",
		GroupID: "job",
		Short:   "The share of built copies that meet the limits, and what drives it",
		Long: `Yield draws copies of a chain: every length, loss, reflection and gap gets a
distribution, every unknown phase is chance, and each copy is computed over the
whole band with all multiple reflections. It says how many keep the enquiry's
limits, how sure that is, which tolerance decides, and the worst corner.

Where nothing is stated, defaults of common practice are used and listed. A
file of tolerances replaces them:

  tolerances:
    - {piece: cable, quantity: length, half_width: 0.5 mm}
    - {piece: cable, quantity: loss, distribution: normal, mean: -4 %, sigma: 1.5 %, source: last three lots}
    - {piece: cable connector, quantity: reflection, low: -70 %, high: 0 %}
  correlations:
    - {between: ["cable connector: loss"], coefficient: 0.9, source: both from one lot}

Amounts are deviations from what the chain or the datasheet states. A piece is
named as predict shows it, by its kind, or by its part. A correlation names
inputs as the answer lists them, piece and quantity; where a name stands for
several, every two of them are tied. 1 is one quantity seen at several places.

A board line by its geometry takes its stackup's tolerances: etch, thickness and
permittivity, layer by layer; name one with layer, in {quantity: thickness,
layer: core 1, half_width: 10 um}.

Exit status 0 when the lower end of the yield's 95 % confidence interval reaches
--at-least and no figure that a limit needs is missing, 1 otherwise. The same
seed gives the same answer on any number of processors. With --state a run that
was stopped goes on where it stood, and ends with the same numbers.`,
		Example: `  linewright yield chains/bench-jumper.yaml
  linewright yield chains/bench-jumper.yaml --samples 100000 --state run.json --tolerances shop.yaml`,
		Args: exactly("CHAIN"),
		RunE: func(c *cobra.Command, args []string) error {
			switch m := sample.Method(method); {
			case m == "latin":
				o.Method = sample.LatinHypercube
			case m == sample.Random || m == sample.Sobol || m == sample.LatinHypercube:
				o.Method = m
			default:
				return usage(fmt.Sprintf("--method %q: no such way to draw", method), "write random, latin or sobol")
			}
			asked, err := units.Parse[units.Ratio](atLeast)
			if err != nil || !(asked > 0 && asked < 1) {
				return usage(fmt.Sprintf("--at-least %q: not a share", atLeast), "write it between 0 and 1, such as 0.99 or 99 %%")
			}
			o.AtLeast = float64(asked)
			if err := spared([]string{args[0], toleranceFile}, [2]string{"--plot", plots}); err != nil {
				return err
			}
			_, e, b, err := openChain(dir, args[0], enquiryName)
			if err != nil {
				return err
			}
			var t tolerance.Tolerances
			if toleranceFile != "" {
				if t, err = workspace.ReadTolerances(toleranceFile); err != nil {
					return err
				}
			}
			s, err := tolerance.New(e, b, t, o)
			if err != nil {
				return toleranceFault(toleranceFile, err)
			}
			if stateFile != "" {
				if err := useState(stateFile, s, &o); err != nil {
					return err
				}
			}
			bar := env.newProgress()
			o.Progress = bar.report
			r, err := s.Run(c.Context(), o)
			bar.end()
			switch {
			case errors.Is(err, tolerance.ErrState):
				return workspace.Fault{File: stateFile, Err: err, Problem: tolerance.ErrState.Error(), Help: "repeat the options of that run, or name another file with --state"}
			case err != nil && c.Context().Err() != nil && stateFile != "":
				return &keptError{fmt.Sprintf("the copies drawn so far are in %s: the same command goes on there", stateFile)}
			case err != nil:
				return err
			}
			if plots != "" {
				if err := writeFile(plots, histograms(r).SVG()); err != nil {
					return err
				}
			}
			if env.json {
				env.printJSON(wire.NewYield(r))
			} else {
				printYield(env.out, r)
			}
			if !r.Enough {
				return errMissed
			}
			return nil
		},
		ValidArgsFunction: completeFiles("yaml"),
	}
	f := c.Flags()
	f.StringVarP(&dir, "workspace", "w", "", "the workspace; by default the nearest folder above CHAIN that has a catalogue")
	f.StringVarP(&enquiryName, "enquiry", "e", "", "the enquiry that sets band and limits; by default the one the chain names")
	countVar(f, &o.Samples, "samples", "n", 10_000, 100, 10_000_000, "copies to draw")
	countVar(f, &o.Points, "points", "", 0, 0, 100_001, "frequencies over the band; 0: eight to the shortest ripple, 101 to 2001")
	f.StringVar(&method, "method", "random", "how to draw: random, latin or sobol")
	f.Uint64Var(&o.Seed, "seed", 0, "seed: the same seed gives the same answer")
	f.StringVar(&atLeast, "at-least", "99 %", "the yield asked for")
	f.StringVar(&toleranceFile, "tolerances", "", "a file of tolerances in place of the defaults")
	f.StringVar(&stateFile, "state", "", "keep the state of the run in this file, and go on from it")
	f.StringVar(&plots, "plot", "", "write the histograms as an SVG")
	_ = c.RegisterFlagCompletionFunc("method", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return []string{"random", "latin", "sobol"}, cobra.ShellCompDirectiveNoFileComp
	})
	return c
}

// useState reads the state of an earlier run, if there is one, and arranges for
// it to be kept.
func useState(file string, s *tolerance.Study, o *tolerance.Options) error {
	digest := s.Digest()
	data, err := os.ReadFile(file)
	switch {
	case errors.Is(err, os.ErrNotExist):
	case err != nil:
		return err
	default:
		var saved yieldState
		if err := json.Unmarshal(data, &saved); err != nil {
			return workspace.Fault{File: file, Err: err, Problem: "not the state of a run: " + err.Error(), Help: "name another file with --state"}
		}
		if saved.Digest != digest {
			return workspace.Fault{File: file, Err: tolerance.ErrState, Problem: "it belongs to another chain, enquiry or set of tolerances", Help: "name another file with --state, or remove this one"}
		}
		o.Resume = &saved.State
	}
	o.Checkpoint = func(st sample.State) error {
		data, err := json.Marshal(yieldState{digest, st})
		if err != nil {
			return err
		}
		return writeFile(file, data)
	}
	return nil
}

func between(i sample.Interval) string { return percent(i.Low) + " to " + percent(i.High) }

func percent(x float64) string { return fmt.Sprintf("%.2f %%", 100*x) }

// ghz writes a frequency for a table.
func ghz(hz float64) string {
	if math.IsNaN(hz) {
		return ""
	}
	return fmt.Sprintf("%.4g GHz", hz/1e9)
}

func printYield(out io.Writer, r tolerance.Report) {
	s := r.Study
	fmt.Fprintf(out, "%s against %s\n", s.Chain, s.Enquiry)
	paragraph(out, "", fmt.Sprintf("%d copies drawn (%s, seed %d), each computed at %d frequencies", r.Yield.N, r.Plan.Method, r.Plan.Seed, s.Points))
	verdict := "its lower end is below the " + percent(r.AtLeast) + " asked"
	if r.Enough {
		verdict = "its lower end reaches the " + percent(r.AtLeast) + " asked"
	} else if r.Yield.Quoted.Low >= r.AtLeast && len(r.Missing) > 0 {
		verdict = "but not assessed: nothing states the " + strings.Join(r.Missing, ", the ")
	}
	paragraph(out, "YIELD "+percent(r.Yield.Share)+": ", fmt.Sprintf("%d of %d copies keep every limit; with %.0f %% confidence the share is %s to %s (%s); %s",
		r.Yield.Meets, r.Yield.N, 100*r.Confidence, percent(r.Yield.Quoted.Low), percent(r.Yield.Quoted.High), r.Yield.Basis, verdict))

	if len(r.Limits) > 0 {
		heading(out, "Each limit by itself")
		t := newTable(out, "limit", "value", "yield", "from", "to", "", "mean margin", "95 % of copies", "worst drawn", "copy", "worst corner", "at")
		numbers(t, 2, 3, 4, 5, 7, 8, 9, 10, 11)
		for _, x := range r.Limits {
			name := x.Name
			if x.Wish {
				name += " (wish)"
			}
			t.AppendRow(table.Row{name, value(x.Value, x.Unit), percent(x.Share.Share), percent(x.Share.Quoted.Low), percent(x.Share.Quoted.High), bar(x.Share.Share, 1),
				value(x.Summary.Mean, x.Unit), middle(x), value(x.Summary.Least, x.Unit), x.Summary.LeastAt, value(x.Worst, x.Unit), ghz(x.WorstAt)})
		}
		t.Render()
		paragraph(out, "  ", "Margins are positive inside. The worst corner has every magnitude and loss at its end and every phase at its worst, at the frequency where that hurts most; no copy is worse. A copy is drawn again from its number and the seed.")
		if len(r.Sigmas) > 0 {
			paragraph(out, "  ", "Taken at three standard deviations in the worst corner, having no limits: "+strings.Join(r.Sigmas, ", ")+".")
		}
	}
	heading(out, "What the copies come to")
	t := newTable(out, "", "mean", "standard deviation", "95 % of copies", "least", "most")
	numbers(t, 2, 3, 4, 5, 6)
	for _, x := range r.Observed {
		t.AppendRow(table.Row{x.Name, value(x.Summary.Mean, x.Unit), value(x.Summary.StandardDeviation, x.Unit), middle(x), value(x.Summary.Least, x.Unit), value(x.Summary.Most, x.Unit)})
	}
	t.Render()

	for _, x := range r.Limits {
		if len(x.Drivers) == 0 || x.Summary.StandardDeviation == 0 {
			continue
		}
		heading(out, "What drives the %s", x.Name)
		t := newTable(out, "", "share", "±", "", "margin", "")
		numbers(t, 2, 3)
		for i, d := range x.Drivers {
			if i == 8 || i > 0 && d.Total < 0.01 {
				break
			}
			way, chance := "", ""
			if i < len(x.Direction) && math.Abs(x.Direction[i]) > 0.1 {
				way = "rises with it"
				if x.Direction[i] < 0 {
					way = "falls with it"
				}
			}
			if s.Inputs[d.Input].Chance {
				chance = "chance: nobody can hold it"
			}
			t.AppendRow(table.Row{d.Name, fmt.Sprintf("%.0f %%", 100*math.Max(0, d.Total)), fmt.Sprintf("%.0f %%", 100*d.TotalError), bar(d.Total, 1), way, chance})
		}
		t.Render()
	}
	if r.DriversFrom != "" {
		paragraph(out, "  ", "Shares are "+r.DriversFrom+"; what works together counts for each, so they can add up to more than 100 %. ± is the standard error.")
	}
	if m := r.Sorting; m != nil {
		printSorting(out, *m)
	}
	if len(s.Inputs) > 0 {
		heading(out, "What differs from copy to copy")
		printInputs(out, s.Inputs)
	}
	if len(s.Ties) > 0 {
		heading(out, "What hangs together")
		for _, t := range s.Ties {
			paragraph(out, "  - ", fmt.Sprintf("%s with %s: correlation %.3g (%s)", s.Inputs[t.I].Name, s.Inputs[t.J].Name, t.Coefficient, t.Source))
		}
		paragraph(out, "  ", "The correlation is that of the normal scores, after JCGM 101; the worst corner takes no heed of it.")
	}
	for _, group := range []struct {
		title string
		lines []string
	}{{"Not stated, and left out", s.Missing}, {"Limits that this study does not try", s.Untried}, {"What the numbers rest on", s.Notes}} {
		if len(group.lines) == 0 {
			continue
		}
		heading(out, "%s", group.title)
		for _, n := range group.lines {
			paragraph(out, "  - ", n)
		}
	}
}

// printInputs lists what differs, pieces of one assumption together.
func printInputs(out io.Writer, inputs []tolerance.Input) {
	var lines []string
	pieces := map[string][]string{}
	for _, in := range inputs {
		from := in.Source
		if in.Assumed {
			from = "assumed"
			if in.Standing != "" {
				from += ", " + string(in.Standing)
			}
			from += ": " + in.Source
		}
		line := fmt.Sprintf("%s: %s (%s)", in.Quantity, in.Says, from)
		if pieces[line] == nil {
			lines = append(lines, line)
		}
		pieces[line] = append(pieces[line], in.Piece)
	}
	for _, line := range lines {
		paragraph(out, "  - ", strings.Join(pieces[line], ", ")+": "+line)
	}
}

// middle writes the interval that holds 95 % of the copies.
func middle(x tolerance.Result) string {
	if x.Coverage == nil {
		return ""
	}
	return strings.TrimSpace(fmt.Sprintf("%.3g to %.3g %s", x.Coverage.Symmetric.Low, x.Coverage.Symmetric.High, x.Unit))
}

func printSorting(out io.Writer, m tolerance.Sorting) {
	heading(out, "Matched set")
	paragraph(out, "  ", fmt.Sprintf("one line's delay scatters by %.3g ps (standard deviation), %.3g deg at %s; the match is ± %.3g ps, ± %.3g deg",
		m.Deviation*1e12, 360*m.Deviation*m.At, ghz(m.At), m.Half*1e12, 360*m.Half*m.At))
	switch {
	case m.Absolute:
		paragraph(out, "  ", "matched to a stored value: tried on each copy, above")
	case m.Size < 2:
		paragraph(out, "  ", "the size of the set is not stated: nothing can be said of sorting")
	case m.Beyond:
		paragraph(out, "  ", fmt.Sprintf("a set of %d as it comes is %.3g ps wide on average and matches in %s of cases (%s); sorting does not do: more than ten times the set would have to be built nine times out of ten", m.Size, m.Width*1e12, percent(m.Unsorted), between(m.UnsortedIn)))
	default:
		paragraph(out, "  ", fmt.Sprintf("a set of %d as it comes is %.3g ps wide on average and matches in %s of cases (%s); build %d and keep %d nine times out of ten, %d five times out of ten", m.Size, m.Width*1e12, percent(m.Unsorted), between(m.UnsortedIn), m.Half90, m.Size, m.Half50))
	}
}

// histograms draws one chart for each limit and observed quantity.
func histograms(r tolerance.Report) plot.Page {
	page := plot.Page{Title: fmt.Sprintf("%s against %s", r.Study.Chain, r.Study.Enquiry), Notes: []string{fmt.Sprintf("%d copies drawn (%s, seed %d); yield %s", r.Yield.N, r.Plan.Method, r.Plan.Seed, percent(r.Yield.Share))}}
	for i, x := range append(append([]tolerance.Result(nil), r.Limits...), r.Observed...) {
		h := x.Histogram
		if len(h.Counts) < 2 {
			continue
		}
		c := plot.Chart{Title: x.Name, XLabel: x.Name, YLabel: "copies", Zero: true}
		if i < len(r.Limits) {
			c.Title += ": " + percent(x.Share.Share) + " keep it"
			c.XLabel = "margin"
		}
		if x.Unit != "" {
			c.XLabel += ", " + x.Unit
		}
		var y []float64
		for k, n := range h.Counts {
			c.X = append(c.X, h.Edges[k], h.Edges[k+1])
			y = append(y, float64(n), float64(n))
		}
		c.Lines = []plot.Line{{Name: "copies", Y: y}}
		page.Charts = append(page.Charts, c)
	}
	return page
}
