// Package terminal writes results, lists, comparisons and the like as text for a
// terminal: tables that align and keep to its width, and a plot of characters.
package terminal

import (
	"bufio"
	"fmt"
	"io"
	"strings"

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
	// Instruments adds who measured a coil and with what.
	Instruments bool
	// Of a plot: its height in rows, 0 means 16; and ASCII draws each curve with its
	// letter, for terminals without Unicode, where otherwise curves are fine dots
	// (Braille patterns).
	Height int
	ASCII  bool
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

func newTable(w io.Writer, o Options) *table {
	if o.Width <= 0 {
		o.Width = 80
	}
	return &table{out: bufio.NewWriter(w), o: o}
}

func (t *table) paint(sgr, s string) string {
	if !t.o.Colour || sgr == "" || strings.TrimSpace(s) == "" {
		return s
	}
	return "\x1b[" + sgr + "m" + s + "\x1b[0m"
}

func (t *table) line(s string) { t.out.WriteString(s + "\n") }

// title is a bold line.
func (t *table) title(s string) { t.line(t.paint(sgrBold, truncate(s, t.o.Width))) }

// fitting is the first table that is not too wide, or else the last. Those that
// are not shown leave no notes.
func (t *table) fitting(builds ...func() columns) (c columns, which int) {
	mark := t.notes.Mark()
	for which = range builds {
		t.notes.Back(mark)
		if c = builds[which](); c.width() <= t.o.Width {
			break
		}
	}
	return c, which
}

// facts is a table of names, bold values and faint remarks.
func (t *table) facts(c columns, value int) {
	if c.width() > t.o.Width {
		c.gap = 1
	}
	t.lines(c, func(_, column int, cell string) string {
		switch column {
		case value:
			return t.paint(sgrBold, cell)
		case value + 1:
			return t.paint(sgrFaint, cell)
		}
		return cell
	})
}

// lines writes a table as it is laid out.
func (t *table) lines(c columns, style func(row, column int, padded string) string) {
	for _, s := range c.lines(style) {
		t.line(s)
	}
}

// headed is a table whose first row is faint; paint, if not nil, paints the
// cells below it.
func (t *table) headed(c columns, paint func(column int, cell string) string) {
	if c.width() > t.o.Width {
		c.gap = 1
	}
	for row, s := range c.lines(func(row, column int, cell string) string {
		if row == 0 || paint == nil {
			return cell
		}
		return paint(column, cell)
	}) {
		if row == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
}

// reasons are the reasons behind every sign "–¹" above.
func (t *table) reasons() {
	list := t.notes.Reasons()
	if len(list) > 0 {
		t.line("")
	}
	for _, s := range list {
		number, why, _ := strings.Cut(s, " ")
		t.hanging(number, sgrBold, why)
	}
}

// U95 says what ± is, and what follows.
func (t *table) u95(more string) {
	t.line("")
	t.wrapped("", sgrFaint, "± is U95"+more)
}

// wrapped writes a text in lines that are indented and painted alike.
func (t *table) wrapped(indent, sgr, text string) {
	for _, s := range wrap(text, t.o.Width-len(indent)) {
		t.line(t.paint(sgr, indent+s))
	}
}

func (t *table) paragraph(title, text string) { t.hanging(fmt.Sprintf("%-8s", title), sgrFaint, text) }

// warnings are sentences of the program after a sign.
func (t *table) warnings(word string, list []string) {
	for _, s := range list {
		t.hanging("!", sgrYellow, word+notation.Typeset(s))
	}
}

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
