package page

import (
	"html/template"
	"slices"
	"time"

	"coilsweep/fit/comparison"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// manyPage is what the pages about several coils have in common.
type manyPage struct {
	frame
	Summary     []string
	Properties  []string
	Rows        []coilRow
	Reasons     []string
	Remarks     []string
	Overlays    []titled
	OverlayNote string
	Banded      bool // overlays show U95 of coils that have styles of their own
	charts
}

// coilRow is a coil with its properties in a table.
type coilRow struct {
	named
	Reference bool
	Verdict   string
	Failed    bool
	Values    []markedCell
	Deltas    []markedCell // against the reference
}

// named is a coil or a take at the head of a row.
type named struct {
	Name, Folder string
	Glyph        template.HTML
	Long         bool
}

func newNamed(name, folder string, glyph template.HTML) named {
	return named{notation.Tied(name), notation.Visible(folder), glyph, len([]rune(name)) > 24}
}

// markedCell is a cell of a table that may stand out.
type markedCell struct {
	Text, Note string
	Marked     bool
}

func newManyPage(kind, title, program string, made time.Time) manyPage {
	p := manyPage{frame: newFrame(kind, title, source("many.css"))}
	p.madeAt(made, program)
	return p
}

// table fills in the values of the properties of all rows, a column with one
// prefix.
func (p *manyPage) table(m words.Many) {
	var n notation.Notes
	for k, property := range m.Properties {
		p.Properties = append(p.Properties, property.Name)
		for i, text := range n.Cells(words.UnitOf(property), m.Values[k]...) {
			p.Rows[i].Values = append(p.Rows[i].Values, markedCell{Text: notation.Tied(text), Marked: m.Outlying(k, i)})
		}
	}
	p.Reasons = n.Reasons()
}

// finish fills in the figures' numbers.
func (p *manyPage) finish(draw *drawing) error {
	if p.Overlays != nil {
		p.Data = template.JS(draw.columns.JSON())
	}
	return draw.err
}

// glyphOf is the glyph of a coil that has a style of its own.
func glyphOf(s figure.CoilStyle) template.HTML {
	if !s.Own {
		return ""
	}
	return glyph(s.Style)
}

// overlays draws the responses of all coils with the same load.
func (p *manyPage) overlays(coils []comparison.Coil, names []string, order []int, styles []figure.CoilStyle,
	draw *drawing) {
	for n, o := range figure.Overlays(coils) {
		title, curves := notation.UpperFirst(o.Load), o.Curves
		overlay := func(s figure.Shape) *plot.Figure {
			return figure.Overlay(n, title, curves, names, order, styles, s)
		}
		p.Overlays = append(p.Overlays, titled{title, draw.one(overlay(figure.Wide), "w"),
			draw.one(overlay(figure.Narrow), "n")})
		if p.Keys != nil {
			continue
		}
		p.KeyColumns = []string{"coil", title, "U95"}
		for _, i := range order {
			c, of := curves[i], &draw.columns
			p.Keys = append(p.Keys, key{
				Group: styles[i].Group, Name: shortName(names[i]), Full: names[i], Glyph: glyphOf(styles[i]),
				X:       of.Number(c.FrequencyHz),
				Columns: []cursorColumn{{of.Number(c.MagnitudeDB), "dB"}, {of.Number(c.MagnitudeU95DB), "± dB"}},
			})
		}
	}
	p.Banded = slices.ContainsFunc(styles, func(s figure.CoilStyle) bool { return s.Own })
	if slices.ContainsFunc(styles, func(s figure.CoilStyle) bool { return !s.Own }) {
		p.OverlayNote = "The thin lines are the coils that are not named at the side; the switches show which is which."
	}
}

// charts are small figures of a page.
type charts struct{ Charts []titled }

// chart adds a figure; nil is left out.
func (p *charts) chart(f *plot.Figure, title string, draw *drawing) {
	if svg := draw.small(f, ""); svg != "" {
		p.Charts = append(p.Charts, titled{title, svg, ""})
	}
}
