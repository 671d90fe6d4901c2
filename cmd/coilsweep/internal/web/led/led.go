// Package led leads somebody who measures for the first time, from the wiring to a result:
// at each step the picture and the cautions that belong to it, and one thing to do. Where
// somebody stands follows from what is there, so that it can be left and taken up again.
package led

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilsweep/cmd/coilsweep/internal/web/markup"
	"coilsweep/excite/quantity"
	"coilsweep/report/words"
)

// QuietDBFS is the level of the check, and of the first take where there was none.
const QuietDBFS = "-30"

// Facts are what is known of the bench and of the coil that is chosen.
type Facts struct {
	Bench     bool   // it is known what plays and records
	Simulated bool   // no sound is made
	Reference string // on the second channel: "none", "current" or "loopback"
	Level     string // of takes, in dBFS, as the bench states it
	Check     string // outcome of the last level check, "working", or empty: none was made
	Found     string // the level in dBFS that it found good
	Trial     template.HTML
	Coil      bool // one is chosen
	Bare      bool // with a usable take with nothing added
	Part      bool // and one with a part connected across it
	Known     bool // L and C are known apart
	Next      map[string]string
	NextWords string // the part of Next, in words; empty: it is still to be chosen
	Advice    string // what the result asks for
}

// Ceiling is the level in dBFS that the first take is not to be louder than: what the
// check found, or that of the check where there was none, and at most the bench's own;
// false once there is a take.
func (f Facts) Ceiling() (dBFS float64, first bool) {
	if f.Bare || f.Part {
		return 0, false
	}
	found := QuietDBFS
	if f.Check == "done" && f.Found != "" {
		found = f.Found
	}
	dBFS, err := strconv.ParseFloat(found, 64)
	if own, oerr := strconv.ParseFloat(f.Level, 64); err == nil && oerr == nil {
		dBFS = math.Min(dBFS, own)
	}
	return dBFS, err == nil
}

// Step is one of the steps.
type Step struct {
	At, Name string
	Page     string // the step of the page on which it is done
	Picture  string
	Alt      string
	Done     bool
	Text     []string
	Cautions []caution
	Trial    template.HTML // what the check found
	Do       []markup.Action
	Prepare  map[string]string // for the form of the take; nil: it stays as it is
}

type caution struct{ Head, Text string }

// cautionsOf are the cautions that begin with those heads, in the words of the guide.
func cautionsOf(heads ...string) (out []caution) {
	for _, c := range words.Cautions() {
		if head, rest, _ := strings.Cut(c, ": "); slices.Contains(heads, head) {
			out = append(out, caution{head, rest})
		}
	}
	return out
}

// The cautions by their heads.
const (
	phantom, headphones = "Phantom power off", "Headphones off"
	output, cool        = "Line or headphone output only", "Exciter cool"
	magnets, alone      = "Strong magnets", "Coil alone"
	local               = "Local codes"
)

var wired = map[string]Step{
	"none": {Picture: "plain.svg", Alt: "The output drives the exciter through a series resistor. The coil lies in the " +
		"exciter's field; its ends go to the instrument input."},
	"current": {Picture: "sense.svg", Alt: "The output drives the exciter through a series resistor; the voltage over a " +
		"sense resistor between exciter and sleeve goes to input 2. The coil's ends go to the instrument input."},
	"loopback": {Picture: "loopback.svg", Alt: "The output drives the exciter through a series resistor, and goes to " +
		"input 2 as well. The coil's ends go to the instrument input."},
}

// Steps are all of them, as they stand.
func (f Facts) Steps() []Step {
	bare := "The first take, with nothing connected across the coil: it shows resonance and Q. "
	level, first := f.Ceiling()
	if f.Bare {
		bare += "It is in."
	} else {
		if first {
			bare += "It is played at " + quantity.Minus(fmt.Sprintf("%g dBFS", level)) + ", no louder than the check " +
				"found good. "
		}
		bare += "Press Start, or the space bar."
	}
	drawn, known := wired[f.Reference]
	if !known {
		drawn = wired["none"]
	}
	steps := []Step{
		{At: "wiring", Name: "Wiring", Page: "bench", Done: f.Bench && (f.Check != "" || f.Bare || f.Part),
			Picture: drawn.Picture, Alt: drawn.Alt, Cautions: cautionsOf(phantom, output, alone, local),
			Text: []string{"Wire the bench as drawn: the output through a series resistor of 100 ohm or more to the " +
				"exciter, the coil's two ends to an instrument input (“Hi-Z”, about 1 Mohm)."}},
		{At: "level", Name: "Level check", Page: "bench", Done: f.Check == "done",
			Picture: drawn.Picture, Alt: drawn.Alt, Cautions: cautionsOf(headphones, cool), Trial: f.Trial,
			Text: []string{"Two quiet sweeps at −30 dBFS tell whether something is heard, and how loud takes may be. " +
				"Lay the exciter over the coil as it comes."},
			Do: []markup.Action{{Do: "led-check", Label: "Check at −30 dBFS"}}},
		{At: "exciter", Name: "Exciter", Page: "bench", Done: f.Bare || f.Part,
			Picture: "placing.svg", Alt: "Left: the exciter lies flat over the coil, 5 to 20 mm above it, axis on axis. " +
				"Right: a coil pair, with the exciter over one of the two coils.",
			Cautions: cautionsOf(magnets, headphones),
			Text: []string{"Lay the exciter flat over the coil, axis on axis, 5 to 20 mm away; of a hum-cancelling " +
				"pickup, over one of its coils. Live mode shows resonance and level while you move it: if resonance " +
				"or Q shift when you double the distance, it was too near. Then tape both down."},
			Do: []markup.Action{{Do: "live", Label: "Live: place the exciter"}}},
		{At: "bare", Name: "Nothing added", Page: "takes", Done: f.Bare,
			Picture: drawn.Picture, Alt: drawn.Alt, Cautions: cautionsOf(headphones, cool),
			Text:    []string{bare},
			Prepare: map[string]string{}},
		{At: "part", Name: "Known capacitor", Page: "takes", Done: f.Part,
			Picture: drawn.Picture, Alt: drawn.Alt, Cautions: cautionsOf(headphones, alone),
			Text: []string{"Connect a known capacitor across the coil, film or C0G, and change nothing else: the second " +
				"resonance separates L and C. Say its value as on the part, with its tolerance, and press Start."},
			Prepare: f.Next},
		{At: "result", Name: "Result", Page: "result", Done: f.Known, Picture: "fixture.svg",
			Alt:      "A known resistor from the output's tip to the input's tip, in place of coil and exciter.",
			Cautions: cautionsOf(cool),
			Text: []string{"Inductance, capacitance and resistance, each with its uncertainty. Takes with other " +
				"capacitors make them sharper; the fixture, measured with a known resistor as drawn, tells the coil's " +
				"own capacitance from the cable's."}},
	}
	f.tell(steps)
	return steps
}

// tell adds what the steps say for as they stand, and how it goes on.
func (f Facts) tell(steps []Step) {
	add := func(i int, text string) { steps[i].Text = append(steps[i].Text, text) }
	if f.Simulated {
		add(0, "On the simulated bench all of this is invented: nothing has to be wired, and nothing sounds.")
	}
	if !f.Bench {
		steps[0].Do = append(steps[0].Do, markup.Action{Do: "go", Step: "bench", Label: "Choose the sound card below"})
	}
	switch {
	case f.Check == "working":
		add(1, "The sweeps are playing …")
	case f.Check == "done":
		add(1, "Takes may be played at "+quantity.Minus(f.Found)+" dBFS.")
	case f.Check != "":
		add(1, "Do what it says, and check again.")
	}
	for i := 3; i < 5 && !f.Coil; i++ {
		add(i, "First give the coil a name: its folder is called after it.")
		steps[i].Do = []markup.Action{{Do: "new-coil", Label: "Name the coil", Class: "first"}}
		steps[i].Prepare = nil
	}
	if f.NextWords != "" {
		add(4, "Best now: "+f.NextWords+".")
	}
	if level, first := f.Ceiling(); first && f.Coil {
		steps[3].Prepare = map[string]string{"level": fmt.Sprintf("%g", level)}
	}
	if !f.Known && f.Advice != "" {
		add(5, "Not known yet. "+f.Advice+".")
	}
	steps[5].Do = []markup.Action{{Do: "led-leave", Label: "Done: go on by myself", Class: "first"}}
	for i, label := range []string{"It is wired like this", "Go on", "It is in place", "Go on", "Go on"} {
		class := ""
		if steps[i].Done || i == 0 {
			class = "first"
		} else if len(steps[i].Do) > 0 {
			steps[i].Do[0].Class = "first"
		}
		steps[i].Do = append(steps[i].Do, markup.Action{Do: "led", Step: steps[i+1].At, Label: label, Class: class})
	}
}

// Where is the step called at, or without one the first that is not done.
func Where(steps []Step, at string) int {
	if i := slices.IndexFunc(steps, func(s Step) bool { return s.At == at }); i >= 0 {
		return i
	}
	if i := slices.IndexFunc(steps, func(s Step) bool { return !s.Done }); i >= 0 {
		return i
	}
	return len(steps) - 1
}

// Panel is the step of that number as it is shown.
func Panel(steps []Step, i int) template.HTML {
	return markup.Fragment("led", struct {
		Step
		Number, Of int
		All        []Step
	}{steps[i], i + 1, len(steps), steps})
}
