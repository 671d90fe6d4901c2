package words

import (
	"fmt"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// MeterUnit is the unit of a meter's quantity.
func MeterUnit(what string) quantity.Unit {
	switch what {
	case "L":
		return quantity.Henry
	case "C":
		return quantity.Farad
	case "R":
		return quantity.Ohm
	}
	return quantity.Ratio
}

// MeterPlace is what was read, and how: "L at 1 kHz, series".
func MeterPlace(m fit.MeterResult) string {
	place := notation.Visible(m.What)
	if m.AtHz != 0 {
		place += " at " + notation.Nominal(m.AtHz, quantity.Hertz)
	}
	if m.Mode != "" {
		place += ", " + notation.Visible(m.Mode)
	}
	return place
}

// Effects leads from the coil's own value to the reading: "2.40 H at low
// frequency; eddy currents −3.1 %, self-capacitance +1.2 %".
func Effects(m fit.MeterResult) string {
	e := m.Explanation
	if e == nil || len(e.Effects) == 0 {
		return ""
	}
	from := map[string]string{
		"L": "at low frequency", "R": "at the takes' temperature", "C": "the coil's own",
		"Q": "by L and R alone", "D": "by L and R alone",
	}[m.What]
	parts := notation.Each(e.Effects, func(effect fit.MeterEffect) string {
		return notation.Visible(effect.What) + " " + notation.Change(effect.Percent)
	})
	return fmt.Sprintf("%s %s; %s", quantity.Format(e.From, MeterUnit(m.What), 4), from, strings.Join(parts, ", "))
}

// AccountRow is a capacitance of an account, or the sum of those above it.
type AccountRow struct {
	fit.AccountLine
	Sum bool
}

// Account are the rows of an account of all capacitance, in order.
func Account(a *fit.Account) []AccountRow {
	var rows []AccountRow
	add := func(sum bool, lines ...fit.AccountLine) {
		for _, l := range lines {
			rows = append(rows, AccountRow{l, sum})
		}
	}
	add(false, a.Lines...)
	add(true, fit.AccountLine{What: "sum", Farad: a.Sum})
	add(false, fit.AccountLine{What: "as the takes show", Farad: a.Total, Source: "with nothing added"})
	if a.PerMetre != nil {
		add(false, fit.AccountLine{What: "a metre of cable", Farad: *a.PerMetre})
	}
	add(false, a.Added...)
	return rows
}

// Unaccounted says what is left of the capacitance after all that is stated, and then
// whether cable and input agree with the fixture of the takes.
func Unaccounted(a *fit.Account) []string {
	if a.En == nil {
		return []string{"Unaccounted: not known: " + notation.Typeset(a.Unaccounted.Why) + "."}
	}
	judged := func(en float64, verdict string) string {
		return "En " + notation.En(&en) + ": " + notation.Typeset(verdict)
	}
	said := []string{fmt.Sprintf("Unaccounted: %s; %s.", notation.WithU95(a.Unaccounted, quantity.Farad),
		judged(*a.En, a.Verdict))}
	if c := a.Fixture; c != nil {
		said = append(said, judged(c.En, c.Verdict)+".")
	}
	return said
}
