package workbench

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/fit/harness"
	"coilsweep/report/pluck"
	"coilsweep/report/sound"
)

const groupHear = "What to play"

// openStrings are played where nothing else is asked for.
const openStrings = "E2 A2 D3 G3 B3 E4"

// Hear has a recording sound through one coil or two, each alone in a guitar.
type Hear struct {
	Options
	Play         string // a recording, or the names of notes
	Channel      int
	RecordedWith string // the folder of the coil that recorded it; empty: none

	guitar *Guitar
}

// NewHear has the defaults.
func NewHear() *Hear {
	o := &Hear{Play: openStrings, Channel: 1, guitar: NewGuitar(false)}
	o.Options = append(Options{
		{Name: "in", Group: groupHear, Value: Text(&o.Play),
			Help: "a recording, WAV or FLAC, or notes for plucked strings: \"E2 B2 E3\""},
		{Name: "channel", Group: groupHear, Value: Whole(&o.Channel), Help: "the channel of the recording"},
		{Name: "recorded-with", Group: groupHear, Value: Text(&o.RecordedWith),
			Help: "folder of the coil that the recording was made with, in this guitar: its response is taken out"},
	}, slices.DeleteFunc(slices.Clone(o.guitar.Options), func(p *Option) bool {
		return p.Name == "wiring" || p.Name == "phase" || p.Name == "coupling" // for two coils in one guitar
	})...)
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
		return h, nil, a, b, wrongValue("recorded-with", o.RecordedWith, "through this coil the recording sounds as it "+
			"is: name another coil")
	default: // the recording as it is, with the coil that it was made with, or with none
		a = harness.Path{Through: without, Without: without}
	}
	return h, all, a, b, nil
}

// Recording is what is played.
func (o *Hear) Recording() (sound.Recording, error) {
	isFile := slices.Contains([]string{".wav", ".flac"}, strings.ToLower(filepath.Ext(o.Play)))
	if _, err := os.Stat(o.Play); !isFile && err != nil {
		notes, err := pluck.ParseNotes(o.Play)
		switch {
		case err != nil:
			return sound.Recording{}, wrongValue("in", o.Play, "neither a file nor notes: %v", err)
		case o.Given("channel"):
			return sound.Recording{}, wrong("channel", "{channel} is for a recording")
		case o.RecordedWith != "":
			return sound.Recording{}, wrong("recorded-with",
				"{recorded-with} is for a recording: plucked strings are made without a coil")
		}
		return sound.Recording{Name: "plucked strings " + strings.Join(strings.Fields(o.Play), " ") +
			" (Karplus and Strong 1983)", RateHz: pluck.RateHz, Samples: pluck.Strings(notes)}, nil
	}
	r, err := capture.ReadRecording(o.Play)
	if err != nil {
		return sound.Recording{}, err
	}
	fail := func(err error) (sound.Recording, error) {
		return sound.Recording{}, fmt.Errorf("%s: %w", o.Play, err)
	}
	samples, err := r.Channel(o.Channel)
	if err != nil {
		return fail(err)
	}
	if err := r.CheckNumbers(); err != nil {
		return fail(err)
	}
	remarks := r.Remarks
	if n := len(r.Samples); n > 1 {
		remarks = append(remarks, fmt.Sprintf("of the recording's %d channels channel %d is played", n, o.Channel))
	}
	return sound.Recording{Name: filepath.Base(o.Play), RateHz: r.RateHz, Samples: samples, Remarks: remarks}, nil
}
