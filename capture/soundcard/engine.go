package soundcard

import (
	"slices"
	"sync/atomic"

	"coilsweep/capture"
)

// engine is the part that runs in the driver's thread: it renders the play
// samples and puts what comes in into a ring. capture and render neither
// allocate, lock, block nor panic; capture is called by one thread, render by
// the same or by one other.
type engine struct {
	play                   []float32
	outStride, outChannel  int   // channels of the output device; the one that plays, from 0
	inStride               int   // channels of the input device
	pick                   []int // those recorded, from 0
	next                   int   // of play: render only
	ring                   *ring
	recorded               atomic.Int64 // frames put into the ring
	arrived                atomic.Int64 // frames the device delivered, those lost to a full ring included
	rendered               atomic.Int64 // frames the device asked for
	muted                  atomic.Bool  // set once: only silence from now on
	inputXruns, otherXruns xrunLog
}

// status is what the driver reports with a block.
type status uint8

const (
	inputUnderflow status = 1 << iota
	inputOverflow
	outputUnderflow
	outputOverflow
	ringOverrun // ours: the reader was too slow
)

var statusKinds = []struct {
	bit  status
	kind string
}{
	{inputUnderflow, "input-underflow"},
	{inputOverflow, "input-overflow"},
	{outputUnderflow, "output-underflow"},
	{outputOverflow, "output-overflow"},
	{ringOverrun, "ring-overrun"},
}

// capture takes a block from the input device. What the driver says before
// the first frame is of no account: nothing of the recording was lost yet.
func (e *engine) capture(in []float32, s status) {
	recorded := e.recorded.Load()
	if s &= inputUnderflow | inputOverflow; s != 0 && recorded > 0 {
		e.inputXruns.note(recorded, s)
	}
	frames := len(in) / e.inStride
	fit := min(frames, e.ring.space())
	e.ring.write(in, fit, e.inStride, e.pick)
	recorded += int64(fit)
	e.recorded.Store(recorded)
	if fit < frames {
		e.inputXruns.note(recorded, ringOverrun)
	}
	e.arrived.Add(int64(frames))
}

// render fills a block for the output device. Playing begins once recording
// has, so that the beginning of the stimulus is never lost.
func (e *engine) render(out []float32, s status) {
	recorded := e.recorded.Load()
	if s &= outputUnderflow | outputOverflow; s != 0 && recorded > 0 {
		e.otherXruns.note(recorded, s)
	}
	clear(out)
	frames := len(out) / e.outStride
	e.rendered.Add(int64(frames))
	if recorded == 0 || e.muted.Load() {
		return
	}
	n := min(frames, len(e.play)-e.next)
	for f, x := range e.play[e.next : e.next+n] {
		out[f*e.outStride+e.outChannel] = x
	}
	e.next += n
}

// xruns lists what was reported so far, in the order of frames.
func (e *engine) xruns() []capture.Xrun {
	list := append(e.inputXruns.list(), e.otherXruns.list()...)
	slices.SortStableFunc(list, func(a, b capture.Xrun) int { return int(a.Frame - b.Frame) })
	return list
}

// xrunLog keeps the first reports of one thread, for another to read.
type xrunLog struct {
	entries [1024]struct {
		frame int64
		what  status
	}
	n atomic.Int32
}

func (l *xrunLog) note(frame int64, what status) {
	n := l.n.Load()
	if int(n) == len(l.entries) {
		return // a thousand drop-outs say enough
	}
	l.entries[n].frame, l.entries[n].what = frame, what
	l.n.Store(n + 1)
}

func (l *xrunLog) list() []capture.Xrun {
	var list []capture.Xrun
	for _, e := range l.entries[:l.n.Load()] {
		for _, k := range statusKinds {
			if e.what&k.bit != 0 {
				list = append(list, capture.Xrun{Frame: e.frame, Kind: k.kind})
			}
		}
	}
	return list
}
