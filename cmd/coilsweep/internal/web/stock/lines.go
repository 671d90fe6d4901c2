package stock

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"coilsweep/excite/quantity"
)

// Lines are the parts of a text, one a line, each once, with a point for a decimal comma.
func Lines(text string, unit quantity.Unit, kind string) (parts []string, err error) {
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		if line, err = quantity.WithPoint(line); err != nil {
			return nil, err
		}
		v, err := quantity.Parse(line, unit)
		if err == nil {
			err = quantity.Plausible(kind, v)
		}
		if err == nil && v.SI <= 0 {
			err = errors.New("want a size above zero")
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", line, err)
		}
		if !slices.Contains(parts, line) {
			parts = append(parts, line)
		}
	}
	return parts, nil
}
