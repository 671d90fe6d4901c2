package main

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"time"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/benchpage"
	"coilsweep/excite/quantity"
	"coilsweep/fit/comparison"
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
	var guitar guitarFlags
	cmd := newOptions(r)
	guitar.add(cmd.Flags())
	if err := fill(cmd, options); err != nil {
		return nil, err
	}
	if len(in.Coils) < 1 || len(in.Coils) > 2 {
		return nil, &benchpage.Error{Status: http.StatusUnprocessableEntity, Text: fmt.Sprintf("one coil or two are wanted, not %d", len(in.Coils)), Field: "coils"}
	}
	h, part, err := guitar.plan(cmd, len(in.Coils))
	if err != nil {
		return nil, err
	}
	var dirs []string
	var coils []harness.Coil
	document := page.PredictionDocument{Harness: h, Made: time.Now(), Program: programName()}
	for _, coil := range in.Coils {
		dir, err := w.coilDir(coil)
		if err != nil {
			return nil, err
		}
		a, err := w.coils.get(r.Context(), dir)
		if err != nil {
			return nil, err
		}
		coils = append(coils, harness.Coil{Name: a.folder.Coil.Name, Fitted: a.fitted})
		dirs = append(dirs, dir)
		document.Coils = append(document.Coils, comparison.Coil{Name: a.folder.Coil.Name, Folder: coil, Result: a.result})
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
		"command": commandLine("predict", dirs, cmd.Flags()),
	}
	d, err := figure.DrawPrediction(*p)
	var nothing *figure.NothingToDrawError
	if err != nil && !errors.As(err, &nothing) {
		return nil, err
	}
	answer["svg"], answer["narrow"] = d.Wide, d.Narrow
	if guitar.target != 0 {
		solution, err := h.Solve(coils, part, float64(guitar.target))
		if err != nil {
			return nil, &benchpage.Error{Status: http.StatusUnprocessableEntity, Text: err.Error(), Field: "target"}
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

// predictIn is the prediction for analysed coils in the guitar of options.
func predictIn(cmd *cobra.Command, options map[string]string, analysed []*analysis) (*harness.Prediction, error) {
	var guitar guitarFlags
	guitar.add(cmd.Flags())
	if err := fill(cmd, options); err != nil {
		return nil, err
	}
	h, _, err := guitar.plan(cmd, len(analysed))
	if err != nil {
		return nil, err
	}
	var coils []harness.Coil
	for _, a := range analysed {
		coils = append(coils, harness.Coil{Name: a.folder.Coil.Name, Fitted: a.fitted})
	}
	return h.Predict(coils)
}
