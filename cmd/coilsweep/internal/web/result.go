package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/winding"
	"coilsweep/report/data"
	"coilsweep/report/figure"
	"coilsweep/report/words"
)

// evaluations keeps the coils that were evaluated last in memory, so that what
// follows from them is there at once. One coil is evaluated at a time: it takes
// all cores.
type evaluations struct {
	most    int
	program string
	busy    chan struct{} // holds one while there is work

	mu   sync.Mutex
	held []*evaluation.Evaluation // the latest last
}

func newEvaluations(most int, program string) *evaluations {
	return &evaluations{most: most, program: program, busy: make(chan struct{}, 1)}
}

// get is the evaluation of the coil in dir as it is now, with the options of its
// last fit.
func (s *evaluations) get(ctx context.Context, dir string) (*evaluation.Evaluation, error) {
	return s.make(ctx, dir, evaluation.Options{AsLast: true, Fit: fit.Options{Advise: true}})
}

// before is the last evaluation of the coil in dir that is held; nil: none is.
func (s *evaluations) before(dir string) *evaluation.Evaluation {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := slices.IndexFunc(s.held, func(e *evaluation.Evaluation) bool { return e.Folder.Dir == dir })
	if i < 0 {
		return nil
	}
	e := s.held[i]
	s.held = append(slices.Delete(s.held, i, i+1), e)
	return e
}

// make evaluates the coil in dir, with its circuit, unless that was just done.
func (s *evaluations) make(ctx context.Context, dir string, o evaluation.Options) (*evaluation.Evaluation, error) {
	select {
	case s.busy <- struct{}{}:
		defer func() { <-s.busy }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	o.Circuit, o.Before, o.Fit.Program = true, s.before(dir), s.program
	e, err := evaluation.Coil(ctx, dir, o)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.held = append(slices.DeleteFunc(s.held, func(f *evaluation.Evaluation) bool { return f.Folder.Dir == dir }), e)
	s.held = slices.Clone(s.held[max(0, len(s.held)-s.most):])
	return e, nil
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
func (w *workshop) fit(coil, dir string, options evaluation.Options) {
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
		e, err := w.coils.make(ctx, dir, options)
		if err == nil {
			// One at a time: a fit that was given up must not write over its heir's.
			w.saving.Lock()
			if ctx.Err() == nil {
				err = e.Save(func(out io.Writer) error { return data.ResultCSV(out, *e.Result, data.CSVOptions{}) })
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
				f.why = refused(err).Text
			}
		}
		w.mu.Unlock()
		if !given {
			if err == nil {
				w.showWhole(coil, e)
			}
			w.coilChanged(coil)
		}
	})
}

// showWhole draws the take that was made last by all of its sweeps, where the
// fit has estimated its response.
func (w *workshop) showWhole(coil string, e *evaluation.Evaluation) {
	w.mu.Lock()
	shown, growing := w.sweep, w.growing
	w.mu.Unlock()
	if growing.coil == coil && growing.take == shown.Take {
		return // what was fitted is the earlier take of that name
	}
	for _, t := range e.Takes {
		in, _ := e.Input(t.Name)
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
	w.fit(coil, dir, evaluation.Options{AsLast: true, Fit: fit.Options{Advise: true}})
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
	options := workbench.NewFit(true)
	if err := options.Fill(in.Options); err != nil {
		return nil, err
	}
	given, err := options.Analysis()
	if err != nil {
		return nil, err
	}
	if given == nil {
		given = &fit.Options{}
	}
	given.Advise = true
	w.fit(in.Coil, dir, evaluation.Options{Fit: *given})
	return accepted{"state": resultWorking}, nil
}

// resultNow is the result of a coil as it lies in its folder, with the reasons
// why it is stale; nil where there is none.
func (w *workshop) resultNow(folder *capture.Folder) (result *fit.Result, stale []string) {
	result, err := evaluation.Load(folder.Dir)
	if err != nil || result == nil {
		return nil, nil
	}
	held, err := folder.Fingerprint()
	if err != nil {
		return result, []string{err.Error()}
	}
	return result, result.Stale(held, w.Program)
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
	if err := result.Encode(&text); err != nil {
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
			why = capture.FlagNames(flags)
		}
		out = append(out, map[string]string{"take": t.Name, "why": why})
	}
	return out
}

// evaluated is the evaluation of the coil that a request names.
func (w *workshop) evaluated(r *http.Request) (*evaluation.Evaluation, error) {
	dir, err := w.coilDir(r.URL.Query().Get("coil"))
	if err != nil {
		return nil, err
	}
	return w.coils.get(r.Context(), dir)
}

func (w *workshop) getFigure(r *http.Request) (any, error) {
	what := figure.Kind(r.URL.Query().Get("what"))
	if !slices.Contains(figure.Kinds(), what) || what == figure.KindPredict {
		return nil, &site.Error{Status: http.StatusBadRequest, Text: "there is no figure " + string(what), Field: "what"}
	}
	e, err := w.evaluated(r)
	if err != nil {
		var unfit *capture.UnfitError
		if errors.As(err, &unfit) {
			return nil, site.Errorf(http.StatusNotFound, "%v", err)
		}
		return nil, err
	}
	d, err := figure.Draw(*e.Result, what)
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
	e, err := w.evaluated(r)
	if err != nil {
		return nil, err
	}
	return e.Fitted().Account(fit.Terminals{})
}

func (w *workshop) getCrosscheck(r *http.Request) (any, error) {
	e, err := w.evaluated(r)
	if err != nil {
		return nil, err
	}
	return map[string]any{"coil": e.Result.Coil, "meter": e.Result.Meter}, nil
}

func (w *workshop) getWinding(r *http.Request) (any, error) {
	dir, err := w.coilDir(r.URL.Query().Get("coil"))
	if err != nil {
		return nil, err
	}
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	var result *fit.Result
	e, err := evaluation.Coil(r.Context(), dir, evaluation.Options{AsLast: true, Fit: fit.Options{Program: w.Program}})
	var noTake *evaluation.NoTakeError
	switch {
	case err == nil:
		result = e.Result
	case !errors.As(err, &noTake):
		return nil, err
	}
	view, err := winding.NewSheet(folder.Coil, result)
	if err != nil {
		return nil, err
	}
	var text bytes.Buffer
	if err := data.WindingJSON(&text, view); err != nil {
		return nil, err
	}
	return json.RawMessage(text.Bytes()), nil
}
