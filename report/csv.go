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

// CSVOptions says how response.csv is written.
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
	out := csv.NewWriter(w)
	decimal := func(s string) string { return s }
	if o.DecimalComma {
		out.Comma = ';'
		decimal = func(s string) string { return strings.Replace(s, ".", ",", 1) }
	}
	if err := out.Write(csvHeader); err != nil {
		return err
	}
	exact := func(x float64, format byte, digits int) string {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return ""
		}
		return decimal(strconv.FormatFloat(x, format, digits, 64))
	}
	row := make([]string, 0, len(csvHeader))
	for _, t := range r.Takes {
		c := t.Curve
		if c == nil {
			continue
		}
		addedR := ""
		if t.AddedR != nil {
			addedR = exact(*t.AddedR, 'g', 9)
		}
		at := func(column []float64, i int) string {
			if i >= len(column) {
				return ""
			}
			return exact(column[i], 'f', 5)
		}
		for i, f := range c.FrequencyHz {
			re, im := "", ""
			if i < len(c.Residual) {
				re, im = exact(real(c.Residual[i]), 'f', 4), exact(imag(c.Residual[i]), 'f', 4)
			}
			row = append(row[:0],
				cellText(t.Name), exact(t.AddedC, 'g', 9), addedR, exact(f, 'g', 9),
				at(c.MagnitudeDB, i), at(c.MagnitudeU95DB, i), at(c.PhaseDeg, i), at(c.NoiseFloorDB, i),
				at(c.FitMagnitudeDB, i), at(c.FitU95DB, i), at(c.FitPhaseDeg, i),
				re, im,
				at(c.Harmonic2DB, i), at(c.Harmonic3DB, i))
			if err := out.Write(row); err != nil {
				return err
			}
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("response of coil %q as CSV: %w", r.Coil, err)
	}
	return nil
}
