package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"golang.org/x/term"

	"coilsweep/capture/record"
	"coilsweep/report/notation"
)

// progress shows how a recording goes on: a bar on a terminal, elsewhere a
// line for each sweep.
type progress struct {
	w        io.Writer
	terminal bool
	repeat   int     // last shown
	peak     float64 // largest level in this sweep, dBFS
	done     bool    // the recording is long enough, though more may come
}

func newProgress(w io.Writer) *progress {
	f, ok := w.(*os.File)
	return &progress{w: w, terminal: ok && term.IsTerminal(int(f.Fd())), peak: math.Inf(-1)}
}

const barWidth = 30

func (p *progress) show(r record.Progress) {
	if p.terminal {
		full := int(r.Fraction * barWidth)
		fmt.Fprintf(p.w, "\r\x1b[K%s  [%s%s]  %s", sweepOf(r), strings.Repeat("=", full), strings.Repeat(" ", barWidth-full), notation.Level(r.PeakDBFS))
		return
	}
	if p.done {
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

func (p *progress) endSweep(r record.Progress) {
	if p.repeat > 0 {
		fmt.Fprintf(p.w, "coilsweep: sweep %d of %d, peak %s\n", p.repeat, r.Repeats, notation.Level(p.peak))
	}
	p.repeat, p.peak = 0, math.Inf(-1)
}

// end leaves the line of the bar.
func (p *progress) end() {
	if p.terminal {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}

func sweepOf(r record.Progress) string {
	if r.Repeat == 0 {
		return "silence       "
	}
	return fmt.Sprintf("sweep %2d of %2d", r.Repeat, r.Repeats)
}
