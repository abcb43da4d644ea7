package workspace

import (
	"encoding"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// awkward are texts that YAML would like to read as something else.
var awkward = []string{"a", "K35", "solder edge of the near board", "null", "Null", "~", "true", "No", "unknown", "0", "085", "1e5", "0x1F", "-5", "- a", "-", "a: b", "a:", "a #b", "#", "it's", `"quoted"`, "[x]", "{x}", "&a", "*a", "!t", "|", ">", "%",
	"@", "`", " lead", "trail ", "two\nlines", "tab\there", "\\", "é µm Ω °", ".inf", ".nan", "=", "<<", "?", "2026-11-25", "12:30", "1_000", "+1", "50 %", "\u00a0", "\u2028", "\u007f", "\U0001F600", "---", "...", "y", "a,b", "'", ",", "\u0007"}

// fill gives every field that a file can state a random value.
func fill(r *rand.Rand, v reflect.Value, depth int) {
	t := v.Type()
	if m, ok := v.Addr().Interface().(encoding.TextUnmarshaler); ok {
		if money, ok := m.(*units.Money); ok {
			*money = units.Money{Micros: r.Int64N(1e12), Currency: "EUR"}
			return
		}
		x := math.Exp(20 * (r.Float64() - 0.5)) // any quantity may be that large or small
		if r.IntN(8) == 0 {
			x = 0
		}
		v.SetFloat(x)
		return
	}
	switch t.Kind() {
	case reflect.Pointer:
		if r.IntN(3) > 0 && depth < 6 {
			v.Set(reflect.New(t.Elem()))
			fill(r, v.Elem(), depth+1)
		}
	case reflect.Struct:
		for i := range t.NumField() {
			if f := t.Field(i); f.IsExported() && f.Tag.Get("file") != "-" && (f.Anonymous || r.IntN(3) > 0) {
				fill(r, v.Field(i), depth+1)
			}
		}
	case reflect.Slice:
		if depth < 6 {
			v.Set(reflect.MakeSlice(t, r.IntN(4), 4))
		}
		for i := range v.Len() {
			fill(r, v.Index(i), depth+1)
		}
	case reflect.Array:
		for i := range v.Len() {
			fill(r, v.Index(i), depth+1)
		}
	case reflect.String:
		if o, ok := v.Interface().(interface{ Options() []string }); ok {
			v.SetString(o.Options()[r.IntN(len(o.Options()))])
			return
		}
		v.SetString(awkward[r.IntN(len(awkward))])
	case reflect.Bool:
		v.SetBool(r.IntN(2) == 0)
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(int32(r.Uint32())))
	case reflect.Float64:
		v.SetFloat(r.NormFloat64() * math.Exp(20*r.NormFloat64()))
	}
}

// What is written reads back as it was, whatever its texts look like to YAML.
func TestWhatIsWrittenReadsBack(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for range 60 {
		var s chain.Spec
		fill(r, reflect.ValueOf(&s).Elem(), 0)
		again(t, s, func(data []byte) (chain.Spec, error) {
			var back chain.Spec
			_, err := decode("x", data, &back, false)
			return back, err
		})
		var c catalogue.Catalogue
		fill(r, reflect.ValueOf(&c).Elem(), 0)
		again(t, c, func(data []byte) (catalogue.Catalogue, error) {
			var back catalogue.Catalogue
			_, err := decode("x", data, &back, false)
			return back, err
		})
		var e enquiry.Enquiry
		fill(r, reflect.ValueOf(&e).Elem(), 0)
		again(t, e, func(data []byte) (enquiry.Enquiry, error) {
			var back enquiry.Enquiry
			_, err := decode("x", data, &back, true)
			return back, err
		})
	}
}

// Each awkward text survives alone, at the places a text can stand.
func TestAwkwardTexts(t *testing.T) {
	for _, text := range awkward {
		want := chain.Spec{Name: text, Pieces: []chain.PieceSpec{{Name: text}, {Part: text}}}
		data, err := EncodeChain(want)
		if err != nil {
			t.Fatal(err)
		}
		var got chain.Spec
		if _, err := decode("x", data, &got, false); err != nil {
			t.Errorf("%q was written as\n%s\nand cannot be read: %v", text, data, err)
			continue
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%q was written as\n%s\nand read as %+v", text, data, got)
		}
	}
}
