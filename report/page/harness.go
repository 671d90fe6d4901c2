package page

import (
	"fmt"
	"html/template"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
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
	var n notation.Notes
	row := func(what string, s harness.Sound) soundRow {
		return soundRow{what, n.Cell(s.Peak, quantity.Hertz), n.Cell(s.PeakDB, notation.Decibel), n.Cell(s.Q, notation.Ratio), n.Cell(s.Level, notation.Decibel)}
	}
	out := &inHarness{About: strings.Join(notation.VisibleAll(h.Coils), " and "), Warnings: notation.VisibleAll(h.Warnings)}
	if h.Harness != "" {
		out.About += " in " + notation.Visible(h.Harness)
	}
	out.Sounds = append(out.Sounds, row("as set", h.Sound))
	for _, r := range h.Without {
		out.Sounds = append(out.Sounds, row("without the "+notation.Visible(r.Part), r.Sound))
	}
	for _, at := range h.Positions {
		switch {
		case at.Volume != nil:
			out.Knobs = append(out.Knobs, row(fmt.Sprintf("volume %g", *at.Volume), at.Sound))
		case at.Tone != nil:
			out.Knobs = append(out.Knobs, row(fmt.Sprintf("tone %g", *at.Tone), at.Sound))
		}
	}
	for i, why := range n.Reasons {
		out.Reasons = append(out.Reasons, reasonWords(i, why))
	}
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
