package terminal

import (
	"io"

	"coilsweep/fit/pair"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Pair writes a pair as text for a terminal.
func Pair(w io.Writer, r *pair.Result, o Options) error {
	t := newTable(w, o)
	t.title(notation.Visible(r.Pair))
	for _, said := range words.Pair(r) {
		t.hanging("·", sgrFaint, said)
	}
	for _, one := range words.PairTables(r, &t.notes) {
		t.line("")
		t.optionTable(one.OptionTable, one.Rows)
	}
	t.line("")
	t.line("Based on:")
	for _, b := range r.Basis {
		t.hanging("·", "", notation.Typeset(b)+".")
	}
	t.reasons()
	t.u95(words.PairU95)
	t.warnings("Warning: ", r.Warnings)
	return t.out.Flush()
}
