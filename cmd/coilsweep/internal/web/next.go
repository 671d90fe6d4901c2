package web

import (
	"cmp"
	"fmt"
	"net/http"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/device"
	"coilsweep/cmd/coilsweep/internal/web/recorded"
	"coilsweep/fit/evaluation"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// stepWord is how a step of the page stands, in a word or two.
type stepWord struct{ Word, Mark string }

// The marks of steps.
const (
	markReady = "ready"
	markOpen  = "open" // something is missing
	markWait  = "wait" // for an earlier step
	markWork  = "work"
	markAlarm = "alarm"
)

// Sign is the mark as a sign.
func (w stepWord) Sign() string {
	return map[string]string{markReady: "✓", markOpen: "○", markWait: "·", markWork: "▸", markAlarm: "▲"}[w.Mark]
}

// nextView is what is to be done now.
type nextView struct {
	Kind string // "alarm", "work", or empty
	Text string
	Do   *action
	Also *action
}

// Head is the word before it.
func (n nextView) Head() string {
	return cmp.Or(map[string]string{"alarm": "Trouble", "work": "Now"}[n.Kind], "Next")
}

// standing is what the steps and the next thing to do follow from.
type standing struct {
	engine engineState
	bench  benchView
	coils  int       // there are
	coil   *coilView // nil: none is chosen
	why    string    // why the fit failed
}

// known tells whether L and C of the coil are known apart.
func (s standing) known() bool {
	return s.coil != nil && s.coil.Result != nil && s.coil.Result.Inductance.Known()
}

func (w *workshop) getNext(r *http.Request) (any, error) {
	var s standing
	var err error
	w.mu.Lock()
	s.engine = w.engine
	w.mu.Unlock()
	if s.bench, err = w.viewBench(); err != nil {
		return nil, err
	}
	if coil := r.URL.Query().Get("coil"); coil != "" {
		if s.coil, err = w.viewCoil(coil); err != nil {
			return nil, err
		}
		s.why = w.whyFailed(coil)
	}
	if s.coil == nil {
		dirs, _, err := capture.FindFolders(r.Context(), w.Root)
		if err != nil {
			return nil, err
		}
		s.coils = len(dirs)
	}
	html := places{"next": fragment("next", s.next())}
	for step, word := range s.steps() {
		html["word-"+step] = fragment("word", word)
	}
	return shows{HTML: html}, nil
}

// steps say how each step stands; how many coils can be compared is said with
// their list.
func (s standing) steps() map[string]stepWord {
	lacks := func(n int) stepWord {
		if n > 0 {
			return stepWord{fmt.Sprintf("%d missing", n), markOpen}
		}
		return stepWord{"ready", markReady}
	}
	out := map[string]stepWord{
		"bench": lacks(len(s.bench.Missing)), "coil": {"choose one", markOpen}, "takes": {"needs a coil", markWait},
		"result": {"none yet", markWait}, "guitar": {"needs a result", markWait},
		"report": {"needs a result", markWait},
	}
	if s.engine.Phase == device.Lost {
		out["bench"] = stepWord{lostWords(s.engine.Never)[0], markAlarm}
	}
	if s.coil == nil {
		if s.coils == 0 {
			out["coil"] = stepWord{"start one", markOpen}
		}
		return out
	}
	out["coil"] = lacks(len(s.coil.Missing))
	out["takes"], out["result"] = s.takesWord(), s.resultWord()
	switch {
	case s.known():
		out["guitar"] = stepWord{"ready", markReady}
	case s.coil.Result != nil:
		out["guitar"] = stepWord{"needs L and C", markWait}
	}
	if s.coil.Result != nil {
		out["report"] = stepWord{"ready", markReady}
	}
	return out
}

func (s standing) takesWord() stepWord {
	all, good := len(s.coil.Takes), len(recorded.Usable(s.coil.Takes))
	switch {
	case s.engine.Phase == device.Working && s.engine.Kind == "take":
		return stepWord{"recording", markWork}
	case all == 0:
		return stepWord{"none yet", markOpen}
	case good == 0:
		return stepWord{"none usable", markAlarm}
	case good < all:
		return stepWord{fmt.Sprintf("%d of %d usable", good, all), markReady}
	}
	return stepWord{notation.Count(all, "take"), markReady}
}

func (s standing) resultWord() stepWord {
	switch s.coil.State {
	case resultWorking:
		return stepWord{"working", markWork}
	case resultFailed:
		return stepWord{"failed", markAlarm}
	case resultStale:
		return stepWord{"out of date", markOpen}
	case resultFresh:
		if s.known() {
			return stepWord{"ready", markReady}
		}
		return stepWord{"L unknown", markOpen}
	}
	if len(recorded.Usable(s.coil.Takes)) == 0 {
		return stepWord{"needs a take", markWait}
	}
	return stepWord{"none yet", markWait}
}

// next is what is to be done now.
func (s standing) next() nextView {
	to := func(step, label string) *action { return &action{Do: "go", Step: step, Label: label} }
	newCoil := &action{Do: "new-coil", Label: "New coil"}
	leads := &action{Do: "led", Label: "Lead me through it", Class: "also"}
	switch {
	case s.engine.Phase == device.Lost && s.engine.Never:
		return nextView{Kind: "alarm", Do: to("bench", "Bench"),
			Text: "The sound device cannot be opened: " + s.engine.Error}
	case s.engine.Phase == device.Lost:
		return nextView{Kind: "alarm", Do: to("bench", "Bench"),
			Text: "The sound device is lost. Plug it in again: it is looked for every two seconds."}
	case s.engine.Phase == device.Working:
		job := "working"
		if s.engine.Job != nil {
			job = *s.engine.Job
		}
		return nextView{Kind: "work", Text: notation.UpperFirst(job) + ". Leave coil, exciter and gain alone."}
	case s.bench.File == nil && !s.bench.Simulated:
		return nextView{Text: "Say what plays and records: choose your sound card, or learn the work on the " +
			"simulated bench.",
			Do: to("bench", "Set up the bench"), Also: leads}
	case s.bench.Wrong != "":
		return nextView{Kind: "alarm", Text: "bench.toml cannot be read: correct it in its text.",
			Do: to("bench", "Bench")}
	case s.coil == nil && s.coils > 0:
		return nextView{Text: "Choose a coil above, or start a folder for a new one.", Do: newCoil}
	case s.coil == nil:
		return nextView{Text: "Start a folder for the coil: a name is enough.", Do: newCoil, Also: leads}
	}
	return s.nextOfCoil(to)
}

// nextOfCoil is what is to be done for the coil.
func (s standing) nextOfCoil(to func(step, label string) *action) nextView {
	takes := s.coil.Takes
	last := recorded.Latest(takes)
	switch {
	case last == nil:
		return nextView{Text: "Record the first take, with nothing connected across the coil.",
			Do: &action{Do: "prepare", Step: "takes", Label: "First take"}}
	case !last.Usable:
		return again(*last, len(recorded.Usable(takes)) == 0)
	case s.coil.State == resultWorking:
		return nextView{Kind: "work", Text: "The fit is being worked out.", Do: to("result", "Result")}
	case s.coil.State == resultFailed:
		return nextView{Kind: "alarm", Text: "The fit failed: " + cmp.Or(s.why, "see the result"),
			Do: to("result", "Result")}
	}
	if s.coil.Result == nil {
		return nextView{Text: "The takes are there, and no result yet.",
			Do: &action{Do: "fit", Label: "Fit the takes"}}
	}
	report := to("report", "Report")
	proposals := s.coil.proposals()
	if len(proposals) > 0 && !s.known() {
		return nextView{Text: notation.UpperFirst(proposals[0].Text), Do: &proposals[0].action}
	}
	var also *action
	if s.known() {
		also = report
		also.Class = "also"
	}
	switch {
	case len(s.coil.Missing) > 0:
		gap := s.coil.Missing[0]
		return nextView{Text: fmt.Sprintf("Still missing: %s. %s", gap.What, gap.How), Do: to("coil", "Coil"),
			Also: also}
	case s.coil.State == resultStale:
		return nextView{Text: "The numbers are out of date: " + strings.Join(s.coil.Stale, "; "),
			Do: &action{Do: "fit", Label: "Fit again"}}
	case s.known() && len(proposals) > 0:
		proposals[0].Class, report.Class = "also", ""
		return nextView{Text: "The numbers stand. Sharper still: " + proposals[0].Text,
			Do: report, Also: &proposals[0].action}
	case !s.known():
		_, _, of := words.Listed{Known: evaluation.Known{Result: s.coil.Result}}.Resonance()
		text := "L and C are not known apart: "
		if of == "" {
			text = "The takes give no numbers yet: "
		}
		return nextView{Text: text + s.coil.Result.Inductance.Why, Do: to("takes", "Takes")}
	}
	report.Class = ""
	guitar := to("guitar", "Guitar")
	guitar.Class = "also"
	return nextView{Text: "The numbers stand. See what the coil does in a guitar, or write the report.",
		Do: report, Also: guitar}
}

// again is the advice to make an unusable take again; none: no take is usable.
func again(t recorded.Take, none bool) nextView {
	why := "Lower the level or the gain, and record it again."
	if len(t.Flags) > 0 && t.Flags[0].Words != "" {
		why = t.Flags[0].Name + ": " + t.Flags[0].Words
	}
	text := "Take " + t.Name + " is not usable. "
	if none {
		text = "No take is usable yet. "
	}
	return nextView{Text: text + why,
		Do: &action{Do: "prepare", Step: "takes", Label: "Do it again", Options: t.Options(), Redo: t.Name}}
}
