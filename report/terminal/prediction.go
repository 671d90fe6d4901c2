package terminal

import (
	"io"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Prediction writes what coils do in a harness as text for a terminal; target,
// if not nil, is the part that was asked for.
func Prediction(w io.Writer, p harness.Prediction, target *harness.Solution, o Options) error {
	t := newTable(w, o)
	t.title(words.InHarness(p.Coils, p.Harness))
	t.line("")
	c := columns{gap: 2, right: []bool{false, true}}
	row := func(name string, q fit.Quantity, unit quantity.Unit, note string) {
		c.add("  "+name, t.notes.Cell(q, unit), note)
	}
	row("peak frequency", p.Peak, quantity.Hertz, words.Peak(p.Peak))
	row("peak height", p.PeakDB, quantity.Decibel, "above the level at low frequencies")
	row("Q", p.Q, quantity.Ratio, "sharpness")
	row("level", p.Level, quantity.Decibel, "at low frequencies, of the EMF of one coil")
	if target != nil {
		row(target.Part, target.Farad, quantity.Farad, words.Target(*target))
	}
	t.facts(c, 1)
	t.sounds("knob", p, words.Positions(p))
	t.sounds("without the", p, words.Without(p))
	t.reasons()
	t.u95(", from the coils' fits and the tolerances of the parts.")
	t.warnings("Assumed: ", p.Assumptions)
	return t.out.Flush()
}

// sounds is a table of what other positions of the knobs do, or of what the
// guitar does without each part.
func (t *table) sounds(head string, p harness.Prediction, list words.Sounds) {
	if list.Names == nil {
		return
	}
	c := columns{gap: 2}
	c.column(head, false, list.Names)
	for k, column := range words.SoundColumns {
		c.column(column.Name, true, t.notes.Values(column.Unit, notation.Each(list.Sounds, column.Of)...))
		if k > 0 {
			continue
		}
		var changes []string
		for _, s := range list.Sounds {
			change := notation.None
			if s.Peak.Known() && p.Peak.Known() {
				change = notation.Change(100 * (s.Peak.Value/p.Peak.Value - 1))
			}
			changes = append(changes, change)
		}
		c.column("change", true, changes)
	}
	t.line("")
	t.headed(c, nil)
}
