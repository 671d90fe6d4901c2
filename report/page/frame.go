// Package page writes HTML pages about a coil, a comparison, a batch or a
// prediction, and the guide to the bench: each one file that needs nothing else.
package page

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"time"

	"coilsweep/report/notation"
	"coilsweep/report/plot"
)

var (
	//go:embed frame.html
	frameHTML string
	//go:embed page.css
	pageCSS string
	//go:embed page.js
	pageJS string

	frameTemplate = template.Must(template.New("frame").Parse(frameHTML))
)

// frame is what every page has: head, heading, sections, the figures' controls
// and what is told of how it was made. A frame without a Kind has no heading.
type frame struct {
	Kind, Title, Heading string
	About                []string
	Sections             []section
	Provenance           []fact

	// Data are the numbers behind the figures; empty: the page has no script.
	Data       template.JS
	Keys       []key
	KeyColumns []string // of the table of values at the cursor
	Folded     bool     // that table
	Layers     []layer

	css string
}

type (
	section struct{ ID, Title string }
	fact    struct{ Name, Value string }
	key     struct {
		Group, Name, Full string
		Glyph             template.HTML
		X                 int
		Columns           []cursorColumn
	}
	cursorColumn struct {
		Number int
		Unit   string
	}
	layer  struct{ Class, Name string }
	titled struct {
		Title       string
		SVG, Narrow template.HTML // Narrow is empty where one shape does for both
	}
)

// newFrame is the frame of a page with the style css beside that of all pages.
func newFrame(kind, heading, css string) frame {
	return frame{Kind: kind, Title: heading, Heading: heading, css: plot.Palette + plot.CSS + pageCSS + css}
}

// madeAt tells when and by which program the page was made.
func (f *frame) madeAt(made time.Time, program string) {
	if !made.IsZero() {
		f.About = append(f.About, made.Format("2 January 2006"))
		f.Provenance = append(f.Provenance, fact{"page made", made.Format("2006-01-02 15:04:05 -07:00")})
	}
	if program != "" {
		f.Provenance = append(f.Provenance, fact{"page made by", notation.Visible(program)})
	}
}

// CSS is the page's style.
func (f frame) CSS() template.CSS { return template.CSS(f.css) }

// Script is the page's script.
func (f frame) Script() template.JS { return template.JS(pageJS) }

// CSP is the content security policy: the style and the script of the page
// itself, by their checksums, and nothing else.
func (f frame) CSP() string {
	script := ""
	if f.Data != "" {
		script = "script-src '" + checksumOf(pageJS) + "'; "
	}
	return "default-src 'none'; img-src data:; " + script +
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

// writePage fills a page's template and writes it, whole or not at all; what
// names the page in errors.
func writePage(w io.Writer, t *template.Template, view any, what string) error {
	var b bytes.Buffer
	if err := t.Execute(&b, view); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	_, err := w.Write(b.Bytes())
	return err
}

// shortName is a take's name for places that repeat it: at most 32 cells, cut
// in the middle.
func shortName(name string) string {
	return notation.Tied(plot.Shortened(notation.Visible(name), 32))
}
