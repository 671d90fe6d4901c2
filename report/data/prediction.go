package data

import (
	"io"

	"coilsweep/fit/harness"
)

// PredictionCSV writes the predicted response, one row a frequency: Hz,
// dB over the EMF of one coil, and U95 in dB. What is not known is empty.
func PredictionCSV(w io.Writer, p harness.Prediction, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	sheet.row("frequency_hz", "level_db", "level_U95_db")
	for _, point := range p.Response {
		row := []string{sheet.number(point.FrequencyHz), "", ""}
		if q := point.LevelDB; q.Known() {
			row[1], row[2] = sheet.rounded(q.Value, 'f', 5), sheet.rounded(q.U95, 'g', 3)
		}
		sheet.row(row...)
	}
	return sheet.end()
}
