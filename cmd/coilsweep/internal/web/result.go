package web

import (
	"context"
	"errors"
	"html/template"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/web/listed"
	"coilsweep/cmd/coilsweep/internal/web/recorded"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/winding"
	"coilsweep/report/data"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/page"
	"coilsweep/report/words"
)

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
		var e *evaluation.Evaluation
		var err error
		select {
		case w.fitOne <- struct{}{}:
			e, err = w.coils.Make(ctx, dir, options)
			<-w.fitOne
		case <-ctx.Done():
			err = ctx.Err()
		}
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

// showWhole shows the take that was made last by all of its sweeps, where the
// fit has estimated its response; its numbers are those of the result.
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
		w.mu.Lock()
		if w.sweep.Revision == shown.Revision { // no further take has begun
			shown.Repeats, shown.Glance = t.Stimulus.Repeats, workbench.Glance{Response: in.Response}
			w.showSweep(shown)
		}
		w.mu.Unlock()
	}
}

// fitAgain fits a coil after its takes have changed, with the options of its
// last fit.
func (w *workshop) fitAgain(coil, dir string) {
	w.fit(coil, dir, evaluation.Options{AsLast: true, Fit: fit.Options{Advise: true}})
}

func (w *workshop) startFit(r *http.Request, in struct {
	Coil    string            `json:"coil"`
	Options map[string]string `json:"options"`
}) (any, error) {
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

// models are those that a fit can be told to use, by their names, with what they mean.
func models() (list [][2]string) {
	for _, name := range workbench.NewFit(false).Find("model").Words() {
		list = append(list, [2]string{name, words.ModelName(name)})
	}
	return list
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
	return result, result.Stale(held)
}

// whyFailed is why the last fit of a coil failed; empty: it did not.
func (w *workshop) whyFailed(coil string) string {
	w.mu.Lock()
	defer w.mu.Unlock()
	if f := w.fits[coil]; f != nil {
		return f.why
	}
	return ""
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

// notYet says of each state why there is no result, or that it is not what the takes
// say now.
var notYet = map[string]string{
	resultNone: "There is no result yet.", resultWorking: "The fit is being worked out …",
	resultStale: "Out of date: coil or takes have changed since.", resultFailed: "The fit failed.",
}

func (w *workshop) getResult(r *http.Request) (any, error) {
	coil := r.URL.Query().Get("coil")
	v, err := w.viewCoil(coil)
	if err != nil {
		return nil, err
	}
	answer := struct {
		State string `json:"state"`
		There bool   `json:"there"` // there is a result, of whatever age
		Known bool   `json:"known"` // and L and C are known apart
		// Options are those of its fit.
		Options map[string]any `json:"options"`
		HTML    places         `json:"html"`
	}{v.State, v.Result != nil, v.Result != nil && v.Result.Inductance.Known(), nil, places{
		"f-model":          fragment("models", models()),
		"report-line":      text(w.line("report", []string{coil}, 1, nil)),
		"certificate-line": text(w.line("report", []string{coil}, 1, nil) + " --certificate"),
		"result-head":      "", "result-takes": "", "result-circuit": "", "result-shares": "",
	}}
	state, empty, guitar := v.sayState(w.whyFailed(coil))
	state = fragment("alarm", listed.NotOneCoil(w.Root, v.folder.Dir)) + state
	answer.HTML["result-state"], answer.HTML["result-empty"], answer.HTML["guitar-empty"] = state, empty, guitar
	if v.Result == nil {
		return answer, nil
	}
	if r := v.Result.Record; r != nil {
		answer.Options = map[string]any{"model": strings.Join(r.Options.Models, ", "),
			"shared-gain": r.Options.SharedGain, "montecarlo": ""}
		if n := r.Options.MonteCarlo; n > 0 {
			answer.Options["montecarlo"] = strconv.Itoa(n)
		}
	}
	parts, err := page.CoilParts(page.CoilDocument{Result: *v.Result, Coil: v.folder.Coil})
	if err != nil {
		return nil, err
	}
	answer.HTML["result-head"] = fragment("result", struct {
		Summary, Warnings template.HTML
		Advice            []advised
		LeftOut           []leftOut
	}{partOf(parts, "summary"), partOf(parts, "warnings"), v.proposals(), leftOutOf(v.Result)})
	for _, part := range []string{"takes", "circuit", "shares"} {
		answer.HTML["result-"+part] = partOf(parts, part)
	}
	return answer, nil
}

// sayState says that a result is not what the takes say now, or why there is none,
// and why a guitar cannot be predicted; what there is nothing to say of is empty.
func (v *coilView) sayState(why string) (state, empty, guitar template.HTML) {
	type lack struct {
		State, Text, Why string
		Failed, Fit      bool
		Advice           []advised
	}
	if v.Result == nil {
		first := notYet[v.State]
		if len(v.Takes) == 0 {
			first = "A result follows from takes: the first, with nothing connected across the coil, shows resonance " +
				"and Q. Takes with known capacitors separate L and C."
		}
		empty = fragment("no result", lack{Text: first, Why: why, Failed: v.State == resultFailed,
			Fit: v.State == resultNone && len(recorded.Usable(v.Takes)) > 0})
		return "", empty, fragment("no guitar", lack{Text: "This needs a result first."})
	}
	if v.State == resultStale {
		why = strings.Join(v.Stale, "; ")
	}
	said := notYet[v.State]
	if said != "" && why != "" {
		said += " " + notation.UpperFirst(why) + "."
	}
	if !v.Result.Inductance.Known() {
		guitar = fragment("no guitar", lack{Text: "A guitar can only be predicted once L and C are known apart.",
			Why: v.Result.Inductance.Why, Advice: v.proposals()})
	}
	return fragment("state", lack{State: v.State, Text: said}), "", guitar
}

// leftOut is a take that a result was made without.
type leftOut struct{ Take, Why string }

func leftOutOf(r *fit.Result) (out []leftOut) {
	if r.Record == nil {
		return nil
	}
	for _, t := range r.Record.Takes {
		if slices.ContainsFunc(r.Takes, func(u fit.TakeResult) bool { return u.Name == t.Name && u.Used }) {
			continue
		}
		flags := slices.DeleteFunc(slices.Clone(t.Flags), func(f capture.Flag) bool {
			return !f.Unfit() && f != capture.Changed
		})
		why := "it cannot be used"
		if len(flags) > 0 {
			why = capture.FlagNames(flags)
		}
		out = append(out, leftOut{t.Name, why})
	}
	return out
}

// evaluated is the evaluation of the coil that a request names.
func (w *workshop) evaluated(r *http.Request) (*evaluation.Evaluation, error) {
	dir, err := w.coilDir(r.URL.Query().Get("coil"))
	if err != nil {
		return nil, err
	}
	return w.coils.Get(r.Context(), dir)
}

// getPart is a part of the result that is worked out when somebody looks at it: a
// figure, "meter", "account" or "winding". A part that does not exist is empty.
func (w *workshop) getPart(r *http.Request) (any, error) {
	what := r.URL.Query().Get("what")
	kind := figure.Kind(what)
	drawn := slices.Contains(figure.Kinds(), kind) && kind != figure.KindPredict
	switch {
	case what == "winding":
		return w.windingPart(r)
	case !drawn && what != "account":
		return nil, &site.Error{Status: http.StatusBadRequest, Text: "there is no part " + what, Field: "what"}
	}
	e, err := w.evaluated(r)
	if err != nil {
		return nil, err
	}
	var out template.HTML
	if drawn {
		d, err := figure.Draw(*e.Result, kind)
		var nothing *figure.NothingToDrawError
		switch {
		case err == nil:
			out = drawing(d)
		case !errors.As(err, &nothing) && !errors.Is(err, figure.ErrNoLine):
			return nil, err
		}
	}
	if drawn && kind != figure.KindMeter {
		return part{out}, nil
	}
	account, err := e.Fitted().Account(fit.Terminals{})
	if err != nil {
		return nil, err
	}
	result := *e.Result
	result.Takes, result.Line = nil, nil // their figures are not asked for
	parts, err := page.CoilParts(page.CoilDocument{Result: result, Coil: e.Folder.Coil, Account: account})
	if err != nil {
		return nil, err
	}
	if out += partOf(parts, what); out == "" {
		out = fragment("none", "There are no readings: add them in the Coil step.")
	}
	return part{out}, nil
}

// part is the answer with a part of the page.
type part struct {
	HTML template.HTML `json:"html"`
}

func (w *workshop) windingPart(r *http.Request) (any, error) {
	folder, err := w.openCoil(r.URL.Query().Get("coil"))
	if err != nil {
		return nil, err
	}
	asLast := evaluation.Options{AsLast: true, Fit: fit.Options{Program: w.Program}}
	e, err := evaluation.Coil(r.Context(), folder.Dir, asLast)
	var noTake *evaluation.NoTakeError
	var result *fit.Result
	switch {
	case err == nil:
		result = e.Result
	case !errors.As(err, &noTake):
		return nil, err
	}
	sheet, err := winding.NewSheet(folder.Coil, result)
	if errors.Is(err, winding.ErrNoWinding) {
		return part{fragment("none", "How the coil was wound is not known: say it in the Coil step.")}, nil
	} else if err != nil {
		return nil, err
	}
	parts, err := page.WindingParts(sheet)
	return part{partOf(parts, "winding")}, err
}
