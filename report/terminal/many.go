package terminal

import (
	"slices"

	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// many is a table of coils with a last column, after its head; nil: none.
type many struct {
	words.Many
	last []string
	// cells are the values of each property of all coils.
	cells [][]string
}

// coils writes the table: a row for each coil, or where that is too wide a
// column for each. With a last column the coils stay rows. What does not fit
// follows in further tables.
func (t *table) coils(m many, paint func(cell string) string) {
	for property := range m.Properties {
		m.cells = append(m.cells, t.cells(m, property))
	}
	whole := func() columns { return t.byCoil(m, 0, len(m.Properties)) }
	_, which := t.fitting(whole, func() columns { return columns{} })
	if m.last == nil && which > 0 {
		t.parts(len(m.Names), func(from, to int) columns { return t.byProperty(m, from, to) }, nil)
		return
	}
	t.parts(len(m.Properties), func(from, to int) columns { return t.byCoil(m, from, to) }, paint)
}

// parts writes tables of as many of n columns as fit.
func (t *table) parts(n int, build func(from, to int) columns, paint func(cell string) string) {
	for from := 0; from < n; {
		if from > 0 {
			t.line("")
		}
		c, to := build(from, from+1), from+1
		for to < n {
			wider := build(from, to+1)
			if wider.width() > t.o.Width {
				break
			}
			c, to = wider, to+1
		}
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
	out := t.notes.Values(words.UnitOf(m.Properties[property]), m.Values[property]...)
	for i := range out {
		if m.Outlying(property, i) {
			out[i] += "!"
		}
	}
	return out
}

// byCoil has a row for each coil, with the properties from … to.
func (t *table) byCoil(m many, from, to int) columns {
	c := columns{gap: 2}
	c.column("coil", false, named(m.Names, 24, plot.Shortened))
	for n := from; n < to; n++ {
		c.column(m.Properties[n].Name, true, m.cells[n])
	}
	if m.last != nil && from == 0 {
		c.column(m.last[0], false, m.last[1:])
	}
	return c
}

// byProperty has a column for each coil from … to.
func (t *table) byProperty(m many, from, to int) columns {
	c := columns{gap: 2, right: slices.Concat([]bool{false}, slices.Repeat([]bool{true}, to-from))}
	c.add(slices.Concat([]string{""}, named(m.Names[from:to], 16, plot.Shortened))...)
	for n, p := range m.Properties {
		c.add(slices.Concat([]string{truncate(p.Name, 32)}, m.cells[n][from:to])...)
	}
	return c
}
