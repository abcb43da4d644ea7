package touchstone_test

import (
	"fmt"
	"math/cmplx"
	"os"
	"strings"

	"linewright/physics/touchstone"
)

// An analyser's file of a cable, 300 mm long (invented).
const cable = `! cable 17, 23 degC (invented)
# GHz S DB R 50
10 -31.2  12.1 -0.41 -140.2 -0.41 -140.2 -30.8  11.0
20 -28.6 -64.0 -0.60   79.5 -0.60   79.5 -28.1 -66.2
30 -25.1 150.9 -0.76  -60.8 -0.76  -60.8 -25.7 149.4
`

func ExampleRead() {
	f, err := touchstone.Read(strings.NewReader(cable), "cable17.s2p", 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	for k, frequency := range f.Frequency {
		s21 := f.At(k)[2] // row 2, column 1 of two ports
		fmt.Printf("%g GHz: %.4f\n", frequency/1e9, cmplx.Abs(s21))
	}
	// Output:
	// 10 GHz: 0.9539
	// 20 GHz: 0.9333
	// 30 GHz: 0.9162
}

func ExampleFile_Network() {
	f, _ := touchstone.Read(strings.NewReader(cable), "cable17.s2p", 0)
	n, err := f.Network()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(n.Ports, "ports of", n.Reference[0], "ohm; port 1 reflects", fmt.Sprintf("%.3f", cmplx.Abs(n.At(2, 0, 0))), "at 30 GHz")
	// Output: 2 ports of (50+0i) ohm; port 1 reflects 0.056 at 30 GHz
}

// Faults say where, what, which rule and what to do.
func ExampleSyntaxError() {
	_, err := touchstone.Read(strings.NewReader(`# GHz S RI R 50
10    0 0  0.9 0  0.9 0  0 0
9.95  0 0  0.9 0  0.9 0  0 0
11    0 0  0.9,0  0.9 0  0 0
`), "launch.s2p", 0)
	fmt.Println(err)
	// Output:
	// launch.s2p:3:1: 9.95 GHz after 10 GHz: frequencies must increase; sort the data lines, or split the sweep into two files
	// launch.s2p:4:12: "0.9,0": a finite decimal number must stand here; write decimals with a point, and separate numbers by blanks
}

// The largest reflection of a file of any size, in constant memory.
func ExampleScanner() {
	sc := touchstone.NewScanner(strings.NewReader(cable), "cable17.s2p", touchstone.ReadOptions{})
	worst, at := 0.0, 0.0
	for sc.Scan() {
		frequency, m := sc.Point()
		if r := cmplx.Abs(m[0]); r > worst {
			worst, at = r, frequency
		}
	}
	if err := sc.Err(); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("|S11| up to %.3f, at %g GHz\n", worst, at/1e9)
	// Output: |S11| up to 0.056, at 30 GHz
}

func ExampleWriter() {
	w, err := touchstone.NewWriter(os.Stdout, touchstone.Layout{
		Version: touchstone.Version21, Ports: 2, Format: touchstone.RI, Reference: []float64{50, 75},
	}, touchstone.WriteOptions{Points: 2})
	if err != nil {
		fmt.Println(err)
		return
	}
	w.Comment(" taper from 50 to 75 ohm (invented)")
	w.Write(10e9, []complex128{0.0625, 0.875i, 0.875i, -0.0625})
	w.Write(20.5e9, []complex128{0.03125, -0.75, -0.75, -0.03125})
	if err := w.Close(); err != nil { // reports what Write met, too
		fmt.Println(err)
	}
	// Output:
	// ! taper from 50 to 75 ohm (invented)
	// [Version] 2.1
	// # GHz S RI R 50
	// [Number of Ports] 2
	// [Two-Port Data Order] 21_12
	// [Number of Frequencies] 2
	// [Reference] 50 75
	// [Network Data]
	// 10 0.0625 0 0 0.875 0 0.875 -0.0625 0
	// 20.5 0.03125 0 -0.75 0 -0.75 0 -0.03125 0
	// [End]
}

// What is read with a certain precision can be written with it.
func ExampleFile_Write() {
	f, _ := touchstone.Read(strings.NewReader("# MHz S MA R 50\n100.0 0.250 -30.00\n200.0 0.300 -60.00\n"), "open.s1p", 0)
	f.Comments = append(f.Comments, touchstone.Comment{Text: " checked"})
	f.Write(os.Stdout, touchstone.WriteOptions{Style: f.Style})
	// Output:
	// ! checked
	// # MHz S MA R 50
	// 100.0 0.250 -30.00
	// 200.0 0.300 -60.00
}

func ExampleHeader() {
	h := touchstone.Header{
		Title:       "edge launch (invented)",
		Revision:    "B",
		Origin:      "simulated, 3-D field solution",
		Ports:       []touchstone.PortPlane{{Name: "connector", Plane: "mating face"}, {Name: "trace end", Plane: "20 mm from the board edge"}},
		Contains:    []string{"launch and 20 mm trace"},
		Excludes:    []string{"mating connector"},
		Reference:   []float64{50},
		Grid:        touchstone.Grid{From: 10e6, To: 67e9, Points: 6700, Step: 10e6},
		Temperature: 296.15,
		ValidFrom:   10e6,
		ValidTo:     50e9,
		Passivity:   touchstone.Check{Verdict: touchstone.Met, Figure: 0.9991, At: 12e9, Note: "largest singular value"},
	}
	for _, line := range h.Lines() {
		fmt.Println("!" + line)
	}
	fmt.Println("still to be said:", strings.Join(h.Missing(), ", "))
	// Output:
	// ! Model description, form 1
	// !   Title: edge launch (invented)
	// !   Revision: B
	// !   Origin: simulated, 3-D field solution
	// !   Port 1: connector; plane: mating face
	// !   Port 2: trace end; plane: 20 mm from the board edge
	// !   Contains: launch and 20 mm trace
	// !   Excludes: mating connector
	// !   Reference: 50 ohm
	// !   Grid: 10 MHz to 67 GHz, 6700 points, step 10 MHz
	// !   Temperature: 296.15 K (23 degC)
	// !   Valid: 10 MHz to 50 GHz
	// !   Passivity: met; 0.9991 at 12 GHz; largest singular value
	// !   Reciprocity: not assessed
	// !   Causality: not assessed
	// ! End of model description
	// still to be said: contact, corner: nominal, fast or slow, check of reciprocity, check of causality
}
