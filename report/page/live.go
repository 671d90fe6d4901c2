package page

import (
	"strings"

	"coilsweep/report/figure"
)

// DrawComparison draws what a comparison page shows, and says it.
func DrawComparison(d ComparisonDocument) ([]figure.Drawing, []string, error) {
	view, err := newComparisonPage(d)
	if err != nil {
		return nil, nil, err
	}
	return view.drawings(), view.Summary, nil
}

// DrawBatch is DrawComparison for a batch.
func DrawBatch(d BatchDocument) ([]figure.Drawing, []string, error) {
	view, err := newBatchPage(d)
	if err != nil {
		return nil, nil, err
	}
	return view.drawings(), append(view.Summary, view.Alarms...), nil
}

// drawings are the figures of a page: each wide and narrow, or one for both.
func (p *manyPage) drawings() []figure.Drawing {
	var out []figure.Drawing
	for _, t := range append(append([]titled{}, p.Overlays...), p.Charts...) {
		parts := strings.SplitAfter(string(t.SVG), "</svg>")
		d := figure.Drawing{Title: t.Title, Wide: parts[0], Narrow: parts[0]}
		if len(parts) > 1 && parts[1] != "" {
			d.Narrow = parts[1]
		}
		out = append(out, d)
	}
	return out
}
