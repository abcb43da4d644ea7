package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"linewright/app/view"
	"linewright/app/wire"
)

type measuredAnswer struct {
	Files []struct {
		File       string
		Inspection *struct {
			Points  int
			Verdict string
		}
		Sample *view.Sample
		Errors []wire.Error
	}
	Curves     *view.Curves
	Prediction *wire.Prediction
}

// upload sends fields, in pairs, then files, in pairs of name and content.
func upload(t *testing.T, fields, files []string) *http.Request {
	t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for i := 0; i < len(fields); i += 2 {
		if err := m.WriteField(fields[i], fields[i+1]); err != nil {
			t.Fatal(err)
		}
	}
	for i := 0; i < len(files); i += 2 {
		w, err := m.CreateFormFile("file", files[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(files[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest("POST", "http://127.0.0.1"+Prefix+"/measured", &b)
	r.Header.Set("Content-Type", m.FormDataContentType())
	return r
}

// jumper is a matched cable of a loss at 18 GHz, in dB, that follows √f, with a
// spike of loss at one point.
func jumper(loss float64, points, spike int) string {
	var b strings.Builder
	b.WriteString("# GHz S DB R 50\n")
	for k := range points {
		f := 0.5 + 17.5*float64(k)/float64(points-1)
		a := loss * math.Sqrt(f/18)
		if k == spike {
			a = 9
		}
		fmt.Fprintf(&b, "%.6f -30 0 %.6f %.4f %.6f %.4f -30 0\n", f, -a, -math.Mod(100*f, 360), -a, -math.Mod(100*f, 360))
	}
	return b.String()
}

func TestMeasured(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	w := do(s, upload(t, []string{"enquiry", "d1-bench-jumpers", "rank", "1"}, []string{"good.s2p", jumper(1.9, 4001, -1), `C:\lab\..\spike.s2p`, jumper(1.9, 4001, 1234), "short.s2p", jumper(1.9, 11, -1)[:200], "lossy.s2p", jumper(2.5, 201, -1)}))
	var d measuredAnswer
	if err := json.Unmarshal(w.Body.Bytes(), &d); err != nil || w.Code != 200 || len(d.Files) != 4 {
		t.Fatalf("%d %v %.300s", w.Code, err, w.Body)
	}
	if d.Curves == nil || d.Prediction == nil {
		t.Error("no prediction beside the measurement")
	}
	good, spike, short, lossy := d.Files[0], d.Files[1], d.Files[2], d.Files[3]
	limit := func(x *view.Sample, quantity string) view.Judged {
		for _, l := range x.Limits {
			if l.Quantity == quantity {
				return l
			}
		}
		t.Fatalf("no limit of %s", quantity)
		return view.Judged{}
	}
	// The enquiry: 2.2 dB at 18 GHz, VSWR 1.3.
	if l := limit(good.Sample, "insertion_loss"); l.Verdict != "meets" || !(math.Abs(*l.MarginDB-0.3) <= 1e-5) || *l.AtHz != 18e9 {
		t.Errorf("%+v margin %v", l, *l.MarginDB)
	}
	if l := limit(good.Sample, "return_loss"); l.Verdict != "meets" || !(math.Abs(*l.Worst-30) <= 1e-9) {
		t.Errorf("%+v", l)
	}
	if l := limit(lossy.Sample, "insertion_loss"); l.Verdict != "fails" || !(math.Abs(*l.MarginDB+0.3) <= 1e-5) {
		t.Errorf("%+v", l)
	}
	if good.Inspection == nil || good.Inspection.Points != 4001 {
		t.Errorf("%+v", good.Inspection)
	}
	if spike.File != "spike.s2p" {
		t.Errorf("a path in a name is kept: %q", spike.File)
	}
	// No spike is lost in the smaller picture.
	found := false
	for _, tr := range spike.Sample.Traces.Traces {
		if tr.Name == "S21" {
			for i, x := range tr.MinDB {
				if x != nil && math.Abs(*x+9) <= 1e-9 {
					found = true
					at := 0.5e9 + 17.5e9*1234/4000
					if b := spike.Sample.Traces.FrequencyHz[i]; !(b[0] <= at*(1+1e-6) && b[1] >= at*(1-1e-6)) {
						t.Errorf("the spike at %v stands in the bin %v", at, b)
					}
				}
			}
			if len(tr.MinDB) > 1000 {
				t.Errorf("%d bins", len(tr.MinDB))
			}
		}
	}
	if !found {
		t.Error("the spike is gone from the picture")
	}
	if short.Inspection != nil || len(short.Errors) == 0 || short.Errors[0].Line == 0 || short.Errors[0].Column == 0 {
		t.Errorf("a file cut short: %+v", short.Errors)
	}
}

// A file that leaves out part of the band cannot meet a limit over it.
func TestMeasuredShortOfTheBand(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	half := strings.Join(strings.SplitAfter(jumper(1.9, 201, -1), "\n")[:100], "")
	w := do(s, upload(t, []string{"enquiry", "d1-bench-jumpers"}, []string{"half.s2p", half}))
	var d measuredAnswer
	if err := json.Unmarshal(w.Body.Bytes(), &d); err != nil || w.Code != 200 {
		t.Fatalf("%d %v %.300s", w.Code, err, w.Body)
	}
	for _, l := range d.Files[0].Sample.Limits {
		if l.Verdict != "not assessed" || l.Why == "" {
			t.Errorf("%+v", l)
		}
	}
}

func TestMeasuredRefuses(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	ok := jumper(1, 11, -1)
	refusal(t, s, upload(t, nil, nil), 422)
	refusal(t, s, upload(t, []string{"enquiry", "nobody"}, []string{"a.s2p", ok}), 404)
	refusal(t, s, upload(t, []string{"enquiry", "../x"}, []string{"a.s2p", ok}), 400)
	refusal(t, s, upload(t, []string{"enquiry", "d1-bench-jumpers", "rank", "0"}, []string{"a.s2p", ok}), 422)
	refusal(t, s, upload(t, []string{"enquiry", "d1-bench-jumpers", "rank", "99"}, []string{"a.s2p", ok}), 404)
	refusal(t, s, upload(t, []string{"chain", "nobody"}, []string{"a.s2p", ok}), 404)
	refusal(t, s, upload(t, []string{"chain", "bench-jumper", "enquiry", "d1-bench-jumpers", "rank", "1"}, []string{"a.s2p", ok}), 422)
	for _, f := range [][2]string{{"rule", "lenient"}, {"uncertainty", "0.1"}, {"temperature", "23"}, {"guard", "wide"}, {"chain_planes", "perhaps"}, {"directivity", "good"}, {"stored_delay", "4 mm"}} {
		refusal(t, s, upload(t, []string{"chain", "bench-jumper", f[0], f[1]}, []string{"a.s2p", ok}), 422)
	}
	refusal(t, s, upload(t, []string{"chain", "bench-jumper", "guard", "-1"}, []string{"a.s2p", ok}), 422)
	refusal(t, s, upload(t, []string{"colour", "red"}, []string{"a.s2p", ok}), 422)
	var many []string
	for i := range mostSamples + 1 {
		many = append(many, fmt.Sprintf("%d.s2p", i), ok)
	}
	refusal(t, s, upload(t, nil, many), 413)
	r := upload(t, nil, []string{"a.s2p", ok})
	r.Body = http.NoBody
	refusal(t, s, r, 400)
	r = upload(t, nil, []string{"a.s2p", ok})
	r.Body = io.NopCloser(io.LimitReader(r.Body, 400))
	refusal(t, s, r, 400)
}
