package web

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"mime"
	"net"
	"net/http"
	"net/url"
	"runtime/debug"
	"slices"
	"strings"

	"linewright/app/wire"
)

// policy lets a page load from this server only, run no inline script and be
// framed by nobody.
const policy = "default-src 'self'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// cookie carries the token once the address has shown it.
const cookie = "linewright_token"

// Limits of a request's body.
const (
	maxBody   = 4 << 20  // JSON
	maxUpload = 64 << 20 // one measured file
	maxFiles  = 16       // in one request
)

// guard is what every request passes: it names us as its host, it does not come
// from another site's page, it carries the token if there is one; a panic below
// becomes a logged 500.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		out := &watched{ResponseWriter: w}
		defer func() {
			p := recover()
			if p == nil {
				return
			}
			if p == http.ErrAbortHandler {
				panic(p)
			}
			id := randomHex(4)
			s.log.Error("panic", "id", id, "method", r.Method, "path", r.URL.Path, "what", fmt.Sprint(p), "stack", string(debug.Stack()))
			if out.begun {
				panic(http.ErrAbortHandler) // the client must not take half an answer for a whole one
			}
			s.fail(out, r, http.StatusInternalServerError, "a fault of the program, logged as "+id, "try again; when it stays, report it with the log's lines of that id")
		}()
		if !s.ours(r.Host) {
			s.fail(out, r, http.StatusMisdirectedRequest, fmt.Sprintf("this server is not called %q", r.Host), "open it by the address it printed at its start")
			return
		}
		api := strings.HasPrefix(r.URL.Path, "/api/")
		if api && foreign(r) {
			s.fail(out, r, http.StatusForbidden, "the request comes from another site's page", "open the workbench itself; programs send neither Origin nor Sec-Fetch-Site")
			return
		}
		if s.o.Token != "" && !s.admitted(out, r) {
			s.fail(out, r, http.StatusUnauthorized, "the token is missing or wrong", "open the whole address that was printed at the start, with its token")
			return
		}
		if _, shown := w.Header()["Set-Cookie"]; shown && !api { // the cookie holds it now: out of the address bar
			http.Redirect(out, r, "/"+strings.TrimLeft(r.URL.RequestURI(), "/"), http.StatusSeeOther)
			return
		}
		if api {
			h.Set("Cache-Control", "no-store")
			if !s.acceptable(out, r) {
				return
			}
		}
		next.ServeHTTP(out, r)
	})
}

// acceptable checks the kind and the announced size of a body before a byte of
// it is read.
func (s *Server) acceptable(w http.ResponseWriter, r *http.Request) bool {
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		return true
	}
	upload := r.URL.Path == Prefix+"/measured"
	if r.Method != http.MethodDelete {
		kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
		want := "application/json"
		if upload {
			want = "multipart/form-data"
		}
		if err != nil || kind != want {
			s.fail(w, r, http.StatusUnsupportedMediaType, fmt.Sprintf("a body of type %q", r.Header.Get("Content-Type")), "send it as "+want)
			return false
		}
	}
	most := int64(maxBody)
	if upload {
		most = maxFiles*maxUpload + maxBody
	}
	if r.ContentLength > most {
		w.Header().Set("Connection", "close")
		s.fail(w, r, http.StatusRequestEntityTooLarge, fmt.Sprintf("a body of %d bytes", r.ContentLength), fmt.Sprintf("at most %d MB are read", most>>20))
		return false
	}
	r.Body = http.MaxBytesReader(w, r.Body, most)
	return true
}

// ours says whether a request names this machine: a page of another name that
// was rebound to our address does not.
func (s *Server) ours(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.ToLower(strings.Trim(name, "[]"))
	if name == "localhost" || s.o.AnyHost || slices.Contains(s.o.Hosts, name) {
		return true
	}
	ip := net.ParseIP(name)
	return ip != nil && ip.IsLoopback()
}

// foreign says whether a browser sent the request on behalf of another site.
func foreign(r *http.Request) bool {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
	default:
		return true
	}
	origin := r.Header.Get("Origin")
	if origin == "" {
		return false
	}
	u, err := url.Parse(origin)
	return err != nil || u.Host == "" || !strings.EqualFold(u.Host, r.Host)
}

// admitted compares the token of the address, which becomes a cookie, or of the
// cookie or the Authorization header.
func (s *Server) admitted(w http.ResponseWriter, r *http.Request) bool {
	same := func(t string) bool { return subtle.ConstantTimeCompare([]byte(t), []byte(s.o.Token)) == 1 }
	if q := r.URL.Query(); same(q.Get("token")) {
		q.Del("token") // no call of the API knows it
		r.URL.RawQuery = q.Encode()
		http.SetCookie(w, &http.Cookie{Name: cookie, Value: s.o.Token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
		return true
	}
	if c, err := r.Cookie(cookie); err == nil && same(c.Value) {
		return true
	}
	bearer, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	return ok && same(bearer)
}

// fail answers with one error.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, status int, problem, help string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(wire.Errors{Errors: []wire.Error{{Problem: problem, Help: help}}}) // a client that went away
	s.log.Debug("refused", "method", r.Method, "path", r.URL.Path, "status", status, "problem", problem)
}

// watched remembers whether the answer has begun.
type watched struct {
	http.ResponseWriter
	begun bool
}

// WriteHeader implements http.ResponseWriter. The API library sets a status of
// its own, 499, when a client goes away in the middle of an answer: too late to
// be sent, and no fault.
func (w *watched) WriteHeader(status int) {
	if w.begun {
		return
	}
	w.begun = status >= 200 // what stands below only announces the answer
	w.ResponseWriter.WriteHeader(status)
}

// Write implements http.ResponseWriter.
func (w *watched) Write(p []byte) (int, error) { w.begun = true; return w.ResponseWriter.Write(p) }

// Unwrap lets http.ResponseController reach the connection.
func (w *watched) Unwrap() http.ResponseWriter { return w.ResponseWriter }

func randomHex(n int) string {
	b := make([]byte, n)
	_, _ = rand.Read(b) // never fails
	return hex.EncodeToString(b)
}

// NewToken returns a random token for [Options].
func NewToken() string { return randomHex(16) }
