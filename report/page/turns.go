package page

import (
	"fmt"
	"html/template"
	"io"
	"time"

	"coilsweep/fit/turns"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

var turnsTemplate = framed(source("turns.html"))

type turnsPage struct {
	frame
	charts
	Summary, Assumed, Warnings, Refused []string
	U95                                 string
	Tables                              []optionTable
	Laws                                optionTable
	Reasons, LawReasons                 []string
}

// optionTable is a table with its opening tags.
type optionTable struct {
	Open template.HTML
	Rows []benchRow
}

func newOptionTable(label string, t words.OptionTable, names []string) optionTable {
	out := optionTable{Rows: notation.Each(names, func(name string) benchRow { return benchRow{Name: name} })}
	heads := []template.HTML{template.HTML(template.HTMLEscapeString(t.Head))}
	for _, c := range t.Columns {
		heads = append(heads, template.HTML(template.HTMLEscapeString(c.Name)))
		for i, cell := range c.Cells {
			out.Rows[i].Cells = append(out.Rows[i].Cells, cell)
		}
	}
	out.Open = openTable(template.HTML(template.HTMLEscapeString(label)), "", heads...)
	return out
}

// Turns writes one page on what to wind, in the manner of Coil; made: zero, not stated.
func Turns(w io.Writer, s turns.Sheet, made time.Time, program string) error {
	view, err := newTurnsPage(s, made, program)
	return writePage(w, turnsTemplate, view, err, "page on what to wind")
}

func newTurnsPage(s turns.Sheet, made time.Time, program string) (*turnsPage, error) {
	p := &turnsPage{frame: newFrame("What to wind", words.InHarness(s.Coils, s.Guitar), ""), Summary: words.Turns(s),
		Assumed: s.Assumed, Warnings: s.Warnings, Refused: words.Refused(s), U95: words.TurnsU95}
	p.madeAt(made, program)
	var draw drawing
	if len(s.Options) > 0 {
		var n notation.Notes
		wires := notation.Each(s.Options, words.Wound)
		for _, t := range words.OptionTables(s, &n) {
			p.Tables = append(p.Tables, newOptionTable("Table of options: "+t.Head, t, wires))
		}
		p.Reasons = n.Reasons()
		for _, f := range figure.Turns(s, figure.Narrow) {
			p.chart(f, f.Title, &draw)
		}
	}
	var n notation.Notes
	names, laws := words.LawTable(s, &n)
	laws.Head = "law"
	p.Laws, p.LawReasons = newOptionTable("Table of laws", laws, names), n.Reasons()
	if draw.err != nil {
		return nil, fmt.Errorf("figures of what to wind: %w", draw.err)
	}
	p.section(true, "summary", "What to wind")
	p.section(p.Tables != nil, "options", "Options")
	p.section(p.Charts != nil, "responses", "Responses")
	p.section(true, "laws", "Laws")
	p.section(p.Refused != nil, "refused", "Out of the question")
	p.section(true, "provenance", "Provenance")
	return p, nil
}
