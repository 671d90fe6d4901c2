package report

import (
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
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

func (p *page) meter(readings []fit.MeterResult) {
	for _, m := range readings {
		unit := meterUnit(m.What)
		row := meterRow{What: visible(m.What), At: part(m.AtHz, quantity.Hertz), Mode: visible(m.Mode),
			Reading: number(m.Reading, m.U95, unit), Expected: orWhy(m.Expected, unit), En: enWords(m.En), Verdict: visible(m.Verdict)}
		if m.AtHz == 0 {
			row.At = signNone
		}
		if e := m.Explanation; e != nil {
			row.Effects = tied(effectWords(m))
			row.Notes, row.Causes = visibleAll(e.Notes), visibleAll(e.Causes)
		}
		p.Meter = append(p.Meter, row)
	}
}

// Explained tells whether there is more to say of a reading than its verdict.
func (m meterRow) Explained() bool { return m.Effects != "" || len(m.Notes)+len(m.Causes) > 0 }

// Title is what was read, and how.
func (m meterRow) Title() string {
	parts := []string{m.What}
	if m.At != signNone {
		parts[0] += " at " + m.At
	}
	if m.Mode != "" {
		parts = append(parts, m.Mode)
	}
	return tied(strings.Join(parts, ", "))
}

func (p *page) account(a *fit.Account) {
	if a == nil || len(a.Lines) == 0 {
		return
	}
	var n notes
	rows := func(lines []fit.AccountLine) (out []accountRow) {
		for _, l := range lines {
			out = append(out, accountRow{visible(l.What), n.cell(l.Farad, quantity.Farad), visible(l.Source)})
		}
		return out
	}
	out := &account{Rows: rows(a.Lines), Added: rows(a.Added), Sum: n.cell(a.Sum, quantity.Farad), Total: n.cell(a.Total, quantity.Farad),
		Verdict: visible(a.Verdict)}
	if a.En != nil {
		out.En = enWords(a.En)
	}
	if a.PerMetre != nil {
		out.PerMetre = n.cell(*a.PerMetre, quantity.Farad)
	}
	for i, why := range n.reasons {
		out.Reasons = append(out.Reasons, reasonWords(i, why))
	}
	p.Account = out
}
