package main

import (
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/excite"
)

// importing are the options of 'import'.
type importing struct {
	take         takeFlags
	file         benchFileFlags
	stimulusPath string
	recording    string
	redo         bool
}

func (m *importing) add(f *pflag.FlagSet) {
	m.take.add(f)
	m.file.add(f)
	f.StringVar(&m.stimulusPath, "stimulus", "", "FILE.toml that 'coilsweep stimulus' wrote")
	f.StringVar(&m.recording, "recording", "", "the recording, WAV or FLAC")
	f.BoolVar(&m.redo, "redo", false, "there may be a take of that name: it is set aside once the new one is complete")
}

func newImport(c *console) *cobra.Command {
	var options importing
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
			folder, take, err := options.run(cmd, args[0], nil)
			if err != nil {
				return err
			}
			return reportTake(c, folder, take, takeExtras{}, asJSON)
		}),
	}
	options.add(cmd.Flags())
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the take as JSON")
	return cmd
}

// run imports the recording as a take of the coil in dir. stimulus, if not nil,
// stands for the file of --stimulus.
func (m *importing) run(cmd *cobra.Command, dir string, stimulus *excite.Stimulus) (*capture.Folder, capture.Take, error) {
	fail := func(err error) (*capture.Folder, capture.Take, error) { return nil, capture.Take{}, err }
	if err := m.file.apply(cmd, dir); err != nil {
		return fail(err)
	}
	take, err := m.take.take(cmd)
	if err != nil {
		return fail(err)
	}
	if m.stimulusPath == "" && stimulus == nil {
		return fail(usagef("say which stimulus was played: --stimulus FILE.toml"))
	}
	if m.recording == "" {
		return fail(usagef("say which recording to import: --recording REC.wav"))
	}
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return fail(err)
	}
	if stimulus != nil {
		take.Stimulus = *stimulus
	} else if take.Stimulus, err = readStimulus(m.stimulusPath); err != nil {
		return fail(err)
	}
	m.file.uncalibrated = true // which card recorded is not known
	if take, err = m.file.complete(take); err != nil {
		return fail(err)
	}
	coil, reference := m.take.channels()
	take, err = record.Import(cmd.Context(), folder, take, record.ImportOptions{
		Recording: m.recording, CoilChannel: coil, ReferenceChannel: reference, Redo: m.redo,
	})
	return folder, take, err
}
