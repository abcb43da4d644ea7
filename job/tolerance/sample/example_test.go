package sample_test

import (
	"context"
	"fmt"

	"linewright/job/tolerance/sample"
)

// A cable assembly of 2.9 dB in the mean, whose board launches lose 0.1 dB for
// each 50 µm of etch error, against a limit of 3.1 dB (invented numbers).
func ExampleRun() {
	study := sample.Study{
		Inputs: []sample.Input{
			{Name: "cable loss, dB", Distribution: sample.Normal{Mean: 2.9, Sigma: 0.08}},
			{Name: "etch, mm", Distribution: sample.TruncatedNormal{Sigma: 0.02, Low: -0.05, High: 0.05}},
		},
		Outputs: []sample.Output{{Name: "margin, dB", Margin: true}},
		Model: func(_ context.Context, x, y []float64) error {
			y[0] = 3.1 - x[0] - 2*abs(x[1])
			return nil
		},
	}
	state, err := sample.New(study, sample.Plan{Method: sample.Sobol, Seed: 1, N: 4096})
	if err != nil {
		fmt.Println(err)
		return
	}
	if state, err = sample.Run(context.Background(), study, state, sample.Options{}); err != nil {
		fmt.Println(err)
		return
	}
	y, _ := state.Yield(0.95)
	fmt.Printf("yield %.1f %%, between %.1f and %.1f\n", 100*y.Share, 100*y.Replicates.Low, 100*y.Replicates.High)
	worst, _ := sample.WorstCorner(context.Background(), study, 0, sample.CornerOptions{})
	fmt.Printf("worst corner %.2f dB at %.2f dB of cable and %.2f mm\n", worst.Value, worst.Inputs[0], worst.Inputs[1])
	// Output:
	// yield 97.9 %, between 97.7 and 98.1
	// worst corner -0.14 dB at 3.14 dB of cable and -0.05 mm
}

func abs(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}

// Twenty-four cables within 1.6 σ of each other: how many must be built?
func ExampleBuildQuantity() {
	unsorted := sample.ExpectedRange(24)
	lot, err := sample.BuildQuantity(24, 1.6, 200, sample.Sorting{Seed: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("unsorted %.1f σ; build %.0f on average, %.0f to succeed nine times in ten\n", unsorted, lot.Mean, lot.Quantile(0.9))
	// Output: unsorted 3.9 σ; build 37 on average, 42 to succeed nine times in ten
}

// Five prototypes with a fine Cpk say little about production.
func ExampleCpkLower() {
	for _, n := range []int{5, 30} {
		fmt.Printf("%d pieces: 1.33 observed, %.2f assured\n", n, sample.CpkLower(1.33, n, 0.95))
	}
	// Output:
	// 5 pieces: 1.33 observed, 0.52 assured
	// 30 pieces: 1.33 observed, 1.03 assured
}
