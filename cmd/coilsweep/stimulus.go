package main

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/wav"
	"coilsweep/excite"
)

// stimulusFlags are the options that a stimulus is designed from.
type stimulusFlags struct {
	rate, from, to hertzFlag
	duration       secondsFlag
	repeats        int
	levelDBFS      float64
}

// stimulusFlagNames are the names that add gives them.
var stimulusFlagNames = []string{"rate", "from", "to", "duration", "repeats", "level"}

func (s *stimulusFlags) add(f *pflag.FlagSet) {
	d := excite.DefaultRequest()
	s.rate, s.from, s.to = hertzFlag(d.RateHz), hertzFlag(d.FromHz), hertzFlag(d.ToHz)
	s.duration = secondsFlag(d.SweepS)
	f.Var(&s.rate, "rate", "sample rate")
	f.Var(&s.from, "from", "lower end of the sweep")
	f.Var(&s.to, "to", "upper end of the sweep")
	f.Var(&s.duration, "duration", "length of one sweep")
	f.IntVar(&s.repeats, "repeats", d.Repeats, "number of sweeps")
	f.Float64Var(&s.levelDBFS, "level", d.LevelDBFS, "level in dBFS (a full-scale sine is 0)")
}

// design makes the stimulus; numbers that do not go together are wrong use.
func (s *stimulusFlags) design() (excite.Stimulus, error) {
	return s.designAfter(excite.DefaultRequest().LeadInS)
}

// designAfter is design with leadInS of silence before the first sweep.
func (s *stimulusFlags) designAfter(leadInS float64) (excite.Stimulus, error) {
	r := excite.DefaultRequest()
	r.LeadInS = leadInS
	if rate := float64(s.rate); rate != math.Trunc(rate) || rate < 1 || rate > 1e9 {
		return excite.Stimulus{}, usagef("a sample rate of %s: want a whole number of Hz", s.rate.String())
	}
	r.RateHz = int(s.rate)
	r.FromHz, r.ToHz, r.SweepS = float64(s.from), float64(s.to), float64(s.duration)
	r.Repeats, r.LevelDBFS = s.repeats, s.levelDBFS
	stimulus, err := excite.Design(r)
	if err != nil {
		return excite.Stimulus{}, usageError{err}
	}
	return stimulus, nil
}

// readStimulus reads FILE.toml.
func readStimulus(path string) (excite.Stimulus, error) {
	if strings.EqualFold(filepath.Ext(path), ".wav") {
		return excite.Stimulus{}, usagef("--stimulus %s: want the description of the stimulus, FILE.toml, not its audio", path)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return excite.Stimulus{}, fmt.Errorf("cannot read the stimulus: %w", err)
	}
	s, err := excite.Decode(text)
	if err != nil {
		return excite.Stimulus{}, fmt.Errorf("%s: %w", path, err)
	}
	return s, nil
}

func newStimulus(c *console) *cobra.Command {
	var flags stimulusFlags
	var format, scout string
	var force, asJSON bool
	cmd := &cobra.Command{
		Use:   "stimulus FILE.wav",
		Short: "Write the stimulus as a WAV file, and FILE.toml that describes it",
		Long: `Write the stimulus as a WAV file to play into the exciter from any player, and
FILE.toml, which 'import' needs to find it in the recording.

Play it at a low level first, and never through headphones: it is a loud sweep
up to the highest frequencies that can be heard.

With --after the sweep stays longest where it tells most of the coil that a take
has shown, with the same load.`,
		Example: `  coilsweep stimulus sweep.wav --level -20 --repeats 6`,
		Args:    oneArg("the file FILE.wav"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			path := args[0]
			if !strings.EqualFold(filepath.Ext(path), ".wav") {
				return usagef("%s: the name of the stimulus must end in .wav", path)
			}
			encoding, ok := map[string]wav.Format{
				"pcm24":   {Encoding: wav.PCM, Bits: 24},
				"float32": {Encoding: wav.Float, Bits: 32},
			}[format]
			if !ok {
				return usagef("--format %s: want pcm24 or float32", format)
			}
			s, err := flags.design()
			if err != nil {
				return err
			}
			if scout != "" {
				if s, err = c.shapeAfterDir(cmd.Context(), scout, s); err != nil {
					return err
				}
			}
			description := strings.TrimSuffix(path, filepath.Ext(path)) + ".toml"
			if !force {
				for _, p := range []string{path, description} {
					if _, err := os.Lstat(p); !errors.Is(err, os.ErrNotExist) {
						return fmt.Errorf("%s is there already: choose another name, or replace it with --force", p)
					}
				}
			}
			if err := writeStimulus(path, description, s, encoding); err != nil {
				return err
			}
			if asJSON {
				return c.json(stimulusRecord{path, description, s.RateHz, s.DurationS(), s.Repeats, s.LevelDBFS, s.SHA256})
			}
			_, err = fmt.Fprintf(c.out, "%s: %d sweeps, %g Hz to %g Hz, at %g dBFS, %.1f s at %d Hz\n%s: its description, for 'coilsweep import'\n",
				path, s.Repeats, s.FromHz, s.ToHz, s.LevelDBFS, s.DurationS(), s.RateHz, description)
			return err
		}),
	}
	f := cmd.Flags()
	flags.add(f)
	f.StringVar(&scout, "after", "", "shape the sweep for the coil that a take has shown: DIR/takes/NAME")
	f.StringVar(&format, "format", "pcm24", "samples of the WAV file: pcm24 or float32")
	f.BoolVar(&force, "force", false, "replace files that are there already")
	f.BoolVar(&asJSON, "json", false, "print what was made as JSON")
	return cmd
}

type stimulusRecord struct {
	File        string  `json:"file"`
	Description string  `json:"description"`
	RateHz      int     `json:"rate_hz"`
	DurationS   float64 `json:"duration_s"`
	Repeats     int     `json:"repeats"`
	LevelDBFS   float64 `json:"level_dbfs"`
	SHA256      string  `json:"sha256"`
}

// writeStimulus writes the audio and its description. Both are complete on disk
// before the first takes its name, so that no description stands beside audio
// of another stimulus.
func writeStimulus(path, description string, s excite.Stimulus, format wav.Format) error {
	text, err := s.Encode()
	if err != nil {
		return err
	}
	audio, err := atomicfile.Create(path)
	if err != nil {
		return err
	}
	defer audio.Abort()
	format.RateHz, format.Channels = s.RateHz, 1
	w, err := wav.NewWriter(audio, format)
	if err == nil {
		err = w.WriteFloat64(s.Samples())
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		return err
	}
	words, err := atomicfile.Create(description)
	if err != nil {
		return err
	}
	defer words.Abort()
	if _, err := words.Write(text); err != nil {
		return err
	}
	if err := audio.Commit(); err != nil {
		return err
	}
	return words.Commit()
}
