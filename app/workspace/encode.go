package workspace

import (
	"encoding"
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"linewright/hardware/chain"
)

// EncodeChain writes a chain as a file that [Workspace.Chain] reads back.
func EncodeChain(s chain.Spec) ([]byte, error) { return Encode(s) }

// Encode writes a struct as YAML with the keys that decode reads. What is not
// stated (nil, empty, zero) is left out.
func Encode(v any) ([]byte, error) {
	var b strings.Builder
	if _, err := encodeStruct(&b, reflect.ValueOf(v), 0, false); err != nil {
		return nil, err
	}
	return []byte(b.String()), nil
}

// encodeStruct writes the fields of a struct and says whether there were any.
// In a list the first key stands behind the dash.
func encodeStruct(b *strings.Builder, v reflect.Value, indent int, inList bool) (wrote bool, err error) {
	t := v.Type()
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Tag.Get("file") == "-" || !f.IsExported() {
			continue
		}
		x := v.Field(i)
		if f.Anonymous {
			some, err := encodeStruct(b, x, indent, inList && !wrote)
			if err != nil {
				return wrote, err
			}
			wrote = wrote || some
			continue
		}
		if x.IsZero() || x.Kind() == reflect.Slice && x.Len() == 0 || x.Kind() == reflect.Struct && !stated(x) {
			continue
		}
		pad := strings.Repeat("  ", indent)
		if inList && !wrote {
			pad = ""
		}
		fmt.Fprintf(b, "%s%s:", pad, Key(f.Name))
		wrote = true
		if err := encodeValue(b, x, indent); err != nil {
			return wrote, fmt.Errorf("%s: %w", Key(f.Name), err)
		}
	}
	return wrote, nil
}

func encodeValue(b *strings.Builder, v reflect.Value, indent int) error {
	if v.Kind() == reflect.Pointer {
		return encodeValue(b, v.Elem(), indent)
	}
	if m, ok := v.Interface().(encoding.TextMarshaler); ok {
		text, err := m.MarshalText()
		if err != nil {
			return err
		}
		fmt.Fprintf(b, " %s\n", quote(string(text)))
		return nil
	}
	switch v.Kind() {
	case reflect.Struct:
		if !stated(v) {
			b.WriteString(" {}\n")
			return nil
		}
		b.WriteByte('\n')
		_, err := encodeStruct(b, v, indent+1, false)
		return err
	case reflect.Slice, reflect.Array:
		b.WriteByte('\n')
		for i := range v.Len() {
			b.WriteString(strings.Repeat("  ", indent+1) + "-")
			item := v.Index(i)
			if _, text := item.Interface().(encoding.TextMarshaler); item.Kind() == reflect.Struct && !text {
				b.WriteByte(' ')
				wrote, err := encodeStruct(b, item, indent+2, true)
				if err != nil {
					return err
				}
				if !wrote {
					b.WriteString("{}\n")
				}
				continue
			}
			if err := encodeValue(b, item, indent+1); err != nil {
				return err
			}
		}
	case reflect.String:
		fmt.Fprintf(b, " %s\n", quote(v.String()))
	case reflect.Bool:
		fmt.Fprintf(b, " %t\n", v.Bool())
	case reflect.Int, reflect.Int64:
		fmt.Fprintf(b, " %d\n", v.Int())
	case reflect.Float64:
		fmt.Fprintf(b, " %s\n", strconv.FormatFloat(v.Float(), 'g', -1, 64))
	default:
		return fmt.Errorf("no way to write a %s", v.Type())
	}
	return nil
}

// stated says whether a struct holds anything that is written.
func stated(v reflect.Value) bool {
	if _, text := v.Interface().(encoding.TextMarshaler); text {
		return !v.IsZero()
	}
	var b strings.Builder
	wrote, err := encodeStruct(&b, v, 0, false)
	return wrote || err != nil
}

// quote leaves plain words as they are and quotes what YAML would read
// otherwise.
func quote(s string) string {
	plain := s != "" && s == strings.TrimSpace(s)
	for i, r := range s {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', strings.ContainsRune("_./()°·Ωµ%+", r):
		case r == ' ' && i > 0:
		case r == '-' && i+1 < len(s) && s[i+1] != ' ':
		default:
			plain = false
		}
	}
	switch strings.ToLower(s) {
	case "true", "false", "yes", "no", "null", "~", "on", "off", "unknown":
		plain = false
	}
	if plain && strings.ContainsRune("-%.+_", rune(s[0])) { // a negative quantity, and nothing else, begins with a sign
		plain = s[0] == '-' && len(s) > 1 && s[1] >= '0' && s[1] <= '9'
	}
	if plain {
		return s
	}
	return strconv.Quote(s)
}
