package capture

import (
	"context"
	"errors"
	"math"

	"coilsweep/capture/align"
	"coilsweep/excite"
)

// Enough looks at a recording under way: r is what was recorded until now, t
// the take as if playing had ended with the last repeat that is whole in it. It
// returns the number of repeats at which it wants to look again; 0 ends the
// recording.
type Enough func(ctx context.Context, r Recording, t Take) (again int, err error)

// RunUntil is Run, but ends as soon as enough says so; it is asked first after
// two repeats. The take has as many repeats as were whole then, or all of its
// stimulus where enough was never satisfied. An error of enough ends the
// recording; what was recorded is kept apart.
//
// While enough looks, recorded samples wait: a sound card keeps some seconds.
func RunUntil(ctx context.Context, rec Recorder, f *Folder, t Take, enough Enough, progress func(Progress)) (Take, error) {
	u := &until{take: t, enough: enough, format: rec.Format(), ask: 2}
	return run(ctx, rec, f, t, u, progress, createFile)
}

// errEnough ends a recording that has enough repeats.
var errEnough = errors.New("enough was recorded")

// until watches a recording for the moment at which it is enough; nil watches
// nothing.
type until struct {
	take    Take
	enough  Enough
	format  Format
	samples [][]float64
	ask     int // repeats at which to ask
	late    int // frames by which the repeats come later than they are played
	whole   int // repeats of the take; 0: all
}

// add takes in a recorded block. It returns errEnough at the end.
func (u *until) add(ctx context.Context, block []float32) error {
	if u == nil {
		return nil
	}
	if u.samples == nil {
		u.samples = make([][]float64, u.format.Channels)
	}
	for i, v := range block {
		c := i % u.format.Channels
		u.samples[c] = append(u.samples[c], float64(v))
	}
	s := u.take.Stimulus
	if u.ask >= s.Repeats || len(u.samples[0]) < s.RepeatStart(u.ask)+u.late+int(0.1*float64(s.RateHz)) {
		return nil
	}
	whole, end := u.wholeRepeats()
	if whole < u.ask {
		// It is on its way still.
		u.late = max(u.late+s.RateHz/2, len(u.samples[0])-s.RepeatStart(u.ask)+s.RateHz/2)
		return nil
	}
	r := Recording{RateHz: u.format.RateHz, FullScale: math.Inf(1)}
	for _, x := range u.samples {
		r.Samples = append(r.Samples, x[:end:end])
	}
	t := u.take
	var err error
	if t.Stimulus, err = s.Prefix(whole); err != nil {
		return err
	}
	if t.Quality, err = Assess(r, t); err != nil {
		return err
	}
	again, err := u.enough(ctx, r, t)
	if err != nil {
		return err
	}
	if again <= 0 {
		u.whole = whole
		return errEnough
	}
	u.ask = max(again, whole+1)
	return nil
}

// wholeRepeats counts the repeats whose period is wholly recorded, and tells
// where the last one ends.
func (u *until) wholeRepeats() (n, end int) {
	s := u.take.Stimulus
	a, err := align.Align(u.samples[0], s)
	if err != nil {
		return 0, 0
	}
	for k, start := range a.StartSample {
		if math.IsNaN(start) {
			break
		}
		if e := int(math.Ceil(start)) + s.PeriodSamples; e <= len(u.samples[0]) {
			n, end = k+1, e
		}
	}
	return n, end
}

// played is the stimulus as far as it was played.
func (u *until) played(s excite.Stimulus) (excite.Stimulus, error) {
	if u == nil || u.whole == 0 {
		return s, nil
	}
	return s.Prefix(u.whole)
}
