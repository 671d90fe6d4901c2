package cli

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/report/data"
	"coilsweep/report/notation"
	"coilsweep/report/terminal"
)

func newFit(c *console) *cobra.Command {
	options := workbench.NewFit(true)
	var advise, budget, all, force, drawn, verbose bool
	var sign decimal
	return c.command(&cobra.Command{
		Use:   "fit DIR",
		Short: "Fit all takes of a coil together: resonance, Q, L, C, R with uncertainties",
		Long: `Fit all takes of a coil together and write result.json and response.csv into its
folder. Where the takes do not determine a value, it is unknown; the result gives
the reason and the measurement that would settle it.

In the models a ring is one eddy-current loop, a solid cylinder a solid core such as
a pole piece.

Takes that are not usable are left out; the exit status is 3 then. It is 3 too where
the takes contradict what was stated of a part, the DC resistance or a meter's
reading: the numbers are without that, and the first warning names it.

With --all every coil at and below DIR is fitted, on all cores, with the
options of its last fit where none are given. Coils whose result is up to date
are skipped. You may interrupt it and start it again. A coil that cannot be fitted
does not stop the others.`,
		Example: `  coilsweep fit bridge
  coilsweep fit bridge --budget --advise
  coilsweep fit bridge --montecarlo 1000
  coilsweep fit bridge --plot --decimal comma
  coilsweep fit --all bench`,
		Args: oneArg("the coil folder DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			given, err := options.Analysis()
			if err != nil {
				return err
			}
			if err := contradict(cmd, "plot", "json"); err != nil {
				return err
			}
			if advise && given == nil {
				given = &fit.Options{}
			}
			if given != nil {
				given.Advise = advise
			}
			if all {
				for _, name := range []string{"budget", "plot", "verbose", "decimal"} {
					if cmd.Flags().Changed(name) {
						return usagef("--%s is for one coil, not for --all", name)
					}
				}
				return fitAll(cmd, c, args[0], given, force)
			}
			if force {
				return usagef("--force belongs to --all: one coil is always fitted anew")
			}
			o := evaluation.Options{Anew: true}
			if given != nil {
				o.Fit = *given
			}
			bar := screen.NewCounter(c.err, "Monte Carlo", o.Fit.MonteCarlo)
			o.Fit.Progress = bar.Show
			e, err := c.evaluate(cmd.Context(), args[0], o)
			bar.Clear()
			if err != nil {
				return err
			}
			unfit := e.Unfitness()
			if err := save(e, sign.csv()); err != nil {
				unfit = fmt.Errorf("the result is not kept: %w", err)
			}
			return c.show(e.Result.Encode, func(w io.Writer) error {
				o := screen.TableOptions(w)
				o.Budget, o.Instruments = budget, verbose
				err := terminal.Coil(w, *e.Result, o)
				if err == nil && drawn {
					fmt.Fprintln(w)
					err = terminal.Plot(w, *e.Result, o)
				}
				return err
			}, unfit)
		},
	}, options.Options, output(
		on("advise", "propose the next take even where all is known", &advise),
		on("budget", "show where the uncertainty comes from", &budget),
		on("plot", "draw the response as text", &drawn),
		on("verbose", "show who measured it and with which instruments", &verbose),
		on("json", "print result.json; with --all, how each coil came out", &c.asJSON),
		sign.option("response.csv"),
	), workbench.Options{
		on("all", "fit every coil at and below DIR whose result is missing or out of date", &all),
		on("force", "with --all: fit those that are up to date too", &force),
	})
}

// save writes the files of a fit into the coil folder.
func save(e *evaluation.Evaluation, o data.CSVOptions) error {
	return e.Save(func(w io.Writer) error { return data.ResultCSV(w, *e.Result, o) })
}

// fitAll fits every coil at and below root. Each result is written as soon as it
// is there, so that an interrupted run goes on where it stopped when it is
// started again.
func fitAll(cmd *cobra.Command, c *console, root string, given *fit.Options, force bool) error {
	dirs, unreadable, err := capture.FindFolders(cmd.Context(), root)
	if err != nil {
		return err
	}
	for _, err := range unreadable {
		c.warn("%v", err)
	}
	c.mend(dirs)
	if len(dirs) == 0 {
		return fmt.Errorf("there is no coil at or below %s: start one with 'coilsweep new'", root)
	}
	coils := notation.Each(dirs, func(dir string) evaluation.Refreshed {
		return evaluation.Refreshed{Folder: dir, State: evaluation.NotReached}
	})
	bar := screen.NewCounter(c.err, "coils", len(dirs))
	keep := func(e *evaluation.Evaluation) error { return save(e, data.CSVOptions{}) }
	done := 0
	evaluation.Each(cmd.Context(), dirs, func(dir string) evaluation.Refreshed {
		return evaluation.Refresh(cmd.Context(), dir, programName(), given, force, keep)
	}, func(i int, r evaluation.Refreshed) {
		coils[i] = r
		done++
		bar.Clear()
		if r.Of != nil {
			c.tell(r.Of)
		}
		if r.Why != "" && r.State != evaluation.NotReached {
			c.warn("%s: %s: %s", r.Folder, r.State, r.Why)
		}
		bar.Show(done)
	})
	bar.Clear()
	for i := range coils {
		coils[i].Folder = filepath.ToSlash(coils[i].Folder)
	}
	summary, outcome := fitAllOutcome(coils)
	return c.showRecord(coils, func(w io.Writer) error {
		_, err := fmt.Fprintln(w, summary)
		return err
	}, outcome)
}

// fitAllOutcome is the line under a run and the error that makes its exit
// status: failures before unusable data.
func fitAllOutcome(coils []evaluation.Refreshed) (string, error) {
	count := map[evaluation.State]int{}
	for _, coil := range coils {
		count[coil.State]++
	}
	var parts []string
	for _, state := range evaluation.States() {
		if n := count[state]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, state))
		}
	}
	summary := fmt.Sprintf("%s: %s", notation.Count(len(coils), "coil"), strings.Join(parts, ", "))
	switch {
	case count[evaluation.NotReached] > 0:
		return summary, fmt.Errorf("interrupted: %d of %d coils were not reached; run it again to go on",
			count[evaluation.NotReached], len(coils))
	case count[evaluation.Failed] > 0:
		return summary, fmt.Errorf("%d of %d coils could not be fitted", count[evaluation.Failed], len(coils))
	case count[evaluation.NotUsable] > 0:
		return summary, &capture.UnfitError{What: fmt.Sprintf("%d of %d coils have takes that are not usable, or that "+
			"contradict what was stated", count[evaluation.NotUsable], len(coils))}
	}
	return summary, nil
}
