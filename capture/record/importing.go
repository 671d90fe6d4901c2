package record

import (
	"cmp"
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/quality"
	"coilsweep/capture/rooted"
)

// ImportOptions says which recording becomes a take, and where in it the
// signals are.
type ImportOptions struct {
	Recording        string // path of a WAV or FLAC file
	CoilChannel      int    // from 1; 0 means 1
	ReferenceChannel int    // from 1; 0 means 2 if the take has a reference
	Redo             bool   // see Options.Redo
}

// Import makes a take of f from a recording of the stimulus of t that was made
// elsewhere. The audio is copied without loss, the coil's channel first. A
// recording at another rate, or shorter than one sweep, is refused and nothing
// is kept. One that is not usable is kept with its flags: see Take.Unfit.
// Where ctx ends nothing is kept.
func Import(ctx context.Context, f *capture.Folder, t capture.Take, o ImportOptions) (capture.Take, error) {
	return importTake(ctx, f, t, o, createFile)
}

func importTake(ctx context.Context, f *capture.Folder, t capture.Take, o ImportOptions,
	create func(string) (recordingFile, error)) (capture.Take, error) {
	if err := t.CheckPlan(); err != nil {
		return capture.Take{}, err
	}
	if err := f.CheckNew(t.Name); err != nil && !o.Redo {
		return capture.Take{}, err
	}
	o.CoilChannel, o.ReferenceChannel = cmp.Or(o.CoilChannel, 1), cmp.Or(o.ReferenceChannel, 2)
	if t.Reference.Kind == "none" {
		o.ReferenceChannel = 0
	}
	r, err := capture.ReadWanted(o.Recording, wanted(t, o))
	if err != nil {
		return capture.Take{}, err
	}
	if s := t.Stimulus; r.Frames() < s.SweepSamples {
		why := ""
		if r.Remarks != nil {
			why = " (" + strings.Join(r.Remarks, "; ") + ")"
		}
		return capture.Take{}, fmt.Errorf(
			"%s: %.2f s long, but one sweep lasts %.2f s: record at least one whole sweep%s", o.Recording,
			float64(r.Frames())/float64(r.RateHz), float64(s.SweepSamples)/float64(s.RateHz), why)
	}
	sum, err := capture.ChecksumOf(o.Recording)
	if err != nil {
		return capture.Take{}, fmt.Errorf("cannot read the recording: %w", err)
	}
	if err := ctx.Err(); err != nil {
		return capture.Take{}, err
	}
	t.Schema, t.State = capture.TakeSchema, f.Coil.State
	if t.Started.IsZero() {
		t.Started = time.Now().Truncate(time.Millisecond)
	}
	t.Bench = capture.Bench{
		Source: "import", File: filepath.Base(o.Recording), FileSHA256: sum,
		CoilChannel: o.CoilChannel, ReferenceChannel: o.ReferenceChannel,
		Notes: append(t.Bench.Notes, r.Remarks...),
	}

	takes := filepath.Join(f.Dir, capture.TakesDir)
	if err := rooted.MkdirAll(takes); err != nil {
		return capture.Take{}, fmt.Errorf("cannot write to coil folder %s: %w", f.Dir, atomicfile.Advise(takes, err))
	}
	dir, err := rooted.MkdirTemp(takes, capture.ImportPrefix)
	if err != nil {
		return capture.Take{}, fmt.Errorf("cannot write to coil folder %s: %w", f.Dir,
			atomicfile.Advise(filepath.Join(takes, capture.AudioFile), err))
	}
	defer rooted.RemoveAll(dir) // nothing there any more once the take has its name
	r.Info = t.AudioInfo()
	if err := writeCapture(filepath.Join(dir, capture.AudioFile), r, create); err != nil {
		return capture.Take{}, fmt.Errorf("cannot keep the recording in %s: %w", f.Dir,
			atomicfile.Advise(filepath.Join(takes, capture.AudioFile), err))
	}
	if err := ctx.Err(); err != nil {
		return capture.Take{}, err
	}
	r = capture.Recording{} // it is read again, as it was kept
	return finish(f, dir, t, Session{}, o.Redo, func(r capture.Recording, t capture.Take) (capture.Take, error) {
		return assessFrugally(filepath.Join(dir, capture.AudioFile), r, t)
	})
}

// assessFrugally is quality.Assess of the recording r at path, without holding the
// reference while the stimulus is looked for: that takes as much memory once more.
func assessFrugally(path string, r capture.Recording, t capture.Take) (capture.Take, error) {
	if len(r.Samples) < 2 || r.RateHz != t.Stimulus.RateHz {
		return wired(quality.Assess)(r, t)
	}
	clear(r.Samples[1:])
	at, failed := align.Align(r.Samples[0], t.Stimulus)
	clear(r.Samples)
	r, err := capture.ReadRecording(path)
	if err != nil {
		return t, err
	}
	return wired(func(r capture.Recording, t capture.Take) (capture.Take, error) {
		return quality.AssessAligned(r, t, at, failed)
	})(r, t)
}

// RateError is a recording at another rate than its stimulus.
type RateError struct{ RecordedHz, StimulusHz int }

func (e *RateError) Error() string {
	return fmt.Sprintf("recorded at %d Hz, but the stimulus is for %d Hz: record again at %d Hz",
		e.RecordedHz, e.StimulusHz, e.StimulusHz)
}

// A recording may be twice as long as its stimulus, and a minute longer.
const (
	timesStimulus = 2
	longerS       = 60
)

// wanted is what is read of the recording of a take: its channels, if it is at the rate
// of the stimulus and not far longer than that.
func wanted(t capture.Take, o ImportOptions) capture.Want {
	channels := []int{o.CoilChannel, o.ReferenceChannel}
	if o.ReferenceChannel == 0 {
		channels = channels[:1]
	}
	return capture.Want{Channels: channels, Most: func(rateHz int) (int, error) {
		if s := t.Stimulus; rateHz != s.RateHz {
			return 0, &RateError{RecordedHz: rateHz, StimulusHz: s.RateHz}
		}
		return timesStimulus*t.Stimulus.TotalSamples() + longerS*rateHz, nil
	}}
}

func writeCapture(path string, r capture.Recording, create func(string) (recordingFile, error)) error {
	file, err := create(path)
	if err != nil {
		return err
	}
	return cmp.Or(capture.EncodeRecording(file, r), file.Close())
}
