package web

import (
	"context"
	"net/http"
	"slices"
	"time"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/web/listed"
	"coilsweep/fit/evaluation"
	"coilsweep/report/data"
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

// known are the coils that are served, as the page names them.
func (w *workshop) known(ctx context.Context) (list []words.Listed, unreadable []string, err error) {
	known, bad, err := w.glances.List(ctx, w.Root)
	if err != nil {
		return nil, nil, err
	}
	unreadable = notation.Each(bad, error.Error)
	w.coils.KeepOnly(notation.Each(known, func(k evaluation.Known) string { return k.Folder }))
	for _, l := range words.ListOf(w.Root, known) {
		l.Folder = w.coilOf(l.Folder)
		if _, err := w.servedDir(l.Folder); err != nil {
			unreadable = append(unreadable, err.Error())
			continue
		}
		if l.Pair != nil {
			l.Pair.Folder = w.coilOf(l.Pair.Folder)
		}
		list = append(list, l)
	}
	return list, unreadable, nil
}

// sendList sends the list as 'list --csv' writes it, of the coils that match.
func (w *workshop) sendList(rw http.ResponseWriter, r *http.Request) error {
	list, _, err := w.known(r.Context())
	if err != nil {
		return refused(err)
	}
	query := r.URL.Query()
	list = slices.DeleteFunc(list, func(l words.Listed) bool { return !l.Matches(query.Get("match")) })
	words.SortList(list, "folder", false)
	return data.ListCSV(rw, list, data.CSVOptions{DecimalComma: query.Has("comma")})
}

func (w *workshop) getCoils(r *http.Request) (any, error) {
	list, unreadable, err := w.known(r.Context())
	if err != nil {
		return nil, err
	}
	var coils []listed.Coil
	measured := 0
	for _, k := range list {
		state := w.stateOf(k.Folder, k.Takes, k.Result, k.Stale)
		has := state == resultFresh || state == resultStale
		if has {
			measured++
		}
		coils = append(coils, listed.Coil{State: stateWords[state], Measured: has, Listed: k})
	}
	compare := stepWord{"needs 2 coils", markWait}
	if measured >= 2 {
		compare = stepWord{notation.Count(measured, "coil"), markReady}
	}
	lines, starred := listed.Lines(coils)
	table := struct {
		Texts   []words.ListText
		Columns []words.ListColumn
		Some    bool
	}{words.ListTexts(list), words.ListColumns, len(coils) > 0}
	notes := struct {
		Starred    bool
		Unreadable []string
	}{starred, unreadable}
	return struct {
		listed.Changes
		CSV  string `json:"csv"`
		HTML places `json:"html"`
	}{w.list.Since(r.URL.Query().Get("since"), lines), w.server.Link("list", "coils.csv", w.sendList), places{
		"many-coils": fragment("coils", table), "many-notes": fragment("coil notes", notes),
		"many-pairs":   fragment("pairs", listed.Pairs(list)),
		"word-compare": fragment("word", compare)}}, nil
}
