package cli

import (
	"bytes"
	"fmt"
	"path/filepath"

	"linewright/app/plot"
	"linewright/app/workspace"
	"linewright/hardware/chain"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/propose"
	"linewright/physics/network"
	"linewright/physics/touchstone"
	"linewright/physics/units"
)

// writePlots writes one sheet per proposal, or per miss when there is none.
func writePlots(env *environment, dir string, e enquiry.Enquiry, a propose.Answer) error {
	shown := a.Proposals
	if len(shown) == 0 {
		for _, m := range a.Misses {
			shown = append(shown, m.Proposal)
		}
	}
	for _, p := range shown {
		name := filepath.Join(dir, fmt.Sprintf("%s-%d.svg", e.ID, p.Rank))
		if err := writePlot(name, e, p.Built, p.Report); err != nil {
			return err
		}
		fmt.Fprintln(env.err, "wrote", name)
	}
	return nil
}

// writeFile writes a file that the user named, and says of one that cannot be
// written what to look at.
func writeFile(name string, data []byte) error {
	if err := workspace.WriteFile(name, data); err != nil {
		return workspace.Fault{File: name, Err: err, Problem: "it cannot be written: " + err.Error(), Help: "check the path and the permissions"}
	}
	return nil
}

// writeDrawing writes a page as SVG.
func writeDrawing(name string, p plot.Page) error { return writeFile(name, p.SVG()) }

func writePlot(name string, e enquiry.Enquiry, b chain.Built, r assess.Report) error {
	return workspace.WriteFile(name, Sheet(e, b, r).SVG())
}

// Sheet draws a chain's loss and reflection over the band with the enquiry's
// limits.
func Sheet(e enquiry.Enquiry, b chain.Built, r assess.Report) plot.Page {
	p := r.Prediction
	x := make([]float64, len(p.Frequency))
	for i, f := range p.Frequency {
		x[i] = f / 1e9
	}
	loss := plot.Chart{Title: "Insertion loss, dissipation", XLabel: "frequency, GHz", YLabel: "dB", X: x, Zero: true, Down: true}
	for i := len(r.States) - 1; i >= 0; i-- { // hottest first
		s := r.States[i]
		if len(s.Loss) == len(x) {
			loss.Lines = append(loss.Lines, plot.Line{Name: s.Conditions.Temperature.String(), Y: s.Loss, Style: plot.Style(min(len(loss.Lines), 2))})
		}
	}
	with := make([]float64, len(x))
	for i := range x {
		with[i] = p.Loss[i] + p.Mismatch[i]
	}
	loss.Bands = []plot.Band{{Name: "with mismatch", Low: p.Loss, High: with}}
	for _, l := range e.Limits.InsertionLoss {
		if l.AtMost != nil && (l.Of == "" || l.Of == enquiry.OfChain) {
			x0, x1 := span(x, l.From, l.To)
			loss.Limits = append(loss.Limits, plot.Limit{X0: x0, Y0: float64(*l.AtMost), X1: x1, Y1: float64(*l.AtMost), Above: true})
		}
		for i := 1; i < len(l.Mask); i++ {
			loss.Limits = append(loss.Limits, plot.Limit{X0: units.In(l.Mask[i-1].At, "GHz"), Y0: float64(l.Mask[i-1].Level), X1: units.In(l.Mask[i].At, "GHz"), Y1: float64(l.Mask[i].Level), Above: true})
		}
	}
	rl := plot.Chart{Title: "Return loss at the input", XLabel: "frequency, GHz", YLabel: "dB", X: x, Down: true, Zero: true}
	decibels := func(rho []float64) []float64 {
		out := make([]float64, len(rho))
		for i, v := range rho {
			out[i] = min(network.ReturnLoss(v), 45) // beyond, nothing is read off the paper
		}
		return out
	}
	rl.Lines = []plot.Line{{Name: "worst", Y: decibels(p.Left.Worst)}, {Name: "RSS, no bound", Y: decibels(p.Left.RSS), Style: plot.Dotted}}
	if p.Left.Likely != nil {
		rl.Lines = append(rl.Lines, plot.Line{Name: "likely, 95 % at each f", Y: decibels(p.Left.Likely), Style: plot.Dashed})
	}
	rl.Bands = []plot.Band{{Name: "best to worst", Low: decibels(p.Left.Worst), High: decibels(p.Left.Best)}}
	for _, l := range e.Limits.ReturnLoss {
		if l.AtLeast != nil && (l.Of == "" || l.Of == enquiry.OfChain) {
			x0, x1 := span(x, l.From, l.To)
			rl.Limits = append(rl.Limits, plot.Limit{X0: x0, Y0: float64(*l.AtLeast), X1: x1, Y1: float64(*l.AtLeast)})
		}
		for i := 1; i < len(l.Mask); i++ {
			rl.Limits = append(rl.Limits, plot.Limit{X0: units.In(l.Mask[i-1].At, "GHz"), Y0: float64(l.Mask[i-1].Level), X1: units.In(l.Mask[i].At, "GHz"), Y1: float64(l.Mask[i].Level)})
		}
	}
	for _, l := range e.Limits.VSWR {
		if l.Of == "" || l.Of == enquiry.OfChain {
			x0, x1 := span(x, l.From, l.To)
			y := network.ReturnLoss(network.FromVSWR(l.AtMost))
			rl.Limits = append(rl.Limits, plot.Limit{X0: x0, Y0: y, X1: x1, Y1: y})
		}
	}
	return plot.Page{Title: b.Name, Charts: []plot.Chart{loss, rl}, Notes: []string{
		fmt.Sprintf("Reflections at %v. Datasheet bounds have no phase: worst is their sum, each weakened by the loss before it.", p.Conditions.Temperature),
		"Likely is the 95th percentile of random phases at each frequency; RSS is no bound."}}
}

func span(x []float64, from, to *units.Frequency) (x0, x1 float64) {
	x0, x1 = x[0], x[len(x)-1]
	if from != nil {
		x0 = max(x0, units.In(*from, "GHz"))
	}
	if to != nil {
		x1 = min(x1, units.In(*to, "GHz"))
	}
	if x0 == x1 { // a limit at one frequency is drawn with some width
		w := (x[len(x)-1] - x[0]) / 60
		x0, x1 = max(x[0], x0-w), min(x[len(x)-1], x1+w)
	}
	return x0, x1
}

// writeTouchstone writes the chain as a two-port and returns what the file
// holds. Where a phase is unknown no reflection is made up: S11 and S22 are
// zero, and the header says so.
func writeTouchstone(name string, b chain.Built, r assess.Report) (holds string, err error) {
	p := r.Prediction
	n := p.Network
	if n == nil {
		m := matched(p)
		n = &m
		holds = "matched loss and known delay: the reflections of datasheet parts have no phase and are left out (S11 = S22 = 0)"
	} else {
		holds = "loss, delay and reflections of every element, all phases known"
	}
	f, err := touchstone.FromNetwork(*n, touchstone.GHz, touchstone.RI)
	if err != nil {
		return "", err
	}
	h := touchstone.Header{Title: b.Name, Origin: "predicted, not measured", Corner: "hottest of the enquiry, largest loss of the datasheets",
		Ports:     []touchstone.PortPlane{{Name: "left", Plane: orDash(b.LeftPlane)}, {Name: "right", Plane: orDash(b.RightPlane)}},
		Reference: []float64{50}, Grid: touchstone.GridOf(n.Frequency), Temperature: float64(p.Conditions.Temperature), ValidFrom: n.Frequency[0], ValidTo: n.Frequency[len(n.Frequency)-1],
		Notes: []string{holds}}
	for _, row := range p.Rows {
		h.Contains = append(h.Contains, row.Name+" "+row.Part+" ("+row.Step.String()+")")
	}
	for _, k := range p.NoDelay {
		h.Notes = append(h.Notes, "the delay of "+p.Rows[k].Name+" is not stated and is left out")
	}
	pass, rec := n.Passivity(), n.Reciprocity()
	h.Passivity = touchstone.Check{Verdict: met(pass.Value <= 1+1e-9), Figure: pass.Value, At: known(pass.Frequency), Note: "largest singular value, tolerance 1e-9"}
	h.Reciprocity = touchstone.Check{Verdict: met(rec.Value <= 1e-9), Figure: rec.Value, At: known(rec.Frequency), Note: "largest |S21 - S12|, tolerance 1e-9"}
	f.Comments = append(h.Comments(), f.Comments...)
	var buf bytes.Buffer
	if err := f.Write(&buf, touchstone.WriteOptions{}); err != nil {
		return "", err
	}
	return holds, workspace.WriteFile(name, buf.Bytes())
}

// known turns a frequency that is nowhere, NaN, into none.
func known(f float64) float64 {
	if f != f {
		return 0
	}
	return f
}

func met(ok bool) touchstone.Verdict {
	if ok {
		return touchstone.Met
	}
	return touchstone.NotMet
}

func orDash(s string) string {
	if s == "" {
		return "not stated"
	}
	return s
}

// matched is the chain as a matched, lossy, delaying two-port.
func matched(p chain.Prediction) network.Network {
	return network.Line(p.Frequency, 50, func(f float64) (complex128, complex128) {
		i := 0
		for i < len(p.Frequency)-1 && p.Frequency[i] < f {
			i++
		}
		return complex(p.Loss[i]/units.DecibelsPerNeper, 2*3.141592653589793*f*p.Delay), 50
	})
}

// saveChains writes one chain file per proposal.
func saveChains(env *environment, w workspace.Workspace, dir string, a propose.Answer) error {
	shown := a.Proposals
	if len(shown) == 0 {
		for _, m := range a.Misses {
			shown = append(shown, m.Proposal)
		}
	}
	for _, p := range shown {
		data, err := workspace.EncodeChain(p.Spec)
		if err != nil {
			return err
		}
		name := filepath.ToSlash(filepath.Join(dir, fmt.Sprintf("%s-%d.yaml", a.Enquiry.ID, p.Rank)))
		if err := w.WriteFile(name, data); err != nil {
			return err
		}
		fmt.Fprintln(env.err, "wrote", filepath.Join(w.Root, name))
	}
	return nil
}
