package device

import (
	"slices"
	"sync"
	"time"

	"coilsweep/capture/quality"
	"coilsweep/capture/record"
)

const (
	// metersHz is how often levels are told, and of what length they are.
	metersHz = 30
	// meterBehind is how many slices of sound may wait to be told: devices
	// deliver in bursts. Where more wait, several are told as one.
	meterBehind = 15
)

// slice is the sound of all channels over one period of metersHz.
type slice struct {
	at     time.Time
	levels []quality.Level
}

// with is s and the slice that follows it, together.
func (s slice) with(next slice) slice {
	sum := slice{next.at, slices.Clone(next.levels)}
	for c := range min(len(s.levels), len(sum.levels)) {
		sum.levels[c] = s.levels[c].With(sum.levels[c])
	}
	return sum
}

// slicer cuts sound into slices.
type slicer struct {
	format record.Format
	news   *news
	now    slice
}

// add takes in a recorded block.
func (s *slicer) add(block []float32) {
	for i := 0; i+s.format.Channels <= len(block); i += s.format.Channels {
		if s.now.levels == nil {
			s.now.levels = make([]quality.Level, s.format.Channels)
		}
		for c, v := range block[i : i+s.format.Channels] {
			s.now.levels[c].Add(float64(v))
		}
		if s.now.levels[0].N*metersHz >= s.format.RateHz {
			s.now.at = time.Now()
			s.news.slice(s.now)
			s.now = slice{}
		}
	}
}

// news tells the listener what happened, in a goroutine of its own.
type news struct {
	listener Listener
	made     time.Time
	wake     chan struct{} // takes one

	mu      sync.Mutex
	states  []State
	slices  []slice
	silent  []float64 // to be measured; nil: nothing new
	rateHz  int       // of silent
	atAnEnd bool
}

// tell adds to what is to be told.
func (n *news) tell(add func()) {
	n.mu.Lock()
	add()
	n.mu.Unlock()
	select {
	case n.wake <- struct{}{}:
	default: // it will look anyway
	}
}

func (n *news) state(s State) { n.tell(func() { n.states = append(n.states, s) }) }
func (n *news) end()          { n.tell(func() { n.atAnEnd = true }) }

func (n *news) slice(s slice) {
	n.tell(func() {
		// A listener that hangs makes nothing grow.
		if last := len(n.slices) - 1; last >= 100*meterBehind {
			n.slices[last] = n.slices[last].with(s)
			return
		}
		n.slices = append(n.slices, s)
	})
}

// quiet has x measured as silence; it belongs to news from here on.
func (n *news) quiet(x []float64, rateHz int) {
	n.tell(func() { n.silent, n.rateHz = x, rateHz })
}

// run tells until the end.
func (n *news) run() {
	var measuring sync.WaitGroup
	defer measuring.Wait()
	measured := make(chan quality.Silence, 1)
	busy := false
	const period = time.Second / metersHz
	timer := time.NewTimer(0)
	defer timer.Stop()
	due := time.Now()
	for {
		n.mu.Lock()
		states, silent, rateHz, atAnEnd := n.states, n.silent, n.rateHz, n.atAnEnd
		n.states, n.silent = nil, nil
		var levels *slice
		if now := time.Now(); len(n.slices) > 0 && !now.Before(due) {
			count := (len(n.slices) + meterBehind - 1) / meterBehind
			s := n.slices[0]
			for _, next := range n.slices[1:count] {
				s = s.with(next)
			}
			levels = &s
			n.slices = n.slices[count:]
			// A late start makes no later ones, unless by far.
			if due = due.Add(period); due.Before(now.Add(-period)) {
				due = now
			}
		}
		waiting := len(n.slices) > 0
		n.mu.Unlock()

		if n.listener.State != nil {
			for _, s := range states {
				n.listener.State(s)
			}
		}
		if levels != nil && n.listener.Meters != nil {
			n.listener.Meters(Levels{levels.at.Sub(n.made).Seconds(), record.Meters(levels.levels)})
		}
		// Measuring takes longer than levels may wait. What comes in while
		// one is measured is left out.
		if silent != nil && n.listener.Silence != nil && !busy {
			busy = true
			measuring.Go(func() { measured <- quality.InSilence(silent, rateHz) })
		}
		if atAnEnd {
			return
		}
		if waiting {
			timer.Reset(time.Until(due))
		}
		select {
		case <-n.wake:
		case <-timer.C:
		case s := <-measured:
			busy = false
			n.listener.Silence(s)
		}
	}
}
