package device

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
	"coilsweep/excite"
)

func TestEngineRunsOneJobAtATime(t *testing.T) {
	inTime(t, func(t *testing.T) {
		c := newCard()
		source := c.source("card")
		b := run(t, source)
		if s := b.want(Listening, time.Second); s.Device.InputDevice != "card" || s.Job != nil {
			t.Errorf("listening: %+v", s)
		}
		time.Sleep(1234 * time.Millisecond)
		asked := time.Now()
		var began, first time.Duration
		done := b.start(nil, func(ctx context.Context, rec record.Recorder) error {
			began = time.Since(asked)
			_, err := rec.Record(ctx, nil, cardRate, func([]float32) error {
				if first == 0 {
					first = time.Since(asked)
				}
				return nil
			})
			return err
		})
		s := b.want(Working, 0)
		var busy *BusyError
		if err := b.Start(Job{Name: "another"}); !errors.As(err, &busy) || busy.Running.Name != "take bare" ||
			!strings.Contains(err.Error(), "take bare") {
			t.Errorf("a second job: %v", err)
		}
		if s.Job == nil || s.Job.Name != "take bare" || s.Since != asked {
			t.Errorf("working: %+v", s)
		}
		if err := <-done; err != nil {
			t.Error(err)
		}
		// A block of the card itself takes 150 ms.
		if began > 0 || first > 150*time.Millisecond {
			t.Errorf("the job began after %v, its sound after %v", began, first)
		}
		b.want(Listening, 0)
		time.Sleep(time.Second)
		if done := b.start(c.source("card"), recordFor(time.Second)); <-done != nil {
			t.Error("a second job failed")
		}
		if n := c.seen(&c.opens); n != 1 {
			t.Errorf("the device was opened %d times", n)
		}
		b.end(c)
		want := []Phase{Opening, Listening, Working, Listening, Working, Listening, Off}
		if got := b.phases(); !slices.Equal(got, want) {
			t.Errorf("phases %v, want %v", got, want)
		}
		if err := b.Start(Job{Name: "too late"}); err != ErrEnded {
			t.Errorf("a job after the end: %v", err)
		}
	})
}

func TestEngineStopsAJob(t *testing.T) {
	inTime(t, func(t *testing.T) {
		c := newCard()
		b := run(t, c.source("card"))
		b.want(Listening, time.Second)
		if b.Stop() {
			t.Error("stopped a job that is not")
		}
		done := b.start(nil, recordFor(time.Minute))
		time.Sleep(time.Second)
		if !b.Stop() || !b.State().Stopping {
			t.Errorf("stopping: %+v", b.State())
		}
		if err := <-done; err != context.Canceled {
			t.Errorf("the job ended with %v", err)
		}
		b.want(Listening, 0)
		// A job that waits for its device ends without having begun, and what
		// was to be opened is given back.
		other := newCard()
		other.slowOpen = 10 * time.Second
		done = b.start(other.source("other"), func(context.Context, record.Recorder) error {
			t.Error("the job began")
			return nil
		})
		time.Sleep(time.Second)
		if s := b.State(); s.Phase != Opening || s.Job == nil || s.Stopping {
			t.Errorf("opening: %+v", s)
		}
		b.Stop()
		if err := <-done; err != context.Canceled {
			t.Errorf("the job ended with %v", err)
		}
		b.want(Listening, time.Second)
		time.Sleep(10 * time.Second)
		// So is a device that is on its way when there is nothing to listen to
		// any more.
		b.Listen(other.source("third"))
		b.want(Opening, time.Second)
		b.Listen(nil)
		b.want(Off, time.Second)
		time.Sleep(10 * time.Second)
		if n := other.seen(&other.open); n != 0 {
			t.Errorf("%d devices are held, and nothing is listened to", n)
		}
		b.end(c, other)
	})
}

func TestEngineOutlivesPanics(t *testing.T) {
	inTime(t, func(t *testing.T) {
		c := newCard()
		b := run(t, c.source("card"))
		b.want(Listening, time.Second)
		mute := func(rec record.Recorder) *Source {
			return &Source{Key: "faulty", Open: func() (record.Recorder, func() error, error) {
				if rec == nil {
					panic("in Open")
				}
				return rec, nil, nil
			}}
		}
		for _, test := range []struct {
			source *Source
			do     func(context.Context, record.Recorder) error
			says   string
		}{
			{nil, func(context.Context, record.Recorder) error { panic("in the job") },
				"take bare broke off by a fault of the program: in the job"},
			{nil, func(ctx context.Context, rec record.Recorder) error {
				_, err := rec.Record(ctx, nil, cardRate, func([]float32) error { panic("in the sink") })
				return err
			}, "in the sink"},
			{mute(nil), recordFor(time.Second), "in Open"},
			{mute(panicking{}), recordFor(time.Second), "in Record"},
		} {
			err := <-b.start(test.source, test.do)
			if err == nil || !strings.Contains(err.Error(), test.says) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%v, want %q", err, test.says)
			}
			b.want(Listening, time.Second)
		}
		b.end(c)
	})
}

type panicking struct{}

func (panicking) Format() record.Format   { return record.Format{RateHz: cardRate, Channels: 1} }
func (panicking) Describe() capture.Bench { return capture.Bench{} }
func (panicking) Record(context.Context, []float32, int, func([]float32) error) (record.Session, error) {
	panic("in Record")
}

func TestEngineFindsALostDeviceAgain(t *testing.T) {
	inTime(t, func(t *testing.T) {
		c := newCard()
		b := run(t, c.source("card"))
		b.want(Listening, time.Second)
		c.fail(errUnplugged)
		s := b.want(Lost, 200*time.Millisecond)
		if s.Err != errUnplugged.Error() || s.Device.InputDevice != "" || c.seen(&c.open) != 0 {
			t.Errorf("lost: %+v", s)
		}
		time.Sleep(10*time.Second + time.Millisecond)
		if n := c.seen(&c.opens); n != 1+5 {
			t.Errorf("opened %d times in ten seconds, want once in two", n-1)
		}
		if got := b.phases(); !slices.Equal(got, []Phase{Opening, Listening, Lost}) {
			t.Errorf("phases %v", got)
		}
		c.fail(nil)
		if s := b.want(Listening, 2200*time.Millisecond); s.Err != "" || s.Device.InputDevice != "card" {
			t.Errorf("back: %+v", s)
		}

		// Lost in a job.
		done := b.start(nil, recordFor(time.Minute))
		time.Sleep(time.Second)
		c.fail(errUnplugged)
		if err := <-done; !errors.Is(err, errUnplugged) {
			t.Errorf("the job ended with %v", err)
		}
		b.want(Lost, 0)
		// One that is started now tries the device at once, and fails, or does
		// its work where it is back.
		if err := <-b.start(nil, recordFor(time.Second)); err != errUnplugged {
			t.Errorf("a job without a device: %v", err)
		}
		b.want(Lost, 0)
		c.fail(nil)
		begin := time.Now()
		if err := <-b.start(nil, recordFor(time.Second)); err != nil || time.Since(begin) > 1100*time.Millisecond {
			t.Errorf("a job with the device back: %v after %v", err, time.Since(begin))
		}
		b.want(Listening, 0)

		// A job that hides the device's failure does not hide it from us.
		if err := <-b.start(nil, func(ctx context.Context, rec record.Recorder) error {
			c.fail(errUnplugged)
			recordFor(time.Second)(ctx, rec)
			return nil
		}); !errors.Is(err, errUnplugged) {
			t.Errorf("a hidden failure: %v", err)
		}
		b.want(Lost, 0)
		b.end(c)
	})
}

func TestEngineChangesWhatItListensTo(t *testing.T) {
	inTime(t, func(t *testing.T) {
		first, second := newCard(), newCard()
		b := run(t, nil)
		time.Sleep(time.Minute)
		b.want(Off, 0)
		if err := <-b.start(nil, recordFor(time.Second)); err == nil ||
			!strings.Contains(err.Error(), "no sound device") {
			t.Errorf("a job without a source: %v", err)
		}
		b.Listen(first.source("first"))
		b.want(Listening, time.Second)
		done := b.start(nil, recordFor(3*time.Second))
		time.Sleep(time.Second)
		b.Listen(second.source("second"))
		if s := b.State(); s.Phase != Working || s.Device.InputDevice != "first" || second.seen(&second.opens) != 0 {
			t.Errorf("changed at once: %+v", s)
		}
		if err := <-done; err != nil {
			t.Error(err)
		}
		if s := b.want(Listening, time.Second); s.Device.InputDevice != "second" || first.seen(&first.open) != 0 {
			t.Errorf("after the job: %+v", s)
		}
		// A job elsewhere, and back.
		if err := <-b.start(first.source("first"), func(ctx context.Context, rec record.Recorder) error {
			if s := b.State(); s.Phase != Working || s.Device.InputDevice != "first" || second.seen(&second.open) != 0 {
				t.Errorf("a job elsewhere: %+v", s)
			}
			return recordFor(time.Second)(ctx, rec)
		}); err != nil {
			t.Error(err)
		}
		if s := b.want(Listening, time.Second); s.Device.InputDevice != "second" {
			t.Errorf("after a job elsewhere: %+v", s)
		}
		// The same again is no change.
		b.Listen(second.source("second"))
		time.Sleep(time.Second)
		if n := second.seen(&second.records); n != 2 {
			t.Errorf("%d recordings of the second", n)
		}
		b.Listen(nil)
		b.want(Off, time.Second)
		if second.seen(&second.open) != 0 {
			t.Error("the device is open with nothing to listen to")
		}
		b.end(first, second)
	})
}

// The engine's end is a stop for the job: what was recorded is kept, and all
// is over when Run returns.
func TestRunEndsInMidTake(t *testing.T) {
	dir := t.TempDir()
	if err := capture.CreateFolder(dir, capture.Coil{Name: "invented"}); err != nil {
		t.Fatal(err)
	}
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	request := excite.DefaultRequest()
	request.SweepS, request.Repeats = 1, 4
	stimulus, err := excite.Design(request)
	if err != nil {
		t.Fatal(err)
	}
	plan := capture.Take{Name: "bare", Drive: capture.Drive{Kind: "current"},
		Reference: capture.Reference{Kind: "none"},
		Stimulus:  stimulus}
	inTime(t, func(t *testing.T) {
		c := newCard()
		b := run(t, c.source("card"))
		b.want(Listening, time.Second)
		done := b.start(nil, func(ctx context.Context, rec record.Recorder) error {
			_, err := record.Run(ctx, rec, folder, plan, record.Options{})
			return err
		})
		time.Sleep(2 * time.Second)
		b.end(c)
		var partial *record.PartialError
		select {
		case err := <-done:
			if !errors.As(err, &partial) || !errors.Is(err, context.Canceled) || partial.Seconds < 1.8 {
				t.Errorf("the take ended with %v", err)
			}
		default:
			t.Error("the take has not ended with the engine")
		}
	})
	if partials, err := folder.Partials(); err != nil || len(partials) != 1 {
		t.Errorf("kept: %v, %v", partials, err)
	}
}

// A card that delivers five or six times a second is metered as often as one
// that delivers more often, with the levels of a sine by AES17.
func TestEngineMetersAtRate(t *testing.T) {
	inTime(t, func(t *testing.T) {
		for _, block := range []time.Duration{10 * time.Millisecond, 150 * time.Millisecond, 250 * time.Millisecond} {
			c := newCard()
			c.block = block
			b := run(t, c.source("card"))
			b.want(Listening, time.Second)
			time.Sleep(time.Second)
			// The job's sink falls asleep now and then.
			if err := <-b.start(nil, func(ctx context.Context, rec record.Recorder) error {
				_, err := rec.Record(ctx, nil, 5*cardRate, func([]float32) error {
					time.Sleep(block / 2)
					if c.seen(&c.frames)%(2*cardRate) == 0 {
						time.Sleep(900 * time.Millisecond)
					}
					return nil
				})
				return err
			}); err != nil {
				t.Error(err)
			}
			b.end(c)
			begin := b.heard[0]
			if n, s := len(b.heard), b.heard[len(b.heard)-1].Sub(begin).Seconds(); float64(n) < 25*s || s < 5 {
				t.Errorf("blocks of %v: %d levels in %.2f s", block, n, s)
			}
			for i, l := range b.levels {
				if i > 0 {
					gap := b.heard[i].Sub(b.heard[i-1])
					if gap > 2*block+40*time.Millisecond {
						t.Errorf("blocks of %v: no level for %v", block, gap)
					}
					if l.Seconds < b.levels[i-1].Seconds || l.Seconds > b.heard[i].Sub(begin).Seconds()+1 {
						t.Errorf("a level at %.3f s after one at %.3f s", l.Seconds, b.levels[i-1].Seconds)
					}
				}
				for channel, want := range []float64{-6.0206, -12.0412} {
					if m := l.Channels[channel]; math.Abs(m.PeakDBFS-want) > 0.001 || math.Abs(m.RMSDBFS-want) > 0.1 {
						t.Fatalf("level %d of channel %d is %+v, want %.2f", i, channel+1, m, want)
					}
				}
			}
		}
	})
}

// Neither a recording that fails to last nor a device faster than time makes
// the engine spin.
func TestEngineNeverSpins(t *testing.T) {
	inTime(t, func(t *testing.T) {
		for name, c := range map[string]*hasty{
			"nothing":   {blocks: 0},
			"one block": {blocks: 1},
			"too fast":  {blocks: math.MaxInt},
		} {
			b := run(t, &Source{Key: name, Open: func() (record.Recorder, func() error, error) { return c, nil, nil }})
			time.Sleep(10 * time.Second)
			if s := b.State(); name == "nothing" && (s.Phase != Lost || !strings.Contains(s.Err, "no sound")) {
				t.Errorf("%s: %+v", name, s)
			}
			b.end()
			if c.records > 11 || c.delivered > 11*cardRate {
				t.Errorf("%s: %d recordings, %d s of sound in 10 s", name, c.records, c.delivered/cardRate)
			}
		}
	})
}

// hasty delivers its blocks without waiting.
type hasty struct {
	panicking
	blocks             int
	records, delivered int
}

func (h *hasty) Record(ctx context.Context, _ []float32, frames int, sink func([]float32) error) (record.Session,
	error) {
	h.records++
	block := make([]float32, 1200)
	for range min(h.blocks, frames/len(block)) {
		if err := sink(block); err != nil {
			return record.Session{}, err
		}
		h.delivered += len(block)
	}
	return record.Session{}, ctx.Err()
}

// A listener that hangs holds up nothing but itself.
func TestEngineWithASlowListener(t *testing.T) {
	inTime(t, func(t *testing.T) {
		c := newCard()
		var told []Phase
		e := New(Listener{
			State:  func(s State) { told = append(told, s.Phase); time.Sleep(10 * time.Second) },
			Meters: func(Levels) { time.Sleep(time.Second) },
		})
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- e.Run(ctx) }()
		e.Listen(c.source("card"))
		time.Sleep(time.Second)
		begin := time.Now()
		done := make(chan error, 1)
		if err := e.Start(Job{Name: "take", Do: recordFor(time.Second),
			Done: func(err error) { done <- err }}); err != nil {
			t.Fatal(err)
		}
		if err := <-done; err != nil || time.Since(begin) > 1100*time.Millisecond {
			t.Errorf("%v after %v", err, time.Since(begin))
		}
		cancel()
		<-ended
		if want := []Phase{Opening, Listening, Working, Listening, Off}; !slices.Equal(slices.Compact(told), want) {
			t.Errorf("told %v, want %v", told, want)
		}
	})
}

// Hum of 49.97 Hz 40 dB below full scale is found in what an idle input holds,
// once a second, and not while something plays.
func TestEngineTellsOfSilence(t *testing.T) {
	inTime(t, func(t *testing.T) {
		c := newCard()
		dice := uint32(1)
		c.sine = func(frame int) float32 {
			dice = dice*1664525 + 1013904223
			hiss := 1e-4 * (float64(dice)/(1<<32) - 0.5)
			return float32(0.01*math.Sin(2*math.Pi*49.97*float64(frame)/cardRate) + hiss)
		}
		heard := make(chan quality.Silence, 100)
		b := runAnd(t, c.source("card"), func(s quality.Silence) { heard <- s })
		time.Sleep(6 * time.Second)
		var silences []quality.Silence
		for len(heard) > 0 {
			silences = append(silences, <-heard)
		}
		if n := len(silences); n < 4 || n > 5 {
			t.Errorf("%d silences in 6 s", n)
		}
		for _, s := range silences {
			if math.Abs(s.HumDBFS - -40) > 0.05 || math.Abs(s.MainsHz-49.97) > 0.02 || s.NoiseDBFS < s.HumDBFS-0.01 ||
				len(s.Octaves) < 10 {
				t.Errorf("silence %+v", s)
			}
		}
		if err := <-b.start(nil, recordFor(4*time.Second)); err != nil {
			t.Error(err)
		}
		b.end(c)
		if n := len(heard); n > 0 {
			t.Errorf("%d silences were heard in a job", n)
		}
	})
}
