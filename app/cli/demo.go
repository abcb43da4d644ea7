package cli

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"linewright/app/demo"
	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/job/propose"
)

func newDemo(env *environment) *cobra.Command {
	c := &cobra.Command{
		Use:     "demo [FOLDER]",
		GroupID: "job",
		Short:   "Write the demo workspace and run the main job on it",
		Long: `Demo writes a workspace with the catalogues of invented makers, standard cable
types and enquiries of invented customers, and answers the first. Files that stand there
already are left alone, so you may change them and run it again.`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usage(fmt.Sprintf("%q is one argument too many", args[1]), "write: linewright demo [FOLDER]")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			dir := "demo"
			if len(args) == 1 {
				dir = args[0]
			}
			if err := writeDemo(env, dir); err != nil {
				return err
			}
			w, err := workspace.Open(dir)
			if err != nil {
				return err
			}
			cat, err := w.Catalogue()
			if err != nil {
				return err
			}
			layouts, err := w.Layouts()
			if err != nil {
				return err
			}
			names, err := w.Enquiries()
			if err != nil {
				return err
			}
			e, err := w.Enquiry(names[0])
			if err != nil {
				return err
			}
			bar := env.newProgress()
			a, err := propose.Find(c.Context(), e, cat, propose.Options{Progress: bar.report, Layouts: layouts})
			bar.end()
			if err != nil {
				return err
			}
			if env.json {
				env.printJSON(wire.NewAnswer(a))
				return nil
			}
			printAnswer(env.out, a)
			fmt.Fprintf(env.out, "\nThe demo's data are invented. Next:\n")
			for _, n := range names[1:] {
				fmt.Fprintf(env.out, "  linewright propose %s\n", filepath.Join(dir, n))
			}
			return nil
		},
	}
	return c
}

// writeDemo writes the files that are not there yet.
func writeDemo(env *environment, dir string) error {
	written := 0
	for _, name := range demo.Names() {
		target := filepath.Join(dir, filepath.FromSlash(name))
		if _, err := os.Stat(target); err == nil {
			continue
		}
		data, err := fs.ReadFile(demo.Files(), name)
		if err != nil {
			return err
		}
		if err := workspace.WriteFile(target, data); err != nil {
			return fmt.Errorf("%s cannot be written: %w; name another folder: linewright demo FOLDER", target, err)
		}
		written++
	}
	fmt.Fprintf(env.err, "%s: %d files written, %d stood there already\n", strings.TrimSuffix(dir, "/"), written, len(demo.Names())-written)
	return nil
}
