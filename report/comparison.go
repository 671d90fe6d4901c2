package report

import (
	"bufio"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/comparison"
)

const comparisonSchema = "coilsweep.comparison/1"

// unitOf is the unit in which a property is shown.
func unitOf(p comparison.Property) quantity.Unit {
	if p.Decibel {
		return decibel
	}
	return p.Unit
}

// SortKeys are the words by which coils of a comparison can be sorted.
func SortKeys(c *comparison.Comparison) []string {
	keys := []string{"given", "name"}
	for _, r := range c.Rows {
		keys = append(keys, r.Key)
	}
	return keys
}

// order are the coils' indices sorted by a key of SortKeys, what is not known
// last. Another key leaves the coils as given.
func comparisonOrder(c *comparison.Comparison, key string) []int {
	order := make([]int, len(c.Coils))
	for i := range order {
		order[i] = i
	}
	if key == "name" {
		slices.SortStableFunc(order, func(a, b int) int {
			return cmp.Compare(strings.ToLower(c.Coils[a].Name), strings.ToLower(c.Coils[b].Name))
		})
	}
	for _, r := range c.Rows {
		if r.Key == key {
			slices.SortStableFunc(order, func(a, b int) int {
				x, y := r.Values[a], r.Values[b]
				return unknownLast(x.Known(), y.Known(), false, cmp.Compare(x.Value, y.Value))
			})
		}
	}
	return order
}

// coilNames are the coils' names, with the folder where a name is not the only
// one of its kind.
func coilNames(coils []comparison.Coil) []string {
	count := map[string]int{}
	for _, c := range coils {
		count[c.Name]++
	}
	names := make([]string, len(coils))
	for i, c := range coils {
		names[i] = visible(c.Name)
		if count[c.Name] > 1 {
			names[i] += " (" + visible(c.Folder) + ")"
		}
	}
	return names
}

// ComparisonTable writes the comparison as text for a terminal, the coils
// sorted by one of SortKeys.
func ComparisonTable(w io.Writer, c *comparison.Comparison, sortKey string, o TableOptions) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	names := coilNames(c.Coils)
	order := comparisonOrder(c, sortKey)
	t.line(t.paint(sgrBold, fmt.Sprintf("%s against %s", countOf(len(c.Coils), "coil"), truncate(names[c.Reference], 40))))
	t.line("")
	cols := columns{gap: 2}
	header := []string{"coil"}
	cols.right = []bool{false}
	for _, r := range c.Rows {
		header = append(header, r.Name)
		cols.right = append(cols.right, true)
	}
	cols.add(header...)
	for _, i := range order {
		row := []string{truncate(names[i], 24)}
		for _, r := range c.Rows {
			row = append(row, t.brief(r.Values[i], unitOf(r.Property)))
		}
		cols.add(row...)
	}
	if cols.width() <= o.Width {
		for n, s := range cols.lines(nil) {
			if n == 0 {
				s = t.paint(sgrFaint, s)
			}
			t.line(s)
		}
	} else {
		t.turned(c, names, order)
	}
	t.line("")
	for _, i := range order {
		if i != c.Reference {
			t.differences(c, names, i)
		}
	}
	t.reasons()
	t.line("")
	t.line(t.paint(sgrFaint, "± is U95. A difference is more than chance where |En| > 1 (ISO/IEC 17043)."))
	for _, remark := range c.Remarks {
		t.hanging("·", sgrFaint, upperFirst(remark)+".")
	}
	return t.out.Flush()
}

// turned is the table of values with the coils as columns, as many side by
// side as fit.
func (t *table) turned(c *comparison.Comparison, names []string, order []int) {
	for len(order) > 0 {
		n := len(order)
		var cols columns
		for ; n > 0; n-- {
			cols = columns{gap: 2, right: []bool{false}}
			header := []string{""}
			for _, i := range order[:n] {
				header = append(header, truncate(names[i], 16))
				cols.right = append(cols.right, true)
			}
			cols.add(header...)
			for _, r := range c.Rows {
				row := []string{truncate(r.Name, 32)}
				for _, i := range order[:n] {
					row = append(row, t.brief(r.Values[i], unitOf(r.Property)))
				}
				cols.add(row...)
			}
			if cols.width() <= t.o.Width || n == 1 {
				break
			}
		}
		for k, s := range cols.lines(nil) {
			if k == 0 {
				s = t.paint(sgrFaint, s)
			}
			t.line(s)
		}
		if order = order[n:]; len(order) > 0 {
			t.line("")
		}
	}
}

// differences says where coil i differs from the reference, and where not.
func (t *table) differences(c *comparison.Comparison, names []string, i int) {
	t.line(t.paint(sgrBold, truncate(names[i], t.o.Width)))
	cols := columns{gap: 2, right: []bool{false, true, true, true}}
	var agree, open []string
	for _, r := range c.Rows {
		d := r.Differences[i]
		switch d.Verdict {
		case comparison.Differs:
			cols.add("  "+r.Name, differenceWords(d.Delta, unitOf(r.Property)), percentWords(d.Percent), "En "+enWords(d.En), "differs")
		case comparison.Agrees:
			agree = append(agree, fmt.Sprintf("%s (En %s)", r.Name, enWords(d.En)))
		default:
			open = append(open, r.Name)
		}
	}
	for _, s := range cols.lines(func(_, column int, s string) string {
		if column == 4 {
			return t.paint(sgrYellow, s)
		}
		return s
	}) {
		t.line(s)
	}
	if agree != nil {
		t.hanging(" ", "", "agrees in "+strings.Join(agree, ", "))
	}
	if open != nil {
		t.hanging(" ", "", "not comparable: "+strings.Join(open, ", "))
	}
}

// differenceWords is a difference with its sign and U95: "+0.10 ± 0.03 H".
func differenceWords(q fit.Quantity, unit quantity.Unit) string {
	if !q.Known() {
		return signUnknown
	}
	text := number(q.Value, q.U95, unit)
	if q.Value > 0 {
		text = "+" + text
	}
	return text
}

func percentWords(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	digits := 1
	if math.Abs(x) < 0.1 {
		digits = 3
	}
	return withMinus(fmt.Sprintf("%+.*f %%", digits, x))
}

func enWords(en *float64) string {
	if en == nil {
		return signNone
	}
	return withMinus(fmt.Sprintf("%.2f", *en))
}

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
		record.Properties = append(record.Properties, propertyRecord{r.Key, r.Name, string(unitOf(r.Property))})
	}
	for i, coil := range c.Coils {
		one := comparedRecord{coil.Folder, coil.Name, map[string]fit.Quantity{}, map[string]differenceRecord{}}
		for _, r := range c.Rows {
			one.Values[r.Key] = r.Values[i]
			if i == c.Reference {
				continue
			}
			d := differenceRecord{Delta: r.Differences[i].Delta, En: r.Differences[i].En, Verdict: string(r.Differences[i].Verdict)}
			if p := r.Differences[i].Percent; !math.IsNaN(p) && !math.IsInf(p, 0) {
				d.Percent = &p
			}
			one.Differences[r.Key] = d
		}
		record.Coils = append(record.Coils, one)
	}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(record)
}

// ComparisonCSV writes one row a coil for a spreadsheet: each property with
// U95, its difference from the reference with U95, and En.
func ComparisonCSV(w io.Writer, c *comparison.Comparison, sortKey string, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	header := []string{"folder", "coil", "is_reference"}
	for _, r := range c.Rows {
		header = append(header, r.Key, r.Key+"_U95", r.Key+"_difference", r.Key+"_difference_U95", r.Key+"_en", r.Key+"_verdict")
	}
	sheet.row(header...)
	for _, i := range comparisonOrder(c, sortKey) {
		row := []string{cellText(c.Coils[i].Folder), cellText(c.Coils[i].Name), map[bool]string{true: "yes", false: "no"}[i == c.Reference]}
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
