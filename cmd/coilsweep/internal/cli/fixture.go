package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/workbench"
)

func newFixture(c *console) *cobra.Command {
	options := workbench.NewFixture(programName())
	return c.command(&cobra.Command{
		Use:   "fixture DIR",
		Short: "Measure cable, clips and input with one known resistor in place of the coil",
		Long: `Measure the fixture, which is always connected across the coil: cable, clips and
input. Disconnect the exciter, and put one known resistor from the output to the
clips, in place of the coil. Its value should be about that of the input: 470k or
1M. The fixture's R and C go into bench.toml, and from there into every take.

The sound card must be known. Either run 'coilsweep calibrate' first and leave the
gain alone, or record the output on the second channel (--reference loopback), with
both channels set alike.`,
		Example: `  coilsweep fixture . --series "470k 1%"`,
		Args:    oneArg("the folder DIR of the bench or of a coil"),
		RunE: func(cmd *cobra.Command, args []string) error {
			plan, err := options.Plan(args[0])
			if err != nil {
				return inFolder(args[0], err)
			}
			c.tellBench(&options.Bench, options.Options)
			found, err := onBench(cmd.Context(), c, plan.Source, plan.Run)
			if _, unfit := errors.AsType[*capture.UnfitError](err); err != nil && !(unfit && found.Measured()) {
				return err
			}
			for _, w := range found.Warnings {
				c.warn("%s", w)
			}
			if c.asJSON {
				return errors.Join(c.json(found), err)
			}
			fmt.Fprintln(c.out, found.Line())
			if found.KeptIn != "" {
				fmt.Fprintf(c.out, "kept in %s\n", found.KeptIn)
			}
			return err
		},
	}, options.Options, output(c.jsonOption("the fixture")))
}
