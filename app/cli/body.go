package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"path/filepath"
	"slices"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"

	"linewright/app/plot"
	"linewright/app/view"
	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/hardware/chain"
	"linewright/internal/spell"
	"linewright/physics/modematch"
	"linewright/physics/network"
	"linewright/physics/touchstone"
	"linewright/physics/units"
)

// defaultPoints is how many frequencies are solved where none is asked for.
const defaultPoints = 20

func newBody(env *environment) *cobra.Command {
	var frequency []float64
	var reference units.Resistance
	var accuracy float64
	var allModes, optimise bool
	var file, drawing string
	c := &cobra.Command{
		Use:     "body FILE",
		GroupID: "piece",
		Short:   "A coaxial body of revolution: steps, beads, tapers, by mode matching",
		Long: `Body solves a coaxial body of revolution: steps of either or both conductors,
beads, undercuts, gaps in the centre conductor. The file lists its sections along
the axis; the first and the last are the port lines and need no length:

  body: compensated bead
  sections:
    - {inner_diameter: 1.52 mm, outer_diameter: 3.5 mm, permittivity: 1}
    - {inner_diameter: 1.05 mm, outer_diameter: 3.5 mm, permittivity: 2.1, length: 1.5 mm}
    - {inner_diameter: 1.52 mm, outer_diameter: 3.5 mm, permittivity: 1}

An inner_diameter of 0 mm is an empty circular guide. The reference planes are the
first and the last change of section; reference_planes: {port1: 2 mm, port2: 2 mm}
moves them outward. inner: and outer: {conductivity: 58 MS/m, roughness: 0.4 um}
make the metals lossy; without them they are perfect. S-parameters are referred to
each port's own lossless line unless --reference is given.

With --optimise the dimensions that the file frees are chosen so that the worst
corner of their tolerances reflects as little as it can; low and high bound them:

  optimise:
    goal: {return_loss: 26 dB, from: 1 GHz, to: 26.5 GHz, points: 31}
    variables:
      - {section: 2, quantity: inner_diameter, low: 0.8 mm, high: 1.5 mm, tolerance: 10 um}

quantity is inner_diameter, outer_diameter or length; section: [2, 4] ties two
together. Exit status 1 when the goal is missed. The file stays as it is.`,
		Example: `  linewright body bead.yaml --at 1GHz:40GHz:40
  linewright body bead.yaml --at 0.1GHz:40GHz:400 --touchstone bead.s2p --plot bead.svg`,
		Args:              exactly("FILE"),
		ValidArgsFunction: completeFiles("yaml", "yml", "json"),
	}
	f := c.Flags()
	sweepVar(f, &frequency, "at", "frequencies: 10GHz,28GHz or from:to:points as 1GHz:110GHz:110 (default: 20 up to the mode-free limit)")
	f.StringVar(&file, "touchstone", "", "write the S-parameters to this file, such as bead.s2p")
	quantityVar(f, &reference, "reference", "refer the TEM ports to this impedance instead of their own lines'")
	f.BoolVar(&allModes, "all-modes", false, "make every TM0n mode that travels in a port line a port of its own")
	numberVar(f, &accuracy, "accuracy", 1e-9, 0.1, "1e-6", "error of any S-parameter that is aimed at (default 1e-5)")
	f.BoolVar(&optimise, "optimise", false, "choose the dimensions that the file's optimise: frees")
	f.StringVar(&drawing, "plot", "", "write an SVG of the profile to scale and of the S-parameters")
	f.SortFlags = false
	c.RunE = func(c *cobra.Command, args []string) error {
		b, err := workspace.ReadBody(args[0])
		if err != nil {
			return err
		}
		if c.Flags().Changed("reference") && !(reference > 0) {
			return usage(fmt.Sprintf("--reference: %v is no impedance of a line", reference), "write an impedance above zero, such as 50ohm")
		}
		slices.Sort(frequency)
		frequency = slices.Compact(frequency)
		bar := env.newProgress()
		defer bar.end()
		body := b.Body
		var chosen *wire.BodyOptimised
		if optimise {
			vs, goal, err := b.Optimisation()
			if err != nil {
				return err
			}
			d, err := modematch.Optimise(c.Context(), body, vs, goal, func(s modematch.Step) {
				bar.report(fmt.Sprintf("%d bodies, %.3g of the limit", s.Evaluations, s.Worst), 0)
			})
			if err != nil {
				return solverFault(args[0], b.Explain(err))
			}
			body, chosen = d.Body, wire.NewBodyOptimised(vs, d)
		}
		opt := modematch.Options{Accuracy: accuracy, AllModes: allModes, Shift: b.Shift, Progress: func(done, total int) { bar.report("frequencies", float64(done)/float64(total)) }}
		asked := len(frequency) > 0
		if !asked {
			if frequency, err = usualSweep(c.Context(), body); err != nil {
				return solverFault(args[0], b.Explain(err))
			}
		}
		r, err := modematch.Solve(c.Context(), body, frequency, opt)
		if err != nil {
			return solverFault(args[0], b.Explain(err))
		}
		bar.end()
		n := r.Network
		if reference > 0 {
			if n, err = referred(r, float64(reference)); err != nil {
				return err
			}
		}
		name := b.File.Body
		if name == "" {
			name = strings.TrimSuffix(filepath.Base(args[0]), filepath.Ext(args[0]))
		}
		doc := wire.NewBody(name, r, n, true)
		doc.Optimised = chosen
		if file != "" {
			if err := writeBody(file, name, b, body, r, n); err != nil {
				return err
			}
			doc.Touchstone = file
		}
		if drawing != "" {
			if err := writeDrawing(drawing, bodySheet(name, body, r, n)); err != nil {
				return err
			}
			doc.Plot = drawing
		}
		if env.json {
			env.printJSON(doc)
		} else {
			printBody(env, doc, body, n, asked)
		}
		if chosen != nil && !chosen.Met {
			return errMissed
		}
		return nil
	}
	return c
}

// solverFault puts the file's name before what a solver could not do.
func solverFault(name string, err error) error {
	var f workspace.Fault
	var fs workspace.Faults
	var u *usageError
	if errors.As(err, &f) || errors.As(err, &fs) || errors.As(err, &u) || errors.Is(err, context.Canceled) {
		return err
	}
	help := "check the dimensions against a drawing made with --plot"
	switch {
	case errors.Is(err, modematch.ErrSingular):
		help = "move the frequency a little, or give a loss_tangent or a metal"
	case errors.Is(err, modematch.ErrFrequency):
		help = "ask for frequencies such as --at 1GHz:40GHz:40"
	case errors.Is(err, modematch.ErrPort):
		help = "raise the frequencies above the cutoff of the hollow port line, or give it a centre conductor"
	}
	return workspace.Fault{File: name, Err: err, Problem: err.Error(), Help: help}
}

// usualSweep is a sweep up to just below the mode-free limit of the port lines.
func usualSweep(ctx context.Context, b modematch.Body) ([]float64, error) {
	for i, s := range []modematch.Section{b.Sections[0], b.Sections[len(b.Sections)-1]} {
		if s.InnerDiameter == 0 {
			return nil, usage(fmt.Sprintf("port %d is an empty guide, which has no mode-free range from 0 Hz", i+1), "choose frequencies above its cutoff with --at, such as --at 90GHz:110GHz:21")
		}
	}
	f, _, err := view.BodySweep(ctx, b, defaultPoints)
	return f, err
}

// referred refers the TEM ports to z ohms; the modes keep their own waves.
func referred(r *modematch.Result, z float64) (network.Network, error) {
	refs := slices.Clone(r.Network.Reference)
	for i, p := range r.Ports {
		if p.Mode == "TEM" {
			refs[i] = complex(z, 0)
		}
	}
	return r.Network.Renormalise(refs...)
}

// writeBody writes the S-parameters of a body.
func writeBody(file, name string, b workspace.Body, body modematch.Body, r *modematch.Result, n network.Network) error {
	if want := fmt.Sprintf(".s%dp", n.Ports); !strings.EqualFold(filepath.Ext(file), want) && !strings.EqualFold(filepath.Ext(file), ".ts") {
		ends := 0
		for _, p := range r.Ports {
			ends |= p.End
		}
		if ends != 3 {
			return usage(fmt.Sprintf("--touchstone %s: one end is an empty guide without a TEM wave, the body has %d-port data", file, n.Ports), "let the name end in %s, or make the guide's modes ports with --all-modes", want)
		}
		return usage(fmt.Sprintf("--touchstone %s: the body has %s", file, spell.Count(n.Ports, "port")), "let the name end in %s", want)
	}
	f, err := touchstone.FromNetwork(n, touchstone.GHz, touchstone.RI)
	if err != nil {
		return err
	}
	h := touchstone.Header{Title: name, Origin: chain.MatchingOrigin + ", TEM and TM0n", Corner: "nominal", Grid: touchstone.GridOf(n.Frequency), ValidFrom: n.Frequency[0], ValidTo: n.Frequency[len(n.Frequency)-1],
		Limits:   "ideal rotational symmetry: TE modes and modes with angular variation are not excited",
		Excludes: []string{"the port lines beyond the reference planes"}}
	for i, p := range r.Ports {
		where := [...]string{"", "first change of section", "last change of section"}[p.End]
		if d := b.Shift[p.End-1]; d != 0 {
			where += fmt.Sprintf(", moved outward by %v", units.Length(d))
		}
		h.Ports = append(h.Ports, touchstone.PortPlane{Name: fmt.Sprintf("end %d, %s", p.End, p.Mode), Plane: where})
		h.Reference = append(h.Reference, real(n.Reference[i]))
	}
	for i, s := range body.Sections {
		h.Contains = append(h.Contains, fmt.Sprintf("section %d: %s", i+1, plainLetters.Replace(sectionText(s, i == 0 || i == len(body.Sections)-1))))
	}
	h.Notes = append(h.Notes, fmt.Sprintf("estimated error of any S-parameter %.1g, with %d modes", r.EstimatedError, r.ModesUsed))
	pass, rec := n.Passivity(), n.Reciprocity()
	h.Passivity = touchstone.Check{Verdict: met(pass.Value <= 1+1e-9), Figure: pass.Value, At: known(pass.Frequency), Note: "largest singular value, tolerance 1e-9"}
	h.Reciprocity = touchstone.Check{Verdict: met(rec.Value <= 1e-9), Figure: rec.Value, At: known(rec.Frequency), Note: "largest |S21 - S12|, tolerance 1e-9"}
	f.Comments = append(h.Comments(), f.Comments...)
	var buf bytes.Buffer
	if err := f.Write(&buf, touchstone.WriteOptions{}); err != nil {
		return err
	}
	return writeFile(file, buf.Bytes())
}

// plainLetters keeps to what any reader of Touchstone files shows.
var plainLetters = strings.NewReplacer("Ø", "diameter", "tan δ", "loss tangent")

func mm(x float64) string { return fmt.Sprintf("%.4g", x*1e3) }

// sectionText is a section's dimensions in words.
func sectionText(s modematch.Section, port bool) string {
	t := fmt.Sprintf("Ø %s / %s mm", mm(s.InnerDiameter), mm(s.OuterDiameter))
	if s.InnerDiameter == 0 {
		t = fmt.Sprintf("hollow, Ø %s mm", mm(s.OuterDiameter))
	}
	if e := s.Permittivity; e != 0 && e != 1 {
		t += fmt.Sprintf(", permittivity %.4g", real(e))
		if imag(e) != 0 {
			t += fmt.Sprintf(", tan δ %.3g", -imag(e)/real(e))
		}
	}
	if port {
		return t + ", port line"
	}
	return t + fmt.Sprintf(", %s mm long", mm(s.Length))
}

func decibel(s complex128) float64 { return 20 * math.Log10(cmplx.Abs(s)) }

func printBody(env *environment, d wire.Body, b modematch.Body, n network.Network, asked bool) {
	out := env.out
	fmt.Fprintln(out, d.Body)
	if o := d.Optimised; o != nil {
		heading(out, "Chosen")
		for _, v := range o.Values {
			fmt.Fprintf(out, "  %-32s %s mm\n", v.Name, mm(v.ValueM))
		}
		fmt.Fprintf(out, "  %s, after %d bodies\n", o.Says(), o.Evaluations)
	}
	heading(out, "Sections")
	for i, s := range b.Sections {
		fmt.Fprintf(out, "  %2d  %s\n", i+1, sectionText(s, i == 0 || i == len(b.Sections)-1))
	}
	heading(out, "Ports")
	t := newTable(out, "port", "end", "mode", "impedance Ω", "reference Ω", "mode-free below GHz", "next modes")
	numbers(t, 1, 2, 4, 5, 6)
	for i, p := range d.Ports {
		var modes []string
		for _, m := range p.Modes {
			modes = append(modes, m.Mode+" "+show(m.CutoffHz, 1e-9, "%.2f"))
		}
		t.AppendRow(table.Row{i + 1, p.End, p.Mode, show(p.ImpedanceOhm, 1, "%.4f"), show(p.ReferenceOhm, 1, "%.4f"), show(p.ModeFreeLimitHz, 1e-9, "%.3f"), strings.Join(modes[:min(3, len(modes))], ", ")})
	}
	t.Render()
	heading(out, "Changes of section")
	t = newTable(out, "between", "static shunt capacitance fF")
	numbers(t, 2)
	for i, p := range d.Planes {
		t.AppendRow(table.Row{fmt.Sprintf("%d and %d", i+1, i+2), show(p.ShuntCapacitanceStaticF, 1e15, "%.4f")})
	}
	t.Render()
	heading(out, "S-parameters")
	if !asked {
		fmt.Fprintln(out, "  up to the mode-free limit; choose frequencies with --at 1GHz:40GHz:40")
	}
	printS(out, n)
	fmt.Fprintln(out)
	fmt.Fprintf(out, "  estimated error of any S-parameter %s, of power %s, with %d modes\n", show(d.EstimatedError, 1, "%.1g"), show(d.UnitarityError, 1, "%.1g"), d.ModesUsed)
	paragraph(out, "  model: ", d.Model)
	for k := range b.Sections {
		var inside, outside []string
		for _, w := range d.Warnings {
			if w.Section != k+1 {
				continue
			}
			text := w.Mode + " from " + show(w.CutoffHz, 1e-9, "%.2f")
			if w.Included {
				inside = append(inside, text)
			} else {
				outside = append(outside, text)
			}
		}
		if len(inside) > 0 {
			paragraph(out, "  ! ", fmt.Sprintf("section %d carries %s GHz: in the solution, resonances included", k+1, strings.Join(inside, ", ")))
		}
		if len(outside) > 0 {
			paragraph(out, "  ! ", fmt.Sprintf("section %d carries %s GHz: not excited while the body is round and centred, and not in the solution", k+1, strings.Join(outside, ", ")))
		}
	}
	for _, name := range []string{d.Touchstone, d.Plot} {
		if name != "" {
			fmt.Fprintln(out, "wrote", name)
		}
	}
}

// bodySheet draws the profile to scale and the S-parameters.
func bodySheet(name string, b modematch.Body, r *modematch.Result, n network.Network) plot.Page {
	const m = 1e3 // the drawing is in mm
	total, largest := 0.0, 0.0
	for _, s := range b.Sections {
		total += s.Length * m
		largest = math.Max(largest, s.OuterDiameter*m)
	}
	fig := drawnFigure(view.BodyDrawing(b))
	stub, top := -fig.X0, fig.Y1
	fig.Title, fig.Scale = "Profile, to scale", plot.ScaleBar(fig.X1-fig.X0)
	fig.Y0, fig.Y1 = fig.Y0-0.12*largest, fig.Y1+0.12*largest
	page := plot.Page{Title: name}
	x := 0.0
	last := len(b.Sections) - 1
	for i, s := range b.Sections {
		x0, x1 := x, x+s.Length*m
		switch i {
		case 0:
			x0, x1 = -stub, 0
		case last:
			x1 = x + stub
		}
		in, out := s.InnerDiameter*m/2, s.OuterDiameter*m/2
		fig.Labels = append(fig.Labels, plot.Label{X: (x0 + x1) / 2, Y: top + 0.07*largest - 0.1*largest*float64(i%2)*narrow(b, total+2*stub), Text: fmt.Sprint(i + 1)})
		if i == 0 || i == last {
			at := x0 + 0.2*(x1-x0)
			if i == last {
				at = x1 - 0.2*(x1-x0)
			}
			fig.Dimensions = append(fig.Dimensions, plot.Dimension{X0: at, Y0: -out, X1: at, Y1: out, Text: "Ø " + mm(s.OuterDiameter), Place: 0.84})
			if in > 0 {
				at += 0.3 * (x1 - x0) * map[bool]float64{true: 1, false: -1}[i == 0]
				fig.Dimensions = append(fig.Dimensions, plot.Dimension{X0: at, Y0: -in, X1: at, Y1: in, Text: "Ø " + mm(s.InnerDiameter)})
			}
		} else {
			y := -top - 0.05*largest
			text := ""
			if (x1-x0)/(total+2*stub) > 0.06 {
				text = mm(s.Length)
			}
			fig.Dimensions = append(fig.Dimensions, plot.Dimension{X0: x0, Y0: y, X1: x1, Y1: y, Text: text})
			x = x1
		}
		page.Notes = append(page.Notes, fmt.Sprintf("%d: %s", i+1, sectionText(s, i == 0 || i == last)))
	}
	page.Figures = []plot.Figure{fig}
	page.Notes = append(page.Notes, fmt.Sprintf("Estimated error of any S-parameter %.1g. Axisymmetric modes only.", r.EstimatedError))
	if len(n.Frequency) > 1 {
		xs := make([]float64, len(n.Frequency))
		series := make([][]float64, 2)
		for k, f := range n.Frequency {
			xs[k] = f / 1e9
			series[0] = append(series[0], math.Max(decibel(n.At(k, 0, 0)), -120))
			if n.Ports > 1 {
				series[1] = append(series[1], decibel(n.At(k, n.Ports-1, 0)))
			}
		}
		page.Charts = []plot.Chart{{Title: "Reflection |S11|", XLabel: "frequency, GHz", YLabel: "dB", X: xs, Lines: []plot.Line{{Name: "|S11|", Y: series[0]}}}}
		if n.Ports == 2 {
			page.Charts = append(page.Charts, plot.Chart{Title: "Transmission |S21|", XLabel: "frequency, GHz", YLabel: "dB", X: xs, Lines: []plot.Line{{Name: "|S21|", Y: series[1]}}})
		}
	}
	return page
}

// narrow is 1 where a section is too narrow for its number beside the others'.
func narrow(b modematch.Body, shown float64) float64 {
	for _, s := range b.Sections[1 : len(b.Sections)-1] {
		if s.Length*1e3/shown < 0.03 {
			return 1
		}
	}
	return 0
}
