package inguitar

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/report/pluck"
	"coilsweep/report/sound"
)

const groupHear = "What to play"

// OpenStrings are played where nothing else is asked for.
const OpenStrings = "E2 A2 D3 G3 B3 E4"

// Hear has a recording sound through one coil or two, each alone in a guitar.
type Hear struct {
	workbench.Options
	Play         string // as for recording
	Channel      int
	RecordedWith string // the folder of the coil that recorded it; empty: none

	guitar *Guitar
}

// NewHear has the defaults.
func NewHear() *Hear {
	o := &Hear{Play: OpenStrings, Channel: 1, guitar: NewGuitar(false)}
	o.Options = append(workbench.Options{
		{Name: "in", Group: groupHear, Value: workbench.Text(&o.Play),
			Help: "a recording, WAV or FLAC, or notes for plucked strings: \"E2 B2 E3\""},
		{Name: "channel", Group: groupHear, Value: workbench.Whole(&o.Channel), Help: "the channel of the recording"},
		{Name: "recorded-with", Group: groupHear, Value: workbench.Text(&o.RecordedWith),
			Help: "folder of the coil that the recording was made with, in this guitar: its response is taken out"},
	}, o.guitar.ofOneCoil()...)
	return o
}

// Plan is the guitar, the folders of all coils that take part, those of the sounds
// first, and the paths of both sounds. dirs are one or two.
func (o *Hear) Plan(dirs []string) (h harness.Harness, all []string, a, b harness.Path, err error) {
	if h, _, err = o.guitar.Plan(1); err != nil {
		return h, nil, a, b, err
	}
	all = slices.Clone(dirs)
	without := -1
	if o.RecordedWith != "" {
		same := func(dir string) bool { return filepath.Clean(dir) == filepath.Clean(o.RecordedWith) }
		if without = slices.IndexFunc(all, same); without < 0 {
			without, all = len(all), append(all, o.RecordedWith)
		}
	}
	b = harness.Path{Through: len(dirs) - 1, Without: without}
	switch {
	case len(dirs) == 2:
		a = harness.Path{Through: 0, Without: without}
	case without == 0:
		return h, nil, a, b, workbench.WrongValue("recorded-with", o.RecordedWith,
			"through this coil the recording sounds as it is: name another coil")
	default: // the recording as it is, with the coil that it was made with, or with none
		a = harness.Path{Through: without, Without: without}
	}
	return h, all, a, b, nil
}

// Recording is what is played.
func (o *Hear) Recording() (sound.Recording, error) {
	r, isFile, err := recording("in", o.Play, o.Channel)
	switch {
	case err != nil || isFile:
		return r, err
	case o.Given("channel"):
		return r, workbench.Wrong("channel", "{channel} is for a recording")
	case o.RecordedWith != "":
		return r, workbench.Wrong("recorded-with",
			"{recorded-with} is for a recording: plucked strings are made without a coil")
	}
	return r, nil
}

// HearOption is the option of pages that let coils be heard.
func HearOption(at *string) *workbench.Option {
	return &workbench.Option{Name: "hear", Value: workbench.Text(at),
		Help: "let the page play this: a recording without a coil in it, WAV or FLAC, or notes, \"E2 B2 E3\""}
}

// HearOn is what a page lets be heard by its HearOption: one coil in a guitar against the
// recording as it is, or two, each alone in it; nil where play is empty.
func HearOn(ctx context.Context, play string, h harness.Harness, coils []harness.Coil) (*sound.Listening, error) {
	if play == "" {
		return nil, nil
	}
	r, _, err := recording("hear", play, 1)
	if err != nil {
		return nil, err
	}
	a := harness.Path{Through: len(coils) - 2, Without: -1}
	return sound.Listen(ctx, h, coils, a, harness.Path{Through: len(coils) - 1, Without: -1}, r)
}

// HearCompared is HearOn for two coils that are compared, the reference first.
func HearCompared(ctx context.Context, play string, h harness.Harness, coils []evaluation.Measured, reference int) (
	*sound.Listening, error,
) {
	var heard []harness.Coil
	for _, i := range []int{reference, 1 - reference} {
		heard = append(heard, harness.Coil{Name: coils[i].Name, Fitted: coils[i].Fitted})
	}
	return HearOn(ctx, play, h, heard)
}

// recording is a file with a recording, of which a channel is played, or plucked strings
// by the names of their notes; option names play.
func recording(option, play string, channel int) (r sound.Recording, isFile bool, err error) {
	isFile = slices.Contains([]string{".wav", ".flac"}, strings.ToLower(filepath.Ext(play)))
	if _, err := os.Stat(play); !isFile && err != nil {
		notes, err := pluck.ParseNotes(play)
		if err != nil {
			return r, false, workbench.WrongValue(option, play, "neither a file nor notes: %v", err)
		}
		return sound.Recording{Name: "plucked strings " + strings.Join(strings.Fields(play), " ") +
			" (Karplus and Strong 1983)", RateHz: pluck.RateHz, Samples: pluck.Strings(notes)}, false, nil
	}
	file, err := capture.ReadRecording(play)
	if err != nil {
		return r, true, err
	}
	if channel < 1 || channel > len(file.Samples) {
		return r, true, fmt.Errorf("%s: channel %d asked for, but the recording has %s", play, channel,
			capture.ChannelCount(len(file.Samples)))
	}
	samples := file.Samples[channel-1]
	remarks := file.Remarks
	if n := len(file.Samples); n > 1 {
		remarks = append(remarks, fmt.Sprintf("of the recording's %d channels channel %d is played", n, channel))
	}
	return sound.Recording{Name: filepath.Base(play), RateHz: file.RateHz, Samples: samples, Remarks: remarks}, true, nil
}
