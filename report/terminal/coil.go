package terminal

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Coil writes a result as text for a terminal.
func Coil(w io.Writer, r fit.Result, o Options) error {
	t := newTable(w, o)
	t.head(r)
	t.numbers(r)
	t.branch(r)
	t.takes(r.Takes)
	if len(r.Basis) > 0 {
		t.paragraph("Based on", strings.Join(notation.Each(r.Basis, notation.Typeset), "; ")+".")
	}
	t.paragraph("Model", words.Model(r.Model)+".")
	t.meter(r.Meter, false)
	t.reasons()
	if o.Instruments {
		t.instruments(r)
	}
	if o.Budget {
		t.budget(words.Budgets(r.Budget))
	}
	t.monteCarlo(r.MonteCarlo)
	if len(r.Warnings)+len(r.Advice) > 0 {
		t.line("")
	}
	t.warnings("Warning: ", r.Warnings)
	for _, advice := range r.Advice {
		t.hanging("→", sgrBold, notation.Typeset(advice.Text))
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
	if s := words.Identity(r.About); s != "" {
		t.wrapped("", sgrFaint, notation.UpperFirst(s))
	}
	if s := words.Contradicted(r); s != "" {
		t.hanging("!", sgrYellow, s)
	}
	t.line("")
}

// instruments are who measured the coil and with what.
func (t *table) instruments(r fit.Result) {
	t.line("")
	t.paragraph("Made by", cmp.Or(words.Operators(r.About), "– (nobody is stated: operator in bench.toml)"))
	for _, u := range r.Instruments {
		t.paragraph(notation.UpperFirst(u.Role), words.Instrument(u, len(r.Takes)))
	}
	if len(r.Instruments) == 0 {
		t.paragraph("With", "– (no instrument is stated in bench.toml, parts.toml or coil.toml)")
	}
}

// numbers are the coil's own numbers.
func (t *table) numbers(r fit.Result) {
	c := columns{gap: 2, right: []bool{false, false, true}}
	for _, n := range words.Numbers(r) {
		c.add("  "+n.Name, n.Symbol, t.notes.Cell(n.Quantity, n.Unit), n.Note)
	}
	for i, e := range r.Eddy {
		name := ""
		if i == 0 {
			name = "eddy currents"
		}
		c.add("  "+name, "", t.notes.Cell(e.Share, quantity.Ratio), words.EddyName(e, i)+", share of L")
		c.add("", "", t.notes.Cell(e.Corner, quantity.Hertz), "its corner frequency")
	}
	t.facts(c, 2)
	t.wrapped("  ", sgrFaint, "± is U95, 95 % coverage: about 19 times in 20 the true value lies inside.")
	if given := words.Given(r); given != "" {
		t.wrapped("  ", "", given)
	}
	t.line("")
}

// branch is the winding at the frequencies of meters.
func (t *table) branch(r fit.Result) {
	points := words.Branch(r)
	if points == nil {
		return
	}
	t.wrapped("", sgrFaint, words.BranchTitle+":")
	c, which := t.fitting(
		func() columns { return t.branchColumns(points, true) },
		func() columns { return t.branchColumns(points, false) })
	t.headed(c, nil)
	if _, note := words.BranchPlace(points[len(points)-1]); which > 0 && note != "" {
		t.line(t.paint(sgrFaint, truncate("The last: "+note+".", t.o.Width)))
	}
	t.line("")
}

func (t *table) branchColumns(points []fit.BranchPoint, notes bool) columns {
	c := columns{gap: 2}
	var places, which []string
	for _, p := range points {
		frequency, note := words.BranchPlace(p)
		places, which = append(places, frequency), append(which, note)
	}
	c.column("frequency", true, places)
	for _, column := range words.BranchColumns {
		c.column(column.Name, true, t.notes.Cells(column.Unit, notation.Each(points, column.Of)...))
	}
	if notes && strings.Join(which, "") != "" {
		c.column("", false, which)
	}
	return c
}

// takes are the takes as a table: what their shapes show, and below it their
// peaks, or beside where there is room. On a narrow terminal they stand below
// each other.
func (t *table) takes(takes []fit.TakeResult) {
	if len(takes) == 0 {
		return
	}
	shape, peak := words.ShapeColumns, words.PeakColumns
	c, which := t.fitting(
		func() columns { return t.takeColumns(takes, slices.Concat(shape, peak), true, true) },
		func() columns { return t.takeColumns(takes, shape, true, true) },
		func() columns { c := t.takeColumns(takes, shape, true, true); c.gap = 1; return c },
		func() columns { return columns{} })
	if which == 3 {
		t.stacked(takes)
		return
	}
	last := len(c.right) - 1
	t.headed(c, func(column int, s string) string {
		if column == last && strings.TrimSpace(s) != notation.None {
			return t.paint(sgrRed, s)
		}
		return s
	})
	t.line(t.paint(sgrFaint, "S/N after averaging, at low frequencies."))
	t.line("")
	if which == 0 {
		return
	}
	c, _ = t.fitting(
		func() columns { return t.takeColumns(takes, peak, true, false) },
		func() columns { c := t.takeColumns(takes, peak, true, false); c.gap = 1; return c },
		func() columns { return t.takeColumns(takes, peak, false, false) })
	t.headed(c, nil)
	t.line("")
}

// takeColumns are numbers of the takes as a table, with or without U95; whole
// with what was added before them, and how the take is after them.
func (t *table) takeColumns(takes []fit.TakeResult, numbers []words.Column[fit.TakeResult], u95, whole bool) columns {
	c := columns{gap: 2}
	var names, sn, flags []string
	for _, take := range takes {
		names = append(names, notation.Visible(take.Name))
		sn, flags = append(sn, words.SN(take)),
			append(flags, cmp.Or(strings.Join(words.Flags(take), ", "), notation.None))
	}
	c.column("take", false, named(names, 24, truncate))
	if whole {
		c.column("added", true, words.Loads(takes))
	}
	for _, number := range numbers {
		write := t.notes.Values
		if u95 {
			write = t.notes.Cells
		}
		c.column(number.Name, true, write(number.Unit, notation.Each(takes, number.Of)...))
	}
	if whole {
		c.column("S/N", true, sn)
		c.column("flags", false, flags)
	}
	return c
}

func (t *table) stacked(takes []fit.TakeResult) {
	for i, load := range words.Loads(takes) {
		take := takes[i]
		title := notation.Visible(take.Name)
		if load != notation.None {
			title += " + " + load
		}
		t.title(title)
		c := columns{gap: 2, right: []bool{false, true}}
		for _, number := range slices.Concat(words.ShapeColumns, words.PeakColumns) {
			c.add("  "+number.Name, t.notes.Cell(number.Of(take), number.Unit))
		}
		c.add("  S/N after averaging", words.SN(take))
		t.lines(c, nil)
		if flags := words.Flags(take); flags != nil {
			t.line("  flags  " + t.paint(sgrRed, strings.Join(flags, ", ")))
		}
	}
	t.line("")
}

// meter has a line for each reading with its verdict below, and how it comes
// about if that is asked for.
func (t *table) meter(readings []fit.MeterResult, explain bool) {
	if len(readings) == 0 {
		return
	}
	t.line("")
	c := columns{gap: 2, right: []bool{false, true, true, true}}
	c.add("meter", "reading", "the fit expects", "En")
	for _, m := range readings {
		unit := words.MeterUnit(m.What)
		cells := t.notes.Cells(unit, fit.Quantity{Value: m.Reading, U95: m.U95}, m.Expected)
		c.add(words.MeterPlace(m), cells[0], cells[1], notation.En(m.En))
	}
	if c.width() > t.o.Width {
		c.gap = 1
	}
	lines := c.lines(nil)
	t.line(t.paint(sgrFaint, lines[0]))
	for i, s := range lines[1:] {
		t.line(s)
		t.hanging("  ", "", notation.Typeset(readings[i].Verdict))
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
			c.add("  "+notation.Percent(s.Percent), notation.Visible(s.Source))
		}
		t.lines(c, nil)
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
		name, unit := notation.QuantityName(q.Name)
		d := notation.DistributionOf(q, unit)
		c.add("  "+name, d.Mean, d.Interval)
	}
	t.headed(c, nil)
}
