package page

import (
	"html/template"
	"slices"
	"strings"
	"time"

	"coilsweep/fit"
	"coilsweep/fit/comparison"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
)

// manyPage is what the pages about several coils have in common.
type manyPage struct {
	frame
	Summary     []string
	Overlays    []titled
	OverlayNote string
	Charts      []titled
}

func newManyPage(kind, title, program string, made time.Time) manyPage {
	p := manyPage{frame: newFrame(kind, title, manyCSS)}
	p.madeAt(made, program)
	return p
}

// glyphOf is the glyph of a coil that has a style of its own.
func glyphOf(s figure.CoilStyle) template.HTML {
	if !s.Own {
		return ""
	}
	return glyph(s.Style)
}

// overlayPoints bounds the points of a curve where many are overlaid.
const overlayPoints = 400

// mostOverlays bounds the loads for which responses are overlaid.
const mostOverlays = 3

// overlays draws the responses of all coils with the same load.
func (p *manyPage) overlays(coils []comparison.Coil, names []string, order []int, styles []figure.CoilStyle, draw *drawing) {
	loads := comparison.CommonLoads(coils)
	for n, load := range loads[:min(len(loads), mostOverlays)] {
		curves := make([]*fit.Curve, len(coils))
		for i, coil := range coils {
			if t, ok := comparison.TakeWith(coil.Result, load); ok && t.Curve != nil {
				curves[i] = figure.ThinnedTo(t.Curve, overlayPoints)
			}
		}
		if slices.Contains(curves, nil) {
			continue
		}
		title := notation.UpperFirst(load.String())
		p.Overlays = append(p.Overlays, titled{title, draw.both(func(s figure.Shape) *plot.Figure {
			return figure.Overlay(n, title, curves, names, order, styles, s)
		})})
		if p.Keys != nil {
			continue
		}
		p.KeyColumns = []string{"coil", title, "U95"}
		for _, i := range order {
			p.Keys = append(p.Keys, key{
				Group: styles[i].Group, Name: shortName(names[i]), Full: names[i], Glyph: glyphOf(styles[i]), X: draw.columns.Number(curves[i].FrequencyHz),
				Columns: []cursorColumn{{draw.columns.Number(curves[i].MagnitudeDB), "dB"}, {draw.columns.Number(curves[i].MagnitudeU95DB), "± dB"}},
			})
		}
	}
	if slices.ContainsFunc(styles, func(s figure.CoilStyle) bool { return !s.Own }) {
		p.OverlayNote = "The thin lines are the coils that are not named at the side; the switches show which is which."
	}
}

// chart adds a small figure to the page; nil is left out.
func (p *manyPage) chart(f *plot.Figure, title string, draw *drawing) {
	if f == nil || draw.err != nil {
		return
	}
	var b strings.Builder
	draw.err = f.WriteSVG(&b, nil)
	p.Charts = append(p.Charts, titled{title, template.HTML(b.String())})
}
