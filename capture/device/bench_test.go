package device

import (
	"context"
	"errors"
	"math"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
)

var errUnplugged = errors.New("the card was unplugged")

// card is a sound card in the time of the test: two channels at 48 kHz with a
// sine of 1 kHz, 6 dB and 12 dB below full scale, in blocks as long as a sound
// server's. What is played is not heard.
type card struct {
	block time.Duration
	sine  func(frame int) float32 // channel 1, in place of the sine

	mu       sync.Mutex
	opens    int
	open     int   // opened and not released
	most     int   // that were open at once
	records  int   // calls of Record
	at       int   // calls of Record that are under way
	frames   int   // delivered by all of them
	trouble  error // of Open and Record from now on
	slowOpen time.Duration
}

func newCard() *card { return &card{block: 150 * time.Millisecond} }

const cardRate = 48000

// source is the card under a key.
func (c *card) source(key string) *Source {
	return &Source{Key: key, Open: func() (record.Recorder, func() error, error) {
		time.Sleep(c.slowOpen)
		c.mu.Lock()
		defer c.mu.Unlock()
		c.opens++
		if c.trouble != nil {
			return nil, nil, c.trouble
		}
		c.open++
		c.most = max(c.most, c.open)
		return &session{card: c, key: key}, func() error {
			c.mu.Lock()
			defer c.mu.Unlock()
			c.open--
			return nil
		}, nil
	}}
}

// fail breaks the card, or mends it by nil.
func (c *card) fail(err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.trouble = err
}

// seen is a field of c, read under its lock.
func (c *card) seen(field *int) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return *field
}

// session is a card that is open.
type session struct {
	*card
	key string
}

func (s *session) Format() record.Format { return record.Format{RateHz: cardRate, Channels: 2} }
func (s *session) Describe() capture.Bench {
	return capture.Bench{Source: "soundcard", InputDevice: s.key}
}

func (s *session) Record(ctx context.Context, _ []float32, frames int, sink func([]float32) error) (record.Session,
	error) {
	s.mu.Lock()
	s.records++
	s.at++
	overlap := s.at > 1
	s.mu.Unlock()
	defer func() {
		s.mu.Lock()
		s.at--
		s.mu.Unlock()
	}()
	if overlap {
		panic("two recordings at once")
	}
	tick := time.NewTicker(s.block)
	defer tick.Stop()
	for at := 0; at < frames; {
		select {
		case <-ctx.Done():
			return record.Session{}, ctx.Err()
		case <-tick.C:
		}
		s.mu.Lock()
		trouble := s.trouble
		s.mu.Unlock()
		if trouble != nil {
			return record.Session{}, trouble
		}
		var block []float32
		for range int(s.block.Seconds() * cardRate) {
			v := float32(0.5 * math.Sin(2*math.Pi*float64(at)/48))
			if s.sine != nil {
				v = s.sine(at)
			}
			block = append(block, v, v/2)
			at++
		}
		s.mu.Lock()
		s.frames += len(block) / 2
		s.mu.Unlock()
		if err := sink(block); err != nil {
			return record.Session{}, err
		}
	}
	return record.Session{}, nil
}

// bench is a running engine and what it told.
type bench struct {
	*Engine
	t      *testing.T
	cancel context.CancelFunc
	ended  chan struct{}

	mu     sync.Mutex
	states []State
	levels []Levels
	heard  []time.Time // of levels
}

// run starts an engine that listens to source, which may be nil. It has to end
// before the test does.
func run(t *testing.T, source *Source) *bench { return runAnd(t, source, nil) }

// runAnd is run with somebody who hears of silences.
func runAnd(t *testing.T, source *Source, silence func(quality.Silence)) *bench {
	b := &bench{t: t, ended: make(chan struct{})}
	b.Engine = New(Listener{
		State: func(s State) { b.note(func() { b.states = append(b.states, s) }) },
		Meters: func(l Levels) {
			b.note(func() { b.levels, b.heard = append(b.levels, l), append(b.heard, time.Now()) })
		},
		Silence: silence,
	})
	ctx, cancel := context.WithCancel(t.Context())
	b.cancel = cancel
	b.Listen(source)
	go func() {
		defer close(b.ended)
		if err := b.Run(ctx); err != nil {
			t.Error(err)
		}
	}()
	return b
}

func (b *bench) note(f func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	f()
}

// end ends the engine and wants all it opened to be given back.
func (b *bench) end(cards ...*card) {
	b.t.Helper()
	b.cancel()
	<-b.ended
	for _, c := range cards {
		if n := c.seen(&c.open); n != 0 {
			b.t.Errorf("%d devices are open after the end", n)
		}
		if n := c.seen(&c.most); n > 1 {
			b.t.Errorf("%d devices were open at once", n)
		}
	}
	if s := b.State(); s.Phase != Off || s.Job != nil {
		b.t.Errorf("state after the end: %+v", s)
	}
}

// want waits for a phase, for at most so long.
func (b *bench) want(p Phase, within time.Duration) State {
	b.t.Helper()
	for begin := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		s := b.State()
		if s.Phase == p {
			return s
		}
		if time.Since(begin) > within {
			b.t.Fatalf("the engine is %q (%s) after %v, want %q", s.Phase, s.Err, within, p)
		}
	}
}

// phases are those that were told, each change once.
func (b *bench) phases() []Phase {
	b.mu.Lock()
	defer b.mu.Unlock()
	var list []Phase
	for _, s := range b.states {
		if len(list) == 0 || list[len(list)-1] != s.Phase {
			list = append(list, s.Phase)
		}
	}
	return list
}

// start starts a job; its end comes through the channel.
func (b *bench) start(source *Source, do func(context.Context, record.Recorder) error) chan error {
	b.t.Helper()
	done := make(chan error, 1)
	if err := b.Start(Job{Name: "take bare", Source: source, Do: do,
		Done: func(err error) { done <- err }}); err != nil {
		b.t.Fatal(err)
	}
	return done
}

// recordFor is a job that records so long.
func recordFor(d time.Duration) func(context.Context, record.Recorder) error {
	return func(ctx context.Context, rec record.Recorder) error {
		_, err := rec.Record(ctx, nil, int(d.Seconds()*cardRate), func([]float32) error { return nil })
		return err
	}
}

// inTime runs a test in a time of its own, in which waiting takes none. It
// fails where a goroutine is left.
func inTime(t *testing.T, test func(*testing.T)) { synctest.Test(t, test) }
