package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/check"
)

func newCheck(c *console) *cobra.Command {
	options := workbench.NewCheck(programName())
	var json bool
	cmd := &cobra.Command{
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
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			plan, err := options.Plan(args[0])
			if err != nil {
				return err
			}
			var judgement check.Report
			err = c.on(plan.Source, func(recorder record.Recorder) error {
				judgement, err = plan.Run(cmd.Context(), recorder, c.hears())
				return err
			})
			var unfit *capture.UnfitError
			if err != nil && !errors.As(err, &unfit) {
				return err
			}
			if json {
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
		}),
	}
	bind(cmd, append(options.Options, output(asJSON("what was found", &json))...))
	return cmd
}
