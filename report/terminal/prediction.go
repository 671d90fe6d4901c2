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
	t.sounds("knob", p, true)
	t.sounds("without the", p, false)
	t.reasons()
	t.u95(", from the coils' fits and the tolerances of the parts.")
	t.warnings("Warning: ", p.Warnings)
	return t.out.Flush()
}

// sounds is a table of what other positions of the knobs do, or of what the
// guitar does without each part.
func (t *table) sounds(head string, p harness.Prediction, knobs bool) {
	var names []string
	var sounds []harness.Sound
	for _, at := range p.Positions {
		if knobs {
			names, sounds = append(names, words.Knob(at)), append(sounds, at.Sound)
		}
	}
	for _, r := range p.Without {
		if !knobs {
			names, sounds = append(names, notation.Visible(r.Part)), append(sounds, r.Sound)
		}
	}
	if names == nil {
		return
	}
	rows := columns{gap: 2, right: []bool{false, true, true, true, true, true}}
	header, cells := []string{head}, make([][]string, len(names))
	for k, column := range words.SoundColumns {
		header = append(header, column.Name)
		for i, cell := range notation.ValuesOf(&t.notes, column.Unit, sounds, column.Of) {
			cells[i] = append(cells[i], cell)
		}
		if k > 0 {
			continue
		}
		header = append(header, "change")
		for i, s := range sounds {
			change := notation.None
			if s.Peak.Known() && p.Peak.Known() {
				change = notation.Change(100 * (s.Peak.Value/p.Peak.Value - 1))
			}
			cells[i] = append(cells[i], change)
		}
	}
	rows.add(header...)
	for i, name := range names {
		rows.add(append([]string{name}, cells[i]...)...)
	}
	t.line("")
	t.headed(rows, nil)
}
