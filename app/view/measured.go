package view

import (
	"context"
	"io"
	"math"
	"math/cmplx"

	"linewright/app/workspace"
	"linewright/job/enquiry"
	"linewright/physics/network"
	"linewright/physics/touchstone"
)

// Trace is one scattering parameter over frequency, made smaller for a picture:
// each bin keeps its least and greatest value, so that no spike is lost.
type Trace struct {
	Name  string     `json:"name"` // "S21"
	To    int        `json:"to"`   // port, from 1
	From  int        `json:"from"`
	MinDB []*float64 `json:"min_db"` // of each bin
	MaxDB []*float64 `json:"max_db"`
}

// Traces share their bins.
type Traces struct {
	FrequencyHz [][2]float64 `json:"frequency_hz"` // first and last of each bin
	Points      int          `json:"points"`       // in the file
	Traces      []Trace      `json:"traces"`
	LeftOut     string       `json:"left_out"` // which parameters are not shown
}

// Limits of a picture.
const (
	mostBins  = 1000
	mostPorts = 4 // of files with more, the first ones are shown
)

// Judged is a measured sample against one limit.
type Judged struct {
	Limit
	Verdict  string   `json:"verdict"` // "meets", "fails", "not assessed"
	Why      string   `json:"why"`
	Worst    *float64 `json:"worst"` // where the margin is least
	Level    *float64 `json:"limit_value"`
	MarginDB *float64 `json:"margin"`
	AtHz     *float64 `json:"at_hz"`
	Trace    string   `json:"trace"`
}

// Sample is a measured file as a picture, with the worst of it against limits.
type Sample struct {
	Traces Traces   `json:"trace"`
	Limits []Judged `json:"limits"`
}

// levelAt is a limit's level at frequency f, and whether it holds there.
func (l Limit) levelAt(f float64) (float64, bool) {
	tolerance := 1e-9 * f
	for i := 1; i < len(l.Points); i++ {
		a, b := l.Points[i-1], l.Points[i]
		if f < a[0]-tolerance || f > b[0]+tolerance {
			continue
		}
		if b[0] == a[0] {
			return b[1], true
		}
		return a[1] + (b[1]-a[1])*min(max((f-a[0])/(b[0]-a[0]), 0), 1), true
	}
	return 0, false
}

// NewSample reads a file, whose points were counted before, point by point.
// limits may be empty.
func NewSample(ctx context.Context, r io.Reader, name string, points int, limits []Limit, covers func(from, to float64) string) (Sample, error) {
	s := Sample{Traces: Traces{FrequencyHz: [][2]float64{}, Points: points, Traces: []Trace{}}, Limits: []Judged{}}
	in := touchstone.NewScanner(r, name, touchstone.ReadOptions{})
	bins := min(max(points, 1), mostBins)
	var first, last float64
	var f0 []float64
	var m0 []complex128
	ports, n := 0, 0
	var low, high [][]float64 // [trace][bin]
	for _, l := range limits {
		s.Limits = append(s.Limits, Judged{Limit: l, Verdict: "not assessed", Why: "no point of the file lies in its range"})
	}
	best := make([]float64, len(limits))
	for i := range best {
		best[i] = math.Inf(1)
	}
	for in.Scan() {
		if n%1024 == 0 && ctx.Err() != nil {
			return s, ctx.Err()
		}
		f, m := in.Point()
		l := in.Layout()
		if n == 0 {
			ports, first = l.Ports, f
			shown := min(ports, mostPorts)
			for i := range shown {
				for j := range shown {
					s.Traces.Traces = append(s.Traces.Traces, Trace{Name: traceName(i, j), To: i + 1, From: j + 1})
					low, high = append(low, fill(bins, math.Inf(1))), append(high, fill(bins, math.Inf(-1)))
				}
			}
			s.Traces.FrequencyHz = make([][2]float64, bins)
			if ports > shown {
				s.Traces.LeftOut = "ports beyond the fourth are not drawn"
			}
		}
		f0, m0 = append(f0[:0], f), append(m0[:0], m...)
		file := touchstone.File{Name: name, Layout: l, Frequency: f0, Data: m0}
		net, err := file.Network()
		if err != nil {
			return s, workspace.Fault{File: name, Err: err, Problem: "its data give no scattering parameters: " + err.Error(), Help: "export S-parameters"}
		}
		bin := min(n*bins/max(points, 1), bins-1)
		if s.Traces.FrequencyHz[bin][0] == 0 && s.Traces.FrequencyHz[bin][1] == 0 {
			s.Traces.FrequencyHz[bin][0] = f
		}
		s.Traces.FrequencyHz[bin][1] = f
		for k := range s.Traces.Traces {
			t := s.Traces.Traces[k]
			db := 20 * math.Log10(cmplx.Abs(net.At(0, t.To-1, t.From-1)))
			low[k][bin], high[k][bin] = math.Min(low[k][bin], db), math.Max(high[k][bin], db)
		}
		s.judge(net, f, best)
		last = f
		n++
	}
	if err := in.Err(); err != nil {
		return s, workspace.ReadFaults(name, err)
	}
	for k := range s.Traces.Traces {
		s.Traces.Traces[k].MinDB, s.Traces.Traces[k].MaxDB = numbers(low[k]), numbers(high[k])
	}
	if covers != nil && n > 0 {
		if gap := covers(first, last); gap != "" {
			for i := range s.Limits {
				if j := &s.Limits[i]; j.Verdict == "meets" {
					j.Verdict, j.Why = "not assessed", gap
				}
			}
		}
	}
	return s, nil
}

// judge tries one point against the limits of the whole chain.
func (s *Sample) judge(n network.Network, f float64, best []float64) {
	for i := range s.Limits {
		j := &s.Limits[i]
		if j.Of != string(enquiry.OfChain) && j.Of != string(enquiry.OfAssembly) {
			j.Why = "it judges the " + j.Of + ", which the file does not show by itself"
			continue
		}
		if n.Ports != 2 {
			j.Why = "a chain is a two-port"
			continue
		}
		level, ok := j.levelAt(f)
		if !ok {
			continue
		}
		try := func(to, from int) {
			db := -20 * math.Log10(cmplx.Abs(n.At(0, to, from)))
			margin := db - level
			if j.Above {
				margin = level - db
			}
			if math.IsNaN(margin) || !(margin < best[i]) {
				return
			}
			best[i] = margin
			j.Worst, j.Level, j.MarginDB, j.AtHz, j.Trace = number(db), number(level), number(margin), number(f), traceName(to, from)
		}
		switch j.Quantity {
		case "insertion_loss":
			try(1, 0)
			try(0, 1)
		case "return_loss":
			try(0, 0)
			try(1, 1)
		}
		j.Verdict, j.Why = "meets", ""
		if best[i] < 0 {
			j.Verdict = "fails"
		}
	}
}

// Covers says what of a limit's range a file leaves out; empty: nothing.
func Covers(e enquiry.Enquiry) func(from, to float64) string {
	return func(from, to float64) string {
		for _, b := range e.Band {
			if from > float64(b.From)*(1+1e-9) || to < float64(b.To)*(1-1e-9) {
				return "the file does not cover the band from " + b.From.String() + " to " + b.To.String() + "; what it covers lies inside"
			}
		}
		return ""
	}
}

// LimitsOver are the limits within a grid of frequencies.
func LimitsOver(e enquiry.Enquiry, grid []float64) []Limit {
	if len(grid) == 0 {
		return []Limit{}
	}
	return limits(e, grid[0], grid[len(grid)-1])
}

func traceName(to, from int) string {
	return "S" + string(rune('1'+to)) + string(rune('1'+from))
}

func fill(n int, x float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = x
	}
	return out
}
