package page

import (
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

type (
	meterRow struct {
		What, At, Mode, Reading, Expected, En, Verdict string
		// How the reading comes about, what is to be noted, what would explain a
		// disagreement.
		Effects       string
		Notes, Causes []string
	}
	account struct {
		Rows, Added []accountRow
		Sum, Total  string
		PerMetre    string
		En, Verdict string
		Reasons     []string
	}
	accountRow struct{ What, Farad, Source string }
)

func (p *coilPage) meter(readings []fit.MeterResult) {
	for _, m := range readings {
		unit := words.MeterUnit(m.What)
		row := meterRow{What: notation.Visible(m.What), At: notation.None, Mode: notation.Visible(m.Mode),
			Reading: quantity.FormatWithU95(m.Reading, m.U95, unit), Expected: orWhy(m.Expected, unit),
			En: notation.En(m.En), Verdict: notation.Typeset(m.Verdict)}
		if m.AtHz != 0 {
			row.At = notation.Nominal(m.AtHz, quantity.Hertz)
		}
		if e := m.Explanation; e != nil {
			row.Effects = notation.Tied(words.Effects(m))
			row.Notes, row.Causes = notation.TypesetAll(e.Notes), notation.TypesetAll(e.Causes)
		}
		p.Meter = append(p.Meter, row)
	}
}

// Explained tells whether there is more to say of a reading than its verdict.
func (m meterRow) Explained() bool { return m.Effects != "" || len(m.Notes)+len(m.Causes) > 0 }

// Title is what was read, and how.
func (m meterRow) Title() string {
	parts := []string{m.What}
	if m.At != notation.None {
		parts[0] += " at " + m.At
	}
	if m.Mode != "" {
		parts = append(parts, m.Mode)
	}
	return notation.Tied(strings.Join(parts, ", "))
}

func (p *coilPage) account(a *fit.Account) {
	if a == nil || len(a.Lines) == 0 {
		return
	}
	var n notation.Notes
	rows := func(lines []fit.AccountLine) (out []accountRow) {
		for _, l := range lines {
			out = append(out, accountRow{notation.Visible(l.What), n.Cell(l.Farad, quantity.Farad),
				notation.Visible(l.Source)})
		}
		return out
	}
	out := &account{Rows: rows(a.Lines), Added: rows(a.Added), Sum: n.Cell(a.Sum, quantity.Farad),
		Total: n.Cell(a.Total, quantity.Farad), Verdict: notation.Typeset(a.Verdict)}
	if a.En != nil {
		out.En = notation.En(a.En)
	}
	if a.PerMetre != nil {
		out.PerMetre = n.Cell(*a.PerMetre, quantity.Farad)
	}
	out.Reasons = n.Reasons()
	p.Account = out
}
