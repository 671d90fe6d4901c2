package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/workbench"
)

func newCalibrate(c *console) *cobra.Command {
	options := workbench.NewCalibration(programName())
	var again bool
	return c.command(&cobra.Command{
		Use:   "calibrate DIR",
		Short: "Measure the sound card itself through a loop-back cable",
		Long: `Measure the sound card itself. Disconnect exciter and coil, and put a loop-back
cable from the output to the input that the coil goes to. The response is kept
beside bench.toml. It corrects takes without a reference channel for as long as
rate, devices and channels stay the same. Leave the gain alone between this and
'fixture'.

The recording is kept too: --again works the response out from it once more,
without a device.`,
		Example: `  coilsweep calibrate .`,
		Args:    oneArg("the folder DIR of the bench or of a coil"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var found workbench.CalibrationResult
			var err error
			if again {
				for _, p := range options.Options {
					if p.Given && p.Name != "bench-file" {
						return usagef("--%s does not go with --again, which plays nothing", p.Name)
					}
				}
				found, err = options.Again(cmd.Context(), args[0])
			} else {
				plan, wrong := options.Plan(args[0])
				if wrong != nil {
					return inFolder(args[0], wrong)
				}
				c.tellBench(&options.Bench, options.Options)
				found, err = onBench(cmd.Context(), c, plan.Source, plan.Run)
			}
			if err != nil {
				return err
			}
			if c.asJSON {
				return c.json(found)
			}
			fmt.Fprintf(c.out, "%s\n%s: its response, in use from now on\n", found.Line(), found.File)
			return nil
		},
	}, options.Options, output(
		on("again", "work the response out again from the recording that was kept", &again),
		c.jsonOption("what was found")))
}
