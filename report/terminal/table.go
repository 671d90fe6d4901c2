// Package terminal writes results, lists, comparisons and the like as text for a
// terminal: tables that align and keep to its width, and a plot of characters.
package terminal

import (
	"bufio"
	"fmt"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// Options says how text is written.
type Options struct {
	// Width of the terminal in cells; 0 means 80. Prose is wrapped to it, and
	// takes stand below each other where their table would not fit.
	Width int
	// Colour paints by ANSI escape sequences (ECMA-48 SGR). It never carries
	// anything alone: what is coloured also has its sign or word.
	Colour bool
	// Budget adds the uncertainty budgets of a coil.
	Budget bool
}

// Attributes by ECMA-48, SGR.
const (
	sgrBold   = "1"
	sgrFaint  = "2"
	sgrRed    = "31"
	sgrYellow = "33"
)

type table struct {
	out   *bufio.Writer // keeps the first error for Flush
	o     Options
	notes notation.Notes
}

func (t *table) paint(sgr, s string) string {
	if !t.o.Colour || sgr == "" || strings.TrimSpace(s) == "" {
		return s
	}
	return "\x1b[" + sgr + "m" + s + "\x1b[0m"
}

func (t *table) line(s string) { t.out.WriteString(s + "\n") }

// brief is a quantity without its uncertainty.
func (t *table) brief(q fit.Quantity, unit quantity.Unit) string {
	if !q.Known() {
		return t.notes.Sign(q.Why)
	}
	return notation.Value(q, unit)
}

// reasons are the reasons behind every sign "?n" above.
func (t *table) reasons() {
	if len(t.notes.Reasons) > 0 {
		t.line("")
	}
	for i, why := range t.notes.Reasons {
		t.hanging(fmt.Sprintf("%s%d", notation.Unknown, i+1), sgrBold, "not known: "+notation.Visible(why))
	}
}

func (t *table) paragraph(title, text string) {
	t.hanging(fmt.Sprintf("%-8s", title), sgrFaint, text)
}

func (t *table) marked(sign, sgr, text string) { t.hanging(sign, sgr, text) }

// hanging writes text wrapped beside a sign.
func (t *table) hanging(sign, sgr, text string) {
	indent := len([]rune(sign)) + 1
	for i, s := range wrap(text, max(t.o.Width-indent, 20)) {
		if i == 0 {
			t.line(t.paint(sgr, sign) + " " + s)
			continue
		}
		t.line(strings.Repeat(" ", indent) + s)
	}
}

// headed writes a table after an empty line, its first row faint.
func (t *table) headed(c columns) {
	t.line("")
	if c.width() > t.o.Width {
		c.gap = 1
	}
	for i, s := range c.lines(nil) {
		if i == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
}
