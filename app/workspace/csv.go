package workspace

import (
	"bytes"
	"encoding"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"

	"linewright/hardware/catalogue"
	"linewright/internal/spell"
	"linewright/physics/units"
)

// ErrColumns says that a table's header or a row's length is wrong.
var ErrColumns = errors.New("the columns do not fit")

// decodeCSV reads a table of parts. The first row names the columns: one called
// kind (cable, cable_connector, board_connector, adapter or bullet) and the
// keys of a catalogue file, with a point where YAML indents: core.diameter. A
// unit in brackets behind a column's name holds for its bare numbers:
// outer_diameter [mm]. Several values in one cell are parted by a semicolon.
// Lines that start with # are comments. Empty cells are not stated.
func decodeCSV(file string, data []byte) (catalogue.Catalogue, error) {
	var c catalogue.Catalogue
	var faults Faults
	data, fault := plainText(data)
	if fault != nil {
		fault.File = file
		return c, Faults{*fault}
	}
	r := csv.NewReader(bytes.NewReader(data))
	r.Comment = '#'
	r.FieldsPerRecord = -1
	r.TrimLeadingSpace = true
	head, err := r.Read()
	if err == io.EOF {
		return c, Faults{{File: file, Err: ErrEmpty, Problem: "the table is empty", Help: "the first row names the columns: kind, id, face.series ..."}}
	}
	if err != nil {
		return c, Faults{csvFault(file, err)}
	}
	columns := make([]column, len(head))
	kindAt := -1
	for i, h := range head {
		columns[i] = newColumn(h)
		if columns[i].key == "kind" {
			kindAt = i
		}
	}
	if kindAt < 0 {
		return c, Faults{{File: file, Line: 1, Column: 1, Err: ErrColumns, Found: strings.Join(head, ","), Problem: "no column is called kind", Help: "add one that says cable, cable_connector, board_connector, adapter or bullet"}}
	}
	for len(faults) < maxFaults {
		row, err := r.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return c, append(faults, csvFault(file, err))
		}
		line, _ := r.FieldPos(0)
		if len(row) != len(head) {
			faults = append(faults, Fault{File: file, Line: line, Column: 1, Err: ErrColumns, Problem: fmt.Sprintf("%d cells under %d columns", len(row), len(head)), Help: "a comma may be missing, or a text with a comma may want quotes"})
			continue
		}
		list, item, ok := newRow(&c, row[kindAt])
		if !ok {
			l, col := r.FieldPos(kindAt)
			faults = append(faults, Fault{File: file, Line: l, Column: col, Found: strconv.Quote(row[kindAt]), Err: ErrWord, Problem: "not a kind of part", Help: "write cable, cable_connector, board_connector, adapter or bullet"})
			continue
		}
		for i, cell := range row {
			cell = strings.TrimSpace(cell)
			if i == kindAt || cell == "" {
				continue
			}
			if err := columns[i].set(item, cell); err != nil {
				err.File = file
				err.Line, err.Column = r.FieldPos(i)
				faults = append(faults, *err)
			}
		}
		list.Set(reflect.Append(list, item))
	}
	if len(faults) > 0 {
		return c, faults
	}
	return c, nil
}

func csvFault(file string, err error) Fault {
	f := Fault{File: file, Err: ErrSyntax, Problem: err.Error(), Help: "check the quotes of this row"}
	var p *csv.ParseError
	if errors.As(err, &p) {
		f.Line, f.Column, f.Problem = p.Line, p.Column, p.Err.Error()
	}
	return f
}

func newRow(c *catalogue.Catalogue, kind string) (list, item reflect.Value, ok bool) {
	name := map[string]string{"cable": "Cables", "cable_connector": "CableConnectors", "board_connector": "BoardConnectors", "adapter": "Adapters", "bullet": "Bullets"}[strings.TrimSpace(kind)]
	if name == "" {
		return list, item, false
	}
	list = reflect.ValueOf(c).Elem().FieldByName(name)
	return list, reflect.New(list.Type().Elem()).Elem(), true
}

type column struct{ key, unit string }

func newColumn(h string) column {
	h = strings.TrimSpace(h)
	if i := strings.IndexByte(h, '['); i > 0 && strings.HasSuffix(h, "]") {
		return column{strings.TrimSpace(h[:i]), strings.TrimSpace(h[i+1 : len(h)-1])}
	}
	return column{key: h}
}

// set puts a cell's text into the field that the column's key names.
func (c column) set(item reflect.Value, cell string) *Fault {
	v, above := item, c.key
	for _, key := range strings.Split(c.key, ".") {
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				v.Set(reflect.New(v.Type().Elem()))
			}
			v = v.Elem()
		}
		if v.Kind() != reflect.Struct {
			return &Fault{Found: strconv.Quote(c.key), Err: ErrUnknownKey, Problem: "nothing lies below " + above, Help: "write the key as in a catalogue file"}
		}
		f, ok := field(v, key)
		if !ok {
			help := "keys here are: " + strings.Join(keysOf(v.Type()), ", ")
			if near := spell.Nearest(key, keysOf(v.Type()), 2); near != "" {
				help = "did you mean " + near + "?"
			}
			return &Fault{Found: strconv.Quote(c.key), Err: ErrUnknownKey, Problem: "no column is called so for this kind of part", Help: help}
		}
		v, above = f, key
	}
	return c.cell(v, cell)
}

func (c column) cell(v reflect.Value, cell string) *Fault {
	found := strconv.Quote(cell)
	if v.Kind() == reflect.Pointer {
		x := reflect.New(v.Type().Elem())
		if f := c.cell(x.Elem(), cell); f != nil {
			return f
		}
		v.Set(x)
		return nil
	}
	if t, ok := v.Addr().Interface().(encoding.TextUnmarshaler); ok {
		text := cell
		if c.unit != "" {
			if _, err := strconv.ParseFloat(cell, 64); err == nil {
				text += " " + c.unit
			}
		}
		if err := t.UnmarshalText([]byte(text)); err != nil {
			var p *units.ParseError
			if errors.As(err, &p) {
				return &Fault{Found: found, Err: p.Err, Problem: p.Err.Error(), Help: p.Help}
			}
			return &Fault{Found: found, Err: ErrValue, Problem: err.Error(), Help: "see the same key in a catalogue file"}
		}
		return nil
	}
	switch v.Kind() {
	case reflect.String:
		if o, ok := v.Interface().(interface{ Options() []string }); ok {
			for _, w := range o.Options() {
				if w == cell {
					v.SetString(cell)
					return nil
				}
			}
			return &Fault{Found: found, Err: ErrWord, Problem: "not one of the words here", Help: "write one of: " + strings.Join(o.Options(), ", ")}
		}
		v.SetString(cell)
	case reflect.Float64:
		x, err := strconv.ParseFloat(cell, 64)
		if err != nil || x-x != 0 {
			return &Fault{Found: found, Err: ErrType, Problem: "a plain number is wanted", Help: "write it without a unit, such as 1.15"}
		}
		v.SetFloat(x)
	case reflect.Int:
		x, err := strconv.ParseInt(cell, 10, 32)
		if err != nil {
			return &Fault{Found: found, Err: ErrType, Problem: "a whole number is wanted", Help: "write it without a unit, such as 500"}
		}
		v.SetInt(x)
	case reflect.Slice:
		if v.Type().Elem().Kind() != reflect.String {
			return &Fault{Found: strconv.Quote(c.key), Err: ErrUnsupported, Problem: "a table has no room for this list", Help: "write this part in a .yaml file"}
		}
		for _, s := range strings.Split(cell, ";") {
			x := reflect.New(v.Type().Elem()).Elem()
			if f := (column{key: c.key}).cell(x, strings.TrimSpace(s)); f != nil {
				return f
			}
			v.Set(reflect.Append(v, x))
		}
	default:
		return &Fault{Found: strconv.Quote(c.key), Err: ErrUnknownKey, Problem: "this key holds others", Help: "name one below it, such as " + c.key + "." + firstKey(v.Type())}
	}
	return nil
}

func firstKey(t reflect.Type) string {
	if t.Kind() == reflect.Struct {
		if ks := keysOf(t); len(ks) > 0 {
			return ks[0]
		}
	}
	return "key"
}
