package device

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/fault"
	"coilsweep/capture/record"
)

// Run works until ctx ends. Then it ends the job that runs, waits for it and
// for every Done, and gives the device back. It is called once, and returns
// nil.
func (e *Engine) Run(ctx context.Context) error {
	var told sync.WaitGroup
	told.Go(e.news.run)
	for ctx.Err() == nil {
		idle, cancel := context.WithCancel(ctx)
		e.mu.Lock()
		job, source := e.job, e.source
		e.interrupt = cancel
		e.mu.Unlock()
		switch {
		case job != nil:
			e.work(ctx, job)
		case source != nil:
			e.listen(idle, source)
		default:
			e.giveBack()
			e.abandon()
			e.set(func(s *State) { *s = State{Phase: Off, Job: s.Job, Stopping: s.Stopping} })
			<-idle.Done()
		}
		cancel()
	}
	e.mu.Lock()
	e.ended = true
	job := e.job
	e.mu.Unlock()
	if job != nil {
		e.finish(job, nil, ctx.Err())
	}
	e.giveBack()
	e.abandon()
	e.waitFor.Wait()
	e.set(func(s *State) { *s = State{Phase: Off} })
	e.news.end()
	told.Wait()
	return nil
}

// work runs a job to its end.
func (e *Engine) work(ctx context.Context, job *Job) {
	e.mu.Lock()
	source, jobCtx, stop := job.Source, e.jobCtx, e.stopJob
	if source == nil {
		source = e.source
	}
	e.mu.Unlock()
	defer context.AfterFunc(ctx, stop)()
	if source == nil {
		e.finish(job, nil, errors.New("there is no sound device to work with: choose one"))
		return
	}
	d, err := e.open(jobCtx, source)
	if err == nil {
		e.set(func(s *State) { s.Phase, s.Err, s.Device = Working, "", d.recorder.Describe() })
		rec := &metered{Recorder: d.recorder, news: e.news, backlog: jobBacklog}
		err = do(jobCtx, job, rec)
		if rec.failure != nil {
			e.giveBack()
			e.finish(job, source, withFailure(err, rec.failure))
			return
		}
		source = nil // nothing is wrong with it
	} else if jobCtx.Err() != nil {
		source = nil
	}
	e.finish(job, source, err)
}

// withFailure is the error of a job whose device failed.
func withFailure(err, failure error) error {
	switch {
	case err == nil:
		return failure
	case errors.Is(err, failure):
		return err
	}
	return fmt.Errorf("%w (%w)", err, failure)
}

// do calls the job; its panic is an error.
func do(ctx context.Context, job *Job, rec record.Recorder) (err error) {
	defer fault.Catch(&err, job.Name+" broke off")
	if err := ctx.Err(); err != nil {
		return err
	}
	return job.Do(ctx, rec)
}

// finish ends a job with err. failed is the source whose device failed, if
// one did.
func (e *Engine) finish(job *Job, failed *Source, err error) {
	e.mu.Lock()
	e.stopJob() // its context is of no more use
	e.job = nil
	e.change(func(s *State) {
		s.Job, s.Stopping = nil, false
		switch {
		case failed != nil && e.source != nil && failed.Key == e.source.Key:
			s.Phase, s.Err, s.Device = Lost, err.Error(), capture.Bench{}
		case e.device != nil && e.source != nil && e.device.key == e.source.Key:
			s.Phase = Listening
		case s.Phase != Lost:
			s.Phase, s.Device = Opening, capture.Bench{}
		}
	})
	e.mu.Unlock()
	if job.Done != nil {
		e.waitFor.Go(func() { job.Done(err) })
	}
}

// listen listens to a source until ctx ends, or until the device is lost and
// it is time to try again.
func (e *Engine) listen(ctx context.Context, source *Source) {
	begin := time.Now()
	d, err := e.open(ctx, source)
	if err == nil {
		err = e.hear(ctx, d)
	}
	if ctx.Err() != nil {
		return
	}
	wait := retryEvery
	if err != nil {
		e.giveBack()
		e.set(func(s *State) { s.Phase, s.Err, s.Device = Lost, err.Error(), capture.Bench{} })
	} else {
		// A recording that ends is begun again, but not in a whirl.
		wait = time.Second - time.Since(begin)
	}
	pause(ctx, wait)
}

func pause(ctx context.Context, d time.Duration) {
	ctx, cancel := context.WithTimeout(ctx, d)
	defer cancel()
	<-ctx.Done()
}

const (
	// hearS is how long one recording of listening is.
	hearS = 600
	// hearAheadS is how far sound may come in ahead of time: a simulated
	// device that is faster is held back.
	hearAheadS = 0.5
	// settleS is how much is not measured as silence: what was played before
	// is still on its way.
	settleS = 1.0
)

// hear listens to a device for ten minutes or until ctx ends.
func (e *Engine) hear(ctx context.Context, d *device) error {
	format := d.recorder.Format()
	rec := &metered{Recorder: d.recorder, news: e.news}
	var quiet []float64
	frames, begin := 0, time.Time{}
	_, err := rec.Record(ctx, nil, hearS*format.RateHz, func(block []float32) error {
		if frames == 0 {
			begin = time.Now()
			e.set(func(s *State) { s.Phase, s.Err, s.Device = Listening, "", d.recorder.Describe() })
		}
		frames += len(block) / format.Channels
		at := float64(frames) / float64(format.RateHz)
		if at > settleS {
			for i := 0; i < len(block); i += format.Channels {
				quiet = append(quiet, float64(block[i]))
			}
		}
		if len(quiet) >= format.RateHz {
			e.news.quiet(quiet[len(quiet)/2:], format.RateHz) // half of it says as much
			quiet = nil
		}
		if ahead := at - time.Since(begin).Seconds(); ahead > hearAheadS {
			pause(ctx, time.Duration(ahead*float64(time.Second)))
		}
		return nil
	})
	if err == nil && frames == 0 {
		err = errors.New("the device delivers no sound")
	}
	return err
}
