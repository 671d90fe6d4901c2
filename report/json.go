package report

import (
	"encoding/json"
	"fmt"
	"io"

	"coilsweep/fit"
)

// WriteJSON writes result.json: the result as fit.Result lays it down,
// indented by two spaces, in a stable order, ended by a line feed. Lists
// without entries are written as [], so that a reader need not ask.
func WriteJSON(w io.Writer, r fit.Result) error {
	if r.Schema == "" {
		r.Schema = fit.ResultSchema
	}
	takes := make([]fit.TakeResult, len(r.Takes))
	copy(takes, r.Takes)
	for i := range takes {
		takes[i].Flags = orEmpty(takes[i].Flags)
	}
	r.Takes = takes
	r.Model.Tried = orEmpty(r.Model.Tried)
	r.Eddy = orEmpty(r.Eddy)
	r.Basis = orEmpty(r.Basis)
	r.Meter = orEmpty(r.Meter)
	r.Warnings = orEmpty(r.Warnings)
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(r); err != nil {
		return fmt.Errorf("result of coil %q as JSON: %w", r.Coil, err)
	}
	return nil
}

func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}
