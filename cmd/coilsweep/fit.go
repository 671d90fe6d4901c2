package main

import (
	"bytes"
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture/atomicfile"
	"coilsweep/fit"
	"coilsweep/report/data"
	"coilsweep/report/terminal"
)

func newFit(c *console) *cobra.Command {
	var flags fitFlags
	var asJSON, advise, budget, all, force, drawn bool
	var decimal decimalFlag
	var trials trialFlags
	cmd := &cobra.Command{
		Use:   "fit DIR",
		Short: "Fit all takes of a coil together: resonance, Q, L, C, R with uncertainties",
		Long: `Fit all takes of a coil together and write result.json and response.csv into its
folder. What the takes do not determine is said to be unknown, with the reason
and the measurement that would settle it.

Unfit takes are left out; the exit status is 3 then.

With --all every coil at and below DIR is fitted, on all cores, with the
options of its last fit where none are given. Coils whose result is fresh are
skipped. It may be interrupted and started again; a coil that cannot be fitted
does not stop the others.`,
		Example: `  coilsweep fit bridge
  coilsweep fit bridge --budget --advise
  coilsweep fit bridge --montecarlo 1000
  coilsweep fit bridge --plot --decimal comma
  coilsweep fit --all bench`,
		Args: oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			options, err := flags.options()
			if err != nil {
				return err
			}
			options.Advise = advise
			if drawn && asJSON {
				return usagef("--plot and --json contradict each other")
			}
			if err := trials.apply(cmd, &options); err != nil {
				return err
			}
			if all {
				for _, name := range []string{"budget", "plot", "decimal"} {
					if cmd.Flags().Changed(name) {
						return usagef("--%s is for one coil, not for --all", name)
					}
				}
				run := fitAll{force: force}
				for _, name := range []string{"model", "shared-gain", "advise", "montecarlo", "seed"} {
					if cmd.Flags().Changed(name) {
						run.options = &options
					}
				}
				coils, err := run.run(cmd.Context(), c, args[0])
				if err != nil {
					return err
				}
				summary, outcome := fitAllOutcome(coils)
				if asJSON {
					err = c.json(coils)
				} else {
					_, err = fmt.Fprintln(c.out, summary)
				}
				if err != nil {
					return err
				}
				return outcome
			}
			if force {
				return usagef("--force belongs to --all: one coil is always fitted anew")
			}
			bar := newCounter(c.err, "Monte Carlo", trials.number)
			options.Progress = bar.show
			a, err := analyseFolder(cmd.Context(), c, args[0], options)
			bar.end()
			if err != nil {
				return err
			}
			if err := a.save(decimal.options()); err != nil {
				return err
			}
			if asJSON {
				err = data.ResultJSON(c.out, *a.result)
			} else {
				err = terminal.Coil(c.out, *a.result, tableOptions(c.out, budget))
			}
			if err == nil && drawn {
				fmt.Fprintln(c.out)
				err = terminal.Plot(c.out, *a.result, textPlotOptions(c.out))
			}
			if err != nil {
				return err
			}
			return a.unfitness()
		}),
	}
	flags.add(cmd)
	f := cmd.Flags()
	f.BoolVar(&asJSON, "json", false, "print result.json; with --all, how each coil came out")
	f.BoolVar(&all, "all", false, "fit every coil at and below DIR whose result is missing or stale")
	f.BoolVar(&force, "force", false, "with --all: fit the fresh ones too")
	f.BoolVar(&advise, "advise", false, "propose the next take even where all is known")
	trials.add(f)
	f.BoolVar(&budget, "budget", false, "show where the uncertainty comes from")
	f.BoolVar(&drawn, "plot", false, "draw the response as text")
	decimal.add(cmd, "response.csv")
	return cmd
}

// trialFlags ask for trials by JCGM 101.
type trialFlags struct {
	number int
	seed   uint64
}

func (t *trialFlags) add(f *pflag.FlagSet) {
	f.IntVar(&t.number, "montecarlo", 0, "propagate distributions by that many repeated fits (JCGM 101); 0: do not")
	f.Uint64Var(&t.seed, "seed", 1, "seed of the trials")
}

// apply puts them into the options of a fit.
func (t *trialFlags) apply(cmd *cobra.Command, o *fit.Options) error {
	if t.number < 0 || t.number == 1 {
		return usagef("--montecarlo %d: want at least 2 trials, better 1000", t.number)
	}
	if cmd.Flags().Changed("seed") && t.number == 0 {
		return usagef("--seed is for the trials of --montecarlo")
	}
	o.MonteCarlo, o.Seed = t.number, t.seed
	return nil
}

// save writes what a fit leaves in the coil folder: response.csv, and
// result.json last, since a result that is there and fresh counts as done.
func (a *analysis) save(o data.CSVOptions) error {
	if err := a.write("response.csv", func(w io.Writer) error { return data.ResultCSV(w, *a.result, o) }); err != nil {
		return err
	}
	return a.write("result.json", func(w io.Writer) error { return data.ResultJSON(w, *a.result) })
}

// write makes a file in the coil folder, whole or not at all.
func (a *analysis) write(name string, fill func(io.Writer) error) error {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		return err
	}
	return atomicfile.Write(filepath.Join(a.folder.Dir, name), b.Bytes())
}
