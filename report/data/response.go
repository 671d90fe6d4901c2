package data

import (
	"fmt"
	"io"
	"slices"

	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/notation"
)

// responseColumn is one column of response.csv: its name, which ends in the
// unit, and what it holds.
type responseColumn struct {
	name, means string
	decimals    int // after the point; -1: nine significant digits
	of          func(c *fit.Curve) []float64
}

// residuals are a part of the residuals.
func residuals(part func(complex128) float64) func(*fit.Curve) []float64 {
	return func(c *fit.Curve) []float64 { return notation.Each(c.Residual, part) }
}

// responseColumns are the columns of response.csv after those of the take:
// its name, the added C and the added R.
var responseColumns = []responseColumn{
	{"frequency_hz", "frequency, Hz", -1,
		func(c *fit.Curve) []float64 { return c.FrequencyHz }},
	{"magnitude_db", "measured magnitude over the low-frequency plateau, dB", 5,
		func(c *fit.Curve) []float64 { return c.MagnitudeDB }},
	{"magnitude_U95_db", "its expanded uncertainty from noise, 95 %, dB", 5,
		func(c *fit.Curve) []float64 { return c.MagnitudeU95DB }},
	{"phase_deg", "measured phase without delay and polarity, degrees", 5,
		func(c *fit.Curve) []float64 { return c.PhaseDeg }},
	{"phase_U95_deg", "its expanded uncertainty from noise, 95 %, degrees; 180: no phase", 5,
		func(c *fit.Curve) []float64 { return c.PhaseU95Deg }},
	{"noise_floor_db", "noise at that frequency, dB over the same plateau", 5,
		func(c *fit.Curve) []float64 { return c.NoiseFloorDB }},
	{"fit_magnitude_db", "magnitude of the fitted circuit, dB", 5,
		func(c *fit.Curve) []float64 { return c.FitMagnitudeDB }},
	{"fit_magnitude_U95_db", "its expanded uncertainty, 95 %, dB", 5,
		func(c *fit.Curve) []float64 { return c.FitU95DB }},
	{"fit_phase_deg", "phase of the fitted circuit, degrees", 5,
		func(c *fit.Curve) []float64 { return c.FitPhaseDeg }},
	{"fit_phase_U95_deg", "its expanded uncertainty, 95 %, degrees", 5,
		func(c *fit.Curve) []float64 { return c.FitPhaseU95Deg }},
	{"residual_re_u", "real part of (measured - fitted)/u", 4,
		residuals(func(z complex128) float64 { return real(z) })},
	{"residual_im_u", "imaginary part of (measured - fitted)/u", 4,
		residuals(func(z complex128) float64 { return imag(z) })},
	{"harmonic2_db", "second harmonic over the fundamental, dB", 5,
		func(c *fit.Curve) []float64 { return c.Harmonic2DB }},
	{"harmonic2_noise_db", "noise in it, dB over the fundamental", 5,
		func(c *fit.Curve) []float64 { return c.Harmonic2FloorDB }},
	{"harmonic3_db", "third harmonic over the fundamental, dB", 5,
		func(c *fit.Curve) []float64 { return c.Harmonic3DB }},
	{"harmonic3_noise_db", "noise in it, dB over the fundamental", 5,
		func(c *fit.Curve) []float64 { return c.Harmonic3FloorDB }},
}

// takeColumns are the first columns of response.csv, with what they hold.
var takeColumns = [][2]string{
	{"take", "name of the take"},
	{"added_c_f", "capacitor added across the coil, F"},
	{"added_r_ohm", "resistor added across the coil, ohm; empty: none"},
}

// takeStarted is the last column: its name, and what it holds.
var takeStarted = [2]string{"take_started", "when the take was made, with the time zone (RFC 3339)"}

// ResultCSV writes response.csv, the same in a coil folder and in an archive:
// a row of names, then a row for each take and frequency. What is not known is
// an empty field. Takes without a curve have no rows. A name that a spreadsheet
// would take for a formula has an apostrophe before it.
func ResultCSV(w io.Writer, r fit.Result, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	header := slices.Concat(notation.Each(takeColumns, func(c [2]string) string { return c[0] }),
		notation.Each(responseColumns, func(c responseColumn) string { return c.name }), takeStarted[:1])
	sheet.row(header...)
	row := make([]string, 0, len(header))
	for _, t := range r.Takes {
		if t.Curve == nil {
			continue
		}
		started := ""
		if at := r.Record.Started(t.Name); at != nil {
			started = moment(*at)
		}
		columns := notation.Each(responseColumns, func(c responseColumn) []float64 { return c.of(t.Curve) })
		for i := range t.Curve.FrequencyHz {
			row = append(row[:0], cellText(t.Name), sheet.number(t.AddedC), sheet.optional(t.AddedR))
			for k, c := range responseColumns {
				switch {
				case i >= len(columns[k]):
					row = append(row, "")
				case c.decimals < 0:
					row = append(row, sheet.number(columns[k][i]))
				default:
					row = append(row, sheet.rounded(columns[k][i], 'f', c.decimals))
				}
			}
			sheet.row(append(row, started)...)
		}
	}
	if err := sheet.end(); err != nil {
		return fmt.Errorf("response of coil %q as %w", r.Coil, err)
	}
	return nil
}

// PredictionCSV writes the predicted response, one row a frequency: Hz,
// dB over the EMF of one coil, and U95 in dB. What is not known is empty.
func PredictionCSV(w io.Writer, p harness.Prediction, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	sheet.row("frequency_hz", "level_db", "level_U95_db")
	for _, point := range p.Response {
		sheet.row(sheet.point(point)...)
	}
	return sheet.end()
}

// point is frequency, level and U95 of a predicted response.
func (s *spreadsheet) point(p harness.Point) []string {
	row := []string{s.number(p.FrequencyHz), "", ""}
	if q := p.LevelDB; q.Known() {
		row[1], row[2] = s.rounded(q.Value, 'f', 5), s.rounded(q.U95, 'g', 3)
	}
	return row
}
