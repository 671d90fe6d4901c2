package cli

import (
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/data"
	"coilsweep/report/terminal"
)

func newCrosscheck(c *console) *cobra.Command {
	options := workbench.NewFit(false)
	return c.command(&cobra.Command{
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
		RunE: func(cmd *cobra.Command, args []string) error {
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
				return fmt.Errorf("%s holds no meter reading: add one as 'coilsweep crosscheck --help' shows",
					filepath.Join(args[0], "coil.toml"))
			}
			return c.showRecord(data.Object{{"coil", e.Result.Coil}, {"meter", e.Result.Meter}},
				func(w io.Writer) error {
					return terminal.Crosscheck(w, *e.Result, screen.TableOptions(w))
				}, e.Unfitness())
		},
	}, options.Options, output(c.jsonOption("the readings")))
}
