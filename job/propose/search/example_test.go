package search_test

import (
	"context"
	"fmt"
	"math"

	"linewright/job/propose/search"
)

// Two connectors and a cable, all invented. State 0 is the board, 1 and 2 are
// two cable families. Loss is in µdB, price in cents.
func invented() search.Problem {
	part := func(left, right search.State, db float64, cents int64, rl float64) search.Option {
		g := math.Pow(10, -rl/20)
		return search.Option{
			Left: left, Right: right,
			Cost:  []int64{int64(math.Round(db * 1e6)), cents},
			Gamma: g, GammaRight: g,
			TwoWay: math.Pow(10, -db/10),
		}
	}
	return search.Problem{
		Criteria: []string{"loss", "price"},
		Slots: []search.Slot{
			{Name: "near connector", Options: []search.Option{
				part(0, 1, 0.20, 900, 23), part(0, 1, 0.35, 450, 18), part(0, 2, 0.25, 700, 21)}},
			{Name: "cable", Options: []search.Option{
				part(1, 1, 1.60, 2100, 28), part(2, 2, 1.10, 3900, 30)}},
			{Name: "far connector", Options: []search.Option{
				part(1, 0, 0.20, 900, 23), part(1, 0, 0.35, 450, 18), part(2, 0, 0.25, 700, 21)}},
		},
		Limits: []search.Limit{{Of: 0, Max: 2.2e6}},
	}
}

func ExamplePareto() {
	front, err := search.Pareto(context.Background(), invented(), search.Settings{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(front.Size, "of", search.Count(front.Compatible), "chains")
	for _, c := range front.Chains {
		v := c.Values
		fmt.Printf("%v  %.2f dB  %.2f  %.1f dB return loss\n", c.Option, float64(v.Add[0])/1e6, float64(v.Add[1])/100, -20*math.Log10(v.Left))
	}
	// Output:
	// 3 of 5 chains
	// [2 1 2]  1.60 dB  53.00  14.7 dB return loss
	// [0 0 0]  2.00 dB  39.00  16.2 dB return loss
	// [0 0 1]  2.15 dB  34.50  14.3 dB return loss
}

func ExampleBest() {
	// one dB is worth ten units of money here, and return loss nothing
	w := search.Weights{Add: []float64{1e-5, 1e-2}}
	ranking, err := search.Best(context.Background(), invented(), w, 2, search.Settings{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range ranking.Chains {
		fmt.Printf("%v  score %.2f\n", c.Option, c.Score)
	}
	// Output:
	// [0 0 1]  score 56.00
	// [1 0 0]  score 56.00
}

func ExampleNearest() {
	p := invented()
	p.Limits = []search.Limit{{Of: 0, Max: 1.7e6}, {Of: 1, Max: 4000}}
	misses, err := search.Nearest(context.Background(), p, 1, search.Settings{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range misses.Chains {
		for _, b := range c.Broken {
			fmt.Printf("%v breaks the limit of %s by %.0f %%\n", c.Option, p.Criteria[b.Limit.Of], 100*b.Over)
		}
	}
	for _, r := range misses.Reaches {
		of := r.Limit.Of
		fmt.Printf("%s: at best %d, and %d with the other limits kept; allowed %.0f\n",
			p.Criteria[of], r.Alone.Values.Add[of], r.WithOthers.Values.Add[of], r.Limit.Max)
	}
	// Output:
	// [0 0 0] breaks the limit of loss by 18 %
	// loss: at best 1600000, and 2000000 with the other limits kept; allowed 1700000
	// price: at best 3000, and 5300 with the other limits kept; allowed 4000
}
