package cli

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
	"coilsweep/report/data"
	"coilsweep/report/notation"
	"coilsweep/report/page"
	"coilsweep/report/terminal"
	"coilsweep/report/words"
)

func newBatch(c *console) *cobra.Command {
	options := workbench.NewBatch()
	var shown several
	var lines bool
	return c.command(&cobra.Command{
		Use:   "batch DIR...",
		Short: "A production run: spread, repeatability, limits, what stands out, drift",
		Long: `The statistics of a production run of coils. A DIR that is not a coil folder stands
for all coils below it. Folders with the same coil name hold the same coil, measured
again: they separate the spread of the measurement from that of the coils (one-way
analysis of variance).

Limits come from a file,

  schema = "coilsweep.limits/1"
  [inductance_h]
  nominal = "2.4H 5%"
  [bare_q]
  min = "3"

or are set around a reference coil: --reference DIR --tolerance 5%. A coil passes if
it lies inside every limit by the guard band, fails if it lies outside one by as
much, and is undecided in between. The guard band is one U95 unless --guard changes
that. The exit status is 3 where a coil fails. The reference coil passes itself; with
--same-bench the errors of parts that it shares with the others cancel out.`,
		Example: `  coilsweep batch shop
  coilsweep batch shop --limits limits.toml --out batch.html
  coilsweep batch shop --reference good --tolerance 5% --tolerance bare_q=15%
  coilsweep batch shop --reference shop/good --tolerance 5% --same-bench --lines
  coilsweep batch shop --csv > batch.csv`,
		Args: someDirs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := cmp.Or(shown.check(cmd), contradict(cmd, "chart", "json"), contradict(cmd, "chart", "csv"),
				needs(cmd, "guard", "limits", "reference"), options.Check()); err != nil {
				return err
			}
			if lines {
				if limited := options.LimitsFile != "" || options.Reference != ""; !limited {
					return usagef("--lines needs limits: --limits, or --reference with --tolerance")
				}
				if err := cmp.Or(contradict(cmd, "lines", "json"), contradict(cmd, "lines", "csv"),
					contradict(cmd, "lines", "out")); err != nil {
					return err
				}
			}
			dirs, err := c.folders(cmd.Context(), args)
			if err != nil {
				return err
			}
			limits, err := options.ReadLimits(cmd.Context(), c)
			if err != nil {
				return err
			}
			coils, unfit, err := c.measured(cmd.Context(), dirs, evaluation.Options{Curves: shown.out.Path != ""}, true)
			if err != nil {
				return err
			}
			result, err := options.Run(limits, coils)
			if err != nil {
				return err
			}
			document := page.BatchDocument{Batch: result, Limits: limits.Source, Made: workbench.Made(),
				Program: programName()}
			if failing := words.Failing(result); failing != nil {
				unfit = errors.Join(unfit, &capture.UnfitError{What: notation.Count(len(failing), "coil") +
					" beyond a limit: " + strings.Join(failing, ", ")})
			}
			if lines {
				_, err := fmt.Fprintln(c.out, strings.Join(words.BatchLines(result), "\n"))
				return cmp.Or(err, unfit)
			}
			return shown.print(c, printed{
				page:  func(w io.Writer) error { return page.Batch(w, document) },
				json:  func(w io.Writer) error { return data.BatchJSON(w, result) },
				csv:   func(w io.Writer) error { return data.BatchCSV(w, result, shown.sign.csv()) },
				table: func(w io.Writer) error { return terminal.Batch(w, result, options.Chart, screen.TableOptions(w)) },
			}, unfit)
		},
	}, options.Options, append(shown.options(c), output(
		on("lines", "print one line a coil: its verdict, what decided it, and by how much", &lines))...))
}
