//go:build cgo

package soundcard

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"github.com/gordonklaus/portaudio"

	"coilsweep/capture/record"
)

const (
	ringS     = 8.0                   // what the ring holds while sink is busy, in s
	runInS    = 0.2                   // without a report: end of the run-in
	reportsS  = 0.5                   // with reports: end of the run-in after this and twice the buffer
	pollEvery = 10 * time.Millisecond // the driver's thread wakes nobody: the reader looks
)

// Record plays and records; see record.Recorder. Samples reach sink while the
// recording runs. If the driver stops delivering for 1.8 s, what had arrived is
// handed to sink and an error returned, whether or not the driver can still be
// stopped.
//
// More than frames frames are recorded, by the latency asked for in both
// directions: what is played comes back that much later.
func (c *Card) Record(ctx context.Context, play []float32, frames int, sink func(block []float32) error) (record.Session, error) {
	if c.closed {
		return record.Session{}, errors.New("the sound card was closed already")
	}
	if err := ctx.Err(); err != nil {
		return record.Session{}, err
	}
	pick := c.pick()
	rate := float64(c.options.RateHz)
	e := &engine{
		play:       play,
		outStride:  c.out.channels,
		outChannel: c.options.OutputChannel - 1,
		inStride:   c.in.channels,
		pick:       pick,
		ring:       newRing(int(ringS*rate), len(pick)),
		runIn:      int(runInS * rate),
		// A driver may report until it has filled its buffers.
		longestRunIn: int((reportsS + 2*max(c.in.latency, c.out.latency).Seconds()) * rate),
	}
	frames += int((c.in.latency + c.out.latency).Seconds() * rate)
	mark := markChatter()
	s := c.running()
	var err error
	if s != nil {
		e.runIn = 0 // it has run in long ago
		s.engine.Store(e)
	} else {
		s = &streams{}
		s.engine.Store(e)
		err = enter(ctx, startLimit, func(*atomic.Bool) error { return s.start(c) })
		if err != nil && ctx.Err() == nil {
			err = fmt.Errorf("%v did not start: %w", c, err)
		}
	}
	d := delivery{ring: e.ring, block: make([]float32, 8192*len(pick)), sink: sink}
	if err == nil {
		err = c.follow(ctx, e, &d, frames)
	}
	// Silence first: stopping may take its time, or for ever. Then the error
	// of interest is the one that came before.
	e.muted.Store(true)
	var stopped error
	// A recording that went to its end is long enough for all that was played;
	// of one that did not, what the driver has must not be heard any more.
	silent := err == nil || len(play) == 0 && (err == ctx.Err() || d.failed)
	if c.options.KeepRunning && silent && s.started.Load() {
		s.engine.Store(nil)
		c.kept = s
	} else {
		stopped = enter(context.Background(), stopLimit, func(*atomic.Bool) error { return s.stop() })
	}
	if err != nil {
		if last := d.drain(); last != nil {
			err = errors.Join(err, last)
		}
	}
	switch {
	case err == nil || err == ctx.Err() || d.failed:
	case stopped != nil:
		err = withChatter(fmt.Errorf("%w (and it cannot be stopped: %v)", err, stopped), mark)
	default:
		err = withChatter(err, mark)
	}
	return record.Session{Xruns: e.xruns()}, err
}

// running are the streams that were kept running, if they still do; the others
// are stopped.
func (c *Card) running() *streams {
	s := c.kept
	if s != nil && s.alive() {
		c.kept = nil
		return s
	}
	c.stopKept() // starting anew tells what matters
	return nil
}

// stopKept stops the streams that were kept running.
func (c *Card) stopKept() error {
	s := c.kept
	if s == nil {
		return nil
	}
	c.kept = nil
	return enter(context.Background(), stopLimit, func(*atomic.Bool) error { return s.stop() })
}

// follow hands what arrives to the sink until enough has, and watches that it
// keeps arriving.
func (c *Card) follow(ctx context.Context, e *engine, d *delivery, frames int) error {
	rate := float64(c.options.RateHz)
	tick := time.NewTicker(pollEvery)
	defer tick.Stop()
	begin := time.Now()
	in, out := progress{at: begin}, progress{at: begin}
	for {
		if err := d.drain(); err != nil {
			return err
		}
		if d.samples >= frames*d.ring.channels {
			return nil
		}
		now := time.Now()
		arrived := e.arrived.Load()
		lastIn, lastOut := in.seen(arrived, now), out.seen(e.rendered.Load(), now)
		if lastIn > stallLimit || lastOut > stallLimit {
			return fmt.Errorf("%v stopped delivering after %.2f s: was it unplugged, or the sound server ended?",
				c, float64(arrived)/rate)
		}
		if elapsed := now.Sub(begin).Seconds(); float64(arrived)/rate > 2*elapsed+2 {
			return fmt.Errorf("%v delivers %.0f s of sound in %.1f s: it is not a real device, or its driver is broken", c, float64(arrived)/rate, elapsed)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
	}
}

// progress remembers when a counter moved last.
type progress struct {
	count int64
	at    time.Time
}

// seen notes the counter and returns how long it has been standing still.
func (p *progress) seen(count int64, now time.Time) time.Duration {
	if count != p.count {
		p.count, p.at = count, now
	}
	return now.Sub(p.at)
}

// delivery carries samples from the ring to the sink.
type delivery struct {
	ring    *ring
	block   []float32
	sink    func([]float32) error
	samples int  // delivered
	failed  bool // the sink did
}

// drain delivers all that is in the ring. After the sink failed it does
// nothing.
func (d *delivery) drain() error {
	for !d.failed {
		n := d.ring.read(d.block)
		if n == 0 {
			break
		}
		if err := d.sink(d.block[:n]); err != nil {
			d.failed = true
			return err
		}
		d.samples += n
	}
	return nil
}

// streams is one run of PortAudio: a stream for both directions, or one for
// each. Those of its methods that open or close run within a turn.
type streams struct {
	engine    atomic.Pointer[engine] // nil: nobody records
	open      []*portaudio.Stream
	started   atomic.Bool
	ended     bool
	heardNano [2]atomic.Int64 // when the input was heard of last, and the output
}

// aliveLimit is how long ago streams that run were heard of at most.
const aliveLimit = mostBufferS * time.Second

func (s *streams) alive() bool {
	for i := range s.heardNano {
		if time.Since(time.Unix(0, s.heardNano[i].Load())) > aliveLimit {
			return false
		}
	}
	return true
}

// capture and render are called by the driver; see engine.
func (s *streams) capture(in []float32, f portaudio.StreamCallbackFlags) {
	s.heardNano[0].Store(time.Now().UnixNano())
	if e := s.engine.Load(); e != nil {
		e.capture(in, statusOf(f))
	}
}

func (s *streams) render(out []float32, f portaudio.StreamCallbackFlags) {
	s.heardNano[1].Store(time.Now().UnixNano())
	if e := s.engine.Load(); e != nil {
		e.render(out, statusOf(f))
	} else {
		clear(out)
	}
}

// start opens and starts. If stop came first, it does nothing.
func (s *streams) start(c *Card) error {
	if s.ended {
		return nil
	}
	in := portaudio.StreamDeviceParameters{Device: c.in.info, Channels: c.in.channels, Latency: c.in.latency}
	out := portaudio.StreamDeviceParameters{Device: c.out.info, Channels: c.out.channels, Latency: c.out.latency}
	type times = portaudio.StreamCallbackTimeInfo
	type flags = portaudio.StreamCallbackFlags
	if !c.twoSides {
		err := s.add(in, out, c, func(in, out []float32, _ times, f flags) {
			s.capture(in, f)
			s.render(out, f)
		})
		if err != nil {
			return err
		}
	} else {
		var none portaudio.StreamDeviceParameters
		err := s.add(in, none, c, func(in []float32, _ times, f flags) { s.capture(in, f) })
		if err != nil {
			return err
		}
		err = s.add(none, out, c, func(out []float32, _ times, f flags) { s.render(out, f) })
		if err != nil {
			return err
		}
	}
	for _, stream := range s.open {
		if err := stream.Start(); err != nil {
			return errors.New(plain(err))
		}
	}
	s.started.Store(true)
	return nil
}

func (s *streams) add(in, out portaudio.StreamDeviceParameters, c *Card, callback any) error {
	// Clipping is left to the converter: the samples are within full scale.
	// Dither would add noise of its own.
	stream, err := portaudio.OpenStream(portaudio.StreamParameters{
		Input: in, Output: out,
		SampleRate:      float64(c.options.RateHz),
		FramesPerBuffer: portaudio.FramesPerBufferUnspecified,
		Flags:           portaudio.DitherOff,
	}, callback)
	if err != nil {
		return errors.New(plain(err))
	}
	s.open = append(s.open, stream)
	return nil
}

// stop ends the streams without playing what is still queued.
func (s *streams) stop() error {
	s.ended = true
	var first error
	for _, stream := range s.open {
		stream.Abort() // Close tells what matters
		first = cmp.Or(first, stream.Close())
	}
	s.open = nil
	return first
}

var statusFlags = [...]struct {
	flag portaudio.StreamCallbackFlags
	bit  status
}{
	{portaudio.InputUnderflow, inputUnderflow}, {portaudio.InputOverflow, inputOverflow},
	{portaudio.OutputUnderflow, outputUnderflow}, {portaudio.OutputOverflow, outputOverflow},
}

// statusOf translates PortAudio's flags.
func statusOf(f portaudio.StreamCallbackFlags) (s status) {
	for _, k := range statusFlags {
		if f&k.flag != 0 {
			s |= k.bit
		}
	}
	return s
}
