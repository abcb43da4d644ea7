package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/http"
	"sort"
	"sync"
	"time"

	"linewright/app/wire"
)

// jobsFile is where finished and running jobs are written down, so that a
// restart can show them. It can be deleted.
const jobsFile = stateDir + "/jobs.json"

// Limits of the jobs.
const (
	keptJobs    = 50
	waitingJobs = 20
)

// The states of a job.
const (
	waiting     = "waiting"
	running     = "running"
	done        = "done"
	failed      = "failed"
	cancelled   = "cancelled"
	interrupted = "interrupted"
)

// Job is work that takes long: its progress, and its result when it is done.
type Job struct {
	ID       string          `json:"id"`
	Kind     string          `json:"kind"`
	Title    string          `json:"title"`
	State    string          `json:"state" enum:"waiting,running,done,failed,cancelled,interrupted"`
	Fraction float64         `json:"fraction"`
	Stage    string          `json:"stage"`
	Live     json.RawMessage `json:"live,omitempty" doc:"what is known so far, while it runs"`
	Created  time.Time       `json:"created"`
	Started  *time.Time      `json:"started"`
	Ended    *time.Time      `json:"ended"`
	Request  json.RawMessage `json:"request" doc:"as it was sent"`
	Result   json.RawMessage `json:"result" doc:"null until it is done"`
	Error    *wire.Error     `json:"error"`
}

// jobs runs long work one at a time, each of which uses all processors itself.
type jobs struct {
	ctx    context.Context
	wg     *sync.WaitGroup
	root   *files
	events *broker
	log    *slog.Logger
	slot   chan struct{}

	mu     sync.Mutex
	byID   map[string]*Job
	cancel map[string]context.CancelFunc
	saving sync.Mutex
}

func newJobs(ctx context.Context, wg *sync.WaitGroup, root *files, events *broker, log *slog.Logger) *jobs {
	j := &jobs{ctx: ctx, wg: wg, root: root, events: events, log: log, slot: make(chan struct{}, 1), byID: map[string]*Job{}, cancel: map[string]context.CancelFunc{}}
	data, err := root.root.ReadFile(jobsFile)
	if err != nil {
		if !errors.Is(err, fs.ErrNotExist) {
			log.Warn("earlier jobs cannot be read", "file", jobsFile, "error", err)
		}
		return j
	}
	var old []*Job
	if err := json.Unmarshal(data, &old); err != nil {
		log.Warn("earlier jobs cannot be read", "file", jobsFile, "error", err)
		return j
	}
	for _, x := range old {
		if x == nil || x.ID == "" {
			continue
		}
		if x.State == running || x.State == waiting {
			now := time.Now()
			x.State, x.Stage, x.Live, x.Ended = interrupted, "", nil, &now
			x.Error = &wire.Error{Problem: "the program ended while this job ran", Help: "start it again"}
		}
		j.byID[x.ID] = x
	}
	return j
}

// start queues work. report may be called from any goroutine.
func (j *jobs) start(kind, title string, request json.RawMessage, work func(ctx context.Context, report func(stage string, fraction float64)) (any, error)) (Job, error) {
	return j.startLive(kind, title, request, func(ctx context.Context, report func(string, float64, any)) (any, error) {
		return work(ctx, func(stage string, fraction float64) { report(stage, fraction, nil) })
	})
}

// startLive is start for work that shows what it knows so far: live is written
// as JSON before report returns.
func (j *jobs) startLive(kind, title string, request json.RawMessage, work func(ctx context.Context, report func(stage string, fraction float64, live any)) (any, error)) (Job, error) {
	j.mu.Lock()
	open := 0
	for _, x := range j.byID {
		if x.State == waiting || x.State == running {
			open++
		}
	}
	if open >= waitingJobs {
		j.mu.Unlock()
		return Job{}, problem(http.StatusTooManyRequests, fmt.Sprintf("%d jobs are waiting", open), "wait, or cancel one")
	}
	ctx, cancel := context.WithCancel(j.ctx)
	x := &Job{ID: time.Now().UTC().Format("20060102-150405") + "-" + randomHex(3), Kind: kind, Title: title, State: waiting, Created: time.Now(), Request: request}
	j.byID[x.ID], j.cancel[x.ID] = x, cancel
	j.forget()
	out := *x
	j.mu.Unlock()
	j.changed(out)
	j.save()
	j.wg.Go(func() {
		defer cancel()
		select {
		case j.slot <- struct{}{}:
			defer func() { <-j.slot }()
		case <-ctx.Done():
			j.end(x.ID, nil, ctx.Err())
			return
		}
		if ctx.Err() != nil {
			j.end(x.ID, nil, ctx.Err())
			return
		}
		j.update(x.ID, func(x *Job) { now := time.Now(); x.State, x.Started = running, &now })
		var last time.Time
		var mu sync.Mutex
		result, err := protect(func() (any, error) {
			return work(ctx, func(stage string, fraction float64, live any) {
				mu.Lock()
				defer mu.Unlock()
				if now := time.Now(); now.Sub(last) > 200*time.Millisecond {
					last = now
					var data json.RawMessage
					if live != nil {
						data, _ = json.Marshal(live) // a picture of the work; without it the work goes on
					}
					j.update(x.ID, func(x *Job) { x.Stage, x.Fraction, x.Live = stage, min(max(fraction, 0), 1), data })
				}
			})
		})
		j.end(x.ID, result, err)
	})
	return out, nil
}

// update changes a job that is still open, and tells.
func (j *jobs) update(id string, f func(*Job)) {
	j.mu.Lock()
	x := j.byID[id]
	if x == nil || x.Ended != nil {
		j.mu.Unlock()
		return
	}
	f(x)
	out := *x
	j.mu.Unlock()
	j.changed(out)
}

func (j *jobs) end(id string, result any, err error) {
	var data json.RawMessage
	if err == nil {
		data, err = json.Marshal(result)
	}
	j.update(id, func(x *Job) {
		now := time.Now()
		x.Ended, x.Stage, x.Live = &now, "", nil
		delete(j.cancel, id)
		switch {
		case err == nil:
			x.State, x.Fraction, x.Result = done, 1, data
		case errors.Is(err, context.Canceled) && j.ctx.Err() != nil:
			x.State, x.Error = interrupted, &wire.Error{Problem: "the program ended while this job ran", Help: "start it again"}
		case errors.Is(err, context.Canceled):
			x.State = cancelled
		default:
			e := wire.NewErrors(err).Errors
			x.State, x.Error = failed, &e[0]
		}
	})
	j.save()
}

// changed tells of a job without its result, which is fetched.
func (j *jobs) changed(x Job) {
	x.Result, x.Request = nil, nil
	j.events.send(x)
}

// forget drops the oldest ended jobs beyond those kept. The lock is held.
func (j *jobs) forget() {
	var ended []*Job
	for _, x := range j.byID {
		if x.Ended != nil {
			ended = append(ended, x)
		}
	}
	sort.Slice(ended, func(a, b int) bool { return ended[a].Created.Before(ended[b].Created) })
	for len(ended) > keptJobs {
		delete(j.byID, ended[0].ID)
		ended = ended[1:]
	}
}

// list returns the jobs, newest first, without results.
func (j *jobs) list() []Job {
	out := j.snapshot()
	for i := range out {
		out[i].Result = nil
	}
	return out
}

func (j *jobs) snapshot() []Job {
	j.mu.Lock()
	defer j.mu.Unlock()
	out := []Job{}
	for _, x := range j.byID {
		out = append(out, *x)
	}
	sort.Slice(out, func(a, b int) bool {
		if !out[a].Created.Equal(out[b].Created) {
			return out[a].Created.After(out[b].Created)
		}
		return out[a].ID > out[b].ID
	})
	return out
}

// save writes the jobs down. A failure is logged: the work goes on without.
func (j *jobs) save() {
	j.saving.Lock()
	defer j.saving.Unlock()
	list := j.snapshot()
	if len(list) == 0 {
		return
	}
	data, err := json.Marshal(list)
	if err == nil {
		err = j.root.write(jobsFile, data)
	}
	if err != nil {
		j.log.Warn("the jobs cannot be written down", "file", jobsFile, "error", err)
	}
}

func (j *jobs) get(id string) (Job, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	x, ok := j.byID[id]
	if !ok {
		return Job{}, problem(http.StatusNotFound, "there is no such job", "see them with GET %s/jobs", Prefix)
	}
	return *x, nil
}

// remove cancels an open job, or forgets an ended one.
func (j *jobs) remove(id string) (Job, error) {
	j.mu.Lock()
	x, ok := j.byID[id]
	if !ok {
		j.mu.Unlock()
		return Job{}, problem(http.StatusNotFound, "there is no such job", "see them with GET %s/jobs", Prefix)
	}
	if stop := j.cancel[id]; stop != nil {
		stop()
	}
	if x.Ended != nil {
		delete(j.byID, id)
	}
	out := *x
	out.Result = nil
	j.mu.Unlock()
	j.save()
	return out, nil
}

type jobList struct {
	Jobs []Job `json:"jobs"`
}

func (s *Server) jobList(context.Context, *none) (jobList, error) { return jobList{s.jobs.list()}, nil }

func (s *Server) jobGet(_ context.Context, in *idInput) (Job, error) { return s.jobs.get(in.ID) }

func (s *Server) jobRemove(_ context.Context, in *idInput) (Job, error) { return s.jobs.remove(in.ID) }
