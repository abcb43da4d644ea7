package view

import (
	"context"
	"fmt"
	"sort"

	"linewright/app/wire"
	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/job/assess"
	"linewright/job/enquiry"
)

// Alternatives are the parts that could stand in a piece's place.
type Alternatives struct {
	Piece   int      `json:"piece"`
	Part    string   `json:"part"` // that stands there now
	Kind    string   `json:"kind"`
	Now     Figures  `json:"now"`
	Options []Option `json:"options"`
}

// Figures are what an option is compared by, at the top of the band.
type Figures struct {
	InsertionLossDB   *float64    `json:"insertion_loss_db"`
	ReturnLossWorstDB *float64    `json:"return_loss_worst_db"`
	DelayS            *float64    `json:"delay_s"`
	ModeFreeLimitHz   *float64    `json:"mode_free_limit_hz"`
	MassKg            *float64    `json:"mass_kg"`
	Price             *wire.Price `json:"price"`
}

// Option is one part, with what it would change; Refused says why it cannot
// stand there.
type Option struct {
	Part        string   `json:"part"`
	Description string   `json:"description"`
	Verdict     string   `json:"verdict"` // empty when refused
	Binding     string   `json:"binding_limit"`
	Figures     *Figures `json:"figures"` // null when refused
	Changes     *Figures `json:"changes"` // figures less those of now
	Refused     []string `json:"refused"`
}

func figures(b chain.Built, r assess.Report) Figures {
	p := wire.NewPrediction(b, r)
	return Figures{p.InsertionLossDB, p.ReturnLossDB.Worst, p.DelayS, p.ModeFreeLimitHz, p.MassKg, p.Price}
}

func less(a, b *float64) *float64 {
	if a == nil || b == nil {
		return nil
	}
	return number(*a - *b)
}

func change(a, b Figures) Figures {
	out := Figures{less(a.InsertionLossDB, b.InsertionLossDB), less(a.ReturnLossWorstDB, b.ReturnLossWorstDB), less(a.DelayS, b.DelayS), less(a.ModeFreeLimitHz, b.ModeFreeLimitHz), less(a.MassKg, b.MassKg), nil}
	if a.Price != nil && b.Price != nil && a.Price.Currency == b.Price.Currency {
		out.Price = &wire.Price{Amount: a.Price.Amount - b.Price.Amount, Currency: a.Price.Currency}
	}
	return out
}

// candidate is a part of the kind in question.
type candidate struct {
	common part.Common
	series string
}

// candidates lists the parts of the kind of id.
func candidates(cat catalogue.Catalogue, id string) (kind string, out []candidate) {
	if _, ok := cat.Cable(id); ok {
		for _, p := range cat.Cables {
			out = append(out, candidate{p.Common, ""})
		}
		return "cable", out
	}
	if _, ok := cat.CableConnector(id); ok {
		for _, p := range cat.CableConnectors {
			out = append(out, candidate{p.Common, p.Face.Series})
		}
		return "cable connector", out
	}
	if _, ok := cat.BoardConnector(id); ok {
		for _, p := range cat.BoardConnectors {
			out = append(out, candidate{p.Common, p.Face.Series})
		}
		return "board connector", out
	}
	if _, ok := cat.Adapter(id); ok {
		for _, p := range cat.Adapters {
			out = append(out, candidate{p.Common, p.Left.Series})
		}
		return "adapter", out
	}
	if _, ok := cat.Bullet(id); ok {
		for _, p := range cat.Bullets {
			out = append(out, candidate{p.Common, p.Left.Series})
		}
		return "bullet", out
	}
	return "", nil
}

// Find judges every part of the kind in place of piece, few frequencies and no
// random draws. Those that do not fit come last, each with its reasons.
func Find(ctx context.Context, e enquiry.Enquiry, cat catalogue.Catalogue, layouts launch.Layouts, spec chain.Spec, piece int) (Alternatives, error) {
	out := Alternatives{Piece: piece, Options: []Option{}}
	if piece < 0 || piece >= len(spec.Pieces) {
		return out, fmt.Errorf("the chain has no piece %d; it has %d, counted from 0", piece, len(spec.Pieces))
	}
	out.Part = spec.Pieces[piece].Part
	kind, list := candidates(cat, out.Part)
	if kind == "" {
		return out, fmt.Errorf("piece %d is no part of the catalogue; choose a cable or a connector", piece)
	}
	out.Kind = kind
	o := assess.Options{Points: 9, Draws: -1}
	judge := func(s chain.Spec) (chain.Built, assess.Report, error) {
		b, err := chain.Build(s, cat)
		if err != nil {
			return b, assess.Report{}, err
		}
		r, err := assess.Assess(ctx, e, assess.Subject{Built: b, Catalogue: cat, Layouts: layouts}, o)
		return b, r, err
	}
	b, r, err := judge(spec)
	if err != nil {
		return out, err
	}
	out.Now = figures(b, r)
	grid := assess.Grid(e, 2)
	rank := map[string]int{}
	for _, c := range list {
		s := spec
		s.Pieces = append([]chain.PieceSpec{}, spec.Pieces...)
		s.Pieces[piece].Part = c.common.ID
		x := Option{Part: c.common.ID, Description: c.common.Description, Refused: []string{}}
		b, err := chain.Build(s, cat)
		if err != nil {
			x.Refused = append(x.Refused, err.Error())
		} else {
			x.Refused = append(x.Refused, misfits(b, cat, s)...)
		}
		if f := c.common.RatedFrequency; f != nil && len(grid) > 0 && float64(*f) < grid[len(grid)-1]*(1-1e-9) {
			x.Refused = append(x.Refused, fmt.Sprintf("rated to %v", *f))
		}
		if len(x.Refused) == 0 {
			b, r, err := judge(s)
			if err != nil {
				if ctx.Err() != nil {
					return out, err
				}
				x.Refused = append(x.Refused, err.Error())
			} else {
				f := figures(b, r)
				d := change(f, out.Now)
				x.Verdict, x.Figures, x.Changes = r.Verdict().String(), &f, &d
				rank[x.Part] = int(r.Verdict())
				if m, ok := r.Binding(); ok {
					x.Binding = m.Limit
				}
			}
		}
		out.Options = append(out.Options, x)
	}
	loss := func(x Option) float64 {
		if x.Figures == nil || x.Figures.InsertionLossDB == nil {
			return 1e9
		}
		return *x.Figures.InsertionLossDB
	}
	sort.SliceStable(out.Options, func(i, k int) bool {
		a, b := out.Options[i], out.Options[k]
		switch {
		case (len(a.Refused) == 0) != (len(b.Refused) == 0):
			return len(a.Refused) == 0
		case len(a.Refused) > 0:
			return len(a.Refused) < len(b.Refused)
		case rank[a.Part] != rank[b.Part]:
			return rank[a.Part] < rank[b.Part]
		}
		return loss(a) < loss(b)
	})
	return out, nil
}

// misfits says what of a chain does not go together.
func misfits(b chain.Built, cat catalogue.Catalogue, s chain.Spec) []string {
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
