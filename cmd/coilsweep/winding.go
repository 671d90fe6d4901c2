package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/winding"
	"coilsweep/report/data"
	"coilsweep/report/terminal"
)

// shortedParts are the parts of the turns for which the effect of shorted
// turns is shown.
var shortedParts = []float64{0, 0.001, 0.003, 0.01, 0.03, 0.1}

func newWinding(c *console) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "winding DIR",
		Short: "Hold a coil against its wire, turns and bobbin",
		Long: `Hold a coil against how it was wound, as [winding] in coil.toml says: the
resistance that wire, turns and bobbin should have, the turns that its
resistance stands for, its inductance against that of the bare winding, and
whether shorted turns are to be suspected, with what they would do. L and Q come
from the result; without takes the resistance alone is checked.`,
		Example: `  coilsweep winding bridge`,
		Args:    oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			view, without, err := windingView(cmd.Context(), c, args[0])
			if err != nil {
				return err
			}
			if asJSON {
				err = data.WindingJSON(c.out, view)
			} else {
				err = terminal.Winding(c.out, view, tableOptions(c.out, false))
			}
			if err != nil {
				return err
			}
			if without != "" {
				return unfitError{fmt.Errorf("left out: %s", without)}
			}
			return nil
		}),
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON")
	return cmd
}

// windingView holds the coil in dir against its winding. without names takes
// that were left out.
func windingView(ctx context.Context, c *console, dir string) (view winding.Sheet, without string, err error) {
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return view, "", err
	}
	plan, err := winding.PlanOf(folder.Coil)
	if err != nil {
		return view, "", err
	}
	held, err := folder.Fingerprint()
	if err != nil {
		return view, "", err
	}
	view = winding.Sheet{Coil: folder.Coil.Name, Plan: plan}
	var result *fit.Result
	if len(held.Takes) > 0 {
		var coil measuredCoil
		if coil, without, err = resultOf(ctx, c, dir, false); err != nil {
			return view, "", err
		}
		result = coil.Result
		if bare, _, err := result.Circuit(); err == nil {
			for _, part := range shortedParts {
				view.Shorted = append(view.Shorted, winding.ShortTurns(bare, part))
			}
		}
	} else {
		c.warn("there is no take: the resistance alone is checked")
	}
	view.Check, err = winding.CheckCoil(plan, folder.Coil, result)
	return view, without, err
}
