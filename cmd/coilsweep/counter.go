package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"
)

// counter shows how far a countable piece of work is: a bar on a terminal,
// elsewhere a line for every tenth.
type counter struct {
	w        io.Writer
	terminal bool
	what     string
	total    int
	shown    int // tenths, or columns of the bar
}

func newCounter(w io.Writer, what string, total int) *counter {
	f, ok := w.(*os.File)
	return &counter{w: w, terminal: ok && term.IsTerminal(int(f.Fd())), what: what, total: total}
}

// show draws the state after done of the total.
func (c *counter) show(done int) {
	steps := 10
	if c.terminal {
		steps = barWidth
	}
	full := steps * done / max(1, c.total)
	if full == c.shown {
		return
	}
	c.shown = full
	if c.terminal {
		fmt.Fprintf(c.w, "\r\x1b[K%s  [%s%s]  %d of %d", c.what, strings.Repeat("=", full), strings.Repeat(" ", barWidth-full), done, c.total)
		return
	}
	fmt.Fprintf(c.w, "coilsweep: %s: %d of %d\n", c.what, done, c.total)
}

// end leaves the line of the bar.
func (c *counter) end() {
	if c.terminal {
		fmt.Fprint(c.w, "\r\x1b[K")
	}
}
