package web

import (
	"bytes"
	"errors"
	"net/http"

	"coilsweep/cmd/coilsweep/internal/inguitar"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/page"
)

// predictGuitar predicts what one coil or two do in a guitar, as 'predict' does.
func (w *workshop) predictGuitar(r *http.Request, in struct {
	Coils   []string          `json:"coils"`
	Options map[string]string `json:"options"`
	All     bool              `json:"all"`  // other positions of the knobs, and without each part
	Page    bool              `json:"page"` // and a page of all that, to keep
}) (any, error) {
	guitar := inguitar.NewGuitar(true)
	if err := guitar.Fill(in.Options); err != nil {
		return nil, err
	}
	if len(in.Coils) < 1 || len(in.Coils) > 2 {
		return nil, wrong("coils", "one coil or two are wanted, not %d", len(in.Coils))
	}
	h, part, err := guitar.Plan(len(in.Coils))
	if err != nil {
		return nil, err
	}
	var coils []harness.Coil
	document := page.PredictionDocument{Harness: h, Made: workbench.Made(), Program: w.Program}
	for _, coil := range in.Coils {
		dir, err := w.coilDir(coil)
		if err != nil {
			return nil, err
		}
		e, err := w.coils.Get(r.Context(), dir)
		if err != nil {
			return nil, err
		}
		coils = append(coils, harness.Coil{Name: e.Folder.Coil.Name, Fitted: e.Fitted()})
		measured := e.Measured().Coil
		measured.Folder = coil
		document.Coils = append(document.Coils, measured)
	}
	whole := in.All || in.Page
	predict := h.Preview
	if whole {
		predict = h.Predict
	}
	p, err := predict(coils)
	if err != nil {
		return nil, err
	}
	document.Prediction = *p
	if guitar.TargetHz != 0 {
		if document.Target, err = h.Solve(coils, part, guitar.TargetHz); err != nil {
			return nil, wrong("target", "%v", err)
		}
	}
	if in.Page && len(coils) == 1 {
		if document.Listening, err = inguitar.HearOn(r.Context(), inguitar.OpenStrings, h, coils); err != nil {
			return nil, err
		}
	}
	return w.showGuitar(document, whole, in.Page)
}

// showGuitar is a prediction for the page: whole with all positions of the knobs,
// and with a link to a page to keep where that is wanted.
func (w *workshop) showGuitar(document page.PredictionDocument, whole, link bool) (any, error) {
	parts, err := page.PredictionParts(document, whole)
	if err != nil {
		return nil, err
	}
	d, err := figure.DrawPrediction(document.Prediction)
	var nothing *figure.NothingToDrawError
	if err != nil && !errors.As(err, &nothing) {
		return nil, err
	}
	answer := struct {
		Link string `json:"link,omitempty"`
		HTML places `json:"html"`
	}{HTML: places{
		"guitar-numbers": parts["numbers"], "guitar-figure": drawing(d),
		"guitar-assumed": fragment("assumed", document.Prediction.Assumptions),
	}}
	if whole {
		answer.HTML["guitar-said"], answer.HTML["guitar-table"] = parts["said"], parts["knobs"]
	}
	if link {
		var html bytes.Buffer
		if err := page.Prediction(&html, document); err != nil {
			return nil, err
		}
		answer.Link = w.linkPage("prediction.html", html.Bytes())
	}
	return answer, nil
}

// guitarOf is the guitar for one coil of options.
func guitarOf(options map[string]string) (h harness.Harness, err error) {
	guitar := inguitar.NewGuitar(false)
	if err := guitar.Fill(options); err != nil {
		return h, err
	}
	h, _, err = guitar.Plan(1)
	return h, err
}

// predictIn is the prediction for a coil in the guitar of options.
func predictIn(options map[string]string, e *evaluation.Evaluation) (*harness.Prediction, error) {
	h, err := guitarOf(options)
	if err != nil {
		return nil, err
	}
	return h.Predict([]harness.Coil{{Name: e.Folder.Coil.Name, Fitted: e.Fitted()}})
}
