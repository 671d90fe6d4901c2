package record

import (
	"context"

	"coilsweep/capture"
)

type Options struct {
	Progress func(Progress)
	Redo     bool
	See      func(ctx context.Context, r capture.Recording, t capture.Take) (again int, err error)
	Wait     bool
	From     int
}

func Run(ctx context.Context, rec Recorder, f *capture.Folder, t capture.Take, o Options) (capture.Take, error) {
	var options []Option
	if o.Redo {
		options = append(options, Redo())
	}
	if o.See == nil {
		return RunOld(ctx, rec, f, t, o.Progress, options...)
	}
	return RunUntil(ctx, rec, f, t, Enough(o.See), o.Progress, options...)
}
