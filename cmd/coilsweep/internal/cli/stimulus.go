package cli

import (
	"cmp"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/data"
	"coilsweep/report/notation"
)

func newStimulus(c *console) *cobra.Command {
	options := workbench.NewStimulusFile()
	return c.command(&cobra.Command{
		Use:   "stimulus FILE.wav",
		Short: "Write the stimulus as a WAV file, and FILE.toml that describes it",
		Long: `Write the stimulus as a WAV file to play into the exciter from any player, and
FILE.toml, which 'import' needs to find it in the recording.

Play it at a low level first, and never through headphones: it is a loud sweep up
to the highest audible frequencies.

With --after the sweep stays longest where it tells most about the coil as a take
shows it, with the same load.`,
		Example: `  coilsweep stimulus sweep.wav --level -20 --repeats 6`,
		Args:    oneArg("the file FILE.wav"),
		RunE: func(cmd *cobra.Command, args []string) error {
			path := args[0]
			description := outfile.Description(path)
			if err := cmp.Or(outfile.File{Path: path, Force: options.Force}.Check(".wav"),
				outfile.File{Path: description, Force: options.Force}.Check(".toml")); err != nil {
				return err
			}
			s, err := options.Design(cmd.Context(), c.hears())
			if err != nil {
				return err
			}
			if err := workbench.WriteStimulus(path, description, s, options.Format); err != nil {
				return err
			}
			if c.asJSON {
				return c.json(data.Object{{"file", filepath.ToSlash(path)},
					{"description", filepath.ToSlash(description)}, {"rate_hz", s.RateHz},
					{"duration_s", s.DurationS()}, {"repeats", s.Repeats}, {"level_dbfs", s.LevelDBFS},
					{"sha256", s.SHA256}})
			}
			_, err = fmt.Fprintf(c.out, "%s: %s, %g Hz to %g Hz, at %s dBFS, %.1f s at %d Hz\n%s: its "+
				"description, for 'coilsweep import'\n",
				path, notation.Count(s.Repeats, "sweep"), s.FromHz, s.ToHz, workbench.Signed(s.LevelDBFS), s.DurationS(),
				s.RateHz, description)
			return err
		},
	}, options.Options, output(c.jsonOption("what was made")))
}
