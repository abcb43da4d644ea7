package cli

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"linewright/app/plot"
	"linewright/app/view"
	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/physics/xsection"
)

func newSection(env *environment) *cobra.Command {
	var frequency []float64
	var accuracy float64
	var drawing string
	c := &cobra.Command{
		Use:     "section FILE",
		GroupID: "piece",
		Short:   "Cross-section of any line: capacitance, impedance, modes, loss",
		Long: `Section solves the quasi-static cross-section of a uniform line: any number of
conductors of any shape in layered or piecewise dielectrics, open or shielded.

  section: trace under mask
  region: {left: open, right: open, bottom: {electric: 0 mm}, top: open}
  dielectrics:
    - {rectangle: {x: [open, open], y: [0 mm, 0.254 mm]}, permittivity: 3.66, loss_tangent: 0.0037}
  conductors:
    - {name: trace, rectangle: {x: [-0.25 mm, 0.25 mm], y: [0.254 mm, 0.289 mm]}}

A side of the region is open, {electric: position} or {magnetic: position}; or the
region has a shield: {circle: {centre: [0 mm, 0 mm], diameter: 3.5 mm}}. A shape is
a rectangle, circle, polygon, or, of a conductor, a segment without thickness.
Later dielectrics lie over earlier ones, conductors over all. Pieces of one name
are one conductor; electric sides, the shield and the name ground are the
reference. Matrices list the other conductors in the order of the file.`,
		Example: `  linewright section trace.yaml
  linewright section pair.yaml --accuracy 0.001% --at 10GHz,28GHz --plot pair.svg`,
		Args:              exactly("FILE"),
		ValidArgsFunction: completeFiles("yaml", "yml", "json"),
	}
	f := c.Flags()
	percentVar(f, &accuracy, "accuracy", "relative, of the capacitances, such as 0.01% (the default)")
	sweepVar(f, &frequency, "at", "frequencies for loss and delay: 10GHz,28GHz or from:to:points as 1GHz:40GHz:40")
	f.StringVar(&drawing, "plot", "", "write an SVG of the section to scale with lines of equal potential")
	f.SortFlags = false
	c.RunE = func(c *cobra.Command, args []string) error {
		s, err := workspace.ReadSection(args[0])
		if err != nil {
			return err
		}
		slices.Sort(frequency)
		frequency = slices.Compact(frequency)
		bar := env.newProgress()
		defer bar.end()
		r, err := xsection.Solve(c.Context(), s.Section, xsection.Options{Accuracy: accuracy, Progress: func(s xsection.Step) {
			done := 0.0 // of the decades between an error of 1 and what is asked
			if s.EstimatedError < 1 {
				done = math.Log(s.EstimatedError) / math.Log(cmp.Or(accuracy, 1e-4))
			}
			bar.report(fmt.Sprintf("mesh %d, %d unknowns", s.Solves+1, s.Unknowns), done)
		}})
		bar.end()
		unmet := errors.Is(err, xsection.ErrAccuracy) && r != nil
		if err != nil && !unmet {
			return solverFault(args[0], s.Explain(err))
		}
		name := s.File.Section
		if name == "" {
			name = strings.TrimSuffix(filepath.Base(args[0]), filepath.Ext(args[0]))
		}
		doc := wire.NewSection(name, r, frequency)
		if unmet {
			doc.Warnings = append(doc.Warnings, wire.LineWarning{Text: err.Error() + ": the figures are the best that was reached, with the estimated error shown", Model: doc.Model, Quantity: "estimated error", Value: doc.EstimatedError, Effect: "less accurate than asked"})
		}
		if drawing != "" {
			if err := writeDrawing(drawing, sectionSheet(name, s.Section, r, doc)); err != nil {
				return err
			}
			doc.Plot = drawing
		}
		if env.json {
			env.printJSON(doc)
		} else {
			printSection(env, doc)
		}
		return nil
	}
	return c
}

// percentFlag is a flag whose value is a share, written in percent or plainly.
type percentFlag struct {
	name string
	at   *float64
	text string
}

func percentVar(fs *pflag.FlagSet, at *float64, name, usage string) {
	fs.Var(&percentFlag{name: name, at: at}, name, usage)
}

// Set implements pflag.Value.
func (p *percentFlag) Set(s string) error {
	text, percent := strings.CutSuffix(strings.TrimSpace(s), "%")
	x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || math.IsNaN(x) {
		return usage(fmt.Sprintf("--%s %q: not a share", p.name, s), "write it such as --%s 0.01%%", p.name)
	}
	if percent {
		x /= 100
	}
	if !(x >= 1e-9 && x <= 0.1) {
		return usage(fmt.Sprintf("--%s %q: out of range", p.name, s), "it lies between 0.0000001%% and 10%%, such as --%s 0.01%%", p.name)
	}
	*p.at, p.text = x, s
	return nil
}

// String implements pflag.Value.
func (p *percentFlag) String() string { return p.text }

// Type implements pflag.Value.
func (p *percentFlag) Type() string { return "percent" }

func printSection(env *environment, d wire.Section) {
	out := env.out
	fmt.Fprintln(out, d.Section)
	fmt.Fprintln(out)
	if d.ImpedanceOhm != nil {
		fmt.Fprintf(out, "  impedance                %s Ω\n", show(d.ImpedanceOhm, 1, "%.4f"))
		fmt.Fprintf(out, "  effective permittivity   %s\n", show(d.EffectivePermittivity, 1, "%.5f"))
		resistance := show(d.ResistanceOverSurfaceResistancePM, 1, "%.5g")
		if d.ResistanceOverSurfaceResistancePM == nil {
			resistance = "infinite: metal without thickness has no finite loss"
		} else {
			resistance += " 1/m"
		}
		fmt.Fprintf(out, "  resistance over surface resistance  %s\n", resistance)
	} else {
		t := newTable(out, "mode", "impedance Ω", "eff. perm.")
		numbers(t, 2, 3)
		for _, m := range d.Modes {
			t.AppendRow(table.Row{m.Name, show(m.ImpedanceOhm, 1, "%.4f"), show(m.EffectivePermittivity, 1, "%.5f")})
		}
		t.Render()
	}
	if p := d.Pair; p != nil {
		fmt.Fprintf(out, "  odd %s Ω, even %s Ω, differential %s Ω, common %s Ω\n", show(p.OddOhm, 1, "%.3f"), show(p.EvenOhm, 1, "%.3f"), show(p.DifferentialOhm, 1, "%.3f"), show(p.CommonOhm, 1, "%.3f"))
	}
	table2 := func(title string, m [][]*float64, scale float64) {
		heading(out, "%s", title)
		head := []any{""}
		var columns []int
		for i, c := range d.Conductors {
			head = append(head, c)
			columns = append(columns, i+2)
		}
		t := newTable(out, head...)
		numbers(t, columns...)
		for i, c := range d.Conductors {
			row := table.Row{c}
			for _, x := range m[i] {
				row = append(row, show(x, scale, "%.5f"))
			}
			t.AppendRow(row)
		}
		t.Render()
	}
	table2("Capacitance, pF/m (Maxwell's matrix)", d.CapacitanceFPerM, 1e12)
	table2("Inductance, nH/m", d.InductanceHPerM, 1e9)
	if len(d.At) > 0 {
		heading(out, "Loss and delay")
		t := newTable(out, "GHz", "mode", "Z Ω", "Im Z Ω", "eff. perm.", "ps/mm", "dB/m", "conductor", "dielectric", "roughness")
		numbers(t, 1, 3, 4, 5, 6, 7, 8, 9, 10)
		for _, p := range d.At {
			for _, m := range p.Modes {
				t.AppendRow(table.Row{fmt.Sprintf("%.5g", p.FrequencyHz/1e9), m.Name, show(m.ImpedanceOhm.Re, 1, "%.3f"), show(m.ImpedanceOhm.Im, 1, "%.3f"), show(m.EffectivePermittivity, 1, "%.4f"), show(m.DelaySPerM, 1e9, "%.4f"),
					show(m.AttenuationDBPerM, 1, "%.3f"), show(m.ConductorDBPerM, 1, "%.3f"), show(m.DielectricDBPerM, 1, "%.3f"), show(m.RoughnessFactor, 1, "%.3f")})
			}
		}
		t.Render()
	}
	fmt.Fprintln(out)
	fmt.Fprintf(out, "  estimated error %s of the capacitances, %d unknowns\n", show(d.EstimatedError, 1, "%.1g"), d.Unknowns)
	paragraph(out, "  model: ", d.Model)
	for _, w := range d.Warnings {
		paragraph(out, "  ! ", w.Text)
	}
	if d.Plot != "" {
		fmt.Fprintln(out, "wrote", d.Plot)
	}
}

// sectionSheet draws the section to scale with lines of equal potential, the
// first signal conductor at 1 V and the others at 0.
func sectionSheet(name string, s xsection.Section, r *xsection.Result, d wire.Section) plot.Page {
	x0, x1, _, _ := view.SectionWindow(s)
	fig := drawnFigure(view.SectionDrawing(s, r))
	fig.Title, fig.Scale = "Section, to scale, with lines of equal potential", plot.ScaleBar((x1-x0)*1e3)
	page := plot.Page{Title: name, Figures: []plot.Figure{fig}, Notes: []string{fmt.Sprintf("%s at 1 V, everything else at 0 V; lines at 0.1 V to 0.9 V.", r.Conductors[0])}}
	if d.ImpedanceOhm != nil {
		page.Notes = append(page.Notes, fmt.Sprintf("%.3f Ω, effective permittivity %.4f, estimated error %.1g.", *d.ImpedanceOhm, *d.EffectivePermittivity, r.EstimatedError))
	}
	return page
}

// drawnFigure is a drawing in mm; the caller adds title, scale and dimensions.
func drawnFigure(d view.SolverDrawing) plot.Figure {
	const m = 1e3
	fills := map[string]plot.Fill{"metal": plot.Metal, "reference": plot.Reference, "dielectric": plot.Dielectric, "air": plot.Empty}
	fig := plot.Figure{X0: d.X0 * m, X1: d.X1 * m, Y0: d.Y0 * m, Y1: d.Y1 * m, Unit: "mm"}
	for _, p := range d.Pieces {
		xs, ys := make([]float64, len(p.X)), make([]float64, len(p.Y))
		for i := range xs {
			xs[i], ys[i] = p.X[i]*m, p.Y[i]*m
		}
		if len(xs) == 2 {
			fig.Curves = append(fig.Curves, plot.Curve{X: xs, Y: ys, Heavy: true})
			continue
		}
		fig.Areas = append(fig.Areas, plot.Area{X: xs, Y: ys, Fill: fills[p.What]})
	}
	for i := 0; i+3 < len(d.Potential); i += 4 {
		q := d.Potential[i:]
		fig.Curves = append(fig.Curves, plot.Curve{X: []float64{q[0] * m, q[2] * m}, Y: []float64{q[1] * m, q[3] * m}})
	}
	return fig
}
