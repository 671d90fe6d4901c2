package page

import (
	"fmt"
	"io"
	"time"

	"coilsweep/fit/pair"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

var pairTemplate = framed(source("pair.html"))

type pairPage struct {
	frame
	Summary, Warnings, Basis []string
	U95                      string
	Tables                   []optionTable
	Takes                    optionTable
	Reasons                  []string
	Responses                []titled
}

// Pair writes one page on a pair, in the manner of Coil; made: zero, not stated.
func Pair(w io.Writer, r *pair.Result, made time.Time, program string) error {
	view, err := newPairPage(r, made, program)
	return writePage(w, pairTemplate, view, err, "page on a pair")
}

// PairParts are "pair" and "pair numbers" of the page on a pair, and its figures.
func PairParts(r *pair.Result) (Parts, []figure.Drawing, error) {
	view, err := newPairPage(r, time.Time{}, "")
	if err != nil {
		return nil, nil, err
	}
	parts := Parts{}
	for _, name := range []string{"pair", "pair numbers"} {
		if err := parts.add(pairTemplate, name, view); err != nil {
			return nil, nil, err
		}
	}
	var figures []figure.Drawing
	for _, f := range view.Responses {
		figures = append(figures, figure.Drawing{Title: f.Title, Wide: string(f.SVG), Narrow: string(f.Narrow)})
	}
	return parts, figures, nil
}

func newPairPage(r *pair.Result, made time.Time, program string) (*pairPage, error) {
	p := &pairPage{frame: newFrame("Pair", notation.Visible(r.Pair), ""), Summary: words.Pair(r), Warnings: r.Warnings,
		Basis: r.Basis, U95: words.PairU95}
	p.madeAt(made, program)
	var n notation.Notes
	for _, t := range words.PairTables(r, &n) {
		p.Tables = append(p.Tables, newOptionTable("Table: "+t.Head, t.OptionTable, t.Rows))
	}
	p.Reasons = n.Reasons()
	names, takes := words.PairTakes(r)
	p.Takes = newOptionTable("Table of takes", takes, names)
	var draw drawing
	wide, narrow := figure.Pair(r, figure.Wide), figure.Pair(r, figure.Narrow)
	for i, f := range wide {
		p.Responses = append(p.Responses, titled{f.Title, draw.small(f, "w"), draw.small(narrow[i], "n")})
	}
	if draw.err != nil {
		return nil, fmt.Errorf("figures of a pair: %w", draw.err)
	}
	p.section(true, "summary", "The pair")
	p.section(true, "numbers", "Numbers")
	p.section(p.Responses != nil, "responses", "Connections in the guitar")
	p.section(true, "takes", "Takes")
	p.section(true, "provenance", "Provenance")
	return p, nil
}
