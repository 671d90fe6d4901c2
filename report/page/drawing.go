package page

import (
	"fmt"
	"html/template"
	"strings"

	"coilsweep/report/figure"
	"coilsweep/report/plot"
)

// drawing collects figures and the numbers behind them.
type drawing struct {
	columns plot.Columns
	err     error
}

// both is a figure in its wide and its narrow shape; the page shows one.
func (d *drawing) both(make func(figure.Shape) *plot.Figure) template.HTML {
	return d.one(make(figure.Wide), "w") + d.one(make(figure.Narrow), "n")
}

// one is a figure as markup with the numbers behind it.
func (d *drawing) one(f *plot.Figure, class string) template.HTML {
	return d.markup(f, class, &d.columns)
}

// small is a figure that is not drawn again, so that nothing stands behind it.
func (d *drawing) small(f *plot.Figure, class string) template.HTML { return d.markup(f, class, nil) }

// markup is a figure as markup. The figure escapes all text itself.
func (d *drawing) markup(f *plot.Figure, class string, columns *plot.Columns) template.HTML {
	if f == nil || d.err != nil {
		return ""
	}
	f.Class = class
	var b strings.Builder
	d.err = f.WriteSVG(&b, columns)
	return template.HTML(b.String())
}

func glyph(style int) template.HTML {
	const key = `<svg class="key s%d" viewBox="-5.5 -5.5 11 11" aria-hidden="true"><path d="%s"/></svg>`
	return template.HTML(fmt.Sprintf(key, style%plot.Styles, plot.Marker(style)))
}
