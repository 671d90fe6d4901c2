package terminal

import (
	"coilsweep/fit"
	"coilsweep/fit/comparison"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// many is a table of coils and their properties.
type many struct {
	names      []string
	properties []comparison.Property
	values     func(property int) []fit.Quantity // of all coils, in the order of names
	marked     func(property, coil int) bool
	last       []string // a last column, after its head; nil: none
}

// coils writes the table: a row for each coil, or where that is too wide a
// column for each. With a last column the coils stay rows. What does not fit
// follows in further tables.
func (t *table) coils(m many, paint func(cell string) string) {
	whole := func() columns { return t.byCoil(m, 0, len(m.properties)) }
	_, which := t.fitting(whole, func() columns { return columns{} })
	if m.last == nil && which > 0 {
		t.parts(len(m.names), func(from, to int) columns { return t.byProperty(m, from, to) }, nil)
		return
	}
	t.parts(len(m.properties), func(from, to int) columns { return t.byCoil(m, from, to) }, paint)
}

// parts writes tables of as many of n columns as fit.
func (t *table) parts(n int, build func(from, to int) columns, paint func(cell string) string) {
	for from := 0; from < n; {
		if from > 0 {
			t.line("")
		}
		to := n
		var builds []func() columns
		for last := n; last > from; last-- {
			builds = append(builds, func() columns { return build(from, last) })
		}
		c, which := t.fitting(builds...)
		to -= which
		t.headed(c, func(column int, cell string) string {
			if paint != nil && from == 0 && column == len(c.rows[0])-1 {
				return paint(cell)
			}
			return cell
		})
		from = to
	}
}

// cells are the values of a property of all coils.
func (t *table) cells(m many, property int) []string {
	out := t.notes.Values(words.UnitOf(m.properties[property]), m.values(property)...)
	for i := range out {
		if m.marked != nil && m.marked(property, i) {
			out[i] += "!"
		}
	}
	return out
}

// byCoil has a row for each coil, with the properties from … to.
func (t *table) byCoil(m many, from, to int) columns {
	c := columns{gap: 2, right: []bool{false}}
	header, rows := []string{"coil"}, make([][]string, len(m.names))
	for i, name := range m.names {
		rows[i] = []string{plot.Shortened(name, 24)}
	}
	for n := from; n < to; n++ {
		header = append(header, m.properties[n].Name)
		c.right = append(c.right, true)
		for i, cell := range t.cells(m, n) {
			rows[i] = append(rows[i], cell)
		}
	}
	if m.last != nil && from == 0 {
		header = append(header, m.last[0])
		for i := range rows {
			rows[i] = append(rows[i], m.last[i+1])
		}
	}
	c.add(header...)
	for _, row := range rows {
		c.add(row...)
	}
	return c
}

// byProperty has a column for each coil from … to.
func (t *table) byProperty(m many, from, to int) columns {
	c := columns{gap: 2, right: []bool{false}}
	header := []string{""}
	for _, name := range m.names[from:to] {
		header = append(header, plot.Shortened(name, 16))
		c.right = append(c.right, true)
	}
	c.add(header...)
	for n, p := range m.properties {
		c.add(append([]string{truncate(p.Name, 32)}, t.cells(m, n)[from:to]...)...)
	}
	return c
}
