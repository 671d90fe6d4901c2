package data

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"coilsweep/fit"
)

// CSVOptions says how a CSV file is written.
type CSVOptions struct {
	// DecimalComma writes 3,14 and parts the fields by semicolons, as
	// spreadsheets of many countries expect.
	DecimalComma bool
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

// optional is number of x; empty for nil.
func (s *spreadsheet) optional(x *float64) string {
	if x == nil {
		return ""
	}
	return s.number(*x)
}

// moment is a time with its zone, as JSON has it (RFC 3339), to the second; empty for none.
func moment(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339)
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

// columnUnits end the names of columns.
var columnUnits = []string{"hz", "h", "f", "ohm", "db", "deg"}

// column is the name of a column about the quantity that result.json has under key, with
// the unit at the end: "inductance_U95_h". What is not in its unit is left without:
// "inductance_en".
func column(key, about string, inUnit bool) string {
	for _, unit := range columnUnits {
		if name, ok := strings.CutSuffix(key, "_"+unit); ok {
			if inUnit {
				return name + "_" + about + "_" + unit
			}
			return name + "_" + about
		}
	}
	return key + "_" + about
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
