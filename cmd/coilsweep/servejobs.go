package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture/device"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
	"coilsweep/fit/check"
)

// jobInfo is what a job of the engine is about.
type jobInfo struct {
	Kind string `json:"kind"` // "take", "check", "calibrate" or "fixture"
	Coil string `json:"coil,omitempty"`
	Take string `json:"take,omitempty"`
}

// engineState is the engine's state as the page hears it.
type engineState struct {
	Phase    device.Phase `json:"phase"`
	Job      *string      `json:"job"` // null: none
	Stopping bool         `json:"stopping"`
	Error    string       `json:"error,omitempty"`
	Since    time.Time    `json:"since"`
	Device   string       `json:"device,omitempty"`
	jobInfo
}

// ended is how a job has ended, as the page shows it large.
type ended struct {
	ID      int       `json:"id"`
	At      time.Time `json:"at"`
	Outcome string    `json:"outcome"` // "done", "unfit", "stopped" or "failed"
	Text    string    `json:"text"`
	Advice  []string  `json:"advice"`
	jobInfo
}

// The outcomes.
const (
	outcomeDone    = "done"
	outcomeUnfit   = "unfit"
	outcomeStopped = "stopped"
	outcomeFailed  = "failed"
)

// listener publishes what the engine tells.
func (w *workshop) listener() device.Listener {
	return device.Listener{
		State: func(s device.State) {
			state := engineState{Phase: s.Phase, Stopping: s.Stopping, Error: s.Err, Since: s.Since, Device: s.Device.InputDevice}
			if s.Job != nil {
				state.Job = &s.Job.Name
				w.mu.Lock()
				state.jobInfo = w.jobs[s.Job.Name]
				w.mu.Unlock()
			}
			w.publish("engine", state)
		},
		Meters: func(l device.Levels) {
			type meter struct {
				Peak *float64 `json:"peak"`
				RMS  *float64 `json:"rms"`
			}
			channels := []meter{}
			for _, m := range l.Channels {
				channels = append(channels, meter{finite(m.PeakDBFS), finite(m.RMSDBFS)})
			}
			w.publish("meters", map[string]any{"t": l.Seconds, "channels": channels})
		},
		Silence: func(s quality.Silence) {
			w.publish("silence", map[string]any{
				"noise": finite(s.NoiseDBFS), "hum": known(s.HumDBFS), "mains_hz": known(s.MainsHz), "octaves": s.Octaves,
			})
		},
	}
}

// useBench has the options of a command work on the bench that was chosen, for
// what is done in dir.
func (w *workshop) useBench(b *benchFlags, file *benchFileFlags, f *pflag.FlagSet, dir string) error {
	w.mu.Lock()
	kind := w.kind
	w.mu.Unlock()
	b.keepRunning = true
	set := map[string]string{"bench": kind}
	if path := w.benchPath(dir); path != benchFor(dir) {
		set["bench-file"] = path
	}
	if kind == "virtual" {
		b.inTime = b.inTime || w.virtualFile == ""
		if w.virtualFile != "" {
			set["virtual-file"] = w.virtualFile
		}
		if w.seed != 1 {
			set["seed"] = fmt.Sprint(w.seed)
		}
	}
	for name, text := range set {
		if err := f.Set(name, text); err != nil {
			return err
		}
	}
	return nil
}

// benchOptions are the options of a command that plays and records.
type benchOptions interface {
	add(*pflag.FlagSet)
	onBench() (*benchFlags, *benchFileFlags)
}

func (m *measurement) onBench() (*benchFlags, *benchFileFlags) { return &m.bench, &m.file }
func (k *checking) onBench() (*benchFlags, *benchFileFlags)    { return &k.bench, &k.file }
func (k *calibrating) onBench() (*benchFlags, *benchFileFlags) { return &k.bench, &k.file }
func (k *fixing) onBench() (*benchFlags, *benchFileFlags)      { return &k.bench, &k.file }

// prepare makes cmd one with these options, for the bench that was chosen and
// what is done in dir, as far as a page gives them.
func (w *workshop) prepare(cmd *cobra.Command, o benchOptions, dir string, given map[string]string) error {
	o.add(cmd.Flags())
	bench, file := o.onBench()
	if err := w.useBench(bench, file, cmd.Flags(), dir); err != nil {
		return err
	}
	return fill(cmd, given)
}

// usual is the plan of a take as it would be if nothing else were asked for.
func (w *workshop) usual(m *measurement) (*takePlan, error) {
	cmd := &cobra.Command{}
	if err := w.prepare(cmd, m, w.root, nil); err != nil {
		return nil, err
	}
	m.take.name, m.file.uncalibrated = "any", true
	return m.planAnywhere(cmd, w.root)
}

// listen says what is listened to while nothing is asked: the inputs that a
// take would use. Where the bench cannot be understood that is nothing.
func (w *workshop) listen() {
	m := measurement{bench: benchFlags{inTime: true}}
	plan, err := w.usual(&m)
	if err != nil {
		w.note("error", err.Error())
		w.engine.Listen(nil)
		return
	}
	w.engine.Listen(&plan.source)
}

// work starts a job for the bench. do is it; told says how it came out, for the
// page, of the error that do returned.
func (w *workshop) work(info jobInfo, source *device.Source, do func(ctx context.Context, rec record.Recorder) error, told func(error) ended) error {
	name := strings.TrimSpace(info.Kind + " " + info.Take)
	if info.Coil != "" {
		name += " of " + info.Coil
	}
	w.mu.Lock()
	_, known := w.jobs[name]
	if !known {
		w.jobs[name] = info
	}
	w.mu.Unlock()
	err := w.engine.Start(device.Job{Name: name, Source: source, Do: do, Done: func(err error) {
		w.mu.Lock()
		delete(w.jobs, name)
		w.mu.Unlock()
		w.end(info, told(err))
	}})
	if err != nil && !known {
		w.mu.Lock()
		delete(w.jobs, name)
		w.mu.Unlock()
	}
	return err
}

// end tells how a job has ended: the page, and the terminal where it is closing.
func (w *workshop) end(info jobInfo, e ended) {
	w.mu.Lock()
	w.jobsDone++
	e.ID, e.At, e.jobInfo = w.jobsDone, time.Now(), info
	w.mu.Unlock()
	if e.Advice == nil {
		e.Advice = []string{}
	}
	w.publish("ended", e)
	grade, text := "note", e.Text
	if e.Outcome == outcomeUnfit || e.Outcome == outcomeFailed {
		grade = "error"
	}
	if e.Coil != "" {
		text = e.Coil + ": " + text
	}
	w.note(grade, text)
	if w.ctx.Err() != nil {
		w.c.warn("%s", e.Text)
	}
}

// failure is the end of a job by an error.
func failure(what string, err error) ended {
	var unfit unfitError
	switch {
	case errors.Is(err, context.Canceled):
		return ended{Outcome: outcomeStopped, Text: what + " was stopped"}
	case errors.As(err, &unfit):
		return ended{Outcome: outcomeUnfit, Text: err.Error()}
	}
	return ended{Outcome: outcomeFailed, Text: err.Error()}
}

func (w *workshop) stop(r *http.Request) (any, error) {
	if _, err := ask[struct{}](r); err != nil {
		return nil, err
	}
	return map[string]any{"stopping": w.engine.Stop()}, nil
}

// trial is a check of the bench, a calibration or a measurement of the fixture:
// under way, or the last one.
type trial struct {
	State         string    `json:"state"` // "none", "working" or an outcome
	At            time.Time `json:"at"`
	Error         string    `json:"error,omitempty"`
	Sentences     []string  `json:"sentences"`
	Advice        []advice  `json:"advice"`
	Result        any       `json:"result,omitempty"`
	ProposedLevel string    `json:"proposed_level,omitempty"`
}

// advice is something to do, with the options that do it.
type advice struct {
	Text    string            `json:"text"`
	Options map[string]string `json:"options,omitempty"`
}

func (w *workshop) getTrial(kind string) handler {
	return func(*http.Request) (any, error) {
		w.mu.Lock()
		defer w.mu.Unlock()
		t, ok := w.trials[kind]
		if !ok {
			t.State = "none"
		}
		if t.Sentences == nil {
			t.Sentences = []string{}
		}
		if t.Advice == nil {
			t.Advice = []advice{}
		}
		return t, nil
	}
}

func (w *workshop) setTrial(kind string, t trial) {
	t.At = time.Now()
	w.mu.Lock()
	w.trials[kind] = t
	w.mu.Unlock()
	w.changed(kind)
}

// try starts a trial. do makes it; the trial that it returns counts where the
// error is none or unfit data.
func (w *workshop) try(info jobInfo, source *device.Source, do func(ctx context.Context, c *console, rec record.Recorder) (trial, error)) (any, error) {
	what := map[string]string{"check": "the check", "calibrate": "the calibration", "fixture": "the measurement of the fixture"}[info.Kind]
	var t trial
	err := w.work(info, source, func(ctx context.Context, rec record.Recorder) (err error) {
		w.setTrial(info.Kind, trial{State: "working"})
		t, err = do(ctx, w.console(), rec)
		return err
	}, func(err error) ended {
		e := ended{Outcome: outcomeDone, Text: what + " is done"}
		if err != nil {
			e = failure(what, err)
			t.Error = err.Error()
		} else if len(t.Sentences) > 0 && info.Kind != "check" {
			e.Text = t.Sentences[0]
		}
		for _, a := range t.Advice {
			e.Advice = append(e.Advice, a.Text)
		}
		t.State = e.Outcome
		w.setTrial(info.Kind, t)
		if info.Kind != "check" {
			w.changed("bench")
		}
		return e
	})
	if err != nil {
		return nil, err
	}
	return accepted{"state": "working"}, nil
}

// trialRequest asks for a trial, on a coil or on none.
type trialRequest struct {
	Coil    string            `json:"coil"`
	Options map[string]string `json:"options"`
}

// askTrial reads what is asked for, and finds the folder that it is for.
func (w *workshop) askTrial(r *http.Request) (in trialRequest, dir string, err error) {
	if in, err = ask[trialRequest](r); err != nil || in.Coil == "" {
		return in, w.root, err
	}
	dir, err = w.coilDir(in.Coil)
	return in, dir, err
}

func (w *workshop) startCheck(r *http.Request) (any, error) {
	in, dir, err := w.askTrial(r)
	if err != nil {
		return nil, err
	}
	options := checking{noCoil: in.Coil == ""}
	cmd := newOptions(r)
	if err := w.prepare(cmd, &options, dir, in.Options); err != nil {
		return nil, err
	}
	plan, err := options.plan(cmd, dir)
	if err != nil {
		return nil, err
	}
	return w.try(jobInfo{Kind: "check", Coil: in.Coil}, &plan.source, func(ctx context.Context, c *console, rec record.Recorder) (trial, error) {
		judgement, err := c.check(ctx, rec, plan.take, plan.scout)
		if err != nil {
			return trial{}, err
		}
		return checkTrial(judgement), checkUnfitness(judgement)
	})
}

// checkTrial is what a check found, for the page.
func checkTrial(r check.Report) trial {
	t := trial{Result: r, ProposedLevel: proposedLevel(r)}
	for _, l := range checkLines(r) {
		if !slices.ContainsFunc(r.Findings, func(f check.Finding) bool { return string(f.Grade)+":" == l.name }) && l.name != "proposed" {
			t.Sentences = append(t.Sentences, strings.TrimPrefix(l.name+": "+l.text, ": "))
		}
	}
	for _, f := range r.Findings {
		t.Advice = append(t.Advice, advice{Text: fmt.Sprintf("%s: %s: %s", f.Grade, f.Text, f.Advice)})
	}
	if t.ProposedLevel != "" {
		t.Advice = append(t.Advice, advice{Text: "take at " + t.ProposedLevel + " dBFS", Options: map[string]string{"level": t.ProposedLevel}})
	}
	return t
}

func (w *workshop) startCalibration(r *http.Request) (any, error) {
	in, dir, err := w.askTrial(r)
	if err != nil {
		return nil, err
	}
	var options calibrating
	cmd := newOptions(r)
	if err := w.prepare(cmd, &options, dir, in.Options); err != nil {
		return nil, err
	}
	plan, err := options.plan(cmd, dir)
	if err != nil {
		return nil, err
	}
	return w.try(jobInfo{Kind: "calibrate", Coil: in.Coil}, &plan.source, func(ctx context.Context, c *console, rec record.Recorder) (trial, error) {
		record, err := plan.run(ctx, c, rec)
		if err != nil {
			return trial{}, err
		}
		return trial{Result: record, Sentences: []string{record.words()}}, nil
	})
}

func (w *workshop) startFixture(r *http.Request) (any, error) {
	in, dir, err := w.askTrial(r)
	if err != nil {
		return nil, err
	}
	var options fixing
	cmd := newOptions(r)
	if err := w.prepare(cmd, &options, dir, in.Options); err != nil {
		return nil, err
	}
	plan, err := options.plan(cmd, dir)
	if err != nil {
		return nil, err
	}
	return w.try(jobInfo{Kind: "fixture", Coil: in.Coil}, &plan.source, func(ctx context.Context, c *console, rec record.Recorder) (trial, error) {
		record, err := plan.run(ctx, c, rec)
		if err != nil {
			return trial{}, err
		}
		t := trial{Result: record, Sentences: []string{record.words()}}
		for _, text := range record.Warnings {
			t.Advice = append(t.Advice, advice{Text: text})
		}
		return t, record.unfitness()
	})
}
