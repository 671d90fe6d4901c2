package page

import (
	"html/template"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

type (
	inHarness struct {
		About    string
		Figure   template.HTML
		Sounds   []soundRow // as set, and without each part
		Knobs    []soundRow // at other positions
		Reasons  []string
		Warnings []string
	}
	soundRow struct{ What, Peak, Height, Q, Level string }
)

// newInHarness is what coils do in a guitar, without the figure.
func newInHarness(h harness.Prediction) *inHarness {
	out := &inHarness{About: words.InHarness(h.Coils, h.Harness), Warnings: notation.TypesetAll(h.Warnings)}
	names, sounds := []string{"as set"}, []harness.Sound{h.Sound}
	for _, r := range h.Without {
		names, sounds = append(names, "without the "+notation.Visible(r.Part)), append(sounds, r.Sound)
	}
	for _, at := range h.Positions {
		names, sounds = append(names, words.Knob(at)), append(sounds, at.Sound)
	}
	var n notation.Notes
	cells := func(unit quantity.Unit, get func(harness.Sound) fit.Quantity) []string {
		var column []fit.Quantity
		for _, s := range sounds {
			column = append(column, get(s))
		}
		return n.Cells(unit, column...)
	}
	peak := cells(quantity.Hertz, func(s harness.Sound) fit.Quantity { return s.Peak })
	height := cells(quantity.Decibel, func(s harness.Sound) fit.Quantity { return s.PeakDB })
	q := cells(quantity.Ratio, func(s harness.Sound) fit.Quantity { return s.Q })
	level := cells(quantity.Decibel, func(s harness.Sound) fit.Quantity { return s.Level })
	var rows []soundRow
	for i, name := range names {
		rows = append(rows, soundRow{name, peak[i], height[i], q[i], level[i]})
	}
	out.Sounds = rows[:1+len(h.Without)]
	if len(h.Positions) > 0 {
		out.Knobs = rows[1+len(h.Without):]
	}
	out.Reasons = n.Reasons()
	return out
}

// inHarness is what the coil does in a guitar.
func (p *coilPage) inHarness(h harness.Prediction, draw *drawing) {
	p.Harness = newInHarness(h)
	p.Harness.Figure = draw.both(func(s figure.Shape) *plot.Figure {
		f := figure.NewPredicted(h).Figure(h, s)
		if f != nil {
			f.Zoom = false // it has another frequency axis than the takes
		}
		return f
	})
}
