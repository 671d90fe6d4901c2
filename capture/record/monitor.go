package record

import (
	"context"
	"errors"
	"math"
	"sync"
	"sync/atomic"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/capture/fault"
	"coilsweep/capture/quality"
)

// growth is a recording in memory, full scale ±1. Samples once in it never
// change, so that a copy may be read beside the original's growing.
type growth [][]float64

func (g growth) add(block []float32) {
	for i, v := range block {
		c := i % len(g)
		g[c] = append(g[c], float64(v))
	}
}

func (g growth) frames() int { return len(g[0]) }

// upTo is g up to a frame, for good.
func (g growth) upTo(end int) growth {
	c := make(growth, len(g))
	for i, x := range g {
		c[i] = x[:end:end]
	}
	return c
}

func (g growth) recording(rateHz int) capture.Recording {
	return capture.Recording{RateHz: rateHz, FullScale: math.Inf(1), Samples: g}
}

// errEnough ends a recording that has enough repeats.
var errEnough = errors.New("enough was recorded")

// lookMarginS is for the way through the buffers of the sound card and back, lookAgainS
// after how long is looked again where that took longer, and clockS instead of the margin
// once the way is known, for two clocks. soundS is recorded behind a sweep before it is
// looked at by who does not have the recording wait: a coil rings out in milliseconds, and
// what the rest of the gap adds to the numbers is far below their U95.
const (
	lookMarginS = 0.1
	lookAgainS  = 0.1
	clockS      = 0.005
	soundS      = 0.05
)

// monitor has Options.See look at a recording under way; nil shows nothing. Of
// what it holds the recording owns grown; what looks owns the rest.
type monitor struct {
	Options
	take   capture.Take // as planned
	grown  growth
	cancel context.CancelFunc
	looks  chan growth    // holds one; the recording alone puts in
	looker sync.WaitGroup // empty when nothing looks any more
	panic  error          // of See
	// recorded is how many frames there are.
	recorded atomic.Int64
	due      atomic.Int64 // frames at which the next look is worth it; none: math.MaxInt64
	stop     atomic.Int64 // repeats at which the recording is to end; 0: goes on

	mu      sync.Mutex // of the aligner
	aligner *align.Aligner

	repeats  int // it is to look at so many
	enough   bool
	assessor quality.Assessor
}

// newMonitor makes ready for the recording of t, and has what does not wait
// begin to look.
func newMonitor(ctx context.Context, t capture.Take, channels int, o Options) (*monitor, error) {
	if o.See == nil {
		return nil, nil
	}
	aligner, err := align.New(t.Stimulus)
	if err != nil {
		return nil, err
	}
	m := &monitor{Options: o, take: t, grown: make(growth, channels), aligner: aligner, looks: make(chan growth, 1)}
	ctx, m.cancel = context.WithCancel(ctx)
	from := max(1, o.From)
	m.next(from, t.Stimulus.RepeatStart(from-1)+m.wanted(), lookMarginS)
	if o.Wait {
		return m, nil
	}
	m.looker.Go(func() {
		m.assessor = quality.NewAssessor(t.Stimulus) // in the silence before the first sweep
		for {
			select {
			case g := <-m.looks:
				if m.look(ctx, g) != nil {
					return
				}
			case <-ctx.Done():
				return
			}
		}
	})
	return m, nil
}

// wanted is how many samples of a repeat are to be there for a look, or the end.
func (m *monitor) wanted() int {
	s := m.take.Stimulus
	if m.Wait || m.enough {
		return s.PeriodSamples
	}
	return min(s.PeriodSamples, s.SweepSamples+int(soundS*float64(s.RateHz)))
}

// next makes the next look one at so many repeats, which are there at a frame, but for
// a margin. The end of the stimulus comes by itself; who does not have the recording wait
// looks at all repeats before it.
func (m *monitor) next(repeats, frame int, marginS float64) {
	m.repeats = repeats
	if last := m.take.Stimulus.Repeats; repeats > last || m.Wait && repeats == last {
		m.due.Store(math.MaxInt64)
		return
	}
	m.due.Store(int64(frame) + int64(marginS*float64(m.take.Stimulus.RateHz)))
}

// add takes in what was recorded. It returns errEnough at the end.
func (m *monitor) add(ctx context.Context, block []float32) error {
	if m == nil {
		return nil
	}
	m.grown.add(block)
	m.recorded.Store(int64(m.grown.frames()))
	switch g := m.grown; {
	case m.stop.Load() > 0:
		return errEnough
	case int64(g.frames()) < m.due.Load():
	case m.Wait:
		return m.look(ctx, g.upTo(g.frames()))
	default:
		// The latest look waits for a watcher that is busy, or not there yet.
		select {
		case <-m.looks:
		default:
		}
		m.looks <- g.upTo(g.frames())
	}
	return nil
}

// look shows g to See, where the repeats are there that are due; else they are
// on their way, and the look is due again a little later. Its error ends
// looking, and a recording that waits for it.
func (m *monitor) look(ctx context.Context, g growth) (err error) {
	if int64(g.frames()) < m.due.Load() {
		return nil // it waited while See looked
	}
	defer func() {
		if m.panic != nil {
			m.due.Store(math.MaxInt64)
		}
	}()
	defer fault.Catch(&m.panic, "the watching of the recording broke off")
	stim := m.take.Stimulus
	n, end, more, at := m.whole(ctx, g)
	if n < m.repeats {
		m.due.Store(int64(g.frames() + more))
		return nil
	}
	if m.enough {
		m.stop.Store(int64(n))
		return errEnough
	}
	t := m.take
	if t.Stimulus, err = stim.Prefix(n); err != nil {
		return err
	}
	r := g.upTo(end).recording(stim.RateHz)
	if t, err = m.assessor.AssessAligned(r, t, at.Prefix(n), nil); err != nil {
		return err
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	again, err := m.See(ctx, r, t)
	switch {
	case err != nil:
		m.due.Store(math.MaxInt64)
		return err
	case again > 0:
		margin := lookMarginS
		if !m.Wait {
			margin = clockS
		}
		m.next(max(again, n+1), end+(max(again, n+1)-n)*stim.PeriodSamples, margin)
		return nil
	case m.Wait:
		m.stop.Store(int64(n))
		return errEnough
	}
	// It ends with the next repeat that becomes whole.
	late := float64(m.recorded.Load()) - float64(end)
	further := max(1, int(math.Ceil(late/float64(stim.PeriodSamples))))
	begin := end - m.wanted() // of the repeat that was looked at: before more of one is wanted
	m.enough = true
	m.next(n+further, begin+(further+1)*stim.PeriodSamples, lookMarginS)
	return nil
}

// whole counts the repeats of which as much is in g as is wanted, and tells where the
// last one of them ends, and how much more is to be recorded before the next look.
func (m *monitor) whole(ctx context.Context, g growth) (n, end, more int, at align.Alignment) {
	m.mu.Lock()
	defer m.mu.Unlock()
	more = int(lookAgainS * float64(m.take.Stimulus.RateHz))
	if ctx.Err() != nil || m.aligner.Extend(g[0]) != nil {
		return 0, 0, more, at
	}
	at, err := m.aligner.Playing()
	if err != nil {
		return 0, 0, more, at // what is wrong the take will tell
	}
	for k, start := range at.StartSample {
		if math.IsNaN(start) {
			break
		}
		e := int(math.Ceil(start)) + m.wanted()
		if e > g.frames() {
			more = min(more, e-g.frames())
			break
		}
		n, end = k+1, e
	}
	return n, end, more, at
}

// assess is quality.Assess for the whole recording r, of which only what came
// since the last look is still to be aligned; t as it was played.
func (m *monitor) assess(r capture.Recording, t capture.Take) (capture.Take, error) {
	if m == nil {
		return quality.Assess(r, t)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := m.aligner.Extend(r.Samples[0]); err != nil {
		return t, err
	}
	if m.stop.Load() > 0 {
		at, err := m.aligner.Playing()
		return quality.AssessAligned(r, t, at.Prefix(t.Stimulus.Repeats), err)
	}
	at, err := m.aligner.Alignment()
	return quality.AssessAligned(r, t, at, err)
}

// end says that the recording has ended.
func (m *monitor) end() {
	if m != nil {
		m.cancel()
	}
}

// close waits for See.
func (m *monitor) close() {
	if m == nil {
		return
	}
	m.cancel()
	m.looker.Wait()
	if m.panic != nil {
		panic(m.panic)
	}
}
