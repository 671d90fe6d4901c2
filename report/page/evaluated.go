package page

import (
	"time"

	"coilsweep/fit"
	"coilsweep/fit/evaluation"
)

// NewCoilDocument is what the page of a coil is made from: an evaluation with its
// circuit.
func NewCoilDocument(e *evaluation.Evaluation, program string) (CoilDocument, error) {
	d := CoilDocument{Result: *e.Result, Coil: e.Folder.Coil, Takes: e.Takes, Made: time.Now(), Program: program}
	var err error
	d.Account, err = e.Fitted().Account(fit.Terminals{})
	return d, err
}
