package report

import (
	"errors"
	"io"
	"time"

	"coilsweep/capture"
	"coilsweep/fit"
)

// Document is what report.html is made from.
type Document struct {
	Result  fit.Result
	Coil    capture.Coil
	Takes   []capture.Take
	Made    time.Time
	Program string // program and version that makes the page
}

// Page writes report.html.
func Page(w io.Writer, d Document) error {
	return errors.New("not written yet")
}
