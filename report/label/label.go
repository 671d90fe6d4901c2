// Package label writes labels to print and stick on coils, several on a sheet: what a coil
// is called, when it was measured, its numbers, and all that again as a QR code.
package label

import (
	_ "embed"
	"html/template"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/report/notation"
	"coilsweep/report/qr"
	"coilsweep/report/words"
)

// Label is what stands on one.
type Label struct {
	Name, Date string
	Serial     string // "serial 2026-014"; empty: not stated
	Identity   string // that with its lot, as the code has it
	Rows       []Row
	Note       string        // which load resonance and Q, and C, are with; empty: the coil alone
	Code       template.HTML // of Text
}

// Row is a quantity with its U95, or a dash.
type Row struct{ What, Text string }

// Size is the class of numbers the longest of which has no room beside the code in the usual
// size; empty: it has.
func (l Label) Size() string {
	most := 0
	for _, r := range l.Rows {
		most = max(most, utf8.RuneCountInString(r.Text))
	}
	switch {
	case most > 20:
		return "longer"
	case most > 17:
		return "long"
	}
	return ""
}

// New is the label of a coil that was measured at a time and has a result.
func New(name string, measured time.Time, r fit.Result) (Label, error) {
	l := Label{Name: notation.Visible(name)}
	if !measured.IsZero() {
		l.Date = measured.Format(time.DateOnly)
	}
	hz, q, of := words.Listed{Known: evaluation.Known{Result: &r}}.Resonance()
	l.Serial = words.Identity(fit.About{Serial: r.Serial})
	l.Identity = words.Identity(fit.About{Serial: r.Serial, Lot: r.Lot})
	var with []string
	if strings.HasPrefix(of, "take ") {
		with = append(with, "f, Q")
	}
	c := r.CapacitanceCoil
	if !c.Known() && r.Capacitance.Known() {
		c, with = r.Capacitance, append(with, "C")
	}
	if len(with) > 0 {
		l.Note = strings.Join(with, ", ") + " with fixture"
	}
	for _, row := range []struct {
		what string
		q    fit.Quantity
		unit quantity.Unit
	}{{"L", r.Inductance, quantity.Henry}, {"C", c, quantity.Farad}, {"R", r.Resistance, quantity.Ohm},
		{"f", hz, quantity.Hertz}, {"Q", q, quantity.Ratio}} {
		text := notation.None
		if row.q.Known() {
			text = notation.WithU95(row.q, row.unit)
		}
		l.Rows = append(l.Rows, Row{row.what, text})
	}
	code, err := qr.SVG(l.Text(), "The same as a QR code")
	l.Code = template.HTML(code)
	return l, err
}

// Of are the labels of coils.
func Of(coils []evaluation.Measured) (labels []Label, err error) {
	for _, c := range coils {
		l, err := New(c.Name, c.Measured, *c.Result)
		if err != nil {
			return nil, err
		}
		labels = append(labels, l)
	}
	return labels, nil
}

// Text is the label in plain lines, as its code has it.
func (l Label) Text() string {
	lines := []string{l.Name}
	if l.Identity != "" {
		lines = append(lines, l.Identity)
	}
	lines = append(lines, l.Date)
	for _, r := range l.Rows {
		lines = append(lines, r.What+" "+r.Text)
	}
	return strings.TrimSpace(strings.Join(append(lines, l.Note), "\n"))
}

//go:embed label.html
var text string

var templates = template.Must(template.New("").Parse(text))

// Write writes a page with the labels, which needs nothing else.
func Write(w io.Writer, labels []Label) error { return templates.ExecuteTemplate(w, "page", labels) }

// Sheet is the labels alone, as a part of another page.
func Sheet(labels []Label) (template.HTML, error) {
	var b strings.Builder
	err := templates.ExecuteTemplate(&b, "sheet", labels)
	return template.HTML(b.String()), err
}
