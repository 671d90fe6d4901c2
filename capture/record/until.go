package record

import (
	"context"
	"errors"
	"slices"

	"coilsweep/capture"
)

// Enough looks at a recording under way: r is what was recorded until now, t
// the take as if playing had ended with the last repeat that is whole in it. It
// returns the number of repeats at which it wants to look again; 0 ends the
// recording.
type Enough func(ctx context.Context, r capture.Recording, t capture.Take) (again int, err error)

// RunUntil is Run, but ends as soon as enough says so; it is asked first after
// two repeats. The take has as many repeats as were whole then, or all of its
// stimulus where enough was never satisfied. An error of enough ends the
// recording; what was recorded is kept apart.
//
// While enough looks, recorded samples wait: a sound card keeps some seconds.
// See Watch for what has the time that it takes.
func RunUntil(ctx context.Context, rec Recorder, f *capture.Folder, t capture.Take, enough Enough, progress func(Progress), options ...Option) (capture.Take, error) {
	return run(ctx, rec, f, t, progress, createFile, append(slices.Clip(options), func(r *running) {
		r.until = &until{enough: enough, look: firstLook(t.Stimulus, 2)}
	}))
}

// errEnough ends a recording that has enough repeats.
var errEnough = errors.New("enough was recorded")

// until watches a recording for the moment at which it is enough; nil watches
// nothing.
type until struct {
	enough Enough
	look   look
	whole  int // repeats of the take; 0: all
}

// add sees that g has grown. It returns errEnough at the end.
func (u *until) add(ctx context.Context, g *growth) error {
	if u == nil || !u.look.due(g) {
		return nil
	}
	r, t, err := u.look.at(g)
	if r.Samples == nil || err != nil {
		return err
	}
	again, err := u.enough(ctx, r, t)
	if err != nil {
		return err
	}
	if again <= 0 {
		u.whole = t.Stimulus.Repeats
		return errEnough
	}
	u.look.again(g, again)
	return nil
}
