package network_test

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"

	"linewright/physics/network"
)

const c0 = 299792458 // m/s

// airLine returns a lossless air line of characteristic impedance zc, in Ω.
func airLine(f []float64, length float64, zc complex128) network.Network {
	return network.Line(f, 50, func(f float64) (complex128, complex128) {
		return complex(0, 2*math.Pi*f*length/c0), zc
	})
}

func dB(s complex128) float64 { return 20 * math.Log10(cmplx.Abs(s)) }

// The chain matrix of a quarter-wave transformer: A and D vanish, B = jZc.
func ExampleABCD() {
	f := []float64{10e9}
	quarter := airLine(f, c0/10e9/4, 70.71)
	m, err := quarter.ABCD()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("|A| %.2f, B %.2fj Ω, det %.2f\n", cmplx.Abs(m[0].A), imag(m[0].B), real(m[0].Det()))
	// Output: |A| 0.00, B 70.71j Ω, det 1.00
}

// Two pads of 3 dB in a chain: T22 = 1/S21 multiplies.
func ExampleTransfer() {
	pad := network.New(2, []float64{1e9}, 50)
	pad.Set(0, 0, 1, 0.7079)
	pad.Set(0, 1, 0, 0.7079)
	t, err := pad.Transfer()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.2f dB\n", dB(1/t[0].Times(t[0]).T22))
	// Output: -6.00 dB
}

// A calibration with lines refers to the line's own impedance, here 47−2j Ω at
// 2 GHz. The load measured as 0.05 is, in 50 Ω:
func ExamplePseudoWaves() {
	measured := network.PseudoWaves{
		Ports: 1, Frequency: []float64{2e9}, Reference: []complex128{47 - 2i}, S: []complex128{0.05},
	}
	n, err := measured.Network(50)
	if err != nil {
		fmt.Println(err)
		return
	}
	z := network.ImpedanceOf(n.S[0], 50)
	fmt.Printf("|S11| %.4f, Z %.2f%+.2fj Ω\n", cmplx.Abs(n.S[0]), real(z), imag(z))
	// Output: |S11| 0.0289, Z 51.95-2.21j Ω
}

// Fixtures of 20 mm of line with a capacitance each are taken off a measurement.
func ExampleDeembed() {
	f := []float64{20e9}
	excess := network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*30e-15) })
	fixture, err := network.Cascade(excess, airLine(f, 20e-3, 50))
	if err != nil {
		fmt.Println(err)
		return
	}
	device := airLine(f, 5e-3, 60)
	mirrored, _ := fixture.Reorder(1, 0)
	measured, _ := network.Cascade(fixture, device, mirrored)
	found, err := network.Deembed(measured, fixture, mirrored)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("S11 measured %.2f dB, found %.2f dB, truth %.2f dB\n", dB(measured.At(0, 0, 0)), dB(found.At(0, 0, 0)), dB(device.At(0, 0, 0)))
	// Output: S11 measured -30.67 dB, found -16.10 dB, truth -16.10 dB
}

// A measurement every 100 MHz of 1 m of cable, wanted on a grid that
// does not match: the delay of 4.76 ns turns the phase by half a turn per step.
func ExampleNetwork_Interpolate() {
	cable := func(f []float64) network.Network {
		return network.Line(f, 50, func(f float64) (complex128, complex128) {
			return complex(0.1*math.Sqrt(f/1e9), 2*math.Pi*f/(0.7*c0)), 50
		})
	}
	var f []float64
	for k := 1; k <= 400; k++ {
		f = append(f, 0.1e9*float64(k))
	}
	n, err := cable(f).Interpolate([]float64{26.5251e9}, network.Interpolation{})
	if err != nil {
		fmt.Println(err)
		return
	}
	off := cmplx.Abs(n.At(0, 1, 0) - cable(n.Frequency).At(0, 1, 0))
	fmt.Println("off by less than 1e-9:", off < 1e-9)
	_, err = cable(f).Interpolate([]float64{41e9}, network.Interpolation{})
	fmt.Println("above the data refused:", errors.Is(err, network.ErrRange))
	// Output:
	// off by less than 1e-9: true
	// above the data refused: true
}

// A file whose ports were calibrated apart is not quite reciprocal, and one
// point of it is active.
func ExampleNetwork_InitialQuality() {
	var f []float64
	for k := range 101 {
		f = append(f, 0.1e9*float64(k))
	}
	n := airLine(f, 30e-3, 52)
	n.Set(50, 1, 0, n.At(50, 1, 0)*1.05)
	q, err := n.InitialQuality()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("passivity %.2f %%, reciprocity %.2f %%\n", q.Passivity, q.Reciprocity)
	d := n.Passivity()
	fmt.Printf("worst singular value %.3f at %.1f GHz\n", d.Value, d.Frequency/1e9)
	// Output:
	// passivity 99.51 %, reciprocity 99.50 %
	// worst singular value 1.050 at 5.0 GHz
}

// One board connector and a thousand cables: the chain so far is computed once.
func ExamplePacked() {
	f := []float64{10e9, 20e9}
	pack := func(n network.Network) network.Packed {
		p, err := network.Pack(n)
		if err != nil {
			fmt.Println(err)
		}
		return p
	}
	launch := network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*20e-15) })
	var begin, chain network.Packed
	if err := begin.SetCascade(pack(launch), pack(airLine(f, 4e-3, 50))); err != nil {
		fmt.Println(err)
		return
	}
	for _, length := range []float64{0.1, 0.2} {
		if err := chain.SetCascade(begin, pack(airLine(f, length, 51))); err != nil {
			fmt.Println(err)
			return
		}
		s11, _, _ := chain.At(1)
		fmt.Printf("%.1f m: %.1f dB\n", length, dB(s11))
	}
	// Output:
	// 0.1 m: -23.3 dB
	// 0.2 m: -25.8 dB
}

// Two reflections of 20 dB, 1 m of cable of velocity factor 0.7 apart.
func ExampleRipple() {
	r := network.NewRipple(0.1, 0.1, 0)
	fmt.Printf("%+.3f %+.3f dB, ±%.2f°, period %.0f MHz\n", r.High, r.Low, r.Phase*180/math.Pi, network.RipplePeriod(1/(0.7*c0))/1e6)
	// Output: +0.087 -0.086 dB, ±0.57°, period 105 MHz
}

// A power sensor of VSWR 1.1 on a source of VSWR 1.2.
func ExampleMismatchUncertainty() {
	u := network.NewMismatchUncertainty(network.FromVSWR(1.2), network.FromVSWR(1.1))
	fmt.Printf("%+.4f %+.4f dB, standard uncertainty %.4f dB\n", u.Plus, u.Minus, u.Standard)
	// Output: +0.0375 -0.0377 dB, standard uncertainty 0.0266 dB
}

// A calibration with 40 dB directivity measures 20 dB of return loss.
func ExampleOnePort() {
	residual := network.OnePort{Directivity: 0.01, SourceMatch: 0.02, Tracking: 0.005}
	fmt.Printf("0.1 ± %.4f\n", residual.WorstCase(0.1))
	// Output: 0.1 ± 0.0107
}

// Four connectors of 20 dB and 0.5 dB of cable between neighbours, 50 to
// 150 mm of air apart, swept from 18 to 40 GHz.
func ExampleStudy() {
	half := 0.5 / 8.685889638 // Np
	part := network.Reflector{Magnitude: 0.1, Loss: half, Delay: [2]float64{0.05 / c0, 0.15 / c0}}
	chain := []network.Reflector{part, part, part, part}
	single, err := network.Study{Draws: 4000}.Run(chain)
	if err != nil {
		fmt.Println(err)
		return
	}
	swept, err := network.Study{Draws: 1000, Start: 18e9, Stop: 40e9}.Run(chain)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("RSS %.2f, 95 %% at one frequency %.2f, 95 %% swept %.2f, worst %.2f\n",
		network.RSS(chain), single.Value, swept.Value, network.Worst(chain))
	fmt.Printf("worst transmission %.2f dB, of which the lines lose 1.50 dB\n", 20*math.Log10(network.LeastTransmission(chain)))
	// Output:
	// RSS 0.17, 95 % at one frequency 0.28, 95 % swept 0.33, worst 0.34
	// worst transmission -2.10 dB, of which the lines lose 1.50 dB
}
