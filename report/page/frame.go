// Package page writes HTML pages about a coil, a comparison, a batch or a
// prediction, and the guide to the bench: each one file that needs nothing else.
package page

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

//go:embed *.html *.css *.js
var sources embed.FS

// source is the text of a file that pages are made of.
func source(name string) string {
	text, err := sources.ReadFile(name)
	if err != nil {
		panic(err) // it is embedded
	}
	return string(text)
}

var pageJS, hearJS = plot.InlineScript() + source("page.js"), source("hear.js")

// functions are what templates call, to put what they show into words.
var functions = template.FuncMap{
	"lacking": notation.Lacking, "section": openSection, "table": openTable, "bar": bar, "shortName": shortName,
	"visible": notation.Visible, "typeset": notation.Typeset, "tied": notation.Tied, "upperFirst": notation.UpperFirst,
	"minus": quantity.Minus, "nominal": notation.Nominal, "percent": notation.Percent, "en": notation.En,
	"count": notation.Count, "basis": basis, "orWhy": orWhy, "reasons": reasons,
	"notes":        func() *notation.Notes { return new(notation.Notes) },
	"model":        func(m fit.Model) string { return notation.UpperFirst(words.Model(m)) },
	"quantityName": func(key string) string { name, _ := notation.QuantityName(key); return notation.Visible(name) },
	"distribution": func(q fit.MonteCarloQuantity) notation.Distribution {
		_, unit := notation.QuantityName(q.Name)
		return notation.DistributionOf(q, unit)
	},
	"apart": func(q fit.Quantity, unit quantity.Unit) [2]string {
		value, spread := notation.Apart(q, unit)
		return [2]string{value, spread}
	},
	"eddyName": words.EddyName, "account": words.Account, "unaccounted": words.Unaccounted,
	"effects": words.Effects, "meterPlace": words.MeterPlace,
	"partCells": partCells, "readingCells": readingCells,
}

var frameTemplate = template.Must(template.New("frame").Funcs(functions).Parse(source("frame.html")))

// openSection begins a section with its heading. Its texts, as those of openTable, are of type
// HTML, so that templates can give their own texts alone.
func openSection(id, title template.HTML) template.HTML {
	return `<section id="` + id + `" aria-labelledby="` + id + `-h">
  <h2 id="` + id + `-h">` + title + `</h2>`
}

// openTable begins a table that scrolls: its name, its caption, and the heads of its columns; |
// before a head says that text stands below it, flush left.
func openTable(label, caption template.HTML, columns ...template.HTML) template.HTML {
	out := `<div class="scroll" tabindex="0" role="region" aria-label="` + label + `"><table>`
	if caption != "" {
		out += `<caption>` + caption + `</caption>`
	}
	out += `<thead><tr>`
	for _, column := range columns {
		class := template.HTML("")
		if head, text := strings.CutPrefix(string(column), "|"); text {
			class, column = ` class="text"`, template.HTML(head)
		}
		out += `<th scope="col"` + class + `>` + column + `</th>`
	}
	return out + `</tr></thead><tbody>`
}

// frame is what every page has: head, heading, sections, the figures' controls
// and what is told of how it was made. A frame without a Kind has no heading.
type frame struct {
	Kind, Title, Heading string
	About                []string
	Sections             []fact // ID and title
	Provenance           []fact

	// Data are the numbers behind the figures; empty: the page has no script.
	Data template.JS
	// Listening are sounds to compare; nil: the page has none.
	Listening  *listening
	Keys       []key
	KeyColumns []string // of the table of values at the cursor
	Folded     bool     // that table
	Layers     []fact   // class and name

	css string
}

type (
	fact struct{ Name, Value string }
	key  struct {
		Group, Name, Full string
		Glyph             template.HTML
		X                 int
		Columns           []cursorColumn
	}
	cursorColumn struct {
		Number int
		Unit   string
	}
	titled struct {
		Title       string
		SVG, Narrow template.HTML // Narrow is empty where one shape does for both
	}
	// benchRow is a row of a table: its head, and texts.
	benchRow struct {
		Name  string
		Cells []string
	}
)

// newFrame is the frame of a page with the style css beside that of all pages.
func newFrame(kind, heading, css string) frame {
	return frame{Kind: kind, Title: heading, Heading: heading, css: plot.Palette + plot.CSS + source("page.css") + css}
}

// section adds a section to the page's navigation if it is there.
func (f *frame) section(there bool, id, title string) {
	if there {
		f.Sections = append(f.Sections, fact{id, title})
	}
}

// provenance adds a fact on how the page was made, unless nothing is known of it.
func (f *frame) provenance(name, value string) {
	if value != "" {
		f.Provenance = append(f.Provenance, fact{name, notation.Visible(value)})
	}
}

// madeAt tells when and by which program the page was made.
func (f *frame) madeAt(made time.Time, program string) {
	if !made.IsZero() {
		f.About = append(f.About, made.Format("2 January 2006"))
		f.provenance("page made", made.Format("2006-01-02 15:04:05 -07:00"))
	}
	f.provenance("page made by", program)
}

// CSS is the page's style.
func (f frame) CSS() template.CSS { return template.CSS(f.css) }

// Scripts are the page's scripts: of the figures and of the sounds.
func (f frame) Scripts() (scripts []template.JS) {
	if f.Data != "" {
		scripts = append(scripts, template.JS(pageJS))
	}
	if f.Listening != nil {
		scripts = append(scripts, template.JS(hearJS))
	}
	return scripts
}

// CSP is the content security policy: the style and the scripts of the page
// itself, by their checksums, its own sounds, and nothing else.
func (f frame) CSP() string {
	more := ""
	for i, script := range f.Scripts() {
		if i == 0 {
			more = "script-src"
		}
		more += " '" + checksumOf(string(script)) + "'"
	}
	if more != "" {
		more += "; "
	}
	if f.Listening != nil {
		more += "media-src data:; "
	}
	return "default-src 'none'; img-src data:; " + more +
		"style-src '" + checksumOf(f.css) + "'; base-uri 'none'; form-action 'none'"
}

// checksumOf is the source expression of Content Security Policy Level 2 for
// an inline style or script.
func checksumOf(s string) string {
	sum := sha256.Sum256([]byte(s))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

// framed is a page's template: its text inside the frame.
func framed(text string) *template.Template {
	return template.Must(template.Must(frameTemplate.Clone()).New("content").Parse(text)).Lookup("frame")
}

// writePage fills a page's template and writes it, whole or not at all, unless
// there is an error already; what names the page in errors.
func writePage(w io.Writer, t *template.Template, view any, err error, what string) error {
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := t.Execute(&b, view); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	_, err = w.Write(b.Bytes())
	return err
}

// shortName is a take's name for places that repeat it: at most 32 cells, cut
// in the middle.
func shortName(name string) string {
	return notation.Tied(plot.Shortened(notation.Visible(name), 32))
}

// basis is what a result is based on.
func basis(list []string) string { return strings.Join(notation.Each(list, notation.Typeset), "; ") }

func orWhy(q fit.Quantity, unit quantity.Unit) string {
	if q.Known() {
		return notation.WithU95(q, unit)
	}
	return notation.None + " " + notation.Typeset(q.Why)
}

// reasons say why each of list is not known, a reason that was given already in short.
func reasons(list []words.Number) []string {
	out := make([]string, len(list))
	given := map[string]bool{}
	for i, n := range list {
		switch why := n.Quantity.Why; {
		case n.Quantity.Known():
		case given[why]:
			out[i] = "for the same reason"
		default:
			out[i], given[why] = notation.Typeset(why), true
		}
	}
	return out
}
