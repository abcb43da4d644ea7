package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"

	"linewright/app/archive"
	"linewright/app/inspect"
	"linewright/app/measured"
	"linewright/app/workspace"
	"linewright/internal/spell"
	"linewright/job/verify"
	"linewright/physics/units"
)

// archiveFile is the archive's place in a workspace.
const archiveFile = "archive.sqlite"

func archivePath(w workspace.Workspace) string { return filepath.Join(w.Root, archiveFile) }

func temperatureK(t *units.Temperature) *float64 {
	if t == nil {
		return nil
	}
	k := float64(*t)
	return &k
}

// keepVerdict puts a judged file into the archive.
func keepVerdict(ctx context.Context, a *archive.Archive, kept *archive.Added, data []byte, f measured.Verified, p *verify.Plan, c archive.Conditions) error {
	r := archive.Record{Name: filepath.Base(f.File), Serial: f.Serial, Quality: f.Quality, Chain: p.Chain.Name, Enquiry: p.Enquiry.ID, Verdict: f.Verdict, Rule: p.Decision.Says, Version: version().Version, Conditions: c}
	if d := f.Inspection; d != nil {
		about(&r, *d)
	}
	if f.Along != nil { // the traces follow from the bytes
		along := *f.Along
		along.Near, along.Far = nil, nil
		f.Along = &along
	}
	report, err := json.Marshal(f)
	if err != nil {
		return err
	}
	r.Report = report
	if err := a.Put(ctx, data, r); err != nil {
		return err
	}
	if a.Due() {
		return a.Flush(ctx, kept)
	}
	return nil
}

func newArchive(env *environment) *cobra.Command {
	c := &cobra.Command{
		Use:     "archive",
		GroupID: "files",
		Short:   "Measured files as they were shipped, kept and found again",
		Long: `The archive is one database in the workspace (archive.sqlite). It keeps each
measured file's own bytes with their checksum, the serial number, the conditions
and, from verify --archive, the verdict with the rule it was made by. Adding a
file again changes nothing; an import that was stopped is run again.`,
	}
	c.Args, c.RunE = chosen(env)
	c.AddCommand(newArchiveAdd(env), newArchiveFind(env), newArchiveShow(env), newArchiveCheck(env))
	return c
}

// openArchive opens the archive of the workspace in dir, or of the folder
// one stands in.
func openArchive(dir string, make bool) (*archive.Archive, error) {
	if dir == "" {
		dir = "."
	}
	w, err := workspace.Open(dir)
	if err != nil {
		return nil, err
	}
	return openArchiveOf(w, make)
}

// openArchiveOf opens a workspace's archive. What is wrong with it comes as a
// fault of its file.
func openArchiveOf(w workspace.Workspace, make bool) (*archive.Archive, error) {
	name := archivePath(w)
	open := archive.OpenOld
	if make {
		open = archive.Open
	}
	a, err := open(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, workspace.Fault{File: name, Err: fs.ErrNotExist, Problem: "this workspace has no archive", Help: "make one with linewright archive add FILE..., or name another workspace with --workspace"}
	case errors.Is(err, archive.ErrNotArchive):
		return nil, workspace.Fault{File: name, Err: err, Problem: archive.ErrNotArchive.Error(), Help: "move it away, or name another workspace with --workspace"}
	case errors.Is(err, archive.ErrNewer):
		return nil, workspace.Fault{File: name, Err: err, Problem: strings.TrimPrefix(err.Error(), name+": "), Help: "use that version, or a newer one"}
	case errors.Is(err, archive.ErrDamaged):
		return nil, archiveFault(name, err)
	case err != nil:
		return nil, workspace.Fault{File: name, Err: err, Problem: "the archive cannot be opened: " + strings.TrimPrefix(err.Error(), name+": "), Help: "check what stands there, and the folder's permissions"}
	}
	return a, nil
}

// archiveFault says of an error from the work on an archive where it is and
// what to do.
func archiveFault(name string, err error) error {
	switch {
	case err == nil || errors.Is(err, context.Canceled):
		return err
	case errors.Is(err, archive.ErrDamaged):
		return workspace.Fault{File: name, Err: err, Problem: strings.TrimPrefix(err.Error(), name+": "), Help: "put back a copy of it; or move it away, and keep the measured files again"}
	}
	return workspace.Fault{File: name, Err: err, Problem: "the archive cannot be used: " + err.Error(), Help: "check the disk's free space, the permissions, and whether another program holds the archive"}
}

func newArchiveAdd(env *environment) *cobra.Command {
	var dir, serial string
	var temperature units.Temperature
	var conditions archive.Conditions
	c := &cobra.Command{
		Use:   "add FILE...",
		Short: "Keep measured files without a verdict",
		Long: `Add keeps measured files. A folder stands for the files in it. The serial number
is the last number in a file's name unless --serial says otherwise. To keep
files with their verdicts use verify --archive.

Exit status 1 when a file cannot be read; the others are kept.`,
		Example: "  linewright archive add measured --temperature 23°C --instrument 'analyser 3, mechanical calibration of 12 May'",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage("FILE is missing", "write: %s", c.UseLine())
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			names, err := samples(args)
			if err != nil {
				return err
			}
			if serial != "" && len(names) > 1 {
				return usage(fmt.Sprintf("--serial %q for %s", serial, spell.Count(len(names), "file")), "name one file, or leave it out: the number in each name is taken")
			}
			if c.Flags().Changed("temperature") {
				conditions.TemperatureK = temperatureK(&temperature)
			}
			a, err := openArchive(dir, true)
			if err != nil {
				return err
			}
			defer a.Close()
			bar := env.newProgress()
			defer bar.end()
			var added archive.Added
			var faults []error
			for i, name := range names {
				if err := addFile(c.Context(), a, name, serial, conditions); err != nil {
					var f workspace.Fault
					var fs workspace.Faults
					if !errors.As(err, &f) && !errors.As(err, &fs) {
						if c.Context().Err() != nil {
							return keptSoFar(a, added)
						}
						return archiveFault(a.Name(), err)
					}
					faults = append(faults, err)
				}
				if a.Due() {
					if err := a.Flush(c.Context(), &added); err != nil {
						return archiveFault(a.Name(), err)
					}
				}
				bar.report("keeping files", float64(i+1)/float64(len(names)))
			}
			bar.end()
			if err := a.Flush(c.Context(), &added); err != nil {
				return archiveFault(a.Name(), err)
			}
			if len(faults) == len(names) {
				return workspace.Together(faults...)
			}
			if env.json {
				env.printJSON(map[string]any{"added": added.New, "already_there": added.There, "not_read": len(faults)})
			} else {
				fmt.Fprintf(env.out, "%d kept, %d were there already\n", added.New, added.There)
			}
			for _, err := range faults {
				fmt.Fprintln(env.err, err)
			}
			if len(faults) > 0 {
				return errMissed
			}
			return nil
		},
		ValidArgsFunction: completeFiles("s1p", "s2p", "s3p", "s4p", "ts"),
	}
	f := c.Flags()
	f.StringVarP(&dir, "workspace", "w", "", "the workspace; by default this folder")
	f.StringVar(&serial, "serial", "", "serial number, of one file")
	quantityVar(f, &temperature, "temperature", "of the samples when measured, such as 23°C")
	conditionFlags(f, &conditions)
	return c
}

// keptSoFar says what an interrupted import leaves.
func keptSoFar(a *archive.Archive, added archive.Added) error {
	return &keptError{fmt.Sprintf("%d files are kept in %s, %d were there already; the same command goes on from there", added.New, a.Name(), added.There)}
}

// addFile keeps one file without a verdict.
func addFile(ctx context.Context, a *archive.Archive, name, serial string, conditions archive.Conditions) error {
	d, err := inspectNamed(ctx, name, 0)
	if err != nil {
		return err
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return workspace.Fault{File: name, Err: err, Problem: "it cannot be read: " + err.Error(), Help: "check the permissions"}
	}
	r := archive.Record{Name: filepath.Base(name), Serial: serial, Quality: d.Verdict, Version: version().Version, Conditions: conditions}
	if serial == "" {
		r.Serial = measured.SerialOf(name)
	}
	about(&r, d)
	return a.Put(ctx, data, r)
}

// about copies what an inspection found out of the file.
func about(r *archive.Record, d inspect.File) {
	r.Ports, r.Points = d.Ports, d.Points
	if d.FromHz != nil && d.ToHz != nil {
		r.FromHz, r.ToHz = *d.FromHz, *d.ToHz
	}
}

func newArchiveFind(env *environment) *cobra.Command {
	var dir string
	var q archive.Query
	c := &cobra.Command{
		Use:   "find [SERIAL]",
		Short: "Find kept files by serial number, chain, verdict or time",
		Long: `Find lists records, the newest first. In SERIAL, --chain and --name an asterisk
stands for any letters.

Exit status 1 when none is found.`,
		Example: `  linewright archive find 0012
  linewright archive find --chain 'bench*' --verdict fails --from 2026-03`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				q.Serial = args[0]
			}
			for flag, text := range map[string]string{"from": q.From, "until": q.Until} {
				if text != "" && !beginsTime(text) {
					return usage(fmt.Sprintf("--%s %q: no day and no time", flag, text), "write it such as 2026, 2026-03, 2026-03-31 or 2026-03-31T14:05:00Z")
				}
			}
			if !hexadecimal.MatchString(q.SHA256) {
				return usage(fmt.Sprintf("--sha256 %q: no checksum", q.SHA256), "write hexadecimal digits, all 64 or the first few")
			}
			a, err := openArchive(dir, false)
			if err != nil {
				return err
			}
			defer a.Close()
			records, all, err := a.Find(c.Context(), q)
			if err != nil {
				return archiveFault(a.Name(), err)
			}
			if env.json {
				env.printJSON(map[string]any{"records": records, "found": all})
			} else {
				t := newTable(env.out, "id", "added", "serial", "file", "chain", "verdict", "temperature", "sha256")
				numbers(t, 1)
				for _, r := range records {
					temperature := "?"
					if r.TemperatureK != nil {
						temperature = units.Temperature(*r.TemperatureK).String()
					}
					verdict := r.Verdict
					if r.Chain == "" {
						verdict = "none asked"
					}
					t.AppendRow(table.Row{r.ID, r.Added, r.Serial, r.Name, r.Chain, verdict, temperature, r.SHA256[:12]})
				}
				if len(records) > 0 {
					t.Render()
				}
				fmt.Fprintf(env.out, "%d found, %d shown\n", all, len(records))
			}
			if all == 0 {
				return errMissed
			}
			return nil
		},
	}
	f := c.Flags()
	f.StringVarP(&dir, "workspace", "w", "", "the workspace; by default this folder")
	f.StringVar(&q.Chain, "chain", "", "name of the chain")
	f.StringVar(&q.Name, "name", "", "name of the file")
	f.StringVar(&q.SHA256, "sha256", "", "checksum of the file, or its beginning")
	wordVar(c, &q.Verdict, "verdict", "the verdict", "meets", "at risk", "not assessed", "fails")
	f.StringVar(&q.From, "from", "", "kept at or after this time, such as 2026-03 or 2026-03-31")
	f.StringVar(&q.Until, "until", "", "kept at or before this time")
	countVar(f, &q.Most, "most", "n", 100, 1, 1_000_000, "records to show")
	return c
}

var hexadecimal = regexp.MustCompile(`^[0-9a-fA-F]{0,64}$`)

// beginsTime says whether a text is a UTC time of RFC 3339 or the beginning of one.
func beginsTime(text string) bool {
	for _, layout := range []string{"2006", "2006-01", time.DateOnly, "2006-01-02T15", "2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02T15:04:05Z"} {
		if _, err := time.Parse(layout, text); err == nil {
			return true
		}
	}
	return false
}

func newArchiveShow(env *environment) *cobra.Command {
	var dir, extract string
	c := &cobra.Command{
		Use:     "show ID",
		Short:   "One record in full, and the file as it was",
		Long:    "Show prints a record with its judgement as it stood when it was kept, and checks\nthe file's bytes against their checksum. --extract writes them.",
		Example: "  linewright archive show 12 --extract sn0012-as-shipped.s2p",
		Args:    exactly("ID"),
		RunE: func(c *cobra.Command, args []string) error {
			id, err := strconv.ParseInt(args[0], 10, 64)
			if err != nil {
				return usage(fmt.Sprintf("%q is no record's number", args[0]), "find it with: linewright archive find SERIAL")
			}
			a, err := openArchive(dir, false)
			if err != nil {
				return err
			}
			defer a.Close()
			r, data, err := a.Get(c.Context(), id)
			switch {
			case errors.Is(err, archive.ErrNone):
				return usage(fmt.Sprintf("there is no record %d", id), "find it with: linewright archive find SERIAL")
			case err != nil:
				return archiveFault(a.Name(), err)
			}
			if extract != "" {
				if err := workspace.WriteFile(extract, data); err != nil {
					return workspace.Fault{File: extract, Err: err, Problem: "it cannot be written: " + err.Error(), Help: "check the path, the permissions and the disk's free space"}
				}
			}
			if env.json {
				env.printJSON(r)
				return nil
			}
			printRecord(env, r)
			if extract != "" {
				fmt.Fprintf(env.out, "wrote %s: %d bytes as kept\n", extract, len(data))
			}
			return nil
		},
	}
	f := c.Flags()
	f.StringVarP(&dir, "workspace", "w", "", "the workspace; by default this folder")
	f.StringVar(&extract, "extract", "", "write the file's bytes to this file")
	return c
}

func printRecord(env *environment, r archive.Record) {
	out := env.out
	fmt.Fprintf(out, "record %d, kept %s\n", r.ID, r.Added)
	paragraph(out, "  file: ", fmt.Sprintf("%s, %d bytes, SHA-256 %s, checked", r.Name, r.Bytes, r.SHA256))
	paragraph(out, "  serial number: ", r.Serial)
	paragraph(out, "  data: ", fmt.Sprintf("%s, %s, %s to %s; %s", spell.Count(r.Ports, "port"), spell.Count(r.Points, "point"), ghz(r.FromHz), ghz(r.ToHz), qualityWords[r.Quality]))
	if r.TemperatureK != nil {
		paragraph(out, "  temperature: ", units.Temperature(*r.TemperatureK).String())
	}
	for name, text := range map[string]string{"instrument": r.Instrument, "note": r.Note} {
		if text != "" {
			paragraph(out, "  "+name+": ", text)
		}
	}
	if r.Chain == "" {
		paragraph(out, "  ", "kept without a verdict")
		return
	}
	paragraph(out, "  "+strings.ToUpper(r.Verdict)+": ", fmt.Sprintf("%s against %s; %s", r.Chain, r.Enquiry, r.Rule))
	var f measured.Verified
	if err := json.NewDecoder(bytes.NewReader(r.Report)).Decode(&f); err == nil {
		printSample(out, f)
	}
}

func newArchiveCheck(env *environment) *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "check",
		Short: "Read the whole archive and check every file's checksum",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			a, err := openArchive(dir, false)
			if err != nil {
				return err
			}
			defer a.Close()
			n, err := a.Check(c.Context())
			if err != nil {
				return archiveFault(a.Name(), err)
			}
			if env.json {
				env.printJSON(map[string]any{"files": n, "sound": true})
			} else {
				fmt.Fprintf(env.out, "%s, every one with its checksum\n", spell.Count(n, "file"))
			}
			return nil
		},
	}
	c.Flags().StringVarP(&dir, "workspace", "w", "", "the workspace; by default this folder")
	return c
}
