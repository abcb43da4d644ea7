package workspace

import (
	"bytes"
	"encoding"
	"encoding/json"
	"path"
	"reflect"
	"strings"

	"linewright/hardware/chain"
	"linewright/job/enquiry"
	"linewright/job/tolerance"
)

// Read returns a file of the workspace as it stands.
func (w Workspace) Read(name string) ([]byte, error) { return w.read(name) }

// EnquiryText reads an enquiry from a text that need not stand in the file
// called name yet.
func (w Workspace) EnquiryText(name string, data []byte) (enquiry.Enquiry, error) {
	var e enquiry.Enquiry
	var err error
	e.Unknown, err = decode(w.show(name), data, &e, true)
	if e.ID == "" {
		e.ID = strings.TrimSuffix(path.Base(name), path.Ext(name))
	}
	return e, err
}

// ChainText reads a chain from a text, and the files, stackups and launches that
// its pieces name from the workspace. JSON is read too.
func (w Workspace) ChainText(name string, data []byte) (chain.Spec, error) {
	var s chain.Spec
	places, err := decodePlaces(w.show(name), data, &s)
	if err != nil {
		return s, err
	}
	if s.Name == "" {
		s.Name = strings.TrimSuffix(path.Base(name), path.Ext(name))
	}
	if err := w.resolveChain(s, places); err != nil {
		return s, err
	}
	for i := range s.Pieces {
		var err error
		p := s.Pieces[i]
		switch {
		case p.File != nil:
			p.File.Network, p.File.Header, err = w.model(p.File.Path)
		case p.Body != nil:
			err = w.body(p.Body)
		case p.Section != nil:
			err = w.section(p.Section)
		}
		if err != nil {
			return s, err
		}
	}
	return s, nil
}

// EncodeJSON writes a struct as JSON with the keys and the words of its file:
// quantities are texts with their units, and what is not stated is left out.
func EncodeJSON(v any) (json.RawMessage, error) {
	x, err := jsonValue(reflect.ValueOf(v))
	if err != nil {
		return nil, err
	}
	return plainJSON(x)
}

// plainJSON is json.Marshal that leaves <, > and & readable.
func plainJSON(v any) (json.RawMessage, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	err := enc.Encode(v)
	return bytes.TrimSpace(b.Bytes()), err
}

// ordered is a JSON object whose keys keep their order.
type ordered struct {
	keys   []string
	values []any
}

// MarshalJSON implements json.Marshaler.
func (o ordered) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, k := range o.keys {
		if i > 0 {
			b.WriteByte(',')
		}
		v, err := plainJSON(o.values[i])
		if err != nil {
			return nil, err
		}
		key, err := json.Marshal(k)
		if err != nil {
			return nil, err
		}
		b.Write(key)
		b.WriteByte(':')
		b.Write(v)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

func jsonValue(v reflect.Value) (any, error) {
	if v.Kind() == reflect.Pointer {
		return jsonValue(v.Elem())
	}
	if m, ok := v.Interface().(encoding.TextMarshaler); ok {
		text, err := m.MarshalText()
		return string(text), err
	}
	switch v.Kind() {
	case reflect.Struct:
		var o ordered
		err := jsonFields(v, &o)
		return o, err
	case reflect.Slice, reflect.Array:
		list := make([]any, v.Len())
		for i := range list {
			x, err := jsonValue(v.Index(i))
			if err != nil {
				return nil, err
			}
			list[i] = x
		}
		return list, nil
	}
	return v.Interface(), nil
}

func jsonFields(v reflect.Value, o *ordered) error {
	t := v.Type()
	for i := range t.NumField() {
		f, x := t.Field(i), v.Field(i)
		switch {
		case f.Tag.Get("file") == "-" || !f.IsExported():
		case f.Anonymous:
			if err := jsonFields(x, o); err != nil {
				return err
			}
		case x.IsZero() || x.Kind() == reflect.Slice && x.Len() == 0 || x.Kind() == reflect.Struct && !stated(x):
		default:
			y, err := jsonValue(x)
			if err != nil {
				return err
			}
			o.keys, o.values = append(o.keys, Key(f.Name)), append(o.values, y)
		}
	}
	return nil
}

// TolerancesText reads tolerances from a text. JSON is read too.
func TolerancesText(name string, data []byte) (tolerance.Tolerances, error) {
	var t tolerance.Tolerances
	_, err := decode(name, data, &t, false)
	return t, err
}
