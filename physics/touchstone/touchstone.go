// Package touchstone reads and writes network data in the open Touchstone
// format, versions 1.0, 1.1, 2.0 and 2.1, as the IBIS Open Forum publishes it
// ([ibis2009], [ibis2024]).
//
// [Read] takes a whole file into a [File]. A [Scanner] hands out one frequency
// at a time and needs no more memory for a file of a gigabyte than for one of a
// kilobyte; a [Writer] is its counterpart. A [Header] is the description a model
// should carry in its comments: ports, planes, what is inside, how far it is to
// be trusted.
//
// # Units
//
// Inside, everything is SI and absolute: frequencies in Hz, Z in Ω, Y in S,
// h11 in Ω, h22 in S, g11 in S, g22 in Ω. Version 1 files hold Y, Z, G and H
// normalised to the reference resistance R (z = Z/R, y = Y·R, h11/R, h22·R,
// g11·R, g22/R), version 2 files do not; reader and writer see to it.
// Frequencies are scaled as decimal numbers, before the one rounding to float64:
// 1.1 GHz is exactly 1.1e9 Hz, and is written as 1.1 again.
//
// # Pairs
//
// With RI a pair is real and imaginary part, with MA magnitude and angle in
// degrees, with DB 20·log10 of the magnitude and the angle in degrees. RI data
// survive reading and writing bit for bit, if nothing is normalised and [Number]
// is left zero. MA and DB data do so within [PairTolerance] of the magnitude.
//
// # What is not in the published text, or is judged here
//
//   - Magnitude zero is written in DB as -9999, which reads back as zero.
//   - Version 1.1 (several resistances behind R) with Y, Z, G or H data is refused
//     unless the resistances agree: how they normalise those is not known to us.
//   - Reference impedances are real in every version; a complex one is a fault.
//   - A version 2 file without [End] is read with a warning, as the examples of
//     the 2009 edition lack it; the 2024 edition requires it.
//   - A mode pair D2,3 is V2-V3 and (I2-I3)/2, its C pair (V2+V3)/2 and I2+I3;
//     its references are 2R and R/2.
package touchstone

import (
	"fmt"
	"io"
	"strings"
)

// Version is a version of the format. The zero value asks the writer for 1.0, or
// 1.1 if the reference resistances differ.
type Version uint8

const (
	VersionAuto Version = iota
	Version10
	Version11
	Version20
	Version21
)

func (v Version) String() string {
	return pick(int(v), "auto", "1.0", "1.1", "2.0", "2.1")
}

func (v Version) keywords() bool { return v >= Version20 }

// Unit is the frequency unit of a file.
type Unit uint8

const (
	GHz Unit = iota
	MHz
	KHz
	Hz
)

func (u Unit) String() string { return pick(int(u), "GHz", "MHz", "kHz", "Hz") }

// shift is the power of ten from the unit to Hz.
func (u Unit) shift() int { return 9 - 3*int(u) }

// Parameter is the kind of matrix a file holds.
type Parameter uint8

const (
	S Parameter = iota
	Y
	Z
	H
	G
)

func (p Parameter) String() string { return pick(int(p), "S", "Y", "Z", "H", "G") }

// Format is what the two numbers of a pair mean.
type Format uint8

const (
	MA Format = iota // magnitude, angle in degrees
	DB               // 20·log10 magnitude, angle in degrees
	RI               // real part, imaginary part
)

func (f Format) String() string { return pick(int(f), "MA", "DB", "RI") }

// Order is the order of the transmissions in a two-port file.
type Order uint8

const (
	Order21_12 Order = iota // 11 21 12 22, the only one of version 1
	Order12_21              // 11 12 21 22
)

func (o Order) String() string { return pick(int(o), "21_12", "12_21") }

// Triangle is the part of each matrix a version 2 file holds. Lower and Upper are
// for symmetric matrices.
type Triangle uint8

const (
	Full Triangle = iota
	Lower
	Upper
)

func (t Triangle) String() string { return pick(int(t), "Full", "Lower", "Upper") }

func pick(i int, names ...string) string {
	if i < len(names) {
		return names[i]
	}
	return fmt.Sprintf("%d", i)
}

// A Mode is one row and column of a mixed-mode matrix: a single port ('S'), or
// the differential ('D') or common ('C') mode of a pair. Ports count from 1.
type Mode struct {
	Kind byte // 'S', 'D' or 'C'
	Port int  // the port, or the positive port of the pair
	Ref  int  // the reference port of the pair; 0 with 'S'
}

func (m Mode) String() string {
	if m.Kind == 'S' {
		return fmt.Sprintf("S%d", m.Port)
	}
	return fmt.Sprintf("%c%d,%d", m.Kind, m.Port, m.Ref)
}

// A Layout says how data stand in a file. The zero value with Ports set is a
// version 1 file, "# GHz S MA R 50".
type Layout struct {
	Version   Version
	Ports     int
	Unit      Unit
	Parameter Parameter
	Format    Format
	// Reference holds the reference resistances in Ω: one for each port, or one
	// for all, or none for 50 Ω.
	Reference []float64
	// Resistance is the resistance of the option line in Ω, 0 for Reference[0].
	// It is the reference of noise data, and differs from Reference only in
	// version 2.
	Resistance  float64
	Order       Order    // two-ports only
	Triangle    Triangle // version 2 only
	Modes       []Mode   // version 2 only; empty for single-ended data
	Information []string // lines between [Begin Information] and [End Information]
}

// PortReference returns the reference resistance of port i, in Ω; ports count
// from 1.
func (l *Layout) PortReference(i int) float64 {
	switch len(l.Reference) {
	case 0:
		return 50
	case 1:
		return l.Reference[0]
	}
	return l.Reference[i-1]
}

// optionResistance is the first number behind R, in Ω.
func (l *Layout) optionResistance() float64 {
	if l.Resistance > 0 {
		return l.Resistance
	}
	return l.PortReference(1)
}

// oneReference tells whether all ports have the same reference.
func (l *Layout) oneReference() bool {
	for _, r := range l.Reference {
		if r != l.Reference[0] {
			return false
		}
	}
	return true
}

// pairs is the number of pairs at one frequency.
func (l *Layout) pairs() int {
	if l.Triangle == Full {
		return l.Ports * l.Ports
	}
	return l.Ports * (l.Ports + 1) / 2
}

// A NoisePoint is one line of noise data of a two-port.
type NoisePoint struct {
	Frequency  float64    // Hz
	Minimum    float64    // minimum noise figure, dB
	Source     complex128 // source reflection coefficient for it, referred to Layout.Resistance
	Resistance float64    // effective noise resistance, Ω
}

// Section is a part of a file in which comments stand.
type Section uint8

const (
	Head      Section = iota // before [Version] and the option line
	Front                    // between the option line and the data
	Network                  // among the network data
	NoiseData                // among the noise data
	Tail                     // behind [End]
)

// A Comment is a comment and its place.
type Comment struct {
	Text     string // what follows the '!', without trailing blanks
	Line     int    // line of the file it was read from
	Section  Section
	Point    int  // with Network and NoiseData: index of the point it precedes or, if Trailing, stands beside
	Row      int  // the data line within that point, from 0
	Trailing bool // behind data, not on a line of its own
}

// A Style says how the numbers of a file are written.
type Style struct {
	Frequency     Number
	First, Second Number // of each pair
}

// A File is a Touchstone file in memory.
type File struct {
	Name   string
	Layout Layout
	// Style is how the file's numbers were written, as far as they agree. The
	// writer follows it only if told to.
	Style     Style
	Frequency []float64 // Hz
	// Data holds one matrix per frequency, row after row. [File.At] cuts it.
	Data     []complex128
	Noise    []NoisePoint
	Comments []Comment
	Warnings Faults // what the reader forgave
}

// At returns the matrix at frequency k as rows, a view of f.Data: element (i, j),
// from 1, is At(k)[(i-1)*ports+j-1].
func (f *File) At(k int) []complex128 {
	n := f.Layout.Ports * f.Layout.Ports
	return f.Data[k*n : (k+1)*n : (k+1)*n]
}

// Read reads a whole file. name is used in messages, and its extension (.s1p,
// .s2p, ...) gives the number of ports where neither the file nor ports does;
// ports is 0 or the number the caller knows. A version 1 file without either is
// counted, if its first point fits 32 kB. If the file has faults, the error
// is a [Faults] and the File holds the points that could be read.
func Read(r io.Reader, name string, ports int) (*File, error) {
	return NewScanner(r, name, ReadOptions{Ports: ports}).ReadAll()
}

// portsOf is the number of ports that an extension .sNp states (also .yNp, .zNp,
// .hNp and .gNp, which are in use), or 0.
func portsOf(name string) int {
	dot := strings.LastIndexByte(name, '.')
	if dot < 0 {
		return 0
	}
	ext := strings.ToLower(name[dot+1:])
	if len(ext) < 3 || !strings.ContainsRune("syzhg", rune(ext[0])) || ext[len(ext)-1] != 'p' {
		return 0
	}
	n := 0
	for _, c := range ext[1 : len(ext)-1] {
		if c < '0' || c > '9' {
			return 0
		}
		n = min(10*n+int(c-'0'), maxPorts+1)
	}
	return n
}
