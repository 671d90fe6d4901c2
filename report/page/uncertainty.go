package page

import (
	"fmt"
	"html/template"
	"math"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// HasUncertainty tells whether there is a section on uncertainty.
func (p *coilPage) HasUncertainty() bool {
	return len(p.Result.Budget) > 0 || p.Correlation != nil || p.Result.MonteCarlo != nil
}

// bar is a share in percent as a drawing.
func bar(percent float64) template.HTML {
	return template.HTML(fmt.Sprintf(`<svg viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">`+
		`<rect width="100" height="10"/><rect width="%.1f" height="10"/></svg>`, min(max(percent, 0), 100)))
}

// correlations are the correlation coefficients u(a, b)/(u(a) u(b)) of a
// covariance matrix (JCGM 100:2008, 5.2.2); nothing of fewer than two.
func correlations(c *fit.Covariance) []benchRow {
	if c == nil || len(c.Order) < 2 || len(c.Matrix) != len(c.Order) {
		return nil
	}
	var rows []benchRow
	for i, key := range c.Order {
		name, _ := notation.QuantityName(key)
		row := benchRow{Name: notation.Visible(name)}
		for k := range c.Order {
			text := "1"
			if k != i {
				text = coefficient(c.Matrix[i][k] / math.Sqrt(c.Matrix[i][i]*c.Matrix[k][k]))
			}
			row.Cells = append(row.Cells, text)
		}
		rows = append(rows, row)
	}
	return rows
}

// coefficient is a correlation coefficient to three decimals; near 1 and -1
// with as many more as its distance from there needs.
func coefficient(r float64) string {
	if math.IsNaN(r) || math.IsInf(r, 0) {
		return notation.None
	}
	decimals := 3
	if away := 1 - math.Abs(r); away < 0.01 {
		decimals = min(1-int(math.Floor(math.Log10(max(away, 1e-9)))), 6)
	}
	return quantity.Minus(fmt.Sprintf("%.*f", decimals, r))
}
