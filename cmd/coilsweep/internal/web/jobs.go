package web

import (
	"cmp"
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
	"coilsweep/report/notation"
)

// jobInfo is what a job of the engine is about.
type jobInfo struct {
	Kind string `json:"kind"` // "take", "check", "calibrate", "fixture" or "live"
	Coil string `json:"coil,omitempty"`
	Take string `json:"take,omitempty"`
}

// engineState is the engine's state as the page hears it.
type engineState struct {
	Phase    device.Phase `json:"phase"`
	Job      *string      `json:"job"` // null: none
	Stopping bool         `json:"stopping"`
	Error    string       `json:"error,omitempty"`
	Never    bool         `json:"never"` // the device that is lost was never there
	HTML     places       `json:"html"`
	jobInfo
}

// phaseWords say what the engine is at: at the page's head, and where noise and hum
// stand while nothing is heard.
var phaseWords = map[device.Phase][2]string{
	device.Off:       {"not listening", "Nothing is listened to yet."},
	device.Opening:   {"opening the device …", "The device is being opened."},
	device.Listening: {"listening", ""},
	device.Working:   {"working", "Noise and hum are measured again when the work is done."},
}

// lostWords are those of a device that is lost, or that was never there.
func lostWords(never bool) [2]string {
	if never {
		return [2]string{"no device", "The device cannot be opened."}
	}
	return [2]string{"device lost", "The device is lost."}
}

// ended is how a job has ended, as the page shows it large.
type ended struct {
	ID      int       `json:"id"`
	At      time.Time `json:"at"`
	Outcome string    `json:"outcome"` // one of those below
	Text    string    `json:"text"`
	Advice  []string  `json:"advice"`
	jobInfo
}

// The outcomes.
const (
	outcomeDone     = "done"
	outcomeUnfit    = "unfit"
	outcomeDoubtful = "doubtful" // usable, and at odds with the other takes
	outcomeStopped  = "stopped"
	outcomeFailed   = "failed"
)

// listener publishes what the engine tells.
func (w *workshop) listener() device.Listener {
	return device.Listener{
		State: func(s device.State) {
			said := phaseWords[s.Phase]
			w.mu.Lock()
			defer w.mu.Unlock()
			state := engineState{Phase: s.Phase, Stopping: s.Stopping, Error: s.Err}
			switch s.Phase {
			case device.Listening, device.Working:
				w.heard = true
			case device.Lost:
				state.Never = !w.heard
				said = lostWords(state.Never)
			}
			if s.Job != nil {
				state.Job, state.jobInfo = &s.Job.Name, w.jobs[s.Job.Name]
				said[0] = s.Job.Name
			}
			state.HTML = places{"phase": text(notation.Visible(said[0]))}
			if said[1] != "" {
				state.HTML["silence-words"] = text(said[1])
			}
			w.engine = state
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
			w.publish("meters", map[string]any{"channels": channels})
		},
		Silence: func(s quality.Silence) { w.publish("silence", silence(s)) },
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
	w.mu.Lock()
	w.heard = false
	w.mu.Unlock()
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
func (w *workshop) work(info jobInfo, source *device.Source,
	do func(ctx context.Context, rec record.Recorder) error, told func(error) ended,
) error {
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
	e.Text, e.Advice = said(e.Text), allSaid(e.Advice)
	w.publish("ended", e)
	grade, text := "note", e.Text
	if e.Outcome == outcomeUnfit || e.Outcome == outcomeDoubtful || e.Outcome == outcomeFailed {
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
			e.Advice = append(e.Advice, string(f)+": "+workbench.FlagAdvice(f, capture.Take{}))
		}
		return e
	}
	return ended{Outcome: outcomeFailed, Text: refused(err).Text}
}

func (w *workshop) stop(*http.Request, struct{}) (any, error) {
	return map[string]any{"stopping": w.device.Stop()}, nil
}

// trial is a trial sweep, a measurement of the sound card or of the fixture: under
// way, or the last one.
type trial struct {
	State     string // "none", "working" or an outcome
	Text      string // what goes on
	At        time.Time
	Error     string
	Sentences []string
	Advice    []string
	Level     string // proposed for takes, in dBFS; empty: none
	Found     string // good for takes: what is proposed, or else what was planned
}

// LevelOptions are those of a bench that has the level.
func (t trial) LevelOptions() map[string]string { return map[string]string{"level": t.Level} }

// trials are the kinds of trials, with what they are called at their end and while
// they go on.
var trials = map[string]struct{ name, working string }{
	"check":     {"the trial sweep", "One quiet sweep is playing …"},
	"calibrate": {"the measurement of the sound card", "The sound card is being measured …"},
	"fixture":   {"the measurement of the fixture", "The fixture is being measured …"},
}

func (w *workshop) getTrials(*http.Request) (any, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	html := places{}
	for kind := range trials {
		t := w.trials[kind]
		t.State = cmp.Or(t.State, "none")
		html[kind+"-outcome"] = fragment("trial", t)
	}
	return shows{HTML: html}, nil
}

func (w *workshop) setTrial(kind string, t trial) {
	t.At = time.Now()
	w.mu.Lock()
	w.trials[kind] = t
	w.mu.Unlock()
	w.changed("trials")
}

// try starts a trial. do makes it; the trial that it returns counts where the
// error is none or unfit data.
func (w *workshop) try(info jobInfo, source *device.Source,
	do func(ctx context.Context, hears workbench.Ears, rec record.Recorder) (trial, error),
) (any, error) {
	what := trials[info.Kind].name
	var t trial
	err := w.work(info, source, func(ctx context.Context, rec record.Recorder) (err error) {
		w.setTrial(info.Kind, trial{State: "working", Text: trials[info.Kind].working})
		t, err = do(ctx, w.ears(), rec)
		return err
	}, func(err error) ended {
		e := ended{Outcome: outcomeDone, Text: what + " is done"}
		if err != nil {
			e = failure(what, err)
			t.Error = cmp.Or(t.Error, e.Text)
		} else if len(t.Sentences) > 0 && info.Kind != "check" {
			e.Text = t.Sentences[0]
		}
		e.Advice = append(e.Advice, t.Advice...)
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
	return accepted{}, nil
}

// trialRequest asks for a trial, on a coil or on none.
type trialRequest struct {
	Coil    string            `json:"coil"`
	Options map[string]string `json:"options"`
}

// planTrial fills the options of a trial as they are asked for, and plans it for its folder.
func planTrial[P any](w *workshop, in trialRequest, b *workbench.Bench, o workbench.Options,
	plan func(dir string) (*P, error),
) (*P, error) {
	dir := w.Root
	if in.Coil != "" {
		var err error
		if dir, err = w.coilDir(in.Coil); err != nil {
			return nil, err
		}
	}
	if err := w.readyBench(); err != nil {
		return nil, err
	}
	w.useBench(b, dir)
	if err := o.Fill(in.Options); err != nil {
		return nil, err
	}
	return plan(dir)
}

func (w *workshop) startCheck(_ *http.Request, in trialRequest) (any, error) {
	options := workbench.NewCheck(w.Program)
	options.NoCoil = in.Coil == ""
	plan, err := planTrial(w, in, &options.Bench, options.Options, options.Plan)
	if err != nil {
		return nil, err
	}
	job := jobInfo{Kind: "check", Coil: in.Coil}
	return w.try(job, &plan.Source,
		func(ctx context.Context, hears workbench.Ears, rec record.Recorder) (trial, error) {
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
	t := trial{Level: workbench.ProposedLevel(r), Sentences: workbench.CheckSentences(r)}
	t.Found = cmp.Or(t.Level, fmt.Sprintf("%.0f", r.PlannedDBFS))
	for _, f := range r.Findings {
		if f.Grade == check.Stop && t.Error == "" {
			t.Error = "A take would not be usable: " + f.Text
			t.Advice = append(t.Advice, f.Advice)
			continue
		}
		t.Advice = append(t.Advice, fmt.Sprintf("%s: %s", f.Text, f.Advice))
	}
	if t.Level != "" {
		t.Advice = append(t.Advice, "take at "+t.Level+" dBFS")
	}
	return t
}

func (w *workshop) startCalibration(_ *http.Request, in trialRequest) (any, error) {
	options := workbench.NewCalibration(w.Program)
	plan, err := planTrial(w, in, &options.Bench, options.Options, options.Plan)
	if err != nil {
		return nil, err
	}
	job := jobInfo{Kind: "calibrate", Coil: in.Coil}
	return w.try(job, &plan.Source,
		func(ctx context.Context, hears workbench.Ears, rec record.Recorder) (trial, error) {
			found, err := plan.Run(ctx, rec, hears)
			if err != nil {
				return trial{}, err
			}
			return trial{Sentences: []string{found.Line()}}, nil
		})
}

func (w *workshop) startFixture(_ *http.Request, in trialRequest) (any, error) {
	options := workbench.NewFixture(w.Program)
	plan, err := planTrial(w, in, &options.Bench, options.Options, options.Plan)
	if err != nil {
		return nil, err
	}
	job := jobInfo{Kind: "fixture", Coil: in.Coil}
	return w.try(job, &plan.Source,
		func(ctx context.Context, hears workbench.Ears, rec record.Recorder) (trial, error) {
			found, err := plan.Run(ctx, rec, hears)
			if err != nil && !found.Measured() {
				return trial{}, err
			}
			return trial{Sentences: []string{found.Line()}, Advice: found.Warnings}, err
		})
}
