package record

import (
	"math"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/capture/quality"
	"coilsweep/excite"
)

// growth is a recording under way. Samples once in it never change, so that a
// copy may be read beside the original's growing.
type growth struct {
	take    capture.Take
	format  Format
	samples [][]float64
}

func newGrowth(t capture.Take, f Format) *growth {
	return &growth{take: t, format: f, samples: make([][]float64, f.Channels)}
}

func (g *growth) add(block []float32) {
	for i, v := range block {
		c := i % g.format.Channels
		g.samples[c] = append(g.samples[c], float64(v))
	}
}

func (g *growth) frames() int { return len(g.samples[0]) }

// copied is g as it is now.
func (g *growth) copied() *growth {
	c := *g
	c.samples = nil
	for _, x := range g.samples {
		c.samples = append(c.samples, x[:len(x):len(x)])
	}
	return &c
}

// whole counts the repeats whose period is wholly recorded, and tells where
// the last one ends.
func (g *growth) whole() (n, end int) {
	s := g.take.Stimulus
	a, err := align.Align(g.samples[0], s)
	if err != nil {
		return 0, 0
	}
	for k, start := range a.StartSample {
		if math.IsNaN(start) {
			break
		}
		if e := int(math.Ceil(start)) + s.PeriodSamples; e <= g.frames() {
			n, end = k+1, e
		}
	}
	return n, end
}

// upTo is the recording up to end, and the take as if playing had ended with
// the n-th repeat.
func (g *growth) upTo(n, end int) (capture.Recording, capture.Take, error) {
	r := capture.Recording{RateHz: g.format.RateHz, FullScale: math.Inf(1)}
	for _, x := range g.samples {
		r.Samples = append(r.Samples, x[:end:end])
	}
	t := g.take
	var err error
	if t.Stimulus, err = t.Stimulus.Prefix(n); err != nil {
		return capture.Recording{}, t, err
	}
	t.Quality, err = quality.Assess(r, t)
	return r, t, err
}

// look is a look at a recording under way that is to come.
type look struct {
	repeats int // it wants so many that are whole
	frames  int // they may be there when so many are recorded
	whole   int // repeats that were there at the last look
	end     int // and their end
}

// lookMarginS is for the way through the buffers of the sound card and back.
const lookMarginS = 0.1

// firstLook is at so many repeats, if they come without delay.
func firstLook(s excite.Stimulus, repeats int) look {
	return look{repeats: repeats, frames: s.RepeatStart(repeats) + int(lookMarginS*float64(s.RateHz))}
}

// due tells whether the repeats may be there. They are not all of the take:
// its end comes by itself.
func (l *look) due(g *growth) bool {
	return l.repeats < g.take.Stimulus.Repeats && g.frames() >= l.frames
}

// at looks. There is no recording where the repeats are on their way still:
// the look is due again half a second later.
func (l *look) at(g *growth) (capture.Recording, capture.Take, error) {
	whole, end := g.whole()
	if whole < l.repeats {
		l.frames = g.frames() + g.format.RateHz/2
		return capture.Recording{}, capture.Take{}, nil
	}
	l.whole, l.end = whole, end
	return g.upTo(whole, end)
}

// again makes the next look one at so many repeats, more than at the last.
func (l *look) again(g *growth, repeats int) {
	s := g.take.Stimulus
	l.repeats = max(repeats, l.whole+1)
	l.frames = l.end + (l.repeats-l.whole)*s.PeriodSamples + int(lookMarginS*float64(s.RateHz))
}
