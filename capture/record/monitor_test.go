package record

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/capture/fault"
	"coilsweep/capture/internal/effort"
	"coilsweep/excite"
	"coilsweep/fit/response"
)

// longPlan is a take with up to twelve short sweeps.
func longPlan(t testing.TB, name string) capture.Take {
	t.Helper()
	p := plan(t, name)
	r := excite.DefaultRequest()
	r.FromHz, r.ToHz, r.SweepS, r.Repeats = 100, 16000, 0.25, 12
	r.LeadInS, r.GapS, r.TailS = 0.5, 0.1, 0.3
	s, err := excite.Design(r)
	if err != nil {
		t.Fatal(err)
	}
	p.Stimulus = s
	return p
}

func TestRunUntilItIsEnough(t *testing.T) {
	f := newFolder(t)
	p := longPlan(t, "bare")
	var asked []int
	take, err := Run(t.Context(), mono(), f, p, Options{Wait: true, From: 2, See: func(_ context.Context,
		r capture.Recording, t2 capture.Take) (int, error) {
		n := t2.Stimulus.Repeats
		asked = append(asked, n)
		if got := len(r.Samples[0]); got < t2.Stimulus.TotalSamples() {
			t.Errorf("%d samples at %d repeats", got, n)
		}
		if flags := t2.Unfit(); flags != nil {
			t.Errorf("unfit at %d repeats: %v", n, flags)
		}
		if n < 5 {
			return n + 1, nil
		}
		return 0, nil
	}})
	if err != nil {
		t.Fatal(err)
	}
	if len(asked) == 0 || asked[0] != 2 || asked[len(asked)-1] != 5 {
		t.Errorf("asked at %v", asked)
	}
	if s := take.Stimulus; s.Repeats != 5 || s.TailSamples != 0 || s.Validate() != nil {
		t.Errorf("the take has %d repeats, tail %d, %v", s.Repeats, s.TailSamples, s.Validate())
	}
	if unfit := take.Unfit(); unfit != nil || len(take.Quality.DamagedRepeats) > 0 ||
		math.Abs(take.Quality.PeakDBFS - -12) > 0.1 {
		t.Errorf("quality %+v", take.Quality)
	}
	onDisk, err := f.ReadTake("bare")
	if err != nil {
		t.Fatal(err)
	}
	r, err := f.Audio(onDisk)
	if err != nil {
		t.Fatal(err)
	}
	if n, most := r.Frames(), p.Stimulus.RepeatStart(6)+10000; onDisk.Stimulus.Repeats != 5 || n > most {
		t.Errorf("%d repeats in %d frames, want 5 in less than %d", onDisk.Stimulus.Repeats, n, most)
	}
	// The audio says by itself what it is, with what was played of the stimulus.
	if r.Info != onDisk.AudioInfo() || !strings.HasSuffix(r.Info.Comment, onDisk.Stimulus.SHA256) ||
		onDisk.Stimulus.SHA256 == p.Stimulus.SHA256 || r.Info.Name != "bare" {
		t.Errorf("the audio says %+v, the take %+v", r.Info, onDisk.AudioInfo())
	}
}

func TestRunUntilHasABound(t *testing.T) {
	p := longPlan(t, "bare")
	last := 0
	take, err := Run(t.Context(), mono(), newFolder(t), p, Options{Wait: true, See: func(_ context.Context,
		_ capture.Recording, t2 capture.Take) (int, error) {
		last = t2.Stimulus.Repeats
		return 2 * last, nil
	}})
	if err != nil {
		t.Fatal(err)
	}
	if take.Stimulus.SHA256 != p.Stimulus.SHA256 || last != 8 {
		t.Errorf("%d repeats, asked last at %d; want 12 and 8", take.Stimulus.Repeats, last)
	}
}

func TestRunUntilSomethingFails(t *testing.T) {
	f := newFolder(t)
	broken := errors.New("the judge fell asleep")
	_, err := Run(t.Context(), mono(), f, longPlan(t, "bare"), Options{Wait: true, See: func(context.Context,
		capture.Recording, capture.Take) (int, error) {
		return 0, broken
	}})
	var partial *PartialError
	if !errors.Is(err, broken) || !errors.As(err, &partial) || !partial.HasSweep {
		t.Fatalf("%v", err)
	}
	// Silence is never asked about: there is no repeat in it.
	silent := mono()
	silent.gain = 0
	take, err := Run(t.Context(), silent, f, longPlan(t, "silent"), Options{Wait: true, See: func(context.Context,
		capture.Recording, capture.Take) (int, error) {
		t.Error("asked about silence")
		return 0, nil
	}})
	if err != nil || take.Unfit() == nil {
		t.Errorf("silence: %+v, %v", take.Quality, err)
	}
}

// paced is a loopback that waits until its watcher has caught up, as a sound
// card's own time would make it.
func paced(caughtUp func(frames int) bool) *loopback {
	l := mono()
	l.onBlock = func(frames int) {
		for frames%4800 == 0 && !caughtUp(frames) {
			time.Sleep(time.Millisecond)
		}
	}
	return l
}

// The recording is shown sweep by sweep while it goes on, the last one as well, each before
// the gap behind it is in, and what was shown stays as it was.
func TestRunShowsItsSweeps(t *testing.T) {
	f := newFolder(t)
	p := longPlan(t, "bare")
	const repeats = 4
	p.Stimulus, _ = p.Stimulus.Prefix(repeats)
	type sight struct {
		r capture.Recording
		t capture.Take
	}
	var shown atomic.Int64
	var sights []sight
	see := func(_ context.Context, r capture.Recording, t capture.Take) (int, error) {
		sights = append(sights, sight{r, t})
		shown.Store(int64(t.Stimulus.Repeats))
		return t.Stimulus.Repeats + 1, nil
	}
	take, err := Run(t.Context(), paced(func(frames int) bool {
		whole := (frames - p.Stimulus.RepeatStart(0) - 14400) / p.Stimulus.PeriodSamples
		return shown.Load() >= int64(min(whole, repeats))
	}), f, p, Options{See: see})
	if err != nil {
		t.Fatal(err)
	}
	whole, err := f.Audio(take)
	if err != nil {
		t.Fatal(err)
	}
	if len(sights) != repeats {
		t.Fatalf("%d sights, want %d", len(sights), repeats)
	}
	for i, s := range sights {
		if s.t.Stimulus.Repeats != i+1 || s.t.Unfit() != nil || math.Abs(s.t.Quality.PeakDBFS - -12) > 0.1 {
			t.Errorf("sight %d has %d repeats, quality %+v", i, s.t.Stimulus.Repeats, s.t.Quality)
		}
		ended := s.t.Stimulus.RepeatStart(i) + p.Stimulus.SweepSamples
		if n := s.r.Frames(); n < ended || n >= ended+p.Stimulus.PeriodSamples-p.Stimulus.SweepSamples || !slices.Equal(s.r.Samples[0], whole.Samples[0][:n]) {
			t.Errorf("sight %d: %d frames are not those of the take", i, n)
		}
	}
}

// One who is slow misses sweeps; the recording does not wait, and ends him.
func TestRunDoesNotWaitForItsWatcher(t *testing.T) {
	looking := make(chan struct{})
	l := paced(func(frames int) bool {
		select {
		case <-looking:
			return true
		default:
			return frames < 48000
		}
	})
	ended := false
	p := longPlan(t, "bare")
	p.Stimulus, _ = p.Stimulus.Prefix(4)
	_, err := Run(t.Context(), l, newFolder(t), p, Options{See: func(ctx context.Context, _ capture.Recording,
		_ capture.Take) (int, error) {
		close(looking) // twice would panic
		<-ctx.Done()
		ended = true
		return 0, nil
	}})
	if err != nil || !ended {
		t.Errorf("%v; the watcher has ended: %v", err, ended)
	}
}

func TestRunKeepsTheTakeOfAWatcherThatPanics(t *testing.T) {
	for _, wait := range []bool{false, true} {
		f := newFolder(t)
		p := longPlan(t, "bare")
		p.Stimulus, _ = p.Stimulus.Prefix(3)
		func() {
			defer func() {
				if p, ok := recover().(*fault.Error); !ok || p.Panic != "the pen broke" ||
					!strings.Contains(string(p.Trace), "WatcherThatPanics") {
					t.Errorf("the panic %v reached us", p)
				}
				if _, err := f.ReadTake("bare"); err != nil {
					t.Error(err)
				}
			}()
			var shown atomic.Bool
			bench := paced(func(frames int) bool { return wait || shown.Load() || frames < 48000 })
			Run(t.Context(), bench, f, p, Options{Wait: wait,
				See: func(context.Context, capture.Recording, capture.Take) (int,
					error) {
					shown.Store(true)
					panic("the pen broke")
				}})
		}()
	}
}

// Who does not wait and has seen enough gets the repeat that plays then, too.
func TestRunEndsWithTheRepeatThatPlays(t *testing.T) {
	p := longPlan(t, "bare")
	var said atomic.Bool
	bench := paced(func(frames int) bool {
		if said.Load() {
			time.Sleep(20 * time.Millisecond)
		}
		return said.Load() || frames < p.Stimulus.RepeatStart(4)
	})
	take, err := Run(t.Context(), bench, newFolder(t), p, Options{See: func(_ context.Context, _ capture.Recording,
		t capture.Take) (int, error) {
		if t.Stimulus.Repeats < 3 {
			return t.Stimulus.Repeats + 1, nil
		}
		said.Store(true)
		return 0, nil
	}})
	if err != nil {
		t.Fatal(err)
	}
	if n := take.Stimulus.Repeats; n < 4 || n > 5 || len(take.Alignment.StartSample) != n || take.Unfit() != nil {
		t.Errorf("%d repeats, %+v", n, take.Quality)
	}
}

// What is kept of the alignment is what the audio gives, to the last bit.
func TestRunKeepsTheAlignment(t *testing.T) {
	for name, see := range map[string]func(context.Context, capture.Recording, capture.Take) (int, error){
		"unseen": nil,
		"seen": func(_ context.Context, r capture.Recording, t capture.Take) (int, error) {
			return t.Stimulus.Repeats + 1, nil
		},
	} {
		f := newFolder(t)
		p := longPlan(t, name)
		take, err := Run(t.Context(), mono(), f, p, Options{Wait: true, See: see})
		if err != nil {
			t.Fatal(err)
		}
		r, err := f.Audio(take)
		if err != nil {
			t.Fatal(err)
		}
		want, err := align.Align(r.Samples[0], p.Stimulus)
		if err != nil {
			t.Fatal(err)
		}
		got, err := f.ReadTake(name)
		if err != nil || got.Alignment == nil {
			t.Fatalf("%s: %v", name, err)
		}
		if diff := cmp.Diff(want, *got.Alignment, cmpopts.EquateNaNs(), cmpopts.EquateEmpty()); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
}

// Whatever an alignment holds comes back to the last bit; one that was changed so
// that it does not fit the recording is not used.
func TestAlignmentOnDisk(t *testing.T) {
	f := newFolder(t)
	take, err := Run(t.Context(), mono(), f, longPlan(t, "bare"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	write := func(change func(*align.Alignment)) (want, got *align.Alignment) {
		t.Helper()
		a := *take.Alignment
		a.StartSample = slices.Clone(a.StartSample)
		change(&a)
		changed := take
		changed.Alignment = &a
		text, err := capture.EncodeTake(changed)
		if err == nil {
			err = os.WriteFile(filepath.Join(f.TakeDir("bare"), capture.TakeFile), text, 0o666)
		}
		if err != nil {
			t.Fatal(err)
		}
		read, err := f.ReadTake("bare")
		if err != nil {
			t.Fatal(err)
		}
		return &a, read.Alignment
	}
	want, got := write(func(a *align.Alignment) {
		a.StartSample[0], a.StartSample[3] = math.NaN(), a.StartSample[3]+1.0/3
		a.DriftPPM, a.DriftUPPM, a.Polarity, a.Partial, a.Damaged = 1e-7/3, math.Inf(1), -1, true, []int{1, 2}
		a.Jumps = []align.Jump{{Repeat: -1, Sample: 10.1, Samples: -5},
			{Repeat: 1, Sample: 1e5 + 1.0/7, Samples: 2.0 / 3}}
	})
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs(), cmpopts.EquateEmpty()); diff != "" {
		t.Error(diff)
	}
	for name, change := range map[string]func(*align.Alignment){
		"another method":     func(a *align.Alignment) { a.Method = align.Method + 1 },
		"behind the end":     func(a *align.Alignment) { a.StartSample[11] = 1e9 },
		"before the begin":   func(a *align.Alignment) { a.StartSample[0] = -1e4 },
		"too few":            func(a *align.Alignment) { a.StartSample = a.StartSample[:5] },
		"drift of no number": func(a *align.Alignment) { a.DriftPPM = math.NaN() },
		"a jump elsewhere":   func(a *align.Alignment) { a.Jumps = []align.Jump{{Sample: 1e9}} },
	} {
		if _, got := write(change); got != nil {
			t.Errorf("%s: %+v is used", name, got)
		}
	}
}

// A take of four sweeps whose response is shown after each: every sweep is
// looked for and transformed once, the mains once for each look and for the take.
func TestRunWorksOnce(t *testing.T) {
	f := newFolder(t)
	p := plan(t, "bare")
	s, err := excite.Design(excite.DefaultRequest())
	if err != nil {
		t.Fatal(err)
	}
	p.Stimulus = s
	estimate := func(r capture.Recording, take capture.Take) {
		if _, err := response.Estimate(t.Context(), r, take); err != nil {
			t.Error(err)
		}
	}
	searches, sweeps, mains := effort.Searches.Load(), effort.Sweeps.Load(), effort.Mains.Load()
	looks := 0
	take, err := Run(t.Context(), mono(), f, p, Options{Wait: true, See: func(_ context.Context, r capture.Recording,
		t capture.Take) (int, error) {
		looks++
		estimate(r, t)
		return t.Stimulus.Repeats + 1, nil
	}})
	if err != nil {
		t.Fatal(err)
	}
	if take, err = f.ReadTake(take.Name); err != nil {
		t.Fatal(err)
	}
	r, err := f.Audio(take)
	if err != nil {
		t.Fatal(err)
	}
	estimate(r, take)
	searches, sweeps, mains = effort.Searches.Load()-searches, effort.Sweeps.Load()-sweeps, effort.Mains.Load()-mains
	t.Logf("%d looks: %d stretches searched, %d sweeps transformed, %d searches for the mains", looks, searches, sweeps,
		mains)
	if looks != 3 || searches > 5 || sweeps != 4 || mains != 4 {
		t.Error("work was done over")
	}
}
