package page

import (
	"slices"

	"coilsweep/report/figure"
	"coilsweep/report/notation"
)

// DrawComparison draws what a comparison page shows, and says it.
func DrawComparison(d ComparisonDocument) ([]figure.Drawing, []string, error) {
	view, err := newComparisonPage(d)
	if err != nil {
		return nil, nil, err
	}
	return view.drawings(), notation.Each(view.Summary, notation.Tied), nil
}

// DrawBatch is DrawComparison for a batch.
func DrawBatch(d BatchDocument) ([]figure.Drawing, []string, error) {
	view, err := newBatchPage(d)
	if err != nil {
		return nil, nil, err
	}
	return view.drawings(), notation.Each(append(view.Summary, view.Alarms...), notation.Tied), nil
}

// drawings are the figures of a page: each wide and narrow, or one for both.
func (p *manyPage) drawings() []figure.Drawing {
	var out []figure.Drawing
	for _, t := range slices.Concat(p.Overlays, p.Charts) {
		narrow := t.Narrow
		if narrow == "" {
			narrow = t.SVG
		}
		out = append(out, figure.Drawing{Title: t.Title, Wide: string(t.SVG), Narrow: string(narrow)})
	}
	return out
}
