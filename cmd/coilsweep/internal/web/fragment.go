package web

import (
	_ "embed"
	"encoding/json"
	"html/template"
	"strings"
	"time"

	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/page"
)

// places are the contents of places of the page, by their ids: finished markup,
// in which all that somebody wrote is text. An empty place is not shown.
type places map[string]template.HTML

// shows is an answer, or an event, that brings nothing but contents of places.
type shows struct {
	HTML places `json:"html"`
}

//go:embed fragments.html
var fragmentsHTML string

var fragments = template.Must(template.New("").Funcs(template.FuncMap{
	"said": said, "shown": notation.Visible, "clock": clock, "json": asJSON,
}).Parse(fragmentsHTML))

// fragment fills the template called name.
func fragment(name string, view any) template.HTML {
	var b strings.Builder
	if err := fragments.ExecuteTemplate(&b, name, view); err != nil {
		panic(err) // a template that does not go with its view
	}
	return template.HTML(strings.TrimSpace(b.String()))
}

// text is plain text as the content of a place.
func text(s string) template.HTML { return template.HTML(template.HTMLEscapeString(s)) }

// said is a sentence of the program as the page shows it, with true minus signs and
// without the names of options.
func said(s string) string { return notation.Typeset(workbench.ForPage(s)) }

// allSaid is said for each of a list.
func allSaid(texts []string) []string {
	out := make([]string, len(texts))
	for i, s := range texts {
		out[i] = said(s)
	}
	return out
}

// clock is how long ago something was.
func clock(t time.Time) string { return notation.Since(t, time.Now()) }

// asJSON is what a button has to say to a module.
func asJSON(v any) (string, error) {
	text, err := json.Marshal(v)
	return string(text), err
}

// figures are drawings of the program below each other, each in the two widths of
// which the page shows the one that fits.
func figures(drawings ...figure.Drawing) template.HTML {
	view := struct{ Large, Small []drawn }{}
	for _, d := range drawings {
		if f := newDrawn(d); d.Narrow == "" {
			view.Small = append(view.Small, f)
		} else {
			view.Large = append(view.Large, f)
		}
	}
	return fragment("figures", view)
}

// drawing is a figure that stands alone.
func drawing(d figure.Drawing) template.HTML { return fragment("drawing", newDrawn(d)) }

// drawn is a drawing for a template: figures escape their text.
type drawn struct {
	Title, Columns string
	Wide, Narrow   template.HTML
}

func newDrawn(d figure.Drawing) drawn {
	return drawn{d.Title, d.Columns, template.HTML(d.Wide), template.HTML(d.Narrow)}
}

// partOf are parts of the reports below each other.
func partOf(parts page.Parts, names ...string) (out template.HTML) {
	for _, name := range names {
		out += template.HTML(workbench.WithoutFlags(string(parts[name])))
	}
	return out
}
