package cli

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"linewright/app/workspace"
	"linewright/internal/spell"
)

func newSchema(env *environment) *cobra.Command {
	kinds := workspace.SchemaKinds()
	return &cobra.Command{
		Use:     "schema KIND",
		GroupID: "files",
		Short:   "Print the JSON Schema of a kind of file",
		Long: `Schema prints the JSON Schema (2020-12) of a kind of file of the workspace: its
keys, what each means, the words it takes and how quantities are written. With
it an editor completes and checks a file while you write it. Kinds: ` + strings.Join(kinds, ", ") + `.`,
		Example: `  linewright schema enquiry > enquiry.schema.json
  linewright schema catalogue | jq '.properties | keys'`,
		ValidArgs: kinds,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage("KIND is missing", "write one of: %s", strings.Join(kinds, ", "))
			}
			return exactly("KIND")(c, args)
		},
		RunE: func(c *cobra.Command, args []string) error {
			data, err := workspace.Schema(args[0])
			if err != nil {
				help := "write one of: " + strings.Join(kinds, ", ")
				if near := spell.Nearest(args[0], kinds, 3); near != "" {
					help = "did you mean " + near + "?"
				}
				return usage(fmt.Sprintf("no kind of file is called %q", args[0]), "%s", help)
			}
			_, err = env.out.Write(data)
			return err
		},
	}
}

// versionDoc is what this program is and how it was built.
type versionDoc struct {
	Version  string `json:"version"` // "development" for a build from a working tree
	Revision string `json:"revision"`
	Modified bool   `json:"modified"`
	Time     string `json:"time"`
	Go       string `json:"go"`
	Platform string `json:"platform"`
}

func newVersion(env *environment) *cobra.Command {
	return &cobra.Command{
		Use:     "version",
		GroupID: "files",
		Short:   "Say which version this is",
		Args:    exactly(),
		RunE: func(c *cobra.Command, args []string) error {
			d := version()
			if env.json {
				env.printJSON(d)
				return nil
			}
			fmt.Fprintf(env.out, "linewright %s, %s, %s\n", d.Version, d.Go, d.Platform)
			if d.Revision != "" {
				changed := ""
				if d.Modified {
					changed = ", with changes not committed"
				}
				fmt.Fprintf(env.out, "built from %s of %s%s\n", d.Revision, d.Time, changed)
			}
			return nil
		},
	}
}

// version reads what the build left in the program.
func version() versionDoc {
	d := versionDoc{Version: "development", Go: runtime.Version(), Platform: runtime.GOOS + "/" + runtime.GOARCH}
	if info, ok := debug.ReadBuildInfo(); ok {
		if v := info.Main.Version; v != "" && v != "(devel)" {
			d.Version = v
		}
		for _, s := range info.Settings {
			switch s.Key {
			case "vcs.revision":
				d.Revision = s.Value
			case "vcs.modified":
				d.Modified = s.Value == "true"
			case "vcs.time":
				d.Time = s.Value
			}
		}
	}
	return d
}
