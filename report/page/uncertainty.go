package page

import (
	"fmt"
	"html/template"
	"math"
	"strconv"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

type (
	budget struct {
		Quantity string
		Shares   []budgetShare
	}
	budgetShare struct {
		Source, Percent string
		Bar             template.HTML
	}
	// correlation is a matrix of correlation coefficients.
	correlation struct {
		Names []string
		Rows  []correlationRow
	}
	correlationRow struct {
		Name  string
		Cells []string
	}
	distributions struct {
		About string
		Rows  []distributionRow
	}
	distributionRow struct{ Quantity, Mean, U, Interval, Known string }
)

// HasUncertainty tells whether there is a section on uncertainty.
func (p *coilPage) HasUncertainty() bool {
	return len(p.Budgets) > 0 || p.Correlation != nil || p.MonteCarlo != nil
}

// bar is a share in percent as a drawing.
const bar = `<svg viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">` +
	`<rect width="100" height="10"/><rect width="%.1f" height="10"/></svg>`

func (p *coilPage) budgets(budgets []fit.Budget) {
	for _, b := range budgets {
		words, _ := notation.QuantityName(b.Quantity)
		row := budget{Quantity: notation.UpperFirst(notation.Visible(words))}
		for _, s := range b.Shares {
			share := math.Min(math.Max(s.Percent, 0), 100)
			row.Shares = append(row.Shares, budgetShare{
				Source: notation.Visible(s.Source), Percent: notation.Percent(s.Percent),
				Bar: template.HTML(fmt.Sprintf(bar, share)),
			})
		}
		p.Budgets = append(p.Budgets, row)
	}
}

// correlation shows the correlation coefficients u(a, b)/(u(a) u(b)) of a
// covariance matrix (JCGM 100:2008, 5.2.2); nothing of fewer than two.
func (p *coilPage) correlation(c *fit.Covariance) {
	if c == nil || len(c.Order) < 2 || len(c.Matrix) != len(c.Order) {
		return
	}
	out := &correlation{}
	for i, key := range c.Order {
		words, _ := notation.QuantityName(key)
		out.Names = append(out.Names, notation.Visible(words))
		row := correlationRow{Name: notation.UpperFirst(notation.Visible(words))}
		for k := range c.Order {
			text := "1"
			if k != i {
				text = coefficient(c.Matrix[i][k] / math.Sqrt(c.Matrix[i][i]*c.Matrix[k][k]))
			}
			row.Cells = append(row.Cells, text)
		}
		out.Rows = append(out.Rows, row)
	}
	p.Correlation = out
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

func (p *coilPage) monteCarlo(m *fit.MonteCarlo) {
	if m == nil {
		return
	}
	out := &distributions{About: notation.Count(m.Trials, "trial")}
	if m.Failed > 0 {
		out.About += fmt.Sprintf(", %d of them without a minimum", m.Failed)
	}
	for _, q := range m.Quantities {
		words, unit := notation.QuantityName(q.Name)
		d := notation.DistributionOf(q, unit)
		out.Rows = append(out.Rows, distributionRow{notation.UpperFirst(words), d.Mean, d.U, d.Interval,
			strconv.Itoa(q.Known)})
	}
	p.MonteCarlo = out
}
