// Package data writes files for other programs: JSON, CSV, and a coil as one
// archive.
package data

import (
	"encoding/json"
	"io"
	"math"
)

// writeJSON writes v indented by two spaces, ended by a line feed.
func writeJSON(w io.Writer, v any) error {
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(v)
}

// orEmpty is a list that is written as [], never as null.
func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// finiteOrNil is a number, or null where there is none.
func finiteOrNil(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}
