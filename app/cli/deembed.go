package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"

	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/internal/spell"
	"linewright/physics/deembed"
	"linewright/physics/network"
	"linewright/physics/touchstone"
	"linewright/physics/units"
)

// deembedFlags say what is taken off, and how.
type deembedFlags struct {
	left, right string
	thru        string
	corrected   bool
	middle      units.Time
	lines       []string
	reflect     string
	open        bool
	offset      units.Length
	plane       units.Length
	impedance   units.Resistance
	capacitance string
	step        units.Frequency
	reference   units.Resistance
	touchstone  string
	fixture     string
}

func newDeembed(env *environment) *cobra.Command {
	var d deembedFlags
	c := &cobra.Command{
		Use:     "deembed FILE",
		GroupID: "files",
		Short:   "Take the fixture off a measurement",
		Long: `Deembed takes what stands between the analyser and the part off a measured
two-port, and says how far what is left can be trusted. Three ways:

  --left L.s2p --right R.s2p   known fixtures, port 1 to the left in each: port 2
                               of the left one and port 1 of the right one are at
                               the part. One of them may be absent.
  --thru THRU.s2p              a 2x-thru, two equal fixtures back to back, split at
                               its middle in time (after IEEE Std 370). With
                               --corrected the halves take the impedances that
                               FILE itself shows.
  --line LENGTH=FILE ...       TRL: two or more lines with both launches, one of
  --reflect SHORT.s2p          them usually 0mm=THRU.s2p, and one reflection at
                               both planes (S11 and S22 of one file). More than
                               two lines make it multiline TRL.

After TRL the part is referred to the line's own impedance until that is known: give
--impedance 49.2ohm, or --capacitance 112pF/m from a solved cross-section, which
gives it at every frequency from the propagation constant. Files must share one
list of frequencies and one reference; nothing is renormalised or interpolated
unasked.

Exit status 1 when a fixture seems to be turned about.`,
		Example: `  linewright deembed dut.s2p --thru thru.s2p --corrected --touchstone part.s2p
  linewright deembed dut.s2p --left launch.s2p --right launch-turned.s2p --touchstone part.s2p
  linewright deembed dut.s2p --line 0mm=thru.s2p --line 1.24mm=a.s2p --line 10.1mm=b.s2p --reflect short.s2p --capacitance 112pF/m --touchstone part.s2p`,
		Args:              exactly("FILE"),
		ValidArgsFunction: completeFiles("s2p", "ts", "snp"),
	}
	f := c.Flags()
	f.StringVar(&d.left, "left", "", "two-port of the fixture at port 1 of FILE, its port 2 at the part")
	f.StringVar(&d.right, "right", "", "two-port of the fixture at port 2 of FILE, its port 1 at the part")
	f.StringVar(&d.thru, "thru", "", "two-port of a 2x-thru")
	f.BoolVar(&d.corrected, "corrected", false, "with --thru: take the fixture's impedance from FILE")
	quantityVar(f, &d.middle, "middle", "with --thru: split at this one-way delay from port 1 (default: half the thru's)")
	f.StringArrayVar(&d.lines, "line", nil, "a line of TRL and its length between the planes, such as 1.24mm=line1.s2p; once for each")
	f.StringVar(&d.reflect, "reflect", "", "with --line: S11 and S22 of one reflection at either plane")
	f.BoolVar(&d.open, "open", false, "the reflection is about an open (default: about a short)")
	quantityVar(f, &d.offset, "offset", "the reflection stands this far behind the plane")
	quantityVar(f, &d.plane, "plane", "with --line: move both planes this far towards the part, negative into the launches")
	quantityVar(f, &d.impedance, "impedance", "with --line: characteristic impedance of the lines")
	f.StringVar(&d.capacitance, "capacitance", "", "with --line: their capacitance per length, such as 112pF/m, for the impedance at each frequency")
	quantityVar(f, &d.step, "step", "first interpolate every file to the multiples of this step, which --thru needs")
	quantityVar(f, &d.reference, "reference", "refer what is left to this impedance (default: that of FILE)")
	f.StringVar(&d.touchstone, "touchstone", "", "write what is left to this file, such as part.s2p")
	f.StringVar(&d.fixture, "fixture", "", "write the two fixtures found to FIXTURE-left.s2p and FIXTURE-right.s2p")
	f.SortFlags = false
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := d.check(c); err != nil {
			return err
		}
		read := []string{args[0], d.left, d.right, d.thru, d.reflect}
		for _, l := range d.lines {
			_, file, _ := strings.Cut(l, "=")
			read = append(read, file)
		}
		written := [][2]string{{"--touchstone", d.touchstone}}
		if d.fixture != "" {
			written = append(written, [2]string{"--fixture", d.fixture + "-left.s2p"}, [2]string{"--fixture", d.fixture + "-right.s2p"})
		}
		if err := spared(read, written...); err != nil {
			return err
		}
		return d.run(c.Context(), env, args[0])
	}
	return c
}

// check refuses flags that contradict each other.
func (d *deembedFlags) check(c *cobra.Command) error {
	ways := 0
	for _, given := range []bool{d.left != "" || d.right != "", d.thru != "", len(d.lines) > 0} {
		if given {
			ways++
		}
	}
	switch {
	case ways == 0:
		return usage("nothing is said to be taken off", "give --left and --right, or --thru, or --line with --reflect")
	case ways > 1:
		return usage("two ways at once", "give either --left and --right, or --thru, or --line with --reflect")
	case d.corrected && d.thru == "":
		return usage("--corrected belongs to --thru", "add --thru THRU.s2p")
	case len(d.lines) == 1:
		return usage("TRL needs two lines at least", "give the thru as well, such as --line 0mm=thru.s2p")
	case len(d.lines) > 0 && d.reflect == "":
		return usage("--reflect is missing", "give the reflection's file, such as --reflect short.s2p")
	case len(d.lines) == 0 && d.reflect != "":
		return usage("--reflect belongs to --line", "give the lines, such as --line 0mm=thru.s2p --line 1.24mm=a.s2p")
	case d.impedance != 0 && d.capacitance != "":
		return usage("--impedance and --capacitance both give the line's impedance", "leave one out")
	case c.Flags().Changed("step") && !(d.step > 0):
		return usage("--step is not above zero", "write it such as --step 10MHz")
	case c.Flags().Changed("impedance") && !(d.impedance > 0), c.Flags().Changed("reference") && !(d.reference > 0):
		return usage("an impedance not above zero", "write an impedance such as 50ohm")
	}
	for _, name := range []string{"open", "offset", "plane", "impedance", "capacitance"} {
		if c.Flags().Changed(name) && len(d.lines) == 0 {
			return usage("--"+name+" belongs to --line", "leave it out, or give the lines")
		}
	}
	if d.touchstone != "" && !strings.EqualFold(filepath.Ext(d.touchstone), ".s2p") && !strings.EqualFold(filepath.Ext(d.touchstone), ".ts") {
		return usage("--touchstone "+d.touchstone+": what is left is a two-port", "let the name end in .s2p")
	}
	return nil
}

// readTwoPort reads a two-port from a Touchstone file.
func readTwoPort(name string) (network.Network, error) {
	f, err := openNamed(name)
	if err != nil {
		return network.Network{}, err
	}
	defer f.Close()
	t, err := touchstone.Read(f, name, 2)
	if err != nil {
		return network.Network{}, workspace.ReadFaults(name, err)
	}
	n, err := t.Network()
	if err == nil && n.Ports != 2 {
		err = fmt.Errorf("%s, where two are needed", spell.Count(n.Ports, "port"))
	}
	if err != nil {
		return network.Network{}, workspace.Fault{File: name, Err: err, Problem: err.Error(), Help: "export the S-parameters of a two-port"}
	}
	return n, nil
}

// read reads a two-port and puts it onto the multiples of --step, if asked.
func (d *deembedFlags) read(name string) (network.Network, error) {
	n, err := readTwoPort(name)
	if err != nil || d.step == 0 {
		return n, err
	}
	step := float64(d.step)
	points := int(math.Floor(n.Frequency[len(n.Frequency)-1]/step + 1e-9))
	if points < 2 || points > maxPoints {
		return n, usage(fmt.Sprintf("--step %v makes %d points of %s", d.step, points, name), "choose a step of which the sweep holds some hundreds")
	}
	grid := make([]float64, points)
	for k := range grid {
		grid[k] = step * float64(k+1)
	}
	grid[points-1] = min(grid[points-1], n.Frequency[len(n.Frequency)-1])
	if n, err = n.Interpolate(grid, network.Interpolation{ToZero: true}); err != nil {
		return n, networkFault(name, err)
	}
	return n, nil
}

// networkFault names the file in what a computation found wrong.
func networkFault(name string, err error) error {
	var e *network.Error
	if errors.As(err, &e) {
		return workspace.Fault{File: name, Err: e.Err, Problem: strings.TrimSuffix(e.Error(), "; "+e.Help), Help: e.Help}
	}
	return workspace.Fault{File: name, Err: err, Problem: err.Error(), Help: "inspect the file"}
}

func (d *deembedFlags) run(ctx context.Context, env *environment, name string) error {
	whole, err := d.read(name)
	if err != nil {
		return err
	}
	doc := wire.Deembedded{File: name, Points: len(whole.Frequency), FixtureFiles: []string{}, Warnings: []string{}}
	from, to := whole.Frequency[0], whole.Frequency[len(whole.Frequency)-1]
	doc.FromHz, doc.ToHz = &from, &to
	trusted := to
	h := touchstone.Header{Title: "part of " + filepath.Base(name) + " without its fixture", Corner: "as measured",
		Ports:    []touchstone.PortPlane{{Name: "left", Plane: "inner end of the left fixture"}, {Name: "right", Plane: "inner end of the right fixture"}},
		Contains: []string{"what stands between the fixtures in " + filepath.Base(name)}, Excludes: []string{"both fixtures"}}
	var part network.Network
	var fixture deembed.Fixture
	switch {
	case d.thru != "":
		part, fixture, trusted, err = d.split(&doc, &h, name, whole)
	case len(d.lines) > 0:
		part, fixture, err = d.trl(&doc, &h, name, whole)
	default:
		part, fixture, err = d.known(&doc, &h, name, whole)
	}
	if err != nil {
		return err
	}
	reference := real(whole.Reference[0])
	if d.reference > 0 {
		reference = float64(d.reference)
	}
	if part, err = part.Renormalise(complex(reference, 0)); err != nil {
		return networkFault(name, err)
	}
	doc.Reference = &reference
	doc.TrustedToHz = &trusted
	if len(doc.TurnedAbout) > 0 {
		doc.Warnings = append(doc.Warnings, "the "+strings.Join(doc.TurnedAbout, " and the ")+" fixture seems to be turned about: reflections come before their time, and hardly any with its ports exchanged")
	}
	if doc.Passivity != nil && *doc.Passivity > 1.02 {
		doc.Warnings = append(doc.Warnings, fmt.Sprintf("what is left gives out more power than it gets (largest singular value %.4g at %.4g GHz): errors of the fixture, grown by its loss", *doc.Passivity, *doc.PassivityAt/1e9))
	}
	if d.touchstone != "" {
		h.Reference = []float64{reference}
		h.Grid, h.ValidFrom, h.ValidTo = touchstone.GridOf(part.Frequency), from, trusted
		h.Notes = append(h.Notes, doc.Warnings...)
		if err := writeSweep(d.touchstone, part, h); err != nil {
			return err
		}
		doc.Touchstone = d.touchstone
	}
	if d.fixture != "" {
		for i, n := range []network.Network{fixture.Left, fixture.Right} {
			if n.Ports == 0 {
				continue
			}
			side, planes := "left", []touchstone.PortPlane{{Name: "outside", Plane: "the analyser's cable"}, {Name: "inside", Plane: "the part"}}
			if i == 1 {
				side = "right"
				planes[0], planes[1] = planes[1], planes[0]
			}
			file := d.fixture + "-" + side + ".s2p"
			g := touchstone.Header{Title: side + " fixture of " + filepath.Base(name), Origin: h.Origin, Corner: "as measured", Ports: planes, Contains: []string{"the " + side + " fixture"}, Excludes: []string{"the part"},
				Reference: []float64{real(n.Reference[0])}, Grid: touchstone.GridOf(n.Frequency), ValidFrom: from, ValidTo: trusted}
			if err := writeSweep(file, n, g); err != nil {
				return err
			}
			doc.FixtureFiles = append(doc.FixtureFiles, file)
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if env.json {
		env.printJSON(doc)
	} else {
		printDeembedded(env, doc)
	}
	if len(doc.TurnedAbout) > 0 {
		return errMissed
	}
	return nil
}

// writeSweep writes a two-port with its description and the checks of its data.
func writeSweep(file string, n network.Network, h touchstone.Header) error {
	f, err := touchstone.FromNetwork(n, touchstone.GHz, touchstone.RI)
	if err != nil {
		return err
	}
	pass, rec := n.Passivity(), n.Reciprocity()
	h.Passivity = touchstone.Check{Verdict: met(pass.Value <= 1.00001), Figure: pass.Value, At: known(pass.Frequency), Note: "largest singular value, tolerance 1e-5"}
	h.Reciprocity = touchstone.Check{Verdict: met(rec.Value <= 1e-3), Figure: rec.Value, At: known(rec.Frequency), Note: "largest |S21 - S12|, tolerance 1e-3"}
	if q, err := n.InitialQuality(); err == nil {
		h.Causality = touchstone.Check{Verdict: met(q.Causality >= network.GoodCausality), Figure: q.Causality, At: n.Frequency[len(n.Frequency)-1], Note: fmt.Sprintf("initial metric of IEEE 370 in percent, of the sweep up to there, good from %g", network.GoodCausality)}
	}
	f.Comments = append(h.Comments(), f.Comments...)
	var buf bytes.Buffer
	if err := f.Write(&buf, touchstone.WriteOptions{}); err != nil {
		return err
	}
	return writeFile(file, buf.Bytes())
}

func (d *deembedFlags) known(doc *wire.Deembedded, h *touchstone.Header, name string, whole network.Network) (network.Network, deembed.Fixture, error) {
	var f deembed.Fixture
	var err error
	doc.Method = "known fixtures"
	h.Origin = "de-embedded: known fixtures taken off"
	for _, side := range []struct {
		file string
		to   *network.Network
		what string
	}{{d.left, &f.Left, "left"}, {d.right, &f.Right, "right"}} {
		if side.file == "" {
			h.Notes = append(h.Notes, "nothing was taken off on the "+side.what)
			continue
		}
		if *side.to, err = d.read(side.file); err != nil {
			return network.Network{}, f, err
		}
		h.Notes = append(h.Notes, side.what+" fixture: "+filepath.Base(side.file))
	}
	r, err := f.Remove(whole)
	if err != nil {
		return network.Network{}, f, networkFault(name, err)
	}
	doc.Removal(r.Network, r.Growth, r.Early[:], r.Turned)
	return r.Network, f, nil
}

func (d *deembedFlags) split(doc *wire.Deembedded, h *touchstone.Header, name string, whole network.Network) (network.Network, deembed.Fixture, float64, error) {
	none := network.Network{}
	to := whole.Frequency[len(whole.Frequency)-1]
	thru, err := d.read(d.thru)
	if err != nil {
		return none, deembed.Fixture{}, to, err
	}
	var halves deembed.Halves
	o := deembed.SplitOptions{Middle: float64(d.middle)}
	doc.Method = "2x-thru"
	if d.corrected {
		doc.Method = "2x-thru, impedance corrected"
		halves, err = deembed.SplitCorrected(thru, whole, o)
	} else {
		halves, err = deembed.Split(thru, o)
	}
	if err != nil {
		return none, deembed.Fixture{}, to, networkFault(d.thru, err)
	}
	residual, err := halves.Check(thru, 0)
	if err != nil {
		return none, deembed.Fixture{}, to, networkFault(d.thru, err)
	}
	r, err := halves.Remove(whole)
	if err != nil {
		return none, deembed.Fixture{}, to, networkFault(name, err)
	}
	crossing, crosses := deembed.Crossing(thru, 0)
	if crosses {
		to = math.Min(to, crossing)
		doc.Warnings = append(doc.Warnings, fmt.Sprintf("from %.4g GHz on the thru reflects as much as it passes: what is left there is not to be trusted", crossing/1e9))
	}
	doc.Split = wire.NewDeembedSplit(halves, residual, crossing)
	doc.Removal(r.Network, r.Growth, r.Early[:], r.Turned)
	h.Origin = "de-embedded: " + doc.Method + " after IEEE Std 370, thru " + filepath.Base(d.thru)
	h.Ports[0].Plane = fmt.Sprintf("%.4g ps behind port 1 of %s, one way", halves.Middle*1e12, filepath.Base(name))
	h.Ports[1].Plane = fmt.Sprintf("%.4g ps before port 2 of %s, one way", (halves.Delay-halves.Middle)*1e12, filepath.Base(name))
	h.Notes = append(h.Notes, fmt.Sprintf("thru split at %.4g ohm, thru without its halves reflects %.2g, loses %.2g dB, turns %.2g rad at most", halves.Impedance, residual.Reflection.Value, residual.LossDB.Value, residual.Phase.Value),
		"both fixtures are taken to be alike, the upper fifth of the sweep is less sure than the rest")
	return r.Network, halves.Fixture, to, nil
}

func (d *deembedFlags) trl(doc *wire.Deembedded, h *touchstone.Header, name string, whole network.Network) (network.Network, deembed.Fixture, error) {
	none := network.Network{}
	t := deembed.TRL{Offset: float64(d.offset), Plane: float64(d.plane)}
	if d.open {
		t.Guess = 1
	}
	for _, text := range d.lines {
		length, file, ok := strings.Cut(text, "=")
		if !ok {
			return none, deembed.Fixture{}, usage(fmt.Sprintf("--line %q: no = in it", text), "write length and file, such as --line 1.24mm=line1.s2p")
		}
		l, err := units.Parse[units.Length](length)
		if err != nil {
			return none, deembed.Fixture{}, quantityFault("--line", err)
		}
		n, err := d.read(file)
		if err != nil {
			return none, deembed.Fixture{}, err
		}
		t.Lines = append(t.Lines, deembed.Line{Length: float64(l), Network: n})
		h.Notes = append(h.Notes, "line of "+l.String()+": "+filepath.Base(file))
	}
	var err error
	if t.Reflect, err = d.read(d.reflect); err != nil {
		return none, deembed.Fixture{}, err
	}
	cal, err := t.Solve()
	if err != nil {
		return none, deembed.Fixture{}, networkFault(d.reflect, err)
	}
	doc.Method = "TRL"
	if len(t.Lines) > 2 {
		doc.Method = "multiline TRL"
	}
	zc, from := []complex128{whole.Reference[0]}, fmt.Sprintf("not told: the lines are taken to be of %g ohm", real(whole.Reference[0]))
	switch {
	case d.impedance > 0:
		zc, from = []complex128{complex(float64(d.impedance), 0)}, d.impedance.String()
	case d.capacitance != "":
		per, err := capacitancePerMetre(d.capacitance)
		if err != nil {
			return none, deembed.Fixture{}, err
		}
		zc, from = cal.Impedance(per), d.capacitance+" with the propagation constant"
	default:
		doc.Warnings = append(doc.Warnings, "the line's impedance is not told: what is left is referred to the lines, whatever their impedance, and called "+fmt.Sprintf("%g Ω; give --impedance or --capacitance", real(whole.Reference[0])))
	}
	doc.Lines = wire.NewDeembedLines(cal, len(t.Lines), zc, from)
	if bad := len(cal.Frequency) - doc.Lines.Usable; bad > 0 {
		doc.Warnings = append(doc.Warnings, fmt.Sprintf("at %d of %d frequencies no two lines differ by 20 to 160° of phase: errors grow there", bad, len(cal.Frequency)))
	}
	p, err := cal.Apply(whole, zc...)
	if err != nil {
		return none, deembed.Fixture{}, networkFault(name, err)
	}
	part, err := p.Network(complex(real(whole.Reference[0]), 0))
	if err != nil {
		return none, deembed.Fixture{}, networkFault(name, err)
	}
	fixture, err := cal.Fixture(real(whole.Reference[0]), zc...)
	if err != nil {
		return none, deembed.Fixture{}, networkFault(name, err)
	}
	growth := make([]float64, len(whole.Frequency))
	for k := range growth {
		g := fixture.Left.At(k, 1, 0) * fixture.Right.At(k, 1, 0)
		growth[k] = 1 / math.Hypot(real(g), imag(g))
	}
	doc.Removal(part, growth, nil, nil)
	h.Origin = "de-embedded: " + doc.Method
	where := "where a line of no length would join the launches"
	if t.Plane != 0 {
		where += ", moved by " + d.plane.String()
	}
	h.Ports[0].Plane, h.Ports[1].Plane = where, where
	h.Notes = append(h.Notes, "impedance of the lines: "+from)
	return part, fixture, nil
}

// capacitancePerMetre reads a capacitance per length, such as 112pF/m, in F/m.
func capacitancePerMetre(text string) (float64, error) {
	bare, ok := strings.CutSuffix(strings.TrimSpace(text), "/m")
	c, err := units.Parse[units.Capacitance](bare)
	if !ok || err != nil || !(c > 0) {
		return 0, usage(fmt.Sprintf("--capacitance %q: no capacitance per metre", text), "write it such as --capacitance 112pF/m")
	}
	return float64(c), nil
}

func printDeembedded(env *environment, d wire.Deembedded) {
	out := env.out
	heading(out, "%s: %s", d.File, d.Method)
	fmt.Fprintf(out, "  %s from %s to %s GHz, trusted to %s GHz, referred to %s Ω\n", spell.Count(d.Points, "point"), show(d.FromHz, 1e-9, "%.6g"), show(d.ToHz, 1e-9, "%.6g"), show(d.TrustedToHz, 1e-9, "%.6g"), show(d.Reference, 1, "%g"))
	if s := d.Split; s != nil {
		fmt.Fprintf(out, "  thru of %s ps, split at %s Ω\n", show(s.ThruDelayS, 1e12, "%.5g"), show(s.ImpedanceOhm, 1, "%.4g"))
		fmt.Fprintf(out, "  thru without its halves: reflects %s, loses %s dB, turns %s rad at most\n", show(s.ResidualRL, 1, "%.2g"), show(s.ResidualLossDB, 1, "%.2g"), show(s.ResidualPhaseRad, 1, "%.2g"))
		if s.CrossingHz != nil {
			fmt.Fprintf(out, "  return loss of the thru meets its insertion loss at %s GHz\n", show(s.CrossingHz, 1e-9, "%.5g"))
		} else {
			fmt.Fprintln(out, "  return loss of the thru does not meet its insertion loss")
		}
	}
	if l := d.Lines; l != nil {
		fmt.Fprintf(out, "  %d lines; 20 to 160° at %d of %d frequencies; impedance of the lines: %s\n", l.Lines, l.Usable, len(l.At), l.Reference)
		t := newTable(out, "GHz", "phase °", "α Np/m", "β rad/m", "± 1/m", "eff. perm.", "errors grow")
		numbers(t, 1, 2, 3, 4, 5, 6, 7)
		for i := range min(len(l.At), 12) { // a dozen rows across the sweep tell the story; JSON has all
			p := l.At[i*(len(l.At)-1)/max(1, min(len(l.At), 12)-1)]
			t.AppendRow(table.Row{fmt.Sprintf("%.5g", p.FrequencyHz/1e9), show(p.PhaseDeg, 1, "%.0f"), show(p.AlphaNpPerM, 1, "%.3f"), show(p.BetaRadPerM, 1, "%.2f"), show(p.GammaUncertaintyPerM, 1, "%.3f"), show(p.EffectivePermittivity, 1, "%.4f"), show(p.ErrorGrowth, 1, "%.2f")})
		}
		t.Render()
	}
	fmt.Fprintf(out, "  errors of the measurement grow by up to %s in S21, at %s GHz\n", show(d.Growth, 1, "%.3g"), show(d.GrowthAtHz, 1e-9, "%.5g"))
	fmt.Fprintf(out, "  largest singular value of what is left %s, at %s GHz\n", show(d.Passivity, 1, "%.5g"), show(d.PassivityAt, 1e-9, "%.5g"))
	for _, w := range d.Warnings {
		paragraph(out, "  note: ", w)
	}
	for _, f := range append(append([]string{}, d.FixtureFiles...), d.Touchstone) {
		if f != "" {
			fmt.Fprintln(env.err, "wrote", f)
		}
	}
}
