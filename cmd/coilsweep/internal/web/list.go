package web

import (
	"context"
	"net/http"
	"time"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/web/listed"
	"coilsweep/fit/evaluation"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// stateWords are the states of a result for people.
var stateWords = map[string]string{
	resultNone: "no result", resultWorking: "working", resultFresh: words.UpToDate, resultStale: "out of date",
	resultFailed: "failed",
}

// How often is looked for coils and results that others made: every watchEvery, and no more
// often than what takes a watchShare of the time.
const (
	watchEvery = 2 * time.Second
	watchShare = 0.01
)

// watch tells the pages when others have made or changed coils, until ctx ends.
func (w *workshop) watch(ctx context.Context) {
	for last := ""; ; {
		begin := time.Now()
		if now := capture.Times(ctx, w.Root); now != last {
			if last != "" {
				w.changed("coils")
			}
			last = now
		}
		took := time.Since(begin)
		select {
		case <-ctx.Done():
			return
		case <-time.After(max(watchEvery, time.Duration(float64(took)/watchShare))):
		}
	}
}

func (w *workshop) getCoils(r *http.Request) (any, error) {
	known, bad, err := w.glances.List(r.Context(), w.Root)
	if err != nil {
		return nil, err
	}
	var unreadable []string
	for _, err := range bad {
		unreadable = append(unreadable, err.Error())
	}
	w.coils.KeepOnly(notation.Each(known, func(k evaluation.Known) string { return k.Folder }))
	var coils []listed.Coil
	measured := 0
	for _, k := range known {
		coil := w.coilOf(k.Folder)
		if _, err := w.servedDir(coil); err != nil {
			unreadable = append(unreadable, err.Error())
			continue
		}
		state := w.stateOf(coil, k.Takes, k.Result, k.Stale)
		has := state == resultFresh || state == resultStale
		if has {
			measured++
		}
		coils = append(coils, listed.Coil{Folder: coil, State: stateWords[state], Measured: has,
			Listed: words.Listed{Known: k}})
	}
	compare := stepWord{"needs 2 coils", markWait}
	if measured >= 2 {
		compare = stepWord{notation.Count(measured, "coil"), markReady}
	}
	lines, starred := listed.Lines(coils)
	table := struct {
		Columns []words.ListColumn
		Some    bool
	}{words.ListColumns, len(coils) > 0}
	notes := struct {
		Starred    bool
		Unreadable []string
	}{starred, unreadable}
	return struct {
		listed.Changes
		HTML places `json:"html"`
	}{w.list.Since(r.URL.Query().Get("since"), lines), places{"many-coils": fragment("coils", table),
		"many-notes": fragment("coil notes", notes), "word-compare": fragment("word", compare)}}, nil
}
