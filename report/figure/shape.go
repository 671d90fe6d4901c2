// Package figure says which figure shows what of a result, a comparison, a batch
// or a prediction: its axes, its curves and marks, and what is read aloud of it.
// It also prints figures into files and draws them for a page that stays open;
// package plot does the drawing.
package figure

import (
	"strings"
)

// Shape is where a figure is shown: wide on a screen or on paper, narrow on a
// phone or in a row of small ones.
type Shape struct {
	Name   string
	Width  float64
	Height float64 // of a figure of usual height
}

// The shapes of figures on a page.
var (
	Wide   = Shape{"w", 860, 400}
	Narrow = Shape{"n", 380, 300}
)

// sentence ends s with a full stop.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}
