// Package markup writes parts of the bench page: finished markup, in which all that
// somebody wrote is text.
package markup

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

// Places are the contents of places of the page, by their ids. An empty place is not
// shown.
type Places map[string]template.HTML

// Shows is an answer, or an event, that brings nothing but contents of places.
type Shows struct {
	HTML Places `json:"html"`
}

// Action is a button that does something.
type Action struct {
	Do      string // what: a name that a module of the page knows
	Label   string
	Class   string
	Step    string
	Redo    string // a take that is made again
	Options map[string]string
}

//go:embed fragments.html
var fragmentsHTML string

var fragments = template.Must(template.New("").Funcs(template.FuncMap{
	"said": Said, "shown": notation.Visible, "clock": clock, "json": asJSON,
}).Parse(fragmentsHTML))

// Fragment fills the template called name.
func Fragment(name string, view any) template.HTML {
	var b strings.Builder
	if err := fragments.ExecuteTemplate(&b, name, view); err != nil {
		panic(err) // a template that does not go with its view
	}
	return template.HTML(strings.TrimSpace(b.String()))
}

// Text is plain text as the content of a place.
func Text(s string) template.HTML { return template.HTML(template.HTMLEscapeString(s)) }

// Said is a sentence of the program as the page shows it, with true minus signs and
// without the names of options.
func Said(s string) string { return notation.Typeset(workbench.ForPage(s)) }

// AllSaid is Said for each of a list.
func AllSaid(texts []string) []string {
	out := make([]string, len(texts))
	for i, s := range texts {
		out[i] = Said(s)
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

// Figures are drawings of the program below each other, each in the two widths of
// which the page shows the one that fits.
func Figures(drawings ...figure.Drawing) template.HTML {
	view := struct{ Large, Small []drawn }{}
	for _, d := range drawings {
		if f := newDrawn(d); d.Narrow == "" {
			view.Small = append(view.Small, f)
		} else {
			view.Large = append(view.Large, f)
		}
	}
	return Fragment("figures", view)
}

// Drawing is a figure that stands alone.
func Drawing(d figure.Drawing) template.HTML { return Fragment("drawing", newDrawn(d)) }

// drawn is a drawing for a template: figures escape their text.
type drawn struct {
	Title, Columns string
	Wide, Narrow   template.HTML
}

func newDrawn(d figure.Drawing) drawn {
	return drawn{d.Title, d.Columns, template.HTML(d.Wide), template.HTML(d.Narrow)}
}

// PartOf are parts of the reports below each other.
func PartOf(parts page.Parts, names ...string) (out template.HTML) {
	for _, name := range names {
		out += template.HTML(workbench.WithoutFlags(string(parts[name])))
	}
	return out
}
