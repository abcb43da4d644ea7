package cli

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"path/filepath"
	"slices"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"

	"linewright/app/field"
	"linewright/app/plot"
	"linewright/app/view"
	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/internal/spell"
	"linewright/physics/fdtd"
	"linewright/physics/network"
	"linewright/physics/units"
)

func newField(env *environment) *cobra.Command {
	var frequency []float64
	var reference units.Resistance
	var accuracy, perWave float64
	var file, drawing, picture, checkpoint string
	var planOnly bool
	c := &cobra.Command{
		Use:     "field FILE",
		GroupID: "piece",
		Short:   "A structure in three dimensions: vias, launches, guides, by a field solve",
		Long: `Field solves Maxwell's equations in three dimensions for what stands between
ports: a via, a launch, an iris in a guide. The file says what is where:

  field: via through two planes, in a cage
  region: {x: [-1.6 mm, 1.6 mm], y: [-1.6 mm, 1.6 mm], z: [-1 mm, 1.5 mm]}
  sides: {rest: electric}
  materials:
    - {name: laminate, permittivity: 3.66, loss_tangent: 0.0037, measured_at: 10 GHz}
  background: metal
  solids:                          # later ones lie over earlier ones
    - {name: inside, material: laminate, cylinder: {diameter: 3 mm, centre: [0 mm, 0 mm], from: 0 mm, to: 0.5 mm}}
    - name: via
      via:
        centre: [0 mm, 0 mm]
        drill: 0.3 mm
        fill: laminate
        antipads: [{diameter: 0.9 mm, from: -1 mm, to: 0 mm}, {diameter: 0.9 mm, from: 0.5 mm, to: 1.5 mm}]
  ports:
    - {name: below, side: z_low, signal: [0 mm, 0 mm], plane: 0 mm}
    - {name: above, side: z_high, signal: [0 mm, 0 mm], plane: 0.5 mm}
  band: {from: 1 GHz, to: 40 GHz}

A solid is a box, a cylinder, a prism of a polygon, a sheet without thickness, or a
via with pads and antipads; its material is air, metal or one of materials.
Metal is perfect unless metal: {conductivity: 58 MS/m, roughness: 0.4 um} says what
it is, all of it and the electric sides. A space of cages: must be closed. What is left out of an extent is the region's. A side of the region
is electric, magnetic (a mirror) or open. Lines go on behind their ports. The
schema tells every key: linewright schema field.

Before it begins it says what the solution will take, and refuses what does not fit
into memory; --plan says no more than that. With --accuracy finer grids are solved
until two agree; without it one grid is, and no error is known. Ctrl-C ends it.
With --checkpoint FILE the state is kept in FILE, and the same command goes on from
there, after Ctrl-C or after a crash; FILE is removed when the work is done.`,
		Example: `  linewright field via.yaml --plan --plot via.svg
  linewright field via.yaml --accuracy 0.01 --checkpoint via.state --touchstone via.s2p`,
		Args:              exactly("FILE"),
		ValidArgsFunction: completeFiles("yaml", "yml", "json"),
	}
	f := c.Flags()
	sweepVar(f, &frequency, "at", "frequencies within the file's band: 10GHz,28GHz or from:to:points (default: the band's points)")
	f.StringVar(&file, "touchstone", "", "write the S-parameters to this file, such as via.s2p")
	quantityVar(f, &reference, "reference", "refer the tem ports to this impedance instead of their own lines'")
	numberVar(f, &accuracy, "accuracy", 1e-4, 0.2, "0.01", "error of any S-parameter that is aimed at, in place of the file's")
	numberVar(f, &perWave, "cells-per-wave", 8, 1000, "30", "cells to the shortest wavelength, in place of the file's")
	f.BoolVar(&planOnly, "plan", false, "say what the solution will take, and stop")
	f.StringVar(&checkpoint, "checkpoint", "", "keep the state in this file, and go on from it")
	f.StringVar(&drawing, "plot", "", "write an SVG of two cuts to scale and of the S-parameters")
	f.StringVar(&picture, "slice", "", "draw the field on the file's slices, or along the first port's line: an .svg or a .png")
	f.SortFlags = false
	if err := c.RegisterFlagCompletionFunc("checkpoint", cobra.FixedCompletions(nil, cobra.ShellCompDirectiveDefault)); err != nil {
		panic(err)
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		s, err := workspace.ReadStructure(args[0])
		if err != nil {
			return err
		}
		if c.Flags().Changed("reference") && !(reference > 0) {
			return usage(fmt.Sprintf("--reference: %v is no impedance of a line", reference), "write an impedance above zero, such as 50ohm")
		}
		if file != "" {
			if want, ok := field.FileName(file, s.Model.Waves()); !ok {
				return usage(fmt.Sprintf("--touchstone %s: the structure has %s", file, spell.Count(s.Model.Waves(), "port")), "let the name end in %s", want)
			}
		}
		if err := apart(args[0], [][2]string{{"--checkpoint", checkpoint}, {"--touchstone", file}, {"--plot", drawing}, {"--slice", picture}}); err != nil {
			return err
		}
		if len(frequency) > 0 {
			if frequency, err = within(s.Model.Band, frequency); err != nil {
				return err
			}
			s.Options.Frequencies = frequency
		}
		if picture != "" {
			if ext := strings.ToLower(filepath.Ext(picture)); ext != ".svg" && ext != ".png" {
				return usage(fmt.Sprintf("--slice %s: no kind of picture", picture), "let the name end in .svg or .png")
			}
			if len(s.Options.Slices) == 0 {
				s.Options.Slices = []fdtd.Slice{view.UsualSlice(s)}
			}
		} else {
			s.Options.Slices = nil
		}
		if perWave > 0 {
			s.Options.CellsPerWave = perWave
		}
		if accuracy == 0 {
			accuracy = s.File.Accuracy
		}
		name := s.File.Field
		if name == "" {
			name = strings.TrimSuffix(filepath.Base(args[0]), filepath.Ext(args[0]))
		}
		plan, err := field.NewPlan(s, s.Options)
		if err == nil && checkpoint != "" {
			err = plan.Keeps()
		}
		if plan.Total > 0 {
			printPlan(env, name, plan)
		}
		if errors.Is(err, field.ErrMemory) && !planOnly {
			return workspace.Fault{File: args[0], Err: err, Problem: err.Error(), Help: "take larger cells (--cells-per-wave, or grid: in the file), a smaller region, or a mirror where the structure has one"}
		}
		if err != nil && !errors.Is(err, field.ErrMemory) {
			return solverFault(args[0], err)
		}
		if planOnly {
			var survey *fdtd.Result
			if err == nil { // everything else that would be refused
				if survey, err = field.Survey(s, s.Options); err != nil {
					return solverFault(args[0], err)
				}
			}
			return showPlan(env, name, drawing, s, plan, survey, err)
		}
		key, err := structureKey(s)
		if err != nil {
			return err
		}
		bar := env.newProgress()
		defer bar.end()
		r, err := field.Run(c.Context(), s, field.Options{Options: s.Options, Accuracy: accuracy, Checkpoint: checkpoint, Key: key, Speed: plan.Speed,
			Progress: func(p field.Progress) { bar.report(p.Stage(), p.Fraction) }})
		bar.end()
		if err != nil {
			if errors.Is(err, context.Canceled) && checkpoint != "" {
				return &keptError{"the state stands in " + checkpoint + ", and the same command goes on from there"}
			}
			if errors.Is(err, field.ErrNoNumber) {
				return workspace.Fault{File: args[0], Err: err, Problem: err.Error(), Help: "begin the band: above the cutoff of every port's guide, and look at the structure with --plan --plot FILE.svg"}
			}
			return solverFault(args[0], err)
		}
		n, err := field.Refer(r.Result, float64(reference))
		if err != nil {
			return err
		}
		doc := wire.NewField(name, s, plan, r, n, true)
		if file != "" {
			data, err := field.Touchstone(name, s, r, n)
			if err != nil {
				return err
			}
			if err := writeFile(file, data); err != nil {
				return err
			}
			doc.Touchstone = file
		}
		if drawing != "" {
			if err := writeDrawing(drawing, structureSheet(name, s, doc)); err != nil {
				return err
			}
			doc.Plot = drawing
		}
		for i, p := range r.Slices {
			name := picture
			if i > 0 {
				ext := filepath.Ext(name)
				name = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(name, ext), i+1, ext)
			}
			if err := writePicture(name, doc.Field, view.NewFieldPicture(s, p, 480)); err != nil {
				return err
			}
			doc.Slices = append(doc.Slices, name)
		}
		if env.json {
			env.printJSON(doc)
		} else {
			printField(env, doc, n)
		}
		if _, _, active := r.Active(); active || r.Unmet != "" {
			return errMissed
		}
		return nil
	}
	return c
}

// apart refuses two flags that name one file, and one that names the input.
// Of each flag come its name and its value.
func apart(input string, files [][2]string) error {
	written := map[string]string{}
	for _, w := range files {
		name := filepath.Clean(w[1])
		switch before, twice := written[name]; {
		case w[1] == "":
			continue
		case name == filepath.Clean(input):
			return usage(fmt.Sprintf("%s %s: the structure itself stands there", w[0], w[1]), "name another file")
		case twice:
			return usage(fmt.Sprintf("%s and %s both name %s", before, w[0], w[1]), "give each a file of its own")
		}
		written[name] = w[0]
	}
	return nil
}

// within sorts the frequencies asked for, and refuses one outside the band; Hz.
func within(band [2]float64, frequency []float64) ([]float64, error) {
	slices.Sort(frequency)
	frequency = slices.Compact(frequency)
	for _, x := range []float64{frequency[0], frequency[len(frequency)-1]} {
		if x < band[0]*(1-1e-9) || x > band[1]*(1+1e-9) {
			return nil, usage(fmt.Sprintf("--at: %v lies outside the file's band, %v to %v", units.Frequency(x), units.Frequency(band[0]), units.Frequency(band[1])), "ask within the band, or widen band: in the file")
		}
	}
	return frequency, nil
}

// showPlan writes the plan's document and its drawing, with tooLarge, if any, as a warning;
// survey is what the grid says of the ports, nil if it was not asked.
func showPlan(env *environment, name, drawing string, s workspace.Structure, plan field.Plan, survey *fdtd.Result, tooLarge error) error {
	doc := wire.NewFieldPlan(name, s, plan)
	if survey != nil {
		doc.Survey(s, survey)
	}
	if tooLarge != nil {
		doc.Warnings = append(doc.Warnings, tooLarge.Error())
	}
	if drawing != "" {
		if err := writeDrawing(drawing, structureSheet(name, s, doc)); err != nil {
			return err
		}
		doc.Plot = drawing
	}
	if env.json {
		env.printJSON(doc)
	} else {
		if survey != nil {
			printPorts(env.out, doc)
		}
		for _, w := range doc.Warnings {
			paragraph(env.out, "  ! ", w)
		}
		if drawing != "" {
			fmt.Fprintln(env.out, "wrote", drawing)
		}
	}
	if tooLarge != nil {
		return errMissed
	}
	return nil
}

// writePicture draws the field on a plane, with what stands there.
func writePicture(name, title string, p view.FieldPicture) error {
	data, err := p.PNG()
	if err != nil {
		return err
	}
	if strings.EqualFold(filepath.Ext(name), ".png") {
		return writeFile(name, data)
	}
	fig := cutFigure(p.Cut, true)
	fig.Picture = data
	return writeDrawing(name, plot.Page{Title: title, Figures: []plot.Figure{fig}, Notes: []string{p.Says() + ".", "Yellow is much, dark blue little, in even steps of dB; metal is grey."}})
}

// structureKey tells one structure with its options from another.
func structureKey(s workspace.Structure) (string, error) {
	text, err := workspace.EncodeJSON(s.File)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%x", sha256.Sum256(fmt.Appendf(text, "%g %g %v", s.Options.CellsPerWave, s.Options.Frequencies, s.Options.Slices))), nil
}

// bytesText writes a size of memory.
func bytesText(b float64) string {
	if b < 1e9 {
		return fmt.Sprintf("%.0f MB", math.Ceil(b/1e6))
	}
	return fmt.Sprintf("%.1f GB", b/1e9)
}

// printPlan says what a solution will take; with --json beside the document.
func printPlan(env *environment, name string, p field.Plan) {
	out := io.Writer(env.out)
	if env.json {
		if env.quiet {
			return
		}
		out = env.err
	}
	fmt.Fprintln(out, name)
	fmt.Fprintf(out, "  %d × %d × %d cells, %.3g million; the smallest %s mm; %s of memory", p.Cells[0], p.Cells[1], p.Cells[2], p.Total/1e6, mm(min(p.Smallest[0], p.Smallest[1], p.Smallest[2])), bytesText(p.Bytes))
	if p.FreeBytes > 0 {
		fmt.Fprintf(out, ", %s are free", bytesText(p.FreeBytes))
	}
	fmt.Fprintln(out)
	fmt.Fprintf(out, "  %s of %d to %d steps of %.3g fs", spell.Count(p.Runs, "run"), p.LeastSteps, p.MostSteps, p.TimeStep*1e15)
	if p.Speed > 0 {
		fmt.Fprintf(out, ": at least %s, at most %s at %.3g million cells a second", field.Clock(p.Seconds*float64(p.Runs)), field.Clock(p.MostSeconds), p.Speed/1e6)
	}
	fmt.Fprintln(out)
	paragraph(out, "  grid: ", p.Why)
}

func printField(env *environment, d wire.FieldSolution, n network.Network) {
	out := env.out
	printPorts(out, d)
	heading(out, "S-parameters")
	printS(out, n)
	if len(d.Grids) > 1 {
		heading(out, "Grids")
		t := newTable(out, "cells per wave", "cells", "steps", "largest change of S")
		numbers(t, 1, 2, 3, 4)
		for _, g := range d.Grids {
			t.AppendRow(table.Row{show(g.CellsPerWave, 1, "%.3g"), g.Cells, g.Steps, show(g.Change, 1, "%.2g")})
		}
		t.Render()
	}
	fmt.Fprintln(out)
	fmt.Fprintf(out, "  %d cells, %d steps in all, %s, %s million cells a second\n", d.Cells, d.Steps, field.Clock(*d.Seconds), show(d.CellUpdatesPerSecond, 1e-6, "%.3g"))
	if d.EstimatedError != nil {
		fmt.Fprintf(out, "  estimated error of any S-parameter %.1g, from %d grids\n", *d.EstimatedError, len(d.Grids))
	} else {
		paragraph(out, "  ", "one grid: the error of the S-parameters is not known; ask for it with --accuracy 0.01")
	}
	paragraph(out, "  model: ", d.Model)
	for _, w := range d.Warnings {
		paragraph(out, "  ! ", w)
	}
	for _, name := range append([]string{d.Touchstone, d.Plot}, d.Slices...) {
		if name != "" {
			fmt.Fprintln(out, "wrote", name)
		}
	}
}

func printPorts(out io.Writer, d wire.FieldSolution) {
	heading(out, "Ports")
	t := newTable(out, "port", "name", "side", "mode", "cutoff GHz", "plane mm", "line Ω", "reference Ω", "eff. perm.")
	numbers(t, 1, 5, 6, 7, 8, 9)
	for i, p := range d.Ports {
		cutoff := "none"
		if p.Mode != "tem" {
			cutoff = show(p.CutoffHz, 1e-9, "%.4g")
		}
		t.AppendRow(table.Row{i + 1, p.Name, p.Side, p.Mode, cutoff, show(p.PlaneM, 1e3, "%.4g"), show(p.ImpedanceOhm, 1, "%.3f"), show(p.ReferenceOhm, 1, "%.3f"), show(p.EffectivePermittivity, 1, "%.4f")})
	}
	t.Render()
}

// printS writes the S-parameters as a table, those below the diagonal and on it.
func printS(out io.Writer, n network.Network) {
	head := []any{"GHz"}
	var pairs [][2]int
	for i := range n.Ports {
		for j := range i + 1 {
			pairs = append(pairs, [2]int{i, j})
			head = append(head, fmt.Sprintf("S%d%d dB", i+1, j+1), "deg")
		}
	}
	var columns []int
	for k := range head {
		columns = append(columns, k+1)
	}
	t := newTable(out, head...)
	numbers(t, columns...)
	for k, f := range n.Frequency {
		row := table.Row{fmt.Sprintf("%.5g", f/1e9)}
		for _, p := range pairs {
			s := n.At(k, p[0], p[1])
			row = append(row, fmt.Sprintf("%.3f", decibel(s)), fmt.Sprintf("%.2f", cmplx.Phase(s)*180/math.Pi))
		}
		t.AppendRow(row)
	}
	t.Render()
}

// structureSheet draws two cuts to scale and the S-parameters.
func structureSheet(name string, s workspace.Structure, d wire.FieldSolution) plot.Page {
	page := plot.Page{Title: name}
	for _, c := range view.StructureCuts(s) {
		page.Figures = append(page.Figures, cutFigure(c, false))
	}
	for i, p := range d.Ports {
		text := fmt.Sprintf("%d: %s, %s, reference plane at %s mm", i+1, p.Name, p.Mode, show(p.PlaneM, 1e3, "%.4g"))
		if p.ImpedanceOhm != nil {
			text += fmt.Sprintf(", line %.2f Ω", *p.ImpedanceOhm)
		}
		page.Notes = append(page.Notes, text)
	}
	if len(d.At) > 1 {
		xs := make([]float64, len(d.At))
		reflection := plot.Chart{Title: "Reflection", XLabel: "frequency, GHz", YLabel: "dB", X: xs}
		through := plot.Chart{Title: "Transmission from port 1", XLabel: "frequency, GHz", YLabel: "dB", X: xs}
		for i := range d.Ports {
			own, from := make([]float64, len(d.At)), make([]float64, len(d.At))
			for k, p := range d.At {
				xs[k] = p.FrequencyHz / 1e9
				size := func(z wire.Complex) float64 {
					return math.Max(decibel(complex(*z.Re, *z.Im)), -120)
				}
				own[k], from[k] = size(p.S[i][i]), size(p.S[i][0])
			}
			reflection.Lines = append(reflection.Lines, plot.Line{Name: fmt.Sprintf("|S%d%d|", i+1, i+1), Y: own, Style: plot.Style(min(i, 2))})
			if i > 0 {
				through.Lines = append(through.Lines, plot.Line{Name: fmt.Sprintf("|S%d1|", i+1), Y: from, Style: plot.Style(min(i-1, 2))})
			}
		}
		page.Charts = append(page.Charts, reflection)
		if len(through.Lines) > 0 {
			page.Charts = append(page.Charts, through)
		}
		page.Notes = append(page.Notes, fmt.Sprintf("%d cells; %s.", d.Cells, field.Metal(s)))
	}
	return page
}

// cutFigure draws a cut to scale, in mm, with the ports' planes; or only its outlines.
func cutFigure(c view.Cut, outlines bool) plot.Figure {
	const m = 1e3
	fills := map[string]plot.Fill{"metal": plot.Metal, "dielectric": plot.Dielectric, "air": plot.Empty}
	scaled := func(x []float64) []float64 {
		out := make([]float64, len(x))
		for i := range x {
			out[i] = x[i] * m
		}
		return out
	}
	fig := plot.Figure{Title: fmt.Sprintf("Cut at %s = %s mm, to scale; %s to the right, %s up", c.Axis, mm(c.AtM), c.Across[0], c.Across[1]), X0: c.X0 * m, X1: c.X1 * m, Y0: c.Y0 * m, Y1: c.Y1 * m, Unit: "mm", Scale: plot.ScaleBar((c.X1 - c.X0) * m)}
	for _, p := range c.Pieces {
		xs, ys := scaled(p.X), scaled(p.Y)
		switch {
		case len(xs) == 2:
			fig.Curves = append(fig.Curves, plot.Curve{X: xs, Y: ys, Heavy: true})
		case outlines:
			fig.Areas = append(fig.Areas, plot.Area{X: xs, Y: ys, Fill: plot.Outline})
		case p.What == "dielectric": // over whatever lies beneath
			fig.Areas = append(fig.Areas, plot.Area{X: xs, Y: ys, Fill: plot.Empty}, plot.Area{X: xs, Y: ys, Fill: plot.Dielectric})
		default:
			fig.Areas = append(fig.Areas, plot.Area{X: xs, Y: ys, Fill: fills[p.What]})
		}
	}
	for i, p := range c.Planes {
		x, y := []float64{p.AtM * m, p.AtM * m}, []float64{fig.Y0, fig.Y1}
		label := plot.Label{X: p.AtM * m, Y: fig.Y1 - 0.06*(fig.Y1-fig.Y0), Text: fmt.Sprint(i + 1)}
		if !p.Upright {
			x, y = []float64{fig.X0, fig.X1}, []float64{p.AtM * m, p.AtM * m}
			label = plot.Label{X: fig.X0 + 0.04*(fig.X1-fig.X0), Y: p.AtM * m, Text: fmt.Sprint(i + 1)}
		}
		fig.Curves = append(fig.Curves, plot.Curve{X: x, Y: y})
		fig.Labels = append(fig.Labels, label)
	}
	return fig
}
