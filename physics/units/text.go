package units

import "errors"

// Describe returns what kind of quantity v is and an example of it, when v is
// one of this package's types.
func Describe(v any) (name, example string, ok bool) {
	switch q := v.(type) {
	case interface{ kind() kind }:
		return q.kind().name, q.kind().example, true
	case Money:
		return "price", "12.50 EUR", true
	}
	return "", "", false
}

func unmarshal[Q Quantity](q *Q, text []byte) error {
	v, err := Parse[Q](string(text))
	if err == nil {
		*q = v
	}
	return err
}

func marshal[Q Quantity](q Q) ([]byte, error) {
	if q-q != 0 {
		return nil, errors.New("units: a value that is not finite cannot be written")
	}
	return []byte(Exact(q)), nil
}

// The text of a quantity, as encoding.TextMarshaler and TextUnmarshaler have
// it, is its number in its usual unit, with all digits needed to read it back.

func (q *Length) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Length) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Time) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Time) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Frequency) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Frequency) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Mass) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Mass) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Force) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Force) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Torque) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Torque) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Pressure) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Pressure) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Power) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Power) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Voltage) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Voltage) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Resistance) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Resistance) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Capacitance) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Capacitance) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Inductance) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Inductance) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Conductivity) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Conductivity) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Level) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Level) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Attenuation) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Attenuation) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *RootAttenuation) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q RootAttenuation) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *LinAttenuation) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q LinAttenuation) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *RootLevel) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q RootLevel) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Temperature) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Temperature) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Difference) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Difference) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Angle) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Angle) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Ratio) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Ratio) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Expansion) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Expansion) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Delay) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Delay) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *MassPerLength) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q MassPerLength) MarshalText() ([]byte, error)     { return marshal(q) }

func (q *Conductance) UnmarshalText(text []byte) error { return unmarshal(q, text) }
func (q Conductance) MarshalText() ([]byte, error)     { return marshal(q) }

// UnmarshalText reads an amount such as "12.50 EUR".
func (m *Money) UnmarshalText(text []byte) error {
	v, err := ParseMoney(string(text))
	if err == nil {
		*m = v
	}
	return err
}

// MarshalText writes the amount with its currency.
func (m Money) MarshalText() ([]byte, error) { return []byte(m.String()), nil }
