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
//
// Recording begins after a run-in: drivers start with blocks of silence and
// reports of drop-outs, converters with a thump.
type engine struct {
	// Set before the start.
	play                  []float32
	outStride, outChannel int   // channels of the output device; the one that plays, from 0
	inStride              int   // channels of the input device
	pick                  []int // those recorded, from 0
	runIn, longestRunIn   int   // frames without a report that end the run-in; frames that end it anyway
	ring                  *ring

	// Kept by capture or render alone.
	clean, waited int // frames of the run-in: since the last report, in all
	next          int // of play

	// Shared.
	recorded                atomic.Int64 // frames put into the ring
	arrived                 atomic.Int64 // frames the device delivered, run-in and those lost to a full ring included
	rendered                atomic.Int64 // frames the device asked for
	muted                   atomic.Bool  // set once: only silence from now on
	inputXruns, outputXruns xrunLog
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

// capture takes a block from the input device.
func (e *engine) capture(in []float32, s status) {
	frames := len(in) / e.inStride
	recorded := e.recorded.Load()
	if recorded > 0 || e.hasRunIn(frames, s) {
		e.record(in, frames, recorded, s&(inputUnderflow|inputOverflow))
	}
	e.arrived.Add(int64(frames))
}

// record puts a block into the ring.
func (e *engine) record(in []float32, frames int, recorded int64, s status) {
	if s != 0 && recorded > 0 {
		e.inputXruns.note(recorded, s)
	}
	fit := min(frames, e.ring.space())
	e.ring.write(in, fit, e.inStride, e.pick)
	recorded += int64(fit)
	e.recorded.Store(recorded)
	if fit < frames {
		e.inputXruns.note(recorded, ringOverrun)
	}
}

// hasRunIn says whether the run-in is over, and if not counts a block of it.
func (e *engine) hasRunIn(frames int, s status) bool {
	if e.clean >= e.runIn || e.waited >= e.longestRunIn {
		return true
	}
	if s != 0 {
		e.clean = 0
	} else {
		e.clean += frames
	}
	e.waited += frames
	return false
}

// render fills a block for the output device. Playing begins once recording
// has, so that the beginning of the stimulus is never lost.
func (e *engine) render(out []float32, s status) {
	clear(out)
	frames := len(out) / e.outStride
	e.rendered.Add(int64(frames))
	recorded := e.recorded.Load()
	if recorded == 0 || e.muted.Load() {
		return
	}
	if s &= outputUnderflow | outputOverflow; s != 0 && e.next > 0 {
		e.outputXruns.note(recorded, s)
	}
	n := min(frames, len(e.play)-e.next)
	for f, x := range e.play[e.next : e.next+n] {
		out[f*e.outStride+e.outChannel] = x
	}
	e.next += n
}

// xruns lists what was reported so far, in the order of frames.
func (e *engine) xruns() []capture.Xrun {
	list := append(e.inputXruns.list(), e.outputXruns.list()...)
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
