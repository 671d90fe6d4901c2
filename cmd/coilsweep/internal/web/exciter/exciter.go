// Package exciter is the design of an exciter on the bench page.
package exciter

import (
	"net/http"

	"coilsweep/cmd/coilsweep/internal/exciterplan"
	"coilsweep/cmd/coilsweep/internal/web/markup"
	"coilsweep/report/words"
)

// Fields are those of the design.
func Fields(*http.Request) (any, error) {
	fields := markup.Fragment("option fields", exciterplan.New().Options)
	return markup.Shows{HTML: markup.Places{"exciter-fields": fields}}, nil
}

// Design works out an exciter, as 'exciter' does.
func Design(_ *http.Request, in struct {
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
	return markup.Shows{HTML: markup.Places{"exciter-answer": markup.Fragment("exciter", words.Exciters(sheet))}}, nil
}
