package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"linewright/app/web"
	"linewright/app/workspace"
)

// usualPort is tried first, so that a bookmark holds; when it is taken, any
// free one is used.
const usualPort = 8713

func newServe(env *environment) *cobra.Command {
	var port int
	var listen string
	var quietBrowser, demonstrate, verbose bool
	c := &cobra.Command{
		Use:     "serve [WORKSPACE]",
		GroupID: "job",
		Short:   "Open the workbench in the browser, on this machine",
		Long: `Serve opens the workbench: the enquiries of a workspace, their answers, each
chain with its hardware drawn to scale and its numbers under it. It edits the
same files as the command line. Everything is in this program; nothing is loaded
from elsewhere, and only this machine can reach it.

With --demo a workspace of invented data is written and opened: into WORKSPACE
when named (files that stand there are left alone), else into a temporary folder
that is removed at the end.

--listen opens it to other machines. Whoever has the printed address, which then
holds a random token, can read and change the workspace; the connection is not
encrypted.`,
		Example: `  linewright serve --demo
  linewright serve ~/projects/array --no-browser`,
		Args: optional,
		RunE: func(c *cobra.Command, args []string) error {
			dir := nameOr(args, ".")
			if demonstrate {
				if len(args) == 0 {
					temp, err := os.MkdirTemp("", "linewright-demo-")
					if err != nil {
						return err
					}
					defer os.RemoveAll(temp)
					dir = temp
				}
				if err := writeDemo(env, dir); err != nil {
					return err
				}
			}
			w, err := workspace.Open(dir)
			if err != nil {
				return err
			}
			if _, err := os.Stat(filepath.Join(dir, workspace.CatalogueDir)); err != nil {
				return workspace.Fault{File: dir, Err: os.ErrNotExist, Problem: "no folder called " + workspace.CatalogueDir + " in it", Help: "name a workspace, or try: linewright serve --demo"}
			}
			l, open, err := listenAt(listen, port, c.Flags().Changed("port"))
			if err != nil {
				return err
			}
			level := slog.LevelWarn
			if verbose {
				level = slog.LevelDebug
			}
			o := web.Options{Workspace: w, Version: version().Version, Demo: demonstrate, Log: slog.New(slog.NewTextHandler(env.err, &slog.HandlerOptions{Level: level}))}
			address := "http://" + l.Addr().String() + "/"
			if open {
				o.Token = web.NewToken()
				o.AnyHost = true
				address += "?token=" + o.Token
			}
			s, err := web.New(o)
			if err != nil {
				l.Close()
				return err
			}
			defer s.Close()
			if open {
				paragraph(env.err, "Caution: ", "other machines can reach this server. Whoever has the address below can read and change the workspace; the connection is not encrypted.")
			}
			if env.json {
				env.printJSON(map[string]any{"address": address, "workspace": dir})
			} else {
				fmt.Fprintf(env.out, "The workbench is at %s\nStop it with Ctrl-C.\n", address)
			}
			if !quietBrowser {
				if err := openBrowser(address); err != nil {
					fmt.Fprintln(env.err, "no browser could be opened; open the address yourself")
				}
			}
			return serve(c.Context(), s, l)
		},
	}
	f := c.Flags()
	f.IntVarP(&port, "port", "p", usualPort, "port; when the usual one is taken any free one is used, 0 takes a free one at once")
	f.BoolVar(&quietBrowser, "no-browser", false, "open no browser")
	f.BoolVar(&demonstrate, "demo", false, "write and open the demo workspace")
	f.StringVar(&listen, "listen", "", "address to listen on in place of this machine's own, such as 0.0.0.0")
	f.BoolVar(&verbose, "verbose", false, "log every refused request")
	return c
}

// listenAt opens the port. open says that other machines can reach it.
func listenAt(host string, port int, fixed bool) (l net.Listener, open bool, err error) {
	if host == "" {
		host = "127.0.0.1"
	}
	ip := net.ParseIP(host)
	if ip == nil && host != "localhost" {
		return nil, false, usage(fmt.Sprintf("--listen %q is no address", host), "write one such as 127.0.0.1, ::1 or 0.0.0.0; the port goes into --port")
	}
	if port < 0 || port > 65535 {
		return nil, false, usage(fmt.Sprintf("--port %d is no port", port), "write 0 to 65535")
	}
	open = ip != nil && !ip.IsLoopback()
	l, err = net.Listen("tcp", net.JoinHostPort(host, fmt.Sprint(port)))
	if err != nil && !fixed {
		l, err = net.Listen("tcp", net.JoinHostPort(host, "0"))
	}
	if err != nil {
		return nil, open, usage(fmt.Sprintf("nothing can listen at %s: %v", net.JoinHostPort(host, fmt.Sprint(port)), err), "choose another --port")
	}
	return l, open, nil
}

// serve answers until the context ends, then lets requests under way finish.
func serve(ctx context.Context, s *web.Server, l net.Listener) error {
	h := web.NewHTTPServer(s)
	ended := make(chan error, 1)
	go func() { ended <- h.Serve(l) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	s.Hangup() // streams of events would hold the end up
	last, cancel := context.WithTimeout(context.Background(), 3*time.Second)
	defer cancel()
	if err := h.Shutdown(last); err != nil {
		h.Close()
	}
	if err := <-ended; !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// openBrowser asks the system to show an address.
func openBrowser(address string) error {
	name, args := "xdg-open", []string{address}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", address}
	}
	c := exec.Command(name, args...)
	c.Stdout, c.Stderr = io.Discard, io.Discard
	if err := c.Start(); err != nil {
		return err
	}
	go c.Wait() // its end is nobody's business
	return nil
}
