package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/device"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
	"coilsweep/cmd/coilsweep/internal/workbench"
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
				channels = append(channels, meter{workbench.Finite(m.PeakDBFS), workbench.Finite(m.RMSDBFS)})
			}
			w.publish("meters", map[string]any{"t": l.Seconds, "channels": channels})
		},
		Silence: func(s quality.Silence) {
			w.publish("silence", map[string]any{
				"noise": workbench.Finite(s.NoiseDBFS), "hum": workbench.Measured(s.HumDBFS), "mains_hz": workbench.Measured(s.MainsHz), "octaves": s.Octaves,
			})
		},
	}
}

// useBench has a job work on the bench that was chosen, for what is done in dir.
func (w *workshop) useBench(b *workbench.Bench, dir string) {
	w.mu.Lock()
	b.Kind = w.kind
	w.mu.Unlock()
	b.KeepRunning, b.File = true, w.benchPath(dir)
	b.VirtualFile, b.Seed = w.VirtualFile, w.Seed
	b.InTime = b.InTime || w.VirtualFile == ""
}

// usual is the plan of a take as it would be if nothing else were asked for.
func (w *workshop) usual() (*workbench.Measurement, *workbench.TakePlan, error) {
	m := workbench.NewMeasurement(w.Program)
	w.useBench(&m.Bench, w.Root)
	m.Take.Name, m.Bench.Uncalibrated = "any", true
	plan, err := m.PlanAnywhere(w.Root)
	return m, plan, err
}

// listen says what is listened to while nothing is asked: the inputs that a
// take would use. Where the bench cannot be understood that is nothing.
func (w *workshop) listen() {
	m := workbench.NewMeasurement(w.Program)
	m.Bench.InTime = true
	w.useBench(&m.Bench, w.Root)
	m.Take.Name, m.Bench.Uncalibrated = "any", true
	plan, err := m.PlanAnywhere(w.Root)
	if err != nil {
		w.note("error", refused(err).Text)
		w.device.Listen(nil)
		return
	}
	w.device.Listen(&plan.Source)
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
	err := w.device.Start(device.Job{Name: name, Source: source, Do: do, Done: func(err error) {
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
		w.Warn(e.Text)
	}
}

// failure is the end of a job by an error.
func failure(what string, err error) ended {
	var unfit *capture.UnfitError
	switch {
	case errors.Is(err, context.Canceled):
		return ended{Outcome: outcomeStopped, Text: what + " was stopped"}
	case errors.As(err, &unfit):
		e := ended{Outcome: outcomeUnfit, Text: refused(err).Text}
		for _, f := range unfit.Flags {
			e.Advice = append(e.Advice, workbench.ForPage(string(f)+": "+workbench.FlagAdvice(f, capture.Quality{})))
		}
		return e
	}
	return ended{Outcome: outcomeFailed, Text: refused(err).Text}
}

func (w *workshop) stop(r *http.Request) (any, error) {
	if _, err := ask[struct{}](r); err != nil {
		return nil, err
	}
	return map[string]any{"stopping": w.device.Stop()}, nil
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
func (w *workshop) try(info jobInfo, source *device.Source, do func(ctx context.Context, hears workbench.Ears, rec record.Recorder) (trial, error)) (any, error) {
	what := map[string]string{"check": "the check", "calibrate": "the calibration", "fixture": "the measurement of the fixture"}[info.Kind]
	var t trial
	err := w.work(info, source, func(ctx context.Context, rec record.Recorder) (err error) {
		w.setTrial(info.Kind, trial{State: "working"})
		t, err = do(ctx, w.ears(), rec)
		return err
	}, func(err error) ended {
		e := ended{Outcome: outcomeDone, Text: what + " is done"}
		if err != nil {
			e = failure(what, err)
			t.Error = e.Text
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
		return in, w.Root, err
	}
	dir, err = w.coilDir(in.Coil)
	return in, dir, err
}

func (w *workshop) startCheck(r *http.Request) (any, error) {
	in, dir, err := w.askTrial(r)
	if err != nil {
		return nil, err
	}
	options := workbench.NewCheck(w.Program)
	options.NoCoil = in.Coil == ""
	w.useBench(&options.Bench, dir)
	if err := options.Fill(in.Options); err != nil {
		return nil, err
	}
	plan, err := options.Plan(dir)
	if err != nil {
		return nil, err
	}
	return w.try(jobInfo{Kind: "check", Coil: in.Coil}, &plan.Source, func(ctx context.Context, hears workbench.Ears, rec record.Recorder) (trial, error) {
		judgement, err := plan.Run(ctx, rec, hears)
		var unfit *capture.UnfitError
		if err != nil && !errors.As(err, &unfit) {
			return trial{}, err
		}
		return checkTrial(judgement), err
	})
}

// checkTrial is what a check found, for the page.
func checkTrial(r check.Report) trial {
	t := trial{Result: r, ProposedLevel: workbench.ProposedLevel(r), Sentences: workbench.CheckSentences(r)}
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
	options := workbench.NewCalibration(w.Program)
	w.useBench(&options.Bench, dir)
	if err := options.Fill(in.Options); err != nil {
		return nil, err
	}
	plan, err := options.Plan(dir)
	if err != nil {
		return nil, err
	}
	return w.try(jobInfo{Kind: "calibrate", Coil: in.Coil}, &plan.Source, func(ctx context.Context, hears workbench.Ears, rec record.Recorder) (trial, error) {
		found, err := plan.Run(ctx, rec, hears)
		if err != nil {
			return trial{}, err
		}
		return trial{Result: found, Sentences: []string{found.Line()}}, nil
	})
}

func (w *workshop) startFixture(r *http.Request) (any, error) {
	in, dir, err := w.askTrial(r)
	if err != nil {
		return nil, err
	}
	options := workbench.NewFixture(w.Program)
	w.useBench(&options.Bench, dir)
	if err := options.Fill(in.Options); err != nil {
		return nil, err
	}
	plan, err := options.Plan(dir)
	if err != nil {
		return nil, err
	}
	return w.try(jobInfo{Kind: "fixture", Coil: in.Coil}, &plan.Source, func(ctx context.Context, hears workbench.Ears, rec record.Recorder) (trial, error) {
		found, err := plan.Run(ctx, rec, hears)
		if err != nil && !found.Measured() {
			return trial{}, err
		}
		t := trial{Result: found, Sentences: []string{found.Line()}}
		for _, text := range found.Warnings {
			t.Advice = append(t.Advice, advice{Text: text})
		}
		return t, err
	})
}
