package data

import (
	"io"
	"strconv"
	"strings"
	"time"

	"coilsweep/fit"
	"coilsweep/report/words"
)

// listRecord is a coil as ListJSON writes it.
type listRecord struct {
	Folder      string       `json:"folder"`
	Coil        string       `json:"coil"`
	Measured    *time.Time   `json:"measured"`
	Takes       int          `json:"takes"`
	State       string       `json:"state"`
	Stale       []string     `json:"stale"`
	Flags       []string     `json:"flags"`
	Resonance   fit.Quantity `json:"resonance_hz"`
	Q           fit.Quantity `json:"q"`
	Of          string       `json:"resonance_of"`
	Inductance  fit.Quantity `json:"inductance_h"`
	Capacitance fit.Quantity `json:"capacitance_f"`
	Resistance  fit.Quantity `json:"resistance_ohm"`
}

// ListJSON writes the list as a JSON array.
func ListJSON(w io.Writer, list []words.Listed) error {
	records := []listRecord{}
	for _, l := range list {
		hz, q, of := l.Resonance()
		r := listRecord{
			Folder: l.Folder, Coil: l.Coil, Takes: l.Takes, State: l.State(), Stale: orEmpty(l.Stale),
			Flags:     orEmpty(l.Flags),
			Resonance: hz, Q: q, Of: of,
			Inductance: words.ListColumns[2].Of(l), Capacitance: words.ListColumns[3].Of(l),
			Resistance: words.ListColumns[4].Of(l),
		}
		if !l.Measured.IsZero() {
			r.Measured = &l.Measured
		}
		records = append(records, r)
	}
	return writeJSON(w, records)
}

// ListCSV writes the list for a spreadsheet: one row a coil, SI units named in
// the header, what is not known empty.
func ListCSV(w io.Writer, list []words.Listed, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	header := []string{"folder", "coil", "measured", "takes", "state", "flags", "resonance_of"}
	for _, c := range words.ListColumns {
		header = append(header, c.CSV, c.CSV+"_U95")
	}
	sheet.row(header...)
	for _, l := range list {
		date := ""
		if !l.Measured.IsZero() {
			date = l.Measured.Format("2006-01-02 15:04:05")
		}
		_, _, of := l.Resonance()
		row := []string{cellText(l.Folder), cellText(l.Coil), date, strconv.Itoa(l.Takes), l.State(),
			cellText(strings.Join(l.Flags, " ")), cellText(of)}
		for _, c := range words.ListColumns {
			row = append(row, sheet.quantity(c.Of(l))...)
		}
		sheet.row(row...)
	}
	return sheet.end()
}
