package assess

import (
	"fmt"
	"math"
	"strings"

	"linewright/hardware/chain"
	"linewright/job/enquiry"
	"linewright/physics/noise"
	"linewright/physics/units"
)

// NoiseReport is what the chain's loss does to a receiver behind it. A matched
// loss L at the physical temperature T has the noise temperature
//
//	Te = (L − 1)·T
//
// at its input ([pozar2012] §10.2), and the stage that follows counts L times.
type NoiseReport struct {
	States []NoiseState // at the coldest, room and hottest temperatures
	Worst  NoiseState   // the hottest
}

// NoiseState is the noise at one temperature, at the frequency of the band
// where it is greatest.
type NoiseState struct {
	Temperature units.Temperature // physical, of the whole chain
	At          units.Frequency
	Loss        units.Level
	Chain       units.Difference // noise temperature of the chain alone, K
	Figure      units.Level      // noise figure of the chain alone, against 290 K
	// Total is the noise temperature of chain and next stage at the chain's
	// input, and Added what the chain adds to the next stage's noise figure;
	// NaN when the next stage is unknown.
	Total units.Difference
	Added units.Level
}

// noises judges the noise temperature at the chain's input. It speaks when the
// enquiry states noise, or when the line is a receiver's.
func (j *judge) noises() error {
	n := j.e.Noise
	if n == nil && !strings.Contains(strings.ToLower(j.e.Application.Function), "receive") {
		return nil
	}
	r := &NoiseReport{}
	j.Noise = r
	cold, hot, _ := Temperatures(j.e)
	for _, t := range states(cold, hot) {
		p, err := j.at(t)
		if err != nil {
			return err
		}
		r.States = append(r.States, j.noiseState(p))
	}
	r.Worst = r.States[len(r.States)-1]
	if n == nil || n.AtMost == nil {
		j.ask(enquiry.Question{Field: "noise.at_most", Text: "Which noise temperature or figure may chain and first stage have together, and at which plane?",
			Changes: fmt.Sprintf("the chain alone is %s K at %v; loss ahead of the first amplifier adds at least dB for dB at 290 K, and more when hotter", figure(float64(r.Worst.Chain)), r.Worst.Temperature)})
	}
	if n == nil || n.NextStage == nil {
		j.ask(enquiry.Question{Field: "noise.next_stage", Text: "Which noise temperature has the stage that follows the chain?", Changes: fmt.Sprintf("it counts %.3g times, the chain's loss", lossRatio(r.Worst.Loss))})
	}
	if rj := noise.RayleighJeans(float64(r.Worst.At), float64(cold)); rj < 0.98 {
		j.noteOnce("noise: at %v and %v a matched body radiates %.1f %% less than k·T: the temperatures are those of the long-wave law", r.Worst.At, cold, 100*(1-rj))
	}
	j.noteOnce("noise: dissipation alone is counted, all of the chain at one temperature; mismatch, up to %s dB, and hot spots come on top", figure(maximum(j.Prediction.Mismatch)))
	if n != nil && n.AtMost != nil {
		j.noiseMargin(r, *n)
	}
	return nil
}

func lossRatio(l units.Level) float64 { return math.Pow(10, float64(l)/10) }

func maximum(xs []float64) float64 {
	m := math.Inf(-1)
	for _, x := range xs {
		m = math.Max(m, x)
	}
	return m
}

// noiseState returns the greatest noise in the band.
func (j *judge) noiseState(p chain.Prediction) NoiseState {
	at := -1
	for i, f := range p.Frequency {
		if inBand(j.e, f) && (at < 0 || p.Loss[i] > p.Loss[at]) {
			at = i
		}
	}
	at = max(at, 0)
	t := float64(p.Conditions.Temperature)
	passive := noise.Passive(1/lossRatio(units.Level(p.Loss[at])), t)
	s := NoiseState{Temperature: p.Conditions.Temperature, At: units.Frequency(p.Frequency[at]), Loss: units.Level(p.Loss[at]), Chain: units.Difference(passive.Temperature),
		Figure: units.Level(10 * math.Log10(passive.Figure())), Total: units.Difference(math.NaN()), Added: units.Level(math.NaN())}
	if n := j.e.Noise; n != nil && n.NextStage != nil {
		next := noise.Stage{Gain: 1, Temperature: float64(*n.NextStage)}
		both := noise.Cascade(passive, next)
		s.Total = units.Difference(both.Temperature)
		s.Added = units.Level(10 * math.Log10(both.Figure()/next.Figure()))
	}
	return s
}

// noiseMargin judges the limit at the hottest temperature.
func (j *judge) noiseMargin(r *NoiseReport, n enquiry.Noise) {
	w := r.Worst
	limit := float64(*n.AtMost)
	m := Margin{Limit: "noise temperature", Unit: "K", LimitValue: limit, Likely: math.NaN(), At: w.At, Source: "(L − 1)·T and the cascade of stages",
		Conditions: []Condition{{"physical temperature", w.Temperature.String()}, {"plane", "input of the chain"}, {"loss", w.Loss.String()}}}
	if n.NextStage == nil {
		m.Worst, m.Margin = float64(w.Chain), limit-float64(w.Chain)
		m.Why = fmt.Sprintf("the chain alone makes %s K; the stage that follows is not stated and comes on top %.3g times", figure(m.Worst), lossRatio(w.Loss))
		m.Verdict = NotAssessed
		if m.Margin < 0 {
			m.Verdict = Fails
		}
	} else {
		m.Worst, m.Margin = float64(w.Total), limit-float64(w.Total)
		m.Why = fmt.Sprintf("the chain makes %s K and the next stage, %s K, counts %.3g times", figure(float64(w.Chain)), figure(float64(*n.NextStage)), lossRatio(w.Loss))
		typical := false
		for _, row := range j.Prediction.Rows {
			typical = typical || row.Typical
		}
		m.Verdict = verdict(m.Margin, m.Margin, typical)
		weak := vouches{}
		for _, row := range j.Prediction.Rows {
			weak.loss(row)
		}
		weak.weaken(&m)
	}
	var missing []string
	most := -1
	for k, row := range j.Prediction.Rows {
		if !row.Lossy {
			missing = append(missing, row.Name)
		}
		last := len(row.Response.Loss) - 1
		if most < 0 || row.Response.Loss[last] > j.Prediction.Rows[most].Response.Loss[last] {
			most = k
		}
	}
	m.Element = j.Prediction.Rows[most].Name
	if len(missing) > 0 {
		if m.Verdict != Fails {
			m.Verdict = NotAssessed
		}
		m.Why += fmt.Sprintf("; no figure for the loss of %s", join(missing))
	}
	j.Margins = append(j.Margins, m)
	if m.Margin >= 0 {
		return
	}
	j.noiseWays(w, n, limit)
}

// noiseWays works out what puts the noise right: an amplifier ahead of the
// chain, or less of it.
func (j *judge) noiseWays(w NoiseState, n enquiry.Noise, limit float64) {
	next := 0.0
	if n.NextStage != nil {
		next = float64(*n.NextStage)
		// The chain behind an amplifier of gain G counts 1/G; 20 dB is an example.
		after := noise.Cascade(noise.Stage{Gain: 100, Temperature: next}, noise.Stage{Gain: 1 / lossRatio(w.Loss), Temperature: float64(w.Chain)})
		j.Ways = append(j.Ways, Option{Title: "place the first amplifier at the port, ahead of the chain",
			Effect: fmt.Sprintf("%s K instead of %s K, with the next stage's %s K and 20 dB of gain ahead of the chain at %v", figure(after.Temperature), figure(float64(w.Total)), figure(next), w.Temperature)})
	} else {
		j.Ways = append(j.Ways, Option{Title: "place the first amplifier at the port, ahead of the chain", Effect: fmt.Sprintf("takes the chain's %s K out, over the amplifier's gain", figure(float64(w.Chain)))})
	}
	// (L − 1)·T + L·Tn ≤ A gives L ≤ (A + T)/(T + Tn).
	t := float64(w.Temperature)
	allowed := 10 * math.Log10((limit+t)/(t+next))
	g := Gap{Axis: "noise temperature", Asked: fmt.Sprintf("%s K", figure(limit)), Best: fmt.Sprintf("%s K", figure(max(float64(w.Chain), finite(float64(w.Total))))), Cause: NotYetBuilt,
		Needs: fmt.Sprintf("at most %.2f dB of loss ahead of the next stage", allowed)}
	if allowed <= 0 {
		g.Cause, g.Needs = Physics, "a quieter next stage: it exceeds the limit without any chain"
	}
	j.Gaps = append(j.Gaps, g)
	if allowed <= 0 {
		return
	}
	p := j.Prediction
	for i, f := range p.Frequency {
		if units.Frequency(f) != w.At {
			continue
		}
		for k, el := range j.s.Chain.Elements {
			c, ok := chain.CableOf(el)
			if !ok || p.Rows[k].Response.Loss[i] <= 0 {
				continue
			}
			perMetre := p.Rows[k].Response.Loss[i] / float64(c.Length)
			if shorter := float64(c.Length) - (float64(w.Loss)-allowed)/perMetre; shorter > 0 {
				j.Ways = append(j.Ways, Option{Title: fmt.Sprintf("shorten the cable to %.0f mm", math.Floor(shorter*1e3)),
					Effect: fmt.Sprintf("brings the loss to %.2f dB and the noise temperature to %s K at %v and %v", allowed, figure(limit), w.At, w.Temperature)})
			}
		}
	}
}

func finite(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}
