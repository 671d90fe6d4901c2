package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strings"
	"sync"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/benchpage"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/data"
	"coilsweep/report/figure"
	"coilsweep/report/words"
)

// analyses keeps the coils that were analysed last in memory, so that what
// follows from them is there at once. One coil is analysed at a time: it takes
// all cores.
type analyses struct {
	most int
	busy chan struct{} // holds one while there is work

	mu   sync.Mutex
	held []*analysis // the latest last
}

func newAnalyses(most int) *analyses {
	return &analyses{most: most, busy: make(chan struct{}, 1)}
}

// get is the analysis of the coil in dir as it is now, with the options of its
// last fit.
func (s *analyses) get(ctx context.Context, dir string) (*analysis, error) {
	if a := s.fresh(dir, nil); a != nil {
		return a, nil
	}
	options := lastOptions(dir)
	options.MonteCarlo, options.Advise = 0, true
	return s.make(ctx, dir, options, false)
}

// fresh is the analysis of the coil in dir that is held, if nothing has changed
// since; nil options: whatever its were.
func (s *analyses) fresh(dir string, options *fit.OptionsRecord) *analysis {
	a := s.before(dir)
	if a == nil {
		return nil
	}
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return nil
	}
	now, err := folder.Fingerprint()
	if err != nil || now.CoilSHA256 != a.held.CoilSHA256 || !slices.Equal(now.Takes, a.held.Takes) {
		return nil
	}
	if options != nil && !a.result.Record.Options.Equal(*options) {
		return nil
	}
	return a
}

// before is the last analysis of the coil in dir that is held.
func (s *analyses) before(dir string) *analysis {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := slices.IndexFunc(s.held, func(a *analysis) bool { return a.folder.Dir == dir })
	if i < 0 {
		return nil
	}
	a := s.held[i]
	s.held = append(slices.Delete(s.held, i, i+1), a)
	return a
}

// make analyses the coil in dir, unless somebody just did that; anew: even so.
func (s *analyses) make(ctx context.Context, dir string, options fit.Options, anew bool) (*analysis, error) {
	select {
	case s.busy <- struct{}{}:
		defer func() { <-s.busy }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	record := options.Record()
	if a := s.fresh(dir, &record); a != nil && !anew {
		return a, nil
	}
	a, err := analyseAfter(ctx, &console{out: discard{}, err: discard{}, hear: func(string) {}}, dir, options, s.before(dir))
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.held = append(slices.DeleteFunc(s.held, func(b *analysis) bool { return b.folder.Dir == dir }), a)
	s.held = slices.Clone(s.held[max(0, len(s.held)-s.most):])
	return a, nil
}

// fitting is the fit of a coil: under way, or failed.
type fitting struct {
	cancel context.CancelFunc
	done   bool
	why    string // why it failed; empty: it did not
}

// The states of a coil's result.
const (
	resultNone    = "none"
	resultWorking = "working"
	resultFresh   = "fresh"
	resultStale   = "stale"
	resultFailed  = "failed"
)

// fit fits a coil and keeps the result, as 'fit' does, in the background. A fit
// of the same coil that is under way is given up.
func (w *workshop) fit(coil, dir string, options fit.Options) {
	if w.ctx.Err() != nil {
		return
	}
	ctx, cancel := context.WithCancel(w.ctx)
	f := &fitting{cancel: cancel}
	w.mu.Lock()
	if old := w.fits[coil]; old != nil {
		old.cancel()
	}
	w.fits[coil] = f
	w.mu.Unlock()
	w.coilChanged(coil)
	w.background.Go(func() {
		defer cancel()
		a, err := w.coils.make(ctx, dir, options, false)
		if err == nil {
			// One at a time: a fit that was given up must not write over its heir's.
			w.saving.Lock()
			if ctx.Err() == nil {
				err = a.save(data.CSVOptions{})
			}
			w.saving.Unlock()
		}
		w.mu.Lock()
		given := w.fits[coil] != f // up: another fit has begun
		if !given {
			f.done = true
			switch {
			case err == nil:
				delete(w.fits, coil)
			case ctx.Err() != nil:
				f.why = "the fit was stopped"
			default:
				f.why = err.Error()
			}
		}
		w.mu.Unlock()
		if !given {
			if err == nil {
				w.showWhole(coil, a)
			}
			w.coilChanged(coil)
		}
	})
}

// showWhole draws the take that was made last by all of its sweeps, where the
// fit has estimated its response.
func (w *workshop) showWhole(coil string, a *analysis) {
	w.mu.Lock()
	shown, growing := w.sweep, w.growing
	w.mu.Unlock()
	if growing.coil == coil && growing.take == shown.Take {
		return // what was fitted is the earlier take of that name
	}
	for _, t := range a.takes {
		in := a.inputs[a.checksumOf(t.Name)]
		if shown.Coil != coil || shown.Take != t.Name || shown.Repeats >= t.Stimulus.Repeats || in.Response == nil {
			continue
		}
		if d, err := figure.DrawResponse(t.Name, in.Response); err == nil {
			w.mu.Lock()
			if w.sweep.Revision == shown.Revision { // no further take has begun
				w.showSweep(sweep{Coil: coil, Take: t.Name, Repeats: t.Stimulus.Repeats, drawing: d})
			}
			w.mu.Unlock()
		}
	}
}

// fitAgain fits a coil after its takes have changed, with the options of its
// last fit.
func (w *workshop) fitAgain(coil, dir string) {
	options := lastOptions(dir)
	options.MonteCarlo, options.Seed, options.Advise = 0, 0, true
	w.fit(coil, dir, options)
}

func (w *workshop) startFit(r *http.Request) (any, error) {
	in, err := ask[struct {
		Coil    string            `json:"coil"`
		Options map[string]string `json:"options"`
	}](r)
	if err != nil {
		return nil, err
	}
	dir, err := w.coilDir(in.Coil)
	if err != nil {
		return nil, err
	}
	var flags fitFlags
	var trials trialFlags
	cmd := newOptions(r)
	flags.add(cmd)
	trials.add(cmd.Flags())
	cmd.Flags().Bool("advise", true, "")
	if err := fill(cmd, in.Options); err != nil {
		return nil, err
	}
	options, err := flags.options()
	if err != nil {
		return nil, err
	}
	if err := trials.apply(cmd, &options); err != nil {
		return nil, err
	}
	options.Advise = true
	w.fit(in.Coil, dir, options)
	return accepted{"state": resultWorking}, nil
}

// resultNow is the result of a coil as it lies in its folder, with the reasons
// why it is stale; nil where there is none.
func (w *workshop) resultNow(folder *capture.Folder) (result *fit.Result, stale []string) {
	result, err := loadResult(folder.Dir)
	if err != nil || result == nil {
		return nil, nil
	}
	held, err := folder.Fingerprint()
	if err != nil {
		return result, []string{err.Error()}
	}
	return result, result.Stale(held, programName())
}

// stateOf is the state of a coil's result.
func (w *workshop) stateOf(coil string, takes int, result *fit.Result, stale []string) string {
	w.mu.Lock()
	f := w.fits[coil]
	w.mu.Unlock()
	switch {
	case f != nil && !f.done:
		return resultWorking
	case f != nil && f.why != "" && (result == nil || len(stale) > 0) && takes > 0:
		return resultFailed
	case result == nil || takes == 0:
		return resultNone
	case len(stale) > 0:
		return resultStale
	}
	return resultFresh
}

func (w *workshop) getResult(r *http.Request) (any, error) {
	coil := r.URL.Query().Get("coil")
	folder, err := w.openCoil(coil)
	if err != nil {
		return nil, err
	}
	held, err := folder.Fingerprint()
	if err != nil {
		return nil, err
	}
	result, stale := w.resultNow(folder)
	state := w.stateOf(coil, len(held.Takes), result, stale)
	answer := map[string]any{"state": state, "sentences": []string{}, "advice": []advice{}, "left_out": []any{}, "stale": append([]string{}, stale...)}
	w.mu.Lock()
	if f := w.fits[coil]; f != nil && f.why != "" {
		answer["why"] = f.why
	}
	w.mu.Unlock()
	if state == resultNone {
		answer["why"] = "there is no take yet"
		if len(held.Takes) > 0 {
			answer["why"] = "the takes were not fitted yet"
		}
	}
	if result == nil {
		return answer, nil
	}
	var text bytes.Buffer
	if err := data.ResultJSON(&text, *result); err != nil {
		return nil, err
	}
	answer["result"] = json.RawMessage(text.Bytes())
	answer["sentences"] = append([]string{}, words.Result(*result)...)
	proposals := []advice{}
	for _, a := range result.Advice {
		proposals = append(proposals, proposal(a))
	}
	answer["advice"] = proposals
	answer["left_out"] = leftOutOf(result)
	return answer, nil
}

// proposal is the advice of a fit with the options of the take that it asks for.
func proposal(a fit.Advice) advice {
	p := advice{Text: a.Text, Options: map[string]string{}}
	if a.AddedC > 0 {
		p.set("added-c", "c", quantity.Format(a.AddedC, quantity.Farad, 2))
	}
	if a.AddedR > 0 {
		p.set("added-r", "r", quantity.Format(a.AddedR, quantity.Ohm, 2))
	}
	return p
}

// set proposes a part, "1.5 nF", and a take that is named after it, "c1n5".
func (a *advice) set(option, letter, size string) {
	number, unit, _ := strings.Cut(size, " ")
	prefix := strings.TrimRight(unit, "FΩ")
	a.Options[option] = number + prefix + " 1%"
	whole, rest, broken := strings.Cut(number, ".")
	if broken {
		a.Options["take"] = letter + whole + prefix + rest
	} else {
		a.Options["take"] = letter + number + prefix
	}
}

// leftOutOf lists the takes that a result was made without.
func leftOutOf(r *fit.Result) []map[string]string {
	out := []map[string]string{}
	if r.Record == nil {
		return out
	}
	for _, t := range r.Record.Takes {
		i := slices.IndexFunc(r.Takes, func(u fit.TakeResult) bool { return u.Name == t.Name && u.Used })
		if i >= 0 {
			continue
		}
		var flags []capture.Flag
		for _, f := range t.Flags {
			if f.Unfit() {
				flags = append(flags, f)
			}
		}
		why := "it cannot be used"
		if len(flags) > 0 {
			why = flagList(flags)
		}
		out = append(out, map[string]string{"take": t.Name, "why": why})
	}
	return out
}

// analysed is the analysis of the coil that a request names.
func (w *workshop) analysed(r *http.Request) (*analysis, error) {
	dir, err := w.coilDir(r.URL.Query().Get("coil"))
	if err != nil {
		return nil, err
	}
	return w.coils.get(r.Context(), dir)
}

func (w *workshop) getFigure(r *http.Request) (any, error) {
	what := figure.Kind(r.URL.Query().Get("what"))
	if !slices.Contains(figure.Kinds(), what) || what == figure.KindPredict {
		return nil, &benchpage.Error{Status: http.StatusBadRequest, Text: "there is no figure " + string(what), Field: "what"}
	}
	a, err := w.analysed(r)
	if err != nil {
		var unfit unfitError
		if errors.As(err, &unfit) {
			return nil, benchpage.Errorf(http.StatusNotFound, "%v", err)
		}
		return nil, err
	}
	d, err := figure.Draw(*a.result, what)
	if err != nil {
		return nil, err
	}
	svg := d.Wide
	if r.URL.Query().Get("narrow") == "1" {
		svg = d.Narrow
	}
	return map[string]any{"svg": svg, "caption": d.Title}, nil
}

func (w *workshop) getCapacitance(r *http.Request) (any, error) {
	a, err := w.analysed(r)
	if err != nil {
		return nil, err
	}
	return a.fitted.Account(fit.Terminals{})
}

func (w *workshop) getCrosscheck(r *http.Request) (any, error) {
	a, err := w.analysed(r)
	if err != nil {
		return nil, err
	}
	return a.crosscheck()
}

func (w *workshop) getWinding(r *http.Request) (any, error) {
	dir, err := w.coilDir(r.URL.Query().Get("coil"))
	if err != nil {
		return nil, err
	}
	view, _, err := windingView(r.Context(), w.console(), dir)
	if err != nil {
		return nil, err
	}
	var text bytes.Buffer
	if err := data.WindingJSON(&text, view); err != nil {
		return nil, err
	}
	return json.RawMessage(text.Bytes()), nil
}
