package data

import (
	"io"

	"coilsweep/fit/pair"
	"coilsweep/report/words"
)

// PairJSON writes a pair for programs.
func PairJSON(w io.Writer, r *pair.Result) error { return writeJSON(w, r) }

// PairCSV writes the responses of a pair's connections in a guitar, one below the other.
func PairCSV(w io.Writer, r *pair.Result, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	sheet.row("frequency_hz", "level_db", "level_U95_db", "connection")
	for _, g := range r.Guitar {
		for _, point := range g.Response {
			sheet.row(append(sheet.point(point), cellText(words.InGuitar(g)))...)
		}
	}
	return sheet.end()
}
