package cli

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"linewright/app/plot"
	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/internal/spell"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/units"
)

// copper is what the default conductivity is, with its source.
const copper = "annealed copper, 58 MS/m at 20 °C (IEC 60028), smooth"

func newLine(env *environment) *cobra.Command {
	c := &cobra.Command{
		Use:     "line",
		GroupID: "piece",
		Short:   "One uniform line: impedance, loss, delay, mode-free limit",
		Long: `Line computes one uniform line: its impedance, effective permittivity, delay,
loss split into conductor and dielectric, and the frequency from which higher
modes travel. With --solve-for it gives the dimension that makes an impedance.

Dimensions carry their units: 0.254mm, 10mil, 17um. Frequencies are a list
(10GHz,28GHz) or a sweep from:to:points (1GHz:40GHz:40).`,
		Example: `  linewright line coax --inner-diameter 1.27mm --outer-diameter 2.92mm --at 1GHz:40GHz:40
  linewright line microstrip --height 0.254mm --permittivity 3.66 --solve-for width=50ohm`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			var kinds []string
			for _, s := range c.Commands() {
				kinds = append(kinds, s.Name())
			}
			if near := spell.Nearest(args[0], kinds, 3); near != "" {
				return usage(fmt.Sprintf("no kind of line is called %q", args[0]), "did you mean %s?", near)
			}
			return usage(fmt.Sprintf("no kind of line is called %q", args[0]), "write one of: %s", strings.Join(kinds, ", "))
		},
	}
	_, c.RunE = chosen(env)
	c.AddCommand(newCoax(env), newMicrostrip(env), newStripline(env), newCoplanar(env))
	return c
}

// lineFlags are the flags that all kinds of line share.
type lineFlags struct {
	frequency []float64 // Hz
	solveFor  string
	plot      string
	model     string // of roughness
	method    string
	fill      material.Dielectric
	fittedAt  units.Frequency
	at        units.Temperature
}

func (l *lineFlags) register(c *cobra.Command, planar bool, parameters ...line.Parameter) {
	f := c.Flags()
	numberVar(f, &l.fill.Permittivity, "permittivity", 1, 1000, "3.66", "of the dielectric, relative (default 1: air)")
	numberVar(f, &l.fill.LossTangent, "loss-tangent", 0, 10, "0.0037", "tan δ of the dielectric (default 0)")
	quantityVar(f, &l.fittedAt, "fitted-at", "frequency of permittivity and loss tangent; with it both follow the causal wideband Debye law")
	quantityVar(f, &l.at, "temperature", "of metal and dielectric, for the conductivity (default 20 °C; dimensions stay)")
	wordVar(c, &l.model, "roughness-model", "published law of the roughness; the last takes Rz, the others rms heights (default Hammerstad)",
		material.Hammerstad.String(), material.Groiss.String(), material.Cannonball.String())
	sweepVar(f, &l.frequency, "at", "frequencies: 10GHz,28GHz or from:to:points as 1GHz:40GHz:40")
	f.StringVar(&l.solveFor, "solve-for", "", "the dimension that gives an impedance, such as "+flagOf(parameters[0])+"=50ohm; one of "+flagList(parameters))
	f.StringVar(&l.plot, "plot", "", "write an SVG of loss, impedance and effective permittivity over --at")
	var offers []string
	for _, p := range parameters {
		offers = append(offers, flagOf(p)+"=50ohm")
	}
	complete(c, "solve-for", offers...)
	if planar {
		wordVar(c, &l.method, "method", "how the cross-section is solved (default field)", "field", "formula")
	}
	f.SortFlags = false
}

func flagOf(p line.Parameter) string { return strings.ReplaceAll(string(p), " ", "-") }

func flagList(ps []line.Parameter) string {
	var s []string
	for _, p := range ps {
		s = append(s, flagOf(p))
	}
	return strings.Join(s, ", ")
}

// methodOf returns how the cross-section is solved.
func (l *lineFlags) methodOf() line.Method {
	if l.method == "formula" {
		return line.ClosedForm
	}
	return line.FieldSolution
}

// dielectric returns the filling.
func (l *lineFlags) dielectric() material.Dielectric {
	d := l.fill
	d.FittedAt = float64(l.fittedAt)
	return d
}

// metalFlags describe one conductor's metal.
type metalFlags struct {
	prefix       string // "inner-", or empty
	conductivity units.Conductivity
	rms, rz      units.Length
}

func (m *metalFlags) register(f *pflag.FlagSet, of string) {
	quantityVar(f, &m.conductivity, m.prefix+"conductivity", "of the "+of+" (default "+copper+")")
	quantityVar(f, &m.rms, m.prefix+"roughness", "of the "+of+", rms height Rq (default 0: smooth)")
	quantityVar(f, &m.rz, m.prefix+"rz", "of the "+of+", ten-point height Rz, for --roughness-model "+material.Cannonball.String())
}

// conductor returns the metal, or says which flags contradict each other.
func (m *metalFlags) conductor(model string) (material.Conductor, error) {
	c := material.Conductor{Metal: material.Metal{Conductivity: float64(m.conductivity)}}
	c.Roughness = material.Roughness{RMS: float64(m.rms), Rz: float64(m.rz)}
	if model != "" {
		r, err := material.ParseRoughnessModel(model)
		if err != nil { // the flag takes known words only
			return c, err
		}
		c.Roughness.Model = r
	}
	switch {
	case c.Roughness.Model == material.Cannonball && m.rms != 0:
		return c, usage(fmt.Sprintf("--%sroughness is an rms height, which %v does not take", m.prefix, c.Roughness.Model), "give --%srz, or choose --roughness-model %v or %v", m.prefix, material.Hammerstad, material.Groiss)
	case c.Roughness.Model != material.Cannonball && m.rz != 0:
		return c, usage(fmt.Sprintf("--%srz is a ten-point height, which %v does not take", m.prefix, c.Roughness.Model), "give --%sroughness as an rms height, or add --roughness-model %v", m.prefix, material.Cannonball)
	case m.rms < 0 || m.rz < 0:
		return c, usage("a roughness below zero", "write a height such as --%sroughness 0.4um", m.prefix)
	}
	return c, nil
}

// need is a dimension that must be given unless it is solved for.
type need struct {
	flag, example string
}

// missing names the first required flag that is absent.
func (l *lineFlags) missing(c *cobra.Command, solved line.Parameter, needs ...need) error {
	for _, n := range needs {
		given := c.Flags().Changed(n.flag)
		switch {
		case n.flag != flagOf(solved) && !given:
			return usage("--"+n.flag+" is missing", "write it with its unit, such as --%s %s", n.flag, n.example)
		}
	}
	if solved != "" && c.Flags().Changed(flagOf(solved)) {
		fmt.Fprintf(c.ErrOrStderr(), "--%s is solved for: the value given is not used\n", flagOf(solved))
	}
	return nil
}

// target reads --solve-for.
func (l *lineFlags) target(parameters []line.Parameter) (p line.Parameter, ohms float64, err error) {
	if l.solveFor == "" {
		return "", 0, nil
	}
	what, value, ok := strings.Cut(l.solveFor, "=")
	if !ok {
		return "", 0, usage(fmt.Sprintf("--solve-for %q: no = in it", l.solveFor), "write a dimension and an impedance, such as --solve-for %s=50ohm", flagOf(parameters[0]))
	}
	what = strings.TrimSpace(what)
	var names []string
	for _, q := range parameters {
		names = append(names, flagOf(q))
		if flagOf(q) == what {
			p = q
		}
	}
	if p == "" {
		help := "write one of: " + strings.Join(names, ", ")
		if near := spell.Nearest(what, names, 2); near != "" {
			help = "did you mean " + near + "?"
		}
		return "", 0, usage(fmt.Sprintf("--solve-for: %q is no dimension of this line that can be solved for", what), "%s", help)
	}
	r, err := units.Parse[units.Resistance](value)
	if err != nil {
		return "", 0, quantityFault("--solve-for "+what, err)
	}
	if !(r > 0) {
		return "", 0, usage(fmt.Sprintf("--solve-for %s: %v is no impedance of a line", what, r), "write an impedance above zero, such as 50ohm")
	}
	return p, float64(r), nil
}

// solve replaces l by the line whose parameter gives the impedance.
func solve[L interface {
	line.Line
	Solve(line.Parameter, float64) (L, error)
}](l L, p line.Parameter, ohms float64) (L, error) {
	if p == "" {
		return l, nil
	}
	out, err := l.Solve(p, ohms)
	var r *line.ReachError
	if errors.As(err, &r) {
		low, high := any(units.Length(r.Low)), any(units.Length(r.High))
		if p == line.Permittivity {
			low, high = r.Low, r.High
		}
		return l, usage(fmt.Sprintf("no %s gives %g Ω", p, ohms), "between %s and %s it gives %.4g to %.4g Ω: change the target or another dimension", low, high, math.Min(r.AtLow, r.AtHigh), math.Max(r.AtLow, r.AtHigh))
	}
	return out, flagged(err)
}

// flagged turns the faults of a line's fields into faults of flags.
func flagged(err error) error {
	if err == nil {
		return nil
	}
	var d *line.DimensionError
	if errors.As(err, &d) {
		field := d.Field
		if i := strings.LastIndexByte(field, '.'); i >= 0 {
			field = field[i+1:]
		}
		value := fmt.Sprintf("%g", d.Value)
		if d.Unit == "m" {
			value = units.Length(d.Value).String()
		}
		return usage(fmt.Sprintf("--%s is %s", strings.ReplaceAll(workspace.Key(field), "_", "-"), value), "%s", d.Want)
	}
	return usage(err.Error(), "correct the flag")
}

func newCoax(env *environment) *cobra.Command {
	parameters := []line.Parameter{line.InnerDiameter, line.OuterDiameter, line.Permittivity, line.Offset}
	var l lineFlags
	inner, outer := metalFlags{prefix: "inner-"}, metalFlags{prefix: "outer-"}
	var din, dout, bore, wall, offset units.Length
	var braid float64
	c := &cobra.Command{
		Use:   "coax",
		Short: "Round conductor in a round tube",
		Long: `A coaxial line, exact for round conductors from low frequency up: impedance,
loss with skin effect and internal inductance, and the cutoffs of the higher
modes. Both diameters are needed, or one and --solve-for the other.`,
		Example: `  linewright line coax --inner-diameter 1.27mm --outer-diameter 2.92mm --at 1GHz:40GHz:40
  linewright line coax --inner-diameter 0.51mm --permittivity 2.05 --solve-for outer-diameter=50ohm`,
		Args: exactly(),
	}
	f := c.Flags()
	quantityVar(f, &din, "inner-diameter", "of the centre conductor")
	quantityVar(f, &dout, "outer-diameter", "inside, of the outer conductor")
	quantityVar(f, &offset, "offset", "between the two axes (eccentricity)")
	quantityVar(f, &bore, "inner-bore", "inside diameter of a tubular centre conductor (default 0: solid)")
	quantityVar(f, &wall, "wall-thickness", "of the outer conductor (default: thick)")
	numberVar(f, &braid, "braid-factor", 1, 100, "2", "resistance of the outer conductor over that of a smooth tube (default 1)")
	inner.register(f, "centre conductor")
	outer.register(f, "outer conductor")
	l.register(c, false, parameters...)
	c.RunE = func(c *cobra.Command, args []string) error {
		p, ohms, err := l.target(parameters)
		if err != nil {
			return err
		}
		if err := l.missing(c, p, need{"inner-diameter", "1.27mm"}, need{"outer-diameter", "2.92mm"}); err != nil {
			return err
		}
		x := line.Coax{InnerDiameter: float64(din), OuterDiameter: float64(dout), Offset: float64(offset), InnerBore: float64(bore), WallThickness: float64(wall), BraidFactor: braid, Filling: l.dielectric()}
		if x.Inner, err = inner.conductor(l.model); err != nil {
			return err
		}
		if x.Outer, err = outer.conductor(l.model); err != nil {
			return err
		}
		if l.at != 0 {
			x = x.AtTemperature(float64(l.at))
		}
		if x, err = solve(x, p, ohms); err != nil {
			return err
		}
		found := map[line.Parameter]float64{line.InnerDiameter: x.InnerDiameter, line.OuterDiameter: x.OuterDiameter, line.Permittivity: x.Filling.Permittivity, line.Offset: x.Offset}
		return l.report(env, "coax", x, p, found[p])
	}
	return c
}

func newMicrostrip(env *environment) *cobra.Command {
	parameters := []line.Parameter{line.Width, line.Height, line.Thickness, line.Permittivity}
	var l lineFlags
	var metal metalFlags
	var width, height, thickness, top, cover, walls units.Length
	c := &cobra.Command{
		Use:   "microstrip",
		Short: "Strip on a substrate over a ground plane",
		Long: `A strip on a substrate over a ground plane, air above. The cross-section's field
is solved, metal thickness included; --method formula takes the published closed
formulas instead, with their errors. Width and height are needed, or one and
--solve-for the other.`,
		Example: `  linewright line microstrip --width 0.55mm --height 0.254mm --thickness 35um --permittivity 3.66 --loss-tangent 0.0037 --at 28GHz
  linewright line microstrip --height 0.254mm --permittivity 3.66 --solve-for width=50ohm`,
		Args: exactly(),
	}
	f := c.Flags()
	quantityVar(f, &width, "width", "of the strip, at its foot")
	quantityVar(f, &height, "height", "of the substrate")
	quantityVar(f, &thickness, "thickness", "of the strip (default 0: vanishing)")
	quantityVar(f, &top, "top-width", "of the strip's upper face, for an etched trapezoid (default: width)")
	quantityVar(f, &cover, "cover", "height of a metal cover above the substrate (default: none)")
	quantityVar(f, &walls, "walls", "distance of solid side walls, the strip in the middle (default: none)")
	metal.register(f, "metal")
	l.register(c, true, parameters...)
	c.RunE = func(c *cobra.Command, args []string) error {
		p, ohms, err := l.target(parameters)
		if err != nil {
			return err
		}
		if err := l.missing(c, p, need{"width", "0.55mm"}, need{"height", "0.254mm"}); err != nil {
			return err
		}
		m, err := metal.conductor(l.model)
		if err != nil {
			return err
		}
		x := line.Microstrip{Width: float64(width), Height: float64(height), Thickness: float64(thickness), TopWidth: float64(top), Cover: float64(cover), Walls: float64(walls),
			Substrate: l.dielectric(), Metal: m, Method: l.methodOf()}
		if l.at != 0 {
			x = x.AtTemperature(float64(l.at))
		}
		if x, err = solve(x, p, ohms); err != nil {
			return err
		}
		found := map[line.Parameter]float64{line.Width: x.Width, line.Height: x.Height, line.Thickness: x.Thickness, line.Permittivity: x.Substrate.Permittivity}
		return l.report(env, "microstrip", x, p, found[p])
	}
	return c
}

func newStripline(env *environment) *cobra.Command {
	parameters := []line.Parameter{line.Width, line.Spacing, line.Thickness, line.Offset, line.Permittivity}
	var l lineFlags
	var metal metalFlags
	var width, spacing, thickness, offset, top, walls units.Length
	c := &cobra.Command{
		Use:   "stripline",
		Short: "Strip between two ground planes",
		Long: `A strip between two ground planes, in the middle or offset from it. The
cross-section's field is solved, metal thickness included; --method formula takes
the published closed formulas instead. Width and spacing are needed, or one and
--solve-for the other.`,
		Example: `  linewright line stripline --width 0.2mm --spacing 0.508mm --thickness 17um --permittivity 3.0 --at 1GHz:40GHz:40
  linewright line stripline --spacing 20mil --permittivity 3.0 --solve-for width=50ohm`,
		Args: exactly(),
	}
	f := c.Flags()
	quantityVar(f, &width, "width", "of the strip, at its foot")
	quantityVar(f, &spacing, "spacing", "between the planes")
	quantityVar(f, &thickness, "thickness", "of the strip (default 0: vanishing)")
	quantityVar(f, &offset, "offset", "of the strip's middle from the middle of the planes (default 0)")
	quantityVar(f, &top, "top-width", "of the strip's upper face, for an etched trapezoid (default: width)")
	quantityVar(f, &walls, "walls", "distance of solid side walls, the strip in the middle (default: none)")
	metal.register(f, "metal")
	l.register(c, true, parameters...)
	c.RunE = func(c *cobra.Command, args []string) error {
		p, ohms, err := l.target(parameters)
		if err != nil {
			return err
		}
		if err := l.missing(c, p, need{"width", "0.2mm"}, need{"spacing", "0.508mm"}); err != nil {
			return err
		}
		m, err := metal.conductor(l.model)
		if err != nil {
			return err
		}
		x := line.Stripline{Width: float64(width), Spacing: float64(spacing), Thickness: float64(thickness), Offset: float64(offset), TopWidth: float64(top), Walls: float64(walls),
			Substrate: l.dielectric(), Metal: m, Method: l.methodOf()}
		if l.at != 0 {
			x = x.AtTemperature(float64(l.at))
		}
		if x, err = solve(x, p, ohms); err != nil {
			return err
		}
		found := map[line.Parameter]float64{line.Width: x.Width, line.Spacing: x.Spacing, line.Thickness: x.Thickness, line.Offset: x.Offset, line.Permittivity: x.Substrate.Permittivity}
		return l.report(env, "stripline", x, p, found[p])
	}
	return c
}

func newCoplanar(env *environment) *cobra.Command {
	parameters := []line.Parameter{line.Width, line.Gap, line.Height, line.Thickness, line.Permittivity}
	var l lineFlags
	var metal metalFlags
	var width, gap, height, thickness, walls, cover units.Length
	var below bool
	c := &cobra.Command{
		Use:   "coplanar",
		Short: "Strip between two grounds in one layer, with or without ground below",
		Long: `A strip between two ground planes of the same metal layer. There is a ground plane
below the substrate unless --ground-below=false says that there is air. Without
ground below --height may be left out: the substrate is then a half space. Width,
gap and height are needed, or all but one and --solve-for that one.`,
		Example: `  linewright line coplanar --width 0.4mm --gap 0.2mm --height 0.254mm --thickness 35um --permittivity 3.0 --walls 2.2mm --at 28GHz,40GHz
  linewright line coplanar --width 0.4mm --height 0.254mm --permittivity 3.0 --solve-for gap=50ohm`,
		Args: exactly(),
	}
	f := c.Flags()
	quantityVar(f, &width, "width", "of the strip")
	quantityVar(f, &gap, "gap", "of each slot")
	quantityVar(f, &height, "height", "of the substrate")
	f.BoolVar(&below, "ground-below", true, "a ground plane below the substrate; =false: air")
	quantityVar(f, &thickness, "thickness", "of the metal layer (default 0: vanishing)")
	quantityVar(f, &walls, "walls", "distance of the two via fences, taken as solid walls (default: none)")
	quantityVar(f, &cover, "cover", "height of a metal cover above the substrate (default: none)")
	metal.register(f, "metal")
	l.register(c, true, parameters...)
	c.RunE = func(c *cobra.Command, args []string) error {
		p, ohms, err := l.target(parameters)
		if err != nil {
			return err
		}
		needs := []need{{"width", "0.4mm"}, {"gap", "0.2mm"}}
		if below {
			needs = append(needs, need{"height", "0.254mm"})
		}
		if err := l.missing(c, p, needs...); err != nil {
			return err
		}
		m, err := metal.conductor(l.model)
		if err != nil {
			return err
		}
		x := line.Coplanar{Width: float64(width), Gap: float64(gap), Height: float64(height), Thickness: float64(thickness), GroundBelow: below, Walls: float64(walls), Cover: float64(cover),
			Substrate: l.dielectric(), Metal: m, Method: l.methodOf()}
		if !below && !c.Flags().Changed("height") && p != line.Height {
			x.Height = math.Inf(1)
		}
		if l.at != 0 {
			x = x.AtTemperature(float64(l.at))
		}
		if x, err = solve(x, p, ohms); err != nil {
			return err
		}
		found := map[line.Parameter]float64{line.Width: x.Width, line.Gap: x.Gap, line.Height: x.Height, line.Thickness: x.Thickness, line.Permittivity: x.Substrate.Permittivity}
		return l.report(env, "coplanar", x, p, found[p])
	}
	return c
}

// report computes the line at the asked frequencies and prints it.
func (l *lineFlags) report(env *environment, kind string, x line.Line, solved line.Parameter, value float64) error {
	doc, points, err := wire.NewLine(kind, x, solved, value, l.frequency)
	if err != nil {
		return flagged(err)
	}
	if l.plot != "" {
		if len(points) < 2 {
			return usage("--plot needs two frequencies at least", "add a sweep such as --at 1GHz:40GHz:200")
		}
		limit := math.Inf(1)
		if doc.ModeFreeLimitHz != nil {
			limit = *doc.ModeFreeLimitHz
		}
		if err := workspace.WriteFile(l.plot, lineSheet(kind, doc.Model, points, limit).SVG()); err != nil {
			return err
		}
		doc.Plot = l.plot
	}
	if env.json {
		env.printJSON(doc)
		return nil
	}
	printLine(env, doc, solved, value)
	return nil
}

func show(x *float64, scale float64, format string) string {
	if x == nil {
		return "?"
	}
	return fmt.Sprintf(format, *x*scale)
}

func printLine(env *environment, d wire.Line, solved line.Parameter, value float64) {
	out := env.out
	heading(out, "%s", strings.ToUpper(d.Line[:1])+d.Line[1:])
	if solved != "" {
		text := fmt.Sprintf("%.5g mm", value*1e3)
		if solved == line.Permittivity {
			text = fmt.Sprintf("%.5g", value)
		}
		fmt.Fprintf(out, "  %s that was asked for: %s\n", solved, text)
	}
	fmt.Fprintf(out, "  impedance, static               %s Ω\n", show(d.StaticImpedanceOhm, 1, "%.3f"))
	fmt.Fprintf(out, "  effective permittivity, static  %s\n", show(d.StaticEffectivePermittivity, 1, "%.4f"))
	if d.ModeFreeLimitHz != nil {
		fmt.Fprintf(out, "  mode-free below                 %.4g GHz (%s)\n", *d.ModeFreeLimitHz/1e9, lowestMode(d.Modes))
	}
	paragraph(out, "  metal: ", d.Metal)
	paragraph(out, "  model: ", d.Model)
	if len(d.At) > 0 {
		fmt.Fprintln(out)
		t := newTable(out, "GHz", "Z Ω", "Im Z Ω", "eff. perm.", "ps/mm", "deg/mm", "dB/m", "conductor", "dielectric", "roughness", "")
		numbers(t, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10)
		for _, p := range d.At {
			mark := ""
			if !p.ModeFree {
				mark = "above the mode-free limit"
			}
			t.AppendRow(table.Row{fmt.Sprintf("%.5g", p.FrequencyHz/1e9), show(p.ImpedanceOhm.Re, 1, "%.3f"), show(p.ImpedanceOhm.Im, 1, "%.3f"), show(p.EffectivePermittivity, 1, "%.4f"),
				show(p.DelaySPerM, 1e9, "%.4f"), show(p.PhaseRadPerM, 180/math.Pi*1e-3, "%.3f"), show(p.AttenuationDBPerM, 1, "%.3f"), show(p.ConductorDBPerM, 1, "%.3f"), show(p.DielectricDBPerM, 1, "%.3f"), show(p.RoughnessFactor, 1, "%.3f"), mark})
		}
		t.Render()
	} else {
		fmt.Fprintln(out, "  for loss and delay add frequencies, such as --at 1GHz:40GHz:40")
	}
	for _, w := range d.Warnings {
		paragraph(out, "  ! ", w.Text)
	}
	if d.Plot != "" {
		fmt.Fprintln(out, "wrote", d.Plot)
	}
}

func lowestMode(modes []wire.LineMode) string {
	name, low := "", math.Inf(1)
	for _, m := range modes {
		if m.CutoffHz != nil && *m.CutoffHz < low {
			name, low = m.Mode, *m.CutoffHz
		}
	}
	return name
}

// lineSheet draws a line over frequency.
func lineSheet(kind, model string, points []line.Point, limit float64) plot.Page {
	x := make([]float64, len(points))
	series := map[string][]float64{}
	for i, p := range points {
		x[i] = p.Frequency / 1e9
		series["total"] = append(series["total"], real(p.Gamma)*units.DecibelsPerNeper)
		series["conductor"] = append(series["conductor"], p.Conductor*units.DecibelsPerNeper)
		series["dielectric"] = append(series["dielectric"], p.Dielectric*units.DecibelsPerNeper)
		series["Z"] = append(series["Z"], real(p.Impedance))
		series["e"] = append(series["e"], p.EffectivePermittivity())
	}
	page := plot.Page{Title: "Uniform line: " + kind, Notes: []string{model}, Charts: []plot.Chart{
		{Title: "Attenuation", XLabel: "frequency, GHz", YLabel: "dB/m", X: x, Zero: true, Down: true, Lines: []plot.Line{{Name: "total", Y: series["total"]}, {Name: "conductor", Y: series["conductor"], Style: plot.Dashed}, {Name: "dielectric", Y: series["dielectric"], Style: plot.Dotted}}},
		{Title: "Impedance, real part", XLabel: "frequency, GHz", YLabel: "Ω", X: x, Lines: []plot.Line{{Name: "Z", Y: series["Z"]}}},
		{Title: "Effective permittivity", XLabel: "frequency, GHz", YLabel: "relative", X: x, Lines: []plot.Line{{Name: "(β/k0)²", Y: series["e"]}}}}}
	if limit < points[len(points)-1].Frequency {
		page.Notes = append(page.Notes, fmt.Sprintf("Above %.4g GHz other modes travel too; the curves are those of the wanted mode alone.", limit/1e9))
	}
	return page
}
