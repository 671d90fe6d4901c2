package data

import (
	"fmt"
	"io"

	"coilsweep/fit"
)

// branchColumns are the columns of branch.csv, with what they hold.
var branchColumns = [][2]string{
	{"frequency_hz", "100, 120, 1000, 10000 Hz and the resonance with nothing added"},
	{"inductance_h", "inductance of the winding in series, without its own capacitance, H"},
	{"inductance_U95_h", "its expanded uncertainty, 95 %, H"},
	{"resistance_ohm", "AC resistance of the winding in series, ohm"},
	{"resistance_U95_ohm", "its expanded uncertainty, 95 %, ohm"},
}

// BranchCSV writes the winding at the frequencies of meters: a row of names, then
// a row for each frequency. What is not known is an empty field.
func BranchCSV(w io.Writer, r fit.Result, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	var header []string
	for _, c := range branchColumns {
		header = append(header, c[0])
	}
	sheet.row(header...)
	for _, p := range r.Branch {
		row := append([]string{sheet.number(p.Hz)}, sheet.quantity(p.Inductance)...)
		sheet.row(append(row, sheet.quantity(p.Resistance)...)...)
	}
	if err := sheet.end(); err != nil {
		return fmt.Errorf("branch of coil %q as %w", r.Coil, err)
	}
	return nil
}
