package touchstone

import (
	"encoding/binary"
	"math"
	"math/bits"
	"strconv"
)

// scanNumber reads the decimal number that begins at b[i], multiplies it by
// 10^shift and rounds once, to nearest even: so "1.1" with shift 9 is exactly
// 1.1e9, which 1.1*1e9 need not be. The number ends before a blank, a tab, a
// '!' or the end of b; end is that place. The grammar is
//
//	[+-] digits [. digits] [e [+-] digits]
//
// with at least one digit before or behind the point. form has the one bit set
// that says how the number was written; see [formOf]. If ok is false, no such
// number stands there, or it exceeds the range of float64.
//
// The result is that of strconv.ParseFloat, bit for bit: where exact does not
// answer, strconv does.
func scanNumber(b []byte, i, shift int) (v float64, end int, form uint64, ok bool) {
	start := i
	neg := false
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		neg = b[i] == '-'
		i++
	}
	var w uint64
	first := i
	for i < len(b) {
		d := uint64(b[i] - '0')
		if d > 9 {
			break
		}
		w = w*10 + d
		i++
	}
	whole := i - first
	digits, places := whole, 0
	if i < len(b) && b[i] == '.' {
		i++
		point := i
		for i+8 <= len(b) {
			x := binary.LittleEndian.Uint64(b[i:])
			if !eightDigits(x) {
				break
			}
			w = w*100000000 + valueOfEight(x)
			i += 8
		}
		for i < len(b) {
			d := uint64(b[i] - '0')
			if d > 9 {
				break
			}
			w = w*10 + d
			i++
		}
		places = i - point
		digits += places
	}
	if digits == 0 {
		return 0, i, 0, false
	}
	mantissaEnd := i
	e := 0
	var letter byte
	if i < len(b) && b[i]|0x20 == 'e' {
		letter = b[i]
		i++
		eneg := false
		if i < len(b) && (b[i] == '-' || b[i] == '+') {
			eneg = b[i] == '-'
			i++
		}
		expo := i
		for i < len(b) {
			d := int(b[i]) - '0'
			if uint(d) > 9 {
				break
			}
			if e < 1e6 {
				e = e*10 + d
			}
			i++
		}
		if i == expo {
			return 0, i, 0, false
		}
		if eneg {
			e = -e
		}
	}
	if i < len(b) && b[i] != ' ' && b[i] != '\t' && b[i] != '!' {
		return 0, i, 0, false
	}
	form = formOf(letter, whole, places)
	if digits <= 19 { // w did not overflow
		if v, ok := exact(w, e-places+shift); ok {
			if neg {
				v = -v
			}
			return v, i, form, true
		}
	}
	// Behind the mantissa strconv gets the exponent that includes the shift.
	text := b[start:mantissaEnd]
	if e+shift != 0 {
		text = append(append(make([]byte, 0, len(text)+12), text...), 'e')
		text = strconv.AppendInt(text, int64(e+shift), 10)
	}
	v, err := strconv.ParseFloat(string(text), 64)
	return v, i, form, err == nil
}

// eightDigits tells whether the eight bytes of x are all '0' to '9': the high
// half of each byte is 3, and stays 3 when 6 is added to the low half.
func eightDigits(x uint64) bool {
	const high = 0xf0f0f0f0f0f0f0f0
	return x&high|((x+0x0606060606060606)&high)>>4 == 0x3333333333333333
}

// valueOfEight is the number that eight digits spell, the first in the lowest
// byte: pairs, then fours, then all eight are combined by one multiplication
// each.
func valueOfEight(x uint64) uint64 {
	x &= 0x0f0f0f0f0f0f0f0f
	x = (x*10 + x>>8) & 0x00ff00ff00ff00ff
	x = (x*100 + x>>16) & 0x0000ffff0000ffff
	return (x*10000 + x>>32) & 0xffffffff
}

// exact returns w·10^e rounded once, if it can prove that it does.
//
//   - With w < 2^53 and |e| ≤ 22 both w and 10^|e| are float64 numbers, so one
//     IEEE operation rounds once.
//   - With |e| ≤ 27, 5^|e| fits 63 bits. The product w·5^e has 128 bits and is
//     computed whole. The quotient w/5^-e is computed to at least 63 bits; its
//     last bit is made odd if a remainder is left ("sticky"), which lies at
//     least nine bits below the rounding position and so decides ties only.
//     The conversion to float64 then rounds once, and scaling by a power of two
//     is exact as the results stay far inside the normal range.
func exact(w uint64, e int) (float64, bool) {
	if w < 1<<53 {
		switch {
		case 0 <= e && e <= 22:
			return float64(w) * pow10[e], true
		case -22 <= e && e < 0:
			return float64(w) / pow10[-e], true
		}
	}
	switch {
	case w == 0:
		return 0, true
	case 0 <= e && e <= 27:
		hi, lo := bits.Mul64(w, pow5[e])
		if hi == 0 {
			return float64(lo) * pow2(e), true
		}
		n := bits.LeadingZeros64(hi)
		q := hi<<n | lo>>(64-n)
		if lo<<n != 0 {
			q |= 1
		}
		return float64(q) * pow2(64-n+e), true
	case -27 <= e && e < 0:
		d := pow5[-e]
		n, m := bits.LeadingZeros64(w), bits.LeadingZeros64(d)
		w <<= n
		d <<= m
		q, r := bits.Div64(w>>1, w<<63, d) // w·2^63/d, between 2^62 and 2^64
		if r != 0 {
			q |= 1
		}
		return float64(q) * pow2(m-n-63+e), true
	}
	return 0, false
}

// pow2 is 2^n for -1022 ≤ n ≤ 1023.
func pow2(n int) float64 { return math.Float64frombits(uint64(1023+n) << 52) }

var pow10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

var pow5 = [...]uint64{1, 5, 25, 125, 625, 3125, 15625, 78125, 390625, 1953125, 9765625,
	48828125, 244140625, 1220703125, 6103515625, 30517578125, 152587890625,
	762939453125, 3814697265625, 19073486328125, 95367431640625, 476837158203125,
	2384185791015625, 11920928955078125, 59604644775390625, 298023223876953125,
	1490116119384765625, 7450580596923828125}

// A Number says how numbers are written. The zero value writes the fewest
// digits that read back as the same float64.
type Number struct {
	Verb     byte // 'f' fixed point, 'e' or 'E' with exponent, 0 fewest digits
	Decimals int  // digits behind the point, with Verb 'f', 'e' or 'E'
}

// formOf gives the bit of the way a number is written: bits 0 to 19 fixed point
// with so many decimals, 20 to 39 with 'e', 40 to 59 with 'E', 63 anything that
// [Number] does not say.
func formOf(letter byte, whole, places int) uint64 {
	switch {
	case places > 19 || whole == 0:
	case letter == 0:
		return 1 << places
	case whole != 1:
	case letter == 'e':
		return 1 << (20 + places)
	default:
		return 1 << (40 + places)
	}
	return 1 << 63
}

// numberOf is the way all numbers were written whose bits are set in forms, or
// the zero Number if they do not agree.
func numberOf(forms uint64) Number {
	if bits.OnesCount64(forms) != 1 || forms == 1<<63 {
		return Number{}
	}
	n := bits.TrailingZeros64(forms)
	return Number{Verb: "feE"[n/20], Decimals: n % 20}
}

func (n Number) append(dst []byte, v float64) []byte {
	if n.Verb == 0 {
		return strconv.AppendFloat(dst, v, 'g', -1, 64)
	}
	return strconv.AppendFloat(dst, v, n.Verb, n.Decimals, 64)
}

// appendShifted writes v·10^-shift, so that scanNumber with the same shift reads
// v back, bit for bit. It keeps to n only where that holds.
func (n Number) appendShifted(dst []byte, v float64, shift int) []byte {
	if shift == 0 && n.Verb == 0 && v < 1e21 && (v == 0 || v >= 1e-6) {
		return strconv.AppendFloat(dst, v, 'f', -1, 64) // 1500000000, not 1.5e+09
	}
	var buf [32]byte
	digits, expo := decimal(strconv.AppendFloat(buf[:0], v, 'e', -1, 64))
	if v != 0 {
		expo -= shift
	}
	if n.Verb != 0 {
		want := n.Decimals + 1
		if n.Verb == 'f' {
			want += expo
		}
		if want >= len(digits) {
			for len(digits) < want && len(digits) < len(buf)-2 {
				digits = append(digits, '0')
			}
			if len(digits) == want {
				if n.Verb == 'f' {
					return appendFixed(dst, digits, expo)
				}
				return appendExponent(dst, digits, expo, n.Verb)
			}
		}
	}
	for len(digits) > 1 && digits[len(digits)-1] == '0' {
		digits = digits[:len(digits)-1]
	}
	if -6 <= expo && expo < 21 {
		return appendFixed(dst, digits, expo)
	}
	return appendExponent(dst, digits, expo, 'e')
}

// decimal takes strconv's d.ddde±dd apart, in place.
func decimal(text []byte) (digits []byte, expo int) {
	digits = text[:0]
	for i, c := range text {
		if c == 'e' {
			expo, _ = strconv.Atoi(string(text[i+1:])) // strconv's own text
			break
		}
		if c != '.' {
			digits = append(digits, c)
		}
	}
	return digits, expo
}

func appendFixed(dst, digits []byte, expo int) []byte {
	if expo < 0 {
		dst = append(dst, '0', '.')
		for ; expo < -1; expo++ {
			dst = append(dst, '0')
		}
		return append(dst, digits...)
	}
	for i := 0; i < len(digits) || i <= expo; i++ {
		if i == expo+1 {
			dst = append(dst, '.')
		}
		if i < len(digits) {
			dst = append(dst, digits[i])
		} else {
			dst = append(dst, '0')
		}
	}
	return dst
}

func appendExponent(dst, digits []byte, expo int, letter byte) []byte {
	dst = append(dst, digits[0])
	if len(digits) > 1 {
		dst = append(dst, '.')
		dst = append(dst, digits[1:]...)
	}
	dst = append(dst, letter)
	if expo < 0 {
		dst = append(dst, '-')
		expo = -expo
	} else {
		dst = append(dst, '+')
	}
	if expo < 10 {
		dst = append(dst, '0')
	}
	return strconv.AppendInt(dst, int64(expo), 10)
}
