package terminal

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Coil writes a result as text for a terminal.
func Coil(w io.Writer, r fit.Result, o Options) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	t.head(r)
	t.quantities(r)
	t.takes(r.Takes)
	if len(r.Basis) > 0 {
		t.paragraph("Rests on", strings.Join(notation.VisibleAll(r.Basis), "; ")+".")
	}
	t.paragraph("Circuit", words.Model(r.Model)+".")
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
		t.marked("!", sgrYellow, "Warning: "+notation.Visible(warning))
	}
	for _, advice := range r.Advice {
		t.marked("→", sgrBold, notation.Visible(words.Advice(advice)))
	}
	return t.out.Flush()
}

func (t *table) head(r fit.Result) {
	used := 0
	for _, take := range r.Takes {
		if take.Used {
			used++
		}
	}
	count := fmt.Sprintf("%d of %s used", used, notation.Count(len(r.Takes), "take"))
	room := max(t.o.Width-len(count)-2, 12)
	t.line(t.paint(sgrBold, truncate(notation.Visible(r.Coil), room)) + "  " + t.paint(sgrFaint, count))
	t.line("")
}

// quantities are the coil's own numbers.
func (t *table) quantities(r fit.Result) {
	c := columns{gap: 2, right: []bool{false, false, true}}
	row := func(name, symbol string, q fit.Quantity, unit quantity.Unit, note string) {
		c.add("  "+name, symbol, t.notes.Cell(q, unit), note)
	}
	row("inductance", "L", r.Inductance, quantity.Henry, "at low frequency")
	row("capacitance", "C", r.Capacitance, quantity.Farad, "coil and fixture")
	row("", "", r.CapacitanceCoil, quantity.Farad, "coil alone")
	row("resistance", "R", r.Resistance, quantity.Ohm, "")
	row("resonance", "", r.BareResonance, quantity.Hertz, "coil alone")
	row("sharpness", "Q", r.BareQ, notation.Ratio, "coil alone")
	for i, e := range r.Eddy {
		name := ""
		if i == 0 {
			name = "eddy loss"
		}
		row(name, "", e.Share, notation.Ratio, "share of L")
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
		case column == last && strings.TrimSpace(s) != notation.None:
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
		flags := strings.Join(words.Flags(take), ", ")
		if flags == "" {
			flags = notation.None
		}
		name, load, snr := truncate(notation.Visible(take.Name), 24), words.Load(take), fmt.Sprintf("%.0f dB", take.SNRdB)
		resonance, q := t.notes.Cell(take.Resonance, quantity.Hertz), t.notes.Cell(take.Q, notation.Ratio)
		if full {
			c.add(name, load, resonance, q, t.notes.Cell(take.LC, quantity.Hertz), t.notes.Cell(take.Peak, quantity.Hertz),
				t.notes.Cell(take.PeakDB, notation.Decibel), t.notes.Cell(take.WidthHz, quantity.Hertz), snr, flags)
		} else {
			c.add(name, load, resonance, t.brief(take.Peak, quantity.Hertz), t.brief(take.PeakDB, notation.Decibel), q, snr, flags)
		}
	}
	c.right = make([]bool, len(c.rows[0]))
	for i := 1; i < len(c.right)-1; i++ {
		c.right[i] = true
	}
	return c
}

func (t *table) stacked(takes []fit.TakeResult) {
	for _, take := range takes {
		title := notation.Visible(take.Name)
		if load := words.Load(take); load != notation.None {
			title += " + " + load
		}
		t.line(t.paint(sgrBold, truncate(title, t.o.Width)))
		c := columns{gap: 2, right: []bool{false, true}}
		c.add("  resonance", t.notes.Cell(take.Resonance, quantity.Hertz))
		c.add("  Q", t.notes.Cell(take.Q, notation.Ratio))
		c.add("  LC frequency", t.notes.Cell(take.LC, quantity.Hertz))
		c.add("  peak", t.notes.Cell(take.Peak, quantity.Hertz))
		c.add("  height", t.notes.Cell(take.PeakDB, notation.Decibel))
		c.add("  −3 dB width", t.notes.Cell(take.WidthHz, quantity.Hertz))
		c.add("  S/N", fmt.Sprintf("%.0f dB", take.SNRdB))
		for _, s := range c.lines(nil) {
			t.line(s)
		}
		if flags := words.Flags(take); flags != nil {
			t.line("  flags  " + t.paint(sgrRed, strings.Join(flags, ", ")))
		}
	}
	t.line("")
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
		unit := words.MeterUnit(m.What)
		en := notation.None
		if m.En != nil {
			en = notation.Minus(fmt.Sprintf("%.2f", *m.En))
		}
		c.add(words.MeterPlace(m), notation.Number(m.Reading, m.U95, unit), t.notes.Cell(m.Expected, unit), en)
	}
	if c.width() > t.o.Width {
		c.gap = 1
	}
	lines := c.lines(nil)
	t.line(t.paint(sgrFaint, lines[0]))
	for i, s := range lines[1:] {
		t.line(s)
		t.hanging("  ", "", notation.Visible(readings[i].Verdict))
		if explain {
			t.explanation(readings[i])
		}
	}
}

func (t *table) budget(budgets []fit.Budget) {
	for _, b := range budgets {
		words, _ := notation.QuantityName(b.Quantity)
		t.line("")
		t.line(t.paint(sgrBold, "Uncertainty of "+words) + t.paint(sgrFaint, "  share of u²"))
		c := columns{gap: 2, right: []bool{true}}
		for _, s := range b.Shares {
			c.add(fmt.Sprintf("  %.1f %%", s.Percent), notation.Visible(s.Source))
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
		words, unit := notation.QuantityName(q.Name)
		digits := notation.DigitsDownTo(q.Mean, (q.High-q.Low)/2)
		c.add("  "+words, notation.Plain(q.Mean, unit, digits), notation.Plain(q.Low, unit, digits)+" … "+notation.Plain(q.High, unit, digits))
	}
	lines := c.lines(nil)
	t.line(t.paint(sgrFaint, lines[0]))
	for _, s := range lines[1:] {
		t.line(s)
	}
}
