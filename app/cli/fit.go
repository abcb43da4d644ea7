package cli

import (
	"fmt"
	"math"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"

	"linewright/app/wire"
	"linewright/internal/spell"
	"linewright/physics/fit"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/network"
	"linewright/physics/units"
)

// fitFlags say what is fitted.
type fitFlags struct {
	from, to         units.Frequency
	length, extra    units.Length
	constant, square bool
	weighted         bool
	window           units.Frequency
	launch           bool
	section          string
	width, height    units.Length
	spacing          units.Length
	thickness        units.Length
	fittedAt         units.Frequency
	permittivity     float64
	lossTangent      float64
	roughness        units.Length
}

func newFit(env *environment) *cobra.Command {
	var x fitFlags
	c := &cobra.Command{
		Use:     "fit FILE [LONGER]",
		GroupID: "files",
		Short:   "The few numbers behind a sweep: loss law, laminate, launch",
		Long: `Fit finds the few numbers behind a two-port, each with its standard uncertainty
from the scatter, and says what it leaves over.

Of one file: the loss law k1 √f + k2 f of its attenuation, reflections taken off by
its dissipation or as a line of one impedance, whichever leaves less;
the fitted insertion loss a1 √f + a2 f + a4 f² with the insertion loss deviation, and
its ripple in a window; with --launch the shunt capacitance, series inductance and
short line of a launch, port 1 at the connector.

Of two lengths of one line with the same launches, the second --extra longer: the
propagation constant without the launches, and its loss law. With --cross-section,
the line's geometry, also the laminate's permittivity and loss tangent and the
roughness of the copper (Hammerstad), by the closed formulas of the line.

What all data share, a wrong length, a calibration, is not in the uncertainties.`,
		Example: `  linewright fit cable.s2p --length 1.2m --to 40GHz
  linewright fit short.s2p long.s2p --extra 60mm --cross-section stripline --width 0.21mm --spacing 0.55mm --thickness 17um
  linewright fit half-left.s2p --launch --to 30GHz`,
		Args: func(c *cobra.Command, args []string) error {
			switch len(args) {
			case 0:
				return usage("FILE is missing", "write: %s", c.UseLine())
			case 1, 2:
				return nil
			}
			return usage(fmt.Sprintf("%q is one argument too many", args[2]), "write: %s", c.UseLine())
		},
		ValidArgsFunction: completeFiles("s2p", "ts", "snp"),
	}
	f := c.Flags()
	quantityVar(f, &x.from, "from", "fit from this frequency on (default: the first above 0 Hz)")
	quantityVar(f, &x.to, "to", "fit up to this frequency (default: the last)")
	quantityVar(f, &x.length, "length", "of the line in FILE, for a loss per metre")
	quantityVar(f, &x.extra, "extra", "by how much the second file's line is longer")
	f.BoolVar(&x.constant, "constant", false, "the loss law also has a constant; the insertion loss a0")
	f.BoolVar(&x.square, "square", false, "the loss law also has a term of f²")
	f.BoolVar(&x.weighted, "weighted", false, "weight the insertion loss by |S21|, as IEEE 802.3 annex 93A does")
	quantityVar(f, &x.window, "window", "width of the window for the ripple (default 1 GHz)")
	f.BoolVar(&x.launch, "launch", false, "fit the lumps of a launch")
	wordVar(c, &x.section, "cross-section", "with two files: kind of line, for the laminate", "microstrip", "stripline")
	quantityVar(f, &x.width, "width", "of the strip")
	quantityVar(f, &x.height, "height", "of a microstrip's substrate")
	quantityVar(f, &x.spacing, "spacing", "between a stripline's planes")
	quantityVar(f, &x.thickness, "thickness", "of the strip (default 0: vanishing)")
	quantityVar(f, &x.fittedAt, "fitted-at", "frequency to which permittivity and loss tangent belong (default 10 GHz)")
	numberVar(f, &x.permittivity, "permittivity", 1, 100, "3.6", "to begin the search with (default: from the delay)")
	numberVar(f, &x.lossTangent, "loss-tangent", 1e-6, 1, "0.004", "to begin the search with (default 0.005)")
	quantityVar(f, &x.roughness, "roughness", "rms height to begin the search with; 0um holds the copper smooth (default 0.5 µm)")
	f.SortFlags = false
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := x.check(c, len(args)); err != nil {
			return err
		}
		doc := wire.Fitted{Files: args, Warnings: []string{}}
		var err error
		if len(args) == 1 {
			err = x.one(&doc, args[0])
		} else {
			err = x.two(&doc, args[0], args[1], !c.Flags().Changed("roughness"))
		}
		if err != nil {
			return err
		}
		if env.json {
			env.printJSON(doc)
		} else {
			printFitted(env, doc)
		}
		return nil
	}
	return c
}

func (x *fitFlags) check(c *cobra.Command, files int) error {
	changed := c.Flags().Changed
	switch {
	case files == 2 && !(x.extra > 0):
		return usage("--extra is missing", "say by how much the second line is longer, such as --extra 60mm")
	case files == 1 && changed("extra"):
		return usage("--extra belongs to two files", "give the longer line's file second")
	case files == 1 && x.section != "":
		return usage("--cross-section belongs to two files", "the launches are in one file's loss: give a second, longer line")
	case files == 2 && (x.launch || changed("length")):
		return usage("--launch and --length belong to one file", "leave them out, or give one file")
	case changed("length") && !(x.length > 0):
		return usage("--length is not above zero", "write it such as --length 1.2m")
	case x.section == "microstrip" && !(x.width > 0 && x.height > 0):
		return usage("a microstrip needs --width and --height", "write them such as --width 0.55mm --height 0.254mm")
	case x.section == "stripline" && !(x.width > 0 && x.spacing > 0):
		return usage("a stripline needs --width and --spacing", "write them such as --width 0.21mm --spacing 0.55mm")
	case changed("to") && x.to <= x.from:
		return usage("--to is not above --from", "write the lower frequency at --from")
	}
	return nil
}

// band returns the part of a sweep that is to be fitted, without 0 Hz.
func (x *fitFlags) band(name string, n network.Network) (network.Network, error) {
	to := float64(x.to)
	if to == 0 {
		to = math.Inf(1)
	}
	a, b := 0, len(n.Frequency)
	for a < b && (n.Frequency[a] < float64(x.from) || n.Frequency[a] == 0) {
		a++
	}
	for b > a && n.Frequency[b-1] > to {
		b--
	}
	if b-a < 4 {
		return n, usage(fmt.Sprintf("%s has %s between --from and --to", name, spell.Count(b-a, "frequency")), "its sweep runs from %s to %s", units.Frequency(n.Frequency[0]), units.Frequency(n.Frequency[len(n.Frequency)-1]))
	}
	p := n.Ports * n.Ports
	return network.Network{Ports: n.Ports, Frequency: n.Frequency[a:b], Reference: n.Reference, S: n.S[a*p : b*p]}, nil
}

func (x *fitFlags) read(name string) (network.Network, error) {
	n, err := readTwoPort(name)
	if err != nil {
		return n, err
	}
	return x.band(name, n)
}

func spanOf(doc *wire.Fitted, f []float64) {
	from, to := f[0], f[len(f)-1]
	doc.FromHz, doc.ToHz, doc.Points = &from, &to, len(f)
}

func (x *fitFlags) one(doc *wire.Fitted, name string) error {
	n, err := x.read(name)
	if err != nil {
		return err
	}
	spanOf(doc, n.Frequency)
	if x.launch {
		// 20 fF, 50 pH and a line of an eighth of a wavelength at the end, to begin with
		top := n.Frequency[len(n.Frequency)-1]
		l, err := fit.OfLaunch(n, fit.Launch{Capacitance: 20e-15, Inductance: 50e-12, Impedance: real(n.Reference[0]), Delay: math.Max(n.Delay(1, 0)-1e-12, 0.02/top)})
		if err != nil {
			return networkFault(name, err)
		}
		doc.Launch = wire.NewFitLaunch(l)
		if u := l.Uncertainty; !(u.Capacitance < math.Abs(l.Capacitance)) || !(u.Inductance < math.Abs(l.Inductance)) || !(u.Delay < math.Abs(l.Delay)) {
			doc.Warnings = append(doc.Warnings, "the three cannot be told apart in this range: a short line is its own capacitance and inductance, and more line than launch hides both; split nearer the launch, or fit higher up")
		}
		if l.Residual > 0.03 {
			doc.Warnings = append(doc.Warnings, fmt.Sprintf("the launch is more than one capacitance, one inductance and one short line: |S| is left off by %.2g rms", l.Residual))
		}
		return nil
	}
	var l fit.Loss
	from := ""
	for _, way := range []struct {
		name string
		of   func(network.Network) ([]float64, error)
	}{{"dissipation", fit.Dissipation}, {"image parameters", fit.Attenuation}} {
		a, err := way.of(n)
		if err != nil {
			return networkFault(name, err)
		}
		if x.length > 0 {
			for k := range a {
				a[k] /= float64(x.length)
			}
		}
		m, err := fit.OfLoss(n.Frequency, a, nil, fit.Law{Constant: x.constant, Square: x.square})
		if err != nil {
			return networkFault(name, err)
		}
		if from == "" || !(l.Fit.RMS <= m.Fit.RMS) { // a line of one impedance leaves less by the second, one between connectors by the first
			l, from = m, way.name
		}
	}
	doc.Loss = wire.NewFitLoss(l, x.length > 0)
	doc.Loss.From = from
	if l.Skin < 0 || l.Linear < 0 {
		doc.Warnings = append(doc.Warnings, "a coefficient came out negative: k1 and k2 are not to be told apart in this range, or the loss is not that of a line")
	}
	in, err := fit.InsertionLoss(n.Frequency, n.Trace(1, 0), n.Frequency[0], n.Frequency[len(n.Frequency)-1], fit.Terms{Constant: x.constant, Weighted: x.weighted})
	if err != nil {
		return networkFault(name, err)
	}
	window := float64(x.window)
	if window == 0 {
		window = 1e9
	}
	doc.Insertion = wire.NewFitInsertion(in, window)
	if tau := math.Abs(n.Delay(1, 0)); tau > 0 && window < 1/(2*tau) {
		doc.Warnings = append(doc.Warnings, fmt.Sprintf("the window is narrower than the ripple's period, %s: it does not show all of it", units.Frequency(1/(2*tau))))
	}
	return nil
}

func (x *fitFlags) two(doc *wire.Fitted, short, long string, freeRoughness bool) error {
	a, err := x.read(short)
	if err != nil {
		return err
	}
	b, err := x.read(long)
	if err != nil {
		return err
	}
	p, err := fit.TwoLines(a, b, float64(x.extra))
	if err != nil {
		return networkFault(long, err)
	}
	p = p.Between(20 * math.Pi / 180)
	if len(p.Frequency) < 4 {
		return usage(fmt.Sprintf("%v more of line turn the phase by 20 to 160° at only %s", x.extra, spell.Count(len(p.Frequency), "frequency")), "use lengths that differ more, or a sweep that goes higher")
	}
	spanOf(doc, p.Frequency)
	doc.Two = wire.NewFitTwo(p, float64(x.extra))
	l, err := p.Loss(fit.Law{Constant: x.constant, Square: x.square})
	if err != nil {
		return networkFault(long, err)
	}
	doc.Two.Loss = wire.NewFitLoss(l, true)
	doc.Two.Loss.From = "two lengths"
	worst := 0.0
	for _, m := range p.Mismatch {
		worst = math.Max(worst, m)
	}
	if worst > 0.02 {
		doc.Warnings = append(doc.Warnings, fmt.Sprintf("the two files are not quite alike or not reciprocal (%.2g): launches that differ, or noise", worst))
	}
	if x.section == "" {
		return nil
	}
	at := float64(x.fittedAt)
	if at == 0 {
		at = 10e9
	}
	start := fit.Laminate{Permittivity: x.permittivity, LossTangent: x.lossTangent, Roughness: float64(x.roughness)}
	if start.LossTangent == 0 {
		start.LossTangent = 0.005
	}
	if freeRoughness {
		start.Roughness = 0.5e-6
	}
	if start.Permittivity == 0 {
		n := imag(p.Gamma[len(p.Gamma)/2]) * line.C0 / (2 * math.Pi * p.Frequency[len(p.Frequency)/2])
		start.Permittivity = math.Max(1.05, n*n)
		if x.section == "microstrip" {
			start.Permittivity *= 1.3
		}
	}
	build := func(l fit.Laminate) line.Line {
		d := material.Dielectric{Permittivity: l.Permittivity, LossTangent: l.LossTangent, FittedAt: at}
		m := material.Conductor{Roughness: material.Roughness{RMS: l.Roughness}}
		if x.section == "microstrip" {
			return line.Microstrip{Width: float64(x.width), Height: float64(x.height), Thickness: float64(x.thickness), Substrate: d, Metal: m, Method: line.ClosedForm}
		}
		return line.Stripline{Width: float64(x.width), Spacing: float64(x.spacing), Thickness: float64(x.thickness), Substrate: d, Metal: m, Method: line.ClosedForm}
	}
	if err := build(start).Check(); err != nil {
		return flagged(err)
	}
	lam, err := fit.OfLaminate(p, build, start)
	if err != nil {
		return networkFault(long, err)
	}
	doc.Laminate = wire.NewFitLaminate(lam, x.section, at)
	if lam.Correlation < -0.98 {
		doc.Warnings = append(doc.Warnings, fmt.Sprintf("loss tangent and roughness are tied (correlation %.3f): only their joint loss is known; measure over a wider range, or hold the roughness with --roughness 0um", lam.Correlation))
	}
	return nil
}

func pm(v wire.FitValue, scale float64, format string) string {
	return show(v.Value, scale, format) + " ± " + show(v.Uncertainty, scale, format)
}

func printFitted(env *environment, d wire.Fitted) {
	out := env.out
	heading(out, "%s", strings.Join(d.Files, ", "))
	fmt.Fprintf(out, "  fitted from %s to %s GHz, %d points\n", show(d.FromHz, 1e-9, "%.6g"), show(d.ToHz, 1e-9, "%.6g"), d.Points)
	loss := func(l *wire.FitLoss) {
		per := ""
		if l.PerMetre {
			per = "/m"
		}
		fmt.Fprintf(out, "  k1  %s dB%s/√GHz\n  k2  %s dB%s/GHz, correlation %s\n", pm(l.K1, 1, "%.4g"), per, pm(l.K2, 1, "%.4g"), per, show(l.Correlation, 1, "%.3f"))
		if l.Constant != nil {
			fmt.Fprintf(out, "  constant  %s dB%s\n", pm(*l.Constant, 1, "%.3g"), per)
		}
		if l.K4 != nil {
			fmt.Fprintf(out, "  k4  %s dB%s/GHz²\n", pm(*l.K4, 1, "%.3g"), per)
		}
		fmt.Fprintf(out, "  left over: %s dB%s rms, %s at most\n", show(l.RMSDB, 1, "%.3g"), per, show(l.GreatestDB, 1, "%.3g"))
	}
	if d.Loss != nil {
		fmt.Fprintf(out, "Attenuation, reflections taken off by %s: k1 √f + k2 f\n", d.Loss.From)
		loss(d.Loss)
	}
	if in := d.Insertion; in != nil {
		fmt.Fprintln(out, "Fitted insertion loss: a0 + a1 √f + a2 f + a4 f²")
		fmt.Fprintf(out, "  a0 %s dB, a1 %s dB/√GHz, a2 %s dB/GHz, a4 %s dB/GHz²\n", show(in.A0, 1, "%.4g"), show(in.A1, 1, "%.4g"), show(in.A2, 1, "%.4g"), show(in.A4, 1, "%.4g"))
		fmt.Fprintf(out, "  deviation %s dB rms, %s at most; ripple in %s GHz: %s dB peak to peak between %s and %s GHz\n", show(in.RMSDB, 1, "%.3g"), show(in.GreatestDB, 1, "%.3g"),
			show(in.WindowHz, 1e-9, "%.4g"), show(in.RippleDB, 1, "%.3g"), show(in.RippleFrom, 1e-9, "%.5g"), show(in.RippleUntil, 1e-9, "%.5g"))
	}
	if w := d.Two; w != nil {
		fmt.Fprintln(out, "Line between the launches, by two lengths")
		loss(w.Loss)
		t := newTable(out, "GHz", "phase °", "dB/m", "ns/m", "eff. perm.")
		numbers(t, 1, 2, 3, 4, 5)
		for i := range min(len(w.At), 12) {
			p := w.At[i*(len(w.At)-1)/max(1, min(len(w.At), 12)-1)]
			t.AppendRow(table.Row{fmt.Sprintf("%.5g", p.FrequencyHz/1e9), show(p.PhaseDeg, 1, "%.1f"), show(p.AttenuationDBPerM, 1, "%.3f"), show(p.DelaySPerM, 1e9, "%.4f"), show(p.EffectivePermittivity, 1, "%.4f")})
		}
		t.Render()
	}
	if l := d.Laminate; l != nil {
		fmt.Fprintf(out, "Laminate of the %s\n", l.Line)
		fmt.Fprintf(out, "  permittivity %s, loss tangent %s at %s GHz\n  roughness Rq %s µm, correlation with the loss tangent %s\n", pm(l.Permittivity, 1, "%.5g"), pm(l.LossTangent, 1, "%.3g"), show(l.FittedAtHz, 1e-9, "%g"),
			pm(l.RoughnessM, 1e6, "%.3g"), show(l.Correlation, 1, "%.3f"))
		fmt.Fprintf(out, "  left over: %s dB/m and %s rad/m rms\n", show(l.AlphaRMSDB, 1, "%.3g"), show(l.BetaRMSRad, 1, "%.3g"))
	}
	if l := d.Launch; l != nil {
		fmt.Fprintln(out, "Launch: shunt capacitance, series inductance, short line")
		fmt.Fprintf(out, "  %s fF, %s pH, %s Ω of %s ps\n", pm(l.CapacitanceF, 1e15, "%.3g"), pm(l.InductanceH, 1e12, "%.3g"), pm(l.ImpedanceOhm, 1, "%.4g"), pm(l.DelayS, 1e12, "%.4g"))
		fmt.Fprintf(out, "  left over: |S| off by %s rms, %s at most, at %s GHz\n", show(l.RMS, 1, "%.2g"), show(l.Worst, 1, "%.2g"), show(l.WorstAtHz, 1e-9, "%.5g"))
	}
	for _, w := range d.Warnings {
		paragraph(out, "  note: ", w)
	}
}
