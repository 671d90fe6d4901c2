package record

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/fault"
	"coilsweep/capture/quality"
	"coilsweep/capture/rooted"
	"coilsweep/capture/wav"
)

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
	Dir      string  // where the recording is kept, with its stimulus; empty: it is lost
	Take     string  // the name that the take would have had
	Seconds  float64 // what was recorded
	HasSweep bool    // at least one whole sweep was recorded
	Redo     bool    // it was to take the place of an earlier take
	Err      error
}

func (e *PartialError) Error() string {
	why := e.Err.Error()
	if errors.Is(e.Err, context.Canceled) {
		why = "interrupted"
	}
	use := ""
	if !e.HasSweep {
		use = ": less than one sweep, record again"
	}
	why, details, more := strings.Cut(why, "\n") // what the device's libraries say
	kept := "kept in " + e.Dir + use
	if e.Dir == "" {
		kept = "lost"
	}
	text := fmt.Sprintf("the recording stopped after %.1f s: %s; what was recorded is %s", e.Seconds, why, kept)
	if more {
		text += "\n" + details
	}
	return text
}

func (e *PartialError) Unwrap() error { return e.Err }

// recordingFile is where the audio of a take is written to.
type recordingFile interface {
	wav.File
	io.Closer
}

// createFile makes a new file at path.
func createFile(path string) (recordingFile, error) {
	return rooted.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
}

// Options is what goes on beside a recording.
type Options struct {
	Progress func(Progress) // may be nil; called some ten times per second of audio
	Redo     bool           // a take of that name is set aside (Folder.SetAside) once the new one is complete
	// See looks at the recording under way each time that a further sweep has
	// ended, from repeat From (0: 1) on: r is what was recorded until some
	// hundredths of a second behind it, t the take as if playing had ended there, with
	// quality and alignment. Where the recording waits r has the whole period, and
	// the last repeat is not looked at. It returns the number of repeats at which it wants to look
	// again; 0: enough was recorded. What it is given it may keep: nothing of it
	// will change. ctx ends with the recording; Run returns after See has.
	//
	// An error ends the recording where it waits, what was recorded is kept
	// apart; else it ends the looking. A panic reaches the caller of Run after
	// the take is kept.
	See func(ctx context.Context, r capture.Recording, t capture.Take) (again int, err error)
	// Wait: the recording waits while See looks, for which a sound card has some
	// seconds; else See has a goroutine of its own and all the time it takes, is
	// not shown the repeats that it has no time for, and the recording ends with
	// the next whole repeat after it said enough.
	Wait bool
	From int
}

// Run plays the stimulus of t through rec, records the answer and keeps it as
// a take of f, with the quality that its audio shows. t says all that is known
// beforehand: name, load, drive, reference, stimulus, program. The take has
// fewer repeats than its stimulus where o.See found them enough.
//
// While recording, the audio grows in takes/NAME.partial, or NAME.partial-2 and
// so on where earlier ones are kept. Only a complete take gets its name. A recording that ends
// early returns a *PartialError and stays there; beside a *capture.UnconfirmedError
// the take is returned, since it has its place. A take that is not usable
// is kept: see Take.Unfit.
func Run(ctx context.Context, rec Recorder, f *capture.Folder, t capture.Take, o Options) (capture.Take, error) {
	return run(ctx, rec, f, t, o, createFile)
}

func run(ctx context.Context, rec Recorder, f *capture.Folder, t capture.Take, o Options,
	create func(string) (recordingFile, error)) (capture.Take, error) {
	if err := t.CheckPlan(); err != nil {
		return capture.Take{}, err
	}
	if err := f.CheckNew(t.Name); err != nil && !o.Redo {
		return capture.Take{}, err
	}
	format := rec.Format()
	if err := checkFormat(format, t); err != nil {
		return capture.Take{}, err
	}
	t.Schema, t.Started, t.Bench = capture.TakeSchema, time.Now().Truncate(time.Millisecond), rec.Describe()
	t.State = f.Coil.State
	m, err := newMonitor(ctx, t, format.Channels, o)
	if err != nil {
		return capture.Take{}, err
	}
	defer m.close()
	dir, err := startPartial(f, t)
	if err != nil {
		return capture.Take{}, err
	}
	where, release := hold(dir)
	defer release()
	path := filepath.Join(dir, capture.AudioFile)
	file, err := create(path)
	if err != nil {
		rooted.RemoveAll(dir)
		return capture.Take{}, fmt.Errorf("cannot write the recording: %w", atomicfile.Advise(path, err))
	}
	frames, session, err := stream(ctx, rec, file, path, t, o.Progress, m)
	m.end()
	if cerr := file.Close(); cerr != nil && (err == nil || errors.Is(err, errEnough)) {
		err = cerr
	}
	if frames == 0 {
		rooted.RemoveAll(dir)
		if err == nil {
			err = errors.New("the device delivered no audio")
		}
		return capture.Take{}, fmt.Errorf("nothing was recorded: %w", err)
	}
	if errors.Is(err, errEnough) {
		t.Stimulus, err = t.Stimulus.Prefix(int(m.stop.Load()))
	}
	if err == nil {
		t, err = finish(f, dir, t, session, o.Redo, wired(m.assess))
	}
	if _, kept := errors.AsType[*capture.UnconfirmedError](err); kept {
		return t, err
	}
	if err != nil {
		s := t.Stimulus
		coil, now := f.Dir, where()
		if now == "" {
			err = errMoved
		} else if now != dir {
			coil, err = filepath.Dir(filepath.Dir(now)), errMoved
		}
		return capture.Take{}, &PartialError{
			Folder: coil, Dir: now, Take: t.Name, Redo: o.Redo, Err: err,
			Seconds:  float64(frames) / float64(format.RateHz),
			HasSweep: frames >= int64(s.LeadInSamples+s.SweepSamples),
		}
	}
	return t, nil
}

// errMoved ends a recording that is not where it was begun.
var errMoved = errors.New("its folder was renamed or removed meanwhile")

// startPartial makes the folder that a recording grows in, and puts beside it
// what an import of the recording needs. Earlier ones of that take stay: the
// folder is NAME.partial, or the first of NAME.partial-2, -3, ... that is free.
func startPartial(f *capture.Folder, t capture.Take) (string, error) {
	first := f.TakeDir(t.Name) + capture.PartialSuffix
	if err := rooted.MkdirAll(filepath.Dir(first)); err != nil {
		return "", fmt.Errorf("cannot write to coil folder %s: %w", f.Dir, atomicfile.Advise(filepath.Dir(first), err))
	}
	dir := first
	for n := 2; ; n++ {
		err := rooted.Mkdir(dir)
		if err == nil {
			break
		}
		if !errors.Is(err, fs.ErrExist) {
			return "", fmt.Errorf("cannot write to coil folder %s: %w", f.Dir, atomicfile.Advise(dir, err))
		}
		dir = first + "-" + strconv.Itoa(n)
	}
	if err := capture.KeepPlan(dir, t); err != nil {
		rooted.RemoveAll(dir)
		return "", err
	}
	return dir, nil
}

// stream records into file, which is at path, until the stimulus and the margin
// are through, or until m has enough: errEnough. It returns the frames that are
// in the file, whatever else happened.
func stream(ctx context.Context, rec Recorder, file wav.File, path string, t capture.Take, progress func(Progress),
	m *monitor) (int64, Session, error) {
	format := rec.Format()
	w, err := wav.NewWriter(file, wav.Format{Encoding: wav.Float, Bits: 32, RateHz: format.RateHz,
		Channels: format.Channels}, t.AudioInfo())
	if err != nil {
		return 0, Session{}, err
	}
	play := newPlaying(t.Stimulus, format)
	if s := t.Stimulus; progress != nil {
		play.report = func(levels []quality.Level) {
			p := Progress{Fraction: min(1, float64(play.recorded)/float64(play.frames)), Repeats: s.Repeats,
				PeakDBFS: levels[0].PeakDBFS()}
			if played := play.recorded - s.LeadInSamples; played >= 0 {
				p.Repeat = min(played/s.PeriodSamples+1, s.Repeats)
			}
			progress(p)
		}
	}
	session, err := play.through(ctx, rec, func(block []float32) error {
		if err := w.WriteFloat32(block); err != nil {
			return fmt.Errorf("cannot write the recording: %w", atomicfile.Advise(path, err))
		}
		play.count(block)
		return m.add(ctx, block)
	})
	if err == nil && w.Frames() < int64(play.frames) {
		err = fmt.Errorf("the device delivered %d of %d frames", w.Frames(), play.frames)
	}
	if errors.Is(err, errEnough) {
		// The take's stimulus is what was played of it.
		if played, perr := t.Stimulus.Prefix(int(m.stop.Load())); perr == nil {
			t.Stimulus = played
			err = cmp.Or(w.Retell(t.AudioInfo()), err)
		}
	}
	if cerr := w.Close(); cerr != nil && (err == nil || errors.Is(err, errEnough)) {
		err = fmt.Errorf("cannot write the recording: %w", atomicfile.Advise(path, cerr))
	}
	return w.Frames(), session, err
}

type assessment = func(capture.Recording, capture.Take) (capture.Take, error)

// wired is assess and the wiring by the same samples.
func wired(assess assessment) assessment {
	return func(r capture.Recording, t capture.Take) (capture.Take, error) {
		t, err := assess(r, t)
		if err != nil {
			return t, err
		}
		return quality.AssessWiring(r, t)
	}
}

// finish turns the recording in dir into a take: it judges what is on disk,
// describes it and gives it its name. The audio is kept as t.Audio.File asks for.
// assess is quality.Assess, then AssessWiring.
func finish(f *capture.Folder, dir string, t capture.Take, session Session, redo bool,
	assess assessment) (_ capture.Take, err error) {
	defer fault.Catch(&err, "the inspection of the recording broke off")
	path := filepath.Join(dir, capture.AudioFile)
	sum, err := capture.ChecksumOf(path)
	if err != nil {
		return t, err
	}
	r, err := capture.ReadRecording(path)
	if err != nil {
		return t, err
	}
	smaller := t.Audio.File == capture.FLACFile
	t.Audio = capture.Audio{File: capture.AudioFile, SHA256: sum, RateHz: r.RateHz,
		Channels: len(r.Samples), Frames: int64(r.Frames())}
	t.Quality.Xruns = session.Xruns
	t.Drive.Fall = t.DriveFall()
	if t, err = assess(r, t); err != nil {
		return t, err
	}
	if smaller {
		// A take that is as large as ever is better than none.
		if audio, err := capture.Smaller(dir); err == nil {
			t.Audio = audio
		} else {
			t.Audio.StaysWAV = err.Error()
		}
	}
	return t, f.Keep(dir, t, redo)
}
