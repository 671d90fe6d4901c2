package workbench

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
	"coilsweep/capture/wav"
	"coilsweep/excite"
)

// Stimulus is what a stimulus is designed from.
type Stimulus struct{ excite.Request }

func defaultStimulus() Stimulus { return Stimulus{excite.DefaultRequest()} }

func (s *Stimulus) options() Options {
	return Options{
		{Name: "rate", Group: groupStimulus, Page: true, Value: Rate(&s.RateHz), Bench: at("card", "rate_hz"),
			Help: "sample rate"},
		{Name: "from", Group: groupStimulus, Page: true, Value: Hertz(&s.FromHz), Help: "lower end of the sweep"},
		{Name: "to", Group: groupStimulus, Page: true, Value: Hertz(&s.ToHz), Help: "upper end of the sweep"},
		{Name: "duration", Group: groupStimulus, Page: true, Value: Seconds(&s.SweepS), Help: "length of one sweep"},
		{Name: "repeats", Group: groupStimulus, Page: true, Value: Whole(&s.Repeats), Help: "number of sweeps"},
		{Name: "level", Group: groupStimulus, Page: true, Value: Number(&s.LevelDBFS),
			Bench: at("card", "level_dbfs"), Help: "level in dBFS (a full-scale sine is 0)"},
	}
}

// design makes the stimulus. Numbers that contradict each other are wrong use.
func (s *Stimulus) design() (excite.Stimulus, error) {
	stimulus, err := excite.Design(s.Request)
	if err != nil {
		return excite.Stimulus{}, &UsageError{err}
	}
	return stimulus, nil
}

// choose reads the stimulus at path, or designs one where there is no path.
func (s *Stimulus) choose(o Options, path string) (excite.Stimulus, error) {
	if path == "" {
		return s.design()
	}
	for _, p := range s.options() {
		if o.Given(p.Name) {
			return excite.Stimulus{}, Wrong(p.Name,
				"{%s} and {stimulus} contradict each other: the file already states that", p.Name)
		}
	}
	return ReadStimulus(path)
}

// ReadStimulus reads the description of a stimulus, FILE.toml.
func ReadStimulus(path string) (excite.Stimulus, error) {
	if strings.EqualFold(filepath.Ext(path), ".wav") {
		return excite.Stimulus{}, WrongValue("stimulus", path,
			"want the description of the stimulus, FILE.toml, not its audio")
	}
	text, err := atomicfile.Read(path, atomicfile.MaxText)
	if err != nil {
		return excite.Stimulus{}, fmt.Errorf("cannot read the stimulus: %w", err)
	}
	s, err := excite.Decode(text)
	if err != nil {
		return excite.Stimulus{}, fmt.Errorf("%s: %w", path, err)
	}
	return s, nil
}

// The formats of samples.
const (
	PCM24   = "pcm24"
	Float32 = "float32"
)

// WriteStimulus writes the audio, its samples in format, and its description. Both are complete on disk
// before the first takes its name, so that no description stands beside audio
// of another stimulus.
func WriteStimulus(path, description string, s excite.Stimulus, format string) error {
	f := wav.Format{Encoding: wav.PCM, Bits: 24, RateHz: s.RateHz, Channels: 1}
	if format == Float32 {
		f.Encoding, f.Bits = wav.Float, 32
	}
	text, err := s.Encode()
	if err != nil {
		return err
	}
	audio, err := atomicfile.Create(path)
	if err != nil {
		return err
	}
	defer audio.Abort()
	w, err := wav.NewWriter(audio, f, wav.Info{})
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

// StimulusAudio is a stimulus as a WAV file.
func StimulusAudio(s excite.Stimulus) ([]byte, error) {
	dir, err := os.MkdirTemp("", "coilsweep-")
	if err != nil {
		return nil, err
	}
	defer rooted.RemoveAll(dir)
	path := filepath.Join(dir, "sweep.wav")
	err = WriteStimulus(path, filepath.Join(dir, "sweep.toml"), s, PCM24)
	if err != nil {
		return nil, err
	}
	return rooted.ReadFile(path)
}
