package report

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// TableOptions says how Table writes.
type TableOptions struct {
	// Width of the terminal in cells; 0 means 80. Prose is wrapped to it, and
	// takes stand below each other where their table would not fit.
	Width int
	// Colour paints by ANSI escape sequences (ECMA-48 SGR). It never carries
	// anything alone: what is coloured also has its sign or word.
	Colour bool
	// Budget adds the uncertainty budgets.
	Budget bool
}

// Attributes by ECMA-48, SGR.
const (
	sgrBold   = "1"
	sgrFaint  = "2"
	sgrRed    = "31"
	sgrYellow = "33"
)

// Table writes the result as text for a terminal.
func Table(w io.Writer, r fit.Result, o TableOptions) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	t.head(r)
	t.quantities(r)
	t.takes(r.Takes)
	if len(r.Basis) > 0 {
		t.paragraph("Rests on", strings.Join(visibleAll(r.Basis), "; ")+".")
	}
	t.paragraph("Circuit", modelWords(r.Model)+".")
	t.meter(r.Meter)
	t.reasons()
	if o.Budget {
		t.budget(r.Budget)
	}
	t.monteCarlo(r.MonteCarlo)
	if len(r.Warnings)+len(r.Advice) > 0 {
		t.line("")
	}
	for _, warning := range r.Warnings {
		t.marked("!", sgrYellow, "Warning: "+visible(warning))
	}
	for _, advice := range r.Advice {
		t.marked("→", sgrBold, visible(adviceWords(advice)))
	}
	return t.out.Flush()
}

type table struct {
	out   *bufio.Writer // keeps the first error for Flush
	o     TableOptions
	notes notes
}

func (t *table) paint(sgr, s string) string {
	if !t.o.Colour || sgr == "" || strings.TrimSpace(s) == "" {
		return s
	}
	return "\x1b[" + sgr + "m" + s + "\x1b[0m"
}

func (t *table) line(s string) { t.out.WriteString(s + "\n") }

func (t *table) head(r fit.Result) {
	used := 0
	for _, take := range r.Takes {
		if take.Used {
			used++
		}
	}
	count := fmt.Sprintf("%d of %s used", used, countOf(len(r.Takes), "take"))
	room := max(t.o.Width-len(count)-2, 12)
	t.line(t.paint(sgrBold, truncate(visible(r.Coil), room)) + "  " + t.paint(sgrFaint, count))
	t.line("")
}

// quantities are the coil's own numbers.
func (t *table) quantities(r fit.Result) {
	c := columns{gap: 2, right: []bool{false, false, true}}
	row := func(name, symbol string, q fit.Quantity, unit quantity.Unit, note string) {
		c.add("  "+name, symbol, t.notes.cell(q, unit), note)
	}
	row("inductance", "L", r.Inductance, quantity.Henry, "at low frequency")
	row("capacitance", "C", r.Capacitance, quantity.Farad, "coil and fixture")
	row("", "", r.CapacitanceCoil, quantity.Farad, "coil alone")
	row("resistance", "R", r.Resistance, quantity.Ohm, "")
	row("resonance", "", r.BareResonance, quantity.Hertz, "coil alone")
	row("sharpness", "Q", r.BareQ, ratio, "coil alone")
	for i, e := range r.Eddy {
		name := ""
		if i == 0 {
			name = "eddy loss"
		}
		row(name, "", e.Share, ratio, "share of L")
		row("", "", e.Corner, quantity.Hertz, "its corner")
	}
	if r.CoverCorner != nil {
		row("cover", "", *r.CoverCorner, quantity.Hertz, "corner of its shielding")
	}
	for _, s := range c.lines(func(_, column int, s string) string {
		switch column {
		case 2:
			return t.paint(sgrBold, s)
		case 3:
			return t.paint(sgrFaint, s)
		}
		return s
	}) {
		t.line(s)
	}
	t.line(t.paint(sgrFaint, "  ± is U95: the value lies within it with 95 % confidence."))
	t.line("")
}

// takes are the takes as a table, or below each other on a narrow terminal.
func (t *table) takes(takes []fit.TakeResult) {
	if len(takes) == 0 {
		return
	}
	c := t.takeColumns(takes, true)
	if c.width() > t.o.Width {
		c = t.takeColumns(takes, false)
	}
	if c.width() > t.o.Width {
		c.gap = 1
	}
	if c.width() > t.o.Width {
		t.stacked(takes)
		return
	}
	last := len(c.right) - 1
	for _, s := range c.lines(func(row, column int, s string) string {
		switch {
		case row == 0:
			return t.paint(sgrFaint, s)
		case column == last && strings.TrimSpace(s) != signNone:
			return t.paint(sgrRed, s)
		}
		return s
	}) {
		t.line(s)
	}
	t.line("")
}

// takeColumns are the takes as a table: at a glance, or with everything that is
// told apart and its U95.
func (t *table) takeColumns(takes []fit.TakeResult, full bool) columns {
	c := columns{gap: 2}
	if full {
		c.add("take", "added", "resonance", "Q", "LC frequency", "peak", "height", "−3 dB width", "S/N", "flags")
	} else {
		c.add("take", "added", "resonance", "peak", "height", "Q", "S/N", "flags")
	}
	for _, take := range takes {
		flags := strings.Join(takeFlags(take), ", ")
		if flags == "" {
			flags = signNone
		}
		name, load, snr := truncate(visible(take.Name), 24), loadWords(take), fmt.Sprintf("%.0f dB", take.SNRdB)
		resonance, q := t.notes.cell(take.Resonance, quantity.Hertz), t.notes.cell(take.Q, ratio)
		if full {
			c.add(name, load, resonance, q, t.notes.cell(take.LC, quantity.Hertz), t.notes.cell(take.Peak, quantity.Hertz),
				t.notes.cell(take.PeakDB, decibel), t.notes.cell(take.WidthHz, quantity.Hertz), snr, flags)
		} else {
			c.add(name, load, resonance, t.brief(take.Peak, quantity.Hertz), t.brief(take.PeakDB, decibel), q, snr, flags)
		}
	}
	c.right = make([]bool, len(c.rows[0]))
	for i := 1; i < len(c.right)-1; i++ {
		c.right[i] = true
	}
	return c
}

// brief is a quantity without its uncertainty.
func (t *table) brief(q fit.Quantity, unit quantity.Unit) string {
	if !q.Known() {
		return t.notes.sign(q.Why)
	}
	return valueOf(q, unit)
}

func (t *table) stacked(takes []fit.TakeResult) {
	for _, take := range takes {
		title := visible(take.Name)
		if load := loadWords(take); load != signNone {
			title += " + " + load
		}
		t.line(t.paint(sgrBold, truncate(title, t.o.Width)))
		c := columns{gap: 2, right: []bool{false, true}}
		c.add("  resonance", t.notes.cell(take.Resonance, quantity.Hertz))
		c.add("  Q", t.notes.cell(take.Q, ratio))
		c.add("  LC frequency", t.notes.cell(take.LC, quantity.Hertz))
		c.add("  peak", t.notes.cell(take.Peak, quantity.Hertz))
		c.add("  height", t.notes.cell(take.PeakDB, decibel))
		c.add("  −3 dB width", t.notes.cell(take.WidthHz, quantity.Hertz))
		c.add("  S/N", fmt.Sprintf("%.0f dB", take.SNRdB))
		for _, s := range c.lines(nil) {
			t.line(s)
		}
		if flags := takeFlags(take); flags != nil {
			t.line("  flags  " + t.paint(sgrRed, strings.Join(flags, ", ")))
		}
	}
	t.line("")
}

// reasons are the reasons behind every sign "?n" above.
func (t *table) reasons() {
	if len(t.notes.reasons) > 0 {
		t.line("")
	}
	for i, why := range t.notes.reasons {
		t.hanging(fmt.Sprintf("%s%d", signUnknown, i+1), sgrBold, "not known: "+visible(why))
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

func (t *table) meter(readings []fit.MeterResult) { t.meterTable(readings, false) }

// meterTable has a line for each reading with its verdict below, and how it
// comes about if that is asked for.
func (t *table) meterTable(readings []fit.MeterResult, explain bool) {
	if len(readings) == 0 {
		return
	}
	t.line("")
	c := columns{gap: 2, right: []bool{false, true, true, true}}
	c.add("meter", "reading", "the fit expects", "En")
	for _, m := range readings {
		unit := meterUnit(m.What)
		en := signNone
		if m.En != nil {
			en = withMinus(fmt.Sprintf("%.2f", *m.En))
		}
		c.add(meterPlace(m), number(m.Reading, m.U95, unit), t.notes.cell(m.Expected, unit), en)
	}
	if c.width() > t.o.Width {
		c.gap = 1
	}
	lines := c.lines(nil)
	t.line(t.paint(sgrFaint, lines[0]))
	for i, s := range lines[1:] {
		t.line(s)
		t.hanging("  ", "", visible(readings[i].Verdict))
		if explain {
			t.explanation(readings[i])
		}
	}
}

// meterPlace is what was read, and how: "L at 1 kHz, series".
func meterPlace(m fit.MeterResult) string {
	if m.AtHz == 0 {
		return visible(m.What) + ", " + visible(m.Mode)
	}
	return fmt.Sprintf("%s at %s, %s", visible(m.What), part(m.AtHz, quantity.Hertz), visible(m.Mode))
}

func (t *table) budget(budgets []fit.Budget) {
	for _, b := range budgets {
		words, _ := quantityName(b.Quantity)
		t.line("")
		t.line(t.paint(sgrBold, "Uncertainty of "+words) + t.paint(sgrFaint, "  share of u²"))
		c := columns{gap: 2, right: []bool{true}}
		for _, s := range b.Shares {
			c.add(fmt.Sprintf("  %.1f %%", s.Percent), visible(s.Source))
		}
		for _, s := range c.lines(nil) {
			t.line(s)
		}
	}
}

// monteCarlo shows the distributions that repeated fits gave.
func (t *table) monteCarlo(m *fit.MonteCarlo) {
	if m == nil {
		return
	}
	t.line("")
	title := fmt.Sprintf("Monte Carlo, %d trials (JCGM 101)", m.Trials)
	if m.Failed > 0 {
		title += fmt.Sprintf(", %d without a minimum", m.Failed)
	}
	t.line(t.paint(sgrBold, title))
	c := columns{gap: 2, right: []bool{false, true, true}}
	c.add("", "mean", "95 % of the trials")
	for _, q := range m.Quantities {
		words, unit := quantityName(q.Name)
		digits := digitsDownTo(q.Mean, (q.High-q.Low)/2)
		c.add("  "+words, plain(q.Mean, unit, digits), plain(q.Low, unit, digits)+" … "+plain(q.High, unit, digits))
	}
	lines := c.lines(nil)
	t.line(t.paint(sgrFaint, lines[0]))
	for _, s := range lines[1:] {
		t.line(s)
	}
}

func visibleAll(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = visible(s)
	}
	return out
}

// countOf is "1 take", "3 takes".
func countOf(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
