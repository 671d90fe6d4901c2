package report

import (
	"bufio"
	"cmp"
	"encoding/json"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// Listed is one coil of a list.
type Listed struct {
	Folder   string
	Coil     string
	Measured time.Time // of the latest take; zero: no take yet
	Takes    int
	Flags    []string    // of all takes, each once
	Result   *fit.Result // nil: not fitted yet
	Stale    []string    // why Result is out of date; none: it is fresh
}

// resonance and Q of the coil alone where they are known, else those of the
// take with the least load; of says which.
func (l Listed) resonance() (hz, q fit.Quantity, of string) {
	if l.Result == nil {
		unknown := fit.Unknown("not fitted yet")
		return unknown, unknown, ""
	}
	r := l.Result
	if r.BareResonance.Known() {
		return r.BareResonance, r.BareQ, "coil alone"
	}
	if t, ok := leastLoaded(r.Takes); ok {
		return t.Resonance, t.Q, "take " + t.Name
	}
	return r.BareResonance, r.BareQ, ""
}

// leastLoaded is the used take with the least added C, and of those the one
// with the least added conductance.
func leastLoaded(takes []fit.TakeResult) (fit.TakeResult, bool) {
	var best fit.TakeResult
	found := false
	for _, t := range takes {
		if t.Used && (!found || t.AddedC < best.AddedC || t.AddedC == best.AddedC && addedSiemens(t) < addedSiemens(best)) {
			best, found = t, true
		}
	}
	return best, found
}

func addedSiemens(t fit.TakeResult) float64 {
	if t.AddedR == nil {
		return 0
	}
	return 1 / *t.AddedR
}

// listColumn is a quantity of the list.
type listColumn struct {
	key, name, csv string // key: for sorting
	unit           quantity.Unit
	of             func(Listed) fit.Quantity
}

func ofResult(get func(*fit.Result) fit.Quantity) func(Listed) fit.Quantity {
	return func(l Listed) fit.Quantity {
		if l.Result == nil {
			return fit.Unknown("not fitted yet")
		}
		return get(l.Result)
	}
}

var listColumns = []listColumn{
	{"resonance", "resonance", "resonance_hz", quantity.Hertz, func(l Listed) fit.Quantity { hz, _, _ := l.resonance(); return hz }},
	{"q", "Q", "q", ratio, func(l Listed) fit.Quantity { _, q, _ := l.resonance(); return q }},
	{"l", "L", "inductance_h", quantity.Henry, ofResult(func(r *fit.Result) fit.Quantity { return r.Inductance })},
	{"c", "C", "capacitance_f", quantity.Farad, ofResult(func(r *fit.Result) fit.Quantity { return r.Capacitance })},
	{"r", "R", "resistance_ohm", quantity.Ohm, ofResult(func(r *fit.Result) fit.Quantity { return r.Resistance })},
}

// ListKeys are the words by which SortListed sorts.
func ListKeys() []string {
	keys := []string{"folder", "coil", "date"}
	for _, c := range listColumns {
		keys = append(keys, c.key)
	}
	return keys
}

// SortListed sorts by one of ListKeys; what is not known comes last, and
// equals stay in the order of their folders. ok is false for another key.
func SortListed(list []Listed, key string, descending bool) (ok bool) {
	var compare func(a, b Listed) int
	switch key {
	case "folder":
		compare = func(a, b Listed) int { return cmp.Compare(a.Folder, b.Folder) }
	case "coil":
		compare = func(a, b Listed) int {
			return cmp.Compare(strings.ToLower(a.Coil), strings.ToLower(b.Coil))
		}
	case "date":
		compare = func(a, b Listed) int {
			return unknownLast(!a.Measured.IsZero(), !b.Measured.IsZero(), descending, a.Measured.Compare(b.Measured))
		}
	}
	for _, c := range listColumns {
		if c.key == key {
			compare = func(a, b Listed) int {
				x, y := c.of(a), c.of(b)
				return unknownLast(x.Known(), y.Known(), descending, cmp.Compare(x.Value, y.Value))
			}
		}
	}
	if compare == nil {
		return false
	}
	slices.SortStableFunc(list, func(a, b Listed) int {
		order := compare(a, b)
		if descending {
			order = -order
		}
		return cmp.Or(order, cmp.Compare(a.Folder, b.Folder))
	})
	return true
}

// unknownLast puts what is not known last, even where the order is turned
// round afterwards.
func unknownLast(a, b, turned bool, known int) int {
	order := 0
	switch {
	case a && b:
		return known
	case a:
		order = -1
	case b:
		order = 1
	}
	if turned {
		return -order
	}
	return order
}

// state says in one word whether the result can be relied on.
func (l Listed) state() string {
	switch {
	case l.Takes == 0:
		return "no take"
	case l.Result == nil:
		return "not fitted"
	case len(l.Stale) > 0:
		return "stale"
	}
	return "fresh"
}

// ListTable writes the list as text for a terminal. Values are rounded to
// their uncertainty.
func ListTable(w io.Writer, list []Listed, o TableOptions) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	c := columns{gap: 2, right: []bool{false, false, false, true, true, true, true, true}}
	header := []string{"folder", "coil", "measured"}
	for _, col := range listColumns {
		header = append(header, col.name)
	}
	c.add(append(header, "state", "flags")...)
	starred := false
	for _, l := range list {
		date := signNone
		if !l.Measured.IsZero() {
			date = l.Measured.Format("2006-01-02")
		}
		row := []string{truncate(visible(l.Folder), 32), truncate(visible(l.Coil), 24), date}
		_, _, of := l.resonance()
		for _, col := range listColumns {
			text := signNone
			if q := col.of(l); q.Known() {
				text = valueOf(q, col.unit)
				if strings.HasPrefix(of, "take ") && (col.key == "resonance" || col.key == "q") {
					text += "*"
					starred = true
				}
			} else if l.Result != nil {
				text = signUnknown
			}
			row = append(row, text)
		}
		flags := strings.Join(visibleAll(l.Flags), ", ")
		if flags == "" {
			flags = signNone
		}
		c.add(append(row, l.state(), flags)...)
	}
	if c.width() > o.Width {
		c.gap = 1
	}
	for _, s := range c.lines(func(row, column int, s string) string {
		switch {
		case row == 0:
			return t.paint(sgrFaint, s)
		case column == 8 && strings.TrimSpace(s) != "fresh":
			return t.paint(sgrYellow, s)
		case column == 9 && strings.TrimSpace(s) != signNone:
			return t.paint(sgrRed, s)
		}
		return s
	}) {
		t.line(s)
	}
	if starred {
		t.line(t.paint(sgrFaint, "* with its fixture, from the take with the least load: the coil alone is not known"))
	}
	return t.out.Flush()
}

// listRecord is a coil as ListJSON writes it.
type listRecord struct {
	Folder      string       `json:"folder"`
	Coil        string       `json:"coil"`
	Measured    *time.Time   `json:"measured"`
	Takes       int          `json:"takes"`
	State       string       `json:"state"`
	Stale       []string     `json:"stale"`
	Flags       []string     `json:"flags"`
	Resonance   fit.Quantity `json:"resonance_hz"`
	Q           fit.Quantity `json:"q"`
	Of          string       `json:"resonance_of"`
	Inductance  fit.Quantity `json:"inductance_h"`
	Capacitance fit.Quantity `json:"capacitance_f"`
	Resistance  fit.Quantity `json:"resistance_ohm"`
}

// ListJSON writes the list as a JSON array.
func ListJSON(w io.Writer, list []Listed) error {
	records := []listRecord{}
	for _, l := range list {
		hz, q, of := l.resonance()
		r := listRecord{
			Folder: l.Folder, Coil: l.Coil, Takes: l.Takes, State: l.state(), Stale: orEmpty(l.Stale), Flags: orEmpty(l.Flags),
			Resonance: hz, Q: q, Of: of,
			Inductance: listColumns[2].of(l), Capacitance: listColumns[3].of(l), Resistance: listColumns[4].of(l),
		}
		if !l.Measured.IsZero() {
			r.Measured = &l.Measured
		}
		records = append(records, r)
	}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(records)
}

// ListCSV writes the list for a spreadsheet: one row a coil, SI units named in
// the header, what is not known empty.
func ListCSV(w io.Writer, list []Listed, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	header := []string{"folder", "coil", "measured", "takes", "state", "flags", "resonance_of"}
	for _, c := range listColumns {
		header = append(header, c.csv, c.csv+"_U95")
	}
	sheet.row(header...)
	for _, l := range list {
		date := ""
		if !l.Measured.IsZero() {
			date = l.Measured.Format("2006-01-02 15:04:05")
		}
		_, _, of := l.resonance()
		row := []string{cellText(l.Folder), cellText(l.Coil), date, strconv.Itoa(l.Takes), l.state(), cellText(strings.Join(l.Flags, " ")), cellText(of)}
		for _, c := range listColumns {
			row = append(row, sheet.quantity(c.of(l))...)
		}
		sheet.row(row...)
	}
	return sheet.end()
}
