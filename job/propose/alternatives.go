package propose

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sort"
	"sync"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/job/assess"
	"linewright/job/enquiry"
)

// Alternatives are the parts that could stand in the place of one piece of a
// chain.
type Alternatives struct {
	Piece   int    // of the chain's spec, from 0
	Part    string // that stands there now
	Kind    string // "cable", "cable connector" ...
	Now     Alternative
	Options []Alternative // of the same kind, Part among them: those that fit first, best verdict first, then least loss
}

// Alternative is the chain with one part in a piece's place. Refused says why
// that part cannot stand there; nothing was then predicted.
type Alternative struct {
	Part    part.Common
	Built   chain.Built
	Report  assess.Report
	Refused []string
}

// AlternativesOptions steer the search; the zero value is sensible.
type AlternativesOptions struct {
	Points  int            // of the frequency grid; 0: 9, and no random phases are drawn
	Layouts launch.Layouts // stackups and launches that the enquiry may name
	Workers int            // 0: one per processor
}

// FindAlternatives judges every part of the kind that stands at a piece in its
// place, all else left as it is. It is an enumeration: each part is either
// refused, with every reason, or judged as any chain is.
func FindAlternatives(ctx context.Context, e enquiry.Enquiry, cat catalogue.Catalogue, spec chain.Spec, piece int, o AlternativesOptions) (Alternatives, error) {
	out := Alternatives{Piece: piece}
	if piece < 0 || piece >= len(spec.Pieces) {
		return out, fmt.Errorf("the chain has no piece %d; it has %d, counted from 0", piece, len(spec.Pieces))
	}
	out.Part = spec.Pieces[piece].Part
	kind, list := sameKind(cat, out.Part)
	if kind == "" {
		return out, fmt.Errorf("piece %d is no part of the catalogue; choose a cable or a connector", piece)
	}
	out.Kind = kind
	if o.Points == 0 {
		o.Points = 9
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	a := exchange{ctx: ctx, e: e, cat: cat, few: only(cat, spec), layouts: o.Layouts, spec: spec, piece: piece, o: assess.Options{Points: o.Points, Draws: -1}}
	if grid := assess.Grid(e, 2); len(grid) > 0 {
		a.top = grid[len(grid)-1]
	}
	for _, c := range list {
		if c.ID == out.Part {
			out.Now.Part = c.Common
		}
	}
	var err error
	if out.Now.Built, err = chain.Build(spec, cat); err != nil {
		return out, err
	}
	if out.Now.Report, err = a.judge(out.Now.Built); err != nil {
		return out, err
	}
	out.Options = make([]Alternative, len(list))
	var wg sync.WaitGroup
	for w := range min(o.Workers, len(list)) {
		wg.Go(func() {
			for i := w; i < len(list) && ctx.Err() == nil; i += o.Workers {
				out.Options[i] = a.try(list[i])
			}
		})
	}
	wg.Wait()
	if ctx.Err() != nil {
		return out, ctx.Err()
	}
	sort.SliceStable(out.Options, func(i, k int) bool { return out.Options[i].before(out.Options[k]) })
	return out, nil
}

// exchange holds what stays the same from part to part.
type exchange struct {
	ctx     context.Context
	e       enquiry.Enquiry
	cat     catalogue.Catalogue
	few     catalogue.Catalogue // the parts that the chain names
	layouts launch.Layouts
	spec    chain.Spec
	piece   int
	top     float64 // of the band, Hz; 0: none is stated
	o       assess.Options
}

func (x exchange) judge(b chain.Built) (assess.Report, error) {
	return assess.Assess(x.ctx, x.e, assess.Subject{Built: b, Catalogue: x.cat, Layouts: x.layouts}, x.o)
}

func (x exchange) try(c substitute) Alternative {
	out := Alternative{Part: c.Common}
	s, cat := x.spec, x.few
	s.Pieces = slices.Clone(x.spec.Pieces)
	s.Pieces[x.piece].Part = c.ID
	c.enter(&cat)
	if f := c.RatedFrequency; f != nil && float64(*f) < x.top*(1-1e-9) {
		out.Refused = append(out.Refused, fmt.Sprintf("rated to %v", *f))
	}
	out.Refused = append(out.Refused, notMadeFor(cat, s)...)
	b, err := chain.Build(s, cat)
	if err != nil {
		out.Refused = append(out.Refused, err.Error())
		return out
	}
	out.Refused = append(out.Refused, doNotMate(b)...)
	if len(out.Refused) > 0 {
		return out
	}
	out.Built = b
	if out.Report, err = x.judge(b); err != nil {
		out.Refused = append(out.Refused, err.Error())
	}
	return out
}

// before orders alternatives: what fits, by verdict and loss; then what does
// not, by the number of reasons.
func (a Alternative) before(b Alternative) bool {
	switch fitsA, fitsB := len(a.Refused) == 0, len(b.Refused) == 0; {
	case fitsA != fitsB:
		return fitsA
	case !fitsA:
		return len(a.Refused) < len(b.Refused)
	}
	if va, vb := a.Report.Verdict(), b.Report.Verdict(); va != vb {
		return va < vb
	}
	return a.loss() < b.loss()
}

// loss is that of the top of the band, dB; +Inf when a piece states none.
func (a Alternative) loss() float64 {
	p := a.Report.Prediction
	for _, r := range p.Rows {
		if !r.Lossy {
			return math.Inf(1)
		}
	}
	if len(p.Loss) == 0 {
		return math.Inf(1)
	}
	return p.Loss[len(p.Loss)-1]
}

// substitute is a part of the kind in question, with how it enters a catalogue.
type substitute struct {
	part.Common
	enter func(*catalogue.Catalogue)
}

// sameKind lists the parts of the kind of id.
func sameKind(cat catalogue.Catalogue, id string) (kind string, out []substitute) {
	if _, ok := cat.Cable(id); ok {
		for _, p := range cat.Cables {
			out = append(out, substitute{p.Common, func(c *catalogue.Catalogue) { c.Cables = append(slices.Clone(c.Cables), p) }})
		}
		return "cable", out
	}
	if _, ok := cat.CableConnector(id); ok {
		for _, p := range cat.CableConnectors {
			out = append(out, substitute{p.Common, func(c *catalogue.Catalogue) { c.CableConnectors = append(slices.Clone(c.CableConnectors), p) }})
		}
		return "cable connector", out
	}
	if _, ok := cat.BoardConnector(id); ok {
		for _, p := range cat.BoardConnectors {
			out = append(out, substitute{p.Common, func(c *catalogue.Catalogue) { c.BoardConnectors = append(slices.Clone(c.BoardConnectors), p) }})
		}
		return "board connector", out
	}
	if _, ok := cat.Adapter(id); ok {
		for _, p := range cat.Adapters {
			out = append(out, substitute{p.Common, func(c *catalogue.Catalogue) { c.Adapters = append(slices.Clone(c.Adapters), p) }})
		}
		return "adapter", out
	}
	if _, ok := cat.Bullet(id); ok {
		for _, p := range cat.Bullets {
			out = append(out, substitute{p.Common, func(c *catalogue.Catalogue) { c.Bullets = append(slices.Clone(c.Bullets), p) }})
		}
		return "bullet", out
	}
	return "", nil
}

// only returns a catalogue of the parts that a chain names: among thousands,
// looking each part up anew for every trial would cost more than all else.
func only(cat catalogue.Catalogue, s chain.Spec) catalogue.Catalogue {
	named := map[string]bool{}
	for _, p := range s.Pieces {
		named[p.Part] = true
	}
	out := catalogue.Catalogue{Name: cat.Name, Note: cat.Note, Series: cat.Series}
	out.Cables = kept(cat.Cables, func(p part.Cable) bool { return named[p.ID] })
	out.CableConnectors = kept(cat.CableConnectors, func(p part.CableConnector) bool { return named[p.ID] })
	out.BoardConnectors = kept(cat.BoardConnectors, func(p part.BoardConnector) bool { return named[p.ID] })
	out.Adapters = kept(cat.Adapters, func(p part.Adapter) bool { return named[p.ID] })
	out.Bullets = kept(cat.Bullets, func(p part.Bullet) bool { return named[p.ID] })
	return out
}

func kept[T any](all []T, keep func(T) bool) []T {
	var out []T
	for _, x := range all {
		if keep(x) {
			out = append(out, x)
		}
	}
	return out
}

// doNotMate says which joints of a chain do not go together.
func doNotMate(b chain.Built) []string {
	var out []string
	for _, j := range b.Joins {
		switch {
		case j.Mating.Grade == series.DoesNotFit:
			out = append(out, fmt.Sprintf("%s does not mate with %s", j.Left.Series, j.Right.Series))
		case !j.Genders:
			out = append(out, fmt.Sprintf("%s %s meets %s %s", j.LeftPart, j.Left.Gender, j.RightPart, j.Right.Gender))
		case j.Mating.Grade == series.GaugeFirst:
			out = append(out, fmt.Sprintf("%s into %s only after gauging", j.Left.Series, j.Right.Series))
		}
	}
	return out
}

// notMadeFor says which cable connectors do not take the cable beside them.
func notMadeFor(cat catalogue.Catalogue, s chain.Spec) []string {
	var out []string
	for i, p := range s.Pieces {
		c, ok := cat.Cable(p.Part)
		if !ok {
			continue
		}
		for _, n := range []int{i - 1, i + 1} {
			if n < 0 || n >= len(s.Pieces) {
				continue
			}
			if k, ok := cat.CableConnector(s.Pieces[n].Part); ok && !catalogue.Fits(k, c) {
				out = append(out, fmt.Sprintf("%s is not made for %s", k.ID, c.ID))
			}
		}
	}
	return out
}
