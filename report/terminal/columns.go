package terminal

import (
	"strings"

	"github.com/rivo/uniseg"

	"coilsweep/report/notation"
)

// columns lays cells out in columns that align by display width: wide
// characters count two, combining ones none (Unicode UAX #11 and #29).
type columns struct {
	rows  [][]string
	right []bool // column is flush right
	gap   int
}

func (c *columns) add(cells ...string) { c.rows = append(c.rows, cells) }

// column adds a column: its head, and a cell for each row.
func (c *columns) column(head string, right bool, cells []string) {
	if c.rows == nil {
		c.rows = make([][]string, 1+len(cells))
	}
	c.right = append(c.right, right)
	for i, cell := range append([]string{head}, cells...) {
		c.rows[i] = append(c.rows[i], cell)
	}
}

// named is names as the first column of a table, cut to most cells.
func named(names []string, most int, cut func(string, int) string) []string {
	out := make([]string, len(names))
	for i, name := range names {
		out[i] = cut(name, most)
	}
	return out
}

// widths of the columns; the last column counts in full.
func (c *columns) widths() []int {
	var w []int
	for _, row := range c.rows {
		for i, cell := range row {
			if i == len(w) {
				w = append(w, 0)
			}
			w[i] = max(w[i], uniseg.StringWidth(cell))
		}
	}
	return w
}

// width of the whole.
func (c *columns) width() int {
	total := 0
	for i, w := range c.widths() {
		if i > 0 {
			total += c.gap
		}
		total += w
	}
	return total
}

// lines lays out every row; style, if not nil, paints a cell after its width
// was measured.
func (c *columns) lines(style func(row, column int, padded string) string) []string {
	widths := c.widths()
	out := make([]string, 0, len(c.rows))
	for r, row := range c.rows {
		var b strings.Builder
		for i, cell := range row {
			if i > 0 {
				b.WriteString(strings.Repeat(" ", c.gap))
			}
			pad := strings.Repeat(" ", widths[i]-uniseg.StringWidth(cell))
			if i < len(c.right) && c.right[i] {
				cell = pad + cell
			} else if i < len(row)-1 {
				cell += pad
			}
			if style != nil {
				cell = style(r, i, cell)
			}
			b.WriteString(cell)
		}
		out = append(out, strings.TrimRight(b.String(), " "))
	}
	return out
}

// truncate cuts s to at most width cells, with "…" where something was cut.
func truncate(s string, width int) string {
	if uniseg.StringWidth(s) <= width {
		return s
	}
	var b strings.Builder
	used := 0
	graphemes := uniseg.NewGraphemes(s)
	for graphemes.Next() {
		if used+graphemes.Width() > width-1 {
			break
		}
		used += graphemes.Width()
		b.WriteString(graphemes.Str())
	}
	return b.String() + "…"
}

// wrap breaks s at spaces into lines of at most width cells, not between a
// number and its unit; a longer word stands on a line of its own.
func wrap(s string, width int) []string {
	var lines []string
	line, used := "", 0
	for _, word := range strings.FieldsFunc(notation.Tied(s), func(r rune) bool { return r == ' ' }) {
		w := uniseg.StringWidth(word)
		if used > 0 && used+1+w > width {
			lines = append(lines, line)
			line, used = "", 0
		}
		if used > 0 {
			line += " "
			used++
		}
		line += word
		used += w
	}
	lines = append(lines, line)
	for i := range lines {
		lines[i] = strings.ReplaceAll(lines[i], "\u00a0", " ")
	}
	return lines
}
