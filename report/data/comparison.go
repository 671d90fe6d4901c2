package data

import (
	"io"
	"math"

	"coilsweep/fit"
	"coilsweep/fit/comparison"
	"coilsweep/report/words"
)

const comparisonSchema = "coilsweep.comparison/1"

// differenceRecord is a difference as JSON.
type differenceRecord struct {
	Delta   fit.Quantity `json:"delta"`
	Percent *float64     `json:"percent"`
	En      *float64     `json:"en"`
	Verdict string       `json:"verdict"`
}

type comparedRecord struct {
	Folder      string                      `json:"folder"`
	Coil        string                      `json:"coil"`
	Values      map[string]fit.Quantity     `json:"values"`
	Differences map[string]differenceRecord `json:"differences"`
}

type propertyRecord struct {
	Key  string `json:"key"`
	Name string `json:"name"`
	Unit string `json:"unit"`
}

// ComparisonJSON writes the comparison for programs, the coils as given.
func ComparisonJSON(w io.Writer, c *comparison.Comparison) error {
	record := struct {
		Schema     string           `json:"schema"`
		Reference  string           `json:"reference"` // folder
		Properties []propertyRecord `json:"properties"`
		Coils      []comparedRecord `json:"coils"`
		Remarks    []string         `json:"remarks"`
	}{comparisonSchema, c.Coils[c.Reference].Folder, []propertyRecord{}, []comparedRecord{}, orEmpty(c.Remarks)}
	for _, r := range c.Rows {
		record.Properties = append(record.Properties, propertyRecord{r.Key, r.Name, string(words.UnitOf(r.Property))})
	}
	for i, coil := range c.Coils {
		one := comparedRecord{coil.Folder, coil.Name, map[string]fit.Quantity{}, map[string]differenceRecord{}}
		for _, r := range c.Rows {
			one.Values[r.Key] = r.Values[i]
			if i == c.Reference {
				continue
			}
			d := differenceRecord{Delta: r.Differences[i].Delta, En: r.Differences[i].En,
				Verdict: string(r.Differences[i].Verdict)}
			if p := r.Differences[i].Percent; !math.IsNaN(p) && !math.IsInf(p, 0) {
				d.Percent = &p
			}
			one.Differences[r.Key] = d
		}
		record.Coils = append(record.Coils, one)
	}
	return writeJSON(w, record)
}

// ComparisonCSV writes one row a coil for a spreadsheet: each property with
// U95, its difference from the reference with U95, and En.
func ComparisonCSV(w io.Writer, c *comparison.Comparison, sortKey string, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	header := []string{"folder", "coil", "is_reference"}
	for _, r := range c.Rows {
		header = append(header, r.Key, r.Key+"_U95", r.Key+"_difference", r.Key+"_difference_U95", r.Key+"_en",
			r.Key+"_verdict")
	}
	sheet.row(header...)
	for _, i := range words.ComparisonOrder(c, sortKey) {
		row := []string{cellText(c.Coils[i].Folder), cellText(c.Coils[i].Name),
			map[bool]string{true: "yes", false: "no"}[i == c.Reference]}
		for _, r := range c.Rows {
			d := r.Differences[i]
			row = append(row, sheet.quantity(r.Values[i])...)
			row = append(row, sheet.quantity(d.Delta)...)
			en := ""
			if d.En != nil {
				en = sheet.number(*d.En)
			}
			row = append(row, en, string(d.Verdict))
		}
		sheet.row(row...)
	}
	return sheet.end()
}
