package web

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// A page of another name that was rebound to this machine's address gets
// nothing, neither data nor pages.
func TestHostMustBeOurs(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	for _, host := range []string{"evil.example", "evil.example:8713", "127.0.0.1.evil.example", "localhost.evil.example:8713", "10.0.0.7:8713", "", "[::2]:8713", "0.0.0.0:8713"} {
		for _, at := range []string{"/", Prefix + "/workspace"} {
			r := request("GET", at, "")
			r.Host = host
			refusal(t, s, r, http.StatusMisdirectedRequest)
		}
	}
	for _, host := range []string{"127.0.0.1:8713", "127.0.0.1", "localhost:8713", "LOCALHOST", "[::1]:8713"} {
		r := request("GET", Prefix+"/workspace", "")
		r.Host = host
		if w := do(s, r); w.Code != 200 {
			t.Errorf("host %q: %d", host, w.Code)
		}
	}
}

// Another site's page can neither change nor read anything.
func TestCrossSiteIsRefused(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	for _, c := range []struct{ name, value string }{
		{"Origin", "https://evil.example"}, {"Origin", "null"}, {"Origin", "http://127.0.0.1:9999"}, {"Origin", "http://localhost:8713"}, {"Origin", "%"},
		{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"},
	} {
		for _, call := range []string{"GET /workspace", "GET /enquiries", "GET /events", "GET /openapi.json", "POST /answer", "PUT /enquiries/d1-bench-jumpers", "DELETE /jobs/x", "POST /jobs", "OPTIONS /answer"} {
			method, at, _ := strings.Cut(call, " ")
			r := request(method, Prefix+at, "{}")
			r.Header.Set(c.name, c.value)
			w := do(s, r)
			if w.Code != http.StatusForbidden {
				t.Errorf("%s with %s: %s: %d", call, c.name, c.value, w.Code)
			}
			for h := range w.Header() {
				if strings.HasPrefix(h, "Access-Control-") {
					t.Errorf("%s: header %s", call, h)
				}
			}
		}
	}
	r := request("GET", Prefix+"/workspace", "")
	r.Header.Set("Origin", "http://127.0.0.1:8713")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if w := do(s, r); w.Code != 200 {
		t.Errorf("our own page: %d", w.Code)
	}
}

func TestToken(t *testing.T) {
	s := serverOf(t, copyOfDemo(t), func(o *Options) { o.Token, o.AnyHost = "secret", true })
	with := func(target string, change func(*http.Request)) int {
		r := request("GET", target, "")
		r.Host = "bench.example:8713"
		change(r)
		return do(s, r).Code
	}
	none := func(*http.Request) {}
	for _, at := range []string{"/", Prefix + "/workspace", "/?token=secre", "/?token=", Prefix + "/workspace?token=secret2"} {
		if code := with(at, none); code != http.StatusUnauthorized {
			t.Errorf("%s: %d", at, code)
		}
	}
	r := request("GET", "/enquiries?view=1&token=secret", "")
	r.Host = "bench.example:8713"
	w := do(s, r)
	c := w.Result().Cookies()
	if w.Code != 303 || w.Header().Get("Location") != "/enquiries?view=1" || len(c) != 1 || !c[0].HttpOnly || c[0].SameSite != http.SameSiteStrictMode {
		t.Fatalf("%d %v", w.Code, c)
	}
	if code := with(Prefix+"/workspace?token=secret", none); code != 200 {
		t.Errorf("with the token in the address: %d", code)
	}
	if code := with(Prefix+"/workspace", func(r *http.Request) { r.AddCookie(c[0]) }); code != 200 {
		t.Errorf("with the cookie: %d", code)
	}
	if code := with(Prefix+"/workspace", func(r *http.Request) { r.Header.Set("Authorization", "Bearer secret") }); code != 200 {
		t.Errorf("with the header: %d", code)
	}
}

// An id names a file of its folder and nothing else.
func TestNoTraversal(t *testing.T) {
	dir := copyOfDemo(t)
	outside := filepath.Join(filepath.Dir(dir), "outside.yaml")
	if err := os.WriteFile(outside, []byte("title: secret\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(outside, filepath.Join(dir, "enquiries", "link.yaml")); err != nil {
		t.Fatal(err)
	}
	s := serverOf(t, dir)
	for _, id := range []string{"..%2f..%2foutside", "..%5c..%5coutside", "%2e%2e", "..", "%2fetc%2fpasswd", "a%00b", "link", "CON", "d1-bench-jumpers.yaml%2f.."} {
		for _, folder := range []string{"enquiries", "chains"} {
			for _, method := range []string{"GET", "PUT"} {
				body := ""
				if method == "PUT" {
					body = `{"etag":"x","text":"title: y"}`
				}
				w := do(s, request(method, Prefix+"/"+folder+"/"+id, body))
				if w.Code < 300 || w.Code >= 500 || strings.Contains(w.Body.String(), "secret") {
					t.Errorf("%s %s/%s: %d %.200s", method, folder, id, w.Code, w.Body)
				}
			}
		}
	}
	if data, _ := os.ReadFile(outside); string(data) != "title: secret\n" {
		t.Errorf("the file outside is %q", data)
	}
}

// counted is a body without end that says how much of it was read.
type counted struct {
	left int64
	read atomic.Int64
}

func (c *counted) Read(p []byte) (int, error) {
	n := int64(len(p))
	if n > c.left-c.read.Load() {
		n = c.left - c.read.Load()
	}
	if n == 0 {
		return 0, io.EOF
	}
	for i := range p[:n] {
		p[i] = ' '
	}
	c.read.Add(n)
	return int(n), nil
}

// Two gigabytes are refused early: by their announced length without reading a
// byte, and streamed without it after little more than the limit.
func TestHugeBody(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	for _, announced := range []bool{true, false} {
		for _, at := range []string{"/answer", "/enquiries", "/line", "/jobs"} {
			body := &counted{left: 2 << 30}
			r := httptest.NewRequest("POST", "http://127.0.0.1"+Prefix+at, body)
			r.Header.Set("Content-Type", "application/json")
			r.ContentLength = -1
			most := int64(maxBody + 1<<20)
			if announced {
				r.ContentLength, most = 2<<30, 0
			}
			refusal(t, s, r, http.StatusRequestEntityTooLarge)
			if n := body.read.Load(); n > most {
				t.Errorf("%s, announced %v: %d bytes were read", at, announced, n)
			}
		}
	}
	body := &counted{left: 2 << 30}
	var head bytes.Buffer
	m := multipart.NewWriter(&head)
	if _, err := m.CreateFormFile("file", "huge.s2p"); err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest("POST", "http://127.0.0.1"+Prefix+"/measured", io.MultiReader(&head, body))
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.ContentLength = -1
	refusal(t, s, r, http.StatusRequestEntityTooLarge)
	if n := body.read.Load(); n > maxUpload+1<<20 {
		t.Errorf("%d bytes of a measured file were read", n)
	}
}

// Malformed bodies are told with their place, and kinds of body are enforced.
func TestMalformed(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	e := refusal(t, s, request("POST", Prefix+"/answer", "{\n  \"enquiry\": \"d1\",\n  oops\n}"), http.StatusBadRequest)
	if e.Errors[0].Line != 3 || e.Errors[0].Column != 3 {
		t.Errorf("%+v", e.Errors[0])
	}
	for body, status := range map[string]int{
		`{"enquiry":7}`: 422,
		`{"enquiry":"d1-bench-jumpers","edit":[]}`: 422,
		`[]`:   422,
		`null`: 422,
		`{`:    400,
		`{"enquiry":"d1-bench-jumpers","most":-3}`: 422,
		`{}`: 422,
		`{"enquiry":"d1-bench-jumpers"} {"enquiry":"d1"}`:      400,
		strings.Repeat("[", 100000):                            400,
		`{"enquiry":"d1-bench-jumpers","edits":[{"path":"a"}]`: 400,
	} {
		refusal(t, s, request("POST", Prefix+"/answer", body), status)
	}
	for _, kind := range []string{"", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/json-patch", ";;"} {
		r := request("POST", Prefix+"/answer", `{"enquiry":"d1-bench-jumpers"}`)
		r.Header.Set("Content-Type", kind)
		refusal(t, s, r, http.StatusUnsupportedMediaType)
	}
	r := request("POST", Prefix+"/measured", `{}`)
	refusal(t, s, r, http.StatusUnsupportedMediaType)
	refusal(t, s, request("GET", Prefix+"/nothing", ""), 404)
	refusal(t, s, request("PATCH", Prefix+"/answer", "{}"), 404)
}

// A script in a part's name or an enquiry's title comes back as text of a JSON
// answer that no browser takes for a page.
func TestScriptIsText(t *testing.T) {
	dir := copyOfDemo(t)
	const script = `<script>alert(1)</script>`
	if err := os.WriteFile(filepath.Join(dir, "enquiries", "x.yaml"), []byte("title: "+script+"\nband: [{from: 1 GHz, to: 2 GHz}]\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "catalogue", "x.yaml"), []byte("cables:\n  - {id: X1, description: \""+script+"\"}\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	s := serverOf(t, dir)
	for _, at := range []string{"/enquiries/x", "/parts/X1", "/enquiries/" + "%3Cscript%3E"} {
		w := do(s, request("GET", Prefix+at, ""))
		if kind := w.Header().Get("Content-Type"); kind != "application/json" || w.Header().Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: type %q", at, kind)
		}
	}
	w := do(s, request("GET", Prefix+"/parts/X1", ""))
	if !strings.Contains(w.Body.String(), `"description":"<script>`) {
		t.Errorf("%.300s", w.Body)
	}
}

// A client that sends its header byte by byte is dropped.
func TestSlowClient(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	h := NewHTTPServer(s)
	h.ReadHeaderTimeout = 100 * time.Millisecond // the same machinery, sooner
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go h.Serve(l)
	defer h.Close()
	c, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprint(c, "GET /api/v1/workspace HTTP/1.1\r\nHost: 127.0.0.1\r\nX-")
	if err := c.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
		t.Fatal(err)
	}
	answer, err := io.ReadAll(bufio.NewReader(c))
	if err != nil || bytes.Contains(answer, []byte("200 OK")) {
		t.Errorf("%v, %q", err, answer)
	}
	if d := NewHTTPServer(s); !(d.ReadHeaderTimeout > 0 && d.ReadTimeout > 0 && d.IdleTimeout > 0 && d.MaxHeaderBytes > 0) {
		t.Errorf("a limit is missing: %+v", d)
	}
}

// A panic becomes a 500 with an id that stands in the log, and the server lives.
func TestPanic(t *testing.T) {
	var log bytes.Buffer
	s := serverOf(t, copyOfDemo(t), func(o *Options) { o.Log = slog.New(slog.NewTextHandler(&log, nil)) })
	h := s.guard(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("the flux is uncoupled") }))
	e := refusal(t, h, request("GET", Prefix+"/workspace", ""), http.StatusInternalServerError)
	_, id, _ := strings.Cut(e.Errors[0].Problem, "logged as ")
	if id == "" || !strings.Contains(log.String(), "id="+id) || !strings.Contains(log.String(), "uncoupled") || strings.Contains(e.Errors[0].Problem, "uncoupled") {
		t.Errorf("%+v, log %q", e.Errors, log.String())
	}
}

// A status that comes after the answer has begun is not sent: the API library
// sets one when a client has gone away.
func TestLateStatus(t *testing.T) {
	var sent []int
	w := &watched{ResponseWriter: statuses{httptest.NewRecorder(), &sent}}
	w.WriteHeader(http.StatusEarlyHints)
	w.WriteHeader(http.StatusCreated)
	if _, err := w.Write([]byte("{")); err != nil {
		t.Fatal(err)
	}
	w.WriteHeader(499)
	if fmt.Sprint(sent) != "[103 201]" {
		t.Errorf("sent %v", sent)
	}
}

type statuses struct {
	http.ResponseWriter
	sent *[]int
}

func (s statuses) WriteHeader(status int) { *s.sent = append(*s.sent, status) }
