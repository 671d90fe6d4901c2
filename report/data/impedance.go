package data

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"coilsweep/fit"
	"coilsweep/report/notation"
)

// impedanceColumns are the columns of impedance.csv, with what they hold. Those of a
// quantity stand for two, the second with its U95.
var impedanceColumns = []struct {
	name, means string
	of          func(z fit.Impedance) fit.Quantity // nil: a number
	number      func(z fit.Impedance) float64
}{
	{"frequency_hz", "80 a decade, from 20 Hz to the end of the sweep", nil,
		func(z fit.Impedance) float64 { return z.Hz }},
	{"resistance_ohm", "real part of the impedance, ohm",
		func(z fit.Impedance) fit.Quantity { return z.Resistance }, nil},
	{"reactance_ohm", "imaginary part, ohm", func(z fit.Impedance) fit.Quantity { return z.Reactance }, nil},
	{"correlation", "correlation coefficient of the two", nil,
		func(z fit.Impedance) float64 { return z.Correlation }},
	{"magnitude_ohm", "magnitude, ohm", func(z fit.Impedance) fit.Quantity { return z.Magnitude }, nil},
	{"phase_deg", "phase, degrees", func(z fit.Impedance) fit.Quantity { return z.PhaseDeg }, nil},
}

// ImpedanceCSV writes the impedance of a coil alone, a row for each frequency. What is
// not known is an empty field.
func ImpedanceCSV(w io.Writer, list []fit.Impedance, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	var header []string
	for _, c := range impedanceColumns {
		header = append(header, c.name)
		if c.of != nil {
			header = append(header, column(c.name, "U95", true))
		}
	}
	sheet.row(header...)
	for _, z := range list {
		var row []string
		for _, c := range impedanceColumns {
			if c.of != nil {
				row = append(row, sheet.quantity(c.of(z))...)
			} else {
				row = append(row, sheet.number(c.number(z)))
			}
		}
		sheet.row(row...)
	}
	return sheet.end()
}

// Touchstone writes the impedance of the coil called name, alone, as a file of one port by
// the Touchstone File Format Specification, version 1.1. That has impedances divided by the
// reference resistance, version 2.0 has them in ohm: with a reference of 1 ohm, in which
// they stand here, both say the same. Frequencies at which it is not known are left out.
func Touchstone(w io.Writer, name string, list []fit.Impedance) error {
	var b strings.Builder
	fmt.Fprintf(&b, "! impedance of the coil %s alone, ohm; its uncertainty stands in impedance.csv\n",
		strconv.QuoteToASCII(notation.Visible(name)))
	b.WriteString("# HZ Z RI R 1\n! frequency, real part, imaginary part\n")
	for _, z := range list {
		if r, x := z.Resistance, z.Reactance; r.Known() && x.Known() {
			fmt.Fprintf(&b, "%.9g %.9g %.9g\n", z.Hz, r.Value, x.Value)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}
