package main

import (
	"fmt"
	"io"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/page"
)

func newReport(c *console) *cobra.Command {
	var flags fitFlags
	var guitar string
	var trials int
	var seed uint64
	cmd := &cobra.Command{
		Use:   "report DIR",
		Short: "Write report.html: one page with the pictures and the numbers",
		Long: `Write report.html into the coil folder: one file that opens anywhere, without a
network. The takes are analysed anew for it, with the options of the last fit
where none are given.

With --harness the page also shows what the coil does in a guitar, described by
a file as in 'coilsweep predict --help'.`,
		Example: `  coilsweep report bridge
  coilsweep report bridge --harness guitar.toml --montecarlo 1000`,
		Args: oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			options, err := flags.options()
			if err != nil {
				return err
			}
			if trials < 0 || trials == 1 {
				return usagef("--montecarlo %d: want at least 2 trials, better 1000", trials)
			}
			var inGuitar *harness.Harness
			if guitar != "" {
				if inGuitar, err = oneCoilHarness(guitar); err != nil {
					return err
				}
			}
			options.Advise = true
			options.MonteCarlo, options.Seed = trials, seed
			bar := newCounter(c.err, "Monte Carlo", trials)
			options.Progress = bar.show
			a, err := analyseFolder(cmd.Context(), c, args[0], flags.orLast(cmd, c, args[0], options))
			bar.end()
			if err != nil {
				return err
			}
			document, err := a.document()
			if err != nil {
				return err
			}
			if inGuitar != nil {
				if document.Harness, err = inGuitar.Predict([]harness.Coil{{Name: a.folder.Coil.Name, Fitted: a.fitted}}); err != nil {
					return err
				}
			}
			if err := a.writePage(document); err != nil {
				return err
			}
			fmt.Fprintln(c.out, filepath.Join(a.folder.Dir, "report.html"))
			return a.unfitness()
		}),
	}
	flags.add(cmd)
	f := cmd.Flags()
	f.StringVar(&guitar, "harness", "", "file that describes a guitar: show the coil in it")
	f.IntVar(&trials, "montecarlo", 0, "show distributions by that many repeated fits (JCGM 101); 0: do not")
	f.Uint64Var(&seed, "seed", 1, "seed of the trials")
	return cmd
}

// document is what the report of a coil is made from.
func (a *analysis) document() (page.CoilDocument, error) {
	d := page.CoilDocument{Result: *a.result, Coil: a.folder.Coil, Takes: a.takes, Made: time.Now(), Program: programName()}
	var err error
	d.Account, err = a.fitted.Account(fit.Terminals{})
	return d, err
}

// writePage writes report.html.
func (a *analysis) writePage(d page.CoilDocument) error {
	return a.write("report.html", func(w io.Writer) error { return page.Coil(w, d) })
}

// oneCoilHarness reads a harness for one coil.
func oneCoilHarness(file string) (*harness.Harness, error) {
	h, err := harness.Load(file)
	if err != nil {
		return nil, err
	}
	coils, err := h.Check()
	if err != nil {
		return nil, usageError{fmt.Errorf("%s: %w", file, err)}
	}
	if coils != 1 {
		return nil, usagef("%s is wired for %d coils; a report is on one: see 'coilsweep predict'", file, coils)
	}
	return &h, nil
}
