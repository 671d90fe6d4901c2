package main

import (
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"coilsweep/fit"
	"coilsweep/report/terminal"
)

func newCrosscheck(c *console) *cobra.Command {
	var flags fitFlags
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "crosscheck DIR",
		Short: "Check a meter's readings of the coil against the fit",
		Long: `Check the readings of an LCR meter in coil.toml against what that meter should
show of the fitted circuit, at its frequency and in its mode, and explain the
difference to the coil's own value: self-capacitance, eddy currents,
temperature, mode. The En number judges: from -1 to 1 reading and fit agree.

A reading stands in coil.toml with the meter's accuracy as its maker states it:

  [[meter]]
  what = "L"
  reading = "2.31H 0.5% + 2 digits"
  at_hz = 1000
  mode = "series"
  celsius = 22

The digits are those of the reading as written. A reading with use_in_fit is
not scored, as is the DC resistance: the fit rests on it.`,
		Example: `  coilsweep crosscheck bridge`,
		Args:    oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			options, err := flags.options()
			if err != nil {
				return err
			}
			a, err := analyseFolder(cmd.Context(), c, args[0], flags.orLast(cmd, c, args[0], options))
			if err != nil {
				return err
			}
			record, err := a.crosscheck()
			if err != nil {
				return err
			}
			if asJSON {
				err = c.json(record)
			} else {
				err = terminal.Crosscheck(c.out, *a.result, tableOptions(c.out, false))
			}
			if err != nil {
				return err
			}
			return a.unfitness()
		}),
	}
	flags.add(cmd)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the readings as JSON")
	return cmd
}

// crosscheckRecord is what 'crosscheck --json' prints.
type crosscheckRecord struct {
	Coil  string            `json:"coil"`
	Meter []fit.MeterResult `json:"meter"`
}

func (a *analysis) crosscheck() (crosscheckRecord, error) {
	if len(a.result.Meter) == 0 {
		return crosscheckRecord{}, fmt.Errorf("%s holds no meter reading: add one as 'coilsweep crosscheck --help' shows", filepath.Join(a.folder.Dir, "coil.toml"))
	}
	return crosscheckRecord{a.result.Coil, a.result.Meter}, nil
}
