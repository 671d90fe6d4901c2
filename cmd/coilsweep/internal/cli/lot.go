package cli

import (
	"cmp"
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/cmd/coilsweep/internal/desk"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit/evaluation"
	"coilsweep/report/data"
)

// desk is where somebody sits who answers on the command's input.
func (c *console) desk(cmd *cobra.Command) *desk.Desk {
	return &desk.Desk{In: cmd.InOrStdin(), Say: c.warn, Bell: func(times int) { screen.Bell(c.err, times) }}
}

// Take makes a take by options on the bench of dir. One that is kept and not usable is a
// *capture.UnfitError.
func (c *console) Take(ctx context.Context, options *workbench.Measurement, dir string) error {
	plan, err := options.Plan(dir)
	if err != nil {
		return err
	}
	if err := plan.Shape(ctx, c.hears()); err != nil {
		return err
	}
	take, err := onBench(ctx, c, plan.Source,
		func(ctx context.Context, recorder record.Recorder, hears workbench.Ears) (capture.Take, error) {
			take, _, err := plan.Run(ctx, recorder, hears, nil)
			return take, err
		})
	if err != nil {
		return err
	}
	c.remark(workbench.TakeAdvice(take))
	if flags := take.Unfit(); flags != nil {
		return &capture.UnfitError{What: capture.FlagNames(flags)}
	}
	return nil
}

// Fit fits the coil in dir and keeps its result.
func (c *console) Fit(ctx context.Context, dir string) (*evaluation.Evaluation, error) {
	e, err := c.evaluate(ctx, dir, evaluation.Options{Anew: true})
	if err != nil {
		return nil, err
	}
	return e, save(e, data.CSVOptions{})
}

// Complaint is an error as it is said.
func (c *console) Complaint(err error) string { return complaint(err) }

var _ desk.Bench = (*console)(nil)

func newLot(c *console) *cobra.Command {
	lot := desk.NewLot(programName())
	return c.command(&cobra.Command{
		Use:   "run LOT",
		Short: "Production: serial number, one take, pass or fail, label, and the next coil",
		Long: `Measure and judge the coils of a lot one after the other. Type or scan a serial
number; the coil is measured with nothing added, judged, and the next one asked for.
The word "end", the end of the input or Ctrl-C ends it. Each coil gets a folder in
LOT, and one that passes a label.html.

Limits come from LOT/limits.toml or --limits, as 'coilsweep batch --help' has them, or
are set around a coil: --reference-coil DIR --tolerance 5%. One take shows resonance_hz,
q and peak_db. A coil passes if it lies inside every limit by the guard band, and fails
if it lies outside one by as much; in between it is undecided. The terminal's bell rings
once for a pass, twice for undecided and three times for a fail.

A serial number that was measured already is refused, unless --redo measures it again.
The exit status is 3 where a coil failed.`,
		Example: `  coilsweep run spring --reference-coil good --tolerance 3% --tolerance q=10% --same-bench
  coilsweep run spring --limits limits.toml --json`,
		Args: oneArg("the folder LOT"),
		RunE: func(cmd *cobra.Command, args []string) error {
			lot.Done = func(coil desk.Coil) error {
				if c.asJSON {
					return data.JudgedLine(c.out, coil.Serial, coil.Folder, coil.Verdict, coil.Line, coil.Judged)
				}
				_, err := fmt.Fprintf(c.out, "%s  %s\n", coil.Serial, coil.Line)
				return err
			}
			tally, err := lot.Run(cmd.Context(), args[0], c, c.desk(cmd))
			if err = cmp.Or(err, tally.Unfit()); err == nil {
				c.warn("%s", tally)
			}
			return err
		},
	}, lot.Options, output(c.jsonOption("one line for each coil")))
}

// allTakes makes the takes of a coil one after the other, fits them and writes the report.
func (c *console) allTakes(cmd *cobra.Command, options *workbench.Measurement, dir, capacitors string) error {
	if err := cmp.Or(contradict(cmd, "all-takes", "take"), contradict(cmd, "all-takes", "added-c"),
		contradict(cmd, "all-takes", "added-r"), contradict(cmd, "all-takes", "after"),
		contradict(cmd, "all-takes", "json")); err != nil {
		return err
	}
	folder, err := options.Take.Folder(dir)
	if err != nil {
		return err
	}
	takes, err := desk.NewTakes(folder, capacitors)
	if err != nil {
		return &workbench.OptionError{Option: "all-takes", Err: err}
	}
	takes.Redo = options.Redo
	takes.Measure = func(ctx context.Context, name string, added *quantity.Capacitance, redo bool) error {
		options.Take.Name, options.Take.AddedC, options.Redo = name, added, redo
		return c.Take(ctx, options, dir)
	}
	made, err := takes.Run(cmd.Context(), c.desk(cmd))
	if err != nil || made == 0 {
		return err
	}
	for _, next := range []string{"fit", "report"} {
		cmd.Root().SetArgs([]string{next, takes.Folder.Dir})
		err = cmp.Or(cmd.Root().ExecuteContext(cmd.Context()), err)
	}
	return err
}
