package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/workbench"
)

func newCheck(c *console) *cobra.Command {
	options := workbench.NewCheck(programName())
	return c.command(&cobra.Command{
		Use:   "check DIR",
		Short: "Make a trial sweep (not kept): levels, noise, hum, clipping, drift, load",
		Long: `Play a quiet trial sweep and, if nothing will clip, one at --level. Then say what a
take would be like: levels, noise and hum, the margin to clipping at the resonance,
lost samples, drift, distortion, and whether the input loads the coil too much; then
what to do about it, and which level to use. A terminal shows the levels live.
Nothing is kept. The exit status is 3 if a take would not be usable.`,
		Example: `  coilsweep check bridge
  coilsweep check bridge --level -6`,
		Args: oneArg("the coil folder DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			plan, err := options.Plan(args[0])
			if err != nil {
				return err
			}
			c.tellBench(&options.Bench, options.Options)
			judgement, err := onBench(cmd.Context(), c, plan.Source, plan.Run)
			if _, unfit := errors.AsType[*capture.UnfitError](err); err != nil && !unfit {
				return err
			}
			if c.asJSON {
				return errors.Join(c.json(judgement), err)
			}
			for _, l := range workbench.CheckLines(judgement) {
				if l.Name == "" {
					fmt.Fprintln(c.out, l.Text)
				} else {
					fmt.Fprintf(c.out, "%-10s %s\n", l.Name, l.Text)
				}
			}
			if p := workbench.ProposedLevel(judgement); p != "" {
				fmt.Fprintf(c.out, "%-10s --level %s\n", "proposed", p)
			}
			return err
		},
	}, options.Options, output(c.jsonOption("what was found")))
}
