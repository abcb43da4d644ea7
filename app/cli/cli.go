// Package cli is the command line. It reads flags and files, calls the job
// packages, and prints; it computes nothing.
//
// Exit status: 0 done and every limit met, 1 done and a limit missed or not
// assessable, 2 bad input or usage, 130 interrupted.
package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"linewright/app/wire"
	"linewright/internal/spell"
)

// Exit statuses, a documented contract.
const (
	ExitMet         = 0
	ExitMissed      = 1
	ExitUsage       = 2
	ExitInterrupted = 130
)

// errMissed says that the work was done and a limit is missed: it is printed
// nowhere, it only sets the exit status.
var errMissed = errors.New("a limit is missed or not assessed")

// usageError is a fault of the command line itself.
type usageError struct{ problem, help string }

func (e *usageError) Error() string { return e.problem + "; " + e.help }

// keptError is an interruption after which something stands.
type keptError struct{ says string }

func (e *keptError) Error() string { return e.says }
func (e *keptError) Unwrap() error { return context.Canceled }

func usage(problem, help string, args ...any) error {
	return &usageError{problem, fmt.Sprintf(help, args...)}
}

// environment is what a command may touch.
type environment struct {
	in       io.Reader
	out, err io.Writer
	json     bool
	quiet    bool
}

// Main runs the command line and returns the exit status.
func Main(args []string, in io.Reader, out, errOut io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends it at once
	return run(ctx, args, in, out, errOut)
}

func run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) int {
	printed := &sink{w: out}
	out = printed
	env := &environment{in: in, out: out, err: errOut}
	root := newRoot(env)
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errOut)
	for _, a := range args { // known before the flags are parsed, so that faults of the flags are JSON too
		if a == "--json" {
			env.json = true
		}
	}
	err := root.ExecuteContext(ctx)
	if printed.err != nil && (err == nil || errors.Is(err, errMissed)) { // whoever reads it lacks a part
		fmt.Fprintf(errOut, "standard output: it cannot be written to its end: %v; check the disk's free space, or where it is led\n", printed.err)
		return ExitUsage
	}
	switch {
	case err == nil:
		return ExitMet
	case errors.Is(err, errMissed):
		return ExitMissed
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		says := "nothing was written"
		var kept *keptError
		if errors.As(err, &kept) {
			says = kept.says
		}
		fmt.Fprintln(errOut, "interrupted: "+says)
		if env.json {
			env.printJSON(wire.NewErrors(usage("interrupted", "%s", says)))
		}
		return ExitInterrupted
	}
	if env.json {
		env.printJSON(wire.NewErrors(err))
	} else {
		fmt.Fprintln(errOut, err)
	}
	return ExitUsage
}

func newRoot(env *environment) *cobra.Command {
	root := &cobra.Command{
		Use:   "linewright",
		Short: "From an enquiry to ranked, predicted and checked interconnect chains",
		Long: `Linewright answers enquiries for microwave interconnects: from a catalogue of
board connectors, cable connectors, cables and push-on joints it finds every
chain that no other beats, predicts each, and says how far it lies from every
limit, where it breaks first, what is still open, and what the catalogue lacks.

Start with:

  linewright demo                writes a demo workspace and answers its first enquiry
  linewright propose ENQUIRY     answers an enquiry of your own

Quantities are written with their units: 26.5GHz, 0.6m, 25mil, 17um, 85°C.`,
		SilenceUsage:               true,
		SilenceErrors:              true,
		SuggestionsMinimumDistance: 2,
	}
	root.PersistentFlags().BoolVar(&env.json, "json", false, "print one JSON document on standard output and nothing else there")
	root.PersistentFlags().BoolVarP(&env.quiet, "quiet", "q", false, "no progress on standard error")
	root.CompletionOptions.HiddenDefaultCmd = false
	root.AddGroup(&cobra.Group{ID: "job", Title: "From enquiry to answer:"}, &cobra.Group{ID: "piece", Title: "One piece at a time:"}, &cobra.Group{ID: "files", Title: "Files:"})
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error { return flagFault(c, err) })
	root.Args = func(c *cobra.Command, args []string) error {
		if len(args) == 0 {
			return nil
		}
		var names []string
		for _, s := range c.Commands() {
			names = append(names, s.Name())
		}
		if near := spell.Nearest(args[0], names, 2); near != "" {
			return usage(fmt.Sprintf("no command is called %q", args[0]), "did you mean %s?", near)
		}
		return usage(fmt.Sprintf("no command is called %q", args[0]), "see them all with: linewright --help")
	}
	_, root.RunE = chosen(env)
	for _, add := range []func(*environment) *cobra.Command{newDemo, newPropose, newPredict, newYield, newVerify, newArchive, newServe, newLine, newBody, newSection, newField, newCatalogue, newInspect, newDeembed, newFit, newSchema, newVersion} {
		root.AddCommand(add(env))
	}
	return root
}

// flagFault turns cobra's message on a flag into one that names the cure.
func flagFault(c *cobra.Command, err error) error {
	text := err.Error()
	if i := strings.Index(text, "unknown flag: --"); i >= 0 {
		name := text[i+len("unknown flag: --"):]
		var names []string
		c.Flags().VisitAll(func(f *flagType) { names = append(names, f.Name) })
		if near := spell.Nearest(name, names, 2); near != "" {
			return usage("no flag is called --"+name, "did you mean --%s?", near)
		}
		return usage("no flag is called --"+name, "see the flags with: %s --help", c.CommandPath())
	}
	var u *usageError
	if errors.As(err, &u) {
		return u
	}
	if err := plainFlagFault(err); err != nil {
		return err
	}
	return usage(text, "see the flags with: %s --help", c.CommandPath())
}

// exactly asks for a number of arguments, by name.
func exactly(names ...string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case len(args) < len(names):
			return usage(fmt.Sprintf("%s is missing", names[len(args)]), "write: %s", c.UseLine())
		case len(args) > len(names):
			return usage(fmt.Sprintf("%q is one argument too many", args[len(names)]), "write: %s", c.UseLine())
		}
		return nil
	}
}

func (e *environment) printJSON(v any) {
	enc := json.NewEncoder(e.out)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	_ = enc.Encode(v) // our own types: only the writing can fail, and run looks for that
}

// sink remembers the first failure of what is printed.
type sink struct {
	w   io.Writer
	err error
}

func (s *sink) Write(p []byte) (int, error) {
	n, err := s.w.Write(p)
	if err != nil && s.err == nil {
		s.err = err
	}
	return n, err
}

// chosen is the pair of functions of a command that only holds others: by
// itself it says which.
func chosen(env *environment) (cobra.PositionalArgs, func(*cobra.Command, []string) error) {
	names := func(c *cobra.Command) []string {
		var names []string
		for _, s := range c.Commands() {
			if s.IsAvailableCommand() {
				names = append(names, s.Name())
			}
		}
		return names
	}
	args := func(c *cobra.Command, args []string) error {
		if len(args) == 0 {
			return nil
		}
		problem := fmt.Sprintf("%s has no command %q", c.CommandPath(), args[0])
		if near := spell.Nearest(args[0], names(c), 2); near != "" {
			return usage(problem, "did you mean %s?", near)
		}
		return usage(problem, "write one of: %s", strings.Join(names(c), ", "))
	}
	return args, func(c *cobra.Command, _ []string) error {
		if env.json { // help is no document
			return usage("a command is missing", "write one of: %s %s", c.CommandPath(), strings.Join(names(c), ", "))
		}
		return c.Help()
	}
}
