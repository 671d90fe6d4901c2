package cli

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/cmd/coilsweep/internal/inguitar"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/report/data"
	"coilsweep/report/notation"
	"coilsweep/report/page"
	"coilsweep/report/terminal"
)

// mostCompared is the largest number of coils on a comparison page.
const mostCompared = 50

func newCompare(c *console) *cobra.Command {
	options := workbench.NewComparison()
	var shown several
	var guitar, hear string
	return c.command(&cobra.Command{
		Use:   "compare DIR DIR...",
		Short: "Compare two or more coils: values, and which differences are more than chance",
		Long: `Compare coils with one of them: the first, or the one that --against names. A
difference counts where it exceeds its U95 (|En| > 1).

With --states one coil is compared with itself: all its states, as 'measure --state'
keeps them, with the first. What they have in common, the same parts and DC
resistance, cancels out, and a sentence says what changed.

Results that are up to date are used as they are. The others, and all of them for
--out, are worked out from the takes; the coil folders stay as they are.

With --hear the page lets two coils be heard, each alone in the guitar of
--harness, as 'coilsweep hear' does.`,
		Example: `  coilsweep compare neck bridge
  coilsweep compare shop/* --against shop/reference --same-bench --sort inductance_h
  coilsweep compare bridge --states
  coilsweep compare neck bridge --out comparison.html`,
		Args: func(cmd *cobra.Command, args []string) error {
			if options.States {
				return oneArg("the coil folder DIR")(cmd, args)
			}
			return someDirs(2)(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := shown.check(cmd); err != nil {
				return err
			}
			if options.States {
				var err error
				if args, err = evaluation.StatesOf(args[0]); err != nil {
					return err
				}
			}
			if len(args) > mostCompared && shown.out.Path != "" {
				return usagef("a comparison page is for 2 to %d coils, not %d; 'coilsweep batch' takes more",
					mostCompared, len(args))
			}
			if shown.out.Path == "" { // JSON has the coils as given
				if err := contradict(cmd, "sort", "json"); err != nil {
					return err
				}
			}
			if hear != "" && len(args) != 2 {
				return usagef("--hear is for two coils, not %d", len(args))
			}
			if err := cmp.Or(needs(cmd, "hear", "out"), needs(cmd, "harness", "hear"), options.Check(args)); err != nil {
				return err
			}
			inGuitar := new(harness.Harness)
			if guitar != "" {
				var err error
				if inGuitar, err = inguitar.OneCoilHarness(guitar); err != nil {
					return err
				}
			}
			coils, unfit, err := c.measured(cmd.Context(), args,
				evaluation.Options{Curves: shown.out.Path != "", Circuit: hear != ""}, false)
			if err != nil {
				return err
			}
			result, err := options.Run(args, coils)
			if err != nil {
				return err
			}
			document := page.ComparisonDocument{Comparison: result, SortKey: options.Sort, Made: workbench.Made(),
				Program: programName()}
			if hear != "" {
				document.Listening, err = inguitar.HearCompared(cmd.Context(), hear, *inGuitar, coils, result.Reference)
				if err != nil {
					return err
				}
			}
			return shown.print(c, printed{
				page:  func(w io.Writer) error { return page.Comparison(w, document) },
				json:  func(w io.Writer) error { return data.ComparisonJSON(w, result) },
				csv:   func(w io.Writer) error { return data.ComparisonCSV(w, result, options.Sort, shown.sign.csv()) },
				table: func(w io.Writer) error { return terminal.Comparison(w, result, options.Sort, screen.TableOptions(w)) },
			}, unfit)
		},
	}, options.Options, slices.Concat(shown.options(c), output(inguitar.HearOption(&hear),
		text("harness", "file that describes the guitar of --hear", &guitar))))
}

// several are the options of how several coils are shown.
type several struct {
	out  outfile.File
	csv  bool
	sign decimal
}

func (s *several) options(c *console) workbench.Options {
	return output(
		text("out", "write a page with pictures to FILE.html", &s.out.Path), forceOption(&s.out.Force),
		on("json", "print JSON", &c.asJSON), on("csv", "print CSV, one row a coil", &s.csv), s.sign.option("--csv"))
}

func (s *several) check(cmd *cobra.Command) error {
	s.out.Option = "out"
	return cmp.Or(contradict(cmd, "json", "csv"), needs(cmd, "decimal", "csv"), needs(cmd, "force", "out"),
		s.out.Check(".html"))
}

// printed writes what is known of several coils in one form each; page is nil
// where there is none.
type printed struct{ page, json, csv, table func(io.Writer) error }

// print prints it in the form that was asked for, and writes the page. unfit
// tells of data that were left out.
func (s *several) print(c *console, p printed, unfit error) error {
	if s.out.Path != "" {
		if err := s.out.Write(p.page); err != nil {
			return err
		}
		c.warn("wrote %s", s.out.Path)
	}
	text := p.table
	if s.csv {
		text = p.csv
	}
	return c.show(p.json, text, unfit)
}

// someDirs wants at least so many folders, each once.
func someDirs(least int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < least {
			return fmt.Errorf("%q needs at least %s, got %d", cmd.Name(), notation.Count(least, "coil folder"),
				len(args))
		}
		seen := map[string]bool{}
		for _, dir := range args {
			if seen[filepath.Clean(dir)] {
				return fmt.Errorf("%s is named twice", dir)
			}
			seen[filepath.Clean(dir)] = true
		}
		return nil
	}
}

// Coil is a workbench.Coils: results that are up to date are used as they are;
// with curves all are worked out.
func (c *console) Coil(ctx context.Context, dir string, curves bool) (evaluation.Measured, error) {
	e, err := c.coil(ctx, dir, evaluation.Options{Curves: curves})
	if err != nil {
		return evaluation.Measured{}, err
	}
	return e.Measured(), nil
}

// coil evaluates a coil with the options of its last fit, for what is wanted of it.
func (c *console) coil(ctx context.Context, dir string, want evaluation.Options) (*evaluation.Evaluation, error) {
	want.AsLast = true
	e, err := c.evaluate(ctx, dir, want)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", dir, err)
	}
	return e, nil
}

// measured are the coils in dirs. unfit tells of takes that were left out, of takes
// that contradict what was stated, and, where some may fail, of coils that have no
// result.
func (c *console) measured(ctx context.Context, dirs []string, want evaluation.Options, someMayFail bool) (
	coils []evaluation.Measured, unfit, err error) {
	bar := screen.NewCounter(c.err, "coils", len(dirs))
	defer bar.Clear()
	var left, doubtful []string
	for n, dir := range dirs {
		e, err := c.coil(ctx, dir, want)
		switch {
		case err != nil && (!someMayFail || ctx.Err() != nil):
			return nil, nil, err
		case err != nil:
			left = append(left, strings.TrimPrefix(err.Error(), dir+": "))
			c.warn("left out: %s", complaint(err))
		default:
			m := e.Measured()
			if len(dirs) > 2 {
				m.Fitted = nil // two are heard; the circuits of a whole run would fill the memory
			}
			coils = append(coils, m)
			if e.LeftOut != nil {
				left = append(left, dir+": "+strings.Join(e.LeftOut, "; "))
			}
			if facts := e.Result.Contradicted; len(facts) > 0 {
				doubtful = append(doubtful, dir+": the takes contradict "+strings.Join(facts, "; "))
			}
		}
		if bar.OnTerminal || want.Curves || len(dirs) > 4 && !someMayFail {
			bar.Show(n + 1)
		}
	}
	what := doubtful
	if left != nil {
		of := ""
		if someMayFail {
			of = fmt.Sprintf(" of %d coil folders", len(dirs))
		}
		what = append([]string{"left out" + of + ": " + strings.Join(left, "; ")}, doubtful...)
	}
	if what != nil {
		unfit = &capture.UnfitError{What: strings.Join(what, "; ")}
	}
	return coils, unfit, nil
}

// folders are the coil folders that args name: each itself, or all below it.
func (c *console) folders(ctx context.Context, args []string) ([]string, error) {
	dirs, unreadable, err := evaluation.Folders(ctx, args)
	for _, err := range unreadable {
		c.warn("%v", err)
	}
	c.mend(dirs)
	return dirs, err
}

var _ workbench.Coils = (*console)(nil)
