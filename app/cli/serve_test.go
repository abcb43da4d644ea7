package cli

import (
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// serving runs the command until the test ends and returns the address it
// prints. The exit status comes out of ended.
func serving(t *testing.T, args ...string) (address string, stop func() int) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r, w := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, append([]string{"serve", "--no-browser", "--json"}, args...), strings.NewReader(""), w, io.Discard)
		w.Close()
	}()
	stop = func() int {
		cancel()
		select {
		case code := <-ended:
			return code
		case <-time.After(30 * time.Second):
			t.Fatal("it does not end")
			return -1
		}
	}
	var said struct{ Address string }
	if err := json.NewDecoder(r).Decode(&said); err != nil {
		t.Fatal(err)
	}
	go io.Copy(io.Discard, r)
	return said.Address, stop
}

func get(t *testing.T, address string) (int, string) {
	t.Helper()
	r, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(body)
}

func TestServe(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	address, stop := serving(t, "--demo", dir, "--port", "0")
	if !strings.HasPrefix(address, "http://127.0.0.1:") {
		t.Errorf("the address is %s", address)
	}
	if code, body := get(t, address); code != 200 || !strings.Contains(body, "<html") {
		t.Errorf("the page: %d %.200s", code, body)
	}
	if code, body := get(t, address+"api/v1/workspace"); code != 200 || !strings.Contains(body, `"demo":true`) {
		t.Errorf("the workspace: %d %s", code, body)
	}
	// A listener to events does not hold the end up.
	r, err := http.Get(address + "api/v1/events")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if code := stop(); code != ExitMet {
		t.Errorf("exit status %d after Ctrl-C", code)
	}
	if _, err := http.Get(address); err == nil {
		t.Error("it still answers")
	}
}

// Beyond this machine it is open only to who has the token.
func TestServeListen(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	address, stop := serving(t, "--demo", dir, "--listen", "0.0.0.0", "--port", "0")
	defer stop()
	base, token, ok := strings.Cut(address, "?token=")
	if !ok || len(token) < 32 {
		t.Fatalf("the address is %s", address)
	}
	_, port, _ := net.SplitHostPort(strings.TrimSuffix(strings.TrimPrefix(base, "http://"), "/"))
	local := "http://127.0.0.1:" + port + "/api/v1/workspace"
	if code, _ := get(t, local); code != http.StatusUnauthorized {
		t.Errorf("without token: %d", code)
	}
	if code, _ := get(t, local+"?token="+token); code != 200 {
		t.Errorf("with token: %d", code)
	}
}

func TestServeRefuses(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	_, port, _ := net.SplitHostPort(taken.Addr().String())
	demo := filepath.Join(t.TempDir(), "demo")
	for _, args := range [][]string{
		{"serve", "no such folder"},
		{"serve", t.TempDir()}, // no catalogue in it
		{"serve", "--demo", demo, "--port", port},
		{"serve", "--demo", demo, "--port", "70000"},
		{"serve", "--demo", demo, "--listen", "example.org"},
		{"serve", "a", "b"},
	} {
		var out, errOut strings.Builder
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		code := run(ctx, append(args, "--no-browser"), strings.NewReader(""), &out, &errOut)
		cancel()
		if code != ExitUsage || errOut.Len() == 0 {
			t.Errorf("%v: exit status %d, %q", args, code, errOut.String())
		}
	}
}
