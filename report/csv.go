package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"coilsweep/fit"
)

// CSVOptions says how a CSV file is written.
type CSVOptions struct {
	// DecimalComma writes 3,14 and parts the fields by semicolons, as
	// spreadsheets of many countries expect.
	DecimalComma bool
}

// csvHeader names the columns of response.csv, units included. Residuals are
// in standard uncertainties, real and imaginary part.
var csvHeader = []string{
	"take", "added_c_f", "added_r_ohm", "frequency_hz",
	"magnitude_db", "u95_db", "phase_deg", "noise_floor_db",
	"fit_magnitude_db", "fit_u95_db", "fit_phase_deg",
	"residual_re_u", "residual_im_u",
	"harmonic2_db", "harmonic3_db",
}

// WriteCSV writes response.csv: one row for each take and frequency, with the
// columns of csvHeader. Magnitudes are in dB over the low-frequency plateau.
// What is not known is an empty field. Takes without a curve have no rows. A
// name that a spreadsheet would take for a formula has an apostrophe before it.
func WriteCSV(w io.Writer, r fit.Result, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	sheet.row(csvHeader...)
	row := make([]string, 0, len(csvHeader))
	for _, t := range r.Takes {
		c := t.Curve
		if c == nil {
			continue
		}
		addedR := ""
		if t.AddedR != nil {
			addedR = sheet.rounded(*t.AddedR, 'g', 9)
		}
		at := func(column []float64, i int) string {
			if i >= len(column) {
				return ""
			}
			return sheet.rounded(column[i], 'f', 5)
		}
		for i, f := range c.FrequencyHz {
			re, im := "", ""
			if i < len(c.Residual) {
				re, im = sheet.rounded(real(c.Residual[i]), 'f', 4), sheet.rounded(imag(c.Residual[i]), 'f', 4)
			}
			row = append(row[:0],
				cellText(t.Name), sheet.rounded(t.AddedC, 'g', 9), addedR, sheet.rounded(f, 'g', 9),
				at(c.MagnitudeDB, i), at(c.MagnitudeU95DB, i), at(c.PhaseDeg, i), at(c.NoiseFloorDB, i),
				at(c.FitMagnitudeDB, i), at(c.FitU95DB, i), at(c.FitPhaseDeg, i),
				re, im,
				at(c.Harmonic2DB, i), at(c.Harmonic3DB, i))
			sheet.row(row...)
		}
	}
	if err := sheet.end(); err != nil {
		return fmt.Errorf("response of coil %q as %w", r.Coil, err)
	}
	return nil
}

// spreadsheet is a CSV file in the making; it keeps the first error.
type spreadsheet struct {
	out   *csv.Writer
	comma bool
}

func newSpreadsheet(w io.Writer, o CSVOptions) *spreadsheet {
	s := &spreadsheet{out: csv.NewWriter(w), comma: o.DecimalComma}
	if o.DecimalComma {
		s.out.Comma = ';'
	}
	return s
}

func (s *spreadsheet) row(cells ...string) { s.out.Write(cells) }

// number is x to nine digits; empty for what is no number.
func (s *spreadsheet) number(x float64) string { return s.rounded(x, 'g', 9) }

// rounded is x to so many digits, as strconv has it; empty for what is no
// number.
func (s *spreadsheet) rounded(x float64, format byte, digits int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	text := strconv.FormatFloat(x, format, digits, 64)
	if s.comma {
		text = strings.Replace(text, ".", ",", 1)
	}
	return text
}

// quantity is value and U95.
func (s *spreadsheet) quantity(q fit.Quantity) []string {
	if !q.Known() {
		return []string{"", ""}
	}
	return []string{s.number(q.Value), s.number(q.U95)}
}

func (s *spreadsheet) end() error {
	s.out.Flush()
	if err := s.out.Error(); err != nil {
		return fmt.Errorf("CSV: %w", err)
	}
	return nil
}

// cellText makes outside text safe as a cell: spreadsheets take a cell that
// begins with one of these characters for a formula, and an apostrophe before
// it for text.
func cellText(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}
