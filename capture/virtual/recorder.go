package virtual

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/record"
)

// ErrStalled is the error of Record when the device stopped delivering.
var ErrStalled = errors.New("the device stopped delivering samples")

// stallWait is how long a device is waited for in real time.
const stallWait = 2 * time.Second

// blockFrames is how many frames the simulated device delivers at a time.
const blockFrames = 1024

// Recorder plays into the simulated bench and records what comes back. It is
// for one goroutine at a time.
type Recorder struct {
	bench  Bench
	load   capture.Load
	truth  Truth
	rateHz int
	seed   uint64
	runs   int
	wiring string // what is there in place of exciter and coil, if anything
}

var _ record.Recorder = (*Recorder)(nil)

// Recorder is the bench with load connected across the coil, recording at rateHz (8000 …
// 384000). The same bench, load, rate and seed give the same samples bit for
// bit on machines of one architecture; another load has other noise, and so
// has a second Record of the same Recorder. An added part is as far from its
// nominal value as Added says. An error is a *FieldError or says that the
// couplings contradict each other.
func (b Bench) Recorder(load capture.Load, rateHz int, seed uint64) (*Recorder, error) {
	if rateHz < 8000 || rateHz > 384000 {
		return nil, fmt.Errorf("the simulated sound card does not take a rate of %d Hz; choose one from 8000 to 384000, such as 48000", rateHz)
	}
	truth, err := b.Truth(load, seed)
	if err != nil {
		return nil, err
	}
	return &Recorder{bench: b, load: load, truth: truth, rateHz: rateHz, seed: seed}, nil
}

// stream is a sequence of random numbers of its own for name, this load and
// this run.
func (r *Recorder) stream(name string) *rand.Rand {
	var c, res float64
	if r.load.AddedC != nil {
		c = r.load.AddedC.SI
	}
	if r.load.AddedR != nil {
		res = r.load.AddedR.SI
	}
	return rand.New(rand.NewPCG(r.seed, hash(name, c, res, float64(r.runs))))
}

// Truth is what stands behind the recordings.
func (r *Recorder) Truth() Truth { return r.truth }

// Format implements record.Recorder.
func (r *Recorder) Format() record.Format {
	f := record.Format{RateHz: r.rateHz, Channels: 1}
	if r.bench.hasReference() {
		f.Channels = 2
	}
	return f
}

// Describe implements record.Recorder.
func (r *Recorder) Describe() capture.Bench {
	b := capture.Bench{
		Source:       "virtual",
		InputDevice:  "simulated input",
		OutputDevice: "simulated output",
		BufferS:      blockFrames / float64(r.rateHz),
		TwoClocks:    r.bench.Clock.DriftPPM != 0,
		CoilChannel:  1,
		FileSHA256:   r.bench.source.sha256,
		Notes: []string{
			fmt.Sprintf("simulated: %s, %s", r.bench.Name, r.bench.Coil.Name),
			fmt.Sprintf("noise sequence %d", r.seed),
		},
	}
	if path := r.bench.source.path; path != "" {
		b.File = filepath.Base(path)
	}
	if r.wiring != "" {
		b.Notes[0] = fmt.Sprintf("simulated: %s, %s", r.bench.Name, r.wiring)
	}
	if r.bench.Notes != "" {
		b.Notes = append(b.Notes, r.bench.Notes)
	}
	if r.bench.hasReference() {
		b.ReferenceChannel = 2
	}
	return b
}

func (b Bench) hasReference() bool {
	return b.Reference.Kind == "current" || b.Reference.Kind == "loopback"
}

// Record implements record.Recorder. Where the bench stalls the error is
// ErrStalled: after 2 s in real time, else at once.
func (r *Recorder) Record(ctx context.Context, play []float32, frames int, sink func(block []float32) error) (record.Session, error) {
	run := newRun(r, play)
	r.runs++ // the next run draws other noise
	var session record.Session
	stall := math.MaxInt
	if s := r.bench.Faults.StallAfterS; s != nil {
		stall = int(*s * float64(r.rateHz))
	}
	started := time.Now()
	block := make([]float32, 0, blockFrames*len(run.inputs))
	for delivered := 0; delivered < frames; {
		if err := ctx.Err(); err != nil {
			return session, err
		}
		want := min(blockFrames, frames-delivered, stall-delivered)
		if want == 0 {
			if r.bench.Pace.RealTime {
				if err := sleep(ctx, stallWait); err != nil {
					return session, err
				}
			}
			return session, fmt.Errorf("simulated bench: %w after %.2f s; the samples up to there are kept", ErrStalled, float64(delivered)/float64(r.rateHz))
		}
		var xruns []capture.Xrun
		block, xruns = run.record(block[:0], want, int64(delivered))
		session.Xruns = append(session.Xruns, xruns...)
		delivered += want
		if r.bench.Pace.RealTime {
			due := started.Add(time.Duration(float64(delivered) / float64(r.rateHz) * float64(time.Second)))
			if err := sleep(ctx, time.Until(due)); err != nil {
				return session, err
			}
		}
		if err := sink(block); err != nil {
			return session, err
		}
	}
	return session, nil
}

// sleep waits for d or the end of ctx.
func sleep(ctx context.Context, d time.Duration) error {
	timed, cancel := context.WithTimeout(ctx, d)
	defer cancel()
	<-timed.Done()
	return ctx.Err()
}
