package propose

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

func boardToBoard(top units.Frequency) enquiry.Enquiry {
	return enquiry.Enquiry{ID: "random", Band: []enquiry.Band{{From: 1e9, To: top}}, From: enquiry.End{Kind: enquiry.Board}, To: enquiry.End{Kind: enquiry.Board},
		Path: enquiry.Path{Through: enquiry.ThroughCable, Length: ptr(units.Length(0.5))}, Limits: enquiry.Limits{InsertionLoss: []enquiry.LossLimit{{AtMost: ptr(units.Level(2.5))}}}}
}

// Every part of the kind is tried once; what is refused does not go together by
// the catalogue's own rules, and what is judged is judged as the chain itself
// would be. Random catalogues; the seed is printed.
func TestAlternatives(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	t.Logf("seed %d", seed)
	tried := 0
	for range 12 {
		cat := shelf(r, 6, 20, 20)
		e := boardToBoard(12e9)
		a, err := Find(t.Context(), e, cat, Options{Draws: -1, Points: 9, Most: 1})
		if err != nil || len(a.Proposals) == 0 {
			continue
		}
		spec := a.Proposals[0].Spec
		for piece, p := range spec.Pieces {
			kind, list := sameKind(cat, p.Part)
			got, err := FindAlternatives(t.Context(), e, cat, spec, piece, AlternativesOptions{Workers: 1 + r.IntN(4)})
			if kind == "" {
				if err == nil {
					t.Errorf("seed %d: piece %d, %s, is no part and has alternatives", seed, piece, p.Name)
				}
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			tried++
			var ids, want []string
			for _, o := range got.Options {
				ids = append(ids, o.Part.ID)
			}
			for _, c := range list {
				want = append(want, c.ID)
			}
			slices.Sort(ids)
			slices.Sort(want)
			if !slices.Equal(ids, want) {
				t.Errorf("seed %d: tried %v of %v", seed, ids, want)
			}
			for i, o := range got.Options {
				if i > 0 && o.before(got.Options[i-1]) {
					t.Errorf("seed %d: %s stands after %s", seed, o.Part.ID, got.Options[i-1].Part.ID)
				}
				s := spec
				s.Pieces = slices.Clone(spec.Pieces)
				s.Pieces[piece].Part = o.Part.ID
				if fits := goes(cat, s, piece, 12e9); fits != (len(o.Refused) == 0) {
					t.Errorf("seed %d: %s goes there: %v; refused: %v", seed, o.Part.ID, fits, o.Refused)
				}
				if len(o.Refused) == 0 {
					b, err := chain.Build(s, cat)
					if err != nil {
						t.Fatal(err)
					}
					rep, err := assess.Assess(t.Context(), e, assess.Subject{Built: b, Catalogue: cat}, assess.Options{Points: 9, Draws: -1})
					if err != nil || rep.Verdict() != o.Report.Verdict() || !slices.Equal(rep.Prediction.Loss, o.Report.Prediction.Loss) {
						t.Errorf("seed %d: %s is judged %v with %v dB, as a chain %v with %v dB; %v", seed, o.Part.ID, o.Report.Verdict(), o.Report.Prediction.Loss, rep.Verdict(), rep.Prediction.Loss, err)
					}
				}
			}
		}
	}
	if tried < 20 {
		t.Errorf("seed %d: only %d places were tried", seed, tried)
	}
}

// goes says whether the parts of a chain from board to board go together, and
// whether the one at piece is rated for top. It shares no code with the search.
func goes(cat catalogue.Catalogue, s chain.Spec, piece int, top float64) bool {
	b1, _ := cat.BoardConnector(s.Pieces[1].Part)
	k1, _ := cat.CableConnector(s.Pieces[2].Part)
	c, _ := cat.Cable(s.Pieces[3].Part)
	k2, _ := cat.CableConnector(s.Pieces[4].Part)
	b2, _ := cat.BoardConnector(s.Pieces[5].Part)
	rated := []*units.Frequency{nil, b1.RatedFrequency, k1.RatedFrequency, c.RatedFrequency, k2.RatedFrequency, b2.RatedFrequency, nil}[piece]
	if rated != nil && float64(*rated) < top {
		return false
	}
	for _, j := range [][2]part.Face{{b1.Face, k1.Face}, {k2.Face, b2.Face}} {
		if g := series.Mate(j[0].Series, j[1].Series).Grade; !j[0].Gender.Mates(j[1].Gender) || g == series.DoesNotFit || g == series.GaugeFirst {
			return false
		}
	}
	return catalogue.Fits(k1, c) && catalogue.Fits(k2, c)
}

func TestAlternativesRefuse(t *testing.T) {
	cat, e := shelf(rand.New(rand.NewPCG(1, 1)), 6, 9, 9), boardToBoard(12e9)
	spec := chain.Spec{Pieces: []chain.PieceSpec{{Launch: &chain.LaunchSpec{}}, {Part: cat.BoardConnectors[0].ID}, {Part: cat.CableConnectors[0].ID}, {Part: cat.Cables[0].ID, Length: e.Path.Length}}}
	for _, piece := range []int{-1, 0, 4} { // beside the chain, and a launch
		if _, err := FindAlternatives(t.Context(), e, cat, spec, piece, AlternativesOptions{}); err == nil {
			t.Errorf("piece %d has alternatives", piece)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := FindAlternatives(ctx, e, cat, spec, 3, AlternativesOptions{}); err == nil {
		t.Error("it goes on when nobody waits")
	}
}
