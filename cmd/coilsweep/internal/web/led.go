package web

import (
	"cmp"
	"net/http"

	"coilsweep/cmd/coilsweep/internal/web/led"
	"coilsweep/cmd/coilsweep/internal/web/recorded"
	"coilsweep/cmd/coilsweep/internal/workbench"
)

// getLed is the step of the first measurement that is asked for by "at", or else the one
// that is next.
func (w *workshop) getLed(r *http.Request) (any, error) {
	bench, err := w.viewBench()
	if err != nil {
		return nil, err
	}
	w.mu.Lock()
	check := w.trials["check"]
	w.mu.Unlock()
	f := led.Facts{Bench: bench.File != nil, Simulated: bench.Simulated, Reference: bench.Settings["reference"],
		Check: check.State, Found: check.Found}
	f.Level = cmp.Or(bench.Settings["level"], workbench.NewMeasurement(w.Program).Defaults()["level"])
	check.State = cmp.Or(check.State, "none")
	f.Trial = fragment("trial", check)
	if coil := r.URL.Query().Get("coil"); coil != "" {
		v, err := w.viewCoil(coil)
		if err != nil {
			return nil, err
		}
		f.Coil = true
		for _, t := range recorded.Usable(v.Takes) {
			bare := t.AddedC == "" && t.AddedR == ""
			f.Bare, f.Part = f.Bare || bare, f.Part || !bare
		}
		f.Known = v.Result != nil && v.Result.Inductance.Known()
		next := v.propose(w.parts.Below(r.Context(), w.Root)["added_c"])
		if next.Kind == "c" && !f.Part {
			f.NextWords, f.Next = next.words(), map[string]string{"added-c": next.Value}
		}
		if all := v.proposals(); len(all) > 0 {
			f.Advice = all[0].Text
		}
	}
	steps := f.Steps()
	at := led.Where(steps, r.URL.Query().Get("at"))
	answer := struct {
		At      string            `json:"at"`
		Page    string            `json:"page"`
		Prepare map[string]string `json:"prepare"`
		Ceiling *float64          `json:"ceiling"` // for the level of the first take; null: there is one
		HTML    places            `json:"html"`
	}{At: steps[at].At, Page: steps[at].Page, Prepare: steps[at].Prepare, HTML: places{"led": led.Panel(steps, at)}}
	if level, first := f.Ceiling(); first {
		answer.Ceiling = &level
	}
	return answer, nil
}
