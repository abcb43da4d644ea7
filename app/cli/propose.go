package cli

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/propose"
)

func newPropose(env *environment) *cobra.Command {
	var o propose.Options
	var dir, plots, save string
	c := &cobra.Command{
		Use:     "propose ENQUIRY",
		GroupID: "job",
		Short:   "Rank the chains that answer an enquiry",
		Long: `Propose lays the enquiry out as a row of places, drops the parts that cannot
serve, and searches the rest exactly: no chain of the catalogue that is left out
is better in loss, worst reflection, price, mass and wear at once. Each proposal
carries its whole prediction and a verdict on every limit:

  meets         the worst case lies inside
  at risk       the likely case lies inside, the worst outside, or it rests on typical figures
  not assessed  something needed is not known; the questions say what
  fails         even the likely case lies outside

When nothing keeps the limits, the nearest misses are shown, with what they
break and what a part would have to be.`,
		Example: `  linewright propose enquiries/d1-bench-jumpers.yaml
  linewright propose enquiries/d1-bench-jumpers.yaml --json | jq .proposals[0].parts
  linewright propose my.yaml --plots plots --save chains`,
		Args: exactly("ENQUIRY"),
		RunE: func(c *cobra.Command, args []string) error {
			j, e, err := openEnquiry(dir, args[0])
			if err != nil {
				return err
			}
			bar := env.newProgress()
			o.Progress, o.Layouts = bar.report, j.layouts
			a, err := propose.Find(c.Context(), e, j.cat, o)
			bar.end()
			if err != nil {
				return err
			}
			if plots != "" {
				if err := writePlots(env, plots, e, a); err != nil {
					return err
				}
			}
			if save != "" {
				if err := saveChains(env, j.w, save, a); err != nil {
					return err
				}
			}
			if env.json {
				env.printJSON(wire.NewAnswer(a))
			} else {
				printAnswer(env.out, a)
			}
			return outcomeStatus(a)
		},
		ValidArgsFunction: completeFiles("yaml"),
	}
	f := c.Flags()
	f.StringVarP(&dir, "workspace", "w", "", "the workspace; by default the nearest folder above ENQUIRY that has a catalogue")
	countVar(f, &o.Most, "most", "n", 10, 1, 1000, "proposals to show")
	countVar(f, &o.Misses, "misses", "", 5, 1, 1000, "nearest misses to show")
	countVar(f, &o.Draws, "draws", "", 4000, 1, 10_000_000, "random draws of each proposal's reflections")
	f.Uint64Var(&o.Seed, "seed", 0, "seed of the random draws: the same seed gives the same answer")
	f.StringVar(&plots, "plots", "", "write one SVG per proposal into this folder")
	f.StringVar(&save, "save", "", "write one chain file per proposal into this folder of the workspace")
	return c
}

// outcomeStatus is the exit status of an answer.
func outcomeStatus(a propose.Answer) error {
	if a.Outcome == propose.Serve {
		return nil
	}
	return errMissed
}

// job is what a command on an enquiry or a chain works on.
type job struct {
	w       workspace.Workspace
	cat     catalogue.Catalogue
	layouts launch.Layouts
}

// openJob finds the workspace of a file, or opens the one named, and reads its
// shelves. name is the file's path in it.
func openJob(dir, file string) (j job, name string, err error) {
	name = file
	if dir == "" {
		j.w, name, err = workspace.Around(file)
	} else {
		j.w, err = workspace.Open(dir)
	}
	if err != nil {
		return j, "", err
	}
	var errC, errL error
	j.cat, errC = j.w.Catalogue()
	j.layouts, errL = j.w.Layouts()
	return j, filepath.ToSlash(name), workspace.Together(errC, errL)
}

// openEnquiry reads an enquiry and what its workspace holds. Faults of all
// files come together.
func openEnquiry(dir, file string) (j job, e enquiry.Enquiry, err error) {
	j, name, err := openJob(dir, file)
	if name == "" {
		return j, e, err
	}
	e, errE := j.enquiry(name, err == nil)
	return j, e, workspace.Together(errE, err)
}

// enquiry reads an enquiry; what it names is looked up when the shelves were
// read.
func (j job) enquiry(name string, resolve bool) (enquiry.Enquiry, error) {
	text, err := j.w.Read(name)
	if err != nil {
		return enquiry.Enquiry{}, err
	}
	e, err := j.w.EnquiryText(name, text)
	if err == nil && resolve {
		err = j.w.Resolve(name, text, e, j.layouts)
	}
	return e, err
}

// openChain reads a chain, builds it, and reads the enquiry that it or the flag
// names.
func openChain(dir, file, enquiryName string) (j job, e enquiry.Enquiry, b chain.Built, err error) {
	j, name, err := openJob(dir, file)
	if name == "" {
		return j, e, b, err
	}
	spec, errS := j.w.Chain(name)
	if err := workspace.Together(errS, err); err != nil {
		return j, e, b, err
	}
	if enquiryName == "" {
		enquiryName = spec.Enquiry
	}
	if enquiryName == "" {
		return j, e, b, usage("the chain names no enquiry", "add enquiry: to its file, or name one with --enquiry: the band and the limits come from it")
	}
	if e, err = j.enquiry(enquiryPath(enquiryName), true); err != nil {
		return j, e, b, err
	}
	if b, err = chain.Build(spec, j.cat); err != nil {
		return j, e, b, inFile(file, err)
	}
	return j, e, b, nil
}

func newPredict(env *environment) *cobra.Command {
	var dir, enquiryName, out, plot string
	var o assess.Options
	c := &cobra.Command{
		Use:     "predict CHAIN",
		GroupID: "job",
		Short:   "Predict one chain: ledger, margins, model",
		Long: `Predict reads a chain file and shows its ledger element by element, its
reflections as best, likely, worst and RSS side by side, and its margins to the
limits of the enquiry that the file names (or --enquiry). With --touchstone it
writes the chain as a two-port whose header says what is in it.`,
		Example: `  linewright predict chains/d1-1.yaml
  linewright predict chains/d1-1.yaml --touchstone d1-1.s2p --plot d1-1.svg`,
		Args: exactly("CHAIN"),
		RunE: func(c *cobra.Command, args []string) error {
			j, e, b, err := openChain(dir, args[0], enquiryName)
			if err != nil {
				return err
			}
			r, err := assess.Assess(c.Context(), e, assess.Subject{Built: b, Catalogue: j.cat, Layouts: j.layouts}, o)
			if err != nil {
				return err
			}
			doc := wire.NewPrediction(b, r)
			if out != "" {
				holds, err := writeTouchstone(out, b, r)
				if err != nil {
					return err
				}
				doc.Touchstone, doc.TouchstoneHolds = out, holds
			}
			if plot != "" {
				if err := writePlot(plot, e, b, r); err != nil {
					return err
				}
			}
			if env.json {
				env.printJSON(doc)
			} else {
				printReport(env.out, e, b, r)
				if out != "" {
					fmt.Fprintf(env.out, "\nwrote %s: %s\n", out, doc.TouchstoneHolds)
				}
			}
			if r.Verdict() != assess.Meets {
				return errMissed
			}
			return nil
		},
		ValidArgsFunction: completeFiles("yaml"),
	}
	f := c.Flags()
	f.StringVarP(&dir, "workspace", "w", "", "the workspace; by default the nearest folder above CHAIN that has a catalogue")
	f.StringVarP(&enquiryName, "enquiry", "e", "", "the enquiry that sets band and limits; by default the one the chain names")
	f.StringVarP(&out, "touchstone", "o", "", "write the chain as a Touchstone file")
	f.StringVar(&plot, "plot", "", "write an SVG of loss and reflection")
	countVar(f, &o.Points, "points", "", 201, 2, 100_001, "frequencies over the band")
	countVar(f, &o.Draws, "draws", "", 4000, 1, 10_000_000, "random draws of the reflections")
	f.Uint64Var(&o.Seed, "seed", 0, "seed of the random draws")
	return c
}

// inFile says in which file a piece stands that cannot be built.
func inFile(file string, err error) error {
	var b *chain.BuildError
	if errors.As(err, &b) {
		return workspace.Fault{File: file, Found: fmt.Sprintf("piece %d", b.Piece+1), Err: err, Problem: b.Problem, Help: b.Help}
	}
	return err
}

// enquiryPath turns an enquiry's id into its path in the workspace.
func enquiryPath(name string) string {
	if strings.ContainsAny(name, "/.") {
		return filepath.ToSlash(name)
	}
	return workspace.EnquiryDir + "/" + name + ".yaml"
}

func completeFiles(endings ...string) func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return endings, cobra.ShellCompDirectiveFilterFileExt
	}
}
