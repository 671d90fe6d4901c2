package web

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"maps"
	"net/http"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/record"
	"coilsweep/capture/rooted"
	"coilsweep/cmd/coilsweep/internal/web/recorded"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/web/swept"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
)

// growing is the take under way: the recording that grows is none of the
// unfinished ones that lay there before.
type growing struct {
	coil, take string
	before     []string // unfinished recordings of the coil
}

// partials are the unfinished recordings of a coil, without one under way.
func (w *workshop) partials(coil string, folder *capture.Folder) ([]string, error) {
	dirs, err := folder.Partials()
	w.mu.Lock()
	g := w.growing
	w.mu.Unlock()
	return slices.DeleteFunc(dirs, func(dir string) bool {
		of, _, _ := strings.Cut(filepath.Base(dir), ".")
		return g.coil == coil && g.take == of && !slices.Contains(g.before, dir)
	}), err
}

// setGrowing says which take is under way in folder; none: growing{}.
func (w *workshop) setGrowing(g growing) {
	w.mu.Lock()
	w.growing = g
	w.mu.Unlock()
}

func (w *workshop) startTake(r *http.Request, in struct {
	Coil    string            `json:"coil"`
	Options map[string]string `json:"options"`
}) (any, error) {
	dir, err := w.coilDir(in.Coil)
	if err != nil {
		return nil, err
	}
	if err := w.readyBench(); err != nil {
		return nil, err
	}
	options := workbench.NewMeasurement(w.Program)
	w.useBench(&options.Bench, dir)
	if err := options.Fill(in.Options); err != nil {
		return nil, err
	}
	w.remark(options.Options)
	if options.Take.Name == "" {
		options.Take.Name = proposeTake(&capture.Folder{Dir: dir}, in.Options)
	}
	plan, err := options.Plan(dir)
	if err != nil {
		return nil, err
	}
	if _, err := rooted.Lstat(plan.Folder.TakeDir(plan.Take.Name)); err == nil && !plan.Redo {
		return nil, fmt.Errorf("%w: take %q", capture.ErrTakeExists, plan.Take.Name)
	}
	if plan.After != "" {
		if _, err := plan.Folder.ReadTake(plan.After); err != nil {
			return nil, wrong("after", "%v", err)
		}
	}
	name := plan.Take.Name
	info := jobInfo{Kind: "take", Coil: in.Coil, Take: name}
	var take capture.Take
	if err := w.work(info, &plan.Source, func(ctx context.Context, rec record.Recorder) (err error) {
		take, err = w.take(ctx, plan, info, rec)
		return err
	}, func(err error) ended { return w.takeEnded(info, dir, take, err) }); err != nil {
		return nil, err
	}
	w.mu.Lock()
	w.connected[in.Coil] = connected{newProposal(in.Options), time.Now().UnixMilli()}
	w.mu.Unlock()
	return accepted{"take": name}, nil
}

// take makes a take, and shows it while it comes.
func (w *workshop) take(
	ctx context.Context, plan *workbench.TakePlan, info jobInfo, rec record.Recorder,
) (capture.Take, error) {
	before, err := plan.Folder.Partials()
	if err != nil {
		return capture.Take{}, err
	}
	w.setGrowing(growing{info.Coil, info.Take, before})
	defer w.setGrowing(growing{})
	shown := swept.Take{Coil: info.Coil, Take: info.Take, Load: plan.Take.Load, Goal: plan.Until}
	w.setSweep(shown)
	hears := w.ears()
	if err := plan.Shape(ctx, hears); err != nil {
		return capture.Take{}, err
	}
	hears.Progress = func(p record.Progress) {
		text := "silence"
		if p.Repeat > 0 {
			text = fmt.Sprintf("sweep %d of %d", p.Repeat, p.Repeats)
		}
		w.publish("progress", map[string]any{
			"take": info.Take, "fraction": p.Fraction, "repeat": p.Repeat, "repeats": p.Repeats, "text": text,
		})
	}
	take, _, err := plan.Run(ctx, rec, hears, func(g workbench.Glance, t capture.Take) {
		if g.Response == nil {
			g.Response = shown.Glance.Response // the curve stays
		}
		shown.Repeats, shown.Glance = t.Stimulus.Repeats, g
		w.setSweep(shown)
	})
	return take, err
}

func (w *workshop) setSweep(s swept.Take) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.showSweep(s)
}

// showSweep is setSweep for who holds w.mu.
func (w *workshop) showSweep(s swept.Take) {
	w.revision++
	s.Revision, s.HTML = w.revision, s.Places()
	w.sweep = s
	w.publish("sweep", s)
}

// getSweep is the curve of the take under way, or of the last one, of a coil, with that
// of the take before it behind it, of another coil, or of "none".
func (w *workshop) getSweep(r *http.Request) (any, error) {
	coil, behind := r.URL.Query().Get("coil"), r.URL.Query().Get("behind")
	w.mu.Lock()
	s, growing := w.sweep, w.growing
	w.mu.Unlock()
	if coil != "" && coil != s.Coil {
		s = swept.Take{Coil: coil}
	}
	var other figure.Underway
	if s.Coil != "" && behind != "none" {
		e, err := w.drawable(r.Context(), cmp.Or(behind, s.Coil))
		switch {
		case err != nil: // nothing can be drawn of it
		case behind != "" && behind != s.Coil:
			other = s.Alike(e)
		case growing.coil == s.Coil && growing.take == s.Take:
			other = swept.Before(e, "")
		default:
			other = swept.Before(e, s.Take)
		}
	}
	d, err := s.Drawing(other)
	if err != nil {
		return nil, err
	}
	return shows{HTML: places{"sweep-panel": fragment("sweep", struct {
		Name       string
		Repeats    int
		Drawn      bool
		Of, Behind string
		Figure     template.HTML
	}{s.Take, s.Repeats, s.Glance.Response != nil, notation.Count(s.Repeats, "sweep"), other.Name, drawing(d)})}}, nil
}

// drawable is the evaluation of a coil as it is held, whatever has changed since, or as
// its result has it; none where that is out of date: nobody has asked for a fit.
func (w *workshop) drawable(ctx context.Context, coil string) (*evaluation.Evaluation, error) {
	folder, err := w.openCoil(coil)
	if err != nil {
		return nil, err
	}
	if e := w.coils.Before(folder.Dir); e != nil {
		return e, nil
	}
	if result, stale := w.resultNow(folder); result == nil || len(stale) > 0 {
		return nil, &evaluation.NoTakeError{Dir: folder.Dir}
	}
	return w.coils.Get(ctx, folder.Dir)
}

// takeEnded says how a take has ended, and has its coil fitted.
func (w *workshop) takeEnded(info jobInfo, dir string, take capture.Take, err error) ended {
	recorded := take.Audio.File != ""
	var e ended
	var partial *record.PartialError
	switch {
	case recorded:
		e = w.keptTake(dir, take)
		if err != nil {
			e.Advice = append(e.Advice, err.Error())
		}
	case errors.As(err, &partial):
		e = ended{Outcome: outcomeFailed, Text: fmt.Sprintf("Take %s: %v", info.Take, partial.Err)}
		if errors.Is(err, context.Canceled) {
			e = ended{Outcome: outcomeStopped, Text: fmt.Sprintf("Take %s was stopped", info.Take)}
		}
		if partial.Dir == "" {
			e.Text += fmt.Sprintf(" after %.1f s; what was recorded is lost", partial.Seconds)
			break
		}
		kept := filepath.Base(partial.Dir)
		if partial.Folder != dir {
			kept = partial.Dir
		}
		e.Text += fmt.Sprintf(" after %.1f s; what was recorded is kept as %s", partial.Seconds, kept)
		if partial.HasSweep {
			e.Advice = append(e.Advice, "it holds a whole sweep, and can be made a take")
		}
	default:
		e = failure("take "+info.Take, err)
	}
	w.coilChanged(info.Coil)
	if recorded && w.ctx.Err() == nil {
		w.fitAgain(info.Coil, dir)
	}
	return e
}

// keptTake is the end of a take that is there, of the coil in dir.
func (w *workshop) keptTake(dir string, take capture.Take) ended {
	e := ended{Outcome: outcomeDone, Advice: workbench.TakeAdvice(take)}
	e.Text = fmt.Sprintf("Take %s is kept: %s", take.Name, workbench.TakeLine(take))
	if unfit := take.Unfit(); unfit != nil {
		e.Outcome = outcomeUnfit
		e.Text = fmt.Sprintf("Take %s is kept but not usable: %s", take.Name, capture.FlagNames(unfit))
	}
	if folder, err := capture.OpenFolder(dir); err == nil {
		// What cannot be compared now the fit will tell.
		said, _ := w.coils.Contradictions(w.ctx, folder, take.Name)
		if said != nil && e.Outcome == outcomeDone {
			e.Outcome = outcomeDoubtful
			e.Text = fmt.Sprintf("Take %s is kept, but what is stated of it contradicts the other takes", take.Name)
		}
		e.Advice = append(e.Advice, said...)
	}
	return e
}

func (w *workshop) setAside(r *http.Request, in struct {
	Coil string `json:"coil"`
	Take string `json:"take"`
}) (any, error) {
	folder, err := w.openCoil(in.Coil)
	if err != nil {
		return nil, err
	}
	if err := capture.CheckTakeName(in.Take); err != nil {
		return nil, wrong("take", "%v", err)
	}
	if _, err := rooted.Lstat(folder.TakeDir(in.Take)); err != nil {
		return nil, &site.Error{Status: http.StatusNotFound, Text: "there is no take " + in.Take, Field: "take"}
	}
	if _, err := folder.SetAside(in.Take); err != nil {
		return nil, err
	}
	w.changedAndFitted(in.Coil, folder)
	return done{}, nil
}

// takeBack undoes setAside.
func (w *workshop) takeBack(_ *http.Request, in struct {
	Coil string `json:"coil"`
	Take string `json:"take"` // as it was set aside: "bare.aside"
}) (any, error) {
	folder, err := w.openCoil(in.Coil)
	if err == nil {
		err = folder.TakeBack(in.Take)
	}
	if err != nil {
		return nil, err
	}
	w.changedAndFitted(in.Coil, folder)
	return done{}, nil
}

// changedAndFitted tells that a coil has changed, and has it fitted if it has
// takes.
func (w *workshop) changedAndFitted(coil string, folder *capture.Folder) {
	if held, err := folder.Fingerprint(); err == nil && len(held.Takes) > 0 {
		w.fitAgain(coil, folder.Dir)
	} else {
		w.coilChanged(coil)
	}
}

// importTake makes a take of a recording that is sent, with the stimulus that is
// sent with it or else the usual one.
func (w *workshop) importTake(r *http.Request) (any, error) {
	coil := r.URL.Query().Get("coil")
	folder, err := w.openCoil(coil)
	if err != nil {
		return nil, err
	}
	sent, err := site.Receive(r, folder.Dir)
	if err != nil {
		return nil, err
	}
	defer sent.Close()
	options := map[string]string{}
	if text := sent.Texts["options"]; text != "" {
		if err := json.Unmarshal([]byte(text), &options); err != nil {
			return nil, &site.Error{Status: http.StatusBadRequest, Field: "options",
				Text: "the options cannot be read: " + site.WrongJSON(err)}
		}
	}
	recording, ok := sent.Files["recording"]
	if !ok {
		return nil, wrong("recording", "the recording is missing")
	}
	var stimulus excite.Stimulus
	if file, ok := sent.Files["stimulus"]; ok {
		stimulus, err = workbench.ReadStimulus(file.Path)
		if err != nil {
			return nil, wrong("stimulus", "%s", strings.ReplaceAll(err.Error(), file.Path, file.Name))
		}
	} else if stimulus, err = w.usualStimulus(); err != nil {
		return nil, err
	}
	answer, err := w.importAs(r, coil, folder, options, w.realBenchPath(folder.Dir), recording.Path, stimulus)
	if err != nil {
		e := refused(err)
		e.Text = strings.ReplaceAll(e.Text, recording.Path, recording.Name)
		return nil, e
	}
	return answer, nil
}

// importPartial makes a take of a recording that was not finished. That is removed once
// the take holds all of it, and else kept as NAME.recovered. Load, drive and reference are
// those that were kept with it; where none were, as by earlier versions, the options say
// them.
func (w *workshop) importPartial(r *http.Request, in struct {
	Coil    string            `json:"coil"`
	Partial string            `json:"partial"`
	Options map[string]string `json:"options"`
}) (any, error) {
	folder, dir, err := w.partial(in.Coil, in.Partial)
	if err != nil {
		return nil, err
	}
	plan, err := capture.ReadPlan(dir)
	if err != nil {
		return nil, err
	}
	options := map[string]string{"take": in.Options["take"]}
	var stimulus excite.Stimulus
	if plan != nil {
		stimulus = plan.Stimulus
	} else if stimulus, err = workbench.ReadStimulus(filepath.Join(dir, capture.StimulusFile)); err != nil {
		return nil, err
	} else {
		maps.Copy(options, in.Options)
	}
	if options["take"] == "" {
		name, _, _ := strings.Cut(in.Partial, ".")
		if _, err := rooted.Lstat(folder.TakeDir(name)); err == nil {
			name = freeTake(folder, name)
		}
		options["take"] = name
	}
	recording := filepath.Join(dir, capture.AudioFile)
	answer, err := w.importAs(r, in.Coil, folder, options, w.benchPath(folder.Dir), recording, stimulus)
	if err != nil {
		return nil, err
	}
	held, err := recorded.Head(recording)
	take, terr := folder.ReadTake(options["take"])
	if err = errors.Join(err, terr); err != nil {
		return nil, err
	}
	whole := take.Audio.Channels == held.Format.Channels || plan != nil && plan.Reference.Kind == "none"
	if whole && take.Audio.Frames == held.Frames {
		err = rooted.RemoveAll(dir)
	} else { // the take lacks some of it
		err = atomicfile.Rename(dir, folder.TakeDir(take.Name+".recovered"))
	}
	w.coilChanged(in.Coil)
	return answer, err
}

// partial opens a coil, and is the folder of an unfinished recording of it, none that is
// under way.
func (w *workshop) partial(coil, name string) (of *capture.Folder, dir string, err error) {
	if of, err = w.openCoil(coil); err != nil {
		return nil, "", err
	}
	partials, err := w.partials(coil, of)
	if err != nil {
		return nil, "", err
	}
	at := slices.IndexFunc(partials, func(dir string) bool { return filepath.Base(dir) == name })
	if at < 0 {
		return nil, "", &site.Error{Status: http.StatusNotFound, Field: "partial",
			Text: "there is no unfinished recording " + name}
	}
	return of, partials[at], nil
}

// removePartial removes an unfinished recording that is of no use.
func (w *workshop) removePartial(_ *http.Request, in struct {
	Coil    string `json:"coil"`
	Partial string `json:"partial"`
}) (any, error) {
	_, dir, err := w.partial(in.Coil, in.Partial)
	if err != nil {
		return nil, err
	}
	if !recorded.NewPartial(dir).Useless {
		return nil, wrong("partial", "%s holds a whole sweep: make a take of it", in.Partial)
	}
	if err := rooted.RemoveAll(dir); err != nil {
		return nil, err
	}
	w.coilChanged(in.Coil)
	return done{}, nil
}

// importAlone imports a recording when no other is imported: each takes memory for all
// of its samples.
func (w *workshop) importAlone(ctx context.Context, in *workbench.Import, dir string) (take capture.Take, err error) {
	select {
	case w.importing <- struct{}{}:
	case <-ctx.Done():
		return take, ctx.Err()
	}
	defer func() {
		<-w.importing
		debug.FreeOSMemory() // of some hundred MB at worst
	}()
	_, take, err = in.Run(ctx, dir)
	return take, err
}

// importAs imports a recording as 'import' does, of what the file bench states.
func (w *workshop) importAs(r *http.Request, coil string, folder *capture.Folder,
	options map[string]string, bench, recording string, stimulus excite.Stimulus,
) (any, error) {
	in := workbench.NewImport(w.Program)
	in.Bench.File, in.Recording, in.Stimulus = bench, recording, &stimulus
	if err := in.Fill(options); err != nil {
		return nil, err
	}
	w.remark(in.Options)
	if in.Take.Name == "" {
		in.Take.Name = proposeTake(folder, options)
	}
	take, err := w.importAlone(r.Context(), in, folder.Dir)
	if err != nil {
		return nil, err
	}
	e := w.keptTake(folder.Dir, take)
	w.changedAndFitted(coil, folder)
	w.end(jobInfo{Kind: "import", Coil: coil, Take: take.Name}, e)
	return map[string]any{"text": said(e.Text)}, nil
}

// viewTakes looks at the takes of a coil, of which result speaks; nil: none does.
func (w *workshop) viewTakes(folder *capture.Folder, result *fit.Result) ([]recorded.Take, error) {
	takes, unreadable, err := evaluation.ReadTakes(folder, w.coils.Before(folder.Dir))
	if err != nil {
		return nil, err
	}
	views := []recorded.Take{}
	for _, t := range takes {
		views = append(views, recorded.New(t, result))
	}
	for _, u := range unreadable {
		views = append(views, recorded.Take{Name: u.Name,
			Flags: []recorded.Flag{{Name: string(evaluation.FlagUnreadable), Words: u.Err.Error()}}})
	}
	return views, nil
}
