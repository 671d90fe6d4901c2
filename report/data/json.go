// Package data writes files for other programs: JSON, CSV, and a coil as one
// archive.
package data

import (
	"bytes"
	"encoding/json"
	"fmt"
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

// Object is a JSON object; its keys keep their order.
type Object []struct {
	Key   string
	Value any
}

// MarshalJSON writes the object; null for none.
func (o Object) MarshalJSON() ([]byte, error) {
	if o == nil {
		return []byte("null"), nil
	}
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false)
	separator := byte('{')
	for _, field := range o {
		b.WriteByte(separator)
		if err := encoder.Encode(field.Key); err != nil {
			return nil, err
		}
		b.WriteByte(':')
		if err := encoder.Encode(field.Value); err != nil {
			return nil, fmt.Errorf("%s: %w", field.Key, err)
		}
		separator = ','
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// orEmpty is a list that is written as [], never as null.
func orEmpty[T any](list []T) []T { return append([]T{}, list...) }

// finiteOrNil is a number, or null where there is none.
func finiteOrNil(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}
