package page

import "coilsweep/report/picture"

// DrawComparison draws what a comparison page shows, and says it.
func DrawComparison(d ComparisonDocument) ([]picture.Drawing, []string, error) {
	view, err := newComparisonPage(d)
	if err != nil {
		return nil, nil, err
	}
	return view.drawings(), view.Summary, nil
}

// DrawBatch is DrawComparison for a batch.
func DrawBatch(d BatchDocument) ([]picture.Drawing, []string, error) {
	view, err := newBatchPage(d)
	if err != nil {
		return nil, nil, err
	}
	return view.drawings(), append(view.Summary, view.Alarms...), nil
}
