package cli

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/propose"
	"linewright/job/propose/search"
	"linewright/physics/network"
	"linewright/physics/units"
)

// lineWidth is how wide running text may get.
const lineWidth = 100

func newTable(out io.Writer, header ...any) table.Writer {
	t := table.NewWriter()
	t.SetOutputMirror(out)
	s := table.StyleDefault
	s.Options = table.Options{SeparateHeader: true}
	s.Box = table.BoxStyle{MiddleHorizontal: "-", PaddingLeft: "", PaddingRight: "  ", LeftSeparator: "", RightSeparator: "", MiddleSeparator: "-", MiddleVertical: ""}
	s.Format.Header = text.FormatDefault
	t.SetStyle(s)
	if len(header) > 0 {
		t.AppendHeader(table.Row(header))
	}
	return t
}

// numbers aligns the columns of these numbers, from 1, to the right.
func numbers(t table.Writer, columns ...int) {
	var cs []table.ColumnConfig
	for _, n := range columns {
		cs = append(cs, table.ColumnConfig{Number: n, Align: text.AlignRight, AlignHeader: text.AlignRight})
	}
	t.SetColumnConfigs(cs)
}

// paragraph writes text wrapped to lineWidth behind a prefix.
func paragraph(out io.Writer, prefix, body string) {
	indent := strings.Repeat(" ", min(len([]rune(prefix)), 6))
	line := prefix
	width := len([]rune(prefix))
	empty := true
	for _, word := range strings.Fields(body) {
		n := len([]rune(word))
		if !empty && width+1+n > lineWidth {
			fmt.Fprintln(out, line)
			line, width, empty = indent, len(indent), true
		}
		if !empty {
			line += " "
			width++
		}
		line += word
		width += n
		empty = false
	}
	fmt.Fprintln(out, line)
}

func heading(out io.Writer, format string, args ...any) {
	fmt.Fprintf(out, "\n"+format+"\n", args...)
}

func value(x float64, unit string) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "?"
	}
	if x == 0 {
		x = 0 // no sign
	}
	s := fmt.Sprintf("%.4g", x)
	switch unit {
	case "dB":
		s = fmt.Sprintf("%.2f", x)
	case "":
		s = fmt.Sprintf("%.3g", x)
	}
	if unit != "" {
		s += " " + unit
	}
	return s
}

// printAnswer writes an answer for people.
func printAnswer(out io.Writer, a propose.Answer) {
	e := a.Enquiry
	title := e.ID
	if e.Title != "" {
		title = e.Title
	}
	fmt.Fprintln(out, title)
	if e.Customer != "" {
		fmt.Fprintf(out, "for %s\n", e.Customer)
	}
	var bands []string
	for _, b := range e.Band {
		bands = append(bands, fmt.Sprintf("%v to %v", b.From, b.To))
	}
	if a.Outcome == propose.Ask {
		paragraph(out, "", strings.Join(bands, ", "))
	} else {
		paragraph(out, "", strings.Join(bands, ", ")+fmt.Sprintf("; %s chains whose parts mate were compared exactly at %v and %v", search.Count(a.Considered), a.At, a.Temperature))
	}
	paragraph(out, strings.ToUpper(string(a.Outcome))+": ", a.Why)
	if a.Covered {
		paragraph(out, "", fmt.Sprintf("%d chains are beaten by no other; one is shown for each box of %s", a.FrontSize, a.Cover))
	}
	if len(a.Contradictions) > 0 {
		heading(out, "The enquiry contradicts itself")
		for _, c := range a.Contradictions {
			paragraph(out, "  - ", fmt.Sprintf("%s (%s): %s", c.Text, strings.Join(c.Fields, ", "), c.Help))
		}
	}
	if len(a.Proposals) > 0 {
		heading(out, "Proposals")
		t := newTable(out, "", "chain", "verdict", "loss dB", "return loss dB worst", "RSS", "price", "mass g", "breaks first on")
		numbers(t, 1, 4, 5, 6, 7, 8)
		for _, p := range a.Proposals {
			proposalRow(t, p)
		}
		t.Render()
		printReport(out, e, a.Proposals[0].Built, a.Proposals[0].Report)
	}
	if len(a.Misses) > 0 {
		heading(out, "Nearest misses")
		t := newTable(out, "", "chain", "verdict", "loss dB", "return loss dB worst", "RSS", "price", "mass g", "breaks first on")
		numbers(t, 1, 4, 5, 6, 7, 8)
		for _, m := range a.Misses {
			proposalRow(t, m.Proposal)
		}
		t.Render()
		for _, m := range a.Misses {
			for _, b := range m.Broken {
				paragraph(out, fmt.Sprintf("  %d. ", m.Rank), b)
			}
		}
		if len(a.Proposals) == 0 {
			printReport(out, e, a.Misses[0].Built, a.Misses[0].Report)
		}
	}
	if len(a.Gaps) > 0 {
		heading(out, "What the catalogue lacks")
		for _, g := range a.Gaps {
			paragraph(out, "  - ", fmt.Sprintf("%s: %s asked, %s at best (%s). Needs %s.", g.Axis, g.Asked, g.Best, g.Cause, g.Needs))
		}
	}
	if len(a.Questions) > 0 {
		heading(out, "Open questions")
		for _, q := range a.Questions {
			paragraph(out, "  ? ", fmt.Sprintf("%s [%s] %s", q.Text, q.Field, q.Changes))
		}
	}
	if len(a.Refused) > 0 {
		heading(out, "Dropped before the search")
		for _, r := range a.Refused {
			paragraph(out, "  - ", fmt.Sprintf("%s, %s: %s", r.Slot, r.Reason, listed(r.Parts, 12)))
		}
	}
	if len(a.Cautions) > 0 {
		heading(out, "Cautions")
		for _, c := range a.Cautions {
			paragraph(out, "  ! ", string(c))
		}
	}
}

// listed names the first few of a list and counts the rest.
func listed(xs []string, most int) string {
	if len(xs) <= most {
		return strings.Join(xs, " ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(xs[:most], " "), len(xs)-most)
}

func proposalRow(t table.Writer, p propose.Proposal) {
	pr := p.Report.Prediction
	top := len(pr.Frequency) - 1
	price, mass := "?", "?"
	if sum, unknown, err := p.Built.Price(); err == nil && len(unknown) == 0 {
		price = sum.String()
	}
	if m, unknown := p.Built.Mass(); len(unknown) == 0 {
		mass = fmt.Sprintf("%.1f", units.In(m, "g"))
	}
	binding := ""
	if m, ok := p.Report.Binding(); ok {
		binding = m.Limit
	}
	t.AppendRow(table.Row{p.Rank, p.Spec.Name, p.Report.Verdict(), fmt.Sprintf("%.3f", pr.Loss[top]), fmt.Sprintf("%.1f", network.ReturnLoss(pr.Left.Worst[top])),
		fmt.Sprintf("%.1f", network.ReturnLoss(pr.Left.RSS[top])), price, mass, binding})
}

// printReport writes one chain's ledger, margins and notes.
func printReport(out io.Writer, e enquiry.Enquiry, b chain.Built, r assess.Report) {
	p := r.Prediction
	top := len(p.Frequency) - 1
	heading(out, "Ledger of %s at %v and %v", b.Name, units.Frequency(p.Frequency[top]), p.Conditions.Temperature)
	t := newTable(out, "", "part", "loss dB", "of it", "return loss dB", "delay ps", "mode-free GHz", "price", "how it is known")
	numbers(t, 3, 5, 6, 7, 8)
	first := map[int]string{}
	for _, f := range p.Firsts {
		first[f.Element] = strings.TrimPrefix(first[f.Element]+", "+f.Axis, ", ")
	}
	for k, row := range p.Rows {
		rl, delay, mode, price := "", "?", "", ""
		if rho := math.Max(row.Left[top], row.Right[top]); rho > 0 {
			rl = fmt.Sprintf("%.1f", network.ReturnLoss(rho))
		} else if !row.Reflecting {
			rl = "?"
		}
		if !math.IsNaN(row.Delay) {
			delay = fmt.Sprintf("%.1f", row.Delay*1e12)
		}
		low := math.Inf(1)
		for _, s := range row.CrossSections {
			low = math.Min(low, float64(s.ModeFree))
		}
		if !math.IsInf(low, 1) {
			mode = fmt.Sprintf("%.1f", low/1e9)
		}
		if row.Price != nil && row.Price.Micros != 0 {
			price = row.Price.String()
		}
		loss := fmt.Sprintf("%.3f", row.Response.Loss[top])
		if !row.Lossy {
			loss = "?"
		}
		t.AppendRow(table.Row{row.Name, row.Part, loss, bar(row.Response.Loss[top], p.Loss[top]), rl, delay, mode, price, row.Step})
		_ = k
	}
	t.AppendSeparator()
	mode := ""
	if p.ModeFree.Element >= 0 {
		mode = fmt.Sprintf("%.1f", units.In(p.ModeFree.CrossSection.ModeFree, "GHz"))
	}
	total := "?"
	if sum, unknown, err := b.Price(); err == nil && len(unknown) == 0 {
		total = sum.String()
	}
	t.AppendRow(table.Row{"sum", "", fmt.Sprintf("%.3f", p.Loss[top]), "", fmt.Sprintf("worst %.1f", network.ReturnLoss(p.Left.Worst[top])), fmt.Sprintf("%.1f", p.Delay*1e12), mode, total, ""})
	t.Render()
	for _, f := range p.Firsts {
		paragraph(out, fmt.Sprintf("  first on %s: ", f.Axis), p.Rows[f.Element].Name+", "+f.Value)
	}
	rs := p.Left
	line := fmt.Sprintf("return loss at the input: worst %.1f dB, RSS %.1f dB (no bound), lossless parts at their unluckiest %.1f dB", network.ReturnLoss(rs.Worst[top]), network.ReturnLoss(rs.RSS[top]), network.ReturnLoss(rs.Exact[top]))
	if rs.Worst[rs.AtWorst] > rs.Worst[top]*1.01 {
		line += fmt.Sprintf("; worst of the band %.1f dB at %v", network.ReturnLoss(rs.Worst[rs.AtWorst]), units.Frequency(p.Frequency[rs.AtWorst]))
	}
	if rs.Swept != nil {
		line += fmt.Sprintf("; swept over the band, 95 %% of %d draws stay better than %.1f dB", len(rs.Swept.Draws), network.ReturnLoss(rs.Swept.Value))
	}
	paragraph(out, "  ", line)
	if len(r.States) > 1 {
		var parts []string
		for _, s := range r.States {
			parts = append(parts, fmt.Sprintf("%.3f dB at %v", s.Loss[top], s.Conditions.Temperature))
		}
		paragraph(out, "  ", "loss at "+units.Frequency(p.Frequency[top]).String()+": "+strings.Join(parts, ", "))
	}

	heading(out, "Margins")
	t = newTable(out, "limit", "verdict", "worst", "limit", "margin", "at", "binds", "")
	numbers(t, 3, 4, 5, 6)
	for _, m := range r.Margins {
		at := ""
		if m.At > 0 {
			at = m.At.String()
		}
		name := m.Limit
		if m.Wish {
			name += " (wish)"
		}
		t.AppendRow(table.Row{name, m.Verdict, value(m.Worst, m.Unit), value(m.LimitValue, m.Unit), value(m.Margin, m.Unit), at, m.Element, ""})
	}
	t.Render()
	said := map[string]bool{}
	for _, m := range r.Margins {
		if m.Verdict != assess.Meets && m.Why != "" && !said[m.Why] {
			said[m.Why] = true
			paragraph(out, "  "+m.Limit+": ", m.Why)
		}
	}
	if len(r.Ways) > 0 {
		heading(out, "Ways out")
		for _, w := range r.Ways {
			paragraph(out, "  > ", w.Title+": "+w.Effect)
		}
	}
	printLaunch(out, r.LaunchNotes)
	if len(r.Notes) > 0 {
		heading(out, "What the numbers rest on")
		for _, n := range r.Notes {
			paragraph(out, "  - ", n)
		}
	}
}

// printLaunch writes the launch checks: those that found something in full,
// those that lack a figure in one line.
func printLaunch(out io.Writer, findings []assess.LaunchFinding) {
	if len(findings) == 0 {
		return
	}
	heading(out, "Launch checks")
	var silent []string
	for _, f := range findings {
		if f.Verdict == launch.NotAssessed {
			silent = append(silent, f.Title+" ("+f.Rule+")")
			continue
		}
		text := f.Text
		if f.Verdict != launch.OK && f.Help != "" {
			text += "; " + f.Help
		}
		paragraph(out, fmt.Sprintf("  %-9s ", f.Verdict), fmt.Sprintf("%s, %s (%s): %s", f.Rule, f.Title, f.End, text))
		for _, redo := range f.Redo {
			paragraph(out, "      - ", "to be done again: "+redo.Parameter+": "+redo.Because)
		}
	}
	if len(silent) > 0 {
		paragraph(out, "  open      ", "for want of a figure: "+strings.Join(silent, ", "))
	}
}

// bar draws a share as a bar of ten.
func bar(x, whole float64) string {
	if !(whole > 0) {
		return ""
	}
	n := int(math.Round(10 * x / whole))
	return strings.Repeat("#", min(max(n, 0), 10))
}
