package cli

import (
	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/workbench"
)

func newImport(c *console) *cobra.Command {
	options := workbench.NewImport(programName())
	return c.command(&cobra.Command{
		Use:   "import DIR",
		Short: "Make a take from a recording of the stimulus",
		Long: `Make a take from a recording of the stimulus that was made elsewhere: WAV or
FLAC, at the rate of the stimulus. It may start before or after playback, be twice as
long and a minute more, and be inverted, but must hold one whole sweep. Drive,
reference and fixture come from bench.toml where they are not given.

Of a recording that was cut short, takes/NAME.partial/capture.wav, stimulus, load,
drive and reference are known, and need not be given.`,
		Example: `  coilsweep import bridge --take C470p --stimulus sweep.toml --recording rec.wav --added-c "470p 1%"
  coilsweep import bridge --take C220p --recording bridge/takes/C220p.partial/capture.wav`,
		Args: oneArg("the coil folder DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			folder, take, err := options.Run(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			c.tellBench(&options.Bench, options.Options)
			return reportTake(cmd.Context(), c, folder, take, workbench.Extras{}, nil)
		},
	}, options.Options, output(c.jsonOption("the take")))
}
