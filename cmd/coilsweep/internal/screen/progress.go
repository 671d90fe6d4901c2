// Package screen is what the program's user has in front: a terminal, its width and
// what it can show, how work goes on there, and the browser.
package screen

import (
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"coilsweep/capture/record"
	"coilsweep/report/notation"
)

// bar is the last line of a terminal, drawn over and over; elsewhere, and where that
// cannot be done, it is not drawn at all.
type bar struct {
	w io.Writer
	// OnTerminal: the line is drawn.
	OnTerminal bool
}

func newBar(w io.Writer) bar {
	f, ok := w.(*os.File)
	return bar{w, ok && obeys(f)}
}

const barWidth = 30

// draw draws the line.
func (b bar) draw(format string, args ...any) {
	if b.OnTerminal {
		fmt.Fprintf(b.w, "\r\x1b[K"+format, args...)
	}
}

// Clear leaves the line.
func (b bar) Clear() { b.draw("") }

// filled is a part of a bar.
func filled(part float64) string {
	full := min(max(int(part*barWidth), 0), barWidth)
	return "[" + strings.Repeat("=", full) + strings.Repeat(" ", barWidth-full) + "]"
}

// Counter shows how far a countable piece of work is: a bar on a terminal,
// elsewhere a line for every tenth.
type Counter struct {
	bar
	what  string
	total int
	shown int // tenths
}

// NewCounter counts to total pieces of what.
func NewCounter(w io.Writer, what string, total int) *Counter {
	return &Counter{bar: newBar(w), what: what, total: total}
}

// Show draws the state after done of the total.
func (c *Counter) Show(done int) {
	c.draw("%s  %s  %d of %d", c.what, filled(float64(done)/float64(max(1, c.total))), done, c.total)
	if tenths := 10 * done / max(1, c.total); !c.OnTerminal && tenths != c.shown {
		c.shown = tenths
		fmt.Fprintf(c.w, "coilsweep: %s: %d of %d\n", c.what, done, c.total)
	}
}

// Recording shows how a recording goes on: a bar on a terminal, elsewhere a
// line for each sweep.
type Recording struct {
	bar
	repeat int     // last shown
	peak   float64 // largest level in this sweep, dBFS
	done   bool    // the recording is long enough, though more may come
}

// NewRecording shows a recording on w.
func NewRecording(w io.Writer) *Recording {
	return &Recording{bar: newBar(w), peak: math.Inf(-1)}
}

// Progress shows the state of the recording.
func (p *Recording) Progress(r record.Progress) {
	p.draw("%s  %s  %s", sweepOf(r), filled(r.Fraction), notation.Level(r.PeakDBFS))
	if p.OnTerminal || p.done {
		return
	}
	if r.Repeat != p.repeat {
		p.endSweep(r)
	}
	p.repeat, p.peak = r.Repeat, max(p.peak, r.PeakDBFS)
	if r.Fraction == 1 {
		p.endSweep(r)
		p.done = true
	}
}

func (p *Recording) endSweep(r record.Progress) {
	if p.repeat > 0 {
		fmt.Fprintf(p.w, "coilsweep: sweep %d of %d, peak %s\n", p.repeat, r.Repeats, notation.Level(p.peak))
	}
	p.repeat, p.peak = 0, math.Inf(-1)
}

// Meters shows levels live, on a terminal only.
func (p *Recording) Meters(channels []record.Meter) {
	line := ""
	for i, ch := range channels {
		name := "coil"
		if i > 0 {
			name = "reference"
		}
		line += fmt.Sprintf("%s: peak %s, rms %s   ", name, notation.Level(ch.PeakDBFS), notation.Level(ch.RMSDBFS))
	}
	p.draw("%s", line)
}

func sweepOf(r record.Progress) string {
	if r.Repeat == 0 {
		return "silence       "
	}
	return fmt.Sprintf("sweep %2d of %2d", r.Repeat, r.Repeats)
}
