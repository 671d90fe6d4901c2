package web

import (
	"net/http"
	"strings"

	"coilsweep/fit/evaluation"
	"coilsweep/report/listing"
	"coilsweep/report/notation"
)

// coilLine is a coil in the list.
type coilLine struct {
	Coil, Name string // the name as it is shown
	Label      string // where coils are chosen: with the folder if that says more
	Takes      int
	State      string // of the result, in words
	Flags      []string
	Cells      []string // of listing.Columns
	Measured   bool     // there is a result
	Known      bool     // and L and C are known apart
	starred    bool
}

// stateWords are the states of a result for people.
var stateWords = map[string]string{
	resultNone: "no result", resultWorking: "working", resultFresh: "up to date", resultStale: "out of date",
	resultFailed: "failed",
}

func (w *workshop) newCoilLine(l listing.Coil) coilLine {
	coil := w.coilOf(l.Folder)
	state := w.stateOf(coil, l.Takes, l.Result, l.Stale)
	name := notation.Visible(l.Coil)
	if name == "" {
		name = notation.Visible(coil)
	}
	line := coilLine{
		Coil: coil, Name: name, Label: name, Takes: l.Takes, State: stateWords[state], Flags: l.Flags,
		Measured: state == resultFresh || state == resultStale, Known: l.Result != nil && l.Result.Inductance.Known(),
	}
	if l.Coil != coil && l.Coil != "" {
		line.Label += " (" + notation.Visible(coil) + ")"
	}
	_, _, of := l.Resonance()
	for _, column := range listing.Columns {
		q := column.Of(l)
		cell := notation.None
		switch {
		case q.Known():
			cell = notation.Tied(notation.Value(q, column.Unit))
		case l.Result != nil:
			cell = notation.Unknown
		}
		if q.Known() && strings.HasPrefix(of, "take ") && (column.Key == "resonance" || column.Key == "q") {
			cell, line.starred = cell+"*", true
		}
		line.Cells = append(line.Cells, cell)
	}
	return line
}

func (w *workshop) getCoils(r *http.Request) (any, error) {
	known, bad, err := evaluation.List(r.Context(), w.Root, w.Program)
	if err != nil {
		return nil, err
	}
	view := struct {
		Coils      []coilLine
		Columns    []listing.Column
		Starred    bool
		Unreadable []string
	}{Columns: listing.Columns}
	for _, err := range bad {
		view.Unreadable = append(view.Unreadable, err.Error())
	}
	coils, measured := []string{}, 0
	for _, k := range known {
		line := w.newCoilLine(listing.Coil(k))
		if _, err := w.coilDir(line.Coil); err != nil {
			view.Unreadable = append(view.Unreadable, err.Error())
			continue
		}
		coils, view.Coils, view.Starred = append(coils, line.Coil), append(view.Coils, line), view.Starred || line.starred
		if line.Measured {
			measured++
		}
	}
	compare := stepWord{"needs 2 coils", markWait}
	if measured >= 2 {
		compare = stepWord{notation.Count(measured, "coil"), markReady}
	}
	return struct {
		Coils []string `json:"coils"`
		HTML  places   `json:"html"`
	}{coils, places{
		"coil-choice": fragment("coil options", view.Coils), "g-second": fragment("second coils", view.Coils),
		"many-coils": fragment("coils", view), "word-compare": fragment("word", compare),
	}}, nil
}
