package web

import (
	"context"
	"net/http"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/fit/evaluation"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// coilLine is a coil in the list.
type coilLine struct {
	Coil, Name string // the name as it is shown
	Label      string // where coils are chosen: with the folder if that says more
	Takes      int
	State      string // of the result, in words
	Flags      []string
	Cells      []string // of words.ListColumns
	Measured   bool     // there is a result
	Known      bool     // and L and C are known apart
}

// stateWords are the states of a result for people.
var stateWords = map[string]string{
	resultNone: "no result", resultWorking: "working", resultFresh: words.UpToDate, resultStale: "out of date",
	resultFailed: "failed",
}

func (w *workshop) newCoilLine(coil string, l words.Listed) coilLine {
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
	return line
}

// watchEvery is how often is looked for coils and results that others made.
const watchEvery = 2 * time.Second

// watch tells the pages when others have made or changed coils, until ctx ends.
func (w *workshop) watch(ctx context.Context) {
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for last := ""; ; {
		if now := capture.Times(ctx, w.Root); now != last {
			if last != "" {
				w.changed("coils")
			}
			last = now
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

func (w *workshop) getCoils(r *http.Request) (any, error) {
	known, bad, err := evaluation.List(r.Context(), w.Root)
	if err != nil {
		return nil, err
	}
	view := struct {
		Coils      []coilLine
		Columns    []words.ListColumn
		Starred    bool
		Unreadable []string
	}{Columns: words.ListColumns}
	for _, err := range bad {
		view.Unreadable = append(view.Unreadable, err.Error())
	}
	w.coils.KeepOnly(notation.Each(known, func(k evaluation.Known) string { return k.Folder }))
	coils, measured, list := []string{}, 0, []words.Listed{}
	for _, k := range known {
		coil := w.coilOf(k.Folder)
		if _, err := w.coilDir(coil); err != nil {
			view.Unreadable = append(view.Unreadable, err.Error())
			continue
		}
		line := w.newCoilLine(coil, words.Listed{Known: k})
		coils, list, view.Coils = append(coils, coil), append(list, words.Listed{Known: k}), append(view.Coils, line)
		if line.Measured {
			measured++
		}
	}
	for _, column := range words.ListColumns {
		for i, cell := range new(notation.Notes).Values(column.Unit, notation.Each(list, column.Of)...) {
			_, _, of := list[i].Resonance()
			switch loaded := strings.HasPrefix(of, "take ") && (column.Key == "resonance" || column.Key == "q"); {
			case !column.Of(list[i]).Known():
				cell = notation.None
			case loaded:
				cell, view.Starred = cell+"*", true
			}
			view.Coils[i].Cells = append(view.Coils[i].Cells, notation.Tied(cell))
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
		"sweep-behind": fragment("behind", view.Coils),
		"many-coils":   fragment("coils", view), "word-compare": fragment("word", compare),
	}}, nil
}
