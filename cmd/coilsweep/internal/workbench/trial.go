package workbench

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/device"
	"coilsweep/capture/record"
	"coilsweep/capture/tryout"
	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
)

// Trial are the options of a trial of one pair of sound devices.
type Trial struct {
	job
	Stimulus Stimulus
}

// NewTrial has the defaults.
func NewTrial(program string) *Trial {
	t := &Trial{job: newJob(program), Stimulus: defaultStimulus()}
	t.Options = slices.Concat(t.Bench.options().only(slices.Concat(soundcardOptions, []string{"verbose"})...),
		t.Stimulus.options().only("rate"))
	t.Bench.Pair = true
	return t
}

// Source is the pair of devices.
func (t *Trial) Source() (device.Source, error) {
	stimulus, err := tryout.Stimulus(t.Stimulus.RateHz)
	if err != nil {
		return device.Source{}, &UsageError{err}
	}
	take := direct("none", t.Program)
	take.Stimulus = stimulus
	return t.Bench.source(take, &t.Take, wiring{}), nil
}

// Run plays quietly and says what came; where takes would be of no use the error beside it is
// a *capture.UnfitError.
func (t *Trial) Run(ctx context.Context, recorder record.Recorder, hears Ears) (tryout.Outcome, error) {
	bench := recorder.Describe()
	for _, note := range bench.Notes {
		hears.remark("%s", note)
	}
	hears.remark("playing three short sweeps on %s at %s dBFS, recording from %s: keep headphones off", bench.OutputDevice,
		Signed(tryout.LevelDBFS), bench.InputDevice)
	outcome, err := tryout.Run(ctx, recorder, hears.Meters)
	hears.ended()
	if err == nil && !outcome.FitToRecord {
		kinds := notation.Each(outcome.Findings, func(f tryout.Finding) string { return string(f.Kind) })
		err = &capture.UnfitError{What: "a take on these devices would not be usable: " + strings.Join(kinds, ", ")}
	}
	return outcome, err
}

// TrialLines are what came of a trial, one to a line.
func TrialLines(o tryout.Outcome) []CheckLine {
	var lines []CheckLine
	level := func(dbfs *float64) string {
		if dbfs == nil {
			return notation.None
		}
		return notation.Level(*dbfs)
	}
	for i, c := range o.Channels {
		lines = append(lines, CheckLine{fmt.Sprintf("channel %d", i+1),
			fmt.Sprintf("peak %s, noise %s", level(c.PeakDBFS), level(c.NoiseDBFS))})
	}
	if o.DelayS != nil {
		lines = append(lines, CheckLine{"delay", quantity.Minus(fmt.Sprintf("%.3f s from playing to recording, buffers "+
			"included", *o.DelayS))})
	}
	for _, f := range o.Findings {
		text := f.Text
		if f.Channel > 0 && len(o.Channels) > 1 {
			text = fmt.Sprintf("channel %d: %s", f.Channel, text)
		}
		lines = append(lines, CheckLine{string(f.Kind) + ":", text})
	}
	return lines
}
