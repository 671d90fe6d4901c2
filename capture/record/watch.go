package record

import (
	"context"
	"sync/atomic"

	"coilsweep/capture"
)

// Watch has see look at the recording under way each time that a further
// repeat is whole, from the first on and without the last, which makes the
// take: r is what was recorded until then, t the take as if playing had ended
// there, with the quality that the audio shows. see has a goroutine of its own
// and all the time that it takes: the recording goes on meanwhile, and repeats
// that it has no time for are not shown by themselves. What it is given it may
// keep: nothing of it will change. ctx ends with the recording; Run returns
// after see has. A panic of see reaches the caller of Run, after the take is
// kept.
func Watch(see func(ctx context.Context, r capture.Recording, t capture.Take)) Option {
	return func(r *running) { r.watch = &watch{see: see} }
}

// watch shows a recording under way; nil shows nothing.
type watch struct {
	see    func(context.Context, capture.Recording, capture.Take)
	ctx    context.Context
	cancel context.CancelFunc
	looks  chan *growth // holds one; add alone puts in
	due    atomic.Int64 // frames at which the next look is worth it
	ended  chan struct{}
	panic  any
}

// start makes ready for the recording of t.
func (w *watch) start(ctx context.Context, t capture.Take) {
	if w == nil {
		return
	}
	w.ctx, w.cancel = context.WithCancel(ctx)
	w.looks, w.ended = make(chan *growth, 1), make(chan struct{})
	l := firstLook(t.Stimulus, 1)
	w.due.Store(int64(l.frames))
	go func() {
		defer close(w.ended)
		defer func() { w.panic = recover() }()
		for {
			select {
			case g := <-w.looks:
				w.show(g, &l)
				w.due.Store(int64(l.frames))
			case <-w.ctx.Done():
				return
			}
		}
	}()
}

func (w *watch) show(g *growth, l *look) {
	if !l.due(g) {
		return
	}
	r, t, err := l.at(g)
	if r.Samples == nil || err != nil {
		return // what is wrong the take will tell
	}
	l.again(g, l.whole+1)
	if w.ctx.Err() == nil {
		w.see(w.ctx, r, t)
	}
}

// add sees that g has grown.
func (w *watch) add(g *growth) {
	if w == nil || int64(g.frames()) < w.due.Load() {
		return
	}
	// The latest look waits for a watcher that is busy, or not there yet.
	select {
	case <-w.looks:
	default:
	}
	w.looks <- g.copied()
}

// stop says that the recording has ended.
func (w *watch) stop() {
	if w != nil {
		w.cancel()
	}
}

// wait waits for see.
func (w *watch) wait() {
	if w == nil {
		return
	}
	w.cancel()
	<-w.ended
	if w.panic != nil {
		panic(w.panic)
	}
}
