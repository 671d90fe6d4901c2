package record

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"coilsweep/capture"
	"coilsweep/capture/fault"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv("COILSWEEP_TEST_RECORD_IN"); dir != "" {
		recordSlowly(dir)
		os.Exit(1) // it was to be killed
	}
	if dir := os.Getenv("COILSWEEP_TEST_REDO_IN"); dir != "" {
		redo(dir, os.Getenv("COILSWEEP_TEST_RECORDING"))
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func TestRunKeepsWhatWasRecorded(t *testing.T) {
	f := newFolder(t)
	bench := &loopback{rateHz: 48000, channels: 2, gain: 1}
	p := plan(t, "C470p")
	p.Reference.Kind = "loopback"
	var reports []Progress
	before := time.Now().Add(-time.Second)
	take, err := Run(t.Context(), bench, f, p, Options{Progress: func(p Progress) { reports = append(reports, p) }})
	if err != nil {
		t.Fatal(err)
	}
	if got := take.Unfit(); got != nil {
		t.Errorf("unfit: %v", got)
	}
	if take.Started.Before(before) || take.Started.After(time.Now()) {
		t.Errorf("started %v", take.Started)
	}
	if take.Bench.InputDevice != "loopback" {
		t.Errorf("bench %+v", take.Bench)
	}
	onDisk, err := f.ReadTake("C470p")
	if err != nil {
		t.Fatal(err)
	}
	take.Started = take.Started.UTC()
	onDisk.Started = onDisk.Started.UTC()
	if diff := cmp.Diff(take, onDisk); diff != "" {
		t.Errorf("take on disk (-returned +read):\n%s", diff)
	}
	if files, want := tree(t, f.TakeDir("C470p")), 3; len(files) != want {
		t.Errorf("take has %d entries, want take.toml and capture.wav", len(files))
	}

	r, err := f.Audio(take)
	if err != nil {
		t.Fatal(err)
	}
	want := p.Stimulus.TotalSamples() + 24000
	if r.Frames() < want || r.Frames() > want+480 || len(r.Samples) != 2 {
		t.Errorf("%d frames of %d channels, want %d of 2", r.Frames(), len(r.Samples), want)
	}
	stimulus := p.Stimulus.Samples()
	for i, s := range stimulus {
		if d := math.Abs(2*r.Samples[1][i+1234] - s); d > 1e-5 {
			t.Fatalf("frame %d is off by %g", i, d)
		}
	}

	last := reports[len(reports)-1]
	if last.Fraction != 1 || last.Repeats != 2 || last.Repeat != 2 || reports[0].Repeat != 0 {
		t.Errorf("progress from %+v to %+v", reports[0], last)
	}
	if n, want := len(reports), r.Frames()/4800; n < want-1 || n > want+1 {
		t.Errorf("%d reports, want some %d", n, want)
	}
	loudest := math.Inf(-1)
	for i, r := range reports {
		loudest = max(loudest, r.PeakDBFS)
		if i > 0 && r.Fraction < reports[i-1].Fraction {
			t.Errorf("progress falls back to %g", r.Fraction)
		}
	}
	if math.Abs(loudest - -12) > 0.1 {
		t.Errorf("loudest level %.2f dBFS, want -12", loudest)
	}
}

func TestRunKeepsUnfitTakesWithTheirFlags(t *testing.T) {
	tests := []struct {
		name string
		gain float32
		want capture.Flag
	}{
		{"clipped", 8, capture.Clipped},
		{"silent", 0, capture.NoStimulus},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFolder(t)
			bench := mono()
			bench.gain = tt.gain
			take, err := Run(t.Context(), bench, f, plan(t, "bare"), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Contains(take.Unfit(), tt.want) {
				t.Errorf("unfit: %v, want %q", take.Unfit(), tt.want)
			}
			if _, err := f.ReadTake("bare"); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestRunNotesWhatTheDeviceSaysItLost(t *testing.T) {
	f := newFolder(t)
	bench := mono()
	bench.xruns = []capture.Xrun{{Frame: 40000, Kind: "input-overflow"}}
	take, err := Run(t.Context(), bench, f, plan(t, "bare"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(bench.xruns, take.Quality.Xruns); diff != "" || !slices.Contains(take.Quality.Flags,
		capture.Dropout) {
		t.Errorf("flags %v, xruns %s", take.Quality.Flags, diff)
	}
}

// Nothing may be played before all that can be known to go wrong was checked.
func TestRunRefusesBeforeItPlays(t *testing.T) {
	f := newFolder(t)
	recorded(t, f, "taken", 1)
	before := tree(t, f.Dir)
	tests := []struct {
		name  string
		bench *loopback
		edit  func(*capture.Take)
		want  []string
	}{
		{"name taken", mono(), func(t *capture.Take) { t.Name = "taken" }, []string{`"taken"`,
			"already a take of that name"}},
		{"impossible name", mono(), func(t *capture.Take) { t.Name = "../bare" }, []string{`"../bare"`, "use letters"}},
		{"rate", &loopback{rateHz: 44100, channels: 1}, func(*capture.Take) {}, []string{"44100 Hz", "48000 Hz"}},
		{"no channel for the reference", mono(), func(t *capture.Take) { t.Reference.Kind = "current" },
			[]string{"1 channel", "current reference"}},
		{"no exciter resistance", mono(), func(t *capture.Take) { t.Drive.Kind = "voltage" },
			[]string{"needs its resistance"}},
		{"no stimulus", mono(), func(t *capture.Take) { t.Stimulus.Schema = "" }, []string{"stimulus"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := plan(t, "bare")
			tt.edit(&p)
			_, err := Run(t.Context(), tt.bench, f, p, Options{})
			wantError(t, err, tt.want...)
			if tt.name == "name taken" && !errors.Is(err, capture.ErrTakeExists) {
				t.Errorf("error %v, want ErrTakeExists", err)
			}
			if tt.bench.calls != 0 {
				t.Error("the bench played all the same")
			}
			if diff := cmp.Diff(before, tree(t, f.Dir)); diff != "" {
				t.Errorf("the folder changed:\n%s", diff)
			}
		})
	}
}

func TestRunInAFolderThatCannotBeWritten(t *testing.T) {
	f := newFolder(t)
	if err := os.Remove(filepath.Join(f.Dir, capture.TakesDir)); err != nil {
		t.Fatal(err)
	}
	// A file where the takes should be: it stops even the superuser.
	if err := os.WriteFile(filepath.Join(f.Dir, capture.TakesDir), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	bench := mono()
	_, err := Run(t.Context(), bench, f, plan(t, "bare"), Options{})
	wantError(t, err, "cannot write to coil folder "+f.Dir)
	if bench.calls != 0 {
		t.Error("the bench played all the same")
	}
	_, err = Import(t.Context(), f, plan(t, "bare"), ImportOptions{Recording: recordingOf(t, shortStimulus(t))})
	wantError(t, err, "cannot write to coil folder "+f.Dir)
}

// wantPartial checks a recording that ended early: what is kept, what is said,
// and that it can be imported as said.
func wantPartial(t *testing.T, f *capture.Folder, err error, minFrames int) {
	t.Helper()
	var partial *PartialError
	if !errors.As(err, &partial) {
		t.Fatalf("error %v, want a PartialError", err)
	}
	dir := f.TakeDir("bare") + ".partial"
	wantError(t, err, "kept in "+dir)
	if takes, bad := takesOf(t, f); len(takes)+len(bad) > 0 {
		t.Errorf("takes: %v, %v, want none", takes, bad)
	}
	wantReadablePartial(t, f, minFrames)
}

func wantReadablePartial(t *testing.T, f *capture.Folder, minFrames int) {
	t.Helper()
	dir := f.TakeDir("bare") + ".partial"
	r, err := capture.ReadRecording(filepath.Join(dir, capture.AudioFile))
	if err != nil {
		t.Fatal(err)
	}
	if r.Frames() < minFrames {
		t.Errorf("%d frames can be read, want at least %d", r.Frames(), minFrames)
	}
	p := plan(t, "bare")
	onDisk, err := decodeStimulus(filepath.Join(dir, capture.StimulusFile))
	if err != nil {
		t.Fatal(err)
	}
	if !cmp.Equal(onDisk, p.Stimulus) {
		t.Errorf("stimulus %+v, want %+v", onDisk, p.Stimulus)
	}
	if minFrames < p.Stimulus.LeadInSamples+p.Stimulus.SweepSamples {
		return
	}
	if _, err := Import(t.Context(), f, p,
		ImportOptions{Recording: filepath.Join(dir, capture.AudioFile)}); err != nil {
		t.Errorf("importing what was recorded: %v", err)
	}
}

const oneSweep = 24000 + 14000 // frames that hold lead-in and one sweep of shortStimulus

// A fault of the program in the inspection of a recording leaves the recording.
func TestFaultKeepsTheRecording(t *testing.T) {
	f, p := newFolder(t), plan(t, "other")
	take, err := Run(t.Context(), mono(), f, p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	p.Name = "bare"
	dir, err := startPartial(f, p)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(f.TakeDir(take.Name), capture.AudioFile), filepath.Join(dir, capture.AudioFile)); err != nil {
		t.Fatal(err)
	}
	_, err = finish(f, dir, p, Session{}, false, func(capture.Recording, capture.Take) (capture.Take, error) {
		panic("the scale broke")
	})
	if broken, ok := errors.AsType[*fault.Error](err); !ok || broken.Panic != "the scale broke" {
		t.Errorf("error %v", err)
	}
	wantReadablePartial(t, f, p.Stimulus.TotalSamples())
}

func TestRunInterrupted(t *testing.T) {
	f := newFolder(t)
	ctx, cancel := context.WithCancel(t.Context())
	bench := mono()
	bench.onBlock = func(frames int) {
		if frames >= oneSweep {
			cancel()
		}
	}
	_, err := Run(ctx, bench, f, plan(t, "bare"), Options{})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
	wantError(t, err, "interrupted", "is kept in "+f.TakeDir("bare")+".partial")
	wantPartial(t, f, err, oneSweep)
}

func TestRunWithADeviceThatVanishes(t *testing.T) {
	f := newFolder(t)
	bench := mono()
	bench.failAfter = 9600
	_, err := Run(t.Context(), bench, f, plan(t, "bare"), Options{})
	if !errors.Is(err, errUnplugged) {
		t.Errorf("error %v, want %v", err, errUnplugged)
	}
	wantError(t, err, "after 0.2 s", "less than one sweep, record again")
	wantPartial(t, f, err, 9600)
}

func TestRunKeepsEarlierPartialRecordings(t *testing.T) {
	f := newFolder(t)
	for _, frames := range []int{4800, 9600, 14400} {
		bench := mono()
		bench.failAfter = frames
		_, err := Run(t.Context(), bench, f, plan(t, "bare"), Options{})
		wantError(t, err, f.TakeDir("bare")+".partial")
	}
	for suffix, want := range map[string]int{"": 4800, "-2": 9600, "-3": 14400} {
		r, err := capture.ReadRecording(filepath.Join(f.TakeDir("bare")+".partial"+suffix, capture.AudioFile))
		if err != nil || r.Frames() != want {
			t.Errorf("bare.partial%s: %d frames, %v, want %d", suffix, r.Frames(), err, want)
		}
	}
}

// Two programs may record takes of one name: the first keeps it, the second
// keeps its recording.
func TestRunWhereTheNameIsTakenMeanwhile(t *testing.T) {
	f := newFolder(t)
	bench := mono()
	bench.onBlock = func(frames int) {
		if frames == 4800 {
			recorded(t, f, "bare", 1)
		}
	}
	_, err := Run(t.Context(), bench, f, plan(t, "bare"), Options{})
	if !errors.Is(err, capture.ErrTakeExists) {
		t.Errorf("error %v, want ErrTakeExists", err)
	}
	first, err := f.ReadTake("bare")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Audio(first); err != nil {
		t.Error(err)
	}
	r, err := capture.ReadRecording(filepath.Join(f.TakeDir("bare")+".partial", capture.AudioFile))
	if err != nil || int64(r.Frames()) != first.Audio.Frames {
		t.Errorf("the second recording has %d frames, %v", r.Frames(), err)
	}
}

func TestRunWithADeviceThatNeverDelivers(t *testing.T) {
	f := newFolder(t)
	before := tree(t, f.Dir)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := Run(ctx, mono(), f, plan(t, "bare"), Options{})
	wantError(t, err, "nothing was recorded")
	if diff := cmp.Diff(before, tree(t, f.Dir)); diff != "" {
		t.Errorf("the folder changed:\n%s", diff)
	}
}

// fullFile is a file on a disk with room for some bytes more.
type fullFile struct {
	*os.File
	room int
}

func (f *fullFile) Write(p []byte) (int, error) {
	n := min(len(p), f.room)
	f.room -= n
	n, err := f.File.Write(p[:n])
	if err == nil && n < len(p) {
		err = &os.PathError{Op: "write", Path: f.Name(), Err: syscall.ENOSPC}
	}
	return n, err
}

func TestRunOnAFullDisk(t *testing.T) {
	f := newFolder(t)
	const room = 4*oneSweep + 1000
	_, err := run(t.Context(), mono(), f, plan(t, "bare"), Options{}, func(path string) (recordingFile, error) {
		file, err := os.Create(path)
		return &fullFile{file, room}, err
	})
	if !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("error %v, want %v", err, syscall.ENOSPC)
	}
	wantError(t, err, "cannot write the recording: no space left on device: free space on the disk that holds "+f.Dir)
	wantPartial(t, f, err, oneSweep)
}

// A recording that is killed cannot tidy up: the child process records at the
// speed of a sound card until it dies.
func TestRunKilled(t *testing.T) {
	f := newFolder(t)
	before := tree(t, f.Dir)
	cmd := exec.CommandContext(t.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), "COILSWEEP_TEST_RECORD_IN="+f.Dir)
	var output strings.Builder
	cmd.Stdout, cmd.Stderr = &output, &output
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(f.TakeDir("bare")+".partial", capture.AudioFile)
	const frames = 30000
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if info, err := os.Stat(path); err == nil && info.Size() > 4*frames {
			break
		}
		if time.Now().After(deadline) {
			cmd.Process.Kill()
			t.Fatalf("no recording after 20 s: %s", output.String())
		}
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	// Windows has no signals: there Kill fails where the process has ended by itself.
	if err := cmd.Wait(); runtime.GOOS != "windows" &&
		cmd.ProcessState.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
		t.Fatalf("the recording ended by itself: %v: %s", err, output.String())
	}

	after := tree(t, f.Dir)
	for path := range after {
		if strings.HasPrefix(path, "takes/bare.partial/") {
			delete(after, path)
		}
	}
	if diff := cmp.Diff(before, after); diff != "" {
		t.Errorf("the coil folder changed:\n%s", diff)
	}
	wantReadablePartial(t, f, frames-4800-480)
	// What it was to become is known, from its first moment on.
	want := plan(t, "bare")
	got, err := capture.ReadPlan(f.TakeDir("bare") + ".partial")
	if err != nil || got == nil {
		t.Fatalf("no plan: %v", err)
	}
	if got.Name != "bare" || !reflect.DeepEqual(got.Load, want.Load) || got.Drive != want.Drive ||
		got.Reference != want.Reference || got.Stimulus.SHA256 != want.Stimulus.SHA256 ||
		got.Bench.InputDevice != "loopback" {
		t.Errorf("the plan is %+v", got)
	}
	// And the take can be recorded again.
	if _, err := Run(t.Context(), mono(), f, plan(t, "bare"), Options{}); err != nil {
		t.Error(err)
	}
}

// recordSlowly is the child process of TestRunKilled.
func recordSlowly(dir string) {
	f, err := capture.OpenFolder(dir)
	if err != nil {
		fmt.Println(err)
		return
	}
	bench := mono()
	bench.onBlock = func(int) { time.Sleep(10 * time.Millisecond) }
	_, err = Run(context.Background(), bench, f, plan(new(testing.T), "bare"), Options{})
	fmt.Println(err)
}
