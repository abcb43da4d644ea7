package view

import (
	"linewright/app/wire"
	"linewright/job/propose"
)

// Alternatives are the parts that could stand in a piece's place.
type Alternatives struct {
	Piece   int      `json:"piece"`
	Part    string   `json:"part"` // that stands there now
	Kind    string   `json:"kind"`
	Now     Figures  `json:"now"`
	Options []Option `json:"options"` // those that fit, best first, then the refused
	Fitting int      `json:"fitting"` // how many fit
	Tried   int      `json:"tried"`   // how many parts of the kind the catalogue has
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
	Source      string   `json:"source"` // of the part's figures
}

// shownAlternatives is how many of those that fit, and of those that do not,
// are listed: more than anybody reads.
const shownAlternatives = 100

// NewAlternatives shapes what could stand in a piece's place.
func NewAlternatives(a propose.Alternatives) Alternatives {
	now := figures(a.Now)
	out := Alternatives{Piece: a.Piece, Part: a.Part, Kind: a.Kind, Now: now, Options: []Option{}, Tried: len(a.Options)}
	refused := 0
	for _, x := range a.Options {
		o := Option{Part: x.Part.ID, Description: x.Part.Description, Refused: []string{}, Source: x.Part.Source}
		if len(x.Refused) > 0 {
			if refused++; refused > shownAlternatives {
				continue
			}
			o.Refused = x.Refused
		} else {
			if out.Fitting++; out.Fitting > shownAlternatives {
				continue
			}
			f := figures(x)
			d := change(f, now)
			o.Verdict, o.Figures, o.Changes = x.Report.Verdict().String(), &f, &d
			if m, ok := x.Report.Binding(); ok {
				o.Binding = m.Limit
			}
		}
		out.Options = append(out.Options, o)
	}
	return out
}

func figures(a propose.Alternative) Figures {
	p := wire.NewPrediction(a.Built, a.Report)
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
