package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"linewright/app/inspect"
	"linewright/app/workspace"
	"linewright/internal/spell"
)

func newInspect(env *environment) *cobra.Command {
	var ports int
	c := &cobra.Command{
		Use:     "inspect FILE...",
		GroupID: "files",
		Short:   "What is in a Touchstone file, and can it be trusted",
		Long: `Inspect reads Touchstone files and says what is in each: version, ports, format,
frequencies, reference, the description it carries, noise data. It then judges
the data: passive, reciprocal, causal (the initial quality metrics of IEEE Std
370, and the dispersion relation with its bound), a transmission above 0 dB or a
loss below that of any line, a frequency step too coarse for phase or ripple,
jumps, noise, a missing low end, ports and columns in the wrong order, a reference
impedance that the lines contradict. Each finding says what it means and what to
do.

  good          nothing to do
  care          usable, with what the finding says in mind
  bad           not the data of a passive interconnect, or not usable as they are
  not assessed  something needed is missing

Files of several hundred megabytes are judged piece by piece; what needs the
whole file is then not assessed. Exit status 1 when a finding is bad.`,
		Example: `  linewright inspect measured/lot7-03.s2p
  linewright inspect measured/*.s2p --json`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage("FILE is missing", "write: %s", c.UseLine())
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			var errs []error
			docs := []inspect.File{}
			bad := false
			for _, name := range args {
				d, err := inspectNamed(c.Context(), name, ports)
				if err != nil {
					if c.Context().Err() != nil {
						return err
					}
					errs = append(errs, err)
					continue
				}
				docs = append(docs, d)
				bad = bad || d.Verdict == inspect.Bad
				if !env.json {
					printFile(env, d)
				}
			}
			if err := workspace.Together(errs...); err != nil {
				return err
			}
			if env.json {
				env.printJSON(map[string]any{"files": docs})
			}
			if bad {
				return errMissed
			}
			return nil
		},
		ValidArgsFunction: completeFiles("s1p", "s2p", "s3p", "s4p", "s6p", "s8p", "s12p", "s16p", "ts", "snp"),
	}
	countVar(c.Flags(), &ports, "ports", "", 0, 0, 1000, "number of ports, where neither the file nor its ending tells")
	return c
}

// inspectNamed opens and judges one file. Faults come as workspace faults.
func inspectNamed(ctx context.Context, name string, ports int) (inspect.File, error) {
	f, err := openNamed(name)
	if err != nil {
		return inspect.File{}, err
	}
	defer f.Close()
	return inspect.Judge(ctx, f, name, ports, 0)
}

// openNamed opens a file that was named on the command line, or says what is
// wrong with the name.
func openNamed(name string) (*os.File, error) {
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		help := "check the path"
		if near := nearbyFile(name); near != "" {
			help = "did you mean " + near + "?"
		}
		return nil, workspace.Fault{File: name, Err: fs.ErrNotExist, Problem: "no such file", Help: help}
	case err != nil:
		return nil, workspace.Fault{File: name, Err: err, Problem: err.Error(), Help: "check the path and the permissions"}
	case info.IsDir():
		return nil, workspace.Fault{File: name, Err: fs.ErrInvalid, Problem: "a folder, not a file", Help: "name files in it, such as " + filepath.Join(name, "*.s2p")}
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, workspace.Fault{File: name, Err: err, Problem: "it cannot be opened", Help: "check the permissions"}
	}
	return f, nil
}

// nearbyFile returns the file of the same folder whose name is nearest.
func nearbyFile(name string) string {
	entries, err := os.ReadDir(filepath.Dir(name))
	if err != nil {
		return ""
	}
	var names []string
	for _, e := range entries {
		if !e.IsDir() {
			names = append(names, e.Name())
		}
	}
	if near := spell.Nearest(filepath.Base(name), names, 3); near != "" {
		return filepath.Join(filepath.Dir(name), near)
	}
	return ""
}

func printFile(env *environment, d inspect.File) {
	out := env.out
	heading(out, "%s: %s", d.File, d.Verdict)
	step := "unevenly spaced"
	switch {
	case d.Points < 2:
		step = "no sweep"
	case d.StepHz != nil:
		step = fmt.Sprintf("every %.6g MHz", *d.StepHz/1e6)
	}
	fmt.Fprintf(out, "  Touchstone %s, %s, %s in %s, %s from %s to %s GHz, %s\n", d.Version, spell.Count(d.Ports, "port"), d.Parameter, d.Format, spell.Count(d.Points, "point"), show(d.FromHz, 1e-9, "%.6g"), show(d.ToHz, 1e-9, "%.6g"), step)
	fmt.Fprintf(out, "  reference %s Ω", inspect.Numbers(d.ReferenceOhm))
	if len(d.Modes) > 0 {
		fmt.Fprintf(out, ", mixed modes %s", strings.Join(d.Modes, " "))
	}
	if d.NoisePoints > 0 {
		fmt.Fprintf(out, ", %d noise points", d.NoisePoints)
	}
	fmt.Fprintln(out)
	if h := d.Description; h != nil {
		paragraph(out, "  title: ", h.Title)
		paragraph(out, "  origin: ", h.Origin)
		for i, p := range h.Ports {
			paragraph(out, fmt.Sprintf("  port %d: ", i+1), p)
		}
		if len(h.Contains) > 0 {
			paragraph(out, "  contains: ", strings.Join(h.Contains, "; "))
		}
		if len(h.Excludes) > 0 {
			paragraph(out, "  does not contain: ", strings.Join(h.Excludes, "; "))
		}
		for _, n := range h.Notes {
			paragraph(out, "  note: ", n)
		}
	}
	for _, f := range d.Findings {
		text := f.Means
		if f.Figure != nil && f.Of != "" {
			text += fmt.Sprintf(" (%s %.6g", f.Of, *f.Figure)
			if f.Unit != "" {
				text += " " + f.Unit
			}
			if len(f.Ports) == 2 {
				text += fmt.Sprintf(", S%d,%d", f.Ports[0], f.Ports[1])
			}
			if f.AtHz != nil {
				text += fmt.Sprintf(" at %.6g GHz", *f.AtHz/1e9)
			}
			if f.Grade != nil && f.Unit != "%" {
				text += fmt.Sprintf("; metric %.4g %%", *f.Grade)
			}
			text += ")"
		}
		if f.Do != "" {
			text += ". " + strings.ToUpper(f.Do[:1]) + f.Do[1:]
		}
		paragraph(out, fmt.Sprintf("  %-12s %s: ", f.Verdict, f.Finding), text)
	}
	for _, l := range d.LeftOut {
		paragraph(out, "  left out: ", l)
	}
}
