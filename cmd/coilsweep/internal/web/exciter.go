package web

import (
	"net/http"

	"coilsweep/cmd/coilsweep/internal/exciterplan"
	"coilsweep/report/words"
)

// getExciter are the fields of the design of an exciter.
func getExciter(*http.Request) (any, error) {
	return shows{HTML: places{"exciter-fields": fragment("option fields", exciterplan.New().Options)}}, nil
}

// designExciter works out an exciter, as 'exciter' does.
func designExciter(_ *http.Request, in struct {
	Options map[string]string `json:"options"`
}) (any, error) {
	plan := exciterplan.New()
	if err := plan.Fill(in.Options); err != nil {
		return nil, err
	}
	sheet, err := plan.Work()
	if err != nil {
		return nil, err
	}
	return shows{HTML: places{"exciter-answer": fragment("exciter", words.Exciters(sheet))}}, nil
}
