package page

import (
	"html/template"
	"slices"

	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

type inHarness struct {
	About    string
	Figure   template.HTML
	Sounds   []benchRow // as set, and without each part
	Knobs    []benchRow // at other positions
	Reasons  []string
	Assumed  []string
	Warnings []string
}

// newInHarness is what coils do in a guitar, without the figure.
func newInHarness(h harness.Prediction) *inHarness {
	out := &inHarness{About: words.InHarness(h.Coils, h.Harness), Assumed: h.Assumptions, Warnings: h.Warnings}
	without, at := words.Without(h), words.Positions(h)
	removed := notation.Each(without.Names, func(part string) string { return "without the " + part })
	names := slices.Concat([]string{"as set"}, removed, at.Names)
	sounds := slices.Concat([]harness.Sound{h.Sound}, without.Sounds, at.Sounds)
	var n notation.Notes
	rows := make([]benchRow, len(names))
	for _, c := range words.SoundColumns {
		for i, cell := range n.Cells(c.Unit, notation.Each(sounds, c.Of)...) {
			rows[i].Name, rows[i].Cells = names[i], append(rows[i].Cells, cell)
		}
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
