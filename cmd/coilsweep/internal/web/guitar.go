package web

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"time"

	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/page"
)

// predictGuitar predicts what one coil or two do in a guitar, as 'predict' does.
func (w *workshop) predictGuitar(r *http.Request) (any, error) {
	in, err := ask[struct {
		Coils   []string          `json:"coils"`
		Harness map[string]string `json:"harness"`
		Target  string            `json:"target"`
		Solve   string            `json:"solve"`
		All     bool              `json:"all"`  // other positions of the knobs, and without each part
		Page    bool              `json:"page"` // and a page of all that, to keep
	}](r)
	if err != nil {
		return nil, err
	}
	options := maps.Clone(in.Harness)
	if options == nil {
		options = map[string]string{}
	}
	options["target"], options["solve"] = in.Target, in.Solve
	guitar := workbench.NewGuitar(true)
	if err := guitar.Fill(options); err != nil {
		return nil, err
	}
	if len(in.Coils) < 1 || len(in.Coils) > 2 {
		return nil, &site.Error{Status: http.StatusUnprocessableEntity, Text: fmt.Sprintf("one coil or two are wanted, not %d", len(in.Coils)), Field: "coils"}
	}
	h, part, err := guitar.Plan(len(in.Coils))
	if err != nil {
		return nil, err
	}
	var coils []harness.Coil
	document := page.PredictionDocument{Harness: h, Made: time.Now(), Program: w.Program}
	for _, coil := range in.Coils {
		dir, err := w.coilDir(coil)
		if err != nil {
			return nil, err
		}
		e, err := w.coils.get(r.Context(), dir)
		if err != nil {
			return nil, err
		}
		coils = append(coils, harness.Coil{Name: e.Folder.Coil.Name, Fitted: e.Fitted()})
		measured := e.Measured().Coil
		measured.Folder = coil
		document.Coils = append(document.Coils, measured)
	}
	predict := h.Preview
	if in.All || in.Page {
		predict = h.Predict
	}
	p, err := predict(coils)
	if err != nil {
		return nil, err
	}
	answer := map[string]any{
		"prediction": p, "warnings": append([]string{}, p.Warnings...), "sentences": soundSentences(p.Sound),
	}
	d, err := figure.DrawPrediction(*p)
	var nothing *figure.NothingToDrawError
	if err != nil && !errors.As(err, &nothing) {
		return nil, err
	}
	answer["svg"], answer["narrow"] = d.Wide, d.Narrow
	if guitar.TargetHz != 0 {
		solution, err := h.Solve(coils, part, guitar.TargetHz)
		if err != nil {
			return nil, &site.Error{Status: http.StatusUnprocessableEntity, Text: err.Error(), Field: "target"}
		}
		text := fmt.Sprintf("%s of %s puts the peak at %s", solution.Part, notation.Quantity(solution.Farad, quantity.Farad), quantity.Format(solution.TargetHz, quantity.Hertz, 3))
		if solution.LengthM != nil {
			text += fmt.Sprintf(": %.2g m", *solution.LengthM)
		}
		answer["solution"] = map[string]any{
			"part": solution.Part, "farad": solution.Farad, "length_m": solution.LengthM, "target_hz": solution.TargetHz, "text": text,
		}
		document.Target = solution
	}
	if in.Page {
		document.Prediction = *p
		var html bytes.Buffer
		if err := page.Prediction(&html, document); err != nil {
			return nil, err
		}
		answer["link"] = w.linkPage("prediction.html", html.Bytes())
	}
	return answer, nil
}

// soundSentences say what reaches the amplifier.
func soundSentences(s harness.Sound) []string {
	if !s.Peak.Known() {
		return []string{"There is no peak: " + s.Peak.Why + "."}
	}
	text := "It peaks at " + notation.Quantity(s.Peak, quantity.Hertz)
	if s.PeakDB.Known() {
		text += fmt.Sprintf(", %.1f dB above its level at low frequencies", s.PeakDB.Value)
	}
	return []string{text + "."}
}

// predictIn is the prediction for a coil in the guitar of options.
func predictIn(options map[string]string, e *evaluation.Evaluation) (*harness.Prediction, error) {
	guitar := workbench.NewGuitar(false)
	if err := guitar.Fill(options); err != nil {
		return nil, err
	}
	h, _, err := guitar.Plan(1)
	if err != nil {
		return nil, err
	}
	return h.Predict([]harness.Coil{{Name: e.Folder.Coil.Name, Fitted: e.Fitted()}})
}
