package plot

import (
	"math"
	"strconv"
)

// Columns collects the numbers behind figures once, however many figures draw
// them, so that a page's script can read values and draw again.
type Columns struct {
	index map[*float64]int
	data  [][]float64
}

// Number is the number of the column x, which is told from others by where
// it lies in memory; -1 for an empty one.
func (c *Columns) Number(x []float64) int {
	if c == nil || len(x) == 0 {
		return -1
	}
	if c.index == nil {
		c.index = map[*float64]int{}
	}
	n, seen := c.index[&x[0]]
	if !seen {
		n = len(c.data)
		c.index[&x[0]] = n
		c.data = append(c.data, x)
	}
	return n
}

// Empty tells that no figure has a number behind it.
func (c *Columns) Empty() bool { return len(c.data) == 0 }

// JSON is the columns as an array of arrays, rounded to what can be seen;
// what is not finite is null.
func (c *Columns) JSON() []byte {
	b := []byte{'['}
	for i, column := range c.data {
		if i > 0 {
			b = append(b, ',', '\n')
		}
		b = append(b, '[')
		for j, x := range column {
			if j > 0 {
				b = append(b, ',')
			}
			b = appendShort(b, x)
		}
		b = append(b, ']')
	}
	return append(b, ']')
}

// appendShort writes x to three decimals or four significant digits,
// whichever is more, and at most six significant digits.
func appendShort(b []byte, x float64) []byte {
	if !finite(x) {
		return append(b, "null"...)
	}
	if x == 0 {
		return append(b, '0')
	}
	decimals := min(max(2-int(math.Floor(math.Log10(math.Abs(x)))), 0), 6)
	if math.Abs(x) >= 0.5 && math.Abs(x) < 1000 {
		decimals = 3
	}
	from := len(b)
	b = strconv.AppendFloat(b, x, 'f', decimals, 64)
	if decimals > 0 { // drop zeros after the point
		for b[len(b)-1] == '0' {
			b = b[:len(b)-1]
		}
		if b[len(b)-1] == '.' {
			b = b[:len(b)-1]
		}
	}
	if string(b[from:]) == "-0" || len(b) == from {
		return append(b[:from], '0')
	}
	return b
}
