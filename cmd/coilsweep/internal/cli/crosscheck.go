package cli

import (
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit"
	"coilsweep/report/terminal"
)

func newCrosscheck(c *console) *cobra.Command {
	options := workbench.NewFit(false)
	var json bool
	cmd := &cobra.Command{
		Use:   "crosscheck DIR",
		Short: "Check a meter's readings of the coil against the fit",
		Long: `Check the readings of an LCR meter in coil.toml against what that meter should
read on the fitted circuit, at its frequency and in its mode, and explain the
difference from the coil's own value: self-capacitance, eddy currents, temperature,
mode. Reading and fit agree where the En number lies from −1 to 1.

Write a reading into coil.toml with the accuracy from the meter's manual:

  [[meter]]
  what = "L"
  reading = "2.31H 0.5% + 2 digits"
  at_hz = 1000
  mode = "series"
  celsius = 22

A digit is one unit in the last place of the reading as written. A reading with
use_in_fit is not scored, nor is the DC resistance: the fit is based on them.`,
		Example: `  coilsweep crosscheck bridge`,
		Args:    oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			o, err := ofLastFit(options)
			if err != nil {
				return err
			}
			o.Circuit = false
			e, err := c.evaluate(cmd.Context(), args[0], o)
			if err != nil {
				return err
			}
			if len(e.Result.Meter) == 0 {
				return fmt.Errorf("%s holds no meter reading: add one as 'coilsweep crosscheck --help' shows", filepath.Join(args[0], "coil.toml"))
			}
			if json {
				err = c.json(crosscheckRecord{e.Result.Coil, e.Result.Meter})
			} else {
				err = terminal.Crosscheck(c.out, *e.Result, tableOptions(c.out, false))
			}
			if err != nil {
				return err
			}
			return e.Unfitness()
		}),
	}
	bind(cmd, append(options.Options, output(asJSON("the readings", &json))...))
	return cmd
}

// crosscheckRecord is what 'crosscheck --json' prints.
type crosscheckRecord struct {
	Coil  string            `json:"coil"`
	Meter []fit.MeterResult `json:"meter"`
}
