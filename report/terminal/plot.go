package terminal

import (
	"cmp"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"

	"github.com/rivo/uniseg"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
)

// Least and greatest size of a text plot, in cells.
const (
	leastTextWidth, mostTextWidth = 40, 120
	defaultTextHeight             = 16
	textLeft                      = 6 // cells before the plot
	textRangeDB                   = 60
)

// sgrCurves tell curves apart where colour is wanted (ECMA-48 SGR).
var sgrCurves = []string{"34", "33", "35", "32", "36", "31"}

// Plot draws the magnitude of the response of all takes as text: the fit
// where there is one, else what was measured. Takes without a response are
// left out.
func Plot(w io.Writer, r fit.Result, o Options) error {
	o.Height = cmp.Or(o.Height, defaultTextHeight)
	takes := figure.Takes(r)
	t := newTable(w, o)
	o.Width = t.o.Width
	if len(takes) == 0 {
		t.line("There is no response to draw.")
		return t.out.Flush()
	}
	p := newTextPlot(takes, o)
	for i, take := range takes {
		p.curve(i, take.Curve)
	}
	for i, take := range takes {
		p.label(i, take.Curve)
	}
	t.line(t.paint(sgrFaint, "dB over the low-frequency plateau"))
	for row := range p.cells {
		t.line(strings.TrimRight(p.row(t, row), " "))
	}
	for _, s := range p.axis() {
		t.line(t.paint(sgrFaint, s))
	}
	c := columns{gap: 2, right: []bool{false, false, true, true}}
	column := func(unit quantity.Unit, of func(figure.Take) fit.Quantity) []string {
		return t.notes.Values(unit, notation.Each(takes, of)...)
	}
	hz := column(quantity.Hertz, func(t figure.Take) fit.Quantity { return t.Take.Peak })
	dB := column(quantity.Decibel, func(t figure.Take) fit.Quantity { return t.Take.PeakDB })
	for i, take := range takes {
		c.add("  "+letter(i), truncate(notation.Visible(take.Take.Name), max(o.Width-42, 10)), hz[i], dB[i])
	}
	for _, s := range c.lines(func(row, column int, s string) string {
		if column == 0 {
			return t.paint(sgrCurves[row%len(sgrCurves)], s)
		}
		return s
	}) {
		t.line(p.plain(s))
	}
	for _, reason := range t.notes.Reasons() {
		number, why, _ := strings.Cut(p.plain(reason), " ")
		t.hanging(number, sgrBold, why)
	}
	return t.out.Flush()
}

// letter names a curve.
func letter(i int) string {
	const letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
	return letters[i%len(letters):][:1]
}

// textPlot is a plot on its way to text.
type textPlot struct {
	o     Options
	x, y  plot.Axis
	cells [][]textCell // by row from above, and column
	dots  int          // in a cell across; twice as many down
}

// textCell is one cell: a letter, or Braille dots.
type textCell struct {
	letter string
	dots   rune
	take   int
}

func newTextPlot(takes []figure.Take, o Options) *textPlot {
	p := &textPlot{o: o, x: figure.FrequencyAxis(takes), dots: 2}
	if o.ASCII {
		p.dots = 1
	}
	e := plot.NoExtent()
	for _, t := range takes {
		e.Take(shownMagnitude(t.Curve))
	}
	if e.Lo > e.Hi {
		e.Lo, e.Hi = 0, 0
	}
	top := 5 * math.Ceil((e.Hi+2)/5)
	p.y = plot.Axis{Min: math.Max(5*math.Floor(e.Lo/5), top-textRangeDB), Max: top}
	width := min(max(o.Width, leastTextWidth), mostTextWidth) - textLeft - 1
	p.cells = make([][]textCell, o.Height)
	for i := range p.cells {
		p.cells[i] = make([]textCell, width)
	}
	return p
}

func shownMagnitude(c *fit.Curve) []float64 {
	if len(c.FitMagnitudeDB) > 0 {
		return c.FitMagnitudeDB
	}
	return c.MagnitudeDB
}

// size of the plot in dots.
func (p *textPlot) size() (across, down int) {
	return p.dots * len(p.cells[0]), p.downInCell() * len(p.cells)
}

func (p *textPlot) downInCell() int {
	if p.o.ASCII {
		return 1
	}
	return 4
}

// dot is where a level is, in dots from above; it may lie outside.
func (p *textPlot) dot(dB float64) int {
	_, down := p.size()
	return int(math.Round((p.y.Max - dB) / (p.y.Max - p.y.Min) * float64(down-1)))
}

// curve draws a take: in each column of dots all levels from the one of the
// column before.
func (p *textPlot) curve(take int, c *fit.Curve) {
	across, down := p.size()
	last := math.MinInt
	for i := range across {
		f := p.x.Min * math.Pow(p.x.Max/p.x.Min, float64(i)/float64(across-1))
		dB := levelAt(c.FrequencyHz, shownMagnitude(c), f)
		if math.IsNaN(dB) {
			last = math.MinInt
			continue
		}
		at := p.dot(dB)
		from, to := at, at
		if last != math.MinInt {
			next := last + cmp.Compare(at, last)
			from, to = min(at, next), max(at, next)
		}
		for y := max(from, 0); y <= min(to, down-1); y++ {
			p.set(take, i, y)
		}
		last = at
	}
}

// set puts a dot. A Braille pattern is U+2800 plus a bit for each dot (Unicode,
// Braille Patterns): 1, 2, 4, 40 on the left and 8, 10, 20, 80 on the right,
// hexadecimal.
func (p *textPlot) set(take, x, y int) {
	cell := &p.cells[y/p.downInCell()][x/p.dots]
	if p.o.ASCII {
		if cell.letter == "" {
			cell.letter, cell.take = letter(take), take
		}
		return
	}
	if cell.dots == 0 {
		cell.take = take
	}
	cell.dots |= [4][2]rune{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}[y%4][x%2]
}

// label puts the take's letter over its highest place, and at its end.
func (p *textPlot) label(take int, c *fit.Curve) {
	if p.o.ASCII {
		return // the curve is made of it
	}
	y := shownMagnitude(c)
	top, last := -1, -1
	for i, v := range y {
		if math.IsNaN(v) || i >= len(c.FrequencyHz) {
			continue
		}
		if last = i; top < 0 || v > y[top] {
			top = i
		}
	}
	if top < 0 {
		return
	}
	column := func(f float64) int {
		return int(math.Log(f/p.x.Min) / math.Log(p.x.Max/p.x.Min) * float64(len(p.cells[0])-1))
	}
	p.put(take, column(c.FrequencyHz[top]), p.dot(y[top])/4-1)
	p.put(take, len(p.cells[0])-1, p.dot(y[last])/4)
}

// put writes the take's letter into the free cell nearest to a place.
func (p *textPlot) put(take, x, y int) {
	y = min(max(y, 0), len(p.cells)-1)
	x = min(max(x, 0), len(p.cells[0])-1)
	for away := range 4 {
		for _, row := range []int{y - away, y + away} {
			if row >= 0 && row < len(p.cells) && p.cells[row][x].letter == "" {
				p.cells[row][x] = textCell{letter: letter(take), take: take}
				return
			}
		}
	}
}

// levelAt is the level at f by interpolation; NaN outside.
func levelAt(x, y []float64, f float64) float64 {
	n := min(len(x), len(y))
	if n == 0 || f < x[0]*(1-1e-9) || f > x[n-1]*(1+1e-9) {
		return math.NaN()
	}
	hi := min(max(sort.Search(n, func(i int) bool { return x[i] > f }), 1), n-1)
	lo := max(hi-1, 0)
	if x[hi] == x[lo] {
		return y[lo]
	}
	return y[lo] + (y[hi]-y[lo])*(f-x[lo])/(x[hi]-x[lo])
}

// row is a row of the plot with its label.
func (p *textPlot) row(t *table, row int) string {
	first := float64(row * p.downInCell())
	_, down := p.size()
	level := func(dot float64) float64 { return p.y.Max - dot/float64(down-1)*(p.y.Max-p.y.Min) }
	head := strings.Repeat(" ", textLeft-1) + p.sign("│", "|")
	// A multiple of 10 dB in the middle of this row or nearest to it.
	if tens := 10 * math.Round(level(first+float64(p.downInCell()-1)/2)/10); p.dot(tens)/p.downInCell() == row &&
		tens <= p.y.Max && tens >= p.y.Min {
		label := quantity.Minus(strconv.Itoa(int(tens)))
		head = strings.Repeat(" ", textLeft-2-uniseg.StringWidth(label)) + p.plain(label) + " " + p.sign("┤", "+")
	}
	var b strings.Builder
	b.WriteString(t.paint(sgrFaint, head))
	for _, c := range p.cells[row] {
		s := c.letter
		if s == "" && c.dots != 0 {
			s = string(0x2800 + c.dots)
		}
		if s == "" {
			b.WriteByte(' ')
			continue
		}
		b.WriteString(t.paint(sgrCurves[c.take%len(sgrCurves)], s))
	}
	return b.String()
}

// axis is the frequency axis below the plot: a line and its labels.
func (p *textPlot) axis() [2]string {
	width := len(p.cells[0])
	line := []rune(strings.Repeat(" ", textLeft-1) + p.sign("└", "+") + strings.Repeat(p.sign("─", "-"), width))
	labels := []rune(strings.Repeat(" ", textLeft+width+1))
	for _, tick := range p.x.Ticks(float64(width), 6) {
		if tick.Label == "" {
			continue
		}
		at := textLeft + int(math.Round(math.Log(tick.Value/p.x.Min)/math.Log(p.x.Max/p.x.Min)*float64(width-1)))
		line[at] = []rune(p.sign("┬", "+"))[0]
		name := []rune(tick.Label)
		copy(labels[min(max(at-len(name)/2, 0), len(labels)-len(name)):], name)
	}
	copy(labels, []rune("Hz"))
	return [2]string{string(line), strings.TrimRight(string(labels), " ")}
}

func (p *textPlot) sign(unicode, ascii string) string {
	if p.o.ASCII {
		return ascii
	}
	return unicode
}

// plain puts what ASCII has in place of what it has not.
func (p *textPlot) plain(s string) string {
	if !p.o.ASCII {
		return s
	}
	s = strings.NewReplacer("−", "-", "±", "+/-", "µ", "u", "Ω", "Ohm", "–", "-", "…", "...",
		"¹", "(1)", "²", "(2)", "³", "(3)").Replace(s)
	return strings.Map(func(r rune) rune {
		if r > 0x7e {
			return '?'
		}
		return r
	}, s)
}
