package data

import (
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"coilsweep/fit/pair"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// ListJSON writes the list as a JSON array.
func ListJSON(w io.Writer, list []words.Listed) error {
	return writeJSON(w, notation.Each(list, func(l words.Listed) Object {
		var measured *time.Time
		if !l.Measured.IsZero() {
			measured = &l.Measured
		}
		hz, q, of := l.Resonance()
		one := Object{{"folder", filepath.ToSlash(l.Folder)}, {"coil", l.Coil}, {"coil_state", l.CoilState},
			{"serial", l.Serial}, {"lot", l.Lot}, {"customer", l.Customer}, {"measured", measured},
			{"takes", l.Takes},
			{"state", l.State()}, {"stale", orEmpty(l.Stale)}, {"flags", orEmpty(l.Flags)}, {"resonance_hz", hz},
			{"q", q},
			{"resonance_of", of}, {"pair", pairOf(l)}}
		for _, c := range words.ListColumns[2:] { // what is told of the coil, beside its resonance
			one = append(one, Object{{c.CSV, c.Of(l)}}...)
		}
		return one
	}))
}

// pairOf is what the folder is of a pair; nil: of none.
func pairOf(l words.Listed) *Object {
	if l.Pair == nil {
		return nil
	}
	return &Object{{"folder", filepath.ToSlash(l.Pair.Folder)}, {"name", l.Pair.Name}, {"role", l.Pair.Role}}
}

// ListCSV writes the list for a spreadsheet: one row a coil, SI units named in
// the header, what is not known empty.
func ListCSV(w io.Writer, list []words.Listed, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	header := []string{"folder", "coil", "measured", "takes", "state", "flags", "resonance_of"}
	for _, c := range words.ListColumns {
		header = append(header, c.CSV, column(c.CSV, "U95", true))
	}
	sheet.row(append(header, "serial", "lot", "customer", "pair", "pair_role")...)
	for _, l := range list {
		_, _, resonanceOf := l.Resonance()
		row := []string{cellText(filepath.ToSlash(l.Folder)), cellText(l.Coil), moment(l.Measured),
			strconv.Itoa(l.Takes), l.State(),
			cellText(strings.Join(l.Flags, " ")), cellText(resonanceOf)}
		for _, c := range words.ListColumns {
			row = append(row, sheet.quantity(c.Of(l))...)
		}
		of := pair.Member{}
		if l.Pair != nil {
			of = *l.Pair
		}
		sheet.row(append(row, cellText(l.Serial), cellText(l.Lot), cellText(l.Customer),
			cellText(filepath.ToSlash(of.Folder)), of.Role)...)
	}
	return sheet.end()
}
