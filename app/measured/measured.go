// Package measured reads files of measured samples and holds them against a
// chain: one file, or ten thousand. Each file's quality is judged first, then
// its reference planes, then its limits and its prediction; a file that cannot
// be read or compared is named and the others are judged.
//
// Files are read one at a time by each worker, and of each only its judgement is
// kept, so that a lot needs little more memory than its answer.
package measured

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"time"

	"linewright/app/inspect"
	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/internal/spell"
	"linewright/job/assess"
	"linewright/job/lot"
	"linewright/job/verify"
	"linewright/physics/network"
	"linewright/physics/sweep"
	"linewright/physics/touchstone"
	"linewright/physics/units"
)

// Options say what the files do not say of themselves, and how many are judged
// at once.
type Options struct {
	LeftPlane, RightPlane string // the planes of ports 1 and 2; empty: as the file says
	ChainPlanes           bool   // the caller vouches: measured between the chain's own planes
	LeftFixture           *network.Network
	RightFixture          *network.Network
	Lot                   lot.Options
	Workers               int // 0: one per processor
	// Quick judges a file's quality by the initial metrics of IEEE 370 alone where
	// they are all good, a tenth of the work: for large lots.
	Quick     bool
	Detail    int // files whose time domain is kept for a picture; 0: none
	MostBytes int64
	Progress  func(stage string, fraction float64)
	// Judged is handed each file's bytes and judgement, in order, before the bytes
	// are dropped. An error ends the run.
	Judged func(data []byte, f Verified) error
}

// Source is one file.
type Source struct {
	Name string
	Open func() (io.ReadCloser, error)
}

// mostBytes is the largest file that is judged whole.
const mostBytes = 256 << 20

// Network is the sample between the chain's planes, until the run drops it.
func (f Verified) Network() *network.Network { return f.network }

// Judge judges one file whose bytes are data.
func Judge(ctx context.Context, p *verify.Plan, name string, data []byte, o Options) (Verified, error) {
	sum := sha256.Sum256(data)
	out := Verified{File: name, Serial: SerialOf(name), SHA256: hex.EncodeToString(sum[:]), Bytes: len(data), Verdict: assess.NotAssessed.String(), verdict: assess.NotAssessed,
		Findings: []inspect.Finding{}, Margins: []LimitMargin{}, Agreement: []Agreement{}, Errors: []wire.Error{}}
	fail := func(err error) (Verified, error) {
		if ctx.Err() != nil {
			return out, ctx.Err()
		}
		out.Errors = wire.NewErrors(err).Errors
		out.Why = out.Errors[0].Problem
		return out, nil
	}
	file, err := touchstone.Read(bytes.NewReader(data), name, 0)
	if err != nil {
		return fail(workspace.ReadFaults(name, err))
	}
	n, err := file.Network()
	if err != nil {
		return fail(workspace.Fault{File: name, Err: err, Problem: "its data give no scattering parameters: " + err.Error(), Help: "export S-parameters"})
	}
	d, quick := initial(n)
	out.QualityBy = "initial metrics"
	if !o.Quick || !quick {
		out.QualityBy = "all findings"
		if d, err = inspect.Judge(ctx, bytes.NewReader(data), name, 0, 0); err != nil {
			return fail(err)
		}
	}
	out.Quality, out.Inspection = d.Verdict, &d
	for _, f := range d.Findings {
		if f.Verdict != inspect.Good {
			out.Findings = append(out.Findings, f)
		}
	}
	if out.Planes, err = planes(p, file, o); err != nil {
		var e *verify.PlaneError
		if errors.As(err, &e) {
			err = workspace.Fault{File: name, Found: e.Found, Err: err, Problem: e.Problem, Help: e.Help}
		}
		return fail(err)
	}
	if stated, asked := header(file).Temperature, p.Temperature(); stated > 0 && asked != nil && math.Abs(stated-float64(*asked)) > 0.5 {
		t := units.Temperature(stated)
		return fail(workspace.Fault{File: name, Found: t.String(), Err: ErrTemperature, Problem: fmt.Sprintf("the file says that it was measured at %v; it was to be judged at %v", t, *asked), Help: "judge files of one temperature together, each at its own"})
	}
	if n.Ports == 2 {
		if n, err = between(n, out.Planes.Turned, o); err != nil {
			return fail(workspace.Fault{File: name, Err: err, Problem: "the fixtures cannot be taken off: " + err.Error(), Help: "give fixtures that cover the file's frequencies and pass a signal"})
		}
	}
	r, err := p.Judge(ctx, n)
	if err != nil {
		return fail(workspace.Fault{File: name, Err: err, Problem: err.Error(), Help: "measure the chain from end to end as a two-port, over the enquiry's bands"})
	}
	out.fill(r)
	out.report, out.f, out.network = &r, n.Frequency, &n
	if why := bad(d); why != "" && out.verdict != assess.Fails {
		out.verdict, out.Verdict = assess.NotAssessed, assess.NotAssessed.String()
		out.Why = "its data are not to be trusted: " + why
	}
	return out, nil
}

// ErrTemperature says that a file was measured at another temperature than it is
// to be judged at.
var ErrTemperature = errors.New("readings hold at the temperature they were taken at")

// header is what a file says of itself; empty where it says nothing.
func header(f *touchstone.File) touchstone.Header {
	if h, _ := touchstone.ParseHeader(f.Name, f.Comments); h != nil {
		return *h
	}
	return touchstone.Header{}
}

// StatedTemperature is the temperature that a file says it was measured at; nil:
// it says none. No more than the head of the file is read.
func StatedTemperature(r io.Reader, name string) *units.Temperature {
	s := touchstone.NewScanner(r, name, touchstone.ReadOptions{})
	s.Scan()
	if h, _ := touchstone.ParseHeader(name, s.Comments()); h != nil && h.Temperature > 0 {
		t := units.Temperature(h.Temperature)
		return &t
	}
	return nil
}

// initial judges a network by the initial metrics of IEEE 370; false: one of
// them is not even usable, or cannot be told, and a full look is needed.
func initial(n network.Network) (inspect.File, bool) {
	d := inspect.File{Verdict: inspect.Good, Ports: n.Ports, Points: len(n.Frequency), FromHz: num(n.Frequency[0]), ToHz: num(n.Frequency[len(n.Frequency)-1])}
	q, err := n.InitialQuality()
	if err != nil {
		return d, false
	}
	if points, delay := sweep.PointsPerRipple(n); delay > 0 && points < 8 { // the worst values may stand between the points
		return d, false
	}
	for _, m := range []struct {
		name                string
		value, good, usable float64
	}{{"passivity", q.Passivity, network.GoodPassivity, network.AcceptablePassivity}, {"reciprocity", q.Reciprocity, network.GoodReciprocity, network.AcceptableReciprocity}, {"causality", q.Causality, network.GoodCausality, network.AcceptableCausality}} {
		switch {
		case m.value >= m.good:
		case m.value >= m.usable:
			d.Verdict = inspect.Care
			d.Findings = append(d.Findings, inspect.Finding{Finding: m.name, Verdict: inspect.Care, Grade: num(m.value), Ports: []int{}, Means: fmt.Sprintf("the initial metric is %.2f %%: usable, not good", m.value), Do: "inspect the file to see where"})
		default:
			return d, false
		}
	}
	return d, true
}

// bad names the findings that forbid a verdict. The turning sense of a
// reflection does not: near the noise it is chance, and limits are of
// magnitudes.
func bad(d inspect.File) string {
	var s []string
	for _, f := range d.Findings {
		if f.Verdict == inspect.Bad && !(f.Finding == "causality" && len(f.Ports) == 2 && f.Ports[0] == f.Ports[1]) {
			s = append(s, f.Finding)
		}
	}
	return strings.Join(s, ", ")
}

// planes finds out where the file was measured, and compares.
func planes(p *verify.Plan, file *touchstone.File, o Options) (*Planes, error) {
	c := p.Chain.Chain
	out := &Planes{From: "file"}
	for i, port := range header(file).Ports {
		switch i {
		case 0:
			out.Port1 = port.Plane
		case 1:
			out.Port2 = port.Plane
		}
	}
	if o.LeftPlane != "" {
		out.Port1, out.From = o.LeftPlane, "caller"
	}
	if o.RightPlane != "" {
		out.Port2, out.From = o.RightPlane, "caller"
	}
	if o.ChainPlanes {
		if c.LeftPlane == "" || c.RightPlane == "" {
			_, err := verify.CheckPlanes(c, verify.Planes{})
			return out, err
		}
		// A file that says otherwise is believed over whoever vouches.
		if out.Port1 == "" && out.Port2 == "" {
			return &Planes{c.LeftPlane, c.RightPlane, "vouched", false}, nil
		}
	}
	var err error
	out.Turned, err = verify.CheckPlanes(c, verify.Planes{One: out.Port1, Two: out.Port2})
	return out, err
}

// between turns a two-port round where its ports stand so, and takes the
// fixtures off.
func between(n network.Network, turned bool, o Options) (network.Network, error) {
	var err error
	if turned {
		if n, err = n.Reorder(1, 0); err != nil {
			return n, err
		}
	}
	if o.LeftFixture == nil && o.RightFixture == nil {
		return n, nil
	}
	through := network.Line(n.Frequency, 50, func(float64) (complex128, complex128) { return 0, 50 })
	ends := [2]network.Network{through, through}
	for i, x := range []*network.Network{o.LeftFixture, o.RightFixture} {
		if x == nil {
			continue
		}
		if ends[i], err = x.Interpolate(n.Frequency, network.Interpolation{ToZero: true}); err != nil {
			return n, err
		}
	}
	return network.Deembed(n, ends[0], ends[1])
}

// ReadFixture reads a fixture's two-port from a Touchstone file.
func ReadFixture(r io.Reader, name string) (*network.Network, error) {
	f, err := touchstone.Read(r, name, 0)
	if err != nil {
		return nil, workspace.ReadFaults(name, err)
	}
	n, err := f.Network()
	switch {
	case err != nil:
		return nil, workspace.Fault{File: name, Err: err, Problem: err.Error(), Help: "export S-parameters"}
	case n.Ports != 2:
		return nil, workspace.Fault{File: name, Err: verify.ErrTwoPort, Problem: fmt.Sprintf("a fixture with %s", spell.Count(n.Ports, "port")), Help: "give a two-port, port 2 towards the sample on the left, port 1 on the right"}
	}
	return &n, nil
}

var digits = regexp.MustCompile(`[0-9]+`)

// SerialOf is the serial number in a file's name: the last whole number before
// its ending, or the whole name where it holds none.
func SerialOf(name string) string {
	stem := path.Base(filepath.ToSlash(name))
	stem = strings.TrimSuffix(stem, path.Ext(stem))
	if all := digits.FindAllString(stem, -1); len(all) > 0 {
		return all[len(all)-1]
	}
	return stem
}

// Run judges the sources and sums them up. Workers read ahead by a few files
// only; the files come into the document in their order.
func Run(ctx context.Context, p *verify.Plan, sources []Source, o Options) (Document, error) {
	workers := o.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	type judged struct {
		f    Verified
		data []byte
		err  error
	}
	// A slot for each file under way: the i-th result goes to slot i mod n.
	window := 2 * workers
	slots := make([]chan judged, window)
	for i := range slots {
		slots[i] = make(chan judged, 1)
	}
	next := make(chan int)
	free := make(chan struct{}, window)
	var wg sync.WaitGroup
	defer wg.Wait()
	defer stop()
	wg.Go(func() {
		defer close(next)
		for i := range sources {
			select {
			case free <- struct{}{}:
			case <-ctx.Done():
				return
			}
			select {
			case next <- i:
			case <-ctx.Done():
				return
			}
		}
	})
	for range workers {
		wg.Go(func() {
			for i := range next {
				data, err := read(sources[i], o)
				var f Verified
				if err == nil {
					f, err = Judge(ctx, p, sources[i].Name, data, o)
				} else if ctx.Err() == nil {
					f = Verified{File: sources[i].Name, Serial: SerialOf(sources[i].Name), Verdict: assess.NotAssessed.String(), verdict: assess.NotAssessed, Findings: []inspect.Finding{}, Margins: []LimitMargin{}, Agreement: []Agreement{},
						Errors: wire.NewErrors(err).Errors}
					f.Why, err = f.Errors[0].Problem, nil
				}
				slots[i%window] <- judged{f, data, err}
			}
		})
	}
	c := NewCollector(p, o)
	last := time.Time{}
	for i := range sources {
		var j judged
		select {
		case j = <-slots[i%window]:
			<-free
		case <-ctx.Done():
			return Document{}, ctx.Err()
		}
		if j.err != nil {
			return Document{}, j.err
		}
		if o.Judged != nil {
			if err := o.Judged(j.data, j.f); err != nil {
				return Document{}, err
			}
		}
		c.Add(j.f)
		if now := time.Now(); o.Progress != nil && now.Sub(last) > 50*time.Millisecond {
			last = now
			o.Progress("judging files", float64(i+1)/float64(len(sources)))
		}
	}
	return c.Document()
}

func read(s Source, o Options) ([]byte, error) {
	r, err := s.Open()
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, workspace.Fault{File: s.Name, Err: fs.ErrNotExist, Problem: "no such file", Help: "check the path"}
		}
		return nil, workspace.Fault{File: s.Name, Err: err, Problem: "it cannot be opened: " + err.Error(), Help: "check the permissions"}
	}
	defer r.Close()
	most := o.MostBytes
	if most == 0 {
		most = mostBytes
	}
	data, err := io.ReadAll(io.LimitReader(r, most+1))
	switch {
	case err != nil:
		return nil, workspace.Fault{File: s.Name, Err: err, Problem: "it cannot be read: " + err.Error(), Help: "check the disk and the permissions"}
	case int64(len(data)) > most:
		return nil, workspace.Fault{File: s.Name, Err: fs.ErrInvalid, Problem: fmt.Sprintf("it is larger than %d MB", most>>20), Help: "inspect it by itself, or measure fewer points"}
	}
	return data, nil
}
