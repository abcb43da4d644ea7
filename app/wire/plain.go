package wire

import (
	"encoding"
	"fmt"
	"math"
	"reflect"

	"linewright/app/workspace"
	"linewright/physics/units"
)

// plain turns a report's struct into maps, lists, numbers and words with keys
// in snake_case. A quantity becomes its SI number, its unit ending the key; a
// number that is not finite becomes null; a nil pointer null.
func plain(v any) any {
	x, _ := plainValue(reflect.ValueOf(v))
	return x
}

// suffix is the unit that ends the key of a quantity.
func suffix(v reflect.Value) string {
	switch v.Interface().(type) {
	case units.Length:
		return "_m"
	case units.Time:
		return "_s"
	case units.Frequency:
		return "_hz"
	case units.Mass:
		return "_kg"
	case units.Force:
		return "_n"
	case units.Torque:
		return "_n_m"
	case units.Pressure:
		return "_pa"
	case units.Power:
		return "_w"
	case units.Voltage:
		return "_v"
	case units.Resistance:
		return "_ohm"
	case units.Level:
		return "_db"
	case units.Temperature:
		return "_c"
	case units.Difference:
		return "_k"
	case units.Angle:
		return "_deg"
	case units.Ratio:
		return ""
	case units.Expansion:
		return "_per_k"
	case units.Delay:
		return "_s_per_m"
	}
	return ""
}

func plainValue(v reflect.Value) (out any, unit string) {
	if !v.IsValid() {
		return nil, ""
	}
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if v.IsNil() {
			return nil, ""
		}
		return plainValue(v.Elem())
	case reflect.Float64:
		x := v.Float()
		switch q := v.Interface().(type) {
		case units.Temperature:
			x = q.Celsius()
		case units.Angle:
			x = units.In(q, "deg")
		}
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, suffix(v)
		}
		return x, suffix(v)
	case reflect.Int, reflect.Int64, reflect.Int32:
		if s, ok := v.Interface().(fmt.Stringer); ok {
			return s.String(), ""
		}
		return v.Int(), ""
	case reflect.Uint64:
		return v.Uint(), ""
	case reflect.Bool:
		return v.Bool(), ""
	case reflect.String:
		return v.String(), ""
	case reflect.Slice, reflect.Array:
		list := []any{}
		u := ""
		for i := range v.Len() {
			x, s := plainValue(v.Index(i))
			list, u = append(list, x), s
		}
		return list, u
	case reflect.Struct:
		if m, ok := v.Interface().(units.Money); ok {
			return Price{m.Float(), m.Currency}, ""
		}
		if m, ok := v.Interface().(encoding.TextMarshaler); ok {
			if text, err := m.MarshalText(); err == nil {
				return string(text), ""
			}
		}
		m := map[string]any{}
		t := v.Type()
		for i := range t.NumField() {
			f := t.Field(i)
			if !f.IsExported() {
				continue
			}
			x, u := plainValue(v.Field(i))
			if f.Anonymous {
				if inner, ok := x.(map[string]any); ok {
					for k, y := range inner {
						m[k] = y
					}
					continue
				}
			}
			m[workspace.Key(f.Name)+u] = x
		}
		return m, ""
	}
	return nil, ""
}
