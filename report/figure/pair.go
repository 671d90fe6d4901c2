package figure

import (
	"fmt"
	"io"
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit/pair"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// pairBelowPeakDB is how far below the highest level a pair's connections are shown.
const pairBelowPeakDB = 40

// Pair shows a pair's connections in the guitar, each with its U95 and its peak: in one
// figure those that sound as one coil or in phase, in another those out of phase. None
// where the guitar was not asked for.
func Pair(r *pair.Result, s Shape) (figures []*plot.Figure) {
	for _, of := range []struct{ id, title, phase string }{
		{"pair-in", "In phase and split", "in"}, {"pair-out", "Out of phase", "out"},
	} {
		f := &plot.Figure{ID: of.id + "-" + s.Name, Title: of.title, Width: s.Width, Height: s.Height + 40, Zoom: true,
			X: plot.Axis{Label: "frequency, Hz", Log: true}}
		e := plot.NoExtent()
		said := ""
		for i, g := range r.Guitar {
			if (g.Phase == "out") != (of.phase == "out") {
				continue
			}
			one := plot.Series{Kind: plot.Curve, Style: i, Name: shortConnection(g)}
			for _, p := range g.Response {
				if q := p.LevelDB; q.Known() {
					one.X, one.Y, one.Half = append(one.X, p.FrequencyHz), append(one.Y, q.Value), append(one.Half, q.U95)
					e.Take([]float64{q.Value - q.U95, q.Value + q.U95})
				}
			}
			if one.X == nil {
				continue
			}
			f.X.Min, f.X.Max = one.X[0], one.X[len(one.X)-1]
			f.Series = append(f.Series, one)
			if g.Peak.Known() && g.PeakDB.Known() && g.Level.Known() {
				said += fmt.Sprintf("; %s: peak at %s", words.InGuitar(g), notation.WithU95(g.Peak, quantity.Hertz))
				f.Marks = append(f.Marks, plot.Mark{X: g.Peak.Value, Y: g.Level.Value + g.PeakDB.Value, XHalf: g.Peak.U95,
					YHalf: g.PeakDB.U95, Style: i})
			}
		}
		if f.Series == nil {
			continue
		}
		e.Lo = math.Max(e.Lo, e.Hi-pairBelowPeakDB)
		f.Y = e.Axis("level, dB over the EMF of one coil; band: U95", 10)
		f.Description = sentence("Predicted level over frequency of the connections of a pair" + said)
		figures = append(figures, f)
	}
	return figures
}

// shortConnection names a connection beside its curve, where the phase is said already.
func shortConnection(g pair.InGuitar) string {
	name := g.Wiring
	if g.Part != "" {
		name = "partial"
	}
	if g.Coil != "" {
		name += ", " + notation.Visible(g.Coil)
	}
	return name
}

// PrintPair writes the connections of a pair for print. A *NothingToDrawError says that
// there are none.
func PrintPair(w io.Writer, r *pair.Result, p Printing) error {
	figures := Pair(r, p.shape())
	for _, f := range figures {
		f.Y.Label = f.Title + ": " + f.Y.Label // no title is printed
	}
	if figures == nil {
		return &NothingToDrawError{"pair", "it shows connections in a guitar: describe one"}
	}
	return p.print(w, notation.Visible(r.Pair), figures, 1)
}
