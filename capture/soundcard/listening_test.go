//go:build cgo && linux

package soundcard

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"coilsweep/capture/device"
	"coilsweep/capture/record"
	"coilsweep/capture/soundcard/pulserig"
)

// listening is an engine that listens to a rig.
type listening struct {
	*device.Engine
	meters atomic.Int64
}

// listen starts an engine; it ends with the test.
func listen(tb testing.TB, rig *pulserig.Rig) *listening {
	rig.Setenv(tb)
	l := &listening{}
	l.Engine = device.New(device.Listener{Meters: func(device.Levels) { l.meters.Add(1) }})
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		l.Run(ctx)
	}()
	tb.Cleanup(func() {
		cancel()
		<-ended
		if library.users != 0 {
			tb.Errorf("PortAudio has %d users left", library.users)
		}
	})
	l.Listen(&device.Source{Key: "rig", Open: func() (record.Recorder, func() error, error) {
		card, err := Open(Options{Input: pulserig.Input, Output: pulserig.Output, CoilChannel: 2, ReferenceChannel: 1,
			KeepRunning: true})
		if err != nil {
			return nil, nil, err
		}
		return card, card.Close, nil
	}})
	l.await(tb, device.Listening)
	return l
}

func (l *listening) await(tb testing.TB, p device.Phase) {
	tb.Helper()
	for begin := time.Now(); l.State().Phase != p; time.Sleep(time.Millisecond) {
		if time.Since(begin) > 15*time.Second {
			tb.Fatalf("the engine is %+v, want it %s", l.State(), p)
		}
	}
}

// job runs a job to its end.
func (l *listening) job(tb testing.TB, do func(context.Context, record.Recorder) error) error {
	tb.Helper()
	done := make(chan error, 1)
	if err := l.Start(device.Job{Name: "test", Do: do, Done: func(err error) { done <- err }}); err != nil {
		tb.Fatal(err)
	}
	return <-done
}

// The sound server dies under a job and while the engine listens, and comes
// back.
func TestListeningOutlivesTheServer(t *testing.T) {
	rig := pulserig.Start(t, coilA1)
	l := listen(t, rig)
	rig.Kill()
	l.await(t, device.Lost)
	rig.Restart(t)
	l.await(t, device.Listening)
	err := l.job(t, func(ctx context.Context, rec record.Recorder) error {
		_, err := rec.Record(ctx, nil, 10*rate, func([]float32) error {
			rig.Kill()
			return nil
		})
		return err
	})
	mustSay(t, err, "stopped delivering")
	l.await(t, device.Lost)
	rig.Restart(t)
	l.await(t, device.Listening)
	// It plays and records as before. On a busy machine the sound may tear.
	play := burst(0.1, 0.2)
	for try := 1; ; try++ {
		var got []float64
		err := l.job(t, func(ctx context.Context, rec record.Recorder) error {
			_, err := rec.Record(ctx, play, 3*rate/2, func(block []float32) error {
				for i := 0; i < len(block); i += 2 {
					got = append(got, float64(block[i]))
				}
				return nil
			})
			return err
		})
		if err == nil {
			err = holds(got, play)
		}
		if err == nil {
			return
		}
		t.Logf("try %d: %v", try, err)
		if try == 4 {
			t.Fatal("no try succeeded")
		}
	}
}

// BenchmarkStart measures the time from the start of a job, while the engine
// listens, to its first block, and how often levels are told.
func BenchmarkStart(b *testing.B) {
	l := listen(b, pulserig.Start(b, coilA1))
	var slowest time.Duration
	var listened time.Duration
	levels := int64(0)
	for b.Loop() {
		begin := time.Now()
		err := l.job(b, func(ctx context.Context, rec record.Recorder) error {
			_, err := rec.Record(ctx, nil, rate, func([]float32) error {
				slowest = max(slowest, time.Since(begin))
				return errFirst
			})
			return err
		})
		if err != errFirst {
			b.Fatal(err)
		}
		b.StopTimer()
		l.await(b, device.Listening)
		begin, before := time.Now(), l.meters.Load()
		// Not in step with the driver's blocks.
		time.Sleep(time.Second + time.Duration(b.Elapsed())%(150*time.Millisecond))
		listened += time.Since(begin)
		levels += l.meters.Load() - before
		b.StartTimer()
	}
	b.ReportMetric(float64(slowest.Milliseconds()), "ms/slowest")
	b.ReportMetric(float64(levels)/listened.Seconds(), "levels/s")
}

var errFirst = errors.New("the first block is there")
