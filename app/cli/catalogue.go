package cli

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"

	"linewright/app/workspace"
	"linewright/hardware/catalogue"
	"linewright/hardware/part"
	"linewright/internal/spell"
)

func newCatalogue(env *environment) *cobra.Command {
	c := &cobra.Command{
		Use:     "catalogue",
		GroupID: "files",
		Short:   "Check, list and import catalogues",
	}
	c.Args, c.RunE = chosen(env)
	c.AddCommand(newCatalogueCheck(env), newCatalogueList(env), newCatalogueImport(env))
	return c
}

// openCatalogue reads a workspace's catalogue, or a single catalogue file.
func openCatalogue(name string) (catalogue.Catalogue, error) {
	info, err := os.Stat(name)
	if err != nil {
		return catalogue.Catalogue{}, workspace.Fault{File: name, Err: os.ErrNotExist, Problem: "no such file or folder", Help: "name a workspace or a catalogue file"}
	}
	if !info.IsDir() {
		if w, file, err := workspace.Around(name); err == nil { // its model files lie in its workspace
			return w.CatalogueFile(file)
		}
		w := workspace.Workspace{Root: filepath.Dir(name), FS: os.DirFS(filepath.Dir(name))}
		return w.CatalogueFile(filepath.Base(name))
	}
	w, err := workspace.Open(name)
	if err != nil {
		return catalogue.Catalogue{}, err
	}
	return w.Catalogue()
}

// faultDoc is a catalogue fault for machines.
type faultDoc struct {
	Part     string `json:"part"`
	Field    string `json:"field"`
	Severity string `json:"severity"`
	Problem  string `json:"problem"`
	Help     string `json:"help"`
}

func newCatalogueCheck(env *environment) *cobra.Command {
	return &cobra.Command{
		Use:   "check [WORKSPACE|FILE]",
		Short: "Find entries that physics does not allow",
		Long: `Check reads a catalogue and names every entry that cannot be: a cable that loses
less than smooth copper in its own core, a rating above the part's own TE11
cutoff, a velocity that contradicts the permittivity. It also names what is
doubtful, and which figures lack a condition.

Exit status 1 when an entry is impossible.`,
		Args: optional,
		RunE: func(c *cobra.Command, args []string) error {
			cat, err := openCatalogue(nameOr(args, "."))
			if err != nil {
				return err
			}
			faults := cat.Check()
			bad := 0
			docs := []faultDoc{}
			count := map[string]int{}
			for _, f := range faults {
				if f.Severity == catalogue.Impossible {
					bad++
				}
				count[f.Severity.String()]++
				docs = append(docs, faultDoc{f.Part, f.Field, f.Severity.String(), f.Problem, f.Help})
			}
			if env.json {
				env.printJSON(map[string]any{"parts": cat.Len(), "faults": docs})
			} else {
				for _, f := range faults {
					paragraph(env.out, fmt.Sprintf("%-11s ", f.Severity), fmt.Sprintf("%s, %s: %s; %s", f.Part, f.Field, f.Problem, f.Help))
				}
				fmt.Fprintf(env.out, "%s: %d impossible, %d doubtful, %d incomplete entries\n", spell.Count(cat.Len(), "part"), count["impossible"], count["doubtful"], count["incomplete"])
			}
			if bad > 0 {
				return errMissed
			}
			return nil
		},
	}
}

// partDoc is one part in a list.
type partDoc struct {
	Kind        string   `json:"kind"`
	ID          string   `json:"id"`
	Maker       string   `json:"maker"`
	Description string   `json:"description"`
	RatedHz     *float64 `json:"rated_hz"`
	Standing    string   `json:"standing"`
}

func newCatalogueList(env *environment) *cobra.Command {
	return &cobra.Command{
		Use:   "list [WORKSPACE|FILE]",
		Short: "List the parts",
		Args:  optional,
		RunE: func(c *cobra.Command, args []string) error {
			cat, err := openCatalogue(nameOr(args, "."))
			if err != nil {
				return err
			}
			docs := []partDoc{}
			add := func(kind string, p part.Common) {
				d := partDoc{Kind: kind, ID: p.ID, Maker: p.Maker, Description: p.Description, Standing: string(p.Standing)}
				if p.RatedFrequency != nil {
					x := float64(*p.RatedFrequency)
					d.RatedHz = &x
				}
				docs = append(docs, d)
			}
			for _, p := range cat.Cables {
				add("cable", p.Common)
			}
			for _, p := range cat.CableConnectors {
				add("cable connector", p.Common)
			}
			for _, p := range cat.BoardConnectors {
				add("board connector", p.Common)
			}
			for _, p := range cat.Adapters {
				add("adapter", p.Common)
			}
			for _, p := range cat.Bullets {
				add("bullet", p.Common)
			}
			if env.json {
				env.printJSON(map[string]any{"parts": docs})
				return nil
			}
			t := newTable(env.out, "kind", "id", "rated GHz", "maker", "description")
			numbers(t, 3)
			for _, d := range docs {
				rated := "?"
				if d.RatedHz != nil {
					rated = fmt.Sprintf("%.4g", *d.RatedHz/1e9)
				}
				t.AppendRow(table.Row{d.Kind, d.ID, rated, d.Maker, d.Description})
			}
			t.Render()
			return nil
		},
	}
}

func newCatalogueImport(env *environment) *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "import TABLE.csv",
		Short: "Turn a table of parts into a catalogue file",
		Long: `Import reads a table of parts and writes it as a catalogue file. The first row
names the columns: kind (cable, cable_connector, board_connector, adapter or
bullet) and the keys of a catalogue file, with a point where YAML indents. A
unit in brackets holds for bare numbers of its column. Several values in a cell
are parted by semicolons, comments start with #.

  kind,id,face.series,face.gender,rated_frequency [GHz],reflection.vswr,fits
  cable_connector,Q1,SMA,male,18,1.2,CA1;CA2`,
		Example: "  linewright catalogue import parts.csv --out catalogue/parts.yaml",
		Args:    exactly("TABLE.csv"),
		RunE: func(c *cobra.Command, args []string) error {
			if !strings.HasSuffix(strings.ToLower(args[0]), ".csv") {
				return usage(fmt.Sprintf("%q does not end in .csv", args[0]), "import reads tables; a .yaml file already is a catalogue file")
			}
			cat, err := openCatalogue(args[0])
			if err != nil {
				return err
			}
			if cat.Name == "" {
				cat.Name = strings.TrimSuffix(filepath.Base(args[0]), filepath.Ext(args[0]))
			}
			data, err := workspace.Encode(cat)
			if err != nil {
				return err
			}
			for _, f := range cat.Check() {
				paragraph(env.err, fmt.Sprintf("%-11s ", f.Severity), fmt.Sprintf("%s, %s: %s; %s", f.Part, f.Field, f.Problem, f.Help))
			}
			if out == "" {
				_, err = env.out.Write(data)
				return err
			}
			if _, err := os.Stat(out); err == nil {
				return usage(out+" stands there already", "name another file with --out, or remove it first")
			}
			if err := workspace.WriteFile(out, data); err != nil {
				return err
			}
			if env.json {
				env.printJSON(map[string]any{"parts": cat.Len(), "written": out})
			} else {
				fmt.Fprintf(env.out, "%s written to %s\n", spell.Count(cat.Len(), "part"), out)
			}
			return nil
		},
	}
	c.Flags().StringVarP(&out, "out", "o", "", "the catalogue file to write; by default standard output")
	return c
}

// optional allows one argument.
func optional(c *cobra.Command, args []string) error {
	if len(args) > 1 {
		return usage(fmt.Sprintf("%q is one argument too many", args[1]), "write: %s", c.UseLine())
	}
	return nil
}

func nameOr(args []string, other string) string {
	if len(args) > 0 {
		return args[0]
	}
	return other
}
