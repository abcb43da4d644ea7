package web

import (
	"fmt"
	"path/filepath"

	"linewright/job/enquiry"
	"linewright/physics/units"
)

func absolute(dir string) string {
	if abs, err := filepath.Abs(dir); err == nil {
		return abs
	}
	return dir
}

func bandsOf(e enquiry.Enquiry) []band {
	out := []band{}
	for _, b := range e.Band {
		out = append(out, band{float64(b.From), float64(b.To)})
	}
	return out
}

// limitsOf puts the limits of an enquiry into words.
func limitsOf(e enquiry.Enquiry) []limitRow {
	out := []limitRow{}
	where := func(of enquiry.Of, from, to *units.Frequency) string {
		text := ""
		if of != "" && of != enquiry.OfChain {
			text = " of the " + string(of)
		}
		switch {
		case from != nil && to != nil && *from == *to:
			text += fmt.Sprintf(" at %v", *from)
		case from != nil && to != nil:
			text += fmt.Sprintf(" from %v to %v", *from, *to)
		case from != nil:
			text += fmt.Sprintf(" from %v", *from)
		case to != nil:
			text += fmt.Sprintf(" to %v", *to)
		}
		return text
	}
	add := func(name, word string, level *units.Level, mask []enquiry.MaskPoint, tail string, wish bool) {
		r := limitRow{Name: name, Wish: wish}
		switch {
		case level != nil:
			x := float64(*level)
			r.LevelDB, r.Text = &x, fmt.Sprintf("%s %v%s", word, *level, tail)
		case len(mask) > 0:
			a, z := mask[0], mask[len(mask)-1]
			r.Text = fmt.Sprintf("%s a mask from %v at %v to %v at %v%s", word, a.Level, a.At, z.Level, z.At, tail)
		default:
			return
		}
		out = append(out, r)
	}
	l := e.Limits
	for _, x := range l.InsertionLoss {
		add("insertion loss", "at most", x.AtMost, x.Mask, where(x.Of, x.From, x.To), x.Wish)
	}
	for _, x := range l.ReturnLoss {
		add("return loss", "at least", x.AtLeast, x.Mask, where(x.Of, x.From, x.To), x.Wish)
	}
	for _, x := range l.VSWR {
		out = append(out, limitRow{Name: "VSWR", Text: fmt.Sprintf("at most %g%s", x.AtMost, where(x.Of, x.From, x.To)), Wish: x.Wish})
	}
	for _, x := range l.Isolation {
		add("isolation", "at least", &x.AtLeast, nil, where("", x.From, x.To), x.Wish)
	}
	for _, x := range l.Ripple {
		tail := ""
		if x.Window != nil {
			tail = fmt.Sprintf(" in any %v", *x.Window)
		}
		add("ripple", "at most", &x.AtMost, nil, tail, x.Wish)
	}
	if l.Mass != nil {
		out = append(out, limitRow{Name: "mass", Text: fmt.Sprintf("at most %v a line", *l.Mass)})
	}
	if l.Price != nil {
		out = append(out, limitRow{Name: "price", Text: fmt.Sprintf("at most %v a line", *l.Price)})
	}
	if m := e.Match; m != nil {
		text := string(m.Kind)
		if m.Delay != nil {
			text += fmt.Sprintf(", ±%v", *m.Delay)
		}
		if m.Phase != nil {
			text += fmt.Sprintf(", ±%v", *m.Phase)
		}
		if m.Length != nil {
			text += fmt.Sprintf(", ±%v", *m.Length)
		}
		out = append(out, limitRow{Name: "match", Text: text})
	}
	if f := e.Field; f != nil && f.Pitch != nil {
		out = append(out, limitRow{Name: "pitch", Text: fmt.Sprintf("at most %v", *f.Pitch)})
	}
	return out
}
