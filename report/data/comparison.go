package data

import (
	"io"
	"path/filepath"

	"coilsweep/fit"
	"coilsweep/fit/change"
	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

const comparisonSchema = "coilsweep.comparison/1"

// property is what a quantity of coils is called.
func property(p comparison.Property) Object {
	return Object{{"key", p.Key}, {"name", p.Name}, {"unit", words.UnitOf(p)}}
}

// ComparisonJSON writes the comparison for programs, the coils as given.
func ComparisonJSON(w io.Writer, c *comparison.Comparison) error {
	var coils []Object
	for i, coil := range c.Coils {
		values, differences := map[string]fit.Quantity{}, map[string]Object{}
		for _, r := range c.Rows {
			values[r.Key] = r.Values[i]
			if d := r.Differences[i]; i != c.Reference {
				differences[r.Key] = Object{{"delta", d.Delta}, {"percent", finiteOrNil(d.Percent)}, {"en", d.En},
					{"verdict", d.Verdict}}
			}
		}
		coils = append(coils, Object{{"folder", filepath.ToSlash(coil.Folder)}, {"coil", coil.Name},
			{"serial", coil.Result.Serial}, {"values", values},
			{"differences", differences}})
	}
	return writeJSON(w, Object{{"schema", comparisonSchema},
		{"reference", filepath.ToSlash(c.Coils[c.Reference].Folder)}, // by its folder
		{"properties", notation.Each(c.Rows, func(r comparison.Row) Object { return property(r.Property) })},
		{"coils", coils}, {"changes", notation.Each(change.Of(c), changeRecord)}, {"remarks", orEmpty(c.Remarks)}})
}

// changeRecord is what changed about a coil between two states.
func changeRecord(c change.Change) Object {
	findings := map[string]Object{}
	for _, f := range c.Findings {
		findings[f.Key] = Object{{"delta", f.Delta}, {"verdict", f.Verdict}}
	}
	return Object{{"folder", filepath.ToSlash(c.After.Folder)}, {"coil", c.After.Of}, {"state", c.After.State},
		{"before", c.Before.State}, {"findings", findings}, {"as", orEmpty(c.Causes)}, {"sentence", words.Change(c)}}
}

// ComparisonCSV writes one row a coil for a spreadsheet: each property with
// U95, its difference from the reference with U95, and En.
func ComparisonCSV(w io.Writer, c *comparison.Comparison, sortKey string, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	header := []string{"folder", "coil", "is_reference"}
	for _, r := range c.Rows {
		header = append(header, r.Key, column(r.Key, "U95", true), column(r.Key, "difference", true),
			column(r.Key, "difference_U95", true), column(r.Key, "en", false), column(r.Key, "verdict", false))
	}
	sheet.row(append(header, "serial")...)
	for _, i := range words.ComparisonOrder(c, sortKey) {
		row := []string{cellText(filepath.ToSlash(c.Coils[i].Folder)), cellText(c.Coils[i].Name),
			map[bool]string{true: "yes", false: "no"}[i == c.Reference]}
		for _, r := range c.Rows {
			d := r.Differences[i]
			row = append(row, sheet.quantity(r.Values[i])...)
			row = append(row, sheet.quantity(d.Delta)...)
			row = append(row, sheet.optional(d.En), string(d.Verdict))
		}
		sheet.row(append(row, cellText(c.Coils[i].Result.Serial))...)
	}
	return sheet.end()
}
