package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"

	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/hardware/catalogue"
	"linewright/hardware/part"
)

// item is a part of any kind.
type item struct {
	kind   string
	common part.Common
	faces  []part.Face
	whole  any
}

// partsOf lists a catalogue, kind by kind.
func partsOf(c catalogue.Catalogue) []item {
	var out []item
	for _, p := range c.Cables {
		out = append(out, item{"cable", p.Common, nil, p})
	}
	for _, p := range c.CableConnectors {
		out = append(out, item{"cable connector", p.Common, []part.Face{p.Face}, p})
	}
	for _, p := range c.BoardConnectors {
		out = append(out, item{"board connector", p.Common, []part.Face{p.Face}, p})
	}
	for _, p := range c.Adapters {
		out = append(out, item{"adapter", p.Common, []part.Face{p.Left, p.Right}, p})
	}
	for _, p := range c.Bullets {
		out = append(out, item{"bullet", p.Common, []part.Face{p.Left, p.Right}, p})
	}
	return out
}

// partKinds are the words for kind.
var partKinds = []string{"cable", "cable connector", "board connector", "adapter", "bullet"}

// PartRow is a part in a list; exported, as all that other answers embed, so
// that the description of the API shows its fields.
type PartRow struct {
	ID          string      `json:"id"`
	Kind        string      `json:"kind"`
	Maker       string      `json:"maker"`
	Description string      `json:"description"`
	Faces       []string    `json:"faces"`
	RatedHz     *float64    `json:"rated_hz"`
	Price       *wire.Price `json:"price"`
	MassKg      *float64    `json:"mass_kg"`
	Standing    string      `json:"standing"`
	Source      string      `json:"source"`
}

func (it item) row() PartRow {
	p := it.common
	r := PartRow{ID: p.ID, Kind: it.kind, Maker: p.Maker, Description: p.Description, Faces: []string{}, Standing: string(p.Standing), Source: p.Source}
	for _, f := range it.faces {
		r.Faces = append(r.Faces, strings.TrimSpace(f.Series+" "+string(f.Gender)))
	}
	if p.RatedFrequency != nil {
		x := float64(*p.RatedFrequency)
		r.RatedHz = &x
	}
	if p.Mass != nil {
		x := float64(*p.Mass)
		r.MassKg = &x
	}
	if p.Price != nil {
		r.Price = &wire.Price{Amount: p.Price.Float(), Currency: p.Price.Currency}
	}
	return r
}

type partList struct {
	Parts  []PartRow `json:"parts"`
	Total  int       `json:"total" doc:"parts that match, of which the first are shown"`
	Faults []fault   `json:"faults" doc:"entries that physics does not allow, or that are doubtful or incomplete"`
}

// fault is a finding of the catalogue's check.
type fault struct {
	Part     string `json:"part"`
	Field    string `json:"field"`
	Severity string `json:"severity"`
	Problem  string `json:"problem"`
	Help     string `json:"help"`
}

type partDetail struct {
	PartRow
	Fields json.RawMessage `json:"fields" doc:"the part as a catalogue file says it"`
	Faults []fault         `json:"faults"`
}

func faultsOf(c catalogue.Catalogue, id string) []fault {
	out := []fault{}
	for _, f := range c.Check() {
		if id == "" || f.Part == id {
			out = append(out, fault{f.Part, f.Field, f.Severity.String(), f.Problem, f.Help})
		}
	}
	return out
}

type partsInput struct {
	Kind   string `query:"kind" doc:"one of cable, cable connector, board connector, adapter, bullet"`
	Search string `query:"search" doc:"words that must all occur in id, maker, description or face"`
	Most   int    `query:"most" default:"1000" minimum:"1" maximum:"20000"`
}

func (s *Server) parts(_ context.Context, in *partsInput) (partList, error) {
	cat, err := s.store.catalogue()
	if err != nil {
		return partList{}, err
	}
	kind := strings.ReplaceAll(in.Kind, "_", " ")
	if kind != "" && !strings.Contains(","+strings.Join(partKinds, ",")+",", ","+kind+",") {
		return partList{}, problem(http.StatusUnprocessableEntity, fmt.Sprintf("%q is no kind of part", in.Kind), "write one of: %s", strings.Join(partKinds, ", "))
	}
	words := strings.Fields(strings.ToLower(in.Search))
	out := partList{Parts: []PartRow{}, Faults: faultsOf(cat, "")}
next:
	for _, it := range partsOf(cat) {
		if kind != "" && it.kind != kind {
			continue
		}
		r := it.row()
		text := strings.ToLower(r.ID + " " + r.Maker + " " + r.Description + " " + strings.Join(r.Faces, " "))
		for _, w := range words {
			if !strings.Contains(text, w) {
				continue next
			}
		}
		if out.Total++; len(out.Parts) < in.Most {
			out.Parts = append(out.Parts, r)
		}
	}
	return out, nil
}

type partInput struct {
	ID string `path:"id"`
}

func (s *Server) part(_ context.Context, in *partInput) (partDetail, error) {
	cat, err := s.store.catalogue()
	if err != nil {
		return partDetail{}, err
	}
	for _, it := range partsOf(cat) {
		if it.common.ID == in.ID {
			fields, err := workspace.EncodeJSON(it.whole)
			return partDetail{it.row(), fields, faultsOf(cat, in.ID)}, err
		}
	}
	return partDetail{}, problem(http.StatusNotFound, "no part of the catalogue has this id", "see them with GET %s/parts", Prefix)
}
