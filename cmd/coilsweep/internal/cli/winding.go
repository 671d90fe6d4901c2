package cli

import (
	"errors"
	"io"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/winding"
	"coilsweep/report/data"
	"coilsweep/report/terminal"
)

func newWinding(c *console) *cobra.Command {
	return c.command(&cobra.Command{
		Use:   "winding DIR",
		Short: "Check a coil against its wire, turns and bobbin",
		Long: `Check a coil against how it was wound, as stated under [winding] in coil.toml: the
resistance that wire, turns and bobbin should have, the turns that the measured
resistance means, the inductance against that of the winding without pole pieces
and magnets, and any sign of shorted turns, with the effect they would have. L and Q
come from the result; without takes the resistance alone is checked.`,
		Example: `  coilsweep winding bridge`,
		Args:    oneArg("the coil folder DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			folder, err := capture.OpenFolder(args[0])
			if err != nil {
				return err
			}
			if _, err := winding.PlanOf(folder.Coil); err != nil {
				return err
			}
			var result *fit.Result
			var unfit error
			e, err := c.coil(cmd.Context(), args[0], evaluation.Options{})
			_, noTake := errors.AsType[*evaluation.NoTakeError](err)
			switch {
			case noTake:
				c.warn("there is no take: the resistance alone is checked")
			case err != nil:
				return err
			default:
				result, unfit = e.Result, e.Unfitness()
			}
			sheet, err := winding.NewSheet(folder.Coil, result)
			if err != nil {
				return err
			}
			return c.show(func(w io.Writer) error { return data.WindingJSON(w, sheet) },
				func(w io.Writer) error { return terminal.Winding(w, sheet, screen.TableOptions(w)) }, unfit)
		},
	}, workbench.Options{on("json", "print JSON", &c.asJSON)})
}
