package inspect

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"

	"linewright/physics/network"
	"linewright/physics/sweep"
	"linewright/physics/timedomain"
	"linewright/physics/units"
)

// mostTraces and mostPoints bound the tests whose cost grows faster than the file.
const (
	mostTraces = 8
	mostPoints = 20000
)

// further judges what takes the whole file: noise, spacing against length, jumps,
// ports, reference, least loss, and causality by the dispersion relation.
func (j *judge) further(n network.Network) {
	_, even := sweep.Even(n.Frequency)
	even = even && len(n.Frequency) >= 32
	noise := j.noise(n, even)
	j.ripple(n, noise)
	j.jumps(n, even)
	j.paths(n)
	j.impedance(n)
	j.leastLoss(n, noise)
	j.dispersion(n, noise)
}

// through lists the transmissions worth judging, strongest partners only, j < i.
func through(n network.Network) [][2]int {
	partner, _ := sweep.Partners(n)
	var out [][2]int
	for i, p := range partner {
		if p >= 0 && (i > p || partner[p] != i) && peak(n, i, p) >= audible && len(out) < mostTraces {
			out = append(out, [2]int{max(i, p), min(i, p)})
		}
	}
	return out
}

func peak(n network.Network, i, j int) float64 {
	top := 0.0
	for k := range n.Frequency {
		top = max(top, cmplx.Abs(n.At(k, i, j)))
	}
	return top
}

func decibels(x float64) float64 { return 20 * math.Log10(x) }

func (j *judge) noise(n network.Network, even bool) float64 {
	g := Finding{Finding: "noise", Unit: "dB", Of: "noise of the worst trace, at most", Limits: "good up to -50 dB, usable up to -30 dB (common practice)"}
	if !even {
		g.Verdict, g.Means, g.Do = NotAssessed, "noise is told from neighbouring points: 32 evenly spaced ones at least", "inspect the sweep itself, not an extract"
		j.add(g)
		return math.NaN()
	}
	worst := -1.0
	for i := range min(n.Ports, mostTraces) {
		for k := range min(n.Ports, mostTraces) {
			if x := sweep.Noise(n, i, k); x > worst {
				worst = x
				g.Ports = []int{i + 1, k + 1}
			}
		}
	}
	if worst <= 1e-12 {
		g.Verdict, g.Ports, g.Means = Good, nil, "no noise: the data are computed, or smoothed"
		j.add(g)
		return 0
	}
	db := decibels(worst)
	g.Figure = number(db)
	switch {
	case db <= -50:
		g.Verdict, g.Means = Good, fmt.Sprintf("return losses up to about %.0f dB can be read", -db-10)
	case db <= -30:
		g.Verdict, g.Means, g.Do = Care, fmt.Sprintf("return losses and isolations beyond about %.0f dB are noise", -db-10), "narrow the intermediate-frequency bandwidth, average, or raise the power"
	default:
		g.Verdict, g.Means, g.Do = Bad, fmt.Sprintf("noise hides all below about %.0f dB", -db-10), "look for a loose connector or a wrong power level before narrowing the bandwidth"
	}
	j.add(g)
	return worst
}

func (j *judge) ripple(n network.Network, noise float64) {
	points, delay := sweep.PointsPerRipple(n)
	if delay == 0 || len(n.Frequency) < 3 {
		return
	}
	reflected := 0.0
	for i := range n.Ports {
		reflected = max(reflected, peak(n, i, i))
	}
	period := 1 / (2 * delay)
	g := Finding{Finding: "ripple", Figure: number(points), Of: "points per period of the fastest ripple", Limits: "good from 8 points a period; below 4 the ripple is not resolved (step at most a quarter of v/2l, common practice)"}
	what := fmt.Sprintf("%s of path make ripple of %s period", units.Time(delay), units.Frequency(math.Round(period/1e4)*1e4))
	if points >= 1000 {
		g.Figure, g.Of = nil, ""
	}
	switch {
	case reflected < 1e-3 && !(reflected > 3*noise):
		g.Verdict, g.Means = Good, "nothing reflects, so nothing ripples"
	case points >= 8:
		g.Verdict, g.Means = Good, what+", which the points resolve"
	case points >= 4:
		g.Verdict, g.Means = Care, what+fmt.Sprintf(": between two points the greatest value may be missed by %.0f %% of the ripple", 100*(1-math.Cos(math.Pi/points)))
		g.Do = "sweep with at least 8 points a period where a limit is near"
	default:
		g.Verdict, g.Means = Bad, what+": too few points to see it, and worst values read off this file are too good"
		g.Do = "sweep with a step of " + units.Frequency(niceBelow(period/8)).String() + " or less"
	}
	j.add(g)
}

// niceBelow returns the greatest of 1, 2, 5 times a power of ten that is not above x.
func niceBelow(x float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{5, 2} {
		if m*p <= x {
			return m * p
		}
	}
	return p
}

func (j *judge) jumps(n network.Network, even bool) {
	if !even {
		return
	}
	g := Finding{Finding: "jump", Verdict: Good, Means: "every strong trace goes on as it came"}
	count := 0
	var first sweep.Jump
	for i := range n.Ports {
		for k := range n.Ports {
			if i >= mostTraces || k >= mostTraces || peak(n, i, k) < audible/3 {
				continue
			}
			for _, x := range sweep.Jumps(n, i, k) {
				if count == 0 || x.Size > first.Size {
					first = x
					g.Ports = []int{i + 1, k + 1}
				}
				count++
			}
		}
	}
	if count > 0 {
		g.Verdict, g.Figure, g.Of, g.AtHz = Care, number(first.Size), "largest |ΔS|", number(first.Frequency)
		kind, do := "a step", "measure again without moving the cables, or split the file where two sweeps were joined"
		if first.Spike {
			kind, do = "a spike", "a single bad point: measure again, or leave the point out; it spoils every time-domain view"
		}
		g.Means = fmt.Sprintf("%s of %.1f° in phase, beyond what the trace does nearby; %d such places in all", kind, first.Phase*180/math.Pi, count)
		g.Do = do
		if count > 12 {
			g.Means = fmt.Sprintf("%d places where a trace does not go on as it came: resonances sharper than the step, or bad contact", count)
			g.Do = "sweep finer; if they stay where they are, they are real"
		}
	}
	j.add(g)
}

func (j *judge) paths(n network.Network) {
	if n.Ports < 2 {
		return
	}
	if n.Ports == 2 {
		g := Finding{Finding: "ports", Verdict: Good, Means: "S21 and S12 agree as the two directions of one path do"}
		low := min(len(n.Frequency), max(4, len(n.Frequency)/20))
		var r, t float64
		for k := range low {
			r += min(cmplx.Abs(n.At(k, 0, 0)), cmplx.Abs(n.At(k, 1, 1))) / float64(low)
			t += max(cmplx.Abs(n.At(k, 1, 0)), cmplx.Abs(n.At(k, 0, 1))) / float64(low)
		}
		switch {
		case sweep.ColumnsSwapped(n):
			g.Verdict, g.Means, g.Do = Bad, "S11 and S22 are as alike as S12 and S21 of a passive part, while these differ: the columns seem to be exchanged", "exchange the columns, or correct the file's order (11 21 12 22 in version 1)"
		case len(n.Frequency) >= 32 && n.Frequency[0] <= 0.1*n.Frequency[len(n.Frequency)-1] && r > 0.8 && t < 0.5:
			g.Verdict, g.Means, g.Do = Care, "at the low end nearly all comes back at both ports: an open line, a series capacitor, or reflections and transmissions in each other's place", "check the order of the columns and the contacts of the centre conductors"
		}
		j.add(g)
		return
	}
	partner, share := sweep.Partners(n)
	g := Finding{Finding: "ports", Verdict: Good}
	var pairs, odd []string
	for i, p := range partner {
		switch {
		case p < 0:
			odd = append(odd, fmt.Sprintf("port %d passes nothing", i+1))
		case partner[p] != i:
			odd = append(odd, fmt.Sprintf("port %d hears most of port %d, which hears most of port %d", i+1, p+1, partner[p]+1))
		case i < p:
			pairs = append(pairs, fmt.Sprintf("%d-%d", i+1, p+1))
		}
		if p >= 0 && share[i] < 0.5 && n.Ports > 2 {
			odd = append(odd, fmt.Sprintf("port %d gets less than half of what it hears from port %d", i+1, p+1))
		}
	}
	g.Means = "what passes, passes between ports " + strings.Join(pairs, ", ")
	g.Do = "compare with the port map: the format does not say which ports are two ends of one line, and both 1-2, 3-4 and 1-3, 2-4 are in use"
	if len(odd) > 0 {
		g.Verdict = Care
		if len(odd) > 4 {
			odd = append(odd[:4], "and more")
		}
		if len(pairs) == 0 {
			g.Means = "no two ports are each other's through path"
		}
		g.Means += "; " + strings.Join(odd, "; ")
	}
	// A path that is one at low frequencies and another at high ones.
	if half := len(n.Frequency) / 2; half >= 16 {
		lower, _ := sweep.Partners(part(n, 0, half))
		upper, _ := sweep.Partners(part(n, half, len(n.Frequency)))
		for i := range lower {
			if lower[i] != upper[i] && lower[i] >= 0 && upper[i] >= 0 && peak(part(n, half, len(n.Frequency)), i, upper[i]) >= audible {
				g.Verdict = Care
				g.Means += fmt.Sprintf("; port %d hears most of port %d in the lower half of the sweep and of port %d in the upper", i+1, lower[i]+1, upper[i]+1)
				break
			}
		}
	}
	j.add(g)
}

// part is the stretch of a sweep from point a to before point b.
func part(n network.Network, a, b int) network.Network {
	p := n.Ports * n.Ports
	return network.Network{Ports: n.Ports, Frequency: n.Frequency[a:b], Reference: n.Reference, S: n.S[a*p : b*p]}
}

func (j *judge) impedance(n network.Network) {
	paths := through(n)
	if len(paths) == 0 || len(n.Frequency) < 32 || len(n.Frequency) > mostPoints {
		return
	}
	a, b := paths[0][1], paths[0][0]
	tau := math.Abs(n.Delay(b, a))
	stop := n.Frequency[len(n.Frequency)-1]
	var z [2]float64
	how := "median of the impedance profile from either end"
	for i, p := range []int{a, b} {
		z[i] = math.NaN()
		if tau > 3/stop {
			z[i], _ = sweep.ApparentImpedance(n, p, tau)
		}
	}
	if !(z[0] > 0 && z[1] > 0) && n.Ports == 2 {
		x := sweep.ImageImpedance(n)
		z, how = [2]float64{x, x}, "image impedance"
	}
	if !(z[0] > 0 && z[1] > 0) {
		return
	}
	mean := math.Sqrt(z[0] * z[1])
	ref := j.doc.ReferenceOhm[a]
	g := Finding{Finding: "impedance", Verdict: Good, Figure: number(mean), Unit: "Ω", Of: how, Limits: "within 15 % of 50 Ω or of the reference at both ends", Means: "the lines behind the ports fit the stated reference"}
	near := func(z, of float64) bool { return math.Abs(math.Log(z/of)) <= 0.15 }
	both := func(of float64) bool { return near(z[0], of) && near(z[1], of) }
	if !both(50) && !both(ref) {
		g.Verdict = Care
		if near(z[0], z[1]) {
			g.Means = fmt.Sprintf("the line seems to have %.3g Ω throughout; either it has, or the data are referred to %.3g Ω while the file says %g Ω", mean, 50*ref/mean, ref)
			g.Do = "ask how the file was made: data renormalised without saying so make every reflection wrong"
		} else {
			g.Means = fmt.Sprintf("the two ends show %.3g and %.3g Ω", z[0], z[1])
			g.Do = "intended, as in a transformer? Then nothing; otherwise look for a port referred to another impedance than the file says"
		}
	}
	j.add(g)
}

func (j *judge) leastLoss(n network.Network, noise float64) {
	paths := through(n)
	if len(paths) == 0 || len(n.Frequency) < 32 {
		return
	}
	worst, at := math.Inf(1), math.NaN()
	var ports []int
	for _, p := range paths {
		if x, f := sweep.Shortfall(n, p[0], p[1]); x < worst {
			worst, at, ports = x, f, []int{p[0] + 1, p[1] + 1}
		}
	}
	allowance := 0.002 // Np, 0.02 dB: the drift of a calibrated analyser (common practice)
	if noise > 0 {
		allowance += noise
	}
	g := Finding{Finding: "least loss", Verdict: Good, Means: "more is lost than in the best line of this delay"}
	switch {
	case math.IsInf(worst, 0) || math.IsNaN(worst):
		return
	case worst < -allowance:
		g.Verdict, g.Figure, g.Unit, g.Of, g.AtHz, g.Ports = Care, number(-worst*units.DecibelsPerNeper), "dB", "loss missing against the widest single-mode line of smooth silver in vacuum", number(at), ports
		g.Means = "less is lost than any line of this delay can lose that carries one mode up to the end of the sweep: the loss of the calibration's thru or of a moved cable is in it, or the part is no such line (a waveguide, a cable above its mode limit, a computed lossless model)"
		g.Do = "measure a line of known loss; take the missing loss as the least error of this file"
	case worst < allowance:
		g.Means = "the loss is too small to be told from none"
	}
	j.add(g)
}

func (j *judge) dispersion(n network.Network, noise float64) {
	f := n.Frequency
	g := Finding{Finding: "dispersion relation", Limits: "largest violation beyond what the unknown rest of the spectrum and the noise allow: care above 0.5 %, bad above 5 %; a lead below about 1/f_max may hide"}
	if len(f) < 65 || len(f) > mostPoints || f[0] > f[len(f)-1]/20 || math.IsNaN(noise) {
		g.Verdict, g.Means, g.Do = NotAssessed, "it needs 65 evenly spaced frequencies from near 0 Hz on", "the initial metric above judges the turning sense alone"
		j.add(g)
		return
	}
	traces := through(n)
	for i := 0; i < n.Ports && len(traces) < mostTraces; i++ {
		traces = append(traces, [2]int{i, i})
	}
	worst, at := math.Inf(-1), math.NaN()
	for _, t := range traces {
		s, err := timedomain.Of(n, t[0], t[1], timedomain.DC{})
		if len(s.S) == 0 || err != nil && len(s.S) < 65 {
			continue
		}
		c, err := s.Causality(timedomain.CausalityOptions{Points: 12})
		if err != nil {
			continue
		}
		if e, x := c.Excess(); e > worst || math.IsNaN(e) {
			worst, at = e, x
			g.Ports = []int{t[0] + 1, t[1] + 1}
		}
	}
	if math.IsInf(worst, -1) {
		return
	}
	excess := worst - 6*max(noise, 0)
	g.Figure, g.Unit, g.Of = number(100*max(0, excess)), "%", "violation that is proved"
	switch {
	case !(excess > 0.005):
		g.Verdict, g.AtHz, g.Ports = Good, nil, nil
		g.Means = "real and imaginary parts belong together as those of a causal response do, as far as this sweep can tell"
	case excess <= 0.05:
		g.Verdict, g.AtHz = Care, number(at)
		g.Means, g.Do = "no causal response has this sweep in its band: planes moved into the part, a filter, a wrong value at the low end, or a loss given without its phase", "usable for a budget; not for a time-domain model"
	default:
		g.Verdict, g.AtHz = Bad, number(at)
		g.Means, g.Do = "an answer comes well before the question: planes moved too far, a fixture taken off that was not there, or a broken phase", "check de-embedding and port extensions, and measure again"
	}
	j.add(g)
}
