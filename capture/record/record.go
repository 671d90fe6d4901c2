package record

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/quality"
	"coilsweep/capture/wav"
	"coilsweep/excite"
)

// tailMarginS is recorded beyond the stimulus: the way through the buffers of
// the sound card and back takes time.
const tailMarginS = 0.5

// Progress tells how a recording goes on.
type Progress struct {
	Fraction float64 // of the recording, 0 … 1
	Repeat   int     // the sweep that plays, from 1; 0 before the first
	Repeats  int
	// PeakDBFS is the largest sample of the coil's channel since the last
	// report; -Inf for silence.
	PeakDBFS float64
}

// PartialError is a recording that ended early. What was recorded is kept.
type PartialError struct {
	Folder   string  // the coil folder
	Dir      string  // where the recording is kept, with its stimulus
	Take     string  // the name that the take would have had
	Seconds  float64 // what was recorded
	HasSweep bool    // at least one whole sweep was recorded
	Redo     bool    // it was to take the place of an earlier take
	Err      error
}

func (e *PartialError) Error() string {
	advice := "less than one sweep, record again"
	if e.HasSweep {
		redo := ""
		if e.Redo {
			redo = " --redo"
		}
		advice = fmt.Sprintf("use it with 'coilsweep import %s --take %s%s --stimulus %s --recording %s'",
			quoted(e.Folder), e.Take, redo, quoted(filepath.Join(e.Dir, capture.StimulusFile)), quoted(filepath.Join(e.Dir, capture.AudioFile)))
	}
	why := e.Err.Error()
	if errors.Is(e.Err, context.Canceled) {
		why = "interrupted"
	}
	return fmt.Sprintf("the recording stopped after %.1f s, which are kept in %s (%s): %s", e.Seconds, e.Dir, advice, why)
}

func (e *PartialError) Unwrap() error { return e.Err }

// quoted is path as a shell takes it.
func quoted(path string) string {
	if strings.ContainsAny(path, " \t\"'\\$&;()<>|*?[]#~`!") {
		return "'" + strings.ReplaceAll(path, "'", `'\''`) + "'"
	}
	return path
}

// recordingFile is where the audio of a take is written to.
type recordingFile interface {
	wav.File
	io.Closer
}

// createFile makes a new file at path.
func createFile(path string) (recordingFile, error) {
	return os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
}

// Run plays the stimulus of t through rec, records the answer and keeps it as
// a take of f, with the quality that its audio shows. t says all that is known
// beforehand: name, load, drive, reference, stimulus, program.
//
// While recording, the audio grows in takes/NAME.partial, or NAME.partial-2 and
// so on where earlier ones are kept. Only a complete take gets its name. A recording that ends
// early returns a *PartialError and stays there. A take that is unfit for use
// is kept: see Take.Unfit. progress may be nil; it is called some ten times
// per second of audio.
func RunOld(ctx context.Context, rec Recorder, f *capture.Folder, t capture.Take, progress func(Progress), options ...Option) (capture.Take, error) {
	return run(ctx, rec, f, t, progress, createFile, options)
}

// Option is something more that Run is to do: Redo, Watch.
type Option func(*running)

// Redo allows that there is a take of that name. It is set aside (see
// Folder.SetAside) once the new one is complete, fit for use or not.
func Redo() Option { return func(r *running) { r.redo = true } }

// running is what goes on beside a recording.
type running struct {
	redo     bool
	until    *until
	watch    *watch
	progress func(Progress)
}

func run(ctx context.Context, rec Recorder, f *capture.Folder, t capture.Take, progress func(Progress), create func(string) (recordingFile, error), options []Option) (capture.Take, error) {
	beside := &running{progress: progress}
	for _, option := range options {
		option(beside)
	}
	if err := t.CheckPlan(); err != nil {
		return capture.Take{}, err
	}
	if err := f.CheckNew(t.Name); err != nil && !beside.redo {
		return capture.Take{}, err
	}
	format := rec.Format()
	if format.RateHz != t.Stimulus.RateHz {
		return capture.Take{}, fmt.Errorf("the bench runs at %d Hz, the stimulus at %d Hz: make both the same", format.RateHz, t.Stimulus.RateHz)
	}
	if t.Reference.Kind != "none" && format.Channels < 2 {
		return capture.Take{}, fmt.Errorf("the bench records %s: a %s reference needs a second one", capture.ChannelCount(format.Channels), t.Reference.Kind)
	}
	play := playback(t.Stimulus)

	dir, err := startPartial(f, t)
	if err != nil {
		return capture.Take{}, err
	}
	path := filepath.Join(dir, capture.AudioFile)
	file, err := create(path)
	if err != nil {
		os.RemoveAll(dir)
		return capture.Take{}, fmt.Errorf("cannot write the recording: %w", atomicfile.Advise(path, err))
	}
	t.Schema, t.Started, t.Bench = capture.TakeSchema, time.Now().Truncate(time.Millisecond), rec.Describe()
	beside.watch.start(ctx, t)
	defer beside.watch.wait()
	frames, session, err := stream(ctx, rec, file, path, t, play, beside)
	beside.watch.stop()
	if cerr := file.Close(); err == nil {
		err = cerr
	}
	if frames == 0 {
		os.RemoveAll(dir)
		if err == nil {
			err = errors.New("the device delivered no audio")
		}
		return capture.Take{}, fmt.Errorf("nothing was recorded: %w", err)
	}
	if u := beside.until; err == nil && u != nil && u.whole > 0 {
		t.Stimulus, err = t.Stimulus.Prefix(u.whole)
	}
	if err == nil {
		t, err = finish(f, dir, t, session, beside.redo)
	}
	if err != nil {
		s := t.Stimulus
		return capture.Take{}, &PartialError{
			Folder: f.Dir, Dir: dir, Take: t.Name, Redo: beside.redo, Err: err,
			Seconds:  float64(frames) / float64(format.RateHz),
			HasSweep: frames >= int64(s.LeadInSamples+s.SweepSamples),
		}
	}
	return t, nil
}

// playback is the stimulus as it is played. Its 24-bit samples are exact in float32.
func playback(s excite.Stimulus) []float32 {
	samples := s.Samples()
	play := make([]float32, len(samples))
	for i, v := range samples {
		play[i] = float32(v)
	}
	return play
}

// startPartial makes the folder that a recording grows in, and puts beside it
// what an import of the recording needs. Earlier ones of that take stay: the
// folder is NAME.partial, or the first of NAME.partial-2, -3, ... that is free.
func startPartial(f *capture.Folder, t capture.Take) (string, error) {
	first := f.TakeDir(t.Name) + capture.PartialSuffix
	if err := os.MkdirAll(filepath.Dir(first), 0o777); err != nil {
		return "", fmt.Errorf("cannot write to coil folder %s: %w", f.Dir, atomicfile.Advise(filepath.Dir(first), err))
	}
	dir := first
	for n := 2; ; n++ {
		err := os.Mkdir(dir, 0o777)
		if err == nil {
			break
		}
		if !errors.Is(err, fs.ErrExist) {
			return "", fmt.Errorf("cannot write to coil folder %s: %w", f.Dir, atomicfile.Advise(dir, err))
		}
		dir = first + "-" + strconv.Itoa(n)
	}
	data, err := t.Stimulus.Encode()
	if err == nil {
		err = atomicfile.Write(filepath.Join(dir, capture.StimulusFile), data)
	}
	if err != nil {
		os.RemoveAll(dir)
		return "", err
	}
	return dir, nil
}

// stream records into file, which is at path, until the stimulus and the margin are through. It
// returns the frames that are in the file, whatever else happened.
func stream(ctx context.Context, rec Recorder, file wav.File, path string, t capture.Take, play []float32, beside *running) (int64, Session, error) {
	format := rec.Format()
	w, err := wav.NewWriter(file, wav.Format{Encoding: wav.Float, Bits: 32, RateHz: format.RateHz, Channels: format.Channels})
	if err != nil {
		return 0, Session{}, err
	}
	frames := len(play) + int(math.Ceil(tailMarginS*float64(format.RateHz)))
	m := meter{stimulus: t.Stimulus, frames: frames, channels: format.Channels, every: int64(format.RateHz / 10), progress: beside.progress}
	g := newGrowth(t, format)
	session, err := rec.Record(ctx, play, frames, func(block []float32) error {
		if err := w.WriteFloat32(block); err != nil {
			return fmt.Errorf("cannot write the recording: %w", atomicfile.Advise(path, err))
		}
		m.add(block, w.Frames())
		if beside.until == nil && beside.watch == nil {
			return nil
		}
		g.add(block)
		beside.watch.add(g)
		return beside.until.add(ctx, g)
	})
	if errors.Is(err, errEnough) {
		err = nil
		frames = 0 // as many as there are
	}
	if err == nil && w.Frames() < int64(frames) {
		err = fmt.Errorf("the device delivered %d of %d frames", w.Frames(), frames)
	}
	if cerr := w.Close(); err == nil && cerr != nil {
		err = fmt.Errorf("cannot write the recording: %w", atomicfile.Advise(path, cerr))
	}
	return w.Frames(), session, err
}

// meter turns recorded blocks into progress.
type meter struct {
	stimulus excite.Stimulus
	frames   int
	channels int
	every    int64 // frames between reports
	progress func(Progress)

	reported int64
	peak     float64
}

func (m *meter) add(block []float32, recorded int64) {
	if m.progress == nil {
		return
	}
	for i := 0; i < len(block); i += m.channels {
		m.peak = max(m.peak, math.Abs(float64(block[i])))
	}
	if recorded-m.reported < m.every && recorded < int64(m.frames) {
		return
	}
	s := m.stimulus
	repeat := 0
	if played := int(recorded) - s.LeadInSamples; played >= 0 {
		repeat = min(played/s.PeriodSamples+1, s.Repeats)
	}
	m.progress(Progress{
		Fraction: min(1, float64(recorded)/float64(m.frames)),
		Repeat:   repeat,
		Repeats:  s.Repeats,
		PeakDBFS: 20 * math.Log10(m.peak),
	})
	m.reported, m.peak = recorded, 0
}

// finish turns the recording in dir into a take: it judges what is on disk,
// describes it and gives it its name.
func finish(f *capture.Folder, dir string, t capture.Take, session Session, redo bool) (capture.Take, error) {
	path := filepath.Join(dir, capture.AudioFile)
	data, err := os.ReadFile(path)
	if err != nil {
		return t, err
	}
	r, err := capture.DecodeRecording(data)
	if err != nil {
		return t, fmt.Errorf("%s: %w", path, err)
	}
	sum := sha256.Sum256(data)
	t.Audio = capture.Audio{File: capture.AudioFile, SHA256: hex.EncodeToString(sum[:]), RateHz: r.RateHz, Channels: len(r.Samples), Frames: int64(r.Frames())}
	t.Quality.Xruns = session.Xruns
	t.Drive.Fall = t.DriveFall()
	if t.Quality, err = quality.Assess(r, t); err != nil {
		return t, err
	}
	if err := f.Keep(dir, t, redo); err != nil {
		return t, err
	}
	// take.toml holds the stimulus from here on.
	os.Remove(filepath.Join(f.TakeDir(t.Name), capture.StimulusFile))
	return t, nil
}
