// Package web is the workbench's server: an HTTP API over a workspace's files
// and the job packages, and the embedded pages that use it. It computes nothing
// itself; it reads requests, calls the packages the command line calls, and
// shapes what they return.
//
// It is made for one engineer on his own machine: it binds to the loopback
// interface, answers only requests that name it as their host, and refuses what
// another site's page sends.
package web

import (
	"context"
	"io/fs"
	"log/slog"
	"net/http"
	"runtime"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"linewright/app/workspace"
)

// Prefix is where the API stands.
const Prefix = "/api/v1"

// Options of a server; Workspace is required.
type Options struct {
	Workspace workspace.Workspace
	Version   string       // of the program
	Demo      bool         // the workspace is the demo's
	Hosts     []string     // host names, without port, that requests may name besides the loopback ones
	AnyHost   bool         // any name is taken: the server listens beyond this machine, and Token guards it
	Token     string       // required in the address or the cookie of every request when not empty
	Log       *slog.Logger // nil: discard
	Workers   int          // enquiries answered at once; 0: one per processor
	Poll      time.Duration
	Assets    fs.FS // in place of the embedded pages
}

// Server serves one workspace.
type Server struct {
	o       Options
	log     *slog.Logger
	ws      workspace.Workspace
	root    *files
	store   *store
	answers *answers
	events  *broker
	jobs    *jobs
	handler http.Handler
	mux     *http.ServeMux
	api     huma.API
	stop    context.CancelFunc
	wg      sync.WaitGroup
	writing sync.Mutex // of the workspace's files: compare, then write
}

// New makes a server and starts its workers; [Server.Close] ends them.
func New(o Options) (*Server, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	if o.Poll <= 0 {
		o.Poll = time.Second
	}
	root, err := openFiles(o.Workspace.Root)
	if err != nil {
		return nil, err
	}
	o.Workspace.FS = root.root.FS() // nothing outside is reached, not even by a symbolic link
	ctx, stop := context.WithCancel(context.Background())
	s := &Server{o: o, log: o.Log, ws: o.Workspace, root: root, events: newBroker(), stop: stop}
	s.store = newStore(o.Workspace)
	s.answers = newAnswers(ctx, &s.wg, o.Workers, s.events)
	s.jobs = newJobs(ctx, &s.wg, root, s.events, s.log)

	mux := http.NewServeMux()
	s.mux = mux
	s.api = humago.NewWithPrefix(mux, Prefix, s.config())
	s.register()
	mux.HandleFunc("GET "+Prefix+"/openapi.json", s.openAPI)
	mux.HandleFunc(Prefix+"/", func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, http.StatusNotFound, "no such call: "+r.Method+" "+r.URL.Path, "see them all at "+Prefix+"/openapi.json")
	})
	assets, err := newAssets(o.Assets)
	if err != nil {
		stop()
		return nil, err
	}
	mux.Handle("/", assets)
	s.handler = s.guard(mux)

	s.wg.Go(func() { s.watch(ctx, o.Poll) })
	return s, nil
}

// ServeHTTP implements http.Handler.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// Hangup ends the streams of events, so that a shutdown need not wait for them.
func (s *Server) Hangup() { s.events.close() }

// Close stops the background work and waits for it.
func (s *Server) Close() {
	s.events.close()
	s.stop()
	s.wg.Wait()
	s.jobs.save()
	s.root.root.Close()
}

// NewHTTPServer wraps s for the network, with limits on slow clients. Answers
// may take long to compute, so only reading is bounded; what writes a stream
// sets its own deadlines.
func NewHTTPServer(s *Server) *http.Server {
	return &http.Server{Handler: s, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 2 * time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		ErrorLog: slog.NewLogLogger(s.log.Handler(), slog.LevelWarn)}
}
