package main

import (
	"github.com/spf13/cobra"

	"coilsweep/capture"
)

func newImport(c *console) *cobra.Command {
	var flags takeFlags
	var file benchFileFlags
	var stimulusPath, recording string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "import DIR",
		Short: "Make a take from a recording of the stimulus",
		Long: `Make a take from a recording of the stimulus that was made elsewhere: WAV or
FLAC, at the rate of the stimulus. It may start before or after playback, be
longer, and be inverted; one whole sweep is the least. What bench.toml says of
drive, reference and fixture goes for all options that are not given.`,
		Example: `  coilsweep import bridge --take C470p --stimulus sweep.toml --recording rec.wav --added-c "470p 1%"`,
		Args:    oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			if err := file.apply(cmd, args[0]); err != nil {
				return err
			}
			take, err := flags.take(cmd)
			if err != nil {
				return err
			}
			if stimulusPath == "" {
				return usagef("say which stimulus was played: --stimulus FILE.toml")
			}
			if recording == "" {
				return usagef("say which recording to import: --recording REC.wav")
			}
			folder, err := capture.OpenFolder(args[0])
			if err != nil {
				return err
			}
			if take.Stimulus, err = readStimulus(stimulusPath); err != nil {
				return err
			}
			file.uncalibrated = true // which card recorded is not known
			if take, err = file.complete(take); err != nil {
				return err
			}
			coil, reference := flags.channels()
			take, err = capture.Import(cmd.Context(), folder, take, capture.ImportOptions{
				Recording: recording, CoilChannel: coil, ReferenceChannel: reference,
			})
			if err != nil {
				return err
			}
			return reportTake(c, folder, take, takeExtras{}, asJSON)
		}),
	}
	f := cmd.Flags()
	flags.add(f)
	file.add(f)
	f.StringVar(&stimulusPath, "stimulus", "", "FILE.toml that 'coilsweep stimulus' wrote")
	f.StringVar(&recording, "recording", "", "the recording, WAV or FLAC")
	f.BoolVar(&asJSON, "json", false, "print the take as JSON")
	return cmd
}
