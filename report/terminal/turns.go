package terminal

import (
	"io"

	"coilsweep/fit/turns"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Turns writes what to wind as text for a terminal.
func Turns(w io.Writer, s turns.Sheet, o Options) error {
	t := newTable(w, o)
	t.title(words.InHarness(s.Coils, s.Guitar) + ": what to wind for " + words.Wish(s))
	for _, said := range words.Turns(s) {
		t.hanging("·", sgrFaint, said)
	}
	if len(s.Options) > 0 {
		wires := notation.Each(s.Options, words.Wound)
		for _, one := range words.OptionTables(s, &t.notes) {
			t.line("")
			t.optionTable(one, wires)
		}
	}
	t.line("")
	t.line("The laws that lead from one winding to another, as exponents:")
	names, laws := words.LawTable(s, &t.notes)
	t.optionTable(laws, notation.Each(names, func(name string) string { return "  " + name }))
	if refused := words.Refused(s); refused != nil {
		t.line("")
		t.line("Out of the question:")
		for _, said := range refused {
			t.hanging("·", "", said)
		}
	}
	t.reasons()
	t.u95(words.TurnsU95)
	t.warnings("Warning: ", s.Warnings)
	t.warnings("Assumed: ", s.Assumed)
	return t.out.Flush()
}

func (t *table) optionTable(one words.OptionTable, rows []string) {
	c := columns{gap: 2}
	c.column(one.Head, false, rows)
	for _, column := range one.Columns {
		c.column(column.Name, true, column.Cells)
	}
	t.headed(c, nil)
}
