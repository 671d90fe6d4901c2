// Package data writes files for other programs: JSON, CSV, and a coil as one
// archive.
package data

import (
	"fmt"
	"io"

	"coilsweep/fit"
)

// ResultJSON writes result.json: the result as fit.Result lays it down,
// indented by two spaces, in a stable order, ended by a line feed. Lists
// without entries are written as [], so that a reader need not ask.
func ResultJSON(w io.Writer, r fit.Result) error {
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
	if err := writeJSON(w, r); err != nil {
		return fmt.Errorf("result of coil %q as JSON: %w", r.Coil, err)
	}
	return nil
}
