// Package data writes files for other programs: JSON, CSV, and a coil as one
// archive.
package data

import (
	"encoding/json"
	"fmt"
	"io"

	"coilsweep/fit"
)

// csvHeader names the columns of response.csv, units included. Residuals are
// in standard uncertainties, real and imaginary part.
var csvHeader = []string{
	"take", "added_c_f", "added_r_ohm", "frequency_hz",
	"magnitude_db", "u95_db", "phase_deg", "noise_floor_db",
	"fit_magnitude_db", "fit_u95_db", "fit_phase_deg",
	"residual_re_u", "residual_im_u",
	"harmonic2_db", "harmonic3_db",
}

// ResultCSV writes response.csv: one row for each take and frequency, with the
// columns of csvHeader. Magnitudes are in dB over the low-frequency plateau.
// What is not known is an empty field. Takes without a curve have no rows. A
// name that a spreadsheet would take for a formula has an apostrophe before it.
func ResultCSV(w io.Writer, r fit.Result, o CSVOptions) error {
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

// ResultJSON writes result.json: the result as fit.Result lays it down,
// indented by two spaces, in a stable order, ended by a line feed. Lists
// without entries are written as [], so that a reader need not ask.
func ResultJSON(w io.Writer, r fit.Result) error {
	if r.Schema == "" {
		r.Schema = fit.ResultSchema
	}
	takes := make([]fit.TakeResult, len(r.Takes))
	copy(takes, r.Takes)
	for i := range takes {
		takes[i].Flags = orEmpty(takes[i].Flags)
	}
	r.Takes = takes
	r.Model.Tried = orEmpty(r.Model.Tried)
	r.Eddy = orEmpty(r.Eddy)
	r.Basis = orEmpty(r.Basis)
	r.Meter = orEmpty(r.Meter)
	r.Warnings = orEmpty(r.Warnings)
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(r); err != nil {
		return fmt.Errorf("result of coil %q as JSON: %w", r.Coil, err)
	}
	return nil
}
